//! Paper: what the builder hands over, as PDF.
//!
//! Values in, bytes out. The crate knows no files, clock or network; it formats what the engine
//! found and works nothing out.
//!
//! [`Paper::make`] gives a document. Its content is gathered from job and plan as blocks
//! ([`block`]); a template in typst's language, ours or a firm's own, gives them a look. Data reaches
//! the template as one JSON file and is never pasted into markup.
//!
//! # Rules of every document
//! - It leads with what the reader acts on, how sure that is, and what to do next.
//! - A number is rounded once, where it becomes text.
//! - Every page carries the program's version, the SHA-256 of the job's data, and page x of y.
//! - The same paper gives the same bytes; its date is an argument.
//! - PDF/A-2a and PDF/UA-1: tagged, fonts embedded, every picture described.
//! - Every page is set: a letter that no font here has is a mark that everybody sees, and it is said.

pub mod block;
mod completion;
mod floor_report;
mod letters;
mod lifting_plan;
mod logo;
mod order;
mod pack;
mod paper;
mod quote;
mod run_sheet;
mod sheets;
mod survey_said;
mod template;
mod typeset;
mod world;

pub use logo::{Logo, MOST_BYTES as MOST_LOGO_BYTES, NoLogo};
pub use paper::{Kind, Made, Paper};
pub use template::files as template_files;
pub use typeset::{Files, PaperError, Stamp, typeset};

pub use floorwright_draw::PROGRAM;
