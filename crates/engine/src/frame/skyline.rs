//! Cholesky factorisation of a symmetric matrix that is full near its diagonal only.
//!
//! The loops run in the widest registers that the machine has. Sums are taken in the same order
//! whatever their width, so every machine comes to the same answer.

use pulp::{Arch, Simd, WithSimd};

/// A symmetric matrix, each row kept from its first entry to the diagonal.
#[derive(Clone, Debug)]
pub(crate) struct Skyline {
    /// Column of the first entry of each row.
    first: Vec<usize>,
    /// Where each row's diagonal lies in `entries`.
    diagonal: Vec<usize>,
    entries: Vec<f64>,
}

/// Its factor `L`, with `L L' = A`.
#[derive(Clone, Debug)]
pub(crate) struct Factor {
    lower: Skyline,
    /// The widest row, the diagonal not counted.
    band: usize,
    /// Rows whose pivot vanished against their diagonal: what they stand for is held by nothing.
    pub loose: Vec<usize>,
}

/// How many right sides are solved for together: as many as fit the registers.
pub(crate) const TOGETHER: usize = 16;

/// One row of [`TOGETHER`] columns.
pub(crate) type Lanes = [f64; TOGETHER];

/// Columns of numbers over a range of rows; what lies outside the range is nothing.
pub(crate) struct Window {
    /// First row.
    pub from: usize,
    /// Row by row.
    rows: Vec<Lanes>,
}

/// What a vanished pivot is replaced by, as a share of its diagonal: stiff enough that what it
/// lets go stays of a size to compute with; the row is reported.
const REPLACED: f64 = 1e-4;

impl Skyline {
    /// A matrix of zeros whose rows begin at these columns.
    pub fn new(first: Vec<usize>) -> Self {
        let mut diagonal = Vec::with_capacity(first.len());
        let mut n_entries = 0;
        for (row, &first) in first.iter().enumerate() {
            n_entries += row - first + 1;
            diagonal.push(n_entries - 1);
        }
        Self { first, diagonal, entries: vec![0.0; n_entries] }
    }

    /// How many entries rows that begin at these columns have.
    pub fn size(first: &[usize]) -> usize {
        first.iter().enumerate().map(|(row, first)| row - first + 1).sum()
    }

    /// Adds to the entry of a row and a column, in either order.
    ///
    /// # Panics
    /// If the column lies before the row's first: a bug of the caller.
    pub fn add(&mut self, a: usize, b: usize, value: f64) {
        let (row, column) = (a.max(b), a.min(b));
        assert!(column >= self.first[row], "row {row} has no column {column}");
        self.entries[self.diagonal[row] - (row - column)] += value;
    }

    /// Adds to a row the products of a number with others; columns in order, none beyond the row.
    ///
    /// # Panics
    /// If a column lies before the row's first: a bug of the caller.
    pub fn add_products(&mut self, row: usize, by: f64, others: &[(usize, f64)]) {
        let end = self.diagonal[row] + 1;
        let entries = &mut self.entries[end - (row - self.first[row] + 1)..end];
        for &(column, other) in others {
            entries[column - self.first[row]] += by * other;
        }
    }

    #[inline(always)]
    fn row(&self, row: usize) -> &[f64] {
        let diagonal = self.diagonal[row];
        &self.entries[diagonal - (row - self.first[row])..=diagonal]
    }

    fn n(&self) -> usize {
        self.first.len()
    }

    /// Factors the matrix, which must be positive but for loose rows: those whose pivot is no more
    /// than the share `vanished` of their diagonal, or than `nothing`.
    pub fn factor(self, vanished: f64, nothing: f64) -> Factor {
        Arch::new().dispatch(Factoring { matrix: self, vanished, nothing })
    }

