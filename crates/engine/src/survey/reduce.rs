//! From a survey to its reduction: the one way through all the steps.

use super::adjust::{Adjusted, Direction, NO_REDUNDANCY, adjust};
use super::doubts::find_doubts;
use super::drift::{EvenLine, compare_pieces};
use super::equations::Solver;
use super::fault::SurveyFault;
use super::input::{SdTrust, Survey, TestSettings};
use super::levels::{Cofactors, Levels, MeanDatum, PointLevel};
use super::loops::find_loops;
use super::network::{Network, PartDatum};
use super::quantiles::{detectable_shift, global_critical};
use super::reduction::{
    Check, Control, Difference, DriftFound, DriftLine, GlobalTest, LineLevel, Observation, Part,
    PartHeight, Reduction, SetupLine,
};
use super::suspects::{find_alike, find_suspects, name_of};
use super::uncontrolled::find_uncontrolled;
use crate::units::{DriftRate, Length, Level, Minutes, Variance};
use std::sync::Arc;

/// Reduces a survey: levels by weighted least squares over all setups and legs together, and
/// what the spare readings say of each.
///
/// A reading is taken as `line - level` of its point (an upside-down staff as `level - line`),
/// with one unknown line for each setup and, where it is sought and can be told apart, an even
/// drift. A difference of readings is multiplied by the setup's scale. What a fault spoils is
/// left out and everything else is reduced; nothing that a test suspects is left out.
///
/// # Units and sign
/// As [`Reduction`] says.
///
/// # Errors
/// None: every fault is in [`Reduction::faults`]. Where the survey cannot be solved to working
/// precision there are no levels and [`SurveyFault::NotSolved`] says so.
///
/// # Examples
/// ```
/// use floorwright_engine::ids::{PointId, SetupId};
/// use floorwright_engine::survey::{
///     Datum, Drift, Reading, ReadingSd, Setup, Survey, TestSettings, reduce,
/// };
/// use floorwright_engine::units::{ExactLength, Length};
///
/// let read = |point: &str, mm: i64| Reading {
///     point: PointId::new(point),
///     value: ExactLength::nm(mm * 1_000_000),
///     inverted: false,
///     time: None,
///     sd: None,
///     distance: None,
///     place: None,
/// };
/// let survey = Survey {
///     datum: Datum::PointIsZero(PointId::new("step")),
///     setups: vec![Setup {
///         id: SetupId::new("1"),
///         reading_sd: ReadingSd::Each(Length::mm(1.0)),
///         scale: 1.0,
///         drift: Drift::None,
///         readings: vec![read("step", 1000), read("P1", 1012)],
///     }],
///     ..Survey::default()
/// };
/// let reduction = reduce(&survey);
/// let level = reduction.levels.get(&PointId::new("P1")).unwrap();
/// assert!((level.level.to_mm() + 12.0).abs() < 1e-9); // a bigger reading is a lower point
/// assert_eq!(reduction.uncontrolled.len(), 2); // read once, tied once
/// ```
///
/// # References
/// Checked against the published networks in `tests/published/levelling.rs`.
pub fn reduce(survey: &Survey) -> Reduction {
    reduce_by(survey, Solver::Auto)
}

pub(crate) fn reduce_by(survey: &Survey, solver: Solver) -> Reduction {
    let mut network = Network::of(survey);
    let tests = usable_tests(&survey.tests, &mut network.faults);
    let adjusted = adjust(survey, &mut network, solver);
    match adjusted {
        Some(adjusted) => {
            Reducer { survey, network: &network, adjusted: &adjusted }.reduction(&tests)
        }
        None => {
            network.faults.push(SurveyFault::NotSolved);
            unsolved(survey, network)
        }
    }
}

fn unsolved(survey: &Survey, network: Network) -> Reduction {
    Reduction {
        levels: Levels::independent([]),
        setups: Vec::new(),
        observations: Vec::new(),
        parts: Vec::new(),
        redundancy: 0,
        weighted_ss: 0.0,
        s0: None,
        widening: 1.0,
        global_test: GlobalTest::NoSpareObservations,
        alike: Vec::new(),
        suspects: Vec::new(),
        doubts: find_doubts(survey),
        uncontrolled: Vec::new(),
        loops: find_loops(survey, &network),
        faults: network.faults,
    }
}

