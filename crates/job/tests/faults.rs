//! What a builder is told about each thing that can be wrong with a job.

use floorwright_job::{CsvMeaning, Loaded, SourceFile, from_csv, load, ready};

/// A job with nothing wrong with it, to which each test adds something that is.
const SOUND: &str = r#"format = 1
[job]
terms = "nz"
units = "mm"
[[support]]
id = "A1"
at = [0, 0]
[[support]]
id = "A2"
at = [1800, 0]
[[support]]
id = "B1"
at = [0, 1500]
[[benchmark]]
point = "BM"
level = 0
[[setup]]
id = "1"
reading_sd = 0.5
readings = [
    { point = "BM", reading = 1500 },
    { point = "A1", reading = 1612 },
    { point = "A2", reading = 1620 },
    { point = "B1", reading = 1605 },
]
"#;

/// The line on which what is added to [`SOUND`] begins.
const NEXT: usize = 26;

fn no_file(name: &str) -> Result<String, String> {
    Err(format!("there is no {name}"))
}

fn shown(loaded: &Loaded) -> String {
    let lines: Vec<String> = loaded.faults.iter().map(|fault| format!("{fault:#}")).collect();
    lines.join("\n")
}

fn check(text: &str, expected: &str) {
    let loaded = load(&SourceFile::new("job.toml", text), &mut no_file);
    assert_eq!(shown(&loaded), expected.trim(), "{text}");
    assert_eq!(loaded.job.is_none(), loaded.faults.iter().any(|fault| fault.is_error()), "{text}");
}

fn check_added(added: &str, expected: &str) {
    check(&format!("{SOUND}{added}\n"), expected);
}

fn check_instead(old: &str, new: &str, expected: &str) {
    assert!(SOUND.contains(old), "{old}");
    check(&SOUND.replace(old, new), expected);
}

fn check_csv(text: &str, expected: &str) {
    let loaded = from_csv(&SourceFile::new("floor.csv", text), CsvMeaning::default());
    assert_eq!(shown(&loaded), expected.trim(), "{text}");
}

#[test]
fn nothing_is_wrong_with_a_sound_job() {
    assert_eq!(SOUND.lines().count() + 1, NEXT);
    check(SOUND, "");
}

#[test]
fn format() {
    check_instead(
        "format = 1",
        "format = 2",
        r#"
job.toml:1: written by a newer version: format 2, this program reads 1
  hint: use the newer version of the program; the file is left as it is
"#,
    );
    check_instead(
        "format = 1",
        "format = 0",
        r#"
job.toml:1: there is no such format: 0, must be 1
  hint: write format = 1
"#,
    );
    check_instead(
        "format = 1",
        "format = \"one\"",
        r#"
job.toml:1: the format is not a whole number, must be 1
  hint: write format = 1
"#,
    );
    check_instead(
        "format = 1\n",
        "",
        r#"
job.toml:1: the format is not given
  hint: write format = 1 on the first line
"#,
    );
    check(
        "",
        r#"
job.toml:1: the format is not given
  hint: write format = 1 on the first line
"#,
    );
}

#[test]
fn orientation() {
    check_instead("units = \"mm\"", "units = \"mm\"\nstreet = \"left\"", "");
    check_instead("units = \"mm\"", "units = \"mm\"\nnorth = 360", "");
    check_instead(
        "units = \"mm\"",
        "units = \"mm\"\nnorth = 400",
        r#"
job.toml:5: [job]: north is out of range: 400 degrees, must be 0 degrees to 360 degrees
  hint: give the degrees clockwise from up the page: 0 is up, 90 is to the right
"#,
    );
    check_instead(
        "units = \"mm\"",
        "units = \"mm\"\nnorth = 12.5\nstreet = \"top\"",
        r#"
job.toml:6: warning: [job]: street is not used, for north is given as well
  hint: take one of the two out
"#,
    );
    check_instead(
        "units = \"mm\"",
        "units = \"mm\"\nstreet = \"up\"",
        r#"
job.toml:5: [job]: street cannot be read: there is no up, expected one of top, bottom, left, right
  hint: street: the side of the plan that the street is on: "top", "bottom", "left" or "right"
"#,
    );
}

#[test]
fn syntax() {
    check_added(
        "[goal\nheight = 3",
        r#"
job.toml:26:6: this line cannot be read: unclosed table, expected `]`
  hint: text goes in quotes, lists in [ ], a block begins with [name] or [[name]] on a line of its own
"#,
    );
    check_added(
        "[goal]\nheight = highest",
        r#"
job.toml:27:10: this line cannot be read: string values must be quoted, expected literal string
  hint: text goes in quotes, lists in [ ], a block begins with [name] or [[name]] on a line of its own
"#,
    );
    check_added(
        "[goal]\nheight = 3\nheight = 4",
        r#"
job.toml:28:1: this line cannot be read: duplicate key
  hint: text goes in quotes, lists in [ ], a block begins with [name] or [[name]] on a line of its own
"#,
    );
    check_instead(
        "units = \"mm\"",
        "units = \"mm",
        r#"
job.toml:4:12: this line cannot be read: invalid basic string, expected `"`
  hint: text goes in quotes, lists in [ ], a block begins with [name] or [[name]] on a line of its own
"#,
    );
}

