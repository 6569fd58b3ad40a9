//! Lengths as people write them, and back.
//!
//! A length is text such as `1612`, `1.612 m`, `161.2cm`, `5' 3 7/16"`, `5-3-7/16`, `63 7/16` or
//! `63.4375"`. A bare number takes the unit that the caller names. Nothing is rounded on the way
//! in that fits in whole nanometres: a 64th of an inch is 396,875 nm.

use floorwright_engine::units::ExactLength;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

const NM_PER_MM: i128 = 1_000_000;
const NM_PER_INCH: i128 = 25_400_000;
const NM_PER_SIXTY_FOURTH: i64 = 396_875;
/// More than this is no length on a building site: 1,000 km.
const LARGEST_NM: i128 = 1_000_000_000_000_000;

/// The unit that a bare number takes, and in which lengths are printed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Unit {
    /// Millimetres.
    #[default]
    #[serde(rename = "mm")]
    Millimetres,
    /// Metres.
    #[serde(rename = "m")]
    Metres,
    /// Feet, inches and fractions of an inch; a bare number is inches.
    #[serde(rename = "ft-in")]
    FeetInches,
}

/// What stands between the whole part and the decimals.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum DecimalMark {
    /// `1.379`
    #[default]
    Point,
    /// `1,379`, in files whose columns are separated by semicolons.
    Comma,
}

/// Why a text is not a length.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum MeasureError {
    /// Nothing was written.
    #[error("nothing is written")]
    Empty,
    /// A decimal comma where a comma could as well part thousands.
    #[error("the comma could be a decimal mark or part thousands")]
    Comma,
    /// A point in a file with decimal commas.
    #[error("a decimal point in a file with decimal commas")]
    PointAmongCommas,
    /// `5-3`: five feet three, or a range?
    #[error("two numbers joined by a dash can be read in two ways")]
    Dash,
    /// A fraction without an inch mark in a metric job.
    #[error("a fraction without an inch mark in a metric job")]
    BareFraction,
    /// A fraction that no tape has.
    #[error("the fraction {0}/{1} is not in halves to sixty-fourths below one")]
    Fraction(u64, u64),
    /// Twelve inches or more beside feet.
    #[error("there are 12 or more inches beside the feet")]
    TooManyInches,
    /// More than 1,000 km.
    #[error("it is longer than 1,000 km")]
    TooLong,
    /// Anything else.
    #[error("this is not a length")]
    NotALength,
}

impl MeasureError {
    /// What to write instead.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Empty => "write a number, or leave the entry out",
            Self::Comma => {
                "write 1379 or 1.379; decimal commas are read only where columns are separated by semicolons"
            }
            Self::PointAmongCommas => "use commas or points for the decimals of one file, not both",
            Self::Dash => "write 5' 3\" for five feet three inches",
            Self::BareFraction => "write 63 7/16\" with its inch mark, or set units = \"ft-in\"",
            Self::Fraction(..) => {
                "write the fraction in halves, quarters, eighths, 16ths, 32nds or 64ths"
            }
            Self::TooManyInches => "write the inches alone, or carry the twelve over to the feet",
            Self::TooLong => "check the unit",
            Self::NotALength => {
                "write for example 1612, 1.612 m, 161.2 cm, 5' 3 7/16\" or 63.4375\""
            }
        }
    }
}

/// A number without rounding: `digits / 10^decimals`.
#[derive(Clone, Copy)]
struct Decimal {
    digits: i128,
    scale: i128,
    whole: bool,
}

/// Reads a length.
///
/// `bare` is the unit of a number that has none.
///
/// # Units and sign
/// Inches are of 25.4 mm. A leading minus makes the whole length negative. What does not fit in
/// whole nanometres is rounded to the nearest, half away from zero.
///
/// # Errors
/// [`MeasureError`] says what is wrong; its hint says what to write. Never panics.
///
/// # Examples
/// ```
/// use floorwright_engine::units::ExactLength;
/// use floorwright_job::measure::{DecimalMark, Unit, parse_length};
/// let read = |text| parse_length(text, Unit::Millimetres, DecimalMark::Point);
/// assert_eq!(read("1.612 m"), read("1612"));
/// assert_eq!(read("5' 3 7/16\"").unwrap(), ExactLength::nm(1_611_312_500));
/// ```
pub fn parse_length(
    text: &str,
    bare: Unit,
    mark: DecimalMark,
) -> Result<ExactLength, MeasureError> {
    let plain = plain_marks(text);
    let trimmed = plain.trim();
    if trimmed.is_empty() {
        return Err(MeasureError::Empty);
    }
    let (negative, body) = match trimmed.strip_prefix('-') {
        Some(rest) => (true, rest.trim_start()),
        None => (false, trimmed.strip_prefix('+').unwrap_or(trimmed).trim_start()),
    };
    let nm = magnitude_nm(body, bare, mark)?;
    if nm > LARGEST_NM {
        return Err(MeasureError::TooLong);
    }
    let nm = i64::try_from(nm).map_err(|_| MeasureError::TooLong)?;
    Ok(ExactLength::nm(if negative { -nm } else { nm }))
}