    #[inline(always)]
    fn factor_here(mut self, vanished: f64, nothing: f64) -> Factor {
        let mut loose = Vec::new();
        let mut band = 0;
        for row in 0..self.n() {
            let first = self.first[row];
            band = band.max(row - first);
            let start = self.diagonal[row] - (row - first);
            let (done, current) = self.entries.split_at_mut(start);
            let current = &mut current[..=row - first];
            for column in first..row {
                let begin = self.first[column].max(first);
                let other_diagonal = self.diagonal[column];
                let other = &done[other_diagonal - (column - begin)..other_diagonal];
                let own = &current[begin - first..column - first];
                let sum = dot(own, other);
                let entry = &mut current[column - first];
                *entry = (*entry - sum) / done[other_diagonal];
            }
            let (left, pivot) = current.split_at_mut(row - first);
            let was = pivot[0];
            let mut remains = was - dot(left, left);
            if remains.is_nan() || remains <= nothing.max(vanished * was.abs()) {
                loose.push(row);
                remains = (REPLACED * was.abs()).max(1e3 * nothing).max(f64::MIN_POSITIVE);
            }
            pivot[0] = remains.sqrt();
        }
        Factor { lower: self, band, loose }
    }
}

/// The factorisation, to be compiled for each width of registers.
struct Factoring {
    matrix: Skyline,
    vanished: f64,
    nothing: f64,
}

impl WithSimd for Factoring {
    type Output = Factor;

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) -> Factor {
        self.matrix.factor_here(self.vanished, self.nothing)
    }
}

/// A solution near a few rows, likewise.
struct Solving<'a> {
    factor: &'a Factor,
    right: &'a [(usize, usize, f64)],
    nothing: f64,
}

impl WithSimd for Solving<'_> {
    type Output = Window;

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) -> Window {
        self.factor.solve_near_here(self.right, self.nothing)
    }
}

/// Sum of products, in eight lanes so that it is quick.
#[inline(always)]
fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut lanes = [0.0; 8];
    let (a_chunks, b_chunks) = (a.chunks_exact(8), b.chunks_exact(8));
    let rest: f64 = a_chunks.remainder().iter().zip(b_chunks.remainder()).map(|(x, y)| x * y).sum();
    for (x, y) in a_chunks.zip(b_chunks) {
        for lane in 0..8 {
            lanes[lane] += x[lane] * y[lane];
        }
    }
    lanes.iter().sum::<f64>() + rest
}

/// A forward pass over many columns, likewise.
struct Forward<'a> {
    factor: &'a Factor,
    rows: Vec<Lanes>,
    from: usize,
}

impl WithSimd for Forward<'_> {
    type Output = Vec<Lanes>;

    #[inline(always)]
    fn with_simd<S: Simd>(mut self, _: S) -> Vec<Lanes> {
        for row in self.from..self.factor.lower.n() {
            self.factor.forward_row(&mut self.rows, self.from, row);
        }
        self.rows
    }
}

/// One right side there and back, likewise.
struct Whole<'a> {
    factor: &'a Factor,
    b: &'a mut [f64],
    forth: bool,
    back: bool,
}

impl WithSimd for Whole<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        if self.forth {
            self.factor.forth(self.b);
        }
        if self.back {
            self.factor.back(self.b);
        }
    }
}

impl Factor {
    /// Solves `A x = b` in place.
    pub fn solve(&self, b: &mut [f64]) {
        Arch::new().dispatch(Whole { factor: self, b, forth: true, back: true });
    }

    /// Solves `L x = b` in place.
    pub fn solve_forth(&self, b: &mut [f64]) {
        Arch::new().dispatch(Whole { factor: self, b, forth: true, back: false });
    }

    /// Solves `L' x = b` in place.
    pub fn solve_back(&self, b: &mut [f64]) {
        Arch::new().dispatch(Whole { factor: self, b, forth: false, back: true });
    }

    /// Solves `L X = B` for [`TOGETHER`] columns that are nothing before the row `from`; `rows`
    /// begin there.
    pub fn solve_forth_together(&self, rows: Vec<Lanes>, from: usize) -> Vec<Lanes> {
        Arch::new().dispatch(Forward { factor: self, rows, from })
    }

