//! A frame put together a second time, straight from the rules and with no code of the program:
//! its own stations, its own sharing of loads, its own elements, a full matrix.
//!
//! It differs on purpose. A wall's end or a load is no station here: what stands between two
//! stations is brought to them by integrating the cubic shapes of the element.

use floorwright_engine::frame::{Direction, FrameSpec, Joist, Loads, Run, Wall};
use floorwright_engine::site::Support;
use std::collections::BTreeMap;

/// Slopes are held times this length, in millimetres.
const SLOPE: f64 = 600.0;

/// Places closer than this are one, in millimetres.
const ONE_PLACE: f64 = 1e-3;

/// A wall this close to a line stands on it, in millimetres.
const ON_LINE: f64 = 1.0;

/// Joists further apart than this have no floor between them, in millimetres.
const HOLE: f64 = 1500.0;

/// A wall or load this far outside the last joist stands on it, in millimetres.
const OUTSIDE: f64 = 300.0;

/// What stands on a beam: dead and live each.
#[derive(Clone, Default)]
struct Carried {
    /// From, to, load along (N/mm).
    uniform: Vec<(f64, f64, f64)>,
    /// Place, load (N).
    points: Vec<(f64, f64)>,
}

pub struct Beam {
    /// Places of its stations along it.
    pub along: Vec<f64>,
    /// Whether it bends freely at each.
    pub joint: Vec<bool>,
    bending: f64,
    carried: [Carried; 2],
    /// Height, slope, height, slope of each stretch.
    stretches: Vec<[usize; 4]>,
}

/// The frame as one full matrix. Millimetres and newtons, heights up positive.
pub struct Dense {
    pub k: Vec<Vec<f64>>,
    pub f: [Vec<f64>; 2],
    /// The unknown over each support.
    pub over: Vec<usize>,
    /// Bearers, then joists.
    pub beams: Vec<Beam>,
}

fn ends(run: &Run) -> (f64, f64) {
    (run.from.to_mm(), run.to.to_mm())
}

fn along(direction: Direction, (x, y): (f64, f64)) -> f64 {
    if direction == Direction::X { x } else { y }
}

fn across(direction: Direction, (x, y): (f64, f64)) -> f64 {
    if direction == Direction::X { y } else { x }
}

fn common(a: (f64, f64), b: (f64, f64)) -> Option<(f64, f64)> {
    let (low, high) = (a.0.max(b.0), a.1.min(b.1));
    (high > low).then_some((low, high))
}

/// Parts of a stretch outside another.
fn outside(a: (f64, f64), b: (f64, f64)) -> Vec<(f64, f64)> {
    let Some((low, high)) = common(a, b) else { return vec![a] };
    [(a.0, low), (high, a.1)].into_iter().filter(|part| part.1 > part.0).collect()
}

fn crosses(bearer: &Run, joist: &Run) -> bool {
    let inside =
        |run: &Run, at: f64| ends(run).0 - ONE_PLACE <= at && at <= ends(run).1 + ONE_PLACE;
    bearer.direction != joist.direction
        && inside(bearer, joist.at.to_mm())
        && inside(joist, bearer.at.to_mm())
}

/// The joists on either side of one at a place along it: `None` where there is no more.
fn beside(joists: &[Joist], own: &Joist, at: f64) -> [Option<f64>; 2] {
    let mut best = [None, None];
    for other in joists {
        let away = other.run.at.to_mm() - own.run.at.to_mm();
        let there = other.run.direction == own.run.direction
            && other.floor == own.floor
            && ends(&other.run).0 < at
            && at < ends(&other.run).1
            && away.abs() > ON_LINE;
        let side: &mut Option<f64> = &mut best[usize::from(away > 0.0)];
        if there && side.is_none_or(|side| away.abs() < side) {
            *side = Some(away.abs());
        }
    }
    best
}

/// The middle one of the spacings between the lines of a floor's joists, the wider of two.
fn usual_spacing(joists: &[Joist], own: &Joist) -> f64 {
    let mut lines = Vec::new();
    for joist in joists {
        if joist.run.direction == own.run.direction && joist.floor == own.floor {
            lines.push(joist.run.at.to_mm());
        }
    }
    lines.sort_by(f64::total_cmp);
    let mut spacings = Vec::new();
    for idx in 1..lines.len() {
        if lines[idx] - lines[idx - 1] > ON_LINE {
            spacings.push(lines[idx] - lines[idx - 1]);
        }
    }
    spacings.sort_by(f64::total_cmp);
    if spacings.is_empty() { 0.0 } else { spacings[spacings.len() / 2] }
}

