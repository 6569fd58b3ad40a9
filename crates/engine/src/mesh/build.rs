//! From a boundary and sites to triangles.

use super::boundary::Boundary;
use super::locate::Buckets;
use super::margin::fill_margin;
use super::pieces::{peel_rim, piece_of, split_into_pieces};
use super::plane::{Xy, along_segment, crossing, nearest_on, shares};
use super::{
    Corner, MeshFault, MovedSite, OUTSIDE_ALLOWANCE, PLAN_LIMIT, Piece, SAME_PLACE, SiteMesh,
};
use crate::site::Position;
use crate::units::Length;
use spade::{ConstrainedDelaunayTriangulation, Point2, Triangulation};
use std::collections::{BTreeMap, BTreeSet};

/// A site that stands on the outline to within a millimetre bends it by as much. A triangle flatter
/// than this between corners of the outline fills such a bend, may reach across a gap between
/// rooms, and is dropped; looking up a place bridges the millimetre.
const FLAT: f64 = 1.01;

/// Auxiliary corners stand no closer along the outline than this.
const LEAST_SPACING: f64 = 250.0;

impl SiteMesh {
    /// Joins sites by triangles that stay within the boundary.
    ///
    /// # Errors
    /// Every site that is further outside than [`OUTSIDE_ALLOWANCE`] or has no usable position.
    pub fn new(boundary: &Boundary, sites: &[Position]) -> Result<Self, Vec<MeshFault>> {
        let origin = sites.first().filter(|at| at.is_finite()).copied().unwrap_or_default();
        let (placed, moved) = place_sites(boundary, sites)?;
        let (mut corners, repeats) = merge_repeats(&placed, origin);
        let sides: Vec<(Xy, Xy)> = boundary
            .sides()
            .iter()
            .map(|&(from, to)| (Xy::from_position(from, origin), Xy::from_position(to, origin)))
            .collect();
        let spacing = auxiliary_spacing(boundary, &sides, corners.len());
        let between = edge_of_readings(&corners, &sides, boundary, origin);
        let mut constraints = break_sides(&sides, &mut corners, spacing);
        let all_sites: Vec<usize> =
            (0..corners.len()).filter(|&idx| corners[idx].is_site).collect();
        let whole = piece_of(&all_sites, &corners);
        // Without an outline, sites on a line enclose nothing worth a triangle.
        let only_a_line = boundary.is_assumed() && !matches!(whole, Piece::Spanned);
        let triangles = if only_a_line {
            Vec::new()
        } else {
            let on_outline = on_outline(&corners, &constraints);
            constraints.extend(between);
            let triangles = triangulate(&corners, constraints, boundary, origin);
            without_bends(triangles, &corners, &on_outline)
        };
        let (mut triangles, mut pieces) = split_into_pieces(triangles, &corners);
        peel_rim(&mut triangles, &corners);
        if triangles.is_empty() && boundary.is_assumed() {
            pieces = vec![whole];
        }
        fill_margin(&mut corners, &triangles, &sides);
        let places: Vec<[Xy; 3]> =
            triangles.iter().map(|triangle| triangle.corners.map(|idx| corners[idx].at)).collect();
        Ok(Self {
            boundary: boundary.clone(),
            origin,
            sites: sites.iter().map(|&at| Xy::from_position(at, origin)).collect(),
            corners,
            triangles,
            pieces,
            buckets: Buckets::new(&places),
            moved,
            repeats,
        })
    }
}

/// Sites where the mesh has them: those a little outside are moved onto the line.
fn place_sites(
    boundary: &Boundary,
    sites: &[Position],
) -> Result<(Vec<Position>, Vec<MovedSite>), Vec<MeshFault>> {
    let (mut placed, mut moved, mut faults) = (Vec::new(), Vec::new(), Vec::new());
    for (site, &at) in sites.iter().enumerate() {
        let on_plan = at.is_finite() && at.x.abs() <= PLAN_LIMIT && at.y.abs() <= PLAN_LIMIT;
        if !on_plan {
            faults.push(MeshFault::SiteOffThePlan { site });
            continue;
        }
        if boundary.encloses(at) {
            placed.push(at);
            continue;
        }
        match boundary.nearest(at) {
            Some((near, outside)) if outside > SAME_PLACE && outside <= OUTSIDE_ALLOWANCE => {
                moved.push(MovedSite { site, by: outside });
                placed.push(near);
            }
            Some((_, outside)) if outside > OUTSIDE_ALLOWANCE => {
                faults.push(MeshFault::SiteOutside { site, outside });
            }
            _ => placed.push(at),
        }
    }
    if faults.is_empty() { Ok((placed, moved)) } else { Err(faults) }
}

