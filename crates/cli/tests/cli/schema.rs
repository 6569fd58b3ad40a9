//! The JSON of every command: its schema is named, its numbers are numbers, its keys do not change
//! unnoticed.

use crate::program::{copy_of_example, demo_in, folder, list, number, run_in, text};
use serde_json::Value;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::sync::OnceLock;

/// Every command on a job that works, and on one whose goal cannot be met.
fn commands() -> &'static [(&'static str, Vec<Value>)] {
    static ANSWERS: OnceLock<Vec<(&str, Vec<Value>)>> = OnceLock::new();
    ANSWERS.get_or_init(run_all)
}

fn run_all() -> Vec<(&'static str, Vec<Value>)> {
    let here = folder("schema-keys");
    demo_in(&here);
    let demo = here.join("demo");
    let nasty = copy_of_example("nasty", "schema-keys-nasty");
    let book = copy_of_example("level-book/intermediate-sights", "schema-keys-book");
    let half_done = copy_of_example("half-done", "schema-keys-half-done");
    let json = |folder: &Path, args: &[&str]| {
        let args: Vec<&str> = args.iter().copied().chain(["--json"]).collect();
        run_in(folder, &args).json()
    };
    vec![
        (
            "check",
            vec![json(&demo, &["check", "house.toml"]), json(&nasty, &["check", "job.toml"])],
        ),
        (
            "levels",
            vec![
                json(&demo, &["levels", "house.toml", "--pair", "A1,EXT"]),
                json(&nasty, &["levels", "job.toml"]),
                json(&book, &["levels", "job.toml", "--book"]),
            ],
        ),
        (
            "floor",
            vec![
                json(&demo, &["floor", "house.toml", "--profile", "0,0:10800,0"]),
                json(&nasty, &["floor", "job.toml"]),
            ],
        ),
        (
            "frame",
            vec![
                json(&demo, &["frame", "house.toml", "--support", "E6"]),
                json(&nasty, &["frame", "job.toml", "--support", "A1", "--in-use"]),
            ],
        ),
        (
            "lift",
            vec![
                json(&demo, &["lift", "house.toml", "--set", "B3=7"]),
                json(&demo, &["lift", "house.toml", "--prefer", "fewest-supports"]),
                json(&nasty, &["lift", "job.toml"]),
            ],
        ),
        (
            "passes",
            vec![
                json(&demo, &["passes", "house.toml"]),
                json(&nasty, &["passes", "job.toml"]),
                json(&nasty, &["passes", "job.toml", "--tolerance", "1"]),
                json(&nasty, &["passes", "job.toml", "--tolerance", "1", "--no-frame"]),
                json(&demo, &["passes", "house.toml", "--jack-rating", "100 kg"]),
            ],
        ),
        (
            "order",
            vec![
                json(&demo, &["order", "house.toml"]),
                json(&nasty, &["order", "job.toml"]),
                json(&nasty, &["order", "job.toml", "--tolerance", "1"]),
                json(&half_done, &["order", "job.toml"]),
            ],
        ),
        (
            "record",
            vec![json(&half_done, &["record", "job.toml"]), json(&demo, &["record", "house.toml"])],
        ),
        (
            "hose",
            vec![
                json(&here, &["hose", "--swing", "11"]),
                json(&here, &["hose", "--kind", "twin"]),
                json(&demo, &["hose", "house.toml"]),
            ],
        ),
        (
            "stands",
            vec![
                json(&demo, &["stands", "house.toml"]),
                json(&demo, &["stands", "house.toml", "--length", "7 m"]),
            ],
        ),
        ("new", vec![json(&here, &["new", "made.toml", "--no-input"])]),
    ]
}

fn walk(value: &Value, path: &str, visit: &mut dyn FnMut(&str, &Value)) {
    visit(path, value);
    match value {
        Value::Object(entries) => {
            for (key, entry) in entries {
                walk(entry, &format!("{path}.{key}"), visit);
            }
        }
        Value::Array(entries) => {
            for entry in entries {
                walk(entry, &format!("{path}[]"), visit);
            }
        }
        _ => {}
    }
}

