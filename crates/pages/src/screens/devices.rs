//! The phones that were let in; on the computer itself only.

use crate::layout::{Here, Shell};
use crate::qr;
use crate::view::World;
use maud::{Markup, html};

/// A phone or laptop that was let in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DeviceHead {
    /// What it is sent away by.
    pub id: String,
    /// What its owner calls it.
    pub name: String,
    /// Where it called from when it was let in.
    pub address: String,
    /// For how many milliseconds nothing was heard of it.
    pub silent_ms: i64,
}

/// Where a phone is given the certificate of this computer, and how it is known to be the right one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Trust {
    /// The address, as `http://192.168.1.20:7341`.
    pub address: String,
    /// SHA-256 of the certificate, in pairs of digits.
    pub fingerprint: String,
}

/// The same page for whoever is not at the computer: where it is found.
pub fn devices_elsewhere(world: &World<'_>) -> Markup {
    let shell = Shell { world, job: None, here: Here::Jobs };
    shell.page("Phones", &html! {
        h1 { "Phones" }
        p { "Phones are let in and sent away on the computer that runs the program: open this page there." }
        p { a .main href="/" { "Back to the jobs" } }
    })
}

/// The page.
pub fn devices_page(
    world: &World<'_>,
    lan: Option<&str>,
    trust: Option<&Trust>,
    devices: &[DeviceHead],
) -> Markup {
    let shell = Shell { world, job: None, here: Here::Jobs };
    shell.page("Phones", &html! {
        h1 { "Phones" }
        @match lan {
            None => p { "Only this computer gets in. To let phones in, start it with " code { "floorwright serve --lan" }
                " and this computer's address on the network." },
            Some(address) => {
                p { "Phones on this network reach it at " strong { (address) } "." }
                @if let Some(trust) = trust { (first_trust(trust)) }
                button #let-in .main type="button" { "Let a phone in" }
                div #code {}
            }
        }
        h2 { (devices.len()) @if devices.len() == 1 { " phone is in" } @else { " phones are in" } }
        ul .notes {
            @for device in devices {
                li {
                    p { strong { (device.name) } ", " (device.address) ", last heard of " (ago(device.silent_ms)) }
                    button type="button" data-revoke=(device.id) { "Send " (device.name) " away" }
                }
            }
        }
        p #said role="status" {}
        section aria-labelledby="take-in" {
            h2 #take-in { "Bring in what was saved to a file" }
            form #take-in-form {
                label { "What a phone saved (unsent-events.ndjson), or a job saved as one file (job.zip)"
                    input type="file" name="file" accept=".zip,.ndjson,image/jpeg,image/png,image/webp" multiple[true] required[true]; }
                button type="submit" { "Bring it in" }
                p role="status" {}
            }
        }
    })
}

/// A phone that does not trust this computer yet is given its certificate first.
fn first_trust(trust: &Trust) -> Markup {
    html! {
        div .ok {
            p { "A phone that was not here before opens " strong { (trust.address) } " first, and is told there how to trust this "
                "computer. Otherwise it warns that the connection is not private." }
            @if let Some(picture) = qr::picture(&trust.address) {
                details { summary { "As a picture for its camera" } (picture) }
            }
            p { "It is to show this fingerprint (SHA-256) of the certificate:" }
            p { code .long { (trust.fingerprint) } }
        }
    }
}

/// A code that lets one phone in, with the address that holds it.
pub fn code_shown(lan: &str, code: &str, trust: Option<&Trust>) -> Markup {
    let address = format!("{lan}/pair#{code}");
    html! {
        @if let Some(trust) = trust {
            p { "Only for a phone that trusts this computer already; another opens " strong { (trust.address) } " first." }
        }
        @if let Some(picture) = qr::picture(&address) { (picture) }
        p .big-number { strong { (code) } }
        p { "Point the phone's camera at the picture, or open " strong { (lan) } " and type the code. It lets one "
            "phone in, once, for ten minutes at most." }
    }
}

fn ago(ms: i64) -> String {
    let minutes = ms / 60_000;
    match minutes {
        i64::MIN..=0 => "less than a minute ago".to_owned(),
        1 => "a minute ago".to_owned(),
        2..=119 => format!("{minutes} minutes ago"),
        _ => format!("{} hours ago", minutes / 60),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::view::Connection;

    #[test]
    fn silence_is_told_in_words() {
        let told = [-5, 0, 59_999, 60_000, 119 * 60_000, 120 * 60_000, 25 * 3_600_000].map(ago);
        assert_eq!(told[..3], ["less than a minute ago"; 3]);
        assert_eq!(told[3..], ["a minute ago", "119 minutes ago", "2 hours ago", "25 hours ago"]);
    }

    #[test]
    fn the_certificate_is_told_before_the_code() {
        let world = World { jobs: &[], job: None, connection: Connection::Secure };
        let trust = Trust {
            address: "http://192.168.1.20:7341".to_owned(),
            fingerprint: "0A:1B".to_owned(),
        };
        let lan = Some("https://192.168.1.20:7340");
        let page = devices_page(&world, lan, Some(&trust), &[]).into_string();
        let (first, code) = (page.find(&trust.address), page.find("let-in"));
        assert!(first.is_some() && first < code && page.contains("0A:1B"), "{page}");
        assert!(code_shown("x", "0123456", Some(&trust)).into_string().contains(&trust.address));
        assert!(!devices_page(&world, lan, None, &[]).into_string().contains("fingerprint"));
    }

    #[test]
    fn the_terminal_gets_whole_lines_of_one_width_with_a_light_edge() {
        let lines = qr::qr_lines("http://192.168.1.20:7340/pair#0123456").unwrap();
        let widths: std::collections::BTreeSet<usize> =
            lines.iter().map(|line| line.chars().count()).collect();
        assert_eq!(widths.len(), 1);
        assert!(lines[0].chars().all(|block| block == '█'));
        assert!(lines.iter().all(|line| line.starts_with('█') || line.starts_with('▀')));
    }
}
