//! What a builder is told about each thing that can be wrong with a job, through `check`, which
//! lists it, and through `lift`, which must not work on.

use crate::program::{folder, list, run_in};
use std::fs;

/// A job with nothing wrong with it.
const JOB: &str = r#"format = 1
[job]
units = "mm"
[[room]]
name = "hall"
outline = [[0, 0], [3600, 0], [3600, 1800], [0, 1800]]
[[support]]
id = "A1"
at = [0, 0]
[[support]]
id = "A2"
at = [1800, 0]
[[support]]
id = "A3"
at = [3600, 0]
[[support]]
id = "B1"
at = [0, 1800]
[[support]]
id = "B2"
at = [1800, 1800]
[[support]]
id = "B3"
at = [3600, 1800]
[[benchmark]]
point = "BM"
level = 0
[[setup]]
id = "1"
reading_sd = 0.5
readings = "rows.csv"
"#;
const BENCHMARK: &str = "[[benchmark]]\npoint = \"BM\"\nlevel = 0\n";
const ROWS: &str =
    "point,reading\nBM,1400\nA1,1500\nA2,1504\nA3,1507\nB1,1501\nB2,1506\nB3,1512\nBM,1400.5\n";

/// A job and its readings, and what is to be said of them.
struct Case {
    name: &'static str,
    job: String,
    rows: String,
}

fn case(name: &'static str) -> Case {
    Case { name, job: JOB.to_owned(), rows: ROWS.to_owned() }
}

impl Case {
    /// The job with something else in place of what is there.
    fn job(mut self, old: &str, new: &str) -> Self {
        assert!(self.job.contains(old), "{old}");
        self.job = self.job.replace(old, new);
        self
    }

    /// The job with something added.
    fn added(mut self, more: &str) -> Self {
        self.job.push_str(more);
        self
    }

    /// The readings with something else in place of what is there.
    fn rows(mut self, old: &str, new: &str) -> Self {
        assert!(self.rows.contains(old), "{old}");
        self.rows = self.rows.replace(old, new);
        self
    }

    /// Other readings altogether.
    fn only_rows(mut self, rows: &str) -> Self {
        rows.clone_into(&mut self.rows);
        self
    }

    /// Both commands refuse the job, with these words and how many faults there are.
    fn refused(self, n_faults: usize, words: &[&str]) {
        let folder = self.write();
        for command in ["check", "lift", "levels", "passes"] {
            let mut run = run_in(&folder, &[command, "job.toml"]).ends(3);
            for words in words {
                run = run.says(words);
            }
            let faults = if n_faults == 1 { "fault" } else { "faults" };
            run.says(&format!("job.toml cannot be used: {n_faults} {faults} to put right"));
        }
        let json = run_in(&folder, &["check", "job.toml", "--json"]).ends(3).json();
        assert_eq!(json["usable"], false);
        assert_eq!(list(&json["faults"]).len(), n_faults);
    }

    /// `check` finds the job usable, with these words; `lift` ends so, with those.
    fn usable(self, check: &[&str], lift_exit: i32, lift: &[&str]) {
        let folder = self.write();
        let mut run = run_in(&folder, &["check", "job.toml"]).ends(0);
        for words in check {
            run = run.says(words);
        }
        assert_eq!(run_in(&folder, &["check", "job.toml", "--json"]).json()["usable"], true);
        let mut run = run_in(&folder, &["lift", "job.toml"]).ends(lift_exit);
        for words in lift {
            run = run.says(words);
        }
        for word in ["NaN", "inf "] {
            assert!(!run.out.contains(word), "{}", run.out);
        }
    }

    fn write(&self) -> std::path::PathBuf {
        let folder = folder(&format!("fault-{}", self.name));
        fs::write(folder.join("job.toml"), &self.job).unwrap();
        fs::write(folder.join("rows.csv"), &self.rows).unwrap();
        folder
    }
}

/// What `lift` says of the sound job: the highest point is A1, and B3 is 12 mm below it.
const SOUND_LIFT: [&str; 2] = ["Target: -99.8 mm (the highest point, A1)", "B3 -12.0 +12.0"];

#[test]
fn a_sound_job() {
    case("sound").usable(&["job.toml is in order."], 0, &SOUND_LIFT);
}

#[test]
fn an_unknown_point() {
    case("unknown-point").rows("B3,", "B9,").refused(
        1,
        &["rows.csv:8: reading of B9: point B9 is not in the job", "hint: known: A1, A2, A3, B1"],
    );
}

