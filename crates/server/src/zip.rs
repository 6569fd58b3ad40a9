//! Files as one file: a ZIP archive in which nothing is packed, so that the same files give the same bytes.
//!
//! After PKWARE's APPNOTE 6.3.10, sections 4.3.7 (local header), 4.3.12 (central directory) and 4.3.16 (its
//! end). Names are UTF-8 (4.4.4, bit 11), times stand at the beginning of 1980.

/// Half past midnight of 1 January 1980, as MS-DOS counts: day 1 of month 1.
const DATE: u16 = 1 << 5 | 1;
const UTF_8: u16 = 1 << 11;
const VERSION: u16 = 20;

/// Puts files together, in their order; `None` if they are more than an archive of this kind holds,
/// 65,535 files or 4 GB.
pub(crate) fn archive(files: &[(String, Vec<u8>)]) -> Option<Vec<u8>> {
    let (mut all, mut directory) = (Vec::new(), Vec::new());
    for (name, content) in files {
        let start = u32::try_from(all.len()).ok()?;
        let head = head_of(name, content)?;
        all.extend(*b"PK\x03\x04");
        all.extend(&head);
        all.extend(name.as_bytes());
        all.extend(content);
        directory.extend(*b"PK\x01\x02");
        directory.extend(VERSION.to_le_bytes());
        directory.extend(&head);
        // No remark, disk 0, no attributes.
        directory.extend([0; 10]);
        directory.extend(start.to_le_bytes());
        directory.extend(name.as_bytes());
    }
    let n_files = u16::try_from(files.len()).ok()?;
    let (start, size) = (u32::try_from(all.len()).ok()?, u32::try_from(directory.len()).ok()?);
    all.extend(directory);
    all.extend(*b"PK\x05\x06\0\0\0\0");
    all.extend([n_files, n_files].map(u16::to_le_bytes).concat());
    all.extend([size, start].map(u32::to_le_bytes).concat());
    all.extend([0; 2]);
    Some(all)
}

/// What both headers of a file have in common.
fn head_of(name: &str, content: &[u8]) -> Option<Vec<u8>> {
    let size = u32::try_from(content.len()).ok()?;
    let length = u16::try_from(name.len()).ok()?;
    let mut head = Vec::new();
    // Stored as it is, at midnight.
    head.extend([VERSION, UTF_8, 0, 0, DATE].map(u16::to_le_bytes).concat());
    head.extend([crc32fast::hash(content), size, size].map(u32::to_le_bytes).concat());
    head.extend([length, 0].map(u16::to_le_bytes).concat());
    Some(head)
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

    /// Python 3.11's `zipfile`: `ZipInfo("a.txt")`, whose time is the beginning of 1980, `create_system = 0`,
    /// content `b"packers"`. It writes the rights of a file, where we write none, and marks names as UTF-8
    /// only where they are not ASCII.
    #[test]
    fn an_archive_is_as_another_program_writes_it() {
        let made = archive(&[("a.txt".to_owned(), b"packers".to_vec())]).unwrap();
        let hex: String = made.iter().map(|byte| format!("{byte:02x}")).collect();
        assert_eq!(
            hex,
            "504b0304140000080000000021000c9c001a070000000700000005000000612e7478747061636b657273\
             504b01021400140000080000000021000c9c001a0700000007000000050000000000000000000000000000000000\
             612e747874504b05060000000001000100330000002a0000000000"
        );
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
