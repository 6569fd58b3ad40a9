//! The stage from supports and the shape of the floor to the frame under it and what it carries.

use super::packing::SupportPacking;
use super::supports::FloorOver;
use super::{Job, Stage, StopReason};
use crate::frame::{
    Carrying, Frame, FrameRules, FrameState, GivenFrame, Hole, Loads, Off, complete, state,
};
use crate::ids::SupportId;
use crate::influence::Influence;
use crate::site::Position;
use crate::survey::Reduction;
use crate::units::{Force, Length, Level};
use serde::Serialize;
use std::collections::BTreeMap;

/// The share of a floor that lies outside its outermost joists, as boards run to the walls.
const EDGES: f64 = 0.06;

/// Less air than this is not measured for sure.
const MEASURED: Length = Length::mm(1.0);

/// Whether a frame is asked for, and what is known of it.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum FrameChoice {
    /// None: the floor is taken to move as planes between the supports, and no load is worked
    /// out.
    Off {
        /// Why.
        why: String,
    },
    /// What the builder gives, filled up by rules.
    Asked {
        /// What is given; anything may be missing.
        given: Box<GivenFrame>,
        /// What is taken where nothing is given.
        rules: Box<FrameRules>,
    },
}

impl FrameChoice {
    /// The builder describes bearers, rather than leave all to be proposed.
    pub fn is_given(&self) -> bool {
        matches!(self, Self::Asked { given, .. } if !given.bearers.is_empty())
    }
}

/// The frame under the floor, as it stands today.
#[derive(Clone, Debug, Serialize)]
pub struct FrameStage {
    /// Bearers were proposed from the grid of supports, not given.
    pub proposed: bool,
    /// The frame itself, with everything that is assumed about it.
    pub frame: Frame,
    /// Today's height of the bearer over each support above a common height, steps between floors
    /// taken out.
    pub heights: Vec<Length>,
    /// How far each of those may be off for itself (standard deviation).
    pub sd: Vec<Length>,
    /// Supports whose floor was not read: they are taken to stand as the nearest that was.
    pub not_read: Vec<usize>,
    /// What is carried today by the empty house.
    pub today: FrameState,
    /// The same with people and furniture in.
    pub in_use: FrameState,
}

impl FrameStage {
    /// How far the force at a jack may be off because heights were read no better, under a share
    /// of set sag (a ratio).
    pub fn jack_off(&self, support: usize, set_share: f64) -> Force {
        self.frame.off_by_heights(&self.sd)[support] * (1.0 - set_share)
    }

    /// Floor that the rooms have and no joist carries, in square metres: it weighs nothing here.
    /// Zero without rooms, and where it is no more than the strips along the edges.
    pub fn bare_floor_m2(&self, job: &Job) -> f64 {
        let drawn: f64 = job.site.rooms().iter().map(|room| room.outline.area_m2()).sum();
        let bare = drawn - self.frame.floor_m2();
        if bare > drawn * EDGES { bare } else { 0.0 }
    }

    /// Where joists lie so far apart that no floor is counted between them, though there may be one:
    /// the rooms say so, or no rooms are drawn.
    pub fn holes_in_floor(&self, job: &Job) -> Vec<&Hole> {
        let rooms = job.site.rooms();
        let middle = |hole: &Hole| hole.middle.place((hole.middle.from + hole.middle.to) / 2.0);
        let may_be_floor = |hole: &&Hole| {
            rooms.is_empty()
                || rooms.iter().any(|room| room.outline.contains(middle(hole), Length::ZERO))
        };
        self.frame.holes().iter().filter(may_be_floor).collect()
    }

    /// Supports under which air was measured that this frame would close, with the measured gap:
    /// its timbers are taken too soft there, its loads too heavy, or a reading is off.
    pub fn gaps_closed(&self, job: &Job) -> Vec<(SupportId, Length)> {
        let supports = job.site.supports().iter().zip(&self.today.supports);
        supports
            .filter(|(site, load)| site.gap > MEASURED && load.gap.0 < site.gap / 2.0)
            .filter(|(_, load)| load.carrying != Carrying::Hangs)
            .map(|(site, _)| (site.id.clone(), site.gap))
            .collect()
    }

