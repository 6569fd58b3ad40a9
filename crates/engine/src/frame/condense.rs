//! What a lift at one support does, for all supports at once: the stiffness condensed on them.
//!
//! # Method
//! The free unknowns are eliminated part by part of the house, the supports never: the unknowns
//! are split in two by a line across, each half again and so on, and what a part has left when
//! its inner unknowns are gone is a small full matrix between its edge and its supports, which is
//! added to that of the part around it (nested dissection, multifrontal elimination). In the end
//! only supports are left, and the matrix between them is the condensed stiffness. Sums of
//! unknowns that are to be watched go along as further rows; one that feels nothing of the edge of
//! its part any more is done.
//!
//! # References
//! George, *Nested dissection of a regular finite element mesh*, SIAM J. Numer. Anal. 10 (1973);
//! Duff & Reid, *The multifrontal solution of indefinite sparse symmetric linear equations*, ACM
//! Trans. Math. Softw. 9 (1983). Held against solutions for a few supports at a time in the tests of
//! `response`.

use super::stiffness::{Element, Stiffness, Sum};
use pulp::{Arch, Simd, WithSimd};

/// Parts with no more unknowns than this are not split.
const SMALL: usize = 24;

/// Lines across that are tried on either side of the middle.
const LINES_TRIED: usize = 5;

/// No place.
const NONE: usize = usize::MAX;

/// The stiffness condensed on the supports, in the stiffness's order.
pub(super) struct Condensed {
    /// Row by row, full.
    pub between: Vec<f64>,
    /// For each watched sum: support and value per lift, in no particular order; the values of a
    /// support that comes more than once add up.
    pub watched: Vec<Vec<(usize, f64)>>,
}

/// Condenses the stiffness and the sums to be watched. A sum is followed until no more than the
/// share `nothing` of its largest term is felt beyond a part of the house.
pub(super) fn condense(stiffness: &Stiffness, watched: &[Sum], nothing: f64) -> Condensed {
    Arch::new().dispatch(Condensing { stiffness, watched, nothing })
}

struct Condensing<'a> {
    stiffness: &'a Stiffness,
    watched: &'a [Sum],
    nothing: f64,
}

impl WithSimd for Condensing<'_> {
    type Output = Condensed;

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) -> Condensed {
        let parts = Parts::new(self.stiffness);
        let mut work = Work::new(self.stiffness, self.watched, self.nothing, &parts);
        for part in 0..parts.parts.len() {
            work.eliminate(&parts, part);
        }
        work.done
    }
}

/// The house cut into parts, each with the unknowns that are eliminated with it, inner parts first.
struct Parts {
    parts: Vec<Part>,
    /// When each unknown is eliminated; supports come after all free ones.
    rank: Vec<usize>,
    /// The part that each free unknown is eliminated with.
    part_of: Vec<usize>,
}

struct Part {
    /// Unknowns in order of their rank.
    own: Vec<usize>,
    around: usize,
    /// The first of the parts within it, itself included; they are numbered without a gap.
    first_within: usize,
}

/// Places of an unknown and the furthest of its neighbours, along x and along y.
#[derive(Clone, Copy)]
struct Reach {
    at: [f64; 2],
    least: [f64; 2],
    most: [f64; 2],
}

impl Parts {
    fn new(stiffness: &Stiffness) -> Self {
        let n_free = stiffness.n_free;
        let mut reach: Vec<Reach> =
            stiffness.at.iter().map(|&at| Reach { at, least: at, most: at }).collect();
        for element in &stiffness.elements {
            let free = || element.unknowns.into_iter().filter(|&unknown| unknown < n_free);
            for axis in 0..2 {
                let least = free().map(|u| reach[u].at[axis]).fold(f64::INFINITY, f64::min);
                let most = free().map(|u| reach[u].at[axis]).fold(f64::NEG_INFINITY, f64::max);
                for unknown in free() {
                    let reach = &mut reach[unknown];
                    reach.least[axis] = reach.least[axis].min(least);
                    reach.most[axis] = reach.most[axis].max(most);
                }
            }
        }
        let n_all = n_free + stiffness.order.len();
        let mut parts =
            Self { parts: Vec::new(), rank: (0..n_all).collect(), part_of: vec![NONE; n_free] };
        parts.split((0..n_free).collect(), &reach);
        let mut rank = 0;
        for (number, part) in parts.parts.iter().enumerate() {
            for &unknown in &part.own {
                parts.rank[unknown] = rank;
                parts.part_of[unknown] = number;
                rank += 1;
            }
        }
        parts
    }

