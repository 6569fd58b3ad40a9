//! The job document: text in, checked engine values out, and back.
//!
//! [`load`] turns a job's text into a [`JobInput`] or says everything that is wrong with it;
//! [`from_csv`] does the same for a bare table of readings. The stored form is
//! [`form_v1::Form`]; `docs/job.md` describes it for builders.
//!
//! # What it does not do
//! It opens no files: the shell hands over texts, and is asked for the files that a job names.

pub mod business;
pub mod cautions;
pub mod check;
pub mod csv;
mod data_hash;
pub mod document;
pub mod drawn;
pub mod events;
pub mod fault;
pub mod form_v1;
pub mod frame_said;
pub mod hose;
pub mod hose_told;
pub mod input;
pub mod limits;
pub mod measure;
pub mod not_yet;
pub mod order_words;
pub mod photo;
pub mod practice;
pub mod quantities;
pub mod ready;
pub mod said;
pub mod stands_told;
pub mod template;
pub mod time;
pub mod told;
pub mod words;
pub mod write;

pub use business::Business;
pub use check::{CsvMeaning, check, from_csv, from_csv_changed, load};
pub use data_hash::data_sha256;
pub use document::{Document, SourceFile};
pub use fault::{Fault, Severity};
pub use hose::{HoseFigures, HoseInput, SetupWorth};
pub use input::{
    Assumption, FrameInput, HeightTie, JobInput, Loaded, Obstacle, Orientation, StruckReading,
};
pub use order_words::OrderWords;
pub use ready::ready;
pub use template::{Grid, Template, template};
pub use write::write;
