//! From readings to levels with their uncertainty.

mod book;
mod book_checks;
mod base_drift;
mod field_test;
mod input;
mod levels;
mod misclosure;

pub use input::{
    Benchmark, Datum, Drift, Leg, LegWeight, Reading, ReadingSd, SdTrust, Setup, SourcePlace,
    Survey, TestSettings,
};
pub use levels::{Levels, PointLevel};

pub use book::{
    BookFault, BookRow, BookSetup, LevelBook, MAX_BOOK_LEVEL, MAX_BOOK_READING, MAX_BOOK_ROWS,
    ReducedBook, ReducedRow, RowFault, Sight, Written, book_from_list, book_setups, reduce_book,
};
pub use book_checks::{ArithmeticCheck, BookSums, CheckKind, Slip, WrittenCheck, WrittenColumn};
pub use base_drift::{
    DriftError, EvenDrift, PiecewiseDifference, TimedReading, even_drift, needs_piecewise,
    piecewise_differences,
};
pub use field_test::{
    Collimation, FIELD_TEST_SOURCE, FULL_PAIRS, FieldTestError, FullTest, MEANS_WITHIN,
    SIMPLIFIED_PAIRS, SimplifiedTest, double_run_km_factor, full_level_test, sd_ratio_limit,
    simplified_level_test, staff_zero_factor, two_peg_test, variance_ratio_limits,
};
pub use misclosure::{
    BeyondLimit, MisclosureModel, MisclosureRule, MisclosureVerdict, NoAllowance, NoSpread,
    SpreadBy, SpreadRow, allowed_misclosure, house_rule, judge_misclosure, misclosure_rules,
    own_repeatability_rule, spread_by_distance, spread_by_setups, spread_misclosure,
};
