//! A whole job as one file to carry away.

use crate::answers::unavailable;
use crate::archive::{archive, is_tame};
use crate::guard::refuse;
use crate::state::App;
use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use floorwright_job::events::{Event, JobId, table_of_notes};
use floorwright_job::write;
use floorwright_pages::{Depth, JobView};
use std::collections::BTreeSet;
use std::sync::Arc;

const READ_ME: &str = "job.toml      the job, to be read by every command of floorwright\r\n\
the tables    as job.toml names them, beside it\r\n\
notes.csv     remarks, cracks, and the names of photos\r\n\
photos/       the photos, each under the SHA-256 of its bytes\r\n\
events.ndjson everything that was ever done to the job, a line each\r\n\
\r\n\
Under Phones the archive is brought in again as it is, into an empty file of jobs or one that has\r\n\
some of the job: what is there already is left alone.\r\n";

pub(crate) async fn job_archive(State(app): State<Arc<App>>, Path(id): Path<String>) -> Response {
    let Some(id) = JobId::parse(&id) else {
        return refuse(StatusCode::NOT_FOUND, "there is no such job here");
    };
    let work = move || {
        let Some(view) = app.job(id, Depth::Entered)? else { return Ok(None) };
        let events = app.events(id)?;
        let mut files = files_of(&view, &events);
        let named: BTreeSet<_> =
            view.folded.notes.iter().filter_map(|noted| noted.note.photo).collect();
        for hash in named.into_iter().chain(view.folded.backdrop.as_ref().map(|noted| noted.photo))
        {
            if let Some(photo) = app.photo(hash)? {
                let name = format!("photos/{hash}.{}", photo.kind().ending());
                files.push((name, photo.into_bytes()));
            }
        }
        Ok::<_, floorwright_store::StoreFault>(Some(archive(&files)))
    };
    match tokio::task::spawn_blocking(work).await {
        Ok(Ok(Some(Ok(bytes)))) => {
            let headers = [
                (header::CONTENT_TYPE, "application/zip"),
                (header::CONTENT_DISPOSITION, "attachment; filename=\"job.zip\""),
            ];
            (headers, bytes).into_response()
        }
        Ok(Ok(Some(Err(why)))) => {
            let what = format!(
                "the job does not go into one file: {why}; save job.toml, and back the file of jobs up"
            );
            (StatusCode::INSUFFICIENT_STORAGE, what).into_response()
        }
        Ok(Ok(None)) => refuse(StatusCode::NOT_FOUND, "there is no such job here"),
        Ok(Err(fault)) => unavailable(&fault),
        Err(_) => {
            refuse(StatusCode::INTERNAL_SERVER_ERROR, "this job could not be put into a file")
        }
    }
}

fn files_of(view: &JobView, events: &[Event]) -> Vec<(String, Vec<u8>)> {
    let mut files = vec![("READ-ME.txt".to_owned(), READ_ME.as_bytes().to_vec())];
    let job = write(&view.folded.form).unwrap_or_else(|why| format!("# {why}\n"));
    files.push(("job.toml".to_owned(), job.into_bytes()));
    let own = ["READ-ME.txt", "job.toml", "notes.csv", "events.ndjson"];
    for (name, table) in &view.folded.files {
        if is_tame(name) && !own.contains(&name.as_str()) && !name.starts_with("photos/") {
            files.push((name.clone(), table.clone().into_bytes()));
        }
    }
    files.push(("notes.csv".to_owned(), table_of_notes(&view.folded.notes).into_bytes()));
    let lines: String = events.iter().map(|event| event.canonical() + "\n").collect();
    files.push(("events.ndjson".to_owned(), lines.into_bytes()));
    files
}
