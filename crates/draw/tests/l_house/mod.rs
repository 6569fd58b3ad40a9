//! An invented L-shaped house on 54 supports, sunk at the far corner and humped at the chimney.
//!
//! Nothing here was measured; the shape is a formula, so that a test can ask it anything.

use floorwright_draw::{
    CarriedPicture, CarriedState, ColourScale, Contour, Decimals, FloorPicture, FloorPoint,
    FrameLine, Holding, JackAt, JackLimit, JackLine, JackPicture, JackRise, LetGo, LiftPicture,
    LineKind, Medium, Move, Orientation, PassForces, PassPicture, PassStep, Print, ProfilePicture,
    ProfilePoint, ProfileSupport, Revision, RoomOutline, ShadedCell, ShareAt, Side, SupportHolding,
    SupportMark, TitleBlock, WayMove, WayPicture,
};
use floorwright_engine::frame::ForceRange;
use floorwright_engine::ids::{PointId, SupportId};
use floorwright_engine::site::{Outline, Position};
use floorwright_engine::units::{Force, Length, round_to};

const BAY_X: f64 = 1250.0;
const BAY_Y: f64 = 1100.0;
const EDGE: f64 = 100.0;

/// Level above the target, in millimetres.
pub fn departure(at: Position) -> f64 {
    let (x, y) = (at.x.to_m(), at.y.to_m());
    let sag = -34.0 * (-((x - 10.0) / 3.4).powi(2) - ((y - 0.2) / 2.6).powi(2)).exp();
    let dip = -17.0 * (-((x - 1.2) / 2.0).powi(2) - ((y - 5.6) / 1.9).powi(2)).exp();
    let hump = 9.0 * (-((x - 3.8) / 1.5).powi(2) - ((y - 2.2) / 1.3).powi(2)).exp();
    sag + dip + hump - 2.0
}

/// What is left of it once the lifts are done.
pub fn departure_after(at: Position) -> f64 {
    departure(at).max(-2.5) * 0.9
}

/// Names and places of the supports: rows A to G, the upper three of six, the others of nine.
pub fn supports() -> Vec<(String, Position)> {
    let rows = "ABCDEFG".chars().enumerate();
    rows.flat_map(|(row, letter)| {
        let n_columns = if row < 4 { 9 } else { 6 };
        (0..n_columns).map(move |column| {
            let at = Position::mm(column as f64 * BAY_X, row as f64 * BAY_Y);
            (format!("{letter}{}", column + 1), at)
        })
    })
    .collect()
}

fn outline(corners: &[(f64, f64)]) -> Outline {
    Outline::new(corners.iter().map(|&(x, y)| Position::mm(x, y)).collect()).unwrap()
}

pub fn rooms() -> Vec<RoomOutline> {
    let (right, inner) = (8.0 * BAY_X + EDGE, 5.0 * BAY_X + EDGE);
    let (step, top) = (3.0 * BAY_Y + EDGE, 6.0 * BAY_Y + EDGE);
    let wall = 3.5 * BAY_X;
    let room = |name: &str, corners: &[(f64, f64)]| RoomOutline {
        name: name.to_owned(),
        outline: outline(corners),
    };
    vec![
        room("kitchen", &[(-EDGE, -EDGE), (wall, -EDGE), (wall, step), (-EDGE, step)]),
        room("front room", &[(wall, -EDGE), (right, -EDGE), (right, step), (wall, step)]),
        room("bedroom", &[(-EDGE, step), (inner, step), (inner, top), (-EDGE, top)]),
    ]
}

fn is_inside(at: Position) -> bool {
    rooms().iter().any(|room| room.outline.contains(at, Length::ZERO))
}

const CELL: f64 = 125.0;

fn grid() -> impl Iterator<Item = [Position; 4]> {
    (0..62).flat_map(|row| {
        (0..90).map(move |column| {
            let (x, y) = (column as f64 * CELL - 350.0, row as f64 * CELL - 350.0);
            let corner = |dx: f64, dy: f64| Position::mm(x + dx, y + dy);
            [corner(0.0, 0.0), corner(CELL, 0.0), corner(CELL, CELL), corner(0.0, CELL)]
        })
    })
}

fn cells(shape: fn(Position) -> f64) -> Vec<ShadedCell> {
    let middle = |corners: &[Position; 4]| Position {
        x: (corners[0].x + corners[2].x) / 2.0,
        y: (corners[0].y + corners[2].y) / 2.0,
    };
    grid()
        .filter(|corners| corners.iter().any(|&corner| is_inside(corner)))
        .map(|corners| ShadedCell {
            corners: corners.to_vec(),
            departure: Length::mm(shape(middle(&corners))),
        })
        .collect()
}

