//! The invented house of `floorwright demo`, whose true levels and planted faults are known.

use crate::program::{
    Run, demo_in, edit, ends_with_its_passes, entry, folder, list, number, one_line, program,
    run_in, taken, text, truth,
};
use crate::replay::{Allowed, House, replay};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// The levels that were planted, in mm: the truth of an invented house.
const TRUTH: &str = include_str!("../../demo/truth.csv");
/// The planted misread: E2 in setup hall, read this much too low, mm.
const MISREAD: f64 = -20.0;
/// The planted creep of the water lines, mm a minute.
const DRIFTS: [(&str, f64); 2] = [("hall", -0.06), ("wing", -0.035)];
/// What the job asks: every point of the goal within this of the target, mm.
const TOLERANCE: f64 = 5.0;
/// The tolerance of a stack of packers that the program takes if a job has none, mm.
const STACK_TOLERANCE: f64 = 0.75;
/// What is wanted of a stack is rounded to a twentieth of a millimetre, so half of that comes on top.
const STACK_ROUNDING: f64 = 0.025;

/// The demo, made in a folder of its own.
fn demo(name: &str) -> PathBuf {
    let folder = folder(name);
    demo_in(&folder).says("Nobody lives in it");
    folder.join("demo")
}

fn json(folder: &Path, args: &[&str]) -> Value {
    let args: Vec<&str> = args.iter().copied().chain(["--json"]).collect();
    run_in(folder, &args).ends(0).json()
}

/// The passes, which end as a limit of the frame stops them or not.
fn passes(folder: &Path, args: &[&str]) -> Value {
    let args: Vec<&str> = ["passes", "house.toml", "--json"].iter().chain(args).copied().collect();
    let run = run_in(folder, &args);
    let json = run.json();
    run.ends(ends_with_its_passes(&json));
    json
}

/// Checks every level but those left out against the truth, within four standard deviations.
fn levels_are_true(levels: &Value, sd: &str, left_out: &[&str]) {
    let mut checked = 0;
    for (point, planted) in truth(TRUTH).into_iter().filter(|(point, _)| !left_out.contains(point))
    {
        let found = entry(levels, "point", point);
        let (level, sd) = (number(&found["level"]), number(&found[sd]));
        if found["held"] == true {
            assert!((level - planted).abs() < 1e-9, "{point}: {level}, held at {planted}");
            continue;
        }
        assert!(sd > 0.0 && sd < 6.0, "{point}: sd {sd}");
        assert!((level - planted).abs() < 4.0 * sd, "{point}: {level} ± {sd}, planted {planted}");
        checked += 1;
    }
    assert!(checked > 50, "{checked}");
}

#[test]
fn the_planted_misread_is_the_first_suspect_and_its_size_is_found() {
    let levels = json(&demo("demo-misread"), &["levels", "house.toml"]);
    let reduction = &levels["result"]["reduction"];
    let first = &list(&reduction["suspects"])[0];
    assert_eq!(text(&first["name"]["reading"]["point"]), "E2");
    assert_eq!(text(&first["name"]["reading"]["setup"]), "hall");
    // If this reading alone is wrong, the standard deviation of its error is that of the error
    // over its test statistic.
    let error = number(&first["error"]);
    let sd = (error / number(&first["statistic"])).abs();
    assert!(sd > 0.0 && sd < 3.0, "{sd}");
    assert!((error - MISREAD).abs() < 3.0 * sd, "{error} ± {sd}");
    assert_eq!(reduction["global_test"]["status"], "failed");
    // A misread in the net pulls at its neighbours further than the stated standard deviations
    // say; those that are scaled by how badly the readings fit allow for it.
    levels_are_true(&reduction["levels"], "sd_post", &["E2"]);
}

