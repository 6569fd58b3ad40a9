use super::*;
use crate::site::{Finish, Outline, Room};
use proptest::prelude::*;

fn room(id: &str, deck: &str, corners: &[(f64, f64)]) -> Room {
    Room {
        id: RoomId::new(id),
        outline: Outline::new(places(corners)).unwrap(),
        finish: Finish::Boards,
        deck: deck.to_owned(),
    }
}

fn rectangle(id: &str, deck: &str, (x, y): (f64, f64), (w, h): (f64, f64)) -> Room {
    room(id, deck, &[(x, y), (x + w, y), (x + w, y + h), (x, y + h)])
}

fn places(corners: &[(f64, f64)]) -> Vec<Position> {
    corners.iter().map(|&(x, y)| Position::mm(x, y)).collect()
}

fn one_deck(rooms: &[Room]) -> Boundary {
    let decks = deck_boundaries(rooms).unwrap();
    assert_eq!(decks.len(), 1);
    decks[0].1.clone()
}

/// Readings on a grid inside a boundary, kept off its line.
fn grid(boundary: &Boundary, spacing: f64, off_wall: f64) -> Vec<Position> {
    let (low, high) = boundary.extent().unwrap();
    let steps = |from: f64, to: f64| ((to - from) / spacing) as usize;
    let (n_cols, n_rows) =
        (steps(low.x.to_mm(), high.x.to_mm()), steps(low.y.to_mm(), high.y.to_mm()));
    (0..=n_rows)
        .flat_map(|row| (0..=n_cols).map(move |col| (col, row)))
        .map(|(col, row)| {
            let (x, y) = (col as f64 * spacing + off_wall, row as f64 * spacing + off_wall);
            Position::mm(low.x.to_mm() + x, low.y.to_mm() + y)
        })
        .filter(|&at| boundary.encloses(at))
        .collect()
}

fn tilt(at: Position) -> f64 {
    3.0 + 0.004 * at.x.to_mm() - 0.0025 * at.y.to_mm()
}

/// Every place inside gets weights that sum to one and follow a tilted plane.
fn check_plane(boundary: &Boundary, sites: &[Position]) {
    let mesh = SiteMesh::new(boundary, sites).unwrap();
    let mut n_inside = 0;
    for at in grid(boundary, 170.0, 30.0) {
        let weights = mesh.weights_at(at).unwrap_or_else(|| panic!("no weights at {at:?}"));
        let sum = weights.apply(|_| 1.0);
        assert!((sum - 1.0).abs() < 1e-9, "weights at {at:?} sum to {sum}");
        let found = weights.apply(|site| tilt(sites[site]));
        assert!((found - tilt(at)).abs() < 1e-6, "{found} is not {} at {at:?}", tilt(at));
        n_inside += 1;
    }
    assert!(n_inside > 50);
}

#[test]
fn a_plane_is_followed_to_the_walls_of_every_shape_of_house() {
    let row_of_three = [
        rectangle("a", "house", (0.0, 0.0), (3000.0, 4000.0)),
        rectangle("b", "house", (3000.0, 0.0), (2500.0, 4000.0)),
        rectangle("c", "house", (5500.0, 0.0), (4000.0, 4000.0)),
    ];
    let part_of_a_wall = [
        rectangle("long", "house", (0.0, 0.0), (8000.0, 3000.0)),
        rectangle("wing", "house", (2000.0, 3000.0), (3000.0, 4000.0)),
    ];
    let overlapping = [
        rectangle("hall", "house", (0.0, 0.0), (5000.0, 3000.0)),
        rectangle("bay", "house", (4000.0, 1000.0), (3000.0, 3000.0)),
    ];
    let within = [
        rectangle("room", "house", (0.0, 0.0), (6000.0, 5000.0)),
        rectangle("alcove", "house", (1000.0, 1000.0), (1500.0, 1500.0)),
    ];
    let drawn_askew = [
        rectangle("a", "house", (0.0, 0.0), (3000.0, 4000.0)),
        room("b", "house", &[(3002.0, 1.0), (7000.0, 0.0), (7000.0, 4000.0), (2998.0, 3999.0)]),
    ];
    for rooms in [&row_of_three[..], &part_of_a_wall, &overlapping, &within, &drawn_askew] {
        let boundary = one_deck(rooms);
        check_plane(&boundary, &grid(&boundary, 1300.0, 280.0));
    }
}

