//! Files of an earlier export, known again by name and beginning.

use crate::table::Lengths;
use crate::tables::SHEETS;
use crate::{Format, pictures};

/// The program, as its files name it, without the version.
const PROGRAM: &str = "floorwright ";

/// The names of all files that an export may write.
pub fn names() -> Vec<String> {
    let tables = SHEETS.iter().map(|sheet| format!("{}.csv", sheet.name));
    let pictures = pictures::NAMES.iter().map(|name| format!("{name}.svg"));
    let whole = ["tables.xlsx", "plan.dxf", "tables.json"].map(str::to_owned);
    tables.chain(pictures).chain(whole).collect()
}

/// The format of a file of this name that an export wrote; `None` for what is not ours, and for a
/// workbook, whose content does not show whose it is.
pub fn wrote(name: &str, bytes: &[u8]) -> Option<Format> {
    let text = String::from_utf8_lossy(bytes);
    let (stem, end) = name.rsplit_once('.')?;
    match end {
        "csv" => {
            let sheet = SHEETS.iter().find(|sheet| sheet.name == stem)?;
            let head = text.strip_prefix('\u{feff}')?.lines().next()?;
            // A later version may have more columns; the first two stay.
            let begins = |lengths: Lengths| {
                let keys = sheet.columns.iter().take(2).map(|column| column.key(lengths));
                head.starts_with(&keys.collect::<Vec<_>>().join(","))
            };
            (begins(Lengths::Millimetres) || begins(Lengths::Inches)).then_some(Format::Csv)
        }
        "svg" => {
            let known = pictures::NAMES.contains(&stem) && text.contains(PROGRAM);
            known.then_some(Format::Svg)
        }
        "dxf" => (stem == "plan" && text.contains(PROGRAM)).then_some(Format::Dxf),
        "json" => (stem == "tables" && text.contains("\"schema\": \"floorwright/tables/"))
            .then_some(Format::Json),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ours_are_known_and_others_left_alone() {
        let check = |name: &str, text: &str, expected: Option<Format>| {
            assert_eq!(wrote(name, text.as_bytes()), expected, "{name}: {text}");
        };
        check("moves.csv", "\u{feff}pass,move,support\r\n1,1,A\r\n", Some(Format::Csv));
        check("moves.csv", "pass,move,support\n1,1,A\n", None); // no mark of ours
        check("moves.csv", "\u{feff}van,driver\r\n", None);
        check("notes.csv", "\u{feff}pass,move,support\r\n", None);
        check("lifts.svg", "<svg><text>floorwright 0.0.9</text></svg>", Some(Format::Svg));
        check("lifts.svg", "<svg><text>drawn by hand</text></svg>", None);
        check("garden.svg", "<svg><text>floorwright 0.0.9</text></svg>", None);
        check("tables.xlsx", "PK", None);
    }
}