#[test]
fn the_planted_drifts_are_found() {
    let levels = json(&demo("demo-drift"), &["levels", "house.toml"]);
    for (setup, planted) in DRIFTS {
        let drift = &entry(&levels["result"]["reduction"]["setups"], "setup", setup)["drift"];
        let (rate, sd) = (number(&drift["rate"]), number(&drift["sd_prior"]));
        assert!(sd > 0.0 && sd < 0.03, "{setup}: sd {sd}");
        assert!((rate - planted).abs() < 3.0 * sd, "{setup}: {rate} ± {sd}, planted {planted}");
    }
}

#[test]
fn without_the_misread_everything_fits_and_is_true() {
    let folder = demo("demo-struck-out");
    edit(&folder.join("hall.csv"), "\nE2,1069,09:15", "\n# E2,1069,09:15");
    let levels = json(&folder, &["levels", "house.toml", "--strict"]);
    let reduction = &levels["result"]["reduction"];
    assert_eq!(reduction["global_test"]["status"], "passed");
    assert!(list(&reduction["suspects"]).is_empty());
    levels_are_true(&reduction["levels"], "sd_prior", &[]);
    for (setup, planted) in DRIFTS {
        let drift = &entry(&reduction["setups"], "setup", setup)["drift"];
        assert!((number(&drift["rate"]) - planted).abs() < 3.0 * number(&drift["sd_prior"]));
    }
}

#[test]
fn with_the_misread_a_strict_run_fails() {
    let folder = demo("demo-strict");
    run_in(&folder, &["levels", "house.toml", "--strict"])
        .ends(3)
        .says("1. re-read E2 from setup hall: it reads about 19.8 mm too low")
        .says("Nothing was left out:");
}

#[test]
fn the_chimney_stays_and_the_floor_ends_within_the_tolerance() {
    let folder = demo("demo-lift");
    let lift = json(&folder, &["lift", "house.toml"]);
    let lifting = &lift["result"]["lifting"]["result"];
    let target = number(&lifting["target"]["level"]);
    assert_eq!(text(&lifting["target"]["from"]), "the level of EXT");
    let ext = number(
        &entry(
            &json(&folder, &["levels", "house.toml"])["result"]["reduction"]["levels"],
            "point",
            "EXT",
        )["level"],
    );
    assert!((target - ext).abs() < 1e-9);

    let outcome = &lifting["outcome"]["reached"]["outcome"];
    let chimney = entry(&outcome["lifts"], "id", "C4");
    assert!(number(&chimney["lift"]).abs() < 1e-9);
    let facts = entry(&lifting["supports"], "support", "C4");
    assert_eq!(text(&facts["held"]), "chimney on a base of its own");
    run_in(&folder, &["lift", "house.toml"]).ends(0).says("stays: chimney on a base of its own");

    let points = list(&outcome["points"]);
    assert!(points.len() > 50);
    for point in points {
        let after = number(&point["after"]);
        assert!((after - target).abs() <= TOLERANCE + 1e-6, "{point:#}");
        assert!((after - target - number(&point["departure"])).abs() < 1e-9, "{point:#}");
    }
    // Over a support the floor goes where the support goes.
    for facts in list(&lifting["supports"]).iter().filter(|facts| facts["deck"] == 0) {
        let id = text(&facts["support"]);
        let after = number(&facts["floor"]) + number(&entry(&outcome["lifts"], "id", id)["lift"]);
        let said = number(&entry(&outcome["points"], "id", id)["after"]);
        assert!((after - said).abs() < 1e-6, "{id}: {after}, said {said}");
    }
}

