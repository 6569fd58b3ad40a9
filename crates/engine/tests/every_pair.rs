//! The searches that pass over pairs give what a look at every pair gives.
//!
//! Second method: the plain search is here, pair by pair and with the covariance of each.

use floorwright_engine::ids::{PointId, SetupId};
use floorwright_engine::site::{Point, PointKind, Position, Site, nearest_on_segment};
use floorwright_engine::surface::{FloorReading, steepest_slope};
use floorwright_engine::survey::{
    Benchmark, Datum, Drift, Levels, PointLevel, Reading, ReadingSd, Setup, Survey, reduce,
};
use floorwright_engine::units::{ExactLength, LENGTH_EPS, Length, Level, Variance};
use floorwright_engine::verdict::{
    COVERAGE, Criterion, Finding, Guard, Measure, MinApart, Outcome, Scope, guard, judge,
};
use std::cell::RefCell;
use std::collections::BTreeMap;

fn mm(mm: f64) -> Length {
    Length::mm(mm)
}

/// Even random numbers that are the same on every run.
struct Dice(u64);

impl Dice {
    fn below(&mut self, end: u64) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963);
        ((self.0 >> 33) % end) as f64
    }
}

/// Points by index, all floor points, without rooms.
struct Floor {
    places: Vec<Position>,
    site: Site,
    levels: Levels,
    /// Uncertainties of differences that were asked for before; on a large floor each takes long.
    known: RefCell<BTreeMap<(usize, usize), Length>>,
}

impl Floor {
    fn new(places: Vec<Position>, levels: Levels) -> Self {
        Self { site: site(&places), places, levels, known: RefCell::default() }
    }

    fn uncertainty(&self, weights: &[(usize, f64)]) -> Length {
        let work_out = || self.levels.combination_sd(weights) * COVERAGE;
        match weights {
            [(first, _), (second, _)] => {
                *self.known.borrow_mut().entry((*first, *second)).or_insert_with(work_out)
            }
            _ => work_out(),
        }
    }
}

fn name(idx: usize) -> PointId {
    PointId::new(format!("P{idx:04}"))
}

fn site(places: &[Position]) -> Site {
    let point = |(idx, &at): (usize, &Position)| Point {
        id: name(idx),
        at: Some(at),
        kind: PointKind::Floor,
        room: None,
    };
    Site::new(vec![], places.iter().enumerate().map(point).collect(), vec![]).unwrap()
}

/// On a coarse grid with levels in whole millimetres, so that many pairs are as bad as one
/// another. All levels share the uncertainty of a benchmark.
fn random_floor(dice: &mut Dice) -> Floor {
    let n_points = 2 + dice.below(70) as usize;
    let (rough, shared) = (1 + dice.below(30) as u64, dice.below(6));
    let place = |dice: &mut Dice| Position::mm(dice.below(16) * 600.0, dice.below(12) * 450.0);
    let places: Vec<Position> = (0..n_points).map(|_| place(dice)).collect();
    let own: Vec<f64> = (0..n_points).map(|_| 0.2 + dice.below(20) / 10.0).collect();
    let points = (0..n_points).map(|idx| PointLevel {
        point: name(idx),
        level: Level::mm(dice.below(rough) - places[idx].x.to_m()),
        sd_prior: mm(shared.hypot(own[idx])),
        sd_post: None,
        held: false,
    });
    let points = points.collect();
    let covariance = |row: usize, column: usize| {
        Variance::mm2(shared * shared + if row == column { own[row] * own[row] } else { 0.0 })
    };
    let covariance: Vec<Vec<Variance>> = (0..n_points)
        .map(|row| (0..n_points).map(|column| covariance(row, column)).collect())
        .collect();
    Floor::new(places, Levels::new(points, &covariance))
}

/// Read from nine setups, and large enough that covariances are worked out on request.
fn large_floor(dice: &mut Dice) -> Floor {
    let places: Vec<Position> = (0..315)
        .map(|idx| Position::mm(f64::from(idx % 21) * 700.0, f64::from(idx / 21) * 650.0))
        .collect();
    let setups = (0..9).map(|setup| {
        let sees = |idx: &usize| {
            let (column, row) = (idx % 21, idx / 21);
            column / 7 == setup % 3 && row / 5 == setup / 3 || idx.is_multiple_of(13)
        };
        let readings = (0..places.len()).filter(sees).map(|idx| Reading {
            point: name(idx),
            value: ExactLength::nm(
                (1200.0 + dice.below(12) + places[idx].x.to_m()) as i64 * 1_000_000,
            ),
            inverted: false,
            time: None,
            sd: None,
            distance: None,
            place: None,
        });
        Setup {
            id: SetupId::new(format!("{setup}")),
            reading_sd: ReadingSd::Each(mm(0.8)),
            scale: 1.0,
            drift: Drift::None,
            readings: readings.collect(),
        }
    });
    let setups = setups.collect();
    let mark = Benchmark { point: name(0), level: Level::mm(0.0), sd: mm(4.0) };
    let survey =
        Survey { datum: Datum::Benchmarks, benchmarks: vec![mark], setups, ..Survey::default() };
    Floor::new(places, reduce(&survey).levels)
}

