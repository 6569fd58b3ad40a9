//! Where the floor lies: the rooms of each deck as one, thin walls between them included.

use super::stretch::{Stretch, common, merged};
use crate::frame::spec::Direction;
use crate::ids::RoomId;
use crate::site::{Outline, Position, Room, Site};
use crate::units::{LENGTH_EPS, Length};
use std::collections::BTreeMap;

/// Rooms drawn to the faces of their walls leave gaps; up to this they are one floor. A wall of
/// two leaves of brick is thinner.
pub(super) const WALL: Length = Length::mm(300.0);

/// Far enough beside a line not to run along a side that lies on it.
const HAIR: Length = Length::mm(0.5);

/// A side counts as along x or y if its ends are no further out than this.
const SQUARE: Length = Length::mm(1.0);

/// A room's outline with its corners' least and greatest coordinates.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shape<'a> {
    pub room: &'a RoomId,
    pub outline: &'a Outline,
    pub low: Position,
    pub high: Position,
}

/// A side of a room along x or along y.
#[derive(Clone, Copy, Debug)]
pub(super) struct Side {
    pub direction: Direction,
    pub at: Length,
    pub along: Stretch,
    /// The room lies below the side, so that outside is above it.
    pub faces_up: bool,
    /// Whose side it is, by the index among the shapes it was taken from.
    pub shape: usize,
}

impl<'a> Shape<'a> {
    pub fn new(room: &'a Room) -> Self {
        let outline = &room.outline;
        let first = outline.corners()[0];
        let (mut low, mut high) = (first, first);
        for corner in outline.corners() {
            low = Position { x: low.x.min(corner.x), y: low.y.min(corner.y) };
            high = Position { x: high.x.max(corner.x), y: high.y.max(corner.y) };
        }
        Self { room: &room.id, outline, low, high }
    }

    /// Where a line runs inside, exactly.
    fn line(&self, direction: Direction, at: Length, found: &mut Vec<Stretch>) {
        if at < direction.across(self.low) || at > direction.across(self.high) {
            return;
        }
        let mut crossings: Vec<Length> = (self.outline.sides())
            .filter_map(|(a, b)| {
                let (across_a, across_b) = (direction.across(a), direction.across(b));
                let share = (at - across_a) / (across_b - across_a);
                let (along_a, along_b) = (direction.along(a), direction.along(b));
                ((across_a > at) != (across_b > at)).then(|| along_a + (along_b - along_a) * share)
            })
            .collect();
        crossings.sort_by(Length::total_cmp);
        found.extend(crossings.chunks_exact(2).map(|ends| Stretch { from: ends[0], to: ends[1] }));
    }

    /// Whether a place is inside or within `margin` of the outline.
    pub fn contains(&self, place: Position, margin: Length) -> bool {
        self.box_meets(place, place, margin) && self.outline.contains(place, margin)
    }

    fn box_meets(&self, low: Position, high: Position, margin: Length) -> bool {
        low.x <= self.high.x + margin
            && high.x >= self.low.x - margin
            && low.y <= self.high.y + margin
            && high.y >= self.low.y - margin
    }

    /// Whether two rooms lie within the thickness of a wall of one another.
    pub fn is_beside(&self, other: &Self) -> bool {
        self.box_meets(other.low, other.high, WALL)
            && (self.is_near_corner_of(other) || other.is_near_corner_of(self))
    }

    fn is_near_corner_of(&self, other: &Self) -> bool {
        other.outline.corners().iter().any(|&corner| self.contains(corner, WALL))
    }
}

/// The sides of rooms along x and y, and the lengths of those that are neither.
pub(super) fn sides(shapes: &[Shape]) -> (Vec<Side>, Vec<Length>) {
    let (mut square, mut slanted) = (Vec::new(), Vec::new());
    for (shape_idx, shape) in shapes.iter().enumerate() {
        for (a, b) in shape.outline.sides() {
            match side(shape, shape_idx, a, b) {
                Some(side) => square.push(side),
                None => slanted.push(a.distance(b)),
            }
        }
    }
    (square, slanted)
}

fn side(shape: &Shape, shape_idx: usize, a: Position, b: Position) -> Option<Side> {
    let direction = [Direction::X, Direction::Y]
        .into_iter()
        .find(|d| (d.across(a) - d.across(b)).abs() <= SQUARE)?;
    let (along_a, along_b) = (direction.along(a), direction.along(b));
    let along = Stretch { from: along_a.min(along_b), to: along_a.max(along_b) };
    let at = (direction.across(a) + direction.across(b)) / 2.0;
    let middle = (along.from + along.to) / 2.0;
    let mut below = Vec::new();
    shape.line(direction, at - SQUARE - HAIR, &mut below);
    let faces_up = below.iter().any(|stretch| stretch.holds(middle, Length::ZERO));
    Some(Side { direction, at, along, faces_up, shape: shape_idx })
}

