//! The order and its price.

use crate::paper::{Content, Paper};
use crate::typeset::PaperError;

/// What the document says.
pub(crate) fn content(_paper: &Paper<'_>) -> Result<Content, PaperError> {
    Err(PaperError::Nothing { document: "order", what: "not worked out yet".to_owned() })
}
