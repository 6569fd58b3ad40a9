//! The phones that were let in, for whoever sits at the computer itself.

use crate::guard::{Way, refuse};
use crate::state::App;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use floorwright_pages::{World, code_shown, devices_elsewhere, devices_page};
use std::sync::Arc;

const ONLY_HERE: &str = "only on the computer that runs the program itself";

/// The phones that are in, and how another is let in; a phone hears where that is done.
pub(crate) async fn page(State(app): State<Arc<App>>, way: Way) -> Response {
    let world = World { jobs: &[], job: None, connection: way.connection() };
    if !way.is_here {
        let page = devices_elsewhere(&world).into_string();
        return (StatusCode::FORBIDDEN, Html(page)).into_response();
    }
    let devices = app.pairing.devices((app.settings.clock)());
    let settings = &app.settings;
    let page = devices_page(&world, settings.lan.as_deref(), settings.trust.as_ref(), &devices);
    Html(page.into_string()).into_response()
}

pub(crate) async fn code(State(app): State<Arc<App>>, way: Way) -> Response {
    if !way.is_here {
        return refuse(StatusCode::FORBIDDEN, ONLY_HERE);
    }
    match (&app.settings.lan, app.pairing_code()) {
        (Some(lan), Some(code)) => {
            let trust = app.settings.trust.as_ref();
            Html(code_shown(lan, &code.to_string(), trust).into_string()).into_response()
        }
        (None, _) => refuse(StatusCode::CONFLICT, "start it with --lan first"),
        (_, None) => {
            refuse(StatusCode::SERVICE_UNAVAILABLE, "this machine gives no random numbers")
        }
    }
}

pub(crate) async fn revoke(
    State(app): State<Arc<App>>,
    way: Way,
    Path(id): Path<String>,
) -> Response {
    if !way.is_here {
        return refuse(StatusCode::FORBIDDEN, ONLY_HERE);
    }
    if app.send_away(&id) {
        StatusCode::NO_CONTENT.into_response()
    } else {
        refuse(StatusCode::NOT_FOUND, "that phone is not in any more")
    }
}
