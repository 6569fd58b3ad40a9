//! Continuous beams on rigid seats against published coefficients and closed forms.
//!
//! Source: `data/frame/beams.toml`, whose comments name where each value comes from.

mod frames;

use floorwright_engine::frame::{
    Contact, Direction, Frame, JackError, JackPlace, Loads, OnSeats, Wall, jack_beside_curve,
    jack_curve,
};
use floorwright_engine::units::{Density, Length, LineLoad};
use frames::{beam, mm};
use toml::Value;

fn table() -> Value {
    toml::from_str(include_str!("data/frame/beams.toml")).unwrap()
}

/// A number, or a fraction in quotes.
fn value(value: &Value) -> f64 {
    match value {
        Value::Float(number) => *number,
        Value::Integer(number) => *number as f64,
        Value::String(text) => match text.split_once('/') {
            Some((above, below)) => above.parse::<f64>().unwrap() / below.parse::<f64>().unwrap(),
            None => text.parse().unwrap(),
        },
        other => panic!("{other} is not a number"),
    }
}

fn values(list: &Value) -> Vec<f64> {
    list.as_array().unwrap().iter().map(value).collect()
}

fn close(found: f64, expected: f64, tolerance: f64, what: &str) {
    assert!((found - expected).abs() <= tolerance, "{what}: {found}, expected {expected}");
}

const L: f64 = 1800.0;
const W: f64 = 4.0;

/// Supports at equal spans.
fn spans(n: usize) -> Vec<f64> {
    (0..=n).map(|support| support as f64 * L).collect()
}

fn reactions(contact: &Contact) -> Vec<f64> {
    contact.reactions.iter().map(|reaction| reaction.to_n()).collect()
}

#[test]
fn equal_spans_two_to_seven() {
    let mut looked_at = 0;
    for case in table()["equal_spans"].as_array().unwrap() {
        let n = case["spans"].as_integer().unwrap() as usize;
        let (supports, spec) = beam(&spans(n), W, 10_500.0, 75.0, 125.0);
        let frame = Frame::new(&supports, &spec, &[]).unwrap();
        let level = vec![Length::ZERO; n + 1];
        let on_seats = OnSeats::new(&frame, &level, Loads::DEAD, None).unwrap();
        let found = reactions(&on_seats.contact());
        for (found, want) in found.iter().zip(values(&case["reaction_over_wL"])) {
            close(found / (W * L), want, 1e-9, "reaction");
        }
        for (inner, want) in values(&case["support_moment_over_wL2"]).into_iter().enumerate() {
            let along = Length::mm((inner + 1) as f64 * L);
            let moment = on_seats.timbers().moment(0, along).unwrap().to_n_mm();
            close(moment / (W * L * L), want, 1e-9, "moment");
        }
        for (span, want) in values(&case["span_moment_max_over_wL2"]).into_iter().enumerate() {
            let found = on_seats.timbers().most_sagging(span).to_n_mm();
            close(found / (W * L * L), want, 1e-8, "span");
            looked_at += 1;
        }
    }
    assert_eq!(looked_at, 2 + 3 + 4 + 5 + 6 + 7);
}

/// The load is a wall over the first two of three spans. The beam under it weighs next to nothing:
/// less than a millionth of the wall, which is the allowance.
#[test]
fn a_stump_cannot_pull() {
    const WALL: f64 = 100.0;
    let case = &table()["three_spans_loaded_1_2"];
    let stiffness = 250_000.0;
    let (supports, mut spec) = beam(&spans(3), 0.0, stiffness, 10.0, 10.0);
    spec.bearers[0].timber.density = Density::kg_per_m3(50.0);
    spec.bearers[0].extra = LineLoad::ZERO;
    spec.walls.push(Wall {
        name: "over two spans".to_owned(),
        run: frames::run(Direction::X, 0.0, 0.0, 2.0 * L),
        load: LineLoad::kn_per_m(WALL),
        source: "invented".to_owned(),
    });
    let frame = Frame::new(&supports, &spec, &[]).unwrap();
    for (support, want) in values(&case["pull_allowed_over_wL"]).into_iter().enumerate() {
        let straight = frame.reaction_row(support, Loads::DEAD).1.to_n();
        close(straight / (WALL * L), want, 2e-6, "pull allowed");
    }
    let level = frame.contact(&[Length::ZERO; 4], Loads::DEAD).unwrap();
    for (support, want) in values(&case["push_only_over_wL"]).into_iter().enumerate() {
        close(level.reactions[support].to_n() / (WALL * L), want, 2e-6, "push only");
    }
    let unit = WALL * L.powi(4) / (stiffness * 10.0_f64.powi(4) / 12.0);
    close(level.gaps[3].to_mm() / unit, value(&case["gap_at_last_over_wL4_EI"]), 2e-6, "gap");
}

