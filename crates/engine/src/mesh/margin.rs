//! What auxiliary corners take from the sites near them.

use super::plane::{Xy, crossing};
use super::{Corner, Triangle};
use std::collections::BTreeSet;

/// Weights whose absolute values sum to no more than this are accepted without looking further.
const CALM: f64 = 3.0;
/// Weights whose absolute values sum to more than this are not used: the mean is taken instead.
const WILD: f64 = 10.0;
/// Sites are looked for no more than this many steps away along the mesh.
const MOST_RINGS: usize = 5;
/// And no more than this many of them are used.
const MOST_SITES: usize = 40;

/// Corners joined to each corner by a side of a triangle, by rising index.
pub(super) fn neighbours(n_corners: usize, triangles: &[Triangle]) -> Vec<Vec<usize>> {
    let mut near = vec![Vec::new(); n_corners];
    for triangle in triangles {
        let [a, b, c] = triangle.corners;
        for (from, to) in [(a, b), (b, c), (c, a)] {
            near[from].push(to);
            near[to].push(from);
        }
    }
    for list in &mut near {
        list.sort_unstable();
        list.dedup();
    }
    near
}

/// Gives every auxiliary corner its weights of sites.
pub(super) fn fill_margin(corners: &mut [Corner], triangles: &[Triangle], sides: &[(Xy, Xy)]) {
    let near = neighbours(corners.len(), triangles);
    for corner in 0..corners.len() {
        if !corners[corner].is_site && !near[corner].is_empty() {
            corners[corner].terms = terms_for(corner, corners, &near, sides);
        }
    }
}

/// Looks for sites ring by ring along the mesh until those in sight tell a plane calmly.
fn terms_for(
    corner: usize,
    corners: &[Corner],
    near: &[Vec<usize>],
    sides: &[(Xy, Xy)],
) -> Vec<(usize, f64)> {
    let at = corners[corner].at;
    let places =
        |chosen: &[usize]| -> Vec<Xy> { chosen.iter().map(|&to| corners[to].at).collect() };
    let mut seen = BTreeSet::from([corner]);
    let mut ring = vec![corner];
    let (mut visible, mut hidden) = (Vec::new(), Vec::new());
    let mut best = Fit { size: f64::INFINITY, weights: Vec::new() };
    for step in 0.. {
        let found_any = !visible.is_empty() || !hidden.is_empty();
        if ring.is_empty() || visible.len() >= MOST_SITES || (step >= MOST_RINGS && found_any) {
            break;
        }
        let around = ring.iter().flat_map(|&from| &near[from]).copied();
        ring = around.filter(|to| seen.insert(*to)).collect();
        for &to in ring.iter().filter(|&&to| corners[to].is_site) {
            if in_sight(at, corners[to].at, sides) { visible.push(to) } else { hidden.push(to) }
        }
        if let Some(weights) = plane_weights(at, &places(&visible)) {
            let size = weights.iter().map(|weight| weight.abs()).sum();
            if size < best.size {
                best = Fit { size, weights };
            }
            if size <= CALM {
                break;
            }
        }
    }
    // The weights are those of the first sites found, in the order they were found.
    let (used, weights) = if best.size <= WILD {
        (&visible, best.weights)
    } else {
        let used = if visible.is_empty() { &hidden } else { &visible };
        (used, mean_weights(at, &places(used)))
    };
    used.iter()
        .zip(weights)
        .flat_map(|(&to, weight)| corners[to].terms.iter().map(move |&(s, w)| (s, w * weight)))
        .collect()
}

/// Weights that give a plane's value, and the sum of their absolute values.
struct Fit {
    size: f64,
    weights: Vec<f64>,
}

/// Whether no side of the outline stands between two places.
fn in_sight(from: Xy, to: Xy, sides: &[(Xy, Xy)]) -> bool {
    sides.iter().all(|&side| crossing((from, to), side).is_none())
}

/// One over the distance squared.
fn nearness(at: Xy, place: Xy) -> f64 {
    let step = place - at;
    1.0 / step.dot(step).max(1.0)
}

fn mean_weights(at: Xy, places: &[Xy]) -> Vec<f64> {
    let total: f64 = places.iter().map(|&place| nearness(at, place)).sum();
    places.iter().map(|&place| nearness(at, place) / total).collect()
}

/// What each place contributes to the value at `at` of the plane fitted through all of them,
/// weighted by [`nearness`]; `None` if they do not tell a plane.
fn plane_weights(at: Xy, places: &[Xy]) -> Option<Vec<f64>> {
    if places.len() < 3 {
        return None;
    }
    let shares = mean_weights(at, places);
    let centre =
        places.iter().zip(&shares).fold(Xy::default(), |sum, (&place, &share)| sum + place * share);
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for (&place, &share) in places.iter().zip(&shares) {
        let step = place - centre;
        xx += share * step.x * step.x;
        xy += share * step.x * step.y;
        yy += share * step.y * step.y;
    }
    let determinant = xx * yy - xy * xy;
    if determinant <= 1e-6 * (xx + yy) * (xx + yy) {
        return None;
    }
    let out = at - centre;
    let pull = Xy::new(yy * out.x - xy * out.y, xx * out.y - xy * out.x) * (1.0 / determinant);
    let weigh = |(&place, &share): (&Xy, &f64)| share * (1.0 + pull.dot(place - centre));
    Some(places.iter().zip(&shares).map(weigh).collect())
}
