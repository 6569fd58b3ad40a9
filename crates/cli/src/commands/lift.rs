//! `floorwright lift`: the lift and the packers at each support, or why it cannot be done.

mod carried;

use crate::args;
use crate::commands::frame::{options, said};
use crate::commands::levels::read_again;
use crate::commands::{goal, pictures, stage};
use crate::exit::{CHECK_FAILED, OK, Stop};
use crate::files::{self, Existing};
use crate::report::{Report, Text, cautions, envelope, footing};
use crate::session::{Session, open};
use crate::text::table::{Side, Table};
use floorwright_draw::{Medium, Paper, carried_map, floor_map, lift_map};
use floorwright_engine::ids::{PointId, SupportId};
use floorwright_engine::packers::{Choice, HeightAdvice};
use floorwright_engine::plan::{
    Bend, LiftingStage, PackingStage, PassesStage, Plan, StageName, SupportPacking, plan,
};
use floorwright_engine::target::{Explanation, LiftPlan, Outcome, Prediction};
use floorwright_engine::units::Length;
use floorwright_job::HeightTie;
use floorwright_job::cautions::Loads;
use floorwright_job::said::{count, no_level_after, plan_from_before};
pub use floorwright_job::words::stack_words;
use floorwright_job::words::{Words, limit_one_in, one_in, price};
use std::collections::BTreeMap;

/// A lift of less than this is none.
pub const TOUCHED: Length = Length::mm(0.05);

/// Runs the command.
pub fn run(args: &args::Lift) -> Result<Report, Stop> {
    let mut session = open(&args.job.job)?;
    goal::apply(&args.goal, &mut session)?;
    options::apply(&args.timber, &mut session)?;
    options::leave_out(args.no_frame, &mut session);
    let plan = plan(&session.job);
    let words = Words::of(&session.input);
    let mut text = Text::default();
    text.heading(&format!("Lift list: {}", session.input.name));
    if let Some(begun) = plan_from_before(&session.input.done) {
        text.item("!", begun);
    }
    // Nothing is said before a stop, or before what may break.
    carried::say_passes(&mut text, &session, &plan, words);
    for sentence in no_level_after(&session.job, &plan, words) {
        text.item("!", sentence);
    }
    read_again(&mut text, &session, &plan, words);
    let mut exit = CHECK_FAILED;
    if let Some(lifting) = stage(&mut text, &plan, StageName::Lift, &plan.lifting, words) {
        exit = say_lifting(&mut text, &session, &plan, lifting, args.points, words);
        if carried::is_forbidden(&plan) {
            exit = CHECK_FAILED;
        }
    }
    match &args.picture {
        Some(path) if exit == OK => {
            write_pictures(&mut text, &session, &plan, path, args.phone)?;
        }
        Some(path) => text.heading(&format!(
            "No picture was drawn, for there is no plan to lift by: {} was left as it was",
            path.display()
        )),
        None => {}
    }
    footing(&mut text, &session);
    let json = move || {
        let passes = plan.passes.done();
        envelope(
            "lift",
            &session,
            serde_json::json!({
                "lifting": plan.lifting, "packing": plan.packing,
                "frame": said::status(&session, &plan),
                "bends": passes.map(|passes| &passes.bends),
                "temporary": passes.map(|passes| &passes.temporary),
                "cents": passes.and_then(|passes| passes.cents),
            }),
        )
    };
    Ok(Report { text, json: Box::new(json), exit })
}

