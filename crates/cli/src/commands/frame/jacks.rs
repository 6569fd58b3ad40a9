//! What a jack has to push at one support: alone, beside the support, and with its neighbours.

use super::said;
use crate::args;
use crate::commands::floor::length;
use crate::commands::lift::TOUCHED;
use crate::commands::pictures::Head;
use crate::exit::{FAILED, NOT_FOUND, Stop, USAGE};
use crate::report::Text;
use crate::session::Session;
use crate::text::table::{Side, Table};
use floorwright_draw::{JackLine, JackPicture, Medium};
use floorwright_engine::frame::{
    Assumption, Direction, ForceRange, JackError, JackPlace, JackPoint, Loads, NotSettled,
    SetShape, assumptions, jack_beside_curve, jack_curve,
};
use floorwright_engine::ids::SupportId;
use floorwright_engine::plan::{FrameStage, LiftingStage, Plan};
use floorwright_engine::units::{Force, Length};
use floorwright_job::measure::Unit;
use floorwright_job::words::{Words, percent};
use serde::Serialize;

/// How far beside the support a jack is tried if nobody says.
const BESIDE: Length = Length::mm(300.0);

/// How far a jack is tried where no lift is planned.
const NO_LIFT: Length = Length::mm(40.0);

/// What was asked for.
pub struct Asked {
    supports: Vec<usize>,
    beside: Length,
    /// The distance is the program's own, so that the other side does as well.
    either_side: bool,
}

/// What a jack pushes when it has raised the bearer so far, over all assumptions.
#[derive(Clone, Debug, Serialize)]
pub struct Push {
    /// How far.
    rise: Length,
    /// What it pushes.
    force: ForceRange,
    /// The fewest supports that carry, jacks included.
    carrying: usize,
    /// The frame rocks under some assumption: the force is not known.
    rocks: bool,
    /// Air over the support, for a jack beside it.
    opens: Option<(Length, Length)>,
}

/// A jack at one support.
#[derive(Clone, Debug, Serialize)]
pub struct AtSupport {
    /// The support.
    support: SupportId,
    /// The lift that is planned there, if any.
    planned: Option<Length>,
    /// The jack on the support, all others staying down.
    alone: Vec<Push>,
    /// How far beside the support the other jack stands.
    beside: Length,
    /// Which side of it that is, on the plan.
    side: &'static str,
    /// That jack; empty if there is no bearer.
    at_beside: Vec<Push>,
    /// Why there is none.
    not_beside: Option<String>,
    /// Neighbours that are to be lifted too.
    neighbours: Vec<SupportId>,
    /// The jack on the support, the neighbours rising with it; empty without neighbours.
    together: Vec<Push>,
    /// The support's number, and those of the neighbours that rise with it.
    #[serde(skip)]
    numbers: Vec<usize>,
}

/// Looks the supports up, and reads the distance.
pub fn asked(args: &args::Frame, session: &Session) -> Result<Asked, Stop> {
    if args.beside.is_some() && args.support.is_empty() {
        return Err(Stop::new(
            USAGE,
            "--beside: nothing says beside which support the jack stands",
        )
        .hint("add --support with its name, such as --support B3 --beside 300"));
    }
    let sites = session.job.site.supports();
    let index = |name: &String| {
        let found = sites.iter().position(|site| site.id.as_str() == name.trim());
        found.ok_or_else(|| {
            Stop::new(NOT_FOUND, format!("--support: there is no support {name}"))
                .hint("floorwright frame JOB lists them")
        })
    };
    let beside = args.beside.as_ref().map(|text| length(text, session.input.units, "--beside"));
    Ok(Asked {
        supports: args.support.iter().map(index).collect::<Result<_, _>>()?,
        either_side: beside.is_none(),
        beside: beside.transpose()?.unwrap_or(BESIDE),
    })
}

/// The frame with what is on it, to be asked about jacks.
struct Ground<'a> {
    session: &'a Session,
    frame: &'a FrameStage,
    seats: Vec<Length>,
    loads: Loads,
    assumed: Vec<Assumption>,
}

