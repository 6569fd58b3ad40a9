//! The plan as a drawing for other programs: DXF, release 12 (AC1009).
//!
//! Everything is in millimetres, x to the right and y up as on the plan. A level is the z of its point,
//! and of its contour.

use crate::table::rounded;
use crate::{File, Source};
use floorwright_draw::PROGRAM;
use floorwright_engine::plan::{LiftingStage, Plan, StageName};
use floorwright_engine::site::Position;
use floorwright_engine::surface::{Contours, contour_interval, contour_interval_in_inches};
use floorwright_engine::target::Outcome;
use floorwright_engine::units::{Length, Level};
use floorwright_job::measure::Unit;
use floorwright_job::not_yet::not_yet;
use floorwright_job::said::{count, counted_from, why};
use floorwright_job::words::Words;
use std::fmt::Write;

/// Height of a letter: 2.5 mm on a print of 1 to 50.
const LETTER: f64 = 125.0;
/// Radius of the circle of a support.
const SUPPORT: f64 = 100.0;

/// A layer and its colour, by the numbers of the format (1 red, 3 green, 4 cyan, 5 blue, 7 black or
/// white, 8 grey).
struct Layer(&'static str, u8);

const ROOMS: Layer = Layer("ROOMS", 7);
const CONTOURS: Layer = Layer("CONTOURS", 8);
const LEVELS: Layer = Layer("LEVELS", 5);
const SUPPORTS: Layer = Layer("SUPPORTS", 3);
const LIFTS: Layer = Layer("LIFTS", 1);
const NOTES: Layer = Layer("NOTES", 7);
const LAYERS: [Layer; 6] = [ROOMS, CONTOURS, LEVELS, SUPPORTS, LIFTS, NOTES];

pub(crate) fn file(source: &Source<'_>) -> File {
    let words = source.words();
    let mut drawing = Drawing::default();
    for room in source.job.site.rooms() {
        drawing.line(&ROOMS, room.outline.corners(), Level::DATUM, true);
    }
    if let Some(contours) = contours(source) {
        for contour in &contours.lines {
            drawing.line(&CONTOURS, &contour.places, contour.level, contour.closed);
            if let Some(&place) =
                contour.places.get(contour.places.len() / 2).filter(|_| contour.is_index)
            {
                drawing.text(
                    &CONTOURS,
                    place,
                    0.0,
                    contour.level,
                    &words.level_number(contour.level),
                );
            }
        }
    }
    levels(&mut drawing, source, words);
    supports(&mut drawing, source, words);
    notes(&mut drawing, source);
    let about =
        "The plan in millimetres, with levels, contours, supports and lifts on layers.".to_owned();
    File { name: "plan.dxf".to_owned(), about, bytes: drawing.finish().into_bytes() }
}

/// Contours of all decks, at an interval that suits the one that is most out of level.
fn contours(source: &Source<'_>) -> Option<Contours> {
    let left = source.to_work_by();
    let plan = left.as_ref().map_or(source.plan, |(left, _)| left.plan);
    let shape = plan.floor.done()?;
    let ranges = shape.decks.iter().map(|deck| deck.spread.range);
    let range = ranges.max_by(Length::total_cmp)?;
    let interval = match source.input.units {
        Unit::Millimetres | Unit::Metres => contour_interval(range),
        Unit::FeetInches => contour_interval_in_inches(range),
    };
    shape.surface.contours(Some(interval)).ok()
}

fn levels(drawing: &mut Drawing, source: &Source<'_>, words: Words) {
    let mut written: Vec<Position> = Vec::new();
    let left = source.to_work_by();
    let plan = left.as_ref().map_or(source.plan, |(left, _)| left.plan);
    for level in plan.reduction.levels.points() {
        let Some(at) = source.job.site.point(&level.point).and_then(|point| point.at) else {
            continue;
        };
        // Points in one place are written one above the other.
        let below = written.iter().filter(|known| known.distance(at).to_mm() < LETTER).count();
        let up = 0.6 + 2.6 * below as f64;
        written.push(at);
        drawing.point(&LEVELS, at, level.level);
        drawing.text(&LEVELS, at, up, level.level, &words.level_number(level.level));
        drawing.text(&LEVELS, at, up + 1.2, level.level, level.point.as_str());
    }
}

fn supports(drawing: &mut Drawing, source: &Source<'_>, words: Words) {
    let left = source.to_work_by().ok().map(|(left, _)| left.plan);
    let not_yet = left.map(|plan| not_yet(plan, source.record)).unwrap_or_default();
    let lifts = left.and_then(lifts).filter(|_| source.stops().is_empty());
    for (idx, support) in source.job.site.supports().iter().enumerate() {
        drawing.circle(&SUPPORTS, support.at);
        drawing.text(&SUPPORTS, support.at, -1.8, Level::DATUM, support.id.as_str());
        if let Some(&lift) = lifts.and_then(|lifts| lifts.get(idx)) {
            drawing.text(&LIFTS, support.at, -3.0, Level::DATUM, &words.signed(lift));
            if let Some(why) = not_yet.get(&support.id) {
                drawing.text(&NOTES, support.at, -4.2, Level::DATUM, why.mark());
            }
        }
    }
}

/// The lifts that the packers give.
fn lifts(plan: &Plan) -> Option<&[Length]> {
    let reached = |lifting: &LiftingStage| matches!(lifting.outcome, Outcome::Reached(_));
    plan.lifting.done().filter(|lifting| reached(lifting))?;
    Some(&plan.packing.done()?.lifts)
}

/// What a drawing has to say of itself, under the plan.
fn notes(drawing: &mut Drawing, source: &Source<'_>) {
    let words = source.words();
    let corner = Position { x: Length::mm(drawing.least.0), y: Length::mm(drawing.least.1) };
    let mut notes = vec![
        source.input.name.clone(),
        counted_from(source.job, words),
        format!("Plan in millimetres; levels in {}, up positive.", words.level_unit()),
        format!("{PROGRAM}, data {}", source.data_sha256),
    ];
    if let Ok((left, n_done)) = source.to_work_by()
        && let Some(lifting) = left.plan.lifting.done()
    {
        let from = &lifting.target.from;
        if source.stops().is_empty() && lifts(left.plan).is_some() {
            notes.push(match n_done {
                0 => format!("Lifts to {from}."),
                _ => format!(
                    "Lifts that are left after {}, to {from}.",
                    count(n_done, "pass", "passes")
                ),
            });
        } else if source.stops().is_empty() {
            let why = why(left.plan, StageName::Lift, words);
            notes.push(format!("No lifts to {from}: {why}"));
        }
        let not_yet = not_yet(left.plan, source.record);
        notes.extend(
            not_yet.iter().map(|(support, why)| format!("{support} {} {}", why.mark(), why.said())),
        );
    }
    if let Ok((_, n_done @ 1..)) = source.to_work_by() {
        notes.push(format!(
            "Levels and contours by the readings after {}.",
            count(n_done, "pass", "passes")
        ));
    }
    notes.push(
        "Lifts have to be confirmed by who is entitled to before anybody lifts by them.".to_owned(),
    );
    notes.extend(source.stops().iter().map(|stop| format!("No lifts: {stop}")));
    for (idx, note) in notes.iter().enumerate() {
        let down = 5.0 + 1.6 * idx as f64;
        drawing.text(&NOTES, corner, -down, Level::DATUM, note);
    }
}

/// Entities in the making, with the corners of what they cover.
struct Drawing {
    entities: String,
    least: (f64, f64),
    most: (f64, f64),
}

impl Default for Drawing {
    fn default() -> Self {
        let (least, most) =
            ((f64::INFINITY, f64::INFINITY), (f64::NEG_INFINITY, f64::NEG_INFINITY));
        Self { entities: String::new(), least, most }
    }
}

/// A group: its code on a line of its own, then its value.
fn group(text: &mut String, code: u16, value: impl std::fmt::Display) {
    // Writing to a string does not fail.
    let _ = write!(text, "{code:>3}\r\n{value}\r\n");
}

impl Drawing {
    fn entity(&mut self, kind: &str, layer: &Layer) {
        group(&mut self.entities, 0, kind);
        group(&mut self.entities, 8, layer.0);
    }

    fn place(&mut self, (x, y): (f64, f64), level: Level) {
        self.least = (self.least.0.min(x), self.least.1.min(y));
        self.most = (self.most.0.max(x), self.most.1.max(y));
        for (code, value) in [(10, x), (20, y), (30, level.to_mm())] {
            group(&mut self.entities, code, rounded(value, 3));
        }
    }

    fn point(&mut self, layer: &Layer, at: Position, level: Level) {
        self.entity("POINT", layer);
        self.place(xy(at), level);
    }

    fn circle(&mut self, layer: &Layer, at: Position) {
        self.entity("CIRCLE", layer);
        self.place(xy(at), Level::DATUM);
        group(&mut self.entities, 40, SUPPORT);
    }

    /// Text to the right of a place, so many letters above it.
    fn text(&mut self, layer: &Layer, at: Position, up: f64, level: Level, text: &str) {
        self.entity("TEXT", layer);
        let (x, y) = xy(at);
        self.place((x + LETTER, y + up * LETTER), level);
        group(&mut self.entities, 40, LETTER);
        group(&mut self.entities, 1, escaped(text));
    }

    /// A line through places, all at one level.
    fn line(&mut self, layer: &Layer, places: &[Position], level: Level, closed: bool) {
        self.entity("POLYLINE", layer);
        group(&mut self.entities, 66, 1);
        // The place of the line itself is a dummy, but for its level.
        for (code, value) in [(10, 0.0), (20, 0.0), (30, rounded(level.to_mm(), 3))] {
            group(&mut self.entities, code, value);
        }
        group(&mut self.entities, 70, u8::from(closed));
        for &place in places {
            self.entity("VERTEX", layer);
            self.place(xy(place), level);
        }
        self.entity("SEQEND", layer);
    }

    fn finish(self) -> String {
        let mut text = String::new();
        let mut put = |code: u16, value: &dyn std::fmt::Display| group(&mut text, code, value);
        let finite = |number: f64| if number.is_finite() { rounded(number, 3) } else { 0.0 };
        put(0, &"SECTION");
        put(2, &"HEADER");
        put(9, &"$ACADVER");
        put(1, &"AC1009");
        for (name, (x, y)) in [("$EXTMIN", self.least), ("$EXTMAX", self.most)] {
            put(9, &name);
            for (code, value) in [(10, finite(x)), (20, finite(y)), (30, 0.0)] {
                put(code, &value);
            }
        }
        put(0, &"ENDSEC");
        put(0, &"SECTION");
        put(2, &"TABLES");
        put(0, &"TABLE");
        put(2, &"LAYER");
        put(70, &LAYERS.len());
        for Layer(name, colour) in LAYERS {
            put(0, &"LAYER");
            put(2, &name);
            put(70, &0);
            put(62, &colour);
            put(6, &"CONTINUOUS");
        }
        put(0, &"ENDTAB");
        put(0, &"ENDSEC");
        put(0, &"SECTION");
        put(2, &"ENTITIES");
        text.push_str(&self.entities);
        let mut put = |code: u16, value: &dyn std::fmt::Display| group(&mut text, code, value);
        put(0, &"ENDSEC");
        put(0, &"EOF");
        text
    }
}

fn xy(at: Position) -> (f64, f64) {
    (at.x.to_mm(), at.y.to_mm())
}

/// Text on one line, in letters that every reader of the format has: others are written by their
/// number, as `\U+00E4`.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            // A caret begins a control character.
            '^' => out.push_str("^ "),
            ' '..='~' => out.push(letter),
            _ if letter.is_control() => out.push(' '),
            _ => {
                let mut units = [0; 2];
                for unit in letter.encode_utf16(&mut units) {
                    let _ = write!(out, "\\U+{unit:04X}");
                }
            }
        }
    }
    out
}
