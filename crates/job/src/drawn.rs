//! What is drawn on the plan by a form: a grid of supports, the corners of a rectangle.
//!
//! Lengths are typed as anywhere in a job: bare in its unit, or with a unit of their own.

use crate::form_v1::{Form, Quantity, SupportForm};
use crate::measure::{DecimalMark, Unit, exact, parse_length};
use crate::template::{row_name, support_name};
use floorwright_engine::units::ExactLength;
use serde::Deserialize;
use std::collections::BTreeSet;

/// More rows than this are not drawn at once.
pub const MOST_ROWS: usize = 26;
/// More supports than this in a row are not drawn at once.
pub const MOST_COLUMNS: usize = 60;
/// The last row that has a name, counted from A: ZZ.
const LAST_ROW: usize = 27 * 26 - 1;

/// A grid as it was typed.
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize)]
pub struct GridTyped {
    /// Rows, up the page.
    pub rows: String,
    /// Supports in a row.
    pub columns: String,
    /// From one support of a row to the next.
    pub along: String,
    /// From one row to the next.
    pub between: String,
    /// The first support, from the left.
    pub x: String,
    /// The first support, from the bottom.
    pub y: String,
    /// The letter of the first row.
    pub first: String,
}

/// A rectangle as it was typed.
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize)]
pub struct RectangleTyped {
    /// Its left edge.
    pub x: String,
    /// Its bottom edge.
    pub y: String,
    /// How wide it is.
    pub width: String,
    /// How deep it is.
    pub depth: String,
}

/// The unit that a bare number of a job's plan is in.
pub fn unit_of(form: &Form) -> Unit {
    form.job.as_ref().and_then(|job| job.units).unwrap_or_default()
}

/// The letter of the first row that has no support yet and comes after all that have one.
///
/// # Examples
/// ```
/// use floorwright_job::drawn::next_row;
/// use floorwright_job::form_v1::{Form, SupportForm};
/// let support = |id: &str| SupportForm { id: id.to_owned(), ..SupportForm::default() };
/// let form = Form { support: vec![support("C2"), support("A1"), support("chimney")], ..Form::default() };
/// assert_eq!(next_row(&form), "D");
/// ```
pub fn next_row(form: &Form) -> String {
    let rows = form.support.iter().filter_map(|support| {
        let letters = support.id.trim_end_matches(|letter: char| letter.is_ascii_digit());
        (letters.len() < support.id.len()).then(|| row_of(letters)).flatten()
    });
    row_name(rows.max().map_or(0, |row| (row + 1).min(LAST_ROW)))
}

/// The supports of a grid.
///
/// # Errors
/// In words, what was typed and what it has to be: a count, a length, a name that is taken.
pub fn grid(form: &Form, typed: &GridTyped) -> Result<Vec<SupportForm>, String> {
    let unit = unit_of(form);
    let rows = whole("rows", &typed.rows, MOST_ROWS)?;
    let columns = whole("in a row", &typed.columns, MOST_COLUMNS)?;
    let along = spacing("spacing along a row", &typed.along, unit)?;
    let between = spacing("from row to row", &typed.between, unit)?;
    let (x, y) =
        (length("from the left", &typed.x, unit)?, length("from the bottom", &typed.y, unit)?);
    let letters = typed.first.trim().to_ascii_uppercase();
    let first = row_of(&letters).filter(|row| row + rows <= LAST_ROW + 1).ok_or_else(|| {
        format!(
            "the first row: \"{}\" is no row: write a letter from A on, or two",
            typed.first.trim()
        )
    })?;
    let known: BTreeSet<&str> = form.support.iter().map(|support| support.id.as_str()).collect();
    let mut supports = Vec::new();
    for row in 0..rows {
        for column in 0..columns {
            let id = support_name(first + row, column);
            if known.contains(id.as_str()) {
                return Err(format!("{id} is there already: begin the rows at {}", next_row(form)));
            }
            let at = Some([place(x, along, column, unit), place(y, between, row, unit)]);
            supports.push(SupportForm { id, at, ..SupportForm::default() });
        }
    }
    Ok(supports)
}

