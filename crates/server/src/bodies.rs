//! What is sent here: no more than there is use for, not packed, and not drop by drop.

use crate::guard::refuse;
use crate::state::App;
use axum::body::Body;
use axum::extract::{Request, State};
use axum::http::{Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::Response;
use floorwright_job::photo;
use std::sync::Arc;
use std::time::Duration;
use tokio_stream::StreamExt;

/// No request but a photo carries more than this; a job of a thousand supports is a quarter of it.
const LARGEST: usize = 1024 * 1024;
/// So much of what is too large is still read, that the sender hears the answer.
const READ_ON: usize = 16 * 1024 * 1024;
/// A whole body may take so many times as long as one piece of it.
const WHOLE: u32 = 12;

const TOO_LARGE: &str =
    "this is more than 1 MB, the limit: bring a large job in as its tables, setup by setup";
const PHOTO_TOO_LARGE: &str = "the photo is larger than 4 MB, the limit: send it from the app, which scales it down, or save it smaller";

/// Reads the body before anybody looks at it.
pub async fn bodies(State(app): State<Arc<App>>, request: Request, next: Next) -> Response {
    if matches!(*request.method(), Method::GET | Method::HEAD) {
        return next.run(request).await;
    }
    let (parts, body) = request.into_parts();
    if parts.headers.get(header::CONTENT_ENCODING).is_some_and(|coding| coding != "identity") {
        return refuse(StatusCode::UNSUPPORTED_MEDIA_TYPE, "send it as it is, not packed");
    }
    let (limit, too_large) = if parts.uri.path().starts_with("/photos/") {
        (photo::MOST_BYTES, PHOTO_TOO_LARGE)
    } else {
        (LARGEST, TOO_LARGE)
    };
    let patience = app.settings.patience;
    match tokio::time::timeout(patience * WHOLE, read(body, limit, patience)).await {
        Ok(Read::Whole(bytes)) => next.run(Request::from_parts(parts, Body::from(bytes))).await,
        Ok(Read::TooLarge) => refuse(StatusCode::PAYLOAD_TOO_LARGE, too_large),
        Ok(Read::Broken) => refuse(StatusCode::BAD_REQUEST, "it broke off; send it again"),
        Ok(Read::TooSlow) | Err(_) => {
            refuse(StatusCode::REQUEST_TIMEOUT, "it came too slowly; send it again")
        }
    }
}

enum Read {
    Whole(Vec<u8>),
    TooLarge,
    TooSlow,
    Broken,
}

async fn read(body: Body, limit: usize, patience: Duration) -> Read {
    let mut pieces = body.into_data_stream();
    let mut bytes = Vec::new();
    let mut n_read = 0;
    loop {
        let piece = match tokio::time::timeout(patience, pieces.next()).await {
            Ok(Some(Ok(piece))) => piece,
            Ok(Some(Err(_))) => return Read::Broken,
            Ok(None) if n_read > limit => return Read::TooLarge,
            Ok(None) => return Read::Whole(bytes),
            Err(_) => return Read::TooSlow,
        };
        n_read += piece.len();
        if n_read <= limit {
            bytes.extend_from_slice(&piece);
        } else {
            bytes = Vec::new();
        }
        if n_read > limit + READ_ON {
            return Read::TooLarge;
        }
    }
}
