//! How wide text will be, without a font at hand.

/// Advance widths of U+0020 to U+007E in thousandths of an em: DejaVu Sans Book, read from its
/// `hmtx` table. It is among the widest of the common sans-serif faces, so a box made with these
/// holds the text in others too.
const REGULAR: [u16; 95] = [
    318, 401, 460, 838, 636, 950, 780, 275, 390, 390, 500, 838, 318, 361, 318, 337, 636, 636, 636,
    636, 636, 636, 636, 636, 636, 636, 337, 337, 838, 838, 838, 531, 1000, 684, 686, 698, 770, 632,
    575, 775, 752, 295, 295, 656, 557, 863, 748, 787, 603, 787, 695, 635, 611, 732, 684, 989, 685,
    611, 685, 390, 337, 390, 838, 500, 500, 613, 635, 550, 635, 615, 352, 635, 634, 278, 278, 579,
    278, 974, 634, 612, 635, 635, 411, 521, 392, 634, 592, 818, 592, 592, 525, 636, 337, 636, 838,
];

/// The same for DejaVu Sans Bold.
const BOLD: [u16; 95] = [
    348, 456, 521, 838, 696, 1002, 872, 306, 457, 457, 523, 838, 380, 415, 380, 365, 696, 696, 696,
    696, 696, 696, 696, 696, 696, 696, 400, 400, 838, 838, 838, 580, 1000, 774, 762, 734, 830, 683,
    683, 821, 837, 372, 372, 775, 637, 995, 837, 850, 733, 850, 770, 720, 682, 812, 774, 1103, 771,
    724, 725, 457, 365, 457, 838, 500, 500, 675, 716, 593, 716, 678, 435, 716, 712, 343, 343, 665,
    343, 1042, 712, 687, 716, 716, 493, 595, 478, 712, 652, 924, 645, 652, 582, 712, 365, 712, 838,
];

/// Height of a capital or a digit in ems, the smaller of the common faces (0.716 from memory,
/// 0.729 in DejaVu Sans).
pub(crate) const CAP_HEIGHT: f64 = 0.716;

/// How far descenders reach below the line, in ems.
pub(crate) const DESCENT: f64 = 0.24;

/// Width of a line of text, in the unit of `size`.
pub(crate) fn width(text: &str, size: f64, bold: bool) -> f64 {
    let table = if bold { &BOLD } else { &REGULAR };
    let thousandths = |c: char| match c as u32 {
        code @ 0x20..=0x7e => u32::from(table[code as usize - 0x20]),
        0xa0..=0x24f | 0x2212 => 838,
        _ => 1000,
    };
    f64::from(text.chars().map(thousandths).sum::<u32>()) * 1e-3 * size
}

/// Breaks text at spaces so that no line is wider than `limit`; a longer word is cut.
pub(crate) fn wrap(text: &str, size: f64, bold: bool, limit: f64) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let longer = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
        if width(&longer, size, bold) <= limit {
            line = longer;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        line = fit(word, size, bold, limit);
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

/// Cuts text to `limit` and ends it with an ellipsis if anything had to go.
pub(crate) fn fit(text: &str, size: f64, bold: bool, limit: f64) -> String {
    if width(text, size, bold) <= limit {
        return text.to_owned();
    }
    let room = limit - width("…", size, bold);
    let mut kept = String::new();
    let mut used = 0.0;
    for c in text.chars() {
        used += width(c.encode_utf8(&mut [0; 4]), size, bold);
        if used > room {
            break;
        }
        kept.push(c);
    }
    format!("{}…", kept.trim_end())
}

/// Text that XML can hold: characters that it forbids become U+FFFD.
pub(crate) fn clean(text: &str) -> String {
    let forbidden = |c: char| c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}');
    text.chars().map(|c| if forbidden(c) { '\u{fffd}' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_line_is_wider_than_asked() {
        let text = "the datum is the brass bolt in the front step, called zero for this job";
        for limit in [20.0, 40.0, 64.0] {
            let lines = wrap(text, 3.5, false, limit);
            assert!(lines.iter().all(|line| width(line, 3.5, false) <= limit), "{lines:?}");
        }
        assert_eq!(wrap(text, 3.5, false, 1e9), [text]);
    }

    #[test]
    fn a_word_too_long_is_cut_visibly() {
        assert_eq!(fit("MMMMMMMM", 1.0, false, 3.0), "MM…");
    }

    #[test]
    fn control_characters_cannot_spoil_the_picture() {
        assert_eq!(clean("a\0b\u{1b}[1m"), "a\u{fffd}b\u{fffd}[1m");
    }
}
