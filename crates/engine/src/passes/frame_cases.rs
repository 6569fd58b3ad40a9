//! The assumptions that moves are checked under, each with the frame on its seats.

use super::SupportToLift;
use crate::frame::{Frame, Loads, NotSettled, OnSeats, SetShape};
use crate::ids::SupportId;
use crate::units::{Force, Length};
use serde::Serialize;
use std::collections::BTreeMap;

/// One set of assumptions that nobody can see from outside.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct FrameCase {
    /// The share of today's sag that the timber has kept for good (a ratio): 0 is springy, 1 has
    /// set.
    pub set_share: f64,
    /// The loads, as shares of what the frame gives.
    pub loads: Loads,
}

/// Of more supports than this only the heavier loads are gone through.
const MANY: usize = 200;

/// Why moves cannot be checked on a frame.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
pub enum FrameCasesFault {
    /// A support that the frame knows nothing of.
    #[error("support {0} is lifted but has no place in the frame")]
    NotInFrame(SupportId),
    /// A support of the frame whose height nobody gave.
    #[error("support {0} of the frame is missing from the supports to lift")]
    NotAmongSupports(SupportId),
    /// No assumptions to check under.
    #[error("there is no case to check the moves under")]
    NoCases,
    /// The frame could not be settled as it stands today.
    #[error("at the start: {0}")]
    NotSettled(#[from] NotSettled),
}

impl FrameCasesFault {
    /// The way out.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::NotInFrame(_) => "name it among the supports of its bearer",
            Self::NotAmongSupports(_) => {
                "give its height, with a lift of nothing if it is to stay as it is"
            }
            Self::NoCases => "give at least one share of set sag with its loads",
            Self::NotSettled(_) => "check the frame's numbers; this is a fault of the program",
        }
    }
}

/// The frame on today's seats, everything packed snug, under each set of assumptions.
#[derive(Clone, Debug)]
pub struct FrameCases<'f> {
    pub(super) frame: &'f Frame,
    pub(super) cases: Vec<(FrameCase, OnSeats<'f>)>,
    /// The number in the frame of each support to lift.
    pub(super) in_frame: Vec<usize>,
    /// Today's height of the bearer over each support, by the frame's numbers.
    pub(super) today: Vec<Length>,
    /// How far what each support carries may be off because heights may, where the timber springs;
    /// by the frame's numbers.
    pub(super) off: Vec<Force>,
}

impl<'f> FrameCases<'f> {
    /// Both ends of the share of sag that has set, each with loads a doubt less and a doubt more. Of
    /// more than 200 supports only with a doubt more, which is what jacks have to be chosen for.
    ///
    /// `loads` is what is on the floor while it is lifted: [`Loads::DEAD`] for an empty house.
    ///
    /// # Errors
    /// As [`Self::of`].
    pub fn new(
        frame: &'f Frame,
        supports: &[SupportToLift],
        loads: Loads,
    ) -> Result<Self, Vec<FrameCasesFault>> {
        let spec = frame.spec();
        let mut cases: Vec<FrameCase> = Vec::new();
        for set_share in [spec.set_share.0, spec.set_share.1] {
            let ratios = [1.0 + spec.load_doubt, 1.0 - spec.load_doubt];
            let n_ratios = if supports.len() > MANY { 1 } else { 2 };
            for ratio in ratios.into_iter().take(n_ratios) {
                let case = FrameCase { set_share, loads: loads.times(ratio) };
                if !cases.contains(&case) {
                    cases.push(case);
                }
            }
        }
        Self::of(frame, supports, &cases)
    }

    /// The frame on today's seats under these assumptions. Seats are the heights of the bearers
    /// today, air below them packed; the set shape is the same heights.
    ///
    /// # Errors
    /// Every support that is missing on either side; [`FrameCasesFault::NotSettled`], which is a
    /// fault of this program.
    pub fn of(
        frame: &'f Frame,
        supports: &[SupportToLift],
        cases: &[FrameCase],
    ) -> Result<Self, Vec<FrameCasesFault>> {
        if cases.is_empty() {
            return Err(vec![FrameCasesFault::NoCases]);
        }
        let (in_frame, today) = matched(frame, supports)?;
        let settled = cases
            .iter()
            .map(|&case| Ok((case, on_seats(frame, &today, &today, case)?)))
            .collect::<Result<Vec<_>, NotSettled>>()
            .map_err(|fault| vec![fault.into()])?;
        let off = vec![Force::ZERO; today.len()];
        Ok(Self { frame, cases: settled, in_frame, today, off })
    }

    /// Widens every force at a jack by what the readings may be off: so much either way (not below
    /// zero) at each support of the frame, less what has set, which lies on its seats whatever they
    /// were read to be.
    ///
    /// # Panics
    /// If there is not one for each support of the frame: a bug of the caller.
    pub fn widened(mut self, off: Vec<Force>) -> Self {
        assert_eq!(off.len(), self.today.len(), "one for each support of the frame");
        self.off = off;
        self
    }

    /// The assumptions, in the order that results count them by.
    pub fn cases(&self) -> Vec<FrameCase> {
        self.cases.iter().map(|case| case.0).collect()
    }

    /// The frame when all is done, under one of the assumptions. Lifts by the frame's numbers.
    pub(super) fn at_end(
        &self,
        lifts: &[Length],
        case: FrameCase,
    ) -> Result<OnSeats<'f>, NotSettled> {
        let seats: Vec<Length> =
            self.today.iter().zip(lifts).map(|(&today, &lift)| today + lift).collect();
        on_seats(self.frame, &seats, &self.today, case)
    }
}

fn on_seats<'f>(
    frame: &'f Frame,
    seats: &[Length],
    today: &[Length],
    case: FrameCase,
) -> Result<OnSeats<'f>, NotSettled> {
    let set = SetShape { heights: today, share: case.set_share };
    OnSeats::new(frame, seats, case.loads, Some(set))
}

/// For each support its number in the frame, and the heights by the frame's numbers.
fn matched(
    frame: &Frame,
    supports: &[SupportToLift],
) -> Result<(Vec<usize>, Vec<Length>), Vec<FrameCasesFault>> {
    let numbers: BTreeMap<&SupportId, usize> =
        frame.supports().iter().enumerate().map(|(number, id)| (id, number)).collect();
    let mut faults = Vec::new();
    let mut today: Vec<Option<Length>> = vec![None; numbers.len()];
    let mut in_frame = Vec::with_capacity(supports.len());
    for support in supports {
        match numbers.get(&support.id) {
            Some(&number) => {
                in_frame.push(number);
                today[number] = Some(Length::mm(support.seat.to_mm()));
            }
            None => faults.push(FrameCasesFault::NotInFrame(support.id.clone())),
        }
    }
    let missing = frame.supports().iter().zip(&today).filter(|(_, height)| height.is_none());
    faults.extend(missing.map(|(id, _)| FrameCasesFault::NotAmongSupports(id.clone())));
    if faults.is_empty() {
        Ok((in_frame, today.into_iter().flatten().collect()))
    } else {
        Err(faults)
    }
}
