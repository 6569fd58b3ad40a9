//! Who carries what, and what the passes ask of the frame.

use super::PlanPictures;
use crate::picture::{
    CarriedPicture, CarriedState, FrameLine, Holding, JackAt, JackLimit, JackLine, JackPicture,
    JackRise, LetGo, LineKind, Medium, PassForces, ShareAt, SupportHolding, WayMove, WayPicture,
};
use floorwright_engine::frame::{
    Carrying, ForceRange, FrameSpec, FrameState, JackPoint, Run, SupportLoad,
};
use floorwright_engine::ids::SupportId;
use floorwright_engine::passes::{FrameCheck, MoveCheck, Pass, PassCheck, Passes};
use floorwright_engine::plan::{FrameChoice, FrameStage, Job, PassesStage};
use floorwright_engine::units::{Force, Length};
use std::collections::{BTreeMap, BTreeSet};

impl PlanPictures<'_> {
    /// Who carries what: today, at the worst moment on the way, and when all is packed; those of
    /// the three that are known. `None` without a frame.
    ///
    /// The worst moment is the move in which the frame rocks, or else the one in which a jack
    /// pushes most, or else the one in which most supports let go.
    pub fn who_carries(&self, medium: Medium) -> Option<CarriedPicture> {
        let stage = self.plan.frame.done()?;
        let on_frame = self.plan.passes.done().and_then(|passes| passes.on_frame.as_ref());
        let worst = on_frame.and_then(|on_frame| self.worst_moment(&on_frame.check));
        let after = self.plan.packing.done().and_then(|packing| packing.carried.as_ref());
        let today = self.state("Today", &stage.today, "the empty house as it stands");
        let after = after.map(|after| {
            self.state("After", after, "the empty house when all is packed, as predicted")
        });
        let spec = stage.frame.spec();
        Some(CarriedPicture {
            medium,
            title_block: self.titled("Who carries what", "frame plan"),
            orientation: self.orientation,
            print: self.print,
            rooms: self.rooms(),
            lines: lines(self.job, stage, spec),
            point_loads: spec.point_loads.iter().map(|load| load.at).collect(),
            n_assumed: spec.assumed.len(),
            states: std::iter::once(today).chain(worst).chain(after).collect(),
        })
    }

    fn state(&self, title: &str, state: &FrameState, note: &str) -> CarriedState {
        let by_support: BTreeMap<&SupportId, &SupportLoad> =
            state.supports.iter().map(|load| (&load.support, load)).collect();
        CarriedState {
            title: title.to_owned(),
            supports: self.supports(|id| by_support.get(id).map(|load| holding(load))),
            rocks: state.rocks,
            note: format!("{note}; in all {}", state.total),
        }
    }

    /// Every support of the job with what it does, where that is known.
    fn supports(&self, holding: impl Fn(&SupportId) -> Option<Holding>) -> Vec<SupportHolding> {
        let sites = self.job.site.supports().iter();
        sites
            .map(|site| SupportHolding {
                support: site.id.clone(),
                at: site.at,
                holding: holding(&site.id).unwrap_or(Holding::NotListed),
            })
            .collect()
    }

    fn worst_moment(&self, check: &FrameCheck) -> Option<CarriedState> {
        let all = check.passes.iter().flat_map(|pass| {
            pass.moves
                .iter()
                .enumerate()
                .map(move |(idx, check)| (self.done + pass.number, idx + 1, check))
        });
        // The first of equals, so that a later move does not hide where it began.
        let (pass, number, worst) = all.reduce(|worst, next| {
            let order = next.2.rocks.cmp(&worst.2.rocks);
            let order =
                order.then(most_pushed(next.2).to_n().total_cmp(&most_pushed(worst.2).to_n()));
            let order = order.then(next.2.lost_contact.len().cmp(&worst.2.lost_contact.len()));
            if order.is_gt() { next } else { worst }
        })?;
        let jacks: BTreeMap<&SupportId, ForceRange> = worst
            .jacks
            .iter()
            .map(|jack| (&jack.support, ForceRange { least: jack.least, most: jack.most }))
            .collect();
        Some(CarriedState {
            title: format!("On the way: pass {pass}, move {number}"),
            supports: self.supports(|id| {
                let jack = jacks.get(id).map(|&range| Holding::Jack(range));
                jack.or_else(|| worst.lost_contact.contains(id).then_some(Holding::LetsGo))
            }),
            rocks: worst.rocks,
            note: if worst.jacks.is_empty() {
                "the move on the way in which most supports let go".to_owned()
            } else {
                "the move on the way in which a jack pushes most".to_owned()
            },
        })
    }

    /// The force at a jack as it rises, from the curves that the engine gave for it.
    ///
    /// `place` says where it stands, `neighbours` who rises with it; both may be empty.
    pub fn jack(
        &self,
        medium: Medium,
        place: &str,
        alone: JackLine,
        together: JackLine,
        neighbours: &str,
    ) -> JackPicture {
        JackPicture {
            medium,
            title_block: self.titled(&format!("Force at the jack at {place}"), "jack curve"),
            print: self.print,
            place: place.to_owned(),
            alone,
            together,
            neighbours: neighbours.to_owned(),
            limit: jack_limit(self.job),
            note: String::new(),
        }
    }

    /// How near the passes come to their limits, move by move. `None` if there are no passes.
    pub fn along_the_way(&self, medium: Medium) -> Option<WayPicture> {
        let PassesStage { passes, on_frame, .. } = self.plan.passes.done()?;
        let check = on_frame.as_ref().map(|on_frame| &on_frame.check);
        let mut slopes = Slopes::new(self.job, passes);
        let mut moves = Vec::new();
        for (pass_idx, pass) in passes.passes.iter().enumerate() {
            let checks = check.and_then(|check| check.passes.get(pass_idx));
            for move_idx in 0..pass.moves.len() {
                let slope = slopes.after(pass, move_idx);
                let check = checks.and_then(|checks| checks.moves.get(move_idx));
                moves.push(way_move((self.done + pass.number, move_idx + 1), slope, check));
            }
        }
        Some(WayPicture {
            medium,
            title_block: self.titled("How near the work comes to its limits", "run sheet"),
            on_frame: check.is_some(),
            moves,
            jack_limit: jack_limit(self.job),
            bending_limit: self.job.limits.bending_share.value,
            stop: check.and_then(stop),
            may_bend_too_far: check.is_some_and(|check| !check.may_stop.is_empty()),
        })
    }
}

