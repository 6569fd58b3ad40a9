//! A linear system solved with the factor of one like it.

use faer::Col;

/// Directions that are tried before the answer is given as it is.
const DIRECTIONS: usize = 40;

/// A residual this small, as a share of the right side, is enough for one step of refinement.
const ENOUGH: f64 = 1e-9;

/// Solves `system(x) = right` nearly, where `like` solves a similar system: the combination of the
/// directions found so far that leaves the smallest residual.
///
/// # References
/// Saad & Schultz, *GMRES: a generalized minimal residual algorithm*, SIAM J. Sci. Stat. Comput. 7
/// (1986), preconditioned from the right (from memory); held against a direct factor in the tests.
pub(super) fn solve(
    system: impl Fn(&Col<f64>) -> Col<f64>,
    like: impl Fn(&Col<f64>) -> Col<f64>,
    right: &Col<f64>,
) -> Col<f64> {
    let size = right.norm_l2();
    let mut answer = Col::<f64>::zeros(right.nrows());
    if size == 0.0 || !size.is_finite() {
        return answer;
    }
    let mut basis = vec![right * faer::Scale(1.0 / size)];
    let mut steps: Vec<Col<f64>> = Vec::new();
    // Columns of the triangle that rotations make of the coefficients, the rotations, and what is
    // left of the right side.
    let mut triangle: Vec<Vec<f64>> = Vec::new();
    let mut turns: Vec<(f64, f64)> = Vec::new();
    let mut rest = vec![size];
    while triangle.len() < DIRECTIONS {
        let known = basis.len() - 1;
        let step = like(&basis[known]);
        let mut next = system(&step);
        steps.push(step);
        let mut column: Vec<f64> = Vec::with_capacity(known + 2);
        for direction in &basis {
            let along: f64 = direction.transpose() * &next;
            next -= direction * faer::Scale(along);
            column.push(along);
        }
        let length = next.norm_l2();
        if !length.is_finite() {
            steps.pop();
            break;
        }
        for (at, &(c, s)) in turns.iter().enumerate() {
            let (a, b) = (column[at], column[at + 1]);
            (column[at], column[at + 1]) = (c * a + s * b, c * b - s * a);
        }
        let whole = column[known].hypot(length);
        if whole == 0.0 {
            steps.pop();
            break;
        }
        let (c, s) = (column[known] / whole, length / whole);
        column[known] = whole;
        turns.push((c, s));
        triangle.push(column);
        let left = rest[known];
        rest[known] = c * left;
        rest.push(-s * left);
        if length <= 1e-14 * whole || (s * left).abs() <= ENOUGH * size {
            break;
        }
        basis.push(next * faer::Scale(1.0 / length));
    }
    let mut weights = vec![0.0; triangle.len()];
    for row in (0..weights.len()).rev() {
        let known: f64 = (row + 1..weights.len()).map(|at| triangle[at][row] * weights[at]).sum();
        weights[row] = (rest[row] - known) / triangle[row][row];
    }
    for (step, weight) in steps.iter().zip(weights) {
        answer += step * faer::Scale(weight);
    }
    answer
}

#[cfg(test)]
mod tests {
    use super::*;
    use faer::prelude::Solve;
    use faer::{Mat, Side};

    /// Second method: a direct factor of the system itself.
    #[test]
    fn a_system_like_the_factored_one_is_solved() {
        let n: usize = 30;
        let of = |tail: f64| {
            Mat::from_fn(n, n, |row, column| {
                let apart = row.abs_diff(column) as i32;
                let far = if apart > 2 { tail } else { 1.0 };
                far * (-0.3_f64).powi(apart)
            })
        };
        let (whole, near) = (of(1.0), of(0.0));
        let near = near.llt(Side::Lower).unwrap();
        let right = Col::from_fn(n, |row| (row as f64 * 1.7).sin());
        let found = solve(|x| &whole * x, |x| near.solve(x), &right);
        let expected = whole.llt(Side::Lower).unwrap().solve(&right);
        assert!((&found - &expected).norm_max() < 1e-7);
    }

    #[test]
    fn nothing_on_the_right_is_nothing() {
        let right = Col::<f64>::zeros(3);
        assert_eq!(solve(Col::clone, Col::clone, &right).norm_max(), 0.0);
    }
}