    /// Today's seats: the bearer's height less the gap that was measured.
    pub fn seats(&self, job: &Job) -> Vec<Length> {
        seats(job, &self.heights)
    }
}

/// Lets the frame stand on seats at the end of a lift: lifted and packed as the packers give, and
/// left as it is elsewhere.
pub(super) fn after(
    job: &Job,
    stage: &FrameStage,
    lifts: &[Length],
    packing: &[SupportPacking],
) -> Option<FrameState> {
    let mut seats = stage.seats(job);
    for packed in packing {
        let support = job.site.supports().iter().position(|site| site.id == packed.support)?;
        let thickness = packed.stack.as_ref().map_or(Length::ZERO, |stack| stack.thickness);
        seats[support] += thickness;
    }
    // A bearer that is let down goes with its seat.
    for (support, &lift) in lifts.iter().enumerate().filter(|(_, lift)| **lift < Length::ZERO) {
        seats[support] = stage.heights[support] + lift;
    }
    // A stack is off by anything up to its tolerance: an even spread.
    let packing = job.stock.tolerance.value / 3.0_f64.sqrt();
    let off = Off { heights: &stage.sd, packing };
    state(&stage.frame, &seats, &stage.heights, off, Loads::DEAD).ok()
}

fn seats(job: &Job, heights: &[Length]) -> Vec<Length> {
    let supports = job.site.supports().iter();
    supports.zip(heights).map(|(support, &height)| height - support.gap).collect()
}

/// Builds the frame and lets it stand.
pub(super) fn build(
    job: &Job,
    reduction: &Reduction,
    over: &[Option<FloorOver>],
) -> Stage<FrameStage> {
    let (given, rules) = match &job.frame {
        FrameChoice::Off { .. } => return Stage::NotAsked,
        FrameChoice::Asked { given, rules } => (given, rules),
    };
    if job.site.supports().is_empty() {
        return Stage::Stopped(vec![StopReason::new(
            "the job has no supports",
            "list the supports with their places",
        )]);
    }
    let spec = match complete(&job.site, given, rules) {
        Ok(spec) => spec,
        Err(faults) => {
            return stopped(faults.iter().map(|fault| (fault.to_string(), fault.hint())));
        }
    };
    let frame = match Frame::new(job.site.supports(), &spec, &Influence::places(&job.site)) {
        Ok(frame) => frame,
        Err(faults) => {
            return stopped(faults.iter().map(|fault| (fault.to_string(), fault.hint())));
        }
    };
    let Some(heights) = heights(job, over, &frame) else {
        return Stage::Stopped(vec![StopReason::new(
            "the floor was not read over any support",
            "read the floor over the supports, or close to them",
        )]);
    };
    let sd = own_sd(job, reduction, over);
    let seats = seats(job, &heights);
    let off = Off { heights: &sd, packing: Length::ZERO };
    let states =
        [Loads::DEAD, Loads::IN_USE].map(|loads| state(&frame, &seats, &heights, off, loads));
    match states {
        [Ok(today), Ok(in_use)] => Stage::Done(FrameStage {
            proposed: given.bearers.is_empty(),
            not_read: (0..over.len()).filter(|&support| over[support].is_none()).collect(),
            frame,
            heights,
            sd,
            today,
            in_use,
        }),
        [Err(fault), _] | [_, Err(fault)] => Stage::Stopped(vec![StopReason::new(
            fault,
            "look for a load or a wall beyond the last support that may tip the frame over, and \
             check its place and its weight",
        )]),
    }
}

fn stopped<'a>(faults: impl Iterator<Item = (String, &'a str)>) -> Stage<FrameStage> {
    Stage::Stopped(faults.map(|(what, hint)| StopReason::new(what, hint)).collect())
}

