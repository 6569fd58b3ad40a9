//! Reads the documents of the demo and of a half-done house back as a person's programs would, and
//! compares what is printed with what the program calculates.

use crate::checks::Outcome;
use crate::debian::{self, PDFTOTEXT, QPDF};
use crate::end_to_end;
use crate::shell;
use serde_json::Value;
use std::path::Path;
use std::process::Command;

/// A document with the fewest and the most pages that it may have.
const DOCUMENTS: &[(&str, usize, usize)] = &[
    ("floor-report", 3, 8),
    ("lifting-plan", 6, 16),
    ("run-sheet", 10, 32),
    ("quote", 1, 2),
    ("order", 1, 5),
    ("completion-record", 2, 6),
];

/// The largest file that is still sent by mail without a thought.
const MOST_BYTES: u64 = 2_000_000;

/// Fails if a document is not tagged, not embedded, without its stamp, or prints another number.
pub fn check() -> Outcome {
    if let Err(how) = debian::provide(&PDFTOTEXT).and_then(|()| debian::provide(&QPDF)) {
        return Outcome::Skipped(how);
    }
    run().into()
}

fn run() -> Result<String, String> {
    let program = end_to_end::build()?;
    let folder = shell::fresh_folder("paper")?;
    let house = shell::root().join("crates/cli/demo/house.toml");
    let half_done = shell::root().join("examples/half-done/job.toml");
    let mut n_numbers = 0;
    for &(kind, fewest, most) in DOCUMENTS {
        let job = if kind == "completion-record" { &half_done } else { &house };
        let file = folder.join(format!("{kind}.pdf"));
        let mut report = Command::new(&program);
        report.arg("report").arg(job).args(["--kind", kind, "--json", "--to"]).arg(&file);
        let said: Value = parse(&shell::stdout_of(&mut report)?)?;
        let text = looks_right(&file, kind, (fewest, most), &said["result"]["data_sha256"])?;
        n_numbers += match kind {
            "floor-report" => levels(&json(&program, "levels", job)?, &text)?,
            "lifting-plan" => lifts(&json(&program, "lift", job)?, &text)?,
            "run-sheet" => moves(&json(&program, "passes", job)?, &text)?,
            "quote" => price_alone(&json(&program, "order", job)?, &text)?,
            "order" => amounts(&json(&program, "order", job)?, &text)?,
            _ => measured(&json(&program, "record", job)?, &text)?,
        };
    }
    Ok(format!("{} documents, {n_numbers} numbers as calculated", DOCUMENTS.len()))
}

fn parse(bytes: &[u8]) -> Result<Value, String> {
    serde_json::from_slice(bytes).map_err(|error| error.to_string())
}

fn json(program: &Path, command: &str, job: &Path) -> Result<Value, String> {
    let output = shell::capture(Command::new(program).arg(command).arg(job).arg("--json"))?;
    Ok(parse(&output.stdout)?["result"].clone())
}

/// Pages, tags, title, fonts and the stamp on every page. Gives the text.
fn looks_right(
    file: &Path,
    kind: &str,
    (fewest, most): (usize, usize),
    hash: &Value,
) -> Result<String, String> {
    let fail = |what: String| Err(format!("{kind}: {what}"));
    let info =
        String::from_utf8_lossy(&shell::stdout_of(Command::new("pdfinfo").arg(file))?).into_owned();
    let field = |name: &str| {
        info.lines().find_map(|line| line.strip_prefix(name)).unwrap_or_default().trim().to_owned()
    };
    let pages: usize = field("Pages:").parse().unwrap_or_default();
    if !(fewest..=most).contains(&pages) {
        return fail(format!("{pages} pages, expected {fewest} to {most}"));
    }
    if field("Tagged:") != "yes"
        || field("Title:").is_empty()
        || !field("Creator:").starts_with("floorwright")
    {
        return fail(format!("not tagged, or without title or creator:\n{info}"));
    }
    let bytes = std::fs::metadata(file).map_err(|error| error.to_string())?.len();
    if bytes > MOST_BYTES {
        return fail(format!("{bytes} bytes, at most {MOST_BYTES}"));
    }
    shell::stdout_of(Command::new("qpdf").arg("--check").arg(file))?;
    let fonts = String::from_utf8_lossy(&shell::stdout_of(Command::new("pdffonts").arg(file))?)
        .into_owned();
    // Name, type, encoding, then whether it is embedded, subset, and mapped to Unicode.
    for line in fonts.lines().skip(2) {
        if !line.contains("yes yes yes") {
            return fail(format!("a font is not embedded: {line}"));
        }
    }
    let mut read = Command::new("pdftotext");
    let text = String::from_utf8_lossy(&shell::stdout_of(read.arg("-layout").arg(file).arg("-"))?)
        .into_owned();
    let hash = hash.as_str().unwrap_or("no hash");
    for (number, page) in (1..=pages).zip(text.split('\u{c}')) {
        let stamp = format!("page {number} of {pages}");
        if !page.contains(hash) || !page.contains(&stamp) {
            return fail(format!("page {number} has no \"{stamp}\" or no hash"));
        }
        if page.lines().filter(|line| !line.trim().is_empty()).count() < 4 {
            return fail(format!("page {number} is empty"));
        }
    }
    Ok(text)
}

