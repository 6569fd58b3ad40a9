//! Callers who mean harm, on real sockets: each is refused with words, and the next caller is heard.

use floorwright_server::{App, Settings, bind, serve};
use floorwright_store::{Arrival, SqliteLog};
use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tempfile::TempDir;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

const JOB: &str = "018f3c7e-8d2a-7c31-9b1e-3a54c0ffee01";
const PNG: &[u8] = include_bytes!("../../job/tests/data/pictures/plain.png");

struct Site {
    address: SocketAddr,
    folder: TempDir,
    serving: tokio::task::JoinHandle<()>,
}

impl Drop for Site {
    fn drop(&mut self) {
        self.serving.abort();
    }
}

async fn site() -> Site {
    let folder = tempfile::tempdir().unwrap();
    site_in(folder, SqliteLog::open).await
}

async fn site_in(
    folder: TempDir,
    open: impl Fn(&Path) -> Result<SqliteLog, floorwright_store::StoreFault>,
) -> Site {
    let bound = bind(None, 0).await.unwrap();
    let address = bound.address;
    let settings = Settings {
        hosts: vec![address.to_string()],
        lan: None,
        trust: None,
        clock: || Arrival(1_790_000_000_000),
        most_photo_bytes: 1_000,
        patience: Duration::from_millis(500),
        documents: |_, _| Err("none here".to_owned()),
        demo: BTreeMap::new(),
    };
    let file = folder.path().join("jobs.floorwright");
    let app = App::with_log(open(&file).unwrap(), &file, settings).unwrap();
    let serving = tokio::spawn(serve(bound, Arc::new(app), std::future::pending()));
    Site { address, folder, serving }
}

impl Site {
    /// Sends bytes as they are and reads to the end; empty if the caller was hung up on unheard.
    async fn raw(&self, head: &str, body: &[u8]) -> String {
        let mut stream = TcpStream::connect(self.address).await.unwrap();
        // Whoever is hung up on in the middle of a sentence cannot finish it.
        let _ = stream.write_all(head.as_bytes()).await;
        let _ = stream.write_all(body).await;
        let mut said = Vec::new();
        let _ = tokio::time::timeout(Duration::from_secs(20), stream.read_to_end(&mut said))
            .await
            .expect("it answers or hangs up");
        String::from_utf8_lossy(&said).into_owned()
    }

    async fn get(&self, target: &str) -> String {
        let host = self.address;
        self.raw(
            &format!("GET {target} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n"),
            b"",
        )
        .await
    }

    fn head(&self, method: &str, target: &str, more: &str) -> String {
        let host = self.address;
        format!(
            "{method} {target} HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nx-floorwright: 1\r\n\
             Connection: close\r\n{more}\r\n"
        )
    }

    async fn put(&self, target: &str, body: &[u8]) -> String {
        let more = format!("Content-Type: application/json\r\nContent-Length: {}\r\n", body.len());
        self.raw(&self.head("PUT", target, &more), body).await
    }

    async fn is_well(&self) {
        let said = self.get("/assets/app.js").await;
        assert!(said.starts_with("HTTP/1.1 200"), "{said}");
    }
}

fn id(number: u32) -> String {
    format!("018f3c7e-8d2a-4c31-9b1e-{number:012}")
}

fn event(number: u32, unix_ms: i64, change: &serde_json::Value) -> Vec<u8> {
    serde_json::json!({
        "id": id(number), "job": JOB, "device": JOB, "seq": number, "tick": number,
        "at": { "unix_ms": unix_ms, "offset_minutes": 0 }, "change": change,
    })
    .to_string()
    .into_bytes()
}

fn reading(point: &str, reading: &str) -> serde_json::Value {
    serde_json::json!({ "did": "read", "setup": "S1", "reading": { "point": point, "reading": reading } })
}

fn hash_of(bytes: &[u8]) -> String {
    use sha2::{Digest, Sha256};
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

/// What this process holds in memory at most so far, in MB.
#[cfg(target_os = "linux")]
fn most_held_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmHWM")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse::<f64>().unwrap() / 1000.0
}

