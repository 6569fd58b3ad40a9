//! Photos beside the events that speak of them.

use crate::chain::Hash;
use floorwright_job::photo::{NotAPhoto, PhotoHash, PhotoHead, PhotoKind, look_at};
use sha2::{Digest, Sha256};
use std::fmt;

/// A photo that was looked at: what it is, and that it is not too large.
#[derive(Clone, PartialEq, Eq)]
pub struct Photo {
    hash: PhotoHash,
    kind: PhotoKind,
    bytes: Vec<u8>,
}

impl Photo {
    /// Takes a photo by its bytes.
    ///
    /// # Errors
    /// [`NotAPhoto`] if it is none, or too large.
    pub fn new(bytes: Vec<u8>) -> Result<Self, NotAPhoto> {
        let PhotoHead { kind, .. } = look_at(&bytes)?;
        Ok(Self { hash: hash_of(&bytes), kind, bytes })
    }

    /// Its name.
    pub fn hash(&self) -> PhotoHash {
        self.hash
    }

    /// What it is.
    pub fn kind(&self) -> PhotoKind {
        self.kind
    }

    /// Its bytes.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// Its bytes, given away.
    pub fn into_bytes(self) -> Vec<u8> {
        self.bytes
    }

    /// A photo as it was kept, if its bytes are still those that it is named after.
    pub(crate) fn kept(digest: Hash, kind: PhotoKind, bytes: Vec<u8>) -> Option<Self> {
        let hash = PhotoHash::from_bytes(digest);
        (hash_of(&bytes) == hash).then_some(Self { hash, kind, bytes })
    }
}

impl fmt::Debug for Photo {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Photo({}, {:?}, {} bytes)", self.hash, self.kind, self.bytes.len())
    }
}

fn hash_of(bytes: &[u8]) -> PhotoHash {
    PhotoHash::from_bytes(Sha256::digest(bytes).into())
}
