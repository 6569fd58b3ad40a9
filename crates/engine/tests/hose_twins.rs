//! Twin tubes, field tests and checks on site: what is counted once, twice or by halves, by hand.

use floorwright_engine::hose::{
    Budget, Care, Column, Fluid, Glycol, Hose, HoseFault, Reservoir, budget_of, drift_watch,
    hose_test, site_checks,
};
use floorwright_engine::units::{Length, Seconds, Temperature, Viscosity};

fn part(budget: &Budget, name: &str) -> f64 {
    let part = budget.components.iter().find(|part| part.name == name);
    part.unwrap_or_else(|| panic!("{name} is in the budget")).sd.to_mm()
}

fn near(got: f64, expected: f64, within: f64) {
    assert!((got - expected).abs() <= within, "{got} is not {expected}");
}

fn careful_twin() -> Hose {
    Hose {
        reservoir: Reservoir::TwinBothEnds,
        bore: Length::mm(8.0),
        read_to: Length::mm(0.5),
        settle_to: Length::mm(0.2),
        care: Care::Careful,
        ..Hose::default()
    }
}

/// By hand, of one end: eye `sqrt((0.5/sqrt 12)^2 + 0.14^2)` = 0.20, meniscus 0.21, foot 0.25, rest
/// `0.2/sqrt 3` = 0.12, legs of 2 K 0.25, 1.7 Pa 0.10. Read at both ends and subtracted: eye and
/// meniscus by the root of two, what is left of the swing twice, for it is up at one end and down at
/// the other; the foot once, for the standing staff stays. Together
/// `sqrt(0.28^2 + 0.30^2 + 0.25^2 + 0.24^2 + 0.25^2 + 0.10^2)` = 0.60.
#[test]
fn both_ends_of_a_twin_are_in_its_reading() {
    let budget = budget_of(&careful_twin()).unwrap();
    near(budget.combined.to_mm(), 0.60, 0.005);
    near(budget.careful.to_mm(), 0.60, 0.005);
    near(part(&budget, "scale and eye"), 0.20 * 2.0_f64.sqrt(), 0.005);
    near(part(&budget, "meniscus"), 0.21 * 2.0_f64.sqrt(), 0.01);
    near(part(&budget, "not yet at rest"), 2.0 * 0.2 / 3.0_f64.sqrt(), 1e-9);
    near(part(&budget, "staff foot and lean"), 0.25, 1e-9);
    near(part(&budget, "drift"), 0.0, 0.0);
}

/// By hand: eye 0.32 and meniscus 0.64 by the root of two, twice 0.5, foot 0.6, 5 Pa 0.29, and legs that
/// stand 5 K apart, worked out anew: for 30 % of glycol at 0.5 C what the table's densities at 0 and 10 C
/// give over a leg of a metre.
#[test]
fn a_casual_twin_with_antifreeze() {
    let fluid = Fluid::Mix { glycol: Glycol::Propylene, mass_share: 0.3 };
    let hose = Hose {
        reservoir: Reservoir::TwinBothEnds,
        bore: Length::mm(6.0),
        fluid,
        temperature: Temperature::celsius(0.5),
        ..Hose::default()
    };
    let budget = budget_of(&hose).unwrap();
    let legs = part(&budget, "warm and cold legs");
    // 1031.6 and 1028.0 kg/m3: 0.36 mm for each kelvin and metre, 5 K, spread evenly.
    near(legs, 0.36 * 5.0 / 1.03 / 3.0_f64.sqrt(), 0.12);
    let squares = [0.32 * 2.0_f64.sqrt(), 0.64 * 2.0_f64.sqrt(), 2.0 * 0.5, 0.6, 0.29, legs];
    let by_hand = squares.iter().map(|part| part * part).sum::<f64>().sqrt();
    near(budget.combined.to_mm(), by_hand, 0.02);
}

/// One end of a twin shows half of every height: what two surfaces stand apart is halved in its
/// reading, and so is not doubled again when the reading is. 20 m of water that swells by 0.207 part in
/// a thousand for each kelvin are 4.14 mm of tube, 2.07 mm at each end.
#[test]
fn one_end_of_a_twin_is_not_doubled_twice_and_warms() {
    let one = Hose { reservoir: Reservoir::TwinOneEnd, ..Hose::default() };
    let both = Hose { reservoir: Reservoir::TwinBothEnds, ..Hose::default() };
    let (one, both) = (budget_of(&one).unwrap(), budget_of(&both).unwrap());
    for name in ["warm and cold legs", "air pressure"] {
        near(part(&one, name) * 2.0, part(&both, name), 1e-9);
    }
    // Half of 100 mm does not show, to 2 % of it: 1 mm of height, spread evenly.
    near(part(&one, "tubes not alike") * 2.0, 1.0 / 3.0_f64.sqrt(), 1e-9);
    // 0.5 mm lost and a kelvin, spread evenly.
    near(part(&one, "drift"), 0.5_f64.hypot(2.07 / 3.0_f64.sqrt()), 0.04);
    let drift = one.components.iter().find(|part| part.name == "drift").unwrap();
    assert!(
        drift.sensitivity.starts_with("2.1") || drift.sensitivity.starts_with("2.0"),
        "{drift:?}"
    );
}

