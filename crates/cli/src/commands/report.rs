//! `floorwright report`: the documents that the builder hands over, as PDF.

use crate::args;
use crate::aside::{Aside, put_aside};
use crate::commands::frame::options;
use crate::commands::goal;
use crate::exit::{CHECK_FAILED, FAILED, NOT_FOUND, OK, Stop, USAGE};
use crate::files::{self, Existing};
use crate::report::{Report, Text, envelope, footing};
use crate::session::{Session, open};
use crate::today::today;
use floorwright_engine::bill::bill;
use floorwright_engine::plan::{Plan, plan};
use floorwright_engine::record::record_if_begun;
use floorwright_engine::target::Outcome;
use floorwright_job::Business;
use floorwright_job::business::read_settings;
use floorwright_job::said::stops;
use floorwright_job::words::Words;
use floorwright_report::{Files, Kind, Logo, Paper, PaperError};
use serde::Serialize;
use std::path::{Path, PathBuf};

/// Files that a template folder may hold.
const MOST_FILES: usize = 200;

/// A document, as a program is told of it.
#[derive(Serialize)]
struct Document {
    kind: &'static str,
    file: Option<String>,
    bytes: Option<usize>,
    why_not: Option<String>,
    /// It could not be set, though the job has what belongs on it.
    #[serde(skip)]
    failed: bool,
}

/// Runs the command.
pub fn run(args: &args::Report) -> Result<Report, Stop> {
    let mut session = open(&args.job.job)?;
    goal::apply(&args.goal, &mut session)?;
    options::apply(&args.timber, &mut session)?;
    options::leave_out(args.no_frame, &mut session);
    if let Some(date) = &args.date
        && !floorwright_job::check::is_date(date)
    {
        return Err(Stop::new(USAGE, format!("--date: \"{date}\" is not year-month-day"))
            .hint("write for example 2026-03-31"));
    }
    if let (Some(date), Some(survey)) = (&args.date, &session.input.date)
        && date < survey
    {
        return Err(Stop::new(
            USAGE,
            format!("--date: {date} is before the survey of {survey}, which the paper tells of"),
        )
        .hint("give the day on which the paper is issued, or mend date under [job]"));
    }
    let kinds = kinds(&args.kind)?;
    check_to(args.to.as_deref(), kinds.len())?;
    let template = args.template.as_deref().map(template).transpose()?.unwrap_or_default();
    let (business, folder) = business(args, &session)?;
    let mut notes = Vec::new();
    let logo = logo(business.as_ref(), &folder, &mut notes);
    let undated = (args.date.is_none() && session.input.date.is_none()).then(today);
    if let Some(today) = &undated {
        notes.push(format!(
            "dated {today}, today, for the job has no date: write date under [job], or add --date"
        ));
    }
    let plan = plan(&session.job);
    let bill = bill(&session.job, &plan, &session.input.rates);
    let record = record_if_begun(&session.job, &plan, &session.input.done);
    let paper = Paper {
        input: &session.input,
        job: &session.job,
        plan: &plan,
        bill: &bill,
        record: &record,
        warnings: &session.warnings,
        business: business.as_ref(),
        logo: logo.as_ref(),
        date: args.date.as_deref().or(undated.as_deref()),
        revision: args.revision.as_deref().unwrap_or_default(),
        template: &template,
    };
    let hash = paper.hash().map_err(|error| Stop::new(FAILED, error.to_string()))?;
    let mut documents = Vec::new();
    let mut aside = Vec::new();
    for &kind in &kinds {
        let path = path_of(args, kind, kinds.len());
        let document = document(&paper, kind, &path, &mut notes)?;
        if document.file.is_none() && is_ours(&path) {
            aside.push(put_aside(&path)?);
        }
        documents.push(document);
    }
    for kind in Kind::ALL.into_iter().filter(|kind| !kinds.contains(kind)) {
        let Some(path) = beside(args, kind, kinds.len()) else { continue };
        if is_ours(&path) && is_of_other_data(&path, &hash) {
            aside.push(put_aside(&path)?);
        }
    }
    let failed = documents.iter().any(|document| document.failed);
    let all = args.kind.is_empty();
    let enough = if all {
        documents.iter().any(|document| document.file.is_some())
    } else {
        documents.iter().all(|document| document.file.is_some())
    };
    let words = Words::of(&session.input);
    let is_work = can_be_done(&plan) && stops(&plan, words).is_empty();
    let exit = match (failed, enough && is_work) {
        (true, _) => FAILED,
        (false, true) => OK,
        (false, false) => CHECK_FAILED,
    };
    let mut text = Text::default();
    say(&mut text, &session, &documents, (&aside, &notes), &hash);
    footing(&mut text, &session);
    let json = move || {
        let result = serde_json::json!({
            "documents": documents, "put_aside": aside, "notes": notes, "data_sha256": hash,
        });
        envelope("report", &session, result)
    };
    Ok(Report { text, json: Box::new(json), exit })
}

