//! Invented jobs, worked through.

use floorwright_engine::bill::{Bill, bill};
use floorwright_engine::plan::{Job, Plan, Stage, plan};
use floorwright_engine::record::{Record, record_if_begun};
use floorwright_export::{Files, Format, Source, export};
use floorwright_job::{Fault, JobInput, SourceFile, data_sha256, load, ready};

const DEMO: &str = include_str!("../../../cli/demo/house.toml");
const NASTY: &str = include_str!("../../../../examples/nasty/job.toml");
const HALF_DONE: &str = include_str!("../../../../examples/half-done/job.toml");

/// The tables that the jobs name.
fn table(name: &str) -> Result<String, String> {
    let text = match name {
        "hall.csv" => include_str!("../../../cli/demo/hall-read-again.csv"),
        "wing.csv" => include_str!("../../../cli/demo/wing.csv"),
        "front.csv" => include_str!("../../../../examples/nasty/front.csv"),
        "back.csv" => include_str!("../../../../examples/nasty/back.csv"),
        "before.csv" => include_str!("../../../../examples/half-done/before.csv"),
        "after-1.csv" => include_str!("../../../../examples/half-done/after-1.csv"),
        "after-2.csv" => include_str!("../../../../examples/half-done/after-2.csv"),
        other => return Err(format!("no file {other}")),
    };
    Ok(text.to_owned())
}

/// A job, what came of it, and its files.
pub struct Worked {
    pub input: JobInput,
    pub job: Job,
    pub plan: Plan,
    pub bill: Stage<Bill>,
    pub record: Stage<Record>,
    pub warnings: Vec<Fault>,
    pub hash: String,
}

impl Worked {
    pub fn of(text: &str) -> Self {
        let loaded = load(&SourceFile::new("job.toml", text), &mut |name| table(name));
        let (errors, warnings): (Vec<Fault>, Vec<Fault>) =
            loaded.faults.into_iter().partition(Fault::is_error);
        let input = loaded.job.unwrap_or_else(|| panic!("{errors:#?}"));
        let job = ready(&input, "job.toml").unwrap_or_else(|faults| panic!("{faults:#?}"));
        let plan = plan(&job);
        let bill = bill(&job, &plan, &input.rates);
        let record = record_if_begun(&job, &plan, &input.done);
        let hash = data_sha256(&input, &job).unwrap();
        Self { input, job, plan, bill, record, warnings, hash }
    }

    pub fn source(&self) -> Source<'_> {
        Source {
            input: &self.input,
            job: &self.job,
            plan: &self.plan,
            warnings: &self.warnings,
            bill: &self.bill,
            record: &self.record,
            data_sha256: &self.hash,
        }
    }

    pub fn files(&self, formats: &[Format]) -> Files {
        export(&self.source(), formats).unwrap()
    }

    pub fn file(&self, format: Format, name: &str) -> Vec<u8> {
        let files = self.files(&[format]).files;
        let names: Vec<String> = files.iter().map(|file| file.name.clone()).collect();
        let found = files.into_iter().find(|file| file.name == name);
        found.unwrap_or_else(|| panic!("no {name} among {names:?}")).bytes
    }
}

/// The demonstration: lifts, packers, passes on a frame, an order with a price.
pub fn demo() -> Worked {
    Worked::of(DEMO)
}

/// In feet and inches, and what it asks for cannot be had.
pub fn nasty() -> Worked {
    Worked::of(NASTY)
}

/// The same with a tolerance of an inch, which can be had.
pub fn nasty_within_an_inch() -> Worked {
    let text = NASTY.replace("level_tolerance = \"1/4\\\"\"", "level_tolerance = 1");
    assert_ne!(text, NASTY);
    Worked::of(&text)
}

/// Two passes are done, and the floor was read after each.
pub fn half_done() -> Worked {
    Worked::of(HALF_DONE)
}

/// The same, but nobody read the floor after the second pass.
pub fn half_done_and_not_read_again() -> Worked {
    let text = HALF_DONE.replace("after_pass = 2", "after_pass = 1");
    assert_ne!(text, HALF_DONE);
    Worked::of(&text)
}

/// The demonstration with other text in some places.
pub fn demo_with(changes: &[(&str, &str)]) -> Worked {
    let mut text = DEMO.to_owned();
    for (from, to) in changes {
        assert!(text.contains(from), "{from}");
        text = text.replace(from, to);
    }
    Worked::of(&text)
}
