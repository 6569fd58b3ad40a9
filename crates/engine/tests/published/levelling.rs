//! Networks, reliability and drift. Each data file names its source; `levelling/README-networks.md`
//! says how to read them.

use crate::example::{Example, Expect};
use floorwright_engine::ids::PointId;
use floorwright_engine::survey::{
    Check, Control, DriftFound, GlobalTest, Observation, ObservationName, PartHeight, Reduction,
    SdTrust, Survey, SurveyFault, global_critical, least_squares, reduce, tau_critical,
};
use floorwright_engine::units::Length;

/// Holds a reduced network against every block of its file.
fn check(name: &str) -> Reduction {
    let example = Example::read(name);
    let survey = example.survey();
    let reduction = reduce(&survey);
    example.check_all(|expect| match expect.case.as_str() {
        "" => result(&reduction, &survey, expect),
        "leg removed" => {
            let mut survey = survey.clone();
            survey.legs.remove(example.input()["blunder_obs"].as_integer().unwrap() as usize - 1);
            result(&reduce(&survey), &survey, expect)
        }
        other => panic!("case {other}"),
    });
    reduction
}

/// What a block asks for, from the reduction.
fn result(reduction: &Reduction, survey: &Survey, expect: &Expect) -> Vec<f64> {
    let level = |key: &String| {
        let point = PointId::new(key);
        reduction.levels.get(&point).unwrap_or_else(|| panic!("{key} has no level"))
    };
    let keys = expect.keys.iter();
    let each = |value: &dyn Fn(&Observation) -> f64| -> Vec<f64> {
        named(reduction, expect).into_iter().map(value).collect()
    };
    let redundancy = reduction.redundancy;
    match expect.quantity.as_str() {
        "height" => keys.map(|key| expect.level(level(key).level)).collect(),
        "sd_prior" => keys.map(|key| expect.length(level(key).sd_prior)).collect(),
        "sd_post" => keys.map(|key| expect.length(level(key).sd_post.unwrap())).collect(),
        "weighted_ss" => vec![reduction.weighted_ss],
        "s0_ratio" => vec![reduction.s0.unwrap()],
        "redundancy" => vec![redundancy as f64],
        "v" => each(&|o| expect.length(o.residual)),
        "red_i" => each(&|o| o.redundancy_number),
        "w" | "w_general" => each(&|o| checked(o).w),
        "tau" => each(&|o| checked(o).tau.unwrap()),
        "abs_tau" => each(&|o| checked(o).tau.unwrap().abs()),
        "mdb" => each(&|o| expect.length(checked(o).smallest_detectable)),
        "est_error" => each(&|o| expect.length(checked(o).error)),
        "v_over_r" => each(&|o| -expect.length(checked(o).error)),
        "chi2_critical_95" => vec![global_critical(redundancy, 0.05).unwrap()],
        "tau_critical_05" => vec![tau_critical(redundancy, 0.05).unwrap()],
        "not_controlled" => numbers_of(reduction, |o| o.control == Control::NotControlled),
        "rejected_by_w" => rejected_one_by_one(reduction, |check| check.w.abs() > 3.2905267),
        "rejected_by_tau_05" => {
            let critical = tau_critical(redundancy, 0.05).unwrap();
            rejected_one_by_one(reduction, |check| check.tau.unwrap().abs() > critical)
        }
        "rho_vv" => {
            let pair = |key: &String| {
                let (one, other) = key.split_once(',').unwrap();
                let (one, other): (usize, usize) = (one.parse().unwrap(), other.parse().unwrap());
                let group = reduction.alike.iter().find(|g| g.observations[0] == one - 1).unwrap();
                let member = group.observations.iter().position(|&o| o == other - 1).unwrap();
                group.correlations[member]
            };
            keys.map(pair).collect()
        }
        "parts" => vec![reduction.parts.len() as f64],
        "datum_defect" => vec![reduction.datum_defect() as f64],
        "loop_misclosure" => keys.map(|key| expect.length(misclosure(reduction, key))).collect(),
        other => panic!("{other} of {} legs", survey.legs.len()),
    }
}

/// The observations that a block names, or all.
fn named<'a>(reduction: &'a Reduction, expect: &Expect) -> Vec<&'a Observation> {
    if expect.keys.is_empty() {
        return reduction.observations.iter().collect();
    }
    let key_of = |o: &Observation| match &o.name {
        ObservationName::Leg { from, to } => format!("{from}-{to}"),
        ObservationName::Benchmark { point } => format!("height {point}"),
        ObservationName::Reading { point, setup } => format!("{point} {setup}"),
    };
    let find = |key: &String| {
        let found = reduction.observations.iter().find(|o| key_of(o) == *key);
        found.unwrap_or_else(|| panic!("{key} is not an observation"))
    };
    expect.keys.iter().map(find).collect()
}

