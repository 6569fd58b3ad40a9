//! Encrypted serving, on real sockets, with a client that trusts nothing but the authority.

use axum::http::{StatusCode, header};
use floorwright_server::{App, Authority, Settings, TlsFault, bind, serve, trust};
use floorwright_store::Arrival;
use std::collections::BTreeMap;
use std::net::{IpAddr, SocketAddr};
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, SystemTime, UNIX_EPOCH};
use tempfile::TempDir;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio_rustls::TlsConnector;
use tokio_rustls::rustls::crypto::ring;
use tokio_rustls::rustls::pki_types::{CertificateDer, ServerName};
use tokio_rustls::rustls::{ClientConfig, RootCertStore};

const HERE: IpAddr = IpAddr::V4(std::net::Ipv4Addr::LOCALHOST);

fn now() -> Arrival {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap();
    Arrival(i64::try_from(since.as_millis()).unwrap())
}

struct Site {
    address: SocketAddr,
    authority: Authority,
    app: Arc<App>,
    folder: TempDir,
}

async fn site() -> Site {
    let folder = tempfile::tempdir().unwrap();
    let authority = Authority::in_folder(folder.path(), now()).unwrap();
    let place = bind(None, 0).await.unwrap();
    let address = place.address;
    let settings = Settings {
        hosts: vec![address.to_string()],
        lan: Some(format!("https://{address}")),
        trust: None,
        clock: now,
        most_photo_bytes: 1_000,
        patience: Duration::from_millis(500),
        documents: |_, _| Err("none here".to_owned()),
        demo: BTreeMap::new(),
    };
    let app = Arc::new(App::open(&folder.path().join("jobs.floorwright"), settings).unwrap());
    let encryption = authority.serving(HERE, now()).unwrap();
    tokio::spawn(serve(place.encrypted(encryption), app.clone(), std::future::pending()));
    Site { address, authority, app, folder }
}

fn trusting(roots: &[&[u8]]) -> TlsConnector {
    let mut store = RootCertStore::empty();
    for root in roots {
        store.add(CertificateDer::from(root.to_vec())).unwrap();
    }
    let config = ClientConfig::builder_with_provider(Arc::new(ring::default_provider()))
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_root_certificates(store)
        .with_no_client_auth();
    TlsConnector::from(Arc::new(config))
}

/// Says what is to be said and reads to the end; an error where no connection comes about.
async fn ask(
    site: &Site,
    connector: &TlsConnector,
    name: &str,
    said: &str,
) -> std::io::Result<String> {
    let stream = TcpStream::connect(site.address).await?;
    let name = ServerName::try_from(name.to_owned()).unwrap();
    let mut stream = connector.connect(name, stream).await?;
    stream.write_all(said.as_bytes()).await?;
    let mut answer = Vec::new();
    // The other side may close without a farewell.
    let _ = stream.read_to_end(&mut answer).await;
    Ok(String::from_utf8_lossy(&answer).into_owned())
}

fn get(site: &Site, path: &str) -> String {
    format!("GET {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", site.address)
}

#[tokio::test]
async fn a_phone_that_has_the_certificate_is_spoken_to_and_others_hear_nothing() {
    let site = site().await;
    let knows = trusting(&[site.authority.certificate()]);
    let answer = ask(&site, &knows, "127.0.0.1", &get(&site, "/pair")).await.unwrap();
    assert!(
        answer.starts_with("HTTP/1.1 200") && answer.contains("Let this device in"),
        "{answer}"
    );

    let another = tempfile::tempdir().unwrap();
    let another = Authority::in_folder(another.path(), now()).unwrap();
    for stranger in [trusting(&[]), trusting(&[another.certificate()])] {
        let refused = ask(&site, &stranger, "127.0.0.1", &get(&site, "/pair")).await.unwrap_err();
        let words = refused.to_string();
        assert!(words.contains("UnknownIssuer") || words.contains("BadSignature"), "{words}");
    }
    let elsewhere = ask(&site, &knows, "192.168.1.21", &get(&site, "/pair")).await.unwrap_err();
    assert!(elsewhere.to_string().to_lowercase().contains("not valid for name"), "{elsewhere}");

    // In clear nothing is answered.
    let mut plain = TcpStream::connect(site.address).await.unwrap();
    plain.write_all(get(&site, "/pair").as_bytes()).await.unwrap();
    let mut said = Vec::new();
    let _ = plain.read_to_end(&mut said).await;
    assert!(!String::from_utf8_lossy(&said).contains("HTTP"), "{said:?}");
}

