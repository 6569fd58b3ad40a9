//! What a builder would notice: closed forms, sentences and faults.

use super::equations::Solver;
use super::reduce::reduce_by;
use super::*;
use crate::ids::{PointId, SetupId};
use crate::units::{ExactLength, Length, Level, Minutes, Variance};

fn read(point: &str, mm: f64) -> Reading {
    Reading {
        point: PointId::new(point),
        value: ExactLength::from_mm(mm).unwrap(),
        inverted: false,
        time: None,
        sd: None,
        distance: None,
        place: None,
    }
}

fn read_at(point: &str, minutes: f64, mm: f64) -> Reading {
    Reading { time: Some(Minutes::new(minutes)), ..read(point, mm) }
}

fn setup(name: &str, readings: Vec<Reading>) -> Setup {
    Setup {
        id: SetupId::new(name),
        reading_sd: ReadingSd::Each(Length::mm(1.0)),
        scale: 1.0,
        drift: Drift::None,
        readings,
    }
}

fn leg(from: &str, to: &str, mm: f64) -> Leg {
    Leg {
        from: PointId::new(from),
        to: PointId::new(to),
        rise: ExactLength::from_mm(mm).unwrap(),
        weight: LegWeight::Sd(Length::mm(1.0)),
        place: None,
    }
}

fn benchmark(point: &str, mm: f64, sd: f64) -> Benchmark {
    Benchmark { point: PointId::new(point), level: Level::mm(mm), sd: Length::mm(sd) }
}

fn zero_at(point: &str, setups: Vec<Setup>) -> Survey {
    Survey { datum: Datum::PointIsZero(PointId::new(point)), setups, ..Survey::default() }
}

fn level(reduction: &Reduction, point: &str) -> f64 {
    reduction.levels.get(&PointId::new(point)).unwrap().level.to_mm()
}

fn close(got: f64, expected: f64) {
    assert!((got - expected).abs() < 1e-9, "{got} is not {expected}");
}

#[test]
fn upside_down_staff_hangs_above_the_line() {
    let soffit = Reading { inverted: true, ..read("B1", 850.0) };
    let reduction = reduce(&zero_at("BM", vec![setup("1", vec![read("BM", 1200.0), soffit])]));
    close(level(&reduction, "B1"), 2050.0);
    close(reduction.setups[0].line.unwrap().level.to_mm(), 1200.0);
}

#[test]
fn difference_of_readings_is_multiplied_by_the_scale() {
    let hose = Setup { scale: 1.02, ..setup("1", vec![read("BM", 500.0), read("P", 400.0)]) };
    let reduction = reduce(&zero_at("BM", vec![hose]));
    close(level(&reduction, "P"), 102.0);
    let sd = reduction.levels.get(&PointId::new("P")).unwrap().sd_prior;
    close(sd.to_mm(), 1.02 * 2.0_f64.sqrt());
}

/// Closed form: one benchmark known to 3 mm adds 9 mm^2 to every covariance; differences do not
/// change.
#[test]
fn sd_of_the_only_benchmark_is_added_to_every_level() {
    let setups = vec![setup("1", vec![read("BM", 100.0), read("P", 90.0), read("Q", 80.0)])];
    let with = |sd| {
        let benchmarks = vec![benchmark("BM", 5000.0, sd)];
        reduce(&Survey { benchmarks, setups: setups.clone(), ..Survey::default() })
    };
    let (held, weighted) = (with(0.0), with(3.0));
    let all = [0, 1, 2];
    let rows = held.levels.covariances(&all).into_iter().zip(weighted.levels.covariances(&all));
    for (held, weighted) in rows.flat_map(|(held, weighted)| held.into_iter().zip(weighted)) {
        close(weighted.to_mm2(), held.to_mm2() + 9.0);
    }
    close(level(&weighted, "P"), 5010.0);
    assert!(held.levels.points()[0].held && !weighted.levels.points()[0].held);
    let told = Uncontrolled::LoneBenchmark { point: PointId::new("BM") };
    assert!(weighted.uncontrolled.contains(&told));
}

