//! No floor loses its weight unsaid: joists far apart, a hole between them, a joist alone.

mod frames;

use floorwright_engine::frame::{Direction, Frame, FrameSpec, Joist, Loads};
use floorwright_engine::ids::{BearerId, JoistId, SupportId};
use floorwright_engine::site::Support;
use floorwright_engine::units::{Density, Length};
use frames::{run, section, spec, support, timber};

/// Two bearers 4 m long and 2 m apart on three supports each, without weight, with joists across them
/// at these places; the floor is 0.5 kPa.
fn floor(joists_at: &[f64]) -> (Vec<Support>, FrameSpec) {
    let mut supports = Vec::new();
    let mut bearers = Vec::new();
    for (row, y) in [("A", 0.0), ("B", 2000.0)] {
        let ids: Vec<String> = (0..3).map(|column| format!("{row}{column}")).collect();
        for (column, id) in ids.iter().enumerate() {
            supports.push(support(id, 2000.0 * column as f64, y));
        }
        bearers.push(floorwright_engine::frame::Bearer {
            id: BearerId::new(row),
            run: run(Direction::X, y, 0.0, 4000.0),
            supports: ids.iter().map(SupportId::new).collect(),
            joints: Vec::new(),
            section: section(75.0, 100.0),
            timber: timber(10_000.0, 500.0),
            extra: floorwright_engine::units::LineLoad::kn_per_m(0.0),
        });
    }
    let joist = |(idx, &at): (usize, &f64)| Joist {
        id: JoistId::new(format!("J{idx}")),
        run: run(Direction::Y, at, 0.0, 2000.0),
        joints: Vec::new(),
        section: section(50.0, 100.0),
        timber: timber(10_000.0, 500.0),
        floor: "main".to_owned(),
    };
    let joists = joists_at.iter().enumerate().map(joist).collect();
    let mut spec = spec(bearers, joists, 0.5);
    let light = Density::kg_per_m3(100.0);
    spec.bearers.iter_mut().for_each(|bearer| bearer.timber.density = light);
    spec.joists.iter_mut().for_each(|joist| joist.timber.density = light);
    (supports, spec)
}

/// What the supports carry together, in N, and the frame. The timbers' own weight at 100 kg/m3 is
/// taken off by hand: 0.1e-6 x 9.80665 N/mm3 over 2 bearers of 75 x 100 x 4000 and each joist of
/// 50 x 100 x 2000.
fn floor_weight(joists_at: &[f64]) -> (f64, Frame) {
    let (supports, spec) = floor(joists_at);
    let frame = Frame::new(&supports, &spec, &[]).unwrap();
    let seats = vec![Length::ZERO; supports.len()];
    let carried = frame.contact(&seats, Loads::DEAD).unwrap();
    let timber = 2.0 * 75.0 * 100.0 * 4000.0 + joists_at.len() as f64 * 50.0 * 100.0 * 2000.0;
    (carried.total().to_n() - timber * 100.0 * 9.80665e-9, frame)
}

/// 4 m x 2 m of floor weigh 8 m2 x 0.5 kPa = 4 kN, whether its joists lie 500 mm, 1.6 m, 2 m or 4 m
/// apart.
#[test]
fn a_floor_weighs_the_same_however_far_apart_its_joists_lie() {
    let every = |spacing: f64| -> Vec<f64> {
        (0..)
            .map(|n| f64::from(n) * spacing)
            .take_while(|at| *at < 4000.0)
            .chain([4000.0])
            .collect()
    };
    for spacing in [500.0, 1500.0, 1600.0, 2000.0, 4000.0] {
        let (weight, frame) = floor_weight(&every(spacing));
        assert!((weight - 4000.0).abs() < 1e-3, "joists at {spacing}: {weight} N");
        assert!(frame.holes().is_empty() && frame.joists_alone().is_empty(), "{spacing}");
    }
}

/// Joists at 0, 500, 1000 and 1500, then none before 4000: a hole of 2.5 m x 2 m. What is left is
/// 1.5 m x 2 m x 0.5 kPa = 1.5 kN.
#[test]
fn a_hole_between_joists_is_named() {
    let (weight, frame) = floor_weight(&[0.0, 500.0, 1000.0, 1500.0, 4000.0]);
    assert!((weight - 1500.0).abs() < 1e-3, "{weight} N");
    let [hole] = frame.holes() else { panic!("{:?}", frame.holes()) };
    assert_eq!(hole.between, [JoistId::new("J3"), JoistId::new("J4")]);
    assert_eq!((hole.apart, hole.middle.at), (Length::mm(2500.0), Length::mm(2750.0)));
    assert_eq!((hole.middle.from, hole.middle.to), (Length::ZERO, Length::mm(2000.0)));
}

/// One joist has no other to share a floor with.
#[test]
fn a_joist_alone_is_named() {
    let (weight, frame) = floor_weight(&[2000.0]);
    assert!(weight.abs() < 1e-3, "{weight} N");
    assert_eq!(frame.joists_alone(), [JoistId::new("J0")]);
}
