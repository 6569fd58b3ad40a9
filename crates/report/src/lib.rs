//! Paper: what the builder hands over, as PDF.
//!
//! Values in, bytes out. The crate knows no files, clock or network; it formats what the engine
//! found and works nothing out.

mod typeset;
mod world;

pub use typeset::{Files, PaperError, typeset};
