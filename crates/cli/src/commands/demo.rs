//! `floorwright demo`: the whole chain on an invented house.

use crate::args;
use crate::commands::{floor, levels, lift, passes};
use crate::exit::{OK, Stop};
use crate::files::{self, Existing};
use crate::report::{Report, Text};
use std::path::{Path, PathBuf};

const JOB: &str = include_str!("../../demo/house.toml");
const HALL: &str = include_str!("../../demo/hall.csv");
const WING: &str = include_str!("../../demo/wing.csv");

/// Writes the job, runs every command on it, and says what to open.
pub fn run(into: &Path) -> Result<Report, Stop> {
    files::make_folder(into)?;
    for (name, text) in [("house.toml", JOB), ("hall.csv", HALL), ("wing.csv", WING)] {
        files::write(&into.join(name), text, Existing::Replace)?;
    }
    let job = args::Job { job: into.join("house.toml") };
    let picture = |name: &str| Some(into.join(name));
    let results: Vec<(&str, Report)> = vec![
        ("levels", levels::run(&args::Levels::of(job.clone()))?),
        ("floor", floor::run(&args::Floor::of(job.clone(), picture("floor-before.svg")), false)?),
        ("lift", lift::run(&args::Lift::of(job.clone(), picture("lifts.svg")))?),
        ("passes", passes::run(&args::Passes::of(job, picture("passes.svg")))?),
    ];
    let mut text = Text::default();
    text.heading("An invented house has been levelled on paper");
    text.say(
        "Nobody lives in it; every number was made up. Its readings went through the whole chain.",
    );
    let mut exit = OK;
    let mut summary = serde_json::Map::new();
    for (name, report) in results {
        let file = into.join(format!("{name}.txt"));
        exit = exit.max(report.exit);
        let json = into.join(format!("{name}.json"));
        let result = (report.json)();
        files::write(&json, &format!("{result:#}\n"), Existing::Replace)?;
        files::write(&file, &report.text.finish(), Existing::Replace)?;
        summary.insert(name.to_owned(), result);
    }
    let path = |name: &str| -> PathBuf { into.join(name) };
    text.heading("Open first");
    text.item("1.", format!("{}: the floor as it was read", path("floor-before.svg").display()));
    text.item("2.", format!("{}: the lift at each stump", path("lifts.svg").display()));
    text.item("3.", format!("{}: the floor afterwards", path("lifts-floor-after.svg").display()));
    text.item("4.", format!("{}: which jacks move what", path("passes.svg").display()));
    text.heading("Then read");
    for (name, what) in [
        ("levels.txt", "how good the readings are, and which one to take again"),
        ("floor.txt", "the shape of the floor, held against criteria"),
        ("lift.txt", "lifts, packers, and what to buy"),
        ("passes.txt", "the order of moves"),
        ("house.toml", "the job itself, with hall.csv and wing.csv"),
    ] {
        text.item("-", format!("{}: {what}", path(name).display()));
    }
    text.heading("Your own house");
    text.say("floorwright lift my-readings.csv     (a table of point,x,y,reading)");
    text.say("floorwright new my-house.toml        (asks, and makes a job to fill in)");
    Ok(Report { text, json: Box::new(|| serde_json::Value::Object(summary)), exit })
}
