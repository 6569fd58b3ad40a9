//! Which observation is likely wrong, in words to act on.

use super::adjust::Adjusted;
use super::fault::{MOST_NAMES, join_some};
use super::input::{SdTrust, Survey, TestSettings};
use super::network::Network;
use super::quantiles::{tau_critical, w_critical};
use super::reduction::{ObservationName, ObservationSource};
use crate::ids::{PointId, SetupId};
use crate::units::Length;
use serde::Serialize;
use std::collections::BTreeSet;
use std::fmt;

/// Residuals correlated beyond this cannot be told apart.
const ALIKE: f64 = 0.999;
/// Suspects sought at most; more than this is no list of blunders but a wrong standard deviation.
const MOST_SUSPECTS: usize = 20;
/// Every pair is compared up to this many observations.
const MOST_COMPARED: usize = 1_000;

/// An observation that the others speak against.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Suspect {
    /// Index into the reduction's observations.
    pub observation: usize,
    /// What it is called.
    pub name: ObservationName,
    /// How far off it is if it alone is wrong: `observed - true`.
    pub error: Length,
    /// `w` or tau, as the settings trust the stated standard deviations or not.
    pub statistic: f64,
    /// What the statistic may come to.
    pub critical: f64,
    /// Which of the two it is.
    pub trust: SdTrust,
    /// Other setups that read the same point, which it clashes with.
    pub against: Vec<SetupId>,
    /// Observations that could be wrong in its place: the readings cannot tell.
    pub or_else: Vec<Alternative>,
    /// Held benchmarks that it or an alternative touches, where another benchmark could speak
    /// against them: the height given for one of them may be what is wrong.
    pub or_benchmarks: Vec<PointId>,
}

/// What could be wrong in place of a suspect.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Alternative {
    /// Index into the reduction's observations.
    pub observation: usize,
    /// What it is called.
    pub name: ObservationName,
    /// How far off it is if it alone is wrong: `observed - true`.
    pub error: Length,
}

impl fmt::Display for Suspect {
    /// A sentence to act on: what to read again, how far off it is and against what.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.or_else.is_empty() {
            write!(f, "{}: {} against ", again(&self.name), off(&self.name, self.error))?;
            match (&self.against[..], &self.name) {
                ([], ObservationName::Reading { .. }) => write!(f, "the other readings"),
                ([], _) => write!(f, "everything else"),
                ([only], _) => write!(f, "setup {only} and the other readings"),
                (several, _) => {
                    write!(f, "setups {} and the other readings", join_some(several))
                }
            }?;
        } else {
            self.fmt_alternatives(f)?;
        }
        match &self.or_benchmarks[..] {
            [] => Ok(()),
            [only] => write!(f, "; or the height given for benchmark {only} is wrong"),
            several => {
                let names = join_some(several);
                write!(f, "; or a height given for the benchmarks {names} is wrong")
            }
        }
    }
}

impl Suspect {
    fn fmt_alternatives(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let others = self.or_else.iter().map(|way| (way.observation, &way.name, way.error));
        let all: Vec<_> =
            std::iter::once((self.observation, &self.name, self.error)).chain(others).collect();
        let mut names: Vec<&ObservationName> = Vec::new();
        for (_, name, _) in &all {
            if !names.contains(name) {
                names.push(name);
            }
        }
        // Of what was read twice from one place it is said which of the two.
        let which = |observation: usize, name: &ObservationName| {
            let alike = all.iter().filter(|(_, other, _)| *other == name);
            let before = alike.clone().filter(|(other, ..)| *other < observation).count();
            match (alike.count(), before) {
                (1, _) => String::new(),
                (2, 0) => " (the earlier reading)".to_owned(),
                (2, _) => " (the later reading)".to_owned(),
                (n, before) => format!(" (number {} of {n})", before + 1),
            }
        };
        let shown = all.iter().take(MOST_NAMES);
        let ways: Vec<String> = shown
            .map(|&(observation, name, error)| {
                format!("{name}{} {}", which(observation, name), off_short(name, error))
            })
            .collect();
        write!(
            f,
            "check {} again: one of them is off by about {}, and nothing tells which ({})",
            join_some(&names),
            self.error.abs(),
            ways.join("; or ")
        )
    }
}

fn again(name: &ObservationName) -> String {
    match name {
        ObservationName::Reading { .. } => format!("re-read {name}"),
        ObservationName::Leg { .. } => format!("measure {name} again"),
        ObservationName::Benchmark { .. } => format!("check {name}"),
    }
}

