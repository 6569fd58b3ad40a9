//! Photos in and out. Nothing here decodes one.

use crate::answers::unavailable;
use crate::guard::refuse;
use crate::state::App;
use axum::Json;
use axum::body::Bytes;
use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use floorwright_job::photo::PhotoHash;
use floorwright_store::{Photo, Receipt};
use std::sync::Arc;

/// A photo is looked at by a browser and runs nothing, whatever it turns out to be.
const POLICY: &str = "default-src 'none'; sandbox; frame-ancestors 'none'";

pub(crate) async fn put(
    State(app): State<Arc<App>>,
    Path(name): Path<String>,
    body: Bytes,
) -> Response {
    let Some(hash) = PhotoHash::parse(&name) else {
        return refuse(
            StatusCode::UNPROCESSABLE_ENTITY,
            "a photo is named by the SHA-256 of its bytes",
        );
    };
    let photo = match Photo::new(body.into()) {
        Ok(photo) => photo,
        Err(why) => return (StatusCode::UNPROCESSABLE_ENTITY, why.to_string()).into_response(),
    };
    if photo.hash() != hash {
        return refuse(
            StatusCode::UNPROCESSABLE_ENTITY,
            "the photo is not the one that its name says; send it again",
        );
    }
    match app.is_over_quota(&photo) {
        Ok(false) => {}
        Ok(true) => {
            let most = app.settings.most_photo_bytes / 1_000_000;
            let what = format!(
                "the file of jobs has no room for more photos: {most} MB is the most that it takes. The photo \
                 stays on the phone and readings go on; for the photos of the next house begin another file \
                 with --jobs"
            );
            return (StatusCode::INSUFFICIENT_STORAGE, what).into_response();
        }
        Err(fault) => return unavailable(&fault),
    }
    match app.keep_photo(photo).await {
        Ok(receipt @ Receipt::Known { .. }) => (StatusCode::OK, Json(receipt)).into_response(),
        Ok(receipt) => (StatusCode::CREATED, Json(receipt)).into_response(),
        Err(fault) => unavailable(&fault),
    }
}

pub(crate) async fn get(State(app): State<Arc<App>>, Path(name): Path<String>) -> Response {
    let Some(hash) = PhotoHash::parse(&name) else {
        return refuse(StatusCode::NOT_FOUND, "there is no such photo");
    };
    let work = move || app.photo(hash);
    match tokio::task::spawn_blocking(work).await {
        Ok(Ok(Some(photo))) => {
            let kind = photo.kind();
            let name = format!("inline; filename=\"{}.{}\"", &name[..12], kind.ending());
            let headers = [
                (header::CONTENT_TYPE, kind.media_type().to_owned()),
                (header::CONTENT_DISPOSITION, name),
                (header::CONTENT_SECURITY_POLICY, POLICY.to_owned()),
                // Its name is the hash of its bytes: it never changes.
                (header::CACHE_CONTROL, "private, max-age=31536000, immutable".to_owned()),
            ];
            (headers, photo.into_bytes()).into_response()
        }
        Ok(Ok(None)) => refuse(
            StatusCode::NOT_FOUND,
            "this photo is not here yet: it is still on the phone that took it",
        ),
        Ok(Err(fault)) => unavailable(&fault),
        Err(_) => refuse(StatusCode::INTERNAL_SERVER_ERROR, "this photo could not be read"),
    }
}
