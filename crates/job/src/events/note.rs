//! Remarks and photos, and what they are about.

use crate::csv::no_formula;
use crate::events::EventId;
use crate::photo::PhotoHash;
use csv::{QuoteStyle, Terminator, WriterBuilder};
use serde::{Deserialize, Serialize};

/// What a remark or a photo is about.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum About {
    /// A point that is read, by its name.
    Point(String),
    /// A support, by its name.
    Support(String),
    /// A pass, by its number.
    Pass(u32),
}

/// A remark, a photo, or both.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Note {
    /// What it is about.
    pub about: About,
    /// What was noticed.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub text: String,
    /// It is a crack.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub crack: bool,
    /// The photo, by its name. It arrives by itself, and may be on its way yet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub photo: Option<PhotoHash>,
}

/// A remark or photo with the event that made it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct NoteAt {
    /// The event.
    pub event: EventId,
    /// What was noted.
    pub note: Note,
}

/// Remarks and photos as a table of comma-separated values (RFC 4180).
///
/// Text that a spreadsheet would take for a formula begins with an apostrophe (OWASP, *CSV Injection*).
pub fn table_of_notes(notes: &[NoteAt]) -> String {
    let mut builder = WriterBuilder::new();
    builder.quote_style(QuoteStyle::NonNumeric).terminator(Terminator::CRLF);
    let mut table = builder.from_writer(Vec::new());
    let mut row = |cells: [&str; 5]| {
        // Writing to memory does not fail, and all rows have five cells.
        let _ = table.write_record(cells);
    };
    row(["about", "name", "kind", "text", "photo"]);
    for NoteAt { note, .. } in notes {
        let (about, name) = match &note.about {
            About::Point(name) => ("point", name.clone()),
            About::Support(name) => ("support", name.clone()),
            About::Pass(number) => ("pass", number.to_string()),
        };
        let kind = if note.crack { "crack" } else { "remark" };
        let photo = note.photo.map_or(String::new(), |photo| photo.to_string());
        row([about, &no_formula(&name), kind, &no_formula(&note.text), &photo]);
    }
    let bytes = table.into_inner().unwrap_or_default();
    String::from_utf8(bytes).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Read back, every cell is what was written, but that no text is a formula.
    #[test]
    fn a_remark_is_no_formula_and_does_not_leave_its_cell() {
        let texts =
            ["gap", "=HYPERLINK(\"x\")", "+1", "-1", "@a", "\tx", "two\nlines, \"said\"", ""];
        let notes: Vec<NoteAt> = texts
            .iter()
            .map(|text| NoteAt {
                event: EventId::from_bytes([1; 16]),
                note: Note {
                    about: About::Support("A1".to_owned()),
                    text: (*text).to_owned(),
                    crack: true,
                    photo: None,
                },
            })
            .collect();
        let table = table_of_notes(&notes);
        let mut reader = csv::Reader::from_reader(table.as_bytes());
        let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        assert_eq!(rows.len(), texts.len());
        for (row, text) in rows.iter().zip(texts) {
            let is_formula = text.starts_with(['=', '+', '-', '@', '\t']);
            let wanted = if is_formula { format!("'{text}") } else { text.to_owned() };
            assert_eq!(
                [&row[0], &row[1], &row[2], &row[3], &row[4]],
                ["support", "A1", "crack", &wanted, ""]
            );
        }
    }
}
