//! `floorwright export`: the results of a job for other programs.

use crate::args;
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
use floorwright_export::{Files, Format, Source, export, schema};
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
    let mut text = Text::default();
    say(&mut text, &session, &made, &folder);
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
        let result =
            serde_json::json!({ "files": files, "left_out": left_out, "data_sha256": hash });
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

fn say(text: &mut Text, session: &Session, made: &Files, folder: &Path) {
    text.heading(&format!("For other programs: {}", session.input.name));
    text.say(format!("In {}:", folder.display()));
    for file in &made.files {
        text.item("-", format!("{}: {}", file.name, file.about));
    }
    for left in &made.left_out {
        text.item("!", format!("no {}: {}", left.what, left.why));
    }
}