/// One crossing of a square by the line at `value`, as its two ends.
fn crossing(
    square: &[Position; 4],
    value: f64,
    shape: fn(Position) -> f64,
) -> Option<[Position; 2]> {
    let mut ends = Vec::new();
    for side in 0..4 {
        let (from, to) = (square[side], square[(side + 1) % 4]);
        let (low, high) = (shape(from) - value, shape(to) - value);
        if (low < 0.0) != (high < 0.0) {
            let share = low / (low - high);
            let x = from.x + (to.x - from.x) * share;
            let y = from.y + (to.y - from.y) * share;
            ends.push(Position { x, y });
        }
    }
    ends.try_into().ok()
}

fn key(at: Position) -> (i64, i64) {
    ((at.x.to_mm() * 100.0).round() as i64, (at.y.to_mm() * 100.0).round() as i64)
}

/// Joins the crossings of all squares end to end.
fn contour_lines(value: f64, shape: fn(Position) -> f64) -> Vec<Vec<Position>> {
    let mut bits: Vec<_> = grid().filter_map(|square| crossing(&square, value, shape)).collect();
    let mut lines = Vec::new();
    while let Some([from, to]) = bits.pop() {
        let mut line = std::collections::VecDeque::from([from, to]);
        loop {
            let (first, last) = (key(line[0]), key(line[line.len() - 1]));
            let touches =
                |bit: &[Position; 2]| bit.iter().any(|&end| key(end) == first || key(end) == last);
            let Some(found) = bits.iter().position(touches) else { break };
            let [a, b] = bits.swap_remove(found);
            match () {
                () if key(a) == last => line.push_back(b),
                () if key(b) == last => line.push_back(a),
                () if key(a) == first => line.push_front(b),
                () => line.push_front(a),
            }
        }
        lines.push(line.into());
    }
    lines
}

fn contours(shape: fn(Position) -> f64) -> Vec<Contour> {
    (-10..=10)
        .map(|n| n * 5)
        .flat_map(|mm| {
            contour_lines(f64::from(mm) + 1e-6, shape).into_iter().map(move |line| Contour {
                departure: Length::mm(f64::from(mm)),
                line,
                index: mm % 25 == 0,
            })
        })
        .collect()
}

pub fn title_block(title: &str, sheet: &str) -> TitleBlock {
    TitleBlock {
        owner: "An invented builder".into(),
        job: "Invented L-shaped house".into(),
        title: title.into(),
        number: "FW-0001".into(),
        sheet: sheet.into(),
        document_type: "Levels plan".into(),
        date: "2026-03-14".into(),
        created_by: "The demo".into(),
        approved_by: String::new(),
        revision: Revision {
            mark: "B".into(),
            date: "2026-03-14".into(),
            change: "G6 read again".into(),
        },
    }
}

pub fn colours() -> ColourScale {
    ColourScale::covering(
        Print::default(),
        supports().iter().map(|(_, at)| Length::mm(departure(*at))),
    )
}

fn floor(medium: Medium, title: &str, sheet: &str, shape: fn(Position) -> f64) -> FloorPicture {
    let points = supports().into_iter().map(|(name, at)| FloorPoint {
        departure: (name != "C9").then(|| Length::mm(shape(at))),
        suspect: name == "E2",
        point: PointId::new(name),
        at,
    });
    FloorPicture {
        medium,
        title_block: title_block(title, sheet),
        orientation: Orientation::Street(Side::Bottom),
        datum_note: "bolt in the front step, called 0; photo 1".into(),
        target_note: "level of the new threshold".into(),
        colours: colours(),
        tolerance: Some(Length::mm(5.0)),
        contour_interval: Some(Length::mm(5.0)),
        print: Print::default(),
        rooms: rooms(),
        points: points.collect(),
        contours: contours(shape),
        cells: cells(shape),
    }
}

pub fn floor_before(medium: Medium) -> FloorPicture {
    floor(medium, "Floor before lifting", "1 of 4", departure)
}

pub fn floor_after(medium: Medium) -> FloorPicture {
    floor(medium, "Floor after lifting, as planned", "2 of 4", departure_after)
}

/// What the support under a place is raised by, in whole packers of half a millimetre.
pub fn lift(at: Position) -> Length {
    let wanted = departure_after(at) - departure(at);
    Length::mm(if wanted < 1.0 { 0.0 } else { round_to(wanted, 0.5) })
}