#[cfg(not(target_os = "linux"))]
fn most_held_mb() -> f64 {
    0.0
}

#[tokio::test(flavor = "multi_thread")]
async fn a_hundred_megabytes_are_neither_kept_nor_held() {
    let site = site().await;
    let before = most_held_mb();
    for target in [format!("/events/{}", id(1)), format!("/photos/{}", hash_of(b"x"))] {
        let head = site.head("PUT", &target, "Content-Length: 104857600\r\n");
        let mut stream = TcpStream::connect(site.address).await.unwrap();
        stream.write_all(head.as_bytes()).await.unwrap();
        let piece = vec![b'a'; 1 << 16];
        let mut n_sent = 0;
        while n_sent < 104_857_600 && stream.write_all(&piece).await.is_ok() {
            n_sent += piece.len();
        }
        assert!(n_sent < 60_000_000, "{n_sent} bytes were taken");
        site.is_well().await;
    }
    // A little over the limit is read to its end, so that the sender hears why.
    let said = site.put(&format!("/events/{}", id(1)), &vec![b'a'; 2_000_000]).await;
    assert!(said.starts_with("HTTP/1.1 413") && said.contains("1 MB"), "{said}");
    let said = site.put(&format!("/photos/{}", hash_of(b"x")), &vec![b'a'; 5_000_000]).await;
    assert!(said.starts_with("HTTP/1.1 413") && said.contains("4 MB"), "{said}");
    // Other tests of this file run beside this one.
    assert!(most_held_mb() - before < 100.0, "{} MB", most_held_mb() - before);
}

/// A bomb: ten megabytes of nothing in ten kilobytes, which nobody here unpacks.
#[tokio::test]
async fn what_is_packed_is_not_unpacked() {
    let site = site().await;
    let bomb = [b"\x1f\x8b\x08\x00".as_slice(), &[0; 10_000]].concat();
    let more = format!(
        "Content-Type: application/json\r\nContent-Encoding: gzip\r\nContent-Length: {}\r\n",
        bomb.len()
    );
    let said = site.raw(&site.head("PUT", &format!("/events/{}", id(1)), &more), &bomb).await;
    assert!(said.starts_with("HTTP/1.1 415") && said.contains("not packed"), "{said}");
    let said = site.put(&format!("/photos/{}", hash_of(&bomb)), &bomb).await;
    assert!(said.starts_with("HTTP/1.1 422"), "{said}");
    let said = site.put(&format!("/events/{}", id(1)), b"PK\x03\x04 zip").await;
    assert!(said.starts_with("HTTP/1.1 422"), "{said}");
    site.is_well().await;
}

#[tokio::test]
async fn pictures_that_are_none_are_refused_and_what_is_served_is_a_picture() {
    let site = site().await;
    let svg = b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>".as_slice();
    let mut huge = PNG.to_vec();
    huge[16..24].copy_from_slice(&[0, 0, 0xea, 0x60, 0, 0, 0xea, 0x60]);
    for (body, words) in [(svg, "no JPEG, PNG or WebP"), (huge.as_slice(), "60000 x 60000")] {
        let said = site.put(&format!("/photos/{}", hash_of(body)), body).await;
        assert!(said.starts_with("HTTP/1.1 422") && said.contains(words), "{said}");
    }
    // A true picture with a page behind it is served as a picture that runs nothing.
    let both = [PNG, b"<html><script>alert(1)</script>"].concat();
    let target = format!("/photos/{}", hash_of(&both));
    assert!(site.put(&target, &both).await.starts_with("HTTP/1.1 201"));
    let said = site.get(&target).await.to_ascii_lowercase();
    for header in ["content-type: image/png", "x-content-type-options: nosniff", "sandbox"] {
        assert!(said.contains(header), "{header}");
    }
}

