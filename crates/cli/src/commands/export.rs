//! `floorwright export`: the results of a job for other programs.

use crate::args;
use crate::aside::{Aside, put_aside};
use crate::commands::frame::options;
use crate::commands::goal;
use crate::commands::passes::limits;
use crate::exit::{FAILED, OK, Stop, USAGE};
use crate::files::{self, Existing};
use crate::report::{Report, Text, cautions, envelope, footing};
use crate::session::{Session, open};
use floorwright_engine::bill::bill;
use floorwright_engine::plan::plan;
use floorwright_engine::record::record_if_begun;
use floorwright_export::{Files, Format, Source, export, schema, wrote};
use floorwright_job::cautions::Loads;
use floorwright_job::data_sha256;
use std::path::{Path, PathBuf};

/// Runs the command.
pub fn run(args: &args::Export) -> Result<Report, Stop> {
    if args.schema {
        let json = schema();
        let mut text = Text::default();
        text.verbatim(&format!("{json:#}"));
        return Ok(Report { text, json: Box::new(|| json), exit: OK });
    }
    let path =
        args.job.as_deref().ok_or_else(|| Stop::new(USAGE, "which job is to be exported?"))?;
    let formats = formats(&args.format)?;
    let mut session = open(path)?;
    goal::apply(&args.goal, &mut session)?;
    limits(args.jacks, args.per_pass.as_deref(), &mut session)?;
    options::apply(&args.timber, &mut session)?;
    options::leave_out(args.no_frame, &mut session);
    let plan = plan(&session.job);
    let bill = bill(&session.job, &plan, &session.input.rates);
    let record = record_if_begun(&session.job, &plan, &session.input.done);
    let hash = data_sha256(&session.input, &session.job)
        .map_err(|error| Stop::new(FAILED, error.to_string()))?;
    let source = Source {
        input: &session.input,
        job: &session.job,
        plan: &plan,
        warnings: &session.warnings,
        bill: &bill,
        record: &record,
        data_sha256: &hash,
    };
    let made = export(&source, &formats).map_err(|error| Stop::new(FAILED, error.to_string()))?;
    let folder = folder(args.to.as_deref(), path);
    files::make_folder(&folder)?;
    for file in &made.files {
        files::write_bytes(&folder.join(&file.name), &file.bytes, Existing::Replace)?;
    }
    let left_over = left_over(&folder, &made, &formats)?;
    let mut text = Text::default();
    say(&mut text, &session, (&made, &left_over), &folder);
    if plan.passes.done().is_some() {
        cautions(&mut text, Loads::of(&plan));
    }
    footing(&mut text, &session);
    let json = move || {
        let files: Vec<_> = made
            .files
            .iter()
            .map(|file| serde_json::json!({ "file": folder.join(&file.name), "about": file.about, "bytes": file.bytes.len() }))
            .collect();
        let left_out: Vec<_> = made
            .left_out
            .iter()
            .map(|left| serde_json::json!({ "what": left.what, "why": left.why }))
            .collect();
        let result = serde_json::json!({
            "files": files, "left_out": left_out, "put_aside": left_over.aside,
            "not_made_anew": left_over.not_made_anew, "data_sha256": hash,
        });
        envelope("export", &session, result)
    };
    Ok(Report { text, json: Box::new(json), exit: OK })
}

fn formats(asked: &[String]) -> Result<Vec<Format>, Stop> {
    if asked.is_empty() {
        return Ok(Format::ALL.to_vec());
    }
    let named = |name: &String| {
        let known = |format: &Format| format.name().eq_ignore_ascii_case(name.trim());
        Format::ALL.into_iter().find(known).ok_or_else(|| {
            let all: Vec<&str> = Format::ALL.into_iter().map(Format::name).collect();
            Stop::new(USAGE, format!("--format: there is no format called \"{name}\""))
                .hint(format!("there are {}", all.join(", ")))
        })
    };
    asked.iter().map(named).collect()
}

/// The folder that is asked for, or one beside the job.
fn folder(to: Option<&Path>, job: &Path) -> PathBuf {
    to.map_or_else(
        || {
            let stem = job.file_stem().unwrap_or_default().to_string_lossy();
            job.with_file_name(format!("{stem}-export"))
        },
        Path::to_owned,
    )
}

/// Files of an earlier run in the same folder.
struct LeftOver {
    /// Of the formats that were asked for, and not made this time: they no longer hold.
    aside: Vec<Aside>,
    /// Of other formats: they may be of other data.
    not_made_anew: Vec<String>,
}

fn left_over(folder: &Path, made: &Files, formats: &[Format]) -> Result<LeftOver, Stop> {
    let mut found = LeftOver { aside: Vec::new(), not_made_anew: Vec::new() };
    for name in floorwright_export::names() {
        let path = folder.join(&name);
        if made.files.iter().any(|file| file.name == name) || !path.is_file() {
            continue;
        }
        match wrote(&name, &files::read_bytes(&path, files::MOST_BYTES)?) {
            Some(format) if formats.contains(&format) => found.aside.push(put_aside(&path)?),
            Some(_) => found.not_made_anew.push(name),
            None => {}
        }
    }
    Ok(found)
}

fn say(text: &mut Text, session: &Session, (made, left_over): (&Files, &LeftOver), folder: &Path) {
    text.heading(&format!("For other programs: {}", session.input.name));
    for aside in &left_over.aside {
        text.item("!", aside.said("for this job has no such file now"));
    }
    if !left_over.not_made_anew.is_empty() {
        text.item(
            "!",
            format!(
                "not made anew this time, and perhaps of other data: {}",
                left_over.not_made_anew.join(", ")
            ),
        );
    }
    text.say(format!("In {}:", folder.display()));
    for file in &made.files {
        text.item("-", format!("{}: {}", file.name, file.about));
    }
    for left in &made.left_out {
        text.item("!", format!("no {}: {}", left.what, left.why));
    }
}
