//! The frame under the floor: what carries what, and what a lift at a support takes and does.
//!
//! A [`FrameSpec`] says what the frame is made of; [`complete()`] makes one from what the builder
//! gives, and names what it assumes. [`Frame::new`] checks it, shares the loads out, puts the
//! stiffness together and works out what a lift at each support does, all others held.
//! [`OnSeats`] lets it stand on seats that push and cannot pull and keeps reactions up to date while
//! supports move, [`Timbers`] how far the timbers are bent meanwhile; [`state()`] gives what every support carries as ranges, and
//! [`jack_curve`] what a jack has to push.
//!
//! # Units and sign
//! Heights, lifts and reactions are up positive, loads down positive, sagging moments positive.
//!
//! # What it does not see
//! Shear deflection, creep in time, a joist that lifts off its bearer, twist and boards, soft
//! ground, friction, sideways stability of jacks and stacks, damage and splices, walls that are
//! stiff in their own plane. How much of a sag has set is an assumption between two ends.

mod spec;
mod faults;
mod complete;
mod checks;
mod sharing;
mod stations;
mod straight;
pub(crate) mod skyline;
mod stiffness;
mod places;
mod condense;
mod response;
mod contact;
#[expect(clippy::module_inception, reason = "the frame itself is the heart of its module")]
mod frame;
mod on_seats;
#[cfg(test)]
pub(crate) mod grid;
mod timbers;
mod jack;
mod state;

pub use complete::{FrameRules, GivenFrame, JoistSet, ProposalFault, complete};
pub use faults::FrameFault;
pub use frame::{Bent, Contact, Frame, Loads, NotSettled};
pub use jack::{JackError, JackPlace, JackPoint, jack_beside_curve, jack_curve};
pub use on_seats::{Movement, OnSeats, SetShape};
pub use sharing::{Hole, NEARLY_ON, WIDEST};
pub use spec::{
    Bearer, Direction, FloorLoad, FrameSpec, Joist, PointLoad, Run, Section, Strength, Timber, Wall,
};
pub use state::{
    Assumption, Carrying, ForceRange, FrameState, Off, SupportLoad, assumptions, state,
};
pub use stations::BESIDE;
pub use timbers::Timbers;
