//! From the picture behind the map, as it was noted, to where it lies.

use crate::view::JobView;
use floorwright_draw::BackdropPicture;
use floorwright_engine::backdrop::Backdrop;

/// The picture behind the map as it lies on the plan, if there is one; or why it cannot be laid.
pub(crate) fn laid(job: &JobView) -> Option<Result<BackdropPicture, String>> {
    let noted = job.folded.backdrop.as_ref()?;
    let site = job.at_hand().map(|worked| &worked.job.site)?;
    let unit = job.folded.form.job.as_ref().and_then(|job| job.units).unwrap_or_default();
    let lay = || -> Result<BackdropPicture, String> {
        let marks = noted.placed(site, unit)?;
        Ok(BackdropPicture {
            href: format!("/photos/{}", noted.photo),
            width: noted.width,
            height: noted.height,
            laid: Backdrop::laid(marks).map_err(|error| error.to_string())?,
            marks: marks.map(|mark| mark.place),
        })
    };
    Some(lay())
}
