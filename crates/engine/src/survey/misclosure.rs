//! How far a level line may miss its closing height, and how a miss is spread.

use super::book::ReducedBook;
use crate::ids::PointId;
use crate::source::SourceStatus;
use crate::units::{ExactLength, LENGTH_EPS, Length, Level};
use serde::Serialize;
use std::fmt;

/// A rule for the largest misclosure, with where it comes from.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MisclosureRule {
    /// Short name, by which a job chooses it.
    pub name: String,
    /// How the limit is worked out.
    pub model: MisclosureModel,
    /// What kind of work it is meant for.
    pub intended_for: String,
    /// How it was obtained.
    pub status: SourceStatus,
    /// Where it comes from.
    pub source: String,
}

/// How the limit grows along a line.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum MisclosureModel {
    /// This times the square root of the number of setups.
    PerSetup(Length),
    /// This times the square root of the length in kilometres.
    PerKilometre(Length),
    /// `2 s sqrt(2 n)`: s is the standard deviation of one reading, n the number of setups.
    OwnRepeatability(Length),
}

/// Why a rule gives no limit for a line.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoAllowance {
    /// A line without a setup.
    #[error("the line has no setup")]
    NoSetups,
    /// A rule by length needs the length.
    #[error("the rule {0} goes by length and the length of the line is not known")]
    LengthUnknown(String),
    /// A misclosure that is not a number.
    #[error("the misclosure is not a number")]
    NotFinite,
    /// A length, factor or standard deviation that is not a positive number.
    #[error("the rule {0} needs a positive length and a positive factor")]
    NotPositive(String),
}

/// The verdict on a misclosure.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MisclosureVerdict {
    /// Measured less known.
    pub misclosure: Length,
    /// The largest that the rule allows, either way.
    pub allowed: Length,
    /// The rule.
    pub rule: MisclosureRule,
}

impl MisclosureVerdict {
    /// Whether the line closes within the rule; exactly on the limit is within.
    pub fn is_within(&self) -> bool {
        self.misclosure.abs() <= self.allowed + LENGTH_EPS
    }

    /// How many times the limit the misclosure is (a ratio).
    pub fn times_allowed(&self) -> f64 {
        self.misclosure.abs() / self.allowed
    }
}

impl fmt::Display for MisclosureVerdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let verdict = if self.is_within() { "within" } else { "exceeds" };
        write!(
            f,
            "misclosure {} {verdict} {} ({}; {}: {})",
            self.misclosure, self.allowed, self.rule.name, self.rule.status, self.rule.source
        )
    }
}

/// The largest misclosure that a rule allows.
///
/// # Units and sign
/// The limit holds either way. `length` is that of the whole line; only rules by length use it.
///
/// # Errors
/// [`NoAllowance`] if the rule needs what is not known, or a number is not positive.
pub fn allowed_misclosure(
    rule: &MisclosureRule,
    n_setups: usize,
    length: Option<Length>,
) -> Result<Length, NoAllowance> {
    if n_setups == 0 {
        return Err(NoAllowance::NoSetups);
    }
    let setups = n_setups as f64;
    let allowed = match rule.model {
        MisclosureModel::PerSetup(per_setup) => per_setup * setups.sqrt(),
        MisclosureModel::OwnRepeatability(reading_sd) => reading_sd * 2.0 * (2.0 * setups).sqrt(),
        MisclosureModel::PerKilometre(per_km) => {
            let length = length.ok_or_else(|| NoAllowance::LengthUnknown(rule.name.clone()))?;
            per_km * (length.to_m() / 1000.0).max(0.0).sqrt()
        }
    };
    if allowed.is_finite() && allowed > Length::ZERO {
        Ok(allowed)
    } else {
        Err(NoAllowance::NotPositive(rule.name.clone()))
    }
}

/// Holds a misclosure against a rule.
///
/// # Errors
/// As [`allowed_misclosure`].
pub fn judge_misclosure(
    misclosure: Length,
    rule: &MisclosureRule,
    n_setups: usize,
    length: Option<Length>,
) -> Result<MisclosureVerdict, NoAllowance> {
    let allowed = allowed_misclosure(rule, n_setups, length)?;
    if !misclosure.is_finite() {
        return Err(NoAllowance::NotFinite);
    }
    Ok(MisclosureVerdict { misclosure, allowed, rule: rule.clone() })
}