    /// Cuts unknowns into parts and returns the number of the outermost.
    fn split(&mut self, unknowns: Vec<usize>, reach: &[Reach]) -> usize {
        let first_within = self.parts.len();
        let cut = if unknowns.len() > SMALL { best_cut(&unknowns, reach) } else { None };
        let Some((axis, line, from_left)) = cut else {
            self.parts.push(Part { own: unknowns, around: NONE, first_within });
            return self.parts.len() - 1;
        };
        let (mut left, mut right, mut own) = (Vec::new(), Vec::new(), Vec::new());
        for unknown in unknowns {
            let Reach { at, least, most } = reach[unknown];
            let is_left = at[axis] < line;
            let is_on_edge = if from_left {
                is_left && most[axis] >= line
            } else {
                !is_left && least[axis] < line
            };
            if is_on_edge {
                own.push(unknown);
            } else if is_left {
                left.push(unknown);
            } else {
                right.push(unknown);
            }
        }
        let inner: Vec<usize> = [left, right]
            .into_iter()
            .filter(|half| !half.is_empty())
            .map(|half| self.split(half, reach))
            .collect();
        let number = self.parts.len();
        inner.into_iter().for_each(|part| self.parts[part].around = number);
        self.parts.push(Part { own, around: NONE, first_within });
        number
    }

    /// Whether one of two parts lies within the other, or they are the same.
    fn are_nested(&self, a: usize, b: usize) -> bool {
        let (inner, outer) = (a.min(b), a.max(b));
        self.parts[outer].first_within <= inner
    }
}

/// The line across that cuts with the fewest unknowns on it, near the middle: its axis, where it
/// is, and whether the unknowns are taken from before it.
fn best_cut(unknowns: &[usize], reach: &[Reach]) -> Option<(usize, f64, bool)> {
    let extent = |axis: usize| {
        let at = || unknowns.iter().map(|&u| reach[u].at[axis]);
        at().fold(f64::NEG_INFINITY, f64::max) - at().fold(f64::INFINITY, f64::min)
    };
    let longer = usize::from(extent(1) > extent(0));
    [longer, 1 - longer].into_iter().find_map(|axis| {
        let mut lines: Vec<f64> = unknowns.iter().map(|&u| reach[u].at[axis]).collect();
        lines.sort_unstable_by(f64::total_cmp);
        let middle = lines[lines.len() / 2];
        lines.dedup();
        let middle = lines.partition_point(|&line| line < middle);
        let tried =
            middle.saturating_sub(LINES_TRIED).max(1)..(middle + LINES_TRIED + 1).min(lines.len());
        let on_edge = |line: f64| {
            let (mut before, mut after) = (0_usize, 0_usize);
            for &unknown in unknowns {
                let Reach { at, least, most } = reach[unknown];
                before += usize::from(at[axis] < line && most[axis] >= line);
                after += usize::from(at[axis] >= line && least[axis] < line);
            }
            (before, after)
        };
        let cuts = tried.flat_map(|number| {
            let (before, after) = on_edge(lines[number]);
            let off = number.abs_diff(middle);
            [(before, off, number, true), (after, off, number, false)]
        });
        let best = cuts.min()?;
        (2 * best.0 < unknowns.len()).then(|| (axis, lines[best.2], best.3))
    })
}