fn checked(observation: &Observation) -> &Check {
    observation.control.check().unwrap_or_else(|| panic!("{} is not controlled", observation.name))
}

fn numbers_of(reduction: &Reduction, wanted: impl Fn(&Observation) -> bool) -> Vec<f64> {
    let each = reduction.observations.iter().zip(1_i32..);
    each.filter(|(o, _)| wanted(o)).map(|(_, number)| f64::from(number)).collect()
}

fn rejected_one_by_one(reduction: &Reduction, rejects: impl Fn(&Check) -> bool) -> Vec<f64> {
    numbers_of(reduction, |o| o.control.check().is_some_and(&rejects))
}

fn misclosure(reduction: &Reduction, key: &str) -> Length {
    let name =
        |points: &[PointId]| points.iter().map(PointId::as_str).collect::<Vec<_>>().join("-");
    let found = reduction.loops.iter().find(|one| name(&one.points) == key);
    found.unwrap_or_else(|| panic!("{key} is not among {:?}", reduction.loops)).misclosure
}

/// Source: Ghilani, *Adjustment Computations*, Example 12.6, as reworked by Krumm, Ex. 2.1. The
/// reference standard deviation 0.6575 of the 4th edition is a misprint and is not reproduced.
#[test]
fn ghilani_given_sigmas() {
    let reduction = check("net-ghilani-12-6");
    let wrong = Example::read("net-ghilani-12-6").published_wrong("s0_ratio");
    assert!((reduction.s0.unwrap() - wrong).abs() > 0.005);
}

/// Source: Niemeier, *Ausgleichungsrechnung*, pp. 153-156 and 268-269, through Krumm.
#[test]
fn niemeier_fixed() {
    check("net-niemeier-fixed");
}

/// Source: the same network with a mean datum; residuals and redundancy do not depend on it.
#[test]
fn niemeier_free_and_its_invariance() {
    let (free, fixed) = (check("net-niemeier-free"), check("net-niemeier-fixed"));
    for (one, other) in free.observations.iter().zip(&fixed.observations) {
        assert!((one.residual - other.residual).abs().to_mm() < 1e-9);
        assert!((one.redundancy_number - other.redundancy_number).abs() < 1e-12);
    }
}

/// Source: Mittermayer 1971, inputs as listed by Krumm; answers computed apart from this project.
#[test]
fn mittermayer_free() {
    check("net-mittermayer-free");
}

/// Source: Krumm, five points with one redundant leg: two legs are not controlled, and with one
/// spare leg there is no tau.
#[test]
fn krumm_uncontrolled() {
    let reduction = check("net-krumm-uncontrolled");
    assert!(
        reduction.observations.iter().filter_map(|o| o.control.check()).all(|c| c.tau.is_none())
    );
    assert_eq!(reduction.uncontrolled.len(), 1);
}

/// Source: Krumm, Ex. 2.3: two benchmarks with a full covariance.
#[test]
fn krumm_benchmark_covariance() {
    check("net-krumm-benchmark-covariance");
}

/// Source: Mahun, *Least Squares Lite*, chapters B, D and E, in feet.
#[test]
fn mahun_in_feet() {
    for name in ["net-mahun-eight-equal", "net-mahun-set-up-weights", "net-mahun-seven-equal"] {
        check(name);
    }
}

/// Constructed: a leg between two fixed points and a spur.
#[test]
fn redundancy_of_none_and_of_one() {
    let reduction = check("net-edge-r-zero-and-one");
    assert!(matches!(reduction.observations[0].control, Control::BenchmarkCheck(_)));
    assert!(matches!(reduction.observations[3].control, Control::NotControlled));
}

/// Constructed: two parts, one without a height, which gets differences and its loop only.
#[test]
fn part_without_a_height_gets_no_levels() {
    let reduction = check("net-two-components");
    for point in ["T", "U", "V"] {
        assert!(reduction.levels.get(&PointId::new(point)).is_none());
    }
    let part = reduction.parts.iter().find(|part| part.points[0] == PointId::new("T")).unwrap();
    let PartHeight::Unknown { differences } = &part.height else { panic!("{part:?}") };
    // 5.0, 2.2 and -6.9 mm close 0.3 mm too high; a third of it comes off each leg.
    assert!((differences[0].rise.to_mm() - 4.9).abs() < 1e-9);
    assert!((differences[1].rise.to_mm() - 7.0).abs() < 1e-9);
    let told = |fault: &SurveyFault| matches!(fault, SurveyFault::NoHeight { points } if points.len() == 3);
    assert!(reduction.faults.iter().any(told));
}

