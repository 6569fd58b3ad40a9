//! Papers and tables of an earlier run that no longer hold: put aside under a name that says so, so that
//! nobody finds them among the new ones and works by them. What is not ours is never touched.

use crate::exit::Stop;
use serde::Serialize;
use std::path::{Path, PathBuf};

/// A file that was put aside.
#[derive(Debug, Serialize)]
pub struct Aside {
    /// Its name until now.
    file: String,
    /// Its name from now on.
    now: String,
}

impl Aside {
    /// What is said of it.
    pub fn said(&self, why: &str) -> String {
        let name = Path::new(&self.now).file_name().unwrap_or_default().to_string_lossy();
        format!("{} NO LONGER HOLDS, {why}: it is now called {name}. Do not work by it.", self.file)
    }
}

/// Puts a file aside: `run-sheet.pdf` becomes `run-sheet.superseded.pdf`, or `.superseded-2` and so on
/// where earlier ones lie there already.
pub fn put_aside(path: &Path) -> Result<Aside, Stop> {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let end = path.extension().unwrap_or_default().to_string_lossy();
    let named = |number: usize| {
        let number = if number == 1 { String::new() } else { format!("-{number}") };
        path.with_file_name(format!("{stem}.superseded{number}.{end}"))
    };
    let now: PathBuf = (1..).map(named).find(|name| !name.exists()).unwrap_or_else(|| named(1));
    std::fs::rename(path, &now).map_err(|error| Stop::io("put aside", path, &error))?;
    Ok(Aside { file: path.display().to_string(), now: now.display().to_string() })
}
