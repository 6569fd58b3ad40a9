//! Files as one file: a ZIP archive in which nothing is packed. The same files give the same bytes.

use std::io::{Cursor, Write as _};
use zip::result::ZipResult;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter};

/// Puts files together, in their order, with their times at the beginning of 1980.
///
/// # Errors
/// What the archive cannot hold: two files of one name, or one of more than 4 GB.
pub(crate) fn archive(files: &[(String, Vec<u8>)]) -> ZipResult<Vec<u8>> {
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Stored)
        .last_modified_time(DateTime::default());
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, content) in files {
        writer.start_file(name.as_str(), options)?;
        writer.write_all(content)?;
    }
    Ok(writer.finish()?.into_inner())
}

/// A name that stays inside the folder that an archive is taken out into.
pub(crate) fn is_tame(name: &str) -> bool {
    let is_odd = |letter: char| letter.is_control() || matches!(letter, '\\' | ':');
    let mut parts = name.split('/');
    !name.is_empty()
        && name.len() < 200
        && !name.contains(is_odd)
        && parts.all(|part| !part.is_empty() && part != "." && part != "..")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_files_give_the_same_bytes() {
        let files = [("a.txt".to_owned(), b"packers".to_vec()), ("Küche.csv".to_owned(), vec![])];
        let made = archive(&files).unwrap();
        assert_eq!(made, archive(&files).unwrap());
        let twice = [files[0].clone(), files[0].clone()];
        assert!(archive(&twice).is_err());
    }

    #[test]
    fn names_that_lead_elsewhere_are_none() {
        for tame in ["hall.csv", "tables/hall.csv", "Küche.csv", "..hall.csv"] {
            assert!(is_tame(tame), "{tame}");
        }
        for wild in ["", "/etc/passwd", "../x", "a/../../x", "a//b", "C:\\x", "a\\b", "a\0b", "./x"]
        {
            assert!(!is_tame(wild), "{wild}");
        }
    }
}
