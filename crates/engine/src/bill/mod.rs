//! What to buy, hire and do for a plan, and what that costs: every line with its cause.
//!
//! The order follows from the plan alone; prices come from the job's rates and from nowhere else.
//! A rate that is not given is named ([`Bill::missing`]), and then there is no total.
//!
//! # Rounding
//! [`ROUNDING`] is the one rule: each line is rounded once to the cent, and everything after is
//! the sum of what is printed, so that the bill adds up by hand.
//!
//! # What it does not do
//! It knows no prices of its own, no overheads, no weather and no access, and it does not say that
//! the work is safe. What a licensed trade or an engineer costs is a line that the job adds.

mod money;
mod rates;
mod counts;
mod lines;
mod total;

pub use money::{Currency, MOST_MONEY, Money, Share, WorkTime};
pub use rates::{Extra, Fixing, Rates, Times, usual_fixings};
pub use total::{Added, MissingRate, Price, SectionSum};

use crate::ids::{SetupId, SupportId};
use crate::plan::{Job, PackingStage, Plan, Stage, StageName, StopReason};
use crate::record::{Record, to_work_by};
use crate::units::{Force, Length};
use serde::Serialize;
use std::fmt;

/// How amounts are rounded, in words for whoever adds them up.
pub const ROUNDING: &str = "each line is rounded once to the cent, half a cent up; the subtotal is \
                            the sum of the lines as printed; margin and tax are each rounded once \
                            to the cent, and the total is the sum of the three as printed";

/// The order and its price.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Bill {
    /// The currency, if the job names one.
    pub currency: Option<Currency>,
    /// What is needed, section by section in the order of [`Section`].
    pub lines: Vec<Line>,
    /// What each section comes to.
    pub sections: Vec<SectionSum>,
    /// The price; `None` while a rate is missing or something is unsettled.
    pub price: Option<Price>,
    /// The rates that stand in the way of a price.
    pub missing: Vec<MissingRate>,
    /// What keeps the plan itself from being worked by: with any of these nothing is to be ordered.
    pub unsettled: Vec<StopReason>,
    /// What was taken for granted.
    pub assumed: Vec<String>,
    /// How amounts are rounded.
    pub rounding: &'static str,
}

/// A part of the bill.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Section {
    /// Packers that stay, and those needed on the way.
    Packers,
    /// Taller or new supports.
    Supports,
    /// What fastens the packers.
    Fixings,
    /// Jacks.
    Hire,
    /// The crew's time.
    Work,
    /// What the job adds.
    Extras,
}

impl Section {
    /// All of them, in order.
    pub const ALL: [Self; 6] =
        [Self::Packers, Self::Supports, Self::Fixings, Self::Hire, Self::Work, Self::Extras];
}

/// One line.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Line {
    /// What is bought, hired or done.
    pub item: Item,
    /// How much of it.
    pub quantity: Quantity,
    /// Where it comes from; never empty.
    pub causes: Vec<Cause>,
    /// The rate, if it is known.
    pub rate: Option<Rate>,
    /// Quantity at that rate, rounded to the cent; `None` without a rate.
    pub amount: Option<Money>,
}

/// What a line is about.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Item {
    /// Packers of one thickness that stay.
    Packer {
        /// How thick.
        thickness: Length,
    },
    /// Packers of one thickness that are needed beyond those while the passes go on.
    PackerOnTheWay {
        /// How thick.
        thickness: Length,
    },
    /// A taller or a new support in place of one whose packing would be too high.
    TallerSupport {
        /// The support.
        support: SupportId,
        /// The packing that it would stand on.
        packing: Length,
    },
    /// Something that fastens or protects packers.
    Fixing {
        /// Its name in the job.
        name: String,
    },
    /// Hire of jacks.
    Jacks {
        /// The most that any jack pushes, if the frame tells.
        most: Option<Force>,
        /// The rating that each needs to be used as the job's limits say, if the frame tells.
        rating: Option<Force>,
    },
    /// Work of the crew.
    Work {
        /// Which.
        work: WorkKind,
    },
    /// A line that the job adds.
    Extra {
        /// What it is.
        what: String,
    },
}

impl Item {
    /// The part of the bill that it stands in.
    pub fn section(&self) -> Section {
        match self {
            Self::Packer { .. } | Self::PackerOnTheWay { .. } => Section::Packers,
            Self::TallerSupport { .. } => Section::Supports,
            Self::Fixing { .. } => Section::Fixings,
            Self::Jacks { .. } => Section::Hire,
            Self::Work { .. } => Section::Work,
            Self::Extra { .. } => Section::Extras,
        }
    }
}

