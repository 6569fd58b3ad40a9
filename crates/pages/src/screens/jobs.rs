//! The list of jobs, and beginning a new one.

use crate::layout::{Here, Shell};
use crate::view::World;
use maud::{Markup, html};

/// The page.
pub fn page(world: &World<'_>) -> Markup {
    let shell = Shell { world, job: None, here: Here::Jobs };
    shell.page("Jobs", &html! {
        h1 { "Jobs" }
        @if world.jobs.is_empty() {
            p { "There is no job yet. Begin one, bring one in, or look at the demo." }
        }
        ul .jobs {
            @for job in world.jobs {
                li {
                    a .big href={ "/jobs/" (job.id) } {
                        strong { (job.name) }
                        span { (job.n_supports) " supports, " (job.n_readings) " readings" }
                    }
                }
            }
        }
        section aria-labelledby="new" {
            h2 #new { "Begin a job" }
            form data-begin="new" {
                label { "Name of the job" input name="job.name" required[true] maxlength="100"; }
                label { "Words and criteria of"
                    select name="job.terms" {
                        option value="au" { "Australia" }
                        option value="nz" { "New Zealand" }
                        option value="us" { "United States" }
                        option value="uk" { "United Kingdom" }
                    }
                }
                label { "Units"
                    select name="job.units" {
                        option value="mm" { "millimetres" }
                        option value="m" { "metres" }
                        option value="ft-in" { "feet and inches" }
                    }
                }
                button .main type="submit" { "Begin" }
            }
        }
        section aria-labelledby="in" {
            h2 #in { "Bring a job in" }
            form data-begin="file" {
                label { "A job (.toml) with the tables that it names, or one table of readings (.csv)"
                    input type="file" name="file" accept=".toml,.csv" multiple[true] required[true];
                }
                button type="submit" { "Bring in" }
            }
            form data-begin="demo" { button type="submit" { "Open the demo (an invented house)" } }
        }
        p .links { a .big href="/devices" { strong { "Phones" } span { "let one in, send one away; on the computer itself" } } }
    })
}
