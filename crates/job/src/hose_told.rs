//! What is said of the builder's own hose: on a terminal, on a phone.

use crate::hose::{HoseFigures, HoseInput};
use crate::told::{Side, Table, Told};
use crate::words::Words;
use floorwright_engine::hose::{
    Budget, Column, DriftWatch, Fluid, Glycol, HoseTest, OutsideValidity, REPEATS_WITHIN,
    ReadableRange, ReadingWorth, Regime, Reservoir, SiteChecks, SwingVerdict, not_shown,
    straight_sight_rises,
};
use floorwright_engine::units::{Area, Length, Seconds, round_to};
use serde::Serialize;

/// Moves that waits are shown for, beside the largest of the job.
const MOVES: [f64; 3] = [50.0, 300.0, 1000.0];

/// The wait after one move.
#[derive(Debug, Serialize)]
pub struct Wait {
    moved: Length,
    within: Length,
    wait: Seconds,
}

/// Waits after moves, the smallest first.
pub fn waits(column: &Column, input: &HoseInput) -> Vec<Wait> {
    let hose = &input.hose;
    let mut moves: Vec<Length> = MOVES.iter().map(|&mm| Length::mm(mm)).collect();
    moves.push(hose.largest_move);
    moves.sort_by(Length::total_cmp);
    moves.dedup();
    let wait = |moved: Length| Wait {
        moved,
        within: hose.settle_to,
        wait: column.wait(hose.reservoir.start_of(moved), hose.settle_to),
    };
    moves.into_iter().map(wait).collect()
}

/// A length that nobody needs to the tenth.
fn whole(length: Length, words: Words) -> String {
    words.exact(Length::mm(length.to_mm().round()))
}

fn seconds(time: Seconds) -> String {
    let whole = time.to_seconds().ceil();
    if whole < 120.0 {
        format!("{whole:.0} s")
    } else {
        format!("{:.0} min {:.0} s", (whole / 60.0).floor(), whole % 60.0)
    }
}

fn fluid(fluid: Fluid) -> String {
    match fluid {
        Fluid::Water => "water".to_owned(),
        Fluid::DyedWater => "dyed water".to_owned(),
        Fluid::Mix { glycol, mass_share } => {
            let glycol = match glycol {
                Glycol::Propylene => "propylene",
                Glycol::Ethylene => "ethylene",
            };
            format!("{:.0} % {glycol} glycol", mass_share * 100.0)
        }
    }
}

/// All that is said of a hose: how far to trust it first, then how long to wait, then the rest.
pub fn told(input: &HoseInput, figures: &HoseFigures, words: Words) -> Told {
    let mut text = Told::default();
    let column = &figures.column;
    title(&mut text, input, words);
    trust(&mut text, input, &figures.budget, figures.worth, words);
    if let (Ok(column), Some(verdict)) = (column, figures.swing) {
        swing(&mut text, *column, verdict);
    }
    wait(&mut text, input, column, words);
    scale_and_range(&mut text, input, &figures.range, words);
    budget(&mut text, &figures.budget);
    checks(&mut text, &figures.checks, &figures.watch, column, words);
    field_test(&mut text, input, words);
    cautions(&mut text, input, figures.unmixed);
    taken(&mut text, input);
    text
}

/// How a hose is called in one line.
pub fn in_one_line(input: &HoseInput, words: Words) -> String {
    let hose = &input.hose;
    // To a tenth: an inch size stays on its sixty-fourths, and nothing is left of the root.
    let round = |area: Area| {
        let diameter = (area.to_mm2() * 4.0 / std::f64::consts::PI).sqrt();
        words.exact(Length::mm(round_to(diameter, 0.1)))
    };
    let end = match hose.reservoir {
        Reservoir::Pail { area } => format!("on a pail of {}", round(area)),
        Reservoir::FixedMark { area } => {
            format!("on a pail of {}, slid to a fixed mark", round(area))
        }
        Reservoir::TwinBothEnds => "twin tubes, both ends read at once".to_owned(),
        Reservoir::TwinOneEnd => "twin tubes, one end read".to_owned(),
    };
    format!(
        "{} bore, {}, {end}, {} at {} C",
        words.exact(hose.bore),
        words.long_exact(hose.length),
        fluid(hose.fluid),
        hose.temperature.to_celsius()
    )
}

/// A pail narrower than this is warned of: below it the rise of the water at its edge changes with its
/// level (common practice).
const NARROW: Length = Length::mm(60.0);

/// Whether a swing is large enough that its absence says something: a twentieth of the move (a choice).
fn swings_to_see(column: &Column) -> bool {
    column.overshoot() >= 0.05
}

fn title(text: &mut Told, input: &HoseInput, words: Words) {
    text.heading(format!("Your hose: {}", in_one_line(input, words)));
}

