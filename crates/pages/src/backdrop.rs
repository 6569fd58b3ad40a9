//! From the picture behind the map, as it was noted, to where it lies.

use crate::view::JobView;
use floorwright_draw::BackdropPicture;
use floorwright_engine::backdrop::{Backdrop, Mark, Pixel};
use floorwright_engine::site::{Position, Site};
use floorwright_job::events::BackdropMark;
use floorwright_job::form_v1::{PlaceForm, Quantity};
use floorwright_job::measure::{DecimalMark, Unit, parse_length};

/// The picture behind the map as it lies on the plan, if there is one; or why it cannot be laid.
pub(crate) fn laid(job: &JobView) -> Option<Result<BackdropPicture, String>> {
    let noted = job.folded.backdrop.as_ref()?;
    let site = job.worked.as_ref().map(|worked| &worked.job.site)?;
    let unit = job.folded.form.job.as_ref().and_then(|job| job.units).unwrap_or_default();
    let mark = |mark: &BackdropMark| -> Result<Mark, String> {
        let [right, down] = mark.pixel;
        Ok(Mark { pixel: Pixel { right, down }, place: place(&mark.at, site, unit)? })
    };
    let lay = || -> Result<BackdropPicture, String> {
        let marks = [mark(&noted.marks[0])?, mark(&noted.marks[1])?];
        let laid = Backdrop::laid(marks).map_err(|error| error.to_string())?;
        let href = format!("/photos/{}", noted.photo);
        let places = marks.map(|mark| mark.place);
        Ok(BackdropPicture { href, width: noted.width, height: noted.height, laid, marks: places })
    };
    Some(lay())
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
            let mm = |written: &Quantity| {
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
            Ok(Position { x: mm(x)?, y: mm(y)? })
        }
    }
}
