//! How far a figure that comes from somewhere else may be trusted.

use serde::Serialize;
use std::fmt;

/// How a figure was obtained; shown beside its source wherever the figure is used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum SourceStatus {
    /// Read in the document named, or in the restatement named with it.
    Confirmed,
    /// Read in a work that quotes the document; the document itself was not read.
    SecondHand,
    /// Remembered, not read. Loaded but off until somebody gives a source.
    Memory,
    /// Worked out from other figures by a stated rule.
    Derived,
    /// Common practice without a source: a choice, not a standard.
    Trade,
    /// Agreed by the people of this job.
    Agreed,
}

impl SourceStatus {
    /// Whether a figure of this standing has to stay off until it gets a source.
    pub fn is_unverified(self) -> bool {
        matches!(self, Self::Memory)
    }
}

impl fmt::Display for SourceStatus {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Confirmed => "confirmed",
            Self::SecondHand => "second-hand",
            Self::Memory => "unverified",
            Self::Derived => "derived",
            Self::Trade => "trade practice, no source",
            Self::Agreed => "agreed for this job",
        })
    }
}