/// The corners of a rectangle, walking round it once.
///
/// # Errors
/// In words, what was typed and what it has to be.
pub fn rectangle(form: &Form, typed: &RectangleTyped) -> Result<Vec<[Quantity; 2]>, String> {
    let unit = unit_of(form);
    let (left, bottom) =
        (length("left edge", &typed.x, unit)?, length("bottom edge", &typed.y, unit)?);
    let (width, depth) =
        (spacing("width", &typed.width, unit)?, spacing("depth", &typed.depth, unit)?);
    let corner = |across: usize, up: usize| {
        [place(left, width, across, unit), place(bottom, depth, up, unit)]
    };
    Ok(vec![corner(0, 0), corner(1, 0), corner(1, 1), corner(0, 1)])
}

/// The left and bottom edge, the width and the depth of an outline, as they may be typed; nothing if it is no
/// upright rectangle.
pub fn edges(outline: &[[Quantity; 2]], unit: Unit) -> Option<[String; 4]> {
    let corners: Vec<(i64, i64)> = outline
        .iter()
        .map(|[x, y]| Some((nm_of(x, unit)?, nm_of(y, unit)?)))
        .collect::<Option<_>>()?;
    let [(left, bottom), ..] = corners[..] else { return None };
    let (right, top) = *corners.get(2)?;
    let walked = [(left, bottom), (right, bottom), (right, top), (left, top)];
    (corners == walked && right > left && top > bottom)
        .then(|| [left, bottom, right - left, top - bottom].map(|nm| written(nm, unit)))
}

fn nm_of(typed: &Quantity, unit: Unit) -> Option<i64> {
    let text = match typed {
        Quantity::Number(number) => number.to_string(),
        Quantity::Text(text) => text.clone(),
    };
    parse_length(&text, unit, DecimalMark::Point).ok().map(ExactLength::to_nm)
}

/// The row of a name of rows, from 0: A, B, … Z, AA, … ZZ.
fn row_of(letters: &str) -> Option<usize> {
    let value = |letter: u8| letter.is_ascii_uppercase().then(|| usize::from(letter - b'A'));
    match letters.as_bytes() {
        [one] => value(*one),
        [first, last] => Some(26 * (value(*first)? + 1) + value(*last)?),
        _ => None,
    }
}

fn whole(what: &str, typed: &str, most: usize) -> Result<usize, String> {
    let count = typed.trim().parse().ok().filter(|count| (1..=most).contains(count));
    count.ok_or_else(|| {
        format!("{what}: \"{}\" cannot be meant: a whole number from 1 to {most}", typed.trim())
    })
}

fn length(what: &str, typed: &str, unit: Unit) -> Result<ExactLength, String> {
    parse_length(typed, unit, DecimalMark::Point)
        .map_err(|error| format!("{what}: {error}: \"{}\"; {}", typed.trim(), error.hint()))
}

/// A length that leads somewhere.
fn spacing(what: &str, typed: &str, unit: Unit) -> Result<ExactLength, String> {
    let length = length(what, typed, unit)?;
    if length > ExactLength::ZERO {
        Ok(length)
    } else {
        Err(format!("{what}: \"{}\" has to be more than nothing", typed.trim()))
    }
}

fn place(from: ExactLength, step: ExactLength, steps: usize, unit: Unit) -> Quantity {
    let steps = i64::try_from(steps).unwrap_or(i64::MAX);
    let text = written(from.to_nm().saturating_add(step.to_nm().saturating_mul(steps)), unit);
    match text.parse() {
        Ok(number) => Quantity::Number(number),
        Err(_) => Quantity::Text(text),
    }
}