#[test]
fn a_support_given_twice() {
    case("twice").job("id = \"B3\"", "id = \"B2\"").refused(
        2,
        &[
            "job.toml:23: support B2: the support is given twice, first on line 19",
            "rows.csv:8: reading of B3: point B3 is not in the job",
        ],
    );
}

#[test]
fn a_reading_beyond_the_staff() {
    case("staff").rows("A2,1504", "A2,15040").refused(
        1,
        &["rows.csv:4: reading of A2: reading is out of range: 15040 mm, must be 0 mm to 5000 mm"],
    );
    case("below-staff").rows("A2,1504", "A2,-4").refused(1, &["rows.csv:4: reading of A2"]);
}

#[test]
fn tables_without_readings() {
    case("empty").only_rows("").refused(
        1,
        &["rows.csv:1: the file is empty", "hint: begin with a row of names: point,reading"],
    );
    case("names-only").only_rows("point,reading\n").usable(
        &["there are no readings yet"],
        3,
        &["setup 1 has no readings that can be used", "There is no answer for the lifts"],
    );
    case("no-table").job("rows.csv", "rosw.csv").refused(
        1,
        &["job.toml:31: setup 1: the file rosw.csv cannot be read", "hint: put the file beside"],
    );
}

#[test]
fn without_readings_nobody_says_that_none_stands_out() {
    let folder = case("no-all-clear").only_rows("point,reading\n").write();
    for command in ["levels", "floor", "lift", "passes"] {
        let run = run_in(&folder, &[command, "job.toml"]);
        assert!(!run.out.contains("No reading stands out"), "{command}: {}", run.out);
    }
}

#[test]
fn ragged_rows() {
    case("long-row").rows("A2,1504", "A2,1504,7,8").refused(
        1,
        &["rows.csv:4: A2: the row has another number of cells than the row of names: 4, must be 2"],
    );
    case("short-row").rows("A2,1504", "A2").refused(1, &["1, must be 2", "leave a cell empty"]);
}

#[test]
fn decimal_commas() {
    case("comma")
        .rows("1400.5", "1400,5")
        .refused(1, &["rows.csv:9: BM:", "with decimal commas, part columns with semicolons"]);
    case("semicolons").rows(",", ";").rows("1400.5", "1400,5").usable(
        &["job.toml is in order."],
        0,
        &SOUND_LIFT,
    );
}

#[test]
fn marks_and_line_ends_of_other_systems() {
    case("bom").rows("point,", "\u{feff}point,").usable(&["is in order."], 0, &SOUND_LIFT);
    case("bom-job").job("format", "\u{feff}format").usable(&["is in order."], 0, &SOUND_LIFT);
    case("crlf").job("\n", "\r\n").rows("\n", "\r\n").usable(&["is in order."], 0, &SOUND_LIFT);
}

#[test]
fn units_that_are_not_given() {
    case("no-units").job("units = \"mm\"\n", "").usable(
        &["taken for granted: lengths are in millimetres (units are not given)"],
        0,
        &["lengths are in millimetres (units are not given)"],
    );
}

#[test]
fn numbers_that_are_none() {
    case("nan").rows("1504", "NaN").refused(1, &["rows.csv:4: reading of A2", "not a length: NaN"]);
    case("infinite").rows("1504", "inf").refused(1, &["rows.csv:4: reading of A2"]);
    case("nan-place")
        .job("[1800, 0]", "[nan, 0]")
        .refused(1, &["job.toml:12: support A2: at is out of range: NaN mm"]);
    case("huge").rows("1504", "1e300").refused(1, &["rows.csv:4: reading of A2"]);
}

#[test]
fn a_point_outside_the_outline() {
    let far = "[[point]]\nid = \"P\"\nat = [4200, 900]\n";
    case("outside").added(far).rows("B3,", "P,1510\nB3,").usable(
        &["job.toml:34: warning: point P: it lies outside every outline: 600.0 mm away"],
        3,
        &["There is no answer for the lifts yet", "point P is 600.0 mm outside every room"],
    );
    let in_room = format!("{far}room = \"hall\"\n");
    case("outside-room").added(&in_room).rows("B3,", "P,1510\nB3,").refused(
        1,
        &["job.toml:34: point P: it lies outside the outline of room hall: 600.0 mm away"],
    );
}

#[test]
fn nothing_to_count_from() {
    case("no-benchmark")
        .job(BENCHMARK, "")
        .rows("BM,1400\n", "")
        .rows("BM,1400.5\n", "A1,1500.5\n")
        .refused(1, &["there is no benchmark and no datum", "[datum] zero = \"A1\""]);
}

