//! Proves that the pure crates' bans are real.
//!
//! A ban in clippy.toml that names a path which no longer exists, or a file that clippy does not
//! read, would forbid nothing and say nothing. So each pure crate's clippy.toml is copied beside a
//! small crate that breaks every rule, and clippy has to complain about each marked line.

use crate::shell;
use std::collections::BTreeSet;
use std::path::Path;

/// Crates that know no files, sockets, environment, threads, clock or randomness.
const PURE: &[&str] = &["engine", "job", "draw", "pages", "report", "export"];

const IMPURE: &str = include_str!("../fixtures/impure.rs");
const MANIFEST: &str = "\
[package]
name = \"impure\"
version = \"0.0.0\"
edition = \"2024\"
publish = false
[workspace]
";

/// Fails unless every ban of every pure crate is noticed.
pub fn bans_bite() -> Result<String, String> {
    for name in PURE {
        let rules = shell::root().join("crates").join(name).join("clippy.toml");
        let folder = shell::fresh_folder(&format!("purity/{name}"))?;
        write(&folder.join("Cargo.toml"), MANIFEST)?;
        write(&folder.join("src/lib.rs"), IMPURE)?;
        let rules = std::fs::read_to_string(&rules).map_err(|e| format!("{name}: {e}"))?;
        write(&folder.join("clippy.toml"), &rules)?;
        let reported = reported_lines(&folder)?;
        let wanted = marked_lines(IMPURE);
        if wanted.is_empty() {
            return Err("the trial breaks no rule".to_owned());
        }
        let missed: Vec<_> = wanted.difference(&reported).collect();
        let extra: Vec<_> = reported.difference(&wanted).collect();
        if !missed.is_empty() || !extra.is_empty() {
            return Err(format!(
                "crates/{name}/clippy.toml against xtask/fixtures/impure.rs: \
                 lines that should be refused and are not: {missed:?}; \
                 lines refused without a mark: {extra:?}"
            ));
        }
    }
    Ok(format!("{} trials refused in each of {} crates", marked_lines(IMPURE).len(), PURE.len()))
}

fn write(path: &Path, text: &str) -> Result<(), String> {
    let folder = path.parent().expect("the path is inside a folder");
    std::fs::create_dir_all(folder)
        .and_then(|()| std::fs::write(path, text))
        .map_err(|e| format!("{}: {e}", path.display()))
}

fn marked_lines(source: &str) -> BTreeSet<usize> {
    let lines = source.lines().enumerate();
    lines.filter(|(_, line)| line.ends_with("// banned")).map(|(idx, _)| idx + 1).collect()
}

/// The lines of `src/lib.rs` on which one of the two lints fires.
fn reported_lines(folder: &Path) -> Result<BTreeSet<usize>, String> {
    let arguments = ["clippy", "--quiet", "--offline", "--message-format=short", "--"];
    let lints = ["-Dclippy::disallowed_methods", "-Dclippy::disallowed_types"];
    let mut command = shell::cargo(&arguments);
    command.args(lints).current_dir(folder).env("CARGO_TARGET_DIR", folder.join("target"));
    command.env_remove("CLIPPY_CONF_DIR");
    let output = shell::capture(&mut command)?;
    let said = String::from_utf8_lossy(&output.stderr);
    if output.status.success() {
        return Ok(BTreeSet::new());
    }
    let line_number =
        |line: &str| line.strip_prefix("src/lib.rs:")?.split(':').next()?.parse().ok();
    let complaints = said.lines().filter(|line| line.contains("use of a disallowed"));
    let lines: BTreeSet<usize> = complaints.filter_map(line_number).collect();
    if lines.is_empty() {
        Err(format!("the trial did not reach the lints:\n{said}"))
    } else {
        Ok(lines)
    }
}

/// Fails if a type of the engine could be made from stored text without its checks.
pub fn no_deserialize_in_engine() -> Result<String, String> {
    let mut files = Vec::new();
    rust_files(&shell::root().join("crates/engine/src"), &mut files)?;
    let mut places = Vec::new();
    for path in &files {
        let text = std::fs::read_to_string(path).map_err(|e| format!("{}: {e}", path.display()))?;
        for line in lines_that_deserialize(&text) {
            let short = path.strip_prefix(shell::root()).unwrap_or(path);
            places.push(format!("{}:{line}", short.display()));
        }
    }
    if files.is_empty() {
        Err("crates/engine/src has no Rust files".to_owned())
    } else if places.is_empty() {
        Ok(format!("{} files", files.len()))
    } else {
        Err(format!(
            "Deserialize in the engine: {}\n\
             hint: the way in is a checked constructor; put the stored form in crates/job",
            places.join(", ")
        ))
    }
}

fn lines_that_deserialize(source: &str) -> Vec<usize> {
    let code = |line: &str| line.split("//").next().unwrap_or_default().contains("Deserialize");
    source.lines().enumerate().filter(|(_, line)| code(line)).map(|(idx, _)| idx + 1).collect()
}

fn rust_files(folder: &Path, found: &mut Vec<std::path::PathBuf>) -> Result<(), String> {
    let entries = std::fs::read_dir(folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    for entry in entries {
        let path = entry.map_err(|e| format!("{}: {e}", folder.display()))?.path();
        if path.is_dir() {
            rust_files(&path, found)?;
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            found.push(path);
        }
    }
    found.sort();
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn deserialize_is_found_in_code_and_not_in_comments() {
        let source = "use serde::Serialize;\n// never Deserialize\n#[derive(Deserialize)]\n";
        assert_eq!(lines_that_deserialize(source), [3]);
    }

    #[test]
    fn marks_are_line_numbers_from_one() {
        assert_eq!(marked_lines("a // banned\nb\nc // banned\n"), BTreeSet::from([1, 3]));
    }
}
