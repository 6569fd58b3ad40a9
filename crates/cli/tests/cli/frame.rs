//! The frame under the floor as the program speaks of it: loads, jacks, passes that stop.
//!
//! Whether the numbers are right is the engine's to show. Here every number in a text is held
//! against the JSON of the same run, and every way that a frame can fail is met with words.

use crate::program::{
    Run, copy_of_example, edit, ends_with_its_passes, entry, folder, list, number, one_line,
    run_in, text,
};
use serde_json::Value;
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Three rows of four stumps with a reading over each: nothing is said of what is under the floor.
const GRID: &str = "point,x,y,reading\nA1,0,0,1612\nA2,1800,0,1620\nA3,3600,0,1618\nA4,5400,0,1611\n\
                    B1,0,1800,1605\nB2,1800,1800,1626\nB3,3600,1800,1619\nB4,5400,1800,1609\n\
                    C1,0,3600,1610\nC2,1800,3600,1614\nC3,3600,3600,1612\nC4,5400,3600,1606\n";

/// A job whose frame is given: three bearers on three stumps each, joists, walls and loads.
const GIVEN: &str = r#"format = 1
[job]
name = "Invented annex"
date = "2026-05-01"
UNITS
[frame]
set_share = [0.2, 0.9]
load_doubt = 0.1
seat_length = SEAT
[[bearer]]
id = "A"
supports = ["A1", "A2", "A3"]
section = "100x125 mm"
timber = "F7"
[[bearer]]
id = "B"
supports = ["B1", "B2", "B3"]
section = "100x125 mm"
timber = "F7"
[[bearer]]
id = "C"
supports = ["C1", "C2", "C3"]
section = "100x125 mm"
timber = "F7"
[joists]
direction = "y"
spacing = "450 mm"
section = "50x125 mm"
timber = "F7"
[loads]
floor = 0.4
live = 1.5
reason = "invented"
[[wall]]
name = "front wall"
from = ["0 mm", "0 mm"]
to = ["3600 mm", "0 mm"]
load = "1.1 kN/m"
reason = "invented"
[[benchmark]]
point = "BM"
level = 0
[[setup]]
id = "1"
reading_sd = "0.5 mm"
readings = "rows.csv"
[goal]
height = "highest"
[limits]
lift_per_pass = "3 mm"
jacks = 3
jack_rating = { value = "3 t", reason = "marked on the jack" }
"#;

/// Readings of the annex: its middle has sunk a little.
const ROWS: &str = "point,reading_mm\nBM,1400\nA1,1500\nA2,1503\nA3,1501\nB1,1502\nB2,1506\n\
                    B3,1502\nC1,1501\nC2,1503\nC3,1500\nBM,1400.2\n";

/// The annex in a folder of its own, in millimetres or in feet and inches.
fn annex(name: &str, is_us: bool) -> PathBuf {
    let here = folder(name);
    let (units, seat) = if is_us {
        ("terms = \"us\"\nunits = \"ft-in\"\nreading_units = \"mm\"", "\"4\\\"\"")
    } else {
        ("terms = \"au\"", "100")
    };
    let mut job = GIVEN.replace("UNITS", units).replace("SEAT", seat);
    for (row, y) in [("A", 0), ("B", 1800), ("C", 3600)] {
        for (column, x) in [(1, 0), (2, 1800), (3, 3600)] {
            let at = format!("[\"{x} mm\", \"{y} mm\"]");
            job.push_str(&format!("[[support]]\nid = \"{row}{column}\"\nat = {at}\n"));
        }
    }
    fs::write(here.join("job.toml"), job).unwrap();
    fs::write(here.join("rows.csv"), ROWS).unwrap();
    here
}

fn grid(name: &str) -> PathBuf {
    let here = folder(name);
    fs::write(here.join("grid.csv"), GRID).unwrap();
    here
}

fn json(folder: &Path, args: &[&str]) -> Value {
    let args: Vec<&str> = args.iter().copied().chain(["--json"]).collect();
    run_in(folder, &args).json()
}

fn fits(run: &Run) {
    for line in run.out.lines() {
        assert!(line.chars().count() <= 80, "{} in {line}", line.chars().count());
    }
}

/// Kilonewtons as a table has them: only nothing at all is plain 0.
fn kn(newtons: f64) -> String {
    or_nothing(newtons, (newtons / 100.0).round() / 10.0)
}

/// The same of a range, whose ends go apart.
fn kn_range(range: &Value) -> String {
    let (least, most) = (number(&range["least"]), number(&range["most"]));
    let down = or_nothing(least, (least / 100.0 + 1e-6).floor() / 10.0);
    let up = or_nothing(most, (most / 100.0 - 1e-6).ceil() / 10.0);
    if down == up { down } else { format!("{down} to {up}") }
}