struct Sharing<'a> {
    spec: &'a FrameSpec,
    /// Dead and live on each beam.
    carried: Vec<[Carried; 2]>,
}

impl Sharing<'_> {
    fn own_weight(&mut self) {
        let weight = |density: f64, b: f64, h: f64| density * 9.80665 * 1e-9 * b * h;
        for (idx, bearer) in self.spec.bearers.iter().enumerate() {
            let (b, h) = (bearer.section.breadth.to_mm(), bearer.section.depth.to_mm());
            let load =
                weight(bearer.timber.density.to_kg_per_m3(), b, h) + bearer.extra.to_kn_per_m();
            let (from, to) = ends(&bearer.run);
            self.carried[idx][0].uniform.push((from, to, load));
        }
        for (idx, joist) in self.spec.joists.iter().enumerate() {
            let (b, h) = (joist.section.breadth.to_mm(), joist.section.depth.to_mm());
            let load = weight(joist.timber.density.to_kg_per_m3(), b, h);
            let (from, to) = ends(&joist.run);
            self.carried[self.spec.bearers.len() + idx][0].uniform.push((from, to, load));
        }
    }

    fn floor(&mut self) {
        let joists = &self.spec.joists;
        let areas = [self.spec.floor_load.dead, self.spec.floor_load.live];
        for (idx, joist) in joists.iter().enumerate() {
            let mut cuts: Vec<f64> =
                joists.iter().flat_map(|joist| <[f64; 2]>::from(ends(&joist.run))).collect();
            cuts.sort_by(f64::total_cmp);
            for cut in cuts.windows(2) {
                let Some((from, to)) = common((cut[0], cut[1]), ends(&joist.run)) else { continue };
                let halves = beside(joists, joist, (from + to) / 2.0);
                let reach = HOLE.max(1.25 * usual_spacing(joists, joist));
                let with_floor = halves.iter().flatten().filter(|away| **away <= reach);
                let width: f64 = with_floor.map(|away| away / 2.0).sum();
                for (carried, area) in
                    self.carried[self.spec.bearers.len() + idx].iter_mut().zip(areas)
                {
                    carried.uniform.push((from, to, area.to_n_per_mm2() * width));
                }
            }
        }
    }

    fn wall(&mut self, wall: &Wall) {
        let load = wall.load.to_kn_per_m();
        let mut left = vec![ends(&wall.run)];
        let runs = self.spec.bearers.iter().map(|bearer| bearer.run);
        for (idx, run) in runs.chain(self.spec.joists.iter().map(|joist| joist.run)).enumerate() {
            let away = (run.at - wall.run.at).to_mm().abs();
            if run.direction == wall.run.direction && away <= ON_LINE {
                for part in &left {
                    let on_it = common(*part, ends(&run));
                    self.carried[idx][0].uniform.extend(on_it.map(|(from, to)| (from, to, load)));
                }
                left = left.into_iter().flat_map(|part| outside(part, ends(&run))).collect();
            }
        }
        let joists_run = self.spec.joists.first().map(|joist| joist.run.direction);
        for part in left {
            if joists_run == Some(wall.run.direction) {
                self.wall_between(part, wall.run.at.to_mm(), load);
            } else {
                self.wall_across(part, wall.run.at.to_mm(), load);
            }
        }
    }

    /// Joists in order of their line that lie under a coordinate along them.
    fn under(&self, at: f64) -> Vec<(f64, usize)> {
        let joists = self.spec.joists.iter().enumerate();
        let mut under: Vec<(f64, usize)> = joists
            .filter(|(_, joist)| ends(&joist.run).0 <= at && at <= ends(&joist.run).1)
            .map(|(idx, joist)| (joist.run.at.to_mm(), self.spec.bearers.len() + idx))
            .collect();
        under.sort_by(|a, b| a.0.total_cmp(&b.0));
        // Two pieces that end at one place are one joist there.
        under.dedup_by(|next, kept| next.0 - kept.0 <= ON_LINE);
        under
    }

    fn wall_across(&mut self, part: (f64, f64), at: f64, load: f64) {
        let under = self.under(at);
        for (place, &(line, beam)) in under.iter().enumerate() {
            let low = match place {
                0 => line - OUTSIDE,
                _ => (under[place - 1].0 + line) / 2.0,
            };
            let high = under.get(place + 1).map_or(line + OUTSIDE, |next| (next.0 + line) / 2.0);
            let over = common(part, (low, high));
            let weight = over.map_or(0.0, |(from, to)| load * (to - from));
            self.carried[beam][0].points.push((at, weight));
        }
    }

    fn wall_between(&mut self, part: (f64, f64), at: f64, load: f64) {
        let mut cuts: Vec<f64> =
            self.spec.joists.iter().flat_map(|joist| <[f64; 2]>::from(ends(&joist.run))).collect();
        cuts.sort_by(f64::total_cmp);
        for cut in cuts.windows(2) {
            let Some((from, to)) = common((cut[0], cut[1]), part) else { continue };
            for (beam, share) in self.lever((from + to) / 2.0, at) {
                self.carried[beam][0].uniform.push((from, to, load * share));
            }
        }
    }

    /// Joists beside a line and the share that each takes.
    fn lever(&self, along: f64, line: f64) -> Vec<(usize, f64)> {
        let under = self.under(along);
        let after = under.iter().position(|joist| joist.0 > line);
        match after {
            None => vec![(under[under.len() - 1].1, 1.0)],
            Some(0) => vec![(under[0].1, 1.0)],
            Some(after) => {
                let (low, high) = (under[after - 1], under[after]);
                let share = (line - low.0) / (high.0 - low.0);
                vec![(low.1, 1.0 - share), (high.1, share)]
            }
        }
    }

    fn load(&mut self, place: (f64, f64), load: f64) {
        let runs = self.spec.bearers.iter().map(|bearer| bearer.run);
        let runs = runs.chain(self.spec.joists.iter().map(|joist| joist.run));
        let on = runs.enumerate().find(|(_, run)| {
            let (from, to) = ends(run);
            let at = along(run.direction, place);
            (across(run.direction, place) - run.at.to_mm()).abs() <= ON_LINE
                && from <= at
                && at <= to
        });
        if let Some((beam, run)) = on {
            self.carried[beam][0].points.push((along(run.direction, place), load));
            return;
        }
        let direction = self.spec.joists[0].run.direction;
        let at = along(direction, place);
        for (beam, share) in self.lever(at, across(direction, place)) {
            self.carried[beam][0].points.push((at, load * share));
        }
    }
}

