//! What every support carries, as ranges over what nobody can see.

use super::frame::{Bent, Frame, Loads, NotSettled};
use super::on_seats::{OnSeats, SetShape};
use crate::ids::SupportId;
use crate::units::{Force, Length, Stress};
use serde::Serialize;

/// Standard deviations that a range is widened by either way: about 95 in 100.
const COVERAGE: f64 = 2.0;

/// A support that carries at most this may be taken for one that hangs: a hand's push.
const NEXT_TO_NOTHING: Force = Force::n(50.0);

/// A force that is only known between two ends.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct ForceRange {
    /// At least this much.
    pub least: Force,
    /// At most this much.
    pub most: Force,
}

impl ForceRange {
    /// The range that holds both.
    pub fn with(self, other: Self) -> Self {
        Self { least: self.least.min(other.least), most: self.most.max(other.most) }
    }
}

/// One set of assumptions about what nobody can see.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Assumption {
    /// The share of today's sag that the timber has kept for good (a ratio).
    pub set_share: f64,
    /// The loads times this (a ratio).
    pub load_ratio: f64,
}

/// Whether a support carries.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Carrying {
    /// Under every assumption.
    Carries,
    /// Under some of them.
    MayHang,
    /// Under none.
    Hangs,
}

/// What one support carries.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SupportLoad {
    /// The support.
    pub support: SupportId,
    /// If the timber springs back as far as it may, under the loads as given.
    pub springy: Force,
    /// If it has kept as much of the sag as it may, under the loads as given.
    pub set: Force,
    /// Over all assumptions and over what the heights may be off.
    pub range: ForceRange,
    /// Air between support and bearer, least and most over the assumptions.
    pub gap: (Length, Length),
    /// Largest stress across the grain of the bearers on it.
    pub bearing: Stress,
    /// That as a share of the strength across the grain (a ratio), if that is known.
    pub bearing_share: Option<f64>,
    /// Whether it carries.
    pub carrying: Carrying,
}

/// The frame on one set of seats.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FrameState {
    /// The loads as given.
    pub loads: Loads,
    /// Their sum.
    pub total: Force,
    /// One for each support; none where the frame rocks.
    pub supports: Vec<SupportLoad>,
    /// The most bent bearer if the timber springs, and if it has set.
    pub bearer: [Option<Bent>; 2],
    /// The most bent joist, likewise.
    pub joist: [Option<Bent>; 2],
    /// It rocks under some assumption: what it carries is not determined, so that nothing is given
    /// but what it weighs.
    pub rocks: bool,
}

/// The assumptions that a frame's results are given over: both ends of the set share, each with
/// the loads as much less and more as they are in doubt, and with the loads as given first.
pub fn assumptions(frame: &Frame) -> Vec<Assumption> {
    let spec = frame.spec();
    let mut shares = vec![spec.set_share.0, spec.set_share.1];
    shares.dedup();
    let mut ratios = vec![1.0, 1.0 - spec.load_doubt, 1.0 + spec.load_doubt];
    ratios.dedup();
    shares
        .iter()
        .flat_map(|&set_share| {
            ratios.iter().map(move |&load_ratio| Assumption { set_share, load_ratio })
        })
        .collect()
}

/// How far the seats may be off: standard deviations, each for itself.
#[derive(Clone, Copy, Debug)]
pub struct Off<'a> {
    /// Today's height of the bearer over each support, as it was read.
    pub heights: &'a [Length],
    /// The thickness of the packers on each support.
    pub packing: Length,
}

/// Works out what every support carries on these seats.
///
/// `shape` is today's height of the bearer over each support. The doubt of a reaction that comes
/// from seats is counted with every support held, which is a little more than it can be. What has
/// set lies on its seats whatever they were read to be; packers can be off all the same.
///
/// # Units and sign
/// Heights and reactions up positive.
///
/// # Errors
/// [`NotSettled`], as when the loads tip the frame over.
pub fn state(
    frame: &Frame,
    seats: &[Length],
    shape: &[Length],
    off: Off<'_>,
    loads: Loads,
) -> Result<FrameState, NotSettled> {
    let all = assumptions(frame);
    let on_seats: Vec<OnSeats<'_>> = all
        .iter()
        .map(|assumed| {
            let set = Some(SetShape { heights: shape, share: assumed.set_share });
            OnSeats::new(frame, seats, loads.times(assumed.load_ratio), set)
        })
        .collect::<Result<_, _>>()?;
    let last = all.iter().rposition(|assumed| assumed.load_ratio == 1.0).unwrap_or(0);
    let read = frame.doubt(off.heights);
    let packed = frame.doubt(&vec![off.packing; seats.len()]);
    let rocks = on_seats.iter().any(OnSeats::rocks);
    if rocks {
        let (supports, bearer, joist) = (Vec::new(), [None, None], [None, None]);
        return Ok(FrameState { loads, total: frame.total(loads), supports, bearer, joist, rocks });
    }
    let supports = (0..frame.supports().len())
        .map(|support| {
            let in_all = all.iter().zip(&on_seats);
            one(
                frame,
                support,
                in_all,
                [read[support], packed[support]],
                [&on_seats[0], &on_seats[last]],
            )
        })
        .collect();
    let bent = |which: usize| {
        let (bearer, joist) = on_seats[which].timbers().most_bent();
        [bearer, joist]
    };
    let ([bearer, joist], [set_bearer, set_joist]) = (bent(0), bent(last));
    Ok(FrameState {
        loads,
        total: frame.total(loads),
        supports,
        bearer: [bearer, set_bearer],
        joist: [joist, set_joist],
        rocks,
    })
}

