//! What the readings of one setup say against each other, before anything is adjusted: a base that
//! does not close, repeats that are unlike, and a base that was left for too long.

use super::fault::join_some;
use super::input::{Datum, Drift, Reading, Setup, Survey};
use super::repeated::{
    DRIES_AT_MOST, MINUTES_BETWEEN, POINTS_BETWEEN, alike_within, root_sum_of_squares,
    something_moved,
};
use crate::ids::{PointId, SetupId};
use crate::units::{ExactLength, Length, Minutes};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

/// What the readings of one setup say against it.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum SetupDoubt {
    /// The base was read again and stands further off than two readings may differ. Shared out by
    /// time it would go into every point read since.
    NotClosed {
        /// The setup.
        setup: SetupId,
        /// What was read again.
        base: PointId,
        /// What it read before.
        before: ExactLength,
        /// What it read then.
        then: ExactLength,
        /// How long after, if both have a time.
        minutes: Option<Minutes>,
        /// How far apart the two stand.
        apart: Length,
        /// How far they may.
        limit: Length,
        /// What was read in between.
        since: Vec<PointId>,
    },
    /// One point was read more than once, and the readings differ by more than chance has it.
    Unlike {
        /// The setup.
        setup: SetupId,
        /// The point.
        point: PointId,
        /// What was read, in order.
        values: Vec<ExactLength>,
        /// How far the lowest and the highest stand apart, the drift between two readings of the
        /// base taken out.
        apart: Length,
        /// How far they may.
        limit: Length,
        /// Where the others agree without one of three or more: that one.
        alone: Option<ExactLength>,
    },
    /// Points that were read again all stand off to one side.
    OneSided {
        /// The setup.
        setup: SetupId,
        /// How many points were read again.
        pairs: usize,
        /// By how much the later readings stand higher, on average.
        mean: Length,
    },
    /// The base was left for longer than levelling practice has it.
    LongWithoutReturn {
        /// The setup.
        setup: SetupId,
        /// What should have been read again.
        base: PointId,
        /// How long, if the readings have times.
        minutes: Option<Minutes>,
        /// How many readings were taken in that time.
        points: usize,
    },
}

impl SetupDoubt {
    /// Whether readings have to be taken again: the others are to be known and no more.
    pub fn is_read_again(&self) -> bool {
        matches!(self, Self::NotClosed { .. } | Self::Unlike { .. })
    }

    /// The point that is in doubt by itself.
    pub fn point(&self) -> Option<&PointId> {
        match self {
            Self::Unlike { point, .. } => Some(point),
            Self::NotClosed { base, .. } => Some(base),
            Self::OneSided { .. } | Self::LongWithoutReturn { .. } => None,
        }
    }
}