#[test]
fn packers_fill_the_lift_and_the_gap() {
    let folder = demo("demo-packers");
    let job: toml::Table = fs::read_to_string(folder.join("house.toml")).unwrap().parse().unwrap();
    let gaps: BTreeMap<&str, f64> = job["support"]
        .as_array()
        .unwrap()
        .iter()
        .map(|support| {
            let gap = support.get("gap").map_or(0, |gap| gap.as_integer().unwrap());
            (support["id"].as_str().unwrap(), gap as f64)
        })
        .collect();
    assert!(gaps.values().filter(|&&gap| gap > 0.0).count() >= 4);
    let sold: Vec<f64> = job["stock"]["packers"]
        .as_array()
        .unwrap()
        .iter()
        .map(|packer| &packer["thickness"])
        .map(|thick| thick.as_float().unwrap_or_else(|| thick.as_integer().unwrap() as f64))
        .collect();

    let lift = json(&folder, &["lift", "house.toml"]);
    let wanted_lifts =
        &lift["result"]["lifting"]["result"]["outcome"]["reached"]["outcome"]["lifts"];
    let packing = &lift["result"]["packing"]["result"];
    let supports = list(&packing["supports"]);
    assert!(supports.len() > 45);
    let mut pieces_used = 0;
    for packed in supports {
        let id = text(&packed["support"]);
        let wanted = number(&entry(wanted_lifts, "id", id)["lift"]) + gaps[id];
        let pieces: Vec<f64> = list(&packed["stack"]["pieces"]).iter().map(number).collect();
        assert!(pieces.iter().all(|piece| sold.contains(piece)), "{id}: {pieces:?}");
        assert!(pieces.len() <= 6, "{id}: {pieces:?}");
        let sum: f64 = pieces.iter().sum();
        assert!(
            (sum - wanted).abs() <= STACK_TOLERANCE + STACK_ROUNDING + 1e-9,
            "{id}: {sum} for {wanted}"
        );
        pieces_used += pieces.len();
    }
    assert_eq!(packing["buy"]["pieces"].as_u64(), u64::try_from(pieces_used).ok());
    let bought: u64 =
        list(&packing["buy"]["lines"]).iter().map(|line| line["cents"].as_u64().unwrap()).sum();
    assert_eq!(packing["buy"]["cents"].as_u64(), Some(bought));
}

#[test]
fn the_passes_can_be_followed_and_end_on_the_packers() {
    let folder = demo("demo-passes");
    let lift = json(&folder, &["lift", "house.toml"]);
    let house = House::of(&lift);
    let packed: Vec<f64> =
        list(&lift["result"]["packing"]["result"]["lifts"]).iter().map(number).collect();
    assert_eq!(packed.len(), house.supports.len());

    let run = passes(&folder, &[]);
    let passes_of_run = &run["result"]["passes"]["result"]["passes"];
    let ends = replay(passes_of_run, &house, &Allowed { jacks: 4, per_pass: 5.0 });
    for (support, packed) in house.supports.iter().zip(&packed) {
        assert!((ends[support] - packed).abs() < 1e-6, "{support}: {} not {packed}", ends[support]);
    }
    assert!(ends["C4"].abs() < 1e-9);
    let most = packed.iter().copied().fold(0.0, f64::max);
    assert_eq!(list(&passes_of_run["passes"]).len(), (most / 5.0).ceil() as usize);

    // With other limits, the other limits hold.
    let run = passes(&folder, &["--jacks", "2", "--per-pass", "4"]);
    let passes_of_run = &run["result"]["passes"]["result"]["passes"];
    let ends = replay(passes_of_run, &house, &Allowed { jacks: 2, per_pass: 4.0 });
    for (support, packed) in house.supports.iter().zip(&packed) {
        assert!((ends[support] - packed).abs() < 1e-6, "{support}");
    }
}