fn or_nothing(newtons: f64, kn: f64) -> String {
    if newtons == 0.0 { "0".to_owned() } else { format!("{kn:.1}") }
}

/// The line of a table that begins with this name.
fn row(out: &str, heading: &str, name: &str) -> String {
    let (_, table) = out.split_once(heading).unwrap_or_else(|| panic!("no {heading} in {out}"));
    let found = table.lines().find(|line| line.split_whitespace().next() == Some(name));
    one_line(found.unwrap_or_else(|| panic!("no {name} under {heading}")))
}

#[test]
fn a_grid_of_stumps_and_readings_alone_gives_loads_marked_as_assumed() {
    let here = grid("frame-grid");
    let run = run_in(&here, &["frame", "grid.csv"]).ends(0);
    fits(&run);
    let run = run
        .says("The bearers are proposed from where the supports stand: none is given.")
        .says("- assumed: bearers")
        .says("- assumed: joists")
        .says("round the supports of each part, as no rooms are drawn")
        .says("nobody can see how much")
        .says("Nobody under a load that is held by jacks alone");
    let json = json(&here, &["frame", "grid.csv"]);
    let frame = &json["result"]["frame"]["result"];
    assert_eq!(frame["proposed"], true);
    // Everything assumed is printed, but for a source that is named once.
    let said = one_line(&run.out);
    for assumed in list(&frame["frame"]["assumed"]) {
        let start = text(assumed).split('(').next().unwrap().trim();
        assert!(said.contains(start), "not said: {start}");
    }
    // And there are passes, checked on it, that say so too.
    let passes = run_in(&here, &["passes", "grid.csv"]);
    let found = self::json(&here, &["passes", "grid.csv"]);
    let passes = passes.ends(ends_with_its_passes(&found)).says("bearers proposed, and");
    fits(&passes);
    run_in(&here, &["check", "grid.csv"]).ends(0).says("bearers proposed,").says("things assumed");
}

#[test]
fn what_a_support_carries_is_the_same_in_text_and_json() {
    for (here, job) in [
        (annex("frame-numbers", false), "job.toml"),
        (grid("frame-numbers-grid"), "grid.csv"),
        (copy_of_example("nasty", "frame-numbers-nasty"), "job.toml"),
    ] {
        for (state, args) in
            [("today", &["frame", job][..]), ("in_use", &["frame", job, "--in-use"])]
        {
            let run = run_in(&here, args).ends(0);
            fits(&run);
            let json = json(&here, args);
            let state = &json["result"]["frame"]["result"][state];
            let supports = list(&state["supports"]);
            let (mut hang, mut may) = (0, 0);
            for load in supports {
                let row = row(&run.out, "carries, ", text(&load["support"]));
                let [springy, set] = ["springy", "set"].map(|end| kn(number(&load[end])));
                let range = kn_range(&load["range"]);
                assert!(row.contains(&format!(" {springy} {set} {range} ")), "{row}: {load:#}");
                let word = text(&load["carrying"]).replace('-', " ");
                assert!(row.contains(&word), "{row}: {word}");
                hang += usize::from(load["carrying"] == "hangs");
                may += usize::from(load["carrying"] == "may-hang");
            }
            let n = supports.len();
            let said = one_line(&run.out);
            match (hang, may) {
                (0, 0) => assert!(said.contains(&format!("Every one of the {n} "))),
                (0, may) => assert!(said.contains(&format!("{may} of {n} "))),
                (hang, 0) => assert!(said.contains(&format!("{hang} of {n} "))),
                (hang, may) => {
                    assert!(said.contains(&format!("{hang} of {n} ")));
                    assert!(said.contains(&format!("and {may} more may")));
                }
            }
            // What all supports carry together is the whole load, whatever the timber does.
            let total = number(&state["total"]);
            for end in ["springy", "set"] {
                let sum: f64 = supports.iter().map(|load| number(&load[end])).sum();
                assert!((sum - total).abs() < 1e-6 * total, "{end}: {sum} of {total}");
            }
            assert!(said.contains(&format!("All of it weighs {} kN", kn(total))));
        }
    }
}