/// Source: Niemeier with the a-priori sigma of 1 mm: `w`, tau, smallest detectable error, global
/// test, legs that cannot be told apart.
#[test]
fn niemeier_reliability() {
    let reduction = check("reliability-niemeier");
    assert!(matches!(reduction.global_test, GlobalTest::Failed { .. }));
    let sum: f64 = reduction.observations.iter().map(|o| o.redundancy_number).sum();
    assert!((sum - 4.0).abs() < 1e-12);
    let groups: Vec<_> = reduction.alike.iter().map(|group| &group.observations[..]).collect();
    assert_eq!(groups, [&[0, 1], &[6, 8]]);
}

/// Source: Niemeier with 20 mm added to leg 3-4. It is the first suspect, sized and told by `w`;
/// tau at 0.001 misses it, at 0.05 finds it.
#[test]
fn planted_blunder() {
    let reduction = check("reliability-planted-blunder");
    let suspect = &reduction.suspects[0];
    assert_eq!(suspect.observation, 4);
    assert_eq!(
        suspect.to_string(),
        "measure the leg from 3 to 4 again: it rises about 21.5 mm too much against everything else"
    );
    let mut survey = Example::read("reliability-planted-blunder").survey();
    survey.tests.trust = SdTrust::Estimated;
    assert_eq!(reduce(&survey).suspects, []);
    survey.tests.alpha = 0.05;
    assert_eq!(reduce(&survey).suspects[0].observation, 4);
}

/// Constructed: base and stations re-read, height and drift together. Heights and their standard
/// deviations by the plain fit, rate and differences by the survey as well.
#[test]
fn drift_by_least_squares() {
    let example = Example::read("drift-least-squares");
    let reduction = reduce(&example.drift_survey());
    let DriftFound::Found(drift) = &reduction.setups[0].drift else { panic!("{reduction:?}") };
    let pieces = drift.pieces.as_ref().unwrap();
    let fit = plain_drift_fit(&example);
    let level = |key: &str| reduction.levels.get(&PointId::new(key)).unwrap();
    let s = reduction.s0.unwrap();
    example.check_all(|expect| {
        let keys = expect.keys.iter();
        match expect.quantity.as_str() {
            "H" => fit.coefficients[..3].to_vec(),
            "sd_H" => fit.standard_deviations.as_ref().unwrap()[..3].to_vec(),
            // The line falls while an upside-down staff reads more and more.
            "rate" => vec![-drift.rate.to_mm_per_minute()],
            "sd_rate" => vec![drift.sd_post.unwrap().to_mm_per_minute()],
            "difference_to_R" => keys.map(|key| level(key).level.to_mm()).collect(),
            "sd_difference_to_R" => keys.map(|key| level(key).sd_post.unwrap().to_mm()).collect(),
            "s" => vec![s],
            "redundancy" => vec![reduction.redundancy as f64],
            "piecewise_difference_to_R" => {
                pieces.readings.iter().map(|reading| reading.above_base.to_mm()).collect()
            }
            "two_point_rate_corrected" => two_point(&example),
            other => panic!("{other}"),
        }
    });
    assert!((fit.coefficients[3] + drift.rate.to_mm_per_minute()).abs() < 1e-12);
    assert!(pieces.one_line_is_enough);
    assert_eq!(pieces.base, PointId::new("R"));
}

fn drift_columns(example: &Example) -> (Vec<String>, Vec<f64>, Vec<f64>) {
    let input = example.input();
    let stations = input["station"].as_array().unwrap();
    let stations = stations.iter().map(|value| value.as_str().unwrap().to_string()).collect();
    let column = |name: &str| crate::example::numbers(&input[name]);
    (stations, column("minutes"), column("reading"))
}

fn plain_drift_fit(example: &Example) -> floorwright_engine::survey::Fit {
    let (stations, minutes, readings) = drift_columns(example);
    let is = |one: &str, other: &str| if one == other { 1.0 } else { 0.0 };
    let rows = stations.iter().zip(&minutes);
    let design: Vec<Vec<f64>> = rows
        .map(|(station, minutes)| {
            vec![is(station, "R"), is(station, "P"), is(station, "Q"), *minutes]
        })
        .collect();
    least_squares(&design, &readings).unwrap()
}

/// Each reading between the first and the last, reduced with those two alone as the base: its
/// level above the base, counted from the base's first reading.
fn two_point(example: &Example) -> Vec<f64> {
    let survey = example.drift_survey();
    let readings = &survey.setups[0].readings;
    let last = readings.len() - 1;
    let corrected = |idx: usize| {
        let between = PointId::new("between");
        let mut survey = survey.clone();
        let mut middle = readings[idx].clone();
        middle.point = between.clone();
        survey.setups[0].readings = vec![readings[0].clone(), middle, readings[last].clone()];
        let reduction = reduce(&survey);
        assert_eq!(reduction.redundancy, 0);
        reduction.levels.get(&between).unwrap().level.to_mm() + readings[0].value.to_mm()
    };
    (1..last).map(corrected).collect()
}
