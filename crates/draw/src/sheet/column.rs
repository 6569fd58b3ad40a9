//! The column of legend and notes.

use super::{BLACK, Sheet, Style, WHITE};
use crate::canvas::{Canvas, Rect, Spot, Stroke};
use crate::classes::Rgb;
use crate::picture::{Orientation, Side};
use crate::plan::turned;
use crate::text::{self, CAP_HEIGHT, DESCENT};

/// Room for a colour or a symbol in the legend, in font sizes.
const KEY_WIDTH: f64 = 3.0;

/// Lines that one note may take on a sheet, so that the notes after it find room too.
const MOST_LINES: usize = 6;

/// Names that a note lists before it only counts.
const MOST_NAMES: usize = 12;

impl Sheet {
    /// A heading in the column of notes.
    pub fn heading(&mut self, text: &str) {
        self.cursor += 0.25 * self.style.leading;
        self.lines(text, self.style.text, true);
    }

    /// A note that lists names, the first dozen in full.
    pub fn names(&mut self, what: &str, names: &[&str]) {
        if names.is_empty() {
            return;
        }
        let listed = names[..names.len().min(MOST_NAMES)].join(", ");
        let more = names.len().saturating_sub(MOST_NAMES);
        let more = if more > 0 { format!(" and {more} more") } else { String::new() };
        self.paragraph(&format!("{what}: {listed}{more}"));
    }

    /// A note in the column; on a sheet one that is too long ends with an ellipsis.
    pub fn paragraph(&mut self, text: &str) {
        self.cursor += 0.15 * self.style.leading;
        self.lines(text, self.style.text, false);
    }

    pub(super) fn lines(&mut self, text: &str, size: f64, bold: bool) {
        let leading = self.style.leading * size / self.style.text;
        let room = ((self.column.bottom() - self.cursor) / leading + 1e-9).floor();
        let mut lines = text::wrap(text, size, bold, self.column.width);
        let room = room.clamp(0.0, MOST_LINES as f64) as usize;
        if lines.len() > room && self.column.height.is_finite() {
            lines.truncate(room);
            if let Some(last) = lines.last_mut() {
                last.push_str(" …");
                *last = text::fit(last, size, bold, self.column.width);
            }
        }
        for line in &lines {
            let at = (self.column.x, self.cursor + leading - DESCENT * size - 0.1 * leading);
            self.say("note", at, line, size, bold);
            self.cursor += leading;
        }
    }

    /// Rows of colours with what they mean.
    pub fn colour_rows(&mut self, rows: &[(Rgb, String)]) {
        for (colour, words) in rows {
            let leading = self.style.leading;
            let swatch = Rect::new(self.column.x, self.cursor, 2.2 * self.style.text, leading);
            let stroke = Stroke::solid(BLACK, self.style.thin);
            self.canvas.rect("legend-colour", &swatch, &colour.to_string(), stroke);
            self.key_text("legend-class", self.cursor, words);
            self.cursor += leading;
        }
    }

    /// A row with a symbol and what it means.
    pub fn symbol_row(&mut self, draw: impl Fn(&mut Canvas, &Style, Spot), words: &str) {
        let style = self.style;
        let left = self.column.x + KEY_WIDTH * style.text;
        let lines = text::wrap(words, style.text, false, self.column.right() - left);
        let height = (lines.len() as f64 * style.leading).max(3.0 * style.symbol);
        let first = self.cursor + (height - lines.len() as f64 * style.leading) / 2.0;
        draw(
            &mut self.canvas,
            &style,
            (self.column.x + 1.1 * style.text, self.cursor + height / 2.0),
        );
        for (idx, line) in lines.iter().enumerate() {
            self.key_text("legend-symbol", first + idx as f64 * style.leading, line);
        }
        self.cursor += height;
    }

    /// One line of text beside a key, in the row that begins at `top`.
    fn key_text(&mut self, class: &str, top: f64, words: &str) {
        let left = self.column.x + KEY_WIDTH * self.style.text;
        let base = top + (self.style.leading + CAP_HEIGHT * self.style.text) / 2.0;
        let size = self.style.text;
        let words = text::fit(words, size, false, self.column.right() - left);
        self.say(class, (left, base), &words, size, false);
    }

