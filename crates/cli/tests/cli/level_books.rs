//! Published level books, typed in as a builder would: published numbers come out, wrong ones do not.
//!
//! Each example names its source. The sights and the values marked published are the sources' own;
//! where a source prints a wrong level, the right one follows from its sights by the definition of
//! rise and fall.

use crate::program::{Run, copy_of_example, edit, entry, list, number, run_in, text};
use serde_json::Value;
use std::path::Path;

fn reduced(folder: &Path, more: &[&str]) -> (Run, Value) {
    let args: Vec<&str> = ["levels", "job.toml", "--book"].iter().chain(more).copied().collect();
    let with_json: Vec<&str> = args.iter().copied().chain(["--json"]).collect();
    (run_in(folder, &args), run_in(folder, &with_json).json())
}

/// Checks the levels in metres, digit for digit, in the text, in the book's JSON, and (to rounding)
/// in the levels by least squares.
fn levels_are(folder: &Path, expected: &[(&str, &str)]) {
    let (run, json) = reduced(folder, &[]);
    let run = run.ends(0);
    let result = &json["result"];
    let book = &list(&result["books"])[0]["book"];
    for (point, level) in expected {
        let printed = run
            .out
            .lines()
            .map(|line| line.split_whitespace().collect::<Vec<_>>())
            .any(|cells| cells.first() == Some(point) && cells.contains(level));
        assert!(printed, "{point} {level} in {}", run.out);
        let mm = level.parse::<f64>().unwrap() * 1000.0;
        let row = number(&entry(&book["rows"], "point", point)["level"]);
        assert!((row - mm).abs() < 1e-9, "{point}: {row} for {mm}");
        let adjusted = number(&entry(&result["reduction"]["levels"], "point", point)["level"]);
        assert!((adjusted - mm).abs() < 1e-6, "{point}: {adjusted} by least squares for {mm}");
    }
}

fn sums_are(folder: &Path, expected: &str) {
    reduced(folder, &[]).0.says(expected);
}

#[test]
fn a_book_between_two_benchmarks_gives_the_published_levels() {
    let folder = copy_of_example("level-book/bad-closure", "book-levels");
    levels_are(
        &folder,
        &[
            ("P1", "174.084"),
            ("P2", "173.664"),
            ("P3", "176.284"),
            ("P4", "175.609"),
            ("CPB", "173.664"),
            ("P5", "173.914"),
            ("P6", "171.899"),
            ("CPC", "171.129"),
            ("CPD", "170.214"),
            ("P7", "169.222"),
            ("TBM2", "168.334"),
        ],
    );
    sums_are(&folder, "Sums: BS 6.714, IS 14.685, FS 13.880; rises 2.870, falls 10.036.");
}

#[test]
fn a_book_that_does_not_close_is_flagged_and_shared_out_only_if_accepted() {
    let folder = copy_of_example("level-book/bad-closure", "book-closure");
    let (run, json) = reduced(&folder, &["--strict"]);
    let run = run.ends(3).says("!! misclosure -166.0 mm exceeds").says("Not shared out");
    assert!(!run.out.contains("Adjusted"));
    assert!(!run.out.contains("No reading stands out."), "a book that fails is no clean bill");
    let book = &list(&json["result"]["books"])[0];
    assert!(book["spread"].is_null());
    assert_eq!(number(&book["book"]["misclosure"]), -166.0);

    let (run, json) = reduced(&folder, &["--accept-misclosure", "--strict"]);
    run.ends(3).says("Adjusted").says("P1 1 1.416 174.084 +41.5 174.126");
    let book = &list(&json["result"]["books"])[0];
    // 166 mm over four setups is 41.5 mm each: 174.084 + 0.0415, …, 168.334 + 4 x 0.0415.
    for (point, adjusted) in [
        ("P1", 174_125.5),
        ("CPB", 173_705.5),
        ("P6", 171_982.0),
        ("P7", 169_388.0),
        ("TBM2", 168_500.0),
    ] {
        let level = number(&entry(&book["spread"], "point", point)["level"]);
        assert!((level - adjusted).abs() < 1e-6, "{point}: {level}");
    }
}

