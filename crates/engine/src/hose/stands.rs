//! Where to stand the reservoir, in which order to walk, what to read twice, and what comes of it.

use super::budget::budget_of;
use super::checks::{DriftWatch, drift_watch};
use super::cover::{Bits, Cover, empty, has, in_both, put};
use super::design::{Accuracy, accuracy_of};
use super::instrument::Hose;
use super::tour::{short_tour, spread_out};
use super::validity::OutsideValidity;
use super::walls::{Door, Walls};
use super::ways::{Place, Reach, Ways, inside};
use crate::ids::{PointId, RoomId};
use crate::site::{Finish, Outline, PointKind, Position, Room, Site};
use crate::units::{Length, Minutes, Seconds};
use serde::Serialize;
use std::collections::BTreeSet;

/// So many points in common tie two stands in height (our own rule: two, so that a slip in one
/// shows; a third is read where there is one).
pub const TIES: usize = 2;
/// One point in so many is read twice in its stand (common practice: one in ten).
pub const REPEAT_ONE_IN: usize = 10;
/// More points than this are not planned for.
pub const MOST_POINTS: usize = 5000;

/// How many places for the reservoir are looked at.
const CANDIDATES: f64 = 320.0;
/// The reservoir stands so far off the walls, mm.
const OFF_WALL: f64 = 250.0;
/// Of more stops than this, those further apart than that (mm) are not looked at for the next step
/// of a walk: their way round the walls is not worked out, and twice the straight line stands for
/// it.
const MANY_STOPS: usize = 250;
const FAR_STOPS: f64 = 5000.0;
/// Walking, mm in a second, and what a reading takes beside the wait, seconds: common practice for
/// a careful reader with one helper.
const WALKING: f64 = 500.0;
const HANDLING: f64 = 20.0;

/// What a survey is planned from.
#[derive(Clone, Debug)]
pub struct StandsAsk<'a> {
    /// Rooms, points and supports. Without a room the box round points and supports is one.
    pub site: &'a Site,
    /// Doorways; without any the walls between rooms do not count.
    pub doors: &'a [Door],
    /// What no hose goes through and no reservoir stands in.
    pub obstacles: &'a [Outline],
    /// Marks that the levels are counted from.
    pub benchmarks: &'a [PointId],
    /// The hose.
    pub hose: &'a Hose,
    /// What one reading is worth.
    pub reading_sd: Length,
    /// Within what the floor is to end.
    pub tolerance: Option<Length>,
}

/// Why there is no plan.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoStands {
    /// Nothing to read.
    #[error("there is no point with a place on the plan")]
    NoPoints,
    /// No room to stand in.
    #[error("there is no room with an outline, and so nowhere to stand the reservoir")]
    NoRooms,
    /// Too many points.
    #[error("{found} points are more than the {MOST_POINTS} that are planned for at once")]
    TooMany {
        /// How many there are.
        found: usize,
    },
    /// No point can be reached from anywhere.
    #[error("no point is reached by this hose from anywhere: it reaches {reach} along the floor")]
    NothingReached {
        /// How far it reaches.
        reach: Length,
    },
    /// The stands cannot be joined in height.
    #[error("the stands cannot be joined: no two points are reached from both sides")]
    NotJoined,
    /// The wait is not known for this hose.
    #[error(transparent)]
    Outside(#[from] OutsideValidity),
}

impl NoStands {
    /// The way out.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::NoPoints => "give supports or points a place: at = [x, y]",
            Self::NoRooms => "give at least one [[room]] an outline",
            Self::TooMany { .. } => "plan the house part by part",
            Self::NothingReached { .. } => "take a longer hose, or mark the doorways as [[door]]",
            Self::NotJoined => {
                "take a longer hose, mark more doorways, or add points near the doorways"
            }
            Self::Outside(_) => "the plan needs the wait: change the hose, or its temperature",
        }
    }
}

