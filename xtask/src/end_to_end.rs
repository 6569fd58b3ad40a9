//! Runs the program as a builder would: the demo, in an empty folder, twice.

use crate::checks::Outcome;
use crate::shell;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Fails if the demo fails, writes nothing, or writes other bytes the second time.
pub fn check() -> Outcome {
    let program = match build() {
        Ok(program) => program,
        Err(why) => return Outcome::Failed(why),
    };
    match shell::stdout_of(Command::new(&program).arg("--help")) {
        Err(why) => Outcome::Failed(why),
        Ok(help) if !String::from_utf8_lossy(&help).contains("demo") => {
            Outcome::Skipped("the program has no `demo` command yet".to_owned())
        }
        Ok(_) => demo_twice(&program).into(),
    }
}

/// Builds the program, and says where it is.
pub fn build() -> Result<PathBuf, String> {
    shell::run(&mut shell::cargo(&["build", "--package", "floorwright"]))?;
    Ok(shell::target().join("debug").join(format!("floorwright{}", std::env::consts::EXE_SUFFIX)))
}

fn demo_twice(program: &Path) -> Result<String, String> {
    let first = demo(program, "demo-1")?;
    let second = demo(program, "demo-2")?;
    if first.is_empty() {
        return Err("the demo wrote no file".to_owned());
    }
    if let Some((path, _)) = first.iter().find(|(_, bytes)| bytes.is_empty()) {
        return Err(format!("the demo wrote {}, which is empty", path.display()));
    }
    let names: std::collections::BTreeSet<_> = first.keys().chain(second.keys()).collect();
    match names.into_iter().find(|name| first.get(*name) != second.get(*name)) {
        Some(path) => Err(format!("two runs of the demo differ in {}", path.display())),
        None => Ok(format!("{} files, the same twice", first.len())),
    }
}

/// Runs the demo in an empty folder and reads back whatever it wrote there.
fn demo(program: &Path, name: &str) -> Result<BTreeMap<PathBuf, Vec<u8>>, String> {
    let folder = shell::fresh_folder(name)?;
    shell::stdout_of(Command::new(program).arg("demo").current_dir(&folder))?;
    let mut files = BTreeMap::new();
    read_all(&folder, &folder, &mut files).map_err(|e| format!("{}: {e}", folder.display()))?;
    Ok(files)
}

fn read_all(
    top: &Path,
    folder: &Path,
    files: &mut BTreeMap<PathBuf, Vec<u8>>,
) -> std::io::Result<()> {
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            read_all(top, &path, files)?;
        } else {
            let name = path.strip_prefix(top).unwrap_or(&path).to_owned();
            files.insert(name, std::fs::read(&path)?);
        }
    }
    Ok(())
}
