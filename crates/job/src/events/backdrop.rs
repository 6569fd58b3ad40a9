//! The picture behind the map of the site.

use crate::form_v1::PlaceForm;
use crate::photo::PhotoHash;
use serde::{Deserialize, Serialize};

/// A picture behind the map, with two spots whose places are known.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BackdropNote {
    /// The picture, by its name among the photos.
    pub photo: PhotoHash,
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
    /// The two spots.
    pub marks: [BackdropMark; 2],
}

/// A spot of a picture whose place is known.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BackdropMark {
    /// Pixels to the right and down from the upper left corner.
    pub pixel: [f64; 2],
    /// The name of the support or point that is there, or its place on the plan.
    pub at: PlaceForm,
}
