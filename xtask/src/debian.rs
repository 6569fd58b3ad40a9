//! Programs from outside that some checks need, and the Debian packages they come in.

use crate::shell;
use std::process::Command;

/// A program that a check starts.
pub struct Program {
    /// What is started.
    pub name: &'static str,
    /// What it is asked, to see whether it answers.
    pub asking: &'static str,
    /// The Debian package that has it.
    pub package: &'static str,
}

/// Turns SVG into PNG.
pub const RSVG_CONVERT: Program =
    Program { name: "rsvg-convert", asking: "--version", package: "librsvg2-bin" };

/// Reads the text of a PDF; its package also has `pdfinfo` and `pdffonts`.
pub const PDFTOTEXT: Program =
    Program { name: "pdftotext", asking: "-v", package: "poppler-utils" };

/// Checks how a PDF is put together.
pub const QPDF: Program = Program { name: "qpdf", asking: "--version", package: "qpdf" };

/// Notes the system calls of a program, and has them fail.
pub const STRACE: Program = Program { name: "strace", package: "strace", asking: "--version" };

/// The browser that the app is driven in.
pub const CHROMIUM: Program =
    Program { name: "chromium", package: "chromium", asking: "--version" };

/// Runs the script that drives the browser.
pub const NODE: Program = Program { name: "node", package: "nodejs", asking: "--version" };

/// Fetches what that script leans on.
pub const NPM: Program = Program { name: "npm", package: "npm", asking: "--version" };

/// Makes sure that the program is there: installs its package when we may, and otherwise says how.
///
/// # Errors
/// What to install, if it is missing and we may not.
pub fn provide(program: &Program) -> Result<(), String> {
    if shell::is_installed(program.name, program.asking) {
        return Ok(());
    }
    if may_install() {
        let apt_get = |words: &[&str]| {
            shell::run(Command::new("apt-get").args(words).env("DEBIAN_FRONTEND", "noninteractive"))
        };
        apt_get(&["update", "-q"])
            .and_then(|()| apt_get(&["install", "-qy", "--no-install-recommends", program.package]))
            .map_err(|why| format!("{} is not installed and {why}", program.name))?;
        if shell::is_installed(program.name, program.asking) {
            return Ok(());
        }
    }
    Err(format!("{} is not installed: apt-get install {}", program.name, program.package))
}

fn may_install() -> bool {
    let user = Command::new("id").arg("-u").output();
    let is_root = user.is_ok_and(|output| output.stdout.trim_ascii() == b"0");
    is_root && shell::is_installed("apt-get", "--version")
}