/// How far to trust a reading, and on whose word.
fn trust(text: &mut Told, input: &HoseInput, budget: &Budget, worth: ReadingWorth, words: Words) {
    let root_two = 2.0_f64.sqrt();
    // A reading counts as many times as it shows less than the whole of a height.
    let in_height = worth.sd * input.hose.factor();
    text.say(format!(
        "Trust one reading to ± {}, the height of one point above another to ± {} \
         (about 95 %).",
        words.plus_minus_words(in_height),
        words.plus_minus_words(in_height * root_two),
    ));
    text.say(match worth.repeats {
        Some(repeats) => format!(
            "That is the budget below, corrected by your own repeats: {} to spare, a scatter of \
             {:.2} mm in one reading. The budget alone would say ± {}.",
            repeats.spare,
            repeats.sd.to_mm(),
            words.plus_minus_words(worth.by_budget),
        ),
        None => "That is the budget below alone. Read some points twice: the job's own repeats \
                 then correct it, and so does a field test."
            .to_owned(),
    });
    if worth.repeats.is_none() && budget.careful < budget.combined * 0.95 {
        let careful = budget.careful.max(floorwright_engine::hose::LEAST_CLAIMED);
        text.say(format!(
            "Read by all the rules (careful, to half a millimetre, and settled to 0.2 mm) the same hose \
             is good for ± {}; no hose is claimed to do better than ± 1 mm.",
            words.plus_minus_words(careful * input.hose.factor()),
        ));
    }
    let stated: Vec<&str> = input
        .worth
        .iter()
        .filter(|setup| setup.worth.is_none())
        .map(|setup| setup.setup.as_str())
        .collect();
    if !stated.is_empty() {
        text.say(format!(
            "The survey does not use this for setup {}: the job states a reading_sd of its own \
             there.",
            stated.join(", ")
        ));
    }
}

fn wait(
    text: &mut Told,
    input: &HoseInput,
    column: &Result<Column, OutsideValidity>,
    words: Words,
) {
    let column = match column {
        Ok(column) => column,
        Err(outside) => {
            text.heading("How long to wait: no figure");
            text.say(format!("{outside}."));
            return;
        }
    };
    let hose = &input.hose;
    let main = column.wait(hose.reservoir.start_of(hose.largest_move), hose.settle_to);
    text.heading(format!(
        "Wait {} after each move of up to {}, for the last {}",
        seconds(main),
        whole(hose.largest_move, words),
        words.exact(hose.settle_to)
    ));
    text.say("Then two readings 10 s apart that agree; if they do not, wait as long again.");
    text.say(match (column.regime(), column.swing_period()) {
        (Regime::Swings, Some(period)) if swings_to_see(column) => format!(
            "It swings past its level and back, less each time, every {:.0} s or so: a reading at \
             the turn looks at rest and is not. If it never swings, look for a kink or air.",
            period.to_seconds()
        ),
        (Regime::Creeps, _) => "It creeps towards its level and never swings past it: it is thin, \
                                long or thick-filled, and always reads as if not quite there."
            .to_owned(),
        _ => "It comes to its level with hardly a swing.".to_owned(),
    });
    let columns = [("Moved up or down", Side::Right), ("Wait", Side::Right)];
    let mut table = Table::new(&columns);
    for one in waits(column, input) {
        table.row([whole(one.moved, words), seconds(one.wait)]);
    }
    text.table(table);
    if hose.capped {
        text.say("Carried closed, the wait begins when the tube is opened.");
    }
}

fn swing(text: &mut Told, column: Column, verdict: SwingVerdict) {
    let expected = column.swing_period().map_or(String::new(), |period| {
        format!(" It should swing every {:.0} s.", period.to_seconds())
    });
    let words = match verdict {
        SwingVerdict::Free => "The swing is as it should be: nothing blocks the hose.",
        SwingVerdict::Blocked => {
            "It should swing and does not: look for a kink, a closed end or air, and read nothing \
             until it swings."
        }
        SwingVerdict::Slow => {
            "It swings too slowly: a kink or a narrow fitting, or more hose than was said."
        }
        SwingVerdict::Fast => {
            "It swings too fast: less water in it than was said; look for air and read nothing \
             until it is out."
        }
        SwingVerdict::CannotTell => {
            "This hose hardly swings by itself, so its swing says nothing of a blockage: use the \
             side-by-side check."
        }
    };
    text.heading("The swing that you saw");
    text.say(format!("{words}{expected}"));
}

