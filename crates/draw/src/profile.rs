//! A section through the floor along a line, heights exaggerated.

use crate::canvas::{Anchor, Canvas, Line, Rect, Spot, Stroke};
use crate::labels::Labels;
use crate::number::Print;
use crate::picture::{Medium, ProfilePicture, ProfilePoint};
use crate::plan::{draw_label, plate_size};
use crate::sheet::{BLACK, NO_STROKE, Sheet, Style, WHITE};
use floorwright_engine::units::Length;

const BEFORE: &str = "#852206";
const AFTER: &str = "#02397a";
const BAND: &str = "#dfe8ee";
const DOUBT: &str = "#f0ddd2";

/// Draws the floor along a line before and after, with the supports below it.
///
/// Heights are drawn larger than lengths, and the picture says how many times. The band round the
/// line is the uncertainty of the levels; before is solid, after is dashed, so a black and white
/// print says as much.
///
/// # Units and sign
/// Departures are levels above the target, up positive, in millimetres or inches; lengths along
/// the line are in metres or feet.
pub fn profile(picture: &ProfilePicture) -> String {
    let before = pieces(&picture.before);
    let after = pieces(&picture.after);
    let mut sheet = Sheet::new(picture.medium, &picture.title_block, 0.75);
    let chart = Chart::new(&sheet, picture, &before, &after);
    let style = sheet.style;
    chart.draw_axes(&mut sheet.canvas, &style, picture.tolerance);
    for (floor, colour) in [(&before, DOUBT), (&after, BAND)] {
        for piece in floor {
            chart.draw_uncertainty(&mut sheet.canvas, piece, colour);
        }
    }
    chart.draw_target(&mut sheet.canvas, &style);
    for (floor, stroke) in [(&before, before_stroke(&style)), (&after, after_stroke(&style))] {
        for piece in floor {
            chart.draw_floor(&mut sheet.canvas, piece, stroke);
        }
    }
    chart.draw_supports(&mut sheet.canvas, &style, picture);
    chart.draw_extremes(&mut sheet.canvas, &style, &before.concat());
    legend(&mut sheet, picture, &chart, !after.is_empty());
    sheet.finish()
}

fn before_stroke(style: &Style) -> Stroke {
    Stroke::solid(BEFORE, style.thick)
}

fn after_stroke(style: &Style) -> Stroke {
    let dashes = if style.text > 10.0 { "7 4" } else { "2.4 1.4" };
    Stroke { colour: AFTER, width: style.thick, dashes }
}

/// A place where the floor is known, in millimetres.
#[derive(Clone, Copy)]
struct Known {
    along: f64,
    departure: f64,
    uncertainty: f64,
}

/// The floor in the pieces over which it is known.
fn pieces(points: &[ProfilePoint]) -> Vec<Vec<Known>> {
    let near = |length: Length| Some(length.to_mm()).filter(|mm| mm.abs() <= 1e9);
    let known = |point: &ProfilePoint| {
        Some(Known {
            along: near(point.along)?,
            departure: near(point.departure?)?,
            uncertainty: near(point.uncertainty)?.abs(),
        })
    };
    let places: Vec<Option<Known>> = points.iter().map(known).collect();
    let runs = places.split(|place| place.is_none());
    runs.map(|run| run.iter().flatten().copied().collect())
        .filter(|run: &Vec<_>| !run.is_empty())
        .collect()
}

/// From along the line and up to the paper.
struct Chart {
    print: Print,
    frame: Rect,
    start: f64,
    along_ratio: f64,
    low: f64,
    height_ratio: f64,
    height_step: f64,
    along_step: f64,
    end: f64,
    high: f64,
}

impl Chart {
    fn new(
        sheet: &Sheet,
        picture: &ProfilePicture,
        before: &[Vec<Known>],
        after: &[Vec<Known>],
    ) -> Self {
        let print = picture.print.whole();
        let points = || before.iter().chain(after).flatten();
        let alongs = || {
            let supports = picture.supports.iter().map(|support| support.along.to_mm());
            points().map(|p| p.along).chain(supports.filter(|mm| mm.abs() <= 1e9))
        };
        let start = alongs().fold(f64::INFINITY, f64::min);
        let end = alongs().fold(f64::NEG_INFINITY, f64::max);
        let (start, end) = if start < end { (start, end) } else { (0.0, 1000.0) };
        let reach = |p: &Known| p.departure.abs() + p.uncertainty;
        let tolerance = picture.tolerance.filter(|t| t.is_finite() && t.to_mm() <= 1e9);
        let tolerance = tolerance.map_or(0.0, |tolerance| tolerance.abs().to_mm());
        let signed = |up: bool| {
            let value = |p: &Known| (p.departure > 0.0) == up;
            points().filter(|p| value(p)).map(reach).fold(tolerance.max(1.0), f64::max)
        };
        let (above, below) = (signed(true), signed(false));
        let style = sheet.style;
        let frame = Rect::new(
            sheet.area.x + 5.0 * style.text,
            sheet.area.y + 2.0 * style.text,
            sheet.area.width - 7.0 * style.text,
            sheet.area.height - 8.0 * style.text,
        );
        let height_step = print.height_step((above + below) / 8.0);
        // A little air, so that the numbers of the extremes find room.
        let low = -(1.1 * below / height_step).ceil() * height_step;
        let high = (1.1 * above / height_step).ceil() * height_step;
        Self {
            print,
            start,
            end,
            along_ratio: frame.width / (end - start),
            along_step: print.along_step((end - start) / 8.0),
            low,
            high,
            height_ratio: frame.height / (high - low),
            height_step,
            frame,
        }
    }