/// Closed form: in one closed loop of n equal legs every redundancy number is 1/n and the
/// smallest detectable error is delta-0 times the root of n; run twice it is (n + 1) / (2n).
#[test]
fn redundancy_of_a_loop_and_of_a_loop_run_twice() {
    let once =
        vec![leg("A", "B", 1.0), leg("B", "C", 2.0), leg("C", "D", 3.0), leg("D", "A", -6.0)];
    let twice = [once.clone(), once.clone()].concat();
    let reduce_legs = |legs| {
        let benchmarks = vec![benchmark("A", 0.0, 0.0)];
        reduce(&Survey { benchmarks, legs, ..Survey::default() })
    };
    let once = reduce_legs(once);
    for observation in &once.observations {
        close(observation.redundancy_number, 0.25);
        let found = observation.control.check().unwrap().smallest_detectable.to_mm();
        close(found, detectable_shift(0.001, 0.80) * 2.0);
    }
    assert_eq!(once.alike[0].observations, [0, 1, 2, 3]);
    for observation in &reduce_legs(twice).observations {
        close(observation.redundancy_number, 5.0 / 8.0);
    }
}

#[test]
fn line_between_benchmarks_closes_on_their_difference() {
    let survey = Survey {
        benchmarks: vec![benchmark("A", 100.0, 0.0), benchmark("B", 112.0, 0.0)],
        legs: vec![leg("A", "P", 5.0), leg("B", "P", -9.0)],
        ..Survey::default()
    };
    let mut by_setups = survey.clone();
    for (leg, n_setups) in by_setups.legs.iter_mut().zip([2, 3]) {
        leg.weight = LegWeight::Setups { n_setups, per_setup: Length::mm(1.0) };
    }
    let line = &reduce(&by_setups).loops[0];
    assert_eq!((line.n_setups, line.length), (Some(5), None));
    close(line.sd.to_mm(), 5.0_f64.sqrt());
    let loops = reduce(&survey).loops;
    assert_eq!(loops.len(), 1);
    let ends = [&loops[0].points[0], &loops[0].points[2]].map(PointId::as_str);
    // From A up 5 and up 9 is 14, known is 12; the other way round the sign turns.
    close(loops[0].misclosure.to_mm(), if ends == ["A", "B"] { 2.0 } else { -2.0 });
    close(loops[0].sd.to_mm(), 2.0_f64.sqrt());
}

/// Three setups over four points, with one misreading of 10 mm.
fn three_setups(wrong: f64) -> Survey {
    let rows = |line: f64| {
        let levels = [("BM", 0.0), ("P7", 12.0), ("P14", -8.0), ("P21", 3.0)];
        levels.map(|(point, level)| read(point, line - level)).to_vec()
    };
    let mut setups =
        vec![setup("1", rows(1000.0)), setup("2", rows(1150.0)), setup("3", rows(870.0))];
    let value = &mut setups[1].readings[2].value;
    *value = ExactLength::from_mm(value.to_mm() + wrong).unwrap();
    zero_at("BM", setups)
}

#[test]
fn misreading_is_named_with_size_and_sign() {
    let check = |wrong: f64, expected: &str| {
        let suspects = reduce(&three_setups(wrong)).suspects;
        assert_eq!(suspects.len(), 1);
        close(suspects[0].error.to_mm(), wrong);
        assert_eq!(suspects[0].to_string(), expected);
    };
    check(
        10.2,
        "re-read P14 from setup 2: it reads about 10.2 mm too high against setups 1 and 3 and the \
         other readings",
    );
    check(
        -25.0,
        "re-read P14 from setup 2: it reads about 25.0 mm too low against setups 1 and 3 and the \
         other readings",
    );
    assert_eq!(reduce(&three_setups(0.4)).suspects, []);
}

/// The search sets one suspect aside and goes on; the levels stay those of all readings.
#[test]
fn two_misreadings_are_found_one_after_the_other() {
    let mut survey = three_setups(30.0);
    let value = &mut survey.setups[0].readings[1].value;
    *value = ExactLength::from_mm(value.to_mm() - 60.0).unwrap();
    let reduction = reduce(&survey);
    let found: Vec<f64> = reduction.suspects.iter().map(|s| s.error.to_mm()).collect();
    assert_eq!(found.len(), 2);
    // With the first set aside the second is sized exactly; the first still bears the second.
    close(found[1], 30.0);
    assert_eq!(reduction.observations.len(), 12);
    let mut without = survey.clone();
    without.setups[0].readings.remove(1);
    let again = reduce(&without);
    close(again.suspects[0].error.to_mm(), 30.0);
}

#[test]
fn two_readings_of_a_point_cannot_be_told_apart() {
    let mut survey = three_setups(10.0);
    survey.setups.truncate(2);
    let suspects = reduce(&survey).suspects;
    assert_eq!(
        suspects[0].to_string(),
        "check P14 from setup 1 and P14 from setup 2 again: one of them is off by about 10.0 mm, \
         and nothing tells which (P14 from setup 1 10.0 mm too low; or P14 from setup 2 10.0 mm \
         too high)"
    );
}

