//! Letting a phone in: a code that is read off the computer, once.

use crate::guard::refuse;
use crate::listen::Encrypted;
use crate::state::App;
use axum::Extension;
use axum::Json;
use axum::extract::{ConnectInfo, State};
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use floorwright_pages::DeviceHead;
use floorwright_store::Arrival;
use serde::Deserialize;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::Notify;

/// The cookie of a paired browser. Over plain http a browser drops cookies that are marked secure.
pub(crate) const COOKIE: &str = "floorwright-device";

/// The same over an encrypted connection: by the prefix a browser lets nobody else set it, and sends it
/// over no other connection (RFC 6265bis, 4.1.3.2, from memory).
pub(crate) const SECURE_COOKIE: &str = "__Host-floorwright-device";

/// A code is good for ten minutes, once, and for five tries.
const CODE_LASTS_MS: i64 = 10 * 60 * 1000;
const MOST_TRIES: u32 = 5;
/// A session ends after half a day of rest, and after a month in any case.
const IDLE_MS: i64 = 12 * 3600 * 1000;
const SESSION_MS: i64 = 30 * 24 * 3600 * 1000;
/// No more devices than this at one time.
const MOST_DEVICES: usize = 64;

/// The code that lets one device in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PairingCode(String);

impl std::fmt::Display for PairingCode {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

#[derive(Debug, Default)]
pub(crate) struct Pairing {
    inner: Mutex<Inner>,
    used: Notify,
}

#[derive(Debug, Default)]
struct Inner {
    code: Option<Code>,
    /// Sessions by the hash of their token: whoever reads this memory cannot use them.
    sessions: BTreeMap<[u8; 32], Session>,
}

#[derive(Debug)]
struct Code {
    code: PairingCode,
    made: Arrival,
    tries: u32,
}

#[derive(Debug)]
struct Session {
    id: String,
    name: String,
    address: String,
    begun: Arrival,
    seen: Arrival,
}

impl Pairing {
    /// A new code; the one before it is no longer good. `None` if the machine gives no randomness.
    pub fn new_code(&self, now: Arrival) -> Option<PairingCode> {
        let code = PairingCode(digits(7)?);
        self.held().code = Some(Code { code: code.clone(), made: now, tries: 0 });
        Some(code)
    }

    /// The token of a new session, for the code.
    fn redeem(&self, typed: &str, who: Who, now: Arrival) -> Option<String> {
        let mut inner = self.held();
        let code = inner.code.as_mut()?;
        code.tries += 1;
        let is_alive = code.tries <= MOST_TRIES && now.0 - code.made.0 <= CODE_LASTS_MS;
        if !is_alive {
            inner.code = None;
            return None;
        }
        let is_right = Sha256::digest(typed.trim()) == Sha256::digest(&code.code.0);
        if !is_right {
            return None;
        }
        inner.code = None;
        let mut bytes = [0; 16];
        getrandom::fill(&mut bytes).ok()?;
        let token: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
        // What it is spoken of by says nothing of the token.
        let id = hash(&format!("{token} is spoken of as"));
        let id: String = id[..8].iter().map(|byte| format!("{byte:02x}")).collect();
        inner.sessions.retain(|_, session| session.is_good(now));
        if inner.sessions.len() >= MOST_DEVICES {
            return None;
        }
        let Who { name, address } = who;
        let session = Session { id, name, address, begun: now, seen: now };
        inner.sessions.insert(hash(&token), session);
        Some(token)
    }

    /// Whether a token belongs to a session that is still good.
    pub fn knows(&self, token: &str, now: Arrival) -> bool {
        let mut inner = self.held();
        match inner.sessions.get_mut(&hash(token)) {
            Some(session) if session.is_good(now) => {
                session.seen = now;
                true
            }
            _ => false,
        }
    }

    /// Whether a session is still good, without its having been heard of.
    pub fn is_in(&self, session: &[u8; 32], now: Arrival) -> bool {
        self.held().sessions.get(session).is_some_and(|session| session.is_good(now))
    }

    /// The devices that are in, the one heard of last first.
    pub fn devices(&self, now: Arrival) -> Vec<DeviceHead> {
        let inner = self.held();
        let good = inner.sessions.values().filter(|session| session.is_good(now));
        let mut devices: Vec<DeviceHead> = good
            .map(|session| DeviceHead {
                id: session.id.clone(),
                name: session.name.clone(),
                address: session.address.clone(),
                silent_ms: now.0 - session.seen.0,
            })
            .collect();
        devices.sort_by(|a, b| a.silent_ms.cmp(&b.silent_ms).then(a.id.cmp(&b.id)));
        devices
    }

    /// Ends a session; whether there was one.
    fn revoke(&self, id: &str) -> bool {
        let mut inner = self.held();
        let n_before = inner.sessions.len();
        inner.sessions.retain(|_, session| session.id != id);
        inner.sessions.len() < n_before
    }

