//! The frame against twelve invented frames computed elsewhere.
//!
//! Source: `data/frame/reference.json`, made by `bench/reference/make_values.py` (its header names
//! command, packages and versions): contact as a quadratic program through a conic solver, each
//! state held against a general structural library that was given the contact set. Tolerances are
//! those of the file.

mod frames;

use floorwright_engine::frame::{Frame, Loads, OnSeats, jack_curve};
use floorwright_engine::site::Position;
use frames::{Case, case, list, mm, number, numbers, text};
use serde_json::Value;

fn close(found: f64, expected: f64, tolerance: f64, what: &str) {
    assert!((found - expected).abs() <= tolerance, "{what}: {found}, expected {expected}");
}

fn check(given: &Value, tolerances: &Value) {
    let tolerance = |key: &str| number(&tolerances[key]);
    let name = text(&given["input"]["name"]);
    let case = case(&given["input"]);
    let places: Vec<Position> = case.survey.iter().map(|point| point.1).collect();
    let frame = Frame::new(&case.supports, &case.spec, &places).unwrap();
    let want = &given["expected"];
    assert_eq!(frame.n_unknowns() as f64, number(&want["unknowns"]), "{name}");
    let total = frame.total(Loads::DEAD).to_n();
    close(total, number(&want["total_load_N"]), tolerance("force_N"), name);
    check_state(name, &case, &frame, want, &tolerance);
    check_jacks(name, &case, &frame, want, &tolerance);
    check_stiffness(name, &frame, want, &tolerance);
}

fn check_state(
    name: &str,
    case: &Case,
    frame: &Frame,
    want: &Value,
    tolerance: &impl Fn(&str) -> f64,
) {
    let on_seats = OnSeats::new(frame, &mm(&case.seats), Loads::DEAD, None).unwrap();
    let timbers = on_seats.timbers();
    let state = on_seats.contact();
    assert!(!state.rocks, "{name}");
    let of = |key: &str| numbers(&want[key]);
    let moment = |support: usize| {
        let (bearer, along) = frame.over_support(support);
        timbers.moment(bearer, along).map_or(0.0, |moment| moment.to_n_mm())
    };
    for support in 0..case.supports.len() {
        close(state.heights[support].to_mm(), of("w_mm")[support], tolerance("height_mm"), name);
        close(state.reactions[support].to_n(), of("R_N")[support], tolerance("force_N"), name);
        close(state.gaps[support].to_mm(), of("gap_mm")[support], tolerance("height_mm"), name);
        let expected = of("M_bearer_at_support_Nmm")[support];
        close(moment(support), expected, tolerance("moment_Nmm"), name);
    }
    let carrying: Vec<&str> = frame
        .supports()
        .iter()
        .zip(&state.reactions)
        .filter(|(_, reaction)| reaction.to_n() > 1.0)
        .map(|(id, _)| id.as_str())
        .collect();
    let expected: Vec<&str> = list(&want["contact"]).iter().map(text).collect();
    assert_eq!(carrying, expected, "{name}");
    let (bearer, joist) = timbers.most_bent();
    for (bent, key) in [(bearer, "peak_bearer_stress"), (joist, "peak_joist_stress")] {
        let stress = bent.unwrap().stress.to_n_per_mm2();
        close(stress, number(&want[key]), tolerance("stress_N_mm2"), name);
    }
}

fn check_jacks(
    name: &str,
    case: &Case,
    frame: &Frame,
    want: &Value,
    tolerance: &impl Fn(&str) -> f64,
) {
    for curve in list(&want["jack_force"]) {
        let id = text(&curve["support"]);
        let jack = frame.supports().iter().position(|other| other.as_str() == id).unwrap();
        let rises = mm(&numbers(&curve["d_mm"]));
        let found =
            jack_curve(frame, &mm(&case.seats), Loads::DEAD, None, &[jack], &rises).unwrap();
        let forces = numbers(&curve["F_N"]);
        assert_eq!(found.len(), forces.len(), "{name}");
        for (point, force) in found.iter().zip(forces) {
            let allowed = tolerance(if point.rocks { "force_where_rocking_N" } else { "force_N" });
            close(point.forces[0].to_n(), force, allowed, name);
        }
    }
}

/// Given for the smallest frames only; returns without a look at the others.
fn check_stiffness(name: &str, frame: &Frame, want: &Value, tolerance: &impl Fn(&str) -> f64) {
    let Some(rows) = want["S_N_per_mm"].as_array() else { return };
    for (support, row) in rows.iter().enumerate() {
        let (terms, straight) = frame.reaction_row(support, Loads::DEAD);
        let mut found = vec![0.0; rows.len()];
        terms.iter().for_each(|&(other, k)| found[other] = k);
        for (found, want) in found.iter().zip(numbers(row)) {
            close(*found, want, tolerance("stiffness_N_per_mm"), name);
        }
        let g = number(&want["g_N"][support]);
        close(straight.to_n(), -g, tolerance("force_N"), name);
    }
    for (place, row) in list(&want["G"]).iter().enumerate() {
        let mut found = vec![0.0; rows.len()];
        let terms = &frame.places()[place].as_ref().unwrap().terms;
        terms.iter().for_each(|&(support, ratio)| found[support] = ratio);
        for (found, want) in found.iter().zip(numbers(row)) {
            // What moves a place by less than a millionth is left out of its row.
            close(*found, want, tolerance("influence") + 2e-6, name);
        }
    }
}

#[test]
fn twelve_frames_computed_elsewhere() {
    let file: Value = serde_json::from_str(include_str!("data/frame/reference.json")).unwrap();
    let frames = list(&file["frames"]);
    assert_eq!(frames.len(), 12);
    let with_stiffness =
        frames.iter().filter(|frame| frame["expected"]["S_N_per_mm"].is_array()).count();
    assert!(with_stiffness >= 2, "{with_stiffness}");
    for frame in frames {
        check(frame, &file["tolerances"]);
    }
}
