//! What a builder is told about each thing that can be wrong with a job.

use floorwright_job::{CsvMeaning, Loaded, SourceFile, from_csv, load};

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
    check_instead("format = 1", "format = 2", "F1");
    check_instead("format = 1", "format = 0", "F2");
    check_instead("format = 1", "format = \"one\"", "F3");
    check_instead("format = 1\n", "", "F4");
    check("", "F5");
}

#[test]
fn syntax() {
    check_added("[goal\nheight = 3", "S1");
    check_added("[goal]\nheight = highest", "S2");
    check_added("[goal]\nheight = 3\nheight = 4", "S3");
    check_instead("units = \"mm\"", "units = \"mm", "S4");
}

#[test]
fn unknown_keys_and_wrong_kinds_all_at_once() {
    check_added(
        "[[support]]\nid = \"C1\"\nat = [0, 3000]\nhieght = 3\ngap = true\nmax_lift = [1]\n[gaol]\nheight = 1\n[goal]\nprefer = \"fast\"\n[joists]\nspacing = 450",
        "U1",
    );
    check_added("[[setup]]\nid = \"2\"\nreadings = [{ point = \"A1\", raeding = 3 }]", "U2");
    check_added("[room]\nname = \"hall\"", "U3");
    check_added("[[leg]]\nfrom = \"A1\"\nto = \"A2\"\nrise = 2\nsetups = -1", "U4");
    check_added("[goal]\nheight = { point = \"A1\", ofset = 3 }\n[limits]\njacks = { value = 2, why = \"x\" }", "U5");
    check_instead("reading = 1500 }", "reading = 1500, time = 10:15:00 }", "U6");
}

#[test]
fn names() {
    check_instead("id = \"A2\"", "id = \"A1\"", "N1");
    check_added("[[support]]\nat = [0, 3000]\n[[support]]\nid = \"C\\u0007\"\nat = [1, 3000]", "N2");
    check_added("[[point]]\nid = \"door\"\nat = \"A9\"\nroom = \"hal\"\n[[room]]\nname = \"hall\"", "N3");
    check_instead("point = \"A2\", r", "point = \"A22\", r", "N4");
    check_added("[[point]]\nid = \"P\"\nat = \"A1\"\n[[point]]\nid = \"P\"\nat = \"A2\"", "N5");
    check_added("[[benchmark]]\npoint = \"BM\"\nlevel = 1", "N6");
    check_added("[[setup]]\nid = \"1\"", "N7");
    check_added("[goal]\nheight = { point = \"Z9\" }\nrooms = [\"hall\"]", "N8");
    check_added("[[leg]]\nfrom = \"A1\"\nto = \"A1\"\nrise = 2\nsd = 1", "N9");
}

#[test]
fn numbers() {
    check_added("[[support]]\nid = \"C1\"\nat = [nan, inf]\ngap = -1\nheight = 1e9", "R1");
    check_instead("reading = 1612", "reading = 5001", "R2");
    check_instead("reading = 1612", "reading = -1", "R3");
    check_instead("reading = 1612", "reading = \"1,612\"", "R4");
    check_instead("reading = 1612", "reading = \"63 7/16\"", "R5");
    check_instead("reading_sd = 0.5", "reading_sd = 0\nstaff = 1e6\ndrift = true\nhose = { bore = 10 }", "R6");
    check_instead("reading = 1500 }", "reading = 1500, time = \"25:00\" }", "R7");
    check_instead("reading = 1500 }", "reading = 1500, time = -3 }", "R8");
    check_instead(
        "{ point = \"BM\", reading = 1500 },\n    { point = \"A1\", reading = 1612 }",
        "{ point = \"BM\", reading = 1500, time = \"10:00\" },\n    { point = \"A1\", reading = 1612, time = 4 }",
        "R9",
    );
    check_added("[tests]\nalpha = 2\npower = nan\n[job.x]", "R10");
    check(
        &SOUND.replace("reading = 1", "reading = 1.").replace("units = \"mm\"", "units = \"mm\""),
        "R11",
    );
}

#[test]
fn contradictions() {
    check_added(
        "[goal]\nlevel_tolerance = -1\nslope_tolerance = \"steep\"\ntilt_allowed = \"1 in 2\"\nprefer = \"least-lift\"",
        "C1",
    );
    check_added("[limits]\npacking_warn = 80\npacking_stop = 60\nlift_per_pass = 20\nmax_lift = 10\njacks = 0", "C2");
    check_added("[limits]\npacking_warn = 120\njacks = 1.5", "C3");
    check_instead("at = [0, 0]", "at = [0, 0]\nfixed = \"chimney\"\nmay_lower = 5", "C4");
    check_instead("at = [1800, 0]", "at = [0, 0]", "C5");
    check_added("[stock]\npackers = [{ thickness = 3, price = 1.005 }, { thickness = 3 }, { pack = 0 }]\nmax_pieces = 0", "C6");
    check_added("[datum]\nzero = \"A1\"", "C7");
    check_added("[datum]\nfree = true\n", "C8");
    check_added("[datum]\ncovariance = [[1, 2], [2, 1]]", "C9");
    check_added("[datum]\ncovariance = [[-1]]", "C10");
    check_added("[criteria]\non = [\"x\"]\noff = [\"x\"]\n[[criterion]]\nid = \"ours\"\nmeasure = \"straightedge\"\nlimit = 5", "C11");
    check_added("[[leg]]\nfrom = \"A1\"\nto = \"A2\"\nrise = 8\nsd = 1\nlength = 3000", "C12");
    check_added("[[leg]]\nfrom = \"A1\"\nto = \"A2\"\nsetups = 2", "C13");
}