#[test]
fn a_second_demo_gives_the_same_bytes() {
    let files = |folder: &Path| -> BTreeMap<String, Vec<u8>> {
        let (beside, paper) = (fs::read_dir(folder), fs::read_dir(folder.join("paper")));
        let entries = beside.unwrap().chain(paper.unwrap()).map(|entry| entry.unwrap());
        entries
            .filter(|entry| entry.path().is_file())
            .map(|file| (file.file_name().into_string().unwrap(), fs::read(file.path()).unwrap()))
            .collect()
    };
    let (first, second) = (demo("demo-once"), demo("demo-twice"));
    let (once, twice) = (files(&first), files(&second));
    let names: BTreeSet<&str> = once.keys().map(String::as_str).collect();
    for name in
        ["house.toml", "hall.csv", "levels.txt", "levels.json", "lifts.svg", "run-sheet.pdf"]
    {
        assert!(names.contains(name), "{name} of {names:?}");
    }
    assert_eq!(names, twice.keys().map(String::as_str).collect());
    for (name, bytes) in &once {
        assert!(twice[name] == *bytes, "{name} differs");
    }
    // And over itself.
    demo_in(first.parent().unwrap());
    assert!(files(&first) == once);
}

#[test]
fn every_file_that_the_demo_names_is_there() {
    let folder = demo("demo-names");
    let run = demo_in(folder.parent().unwrap());
    let named: Vec<&str> = run
        .out
        .split_whitespace()
        .filter(|word| word.starts_with("demo/"))
        .map(|word| word.trim_end_matches([':', ',']))
        .collect();
    assert!(named.len() >= 9, "{named:?}");
    for file in named {
        assert!(folder.parent().unwrap().join(file).is_file(), "{file}");
    }
}

#[test]
fn what_is_printed_fits_eighty_columns_and_has_no_escapes() {
    let folder = demo("demo-width");
    let commands: [&[&str]; 8] = [
        &["check", "house.toml"],
        &["levels", "house.toml", "--readings", "--book", "--pair", "A1,EXT"],
        &["floor", "house.toml", "--all-criteria", "--profile", "0,0:10800,0"],
        &["lift", "house.toml", "--points"],
        &["passes", "house.toml"],
        &["lift", "house.toml", "--tolerance", "1"],
        &["frame", "house.toml", "--support", "E6", "--support", "I4", "--in-use"],
        &["passes", "house.toml", "--no-frame"],
    ];
    for args in commands {
        let run = run_in(&folder, args);
        assert!(run.out.lines().count() > 4, "{args:?}");
        fits(&run, args);
        // A pipe is no terminal, with or without NO_COLOR.
        let plain = taken(
            &program().current_dir(&folder).args(args).env("NO_COLOR", "1").output().unwrap(),
        );
        assert_eq!(plain.out, run.out);
        let never = taken(
            &program()
                .current_dir(&folder)
                .args(args)
                .args(["--colour", "never"])
                .output()
                .unwrap(),
        );
        assert_eq!(never.out, run.out);
    }
    let coloured = run_in(&folder, &["floor", "house.toml", "--colour", "always"]).ends(0);
    let plain = run_in(&folder, &["floor", "house.toml"]).ends(0);
    assert!(coloured.out.contains('\u{1b}'), "always is always");
    // The map is drawn another way, but nothing is said by colour alone.
    let stripped = without_escapes(&coloured.out);
    for line in stripped.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
    let around_the_map = |text: &str| {
        let (before, map) = text.split_once("\nMap\n").expect("there is a map");
        let (_, after) =
            map.split_once("More readings would tell most").expect("the map ends with this");
        [one_line(before), one_line(after)]
    };
    assert_eq!(around_the_map(&stripped), around_the_map(&plain.out));
}

fn fits(run: &Run, args: &[&str]) {
    for line in run.out.lines() {
        assert!(line.chars().count() <= 80, "{args:?}: {} in {line}", line.chars().count());
    }
    assert!(!run.out.contains('\u{1b}') && !run.err.contains('\u{1b}'), "{args:?}");
}

fn without_escapes(text: &str) -> String {
    let mut plain = String::new();
    let mut pieces = text.split('\u{1b}');
    plain.push_str(pieces.next().unwrap_or_default());
    for piece in pieces {
        plain.push_str(piece.split_once('m').map_or("", |(_, rest)| rest));
    }
    plain
}