fn shared(spec: &FrameSpec) -> Vec<[Carried; 2]> {
    let n = spec.bearers.len() + spec.joists.len();
    let mut sharing = Sharing { spec, carried: vec![Default::default(); n] };
    sharing.own_weight();
    sharing.floor();
    for wall in &spec.walls {
        sharing.wall(wall);
    }
    for load in &spec.point_loads {
        sharing.load((load.at.x.to_mm(), load.at.y.to_mm()), load.load.to_n());
    }
    sharing.carried
}

fn stations(run: &Run, others: impl Iterator<Item = f64>) -> Vec<f64> {
    let (from, to) = ends(run);
    let mut all: Vec<f64> = others.chain([from, to]).collect();
    all.sort_by(f64::total_cmp);
    all.dedup_by(|next, kept| *next - *kept <= ONE_PLACE);
    all
}

fn nearest(along: &[f64], at: f64) -> usize {
    let away = |place: &usize| (along[*place] - at).abs();
    (0..along.len()).min_by(|a, b| away(a).total_cmp(&away(b))).unwrap()
}

/// Gives out unknowns; they are put in order of their place along the house afterwards.
#[derive(Default)]
struct Unknowns {
    places: Vec<(f64, f64)>,
}

impl Unknowns {
    fn new_one(&mut self, run: &Run, at: f64) -> usize {
        let place = run.direction.place(floorwright_engine::units::Length::mm(at), run.at);
        self.places.push((place.x.to_mm(), place.y.to_mm()));
        self.places.len() - 1
    }

