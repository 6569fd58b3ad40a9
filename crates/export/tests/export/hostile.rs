//! What a file must survive: names that are formulas, jobs with nothing to lift, plans that are stopped.

use crate::csv_files::Rows;
use crate::jobs::{self, Worked};
use calamine::{Data, Reader, Xlsx};
use floorwright_engine::plan::Stage;
use floorwright_export::{Format, SHEETS};
use std::collections::BTreeSet;
use std::io::Cursor;

fn names(worked: &Worked) -> BTreeSet<String> {
    worked.files(&Format::ALL).files.into_iter().map(|file| file.name).collect()
}

#[test]
fn the_same_job_gives_the_same_bytes() {
    assert_eq!(jobs::demo().files(&Format::ALL), jobs::demo().files(&Format::ALL));
}

#[test]
fn names_of_files_and_columns_are_plain_and_differ() {
    let mut seen = BTreeSet::new();
    for sheet in SHEETS {
        assert!(seen.insert(sheet.name));
        assert!(sheet.name.bytes().all(|byte| byte.is_ascii_lowercase() || byte == b'-'));
        let columns: BTreeSet<&str> = sheet.columns.iter().map(|column| column.name).collect();
        assert_eq!(columns.len(), sheet.columns.len(), "{}", sheet.name);
        assert!(!sheet.about.is_empty() && sheet.columns.iter().all(|one| !one.about.is_empty()));
    }
}

#[test]
fn a_name_is_no_formula_and_stays_in_its_cell() {
    let name = "=HYPERLINK(\\\"http://x\\\"), \u{5e9}\u{5dc}\u{5d5}\u{5dd} <b>&";
    let plain = name.replace("\\\"", "\"");
    let worked = jobs::demo_with(&[("Invented house in Example Street", name)]);
    let about = Rows::of(&worked, "about");
    assert_eq!(about.row("what", "Job")["says"], format!("'{plain}"));
    let bytes = worked.file(Format::Xlsx, "tables.xlsx");
    let mut book = Xlsx::new(Cursor::new(bytes)).unwrap();
    let values = book.worksheet_range("about").unwrap();
    assert!(values.rows().any(|row| row[1] == Data::String(plain.clone())));
    assert_eq!(book.worksheet_formula("about").unwrap().used_cells().count(), 0);
    let drawing = String::from_utf8(worked.file(Format::Dxf, "plan.dxf")).unwrap();
    assert!(drawing.contains("\\U+05E9\\U+05DC"));
    for file in worked.files(&[Format::Svg]).files {
        let svg = String::from_utf8(file.bytes).unwrap();
        assert!(!svg.contains("<b>") && svg.contains("&lt;b&gt;&amp;"), "{}", file.name);
    }
}

#[test]
fn a_goal_that_cannot_be_met_leaves_the_survey() {
    let worked = jobs::nasty();
    let found = names(&worked);
    for there in ["levels.csv", "readings.csv", "floor.svg", "plan.dxf", "tables.xlsx"] {
        assert!(found.contains(there), "{there} not in {found:?}");
    }
    for not_there in ["supports.csv", "moves.csv", "order.csv", "lifts.svg", "passes.svg"] {
        assert!(!found.contains(not_there), "{not_there}");
    }
    let left_out = worked.files(&[]).left_out;
    let what: Vec<&str> = left_out.iter().map(|left| left.what).collect();
    assert_eq!(what, ["lifts", "moves", "order"]);
    assert!(left_out.iter().all(|left| left.why.contains("C3")), "{left_out:?}");
}

/// A jack far too weak for any move: no file says which moves to make.
#[test]
fn moves_that_are_not_to_be_worked_by_are_in_no_file() {
    let rating = ("jack_rating = { value = \"8 t\"", "jack_rating = { value = \"5 kN\"");
    let worked = jobs::demo_with(&[rating]);
    let files = worked.files(&Format::ALL);
    let found: BTreeSet<&str> = files.files.iter().map(|file| file.name.as_str()).collect();
    for not_there in ["moves.csv", "stacks.csv", "order.csv", "lifts.svg", "passes.svg", "way.svg"]
    {
        assert!(!found.contains(not_there), "{not_there}");
    }
    let first = &Rows::of(&worked, "about").0[0];
    assert_eq!(first["what"], "STOP: do not lift by this plan");
    assert!(
        files
            .left_out
            .iter()
            .any(|left| left.what == "moves" && left.why.contains("not to be worked by"))
    );
}

