//! What is said of the builder's own hose: on a terminal, on a phone.

use crate::hose::{HoseFigures, HoseInput};
use crate::told::{Side, Table, Told};
use crate::words::Words;
use floorwright_engine::hose::{
    Budget, Column, Fluid, Glycol, Hose, HoseTest, LEAST_CLAIMED, OutsideValidity, REPEATS_WITHIN,
    ReadableRange, ReadingWorth, Regime, Reservoir, SiteChecks, SwingVerdict,
    bubble_never_rises_below, not_shown, straight_sight_rises, surface_tension, water_density,
};
use floorwright_engine::survey::alike_within;
use floorwright_engine::units::{Area, Length, Seconds, Temperature, Volume, round_to};
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

/// A length that is small beside a sixteenth: hundredths of a millimetre, or thousandths of an inch.
fn small(length: Length, words: Words) -> String {
    match words.long_unit() {
        "ft" => format!("{:.3}\"", length.to_inches()),
        _ => format!("{:.2} mm", length.to_mm()),
    }
}

/// A sentence of the budget, which writes small lengths as `0.21 mm`, in the unit of the job.
fn in_small(text: &str, words: Words) -> String {
    if words.long_unit() != "ft" {
        return text.to_owned();
    }
    let parts: Vec<&str> = text.split(' ').collect();
    let mut said: Vec<String> = Vec::new();
    for part in parts {
        let unit = part.trim_end_matches([',', ';']);
        match (unit, said.last().and_then(|number| number.parse::<f64>().ok())) {
            ("mm", Some(mm)) => {
                said.pop();
                said.push(format!("{}{}", small(Length::mm(mm), words), &part[unit.len()..]));
            }
            _ => said.push(part.to_owned()),
        }
    }
    said.join(" ")
}

/// A round length of its own in each system: so many millimetres, or inches.
fn round(mm: f64, inches: f64, words: Words) -> String {
    words.exact(if words.long_unit() == "ft" { Length::inches(inches) } else { Length::mm(mm) })
}

/// What runs out for each bit that an end is held too low.
fn spilled(per_10_mm: Volume, words: Words) -> String {
    const LITRES_IN_QUART: f64 = 0.946_353;
    let litres = per_10_mm.to_litres();
    match words.long_unit() {
        "ft" => {
            format!("{:.2} quarts on the floor for every 1/2\"", litres * 1.27 / LITRES_IN_QUART)
        }
        _ => format!("{litres:.2} litres on the floor for every 10 mm"),
    }
}

