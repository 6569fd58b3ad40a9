//! The paper round a picture: border, title block, scale, legend and notes; or one column on a phone.

mod column;

use crate::canvas::{Anchor, Canvas, Line, Rect, Spot, Stroke};
use crate::number::Print;
use crate::picture::{Medium, Paper, TitleBlock};
use crate::text::{self, CAP_HEIGHT, DESCENT};

pub(crate) const BLACK: &str = "#000000";
pub(crate) const WHITE: &str = "#ffffff";
pub(crate) const GREY: &str = "#767676";
pub(crate) const NO_STROKE: Stroke = Stroke { colour: "none", width: 0.0, dashes: "none" };

/// Sizes that follow from the medium: millimetres on paper, pixels of a 360-pixel screen.
#[derive(Clone, Copy)]
pub(crate) struct Style {
    /// Font size of all small text: capitals of 2.5 mm on paper.
    pub text: f64,
    /// Font size of numbers at points.
    pub number: f64,
    /// Font size of the title.
    pub title: f64,
    /// From one line of text to the next.
    pub leading: f64,
    /// Half the width of a symbol.
    pub symbol: f64,
    /// Between text and the edge of its plate.
    pub pad: f64,
    /// A short dash and a gap.
    pub dashes: &'static str,
    /// Widths of lines.
    pub thin: f64,
    pub medium: f64,
    pub thick: f64,
}

impl Style {
    fn of(medium: Medium) -> Self {
        match medium {
            Medium::Sheet(_) => Self {
                text: 3.5,
                number: 3.5,
                title: 5.0,
                leading: 4.7,
                symbol: 1.5,
                pad: 0.6,
                dashes: "1 0.6",
                thin: 0.18,
                medium: 0.35,
                thick: 0.7,
            },
            Medium::Screen => Self {
                text: 12.0,
                number: 11.5,
                title: 18.0,
                leading: 17.0,
                symbol: 4.2,
                pad: 1.2,
                dashes: "3 2",
                thin: 0.6,
                medium: 1.2,
                thick: 2.4,
            },
        }
    }
}

const BORDER: f64 = 10.0;
const COLUMN_WIDTH: f64 = 62.0;
const STRIP_HEIGHT: f64 = ROW_HEIGHTS[0] + ROW_HEIGHTS[1];
/// Rows of the title block: owner, job and title may take two lines.
const ROW_HEIGHTS: [f64; 2] = [13.5, 10.5];
const BARS_HEIGHT: f64 = 12.0;
const SCREEN_WIDTH: f64 = 360.0;
const SCREEN_MARGIN: f64 = 10.0;

impl Paper {
    fn size(self) -> (f64, f64) {
        match self {
            Self::A4 => (297.0, 210.0),
            Self::A3 => (420.0, 297.0),
            Self::A2 => (594.0, 420.0),
            Self::A1 => (841.0, 594.0),
            Self::A0 => (1189.0, 841.0),
        }
    }

    fn name(self) -> &'static str {
        match self {
            Self::A4 => "A4",
            Self::A3 => "A3",
            Self::A2 => "A2",
            Self::A1 => "A1",
            Self::A0 => "A0",
        }
    }
}

/// A picture together with the column of notes that goes with it.
pub(crate) struct Sheet {
    pub canvas: Canvas,
    pub style: Style,
    /// Where the picture itself goes.
    pub area: Rect,
    medium: Medium,
    column: Rect,
    cursor: f64,
}

impl Sheet {
    /// Lays out the medium. `height_to_width` is the shape of the picture, which a screen follows.
    pub fn new(medium: Medium, block: &TitleBlock, height_to_width: f64) -> Self {
        let style = Style::of(medium);
        match medium {
            Medium::Sheet(paper) => Self::on_paper(medium, paper, style, block),
            Medium::Screen => Self::on_screen(style, block, height_to_width),
        }
    }