/// Differences 0 and 1 by turns: s of a difference is `sqrt(5/18)` by hand. Of a pail a difference is two
/// readings; of a twin with an end on each mark it is one.
#[test]
fn a_difference_of_a_twin_is_one_reading() {
    let set: Vec<Length> = (0..10).map(|idx| Length::mm(f64::from(idx % 2))).collect();
    let of = |reservoir: Reservoir| {
        let hose = Hose { reservoir, ..Hose::default() };
        hose_test(&hose, &set, &set).unwrap().repeats.sd.to_mm()
    };
    // Ten values half a millimetre off their mean in each set, 18 to spare.
    let difference = (20.0 * 0.25 / 18.0_f64).sqrt();
    near(of(Reservoir::TwinBothEnds), difference, 1e-12);
    near(of(Hose::default().reservoir), difference / 2.0_f64.sqrt() / 1.0025, 1e-12);
    near(of(Reservoir::TwinOneEnd), difference / 2.0_f64.sqrt() / 2.0, 1e-12);
}

/// A whole swing later the water stands where it stood. Periods by hand, with a third more inertia:
/// `2 pi sqrt(4 L/(3 g))`, damping apart.
#[test]
fn two_readings_are_never_a_whole_swing_apart() {
    for (bore, length, ratio) in [
        (10.0, 17.5, 0.0025),
        (12.0, 18.5, 0.0035),
        (8.0, 9.3, 1.0),
        (15.0, 40.0, 0.0),
        (12.0, 3.0, 1.0),
    ] {
        let viscosity = Viscosity::mm2_per_s(1.0034);
        let column = Column::new(Length::mm(bore), Length::m(length), viscosity, ratio).unwrap();
        let plain = std::f64::consts::TAU * (length * 4.0 / 3.0 / 9.80665 / (1.0 + ratio)).sqrt();
        let period = column.swing_period().unwrap().to_seconds();
        assert!((plain - 0.01..1.2 * plain).contains(&period), "{period} against {plain}");
        let again = column.read_again_after().to_seconds();
        let share = (again / period).fract();
        assert!(again >= 5.0 && (0.25..=0.75).contains(&share), "{again} s of {period} s");
        assert!(again <= 2.0 * period + 5.0, "{again} s of {period} s");
    }
    // Thick and thin it creeps: longer than the eye needs.
    let thick = Viscosity::mm2_per_s(15.0);
    let creeps = Column::new(Length::mm(6.0), Length::m(30.0), thick, 0.0).unwrap();
    assert!(creeps.read_again_after() > Seconds::new(10.0) && !creeps.swings_to_see());
}

/// The rise of water that wets its tube: 2.7 mm in 8 mm of bore and 4.1 mm in 6 mm, by a second solution
/// of the Young-Laplace equation (midpoint steps along the arc); Jurin's 3.7 and 5.0 mm are too high.
#[test]
fn a_tube_beside_its_pail_is_expected_to_climb() {
    let rise = |bore: f64, reservoir: Reservoir| {
        let hose = Hose { bore: Length::mm(bore), reservoir, ..Hose::default() };
        let budget = budget_of(&hose).unwrap();
        (site_checks(&hose, &budget, None), budget)
    };
    let pail = Hose::default().reservoir;
    near(rise(8.0, pail).0.tube_above_pail.unwrap().to_mm(), 2.73, 0.02);
    near(rise(6.0, pail).0.tube_above_pail.unwrap().to_mm(), 4.13, 0.02);
    let (twin, budget) = rise(8.0, Reservoir::TwinBothEnds);
    assert!(twin.tube_above_pail.is_none());
    // Both ends beside each other are one reading of the twin: twice its random part.
    near(twin.side_by_side.to_mm(), 2.0 * budget.random().to_mm(), 1e-9);
}

/// 1 ml over two tubes of 6 mm, 56.5 mm2 together: 17.7 mm.
#[test]
fn a_spilled_millilitre_is_much_to_a_twin() {
    let hose = Hose { bore: Length::mm(6.0), reservoir: Reservoir::TwinOneEnd, ..Hose::default() };
    let watch = drift_watch(&hose, &budget_of(&hose).unwrap());
    near(watch.per_ml.to_mm(), 17.68, 0.01);
}

/// More glycol is no way out where nothing is known of any mix.
#[test]
fn a_frozen_hose_is_sent_where_something_is_known() {
    let at = |t: f64, fluid: Fluid| {
        let hose = Hose { temperature: Temperature::celsius(t), fluid, ..Hose::default() };
        hose.checked().unwrap_err().remove(0)
    };
    let hint = at(-10.0, Fluid::Water).hint();
    assert!(hint.contains("more glycol does not help"), "{hint}");
    let mix = Fluid::Mix { glycol: Glycol::Propylene, mass_share: 0.4 };
    let cold = at(-5.0, mix);
    assert!(matches!(cold, HoseFault::Outside(..)) && cold.leaves_levels(), "{cold:?}");
    assert!(at(50.0, Fluid::Water).leaves_levels() && !at(-1.0, Fluid::Water).leaves_levels());
    assert!(!at(50.0, Fluid::Water).hint().contains("leave the temperature out"));
}