/// Typographic marks as a keyboard has them; fractions in one character as three.
fn plain_marks(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '\u{2032}' | '\u{2019}' => plain.push('\''),
            '\u{2033}' | '\u{201d}' => plain.push('"'),
            '\u{2212}' => plain.push('-'),
            '\u{2044}' => plain.push('/'),
            '\u{a0}' | '\u{202f}' | '\u{2009}' | '\t' => plain.push(' '),
            '\u{bc}' => plain.push_str(" 1/4"),
            '\u{bd}' => plain.push_str(" 1/2"),
            '\u{be}' => plain.push_str(" 3/4"),
            '\u{215b}' => plain.push_str(" 1/8"),
            '\u{215c}' => plain.push_str(" 3/8"),
            '\u{215d}' => plain.push_str(" 5/8"),
            '\u{215e}' => plain.push_str(" 7/8"),
            other => plain.extend(other.to_lowercase()),
        }
    }
    plain.replace("''", "\"")
}

fn magnitude_nm(body: &str, bare: Unit, mark: DecimalMark) -> Result<i128, MeasureError> {
    for (suffix, unit_nm) in [("mm", NM_PER_MM), ("cm", 10 * NM_PER_MM), ("m", 1000 * NM_PER_MM)] {
        if let Some(number) = body.strip_suffix(suffix) {
            return times(decimal(number.trim_end(), mark)?, unit_nm);
        }
    }
    if let Some((feet, rest)) = split_feet(body) {
        return feet_and_inches_nm(feet, rest, mark);
    }
    if let Some(inches) = strip_inch_mark(body) {
        return inches_nm(inches, mark);
    }
    match body.split('-').collect::<Vec<_>>()[..] {
        [feet, inches, fraction] => {
            let feet = whole(feet.trim())?;
            let inches = whole(inches.trim())?;
            if inches >= 12 {
                return Err(MeasureError::TooManyInches);
            }
            return Ok((feet * 12 + inches) * NM_PER_INCH + fraction_nm(fraction.trim())?);
        }
        [first, second] if whole(first.trim()).is_ok() && whole(second.trim()).is_ok() => {
            return Err(MeasureError::Dash);
        }
        _ => {}
    }
    if body.contains('/') {
        let nm = inches_nm(body, mark)?;
        return if bare == Unit::FeetInches { Ok(nm) } else { Err(MeasureError::BareFraction) };
    }
    let unit_nm = match bare {
        Unit::Millimetres => NM_PER_MM,
        Unit::Metres => 1000 * NM_PER_MM,
        Unit::FeetInches => NM_PER_INCH,
    };
    times(decimal(body, mark)?, unit_nm)
}

fn split_feet(body: &str) -> Option<(&str, &str)> {
    body.split_once('\'')
        .or_else(|| body.split_once("ft"))
        .map(|(feet, rest)| (feet.trim_end(), rest.trim_start().trim_start_matches('-').trim()))
}

fn strip_inch_mark(body: &str) -> Option<&str> {
    ["\"", "inches", "inch", "in"]
        .iter()
        .find_map(|mark| body.strip_suffix(mark))
        .map(str::trim_end)
}

fn feet_and_inches_nm(feet: &str, rest: &str, mark: DecimalMark) -> Result<i128, MeasureError> {
    let feet = decimal(feet, mark)?;
    if rest.is_empty() {
        return times(feet, 12 * NM_PER_INCH);
    }
    if !feet.whole {
        return Err(MeasureError::NotALength);
    }
    let inches = inches_nm(strip_inch_mark(rest).unwrap_or(rest), mark)?;
    if inches >= 12 * NM_PER_INCH {
        return Err(MeasureError::TooManyInches);
    }
    times(feet, 12 * NM_PER_INCH)?.checked_add(inches).ok_or(MeasureError::TooLong)
}

