//! Keeps docs/pictures equal to what the program draws today, and sees that each one renders.

use crate::checks::Outcome;
use crate::debian::{self, RSVG_CONVERT};
use crate::shell;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Names that `cargo run -p floorwright-draw --example l_house -- NAME` can draw.
const PICTURES: &[&str] = &[
    "floor-before",
    "floor-after",
    "floor-before-phone",
    "lift",
    "lift-phone",
    "section",
    "pass-1",
    "passes",
];

/// Widths in pixels at which a picture is tried: A4 on paper, and a small phone.
const WIDTHS: &[u32] = &[1240, 360];

/// Fails if a stored picture is not what the program draws, or does not render.
pub fn check() -> Outcome {
    for name in PICTURES {
        let drawn = match draw(name) {
            Ok(drawn) => drawn,
            Err(why) => return Outcome::Failed(why),
        };
        if std::fs::read(stored(name)).ok().as_ref() != Some(&drawn) {
            return Outcome::Failed(format!(
                "docs/pictures/{name}.svg is not what is drawn today: cargo xtask pictures"
            ));
        }
    }
    if let Err(how) = debian::provide(&RSVG_CONVERT) {
        return Outcome::Skipped(how);
    }
    render_all().into()
}

/// Draws every stored picture anew.
pub fn refresh() -> Result<String, String> {
    for name in PICTURES {
        let path = stored(name);
        std::fs::write(&path, draw(name)?).map_err(|e| format!("{}: {e}", path.display()))?;
    }
    Ok(format!("{} pictures drawn", PICTURES.len()))
}

fn stored(name: &str) -> PathBuf {
    shell::root().join("docs/pictures").join(format!("{name}.svg"))
}

fn draw(name: &str) -> Result<Vec<u8>, String> {
    let words =
        ["run", "--quiet", "--package", "floorwright-draw", "--example", "l_house", "--", name];
    shell::stdout_of(&mut shell::cargo(&words))
}

fn render_all() -> Result<String, String> {
    let folder = shell::fresh_folder("pictures")?;
    for name in PICTURES {
        for width in WIDTHS {
            let png = folder.join(format!("{name}-{width}.png"));
            let mut convert = Command::new(RSVG_CONVERT.name);
            convert.arg("--width").arg(width.to_string()).arg("--keep-aspect-ratio");
            shell::run(convert.arg("--output").arg(&png).arg(stored(name)))?;
            has_width(&png, *width)?;
        }
    }
    Ok(format!("{} pictures at {} widths", PICTURES.len(), WIDTHS.len()))
}

/// A PNG file names its width in bytes 16 to 19 (PNG specification, IHDR).
fn has_width(png: &Path, width: u32) -> Result<(), String> {
    let bytes = std::fs::read(png).map_err(|e| format!("{}: {e}", png.display()))?;
    match bytes.get(16..20) {
        Some(found) if found == width.to_be_bytes() => Ok(()),
        _ => Err(format!("{} is not {width} pixels wide", png.display())),
    }
}