/// One continuous floor: rooms of one deck that lie together, or whatever lies beside all rooms.
#[derive(Clone, Debug)]
pub(super) struct Region<'a> {
    /// The deck; a second part of the same deck that lies apart has a number behind it.
    pub name: String,
    pub shapes: Vec<Shape<'a>>,
    /// Everything but the shapes, rather than the shapes.
    pub is_outside: bool,
}

impl<'a> Region<'a> {
    /// Where a line runs over the floor, walls between its rooms included. A line along an edge
    /// of the floor runs over it.
    pub fn stretches(&self, direction: Direction, at: Length) -> Vec<Stretch> {
        if !self.is_outside {
            return self.rooms_at(direction, at, [at - HAIR, at + HAIR]);
        }
        let sides = [at - HAIR, at + HAIR];
        let both = sides.map(|at| self.rooms_at(direction, at, [at, at]));
        let endless = Length::mm(f64::INFINITY);
        let mut from = -endless;
        let mut beside = Vec::new();
        for room in common(&both[0], &both[1]) {
            beside.push(Stretch { from, to: room.from });
            from = room.to;
        }
        beside.push(Stretch { from, to: endless });
        beside.retain(|stretch| stretch.length() > LENGTH_EPS);
        beside
    }

    fn rooms_at(&self, direction: Direction, at: Length, lines: [Length; 2]) -> Vec<Stretch> {
        let mut found = Vec::new();
        for line in lines {
            self.line(direction, line, &mut found);
        }
        // Inside a wall that runs along the line there is a room on either side of it.
        for step in 1..6 {
            let below = WALL * (f64::from(step) / 6.0);
            let (mut low, mut high) = (Vec::new(), Vec::new());
            self.line(direction, at - below, &mut low);
            self.line(direction, at + (WALL - below), &mut high);
            found.extend(common(&low, &high));
        }
        merged(found, WALL)
    }

    fn line(&self, direction: Direction, at: Length, found: &mut Vec<Stretch>) {
        for shape in &self.shapes {
            shape.line(direction, at, found);
        }
    }

    /// Where a band of `by` on either side of a line meets the rooms.
    pub fn widened(&self, direction: Direction, at: Length, by: Length) -> Vec<Stretch> {
        let mut found = Vec::new();
        for beside in [by * -1.0, by * -0.5, -HAIR, HAIR, by * 0.5, by] {
            self.line(direction, at + beside, &mut found);
        }
        merged(found, WALL)
    }

    /// The parts of the floor's edge that run along a direction.
    pub fn edges(&self, direction: Direction) -> Vec<Side> {
        let (sides, _) = sides(&self.shapes);
        let along = sides.into_iter().filter(|side| side.direction == direction);
        let mut edges = Vec::new();
        for side in along {
            let outward = if side.faces_up { WALL } else { -WALL };
            let mut beyond = Vec::new();
            for share in [0.01, 0.25, 0.5, 0.75, 1.0] {
                self.line(direction, side.at + outward * share, &mut beyond);
            }
            let open = super::stretch::without(side.along, &merged(beyond, LENGTH_EPS));
            edges.extend(open.into_iter().map(|along| Side { along, ..side }));
        }
        edges
    }
}

/// All floors of a site.
pub(super) struct Floor<'a> {
    /// The decks in the order of the rooms, then what lies beside all rooms if supports stand
    /// there or there are no rooms.
    pub regions: Vec<Region<'a>>,
    /// All rooms as one floor.
    pub whole: Region<'a>,
    /// Which floor and supports hang together: a number for each support.
    pub part_of_support: Vec<usize>,
    /// Whether each support stands in or at a room.
    pub is_in_room: Vec<bool>,
}

