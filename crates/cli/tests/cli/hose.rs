//! `hose` and `stands`: what a builder reads first, what is refused, and what fits the page.

use crate::program::{demo_in, folder, list, number, run_in, text};
use std::fs;

#[test]
fn a_hose_from_flags_alone_says_wait_and_trust_first() {
    let here = folder("hose-flags");
    let ran = run_in(&here, &["hose", "--bore", "8", "--length", "20 m"]).ends(0);
    let said = ran.out;
    assert!(said.starts_with("Your hose: 8 mm bore, 20 m, on a pail of 200 mm"), "{said}");
    // The vector of 28.43 s before the margin, at 20 C.
    assert!(
        said.contains("Wait 32 s after each move of up to 100 mm, for the last 0.5 mm"),
        "{said}"
    );
    assert!(said.contains("Never start it by mouth"), "{said}");
    assert!(said.lines().all(|line| line.chars().count() <= 80), "{said}");
    let json = run_in(&here, &["hose", "--bore", "8", "--length", "20 m", "--json"]).ends(0).json();
    assert_eq!(text(&json["schema"]), "floorwright/hose/1");
    assert!((number(&json["result"]["scale"]) - 1.0016).abs() < 1e-9);
    assert_eq!(text(&json["result"]["regime"]), "swings");
}

#[test]
fn antifreeze_brings_its_cautions() {
    let here = folder("hose-glycol");
    let said =
        run_in(&here, &["hose", "--fluid", "ethylene-glycol", "--glycol", "30 %"]).ends(0).out;
    assert!(
        said.contains("sweet poison") && said.contains("Mix the antifreeze before filling"),
        "{said}"
    );
    assert!(said.contains("40 mm apart"), "{said}");
}

#[test]
fn a_swing_that_was_timed_is_judged() {
    let here = folder("hose-swing");
    let free = run_in(&here, &["hose", "--swing", "11"]).ends(0).out;
    assert!(free.contains("nothing blocks the hose"), "{free}");
    let blocked = run_in(&here, &["hose", "--swing", "none"]).ends(3).out;
    assert!(blocked.contains("It should swing and does not"), "{blocked}");
    run_in(&here, &["hose", "--swing", "soon"]).ends(2);
}

#[test]
fn hoses_that_cannot_be_are_refused() {
    let here = folder("hose-bad");
    let check = |args: &[&str], expected: &str| {
        let mut all = vec!["hose"];
        all.extend(args);
        let said = run_in(&here, &all).ends(3).err;
        assert!(said.contains(expected) && said.contains("hint: "), "{said}");
    };
    check(&["--bore", "0"], "the command line: --bore: out of range: 0 mm, must be 4 mm to 15 mm");
    check(&["--leg-temperatures", "10", "200"], "--leg-temperatures: out of range: 200 C");
    check(&["--length", "2 km"], "--length: cannot be read");
    check(&["--temperature", "-5"], "freezes at 0.0 C");
    check(&["--reservoir", "8"], "the reservoir is smaller than the hose");
    let said = run_in(&here, &["hose", "--care", "sloppy"]).ends(2).err;
    assert!(said.contains("casual or careful"), "{said}");
}

/// A program that reads the answer gets place, value, limit and hint each by itself.
#[test]
fn faults_stand_one_by_one_in_json() {
    let here = folder("hose-faults");
    let said = run_in(&here, &["hose", "--bore", "0", "--length", "1", "--json"]).ends(3).json();
    let faults = list(&said["error"]["faults"]);
    assert_eq!(faults.len(), 2, "{said}");
    assert_eq!(text(&faults[0]["place"]), "--bore");
    assert_eq!(text(&faults[0]["value"]), "0 mm");
    assert_eq!(text(&faults[0]["limit"]), "4 mm to 15 mm");
    assert!(text(&faults[1]["hint"]).starts_with("write --length \"20 m\""), "{said}");
    assert!(!text(&said["error"]["what"]).contains("hint"), "{said}");
}

/// 0.21 mm stand between the legs for each kelvin and metre near 20 C: Kell's water.
#[test]
fn a_leg_in_the_sun_is_told_apart() {
    let here = folder("hose-legs");
    let part = |args: &[&str]| {
        let mut all = vec!["hose", "--json"];
        all.extend(args);
        let said = run_in(&here, &all).ends(0).json();
        let parts = list(&said["result"]["budget"]["components"]).to_vec();
        let legs = parts.iter().find(|part| text(&part["name"]) == "warm and cold legs");
        number(&legs.expect("it is in the budget")["sd"])
    };
    let (apart, alike) =
        (part(&["--leg-temperatures", "10", "20"]), part(&["--leg-temperatures", "15", "15"]));
    // Water of 10 and 20 C is 999.70 and 998.21 kg/m3: 1.49 mm on a leg of a metre, spread evenly.
    assert!((apart - 1.49 / 3.0_f64.sqrt()).abs() < 0.01, "{apart}");
    assert!(alike < 0.01, "{alike}");
}

#[test]
fn the_stands_of_the_demo_reach_every_point_with_room_to_write() {
    let here = folder("stands-demo");
    demo_in(&here);
    let ran = run_in(&here, &["stands", "demo/house.toml"]).ends(0);
    let said = ran.out;
    assert!(said.lines().all(|line| line.chars().count() <= 80), "{said}");
    assert!(said.contains("__________") && said.contains("base, last"), "{said}");
    let json = run_in(&here, &["stands", "demo/house.toml", "--json"]).ends(0).json();
    let plan = &json["result"]["plan"];
    assert!(list(&plan["unreached"]).is_empty());
    let worst = number(&list(&plan["accuracy"]["points"])[0]["sd"]);
    assert!(worst > number(&plan["accuracy"]["reading_sd"]) && worst < 1.0, "{worst}");
    let svg = fs::read_to_string(here.join("demo/stands.svg")).unwrap();
    assert!(svg.contains("STAND 1") && svg.contains("doorway"));
}

#[test]
fn a_hose_too_short_says_what_would_do() {
    let here = folder("stands-short");
    demo_in(&here);
    let job = fs::read_to_string(here.join("demo/house.toml")).unwrap();
    let far = "[[point]]\nid = \"SHED\"\nat = [24000, 1800]\nkind = \"threshold\"\n\n[goal]";
    fs::write(here.join("demo/shed.toml"), job.replacen("[goal]", far, 1)).unwrap();
    let said = run_in(&here, &["stands", "demo/shed.toml", "--length", "12 m"]).ends(3).out;
    assert!(said.contains("SHED is out of reach of every stand"), "{said}");
    assert!(
        said.contains("A hose of 16 m reaches it") || said.contains("A hose of 17 m reaches it"),
        "{said}"
    );
}