/// Looks for each name beside its numbers on one line of the text.
fn find(text: &str, what: &str, wanted: &[(String, Vec<String>)]) -> Result<usize, String> {
    let lines: Vec<Vec<&str>> =
        text.lines().map(|line| line.split_whitespace().collect()).collect();
    let mut found = 0;
    for (name, numbers) in wanted {
        // Two tables may stand side by side: the numbers follow the name somewhere on the line.
        let is_there = lines.iter().any(|words| {
            let mut starts = words.iter().enumerate().filter(|(_, word)| *word == name);
            starts.any(|(at, _)| {
                let mut rest = words[at + 1..].iter();
                numbers.iter().all(|number| rest.any(|word| word == number))
            })
        });
        if !is_there {
            return Err(format!("{what}: no line has {name} with {}", numbers.join(", ")));
        }
        found += numbers.len();
    }
    if found == 0 { Err(format!("{what}: nothing was compared")) } else { Ok(found) }
}

/// Tenths, half away from zero, with a sign if asked for; never minus zero.
fn tenths(value: &Value, signed: bool) -> Result<String, String> {
    let value = value.as_f64().ok_or_else(|| format!("{value} is no number"))?;
    let tenths = (value.abs() * 10.0 + 1e-9).round();
    let sign = match (tenths > 0.0, value < 0.0, signed) {
        (true, true, _) => "-",
        (true, false, true) => "+",
        _ => "",
    };
    Ok(format!("{sign}{:.1}", tenths / 10.0))
}

fn list<'a>(value: &'a Value, what: &str) -> Result<&'a Vec<Value>, String> {
    value.as_array().ok_or_else(|| format!("there is no list of {what}"))
}

fn name(value: &Value) -> String {
    value.as_str().unwrap_or_default().to_owned()
}

fn levels(result: &Value, text: &str) -> Result<usize, String> {
    let points = list(&result["reduction"]["levels"], "levels")?;
    let wanted: Result<Vec<_>, String> = points
        .iter()
        .map(|point| Ok((name(&point["point"]), vec![tenths(&point["level"], false)?])))
        .collect();
    find(text, "floor report, levels", &wanted?)
}

fn lifts(result: &Value, text: &str) -> Result<usize, String> {
    let packing = &result["packing"]["result"];
    let lifts = list(&packing["lifts"], "lifts")?;
    let supports = list(&result["lifting"]["result"]["supports"], "supports")?;
    let mut wanted = Vec::new();
    for (facts, lift) in supports.iter().zip(lifts) {
        if facts["held"].is_null() {
            wanted.push((name(&facts["support"]), vec![tenths(lift, true)?]));
        }
    }
    find(text, "lifting plan, lifts", &wanted)
}

fn moves(result: &Value, text: &str) -> Result<usize, String> {
    let mut wanted = Vec::new();
    for pass in list(&result["passes"]["result"]["passes"]["passes"], "passes")? {
        for together in list(&pass["moves"], "moves")? {
            for moved in list(&together["supports"], "supports")? {
                wanted.push((name(&moved["support"]), vec![tenths(&moved["to"], true)?]));
            }
        }
    }
    find(text, "run sheet, moves", &wanted)
}

/// The client's paper has the total, and no amount of a line or of the margin.
fn price_alone(result: &Value, text: &str) -> Result<usize, String> {
    let order = &result["order"]["result"];
    let total = order["price"]["total"].as_i64().ok_or("the demo's order has no total")?;
    let margin = order["price"]["margin"]["amount"].as_i64().ok_or("the demo has no margin")?;
    let written = |cents: i64| format!("{}.{:02}", cents / 100, cents % 100);
    let words: Vec<&str> = text.split_whitespace().collect();
    if !words.contains(&written(total).as_str()) {
        return Err(format!("quote: {} is not printed", written(total)));
    }
    let lines = list(&order["lines"], "lines")?.iter().filter_map(|line| line["amount"].as_i64());
    for cents in lines.chain([margin]) {
        if words.contains(&written(cents).as_str()) {
            return Err(format!("quote: {} is for the builder alone", written(cents)));
        }
    }
    Ok(1)
}

fn amounts(result: &Value, text: &str) -> Result<usize, String> {
    let order = &result["order"]["result"];
    let total = order["price"]["total"].as_i64().ok_or("the demo's order has no total")?;
    let mut cents = vec![total];
    for line in list(&order["lines"], "lines")? {
        cents.extend(line["amount"].as_i64());
    }
    let words: Vec<&str> = text.split_whitespace().collect();
    for cents in &cents {
        let amount = format!("{}.{:02}", cents / 100, cents % 100);
        if !words.contains(&amount.as_str()) {
            return Err(format!("order: {amount} is not printed"));
        }
    }
    Ok(cents.len())
}

fn measured(result: &Value, text: &str) -> Result<usize, String> {
    let mut wanted = Vec::new();
    for moved in list(&result["record"]["result"]["whole"]["supports"], "supports")? {
        let found = &moved["difference"];
        if !found.is_null() {
            let numbers = ["predicted", "measured"].map(|key| tenths(&found[key], true));
            wanted.push((name(&moved["support"]), numbers.into_iter().collect::<Result<_, _>>()?));
        }
    }
    find(text, "completion record, movements", &wanted)
}
