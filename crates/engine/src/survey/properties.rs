//! What must hold of every survey, on random ones.

use super::equations::Solver;
use super::reduce::reduce_by;
use super::*;
use crate::ids::{PointId, SetupId};
use crate::units::{ExactLength, Length, Level, Minutes, Variance};
use faer::linalg::solvers::DenseSolveCore;
use faer::{Mat, Side};
use proptest::prelude::*;

const POINTS: usize = 8;

fn point(idx: usize) -> PointId {
    PointId::new(format!("P{idx}"))
}

fn reading(idx: usize, nm: i64) -> Reading {
    Reading {
        point: point(idx),
        value: ExactLength::nm(nm),
        inverted: false,
        time: None,
        sd: None,
        distance: None,
        place: None,
    }
}

fn setup(name: &str, readings: Vec<Reading>) -> Setup {
    Setup {
        id: SetupId::new(name),
        reading_sd: ReadingSd::Each(Length::mm(0.8)),
        scale: 1.0,
        drift: Drift::None,
        readings,
    }
}

/// Setups that read random points (the first always among them, as a common point), a few of
/// them upside down or twice, with noise of a few millimetres; and a few legs.
fn any_survey() -> impl Strategy<Value = Survey> {
    let readings =
        || proptest::collection::vec((0..POINTS, -3_000_000_i64..3_000_000, any::<bool>()), 2..12);
    let legs = proptest::collection::vec((0..POINTS, 0..POINTS, -3_000_000_i64..3_000_000), 0..6);
    let scales = proptest::collection::vec(1.0..1.1_f64, 4);
    (proptest::collection::vec(readings(), 1..4), legs, scales).prop_map(
        |(setups, legs, scales)| {
            let truth = |idx: usize| (idx as i64 * 37 % 23) * 1_000_000;
            let setups = setups.into_iter().enumerate().map(|(number, rows)| {
                let line = 900_000_000 + 40_000_000 * number as i64;
                let first = (0, 0, false);
                let readings = std::iter::once(first).chain(rows).map(|(idx, noise, inverted)| {
                    let below = line - truth(idx);
                    let value = if inverted { -below } else { below } + noise;
                    Reading { inverted, ..reading(idx, value) }
                });
                let scale = scales[number];
                Setup { scale, ..setup(&format!("S{number}"), readings.collect()) }
            });
            let legs =
                legs.into_iter().filter(|(from, to, _)| from != to).map(|(from, to, noise)| Leg {
                    from: point(from),
                    to: point(to),
                    rise: ExactLength::nm(truth(to) - truth(from) + noise),
                    weight: LegWeight::Sd(Length::mm(1.3)),
                    place: None,
                });
            Survey {
                datum: Datum::PointIsZero(point(0)),
                setups: setups.collect(),
                legs: legs.collect(),
                ..Survey::default()
            }
        },
    )
}

fn near(one: f64, other: f64) -> bool {
    (one - other).abs() <= 1e-7 * (1.0 + one.abs().max(other.abs()))
}

/// Residuals, redundancy numbers and tests agree.
fn same_checks(one: &Reduction, other: &Reduction) {
    assert!(near(one.weighted_ss, other.weighted_ss), "{} {}", one.weighted_ss, other.weighted_ss);
    assert_eq!(one.redundancy, other.redundancy);
    assert_eq!(one.observations.len(), other.observations.len());
    for (one, other) in one.observations.iter().zip(&other.observations) {
        assert!(near(one.residual.to_mm(), other.residual.to_mm()), "{one:?} {other:?}");
        assert!(near(one.redundancy_number, other.redundancy_number), "{one:?} {other:?}");
        match (one.control.check(), other.control.check()) {
            (Some(one), Some(other)) => assert!(near(one.w, other.w)),
            (one, other) => assert_eq!(one.is_some(), other.is_some()),
        }
    }
}

