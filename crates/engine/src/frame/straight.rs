//! Whether what carries holds a frame still, by straight lines alone.
//!
//! # Method
//! A frame that rocks moves without bending: every timber stays straight between its joints, and
//! nothing moves over a support that carries. A straight piece that keeps still at two places keeps
//! still altogether, and with it whatever crosses it. If this spreads to every support, nothing
//! can rock. It is quick and never wrong about a frame that it calls still; one that it cannot
//! tell about is left to the factor of the stiffness.

use super::stations::Members;

/// The straight pieces of all timbers.
#[derive(Clone, Debug)]
pub(super) struct Pieces {
    nodes_of: Vec<Vec<usize>>,
    pieces_of: Vec<Vec<usize>>,
}

impl Pieces {
    pub fn new(members: &Members) -> Self {
        let mut nodes_of = Vec::new();
        for member in &members.members {
            let mut piece = Vec::new();
            for station in &member.stations {
                piece.push(station.node);
                if station.joint {
                    nodes_of.push(std::mem::replace(&mut piece, vec![station.node]));
                }
            }
            nodes_of.push(piece);
        }
        let mut pieces_of = vec![Vec::new(); members.nodes.len()];
        for (piece, nodes) in nodes_of.iter().enumerate() {
            nodes.iter().for_each(|&node| pieces_of[node].push(piece));
        }
        Self { nodes_of, pieces_of }
    }

    /// Whether all of `nodes` are sure to keep still if those of `held` do.
    pub fn keep_still(&self, held: impl Iterator<Item = usize>, nodes: &[usize]) -> bool {
        let mut is_still = vec![false; self.pieces_of.len()];
        let mut n_still = vec![0; self.nodes_of.len()];
        let mut fresh: Vec<usize> = held.collect();
        while let Some(node) = fresh.pop() {
            if std::mem::replace(&mut is_still[node], true) {
                continue;
            }
            for &piece in &self.pieces_of[node] {
                n_still[piece] += 1;
                if n_still[piece] == 2 {
                    fresh.extend(self.nodes_of[piece].iter().filter(|&&node| !is_still[node]));
                }
            }
        }
        nodes.iter().all(|&node| is_still[node])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pieces(nodes_of: &[&[usize]], n_nodes: usize) -> Pieces {
        let mut pieces_of = vec![Vec::new(); n_nodes];
        for (piece, nodes) in nodes_of.iter().enumerate() {
            nodes.iter().for_each(|&node| pieces_of[node].push(piece));
        }
        Pieces { nodes_of: nodes_of.iter().map(|nodes| nodes.to_vec()).collect(), pieces_of }
    }

    /// Two bearers of three places each, with joists over the ends and the middles. Four places
    /// hold it unless they leave the twist; three never do.
    #[test]
    fn two_bearers_and_three_joists() {
        let frame = pieces(&[&[0, 1, 2], &[3, 4, 5], &[0, 3], &[1, 4], &[2, 5]], 6);
        let check = |held: &[usize], expected: bool| {
            let all = [0, 1, 2, 3, 4, 5];
            assert_eq!(frame.keep_still(held.iter().copied(), &all), expected, "{held:?}");
        };
        check(&[0, 2, 3, 5], true);
        check(&[0, 1, 4, 5], true);
        check(&[0, 2, 4], false);
        check(&[1, 4], false);
        check(&[0, 1, 2, 4], false);
    }

    #[test]
    fn a_joint_parts_a_bearer() {
        let frame = pieces(&[&[0, 1, 2], &[2, 3, 4]], 5);
        assert!(!frame.keep_still([0, 1].into_iter(), &[0, 1, 2, 3, 4]));
        assert!(frame.keep_still([0, 1, 4].into_iter(), &[0, 1, 2, 3, 4]));
    }
}
