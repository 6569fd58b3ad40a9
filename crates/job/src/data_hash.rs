//! What tells the data of one document from that of another.

use crate::JobInput;
use floorwright_engine::plan::Job;
use sha2::{Digest, Sha256};
use std::fmt::Write;

/// SHA-256 of what a job says and of what was worked on, in hexadecimal.
///
/// # Errors
/// What keeps the job from being written as JSON, which no checked job has.
pub fn data_sha256(input: &JobInput, job: &Job) -> Result<String, serde_json::Error> {
    let mut hash = String::new();
    for byte in Sha256::digest(serde_json::to_vec(&(input, job))?) {
        // Writing to a string does not fail.
        let _ = write!(hash, "{byte:02x}");
    }
    Ok(hash)
}
