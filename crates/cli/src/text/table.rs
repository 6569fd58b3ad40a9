//! Plain tables that fit a terminal of 80 columns.

use crate::report::WIDTH;

/// The narrowest that a last column may be before it goes under the row instead.
const LEAST_BESIDE: usize = 18;
/// How far what goes under a row is indented.
const UNDER: usize = 8;

pub use floorwright_job::told::{Side, Table};

/// The table as lines, indented by two, columns as wide as their widest cell. What does not
/// fit of the last column goes on below: beside the numbers if there is room, else under them.
pub fn lines(table: &Table) -> Vec<String> {
    let widths: Vec<usize> = (0..table.headings.len())
        .map(|column| {
            let cells = table.rows.iter().filter_map(|row| row.get(column)).map(|c| width(c));
            cells.chain([width(&table.headings[column].0)]).max().unwrap_or(0)
        })
        .collect();
    let line = |cells: &mut dyn Iterator<Item = &str>| {
        let padded: Vec<String> = cells
            .zip(&table.headings)
            .zip(&widths)
            .map(|((cell, (_, side)), widest)| {
                let blank = " ".repeat(widest - width(cell));
                match side {
                    Side::Left => format!("{cell}{blank}"),
                    Side::Right => format!("{blank}{cell}"),
                }
            })
            .collect();
        format!("  {}", padded.join("  ")).trim_end().to_owned()
    };
    let mut lines = vec![line(&mut table.headings.iter().map(|(text, _)| text.as_str()))];
    let before_last: usize = widths.iter().rev().skip(1).map(|widest| widest + 2).sum();
    for row in &table.rows {
        let whole = line(&mut row.iter().map(String::as_str));
        match row.split_last() {
            Some((last, others)) if width(&whole) > WIDTH && row.len() == widths.len() => {
                let start = before_last + 2;
                let room = WIDTH.saturating_sub(start);
                let beside = room >= LEAST_BESIDE;
                let (start, room) = if beside { (start, room) } else { (UNDER, WIDTH - UNDER) };
                let mut notes = wrap(last, room, 0).into_iter();
                let first = if beside { notes.next() } else { None };
                let cells = others.iter().map(String::as_str);
                lines.push(line(&mut cells.chain(first.as_deref())));
                lines.extend(notes.map(|note| format!("{}{note}", " ".repeat(start))));
            }
            _ => lines.push(whole),
        }
    }
    lines
}

/// Characters, which is what a terminal counts for the letters and signs used here.
fn width(text: &str) -> usize {
    text.chars().count()
}

/// Breaks text at blanks so that no line is longer than `most` characters; lines after the first
/// are indented by `indent`.
pub fn wrap(text: &str, most: usize, indent: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        if !line.trim().is_empty() && width(&line) + 1 + width(word) > most {
            lines.push(std::mem::replace(&mut line, " ".repeat(indent)));
        } else if !line.trim().is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    lines.push(line);
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_line_up() {
        let mut table = Table::new(&[("Point", Side::Left), ("Level", Side::Right)]);
        table.row(["A1".to_owned(), "+3.0".to_owned()]);
        table.row(["EXT".to_owned(), "-12.5".to_owned()]);
        assert_eq!(lines(&table), ["  Point  Level", "  A1      +3.0", "  EXT    -12.5"]);
    }

    #[test]
    fn a_long_last_column_goes_on_below() {
        let note =
            "stays: chimney on a base of its own; read it again before anything is lifted here";
        let mut beside = Table::new(&[("Stump", Side::Left), ("", Side::Left)]);
        beside.row(["C4".to_owned(), note.to_owned()]);
        assert_eq!(
            lines(&beside)[1..],
            [
                "  C4     stays: chimney on a base of its own; read it again before anything is",
                "         lifted here"
            ]
        );
        let mut under = Table::new(&[("Stump", Side::Left), ("", Side::Left)]);
        under.row(["C".repeat(65), "stays: chimney".to_owned()]);
        assert_eq!(
            lines(&under)[1..],
            [format!("  {}", "C".repeat(65)), "        stays: chimney".to_owned()]
        );
    }

    #[test]
    fn wrapped_lines_stay_within_the_width() {
        let text = "re-read E2 from setup hall: it is 20.1 mm too low";
        let lines = wrap(text, 20, 2);
        assert_eq!(lines, ["re-read E2 from", "  setup hall: it is", "  20.1 mm too low"]);
        assert!(lines.iter().all(|line| line.chars().count() <= 20));
    }
}