/// Why a row of the sheet is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Why {
    /// The first reading of the stand, which it is closed on.
    Open,
    /// For its own sake.
    Point,
    /// Read from another stand as well, which ties the two.
    Tie,
    /// The base again, on the way: shows the drift.
    Return,
    /// A point a second time, unseen: shows what a reading is worth.
    Repeat,
    /// The base again at the end.
    Close,
}

/// One reading to take.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StandRow {
    /// Where the staff goes.
    pub point: PointId,
    /// Its place on the plan.
    pub at: Position,
    /// Why.
    pub why: Why,
    /// Hose from the reservoir to there, along the floor.
    pub hose: Length,
    /// Way from the reading before.
    pub walk: Length,
    /// When about, from the first reading of the stand.
    pub time: Minutes,
}

/// One standing of the reservoir.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Stand {
    /// Its number, from 1.
    pub number: usize,
    /// Where the reservoir stands.
    pub at: Position,
    /// The room it stands in.
    pub room: Option<RoomId>,
    /// What is read first, again and last.
    pub base: PointId,
    /// The base is a benchmark.
    pub base_is_benchmark: bool,
    /// The longest hose it takes, along the floor.
    pub longest: Length,
    /// The readings in their order.
    pub rows: Vec<StandRow>,
    /// The hose to each corner of the walk: a line for each row, for the picture.
    pub lines: Vec<Vec<Position>>,
}

/// A point that no stand reaches.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Unreached {
    /// The point.
    pub point: PointId,
    /// The hose along the floor that would do, from the best place; `None` where no doorway leads
    /// there.
    pub needs: Option<Length>,
}

/// A survey planned.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StandsPlan {
    /// Where to stand, in the order to go.
    pub stands: Vec<Stand>,
    /// Fewer stands than this cannot do, from the places looked at.
    pub at_least: usize,
    /// Points that no stand reaches.
    pub unreached: Vec<Unreached>,
    /// Benchmarks without a place on the plan: taken to be within reach of the first stand.
    pub unplaced_benchmarks: Vec<PointId>,
    /// How far the hose reaches along the floor.
    pub reach: Length,
    /// How long to wait at each point.
    pub wait: Seconds,
    /// When to go back to the base.
    pub watch: DriftWatch,
    /// How many readings it takes.
    pub n_readings: usize,
    /// How long that takes, carrying the reservoir not counted.
    pub minutes: Minutes,
    /// What will come of it; `None` if the design cannot be solved.
    pub accuracy: Option<Accuracy>,
}

/// Something to be read, with every place that it may be read from.
struct Target {
    point: PointId,
    at: Position,
    places: Vec<Place>,
    is_benchmark: bool,
}

struct Candidate {
    at: (f64, f64),
    room: Option<RoomId>,
    place: Place,
    /// Hose to each target, mm.
    hose: Vec<f64>,
}

/// Plans a survey: the fewest stands that reach every point and hang together, a short walk in each,
/// and what the levels will be worth.
///
/// # Units and sign
/// Places as on the plan; hose along the floor, both legs taken off.
///
/// # Errors
/// [`NoStands`]. Points out of reach are no error: they are in the plan, with the hose that would
/// reach them.
///
/// # References
/// Ways round walls by a visibility graph and Dijkstra's algorithm; the fewest stands by branch and
/// bound against a bound from points of which no two are reached from one place; the walk by
/// 2-opt. The accuracy is what [`crate::survey::reduce`] gives for these readings: it follows from
/// which points are read when, not from what is read.
pub fn plan_stands(ask: &StandsAsk<'_>) -> Result<StandsPlan, NoStands> {
    let column = ask.hose.column()?;
    let start = ask.hose.reservoir.start_of(ask.hose.largest_move);
    let wait = column.wait(start, ask.hose.settle_to);
    let budget = budget_of(ask.hose)?;
    let watch = drift_watch(ask.hose, &budget);
    let reach = ask.hose.reach();
    let outlines: Vec<&Outline> = ask.site.rooms().iter().map(|room| &room.outline).collect();
    if outlines.is_empty() {
        let site = with_one_room(ask.site)?;
        return plan_stands(&StandsAsk { site: &site, ..ask.clone() });
    }
    let walls = Walls::new(&outlines, ask.doors, ask.obstacles);
    // Ways somewhat too long are still of use: they say what hose would do.
    let ways = Ways::new(walls, reach * 2.0);
    let targets = targets_of(ask, &ways);
    if targets.iter().all(|target| target.is_benchmark) {
        return Err(NoStands::NoPoints);
    }
    if targets.len() > MOST_POINTS {
        return Err(NoStands::TooMany { found: targets.len() });
    }
    let candidates = candidates_of(ask, &ways, &targets);
    let planner = Planner { ask, ways: &ways, targets: &targets, candidates: &candidates, reach };
    planner.plan(wait, watch)
}