fn packers(lift: Length) -> Vec<Length> {
    let mut left = lift.to_mm();
    let mut stack = Vec::new();
    for thickness in [20.0, 10.0, 5.0, 3.0, 1.5] {
        while left >= thickness - 0.75 && stack.len() < 6 {
            stack.push(Length::mm(thickness));
            left -= thickness;
        }
    }
    stack
}

pub fn lifts(medium: Medium) -> LiftPicture {
    let marks = supports().into_iter().map(|(name, at)| {
        let fixed = (name == "C4").then(|| "chimney base".to_owned());
        let lift = if fixed.is_some() { Length::ZERO } else { lift(at) };
        let in_doubt = name == "B6";
        let packers = packers(lift);
        SupportMark { support: SupportId::new(name), at, lift, in_doubt, packers, fixed }
    });
    LiftPicture {
        medium,
        title_block: title_block("Lift and packers at each support", "3 of 4"),
        orientation: Orientation::Street(Side::Bottom),
        target_note: "level of the new threshold".into(),
        colours: colours(),
        print: Print::Millimetres(Decimals::Tenths),
        rooms: rooms(),
        supports: marks.collect(),
        flags: std::collections::BTreeMap::new(),
    }
}

/// Passes of at most 5 mm: in each, the supports with most left to go come up to the rest.
pub fn passes(medium: Medium, wanted: &[usize]) -> PassPicture {
    let most = supports().iter().map(|(_, at)| lift(*at).to_mm()).fold(0.0, f64::max);
    let n_passes = (most / 5.0).ceil() as usize;
    let remaining =
        |at: Position, pass: usize| lift(at).to_mm().min((n_passes - pass) as f64 * 5.0);
    let step = |number: usize| PassStep {
        number,
        moves: supports()
            .into_iter()
            .map(|(name, at)| Move {
                support: SupportId::new(name),
                lift: Length::mm(remaining(at, number - 1) - remaining(at, number)),
            })
            .filter(|step| step.lift > Length::ZERO)
            .collect(),
        forces: None,
    };
    let all = (1..=n_passes).filter(|number| wanted.is_empty() || wanted.contains(number));
    PassPicture {
        medium,
        title_block: title_block("Passes", "4 of 4"),
        orientation: Orientation::Street(Side::Bottom),
        colours: ColourScale::covering(Print::default(), [Length::mm(5.0)]),
        print: Print::Millimetres(Decimals::Tenths),
        rooms: rooms(),
        supports: supports().into_iter().map(|(n, at)| (SupportId::new(n), at)).collect(),
        passes: all.map(step).collect(),
        stop: None,
        flags: std::collections::BTreeMap::new(),
    }
}

pub fn profile_of_front(medium: Medium) -> ProfilePicture {
    let along = |shape: fn(Position) -> f64| {
        (0..=40)
            .map(|step| {
                let x = f64::from(step) * 250.0;
                ProfilePoint {
                    along: Length::mm(x),
                    departure: Some(Length::mm(shape(Position::mm(x, 0.0)))),
                    uncertainty: Length::mm(1.6),
                }
            })
            .collect()
    };
    let front = supports().into_iter().filter(|(name, _)| name.starts_with('A'));
    ProfilePicture {
        medium,
        title_block: title_block("Section along row A", "1 of 1"),
        print: Print::default(),
        line_note: "along the front bearer, from A1 to A9".into(),
        target_note: "level of the new threshold".into(),
        datum_note: "bolt in the front step, called 0; photo 1".into(),
        before: along(departure),
        after: along(departure_after),
        supports: front
            .map(|(name, at)| ProfileSupport { support: SupportId::new(name), along: at.x })
            .collect(),
        tolerance: Some(Length::mm(5.0)),
    }
}

pub fn kn(least: f64, most: f64) -> ForceRange {
    ForceRange { least: Force::kn(least), most: Force::kn(most) }
}

/// The passes with a force at each jack, and one support that lets go in each.
pub fn passes_on_frame(medium: Medium, wanted: &[usize]) -> PassPicture {
    let mut picture = passes(medium, wanted);
    for step in &mut picture.passes {
        let jacks = step.moves.iter().enumerate();
        let jacks = jacks.map(|(idx, moved)| {
            let least = 1.0 + 0.1 * idx as f64;
            (moved.support.clone(), kn(least, least + 2.0))
        });
        let lets_go = vec![SupportId::new("F1")];
        step.forces = Some(PassForces { jacks: jacks.collect(), lets_go, rocks: false });
    }
    picture
}

fn held(which: usize, at: Position) -> Holding {
    let most = 3.0 + at.x.to_m() * 0.4;
    match which % 9 {
        3 => Holding::MayHang(kn(0.0, most)),
        7 => Holding::Hangs(Length::mm(1.0), Length::mm(3.5)),
        _ => Holding::Carries(kn(0.5 * most, most)),
    }
}