/// What is left of a part when its own unknowns are gone.
struct Left {
    /// Unknowns of its edge and its supports, in order of their rank.
    unknowns: Vec<usize>,
    /// Numbers of the pieces of watched sums.
    pieces: Vec<u32>,
    /// Column by column: stiffness below the diagonal, then the sums.
    entries: Vec<f64>,
}

/// Terms of a watched sum whose unknowns lie in parts that lie within one another.
struct Piece {
    number: usize,
    terms: Sum,
    /// The innermost of their parts.
    part: usize,
}

struct Work<'a> {
    stiffness: &'a Stiffness,
    nothing: f64,
    pieces: Vec<Piece>,
    /// Elements that are added to each part.
    elements_of: Vec<Vec<u32>>,
    /// Pieces that are added to each part.
    pieces_of: Vec<Vec<u32>>,
    left: Vec<Vec<Left>>,
    place: Vec<usize>,
    done: Condensed,
}

impl<'a> Work<'a> {
    fn new(stiffness: &'a Stiffness, watched: &[Sum], nothing: f64, parts: &Parts) -> Self {
        let (n_free, n) = (stiffness.n_free, stiffness.order.len());
        let n_parts = parts.parts.len();
        let mut work = Self {
            stiffness,
            nothing,
            pieces: Vec::new(),
            elements_of: vec![Vec::new(); n_parts],
            pieces_of: vec![Vec::new(); n_parts],
            left: (0..n_parts).map(|_| Vec::new()).collect(),
            place: vec![NONE; n_free + n],
            done: Condensed { between: vec![0.0; n * n], watched: vec![Vec::new(); watched.len()] },
        };
        for (number, element) in stiffness.elements.iter().enumerate() {
            let free = element.unknowns.into_iter().filter(|&unknown| unknown < n_free);
            match free.map(|unknown| parts.part_of[unknown]).min() {
                Some(part) => work.elements_of[part].push(number as u32),
                None => {
                    for (row, column, k) in entries(element) {
                        work.done.between[(row - n_free) * n + column - n_free] += k;
                    }
                }
            }
        }
        for (number, sum) in watched.iter().enumerate() {
            work.cut_up(parts, number, sum);
        }
        for (number, piece) in work.pieces.iter().enumerate() {
            work.pieces_of[piece.part].push(number as u32);
        }
        work
    }

    fn cut_up(&mut self, parts: &Parts, number: usize, sum: &Sum) {
        let first = self.pieces.len();
        for &(unknown, c) in sum {
            if let Some(support) = unknown.checked_sub(self.stiffness.n_free) {
                self.done.watched[number].push((support, c));
                continue;
            }
            let part = parts.part_of[unknown];
            let known = self.pieces[first..].iter_mut().find(|p| parts.are_nested(p.part, part));
            match known {
                Some(piece) => {
                    piece.part = piece.part.min(part);
                    piece.terms.push((unknown, c));
                }
                None => self.pieces.push(Piece { number, terms: vec![(unknown, c)], part }),
            }
        }
    }

    /// Puts a part together, eliminates its own unknowns and hands on what is left.
    #[inline(always)]
    fn eliminate(&mut self, parts: &Parts, part: usize) {
        let n_free = self.stiffness.n_free;
        let inner = std::mem::take(&mut self.left[part]);
        let fresh = std::mem::take(&mut self.pieces_of[part]);
        let unknowns = self.unknowns(parts, part, &inner, &fresh);
        let mut pieces: Vec<u32> = inner.iter().flat_map(|left| &left.pieces).copied().collect();
        let first_fresh = pieces.len();
        pieces.extend(fresh);
        let (n, height) = (unknowns.len(), unknowns.len() + pieces.len());
        let mut front = vec![0.0; n * height];
        for (place, &unknown) in unknowns.iter().enumerate() {
            self.place[unknown] = place;
        }
        let mut first_piece = n;
        for left in &inner {
            self.add(left, &mut front, height, first_piece);
            first_piece += left.pieces.len();
        }
        for &element in &self.elements_of[part] {
            for (row, column, k) in entries(&self.stiffness.elements[element as usize]) {
                let (row, column) = (self.place[row], self.place[column]);
                if row >= column {
                    front[column * height + row] += k;
                }
            }
        }
        for (at, &piece) in pieces.iter().enumerate().skip(first_fresh) {
            for &(unknown, c) in &self.pieces[piece as usize].terms {
                front[self.place[unknown] * height + n + at] += c;
            }
        }
        let n_own = parts.parts[part].own.len();
        factor_panel(&mut front[..n_own * height], height, n_own);
        let (panel, rest) = front.split_at_mut(n_own * height);
        subtract_products(rest, panel, height, n_own, n);
        let edge = unknowns[n_own..].iter().take_while(|&&unknown| unknown < n_free).count();
        let left = self.keep(&unknowns[n_own..], &pieces, rest, (height, n_own, edge));
        match parts.parts[part].around {
            NONE => self.finish(&left),
            around => self.left[around].push(left),
        }
    }