/// Says what the lifts are, or why there are none. Returns the exit code.
fn say_lifting(
    text: &mut Text,
    session: &Session,
    plan: &Plan,
    lifting: &LiftingStage,
    points: bool,
    words: Words,
) -> u8 {
    let lift_plan = match &lifting.outcome {
        Outcome::Reached(lift_plan) => lift_plan,
        Outcome::CannotBeDone(explanation) => {
            cannot(text, session, lifting, explanation, words);
            return CHECK_FAILED;
        }
        Outcome::Refused(faults) => {
            text.heading("The goal cannot be worked on");
            for fault in faults {
                text.item("-", fault.to_string());
            }
            return CHECK_FAILED;
        }
    };
    let packing = stage(text, plan, StageName::Packers, &plan.packing, words);
    if packing.is_some_and(|packing| packing.cannot.is_empty()) {
        cautions(text, Loads::of(plan));
    }
    say_target(text, session, plan, lifting, lift_plan, packing, words);
    lift_table(text, session, lifting, lift_plan, packing, words);
    let mut exit = if packing.is_some() { OK } else { CHECK_FAILED };
    if let Some(packing) = packing {
        if !packing.cannot.is_empty() {
            text.heading("It cannot be packed so");
            exit = CHECK_FAILED;
        }
        for reason in &packing.cannot {
            text.item("!", floorwright_job::said::reason(reason, words));
        }
        if let Some(passes) = plan.passes.done() {
            say_bends(text, session, &passes.bends);
        }
        carried::say(text, session, plan, packing, words);
        carried::say_between(text, lifting, words);
        besides(text, lifting, packing, words);
        buy_list(text, packing, plan.passes.done(), words);
        if points {
            point_table(text, &packing.outcome, words);
        }
    }
    carried::say_influence(text, session, plan, lifting, words);
    exit
}

/// Names where the house ends bent, for the lifts do not prevent it.
pub fn say_bends(text: &mut Text, session: &Session, bends: &[Bend]) {
    const MOST: usize = 8;
    let limit = &session.job.limits.distortion;
    if bends.is_empty() {
        return;
    }
    text.heading(&format!(
        "It will bend by more than {} in {} (limit: {})",
        limit_one_in(limit.value),
        count(bends.len(), "place", "places"),
        limit.reason
    ));
    for bend in bends.iter().take(MOST) {
        text.item(
            "!",
            format!(
                "{} to {}: {} today, {} at the end, bent by {}",
                bend.pair.0,
                bend.pair.1,
                one_in(bend.start),
                one_in(bend.end),
                one_in(bend.change())
            ),
        );
    }
    if bends.len() > MOST {
        text.item("!", format!("and {} more, all less bent", bends.len() - MOST));
    }
    text.say(
        "Linings that were fixed or patched in today's shape may crack there. Lift less, \
         or agree with the owner that they may.",
    );
}

fn besides(text: &mut Text, lifting: &LiftingStage, packing: &PackingStage, words: Words) {
    if !lifting.unmoved.is_empty() {
        text.item("!", format!("no support moves {}", join(&lifting.unmoved)));
    }
    if !packing.moved_besides.is_empty() {
        let moved: Vec<String> = packing
            .moved_besides
            .iter()
            .map(|(point, by)| format!("{point} {}", words.signed(*by)))
            .collect();
        text.item(
            "!",
            format!("the goal does not ask about these, and they move too: {}", moved.join(", ")),
        );
    }
}

fn join(points: &[PointId]) -> String {
    let names: Vec<String> = points.iter().map(ToString::to_string).collect();
    names.join(", ")
}

/// Whether the goal asks every support to carry: as it says, or by rule for a frame that is given.
fn has_to_carry(session: &Session, plan: &Plan) -> bool {
    let is_given = plan.frame.done().is_some_and(|frame| !frame.proposed);
    session.job.goal.every_support_carries.unwrap_or(is_given)
}

