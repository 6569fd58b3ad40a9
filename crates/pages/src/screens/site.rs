//! The site: rooms, supports, and what the levels are counted from.

use crate::backdrop;
use crate::layout::{Shell, bare_unit, faults, typed};
use crate::pictures;
use crate::screens::notes;
use crate::screens::readings::datum_json;
use crate::view::{JobView, says_datum};
use floorwright_engine::ids::SupportId;
use floorwright_job::Fault;
use floorwright_job::drawn::{MOST_COLUMNS, MOST_ROWS, edges, next_row, unit_of};
use floorwright_job::events::{About, Kind, TakenOut};
use floorwright_job::form_v1::{
    FinishForm, Form, PlaceForm, PointForm, PointKindForm, RoomForm, SupportForm,
};
use floorwright_job::measure::Unit;
use maud::{Markup, html};

/// So many of the things that were taken out are offered back, the last first.
const MOST_TAKEN_OUT: usize = 5;

/// The page.
pub fn page(shell: &Shell<'_>, job: &JobView) -> Markup {
    let (one, several) = job.words().supports();
    let form = &job.folded.form;
    // That nothing was read is no fault of the site; that no datum is named is said in its own words.
    let is_told_below =
        |fault: &&Fault| fault.waits_for_readings() && !(fault.is_error() && says_datum(form));
    let other_faults: Vec<Fault> =
        job.faults.iter().filter(|fault| !is_told_below(fault)).cloned().collect();
    shell.page(
        "Site",
        &html! {
            h1 { "Site" }
            (faults(&other_faults))
            @if let Some(picture) = pictures::site(job) {
                div .tap data-tap="support" { (picture) }
                p .hint { "Tap a " (one) " to change it." }
            }
            @if !says_datum(form) && !form.support.is_empty() {
                p .warn { "Nothing says yet what levels are counted from: " a href="#datum" { "name a benchmark, or call a point zero" } "." }
            }
            (taken_out(job, one))
            (grid(form, one, several))
            (one_support(form, one))
            (room(form))
            (points(form, one))
            (behind(job))
            section aria-labelledby="list" {
                h2 #list { (form.support.len()) " " (several) }
                @for support in &form.support { (change_support(job, support, one)) }
            }
            (datum(form))
        },
    )
}

/// The plan or photo behind the map.
fn behind(job: &JobView) -> Markup {
    let laid = backdrop::laid(job);
    let names = job.folded.form.support.iter().map(|support| &support.id);
    let points = job.folded.form.point.iter().map(|point| &point.id);
    html! {
        details #behind {
            summary { "A plan or photo behind the map" }
            @match &laid {
                Some(Ok(picture)) => p { "It lies there by two marks: a pixel of it is "
                    (format!("{:.1}", picture.laid.mm_per_pixel())) " mm. To look at, not to measure from." },
                Some(Err(why)) => p .error { (why) },
                None => {},
            }
            @if job.folded.backdrop.is_some() {
                button type="button" data-backdrop-away="yes" { "Take it away" }
            }
            form data-backdrop="yes" {
                label { "Picture: a scanned plan, or a photo taken square to the floor"
                    input type="file" name="picture" accept="image/*";
                }
                div .marking {}
                p role="status" {}
                label { "At 1: the name of a support or point, or its place (as 0, 3600)"
                    input name="first" list="places" autocomplete="off";
                }
                label { "At 2" input name="second" list="places" autocomplete="off"; }
                datalist #places { @for name in names.chain(points) { option value=(name) {} } }
                button type="submit" { "Put it behind the map" }
            }
        }
    }
}

/// What was taken out lately, to be brought back.
fn taken_out(job: &JobView, one: &str) -> Markup {
    let gone: Vec<&TakenOut> = job.folded.taken_out.iter().rev().take(MOST_TAKEN_OUT).collect();
    html! {
        @if !gone.is_empty() {
            section #taken-out .ok aria-label="Taken out" {
                @for out in gone {
                    p { strong { (kind_word(out.kind, one)) " " (out.name) } " is taken out. "
                        button type="button" data-undo=(out.event) { "Bring " (out.name) " back" } }
                }
            }
        }
    }
}

