//! Loops of legs, whose misclosure is known before anything is adjusted.

use super::input::{LegWeight, Survey};
use super::network::{Network, PartDatum};
use super::reduction::ObservationSource;
use crate::ids::PointId;
use crate::units::Length;
use serde::Serialize;
use std::collections::VecDeque;

/// A closed loop of legs, or a line of legs from one held benchmark to another.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Loop {
    /// The points in the order of travel. A closed loop ends where it starts; a line between
    /// benchmarks does not.
    pub points: Vec<PointId>,
    /// The legs in the order of travel.
    pub legs: Vec<LoopLeg>,
    /// Measured less known: what the legs add up to, less the known difference of the ends.
    pub misclosure: Length,
    /// Prior standard deviation of the misclosure.
    pub sd: Length,
    /// Setups it took, where every leg is weighted by its setups.
    pub n_setups: Option<u64>,
    /// Its length, where every leg is weighted by its length.
    pub length: Option<Length>,
}

/// A leg as a loop runs through it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct LoopLeg {
    /// Index of the leg.
    pub leg: usize,
    /// Against the direction it was measured in.
    pub backwards: bool,
}

/// A step of the walk that grows the tree.
#[derive(Clone, Copy)]
struct Step {
    /// Node that the step came from.
    from: usize,
    /// Measurement; `None` for the known difference of two benchmarks.
    measured: Option<usize>,
}

/// Finds independent loops: one for each leg that a tree of shortest ways leaves over.
pub(crate) fn find_loops(survey: &Survey, network: &Network) -> Vec<Loop> {
    let legs: Vec<usize> = (0..network.measured.len())
        .filter(|&idx| matches!(network.measured[idx].source, ObservationSource::Leg { .. }))
        .collect();
    if legs.is_empty() {
        return Vec::new();
    }
    let tree = Tree::grow(network, &legs);
    let closing = legs.iter().filter(|&&leg| !tree.in_tree[leg]);
    closing.map(|&leg| tree.close(survey, network, leg)).collect()
}

/// Shortest ways from a start in each part, as far as legs reach.
struct Tree {
    steps: Vec<Option<Step>>,
    depth: Vec<usize>,
    in_tree: Vec<bool>,
}

impl Tree {
    fn grow(network: &Network, legs: &[usize]) -> Self {
        let n_points = network.points.len();
        let mut ways = vec![Vec::new(); n_points];
        for &leg in legs {
            ways[network.measured[leg].from].push(leg);
            ways[network.measured[leg].to].push(leg);
        }
        let is_benchmark =
            |node: usize| network.clusters[network.cluster_of[node]].datum == PartDatum::Known;
        let benchmarks: Vec<usize> =
            network.held.keys().copied().filter(|&node| is_benchmark(node)).collect();
        let mut tree = Self {
            steps: vec![None; n_points],
            depth: vec![usize::MAX; n_points],
            in_tree: vec![false; network.measured.len()],
        };
        let starts = benchmarks.first().copied().into_iter().chain(0..n_points);
        for start in starts {
            if tree.depth[start] != usize::MAX {
                continue;
            }
            tree.depth[start] = 0;
            let mut queue = VecDeque::from([start]);
            if benchmarks.first() == Some(&start) {
                for &other in &benchmarks[1..] {
                    tree.steps[other] = Some(Step { from: start, measured: None });
                    tree.depth[other] = 1;
                    queue.push_back(other);
                }
            }
            while let Some(node) = queue.pop_front() {
                for &leg in &ways[node] {
                    let measured = network.measured[leg];
                    let other = if measured.from == node { measured.to } else { measured.from };
                    if tree.depth[other] == usize::MAX {
                        tree.depth[other] = tree.depth[node] + 1;
                        tree.steps[other] = Some(Step { from: node, measured: Some(leg) });
                        tree.in_tree[leg] = true;
                        queue.push_back(other);
                    }
                }
            }
        }
        tree
    }

    /// The loop that runs along a leg and back through the tree.
    fn close(&self, survey: &Survey, network: &Network, leg: usize) -> Loop {
        let measured = network.measured[leg];
        let (mut ahead, mut behind) = (measured.to, measured.from);
        let (mut up, mut down) = (Vec::new(), Vec::new());
        while ahead != behind {
            let (end, side) = if self.depth[ahead] >= self.depth[behind] {
                (&mut ahead, &mut up)
            } else {
                (&mut behind, &mut down)
            };
            let Some(step) = self.steps[*end] else { break };
            side.push((*end, step));
            *end = step.from;
        }
        // Travel: along the leg, up to where the ways meet, down to where the leg starts.
        let mut moves = vec![(measured.from, measured.to, Some(leg))];
        moves.extend(up.iter().map(|&(node, step)| (node, step.from, step.measured)));
        moves.extend(down.iter().rev().map(|&(node, step)| (step.from, node, step.measured)));
        start_well(&mut moves);
        describe(survey, network, &moves)
    }
}

/// Turns a loop so that it starts after the known difference of two benchmarks, or else at its
/// first point by name.
fn start_well(moves: &mut [(usize, usize, Option<usize>)]) {
    let known = moves.iter().rposition(|&(_, _, leg)| leg.is_none());
    let start = match known {
        Some(known) => known + 1,
        None => (0..moves.len()).min_by_key(|&at| moves[at].0).unwrap_or(0),
    };
    let start = start % moves.len();
    moves.rotate_left(start);
}

fn describe(survey: &Survey, network: &Network, moves: &[(usize, usize, Option<usize>)]) -> Loop {
    let name = |node: usize| network.points[node].clone();
    let walked: Vec<_> = moves.iter().filter_map(|&(a, b, leg)| Some((a, b, leg?))).collect();
    let known: Length = moves
        .iter()
        .filter(|(_, _, leg)| leg.is_none())
        .map(|&(from, to, _)| Length::mm(network.approximate[from] - network.approximate[to]))
        .sum();
    // Whole nanometres, so that a misclosure is exact.
    let mut sum_nm: i128 = 0;
    let mut variance = 0.0;
    let mut legs = Vec::with_capacity(walked.len());
    for &(from, _, idx) in &walked {
        let measured = network.measured[idx];
        let backwards = measured.from != from;
        variance += measured.sd * measured.sd;
        if let ObservationSource::Leg { leg } = measured.source {
            let rise = i128::from(survey.legs[leg].rise.to_nm());
            sum_nm += if backwards { -rise } else { rise };
            legs.push(LoopLeg { leg, backwards });
        }
    }
    let start = walked.first().map(|&(from, _, _)| name(from));
    let points = start.into_iter().chain(walked.iter().map(|&(_, to, _)| name(to))).collect();
    let misclosure = Length::mm(sum_nm as f64 * 1e-6) - known;
    let weights = || legs.iter().map(|one| survey.legs[one.leg].weight);
    let n_setups = weights()
        .map(|weight| match weight {
            LegWeight::Setups { n_setups, .. } => Some(u64::from(n_setups)),
            _ => None,
        })
        .sum();
    let length = weights()
        .map(|weight| match weight {
            LegWeight::Distance { length, .. } => Some(length),
            _ => None,
        })
        .sum::<Option<Length>>()
        .filter(|length| length.is_finite());
    Loop { points, legs, misclosure, sd: Length::mm(variance.sqrt()), n_setups, length }
}
