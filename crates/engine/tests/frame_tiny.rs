//! The frame against the invented floor of `data/frame`.
//!
//! Source: computed outside this program with numpy and scipy; contact also by a convex
//! quadratic-programming library and a general finite-element library; see `data/frame/README.md`.
//! Tolerances are those of the file.

mod frames;

use floorwright_engine::frame::{Frame, Loads, OnSeats, jack_curve};
use floorwright_engine::site::Position;
use floorwright_engine::units::Length;
use frames::{Case, case, list, mm, number, numbers, text};
use serde_json::Value;

fn expected() -> Value {
    serde_json::from_str(include_str!("data/frame/tiny-expected.json")).unwrap()
}

fn tiny() -> Case {
    case(&serde_json::from_str(include_str!("data/frame/tiny-input.json")).unwrap())
}

fn frame(tiny: &Case) -> Frame {
    let places: Vec<Position> = tiny.survey.iter().map(|point| point.1).collect();
    Frame::new(&tiny.supports, &tiny.spec, &places).unwrap()
}

fn close(found: f64, expected: f64, tolerance: f64, what: &str) {
    assert!((found - expected).abs() <= tolerance, "{what}: {found}, expected {expected}");
}

#[test]
fn size_and_total_load() {
    let (tiny, expected) = (tiny(), expected());
    let frame = frame(&tiny);
    assert_eq!(frame.n_unknowns() as f64, number(&expected["dof"]));
    close(frame.total(Loads::DEAD).to_n(), number(&expected["total_load_N"]), 0.05, "total");
}

#[test]
fn contact_moments_and_stresses() {
    let (tiny, expected) = (tiny(), expected());
    let frame = frame(&tiny);
    let on_seats = OnSeats::new(&frame, &mm(&tiny.seats), Loads::DEAD, None).unwrap();
    let timbers = on_seats.timbers();
    let found = on_seats.contact();
    assert!(!found.rocks);
    let want = &expected["contact"];
    let by_support = |key: &str| numbers(&want[key]);
    for support in 0..6 {
        close(found.heights[support].to_mm(), by_support("w_mm")[support], 1e-4, "height");
        close(found.reactions[support].to_n(), by_support("R_N")[support], 0.05, "reaction");
        close(found.gaps[support].to_mm(), by_support("gap_mm")[support], 1e-4, "gap");
        let (bearer, along) = frame.over_support(support);
        let moment = timbers.moment(bearer, along).map_or(0.0, |moment| moment.to_n_mm());
        close(moment, by_support("M_bearer_at_support_Nmm")[support], 1.0, "moment");
    }
    let (bearer, joist) = timbers.most_bent();
    let stress = |key: &str| number(&want[key]);
    close(bearer.unwrap().stress.to_n_per_mm2(), stress("peak_bearer_stress"), 1e-4, "bearer");
    close(joist.unwrap().stress.to_n_per_mm2(), stress("peak_joist_stress"), 1e-4, "joist");
}

#[test]
fn stiffness_and_influence() {
    let (tiny, expected) = (tiny(), expected());
    let frame = frame(&tiny);
    for (support, row) in list(&expected["stiffness"]["S"]).iter().enumerate() {
        let (terms, straight) = frame.reaction_row(support, Loads::DEAD);
        let mut found = [0.0; 6];
        terms.iter().for_each(|&(other, k)| found[other] = k);
        for (other, want) in numbers(row).into_iter().enumerate() {
            close(found[other], want, 1e-5, "S");
        }
        let g = number(&expected["stiffness"]["g"][support]);
        close(straight.to_n(), -g, 0.05, "g");
    }
    for (place, row) in list(&expected["influence"]["G"]).iter().enumerate() {
        let mut found = [0.0; 6];
        let terms = &frame.places()[place].as_ref().unwrap().terms;
        terms.iter().for_each(|&(support, ratio)| found[support] = ratio);
        for (support, want) in numbers(row).into_iter().enumerate() {
            close(found[support], want, 1e-7, "G");
        }
    }
}

#[test]
fn jack_forces() {
    let (tiny, expected) = (tiny(), expected());
    let frame = frame(&tiny);
    for curve in list(&expected["jack_force"]) {
        let id = text(&curve["support"]);
        let support = frame.supports().iter().position(|other| other.as_str() == id).unwrap();
        let rises: Vec<Length> = mm(&numbers(&curve["d_mm"]));
        let found =
            jack_curve(&frame, &mm(&tiny.seats), Loads::DEAD, None, &[support], &rises).unwrap();
        for (point, (force, carrying)) in
            found.iter().zip(numbers(&curve["F_N"]).into_iter().zip(numbers(&curve["in_contact"])))
        {
            close(point.forces[0].to_n(), force, 0.05, id);
            // At no rise the jack just touches a hanging bearer: the set is not unique.
            if force > 1.0 {
                close(point.carrying as f64, carrying, 0.0, id);
            }
        }
    }
}

#[test]
fn seats_a_packer_tolerance_off_shift_reactions_no_further_than_the_bound() {
    let (tiny, expected) = (tiny(), expected());
    let frame = frame(&tiny);
    let want = &expected["sensitivity"];
    let mut worst = (f64::INFINITY, 0.0, 0.0_f64);
    for support in 0..6 {
        let (terms, _) = frame.reaction_row(support, Loads::DEAD);
        let own = terms.iter().find(|term| term.0 == support).unwrap().1;
        let sum: f64 = terms.iter().map(|term| term.1.abs()).sum();
        worst = (f64::min(worst.0, own), f64::max(worst.1, own), worst.2.max(sum));
    }
    close(worst.0, number(&want["S_diag_min"]), 1e-3, "least");
    close(worst.1, number(&want["S_diag_max"]), 1e-3, "most");
    close(worst.2, number(&want["worst_row_sum_abs_S"]), 1e-3, "row sum");
    close(worst.2 * 0.75, number(&want["reaction_bound_for_0_75mm_N"]), 1e-2, "bound");
}
