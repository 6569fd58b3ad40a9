//! The phones that were let in, for whoever sits at the computer itself.

use crate::guard::refuse;
use crate::state::App;
use axum::extract::{ConnectInfo, Path, State};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use floorwright_pages::{Connection, World, code_shown, devices_page};
use std::net::SocketAddr;
use std::sync::Arc;

type Peer = ConnectInfo<SocketAddr>;

const ONLY_HERE: &str = "only on the computer that runs the program itself";

fn is_here(ConnectInfo(peer): Peer) -> bool {
    peer.ip().to_canonical().is_loopback()
}

pub(crate) async fn page(State(app): State<Arc<App>>, peer: Peer) -> Response {
    if !is_here(peer) {
        return refuse(StatusCode::FORBIDDEN, ONLY_HERE);
    }
    let world = World { jobs: &[], job: None, connection: Connection::Secure };
    let devices = app.pairing.devices((app.settings.clock)());
    Html(devices_page(&world, app.settings.lan.as_deref(), &devices).into_string()).into_response()
}

pub(crate) async fn code(State(app): State<Arc<App>>, peer: Peer) -> Response {
    if !is_here(peer) {
        return refuse(StatusCode::FORBIDDEN, ONLY_HERE);
    }
    match (&app.settings.lan, app.pairing_code()) {
        (Some(lan), Some(code)) => {
            Html(code_shown(lan, &code.to_string()).into_string()).into_response()
        }
        (None, _) => refuse(StatusCode::CONFLICT, "start it with --lan first"),
        (_, None) => {
            refuse(StatusCode::SERVICE_UNAVAILABLE, "this machine gives no random numbers")
        }
    }
}

pub(crate) async fn revoke(
    State(app): State<Arc<App>>,
    peer: Peer,
    Path(id): Path<String>,
) -> Response {
    if !is_here(peer) {
        return refuse(StatusCode::FORBIDDEN, ONLY_HERE);
    }
    if app.send_away(&id) {
        StatusCode::NO_CONTENT.into_response()
    } else {
        refuse(StatusCode::NOT_FOUND, "that phone is not in any more")
    }
}