#[test]
fn a_frame_that_is_given_makes_a_sheet_to_work_from() {
    let here = annex("frame-given", false);
    let run = run_in(&here, &["passes", "job.toml"]).ends(0);
    fits(&run);
    let json = json(&here, &["passes", "job.toml"]);
    let stage = &json["result"]["passes"]["result"];
    let check = &stage["on_frame"]["check"];
    assert!(check["stop"].is_null());
    let said = one_line(&run.out);
    // Every move of the sheet has the force at each of its jacks.
    let (mut n_moves, mut most) = (0, 0.0_f64);
    for (pass, checked) in list(&stage["passes"]["passes"]).iter().zip(list(&check["passes"])) {
        for (one, checked) in list(&pass["moves"]).iter().zip(list(&checked["moves"])) {
            n_moves += 1;
            for part in list(&one["supports"]) {
                let jack = entry(&checked["jacks"], "support", text(&part["support"]));
                most = most.max(number(&jack["most"]));
                let line = format!(
                    "{} {:.1} > {:.1} ({} kN)",
                    text(&part["support"]),
                    number(&part["from"]),
                    number(&part["to"]),
                    kn_range(jack)
                );
                assert!(said.contains(&line), "not said: {line}\n{}", run.out);
            }
        }
    }
    assert!(n_moves > 1);
    // Between two passes, and after the last.
    let n_passes = list(&stage["passes"]["passes"]).len();
    assert!(n_passes > 1);
    assert_eq!(said.matches("read the floor again before the next pass").count(), n_passes - 1);
    assert_eq!(said.matches("read the floor again: it is the result").count(), 1);
    let peak = &check["peaks"]["jack"];
    assert!((number(&peak["most"]) - most).abs() < 1e-9);
    let up = (most / 100.0 - 1e-6).ceil() / 10.0;
    assert!(
        said.contains(&format!("Jacks on the stumps' own lines: none pushes more than {up:.1} kN"))
    );
    assert!(said.contains(&format!(", at {}", text(&peak["support"]))));
    let needed = (number(&check["rating_needed"]) / 100.0 - 1e-6).ceil() / 10.0;
    assert!(said.contains(&format!(
        "rating needed at that share, on the stumps' own lines: {needed:.1} kN"
    )));
    assert!(said.contains("your jacks: rated 29.4 kN (3.0 t) (marked on the jack), used to 50 %"));
    // One support at a time is held against it in loads and bending.
    let alone = number(&stage["on_frame"]["one_at_a_time"]["peaks"]["jack"]["most"]);
    let alone = (alone / 100.0 - 1e-6).ceil() / 10.0;
    assert!(said.contains(&format!("one at a time a jack pushes up to {alone:.1} kN")));
    assert!(!said.contains("Loads are not worked out"));
    assert!(said.contains("The forces here are worked out, not measured"));
    assert!(said.contains("bearers as given"));
}

#[test]
fn after_a_lift_each_support_is_held_against_today() {
    let here = annex("frame-after", false);
    let run = run_in(&here, &["lift", "job.toml"]).ends(0);
    fits(&run);
    let lift = json(&here, &["lift", "job.toml"]);
    let frame = json(&here, &["frame", "job.toml"]);
    let today = &frame["result"]["frame"]["result"]["today"]["supports"];
    let after = list(&lift["result"]["packing"]["result"]["carried"]["supports"]);
    assert_eq!(after.len(), 9);
    for load in after {
        let id = text(&load["support"]);
        let row = row(&run.out, "kN today", id);
        let before = kn_range(&entry(today, "support", id)["range"]);
        let expected = format!("{id} {before} {}", kn_range(&load["range"]));
        assert!(row.starts_with(&expected), "{row}, not {expected}");
    }
    let numbers = run.out.find("Target: ").unwrap();
    assert!(run.out.find("Before anybody lifts").unwrap() < numbers, "{}", run.out);
    let of_today = run_in(&here, &["frame", "job.toml"]).out;
    assert!(of_today.find("Before anybody lifts").unwrap() < of_today.find(" kN").unwrap());
    run.says("comes from its bearers and joists").says("bearers as given");
    // Without the frame it says why, and gives no force.
    for (args, why) in [
        (&["lift", "job.toml", "--no-frame"][..], "the frame is left out (from the command line)"),
        (&["passes", "job.toml", "--no-frame"], "the frame is left out (from the command line)"),
    ] {
        let run = run_in(&here, args).ends(0).says(why).says("Loads are not worked out here.");
        assert!(!run.out.contains(" kN"), "{}", run.out);
    }
    edit(&here.join("job.toml"), "[frame]\n", "[frame]\noff = \"rebuilt last year\"\n");
    run_in(&here, &["lift", "job.toml"]).ends(0).says("the frame is left out (rebuilt last year)");
    run_in(&here, &["frame", "job.toml"])
        .ends(3)
        .says("No load is worked out")
        .says("the frame is left out (rebuilt last year)");
}

