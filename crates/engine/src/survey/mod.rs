//! From readings to levels with their uncertainty.
//!
//! [`reduce`] takes a [`Survey`] as it was written down to a [`Reduction`]: levels with the
//! covariance of any pair, what each spare reading says of the others, and what to read again.

mod input;
mod levels;
mod fault;
mod equations;
mod network;
mod dense;
mod sparse;
mod adjust;
mod quantiles;
mod loops;
mod drift;
mod suspects;
mod repeated;
mod doubts;
mod reduction;
mod reduce;
mod book;
mod book_checks;
mod book_faults;
mod misclosure;
mod base_drift;
mod field_test;
#[cfg(test)]
mod properties;
#[cfg(test)]
mod tests;
mod uncontrolled;

pub use base_drift::{
    DriftError, EvenDrift, PiecewiseDifference, TimedReading, even_drift, needs_piecewise,
    piecewise_differences,
};
pub use book::{
    BookRow, BookSetup, LevelBook, ReducedBook, ReducedRow, Sight, Written, book_from_list,
    book_setups, reduce_book,
};
pub use book_checks::{ArithmeticCheck, BookSums, CheckKind, Slip, WrittenCheck, WrittenColumn};
pub use book_faults::{BookFault, MAX_BOOK_LEVEL, MAX_BOOK_READING, MAX_BOOK_ROWS, RowFault};
pub use dense::{Fit, FitError, least_squares};
pub use doubts::SetupDoubt;
pub use fault::{DriftRefusal, SurveyFault};
pub use field_test::{
    Collimation, FIELD_TEST_SOURCE, FULL_PAIRS, FieldTestError, FullTest, MEANS_WITHIN,
    SIMPLIFIED_PAIRS, SimplifiedTest, double_run_km_factor, full_level_test, sd_ratio_limit,
    simplified_level_test, staff_zero_factor, two_peg_test, variance_ratio_limits,
};
pub use input::{
    Benchmark, Datum, Drift, Leg, LegWeight, Reading, ReadingSd, SdTrust, Setup, SourcePlace,
    Survey, TestSettings,
};
pub use levels::{Levels, PointLevel};
pub use loops::{Loop, LoopLeg};
pub use misclosure::{
    BeyondLimit, MisclosureModel, MisclosureRule, MisclosureVerdict, NoAllowance, NoSpread,
    SpreadBy, SpreadRow, allowed_misclosure, house_rule, judge_misclosure, misclosure_rules,
    own_repeatability_rule, spread_by_distance, spread_by_setups, spread_misclosure,
};
pub use quantiles::{
    chi_squared_quantile, detectable_shift, global_critical, normal_quantile, student_quantile,
    tau_critical, w_critical,
};
pub use reduce::reduce;
pub use reduction::{
    Check, Control, Difference, DriftFound, DriftLine, DriftPieces, GlobalTest, LineLevel,
    Observation, ObservationName, ObservationSource, Part, PartHeight, PieceReading, Reduction,
    SetupLine,
};
pub use repeated::{
    DRIES_AT_MOST, MINUTES_BETWEEN, POINTS_BETWEEN, alike_within, root_sum_of_squares,
    something_moved,
};
pub use suspects::{Alike, Alternative, Suspect};
pub use uncontrolled::Uncontrolled;