/// Differences between all pairs of points and their standard deviations agree.
fn same_differences(one: &Levels, other: &Levels) {
    let idx = |levels: &Levels, at: usize| levels.index_of(&one.points()[at].point).unwrap();
    for from in 0..one.points().len() {
        for to in 0..from {
            let rise = |levels: &Levels| {
                let (from, to) = (idx(levels, from), idx(levels, to));
                (levels.points()[to].level - levels.points()[from].level).to_mm()
            };
            assert!(near(rise(one), rise(other)));
            let sd = |levels: &Levels| levels.difference_sd(idx(levels, from), idx(levels, to));
            assert!(near(sd(one).to_mm(), sd(other).to_mm()));
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    #[test]
    fn residuals_and_differences_do_not_depend_on_the_datum(survey in any_survey()) {
        let zero = reduce(&survey);
        let approximate = zero.levels.points().iter().step_by(2);
        let approximate = approximate.map(|p| (p.point.clone(), Level::mm(5.0))).collect();
        let free = reduce(&Survey { datum: Datum::Free { approximate }, ..survey });
        same_checks(&zero, &free);
        same_differences(&zero.levels, &free.levels);
        let sum: f64 = free.levels.points().iter().step_by(2).map(|p| p.level.to_mm() - 5.0).sum();
        prop_assert!(sum.abs() < 1e-6);
    }

    #[test]
    fn redundancy_numbers_add_up_to_the_redundancy(survey in any_survey()) {
        let reduction = reduce(&survey);
        let sum: f64 = reduction.observations.iter().map(|o| o.redundancy_number).sum();
        prop_assert!((sum - reduction.redundancy as f64).abs() < 1e-6);
    }

    #[test]
    fn leaving_one_out_drops_the_sum_by_its_w_squared(survey in any_survey(), which in 0..100_usize) {
        let whole = reduce(&survey);
        let which = which % whole.observations.len();
        let observation = &whole.observations[which];
        let mut less = survey;
        match observation.source {
            ObservationSource::Reading { setup, reading } => { less.setups[setup].readings.remove(reading); }
            ObservationSource::Leg { leg } => { less.legs.remove(leg); }
            ObservationSource::Benchmark { .. } => unreachable!("the datum is a point"),
        }
        let less = reduce(&less);
        match observation.control.check() {
            Some(check) => {
                prop_assert!(near(whole.weighted_ss - check.w * check.w, less.weighted_ss));
                prop_assert_eq!(less.redundancy, whole.redundancy - 1);
            }
            None => prop_assert!(near(whole.weighted_ss, less.weighted_ss)),
        }
    }

    #[test]
    fn a_constant_on_a_setup_moves_its_line_only(survey in any_survey(), nm in -1_000_000_000_i64..1_000_000_000) {
        let before = reduce(&survey);
        let mut moved = survey.clone();
        for reading in &mut moved.setups[0].readings {
            let sign = if reading.inverted { -1 } else { 1 };
            reading.value = ExactLength::nm(reading.value.to_nm() + sign * nm);
        }
        let after = reduce(&moved);
        same_checks(&before, &after);
        for (one, other) in before.levels.points().iter().zip(after.levels.points()) {
            prop_assert!(near(one.level.to_mm(), other.level.to_mm()));
        }
        let line = |reduction: &Reduction| reduction.setups[0].line.unwrap().level.to_mm();
        let expected = nm as f64 * 1e-6 * survey.setups[0].scale;
        prop_assert!(near(line(&after) - line(&before), expected));
    }

    #[test]
    fn an_even_creep_on_a_setup_moves_its_rate_only(survey in any_survey(), nm in -500_000_i64..500_000) {
        let mut before = survey;
        let setup = &mut before.setups[0];
        setup.drift = Drift::Linear;
        setup.readings.push(setup.readings[0].clone());
        for (idx, reading) in setup.readings.iter_mut().enumerate() {
            reading.time = Some(Minutes::new(idx as f64));
        }
        let mut after = before.clone();
        for (idx, reading) in after.setups[0].readings.iter_mut().enumerate() {
            let sign = if reading.inverted { -1 } else { 1 };
            reading.value = ExactLength::nm(reading.value.to_nm() + sign * nm * idx as i64);
        }
        let scale = before.setups[0].scale;
        let (before, after) = (reduce(&before), reduce(&after));
        same_checks(&before, &after);
        for (one, other) in before.levels.points().iter().zip(after.levels.points()) {
            prop_assert!(near(one.level.to_mm(), other.level.to_mm()));
        }
        let rate = |reduction: &Reduction| match &reduction.setups[0].drift {
            DriftFound::Found(drift) => drift.rate.to_mm_per_minute(),
            other => panic!("{other:?}"),
        };
        prop_assert!(near(rate(&after) - rate(&before), nm as f64 * 1e-6 * scale));
    }

    #[test]
    fn the_order_of_writing_down_does_not_matter(survey in any_survey()) {
        let mut turned = survey.clone();
        turned.setups.reverse();
        turned.setups.iter_mut().for_each(|setup| setup.readings.reverse());
        turned.legs.reverse();
        let (one, other) = (reduce(&survey), reduce(&turned));
        prop_assert!(near(one.weighted_ss, other.weighted_ss));
        same_differences(&one.levels, &other.levels);
        for (one, other) in one.levels.points().iter().zip(other.levels.points()) {
            prop_assert_eq!(&one.point, &other.point);
            prop_assert!(near(one.level.to_mm(), other.level.to_mm()));
            prop_assert!(near(one.sd_prior.to_mm(), other.sd_prior.to_mm()));
        }
    }

    #[test]
    fn the_full_and_the_sparse_way_agree(survey in any_survey(), free in any::<bool>()) {
        let mut survey = survey;
        if free {
            let approximate = vec![(point(0), Level::mm(3.0))];
            survey.datum = Datum::Free { approximate };
        }
        let (full, sparse) = (reduce_by(&survey, Solver::Dense), reduce_by(&survey, Solver::Sparse));
        same_checks(&full, &sparse);
        same_differences(&full.levels, &sparse.levels);
        let weights: Vec<(usize, f64)> =
            (0..full.levels.points().len()).map(|idx| (idx, 0.3 - 0.25 * idx as f64)).collect();
        let sd = |levels: &Levels| levels.combination_sd(&weights).to_mm();
        prop_assert!(near(sd(&full.levels), sd(&sparse.levels)));
        prop_assert_eq!(full.suspects.len(), sparse.suspects.len());
        prop_assert_eq!(full.alike.len(), sparse.alike.len());
        for (one, other) in full.levels.points().iter().zip(sparse.levels.points()) {
            prop_assert!(near(one.level.to_mm(), other.level.to_mm()));
            prop_assert!(near(one.sd_prior.to_mm(), other.sd_prior.to_mm()));
        }
        for (one, other) in full.setups.iter().zip(&sparse.setups) {
            let (one, other) = (one.line.unwrap(), other.line.unwrap());
            prop_assert!(near(one.sd_prior.to_mm(), other.sd_prior.to_mm()));
        }
    }

    /// Second method: the readings of one setup differenced against its first, with the
    /// covariance that they then share, solved by generalised least squares.
    #[test]
    fn raw_readings_equal_differences_with_their_covariance(
        rows in proptest::collection::vec((0..4_usize, -3_000_000_i64..3_000_000), 4..12)
    ) {
        let mut rows = rows;
        rows.insert(0, (0, 0));
        let raw = Survey {
            datum: Datum::PointIsZero(point(0)),
            setups: vec![setup("S", rows.iter().map(|&(p, nm)| reading(p, nm)).collect())],
            ..Survey::default()
        };
        let raw = reduce(&raw);
        let (sum, levels) = differenced(&rows, 0.8);
        prop_assert!(near(raw.weighted_ss, sum), "{} {sum}", raw.weighted_ss);
        for level in raw.levels.points() {
            let idx: usize = level.point.as_str()[1..].parse().unwrap();
            let (height, variance) = levels[idx];
            prop_assert!(near(level.level.to_mm(), height));
            prop_assert!(near(level.sd_prior.squared().to_mm2(), variance));
        }
    }

    #[test]
    fn nothing_hostile_panics_or_is_not_a_number(
        survey in any_survey(),
        numbers in proptest::collection::vec(prop_oneof![
            Just(f64::NAN), Just(f64::INFINITY), Just(0.0), Just(-1.0), Just(1e-6), Just(1e6),
            Just(f64::MAX), Just(f64::MIN_POSITIVE), -10.0..10.0_f64
        ], 40),
        extreme in any::<i64>(),
    ) {
        let mut survey = survey;
        let mut next = numbers.iter().copied().cycle();
        let mut number = || next.next().unwrap();
        for setup in &mut survey.setups {
            setup.scale = number();
            setup.drift = Drift::Linear;
            setup.reading_sd = ReadingSd::Each(Length::mm(number()));
            for reading in &mut setup.readings {
                reading.time = Some(Minutes::new(number()));
                reading.sd = Some(Length::mm(number()));
            }
            setup.readings[0].value = ExactLength::nm(extreme);
        }
        for leg in &mut survey.legs {
            leg.weight = LegWeight::Distance { length: Length::m(number()), per_sqrt_km: Length::mm(number()) };
        }
        survey.tests.alpha = number();
        survey.tests.power = number();
        survey.tests.global_alpha = number();
        survey.benchmarks = (0..3)
            .map(|idx| Benchmark { point: point(idx), level: Level::mm(number()), sd: Length::mm(number()) })
            .collect();
        let covariance = (0..3).map(|_| (0..3).map(|_| Variance::mm2(number())).collect()).collect();
        let approximate = vec![(point(0), Level::mm(number())), (point(1), Level::mm(number()))];
        for datum in [
            Datum::Benchmarks,
            Datum::CorrelatedBenchmarks(covariance),
            Datum::Free { approximate },
            Datum::PointIsZero(point(0)),
        ] {
            survey.datum = datum;
            let reduction = reduce(&survey);
            assert_finite(&reduction);
        }
    }
}

/// Serialized, a number that is not finite turns into null; so does an absent one, which only
/// the named fields may be.
fn assert_finite(reduction: &Reduction) {
    let text = serde_json::to_string(reduction).unwrap();
    let mut rest = text.as_str();
    while let Some(at) = rest.find("null") {
        let named = [
            "\"s0\":",
            "\"sd_post\":",
            "\"tau\":",
            "\"line\":",
            "\"pieces\":",
            "\"n_setups\":",
            "\"length\":",
            "\"minutes\":",
            "\"alone\":",
        ];
        assert!(named.iter().any(|name| rest[..at].ends_with(name)), "{}", &rest[..at + 4]);
        rest = &rest[at + 4..];
    }
    for level in reduction.levels.points() {
        assert!(level.level.is_finite() && level.sd_prior.is_finite());
        assert!(level.sd_post.is_none_or(Length::is_finite));
    }
    assert!(reduction.s0.is_none_or(f64::is_finite));
    let checks = reduction.observations.iter().filter_map(|o| o.control.check());
    assert!(checks.filter_map(|check| check.tau).all(f64::is_finite));
}

/// Levels above the first point with their variances, and the weighted sum of squares, from
/// differences to the first reading whose covariance is `sd^2 (I + 11')`. Its inverse is
/// `(I - 11'/(n + 1)) / sd^2` (Sherman-Morrison).
fn differenced(rows: &[(usize, i64)], sd: f64) -> (f64, Vec<(f64, f64)>) {
    let n = rows.len() - 1;
    let weight = Mat::from_fn(n, n, |one, other| {
        (if one == other { 1.0 } else { 0.0 } - 1.0 / (n as f64 + 1.0)) / (sd * sd)
    });
    let observed = Mat::from_fn(n, 1, |row, _| (rows[0].1 - rows[row + 1].1) as f64 * 1e-6);
    let mut used: Vec<usize> = rows[1..].iter().map(|row| row.0).filter(|&p| p != 0).collect();
    used.sort_unstable();
    used.dedup();
    let design =
        Mat::from_fn(
            n,
            used.len(),
            |row, column| {
                if rows[row + 1].0 == used[column] { 1.0 } else { 0.0 }
            },
        );
    let normal = design.transpose() * &weight * &design;
    let cofactor = normal.llt(Side::Lower).unwrap().inverse();
    let solution = &cofactor * (design.transpose() * &weight * &observed);
    let residual = &design * &solution - &observed;
    let sum = (residual.transpose() * &weight * &residual)[(0, 0)];
    let mut levels = vec![(0.0, 0.0); POINTS];
    for (column, &point) in used.iter().enumerate() {
        levels[point] = (solution[(column, 0)], cofactor[(column, column)]);
    }
    (sum, levels)
}