fn usable_tests(tests: &TestSettings, faults: &mut Vec<SurveyFault>) -> TestSettings {
    let usual = TestSettings::default();
    let mut usable = |setting: &'static str, value: f64, used: f64| {
        if value > 0.0 && value < 1.0 {
            return value;
        }
        faults.push(SurveyFault::BadTest { setting, value: value.to_string(), used });
        used
    };
    TestSettings {
        alpha: usable("the error probability of one test", tests.alpha, usual.alpha),
        power: usable("the power of the test", tests.power, usual.power),
        global_alpha: usable(
            "the error probability of the global test",
            tests.global_alpha,
            usual.global_alpha,
        ),
        trust: tests.trust,
    }
}

/// The parts of a solved survey that the steps below read.
struct Reducer<'a> {
    survey: &'a Survey,
    network: &'a Network,
    adjusted: &'a Adjusted,
}

/// With fewer spare observations than this the scatter of a survey is itself poorly known.
const ENOUGH_SPARE: usize = 10;

/// What stated uncertainties are multiplied by before anybody acts on them.
///
/// Stated standard deviations stand unless the global test says that they promise too much; the
/// scatter then counts. Where they are to be estimated the scatter counts, but few spare
/// observations never make a survey surer than was stated.
fn widening(s0: Option<f64>, spare: usize, test: GlobalTest, trust: SdTrust) -> f64 {
    match (s0, test, trust) {
        (None, ..) => 1.0,
        (Some(s0), GlobalTest::Failed { .. }, _) => s0.max(1.0),
        (Some(s0), _, SdTrust::Estimated) if spare >= ENOUGH_SPARE && s0 > 0.0 => s0,
        (Some(s0), _, SdTrust::Estimated) => s0.max(1.0),
        (Some(_), _, SdTrust::Stated) => 1.0,
    }
}

/// What a mean datum does to the levels of one part.
struct MeanShift {
    /// Added to every level, mm.
    shift: f64,
    /// Covariance of every unknown with the mean of the chosen points.
    with_mean: Vec<f64>,
    of_mean: f64,
}