#[test]
fn unknown_keys_and_wrong_kinds_all_at_once() {
    check_added(
        "[[support]]\nid = \"C1\"\nat = [0, 3000]\nhieght = 3\ngap = true\nmax_lift = [1]\n[gaol]\nheight = 1\n[goal]\nprefer = \"fast\"\n[jiost]\nspacing = 450\n[fundament]\nx = 1",
        r#"
job.toml:29: support C1: unknown key hieght
  hint: did you mean height?
job.toml:30: support C1: gap cannot be read: expected a number, or text such as "1.612 m" or "5' 3 7/16\""
  hint: gap: air between its top and the bearer today; none if left out
job.toml:31: support C1: max_lift cannot be read: expected a number, or text such as "1.612 m" or "5' 3 7/16\""
  hint: max_lift: the most it may be raised; the job's general limit if left out
job.toml:32: the job: unknown key gaol
  hint: did you mean goal?
job.toml:35: [goal]: prefer cannot be read: there is no fast, expected one of least-squares, smallest-largest, least-lift, fewest-supports
  hint: prefer: what to prefer: "least-squares", "smallest-largest", "least-lift" or "fewest-supports"; "least-squares" if left out
job.toml:36: the job: unknown key jiost
  hint: did you mean joist?
job.toml:38: the job: unknown key fundament
  hint: known here: bearer, benchmark, book, business, criteria, criterion, datum, door, format, frame, goal, hose, job, joist, joists, leg, limits, load, loads, obstacle, pass, point, rates, room, setup, stock, support, tests, wall
"#,
    );
    check_added(
        "[[setup]]\nid = \"2\"\nreadings = [{ point = \"A1\", raeding = 3 }]",
        r#"
job.toml:28: readings A1: unknown key raeding
  hint: did you mean reading?
"#,
    );
    check_added(
        "[room]\nname = \"hall\"",
        r#"
job.toml:26: room is not a list of blocks
  hint: begin each with [[room]], in double brackets
"#,
    );
    check_added(
        "[[leg]]\nfrom = \"A1\"\nto = \"A2\"\nrise = 2\nsetups = -1",
        r#"
job.toml:30: [leg]: setups cannot be read: invalid value: integer -1, expected a whole number, zero or more
  hint: setups: how many setups it took
"#,
    );
    check_added(
        "[goal]\nheight = { point = \"A1\", ofset = 3 }\n[limits]\njacks = { value = 2, why = \"x\" }",
        r#"
job.toml:27: height A1: unknown key ofset
  hint: did you mean offset?
job.toml:29: [jacks]: unknown key why
  hint: known here: reason, value
"#,
    );
    check_instead("reading = 1500 }", "reading = 1500, time = 10:15:00 }", "");
    check_instead(
        "{ point = \"A1\", reading = 1612 },\n    { point = \"A2\", reading = 1620 }",
        "{ point = \"A1\", reading = true },\n    { point = \"A2\", reading = 1620, inverted = 3 }",
        r#"
job.toml:22: setup 1: reading cannot be read: expected a number, or text such as "1.612 m" or "5' 3 7/16\""
  hint: reading: the graduation at the line of sight or the water line
job.toml:23: setup 1: inverted cannot be read: invalid type: integer 3, expected true or false
  hint: inverted: the staff hung upside down, its foot up against a soffit
"#,
    );
    check_instead(
        "[job]\n",
        "tests = 3\n[job]\nnote = 5\n",
        r#"
job.toml:2: [tests]: this block cannot be read: invalid type: integer 3, expected a block of entries
  hint: see what the description of the job file says of tests
job.toml:4: [job]: note cannot be read: invalid type: integer 5, expected text in quotes
  hint: note: anything to be remembered about the job
"#,
    );
}

#[test]
fn names() {
    check_instead(
        "id = \"A2\"",
        "id = \"A1\"",
        r#"
job.toml:9: support A1: the support is given twice, first on line 5
  hint: take one of the two out, or give it another name
job.toml:23: setup 1, reading of A2: point A2 is not in the job
  hint: did you mean A1?
"#,
    );
    check_added(
        "[[support]]\nat = [0, 3000]\n[[support]]\nid = \"C\\u0007\"\nat = [1, 3000]",
        r#"
job.toml:26: support number 4: id is missing
  hint: give it a name, such as "A1"
job.toml:29: support C: id has a space at its end, or a letter that cannot be printed
  hint: write it again
"#,
    );
    check_added(
        "[[point]]\nid = \"door\"\nat = \"A9\"\nroom = \"hal\"\n[[room]]\nname = \"hall\"",
        r#"
job.toml:28: point door: support A9 is not in the job
  hint: known: A1, A2, B1
job.toml:29: point door: room hal is not in the job
  hint: did you mean hall?
"#,
    );
    check_instead(
        "point = \"A2\", r",
        "point = \"A22\", r",
        r#"
job.toml:23: setup 1, reading of A22: point A22 is not in the job
  hint: did you mean A2?
"#,
    );
    check_added(
        "[[point]]\nid = \"P\"\nat = \"A1\"\n[[point]]\nid = \"P\"\nat = \"A2\"",
        r#"
job.toml:30: point P: the point is given twice, first on line 26
  hint: take one of the two out, or give it another name
"#,
    );
    check_added(
        "[[benchmark]]\npoint = \"BM\"\nlevel = 1",
        r#"
job.toml:27: benchmark BM: the benchmark is given twice
  hint: take one of the two out, or give it another name
"#,
    );
    check_added(
        "[[setup]]\nid = \"1\"",
        r#"
job.toml:27: setup 1: the setup is given twice
  hint: take one of the two out, or give it another name
"#,
    );
    check_added(
        "[goal]\nheight = { point = \"Z9\" }\nrooms = [\"hall\"]",
        r#"
job.toml:27: [goal]: point Z9 is not in the job
  hint: known: A1, A2, B1, BM
job.toml:28: [goal]: room hall is not in the job
  hint: the job has no rooms yet
"#,
    );
    check_added(
        "[[leg]]\nfrom = \"A1\"\nto = \"A1\"\nrise = 2\nsd = 1",
        r#"
job.toml:28: leg A1 to A1: it ends where it starts
  hint: name two different points
"#,
    );
}