    fn in_order(&self, bearers_run: Direction) -> Vec<usize> {
        let mut sorted: Vec<usize> = (0..self.places.len()).collect();
        let key = |one: usize| {
            (along(bearers_run, self.places[one]), across(bearers_run, self.places[one]))
        };
        sorted.sort_by(|&a, &b| key(a).0.total_cmp(&key(b).0).then(key(a).1.total_cmp(&key(b).1)));
        let mut new = vec![0; sorted.len()];
        for (number, one) in sorted.into_iter().enumerate() {
            new[one] = number;
        }
        new
    }
}

/// The four cubic shapes of an element of length `l` at a share `t` of it.
fn shapes(t: f64, l: f64) -> [f64; 4] {
    let s = l / SLOPE;
    [
        (1.0 - t) * (1.0 - t) * (1.0 + 2.0 * t),
        s * t * (1.0 - t) * (1.0 - t),
        t * t * (3.0 - 2.0 * t),
        s * t * t * (t - 1.0),
    ]
}

fn stiffness(bending: f64, l: f64) -> [[f64; 4]; 4] {
    let c = bending / (l * l * l);
    let s = l / SLOPE;
    let rows = [
        [12.0, 6.0, -12.0, 6.0],
        [6.0, 4.0, -6.0, 2.0],
        [-12.0, -6.0, 12.0, -6.0],
        [6.0, 2.0, -6.0, 4.0],
    ];
    let by = [1.0, s, 1.0, s];
    std::array::from_fn(|a| std::array::from_fn(|b| c * rows[a][b] * by[a] * by[b]))
}

impl Beam {
    /// Forces, up positive, that stand for what a stretch carries.
    fn forces(&self, stretch: usize, kind: usize) -> [f64; 4] {
        let (from, to) = (self.along[stretch], self.along[stretch + 1]);
        let l = to - from;
        let mut forces = [0.0; 4];
        let mut push = |at: f64, load: f64| {
            for (force, shape) in forces.iter_mut().zip(shapes((at - from) / l, l)) {
                *force -= load * shape;
            }
        };
        for &(a, b, load) in &self.carried[kind].uniform {
            let Some((low, high)) = common((a, b), (from, to)) else { continue };
            // Two points of Gauss are exact for a cubic.
            let (middle, half) = ((low + high) / 2.0, (high - low) / 2.0);
            let off = half / 3.0_f64.sqrt();
            push(middle - off, load * half);
            push(middle + off, load * half);
        }
        let last = stretch + 2 == self.along.len();
        for &(at, load) in &self.carried[kind].points {
            if from <= at && (at < to || (last && at <= to)) {
                push(at, load);
            }
        }
        forces
    }
}