/// `3`, `3.5`, `7/16`, `3 7/16` or `3-7/16`.
fn inches_nm(text: &str, mark: DecimalMark) -> Result<i128, MeasureError> {
    if !text.contains('/') {
        return times(decimal(text, mark)?, NM_PER_INCH);
    }
    let Some((inches, fraction)) = text.trim().rsplit_once([' ', '-']) else {
        return fraction_nm(text.trim());
    };
    Ok(whole(inches.trim())? * NM_PER_INCH + fraction_nm(fraction)?)
}

fn fraction_nm(text: &str) -> Result<i128, MeasureError> {
    let (above, below) = text.split_once('/').ok_or(MeasureError::NotALength)?;
    let (above, below) = (whole(above.trim())?, whole(below.trim())?);
    if ![2, 4, 8, 16, 32, 64].contains(&below) || above >= below {
        let shown = |number: i128| u64::try_from(number).unwrap_or(u64::MAX);
        return Err(MeasureError::Fraction(shown(above), shown(below)));
    }
    Ok(above * NM_PER_INCH / below)
}

fn whole(text: &str) -> Result<i128, MeasureError> {
    if text.is_empty() || text.len() > 15 || !text.bytes().all(|byte| byte.is_ascii_digit()) {
        return Err(MeasureError::NotALength);
    }
    text.parse().map_err(|_| MeasureError::NotALength)
}

fn decimal(text: &str, mark: DecimalMark) -> Result<Decimal, MeasureError> {
    let separator = match mark {
        DecimalMark::Point => '.',
        DecimalMark::Comma => ',',
    };
    let numeric = |text: &str| {
        text.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.' || byte == b',')
            && text.bytes().any(|byte| byte.is_ascii_digit())
    };
    if !numeric(text) {
        return Err(MeasureError::NotALength);
    }
    if mark == DecimalMark::Point && text.contains(',') {
        return Err(MeasureError::Comma);
    }
    if mark == DecimalMark::Comma && text.contains('.') {
        return Err(MeasureError::PointAmongCommas);
    }
    let (before, after) = text.split_once(separator).unwrap_or((text, ""));
    if after.contains(separator) {
        return Err(MeasureError::NotALength);
    }
    if before.len() > 15 {
        return Err(MeasureError::TooLong);
    }
    let decimals = &after[..after.len().min(12)];
    let digits = format!("{before}{decimals}").parse().map_err(|_| MeasureError::NotALength)?;
    let scale = 10_i128.pow(decimals.len() as u32);
    Ok(Decimal { digits, scale, whole: after.is_empty() })
}

fn times(number: Decimal, unit_nm: i128) -> Result<i128, MeasureError> {
    let product = number.digits.checked_mul(unit_nm).ok_or(MeasureError::TooLong)?;
    Ok((product + number.scale / 2) / number.scale)
}

/// Reads a slope as a ratio: `1 in 300`, `1:300`, `0.3 %`, `3 mm/m`, or a number of mm per m.
///
/// # Examples
/// ```
/// use floorwright_job::measure::parse_slope;
/// assert_eq!(parse_slope("1 in 500"), Some(0.002));
/// assert_eq!(parse_slope("2 mm per m"), Some(0.002));
/// assert_eq!(parse_slope("steep"), None);
/// ```
pub fn parse_slope(text: &str) -> Option<f64> {
    let number = |text: &str| {
        let text = text.trim();
        let plain =
            text.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.') && text.len() < 20;
        if plain { text.parse::<f64>().ok() } else { None }
    };
    let text = text.trim().to_lowercase();
    if let Some((rise, run)) = text.split_once("in").or_else(|| text.split_once(':')) {
        let run = number(run)?;
        return if run > 0.0 { Some(number(rise)? / run) } else { None };
    }
    if let Some(percent) = text.strip_suffix('%') {
        return Some(number(percent)? / 100.0);
    }
    let mm_per_m =
        ["mm per m", "mm/m"].iter().find_map(|unit| text.strip_suffix(unit)).unwrap_or(&text);
    Some(number(mm_per_m)? / 1000.0)
}

