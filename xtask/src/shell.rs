//! Starting other programs, and where things are.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// The top of the working tree.
///
/// Cargo says at run time where it found us: a build folder may be shared between two clones.
pub fn root() -> PathBuf {
    let found = std::env::var_os("CARGO_MANIFEST_DIR").map(PathBuf::from);
    let here = found.unwrap_or_else(|| env!("CARGO_MANIFEST_DIR").into());
    here.parent().expect("xtask lies inside the workspace").to_owned()
}

/// A folder of our own below the build folder, empty.
pub fn fresh_folder(name: &str) -> Result<PathBuf, String> {
    let folder = target().join("xtask").join(name);
    if folder.exists() {
        std::fs::remove_dir_all(&folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    }
    std::fs::create_dir_all(&folder).map_err(|e| format!("{}: {e}", folder.display()))?;
    Ok(folder)
}

/// The build folder.
pub fn target() -> PathBuf {
    let named = std::env::var_os("CARGO_TARGET_DIR").map(PathBuf::from);
    root().join(named.unwrap_or_else(|| "target".into()))
}

/// Cargo, the one that runs us, at the top of the working tree.
pub fn cargo(arguments: &[&str]) -> Command {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let mut command = Command::new(cargo);
    command.args(arguments).current_dir(root());
    command
}

/// Runs a program with its output on our own terminal.
pub fn run(command: &mut Command) -> Result<(), String> {
    let status = command.status().map_err(|e| format!("{}: {e}", name_of(command)))?;
    if status.success() { Ok(()) } else { Err(format!("{} ended with {status}", name_of(command))) }
}

/// Runs a program and keeps what it prints, whether it succeeds or not.
pub fn capture(command: &mut Command) -> Result<Output, String> {
    command.output().map_err(|e| format!("{}: {e}", name_of(command)))
}

/// Runs a program and keeps what it prints on stdout; a failure carries what it said on stderr.
pub fn stdout_of(command: &mut Command) -> Result<Vec<u8>, String> {
    let output = capture(command)?;
    if output.status.success() {
        Ok(output.stdout)
    } else {
        let said = String::from_utf8_lossy(&output.stderr);
        Err(format!("{} ended with {}\n{said}", name_of(command), output.status))
    }
}

/// Whether a program of that name answers.
pub fn is_installed(program: &str, asking: &str) -> bool {
    Command::new(program).arg(asking).output().is_ok_and(|output| output.status.success())
}

fn name_of(command: &Command) -> String {
    let program = Path::new(command.get_program()).file_name().unwrap_or_default();
    let words = std::iter::once(program).chain(command.get_args());
    words.map(|word| word.to_string_lossy()).collect::<Vec<_>>().join(" ")
}
