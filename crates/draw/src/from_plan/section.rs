//! A section through the floor of a plan.

use super::{PlanPictures, Reference, departures};
use crate::picture::{Medium, ProfilePicture, ProfilePoint, ProfileSupport};
use floorwright_engine::plan::FloorShape;
use floorwright_engine::site::Position;
use floorwright_engine::surface::Surface;
use floorwright_engine::units::{Length, Level};
use floorwright_engine::verdict::COVERAGE;

/// A support that stands further from the line than this is not under it: the width of a bearer
/// with what a line on a plan is out by (a choice).
const UNDER_LINE: Length = Length::mm(300.0);
/// The floor along the line is looked up at about so many places.
const PLACES: f64 = 240.0;
/// But not more closely than this.
const LEAST_STEP: Length = Length::mm(10.0);

impl PlanPictures<'_> {
    /// The floor along a straight line on the plan, as it is and as the lifts will leave it, with
    /// the supports within 300 mm of the line. `None` if the line meets no floor that was read.
    ///
    /// The uncertainty is that of the floor as read, k = 2; what the lifts add to it is not known.
    pub fn section(&self, medium: Medium, from: Position, to: Position) -> Option<ProfilePicture> {
        let shape = self.plan.floor.done()?;
        let reference = self.reference(shape);
        let before = along(&shape.surface, from, to, &|at| reference.at(at));
        if before.iter().all(|place| place.departure.is_none()) {
            return None;
        }
        Some(ProfilePicture {
            medium,
            title_block: self.titled("Section", "section"),
            print: self.print.whole(),
            line_note: self.line_note(from, to),
            target_note: self.target_note(),
            datum_note: self.datum_note.clone(),
            before,
            after: self.after(shape, &reference, from, to),
            supports: self.supports_under(from, to),
            tolerance: self.job.goal.level_tolerance,
        })
    }

    fn after(
        &self,
        shape: &FloorShape,
        reference: &Reference,
        from: Position,
        to: Position,
    ) -> Vec<ProfilePoint> {
        let Some(packing) = self.plan.packing.done() else { return Vec::new() };
        let departures = departures(shape, &packing.after, reference);
        let Some(surface) = self.above_target(&departures) else { return Vec::new() };
        let mut places = along(&surface, from, to, &|_| Level::DATUM);
        for place in &mut places {
            place.uncertainty = Length::ZERO;
        }
        places
    }

    fn supports_under(&self, from: Position, to: Position) -> Vec<ProfileSupport> {
        let length = from.distance(to);
        let (run_x, run_y) = ((to.x - from.x) / length, (to.y - from.y) / length);
        let mut supports: Vec<ProfileSupport> = self
            .job
            .site
            .supports()
            .iter()
            .filter_map(|support| {
                let (x, y) = (support.at.x - from.x, support.at.y - from.y);
                let (along, aside) = (x * run_x + y * run_y, y * run_x - x * run_y);
                let under = aside.abs() <= UNDER_LINE
                    && along >= -UNDER_LINE
                    && along <= length + UNDER_LINE;
                let along = along.max(Length::ZERO).min(length);
                under.then(|| ProfileSupport { support: support.id.clone(), along })
            })
            .collect();
        supports.sort_by(|a, b| a.along.total_cmp(&b.along));
        supports
    }

    fn line_note(&self, from: Position, to: Position) -> String {
        let place = |at: Position| {
            format!("x {}, y {}", self.print.on_plan(at.x), self.print.on_plan(at.y))
        };
        format!("from {} to {}", place(from), place(to))
    }
}

fn along(
    surface: &Surface,
    from: Position,
    to: Position,
    target: &dyn Fn(Position) -> Level,
) -> Vec<ProfilePoint> {
    let step = (from.distance(to) / PLACES).max(LEAST_STEP);
    let places = surface.profile(from, to, step);
    places
        .iter()
        .map(|place| {
            let height = place.height.filter(|height| height.measured);
            ProfilePoint {
                along: place.along,
                departure: height.map(|height| height.level - target(place.at)),
                uncertainty: height.map_or(Length::ZERO, |height| height.sd * COVERAGE),
            }
        })
        .collect()
}