#[test]
fn numbers() {
    check_added(
        "[[support]]\nid = \"C1\"\nat = [nan, inf]\ngap = -1\nheight = 1e9",
        r#"
job.toml:28: support C1: at is out of range: NaN mm, must be -1000000 mm to 1000000 mm
  hint: plans are drawn within a kilometre; check the unit
job.toml:28: support C1: at is out of range: inf mm, must be -1000000 mm to 1000000 mm
  hint: plans are drawn within a kilometre; check the unit
job.toml:29: support C1: gap is out of range: -1 mm, must be 0 mm to 300 mm
  hint: a gap is the air between support and bearer, zero or more; above 300 mm the support is missing
job.toml:30: support C1: height is out of range: 1000000000 mm, must be 0 mm to 10000 mm
  hint: a support is at most 10 m high; check the unit
"#,
    );
    check_instead(
        "reading = 1612",
        "reading = 5001",
        r#"
job.toml:22: setup 1, reading of A1: reading is out of range: 5001 mm, must be 0 mm to 5000 mm
  hint: a reading lies on the staff, from its foot to its end; give the setup a longer staff, an upside-down staff inverted = true, and check the unit
"#,
    );
    check_instead(
        "reading = 1612",
        "reading = -1",
        r#"
job.toml:22: setup 1, reading of A1: reading is out of range: -1 mm, must be 0 mm to 5000 mm
  hint: a reading lies on the staff, from its foot to its end; give the setup a longer staff, an upside-down staff inverted = true, and check the unit
"#,
    );
    check_instead(
        "reading = 1612",
        "reading = \"1,612\"",
        r#"
job.toml:22: setup 1, reading of A1: reading cannot be read: the comma could be a decimal mark or part thousands: 1,612
  hint: write 1379 or 1.379; decimal commas are read only where columns are separated by semicolons
"#,
    );
    check_instead(
        "reading = 1612",
        "reading = \"63 7/16\"",
        r#"
job.toml:22: setup 1, reading of A1: reading cannot be read: a fraction without an inch mark in a metric job: 63 7/16
  hint: write 63 7/16" with its inch mark, or set units = "ft-in"
"#,
    );
    check_instead(
        "reading_sd = 0.5",
        "reading_sd = 0\nstaff = 1e6\ndrift = true\nhose = { bore = 10 }",
        r#"
job.toml:19: setup 1: reading_sd is out of range: 0 mm, must be 0.001 mm to 100 mm
  hint: nothing is read without error: 0.5 mm for a careful reading, 1.2 mm for a casual one
job.toml:20: setup 1: staff is out of range: 1000000 mm, must be 300 mm to 8000 mm
  hint: staffs are made from 300 mm to 8 m long; check the unit
job.toml:21: setup 1: drift is asked for, and readings have no time: 4 of 4, must be none
  hint: give each reading a time, or take drift out
job.toml:22: setup 1: the hose needs two diameters, or two areas
  hint: write hose = { bore = 10, reservoir = 200 }, or bore_area and reservoir_area in mm2
"#,
    );
    check_instead(
        "reading = 1500 }",
        "reading = 1500, time = \"25:00\" }",
        r#"
job.toml:21: setup 1, reading of BM: time is not a time: 25:00
  hint: write minutes, or a clock time such as "14:05"
"#,
    );
    check_instead(
        "reading = 1500 }",
        "reading = 1500, time = -3 }",
        r#"
job.toml:21: setup 1, reading of BM: time is out of range: -3 min, must be 0 min to 10080 min
  hint: minutes of one week; or write a clock time such as "14:05"
"#,
    );
    check_instead(
        "{ point = \"BM\", reading = 1500 },\n    { point = \"A1\", reading = 1612 }",
        "{ point = \"BM\", reading = 1500, time = \"10:00\" },\n    { point = \"A1\", reading = 1612, time = 4 }",
        r#"
job.toml:22: setup 1, reading of A1: minutes and clock times are mixed in one setup
  hint: write all times of a setup in one way
"#,
    );
    check_added(
        "[tests]\nalpha = 2\npower = nan\n[job.x]",
        r#"
job.toml:27: [tests]: alpha is out of range: 2, must be 0.000001 to 0.5
  hint: an error probability such as 0.001 or 0.05
job.toml:28: [tests]: power is out of range: NaN, must be 0.5 to 0.9999
  hint: a power such as 0.80
job.toml:29: [job]: unknown key x
  hint: known here: address, client, date, name, north, note, reading_units, street, terms, units
"#,
    );
    check(
        &SOUND.replace("reading = 1", "reading = 1."),
        r#"
job.toml:2: all 4 readings are below 10.0 mm: are they in metres?
  hint: if they are in metres, write reading_units = "m" under [job]; if not, write each with its unit, such as "1.6 mm"
"#,
    );
}

#[test]
fn contradictions() {
    check_added(
        "[goal]\nlevel_tolerance = -1\nslope_tolerance = \"steep\"\ntilt_allowed = \"1 in 2\"\nprefer = \"least-lift\"",
        r#"
job.toml:27: [goal]: level_tolerance is out of range: -1 mm, must be 0 mm to 1000 mm
  hint: a tolerance is zero or more
job.toml:28: [goal]: slope_tolerance is not a slope: steep
  hint: write "1 in 300", or a number of mm per m
job.toml:29: [goal]: tilt_allowed is out of range: 1 in 2, must be level to 1 in 5
  hint: a slope such as "1 in 300", or in mm per m; steeper than 1 in 5 is a roof
"#,
    );
    check_added(
        "[limits]\npacking_warn = 80\npacking_stop = 60\nlift_per_pass = 20\nmax_lift = 10\njacks = 0",
        r#"
job.toml:28: [limits]: packing_stop and packing_warn contradict one another: 60.0 mm, must be at least 80.0 mm (packing_warn)
  hint: change one of the two; one that is not written has its assumed value
job.toml:29: [limits]: lift_per_pass and max_lift contradict one another: 20.0 mm, must be at most 10.0 mm (max_lift)
  hint: change one of the two; one that is not written has its assumed value
job.toml:31: [limits]: jacks is out of range: 0, must be 1 to 1000
  hint: nothing is lifted without a jack
"#,
    );
    check_added(
        "[limits]\npacking_warn = 120\njacks = 1.5",
        r#"
job.toml:26: [limits]: packing_stop and packing_warn contradict one another: 100.0 mm, must be at least 120.0 mm (packing_warn)
  hint: change one of the two; one that is not written has its assumed value
job.toml:28: [limits]: jacks is not a whole number: 1.5
  hint: write a whole number
"#,
    );
    check_instead(
        "at = [0, 0]",
        "at = [0, 0]\nfixed = \"chimney\"\nmay_lower = 5",
        r#"
job.toml:9: support A1: it is fixed and has a may_lower
  hint: take out fixed, or may_lower
"#,
    );
    check_instead(
        "at = [0, 0]",
        "at = [0, 0]\nfixed = \"chimney\"\nlift = 5",
        r#"
job.toml:9: support A1: it is fixed and has a lift
  hint: take out fixed, or lift
"#,
    );
    check_instead(
        "at = [0, 0]",
        "at = [0, 0]\nlift = \"2 m\"",
        r#"
job.toml:8: support A1: lift is out of range: 2000 mm, must be -1000 mm to 1000 mm
  hint: a lift is within a metre up or down; above that this is another trade
"#,
    );
    check_instead(
        "at = [1800, 0]",
        "at = [0, 0]",
        r#"
job.toml: warning: all floor points lie on one line: 3 points
  hint: levels and a profile can be had, a floor map cannot: read points beside the line
job.toml:8: support A2: it stands on the place of support A1
  hint: correct the place of one of the two, or take it out
"#,
    );
    check_added(
        "[stock]\npackers = [{ thickness = 3, price = 1.005 }, { thickness = 3 }, { pack = 0 }]\nmax_pieces = 0",
        r#"
job.toml:27: packer 1: the price has more than whole cents: 1.005
  hint: write the price of a pack with two decimals
job.toml:27: packer 2: the thickness is given twice
  hint: take one of the two out, or give it another name
job.toml:27: packer 3: its thickness is not given
  hint: write { thickness = 5 }
job.toml:27: packer 3: pack is out of range: 0, must be 1 to 100000
  hint: a pack has at least one piece
job.toml:28: [stock]: max_pieces is out of range: 0, must be 1 to 20
  hint: a stack has at least one piece; above 20 it is a tower
"#,
    );
    check_added(
        "[datum]\nzero = \"A1\"",
        r#"
job.toml:26: [datum]: the levels are counted from more than one thing
  hint: keep one of: benchmarks, zero, free
"#,
    );
    check_added(
        "[datum]\nfree = true\n",
        r#"
job.toml:26: [datum]: the levels are counted from more than one thing
  hint: keep one of: benchmarks, zero, free
"#,
    );
    check_added(
        "[datum]\ncovariance = [[1, 2], [2, 1]]",
        r#"
job.toml:27: [datum]: the covariance has another size than the benchmarks: 2 rows, must be 1 rows of 1
  hint: give one row and one column for each benchmark, in their order
"#,
    );
    check_added(
        "[datum]\ncovariance = [[-1]]",
        r#"
job.toml:27: [datum]: row 1, column 1 is not a covariance: -1 mm2
  hint: variances are zero or more, the two halves are alike, and no entry is larger than its variances allow
"#,
    );
    check_added(
        "[criteria]\non = [\"x\"]\noff = [\"x\"]\n[[criterion]]\nid = \"ours\"\nmeasure = \"straightedge\"\nlimit = 5",
        r#"
job.toml:27: [criteria]: criterion x is both on and off
  hint: keep one of the two
job.toml:29: criterion ours: the length of the straightedge is not given
  hint: write over = 3000, the length of the straightedge
"#,
    );
    check_added(
        "[[leg]]\nfrom = \"A1\"\nto = \"A2\"\nrise = 8\nsd = 1\nlength = 3000",
        r#"
job.toml:26: leg A1 to A2: it does not say in one way how well it is known
  hint: write sd; or setups with sd_per_setup; or length with sd_per_sqrt_km
"#,
    );
    check_added(
        "[[leg]]\nfrom = \"A1\"\nto = \"A2\"\nsetups = 2",
        r#"
job.toml:26: leg A1 to A2: its rise is not given
  hint: write rise = the height of to above from
job.toml:26: leg A1 to A2: sd_per_setup is not given
  hint: write sd_per_setup = its spread in mm
"#,
    );
}