/// Where work has begun the moves are those that are left, numbered on; nobody lifts by the old ones.
#[test]
fn after_passes_the_moves_are_those_that_are_left() {
    let worked = jobs::half_done();
    let Stage::Done(record) = &worked.record else { panic!("no record") };
    let Stage::Done(rest) = &record.rest else { panic!("nothing is left") };
    let passes = &rest.plan.passes.done().unwrap().passes.passes;
    let wanted: Vec<(String, String)> = passes
        .iter()
        .flat_map(|pass| pass.moves.iter().map(move |one| (pass.number, one)))
        .flat_map(|(number, one)| one.supports.iter().map(move |moved| (number, moved)))
        .map(|(number, moved)| ((number + 2).to_string(), moved.support.to_string()))
        .collect();
    let rows = Rows::of(&worked, "moves");
    let found: Vec<(String, String)> =
        rows.0.iter().map(|row| (row["pass"].clone(), row["support"].clone())).collect();
    assert_eq!(found, wanted);
    let about = Rows::of(&worked, "about");
    assert!(about.row("what", "Work has begun")["says"].starts_with("2 passes are done."));
    assert!(about.row("what", "Lift nothing further there")["says"].starts_with("C4: "));
}

#[test]
fn a_floor_that_was_not_read_after_a_pass_gives_no_moves() {
    let worked = jobs::half_done_and_not_read_again();
    let files = worked.files(&Format::ALL);
    let found: BTreeSet<&str> = files.files.iter().map(|file| file.name.as_str()).collect();
    for not_there in ["supports.csv", "moves.csv", "lifts.svg", "passes.svg"] {
        assert!(!found.contains(not_there), "{not_there}");
    }
    let left = files.left_out.iter().find(|left| left.what == "lifts and moves").unwrap();
    assert!(left.why.contains("what is left is not known"), "{}", left.why);
    let drawing = String::from_utf8(worked.file(Format::Dxf, "plan.dxf")).unwrap();
    assert!(
        !drawing.contains("\r\nLIFTS\r\n 10") && drawing.contains("No lifts: passes were done")
    );
}

#[test]
fn without_a_frame_no_force_is_written() {
    let worked = jobs::demo_with(&[("[frame]\n", "[frame]\noff = \"left out for this test\"\n")]);
    let rows = Rows::of(&worked, "supports");
    for row in &rows.0 {
        assert_eq!([&row["today_most_kn"], &row["jack_most_kn"], &row["after"]], ["", "", ""]);
    }
    assert!(rows.0.iter().any(|row| !row["lift_mm"].is_empty()));
}

#[test]
fn readings_alone_give_levels_alone() {
    let text = "format = 1\n[job]\nname = \"two points\"\n[[benchmark]]\npoint = \"B\"\nlevel = 0\n\
                [[point]]\nid = \"P\"\n[[setup]]\nid = \"one\"\ninstrument = \"level\"\nreading_sd = 1\nreadings = [\n\
                { point = \"B\", reading = 1500 },\n{ point = \"P\", reading = 1400 } ]\n";
    let worked = Worked::of(text);
    let found = names(&worked);
    let wanted = [
        "about.csv",
        "criteria.csv",
        "levels.csv",
        "plan.dxf",
        "readings.csv",
        "tables.json",
        "tables.xlsx",
    ];
    assert_eq!(found, wanted.map(str::to_owned).into());
    // Nothing has a place on the plan, so no criterion can be applied.
    assert!(Rows::of(&worked, "criteria").0.iter().all(|row| row["answer"] == "not judged"));
    let levels = Rows::of(&worked, "levels");
    assert_eq!(levels.row("point", "P")["level_mm"], "100");
}

/// `docs/export.md` lists every table.
#[test]
fn every_table_is_in_the_documentation() {
    let docs = include_str!("../../../../docs/export.md");
    for sheet in SHEETS {
        assert!(docs.contains(&format!("\n| {} | ", sheet.name)), "{}", sheet.name);
    }
}
