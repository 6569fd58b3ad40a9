//! The lines of a bill: what is needed, why, and at which rate.

use super::counts::{Counts, key};
use super::{Cause, Item, Line, Money, Quantity, Rate, Rates, WorkKind, WorkTime};
use crate::plan::Job;
use crate::settings::{Limit, Packer};
use crate::units::Length;

/// All lines, section by section. None is for nothing.
pub(super) fn lines(job: &Job, counts: &Counts<'_>, rates: &Rates) -> Vec<Line> {
    let mut lines = packers(job, counts);
    lines.extend(on_the_way(job, counts));
    lines.extend(taller(job, counts, rates));
    lines.extend(fixings(counts, rates));
    let work: Vec<Line> =
        WorkKind::ALL.into_iter().filter_map(|kind| work(kind, counts, rates)).collect();
    lines.extend(jacks(job, counts, rates, &work));
    lines.extend(work);
    lines.extend(extras(rates));
    lines
}

fn rule(rule: impl Into<String>) -> Cause {
    Cause::Rule { rule: rule.into() }
}

fn rate_of(given: Option<&Limit<Money>>, key: &str) -> Option<Rate> {
    let given = given?;
    Some(Rate { money: given.value, key: key.to_owned(), reason: Some(given.reason.clone()) })
}

fn line(item: Item, quantity: Quantity, causes: Vec<Cause>, rate: Option<Rate>) -> Line {
    let amount = rate.as_ref().and_then(|rate| amount(&quantity, rate.money));
    Line { item, quantity, causes, rate, amount }
}

/// Quantity at a rate, rounded once.
fn amount(quantity: &Quantity, rate: Money) -> Option<Money> {
    match *quantity {
        Quantity::Packs { packs, .. } => rate.times(u64::from(packs), 1),
        Quantity::Each { number } => rate.times(u64::from(number), 1),
        Quantity::JackDays { jacks, days } => rate.times(u64::from(jacks) * u64::from(days?), 1),
        Quantity::Time { .. } => rate.times(quantity.person_time()?.to_seconds(), 3600),
    }
}

fn packer_of(job: &Job, thickness: Length) -> Option<&Packer> {
    job.stock.packers.iter().find(|packer| key(packer.thickness) == key(thickness))
}

fn packer_rate(packer: &Packer) -> Option<Rate> {
    Some(Rate {
        money: Money::cents(i64::try_from(packer.pack_price_cents?).ok()?),
        key: "[stock] packers, price".to_owned(),
        reason: None,
    })
}

fn packers(job: &Job, counts: &Counts<'_>) -> Vec<Line> {
    let of_line = |bought: &crate::packers::BuyLine| {
        let packer = packer_of(job, bought.thickness)?;
        let causes = counts.staying.get(&key(bought.thickness)).into_iter().flatten();
        let causes = causes
            .map(|(support, pieces)| Cause::AtSupport { support: support.clone(), pieces: *pieces })
            .collect();
        let quantity =
            Quantity::Packs { packs: bought.packs, per_pack: packer.pack, pieces: bought.pieces };
        let item = Item::Packer { thickness: bought.thickness };
        Some(line(item, quantity, causes, packer_rate(packer)))
    };
    counts.packing.buy.lines.iter().filter_map(of_line).collect()
}

fn on_the_way(job: &Job, counts: &Counts<'_>) -> Vec<Line> {
    let of_line = |extra: &crate::plan::TemporaryPackers| {
        let packer = packer_of(job, extra.thickness)?;
        let (pass, pieces) = counts.most_in_use.get(&key(extra.thickness)).copied()?;
        let bought = counts.packing.buy.lines.iter();
        let bought: u32 = bought
            .filter(|line| key(line.thickness) == key(extra.thickness))
            .map(|line| line.packs * packer.pack)
            .sum();
        let quantity = Quantity::Packs {
            packs: extra.extra_packs,
            per_pack: packer.pack,
            pieces: pieces.saturating_sub(bought),
        };
        let item = Item::PackerOnTheWay { thickness: extra.thickness };
        Some(line(item, quantity, vec![Cause::MostInUse { pass, pieces }], packer_rate(packer)))
    };
    counts.passes.iter().flat_map(|passes| &passes.temporary).filter_map(of_line).collect()
}

fn taller(job: &Job, counts: &Counts<'_>, rates: &Rates) -> Vec<Line> {
    let limit = &job.limits.packing_stop;
    let of_support = |packed: &&crate::plan::SupportPacking| {
        let item = Item::TallerSupport { support: packed.support.clone(), packing: packed.wanted };
        let why = format!("at most {} of packing: {}", limit.value, limit.reason);
        let rate = rate_of(rates.taller_support.as_ref(), "[rates] taller_support");
        line(item, Quantity::Each { number: 1 }, vec![rule(why)], rate)
    };
    counts.taller.iter().map(of_support).collect()
}

fn fixings(counts: &Counts<'_>, rates: &Rates) -> Vec<Line> {
    let of_fixing = |fixing: &super::Fixing| {
        let each = fixing.per_support.value;
        let pieces = each.saturating_mul(counts.packed.len() as u32);
        let mut causes =
            vec![rule(format!("{each} at each support: {}", fixing.per_support.reason))];
        causes.extend(
            counts
                .packed
                .iter()
                .map(|support| Cause::AtSupport { support: support.clone(), pieces: each }),
        );
        let per_pack = fixing.pack.max(1);
        let quantity = Quantity::Packs { packs: pieces.div_ceil(per_pack), per_pack, pieces };
        let rate = fixing.pack_price.map(|money| Rate {
            money,
            key: "[[rates.fixing]] price".to_owned(),
            reason: None,
        });
        line(Item::Fixing { name: fixing.name.clone() }, quantity, causes, rate)
    };
    let is_needed = |fixing: &&super::Fixing| fixing.per_support.value > 0;
    let needed = if counts.packed.is_empty() { &[][..] } else { &rates.fixings };
    needed.iter().filter(is_needed).map(of_fixing).collect()
}

