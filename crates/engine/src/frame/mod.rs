//! The frame under the floor: what carries what, and what a lift at a support takes and does.

mod spec;
mod faults;
mod complete;
mod checks;
mod sharing;
mod stations;
mod straight;
mod skyline;
mod stiffness;
mod places;
mod response;
mod contact;
#[expect(clippy::module_inception, reason = "the frame itself is the heart of its module")]
mod frame;
mod on_seats;
mod jack;
mod state;

pub use complete::{FrameRules, GivenFrame, JoistSet, ProposalFault, complete};
pub use faults::FrameFault;
pub use frame::{Bent, Contact, Frame, Loads, NotSettled};
pub use jack::{JackError, JackPlace, JackPoint, jack_beside_curve, jack_curve};
pub use on_seats::{OnSeats, SetShape};
pub use sharing::NEARLY_ON;
pub use spec::{
    Bearer, Direction, FloorLoad, FrameSpec, Joist, PointLoad, Run, Section, Strength, Timber, Wall,
};
pub use state::{
    Assumption, Carrying, ForceRange, FrameState, Off, SupportLoad, assumptions, state,
};
pub use stations::BESIDE;
