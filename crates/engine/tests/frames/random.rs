//! Random frames, the same ones on every run.

use super::{Case, run, section, spec, support, timber};
use floorwright_engine::frame::{Bearer, Direction, FrameSpec, Joist, Loads, PointLoad, Wall};
use floorwright_engine::ids::{BearerId, JoistId, SupportId};
use floorwright_engine::site::Support;
use floorwright_engine::units::{AreaLoad, Force, Length, LineLoad};

/// Numbers that look random and are the same on every run (SplitMix64).
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x2545_F491_4F6C_DD1D))
    }

    /// From 0 to 1.
    pub fn share(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.share()
    }

    pub fn whole(&mut self, low: usize, high: usize) -> usize {
        low + (self.share() * (high + 1 - low) as f64) as usize
    }

    pub fn chance(&mut self, share: f64) -> bool {
        self.share() < share
    }

    /// A place on a grid, so that two places are one or well apart.
    pub fn place(&mut self, low: f64, high: f64) -> f64 {
        on_grid(self.between(low, high)).clamp(low, high)
    }

    pub fn loads(&mut self) -> Loads {
        match self.whole(0, 2) {
            0 => Loads::DEAD,
            1 => Loads::IN_USE,
            _ => Loads { dead: self.between(0.7, 1.3), live: self.between(0.0, 1.0) },
        }
    }

    /// An order of `n` things.
    pub fn order(&mut self, n: usize) -> Vec<usize> {
        let mut order: Vec<usize> = (0..n).collect();
        for last in (1..n).rev() {
            order.swap(last, self.whole(0, last));
        }
        order
    }
}

/// Two places are one or this far apart, in millimetres: beside shorter stretches rounding is felt
/// in the last digits that the tests look at.
const GRID: f64 = 50.0;

fn on_grid(value: f64) -> f64 {
    (value / GRID).round() * GRID
}

/// How large a random frame may be.
#[derive(Clone, Copy)]
pub struct Size {
    pub bearers: (usize, usize),
    pub supports: (usize, usize),
    pub joist_spacing: (f64, f64),
    /// Seats are uneven by something between these, in millimetres.
    pub rough: (f64, f64),
}

impl Size {
    /// Of the size of houses.
    pub const HOUSE: Self = Self {
        bearers: (2, 6),
        supports: (2, 8),
        joist_spacing: (300.0, 700.0),
        rough: (5.0, 200.0),
    };

    /// A room or two.
    pub const SMALL: Self = Self {
        bearers: (1, 3),
        supports: (2, 4),
        joist_spacing: (550.0, 900.0),
        rough: (1.0, 60.0),
    };
}

/// A random frame with its seats: bearers along x or along y, joists across them, some in two
/// pieces or over some of the bearers only, bearers in two pieces, cantilevers, joints, walls and
/// loads of every kind.
pub fn frame(dice: &mut Dice, size: Size) -> Case {
    let direction = if dice.chance(0.5) { Direction::X } else { Direction::Y };
    let n_bearers = dice.whole(size.bearers.0, size.bearers.1);
    let n_supports = dice.whole(size.supports.0, size.supports.1);
    let length = on_grid(dice.between(1200.0, 2200.0)) * (n_supports - 1) as f64;
    let mut layout = Layout {
        direction,
        length,
        lines: vec![dice.place(-3000.0, 3000.0)],
        supports: Vec::new(),
        bearers: Vec::new(),
        joists: Vec::new(),
        begin: dice.place(-5000.0, 5000.0),
        ragged: n_bearers == 1 || dice.chance(0.3),
    };
    for _ in 1..n_bearers {
        let next = layout.lines[layout.lines.len() - 1] + on_grid(dice.between(1200.0, 2400.0));
        layout.lines.push(next);
    }
    for line in 0..n_bearers {
        let near = dice.whole(n_supports.max(size.supports.0 + 1) - 1, n_supports + 1);
        layout.bearer(dice, line, near.clamp(size.supports.0, size.supports.1));
    }
    if n_bearers > 1 {
        let spacing = on_grid(dice.between(size.joist_spacing.0, size.joist_spacing.1));
        layout.joists(dice, spacing);
    }
    layout.finish(dice, size)
}

struct Layout {
    direction: Direction,
    /// Lines of the bearers.
    lines: Vec<f64>,
    /// The bearers begin here and are so long, cantilevers apart.
    begin: f64,
    length: f64,
    supports: Vec<Support>,
    bearers: Vec<Bearer>,
    joists: Vec<Joist>,
    /// Some joists reach over some of the bearers only, or there are none; loads stand on bearers
    /// alone then.
    ragged: bool,
}