/// Rounded so that a factor of next to nothing does not round a limit up by a whole step.
fn to_hundredths(length: Length) -> Length {
    Length::mm(round_to(length.to_mm(), 0.01))
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
    budget(&mut text, &figures.budget, words);
    checks(&mut text, &input.hose, &figures.checks, column, words);
    benchmark(&mut text, &input.hose, figures, words);
    field_test(&mut text, input, words);
    cautions(&mut text, input, figures.unmixed, words);
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

/// Two readings that are to agree, and how far apart in time.
pub fn two_readings(column: &Column) -> String {
    let again = column.read_again_after().to_seconds();
    match column.swing_period() {
        Some(period) if column.swings_to_see() => {
            let halves = again / period.to_seconds();
            let part = if halves < 1.0 { "half a swing" } else { "a swing and a half" };
            let part = if halves < 2.0 { part } else { "not a whole swing" };
            format!("two readings {again:.0} s apart ({part}) that agree")
        }
        _ => format!("two readings {again:.0} s apart that agree"),
    }
}

fn title(text: &mut Told, input: &HoseInput, words: Words) {
    text.heading(format!("Your hose: {}", in_one_line(input, words)));
}

/// How far to trust a reading, and on whose word.
fn trust(text: &mut Told, input: &HoseInput, budget: &Budget, worth: ReadingWorth, words: Words) {
    let root_two = 2.0_f64.sqrt();
    // A reading counts as many times as it shows less than the whole of a height.
    let in_height = to_hundredths(worth.sd * input.hose.factor());
    let one = match input.hose.reservoir {
        Reservoir::TwinBothEnds => "one reading (moving end less standing end)",
        _ => "one reading",
    };
    text.say(format!(
        "Trust {one} to ± {}, the height of one point above another to ± {} \
         (about 95 %).",
        words.plus_minus_words(in_height),
        words.plus_minus_words(in_height * root_two),
    ));
    text.say(match worth.repeats {
        Some(repeats) => format!(
            "That is the budget below, corrected by your own repeats: {} to spare, a scatter of \
             {} in one reading. The budget alone would say ± {}.",
            repeats.spare,
            small(repeats.sd, words),
            words.plus_minus_words(to_hundredths(worth.by_budget * input.hose.factor())),
        ),
        None => "That is the budget below alone. Read some points twice: the job's own repeats \
                 then correct it, and so does a field test."
            .to_owned(),
    });
    if worth.repeats.is_none() && budget.careful < budget.combined * 0.95 {
        let careful = budget.careful.max(LEAST_CLAIMED);
        text.say(format!(
            "Read by all the rules (careful, to {}, and settled to {}) the same hose is good for ± {}; \
             no hose is claimed to do better than ± {}.",
            round(0.5, 1.0 / 64.0, words),
            small(Length::mm(0.2), words),
            words.plus_minus_words(to_hundredths(careful * input.hose.factor())),
            words.plus_minus_words(LEAST_CLAIMED),
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
    if hose.reservoir.is_twin() {
        text.say(format!(
            "Each end is then within {} of its rest, and the other is off to the other side: a height \
             within {}.",
            words.exact(hose.settle_to),
            words.exact(hose.settle_to * 2.0)
        ));
    }
    text.say(format!("Then {}; if they do not, wait as long again.", two_readings(column)));
    text.say(match (column.regime(), column.swing_period()) {
        (Regime::Swings, Some(period)) if column.swings_to_see() => format!(
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
                 out, {:.2} % of every height would not show.",
                lost.to_mm()
            )
        }
    });
    text.say(format!(
        "The water follows the level surface: at the far end of this hose a straight line of sight would \
         stand {} above it, and nothing is corrected for that.",
        small(straight_sight_rises(hose.length), words)
    ));
    match range {
        Ok(range) => {
            if let Reservoir::Pail { area } = hose.reservoir
                && area < Area::of_circle(NARROW)
            {
                text.item(
                    "!",
                    format!(
                        "The pail is narrow: its own edge lifts the water, and a spill shows large. \
                         Take one of {} or more.",
                        round(60.0, 2.5, words)
                    ),
                );
            }
            reads_floors(text, hose, range, words);
            if range.freeboard >= Length::mm(0.5) && range.lowest < range.highest {
                text.say(format!(
                    "The top {} of the tube are kept for the swing after a quick move; close the \
                     tube while it is carried to have them back.",
                    whole(range.freeboard, words)
                ));
            }
            text.say(match range.spills_per_10_mm {
                Some(spill) => format!(
                    "Held too low it siphons: {}. Held too high, air enters: prime it again.",
                    spilled(spill, words)
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
            let water = hose.temperature.max(Temperature::celsius(0.0));
            if let (Ok(tension), Ok(density)) = (surface_tension(water), water_density(water)) {
                let least = bubble_never_rises_below(tension, density);
                if hose.bore <= least {
                    text.item(
                        "!",
                        format!(
                            "In a bore of {} or less a long bubble never rises by itself: air never \
                             leaves it, and tapping does little. Take a tube of {} or more.",
                            words.length(least),
                            round(6.0, 0.25, words)
                        ),
                    );
                }
            }
        }
        Err(outside) => text.say(format!("Its range: {outside}.")),
    }
}

/// Which floors it reads, and what stands in the way if there are none.
fn reads_floors(text: &mut Told, hose: &Hose, range: &ReadableRange, words: Words) {
    let line = whole(hose.leg, words);
    let what = if hose.reservoir.is_twin() { "standing end" } else { "reservoir" };
    if range.lowest < range.highest {
        let beside = |floor: Length| match whole(floor.abs(), words) {
            floor_is if floor < Length::ZERO => format!("{floor_is} lower"),
            floor_is => format!("{floor_is} higher"),
        };
        text.say(format!(
            "With its water {line} above a floor it reads floors from {} to {} than that one; the \
             benchmark too has to lie there.",
            beside(range.lowest),
            beside(range.highest),
        ));
        text.say(format!(
            "Set the {what} up so that its water stands about {line} above the floor that is read, \
             wherever it stands: on the ground under a raised floor that takes a stand for it.",
        ));
        if range.lowest > Length::ZERO || range.highest < Length::ZERO {
            text.item(
                "!",
                format!(
                    "That leaves out the floor {line} below its water: the tube is read from {} to {} \
                     above the foot of the staff. Raise or lower the {what}, or write leg and reads as \
                     they are.",
                    whole(hose.reads.0, words),
                    whole(hose.reads.1, words),
                ),
            );
        }
        return;
    }
    let room = hose.reads.1 - hose.leg;
    text.item(
        "!",
        if range.freeboard > Length::ZERO && room > Length::ZERO {
            format!(
                "After a move of {} at once the water swings {} past its level, and above it the tube has \
                 {}: it reads no floor without a spill. Close the tube while it is carried (capped), or \
                 move in smaller steps (largest_move).",
                whole(hose.largest_move, words),
                whole(range.freeboard, words),
                whole(room, words),
            )
        } else {
            format!(
                "With its water {line} above the floor it reads no floor at all: set the water line \
                 between {} and {}, where the tube is read.",
                whole(hose.reads.0, words),
                whole(hose.reads.1, words),
            )
        },
    );
}

fn budget(text: &mut Told, budget: &Budget, words: Words) {
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
            format!(
                "{}: {}. Against it: {}.",
                part.name,
                in_small(&part.sensitivity, words),
                part.remedy
            ),
        );
    }
    text.say(
        "Physics is worked out for this hose; foot, eye, drift and how careful people are is \
         engineering judgement.",
    );
}

fn checks(
    text: &mut Told,
    hose: &Hose,
    checks: &SiteChecks,
    column: &Result<Column, OutsideValidity>,
    words: Words,
) {
    text.heading("Check on site, before the first point");
    text.item("1.", "Look along the hose for bubbles; lift and tap it from one end to the other.");
    text.item(
        "2.",
        match checks.tube_above_pail {
            Some(rise) => format!(
                "Tube beside the pail: compare the bottom of the curve in the tube with the flat water in \
                 the middle of the pail. The tube climbs: up to {} higher in a clean tube and plain \
                 water, less in a greasy one or with detergent. Between {} lower and {} higher is as it \
                 should be, and lifted and settled again it comes back within {}. It is in every \
                 reading alike and drops out.",
                words.length(rise),
                words.length(checks.side_by_side),
                words.length(rise + checks.side_by_side),
                words.length(checks.side_by_side),
            ),
            None if hose.reservoir.is_twin() => format!(
                "Both ends side by side: the bottoms of their curves stand alike within {}.",
                words.length(checks.side_by_side)
            ),
            None => format!(
                "Tube beside the pail: lifted and settled again, it comes back within {}.",
                words.length(checks.side_by_side)
            ),
        },
    );
    text.item(
        "3.",
        format!(
            "Lift the hose by {} at mid-length and lay it down: the reading comes back within {}, or \
             there is air in it.",
            round(500.0, 20.0, words),
            words.length(checks.lifted)
        ),
    );
    let slow = column.as_ref().is_ok_and(|column| !column.swings_to_see());
    text.item(
        "4.",
        match checks.swing {
            Some(period) if !slow => format!(
                "Raise the end by {} at once: it swings about every {:.0} s. No swing: a kink, \
                 a closed end or air. The time that you saw is judged for you (on a terminal: --swing).",
                round(100.0, 4.0, words),
                period.to_seconds()
            ),
            _ => "This hose hardly swings, so a blockage does not show by it: trust the \
                  side-by-side check, both ends open."
                .to_owned(),
        },
    );
    text.item(
        "5.",
        if hose.reservoir.is_twin() {
            "Both ends open: a thumb on one hides nearly all of a height."
        } else {
            "Both ends open, the lid of the reservoir vented: a thumb on one end hides nearly all of a \
             height."
        },
    );
}

/// When to go back to the benchmark, and where the other end stands meanwhile.
fn benchmark(text: &mut Told, hose: &Hose, figures: &HoseFigures, words: Words) {
    let watch = &figures.watch;
    // As the survey holds it: what a reading is taken to be worth, repeats and all.
    let closing = alike_within(figures.worth.sd);
    text.heading("Back to the benchmark");
    text.say(format!(
        "After {} points or {:.0} minutes, and at the end. It has to read as before within {}: \
         then the difference is shared out by time, otherwise read the points since again.",
        watch.points,
        watch.minutes.to_minutes(),
        words.length(closing)
    ));
    match hose.reservoir {
        Reservoir::TwinBothEnds => {
            text.say(
                "Read at both ends, what dries up, is spilled or swells drops out. If the benchmark does \
                 not come back, look for air, a kink, a staff that was moved or a foot that is not clean.",
            );
        }
        Reservoir::TwinOneEnd => text.say(format!(
            "With one end read the water line is all that stays, and there is little of it: one \
             millilitre spilled is {} of reading and {} of height, and one K that the whole hose warms as \
             is said above. Read both ends, and it drops out.",
            small(watch.per_ml, words),
            small(watch.per_ml * hose.factor(), words),
        )),
        Reservoir::Pail { .. } | Reservoir::FixedMark { .. } => text.say(format!(
            "Drying up is worth up to {} in an hour, one millilitre spilled {}. What is more than that is \
             a leak, a spill or air.",
            small(watch.per_hour, words),
            small(watch.per_ml, words)
        )),
    }
    text.say(where_it_stands(hose));
}

/// Where the end that stays may stand.
pub fn where_it_stands(hose: &Hose) -> &'static str {
    if hose.reservoir.is_twin() {
        "Stand the standing end, with its staff, on a spot that nobody walks on or beside while you \
         read, outside of the ways to the points. For a survey before the work that may be the floor \
         itself; once there is jacking, the ground or a floor that is not lifted."
    } else {
        "Stand the reservoir where nobody walks on or beside it while you read, near a wall and outside \
         of the ways to the points. For a survey before the work that may be the floor itself; once \
         there is jacking, the ground or a floor that is not lifted, raised so that its water is as high \
         above the floor that is read as before."
    }
}

fn field_test(text: &mut Told, input: &HoseInput, words: Words) {
    text.heading("Your own figure: the field test");
    match &input.test {
        Some(test) => tested(text, test, words),
        None => text.say(how_to_test(input.hose.reservoir)),
    }
    text.say(format!(
        "Two readings of one point that differ by more than {:.1} times what one reading is worth (one \
         standard deviation): read a third time, do not take the mean.",
        REPEATS_WITHIN
    ));
}

/// How the field test is taken, which depends on what is at the other end.
fn how_to_test(reservoir: Reservoir) -> &'static str {
    match reservoir {
        Reservoir::TwinBothEnds => {
            "Two marks well apart, one end on each: what the one shows less what the other shows is a \
             difference of height. Take ten, the hose lifted and settled anew for each; then ten with \
             the ends changed over, still the first mark less the second. Write them into [hose] as \
             test and test_swapped. Twenty minutes, and the ± above is yours and not a table's."
        }
        Reservoir::TwinOneEnd => {
            "Two marks well apart, the standing end left where it is: read mark A, then mark B, and \
             twice A less B is a difference of height. Take ten, settled anew for each; then ten with B \
             read first and the standing end in another place, still twice A less B. Write them into [hose] \
             as test and test_swapped. Forty minutes, and the ± above is yours and not a table's."
        }
        Reservoir::Pail { .. } | Reservoir::FixedMark { .. } => {
            "Two marks well apart, the pail between them: read mark A, then mark B, and A less B is \
             a difference of height. Take ten, the end lifted and settled anew for each; then carry the \
             pail to the other side of the marks and take ten with B read first, still A less B. Write them \
             into [hose] as test and test_swapped. Forty minutes, and the ± above is yours and not a \
             table's."
        }
    }
}

fn tested(text: &mut Told, test: &HoseTest, words: Words) {
    text.say(format!(
        "One reading scatters by {} ({} to spare); it may be up to {} (95 %).",
        small(test.repeats.sd, words),
        test.repeats.spare,
        small(test.may_be, words)
    ));
    text.say(if test.ends_agree() {
        format!(
            "Both sets say the same: they differ by {}, up to {} could be chance.",
            small((test.index_error * 2.0).abs(), words),
            words.length(test.limit)
        )
    } else {
        format!(
            "! The two sets do not say the same: they differ by {}, more than the {} that chance \
             explains. Look for drift, a dirty tube, unequal bores or a staff whose foot is worn.",
            small((test.index_error * 2.0).abs(), words),
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
fn cautions(text: &mut Told, input: &HoseInput, unmixed: Option<Length>, words: Words) {
    text.heading("Before you fill it");
    if let Some(unmixed) = unmixed {
        text.item(
            "!",
            format!(
                "Mix the antifreeze before filling: plain water in one leg and this mix in the \
                 other stand {} apart for every {} of leg.",
                whole(unmixed * if words.long_unit() == "ft" { 0.3048 } else { 1.0 }, words),
                if words.long_unit() == "ft" { "foot" } else { "metre" }
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
        if input.hose.reservoir.is_twin() {
            "Never start it by mouth, whatever is in it. Fill it at one end, slowly, with water that has \
             stood."
        } else {
            "Never start it by mouth, whatever is in it. Fill it from the reservoir, slowly, with \
             water that has stood."
        },
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