/// As many jacks as push together, from the first pass to the last reading.
fn jacks(job: &Job, counts: &Counts<'_>, rates: &Rates, work: &[Line]) -> Option<Line> {
    let together = counts.together.as_ref()?;
    let with_jacks =
        work.iter().filter(|line| matches!(line.item, Item::Work { work } if work.is_with_jacks()));
    let clock: Option<WorkTime> = with_jacks.map(|line| line.quantity.clock_time()).sum();
    let rest = u64::from(rates.rest_days.value) * u64::from(counts.n_passes().saturating_sub(1));
    let days = clock.zip(rates.day.as_ref()).and_then(|(clock, day)| {
        let at_work = clock.to_seconds().checked_add(day.value.to_seconds().checked_sub(1)?)?
            / day.value.to_seconds();
        u32::try_from(at_work.max(1) + rest).ok()
    });
    let jacks = together.supports.len() as u32;
    let limit = &job.limits.jacks;
    let causes = vec![
        Cause::MostTogether {
            pass: together.pass,
            step: together.step,
            supports: together.supports.clone(),
        },
        rule(format!("{} at a time: {}", limit.value, limit.reason)),
        rule(format!(
            "days of rest after each pass but the last: {}: {}",
            rates.rest_days.value, rates.rest_days.reason
        )),
    ];
    let (most, rating) = counts.jack;
    let rate = rate_of(rates.jack_day.as_ref(), "[rates] jack_day");
    Some(line(Item::Jacks { most, rating }, Quantity::JackDays { jacks, days }, causes, rate))
}

fn extras(rates: &Rates) -> Vec<Line> {
    let of_extra = |extra: &super::Extra| {
        let rate = extra.price.map(|money| Rate {
            money,
            key: "[[rates.extra]] price".to_owned(),
            reason: None,
        });
        let item = Item::Extra { what: extra.what.clone() };
        line(item, Quantity::Each { number: extra.quantity }, vec![rule(&extra.why)], rate)
    };
    rates.extras.iter().filter(|extra| extra.quantity > 0).map(of_extra).collect()
}

/// One kind of work, if there is any of it.
fn work(kind: WorkKind, counts: &Counts<'_>, rates: &Rates) -> Option<Line> {
    let (times, causes) = how_often(kind, counts);
    let each = time_of(kind, rates).map(|given| given.value);
    let people = rates.people.as_ref().map(|given| given.value);
    let quantity = Quantity::Time { times, each, people };
    let rate = rate_of(rates.hourly.as_ref(), "[rates] hourly");
    (times > 0).then(|| line(Item::Work { work: kind }, quantity, causes, rate))
}

/// How long one of a kind takes, as the job says.
pub(super) fn time_of(kind: WorkKind, rates: &Rates) -> Option<&Limit<WorkTime>> {
    let times = &rates.times;
    match kind {
        WorkKind::SurveySetups | WorkKind::AgainSetups => times.setup.as_ref(),
        WorkKind::SurveyReadings | WorkKind::AgainReadings => times.reading.as_ref(),
        WorkKind::SetUp => times.set_up.as_ref(),
        WorkKind::Passes => times.pass.as_ref(),
        WorkKind::Moves => times.one_move.as_ref(),
        WorkKind::Packing => times.packing.as_ref(),
        WorkKind::Fixing => times.fixing.as_ref(),
    }
}

fn how_often(kind: WorkKind, counts: &Counts<'_>) -> (u32, Vec<Cause>) {
    const AGAIN: &str = "the floor is read again after each pass, as it was read for this plan";
    let in_passes = |passes: &[(usize, u32)]| {
        let causes = passes.iter().map(|&(pass, times)| Cause::InPass { pass, times }).collect();
        (passes.iter().map(|(_, times)| times).sum(), causes)
    };
    let setups = || {
        let of = |(setup, readings): &(crate::ids::SetupId, u32)| Cause::FromSetup {
            setup: setup.clone(),
            readings: *readings,
        };
        counts.setups.iter().map(of).collect::<Vec<_>>()
    };
    let n_setups = counts.setups.len() as u32;
    let n_readings: u32 = counts.setups.iter().map(|(_, readings)| readings).sum();
    let n_passes = counts.n_passes();
    let again = || std::iter::once(rule(AGAIN)).chain(setups()).collect();
    match kind {
        WorkKind::SurveySetups => (n_setups, setups()),
        WorkKind::SurveyReadings => (n_readings, setups()),
        WorkKind::SetUp => (u32::from(n_passes > 0), vec![rule("once, before the first pass")]),
        WorkKind::Passes => (n_passes, vec![rule("once in each pass")]),
        WorkKind::Moves => in_passes(&counts.moves),
        WorkKind::Packing => in_passes(&counts.changes),
        WorkKind::AgainSetups => (n_passes.saturating_mul(n_setups), again()),
        WorkKind::AgainReadings => (n_passes.saturating_mul(n_readings), again()),
        WorkKind::Fixing => {
            let at = |support: &crate::ids::SupportId| Cause::AtSupport {
                support: support.clone(),
                pieces: 1,
            };
            (counts.packed.len() as u32, counts.packed.iter().map(at).collect())
        }
    }
}
