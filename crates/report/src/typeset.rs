//! From a template and data to the bytes of a PDF.

use crate::world::{PaperWorld, fonts};
use std::collections::BTreeMap;
use typst::diag::SourceDiagnostic;
use typst::foundations::{Bytes, Datetime, Smart};
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards, Timestamp};

/// The files that a document is set from, named by their path from the top.
pub type Files = BTreeMap<String, Vec<u8>>;

/// Why a document could not be made.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PaperError {
    /// The job has nothing to put on this document.
    #[error("there is no {document}: {what}")]
    Nothing {
        /// Which document.
        document: &'static str,
        /// What is missing.
        what: String,
    },
    /// The template does not go together with the data.
    #[error("the template cannot be set: {0}")]
    Template(String),
    /// The document does not keep the rules of PDF/A or PDF/UA.
    #[error("the document cannot be written as PDF/A-2a with PDF/UA-1: {0}")]
    Standard(String),
}

/// What a document is stamped with.
#[derive(Clone, Debug, Default)]
pub struct Stamp {
    /// Year, month and day that stand in the document as its date; `None` for none.
    pub date: Option<(i32, u8, u8)>,
    /// What tells this document from others.
    pub ident: String,
}

/// Sets `main` and writes it as PDF/A-2a and PDF/UA-1. The same files and stamp give the same bytes.
///
/// # Errors
/// [`PaperError`], with the words of the typesetter.
pub fn typeset(main: &str, files: Files, stamp: &Stamp) -> Result<Vec<u8>, PaperError> {
    let files = files.into_iter().map(|(name, bytes)| (name, Bytes::new(bytes))).collect();
    let world = PaperWorld::new(fonts(), main, files);
    let set = typst::compile::<PagedDocument>(&world);
    let document = set.output.map_err(|errors| PaperError::Template(say(&errors)))?;
    let standards = PdfStandards::new(&[PdfStandard::A_2a, PdfStandard::Ua_1])
        .map_err(|error| PaperError::Standard(error.message().to_string()))?;
    let midnight = |(year, month, day)| Datetime::from_ymd_hms(year, month, day, 0, 0, 0);
    let options = PdfOptions {
        ident: Smart::Custom(stamp.ident.clone()),
        creator: Smart::Custom(Some(crate::PROGRAM.to_owned())),
        timestamp: stamp.date.and_then(midnight).map(Timestamp::new_utc),
        standards,
        ..PdfOptions::default()
    };
    let pdf = typst_pdf::pdf(&document, &options);
    pdf.map(crate::pack::pack).map_err(|errors| PaperError::Standard(say(&errors)))
}

fn say(errors: &[SourceDiagnostic]) -> String {
    let words = errors.iter().map(|error| {
        let hints = error.hints.iter().map(|hint| format!(" ({})", hint.v));
        format!("{}{}", error.message, hints.collect::<String>())
    });
    words.collect::<Vec<_>>().join("; ")
}
