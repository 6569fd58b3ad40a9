//! The fewest standings from which every point is reached.

/// A set of points.
pub(super) type Bits = Vec<u64>;

/// Standings tried in the search for the fewest, before it is given up as unproven.
const MOST_TRIED: usize = 150_000;

pub(super) fn empty(n: usize) -> Bits {
    vec![0; n.div_ceil(64)]
}

pub(super) fn put(bits: &mut Bits, idx: usize) {
    bits[idx / 64] |= 1 << (idx % 64);
}

pub(super) fn has(bits: &Bits, idx: usize) -> bool {
    bits[idx / 64] >> (idx % 64) & 1 == 1
}

pub(super) fn in_both(a: &Bits, b: &Bits) -> usize {
    a.iter().zip(b).map(|(a, b)| (a & b).count_ones() as usize).sum()
}

fn holds(larger: &Bits, smaller: &Bits) -> bool {
    larger.iter().zip(smaller).all(|(larger, smaller)| smaller & !larger == 0)
}

fn join(a: &Bits, b: &Bits) -> Bits {
    a.iter().zip(b).map(|(a, b)| a | b).collect()
}

fn not_yet(wanted: &Bits, got: &Bits) -> usize {
    wanted.iter().zip(got).map(|(wanted, got)| (wanted & !got).count_ones() as usize).sum()
}

/// What the search works on.
pub(super) struct Cover<'a> {
    /// The points that each candidate reaches.
    pub reached: &'a [Bits],
    /// How many points there are.
    pub n_points: usize,
    /// Those among them that are benchmarks: one of them in common ties two standings.
    pub benchmarks: &'a Bits,
    /// So many points in common tie two standings as well.
    pub ties: usize,
}

/// The standings chosen.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Chosen {
    pub candidates: Vec<usize>,
    /// Fewer than this cannot do.
    pub at_least: usize,
    /// All candidates that hang together with them.
    pub part: Vec<usize>,
}

