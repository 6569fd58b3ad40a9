//! How the commands behave at the edges: help, slips of the keyboard, files in the way, pipes.

use crate::program::{
    demo_in, edit, entry, folder, list, number, program, run_in, run_with_input, taken, text,
};
use std::fs;
use std::io::Read;
use std::process::Stdio;

const COMMANDS: [&str; 8] = ["demo", "new", "check", "levels", "floor", "frame", "lift", "passes"];

/// Four supports, read once: the smallest table that has a shape.
const TABLE: &str =
    "point,x,y,reading\nA1,0,0,1612\nA2,1800,0,1620\nB1,0,1500,1605\nB2,1800,1500,1609\n";

#[test]
fn help_of_every_command_starts_with_an_example() {
    let here = folder("help");
    for command in COMMANDS {
        for flag in ["-h", "--help"] {
            let run = run_in(&here, &[command, flag]).ends(0);
            let first: Vec<&str> = run.out.lines().take(2).collect();
            assert!(first[0].starts_with("Example"), "{command}: {first:?}");
            assert!(first[1].starts_with(&format!("  floorwright {command}")), "{first:?}");
            assert!(run.err.is_empty());
            for line in run.out.lines() {
                assert!(line.chars().count() <= 80, "{command}: {line}");
            }
        }
    }
    let all = run_in(&here, &["-h"]).ends(0).says("Exit codes: 0 ok");
    for command in COMMANDS {
        assert!(all.out.contains(&format!("\n  {command} ")), "{command}");
    }
    run_in(&here, &["--version"]).ends(0).says(env!("CARGO_PKG_VERSION"));
}

#[test]
fn a_slip_of_the_keyboard_is_met_with_what_was_meant() {
    let here = folder("slips");
    run_in(&here, &["lvels", "x.toml"]).ends(2).says("'levels'");
    run_in(&here, &["lift", "x.toml", "--tolerence", "4"]).ends(2).says("--tolerance");
    fs::write(here.join("table.csv"), TABLE).unwrap();
    run_in(&here, &["lift", "table.csv", "--prefer", "fast"])
        .ends(2)
        .says("hint: write least-squares");
    run_in(&here, &["lift", "table.csv", "--set", "B3"]).ends(2).says("hint: write --set B3=12");
    run_in(&here, &["lift", "table.csv", "--set", "Z9=3"]).ends(4).says("there is no support Z9");
    run_in(&here, &["lift", "table.csv", "--height", "Z9-3"])
        .ends(4)
        .says("is no point, offset or level");
    run_in(&here, &["lift", "table.csv", "--tolerance=-1"]).ends(2).says("below zero");
    run_in(&here, &["levels", "table.csv", "--pair", "A1"]).ends(2).says("write --pair A1,EXT");
    run_in(&here, &["levels", "table.csv", "--pair", "A1,Z9"]).ends(4).says("Z9 has no level");
    run_in(&here, &["passes", "table.csv", "--jacks", "0"])
        .ends(2)
        .says("nothing moves without a jack");
    run_in(&here, &["passes", "table.csv", "--per-pass", "0"]).ends(2).says("is not above zero");
    run_in(&here, &["passes", "table.csv", "--per-pass", "nan"]).ends(2);
    run_in(&here, &["new", "x.toml", "--no-input", "--terms", "fr"])
        .ends(2)
        .says("au, nz, us or uk");
    run_in(&here, &["new", "x.toml", "--no-input", "--rows", "0"]).ends(2);
    run_in(&here, &["new"]).ends(2);
    assert!(!here.join("x.toml").exists());
}

#[test]
fn a_file_that_is_not_there() {
    let here = folder("missing");
    for command in ["check", "levels", "floor", "frame", "lift", "passes"] {
        for file in ["nothing.toml", "nothing.csv"] {
            let run = run_in(&here, &[command, file]).ends(4).says("hint: check the name");
            assert!(run.err.contains(file) && run.out.is_empty());
        }
        let json = run_in(&here, &[command, "nothing.toml", "--json"]).ends(4).json();
        assert_eq!(text(&json["schema"]), "floorwright/error/1");
        assert_eq!(json["error"]["exit"], 4);
    }
    // A folder, and a file that is no text.
    fs::create_dir(here.join("folder.toml")).unwrap();
    run_in(&here, &["check", "folder.toml"]).ends(6);
    fs::write(here.join("photo.csv"), [0xff, 0xd8, 0xff, 0xe0, 0, 16]).unwrap();
    run_in(&here, &["check", "photo.csv"]).ends(1).says("not UTF-8").says("hint: save it again");
}