#[test]
fn a_jack_that_is_too_weak_stops_the_passes_before_anything_else_is_said() {
    let here = annex("frame-weak-jack", false);
    let sheet = here.join("sheet.svg");
    let args = ["passes", "job.toml", "--jack-rating", "100 kg", "--picture", "sheet.svg"];
    let run = run_in(&here, &args).ends(3);
    fits(&run);
    let first: Vec<&str> = run.out.lines().filter(|line| !line.is_empty()).take(2).collect();
    assert_eq!(first[1], "STOP: do not lift by this plan", "{}", run.out);
    let json = json(&here, &["passes", "job.toml", "--jack-rating", "100 kg"]);
    let stop = &json["result"]["passes"]["result"]["on_frame"]["check"]["stop"];
    let jack = &stop["reason"]["jack"];
    let run = run
        .says(&format!(
            "the jack at support {} pushes {} kN",
            text(&jack["support"]),
            kn(number(&jack["force"]))
        ))
        .says("the limit is 0.5 kN")
        .says("way out: a jack rated at least")
        .says("No run sheet is given");
    assert!(!run.out.contains("Pass 1 (") && !run.out.contains("Move "), "{}", run.out);
    assert!(!sheet.exists() && run.out.contains("No picture was drawn"));
    run_in(&here, &["lift", "job.toml", "--jack-rating", "100 kg"]).ends(3).says("STOP:");
    // The rating that it asks for does.
    let needed = number(&jack["rating_needed"]) / 1000.0 + 0.01;
    run_in(&here, &["passes", "job.toml", "--jack-rating", &format!("{needed:.2}")]).ends(0);
}

#[test]
fn a_bearer_that_is_too_thin_ends_bent_and_is_named() {
    let here = annex("frame-thin", false);
    edit(&here.join("job.toml"), "section = \"100x125 mm\"", "section = \"50x50 mm\"");
    let args = ["passes", "job.toml"];
    let json = json(&here, &args);
    let run = run_in(&here, &args).ends(ends_with_its_passes(&json));
    fits(&run);
    let check = &json["result"]["passes"]["result"]["on_frame"]["check"];
    let said = one_line(&run.out);
    if check["stop"].is_null() {
        let bent = list(&check["bent_at_end"]);
        assert!(!bent.is_empty());
        assert!(said.contains("ask an engineer"));
        for end in bent.iter().take(1) {
            assert!(said.contains(text(&end["most_bent"]["bent"]["timber"])));
        }
    } else {
        assert!(said.contains("STOP: do not lift by this plan"));
    }
    // It carries more today than it can, on paper: then the paper is wrong, and that is said.
    let frame = self::json(&here, &["frame", "job.toml"]);
    let bearer = &frame["result"]["frame"]["result"]["today"]["bearer"][1];
    let share = number(&bearer["share"]);
    assert!(share > 1.0, "{share}");
    run_in(&here, &["frame", "job.toml"])
        .ends(0)
        .says("something assumed is not so")
        .says(&format!("{} may be bent to ", text(&bearer["timber"])));
}

#[test]
fn what_may_break_is_said_before_all_else() {
    let here = annex("frame-breaks", false);
    let job = here.join("job.toml");
    edit(&job, "section = \"100x125 mm\"", "section = \"50x50 mm\"");
    let args = ["passes", "job.toml", "--per-pass", "10", "--jacks", "9"];
    let found = json(&here, &args);
    let check = &found["result"]["passes"]["result"]["on_frame"]["check"];
    let ends = list(&check["bent_at_end"]).iter().map(|end| &end["most_bent"]);
    let worst = ends
        .chain([&check["peaks"]["share"]])
        .map(|found| &found["bent"])
        .max_by(|a, b| number(&a["share"]).total_cmp(&number(&b["share"])))
        .unwrap();
    assert!(number(&worst["share"]) > 1.01, "{worst:#}");
    let may_break = format!(
        "! {} may be bent to {:.0} % of its strength (if the timber ",
        text(&worst["timber"]),
        number(&worst["share"]) * 100.0
    );
    let run = run_in(&here, &args).ends(ends_with_its_passes(&found));
    fits(&run);
    let said = one_line(&run.out);
    let at = said.find(&may_break).unwrap_or_else(|| panic!("no {may_break} in {}", run.out));
    assert!(at < said.find("Limits of this plan").unwrap(), "{}", run.out);
    assert!(said.contains("it may break. Lift less there, or ask an engineer before anybody"));
    run_in(&here, &["lift", "job.toml"]).says(" may be bent to ").says("it may break.");
    // Within its strength nothing is said of breaking.
    edit(&job, "section = \"50x50 mm\"", "section = \"100x125 mm\"");
    for command in ["passes", "lift", "frame"] {
        let run = run_in(&here, &[command, "job.toml"]).ends(0);
        assert!(!run.out.contains("may break"), "{}", run.out);
    }
}