/// The site with the box round its points and supports as its one room.
fn with_one_room(site: &Site) -> Result<Site, NoStands> {
    /// How far the box lies outside of them.
    const OUTSIDE: f64 = 500.0;
    let floor = site.points().iter().filter(|point| point.kind.is_floor());
    let places = floor.filter_map(|point| point.at).chain(site.supports().iter().map(|s| s.at));
    let places: Vec<(f64, f64)> = places.map(|at| (at.x.to_mm(), at.y.to_mm())).collect();
    let ends = |of: fn(&(f64, f64)) -> f64| {
        let values = || places.iter().map(of);
        let (low, high) =
            (values().fold(f64::INFINITY, f64::min), values().fold(f64::NEG_INFINITY, f64::max));
        (low - OUTSIDE, high + OUTSIDE)
    };
    let ((left, right), (low, high)) = (ends(|p| p.0), ends(|p| p.1));
    let corners = [(left, low), (right, low), (right, high), (left, high)];
    let corners = corners.iter().map(|&(x, y)| Position::mm(x, y)).collect();
    let outline = Outline::new(corners).map_err(|_| NoStands::NoPoints)?;
    let room =
        Room { id: RoomId::new("floor"), outline, finish: Finish::Boards, deck: "main".to_owned() };
    let mut points = site.points().to_vec();
    for point in &mut points {
        point.room = None;
    }
    Site::new(vec![room], points, site.supports().to_vec()).map_err(|_| NoStands::NoRooms)
}

fn targets_of(ask: &StandsAsk<'_>, ways: &Ways) -> Vec<Target> {
    let mut targets: Vec<Target> = Vec::new();
    let mut named = BTreeSet::new();
    let rooms = ask.site.rooms();
    let mut add = |point: &PointId, at: Position, room: Option<&RoomId>, is_benchmark: bool| {
        if !named.insert(point.clone()) {
            return;
        }
        let near = rooms.iter().filter(|known| {
            room.map_or(known.outline.contains(at, Length::mm(300.0)), |id| known.id == *id)
        });
        let mut places: Vec<Place> =
            near.filter_map(|room| inside(&room.outline, at)).map(|at| ways.place(at)).collect();
        if places.is_empty() {
            places.push(ways.place((at.x.to_mm(), at.y.to_mm())));
        }
        targets.push(Target { point: point.clone(), at, places, is_benchmark });
    };
    for point in ask.site.points() {
        let is_benchmark = ask.benchmarks.contains(&point.id);
        let is_read = is_benchmark
            || matches!(point.kind, PointKind::Floor | PointKind::Threshold | PointKind::Soffit);
        if let (Some(at), true) = (point.at, is_read) {
            add(&point.id, at, point.room.as_ref(), is_benchmark);
        }
    }
    for support in ask.site.supports() {
        let point = PointId::new(support.id.as_str());
        let over = ask.site.points().iter().any(|known| known.at == Some(support.at));
        if !over {
            add(&point, support.at, None, false);
        }
    }
    targets
}

