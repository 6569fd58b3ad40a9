//! What text goes through before it is set: letters that no font here has become a visible mark, and names
//! in right-to-left letters do not turn the numbers beside them.

use crate::world::fonts;
use serde_json::Value;
use std::collections::BTreeSet;
use typst::text::Font;

/// Stands where a letter stood that no font here has.
pub(crate) const MARK: char = '\u{25a1}';

/// Turns what follows to left-to-right again, and is not seen.
const LEFT_TO_RIGHT: char = '\u{200e}';

/// Text that could not be set as it is written.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Marked {
    /// The text.
    pub(crate) text: String,
    /// Its first letter without a font.
    pub(crate) letter: char,
}

/// Puts text into a form that can be printed: what is invisible and turns the direction of others
/// goes, and so do control characters.
pub(crate) fn tidy(value: &mut Value) {
    each(value, &mut |text| {
        if text.chars().any(|letter| is_invisible(letter) || letter.is_control()) {
            let kept = text.chars().filter(|&letter| !is_invisible(letter));
            *text = kept.map(|letter| if letter.is_control() { ' ' } else { letter }).collect();
        }
    });
}

/// Marks that have no look of their own: joiners, direction marks and overrides, and what picks the
/// look of the letter before it.
fn is_invisible(letter: char) -> bool {
    matches!(letter, '\u{ad}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{fe00}'..='\u{fe0f}' | '\u{feff}')
}

/// What marks the letters that no font here has.
pub(crate) struct Marker {
    fonts: Vec<Font>,
    /// The texts that were marked.
    pub(crate) marked: BTreeSet<Marked>,
}

impl Marker {
    pub(crate) fn new() -> Self {
        Self { fonts: fonts(), marked: BTreeSet::new() }
    }

    fn covers(&self, letter: char) -> bool {
        let code = u32::from(letter);
        letter.is_ascii() || self.fonts.iter().any(|font| font.info().coverage.contains(code))
    }

    fn mark(&mut self, text: &mut String) -> bool {
        let Some(letter) = text.chars().find(|&letter| !self.covers(letter)) else { return false };
        self.marked.insert(Marked { text: text.clone(), letter });
        *text = self.marked_text(text);
        true
    }

    fn marked_text(&self, text: &str) -> String {
        text.chars().map(|letter| if self.covers(letter) { letter } else { MARK }).collect()
    }

    /// Marks every text of the data.
    pub(crate) fn mark_all(&mut self, value: &mut Value) {
        each(value, &mut |text| {
            self.mark(text);
        });
    }

    /// Marks the letters that run from right to left as well: what is left if they cannot be set.
    pub(crate) fn mark_right_to_left(text: &str) -> String {
        text.chars().map(|letter| if runs_left(letter) { MARK } else { letter }).collect()
    }

    /// The same inside a drawing, whose words stand in the data as well.
    pub(crate) fn mark_drawing(&self, svg: String) -> String {
        let svg = if svg.chars().all(|letter| self.covers(letter)) {
            svg
        } else {
            self.marked_text(&svg)
        };
        if svg.chars().any(is_arabic) { by_their_font(&svg) } else { svg }
    }
}

/// Arabic letters, for which one font has to be named: the search for it goes astray where brackets stand
/// beside them.
fn is_arabic(letter: char) -> bool {
    matches!(letter, '\u{600}'..='\u{6ff}' | '\u{750}'..='\u{77f}' | '\u{8a0}'..='\u{8ff}' | '\u{fb50}'..='\u{fdff}' | '\u{fe70}'..='\u{fefc}')
}

/// A drawing in whose texts each run of Arabic letters names its font.
fn by_their_font(svg: &str) -> String {
    let mut out = String::with_capacity(svg.len() + 1024);
    let mut in_text = false;
    for (idx, piece) in svg.split('<').enumerate() {
        if idx > 0 {
            out.push('<');
        }
        in_text = piece.starts_with("text") || (in_text && !piece.starts_with("/text"));
        // The tag, then the words after it.
        match piece.split_once('>').filter(|_| in_text) {
            Some((tag, words)) => {
                out.extend([tag, ">"]);
                name_font(words, &mut out);
            }
            None => out.push_str(piece),
        }
    }
    out
}

