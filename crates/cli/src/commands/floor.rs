//! `floorwright floor`: the shape of the floor, and the floor held against criteria.

use crate::args;
use crate::commands::levels::read_again;
use crate::commands::{pictures, stage};
use crate::exit::{CHECK_FAILED, OK, Stop, USAGE};
use crate::files::{self, Existing};
use crate::report::{Report, Text, WIDTH, envelope, footing};
use crate::session::open;
use crate::text::table::{Side, Table, wrap};
use floorwright_draw::{Medium, Paper, profile, terminal_map};
use floorwright_engine::plan::{DeckShape, FloorShape, Plan, StageName, plan};
use floorwright_engine::site::Position;
use floorwright_engine::surface::ProfilePoint;
use floorwright_engine::units::Length;
use floorwright_engine::verdict::{Outcome, Verdict};
use floorwright_job::measure::{DecimalMark, Unit, parse_length};
use floorwright_job::practice::criteria;
use floorwright_job::said;
use floorwright_job::said::count;
use floorwright_job::words::Words;

/// Distance between the places of a printed profile.
const PROFILE_STEP: Length = Length::mm(600.0);

/// Runs the command.
pub fn run(args: &args::Floor, colour: bool) -> Result<Report, Stop> {
    let session = open(&args.job.job)?;
    let plan = plan(&session.job);
    let words = Words::of(&session.input);
    let unit = session.input.units;
    let mut text = Text::default();
    text.heading(&format!("Floor: {}", session.input.name));
    read_again(&mut text, &session, &plan, words);
    let mut profiles = Vec::new();
    if let Some(shape) = stage(&mut text, &plan, StageName::Floor, &plan.floor, words) {
        for deck in &shape.decks {
            say_deck(&mut text, deck, shape.decks.len() > 1, words);
        }
        let interval =
            args.interval.as_deref().map(|given| length(given, unit, "--interval")).transpose()?;
        let head = pictures::Head::of(&session, &plan);
        let picture = head.floor_now(Medium::Screen, interval)?;
        text.heading("Map");
        for line in terminal_map(&picture, colour).lines() {
            // The map itself fits; its legend, which has no colour in it, may be long.
            let is_long = line.chars().count() > WIDTH && !line.contains('\u{1b}');
            let lines = if is_long { wrap(line, WIDTH, 2) } else { vec![line.to_owned()] };
            text.verbatim(&lines.join("\n"));
        }
        let mut sections = Vec::new();
        for line in &args.profile {
            let (from, to) = profile_line(line, unit)?;
            sections.push((from, to));
            let places = shape.surface.profile(from, to, PROFILE_STEP);
            say_profile(&mut text, line, &places, words);
            profiles.push(places);
        }
        if shape.outline_assumed {
            text.say(
                "No room is given, so the floor is taken to end at the outermost readings: a \
                 [[room]] with its outline tells more.",
            );
        }
        suggest(&mut text, shape, words);
        if let Some(path) = &args.picture {
            let medium = if args.phone { Medium::Screen } else { Medium::Sheet(Paper::A4) };
            let svg = floorwright_draw::floor_map(&head.floor_now(medium, interval)?);
            files::write(path, &svg, Existing::Replace)?;
            text.heading(&format!("Picture: {}", path.display()));
            for (number, (from, to)) in (1..).zip(sections) {
                if let Some(section) = head.section(medium, from, to) {
                    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
                    let path = path.with_file_name(format!("{stem}-section-{number}.svg"));
                    files::write(&path, &profile(&section), Existing::Replace)?;
                    text.say(format!("Section: {}", path.display()));
                }
            }
        }
    }
    say_verdicts(&mut text, &plan, words);
    if args.all_criteria {
        list_criteria(&mut text);
    }
    footing(&mut text, &session);
    let fails = plan.verdicts.iter().any(|verdict| verdict.outcome == Outcome::DoesNot);
    let json = move || {
        let contours = plan.floor.done().and_then(|shape| shape.surface.contours(None).ok());
        envelope(
            "floor",
            &session,
            serde_json::json!({
                "floor": plan.floor, "contours": contours, "profiles": profiles,
                "verdicts": plan.verdicts,
            }),
        )
    };
    Ok(Report {
        text,
        json: Box::new(json),
        exit: if args.strict && fails { CHECK_FAILED } else { OK },
    })
}