fn off(name: &ObservationName, error: Length) -> String {
    let too_high = error > Length::ZERO;
    let size = error.abs();
    match (name, too_high) {
        (ObservationName::Reading { .. }, true) => format!("it reads about {size} too high"),
        (ObservationName::Reading { .. }, false) => format!("it reads about {size} too low"),
        (ObservationName::Leg { .. }, true) => format!("it rises about {size} too much"),
        (ObservationName::Leg { .. }, false) => format!("it rises about {size} too little"),
        (ObservationName::Benchmark { .. }, true) => format!("it is given about {size} too high"),
        (ObservationName::Benchmark { .. }, false) => format!("it is given about {size} too low"),
    }
}

fn off_short(name: &ObservationName, error: Length) -> String {
    let size = error.abs();
    let way = match (name, error > Length::ZERO) {
        (ObservationName::Leg { .. }, true) => "too much",
        (ObservationName::Leg { .. }, false) => "too little",
        (_, true) => "too high",
        (_, false) => "too low",
    };
    format!("{size} {way}")
}

/// The names of all observations.
pub(crate) fn name_of(survey: &Survey, source: ObservationSource) -> ObservationName {
    match source {
        ObservationSource::Reading { setup, reading } => ObservationName::Reading {
            point: survey.setups[setup].readings[reading].point.clone(),
            setup: survey.setups[setup].id.clone(),
        },
        ObservationSource::Leg { leg } => ObservationName::Leg {
            from: survey.legs[leg].from.clone(),
            to: survey.legs[leg].to.clone(),
        },
        ObservationSource::Benchmark { benchmark } => {
            ObservationName::Benchmark { point: survey.benchmarks[benchmark].point.clone() }
        }
    }
}

/// State of the search with the suspects found so far set aside.
struct Search {
    push: Vec<f64>,
    room: Vec<f64>,
    weighted_ss: f64,
    redundancy: usize,
    /// For each suspect set aside, its overlap with every observation and its own room.
    aside: Vec<(Vec<f64>, f64)>,
}

impl Search {
    fn start(adjusted: &Adjusted) -> Self {
        Self {
            push: adjusted.directions.iter().map(|direction| direction.push).collect(),
            room: adjusted.directions.iter().map(|direction| direction.room).collect(),
            weighted_ss: adjusted.weighted_ss,
            redundancy: adjusted.redundancy,
            aside: Vec::new(),
        }
    }

    fn controlled(&self, adjusted: &Adjusted, idx: usize) -> bool {
        self.room[idx] > super::adjust::NO_REDUNDANCY * adjusted.directions[idx].length
    }

    /// The largest `|w|`; the first of those that are equal but for rounding.
    fn worst(&self, adjusted: &Adjusted) -> Option<(usize, f64)> {
        let mut worst: Option<(usize, f64)> = None;
        for idx in (0..self.push.len()).filter(|&idx| self.controlled(adjusted, idx)) {
            let w = self.push[idx] / self.room[idx].sqrt();
            if worst.is_none_or(|(_, largest)| w.abs() > largest.abs() * (1.0 + 1e-9)) {
                worst = Some((idx, w));
            }
        }
        worst
    }

    /// The statistic that the settings ask for and what it may come to.
    fn judge(&self, w: f64, tests: &TestSettings) -> Option<(f64, f64)> {
        match tests.trust {
            SdTrust::Stated => Some((w, w_critical(tests.alpha))),
            SdTrust::Estimated => {
                let critical = tau_critical(self.redundancy, tests.alpha)?;
                let s0 = (self.weighted_ss / self.redundancy as f64).sqrt();
                (s0 > 0.0).then(|| (w / s0, critical))
            }
        }
    }

    /// Overlap of one observation's residual with every other, the suspects set aside.
    fn overlap(&self, adjusted: &Adjusted, with: usize) -> Vec<f64> {
        let mut shared = adjusted.shared_room(with);
        for (aside, room) in &self.aside {
            let factor = aside[with] / room;
            for (value, other) in shared.iter_mut().zip(aside) {
                *value -= other * factor;
            }
        }
        shared
    }

    /// Gives the suspect an error of its own, which is what leaving it out comes to: the
    /// weighted sum of squares drops by exactly `w^2`.
    fn set_aside(&mut self, suspect: usize, shared: Vec<f64>) {
        let room = self.room[suspect];
        let error = self.push[suspect] / room;
        self.weighted_ss = (self.weighted_ss - error * self.push[suspect]).max(0.0);
        self.redundancy = self.redundancy.saturating_sub(1);
        for (idx, overlap) in shared.iter().enumerate() {
            self.push[idx] -= overlap * error;
            self.room[idx] = (self.room[idx] - overlap * overlap / room).max(0.0);
        }
        self.room[suspect] = 0.0;
        self.aside.push((shared, room));
    }

    fn error(&self, adjusted: &Adjusted, idx: usize) -> Length {
        Length::mm(-self.push[idx] / self.room[idx] * adjusted.directions[idx].unit)
    }