    #[inline(always)]
    fn forth(&self, b: &mut [f64]) {
        for row in 0..self.lower.n() {
            let first = self.lower.first[row];
            let (left, pivot) = self.split(row);
            b[row] = (b[row] - dot(left, &b[first..row])) / pivot;
        }
    }

    #[inline(always)]
    fn back(&self, b: &mut [f64]) {
        for row in (0..self.lower.n()).rev() {
            let first = self.lower.first[row];
            let (left, pivot) = self.split(row);
            b[row] /= pivot;
            let value = b[row];
            for (entry, l) in b[first..row].iter_mut().zip(left) {
                *entry -= l * value;
            }
        }
    }

    #[inline(always)]
    fn split(&self, row: usize) -> (&[f64], f64) {
        let row = self.lower.row(row);
        let (pivot, left) = row.split_last().expect("a row has its diagonal");
        (left, *pivot)
    }

    /// Solves `A X = B` for several right sides that are nothing but for a few rows.
    ///
    /// `right` holds `(row, column, value)`. The answer is followed up and down from there until it
    /// has died out: until it is smaller than the share `nothing` of its peak.
    pub fn solve_near(&self, right: &[(usize, usize, f64)], nothing: f64) -> Window {
        Arch::new().dispatch(Solving { factor: self, right, nothing })
    }

    #[inline(always)]
    fn solve_near_here(&self, right: &[(usize, usize, f64)], nothing: f64) -> Window {
        let Some(start) = right.iter().map(|entry| entry.0).min() else {
            return Window { from: 0, rows: Vec::new() };
        };
        let last_given = right.iter().map(|entry| entry.0).max().unwrap_or(start);
        let mut rows: Vec<Lanes> = vec![[0.0; TOGETHER]; last_given + 1 - start];
        for &(row, column, value) in right {
            rows[row - start][column] += value;
        }
        let mut quiet = Quiet::default();
        let mut row = start;
        while row < self.lower.n() && (row <= last_given || quiet.rows <= self.band) {
            if row > last_given {
                rows.push([0.0; TOGETHER]);
            }
            self.forward_row(&mut rows, start, row);
            quiet.look_at(&rows[row - start], nothing);
            row += 1;
        }
        self.backward(rows, start, nothing)
    }

    /// Works out one row of the forward pass.
    #[inline(always)]
    fn forward_row(&self, rows: &mut [Lanes], start: usize, row: usize) {
        let first = self.lower.first[row].max(start);
        let (left, pivot) = self.split(row);
        let left = &left[first - self.lower.first[row]..];
        let (done, own) = rows.split_at_mut(row - start);
        let mut sum = own[0];
        for (l, other) in left.iter().zip(&done[first - start..]) {
            for lane in 0..TOGETHER {
                sum[lane] -= l * other[lane];
            }
        }
        own[0] = sum.map(|value| value / pivot);
    }

    #[inline(always)]
    fn backward(&self, forward: Vec<Lanes>, start: usize, nothing: f64) -> Window {
        // Above the first given row the answer runs on until it has died out; the rows are turned
        // round so that they can be added at the end.
        let mut rows = forward;
        rows.reverse();
        let end = start + rows.len();
        let mut quiet = Quiet::default();
        let mut row = end;
        while row > 0 && (row > start || quiet.rows <= self.band) {
            row -= 1;
            let at = end - 1 - row;
            let (left, pivot) = self.split(row);
            if rows.len() < at + 1 + left.len() {
                rows.resize(at + 1 + left.len(), [0.0; TOGETHER]);
            }
            let (known, before) = rows.split_at_mut(at + 1);
            let own = &mut known[at];
            *own = own.map(|value| value / pivot);
            for (l, other) in left.iter().rev().zip(before) {
                for lane in 0..TOGETHER {
                    other[lane] -= l * own[lane];
                }
            }
            quiet.look_at(own, nothing);
        }
        rows.truncate(end - row);
        rows.reverse();
        Window { from: row, rows }
    }
}

