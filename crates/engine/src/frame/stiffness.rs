//! The stiffness of the whole frame: elements between stations, put together and factored.

use super::faults::FrameFault;
use super::sharing::{Shared, Shares};
use super::skyline::{Factor, Skyline};
use super::stations::{Member, Members};

/// Slopes are held times this, in millimetres, so that they are of the size of the heights
/// beside them; the matrix would be thousands of times worse in radians.
pub(super) const SLOPE_SCALE: f64 = 1000.0;

/// A pivot smaller than this share of its diagonal is rounding, not stiffness. Beside a stretch of
/// a millimetre the stiffness of a long span is not much more.
const VANISHED: f64 = 1e-13;

/// More entries than this do not fit a phone or a laptop: 1.6 GB of numbers.
const MOST_ENTRIES: usize = 200_000_000;

/// A stretch of a member between two stations.
#[derive(Clone, Debug)]
pub(super) struct Element {
    pub member: usize,
    /// The station that it begins at.
    pub station: usize,
    /// Height and slope at its beginning, height and slope at its end.
    pub unknowns: [usize; 4],
    pub length: f64,
    /// Bending stiffness, N mm2.
    pub stiffness: f64,
    /// Uniform dead and live load, N/mm.
    pub load: [f64; 2],
}

/// A sum of unknowns, each times a number.
pub(super) type Sum = Vec<(usize, f64)>;

impl Element {
    /// Its stiffness between its unknowns.
    pub fn matrix(&self) -> [[f64; 4]; 4] {
        let (l, k) = (self.length, self.stiffness / self.length.powi(3));
        let s = l / SLOPE_SCALE;
        [
            [12.0 * k, 6.0 * s * k, -12.0 * k, 6.0 * s * k],
            [6.0 * s * k, 4.0 * s * s * k, -6.0 * s * k, 2.0 * s * s * k],
            [-12.0 * k, -6.0 * s * k, 12.0 * k, -6.0 * s * k],
            [6.0 * s * k, 2.0 * s * s * k, -6.0 * s * k, 4.0 * s * s * k],
        ]
    }

    /// The forces at its unknowns that stand for a uniform load, positive up.
    fn forces(&self, load: f64) -> [f64; 4] {
        let (half, turn) =
            (load * self.length / 2.0, load * self.length * self.length / 12.0 / SLOPE_SCALE);
        [-half, -turn, -half, turn]
    }

    /// The bending moment at its beginning but for the part of its own load, which is
    /// [`Self::load_moment`].
    pub fn moment_at_begin(&self) -> Sum {
        let terms = self.unknowns.iter().zip(self.matrix()[1]);
        terms.map(|(&unknown, k)| (unknown, -k * SLOPE_SCALE)).collect()
    }

    /// What a uniform load on it adds to the moment at either end, both ends held.
    pub fn load_moment(&self, load: f64) -> f64 {
        -load * self.length * self.length / 12.0
    }

    /// The height at a share (0 to 1) of its length.
    pub fn height(&self, share: f64) -> Sum {
        let (t, l) = (share, self.length / SLOPE_SCALE);
        let (t2, t3) = (t * t, t * t * t);
        let shape = [
            1.0 - 3.0 * t2 + 2.0 * t3,
            l * (t - 2.0 * t2 + t3),
            3.0 * t2 - 2.0 * t3,
            l * (t3 - t2),
        ];
        self.unknowns.into_iter().zip(shape).filter(|term| term.1 != 0.0).collect()
    }

    /// The slope at an end (a ratio): 0 for its beginning, 1 for its end.
    pub fn slope(&self, end: usize) -> Sum {
        vec![(self.unknowns[2 * end + 1], 1.0 / SLOPE_SCALE)]
    }
}

/// The frame's stiffness. Unknowns up to `n_free` are free, those after them are the heights
/// over the supports, in the order of `order`.
#[derive(Clone, Debug)]
pub(super) struct Stiffness {
    pub n_free: usize,
    /// Where each free unknown is, x and y.
    pub at: Vec<[f64; 2]>,
    pub elements: Vec<Element>,
    /// First element of each member, and one past the last.
    pub elements_of: Vec<usize>,
    /// The supports in the order that the unknowns run in: by place along the house.
    pub order: Vec<usize>,
    /// Factor of the free part, all supports held.
    pub factor: Factor,
    /// For each support, in that order: free unknowns beside it and the stiffness between.
    pub beside: Vec<Sum>,
    /// For each support, in that order: supports with the stiffness between, itself included.
    pub between: Vec<Sum>,
    /// Dead and live forces at every unknown, supports after the free ones.
    pub forces: [Vec<f64>; 2],
}

/// An unknown before they are put in order.
#[derive(Clone, Copy)]
struct Unknown {
    x: f64,
    y: f64,
    support: Option<usize>,
    /// The member that it belongs to, or one of those that share it.
    member: usize,
}