fn say_target(
    text: &mut Text,
    session: &Session,
    plan: &Plan,
    lifting: &LiftingStage,
    lift_plan: &LiftPlan,
    packing: Option<&PackingStage>,
    words: Words,
) {
    let (one, several) = words.supports();
    let plane = lift_plan.outcome.plane;
    text.heading(&format!(
        "Target: {} ({})",
        words.level(lift_plan.outcome.plane.height),
        lifting.target.from
    ));
    if plane.rise_x.hypot(plane.rise_y) > 1e-6 {
        text.say(format!(
            "The target leans: {:+.1} mm per m to the right of the plan and {:+.1} mm per m up it; \
             its height is that at the point named, or at the middle of the points.",
            plane.rise_x * 1000.0,
            plane.rise_y * 1000.0
        ));
    }
    say_tie(text, session);
    target_in_doubt(text, lifting);
    let (_, packers) = words.packers();
    if let Some(packing) = packing {
        let down = match packing.lowered {
            0 => String::new(),
            lowered => format!(", let down {lowered}"),
        };
        text.say(format!(
            "Raise {}{down} of {}.",
            packing.raised,
            count(session.job.site.supports().len(), one, several),
        ));
    }
    let worst = |prediction: Option<&Prediction>| {
        let worst = prediction.and_then(Prediction::worst)?;
        Some(format!("{} by {}", worst.id, words.length(worst.departure.abs())))
    };
    if let Some(today) = worst(lifting.now.as_ref()) {
        text.say(format!("Furthest off the target today: {today}."));
    }
    let can_be_packed = packing.filter(|packing| packing.cannot.is_empty());
    if let Some(then) = worst(can_be_packed.map(|packing| &packing.outcome)) {
        text.say(format!("Furthest off on these {packers}: {then}."));
    }
    let unread: Vec<String> = lifting
        .supports
        .iter()
        .filter(|facts| facts.floor.is_none())
        .map(|facts| facts.support.to_string())
        .collect();
    if !unread.is_empty() {
        text.item(
            "!",
            format!(
                "not in this plan, because the floor over them was not read: {}. Where their \
                 neighbours rise it leaves them: read it first",
                unread.join(", ")
            ),
        );
    }
    if let (false, true, Some(frame)) =
        (lifting.by_hand.is_empty(), has_to_carry(session, plan), plan.frame.done())
        && !frame.frame.supports().is_empty()
    {
        let set: Vec<&SupportId> = lifting.by_hand.iter().map(|(support, _)| support).collect();
        text.say(format!(
            "Every {one} is to carry (every_support_carries), so what is set by hand at {} takes the \
             others along: with every_support_carries = false under [goal] they stay, and some may \
             hang free.",
            said::names(set)
        ));
    }
    if lift_plan.one_of_many {
        text.say("Other lifts do equally well; these lift least in total.");
    }
    if let Some(fewest) = lift_plan.fewest {
        text.say(if fewest.touched == fewest.at_least {
            format!(
                "The lifts touch {}, and no plan within the tolerances touches fewer.",
                fewest.touched
            )
        } else {
            format!(
                "It touches {}; fewer than {} cannot do it, and between the two nothing is proved.",
                fewest.touched, fewest.at_least
            )
        });
    }
    if let (Some(tolerance), Some(outcome)) =
        (session.job.goal.level_tolerance, can_be_packed.map(|packing| &packing.outcome))
        && outcome.totals.worst_departure - tolerance > Length::mm(0.05)
    {
        text.item(
            "!",
            format!(
                "The lifts meet the tolerance of {}, but {packers} come in steps and these miss it \
                 by {}: thinner {packers}, or a wider tolerance.",
                words.length(tolerance),
                words.length(outcome.totals.worst_departure - tolerance)
            ),
        );
    }
}

/// How the height hangs on new work, where that is more than the level of a point.
fn say_tie(text: &mut Text, session: &Session) {
    let has_parts = |tie: &HeightTie| {
        [tie.offset, tie.old_build_up, tie.new_build_up].iter().any(|part| *part != Length::ZERO)
    };
    if let Some(tie) = session.input.tie.as_ref().filter(|tie| has_parts(tie)) {
        text.say(format!("To meet the new work, {}.", tie.in_words(session.input.units)));
    }
}

fn target_in_doubt(text: &mut Text, lifting: &LiftingStage) {
    if !lifting.target.in_doubt.is_empty() {
        text.item(
            "!",
            format!(
                "the target itself rests on {}, whose readings are in doubt: settle that first",
                join(&lifting.target.in_doubt)
            ),
        );
    }
}