impl Reducer<'_> {
    fn reduction(&self, tests: &TestSettings) -> Reduction {
        let adjusted = self.adjusted;
        let s0 = self.s0();
        let shifts = self.mean_shifts();
        let global_test = self.global_test(tests);
        let widening = widening(s0, adjusted.redundancy, global_test, tests.trust);
        Reduction {
            levels: self.levels(&shifts).widened(widening),
            widening,
            setups: self.setup_lines(&shifts, widening),
            observations: self.observations(tests),
            parts: self.parts(),
            redundancy: adjusted.redundancy,
            weighted_ss: adjusted.weighted_ss,
            s0,
            global_test,
            alike: find_alike(adjusted),
            suspects: find_suspects(self.survey, self.network, adjusted, tests),
            doubts: find_doubts(self.survey),
            uncontrolled: find_uncontrolled(self.survey, self.network, adjusted),
            loops: find_loops(self.survey, self.network),
            faults: self.network.faults.clone(),
        }
    }

    fn s0(&self) -> Option<f64> {
        let redundancy = self.adjusted.redundancy;
        (redundancy > 0).then(|| (self.adjusted.weighted_ss / redundancy as f64).sqrt())
    }

    fn global_test(&self, tests: &TestSettings) -> GlobalTest {
        match global_critical(self.adjusted.redundancy, tests.global_alpha) {
            None => GlobalTest::NoSpareObservations,
            Some(critical) if self.adjusted.weighted_ss > critical => {
                GlobalTest::Failed { critical }
            }
            Some(critical) => GlobalTest::Passed { critical },
        }
    }

    /// Level of a node as solved, before a mean datum.
    fn solved(&self, node: usize) -> f64 {
        let correction = self.adjusted.layout.of_node[node];
        self.network.approximate[node] + correction.map_or(0.0, |at| self.adjusted.unknowns[at])
    }

    /// Variance of a node as solved, before a mean datum.
    fn solved_variance(&self, node: usize) -> f64 {
        let unknown = self.adjusted.layout.of_node[node];
        unknown.map_or(0.0, |at| self.adjusted.factor.entry(at, at))
    }

    fn mean_shifts(&self) -> Vec<Option<MeanShift>> {
        let n_unknowns = self.adjusted.layout.n_unknowns;
        let clusters = self.network.clusters.iter();
        clusters
            .map(|cluster| {
                let PartDatum::Mean(chosen) = &cluster.datum else { return None };
                let share = 1.0 / chosen.len() as f64;
                let gaps = chosen.iter().map(|&(node, level)| level - self.solved(node));
                let terms: Vec<(usize, f64)> = chosen
                    .iter()
                    .filter_map(|&(node, _)| Some((self.adjusted.layout.of_node[node]?, share)))
                    .collect();
                let with_mean = self.adjusted.factor.apply_terms(&terms, n_unknowns);
                let of_mean = super::equations::dot(&terms, &with_mean);
                Some(MeanShift { shift: gaps.sum::<f64>() * share, with_mean, of_mean })
            })
            .collect()
    }

    fn has_height(&self, node: usize) -> bool {
        let cluster = self.network.clusters.get(self.network.cluster_of[node]);
        cluster.is_some_and(|cluster| cluster.datum != PartDatum::Missing)
    }

    fn mean_datum(&self, shifts: &[Option<MeanShift>], node: usize) -> Option<MeanDatum> {
        let part = self.network.cluster_of[node];
        let shift = shifts[part].as_ref()?;
        let unknown = self.adjusted.layout.of_node[node];
        let with_mean = unknown.map_or(0.0, |at| shift.with_mean[at]);
        Some(MeanDatum { part, with_mean, of_mean: shift.of_mean })
    }

    /// Level and prior standard deviation of a node above the datum.
    fn level(&self, shifts: &[Option<MeanShift>], node: usize) -> (Level, Length) {
        let shift = shifts[self.network.cluster_of[node]].as_ref();
        let level = self.solved(node) + shift.map_or(0.0, |shift| shift.shift);
        let own = self.solved_variance(node);
        let variance = match self.mean_datum(shifts, node) {
            None => own,
            Some(mean) => own - 2.0 * mean.with_mean + mean.of_mean,
        };
        (Level::mm(level), Variance::mm2(variance).sd())
    }

    fn levels(&self, shifts: &[Option<MeanShift>]) -> Levels {
        let nodes: Vec<usize> =
            (0..self.network.points.len()).filter(|&node| self.has_height(node)).collect();
        let s0 = self.s0();
        let points = nodes
            .iter()
            .map(|&node| {
                let (level, sd_prior) = self.level(shifts, node);
                PointLevel {
                    point: self.network.points[node].clone(),
                    level,
                    sd_prior,
                    sd_post: s0.map(|s0| sd_prior * s0),
                    held: self.network.held.contains_key(&node)
                        && self.mean_datum(shifts, node).is_none(),
                }
            })
            .collect();
        let of_node = &self.adjusted.layout.of_node;
        let cofactors = Cofactors {
            factor: Arc::clone(&self.adjusted.factor),
            n_unknowns: self.adjusted.layout.n_unknowns,
            unknowns: nodes.iter().map(|&node| of_node[node]).collect(),
            means: nodes.iter().map(|&node| self.mean_datum(shifts, node)).collect(),
        };
        Levels::with_cofactors(points, cofactors)
    }

    fn setup_lines(&self, shifts: &[Option<MeanShift>], widening: f64) -> Vec<SetupLine> {
        let s0 = self.s0();
        let setups = self.survey.setups.iter().enumerate();
        setups
            .map(|(idx, setup)| {
                let node = self.network.setup_node(idx);
                let line = self.has_height(node).then(|| {
                    let (level, sd_prior) = self.level(shifts, node);
                    LineLevel { level, sd_prior, sd_post: s0.map(|s0| sd_prior * s0) }
                });
                SetupLine { setup: setup.id.clone(), line, drift: self.drift(idx, widening) }
            })
            .collect()
    }

    fn drift(&self, setup_idx: usize, widening: f64) -> DriftFound {
        if let Some(why) = &self.network.refusals[setup_idx] {
            return DriftFound::Refused { why: why.clone() };
        }
        let unknown = self.adjusted.layout.of_drift[setup_idx];
        let (Some(clock), Some(unknown)) = (self.network.clocks[setup_idx], unknown) else {
            return DriftFound::NotSought;
        };
        let rise = self.adjusted.unknowns[unknown];
        let variance = self.adjusted.factor.entry(unknown, unknown);
        let rate = DriftRate::mm_per_minute(rise / clock.span);
        let sd_prior = DriftRate::mm_per_minute(variance.max(0.0).sqrt() / clock.span);
        let sd_post = self.s0().map(|s0| sd_prior * s0);
        let sd = sd_prior.to_mm_per_minute() * widening;
        let proven = rate.to_mm_per_minute().abs() > 2.0 * sd;
        let line = EvenLine { level: self.solved(self.network.setup_node(setup_idx)), rise };
        let setup = &self.survey.setups[setup_idx];
        let pieces =
            compare_pieces(self.network, setup_idx, setup, &line, |node| self.solved(node));
        let mean_time = Minutes::new(clock.mean);
        DriftFound::Found(DriftLine { rate, sd_prior, sd_post, proven, mean_time, pieces })
    }

    fn observations(&self, tests: &TestSettings) -> Vec<Observation> {
        let shift = detectable_shift(tests.alpha, tests.power);
        let tau_scale = self.s0().filter(|&s0| self.adjusted.redundancy > 1 && s0 > 0.0);
        let observation = |direction: &Direction| Observation {
            source: direction.source,
            name: name_of(self.survey, direction.source),
            sd: Length::mm(direction.sd),
            residual: Length::mm(direction.residual + 0.0),
            redundancy_number: if direction.redundancy < NO_REDUNDANCY {
                0.0
            } else {
                direction.redundancy.min(1.0)
            },
            control: control(direction, shift, tau_scale),
        };
        self.adjusted.directions.iter().map(observation).collect()
    }

    fn parts(&self) -> Vec<Part> {
        let n_points = self.network.points.len();
        let mut parts: Vec<Part> = self
            .network
            .clusters
            .iter()
            .map(|cluster| {
                let (points, setups): (Vec<usize>, Vec<usize>) =
                    cluster.nodes.iter().partition(|&&node| node < n_points);
                let height = match cluster.datum {
                    PartDatum::Missing => {
                        PartHeight::Unknown { differences: self.differences(&points) }
                    }
                    _ => PartHeight::Known,
                };
                let setup_id = |node: usize| self.survey.setups[node - n_points].id.clone();
                Part {
                    points: points.iter().map(|&node| self.network.points[node].clone()).collect(),
                    setups: setups.into_iter().map(setup_id).collect(),
                    height,
                }
            })
            .collect();
        parts.sort_by(|one, other| one.points.cmp(&other.points));
        parts
    }

    /// Differences from the first point of a part, which is held while it is solved.
    fn differences(&self, points: &[usize]) -> Vec<Difference> {
        let Some((&first, others)) = points.split_first() else { return Vec::new() };
        let difference = |&node: &usize| {
            let sd_prior = Variance::mm2(self.solved_variance(node)).sd();
            Difference {
                from: self.network.points[first].clone(),
                to: self.network.points[node].clone(),
                rise: Length::mm(self.solved(node) - self.solved(first)),
                sd_prior,
                sd_post: self.s0().map(|s0| sd_prior * s0),
            }
        };
        others.iter().map(difference).collect()
    }
}

/// The test of one observation, or that there is none.
fn control(direction: &Direction, shift: f64, tau_scale: Option<f64>) -> Control {
    if !direction.is_controlled() {
        return Control::NotControlled;
    }
    let w = direction.push / direction.room.sqrt() * direction.unit.signum();
    let check = Check {
        w,
        tau: tau_scale.map(|s0| w / s0),
        smallest_detectable: Length::mm(shift * direction.unit.abs() / direction.room.sqrt()),
        // Adding nothing turns minus zero into zero.
        error: Length::mm(-direction.push / direction.room * direction.unit + 0.0),
    };
    if direction.checks_benchmarks() {
        Control::BenchmarkCheck(check)
    } else {
        Control::Controlled(check)
    }
}
