//! What a lift at the supports does to the floor.
//!
//! Everything that asks how far the floor moves asks an [`Influence`]. It comes from the frame
//! under the floor where there is one, and from interpolation between the supports otherwise;
//! [`InfluenceMethod`] says which wherever the numbers go.

use crate::frame::Frame;
use crate::ids::{PointId, SupportId};
use crate::mesh::{Boundary, MeshFault, SiteMesh, Weights, footprint};
use crate::site::{Position, Site};
use crate::units::Length;
use serde::Serialize;
use std::collections::BTreeMap;

/// No support moves the floor by more than this many times its own lift; a choice.
pub const MOST_INFLUENCE: f64 = 2.0;

/// How an influence was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum InfluenceMethod {
    /// The floor between three supports is taken to move as a plane on their heads. It knows
    /// nothing of the stiffness of bearers and joists, nor which of them run where.
    Interpolation,
    /// Bearers and joists bend over the supports, every support packed.
    Frame,
}

/// How far one place of the floor moves for a lift at each support.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct InfluenceRow {
    /// Index into [`Influence::supports`] and movement per lift (a ratio); they sum to one.
    pub terms: Vec<(usize, f64)>,
    /// Whether the place lies between supports rather than beyond the outermost.
    pub between_supports: bool,
    /// Whether movements were held to [`MOST_INFLUENCE`], so that a tilt is not followed exactly.
    pub held_back: bool,
    /// Distance to the nearest of the supports that move it.
    pub nearest_support: Length,
}

/// The row of a floor point.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PointInfluence {
    /// The point.
    pub point: PointId,
    /// What moves it.
    pub row: InfluenceRow,
}

/// A support that has no say, because it stands off the floor.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct IdleSupport {
    /// The support.
    pub support: SupportId,
    /// How far outside the outline it stands; `None` if its position cannot be computed with.
    pub outside: Option<Length>,
}

/// The movement of the floor as a linear function of the lifts: `movement = G * lift`.
///
/// A step in the floor does not cut the frame under it, so supports act across steps; a notch in
/// the footprint is not bridged.
#[derive(Clone, Debug, Serialize)]
pub struct Influence {
    /// How it was found.
    method: InfluenceMethod,
    /// The supports, in the site's order.
    supports: Vec<SupportId>,
    /// Floor points that some support moves, in the site's order.
    rows: Vec<PointInfluence>,
    #[serde(skip)]
    row_of_point: BTreeMap<PointId, usize>,
    /// Floor points that no support moves.
    unmoved: Vec<PointId>,
    /// Supports that move nothing.
    idle: Vec<IdleSupport>,
    #[serde(skip)]
    between: Between,
}

/// What is between the supports.
#[derive(Clone, Debug)]
enum Between {
    /// Planes on each three of them, and for each site of the mesh the index of its support.
    Planes(Box<SiteMesh>, Vec<usize>),
    /// The frame, which was asked about the floor points when it was built.
    Timber,
}

impl Influence {
    /// Takes the floor to move between the supports as a plane on each three of them.
    ///
    /// Rows sum to one, and follow a lift and a tilt of all supports together exactly wherever the
    /// row is not held back and the supports are not all in one line. Without outlines the
    /// footprint is taken to end at the outermost supports and floor points.
    ///
    /// # Errors
    /// [`MeshFault`] for an outline that cannot be meshed. Points and supports that have no part
    /// in it are no error: see [`Influence::unmoved`] and [`Influence::idle_supports`].
    pub fn by_interpolation(site: &Site) -> Result<Self, Vec<MeshFault>> {
        let floor_places = site.points().iter().filter(|point| point.kind.is_floor());
        let boundary = if site.rooms().is_empty() {
            let supports = site.supports().iter().map(|support| support.at);
            let places: Vec<Position> =
                supports.chain(floor_places.filter_map(|point| point.at)).collect();
            Boundary::around(&places)
        } else {
            footprint(site.rooms())?
        };
        let (mesh, support_of_site, idle) = mesh_of_supports(site, &boundary)?;
        let rows: Vec<Option<InfluenceRow>> = Self::places(site)
            .into_iter()
            .map(|place| row_between(&mesh, &support_of_site, place))
            .collect();
        let mut influence = Self {
            method: InfluenceMethod::Interpolation,
            supports: site.supports().iter().map(|support| support.id.clone()).collect(),
            rows: Vec::new(),
            row_of_point: BTreeMap::new(),
            unmoved: Vec::new(),
            idle,
            between: Between::Planes(Box::new(mesh), support_of_site),
        };
        influence.take_rows(site, rows);
        Ok(influence)
    }