/// One comparison of the plain search: weights, limit and distance.
type Comparison = (Vec<(usize, f64)>, Length, Option<Length>);

/// Every pair that a measure compares, with its limit.
fn every_pair(floor: &Floor, measure: &Measure) -> Vec<Comparison> {
    let mut all = Vec::new();
    for first in 0..floor.places.len() {
        for second in first + 1..floor.places.len() {
            let apart = floor.places[first].distance(floor.places[second]);
            if let Some(limit) = limit_of(measure, apart) {
                let over = (!matches!(measure, Measure::Spread { .. })).then_some(apart);
                all.push((vec![(first, 1.0), (second, -1.0)], limit, over));
            }
        }
    }
    all
}

fn limit_of(measure: &Measure, apart: Length) -> Option<Length> {
    match measure {
        Measure::Spread { limit, .. } => Some(*limit),
        Measure::SlopePairs { limit, min_apart } => {
            (apart > min_apart.length + LENGTH_EPS).then(|| apart * *limit)
        }
        Measure::DiffInBase { limit, base } => (apart <= *base + LENGTH_EPS).then_some(*limit),
        Measure::DiffBySpan { per_length, span_max, cap } => (apart >= mm(1000.0) - LENGTH_EPS)
            .then(|| if apart <= *span_max + LENGTH_EPS { apart * *per_length } else { *cap }),
        Measure::LevelByNominalLength { steps, beyond } => steps
            .iter()
            .find(|(up_to, _)| apart <= *up_to + LENGTH_EPS)
            .map_or(Some(*beyond), |step| Some(step.1)),
        _ => panic!("not a measure of pairs"),
    }
}

/// Every three points on a line that a straightedge rests on.
fn every_three(floor: &Floor, limit: Length, base: Length) -> Vec<Comparison> {
    let places = &floor.places;
    let half = base / 2.0;
    let mut all = Vec::new();
    for middle in 0..places.len() {
        for first in 0..places.len() {
            for last in first + 1..places.len() {
                let [one, other] = [first, last].map(|idx| places[idx].distance(places[middle]));
                let apart = places[first].distance(places[last]);
                let reaches = one <= half + LENGTH_EPS && other <= half + LENGTH_EPS;
                let rests = apart > half && apart <= base + LENGTH_EPS;
                if first == middle || last == middle || !reaches || !rests {
                    continue;
                }
                let foot = nearest_on_segment((places[first], places[last]), places[middle]);
                let along = places[first].distance(foot) / apart;
                if foot.distance(places[middle]) <= mm(20.0) && along > 0.0 && along < 1.0 {
                    let weights = vec![(middle, 1.0), (first, along - 1.0), (last, -along)];
                    all.push((weights, limit, Some(apart)));
                }
            }
        }
    }
    all
}

/// The first of the worst of the outcome that decides.
fn plain_answer(floor: &Floor, comparisons: &[Comparison]) -> Option<(Guard, Finding)> {
    let mut worst: [Option<(Guard, Finding)>; 3] = [None, None, None];
    for (weights, limit, over) in comparisons {
        let points = floor.levels.points();
        let value: f64 = weights.iter().map(|&(idx, w)| w * points[idx].level.to_mm()).sum();
        let value = mm(value.abs());
        let uncertainty = floor.uncertainty(weights);
        let decided = guard(value, uncertainty, *limit);
        let kind = match decided {
            Guard::Beyond => 0,
            Guard::Undecided => 1,
            Guard::Within => 2,
        };
        let names = weights.iter().map(|&(idx, _)| points[idx].point.clone()).collect();
        let finding =
            Finding::Height { points: names, value, uncertainty, limit: *limit, over: *over };
        let is_worse =
            |(_, other): &(Guard, Finding)| finding.use_of_limit() > other.use_of_limit();
        if worst[kind].as_ref().is_none_or(is_worse) {
            worst[kind] = Some((decided, finding));
        }
    }
    worst.into_iter().flatten().next()
}