/// Whether the floor has a shape, and the height that was asked for can be reached or none was asked for.
fn can_be_done(plan: &Plan) -> bool {
    let outcome = plan.lifting.done().map(|lifting| &lifting.outcome);
    plan.floor.done().is_some()
        && outcome.is_none_or(|outcome| matches!(outcome, Outcome::Reached(_)))
}

/// The first words of the entry of a PDF that names the program that made it, and of the one with
/// the data that it was made of.
const MADE_BY: &[u8] = b"/Creator(floorwright ";
const MADE_OF: &[u8] = b"/Keywords(data SHA-256 ";

fn place_of(bytes: &[u8], words: &[u8]) -> Option<usize> {
    bytes.windows(words.len()).position(|window| window == words).map(|at| at + words.len())
}

/// Whether a file is a document that we made.
fn is_ours(path: &Path) -> bool {
    path.is_file()
        && files::read_bytes(path, files::MOST_BYTES)
            .is_ok_and(|bytes| bytes.starts_with(b"%PDF-") && place_of(&bytes, MADE_BY).is_some())
}

/// Whether a document of ours was made of other data than this; without a doubt only.
fn is_of_other_data(path: &Path, hash: &str) -> bool {
    files::read_bytes(path, files::MOST_BYTES).is_ok_and(|bytes| {
        place_of(&bytes, MADE_OF).is_some_and(|at| !bytes[at..].starts_with(hash.as_bytes()))
    })
}

fn say(
    text: &mut Text,
    session: &Session,
    documents: &[Document],
    (aside, notes): (&[Aside], &[String]),
    hash: &str,
) {
    text.heading(&format!("Paper: {}", session.input.name));
    for aside in aside {
        text.item("!", aside.said("for the job is another by now"));
    }
    for document in documents {
        match (&document.file, &document.why_not) {
            (Some(file), _) => text.item("-", format!("{file}: {}", what_it_is(document.kind))),
            (None, Some(why)) => text.item("!", why),
            (None, None) => {}
        }
    }
    for note in notes {
        text.item("!", note);
    }
    if documents.iter().any(|document| document.file.is_some()) {
        text.say(format!("Data SHA-256 {hash}, on every page."));
    }
}

fn what_it_is(kind: &str) -> &'static str {
    match kind {
        "floor-report" => "how far out, where, and how sure, for the client",
        "lifting-plan" => "what it takes, for client and engineer",
        "run-sheet" => "what to lift, move by move, for the crew",
        "quote" => "what it costs, for the client to sign",
        "order" => "what to buy, hire and do, with the rates: for the builder alone",
        _ => "what was done and what came of it",
    }
}

fn kinds(asked: &[String]) -> Result<Vec<Kind>, Stop> {
    if asked.is_empty() {
        return Ok(Kind::ALL.to_vec());
    }
    let named = |name: &String| {
        Kind::ALL.into_iter().find(|kind| kind.name() == name).ok_or_else(|| {
            let all: Vec<&str> = Kind::ALL.into_iter().map(Kind::name).collect();
            Stop::new(USAGE, format!("--kind: there is no document called \"{name}\""))
                .hint(format!("there are {}", all.join(", ")))
        })
    };
    asked.iter().map(named).collect()
}

/// A name that looks like a file is no folder, and one file does not hold several documents.
fn check_to(to: Option<&Path>, n_kinds: usize) -> Result<(), Stop> {
    let Some(to) = to.filter(|to| !to.is_dir()) else { return Ok(()) };
    let Some(end) = to.extension().map(|end| end.to_string_lossy()) else { return Ok(()) };
    let name = to.display();
    if end.eq_ignore_ascii_case("pdf") && n_kinds > 1 {
        return Err(Stop::new(
            USAGE,
            format!("--to: {name} is one file, and {n_kinds} documents are asked for"),
        )
        .hint("name a folder, or choose one document with --kind"));
    }
    if !end.eq_ignore_ascii_case("pdf") && to.is_file() {
        return Err(Stop::new(USAGE, format!("--to: {name} is a file and no folder"))
            .hint("name a folder, or with one --kind a file that ends in .pdf"));
    }
    if ["txt", "json", "csv", "doc", "docx", "html", "svg", "toml"]
        .iter()
        .any(|known| end.eq_ignore_ascii_case(known))
    {
        return Err(Stop::new(
            USAGE,
            format!("--to: the documents are PDF, and {name} ends in .{end}"),
        )
        .hint("name a folder, or with one --kind a file that ends in .pdf"));
    }
    Ok(())
}

