//! What a command has to say, as text and as JSON.

use crate::session::Session;
use crate::text::table::{Table, lines, wrap};
use floorwright_job::cautions::Loads;
use floorwright_job::told::{Part, Told};
use serde::Serialize;
use serde_json::{Value, json};

/// Widest line of text.
pub const WIDTH: usize = 80;

/// What a command has to say.
pub struct Report {
    /// Text for a person.
    pub text: Text,
    /// The same for a program, made only when it is asked for: on a large survey it is the
    /// greater part of the work.
    pub json: Box<dyn FnOnce() -> Value>,
    /// Exit code.
    pub exit: u8,
}

/// Lines of text that fit 80 columns.
#[derive(Default)]
pub struct Text {
    lines: Vec<String>,
}

impl Text {
    /// A heading with a blank line above it, unless it is the first line.
    pub fn heading(&mut self, text: &str) {
        if !self.lines.is_empty() {
            self.lines.push(String::new());
        }
        self.lines.extend(wrap(text, WIDTH, 0));
    }

    /// A paragraph, indented by two.
    pub fn say(&mut self, text: impl AsRef<str>) {
        let text = text.as_ref();
        self.lines.extend(wrap(text, WIDTH - 2, 0).into_iter().map(|line| format!("  {line}")));
    }

    /// An entry of a list, with its mark (`1.`, `-`).
    pub fn item(&mut self, mark: &str, text: impl AsRef<str>) {
        let hang = mark.chars().count() + 1;
        let text = format!("{mark} {}", text.as_ref());
        self.lines.extend(wrap(&text, WIDTH - 2, hang).into_iter().map(|line| format!("  {line}")));
    }

    /// A table.
    pub fn table(&mut self, table: &Table) {
        self.lines.extend(lines(table));
    }

    /// What was told, part by part.
    pub fn told(&mut self, told: &Told) {
        for part in &told.0 {
            match part {
                Part::Heading(text) => self.heading(text),
                Part::Say(text) => self.say(text),
                Part::Item { mark, text } => self.item(mark, text),
                Part::Table(table) => self.table(table),
            }
        }
    }

    /// Lines as they are.
    pub fn verbatim(&mut self, text: &str) {
        self.lines.extend(text.lines().map(str::to_owned));
    }

    /// All of it.
    pub fn finish(self) -> String {
        let mut text = self.lines.join("\n");
        text.push('\n');
        text
    }
}

/// The JSON of a command: schema, program, job, what was assumed, what to look at, and the result.
///
/// The schema's number changes when a field changes its meaning or goes; new fields may come.
pub fn envelope(command: &str, session: &Session, result: impl Serialize) -> Value {
    json!({
        "schema": format!("floorwright/{command}/1"),
        "program": { "name": "floorwright", "version": env!("CARGO_PKG_VERSION") },
        "units": {
            "length": "mm", "level": "mm above the datum, up positive", "time": "minutes", "wait": "seconds, as are swings",
            "residual": "adjusted less observed, mm of the staff",
            "force": "N, up positive", "load": "kN/m and kPa, down positive",
            "stress": "N/mm2", "moment": "N mm, sagging positive",
            "money": "whole cents of the job's currency, before tax unless it says otherwise",
        },
        "job": {
            "name": session.input.name, "date": session.input.date, "client": session.input.client,
        },
        "struck": session.input.struck,
        "assumptions": session.input.assumptions,
        "warnings": session.warnings,
        "result": serde_json::to_value(result).unwrap_or(Value::Null),
    })
}

/// Closes a report with what was taken for granted and what to look at.
pub fn footing(text: &mut Text, session: &Session) {
    if !session.warnings.is_empty() {
        text.heading("Look at");
        for warning in &session.warnings {
            let hint = warning.hint.as_ref().map_or(String::new(), |hint| format!(" ({hint})"));
            text.item("-", format!("{warning}{hint}"));
        }
    }
    if !session.input.struck.is_empty() {
        text.heading("Struck out, and not used");
        for reading in &session.input.struck {
            text.item(
                "-",
                format!("{} from setup {}: {}", reading.point, reading.setup, reading.why),
            );
        }
    }
    if !session.input.assumptions.is_empty() {
        text.heading("Taken for granted, because the job does not say");
        for assumption in &session.input.assumptions {
            text.item("-", &assumption.text);
        }
    }
}

/// The cautions that stand wherever someone is about to lift.
pub fn cautions(text: &mut Text, loads: Loads) {
    text.heading("Before anybody lifts");
    for caution in floorwright_job::cautions::cautions(loads) {
        text.item("!", caution);
    }
}
