//! Pictures of a floor: the map of departures from the target, the lifts, a section, the passes,
//! as SVG text for paper or a phone, and a map for a terminal.
//!
//! # Rules of every picture
//! - The sign of a departure is shown three ways: a signed number, a symbol (triangle up, triangle
//!   down, dot) and a colour. A black and white print says as much as a coloured one.
//! - Colours are symmetric about the target, with class edges at round millimetres. Pictures drawn
//!   with one [`ColourScale`] have one legend: make it once for before and after.
//! - Labels never overlap one another, nor a symbol. A label that finds no room stands on a leader;
//!   one that finds none even so is left out, and the sheet says which.
//! - Sheets are to scale, 1, 2 or 5 times a power of ten (ISO 5455, second-hand), with a scale bar
//!   and a bar of 100 mm to check the print by. Text is at least 2.5 mm high.
//! - North or the street is shown as declared, and never invented.
//! - The same values give the same bytes.
//!
//! # Units and sign
//! Departures are levels above the target, up positive; lifts are up positive. Plan positions are
//! x right and y up the page.
//!
//! # What it does not do
//! It knows no files, fonts or clock, and does no arithmetic but geometry and rounding: the date, the
//! contours and the shading come in as values.

mod canvas;
mod classes;
mod clip;
mod floor;
mod labels;
mod lift;
mod from_plan;
mod number;
mod passes;
mod picture;
mod plan;
mod profile;
mod sheet;
mod terminal;
mod text;

pub use classes::{ColourScale, PALETTE, Rgb};
pub use floor::floor_map;
pub use from_plan::PlanPictures;
pub use lift::lift_map;
pub use number::{Decimals, Print};
pub use passes::pass_map;
pub use picture::{
    Contour, FloorPicture, FloorPoint, LiftPicture, Medium, Move, Orientation, Paper, PassPicture,
    PassStep, ProfilePicture, ProfilePoint, ProfileSupport, Revision, RoomOutline, ShadedCell,
    Side, SupportMark, TitleBlock,
};
pub use profile::profile;
pub use terminal::terminal_map;