    /// All unknowns that a part has to do with, its own first.
    fn unknowns(&self, parts: &Parts, part: usize, inner: &[Left], fresh: &[u32]) -> Vec<usize> {
        let mut unknowns: Vec<usize> = parts.parts[part].own.clone();
        unknowns.extend(inner.iter().flat_map(|left| &left.unknowns));
        for &element in &self.elements_of[part] {
            unknowns.extend(self.stiffness.elements[element as usize].unknowns);
        }
        for &piece in fresh {
            unknowns.extend(self.pieces[piece as usize].terms.iter().map(|term| term.0));
        }
        unknowns.sort_unstable_by_key(|&unknown| parts.rank[unknown]);
        unknowns.dedup();
        unknowns
    }

    /// Adds what is left of an inner part.
    #[inline(always)]
    fn add(&self, left: &Left, front: &mut [f64], height: usize, first_piece: usize) {
        let n = left.unknowns.len();
        let left_height = n + left.pieces.len();
        let places: Vec<usize> = left.unknowns.iter().map(|&unknown| self.place[unknown]).collect();
        for (column, entries) in left.entries.chunks_exact(left_height.max(1)).enumerate() {
            let into = &mut front[places[column] * height..][..height];
            for (&place, entry) in places[column..].iter().zip(&entries[column..n]) {
                into[place] += entry;
            }
            into[first_piece..first_piece + left.pieces.len()].copy_from_slice(&entries[n..]);
        }
    }

    /// What goes on: pieces that feel nothing of the edge any more are done.
    #[inline(always)]
    fn keep(
        &mut self,
        unknowns: &[usize],
        pieces: &[u32],
        rest: &[f64],
        (height, n_own, edge): (usize, usize, usize),
    ) -> Left {
        let n = unknowns.len();
        let (mut at_edge, mut peak) = (vec![0.0_f64; pieces.len()], vec![0.0_f64; pieces.len()]);
        for (column, entries) in rest.chunks_exact(height).enumerate() {
            let largest = if column < edge { &mut at_edge } else { &mut peak };
            for (largest, entry) in largest.iter_mut().zip(&entries[n_own + n..]) {
                *largest = largest.max(entry.abs());
            }
        }
        let is_going: Vec<bool> = at_edge
            .iter()
            .zip(&peak)
            .map(|(&at_edge, &peak)| at_edge > self.nothing * peak.max(at_edge))
            .collect();
        let (going, stopping): (Vec<usize>, Vec<usize>) =
            (0..pieces.len()).partition(|&at| is_going[at]);
        for &at in &stopping {
            let number = self.pieces[pieces[at] as usize].number;
            let into = &mut self.done.watched[number];
            for (column, &unknown) in unknowns.iter().enumerate().skip(edge) {
                let value = rest[column * height + n_own + n + at];
                if value != 0.0 {
                    into.push((unknown - self.stiffness.n_free, value));
                }
            }
        }
        let mut entries = Vec::with_capacity(n * (n + going.len()));
        for column in rest.chunks_exact(height) {
            entries.extend_from_slice(&column[n_own..n_own + n]);
            entries.extend(going.iter().map(|&at| column[n_own + n + at]));
        }
        let pieces = going.into_iter().map(|at| pieces[at]).collect();
        Left { unknowns: unknowns.to_vec(), pieces, entries }
    }

