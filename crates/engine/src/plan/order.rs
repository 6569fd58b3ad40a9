//! The stage from packed lifts to passes, with the packers that are only needed on the way.

use super::{FrameStage, Job, LiftingStage, PackingStage, Stage, StopReason};
use crate::frame::Loads;
use crate::ids::SupportId;
use crate::packers::{Choice, Stack, StackTable};
use crate::passes::{
    FrameCases, FrameCheck, FrameWay, Passes, PassesError, PassesOnFrame, SupportToLift, TooClose,
    Tried, plan, plan_with_frame,
};
use crate::site::Position;
use crate::units::{LENGTH_EPS, Length, Level};
use serde::Serialize;
use std::collections::BTreeMap;

/// The passes, and what they need beyond the packers that stay.
#[derive(Clone, Debug, Serialize)]
pub struct PassesStage {
    /// The order of moves.
    pub passes: Passes,
    /// What the frame says of every move; `None` without a frame, and then no load was looked at.
    pub on_frame: Option<OnFrame>,
    /// Neighbours that end bent from today's shape, or steeper, by more than the distortion limit,
    /// worst first. Nothing prevents them: they follow from the lifts.
    pub bends: Vec<Bend>,
    /// Packers that are needed on the way only.
    pub temporary: Vec<TemporaryPackers>,
    /// Cost of all packers, those that stay included, in whole cents; `None` without every price.
    pub cents: Option<u64>,
}

impl PassesStage {
    /// How far every support of the site has gone up once the load is down on the packers after a
    /// pass, by its index: what to expect of the readings then. A stack on the way may be thinner
    /// than what was opened.
    pub fn rests_after(&self, job: &Job, pass: usize) -> Vec<Length> {
        let mut off: BTreeMap<&SupportId, Length> = BTreeMap::new();
        for packed in self.passes.passes.iter().take(pass + 1).flat_map(|pass| &pass.packing) {
            if let Choice::Stack(stack) = &packed.choice {
                off.insert(&packed.support, stack.thickness - packed.wanted);
            }
        }
        let lifts = self.passes.passes.get(pass).map_or(&[][..], |pass| &pass.lifts);
        let sites = job.site.supports().iter().zip(lifts);
        sites.map(|(site, &lift)| lift + off.get(&site.id).copied().unwrap_or_default()).collect()
    }
}

/// What the frame says of the passes.
#[derive(Clone, Debug, Serialize)]
pub struct OnFrame {
    /// Every move, checked. Only if it passed are the passes to be worked by.
    pub check: FrameCheck,
    /// What one support at a time would do to the frame.
    pub one_at_a_time: FrameWay,
    /// Sizes of step that were tried, coarsest first.
    pub tried: Vec<Tried>,
}

/// Two neighbouring supports between which the house ends bent, or steep.
///
/// # Units and sign
/// Slopes are ratios, from the first support to the second; across a step they are counted from
/// floors brought to one height.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Bend {
    /// The supports.
    pub pair: (SupportId, SupportId),
    /// Slope today.
    pub start: f64,
    /// Slope at the end.
    pub end: f64,
}

impl Bend {
    /// How far it is bent from today's shape (a ratio, without sign).
    pub fn change(&self) -> f64 {
        (self.end - self.start).abs()
    }
}

/// Packers that are only needed on the way.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TemporaryPackers {
    /// How thick.
    pub thickness: Length,
    /// Most pieces in use after any pass.
    pub most_in_use: u32,
    /// Packs to buy beyond those for the stacks that stay.
    pub extra_packs: u32,
    /// What those cost in whole cents, if the price is known.
    pub cents: Option<u64>,
}