impl Dense {
    pub fn new(supports: &[Support], spec: &FrameSpec) -> Self {
        let place_of: BTreeMap<&str, usize> =
            supports.iter().enumerate().map(|(idx, one)| (one.id.as_str(), idx)).collect();
        let mut carried = shared(spec).into_iter();
        let mut unknowns = Unknowns::default();
        let mut over = vec![None; supports.len()];
        let mut beams: Vec<Beam> = Vec::new();
        let mut heights: Vec<Vec<usize>> = Vec::new();
        for bearer in &spec.bearers {
            let direction = bearer.run.direction;
            let seat = |id: &floorwright_engine::ids::SupportId| {
                let at = supports[place_of[id.as_str()]].at;
                along(direction, (at.x.to_mm(), at.y.to_mm()))
            };
            let crossed = spec.joists.iter().filter(|joist| crosses(&bearer.run, &joist.run));
            let places = stations(
                &bearer.run,
                bearer.supports.iter().map(seat).chain(crossed.map(|joist| joist.run.at.to_mm())),
            );
            let mut own = vec![None; places.len()];
            for id in &bearer.supports {
                let station = nearest(&places, seat(id));
                let known: &mut Option<usize> = &mut over[place_of[id.as_str()]];
                own[station] =
                    Some(*known.get_or_insert_with(|| unknowns.new_one(&bearer.run, seat(id))));
            }
            let mut joint = vec![false; places.len()];
            for id in &bearer.joints {
                joint[nearest(&places, seat(id))] = true;
            }
            let own = own.into_iter().zip(&places);
            heights.push(
                own.map(|(own, &at)| own.unwrap_or_else(|| unknowns.new_one(&bearer.run, at)))
                    .collect(),
            );
            let (b, h) = (bearer.section.breadth.to_mm(), bearer.section.depth.to_mm());
            beams.push(Beam {
                along: places,
                joint,
                bending: bearer.timber.stiffness.to_n_per_mm2() * b * h * h * h / 12.0,
                carried: carried.next().unwrap(),
                stretches: Vec::new(),
            });
        }
        for joist in &spec.joists {
            let under: Vec<usize> = (0..spec.bearers.len())
                .filter(|&bearer| crosses(&spec.bearers[bearer].run, &joist.run))
                .collect();
            let line = |&bearer: &usize| spec.bearers[bearer].run.at.to_mm();
            let places = stations(&joist.run, under.iter().map(line));
            let mut own = vec![None; places.len()];
            let mut joint = vec![false; places.len()];
            for bearer in &under {
                let station = nearest(&places, line(bearer));
                let there = nearest(&beams[*bearer].along, joist.run.at.to_mm());
                own[station] = Some(heights[*bearer][there]);
                joint[station] = joist.joints.contains(&spec.bearers[*bearer].id);
            }
            let own = own.into_iter().zip(&places);
            heights.push(
                own.map(|(own, &at)| own.unwrap_or_else(|| unknowns.new_one(&joist.run, at)))
                    .collect(),
            );
            let (b, h) = (joist.section.breadth.to_mm(), joist.section.depth.to_mm());
            beams.push(Beam {
                along: places,
                joint,
                bending: joist.timber.stiffness.to_n_per_mm2() * b * h * h * h / 12.0,
                carried: carried.next().unwrap(),
                stretches: Vec::new(),
            });
        }
        let runs: Vec<Run> = spec
            .bearers
            .iter()
            .map(|bearer| bearer.run)
            .chain(spec.joists.iter().map(|joist| joist.run))
            .collect();
        for ((beam, heights), run) in beams.iter_mut().zip(&heights).zip(&runs) {
            let last = beam.along.len() - 1;
            let mut slope = unknowns.new_one(run, beam.along[0]);
            for stretch in 0..last {
                let end = unknowns.new_one(run, beam.along[stretch + 1]);
                beam.stretches.push([heights[stretch], slope, heights[stretch + 1], end]);
                let free = beam.joint[stretch + 1] && stretch + 1 < last;
                slope = if free { unknowns.new_one(run, beam.along[stretch + 1]) } else { end };
            }
        }
        let new = unknowns.in_order(runs[0].direction);
        for unknown in beams.iter_mut().flat_map(|beam| &mut beam.stretches).flatten() {
            *unknown = new[*unknown];
        }
        let over = over.into_iter().map(|unknown| new[unknown.unwrap()]).collect();
        let n = new.len();
        let mut dense =
            Self { k: vec![vec![0.0; n]; n], f: [vec![0.0; n], vec![0.0; n]], over, beams };
        dense.assemble();
        dense
    }

    fn assemble(&mut self) {
        for beam in &self.beams {
            for (stretch, unknowns) in beam.stretches.iter().enumerate() {
                let length = beam.along[stretch + 1] - beam.along[stretch];
                let k = stiffness(beam.bending, length);
                for (a, &row) in unknowns.iter().enumerate() {
                    for (b, &column) in unknowns.iter().enumerate() {
                        self.k[row][column] += k[a][b];
                    }
                    for kind in [0, 1] {
                        self.f[kind][row] += beam.forces(stretch, kind)[a];
                    }
                }
            }
        }
    }

    pub fn n(&self) -> usize {
        self.k.len()
    }

    pub fn forces(&self, loads: Loads) -> Vec<f64> {
        let [dead, live] = &self.f;
        dead.iter().zip(live).map(|(dead, live)| dead * loads.dead + live * loads.live).collect()
    }

    /// The whole load, down positive.
    pub fn total(&self, loads: Loads) -> f64 {
        let of = |kind: usize| -> f64 {
            let beams = self.beams.iter().map(|beam| {
                let carried = &beam.carried[kind];
                let uniform = carried.uniform.iter().map(|(from, to, load)| (to - from) * load);
                uniform.sum::<f64>() + carried.points.iter().map(|(_, load)| load).sum::<f64>()
            });
            beams.sum()
        };
        of(0) * loads.dead + of(1) * loads.live
    }