    fn spot(&self, along: f64, height: f64) -> Spot {
        let x = self.frame.x + (along - self.start) * self.along_ratio;
        (x, self.frame.bottom() - (height - self.low) * self.height_ratio)
    }

    fn draw_axes(&self, canvas: &mut Canvas, style: &Style, tolerance: Option<Length>) {
        if let Some(tolerance) = tolerance.filter(|t| t.is_finite()) {
            let half = tolerance.abs().to_mm().min(self.high.max(-self.low));
            let (left, top) = self.spot(self.start, half.min(self.high));
            let bottom = self.spot(self.start, (-half).max(self.low)).1;
            let band = Rect::new(left, top, self.frame.width, bottom - top);
            canvas.rect("tolerance", &band, "#eeeeee", NO_STROKE);
        }
        let n_heights = ((self.high - self.low) / self.height_step).round() as i32;
        for step in 0..=n_heights {
            let height = self.low + f64::from(step) * self.height_step;
            let left = self.spot(self.start, height);
            let right = self.spot(self.end, height);
            canvas.line("grid", left, right, Stroke::solid("#c4c4c4", style.thin));
            let text = &self.print.tidy_signed(Length::mm(height));
            let at = (left.0 - 0.5 * style.text, left.1 + 0.36 * style.text);
            let (size, bold, anchor) = (style.text, false, Anchor::End);
            canvas.text("axis", &Line { at, text, size, bold, anchor });
        }
        let first = (self.start / self.along_step).ceil() as i64;
        let last = (self.end / self.along_step).floor() as i64;
        for step in first..=last {
            let along = step as f64 * self.along_step;
            let foot = self.spot(along, self.low);
            let tick = (foot.0, foot.1 + 0.4 * style.text);
            canvas.line("tick", foot, tick, Stroke::solid(BLACK, style.thin));
            let (number, unit) = self.print.along(along, self.along_step);
            let text = &if step == last { format!("{number} {unit}") } else { number };
            let at = (foot.0, foot.1 + 1.5 * style.text);
            let (size, bold, anchor) = (style.text, false, Anchor::Middle);
            canvas.text("axis", &Line { at, text, size, bold, anchor });
        }
        canvas.rect("frame", &self.frame, "none", Stroke::solid(BLACK, style.medium));
    }

    fn draw_uncertainty(&self, canvas: &mut Canvas, points: &[Known], fill: &str) {
        if points.len() < 2 || points.iter().all(|point| point.uncertainty == 0.0) {
            return;
        }
        let edge = |point: &Known, side: f64| {
            self.spot(point.along, point.departure + side * point.uncertainty)
        };
        let upper = points.iter().map(|point| edge(point, 1.0));
        let lower = points.iter().rev().map(|point| edge(point, -1.0));
        let spots: Vec<_> = upper.chain(lower).collect();
        canvas.polygon("uncertainty", &spots, fill, NO_STROKE);
    }

    fn draw_target(&self, canvas: &mut Canvas, style: &Style) {
        let (from, to) = (self.spot(self.start, 0.0), self.spot(self.end, 0.0));
        canvas.line("target", from, to, Stroke::solid(BLACK, 1.4 * style.medium));
    }

    fn draw_floor(&self, canvas: &mut Canvas, points: &[Known], stroke: Stroke) {
        let spots: Vec<_> = points.iter().map(|p| self.spot(p.along, p.departure)).collect();
        if spots.len() > 1 {
            canvas.polyline("floor", &spots, stroke);
        }
    }

