//! What the levels of a planned survey will be worth, before anything is read.

use super::stands::Stand;
use crate::ids::{PointId, SetupId};
use crate::survey::{
    Benchmark, Datum, Drift, Reading, ReadingSd, Setup, Survey, TestSettings, reduce,
};
use crate::units::{ExactLength, Length, Level};
use serde::Serialize;

/// The readings may take so much of a tolerance; with more of it nothing can be told (a ratio, common
/// practice).
pub const SHARE_OF_TOLERANCE: f64 = 1.0 / 3.0;

/// What the levels will be worth.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Accuracy {
    /// What one reading was taken to be worth.
    pub reading_sd: Length,
    /// Each point with the standard deviation of its level above the datum, the worst first.
    pub points: Vec<PointWorth>,
    /// Readings more than needed: what an error shows against.
    pub spare: usize,
    /// What an error of one reading has to be, at the worst place that is checked at all, to be
    /// found with a power of 80 %; `None` where nothing is checked.
    pub finds: Option<Length>,
    /// Points read once, where no error would show but against the neighbours.
    pub read_once: usize,
    /// The water line of every stand is taken to drift evenly.
    pub with_drift: bool,
    /// What levels are counted from in place of the benchmarks, where no stand reaches one.
    pub in_place_of_benchmark: Option<PointId>,
}

/// What one level will be worth.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PointWorth {
    /// The point.
    pub point: PointId,
    /// Standard deviation of its level.
    pub sd: Length,
}

impl Accuracy {
    /// Standard deviation of the worst level.
    pub fn worst(&self) -> Option<&PointWorth> {
        self.points.first()
    }
}

/// The readings of planned stands as a survey, all at one height: only their places and times
/// count.
///
/// Each stand is a setup whose water line drifts evenly wherever its base is read again.
/// `level_of` gives the level of each point, so that readings can be made up for a trial;
/// `error_of` what is wrong with each reading, by stand and row.
pub fn survey_of(
    stands: &[Stand],
    benchmarks: &[PointId],
    reading_sd: Length,
    scale: f64,
    level_of: &dyn Fn(&PointId) -> Level,
    error_of: &mut dyn FnMut(usize, usize) -> Length,
) -> Survey {
    const LINE: Level = Level::mm(1000.0);
    let setups = stands.iter().enumerate().map(|(stand_idx, stand)| {
        let readings = stand.rows.iter().enumerate().map(|(row_idx, row)| {
            let true_reading = (LINE - level_of(&row.point)) / scale;
            let value = true_reading + error_of(stand_idx, row_idx);
            Reading {
                point: row.point.clone(),
                value: ExactLength::from_mm(value.to_mm()).unwrap_or_default(),
                inverted: false,
                time: Some(row.time),
                sd: None,
                distance: None,
                place: None,
            }
        });
        let readings: Vec<Reading> = readings.collect();
        let returns = readings.iter().filter(|reading| reading.point == stand.base).count();
        Setup {
            id: SetupId::new(stand.number.to_string()),
            reading_sd: ReadingSd::Each(reading_sd),
            scale,
            drift: if returns > 1 { Drift::Linear } else { Drift::None },
            readings,
        }
    });
    let setups: Vec<Setup> = setups.collect();
    let is_read = |mark: &&PointId| {
        setups.iter().flat_map(|setup| &setup.readings).any(|reading| reading.point == **mark)
    };
    let benchmarks: Vec<Benchmark> = benchmarks
        .iter()
        .filter(is_read)
        .map(|mark| Benchmark { point: mark.clone(), level: level_of(mark), sd: Length::ZERO })
        .collect();
    let datum = match (benchmarks.is_empty(), stands.first()) {
        (true, Some(first)) => Datum::PointIsZero(first.base.clone()),
        _ => Datum::Benchmarks,
    };
    Survey { datum, benchmarks, setups, legs: Vec::new(), tests: TestSettings::default() }
}

/// What the survey stage will say of these stands.
pub(super) fn accuracy_of(
    stands: &[Stand],
    benchmarks: &[PointId],
    reading_sd: Length,
    scale: f64,
) -> Option<Accuracy> {
    let level = |_: &PointId| Level::DATUM;
    let survey = survey_of(stands, benchmarks, reading_sd, scale, &level, &mut |_, _| Length::ZERO);
    let reduction = reduce(&survey);
    let mut points: Vec<PointWorth> = reduction
        .levels
        .points()
        .iter()
        .enumerate()
        .filter(|(_, level)| !level.held)
        .map(|(idx, level)| PointWorth { point: level.point.clone(), sd: reduction.levels.sd(idx) })
        .collect();
    points.sort_by(|a, b| b.sd.total_cmp(&a.sd).then_with(|| a.point.cmp(&b.point)));
    if points.is_empty() {
        return None;
    }
    let checks = reduction.observations.iter().filter_map(|one| one.control.check());
    let finds = checks.map(|check| check.smallest_detectable).max_by(Length::total_cmp);
    let times = |point: &PointId| {
        let rows = stands.iter().flat_map(|stand| &stand.rows);
        rows.filter(|row| row.point == *point).count()
    };
    Some(Accuracy {
        reading_sd,
        spare: reduction.redundancy,
        finds,
        read_once: points.iter().filter(|worth| times(&worth.point) == 1).count(),
        in_place_of_benchmark: match &survey.datum {
            Datum::PointIsZero(point) if !benchmarks.is_empty() => Some(point.clone()),
            _ => None,
        },
        with_drift: survey.setups.iter().any(|setup| setup.drift == Drift::Linear),
        points,
    })
}
