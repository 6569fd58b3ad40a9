//! One function for each kind of request.

use crate::guard::{Way, refuse, sessions_of};
use crate::state::{App, News};
use axum::Json;
use axum::body::Bytes;
use axum::extract::{ConnectInfo, Path, State};
use axum::http::{HeaderMap, StatusCode, Uri, header};
use axum::response::sse::{Event as Message, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use floorwright_job::events::{Change, Event, EventId, JobId};
use floorwright_job::{CsvMeaning, SourceFile, from_csv, load, write};
use floorwright_pages::{Depth, Place, ReadingAnswer, World, answer_reading, assets, respond};
use floorwright_store::{Receipt, StoreFault};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::convert::Infallible;
use std::net::SocketAddr;
use std::sync::Arc;
use tokio_stream::wrappers::BroadcastStream;
use tokio_stream::{Stream, StreamExt};

/// What a device hears of an event that it sent.
#[derive(Serialize)]
struct Acknowledged {
    #[serde(flatten)]
    receipt: Receipt,
    /// How a reading fits, if the event took or changed one.
    #[serde(skip_serializing_if = "Option::is_none")]
    answer: Option<ReadingAnswer>,
}

pub(crate) async fn put_event(
    State(app): State<Arc<App>>,
    Path(id): Path<String>,
    headers: HeaderMap,
    body: Bytes,
) -> Response {
    if !is_json(&headers) {
        return refuse(StatusCode::UNSUPPORTED_MEDIA_TYPE, "an event is sent as application/json");
    }
    let event = match std::str::from_utf8(&body).ok().map(Event::parse) {
        Some(Ok(event)) => event,
        Some(Err(why)) => {
            return (StatusCode::UNPROCESSABLE_ENTITY, why.to_string()).into_response();
        }
        None => return refuse(StatusCode::UNPROCESSABLE_ENTITY, "an event is text in UTF-8"),
    };
    if EventId::parse(&id) != Some(event.id) {
        return refuse(
            StatusCode::UNPROCESSABLE_ENTITY,
            "the address names another event than the body",
        );
    }
    let (job, place) = (event.job, place_of(&event));
    // Seen through to its end, also when the phone goes out of reach meanwhile: what the disk has is shown.
    let adding = tokio::spawn({
        let app = app.clone();
        async move { app.add(event).await }
    });
    match adding.await.unwrap_or(Err(StoreFault::Closed)) {
        Ok(receipt) => {
            let status = match receipt {
                Receipt::Kept { .. } => StatusCode::CREATED,
                Receipt::Known { .. } => StatusCode::OK,
                Receipt::Differs { .. } => StatusCode::CONFLICT,
            };
            let answer = match place {
                Some(place) => answer_to(app, job, place).await,
                None => None,
            };
            (status, Json(Acknowledged { receipt, answer })).into_response()
        }
        Err(fault) => unavailable(&fault),
    }
}

fn is_json(headers: &HeaderMap) -> bool {
    let kind = headers.get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok());
    kind.is_some_and(|kind| kind.split(';').next() == Some("application/json"))
}

/// What an event's reading belongs to.
enum ReadingPlace {
    Taken { setup: String, point: String },
    PutRight { event: EventId, point: String },
}

fn place_of(event: &Event) -> Option<ReadingPlace> {
    match Change::deserialize(&event.change).ok()? {
        Change::Read { setup, reading } => {
            Some(ReadingPlace::Taken { setup, point: reading.point })
        }
        Change::Amend { event, reading } => {
            Some(ReadingPlace::PutRight { event, point: reading.point })
        }
        _ => None,
    }
}

async fn answer_to(app: Arc<App>, job: JobId, place: ReadingPlace) -> Option<ReadingAnswer> {
    let work = move || {
        let view = app.job(job, Depth::Floor).ok()??;
        let (setup, point) = match place {
            ReadingPlace::Taken { setup, point } => (setup, point),
            ReadingPlace::PutRight { event, point } => {
                let taken = view.folded.readings.iter().find(|taken| taken.event == event)?;
                (taken.setup.clone(), point)
            }
        };
        Some(answer_reading(&view, &setup, &point))
    };
    tokio::task::spawn_blocking(work).await.ok()?
}