#[test]
fn every_command_names_its_schema() {
    for (command, answers) in commands() {
        for answer in answers {
            assert_eq!(text(&answer["schema"]), format!("floorwright/{command}/1"));
        }
    }
}

/// serde_json writes what is not a number as `null`, so a `null` where the same key has a number
/// elsewhere in the answer has to be an absence that is meant.
#[test]
fn no_number_is_missing() {
    for (command, answers) in commands() {
        for answer in answers {
            let mut numbers = BTreeSet::new();
            let mut nulls = BTreeSet::new();
            walk(answer, "", &mut |path, value| match value {
                Value::Number(number) => {
                    assert!(number.as_f64().is_some_and(f64::is_finite), "{path}");
                    numbers.insert(path.to_owned());
                }
                Value::Null => {
                    nulls.insert(path.to_owned());
                }
                Value::String(text) => assert!(!text.contains("NaN"), "{path}: {text}"),
                _ => {}
            });
            let both: Vec<&String> = numbers
                .intersection(&nulls)
                .filter(|path| !MEANT_ABSENT.iter().any(|end| path.ends_with(end)))
                .collect();
            assert!(both.is_empty(), "{command}: {both:?}");
        }
    }
}

/// Numbers that may be missing: what was written at a point that was read more than once; the step
/// to the first row of a level book, which has none before it; the distance that a criterion is
/// taken over, which not every criterion has; the part that governs a criterion that was not judged;
/// the amount of a line or a section whose rate the job does not give; the pass after which a floor
/// did not follow, where it did.
const MEANT_ABSENT: [&str; 10] = [
    ".order.result.lines[].amount",
    ".order.result.sections[].amount",
    ".left.result.lines[].amount",
    ".left.result.sections[].amount",
    ".record.result.supports[].fell_behind",
    ".off_their_neighbours[].written",
    ".odd[].written",
    ".book.rows[].step",
    ".finding.height.over",
    ".verdicts[].governing",
];

/// A snapshot: which keys there are, so that a change of the schema is seen. It says nothing of
/// whether the values are right. To take a new one, delete the file and run the test twice.
#[test]
fn the_keys_are_those_of_the_snapshot() {
    let mut keys = BTreeSet::new();
    for (command, answers) in commands() {
        for answer in answers {
            walk(answer, command, &mut |path, value| {
                // Of lists of pairs of anything, and of what comes and goes, the leaves suffice.
                if !value.is_object() && !value.is_array() {
                    keys.insert(path.to_owned());
                }
            });
        }
    }
    let found: String = keys.iter().map(|key| format!("{key}\n")).collect();
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/snapshots/json-keys.txt");
    match fs::read_to_string(&file) {
        Err(_) => {
            fs::write(&file, found).unwrap();
            panic!("a new snapshot was taken: read it, and run the test again");
        }
        Ok(known) => {
            let known: BTreeSet<&str> = known.lines().collect();
            let found: BTreeSet<&str> = found.lines().collect();
            let gone: Vec<&&str> = known.difference(&found).collect();
            let new: Vec<&&str> = found.difference(&known).collect();
            assert!(gone.is_empty() && new.is_empty(), "gone: {gone:#?}\nnew: {new:#?}");
        }
    }
}

#[test]
fn a_pair_is_the_difference_of_its_levels() {
    let here = folder("schema-pair");
    demo_in(&here);
    let json =
        run_in(&here, &["levels", "demo/house.toml", "--pair", "A1,EXT", "--json"]).ends(0).json();
    let level = |point: &str| {
        let levels = list(&json["result"]["reduction"]["levels"]);
        number(&levels.iter().find(|level| level["point"] == point).unwrap()["level"])
    };
    let pair = &list(&json["result"]["pairs"])[0];
    assert!((number(&pair["rise"]) - (level("EXT") - level("A1"))).abs() < 1e-9);
    assert!(number(&pair["sd"]) > 0.0);
}