/// A wrong benchmark shows in what touches it: the sentence says that its height may be wrong.
#[test]
fn benchmarks_that_disagree_are_named() {
    let mut survey = Survey {
        benchmarks: vec![benchmark("A", 0.0, 0.0), benchmark("B", 30.0, 0.0)],
        legs: vec![leg("A", "B", 10.0)],
        ..Survey::default()
    };
    assert_eq!(
        reduce(&survey).suspects[0].to_string(),
        "measure the leg from A to B again: it rises about 20.0 mm too little against everything \
         else; or a height given for the benchmarks A and B is wrong"
    );
    survey.legs.clear();
    survey.setups = vec![setup("1", vec![read("A", 100.0), read("B", 90.0), read("P", 80.0)])];
    assert_eq!(
        reduce(&survey).suspects[0].to_string(),
        "check A from setup 1 and B from setup 1 again: one of them is off by about 20.0 mm, and \
         nothing tells which (A from setup 1 20.0 mm too low; or B from setup 1 20.0 mm too high); \
         or a height given for the benchmarks A and B is wrong"
    );
}

#[test]
fn what_nothing_checks_is_told_by_setup() {
    let points = ["BM", "P1", "P2", "P3"].map(|point| read(point, 1000.0));
    let mut survey = zero_at("BM", vec![setup("1", points.to_vec())]);
    let told = |survey: &Survey| -> Vec<String> {
        reduce(survey).uncontrolled.iter().map(ToString::to_string).collect()
    };
    assert_eq!(
        told(&survey),
        [
            "P1, P2 and P3 were read once from one setup (1): a misreading there would not show; \
             read them again from another setup",
            "nothing checks the reading of BM from setup 1, and other levels hang on it; read \
             another common point from 1"
        ]
    );
    survey.setups[0].readings.extend(["BM", "P1", "P2"].map(|point| read(point, 1000.0)));
    survey.legs = vec![leg("P3", "P4", 1.0)];
    assert_eq!(
        told(&survey),
        [
            "nothing checks the reading of P3 from setup 1, and other levels hang on it; read \
             another common point from 1",
            "nothing checks the level line P3 to P4: a mistake there would not show; run it again \
             or close it to a known point"
        ]
    );
}

fn drifting(readings: Vec<Reading>) -> Survey {
    zero_at("BM", vec![Setup { drift: Drift::Linear, ..setup("1", readings) }])
}

#[test]
fn drift_that_cannot_be_had_is_refused_with_the_reason() {
    let check = |readings: Vec<Reading>, expected: &str| {
        let reduction = reduce(&drifting(readings));
        let DriftFound::Refused { why } = &reduction.setups[0].drift else {
            panic!("{reduction:?}")
        };
        assert_eq!(why.to_string(), expected);
        let told = |fault: &SurveyFault| fault.to_string().contains(expected);
        assert!(reduction.faults.iter().any(told));
        close(level(&reduction, "P"), 10.0);
    };
    check(
        vec![read_at("BM", 0.0, 100.0), read("P", 90.0), read("BM", 100.0)],
        "2 of its 3 readings have no time",
    );
    check(
        vec![read_at("BM", 4.0, 100.0), read_at("P", 4.0, 90.0), read_at("BM", 4.0, 100.0)],
        "all its 3 readings have the same time",
    );
    check(
        vec![read_at("BM", 0.0, 100.0), read_at("P", 4.0, 90.0)],
        "it has 2 readings, at least 3 are needed",
    );
    check(
        vec![read_at("BM", 0.0, 100.0), read_at("P", 4.0, 90.0), read_at("Q", 9.0, 80.0)],
        "no point was read again later, so drift and levels cannot be told apart",
    );
}

/// Setups that drift share every point: the differences of their drifts show, their sum
/// does not, so neither is given.
#[test]
fn drifts_that_hide_behind_each_other_are_refused() {
    let rows = || vec![read_at("BM", 0.0, 100.0), read_at("P", 5.0, 90.0), read_at("Q", 9.0, 80.0)];
    for n_more in [1, 200] {
        let mut survey = drifting(rows());
        let more = (0..n_more).map(|idx| setup(&format!("more {idx}"), rows()));
        survey.setups.extend(more.map(|setup| Setup { drift: Drift::Linear, ..setup }));
        for solver in [Solver::Dense, Solver::Sparse] {
            let reduction = reduce_by(&survey, solver);
            assert!(reduction.setups.iter().all(|s| matches!(s.drift, DriftFound::Refused { .. })));
            close(level(&reduction, "P"), 10.0);
        }
    }
}

