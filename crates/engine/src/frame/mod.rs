//! The frame under the floor: what carries what, and what a lift at a support takes and does.

mod spec;
mod faults;
mod complete;

pub use complete::{FrameRules, GivenFrame, JoistSet, ProposalFault};
pub use faults::FrameFault;
pub use spec::{
    Bearer, Direction, FloorLoad, FrameSpec, Joist, PointLoad, Run, Section, Strength, Timber, Wall,
};
