//! Pictures of a plan: the floor as it is, the lifts, the floor as it will be, a section, the
//! passes.

mod frame;
mod section;

use crate::classes::ColourScale;
use crate::number::Print;
use crate::picture::{
    Contour, FloorPicture, FloorPoint, LiftPicture, Medium, Move, Orientation, PassPicture,
    PassStep, RoomOutline, ShadedCell, SupportMark, TitleBlock,
};
use floorwright_engine::ids::{PointId, SupportId};
use floorwright_engine::plan::{FloorShape, Job, Plan, Stage};
use floorwright_engine::site::Position;
use floorwright_engine::surface::{
    ContourError, Contours, Grid, Surface, contour_interval, contour_interval_in_inches,
};
use floorwright_engine::survey::Levels;
use floorwright_engine::target::{Outcome, TargetPlane};
use floorwright_engine::units::{LENGTH_EPS, Length, Level};
use std::collections::BTreeMap;

/// The shading of a floor has about so many patches, however large the floor is: on a sheet the
/// steps between them are then finer than the contours are wide (a choice).
const MOST_PATCHES: f64 = 40_000.0;
/// No patch is smaller than this, for nothing is known so finely.
const LEAST_PATCH: Length = Length::mm(20.0);

/// A plan with what its pictures say around it.
pub struct PlanPictures<'a> {
    /// What was worked on.
    pub job: &'a Job,
    /// What came of it.
    pub plan: &'a Plan,
    /// Passes that were done before the plan's first, which counts on from them.
    pub done: usize,
    /// Whose drawings they are; the title of each drawing is put in.
    pub title_block: TitleBlock,
    /// Which way the plan lies.
    pub orientation: Orientation,
    /// What levels are counted from, in words.
    pub datum_note: String,
    /// Unit of the numbers, with the decimals of lifts; floors are in whole millimetres.
    pub print: Print,
    /// Supports that are not to be lifted yet: the mark beside the lift, and what it means.
    pub flags: BTreeMap<SupportId, (String, String)>,
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
        let doubted = self.plan.points_in_doubt();
        let departures = departures(shape, levels, &reference);
        let Some(surface) = self.above_target(&departures) else { return Ok(None) };
        let contours = self.contours(&surface, interval, shape, &reference)?;
        // Where no place is a whole interval from the target, its line is a picture of chance.
        let is_flat = departures
            .iter()
            .filter(|(point, ..)| self.is_asked_for(point))
            .all(|(.., departure)| departure.abs() < contours.interval);
        let points = departures
            .iter()
            .map(|(point, at, departure)| FloorPoint {
                point: point.clone(),
                at: *at,
                departure: Some(*departure),
                suspect: doubted.contains(point),
            })
            .collect();
        let print = self.print.whole();
        let colours = ColourScale::covering(print, self.asked_for(shape, &reference));
        let cells = surface.sample(patch(self.job));
        Ok(Some(FloorPicture {
            medium,
            title_block: self.titled(title, "levels plan"),
            orientation: self.orientation,
            datum_note: self.datum_note.clone(),
            target_note: self.target_note(),
            colours,
            tolerance: self.job.goal.level_tolerance,
            contour_interval: (!contours.lines.is_empty()).then_some(contours.interval),
            print,
            rooms: self.rooms(),
            points,
            contours: contours
                .lines
                .into_iter()
                .filter(|contour| !is_flat || contour.level != Level::DATUM)
                .map(|contour| Contour {
                    departure: contour.level - Level::DATUM,
                    index: contour.is_index,
                    line: closed_line(contour.places, contour.closed),
                })
                .collect(),
            cells: cells.map_or_else(Vec::new, |grid| strips(&grid, &colours)),
        }))
    }

    /// The same mesh over heights above the target: contours then fall on round departures.
    fn above_target(&self, departures: &[(PointId, Position, Length)]) -> Option<Surface> {
        let flat = departures
            .iter()
            .map(|(point, _, departure)| (point.clone(), Level::DATUM + *departure, LENGTH_EPS));
        Surface::new(&self.job.site, &Levels::independent(flat)).ok()
    }

    /// Contours at the interval that suits what the goal asks about, before and after alike: a
    /// step down to another deck does not spread them.
    fn contours(
        &self,
        surface: &Surface,
        interval: Option<Length>,
        shape: &FloorShape,
        reference: &Reference,
    ) -> Result<Contours, ContourError> {
        if interval.is_some() {
            return surface.contours(interval);
        }
        let departures = || self.asked_for(shape, reference);
        let highest = departures().max_by(Length::total_cmp).unwrap_or_default();
        let lowest = departures().min_by(Length::total_cmp).unwrap_or_default();
        let chosen = match self.print {
            Print::Millimetres(_) => contour_interval(highest - lowest),
            Print::Sixteenths => contour_interval_in_inches(highest - lowest),
        };
        // Over a step of many metres even that gives too many.
        surface.contours(Some(chosen)).or_else(|_| surface.contours(None))
    }

    /// The packers, and the lifts that they give. `None` if there are no lifts.
    pub fn lifts(&self, medium: Medium) -> Option<LiftPicture> {
        let lifting = self.plan.lifting.done()?;
        let Outcome::Reached(lift_plan) = &lifting.outcome else { return None };
        let packing = self.plan.packing.done();
        let lifts: Vec<Length> = packing.map_or_else(
            || lift_plan.outcome.lifts.iter().map(|lift| lift.lift).collect(),
            |packing| packing.lifts.clone(),
        );
        let stacks: BTreeMap<&SupportId, &[Length]> = packing
            .into_iter()
            .flat_map(|packing| &packing.supports)
            .filter_map(|packed| Some((&packed.support, &*packed.stack.as_ref()?.pieces)))
            .collect();
        let supports = self
            .job
            .site
            .supports()
            .iter()
            .zip(&lifting.supports)
            .zip(&lifts)
            .map(|((support, facts), &lift)| SupportMark {
                support: support.id.clone(),
                at: support.at,
                lift,
                in_doubt: !facts.in_doubt.is_empty(),
                packers: stacks.get(&support.id).map_or_else(Vec::new, |pieces| pieces.to_vec()),
                fixed: facts.held.clone(),
            })
            .collect();
        Some(LiftPicture {
            medium,
            title_block: self.titled("Lifts and packers", "lifting plan"),
            orientation: self.orientation,
            target_note: self.target_note(),
            colours: ColourScale::covering(self.print, lifts),
            print: self.print,
            rooms: self.rooms(),
            supports,
            flags: self.flags.clone(),
        })
    }

    /// All passes side by side. `None` if there are none. [`PassPicture::alone`] picks one of them.
    pub fn passes(&self, medium: Medium) -> Option<PassPicture> {
        let passes = &self.plan.passes.done()?.passes;
        if passes.passes.is_empty() {
            return None;
        }
        let on_frame = self.plan.passes.done()?.on_frame.as_ref();
        let steps: Vec<PassStep> = passes
            .passes
            .iter()
            .enumerate()
            .map(|(idx, pass)| {
                let mut order: Vec<&SupportId> = Vec::new();
                let mut lifts: BTreeMap<&SupportId, Length> = BTreeMap::new();
                for moved in pass.moves.iter().flat_map(|together| &together.supports) {
                    let lift = lifts.entry(&moved.support).or_insert_with(|| {
                        order.push(&moved.support);
                        Length::ZERO
                    });
                    *lift += moved.to - moved.from;
                }
                let moves = order
                    .into_iter()
                    .map(|support| Move { support: support.clone(), lift: lifts[support] });
                let check = on_frame.and_then(|on_frame| on_frame.check.passes.get(idx));
                PassStep {
                    number: self.done + pass.number,
                    moves: moves.collect(),
                    forces: check.map(frame::pass_forces),
                }
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
            colours: ColourScale::covering(self.print, all),
            print: self.print,
            rooms: self.rooms(),
            supports,
            passes: steps,
            stop: on_frame.and_then(|on_frame| frame::stop(&on_frame.check)),
            flags: self.flags.clone(),
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
        Reference::Height(shape.mean)
    }

    /// The target in words, and why there are no lifts if there are none.
    fn target_note(&self) -> String {
        let lifting = match &self.plan.lifting {
            Stage::Done(lifting) => lifting,
            Stage::Stopped(reasons) => {
                let why = reasons.first().map_or("", |reason| &reason.what);
                return format!("none, heights are above the mean of the floor. No lifts: {why}");
            }
            Stage::NotAsked => return "none, heights are above the mean of the floor".to_owned(),
            Stage::WaitsFor(stage) => {
                return format!(
                    "none, heights are above the mean of the floor. No lifts: they wait for {stage}"
                );
            }
        };
        let from = &lifting.target.from;
        match (&lifting.outcome, lifting.target.level) {
            (Outcome::Reached(lift_plan), _) => {
                let height = self.print.level(lift_plan.outcome.plane.height);
                let mut lifts = lift_plan.outcome.lifts.iter();
                if lifts.all(|lift| self.print.round(lift.lift) == 0.0) {
                    format!("{height}, {from}. No lifts: no support has to move")
                } else {
                    format!("{height}, {from}")
                }
            }
            (_, Some(level)) => {
                format!("{}, {from}. No lifts: it cannot be met", self.print.level(level))
            }
            (_, None) => {
                "none can be met, heights are above the mean of the floor. No lifts".into()
            }
        }
    }

    /// How far the floor as read is from the target, at the points that the goal asks about: a
    /// step would swallow the colours and spread the contours.
    fn asked_for(&self, shape: &FloorShape, reference: &Reference) -> impl Iterator<Item = Length> {
        let readings = shape.surface.readings().iter();
        readings
            .filter(|reading| self.is_asked_for(&reading.point))
            .map(|reading| reading.level - reference.at(reading.at))
    }

    fn is_asked_for(&self, point: &PointId) -> bool {
        let left_out = self.plan.lifting.done().map(|lifting| &lifting.left_out);
        !left_out.into_iter().flatten().any(|left_out| left_out == point)
    }
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

/// The side of a patch of shading: small where the house is small.
fn patch(job: &Job) -> Length {
    let corners = || job.site.rooms().iter().flat_map(|room| room.outline.corners());
    let places = || corners().copied().chain(job.site.supports().iter().map(|s| s.at));
    let spread = |along: fn(Position) -> Length| {
        let most = places().map(along).max_by(Length::total_cmp).unwrap_or_default();
        let least = places().map(along).min_by(Length::total_cmp).unwrap_or_default();
        (most - least).max(LEAST_PATCH)
    };
    let area = spread(|place| place.x).to_mm() * spread(|place| place.y).to_mm();
    Length::mm((area / MOST_PATCHES).sqrt()).max(LEAST_PATCH)
}

/// A strip for each run of cells in a row that are coloured alike and whose height is measured.
fn strips(grid: &Grid, colours: &ColourScale) -> Vec<ShadedCell> {
    let half = grid.spacing / 2.0;
    let mut strips: Vec<ShadedCell> = Vec::new();
    for (row, heights) in grid.heights.chunks(grid.n_cols.max(1)).enumerate() {
        let (bottom, top) =
            (edge(grid.origin.y - half, grid, row), edge(grid.origin.y - half, grid, row + 1));
        let mut last = None;
        for (column, height) in heights.iter().enumerate() {
            let departure = height.filter(|height| height.measured).map(|h| h.level - Level::DATUM);
            let class = departure.map(|departure| colours.class(departure));
            let right = edge(grid.origin.x - half, grid, column + 1);
            match (strips.last_mut().map(|strip| strip.corners.as_mut_slice()), departure) {
                (_, None) => {}
                (Some([_, b, c, _]), Some(_)) if class == last => (b.x, c.x) = (right, right),
                (_, Some(departure)) => {
                    let left = edge(grid.origin.x - half, grid, column);
                    let corner = |x, y| Position { x, y };
                    let corners = vec![
                        corner(left, bottom),
                        corner(right, bottom),
                        corner(right, top),
                        corner(left, top),
                    ];
                    strips.push(ShadedCell { corners, departure });
                }
            }
            last = class;
        }
    }
    strips
}

/// Where a row or a column of cells begins.
fn edge(start: Length, grid: &Grid, number: usize) -> Length {
    start + grid.spacing * number as f64
}