    /// Heights of every unknown with some supports held at their seats, and the smallest pivot as
    /// a share of its diagonal.
    pub fn solve(&self, held: &[bool], seats: &[f64], loads: Loads) -> (Vec<f64>, f64) {
        let n = self.n();
        let mut heights = vec![0.0; n];
        let mut is_held = vec![false; n];
        for (support, &unknown) in self.over.iter().enumerate() {
            if held[support] {
                heights[unknown] = seats[support];
                is_held[unknown] = true;
            }
        }
        let free: Vec<usize> = (0..n).filter(|&unknown| !is_held[unknown]).collect();
        let (rows, smallest) = self.factor(&free);
        let forces = self.forces(loads);
        // The second and third time for what rounding has left.
        for _ in 0..3 {
            let mut right: Vec<f64> = free
                .iter()
                .map(|&unknown| forces[unknown] - dot(&self.k[unknown], &heights))
                .collect();
            substitute(&rows, &mut right);
            for (&unknown, by) in free.iter().zip(right) {
                heights[unknown] += by;
            }
        }
        (heights, smallest)
    }

    /// Cholesky's factor of the free part: each row from its first entry to the diagonal.
    fn factor(&self, free: &[usize]) -> (Vec<(usize, Vec<f64>)>, f64) {
        let mut rows: Vec<(usize, Vec<f64>)> = Vec::with_capacity(free.len());
        let mut smallest = f64::INFINITY;
        for (i, &row) in free.iter().enumerate() {
            let first = (0..i).find(|&j| self.k[row][free[j]] != 0.0).unwrap_or(i);
            let mut own: Vec<f64> = free[first..=i].iter().map(|&j| self.k[row][j]).collect();
            for j in first..i {
                let (other_first, other) = &rows[j];
                let begin = first.max(*other_first);
                let sum = dot(
                    &own[begin - first..j - first],
                    &other[begin - other_first..j - other_first],
                );
                own[j - first] = (own[j - first] - sum) / other[j - other_first];
            }
            let diagonal = own[i - first];
            let left = diagonal - dot(&own[..i - first], &own[..i - first]);
            smallest = f64::min(smallest, left / diagonal);
            own[i - first] = left.max(diagonal * 1e-14).sqrt();
            rows.push((first, own));
        }
        (rows, smallest)
    }

    /// Forces that the supports must give for these heights.
    pub fn reactions(&self, heights: &[f64], loads: Loads) -> Vec<f64> {
        let forces = self.forces(loads);
        let over = self.over.iter();
        over.map(|&unknown| dot(&self.k[unknown], heights) - forces[unknown]).collect()
    }

    /// The moment of a beam at one of its stations, sagging positive.
    pub fn moment(&self, beam: usize, station: usize, heights: &[f64], loads: Loads) -> f64 {
        let beam = &self.beams[beam];
        let last = beam.along.len() - 1;
        // At the beginning of a stretch, or at the end of the last.
        let (stretch, row, sign) =
            if station < last { (station, 1, -1.0) } else { (last - 1, 3, 1.0) };
        let k = stiffness(beam.bending, beam.along[stretch + 1] - beam.along[stretch]);
        let by_shape: f64 =
            (0..4).map(|column| k[row][column] * heights[beam.stretches[stretch][column]]).sum();
        let [dead, live] = [0, 1].map(|kind| beam.forces(stretch, kind)[row]);
        sign * (by_shape - dead * loads.dead - live * loads.live) * SLOPE
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

fn substitute(rows: &[(usize, Vec<f64>)], right: &mut [f64]) {
    for (i, (first, row)) in rows.iter().enumerate() {
        let own = i - first;
        right[i] = (right[i] - dot(&row[..own], &right[*first..i])) / row[own];
    }
    for (i, (first, row)) in rows.iter().enumerate().rev() {
        let own = i - first;
        right[i] /= row[own];
        let value = right[i];
        for (right, entry) in right[*first..i].iter_mut().zip(row) {
            *right -= entry * value;
        }
    }
}