impl Layout {
    fn bearer(&mut self, dice: &mut Dice, line: usize, n: usize) {
        let at = self.lines[line];
        let step = self.length / (n - 1) as f64;
        let mut ids = Vec::new();
        for place in 0..n {
            let inner = place > 0 && place + 1 < n;
            let shift = if inner { dice.between(-0.3, 0.3) * step } else { 0.0 };
            let along = on_grid(self.begin + place as f64 * step + shift);
            let beside = if dice.chance(0.1) { dice.between(-100.0, 100.0) } else { 0.0 };
            let (x, y) = self.on_plan(along, at + beside);
            let id = format!("S{}-{}", line + 1, place + 1);
            ids.push(SupportId::new(id.clone()));
            self.supports.push(support(&id, x, y));
        }
        let end = on_grid(self.begin + self.length);
        let (before, after) = (dice.place(0.0, 400.0), dice.place(0.0, 400.0));
        let joints = match n > 2 && dice.chance(0.3) {
            true => vec![ids[dice.whole(1, n - 2)].clone()],
            false => Vec::new(),
        };
        self.bearers.push(Bearer {
            id: BearerId::new(format!("B{}", line + 1)),
            run: run(self.direction, at, on_grid(self.begin) - before, end + after),
            supports: ids,
            joints,
            section: section(dice.between(70.0, 110.0), dice.between(95.0, 160.0)),
            timber: timber(dice.between(5000.0, 14000.0), dice.between(400.0, 900.0)),
            extra: LineLoad::kn_per_m(if dice.chance(0.3) { dice.between(0.0, 2.0) } else { 0.0 }),
        });
    }

    fn on_plan(&self, along: f64, across: f64) -> (f64, f64) {
        match self.direction {
            Direction::X => (along, across),
            Direction::Y => (across, along),
        }
    }

    fn joists(&mut self, dice: &mut Dice, spacing: f64) {
        let last = self.lines.len() - 1;
        let (from, to) =
            (self.lines[0] - dice.place(0.0, 400.0), self.lines[last] + dice.place(0.0, 400.0));
        let (depth, stiffness) = (dice.between(90.0, 145.0), dice.between(5000.0, 14000.0));
        let mut at = on_grid(self.begin);
        while at <= on_grid(self.begin + self.length) {
            let (mut first, mut end) = (0, last);
            if self.ragged && last >= 2 && dice.chance(0.3) {
                (first, end) = if dice.chance(0.5) { (1, last) } else { (0, last - 1) };
            }
            let from = if first == 0 { from } else { self.lines[first] };
            let to = if end == last { to } else { self.lines[end] };
            // In two pieces, both on the bearer between them.
            let split = (end - first >= 2 && dice.chance(0.2)).then(|| self.lines[first + 1]);
            match split.filter(|split| first + 1 < end && *split - from > 0.0) {
                Some(split) => {
                    self.joist(dice, at, (from, split), depth, stiffness);
                    self.joist(dice, at, (split, to), depth, stiffness);
                }
                None => self.joist(dice, at, (from, to), depth, stiffness),
            }
            at += spacing;
        }
    }

    fn joist(&mut self, dice: &mut Dice, at: f64, ends: (f64, f64), depth: f64, stiffness: f64) {
        let inner: Vec<usize> = (0..self.lines.len())
            .filter(|&line| {
                let inside = |line: f64| ends.0 <= line && line <= ends.1;
                inside(self.lines[line])
                    && line > 0
                    && line + 1 < self.lines.len()
                    && inside(self.lines[line - 1])
                    && inside(self.lines[line + 1])
            })
            .collect();
        let joints = match !inner.is_empty() && dice.chance(0.1) {
            true => vec![self.bearers[inner[dice.whole(0, inner.len() - 1)]].id.clone()],
            false => Vec::new(),
        };
        self.joists.push(Joist {
            id: JoistId::new(format!("J{}", self.joists.len() + 1)),
            run: run(self.direction.turned(), at, ends.0, ends.1),
            joints,
            section: section(45.0, depth),
            timber: timber(stiffness, 550.0),
            floor: "main".to_owned(),
        });
    }

    fn finish(self, dice: &mut Dice, size: Size) -> Case {
        let walls = (0..dice.whole(0, 3)).map(|number| self.wall(dice, number)).collect();
        let loads = (0..dice.whole(0, 2)).map(|number| self.load(dice, number)).collect();
        let rough = dice.between(size.rough.0, size.rough.1);
        let seats = self.supports.iter().map(|_| dice.between(0.0, rough)).collect();
        let mut spec = spec(self.bearers, self.joists, dice.between(0.2, 0.9));
        if dice.chance(0.3) {
            in_two_pieces(dice, &mut spec, &self.supports);
        }
        spec.floor_load.live = AreaLoad::kpa(dice.between(1.0, 2.5));
        spec.walls = walls;
        spec.point_loads = loads;
        Case { supports: self.supports, spec, seats, survey: Vec::new() }
    }

