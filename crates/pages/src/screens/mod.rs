//! The screens, in the order of the work.

pub mod jobs;
pub mod home;
pub mod hose;
pub mod site;
pub mod readings;
pub mod devices;
pub mod floor;
pub mod lift;
pub mod notes;
pub mod passes;
pub mod order;
pub mod paper;