#[test]
fn setups_that_nothing_joins() {
    let two = "readings = [{ point = \"BM\", reading = 1400 }, { point = \"A1\", reading = 1500 }]\n\
               [[setup]]\nid = \"2\"\nreading_sd = 0.5\nreadings = [{ point = \"A2\", reading = 1504 }, \
               { point = \"B2\", reading = 1506 }, { point = \"B3\", reading = 1512 }]";
    let apart = case("apart").job("readings = \"rows.csv\"", two);
    apart.usable(
        &["setup 2: nothing joins it to the datum, so these get no level: A2, B2, B3"],
        0,
        &[
            "no known height reaches A2, B2 and B3",
            "A3 ? -",
            "B3 ? -",
            "stays: the floor over it was not read",
        ],
    );
}

#[test]
fn too_few_points_for_a_floor() {
    let support = |id: &str, x: u32| format!("[[support]]\nid = \"{id}\"\nat = [{x}, 0]\n");
    let job = |supports: &str| {
        format!(
            "format = 1\n[job]\nunits = \"mm\"\n{supports}{BENCHMARK}[[setup]]\nid = \"1\"\n\
             reading_sd = 0.5\nreadings = \"rows.csv\"\n"
        )
    };
    let line: String =
        [("A1", 0), ("A2", 1800), ("A3", 3600)].map(|(id, x)| support(id, x)).concat();
    let rows = "point,reading\nBM,1400\nA1,1500\nA2,1504\nA3,1507\nBM,1400.5\n";
    Case { name: "one-line", job: job(&line), rows: rows.to_owned() }.usable(
        &["all floor points lie on one line: 3 points", "a floor map cannot"],
        0,
        &["A2 -4.0 +4.0", "A3 -7.0 +7.0"],
    );
    let rows = "point,reading\nBM,1400\nA1,1500\nBM,1400.5\n";
    Case { name: "one-point", job: job(&support("A1", 0)), rows: rows.to_owned() }.usable(
        &["is in order."],
        0,
        &["Raise 0 of 1 stump"],
    );
}

#[test]
fn no_reading_to_spare() {
    let folder = case("no-spare").rows("BM,1400.5\n", "").write();
    run_in(&folder, &["check", "job.toml"]).ends(0);
    run_in(&folder, &["levels", "job.toml", "--strict"])
        .ends(0)
        .says("7 readings from 1 setup; 0 more than needed.")
        .says("There is no spare reading, so nothing checks the readings");
    run_in(&folder, &["lift", "job.toml"]).ends(0).says("B3 -12.0 +12.0");
}

#[test]
fn limits_that_clash() {
    case("clash")
        .job("id = \"B3\"\n", "id = \"B3\"\nmax_lift = 2\n")
        .added("[goal]\nheight = -100\nlevel_tolerance = 3\n")
        .usable(
            &["is in order."],
            3,
            // B3 is 12 less a quarter, for the two readings of BM, below; 3 may stay and 2 may go.
            &[
                "It cannot be done: -100.0 mm",
                "B3 has to come up at least 8.8 mm",
                "may be raised at most 2.0 mm: its own limit in the job",
                "the smallest workable level tolerance is 9.8 mm",
                "(--tolerance 9.8)",
            ],
        );
    case("fixed")
        .job("id = \"B3\"\n", "id = \"B3\"\nmax_lift = 2\nfixed = \"x\"\nmay_lower = 5\n")
        .refused(
            2,
            &[
                "job.toml:24: support B3: it is fixed and has a max_lift",
                "it is fixed and has a may_lower",
            ],
        );
    case("no-limits").added("[limits]\nlift_per_pass = -5\njacks = 0\n").refused(
        2,
        &[
            "lift_per_pass is out of range: -5 mm, must be 0.1 mm to 100 mm",
            "jacks is out of range: 0",
        ],
    );
}

#[test]
fn a_job_of_a_newer_program() {
    let newer = case("newer").job("format = 1", "format = 2");
    let folder = newer.write();
    let before = fs::read(folder.join("job.toml")).unwrap();
    newer.refused(1, &["job.toml:1: written by a newer version: format 2, this program reads 1"]);
    assert_eq!(fs::read(folder.join("job.toml")).unwrap(), before);
}

#[test]
fn every_fault_at_once() {
    case("many")
        .job("units = \"mm\"", "units = \"mm\"\nnmae = \"x\"")
        .job("id = \"B3\"", "id = \"B2\"")
        .rows("A2,1504", "A2,NaN")
        .rows("A1,1500", "A7,1500")
        .refused(
            5,
            &[
                "unknown key nmae",
                "did you mean name?",
                "given twice",
                "NaN",
                "point A7 is not",
                "of B3",
            ],
        );
}
