//! Who carries what: the plan of the frame with the load at each support.

use crate::PALETTE;
use crate::canvas::{Canvas, Rect, Spot, Stroke};
use crate::labels::{Labels, Placed};
use crate::number::{from_to, is_printable, kilonewtons_range, kilonewtons_up};
use crate::picture::{CarriedPicture, CarriedState, Holding, LineKind, SupportHolding};
use crate::plan::{
    Extent, Lines, Plan, PlanLabel, Symbol, View, draw_label, is_drawable, most_labels, plate_size,
};
use crate::sheet::{BLACK, GREY, NO_STROKE, Sheet, Style, WHITE};
use crate::tiles::Tiles;
use floorwright_engine::units::Force;

/// The colour of a support that hangs or lets go.
pub(crate) const HANGS: &str = "#852206";
const BEARER: &str = "#4a4a4a";
const JOIST: &str = "#b0b0b0";
const ROOM: &str = "#8c8c8c";
const WALL: &str = "#e1b8a0";

/// Radius of the disc of the largest load, and of the smallest that is drawn, in symbols.
const RADII: (f64, f64) = (2.0, 0.55);

/// Where not every number finds room beside a small plan, so many of the largest are given.
const LARGEST: usize = 8;

/// Draws the timbers, and each support with the load that it carries.
///
/// A support that carries is a full disc, its area by its largest load; one that may hang is half
/// full; one that hangs is hollow, with the air under its bearer. A jack is a triangle. One time is
/// drawn to scale with names; several are drawn side by side, to be compared, with one size of disc.
///
/// # Units and sign
/// Forces in kilonewtons, as a range over all assumptions.
pub fn carried_map(picture: &CarriedPicture) -> String {
    match picture.states.as_slice() {
        [only] => one_state(picture, only),
        several => side_by_side(picture, several),
    }
}

fn drawable(state: &CarriedState) -> Vec<&SupportHolding> {
    state.supports.iter().filter(|support| is_drawable(support.at)).collect()
}

/// What may be said of a support: nothing where the frame rocks.
fn holding(state: &CarriedState, support: &SupportHolding) -> Holding {
    if state.rocks { Holding::NotListed } else { support.holding }
}

fn most(holding: Holding) -> Option<Force> {
    match holding {
        Holding::Carries(range) | Holding::MayHang(range) | Holding::Jack(range) => {
            Some(range.most).filter(|&most| is_printable(most))
        }
        Holding::Hangs(..) | Holding::LetsGo | Holding::NotListed => None,
    }
}

/// The largest load of all times, to which discs are drawn.
fn largest(picture: &CarriedPicture) -> Force {
    let states = picture.states.iter();
    let loads = states.flat_map(|state| state.supports.iter().map(|s| holding(state, s)));
    loads.filter_map(most).fold(Force::ZERO, Force::max)
}

fn extent(picture: &CarriedPicture) -> Extent {
    let supports = picture.states.iter().flat_map(|state| &state.supports).map(|s| s.at);
    let ends = picture.lines.iter().flat_map(|line| [line.from, line.to]);
    Extent::of(&picture.rooms, supports.chain(ends))
}

/// How large discs are drawn.
#[derive(Clone, Copy)]
struct Discs {
    largest: Force,
    /// Radius of the largest.
    radius: f64,
}

impl Discs {
    /// Small enough that a crowd does not run together.
    fn new(largest: Force, style: &Style, area: &Rect, n_supports: usize) -> Self {
        let crowd = 0.35 * (area.width * area.height / n_supports.max(1) as f64).sqrt();
        Self { largest, radius: (RADII.0 * style.symbol).min(crowd) }
    }

    fn radius_of(&self, holding: Holding) -> f64 {
        let least = self.radius * RADII.1 / RADII.0;
        let share = most(holding).map_or(0.0, |most| most / self.largest.max(Force::n(1.0)));
        (self.radius * share.max(0.0).sqrt()).clamp(least, self.radius)
    }

    fn room(&self, spot: Spot, holding: Holding) -> Rect {
        let half = 1.25 * self.radius_of(holding);
        Rect::around(spot, half, half)
    }
}

