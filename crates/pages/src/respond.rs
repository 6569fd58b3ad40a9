//! From a path to a page.

use crate::layout::{Here, Shell};
use crate::screens;
use crate::view::{JobView, World};
use floorwright_job::events::JobId;

/// What a request is answered with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Response {
    /// The status of HTTP.
    pub status: u16,
    /// The media type of the body.
    pub media_type: &'static str,
    /// The body.
    pub body: String,
}

impl Response {
    pub(crate) fn html(status: u16, markup: maud::Markup) -> Self {
        Self { status, media_type: "text/html; charset=utf-8", body: markup.into_string() }
    }
}

/// A place in the app, as a path says it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place<'a> {
    /// The list of jobs.
    Jobs,
    /// A screen of a job.
    Job(JobId, &'a str),
    /// Nothing.
    Nowhere,
}

impl<'a> Place<'a> {
    /// Reads a path.
    pub fn of(path: &'a str) -> Self {
        let mut parts = path.strip_prefix('/').unwrap_or(path).splitn(3, '/');
        match (parts.next(), parts.next(), parts.next()) {
            (Some(""), None, _) => Self::Jobs,
            (Some("jobs"), Some(id), screen) => {
                JobId::parse(id).map_or(Self::Nowhere, |id| Self::Job(id, screen.unwrap_or("")))
            }
            _ => Self::Nowhere,
        }
    }
}

/// Answers a request that reads.
///
/// `query` is what follows the question mark, as the browser sent it.
pub fn respond(world: &World<'_>, path: &str, query: &str) -> Response {
    match (Place::of(path), world.job) {
        (Place::Jobs, _) => Response::html(200, screens::jobs::page(world)),
        (Place::Job(..), None) => not_found(world, "There is no such job here."),
        (Place::Job(_, screen), Some(job)) => of_job(world, job, screen, query),
        (Place::Nowhere, _) => not_found(world, "There is no such page."),
    }
}

fn of_job(world: &World<'_>, job: &JobView, screen: &str, query: &str) -> Response {
    let shell = |here| Shell { world, job: Some(job), here };
    let page = match screen {
        "" => screens::home::page(&shell(Here::Home), job),
        "site" => screens::site::page(&shell(Here::Site), job),
        "readings" => screens::readings::page(&shell(Here::Readings), job),
        "floor" => screens::floor::page(&shell(Here::Floor), job),
        "lift" => screens::lift::page(&shell(Here::Lift), job),
        "passes" => screens::passes::page(&shell(Here::Passes), job),
        "order" => screens::order::page(&shell(Here::Order), job),
        "hose" => screens::hose::page(&shell(Here::Hose), job, query),
        "paper" => screens::paper::page(&shell(Here::Paper), job),
        "passes/check" => return screens::passes::look_at_note(job, query),
        "lift/preview" => return screens::lift::preview(job, query),
        "floor/at" => return screens::floor::at(job, query),
        "floor/section" => return screens::floor::section(job, query),
        _ => return not_found(world, "There is no such page in this job."),
    };
    Response::html(200, page)
}

fn not_found(world: &World<'_>, what: &str) -> Response {
    let shell = Shell { world, job: None, here: Here::Jobs };
    let page = shell.page(
        "Not found",
        &maud::html! {
            h1 { "Not found" }
            p { (what) " " a href="/" { "Go to the list of jobs." } }
        },
    );
    Response::html(404, page)
}

/// The first value of a name in a query, with `%xx` and `+` undone.
pub(crate) fn value_of(query: &str, name: &str) -> Option<String> {
    query.split('&').find_map(|pair| {
        let (key, value) = pair.split_once('=').unwrap_or((pair, ""));
        (key == name).then(|| undone(value))
    })
}

fn undone(value: &str) -> String {
    let mut bytes = Vec::new();
    let mut rest = value.bytes();
    while let Some(byte) = rest.next() {
        match byte {
            b'+' => bytes.push(b' '),
            b'%' => {
                let mut ahead = rest.clone();
                let digits = [ahead.next(), ahead.next()]
                    .map(|digit| digit.and_then(|digit| char::from(digit).to_digit(16)));
                if let [Some(high), Some(low)] = digits {
                    bytes.push((high * 16 + low) as u8);
                    rest = ahead;
                } else {
                    bytes.push(b'%');
                }
            }
            other => bytes.push(other),
        }
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn queries_are_read_as_browsers_write_them() {
        assert_eq!(value_of("x=1200&y=-3.5", "y").as_deref(), Some("-3.5"));
        assert_eq!(value_of("name=A+1%2F%C3%A9", "name").as_deref(), Some("A 1/é"));
        assert_eq!(value_of("bad=%zz%4", "bad").as_deref(), Some("%zz%4"));
        assert_eq!(value_of("x", "x").as_deref(), Some(""));
        assert_eq!(value_of("xx=1", "x"), None);
    }

    #[test]
    fn paths_lead_to_places() {
        let id = "018f3c7e-8d2a-7c31-9b1e-3a54c0ffee01";
        assert_eq!(Place::of("/"), Place::Jobs);
        let path = format!("/jobs/{id}/floor/at");
        assert_eq!(Place::of(&path), Place::Job(JobId::parse(id).unwrap(), "floor/at"));
        for nowhere in ["/jobs", "/jobs/../etc", "//", "/x", "/jobs/%2e%2e/readings"] {
            assert_eq!(Place::of(nowhere), Place::Nowhere, "{nowhere}");
        }
    }
}
