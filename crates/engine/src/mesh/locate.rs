//! Finding the triangle that a place is in.

use super::plane::{Xy, nearest_on, shares};
use super::{SAME_PLACE, SiteMesh, Triangle};

/// A grid laid over the mesh; each cell lists the triangles that may reach into it.
#[derive(Clone, Debug, Default)]
pub(super) struct Buckets {
    low: Xy,
    cell: Xy,
    n_cols: usize,
    n_rows: usize,
    /// Where each cell's triangles start in `members`; one more entry than cells.
    starts: Vec<usize>,
    members: Vec<usize>,
}

/// The triangle of a place and the place's shares in the triangle's corners.
pub(super) struct Found {
    pub triangle: usize,
    pub shares: [f64; 3],
}

impl Buckets {
    /// Lays about one cell for each triangle.
    pub fn new(triangles: &[[Xy; 3]]) -> Self {
        let all = || triangles.iter().flatten();
        let low = all()
            .fold(Xy::new(f64::MAX, f64::MAX), |low, at| Xy::new(low.x.min(at.x), low.y.min(at.y)));
        let high = all().fold(Xy::new(f64::MIN, f64::MIN), |high, at| {
            Xy::new(high.x.max(at.x), high.y.max(at.y))
        });
        if triangles.is_empty() {
            return Self::default();
        }
        let n_side = ((triangles.len() as f64).sqrt().ceil() as usize).clamp(1, 1000);
        let width = |from: f64, to: f64| ((to - from) / n_side as f64).max(1.0);
        let mut buckets = Self {
            low,
            cell: Xy::new(width(low.x, high.x), width(low.y, high.y)),
            n_cols: n_side,
            n_rows: n_side,
            ..Self::default()
        };
        let mut counts = vec![0; n_side * n_side + 1];
        for triangle in triangles {
            buckets.cells_of(triangle).for_each(|cell| counts[cell + 1] += 1);
        }
        for cell in 0..n_side * n_side {
            counts[cell + 1] += counts[cell];
        }
        let mut next = counts.clone();
        buckets.members = vec![0; counts[n_side * n_side]];
        buckets.starts = counts;
        for (idx, triangle) in triangles.iter().enumerate() {
            for cell in buckets.cells_of(triangle).collect::<Vec<_>>() {
                buckets.members[next[cell]] = idx;
                next[cell] += 1;
            }
        }
        buckets
    }

    /// Triangles that may be at a place.
    pub fn near(&self, place: Xy) -> &[usize] {
        if self.starts.is_empty() {
            return &[];
        }
        let cell = self.row(place.y) * self.n_cols + self.col(place.x);
        &self.members[self.starts[cell]..self.starts[cell + 1]]
    }

    fn cells_of(&self, triangle: &[Xy; 3]) -> impl Iterator<Item = usize> + use<> {
        // A little wider than the triangle, so that a place a hair outside still finds it.
        let slack = 2.0 * SAME_PLACE.to_mm();
        let (xs, ys) = (triangle.map(|at| at.x), triangle.map(|at| at.y));
        let least = |values: [f64; 3]| values.into_iter().fold(f64::MAX, f64::min) - slack;
        let most = |values: [f64; 3]| values.into_iter().fold(f64::MIN, f64::max) + slack;
        let cols = self.col(least(xs))..=self.col(most(xs));
        let rows = self.row(least(ys))..=self.row(most(ys));
        let n_cols = self.n_cols;
        rows.flat_map(move |row| cols.clone().map(move |col| row * n_cols + col))
    }

    fn col(&self, x: f64) -> usize {
        // A float that is below zero or too large saturates, which is what is wanted here.
        (((x - self.low.x) / self.cell.x) as usize).min(self.n_cols - 1)
    }

    fn row(&self, y: f64) -> usize {
        (((y - self.low.y) / self.cell.y) as usize).min(self.n_rows - 1)
    }
}

impl SiteMesh {
    /// The triangle at a place, or one within a millimetre of it; a measured one where there is
    /// a choice.
    pub(super) fn locate(&self, place: Xy) -> Option<Found> {
        let candidates = self.buckets.near(place).iter().filter_map(|&idx| {
            let triangle = &self.triangles[idx];
            let (away, found_shares) = self.shares_in(triangle, place)?;
            let rank = (away, !triangle.measured, idx);
            (away <= SAME_PLACE.to_mm()).then_some((rank, found_shares))
        });
        let best = candidates.min_by(|(a, _), (b, _)| {
            a.0.total_cmp(&b.0).then_with(|| (a.1, a.2).cmp(&(b.1, b.2)))
        })?;
        Some(Found { triangle: best.0.2, shares: best.1 })
    }

    /// How far a place is outside a triangle, and the shares of the triangle's nearest place.
    fn shares_in(&self, triangle: &Triangle, place: Xy) -> Option<(f64, [f64; 3])> {
        let corners = triangle.corners.map(|corner| self.corners[corner].at);
        let inside = shares(corners, place)?;
        if inside.iter().all(|&share| share >= -1e-9) {
            return Some((0.0, inside));
        }
        let [a, b, c] = corners;
        let near = [(a, b), (b, c), (c, a)]
            .map(|(from, to)| nearest_on(from, to, place))
            .into_iter()
            .min_by(|p, q| p.distance(place).total_cmp(&q.distance(place)))?;
        Some((near.distance(place), shares(corners, near)?))
    }
}