fn candidates_of(ask: &StandsAsk<'_>, ways: &Ways, targets: &[Target]) -> Vec<Candidate> {
    let area: f64 = ask.site.rooms().iter().map(|room| room.outline.area_m2()).sum();
    let step = ((area / CANDIDATES).sqrt() * 1e3).clamp(450.0, 20_000.0);
    let mut candidates: Vec<Candidate> = Vec::new();
    let mut add = |at: (f64, f64), room: &RoomId| {
        let in_obstacle = ask
            .obstacles
            .iter()
            .any(|obstacle| obstacle.contains(Position::mm(at.0, at.1), Length::ZERO));
        if in_obstacle {
            return;
        }
        let place = ways.place(at);
        let from = ways.reach(&place);
        let hose = targets.iter().map(|target| hose_to(ways, &from, target)).collect();
        candidates.push(Candidate { at, room: Some(room.clone()), place, hose });
    };
    for room in ask.site.rooms() {
        let corners = room.outline.corners();
        let ends = |of: fn(&Position) -> f64| {
            let values = corners.iter().map(of);
            (values.clone().fold(f64::INFINITY, f64::min), values.fold(f64::NEG_INFINITY, f64::max))
        };
        let ((left, right), (low, high)) = (ends(|p| p.x.to_mm()), ends(|p| p.y.to_mm()));
        let (wide, deep) = (steps(right - left, step), steps(high - low, step));
        let mut n_added = 0;
        for off in [OFF_WALL, 60.0] {
            for row in 0..deep {
                for column in 0..wide {
                    let at = (
                        left + (right - left) * (column as f64 + 0.5) / wide as f64,
                        low + (high - low) * (row as f64 + 0.5) / deep as f64,
                    );
                    let place = Position::mm(at.0, at.1);
                    let is_inside = room.outline.contains(place, Length::ZERO)
                        && room.outline.distance_to_line(place).to_mm() >= off;
                    if is_inside && ways.is_clear(at, off) {
                        add(at, &room.id);
                        n_added += 1;
                    }
                }
            }
            // Only a room too narrow for that is looked at again.
            if n_added > 0 {
                break;
            }
        }
        // Beside a doorway a stand reaches into two rooms.
        for door in ask
            .doors
            .iter()
            .filter(|door| room.outline.distance_to_line(door.at) <= Length::mm(300.0))
        {
            if let Some(at) = beside_door(&room.outline, door)
                && ways.is_clear(at, 60.0)
            {
                add(at, &room.id);
            }
        }
    }
    candidates
}

fn steps(length: f64, step: f64) -> usize {
    (length / step).ceil().max(1.0) as usize
}

/// A place inside the room, in front of the doorway.
fn beside_door(outline: &Outline, door: &Door) -> Option<(f64, f64)> {
    let around = (0..16).map(|turn| {
        let (sine, cosine) = (f64::from(turn) * std::f64::consts::TAU / 16.0).sin_cos();
        Position {
            x: door.at.x + Length::mm(500.0 * cosine),
            y: door.at.y + Length::mm(500.0 * sine),
        }
    });
    around
        .filter(|&place| outline.contains(place, Length::ZERO))
        .max_by(|a, b| outline.distance_to_line(*a).total_cmp(&outline.distance_to_line(*b)))
        .map(|place| (place.x.to_mm(), place.y.to_mm()))
}

fn hose_to(ways: &Ways, from: &Reach, target: &Target) -> f64 {
    target.places.iter().map(|place| ways.length(from, place)).fold(f64::INFINITY, f64::min)
}

struct Planner<'a> {
    ask: &'a StandsAsk<'a>,
    ways: &'a Ways,
    targets: &'a [Target],
    candidates: &'a [Candidate],
    reach: Length,
}

