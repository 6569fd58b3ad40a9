//! `floorwright frame`: what each support carries today, and what a jack there has to push.

pub mod jacks;
pub mod options;
pub mod said;

use crate::args;
use crate::commands::frame::jacks::AtSupport;
use crate::commands::levels::read_again;
use crate::commands::{pictures, stage};
use crate::exit::{CHECK_FAILED, OK, Stop};
use crate::files::{self, Existing};
use crate::report::{Report, Text, cautions, envelope, footing};
use crate::session::{Session, open};
use crate::text::table::{Side, Table};
use floorwright_draw::{Medium, Paper, carried_map, jack_chart};
use floorwright_engine::frame::{Bent, Carrying, FrameState, SupportLoad};
use floorwright_engine::ids::SupportId;
use floorwright_engine::plan::{FrameStage, Plan, StageName, plan};
use floorwright_engine::units::Length;
use floorwright_job::cautions::Loads;
use floorwright_job::said::count;
use floorwright_job::words::{Words, percent};
use std::path::Path;

/// Air that is seen with a torch.
const SEEN: Length = Length::mm(1.0);

/// Runs the command.
pub fn run(args: &args::Frame) -> Result<Report, Stop> {
    let mut session = open(&args.job.job)?;
    options::apply(&args.timber, &mut session)?;
    let asked = jacks::asked(args, &session)?;
    let plan = plan(&session.job);
    let words = Words::of(&session.input);
    let mut text = Text::default();
    text.heading(&format!("The frame under the floor: {}", session.input.name));
    let n_done = session.input.done.passes.len();
    if n_done > 0 {
        text.item(
            "!",
            format!(
                "\"today\" is by the readings before the work, and {} noted as done since: the frame \
                 stands otherwise now. What is left stands in the record",
                count(n_done, "pass is", "passes are")
            ),
        );
    }
    read_again(&mut text, &session, &plan, words);
    let mut exit = CHECK_FAILED;
    let mut curves = Vec::new();
    if plan.frame.done().is_none()
        && let Some(why) =
            said::why_none(&session.job, &plan, words).filter(|_| plan.floor.done().is_some())
    {
        text.heading("No load is worked out");
        text.item("-", why);
    } else if let Some(frame) = stage(&mut text, &plan, StageName::Frame, &plan.frame, words) {
        let state = if args.in_use { &frame.in_use } else { &frame.today };
        cautions(&mut text, if state.rocks { Loads::Unknown } else { Loads::Ranges });
        if state.rocks {
            text.heading("It rocks");
            said::say_rocks(&mut text, &session.job.site, words);
        } else {
            exit = OK;
            say_state(&mut text, &session, frame, state, args.in_use, words);
            curves = jacks::work_out(&asked, &session, &plan, frame, args.in_use)?;
            for at_support in &curves {
                jacks::say(&mut text, &session, &plan, at_support, words);
            }
        }
        say_grounds(&mut text, &session, frame);
        match &args.picture {
            Some(path) if exit == OK => {
                draw(&mut text, &session, &plan, (path, args), &curves)?;
            }
            Some(path) => text.heading(&format!(
                "No picture was drawn, for nothing is known of the loads: {} was left as it was",
                path.display()
            )),
            None => {}
        }
    }
    footing(&mut text, &session);
    let in_use = args.in_use;
    let json = move || {
        let result = serde_json::json!({ "frame": plan.frame, "in_use": in_use, "jacks": curves });
        envelope("frame", &session, result)
    };
    Ok(Report { text, json: Box::new(json), exit })
}

/// Draws who carries what, and the force at each jack that was asked for.
fn draw(
    text: &mut Text,
    session: &Session,
    plan: &Plan,
    (path, args): (&Path, &args::Frame),
    curves: &[AtSupport],
) -> Result<(), Stop> {
    let medium = if args.phone { Medium::Screen } else { Medium::Sheet(Paper::A4) };
    let head = pictures::Head::of(session, plan);
    let (Some(frame), Some(picture)) =
        (plan.frame.done(), head.frame_today(pictures::medium(session, args.phone)))
    else {
        return Ok(());
    };
    files::write(path, &carried_map(&picture), Existing::Replace)?;
    text.heading(&format!(
        "Picture of who carries what today, the house empty: {}",
        path.display()
    ));
    for at in curves {
        let picture = jacks::picture(session, frame, args.in_use, at, (&head, medium))?;
        let path = pictures::beside(path, &format!("jack-{}", at.support()));
        files::write(&path, &jack_chart(&picture), Existing::Replace)?;
        text.say(format!("a jack at {}: {}", at.support(), path.display()));
    }
    Ok(())
}

