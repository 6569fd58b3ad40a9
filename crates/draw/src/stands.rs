//! The plan of a survey: where the reservoir stands, and what is read from where in which order.

use crate::canvas::{Canvas, Rect, Spot, Stroke};
use crate::classes::PALETTE;
use crate::number::Print;
use crate::picture::{Medium, Orientation, RoomOutline, TitleBlock};
use crate::plan::{Extent, Plan, PlanLabel, Symbol, is_drawable, plate_size};
use crate::sheet::{BLACK, GREY, Style, WHITE};
use floorwright_engine::hose::Door;
use floorwright_engine::ids::PointId;
use floorwright_engine::site::{Position, nearest_on_segment};

/// A plan of stands.
#[derive(Clone, Debug, PartialEq)]
pub struct StandsPicture {
    /// What it is looked at on.
    pub medium: Medium,
    /// Whose it is.
    pub title_block: TitleBlock,
    /// Which way the plan lies.
    pub orientation: Orientation,
    /// How lengths are written.
    pub print: Print,
    /// The rooms.
    pub rooms: Vec<RoomOutline>,
    /// The doorways.
    pub doors: Vec<Door>,
    /// What no hose goes through.
    pub obstacles: Vec<RoomOutline>,
    /// The stands, in the order to go.
    pub stands: Vec<StandMark>,
    /// The points.
    pub points: Vec<StandPoint>,
    /// What to say of the whole, a line for each.
    pub notes: Vec<String>,
}

/// One stand.
#[derive(Clone, Debug, PartialEq)]
pub struct StandMark {
    /// Its number.
    pub number: usize,
    /// Where the reservoir stands.
    pub at: Position,
    /// The hose to each of its points.
    pub lines: Vec<Vec<Position>>,
    /// What the legend says of it.
    pub words: String,
}

/// One point.
#[derive(Clone, Debug, PartialEq)]
pub struct StandPoint {
    /// Its name.
    pub point: PointId,
    /// Where it is.
    pub at: Position,
    /// Each stand that it is read from with the number of its row there, first reading only.
    pub read: Vec<(usize, usize)>,
    /// It is read a second time from one stand.
    pub repeated: bool,
    /// It is the base of a stand: read first, again and last.
    pub base: bool,
}

/// Dashes of the hose lines, so that stands are told apart without colour; after the last the
/// first comes again.
const DASHES: [&str; 4] = ["none", "1.6 0.9", "0.4 0.9", "2.4 0.8 0.4 0.8"];
const SCREEN_DASHES: [&str; 4] = ["none", "5 3", "1.2 3", "8 3 1.2 3"];
const COLOURS: [&str; 4] = ["#116496", "#852206", "#3d3d3d", "#5b3c8c"];
const FILLS: [usize; 4] = [3, 7, 5, 4];

/// More things in the way than this are not named in the legend.
const MOST_NAMED: usize = 4;

/// Draws where to stand and in which order to read.
///
/// A number such as 1.7 beside a point is the seventh row of the sheet of stand 1. Hose lines of
/// neighbouring stands differ in dashes as well as in colour.
pub fn stands_map(picture: &StandsPicture) -> String {
    let (points, lost): (Vec<_>, Vec<_>) =
        picture.points.iter().partition(|point| is_drawable(point.at));
    let places = points.iter().map(|p| p.at).chain(picture.stands.iter().map(|s| s.at));
    let extent = Extent::of(&picture.rooms, places);
    let mut plan = Plan::new(picture.medium, &picture.title_block, extent);
    plan.walls(&picture.rooms);
    draw_openings(&mut plan, picture);
    for stand in &picture.stands {
        draw_hoses(&mut plan, picture.medium, stand);
    }
    let stand_rooms: Vec<Rect> = picture
        .stands
        .iter()
        .map(|stand| {
            let (width, height) = plate_size(&plan.sheet.style, &stand_plate(stand));
            let (x, y) = plan.view.spot(stand.at);
            let rect = Rect::around((x, y), width / 2.0, height / 2.0);
            plan.labels.reserve(rect);
            rect
        })
        .collect();
    let rooms: Vec<Rect> = points.iter().map(|point| plan.reserve_symbol(point.at)).collect();
    let labels = points.iter().zip(&rooms).map(|(point, &symbol)| {
        let rows: Vec<String> = point.read.iter().map(|(s, row)| format!("{s}.{row}")).collect();
        let name = (point.point.to_string(), false);
        let full = vec![name, (rows.join(" "), true)];
        let short = vec![(rows.join(" "), true)];
        PlanLabel { symbol, name: point.point.to_string(), forms: vec![full, short] }
    });
    plan.label_all(&labels.collect::<Vec<_>>());
    for (point, room) in points.iter().zip(&rooms) {
        draw_point(&mut plan, point, room.centre());
    }
    for (stand, rect) in picture.stands.iter().zip(&stand_rooms) {
        draw_stand(&mut plan, stand, rect);
    }
    plan.room_names(&picture.obstacles);
    plan.room_names(&picture.rooms);
    plan.sheet.bars(&plan.scale, picture.print);
    legend(&mut plan, picture);
    plan.admit_left_out(&["no names; the sheet has them under the same numbers"]);
    let lost: Vec<_> = lost.iter().map(|point| point.point.as_str()).collect();
    plan.sheet.names("without a place on the plan", &lost);
    for note in &picture.notes {
        plan.sheet.paragraph(note);
    }
    plan.sheet.finish()
}

