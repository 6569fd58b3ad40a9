//! Remarks and photos, and what they are about.

use crate::events::EventId;
use crate::photo::PhotoHash;
use serde::{Deserialize, Serialize};

/// What a remark or a photo is about.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum About {
    /// A point that is read, by its name.
    Point(String),
    /// A support, by its name.
    Support(String),
    /// A pass, by its number.
    Pass(u32),
}

/// A remark, a photo, or both.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Note {
    /// What it is about.
    pub about: About,
    /// What was noticed.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub text: String,
    /// It is a crack.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub crack: bool,
    /// The photo, by its name. It arrives by itself, and may be on its way yet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub photo: Option<PhotoHash>,
}

/// A remark or photo with the event that made it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct NoteAt {
    /// The event.
    pub event: EventId,
    /// What was noted.
    pub note: Note,
}