#[test]
fn sag_between_the_supports_is_told_apart_from_the_level() {
    let here = annex("frame-between", false);
    edit(
        &here.join("job.toml"),
        "[[benchmark]]",
        "[[point]]\nid = \"mid\"\nat = [900, 900]\n[[benchmark]]",
    );
    edit(&here.join("rows.csv"), "BM,1400.2", "mid,1512\nBM,1400.2");
    let run = run_in(&here, &["lift", "job.toml"]).ends(0);
    fits(&run);
    let json = json(&here, &["lift", "job.toml"]);
    let worst = &list(&json["result"]["lifting"]["result"]["between_supports"])[0];
    assert_eq!(text(&worst["point"]), "mid");
    let sag = -number(&worst["above"]);
    // Read 12 mm below the corner A1, whose neighbours are at most 6 mm below it.
    assert!((6.0..12.0).contains(&sag), "{sag}");
    run.says(&format!("which no packers take out: mid sags by {sag:.1} mm"));
}

#[test]
fn timbers_that_end_bent_are_named_with_what_they_are_today() {
    let here = annex("frame-bent-at-end", false);
    edit(&here.join("job.toml"), "[limits]\n", "[limits]\nbending_share = 0.05\n");
    // In one pass of one move nothing is bent further on the way than at the end.
    let args = ["passes", "job.toml", "--per-pass", "10", "--jacks", "9"];
    let run = run_in(&here, &args).ends(0);
    fits(&run);
    let json = json(&here, &args);
    let bent = list(&json["result"]["passes"]["result"]["on_frame"]["check"]["bent_at_end"]);
    let percent = |share: &Value| format!("{:.0} %", number(share) * 100.0);
    let timbers: BTreeSet<&str> =
        bent.iter().map(|end| text(&end["most_bent"]["bent"]["timber"])).collect();
    assert!(timbers.len() > 1, "{timbers:?}");
    let share = |end: &&Value| number(&end["most_bent"]["bent"]["share"]);
    let worst = bent.iter().max_by(|a, b| share(a).total_cmp(&share(b))).unwrap();
    run.says(&format!("{} timbers may end bent beyond 5 % of the strength", timbers.len()))
        .says(text(&worst["most_bent"]["bent"]["timber"]))
        .says(&format!(
            ", to {} of its strength (today, under the same loads, {})",
            percent(&worst["most_bent"]["bent"]["share"]),
            percent(&worst["share_today"])
        ))
        .says("ask an engineer");
}

#[test]
fn a_frame_that_rocks_is_given_no_number() {
    let here = annex("frame-rocks", false);
    // Only the middle row carries: the others have far too much air, and nothing weighs more on
    // one side than on the other.
    let job = here.join("job.toml");
    let mut document = fs::read_to_string(&job).unwrap();
    let (from, to) = (document.find("[[wall]]").unwrap(), document.find("[[benchmark]]").unwrap());
    document.replace_range(from..to, "");
    document = document.replace("[loads]\n", "[loads]\nno_walls = \"a deck\"\n");
    for id in ["A1", "A2", "A3", "C1", "C2", "C3"] {
        let line = format!("id = \"{id}\"\n");
        let at = document.find(&format!("[[support]]\n{line}")).unwrap();
        document.insert_str(at + "[[support]]\n".len() + line.len(), "gap = 250\n");
    }
    fs::write(&job, document).unwrap();
    let run = run_in(&here, &["frame", "job.toml", "--support", "B2"]).ends(3);
    fits(&run);
    let json = json(&here, &["frame", "job.toml", "--support", "B2"]);
    assert_eq!(json["result"]["frame"]["result"]["today"]["rocks"], true);
    assert!(list(&json["result"]["jacks"]).is_empty());
    let run = run.says("the frame rocks: it is in balance on too few of its 9 stumps");
    let before = run.out.split("What this rests on").next().unwrap();
    assert!(!before.contains("kN"), "{before}");
    assert!(run.out.contains("Loads are not worked out here."));
}

