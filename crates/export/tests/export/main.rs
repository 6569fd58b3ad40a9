//! The files of invented jobs, read back by other libraries and held against the engine.

mod csv_files;
mod drawing;
mod hostile;
mod jobs;
mod json;
mod workbook;
