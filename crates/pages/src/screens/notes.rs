//! Remarks and photos: taking them, and showing them where they belong.

use crate::view::JobView;
use floorwright_job::events::{About, NoteAt};
use maud::{Markup, html};

/// So many are shown of one kind, the newest first.
const MOST_SHOWN: usize = 40;

/// Takes a remark, a photo, or both: about one thing, or about a point that is named in the form.
pub fn form(about: Option<&About>) -> Markup {
    let about = about.and_then(|about| serde_json::to_string(about).ok());
    html! {
        details {
            summary { "Photo or remark" }
            form data-note="yes" data-about=[&about] {
                @if about.is_none() {
                    label { "Point" input name="point" list="points" autocapitalize="characters" autocomplete="off"; }
                }
                label { "What was noticed" input name="text" maxlength="500" autocomplete="off"; }
                label { "It is"
                    select name="kind" { option value="remark" { "a remark" } option value="crack" { "a crack" } }
                }
                label { "Photo" input type="file" name="photo" accept="image/*"; }
                button type="submit" { "Keep it" }
                p role="status" {}
            }
        }
    }
}

/// The remarks and photos that are about something, the newest first.
pub fn shown(job: &JobView, is_wanted: impl Fn(&About) -> bool) -> Markup {
    let wanted: Vec<&NoteAt> =
        job.folded.notes.iter().rev().filter(|noted| is_wanted(&noted.note.about)).collect();
    html! {
        @if !wanted.is_empty() {
            ul .notes aria-label="Photos and remarks" {
                @for noted in wanted.iter().take(MOST_SHOWN) { (one(noted)) }
            }
            @if wanted.len() > MOST_SHOWN {
                p { (wanted.len() - MOST_SHOWN) " older ones are in the file of the job." }
            }
        }
    }
}

fn one(noted: &NoteAt) -> Markup {
    let note = &noted.note;
    let about = match &note.about {
        About::Point(name) | About::Support(name) => name.clone(),
        About::Pass(number) => format!("pass {number}"),
    };
    html! {
        li {
            p { strong { (about) @if note.crack { ", crack" } } @if !note.text.is_empty() { ": " (note.text) } }
            @if let Some(photo) = &note.photo {
                a href={ "/photos/" (photo) } target="_blank" {
                    img src={ "/photos/" (photo) } loading="lazy"
                        alt={ "Photo of " (about) ". If it is not seen, it is still on the phone that took it." };
                }
            }
            button type="button" data-undo=(noted.event) aria-label={ "Take back this about " (about) } { "Take back" }
        }
    }
}
