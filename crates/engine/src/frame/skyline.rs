//! Cholesky factorisation of a symmetric matrix that is full near its diagonal only.

/// A symmetric matrix, each row kept from its first entry to the diagonal.
#[derive(Clone, Debug)]
pub(super) struct Skyline {
    /// Column of the first entry of each row.
    first: Vec<usize>,
    /// Where each row's diagonal lies in `entries`.
    diagonal: Vec<usize>,
    entries: Vec<f64>,
}

/// Its factor `L`, with `L L' = A`.
#[derive(Clone, Debug)]
pub(super) struct Factor {
    lower: Skyline,
    /// The widest row, the diagonal not counted.
    band: usize,
    /// Rows whose pivot vanished against their diagonal: what they stand for is held by nothing.
    pub loose: Vec<usize>,
}

/// Columns of numbers over a range of rows; what lies outside the range is nothing.
pub(super) struct Window {
    /// First row.
    pub from: usize,
    /// How many columns.
    pub columns: usize,
    /// Row by row.
    pub values: Vec<f64>,
}

/// A pivot smaller than this share of its diagonal is arithmetic, not stiffness.
const VANISHED: f64 = 1e-11;

/// What a vanished pivot is replaced by, as a share of its diagonal: stiff enough to compute
/// with, and the row is reported.
const REPLACED: f64 = 1e-7;

/// A response this much smaller than its peak has died out.
const DIED_OUT: f64 = 1e-13;

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

    fn row(&self, row: usize) -> &[f64] {
        let diagonal = self.diagonal[row];
        &self.entries[diagonal - (row - self.first[row])..=diagonal]
    }

    fn n(&self) -> usize {
        self.first.len()
    }

    /// Factors the matrix, which must be positive but for loose rows.
    pub fn factor(mut self) -> Factor {
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
            if remains.is_nan() || remains <= VANISHED * was.abs() {
                loose.push(row);
                remains = (REPLACED * was.abs()).max(f64::MIN_POSITIVE);
            }
            pivot[0] = remains.sqrt();
        }
        Factor { lower: self, band, loose }
    }
}

/// Sum of products, in four lanes so that it is quick.
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