fn name_font(words: &str, out: &mut String) {
    let mut in_run = false;
    for letter in words.chars() {
        if is_arabic(letter) != in_run {
            in_run = !in_run;
            out.push_str(if in_run {
                "<tspan font-family=\"Noto Sans Arabic\">"
            } else {
                "</tspan>"
            });
        }
        out.push(letter);
    }
    if in_run {
        out.push_str("</tspan>");
    }
}

fn each(value: &mut Value, change: &mut impl FnMut(&mut String)) {
    match value {
        Value::String(text) => change(text),
        Value::Array(values) => values.iter_mut().for_each(|value| each(value, change)),
        Value::Object(values) => values.values_mut().for_each(|value| each(value, change)),
        Value::Null | Value::Bool(_) | Value::Number(_) => {}
    }
}

/// Letters of scripts that run from right to left: Hebrew, Arabic and their neighbours, and how
/// Arabic letters are written when they join.
fn runs_left(letter: char) -> bool {
    matches!(letter, '\u{590}'..='\u{8ff}' | '\u{fb1d}'..='\u{fdff}' | '\u{fe70}'..='\u{fefc}')
}

/// Shuts each of the names in right-to-left letters off from what stands beside it: without that
/// a number after the name is set before it, and its sign behind.
pub(crate) fn shut_off<'a>(value: &mut Value, names: impl IntoIterator<Item = &'a str>) {
    let mut names: Vec<&str> =
        names.into_iter().filter(|name| name.chars().any(runs_left)).collect();
    // The longest first, so that no name is taken for a part of another.
    names.sort_by_key(|name| (std::cmp::Reverse(name.len()), *name));
    names.dedup();
    if names.is_empty() {
        return;
    }
    each(value, &mut |text| {
        if text.chars().any(runs_left) {
            *text = shut_off_in(text, &names);
        }
    });
}

fn shut_off_in(text: &str, names: &[&str]) -> String {
    let mut out = String::with_capacity(text.len() + 12);
    let mut rest = text;
    let mut before = ' ';
    while let Some(letter) = rest.chars().next() {
        let name = names.iter().find(|name| {
            let after = rest.strip_prefix(**name);
            after.is_some_and(|after| !after.chars().next().is_some_and(char::is_alphanumeric))
        });
        match name.filter(|_| !before.is_alphanumeric()) {
            Some(name) => {
                out.push(LEFT_TO_RIGHT);
                out.push_str(name);
                out.push(LEFT_TO_RIGHT);
                rest = &rest[name.len()..];
                before = LEFT_TO_RIGHT;
            }
            None => {
                out.push(letter);
                rest = &rest[letter.len_utf8()..];
                before = letter;
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    /// The rule of a left-to-right mark: what stands on either side of it is no longer one run with
    /// the name (Unicode Standard Annex 9, L before a number keeps the number at its own level, W7).
    #[test]
    fn a_name_is_shut_off_from_numbers_and_from_no_part_of_another() {
        let mut value = json!(["חדר +12.5 left", "חדר 2 by 3", "מחדר", "Room 4"]);
        shut_off(&mut value, ["חדר", "חדר 2", "Room 4"]);
        let l = LEFT_TO_RIGHT;
        let expected =
            json!([format!("{l}חדר{l} +12.5 left"), format!("{l}חדר 2{l} by 3"), "מחדר", "Room 4"]);
        assert_eq!(value, expected);
    }

    #[test]
    fn arabic_letters_in_the_texts_of_a_drawing_name_their_font() {
        let svg = "<svg><title>(\u{634})</title><text x=\"1\" id=\"\u{634}\">(\u{634}\u{634}) A</text></svg>";
        let expected = "<svg><title>(\u{634})</title><text x=\"1\" id=\"\u{634}\">(<tspan font-family=\"Noto Sans Arabic\">\u{634}\u{634}</tspan>) A</text></svg>";
        assert_eq!(by_their_font(svg), expected);
    }

    #[test]
    fn letters_without_a_font_are_marked_and_named_once() {
        let mut marker = Marker::new();
        let mut value = json!({ "for": "田中 A", "again": ["田中 A", "Šárka Ωμ Жук"] });
        marker.mark_all(&mut value);
        assert_eq!(value, json!({ "for": "□□ A", "again": ["□□ A", "Šárka Ωμ Жук"] }));
        let marked = Marked { text: "田中 A".to_owned(), letter: '田' };
        assert_eq!(marker.marked.into_iter().collect::<Vec<_>>(), [marked]);
    }
}