/// The rule that a house gets unless the job chooses another: 3 mm times the root of the setups.
///
/// A house is 0.02 to 0.1 km, where the rules by length give a limit that does not grow with the
/// number of setups, which is what makes the error.
pub fn house_rule() -> MisclosureRule {
    rule(
        "3 sqrt n",
        MisclosureModel::PerSetup(Length::mm(3.0)),
        "steel and concrete set-out; the default for house floors",
        SourceStatus::Confirmed,
        "university surveying course notes SKAA 1023, precision of levelling",
    )
}

/// The rule from the builder's own field test: `2 s sqrt(2 n)`.
pub fn own_repeatability_rule(reading_sd: Length) -> MisclosureRule {
    rule(
        "own repeatability",
        MisclosureModel::OwnRepeatability(reading_sd),
        "house floors, from the instrument's own test",
        SourceStatus::Derived,
        "2 s sqrt(2 n), s the standard deviation of one reading",
    )
}

/// Every rule that is on file, the default first.
pub fn misclosure_rules() -> Vec<MisclosureRule> {
    use MisclosureModel::{PerKilometre, PerSetup};
    use SourceStatus::{Confirmed, Derived, Memory, SecondHand};
    const NOTES: &str = "university surveying course notes SKAA 1023, precision of levelling";
    const IS_5529: &str = "summary of IS 5529-3:1974, verify";
    const GERMAN: &str = "teaching web page on German practice, verify";
    const FGCC: &str = "FGCC Standards and Specifications 1984, section 3.5, from memory, verify";
    let mm = Length::mm;
    let mut rules = vec![
        house_rule(),
        rule("5 sqrt n", PerSetup(mm(5.0)), "construction, general", Confirmed, NOTES),
        rule("30 sqrt n", PerSetup(mm(30.0)), "earthworks", Confirmed, NOTES),
        rule(
            "4 sqrt K",
            PerKilometre(mm(4.0)),
            "first order, two runs of a section",
            Confirmed,
            "Division of National Mapping, Australia, first-order levelling",
        ),
        rule(
            "8.4 sqrt K",
            PerKilometre(mm(8.4)),
            "second order; a run more than 9 sqrt K from the mean is rejected",
            Confirmed,
            "US Army correspondence course EN0593 p. 4-4",
        ),
        rule("high-precision", PerKilometre(mm(4.0)), "high-precision", SecondHand, IS_5529),
        rule("precise", PerKilometre(mm(8.0)), "precise", SecondHand, IS_5529),
        rule("secondary", PerKilometre(mm(24.0)), "secondary", SecondHand, IS_5529),
        rule("10 sqrt K", PerKilometre(mm(10.0)), "construction", SecondHand, GERMAN),
        rule("15 sqrt K", PerKilometre(mm(15.0)), "construction", SecondHand, GERMAN),
        rule(
            "12 sqrt K",
            PerKilometre(mm(12.0)),
            "third order, ordinary work",
            SecondHand,
            "several public codes, verify",
        ),
        rule(
            "0.05 ft sqrt miles",
            PerKilometre(Length::inches(0.05 * 12.0) / MILE_IN_KM.sqrt()),
            "third order",
            Derived,
            "second-hand rule 0.05 ft sqrt(miles), verify; converted to kilometres",
        ),
    ];
    let orders = ["1-I", "1-II", "2-I", "2-II", "3"];
    for (kind, factors) in
        [("loop", [4.0, 5.0, 6.0, 8.0, 12.0]), ("section", [3.0, 4.0, 6.0, 8.0, 12.0])]
    {
        for (order, factor) in orders.into_iter().zip(factors) {
            rules.push(rule(
                &format!("FGCC {kind} {order}"),
                PerKilometre(mm(factor)),
                &format!("order {order}, {kind}"),
                Memory,
                FGCC,
            ));
        }
    }
    rules
}

/// The international mile is 1.609344 km by definition.
const MILE_IN_KM: f64 = 1.609_344;

fn rule(
    name: &str,
    model: MisclosureModel,
    intended_for: &str,
    status: SourceStatus,
    source: &str,
) -> MisclosureRule {
    MisclosureRule {
        name: name.to_owned(),
        model,
        intended_for: intended_for.to_owned(),
        status,
        source: source.to_owned(),
    }
}

/// What the misclosure is spread by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum SpreadBy {
    /// Equal parts to the setups; a point takes the part of the setup it was read from.
    Setups,
    /// In proportion to the distance along the line.
    Distance,
}

/// What the builder says to a misclosure beyond the rule.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum BeyondLimit {
    /// No spread: the line is to be read again.
    #[default]
    Refuse,
    /// The builder knows, and wants it spread all the same.
    Accept,
}

/// One row of the spread column.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SpreadRow {
    /// The point.
    pub point: PointId,
    /// Added to the level as measured.
    pub correction: Length,
    /// The level after that.
    pub level: Level,
}