#[test]
fn pictures_are_drawn_where_there_is_something_to_draw() {
    let here = annex("frame-pictures", false);
    let is_svg = |name: &str| {
        let svg = fs::read_to_string(here.join(name)).unwrap_or_else(|_| panic!("no {name}"));
        assert!(svg.starts_with("<svg") && svg.trim_end().ends_with("</svg>"), "{name}");
    };
    run_in(&here, &["frame", "job.toml", "--support", "B2", "--picture", "frame.svg"])
        .ends(0)
        .says("a jack at B2: frame-jack-B2.svg");
    is_svg("frame.svg");
    is_svg("frame-jack-B2.svg");
    run_in(&here, &["lift", "job.toml", "--picture", "lifts.svg"]).ends(0);
    is_svg("lifts-who-carries.svg");
    run_in(&here, &["passes", "job.toml", "--picture", "passes.svg"]).ends(0);
    is_svg("passes-way.svg");
    run_in(&here, &["passes", "job.toml", "--no-frame", "--picture", "plain.svg"]).ends(0);
    is_svg("plain.svg");
    assert!(!here.join("plain-way.svg").exists());
    run_in(&here, &["lift", "job.toml", "--no-frame", "--picture", "straight.svg"]).ends(0);
    is_svg("straight.svg");
    assert!(!here.join("straight-who-carries.svg").exists());
    // Three in a row make no frame, and so no picture of one.
    fs::write(
        here.join("row.csv"),
        "point,x,y,reading\nA,0,0,1612\nB,1800,0,1620\nC,3600,0,1615\n",
    )
    .unwrap();
    run_in(&here, &["frame", "row.csv", "--picture", "none.svg"]).ends(3);
    assert!(!here.join("none.svg").exists());
}

#[test]
fn the_force_at_a_jack_rises_and_neighbours_share_it() {
    let here = annex("frame-jack", false);
    let args = ["frame", "job.toml", "--support", "B2", "--beside", "-300"];
    let run = run_in(&here, &args).ends(0);
    fits(&run);
    let json = json(&here, &args);
    let jack = &list(&json["result"]["jacks"])[0];
    assert_eq!(number(&jack["beside"]), -300.0);
    let alone = list(&jack["alone"]);
    assert!(alone.len() >= 3);
    for pair in alone.windows(2) {
        // Alone, the force at a jack never falls as it rises.
        let [below, above] = [&pair[0], &pair[1]].map(|push| number(&push["force"]["most"]));
        assert!(above >= below - 1e-6, "{below} then {above}");
    }
    let last = alone.last().unwrap();
    assert!((number(&last["rise"]) - number(&jack["planned"])).abs() < 1e-9);
    let together = list(&jack["together"]);
    assert!(
        number(&together.last().unwrap()["force"]["most"]) < number(&last["force"]["most"]),
        "neighbours that rise too leave less on the jack"
    );
    for ((alone, beside), together) in alone.iter().zip(list(&jack["at_beside"])).zip(together) {
        let rise = format!("{:.1}", number(&alone["rise"]));
        let row = row(&run.out, "A jack at stump B2", &rise);
        assert!(row.starts_with(&format!("{rise} {} ", kn_range(&alone["force"]))), "{row}");
        assert!(row.contains(&kn_range(&beside["force"])), "{row}");
        assert!(row.ends_with(&kn_range(&together["force"])), "{row}");
    }
    run.says("300 mm beside").says("to the left of B2").says("Your jacks: rated 29.4 kN");
    // Beyond the end of the bearer no jack stands.
    run_in(&here, &["frame", "job.toml", "--support", "B3", "--beside", "300"])
        .ends(0)
        .says("beyond the end of bearer B");
    run_in(&here, &["frame", "job.toml", "--support", "Z9"]).ends(4).says("no support Z9");
}

#[test]
fn in_feet_and_inches_forces_have_their_pounds() {
    let here = annex("frame-us", true);
    for args in [
        &["frame", "job.toml", "--support", "B2", "--beside", "12"][..],
        &["lift", "job.toml"],
        &["passes", "job.toml"],
    ] {
        let run = run_in(&here, args).ends(0);
        fits(&run);
        assert!(!run.out.contains("stump") && !run.out.contains("packer "), "{}", run.out);
    }
    let run = run_in(&here, &["frame", "job.toml", "--support", "B2", "--beside", "12"]);
    let frame = json(&here, &["frame", "job.toml"]);
    let total = number(&frame["result"]["frame"]["result"]["today"]["total"]);
    // A pound is 4.4482216152605 N (exact by definition).
    let pounds = (total / 4.448_221_615_260_5 / 10.0 - 1e-6).ceil() * 10.0;
    run.says(&format!("All of it weighs {} kN ({pounds:.0} lb)", kn(total)))
        .says("1 kN is the weight of 225 lb.")
        .says("1' 0\" beside")
        .says("1/16\"");
    run_in(&here, &["passes", "job.toml"]).says("0\" > ").says(" kN)");
}