fn kind_word(kind: Kind, one: &str) -> String {
    let word = match kind {
        Kind::Room => "Room",
        Kind::Point => "Point",
        Kind::Benchmark => "Benchmark",
        Kind::Support => return capital(one),
        _ => "",
    };
    word.to_owned()
}

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}

fn grid(form: &Form, one: &str, several: &str) -> Markup {
    let unit = bare_unit(unit_of(form));
    let usual = match unit_of(form) {
        Unit::Millimetres => "1800",
        Unit::Metres => "1.8",
        Unit::FeetInches => "72",
    };
    html! {
        details open[form.support.is_empty()] {
            summary { @if form.support.is_empty() { "Add a grid of " (several) } @else { "Add another grid of " (several) } }
            form data-make="grid" {
                label { "Rows, up the page (" (MOST_ROWS) " at most)" input name="rows" inputmode="numeric" value="3" required[true]; }
                label { (capital(several)) " in a row (" (MOST_COLUMNS) " at most)" input name="columns" inputmode="numeric" value="4" required[true]; }
                label { "Spacing along a row, " (unit) input name="along" inputmode=(keys(form)) value=(usual) required[true]; }
                label { "From row to row, " (unit) input name="between" inputmode=(keys(form)) value=(usual) required[true]; }
                label { "First " (one) ", from the left, " (unit) input name="x" inputmode=(keys(form)) value="0" required[true]; }
                label { "First " (one) ", from the bottom, " (unit) input name="y" inputmode=(keys(form)) value="0" required[true]; }
                label { "Letter of its first row" input name="first" value=(next_row(form)) maxlength="2" autocapitalize="characters" autocomplete="off" required[true]; }
                button .main type="submit" { "Add the grid" }
            }
            p .hint { "The first " (one) " of a grid is at its bottom left. For a house with wings, add a grid for each." }
        }
    }
}

/// Feet and inches have marks that a keypad of digits lacks.
fn keys(form: &Form) -> &'static str {
    if unit_of(form) == Unit::FeetInches { "text" } else { "decimal" }
}

fn one_support(form: &Form, one: &str) -> Markup {
    let unit = bare_unit(unit_of(form));
    html! {
        details {
            summary { "Add one " (one) }
            form data-make="support" {
                label { "Name" input name="id" autocapitalize="characters" autocomplete="off" maxlength="40" required[true]; }
                label { "From the left, " (unit) input name="x" inputmode=(keys(form)) required[true]; }
                label { "From the bottom, " (unit) input name="y" inputmode=(keys(form)) required[true]; }
                button type="submit" { "Add this " (one) }
            }
        }
    }
}

/// The fields of a rectangle on the plan.
pub(crate) fn rectangle(form: &Form) -> Markup {
    rectangle_at(form, None)
}

fn rectangle_at(form: &Form, edges: Option<&[String; 4]>) -> Markup {
    let unit = bare_unit(unit_of(form));
    let fields =
        [("Left edge, ", "x"), ("Bottom edge, ", "y"), ("Width, ", "width"), ("Depth, ", "depth")];
    html! {
        @for (idx, (said, name)) in fields.into_iter().enumerate() {
            @let usual = (idx < 2).then_some("0");
            label { (said) (unit) input name=(name) inputmode=(keys(form)) required[true]
                value=[edges.map(|edges| edges[idx].as_str()).or(usual)]; }
        }
    }
}

fn finish(chosen: Option<FinishForm>) -> Markup {
    let kinds = [
        (FinishForm::Boards, "boards"),
        (FinishForm::Plaster, "plaster"),
        (FinishForm::Tiles, "tiles"),
    ];
    html! {
        label { "Finish"
            select name="finish" {
                @for (kind, word) in kinds { option value=(word) selected[chosen == Some(kind)] { (word) } }
            }
        }
    }
}