#[test]
fn a_shared_wall_is_no_line_and_its_corners_drop_out() {
    let rooms = [
        rectangle("a", "house", (0.0, 0.0), (3000.0, 4000.0)),
        rectangle("b", "house", (3000.0, 0.0), (2500.0, 4000.0)),
    ];
    assert_eq!(one_deck(&rooms).sides().len(), 4);
}

#[test]
fn a_hearth_with_its_own_deck_is_cut_out_of_the_room() {
    let rooms = [
        rectangle("room", "timber", (0.0, 0.0), (6000.0, 5000.0)),
        rectangle("hearth", "hearth", (2000.0, 3000.0), (1500.0, 900.0)),
    ];
    let decks = deck_boundaries(&rooms).unwrap();
    let on_hearth = Position::mm(2500.0, 3400.0);
    assert!(!decks[0].1.encloses(on_hearth));
    assert!(decks[1].1.encloses(on_hearth));
    assert_eq!(decks[0].1.sides().len(), 8);
    assert!(footprint(&rooms).unwrap().encloses(on_hearth));
    let sites = grid(&decks[0].1, 1300.0, 280.0);
    let mesh = SiteMesh::new(&decks[0].1, &sites).unwrap();
    assert_eq!(mesh.weights_at(on_hearth), None);
}

/// Two arms of a U, 2 m apart: a reading in one has no say in the other.
#[test]
fn a_notch_is_not_bridged() {
    let u_shape = [room(
        "u",
        "house",
        &[
            (0.0, 0.0),
            (6000.0, 0.0),
            (6000.0, 8000.0),
            (4000.0, 8000.0),
            (4000.0, 2000.0),
            (2000.0, 2000.0),
            (2000.0, 8000.0),
            (0.0, 8000.0),
        ],
    )];
    let boundary = one_deck(&u_shape);
    let sites = grid(&boundary, 900.0, 200.0);
    check_plane(&boundary, &sites);
    let mesh = SiteMesh::new(&boundary, &sites).unwrap();
    assert_eq!(mesh.weights_at(Position::mm(3000.0, 5000.0)), None);
    for at in grid(&boundary, 150.0, 40.0) {
        let in_left_arm = at.x.to_mm() < 2000.0 && at.y.to_mm() > 3500.0;
        let weights = mesh.weights_at(at).unwrap();
        let across = weights
            .terms
            .iter()
            .filter(|&&(site, _)| sites[site].x.to_mm() > 3000.0 && sites[site].y.to_mm() > 2000.0);
        assert!(!in_left_arm || across.count() == 0, "bridged at {at:?}");
    }
}

#[test]
fn between_readings_the_value_keeps_their_range() {
    let boundary = one_deck(&[rectangle("a", "house", (0.0, 0.0), (5000.0, 4000.0))]);
    let sites = grid(&boundary, 1100.0, 250.0);
    let mesh = SiteMesh::new(&boundary, &sites).unwrap();
    let mut n_measured = 0;
    for at in grid(&boundary, 130.0, 20.0) {
        let weights = mesh.weights_at(at).unwrap();
        if weights.measured {
            n_measured += 1;
            assert!(weights.terms.len() <= 3);
            assert!(weights.terms.iter().all(|&(_, w)| (-1e-9..=1.0 + 1e-9).contains(&w)));
        }
    }
    assert!(n_measured > 500, "{n_measured}");
    for (idx, &site) in sites.iter().enumerate() {
        let weights = mesh.weights_at(site).unwrap();
        assert!((weights.apply(|other| f64::from(u8::from(other == idx))) - 1.0).abs() < 1e-9);
        assert_eq!(weights.nearest, Length::ZERO);
    }
}

