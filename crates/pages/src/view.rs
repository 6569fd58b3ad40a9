//! What a page is made from.

use floorwright_engine::plan::{Job, Plan, Stage, plan, survey};
use floorwright_engine::record::{Record, record_if_begun};
use floorwright_engine::survey::Survey;
use floorwright_job::events::{Event, FoldedJob, JobId, fold};
use floorwright_job::form_v1::{DatumForm, Form, RowsForm};
use floorwright_job::words::Words;
use floorwright_job::{Document, Fault, JobInput, check, ready};

/// How far the chain is run for a page.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Depth {
    /// What was entered only.
    Entered,
    /// Levels and the shape of the floor.
    Floor,
    /// Everything, down to the passes.
    Passes,
}

/// A job as its events make it, worked out as far as a page needs it.
#[derive(Debug)]
pub struct JobView {
    /// Its id.
    pub id: JobId,
    /// The form that its events come to.
    pub folded: FoldedJob,
    /// What is wrong with it, or to be looked at.
    pub faults: Vec<Fault>,
    /// The checked job and what came of it, unless its faults keep it from being used.
    pub worked: Option<Worked>,
    /// While nothing says what levels are counted from: the same with the first point that was read as zero,
    /// so that readings are held against one another meanwhile.
    meanwhile: Option<(String, Worked)>,
}

/// A checked job and what came of it.
#[derive(Debug)]
pub struct Worked {
    /// What the job says.
    pub input: JobInput,
    /// What the chain ran on.
    pub job: Job,
    /// What came of it.
    pub plan: Plan,
    /// The floor as it was last read after a pass, if it was.
    pub latest: Option<Plan>,
}

impl Worked {
    /// The words of its region and unit.
    pub fn words(&self) -> Words {
        Words::of(&self.input)
    }

    /// The floor as it stands: by the readings after the last pass that was read again, or as it was found.
    pub fn now(&self) -> &Plan {
        self.latest.as_ref().unwrap_or(&self.plan)
    }

    /// What was done against what came of it; nothing before the first pass.
    pub fn record(&self) -> Option<Stage<Record>> {
        match record_if_begun(&self.job, &self.plan, &self.input.done) {
            Stage::NotAsked => None,
            record => Some(record),
        }
    }
}

/// The floor by the readings after the last pass that was read again.
fn latest(input: &JobInput, job: &Job) -> Option<Plan> {
    let again = input.done.again.last()?;
    let survey = Survey { setups: again.setups.clone(), ..job.survey.clone() };
    Some(floorwright_engine::plan::survey(&Job { survey, ..job.clone() }))
}

impl JobView {
    /// Folds the events and works the job out.
    pub fn new(id: JobId, events: &[Event], depth: Depth) -> Self {
        Self::of_folded(id, fold(events), depth)
    }

    /// Works a folded job out.
    pub fn of_folded(id: JobId, folded: FoldedJob, depth: Depth) -> Self {
        let (faults, worked) = work(folded.form.clone(), &folded, depth);
        let meanwhile = match &worked {
            None if depth == Depth::Floor => meanwhile(&folded),
            _ => None,
        };
        Self { id, folded, faults, worked, meanwhile }
    }

    /// What readings are held against: the job, or what stands in for it while it says no datum.
    pub(crate) fn at_hand(&self) -> Option<&Worked> {
        self.worked.as_ref().or(self.meanwhile.as_ref().map(|(_, worked)| worked))
    }

    /// The point that levels are counted from for want of anything better.
    pub(crate) fn counted_from_first(&self) -> Option<&str> {
        self.meanwhile.as_ref().filter(|_| self.worked.is_none()).map(|(first, _)| first.as_str())
    }

    /// What the job is called.
    pub fn name(&self) -> &str {
        name_of(&self.folded)
    }

    /// The words of the job's region.
    pub fn words(&self) -> Words {
        let job = self.folded.form.job.clone().unwrap_or_default();
        Words::new(job.terms.unwrap_or_default(), job.units.unwrap_or_default())
    }
}

/// Checks a form with the tables of its job, and works it out.
fn work(form: Form, folded: &FoldedJob, depth: Depth) -> (Vec<Fault>, Option<Worked>) {
    let mut read = |file: &str| {
        let text = folded.files.get(file).cloned();
        text.ok_or_else(|| format!("{file} was not brought in with the job"))
    };
    let loaded = check(Document::of_form(form, "job"), &mut read);
    let mut faults = loaded.faults;
    let has_error = faults.iter().any(Fault::is_error);
    let worked = loaded.job.filter(|_| depth > Depth::Entered && !has_error).and_then(|input| {
        match ready(&input, "job") {
            Ok(job) => {
                let plan = if depth == Depth::Floor { survey(&job) } else { plan(&job) };
                Some(Worked { latest: latest(&input, &job), input, job, plan })
            }
            Err(more) => {
                faults.extend(more);
                None
            }
        }
    });
    (faults, worked)
}

/// The faults of a job that has another form.
pub(crate) fn faults_of(form: Form, folded: &FoldedJob) -> Vec<Fault> {
    work(form, folded, Depth::Entered).0
}

fn meanwhile(folded: &FoldedJob) -> Option<(String, Worked)> {
    let mut form = folded.form.clone();
    let first = first_read(&form).filter(|_| !says_datum(&form))?;
    form.datum = Some(DatumForm { zero: Some(first.clone()), ..DatumForm::default() });
    let (_, worked) = work(form, folded, Depth::Floor);
    Some((first, worked?))
}

/// Whether a form says what its levels are counted from.
pub(crate) fn says_datum(form: &Form) -> bool {
    let has_datum = form.datum.as_ref().is_some_and(|datum| datum.free || datum.zero.is_some());
    has_datum || !form.benchmark.is_empty() || !form.book.is_empty()
}

/// The point that was read first, of those that were typed.
pub(crate) fn first_read(form: &Form) -> Option<String> {
    let rows = form.setup.iter().filter_map(|setup| match &setup.readings {
        Some(RowsForm::Rows(rows)) => Some(rows),
        _ => None,
    });
    let mut used = rows.flatten().filter(|row| row.struck.is_none());
    used.next().map(|row| row.point.clone())
}

/// What a job is called.
pub fn name_of(folded: &FoldedJob) -> &str {
    let name = folded.form.job.as_ref().and_then(|job| job.name.as_deref());
    name.filter(|name| !name.trim().is_empty()).unwrap_or("Job without a name")
}

/// A job in the list of jobs.
#[derive(Clone, Debug, PartialEq)]
pub struct JobHead {
    /// Its id.
    pub id: JobId,
    /// What it is called.
    pub name: String,
    /// How many readings were taken.
    pub n_readings: usize,
    /// How many supports it has.
    pub n_supports: usize,
}

/// What the way between the phone and this program can do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Connection {
    /// The page is on the machine that runs the program, or comes over a trusted certificate: the page
    /// can be reloaded without the program.
    Secure,
    /// Plain http over a local network: the page has to stay open.
    Plain,
}

/// Everything that a page may be made from.
#[derive(Debug)]
pub struct World<'a> {
    /// The jobs there are.
    pub jobs: &'a [JobHead],
    /// The job that the path speaks of, if there is such a job.
    pub job: Option<&'a JobView>,
    /// How the page is reached.
    pub connection: Connection,
}