fn one<'a>(
    frame: &Frame,
    support: usize,
    in_all: impl Iterator<Item = (&'a Assumption, &'a OnSeats<'a>)>,
    [read, packed]: [Force; 2],
    [springy, set]: [&OnSeats<'_>; 2],
) -> SupportLoad {
    let (mut least, mut most) = (Force::n(f64::INFINITY), Force::ZERO);
    let (mut narrow, mut wide) = (Length::mm(f64::INFINITY), Length::ZERO);
    for (assumed, on_seats) in in_all {
        let reaction = on_seats.reaction(support);
        let read = read.to_n() * (1.0 - assumed.set_share);
        let off = Force::n(read.hypot(packed.to_n())) * COVERAGE;
        least = least.min((reaction - off).max(Force::ZERO));
        most = most.max(if on_seats.carries(support) { reaction + off } else { reaction });
        narrow = narrow.min(on_seats.gap(support));
        wide = wide.max(on_seats.gap(support));
    }
    let bearing = Stress::n_per_mm2(most.to_n() / frame.seat_area(support));
    SupportLoad {
        support: frame.supports()[support].clone(),
        springy: springy.reaction(support),
        set: set.reaction(support),
        range: ForceRange { least, most },
        gap: (narrow, wide),
        bearing,
        bearing_share: frame.across_grain(support).map(|strength| bearing / strength),
        carrying: if most <= NEXT_TO_NOTHING {
            Carrying::Hangs
        } else if least <= NEXT_TO_NOTHING {
            Carrying::MayHang
        } else {
            Carrying::Carries
        },
    }
}

impl Frame {
    /// How far each reaction may be off because the heights may, either way: about 95 in 100 lie
    /// within. For springy timber; what has set lies on its seats whatever they were read to be.
    pub fn off_by_heights(&self, sd: &[Length]) -> Vec<Force> {
        self.doubt(sd).into_iter().map(|doubt| doubt * COVERAGE).collect()
    }

    /// Standard deviation of each reaction when the seats are off by so much, each for itself,
    /// and every support carries.
    fn doubt(&self, sd: &[Length]) -> Vec<Force> {
        let of = |place: usize| {
            let (first, row) = &self.response.rows[place];
            let order = &self.stiffness.order[*first..];
            let squares =
                row.iter().zip(order).map(|(k, &support)| (k * sd[support].to_mm()).powi(2));
            Force::n(squares.sum::<f64>().sqrt())
        };
        self.place_of.iter().map(|&place| of(place)).collect()
    }

    /// Strength across the grain of the bearer on a support.
    fn across_grain(&self, support: usize) -> Option<Stress> {
        let (bearer, _) = self.members.bearer_of_support[support];
        self.spec().bearers[bearer].timber.strength?.across_grain
    }

    /// Brings floors with steps between them to one height: each group of supports is shifted so
    /// that the timbers are bent least. What joins no other group stays as it is.
    ///
    /// The height of a step is not known to the millimetre, and bearers were built straight.
    ///
    /// # References
    /// Least energy `1/2 w' S w` over one shift for each group: its normal equations (derived).
    pub fn without_steps(&self, heights: &[Length], group: &[usize]) -> Vec<Length> {
        let n_groups = group.iter().copied().max().map_or(0, |last| last + 1);
        let mut matrix = vec![vec![0.0; n_groups]; n_groups];
        let mut right = vec![0.0; n_groups];
        for (place, (first, row)) in self.response.rows.iter().enumerate() {
            let own = group[self.stiffness.order[place]];
            for (k, &other) in row.iter().zip(&self.stiffness.order[*first..]) {
                matrix[own][group[other]] += k;
                right[own] -= k * heights[other].to_mm();
            }
        }
        let shifts = shifts(matrix, right);
        heights.iter().zip(group).map(|(&height, &group)| height + shifts[group]).collect()
    }
}

/// Solves for the shifts, the first group and any that nothing ties held where they are.
fn shifts(mut matrix: Vec<Vec<f64>>, mut right: Vec<f64>) -> Vec<Length> {
    let n = right.len();
    let scale = (0..n).fold(0.0, |scale: f64, row| scale.max(matrix[row][row].abs()));
    let mut is_held = vec![false; n];
    for pivot in 0..n {
        if pivot == 0 || matrix[pivot][pivot] <= scale * 1e-9 {
            is_held[pivot] = true;
            continue;
        }
        for row in pivot + 1..n {
            let factor = matrix[row][pivot] / matrix[pivot][pivot];
            let (above, below) = matrix.split_at_mut(row);
            for (entry, above) in below[0].iter_mut().zip(&above[pivot]).skip(pivot) {
                *entry -= factor * above;
            }
            right[row] -= factor * right[pivot];
        }
    }
    let mut found = vec![0.0; n];
    for row in (0..n).rev().filter(|&row| !is_held[row]) {
        let after: f64 = (row + 1..n).map(|other| matrix[row][other] * found[other]).sum();
        found[row] = (right[row] - after) / matrix[row][row];
    }
    found.into_iter().map(Length::mm).collect()
}
