//! The lines of an order in the words of the job's region, the same on screen, on paper and in
//! tables.

use crate::form_v1::Terms;
use crate::measure::{Unit, rounded};
use floorwright_engine::bill::{Cause, Item, Line, Quantity, Section, WorkKind};
use floorwright_engine::units::{ExactLength, Length, round_to};

/// How a job speaks of its order.
#[derive(Clone, Copy, Debug)]
pub struct OrderWords {
    /// Words of the region.
    pub terms: Terms,
    /// Unit of lengths.
    pub units: Unit,
}

impl OrderWords {
    fn support(self) -> &'static str {
        match self.terms {
            Terms::Au => "stump",
            Terms::Nz => "pile",
            Terms::Us | Terms::Uk => "pier",
        }
    }

    fn packer(self) -> &'static str {
        match self.terms {
            Terms::Us => "shim",
            Terms::Au | Terms::Nz | Terms::Uk => "packer",
        }
    }

    /// The name of a part of the order.
    pub fn section(self, section: Section) -> String {
        let plural = |word: &str| format!("{}{}s", word[..1].to_uppercase(), &word[1..]);
        match section {
            Section::Packers => plural(self.packer()),
            Section::Supports => plural(self.support()),
            Section::Fixings => "Fixings".to_owned(),
            Section::Hire => "Hire".to_owned(),
            Section::Work => "Work".to_owned(),
            Section::Extras => "Besides".to_owned(),
        }
    }

    /// A length as it is sold or measured: whole millimetres without decimals, or sixteenths.
    pub fn length(self, length: Length) -> String {
        match self.units {
            Unit::Millimetres | Unit::Metres => {
                let tenths = round_to(length.to_mm(), 0.1);
                let whole = tenths.fract() == 0.0;
                if whole { format!("{tenths:.0} mm") } else { format!("{tenths:.1} mm") }
            }
            Unit::FeetInches => ExactLength::from_mm(length.to_mm())
                .map_or_else(|| length.to_string(), |exact| rounded(exact, Unit::FeetInches)),
        }
    }

    /// What a line is for.
    pub fn item(self, item: &Item) -> String {
        match item {
            Item::Packer { thickness } => {
                format!("{} {}", self.packer(), self.length(*thickness))
            }
            Item::PackerOnTheWay { thickness } => {
                format!("{} {}, for the passes only", self.packer(), self.length(*thickness))
            }
            Item::TallerSupport { support, packing } => format!(
                "taller {} at {support}, in place of {} of packing",
                self.support(),
                self.length(*packing)
            ),
            Item::Fixing { name } => name.clone(),
            Item::Jacks { rating: Some(rating), .. } => {
                format!("jacks rated {:.1} kN or more each", up(rating.to_kn()))
            }
            Item::Jacks { rating: None, .. } => "jacks (no force was worked out)".to_owned(),
            Item::Work { work } => self.work(*work).to_owned(),
            Item::Extra { what } => what.clone(),
        }
    }

    fn work(self, work: WorkKind) -> &'static str {
        match work {
            WorkKind::SurveySetups => "survey: stand the instrument",
            WorkKind::SurveyReadings => "survey: readings",
            WorkKind::SetUp => "get ready under the house",
            WorkKind::Passes => "passes: cracks, pipes and cribs",
            WorkKind::Moves => "moves of the jacks",
            WorkKind::Packing => "stacks changed",
            WorkKind::AgainSetups => "read again: stand the instrument",
            WorkKind::AgainReadings => "read again: readings",
            WorkKind::Fixing => "stacks fixed",
        }
    }

    /// How much of it, with its unit.
    pub fn quantity(self, quantity: &Quantity) -> String {
        let count = |number: u32, one: &str, several: &str| {
            format!("{number} {}", if number == 1 { one } else { several })
        };
        match quantity {
            Quantity::Packs { packs, per_pack: 1, .. } => packs.to_string(),
            Quantity::Packs { packs, per_pack, .. } => {
                format!("{} of {per_pack}", count(*packs, "pack", "packs"))
            }
            Quantity::Each { number } => number.to_string(),
            Quantity::JackDays { jacks, days: Some(days) } => {
                format!("{} x {}", count(*jacks, "jack", "jacks"), count(*days, "day", "days"))
            }
            Quantity::JackDays { jacks, days: None } => count(*jacks, "jack", "jacks"),
            Quantity::Time { times, each, people } => {
                let mut parts = vec![times.to_string()];
                parts.extend(each.map(|each| each.to_string()));
                parts.extend(people.map(|people| count(people, "person", "people")));
                parts.join(" x ")
            }
        }
    }

    /// What the rate is for: one of these.
    pub fn rate_for(self, quantity: &Quantity) -> &'static str {
        match quantity {
            Quantity::Packs { per_pack: 1, .. } | Quantity::Each { .. } => "each",
            Quantity::Packs { .. } => "a pack",
            Quantity::JackDays { .. } => "a jack and day",
            Quantity::Time { .. } => "an hour of one person",
        }
    }

    /// Where a line comes from, in one sentence without its full stop.
    pub fn causes(self, line: &Line) -> String {
        let mut parts: Vec<String> = Vec::new();
        let at: Vec<String> = line
            .causes
            .iter()
            .filter_map(|cause| match cause {
                Cause::AtSupport { support, pieces: 1 } => Some(support.to_string()),
                Cause::AtSupport { support, pieces } => Some(format!("{support} ({pieces})")),
                _ => None,
            })
            .collect();
        let passes: Vec<String> = line
            .causes
            .iter()
            .filter_map(|cause| match cause {
                Cause::InPass { pass: 0, times } => Some(format!("before the first ({times})")),
                Cause::InPass { pass, times } => Some(format!("{pass} ({times})")),
                _ => None,
            })
            .collect();
        for cause in &line.causes {
            match cause {
                Cause::Rule { rule } => parts.push(rule.clone()),
                Cause::FromSetup { setup, readings } => {
                    parts.push(format!("setup {setup}: {readings} readings"));
                }
                Cause::MostInUse { pass, pieces } => parts.push(if *pass == 0 {
                    format!("{pieces} in use before the first pass")
                } else {
                    format!("{pieces} in use after pass {pass}")
                }),
                Cause::MostTogether { pass, step, supports } => {
                    let names: Vec<String> = supports.iter().map(ToString::to_string).collect();
                    parts.push(format!(
                        "most push together in pass {pass}, move {step}: {}",
                        names.join(", ")
                    ));
                }
                Cause::AtSupport { .. } | Cause::InPass { .. } => {}
            }
        }
        if !at.is_empty() {
            parts.push(format!("at {}", at.join(", ")));
        }
        if !passes.is_empty() {
            parts.push(format!("in passes {}", passes.join(", ")));
        }
        parts.join("; ")
    }
}

/// Kilonewtons, never printed as less than they are.
fn up(kn: f64) -> f64 {
    (kn * 10.0 - 1e-6).ceil() / 10.0
}
