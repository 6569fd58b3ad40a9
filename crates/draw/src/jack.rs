//! The force at a jack as it rises.

use crate::canvas::{Anchor, Canvas, Line, Rect, Spot, Stroke};
use crate::chart::{Axis, Chart, limit_stroke};
use crate::number::{is_printable, kilonewtons, kilonewtons_range, percent, round_step};
use crate::picture::{JackLine, JackPicture, JackRise, LetGo, Medium};
use crate::sheet::{BLACK, Sheet, Style, WHITE};
use floorwright_engine::units::Length;

const ALONE: &str = "#852206";
const ALONE_BAND: &str = "#f0ddd2";
const TOGETHER: &str = "#02397a";
const TOGETHER_BAND: &str = "#dfe8ee";

/// A limit further above the forces than this many times them is only named: drawn, it would press
/// the curve flat.
const FAR_ABOVE: f64 = 3.0;

/// Draws what a jack pushes as it rises: alone in solid lines, with its neighbours in dashed ones.
///
/// Between the two lines of a pair lie all assumptions. A hollow ring is where a support lets go.
/// The heavy line of long and short dashes is the limit.
///
/// # Units and sign
/// Rises in millimetres or inches, forces in kilonewtons.
pub fn jack_chart(picture: &JackPicture) -> String {
    let (alone, together) = (known(&picture.alone), known(&picture.together));
    let mut sheet = Sheet::new(picture.medium, &picture.title_block, 0.85);
    let style = sheet.style;
    if let Some(chart) = chart(&sheet, picture, &[&alone, &together]) {
        draw_axes(&chart, &mut sheet.canvas, &style, picture);
        draw_bands(&chart, &mut sheet.canvas, &style, [&alone, &together]);
        if let Some(limit) = drawn_limit(picture, &chart) {
            chart.draw_limit(&mut sheet.canvas, &style, limit);
        }
        chart.draw_frame(&mut sheet.canvas, &style);
        for mark in marks(picture, &chart) {
            draw_let_go(
                &mut sheet.canvas,
                &style,
                chart.spot(mark.rise.to_mm(), mark.force.to_kn()),
            );
        }
        legend(&mut sheet, picture, &chart, [&alone, &together]);
    } else {
        sheet.heading("no force is known: there is nothing to draw");
    }
    notes(&mut sheet, picture);
    sheet.finish()
}

/// Rises with forces that can be drawn.
fn known(line: &JackLine) -> Vec<&JackRise> {
    let near = |length: Length| length.to_mm().abs() <= 1e6;
    let is_known = |point: &&JackRise| {
        near(point.rise) && is_printable(point.force.least) && is_printable(point.force.most)
    };
    line.points.iter().filter(is_known).collect()
}

fn chart(sheet: &Sheet, picture: &JackPicture, lines: &[&[&JackRise]]) -> Option<Chart> {
    let points = || lines.iter().flat_map(|line| line.iter());
    points().next()?;
    let most = points().map(|point| point.force.most.to_kn()).fold(0.1, f64::max);
    let limit = picture.limit.map(|limit| limit.force().to_kn());
    let limit = limit.filter(|limit| *limit <= FAR_ABOVE * most).unwrap_or(0.0);
    let rise = points().map(|point| point.rise.to_mm()).fold(0.1, f64::max);
    let style = sheet.style;
    let frame = Rect::new(
        sheet.area.x + 4.0 * style.text,
        sheet.area.y + 2.5 * style.text,
        sheet.area.width - 6.0 * style.text,
        sheet.area.height - 6.5 * style.text,
    );
    let high = (1.08 * most).max(1.15 * limit);
    let step = picture.print.height_step(rise / 6.0);
    let across = Axis { low: 0.0, high: rise, step };
    Some(Chart { frame, across, up: Axis::from_zero(high, round_step(high / 7.0)) })
}

fn drawn_limit(picture: &JackPicture, chart: &Chart) -> Option<f64> {
    let limit = picture.limit?.force().to_kn();
    (0.0..=chart.up.high).contains(&limit).then_some(limit)
}

fn draw_axes(chart: &Chart, canvas: &mut Canvas, style: &Style, picture: &JackPicture) {
    let decimals = usize::from(chart.up.step < 1.0);
    chart.draw_up(canvas, style, |force| format!("{force:.decimals$}"));
    chart.draw_across(canvas, style, |rise| picture.print.tidy(Length::mm(rise)));
    let (size, bold) = (style.text, false);
    let at = (chart.frame.x - 3.5 * style.text, chart.frame.y - 0.9 * style.text);
    let text = "kN at the jack";
    canvas.text("axis-title", &Line { at, text, size, bold, anchor: Anchor::Start });
    let at = (chart.frame.right(), chart.frame.bottom() + 2.9 * style.text);
    let text = &format!("rise in {}", picture.print.heights_are_in());
    canvas.text("axis-title", &Line { at, text, size, bold, anchor: Anchor::End });
}