#[tokio::test]
async fn what_changes_something_comes_from_the_encrypted_page() {
    let site = site().await;
    let knows = trusting(&[site.authority.certificate()]);
    let pair = |scheme: &str, code: &str| {
        let body = format!(r#"{{"code":"{code}"}}"#);
        format!(
            "POST /pair HTTP/1.1\r\nHost: {0}\r\nOrigin: {scheme}://{0}\r\nX-Floorwright: 1\r\n\
             Content-Type: application/json\r\nContent-Length: {1}\r\nConnection: close\r\n\r\n{body}",
            site.address,
            body.len()
        )
    };
    let said = |answer: String| answer.lines().next().unwrap_or_default().to_owned();
    let ours = ask(&site, &knows, "127.0.0.1", &pair("https", "0")).await.unwrap();
    assert!(ours.contains("that code is not good"), "{ours}");
    let plain = ask(&site, &knows, "127.0.0.1", &pair("http", "0")).await.unwrap();
    assert!(plain.contains("did not come from a page of the app"), "{}", said(plain));
    let code = site.app.pairing_code().unwrap().to_string();
    let let_in = ask(&site, &knows, "127.0.0.1", &pair("https", &code)).await.unwrap();
    let cookie = let_in.lines().find(|line| line.to_lowercase().starts_with("set-cookie:"));
    let cookie = cookie.unwrap_or_default();
    assert!(
        cookie.contains(" __Host-floorwright-device=") && cookie.ends_with("; Secure"),
        "{let_in}"
    );
}

/// The authority stays the same from start to start, its key is its owner's alone, and it vouches for
/// private addresses only.
#[test]
fn the_authority_is_kept_and_vouches_for_nothing_outside() {
    let folder = tempfile::tempdir().unwrap();
    let first = Authority::in_folder(folder.path(), now()).unwrap().fingerprint();
    assert_eq!(first.len(), 32 * 3 - 1);
    assert_eq!(Authority::in_folder(folder.path(), now()).unwrap().fingerprint(), first);
    let key = folder.path().join("floorwright-authority.key");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        assert_eq!(std::fs::metadata(&key).unwrap().permissions().mode() & 0o777, 0o600);
    }
    let authority = Authority::in_folder(folder.path(), now()).unwrap();
    for outside in ["8.8.8.8", "172.32.0.1", "2001:db8::1"] {
        let fault = authority.serving(outside.parse().unwrap(), now()).unwrap_err();
        assert!(matches!(fault, TlsFault::NotPrivate(_)), "{fault}");
    }
    for inside in ["10.1.2.3", "172.31.0.1", "192.168.1.20", "fd00::20"] {
        authority.serving(inside.parse().unwrap(), now()).unwrap();
    }
    std::fs::write(&key, "not a key").unwrap();
    let fault = Authority::in_folder(folder.path(), now()).unwrap_err();
    assert!(matches!(fault, TlsFault::Damaged { .. }) && fault.to_string().contains("damaged"));
}

#[tokio::test]
async fn the_certificate_and_the_way_to_trust_it_are_given_in_clear() {
    let site = site().await;
    let place = bind(None, 0).await.unwrap();
    let address = place.address;
    let authority = Authority::in_folder(Path::new(site.folder.path()), now()).unwrap();
    let fingerprint = authority.fingerprint();
    let certificate = authority.certificate().to_vec();
    tokio::spawn(async move {
        trust(place, &authority, "https://192.168.1.20:7340", std::future::pending()).await;
    });
    let ask = |path: &'static str| async move {
        let mut stream = TcpStream::connect(address).await.unwrap();
        let said = format!("GET {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n");
        stream.write_all(said.as_bytes()).await.unwrap();
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).await.unwrap();
        answer
    };
    let page = String::from_utf8(ask("/").await).unwrap();
    assert!(page.contains(&fingerprint) && page.contains("https://192.168.1.20:7340"), "{page}");
    let given = ask("/floorwright-authority.crt").await;
    assert!(given.ends_with(&certificate));
    let head = String::from_utf8_lossy(&given[..given.len() - certificate.len()]).to_lowercase();
    assert!(
        head.contains(&format!("{}: application/x-x509-ca-cert", header::CONTENT_TYPE)),
        "{head}"
    );
    // Nothing of the jobs is to be had there.
    for path in ["/jobs", "/pair", "/devices"] {
        let answer = String::from_utf8(ask(path).await).unwrap();
        assert!(
            answer.starts_with(&format!("HTTP/1.1 {}", StatusCode::NOT_FOUND.as_u16())),
            "{path}"
        );
    }
}
