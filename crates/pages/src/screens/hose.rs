//! The builder's own hose: how far to trust it and how long to wait, and where to stand with it.

use crate::layout::{Shell, faults, typed};
use crate::respond::value_of;
use crate::view::{JobView, Worked};
use floorwright_draw::{Medium, StandsPicture, stands_map};
use floorwright_engine::hose::Hose;
use floorwright_engine::units::{Length, Seconds};
use floorwright_job::form_v1::{
    CareForm, DoorForm, FluidForm, Form, HoseKindForm, Quantity, YourHoseForm,
};
use floorwright_job::said::count;
use floorwright_job::told::{Part, Side, Table, Told};
use floorwright_job::{hose_told, stands_told};
use maud::{Markup, html};

/// A swing is timed to be longer than nothing and shorter than this; a choice.
const LONGEST_SWING: f64 = 600.0;

/// The page.
pub fn page(shell: &Shell<'_>, job: &JobView, query: &str) -> Markup {
    let form = &job.folded.form;
    shell.page(
        "Hose",
        &html! {
            h1 { "Your hose" }
            (faults(&job.faults))
            @match &job.worked {
                Some(worked) => (of_hose(worked, query)),
                None => p {
                    "What it can do stands here as soon as what is named above is put right. Nothing that was entered is lost."
                },
            }
            (hose_form(job))
            h2 { "Where to stand with it" }
            @if let Some(worked) = &job.worked { (stands(worked)) }
            (doors(form))
            (obstacles(form))
        },
    )
}

fn of_hose(worked: &Worked, query: &str) -> Markup {
    let input = &worked.input.hose;
    let typed = value_of(query, "swing").filter(|typed| !typed.trim().is_empty());
    let seen = typed.as_deref().map(seen_swing);
    match input.figures(seen.flatten()) {
        Ok(figures) => html! {
            @if let (Some(typed), Some(None)) = (&typed, seen) {
                p .warn role="status" {
                    "\u{201c}" (typed.trim()) "\u{201d} is no time of a swing: write the seconds from one top to the next, more than 0 and less than "
                    (LONGEST_SWING) ", such as 9; or 0 if it did not swing."
                }
            }
            (told(&hose_told::told(input, &figures, worked.words())))
            form action="hose" method="get" {
                label { "A swing that you timed, from top to top, in seconds (0: it did not swing)"
                    input name="swing" inputmode="decimal" required[true] value=[typed]; }
                button type="submit" { "Judge the swing" }
            }
        },
        Err(outside) => html! {
            p .warn { (outside.to_string()) ". Nothing is said of a hose outside of what was checked." }
        },
    }
}

/// The seconds of a swing as they were timed; nothing inside for none, and nothing at all if it is no
/// time of a swing.
fn seen_swing(typed: &str) -> Option<Option<Seconds>> {
    let number = typed.trim().trim_end_matches('s').trim_end().replace(',', ".");
    let seconds: f64 = number.parse().ok()?;
    match seconds {
        0.0 => Some(None),
        _ if seconds > 0.0 && seconds < LONGEST_SWING => Some(Some(Seconds::new(seconds))),
        _ => None,
    }
}

fn stands(worked: &Worked) -> Markup {
    let (input, job) = (&worked.input, &worked.job);
    match stands_told::plan_of(input, job) {
        Ok(plan) => {
            let picture = StandsPicture::of(input, job, &plan, Medium::Screen);
            html! {
                (crate::pictures::framed(&stands_map(&picture)))
                (told(&stands_told::told(input, job, &plan, true)))
            }
        }
        Err(why) => html! {
            p .warn { "The survey cannot be planned: " (why.to_string()) " – " (why.hint()) }
        },
    }
}

/// The first parts of what was told stand open, and those that warn; the others open at a touch.
const OPEN: usize = 2;

/// What was told, as a page has it: a part for each heading.
fn told(told: &Told) -> Markup {
    let is_heading = |part: &Part| matches!(part, Part::Heading(_));
    let parts: Vec<&[Part]> = told.0.chunk_by(|_, next| !is_heading(next)).collect();
    html! {
        @for (idx, part) in parts.into_iter().enumerate() {
            @match part.split_first() {
                Some((Part::Heading(heading), rest)) if idx < OPEN || rest.iter().any(warns) => {
                    h3 { (heading) } (body(rest))
                },
                Some((Part::Heading(heading), rest)) => {
                    details { summary { (heading) } (body(rest)) }
                },
                _ => (body(part)),
            }
        }
    }
}

