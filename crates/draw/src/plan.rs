//! What all plan pictures share: rooms, symbols, labels on plates.

use crate::canvas::{Anchor, Canvas, Ground, Line, Rect, Spot, Stroke};
use crate::labels::{Labels, Placed};
use crate::picture::{Medium, RoomOutline, TitleBlock};
use crate::sheet::{BLACK, GREY, NO_STROKE, Scale, Sheet, Style, WHITE};
use crate::text::{self, CAP_HEIGHT};
use floorwright_engine::site::Position;

/// Places further from the origin than this are not drawn: a thousand kilometres.
const FARTHEST_MM: f64 = 1e9;

pub(crate) fn is_drawable(place: Position) -> bool {
    let near = |mm: f64| mm.is_finite() && mm.abs() <= FARTHEST_MM;
    near(place.x.to_mm()) && near(place.y.to_mm())
}

/// From ground to paper.
#[derive(Clone, Copy)]
pub(crate) struct View {
    left: f64,
    bottom: f64,
    min_x: f64,
    min_y: f64,
    ratio: f64,
    is_turned: bool,
}

impl View {
    /// Centres the ground on an area.
    pub fn new(extent: &Extent, area: &Rect, ratio: f64) -> Self {
        Self {
            left: area.x + (area.width - extent.width() * ratio) / 2.0,
            bottom: area.bottom() - (area.height - extent.height() * ratio) / 2.0,
            min_x: extent.min_x,
            min_y: extent.min_y,
            ratio,
            is_turned: extent.is_turned,
        }
    }

    pub fn spot(&self, place: Position) -> Spot {
        let place = if self.is_turned { turned(place) } else { place };
        (
            self.left + (place.x.to_mm() - self.min_x) * self.ratio,
            self.bottom - (place.y.to_mm() - self.min_y) * self.ratio,
        )
    }

    /// How the ground lies in the picture.
    fn ground(&self) -> Ground {
        let zero = self.spot(Position::mm(0.0, 0.0));
        let from_zero = |(x, y): Spot| (x - zero.0, y - zero.1);
        Ground {
            zero,
            metre_x: from_zero(self.spot(Position::mm(1000.0, 0.0))),
            metre_y: from_zero(self.spot(Position::mm(0.0, 1000.0))),
        }
    }

    pub fn is_turned(&self) -> bool {
        self.is_turned
    }

    pub fn spots(&self, line: &[Position]) -> Vec<Spot> {
        line.iter().map(|&place| self.spot(place)).collect()
    }
}

/// The place after the plan has been turned a quarter to the left.
pub(crate) fn turned(place: Position) -> Position {
    Position { x: -place.y, y: place.x }
}

/// The ground that a picture covers, in millimetres.
pub(crate) struct Extent {
    is_turned: bool,
    min_x: f64,
    min_y: f64,
    max_x: f64,
    max_y: f64,
}

impl Extent {
    /// Of all rooms and places; ten metres square if there are none.
    pub fn of(rooms: &[RoomOutline], places: impl Iterator<Item = Position>) -> Self {
        let corners = rooms.iter().flat_map(|room| room.outline.corners().iter().copied());
        let mut places = corners.chain(places).filter(|&place| is_drawable(place));
        let Some(first) = places.next() else {
            return Self { is_turned: false, min_x: 0.0, min_y: 0.0, max_x: 1e4, max_y: 1e4 };
        };
        let (x, y) = (first.x.to_mm(), first.y.to_mm());
        let start = Self { is_turned: false, min_x: x, min_y: y, max_x: x, max_y: y };
        places.fold(start, |extent, place| {
            let (x, y) = (place.x.to_mm(), place.y.to_mm());
            Self {
                is_turned: false,
                min_x: extent.min_x.min(x),
                min_y: extent.min_y.min(y),
                max_x: extent.max_x.max(x),
                max_y: extent.max_y.max(y),
            }
        })
    }