    /// A post below the frame for each support, with its name where there is room.
    fn draw_supports(&self, canvas: &mut Canvas, style: &Style, picture: &ProfilePicture) {
        let top = self.frame.bottom() + 2.3 * style.text;
        let names = Rect::new(
            self.frame.x - 5.0 * style.text,
            top + 1.2 * style.text,
            self.frame.width + 7.0 * style.text,
            2.0 * style.text,
        );
        let mut labels = Labels::new(names, 3.0 * style.text);
        for support in &picture.supports {
            let along = support.along.to_mm();
            if !(self.start..=self.end).contains(&along) {
                continue;
            }
            let x = self.spot(along, 0.0).0;
            let post = Rect::new(x - 0.3 * style.text, top, 0.6 * style.text, 1.2 * style.text);
            canvas.rect("support", &post, WHITE, Stroke::solid(BLACK, style.medium));
            let lines = [(support.support.to_string(), false)];
            let size = plate_size(style, &lines);
            let centre = (x, names.y + size.1 / 2.0);
            if labels.place_at([centre], size).is_some() {
                let text = support.support.as_str();
                let at = (x, names.y + 1.2 * style.text);
                let (size, bold, anchor) = (style.text, false, Anchor::Middle);
                canvas.text("support-name", &Line { at, text, size, bold, anchor });
            }
        }
    }

    /// The numbers at the highest and the lowest place of the floor as it was read.
    fn draw_extremes(&self, canvas: &mut Canvas, style: &Style, points: &[Known]) {
        let by_height = |a: &&Known, b: &&Known| a.departure.total_cmp(&b.departure);
        let highest = points.iter().max_by(by_height);
        let lowest = points.iter().min_by(by_height);
        let beyond = Rect::around(
            self.frame.centre(),
            self.frame.width / 2.0 + 2.0 * style.text,
            self.frame.height / 2.0,
        );
        let mut labels = Labels::new(beyond, 3.0 * style.text);
        let spot_of = |p: &Known| self.spot(p.along, p.departure);
        for point in points {
            labels.reserve(Rect::around(spot_of(point), style.symbol, style.symbol));
        }
        for point in highest.into_iter().chain(lowest) {
            let symbol = Rect::around(spot_of(point), style.symbol, style.symbol);
            let dot = Stroke::solid(BLACK, style.medium);
            canvas.circle("extreme", symbol.centre(), 0.6 * style.symbol, WHITE, dot);
            let number = self.print.signed(Length::mm(point.departure));
            let unit = if self.print == Print::Sixteenths { "" } else { " mm" };
            let lines = [(format!("{number}{unit}"), true)];
            let wanted = [(symbol, plate_size(style, &lines))];
            for placed in labels.place_all(&wanted).into_iter().flatten() {
                draw_label(canvas, style, &placed, &lines);
            }
        }
    }

    /// How many times larger heights are drawn than lengths, to two figures.
    fn exaggeration(&self) -> String {
        let times = self.height_ratio / self.along_ratio;
        if !(1e-6..=1e9).contains(&times) {
            return "heights and lengths are not to one scale".to_owned();
        }
        let power = 10_f64.powf(times.log10().floor() - 1.0);
        let rounded = (times / power).round() * power;
        let decimals = if rounded < 10.0 { 1 } else { 0 };
        format!("heights are drawn {rounded:.decimals$} times as large as lengths")
    }
}

fn legend(sheet: &mut Sheet, picture: &ProfilePicture, chart: &Chart, has_after: bool) {
    let unit = picture.print.heights_are_in();
    sheet.heading(&format!("{unit} above (+) or below (\u{2212}) the target"));
    let row = |stroke: fn(&Style) -> Stroke| {
        move |canvas: &mut Canvas, style: &Style, (x, y): Spot| {
            let half = 1.1 * style.text;
            canvas.line("legend-line", (x - half, y), (x + half, y), stroke(style));
        }
    };
    sheet.symbol_row(row(before_stroke), "floor as read");
    if has_after {
        sheet.symbol_row(row(after_stroke), "floor after lifting");
    }
    sheet.symbol_row(row(|style| Stroke::solid(BLACK, 1.4 * style.medium)), "target");
    if picture.before.iter().any(|point| point.uncertainty > Length::ZERO) {
        sheet.paragraph("tinted band: expanded uncertainty of the floor there");
    }
    if let Some(tolerance) = picture.tolerance {
        let tolerance = picture.print.with_unit(tolerance);
        sheet.paragraph(&format!("grey band: tolerance \u{b1}{tolerance}"));
    }
    sheet.paragraph(&chart.exaggeration());
    for (word, note) in [
        ("line", &picture.line_note),
        ("target", &picture.target_note),
        ("datum", &picture.datum_note),
    ] {
        if !note.is_empty() {
            sheet.paragraph(&format!("{word}: {note}"));
        }
    }
    if matches!(picture.medium, Medium::Sheet(_)) {
        sheet.paragraph("not to scale: read the numbers");
    }
}
