//! Short walks, and points well spread.

/// Rounds of improvement at most.
const MOST_ROUNDS: usize = 40;

/// A short round through all stops, from stop 0 and back: the nearest stop next, then turned round
/// wherever that shortens it (2-opt). Stops between which there is no way lie infinitely far apart.
pub(super) fn short_tour(n: usize, between: &dyn Fn(usize, usize) -> f64) -> Vec<usize> {
    let mut length = vec![0.0; n * n];
    for from in 0..n {
        for to in from + 1..n {
            let way = between(from, to).min(1e9);
            length[from * n + to] = way;
            length[to * n + from] = way;
        }
    }
    let way = |a: usize, b: usize| length[a * n + b];
    let mut tour = vec![0];
    let mut open: Vec<usize> = (1..n).collect();
    while let Some(&last) = tour.last() {
        let next =
            (0..open.len()).min_by(|&a, &b| way(last, open[a]).total_cmp(&way(last, open[b])));
        let Some(next) = next else { break };
        tour.push(open.remove(next));
    }
    for _ in 0..MOST_ROUNDS {
        let mut improved = false;
        for first in 0..n.saturating_sub(2) {
            for last in first + 2..n {
                let (a, b) = (tour[first], tour[first + 1]);
                let (c, d) = (tour[last], tour[(last + 1) % n]);
                if way(a, c) + way(b, d) + 1e-6 < way(a, b) + way(c, d) {
                    tour[first + 1..=last].reverse();
                    improved = true;
                }
            }
        }
        if !improved {
            break;
        }
    }
    tour
}

/// So many of the places as far from each other as can be had by taking the furthest next.
pub(super) fn spread_out(places: &[(f64, f64)], n: usize) -> Vec<usize> {
    let mut chosen: Vec<usize> = Vec::new();
    let mut gap = vec![f64::INFINITY; places.len()];
    let n_all = places.len() as f64;
    let middle =
        places.iter().fold((0.0, 0.0), |sum, p| (sum.0 + p.0 / n_all, sum.1 + p.1 / n_all));
    let apart = |a: (f64, f64), b: (f64, f64)| (a.0 - b.0).hypot(a.1 - b.1);
    while chosen.len() < n.min(places.len()) {
        let by = |idx: usize| if chosen.is_empty() { apart(places[idx], middle) } else { gap[idx] };
        let open = (0..places.len()).filter(|idx| !chosen.contains(idx));
        let Some(next) = open.max_by(|&a, &b| by(a).total_cmp(&by(b)).then(b.cmp(&a))) else {
            break;
        };
        chosen.push(next);
        for (idx, gap) in gap.iter_mut().enumerate() {
            *gap = gap.min(apart(places[idx], places[next]));
        }
    }
    chosen
}
