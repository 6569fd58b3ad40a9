//! `floorwright report`: the documents that the builder hands over, as PDF.

use crate::args;
use crate::commands::frame::options;
use crate::commands::goal;
use crate::exit::{CHECK_FAILED, FAILED, NOT_FOUND, OK, Stop, USAGE};
use crate::files::{self, Existing};
use crate::report::{Report, Text, envelope, footing};
use crate::session::{Session, open};
use crate::today::today;
use floorwright_engine::bill::bill;
use floorwright_engine::plan::plan;
use floorwright_engine::record::record_if_begun;
use floorwright_job::Business;
use floorwright_job::business::read_settings;
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
    let kinds = kinds(&args.kind)?;
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
    let mut documents = Vec::new();
    for &kind in &kinds {
        documents.push(document(&paper, kind, &path_of(args, kind, kinds.len()))?);
    }
    let hash = paper.hash().map_err(|error| Stop::new(FAILED, error.to_string()))?;
    let all = args.kind.is_empty();
    let enough = if all {
        documents.iter().any(|document| document.file.is_some())
    } else {
        documents.iter().all(|document| document.file.is_some())
    };
    let mut text = Text::default();
    say(&mut text, &session, &documents, &notes, &hash);
    footing(&mut text, &session);
    let json = move || {
        let result =
            serde_json::json!({ "documents": documents, "notes": notes, "data_sha256": hash });
        envelope("report", &session, result)
    };
    Ok(Report { text, json: Box::new(json), exit: if enough { OK } else { CHECK_FAILED } })
}

fn say(text: &mut Text, session: &Session, documents: &[Document], notes: &[String], hash: &str) {
    text.heading(&format!("Paper: {}", session.input.name));
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
    text.say(format!("Data SHA-256 {hash}, on every page."));
}

fn what_it_is(kind: &str) -> &'static str {
    match kind {
        "floor-report" => "how far out, where, and how sure, for the client",
        "lifting-plan" => "what it takes, for client and engineer",
        "run-sheet" => "what to lift, move by move, for the crew",
        "order" => "what to buy and what it costs",
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

fn document(paper: &Paper<'_>, kind: Kind, path: &Path) -> Result<Document, Stop> {
    let (file, bytes, why_not) = match paper.make(kind) {
        Ok(pdf) => {
            if let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
                files::make_folder(folder)?;
            }
            files::write_bytes(path, &pdf, Existing::Replace)?;
            (Some(path.display().to_string()), Some(pdf.len()), None)
        }
        Err(error @ PaperError::Nothing { .. }) => (None, None, Some(error.to_string())),
        Err(error @ PaperError::Letters { .. }) => {
            return Err(Stop::new(CHECK_FAILED, error.to_string())
                .hint("write it in Latin, Greek, Cyrillic, Hebrew or Arabic letters"));
        }
        Err(error) => return Err(Stop::new(FAILED, format!("{}: {error}", kind.name()))),
    };
    Ok(Document { kind: kind.name(), file, bytes, why_not })
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