#[test]
fn the_plan() {
    check_added(
        "[[room]]\nname = \"hall\"\noutline = [[0, 0], [1000, 0], [1000, 1500], [0, 1500]]",
        r#"
job.toml:23: warning: point A2: it lies outside every outline: 800.0 mm away, must be within 300.0 mm
  hint: correct its place or the outline, or give it another kind than floor
"#,
    );
    check_added(
        "[[room]]\nname = \"hall\"\noutline = [[0, 0], [1000, 1000], [1000, 0], [0, 1500]]",
        r#"
job.toml:28: room hall: the side from corner 1 crosses or touches the side from corner 3
  hint: give the corners in order, walking round the room once
"#,
    );
    check_added(
        "[[room]]\nname = \"hall\"\n[[room]]\nname = \"bath\"",
        r#"
job.toml:26: room hall: it has no outline, and too few points to find one
  hint: write outline = [[x, y], …], or take the room out
job.toml:28: room bath: it has no outline, and too few points to find one
  hint: write outline = [[x, y], …], or take the room out
"#,
    );
    check_added(
        "[[support]]\nid = \"C1\"",
        r#"
job.toml:26: support C1: its place is not given
  hint: write at = [x, y]
"#,
    );
    check_instead(
        "at = [0, 1500]",
        "at = [900, 0]",
        r#"
job.toml: warning: all floor points lie on one line: 3 points
  hint: levels and a profile can be had, a floor map cannot: read points beside the line
"#,
    );
}

#[test]
fn readings_that_do_not_hang_together() {
    check_instead(
        "[[benchmark]]\npoint = \"BM\"\nlevel = 0",
        "[[point]]\nid = \"BM\"\nkind = \"benchmark\"",
        r#"
job.toml: there is no benchmark and no datum
  hint: add a [[benchmark]] with its level, or call a point zero: [datum] zero = "A1"
"#,
    );
    check_added(
        "[[point]]\nid = \"P\"\nat = [900, 900]\n[[point]]\nid = \"Q\"\nat = [900, 1000]\n[[setup]]\nid = \"2\"\nreading_sd = 0.5\nreadings = [{ point = \"P\", reading = 1500 }, { point = \"Q\", reading = 1500 }]",
        r#"
job.toml:32: warning: setup 2: nothing joins it to the datum, so these get no level: P, Q
  hint: read one of the points with a level again from here, or one of these from there (BM)
"#,
    );
    check_instead(
        "    { point = \"BM\", reading = 1500 },\n",
        "",
        r#"
job.toml:17: setup 1: nothing joins it to the datum, so these get no level: A1, A2, B1
  hint: read one of the points with a level again from here, or one of these from there (BM)
"#,
    );
    check_instead(
        "    { point = \"A2\", reading = 1620 },\n",
        "    { point = \"A2\", reading = 1620 },\n    { point = \"A2\", reading = 1620 },\n",
        r#"
job.toml:24: warning: setup 1, reading of A2: the same reading is there twice, first on line 23
  hint: right if it was read twice; a time on each reading tells the two apart
"#,
    );
    check_instead(
        "    { point = \"A2\", reading = 1620 },\n",
        "    { point = \"A2\", reading = 1620, time = 3 },\n    { point = \"A2\", reading = 1620, time = 3 },\n",
        r#"
job.toml:24: setup 1, reading of A2: the same reading is there twice, first on line 23
  hint: take one of the two out
"#,
    );
    check(
        "format = 1\n[job]\nterms = \"au\"\n",
        r#"
job.toml: warning: there are no readings yet
  hint: add readings to a setup, a leg or a level book
"#,
    );
    check(
        "format = 1\n[[support]]\nid = \"A1\"\nat = [0, 0]\n[datum]\nzero = \"A1\"\n[[setup]]\nid = \"1\"\nreadings = [{ point = \"A1\", reading = 1500 }]",
        r#"
job.toml: warning: only one point was read: A1
  hint: a level is a comparison: read at least a second point
"#,
    );
}