#[test]
fn lone_sites_reach_two_metres_and_no_further() {
    let boundary = one_deck(&[rectangle("hall", "house", (0.0, 0.0), (9000.0, 6000.0))]);
    let check = |sites: &[(f64, f64)], (x, y), expected: Option<&[(usize, f64)]>| {
        let mesh = SiteMesh::new(&boundary, &places(sites)).unwrap();
        let found = mesh.weights_at(Position::mm(x, y));
        assert_eq!(found.as_ref().map(|weights| weights.terms.as_slice()), expected);
        assert!(found.is_none_or(|weights| !weights.measured));
    };
    check(&[], (100.0, 100.0), None);
    check(&[(1000.0, 1000.0)], (2000.0, 1000.0), Some(&[(0, 1.0)]));
    check(&[(1000.0, 1000.0)], (3500.0, 1000.0), None);
    let two = [(1000.0, 1000.0), (5000.0, 1000.0)];
    check(&two, (4000.0, 2500.0), Some(&[(0, 0.25), (1, 0.75)]));
    check(&two, (6000.0, 1500.0), Some(&[(1, 1.0)]));
    check(&two, (4000.0, 3500.0), None);
    let three = [(5000.0, 1000.0), (1000.0, 1000.0), (3000.0, 1010.0)];
    check(&three, (2000.0, 1500.0), Some(&[(1, 0.5), (2, 0.5)]));
}

#[test]
fn on_a_lone_line_itself_the_floor_is_measured() {
    let sites = places(&[(0.0, 0.0), (4000.0, 0.0)]);
    let mesh = SiteMesh::new(&Boundary::around(&sites), &sites).unwrap();
    assert!(mesh.weights_at(Position::mm(1000.0, 0.0)).unwrap().measured);
    assert!(!mesh.weights_at(Position::mm(1000.0, 50.0)).unwrap().measured);
}

#[test]
fn without_an_outline_the_floor_ends_at_the_outermost_readings() {
    let sites =
        places(&[(0.0, 0.0), (4000.0, 0.0), (4000.0, 3000.0), (0.0, 3000.0), (2000.0, 1500.0)]);
    let boundary = Boundary::around(&sites);
    assert!(boundary.is_assumed());
    check_plane(&boundary, &sites);
    let mesh = SiteMesh::new(&boundary, &sites).unwrap();
    assert!(mesh.weights_at(Position::mm(2000.0, 100.0)).unwrap().measured);
    assert_eq!(mesh.weights_at(Position::mm(4100.0, 100.0)), None);
}

/// A row of readings along a wall that bends in by 30 mm: the fringe outside it is given a height,
/// but is not measured.
/// Two readings 1.6 mm apart at the tip of a floor: the triangle between them is flatter than a
/// bend of the outline, but it is all that one of them has.
#[test]
fn a_site_at_a_sharp_tip_keeps_its_floor() {
    let tip = [(999.643, -1.600), (1000.0, 0.0), (0.0, 3574.345), (0.0, 3291.076)];
    let sites = places(&tip);
    let mesh = SiteMesh::new(&Boundary::around(&sites), &sites).unwrap();
    for &at in &sites {
        let weights = mesh.weights_at(at).unwrap_or_else(|| panic!("no floor at {at:?}"));
        assert!((weights.apply(|site| tilt(sites[site])) - tilt(at)).abs() < 1e-6, "{at:?}");
    }
}

#[test]
fn the_fringe_along_a_ragged_row_is_margin() {
    let bends_in = [0.0, 20.0, 30.0, 30.0, 20.0, 0.0];
    let sites: Vec<Position> = (0..18)
        .map(|idx| {
            let (col, row) = (idx % 6, idx / 6);
            let aside = if row == 0 { bends_in[col] } else { 0.0 };
            Position::mm(1000.0 * col as f64, 1000.0 * row as f64 + aside)
        })
        .collect();
    let mesh = SiteMesh::new(&Boundary::around(&sites), &sites).unwrap();
    let fringe = mesh.weights_at(Position::mm(2500.0, 10.0)).unwrap();
    assert!(!fringe.measured && (fringe.apply(|_| 1.0) - 1.0).abs() < 1e-9);
    assert!(mesh.weights_at(Position::mm(2500.0, 100.0)).unwrap().measured);
    assert_eq!(mesh.measured_triangles().count(), 20); // two in each of 5 by 2 cells
}

