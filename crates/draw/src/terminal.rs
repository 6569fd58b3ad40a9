//! The map of the floor for a terminal of 80 columns.

use crate::classes::PALETTE;
use crate::number::Print;
use crate::picture::{FloorPicture, FloorPoint, Orientation, Side};
use crate::plan::{Extent, is_drawable};
use crate::text;
use floorwright_engine::site::Position;
use floorwright_engine::units::{LENGTH_EPS, Length};

const COLUMNS: usize = 80;
/// Characters of a cell: a sign, three digits, and air.
const CELL: usize = 5;
const MOST_ACROSS: usize = COLUMNS / CELL;
/// A character is about twice as high as it is wide.
const CELL_SHAPE: f64 = 2.0 / CELL as f64;
const MOST_DOWN: usize = 60;

/// Colours close to [`PALETTE`] among the 256 of a terminal (the 6 x 6 x 6 cube and the greys), all
/// different. They are the nearest, but for the second, whose nearest is that of the third.
const TERMINAL: [u8; 11] = [17, 18, 24, 67, 152, 254, 181, 173, 130, 88, 52];

/// Draws the floor as a grid of cells: at each point a signed whole number, elsewhere the colour of
/// the floor, or without colour a mark: `^` above, `v` below, `.` in the middle class.
///
/// A number that shares its cell with another, or is too long for it, stands below the map. No line
/// is longer than 80 characters, colour codes not counted.
///
/// # Units and sign
/// Departures are levels above the target, up positive, in millimetres or sixteenths of an inch.
pub fn terminal_map(picture: &FloorPicture, colour: bool) -> String {
    let points = picture.points.iter().filter(|point| is_drawable(point.at));
    let points: Vec<_> = points.collect();
    let extent = Extent::of(&picture.rooms, points.iter().map(|point| point.at));
    let grid = Grid::new(&extent);
    let mut cells = grid.floor(picture, colour);
    let mut crowded = Vec::new();
    for point in points {
        let (column, row) = grid.cell_of(point.at);
        match cells.get_mut(row).and_then(|line| line.get_mut(column)) {
            Some(cell) if !cell.taken && number(picture, point).len() <= CELL => {
                *cell = number_cell(picture, point);
            }
            _ => crowded.push(format!("{} {}", point.point, number(picture, point))),
        }
    }
    let mut lines: Vec<String> = Vec::new();
    lines.extend(text_lines(&picture.title_block.title));
    lines.extend(cells.iter().map(|line| written(line, colour)));
    lines.extend(notes(picture, colour));
    if !crowded.is_empty() {
        lines.extend(text_lines(&format!("no room on the map: {}", crowded.join(", "))));
    }
    lines.push(String::new());
    lines.join("\n")
}

#[derive(Clone, Default)]
struct Cell {
    text: String,
    class: Option<usize>,
    bold: bool,
    taken: bool,
}

struct Grid {
    min: Position,
    across: f64,
    n_columns: usize,
    n_rows: usize,
}

impl Grid {
    fn new(extent: &Extent) -> Self {
        let across = (extent.width() / (MOST_ACROSS - 1) as f64)
            .max(extent.height() / ((MOST_DOWN - 1) as f64 * CELL_SHAPE));
        let n_columns = (extent.width() / across + 1e-9).floor() as usize + 1;
        let n_rows = (extent.height() / (across * CELL_SHAPE) + 1e-9).floor() as usize + 1;
        let min = extent.min();
        Self { min, across, n_columns: n_columns.min(MOST_ACROSS), n_rows: n_rows.min(MOST_DOWN) }
    }

    /// Column from the left and row from the top.
    fn cell_of(&self, at: Position) -> (usize, usize) {
        let column = ((at.x - self.min.x).to_mm() / self.across).round();
        let row = ((at.y - self.min.y).to_mm() / (self.across * CELL_SHAPE)).round();
        let column = (column.max(0.0) as usize).min(self.n_columns - 1);
        let row = (row.max(0.0) as usize).min(self.n_rows - 1);
        (column, self.n_rows - 1 - row)
    }

    fn middle_of(&self, column: usize, row: usize) -> Position {
        let up = (self.n_rows - 1 - row) as f64;
        Position {
            x: self.min.x + Length::mm(column as f64 * self.across),
            y: self.min.y + Length::mm(up * self.across * CELL_SHAPE),
        }
    }

    fn floor(&self, picture: &FloorPicture, colour: bool) -> Vec<Vec<Cell>> {
        let cell = |column: usize, row: usize| {
            let at = self.middle_of(column, row);
            let inside = picture.rooms.iter().any(|room| room.outline.contains(at, LENGTH_EPS));
            let class = shaded(picture, at)
                .filter(|_| inside)
                .map(|departure| picture.colours.class(departure));
            let mark = match class {
                None => "",
                Some(_) if colour => "",
                Some(class) if class > 5 => "^",
                Some(class) if class < 5 => "v",
                Some(_) => ".",
            };
            Cell { text: mark.to_owned(), class, bold: false, taken: false }
        };
        (0..self.n_rows)
            .map(|row| (0..self.n_columns).map(|column| cell(column, row)).collect())
            .collect()
    }
}

/// The departure of the shading at a place.
fn shaded(picture: &FloorPicture, at: Position) -> Option<Length> {
    let cell = picture.cells.iter().find(|cell| is_within(&cell.corners, at))?;
    Some(cell.departure).filter(|departure| departure.is_finite())
}