/// What is carried, how many supports carry nothing, and where timbers are bent most.
fn say_state(
    text: &mut Text,
    session: &Session,
    frame: &FrameStage,
    state: &FrameState,
    in_use: bool,
    words: Words,
) {
    let house = if in_use { "with people and furniture in" } else { "the house empty" };
    lead(text, state, house, words);
    said::say_doubts(text, session, frame, words);
    let other = if in_use { &frame.today } else { &frame.in_use };
    text.say(format!(
        "All of it weighs {}, {house}; {} {}.",
        words.force(state.total),
        words.force(other.total),
        if in_use { "empty" } else { "with people and furniture in" },
    ));
    for (what, [springy, set]) in [("bearer", &state.bearer), ("joist", &state.joist)] {
        if let Some(sentence) =
            bent_today(what, springy.as_ref(), set.as_ref(), session, frame, words)
        {
            text.say(sentence);
        }
    }
    say_beyond_limit(text, session, frame, state);
    let found = said::bent_in_state(state, frame.frame.spec());
    said::say_may_break(text, found, said::LIFT_LESS);
    say_if_it_should_have_broken(text, state);
    support_table(text, frame, state, house, words);
    say_air_to_look_for(text, session, frame, state, words);
    text.say(said::what_set_means(frame.frame.spec()));
}

/// How many supports carry nothing, by name.
fn lead(text: &mut Text, state: &FrameState, house: &str, words: Words) {
    let with = |carrying: Carrying| -> Vec<&SupportId> {
        let all = state.supports.iter().filter(|load| load.carrying == carrying);
        all.map(|load| &load.support).collect()
    };
    text.heading(&said::how_many_hang(state, &format!("today, {house}"), words));
    for (what, who) in
        [("carry nothing", with(Carrying::Hangs)), ("may carry nothing", with(Carrying::MayHang))]
    {
        if !who.is_empty() {
            text.item("!", format!("{what}: {}", said::names(who)));
        }
    }
}

/// The most bent timber of a kind, at both ends of the set share.
fn bent_today(
    what: &str,
    springy: Option<&Bent>,
    set: Option<&Bent>,
    session: &Session,
    frame: &FrameStage,
    words: Words,
) -> Option<String> {
    let spec = frame.frame.spec();
    let say = |bent: &Bent| {
        let place = said::place_of(bent, spec, &session.job.site, words);
        format!("{place}, to {}", said::how_bent(bent))
    };
    let (springy, set) = (say(springy?), say(set?));
    Some(if springy == set || said::one_share(spec).is_some() {
        format!("Most bent {what}: {set}.")
    } else {
        format!("Most bent {what}: if it springs, {springy}; if it has set, {set}.")
    })
}

/// Says which loads the bending is for, and if it is beyond what passes allow of timber as it stands.
fn say_beyond_limit(text: &mut Text, session: &Session, frame: &FrameStage, state: &FrameState) {
    let limit = session.job.limits.bending_share.value;
    let shares = state.bearer.iter().chain(&state.joist).flatten().filter_map(|bent| bent.share);
    let most = shares.fold(0.0, f64::max);
    if most > limit {
        text.item(
            "!",
            format!(
                "bent beyond {} of the strength, the limit of this job, as it stands: lift with care \
                 there, or ask an engineer",
                percent(limit)
            ),
        );
    }
    let doubt = frame.frame.spec().load_doubt;
    if doubt > 0.0 && most > 0.0 {
        text.say(format!(
            "That is under the loads as given or assumed; the passes are checked with {} more as \
             well, and then it is bent more.",
            percent(doubt)
        ));
    }
}

/// A timber that stands is not bent to more than it bears: then something assumed is not so.
fn say_if_it_should_have_broken(text: &mut Text, state: &FrameState) {
    let found = state.bearer.iter().chain(&state.joist).flatten();
    let mut shares = found.filter_map(|bent| bent.share);
    if shares.any(|share| share > 1.0) {
        text.item(
            "!",
            "a timber that stands is not bent beyond its strength: where it says so, something \
             assumed is not so. Look there first: a reading, a section, a missing support, or sag \
             that has set.",
        );
    }
}