/// Writes a length so that reading it gives the same length back.
///
/// Feet and inches are used where the length is a whole number of 64ths; a length that is not
/// stays in millimetres, with as many decimals as it has.
///
/// # Examples
/// ```
/// use floorwright_engine::units::ExactLength;
/// use floorwright_job::measure::{Unit, exact};
/// let length = ExactLength::nm(1_611_312_500);
/// assert_eq!(exact(length, Unit::FeetInches), "5' 3 7/16\"");
/// assert_eq!(exact(length, Unit::Millimetres), "1611.3125 mm");
/// assert_eq!(exact(length, Unit::Metres), "1.6113125 m");
/// ```
pub fn exact(length: ExactLength, unit: Unit) -> String {
    let nm = length.to_nm();
    match unit {
        Unit::FeetInches if nm % NM_PER_SIXTY_FOURTH == 0 => length.feet_and_inches(64),
        Unit::Metres => decimals(nm, 9) + " m",
        Unit::Millimetres | Unit::FeetInches => decimals(nm, 6) + " mm",
    }
}

/// Writes a length for print: millimetres with one decimal, metres with three, feet and inches to
/// the nearest sixteenth. Halves go away from zero.
///
/// # Examples
/// ```
/// use floorwright_engine::units::ExactLength;
/// use floorwright_job::measure::{Unit, rounded};
/// let length = ExactLength::nm(1_611_450_000);
/// assert_eq!(rounded(length, Unit::Millimetres), "1611.5 mm");
/// assert_eq!(rounded(length, Unit::Metres), "1.611 m");
/// assert_eq!(rounded(length, Unit::FeetInches), "5' 3 7/16\"");
/// ```
pub fn rounded(length: ExactLength, unit: Unit) -> String {
    let to_step = |step: i64| {
        let nm = length.to_nm();
        let steps = (nm.unsigned_abs() + step.unsigned_abs() / 2) / step.unsigned_abs();
        i64::try_from(steps).unwrap_or(i64::MAX) * nm.signum()
    };
    match unit {
        Unit::Millimetres => {
            let tenths = to_step(100_000);
            format!("{}{}.{} mm", minus(tenths), tenths.abs() / 10, tenths.abs() % 10)
        }
        Unit::Metres => {
            let thousandths = to_step(1_000_000);
            let (whole, rest) = (thousandths.abs() / 1000, thousandths.abs() % 1000);
            format!("{}{whole}.{rest:03} m", minus(thousandths))
        }
        Unit::FeetInches => length.feet_and_inches(16),
    }
}

fn minus(value: i64) -> &'static str {
    if value < 0 { "-" } else { "" }
}