pub(crate) fn unavailable(fault: &StoreFault) -> Response {
    (StatusCode::SERVICE_UNAVAILABLE, fault.to_string()).into_response()
}

/// Looks at what a form asks for; nothing is changed by it.
pub(crate) async fn look(
    State(app): State<Arc<App>>,
    Path(id): Path<String>,
    asked: String,
) -> Response {
    let Some(id) = JobId::parse(&id) else {
        return refuse(StatusCode::NOT_FOUND, "there is no such job here");
    };
    let work = move || {
        let job = app.job(id, Depth::Entered)?;
        Ok::<_, StoreFault>(job.map(|job| floorwright_pages::look(&job, &asked)))
    };
    match tokio::task::spawn_blocking(work).await {
        Ok(Ok(Some(answer))) => sent(answer),
        Ok(Ok(None)) => refuse(StatusCode::NOT_FOUND, "there is no such job here"),
        Ok(Err(fault)) => unavailable(&fault),
        Err(_) => refuse(StatusCode::INTERNAL_SERVER_ERROR, "this could not be looked at"),
    }
}

fn sent(page: floorwright_pages::Response) -> Response {
    let status = StatusCode::from_u16(page.status).unwrap_or(StatusCode::OK);
    (status, [(header::CONTENT_TYPE, page.media_type)], page.body).into_response()
}

pub(crate) async fn page(State(app): State<Arc<App>>, way: Way, uri: Uri) -> Response {
    let work = move || {
        let (path, query) = (uri.path(), uri.query().unwrap_or_default());
        let job = match Place::of(path) {
            Place::Job(id, screen) => app.job(id, depth_of(screen))?,
            Place::Jobs | Place::Nowhere => None,
        };
        let jobs = if job.is_some() { Vec::new() } else { app.jobs() };
        let world = World { jobs: &jobs, job: job.as_deref(), connection: way.connection() };
        Ok(respond(&world, path, query))
    };
    match tokio::task::spawn_blocking(work).await {
        Ok(Ok(page)) => sent(page),
        Ok(Err(fault)) => unavailable(&fault),
        Err(_) => refuse(
            StatusCode::INTERNAL_SERVER_ERROR,
            "this page could not be worked out; nothing was lost: the readings are in the log",
        ),
    }
}

fn depth_of(screen: &str) -> Depth {
    match screen {
        "readings" | "floor/at" | "floor/section" | "site" | "hose" => Depth::Floor,
        _ => Depth::Passes,
    }
}

pub(crate) async fn live(
    State(app): State<Arc<App>>,
    ConnectInfo(peer): ConnectInfo<SocketAddr>,
    headers: HeaderMap,
    Path(id): Path<String>,
) -> Sse<impl Stream<Item = Result<Message, Infallible>>> {
    let job = JobId::parse(&id);
    let news = BroadcastStream::new(app.news());
    let (is_here, sessions) = (peer.ip().to_canonical().is_loopback(), sessions_of(&headers));
    // A device that was sent away hears nothing more.
    let may_listen = move || {
        let now = (app.settings.clock)();
        is_here || sessions.iter().any(|session| app.pairing.is_in(session, now))
    };
    let news = news.take_while(move |_| may_listen()).filter_map(move |news| match news {
        Ok(News::Changed { job: of, tick }) => (Some(of) == job)
            .then(|| Ok(Message::default().event("changed").data(tick.to_string()))),
        Ok(News::SentAway) => None,
        // Some were missed: whatever it was, the page has to look.
        Err(_) => Some(Ok(Message::default().event("changed").data(u64::MAX.to_string()))),
    });
    Sse::new(news).keep_alive(KeepAlive::default())
}

/// Files that were brought in, by their names: a job with its tables, or one table of readings.
pub(crate) async fn read_job(Json(files): Json<BTreeMap<String, String>>) -> Response {
    begin_of(files)
}

pub(crate) async fn demo(State(app): State<Arc<App>>) -> Response {
    begin_of(app.settings.demo.clone())
}

