//! The connected parts of the floor, and which of their triangles are measured.

use super::plane::Xy;
use super::{Corner, Piece, SiteLine, Triangle};
use std::collections::BTreeMap;

/// A triangle at the rim of the readings with a wider angle than this inside it, in degrees,
/// counts to the margin; a choice.
const FLAT_ANGLE: f64 = 150.0;

/// Sites count as a line if they are narrower across than this ratio of their length, but no less
/// and no more than these widths; a choice. Wider, and they tell the slope across as well.
const LINE_RATIO: f64 = 0.02;
const LINE_WIDTHS: (f64, f64) = (50.0, 200.0);

/// Groups triangles that are joined by a side, and says of each group what its sites tell.
pub(super) fn split_into_pieces(
    triangles: Vec<[usize; 3]>,
    corners: &[Corner],
) -> (Vec<Triangle>, Vec<Piece>) {
    let mut across: BTreeMap<(usize, usize), Vec<usize>> = BTreeMap::new();
    for (idx, &[a, b, c]) in triangles.iter().enumerate() {
        for (from, to) in [(a, b), (b, c), (c, a)] {
            across.entry((from.min(to), from.max(to))).or_default().push(idx);
        }
    }
    let mut piece_of_triangle = vec![usize::MAX; triangles.len()];
    let mut pieces = Vec::new();
    for first in 0..triangles.len() {
        if piece_of_triangle[first] != usize::MAX {
            continue;
        }
        let piece = pieces.len();
        let mut sites = Vec::new();
        let mut waiting = vec![first];
        piece_of_triangle[first] = piece;
        while let Some(idx) = waiting.pop() {
            let [a, b, c] = triangles[idx];
            sites.extend([a, b, c].into_iter().filter(|&corner| corners[corner].is_site));
            for (from, to) in [(a, b), (b, c), (c, a)] {
                for &next in &across[&(from.min(to), from.max(to))] {
                    if piece_of_triangle[next] == usize::MAX {
                        piece_of_triangle[next] = piece;
                        waiting.push(next);
                    }
                }
            }
        }
        sites.sort_unstable();
        sites.dedup();
        pieces.push(piece_of(&sites, corners));
    }
    let joined = triangles
        .into_iter()
        .zip(piece_of_triangle)
        .map(|(triangle, piece)| Triangle {
            corners: triangle,
            piece,
            measured: matches!(pieces[piece], Piece::Spanned)
                && triangle.iter().all(|&corner| corners[corner].is_site),
        })
        .collect();
    (joined, pieces)
}

/// Counts flat triangles at the rim of the measured part to the margin.
///
/// Readings along a wall are never quite in line; the rim between them is a fringe of triangles
/// metres long and millimetres wide, of which the readings say nothing of use.
pub(super) fn peel_rim(triangles: &mut [Triangle], corners: &[Corner]) {
    let mut at_side: BTreeMap<(usize, usize), Vec<usize>> = BTreeMap::new();
    for (idx, triangle) in triangles.iter().enumerate().filter(|(_, triangle)| triangle.measured) {
        for (_, side) in apexes(triangle.corners) {
            at_side.entry(side).or_default().push(idx);
        }
    }
    let mut waiting: Vec<usize> =
        at_side.values().filter(|on| on.len() == 1).map(|on| on[0]).collect();
    while let Some(idx) = waiting.pop() {
        let sides = apexes(triangles[idx].corners);
        let is_rim = |side: &(usize, usize)| at_side[side].len() == 1;
        let peels = sides.iter().any(|(apex, side)| {
            let (from, to) = (corners[side.0].at, corners[side.1].at);
            is_rim(side) && is_flat(corners[*apex].at, from, to)
        });
        if triangles[idx].measured && peels {
            triangles[idx].measured = false;
            for (_, side) in sides {
                let on = at_side.entry(side).or_default();
                on.retain(|&other| other != idx);
                waiting.extend(on.iter());
            }
        }
    }
}

/// The corners of a triangle, each with the side opposite.
fn apexes([a, b, c]: [usize; 3]) -> [(usize, (usize, usize)); 3] {
    let side = |from: usize, to: usize| (from.min(to), from.max(to));
    [(a, side(b, c)), (b, side(c, a)), (c, side(a, b))]
}

/// Whether the angle at the apex is over [`FLAT_ANGLE`] degrees.
fn is_flat(apex: Xy, from: Xy, to: Xy) -> bool {
    let (left, right) = (from - apex, to - apex);
    left.dot(right) < FLAT_ANGLE.to_radians().cos() * left.length() * right.length()
}

/// Whether sites span a surface, lie on a line, or are none.
pub(super) fn piece_of(sites: &[usize], corners: &[Corner]) -> Piece {
    let Some(&first) = sites.first() else { return Piece::Unknown };
    let farthest_from = |from: Xy| {
        let at = |&idx: &usize| corners[idx].at;
        sites.iter().map(at).max_by(|a, b| a.distance(from).total_cmp(&b.distance(from)))
    };
    let one_end = farthest_from(corners[first].at).unwrap_or_default();
    let other_end = farthest_from(one_end).unwrap_or_default();
    let length = one_end.distance(other_end);
    let direction =
        if length > 0.0 { (other_end - one_end) * (1.0 / length) } else { Xy::new(1.0, 0.0) };
    let offsets = sites.iter().map(|&idx| direction.cross(corners[idx].at - one_end));
    let (low, high) =
        offsets.fold((0.0_f64, 0.0_f64), |(low, high), offset| (low.min(offset), high.max(offset)));
    if high - low > (LINE_RATIO * length).clamp(LINE_WIDTHS.0, LINE_WIDTHS.1) {
        return Piece::Spanned;
    }
    let start = one_end + Xy::new(-direction.y, direction.x) * (0.5 * (low + high));
    let mut knots: Vec<(f64, usize)> =
        sites.iter().map(|&idx| ((corners[idx].at - start).dot(direction), idx)).collect();
    knots.sort_by(|a, b| a.0.total_cmp(&b.0));
    Piece::Line(SiteLine { start, direction, knots })
}
