//! What all pages have in common.

use crate::view::{Connection, JobView, World};
use floorwright_engine::plan::Plan;
use floorwright_job::cautions::Loads;
use floorwright_job::form_v1::Quantity;
use floorwright_job::measure::Unit;
use floorwright_job::{Fault, Severity};
use maud::{DOCTYPE, Markup, html};

/// The screen that a page is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Here {
    Jobs,
    Home,
    Site,
    Readings,
    Floor,
    Lift,
    Passes,
    Order,
    Paper,
    Hose,
}

/// Screens of a job, in the order of the work.
const SCREENS: &[(Here, &str, &str)] = &[
    (Here::Site, "site", "Site"),
    (Here::Readings, "readings", "Readings"),
    (Here::Floor, "floor", "Floor"),
    (Here::Lift, "lift", "Lift"),
    (Here::Passes, "passes", "Passes"),
];

/// The frame round a page.
pub(crate) struct Shell<'a> {
    pub world: &'a World<'a>,
    pub job: Option<&'a JobView>,
    pub here: Here,
}

impl Shell<'_> {
    /// A whole page.
    pub fn page(&self, title: &str, main: &Markup) -> Markup {
        let name = self.job.map_or("Floorwright", JobView::name);
        let secure = self.world.connection == Connection::Secure;
        html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    meta name="color-scheme" content="light dark";
                    title { (title) " · " (name) }
                    link rel="stylesheet" href="/assets/style.css";
                    link rel="icon" href="data:,";
                    script type="module" src="/assets/app.js" {}
                }
                body data-job=[self.job.map(|job| job.id.to_string())]
                    data-tick=[self.job.map(|job| job.folded.tick)]
                    data-worker=[secure.then_some("yes")] {
                    a .skip href="#main" { "Skip to the page" }
                    header {
                        a .jobs href="/" { "Jobs" }
                        p .job-name {
                            @if let Some(job) = self.job { a href={ "/jobs/" (job.id) } { (name) } }
                            @else { (name) }
                        }
                        button #theme type="button" aria-pressed="false" { "Dark" }
                    }
                    // Where readings are taken it stands below the keys, which it must not move.
                    @if self.here != Here::Readings { (Self::outbox()) }
                    @if !secure {
                        p .plain-http { "Keep this page open. It cannot be opened again without the computer that runs it." }
                    }
                    main #main tabindex="-1" { (main) }
                    @if let Some(job) = self.job { (self.tabs(job)) }
                }
            }
        }
    }

    /// What is only on this device, as the page's script finds it.
    pub fn outbox() -> Markup {
        html! { p #outbox .outbox role="status" hidden[true] {} }
    }

    fn tabs(&self, job: &JobView) -> Markup {
        html! {
            nav aria-label="The job" {
                @for (here, path, name) in SCREENS {
                    a href={ "/jobs/" (job.id) "/" (path) }
                        aria-current=[(self.here == *here).then_some("page")] { (name) }
                }
            }
        }
    }
}

/// The unit of a bare number, as it is written beside a field.
pub(crate) fn bare_unit(unit: Unit) -> &'static str {
    match unit {
        Unit::Millimetres => "mm",
        Unit::Metres => "m",
        Unit::FeetInches => "in",
    }
}

/// What is wrong with a job, errors first.
pub(crate) fn faults(faults: &[Fault]) -> Markup {
    let of = |severity| faults.iter().filter(move |fault| fault.severity == severity);
    html! {
        @if !faults.is_empty() {
            section .faults aria-label="To put right" {
                @for fault in of(Severity::Error).chain(of(Severity::Warning)) {
                    p .error[fault.is_error()] {
                        strong { @if fault.is_error() { "Put right: " } @else { "Look at: " } }
                        (fault.to_string())
                        @if let Some(hint) = &fault.hint { " – " (hint) }
                    }
                }
            }
        }
    }
}

/// A fault without the file that it is in: here there is none.
pub(crate) fn in_words(fault: &Fault) -> String {
    let mut said = if fault.place.is_empty() {
        fault.what.clone()
    } else {
        format!("{}: {}", fault.place, fault.what)
    };
    if let Some(value) = &fault.value {
        said += &format!(": {value}");
    }
    if let Some(limit) = &fault.limit {
        said += &format!(", must be {limit}");
    }
    said
}

/// What was typed, without the marks that a file needs round it.
pub(crate) fn typed(quantity: &Quantity) -> String {
    match quantity {
        Quantity::Text(text) => text.clone(),
        number @ Quantity::Number(_) => number.to_string(),
    }
}

/// The cautions where someone may be about to lift.
pub(crate) fn cautions(plan: &Plan) -> Markup {
    html! {
        details .cautions open {
            summary { "Before anybody lifts" }
            ul { @for caution in floorwright_job::cautions::cautions(Loads::of(plan)) { li { (caution) } } }
        }
    }
}

/// A page outside the app: of nothing but its own words.
fn alone(title: &str, script: Option<&str>, body: &Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) " · Floorwright" }
                link rel="stylesheet" href="/assets/style.css";
                @if let Some(script) = script { script type="module" src=(script) {} }
            }
            body { (body) }
        }
    }
}

/// How a phone comes to trust this computer: shown before anything is encrypted.
pub fn trust_page(encrypted: &str, fingerprint: &str) -> Markup {
    let body = html! {
        main {
            h1 { "Let this phone trust the computer" }
            p { "Once for each phone. After that readings go over the network encrypted, and the page opens "
                "again even when the computer is out of reach." }
            ol {
                li { p { a .main href="/floorwright-authority.crt" { "Save the certificate on this phone" } } }
                li {
                    p { "Put it among the certificates that the phone trusts. On many phones: Settings, then "
                        "search for “certificate”, then “install a CA certificate” and choose the file. On "
                        "others: open the file, then Settings, General, VPN and device management to install "
                        "it, and after that General, About, Certificate trust settings to switch it on in full." }
                }
                li {
                    p { "Before you agree, hold its fingerprint (SHA-256) against the one that the computer "
                        "shows: under Phones, and in the window where it was started. If they differ, stop: somebody else is on this network." }
                    p { code .long { (fingerprint) } }
                }
                li { p { "Open " a href=(encrypted) { (encrypted) } " and type the code that the computer shows." } }
            }
            p { "The certificate vouches for addresses of private networks only, for no site on the internet. "
                "When you no longer need it, take it off the phone where you put it on." }
        }
    };
    alone("Trust this computer", None, &body)
}

/// The page where a device is let in.
pub fn pairing_page() -> Markup {
    let body = html! {
        main {
            h1 { "Let this device in" }
            p { "A code of seven digits lets it in. On the computer that runs the app it stands in the window where "
                "the app was started; or open the list of jobs there, then Phones, and press “Let a phone in”." }
            form #pair {
                label { "Code" input #code inputmode="numeric" autocomplete="off" maxlength="7" required[true]; }
                label { "What this phone is called" input #name autocomplete="off" maxlength="40"; }
                button .main type="submit" { "Let me in" }
                p #said role="status" {}
            }
        }
    };
    alone("Let this device in", Some("/assets/pair.js"), &body)
}
