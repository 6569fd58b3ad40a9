//! The picture behind the map of the site.

use crate::form_v1::{PlaceForm, Quantity};
use crate::measure::{DecimalMark, Unit, parse_length};
use crate::photo::PhotoHash;
use floorwright_engine::backdrop::{Mark, Pixel};
use floorwright_engine::site::{Position, Site};
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

impl BackdropNote {
    /// The two spots with their places on the plan.
    ///
    /// # Errors
    /// In words, a name without a place or a place that is no length.
    pub fn placed(&self, site: &Site, unit: Unit) -> Result<[Mark; 2], String> {
        let mark = |mark: &BackdropMark| -> Result<Mark, String> {
            let [right, down] = mark.pixel;
            Ok(Mark { pixel: Pixel { right, down }, place: place(&mark.at, site, unit)? })
        };
        Ok([mark(&self.marks[0])?, mark(&self.marks[1])?])
    }
}

fn place(at: &PlaceForm, site: &Site, unit: Unit) -> Result<Position, String> {
    match at {
        PlaceForm::OverSupport(name) => {
            let support = site.supports().iter().find(|support| support.id.as_str() == name);
            let point = || site.points().iter().find(|point| point.id.as_str() == name)?.at;
            support.map(|support| support.at).or_else(point).ok_or_else(|| {
                format!("the picture behind the map is marked by {name}, which has no place: mark it anew")
            })
        }
        PlaceForm::Position([x, y]) => {
            let length = |written: &Quantity| {
                let text = match written {
                    Quantity::Number(number) => number.to_string(),
                    Quantity::Text(text) => text.clone(),
                };
                parse_length(&text, unit, DecimalMark::Point)
                    .map(|length| length.to_length())
                    .map_err(|error| {
                        format!("a mark of the picture behind the map: {error}: \"{text}\"")
                    })
            };
            Ok(Position { x: length(x)?, y: length(y)? })
        }
    }
}