impl fmt::Display for SetupDoubt {
    /// A sentence to act on.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotClosed { setup, base, before, then, minutes, apart, limit, since } => {
                let later = minutes
                    .map_or(String::new(), |minutes| format!(" {} later", in_words(minutes)));
                write!(
                    f,
                    "setup {setup} does not close: {base} read {before} and{later} {then}, {apart} \
                     apart, and the limit is {limit}. Read again what was read since ({})",
                    join_some(since)
                )?;
                let hours = minutes.map_or(0.0, |minutes| minutes.to_minutes() / 60.0);
                if *apart > DRIES_AT_MOST * hours {
                    write!(
                        f,
                        ". Drying up takes no more than about {:.2} mm in an hour: look for a leak, \
                         a spill or air in a hose, for a knock to a level",
                        DRIES_AT_MOST.to_mm()
                    )?;
                }
                Ok(())
            }
            Self::Unlike { setup, point, values, apart, limit, alone } => {
                let times = if values.len() == 2 {
                    "twice".to_owned()
                } else {
                    format!("{} times", values.len())
                };
                let values: Vec<String> = values.iter().map(ToString::to_string).collect();
                let (last, rest) = values.split_last().map_or(("", &[][..]), |(l, r)| (l, r));
                write!(
                    f,
                    "{point} was read {times} from setup {setup}, {} and {last}: {apart} apart, and \
                     the limit is {limit}. ",
                    rest.join(", ")
                )?;
                match alone {
                    Some(alone) => write!(
                        f,
                        "The others agree without {alone}: strike it out, and say why in its column \
                         struck"
                    ),
                    None => f.write_str(
                        "Do not take the mean: read it once more, and strike out the one that stands \
                         alone",
                    ),
                }
            }
            Self::OneSided { setup, pairs, mean } => write!(
                f,
                "the {pairs} points of setup {setup} that were read again read {} {} on average: \
                 something moved, or the water line drifted; go back to the base more often",
                mean.abs(),
                if *mean < Length::ZERO { "less" } else { "more" }
            ),
            Self::LongWithoutReturn { setup, base, minutes, points } => {
                let time =
                    minutes.map_or(String::new(), |minutes| format!("{} and ", in_words(minutes)));
                write!(
                    f,
                    "setup {setup} went {time}{points} {} without reading {base} again: after {} \
                     minutes or {} points at the latest, or a leak shows too late",
                    if *points == 1 { "reading" } else { "readings" },
                    MINUTES_BETWEEN,
                    POINTS_BETWEEN
                )
            }
        }
    }
}

/// Nothing is said of a base that was left for little longer than it should have been (a ratio):
/// practice has 10 to 15 points.
const LONG: f64 = 1.25;

/// Minutes as a person says them.
fn in_words(minutes: Minutes) -> String {
    let whole = minutes.to_minutes().round();
    if whole < 120.0 {
        format!("{whole:.0} minutes")
    } else {
        format!("{:.0} h {:.0} min", (whole / 60.0).floor(), whole % 60.0)
    }
}

/// How many standard deviations so many readings of one thing span at most, with 95 %: quantiles of
/// the studentised range, as ISO 5725-6:1994, table 1, has them (from
/// memory; held in the tests against the distribution itself).
const SPAN_OF: [f64; 9] = [2.8, 3.3, 3.6, 3.9, 4.0, 4.2, 4.3, 4.4, 4.5];

/// How far apart so many readings of one point may stand.
fn may_span(n_readings: usize, sd: Length) -> Length {
    sd * SPAN_OF[n_readings.clamp(2, SPAN_OF.len() + 1) - 2]
}

/// What each setup says against itself, in the order of the setups.
///
/// # References
/// Limits of differences: 95 % of two readings, of more by the studentised range. How long a base may
/// be left: levelling practice.
pub(super) fn find_doubts(survey: &Survey) -> Vec<SetupDoubt> {
    let marks = marks_of(survey);
    survey.setups.iter().flat_map(|setup| Watched::new(setup, &marks).doubts()).collect()
}

fn marks_of(survey: &Survey) -> BTreeSet<&PointId> {
    let zero = match &survey.datum {
        Datum::PointIsZero(point) => Some(point),
        _ => None,
    };
    survey.benchmarks.iter().map(|mark| &mark.point).chain(zero).collect()
}

/// A setup with its base.
struct Watched<'a> {
    setup: &'a Setup,
    /// First and last reading of each visit to the base.
    visits: Vec<(usize, usize)>,
    base: Option<&'a PointId>,
}

impl<'a> Watched<'a> {
    /// The base is what was read first, or else a benchmark, if it was read again later.
    fn new(setup: &'a Setup, marks: &BTreeSet<&PointId>) -> Self {
        let first = setup.readings.first().map(|reading| &reading.point);
        let of_marks = setup.readings.iter().map(|reading| &reading.point);
        let of_marks = of_marks.filter(|point| marks.contains(point));
        let again = first
            .into_iter()
            .chain(of_marks)
            .map(|point| (point, visits(setup, point)))
            .find(|(_, visits)| visits.len() > 1);
        match again {
            Some((base, visits)) => Self { setup, visits, base: Some(base) },
            None => {
                let visits = first.map(|point| visits(setup, point)).unwrap_or_default();
                Self { setup, visits, base: first }
            }
        }
    }