/// Counts rows in which nothing is felt any more.
#[derive(Default)]
struct Quiet {
    peak: f64,
    rows: usize,
}

impl Quiet {
    #[inline(always)]
    fn look_at(&mut self, lanes: &Lanes, nothing: f64) {
        let size = lanes.iter().fold(0.0, |size: f64, value| size.max(value.abs()));
        self.peak = self.peak.max(size);
        self.rows = if size <= nothing * self.peak { self.rows + 1 } else { 0 };
    }
}

impl Window {
    /// One past its last row.
    pub fn end(&self) -> usize {
        self.from + self.rows.len()
    }

    /// All columns of a row; nothing outside the window.
    pub fn row(&self, row: usize) -> &[f64; TOGETHER] {
        const NOTHING: &[f64; TOGETHER] = &[0.0; TOGETHER];
        row.checked_sub(self.from).and_then(|row| self.rows.get(row)).unwrap_or(NOTHING)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// A beam-like band: strongly diagonal, so that responses die out.
    fn banded(n: usize, band: usize, seed: &[f64]) -> (Skyline, Vec<Vec<f64>>) {
        let first = (0..n).map(|row| row.saturating_sub(band)).collect();
        let mut matrix = Skyline::new(first);
        let mut full = vec![vec![0.0; n]; n];
        for row in 0..n {
            for column in row.saturating_sub(band)..=row {
                let value = seed[(row * 7 + column * 3) % seed.len()]
                    + if row == column { 2.0 * band as f64 + 1.0 } else { 0.0 };
                matrix.add(row, column, value);
                full[row][column] = value;
                full[column][row] = value;
            }
        }
        (matrix, full)
    }

    proptest! {
        /// Second method: the full matrix times the answer gives the right side back.
        #[test]
        fn the_answer_gives_the_right_side_back(
            n in 1_usize..60,
            band in 1_usize..6,
            seed in prop::collection::vec(-1.0..1.0_f64, 16),
        ) {
            let (matrix, full) = banded(n, band, &seed);
            let factor = matrix.factor(1e-11, 0.0);
            prop_assert!(factor.loose.is_empty());
            let right: Vec<f64> = (0..n).map(|row| seed[row % 16]).collect();
            let mut x = right.clone();
            factor.solve(&mut x);
            let at = n / 2;
            let window = factor.solve_near(&[(at, 0, 1.0), (n - 1, 1, 2.0)], 1e-12);
            for row in 0..n {
                let product = |x: &dyn Fn(usize) -> f64| -> f64 {
                    (0..n).map(|column| full[row][column] * x(column)).sum()
                };
                prop_assert!((product(&|column| x[column]) - right[row]).abs() < 1e-9);
                let one = if row == at { 1.0 } else { 0.0 };
                let two = if row == n - 1 { 2.0 } else { 0.0 };
                prop_assert!((product(&|column| window.row(column)[0]) - one).abs() < 1e-9);
                prop_assert!((product(&|column| window.row(column)[1]) - two).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn a_long_band_is_followed_only_as_far_as_it_is_felt() {
        let (matrix, _) = banded(4000, 4, &[0.3, -0.2, 0.1]);
        let window = matrix.factor(1e-11, 0.0).solve_near(&[(2000, 0, 1.0)], 1e-12);
        assert!(window.from > 1000 && window.end() < 3000, "{} {}", window.from, window.end());
    }

    #[test]
    fn a_free_row_is_reported() {
        let mut matrix = Skyline::new(vec![0, 0]);
        for (a, b, value) in [(0, 0, 1.0), (0, 1, -1.0), (1, 1, 1.0)] {
            matrix.add(a, b, value);
        }
        assert_eq!(matrix.factor(1e-11, 0.0).loose, [1]);
    }
}
