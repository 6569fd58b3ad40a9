//! Running the program and reading what it says.

use serde_json::Value;
use std::ffi::OsStr;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// What a run came to.
pub struct Run {
    /// Exit code.
    pub exit: i32,
    /// What it printed.
    pub out: String,
    /// What it complained of.
    pub err: String,
}

impl Run {
    /// The printed JSON.
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.out).unwrap_or_else(|error| panic!("{error}: {}", self.out))
    }

    /// Fails unless the run ended as expected.
    pub fn ends(self, exit: i32) -> Self {
        assert_eq!(self.exit, exit, "out: {}\nerr: {}", self.out, self.err);
        self
    }

    /// Fails unless these words were printed, wherever the lines break.
    pub fn says(self, words: &str) -> Self {
        let all = one_line(&format!("{} {}", self.out, self.err));
        assert!(all.contains(words), "not said: {words}\nin: {}\n{}", self.out, self.err);
        self
    }
}

/// The text with every run of blanks and line breaks made one blank.
pub fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The program, not yet run.
pub fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_floorwright"));
    command.env_remove("NO_COLOR").env("TERM", "xterm-256color").stdin(Stdio::null());
    command
}

/// Runs the program in a folder. No run may panic, whatever it is given.
pub fn run_in(folder: &Path, args: &[impl AsRef<OsStr>]) -> Run {
    taken(&program().current_dir(folder).args(args).output().unwrap())
}

/// How a run has to end for what the JSON of its passes says: a limit of the frame stops them, or
/// nothing does.
pub fn ends_with_its_passes(json: &Value) -> i32 {
    let check = &json["result"]["passes"]["result"]["on_frame"]["check"];
    assert!(check.is_object(), "the passes were checked on the frame");
    if check["stop"].is_null() { 0 } else { 3 }
}

/// Makes the demo in a folder; it ends as its passes do.
pub fn demo_in(folder: &Path) -> Run {
    let run = run_in(folder, &["demo"]);
    let passes = fs::read_to_string(folder.join("demo/passes.json")).unwrap();
    run.ends(ends_with_its_passes(&serde_json::from_str(&passes).unwrap()))
}

/// Runs the program in a folder with this on its standard input.
pub fn run_with_input(folder: &Path, args: &[&str], input: &str) -> Run {
    let mut child = program()
        .current_dir(folder)
        .args(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(input.as_bytes()).unwrap();
    taken(&child.wait_with_output().unwrap())
}

/// What an output came to.
pub fn taken(output: &Output) -> Run {
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).expect("what is printed is UTF-8");
    let run = Run {
        exit: output.status.code().expect("it ends by itself"),
        out: text(&output.stdout),
        err: text(&output.stderr),
    };
    assert!(!run.err.contains("panicked"), "{}", run.err);
    run
}

/// An empty folder of this test's own.
pub fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    match fs::remove_dir_all(&folder) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => panic!("{error}"),
        _ => fs::create_dir_all(&folder).unwrap(),
    }
    folder
}

/// A copy of one of the project's examples.
pub fn copy_of_example(example: &str, name: &str) -> PathBuf {
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").join("examples").join(example);
    let to = folder(name);
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        fs::copy(entry.path(), to.join(entry.file_name())).unwrap();
    }
    to
}

/// Replaces text in a file; it has to be there.
pub fn edit(file: &Path, old: &str, new: &str) {
    let text = fs::read_to_string(file).unwrap();
    assert!(text.contains(old), "{old} is not in {}", file.display());
    fs::write(file, text.replace(old, new)).unwrap();
}

/// The planted levels of a made-up house, by point.
pub fn truth(text: &str) -> Vec<(&str, f64)> {
    let levels: Vec<(&str, f64)> = text
        .lines()
        .skip(1)
        .map(|line| line.split_once(',').unwrap())
        .map(|(point, level)| (point, level.parse().unwrap()))
        .collect();
    assert!(!levels.is_empty());
    levels
}

/// The entry of a list whose key has this value.
pub fn entry<'a>(list: &'a Value, key: &str, value: &str) -> &'a Value {
    list.as_array()
        .unwrap()
        .iter()
        .find(|entry| entry[key] == value)
        .unwrap_or_else(|| panic!("no {key} {value} in {list:#}"))
}

/// A number that has to be there.
pub fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is not a number"))
}

/// A list that has to be there.
pub fn list(value: &Value) -> &[Value] {
    value.as_array().unwrap_or_else(|| panic!("{value} is not a list"))
}

/// Text that has to be there.
pub fn text(value: &Value) -> &str {
    value.as_str().unwrap_or_else(|| panic!("{value} is not text"))
}
