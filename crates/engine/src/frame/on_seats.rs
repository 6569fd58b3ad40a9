//! The frame while supports move: contact kept up to date move by move.

use super::contact::{Balance, NO_FORCE, Stretch};
use super::frame::{Contact, Frame, Loads, NotSettled};
use super::timbers::Timbers;
use crate::units::{Force, Length, Stress};

/// How much of a shape the timbers have kept for good.
///
/// # Method
/// Timber that has stood bent for decades has crept to its shape. The frame is solved on seats
/// that are lower by the kept share of the shape, and the share is added to the heights again;
/// only the shape over the supports matters for reactions. Share 0 is springy timber, share 1
/// timber whose unloaded shape is today's.
#[derive(Clone, Copy, Debug)]
pub struct SetShape<'a> {
    /// Today's height of the bearer over each support.
    pub heights: &'a [Length],
    /// The share that is kept (a ratio from 0 to 1).
    pub share: f64,
}

/// The frame on its seats.
#[derive(Clone, Debug)]
pub struct OnSeats<'f> {
    frame: &'f Frame,
    balance: Balance<'f>,
    /// What the timbers have kept, by the support's index, in millimetres.
    kept: Vec<f64>,
    loads: Loads,
    is_on_the_way: bool,
}

/// How far the bearer over a support moved.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Movement {
    /// The support's number in the frame.
    pub support: usize,
    /// Up positive.
    pub by: Length,
}

impl<'f> OnSeats<'f> {
    /// Settles the frame on its seats.
    ///
    /// # Errors
    /// [`NotSettled`] if the frame tips over.
    ///
    /// # Panics
    /// If there are not as many seats, or heights of the set shape, as supports.
    pub fn new(
        frame: &'f Frame,
        seats: &[Length],
        loads: Loads,
        set: Option<SetShape<'_>>,
    ) -> Result<Self, NotSettled> {
        assert_eq!(seats.len(), frame.supports().len(), "as many seats as supports");
        let kept: Vec<f64> = match set {
            Some(SetShape { heights, share }) => {
                heights.iter().map(|height| height.to_mm() * share).collect()
            }
            None => vec![0.0; seats.len()],
        };
        let above: Vec<f64> =
            seats.iter().zip(&kept).map(|(seat, kept)| seat.to_mm() - kept).collect();
        let mut balance = frame.balance(&above, loads)?;
        balance.moved.clear();
        let mut on_seats = Self { frame, kept, loads, is_on_the_way: false, balance };
        on_seats.look_for_rocking();
        Ok(on_seats)
    }

