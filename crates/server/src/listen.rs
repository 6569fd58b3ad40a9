//! Listening, and letting go of who is too slow.

use crate::state::App;
use axum::Router;
use axum::extract::ConnectInfo;
use axum::http::Request;
use hyper::body::Incoming;
use hyper::rt::{Read, Write};
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
    #[cfg(feature = "tls")]
    encryption: Option<crate::tls::Encryption>,
}

/// Marks a request that came over an encrypted connection.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Encrypted;

#[cfg(feature = "tls")]
impl Bound {
    /// The same place, spoken to in encrypted form only.
    pub fn encrypted(self, encryption: crate::tls::Encryption) -> Self {
        Self { encryption: Some(encryption), ..self }
    }
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
                return Ok(Bound {
                    listener,
                    address,
                    #[cfg(feature = "tls")]
                    encryption: None,
                });
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
    listen(bound, crate::app(app), patience, end).await;
}

/// Gives phones the certificate of an authority, and tells how they come to trust it, until `end`
/// comes. The way there is not encrypted: the fingerprint has to be compared.
#[cfg(feature = "tls")]
pub async fn trust(
    bound: Bound,
    authority: &crate::tls::Authority,
    encrypted: &str,
    end: impl Future<Output = ()>,
) {
    use axum::http::{HeaderValue, header};
    use axum::response::Html;
    use axum::routing::get;

    let certificate = authority.certificate().to_vec();
    let page = floorwright_pages::trust_page(encrypted, &authority.fingerprint()).into_string();
    let headers = [
        (header::CONTENT_TYPE, HeaderValue::from_static("application/x-x509-ca-cert")),
        (
            header::CONTENT_DISPOSITION,
            HeaderValue::from_static("attachment; filename=\"floorwright-authority.crt\""),
        ),
    ];
    let router = Router::new()
        .route("/", get(|| async { Html(page) }))
        .route("/floorwright-authority.crt", get(|| async { (headers, certificate) }))
        .route("/assets/style.css", get(crate::answers::style))
        .layer(axum::middleware::from_fn(crate::guard::headers));
    listen(bound, router, PATIENCE, end).await;
}

async fn listen(bound: Bound, router: Router, patience: Duration, end: impl Future<Output = ()>) {
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
        #[cfg(feature = "tls")]
        if let Some(encryption) = bound.encryption.clone() {
            tokio::spawn(async move {
                // Who cannot agree on a key, or takes too long to, is let go unheard.
                let agreed = tokio::time::timeout(patience, encryption.0.accept(stream)).await;
                if let Ok(Ok(stream)) = agreed {
                    speak(TokioIo::new(stream), router, peer, patience, true).await;
                }
                drop(place);
            });
            continue;
        }
        tokio::spawn(async move {
            speak(TokioIo::new(stream), router, peer, patience, false).await;
            drop(place);
        });
    }
}

async fn speak(
    stream: impl Read + Write + Unpin + Send + 'static,
    router: Router,
    peer: SocketAddr,
    patience: Duration,
    is_encrypted: bool,
) {
    let service = hyper::service::service_fn(move |request| {
        hear(router.clone(), peer, is_encrypted, request)
    });
    let mut http = hyper::server::conn::http1::Builder::new();
    http.timer(TokioTimer::new()).header_read_timeout(patience);
    // That a caller went away in the middle is told to nobody.
    let _ = http.serve_connection(stream, service).await;
}

async fn hear(
    router: Router,
    peer: SocketAddr,
    is_encrypted: bool,
    mut request: Request<Incoming>,
) -> Result<axum::response::Response, std::convert::Infallible> {
    request.extensions_mut().insert(ConnectInfo(peer));
    if is_encrypted {
        request.extensions_mut().insert(Encrypted);
    }
    router.oneshot(request.map(axum::body::Body::new)).await
}
