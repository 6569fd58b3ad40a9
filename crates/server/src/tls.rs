//! Encrypted serving on a network, under an authority of this computer's own.
//!
//! A phone trusts a page of this computer only if somebody put the certificate of the authority on the
//! phone; clicking a warning away does not give it a page that opens without the computer. The authority
//! can vouch for addresses of private networks only, so that a phone that trusts it trusts nothing else
//! by it. Certificates of serving are made anew at every start and kept nowhere.

use floorwright_store::Arrival;
use rcgen::{
    BasicConstraints, CertificateParams, CidrSubnet, DnType, ExtendedKeyUsagePurpose,
    GeneralSubtree, IsCa, Issuer, KeyPair, KeyUsagePurpose, NameConstraints, SanType,
};
use sha2::{Digest, Sha256};
use std::fs::{self, OpenOptions};
use std::io::Write;
use std::net::IpAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use time::{Duration, OffsetDateTime};
use tokio_rustls::TlsAcceptor;
use tokio_rustls::rustls::crypto::ring;
use tokio_rustls::rustls::pki_types::pem::PemObject;
use tokio_rustls::rustls::pki_types::{CertificateDer, PrivateKeyDer, PrivatePkcs8KeyDer};
use tokio_rustls::rustls::{Error, ServerConfig};

/// The certificate that phones are given, beside the file of jobs.
const CERTIFICATE: &str = "floorwright-authority.crt";
/// Its key, which only its owner may read.
const KEY: &str = "floorwright-authority.key";

/// How long the authority vouches, in days: as long as a builder keeps a phone.
const AUTHORITY_DAYS: i64 = 3650;
/// How long a certificate of serving is good, in days: browsers take no more than 398 (CA/Browser
/// Forum Baseline Requirements, 6.3.2, from memory).
const SERVING_DAYS: i64 = 397;
/// Clocks of phones may be a day behind.
const BEFORE: Duration = Duration::days(1);

/// Networks that nobody reaches from outside, and this machine itself (RFC 1918, RFC 3927, RFC 4193, RFC 1122, from memory).
const PRIVATE: [([u8; 4], u8); 5] = [
    ([10, 0, 0, 0], 8),
    ([172, 16, 0, 0], 12),
    ([192, 168, 0, 0], 16),
    ([169, 254, 0, 0], 16),
    ([127, 0, 0, 0], 8),
];

/// A name that no site can have (RFC 2606, from memory): where only it is permitted, all others are not.
const NO_SITE: &str = "floorwright.invalid";

/// Why nothing can be encrypted.
#[derive(Debug, thiserror::Error)]
pub enum TlsFault {
    /// A file of the authority cannot be read or written.
    #[error("cannot use {file}: {source}")]
    File {
        /// The file.
        file: PathBuf,
        /// Why not.
        source: std::io::Error,
    },
    /// A file of the authority is not what it was.
    #[error(
        "{file} is damaged: take both files of the authority away and start again; phones then have to be given the new certificate"
    )]
    Damaged {
        /// The file.
        file: PathBuf,
    },
    /// The network is none that the authority may vouch for.
    #[error("{0} is no address of a private network, and the certificate vouches for no other")]
    NotPrivate(IpAddr),
    /// The libraries refuse.
    #[error("cannot make a certificate: {0}")]
    Cannot(String),
}

impl From<rcgen::Error> for TlsFault {
    fn from(error: rcgen::Error) -> Self {
        Self::Cannot(error.to_string())
    }
}

impl From<Error> for TlsFault {
    fn from(error: Error) -> Self {
        Self::Cannot(error.to_string())
    }
}

/// What callers are spoken to with.
#[derive(Clone)]
pub struct Encryption(pub(crate) TlsAcceptor);

impl std::fmt::Debug for Encryption {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Encryption")
    }
}

/// The authority of this computer.
pub struct Authority {
    certificate: CertificateDer<'static>,
    issuer: Issuer<'static, KeyPair>,
}

impl std::fmt::Debug for Authority {
    /// The key is told to nobody.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Authority({})", self.fingerprint())
    }
}

impl Authority {
    /// The authority whose files lie in a folder; made there if there is none.
    ///
    /// # Errors
    /// [`TlsFault`] if its files cannot be read or written.
    pub fn in_folder(folder: &Path, now: Arrival) -> Result<Self, TlsFault> {
        let (of_certificate, of_key) = (folder.join(CERTIFICATE), folder.join(KEY));
        if !of_key.exists() && !of_certificate.exists() {
            make(&of_certificate, &of_key, now)?;
        }
        let text = |file: &Path| {
            fs::read_to_string(file)
                .map_err(|source| TlsFault::File { file: file.to_owned(), source })
        };
        let damaged = |file: &Path| TlsFault::Damaged { file: file.to_owned() };
        let key = KeyPair::from_pem(&text(&of_key)?).map_err(|_| damaged(&of_key))?;
        let certificate = CertificateDer::from_pem_slice(text(&of_certificate)?.as_bytes())
            .map_err(|_| damaged(&of_certificate))?;
        let issuer =
            Issuer::from_ca_cert_der(&certificate, key).map_err(|_| damaged(&of_certificate))?;
        Ok(Self { certificate, issuer })
    }

