//! `floorwright serve`: the app for phones and laptops, from this machine.

use crate::args;
use crate::commands::demo;
use crate::exit::{CONFLICT, DISK, FAILED, OK, Stop, USAGE};
use crate::files;
use crate::report::{Report, Text};
use crate::today::today;
use floorwright_engine::bill::bill;
use floorwright_engine::plan::Stage;
use floorwright_pages::{JobView, qr_lines};
use floorwright_report::{Files, Kind, Paper};
use floorwright_server::{App, Bound, PATIENCE, ServeFault, Settings, bind, serve};
use floorwright_store::{Arrival, StoreFault};
use std::io::{IsTerminal, Write};
use std::net::IpAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

/// How often a new code for pairing is shown while phones may be let in; a code lasts as long.
const CODE_EVERY: Duration = Duration::from_secs(9 * 60);

/// So many bytes of photos are kept in a file of jobs: ten thousand as phones make them small.
const MOST_PHOTO_BYTES: u64 = 4_000_000_000;

/// Runs the command: until it is interrupted.
pub fn run(args: &args::Serve) -> Result<Report, Stop> {
    let file = match &args.jobs {
        Some(file) => file.clone(),
        None => in_data_folder()?,
    };
    if let Some(folder) = file.parent().filter(|folder| !folder.as_os_str().is_empty()) {
        files::make_folder(folder)?;
    }
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(|error| Stop::new(FAILED, format!("cannot start: {error}")))?;
    let app = runtime.block_on(listen(args, &file))?;
    // What is still being answered is let go, so that it holds nothing open.
    runtime.shutdown_timeout(Duration::from_secs(2));
    let mut text = Text::default();
    let name = file.display();
    text.say(match app.fold_in() {
        Ok(true) => format!("Stopped. The jobs are in {name}."),
        _ => format!(
            "Stopped. The jobs are in {name} and {name}-wal: copy both together or neither."
        ),
    });
    Ok(Report { text, json: Box::new(|| serde_json::json!({ "stopped": true })), exit: OK })
}

async fn listen(args: &args::Serve, file: &Path) -> Result<Arc<App>, Stop> {
    if args.lan.is_some_and(|address| address.is_unspecified()) {
        return Err(Stop::new(USAGE, "--lan has to be one address of this machine")
            .hint("name it, as in --lan 192.168.1.20: whoever can reach it may try a code"));
    }
    let mut places = vec![bind(None, args.port).await.map_err(|fault| cannot_listen(&fault))?];
    if let Some(address) = args.lan.filter(|address| !address.is_loopback()) {
        places.push(bind(Some(address), args.port).await.map_err(|fault| cannot_listen(&fault))?);
    }
    let hosts = places.iter().flat_map(hosts_of).collect();
    let lan = places.iter().find(|place| !place.address.ip().is_loopback());
    let lan = lan.map(|place| format!("http://{}", place.address));
    let settings = Settings {
        hosts,
        lan: lan.clone(),
        clock: now,
        most_photo_bytes: MOST_PHOTO_BYTES,
        patience: PATIENCE,
        documents,
        demo: demo::files(),
    };
    let app = Arc::new(App::open(file, settings).map_err(|fault| cannot_open(&fault))?);
    say(&format!("The jobs are in {}.", file.display()));
    say(&format!("Open http://{} on this machine. Ctrl-C ends it.", places[0].address));
    let (end, _) = tokio::sync::watch::channel(());
    let mut serving = tokio::task::JoinSet::new();
    for place in places {
        let is_lan = !place.address.ip().is_loopback();
        if is_lan {
            say(&format!(
                "Phones on this network: http://{}. Without encryption: only on a network that you trust.",
                place.address
            ));
            serving.spawn(show_codes(app.clone(), lan.clone().unwrap_or_default()));
        }
        let mut ended = end.subscribe();
        serving.spawn(serve(place, app.clone(), async move {
            // That nobody can end it any more ends it too.
            let _ = ended.changed().await;
        }));
    }
    asked_to_end()
        .await
        .map_err(|error| Stop::new(FAILED, format!("cannot wait for Ctrl-C: {error}")))?;
    serving.shutdown().await;
    Ok(app)
}