#[test]
fn options_of_the_frame_that_make_no_sense_are_refused() {
    let here = annex("frame-options", false);
    for (option, value, said) in [
        ("--set-share", "2", "--set-share: \"2\" is not a share"),
        ("--set-share", "0.8..0.2", "is not a share from 0 to 1"),
        ("--set-share", "old", "hint: write 0.3"),
        ("--jack-rating", "5 tons", "--jack-rating: \"5 tons\" is not a force"),
        ("--jack-rating", "0", "is not above zero"),
    ] {
        for command in ["frame", "lift", "passes"] {
            run_in(&here, &[command, "job.toml", option, value]).ends(2).says(said);
        }
    }
    run_in(&here, &["frame", "job.toml", "--beside", "300"])
        .ends(2)
        .says("--beside: nothing says beside which support")
        .says("hint: add --support");
    // One share of set sag leaves one number, and no talk of two.
    let run = run_in(&here, &["frame", "job.toml", "--set-share", "30%"]).ends(0);
    fits(&run);
    let run = run.says("30 % of today's sag is taken as kept").says(" 30 % kept ");
    for two in ["has set", "Has set", "springs", "Springs"] {
        assert!(!run.out.contains(two), "{two} in {}", run.out);
    }
    for command in ["lift", "passes"] {
        let run = run_in(&here, &[command, "job.toml", "--set-share", "30%"]).ends(0);
        assert!(!one_line(&run.out).contains("has set"), "{}", run.out);
    }
    let json = json(&here, &["frame", "job.toml", "--set-share", "0.3"]);
    for load in list(&json["result"]["frame"]["result"]["today"]["supports"]) {
        assert_eq!(load["springy"], load["set"]);
        let row = row(&run.out, "carries, ", text(&load["support"]));
        let once = format!(" {} {} ", kn(number(&load["set"])), kn_range(&load["range"]));
        assert!(row.replacen(text(&load["support"]), "", 1).starts_with(&once), "{row}");
    }
}

#[test]
fn what_is_wrong_with_a_frame_is_said_all_at_once() {
    let here = copy_of_example("nasty", "frame-nasty-faults");
    let job = here.join("job.toml");
    let mut document = fs::read_to_string(&job).unwrap();
    document.push_str(
        "[frame]\nset_share = 1.4\nbearer_timber = \"F99\"\n[[bearer]]\nid = \"g\"\n\
         supports = [\"A1\", \"Z9\"]\n[[wall]]\nname = \"w\"\nfrom = [0, 0]\nto = [120, 120]\n\
         load = \"2 tons\"\nreason = \"?\"\n",
    );
    fs::write(&job, document).unwrap();
    let run = run_in(&here, &["check", "job.toml"]).ends(3);
    for said in ["Z9", "F99", "1.4", "2 tons"] {
        assert!(run.out.contains(said), "{said} in {}", run.out);
    }
    run_in(&here, &["frame", "job.toml"]).ends(3).says("job.toml cannot be used");
}

#[test]
fn new_work_is_named_with_what_is_still_to_be_laid() {
    let here = annex("frame-tie", false);
    edit(
        &here.join("job.toml"),
        "height = \"highest\"",
        "height = { point = \"A1\", old_build_up = 3, new_build_up = 12 }",
    );
    run_in(&here, &["lift", "job.toml"])
        .ends(0)
        .says("the old floor goes to 9")
        .says("still to be laid on the new floor there");
    let other = run_in(&here, &["lift", "job.toml", "--height", "A1+9"]).ends(0);
    assert!(!other.out.contains("still to be laid"));
}

#[test]
fn of_many_supports_it_says_that_lighter_loads_are_not_gone_through() {
    let here = grid("frame-many");
    let mut many = "point,x,y,reading\n".to_owned();
    for at in 0..210 {
        let (row, column) = (at / 15, at % 15);
        let reading = 1600 + (row * 7 + column * 5) % 4;
        many.push_str(&format!("R{row}C{column},{},{},{reading}\n", column * 1800, row * 1800));
    }
    fs::write(here.join("many.csv"), many).unwrap();
    for (job, is_many) in [("many.csv", true), ("grid.csv", false)] {
        let found = json(&here, &["passes", job]);
        let run = run_in(&here, &["passes", job]).ends(ends_with_its_passes(&found));
        fits(&run);
        let cases = list(&found["result"]["passes"]["result"]["on_frame"]["check"]["cases"]);
        let heavier = cases.iter().filter(|case| number(&case["loads"]["dead"]) > 1.0).count();
        assert_eq!(heavier == cases.len(), is_many, "{cases:?}");
        let said = one_line(&run.out);
        let least = "under loads 25 % more only, not under lighter ones: the least of each range \
                     is not the least there can be";
        assert_eq!(said.contains(least), is_many, "{}", run.out);
        assert_eq!(said.contains("loads 25 % less or more"), !is_many, "{}", run.out);
    }
}

