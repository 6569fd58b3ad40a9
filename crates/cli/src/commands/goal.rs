//! What the command line says of the goal, in place of what the job says.

use crate::args;
use crate::commands::floor::length;
use crate::exit::{NOT_FOUND, Stop, USAGE};
use crate::session::Session;
use floorwright_engine::ids::{PointId, SupportId};
use floorwright_engine::settings::{Preference, TargetHeight};
use floorwright_engine::units::{Length, Level};

/// Changes the session's job.
pub fn apply(args: &args::Goal, session: &mut Session) -> Result<(), Stop> {
    let unit = session.input.units;
    if let Some(height) = &args.height {
        session.job.goal.height = target_height(height, session)?;
        // What the job says of new work is about its own height.
        session.input.tie = None;
    }
    if let Some(tolerance) = &args.tolerance {
        let tolerance = length(tolerance, unit, "--tolerance")?;
        if tolerance < Length::ZERO {
            return Err(Stop::new(USAGE, format!("--tolerance: {tolerance} is below zero")));
        }
        session.job.goal.level_tolerance = Some(tolerance);
    }
    if let Some(prefer) = &args.prefer {
        session.job.goal.prefer = preference(prefer)?;
    }
    for set in &args.set {
        let (support, lift) = by_hand(set, session)?;
        session.job.by_hand.retain(|(known, _)| *known != support);
        session.job.by_hand.push((support, lift));
    }
    Ok(())
}

fn target_height(text: &str, session: &Session) -> Result<TargetHeight, Stop> {
    let unit = session.input.units;
    match text {
        "highest" => return Ok(TargetHeight::Highest),
        "free" => return Ok(TargetHeight::Free),
        _ => {}
    }
    let has_point = |name: &str| session.job.site.point(&PointId::new(name)).is_some();
    if has_point(text) {
        return Ok(TargetHeight::Point { point: PointId::new(text), offset: Length::ZERO });
    }
    // The offset starts at the last sign that leaves a known name before it.
    for (at, _) in text.char_indices().rev().filter(|(_, sign)| matches!(sign, '+' | '-')) {
        let (name, offset) = text.split_at(at);
        if has_point(name) {
            let offset = length(offset.trim_start_matches('+'), unit, "--height")?;
            return Ok(TargetHeight::Point { point: PointId::new(name), offset });
        }
    }
    length(text, unit, "--height").map(|level| TargetHeight::Number(Level::DATUM + level)).map_err(
        |_| {
            Stop::new(NOT_FOUND, format!("--height: \"{text}\" is no point, offset or level"))
                .hint("write EXT, EXT-10, 1404, highest or free")
        },
    )
}

fn preference(text: &str) -> Result<Preference, Stop> {
    match text {
        "least-squares" => Ok(Preference::LeastSquares),
        "smallest-largest" => Ok(Preference::SmallestLargest),
        "least-lift" => Ok(Preference::LeastLift),
        "fewest-supports" => Ok(Preference::FewestSupports),
        _ => Err(Stop::new(USAGE, format!("--prefer: \"{text}\" is not a preference"))
            .hint("write least-squares, smallest-largest, least-lift or fewest-supports")),
    }
}

fn by_hand(text: &str, session: &Session) -> Result<(SupportId, Length), Stop> {
    let Some((name, lift)) = text.split_once('=') else {
        return Err(Stop::new(USAGE, format!("--set: \"{text}\" is not a support and a lift"))
            .hint("write --set B3=12"));
    };
    let support = SupportId::new(name.trim());
    if session.job.site.support(&support).is_none() {
        return Err(Stop::new(NOT_FOUND, format!("--set: there is no support {support}")));
    }
    Ok((support, length(lift.trim(), session.input.units, "--set")?))
}