    fn held(&self) -> std::sync::MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Session {
    fn is_good(&self, now: Arrival) -> bool {
        now.0 - self.seen.0 <= IDLE_MS && now.0 - self.begun.0 <= SESSION_MS
    }
}

/// Who was let in, for people to read.
struct Who {
    name: String,
    address: String,
}

impl Who {
    /// A name of no more than forty letters, none of them a control.
    fn new(name: &str, peer: SocketAddr) -> Self {
        let address = peer.ip().to_canonical().to_string();
        let name: String = name.chars().filter(|letter| !letter.is_control()).take(40).collect();
        let name = name.trim();
        let name = if name.is_empty() { format!("Phone at {address}") } else { name.to_owned() };
        Self { name, address }
    }
}

impl App {
    /// Ends the session of a device at once, what it listens to included; whether there was one.
    pub(crate) fn send_away(&self, id: &str) -> bool {
        let was_in = self.pairing.revoke(id);
        self.wake_listeners();
        was_in
    }

    /// Waits until a code was used: it is time for a new one.
    pub async fn code_used(&self) {
        self.pairing.used.notified().await;
    }

    /// Makes a code that lets one device in, to be shown on this machine.
    pub fn pairing_code(&self) -> Option<PairingCode> {
        self.pairing.new_code((self.settings.clock)())
    }
}

pub(crate) fn hash(token: &str) -> [u8; 32] {
    Sha256::digest(token.as_bytes()).into()
}

/// Random digits without a lean to any of them.
fn digits(n_digits: usize) -> Option<String> {
    let mut code = String::new();
    while code.len() < n_digits {
        let mut byte = [0];
        getrandom::fill(&mut byte).ok()?;
        if byte[0] < 250 {
            code.push(char::from(b'0' + byte[0] % 10));
        }
    }
    Some(code)
}

/// What a device sends to be let in.
#[derive(Deserialize)]
pub(crate) struct Typed {
    code: String,
    #[serde(default)]
    name: String,
}

pub(crate) async fn page() -> Html<String> {
    Html(floorwright_pages::pairing_page().into_string())
}

pub(crate) async fn pair(
    State(app): State<Arc<App>>,
    ConnectInfo(peer): ConnectInfo<SocketAddr>,
    encrypted: Option<Extension<Encrypted>>,
    Json(typed): Json<Typed>,
) -> Response {
    let who = Who::new(&typed.name, peer);
    match app.pairing.redeem(&typed.code, who, (app.settings.clock)()) {
        Some(token) => {
            app.pairing.used.notify_one();
            let month = SESSION_MS / 1000;
            let (name, secure) =
                if encrypted.is_some() { (SECURE_COOKIE, "; Secure") } else { (COOKIE, "") };
            let cookie = format!(
                "{name}={token}; HttpOnly; SameSite=Strict; Path=/; Max-Age={month}{secure}"
            );
            (StatusCode::NO_CONTENT, [(header::SET_COOKIE, cookie)]).into_response()
        }
        None => refuse(
            StatusCode::FORBIDDEN,
            "that code is not good: it lasts ten minutes, once, for five tries; make a new one on the computer",
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOW: Arrival = Arrival(1_790_000_000_000);

    fn who() -> Who {
        Who::new("", "192.168.1.44:50000".parse().unwrap())
    }

    #[test]
    fn a_code_is_good_once() {
        let pairing = Pairing::default();
        let code = pairing.new_code(NOW).unwrap().to_string();
        let token = pairing.redeem(&code, who(), NOW).unwrap();
        assert!(pairing.knows(&token, NOW));
        assert_eq!(pairing.redeem(&code, who(), NOW), None);
        assert!(!pairing.knows("", NOW) && !pairing.knows(&code, NOW));
    }

    #[test]
    fn guessing_ends_after_five_tries_and_waiting_after_ten_minutes() {
        let pairing = Pairing::default();
        let code = pairing.new_code(NOW).unwrap().to_string();
        let wrong = if code.starts_with('0') { "1234567" } else { "0234567" };
        for _ in 0..5 {
            assert_eq!(pairing.redeem(wrong, who(), NOW), None);
        }
        assert_eq!(pairing.redeem(&code, who(), NOW), None);
        let late = Arrival(NOW.0 + CODE_LASTS_MS + 1);
        let code = pairing.new_code(NOW).unwrap().to_string();
        assert_eq!(pairing.redeem(&code, who(), late), None);
    }

    #[test]
    fn a_session_ends_after_half_a_day_of_rest_and_after_a_month() {
        let pairing = Pairing::default();
        let code = pairing.new_code(NOW).unwrap().to_string();
        let token = pairing.redeem(&code, who(), NOW).unwrap();
        let mut now = NOW;
        while now.0 - NOW.0 < SESSION_MS - IDLE_MS {
            now.0 += IDLE_MS;
            assert!(pairing.knows(&token, now));
        }
        assert!(!pairing.knows(&token, Arrival(now.0 + IDLE_MS + 1)));
        assert!(!pairing.knows(&token, Arrival(NOW.0 + SESSION_MS + 1)));
    }

    #[test]
    fn codes_do_not_lean_to_any_digit() {
        let mut counts = [0_u32; 10];
        for _ in 0..2000 {
            digits(7).unwrap().bytes().for_each(|digit| counts[usize::from(digit - b'0')] += 1);
        }
        // 14,000 digits: 1,400 each, give or take six standard deviations of 35.
        assert!(counts.iter().all(|&count| (1190..1610).contains(&count)), "{counts:?}");
    }
}