/// Elements with their unknowns as they come.
struct Rough {
    unknowns: Vec<Unknown>,
    elements: Vec<Element>,
    elements_of: Vec<usize>,
    /// Point loads, dead and live: unknown and load.
    points: [Vec<(usize, f64)>; 2],
}

/// Puts the frame together and factors it.
///
/// # Errors
/// [`FrameFault::Loose`] for each timber that nothing holds, [`FrameFault::TooLarge`].
pub(super) fn assemble(members: &Members, shared: &Shared) -> Result<Stiffness, Vec<FrameFault>> {
    let mut rough = rough(members, shared);
    let new = order(&rough);
    let n_free = rough.unknowns.iter().filter(|unknown| unknown.support.is_none()).count();
    for unknown in rough.elements.iter_mut().flat_map(|element| &mut element.unknowns) {
        *unknown = new[*unknown];
    }
    let mut order = vec![0; rough.unknowns.len() - n_free];
    let mut member_of = vec![0; n_free];
    let mut at = vec![[0.0; 2]; n_free];
    for (old, unknown) in rough.unknowns.iter().enumerate() {
        match unknown.support {
            Some(support) => order[new[old] - n_free] = support,
            None => {
                member_of[new[old]] = unknown.member;
                at[new[old]] = [unknown.x, unknown.y];
            }
        }
    }
    let first = first_columns(&rough.elements, n_free);
    if Skyline::size(&first) > MOST_ENTRIES {
        let band = first.iter().enumerate().map(|(row, first)| row - first).max().unwrap_or(0);
        return Err(vec![FrameFault::TooLarge { unknowns: n_free, band }]);
    }
    let mut matrix = Skyline::new(first);
    let mut beside = vec![Sum::new(); order.len()];
    let mut between = vec![Sum::new(); order.len()];
    let mut forces = [vec![0.0; rough.unknowns.len()], vec![0.0; rough.unknowns.len()]];
    for element in &rough.elements {
        let k = element.matrix();
        for (row, &a) in element.unknowns.iter().enumerate() {
            for (forces, load) in forces.iter_mut().zip(element.load) {
                forces[a] += element.forces(load)[row];
            }
            for (column, &b) in element.unknowns.iter().enumerate() {
                match (a.checked_sub(n_free), b.checked_sub(n_free)) {
                    (None, None) if a >= b => matrix.add(a, b, k[row][column]),
                    (Some(a), None) => add(&mut beside[a], b, k[row][column]),
                    (Some(a), Some(b)) => add(&mut between[a], b, k[row][column]),
                    _ => {}
                }
            }
        }
    }
    for (forces, points) in forces.iter_mut().zip(&rough.points) {
        for &(unknown, load) in points {
            forces[new[unknown]] -= load;
        }
    }
    let factor = matrix.factor(VANISHED, 0.0);
    let mut loose: Vec<usize> = factor.loose.iter().map(|&row| member_of[row]).collect();
    loose.sort_unstable();
    loose.dedup();
    if !loose.is_empty() {
        let name = |&member: &usize| FrameFault::Loose(members.members[member].name.clone());
        return Err(loose.iter().map(name).collect());
    }
    Ok(Stiffness {
        n_free,
        at,
        elements: rough.elements,
        elements_of: rough.elements_of,
        order,
        factor,
        beside,
        between,
        forces,
    })
}

impl Stiffness {
    /// The factor of a part, all else held, and the unknowns of the part that are tied to free
    /// ones outside. `number` gives each free unknown its number in the part, in the same order;
    /// the numbers of those outside are beyond `n_free`.
    pub fn part(&self, number: &[u32], n_free: usize) -> (Factor, Vec<usize>) {
        let numbers = |element: &Element| {
            element
                .unknowns
                .map(|unknown| number.get(unknown).map_or(usize::MAX, |&number| number as usize))
        };
        let mut first: Vec<usize> = (0..n_free).collect();
        let mut cut = Vec::new();
        for element in &self.elements {
            let numbers = numbers(element);
            lower(&mut first, numbers, n_free);
            let is_cut =
                |(number, unknown): (&usize, usize)| *number >= n_free && unknown < self.n_free;
            if numbers.iter().zip(element.unknowns).any(is_cut) {
                cut.extend(numbers.into_iter().filter(|&number| number < n_free));
            }
        }
        cut.sort_unstable();
        cut.dedup();
        let mut matrix = Skyline::new(first);
        for element in &self.elements {
            let (numbers, k) = (numbers(element), element.matrix());
            for (row, &a) in numbers.iter().enumerate() {
                for (column, &b) in numbers.iter().enumerate() {
                    if a < n_free && b <= a {
                        matrix.add(a, b, k[row][column]);
                    }
                }
            }
        }
        (matrix.factor(VANISHED, 0.0), cut)
    }
}