impl Planner<'_> {
    fn plan(&self, wait: Seconds, watch: DriftWatch) -> Result<StandsPlan, NoStands> {
        let n_points = self.targets.len();
        let reached: Vec<Bits> = self.candidates.iter().map(|one| self.reached_by(one)).collect();
        let mut marks = empty(n_points);
        for (idx, _) in self.targets.iter().enumerate().filter(|(_, target)| target.is_benchmark) {
            put(&mut marks, idx);
        }
        let cover = Cover { reached: &reached, n_points, benchmarks: &marks, ties: TIES };
        if reached.iter().all(|set| set.iter().all(|&word| word == 0)) {
            return Err(NoStands::NothingReached { reach: self.reach });
        }
        let chosen = cover.fewest().ok_or(NoStands::NotJoined)?;
        let (at_least, part) = (chosen.at_least, chosen.part);
        let chosen = self.shorter(&cover, chosen.candidates);
        let ordered = self.in_order(&cover, chosen);
        let assigned = self.assign(&cover, &ordered);
        let mut stands: Vec<Stand> = Vec::new();
        for (idx, (&candidate, points)) in ordered.iter().zip(&assigned).enumerate() {
            stands.push(self.stand(idx, candidate, points, wait, &watch));
        }
        let unplaced: Vec<PointId> = self.unplaced_benchmarks();
        let accuracy =
            accuracy_of(&stands, self.ask.benchmarks, self.ask.reading_sd, self.ask.hose.factor());
        Ok(StandsPlan {
            at_least,
            unreached: self.unreached(&reached, &ordered, &part),
            unplaced_benchmarks: unplaced,
            reach: self.reach,
            wait,
            watch,
            n_readings: stands.iter().map(|stand| stand.rows.len()).sum(),
            minutes: Minutes::new(
                stands
                    .iter()
                    .filter_map(|stand| stand.rows.last())
                    .map(|row| row.time.to_minutes())
                    .sum(),
            ),
            accuracy,
            stands,
        })
    }

    fn reached_by(&self, candidate: &Candidate) -> Bits {
        let mut set = empty(self.targets.len());
        for (idx, &hose) in candidate.hose.iter().enumerate() {
            if hose <= self.reach.to_mm() {
                put(&mut set, idx);
            }
        }
        set
    }

    fn unplaced_benchmarks(&self) -> Vec<PointId> {
        let placed = |id: &&PointId| self.targets.iter().any(|target| target.point == **id);
        self.ask.benchmarks.iter().filter(|id| !placed(id)).cloned().collect()
    }

    /// What no stand reaches. A stand that would reach it, and that nothing joins in height to
    /// the others, is none.
    fn unreached(&self, reached: &[Bits], stands: &[usize], part: &[usize]) -> Vec<Unreached> {
        let lost = (0..self.targets.len())
            .filter(|&idx| !stands.iter().any(|&stand| has(&reached[stand], idx)));
        lost.map(|idx| {
            let hose = part.iter().map(|&candidate| self.candidates[candidate].hose[idx]);
            let needs = hose.fold(f64::INFINITY, f64::min);
            Unreached {
                point: self.targets[idx].point.clone(),
                needs: needs.is_finite().then(|| Length::mm(needs)),
            }
        })
        .collect()
    }

    /// As many stands with less hose: each is moved to where its points are nearest, as long as
    /// every point stays reached and the stands hang together.
    fn shorter(&self, cover: &Cover<'_>, mut chosen: Vec<usize>) -> Vec<usize> {
        for _ in 0..2 {
            for idx in 0..chosen.len() {
                let mut needed = cover.reached[chosen[idx]].clone();
                for (other, &candidate) in chosen.iter().enumerate() {
                    if other != idx {
                        for (need, got) in needed.iter_mut().zip(&cover.reached[candidate]) {
                            *need &= !got;
                        }
                    }
                }
                let n_needed = in_both(&needed, &needed);
                let mut ranked: Vec<(f64, usize)> = (0..self.candidates.len())
                    .filter(|&c| in_both(&needed, &cover.reached[c]) == n_needed)
                    .map(|c| (self.hose_in_all(&chosen, idx, c), c))
                    .collect();
                ranked.sort_by(|a, b| a.0.total_cmp(&b.0));
                for (_, candidate) in ranked.into_iter().take(40) {
                    let before = std::mem::replace(&mut chosen[idx], candidate);
                    if cover.are_tied(&chosen) {
                        break;
                    }
                    chosen[idx] = before;
                }
            }
        }
        chosen
    }

    /// The hose to all points, each from its nearest stand, with one stand moved.
    fn hose_in_all(&self, chosen: &[usize], moved: usize, to: usize) -> f64 {
        (0..self.targets.len())
            .map(|point| {
                let others = chosen.iter().enumerate().map(|(idx, &candidate)| {
                    let candidate = if idx == moved { to } else { candidate };
                    self.candidates[candidate].hose[point]
                });
                let nearest = others.fold(f64::INFINITY, f64::min);
                if nearest.is_finite() { nearest } else { 0.0 }
            })
            .sum()
    }

    /// First the stand nearest to a benchmark, then always one that is tied to those before.
    fn in_order(&self, cover: &Cover<'_>, mut chosen: Vec<usize>) -> Vec<usize> {
        let to_mark = |candidate: usize| {
            let marks = (0..self.targets.len()).filter(|&idx| self.targets[idx].is_benchmark);
            let hose = marks.map(|idx| self.candidates[candidate].hose[idx]);
            hose.fold(f64::INFINITY, f64::min)
        };
        let apart = |a: usize, b: usize| {
            let (a, b) = (self.candidates[a].at, self.candidates[b].at);
            (a.0 - b.0).hypot(a.1 - b.1)
        };
        chosen.sort_by(|&a, &b| to_mark(a).total_cmp(&to_mark(b)).then(a.cmp(&b)));
        let mut ordered: Vec<usize> = Vec::new();
        while !chosen.is_empty() {
            let next = match ordered.last() {
                None => 0,
                Some(&last) => {
                    let tied = |c: usize| ordered.iter().any(|&known| cover.ties_two(known, c));
                    let ranked = (0..chosen.len()).min_by(|&a, &b| {
                        let key = |idx: usize| (!tied(chosen[idx]), apart(last, chosen[idx]));
                        let (a, b) = (key(a), key(b));
                        a.0.cmp(&b.0).then(a.1.total_cmp(&b.1))
                    });
                    ranked.unwrap_or(0)
                }
            };
            ordered.push(chosen.remove(next));
        }
        ordered
    }

    /// Which points are read from which stand: each from its nearest, benchmarks from every stand
    /// that reaches them, and ties from two.
    fn assign(&self, cover: &Cover<'_>, ordered: &[usize]) -> Vec<Vec<(usize, Why)>> {
        let mut assigned: Vec<Vec<(usize, Why)>> = vec![Vec::new(); ordered.len()];
        let hose = |stand: usize, point: usize| self.candidates[ordered[stand]].hose[point];
        for (point, target) in self.targets.iter().enumerate() {
            let reaching =
                (0..ordered.len()).filter(|&stand| hose(stand, point) <= self.reach.to_mm());
            if target.is_benchmark {
                for stand in reaching {
                    assigned[stand].push((point, Why::Point));
                }
            } else if let Some(stand) =
                reaching.min_by(|&a, &b| hose(a, point).total_cmp(&hose(b, point)))
            {
                assigned[stand].push((point, Why::Point));
            }
        }
        for stand in 1..ordered.len() {
            let earlier = (0..stand).max_by_key(|&other| {
                let (one, other_set) =
                    (&cover.reached[ordered[stand]], &cover.reached[ordered[other]]);
                (cover.ties_two(ordered[stand], ordered[other]), in_both(one, other_set))
            });
            if let Some(other) = earlier {
                self.tie(cover, ordered, (other, stand), &mut assigned);
            }
        }
        assigned
    }

    /// Marks points that both of two stands reach to be read from both.
    fn tie(
        &self,
        cover: &Cover<'_>,
        ordered: &[usize],
        (one, other): (usize, usize),
        assigned: &mut [Vec<(usize, Why)>],
    ) {
        let sets = [one, other].map(|stand| &cover.reached[ordered[stand]]);
        let shared: Vec<usize> = (0..self.targets.len())
            .filter(|&idx| sets.iter().all(|set| has(set, idx)) && !self.targets[idx].is_benchmark)
            .collect();
        let places: Vec<(f64, f64)> = shared
            .iter()
            .map(|&idx| (self.targets[idx].at.x.to_mm(), self.targets[idx].at.y.to_mm()))
            .collect();
        for chosen in spread_out(&places, TIES + 1) {
            let point = shared[chosen];
            for stand in [one, other] {
                match assigned[stand].iter_mut().find(|(known, _)| *known == point) {
                    Some((_, why)) => *why = Why::Tie,
                    None => assigned[stand].push((point, Why::Tie)),
                }
            }
        }
    }

    fn stand(
        &self,
        idx: usize,
        candidate: usize,
        points: &[(usize, Why)],
        wait: Seconds,
        watch: &DriftWatch,
    ) -> Stand {
        let candidate = &self.candidates[candidate];
        let hose = |point: usize| candidate.hose[point];
        let unplaced = self.unplaced_benchmarks();
        let mark = points.iter().filter(|(point, _)| self.targets[*point].is_benchmark);
        let mark = mark.min_by(|a, b| hose(a.0).total_cmp(&hose(b.0)));
        let tie = points.iter().filter(|(_, why)| *why == Why::Tie);
        let nearest = |a: &&(usize, Why), b: &&(usize, Why)| hose(a.0).total_cmp(&hose(b.0));
        let base = mark
            .or_else(|| tie.min_by(nearest))
            .or_else(|| points.iter().min_by(nearest))
            .map_or(0, |(point, _)| *point);
        let writer = RowWriter::new(self, candidate, base, wait, watch);
        let mut rows = writer.rows(points);
        let base_is_benchmark = self.targets[base].is_benchmark;
        let mut name = self.targets[base].point.clone();
        // A benchmark that has no place is read from the first stand, first and last.
        if let (0, false, Some(mark)) = (idx, base_is_benchmark, unplaced.first()) {
            name = mark.clone();
            let at = self.targets[base].at;
            for row in &mut rows {
                if matches!(row.why, Why::Open | Why::Return | Why::Close) {
                    row.point = mark.clone();
                }
            }
            let first = rows.first().cloned();
            if let Some(first) = first {
                let row = StandRow {
                    point: self.targets[base].point.clone(),
                    at,
                    why: Why::Point,
                    ..first
                };
                rows.insert(1, row);
            }
        }
        let lines = self.lines(candidate, &rows);
        Stand {
            number: idx + 1,
            at: Position::mm(candidate.at.0, candidate.at.1),
            room: candidate.room.clone(),
            base_is_benchmark: base_is_benchmark || self.ask.benchmarks.contains(&name),
            base: name,
            longest: rows.iter().map(|row| row.hose).fold(Length::ZERO, Length::max),
            rows,
            lines,
        }
    }

    fn lines(&self, candidate: &Candidate, rows: &[StandRow]) -> Vec<Vec<Position>> {
        let from = self.ways.reach(&candidate.place);
        let mut drawn = BTreeSet::new();
        rows.iter()
            .filter(|row| drawn.insert(row.point.clone()))
            .filter_map(|row| self.targets.iter().find(|target| target.point == row.point))
            .filter_map(|target| {
                let length = |place: &&Place| self.ways.length(&from, place);
                target.places.iter().min_by(|a, b| length(a).total_cmp(&length(b)))
            })
            .map(|place| {
                let line = self.ways.line(&candidate.place, place);
                line.into_iter().map(|(x, y)| Position::mm(x, y)).collect()
            })
            .collect()
    }
}

