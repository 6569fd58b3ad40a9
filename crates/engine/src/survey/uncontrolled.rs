//! Which readings and legs nothing checks, in words to act on.

use super::adjust::Adjusted;
use super::fault::join_some;
use super::input::Survey;
use super::network::Network;
use super::reduction::ObservationSource;
use crate::ids::{PointId, SetupId};
use serde::Serialize;
use std::collections::BTreeMap;
use std::fmt;

/// Readings or legs that nothing checks, told together.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Uncontrolled {
    /// Points that one setup read once and nothing else reaches.
    ReadOnce {
        /// The setup.
        setup: SetupId,
        /// The points.
        points: Vec<PointId>,
    },
    /// Readings that alone carry what hangs on them.
    OnlyTie {
        /// The setup.
        setup: SetupId,
        /// The points.
        points: Vec<PointId>,
    },
    /// Legs that are the only way to what they reach.
    OnlyWay {
        /// Where each starts and ends.
        legs: Vec<(PointId, PointId)>,
    },
    /// A benchmark with no other to hold it against.
    LoneBenchmark {
        /// The benchmark.
        point: PointId,
    },
}

impl fmt::Display for Uncontrolled {
    /// A sentence to act on.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::ReadOnce { setup, points } => {
                let (was, them) = if points.len() == 1 { ("was", "it") } else { ("were", "them") };
                write!(
                    f,
                    "{} {was} read once from one setup ({setup}): a misreading there would not \
                     show; read {them} again from another setup",
                    join_some(points)
                )
            }
            Self::OnlyTie { setup, points } => {
                let (reading, it) =
                    if points.len() == 1 { ("reading", "it") } else { ("readings", "them") };
                write!(
                    f,
                    "nothing checks the {reading} of {} from setup {setup}, and other levels hang \
                     on {it}; read another common point from {setup}",
                    join_some(points)
                )
            }
            Self::OnlyWay { legs } => {
                let names: Vec<String> =
                    legs.iter().map(|(from, to)| format!("{from} to {to}")).collect();
                write!(
                    f,
                    "nothing checks the level line {}: a mistake there would not show; run it \
                     again or close it to a known point",
                    join_some(&names)
                )
            }
            Self::LoneBenchmark { point } => {
                write!(
                    f,
                    "nothing checks the height of benchmark {point}; read a second one if there is"
                )
            }
        }
    }
}

/// Tells the uncontrolled observations together, by setup.
pub(crate) fn find_uncontrolled(
    survey: &Survey,
    network: &Network,
    adjusted: &Adjusted,
) -> Vec<Uncontrolled> {
    let mut n_ways = vec![0_usize; network.n_nodes()];
    for measured in &network.measured {
        n_ways[measured.to] += 1;
        n_ways[measured.from] += 1;
    }
    let mut once: BTreeMap<usize, Vec<PointId>> = BTreeMap::new();
    let mut ties: BTreeMap<usize, Vec<PointId>> = BTreeMap::new();
    let (mut legs, mut benchmarks) = (Vec::new(), Vec::new());
    for (idx, direction) in adjusted.directions.iter().enumerate() {
        if direction.is_controlled() || direction.checks_benchmarks() {
            continue;
        }
        match direction.source {
            ObservationSource::Reading { setup, .. } => {
                let point = network.measured[idx].to;
                let read_once = n_ways[point] == 1 && !network.carries_datum(point);
                let told = if read_once { &mut once } else { &mut ties };
                told.entry(setup).or_default().push(network.points[point].clone());
            }
            ObservationSource::Leg { leg } => {
                legs.push((survey.legs[leg].from.clone(), survey.legs[leg].to.clone()));
            }
            ObservationSource::Benchmark { benchmark } => {
                let point = survey.benchmarks[benchmark].point.clone();
                benchmarks.push(Uncontrolled::LoneBenchmark { point });
            }
        }
    }
    let setup_id = |setup: usize| survey.setups[setup].id.clone();
    let once = once
        .into_iter()
        .map(|(setup, points)| Uncontrolled::ReadOnce { setup: setup_id(setup), points });
    let ties = ties
        .into_iter()
        .map(|(setup, points)| Uncontrolled::OnlyTie { setup: setup_id(setup), points });
    let legs = (!legs.is_empty()).then_some(Uncontrolled::OnlyWay { legs });
    once.chain(ties).chain(legs).chain(benchmarks).collect()
}
