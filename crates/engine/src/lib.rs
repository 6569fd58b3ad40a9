//! The mathematics of bringing an old timber floor to one height.
//!
//! Readings become levels with their uncertainty ([`survey`]), levels become the shape of the
//! floor ([`surface`]) and are held against criteria ([`verdict`]); bearers, joists and loads
//! become what each support carries and what a lift there does ([`frame`]); a goal becomes a lift at
//! each support ([`target`]), a lift becomes a stack of packers ([`packers`]) and an order of
//! passes whose every move was checked ([`passes`]); a plan becomes an order and a price ([`bill`]), and what is done of it is
//! held against what came of it ([`record`]).
//!
//! # Words
//! *Support*: stump, pile, pier or post under a bearer. *Bearer*: the timber that rests on the
//! supports. *Joist*: the timber that crosses the bearers and carries the floor. *Packer*: a
//! piece put between support and bearer. *Lift*: how far the bearer is raised at a support.
//! *Pass*: one round of lifting, after which the floor is read again. *Datum*: what levels are
//! counted from. *Benchmark*: a mark of known level that does not move with the house.
//! *Setup*: one standing of the instrument. *Reading*: the graduation at the line of sight or
//! the water line, on a staff whose foot stands on a point; so `level = line - reading`.
//!
//! # Units and sign
//! Levels and lifts are up positive. Plan positions are x right and y up the page. Every
//! quantity has a type that names its unit where it goes in and where it comes out.
//!
//! # What it does not do
//! It does not design footings, judge timber or replace an engineer. It knows no files, clock,
//! network, threads or randomness: the same job gives the same answer.

pub mod units;
pub mod ids;
pub mod source;
pub mod settings;
pub mod site;
pub mod backdrop;
pub mod survey;
pub mod hose;
mod boxes;
pub mod mesh;
pub mod surface;
pub mod verdict;
pub mod frame;
pub mod influence;
pub mod target;
pub mod packers;
pub mod passes;
pub mod plan;
pub mod bill;
pub mod record;
