//! Which supports are neighbours.

use super::{PassesError, SupportToLift};
use crate::settings::Limits;
use crate::units::{LENGTH_EPS, Length};
use serde::Serialize;

/// Supports nearer to one another than this stand in the same place: a millimetre.
const SAME_PLACE: Length = Length::mm(1.0);

/// Two supports that see one another, and the slope between their seats.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NeighbourPair {
    /// Indices into the list of supports, the smaller first.
    pub supports: (usize, usize),
    /// Their distance.
    pub distance: Length,
    /// Slope at the start, from the first to the second (a ratio).
    pub start: f64,
    /// Slope when all is done (a ratio).
    pub end: f64,
    /// The largest slope allowed on the way, without sign (a ratio).
    pub limit: f64,
    /// Both are raised, or both are let down.
    pub moves_together: bool,
}

/// Finds the pairs: within the neighbour distance, and no third support inside or on the circle
/// that has the pair as its diameter.
///
/// On a grid of stumps these are the neighbours along the rows and across them, never the
/// diagonals; beside a missing stump the pair spans the hole.
///
/// # References
/// The Gabriel graph: Gabriel & Sokal, *A new statistical approach to geographic variation
/// analysis*, Systematic Zoology 18 (1969) (from memory).
pub(super) fn find(supports: &[SupportToLift], limits: &Limits) -> Vec<NeighbourPair> {
    let near = near_pairs(supports, limits.neighbour_distance.value);
    let mut around = vec![Vec::new(); supports.len()];
    for &(a, b) in &near {
        around[a].push(b);
        around[b].push(a);
    }
    near.into_iter()
        .filter(|&(a, b)| {
            !around[a].iter().any(|&third| third != b && sees_between(supports, a, b, third))
        })
        .map(|(a, b)| pair(supports, a, b, limits.distortion.value))
        .collect()
}

/// Whether the third support lies in the circle over the first two: it sees them at a right
/// angle or wider.
fn sees_between(supports: &[SupportToLift], a: usize, b: usize, third: usize) -> bool {
    let place = |support: usize| supports[support].at;
    let arm = |support: usize| {
        let (x, y) = (place(support).x - place(third).x, place(support).y - place(third).y);
        (x.to_mm(), y.to_mm())
    };
    let ((ax, ay), (bx, by)) = (arm(a), arm(b));
    ax * bx + ay * by <= LENGTH_EPS.to_mm() * place(a).distance(place(b)).to_mm()
}

fn pair(supports: &[SupportToLift], a: usize, b: usize, distortion: f64) -> NeighbourPair {
    let (from, to) = (&supports[a], &supports[b]);
    let distance = from.at.distance(to.at);
    let start = (to.seat - from.seat) / distance;
    let end = start + (to.lift - from.lift) / distance;
    NeighbourPair {
        supports: (a, b),
        distance,
        start,
        end,
        limit: distortion.max(start.abs()).max(end.abs()),
        moves_together: from.lift.to_mm() * to.lift.to_mm() > 0.0,
    }
}

/// Every pair within a distance, the smaller index first, in order.
fn near_pairs(supports: &[SupportToLift], distance: Length) -> Vec<(usize, usize)> {
    let mut by_x: Vec<usize> = (0..supports.len()).collect();
    by_x.sort_by(|&a, &b| supports[a].at.x.total_cmp(&supports[b].at.x).then(a.cmp(&b)));
    let reach = distance + LENGTH_EPS;
    let mut pairs = Vec::new();
    for (place, &a) in by_x.iter().enumerate() {
        for &b in &by_x[place + 1..] {
            if supports[b].at.x - supports[a].at.x > reach {
                break;
            }
            if supports[a].at.distance(supports[b].at) <= reach {
                pairs.push((a.min(b), a.max(b)));
            }
        }
    }
    pairs.sort_unstable();
    pairs
}

pub(super) fn same_place(supports: &[SupportToLift]) -> Vec<PassesError> {
    near_pairs(supports, SAME_PLACE)
        .into_iter()
        .map(|(a, b)| PassesError::SamePlace(supports[a].id.clone(), supports[b].id.clone()))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::SupportId;
    use crate::site::Position;
    use crate::units::Level;

    fn at(x: f64, y: f64) -> SupportToLift {
        SupportToLift {
            id: SupportId::new(format!("{x}/{y}")),
            at: Position::mm(x, y),
            seat: Level::DATUM,
            gap: Length::ZERO,
            lift: Length::ZERO,
        }
    }

    #[test]
    fn a_grid_has_no_diagonals_and_a_hole_is_spanned() {
        let check = |supports: &[SupportToLift], expected: &[(usize, usize)]| {
            let pairs = find(supports, &Limits::default());
            assert_eq!(pairs.iter().map(|pair| pair.supports).collect::<Vec<_>>(), expected);
        };
        let grid = [at(0.0, 0.0), at(1800.0, 0.0), at(0.0, 1500.0), at(1800.0, 1500.0)];
        check(&grid, &[(0, 1), (0, 2), (1, 3), (2, 3)]);
        let row = [at(0.0, 0.0), at(1800.0, 0.0), at(3600.0, 0.0)];
        check(&row, &[(0, 1), (1, 2)]);
        check(&[at(0.0, 0.0), at(3600.0, 0.0)], &[(0, 1)]);
        check(&[at(0.0, 0.0), at(3700.0, 0.0)], &[]);
    }
}