#[test]
fn the_plan() {
    check_added(
        "[[room]]\nname = \"hall\"\noutline = [[0, 0], [1000, 0], [1000, 1500], [0, 1500]]",
        "P1",
    );
    check_added("[[room]]\nname = \"hall\"\noutline = [[0, 0], [1000, 1000], [1000, 0], [0, 1500]]", "P2");
    check_added("[[room]]\nname = \"hall\"\n[[room]]\nname = \"bath\"", "P3");
    check_added("[[support]]\nid = \"C1\"", "P4");
    check_instead("at = [0, 1500]", "at = [900, 0]", "P5");
}

#[test]
fn readings_that_do_not_hang_together() {
    check_instead("[[benchmark]]\npoint = \"BM\"\nlevel = 0", "[[point]]\nid = \"BM\"\nkind = \"benchmark\"", "D1");
    check_added(
        "[[point]]\nid = \"P\"\nat = [900, 900]\n[[point]]\nid = \"Q\"\nat = [900, 1000]\n[[setup]]\nid = \"2\"\nreading_sd = 0.5\nreadings = [{ point = \"P\", reading = 1500 }, { point = \"Q\", reading = 1500 }]",
        "D2",
    );
    check_instead("    { point = \"BM\", reading = 1500 },\n", "", "D3");
    check_instead(
        "    { point = \"A2\", reading = 1620 },\n",
        "    { point = \"A2\", reading = 1620 },\n    { point = \"A2\", reading = 1620 },\n",
        "D4",
    );
    check_instead(
        "    { point = \"A2\", reading = 1620 },\n",
        "    { point = \"A2\", reading = 1620, time = 3 },\n    { point = \"A2\", reading = 1620, time = 3 },\n",
        "D5",
    );
    check("format = 1\n[job]\nterms = \"au\"\n", "D6");
    check(
        "format = 1\n[[support]]\nid = \"A1\"\nat = [0, 0]\n[datum]\nzero = \"A1\"\n[[setup]]\nid = \"1\"\nreadings = [{ point = \"A1\", reading = 1500 }]",
        "D7",
    );
}

#[test]
fn files_that_the_job_names() {
    check_added("[[setup]]\nid = \"2\"\nreadings = \"../readings.csv\"", "L1");
    check_added("[[setup]]\nid = \"2\"\nreadings = \"/readings.csv\"", "L2");
    check_added("[[setup]]\nid = \"2\"\nreadings = \"readings.csv\"", "L3");
    let job = SOUND.to_owned() + "[[setup]]\nid = \"2\"\nreading_sd = 1\nreadings = \"r.csv\"\n";
    let loaded = load(&SourceFile::new("job.toml", job), &mut |_| {
        Ok("point,reading,setup,x,y,kind,inverted\nA1,1500,2,,,,\nA9,1501,2,,,,\nA2,x,2,1,1,door,maybe\nA1,1,3,,,,\nA1,1,,,,,\nB1,1499,2,5,,,\n".to_owned())
    });
    assert_eq!(shown(&loaded), "L4");
}

#[test]
fn bare_tables() {
    check_csv("point,x,y,reading\nA1,0,0,1612\nA2,1800,0,1620\nB1,0,1500,1605\n", "");
    check_csv("", "T1");
    check_csv("A1,0,0,1612\n", "T2");
    check_csv("point,x,y,reading\n", "T3");
    check_csv("point,x,y,reading\nA1,0,0,1612\nA1,500,0,1613\nA2,9,9,1\n", "T4");
    check_csv("point,x,y,reading\nA1,0,0,\"1,612\"\nA2,1,0,nan\n", "T5");
    check_csv("point,reading\nA1,1612\nA2,1613\n", "T6");
    check_csv("point;x;y;reading\nA1;0;0;1,612\nA2;1800;0;1,620\nB1;0;1500;1,605\n", "T7");
}

#[test]
fn level_books() {
    check_added(
        "[[book]]\nid = \"main\"\nstart = 10000\nknown_close = 10000\nrows = [\n{ point = \"M\", bs = 1500 },\n{ point = \"TP\", bs = 1400, fs = 1300 },\n{ point = \"A1\", is = 1700, rise = 1, fall = 1 },\n{ point = \"M\", fs = 9000 },\n{ point = \"A2\" },\n{ point = \"nowhere\", is = 1 },\n]\n[[book]]\nid = \"main\"\n[[book]]\nid = \"empty\"",
        "B1",
    );
}