fn support_table(
    text: &mut Text,
    frame: &FrameStage,
    state: &FrameState,
    house: &str,
    words: Words,
) {
    text.heading(&format!("What each {} carries, {house}, in kN", words.supports().0));
    let has_gaps = state.supports.iter().any(|load| load.gap.1 > Length::ZERO);
    let kept = said::one_share(frame.frame.spec()).map(|kept| format!("{} kept", percent(kept)));
    let mut columns = vec![(words.support(), Side::Left)];
    match &kept {
        Some(kept) => columns.push((kept, Side::Right)),
        None => columns.extend([("Springs", Side::Right), ("Has set", Side::Right)]),
    }
    columns.push(("Range", Side::Right));
    if has_gaps {
        columns.push(("Air under bearer", Side::Right));
    }
    columns.extend([("Pressed", Side::Right), ("", Side::Left)]);
    let mut table = Table::new(&columns);
    for (idx, load) in state.supports.iter().enumerate() {
        let mut cells = vec![load.support.to_string(), words.force_number(load.springy)];
        if kept.is_none() {
            cells.push(words.force_number(load.set));
        }
        cells.push(words.force_range(load.range));
        if has_gaps {
            cells.push(air(load, words));
        }
        cells.push(pressed(load));
        let not_read = frame.not_read.contains(&idx);
        let note = if not_read { "; floor not read here" } else { "" };
        cells.push(format!("{}{note}", floorwright_job::said::carrying(load.carrying)));
        table.row(cells);
    }
    text.table(&table);
    let known = state.supports.iter().any(|load| load.bearing_share.is_some());
    text.say(format!(
        "{} Pressed: stress across the grain of the bearer at the most that is carried, {}.",
        words.kilonewton(),
        if known { "as a share of its strength" } else { "in N/mm²: its strength is not known" },
    ));
}

/// Air that timber would leave if it springs, where none was given: that can be seen.
fn say_air_to_look_for(
    text: &mut Text,
    session: &Session,
    frame: &FrameStage,
    state: &FrameState,
    words: Words,
) {
    let sites = session.job.site.supports();
    let no_gap = sites.iter().filter(|site| site.gap <= Length::ZERO).count();
    let looked_for = sites.iter().zip(&state.supports).enumerate().filter(|(idx, (site, load))| {
        site.gap <= Length::ZERO && load.gap.1 > SEEN && !frame.not_read.contains(idx)
    });
    let at: Vec<&SupportId> = looked_for.map(|(_, (site, _))| &site.id).collect();
    if !at.is_empty() {
        text.item(
            "!",
            format!(
                "look for air at {}: the job gives no gap there, and timber that springs would have \
                 left one. None means that the sag has set (set_share in [frame])",
                said::names(at)
            ),
        );
    }
    if no_gap > 0 {
        text.say(format!(
            "{} without a gap in the job: taken to touch the bearer today ({} in all have one).",
            count(
                no_gap,
                &format!("{} is", words.supports().0),
                &format!("{} are", words.supports().1)
            ),
            sites.len() - no_gap
        ));
    }
}

/// Air between support and bearer: least to most over the assumptions.
fn air(load: &SupportLoad, words: Words) -> String {
    let (least, most) = load.gap;
    if most <= Length::ZERO {
        String::new()
    } else if words.number(least) == words.number(most) {
        words.length(most)
    } else {
        format!("{} to {}", words.number(least), words.length(most))
    }
}

fn pressed(load: &SupportLoad) -> String {
    load.bearing_share.map_or_else(|| format!("{:.1}", load.bearing.to_n_per_mm2()), percent)
}

/// What all of it rests on, and what it leaves out.
fn say_grounds(text: &mut Text, session: &Session, frame: &FrameStage) {
    text.heading("What this rests on");
    said::where_from(text, session, frame.proposed, frame.frame.spec());
    text.heading("Figures it is worked out with");
    said::say_figures(text, session, frame.frame.spec());
    text.heading("Not in it");
    for left_out in said::NOT_MODELLED {
        text.item("-", left_out);
    }
}
