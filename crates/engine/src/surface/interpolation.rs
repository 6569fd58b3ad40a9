//! How far the floor may stray from a straight line between readings.

use super::{Deck, Surface};
use crate::units::Length;
use serde::Serialize;

/// Roughness assumed before the floor itself has shown anything: a standard deviation of 2 mm at a
/// metre from the nearest reading. A choice for old boarded floors, without a source.
const ASSUMED_AT_A_METRE: f64 = 2.0;
/// How many readings' worth of say the assumed roughness has.
const ASSUMED_WEIGHT: f64 = 2.0;
/// Beyond the readings the standard deviation is this many times as large: nothing holds the far
/// side. A choice.
const MARGIN_FACTOR: f64 = 2.0;
/// On a floor of more readings than about this, every so manyth is compared: the roughness is one
/// number, and this many tell it to a few parts in a hundred.
const MOST_COMPARED: usize = 2_000;
/// A reading is compared with its neighbours; of very many, the nearest are enough.
const MOST_NEIGHBOURS: usize = 12;

/// The model of what the floor does between readings.
///
/// The variance of the interpolation grows evenly with the distance `d` to the nearest reading:
/// `sd = at_a_metre * sqrt(d / 1 m)`, nothing at a reading, and twice that in the margin. (A floor
/// whose height wanders like this has a linear variogram; a floor that only bends smoothly is
/// better known than this says.)
///
/// The roughness comes from leaving out each reading in turn. Its level is predicted by the
/// triangle of its neighbours that holds it once it is gone; of the error `e` the part that the
/// survey explains is taken off, and the rest is divided by the distance to the nearest of the
/// three:
///
/// `at_a_metre^2 = (2 * (2 mm)^2 + sum(max(0, e^2 - sd_survey^2) / (d / 1 m))) / (2 + n)`
///
/// The two pseudo-readings with 2 mm at a metre (a choice) keep a few lucky readings from claiming
/// a perfect floor. A real floor with bumps narrower than the spacing of the readings can stray
/// further: no interpolation sees what was not read.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct InterpolationError {
    /// Standard deviation one metre from the nearest reading.
    pub at_a_metre: Length,
    /// How many readings could be predicted from their neighbours.
    pub compared: usize,
}

impl InterpolationError {
    /// What is taken before anything is known of the floor.
    pub fn assumed() -> Self {
        Self { at_a_metre: Length::mm(ASSUMED_AT_A_METRE), compared: 0 }
    }

    /// Standard deviation at a distance from the nearest reading.
    pub fn sd_at(&self, nearest: Length, measured: bool) -> Length {
        self.at_a_metre * nearest.to_m().sqrt() * if measured { 1.0 } else { MARGIN_FACTOR }
    }
}

/// The model for a surface, from its own readings.
pub(super) fn estimate(surface: &Surface) -> InterpolationError {
    let squares: Vec<f64> =
        surface.decks.iter().flat_map(|deck| squares_at_a_metre(surface, deck)).collect();
    let assumed = ASSUMED_WEIGHT * ASSUMED_AT_A_METRE * ASSUMED_AT_A_METRE;
    let total = assumed + squares.iter().sum::<f64>();
    let mean = total / (ASSUMED_WEIGHT + squares.len() as f64);
    InterpolationError { at_a_metre: Length::mm(mean.sqrt()), compared: squares.len() }
}

/// For each reading that its neighbours can predict: unexplained squared error over distance.
fn squares_at_a_metre(surface: &Surface, deck: &Deck) -> Vec<f64> {
    let mesh = &deck.mesh;
    let place = |corner: usize| {
        let at = mesh.corner_position(corner);
        [at.x.to_mm(), at.y.to_mm()]
    };
    let levels_of = |corner: usize, factor: f64| {
        let carry = move |&(site, w): &(usize, f64)| {
            (surface.readings[deck.readings[site]].in_levels, factor * w)
        };
        mesh.corner_terms(corner).iter().map(carry)
    };
    let neighbours = mesh.site_neighbours();
    let every = neighbours.len().div_ceil(MOST_COMPARED).max(1);
    let predicted = neighbours.into_iter().step_by(every).filter_map(|(corner, mut near)| {
        let here = mesh.corner_position(corner);
        let away = |other: usize| mesh.corner_position(other).distance(here);
        near.sort_by(|&a, &b| away(a).total_cmp(&away(b)));
        near.truncate(MOST_NEIGHBOURS);
        let ring: Vec<[f64; 2]> = near.iter().map(|&other| place(other)).collect();
        let holds = delaunay_triangle_round(place(corner), &ring)?;
        let parts = holds.map(|(idx, share)| (near[idx], share));
        let guess: f64 =
            parts.iter().map(|&(other, share)| share * surface.corner_level(deck, other)).sum();
        let error = surface.corner_level(deck, corner) - guess;
        let others = parts.iter().flat_map(|&(other, share)| levels_of(other, -share));
        let weights: Vec<(usize, f64)> = levels_of(corner, 1.0).chain(others).collect();
        let survey = surface.levels.combination_sd(&weights).squared().to_mm2();
        let nearest = parts.iter().map(|&(other, _)| away(other)).min_by(Length::total_cmp)?;
        let square = (error * error - survey).max(0.0) / nearest.to_m();
        square.is_finite().then_some(square)
    });
    predicted.collect()
}

