//! Lines, areas and text, gathered and written as SVG.

use crate::text::{self, CAP_HEIGHT, DESCENT};
use floorwright_engine::units::round_to;
use maud::{Markup, html};
use std::fmt;

/// A place on the paper or the screen: x right, y down.
pub(crate) type Spot = (f64, f64);

/// An upright rectangle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Rect {
    pub x: f64,
    pub y: f64,
    pub width: f64,
    pub height: f64,
}

impl Rect {
    pub fn new(x: f64, y: f64, width: f64, height: f64) -> Self {
        Self { x, y, width, height }
    }

    pub fn around((x, y): Spot, half_width: f64, half_height: f64) -> Self {
        Self::new(x - half_width, y - half_height, 2.0 * half_width, 2.0 * half_height)
    }

    pub fn right(&self) -> f64 {
        self.x + self.width
    }

    pub fn bottom(&self) -> f64 {
        self.y + self.height
    }

    pub fn centre(&self) -> Spot {
        (self.x + self.width / 2.0, self.y + self.height / 2.0)
    }

    pub fn overlaps(&self, other: &Self) -> bool {
        self.x < other.right()
            && other.x < self.right()
            && self.y < other.bottom()
            && other.y < self.bottom()
    }

    pub fn holds(&self, other: &Self) -> bool {
        self.x <= other.x
            && self.y <= other.y
            && other.right() <= self.right()
            && other.bottom() <= self.bottom()
    }

    pub fn shrunk(&self, by: f64) -> Self {
        Self::new(self.x + by, self.y + by, self.width - 2.0 * by, self.height - 2.0 * by)
    }

    /// Whether a straight line touches the rectangle.
    pub fn is_crossed_by(&self, from: Spot, to: Spot) -> bool {
        let (dx, dy) = (to.0 - from.0, to.1 - from.1);
        let (mut enter, mut leave) = (0.0_f64, 1.0_f64);
        let sides = [
            (-dx, from.0 - self.x),
            (dx, self.right() - from.0),
            (-dy, from.1 - self.y),
            (dy, self.bottom() - from.1),
        ];
        for (towards, room) in sides {
            if towards == 0.0 {
                if room < 0.0 {
                    return false;
                }
            } else if towards < 0.0 {
                enter = enter.max(room / towards);
            } else {
                leave = leave.min(room / towards);
            }
        }
        enter <= leave
    }
}

/// Two decimals, never minus zero.
pub(crate) struct Fixed(pub f64);

impl fmt::Display for Fixed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.2}", round_to(self.0, 0.01))
    }
}

/// How a line is drawn.
#[derive(Clone, Copy)]
pub(crate) struct Stroke {
    pub colour: &'static str,
    pub width: f64,
    pub dashes: &'static str,
}

impl Stroke {
    pub fn solid(colour: &'static str, width: f64) -> Self {
        Self { colour, width, dashes: "none" }
    }
}

/// Which end of a text its place is.
#[derive(Clone, Copy, PartialEq)]
pub(crate) enum Anchor {
    Start,
    Middle,
    End,
}

/// One line of text; `at` is on its base line.
pub(crate) struct Line<'a> {
    pub at: Spot,
    pub text: &'a str,
    pub size: f64,
    pub bold: bool,
    pub anchor: Anchor,
}

impl Line<'_> {
    /// The room it takes, descenders included.
    pub fn room(&self) -> Rect {
        let width = text::width(self.text, self.size, self.bold);
        let left = match self.anchor {
            Anchor::Start => self.at.0,
            Anchor::Middle => self.at.0 - width / 2.0,
            Anchor::End => self.at.0 - width,
        };
        let cap = CAP_HEIGHT * self.size;
        Rect::new(left, self.at.1 - cap, width, cap + DESCENT * self.size)
    }
}

/// A picture in the making. Later parts lie over earlier ones.
pub(crate) struct Canvas {
    width: f64,
    unit: &'static str,
    title: String,
    /// How the ground lies in the picture, for whoever taps on it.
    pub ground: Option<Ground>,
    parts: Vec<Markup>,
    texts: Vec<(Rect, String)>,
}

/// Where the ground's zero lies in a picture, and how far a metre along x and a metre along y go.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Ground {
    pub zero: Spot,
    pub metre_x: Spot,
    pub metre_y: Spot,
}

impl fmt::Display for Ground {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [zero, x, y] = [self.zero, self.metre_x, self.metre_y];
        let numbers = [zero.0, zero.1, x.0, x.1, y.0, y.1].map(|number| format!("{number:.4}"));
        f.write_str(&numbers.join(" "))
    }
}