fn stand_plate(stand: &StandMark) -> Vec<(String, bool)> {
    vec![(format!("STAND {}", stand.number), true)]
}

/// Doorways as gaps in the walls, and obstacles.
fn draw_openings(plan: &mut Plan, picture: &StandsPicture) {
    let style = plan.sheet.style;
    for door in picture.doors.iter().filter(|door| is_drawable(door.at)) {
        let sides = picture.rooms.iter().flat_map(|room| room.outline.sides());
        let off =
            |side: &(Position, Position)| nearest_on_segment(*side, door.at).distance(door.at);
        let Some((from, to)) = sides.min_by(|a, b| off(a).total_cmp(&off(b))) else { continue };
        let half = door.width / 2.0 / from.distance(to);
        let end = |sign: f64| Position {
            x: door.at.x + (to.x - from.x) * (sign * half),
            y: door.at.y + (to.y - from.y) * (sign * half),
        };
        let (a, b) = (plan.view.spot(end(-1.0)), plan.view.spot(end(1.0)));
        let canvas = &mut plan.sheet.canvas;
        canvas.line("doorway", a, b, Stroke::solid(WHITE, 2.2 * style.thick));
        plan.labels.reserve(Rect::around(
            (f64::midpoint(a.0, b.0), f64::midpoint(a.1, b.1)),
            (a.0 - b.0).abs() / 2.0 + 0.5 * style.symbol,
            (a.1 - b.1).abs() / 2.0 + 0.5 * style.symbol,
        ));
        let canvas = &mut plan.sheet.canvas;
        let (dx, dy) = (b.0 - a.0, b.1 - a.1);
        let length = dx.hypot(dy).max(1e-9);
        let tick = (dy / length * style.symbol * 0.7, -dx / length * style.symbol * 0.7);
        for (x, y) in [a, b] {
            let ends = ((x - tick.0, y - tick.1), (x + tick.0, y + tick.1));
            canvas.line("jamb", ends.0, ends.1, Stroke::solid(BLACK, style.medium));
        }
    }
    for obstacle in &picture.obstacles {
        let spots = plan.view.spots(obstacle.outline.corners());
        plan.sheet.canvas.polygon(
            "obstacle",
            &spots,
            "#d0d0d0",
            Stroke::solid(BLACK, style.medium),
        );
    }
}

fn hose_stroke(medium: Medium, style: &Style, number: usize) -> Stroke {
    let idx = number.saturating_sub(1) % DASHES.len();
    let dashes = if medium == Medium::Screen { SCREEN_DASHES[idx] } else { DASHES[idx] };
    Stroke { colour: COLOURS[idx], width: 1.3 * style.thin, dashes }
}

fn draw_hoses(plan: &mut Plan, medium: Medium, stand: &StandMark) {
    let stroke = hose_stroke(medium, &plan.sheet.style, stand.number);
    for line in &stand.lines {
        let spots = plan.view.spots(line);
        plan.sheet.canvas.polyline("hose", &spots, stroke);
    }
}

fn draw_point(plan: &mut Plan, point: &StandPoint, centre: Spot) {
    let style = plan.sheet.style;
    let canvas = &mut plan.sheet.canvas;
    let stand = point.read.first().map_or(1, |(stand, _)| *stand);
    let fill = PALETTE[FILLS[stand.saturating_sub(1) % FILLS.len()]].to_string();
    mark(canvas, &style, centre, &fill, Kind::of(point));
    if point.repeated {
        canvas.circle(
            "repeat",
            centre,
            1.15 * style.symbol,
            "none",
            Stroke::solid(BLACK, style.medium),
        );
    }
}

