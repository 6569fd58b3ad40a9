//! The shape of the floor.

mod neighbours;

pub use neighbours::{LevelAt, NeighbourSettings, OddPoint, likely_readings, odd_points};