#[tokio::test]
async fn no_path_leads_out_of_the_app() {
    let site = site().await;
    let mut targets: Vec<String> = [
        "/jobs/../../etc/passwd",
        "/jobs/%2e%2e/%2e%2e/etc/passwd",
        "/jobs/..%2f..%2fetc%2fpasswd",
        "/photos/../../etc/passwd",
        "/photos/..%2f..%2fetc%2fpasswd",
        "/photos/..%5c..%5cetc%5cpasswd",
        "/photos//etc/passwd",
        "/assets/../Cargo.toml",
        "/assets/%2e%2e%2fCargo.toml",
        "/assets/..%252f..%252fCargo.toml",
        "/assets/....//....//etc/passwd",
        "/assets/app.js%00.png",
        "//etc/passwd",
        "/%00",
        "/file:///etc/passwd",
        "/jobs/%ff%fe/readings",
    ]
    .map(str::to_owned)
    .into();
    targets.push(format!("/jobs/{JOB}/paper/..%2f..%2f..%2fetc%2fpasswd"));
    targets.push(format!("/jobs/{JOB}/../../etc/passwd"));
    targets.push(format!("/{}", "a/".repeat(4000)));
    for target in targets {
        let said = site.get(&target).await;
        let status: u16 = said.get(9..12).and_then(|digits| digits.parse().ok()).unwrap_or(0);
        assert!((400..500).contains(&status), "{target}: {said}");
        assert!(!said.contains("root:") && !said.contains("[package]"), "{target}");
    }
    site.is_well().await;
}

#[tokio::test]
async fn requests_that_are_none_hurt_nobody() {
    let site = site().await;
    let host = site.address;
    let many = (0..10_000).map(|idx| format!("x-{idx}: y\r\n")).collect::<String>();
    for head in [
        "\0\0\0\0\r\n\r\n".to_owned(),
        "GET / HTTP/9.9\r\n\r\n".to_owned(),
        format!("GET / HTTP/1.1\r\nHost: {host}\r\n{many}\r\n"),
        format!("GET / HTTP/1.1\r\nHost: {host}\r\nX: {}\r\n\r\n", "a".repeat(1_000_000)),
        site.head("PUT", "/events/x", "Content-Length: -1\r\n"),
        site.head("PUT", "/events/x", "Content-Length: 5\r\nContent-Length: 6\r\n"),
        site.head("PUT", "/events/x", "Content-Length: 5\r\nTransfer-Encoding: chunked\r\n"),
        site.head("PUT", "/events/x", "Transfer-Encoding: chunked\r\n") + "ffffffffffffffffff\r\n",
        site.head("PUT", "/events/x", "Content-Length: 18446744073709551616\r\n"),
        site.head("TRACE", "/", ""),
        site.head("CONNECT", "evil.example:80", ""),
    ] {
        let said = site.raw(&head, b"hello").await;
        assert!(!said.starts_with("HTTP/1.1 2"), "{head:.60}: {said}");
    }
    site.is_well().await;
}

/// A body that is announced and comes drop by drop, or not at all, from as many callers as there are
/// places.
#[tokio::test]
async fn callers_who_announce_and_do_not_send_are_let_go() {
    let site = site().await;
    let head = site.head(
        "PUT",
        &format!("/events/{}", id(1)),
        "Content-Type: application/json\r\nContent-Length: 1000\r\n",
    );
    let mut silent = Vec::new();
    for _ in 0..64 {
        let mut stream = TcpStream::connect(site.address).await.unwrap();
        stream.write_all(head.as_bytes()).await.unwrap();
        silent.push(stream);
    }
    let start = Instant::now();
    site.is_well().await;
    assert!(start.elapsed() < Duration::from_secs(5), "{:?}", start.elapsed());
    let mut said = String::new();
    silent.remove(0).read_to_string(&mut said).await.unwrap();
    assert!(said.starts_with("HTTP/1.1 408") && said.contains("send it again"), "{said}");
}

