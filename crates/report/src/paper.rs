//! The documents of a job, and how each is put together.

use crate::block::{Block, Blocks, Picture};
use crate::letters::{self, MARK, Marked, Marker};
use crate::logo::Logo;
use crate::sheets::SHEET_NUMBER;
use crate::typeset::{Files, PaperError, Stamp, typeset};
use crate::{PROGRAM, completion, floor_report, lifting_plan, order, quote, run_sheet, template};
use floorwright_engine::bill::Bill;
use floorwright_engine::plan::{Job, Plan, Stage};
use floorwright_engine::record::Record;
use floorwright_job::words::Words;
use floorwright_job::{Business, Fault, JobInput, data_sha256};
use serde::Serialize;

/// A document.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// How far out the floor is, for the client.
    FloorReport,
    /// What it takes to level it, for client and engineer.
    LiftingPlan,
    /// What to lift now, for the crew.
    RunSheet,
    /// What it costs, for the client to sign.
    Quote,
    /// What to buy, hire and do, with the rates, for the builder.
    Order,
    /// What was done and what came of it.
    CompletionRecord,
}

impl Kind {
    /// All of them, in the order of the work.
    pub const ALL: [Self; 6] = [
        Self::FloorReport,
        Self::LiftingPlan,
        Self::RunSheet,
        Self::Quote,
        Self::Order,
        Self::CompletionRecord,
    ];

    /// Its name, as it is typed and as its file is called.
    pub fn name(self) -> &'static str {
        match self {
            Self::FloorReport => "floor-report",
            Self::LiftingPlan => "lifting-plan",
            Self::RunSheet => "run-sheet",
            Self::Quote => "quote",
            Self::Order => "order",
            Self::CompletionRecord => "completion-record",
        }
    }

    /// Its title on paper.
    pub fn title(self) -> &'static str {
        match self {
            Self::FloorReport => "Floor report",
            Self::LiftingPlan => "Lifting plan",
            Self::RunSheet => "Run sheet",
            Self::Quote => "Quote",
            Self::Order => "Order list",
            Self::CompletionRecord => "Completion record",
        }
    }
}

/// Everything that documents are made of.
#[derive(Clone, Copy)]
pub struct Paper<'a> {
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
    /// Whose paper it is, if anybody's.
    pub business: Option<&'a Business>,
    /// The logo, if there is one.
    pub logo: Option<&'a Logo>,
    /// Date of issue, year-month-day; without it that of the job.
    pub date: Option<&'a str>,
    /// Which issue this is.
    pub revision: &'a str,
    /// Files of a firm's own template, in place of ours of the same name.
    pub template: &'a Files,
}

/// A document that was made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Made {
    /// The bytes of the PDF.
    pub pdf: Vec<u8>,
    /// What is not as the job has it, a sentence each.
    pub notes: Vec<String>,
}

/// What a document says, without its look.
#[derive(Debug)]
pub(crate) struct Content {
    /// What stands under the title.
    pub(crate) subtitle: String,
    pub(crate) blocks: Vec<Block>,
    /// Drawings on sheets of their own, as SVG with what each shows.
    pub(crate) sheets: Vec<Sheet>,
    /// Pictures inside pages: file and SVG.
    pub(crate) pictures: Vec<(String, String)>,
}

/// A drawing on a sheet of its own.
#[derive(Debug)]
pub(crate) struct Sheet {
    pub(crate) svg: String,
    pub(crate) alt: String,
    /// Width and height of the paper in millimetres.
    pub(crate) size: (f64, f64),
    /// What stands across it if nobody is to work by it.
    pub(crate) stop: String,
}

impl Content {
    pub(crate) fn new(subtitle: impl Into<String>, blocks: Blocks) -> Self {
        let (sheets, pictures) = (Vec::new(), Vec::new());
        Self { subtitle: subtitle.into(), blocks: blocks.0, sheets, pictures }
    }
}

/// The data that a template is given.
#[derive(Serialize)]
struct Data<'a> {
    kind: &'a str,
    title: &'a str,
    subtitle: &'a str,
    job: &'a str,
    head: Vec<(&'a str, &'a str)>,
    business: &'a Business,
    logo: Option<&'a str>,
    program: &'a str,
    hash: &'a str,
    date: &'a str,
    revision: &'a str,
    blocks: &'a [Block],
    sheets: &'a [Picture],
}