impl Canvas {
    /// `unit` is `mm` for paper; without one the picture takes the width that it is given.
    pub fn new(width: f64, unit: &'static str, title: &str) -> Self {
        Self {
            width,
            unit,
            title: text::clean(title),
            ground: None,
            parts: Vec::new(),
            texts: Vec::new(),
        }
    }

    pub fn line(&mut self, class: &str, from: Spot, to: Spot, stroke: Stroke) {
        self.polyline(class, &[from, to], stroke);
    }

    pub fn polyline(&mut self, class: &str, spots: &[Spot], stroke: Stroke) {
        self.parts.push(html! {
            path class=(class) d=(path_of(spots, false)) fill="none" stroke=(stroke.colour)
                stroke-width=(Fixed(stroke.width)) stroke-dasharray=(stroke.dashes)
                stroke-linejoin="round" stroke-linecap="round" {}
        });
    }

    /// Many lines of one kind, as one shape: a large frame has thousands.
    pub fn lines(&mut self, class: &str, lines: &[(Spot, Spot)], stroke: Stroke) {
        if lines.is_empty() {
            return;
        }
        let path: String = lines.iter().map(|&(from, to)| path_of(&[from, to], false)).collect();
        self.path(class, &path, "none", stroke);
    }

    /// Many small marks of one kind, as one shape: a dot each, in the colour of the stroke and as
    /// wide.
    pub fn dots(&mut self, class: &str, spots: &[Spot], stroke: Stroke) {
        self.marks(class, spots, "h0", "none", stroke);
    }

    /// Many small marks of one kind, as one shape: at each spot the same outline, in the words of
    /// a path.
    pub fn marks(
        &mut self,
        class: &str,
        spots: &[Spot],
        outline: &str,
        fill: &str,
        stroke: Stroke,
    ) {
        if spots.is_empty() {
            return;
        }
        let mark = |(x, y): &Spot| format!("M{} {}{outline}", Fixed(*x), Fixed(*y));
        self.path(class, &spots.iter().map(mark).collect::<String>(), fill, stroke);
    }

    fn path(&mut self, class: &str, path: &str, fill: &str, stroke: Stroke) {
        self.parts.push(html! {
            path class=(class) d=(path) fill=(fill) stroke=(stroke.colour)
                stroke-width=(Fixed(stroke.width)) stroke-dasharray=(stroke.dashes)
                stroke-linecap="round" {}
        });
    }

    pub fn polygon(&mut self, class: &str, spots: &[Spot], fill: &str, stroke: Stroke) {
        self.areas(class, &[spots.to_vec()], fill, stroke);
    }

    /// Draws something of which only what lies in these areas shows.
    ///
    /// The name of the clip comes from its shape: pictures on one page cannot take each other's.
    pub fn clipped(&mut self, areas: &[Vec<Spot>], draw: impl FnOnce(&mut Self)) {
        let outside = std::mem::take(&mut self.parts);
        draw(self);
        let inside = std::mem::replace(&mut self.parts, outside);
        let paths: Vec<_> = areas.iter().map(|spots| path_of(spots, true)).collect();
        let name = format!("clip-{:016x}", fnv_1a(&paths.concat()));
        self.parts.push(html! {
            clipPath id=(name) { @for path in &paths { path d=(path) {} } }
            g clip-path={ "url(#" (name) ")" } { @for part in &inside { "\n" (part) } }
        });
    }

    /// Several areas of one colour.
    pub fn areas(&mut self, class: &str, areas: &[Vec<Spot>], fill: &str, stroke: Stroke) {
        let path: String = areas.iter().map(|spots| path_of(spots, true)).collect();
        self.parts.push(html! {
            path class=(class) d=(path) fill=(fill) stroke=(stroke.colour)
                stroke-width=(Fixed(stroke.width)) stroke-dasharray=(stroke.dashes)
                stroke-linejoin="round" {}
        });
    }

    pub fn rect(&mut self, class: &str, rect: &Rect, fill: &str, stroke: Stroke) {
        self.parts.push(html! {
            rect class=(class) x=(Fixed(rect.x)) y=(Fixed(rect.y)) width=(Fixed(rect.width))
                height=(Fixed(rect.height)) fill=(fill) stroke=(stroke.colour)
                stroke-width=(Fixed(stroke.width)) {}
        });
    }

    pub fn circle(&mut self, class: &str, centre: Spot, radius: f64, fill: &str, stroke: Stroke) {
        self.parts.push(html! {
            circle class=(class) cx=(Fixed(centre.0)) cy=(Fixed(centre.1)) r=(Fixed(radius))
                fill=(fill) stroke=(stroke.colour) stroke-width=(Fixed(stroke.width))
                stroke-dasharray=(stroke.dashes) {}
        });
    }