/// A file of its own, or a file in a folder beside the job.
fn path_of(args: &args::Report, kind: Kind, n_kinds: usize) -> PathBuf {
    let file = format!("{}.pdf", kind.name());
    match &args.to {
        Some(to)
            if n_kinds == 1
                && to.extension().is_some_and(|end| end.eq_ignore_ascii_case("pdf")) =>
        {
            to.clone()
        }
        Some(folder) => folder.join(file),
        None => {
            let stem = args.job.job.file_stem().unwrap_or_default().to_string_lossy();
            args.job.job.with_file_name(format!("{stem}-paper")).join(file)
        }
    }
}

/// Where a document that was not asked for would lie beside those that were; `None` if the one that
/// was asked for has a name of its own.
fn beside(args: &args::Report, kind: Kind, n_kinds: usize) -> Option<PathBuf> {
    let path = path_of(args, kind, n_kinds);
    let file = format!("{}.pdf", kind.name());
    (path.file_name().is_some_and(|name| *name == *file)).then_some(path)
}

fn document(
    paper: &Paper<'_>,
    kind: Kind,
    path: &Path,
    notes: &mut Vec<String>,
) -> Result<Document, Stop> {
    let not_made = |why_not: String, failed: bool| Document {
        kind: kind.name(),
        file: None,
        bytes: None,
        why_not: Some(why_not),
        failed,
    };
    let made = match paper.make(kind) {
        Ok(made) => made,
        Err(error @ PaperError::Nothing { .. }) => return Ok(not_made(error.to_string(), false)),
        // What keeps one document from being set may be no hindrance to the others.
        Err(error) => {
            let why = format!("there is no {}: {error}", kind.title().to_lowercase());
            return Ok(not_made(why, true));
        }
    };
    for note in made.notes {
        if !notes.contains(&note) {
            notes.push(note);
        }
    }
    if let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
        files::make_folder(folder)?;
    }
    files::write_bytes(path, &made.pdf, Existing::Replace)?;
    Ok(Document {
        kind: kind.name(),
        file: Some(path.display().to_string()),
        bytes: Some(made.pdf.len()),
        why_not: None,
        failed: false,
    })
}

/// Whose paper it is, and the folder that the logo lies in.
fn business(args: &args::Report, session: &Session) -> Result<(Option<Business>, PathBuf), Stop> {
    let folder_of = |path: &Path| path.parent().unwrap_or(Path::new("")).to_owned();
    let Some(path) = &args.business else {
        return Ok((session.input.business.clone(), folder_of(&args.job.job)));
    };
    let business = read_settings(&files::read(path)?).map_err(|faults| {
        Stop::new(CHECK_FAILED, format!("{}: {}", path.display(), faults.join("; "))).hint(
            "the file holds a [business] table alone: name, contact, registration, logo, terms",
        )
    })?;
    Ok((Some(business), folder_of(path)))
}

/// The logo, or a note that says why the paper goes without it.
fn logo(business: Option<&Business>, folder: &Path, notes: &mut Vec<String>) -> Option<Logo> {
    let path = folder.join(business?.logo.as_ref()?);
    let read = files::read_bytes(&path, floorwright_report::MOST_LOGO_BYTES as u64 + 1);
    let logo = match read {
        Err(stop) => Err(stop.what),
        Ok(bytes) => Logo::new(bytes).map_err(|error| format!("{}: {error}", path.display())),
    };
    logo.map_err(|why| notes.push(format!("the paper goes without a logo: {why}"))).ok()
}

/// The files of a template folder, named by their path inside it.
fn template(folder: &Path) -> Result<Files, Stop> {
    if !folder.is_dir() {
        return Err(Stop::new(NOT_FOUND, format!("--template: {} is no folder", folder.display())));
    }
    let mut found = Files::new();
    collect(folder, folder, &mut found)?;
    let ours = floorwright_report::template_files();
    if !found.keys().any(|name| ours.contains_key(name)) {
        let names: Vec<String> = ours.into_keys().collect();
        return Err(Stop::new(
            USAGE,
            format!("--template: nothing in {} replaces a file of ours", folder.display()),
        )
        .hint(format!("a template has one or more of {}", names.join(", "))));
    }
    Ok(found)
}

fn collect(top: &Path, folder: &Path, found: &mut Files) -> Result<(), Stop> {
    let entries = std::fs::read_dir(folder).map_err(|error| Stop::io("read", folder, &error))?;
    for entry in entries {
        let path = entry.map_err(|error| Stop::io("read", folder, &error))?.path();
        if path.is_dir() {
            collect(top, &path, found)?;
            continue;
        }
        if found.len() == MOST_FILES {
            return Err(Stop::new(
                FAILED,
                format!("--template: more than {MOST_FILES} files in {}", top.display()),
            ));
        }
        let name = path.strip_prefix(top).unwrap_or(&path).to_string_lossy().replace('\\', "/");
        let bytes = files::read_bytes(&path, files::MOST_BYTES)?;
        found.insert(name, bytes);
    }
    Ok(())
}
