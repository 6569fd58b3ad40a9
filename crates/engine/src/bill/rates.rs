//! What things cost and how long they take, as the job says. Nothing here has a default price.

use super::{Currency, Money, Share, WorkTime};
use crate::settings::Limit;
use serde::Serialize;

/// Rates, each with its reason; what is `None` was not given.
///
/// # Units and sign
/// Money in whole cents before tax, shares as ratios, times of the whole crew by the clock.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Rates {
    /// The currency.
    pub currency: Option<Currency>,
    /// An hour of one person.
    pub hourly: Option<Limit<Money>>,
    /// How many people the crew is.
    pub people: Option<Limit<u32>>,
    /// How long the crew works in a day.
    pub day: Option<Limit<WorkTime>>,
    /// Days of rest after each pass but the last, on which the jacks stay on hire.
    pub rest_days: Limit<u32>,
    /// Hire of one jack for one day.
    pub jack_day: Option<Limit<Money>>,
    /// A taller or a new support in place of one, put in.
    pub taller_support: Option<Limit<Money>>,
    /// How long each kind of work takes.
    pub times: Times,
    /// What fastens the packers.
    pub fixings: Vec<Fixing>,
    /// What else the job asks for.
    pub extras: Vec<Extra>,
    /// Added to the subtotal, as a share of it.
    pub margin: Option<Limit<Share>>,
    /// Tax, as a share of subtotal and margin.
    pub tax: Option<Limit<Share>>,
}

/// How long the crew takes, once each.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Times {
    /// Before the first pass, once: cribs, jacks and lights under the house, services freed.
    pub set_up: Option<Limit<WorkTime>>,
    /// To stand the instrument or fill the hose.
    pub setup: Option<Limit<WorkTime>>,
    /// To take one reading.
    pub reading: Option<Limit<WorkTime>>,
    /// Each pass, besides its moves: look at cracks, doors and pipes, follow up with the cribs.
    pub pass: Option<Limit<WorkTime>>,
    /// Each move: bring the jacks there and lift.
    pub one_move: Option<Limit<WorkTime>>,
    /// To change the stack at one support.
    pub packing: Option<Limit<WorkTime>>,
    /// To fix the stack that stays at one support.
    pub fixing: Option<Limit<WorkTime>>,
}

/// Something that fastens or protects packers, counted by the packed support.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Fixing {
    /// What it is, as it is ordered.
    pub name: String,
    /// Pieces at each packed support, with the reason.
    pub per_support: Limit<u32>,
    /// Pieces in a pack.
    pub pack: u32,
    /// Price of a pack, if known.
    pub pack_price: Option<Money>,
}

/// A line that the job adds.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Extra {
    /// What it is.
    pub what: String,
    /// How many.
    pub quantity: u32,
    /// Price of one, if known.
    pub price: Option<Money>,
    /// Why it is needed.
    pub why: String,
}

const STRAPS: &str = "25 x 1 mm strap on both sides of a timber pile (on concrete 4 mm wire): BRANZ \
                      maintainingmyhome.org.nz (confirmed)";
const DAMP_PROOF: &str = "between pile and packer, above all on concrete or on piles under 150 mm: \
                          BRANZ maintainingmyhome.org.nz (confirmed)";

impl Default for Rates {
    fn default() -> Self {
        Self {
            currency: None,
            hourly: None,
            people: None,
            day: None,
            rest_days: Limit::assumed(
                0,
                "the job asks for no rest between passes; no standard gives one",
            ),
            jack_day: None,
            taller_support: None,
            times: Times::default(),
            fixings: usual_fixings(),
            extras: Vec::new(),
            margin: None,
            tax: None,
        }
    }
}

/// What is fixed where the job is silent: a strap on both sides, and a damp-proof course.
pub fn usual_fixings() -> Vec<Fixing> {
    let piece = |name: &str, per_support: u32, reason: &str| Fixing {
        name: name.to_owned(),
        per_support: Limit::assumed(per_support, reason),
        pack: 1,
        pack_price: None,
    };
    vec![
        piece("strap 25 x 1 mm, galvanised", 2, STRAPS),
        piece("sheet of damp-proof course", 1, DAMP_PROOF),
    ]
}