#[test]
fn a_rise_is_not_a_fall() {
    let folder = copy_of_example("level-book/sign-slip", "book-sign");
    levels_are(&folder, &[("A", "99.445"), ("B", "100.575"), ("CP1", "100.860"), ("C", "101.305")]);
    let (run, _) = reduced(&folder, &["--strict"]);
    assert!(!run.ends(0).out.contains("100.415"), "the wrong level that is printed in the source");
    sums_are(&folder, "Sums: BS 4.020, IS 3.690, FS 2.715; rises 1.860, falls 0.555.");
}

#[test]
fn a_wrong_level_in_the_book_is_named_at_its_row() {
    let folder = copy_of_example("level-book/sign-slip", "book-sign-written");
    edit(&folder.join("job.toml"), "\"rows.csv\"", "\"rows-as-written.csv\"");
    let (run, json) = reduced(&folder, &["--strict"]);
    run.ends(3).says("rows-as-written.csv:6").says("100.415").says("101.305");
    let slips = list(&list(&json["result"]["books"])[0]["book"]["written"]["slips"]).to_vec();
    assert_eq!(slips.len(), 1, "{slips:#?}");
}

#[test]
fn a_slip_that_only_the_check_on_intermediate_sights_finds() {
    let folder = copy_of_example("level-book/intermediate-sights", "book-is");
    levels_are(
        &folder,
        &[
            ("a", "50.315"),
            ("b", "50.032"),
            ("CP1", "50.448"),
            ("c", "50.713"),
            ("CP2", "50.304"),
            ("d", "49.920"),
            ("BM2", "50.004"),
        ],
    );
    let (run, json) = reduced(&folder, &["--strict"]);
    // 3 mm within the allowance is shared out at once, a millimetre a setup.
    run.ends(0).says("BM2 3 0.084 50.004 -3.0 50.001").says("misclosure 3.0 mm within");
    let spread = &list(&json["result"]["books"])[0]["spread"];
    for (point, adjusted) in [("a", 50_314.0), ("c", 50_711.0), ("d", 49_917.0), ("BM2", 50_001.0)]
    {
        assert!((number(&entry(spread, "point", point)["level"]) - adjusted).abs() < 1e-6);
    }
    edit(&folder.join("job.toml"), "\"rows.csv\"", "\"rows-as-written.csv\"");
    let (run, json) = reduced(&folder, &["--strict"]);
    run.ends(3).says("rows-as-written.csv:4").says("50.132").says("50.032");
    let written = &list(&json["result"]["books"])[0]["book"]["written"];
    assert_eq!(list(&written["slips"]).len(), 1, "{written:#}");
    let sides = |kind: &str| {
        let check = entry(&written["checks"], "kind", kind);
        (number(&check["left"]), number(&check["right"]))
    };
    assert_eq!(sides("back-less-fore"), (4.0, 4.0), "the usual check misses it");
    assert_eq!(sides("line-times-sights"), (361_522.0, 361_422.0), "out by the 100 mm of the slip");
}

#[test]
fn a_change_of_instrument_is_neither_rise_nor_fall() {
    let folder = copy_of_example("level-book/change-points", "book-change");
    levels_are(
        &folder,
        &[
            ("2", "150.872"),
            ("3", "151.490"),
            ("4", "150.716"),
            ("5", "152.318"),
            ("6", "150.938"),
            ("7", "149.298"),
        ],
    );
    let (run, json) = reduced(&folder, &["--strict"]);
    assert!(!run.ends(0).out.contains("149.794"), "the wrong level that is printed in the source");
    sums_are(&folder, "Sums: BS 5.964, IS 4.470, FS 6.916; rises 2.842, falls 3.794.");
    assert_eq!(text(&list(&json["result"]["books"])[0]["id"]), "1");
}

/// The limit of 5 mm times the root of 4 setups is 10 mm, as the source of the rule has it; the one
/// for a house is 3 mm times the root of 4.
#[test]
fn a_misclosure_is_held_against_the_allowance_that_is_named() {
    let folder = copy_of_example("level-book/bad-closure", "book-allowance");
    let allowed = |more: &[&str]| {
        let (run, json) = reduced(&folder, more);
        run.ends(0);
        number(&list(&json["result"]["books"])[0]["closure"]["allowed"])
    };
    assert!((allowed(&[]) - 6.0).abs() < 1e-9);
    assert!((allowed(&["--allowance", "5 sqrt n"]) - 10.0).abs() < 1e-9);
    run_in(&folder, &["levels", "job.toml", "--allowance", "generous"])
        .ends(2)
        .says("--allowance: there is no \"generous\"")
        .says("12 sqrt K: third order");
}