/// One corner for each place, and the groups of sites that share one.
fn merge_repeats(placed: &[Position], origin: Position) -> (Vec<Corner>, Vec<Vec<usize>>) {
    let mut corners: Vec<(Xy, Vec<usize>)> = Vec::new();
    let mut by_cell: BTreeMap<(i64, i64), Vec<usize>> = BTreeMap::new();
    let reach = SAME_PLACE.to_mm();
    for (site, &position) in placed.iter().enumerate() {
        let at = flushed(Xy::from_position(position, origin));
        let cell = ((at.x / reach).floor() as i64, (at.y / reach).floor() as i64);
        let around = (-1..=1).flat_map(|dx| (-1..=1).map(move |dy| (cell.0 + dx, cell.1 + dy)));
        let same = around
            .filter_map(|cell| by_cell.get(&cell))
            .flatten()
            .copied()
            .find(|&corner| corners[corner].0.distance(at) <= reach);
        match same {
            Some(corner) => corners[corner].1.push(site),
            None => {
                by_cell.entry(cell).or_default().push(corners.len());
                corners.push((at, vec![site]));
            }
        }
    }
    let repeats =
        corners.iter().filter(|(_, sites)| sites.len() > 1).map(|(_, sites)| sites.clone());
    let repeats = repeats.collect();
    let corners = corners
        .into_iter()
        .map(|(at, sites)| {
            let share = 1.0 / sites.len() as f64;
            let terms = sites.into_iter().map(|site| (site, share)).collect();
            Corner { at, terms, is_site: true }
        })
        .collect();
    (corners, repeats)
}

/// Which corners are ends of the outline's pieces.
fn on_outline(corners: &[Corner], constraints: &[[usize; 2]]) -> Vec<bool> {
    let mut on_outline = vec![false; corners.len()];
    constraints.iter().flatten().for_each(|&idx| on_outline[idx] = true);
    on_outline
}

/// Triangles without those that only fill a bend of the outline.
///
/// A site that no other triangle has keeps its flat triangle: it stands at a tip of the floor, where
/// a short side of the outline and a long one make little height between them.
fn without_bends(
    triangles: Vec<[usize; 3]>,
    corners: &[Corner],
    on_outline: &[bool],
) -> Vec<[usize; 3]> {
    let (bends, mut kept): (Vec<_>, Vec<_>) = triangles.into_iter().partition(|triangle| {
        let flat = height_of(triangle.map(|idx| corners[idx].at)) <= FLAT;
        flat && triangle.iter().all(|&idx| on_outline[idx])
    });
    let mut in_a_triangle = vec![false; corners.len()];
    kept.iter().flatten().for_each(|&idx| in_a_triangle[idx] = true);
    for bend in bends {
        if bend.iter().any(|&idx| corners[idx].is_site && !in_a_triangle[idx]) {
            bend.iter().for_each(|&idx| in_a_triangle[idx] = true);
            kept.push(bend);
        }
    }
    kept
}

/// The height of a triangle over its longest side.
fn height_of([a, b, c]: [Xy; 3]) -> f64 {
    let longest = a.distance(b).max(b.distance(c)).max(c.distance(a));
    (b - a).cross(c - a).abs() / longest
}

/// The triangulation refuses numbers that are almost but not quite zero.
fn flushed(at: Xy) -> Xy {
    let flush = |value: f64| if value.abs() < 1e-9 { 0.0 } else { value };
    Xy::new(flush(at.x), flush(at.y))
}

/// How far apart auxiliary corners stand along the outline: about as far as the sites do.
fn auxiliary_spacing(boundary: &Boundary, sides: &[(Xy, Xy)], n_sites: usize) -> f64 {
    let n_sites = n_sites.max(1) as f64;
    let length: f64 = sides.iter().map(|(from, to)| from.distance(*to)).sum();
    let typical = boundary.side_of_equal_square().to_mm() / n_sites.sqrt();
    typical.max(LEAST_SPACING).max(length / (4.0 * n_sites + 64.0))
}

/// The sides that part what lies between the sites from the margin.
///
/// The sites are triangulated on their own; triangles that the outline cuts are dropped. The outer
/// sides of the rest become constraints, so that no auxiliary corner reaches in between sites.
fn edge_of_readings(
    corners: &[Corner],
    sides: &[(Xy, Xy)],
    boundary: &Boundary,
    origin: Position,
) -> Vec<[usize; 2]> {
    let mut edge = BTreeSet::new();
    for [a, b, c] in triangulate(corners, Vec::new(), boundary, origin) {
        let triangle = [a, b, c].map(|idx| corners[idx].at);
        if sides.iter().any(|&side| cuts(triangle, side)) {
            continue;
        }
        for (from, to) in [(a, b), (b, c), (c, a)] {
            let side = [from.min(to), from.max(to)];
            // The second triangle at a side makes it an inner one.
            if !edge.remove(&side) {
                edge.insert(side);
            }
        }
    }
    edge.into_iter().collect()
}