    fn doubts(&self) -> Vec<SetupDoubt> {
        let mut doubts = self.not_closed();
        let closes = doubts.is_empty();
        let mut differences = Vec::new();
        for (point, readings) in self.repeated() {
            let levels: Vec<f64> = readings.iter().map(|&idx| self.without_drift(idx)).collect();
            if let [first, .., last] = levels.as_slice() {
                differences.push(Length::mm(last - first));
            }
            doubts.extend(self.unlike(point, &readings, &levels));
        }
        if closes {
            doubts.extend(self.one_sided(&differences));
        }
        doubts.extend(self.left_for_long());
        doubts
    }

    fn reading(&self, idx: usize) -> &'a Reading {
        &self.setup.readings[idx]
    }

    fn sd(&self, readings: &[usize]) -> Length {
        let sds = readings.iter().map(|&idx| self.setup.sd_of(self.reading(idx)));
        sds.fold(Length::ZERO, Length::max)
    }

    /// When a reading was taken, if that can be.
    fn time(&self, idx: usize) -> Option<Minutes> {
        /// Later than this no survey goes on: a thousand years.
        const LATEST: f64 = 5e8;
        self.reading(idx).time.filter(|time| time.to_minutes().abs() < LATEST)
    }

    /// Time from one reading to another.
    fn minutes(&self, from: usize, to: usize) -> Option<Minutes> {
        Some(self.time(to)? - self.time(from)?)
    }

    fn not_closed(&self) -> Vec<SetupDoubt> {
        let Some(base) = self.base else { return Vec::new() };
        let closings = self.visits.windows(2).filter_map(|pair| {
            let (before, then) = (pair[0].1, pair[1].0);
            if self.reading(before).inverted != self.reading(then).inverted {
                return None;
            }
            let value = |idx: usize| self.reading(idx).value;
            let apart = (value(then).to_length() - value(before).to_length()).abs();
            let limit = alike_within(self.sd(&[before, then]));
            let mut since: Vec<PointId> = Vec::new();
            for reading in &self.setup.readings[before + 1..then] {
                if !since.contains(&reading.point) {
                    since.push(reading.point.clone());
                }
            }
            (apart > limit).then(|| SetupDoubt::NotClosed {
                setup: self.setup.id.clone(),
                base: base.clone(),
                before: value(before),
                then: value(then),
                minutes: self.minutes(before, then),
                apart,
                limit,
                since,
            })
        });
        closings.collect()
    }

    /// Readings of one point and one way up; of the base only those of one visit, for between two the
    /// closing is judged.
    fn repeated(&self) -> Vec<(&'a PointId, Vec<usize>)> {
        let mut groups: BTreeMap<(&PointId, bool, usize), Vec<usize>> = BTreeMap::new();
        for (idx, reading) in self.setup.readings.iter().enumerate() {
            let visit = match self.base {
                Some(base) if *base == reading.point => {
                    self.visits.iter().position(|&(_, last)| idx <= last).unwrap_or(0)
                }
                _ => 0,
            };
            groups.entry((&reading.point, reading.inverted, visit)).or_default().push(idx);
        }
        let repeated = groups.into_iter().filter(|(_, readings)| readings.len() > 1);
        repeated.map(|((point, ..), readings)| (point, readings)).collect()
    }

    /// The two readings of the base that a time lies between, where the setup is taken to drift, and
    /// how far along between them it lies.
    fn between(&self, idx: usize) -> Option<(usize, usize, f64)> {
        if self.setup.drift != Drift::Linear {
            return None;
        }
        let at = self.time(idx)?;
        self.visits.windows(2).find_map(|pair| {
            let (before, then) = (pair[0].1, pair[1].0);
            let (from, to) = (self.time(before)?, self.time(then)?);
            let span = (to - from).to_minutes();
            let share = (at - from).to_minutes() / span;
            (span > 0.0 && (0.0..=1.0).contains(&share)).then_some((before, then, share))
        })
    }

    /// A reading with what the base had moved by then taken out, in mm.
    fn without_drift(&self, idx: usize) -> f64 {
        let value = |idx: usize| self.reading(idx).value.to_mm();
        let base = match self.between(idx) {
            Some((before, then, share)) => value(before) + share * (value(then) - value(before)),
            None => 0.0,
        };
        value(idx) - base
    }

    fn unlike(&self, point: &PointId, readings: &[usize], levels: &[f64]) -> Option<SetupDoubt> {
        let between: Vec<_> = readings.iter().map(|&idx| self.between(idx)).collect();
        let n_drifting = between.iter().flatten().count();
        // One of them without its drift taken out is held against nothing.
        if n_drifting > 0 && n_drifting < readings.len() {
            return None;
        }
        let sd = self.sd(readings);
        // Readings of the base that the drift was taken out with are readings too.
        let share = match (between.first(), between.last()) {
            (Some(Some((a, _, first))), Some(Some((b, _, last)))) if a == b => last - first,
            (Some(Some(_)), Some(Some(_))) => 1.0,
            _ => 0.0,
        };
        let sd = root_sum_of_squares([sd, sd * share]);
        let apart = Length::mm(span(levels));
        let limit = may_span(levels.len(), sd);
        if apart <= limit {
            return None;
        }
        let without = |left_out: usize| -> Vec<f64> {
            let others = levels.iter().enumerate().filter(|(idx, _)| *idx != left_out);
            others.map(|(_, level)| *level).collect()
        };
        let alone = (0..levels.len())
            .filter(|_| levels.len() > 2)
            .min_by(|&a, &b| span(&without(a)).total_cmp(&span(&without(b))))
            .filter(|&idx| Length::mm(span(&without(idx))) <= may_span(levels.len() - 1, sd))
            .map(|idx| self.reading(readings[idx]).value);
        Some(SetupDoubt::Unlike {
            setup: self.setup.id.clone(),
            point: point.clone(),
            values: readings.iter().map(|&idx| self.reading(idx).value).collect(),
            apart,
            limit,
            alone,
        })
    }

    fn one_sided(&self, differences: &[Length]) -> Option<SetupDoubt> {
        let pairs = differences.len();
        if !something_moved(differences) {
            return None;
        }
        let mean = differences.iter().copied().sum::<Length>() / pairs as f64;
        let all: Vec<usize> = (0..self.setup.readings.len()).collect();
        let by_chance = alike_within(self.sd(&all)) / (pairs as f64).sqrt();
        (mean.abs() > by_chance).then(|| SetupDoubt::OneSided {
            setup: self.setup.id.clone(),
            pairs,
            mean,
        })
    }

    /// The longest time that the base was left for. A setup that neither drifts nor fills from a
    /// reservoir has nothing that runs away.
    fn left_for_long(&self) -> Option<SetupDoubt> {
        let base = self.base?;
        let fills = self.setup.scale.is_finite() && self.setup.scale != 1.0;
        if self.setup.drift == Drift::None && !fills {
            return None;
        }
        let n = self.setup.readings.len();
        let ends = self.visits.iter().skip(1).map(|visit| visit.0).chain([n]);
        let stretches = self.visits.iter().zip(ends).map(|(&(_, from), to)| {
            let minutes = self.minutes(from, to.min(n - 1));
            (minutes, to - from - 1)
        });
        let size = |minutes: Option<Minutes>, points: usize| {
            let by_time = minutes.map_or(0.0, |minutes| minutes.to_minutes() / MINUTES_BETWEEN);
            by_time.max(points as f64 / POINTS_BETWEEN as f64)
        };
        let longest = stretches.max_by(|a, b| size(a.0, a.1).total_cmp(&size(b.0, b.1)))?;
        let (minutes, points) = longest;
        (size(minutes, points) > LONG + 1e-9).then(|| SetupDoubt::LongWithoutReturn {
            setup: self.setup.id.clone(),
            base: base.clone(),
            minutes,
            points,
        })
    }
}