    fn on_paper(medium: Medium, paper: Paper, style: Style, block: &TitleBlock) -> Self {
        let (width, height) = paper.size();
        let mut canvas = Canvas::new(width, "mm", &block.title);
        let frame = Rect::new(0.0, 0.0, width, height).shrunk(BORDER);
        let strip = Rect::new(frame.x, frame.bottom() - STRIP_HEIGHT, frame.width, STRIP_HEIGHT);
        let column = Rect::new(
            frame.right() - COLUMN_WIDTH,
            frame.y,
            COLUMN_WIDTH,
            frame.height - STRIP_HEIGHT,
        );
        canvas.rect("border", &frame, "none", Stroke::solid(BLACK, style.thick));
        canvas.rect("border", &column, "none", Stroke::solid(BLACK, style.medium));
        draw_title_block(&mut canvas, &style, &strip, block);
        let area = Rect::new(
            frame.x,
            frame.y,
            frame.width - COLUMN_WIDTH,
            frame.height - STRIP_HEIGHT - BARS_HEIGHT,
        )
        .shrunk(1.0);
        let column = column.shrunk(2.5);
        Self { canvas, style, area, medium, column, cursor: column.y }
    }

    fn on_screen(style: Style, block: &TitleBlock, height_to_width: f64) -> Self {
        let canvas = Canvas::new(SCREEN_WIDTH, "", &block.title);
        let width = SCREEN_WIDTH - 2.0 * SCREEN_MARGIN;
        let column = Rect::new(SCREEN_MARGIN, SCREEN_MARGIN, width, f64::INFINITY);
        let medium = Medium::Screen;
        let area = Rect::new(0.0, 0.0, SCREEN_WIDTH, 0.0).shrunk(2.0);
        let mut sheet = Self { canvas, style, area, medium, column, cursor: column.y };
        sheet.lines(&block.title, style.title, true);
        let edition = [&block.job, &block.date, &block.revision.mark];
        let words = ["", "", "revision "];
        let parts = edition.iter().zip(words).filter(|(part, _)| !part.is_empty());
        let edition: Vec<_> = parts.map(|(part, word)| format!("{word}{part}")).collect();
        sheet.paragraph(&edition.join(", "));
        let height = (sheet.area.width * height_to_width).clamp(120.0, 50.0 * SCREEN_WIDTH);
        sheet.area.y = sheet.cursor;
        sheet.area.height = height;
        sheet.cursor += height + style.leading;
        sheet
    }

    /// How many millimetres or pixels a millimetre of ground takes, and the words for it.
    pub fn scale(&self, ground_width: f64, ground_height: f64) -> Scale {
        let room = self.area.shrunk(2.0 * self.style.symbol);
        let needed = (ground_width / room.width).max(ground_height / room.height).max(1e-9);
        match self.medium {
            Medium::Screen => Scale { ratio: 1.0 / needed, words: None },
            Medium::Sheet(paper) => {
                let denominator = iso_denominator(needed);
                let words = format!("SCALE 1:{denominator:.0} ({})", paper.name());
                Scale { ratio: 1.0 / denominator, words: Some(words) }
            }
        }
    }

    /// Scale in words, scale bar and, on paper, the bar to check the print by.
    pub fn bars(&mut self, scale: &Scale, print: Print) {
        let style = self.style;
        match &scale.words {
            Some(words) => {
                let base = self.area.bottom() + BARS_HEIGHT - 3.0;
                let left = self.area.x + 2.0;
                self.say("scale", (left, base), words, style.text, true);
                self.scale_bar((left + 50.0, base), scale.ratio, 50.0, print);
                let from = (self.area.right() - 102.0, base);
                let to = (from.0 + 100.0, base);
                let stroke = Stroke::solid(BLACK, style.medium);
                self.canvas.line("check-bar", from, to, stroke);
                for x in [from.0, to.0] {
                    self.canvas.line("check-bar-end", (x, base - 1.5), (x, base + 1.5), stroke);
                }
                let words = "print at 100 %: this bar is 100 mm";
                let at = (from.0 + 50.0, base - 1.8);
                let (size, bold, anchor) = (style.text, false, Anchor::Middle);
                self.canvas.text("check", &Line { at, text: words, size, bold, anchor });
            }
            None => {
                let base = self.cursor + style.leading;
                self.scale_bar((self.column.x, base), scale.ratio, 160.0, print);
                self.cursor = base + style.leading;
            }
        }
    }

    fn scale_bar(&mut self, (x, y): Spot, ratio: f64, longest: f64, print: Print) {
        let (ground, end) = print.round_ground(longest / ratio);
        let (parts, length) = (4, ground * ratio);
        let stroke = Stroke::solid(BLACK, self.style.thin);
        let height = 0.4 * self.style.text;
        for part in 0..parts {
            let step = length / f64::from(parts);
            let rect = Rect::new(x + f64::from(part) * step, y - height / 2.0, step, height);
            let fill = if part % 2 == 0 { BLACK } else { WHITE };
            self.canvas.rect("scale-bar", &rect, fill, stroke);
        }
        let above = y - height / 2.0 - 0.3 * self.style.text;
        for (at, text) in [(x, "0"), (x + length, end.as_str())] {
            let (at, size, bold) = ((at, above), self.style.text, false);
            let anchor = Anchor::Middle;
            let anchor = if text == "0" { Anchor::Start } else { anchor };
            self.canvas.text("scale-bar-end", &Line { at, text, size, bold, anchor });
        }
    }