    /// Turned a quarter to the left if that makes the picture larger on this medium: a phone is
    /// held upright, and a wide plan would leave no room for numbers.
    pub fn turned_for(self, medium: Medium) -> Self {
        if medium != Medium::Screen || self.width() < 1.2 * self.height() {
            return self;
        }
        Self {
            is_turned: true,
            min_x: -self.max_y,
            min_y: self.min_x,
            max_x: -self.min_y,
            max_y: self.max_x,
        }
    }

    pub fn is_turned(&self) -> bool {
        self.is_turned
    }

    pub fn min(&self) -> Position {
        Position::mm(self.min_x, self.min_y)
    }

    /// At least a metre, so that a single point still has a scale.
    pub fn width(&self) -> f64 {
        (self.max_x - self.min_x).max(1e3)
    }

    pub fn height(&self) -> f64 {
        (self.max_y - self.min_y).max(1e3)
    }
}

/// Lines of text, each with whether it is bold.
pub(crate) type Lines = Vec<(String, bool)>;

/// What stands beside a symbol.
pub(crate) struct PlanLabel {
    /// The room of the symbol.
    pub symbol: Rect,
    /// What a note calls it if it finds no room.
    pub name: String,
    /// What to say, the fullest form first, the last that which has to be said. A form without
    /// lines says nothing.
    pub forms: Vec<Lines>,
}

impl PlanLabel {
    fn form(&self, form: usize) -> &[(String, bool)] {
        self.forms.get(form).or(self.forms.last()).map_or(&[], Vec::as_slice)
    }
}

/// A plan in the making.
pub(crate) struct Plan {
    pub sheet: Sheet,
    pub view: View,
    pub labels: Labels,
    pub scale: Scale,
    left_out: Vec<String>,
    shortened: usize,
    /// More labels were asked for than can be.
    too_many: bool,
}

impl Plan {
    pub fn new(medium: Medium, block: &TitleBlock, extent: Extent) -> Self {
        let extent = extent.turned_for(medium);
        let shape = (extent.height() / extent.width() + 0.08).min(3.0);
        let mut sheet = Sheet::new(medium, block, shape);
        let scale = sheet.scale(extent.width(), extent.height());
        let view = View::new(&extent, &sheet.area, scale.ratio);
        if medium == Medium::Screen {
            sheet.canvas.ground = Some(view.ground());
        }
        let labels = Labels::new(sheet.area, 3.0 * sheet.style.text);
        Self { sheet, view, labels, scale, left_out: Vec::new(), shortened: 0, too_many: false }
    }

    pub fn walls(&mut self, rooms: &[RoomOutline]) {
        draw_walls(&mut self.sheet.canvas, &self.sheet.style, &self.view, rooms);
    }

    /// Keeps labels off a symbol, and gives the room that it takes.
    pub fn reserve_symbol(&mut self, at: Position) -> Rect {
        let half = self.sheet.style.symbol * 1.3;
        let rect = Rect::around(self.view.spot(at), half, half);
        self.labels.reserve(rect);
        rect
    }

    /// Finds room for the labels beside their symbols, and draws them.
    ///
    /// All labels are drawn in one form: the fullest in which every one finds room, or else the one
    /// in which fewest are left out. More of them than the picture could ever hold are not tried:
    /// none is drawn, and the notes say so.
    pub fn label_all(&mut self, labels: &[PlanLabel]) {
        let style = self.sheet.style;
        self.too_many = labels.len() > self.most_labels();
        if self.too_many {
            return;
        }
        let n_forms = labels.iter().map(|label| label.forms.len()).max().unwrap_or(0);
        let mut best: Option<(usize, usize, Labels, Vec<Option<Placed>>)> = None;
        for form in 0..n_forms {
            let size = |label: &PlanLabel| (label.symbol, plate_size(&style, label.form(form)));
            let mut taken = self.labels.clone();
            let speaking = labels.iter().filter(|label| !label.form(form).is_empty());
            let placed = taken.place_all(&speaking.map(size).collect::<Vec<_>>());
            let n_left_out = placed.iter().filter(|placed| placed.is_none()).count();
            if best.as_ref().is_none_or(|(least, ..)| n_left_out < *least) {
                best = Some((n_left_out, form, taken, placed));
            }
            if n_left_out == 0 {
                break;
            }
        }
        let Some((_, form, taken, placed)) = best else { return };
        self.labels = taken;
        self.shortened = form;
        let speaking = labels.iter().filter(|label| !label.form(form).is_empty());
        for (label, placed) in speaking.zip(placed) {
            match placed {
                Some(placed) => {
                    draw_label(&mut self.sheet.canvas, &style, &placed, label.form(form));
                }
                None => self.left_out.push(label.name.clone()),
            }
        }
    }