/// First and last reading of each visit to a point: readings of it with nothing between are one.
fn visits(setup: &Setup, point: &PointId) -> Vec<(usize, usize)> {
    let mut visits: Vec<(usize, usize)> = Vec::new();
    for (idx, reading) in setup.readings.iter().enumerate() {
        if reading.point != *point {
            continue;
        }
        match visits.last_mut() {
            Some(visit) if visit.1 + 1 == idx => visit.1 = idx,
            _ => visits.push((idx, idx)),
        }
    }
    visits
}

fn span(levels: &[f64]) -> f64 {
    let (low, high) = levels
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &x| (low.min(x), high.max(x)));
    high - low
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::survey::ReadingSd;

    /// Readings as point, mm, minutes; a standard deviation of 1 mm.
    fn setup(drift: Drift, scale: f64, rows: &[(&str, f64, f64)]) -> Setup {
        let readings = rows.iter().map(|&(point, mm, minutes)| Reading {
            point: PointId::new(point),
            value: ExactLength::from_mm(mm).unwrap(),
            inverted: false,
            time: Some(Minutes::new(minutes)),
            sd: None,
            distance: None,
            place: None,
        });
        let readings = readings.collect();
        let reading_sd = ReadingSd::Each(Length::mm(1.0));
        Setup { id: SetupId::new("1"), reading_sd, scale, drift, readings }
    }

    fn doubts(setup: Setup) -> Vec<SetupDoubt> {
        find_doubts(&Survey { setups: vec![setup], ..Survey::default() })
    }

    /// Second method: the chance that the range of n normal readings is at most q standard deviations is
    /// `n` times the integral of `phi(z) (Phi(z) - Phi(z - q))^(n-1)`, by Simpson's rule. The table has one decimal.
    #[test]
    fn nineteen_of_twenty_sets_of_readings_span_no_more() {
        use statrs::distribution::{Continuous, ContinuousCDF, Normal};
        let normal = Normal::new(0.0, 1.0).unwrap();
        let within = |n: i32, q: f64| {
            const STEPS: i32 = 2000;
            let width = 16.0 / f64::from(STEPS);
            let sum: f64 = (0..=STEPS)
                .map(|step| {
                    let z = -8.0 + width * f64::from(step);
                    let weight = if step == 0 || step == STEPS {
                        1.0
                    } else {
                        f64::from(2 + 2 * (step % 2))
                    };
                    weight * normal.pdf(z) * (normal.cdf(z) - normal.cdf(z - q)).powi(n - 1)
                })
                .sum();
            f64::from(n) * sum * width / 3.0
        };
        for (n, &span) in (2..).zip(&SPAN_OF) {
            let (less, more) = (within(n, span - 0.05), within(n, span + 0.05));
            assert!(less < 0.95 && more > 0.95, "{n}: {less} {more}");
        }
    }

    /// Two readings differ by 2.83 mm with 95 %, each having 1 mm: 2.8 closes, 2.9 does not.
    #[test]
    fn a_base_closes_within_its_limit_or_is_named_with_what_was_read_since() {
        let rows = |last: f64| [("BM", 1000.0, 0.0), ("A", 1010.0, 5.0), ("BM", last, 10.0)];
        assert_eq!(doubts(setup(Drift::Linear, 1.0, &rows(1002.8))), []);
        let found = doubts(setup(Drift::Linear, 1.0, &rows(1002.9)));
        let [SetupDoubt::NotClosed { base, since, apart, limit, .. }] = &found[..] else {
            panic!("{found:?}")
        };
        assert_eq!((base.as_str(), since.len()), ("BM", 1));
        assert!(
            (apart.to_mm() - 2.9).abs() < 1e-9 && (limit.to_mm() - 8.0_f64.sqrt()).abs() < 1e-9
        );
        let said = found[0].to_string();
        assert!(said.contains("(A)") && said.contains("leak") && said.contains("10 minutes later"));
    }

    /// The water line rises 3 mm in 30 minutes: a point read after 0 and after 30 minutes reads 3 mm
    /// more without anything being wrong, and 3 mm less is 6 mm wrong.
    #[test]
    fn repeats_are_held_against_each_other_without_the_drift_of_the_base() {
        let with = |last: f64| {
            let rows = [
                ("BM", 1000.0, 0.0),
                ("A", 1010.0, 0.0),
                ("B", 1.0, 10.0),
                ("BM", 1002.0, 20.0),
                ("A", last, 20.0),
                ("BM", 1002.0, 25.0),
            ];
            doubts(setup(Drift::Linear, 1.0, &rows))
        };
        assert_eq!(with(1012.0), []);
        let found = with(1007.0);
        let [SetupDoubt::Unlike { point, apart, alone, .. }] = &found[..] else {
            panic!("{found:?}")
        };
        // 1007 - 1002 against 1010 - 1000.
        assert_eq!(point.as_str(), "A");
        assert!((apart.to_mm() - 5.0).abs() < 1e-9 && alone.is_none(), "{found:?}");
    }

    /// 2.8 mm for two readings of 1 mm; of three the one without which the others agree is named.
    #[test]
    fn unlike_readings_are_named_and_of_three_the_odd_one() {
        let found = doubts(setup(Drift::None, 1.0, &[("A", 10.0, 0.0), ("A", 12.7, 1.0)]));
        assert_eq!(found, []);
        let found = doubts(setup(Drift::None, 1.0, &[("A", 10.0, 0.0), ("A", 17.0, 1.0)]));
        assert!(found[0].to_string().contains("read it once more"), "{found:?}");
        let three = [("A", 10.0, 0.0), ("A", 17.0, 1.0), ("A", 10.5, 2.0)];
        let said = doubts(setup(Drift::None, 1.0, &three))[0].to_string();
        assert!(said.contains("10.0 mm, 17.0 mm and 10.5 mm: 7.0 mm apart"), "{said}");
        assert!(said.contains("The others agree without 17.0 mm"), "{said}");
    }

    #[test]
    fn points_that_all_read_more_the_second_time_say_that_something_moved() {
        let twice = |off: [f64; 4]| {
            let mut rows = vec![("BM", 0.0, 0.0)];
            let names = ["A", "B", "C", "D"];
            rows.extend(names.iter().map(|name| (*name, 50.0, 1.0)));
            rows.extend(names.iter().zip(off).map(|(name, off)| (*name, 50.0 + off, 2.0)));
            doubts(setup(Drift::None, 1.0, &rows))
        };
        // By chance the mean of four differences of 1.4 mm stays within 1.4 mm.
        assert!(matches!(twice([2.0, 2.1, 1.9, 2.0])[..], [SetupDoubt::OneSided { pairs: 4, .. }]));
        assert_eq!(twice([2.0, -2.1, 1.9, -2.0]), []);
        assert_eq!(twice([1.0, 1.1, 0.9, 1.0]), []);
    }

    #[test]
    fn a_base_left_for_hours_is_said_of_what_drifts_and_of_nothing_else() {
        let rows = [("BM", 0.0, 0.0), ("A", 1.0, 200.0), ("B", 1.0, 460.0)];
        let found = doubts(setup(Drift::Linear, 1.0, &rows));
        assert!(found[0].to_string().contains("went 7 h 40 min and 2 readings"), "{found:?}");
        assert!(!found[0].is_read_again());
        assert_eq!(doubts(setup(Drift::None, 1.0025, &rows)).len(), 1);
        assert_eq!(doubts(setup(Drift::None, 1.0, &rows)), []);
        let mut many = vec![("BM", 0.0, 0.0)];
        many.extend((0..16).map(|_| ("A", 1.0, 5.0)));
        assert_eq!(doubts(setup(Drift::Linear, 1.0, &many)).len(), 1);
        many.pop();
        assert_eq!(doubts(setup(Drift::Linear, 1.0, &many)), []);
    }
}
