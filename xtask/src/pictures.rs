//! Keeps docs/pictures equal to what the program draws today, and sees that each one renders.

use crate::checks::Outcome;
use crate::debian::{self, PDFTOTEXT, RSVG_CONVERT};
use crate::end_to_end;
use crate::shell;
use std::path::{Path, PathBuf};
use std::process::Command;

/// A stored picture, and the file that it is a copy of.
const PICTURES: &[(&str, &str)] = &[
    ("floor-before", "floor-before.svg"),
    ("floor-before-phone", "phone.svg"),
    ("lifts", "lifts.svg"),
    ("lifts-phone", "lifts-phone.svg"),
    ("floor-after", "lifts-floor-after.svg"),
    ("section", "front-section-1.svg"),
    ("passes", "passes.svg"),
    ("frame", "frame.svg"),
    ("who-carries", "lifts-who-carries.svg"),
    ("jack", "frame-jack-E6.svg"),
    ("way", "passes-way.svg"),
    ("stands", "stands.svg"),
    ("stands-phone", "stands-phone.svg"),
];

/// What is run on the demo's job, besides the demo itself, to draw them.
const RUNS: &[&[&str]] = &[
    &["floor", "house.toml", "--picture", "phone.svg", "--phone"],
    &["lift", "house.toml", "--picture", "lifts-phone.svg", "--phone"],
    &["stands", "house.toml", "--length", "9 m", "--picture", "stands-phone.svg", "--phone"],
    &["floor", "house.toml", "--picture", "front.svg", "--profile", "0,7200:10800,7200"],
];

/// Widths in pixels at which a picture is tried: A4 on paper, and a small phone.
const WIDTHS: &[u32] = &[1240, 360];

/// Fails if a stored picture is not what the program draws, or does not render.
pub fn check() -> Outcome {
    let folder = match draw() {
        Ok(folder) => folder,
        Err(why) => return Outcome::Failed(why),
    };
    for (name, file) in PICTURES {
        let drawn = std::fs::read(folder.join(file)).ok();
        if drawn.is_none() || std::fs::read(stored(name)).ok() != drawn {
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
    let folder = draw()?;
    for (name, file) in PICTURES {
        let path = stored(name);
        std::fs::copy(folder.join(file), &path).map_err(|e| format!("{}: {e}", path.display()))?;
    }
    page_one(&folder)?;
    Ok(format!("{} pictures drawn", PICTURES.len()))
}

/// Page one of the floor report as a picture, if there is a program for it. It is not compared by
/// the check, because another version of that program makes other bytes.
fn page_one(folder: &Path) -> Result<(), String> {
    if debian::provide(&PDFTOTEXT).is_err() {
        return Ok(());
    }
    let stem = shell::root().join("docs/pictures/floor-report");
    let mut convert = Command::new("pdftoppm");
    convert.args(["-r", "80", "-png", "-singlefile", "-f", "1", "-l", "1"]);
    shell::run(convert.arg(folder.join("paper/floor-report.pdf")).arg(stem))
}

fn stored(name: &str) -> PathBuf {
    shell::root().join("docs/pictures").join(format!("{name}.svg"))
}

/// Draws the demo's pictures, and gives the folder that they are in.
fn draw() -> Result<PathBuf, String> {
    let program = end_to_end::build()?;
    let folder = shell::fresh_folder("pictures-drawn")?;
    let demo: &[&str] = &["demo", "--into", "."];
    for words in std::iter::once(&demo).chain(RUNS) {
        shell::stdout_of(Command::new(&program).args(*words).current_dir(&folder))?;
    }
    Ok(folder)
}

fn render_all() -> Result<String, String> {
    let folder = shell::fresh_folder("pictures")?;
    for (name, _) in PICTURES {
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