#[test]
fn new_never_writes_over_a_job() {
    let here = folder("new-twice");
    run_in(&here, &["new", "house.toml", "--no-input"]).ends(0);
    fs::write(here.join("house.toml"), "mine").unwrap();
    run_in(&here, &["new", "house.toml", "--no-input"])
        .ends(5)
        .says("is there already")
        .says("--force");
    assert_eq!(fs::read_to_string(here.join("house.toml")).unwrap(), "mine");
    // The readings alone are in the way too.
    fs::remove_file(here.join("house.toml")).unwrap();
    fs::write(here.join("house-readings.csv"), "mine").unwrap();
    run_in(&here, &["new", "house.toml", "--no-input"]).ends(5).says("house-readings.csv");
    assert!(!here.join("house.toml").exists());
    assert_eq!(fs::read_to_string(here.join("house-readings.csv")).unwrap(), "mine");
    run_in(&here, &["new", "house.toml", "--no-input", "--force"]).ends(0);
    run_in(&here, &["check", "house.toml"]).ends(0).says("there are no readings yet");
}

#[test]
fn new_asks_nobody_who_cannot_answer() {
    let here = folder("new-quiet");
    // Standard input is closed in the first two and a pipe that never ends in the third.
    run_in(&here, &["new", "a.toml", "--no-input"]).ends(0);
    run_in(&here, &["new", "b.toml"]).ends(0);
    let mut child = program()
        .current_dir(&here)
        .args(["new", "c.toml", "--no-input"])
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let held_open = child.stdin.take();
    assert!(child.wait().unwrap().success());
    drop(held_open);
    let made = |name: &str| fs::read_to_string(here.join(name)).unwrap();
    assert_eq!(made("b.toml"), made("a.toml").replace("a-readings", "b-readings"));
}

#[test]
fn the_schema_describes_every_entry() {
    let here = folder("schema");
    let schema = run_in(&here, &["new", "--schema"]).ends(0).json();
    assert!(text(&schema["$schema"]).starts_with("https://json-schema.org/"));
    let forms = schema["$defs"].as_object().unwrap();
    let mut n_described = 0;
    for (name, form) in forms {
        for (key, property) in form["properties"].as_object().into_iter().flatten() {
            assert!(!text(&property["description"]).is_empty(), "{name}.{key}");
            n_described += 1;
        }
    }
    assert!(n_described > 60, "{n_described}");
    for block in ["support", "setup", "goal", "book"] {
        assert!(!text(&schema["properties"][block]["description"]).is_empty(), "{block}");
    }
}

/// Makes a job, fills in readings, and works out the lifts. The floor falls evenly from A1, so that
/// the lift of each support is its reading less that of A1.
fn new_to_lift(name: &str, flags: &[&str], readings: [&str; 5], lifts_mm: [f64; 4]) -> String {
    let here = folder(name);
    let args: Vec<&str> = ["new", "house.toml", "--no-input", "--rows", "2", "--columns", "2"]
        .iter()
        .chain(flags)
        .copied()
        .collect();
    run_in(&here, &args).ends(0).says("Next: floorwright check house.toml");
    let sheet = here.join("house-readings.csv");
    let points = ["A1", "A2", "B1", "B2", "A1"];
    let filled: String = points
        .iter()
        .zip(readings)
        .enumerate()
        .map(|(idx, (point, reading))| format!("{point},{reading},10:{idx:02},\n"))
        .collect();
    let as_made = fs::read_to_string(&sheet).unwrap();
    let made: Vec<&str> = as_made.lines().map(|line| line.split(',').next().unwrap()).collect();
    assert_eq!(made, ["point", "A1", "A2", "B1", "B2", "A1"]);
    fs::write(&sheet, format!("point,reading,time,note\n{filled}")).unwrap();
    run_in(&here, &["check", "house.toml"]).ends(0).says("house.toml is in order.");
    let json = run_in(&here, &["lift", "house.toml", "--json"]).ends(0).json();
    let outcome = &json["result"]["lifting"]["result"]["outcome"]["reached"]["outcome"];
    for (point, expected) in points.iter().zip(lifts_mm) {
        let lift = number(&entry(&outcome["lifts"], "id", point)["lift"]);
        assert!((lift - expected).abs() < 1e-6, "{point}: {lift} for {expected}");
    }
    run_in(&here, &["passes", "house.toml"]).ends(0);
    run_in(&here, &["lift", "house.toml"]).ends(0).out
}