#[tokio::test]
async fn ten_thousand_readings_in_one_request() {
    let site = site().await;
    let list: Vec<_> = (0..10_000).map(|idx| reading(&format!("P{idx}"), "1500")).collect();
    let list = serde_json::json!(list).to_string();
    let said = site.put(&format!("/events/{}", id(1)), list.as_bytes()).await;
    assert!(said.starts_with("HTTP/1.1 422") && said.contains("not an event"), "{said}");
    // As a job that is brought in they are welcome.
    let rows: Vec<_> = (0..10_000)
        .map(|idx| serde_json::json!({ "point": format!("P{}", idx % 100), "reading": 1500 + idx % 7 }))
        .collect();
    let form = serde_json::json!({ "format": 1, "setup": [{ "id": "S1", "readings": rows }] });
    let change = serde_json::json!({ "did": "begin", "form": form });
    let said = site.put(&format!("/events/{}", id(1)), &event(1, 0, &change)).await;
    assert!(said.starts_with("HTTP/1.1 201"), "{said}");
    let start = Instant::now();
    let page = site.get(&format!("/jobs/{JOB}/readings")).await;
    assert!(page.starts_with("HTTP/1.1 200"), "{page}");
    assert!(start.elapsed() < Duration::from_secs(20), "{:?}", start.elapsed());
}

/// A phone whose clock is ten years off, and one whose clock runs backwards: what was done last counts.
#[tokio::test]
async fn a_clock_that_is_ten_years_off_puts_nothing_out_of_order() {
    let site = site().await;
    let ten_years = 10 * 365 * 86_400_000_i64;
    let now = 1_790_000_000_000;
    let amend = |to: &str| serde_json::json!({ "did": "amend", "event": id(1), "reading": { "point": "A1", "reading": to } });
    for (number, at, change) in [
        (1, now + ten_years, reading("A1", "1612")),
        (2, now, amend("1621")),
        (3, now - ten_years, amend("1640")),
    ] {
        let said = site.put(&format!("/events/{}", id(number)), &event(number, at, &change)).await;
        assert!(said.starts_with("HTTP/1.1 201"), "{said}");
    }
    let page = site.get(&format!("/jobs/{JOB}/readings")).await;
    assert!(page.contains("<td>1640</td>") && !page.contains("1621"), "{page}");
    assert!(
        page.to_ascii_lowercase().contains("\r\ndate: "),
        "the page can tell how far off it is"
    );
}

/// The disk fills up in the middle of a morning: every reading is acknowledged or told, none of the
/// acknowledged ones is lost, and the others are taken once there is room.
#[tokio::test]
async fn a_full_disk_is_told_and_loses_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let site = site_in(folder, |file| SqliteLog::open_with_room(file, 40)).await;
    let body = |number: u32| event(number, 0, &reading(&format!("P{number}"), "1500"));
    let mut n_kept = 0;
    let refused = loop {
        let number = n_kept + 1;
        let said = site.put(&format!("/events/{}", id(number)), &body(number)).await;
        if !said.starts_with("HTTP/1.1 201") {
            break said;
        }
        n_kept = number;
    };
    assert!(refused.starts_with("HTTP/1.1 503"), "{refused}");
    assert!(refused.contains("it is full") && refused.contains("make room"), "{refused}");
    assert!(n_kept > 20, "only {n_kept} were kept");
    let page = site.get(&format!("/jobs/{JOB}/readings")).await;
    assert!(page.contains(&format!("{n_kept} readings taken here")), "{page}");
    // On a disk with room.
    let file = site.folder.path().join("jobs.floorwright");
    let copy = tempfile::tempdir().unwrap();
    let moved = copy.path().join("jobs.floorwright");
    SqliteLog::open(&file).unwrap().back_up(&moved).unwrap();
    drop(site);
    let site = site_in(copy, SqliteLog::open).await;
    for number in [1, n_kept, n_kept + 1] {
        let said = site.put(&format!("/events/{}", id(number)), &body(number)).await;
        let wanted = if number > n_kept { "HTTP/1.1 201" } else { "HTTP/1.1 200" };
        assert!(said.starts_with(wanted), "{said}");
    }
}
