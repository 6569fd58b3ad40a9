//! What was filled in, in sentences.

use super::FrameRules;
use super::joists::Laid;
use super::walls::Raised;
use crate::frame::spec::{Bearer, Direction, Section};
use crate::units::{Length, round_to};

/// A length in whole millimetres, without its unit.
fn whole(length: Length) -> f64 {
    round_to(length.to_mm(), 1.0)
}

fn metres(length: Length) -> String {
    format!("{:.1} m", round_to(length.to_m(), 0.1))
}

pub(super) fn section(section: Section) -> String {
    format!("{} x {}", whole(section.breadth), whole(section.depth))
}

fn axis(direction: Direction) -> &'static str {
    match direction {
        Direction::X => "x",
        Direction::Y => "y",
    }
}

/// What the rules rest on, to stand at the end of a sentence.
pub(super) fn standing(rules: &FrameRules) -> &str {
    rules.source.trim().trim_end_matches('.')
}

pub(super) fn of_bearers(bearers: &[Bearer], rules: &FrameRules) -> Vec<String> {
    let mut said = Vec::new();
    for direction in [Direction::X, Direction::Y] {
        let n = bearers.iter().filter(|bearer| bearer.run.direction == direction).count();
        if n > 0 {
            said.push(format!(
                "assumed: bearers {} along {}, one on each row of supports, {n} in all, of {} ({})",
                section(rules.bearer),
                axis(direction),
                rules.bearer_timber.name,
                standing(rules),
            ));
        }
    }
    for bearer in bearers.iter().filter(|bearer| bearer.supports.len() == 1) {
        said.push(format!(
            "assumed: support {} is alone in its row and carries a bearer {} mm long, which only \
             the joists across it hold level (rule of this program)",
            bearer.supports[0],
            whole(bearer.run.length()),
        ));
    }
    for bearer in bearers.iter().filter(|bearer| !bearer.joints.is_empty()) {
        let over: Vec<&str> = bearer.joints.iter().map(|support| support.as_str()).collect();
        said.push(format!(
            "assumed: bearer {} is jointed over {}, where one deck ends and another begins (rule \
             of this program)",
            bearer.id,
            over.join(", "),
        ));
    }
    said
}

pub(super) fn of_laying(laid: &Laid) -> Vec<String> {
    let mut said = Vec::new();
    if let Some(span) = laid.long_span {
        said.push(format!(
            "assumed: joists span up to {} mm where there is floor and no bearer: a bearer or a \
             support may be missing from the job (rule of this program)",
            whole(span),
        ));
    }
    for (deck, &area) in &laid.bare {
        let area = round_to(area, 0.1);
        if area > 0.0 {
            said.push(format!(
                "left out: about {area:.1} m2 of the deck {deck} with its load, which lie beyond \
                 the joists"
            ));
        }
    }
    said
}

pub(super) fn of_walls(raised: &Raised, has_rooms: bool, rules: &FrameRules) -> Vec<String> {
    let mut said = Vec::new();
    let (where_outer, standing) = match has_rooms {
        true => ("along the outer edges of the rooms", standing(rules)),
        false => ("round the supports of each part, as no rooms are drawn", standing(rules)),
    };
    if raised.outer > Length::ZERO {
        let (length, load) = (metres(raised.outer), rules.outer_wall);
        said.push(format!("assumed: {length} of outer walls {where_outer}, {load} ({standing})"));
    }
    if raised.inner > Length::ZERO {
        let (length, load) = (metres(raised.inner), rules.inner_wall);
        said.push(format!("assumed: {length} of walls between rooms, {load} ({standing})"));
    }
    if raised.off.to_m() >= 0.05 {
        let length = metres(raised.off);
        said.push(format!("left out: {length} of walls, which stand over no joist"));
    }
    if !raised.slanted.is_empty() {
        let length = metres(raised.slanted.iter().copied().sum());
        said.push(format!(
            "left out: walls along sides of rooms, {length} in all, that run neither along x nor \
             along y"
        ));
    }
    said
}