#[test]
fn uneven_seats_by_the_three_moment_equation() {
    let case = &table()["three_moment_settlement"];
    let mut at = vec![0.0];
    for span in values(&case["spans_mm"]) {
        at.push(at[at.len() - 1] + span);
    }
    let (b, h) = (value(&case["b_mm"]), value(&case["h_mm"]));
    let (supports, spec) = beam(&at, value(&case["w_n_mm"]), value(&case["E"]), b, h);
    let frame = Frame::new(&supports, &spec, &[]).unwrap();
    let seats = mm(&values(&case["seat_mm"]));
    let on_seats = OnSeats::new(&frame, &seats, Loads::DEAD, None).unwrap();
    for (support, want) in values(&case["reaction_n"]).into_iter().enumerate() {
        close(on_seats.reaction(support).to_n(), want, 0.001, "reaction");
    }
    for (support, want) in values(&case["support_moment_nmm"]).into_iter().enumerate() {
        let moment = on_seats.timbers().moment(0, Length::mm(at[support]));
        let moment = moment.map_or(0.0, |m| m.to_n_mm());
        close(moment, want, 0.1, "moment");
    }
}

/// The two-span beam of the lift-off cases.
fn two_spans(case: &Value) -> Frame {
    let stiffness = value(&case["EI"]) / (75.0 * 125.0_f64.powi(3) / 12.0);
    let (supports, spec) = beam(&spans(2), value(&case["w_n_mm"]), stiffness, 75.0, 125.0);
    Frame::new(&supports, &spec, &[]).unwrap()
}

#[test]
fn a_low_centre_seat_is_left() {
    let all = table();
    let case = &all["two_spans_centre_low"];
    let frame = two_spans(case);
    let d0 = value(&case["lift_off_mm"]);
    close(d0, 5.0 * W * L.powi(4) / (24.0 * value(&case["EI"])), 1e-6, "closed form");
    let centre = values(&case["reaction_centre_n"]);
    let end = values(&case["reaction_end_n"]);
    let gap = values(&case["gap_over_d0"]);
    for (step, share) in values(&case["d_over_d0"]).into_iter().enumerate() {
        let seats = mm(&[0.0, -share * d0, 0.0]);
        let found = frame.contact(&seats, Loads::DEAD).unwrap();
        close(found.reactions[1].to_n(), centre[step], 0.001, "centre");
        close(found.reactions[0].to_n(), end[step], 0.001, "end");
        close(found.gaps[1].to_mm(), gap[step] * d0, 1e-4, "gap");
    }
}

#[test]
fn a_jacked_centre_lifts_the_ends_and_then_rocks() {
    let all = table();
    let case = &all["two_spans_centre_jacked"];
    let frame = two_spans(&all["two_spans_centre_low"]);
    let leave = value(&case["ends_leave_mm"]);
    let rises: Vec<Length> =
        values(&case["d_over_leave"]).into_iter().map(|share| Length::mm(share * leave)).collect();
    let level = [Length::ZERO; 3];
    let found = jack_curve(&frame, &level, Loads::DEAD, None, &[1], &rises).unwrap();
    for (point, want) in found.iter().zip(values(&case["force_n"])) {
        close(point.forces[0].to_n(), want, 0.001, "force");
    }
    let after = mm(&[0.0, leave + 5.0, 0.0]);
    let found = frame.contact(&after, Loads::DEAD).unwrap();
    assert!(found.rocks);
    close(found.reactions[1].to_n(), value(&case["force_after_n"]), 0.001, "after");
    let before = frame.contact(&mm(&[0.0, leave - 5.0, 0.0]), Loads::DEAD).unwrap();
    assert!(!before.rocks);
}