    /// How many labels are tried at most.
    pub fn most_labels(&self) -> usize {
        most_labels(&self.sheet.style, &self.sheet.area)
    }

    /// Rooms' names where they hide nothing; a room without space for it goes without.
    pub fn room_names(&mut self, rooms: &[RoomOutline]) {
        for room in rooms.iter().filter(|room| !room.name.trim().is_empty()) {
            let lines = [(room.name.clone(), false)];
            let (width, height) = plate_size(&self.sheet.style, &lines);
            let air = 2.0 * self.sheet.style.pad;
            let size = (width + 2.0 * air, height + 2.0 * air);
            let centres: Vec<_> = places_inside(room).iter().map(|&p| self.view.spot(p)).collect();
            if let Some(rect) = self.labels.place_at(centres, size) {
                let placed = Placed { rect: rect.shrunk(air), leader: None };
                draw_lines(&mut self.sheet.canvas, &self.sheet.style, &placed, "room-name", &lines);
            }
        }
    }

    /// Whether the labels say everything.
    pub fn has_full_labels(&self) -> bool {
        self.has_form(0)
    }

    /// Whether labels are drawn in this form.
    pub fn has_form(&self, form: usize) -> bool {
        self.shortened == form && !self.too_many
    }

    /// Says what the labels lack in a shorter form, and which labels found no room.
    pub fn admit_left_out(&mut self, what_forms_lack: &[&str]) {
        if self.too_many {
            let most = self.most_labels();
            self.sheet.paragraph(&format!(
                "no labels, for there are more than the {most} that have room: see the table, or a \
                 larger sheet"
            ));
        }
        let lacking = self.shortened.checked_sub(1).and_then(|form| what_forms_lack.get(form));
        if let Some(lacking) = lacking {
            self.sheet.paragraph(&format!("for want of room: {lacking}"));
        }
        let names: Vec<_> = self.left_out.iter().map(String::as_str).collect();
        self.sheet.names("no room for the labels of", &names);
    }
}

/// How many labels an area could hold if they filled it: a name over a number takes about so many
/// squares of the font size. A sheet of A4 holds about 300.
pub(crate) fn most_labels(style: &Style, area: &Rect) -> usize {
    const SQUARES: f64 = 9.0;
    (area.width * area.height / (SQUARES * style.text * style.text)).max(0.0) as usize
}

/// A grid of places in a room, nearest to the middle of its corners first.
fn places_inside(room: &RoomOutline) -> Vec<Position> {
    const STEPS: i32 = 24;
    let extent = Extent::of(std::slice::from_ref(room), std::iter::empty());
    let middle = ((extent.min_x + extent.max_x) / 2.0, (extent.min_y + extent.max_y) / 2.0);
    let mut places: Vec<_> = (1..STEPS)
        .flat_map(|row| (1..STEPS).map(move |column| (column, row)))
        .map(|(column, row)| {
            let share = |step: i32| f64::from(step) / f64::from(STEPS);
            Position::mm(
                extent.min_x + extent.width() * share(column),
                extent.min_y + extent.height() * share(row),
            )
        })
        .filter(|&place| room.outline.contains(place, Default::default()))
        .collect();
    let centre = Position::mm(middle.0, middle.1);
    places.sort_by(|a, b| a.distance(centre).total_cmp(&b.distance(centre)));
    places
}

pub(crate) fn draw_walls(canvas: &mut Canvas, style: &Style, view: &View, rooms: &[RoomOutline]) {
    for room in rooms {
        let spots = view.spots(room.outline.corners());
        canvas.polygon("room", &spots, "none", Stroke::solid(BLACK, style.thick));
    }
}