    /// Which way the plan lies, as declared, and whether it is drawn turned a quarter to the left.
    pub fn orientation(&mut self, declared: Orientation, is_turned: bool) {
        let orientation = if is_turned { turn(declared) } else { declared };
        let vector = match orientation {
            Orientation::North(towards) if towards.is_finite() => {
                let (x, y) = (towards.x.to_mm(), -towards.y.to_mm());
                let length = x.hypot(y);
                (length > 0.0).then(|| (x / length, y / length))
            }
            _ => None,
        };
        match (orientation, vector) {
            (Orientation::North(_), Some(towards)) => {
                let draw = |canvas: &mut Canvas, style: &Style, centre: Spot| {
                    draw_arrow(canvas, style, centre, towards);
                };
                self.symbol_row(draw, "north, as the job declares it");
            }
            (Orientation::Street(side), _) => {
                let draw = |canvas: &mut Canvas, style: &Style, centre: Spot| {
                    draw_street(canvas, style, centre, side);
                };
                let side = match side {
                    Side::Left => "left",
                    Side::Right => "right",
                    Side::Top => "top",
                    Side::Bottom => "bottom",
                };
                self.symbol_row(draw, &format!("street at the {side}, as the job declares it"));
            }
            _ => self.paragraph("north and street: not declared"),
        }
        if is_turned {
            self.paragraph("the plan is turned a quarter to the left, to fit: top, right and so on in words are those of the plan before it was turned");
        }
    }
}

fn turn(orientation: Orientation) -> Orientation {
    match orientation {
        Orientation::NotDeclared => Orientation::NotDeclared,
        Orientation::North(towards) => Orientation::North(turned(towards)),
        Orientation::Street(Side::Left) => Orientation::Street(Side::Bottom),
        Orientation::Street(Side::Bottom) => Orientation::Street(Side::Right),
        Orientation::Street(Side::Right) => Orientation::Street(Side::Top),
        Orientation::Street(Side::Top) => Orientation::Street(Side::Left),
    }
}

fn draw_arrow(canvas: &mut Canvas, style: &Style, (x, y): Spot, (dx, dy): Spot) {
    let reach = 1.5 * style.symbol;
    let tip = (x + dx * reach, y + dy * reach);
    let foot = (x - dx * reach, y - dy * reach);
    let barb = |side: f64| {
        (x + (0.1 * dx - side * 0.5 * dy) * reach, y + (0.1 * dy + side * 0.5 * dx) * reach)
    };
    let stroke = Stroke::solid(BLACK, style.medium);
    canvas.line("north", foot, tip, stroke);
    canvas.polygon("north", &[tip, barb(1.0), barb(-1.0)], BLACK, stroke);
}

fn draw_street(canvas: &mut Canvas, style: &Style, centre: Spot, side: Side) {
    let reach = 1.2 * style.symbol;
    let house = Rect::around(centre, reach, reach);
    canvas.rect("street", &house, WHITE, Stroke::solid(BLACK, style.thin));
    let (left, right, top, bottom) = (house.x, house.right(), house.y, house.bottom());
    let (from, to) = match side {
        Side::Left => ((left, top), (left, bottom)),
        Side::Right => ((right, top), (right, bottom)),
        Side::Top => ((left, top), (right, top)),
        Side::Bottom => ((left, bottom), (right, bottom)),
    };
    canvas.line("street", from, to, Stroke::solid(BLACK, 2.0 * style.thick));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::{Medium, Paper, TitleBlock};
    use crate::sheet::{BORDER, STRIP_HEIGHT};

    #[test]
    fn turning_a_plan_turns_its_street_and_its_north_alike() {
        use floorwright_engine::site::Position;
        let sides = [
            (Side::Left, Position::mm(-1.0, 0.0)),
            (Side::Bottom, Position::mm(0.0, -1.0)),
            (Side::Right, Position::mm(1.0, 0.0)),
            (Side::Top, Position::mm(0.0, 1.0)),
        ];
        for (side, vector) in sides {
            let Orientation::Street(new_side) = turn(Orientation::Street(side)) else { panic!() };
            let (_, new_vector) = sides.iter().find(|(s, _)| *s == new_side).unwrap();
            assert_eq!(turn(Orientation::North(vector)), Orientation::North(*new_vector));
        }
    }

    #[test]
    fn a_note_that_finds_no_room_stays_on_the_sheet() {
        let mut sheet = Sheet::new(Medium::Sheet(Paper::A4), &TitleBlock::default(), 1.0);
        for _ in 0..20 {
            sheet.paragraph(&"a long datum note ".repeat(200));
        }
        let strip_top = 210.0 - BORDER - STRIP_HEIGHT;
        let notes: Vec<_> =
            sheet.canvas.texts().iter().filter(|(r, _)| r.x > 220.0 && r.y < strip_top).collect();
        assert!(notes.last().unwrap().1.ends_with('…'), "{notes:?}");
        assert!(notes.iter().all(|(room, _)| room.bottom() <= strip_top), "{notes:?}");
    }
}
