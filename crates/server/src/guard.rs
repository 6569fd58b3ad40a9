//! Who may ask, and what every answer carries.
//!
//! A page elsewhere can make a browser send requests here, and a name elsewhere can be pointed at this
//! machine. Neither can set our header, forge `Origin`, or make `Host` one of ours. (OWASP Application
//! Security Verification Standard 5.0, chapter 3; web-platform-tests show that `Sec-Fetch-Site` is not
//! sent over plain http on a local network, so it is checked only where it is there.)

use crate::listen::Encrypted;
use crate::pairing::{COOKIE, SECURE_COOKIE, hash};
use crate::state::App;
use axum::extract::{ConnectInfo, FromRequestParts, Request, State};
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use floorwright_pages::Connection;
use floorwright_store::Arrival;
use std::collections::BTreeMap;
use std::convert::Infallible;
use std::net::{IpAddr, SocketAddr};
use std::sync::{Arc, Mutex, PoisonError};

/// The header that only our own pages send.
pub const OURS: &str = "x-floorwright";

/// What a page may load: its own files, and nothing from elsewhere; no script and no style inside it.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; \
    connect-src 'self'; worker-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; \
    frame-ancestors 'none'";

/// Puts the headers of safety on every answer.
pub async fn headers(request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    headers.entry(header::CONTENT_SECURITY_POLICY).or_insert(HeaderValue::from_static(POLICY));
    for (name, value) in [
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::X_FRAME_OPTIONS, "DENY"),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
        (
            HeaderName::from_static("permissions-policy"),
            "geolocation=(), microphone=(), payment=()",
        ),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}

/// Answers only to its own names.
pub async fn hosts(State(app): State<Arc<App>>, request: Request, next: Next) -> Response {
    match own_host(&app, request.headers()) {
        Some(_) if request.uri().authority().is_none() => next.run(request).await,
        _ => refuse(StatusCode::MISDIRECTED_REQUEST, "this address does not answer to that name"),
    }
}

/// The host of a request, if it is one of ours and there is exactly one.
fn own_host<'a>(app: &App, headers: &'a HeaderMap) -> Option<&'a str> {
    let mut hosts = headers.get_all(header::HOST).iter();
    let (Some(host), None) = (hosts.next(), hosts.next()) else { return None };
    let host = host.to_str().ok()?;
    app.settings.hosts.iter().any(|own| own == host).then_some(host)
}

/// Lets nothing change that does not come from a page of ours.
pub async fn origins(State(app): State<Arc<App>>, request: Request, next: Next) -> Response {
    if matches!(*request.method(), Method::GET | Method::HEAD) {
        return next.run(request).await;
    }
    let headers = request.headers();
    let text = |name: &str| headers.get(name).and_then(|value| value.to_str().ok());
    let host = own_host(&app, headers).unwrap_or_default();
    let is_encrypted = request.extensions().get::<Encrypted>().is_some();
    let own = if is_encrypted { format!("https://{host}") } else { format!("http://{host}") };
    let is_from_us = text("origin").is_some_and(|origin| origin == own)
        && headers.get_all(header::ORIGIN).iter().count() == 1
        && text("sec-fetch-site").is_none_or(|site| site == "same-origin")
        && headers.contains_key(OURS);
    if is_from_us {
        next.run(request).await
    } else {
        refuse(StatusCode::FORBIDDEN, "this did not come from a page of the app")
    }
}

/// Asks a browser on another machine for the session that pairing gave it.
pub async fn sessions(State(app): State<Arc<App>>, request: Request, next: Next) -> Response {
    let peer = request.extensions().get::<ConnectInfo<SocketAddr>>().map(|info| info.0.ip());
    let path = request.uri().path();
    let is_open = path == "/pair" || path.starts_with("/assets/");
    let is_here = peer.is_some_and(|peer| peer.to_canonical().is_loopback());
    if is_open || is_here || has_session(&app, request.headers()) {
        return next.run(request).await;
    }
    let wants_page = *request.method() == Method::GET
        && request
            .headers()
            .get(header::ACCEPT)
            .and_then(|accept| accept.to_str().ok())
            .is_some_and(|accept| accept.contains("text/html"));
    if wants_page {
        return (StatusCode::SEE_OTHER, [(header::LOCATION, "/pair")]).into_response();
    }
    refuse(StatusCode::UNAUTHORIZED, "pair this device first: open /pair")
}