fn scale_and_range(
    text: &mut Told,
    input: &HoseInput,
    range: &Result<ReadableRange, OutsideValidity>,
    words: Words,
) {
    let hose = &input.hose;
    let factor = hose.factor();
    text.heading("Scale and range");
    text.say(match hose.reservoir {
        Reservoir::TwinBothEnds => {
            "Both ends are read at the same moment, and both numbers are written down: in the job as reading \
             (the moving end) and standing. Of their difference nothing has to be corrected. What the \
             moving end reads by itself shows half of every height."
                .to_owned()
        }
        Reservoir::FixedMark { .. } => {
            "The mark stays on the hose, so no water flows and nothing has to be corrected."
                .to_owned()
        }
        Reservoir::Pail { .. } | Reservoir::TwinOneEnd => {
            let lost = not_shown(Length::mm(100.0), factor);
            format!(
                "Differences of readings are multiplied by {factor:.4} (the survey does it): left \
                 out, {:.2} mm of every 100 mm would not show.",
                lost.to_mm()
            )
        }
    });
    text.say(format!(
        "The water follows the level surface: at the far end of this hose a straight line of sight would \
         stand {:.2} mm above it, and nothing is corrected for that.",
        straight_sight_rises(hose.length).to_mm()
    ));
    match range {
        Ok(range) => {
            let beside = |floor: Length| {
                let side = if floor < Length::ZERO { "lower" } else { "higher" };
                format!("{} {side}", whole(floor.abs(), words))
            };
            if let Reservoir::Pail { area } = hose.reservoir
                && area < Area::of_circle(NARROW)
            {
                text.item(
                    "!",
                    "The pail is narrow: its own edge lifts the water, and a spill shows large. Take one \
                     of 60 mm or more.",
                );
            }
            text.say(if range.lowest < range.highest {
                format!(
                    "With its water {} above the floor it reads floors from {} to {} than where it \
                     stands; the benchmark too has to lie there.",
                    whole(hose.leg, words),
                    beside(range.lowest),
                    beside(range.highest),
                )
            } else {
                format!(
                    "! With its water {} above the floor it reads no floor at all: set the water line \
                     between the ends of what can be read on the tube.",
                    whole(hose.leg, words)
                )
            });
            if range.freeboard > Length::ZERO {
                text.say(format!(
                    "The top {} of the tube are kept for the swing after a quick move; close the \
                     tube while it is carried to have them back.",
                    whole(range.freeboard, words)
                ));
            }
            text.say(match range.spills_per_10_mm {
                Some(spill) => format!(
                    "Held too low it siphons: {:.2} litres on the floor for every 10 mm. Held too \
                     high, air enters: prime it again.",
                    spill.to_litres()
                ),
                None if hose.reservoir == Reservoir::TwinBothEnds => {
                    "Held too low it runs over at that end; what is lost is lost to both."
                        .to_owned()
                }
                None => {
                    "Held too low it runs over at that end, and what is lost shows in every later \
                         reading: go back to the base."
                        .to_owned()
                }
            });
        }
        Err(outside) => text.say(format!("Its range: {outside}.")),
    }
}

fn budget(text: &mut Told, budget: &Budget) {
    text.heading("What makes a reading wrong, the biggest first (mm, one standard deviation)");
    let columns = [
        ("Cause", Side::Left),
        ("Yours", Side::Right),
        ("Careful", Side::Right),
        ("At best", Side::Right),
    ];
    let mut table = Table::new(&columns);
    let cell = |length: Length| format!("{:.2}", length.to_mm());
    for part in &budget.components {
        table.row([part.name.to_owned(), cell(part.sd), cell(part.careful), cell(part.at_best)]);
    }
    let all = [budget.combined, budget.careful, budget.at_best];
    table.row(std::iter::once("together, by squares".to_owned()).chain(all.map(cell)));
    text.table(table);
    for part in &budget.components {
        text.item(
            "-",
            format!("{}: {}. Against it: {}.", part.name, part.sensitivity, part.remedy),
        );
    }
    text.say(
        "Physics is worked out for this hose; foot, eye, drift and how careful people are is \
         engineering judgement.",
    );
}

