//! Letters that the fonts do not have are refused, with the text they stand in.

use crate::world::fonts;
use serde_json::Value;

/// Puts text into a form that can be printed: what is invisible and turns the direction of others
/// goes, and so do control characters.
pub(crate) fn tidy(value: &mut Value) {
    match value {
        Value::String(text) => {
            if text.chars().any(|letter| is_invisible(letter) || letter.is_control()) {
                let kept = text.chars().filter(|&letter| !is_invisible(letter));
                *text = kept.map(|letter| if letter.is_control() { ' ' } else { letter }).collect();
            }
        }
        Value::Array(values) => values.iter_mut().for_each(tidy),
        Value::Object(values) => values.values_mut().for_each(tidy),
        Value::Null | Value::Bool(_) | Value::Number(_) => {}
    }
}

/// Marks that have no look of their own: joiners, direction marks and overrides.
fn is_invisible(letter: char) -> bool {
    matches!(letter, '\u{ad}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}')
}

/// The first text with a letter that no font has, and that letter.
pub(crate) fn not_covered(value: &Value) -> Option<(String, char)> {
    let fonts = fonts();
    let covered = |letter: char| {
        letter.is_ascii()
            || fonts.iter().any(|font| font.info().coverage.contains(u32::from(letter)))
    };
    find(value, &covered)
}

fn find(value: &Value, covered: &dyn Fn(char) -> bool) -> Option<(String, char)> {
    match value {
        Value::String(text) => {
            let letter = text.chars().find(|&letter| !covered(letter))?;
            Some((text.clone(), letter))
        }
        Value::Array(values) => values.iter().find_map(|value| find(value, covered)),
        Value::Object(values) => values.values().find_map(|value| find(value, covered)),
        Value::Null | Value::Bool(_) | Value::Number(_) => None,
    }
}