/// The triangle of the ring's own Delaunay triangulation that holds a place, with the shares of
/// its corners: the one triangle round the place with no other of the ring in its circumcircle.
fn delaunay_triangle_round(place: [f64; 2], ring: &[[f64; 2]]) -> Option<[(usize, f64); 3]> {
    let local: Vec<[f64; 2]> = ring.iter().map(|at| [at[0] - place[0], at[1] - place[1]]).collect();
    let cross = |a: [f64; 2], b: [f64; 2]| a[0] * b[1] - a[1] * b[0];
    for i in 0..local.len() {
        for j in i + 1..local.len() {
            for k in j + 1..local.len() {
                let [a, b, c] = [local[i], local[j], local[k]];
                let parts = [cross(b, c), cross(c, a), cross(a, b)];
                let twice_area: f64 = parts.iter().sum();
                if twice_area.abs() < 1.0 || parts.iter().any(|part| part / twice_area < -1e-9) {
                    continue;
                }
                let others = (0..local.len()).filter(|idx| ![i, j, k].contains(idx));
                if others.into_iter().all(|idx| !in_circle([a, b, c], local[idx])) {
                    let [p, q, r] = parts.map(|part| part / twice_area);
                    return Some([(i, p), (j, q), (k, r)]);
                }
            }
        }
    }
    None
}

fn in_circle([a, b, c]: [[f64; 2]; 3], d: [f64; 2]) -> bool {
    let row = |p: [f64; 2]| {
        let (x, y) = (p[0] - d[0], p[1] - d[1]);
        [x, y, x * x + y * y]
    };
    let [p, q, r] = [row(a), row(b), row(c)];
    let determinant = p[0] * (q[1] * r[2] - q[2] * r[1]) - p[1] * (q[0] * r[2] - q[2] * r[0])
        + p[2] * (q[0] * r[1] - q[1] * r[0]);
    let turn = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
    let scale = [p, q, r].iter().map(|row| row[2]).fold(1.0, f64::max);
    determinant * turn.signum() > 1e-9 * scale * scale
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::{Boundary, SiteMesh};
    use crate::site::Position;

    /// Second method: mesh the other sites anew and look the place up.
    #[test]
    fn leaving_out_by_the_ring_is_the_same_as_meshing_anew() {
        let places: Vec<Position> = (0..42)
            .map(|idx| {
                let (col, row) = (f64::from(idx % 7), f64::from(idx / 7));
                let aside = |step: f64| 260.0 * (step * 1.7).sin();
                Position::mm(
                    col * 1000.0 + aside(row + 3.0 * col),
                    row * 900.0 + aside(col - 2.0 * row),
                )
            })
            .collect();
        let value = |at: Position| 5.0 * (at.x.to_m() * 1.3).sin() + at.y.to_m().powi(2);
        let mesh = SiteMesh::new(&Boundary::around(&places), &places).unwrap();
        let local = |at: Position| [at.x.to_mm(), at.y.to_mm()];
        let mut compared = 0;
        for (site, near) in mesh.site_neighbours() {
            let ring: Vec<[f64; 2]> = near.iter().map(|&other| local(places[other])).collect();
            let Some(parts) = delaunay_triangle_round(local(places[site]), &ring) else { continue };
            let by_ring: f64 =
                parts.iter().map(|&(idx, share)| share * value(places[near[idx]])).sum();
            let others: Vec<Position> =
                places.iter().copied().filter(|&at| at != places[site]).collect();
            let anew = SiteMesh::new(&Boundary::around(&others), &others).unwrap();
            let weights = anew.weights_at(places[site]).unwrap();
            let by_mesh = weights.apply(|idx| value(others[idx]));
            assert!((by_ring - by_mesh).abs() < 1e-9, "site {site}: {by_ring} and {by_mesh}");
            compared += 1;
        }
        assert!(compared >= 20, "{compared}");
    }
}