fn room(form: &Form) -> Markup {
    html! {
        details #rooms {
            summary { "Rooms: " (form.room.len()) }
            @for room in &form.room { (change_room(form, room)) }
            h3 { "Add a room" }
            form data-make="room" {
                label { "Name" input name="name" maxlength="40" required[true]; }
                (rectangle(form))
                (finish(None))
                button type="submit" { "Add the room" }
            }
        }
    }
}

fn change_room(form: &Form, room: &RoomForm) -> Markup {
    let edges = edges(&room.outline, unit_of(form));
    let make = if edges.is_some() { "room-edges" } else { "room-finish" };
    html! {
        details id={ "room-" (room.name) } {
            summary { (room.name) }
            form data-make=(make) data-form=(serde_json::to_string(room).unwrap_or_default()) {
                @if edges.is_some() { (rectangle_at(form, edges.as_ref())) }
                @else { p .hint { "Its outline has " (room.outline.len()) " corners; they stay as they are." } }
                (finish(room.finish))
                button .main type="submit" { "Save " (room.name) }
            }
            button type="button" data-did="remove" data-kind="room" data-name=(room.name) { "Take out " (room.name) }
        }
    }
}

/// What a point may be.
const KINDS: [(PointKindForm, &str, &str); 4] = [
    (PointKindForm::Floor, "floor", "on the floor"),
    (PointKindForm::Threshold, "threshold", "a threshold or the new floor"),
    (PointKindForm::Benchmark, "benchmark", "a mark that does not move"),
    (PointKindForm::Ground, "ground", "on the ground"),
];

fn kind_of_point(chosen: Option<PointKindForm>) -> Markup {
    let is_listed = chosen.is_none_or(|chosen| KINDS.iter().any(|(kind, ..)| *kind == chosen));
    html! {
        // Another kind, of a job that was brought in, stays as it is.
        @if is_listed {
            label { "It is"
                select name="kind" {
                    @for (kind, word, said) in KINDS { option value=(word) selected[chosen == Some(kind)] { (said) } }
                }
            }
        }
    }
}

/// Points that are over no support: in the middle of a room, on a threshold, on the new floor.
fn points(form: &Form, one: &str) -> Markup {
    let unit = bare_unit(unit_of(form));
    html! {
        details #points {
            summary { "Points that are over no " (one) ": " (form.point.len()) }
            @for point in &form.point { (change_point(form, point)) }
            h3 { "Add a point" }
            form data-make="point" {
                label { "Name" input name="id" autocapitalize="characters" autocomplete="off" maxlength="40" required[true]; }
                label { "From the left, " (unit) input name="x" inputmode=(keys(form)) required[true]; }
                label { "From the bottom, " (unit) input name="y" inputmode=(keys(form)) required[true]; }
                (kind_of_point(None))
                button type="submit" { "Add the point" }
            }
        }
    }
}

fn change_point(form: &Form, point: &PointForm) -> Markup {
    let place = match &point.at {
        Some(PlaceForm::Position(at)) => Some(at),
        _ => None,
    };
    html! {
        details id={ "point-" (point.id) } {
            summary { (point.id) @if let Some(PlaceForm::OverSupport(support)) = &point.at { ", over " (support) } }
            form data-put="point" data-form=(serde_json::to_string(point).unwrap_or_default()) {
                @if let Some([x, y]) = place {
                    label { "From the left" input name="at.0" inputmode=(keys(form)) value=(typed(x)) required[true]; }
                    label { "From the bottom" input name="at.1" inputmode=(keys(form)) value=(typed(y)) required[true]; }
                }
                (kind_of_point(point.kind))
                button .main type="submit" { "Save " (point.id) }
            }
            button type="button" data-did="remove" data-kind="point" data-name=(point.id) { "Take out " (point.id) }
        }
    }
}

