//! JSON, held against its schema by a library for that.

use crate::csv_files::{Rows, number, same};
use crate::jobs;
use floorwright_export::{Format, schema};
use serde_json::Value;

fn check(validator: &jsonschema::Validator, document: &Value) -> Vec<String> {
    validator
        .iter_errors(document)
        .map(|error| format!("{}: {error}", error.instance_path))
        .collect()
}

#[test]
fn every_job_is_as_the_schema_says() {
    let validator = jsonschema::draft202012::new(&schema()).unwrap();
    let worked = [jobs::demo(), jobs::nasty(), jobs::nasty_within_an_inch(), jobs::half_done()];
    for worked in worked {
        let bytes = worked.file(Format::Json, "tables.json");
        let document: Value = serde_json::from_slice(&bytes).unwrap();
        assert_eq!(check(&validator, &document), Vec::<String>::new(), "{}", worked.input.name);
        // The schema would notice.
        let mut other = document.clone();
        other["tables"]["levels"][0]["level_mm"] = Value::from("high");
        assert_eq!(check(&validator, &other).len(), 1);
        let mut other = document.clone();
        other["tables"]["levels"][0].as_object_mut().unwrap().remove("level_mm");
        assert_eq!(check(&validator, &other).len(), 1);
    }
}

/// A job in inches: its tables for people are in inches, those for programs in millimetres.
#[test]
fn lengths_are_in_millimetres() {
    let worked = jobs::nasty();
    let document: Value =
        serde_json::from_slice(&worked.file(Format::Json, "tables.json")).unwrap();
    let rows = Rows::of(&worked, "levels");
    let levels = document["tables"]["levels"].as_array().unwrap();
    assert_eq!(levels.len(), rows.0.len());
    for level in levels {
        let row = rows.row("point", level["point"].as_str().unwrap());
        let in_mm = number(row, "level_in").map(|inches| inches * 25.4);
        same(level["level_mm"].as_f64(), in_mm, 7e-4, &level.to_string());
    }
}
