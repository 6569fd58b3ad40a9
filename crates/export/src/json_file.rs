//! Tables as JSON, and the schema of that.

use crate::table::{Cell, Column, Holds, Lengths, Rule, Sheet, Table};
use crate::tables::{Gathered, SHEETS, facts};
use crate::{File, Source};
use floorwright_draw::PROGRAM;
use serde_json::{Map, Value, json};

/// Counts up when a column changes its meaning or goes; new columns and tables may come.
const SCHEMA: &str = "floorwright/tables/1";

pub(crate) fn file(source: &Source<'_>, gathered: &Gathered) -> File {
    let rows =
        |table: &Table| -> Value { table.rows.iter().map(|row| object(table, row)).collect() };
    let tables: Map<String, Value> =
        gathered.tables.iter().map(|table| (table.sheet.name.to_owned(), rows(table))).collect();
    let left_out = gathered.left_out.iter();
    let document = json!({
        "schema": SCHEMA,
        "program": PROGRAM,
        "data_sha256": source.data_sha256,
        "job": source.input.name,
        "date": source.input.date,
        "says": facts(source).iter().map(|(what, says)| json!({ "what": what, "says": says })).collect::<Value>(),
        "left_out": left_out.map(|left| json!({ "what": left.what, "why": left.why })).collect::<Value>(),
        "tables": tables,
    });
    let bytes = format!("{document:#}\n").into_bytes();
    let about = "All tables, in millimetres, with a schema.".to_owned();
    File { name: "tables.json".to_owned(), about, bytes }
}

fn object(table: &Table, row: &[Cell]) -> Value {
    let columns = table.sheet.columns.iter().zip(row);
    columns.map(|(column, cell)| (column.key(table.lengths), value(column, cell))).collect()
}

fn value(column: &Column, cell: &Cell) -> Value {
    match cell {
        Cell::Nothing => Value::Null,
        Cell::Words(words) => json!(words),
        Cell::YesNo(yes) => json!(yes),
        Cell::Number(number) if column.holds == Holds::Count => json!(*number as u64),
        Cell::Number(number) | Cell::Worked(number, _) | Cell::Sum(number, _) => json!(number),
    }
}

/// The JSON Schema (draft 2020-12) of the tables as JSON.
pub fn schema() -> Value {
    let tables: Map<String, Value> =
        SHEETS.iter().map(|sheet| (sheet.name.to_owned(), sheet_schema(sheet))).collect();
    let sentence = |about: &str| json!({ "type": "string", "description": about });
    let pairs = |about: &str, first: &str, second: &str| {
        json!({
            "description": about,
            "type": "array",
            "items": {
                "type": "object",
                "properties": { first: { "type": "string" }, second: { "type": "string" } },
                "required": [first, second],
                "additionalProperties": false,
            },
        })
    };
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": SCHEMA,
        "description": "The tables of a job. Lengths are in millimetres, levels above the datum, up \
                        positive; forces in kilonewtons; null where a value is not known.",
        "type": "object",
        "properties": {
            "schema": { "const": SCHEMA },
            "program": sentence("The program and its version."),
            "data_sha256": {
                "type": "string",
                "pattern": "^[0-9a-f]{64}$",
                "description": "SHA-256 of the data, as on paper.",
            },
            "job": sentence("What the job is called."),
            "date": { "type": ["string", "null"], "description": "Day of the survey." },
            "says": pairs("What the tables rest on, and cautions.", "what", "says"),
            "left_out": pairs("What there is no table of, and why.", "what", "why"),
            "tables": {
                "description": "The tables that have rows.",
                "type": "object",
                "properties": tables,
                "additionalProperties": false,
            },
        },
        "required": ["schema", "program", "data_sha256", "job", "date", "says", "left_out", "tables"],
        "additionalProperties": false,
    })
}

fn sheet_schema(sheet: &Sheet) -> Value {
    let keys = sheet.columns.iter().map(|column| column.key(Lengths::Millimetres));
    let properties: Map<String, Value> = sheet
        .columns
        .iter()
        .map(|column| (column.key(Lengths::Millimetres), column_schema(column)))
        .collect();
    json!({
        "description": sheet.about,
        "type": "array",
        "items": {
            "type": "object",
            "properties": properties,
            "required": keys.collect::<Value>(),
            "additionalProperties": false,
        },
    })
}

fn column_schema(column: &Column) -> Value {
    let kind = match column.holds {
        Holds::Words => "string",
        Holds::YesNo => "boolean",
        Holds::Count => "integer",
        Holds::Length | Holds::Force | Holds::Number | Holds::Minutes | Holds::Money => "number",
    };
    let key = |name: &str| name.replace('_', " ");
    let rule = match column.rule {
        Some(Rule::Less(of, less)) => format!(" ({} less {})", key(of), key(less)),
        Some(Rule::Times(of, times)) => format!(" ({} times {}, to the cent)", key(of), key(times)),
        None => String::new(),
    };
    json!({ "type": [kind, "null"], "description": format!("{}{rule}.", column.about) })
}