fn change_support(job: &JobView, support: &SupportForm, one: &str) -> Markup {
    let form = &job.folded.form;
    let about = About::Support(support.id.clone());
    let place = |axis: usize| support.at.as_ref().map(|at| typed(&at[axis]));
    let site = job.at_hand().map(|worked| &worked.job.site);
    let at = site.and_then(|site| site.support(&SupportId::new(&support.id))).map(|known| known.at);
    html! {
        details .support id={ "support-" (support.id) } data-name=(support.id)
            data-x=[at.map(|at| at.x.to_mm())] data-y=[at.map(|at| at.y.to_mm())] {
            summary { (support.id) @if support.fixed.is_some() { " (stays)" } }
            form data-put="support" data-form=(serde_json::to_string(support).unwrap_or_default()) {
                label { "From the left" input name="at.0" inputmode=(keys(form)) value=[place(0)] required[true]; }
                label { "From the bottom" input name="at.1" inputmode=(keys(form)) value=[place(1)] required[true]; }
                label { "Must stay because (empty: it may move)"
                    input name="fixed" value=[support.fixed.as_deref()]; }
                label { "Gap under the bearer"
                    input name="gap" inputmode=(keys(form)) value=[support.gap.as_ref().map(typed)]; }
                label { "Raise no more than"
                    input name="max_lift" inputmode=(keys(form)) value=[support.max_lift.as_ref().map(typed)]; }
                label { "Lift set by hand (empty: it is worked out)"
                    input name="lift" inputmode=(keys(form)) value=[support.lift.as_ref().map(typed)]; }
                button .main type="submit" { "Save " (support.id) }
            }
            button type="button" data-did="remove" data-kind="support" data-name=(support.id) {
                "Take out this " (one)
            }
            (notes::shown(job, |of| *of == about))
            (notes::form(Some(&about)))
        }
    }
}

fn datum(form: &Form) -> Markup {
    let zero = form.datum.as_ref().and_then(|datum| datum.zero.as_deref());
    let datum = datum_json(form);
    let unit = bare_unit(unit_of(form));
    let names = form
        .support
        .iter()
        .map(|support| &support.id)
        .chain(form.point.iter().map(|point| &point.id));
    html! {
        section aria-labelledby="datum" {
            h2 #datum { "What levels are counted from" }
            @if !says_datum(form) {
                p { "Nothing yet. Name a mark that does not move with the house, and read it first, last and in between: "
                    "only so is it seen whether the house came up. To find out how the floor lies, calling one of its points zero is enough." }
            }
            @for mark in &form.benchmark {
                p { "Benchmark " strong { (mark.point) }
                    @if let Some(level) = &mark.level { " at " (typed(level)) }
                    " " button type="button" data-did="remove" data-kind="benchmark" data-name=(mark.point) { "Take out" }
                }
            }
            @if let Some(zero) = zero {
                p { strong { (zero) } " is called zero. "
                    button type="button" data-zero="" data-datum=(datum) { "Call it zero no longer" } }
            }
            form data-make="benchmark" data-datum=(datum) {
                label { "Benchmark" input name="point" value="BM" maxlength="40" required[true]; }
                label { "Its level, " (unit) input name="level" inputmode=(keys(form)) value="0" required[true]; }
                button type="submit" { "Use this benchmark" }
            }
            @if zero.is_some() { p .hint { "With a benchmark nothing else is called zero." } }
            @if form.benchmark.is_empty() {
                form data-make="zero" data-datum=(datum) {
                    label { "Or this point of the floor" input name="zero" list="floor-points" autocapitalize="characters" autocomplete="off" required[true]; }
                    datalist #floor-points { @for name in names { option value=(name) {} } }
                    button type="submit" { "Call it zero" }
                }
            }
        }
    }
}
