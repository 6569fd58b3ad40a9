//! `floorwright serve`: the app for phones and laptops, from this machine.

use crate::args;
use crate::commands::demo;
use crate::exit::{CONFLICT, DISK, FAILED, OK, Stop, USAGE};
use crate::files;
use crate::report::{Report, Text};
use crate::today::today;
use floorwright_engine::bill::bill;
use floorwright_engine::plan::Stage;
#[cfg(feature = "tls")]
use floorwright_pages::Trust;
use floorwright_pages::{JobView, qr_lines};
use floorwright_report::{Files, Kind, Paper};
use floorwright_server::{App, Bound, PATIENCE, ServeFault, Settings, bind, serve};
#[cfg(feature = "tls")]
use floorwright_server::{Authority, trust};
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
    let here = bind(None, args.port).await.map_err(|fault| cannot_listen(&fault))?;
    if let Some(address) = args.lan.filter(IpAddr::is_loopback) {
        say(&format!(
            "{address} is this machine itself, and no phone reaches it: name the address that this machine has on the network."
        ));
    }
    let network = match args.lan.filter(|address| !address.is_loopback()) {
        Some(address) => {
            Some(bind(Some(address), args.port).await.map_err(|fault| cannot_listen(&fault))?)
        }
        None => None,
    };
    #[cfg(feature = "tls")]
    let (network, guide) = encrypted(network, args, file).await?;
    #[cfg(feature = "tls")]
    let trust = guide.as_ref().map(Guide::trust);
    #[cfg(not(feature = "tls"))]
    let trust = if args.tls { return Err(without_encryption()) } else { None };
    let hosts = [Some(&here), network.as_ref()].into_iter().flatten().flat_map(hosts_of).collect();
    let scheme = if args.tls { "https" } else { "http" };
    let lan = network.as_ref().map(|place| format!("{scheme}://{}", place.address));
    let settings = Settings {
        hosts,
        lan: lan.clone(),
        trust,
        clock: now,
        most_photo_bytes: MOST_PHOTO_BYTES,
        patience: PATIENCE,
        documents,
        demo: demo::files(),
    };
    let app = Arc::new(App::open(file, settings).map_err(|fault| cannot_open(&fault))?);
    say(&format!("The jobs are in {}.", file.display()));
    say(&format!("Open http://{} on this machine. Ctrl-C ends it.", here.address));
    let (end, _) = tokio::sync::watch::channel(());
    let ended = || {
        let mut end = end.subscribe();
        // That nobody can end it any more ends it too.
        async move { drop(end.changed().await) }
    };
    let mut serving = tokio::task::JoinSet::new();
    serving.spawn(serve(here, app.clone(), ended()));
    if let (Some(place), Some(lan)) = (network, lan) {
        #[cfg(feature = "tls")]
        match guide {
            Some(guide) => guide.begin(&lan, &mut serving, ended()),
            None => say_plain(&lan),
        }
        #[cfg(not(feature = "tls"))]
        say_plain(&lan);
        serving.spawn(show_codes(app.clone(), lan));
        serving.spawn(serve(place, app.clone(), ended()));
    }
    asked_to_end()
        .await
        .map_err(|error| Stop::new(FAILED, format!("cannot wait for Ctrl-C: {error}")))?;
    serving.shutdown().await;
    Ok(app)
}

#[cfg(not(feature = "tls"))]
fn without_encryption() -> Stop {
    Stop::new(USAGE, "--tls: this program was built without encryption")
        .hint("build it with cargo build --release --features tls, or leave --tls out")
}

fn say_plain(lan: &str) {
    say(&format!(
        "Phones on this network: {lan}. Without encryption: only on a network that you trust."
    ));
}

/// The place beside an encrypted one that gives phones the certificate of the authority.
#[cfg(feature = "tls")]
struct Guide {
    place: Bound,
    authority: Authority,
}

#[cfg(feature = "tls")]
impl Guide {
    fn trust(&self) -> Trust {
        Trust {
            address: format!("http://{}", self.place.address),
            fingerprint: self.authority.fingerprint(),
        }
    }

    fn begin(
        self,
        lan: &str,
        serving: &mut tokio::task::JoinSet<()>,
        ended: impl Future<Output = ()> + Send + 'static,
    ) {
        let Trust { address, fingerprint } = self.trust();
        say(&format!("Phones on this network: {lan}, encrypted."));
        say(&format!("A phone that was not here yet opens {address} first."));
        say(&format!("Its certificate has the fingerprint {fingerprint}"));
        let lan = lan.to_owned();
        serving.spawn(async move { trust(self.place, &self.authority, &lan, ended).await });
    }
}

/// The place on the network, encrypted under the authority beside the file of jobs if that is asked for.
#[cfg(feature = "tls")]
async fn encrypted(
    network: Option<Bound>,
    args: &args::Serve,
    jobs: &Path,
) -> Result<(Option<Bound>, Option<Guide>), Stop> {
    let Some(place) = network else { return Ok((None, None)) };
    if !args.tls {
        return Ok((Some(place), None));
    }
    let cannot = |fault: floorwright_server::TlsFault| Stop::new(FAILED, format!("--tls: {fault}"));
    let folder = jobs.parent().filter(|folder| !folder.as_os_str().is_empty());
    let authority =
        Authority::in_folder(folder.unwrap_or(Path::new(".")), now()).map_err(cannot)?;
    let encryption = authority.serving(place.address.ip(), now()).map_err(cannot)?;
    let guide =
        bind(Some(place.address.ip()), args.port).await.map_err(|fault| cannot_listen(&fault))?;
    Ok((Some(place.encrypted(encryption)), Some(Guide { place: guide, authority })))
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
    paper.make(kind).map(|made| made.pdf).map_err(|error| error.to_string())
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