fn add(sum: &mut Sum, unknown: usize, value: f64) {
    match sum.iter_mut().find(|term| term.0 == unknown) {
        Some(term) => term.1 += value,
        None => sum.push((unknown, value)),
    }
}

fn rough(members: &Members, shared: &Shared) -> Rough {
    let mut unknowns: Vec<Unknown> =
        members.nodes.iter().map(|&(x, y)| Unknown { x, y, support: None, member: 0 }).collect();
    for (support, &node) in members.node_of_support.iter().enumerate() {
        unknowns[node].support = Some(support);
    }
    let mut rough = Rough {
        unknowns,
        elements: Vec::new(),
        elements_of: vec![0],
        points: [Vec::new(), Vec::new()],
    };
    for (member_idx, member) in members.members.iter().enumerate() {
        rough.add_member(member_idx, member, shared);
        rough.elements_of.push(rough.elements.len());
    }
    rough
}

impl Rough {
    fn slope(&mut self, member: usize, node: usize) -> usize {
        let Unknown { x, y, .. } = self.unknowns[node];
        self.unknowns.push(Unknown { x, y, support: None, member });
        self.unknowns.len() - 1
    }

    fn add_member(&mut self, member_idx: usize, member: &Member, shared: &Shared) {
        let mut before: Option<(usize, usize)> = None;
        for (station_idx, station) in member.stations.iter().enumerate() {
            self.unknowns[station.node].member = member_idx;
            let slope_before = self.slope(member_idx, station.node);
            let inner = station_idx > 0 && station_idx + 1 < member.stations.len();
            let slope_after = if station.joint && inner {
                self.slope(member_idx, station.node)
            } else {
                slope_before
            };
            if let Some((node, slope)) = before {
                let from = member.stations[station_idx - 1].along;
                let middle = (from + station.along) / 2.0;
                let dead = shared.dead.along(member_idx, middle) + member.weight;
                self.elements.push(Element {
                    member: member_idx,
                    station: station_idx - 1,
                    unknowns: [node, slope, station.node, slope_before],
                    length: station.along - from,
                    stiffness: member.stiffness,
                    load: [dead, shared.live.along(member_idx, middle)],
                });
            }
            before = Some((station.node, slope_after));
        }
        let at = |shares: &Shares| -> Vec<(usize, f64)> {
            let points = shares.points[member_idx].iter();
            points
                .filter_map(|&(along, load)| {
                    let station = super::stations::station_at(member, along)?;
                    Some((member.stations[station].node, load))
                })
                .collect()
        };
        self.points[0].extend(at(&shared.dead));
        self.points[1].extend(at(&shared.live));
    }
}

/// The new number of every unknown: free ones by place along the house, then the supports alike.
/// Of the two ways along, the one that keeps the matrix narrower.
fn order(rough: &Rough) -> Vec<usize> {
    let by = |along_x: bool| -> Vec<usize> {
        let key = |unknown: usize| {
            let Unknown { x, y, support, .. } = rough.unknowns[unknown];
            let (major, minor) = if along_x { (x, y) } else { (y, x) };
            (support.is_some(), major, minor)
        };
        let mut sorted: Vec<usize> = (0..rough.unknowns.len()).collect();
        sorted.sort_by(|&a, &b| {
            let (a_key, b_key) = (key(a), key(b));
            let by_place = a_key.1.total_cmp(&b_key.1).then(a_key.2.total_cmp(&b_key.2));
            a_key.0.cmp(&b_key.0).then(by_place).then(a.cmp(&b))
        });
        let mut new = vec![0; sorted.len()];
        for (place, &unknown) in sorted.iter().enumerate() {
            new[unknown] = place;
        }
        new
    };
    let n_free = rough.unknowns.iter().filter(|unknown| unknown.support.is_none()).count();
    let work = |new: &[usize]| -> f64 {
        let mut first: Vec<usize> = (0..n_free).collect();
        for element in &rough.elements {
            lower(&mut first, element.unknowns.map(|unknown| new[unknown]), n_free);
        }
        first.iter().enumerate().map(|(row, first)| ((row - first) as f64).powi(2)).sum()
    };
    let (along_x, along_y) = (by(true), by(false));
    if work(&along_x) <= work(&along_y) { along_x } else { along_y }
}

fn first_columns(elements: &[Element], n_free: usize) -> Vec<usize> {
    let mut first: Vec<usize> = (0..n_free).collect();
    for element in elements {
        lower(&mut first, element.unknowns, n_free);
    }
    first
}

fn lower(first: &mut [usize], unknowns: [usize; 4], n_free: usize) {
    let free = || unknowns.into_iter().filter(|&unknown| unknown < n_free);
    let Some(least) = free().min() else { return };
    for unknown in free() {
        first[unknown] = first[unknown].min(least);
    }
}
