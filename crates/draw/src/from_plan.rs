//! Pictures of a plan: the floor as it is, the lifts, the floor as it will be, the passes.

use crate::classes::ColourScale;
use crate::number::Decimals;
use crate::picture::{
    Contour, FloorPicture, FloorPoint, LiftPicture, Medium, Move, Orientation, PassPicture,
    PassStep, RoomOutline, ShadedCell, SupportMark, TitleBlock,
};
use floorwright_engine::ids::{PointId, SupportId};
use floorwright_engine::plan::{FloorShape, Job, LiftingStage, Plan};
use floorwright_engine::site::Position;
use floorwright_engine::surface::{ContourError, Grid, Surface};
use floorwright_engine::survey::Levels;
use floorwright_engine::target::{Outcome, TargetPlane};
use floorwright_engine::units::{LENGTH_EPS, Length, Level};
use std::collections::BTreeSet;

/// Side of a patch of shading, where the floor is not too large for it.
const PATCH: Length = Length::mm(200.0);

/// A plan with what its pictures say around it.
pub struct PlanPictures<'a> {
    /// What was worked on.
    pub job: &'a Job,
    /// What came of it.
    pub plan: &'a Plan,
    /// Whose drawings they are; the title of each drawing is put in.
    pub title_block: TitleBlock,
    /// Which way the plan lies.
    pub orientation: Orientation,
    /// What levels are counted from, in words.
    pub datum_note: String,
}

