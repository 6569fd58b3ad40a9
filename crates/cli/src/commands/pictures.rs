//! What the program's pictures say around the plan.

use crate::exit::{Stop, USAGE};
use crate::session::Session;
use floorwright_draw::{
    CarriedPicture, FloorPicture, JackLine, JackPicture, LiftPicture, Medium, Paper, PassPicture,
    PlanPictures, ProfilePicture, WayPicture,
};
use floorwright_engine::plan::Plan;
use floorwright_engine::site::Position;
use floorwright_engine::surface::ContourError;
use floorwright_engine::units::Length;
use std::path::{Path, PathBuf};

/// With more supports than this their packers have no room on a sheet of A4.
const ON_A4: usize = 40;

/// What a picture with a stack of packers at each support is drawn on.
pub fn medium(session: &Session, phone: bool) -> Medium {
    let paper = if session.job.site.supports().len() > ON_A4 { Paper::A3 } else { Paper::A4 };
    if phone { Medium::Screen } else { Medium::Sheet(paper) }
}

/// The name of a picture beside another: `lifts.svg` and `floor-after` make
/// `lifts-floor-after.svg`.
pub fn beside(path: &Path, what: &str) -> PathBuf {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    // A support may have a name that no file can have.
    let plain = |letter: char| letter.is_alphanumeric() || matches!(letter, '-' | '_');
    let what: String = what.chars().map(|c| if plain(c) { c } else { '_' }).collect();
    path.with_file_name(format!("{stem}-{what}.svg"))
}

/// The pictures of a session.
pub struct Head<'a>(PlanPictures<'a>);

impl<'a> Head<'a> {
    /// Takes names and dates from the job.
    pub fn of(session: &'a Session, plan: &'a Plan) -> Self {
        Self(PlanPictures::of(&session.input, &session.job, plan))
    }

    /// The floor as read.
    pub fn floor_now(
        &self,
        medium: Medium,
        interval: Option<Length>,
    ) -> Result<FloorPicture, Stop> {
        let picture = self.0.floor_now(medium, interval).map_err(|error| bad_interval(&error))?;
        picture.ok_or_else(|| Stop::new(crate::exit::FAILED, "there is no floor to draw"))
    }

    /// The floor after the lifts, if there are any.
    pub fn floor_after(
        &self,
        medium: Medium,
        interval: Option<Length>,
    ) -> Result<Option<FloorPicture>, Stop> {
        self.0.floor_after(medium, interval).map_err(|error| bad_interval(&error))
    }

    /// A section along a line, if it meets any floor that was read.
    pub fn section(&self, medium: Medium, from: Position, to: Position) -> Option<ProfilePicture> {
        self.0.section(medium, from, to)
    }

    /// The lifts, if there are any.
    pub fn lifts(&self, medium: Medium) -> Option<LiftPicture> {
        self.0.lifts(medium)
    }

    /// Who carries what: today, at the worst moment of the passes and when all is packed, as far
    /// as they are known; `None` without a frame. [`floorwright_draw::carried_map`] draws them side
    /// by side; [`CarriedPicture::alone`] picks one, to be drawn large with names.
    pub fn who_carries(&self, medium: Medium) -> Option<CarriedPicture> {
        self.0.who_carries(medium)
    }

    /// Who carries what today, large with names; `None` without a frame. Drawn by
    /// [`floorwright_draw::carried_map`].
    pub fn frame_today(&self, medium: Medium) -> Option<CarriedPicture> {
        self.who_carries(medium)?.alone(0)
    }

    /// The force at a jack as it rises, drawn by [`floorwright_draw::jack_chart`].
    ///
    /// `place` is where the jack stands, as `A3` or `A3, 300 mm beside it`. [`JackLine::over`] makes
    /// `alone` and `together` from what [`floorwright_engine::frame::jack_curve`] gives, one curve
    /// for each of [`floorwright_engine::frame::assumptions`]; [`JackLine::default`] where one was
    /// not worked out. `neighbours` names who rises with it, as `A2 and A4`; it may be empty.
    pub fn jack(
        &self,
        medium: Medium,
        place: &str,
        (alone, together): (JackLine, JackLine),
        neighbours: &str,
    ) -> JackPicture {
        self.0.jack(medium, place, alone, together, neighbours)
    }

    /// How near the passes come to their limits, move by move; `None` if there are no passes.
    /// Drawn by [`floorwright_draw::way_chart`].
    pub fn along_the_way(&self, medium: Medium) -> Option<WayPicture> {
        self.0.along_the_way(medium)
    }

    /// The passes, if there are any, with the force at each jack where a frame was looked at.
    pub fn passes(&self, medium: Medium) -> Option<PassPicture> {
        self.0.passes(medium)
    }
}

fn bad_interval(error: &ContourError) -> Stop {
    Stop::new(USAGE, format!("--interval: {error}")).hint("leave it out to have it chosen")
}