fn lift_table(
    text: &mut Text,
    session: &Session,
    lifting: &LiftingStage,
    lift_plan: &LiftPlan,
    packing: Option<&PackingStage>,
    words: Words,
) {
    let (_, packers) = words.packers();
    text.heading(&format!("Lifts in {} (± is about 95 %)", words.unit()));
    let has_gaps = session.job.site.supports().iter().any(|s| s.gap > Length::ZERO);
    let mut columns = vec![
        (words.support(), Side::Left),
        ("Floor now", Side::Right),
        ("Lift", Side::Right),
        ("±", Side::Right),
    ];
    if has_gaps {
        columns.push(("Gap", Side::Right));
    }
    columns.extend([(packers, Side::Left), ("Lifts", Side::Right), ("", Side::Left)]);
    let by_hand: Vec<&SupportId> = lifting.by_hand.iter().map(|(support, _)| support).collect();
    let stacks: BTreeMap<&SupportId, &SupportPacking> = packing
        .iter()
        .flat_map(|packing| &packing.supports)
        .map(|packing| (&packing.support, packing))
        .collect();
    let mut table = Table::new(&columns);
    for (idx, (facts, lift)) in lifting.supports.iter().zip(&lift_plan.outcome.lifts).enumerate() {
        let stack = stacks.get(&facts.support).copied();
        let is_held = facts.held.is_some();
        let above = lifting.above_target(idx);
        let mut cells = vec![
            facts.support.to_string(),
            above.map_or("?".to_owned(), |above| words.signed(above)),
            if is_held { "-".to_owned() } else { words.signed(lift.lift) },
            facts.sd.map_or(String::new(), |sd| words.plus_minus(sd)),
        ];
        if has_gaps {
            let gap = session.job.site.supports()[idx].gap;
            cells.push(if gap > Length::ZERO { words.number(gap) } else { String::new() });
        }
        cells.push(stack.map_or(String::new(), |stack| pieces(stack, words)));
        cells.push(match packing {
            Some(packing) if !is_held && stack.is_none_or(|stack| stack.stack.is_some()) => {
                words.signed(packing.lifts[idx])
            }
            _ => String::new(),
        });
        let mut notes = Vec::new();
        if let Some(held) = &facts.held {
            notes.push(format!("stays: {held}"));
        }
        if by_hand.contains(&&facts.support) {
            notes.push("set by hand".to_owned());
        }
        if lift.lift < -TOUCHED {
            notes.push("let down: take out packing".to_owned());
        }
        if !facts.in_doubt.is_empty() {
            notes.push(format!("READ {} AGAIN FIRST", join(&facts.in_doubt)));
        }
        if facts.between_readings && !is_held {
            notes.push("floor not read here".to_owned());
        }
        if lift.at_upper && !is_held && lift.lift > Length::ZERO {
            notes.push("at its limit".to_owned());
        }
        notes.extend(stack.and_then(advice));
        cells.push(notes.join("; "));
        table.row(cells);
    }
    text.table(&table);
    text.say(format!(
        "Floor now: above (+) or below (-) the target. Lift: what would bring it there. Lifts: \
         what these {packers} do, gap taken off; {packers} come in steps."
    ));
}

fn pieces(packing: &SupportPacking, words: Words) -> String {
    match (&packing.stack, &packing.nearest) {
        (Some(stack), _) if stack.pieces.is_empty() => "none".to_owned(),
        (Some(stack), _) => stack_words(&stack.pieces, words),
        (None, Some(Choice::Unreachable { below, above })) => {
            let nearest: Vec<String> = [below, above]
                .into_iter()
                .flatten()
                .map(|stack| words.thickness(stack.thickness))
                .collect();
            format!("no stack; nearest {}", nearest.join(" or "))
        }
        (None, _) => String::new(),
    }
}

fn advice(packing: &SupportPacking) -> Option<String> {
    match packing.advice {
        HeightAdvice::Fine => None,
        HeightAdvice::Warn => Some("high packing: few leaves, full bearing, fixed".to_owned()),
        HeightAdvice::TallerSupport => Some("too high to pack: a taller support".to_owned()),
    }
}