fn one_state(picture: &CarriedPicture, state: &CarriedState) -> String {
    let supports = drawable(state);
    let mut plan = Plan::new(picture.medium, &picture.title_block, extent(picture));
    let (style, view) = (plan.sheet.style, plan.view);
    let discs = Discs::new(largest(picture), &style, &plan.sheet.area, supports.len());
    draw_frame(&mut plan.sheet.canvas, &style, &view, picture);
    let rooms: Vec<Rect> =
        supports.iter().map(|s| discs.room(view.spot(s.at), holding(state, s))).collect();
    rooms.iter().for_each(|room| plan.labels.reserve(*room));
    if !state.rocks {
        let labels = supports.iter().zip(&rooms).map(|(support, &symbol)| {
            let numbers = numbers(picture, support.holding);
            let name = (support.support.to_string(), false);
            let full: Lines = std::iter::once(name.clone()).chain(numbers.clone()).collect();
            let short = if numbers.is_empty() { vec![name] } else { numbers };
            PlanLabel { symbol, name: support.support.to_string(), forms: vec![full, short] }
        });
        plan.label_all(&labels.collect::<Vec<_>>());
    }
    draw_holdings(&mut plan.sheet.canvas, &style, &view, &discs, state);
    plan.room_names(&picture.rooms);
    plan.sheet.bars(&plan.scale, picture.print);
    let is_turned = plan.view.is_turned();
    legend(&mut plan.sheet, picture, is_turned);
    say_state(&mut plan.sheet, state, false);
    plan.admit_left_out(&["no names; they are in the table of loads"]);
    admit_lost(&mut plan.sheet, picture);
    plan.sheet.finish()
}

fn side_by_side(picture: &CarriedPicture, states: &[CarriedState]) -> String {
    let extent = extent(picture).turned_for(picture.medium);
    let house_shape = extent.height() / extent.width();
    let n_tiles = states.len().max(1);
    let shape = Tiles::shape(picture.medium, n_tiles, house_shape);
    let mut sheet = Sheet::new(picture.medium, &picture.title_block, shape);
    let tiles = Tiles::new(picture.medium, &sheet, n_tiles, house_shape);
    let largest = largest(picture);
    let mut all_numbered = true;
    for (idx, state) in states.iter().enumerate() {
        let title =
            if state.rocks { format!("{}: rocks", state.title) } else { state.title.clone() };
        let tile = tiles.begin(&mut sheet, &extent, idx, &title);
        let style = sheet.style;
        draw_frame(&mut sheet.canvas, &style, &tile.view, picture);
        let discs = Discs::new(largest, &style, &tile.area, state.supports.len());
        draw_holdings(&mut sheet.canvas, &style, &tile.view, &discs, state);
        let labels = Labels::new(tile.area, 3.0 * style.text);
        all_numbered &= number_tile(&mut sheet, (labels, &tile.view), picture, &discs, state);
    }
    legend(&mut sheet, picture, extent.is_turned());
    for state in states {
        say_state(&mut sheet, state, true);
    }
    if states.is_empty() {
        sheet.heading("nothing is known of the frame");
    }
    admit_lost(&mut sheet, picture);
    if !all_numbered {
        sheet.paragraph(&format!("for want of room only the {LARGEST} largest loads have numbers"));
    }
    sheet.finish()
}

/// Gives the numbers in a small plan: all of them, or else the largest; whether it was all.
fn number_tile(
    sheet: &mut Sheet,
    (mut labels, view): (Labels, &View),
    picture: &CarriedPicture,
    discs: &Discs,
    state: &CarriedState,
) -> bool {
    let style = sheet.style;
    let supports = drawable(state);
    let mut wanted: Vec<(Rect, Holding, Lines)> = Vec::new();
    for support in supports {
        let holding = holding(state, support);
        let room = discs.room(view.spot(support.at), holding);
        labels.reserve(room);
        let lines = numbers(picture, holding);
        if !lines.is_empty() {
            wanted.push((room, holding, lines));
        }
    }
    let place = |labels: &mut Labels, wanted: &[(Rect, Holding, Lines)]| {
        let sizes = wanted.iter().map(|(room, _, lines)| (*room, plate_size(&style, lines)));
        labels.place_all(&sizes.collect::<Vec<_>>())
    };
    let all: Option<Vec<Placed>> = if wanted.len() > most_labels(&style, labels.area()) {
        None
    } else {
        place(&mut labels.clone(), &wanted).into_iter().collect()
    };
    let is_all = all.is_some();
    let placed = all.map_or_else(
        || {
            let load = |holding| most(holding).unwrap_or_default();
            wanted.sort_by(|a, b| load(b.1).to_n().total_cmp(&load(a.1).to_n()));
            wanted.truncate(LARGEST);
            place(&mut labels, &wanted)
        },
        |all| all.into_iter().map(Some).collect(),
    );
    for (placed, (.., lines)) in placed.iter().zip(&wanted) {
        if let Some(placed) = placed {
            draw_label(&mut sheet.canvas, &style, placed, lines);
        }
    }
    is_all
}