    /// The lines of the first and last joist, and how far all of them reach.
    fn joisted(&self) -> ((f64, f64), (f64, f64)) {
        let lines = self.joists.iter().map(|joist| joist.run.at.to_mm());
        let (low, high) =
            lines.fold((f64::MAX, f64::MIN), |(low, high), at| (low.min(at), high.max(at)));
        let from = self.joists.iter().map(|joist| joist.run.from.to_mm()).fold(f64::MAX, f64::min);
        let to = self.joists.iter().map(|joist| joist.run.to.to_mm()).fold(f64::MIN, f64::max);
        ((low, high), (from, to))
    }

    /// Where loads may stand along a bearer. With no joists across it they would tip it over if
    /// they stood past its last support.
    fn loaded(&self, bearer: usize) -> (f64, f64) {
        let run = &self.bearers[bearer].run;
        match self.bearers.len() {
            1 => (self.begin, self.begin + self.length),
            _ => (run.from.to_mm(), run.to.to_mm()),
        }
    }

    fn wall(&self, dice: &mut Dice, number: usize) -> Wall {
        let ((first, last), (low, high)) = self.joisted();
        let kind = if self.ragged { 0 } else { dice.whole(0, 3) };
        let (direction, at, within) = match kind {
            0 => {
                let bearer = dice.whole(0, self.bearers.len() - 1);
                let off = dice.between(-0.9, 0.9);
                let at = self.bearers[bearer].run.at.to_mm() + off;
                (self.direction, at, self.loaded(bearer))
            }
            // Across the joists, on past the last of them by less than a wall is thick.
            1 => (self.direction, dice.place(low, high), (first - 100.0, last + 100.0)),
            2 => {
                let joist = &self.joists[dice.whole(0, self.joists.len() - 1)].run;
                let off = dice.between(-0.9, 0.9);
                (self.direction.turned(), joist.at.to_mm() + off, (low, high))
            }
            _ => (self.direction.turned(), dice.place(first - 100.0, last + 100.0), (low, high)),
        };
        let from = dice.place(within.0, within.1 - 200.0);
        let to = dice.place(from + 100.0, within.1);
        Wall {
            name: format!("W{number}"),
            run: run(direction, at, from, to),
            load: LineLoad::kn_per_m(dice.between(0.5, 6.0)),
            source: "invented".to_owned(),
        }
    }

    fn load(&self, dice: &mut Dice, number: usize) -> PointLoad {
        let ((first, last), (low, high)) = self.joisted();
        let kind = if self.ragged { 0 } else { dice.whole(0, 2) };
        let (along, across) = match kind {
            0 => {
                let bearer = dice.whole(0, self.bearers.len() - 1);
                let (from, to) = self.loaded(bearer);
                (dice.place(from, to), self.bearers[bearer].run.at.to_mm())
            }
            1 => {
                let joist = &self.joists[dice.whole(0, self.joists.len() - 1)].run;
                (joist.at.to_mm(), dice.place(joist.from.to_mm(), joist.to.to_mm()))
            }
            _ => (dice.place(first, last), dice.place(low, high)),
        };
        let at = self.direction.place(Length::mm(along), Length::mm(across));
        PointLoad {
            name: format!("L{number}"),
            at,
            load: Force::n(dice.between(200.0, 6000.0)),
            source: "invented".to_owned(),
        }
    }
}

/// Makes two bearers of one, end to end on a support that both rest on.
fn in_two_pieces(dice: &mut Dice, spec: &mut FrameSpec, supports: &[Support]) {
    let idx = dice.whole(0, spec.bearers.len() - 1);
    let whole = spec.bearers[idx].clone();
    let n = whole.supports.len();
    if n < 4 {
        return;
    }
    let shared = dice.whole(1, n - 2);
    let on = supports.iter().find(|support| support.id == whole.supports[shared]).unwrap();
    let cut = whole.run.direction.along(on.at);
    let id = BearerId::new(format!("{}b", whole.id));
    for joist in spec.joists.iter_mut().filter(|joist| joist.run.at > cut) {
        let own = joist.joints.iter_mut().filter(|joint| **joint == whole.id);
        own.for_each(|joint| *joint = id.clone());
    }
    let (mut first, mut second) = (whole.clone(), Bearer { id, ..whole });
    first.run.to = cut;
    second.run.from = cut;
    first.supports.truncate(shared + 1);
    second.supports.drain(..shared);
    for piece in [&mut first, &mut second] {
        piece.joints.retain(|joint| piece.supports.contains(joint) && *joint != on.id);
    }
    spec.bearers[idx] = first;
    spec.bearers.push(second);
}
