//! Requests as browsers and their enemies send them, to the real router on a real log.

use axum::body::Body;
use axum::extract::ConnectInfo;
use axum::http::{Method, Request, StatusCode, header};
use axum::response::Response;
use floorwright_server::{App, Settings, app, bind, serve};
use floorwright_store::Arrival;
use http_body_util::BodyExt;
use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tempfile::TempDir;
use tower::ServiceExt;

const HOST: &str = "127.0.0.1:7340";
const PHONE: &str = "192.168.1.44:50000";
const HERE: &str = "127.0.0.1:50000";
const JOB: &str = "018f3c7e-8d2a-7c31-9b1e-3a54c0ffee01";

struct Site {
    app: Arc<App>,
    _folder: TempDir,
}

fn site() -> Site {
    let folder = tempfile::tempdir().unwrap();
    let settings = Settings {
        hosts: vec![HOST.to_owned(), "192.168.1.20:7340".to_owned()],
        lan: Some("http://192.168.1.20:7340".to_owned()),
        trust: None,
        clock: || Arrival(1_790_000_000_000),
        most_photo_bytes: 1_000,
        patience: Duration::from_millis(300),
        documents: |job, name| Ok(format!("{name} of {}", job.name()).into_bytes()),
        demo: BTreeMap::new(),
    };
    let app = App::open(&folder.path().join("jobs.floorwright"), settings).unwrap();
    Site { app: Arc::new(app), _folder: folder }
}

impl Site {
    async fn ask(&self, peer: &str, mut request: Request<Body>) -> Response {
        let peer: SocketAddr = peer.parse().unwrap();
        request.extensions_mut().insert(ConnectInfo(peer));
        app(self.app.clone()).oneshot(request).await.unwrap()
    }
}

fn get(path: &str) -> Request<Body> {
    Request::get(path).header(header::HOST, HOST).body(Body::empty()).unwrap()
}

fn id(number: u32) -> String {
    format!("018f3c7e-8d2a-4c31-9b1e-{number:012}")
}

fn event(number: u32, reading: &str) -> String {
    format!(
        r#"{{"id":"{}","job":"{JOB}","device":"{JOB}","seq":{number},"tick":{number},
        "at":{{"unix_ms":1,"offset_minutes":720}},
        "change":{{"did":"read","setup":"S1","reading":{{"point":"P{number}","reading":"{reading}"}}}}}}"#,
        id(number)
    )
}

fn put(number: u32, body: String) -> Request<Body> {
    Request::put(format!("/events/{}", id(number)))
        .header(header::HOST, HOST)
        .header(header::ORIGIN, format!("http://{HOST}"))
        .header(header::CONTENT_TYPE, "application/json")
        .header("x-floorwright", "1")
        .body(Body::from(body))
        .unwrap()
}

async fn text(response: Response) -> String {
    String::from_utf8(response.into_body().collect().await.unwrap().to_bytes().to_vec()).unwrap()
}

#[tokio::test]
async fn an_event_is_kept_once_and_another_under_its_id_is_told() {
    let site = site();
    let first = site.ask(HERE, put(1, event(1, "1612"))).await;
    assert_eq!(first.status(), StatusCode::CREATED);
    assert!(text(first).await.contains("\"place\":1"));
    assert_eq!(site.ask(HERE, put(1, event(1, "1612"))).await.status(), StatusCode::OK);
    assert_eq!(site.ask(HERE, put(1, event(1, "1621"))).await.status(), StatusCode::CONFLICT);
    let page = text(site.ask(HERE, get(&format!("/jobs/{JOB}/readings"))).await).await;
    assert!(page.contains("P1") && page.contains("1612"), "{page}");
    let home = text(site.ask(HERE, get("/")).await).await;
    assert!(home.contains("1 readings"), "{home}");
}

