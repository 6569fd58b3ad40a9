//! `floorwright demo`: the whole chain on an invented house.

use crate::args;
use crate::commands::{export, floor, frame, hose, levels, lift, order, passes, report, stands};
use crate::exit::{OK, Stop};
use crate::files::{self, Existing};
use crate::report::{Report, Text};
use std::collections::BTreeMap;
use std::path::Path;

const FIRST_JOB: &str = include_str!("../../demo/house.toml");
const FILES: [(&str, &str); 3] = [
    ("hall.csv", include_str!("../../demo/hall.csv")),
    ("hall-read-again.csv", include_str!("../../demo/hall-read-again.csv")),
    ("wing.csv", include_str!("../../demo/wing.csv")),
];

/// The demo as it was read again, with its tables, by their names.
pub fn files() -> BTreeMap<String, String> {
    let job = FIRST_JOB.replace("\"hall.csv\"", "\"hall-read-again.csv\"");
    let tables = FILES.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned()));
    tables.chain([("house.toml".to_owned(), job)]).collect()
}

/// The stump whose jack is shown: under the laundry wall, beside the step.
const JACK_AT: &str = "E6";

/// Writes the job as first read and as read again, runs every command, and says what to open.
pub fn run(into: &Path) -> Result<Report, Stop> {
    files::make_folder(into)?;
    let second_job = FIRST_JOB.replace("\"hall.csv\"", "\"hall-read-again.csv\"");
    for (name, text) in FILES.into_iter().chain([("house.toml", FIRST_JOB)]) {
        files::write(&into.join(name), text, Existing::Replace)?;
    }
    files::write(&into.join("house-read-again.toml"), &second_job, Existing::Replace)?;
    let first = args::Job { job: into.join("house.toml") };
    let second = args::Job { job: into.join("house-read-again.toml") };
    let picture = |name: &str| Some(into.join(name));
    let of_hose = args::Hose { job: Some(second.job.clone()), ..args::Hose::default() };
    let results: Vec<(&str, Report)> = vec![
        ("hose", hose::run(&of_hose)?),
        ("stands", stands::run(&args::Stands::of(second.clone(), picture("stands.svg")))?),
        ("levels-first", levels::run(&args::Levels::of(first))?),
        ("levels", levels::run(&args::Levels::of(second.clone()))?),
        (
            "floor",
            floor::run(&args::Floor::of(second.clone(), picture("floor-before.svg")), false)?,
        ),
        ("frame", frame::run(&args::Frame::of(second.clone(), JACK_AT, picture("frame.svg")))?),
        ("lift", lift::run(&args::Lift::of(second.clone(), picture("lifts.svg")))?),
        ("passes", passes::run(&args::Passes::of(second.clone(), picture("passes.svg")))?),
        ("order", order::run(&args::Order::of(second.clone()))?),
        ("report", report::run(&args::Report::of(second.clone(), into.join("paper")))?),
        ("export", export::run(&args::Export::of(second.job, into.join("tables")))?),
    ];
    let mut exit = OK;
    let mut summary = serde_json::Map::new();
    for (name, report) in results {
        exit = exit.max(report.exit);
        let result = (report.json)();
        let json = into.join(format!("{name}.json"));
        files::write(&json, &format!("{result:#}\n"), Existing::Replace)?;
        let text = into.join(format!("{name}.txt"));
        files::write(&text, &report.text.finish(), Existing::Replace)?;
        summary.insert(name.to_owned(), result);
    }
    Ok(Report {
        text: what_to_open(into, exit),
        json: Box::new(|| serde_json::Value::Object(summary)),
        exit,
    })
}

fn what_to_open(folder: &Path, exit: u8) -> Text {
    let mut text = Text::default();
    text.heading("An invented house has been levelled on paper");
    text.say("Nobody lives in it; every number was made up.");
    let mut list = |heading: &str, files: &[(&str, &str)]| {
        text.heading(heading);
        // Where a command said no, it drew no picture.
        for (name, what) in files.iter().filter(|(name, _)| folder.join(name).is_file()) {
            text.item("-", format!("{}: {what}", folder.join(name).display()));
        }
    };
    list(
        "Open first",
        &[
            ("paper/floor-report.pdf", "what a client gets: how far out, where, how sure"),
            ("paper/lifting-plan.pdf", "what it takes, for client and engineer"),
            ("paper/run-sheet.pdf", "what to lift, move by move, for the crew"),
            ("paper/quote.pdf", "what it costs, for the client to sign"),
            ("paper/order.pdf", "what to buy, hire and do, with the rates, for the builder"),
            ("floor-before.svg", "how far each point of the floor is from the target"),
            ("lifts.svg", "the lift and the packers at each stump"),
            ("lifts-floor-after.svg", "the floor afterwards"),
            ("frame.svg", "what each stump carries today, as far as anybody can tell"),
            ("lifts-who-carries.svg", "the same at the worst moment and when all is packed"),
            ("frame-jack-E6.svg", "what a jack has to push at E6, alone and with its neighbours"),
            ("passes-way.svg", "how near each move comes to its limits"),
            ("stands.svg", "where the reservoir of the hose stands, and what is read from there"),
            ("passes.svg", "which stumps move in which pass; passes-1.svg and on, each by itself"),
        ],
    );
    list(
        "Then read",
        &[
            ("levels-first.txt", "the readings as first taken: one is wrong, and it is found"),
            ("levels.txt", "the same after that point was read again"),
            ("hose.txt", "how far the hose is to be trusted, how long to wait, what to check"),
            ("stands.txt", "where to stand with it, and sheets with blanks for the readings"),
            ("frame.txt", "what each stump carries, and everything that is assumed for it"),
            ("floor.txt", "the shape of the floor, held against criteria"),
            ("lift.txt", "lifts, packers, and what to buy"),
            ("passes.txt", "the order of moves"),
            ("order.txt", "what to buy, hire and do, and what it costs (prices invented)"),
            (
                "tables/tables.xlsx",
                "all of it as a workbook; beside it as CSV, JSON and a drawing (DXF)",
            ),
            ("house.toml", "the job, with its readings in hall.csv and wing.csv"),
            ("house-read-again.toml", "the job after the second reading"),
        ],
    );
    if exit != OK {
        text.heading("Something says no");
        text.say("The texts say what and why, first of all: see lift.txt and passes.txt.");
    }
    text.heading("Your own house");
    text.say("floorwright lift my-readings.csv (a table of point,x,y,reading)");
    text.say("floorwright new my-house.toml (asks, and makes a job to fill in)");
    text
}
