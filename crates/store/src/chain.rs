//! The hash chain over the rows of a log.

use crate::{Arrival, StoreFault};
use serde::{Serialize, Serializer};
use sha2::{Digest, Sha256};
use std::fmt;

pub(crate) type Hash = [u8; 32];

/// How many events a log holds, and the hash over all of them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Head {
    pub(crate) count: u64,
    pub(crate) chain: Hash,
}

impl Head {
    /// How many events there are.
    pub fn count(&self) -> u64 {
        self.count
    }

    /// Reads what [`Display`](fmt::Display) wrote; nothing if it is no head.
    pub fn parse(text: &str) -> Option<Self> {
        let (count, digits) = text.split_once('-')?;
        if digits.len() != 64 || !digits.bytes().all(|byte| byte.is_ascii_hexdigit()) {
            return None;
        }
        let mut chain = Hash::default();
        for (idx, byte) in chain.iter_mut().enumerate() {
            *byte = u8::from_str_radix(&digits[2 * idx..2 * idx + 2], 16).ok()?;
        }
        Some(Self { count: count.parse().ok()?, chain })
    }

    /// The head after one more row.
    pub(crate) fn next(&self, digest: &Hash, arrival: Arrival) -> Self {
        let count = self.count + 1;
        let mut hasher = Sha256::new();
        hasher.update(self.chain);
        hasher.update(count.to_be_bytes());
        hasher.update(digest);
        hasher.update(arrival.0.to_be_bytes());
        Self { count, chain: hasher.finalize().into() }
    }
}

impl fmt::Display for Head {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}-", self.count)?;
        self.chain.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl Serialize for Head {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// The SHA-256 of an event's canonical form, or of a photo.
pub(crate) fn digest_of(body: impl AsRef<[u8]>) -> Hash {
    Sha256::digest(body.as_ref()).into()
}

/// Follows the chain, row by row.
pub(crate) struct Follow<'a> {
    head: Head,
    noted: Option<&'a Head>,
}

impl<'a> Follow<'a> {
    pub fn new(noted: Option<&'a Head>) -> Self {
        Self { head: Head::default(), noted }
    }

    /// Takes the next row.
    pub fn step(
        &mut self,
        place: u64,
        body: impl AsRef<[u8]>,
        digest: &Hash,
        arrival: Arrival,
        chain: &Hash,
    ) -> Result<(), StoreFault> {
        let broken = |what: &'static str| Err(StoreFault::Broken { place, what });
        if place != self.head.count + 1 {
            return broken("rows before this one are missing");
        }
        if digest_of(body) != *digest {
            return broken("what stands there is not as it was written");
        }
        self.head = self.head.next(digest, arrival);
        if self.head.chain != *chain {
            return broken("the row does not follow from those before it");
        }
        if self.noted.is_some_and(|noted| noted.count == place && noted.chain != *chain) {
            return broken("the log up to here is not the one that was noted");
        }
        Ok(())
    }

    /// Ends at the last row.
    pub fn end(self) -> Result<Head, StoreFault> {
        match self.noted {
            Some(noted) if noted.count > self.head.count => Err(StoreFault::Broken {
                place: self.head.count + 1,
                what: "rows that were noted are no longer there",
            }),
            _ => Ok(self.head),
        }
    }
}