fn buy_list(text: &mut Text, packing: &PackingStage, passes: Option<&PassesStage>, words: Words) {
    let (one, several) = words.packers();
    if packing.buy.lines.is_empty() {
        return;
    }
    text.heading(&format!("Buy ({} in all)", count(packing.buy.pieces as usize, one, several)));
    let columns = [
        ("Thick", Side::Right),
        ("Used", Side::Right),
        ("Packs", Side::Right),
        ("Price", Side::Right),
    ];
    let mut table = Table::new(&columns);
    for line in &packing.buy.lines {
        table.row([
            words.thickness(line.thickness),
            line.pieces.to_string(),
            line.packs.to_string(),
            line.cents.map_or(String::new(), price),
        ]);
    }
    text.table(&table);
    for extra in passes.iter().flat_map(|passes| &passes.temporary) {
        text.item(
            "-",
            format!(
                "{} more of {} thick, for up to {} in use while the passes go on",
                count(extra.extra_packs as usize, "pack", "packs"),
                words.thickness(extra.thickness),
                extra.most_in_use
            ),
        );
    }
    if let Some(cents) = passes.and_then(|passes| passes.cents) {
        text.say(format!("In all {}, by the prices in the job.", price(cents)));
    }
}

fn point_table(text: &mut Text, outcome: &Prediction, words: Words) {
    text.heading(&format!("Points, above (+) or below (-) the target, in {}", words.unit()));
    let columns = [("Point", Side::Left), ("Now", Side::Right), ("After", Side::Right)];
    let mut table = Table::new(&columns);
    for point in &outcome.points {
        table.row([
            point.id.to_string(),
            words.signed(point.before - point.target),
            words.signed(point.departure),
        ]);
    }
    text.table(&table);
}

fn cannot(
    text: &mut Text,
    session: &Session,
    lifting: &LiftingStage,
    explanation: &Explanation,
    words: Words,
) {
    let goal = &session.job.goal;
    let height = lifting.target.level.map_or("a free height".to_owned(), |l| words.level(l));
    text.heading(&format!("It cannot be done: {height} ({})", lifting.target.from));
    if let Some(tolerance) = goal.level_tolerance {
        text.say(format!("Asked: every point within {}.", words.length(tolerance)));
    }
    say_tie(text, session);
    target_in_doubt(text, lifting);
    for sentence in &explanation.words {
        text.item("-", words.sentence(sentence));
    }
    if let (Some(smallest), Some(_)) = (explanation.smallest_tolerance, goal.level_tolerance) {
        let works = smallest.with_the_rest.unwrap_or(smallest.level_alone);
        let works = words.rounded_up(works);
        text.say(format!(
            "Ways out: a tolerance of {} (--tolerance {}){}, or room at the supports named.",
            words.length(works),
            // An inch mark would open a quotation in a shell.
            words.number(works).trim_end_matches('"'),
            if lifting.target.level.is_some() {
                ", another height (perhaps --height free)"
            } else {
                ""
            }
        ));
    }
}

fn write_pictures(
    text: &mut Text,
    session: &Session,
    plan: &Plan,
    path: &std::path::Path,
    phone: bool,
) -> Result<(), Stop> {
    let medium = if phone { Medium::Screen } else { Medium::Sheet(Paper::A4) };
    let head = pictures::Head::of(session, plan);
    if let Some(picture) = head.lifts(pictures::medium(session, phone)) {
        files::write(path, &lift_map(&picture), Existing::Replace)?;
        text.heading(&format!("Picture of the lifts: {}", path.display()));
    }
    if let Some(picture) = head.floor_after(medium, None)? {
        let after = pictures::beside(path, "floor-after");
        files::write(&after, &floor_map(&picture), Existing::Replace)?;
        text.heading(&format!("Picture of the floor afterwards: {}", after.display()));
    }
    if let Some(picture) = head.who_carries(medium) {
        let carried = pictures::beside(path, "who-carries");
        files::write(&carried, &carried_map(&picture), Existing::Replace)?;
        text.heading(&format!("Picture of who carries what: {}", carried.display()));
    }
    Ok(())
}
