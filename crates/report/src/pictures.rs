//! What every picture of a job says around the plan.

use crate::words::Words;
use floorwright_draw::{Decimals, Orientation, PlanPictures, Print, Side, TitleBlock};
use floorwright_engine::plan::{Job, Plan};
use floorwright_engine::site::Position;
use floorwright_engine::survey::Datum;
use floorwright_job::JobInput;
use floorwright_job::form_v1::SideForm;
use floorwright_job::measure::Unit;

/// The pictures of a plan, with names and dates from the job.
pub fn pictures<'a>(input: &JobInput, job: &'a Job, plan: &'a Plan) -> PlanPictures<'a> {
    PlanPictures {
        job,
        plan,
        title_block: TitleBlock {
            owner: input.client.clone().unwrap_or_default(),
            job: input.name.clone(),
            date: input.date.clone().unwrap_or_default(),
            created_by: crate::PROGRAM.to_owned(),
            ..TitleBlock::default()
        },
        orientation: orientation(input.orientation),
        datum_note: datum_note(input, job),
        print: match input.units {
            Unit::Millimetres | Unit::Metres => Print::Millimetres(Decimals::Tenths),
            Unit::FeetInches => Print::Sixteenths,
        },
    }
}

/// North as a direction on the page: x right, y up, degrees clockwise from up.
fn orientation(declared: floorwright_job::Orientation) -> Orientation {
    match declared {
        floorwright_job::Orientation::NotDeclared => Orientation::NotDeclared,
        floorwright_job::Orientation::Street(side) => Orientation::Street(match side {
            SideForm::Top => Side::Top,
            SideForm::Bottom => Side::Bottom,
            SideForm::Left => Side::Left,
            SideForm::Right => Side::Right,
        }),
        floorwright_job::Orientation::North { degrees } => {
            let (sine, cosine) = degrees.to_radians().sin_cos();
            Orientation::North(Position::mm(sine, cosine))
        }
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