    /// Takes in what is left of an outermost part: supports only.
    fn finish(&mut self, left: &Left) {
        let (n_free, n_all) = (self.stiffness.n_free, self.stiffness.order.len());
        let n = left.unknowns.len();
        for (column, entries) in left.entries.chunks_exact(n.max(1)).enumerate() {
            let support = left.unknowns[column] - n_free;
            for (row, &k) in entries.iter().enumerate().skip(column) {
                let other = left.unknowns[row] - n_free;
                self.done.between[support * n_all + other] += k;
                if row > column {
                    self.done.between[other * n_all + support] += k;
                }
            }
        }
    }
}

/// Row, column and value of each entry of an element's stiffness.
fn entries(element: &Element) -> impl Iterator<Item = (usize, usize, f64)> {
    let (matrix, unknowns) = (element.matrix(), element.unknowns);
    (0..16).map(move |at| (unknowns[at / 4], unknowns[at % 4], matrix[at / 4][at % 4]))
}

/// Factors the first columns of a matrix that is kept column by column, further rows included.
#[inline(always)]
fn factor_panel(panel: &mut [f64], height: usize, n_own: usize) {
    for column in 0..n_own {
        let (done, current) = panel.split_at_mut(column * height);
        let current = &mut current[column..height];
        for before in done.chunks_exact(height) {
            let by = before[column];
            if by != 0.0 {
                for (entry, other) in current.iter_mut().zip(&before[column..]) {
                    *entry -= by * other;
                }
            }
        }
        // What nothing holds was found when the whole was factored.
        let pivot = current[0].max(f64::MIN_POSITIVE).sqrt();
        let over = 1.0 / pivot;
        current[0] = pivot;
        current[1..].iter_mut().for_each(|entry| *entry *= over);
    }
}

/// Rows and columns that are worked on together.
const TALL: usize = 16;
const WIDE: usize = 4;

/// Takes the products of the factored columns off the others, below the diagonal.
#[inline(always)]
fn subtract_products(rest: &mut [f64], panel: &[f64], height: usize, n_own: usize, n: usize) {
    let n_rest = n - n_own;
    let mut column = 0;
    while column < n_rest {
        let wide = WIDE.min(n_rest - column);
        let mut row = n_own + column;
        if wide == WIDE {
            while row + TALL <= height {
                let mut sums = [[0.0; TALL]; WIDE];
                for own in panel.chunks_exact(height) {
                    let tall: &[f64; TALL] = own[row..row + TALL].try_into().expect("as long");
                    let by: &[f64; WIDE] =
                        own[n_own + column..n_own + column + WIDE].try_into().expect("as long");
                    for (sums, by) in sums.iter_mut().zip(by) {
                        for lane in 0..TALL {
                            sums[lane] += by * tall[lane];
                        }
                    }
                }
                for (wide, sums) in sums.iter().enumerate() {
                    let into = &mut rest[(column + wide) * height + row..][..TALL];
                    into.iter_mut().zip(sums).for_each(|(into, sum)| *into -= sum);
                }
                row += TALL;
            }
        }
        for at in column..column + wide {
            let into = &mut rest[at * height..][..height];
            let mut sums = [0.0; 4 * TALL];
            for begin in (row..height).step_by(sums.len()) {
                let end = height.min(begin + sums.len());
                sums.fill(0.0);
                for own in panel.chunks_exact(height) {
                    let by = own[n_own + at];
                    for (sum, tall) in sums.iter_mut().zip(&own[begin..end]) {
                        *sum += by * tall;
                    }
                }
                for (into, sum) in into[begin..end].iter_mut().zip(&sums) {
                    *into -= sum;
                }
            }
        }
        column += wide;
    }
}