/// Another setup without drift stands in for reading a point again.
#[test]
fn second_setup_gives_the_drift_of_the_first() {
    let rows = vec![read_at("BM", 0.0, 100.0), read_at("P", 10.0, 95.0), read_at("Q", 20.0, 90.0)];
    let mut survey = drifting(rows);
    survey.setups.push(setup("2", vec![read("BM", 50.0), read("P", 40.0), read("Q", 30.0)]));
    let reduction = reduce(&survey);
    let DriftFound::Found(drift) = &reduction.setups[0].drift else { panic!("{reduction:?}") };
    // The readings fall by 5 each, the points rise by 10: the line rises 5 mm in 10 minutes.
    close(drift.rate.to_mm_per_minute(), 0.5);
    close(level(&reduction, "Q"), 20.0);
    assert!(drift.proven && drift.pieces.is_none());
}

#[test]
fn line_that_bends_is_not_one_line() {
    let check = |base: [f64; 3], enough: bool, proven: bool| {
        let reduction = reduce(&drifting(vec![
            read_at("BM", 0.0, base[0]),
            read_at("P", 10.0, 90.0),
            read_at("BM", 20.0, base[1]),
            read_at("P", 30.0, 90.0),
            read_at("BM", 40.0, base[2]),
        ]));
        let DriftFound::Found(drift) = &reduction.setups[0].drift else { panic!("{reduction:?}") };
        assert_eq!(drift.pieces.as_ref().unwrap().one_line_is_enough, enough, "{drift:?}");
        assert_eq!(drift.proven, proven, "{drift:?}");
    };
    check([100.0, 100.1, 100.2], true, false);
    check([100.0, 110.0, 100.0], false, false);
    check([100.0, 110.0, 120.0], true, true);
}

#[test]
fn every_fault_is_told_at_once_and_the_rest_is_reduced() {
    let bad_sd = Reading { sd: Some(Length::mm(0.0)), ..read("P", 90.0) };
    let mut survey =
        zero_at("BM", vec![setup("1", vec![read("BM", 100.0), bad_sd, read("Q", 80.0)])]);
    survey.setups.push(setup("1", Vec::new()));
    survey.setups.push(Setup { scale: f64::NAN, ..setup("3", vec![read("Q", 1.0)]) });
    survey.legs = vec![leg("Q", "Q", 1.0), leg("X", "Y", 4.0)];
    survey.benchmarks = vec![benchmark("BM", 7.0, 0.0)];
    survey.tests.alpha = 2.0;
    let reduction = reduce(&survey);
    let told: Vec<String> = reduction.faults.iter().map(ToString::to_string).collect();
    assert_eq!(
        told,
        [
            "the reading of P from setup 1 has a standard deviation of 0 mm, the limits are \
             0.000001 mm and 1000000 mm",
            "setup 1 is given more than once",
            "setup 1 has no readings that can be used",
            "setup 3 has a scale of NaN, the limits are 0.01 and 100",
            "setup 3 has no readings that can be used",
            "leg 1 goes from Q to itself",
            "benchmark BM is not used: the datum is another",
            "no known height reaches P; only differences are given for them",
            "no known height reaches X and Y; only differences are given for them",
            "the error probability of one test is 2, the limits are 0 and 1, both excluded; \
             0.001 is used",
        ]
    );
    assert!(reduction.faults.iter().all(|fault| !fault.hint().is_empty()));
    close(level(&reduction, "Q"), 20.0);
    assert_eq!(reduction.datum_defect(), 2);
}