    /// Takes the movement of each floor point from the frame, which was built with the places of
    /// the site's floor points, in their order.
    ///
    /// # Panics
    /// If the frame was asked about other places: a bug of the caller.
    pub fn by_frame(site: &Site, frame: &Frame) -> Self {
        let mut influence = Self {
            method: InfluenceMethod::Frame,
            supports: frame.supports().to_vec(),
            rows: Vec::new(),
            row_of_point: BTreeMap::new(),
            unmoved: Vec::new(),
            idle: Vec::new(),
            between: Between::Timber,
        };
        influence.take_rows(site, frame.places().to_vec());
        influence
    }

    /// Gives each floor point of the site its row; `rows` are those of its places.
    fn take_rows(&mut self, site: &Site, rows: Vec<Option<InfluenceRow>>) {
        let mut rows = rows.into_iter();
        for point in site.points().iter().filter(|point| point.kind.is_floor()) {
            let row = point.at.and_then(|_| rows.next().expect("a row for each place"));
            match row {
                Some(row) => {
                    self.row_of_point.insert(point.id.clone(), self.rows.len());
                    self.rows.push(PointInfluence { point: point.id.clone(), row });
                }
                None => self.unmoved.push(point.id.clone()),
            }
        }
    }

    /// The places that a frame is to be asked about, so that [`Self::by_frame`] can be made of it.
    pub fn places(site: &Site) -> Vec<Position> {
        let floor = site.points().iter().filter(|point| point.kind.is_floor());
        floor.filter_map(|point| point.at).collect()
    }

    /// How it was found.
    pub fn method(&self) -> InfluenceMethod {
        self.method
    }

    /// The supports, in the site's order; rows and lifts count by it.
    pub fn supports(&self) -> &[SupportId] {
        &self.supports
    }

    /// Floor points that some support moves, each with its row.
    pub fn rows(&self) -> &[PointInfluence] {
        &self.rows
    }

    /// The row of a floor point; `None` if no support moves it.
    pub fn row(&self, point: &PointId) -> Option<&InfluenceRow> {
        self.row_of_point.get(point).map(|&idx| &self.rows[idx].row)
    }

    /// Floor points that no support moves: off the footprint, without a place, or too far from
    /// a lone line of supports.
    pub fn unmoved(&self) -> &[PointId] {
        &self.unmoved
    }

    /// Supports that move nothing, because they stand off the footprint.
    pub fn idle_supports(&self) -> &[IdleSupport] {
        &self.idle
    }

    /// What moves the floor right over a support, by its index; `None` if no support does.
    ///
    /// Over a support on the frame it is that support alone. A support that stands off the
    /// footprint has no say, and the floor there hangs on others.
    pub fn row_over(&self, support: usize, place: Position) -> Option<InfluenceRow> {
        let Between::Planes(mesh, support_of_site) = &self.between else {
            return Some(InfluenceRow {
                terms: vec![(support, 1.0)],
                between_supports: true,
                held_back: false,
                nearest_support: Length::ZERO,
            });
        };
        row_between(mesh, support_of_site, place)
    }
}

/// What moves a place of the footprint, or one outside by no more than
/// [`OUTSIDE_ALLOWANCE`](crate::mesh::OUTSIDE_ALLOWANCE); `None` if no support does.
fn row_between(
    mesh: &SiteMesh,
    support_of_site: &[usize],
    place: Position,
) -> Option<InfluenceRow> {
    let place = mesh.nearest_place(place).unwrap_or(place);
    let Weights { terms, measured, nearest } = mesh.weights_at(place)?;
    let terms = terms.into_iter().map(|(site, weight)| (support_of_site[site], weight));
    let (terms, held_back) = hold_back(terms.collect());
    Some(InfluenceRow { terms, between_supports: measured, held_back, nearest_support: nearest })
}