/// The load of a support, or the air under its bearer, as its label says it.
fn numbers(picture: &CarriedPicture, holding: Holding) -> Lines {
    let air = |length| picture.print.tidy(length);
    match holding {
        Holding::Carries(range) | Holding::MayHang(range) | Holding::Jack(range) => {
            vec![(kilonewtons_range(range), true)]
        }
        Holding::Hangs(least, most) => {
            vec![(format!("air {}", from_to(&air(least), &air(most))), false)]
        }
        Holding::LetsGo | Holding::NotListed => Vec::new(),
    }
}

/// Wall loads as bands, the rooms thin on them, and the timbers above: rooms drawn heavy would hide
/// the bearers that run along them.
fn draw_frame(canvas: &mut Canvas, style: &Style, view: &View, picture: &CarriedPicture) {
    for kind in [LineKind::Wall, LineKind::Joist, LineKind::Bearer] {
        for assumed in [false, true] {
            let of_kind = picture.lines.iter().filter(|line| {
                let is_there = is_drawable(line.from) && is_drawable(line.to);
                is_there && line.kind == kind && line.assumed == assumed
            });
            let lines: Vec<(Spot, Spot)> =
                of_kind.map(|line| (view.spot(line.from), view.spot(line.to))).collect();
            canvas.lines(class_of(kind), &lines, stroke_of(style, kind, assumed));
        }
        if kind == LineKind::Wall {
            for room in &picture.rooms {
                let spots = view.spots(room.outline.corners());
                canvas.polygon("room", &spots, "none", Stroke::solid(ROOM, style.medium));
            }
        }
    }
    let loads: Vec<Spot> = picture
        .point_loads
        .iter()
        .filter(|at| is_drawable(**at))
        .map(|&at| view.spot(at))
        .collect();
    for spot in loads {
        draw_point_load(canvas, style, spot);
    }
}

fn class_of(kind: LineKind) -> &'static str {
    match kind {
        LineKind::Wall => "line-load",
        LineKind::Joist => "joist",
        LineKind::Bearer => "bearer",
    }
}

fn stroke_of(style: &Style, kind: LineKind, assumed: bool) -> Stroke {
    let (colour, width) = match kind {
        LineKind::Wall => (WALL, 4.5 * style.medium),
        LineKind::Joist => (JOIST, style.thin),
        LineKind::Bearer => (BEARER, 1.7 * style.medium),
    };
    let long = if style.text > 10.0 { "7 4" } else { "2.4 1.4" };
    let dashes = match (assumed, kind) {
        (false, _) => "none",
        (true, LineKind::Bearer) => long,
        (true, _) => style.dashes,
    };
    Stroke { colour, width, dashes }
}

fn draw_point_load(canvas: &mut Canvas, style: &Style, spot: Spot) {
    let half = 0.6 * style.symbol;
    canvas.rect(
        "point-load",
        &Rect::around(spot, half, half),
        WALL,
        Stroke::solid(BLACK, style.thin),
    );
}

fn draw_holdings(
    canvas: &mut Canvas,
    style: &Style,
    view: &View,
    discs: &Discs,
    state: &CarriedState,
) {
    for support in drawable(state) {
        let holding = holding(state, support);
        draw_holding(canvas, style, view.spot(support.at), discs.radius_of(holding), holding);
    }
}

fn draw_holding(canvas: &mut Canvas, style: &Style, spot: Spot, radius: f64, holding: Holding) {
    let line = Stroke::solid(BLACK, style.medium.min(0.4 * radius));
    match holding {
        Holding::Carries(_) => {
            canvas.circle("symbol carries", spot, radius, &PALETTE[3].to_string(), line);
        }
        Holding::MayHang(_) => {
            canvas.circle("symbol may-hang", spot, radius, WHITE, line);
            let turn = |step: u32| (0.25 + f64::from(step) / 24.0) * std::f64::consts::TAU;
            let edge = |step: u32| {
                let (sine, cosine) = turn(step).sin_cos();
                (spot.0 + radius * cosine, spot.1 - radius * sine)
            };
            let half: Vec<Spot> = (0..=12).map(edge).collect();
            canvas.polygon("half", &half, &PALETTE[7].to_string(), NO_STROKE);
        }
        Holding::Hangs(..) => {
            let stroke = Stroke::solid(HANGS, style.thick.min(0.6 * radius));
            canvas.circle("symbol hangs", spot, radius, WHITE, stroke);
        }
        Holding::Jack(_) => {
            let style = Style { symbol: radius, ..*style };
            Symbol::Up.draw(canvas, &style, spot, &PALETTE[2].to_string());
        }
        Holding::LetsGo => draw_lets_go(canvas, style, spot, radius),
        Holding::NotListed => {
            let stroke = Stroke::solid(GREY, style.medium.min(0.4 * radius));
            canvas.circle("symbol not-listed", spot, radius, WHITE, stroke);
        }
    }
}