/// Writes the rows of one stand.
struct RowWriter<'a> {
    planner: &'a Planner<'a>,
    candidate: &'a Candidate,
    base: usize,
    each: f64,
    watch: &'a DriftWatch,
    from: Reach,
}

impl<'a> RowWriter<'a> {
    fn new(
        planner: &'a Planner<'a>,
        candidate: &'a Candidate,
        base: usize,
        wait: Seconds,
        watch: &'a DriftWatch,
    ) -> Self {
        let from = planner.ways.reach(&candidate.place);
        Self { planner, candidate, base, each: wait.to_seconds() + HANDLING, watch, from }
    }

    /// The place of a point that this stand reads it at.
    fn place(&self, point: usize) -> &'a Place {
        let places = &self.planner.targets[point].places;
        let length = |place: &&Place| self.planner.ways.length(&self.from, place);
        let nearest = places.iter().min_by(|a, b| length(a).total_cmp(&length(b)));
        nearest.expect("a target has a place")
    }

    fn rows(&self, points: &[(usize, Why)]) -> Vec<StandRow> {
        let mut stops: Vec<usize> = vec![self.base];
        stops.extend(points.iter().map(|(point, _)| *point).filter(|&point| point != self.base));
        let places: Vec<&Place> = stops.iter().map(|&point| self.place(point)).collect();
        let reaches: Vec<Reach> =
            places.iter().map(|place| self.planner.ways.reach(place)).collect();
        let between = |a: usize, b: usize| self.planner.ways.length(&reaches[a], places[b]);
        let many = stops.len() > MANY_STOPS;
        let rough = |a: usize, b: usize| {
            let (p, q) = (places[a].at, places[b].at);
            let straight = (p.0 - q.0).hypot(p.1 - q.1);
            if many && straight > FAR_STOPS { 2.0 * straight } else { between(a, b) }
        };
        let tour = short_tour(stops.len(), &rough);
        let why_of = |point: usize| {
            points.iter().find(|(known, _)| *known == point).map_or(Why::Point, |(_, why)| *why)
        };
        let mut sheet =
            Sheet { rows: Vec::new(), seconds: 0.0, since: 0, since_seconds: 0.0, last: 0 };
        self.put(&mut sheet, &stops, &between, 0, Why::Open);
        for &stop in &tour[1..] {
            self.back_if_due(&mut sheet, &stops, &between);
            self.put(&mut sheet, &stops, &between, stop, why_of(stops[stop]));
        }
        let spots: Vec<(f64, f64)> = places[1..].iter().map(|place| place.at).collect();
        let n_repeats = (spots.len().div_ceil(REPEAT_ONE_IN)).max(2).min(spots.len());
        let mut again: Vec<usize> =
            spread_out(&spots, n_repeats).iter().map(|idx| idx + 1).collect();
        // On the way back: the furthest from the base first.
        again.sort_by(|&a, &b| between(0, b).total_cmp(&between(0, a)));
        for stop in again {
            self.back_if_due(&mut sheet, &stops, &between);
            self.put(&mut sheet, &stops, &between, stop, Why::Repeat);
        }
        if stops.len() > 1 {
            self.put(&mut sheet, &stops, &between, 0, Why::Close);
        }
        sheet.rows
    }

    fn back_if_due(
        &self,
        sheet: &mut Sheet,
        stops: &[usize],
        between: &dyn Fn(usize, usize) -> f64,
    ) {
        let soon = sheet.since_seconds + 2.0 * self.each > self.watch.minutes.to_minutes() * 60.0;
        if sheet.since >= self.watch.points || (soon && sheet.since > 0) {
            self.put(sheet, stops, between, 0, Why::Return);
        }
    }

    fn put(
        &self,
        sheet: &mut Sheet,
        stops: &[usize],
        between: &dyn Fn(usize, usize) -> f64,
        stop: usize,
        why: Why,
    ) {
        let is_first = sheet.rows.is_empty();
        let walk = if is_first { 0.0 } else { between(sheet.last, stop) };
        let walk = if walk.is_finite() { walk } else { 0.0 };
        if !is_first {
            sheet.seconds += walk / WALKING + self.each;
            sheet.since_seconds += walk / WALKING + self.each;
        }
        sheet.since += 1;
        if stop == 0 {
            (sheet.since, sheet.since_seconds) = (0, 0.0);
        }
        sheet.last = stop;
        let target = &self.planner.targets[stops[stop]];
        sheet.rows.push(StandRow {
            point: target.point.clone(),
            at: target.at,
            why,
            hose: Length::mm(self.candidate.hose[stops[stop]]),
            walk: Length::mm(walk),
            time: Minutes::new(sheet.seconds / 60.0),
        });
    }
}

/// The rows so far.
struct Sheet {
    rows: Vec<StandRow>,
    seconds: f64,
    /// Points and seconds since the base was read.
    since: usize,
    since_seconds: f64,
    last: usize,
}
