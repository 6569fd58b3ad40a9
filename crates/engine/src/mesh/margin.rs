//! What auxiliary corners take from the sites near them.

use super::plane::{Xy, crossing};
use super::{Corner, Triangle};

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

fn terms_for(
    corner: usize,
    corners: &[Corner],
    near: &[Vec<usize>],
    sides: &[(Xy, Xy)],
) -> Vec<(usize, f64)> {
    let at = corners[corner].at;
    let in_sight =
        |place: Xy| sides.iter().all(|&(from, to)| crossing((at, place), (from, to)).is_none());
    let mut seen = std::collections::BTreeSet::from([corner]);
    let mut ring = vec![corner];
    let mut visible: Vec<usize> = Vec::new();
    let mut hidden: Vec<usize> = Vec::new();
    let mut best: Option<(f64, Vec<f64>)> = None;
    let mut n_used = 0;
    for step in 0.. {
        let found_any = !visible.is_empty() || !hidden.is_empty();
        if ring.is_empty() || visible.len() >= MOST_SITES || (step >= MOST_RINGS && found_any) {
            break;
        }
        let next: Vec<usize> = ring
            .iter()
            .flat_map(|&from| &near[from])
            .copied()
            .filter(|to| seen.insert(*to))
            .collect();
        for &to in next.iter().filter(|&&to| corners[to].is_site) {
            if in_sight(corners[to].at) { visible.push(to) } else { hidden.push(to) }
        }
        let places: Vec<Xy> = visible.iter().map(|&to| corners[to].at).collect();
        if let Some(weights) = plane_weights(at, &places) {
            let size: f64 = weights.iter().map(|weight| weight.abs()).sum();
            if best.as_ref().is_none_or(|(least, _)| size < *least) {
                best = Some((size, weights));
                n_used = places.len();
            }
            if size <= CALM {
                break;
            }
        }
        ring = next;
    }
    let (used, weights) = match best {
        Some((size, weights)) if size <= WILD => (&visible[..n_used], weights),
        _ => {
            let used = if visible.is_empty() { &hidden } else { &visible };
            let places: Vec<Xy> = used.iter().map(|&to| corners[to].at).collect();
            (used.as_slice(), mean_weights(at, &places))
        }
    };
    used.iter()
        .zip(weights)
        .flat_map(|(&to, weight)| corners[to].terms.iter().map(move |&(s, w)| (s, w * weight)))
        .collect()
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
