//! Doing what a run sheet says, move by move, and holding it against the job.

use crate::program::{list, number, text};
use serde_json::Value;
use std::collections::BTreeMap;

/// What the job allows.
pub struct Allowed {
    /// Jacks that lift together.
    pub jacks: usize,
    /// Most that a support moves in a pass, mm.
    pub per_pass: f64,
}

/// The house as `lift --json` describes it.
pub struct House {
    /// Its supports, in the order of the lists.
    pub supports: Vec<String>,
    /// The floor over each as it was read, mm.
    floor: BTreeMap<String, f64>,
    /// The deck over each.
    decks: BTreeMap<String, u64>,
}

impl House {
    /// From `lift --json`.
    pub fn of(lift: &Value) -> Self {
        let facts = list(&lift["result"]["lifting"]["result"]["supports"]);
        let id = |one: &Value| text(&one["support"]).to_owned();
        Self {
            supports: facts.iter().map(id).collect(),
            floor: facts.iter().map(|one| (id(one), number(&one["floor"]))).collect(),
            decks: facts.iter().map(|one| (id(one), one["deck"].as_u64().unwrap())).collect(),
        }
    }
}

/// Replays every move of `passes --json` from rest. Returns where each support ends, mm.
///
/// Checked on the way, from the moves alone: each starts where the one before left the support, no
/// move needs more jacks than there are, no support moves further in a pass than allowed, each pass
/// ends where it says, and after each move no two neighbours slope more than their limit.
pub fn replay(passes: &Value, house: &House, allowed: &Allowed) -> BTreeMap<String, f64> {
    let supports = &house.supports;
    let mut state: BTreeMap<String, f64> = supports.iter().map(|id| (id.clone(), 0.0)).collect();
    let neighbours = list(&passes["neighbours"]);
    assert!(!neighbours.is_empty());
    for pass in list(&passes["passes"]) {
        let before = state.clone();
        for together in list(&pass["moves"]) {
            let moved = list(&together["supports"]);
            assert!(!moved.is_empty() && moved.len() <= allowed.jacks, "{together:#}");
            for one in moved {
                let now = state.get_mut(text(&one["support"])).expect("a support of the job");
                let (from, to) = (number(&one["from"]), number(&one["to"]));
                assert!((*now - from).abs() < 1e-6, "{one:#} starts from {now}");
                assert_eq!(to < from, together["lowering"] == true, "{one:#}");
                *now = to;
            }
            for pair in neighbours {
                slope_is_allowed(pair, house, &state);
            }
        }
        for (support, lift) in supports.iter().zip(list(&pass["lifts"])) {
            let now = state[support];
            assert!((now - number(lift)).abs() < 1e-6, "pass {}: {support}", pass["number"]);
            let moved = (now - before[support]).abs();
            assert!(moved <= allowed.per_pass + 1e-6, "{support} moves {moved} mm in a pass");
        }
    }
    state
}

fn slope_is_allowed(pair: &Value, house: &House, state: &BTreeMap<String, f64>) {
    let ends: Vec<&String> = list(&pair["supports"])
        .iter()
        .map(|idx| &house.supports[usize::try_from(idx.as_u64().unwrap()).unwrap()])
        .collect();
    let distance = number(&pair["distance"]);
    let rise = |heights: &BTreeMap<String, f64>| (heights[ends[1]] - heights[ends[0]]) / distance;
    // Across a step the slope at rest is counted from the step, which is no slope.
    let at_rest = number(&pair["start"]);
    let is_step = house.decks[ends[0]] != house.decks[ends[1]];
    assert!(is_step || (at_rest - rise(&house.floor)).abs() < 1e-9, "{ends:?} at {at_rest}");
    let slope = at_rest + rise(state);
    let limit = number(&pair["limit"]);
    assert!(slope.abs() <= limit + 1e-9, "{ends:?} slope {slope}, limit {limit}");
}