/// A hollow ring with a stroke through it: a support that comes to hang free.
pub(crate) fn draw_lets_go(canvas: &mut Canvas, style: &Style, (x, y): Spot, radius: f64) {
    let stroke = Stroke::solid(HANGS, style.thick.min(0.6 * radius));
    let reach = 1.3 * radius * std::f64::consts::FRAC_1_SQRT_2;
    canvas.circle("symbol lets-go", (x, y), radius, WHITE, stroke);
    canvas.line("slash", (x - reach, y + reach), (x + reach, y - reach), stroke);
}

fn legend(sheet: &mut Sheet, picture: &CarriedPicture, is_turned: bool) {
    let largest = largest(picture);
    let is_there = |of: fn(Holding) -> bool| {
        picture.states.iter().any(|state| state.supports.iter().any(|s| of(holding(state, s))))
    };
    if largest > Force::ZERO {
        sheet.heading("load in kN, least to most");
        sheet.paragraph(&format!(
            "over all assumptions; discs by area, the largest is {}",
            kilonewtons_up(largest)
        ));
    }
    let unit = picture.print.heights_are_in();
    let range = floorwright_engine::frame::ForceRange::default();
    let air = floorwright_engine::units::Length::ZERO;
    let rows: [(Holding, bool, String); 6] = [
        (Holding::Carries(range), is_there(|h| matches!(h, Holding::Carries(_))), "carries".into()),
        (
            Holding::MayHang(range),
            is_there(|h| matches!(h, Holding::MayHang(_))),
            "may hang: under some assumptions it carries nothing".into(),
        ),
        (
            Holding::Hangs(air, air),
            is_there(|h| matches!(h, Holding::Hangs(..))),
            format!("hangs, air in {unit}"),
        ),
        (
            Holding::Jack(range),
            is_there(|h| matches!(h, Holding::Jack(_))),
            "jack, and what it pushes".into(),
        ),
        (Holding::LetsGo, is_there(|h| h == Holding::LetsGo), "lets go in this move".into()),
        (
            Holding::NotListed,
            is_there(|h| h == Holding::NotListed),
            "support without a number here".into(),
        ),
    ];
    for (holding, _, words) in rows.iter().filter(|(_, shown, _)| *shown) {
        let draw = |canvas: &mut Canvas, style: &Style, spot: Spot| {
            draw_holding(canvas, style, spot, style.symbol, *holding);
        };
        sheet.symbol_row(draw, words);
    }
    legend_of_lines(sheet, picture);
    sheet.orientation(picture.orientation, is_turned);
    sheet.heading("planning aid: it does not say that lifting is safe");
}

fn legend_of_lines(sheet: &mut Sheet, picture: &CarriedPicture) {
    let rows = [
        (LineKind::Bearer, false, "bearer"),
        (LineKind::Bearer, true, "bearer, assumed"),
        (LineKind::Joist, false, "joist"),
        (LineKind::Joist, true, "joist, assumed"),
        (LineKind::Wall, false, "wall with its load"),
        (LineKind::Wall, true, "wall with its load, assumed"),
    ];
    for (kind, assumed, words) in rows {
        if picture.lines.iter().any(|line| line.kind == kind && line.assumed == assumed) {
            let draw = move |canvas: &mut Canvas, style: &Style, (x, y): Spot| {
                let half = 1.1 * style.text;
                let stroke = stroke_of(style, kind, assumed);
                canvas.line("legend-line", (x - half, y), (x + half, y), stroke);
            };
            sheet.symbol_row(draw, words);
        }
    }
    if !picture.point_loads.is_empty() {
        sheet.symbol_row(draw_point_load, "load at one place");
    }
}

fn say_state(sheet: &mut Sheet, state: &CarriedState, with_title: bool) {
    if state.rocks {
        let title = if with_title { format!("{}: ", state.title) } else { String::new() };
        sheet.heading(&format!(
            "{title}the frame rocks: what each support carries is not determined, and no load is given"
        ));
    } else if !state.note.is_empty() {
        let title = if with_title { format!("{}: ", state.title) } else { String::new() };
        sheet.paragraph(&format!("{title}{}", state.note));
    }
}

fn admit_lost(sheet: &mut Sheet, picture: &CarriedPicture) {
    if picture.n_assumed > 0 {
        let (n, things) =
            (picture.n_assumed, if picture.n_assumed == 1 { "thing" } else { "things" });
        sheet.paragraph(&format!("rests on {n} assumed {things}, listed with the frame"));
    }
    let Some(state) = picture.states.first() else { return };
    let lost = state.supports.iter().filter(|support| !is_drawable(support.at));
    let lost: Vec<&str> = lost.map(|support| support.support.as_str()).collect();
    sheet.names("without a place on the plan", &lost);
}