#[test]
fn sites_outside_are_moved_a_little_or_refused() {
    let boundary = one_deck(&[rectangle("a", "house", (0.0, 0.0), (4000.0, 4000.0))]);
    let mut sites = places(&[(-100.0, 2000.0), (3000.0, 500.0), (3000.0, 3500.0)]);
    let mesh = SiteMesh::new(&boundary, &sites).unwrap();
    assert_eq!(mesh.moved(), [MovedSite { site: 0, by: Length::mm(100.0) }]);
    let weights = mesh.weights_at(Position::mm(0.0, 2000.0)).unwrap();
    assert!((weights.terms[0].1 - 1.0).abs() < 1e-9);
    sites.extend([Position::mm(4400.0, 0.0), Position::mm(f64::NAN, 0.0)]);
    assert_eq!(
        SiteMesh::new(&boundary, &sites).unwrap_err(),
        [
            MeshFault::SiteOutside { site: 3, outside: Length::mm(400.0) },
            MeshFault::SiteOffThePlan { site: 4 }
        ]
    );
}

#[test]
fn repeats_are_averaged_and_told() {
    let boundary = one_deck(&[rectangle("a", "house", (0.0, 0.0), (4000.0, 4000.0))]);
    let sites = places(&[(500.0, 500.0), (3500.0, 600.0), (500.4, 500.0), (2000.0, 3500.0)]);
    let mesh = SiteMesh::new(&boundary, &sites).unwrap();
    assert_eq!(mesh.repeats(), [vec![0, 2]]);
    let weights = mesh.weights_at(sites[0]).unwrap();
    assert_eq!(weights.terms, [(0, 0.5), (2, 0.5)]);
}

#[test]
fn rooms_that_do_not_touch_are_floors_of_their_own() {
    let rooms = [
        rectangle("a", "house", (0.0, 0.0), (3000.0, 3000.0)),
        rectangle("b", "house", (3100.0, 0.0), (3000.0, 3000.0)),
    ];
    let boundary = one_deck(&rooms);
    assert_eq!(boundary.sides().len(), 8);
    let sites = places(&[(500.0, 500.0), (2500.0, 500.0), (500.0, 2500.0)]);
    let mesh = SiteMesh::new(&boundary, &sites).unwrap();
    assert!(mesh.weights_at(Position::mm(1000.0, 1000.0)).is_some());
    assert_eq!(mesh.weights_at(Position::mm(4000.0, 1000.0)), None);
}

#[test]
fn a_plan_on_a_national_grid_is_as_exact_as_one_at_zero() {
    let far = (4.0e8, 6.1e9);
    let boundary = one_deck(&[rectangle("a", "house", far, (5000.0, 4000.0))]);
    let sites = grid(&boundary, 1100.0, 250.0);
    let mesh = SiteMesh::new(&boundary, &sites).unwrap();
    let local = |at: Position| tilt(Position::mm(at.x.to_mm() - far.0, at.y.to_mm() - far.1));
    for at in grid(&boundary, 300.0, 100.0) {
        let found = mesh.weights_at(at).unwrap().apply(|site| local(sites[site]));
        assert!((found - local(at)).abs() < 1e-5);
    }
    let off = [rectangle("a", "house", (4.0e12, 0.0), (5000.0, 4000.0))];
    assert!(deck_boundaries(&off).is_err());
}

/// A coordinate that is often awkward: on a wall, on another site, or a hair beside it.
fn awkward() -> impl Strategy<Value = f64> {
    prop_oneof![
        3 => 0.0..6000.0_f64,
        2 => (0..=6_i32).prop_map(|step| f64::from(step) * 1000.0),
        1 => (0..=6_i32).prop_map(|step| f64::from(step) * 1000.0 + 1e-7),
        1 => -200.0..6200.0_f64,
    ]
}