#[test]
fn files_that_the_job_names() {
    check_added(
        "[[setup]]\nid = \"2\"\nreadings = \"../readings.csv\"",
        r#"
job.toml:28: setup 2: readings names a file outside the job's folder: ../readings.csv
  hint: put the file beside the job and write its name alone
"#,
    );
    check_added(
        "[[setup]]\nid = \"2\"\nreadings = \"/readings.csv\"",
        r#"
job.toml:28: setup 2: readings names a file by an absolute path: /readings.csv
  hint: put the file beside the job and write its name alone
"#,
    );
    check_added(
        "[[setup]]\nid = \"2\"\nreadings = \"readings.csv\"",
        r#"
job.toml:28: setup 2: the file readings.csv cannot be read: there is no readings.csv
  hint: put the file beside the job, or correct its name
"#,
    );
    let job = SOUND.to_owned() + "[[setup]]\nid = \"2\"\nreading_sd = 1\nreadings = \"r.csv\"\n";
    let loaded = load(&SourceFile::new("job.toml", job), &mut |_| {
        Ok("point,reading,setup,x,y,kind,inverted\nA1,1500,2,,,,\nA9,1501,2,,,,\nA2,x,2,1,1,door,maybe\nA1,1,3,,,,\nA1,1,,,,,\nB1,1499,2,5,,,\n".to_owned())
    });
    assert_eq!(
        shown(&loaded),
        r#"r.csv:3: reading of A9: point A9 is not in the job
  hint: known: A1, A2, B1, BM
r.csv:4: reading of A2: there is no such kind of point: door
  hint: known: floor, benchmark, threshold, soffit, ground, change-point
r.csv:4: reading of A2: point A2 stands elsewhere before: 1799.0 mm away, must be within 1 mm
  hint: give each point one place, or another name
r.csv:4: reading of A2: inverted is neither yes nor no: maybe
  hint: write yes, or leave the cell empty
r.csv:4: reading of A2: reading cannot be read: this is not a length: x
  hint: write for example 1612, 1.612 m, 161.2 cm, 5' 3 7/16" or 63.4375"
r.csv:5: reading of A1: setup 3 is not in the job
  hint: known: 1, 2
r.csv:6: reading of A1: the setup is not given
  hint: fill in the setup column
r.csv:7: reading of B1: only one of x and y is given
  hint: give both, or neither"#
    );
    let shared = SOUND.to_owned()
        + "[[setup]]\nid = \"2\"\nreadings = \"r.csv\"\n[[setup]]\nid = \"3\"\nreadings = \"r.csv\"\n";
    let loaded = load(&SourceFile::new("job.toml", shared), &mut |_| {
        Ok("point,reading\nA1,1500\nB1,1501\n".to_owned())
    });
    assert_eq!(
        shown(&loaded),
        "job.toml:31: setup 3: another setup has taken all readings of r.csv\n  \
         hint: give the table a setup column, or each setup a table"
    );
}

#[test]
fn bare_tables() {
    check_csv("point,x,y,reading\nA1,0,0,1612\nA2,1800,0,1620\nB1,0,1500,1605\n", "");
    check_csv(
        "",
        r#"
floor.csv:1: the file is empty
  hint: begin with a row of names: point,reading
"#,
    );
    check_csv(
        "A1,0,0,1612\n",
        r#"
floor.csv:1: the row of names is missing: A1 0 0 1612
  hint: begin with a row of names: point,reading
"#,
    );
    check_csv(
        "point,x,y,reading\n",
        r#"
floor.csv: warning: there are no readings yet
  hint: add readings to a setup, a leg or a level book
"#,
    );
    check_csv(
        "point,x,y,reading\nA1,0,0,1612\nA1,500,0,1613\nA2,9,9,1\n",
        r#"
floor.csv:3: reading of A1: point A1 stands elsewhere before: 500.0 mm away, must be within 1 mm
  hint: give each point one place, or another name
"#,
    );
    check_csv(
        "point,x,y,reading\nA1,0,0,\"1,612\"\nA2,1,0,nan\n",
        r#"
floor.csv:2: reading of A1: reading cannot be read: the comma could be a decimal mark or part thousands: 1,612
  hint: write 1379 or 1.379; decimal commas are read only where columns are separated by semicolons
floor.csv:3: reading of A2: reading cannot be read: this is not a length: nan
  hint: write for example 1612, 1.612 m, 161.2 cm, 5' 3 7/16" or 63.4375"
"#,
    );
    check_csv(
        "point,reading\nA1,1612\nA2,1613\n",
        r#"
floor.csv:2: warning: floor points: without a place, they shape no floor: A1, A2
  hint: write at = [x, y], or the name of the support that it is over
"#,
    );
    check_csv(
        "point;x;y;reading\nA1;0;0;1,612\nA2;1800;0;1,620\nB1;0;1500;1,605\n",
        r#"
floor.csv: all 3 readings are below 10.0 mm: are they in metres?
  hint: if they are in metres, head the column reading_m; if in millimetres, reading_mm
"#,
    );
}

#[test]
fn level_books() {
    check_added(
        "[[book]]\nid = \"main\"\nstart = 10000\nknown_close = 10000\nrows = [\n{ point = \"M\", bs = 1500 },\n{ point = \"TP\", bs = 1400, fs = 1300 },\n{ point = \"A1\", is = 1700, rise = 1, fall = 1 },\n{ point = \"M\", fs = 9000 },\n{ point = \"A2\" },\n{ point = \"nowhere\", is = 1 },\n]\n[[book]]\nid = \"main\"\n[[book]]\nid = \"empty\"",
        r#"
job.toml:33: book main, row 3: both a rise and a fall are written
  hint: keep the one that is in the book
job.toml:34: book main, row 4: fs is out of range: 9000 mm, must be 0 mm to 5000 mm
  hint: a sight lies on the staff, from its foot to its end; an upside-down staff is inverted = true; check the unit
job.toml:35: book main, row 5: there is no sight in it
  hint: fill in bs, is or fs, or take the row out
job.toml:39: book main: the book is given twice
  hint: take one of the two out, or give it another name
job.toml:40: book empty: it has no rows
  hint: write rows = "book.csv", or the rows themselves
"#,
    );
}

#[test]
fn metres_in_a_job_in_millimetres() {
    let metres = r#"[[setup]]
id = "2"
reading_sd = 0.5
readings = [
    { point = "A1", reading = 1.612 },
    { point = "A2", reading = "1.620" },
    { point = "B1", reading = 1.605 },
]"#;
    check_added(
        metres,
        r#"
job.toml:29: setup 2: all 3 readings are below 10.0 mm: are they in metres?
  hint: if they are in metres, write reading_units = "m" under [job]; if not, write each with its unit, such as "1.6 mm"
"#,
    );
    check_added(&metres.replace("1.612", "\"1.612 m\"").replace("1.605", "1605"), "");
    check_added(
        "[[book]]\nid = \"main\"\nstart = 0\nrows = [\n{ point = \"A1\", bs = 1.5 },\n{ point = \"A2\", is = 1.4 },\n{ point = \"B1\", fs = 1.3 },\n]",
        r#"
job.toml:26: book main: all 3 readings are below 10.0 mm: are they in metres?
  hint: if they are in metres, write reading_units = "m" under [job]; if not, write each with its unit, such as "1.6 mm"
"#,
    );
    check_csv(
        "point,x,y,reading\nA1,0,0,1.612\nA2,1800,0,1.640\n",
        r#"
floor.csv: warning: all 2 readings are below 10.0 mm: are they in metres?
  hint: if they are in metres, head the column reading_m; if in millimetres, reading_mm
floor.csv: warning: all floor points lie on one line: 2 points
  hint: levels and a profile can be had, a floor map cannot: read points beside the line
"#,
    );
    check_csv("point,x,y,reading_mm\nA1,0,0,1.612\nA2,1800,0,1.640\nB1,0,1500,1.605\n", "");
}