    /// A picture of so many pixels, under a matrix by its columns, cut off at the edges of an area.
    pub fn image(&mut self, href: &str, (width, height): Spot, matrix: [Spot; 3], area: &Rect) {
        let numbers: Vec<String> =
            matrix.iter().flat_map(|(x, y)| [x, y]).map(|part| format!("{part:.6}")).collect();
        let matrix = format!("matrix({})", numbers.join(" "));
        let Rect { x, y, width: wide, height: high } = *area;
        let view = format!("{} {} {} {}", Fixed(x), Fixed(y), Fixed(wide), Fixed(high));
        self.parts.push(html! {
            svg class="backdrop" x=(Fixed(x)) y=(Fixed(y)) width=(Fixed(wide)) height=(Fixed(high))
                viewBox=(view) overflow="hidden" {
                image href=(href) width=(width) height=(height) transform=(matrix)
                    preserveAspectRatio="none" opacity="0.6" {}
            }
        });
    }

    pub fn text(&mut self, class: &str, line: &Line<'_>) {
        let anchor = match line.anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        let weight = if line.bold { "bold" } else { "normal" };
        let text = text::clean(line.text);
        self.parts.push(html! {
            text class=(class) x=(Fixed(line.at.0)) y=(Fixed(line.at.1)) font-size=(Fixed(line.size))
                font-weight=(weight) text-anchor=(anchor) { (text) }
        });
        self.texts.push((line.room(), text));
    }

    /// One line of bold text of a colour of its own, in the middle of a box.
    pub fn text_in(&mut self, class: &str, rect: &Rect, text: &str, size: f64, colour: &str) {
        let text = text::clean(text);
        let (x, y) = rect.centre();
        let base = y + CAP_HEIGHT * size / 2.0;
        self.parts.push(html! {
            text class=(class) x=(Fixed(x)) y=(Fixed(base)) font-size=(Fixed(size))
                font-weight="bold" text-anchor="middle" fill=(colour) { (text) }
        });
        self.texts.push((*rect, text));
    }

    /// Every text so far with the room that it takes.
    #[cfg(test)]
    pub fn texts(&self) -> &[(Rect, String)] {
        &self.texts
    }

    /// The picture, cut off at `height`.
    pub fn finish(self, height: f64) -> String {
        let view = format!("0 0 {} {}", Fixed(self.width), Fixed(height));
        let (wide, high) = if self.unit.is_empty() {
            ("100%".to_owned(), None)
        } else {
            let size = |value: f64| format!("{}{}", Fixed(value), self.unit);
            (size(self.width), Some(size(height)))
        };
        let page = Rect::new(0.0, 0.0, self.width, height);
        let picture = html! {
            svg xmlns="http://www.w3.org/2000/svg" width=(wide) height=[high] viewBox=(view)
                data-ground=[self.ground] role="img" font-family="DejaVu Sans, Arial, Helvetica, sans-serif" fill="#000000" {
                title { (self.title) }
                rect class="page" x="0" y="0" width=(Fixed(page.width)) height=(Fixed(page.height))
                    fill="#ffffff" {}
                @for part in &self.parts { "\n" (part) }
                "\n"
            }
        };
        format!("{}\n", picture.into_string())
    }
}

/// The 64-bit hash of Fowler, Noll and Vo, variant 1a; constants from memory.
fn fnv_1a(text: &str) -> u64 {
    let start = 0xcbf2_9ce4_8422_2325;
    text.bytes().fold(start, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x100_0000_01b3))
}

fn path_of(spots: &[Spot], closed: bool) -> String {
    let mut path = String::new();
    for (idx, (x, y)) in spots.iter().enumerate() {
        let letter = if idx == 0 { 'M' } else { 'L' };
        path.push_str(&format!("{letter}{} {}", Fixed(*x), Fixed(*y)));
    }
    if closed {
        path.push('Z');
    }
    path
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_through_a_box_is_noticed() {
        let rect = Rect::new(0.0, 0.0, 2.0, 1.0);
        assert!(rect.is_crossed_by((-1.0, 0.5), (3.0, 0.5)));
        assert!(rect.is_crossed_by((1.0, 0.5), (1.0, 0.6)));
        assert!(!rect.is_crossed_by((-1.0, 2.0), (3.0, 2.0)));
        assert!(!rect.is_crossed_by((3.0, 0.5), (4.0, 0.5)));
    }

    #[test]
    fn names_cannot_break_out_of_the_text() {
        let mut canvas = Canvas::new(10.0, "mm", "a </title><script>");
        let text = "<script>&\"";
        let at = (0.0, 5.0);
        canvas.text("name", &Line { at, text, size: 3.5, bold: false, anchor: Anchor::Start });
        let svg = canvas.finish(10.0);
        assert!(!svg.contains("<script>"), "{svg}");
        assert!(roxmltree::Document::parse(&svg).is_ok(), "{svg}");
    }
}
