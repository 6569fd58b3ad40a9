//! The site: rooms, supports, and what the levels are counted from.

use crate::backdrop;
use crate::layout::{Shell, bare_unit, faults, typed};
use crate::pictures;
use crate::screens::notes;
use crate::view::JobView;
use floorwright_engine::ids::SupportId;
use floorwright_job::events::About;
use floorwright_job::form_v1::{Form, SupportForm};
use floorwright_job::measure::Unit;
use maud::{Markup, html};

/// The page.
pub fn page(shell: &Shell<'_>, job: &JobView) -> Markup {
    let (one, several) = job.words().supports();
    let form = &job.folded.form;
    shell.page(
        "Site",
        &html! {
            h1 { "Site" }
            (faults(&job.faults))
            @if let Some(picture) = pictures::site(job) {
                div .tap data-tap="support" { (picture) }
                p .hint { "Tap a " (one) " to change it." }
            }
            (behind(job))
            (grid(form, one, several))
            (room(form))
            (points(form, one))
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

fn unit_of(form: &Form) -> Unit {
    form.job.as_ref().and_then(|job| job.units).unwrap_or_default()
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
            summary { "Add a grid of " (several) }
            form data-make="grid" {
                label { "Rows (A, B, C …)" input name="rows" inputmode="numeric" value="3" required[true]; }
                label { (several) " in a row" input name="columns" inputmode="numeric" value="4" required[true]; }
                label { "Spacing along a row, " (unit) input name="along" inputmode="decimal" value=(usual) required[true]; }
                label { "From row to row, " (unit) input name="between" inputmode="decimal" value=(usual) required[true]; }
                label { "First " (one) ", from the left, " (unit) input name="x" inputmode="decimal" value="0"; }
                label { "First " (one) ", from the bottom, " (unit) input name="y" inputmode="decimal" value="0"; }
                button .main type="submit" { "Add the grid" }
            }
            p .hint { "A1 is at the bottom left of the plan. Those that are there already stay as they are." }
        }
    }
}

/// The fields of a rectangle on the plan.
pub(crate) fn rectangle(form: &Form) -> Markup {
    let unit = bare_unit(unit_of(form));
    html! {
        label { "Left edge, " (unit) input name="x" inputmode="decimal" value="0"; }
        label { "Bottom edge, " (unit) input name="y" inputmode="decimal" value="0"; }
        label { "Width, " (unit) input name="width" inputmode="decimal" required[true]; }
        label { "Depth, " (unit) input name="depth" inputmode="decimal" required[true]; }
    }
}

fn room(form: &Form) -> Markup {
    html! {
        details {
            summary { "Add a room" }
            form data-make="room" {
                label { "Name" input name="name" required[true]; }
                (rectangle(form))
                label { "Finish"
                    select name="finish" {
                        option value="boards" { "boards" } option value="plaster" { "plaster" } option value="tiles" { "tiles" }
                    }
                }
                button type="submit" { "Add the room" }
            }
            @for room in &form.room {
                p { (room.name) " "
                    button type="button" data-did="remove" data-kind="room" data-name=(room.name) { "Take out" }
                }
            }
        }
    }
}

/// Points that are over no support: in the middle of a room, on a threshold, on the new floor.
fn points(form: &Form, one: &str) -> Markup {
    let unit = bare_unit(unit_of(form));
    html! {
        details {
            summary { "Add a point that is over no " (one) }
            form data-make="point" {
                label { "Name" input name="id" autocapitalize="characters" autocomplete="off" required[true]; }
                label { "From the left, " (unit) input name="x" inputmode="decimal" required[true]; }
                label { "From the bottom, " (unit) input name="y" inputmode="decimal" required[true]; }
                label { "It is"
                    select name="kind" {
                        @for (word, said) in [
                            ("floor", "on the floor"), ("threshold", "a threshold or the new floor"),
                            ("benchmark", "a mark that does not move"), ("ground", "on the ground"),
                        ] { option value=(word) { (said) } }
                    }
                }
                button type="submit" { "Add the point" }
            }
            @for point in &form.point {
                p { (point.id) " "
                    button type="button" data-did="remove" data-kind="point" data-name=(point.id) { "Take out" }
                }
            }
        }
    }
}

fn change_support(job: &JobView, support: &SupportForm, one: &str) -> Markup {
    let about = About::Support(support.id.clone());
    let place = |axis: usize| support.at.as_ref().map(|at| typed(&at[axis]));
    let site = job.worked.as_ref().map(|worked| &worked.job.site);
    let at = site.and_then(|site| site.support(&SupportId::new(&support.id))).map(|known| known.at);
    html! {
        details .support id={ "support-" (support.id) } data-name=(support.id)
            data-x=[at.map(|at| at.x.to_mm())] data-y=[at.map(|at| at.y.to_mm())] {
            summary { (support.id) @if support.fixed.is_some() { " (stays)" } }
            form data-put="support" data-form=(serde_json::to_string(support).unwrap_or_default()) {
                label { "From the left" input name="at.0" inputmode="decimal" value=[place(0)]; }
                label { "From the bottom" input name="at.1" inputmode="decimal" value=[place(1)]; }
                label { "Must stay because (empty: it may move)"
                    input name="fixed" value=[support.fixed.as_deref()]; }
                label { "Gap under the bearer"
                    input name="gap" inputmode="decimal" value=[support.gap.as_ref().map(typed)]; }
                label { "Raise no more than"
                    input name="max_lift" inputmode="decimal" value=[support.max_lift.as_ref().map(typed)]; }
                label { "Lift set by hand (empty: it is worked out)"
                    input name="lift" inputmode="decimal" value=[support.lift.as_ref().map(typed)]; }
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
    html! {
        section aria-labelledby="datum" {
            h2 #datum { "What levels are counted from" }
            @if form.benchmark.is_empty() && zero.is_none() {
                p { "Nothing yet. Name a mark that does not move with the house, and read it first, last and in between." }
            }
            @for mark in &form.benchmark {
                p { "Benchmark " strong { (mark.point) }
                    @if let Some(level) = &mark.level { " at " (typed(level)) }
                    " " button type="button" data-did="remove" data-kind="benchmark" data-name=(mark.point) { "Take out" }
                }
            }
            @if let Some(zero) = zero { p { strong { (zero) } " is called zero" } }
            form data-put="benchmark" data-form="{}" {
                label { "Benchmark" input name="point" value="BM" required[true]; }
                label { "Its level" input name="level" inputmode="decimal" value="0" required[true]; }
                button type="submit" { "Use this benchmark" }
            }
        }
    }
}