/// What a symbol stands for.
#[derive(Clone, Copy, PartialEq)]
enum Kind {
    Base,
    Tie,
    Once,
}

impl Kind {
    fn of(point: &StandPoint) -> Self {
        if point.base {
            Self::Base
        } else if point.read.len() > 1 {
            Self::Tie
        } else {
            Self::Once
        }
    }
}

fn mark(canvas: &mut Canvas, style: &Style, centre: Spot, fill: &str, kind: Kind) {
    match kind {
        Kind::Base => Symbol::Cross.draw(canvas, style, centre, WHITE),
        Kind::Tie => Symbol::Square.draw(canvas, style, centre, fill),
        Kind::Once => Symbol::Dot.draw(canvas, style, centre, fill),
    }
}

fn draw_stand(plan: &mut Plan, stand: &StandMark, rect: &Rect) {
    let style = plan.sheet.style;
    let canvas = &mut plan.sheet.canvas;
    canvas.rect("stand", rect, BLACK, Stroke::solid(BLACK, style.medium));
    let text = format!("STAND {}", stand.number);
    canvas.text_in("stand-name", rect, &text, style.number, WHITE);
}

fn legend(plan: &mut Plan, picture: &StandsPicture) {
    let is_turned = plan.view.is_turned();
    let medium = picture.medium;
    let sheet = &mut plan.sheet;
    sheet.heading("1.7: row 7 of the sheet of stand 1");
    for stand in &picture.stands {
        let number = stand.number;
        let draw = move |canvas: &mut Canvas, style: &Style, (x, y): Spot| {
            let half = 1.1 * style.text;
            let stroke = hose_stroke(medium, style, number);
            canvas.line("hose", (x - half, y), (x + half, y), stroke);
        };
        sheet.symbol_row(draw, &stand.words);
    }
    let shape = |kind: Kind| {
        move |canvas: &mut Canvas, style: &Style, centre: Spot| {
            mark(canvas, style, centre, &PALETTE[5].to_string(), kind);
        }
    };
    sheet.symbol_row(shape(Kind::Base), "base: read first, again and last");
    if picture.points.iter().any(|point| Kind::of(point) == Kind::Tie) {
        sheet.symbol_row(shape(Kind::Tie), "read from two stands");
    }
    sheet.symbol_row(shape(Kind::Once), "read from one");
    if picture.points.iter().any(|point| point.repeated) {
        let ring = |canvas: &mut Canvas, style: &Style, centre: Spot| {
            let stroke = Stroke::solid(BLACK, style.medium);
            canvas.circle("repeat", centre, 1.15 * style.symbol, "none", stroke);
        };
        sheet.symbol_row(ring, "read twice, the second time unseen");
    }
    if !picture.doors.is_empty() {
        let gap = |canvas: &mut Canvas, style: &Style, (x, y): Spot| {
            let wall = Stroke::solid(BLACK, style.thick);
            let (half, end) = (0.45 * style.text, 1.1 * style.text);
            canvas.line("room", (x - end, y), (x - half, y), wall);
            canvas.line("room", (x + half, y), (x + end, y), wall);
        };
        sheet.symbol_row(gap, "doorway");
    }
    if !picture.obstacles.is_empty() {
        let block = |canvas: &mut Canvas, style: &Style, centre: Spot| {
            let rect = Rect::around(centre, 0.8 * style.text, 0.5 * style.text);
            canvas.rect("obstacle", &rect, "#d0d0d0", Stroke::solid(GREY, style.thin));
        };
        let names: Vec<&str> = picture
            .obstacles
            .iter()
            .map(|thing| thing.name.trim())
            .filter(|name| !name.is_empty())
            .take(MOST_NAMED)
            .collect();
        let is_all = names.len() == picture.obstacles.len();
        let words = match (names.is_empty(), is_all) {
            (true, _) => "no way through".to_owned(),
            (false, true) => format!("no way through: {}", names.join(", ")),
            (false, false) => format!("no way through: {} and more", names.join(", ")),
        };
        sheet.symbol_row(block, &words);
    }
    sheet.orientation(picture.orientation, is_turned);
}