impl PlanPictures<'_> {
    /// The floor as it was read. `None` if the plan has no surface.
    ///
    /// # Errors
    /// [`ContourError`] for an interval that cannot be drawn.
    pub fn floor_now(
        &self,
        medium: Medium,
        interval: Option<Length>,
    ) -> Result<Option<FloorPicture>, ContourError> {
        let Some(shape) = self.plan.floor.done() else { return Ok(None) };
        let levels: Vec<(PointId, Level)> = shape
            .surface
            .readings()
            .iter()
            .map(|reading| (reading.point.clone(), reading.level))
            .collect();
        self.floor(medium, interval, shape, &levels, "Floor as read")
    }

    /// The floor as the lifts will leave it. `None` if there are no lifts.
    ///
    /// # Errors
    /// [`ContourError`] for an interval that cannot be drawn.
    pub fn floor_after(
        &self,
        medium: Medium,
        interval: Option<Length>,
    ) -> Result<Option<FloorPicture>, ContourError> {
        let (Some(shape), Some(packing)) = (self.plan.floor.done(), self.plan.packing.done())
        else {
            return Ok(None);
        };
        self.floor(medium, interval, shape, &packing.after, "Floor after the lifts (predicted)")
    }

    fn floor(
        &self,
        medium: Medium,
        interval: Option<Length>,
        shape: &FloorShape,
        levels: &[(PointId, Level)],
        title: &str,
    ) -> Result<Option<FloorPicture>, ContourError> {
        let reference = self.reference(shape);
        let doubted = self.in_doubt(shape);
        let departures = departures(shape, levels, &reference);
        let flat = departures
            .iter()
            .map(|(point, _, departure)| (point.clone(), Level::DATUM + *departure, LENGTH_EPS));
        // The same mesh, over heights above the target: contours then fall on round departures.
        let Ok(surface) = Surface::new(&self.job.site, &Levels::independent(flat)) else {
            return Ok(None);
        };
        let contours = surface.contours(interval)?;
        let points = departures
            .iter()
            .map(|(point, at, departure)| FloorPoint {
                point: point.clone(),
                at: *at,
                departure: Some(*departure),
                suspect: doubted.contains(point),
            })
            .collect();
        Ok(Some(FloorPicture {
            medium,
            title_block: self.titled(title, "levels plan"),
            orientation: self.orientation,
            datum_note: self.datum_note.clone(),
            target_note: self.target_note(),
            colours: self.floor_colours(shape, &reference),
            tolerance: self.job.goal.level_tolerance,
            contour_interval: (!contours.lines.is_empty()).then_some(contours.interval),
            decimals: Decimals::Whole,
            rooms: self.rooms(),
            points,
            contours: contours
                .lines
                .into_iter()
                .map(|contour| Contour {
                    departure: contour.level - Level::DATUM,
                    index: contour.is_index,
                    line: closed_line(contour.places, contour.closed),
                })
                .collect(),
            cells: surface.sample(PATCH).map_or_else(Vec::new, |grid| cells(&grid)),
        }))
    }

    /// The lifts and the packers. `None` if there are no lifts.
    pub fn lifts(&self, medium: Medium) -> Option<LiftPicture> {
        let lifting = self.plan.lifting.done()?;
        let Outcome::Reached(lift_plan) = &lifting.outcome else { return None };
        let lifts = &lift_plan.outcome.lifts;
        let packing = self.plan.packing.done();
        let supports = self
            .job
            .site
            .supports()
            .iter()
            .zip(&lifting.supports)
            .zip(lifts)
            .map(|((support, facts), lift)| SupportMark {
                support: support.id.clone(),
                at: support.at,
                lift: lift.lift,
                packers: packing
                    .and_then(|packing| {
                        packing.supports.iter().find(|packed| packed.support == support.id)
                    })
                    .and_then(|packed| packed.stack.as_ref())
                    .map_or_else(Vec::new, |stack| stack.pieces.clone()),
                fixed: facts.held.clone(),
            })
            .collect();
        Some(LiftPicture {
            medium,
            title_block: self.titled("Lifts and packers", "lifting plan"),
            orientation: self.orientation,
            target_note: self.target_note(),
            colours: ColourScale::covering(lifts.iter().map(|lift| lift.lift)),
            decimals: Decimals::Tenths,
            rooms: self.rooms(),
            supports,
        })
    }

    /// All passes side by side. `None` if there are none.
    pub fn passes(&self, medium: Medium) -> Option<PassPicture> {
        let passes = &self.plan.passes.done()?.passes;
        if passes.passes.is_empty() {
            return None;
        }
        let steps: Vec<PassStep> = passes
            .passes
            .iter()
            .map(|pass| {
                let mut moves: Vec<Move> = Vec::new();
                for moved in pass.moves.iter().flat_map(|together| &together.supports) {
                    let lift = moved.to - moved.from;
                    match moves.iter_mut().find(|known| known.support == moved.support) {
                        Some(known) => known.lift += lift,
                        None => moves.push(Move { support: moved.support.clone(), lift }),
                    }
                }
                PassStep { number: pass.number, moves }
            })
            .collect();
        let all = steps.iter().flat_map(|step| step.moves.iter().map(|moved| moved.lift));
        let supports: Vec<(SupportId, Position)> = self
            .job
            .site
            .supports()
            .iter()
            .map(|support| (support.id.clone(), support.at))
            .collect();
        Some(PassPicture {
            medium,
            title_block: self.titled("Passes", "run sheet"),
            orientation: self.orientation,
            colours: ColourScale::covering(all),
            decimals: Decimals::Tenths,
            rooms: self.rooms(),
            supports,
            passes: steps,
        })
    }

    fn titled(&self, title: &str, document_type: &str) -> TitleBlock {
        TitleBlock {
            title: title.to_owned(),
            document_type: document_type.to_owned(),
            ..self.title_block.clone()
        }
    }

    fn rooms(&self) -> Vec<RoomOutline> {
        let rooms = self.job.site.rooms().iter();
        rooms
            .map(|room| RoomOutline { name: room.id.to_string(), outline: room.outline.clone() })
            .collect()
    }

    /// What heights are drawn above: the target, or without one the mean of the floor.
    fn reference(&self, shape: &FloorShape) -> Reference {
        let lifting = self.plan.lifting.done();
        if let Some(Outcome::Reached(lift_plan)) = lifting.map(|lifting| &lifting.outcome) {
            return Reference::Target(lift_plan.outcome.plane);
        }
        if let Some(level) = lifting.and_then(|lifting| lifting.target.level) {
            return Reference::Height(level);
        }
        let readings = shape.surface.readings();
        let sum: Length = readings.iter().map(|reading| reading.level - Level::DATUM).sum();
        Reference::Height(Level::DATUM + sum / readings.len().max(1) as f64)
    }

    fn target_note(&self) -> String {
        let Some(lifting) = self.plan.lifting.done() else {
            return "heights are above the mean of the floor: there is no target".to_owned();
        };
        match (&lifting.outcome, lifting.target.level) {
            (Outcome::Reached(lift_plan), _) => {
                format!("{}, {}", lift_plan.outcome.plane.height, lifting.target.from)
            }
            (_, Some(level)) => format!("{level}, {} (cannot be met)", lifting.target.from),
            (_, None) => "heights are above the mean of the floor: there is no target".to_owned(),
        }
    }

    fn in_doubt(&self, shape: &FloorShape) -> BTreeSet<PointId> {
        let suspects = self.plan.reduction.suspects.iter();
        let mut doubted: BTreeSet<PointId> =
            suspects.filter_map(|suspect| suspect.name.point().cloned()).collect();
        doubted.extend(shape.odd.iter().map(|odd| odd.odd.point.clone()));
        doubted
    }

    /// One scale for before and after.
    fn floor_colours(&self, shape: &FloorShape, reference: &Reference) -> ColourScale {
        let asked = |point: &PointId| {
            self.plan.lifting.done().is_none_or(|lifting| is_asked_for(lifting, point))
        };
        ColourScale::covering(
            shape
                .surface
                .readings()
                .iter()
                .filter(|reading| asked(&reading.point))
                .map(|reading| reading.level - reference.at(reading.at)),
        )
    }
}

