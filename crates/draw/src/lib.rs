//! Pictures of a floor: the map of departures from the target, the lifts, a section, the passes,
//! who carries what, the force at a jack, how near the work comes to its limits, and where to stand
//! with a hose, as SVG text for paper or a phone, and a map for a terminal.
//!
//! # Rules of every picture
//! - The sign of a departure is shown three ways: a signed number, a symbol (triangle up, triangle
//!   down, dot) and a colour. A black and white print says as much as a coloured one.
//! - Colours are symmetric about the target, with class edges at round millimetres. Pictures drawn
//!   with one [`ColourScale`] have one legend: make it once for before and after.
//! - Labels never overlap one another, nor a symbol. A label that finds no room stands on a leader;
//!   one that finds none even so is left out, and the sheet says which.
//! - More labels than a picture has room for are not tried: the sheet says so, and that the tables
//!   hold the numbers.
//! - Where a frame rocks no force is drawn.
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
mod carried;
mod chart;
mod classes;
mod clip;
mod floor;
mod labels;
mod lift;
mod from_plan;
mod from_job;
mod from_stands;
mod jack;
mod number;
mod passes;
mod picture;
mod plan;
mod profile;
mod sheet;
mod site;
mod stands;
mod terminal;
mod text;
mod tiles;
mod way;

pub use carried::carried_map;
pub use classes::{ColourScale, PALETTE, Rgb};
pub use floor::floor_map;
pub use from_job::PROGRAM;
pub use from_plan::PlanPictures;
pub use jack::jack_chart;
pub use lift::lift_map;
pub use number::{Decimals, Print};
pub use passes::pass_map;
pub use picture::{
    CarriedPicture, CarriedState, Contour, FloorPicture, FloorPoint, FrameLine, Holding, JackAt,
    JackLimit, JackLine, JackPicture, JackRise, LetGo, LiftPicture, LineKind, Medium, Move,
    Orientation, Paper, PassForces, PassPicture, PassStep, ProfilePicture, ProfilePoint,
    ProfileSupport, Revision, RoomOutline, ShadedCell, ShareAt, Side, SupportHolding, SupportMark,
    TitleBlock, WayMove, WayPicture,
};
pub use profile::profile;
pub use site::{BackdropPicture, SiteMark, SiteMarkKind, SitePicture, site_map};
pub use stands::{StandMark, StandPoint, StandsPicture, stands_map};
pub use terminal::terminal_map;
pub use way::way_chart;