fn decimals(nm: i64, places: usize) -> String {
    let one = 10_u64.pow(places as u32);
    let (whole, rest) = (nm.unsigned_abs() / one, nm.unsigned_abs() % one);
    let text = format!("{}{whole}.{rest:0places$}", minus(nm));
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const UNITS: [Unit; 3] = [Unit::Millimetres, Unit::Metres, Unit::FeetInches];

    #[test]
    fn the_ways_to_write_one_length() {
        let check = |text: &str, bare, nm: i64| {
            assert_eq!(
                parse_length(text, bare, DecimalMark::Point),
                Ok(ExactLength::nm(nm)),
                "{text}"
            );
        };
        let sixteenths = 1_611_312_500; // 63 7/16 in = 63.4375 x 25.4 mm
        for text in [
            "5' 3 7/16\"",
            "5'3-7/16\"",
            "5' - 3 7/16\"",
            "5ft 3 7/16in",
            "5-3-7/16",
            "63.4375\"",
            "63 7/16 in",
            "5\u{2032} 3 7/16\u{2033}",
            "5' 3 7/16",
            "5' 3 7/16''",
        ] {
            check(text, Unit::Millimetres, sixteenths);
        }
        check("63 7/16", Unit::FeetInches, sixteenths);
        check("63.4375", Unit::FeetInches, sixteenths);
        check("12' 3\u{bd}\"", Unit::Millimetres, 3_746_500_000);
        check("7/16\"", Unit::Metres, 11_112_500);
        check("1.5'", Unit::Millimetres, 457_200_000);
        check("0", Unit::FeetInches, 0);
        check("1612", Unit::Millimetres, 1_612_000_000);
        check("1.612 m", Unit::Millimetres, 1_612_000_000);
        check("161.2cm", Unit::FeetInches, 1_612_000_000);
        check("1.379", Unit::Metres, 1_379_000_000);
        check("-12.5", Unit::Millimetres, -12_500_000);
        check("\u{2212}1/2\"", Unit::Millimetres, -12_700_000);
        check(".5", Unit::Millimetres, 500_000);
    }

    #[test]
    fn a_decimal_comma_where_it_is_told_to_be() {
        let read = |text| parse_length(text, Unit::Metres, DecimalMark::Comma);
        assert_eq!(read("1,379"), Ok(ExactLength::nm(1_379_000_000)));
        assert_eq!(read("137,9 cm"), Ok(ExactLength::nm(1_379_000_000)));
        assert_eq!(read("1.379"), Err(MeasureError::PointAmongCommas));
    }

    #[test]
    fn what_is_not_a_length_says_why() {
        let check = |text: &str, expected: MeasureError| {
            let found = parse_length(text, Unit::Millimetres, DecimalMark::Point);
            assert_eq!(found, Err(expected), "{text}");
        };
        check("", MeasureError::Empty);
        check("  ", MeasureError::Empty);
        check("1,379", MeasureError::Comma);
        check("5-3", MeasureError::Dash);
        check("63 7/16", MeasureError::BareFraction);
        check("63 7/10\"", MeasureError::Fraction(7, 10));
        check("63 9/8\"", MeasureError::Fraction(9, 8));
        check("5' 13\"", MeasureError::TooManyInches);
        check("5.5' 3\"", MeasureError::NotALength);
        check("99999999999999999", MeasureError::TooLong);
        check("9999999999 m", MeasureError::TooLong);
        for text in
            ["abc", "1.2.3", "m", "\"", "'", "--3", "1e3", "NaN", "inf", "3 4", "/", "1/0\""]
        {
            let found = parse_length(text, Unit::Millimetres, DecimalMark::Point);
            assert!(found.is_err(), "{text}: {found:?}");
        }
    }

    #[test]
    fn every_sixty_fourth_to_twenty_feet_comes_back() {
        for parts in -64..=20 * 12 * 64_i64 {
            let length = ExactLength::nm(parts * NM_PER_SIXTY_FOURTH);
            for unit in UNITS {
                let text = exact(length, unit);
                for bare in UNITS {
                    let back = parse_length(&text, bare, DecimalMark::Point);
                    assert_eq!(back, Ok(length), "{text}");
                }
            }
        }
    }

    #[test]
    fn every_millimetre_to_ten_metres_comes_back() {
        for mm in -10..=10_000_i64 {
            let length = ExactLength::nm(mm * 1_000_000);
            for unit in UNITS {
                for text in [exact(length, unit), rounded(length, unit)] {
                    let back = parse_length(&text, unit, DecimalMark::Point);
                    if unit == Unit::FeetInches && text.contains('"') {
                        let miss = (back.unwrap() - length).abs();
                        assert!(miss <= ExactLength::nm(2 * NM_PER_SIXTY_FOURTH), "{text}");
                    } else {
                        assert_eq!(back, Ok(length), "{text}");
                    }
                }
            }
        }
    }

    #[test]
    fn print_rounds_half_away_from_zero() {
        let check = |nm, unit, expected: &str| {
            assert_eq!(rounded(ExactLength::nm(nm), unit), expected);
        };
        check(150_000, Unit::Millimetres, "0.2 mm");
        check(-150_000, Unit::Millimetres, "-0.2 mm");
        check(-40_000, Unit::Millimetres, "0.0 mm");
        check(1_378_500_000, Unit::Metres, "1.379 m");
        check(793_750, Unit::FeetInches, "1/16\""); // half of a sixteenth
        check(793_749, Unit::FeetInches, "0\"");
        check(304_800_000, Unit::FeetInches, "1' 0\"");
        check(-311_150_000, Unit::FeetInches, "-1' 0 1/4\"");
    }

    proptest! {
        #[test]
        fn arbitrary_text_never_panics(text in any::<String>()) {
            for unit in UNITS {
                let _ = parse_length(&text, unit, DecimalMark::Point);
                let _ = parse_length(&text, unit, DecimalMark::Comma);
            }
        }

        #[test]
        fn nearly_lengths_never_panic(text in "[-+ 0-9.,/'\"mcftin]{0,40}") {
            for unit in UNITS {
                let _ = parse_length(&text, unit, DecimalMark::Point);
                let _ = parse_length(&text, unit, DecimalMark::Comma);
            }
        }

        #[test]
        fn what_is_written_exactly_comes_back(nm in -1_000_000_000_000_000_i64..1_000_000_000_000_000) {
            for unit in UNITS {
                let text = exact(ExactLength::nm(nm), unit);
                let back = parse_length(&text, unit, DecimalMark::Point);
                prop_assert_eq!(back, Ok(ExactLength::nm(nm)), "{}", text);
            }
        }
    }
}