fn strokes(style: &Style) -> [Stroke; 2] {
    let dashes = if style.text > 10.0 { "7 4" } else { "2.4 1.4" };
    let width = 0.8 * style.thick;
    [Stroke::solid(ALONE, width), Stroke { colour: TOGETHER, width, dashes }]
}

fn draw_bands(chart: &Chart, canvas: &mut Canvas, style: &Style, lines: [&[&JackRise]; 2]) {
    for (line, fill) in lines.iter().zip([ALONE_BAND, TOGETHER_BAND]) {
        let points: Vec<(f64, f64, f64)> = line
            .iter()
            .map(|p| (p.rise.to_mm(), p.force.least.to_kn(), p.force.most.to_kn()))
            .collect();
        chart.draw_band(canvas, &points, fill);
    }
    for (line, stroke) in lines.iter().zip(strokes(style)) {
        for end in [|p: &JackRise| p.force.least, |p: &JackRise| p.force.most] {
            let points: Vec<(f64, f64)> =
                line.iter().map(|point| (point.rise.to_mm(), end(point).to_kn())).collect();
            chart.draw_line(canvas, "force", &points, stroke);
        }
    }
}

/// Places where supports let go that lie on the chart.
fn marks<'a>(picture: &'a JackPicture, chart: &Chart) -> Vec<&'a LetGo> {
    let all = picture.alone.let_go.iter().chain(&picture.together.let_go);
    let on_chart = |mark: &&LetGo| {
        (chart.across.low..=chart.across.high).contains(&mark.rise.to_mm())
            && (chart.up.low..=chart.up.high).contains(&mark.force.to_kn())
    };
    all.filter(on_chart).collect()
}

fn draw_let_go(canvas: &mut Canvas, style: &Style, spot: Spot) {
    let stroke = Stroke::solid(BLACK, style.medium);
    canvas.circle("symbol let-go", spot, 0.6 * style.symbol, WHITE, stroke);
}

fn legend(sheet: &mut Sheet, picture: &JackPicture, chart: &Chart, lines: [&[&JackRise]; 2]) {
    sheet.heading("force at the jack, kN");
    fn row(stroke: &dyn Fn(&Style) -> Stroke) -> impl Fn(&mut Canvas, &Style, Spot) {
        move |canvas, style, (x, y)| {
            let half = 1.1 * style.text;
            canvas.line("legend-line", (x - half, y), (x + half, y), stroke(style));
        }
    }
    let with = if picture.neighbours.is_empty() { "its neighbours" } else { &picture.neighbours };
    let hows = ["raised alone".to_owned(), format!("raised with {with}")];
    for (which, (line, how)) in lines.iter().zip(hows).enumerate() {
        let Some(last) = line.last() else { continue };
        let range = kilonewtons_range(last.force);
        let words = format!("{how}: {range} at {}", picture.print.with_unit(last.rise));
        let stroke = move |style: &Style| strokes(style)[which];
        sheet.symbol_row(row(&stroke), &words);
    }
    if drawn_limit(picture, chart).is_some() {
        sheet.symbol_row(row(&limit_stroke), "limit of the jack");
    }
    if !marks(picture, chart).is_empty() {
        sheet.symbol_row(draw_let_go, "a support lets go of its load");
    }
    sheet.paragraph(
        "two lines of a kind: least and most over all assumptions; between them is tinted",
    );
}

fn notes(sheet: &mut Sheet, picture: &JackPicture) {
    match picture.limit.filter(|limit| is_printable(limit.force())) {
        Some(limit) => sheet.paragraph(&format!(
            "limit {} kN: {} of the rating of {} kN",
            kilonewtons(limit.force()),
            percent(limit.share),
            kilonewtons(limit.rating)
        )),
        None => sheet.paragraph("the rating of the jack is not given: no limit is drawn"),
    }
    for (line, how) in [(&picture.alone, "alone"), (&picture.together, "with its neighbours")] {
        if let Some(rise) = line.rocks_from {
            sheet.heading(&format!(
                "raised {how}, from {} on the frame rocks: the line ends before it",
                picture.print.with_unit(rise)
            ));
        }
    }
    let n_gone = picture.alone.let_go.iter().map(|mark| mark.n_gone).max().unwrap_or(0);
    if n_gone > 0 {
        let supports = if n_gone == 1 { "support" } else { "supports" };
        sheet.paragraph(&format!("alone it takes the load off up to {n_gone} other {supports}"));
    }
    if !picture.place.is_empty() {
        sheet.paragraph(&format!("jack at {}", picture.place));
    }
    if !picture.note.is_empty() {
        sheet.paragraph(&picture.note);
    }
    sheet.heading("planning aid: it does not say that lifting is safe");
    if matches!(picture.medium, Medium::Sheet(_)) {
        sheet.paragraph("not to scale: read the numbers");
    }
}