/// Why the spread column is not offered.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoSpread {
    /// Nothing to close on.
    #[error("the book has no known closing height")]
    NoKnownClose,
    /// An arithmetic check of the builder's own columns fails.
    #[error("the levels as written fail an arithmetic check")]
    WrittenFails,
    /// The verdict is on some other line.
    #[error("the verdict is on a misclosure of {0}, the book closes to {1}")]
    OtherVerdict(Length, Length),
    /// The line has to be read again, or the builder has to accept it.
    #[error("misclosure {misclosure} is beyond the {allowed} allowed")]
    Beyond {
        /// Measured less known.
        misclosure: Length,
        /// The largest allowed.
        allowed: Length,
    },
    /// A spread by distance needs each distance.
    #[error("row {0} has no distance, or one that is shorter than the row before")]
    NoDistance(usize),
}

/// Spreads the misclosure of a level book over its points.
///
/// # Units and sign
/// Correction and level as everywhere: up is positive. The last point ends on its known height.
///
/// # Errors
/// [`NoSpread`]; above all [`NoSpread::Beyond`] when the misclosure exceeds the rule and the
/// builder has not accepted that.
///
/// # References
/// Both are least squares on a single line: by setups with a standard deviation that grows with
/// the root of the setups, by distance with the root of the length.
pub fn spread_misclosure(
    reduced: &ReducedBook,
    verdict: &MisclosureVerdict,
    by: SpreadBy,
    beyond: BeyondLimit,
) -> Result<Vec<SpreadRow>, NoSpread> {
    let misclosure = reduced.misclosure.ok_or(NoSpread::NoKnownClose)?.to_length();
    if (misclosure - verdict.misclosure).abs() > LENGTH_EPS {
        return Err(NoSpread::OtherVerdict(verdict.misclosure, misclosure));
    }
    if reduced.written.as_ref().is_some_and(|written| !written.holds()) {
        return Err(NoSpread::WrittenFails);
    }
    if !verdict.is_within() && beyond == BeyondLimit::Refuse {
        return Err(NoSpread::Beyond { misclosure, allowed: verdict.allowed });
    }
    let corrections = match by {
        SpreadBy::Setups => {
            let setups: Vec<usize> = reduced.rows.iter().map(|row| row.setup).collect();
            spread_by_setups(misclosure, &setups, reduced.setups.len())
        }
        SpreadBy::Distance => spread_by_distance(misclosure, &distances(reduced)?),
    };
    Ok(reduced
        .rows
        .iter()
        .zip(corrections)
        .map(|(row, correction)| SpreadRow {
            point: row.point.clone(),
            correction,
            level: level_of(row.level) + correction,
        })
        .collect())
}

fn distances(reduced: &ReducedBook) -> Result<Vec<Length>, NoSpread> {
    let mut so_far = Length::ZERO;
    let mut distances = Vec::with_capacity(reduced.rows.len());
    for (row_idx, row) in reduced.rows.iter().enumerate() {
        let distance =
            if row_idx == 0 { row.distance.or(Some(Length::ZERO)) } else { row.distance };
        match distance {
            Some(distance) if distance.is_finite() && distance >= so_far => so_far = distance,
            _ => return Err(NoSpread::NoDistance(row_idx + 1)),
        }
        distances.push(so_far);
    }
    if so_far > Length::ZERO { Ok(distances) } else { Err(NoSpread::NoDistance(distances.len())) }
}

/// Corrections in equal parts to the setups.
///
/// `setups` holds for each point the setup it was read from, from 1; 0 for the known first point.
pub fn spread_by_setups(misclosure: Length, setups: &[usize], n_setups: usize) -> Vec<Length> {
    if n_setups == 0 {
        return vec![Length::ZERO; setups.len()];
    }
    setups.iter().map(|&setup| -misclosure * (setup as f64 / n_setups as f64)).collect()
}

/// Corrections in proportion to the distance along the line; the last point takes the whole.
/// Nothing is spread over distances that do not end on a positive length.
pub fn spread_by_distance(misclosure: Length, distances: &[Length]) -> Vec<Length> {
    let total = distances.last().copied().unwrap_or_default();
    let can_spread = total > Length::ZERO && distances.iter().all(|distance| distance.is_finite());
    let correction = |&distance: &Length| {
        if can_spread { -misclosure * (distance / total) } else { Length::ZERO }
    };
    distances.iter().map(correction).collect()
}

/// The level of an exact height above the datum.
fn level_of(height: ExactLength) -> Level {
    Level::DATUM + height.to_length()
}
