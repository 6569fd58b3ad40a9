//! Documents to hand over.

use crate::layout::Shell;
use crate::view::JobView;
use maud::{Markup, html};

/// Documents by the names of their files, with what they are for.
const DOCUMENTS: &[(&str, &str, &str)] = &[
    ("floor-report", "Floor report", "how far out, where, and how sure: for the client, before"),
    ("lifting-plan", "Lifting plan", "what it takes: for client and engineer"),
    ("run-sheet", "Run sheet", "what to lift, move by move: for the crew"),
    ("quote", "Quote", "what it costs: for the client to sign"),
    ("order", "Order list", "what to buy, hire and do, with the rates: for the builder"),
    ("completion-record", "Completion record", "what was done and what came of it"),
];

/// The page.
pub fn page(shell: &Shell<'_>, job: &JobView) -> Markup {
    shell.page("Paper", &html! {
        h1 { "Paper" }
        ul .jobs {
            @for (name, title, what) in DOCUMENTS {
                li {
                    a .big href={ "/jobs/" (job.id) "/paper/" (name) } { strong { (title) } span { (what) " (PDF)" } }
                }
            }
        }
    })
}