impl<'a> Ground<'a> {
    fn new(session: &'a Session, frame: &'a FrameStage, in_use: bool) -> Self {
        Self {
            session,
            frame,
            seats: frame.seats(&session.job),
            loads: if in_use { Loads::IN_USE } else { Loads::DEAD },
            assumed: assumptions(&frame.frame),
        }
    }
}

/// Works every curve out.
pub fn work_out(
    asked: &Asked,
    session: &Session,
    plan: &Plan,
    frame: &FrameStage,
    in_use: bool,
) -> Result<Vec<AtSupport>, Stop> {
    let ground = Ground::new(session, frame, in_use);
    asked.supports.iter().map(|&support| ground.at(support, asked, plan)).collect()
}

/// What a jack beside a support pushes when it alone has raised the bearer as far as is planned.
pub struct Beside {
    /// The support.
    pub support: SupportId,
    /// How far beside it.
    pub away: Length,
    /// What it pushes at most.
    pub most: Force,
    /// What a jack on the support pushes at most when it alone rises as far.
    pub on_it: Force,
}

/// That for one support; `None` if no jack can stand beside it or the force there is not known or not more.
pub fn beside(
    session: &Session,
    plan: &Plan,
    frame: &FrameStage,
    support: &SupportId,
) -> Option<Beside> {
    let idx = session.job.site.supports().iter().position(|site| site.id == *support)?;
    let asked = Asked { supports: vec![idx], beside: BESIDE, either_side: true };
    let at = Ground::new(session, frame, false).at(idx, &asked, plan).ok()?;
    let (alone, push) = (at.alone.last()?, at.at_beside.last()?);
    let (away, most, on_it) = (at.beside.abs(), push.force.most, alone.force.most);
    (!push.rocks && !alone.rocks && most > on_it).then(|| Beside {
        support: support.clone(),
        away,
        most,
        on_it,
    })
}

/// How many rises a curve is drawn through.
const DRAWN_THROUGH: u32 = 40;