#[test]
fn a_plan_in_another_unit() {
    check_csv(
        "point,x,y,reading\nA1,0,0,1612\nA2,10,0,1620\nB1,0,8,1605\n",
        r#"
floor.csv: warning: plan: the whole plan is 10.0 mm wide: are x and y in metres?
  hint: if they are, head the columns x_m and y_m
"#,
    );
    check_csv(
        "point,x,y,reading\nA1,0,0,1612\nA2,3.6,0,1620\nB1,0,8,1605\n",
        r#"
floor.csv: plan: it is 8.0 mm wide, and supports A1 and A2 are 3.6 mm apart: are x and y in metres?
  hint: if they are, head the columns x_m and y_m
"#,
    );
    check_csv("point,x_m,y_m,reading\nA1,0,0,1612\nA2,3.6,0,1620\nB1,0,8,1605\n", "");
    check(
        &SOUND.replace("1800, 0]", "1.8, 0]").replace("0, 1500]", "0, 1.5]"),
        r#"
job.toml: plan: it is 1.8 mm wide, and supports A1 and B1 are 1.5 mm apart: are x and y in metres?
  hint: if they are, write units = "m" under [job], or each with its unit, such as "3.6 m"
"#,
    );
    check(
        &SOUND
            .replace("units = \"mm\"", "units = \"ft-in\"\nreading_units = \"mm\"")
            .replace("1800, 0]", "6, 0]")
            .replace("0, 1500]", "0, 5]"),
        r#"
job.toml: warning: plan: the whole plan is 152.4 mm wide: are x and y in feet?
  hint: if they are, write each with its foot mark, such as "12'"
"#,
    );
}

#[test]
fn a_figure_of_your_own() {
    check_added(
        "[[criterion]]\nid = \"ours\"\nlimit = 5",
        r#"
job.toml:26: criterion ours: it needs a measure and a limit
  hint: write measure = "range", "slope" or "straightedge", and limit
"#,
    );
    let job = format!("{SOUND}[[criterion]]\nid = \"ours\"\nmeasure = \"range\"\nlimit = 5\n");
    let loaded = load(&SourceFile::new("job.toml", job), &mut no_file);
    let input = loaded.job.expect("only the reason is missing");
    let faults = ready(&input, "job.toml").expect_err("a figure without a reason is refused");
    assert!(
        format!("{:#}", faults[0]).ends_with("give it a reason: the contract, the client, a date")
    );
}

/// A second and a third support beside those of [`SOUND`], and two bearers with nothing wrong with
/// them; what is added begins on line 42.
const ROWS: &str = r#"[[support]]
id = "B2"
at = [1800, 1500]
[[bearer]]
id = "A"
supports = ["A1", "A2"]
section = "75x100"
timber = "F5"
[[bearer]]
id = "B"
supports = ["B1", "B2"]
section = "75x100"
timber = "F5"
extra = 0.2
overhang = [100, 200]
joints = ["B2"]
"#;

fn check_on_rows(added: &str, expected: &str) {
    check_added(&format!("{ROWS}{added}"), expected);
}

#[test]
fn bearers_and_their_supports() {
    assert_eq!(NEXT + ROWS.lines().count(), 42);
    check_on_rows("", "");
    check_added(
        "[[bearer]]\nid = \"A\"\nsupports = [\"A1\", \"A22\"]\nsection = \"75x100\"\ntimber = \"F5\"",
        r#"
job.toml:8: support A2: it is under no bearer
  hint: name it among the supports of the bearer that it carries
job.toml:11: support B1: it is under no bearer
  hint: name it among the supports of the bearer that it carries
job.toml:28: bearer A: support A22 is not in the job
  hint: did you mean A2?
"#,
    );
    check_added(
        "[[bearer]]\nid = \"L\"\nsupports = [\"A1\", \"A2\", \"B1\"]\nsection = \"75x100\"\ntimber = \"F5\"",
        r#"
job.toml:28: bearer L: support B1 stands beside the line of the others: 1500.0 mm, must be within 150.0 mm
  hint: correct its place, or end the bearer and begin another one over that support; bearers lie along x or along y
"#,
    );
    check_on_rows(
        "[[bearer]]\nid = \"A\"\nsupports = [\"B1\", \"B2\"]\n[[bearer]]\nid = \"C\"\nsupports = [\"B1\", \"B1\"]\njoints = [\"A1\", \"A9\"]\n[[bearer]]\nsupports = [\"B1\"]\n[[bearer]]\nid = \"D\"",
        r#"
job.toml:43: bearer A: the bearer is given twice, first on line 29
  hint: take one of the two out, or give it another name
job.toml:47: bearer C: it names support B1 twice
  hint: name each support under the bearer once
job.toml:48: bearer C: it is jointed over support A1, which it does not rest on
  hint: name a support that is among its own
job.toml:48: bearer C: support A9 is not in the job
  hint: known: A1, A2, B1, B2
job.toml:49: bearer number 5: id is missing
  hint: give it a name, such as "A1"
job.toml:50: bearer number 5: it rests on one support alone: B1, must be two or more
  hint: name every support that it rests on, or take the bearer out
job.toml:51: bearer D: it rests on no support
  hint: name each support under the bearer once
"#,
    );
    check_on_rows(
        "[[support]]\nid = \"A3\"\nat = [3600, 40]\n[[support]]\nid = \"C2\"\nat = [900, 3000]\n[[support]]\nid = \"Z2\"\nat = [900, -900]\n[[bearer]]\nid = \"next\"\nsupports = [\"A2\", \"A3\"]\noverhang = [50, 0]\n[[bearer]]\nid = \"across\"\nsupports = [\"C2\", \"Z2\"]",
        r#"
job.toml:53: bearer next: it overlaps bearer A: 50.0 mm
  hint: end one where the other begins; a doubled bearer is one of twice the breadth
job.toml:57: bearer across: it crosses bearer A
  hint: bearers of one floor lie beside one another: end one at the other, over a support
job.toml:57: bearer across: it crosses bearer B
  hint: bearers of one floor lie beside one another: end one at the other, over a support
"#,
    );
    // Two that meet over one support are sound, and so is one that ends at another.
    check_on_rows(
        "[[support]]\nid = \"A3\"\nat = [3600, 0]\n[[support]]\nid = \"Z1\"\nat = [0, -900]\n[[bearer]]\nid = \"next\"\nsupports = [\"A2\", \"A3\"]\n[[bearer]]\nid = \"foot\"\nsupports = [\"A1\", \"Z1\"]",
        "",
    );
}