fn is_within(corners: &[Position], at: Position) -> bool {
    let (x, y) = (at.x.to_mm(), at.y.to_mm());
    let mut inside = false;
    for (idx, from) in corners.iter().enumerate() {
        let to = corners[(idx + 1) % corners.len()];
        let (from_y, to_y) = (from.y.to_mm(), to.y.to_mm());
        if (from_y > y) != (to_y > y) {
            let share = (y - from_y) / (to_y - from_y);
            inside ^= x < from.x.to_mm() + share * (to.x - from.x).to_mm();
        }
    }
    inside
}

fn number(picture: &FloorPicture, point: &FloorPoint) -> String {
    match point.departure.filter(|departure| departure.is_finite()) {
        None => "?".to_owned(),
        Some(departure) => {
            let whole = picture.print.whole().round(departure);
            let doubt = if point.suspect { "?" } else { "" };
            if whole == 0.0 { format!("0{doubt}") } else { format!("{whole:+.0}{doubt}") }
        }
    }
}

fn number_cell(picture: &FloorPicture, point: &FloorPoint) -> Cell {
    let class = point.departure.map(|departure| picture.colours.class(departure));
    Cell { text: number(picture, point), class, bold: true, taken: true }
}

/// One row of cells; spaces at its end are dropped where they have no colour.
fn written(cells: &[Cell], colour: bool) -> String {
    let mut line = String::new();
    for cell in cells {
        let text = format!("{:^CELL$}", cell.text);
        match cell.class.filter(|_| colour) {
            None => line.push_str(&text),
            Some(class) => {
                let ink = if (3..=7).contains(&class) { 16 } else { 231 };
                let weight = if cell.bold { "1;" } else { "" };
                let paper = TERMINAL[class];
                line.push_str(&format!("\u{1b}[{weight}38;5;{ink};48;5;{paper}m{text}\u{1b}[0m"));
            }
        }
    }
    line.trim_end().to_owned()
}

fn notes(picture: &FloorPicture, colour: bool) -> Vec<String> {
    let unit = match picture.print {
        Print::Millimetres(_) => "mm",
        Print::Sixteenths => "sixteenths of an inch",
    };
    let mut lines =
        vec![format!("{unit} above (+) or below (-) the target; ? is in doubt or has no level")];
    let step = picture.print.whole().round(picture.colours.edges()[5]);
    if colour {
        let band = |class: usize| Cell {
            text: match class {
                5 => "0".to_owned(),
                6.. => format!("{:+.0}", step * (class as f64 - 5.0)),
                _ => format!("{:+.0}", step * (class as f64 - 5.0)),
            },
            class: Some(class),
            bold: false,
            taken: false,
        };
        let bands: Vec<_> = (0..PALETTE.len()).map(band).collect();
        lines.push(written(&bands, true));
    } else if !picture.cells.is_empty() {
        lines.push(format!(
            "between points: ^ more than {step:.0} above, v more than {step:.0} below, . between"
        ));
    }
    lines.extend(text_lines(match picture.orientation {
        Orientation::NotDeclared => "north and street: not declared",
        Orientation::North(_) => "north: see the drawing",
        Orientation::Street(Side::Left) => "street: left",
        Orientation::Street(Side::Right) => "street: right",
        Orientation::Street(Side::Top) => "street: top",
        Orientation::Street(Side::Bottom) => "street: bottom",
    }));
    lines
}

/// Plain text in lines of at most 80 characters.
fn text_lines(words: &str) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text::clean(words).split_whitespace() {
        let word: String = word.chars().take(COLUMNS).collect();
        let line = lines.last_mut().expect("there is always a line");
        if line.is_empty() {
            *line = word;
        } else if line.chars().count() + 1 + word.chars().count() <= COLUMNS {
            line.push(' ');
            line.push_str(&word);
        } else {
            lines.push(word);
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Rgb;

    fn rgb_of(code: u8) -> Rgb {
        const LEVELS: [u8; 6] = [0, 95, 135, 175, 215, 255];
        if code >= 232 {
            let grey = 8 + 10 * (code - 232);
            return Rgb(grey, grey, grey);
        }
        let cube = usize::from(code - 16);
        Rgb(LEVELS[cube / 36], LEVELS[cube / 6 % 6], LEVELS[cube % 6])
    }

    fn distance(a: Rgb, b: Rgb) -> i32 {
        let square = |x: u8, y: u8| (i32::from(x) - i32::from(y)).pow(2);
        square(a.0, b.0) + square(a.1, b.1) + square(a.2, b.2)
    }

    #[test]
    fn terminal_colours_are_different_and_as_near_as_that_allows() {
        for (class, (colour, &code)) in PALETTE.iter().zip(&TERMINAL).enumerate() {
            let nearest =
                (16..=255_u8).min_by_key(|&code| distance(*colour, rgb_of(code))).unwrap();
            let is_nearest = distance(*colour, rgb_of(code)) == distance(*colour, rgb_of(nearest));
            assert!(is_nearest || class == 1, "{colour}: nearest is {nearest}");
            assert!(!TERMINAL[class + 1..].contains(&code), "{code} is used twice");
        }
    }

    #[test]
    fn terminal_colours_are_lightest_at_the_target() {
        let light = |code: u8| {
            let Rgb(r, g, b) = rgb_of(code);
            2126 * u32::from(r) + 7152 * u32::from(g) + 722 * u32::from(b)
        };
        assert!(TERMINAL[..6].windows(2).all(|pair| light(pair[0]) < light(pair[1])));
        assert!(TERMINAL[5..].windows(2).all(|pair| light(pair[0]) > light(pair[1])));
    }
}