/// What the frame says of a pass, gathered from its moves.
pub(super) fn pass_forces(check: &PassCheck) -> PassForces {
    let mut jacks: BTreeMap<&SupportId, ForceRange> = BTreeMap::new();
    for jack in check.moves.iter().flat_map(|check| &check.jacks) {
        let range = jacks.entry(&jack.support).or_default();
        *range = ForceRange { least: range.least.max(jack.least), most: range.most.max(jack.most) };
    }
    let lets_go: BTreeSet<&SupportId> =
        check.moves.iter().flat_map(|check| &check.lost_contact).collect();
    PassForces {
        jacks: jacks.into_iter().map(|(support, range)| (support.clone(), range)).collect(),
        lets_go: lets_go.into_iter().cloned().collect(),
        rocks: check.moves.iter().any(|check| check.rocks),
    }
}

/// Where and why the frame forbids the order of work, without the assumptions: a sheet has room for
/// one sentence.
pub(super) fn stop(check: &FrameCheck) -> Option<String> {
    let stop = check.stop.as_ref()?;
    let place = match stop.pass {
        0 => "before the first move".to_owned(),
        pass => format!("pass {pass}, move {}", stop.move_in_pass),
    };
    Some(format!("{place}: {}", stop.reason))
}

fn most_pushed(check: &MoveCheck) -> Force {
    check.jacks.iter().fold(Force::ZERO, |most, jack| most.max(jack.most))
}

fn holding(load: &SupportLoad) -> Holding {
    match load.carrying {
        Carrying::Carries => Holding::Carries(load.range),
        Carrying::MayHang => Holding::MayHang(load.range),
        Carrying::Hangs => Holding::Hangs(load.gap.0, load.gap.1),
    }
}

fn lines(job: &Job, stage: &FrameStage, spec: &FrameSpec) -> Vec<FrameLine> {
    let joists_given = match &job.frame {
        FrameChoice::Asked { given, .. } => {
            !given.joists.is_empty() || !given.joist_sets.is_empty()
        }
        FrameChoice::Off { .. } => false,
    };
    let line = |kind: LineKind, run: &Run, assumed: bool| FrameLine {
        kind,
        from: run.place(run.from),
        to: run.place(run.to),
        assumed,
    };
    let walls = spec.walls.iter().map(|wall| line(LineKind::Wall, &wall.run, false));
    let joists = spec.joists.iter().map(|joist| line(LineKind::Joist, &joist.run, !joists_given));
    let bearers =
        spec.bearers.iter().map(|bearer| line(LineKind::Bearer, &bearer.run, stage.proposed));
    walls.chain(joists).chain(bearers).collect()
}

fn jack_limit(job: &Job) -> Option<JackLimit> {
    let rating = job.limits.jack_rating.as_ref()?;
    Some(JackLimit { rating: rating.value, share: job.limits.jack_derating.value })
}

fn way_move(
    (pass, number): (usize, usize),
    slope: Option<ShareAt>,
    check: Option<&MoveCheck>,
) -> WayMove {
    let pushes_most = check.and_then(|check| {
        check.jacks.iter().reduce(|most, jack| if jack.most > most.most { jack } else { most })
    });
    let bent = check.and_then(|check| check.most_bent.as_ref()).and_then(|most| {
        Some(ShareAt { share: most.bent.share?, place: most.bent.timber.clone() })
    });
    WayMove {
        pass,
        number,
        slope,
        jack: pushes_most.map(|jack| JackAt {
            force: ForceRange { least: jack.least, most: jack.most },
            support: jack.support.clone(),
        }),
        bent,
        rocks: check.is_some_and(|check| check.rocks),
    }
}