#[test]
fn one_support_sinks() {
    let ei = 10_500.0 * 75.0 * 125.0_f64.powi(3) / 12.0;
    for case in table()["unit_sinking"].as_array().unwrap() {
        let n = case["spans"].as_integer().unwrap() as usize;
        let sunk = case["support"].as_integer().unwrap() as usize - 1;
        let (supports, spec) = beam(&spans(n), W, 10_500.0, 75.0, 125.0);
        let frame = Frame::new(&supports, &spec, &[]).unwrap();
        // Small enough that every support goes on carrying; what the load does is taken off.
        let d = 0.5;
        let mut seats = vec![0.0; n + 1];
        let level = OnSeats::new(&frame, &mm(&seats), Loads::DEAD, None).unwrap();
        seats[sunk] = -d;
        let sunk = OnSeats::new(&frame, &mm(&seats), Loads::DEAD, None).unwrap();
        for (support, want) in values(&case["reaction"]).into_iter().enumerate() {
            let change = sunk.reaction(support).to_n() - level.reaction(support).to_n();
            close(change * L.powi(3) / (ei * d), want, 1e-6, "reaction");
        }
        for (support, want) in values(&case["moment"]).into_iter().enumerate() {
            let along = Length::mm(support as f64 * L);
            let moment =
                |on: &OnSeats<'_>| on.timbers().moment(0, along).map_or(0.0, |m| m.to_n_mm());
            let change = moment(&sunk) - moment(&level);
            close(change * L * L / (ei * d), want, 1e-6, "moment");
        }
    }
}

/// Once the bearer has left the end support, the jack at `a` and the far support carry a simple
/// beam with an overhang: the jack pushes w L^2 / (2 (L - a)), and the end rises L / (L - a) times
/// as fast as the jack (statics, closed form).
#[test]
fn a_jack_beside_the_end_support_is_a_lever() {
    let (supports, spec) = beam(&spans(1), W, 10_500.0, 75.0, 125.0);
    let frame = Frame::new(&supports, &spec, &[]).unwrap();
    let place =
        |beside: f64| JackPlace { support: supports[0].id.clone(), beside: Length::mm(beside) };
    let curve = |beside: f64, rises: &[f64]| {
        let level = [Length::ZERO; 2];
        let set = None;
        jack_beside_curve(&frame, &supports, &level, Loads::DEAD, set, &place(beside), &mm(rises))
    };
    let a = 300.0;
    let found = curve(a, &[0.0, 0.5, 1.0, 20.0, 30.0]).unwrap();
    let forces: Vec<f64> = found.iter().map(|(point, _)| point.forces[0].to_n()).collect();
    assert!(forces.windows(2).all(|pair| pair[1] >= pair[0] - 1e-6), "{forces:?}");
    close(forces[0], 0.0, 1e-6, "it only touches");
    close(forces[3], W * L * L / (2.0 * (L - a)), 1e-3, "lever");
    let opened = (found[4].1 - found[3].1).to_mm();
    close(opened, 10.0 * L / (L - a), 1e-6, "gap");
    // Right on the support it pushes what the support carried, at once.
    let on_it = curve(0.0, &[1.0]).unwrap();
    close(on_it[0].0.forces[0].to_n(), W * L / 2.0, 1e-3, "on the support");
    let fault = curve(-50.0, &[1.0]).unwrap_err();
    assert!(matches!(fault, JackError::BeyondBearer { .. }), "{fault}");
    assert!(fault.to_string().contains("50.0 mm beyond the end"), "{fault}");
}