/// A length as it may be typed: bare where the unit of the job has bare numbers for it.
fn written(nm: i64, unit: Unit) -> String {
    let text = exact(ExactLength::nm(nm), unit);
    let bare = match unit {
        Unit::Millimetres => text.strip_suffix(" mm"),
        Unit::Metres => text.strip_suffix(" m"),
        Unit::FeetInches => None,
    };
    bare.unwrap_or(&text).to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::form_v1::JobForm;

    fn form(unit: Unit, supports: &[&str]) -> Form {
        let support = |id: &&str| SupportForm { id: (*id).to_owned(), ..SupportForm::default() };
        Form {
            job: Some(JobForm { units: Some(unit), ..JobForm::default() }),
            support: supports.iter().map(support).collect(),
            ..Form::default()
        }
    }

    fn typed(rows: &str, columns: &str, along: &str, first: &str) -> GridTyped {
        let [rows, columns, along, first] = [rows, columns, along, first].map(str::to_owned);
        GridTyped {
            rows,
            columns,
            between: along.clone(),
            along,
            x: "0".to_owned(),
            y: "0".to_owned(),
            first,
        }
    }

    #[test]
    fn a_grid_has_its_names_and_places_in_the_unit_of_the_job() {
        let supports = grid(&form(Unit::Millimetres, &[]), &typed("2", "3", "1.8 m", "a")).unwrap();
        let names: Vec<&str> = supports.iter().map(|support| support.id.as_str()).collect();
        assert_eq!(names, ["A1", "A2", "A3", "B1", "B2", "B3"]);
        assert_eq!(supports[5].at, Some([Quantity::Number(3600.0), Quantity::Number(1800.0)]));
        let supports =
            grid(&form(Unit::FeetInches, &["A1"]), &typed("1", "2", "6' 0\"", "B")).unwrap();
        assert_eq!(supports[1].at, Some([Quantity::from("6' 0\""), Quantity::from("0\"")]));
    }

    #[test]
    fn names_go_on_after_the_last_row() {
        let check = |names: &[&str], expected| {
            assert_eq!(next_row(&form(Unit::Metres, names)), expected);
        };
        check(&[], "A");
        check(&["C2", "A1", "porch", "b7"], "D");
        check(&["Z1"], "AA");
        check(&["AZ3"], "BA");
    }

    #[test]
    fn what_cannot_be_meant_is_told_and_nothing_is_drawn() {
        let check = |typed: GridTyped, said: &str| {
            let told = grid(&form(Unit::Millimetres, &["A1", "B2"]), &typed).unwrap_err();
            assert!(told.contains(said), "{told}");
        };
        check(
            typed("0", "3", "1800", "D"),
            "rows: \"0\" cannot be meant: a whole number from 1 to 26",
        );
        check(typed("6.5", "3", "1800", "D"), "\"6.5\" cannot be meant");
        check(typed("2", "61", "1800", "D"), "from 1 to 60");
        check(typed("2", "3", "6 paces", "D"), "spacing along a row: this is not a length");
        check(typed("2", "3", "-1800", "D"), "more than nothing");
        check(typed("2", "3", "1800", "A"), "A1 is there already: begin the rows at C");
        check(typed("2", "3", "1800", "4"), "\"4\" is no row");
    }

    #[test]
    fn a_rectangle_is_read_back_as_it_was_typed() {
        for (unit, at, size) in [
            (Unit::Millimetres, "-200", "3600"),
            (Unit::Metres, "0.5", "3.6"),
            (Unit::FeetInches, "8\"", "12' 3 1/2\""),
        ] {
            let [x, y, width, depth] = [at, at, size, size].map(str::to_owned);
            let corners =
                rectangle(&form(unit, &[]), &RectangleTyped { x, y, width, depth }).unwrap();
            assert_eq!(edges(&corners, unit), Some([at, at, size, size].map(str::to_owned)));
            assert_eq!(edges(&corners[..3], unit), None);
        }
    }
}