#[test]
fn faults_of_benchmarks_and_datum_points_are_told() {
    let told = |survey: &Survey| -> Vec<String> {
        reduce(survey).faults.iter().map(ToString::to_string).collect()
    };
    let mut survey = Survey {
        benchmarks: vec![
            benchmark("A", 10.0, 0.0),
            benchmark("A", 12.0, 0.0),
            benchmark("B", f64::NAN, 0.0),
            benchmark("C", 5.0, 0.0),
        ],
        legs: vec![leg("A", "P", 1.0), leg("B", "P", 1.0)],
        ..Survey::default()
    };
    let benchmarks = [
        "benchmark A is given more than once; +10.0 mm is used, +12.0 mm is left out",
        "benchmark B has a level of NaN mm, the limit is 10000000000 mm either way",
        "benchmark C is not tied to any reading or leg",
    ];
    assert_eq!(told(&survey), benchmarks);
    let covariance = |size: usize, variance: f64| {
        Datum::CorrelatedBenchmarks(vec![vec![Variance::mm2(variance); size]; size])
    };
    survey.datum = covariance(3, 1.0);
    assert_eq!(
        told(&survey)[0],
        "the covariance of the benchmarks is not square in their number, 4; their own standard \
         deviations are used"
    );
    survey.benchmarks = vec![benchmark("A", 10.0, 0.0), benchmark("B", 12.0, 0.0)];
    survey.datum = covariance(2, 1.0);
    assert_eq!(
        told(&survey),
        ["the covariance of the benchmarks is not symmetric and positive definite; their own \
          standard deviations are used"]
    );
    close(level(&reduce(&survey), "P"), 12.0);
    let chosen = ["A", "A", "Z"].map(|point| (PointId::new(point), Level::mm(0.0)));
    survey.datum = Datum::Free { approximate: chosen.to_vec() };
    survey.benchmarks.clear();
    assert_eq!(
        told(&survey),
        ["datum point A is given more than once", "datum point Z is not in any reading or leg"]
    );
}

/// Second method for the general form of `w`: to give a benchmark an error of its own is to know
/// nothing of its height, so a huge variance drops the weighted sum of squares by `w` squared.
#[test]
fn w_of_a_correlated_benchmark_is_what_setting_it_aside_drops() {
    let covariance = [[4.0, 1.5, 1.0], [1.5, 5.0, 2.0], [1.0, 2.0, 6.0]];
    let with = |aside: Option<usize>| {
        let entry = |row: usize, column: usize| {
            let huge = if row == column && Some(row) == aside { 1e10 } else { 0.0 };
            Variance::mm2(covariance[row][column] + huge)
        };
        let rows = (0..3).map(|row| (0..3).map(|column| entry(row, column)).collect());
        let readings = [("A", 100.0), ("B", 89.0), ("C", 80.0), ("P", 70.0)];
        reduce(&Survey {
            datum: Datum::CorrelatedBenchmarks(rows.collect()),
            benchmarks: vec![
                benchmark("A", 0.0, 0.0),
                benchmark("B", 10.0, 0.0),
                benchmark("C", 26.0, 0.0),
            ],
            setups: vec![setup("1", readings.map(|(point, mm)| read(point, mm)).to_vec())],
            ..Survey::default()
        })
    };
    let whole = with(None);
    let heights = &whole.observations[4..];
    assert_eq!(heights.len(), 3);
    let sum: f64 = whole.observations.iter().map(|o| o.redundancy_number).sum();
    close(sum, whole.redundancy as f64);
    for (idx, height) in heights.iter().enumerate() {
        close(height.sd.squared().to_mm2(), covariance[idx][idx]);
        let w = height.control.check().unwrap().w;
        let drop = whole.weighted_ss - with(Some(idx)).weighted_ss;
        assert!((drop - w * w).abs() < 1e-6, "{drop} {w}");
    }
}

#[test]
fn empty_survey_is_reduced_to_nothing() {
    let reduction = reduce(&Survey::default());
    assert!(reduction.levels.points().is_empty() && reduction.faults.is_empty());
    assert_eq!(reduction.global_test, GlobalTest::NoSpareObservations);
}

/// A level line over a thousand change points, open and then closed: on the sparse way every
/// reading of the open one is uncontrolled, and closed each redundancy number is 1/2002.
#[test]
fn long_line_of_change_points() {
    let name = |idx: usize| format!("CP{idx:04}");
    let line = |idx: usize, next: usize| {
        setup(&format!("{idx}"), vec![read(&name(idx), 1000.0), read(&name(next), 1000.0)])
    };
    let open: Vec<Setup> = (0..1000).map(|idx| line(idx, idx + 1)).collect();
    let reduction = reduce(&zero_at("CP0000", open.clone()));
    assert!(reduction.observations.iter().all(|o| o.control == Control::NotControlled));
    let far = reduction.levels.get(&PointId::new("CP1000")).unwrap();
    assert!((far.sd_prior.to_mm() - 2000.0_f64.sqrt()).abs() < 1e-6);
    let closed = [open, vec![line(1000, 0)]].concat();
    for observation in &reduce(&zero_at("CP0000", closed)).observations {
        assert!((observation.redundancy_number - 1.0 / 2002.0).abs() < 1e-8);
    }
}