impl InfluenceRow {
    /// How far the place moves when each support is lifted so far.
    ///
    /// # Panics
    /// If there are fewer lifts than supports: a bug of the caller.
    pub fn movement(&self, lifts: &[Length]) -> Length {
        self.terms.iter().map(|&(support, ratio)| lifts[support] * ratio).sum()
    }
}

/// The mesh of the supports that stand on the footprint, and those that do not.
fn mesh_of_supports(
    site: &Site,
    boundary: &Boundary,
) -> Result<(SiteMesh, Vec<usize>, Vec<IdleSupport>), Vec<MeshFault>> {
    let places = |chosen: &[usize]| -> Vec<Position> {
        chosen.iter().map(|&support| site.supports()[support].at).collect()
    };
    let mut acting: Vec<usize> = (0..site.supports().len()).collect();
    let mut idle = Vec::new();
    let first_try = SiteMesh::new(boundary, &places(&acting));
    let Err(faults) = first_try else {
        return first_try.map(|mesh| (mesh, acting, idle));
    };
    for fault in faults {
        let (support, outside) = match fault {
            MeshFault::SiteOutside { site, outside } => (site, Some(outside)),
            MeshFault::SiteOffThePlan { site } => (site, None),
            MeshFault::RoomOffThePlan { .. } => return Err(vec![fault]),
        };
        acting.retain(|&other| other != support);
        idle.push(IdleSupport { support: site.supports()[support].id.clone(), outside });
    }
    SiteMesh::new(boundary, &places(&acting)).map(|mesh| (mesh, acting, idle))
}