/// Whether a side of the outline runs through a triangle, starts inside it, or has an end within a
/// millimetre of its rim other than at a corner.
fn cuts(triangle: [Xy; 3], (from, to): (Xy, Xy)) -> bool {
    let [a, b, c] = triangle;
    let reach = SAME_PLACE.to_mm();
    let apart = |axis: fn(Xy) -> f64| {
        let least = axis(a).min(axis(b)).min(axis(c)) - reach;
        let most = axis(a).max(axis(b)).max(axis(c)) + reach;
        axis(from).min(axis(to)) > most || axis(from).max(axis(to)) < least
    };
    if apart(|at| at.x) || apart(|at| at.y) {
        return false;
    }
    let rim = [(a, b), (b, c), (c, a)];
    let touches = |end: Xy| {
        let at_corner = triangle.iter().any(|corner| corner.distance(end) <= reach);
        let inside =
            shares(triangle, end).is_some_and(|parts| parts.iter().all(|&part| part > 0.0));
        let on_rim =
            |&(start, stop): &(Xy, Xy)| nearest_on(start, stop, end).distance(end) <= reach;
        !at_corner && (inside || rim.iter().any(on_rim))
    };
    touches(from) || touches(to) || rim.iter().any(|&side| crossing(side, (from, to)).is_some())
}

/// Breaks the outline's sides up at sites that stand on them and, between, at auxiliary corners.
fn break_sides(sides: &[(Xy, Xy)], corners: &mut Vec<Corner>, spacing: f64) -> Vec<[usize; 2]> {
    let n_sites = corners.len();
    let mut known: BTreeMap<(u64, u64), usize> =
        corners.iter().enumerate().map(|(idx, corner)| (bits(corner.at), idx)).collect();
    let mut constraints = Vec::new();
    let reach = SAME_PLACE.to_mm();
    for &(from, to) in sides {
        let ends = [from, to].map(|end| {
            let site = (0..n_sites).find(|&idx| corners[idx].at.distance(end) <= reach);
            site.unwrap_or_else(|| auxiliary_corner(corners, &mut known, end))
        });
        let mut stops: Vec<(f64, usize)> = (0..n_sites)
            .filter(|&idx| !ends.contains(&idx))
            .filter(|&idx| nearest_on(from, to, corners[idx].at).distance(corners[idx].at) <= reach)
            .map(|idx| (along_segment(from, to, corners[idx].at), idx))
            .collect();
        stops.sort_by(|a, b| a.0.total_cmp(&b.0));
        let between = stops.into_iter().map(|(_, idx)| idx);
        let stops: Vec<usize> = [ends[0]].into_iter().chain(between).chain([ends[1]]).collect();
        for pair in stops.windows(2) {
            let (start, end) = (corners[pair[0]].at, corners[pair[1]].at);
            let both_sites = pair.iter().all(|&idx| corners[idx].is_site);
            let n_parts = if both_sites { 1 } else { parts(start.distance(end), spacing) };
            let mut previous = pair[0];
            for part in 1..n_parts {
                let at = start + (end - start) * (part as f64 / n_parts as f64);
                let next = auxiliary_corner(corners, &mut known, at);
                constraints.push([previous, next]);
                previous = next;
            }
            constraints.push([previous, pair[1]]);
        }
    }
    constraints.retain(|[from, to]| from != to);
    constraints
}

fn parts(length: f64, spacing: f64) -> usize {
    // Finite: both come from checked positions, and the spacing grows with the outline's length.
    ((length / spacing).ceil() as usize).max(1)
}

fn bits(at: Xy) -> (u64, u64) {
    (at.x.to_bits(), at.y.to_bits())
}

/// The corner at exactly this place, an auxiliary one if there is none yet.
fn auxiliary_corner(
    corners: &mut Vec<Corner>,
    known: &mut BTreeMap<(u64, u64), usize>,
    at: Xy,
) -> usize {
    let at = flushed(at);
    *known.entry(bits(at)).or_insert_with(|| {
        corners.push(Corner { at, terms: Vec::new(), is_site: false });
        corners.len() - 1
    })
}

/// Triangles within the boundary, as corner indices.
fn triangulate(
    corners: &[Corner],
    constraints: Vec<[usize; 2]>,
    boundary: &Boundary,
    origin: Position,
) -> Vec<[usize; 3]> {
    let points: Vec<Point2<f64>> =
        corners.iter().map(|corner| Point2::new(corner.at.x, corner.at.y)).collect();
    let n_points = points.len();
    // Sides that cross by less than the joining distance are left out rather than refused: the
    // test of each triangle against the boundary below still keeps the mesh inside.
    let built = ConstrainedDelaunayTriangulation::<Point2<f64>>::try_bulk_load_cdt(
        points,
        constraints,
        |_| {},
    );
    let Ok(mesh) = built else { return Vec::new() };
    assert_eq!(mesh.num_vertices(), n_points, "corners of a mesh are at different places");
    mesh.inner_faces()
        .map(|face| face.vertices().map(|vertex| vertex.index()))
        .filter(|triangle| {
            let [a, b, c] = triangle.map(|idx| corners[idx].at);
            let middle = (a + b + c) * (1.0 / 3.0);
            let place =
                Position { x: origin.x + Length::mm(middle.x), y: origin.y + Length::mm(middle.y) };
            shares([a, b, c], middle).is_some() && boundary.encloses(place)
        })
        .collect()
}
