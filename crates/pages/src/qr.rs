//! The address that lets a phone in, as a code that its camera reads.

use maud::{Markup, html};
use qrcodegen::{QrCode, QrCodeEcc};

/// Light modules round the code, without which cameras do not find it (ISO/IEC 18004).
const QUIET: i32 = 4;

/// The code as a picture; nothing if the text is too long for one.
pub(crate) fn picture(text: &str) -> Option<Markup> {
    let code = QrCode::encode_text(text, QrCodeEcc::Medium).ok()?;
    let size = code.size() + 2 * QUIET;
    let mut path = String::new();
    for (x, y) in (0..code.size()).flat_map(|y| (0..code.size()).map(move |x| (x, y))) {
        if code.get_module(x, y) {
            path.push_str(&format!("M{} {}h1v1h-1z", x + QUIET, y + QUIET));
        }
    }
    Some(html! {
        svg .qr xmlns="http://www.w3.org/2000/svg" viewBox={ "0 0 " (size) " " (size) } role="img"
            aria-label="The address with its code, for the phone's camera" {
            rect width=(size) height=(size) fill="#ffffff" {}
            path d=(path) fill="#000000" {}
        }
    })
}

/// The code for a terminal, two rows a line, light on dark as terminals mostly are; nothing if the text
/// is too long for one.
pub fn qr_lines(text: &str) -> Option<Vec<String>> {
    let code = QrCode::encode_text(text, QrCodeEcc::Low).ok()?;
    let quiet = 2;
    let is_light = |x: i32, y: i32| !code.get_module(x, y);
    let span = -quiet..code.size() + quiet;
    let line = |y: i32| -> String {
        let both = |x| (is_light(x, y), y + 1 < code.size() + quiet && is_light(x, y + 1));
        let block = |x| match both(x) {
            (true, true) => '█',
            (true, false) => '▀',
            (false, true) => '▄',
            (false, false) => ' ',
        };
        span.clone().map(block).collect()
    };
    Some(span.clone().step_by(2).map(line).collect())
}