/// A length typed on the command line, in the job's unit unless it brings its own.
pub fn length(text: &str, unit: Unit, option: &str) -> Result<Length, Stop> {
    parse_length(text, unit, DecimalMark::Point)
        .map(|exact| exact.to_length())
        .map_err(|error| Stop::new(USAGE, format!("{option}: {error}")).hint(error.hint()))
}

fn profile_line(text: &str, unit: Unit) -> Result<(Position, Position), Stop> {
    let usage = || {
        Stop::new(USAGE, format!("--profile: \"{text}\" is not a line"))
            .hint("write X1,Y1:X2,Y2, for example --profile 0,0:10800,0")
    };
    let place = |text: &str| -> Result<Position, Stop> {
        let (x, y) = text.split_once(',').ok_or_else(usage)?;
        Ok(Position {
            x: length(x.trim(), unit, "--profile")?,
            y: length(y.trim(), unit, "--profile")?,
        })
    };
    let (from, to) = text.split_once(':').ok_or_else(usage)?;
    Ok((place(from)?, place(to)?))
}

fn say_deck(text: &mut Text, deck: &DeckShape, several: bool, words: Words) {
    let spread = &deck.spread;
    text.heading(&if several {
        format!("Deck {}: {} out of level", deck.name, words.length(spread.range))
    } else {
        format!("The floor is {} out of level", words.length(spread.range))
    });
    text.say(format!(
        "Highest {} at {}, lowest {} at {}: {} ± {} apart, over {}.",
        spread.highest.point,
        words.level(spread.highest.level),
        spread.lowest.point,
        words.level(spread.lowest.level),
        words.length(spread.range),
        words.plus_minus(spread.sd),
        count(deck.n_points, "point", "points"),
    ));
    for sentence in said::deck(deck, words) {
        text.say(sentence);
    }
}

fn say_profile(text: &mut Text, line: &str, places: &[ProfilePoint], words: Words) {
    text.heading(&format!("Profile {line}, levels in {}", words.level_unit()));
    let columns =
        [("Along", Side::Right), ("Level", Side::Right), ("±", Side::Right), ("", Side::Left)];
    let mut table = Table::new(&columns);
    for place in places {
        let along = format!("{:.2} m", place.along.to_m());
        table.row(match &place.height {
            Some(height) => [
                along,
                words.level_number(height.level),
                words.plus_minus(height.sd),
                if height.measured { String::new() } else { "beyond the readings".to_owned() },
            ],
            None => [along, "?".to_owned(), String::new(), "not known".to_owned()],
        });
    }
    text.table(&table);
}

fn suggest(text: &mut Text, shape: &FloorShape, words: Words) {
    let unknown: Vec<String> = shape
        .suggestions
        .iter()
        .map(|suggestion| {
            let known = suggestion.sd.map_or("not known today".to_owned(), |sd| {
                format!("± {} today", words.plus_minus(sd))
            });
            format!("{} ({known})", words.place(suggestion.at))
        })
        .collect();
    if !unknown.is_empty() {
        text.say(format!("More readings would tell most at: {}.", unknown.join(", ")));
    }
}

fn say_verdicts(text: &mut Text, plan: &Plan, words: Words) {
    if plan.verdicts.is_empty() {
        return;
    }
    text.heading("Held against criteria");
    for verdict in &plan.verdicts {
        text.item(mark(verdict), words.sentence(verdict.to_string()));
    }
    text.say(
        "A new-build rule does not bind an existing floor: agree in writing what this floor has \
         to meet. Each comparison keeps a guard of about 95 %.",
    );
}

fn mark(verdict: &Verdict) -> &'static str {
    match verdict.outcome {
        Outcome::Meets => "ok",
        Outcome::DoesNot => "!!",
        Outcome::CannotTell { .. } => "??",
        Outcome::Refused { .. } => "--",
    }
}

fn list_criteria(text: &mut Text) {
    text.heading("All criteria that come with the program");
    for criterion in criteria() {
        let state = if criterion.is_on() { "can be used" } else { "off" };
        text.item("-", format!("{} ({state}): {}", criterion.text().id, criterion.text()));
    }
    text.say("Put an id under [criteria] on = [\"…\"] to use it.");
}
