//! `floorwright stands`: the survey planned before anything is read.

use crate::args;
use crate::commands::{hose, pictures};
use crate::exit::{CHECK_FAILED, OK, Stop};
use crate::files::{self, Existing};
use crate::report::{Report, Text, envelope, footing};
use floorwright_draw::{StandsPicture, stands_map};
use floorwright_job::stands_told::{plan_of, told};

/// Runs the command.
pub fn run(args: &args::Stands) -> Result<Report, Stop> {
    let mut session = hose::open_with(&args.job.job, &args.hose)?;
    hose::forget_missing_readings(&mut session);
    let (input, job) = (&session.input, &session.job);
    let plan = plan_of(input, job).map_err(|why| {
        Stop::new(CHECK_FAILED, format!("the survey cannot be planned: {why}")).hint(why.hint())
    })?;
    let mut text = Text::default();
    text.told(&told(input, job, &plan, args.short));
    if let Some(path) = &args.picture {
        let picture = StandsPicture::of(input, job, &plan, pictures::medium(&session, args.phone));
        files::write(path, &stands_map(&picture), Existing::Replace)?;
        text.heading(&format!("Picture of the stands: {}", path.display()));
    }
    footing(&mut text, &session);
    let exit = if plan.unreached.is_empty() { OK } else { CHECK_FAILED };
    let json = move || {
        let hose = &session.input.hose;
        let result =
            serde_json::json!({ "hose": hose.hose, "assumed": hose.assumed, "plan": plan });
        envelope("stands", &session, result)
    };
    Ok(Report { text, json: Box::new(json), exit })
}