    /// The certificate as phones take it, in DER.
    pub fn certificate(&self) -> &[u8] {
        &self.certificate
    }

    /// SHA-256 of the certificate, in pairs of digits: to be compared with what the phone shows.
    pub fn fingerprint(&self) -> String {
        let pairs = Sha256::digest(&self.certificate);
        pairs.iter().map(|byte| format!("{byte:02X}")).collect::<Vec<_>>().join(":")
    }

    /// Encryption for an address of this machine.
    ///
    /// # Errors
    /// [`TlsFault`] if the address is none of a private network, or no certificate can be made.
    pub fn serving(&self, address: IpAddr, now: Arrival) -> Result<Encryption, TlsFault> {
        if !is_private(address) {
            return Err(TlsFault::NotPrivate(address));
        }
        let mut params = CertificateParams::default();
        params.distinguished_name.push(DnType::CommonName, format!("Floorwright at {address}"));
        params.subject_alt_names = vec![SanType::IpAddress(address)];
        params.key_usages = vec![KeyUsagePurpose::DigitalSignature];
        params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
        params.use_authority_key_identifier_extension = true;
        (params.not_before, params.not_after) = validity(now, SERVING_DAYS)?;
        let key = KeyPair::generate()?;
        let leaf = params.signed_by(&key, &self.issuer)?;
        let key = PrivateKeyDer::from(PrivatePkcs8KeyDer::from(key.serialize_der()));
        let config = ServerConfig::builder_with_provider(Arc::new(ring::default_provider()))
            .with_safe_default_protocol_versions()?
            .with_no_client_auth()
            .with_single_cert(vec![leaf.der().clone()], key)?;
        Ok(Encryption(TlsAcceptor::from(Arc::new(config))))
    }
}

fn validity(now: Arrival, days: i64) -> Result<(OffsetDateTime, OffsetDateTime), TlsFault> {
    let now = OffsetDateTime::from_unix_timestamp(now.0 / 1000)
        .map_err(|error| TlsFault::Cannot(format!("this machine's clock is wrong: {error}")))?;
    Ok((now - BEFORE, now + Duration::days(days) - BEFORE))
}

fn is_private(address: IpAddr) -> bool {
    match address {
        IpAddr::V4(ip) => ip.is_private() || ip.is_link_local() || ip.is_loopback(),
        IpAddr::V6(ip) => ip.is_unique_local(),
    }
}

fn make(of_certificate: &Path, of_key: &Path, now: Arrival) -> Result<(), TlsFault> {
    let mut params = CertificateParams::default();
    params.distinguished_name.push(DnType::CommonName, "Floorwright on this computer");
    params.is_ca = IsCa::Ca(BasicConstraints::Constrained(0));
    params.key_usages = vec![KeyUsagePurpose::KeyCertSign, KeyUsagePurpose::CrlSign];
    let of_networks = PRIVATE
        .iter()
        .map(|&(address, bits)| CidrSubnet::from_addr_prefix(IpAddr::from(address), bits));
    // fd00::/8 and fc00::/8 together (RFC 4193).
    let of_local = CidrSubnet::from_addr_prefix(IpAddr::from([0xfc00, 0, 0, 0, 0, 0, 0, 0_u16]), 7);
    let mut permitted: Vec<GeneralSubtree> =
        of_networks.chain([of_local]).map(GeneralSubtree::IpAddress).collect();
    permitted.push(GeneralSubtree::DnsName(NO_SITE.to_owned()));
    params.name_constraints =
        Some(NameConstraints { permitted_subtrees: permitted, excluded_subtrees: Vec::new() });
    (params.not_before, params.not_after) = validity(now, AUTHORITY_DAYS)?;
    let key = KeyPair::generate()?;
    let certificate = params.self_signed(&key)?;
    // The key first: without it the certificate is of no use.
    write_new(of_key, &key.serialize_pem(), true)?;
    write_new(of_certificate, &certificate.pem(), false)
}

fn write_new(file: &Path, text: &str, is_secret: bool) -> Result<(), TlsFault> {
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::OpenOptionsExt;
        options.mode(if is_secret { 0o600 } else { 0o644 });
    }
    #[cfg(not(unix))]
    let _ = is_secret;
    let written = options.open(file).and_then(|mut out| {
        out.write_all(text.as_bytes())?;
        out.sync_all()
    });
    written.map_err(|source| TlsFault::File { file: file.to_owned(), source })
}