/// A kind of work.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum WorkKind {
    /// Standing the instrument for the survey.
    SurveySetups,
    /// Reading the survey.
    SurveyReadings,
    /// Getting ready under the house.
    SetUp,
    /// What each pass takes besides its moves.
    Passes,
    /// Moving the jacks and lifting.
    Moves,
    /// Changing stacks.
    Packing,
    /// Standing the instrument again after each pass.
    AgainSetups,
    /// Reading again after each pass.
    AgainReadings,
    /// Fixing the stacks that stay.
    Fixing,
}

impl WorkKind {
    /// All of them, in the order of the work.
    pub const ALL: [Self; 9] = [
        Self::SurveySetups,
        Self::SurveyReadings,
        Self::SetUp,
        Self::Passes,
        Self::Moves,
        Self::Packing,
        Self::AgainSetups,
        Self::AgainReadings,
        Self::Fixing,
    ];

    /// Whether the jacks stand under the house meanwhile.
    pub fn is_with_jacks(self) -> bool {
        matches!(
            self,
            Self::Passes | Self::Moves | Self::Packing | Self::AgainSetups | Self::AgainReadings
        )
    }
}

/// How much of something.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Quantity {
    /// Packs, for the pieces that are needed.
    Packs {
        /// Packs to buy.
        packs: u32,
        /// Pieces in each.
        per_pack: u32,
        /// Pieces that are needed.
        pieces: u32,
    },
    /// So many.
    Each {
        /// How many.
        number: u32,
    },
    /// Jacks for a number of days.
    JackDays {
        /// How many jacks.
        jacks: u32,
        /// For how many days; `None` where the times are not known.
        days: Option<u32>,
    },
    /// Time of the crew: times x each x people.
    Time {
        /// How often it is done.
        times: u32,
        /// How long it takes once, by the clock; `None` if the job does not say.
        each: Option<WorkTime>,
        /// How many people; `None` if the job does not say.
        people: Option<u32>,
    },
}

impl Quantity {
    /// Time by the clock, where it is one.
    pub fn clock_time(&self) -> Option<WorkTime> {
        match self {
            Self::Time { times, each, .. } => Some(each.as_ref()?.times(u64::from(*times))),
            Self::Packs { .. } | Self::Each { .. } | Self::JackDays { .. } => None,
        }
    }

    /// Time of all people together, where it is one.
    pub fn person_time(&self) -> Option<WorkTime> {
        match self {
            Self::Time { people, .. } => Some(self.clock_time()?.times(u64::from((*people)?))),
            Self::Packs { .. } | Self::Each { .. } | Self::JackDays { .. } => None,
        }
    }
}

/// A rate and where it was given.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Rate {
    /// For one pack, one piece, one jack-day or one hour of one person.
    pub money: Money,
    /// Where it was given: the key in the job.
    pub key: String,
    /// Why it has that value.
    pub reason: Option<String>,
}

/// Where a line comes from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Cause {
    /// Pieces in the stack that stays at a support.
    AtSupport {
        /// The support.
        support: SupportId,
        /// How many pieces.
        pieces: u32,
    },
    /// The most pieces in use at one time: after this pass, or before the first (0).
    MostInUse {
        /// The pass.
        pass: usize,
        /// Pieces in use then.
        pieces: u32,
    },
    /// Done so often in a pass; before the first pass it is number 0.
    InPass {
        /// The pass.
        pass: usize,
        /// How often.
        times: u32,
    },
    /// Readings of a setup.
    FromSetup {
        /// The setup.
        setup: SetupId,
        /// How many readings.
        readings: u32,
    },
    /// The move in which most jacks push together.
    MostTogether {
        /// The pass.
        pass: usize,
        /// The move in it, from 1.
        step: usize,
        /// The supports that are moved.
        supports: Vec<SupportId>,
    },
    /// A rule or a limit of the job, in words.
    Rule {
        /// The rule.
        rule: String,
    },
}

/// Works out what to buy, hire and do for a plan, and what it costs by the job's rates.
///
/// # Units and sign
/// Money in whole cents; times by the clock in minutes.
///
/// # Examples
/// A plan without packers has no bill, and says which stage it waits for:
/// ```
/// use floorwright_engine::bill::{Rates, bill};
/// use floorwright_engine::plan::{FrameChoice, Job, Stage, plan};
/// use floorwright_engine::settings::{Goal, Limits, Stock};
/// use floorwright_engine::site::Site;
/// use floorwright_engine::survey::Survey;
///
/// let job = Job {
///     site: Site::default(),
///     survey: Survey::default(),
///     goal: Goal::default(),
///     limits: Limits::default(),
///     stock: Stock::default(),
///     criteria: vec![],
///     by_hand: vec![],
///     frame: FrameChoice::Off { why: "nothing stands here".to_owned() },
/// };
/// assert!(matches!(bill(&job, &plan(&job), &Rates::default()), Stage::WaitsFor(_)));
/// ```
pub fn bill(job: &Job, plan: &Plan, rates: &Rates) -> Stage<Bill> {
    let packing = match packing_of(plan) {
        Ok(packing) => packing,
        Err(waits) => return waits.into(),
    };
    let counts = counts::Counts::of(job, packing, plan.passes.done());
    let lines = lines::lines(job, &counts, rates);
    Stage::Done(total::add_up(lines, rates, unsettled(plan)))
}