#[test]
fn from_new_to_lift_in_millimetres() {
    let text =
        new_to_lift("new-mm", &[], ["1500", "1506", "1503", "1511", "1500"], [0.0, 6.0, 3.0, 11.0]);
    assert!(text.contains("Stump") && text.contains("+11.0"), "{text}");
}

#[test]
fn from_new_to_lift_in_feet_and_inches() {
    let text = new_to_lift(
        "new-us",
        &["--terms", "us", "--units", "ft-in"],
        ["59 1/16", "59 5/16", "\"4' 11 3/16\"\"\"", "59.5", "4-11-1/16"],
        [0.0, 0.25 * 25.4, 0.125 * 25.4, 0.4375 * 25.4],
    );
    assert!(text.contains("Pier") && text.contains("shims"), "{text}");
    assert!(
        text.contains("+1/4\"") && text.contains("+1/8\"") && text.contains("+7/16\""),
        "{text}"
    );
}

#[test]
fn a_dash_reads_a_table_from_standard_input() {
    let here = folder("stdin");
    let run = run_with_input(&here, &["lift", "-", "--json"], TABLE).ends(0);
    let json = run.json();
    let lifts = &json["result"]["lifting"]["result"]["outcome"]["reached"]["outcome"]["lifts"];
    // B1 has the lowest reading, so it is the highest point: 1612 - 1605, 1620 - 1605, 1609 - 1605.
    for (support, lift) in [("A1", 7.0), ("A2", 15.0), ("B1", 0.0), ("B2", 4.0)] {
        assert!((number(&entry(lifts, "id", support)["lift"]) - lift).abs() < 1e-6, "{support}");
    }
    fs::write(here.join("table.csv"), TABLE).unwrap();
    let from_file = run_in(&here, &["lift", "table.csv", "--json"]).ends(0).json();
    assert_eq!(from_file["result"], json["result"]);
    for command in ["check", "levels", "floor", "passes"] {
        run_with_input(&here, &[command, "-"], TABLE).ends(0);
    }
    run_with_input(&here, &["lift", "-"], "").ends(3).says("standard input:1: the file is empty");
}

#[test]
fn a_reader_who_has_seen_enough_is_no_failure() {
    let here = folder("pipe");
    demo_in(&here);
    for args in [["passes", "demo/house.toml"], ["levels", "demo/house.toml"]] {
        let mut child = program()
            .current_dir(&here)
            .args(args)
            .arg("--json")
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut first = [0; 1];
        let mut out = child.stdout.take().unwrap();
        out.read_exact(&mut first).unwrap();
        drop(out);
        let run = taken(&child.wait_with_output().unwrap());
        assert_eq!((run.exit, run.err.as_str()), (0, ""));
    }
    // Closed before anything is printed.
    let mut child = program()
        .current_dir(&here)
        .args(["lift", "demo/house.toml"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let run = taken(&child.wait_with_output().unwrap());
    assert_eq!((run.exit, run.err.as_str()), (0, ""));
}

#[test]
fn a_lift_set_by_hand_is_kept_and_shown() {
    let here = folder("by-hand");
    demo_in(&here);
    let job = here.join("demo");
    let run = run_in(&job, &["lift", "house.toml", "--set", "B3=7", "--json"]).ends(0).json();
    let lifting = &run["result"]["lifting"]["result"];
    let lift = entry(&lifting["outcome"]["reached"]["outcome"]["lifts"], "id", "B3");
    assert!((number(&lift["lift"]) - 7.0).abs() < 1e-6);
    assert_eq!(list(&lifting["by_hand"]).len(), 1);
    run_in(&job, &["lift", "house.toml", "--set", "B3=7"]).ends(0).says("set by hand");
    // A chimney that cannot move is not moved by a wish, nor is anything beyond what the job allows.
    run_in(&job, &["lift", "house.toml", "--set", "C4=5"]).ends(3).says(
        "support C4 is set to 5.0 mm by hand, but it stays as it is: chimney on a base of its own",
    );
    for (set, lift) in [("B3=-5", "-5.0"), ("B3=151", "151.0")] {
        run_in(&job, &["lift", "house.toml", "--set", set]).ends(3).says(&format!(
            "support B3 is set to {lift} mm by hand, it may go from 0.0 mm to 150.0 mm"
        ));
    }
    run_in(&job, &["lift", "house.toml", "--set", "F5=20"])
        .ends(3)
        .says("support F5 is set to 20.0 mm by hand, but it stays as it is: not under the rooms");
    edit(&job.join("house.toml"), "level_tolerance = 5", "level_tolerance = 0.5");
    run_in(&job, &["lift", "house.toml"])
        .ends(3)
        .says("It cannot be done")
        .says("smallest workable");
}