/// Waits for Ctrl-C, a closed terminal, or the system that ends programs.
async fn asked_to_end() -> std::io::Result<()> {
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        let (mut ends, mut closed) =
            (signal(SignalKind::terminate())?, signal(SignalKind::hangup())?);
        tokio::select! {
            pressed = tokio::signal::ctrl_c() => pressed,
            _ = ends.recv() => Ok(()),
            _ = closed.recv() => Ok(()),
        }
    }
    #[cfg(not(unix))]
    tokio::signal::ctrl_c().await
}

/// Shows a code that lets one phone in, again and again, and as a picture where a person looks on.
async fn show_codes(app: Arc<App>, lan: String) {
    loop {
        match app.pairing_code() {
            Some(code) => {
                if std::io::stderr().is_terminal() {
                    let lines = qr_lines(&format!("{lan}/pair#{code}"));
                    lines.iter().flatten().for_each(|line| say(line));
                }
                say(&format!("Code to let one phone in, good for ten minutes: {code}"));
            }
            None => say("This machine gives no random numbers: no phone can be let in."),
        }
        // A code that was used is followed by the next.
        let _ = tokio::time::timeout(CODE_EVERY, app.code_used()).await;
    }
}

/// The names that a browser may call a place by.
fn hosts_of(place: &Bound) -> Vec<String> {
    let port = place.address.port();
    match place.address.ip() {
        ip if ip.is_loopback() => vec![format!("127.0.0.1:{port}"), format!("localhost:{port}")],
        IpAddr::V4(ip) => vec![format!("{ip}:{port}")],
        IpAddr::V6(ip) => vec![format!("[{ip}]:{port}")],
    }
}

/// A document of a job as PDF, dated as the job says.
fn documents(job: &JobView, name: &str) -> Result<Vec<u8>, String> {
    let worked = job.worked.as_ref().ok_or("the job has to be put right first")?;
    let kind = Kind::ALL
        .into_iter()
        .find(|kind| kind.name() == name)
        .ok_or_else(|| format!("there is no document called \"{name}\""))?;
    let bill = bill(&worked.job, &worked.plan, &worked.input.rates);
    let undated = worked.input.date.is_none().then(today);
    let paper = Paper {
        input: &worked.input,
        job: &worked.job,
        plan: &worked.plan,
        bill: &bill,
        record: &worked.record().unwrap_or(Stage::NotAsked),
        warnings: &job.faults,
        business: worked.input.business.as_ref(),
        logo: None,
        date: undated.as_deref(),
        revision: "",
        template: &Files::default(),
    };
    paper.make(kind).map_err(|error| error.to_string())
}

fn in_data_folder() -> Result<PathBuf, Stop> {
    let named =
        |name: &str| std::env::var_os(name).filter(|value| !value.is_empty()).map(PathBuf::from);
    named("XDG_DATA_HOME")
        .or_else(|| named("LOCALAPPDATA"))
        .or_else(|| named("HOME").map(|home| home.join(".local").join("share")))
        .map(|folder| folder.join("floorwright").join("jobs.floorwright"))
        .ok_or_else(|| {
            Stop::new(USAGE, "there is no data folder here").hint("name a file with --jobs")
        })
}

fn now() -> Arrival {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    Arrival(i64::try_from(since.as_millis()).unwrap_or(i64::MAX))
}

fn cannot_listen(fault: &ServeFault) -> Stop {
    let code = if matches!(fault, ServeFault::PortsTaken { .. }) { CONFLICT } else { FAILED };
    Stop::new(code, fault.to_string())
}

fn cannot_open(fault: &StoreFault) -> Stop {
    let code =
        if matches!(fault, StoreFault::Busy | StoreFault::Newer { .. }) { CONFLICT } else { DISK };
    Stop::new(code, fault.to_string())
}

fn say(line: &str) {
    // Progress goes to stderr; that nobody reads it is no reason to stop.
    let _ = writeln!(std::io::stderr().lock(), "{line}");
}