#[test]
fn supports_whose_floor_was_not_read_are_named() {
    let here = annex("frame-not-read", false);
    let commands = [
        &["frame", "job.toml"][..],
        &["passes", "job.toml"],
        &["passes", "job.toml", "--jack-rating", "100 kg"],
    ];
    for args in commands {
        assert!(!one_line(&run_in(&here, args).out).contains("was not read:"));
    }
    // At a corner nothing lies round it that was.
    let rows = here.join("rows.csv");
    for (row, said) in [
        ("C3,1500\n", "! the floor over C3 was not read: its bearer is taken"),
        ("A3,1501\n", "! the floor over A3, C3 was not read: their bearers are taken"),
    ] {
        edit(&rows, row, "");
        for args in commands {
            let run = run_in(&here, args);
            fits(&run);
            run.says(said).says("taken to be as high as the nearest that was");
        }
    }
}

#[test]
fn a_jack_at_a_fixed_support_is_said_to_have_no_business_there() {
    let here = annex("frame-fixed", false);
    let fixed = "id = \"B2\"\nfixed = \"the chimney stands on it\"\n";
    edit(&here.join("job.toml"), "id = \"B2\"\n", fixed);
    let run = run_in(&here, &["frame", "job.toml", "--support", "B2", "--support", "B1"]).ends(0);
    fits(&run);
    let said = one_line(&run.out);
    let warning = "! B2 is fixed: the chimney stands on it. It is not to be lifted";
    let (before, after) = said.split_once(warning).unwrap_or_else(|| panic!("{}", run.out));
    assert!(before.ends_with("A jack at stump B2, in kN "), "{}", run.out);
    assert!(after.trim_start().contains("Rise Alone, on it"), "{}", run.out);
    assert!(!said.contains("B1 is fixed"), "{}", run.out);
}

/// The example of the documentation is a first trial: it has to give a plan, and the floor under it is
/// carried whole.
#[test]
fn the_example_of_the_documentation_gives_a_plan() {
    let docs = include_str!("../../../../docs/job.md");
    let block = |language: &str| {
        let after = docs.split(&format!("```{language}\n")).nth(1).unwrap();
        after.split("```").next().unwrap()
    };
    let here = folder("frame-docs-example");
    fs::write(here.join("job.toml"), block("toml")).unwrap();
    fs::write(here.join("readings.csv"), block("csv")).unwrap();
    // By hand: door -29.1 mm, + 12 - 14 - 2 is -33.1 mm.
    let run = run_in(&here, &["lift", "job.toml"]).ends(0).says("Target: -33.1 mm");
    fits(&run);
    let run = run_in(&here, &["passes", "job.toml"]).ends(0);
    let said = one_line(&run.out);
    for doubt in ["weighs nothing here", "this frame would close it", "STOP"] {
        assert!(!said.contains(doubt), "{doubt}: {}", run.out);
    }
}

/// Two stumps 100 mm apart, lifted 20 mm at 5 mm a pass: ten steps of 0.5 mm are the finest, 0.5 mm over
/// 100 mm is 1 in 200, and 1 in 300 allows 10 x 100 / 300 = 3.3 mm in a pass.
#[test]
fn neighbours_too_close_for_the_lift_in_a_pass_stop_it() {
    let here = folder("frame-too-close");
    let mut job = "format = 1\n[frame]\noff = \"test\"\n".to_owned();
    let mut rows = "point,reading\n".to_owned();
    for (id, x, y, reading) in
        [("A1", 0, 0, 1520), ("A2", 100, 0, 1520), ("B1", 0, 2000, 1500), ("B2", 2000, 2000, 1500)]
    {
        job.push_str(&format!("[[support]]\nid = \"{id}\"\nat = [{x}, {y}]\n"));
        rows.push_str(&format!("{id},{reading}\n"));
    }
    job.push_str("[datum]\nzero = \"B1\"\n[[setup]]\nid = \"1\"\nreadings = \"rows.csv\"\n[goal]\nheight = \"highest\"\n");
    fs::write(here.join("job.toml"), job).unwrap();
    fs::write(here.join("rows.csv"), rows).unwrap();
    let said = "STOP: supports A1 and A2 stand so close together that one step of 0.5 mm tilts them 1 in 200, \
                the limit is 1 in 300";
    run_in(&here, &["passes", "job.toml"]).ends(3).says(said).says("at most 3.3 mm");
    run_in(&here, &["lift", "job.toml"]).ends(3).says(said);
    run_in(&here, &["passes", "job.toml", "--per-pass", "3.3"]).ends(0);
}