/// The picture of the force at a support's jack as it rises.
pub fn picture(
    session: &Session,
    frame: &FrameStage,
    in_use: bool,
    at: &AtSupport,
    (head, medium): (&Head<'_>, Medium),
) -> Result<JackPicture, Stop> {
    let ground = Ground::new(session, frame, in_use);
    let last = at.alone.last().map_or(NO_LIFT, |push| push.rise);
    let rises: Vec<Length> = (0..=DRAWN_THROUGH)
        .map(|step| last * (f64::from(step) / f64::from(DRAWN_THROUGH)))
        .collect();
    let line = |jacks: &[usize]| -> Result<JackLine, Stop> {
        Ok(JackLine::over(&ground.points(jacks, &rises).map_err(not_settled)?, 0))
    };
    let together = if at.together.is_empty() { JackLine::default() } else { line(&at.numbers)? };
    let neighbours =
        if at.together.is_empty() { String::new() } else { said::names(&at.neighbours) };
    let lines = (line(&at.numbers[..1])?, together);
    Ok(head.jack(medium, at.support.as_str(), lines, &neighbours))
}

impl AtSupport {
    /// The support.
    pub fn support(&self) -> &SupportId {
        &self.support
    }
}

impl Ground<'_> {
    fn at(&self, support: usize, asked: &Asked, plan: &Plan) -> Result<AtSupport, Stop> {
        let lifts = planned_lifts(plan);
        let lift_of = |support: usize| {
            lifts.as_ref().map(|lifts| lifts[support]).filter(|lift| *lift > TOUCHED)
        };
        let planned = lift_of(support);
        let rises = rises(planned.unwrap_or(NO_LIFT), self.session.input.units);
        let neighbours: Vec<usize> = neighbours(plan, support)
            .into_iter()
            .filter(|&neighbour| lift_of(neighbour).is_some())
            .collect();
        let all: Vec<usize> = [support].into_iter().chain(neighbours.iter().copied()).collect();
        let together = if neighbours.is_empty() || planned.is_none() {
            Vec::new()
        } else {
            self.on_supports(&all, &rises)?
        };
        let (beside, at_beside, not_beside) = self.beside(support, asked, &rises)?;
        let ids = self.frame.frame.supports();
        Ok(AtSupport {
            support: ids[support].clone(),
            planned,
            alone: self.on_supports(&[support], &rises)?,
            beside,
            side: self.side(support, beside),
            at_beside,
            not_beside,
            numbers: all,
            neighbours: neighbours.iter().map(|&neighbour| ids[neighbour].clone()).collect(),
            together,
        })
    }

    /// Which side of a support a distance along its bearer is.
    fn side(&self, support: usize, beside: Length) -> &'static str {
        let (bearer, _) = self.frame.frame.over_support(support);
        let direction = self.frame.frame.spec().bearers[bearer].run.direction;
        match (direction, beside < Length::ZERO) {
            (Direction::X, false) => "to the right of",
            (Direction::X, true) => "to the left of",
            (Direction::Y, false) => "above",
            (Direction::Y, true) => "below",
        }
    }

    fn set(&self, assumed: &Assumption) -> Option<SetShape<'_>> {
        Some(SetShape { heights: &self.frame.heights, share: assumed.set_share })
    }

    /// The curve of these when all rise together, under each assumption.
    fn points(&self, jacks: &[usize], rises: &[Length]) -> Result<Vec<Vec<JackPoint>>, NotSettled> {
        let under = |assumed: &Assumption| {
            let loads = self.loads.times(assumed.load_ratio);
            let set = self.set(assumed);
            let curve = jack_curve(&self.frame.frame, &self.seats, loads, set, jacks, rises)?;
            let off = jacks.first().map(|&jack| self.frame.jack_off(jack, assumed.set_share));
            let off = off.unwrap_or(Force::ZERO);
            Ok(curve.into_iter().map(|point| point.widened(off)).collect())
        };
        self.assumed.iter().map(under).collect()
    }

    /// The force at the first of these when all rise together.
    fn on_supports(&self, jacks: &[usize], rises: &[Length]) -> Result<Vec<Push>, Stop> {
        let curves = self.points(jacks, rises).map_err(not_settled)?;
        let without_air =
            |curve: Vec<JackPoint>| curve.into_iter().map(|point| (point, None)).collect();
        let curves: Vec<Curve> = curves.into_iter().map(without_air).collect();
        Ok(over_all(&curves))
    }

    /// The force at a jack beside the support, or why there can be none.
    fn beside(
        &self,
        support: usize,
        asked: &Asked,
        rises: &[Length],
    ) -> Result<(Length, Vec<Push>, Option<String>), Stop> {
        let mut sides = vec![asked.beside];
        if asked.either_side {
            sides.push(-asked.beside);
        }
        let mut why_not = None;
        for beside in sides {
            match self.at_distance(support, beside, rises) {
                Ok(curve) => return Ok((beside, curve, None)),
                Err(JackError::NotSettled(error)) => return Err(not_settled(error)),
                Err(error) => why_not = why_not.or(Some(error.to_string())),
            }
        }
        Ok((asked.beside, Vec::new(), why_not))
    }

    fn at_distance(
        &self,
        support: usize,
        beside: Length,
        rises: &[Length],
    ) -> Result<Vec<Push>, JackError> {
        let place = JackPlace { support: self.frame.frame.supports()[support].clone(), beside };
        let sites = self.session.job.site.supports();
        let curves = self.assumed.iter().map(|assumed| {
            let loads = self.loads.times(assumed.load_ratio);
            let set = self.set(assumed);
            let frame = &self.frame.frame;
            let points = jack_beside_curve(frame, sites, &self.seats, loads, set, &place, rises)?;
            let off = self.frame.jack_off(support, assumed.set_share);
            // A jack that does not touch yet pushes nothing, whatever the readings are.
            let widen = |point: JackPoint| {
                let touches = point.forces.iter().any(|force| *force > Force::ZERO);
                if touches { point.widened(off) } else { point }
            };
            Ok(points.into_iter().map(|(point, opens)| (widen(point), Some(opens))).collect())
        });
        Ok(over_all(&curves.collect::<Result<Vec<Curve>, JackError>>()?))
    }
}

/// Points of a curve, with the air over the support where the jack is beside it.
type Curve = Vec<(JackPoint, Option<Length>)>;

