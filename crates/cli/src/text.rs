//! Text for a terminal.

pub mod table;
