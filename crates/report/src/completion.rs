//! The completion record.

use crate::paper::{Content, Paper};
use crate::typeset::PaperError;

/// What the document says.
pub(crate) fn content(_paper: &Paper<'_>) -> Result<Content, PaperError> {
    Err(PaperError::Nothing {
        document: "completion record",
        what: "not worked out yet".to_owned(),
    })
}