fn not_settled(error: NotSettled) -> Stop {
    Stop::new(FAILED, error.to_string())
}

/// Least and most of every point over all assumptions.
fn over_all(curves: &[Curve]) -> Vec<Push> {
    let n_rises = curves.first().map_or(0, Vec::len);
    (0..n_rises)
        .map(|at| {
            let points = || curves.iter().map(|curve| &curve[at]);
            let pushed = |point: &JackPoint| point.range(0);
            let air = points().filter_map(|(_, opens)| *opens).map(|opens| (opens, opens));
            Push {
                rise: curves[0][at].0.rise,
                force: points()
                    .map(|(point, _)| pushed(point))
                    .reduce(ForceRange::with)
                    .unwrap_or_default(),
                carrying: points().map(|(point, _)| point.carrying).min().unwrap_or(0),
                rocks: points().any(|(point, _)| point.rocks),
                opens: air.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1))),
            }
        })
        .collect()
}

/// The lift at every support, if there is a plan to lift by.
fn planned_lifts(plan: &Plan) -> Option<Vec<Length>> {
    match plan.packing.done().filter(|packing| packing.cannot.is_empty()) {
        Some(packing) => Some(packing.lifts.clone()),
        None => plan.lifting.done().and_then(LiftingStage::lifts),
    }
}

/// Supports next to this one on the plan.
fn neighbours(plan: &Plan, support: usize) -> Vec<usize> {
    let pairs = plan.passes.done().map_or(&[][..], |stage| &stage.passes.neighbours);
    pairs
        .iter()
        .filter_map(|pair| match pair.supports {
            (a, b) if a == support => Some(b),
            (a, b) if b == support => Some(a),
            _ => None,
        })
        .collect()
}

/// Rises to try, on steps that a builder measures by, and the last one itself.
fn rises(last: Length, unit: Unit) -> Vec<Length> {
    let steps: Vec<Length> = match unit {
        Unit::Millimetres | Unit::Metres => {
            [0.0, 1.0, 2.0, 5.0, 10.0, 20.0, 40.0, 80.0, 160.0].map(Length::mm).to_vec()
        }
        Unit::FeetInches => {
            [0.0, 0.0625, 0.125, 0.25, 0.5, 1.0, 2.0, 4.0].map(Length::inches).to_vec()
        }
    };
    let below = steps.into_iter().filter(|step| *step < last - TOUCHED);
    below.chain([last]).collect()
}

/// Says what a jack at a support has to push.
pub fn say(text: &mut Text, session: &Session, plan: &Plan, at: &AtSupport, words: Words) {
    let (one, _) = words.supports();
    text.heading(&format!("A jack at {one} {}, in kN", at.support));
    say_fixed(text, session, at);
    if let Some((alone, planned)) = at.alone.last().zip(at.planned) {
        text.say(format!(
            "Raised by the planned {}: {}",
            words.length(planned),
            at_the_end(at, alone, words)
        ));
    }
    let on_frame = plan.passes.done().and_then(|stage| stage.on_frame.as_ref());
    let may_be_worked_by = on_frame.filter(|on_frame| on_frame.check.passed());
    if on_frame.is_some() && may_be_worked_by.is_none() {
        text.item(
            "!",
            "the passes as planned are not to be worked by (floorwright passes says why): no jack is \
             to be chosen by them",
        );
    }
    let in_passes = may_be_worked_by.into_iter().flat_map(|on_frame| &on_frame.check.jacks);
    if let Some(jack) = in_passes.into_iter().find(|jack| jack.support == at.support) {
        let beside = at.at_beside.last().filter(|push| !push.rocks);
        let choose = match beside.filter(|push| push.force.most > jack.most) {
            Some(push) => format!(
                "One that stands {} beside it pushes up to {} (alone). Choose the jack by the place \
                 where it stands, and by the larger force if that is not settled.",
                words.exact(at.beside.abs()),
                words.force_up(push.force.most)
            ),
            None => "Choose the jack by that.".to_owned(),
        };
        let if_so = said::if_loads(&session.job);
        text.say(format!(
            "In the passes as planned, where not all neighbours rise with it at once, a jack on it \
             pushes up to {}{if_so}. {choose}",
            words.force_up(jack.most)
        ));
    }
    let beside = format!("{} beside", words.exact(at.beside.abs()));
    let mut columns = vec![("Rise", Side::Right), ("Alone, on it", Side::Right)];
    if !at.at_beside.is_empty() {
        columns.extend([(beside.as_str(), Side::Right), ("and opens", Side::Right)]);
    }
    if !at.together.is_empty() {
        columns.push(("On it, neighbours too", Side::Right));
    }
    let mut table = Table::new(&columns);
    for (idx, alone) in at.alone.iter().enumerate() {
        let mut cells = vec![words.number(alone.rise), force(alone, words)];
        if let Some(push) = at.at_beside.get(idx) {
            cells.extend([force(push, words), opens(push, words)]);
        }
        cells.extend(at.together.get(idx).map(|push| force(push, words)));
        table.row(cells);
    }
    text.table(&table);
    if !at.at_beside.is_empty() {
        text.say(format!(
            "Beside: the jack stands {} {} on the plan, under the same bearer; what opens is the \
             air over {}.",
            at.side, at.support, at.support
        ));
    }
    if let Some(why) = &at.not_beside {
        text.item("-", format!("no jack beside it: {why}"));
    }
    if !at.together.is_empty() {
        text.say(format!("Neighbours that rise as far: {}.", said::names(&at.neighbours)));
    }
    say_rating(text, session, at, words);
}

