//! Listening, and letting go of who is too slow.

use crate::state::App;
use axum::Router;
use axum::extract::ConnectInfo;
use axum::http::Request;
use hyper::body::Incoming;
use hyper_util::rt::{TokioIo, TokioTimer};
use std::future::Future;
use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::sync::Semaphore;
use tower::ServiceExt;

/// More callers than this wait for a place.
const MOST_CONNECTIONS: usize = 64;
/// Who has not said what they want by then is let go, unless the settings say otherwise.
pub const PATIENCE: Duration = Duration::from_secs(10);
/// So many ports are tried after one that is taken.
const MOST_PORTS: u16 = 10;

/// A place to listen at.
#[derive(Debug)]
pub struct Bound {
    listener: TcpListener,
    /// Where it listens.
    pub address: SocketAddr,
}

/// Why there is no listening.
#[derive(Debug, thiserror::Error)]
pub enum ServeFault {
    /// Every port that was tried is taken.
    #[error("ports {from} to {to} are taken; name another with --port")]
    PortsTaken {
        /// The first that was tried.
        from: u16,
        /// The last.
        to: u16,
    },
    /// Something else.
    #[error("cannot listen at {address}: {source}")]
    Cannot {
        /// Where.
        address: SocketAddr,
        /// Why not.
        source: std::io::Error,
    },
}

/// Takes a port: the one that was asked for, or one of the next ones if it is taken. Only this machine
/// is listened to, unless an address of its network is named.
///
/// # Errors
/// [`ServeFault`].
pub async fn bind(network: Option<IpAddr>, port: u16) -> Result<Bound, ServeFault> {
    let ip = network.unwrap_or(IpAddr::V4(Ipv4Addr::LOCALHOST));
    let last = port.saturating_add(MOST_PORTS);
    for tried in port..=last {
        let address = SocketAddr::new(ip, tried);
        match TcpListener::bind(address).await {
            Ok(listener) => {
                let address = listener.local_addr().unwrap_or(address);
                return Ok(Bound { listener, address });
            }
            Err(source) if source.kind() == std::io::ErrorKind::AddrInUse && port != 0 => {}
            Err(source) => return Err(ServeFault::Cannot { address, source }),
        }
    }
    Err(ServeFault::PortsTaken { from: port, to: last })
}

/// Answers until `end` comes.
pub async fn serve(bound: Bound, app: Arc<App>, end: impl Future<Output = ()>) {
    let patience = app.settings.patience;
    let router = crate::app(app);
    let places = Arc::new(Semaphore::new(MOST_CONNECTIONS));
    tokio::pin!(end);
    loop {
        let Ok(place) = places.clone().acquire_owned().await else { return };
        let accepted = tokio::select! {
            accepted = bound.listener.accept() => accepted,
            () = &mut end => return,
        };
        // A caller who hung up before being heard is no reason to stop.
        let Ok((stream, peer)) = accepted else { continue };
        let router = router.clone();
        tokio::spawn(async move {
            let service =
                hyper::service::service_fn(move |request| hear(router.clone(), peer, request));
            let mut http = hyper::server::conn::http1::Builder::new();
            http.timer(TokioTimer::new()).header_read_timeout(patience);
            // That a caller went away in the middle is told to nobody.
            let _ = http.serve_connection(TokioIo::new(stream), service).await;
            drop(place);
        });
    }
}

async fn hear(
    router: Router,
    peer: SocketAddr,
    mut request: Request<Incoming>,
) -> Result<axum::response::Response, std::convert::Infallible> {
    request.extensions_mut().insert(ConnectInfo(peer));
    router.oneshot(request.map(axum::body::Body::new)).await
}
