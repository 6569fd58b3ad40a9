//! A job's results for other programs: tables as CSV, as a workbook and as JSON, the plan as a drawing,
//! the pictures as they are.
//!
//! Values in, bytes out. The crate knows no files, clock or network, and works nothing out but
//! differences, products and sums of what it prints, each written into the workbook as the formula that
//! it is.
//!
//! [`export`] gives the files of a job in the [`Format`]s that are asked for. What they say is gathered
//! once, as tables ([`table`]); a format only writes them down.
//!
//! # Rules of every file
//! - A number is a number, rounded once: lengths to a thousandth of a millimetre, or a hundred-thousandth
//!   of an inch; forces to a newton; money to the cent.
//! - The name of a column ends in its unit. Levels are above the datum, up positive; lifts up positive;
//!   every ± is an expanded uncertainty with k = 2, about 95 %.
//! - Text that a spreadsheet would take for a formula begins with an apostrophe in CSV; in a workbook it
//!   is text.
//! - Moves that are not to be worked by are left out, and it is said why.
//! - The same job gives the same bytes.

pub mod table;
mod csv_file;
mod drawing;
mod json_file;
mod ours;
mod pictures;
mod tables;
mod workbook;

pub use json_file::schema;
pub use ours::{names, wrote};
pub use tables::{SHEETS, tables};

use floorwright_engine::bill::Bill;
use floorwright_engine::plan::{Job, Plan, Stage};
use floorwright_engine::record::{Record, to_work_by};
use floorwright_job::measure::Unit;
use floorwright_job::words::Words;
use floorwright_job::{Fault, JobInput, said};
use table::Lengths;

/// Everything that files are made of.
#[derive(Clone, Copy)]
pub struct Source<'a> {
    /// What the job says.
    pub input: &'a JobInput,
    /// What was worked on: the job with what the command line changed.
    pub job: &'a Job,
    /// What came of it.
    pub plan: &'a Plan,
    /// What the builder should look at.
    pub warnings: &'a [Fault],
    /// What to buy, hire and do.
    pub bill: &'a Stage<Bill>,
    /// What was done and what came of it; not asked for if nothing was done.
    pub record: &'a Stage<Record>,
    /// SHA-256 of the data, as on paper.
    pub data_sha256: &'a str,
}

impl Source<'_> {
    fn words(self) -> Words {
        Words::of(self.input)
    }

    /// The unit of the tables that people read: that of the job.
    fn lengths(self) -> Lengths {
        match self.input.units {
            Unit::Millimetres | Unit::Metres => Lengths::Millimetres,
            Unit::FeetInches => Lengths::Inches,
        }
    }

    /// The same with the plan that the next pass is worked by, and how many passes were done before it.
    ///
    /// # Errors
    /// Why it is not known what is left.
    fn to_work_by(self) -> Result<(Self, usize), String> {
        let left = to_work_by(self.plan, self.record).map_err(|why| {
            format!(
                "passes were done, and what is left is not known: {}",
                said::reasons(&why, self.words())
            )
        })?;
        Ok((Self { plan: left.plan, ..self }, left.n_done()))
    }

    /// What keeps the moves from being worked by; empty if nothing does.
    fn stops(self) -> Vec<String> {
        match self.to_work_by() {
            Ok((left, _)) => said::stops(left.plan, self.words()),
            Err(why) => vec![why],
        }
    }
}

/// A kind of file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Format {
    /// A table a file, comma-separated (RFC 4180), in UTF-8 with a byte order mark.
    Csv,
    /// All tables in one workbook (ISO/IEC 29500), with formulas for what is a difference, a product or
    /// a sum.
    Xlsx,
    /// The plan with levels, contours, supports and lifts on layers, in millimetres (DXF release 12).
    Dxf,
    /// The pictures.
    Svg,
    /// All tables in one file with a schema, in millimetres.
    Json,
}

impl Format {
    /// All of them.
    pub const ALL: [Self; 5] = [Self::Csv, Self::Xlsx, Self::Dxf, Self::Svg, Self::Json];

    /// Its name, as it is typed and as its files end.
    pub fn name(self) -> &'static str {
        match self {
            Self::Csv => "csv",
            Self::Xlsx => "xlsx",
            Self::Dxf => "dxf",
            Self::Svg => "svg",
            Self::Json => "json",
        }
    }
}

/// A file in the making.
#[derive(Clone, Debug, PartialEq)]
pub struct File {
    /// Its name: letters, digits and hyphens, with the ending of its format.
    pub name: String,
    /// What is in it, in one sentence.
    pub about: String,
    /// Its content.
    pub bytes: Vec<u8>,
}

/// The files of a job.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Files {
    /// In the order of the formats.
    pub files: Vec<File>,
    /// What there is no table or picture of, and why.
    pub left_out: Vec<LeftOut>,
}

/// Something that there is no table or picture of.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeftOut {
    /// What.
    pub what: &'static str,
    /// Why.
    pub why: String,
}

/// Why a file cannot be made.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// More rows than a workbook holds.
    #[error("table {table} has {rows} rows, a workbook holds {}", workbook::MOST_ROWS)]
    TooManyRows {
        /// The table.
        table: &'static str,
        /// Its rows.
        rows: usize,
    },
    /// The workbook cannot be put together.
    #[error("the workbook cannot be written: {0}")]
    Workbook(#[from] rust_xlsxwriter::XlsxError),
    /// A table cannot be put together.
    #[error("the table cannot be written: {0}")]
    Csv(#[from] csv::Error),
}

/// Makes the files of a job.
///
/// # Errors
/// [`ExportError`] for a table that a format cannot hold.
pub fn export(source: &Source<'_>, formats: &[Format]) -> Result<Files, ExportError> {
    let gathered = tables(source, source.lengths());
    let mut found = Files { files: Vec::new(), left_out: gathered.left_out.clone() };
    let asked = |format: Format| formats.contains(&format);
    if asked(Format::Csv) {
        found.files.extend(csv_file::files(&gathered.tables)?);
    }
    if asked(Format::Xlsx) {
        found.files.push(workbook::file(source, &gathered.tables)?);
    }
    if asked(Format::Dxf) {
        found.files.push(drawing::file(source));
    }
    if asked(Format::Svg) {
        found.files.extend(pictures::files(source));
        let stops = source.stops();
        if !stops.is_empty() {
            let why = format!("not to be worked by: {}", stops.join("; "));
            found.left_out.push(LeftOut { what: "pictures of lifts and passes", why });
        }
    }
    if asked(Format::Json) {
        let in_mm = tables(source, Lengths::Millimetres);
        found.files.push(json_file::file(source, &in_mm));
    }
    Ok(found)
}