#[test]
fn sections_and_timbers() {
    check_on_rows(
        r#"[[joist]]
id = "1"
from = [0, 0]
to = [0, 1500]
section = "0x100"
timber = "F6"
[[joist]]
id = "2"
from = [450, 0]
to = [450, 1500]
section = [50, 2000]
timber = "SG8"
[[joist]]
id = "3"
from = [900, 0]
to = [900, 1500]
section = "100x50"
timber = "F55"
[[joist]]
id = "4"
from = [1350, 0]
to = [1350, 1500]
section = "75"
timber = { name = "old", e = 690, bending = 14 }
[[joist]]
id = "5"
from = [1800, 0]
to = [1800, 1500]
section = "75x-3"
timber = { shear = "much", bending = 300, density = 6, across = 3 }"#,
        r#"
job.toml:46: joist 1: section is out of range: 0 mm, must be 10 mm to 1200 mm
  hint: breadth x depth of the timber as it lies; check the unit
job.toml:47: joist 1: there is no such grade of timber: "F6"
  hint: known: F4, seasoned; F4, unseasoned; F5, seasoned; F5, unseasoned; F7, seasoned; F7, unseasoned; F8, seasoned; F8, unseasoned; MGP10; SG8, dry; SG8, wet; C16; C24; DF-L No. 2; or give its figures: { name = "…", e = … }
job.toml:52: joist 2: section is out of range: 2000 mm, must be 10 mm to 1200 mm
  hint: breadth x depth of the timber as it lies; check the unit
job.toml:53: joist 2: there is no such grade of timber: "SG8"
  hint: say which: "SG8, dry" or "SG8, wet"
job.toml:58: warning: joist 3: its section is broader than deep: it lies flat: 100.0 mm broad and 50.0 mm deep
  hint: a section is breadth x depth: "75x100" stands on edge; leave it if this timber and others like it do lie flat
job.toml:59: joist 3: there is no such grade of timber: "F55"
  hint: did you mean "F5"?
job.toml:64: joist 4: section is not breadth x depth: 75
  hint: write "75x100" for a timber that is 75 broad and stands 100 high
job.toml:65: joist 4, timber: e is out of range: 690 N/mm2, must be 1000 N/mm2 to 40000 N/mm2
  hint: timber has 4,000 to 25,000 N/mm2 (MPa) along the grain; check the unit
job.toml:65: joist 4, timber: its strength in shear is not given
  hint: give bending and shear both, or no strength at all
job.toml:70: joist 5: section is out of range: -3 mm, must be 10 mm to 1200 mm
  hint: breadth x depth of the timber as it lies; check the unit
job.toml:71: [timber]: unknown key across
  hint: known here: across_grain, bending, density, e, name, shear, source
job.toml:71: joist 5, timber: bending is out of range: 300 N/mm2, must be 1 N/mm2 to 200 N/mm2
  hint: timber has 5 to 90 N/mm2 (MPa) in bending; check the unit
job.toml:71: joist 5, timber: shear cannot be read: "much"
  hint: write a number of N/mm2 (MPa), or for example "6900 MPa", "6.9 GPa" or "900 psi"
job.toml:71: joist 5, timber: density is out of range: 6 kg/m3, must be 200 kg/m3 to 1500 kg/m3
  hint: timber has 300 to 1,250 kg/m3; check the unit
"#,
    );
}

#[test]
fn joists_over_air_and_out_of_line() {
    check_on_rows(
        r#"[[joist]]
id = "1"
from = [450, 0]
to = [450, 1200]
joints = ["B", "Bb"]
[[joist]]
id = "2"
from = [900, 0]
to = [1500, 1500]
[[joist]]
id = "3"
from = [900, 0]
to = [900, 0]
[[joist]]
id = "4"
from = [900, 0]
[[joist]]
id = "5"
from = [0, 0]
to = [0, 1500]
[[joist]]
id = "6"
from = [0, 1500]
to = [0, 100]
[[joist]]
id = "5"
from = [1350, 0]
to = [1350, 1500]
[joists]
direction = "x"
rooms = ["hal"]
spacing = 4"#,
        r#"
job.toml:42: joist 1: it crosses too few bearers: 1, must be 2 or more
  hint: lengthen the joist to the next bearer, or take it out
job.toml:46: joist 1: it is jointed over bearer B, which it does not cross
  hint: name a bearer that it crosses
job.toml:46: joist 1: bearer Bb is not in the job
  hint: did you mean B?
job.toml:50: joist 2: it runs neither along x nor along y: 600.0 mm in x and 1500.0 mm in y, must be within 10.0 mm one way
  hint: turn the plan so that the timbers lie along x and y, or correct a place
job.toml:54: joist 3: it ends where it begins
  hint: write the places of its two ends
job.toml:55: joist 4: to is not given
  hint: write from = [x, y] and to = [x, y]
job.toml:62: joist 6: it crosses too few bearers: 1, must be 2 or more
  hint: lengthen the joist to the next bearer, or take it out
job.toml:62: joist 6: it crosses or overlaps joist 5
  hint: end one where the other begins, or take one out
job.toml:67: joist 5: the joist is given twice, first on line 58
  hint: take one of the two out, or give it another name
job.toml:71: [joists]: they run along the bearers
  hint: joists cross the bearers: correct the direction, or leave it out
job.toml:72: [joists]: room hal is not in the job
  hint: the job has no rooms yet
job.toml:73: [joists]: spacing is out of range: 4 mm, must be 100 mm to 3000 mm
  hint: joists lie 300 to 600 mm apart; check the unit
"#,
    );
    check_added(
        "[joists]\nspaceing = 450",
        r#"
job.toml:27: [joists]: unknown key spaceing
  hint: did you mean spacing?
"#,
    );
    check_instead(
        "format = 1\n",
        "format = 1\njoists = 3\n",
        r#"
job.toml:2: joists is not a list of blocks
  hint: begin each with [[joists]], in double brackets
"#,
    );
    check_added(
        "[[joists]]\nfirst = 3\n[[joists]]\nspacing = 450\nrooms = 3",
        r#"
job.toml:26: joists number 1: their spacing is not given
  hint: write spacing = 450
job.toml:30: [joists]: rooms cannot be read: invalid type: integer 3, expected a list in [ ]
  hint: rooms: only under these rooms; under the whole floor if left out
"#,
    );
}

