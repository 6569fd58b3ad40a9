//! Reading and writing files without losing anything.

use crate::exit::{CONFLICT, Stop};
use std::fs::{self, File};
use std::io::{Read, Write};
use std::path::Path;

/// The largest file that is taken for a job or a list of readings.
pub const MOST_BYTES: u64 = 64 * 1024 * 1024;

/// Reads a text file, or standard input for `-`.
pub fn read(path: &Path) -> Result<String, Stop> {
    let mut bytes = Vec::new();
    let outcome = if path == Path::new("-") {
        std::io::stdin().lock().take(MOST_BYTES + 1).read_to_end(&mut bytes)
    } else {
        File::open(path).and_then(|file| file.take(MOST_BYTES + 1).read_to_end(&mut bytes))
    };
    outcome.map_err(|error| {
        let stop = Stop::io("read", path, &error);
        if error.kind() == std::io::ErrorKind::NotFound {
            stop.hint("check the name, or make a job with: floorwright new house.toml")
        } else {
            stop
        }
    })?;
    if bytes.len() as u64 > MOST_BYTES {
        return Err(Stop::new(
            crate::exit::FAILED,
            format!("{} is larger than {} MiB", path.display(), MOST_BYTES >> 20),
        )
        .hint("a job of 100,000 readings is about 3 MiB: is this the right file?"));
    }
    String::from_utf8(bytes).map_err(|error| {
        let offset = error.utf8_error().valid_up_to();
        let line = 1 + error.as_bytes()[..offset].iter().filter(|&&byte| byte == b'\n').count();
        Stop::new(crate::exit::FAILED, format!("{}:{line}: the text is not UTF-8", path.display()))
            .hint("save it again as UTF-8 text (from a spreadsheet: CSV UTF-8)")
    })
}

/// Reads a file as it is, at most so many bytes of it.
pub fn read_bytes(path: &Path, most: u64) -> Result<Vec<u8>, Stop> {
    let mut bytes = Vec::new();
    File::open(path)
        .and_then(|file| file.take(most).read_to_end(&mut bytes))
        .map_err(|error| Stop::io("read", path, &error))?;
    Ok(bytes)
}

/// What to do when the file is there already.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Existing {
    /// Leave it and stop.
    Keep,
    /// Put the new one in its place.
    Replace,
}

/// Writes a file so that at no moment is there half of it: a temporary neighbour is written,
/// synced and renamed over the name.
pub fn write(path: &Path, text: &str, existing: Existing) -> Result<(), Stop> {
    write_bytes(path, text.as_bytes(), existing)
}

/// The same for what is no text.
pub fn write_bytes(path: &Path, bytes: &[u8], existing: Existing) -> Result<(), Stop> {
    if existing == Existing::Keep && path.exists() {
        return Err(Stop::new(CONFLICT, format!("{} is there already", path.display()))
            .hint("choose another name, or add --force to replace it"));
    }
    let mut neighbour = path.as_os_str().to_owned();
    neighbour.push(format!(".{}.part", std::process::id()));
    let neighbour = Path::new(&neighbour);
    let outcome = File::create(neighbour)
        .and_then(|mut file| file.write_all(bytes).and_then(|()| file.sync_all()))
        .and_then(|()| fs::rename(neighbour, path))
        .and_then(|()| sync_folder(path));
    outcome.map_err(|error| {
        // The half-written neighbour is of no use to anyone; the old file is untouched.
        let _ = fs::remove_file(neighbour);
        Stop::io("write", path, &error)
    })
}

/// Makes a folder and those above it.
pub fn make_folder(path: &Path) -> Result<(), Stop> {
    fs::create_dir_all(path).map_err(|error| Stop::io("make the folder", path, &error))
}

#[cfg(unix)]
fn sync_folder(path: &Path) -> std::io::Result<()> {
    match path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
        Some(folder) => File::open(folder)?.sync_all(),
        None => File::open(".")?.sync_all(),
    }
}

#[cfg(not(unix))]
fn sync_folder(_path: &Path) -> std::io::Result<()> {
    Ok(())
}