/// Lays out the passes for the lifts that the stacks give.
pub(super) fn passes(
    job: &Job,
    (lifting, frame): (&LiftingStage, Option<&FrameStage>),
    packing: &PackingStage,
    table: &StackTable,
) -> Stage<PassesStage> {
    if !packing.cannot.is_empty() {
        return Stage::Stopped(packing.cannot.clone());
    }
    let seats = match frame {
        Some(frame) => frame.heights.iter().map(|&height| Level::DATUM + height).collect(),
        None => seats(job, lifting),
    };
    let supports: Vec<SupportToLift> = job
        .site
        .supports()
        .iter()
        .zip(&packing.lifts)
        .zip(seats)
        .map(|((support, &lift), seat)| SupportToLift {
            id: support.id.clone(),
            at: support.at,
            seat,
            gap: support.gap,
            lift,
        })
        .collect();
    match order(job, frame, &supports, table) {
        Ok((mut passes, on_frame)) => {
            end_on_what_stays(&mut passes, &supports, packing);
            let temporary = on_the_way(job, &passes, packing);
            let extra: Option<u64> = temporary.iter().map(|extra| extra.cents).sum();
            let cents = packing.buy.cents.zip(extra).map(|(stay, extra)| stay + extra);
            let bends = bends(job, &passes, &supports);
            Stage::Done(PassesStage { passes, on_frame, bends, temporary, cents })
        }
        Err(reasons) => Stage::Stopped(reasons),
    }
}

/// The order of moves, checked on the frame where there is one.
fn order(
    job: &Job,
    frame: Option<&FrameStage>,
    supports: &[SupportToLift],
    table: &StackTable,
) -> Result<(Passes, Option<OnFrame>), Vec<StopReason>> {
    let bare =
        |faults: Vec<PassesError>| faults.into_iter().map(StopReason::bare).collect::<Vec<_>>();
    let Some(stage) = frame else {
        let passes = plan(supports, &job.limits, table).map_err(bare)?;
        keeps_its_limit(&passes)?;
        return Ok((passes, None));
    };
    let cases = FrameCases::new(&stage.frame, supports, Loads::DEAD).map_err(|faults| {
        faults.iter().map(|fault| StopReason::new(fault, fault.hint())).collect::<Vec<_>>()
    })?;
    let cases = cases.widened(stage.frame.off_by_heights(&stage.sd));
    let found = plan_with_frame(supports, &job.limits, table, &cases).map_err(bare)?;
    let PassesOnFrame { passes, check, one_at_a_time, tried } = found;
    keeps_its_limit(&passes)?;
    Ok((passes, Some(OnFrame { check, one_at_a_time, tried })))
}

/// Neighbours that even the smallest step tilts beyond their limit stand in the way.
fn keeps_its_limit(passes: &Passes) -> Result<(), Vec<StopReason>> {
    let Some(least) =
        passes.too_close.iter().map(|close| close.most_in_pass).min_by(Length::total_cmp)
    else {
        return Ok(());
    };
    let hint = format!(
        "lift less in a pass: at most {:.1} mm (lift_per_pass in [limits], or --per-pass), or set a \
         wider limit of distortion with its reason",
        (least.to_mm() * 10.0).floor() / 10.0
    );
    let excess = |close: &&TooClose| close.slope / close.limit;
    let Some(worst) = passes.too_close.iter().max_by(|a, b| excess(a).total_cmp(&excess(b))) else {
        return Ok(());
    };
    let TooClose { pair: (a, b), slope, limit, .. } = worst;
    let more = match passes.too_close.len() - 1 {
        0 => String::new(),
        more => format!(", and {more} more pairs stand too close"),
    };
    let what = format!(
        "STOP: supports {a} and {b} stand so close together that one step of {} tilts them 1 in \
         {:.0}, the limit is 1 in {:.0}{more}",
        passes.step,
        1.0 / slope,
        1.0 / limit
    );
    Err(vec![StopReason::new(what, &hint)])
}

/// Heights of the bearers, to judge slopes by.
///
/// Floors with a step between them are brought to one mean height, for a step is not a slope. A
/// support that was not read is taken to stand as the nearest that was.
fn seats(job: &Job, lifting: &LiftingStage) -> Vec<Level> {
    let mut sums: BTreeMap<usize, (Length, f64)> = BTreeMap::new();
    for facts in &lifting.supports {
        if let (Some(deck), Some(floor)) = (facts.deck, facts.floor) {
            let (sum, n_read) = sums.entry(deck).or_default();
            *sum += floor - Level::DATUM;
            *n_read += 1.0;
        }
    }
    let read: Vec<(Position, Level)> = job
        .site
        .supports()
        .iter()
        .zip(&lifting.supports)
        .filter_map(|(support, facts)| {
            let (sum, n_read) = sums.get(&facts.deck?)?;
            Some((support.at, facts.floor? - *sum / *n_read))
        })
        .collect();
    let nearest = |place: Position| {
        let by_distance = |a: &&(Position, Level), b: &&(Position, Level)| {
            a.0.distance(place).total_cmp(&b.0.distance(place))
        };
        read.iter().min_by(by_distance).map_or(Level::DATUM, |(_, seat)| *seat)
    };
    job.site.supports().iter().map(|support| nearest(support.at)).collect()
}