fn warns(part: &Part) -> bool {
    match part {
        Part::Item { mark, .. } => mark == "!",
        Part::Say(text) => text.starts_with('!'),
        Part::Heading(_) | Part::Table(_) => false,
    }
}

fn body(parts: &[Part]) -> Markup {
    html! {
        @for part in parts {
            @match part {
                Part::Heading(text) => h3 { (text) },
                Part::Say(text) => p .warn[warns(part)] { (text.trim_start_matches("! ")) },
                Part::Item { text, .. } if warns(part) => p .warn { (text) },
                Part::Item { mark, text } => p .entry { @if mark != "-" { (mark) " " } (text) },
                Part::Table(table) => (rows(table)),
            }
        }
    }
}

fn rows(table: &Table) -> Markup {
    let headings: Vec<&str> = table.headings.iter().map(|(heading, _)| heading.as_str()).collect();
    let label = format!("Table: {}", headings.join(", "));
    html! {
        div .wide tabindex="0" role="region" aria-label=(label) { table {
            thead { tr { @for (heading, side) in &table.headings {
                th scope="col" .words[*side == Side::Left] { (heading) }
            } } }
            tbody {
                @for row in &table.rows {
                    tr { @for (cell, (_, side)) in row.iter().zip(&table.headings) {
                        td .words[*side == Side::Left] { (cell) }
                    } }
                }
            }
        } }
    }
}

fn hose_form(job: &JobView) -> Markup {
    let form = &job.folded.form;
    let words = job.words();
    let hose = form.hose.clone().unwrap_or_default();
    let usual = Hose::default();
    let of = |quantity: &Option<Quantity>| quantity.as_ref().map(typed);
    let one_of =
        |pair: &Option<[Quantity; 2]>, idx: usize| pair.as_ref().map(|pair| typed(&pair[idx]));
    let leg = |idx: usize| hose.leg_temperatures.map(|legs| legs[idx]);
    let list = |test: &[Quantity]| test.iter().map(typed).collect::<Vec<_>>().join("; ");
    let YourHoseForm { kind, fluid, care, .. } = &hose;
    let is_twin = matches!(kind, Some(HoseKindForm::Twin));
    let small = |length: Length| words.exact(length);
    html! {
        details open[form.hose.is_none() || job.worked.is_none()] {
            summary { "What it is made of" }
            form data-make="hose" data-form=(serde_json::to_string(&hose).unwrap_or_default()) {
                label { "Kind"
                    select name="kind" {
                        (choice("pail", "one tube on a pail", !is_twin && !hose.fixed_mark))
                        (choice("mark", "one tube on a pail, slid to a fixed mark", !is_twin && hose.fixed_mark))
                        (choice("twin", "two equal tubes, both read at once", is_twin && !hose.one_end))
                        (choice("one-end", "two equal tubes, one of them read", is_twin && hose.one_end))
                    }
                }
                label { "Inside width of the tube (" (small(usual.bore)) ")" input name="bore" value=[of(&hose.bore)]; }
                label { "Length from end to end (" (words.long_exact(usual.length)) ")" input name="length" value=[of(&hose.length)]; }
                label { "Inside width of a round pail at its water line (" (small(Length::mm(200.0))) "; nothing for two tubes)"
                    input name="reservoir" value=[of(&hose.reservoir)]; }
                label { "Filled with"
                    select name="fluid" {
                        (choice("water", "water", matches!(fluid, None | Some(FluidForm::Water))))
                        (choice("dyed-water", "dyed water", matches!(fluid, Some(FluidForm::DyedWater))))
                        (choice("propylene-glycol", "propylene glycol mix", matches!(fluid, Some(FluidForm::PropyleneGlycol))))
                        (choice("ethylene-glycol", "ethylene glycol mix", matches!(fluid, Some(FluidForm::EthyleneGlycol))))
                    }
                }
                label { "Share of glycol by mass (30 % of a mix)" input name="glycol" value=[of(&hose.glycol)]; }
                label { "How warm the water is, degrees Celsius (20)"
                    input name="temperature" inputmode="decimal" value=[hose.temperature]; }
                label { "The leg at the other end, degrees Celsius, if it was measured" input name="leg_near" inputmode="decimal" value=[leg(0)]; }
                label { "The leg at the staff, degrees Celsius, if it was measured" input name="leg_far" inputmode="decimal" value=[leg(1)]; }
                label { "How deep the legs hang, water line to floor (" (words.long_exact(usual.leg)) ")" input name="leg" value=[of(&hose.leg)]; }
                label { "The tube can be read from, above the foot of the staff (" (small(usual.reads.0)) ")" input name="reads_from" value=[one_of(&hose.reads, 0)]; }
                label { "The tube can be read up to (" (small(usual.reads.1)) ")" input name="reads_to" value=[one_of(&hose.reads, 1)]; }
                label { "Read to the nearest (" (small(usual.read_to)) ")" input name="read_to" value=[of(&hose.read_to)]; }
                label { "The end goes up or down from point to point by at most (" (small(usual.largest_move)) ")"
                    input name="largest_move" value=[of(&hose.largest_move)]; }
                label { "Read when it is within this of its rest (" (small(usual.settle_to)) ")"
                    input name="settle_to" value=[of(&hose.settle_to)]; }
                label { "Carried from point to point"
                    select name="carried" {
                        (choice("open", "open", !hose.capped))
                        (choice("closed", "closed, and opened to read", hose.capped))
                    }
                }
                label { "How it is read"
                    select name="care" {
                        (choice("casual", "as one does in passing", matches!(care, None | Some(CareForm::Casual))))
                        (choice("careful", "by all the rules below", matches!(care, Some(CareForm::Careful))))
                    }
                }
                label { "Field test: ten differences of height or more, with ; between them" input name="test_first" value=(list(&hose.test)); }
                label { "Field test: as many of the second set" input name="test_second" value=(list(&hose.test_swapped)); }
                button .main type="submit" { "This is my hose" }
            }
            p .hint { "What is left empty takes the figure in brackets. Write the unit: 12 mm, 1/2\", 25 m." }
        }
    }
}