impl Paper<'_> {
    /// Makes a document.
    ///
    /// The same paper gives the same bytes. A letter that no font here has is set as a visible mark, and
    /// said.
    ///
    /// # Errors
    /// [`PaperError::Nothing`] if the job has nothing to put on it, and what is missing; otherwise what is
    /// wrong with the template.
    pub fn make(&self, kind: Kind) -> Result<Made, PaperError> {
        let content = match kind {
            Kind::FloorReport => floor_report::content(self)?,
            Kind::LiftingPlan => lifting_plan::content(self)?,
            Kind::RunSheet => run_sheet::content(self)?,
            Kind::Quote => quote::content(self)?,
            Kind::Order => order::content(self)?,
            Kind::CompletionRecord => completion::content(self)?,
        };
        self.set(kind, content)
    }

    /// The words of the job's region and unit.
    pub(crate) fn words(&self) -> Words {
        Words::of(self.input)
    }

    /// SHA-256 of what the job says and of what was worked on, in hexadecimal.
    ///
    /// # Errors
    /// [`PaperError::Template`] if the job cannot be written as JSON, which no checked job is.
    pub fn hash(&self) -> Result<String, PaperError> {
        data_sha256(self.input, self.job).map_err(|error| PaperError::Template(error.to_string()))
    }

    /// Date of issue as it is printed.
    fn date(&self) -> &str {
        self.date.or(self.input.date.as_deref()).unwrap_or_default()
    }

    /// What supports, points, rooms and setups are called.
    fn names(&self) -> impl Iterator<Item = &str> {
        let (site, survey) = (&self.job.site, &self.job.survey);
        let supports = site.supports().iter().map(|support| support.id.as_str());
        let points = site.points().iter().map(|point| point.id.as_str());
        let rooms = site.rooms().iter().flat_map(|room| [room.id.as_str(), room.deck.as_str()]);
        let setups = survey.setups.iter().map(|setup| setup.id.as_str());
        supports.chain(points).chain(rooms).chain(setups)
    }

    fn set(&self, kind: Kind, content: Content) -> Result<Made, PaperError> {
        let Content { subtitle, blocks, sheets, pictures } = content;
        let nobody = Business::default();
        let business = self.business.or(self.input.business.as_ref()).unwrap_or(&nobody);
        let hash = self.hash()?;
        let described: Vec<Picture> = (1..)
            .zip(&sheets)
            .map(|(number, sheet)| Picture {
                file: format!("sheet-{number}.svg"),
                alt: sheet.alt.clone(),
                width: sheet.size.0,
                height: sheet.size.1,
                stop: sheet.stop.clone(),
            })
            .collect();
        let data = Data {
            kind: kind.name(),
            title: kind.title(),
            subtitle: &subtitle,
            job: &self.input.name,
            head: self.head(),
            business,
            logo: self.logo.map(|logo| logo.file),
            program: PROGRAM,
            hash: &hash,
            date: self.date(),
            revision: self.revision,
            blocks: &blocks,
            sheets: &described,
        };
        let mut data =
            serde_json::to_value(data).map_err(|error| PaperError::Template(error.to_string()))?;
        letters::tidy(&mut data);
        let mut marker = Marker::new();
        marker.mark_all(&mut data);
        letters::shut_off(&mut data, self.names());
        let mut files = template::files();
        files.extend(self.template.iter().map(|(name, bytes)| (name.clone(), bytes.clone())));
        files.insert("data.json".to_owned(), data.to_string().into_bytes());
        files.extend(self.logo.map(|logo| (logo.file.to_owned(), logo.bytes.clone())));
        files.extend(
            pictures.into_iter().map(|(name, svg)| (name, marker.mark_drawing(svg).into_bytes())),
        );
        let n_sheets = described.len();
        for ((picture, sheet), number) in described.into_iter().zip(sheets).zip(1..) {
            let number = format!("{number} of {n_sheets}");
            let svg = marker.mark_drawing(sheet.svg.replace(SHEET_NUMBER, &number));
            files.insert(picture.file, svg.into_bytes());
        }
        let main = format!("{}.typ", kind.name());
        let stamp = Stamp { date: date_parts(self.date()), ident: hash + kind.name() };
        let (pdf, unset) = set_somehow(&main, &files, &stamp, self.logo.map(|logo| logo.file))?;
        let unset = unset.map(|place| {
            format!(
                "letters that run from right to left could not be set in the {place} of this document ({}): \
                 {MARK} stands for each",
                kind.name()
            )
        });
        let marked = marker.marked.into_iter().map(|Marked { text, letter }| {
            format!(
                "no font here has the letter {letter} (U+{:04X}) of \"{text}\": {MARK} stands where \
                 letters are missing",
                u32::from(letter)
            )
        });
        Ok(Made { pdf, notes: marked.chain(unset).collect() })
    }

    /// What stands beside the title: for whom, where, when.
    fn head(&self) -> Vec<(&str, &str)> {
        let input = self.input;
        let pairs = [
            ("Job", Some(input.name.as_str())),
            ("For", input.client.as_deref()),
            ("Address", input.address.as_deref()),
            ("Survey of", input.date.as_deref()),
            ("Issued", self.date),
            ("Revision", Some(self.revision).filter(|revision| !revision.is_empty())),
        ];
        pairs.into_iter().filter_map(|(name, value)| Some((name, value?))).collect()
    }
}

/// Sets a document; where letters that run from right to left are in the way of that, with marks in their
/// place in the drawings, or everywhere, and says where. A page with a few marks on it is of more use than
/// none.
fn set_somehow(
    main: &str,
    files: &Files,
    stamp: &Stamp,
    logo: Option<&str>,
) -> Result<(Vec<u8>, Option<&'static str>), PaperError> {
    let mut outcome = typeset(main, files.clone(), stamp).map(|pdf| (pdf, None));
    for (place, also) in [("drawings", ""), ("text and drawings", "data.json")] {
        let Err(why @ PaperError::Standard(_)) = outcome else { return outcome };
        let mark = |(name, bytes): (&String, &Vec<u8>)| {
            let is_ours = (name.ends_with(".svg") || name == also) && Some(name.as_str()) != logo;
            let text = std::str::from_utf8(bytes).ok().filter(|_| is_ours);
            let bytes = text.map_or_else(
                || bytes.clone(),
                |text| Marker::mark_right_to_left(text).into_bytes(),
            );
            (name.clone(), bytes)
        };
        let marked: Files = files.iter().map(mark).collect();
        outcome = typeset(main, marked, stamp).map(|pdf| (pdf, Some(place))).map_err(|_| why);
    }
    outcome
}

/// Year, month and day.
fn date_parts(date: &str) -> Option<(i32, u8, u8)> {
    let mut parts = date.split('-');
    let date =
        (parts.next()?.parse().ok()?, parts.next()?.parse().ok()?, parts.next()?.parse().ok()?);
    parts.next().is_none().then_some(date)
}