fn bends(job: &Job, passes: &Passes, supports: &[SupportToLift]) -> Vec<Bend> {
    let limit = job.limits.distortion.value;
    let mut bends: Vec<Bend> = passes
        .neighbours
        .iter()
        .map(|pair| Bend {
            pair: (supports[pair.supports.0].id.clone(), supports[pair.supports.1].id.clone()),
            start: pair.start,
            end: pair.end,
        })
        .filter(|bend| bend.change() > limit || (bend.end.abs() > limit && bend.change() > 0.0))
        .collect();
    bends.sort_by(|a, b| b.change().total_cmp(&a.change()));
    bends
}

/// Once a support has its whole lift, its stack is the one that was chosen to stay.
fn end_on_what_stays(passes: &mut Passes, supports: &[SupportToLift], packing: &PackingStage) {
    let staying: BTreeMap<&SupportId, &Stack> = packing
        .supports
        .iter()
        .filter_map(|packed| Some((&packed.support, packed.stack.as_ref()?)))
        .collect();
    let whole: BTreeMap<&SupportId, Length> =
        supports.iter().map(|support| (&support.id, support.gap + support.lift)).collect();
    let passing = passes.passes.iter_mut().flat_map(|pass| &mut pass.packing);
    for packed in passing.chain(&mut passes.packing_at_start) {
        let is_whole = whole
            .get(&packed.support)
            .is_some_and(|whole| (*whole - packed.wanted).abs() < LENGTH_EPS);
        if let (true, Some(stack)) = (is_whole, staying.get(&packed.support)) {
            packed.choice = Choice::Stack((*stack).clone());
        }
    }
}

/// Thickness as a whole number of hundredths of a millimetre, to count pieces by.
fn key(thickness: Length) -> i64 {
    (thickness.to_mm() * 100.0).round() as i64
}

fn on_the_way(job: &Job, passes: &Passes, packing: &PackingStage) -> Vec<TemporaryPackers> {
    let mut in_use: BTreeMap<&SupportId, &[Length]> = BTreeMap::new();
    let mut most: BTreeMap<i64, u32> = BTreeMap::new();
    let rounds =
        std::iter::once(&passes.packing_at_start).chain(passes.passes.iter().map(|p| &p.packing));
    for round in rounds {
        for packed in round {
            if let Choice::Stack(stack) = &packed.choice {
                in_use.insert(&packed.support, &stack.pieces);
            }
        }
        let mut count: BTreeMap<i64, u32> = BTreeMap::new();
        for piece in in_use.values().flat_map(|pieces| pieces.iter()) {
            *count.entry(key(*piece)).or_default() += 1;
        }
        for (thickness, pieces) in count {
            let so_far = most.entry(thickness).or_default();
            *so_far = pieces.max(*so_far);
        }
    }
    job.stock
        .packers
        .iter()
        .filter_map(|packer| {
            let most_in_use = most.get(&key(packer.thickness)).copied()?;
            let bought: u32 = packing
                .buy
                .lines
                .iter()
                .filter(|line| key(line.thickness) == key(packer.thickness))
                .map(|line| line.packs * packer.pack)
                .sum();
            let extra_packs = most_in_use.saturating_sub(bought).div_ceil(packer.pack.max(1));
            (extra_packs > 0).then(|| TemporaryPackers {
                thickness: packer.thickness,
                most_in_use,
                extra_packs,
                cents: packer.pack_price_cents.map(|price| price * u64::from(extra_packs)),
            })
        })
        .collect()
}