fn checks(
    text: &mut Told,
    checks: &SiteChecks,
    watch: &DriftWatch,
    column: &Result<Column, OutsideValidity>,
    words: Words,
) {
    text.heading("Check on site, before the first point");
    text.item("1.", "Look along the hose for bubbles; lift and tap it from one end to the other.");
    text.item(
        "2.",
        format!(
            "Both ends side by side: their water stands alike within {}.",
            words.length(checks.side_by_side)
        ),
    );
    text.item(
        "3.",
        format!(
            "Lift the hose half a metre at mid-length and lay it down: the reading comes back \
             within {}, or there is air in it.",
            words.length(checks.lifted)
        ),
    );
    let slow = column.as_ref().is_ok_and(|column| !swings_to_see(column));
    text.item(
        "4.",
        match checks.swing {
            Some(period) if !slow => format!(
                "Raise the end by 100 mm at once: it swings about every {:.0} s. No swing: a kink, \
                 a closed end or air. The time that you saw is judged for you (on a terminal: --swing).",
                period.to_seconds()
            ),
            _ => "This hose hardly swings, so a blockage does not show by it: trust the \
                  side-by-side check, both ends open."
                .to_owned(),
        },
    );
    text.item(
        "5.",
        "Both ends open, the lid of the reservoir vented: a thumb on one end hides 97 mm of 100.",
    );
    text.heading("Back to the benchmark");
    text.say(format!(
        "After {} points or {:.0} minutes, and at the end. It has to read as before within {}: \
         then the difference is shared out by time, otherwise read the points since again.",
        watch.points,
        watch.minutes.to_minutes(),
        words.length(checks.closing)
    ));
    text.say(format!(
        "Drying up is worth up to {:.2} mm an hour, one millilitre spilled {:.2} mm.",
        watch.per_hour.to_mm(),
        watch.per_ml.to_mm()
    ));
    text.say(
        "Stand the reservoir on the ground or on a floor that nobody lifts or walks on, never on \
         the floor that is being jacked.",
    );
}

fn field_test(text: &mut Told, input: &HoseInput, words: Words) {
    text.heading("Your own figure: the field test");
    match &input.test {
        Some(test) => tested(text, test, words),
        None => text.say(
            "Two marks some metres apart, ten differences of height, the hose lifted and settled \
             anew for each; then ten with the ends swapped. Write them into [hose] as test and \
             test_swapped. Twenty minutes, and the ± above is yours and not a table's.",
        ),
    }
    text.say(format!(
        "Two readings of one point that differ by more than {:.1} times their scatter: read a \
         third time, do not take the mean.",
        REPEATS_WITHIN
    ));
}

fn tested(text: &mut Told, test: &HoseTest, words: Words) {
    text.say(format!(
        "One reading scatters by {:.2} mm ({} to spare); it may be up to {:.2} mm (95 %).",
        test.repeats.sd.to_mm(),
        test.repeats.spare,
        test.may_be.to_mm()
    ));
    text.say(if test.ends_agree() {
        format!(
            "Both ends read alike: they differ by {:.2} mm, up to {} could be chance.",
            (test.index_error * 2.0).abs().to_mm(),
            words.length(test.limit)
        )
    } else {
        format!(
            "! The ends do not read alike: they differ by {:.2} mm, more than the {} that chance \
             explains. Look for a dirty tube, unequal bores or a staff whose foot is worn.",
            (test.index_error * 2.0).abs().to_mm(),
            words.length(test.limit)
        )
    });
    text.say("After ISO 17123-2:2001 (from memory, verify), on one difference of height.");
}

/// Cautions for antifreeze, and for anything under pressure or suction.
///
/// # References
/// ATSDR ToxFAQs (ethylene glycol: kidneys, nerves, heart); Osweiler 2011, as quoted (dogs 4 to 7,
/// cats 1.4 mL/kg); Merck Veterinary Manual (propylene glycol, dogs about 9 mL/kg). The rest is
/// common practice.
fn cautions(text: &mut Told, input: &HoseInput, unmixed: Option<Length>) {
    text.heading("Before you fill it");
    if let Some(unmixed) = unmixed {
        text.item(
            "!",
            format!(
                "Mix the antifreeze before filling: plain water in one leg and this mix in the \
                 other stand {:.0} mm apart for every metre of leg.",
                unmixed.to_mm()
            ),
        );
    }
    match input.hose.fluid.glycol() {
        Some(Glycol::Ethylene) => text.item(
            "!",
            "Ethylene glycol is a sweet poison: it harms kidneys, nerves and heart. 4 to 7 mL for \
             each kg may kill a dog, 1.4 mL a cat. Take propylene glycol instead; label the jug, \
             mop every spill, let no child or animal near, pour none of it away outdoors.",
        ),
        Some(Glycol::Propylene) => text.item(
            "!",
            "Propylene glycol is far less poisonous than ethylene glycol, not harmless: about 9 mL \
             for each kg may kill a dog. Label the jug and mop every spill.",
        ),
        None => text.item(
            "!",
            "Water freezes: empty the hose before a cold night. Antifreeze from a car is a poison; \
             so is washer fluid.",
        ),
    }
    text.item(
        "!",
        "Never start it by mouth, whatever is in it. Fill it from the reservoir, slowly, with \
         water that has stood.",
    );
    text.item(
        "!",
        "Never put it on a tap, a pump or compressed air: push-on joints fly off, and it is no \
         level under pressure or suction. Both ends are open when it reads.",
    );
}

fn taken(text: &mut Told, input: &HoseInput) {
    if input.assumed.is_empty() {
        return;
    }
    text.heading("Taken for granted of the hose, because nobody said");
    for assumed in &input.assumed {
        text.item("-", assumed);
    }
}