fn choice(word: &str, said: &str, is: bool) -> Markup {
    html! { option value=(word) selected[is] { (said) } }
}

fn doors(form: &Form) -> Markup {
    let list = |doors: &[DoorForm]| serde_json::to_string(doors).unwrap_or_default();
    let place = |door: &DoorForm| {
        door.at.as_ref().map_or("without a place".to_owned(), |at| {
            format!("at {}, {}", typed(&at[0]), typed(&at[1]))
        })
    };
    let without = |idx: usize| -> Vec<DoorForm> {
        let others = form.door.iter().enumerate().filter(|(other, _)| *other != idx);
        others.map(|(_, door)| door.clone()).collect()
    };
    html! {
        details {
            summary { (count(form.door.len(), "doorway", "doorways")) }
            p .hint { "With doorways marked, every line round a room is a wall to the hose. Without any, walls do not count." }
            @for (idx, door) in form.door.iter().enumerate() {
                form data-make="doors" data-form=(list(&without(idx))) {
                    button type="submit" { "Take out the doorway " (place(door)) }
                }
            }
            form data-make="door" data-form=(list(&form.door)) {
                label { "Its middle, from the left" input name="x" inputmode="decimal" required[true]; }
                label { "Its middle, from the bottom" input name="y" inputmode="decimal" required[true]; }
                label { "Clear width (800 mm)" input name="width" inputmode="decimal"; }
                button type="submit" { "Add the doorway" }
            }
        }
    }
}

fn obstacles(form: &Form) -> Markup {
    html! {
        details {
            summary { (count(form.obstacle.len(), "thing", "things")) " in the way of a hose" }
            @for obstacle in &form.obstacle {
                button type="button" data-did="remove" data-kind="obstacle" data-name=(obstacle.name) {
                    "Take out " (obstacle.name)
                }
            }
            form data-make="obstacle" {
                label { "What it is" input name="name" placeholder="chimney" required[true]; }
                (crate::screens::site::rectangle(form))
                button type="submit" { "It is in the way" }
            }
        }
    }
}