#[tokio::test]
async fn what_is_no_event_is_refused_with_words() {
    let site = site();
    let cases = [
        ("", "not an event"),
        ("{}", "missing field"),
        (&event(2, "1612"), "another event"),
        (&event(1, "1").replace("\"tick\":1", "\"tick\":0"), "tick is 0"),
        (&event(1, "1").replace("{\"did\"", "[{\"did\"").replace("}}}", "}}]}"), "not an object"),
    ];
    for (body, words) in cases {
        let answer = site.ask(HERE, put(1, body.to_owned())).await;
        assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{body}");
        let said = text(answer).await;
        assert!(said.contains(words), "{body}: {said}");
    }
    let huge = site.ask(HERE, put(1, "x".repeat(1024 * 1024 + 1))).await;
    assert_eq!(huge.status(), StatusCode::PAYLOAD_TOO_LARGE);
    let mut form = put(1, event(1, "1612"));
    form.headers_mut()
        .insert(header::CONTENT_TYPE, "application/x-www-form-urlencoded".parse().unwrap());
    assert_eq!(site.ask(HERE, form).await.status(), StatusCode::UNSUPPORTED_MEDIA_TYPE);
}

/// A name elsewhere that was pointed at this machine; two names; none; a name with a dot behind it.
#[tokio::test]
async fn other_names_of_this_machine_are_not_answered() {
    let site = site();
    for hosts in
        [&["evil.example:7340"][..], &[], &[HOST, HOST], &["127.0.0.1:7340."], &["127.0.0.1"]]
    {
        let mut request = Request::get("/");
        for host in hosts {
            request = request.header(header::HOST, *host);
        }
        let answer = site.ask(HERE, request.body(Body::empty()).unwrap()).await;
        assert_eq!(answer.status(), StatusCode::MISDIRECTED_REQUEST, "{hosts:?}");
    }
    let absolute = Request::get("http://evil.example/")
        .header(header::HOST, HOST)
        .body(Body::empty())
        .unwrap();
    assert_eq!(site.ask(HERE, absolute).await.status(), StatusCode::MISDIRECTED_REQUEST);
}

/// What a page elsewhere can make a browser send.
#[tokio::test]
async fn nothing_changes_by_a_page_elsewhere() {
    let site = site();
    let without = |name: &'static str| {
        let mut request = put(1, event(1, "1612"));
        request.headers_mut().remove(name);
        request
    };
    let with = |name: &'static str, value: &'static str| {
        let mut request = put(1, event(1, "1612"));
        request.headers_mut().insert(name, value.parse().unwrap());
        request
    };
    let mut twice = put(1, event(1, "1612"));
    twice.headers_mut().append(header::ORIGIN, "http://evil.example".parse().unwrap());
    for request in [
        without("origin"),
        without("x-floorwright"),
        with("origin", "http://evil.example"),
        with("origin", "null"),
        with("origin", "https://127.0.0.1:7340"),
        with("sec-fetch-site", "cross-site"),
        twice,
    ] {
        assert_eq!(site.ask(HERE, request).await.status(), StatusCode::FORBIDDEN);
    }
    for path in ["/read-job", "/pair"] {
        let mut request = get(path);
        *request.method_mut() = Method::POST;
        assert_eq!(site.ask(HERE, request).await.status(), StatusCode::FORBIDDEN, "{path}");
    }
    assert!(site.app.jobs().is_empty());
}