/// What is still to buy, hire and do once passes were done, and what that costs by the same rates; `None`
/// before the first pass.
///
/// Its packers come on top of what stands at the supports. The survey, getting ready and what the job
/// adds are in the bill for the whole plan alone; every stack that stays is still to be fixed. What lies
/// unused on site is not known, and nothing is taken off for it.
pub fn bill_of_the_rest(
    job: &Job,
    before: &Plan,
    record: &Stage<Record>,
    rates: &Rates,
) -> Option<Stage<Bill>> {
    let (left, n_done) = match to_work_by(before, record) {
        Ok(left) if left.rest.is_none() => return None,
        Ok(left) => (left.plan, left.n_done()),
        Err(reasons) => return Some(Stage::Stopped(reasons)),
    };
    let packing = match packing_of(left) {
        Ok(packing) => packing,
        Err(waits) => return Some(waits.into()),
    };
    let mut counts = counts::Counts::of(job, packing, left.passes.done());
    if let Some(whole) = before.packing.done() {
        counts.pack_too(job, whole);
    }
    let mut lines = lines::lines(job, &counts, rates);
    lines.retain(|line| !is_past(&line.item));
    lines.iter_mut().flat_map(|line| &mut line.causes).for_each(|cause| cause.count_on(n_done));
    let mut bill = total::add_up(lines, rates, unsettled(left));
    bill.assumed.extend(
        [
            "packers come on top of what stands there, and what lies unused on site is not taken off",
            "survey, getting ready and what the job adds are done and paid by the order for the whole plan",
            "no stack that stays is fixed yet",
        ]
        .map(str::to_owned),
    );
    Some(Stage::Done(bill))
}

impl Cause {
    /// Counts its passes on from those that were done; what comes before the first of the others stays so.
    fn count_on(&mut self, n_done: usize) {
        match self {
            Self::MostInUse { pass, .. } | Self::MostTogether { pass, .. } => *pass += n_done,
            Self::InPass { pass, .. } if *pass > 0 => *pass += n_done,
            Self::InPass { .. }
            | Self::AtSupport { .. }
            | Self::FromSetup { .. }
            | Self::Rule { .. } => {}
        }
    }
}

/// What is over once the first pass is done.
fn is_past(item: &Item) -> bool {
    use WorkKind::{SetUp, SurveyReadings, SurveySetups};
    match item {
        Item::Work { work } => matches!(work, SurveySetups | SurveyReadings | SetUp),
        Item::Extra { .. } => true,
        Item::Packer { .. }
        | Item::PackerOnTheWay { .. }
        | Item::TallerSupport { .. }
        | Item::Fixing { .. }
        | Item::Jacks { .. } => false,
    }
}

/// The packers of a plan, or why it has no bill.
fn packing_of(plan: &Plan) -> Result<&PackingStage, Waits> {
    match &plan.packing {
        Stage::Done(packing) => Ok(packing),
        Stage::Stopped(_) => Err(Waits(Some(StageName::Packers))),
        Stage::WaitsFor(earlier) => Err(Waits(Some(*earlier))),
        Stage::NotAsked => Err(Waits(None)),
    }
}

/// The stage that a bill waits for; none where nobody asked for packers.
struct Waits(Option<StageName>);

impl From<Waits> for Stage<Bill> {
    fn from(Waits(stage): Waits) -> Self {
        stage.map_or(Self::NotAsked, Self::WaitsFor)
    }
}

/// Why the plan is not to be worked by, if it is not.
fn unsettled(plan: &Plan) -> Vec<StopReason> {
    let passes = match &plan.passes {
        Stage::Done(passes) => passes,
        Stage::Stopped(reasons) => return reasons.clone(),
        Stage::WaitsFor(earlier) => {
            let what = format!("there are no passes: they wait for {earlier}");
            let mut reasons = vec![StopReason { what, hint: None }];
            reasons.extend_from_slice(plan.reasons(*earlier));
            return reasons;
        }
        Stage::NotAsked => return Vec::new(),
    };
    let stopped = passes.on_frame.as_ref().is_some_and(|on_frame| !on_frame.check.passed());
    let reason = || StopReason {
        what: "the frame forbids these passes".to_owned(),
        hint: Some("see what floorwright passes says, and change the plan".to_owned()),
    };
    stopped.then(reason).into_iter().collect()
}

impl fmt::Display for Section {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Packers => "packers",
            Self::Supports => "supports",
            Self::Fixings => "fixings",
            Self::Hire => "hire",
            Self::Work => "work",
            Self::Extras => "extras",
        })
    }
}