    /// How far the timbers are bent now.
    pub fn timbers(&self) -> Timbers<'f> {
        Timbers::new(self)
    }

    pub(super) fn frame(&self) -> &'f Frame {
        self.frame
    }

    pub(super) fn loads(&self) -> Loads {
        self.loads
    }

    pub(super) fn is_large(&self) -> bool {
        self.balance.is_large()
    }

    /// Heights over the supports less what the timbers have kept, in the stiffness's order.
    pub(super) fn heights_in_order(&self) -> &[f64] {
        &self.balance.heights
    }

    /// For many moves in a row: in a large frame [`Self::rocks`] says what was true when all was
    /// last worked out anew.
    pub fn on_the_way(mut self) -> Self {
        self.is_on_the_way = true;
        self
    }

    /// Brings seats to new heights, as a set of jacks does, and settles again.
    ///
    /// # Errors
    /// [`NotSettled`] if the frame tips over.
    pub fn set_seats(&mut self, changes: &[(usize, Length)]) -> Result<(), NotSettled> {
        let in_order: Vec<(usize, f64)> = changes
            .iter()
            .map(|&(support, seat)| (self.place(support), seat.to_mm() - self.kept[support]))
            .collect();
        self.balance.set_seats(&in_order)?;
        if !self.balance.is_large() {
            self.look_for_rocking();
        }
        Ok(())
    }

    /// Works everything out anew from the heights, so that rounding does not add up over many
    /// moves, and looks whether the frame rocks.
    pub fn refresh(&mut self) {
        self.balance.refresh();
        self.look_for_rocking();
    }

    fn look_for_rocking(&mut self) {
        if self.balance.known_to_rock().is_some() {
            return;
        }
        if self.is_sure_to_keep_still() {
            self.balance.keeps_still();
        } else {
            self.balance.look_for_rocking();
        }
    }

    /// How far bearers have moved since this was last asked, each support once, in order: settling
    /// moves the same ones to and fro.
    pub fn take_moved(&mut self) -> Vec<Movement> {
        let mut moved = std::mem::take(&mut self.balance.moved);
        moved.sort_by_key(|part| part.0);
        moved.dedup_by(|next, kept| {
            let same = next.0 == kept.0;
            kept.1 += if same { next.1 } else { 0.0 };
            same
        });
        let order = &self.frame.stiffness.order;
        let movement = |(place, by)| Movement { support: order[place], by: Length::mm(by) };
        let mut moved: Vec<Movement> = moved.into_iter().map(movement).collect();
        moved.sort_by_key(|movement| movement.support);
        moved
    }

    /// Whether a lift at one support is felt at the other by more than a hundredth of what it is
    /// felt where it is made.
    pub fn feel_one_another(&self, a: usize, b: usize) -> bool {
        let (a, b) = (self.place(a), self.place(b));
        self.frame.response.near[a].binary_search(&b).is_ok()
    }

    /// Whether any support has let go of its bearer or taken hold since this was last asked, by more
    /// than a newton or a hundredth of a millimetre. If none has, all heights, reactions and
    /// moments ran evenly from what they were.
    pub fn take_regrouped(&mut self) -> bool {
        std::mem::take(&mut self.balance.regrouped)
    }

    /// The most pressed support among those whose reaction changed since this was last asked.
    pub fn take_most_pressed(&mut self) -> Option<(usize, Stress)> {
        let felt = std::mem::replace(&mut self.balance.felt, Stretch::EMPTY);
        felt.supports()
            .filter(|&place| self.balance.held[place])
            .map(|place| {
                let support = self.frame.stiffness.order[place];
                (support, self.balance.reactions[place] / self.frame.seat_area(support))
            })
            .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))
            .map(|(support, stress)| (support, Stress::n_per_mm2(stress.max(0.0))))
    }

    fn place(&self, support: usize) -> usize {
        self.frame.place_of[support]
    }

    /// Height of the bearer over a support.
    pub fn height(&self, support: usize) -> Length {
        Length::mm(self.balance.heights[self.place(support)] + self.kept[support])
    }

    /// Height of a seat.
    pub fn seat(&self, support: usize) -> Length {
        Length::mm(self.balance.seats[self.place(support)] + self.kept[support])
    }

    /// What a support carries.
    pub fn reaction(&self, support: usize) -> Force {
        let place = self.place(support);
        if self.balance.held[place] {
            Force::n(self.balance.reactions[place].max(0.0))
        } else {
            Force::ZERO
        }
    }

    /// The force at a jack that raises the bearer over a support by so much from where it lies or
    /// hangs, alone, all other seats staying. Nothing is moved.
    ///
    /// # Errors
    /// [`NotSettled`] if the frame tips over.
    ///
    /// # References
    /// Held against a contact solved anew for the raised seat, on random houses, in
    /// `tests/frame_second_method.rs`.
    pub fn force_alone(&self, support: usize, rise: Length) -> Result<Force, NotSettled> {
        let place = self.place(support);
        Ok(Force::n(self.balance.force_alone(place, rise.to_mm())?))
    }

    /// Whether a support carries anything.
    pub fn carries(&self, support: usize) -> bool {
        self.reaction(support).to_n() > NO_FORCE
    }

    /// How many supports carry.
    pub fn n_carrying(&self) -> usize {
        (0..self.kept.len()).filter(|&support| self.carries(support)).count()
    }

    /// Air between a support and its bearer.
    pub fn gap(&self, support: usize) -> Length {
        let place = self.place(support);
        if self.balance.held[place] {
            Length::ZERO
        } else {
            Length::mm((self.balance.heights[place] - self.balance.seats[place]).max(0.0))
        }
    }

    /// The frame is in balance on too few supports: its tilt is not determined.
    pub fn rocks(&self) -> bool {
        let leaves_it = self.is_on_the_way && self.balance.is_large();
        let known = self.balance.known_to_rock().or_else(|| leaves_it.then_some(false));
        known.unwrap_or_else(|| !self.is_sure_to_keep_still() && self.balance.leaves_a_way())
    }

    /// Straight lines alone show that nothing can rock.
    fn is_sure_to_keep_still(&self) -> bool {
        let nodes = &self.frame.members.node_of_support;
        let held = (0..nodes.len()).filter(|&support| self.carries(support));
        self.frame.pieces.keep_still(held.map(|support| nodes[support]), nodes)
    }

    /// Stress across the grain of the bearers on a support.
    pub fn bearing(&self, support: usize) -> Stress {
        Stress::n_per_mm2(self.reaction(support).to_n() / self.frame.seat_area(support))
    }

    /// All supports at once.
    pub fn contact(&self) -> Contact {
        let all = 0..self.kept.len();
        Contact {
            heights: all.clone().map(|support| self.height(support)).collect(),
            reactions: all.clone().map(|support| self.reaction(support)).collect(),
            gaps: all.clone().map(|support| self.gap(support)).collect(),
            bearing: all.map(|support| self.bearing(support)).collect(),
            rocks: self.rocks(),
        }
    }
}