/// The room that lines of text take on a plate.
pub(crate) fn plate_size(style: &Style, lines: &[(String, bool)]) -> (f64, f64) {
    let widths = lines.iter().map(|(line, bold)| text::width(line, style.number, *bold));
    let width = widths.fold(0.0, f64::max) + 2.0 * style.pad;
    let advance = line_advance(style);
    let height = CAP_HEIGHT * style.number + 2.5 * style.pad + advance * (lines.len() as f64 - 1.0);
    (width, height)
}

fn line_advance(style: &Style) -> f64 {
    1.06 * style.number
}

/// A plate with lines of text, on a leader if it stands apart.
pub(crate) fn draw_label(
    canvas: &mut Canvas,
    style: &Style,
    placed: &Placed,
    lines: &[(String, bool)],
) {
    if let Some((from, to)) = placed.leader {
        canvas.line("leader", from, to, Stroke::solid(BLACK, style.thin));
    }
    draw_lines(canvas, style, placed, "label", lines);
}

pub(crate) fn draw_lines(
    canvas: &mut Canvas,
    style: &Style,
    placed: &Placed,
    class: &str,
    lines: &[(String, bool)],
) {
    let rect = placed.rect;
    let edge = if class == "contour-number" { WHITE } else { GREY };
    canvas.rect("plate", &rect, WHITE, Stroke::solid(edge, 0.6 * style.thin));
    let mut base = rect.y + 1.2 * style.pad + CAP_HEIGHT * style.number;
    for (text, bold) in lines {
        let at = (rect.centre().0, base);
        let (size, bold, anchor) = (style.number, *bold, Anchor::Middle);
        canvas.text(class, &Line { at, text, size, bold, anchor });
        base += line_advance(style);
    }
}

/// The shapes that carry the sign without colour.
#[derive(Clone, Copy, PartialEq)]
pub(crate) enum Symbol {
    Up,
    Down,
    Dot,
    Cross,
    Square,
}

impl Symbol {
    /// By the number as it is printed: a zero is a dot.
    pub fn of(printed: f64) -> Self {
        match printed {
            p if p > 0.0 => Self::Up,
            p if p < 0.0 => Self::Down,
            _ => Self::Dot,
        }
    }

    fn class(self) -> &'static str {
        match self {
            Self::Up => "symbol up",
            Self::Down => "symbol down",
            Self::Dot => "symbol dot",
            Self::Cross => "symbol cross",
            Self::Square => "symbol square",
        }
    }

    pub fn draw(self, canvas: &mut Canvas, style: &Style, (x, y): Spot, fill: &str) {
        let r = style.symbol;
        let stroke = Stroke::solid(BLACK, style.medium);
        let halo = Stroke::solid(WHITE, 3.0 * style.medium);
        let class = self.class();
        match self {
            Self::Up | Self::Down => {
                let tip = if self == Self::Up { -1.0 } else { 1.0 };
                let spots = [
                    (x, y + tip * r),
                    (x + 1.05 * r, y - tip * 0.8 * r),
                    (x - 1.05 * r, y - tip * 0.8 * r),
                ];
                canvas.polygon("halo", &spots, WHITE, halo);
                canvas.polygon(class, &spots, fill, stroke);
            }
            Self::Dot => {
                canvas.circle("halo", (x, y), 0.6 * r, WHITE, halo);
                canvas.circle(class, (x, y), 0.6 * r, fill, stroke);
            }
            Self::Square => {
                let rect = Rect::around((x, y), 0.8 * r, 0.8 * r);
                canvas.rect("halo", &rect, WHITE, halo);
                canvas.rect(class, &rect, fill, stroke);
            }
            Self::Cross => {
                let d = 0.8 * r;
                canvas.circle("halo", (x, y), r, WHITE, NO_STROKE);
                canvas.line(class, (x - d, y - d), (x + d, y + d), stroke);
                canvas.line("cross-arm", (x - d, y + d), (x + d, y - d), stroke);
            }
        }
    }
}
