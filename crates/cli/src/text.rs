//! Text for a terminal.

pub mod table;
pub mod words;