    fn alike(&self, adjusted: &Adjusted, suspect: usize, shared: &[f64]) -> Vec<usize> {
        (0..shared.len())
            .filter(|&other| other != suspect && self.controlled(adjusted, other))
            .filter(|&other| {
                shared[other].abs() > ALIKE * (self.room[suspect] * self.room[other]).sqrt()
            })
            .collect()
    }
}

/// Seeks suspects one at a time, each with the ones before it set aside on a working copy.
pub(crate) fn find_suspects(
    survey: &Survey,
    network: &Network,
    adjusted: &Adjusted,
    tests: &TestSettings,
) -> Vec<Suspect> {
    let mut search = Search::start(adjusted);
    let mut suspects = Vec::new();
    let name = |idx: usize| name_of(survey, adjusted.directions[idx].source);
    while suspects.len() < MOST_SUSPECTS && search.redundancy > 0 {
        let Some((worst, w)) = search.worst(adjusted) else { break };
        let Some((statistic, critical)) = search.judge(w, tests) else { break };
        if statistic.abs() <= critical {
            break;
        }
        let shared = search.overlap(adjusted, worst);
        let alternatives = search.alike(adjusted, worst, &shared);
        suspects.push(Suspect {
            observation: worst,
            name: name(worst),
            error: search.error(adjusted, worst),
            statistic,
            critical,
            trust: tests.trust,
            against: other_setups(survey, network, adjusted, worst),
            or_benchmarks: benchmarks_of(network, worst, &alternatives),
            or_else: alternatives
                .into_iter()
                .map(|other| Alternative {
                    observation: other,
                    name: name(other),
                    error: search.error(adjusted, other),
                })
                .collect(),
        });
        search.set_aside(worst, shared);
    }
    suspects
}

/// Held benchmarks at the ends of what is suspected, in parts with more than one known height.
fn benchmarks_of(network: &Network, suspect: usize, alternatives: &[usize]) -> Vec<PointId> {
    let n_known = |cluster: usize| {
        let is_known = |node: usize| network.cluster_of[node] == cluster;
        let held = network.held.keys().filter(|&&node| is_known(node)).count();
        held + network.weighted.iter().filter(|weighted| is_known(weighted.point)).count()
    };
    let involved = std::iter::once(suspect).chain(alternatives.iter().copied());
    let ends = involved
        .filter_map(|idx| network.measured.get(idx))
        .flat_map(|measured| [measured.from, measured.to]);
    let benchmarks: BTreeSet<usize> = ends
        .filter(|&node| network.held.contains_key(&node) && network.carries_datum(node))
        .filter(|&node| n_known(network.cluster_of[node]) > 1)
        .collect();
    benchmarks.into_iter().map(|node| network.points[node].clone()).collect()
}

fn other_setups(
    survey: &Survey,
    network: &Network,
    adjusted: &Adjusted,
    suspect: usize,
) -> Vec<SetupId> {
    let ObservationSource::Reading { setup, .. } = adjusted.directions[suspect].source else {
        return Vec::new();
    };
    let point = network.measured[suspect].to;
    let setups: BTreeSet<usize> = network
        .measured
        .iter()
        .filter(|measured| measured.to == point)
        .filter_map(|measured| match measured.source {
            ObservationSource::Reading { setup, .. } => Some(setup),
            _ => None,
        })
        .filter(|&other| other != setup)
        .collect();
    setups.into_iter().map(|setup| survey.setups[setup].id.clone()).collect()
}

/// Observations that an error shows in alike.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Alike {
    /// Indices into the reduction's observations, ascending.
    pub observations: Vec<usize>,
    /// Correlation of each one's residual with that of the first, between -1 and 1.
    pub correlations: Vec<f64>,
}

/// Groups of observations whose residuals are correlated beyond telling apart.
pub(crate) fn find_alike(adjusted: &Adjusted) -> Vec<Alike> {
    let n_observations = adjusted.directions.len();
    if n_observations > MOST_COMPARED {
        return Vec::new();
    }
    let mut grouped = vec![false; n_observations];
    let mut groups = Vec::new();
    let search = Search::start(adjusted);
    for first in 0..n_observations {
        if grouped[first] || !search.controlled(adjusted, first) {
            continue;
        }
        let shared = adjusted.shared_room(first);
        let mut observations = vec![first];
        let others = search.alike(adjusted, first, &shared);
        observations.extend(others.into_iter().filter(|&other| !grouped[other]));
        if observations.len() == 1 {
            continue;
        }
        for &member in &observations {
            grouped[member] = true;
        }
        let sign = |idx: usize| adjusted.directions[idx].unit.signum();
        let correlation = |other: usize| {
            let alone = (search.room[first] * search.room[other]).sqrt();
            (shared[other] / alone * sign(first) * sign(other)).clamp(-1.0, 1.0)
        };
        let correlations = observations.iter().map(|&other| correlation(other)).collect();
        groups.push(Alike { observations, correlations });
    }
    groups
}