impl<'a> Floor<'a> {
    /// Rooms and supports brought together. Supports hang together if they stand within `reach`
    /// of one another along both x and y, or in rooms that do. A support within `beside` of a
    /// room counts as in it.
    pub fn new(site: &'a Site, reach: Length, beside: Length) -> Self {
        let shapes: Vec<Shape> = site.rooms().iter().map(Shape::new).collect();
        let n_supports = site.supports().len();
        let mut groups = Groups::new(n_supports + shapes.len());
        let mut is_in_room = vec![false; n_supports];
        for (support_idx, support) in site.supports().iter().enumerate() {
            for (room, shape) in shapes.iter().enumerate() {
                if shape.contains(support.at, beside) {
                    is_in_room[support_idx] = true;
                    groups.join(support_idx, n_supports + room);
                }
            }
        }
        join_neighbours(site, reach, &mut groups);
        let mut regions = regions(site.rooms(), &shapes, n_supports, &mut groups);
        if is_in_room.iter().any(|inside| !inside) {
            let name = if shapes.is_empty() { "main" } else { "beside the rooms" };
            let name = unused(name, |name| regions.iter().any(|region| region.name == name));
            regions.push(Region { name, shapes: shapes.clone(), is_outside: true });
        }
        let whole = Region { name: String::new(), shapes, is_outside: false };
        let part_of_support = (0..n_supports).map(|support| groups.root(support)).collect();
        Self { regions, whole, part_of_support, is_in_room }
    }
}

/// The first of a name, the name with 2, the name with 3 and so on that is not used.
fn unused(name: &str, is_used: impl Fn(&str) -> bool) -> String {
    let mut names =
        std::iter::once(name.to_owned()).chain((2..).map(|n: usize| format!("{name} {n}")));
    names.find(|name| !is_used(name)).expect("there are more numbers than names")
}

fn regions<'a>(
    rooms: &[Room],
    shapes: &[Shape<'a>],
    n_supports: usize,
    groups: &mut Groups,
) -> Vec<Region<'a>> {
    let mut of_deck = Groups::new(rooms.len());
    for a in 0..rooms.len() {
        for b in a + 1..rooms.len() {
            if shapes[a].is_beside(&shapes[b]) {
                groups.join(n_supports + a, n_supports + b);
                if rooms[a].deck == rooms[b].deck {
                    of_deck.join(a, b);
                }
            }
        }
    }
    let mut found: Vec<(usize, Region)> = Vec::new();
    for (room_idx, (room, shape)) in rooms.iter().zip(shapes).enumerate() {
        let root = of_deck.root(room_idx);
        if let Some((_, region)) = found.iter_mut().find(|(of, _)| *of == root) {
            region.shapes.push(*shape);
            continue;
        }
        let name = unused(&room.deck, |name| found.iter().any(|(_, region)| region.name == name));
        found.push((root, Region { name, shapes: vec![*shape], is_outside: false }));
    }
    found.into_iter().map(|(_, region)| region).collect()
}

/// Joins supports within reach of one another, by way of a grid of cells as wide as the reach.
fn join_neighbours(site: &Site, reach: Length, groups: &mut Groups) {
    let cell = |at: Length| (at / reach).floor() as i64;
    let mut cells: BTreeMap<(i64, i64), Vec<usize>> = BTreeMap::new();
    for (support_idx, support) in site.supports().iter().enumerate() {
        cells.entry((cell(support.at.x), cell(support.at.y))).or_default().push(support_idx);
    }
    let at = |support: usize| site.supports()[support].at;
    let is_near = |a: usize, b: usize| {
        let (a, b) = (at(a), at(b));
        (a.x - b.x).abs() <= reach && (a.y - b.y).abs() <= reach
    };
    for (&(column, row), members) in &cells {
        for pair in members.windows(2) {
            groups.join(pair[0], pair[1]);
        }
        let ahead = [(1, -1), (1, 0), (1, 1), (0, 1)];
        for (right, up) in ahead {
            let place = (column.saturating_add(right), row.saturating_add(up));
            let others = cells.get(&place).map_or(&[][..], Vec::as_slice);
            let meeting = members
                .iter()
                .find_map(|&a| others.iter().find(|&&b| is_near(a, b)).map(|&b| (a, b)));
            if let Some((a, b)) = meeting {
                groups.join(a, b);
            }
        }
    }
}

/// Things that hang together, each group known by its lowest member.
pub(super) struct Groups(Vec<usize>);

impl Groups {
    pub fn new(n: usize) -> Self {
        Self((0..n).collect())
    }

    pub fn root(&mut self, of: usize) -> usize {
        let mut root = of;
        while self.0[root] != root {
            self.0[root] = self.0[self.0[root]];
            root = self.0[root];
        }
        root
    }

    pub fn join(&mut self, a: usize, b: usize) {
        let (a, b) = (self.root(a), self.root(b));
        self.0[a.max(b)] = a.min(b);
    }
}