    fn say(&mut self, class: &str, at: Spot, text: &str, size: f64, bold: bool) {
        self.canvas.text(class, &Line { at, text, size, bold, anchor: Anchor::Start });
    }

    /// The finished picture.
    pub fn finish(self) -> String {
        let height = match self.medium {
            Medium::Sheet(paper) => paper.size().1,
            Medium::Screen => self.cursor + SCREEN_MARGIN,
        };
        self.canvas.finish(height)
    }
}

/// How ground becomes paper.
pub(crate) struct Scale {
    /// Length on the medium for a length on the ground (a ratio).
    pub ratio: f64,
    words: Option<String>,
}

/// The smallest 1, 2 or 5 times a power of ten that is not below `needed`.
fn iso_denominator(needed: f64) -> f64 {
    let power = 10_f64.powf(needed.log10().floor()).max(1.0);
    let steps = [1.0, 2.0, 5.0, 10.0].map(|step| step * power);
    steps.into_iter().find(|&step| step >= needed * (1.0 - 1e-12)).unwrap_or(10.0 * power)
}

fn draw_title_block(canvas: &mut Canvas, style: &Style, strip: &Rect, block: &TitleBlock) {
    let revision = &block.revision;
    let revision = [&revision.mark, &revision.date, &revision.change];
    let revision: Vec<_> =
        revision.into_iter().filter(|part| !part.is_empty()).map(String::as_str).collect();
    let rows: [&[(&str, f64, &str)]; 2] = [
        &[
            ("owner", 0.20, &block.owner),
            ("job", 0.24, &block.job),
            ("title", 0.32, &block.title),
            ("number", 0.14, &block.number),
            ("sheet", 0.10, &block.sheet),
        ],
        &[
            ("document", 0.16, &block.document_type),
            ("date", 0.12, &block.date),
            ("created by", 0.16, &block.created_by),
            ("approved by", 0.16, &block.approved_by),
            ("revision", 0.40, &revision.join(", ")),
        ],
    ];
    let mut top = strip.y;
    for (row, height) in rows.into_iter().zip(ROW_HEIGHTS) {
        let mut left = strip.x;
        for (caption, share, value) in row {
            let cell = Rect::new(left, top, share * strip.width, height);
            draw_title_cell(canvas, style, &cell, caption, value);
            left += cell.width;
        }
        top += height;
    }
}

fn draw_title_cell(canvas: &mut Canvas, style: &Style, cell: &Rect, caption: &str, value: &str) {
    canvas.rect("title-cell", cell, "none", Stroke::solid(BLACK, style.medium));
    let (x, anchor) = (cell.x + 1.5, Anchor::Start);
    let base = cell.y + 1.0 + CAP_HEIGHT * style.text;
    let (text, size) = (caption, style.text);
    canvas.text("title-caption", &Line { at: (x, base), text, size, bold: false, anchor });
    let room = cell.width - 3.0;
    let leading = 1.15 * size;
    let lowest = cell.bottom() - DESCENT * size - 0.4;
    let n_lines = 1 + ((lowest - base) / leading - 1.1).max(0.0) as usize;
    let value = if value.trim().is_empty() { "–" } else { value };
    let mut lines = text::wrap(value, size, true, room);
    if lines.len() > n_lines {
        let rest = lines.split_off(n_lines - 1).join(" ");
        lines.push(text::fit(&rest, size, true, room));
    }
    let first = if n_lines == 1 { lowest - 0.7 } else { lowest - leading };
    for (line, text) in lines.iter().enumerate() {
        let at = (x, first + line as f64 * leading);
        canvas.text("title-value", &Line { at, text, size, bold: true, anchor });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scales_are_from_the_list() {
        let check = |needed: f64, expected: f64| assert_eq!(iso_denominator(needed), expected);
        check(0.3, 1.0);
        check(1.0, 1.0);
        check(43.0, 50.0);
        check(50.0, 50.0);
        check(51.0, 100.0);
        check(1001.0, 2000.0);
    }
}