impl Cover<'_> {
    /// Whether the standings hang together in height.
    pub fn are_tied(&self, chosen: &[usize]) -> bool {
        let mut open: Vec<usize> = chosen.to_vec();
        let Some(first) = open.pop() else { return true };
        let mut frontier = vec![first];
        while let Some(here) = frontier.pop() {
            let (tied, rest): (Vec<_>, Vec<_>) =
                open.iter().partition(|&&other| self.ties_two(here, other));
            frontier.extend(tied);
            open = rest;
        }
        open.is_empty()
    }

    /// Whether two standings hang together in height.
    pub fn ties_two(&self, one: usize, other: usize) -> bool {
        let (one, other) = (&self.reached[one], &self.reached[other]);
        let by_benchmark =
            one.iter().zip(other).zip(self.benchmarks).any(|((a, b), marks)| a & b & marks != 0);
        by_benchmark || in_both(one, other) >= self.ties
    }

    /// The fewest standings that hang together and reach all that can be reached so: from a
    /// benchmark where there is one, else as many points as can be. Where the search is cut short
    /// they may be more than the fewest; `at_least` is proven all the same.
    pub fn fewest(&self) -> Option<Chosen> {
        // Candidates that no chain of ties joins are never chosen together.
        let worth = |part: &Vec<usize>| {
            let reach = self.reach_of(part.iter().copied());
            (in_both(&reach, self.benchmarks).min(1), in_both(&reach, &reach))
        };
        let part = self.parts().into_iter().rev().max_by_key(worth)?;
        let reached: Vec<Bits> = part.iter().map(|&idx| self.reached[idx].clone()).collect();
        let within = Cover { reached: &reached, ..*self };
        let found = within.fewest_of_one_part()?;
        let candidates = found.candidates.iter().map(|&idx| part[idx]).collect();
        Some(Chosen { candidates, at_least: found.at_least, part })
    }

    fn reach_of(&self, candidates: impl Iterator<Item = usize>) -> Bits {
        candidates.fold(empty(self.n_points), |all, idx| join(&all, &self.reached[idx]))
    }

    /// Candidates by what chains of ties join.
    fn parts(&self) -> Vec<Vec<usize>> {
        let mut open: Vec<usize> = (0..self.reached.len()).collect();
        let mut parts = Vec::new();
        while !open.is_empty() {
            let mut part = vec![open.remove(0)];
            let mut idx = 0;
            while idx < part.len() {
                let here = part[idx];
                let (tied, rest): (Vec<_>, Vec<_>) =
                    open.iter().partition(|&&other| self.ties_two(here, other));
                part.extend(tied);
                open = rest;
                idx += 1;
            }
            part.sort_unstable();
            parts.push(part);
        }
        parts
    }

    fn fewest_of_one_part(&self) -> Option<Chosen> {
        let wanted = self.reach_of(0..self.reached.len());
        let kept = self.undominated();
        let least = self.apart(&wanted, &kept).max(1);
        let greedy = self.tied(self.greedy(&wanted, &kept))?;
        let mut search = Search { cover: self, wanted: &wanted, kept: &kept, tried: 0 };
        let mut at_least = least;
        for most in least..greedy.len() {
            let mut chosen = Vec::new();
            match search.deepen(&empty(self.n_points), &mut chosen, most) {
                Some(true) => {
                    return Some(Chosen { candidates: chosen, at_least, part: Vec::new() });
                }
                Some(false) => at_least = most + 1,
                None => break,
            }
        }
        Some(Chosen { candidates: greedy, at_least, part: Vec::new() })
    }

    /// Candidates that no other reaches more than; of two that reach the same, the first.
    fn undominated(&self) -> Vec<usize> {
        let by_size: Vec<usize> = {
            let size = |&idx: &usize| self.reached[idx].iter().map(|b| b.count_ones()).sum::<u32>();
            let mut order: Vec<usize> = (0..self.reached.len()).collect();
            order.sort_by_key(|idx| std::cmp::Reverse(size(idx)));
            order
        };
        let mut kept: Vec<usize> = Vec::new();
        for candidate in by_size {
            let set = &self.reached[candidate];
            if set.iter().any(|&word| word != 0)
                && !kept.iter().any(|&known| holds(&self.reached[known], set))
            {
                kept.push(candidate);
            }
        }
        kept
    }

    /// How many points can be found no two of which one candidate reaches: so many standings it
    /// takes at least.
    fn apart(&self, wanted: &Bits, kept: &[usize]) -> usize {
        let points = (0..self.n_points).filter(|&point| has(wanted, point));
        let mut by_choice: Vec<(usize, usize)> = points
            .map(|point| (kept.iter().filter(|&&c| has(&self.reached[c], point)).count(), point))
            .collect();
        by_choice.sort_unstable();
        let mut taken = empty(self.n_points);
        let mut n_apart = 0;
        for (_, point) in by_choice {
            if has(&taken, point) {
                continue;
            }
            n_apart += 1;
            for &candidate in kept.iter().filter(|&&c| has(&self.reached[c], point)) {
                taken = join(&taken, &self.reached[candidate]);
            }
        }
        n_apart
    }

    fn greedy(&self, wanted: &Bits, kept: &[usize]) -> Vec<usize> {
        let mut got = empty(self.n_points);
        let mut chosen = Vec::new();
        while not_yet(wanted, &got) > 0 {
            let gain = |candidate: usize| {
                let tied = chosen.is_empty() || self.ties_any(candidate, &chosen);
                (not_yet(&self.reached[candidate], &got), tied)
            };
            // Among equals the first, which reaches most.
            let best = kept.iter().copied().rev().max_by_key(|&candidate| gain(candidate));
            let Some(best) = best else { break };
            got = join(&got, &self.reached[best]);
            chosen.push(best);
        }
        self.without_idle(wanted, chosen)
    }

    fn ties_any(&self, candidate: usize, chosen: &[usize]) -> bool {
        chosen.iter().any(|&other| self.ties_two(candidate, other))
    }

    /// Leaves out what the others reach as well.
    fn without_idle(&self, wanted: &Bits, mut chosen: Vec<usize>) -> Vec<usize> {
        let mut idx = 0;
        while idx < chosen.len() {
            let others = chosen.iter().enumerate().filter(|(other, _)| *other != idx);
            let got =
                others.fold(empty(self.n_points), |got, (_, &c)| join(&got, &self.reached[c]));
            if chosen.len() > 1 && not_yet(wanted, &got) == 0 {
                chosen.remove(idx);
            } else {
                idx += 1;
            }
        }
        chosen
    }

    /// Adds standings between those that do not hang together.
    fn tied(&self, mut chosen: Vec<usize>) -> Option<Vec<usize>> {
        while !self.are_tied(&chosen) {
            let parts = |chosen: &[usize]| {
                let mut parts = 0;
                let mut open = chosen.to_vec();
                while let Some(first) = open.pop() {
                    parts += 1;
                    let mut frontier = vec![first];
                    while let Some(here) = frontier.pop() {
                        let (tied, rest): (Vec<_>, Vec<_>) =
                            open.iter().partition(|&&other| self.ties_two(here, other));
                        frontier.extend(tied);
                        open = rest;
                    }
                }
                parts
            };
            let now = parts(&chosen);
            let with = |candidate: usize| {
                let mut more = chosen.clone();
                more.push(candidate);
                parts(&more)
            };
            let best =
                (0..self.reached.len()).filter(|c| !chosen.contains(c)).min_by_key(|&c| with(c))?;
            // A bridge of two or more standings is begun from the side of one.
            if with(best) > now {
                return None;
            }
            if with(best) == now {
                let towards = self.towards_another(&chosen)?;
                chosen.push(towards);
            } else {
                chosen.push(best);
            }
        }
        Some(chosen)
    }

    /// The next standing on the shortest chain from the first part to any other.
    fn towards_another(&self, chosen: &[usize]) -> Option<usize> {
        let n = self.reached.len();
        let mut part = vec![chosen[0]];
        let mut idx = 0;
        while idx < part.len() {
            let here = part[idx];
            let more: Vec<usize> = chosen
                .iter()
                .copied()
                .filter(|other| !part.contains(other) && self.ties_two(here, *other))
                .collect();
            part.extend(more);
            idx += 1;
        }
        let mut came_from = vec![usize::MAX; n];
        let mut queue = std::collections::VecDeque::from(part.clone());
        while let Some(here) = queue.pop_front() {
            if chosen.contains(&here) && !part.contains(&here) {
                let mut step = here;
                while !part.contains(&came_from[step]) {
                    step = came_from[step];
                }
                return Some(step);
            }
            for (other, from) in came_from.iter_mut().enumerate() {
                if *from == usize::MAX && !part.contains(&other) && self.ties_two(here, other) {
                    *from = here;
                    queue.push_back(other);
                }
            }
        }
        None
    }
}