/// The height of the bearer over each support: the floor there, steps between floors taken out. A
/// support that was not read is taken to stand as the nearest that was.
fn heights(job: &Job, over: &[Option<FloorOver>], frame: &Frame) -> Option<Vec<Length>> {
    let read: Vec<(Position, &FloorOver)> = job
        .site
        .supports()
        .iter()
        .zip(over)
        .filter_map(|(support, over)| Some((support.at, over.as_ref()?)))
        .collect();
    let mut sums: BTreeMap<usize, (Length, f64)> = BTreeMap::new();
    for (_, floor) in &read {
        let (sum, n_read) = sums.entry(floor.deck).or_default();
        *sum += floor.level - Level::DATUM;
        *n_read += 1.0;
    }
    // Groups count from the floor with most supports, which stays where it is.
    let mut decks: Vec<usize> = sums.keys().copied().collect();
    decks.sort_by(|a, b| sums[b].1.total_cmp(&sums[a].1).then(a.cmp(b)));
    let nearest = |place: Position| {
        let away = |read: &(Position, &FloorOver)| read.0.distance(place);
        read.iter().min_by(|a, b| away(a).total_cmp(&away(b)))
    };
    let mut heights = Vec::with_capacity(over.len());
    let mut groups = Vec::with_capacity(over.len());
    for (support, over) in job.site.supports().iter().zip(over) {
        let floor = match over {
            Some(floor) => floor,
            None => nearest(support.at)?.1,
        };
        let (sum, n_read) = sums[&floor.deck];
        heights.push((floor.level - Level::DATUM) - sum / n_read);
        groups.push(decks.iter().position(|&deck| deck == floor.deck)?);
    }
    Some(frame.without_steps(&heights, &groups))
}

/// How far each height may be off for itself: what it has in common with its neighbour, such as
/// the line of sight of one setup, bends nothing.
fn own_sd(job: &Job, reduction: &Reduction, over: &[Option<FloorOver>]) -> Vec<Length> {
    let places: Vec<Position> = job.site.supports().iter().map(|support| support.at).collect();
    let neighbours = neighbours(&places, over);
    (0..over.len())
        .map(|support| {
            let (Some(own), Some(other)) =
                (&over[support], neighbours[support].and_then(|other| over[other].as_ref()))
            else {
                return Length::ZERO;
            };
            let mut weights = own.weights.clone();
            weights.extend(other.weights.iter().map(|&(level, weight)| (level, -weight)));
            let survey = reduction.levels.combination_sd(&weights).squared() / 2.0;
            (survey + own.between.squared()).sd()
        })
        .collect()
}

/// For each support the nearest other one on the same floor that was read, looked for among
/// those close to it in the order of x.
fn neighbours(places: &[Position], over: &[Option<FloorOver>]) -> Vec<Option<usize>> {
    let mut by_x: Vec<usize> = (0..places.len()).filter(|&idx| over[idx].is_some()).collect();
    by_x.sort_by(|&a, &b| places[a].x.total_cmp(&places[b].x).then(a.cmp(&b)));
    let mut nearest = vec![None; places.len()];
    for (rank, &own) in by_x.iter().enumerate() {
        let deck = over[own].as_ref().map(|floor| floor.deck);
        let mut best: Option<(Length, usize)> = None;
        let mut look = |others: &mut dyn Iterator<Item = &usize>| {
            for &other in others {
                let aside = (places[other].x - places[own].x).abs();
                if best.is_some_and(|(away, _)| aside > away) {
                    break;
                }
                if over[other].as_ref().map(|floor| floor.deck) != deck {
                    continue;
                }
                let away = places[other].distance(places[own]);
                if best.is_none_or(|(least, _)| away < least) {
                    best = Some((away, other));
                }
            }
        };
        look(&mut by_x[..rank].iter().rev());
        look(&mut by_x[rank + 1..].iter());
        nearest[own] = best.map(|(_, other)| other);
    }
    nearest
}