#[tokio::test]
async fn a_phone_is_let_in_by_the_code_and_not_without() {
    let site = site();
    let wanted = get(&format!("/jobs/{JOB}/readings"));
    assert_eq!(site.ask(PHONE, wanted).await.status(), StatusCode::UNAUTHORIZED);
    assert_eq!(site.ask(PHONE, put(1, event(1, "1612"))).await.status(), StatusCode::UNAUTHORIZED);
    let mut page = get("/");
    page.headers_mut().insert(header::ACCEPT, "text/html".parse().unwrap());
    assert_eq!(site.ask(PHONE, page).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(site.ask(PHONE, get("/pair")).await.status(), StatusCode::OK);

    let code = site.app.pairing_code().unwrap().to_string();
    let pair = |code: &str| {
        let mut request = put(1, format!("{{\"code\":\"{code}\"}}"));
        *request.method_mut() = Method::POST;
        *request.uri_mut() = "/pair".parse().unwrap();
        request
    };
    assert_eq!(site.ask(PHONE, pair("000")).await.status(), StatusCode::FORBIDDEN);
    let let_in = site.ask(PHONE, pair(&code)).await;
    assert_eq!(let_in.status(), StatusCode::NO_CONTENT);
    let cookie = let_in.headers()[header::SET_COOKIE].to_str().unwrap().to_owned();
    assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"), "{cookie}");
    let mut request = put(1, event(1, "1612"));
    let token = cookie.split(';').next().unwrap();
    request.headers_mut().insert(header::COOKIE, token.parse().unwrap());
    assert_eq!(site.ask(PHONE, request).await.status(), StatusCode::CREATED);
}

/// A phone that was sent away gets nothing more, not even what it was listening to.
#[tokio::test]
async fn a_phone_that_is_sent_away_is_out_at_once() {
    let site = site();
    let post = |path: &str, body: &str| {
        let mut request = put(1, body.to_owned());
        *request.method_mut() = Method::POST;
        *request.uri_mut() = path.parse().unwrap();
        request
    };
    let mut tokens = Vec::new();
    for name in ["Ann's <b>phone</b>", ""] {
        let shown = text(site.ask(HERE, post("/devices/code", "")).await).await;
        assert!(shown.contains("<svg") && shown.contains("192.168.1.20"), "{shown}");
        let code = shown.split("<strong>").nth(1).unwrap()[..7].to_owned();
        let typed = serde_json::json!({ "code": code, "name": name }).to_string();
        let let_in = site.ask(PHONE, post("/pair", &typed)).await;
        let cookie = let_in.headers()[header::SET_COOKIE].to_str().unwrap().to_owned();
        tokens.push(cookie.split(';').next().unwrap().to_owned());
    }
    let with = |path: &str, token: &str| {
        let mut request = get(path);
        request.headers_mut().insert(header::COOKIE, token.parse().unwrap());
        request
    };
    let page = text(site.ask(HERE, get("/devices")).await).await;
    assert!(
        page.contains("Ann's &lt;b&gt;phone") && page.contains("Phone at 192.168.1.44"),
        "{page}"
    );
    assert!(tokens.iter().all(|token| !page.contains(token.split('=').nth(1).unwrap())));
    // Only on the computer itself, whoever is in.
    assert_eq!(site.ask(PHONE, with("/devices", &tokens[0])).await.status(), StatusCode::FORBIDDEN);
    let mut from_phone = post("/devices/code", "");
    from_phone.headers_mut().insert(header::COOKIE, tokens[0].parse().unwrap());
    assert_eq!(site.ask(PHONE, from_phone).await.status(), StatusCode::FORBIDDEN);

    let live = site.ask(PHONE, with(&format!("/jobs/{JOB}/live"), &tokens[0])).await;
    assert_eq!(live.status(), StatusCode::OK);
    let id = page.split("data-revoke=\"").nth(if page.find("Ann's") < page.find("Phone at") {
        1
    } else {
        2
    });
    let id = id.unwrap().split('"').next().unwrap();
    assert_eq!(
        site.ask(HERE, post(&format!("/devices/{id}/revoke"), "")).await.status(),
        StatusCode::NO_CONTENT
    );
    let end = tokio::time::timeout(Duration::from_secs(5), live.into_body().collect()).await;
    assert_eq!(end.expect("the stream ends").unwrap().to_bytes().len(), 0);
    assert_eq!(
        site.ask(PHONE, with("/nowhere", &tokens[0])).await.status(),
        StatusCode::UNAUTHORIZED
    );
    assert_eq!(site.ask(PHONE, with("/nowhere", &tokens[1])).await.status(), StatusCode::NOT_FOUND);
    let again = site.ask(HERE, post(&format!("/devices/{id}/revoke"), "")).await;
    assert_eq!(again.status(), StatusCode::NOT_FOUND);
}

/// A thousand devices guess at once: no more than five are looked at, and the code is dead afterwards.
/// Only a page that a browser can open again without the computer says nothing of it.
#[tokio::test]
async fn a_phone_over_plain_http_is_told_to_keep_the_page_open() {
    let site = site();
    let code = site.app.pairing_code().unwrap();
    let pair = Request::post("/pair")
        .header(header::HOST, "192.168.1.20:7340")
        .header(header::ORIGIN, "http://192.168.1.20:7340")
        .header(header::CONTENT_TYPE, "application/json")
        .header("x-floorwright", "1")
        .body(Body::from(format!(r#"{{"code":"{code}"}}"#)))
        .unwrap();
    let paired = site.ask(PHONE, pair).await;
    let cookie = paired.headers()[header::SET_COOKIE].to_str().unwrap();
    let cookie = cookie.split(';').next().unwrap().to_owned();
    assert_eq!(site.ask(HERE, put(1, event(1, "1612"))).await.status(), StatusCode::CREATED);
    for path in ["/", &format!("/jobs/{JOB}/readings"), "/devices", "/nowhere"] {
        let mut from_phone = get(path);
        from_phone.headers_mut().insert(header::COOKIE, cookie.parse().unwrap());
        let page = text(site.ask(PHONE, from_phone).await).await;
        assert!(page.contains("Keep this page open"), "{path}: {page}");
        assert!(!page.contains("data-worker"), "{path}");
        let page = text(site.ask(HERE, get(path)).await).await;
        assert!(page.contains("data-worker=\"yes\"") && !page.contains("Keep this page open"));
    }
}

/// A phone that goes out of reach once it has sent does not hear that its reading was kept; it is seen all the same.
#[tokio::test]
async fn a_reading_whose_sender_went_away_is_seen() {
    let site = site();
    assert_eq!(site.ask(HERE, put(1, event(1, "1612"))).await.status(), StatusCode::CREATED);
    let gone = tokio::time::timeout(Duration::ZERO, site.ask(HERE, put(2, event(2, "1613")))).await;
    assert!(gone.is_err(), "it was answered before its sender could go away");
    let path = format!("/jobs/{JOB}/readings");
    let by = Instant::now() + Duration::from_secs(5);
    while !text(site.ask(HERE, get(&path)).await).await.contains("<td>1613</td>") {
        assert!(Instant::now() < by, "the reading is not on the page");
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    assert_eq!(site.ask(HERE, put(2, event(2, "1613"))).await.status(), StatusCode::OK);
}

/// A form is looked at, and nothing is kept.
#[tokio::test]
async fn looking_at_a_form_changes_nothing() {
    let site = site();
    assert_eq!(site.ask(HERE, put(1, event(1, "1612"))).await.status(), StatusCode::CREATED);
    let ask = |body: &'static str| {
        let mut request = put(1, body.to_owned());
        *request.method_mut() = Method::POST;
        *request.uri_mut() = format!("/jobs/{JOB}/look").parse().unwrap();
        site.ask(HERE, request)
    };
    let good = ask(r#"{"fresh":{"support":{"id":"A1","at":["0","0"]}}}"#).await;
    assert_eq!(good.status(), StatusCode::OK);
    assert!(text(good).await.contains("\"did\":\"put\""));
    let bad = ask(r#"{"fresh":{"support":{"id":"A1","at":["0","banana"]}}}"#).await;
    assert_eq!(bad.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(text(bad).await.contains("support A1"));
    let page = text(site.ask(HERE, get(&format!("/jobs/{JOB}/site"))).await).await;
    assert!(!page.contains("support-A1"), "{page}");
}

#[tokio::test]
async fn guessing_is_hopeless() {
    let site = site();
    let code = site.app.pairing_code().unwrap().to_string();
    for guess in 0..1000 {
        let typed = format!("{:07}", (code.parse::<u32>().unwrap() + 1 + guess) % 10_000_000);
        let mut request = put(1, format!("{{\"code\":\"{typed}\"}}"));
        *request.method_mut() = Method::POST;
        *request.uri_mut() = "/pair".parse().unwrap();
        let peer = format!("192.168.{}.{}:50000", 2 + guess / 250, 1 + guess % 250);
        assert_eq!(site.ask(&peer, request).await.status(), StatusCode::FORBIDDEN);
    }
    let mut right = put(1, format!("{{\"code\":\"{code}\"}}"));
    *right.method_mut() = Method::POST;
    *right.uri_mut() = "/pair".parse().unwrap();
    assert_eq!(site.ask(PHONE, right).await.status(), StatusCode::FORBIDDEN);
}

#[tokio::test]
async fn every_answer_carries_the_headers_of_safety() {
    let site = site();
    for path in [
        "/",
        "/assets/app.js",
        "/nowhere",
        "/jobs/x/../../etc/passwd",
        "/assets/..%2f..%2fCargo.toml",
    ] {
        let answer = site.ask(HERE, get(path)).await;
        let policy = answer.headers()[header::CONTENT_SECURITY_POLICY].to_str().unwrap().to_owned();
        assert!(policy.starts_with("default-src 'none'") && !policy.contains("unsafe"), "{policy}");
        for name in ["x-content-type-options", "referrer-policy", "cache-control"] {
            assert!(answer.headers().contains_key(name), "{path}: {name}");
        }
        assert!(!text(answer).await.contains("[package]"), "{path}");
    }
}

#[tokio::test]
async fn a_job_is_brought_in_with_its_tables_and_saved_again() {
    let site = site();
    let job = "format = 1\n[job]\nname = \"Shed\"\n[[benchmark]]\npoint = \"BM\"\nlevel = 0\n[[setup]]\nid = \"S1\"\nreadings = \"shed.csv\"\n";
    let read = |files: serde_json::Value| {
        let mut request = put(1, files.to_string());
        *request.method_mut() = Method::POST;
        *request.uri_mut() = "/read-job".parse().unwrap();
        request
    };
    let missing = site.ask(HERE, read(serde_json::json!({ "shed.toml": job }))).await;
    assert_eq!(missing.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(text(missing).await.contains("shed.csv"));
    let table = "point,x,y,reading\nBM,,,1000\nA1,0,0,1010\n";
    let files = serde_json::json!({ "shed.toml": job, "shed.csv": table });
    let answer = site.ask(HERE, read(files)).await;
    assert_eq!(answer.status(), StatusCode::OK);
    let begin: serde_json::Value = serde_json::from_str(&text(answer).await).unwrap();
    assert_eq!(begin["files"]["shed.csv"], table);
    let mut change = begin;
    change["did"] = "begin".into();
    let mut whole: serde_json::Value = serde_json::from_str(&event(1, "1")).unwrap();
    whole["change"] = change;
    assert_eq!(site.ask(HERE, put(1, whole.to_string())).await.status(), StatusCode::CREATED);
    let saved = text(site.ask(HERE, get(&format!("/jobs/{JOB}/job.toml"))).await).await;
    assert!(
        saved.contains("name = \"Shed\"") && saved.contains("readings = \"shed.csv\""),
        "{saved}"
    );
    let floor = text(site.ask(HERE, get(&format!("/jobs/{JOB}/readings"))).await).await;
    assert!(floor.contains("A1"), "{floor}");
}

/// The clock of the tests stands still, so nothing fills up again.
#[tokio::test]
async fn a_device_that_asks_without_end_is_slowed_down_and_others_are_not() {
    let site = site();
    let mut n_let_pass = 0;
    for _ in 0..300 {
        let answer = site.ask(PHONE, get("/assets/app.js")).await;
        n_let_pass += u32::from(answer.status() == StatusCode::OK);
    }
    assert_eq!(n_let_pass, 100);
    assert_eq!(site.ask("192.168.1.45:1", get("/assets/app.js")).await.status(), StatusCode::OK);
    for _ in 0..300 {
        assert_eq!(site.ask(HERE, get("/assets/app.js")).await.status(), StatusCode::OK);
    }
}

/// On real sockets: callers who say nothing hold every place, are let go, and the next is heard.
#[tokio::test]
async fn callers_who_say_nothing_are_let_go() {
    use tokio::io::{AsyncReadExt, AsyncWriteExt};
    let site = site();
    let bound = bind(None, 0).await.unwrap();
    let address = bound.address;
    assert!(address.ip().is_loopback());
    let serving = tokio::spawn(serve(bound, site.app.clone(), std::future::pending()));
    let mut silent = Vec::new();
    for _ in 0..64 {
        let mut stream = tokio::net::TcpStream::connect(address).await.unwrap();
        stream.write_all(b"GET / HTTP/1.1\r\nHo").await.unwrap();
        silent.push(stream);
    }
    let start = Instant::now();
    let mut heard = tokio::net::TcpStream::connect(address).await.unwrap();
    let request =
        format!("GET /assets/app.js HTTP/1.1\r\nHost: {HOST}\r\nConnection: close\r\n\r\n");
    heard.write_all(request.as_bytes()).await.unwrap();
    let mut said = String::new();
    heard.read_to_string(&mut said).await.unwrap();
    assert!(said.starts_with("HTTP/1.1 200"), "{said}");
    assert!(start.elapsed() < Duration::from_secs(5), "{:?}", start.elapsed());
    serving.abort();
}

#[tokio::test]
async fn a_port_that_is_taken_is_passed_over() {
    let first = bind(None, 0).await.unwrap();
    let port = first.address.port();
    let next = bind(None, port).await;
    match next {
        Ok(next) => {
            assert!(next.address.port() > port && next.address.port() <= port.saturating_add(10))
        }
        Err(fault) => assert!(fault.to_string().contains("are taken"), "{fault}"),
    }
}

const PNG: &[u8] = include_bytes!("../../job/tests/data/pictures/plain.png");

fn put_photo(name: &str, body: &[u8]) -> Request<Body> {
    let mut request = put(1, String::new());
    *request.uri_mut() = format!("/photos/{name}").parse().unwrap();
    *request.body_mut() = Body::from(body.to_vec());
    request
}

fn name_of(bytes: &[u8]) -> String {
    use sha2::{Digest, Sha256};
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

#[tokio::test]
async fn a_photo_is_kept_once_and_served_as_nothing_but_a_picture() {
    let site = site();
    let name = name_of(PNG);
    let address = format!("/photos/{name}");
    assert_eq!(site.ask(HERE, get(&address)).await.status(), StatusCode::NOT_FOUND);
    assert_eq!(site.ask(HERE, put_photo(&name, PNG)).await.status(), StatusCode::CREATED);
    assert_eq!(site.ask(HERE, put_photo(&name, PNG)).await.status(), StatusCode::OK);
    let served = site.ask(HERE, get(&address)).await;
    let header = |name: &str| served.headers()[name].to_str().unwrap().to_owned();
    assert_eq!(header("content-type"), "image/png");
    assert_eq!(header("x-content-type-options"), "nosniff");
    assert!(header("content-security-policy").contains("sandbox"));
    assert!(!header("content-security-policy").contains("script"));
    assert_eq!(header("content-disposition"), format!("inline; filename=\"{}.png\"", &name[..12]));
    assert_eq!(header("cross-origin-resource-policy"), "same-origin");
    assert_eq!(served.into_body().collect().await.unwrap().to_bytes(), PNG);
    assert_eq!(site.ask(PHONE, get(&address)).await.status(), StatusCode::UNAUTHORIZED);
    assert_eq!(site.ask(PHONE, put_photo(&name, PNG)).await.status(), StatusCode::UNAUTHORIZED);
}

/// 95 and 651 bytes go into the 1,000 of the site; 529 more do not, and what is there is still taken.
#[tokio::test]
async fn photos_are_taken_up_to_a_limit_and_readings_beyond_it() {
    const JPEG: &[u8] = include_bytes!("../../job/tests/data/pictures/plain.jpg");
    const LARGE: &[u8] = include_bytes!("../../job/tests/data/pictures/progressive.jpg");
    let site = site();
    for photo in [PNG, JPEG] {
        let said = site.ask(HERE, put_photo(&name_of(photo), photo)).await;
        assert_eq!(said.status(), StatusCode::CREATED);
    }
    let said = site.ask(HERE, put_photo(&name_of(LARGE), LARGE)).await;
    assert_eq!(said.status(), StatusCode::INSUFFICIENT_STORAGE);
    let words = said.into_body().collect().await.unwrap().to_bytes();
    let words = String::from_utf8(words.to_vec()).unwrap();
    assert!(words.contains("stays on the phone") && words.contains("--jobs"), "{words}");
    assert_eq!(
        site.ask(HERE, get(&format!("/photos/{}", name_of(LARGE)))).await.status(),
        StatusCode::NOT_FOUND
    );
    assert_eq!(site.ask(HERE, put_photo(&name_of(PNG), PNG)).await.status(), StatusCode::OK);
    assert_eq!(site.ask(HERE, put(1, event(1, "1250"))).await.status(), StatusCode::CREATED);
}

#[tokio::test]
async fn what_is_no_photo_is_refused_with_words() {
    let site = site();
    let mut huge = PNG.to_vec();
    huge[16..20].copy_from_slice(&60_000_u32.to_be_bytes());
    huge[20..24].copy_from_slice(&60_000_u32.to_be_bytes());
    let svg =
        b"<svg xmlns=\"http://www.w3.org/2000/svg\"><script>alert(1)</script></svg>".as_slice();
    let cases =
        [(svg, "no JPEG, PNG or WebP"), (&huge, "60000 x 60000 pixels"), (&PNG[..18], "cut off")];
    for (body, words) in cases {
        let answer = site.ask(HERE, put_photo(&name_of(body), body)).await;
        assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
        let said = text(answer).await;
        assert!(said.contains(words), "{said}");
    }
    let other = site.ask(HERE, put_photo(&name_of(b"x"), PNG)).await;
    assert!(text(other).await.contains("not the one that its name says"));
    let nameless = site.ask(HERE, put_photo("..%2f..%2fpasswd", PNG)).await;
    assert_eq!(nameless.status(), StatusCode::UNPROCESSABLE_ENTITY);
    let large = vec![0xff; 4 * 1024 * 1024 + 1];
    let answer = site.ask(HERE, put_photo(&name_of(&large), &large)).await;
    assert_eq!(answer.status(), StatusCode::PAYLOAD_TOO_LARGE);
    assert!(text(answer).await.contains("4 MB"));
}

/// One file with all of it, which any program takes apart, and whose history makes the same job again.
#[tokio::test]
async fn a_job_is_saved_whole_and_its_history_makes_it_again() {
    let site = site();
    let form = serde_json::json!({ "format": 1, "job": { "name": "Shed" }, "setup": [{ "id": "S0", "readings": "shed.csv" }] });
    let files =
        serde_json::json!({ "shed.csv": "point,reading\nA1,1500\n", "../../evil.csv": "x" });
    let note =
        serde_json::json!({ "about": { "point": "P2" }, "text": "=1+1", "photo": name_of(PNG) });
    let changes = [
        serde_json::json!({ "did": "begin", "form": form, "files": files }),
        serde_json::json!({ "did": "read", "setup": "S1", "reading": { "point": "P2", "reading": "1612" } }),
        serde_json::json!({ "did": "note", "note": note }),
    ];
    for (number, change) in (1..).zip(changes) {
        let mut whole: serde_json::Value = serde_json::from_str(&event(number, "1")).unwrap();
        whole["change"] = change;
        let kept = site.ask(HERE, put(number, whole.to_string())).await;
        assert_eq!(kept.status(), StatusCode::CREATED);
    }
    site.ask(HERE, put_photo(&name_of(PNG), PNG)).await;
    let saved = site.ask(HERE, get(&format!("/jobs/{JOB}/job.zip"))).await;
    assert_eq!(saved.headers()[header::CONTENT_TYPE], "application/zip");
    let bytes = saved.into_body().collect().await.unwrap().to_bytes();
    let files = stored_in(&bytes);
    let names: Vec<&str> = files.keys().map(String::as_str).collect();
    let photo = format!("photos/{}.png", name_of(PNG));
    assert_eq!(
        names,
        ["READ-ME.txt", "events.ndjson", "job.toml", "notes.csv", &photo, "shed.csv"]
    );
    assert_eq!(files[&photo], PNG);
    let text_of = |name: &str| String::from_utf8(files[name].clone()).unwrap();
    assert!(text_of("job.toml").contains("name = \"Shed\""));
    assert!(text_of("notes.csv").contains("\"point\",\"P2\",\"remark\",\"'=1+1\""));
    // Another computer, an empty file of jobs.
    let other = self::site();
    for (number, line) in (1..).zip(text_of("events.ndjson").lines()) {
        let kept = other.ask(HERE, put(number, line.to_owned())).await;
        assert_eq!(kept.status(), StatusCode::CREATED);
    }
    let job = format!("/jobs/{JOB}/job.toml");
    let both = [&site, &other].map(|place| place.ask(HERE, get(&job)));
    let [mine, theirs] = both.map(|asked| async { text(asked.await).await });
    assert_eq!(mine.await, theirs.await);
}

/// The files of an archive in which nothing is packed, by their local headers.
fn stored_in(bytes: &[u8]) -> BTreeMap<String, Vec<u8>> {
    let number = |at: usize, n_bytes: usize| {
        bytes[at..at + n_bytes]
            .iter()
            .rev()
            .fold(0, |number, byte| number << 8 | usize::from(*byte))
    };
    let (mut files, mut at) = (BTreeMap::new(), 0);
    while bytes[at..].starts_with(b"PK\x03\x04") {
        assert_eq!(number(at + 8, 2), 0, "it is packed");
        let (size, name) = (number(at + 18, 4), number(at + 26, 2));
        let start = at + 30 + name + number(at + 28, 2);
        let name = String::from_utf8(bytes[at + 30..at + 30 + name].to_vec()).unwrap();
        files.insert(name, bytes[start..start + size].to_vec());
        at = start + size;
    }
    assert!(bytes[at..].starts_with(b"PK\x01\x02"));
    files
}