/// A device elsewhere asks no more than this a second for long, and no more than the burst at once: a
/// page with its files is ten.
const MOST_A_SECOND: f64 = 20.0;
const BURST: f64 = 100.0;
/// More devices than this are not told apart.
const MOST_PEERS: usize = 1024;

/// How much each device elsewhere has asked lately.
#[derive(Debug, Default)]
pub(crate) struct Rates(Mutex<BTreeMap<IpAddr, (f64, i64)>>);

impl Rates {
    /// Whether one more request is let pass: a bucket of [`BURST`] that fills again at
    /// [`MOST_A_SECOND`].
    fn allows(&self, peer: IpAddr, now: Arrival) -> bool {
        let mut buckets = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if buckets.len() >= MOST_PEERS && !buckets.contains_key(&peer) {
            buckets.retain(|_, (left, _)| *left < BURST - 1.0);
            if buckets.len() >= MOST_PEERS {
                return false;
            }
        }
        let (left, last) = buckets.entry(peer).or_insert((BURST, now.0));
        let seconds = now.0.saturating_sub(*last).max(0) as f64 / 1000.0;
        *left = (*left + seconds * MOST_A_SECOND).min(BURST);
        *last = now.0;
        let is_enough = *left >= 1.0;
        if is_enough {
            *left -= 1.0;
        }
        is_enough
    }
}

/// Slows down a device elsewhere that asks without end.
pub async fn rates(State(app): State<Arc<App>>, request: Request, next: Next) -> Response {
    let peer = request.extensions().get::<ConnectInfo<SocketAddr>>().map(|info| info.0.ip());
    let now = (app.settings.clock)();
    match peer.map(|peer| peer.to_canonical()) {
        Some(peer) if !peer.is_loopback() && !app.rates.allows(peer, now) => {
            refuse(StatusCode::TOO_MANY_REQUESTS, "too many requests: wait a few seconds")
        }
        _ => next.run(request).await,
    }
}

fn has_session(app: &App, headers: &HeaderMap) -> bool {
    let now = (app.settings.clock)();
    tokens(headers).any(|token| app.pairing.knows(token, now))
}

/// The sessions that a request speaks of, good or not, by their hashes.
pub(crate) fn sessions_of(headers: &HeaderMap) -> Vec<[u8; 32]> {
    tokens(headers).map(hash).collect()
}

fn tokens(headers: &HeaderMap) -> impl Iterator<Item = &str> {
    headers
        .get_all(header::COOKIE)
        .iter()
        .filter_map(|cookies| cookies.to_str().ok())
        .flat_map(|cookies| cookies.split(';'))
        .filter_map(|cookie| cookie.trim().split_once('='))
        .filter(|(name, _)| [COOKIE, SECURE_COOKIE].contains(name))
        .map(|(_, token)| token)
}

/// The way that a request came.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Way {
    /// From this machine itself.
    pub is_here: bool,
    is_encrypted: bool,
}

impl Way {
    /// What a browser does at its other end: it treats this machine's own address as secure, and an
    /// encrypted connection. Over plain http it opens no page again without the computer.
    pub fn connection(self) -> Connection {
        if self.is_here || self.is_encrypted { Connection::Secure } else { Connection::Plain }
    }
}

impl<S: Sync> FromRequestParts<S> for Way {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Infallible> {
        let peer = parts.extensions.get::<ConnectInfo<SocketAddr>>();
        Ok(Self {
            is_here: peer.is_some_and(|peer| peer.0.ip().to_canonical().is_loopback()),
            is_encrypted: parts.extensions.get::<Encrypted>().is_some(),
        })
    }
}

/// A refusal in plain words.
pub fn refuse(status: StatusCode, why: &'static str) -> Response {
    (status, [(header::CONTENT_TYPE, "text/plain; charset=utf-8")], why).into_response()
}