/// What a job is begun with, or everything that keeps the files from being one.
fn begin_of(mut files: BTreeMap<String, String>) -> Response {
    let has_ending = |name: &str, ending: &str| name.to_ascii_lowercase().ends_with(ending);
    let jobs: Vec<String> =
        files.keys().filter(|name| has_ending(name, ".toml")).cloned().collect();
    let loaded = match (jobs.as_slice(), files.len()) {
        ([job], _) => {
            let source = SourceFile::new(job.clone(), files.remove(job).unwrap_or_default());
            load(&source, &mut |file| {
                let found = files.get(file).cloned();
                found.ok_or_else(|| "it was not chosen together with the job".to_owned())
            })
        }
        ([], 1) => {
            let (name, text) = files.first_key_value().expect("there is one");
            from_csv(&SourceFile::new(name.clone(), text.clone()), CsvMeaning::default())
        }
        _ => {
            let why = "choose one job (.toml) with the tables that it names, or one table (.csv)";
            return refuse(StatusCode::UNPROCESSABLE_ENTITY, why);
        }
    };
    let errors: Vec<String> = loaded
        .faults
        .iter()
        .filter(|fault| fault.is_error())
        .map(|fault| format!("{fault:#}"))
        .collect();
    if errors.is_empty() {
        Json(serde_json::json!({ "form": loaded.form, "files": files })).into_response()
    } else {
        (StatusCode::UNPROCESSABLE_ENTITY, errors.join("\n")).into_response()
    }
}

pub(crate) async fn job_file(State(app): State<Arc<App>>, Path(id): Path<String>) -> Response {
    let Some(id) = JobId::parse(&id) else {
        return refuse(StatusCode::NOT_FOUND, "there is no such job here");
    };
    match app.job(id, Depth::Entered) {
        Ok(Some(job)) => match write(&job.folded.form) {
            Ok(text) => {
                let headers = [
                    (header::CONTENT_TYPE, "application/toml"),
                    (header::CONTENT_DISPOSITION, "attachment; filename=\"job.toml\""),
                ];
                (headers, text).into_response()
            }
            Err(why) => (StatusCode::INTERNAL_SERVER_ERROR, why.to_string()).into_response(),
        },
        Ok(None) => refuse(StatusCode::NOT_FOUND, "there is no such job here"),
        Err(fault) => unavailable(&fault),
    }
}

/// A document of a job as PDF.
pub(crate) async fn document(
    State(app): State<Arc<App>>,
    Path((id, name)): Path<(String, String)>,
) -> Response {
    let Some(id) = JobId::parse(&id) else {
        return refuse(StatusCode::NOT_FOUND, "there is no such job here");
    };
    let work = move || {
        let view = app.job(id, Depth::Passes)?;
        Ok::<_, StoreFault>(view.map(|view| (app.settings.documents)(&view, &name)))
    };
    match tokio::task::spawn_blocking(work).await {
        Ok(Ok(Some(Ok(pdf)))) => ([(header::CONTENT_TYPE, "application/pdf")], pdf).into_response(),
        Ok(Ok(Some(Err(why)))) => (StatusCode::UNPROCESSABLE_ENTITY, why).into_response(),
        Ok(Ok(None)) => refuse(StatusCode::NOT_FOUND, "there is no such job here"),
        Ok(Err(fault)) => unavailable(&fault),
        Err(_) => refuse(StatusCode::INTERNAL_SERVER_ERROR, "this document could not be made"),
    }
}

pub(crate) async fn asset(Path(name): Path<String>) -> Response {
    match assets::asset(&name) {
        Some(asset) => {
            let headers =
                [(header::CONTENT_TYPE, asset.media_type), (header::CACHE_CONTROL, "no-cache")];
            (headers, asset.content).into_response()
        }
        None => refuse(StatusCode::NOT_FOUND, "there is no such file"),
    }
}

/// The look of every page.
#[cfg(feature = "tls")]
pub(crate) async fn style() -> Response {
    asset(Path("style.css".to_owned())).await
}

/// The worker is asked for at the top, so that it may look after every page.
pub(crate) async fn worker() -> Response {
    asset(Path("worker.js".to_owned())).await
}