#[test]
fn loads_on_the_floor() {
    check_added(
        r#"[[wall]]
name = "front"
from = [0, 0]
to = [9000, 0]
load = "1.5 kN"
[[wall]]
name = "back"
from = [0, 0]
to = [1800, 0]
build_up = ["weatherbord-wall", "gold-roof"]
[[wall]]
name = "side"
from = [0, 0]
to = [1800, 1500]
build_up = ["weatherboard-wall"]
roof_width = 2000
[[wall]]
name = "side"
from = [0, 0]
to = [1800, 0]
[[wall]]
name = "none"
from = [0, 0]
to = [1800, 0]
[[wall]]
name = "both"
from = [0, 0]
to = [1800, 0]
load = -1
build_up = ["sheet-roof"]"#,
        r#"
job.toml:29: wall front: it stands outside the floor: 7200.0 mm outside, must be within 600.0 mm
  hint: correct its place, or extend the joists to it
job.toml:30: wall front: load cannot be read: "1.5 kN"
  hint: write a number of kN/m, or for example "1.5 kN/m", "150 kg/m" or "100 lb/ft"
job.toml:35: wall back: there is no such build-up: "weatherbord-wall"
  hint: did you mean "weatherboard-wall"?
job.toml:35: wall back: there is no such build-up: "gold-roof"
  hint: known: weatherboard-wall, weatherboard-plaster-wall, fibre-cement-wall, brick-leaf, plasterboard-partition, plaster-partition, board-partition, sheet-roof, concrete-tile-roof, clay-tile-roof, slate-roof, shingle-roof, plaster-ceiling
job.toml:39: wall side: it runs neither along x nor along y: 1800.0 mm in x and 1500.0 mm in y, must be within 10.0 mm one way
  hint: turn the plan so that the timbers lie along x and y, or correct a place
job.toml:40: wall side: height is not given, which weatherboard-wall needs
  hint: write height = 2700
job.toml:41: wall side: roof_width is given, and nothing in its build_up is counted over it
  hint: add what is missing to build_up, or take roof_width out
job.toml:43: wall side: the wall is given twice
  hint: take one of the two out, or give it another name
job.toml:46: wall none: its load is not given: an unknown load is not zero
  hint: write load = "1.5 kN/m", or build_up = ["weatherboard-wall"] with height = 2700
job.toml:54: wall both: it has a load and a build_up
  hint: write load = "1.5 kN/m", or build_up = ["weatherboard-wall"] with height = 2700
"#,
    );
    check_added(
        r#"[[wall]]
name = "front"
from = [0, 0]
to = [1800, 0]
load = 1.5
[[load]]
name = "tank"
at = [0, 4000]
load = "2 tons"
[[load]]
name = "stove"
[[load]]
name = "stove"
[loads]
floor = 500
live = -1
no_walls = ''"#,
        r#"
job.toml:33: load tank: it stands outside the floor: 2500.0 mm outside, must be within 600.0 mm
  hint: correct its place, or extend the joists to it
job.toml:34: load tank: load cannot be read: "2 tons"
  hint: write a number of kN, or for example "250 kg", "2 t" (of 1,000 kg) or "4000 lb"
job.toml:35: load stove: its place is not given
  hint: write at = [x, y]
job.toml:35: load stove: its load is not given: an unknown load is not zero
  hint: write load = "250 kg"
job.toml:38: load stove: the load is given twice
  hint: take one of the two out, or give it another name
job.toml:40: [loads]: floor is out of range: 500 kPa, must be 0 kPa to 20 kPa
  hint: a load is zero or more; floors of houses carry 0.3 to 3 kPa; check the unit
job.toml:41: [loads]: live is out of range: -1 kPa, must be 0 kPa to 20 kPa
  hint: a load is zero or more; floors of houses carry 0.3 to 3 kPa; check the unit
job.toml:42: [loads]: no_walls gives no reason
  hint: write no_walls = "why no wall stands on the floor", or take it out
job.toml:42: [loads]: there are no walls, and walls are listed
  hint: take no_walls out, or the walls
"#,
    );
}

#[test]
fn what_holds_for_the_whole_frame() {
    check_added(
        r#"[frame]
off = " "
bearers_run = "z"
seat_length = 3
load_doubt = 25
set_share = [1, 0]
longest_span = 36
joist_timber = 3
[limits]
jack_rating = 2
jack_derating = { value = 0, reason = "none" }
bending_share = "150 %"
carry_least = "half""#,
        r#"
job.toml:28: [frame]: bearers_run cannot be read: there is no z, expected x or y
  hint: bearers_run: which way bearers run where they are not given: "x" or "y"; the way that makes the longer rows if left out
job.toml:29: [frame]: seat_length is out of range: 3 mm, must be 10 mm to 1000 mm
  hint: length of bearer that rests on a support; check the unit
job.toml:30: [frame]: load_doubt is out of range: 25, must be 0 to 0.9
  hint: a ratio: 0.25 for a quarter more or less
job.toml:31: [frame]: set_share begins above its end: 1 to 0
  hint: write the smaller share first
job.toml:32: [frame]: longest_span is out of range: 36 mm, must be 300 mm to 12000 mm
  hint: timbers of a house span 1 to 6 m; check the unit
job.toml:33: [frame]: joist_timber cannot be read: expected the name of a grade such as "F5", or { name = "…", e = … }
  hint: joist_timber: what joists are made of that do not say it themselves
job.toml:35: [limits]: jack_rating is out of range: 2 kN, must be 5 kN to 2000 kN
  hint: a jack that lifts a house is marked with 1 t (10 kN) or more: write kN, or for example "2 t"
job.toml:36: [limits]: jack_derating is out of range: 0, must be 0.05 to 1
  hint: a ratio above nothing, and at most the whole: 0.5 for half
job.toml:37: [limits]: bending_share is out of range: 1.5, must be 0.05 to 1
  hint: a ratio above nothing, and at most the whole: 0.5 for half
job.toml:38: [limits]: carry_least cannot be read: "half"
  hint: write a number of kN, or for example "250 kg", "2 t" (of 1,000 kg) or "4000 lb"
"#,
    );
    check_added(
        "[frame]\noff = \"\"\nset_share = 1.5",
        r#"
job.toml:27: [frame]: off gives no reason
  hint: write off = "why the frame is left out", or take it out
job.toml:28: [frame]: set_share is out of range: 1.5, must be 0 to 1
  hint: a ratio: 0 for timber that springs back, 1 for timber that stays as it is
"#,
    );
    check_on_rows(
        "[frame]\noff = \"only levels are asked for\"",
        r#"
job.toml:43: warning: [frame]: bearers and joists are given, and the frame is left out
  hint: take off out to have the frame calculated
"#,
    );
}

#[test]
fn what_is_still_to_be_laid() {
    check_added(
        "[goal]\nheight = { point = \"A1\", old_build_up = -3, new_build_up = 2000, ofset = 3 }",
        r#"
job.toml:27: height A1: unknown key ofset
  hint: did you mean offset?
job.toml:27: [goal]: height.old_build_up is out of range: -3 mm, must be 0 mm to 1000 mm
  hint: a thickness that is still to be laid, zero or more; above a metre check the unit
job.toml:27: [goal]: height.new_build_up is out of range: 2000 mm, must be 0 mm to 1000 mm
  hint: a thickness that is still to be laid, zero or more; above a metre check the unit
"#,
    );
}
