//! What every picture of a job says around the plan: whose it is, which way it lies, what its levels
//! are counted from.

use crate::from_plan::PlanPictures;
use crate::number::{Decimals, Print};
use crate::picture::{Orientation, RoomOutline, Side, TitleBlock};
use floorwright_engine::plan::{Job, Plan};
use floorwright_engine::site::Position;
use floorwright_engine::survey::Datum;
use floorwright_job::JobInput;
use floorwright_job::form_v1::SideForm;
use floorwright_job::measure::Unit;
use floorwright_job::words::Words;
use std::collections::BTreeMap;

/// The program and its version, as it signs what it makes.
pub const PROGRAM: &str = concat!("floorwright ", env!("CARGO_PKG_VERSION"));

impl<'a> PlanPictures<'a> {
    /// The pictures of a plan, with names and dates from the job.
    pub fn of(input: &JobInput, job: &'a Job, plan: &'a Plan) -> Self {
        Self {
            job,
            plan,
            done: 0,
            title_block: TitleBlock::of(input),
            orientation: Orientation::of(input),
            datum_note: datum_note(input, job),
            print: Print::of(input),
            flags: BTreeMap::new(),
        }
    }
}

impl TitleBlock {
    /// Names and date of a job; the title of the drawing is still to be put in.
    pub fn of(input: &JobInput) -> Self {
        Self {
            owner: input.client.clone().unwrap_or_default(),
            job: input.name.clone(),
            date: input.date.clone().unwrap_or_default(),
            created_by: PROGRAM.to_owned(),
            ..Self::default()
        }
    }
}

impl Orientation {
    /// As the job declares it. North is a direction on the page: x right, y up, degrees clockwise
    /// from up.
    pub fn of(input: &JobInput) -> Self {
        match input.orientation {
            floorwright_job::Orientation::NotDeclared => Self::NotDeclared,
            floorwright_job::Orientation::Street(side) => Self::Street(match side {
                SideForm::Top => Side::Top,
                SideForm::Bottom => Side::Bottom,
                SideForm::Left => Side::Left,
                SideForm::Right => Side::Right,
            }),
            floorwright_job::Orientation::North { degrees } => {
                let (sine, cosine) = degrees.to_radians().sin_cos();
                Self::North(Position::mm(sine, cosine))
            }
        }
    }
}

impl Print {
    /// The unit of a job, with the decimals of lifts.
    pub fn of(input: &JobInput) -> Self {
        match input.units {
            Unit::Millimetres | Unit::Metres => Self::Millimetres(Decimals::Tenths),
            Unit::FeetInches => Self::Sixteenths,
        }
    }
}

impl RoomOutline {
    /// The rooms of a job.
    pub fn all_of(job: &Job) -> Vec<Self> {
        let rooms = job.site.rooms().iter();
        rooms
            .map(|room| Self { name: room.id.to_string(), outline: room.outline.clone() })
            .collect()
    }
}

/// What levels are counted from, in a few words.
fn datum_note(input: &JobInput, job: &Job) -> String {
    let words = Words::of(input);
    match &job.survey.datum {
        Datum::PointIsZero(point) => format!("{point} is called zero"),
        Datum::Free { .. } => "the mean of the floor is called zero".to_owned(),
        Datum::Benchmarks | Datum::CorrelatedBenchmarks(_) => {
            let marks: Vec<String> = job
                .survey
                .benchmarks
                .iter()
                .map(|mark| format!("{} = {}", mark.point, words.level(mark.level)))
                .collect();
            marks.join(", ")
        }
    }
}