struct Search<'a> {
    cover: &'a Cover<'a>,
    wanted: &'a Bits,
    kept: &'a [usize],
    tried: usize,
}

impl Search<'_> {
    /// Whether `most` standings can do; `None` if that was not found out.
    fn deepen(&mut self, got: &Bits, chosen: &mut Vec<usize>, most: usize) -> Option<bool> {
        self.tried += 1;
        if self.tried > MOST_TRIED {
            return None;
        }
        let cover = self.cover;
        let open: Vec<usize> =
            (0..cover.n_points).filter(|&p| has(self.wanted, p) && !has(got, p)).collect();
        if open.is_empty() && cover.are_tied(chosen) {
            return Some(true);
        }
        if chosen.len() == most {
            return Some(false);
        }
        let largest = self.kept.iter().map(|&c| not_yet(&cover.reached[c], got)).max().unwrap_or(0);
        if !open.is_empty() && open.len() > largest * (most - chosen.len()) {
            return Some(false);
        }
        // The point with the least choice has to be reached by one of few; where all are reached
        // and do not hang together, any candidate may be what joins them.
        let choices: Vec<usize> = match open.iter().min_by_key(|&&point| {
            self.kept.iter().filter(|&&c| has(&cover.reached[c], point)).count()
        }) {
            Some(&rarest) => {
                let reach = self.kept.iter().copied();
                reach.filter(|&c| has(&cover.reached[c], rarest)).collect()
            }
            None => self.kept.to_vec(),
        };
        let mut is_known = true;
        for candidate in choices {
            chosen.push(candidate);
            let now = join(got, &cover.reached[candidate]);
            match self.deepen(&now, chosen, most) {
                Some(true) => return Some(true),
                Some(false) => {}
                None => is_known = false,
            }
            chosen.pop();
            if self.tried > MOST_TRIED {
                return None;
            }
        }
        is_known.then_some(false)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every choice of so many candidates, tried one after the other.
    fn fewest_by_trying_all(cover: &Cover<'_>, all: &Bits) -> Option<usize> {
        let n = cover.reached.len();
        let sets = (1_u32..1 << n).filter_map(|choice| {
            let chosen: Vec<usize> = (0..n).filter(|idx| choice >> idx & 1 == 1).collect();
            let got = chosen
                .iter()
                .fold(empty(cover.n_points), |got, &idx| join(&got, &cover.reached[idx]));
            (not_yet(all, &got) == 0 && cover.are_tied(&chosen)).then_some(chosen.len())
        });
        sets.min()
    }

    #[test]
    fn as_few_as_trying_every_choice() {
        let mut state = 88_172_645_463_325_252_u64;
        let mut next = |below: u64| {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            state % below
        };
        let (mut n_several, mut n_whole) = (0, 0);
        for _ in 0..300 {
            let (n_points, n_candidates) = (4 + next(12) as usize, 3 + next(9) as usize);
            let share = 2 + next(4);
            let mut reached = vec![empty(n_points); n_candidates];
            for set in &mut reached {
                for point in 0..n_points {
                    if next(share) == 0 {
                        put(set, point);
                    }
                }
            }
            let mut benchmarks = empty(n_points);
            put(&mut benchmarks, 0);
            let cover = Cover { reached: &reached, n_points, benchmarks: &benchmarks, ties: 2 };
            let found = cover.fewest().unwrap();
            assert!(cover.are_tied(&found.candidates));
            let got = cover.reach_of(found.candidates.iter().copied());
            assert_eq!(got, cover.reach_of(found.part.iter().copied()));
            let expected = fewest_by_trying_all(&cover, &got).unwrap();
            assert!(found.at_least <= expected, "{found:?}, {expected}");
            assert!(found.candidates.len() <= expected + 1, "{found:?}, {expected}");
            n_several += usize::from(expected > 2);
            // Whatever can be reached from one chain of ties is reached.
            let all = cover.reach_of(0..n_candidates);
            if fewest_by_trying_all(&cover, &all).is_some() {
                assert_eq!(got, all);
                n_whole += 1;
            }
        }
        assert!(n_several > 40, "{n_several}");
        assert!(n_whole > 100, "{n_whole}");
    }
}