fn any_rooms() -> impl Strategy<Value = Vec<Room>> {
    let corner = (0..7_i32, 0..7_i32, 1..4_i32, 1..4_i32, -7..7_i32);
    prop::collection::vec(corner, 1..6).prop_map(|rects| {
        rects
            .into_iter()
            .enumerate()
            .map(|(idx, (x, y, w, h, askew))| {
                let thousand = |steps: i32| f64::from(steps) * 1000.0;
                let corner = (thousand(x) + f64::from(askew), thousand(y));
                let size = (thousand(w), thousand(h));
                rectangle(
                    &format!("r{idx}"),
                    if idx % 3 == 2 { "low" } else { "high" },
                    corner,
                    size,
                )
            })
            .collect()
    })
}

proptest! {
    #[test]
    fn hostile_plans_and_sites_never_panic_and_weights_sum_to_one(
        rooms in any_rooms(),
        coordinates in prop::collection::vec((awkward(), awkward()), 0..30),
        asked in prop::collection::vec((awkward(), awkward()), 10),
    ) {
        for (_, boundary) in deck_boundaries(&rooms).unwrap() {
            let mut sites = places(&coordinates);
            sites.retain(|&at| boundary.contains(at, OUTSIDE_ALLOWANCE));
            let mesh = SiteMesh::new(&boundary, &sites).unwrap();
            for &at in sites.iter().chain(&places(&asked)) {
                if let Some(weights) = mesh.weights_at(at) {
                    prop_assert!(boundary.contains(at, Length::mm(8.0)), "{at:?} is outside");
                    prop_assert!((weights.apply(|_| 1.0) - 1.0).abs() < 1e-6);
                    prop_assert!(weights.terms.iter().all(|(_, w)| w.is_finite() && w.abs() < 20.0));
                    prop_assert!(weights.nearest.is_finite());
                }
            }
        }
    }

    #[test]
    fn a_floor_that_is_spanned_has_no_holes(
        coordinates in prop::collection::vec((awkward(), awkward()), 3..25),
        asked in prop::collection::vec((awkward(), awkward()), 20),
    ) {
        let l_shape =
            [(0.0, 0.0), (6000.0, 0.0), (6000.0, 3000.0), (2000.0, 3000.0), (2000.0, 6000.0), (0.0, 6000.0)];
        let boundary = one_deck(&[room("l", "house", &l_shape)]);
        let mut sites = places(&coordinates);
        sites.retain(|&at| boundary.contains(at, OUTSIDE_ALLOWANCE));
        let mesh = SiteMesh::new(&boundary, &sites).unwrap();
        prop_assume!(mesh.pieces.iter().all(|piece| matches!(piece, Piece::Spanned)));
        for at in places(&asked).into_iter().filter(|&at| boundary.encloses(at)) {
            let weights = mesh.weights_at(at);
            prop_assert!(weights.is_some(), "no weights at {at:?}");
            let most = weights.unwrap().terms.iter().map(|(_, w)| w.abs()).fold(0.0, f64::max);
            prop_assert!(most <= 10.0 + 1e-9, "a weight of {most}");
        }
    }

    #[test]
    fn sites_anywhere_without_outline_never_panic(
        coordinates in prop::collection::vec((awkward(), awkward()), 0..25),
        scale in prop_oneof![Just(1.0), Just(1e-6), Just(1e5)],
    ) {
        let sites: Vec<Position> =
            coordinates.iter().map(|&(x, y)| Position::mm(x * scale, y * scale)).collect();
        let mesh = SiteMesh::new(&Boundary::around(&sites), &sites).unwrap();
        for &at in &sites {
            let weights = mesh.weights_at(at);
            prop_assert!(weights.is_some());
            prop_assert!((weights.unwrap().apply(|_| 1.0) - 1.0).abs() < 1e-6);
        }
    }
}
