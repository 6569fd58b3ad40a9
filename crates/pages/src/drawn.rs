//! What a form of the site asks for, looked at before anything of it is kept.

use crate::layout::in_words;
use crate::respond::Response;
use crate::view::{JobView, faults_of};
use floorwright_job::Fault;
use floorwright_job::drawn::{GridTyped, RectangleTyped, grid, rectangle};
use floorwright_job::events::{Change, Thing};
use serde::{Deserialize, Serialize};

/// No more faults than this are told at once.
const MOST_TOLD: usize = 3;

/// What a form asks for.
#[derive(Debug, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Asked {
    /// These changes.
    Changes(Vec<Change>),
    /// A grid of supports.
    Grid(GridTyped),
    /// A room or an obstacle with this outline.
    Rectangle { thing: Thing, typed: RectangleTyped },
    /// Something new, which must not take the place of another.
    Fresh(Thing),
}

/// What comes of it.
#[derive(Serialize)]
struct Looked {
    /// The changes to make.
    changes: Vec<Change>,
    /// What has to be put right after them, in words.
    brings: Vec<String>,
}

/// Looks at what a form asks for: the changes to make, or why they are not made.
///
/// What is put has to hold by all the checks of the job; what is taken out may be missed elsewhere, which is told.
pub fn look(job: &JobView, asked: &str) -> Response {
    let refused = |why: String| Response {
        status: 422,
        media_type: "text/plain; charset=utf-8",
        body: format!("Not saved: {why}."),
    };
    let changes = match serde_json::from_str(asked).map_err(|error| error.to_string()) {
        Ok(asked) => match changes(job, asked) {
            Ok(changes) => changes,
            Err(why) => return refused(why),
        },
        Err(why) => return refused(why),
    };
    let after = faults_of(job.folded.form_after(&changes), &job.folded);
    let is_known = |fault: &Fault| job.faults.iter().any(|known| is_same(known, fault));
    let fresh = after.iter().filter(|fault| fault.is_error() && !is_known(fault));
    let is_taken_out = changes.iter().all(|change| matches!(change, Change::Remove { .. }));
    let told: Vec<&Fault> =
        fresh.filter(|fault| is_taken_out || !fault.waits_for_readings()).collect();
    if !is_taken_out && let Some(fault) = told.first() {
        let hint = fault.hint.as_ref().map_or(String::new(), |hint| format!("; {hint}"));
        return refused(in_words(fault) + &hint);
    }
    let mut brings: Vec<String> =
        told.iter().take(MOST_TOLD).map(|fault| in_words(fault)).collect();
    if told.len() > MOST_TOLD {
        brings.push(format!("and {} more", told.len() - MOST_TOLD));
    }
    let body = serde_json::to_string(&Looked { changes, brings }).unwrap_or_default();
    Response { status: 200, media_type: "application/json", body }
}

/// The same thing is wrong; the way out may be worded for other names.
fn is_same(one: &Fault, other: &Fault) -> bool {
    (&one.place, &one.what, &one.value) == (&other.place, &other.what, &other.value)
}

fn changes(job: &JobView, asked: Asked) -> Result<Vec<Change>, String> {
    let form = &job.folded.form;
    let put = |thing| vec![Change::Put { thing: Box::new(thing) }];
    match asked {
        Asked::Changes(changes) => Ok(changes),
        Asked::Grid(typed) => {
            let things = grid(form, &typed)?.into_iter().map(Thing::Support).collect();
            Ok(vec![Change::PutAll { things }])
        }
        Asked::Rectangle { mut thing, typed } => {
            let outline = rectangle(form, &typed)?;
            match &mut thing {
                Thing::Room(room) => room.outline = outline,
                Thing::Obstacle(obstacle) => obstacle.outline = outline,
                _ => return Err("only a room or an obstacle has an outline".to_owned()),
            }
            Ok(put(thing))
        }
        Asked::Fresh(thing) => match thing.namesake_in(form) {
            Some(name) => Err(format!(
                "{name} is there already: change it where it is listed, or give this one another name"
            )),
            None => Ok(put(thing)),
        },
    }
}
