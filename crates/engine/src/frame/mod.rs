//! The frame under the floor: what carries what, and what a lift at a support takes and does.

mod spec;
mod faults;
mod complete;
mod checks;
mod sharing;
mod stations;
mod skyline;
mod stiffness;
mod places;
mod response;
mod contact;
#[expect(clippy::module_inception, reason = "the frame itself is the heart of its module")]
mod frame;
mod on_seats;
mod jack;

pub use complete::{FrameRules, GivenFrame, JoistSet, ProposalFault};
pub use faults::FrameFault;
pub use frame::{Bent, Contact, Frame, Loads, NotSettled};
pub use jack::{JackPoint, jack_curve};
pub use on_seats::{OnSeats, SetShape};
pub use sharing::NEARLY_ON;
pub use spec::{
    Bearer, Direction, FloorLoad, FrameSpec, Joist, PointLoad, Run, Section, Strength, Timber, Wall,
};
pub use stations::BESIDE;