/// Follows the slopes between neighbouring seats from move to move.
struct Slopes<'a> {
    job: &'a Job,
    passes: &'a Passes,
    number_of: BTreeMap<&'a SupportId, usize>,
    pairs_of: Vec<Vec<usize>>,
    lifts: Vec<Length>,
}

impl<'a> Slopes<'a> {
    fn new(job: &'a Job, passes: &'a Passes) -> Self {
        let sites = job.site.supports();
        let mut pairs_of = vec![Vec::new(); sites.len()];
        for (idx, pair) in passes.neighbours.iter().enumerate() {
            pairs_of[pair.supports.0].push(idx);
            pairs_of[pair.supports.1].push(idx);
        }
        Self {
            job,
            passes,
            number_of: sites.iter().enumerate().map(|(idx, site)| (&site.id, idx)).collect(),
            pairs_of,
            lifts: vec![Length::ZERO; sites.len()],
        }
    }

    /// The largest share of its limit among the pairs that the move changes, when it is done.
    fn after(&mut self, pass: &Pass, move_idx: usize) -> Option<ShareAt> {
        let moved = &pass.moves.get(move_idx)?.supports;
        let numbers: Vec<usize> =
            moved.iter().filter_map(|part| self.number_of.get(&part.support).copied()).collect();
        for (&number, part) in numbers.iter().zip(moved) {
            self.lifts[number] = part.to;
        }
        let pairs = numbers.iter().flat_map(|&number| &self.pairs_of[number]);
        let shares = pairs.map(|&idx| (self.share(idx), idx));
        let (share, idx) = shares.reduce(|most, next| if next.0 > most.0 { next } else { most })?;
        let (a, b) = self.passes.neighbours[idx].supports;
        let id = |number: usize| &self.job.site.supports()[number].id;
        Some(ShareAt { share, place: format!("{} to {}", id(a), id(b)) })
    }

    fn share(&self, pair: usize) -> f64 {
        let pair = &self.passes.neighbours[pair];
        let (from, to) = pair.supports;
        let slope = pair.start + (self.lifts[to] - self.lifts[from]) / pair.distance;
        slope.abs() / pair.limit
    }
}

impl JackLine {
    /// The line over all assumptions: one curve for each of them, at the same rises, of the jack
    /// with this number among those that rise.
    ///
    /// It ends before the first rise at which the frame rocks under any of them.
    pub fn over(curves: &[Vec<JackPoint>], jack: usize) -> Self {
        let n_points = curves.iter().map(Vec::len).min().unwrap_or(0);
        let rocks = (0..n_points).find(|&idx| curves.iter().any(|curve| curve[idx].rocks));
        let end = rocks.unwrap_or(n_points);
        let force = |curve: &[JackPoint], idx: usize| curve[idx].forces.get(jack).copied();
        let points = (0..end).filter_map(|idx| {
            let range = |curve: &Vec<JackPoint>| force(curve, idx).map(|_| curve[idx].range(jack));
            let over_all = curves.iter().filter_map(range).reduce(ForceRange::with)?;
            Some(JackRise { rise: curves[0][idx].rise, force: over_all })
        });
        let points = points.collect();
        let at_end = |curve: &Vec<JackPoint>| {
            let range = end.checked_sub(1).map(|idx| curve[idx].range(jack));
            range.map_or((0.0, 0.0), |range| (range.least.to_n(), range.most.to_n()))
        };
        let least = curves.iter().min_by(|a, b| at_end(a).0.total_cmp(&at_end(b).0));
        let most = curves.iter().max_by(|a, b| at_end(a).1.total_cmp(&at_end(b).1));
        // A mark sits on the line that is drawn, which is widened by what the readings may be off.
        let on_least = least.filter(|_| curves.len() > 1).into_iter();
        let on_least =
            on_least.flat_map(|curve| let_go(&curve[..end], |point| point.range(jack).least));
        let on_most = most.into_iter();
        let on_most =
            on_most.flat_map(|curve| let_go(&curve[..end], |point| point.range(jack).most));
        let let_go = on_least.chain(on_most).collect();
        Self { points, let_go, rocks_from: rocks.map(|idx| curves[0][idx].rise) }
    }
}

/// Where fewer supports carry than at any rise before.
fn let_go(curve: &[JackPoint], force: impl Fn(&JackPoint) -> Force) -> Vec<LetGo> {
    let Some(first) = curve.first() else { return Vec::new() };
    let mut left = first.carrying;
    let mut found = Vec::new();
    for point in curve {
        if point.carrying < left {
            left = point.carrying;
            let (rise, force) = (point.rise, force(point));
            found.push(LetGo { rise, force, n_gone: first.carrying - left });
        }
    }
    found
}