fn state(title: &str, holding: impl Fn(usize, Position) -> Holding) -> CarriedState {
    let supports = supports().into_iter().enumerate();
    let supports = supports.map(|(idx, (name, at))| SupportHolding {
        support: SupportId::new(name),
        at,
        holding: holding(idx, at),
    });
    CarriedState {
        title: title.into(),
        supports: supports.collect(),
        rocks: false,
        note: "the empty house".into(),
    }
}

/// Today, one move on the way, and afterwards.
pub fn carried(medium: Medium) -> CarriedPicture {
    let on_the_way = |idx: usize, _: Position| match idx {
        8 | 17 => Holding::Jack(kn(4.0, 9.6)),
        7 => Holding::LetsGo,
        _ => Holding::NotListed,
    };
    let bearer = |row: usize| FrameLine {
        kind: LineKind::Bearer,
        from: Position::mm(0.0, row as f64 * BAY_Y),
        to: Position::mm(if row < 4 { 8.0 } else { 5.0 } * BAY_X, row as f64 * BAY_Y),
        assumed: row.is_multiple_of(2),
    };
    let joist = |step: usize| FrameLine {
        kind: LineKind::Joist,
        from: Position::mm(step as f64 * 450.0, 0.0),
        to: Position::mm(step as f64 * 450.0, 3.0 * BAY_Y),
        assumed: false,
    };
    let wall = FrameLine {
        kind: LineKind::Wall,
        from: Position::mm(0.0, 0.0),
        to: Position::mm(8.0 * BAY_X, 0.0),
        assumed: false,
    };
    CarriedPicture {
        medium,
        title_block: title_block("Who carries what", "5 of 8"),
        orientation: Orientation::Street(Side::Bottom),
        print: Print::Millimetres(Decimals::Tenths),
        rooms: rooms(),
        lines: std::iter::once(wall).chain((0..22).map(joist)).chain((0..7).map(bearer)).collect(),
        point_loads: vec![Position::mm(4375.0, 2750.0)],
        n_assumed: 3,
        states: vec![
            state("Today", held),
            state("On the way: pass 4, move 2", on_the_way),
            state("After", |idx, at| held(idx + 1, at)),
        ],
    }
}

/// A force that grows by a third of a kilonewton a millimetre, and faster once a support lets go.
pub fn jack(medium: Medium) -> JackPicture {
    let line = |slope: f64| {
        let point = |step: u32| {
            let rise = 0.5 * f64::from(step);
            let force = 3.0 + slope * rise + (rise - 6.0).max(0.0) * slope;
            JackRise { rise: Length::mm(rise), force: kn(0.7 * force, force) }
        };
        (0..=24).map(point).collect::<Vec<_>>()
    };
    let let_go = LetGo { rise: Length::mm(6.0), force: Force::kn(5.0), n_gone: 1 };
    JackPicture {
        medium,
        title_block: title_block("Force at the jack at C5", "6 of 8"),
        print: Print::Millimetres(Decimals::Tenths),
        place: "C5".into(),
        alone: JackLine { points: line(1.0 / 3.0), let_go: vec![let_go], rocks_from: None },
        together: JackLine { points: line(0.05), ..JackLine::default() },
        neighbours: "C4 and C6".into(),
        limit: Some(JackLimit { rating: Force::kn(16.0), share: 0.5 }),
        note: String::new(),
    }
}

/// Forty moves in five passes; the jacks pass their limit in move 33.
pub fn way(medium: Medium) -> WayPicture {
    let one = |idx: usize| {
        let share = 0.3 + 0.6 * (idx as f64 * 0.7).sin().abs();
        let most = if idx == 32 { 8.4 } else { 4.0 + 3.0 * share };
        WayMove {
            pass: idx / 8 + 1,
            number: idx % 8 + 1,
            slope: Some(ShareAt { share, place: "A1 to A2".into() }),
            jack: Some(JackAt { force: kn(0.6 * most, most), support: SupportId::new("C5") }),
            bent: Some(ShareAt { share: 0.5 * share, place: "bearer B3".into() }),
            rocks: false,
        }
    };
    WayPicture {
        medium,
        title_block: title_block("How near the work comes to its limits", "7 of 8"),
        on_frame: true,
        moves: (0..40).map(one).collect(),
        jack_limit: Some(JackLimit { rating: Force::kn(16.0), share: 0.5 }),
        bending_limit: 0.5,
        stop: Some("pass 5, move 1: the jack at support C5 pushes 8.4 kN".into()),
        may_bend_too_far: false,
    }
}
