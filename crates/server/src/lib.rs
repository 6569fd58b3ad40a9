//! The app's server: sockets, sessions and the log round the pages.
//!
//! [`app`] makes the router; [`serve`] listens. What a page says is in `pages`, what an event means in
//! `job`, what is kept in `store`: a handler here reads a request, calls, and answers.
//!
//! # What holds
//! - An event is acknowledged only after the log's disk has it.
//! - Nothing changes on a GET. Whatever changes comes from our own page: the `Host` has to be one of
//!   ours, the `Origin` that of the host, and the request has to carry a header that no form can set.
//! - A browser on another machine has to be paired first, by a code that is shown here.
//! - The clock is an argument.

mod answers;
mod bodies;
mod devices;
mod export;
mod guard;
mod listen;
mod pairing;
mod photos;
mod state;
#[cfg(feature = "tls")]
mod tls;
mod archive;

#[cfg(feature = "tls")]
pub use listen::trust;
pub use listen::{Bound, PATIENCE, ServeFault, bind, serve};
pub use pairing::PairingCode;
pub use state::{App, Clock, Documents, News, Settings};
#[cfg(feature = "tls")]
pub use tls::{Authority, Encryption, TlsFault};

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware::{from_fn, from_fn_with_state};
use axum::routing::{get, post, put};
use std::sync::Arc;

/// The router with all its checks.
pub fn app(app: Arc<App>) -> Router {
    Router::new()
        .route("/events/{id}", put(answers::put_event))
        .route("/read-job", post(answers::read_job))
        .route("/demo.json", get(answers::demo))
        .route("/jobs/{id}/look", post(answers::look))
        .route("/jobs/{id}/job.toml", get(answers::job_file))
        .route("/jobs/{id}/job.zip", get(export::job_archive))
        .route("/jobs/{id}/live", get(answers::live))
        .route("/jobs/{id}/paper/{name}", get(answers::document))
        .route("/assets/{name}", get(answers::asset))
        .route("/worker.js", get(answers::worker))
        .route("/photos/{hash}", put(photos::put).get(photos::get))
        .route("/devices", get(devices::page))
        .route("/devices/code", post(devices::code))
        .route("/devices/{id}/revoke", post(devices::revoke))
        .route("/pair", get(pairing::page).post(pairing::pair))
        .fallback(get(answers::page))
        .layer(DefaultBodyLimit::disable())
        .layer(from_fn_with_state(app.clone(), bodies::bodies))
        .layer(from_fn_with_state(app.clone(), guard::sessions))
        .layer(from_fn_with_state(app.clone(), guard::origins))
        .layer(from_fn_with_state(app.clone(), guard::hosts))
        .layer(from_fn_with_state(app.clone(), guard::rates))
        .layer(from_fn(guard::headers))
        .with_state(app)
}
