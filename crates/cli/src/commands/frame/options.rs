//! What the command line says of the frame, in place of what the job says.

use crate::args;
use crate::exit::{Stop, USAGE};
use crate::session::Session;
use floorwright_engine::plan::FrameChoice;
use floorwright_engine::settings::Limit;
use floorwright_engine::units::Force;
use floorwright_job::form_v1::Quantity;
use floorwright_job::quantities::{FORCE, RATIO};

const REASON: &str = "from the command line";

/// Leaves the frame out.
pub fn leave_out(no_frame: bool, session: &mut Session) {
    if no_frame {
        session.job.frame = FrameChoice::Off { why: REASON.to_owned() };
    }
}

/// Changes the session's job.
pub fn apply(args: &args::Timber, session: &mut Session) -> Result<(), Stop> {
    if let Some(text) = &args.jack_rating {
        session.job.limits.jack_rating = Some(Limit::given(rating(text)?, REASON));
    }
    if let Some(text) = &args.set_share {
        let share = set_share(text)?;
        if let FrameChoice::Asked { given, .. } = &mut session.job.frame {
            given.set_share = Some(share);
        }
    }
    Ok(())
}

fn rating(text: &str) -> Result<Force, Stop> {
    let usage = |what: String| Err(Stop::new(USAGE, what).hint(FORCE.examples));
    match FORCE.read(&Quantity::from(text)) {
        None => usage(format!("--jack-rating: \"{text}\" is not a force")),
        Some(kn) if kn <= 0.0 => usage(format!("--jack-rating: {text} is not above zero")),
        Some(kn) => Ok(Force::kn(kn)),
    }
}

fn set_share(text: &str) -> Result<(f64, f64), Stop> {
    let (from, to) = text.split_once("..").unwrap_or((text, text));
    let share = |text: &str| RATIO.read(&Quantity::from(text.trim()));
    match (share(from), share(to)) {
        (Some(from), Some(to)) if 0.0 <= from && from <= to && to <= 1.0 => Ok((from, to)),
        _ => Err(Stop::new(
            USAGE,
            format!("--set-share: \"{text}\" is not a share from 0 to 1, or two of them"),
        )
        .hint("write 0.3, 30%, or 0..1 for both ends")),
    }
}