/// A step would swallow the colours: only points that the goal asks about set the scale.
fn is_asked_for(lifting: &LiftingStage, point: &PointId) -> bool {
    !lifting.left_out.iter().any(|(left_out, _)| left_out == point)
}

enum Reference {
    Target(TargetPlane),
    Height(Level),
}

impl Reference {
    fn at(&self, place: Position) -> Level {
        match self {
            Self::Target(plane) => plane.at(place),
            Self::Height(level) => *level,
        }
    }
}

fn departures(
    shape: &FloorShape,
    levels: &[(PointId, Level)],
    reference: &Reference,
) -> Vec<(PointId, Position, Length)> {
    shape
        .surface
        .readings()
        .iter()
        .zip(levels)
        .map(|(reading, (point, level))| {
            (point.clone(), reading.at, *level - reference.at(reading.at))
        })
        .collect()
}

fn closed_line(mut places: Vec<Position>, closed: bool) -> Vec<Position> {
    if closed && let Some(first) = places.first().copied() {
        places.push(first);
    }
    places
}

/// A square for each cell whose height is known.
fn cells(grid: &Grid) -> Vec<ShadedCell> {
    let half = grid.spacing / 2.0;
    let square = |middle: Position| -> Vec<Position> {
        let corner =
            |right: f64, up: f64| Position { x: middle.x + half * right, y: middle.y + half * up };
        vec![corner(-1.0, -1.0), corner(1.0, -1.0), corner(1.0, 1.0), corner(-1.0, 1.0)]
    };
    grid.heights
        .iter()
        .enumerate()
        .filter_map(|(cell, height)| {
            let height = height.as_ref().filter(|height| height.measured)?;
            let middle = Position {
                x: grid.origin.x + grid.spacing * (cell % grid.n_cols) as f64,
                y: grid.origin.y + grid.spacing * (cell / grid.n_cols) as f64,
            };
            Some(ShadedCell { corners: square(middle), departure: height.level - Level::DATUM })
        })
        .collect()
}