/// Holds a floor against a measure both ways; says how it came out.
fn check(floor: &Floor, measure: Measure) -> Option<Guard> {
    let comparisons = match &measure {
        Measure::StraightedgeGap { limit, base } => every_three(floor, *limit, *base),
        pairs => every_pair(floor, pairs),
    };
    let expected = plain_answer(floor, &comparisons);
    let criterion = Criterion::agreed("own", "own", measure, Scope::Floor, "agreed").unwrap();
    let verdict = judge(&criterion, &floor.site, &floor.levels);
    let part = &verdict.parts[0];
    assert_eq!(part.n_compared, comparisons.len(), "{criterion:?}");
    assert_eq!(
        part.finding,
        expected.as_ref().map(|(_, finding)| finding.clone()),
        "{criterion:?}"
    );
    let decided = expected.map(|(decided, _)| decided);
    match (decided, &part.outcome) {
        (None, Outcome::Refused { .. })
        | (Some(Guard::Beyond), Outcome::DoesNot)
        | (Some(Guard::Undecided), Outcome::CannotTell { .. })
        | (Some(Guard::Within), Outcome::Meets) => {}
        other => panic!("{other:?}"),
    }
    decided
}

/// Limits so many times as strict as usual ones.
fn measures(strict: f64) -> [Measure; 7] {
    let steps = [(1000.0, 6.0), (3000.0, 8.0), (6000.0, 7.0)];
    [
        Measure::SlopePairs { limit: 0.005 / strict, min_apart: MinApart::stated(mm(1800.0)) },
        Measure::Spread { limit: mm(16.0 / strict), up_to: None },
        Measure::DiffInBase { limit: mm(9.0 / strict), base: mm(2400.0) },
        Measure::DiffBySpan {
            per_length: 0.003 / strict,
            span_max: mm(4200.0),
            cap: mm(11.0 / strict),
        },
        Measure::DiffBySpan {
            per_length: 0.006 / strict,
            span_max: mm(6000.0),
            cap: mm(20.0 / strict),
        },
        Measure::LevelByNominalLength {
            steps: steps.map(|(up_to, limit)| (mm(up_to), mm(limit / strict))).to_vec(),
            beyond: mm(12.0 / strict),
        },
        Measure::StraightedgeGap { limit: mm(4.0 / strict), base: mm(3600.0) },
    ]
}

#[test]
fn criteria_are_judged_as_by_a_look_at_every_pair() {
    let mut dice = Dice(11);
    let (mut within, mut undecided, mut beyond) = (0, 0, 0);
    for _ in 0..250 {
        let floor = random_floor(&mut dice);
        for measure in measures([0.2, 0.4, 0.7, 1.0, 1.6][dice.below(5) as usize]) {
            match check(&floor, measure) {
                Some(Guard::Within) => within += 1,
                Some(Guard::Undecided) => undecided += 1,
                Some(Guard::Beyond) => beyond += 1,
                None => {}
            }
        }
    }
    let all = [within, undecided, beyond];
    assert!(all.iter().all(|count| *count > 200), "every outcome is met often: {all:?}");
}

#[test]
fn covariances_on_request_judge_the_same() {
    let floor = large_floor(&mut Dice(5));
    let mut outcomes = Vec::new();
    for strict in [0.2, 0.45, 0.7, 1.4] {
        let pairs = measures(strict).into_iter().take(6);
        outcomes.extend(pairs.filter_map(|measure| check(&floor, measure)));
    }
    for kind in [Guard::Within, Guard::Undecided, Guard::Beyond] {
        assert!(outcomes.iter().filter(|other| **other == kind).count() > 2, "{outcomes:?}");
    }
}

#[test]
fn the_steepest_slope_is_the_first_of_the_steepest_pairs() {
    let mut dice = Dice(23);
    for _ in 0..200 {
        let floor = random_floor(&mut dice);
        let reading = |idx: usize, deck: f64| FloorReading {
            point: name(idx),
            at: floor.places[idx],
            deck: deck as usize,
            level: floor.levels.points()[idx].level,
            in_levels: idx,
        };
        let readings: Vec<FloorReading> =
            (0..floor.places.len()).map(|idx| reading(idx, dice.below(2))).collect();
        let at_least = mm(600.0 * (1.0 + dice.below(6)));
        let mut steepest: Option<(f64, &FloorReading, &FloorReading)> = None;
        let mut pairs = 0;
        for (idx, first) in readings.iter().enumerate() {
            for second in readings[idx + 1..].iter().filter(|other| other.deck == first.deck) {
                let distance = first.at.distance(second.at);
                let slope = (first.level - second.level).abs() / distance;
                pairs += usize::from(distance >= at_least);
                if distance >= at_least && steepest.is_none_or(|(most, ..)| slope > most) {
                    steepest = Some((slope, first, second));
                }
            }
        }
        let found = steepest_slope(&readings, &floor.levels, at_least).ok();
        let ends = |(slope, first, second): (f64, &FloorReading, &FloorReading)| {
            let falls = first.level >= second.level;
            let (from, to) = if falls { (first, second) } else { (second, first) };
            (slope, from.point.clone(), to.point.clone(), pairs)
        };
        let found = found.map(|found| (found.slope, found.from, found.to, found.pairs));
        assert_eq!(found, steepest.map(ends));
    }
}