impl Factor {
    /// Solves `A x = b` in place.
    pub fn solve(&self, b: &mut [f64]) {
        for row in 0..self.lower.n() {
            let first = self.lower.first[row];
            let (left, pivot) = self.split(row);
            b[row] = (b[row] - dot(left, &b[first..row])) / pivot;
        }
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

    fn split(&self, row: usize) -> (&[f64], f64) {
        let row = self.lower.row(row);
        let (pivot, left) = row.split_last().expect("a row has its diagonal");
        (left, *pivot)
    }

    /// Solves `A X = B` for several right sides that are nothing but for a few rows.
    ///
    /// `right` holds `(row, column, value)`. The answer is followed up and down from there until
    /// it has died out.
    pub fn solve_near(&self, right: &[(usize, usize, f64)], columns: usize) -> Window {
        let Some(start) = right.iter().map(|entry| entry.0).min() else {
            return Window { from: 0, columns, values: Vec::new() };
        };
        let last_given = right.iter().map(|entry| entry.0).max().unwrap_or(start);
        let mut forward = vec![0.0; (last_given + 1 - start) * columns];
        for &(row, column, value) in right {
            forward[(row - start) * columns + column] += value;
        }
        let mut peak: f64 = 0.0;
        let mut quiet = 0;
        let mut row = start;
        while row < self.lower.n() && (row <= last_given || quiet <= self.band) {
            if (row - start + 1) * columns > forward.len() {
                forward.resize((row - start + 1) * columns, 0.0);
            }
            let size = self.forward_row(&mut forward, start, row, columns);
            peak = peak.max(size);
            quiet = if size <= DIED_OUT * peak { quiet + 1 } else { 0 };
            row += 1;
        }
        self.backward(forward, start, row, columns)
    }

    /// Works out one row of the forward pass; returns its largest value.
    fn forward_row(&self, forward: &mut [f64], start: usize, row: usize, columns: usize) -> f64 {
        let first = self.lower.first[row].max(start);
        let (left, pivot) = self.split(row);
        let left = &left[first - self.lower.first[row]..];
        let (done, own) = forward.split_at_mut((row - start) * columns);
        let own = &mut own[..columns];
        for (l, other) in left.iter().zip(done[(first - start) * columns..].chunks_exact(columns)) {
            for (value, other) in own.iter_mut().zip(other) {
                *value -= l * other;
            }
        }
        own.iter_mut().fold(0.0, |size: f64, value| {
            *value /= pivot;
            size.max(value.abs())
        })
    }

    fn backward(&self, forward: Vec<f64>, start: usize, end: usize, columns: usize) -> Window {
        // Below the first given row the answer runs on until it has died out.
        let mut low = start;
        let mut values = forward;
        let mut peak: f64 = 0.0;
        let mut quiet = 0;
        let mut row = end;
        while row > 0 && (row > start || quiet <= self.band) {
            row -= 1;
            let first = self.lower.first[row];
            if first < low {
                let more = low - first;
                let room = more.max(16 * self.band).min(low);
                values.splice(0..0, std::iter::repeat_n(0.0, room * columns));
                low -= room;
            }
            let (left, pivot) = self.split(row);
            let (before, own) = values.split_at_mut((row - low) * columns);
            let own = &mut own[..columns];
            let mut size: f64 = 0.0;
            for value in own.iter_mut() {
                *value /= pivot;
                size = size.max(value.abs());
            }
            let rows = before[(first - low) * columns..].chunks_exact_mut(columns);
            for (l, other) in left.iter().zip(rows) {
                for (other, value) in other.iter_mut().zip(own.iter()) {
                    *other -= l * value;
                }
            }
            peak = peak.max(size);
            quiet = if size <= DIED_OUT * peak { quiet + 1 } else { 0 };
        }
        values.drain(..(row - low) * columns);
        Window { from: row, columns, values }
    }
}

impl Window {
    /// Rows of the window.
    pub fn end(&self) -> usize {
        self.from + self.values.len() / self.columns.max(1)
    }

    /// The value at a row and column; nothing outside the window.
    pub fn at(&self, row: usize, column: usize) -> f64 {
        match row.checked_sub(self.from) {
            Some(row) => self.values.get(row * self.columns + column).copied().unwrap_or(0.0),
            None => 0.0,
        }
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
            let factor = matrix.factor();
            prop_assert!(factor.loose.is_empty());
            let right: Vec<f64> = (0..n).map(|row| seed[row % 16]).collect();
            let mut x = right.clone();
            factor.solve(&mut x);
            let at = n / 2;
            let window = factor.solve_near(&[(at, 0, 1.0), (n - 1, 1, 2.0)], 2);
            for row in 0..n {
                let product = |x: &dyn Fn(usize) -> f64| -> f64 {
                    (0..n).map(|column| full[row][column] * x(column)).sum()
                };
                prop_assert!((product(&|column| x[column]) - right[row]).abs() < 1e-9);
                let one = if row == at { 1.0 } else { 0.0 };
                let two = if row == n - 1 { 2.0 } else { 0.0 };
                prop_assert!((product(&|column| window.at(column, 0)) - one).abs() < 1e-9);
                prop_assert!((product(&|column| window.at(column, 1)) - two).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn a_long_band_is_followed_only_as_far_as_it_is_felt() {
        let (matrix, _) = banded(4000, 4, &[0.3, -0.2, 0.1]);
        let window = matrix.factor().solve_near(&[(2000, 0, 1.0)], 1);
        assert!(window.from > 1000 && window.end() < 3000, "{} {}", window.from, window.end());
    }

    #[test]
    fn a_free_row_is_reported() {
        let mut matrix = Skyline::new(vec![0, 0]);
        for (a, b, value) in [(0, 0, 1.0), (0, 1, -1.0), (1, 1, 1.0)] {
            matrix.add(a, b, value);
        }
        assert_eq!(matrix.factor().loose, [1]);
    }
}
