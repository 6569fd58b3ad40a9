//! Holding the floor against a criterion: meets, does not meet, or cannot tell.
//!
//! A [`Criterion`] carries its source wherever it goes. [`judge`] answers with the points that
//! decide, their value, its uncertainty and the limit. The decision keeps a guard band: a floor
//! meets a limit if value plus uncertainty is within it, and does not if value less uncertainty
//! is beyond it; between the two nobody can tell from these readings.
//!
//! # References
//! Guard band equal to the expanded uncertainty, k = 2 for about 95 %: ILAC-G8:09/2019 4.2.3
//! (second-hand).

mod criterion;
mod decide;
mod f_numbers;
mod measure;
mod pairs;
mod parts;

pub use criterion::{
    Criterion, CriterionFault, CriterionKind, CriterionText, Measure, MinApart, NeedsSource, Scope,
    Switch,
};
pub use decide::{COVERAGE, Finding, Guard, Outcome, PartVerdict, Verdict, guard, judge};
pub use f_numbers::{
    F_NUMBER_SOURCE, FNumber, MIN_F_READINGS, NoFNumber, combine_f_numbers, flatness, levelness,
};
pub use parts::{LeftOut, Part, PartName, Parts, parts_of, room_of};