/// Says of a support that is to stay as it is that nobody is to jack there, and why.
fn say_fixed(text: &mut Text, session: &Session, at: &AtSupport) {
    let site = session.job.site.supports().iter().find(|site| site.id == at.support);
    if let Some(why) = site.and_then(|site| site.fixed.as_ref()) {
        text.item(
            "!",
            format!(
                "{} is fixed: {why}. It is not to be lifted; this is only what a jack would push.",
                at.support
            ),
        );
    }
}

/// What lifting alone costs beside lifting with the neighbours.
fn at_the_end(at: &AtSupport, alone: &Push, words: Words) -> String {
    let alone = if alone.rocks {
        "alone, the frame rocks".to_owned()
    } else {
        format!("alone, up to {}", words.force_up(alone.force.most))
    };
    match at.together.last() {
        Some(together) if !together.rocks => {
            format!("{alone}; with its neighbours, up to {}.", words.force_up(together.force.most))
        }
        _ => format!("{alone}."),
    }
}

fn force(push: &Push, words: Words) -> String {
    if push.rocks { "rocks".to_owned() } else { words.force_range(push.force) }
}

fn opens(push: &Push, words: Words) -> String {
    match push.opens {
        Some(_) if push.rocks => String::new(),
        Some((least, most)) if words.number(least) == words.number(most) => words.number(most),
        Some((least, most)) => format!("{} to {}", words.number(least), words.number(most)),
        None => String::new(),
    }
}

/// Holds the forces against what is written on the jack.
fn say_rating(text: &mut Text, session: &Session, at: &AtSupport, words: Words) {
    let limits = &session.job.limits;
    let share = percent(limits.jack_derating.value);
    let Some(rating) = &limits.jack_rating else {
        text.say(format!(
            "Nothing says what your jacks are rated for, so no force is held against it \
             (--jack-rating \"5 t\"). A jack is used to {share} of its rating: {}.",
            limits.jack_derating.reason
        ));
        return;
    };
    let limit = rating.value * limits.jack_derating.value;
    text.say(format!(
        "Your jacks: rated {} ({}), used to {share} of that: {} ({}).",
        words.force(rating.value),
        rating.reason,
        words.force(limit),
        limits.jack_derating.reason,
    ));
    let ways =
        [("alone", &at.alone), ("beside", &at.at_beside), ("with its neighbours", &at.together)];
    for (how, curve) in ways {
        if let Some(beyond) = curve.iter().find(|push| !push.rocks && push.force.most > limit) {
            text.item(
                "!",
                format!(
                    "too much for the jack {how}, from a rise of {} on",
                    words.length(beyond.rise)
                ),
            );
        }
    }
}