/// Draws a row towards an even share of its supports until no movement is over the limit.
///
/// The row still sums to one. The flag says whether anything was changed.
fn hold_back(mut terms: Vec<(usize, f64)>) -> (Vec<(usize, f64)>, bool) {
    let even = 1.0 / terms.len().max(1) as f64;
    let kept = terms
        .iter()
        .filter(|(_, ratio)| ratio.abs() > MOST_INFLUENCE)
        .map(|&(_, ratio)| (MOST_INFLUENCE.copysign(ratio) - even) / (ratio - even))
        .fold(1.0, f64::min);
    if kept < 1.0 {
        for (_, ratio) in &mut terms {
            *ratio = even + kept * (*ratio - even);
        }
    }
    (terms, kept < 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::RoomId;
    use crate::site::{Finish, Outline, Point, PointKind, Room, Support};
    use proptest::prelude::*;

    fn room(id: &str, deck: &str, corners: &[(f64, f64)]) -> Room {
        let corners = corners.iter().map(|&(x, y)| Position::mm(x, y)).collect();
        Room {
            id: RoomId::new(id),
            outline: Outline::new(corners).unwrap(),
            finish: Finish::Boards,
            deck: deck.to_owned(),
        }
    }

    fn site(rooms: Vec<Room>, points: &[(f64, f64)], supports: &[(f64, f64)]) -> Site {
        let points = points.iter().enumerate().map(|(idx, &(x, y))| Point {
            id: PointId::new(format!("P{idx}")),
            at: Some(Position::mm(x, y)),
            kind: PointKind::Floor,
            room: None,
        });
        let supports = supports.iter().enumerate().map(|(idx, &(x, y))| Support {
            id: SupportId::new(format!("S{idx}")),
            at: Position::mm(x, y),
            gap: Length::ZERO,
            max_lift: None,
            fixed: None,
            may_lower: Length::ZERO,
        });
        Site::new(rooms, points.collect(), supports.collect()).unwrap()
    }

    fn grid(n_cols: usize, n_rows: usize, spacing: f64, from: f64) -> Vec<(f64, f64)> {
        (0..n_rows)
            .flat_map(|row| (0..n_cols).map(move |col| (col, row)))
            .map(|(col, row)| (col as f64 * spacing + from, row as f64 * spacing + from))
            .collect()
    }

    fn tilt(at: Position) -> Length {
        Length::mm(12.0) + at.x * 0.002 - at.y * 0.001
    }

    /// Lifting all supports as a plane lifts every floor point as that plane.
    fn check_tilt(site: &Site) {
        let influence = Influence::by_interpolation(site).unwrap();
        let lifts: Vec<Length> = site.supports().iter().map(|support| tilt(support.at)).collect();
        assert_eq!(influence.rows().len(), site.points().len(), "{:?}", influence.unmoved());
        for PointInfluence { point, row } in influence.rows() {
            let sum: f64 = row.terms.iter().map(|(_, ratio)| ratio).sum();
            assert!((sum - 1.0).abs() < 1e-9);
            assert!(row.terms.iter().all(|(_, ratio)| ratio.abs() <= MOST_INFLUENCE + 1e-9));
            let at = site.point(point).unwrap().at.unwrap();
            let error = (row.movement(&lifts) - tilt(at)).abs();
            assert!(row.held_back || error < Length::mm(1e-6), "{point} is off by {error}");
            assert!(!row.held_back, "{point}");
        }
    }

    #[test]
    fn a_lift_and_tilt_of_all_supports_carries_the_floor_with_it() {
        let footprint = [(0.0, 0.0), (7000.0, 0.0), (7000.0, 5500.0), (0.0, 5500.0)];
        let points = grid(9, 7, 800.0, 100.0);
        let supports = grid(4, 3, 1800.0, 500.0);
        check_tilt(&site(vec![room("hall", "house", &footprint)], &points, &supports));
        check_tilt(&site(vec![], &points, &supports));
    }

    /// Rooms measured from wall to wall inside, the middle row of supports under the wall.
    #[test]
    fn the_frame_runs_on_under_a_wall() {
        let left =
            room("a", "house", &[(0.0, 0.0), (3000.0, 0.0), (3000.0, 5000.0), (0.0, 5000.0)]);
        let right = room(
            "b",
            "house",
            &[(3110.0, 400.0), (6000.0, 400.0), (6000.0, 4000.0), (3110.0, 4000.0)],
        );
        let supports: Vec<(f64, f64)> = [300.0, 2500.0, 4700.0]
            .into_iter()
            .flat_map(|y: f64| {
                let beside_right = y.clamp(600.0, 3800.0);
                [(300.0, y), (3055.0, beside_right), (5800.0, beside_right)]
            })
            .collect();
        check_tilt(&site(vec![left, right], &[(2900.0, 1500.0), (3300.0, 1500.0)], &supports));
    }

    #[test]
    fn what_is_held_back_still_sums_to_one() {
        let (terms, held_back) = hold_back(vec![(0, 3.5), (1, -2.75), (2, 0.25)]);
        assert!(held_back);
        assert!((terms.iter().map(|(_, ratio)| ratio).sum::<f64>() - 1.0).abs() < 1e-12);
        let most = terms.iter().map(|(_, ratio)| ratio.abs()).fold(0.0, f64::max);
        assert!((most - MOST_INFLUENCE).abs() < 1e-12);
        let calm = vec![(0, 1.5), (1, -0.5)];
        assert_eq!(hold_back(calm.clone()), (calm, false));
    }

    #[test]
    fn a_support_moves_the_floor_over_it_by_its_own_lift() {
        let supports = grid(4, 3, 1800.0, 500.0);
        let site = site(vec![], &supports, &supports);
        let influence = Influence::by_interpolation(&site).unwrap();
        for (idx, PointInfluence { row, .. }) in influence.rows().iter().enumerate() {
            let own: f64 =
                row.terms.iter().filter(|term| term.0 == idx).map(|(_, ratio)| ratio).sum();
            assert!((own - 1.0).abs() < 1e-9 && row.between_supports);
        }
    }

    #[test]
    fn supports_act_across_a_step_and_not_across_a_notch() {
        let upper =
            room("house", "upper", &[(0.0, 0.0), (4000.0, 0.0), (4000.0, 6000.0), (0.0, 6000.0)]);
        let lower = room(
            "lean-to",
            "lower",
            &[(4000.0, 0.0), (8000.0, 0.0), (8000.0, 1000.0), (4000.0, 1000.0)],
        );
        let lower_right = room(
            "wash-house",
            "lower",
            &[(6000.0, 1000.0), (8000.0, 1000.0), (8000.0, 6000.0), (6000.0, 6000.0)],
        );
        let supports = [
            (500.0, 500.0),
            (3800.0, 500.0),
            (3800.0, 5500.0),
            (500.0, 5500.0),
            (6200.0, 500.0),
            (7800.0, 500.0),
            (6200.0, 5500.0),
            (7800.0, 5500.0),
        ];
        let site =
            site(vec![upper, lower, lower_right], &[(5000.0, 500.0), (3800.0, 5000.0)], &supports);
        let influence = Influence::by_interpolation(&site).unwrap();
        let moves = |row: &InfluenceRow, support: usize| {
            row.terms.iter().any(|&(idx, ratio)| idx == support && ratio.abs() > 1e-6)
        };
        let over_the_step = influence.row(&PointId::new("P0")).unwrap();
        assert!(moves(over_the_step, 1) && moves(over_the_step, 4));
        let at_the_notch = influence.row(&PointId::new("P1")).unwrap();
        assert!(moves(at_the_notch, 2));
        assert!((4..8).all(|support| !moves(at_the_notch, support)), "{at_the_notch:?}");
    }

    #[test]
    fn what_no_support_moves_is_named() {
        let two_rooms = vec![
            room("house", "house", &[(0.0, 0.0), (4000.0, 0.0), (4000.0, 4000.0), (0.0, 4000.0)]),
            room(
                "shed",
                "shed",
                &[(9000.0, 0.0), (12000.0, 0.0), (12000.0, 4000.0), (9000.0, 4000.0)],
            ),
        ];
        let supports = [(500.0, 500.0), (3500.0, 500.0), (3500.0, 3500.0), (6000.0, 500.0)];
        let site = site(two_rooms, &[(1000.0, 1000.0), (10000.0, 1000.0)], &supports);
        let influence = Influence::by_interpolation(&site).unwrap();
        assert_eq!(influence.unmoved(), [PointId::new("P1")]);
        let idle = IdleSupport { support: SupportId::new("S3"), outside: Some(Length::mm(2000.0)) };
        assert_eq!(influence.idle_supports(), [idle]);
        assert_eq!(influence.supports().len(), 4);
        assert_eq!(influence.method(), InfluenceMethod::Interpolation);
        let json = serde_json::to_value(&influence).unwrap();
        assert_eq!(json["method"], "interpolation");
    }

    #[test]
    fn far_beyond_the_supports_movement_is_held_back() {
        let footprint = [(0.0, 0.0), (12000.0, 0.0), (12000.0, 3000.0), (0.0, 3000.0)];
        let supports = [(500.0, 500.0), (1500.0, 500.0), (500.0, 2500.0), (1500.0, 2500.0)];
        let site = site(vec![room("hall", "house", &footprint)], &[(4000.0, 1500.0)], &supports);
        let influence = Influence::by_interpolation(&site).unwrap();
        let row = &influence.rows()[0].row;
        assert!(row.terms.iter().all(|(_, ratio)| ratio.abs() <= MOST_INFLUENCE + 1e-9));
        assert!(!row.between_supports);
    }

    proptest! {
        #[test]
        fn rows_sum_to_one_and_stay_in_bounds_whatever_the_supports(
            supports in prop::collection::vec((-500.0..6500.0_f64, -500.0..4500.0_f64), 0..14),
        ) {
            let footprint = [(0.0, 0.0), (6000.0, 0.0), (6000.0, 4000.0), (0.0, 4000.0)];
            let points = grid(6, 4, 1100.0, 100.0);
            for rooms in [vec![room("hall", "house", &footprint)], vec![]] {
                let site = site(rooms, &points, &supports);
                let influence = Influence::by_interpolation(&site).unwrap();
                prop_assert_eq!(influence.rows().len() + influence.unmoved().len(), points.len());
                for PointInfluence { row, .. } in influence.rows() {
                    let sum: f64 = row.terms.iter().map(|(_, ratio)| ratio).sum();
                    prop_assert!((sum - 1.0).abs() < 1e-6);
                    prop_assert!(row.terms.iter().all(|(_, ratio)| ratio.abs() <= MOST_INFLUENCE + 1e-9));
                }
            }
        }
    }
}
