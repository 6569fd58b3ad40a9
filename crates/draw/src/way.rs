//! How near the work comes to its limits, move by move.

use crate::PALETTE;
use crate::canvas::{Anchor, Canvas, Line, Rect, Spot, Stroke};
use crate::chart::{Axis, Chart, limit_stroke};
use crate::number::{is_printable, kilonewtons, kilonewtons_range, percent, round_step};
use crate::picture::{Medium, WayMove, WayPicture};
use crate::plan::Symbol;
use crate::sheet::{BLACK, GREY, NO_STROKE, Sheet, Style};
use crate::text;
use floorwright_engine::units::Force;

const LINE: &str = "#02397a";
const BAND: &str = "#cfdde6";
const ROCKS: &str = "#e1b8a0";

/// So many places across a lane: more moves than that share a place, and the largest is drawn.
const PLACES: usize = 600;

/// A limit further above the values than this many times them is only named.
const FAR_ABOVE: f64 = 3.0;

/// Draws three lanes over the moves in order: the steepest slope between neighbours, the largest
/// force at a jack and the most bent timber, each against its limit.
///
/// Passes are marked. The largest of each lane carries its number and place. Where the frame rocks
/// in a move, the move is tinted and nothing is drawn for it.
///
/// # Units and sign
/// Shares in hundredths, forces in kilonewtons.
pub fn way_chart(picture: &WayPicture) -> String {
    let mut sheet = Sheet::new(picture.medium, &picture.title_block, 1.6);
    let style = sheet.style;
    if picture.moves.is_empty() {
        sheet.heading("there are no passes: there is nothing to draw");
        return sheet.finish();
    }
    let lanes = [slope_lane(picture), jack_lane(picture), bent_lane(picture)];
    let n_lanes = lanes.len() as f64;
    let passes = 1.7 * style.text;
    // The largest value stands beside the lane's title, on a phone below it.
    let n_lines = if picture.medium == Medium::Screen { 2.0 } else { 1.0 };
    let titles = (0.7 + 1.3 * n_lines) * style.text;
    let height = (sheet.area.height - passes - 2.0 * style.text) / n_lanes;
    for (idx, lane) in lanes.iter().enumerate() {
        let top = sheet.area.y + passes + idx as f64 * height;
        let frame = Rect::new(
            sheet.area.x + 4.2 * style.text,
            top + titles,
            sheet.area.width - 5.2 * style.text,
            height - titles - 0.8 * style.text,
        );
        let chart = lane.chart(frame, picture.moves.len());
        if idx == 0 {
            number_passes(&chart, &mut sheet.canvas, &style, picture, sheet.area.y + style.text);
        }
        lane.say(&mut sheet.canvas, &style, &chart, n_lines);
        draw_passes(&chart, &mut sheet.canvas, &style, picture);
        lane.draw(&chart, &mut sheet.canvas, &style);
        if idx + 1 == lanes.len() {
            draw_moves(&chart, &mut sheet.canvas, &style, picture);
        }
    }
    legend(&mut sheet, picture, &lanes);
    sheet.finish()
}

/// One value of a lane, as a number and in words.
struct Value {
    least: f64,
    most: f64,
    words: String,
}

struct Lane {
    title: String,
    /// One for each move.
    values: Vec<Option<Value>>,
    limit: Option<f64>,
    /// Why there are no values, if there are none.
    empty: &'static str,
    number: fn(f64, f64) -> String,
}

const NO_FRAME: &str = "no frame was looked at: not known";
const NOT_KNOWN: &str = "not known";

fn at_move(step: &WayMove) -> String {
    format!("pass {}, move {}", step.pass, step.number)
}

fn in_percent(value: f64, _: f64) -> String {
    format!("{value:.0}")
}

fn slope_lane(picture: &WayPicture) -> Lane {
    let value = |step: &WayMove| {
        let slope = step.slope.as_ref().filter(|slope| slope.share.is_finite())?;
        let share = 100.0 * slope.share.clamp(0.0, 1e4);
        let words = format!("{}, {}, {}", percent(slope.share), slope.place, at_move(step));
        Some(Value { least: share, most: share, words })
    };
    Lane {
        title: "slope between neighbours, % of limit".to_owned(),
        values: picture.moves.iter().map(value).collect(),
        limit: Some(100.0),
        empty: NOT_KNOWN,
        number: in_percent,
    }
}

fn jack_lane(picture: &WayPicture) -> Lane {
    let value = |step: &WayMove| {
        let jack = step.jack.as_ref().filter(|_| !step.rocks)?;
        let is_known = is_printable(jack.force.least) && is_printable(jack.force.most);
        let words =
            format!("{} kN, {}, {}", kilonewtons_range(jack.force), jack.support, at_move(step));
        is_known.then(|| Value {
            least: jack.force.least.to_kn(),
            most: jack.force.most.to_kn(),
            words,
        })
    };
    let limit = picture.jack_limit.map(|limit| limit.force()).filter(|force| is_printable(*force));
    let words = limit.map_or(String::new(), |force| format!(" (limit {})", kilonewtons(force)));
    Lane {
        title: format!("largest force at a jack, kN{words}"),
        values: picture.moves.iter().map(value).collect(),
        limit: limit.map(Force::to_kn),
        empty: if picture.on_frame { NOT_KNOWN } else { NO_FRAME },
        number: |value, step| {
            if step < 1.0 { format!("{value:.1}") } else { format!("{value:.0}") }
        },
    }
}

fn bent_lane(picture: &WayPicture) -> Lane {
    let value = |step: &WayMove| {
        let bent = step.bent.as_ref().filter(|bent| !step.rocks && bent.share.is_finite())?;
        let share = 100.0 * bent.share.clamp(0.0, 1e4);
        let words = format!("{}, {}, {}", percent(bent.share), bent.place, at_move(step));
        Some(Value { least: share, most: share, words })
    };
    let limit = Some(picture.bending_limit).filter(|limit| limit.is_finite() && *limit > 0.0);
    let words = limit.map_or(String::new(), |limit| format!(" (limit {})", percent(limit)));
    Lane {
        title: format!("most bent timber, % of strength{words}"),
        values: picture.moves.iter().map(value).collect(),
        limit: limit.map(|limit| 100.0 * limit),
        empty: if picture.on_frame { "no strength is known" } else { NO_FRAME },
        number: in_percent,
    }
}

impl Lane {
    fn most(&self) -> f64 {
        self.values.iter().flatten().map(|value| value.most).fold(0.0, f64::max)
    }

    /// The limit, if it does not press the values flat.
    fn drawn_limit(&self) -> Option<f64> {
        let most = self.most();
        self.limit.filter(|limit| most == 0.0 || *limit <= FAR_ABOVE * most)
    }

    fn chart(&self, frame: Rect, n_moves: usize) -> Chart {
        let limit = self.drawn_limit().unwrap_or(0.0);
        let high = (1.1 * self.most()).max(1.15 * limit).max(0.1);
        let across = Axis { low: 0.5, high: n_moves as f64 + 0.5, step: n_moves as f64 };
        Chart { frame, across, up: Axis::from_zero(high, round_step(high / 4.0)) }
    }

    fn draw(&self, chart: &Chart, canvas: &mut Canvas, style: &Style) {
        chart.draw_up(canvas, style, |value| (self.number)(value, chart.up.step));
        for run in self.runs() {
            let steps: Vec<(f64, f64, f64)> = stairs(&run);
            if steps.iter().any(|(_, least, most)| least < most) {
                chart.draw_band(canvas, &steps, BAND);
            }
            let line: Vec<(f64, f64)> = steps.iter().map(|&(x, _, most)| (x, most)).collect();
            chart.draw_line(canvas, "way", &line, Stroke::solid(LINE, 0.7 * style.thick));
        }
        if let Some(limit) = self.drawn_limit() {
            chart.draw_limit(canvas, style, limit);
        }
        chart.draw_frame(canvas, style);
        self.draw_worst(chart, canvas, style);
    }

    /// Values in the runs over which they are known, as the move's number, least and most; many
    /// moves are drawn as the largest of those that share a place.
    fn runs(&self) -> Vec<Vec<(f64, f64, f64, f64)>> {
        let share = self.values.len().div_ceil(PLACES).max(1);
        let mut runs = vec![Vec::new()];
        for (idx, together) in self.values.chunks(share).enumerate() {
            let from = (idx * share) as f64 + 0.5;
            let to = from + together.len() as f64;
            let most = together.iter().flatten().map(|value| value.most).reduce(f64::max);
            let least = together.iter().flatten().map(|value| value.least).reduce(f64::max);
            match (least, most, runs.last_mut()) {
                (Some(least), Some(most), Some(run)) => run.push((from, to, least, most)),
                _ => runs.push(Vec::new()),
            }
        }
        runs.retain(|run| !run.is_empty());
        runs
    }

    /// The first of the largest values, with its move from zero.
    fn worst(&self) -> Option<(usize, &Value)> {
        let known = self.values.iter().enumerate();
        let known = known.filter_map(|(idx, value)| Some((idx, value.as_ref()?)));
        known.reduce(|worst, next| if next.1.most > worst.1.most { next } else { worst })
    }

    /// The title of the lane, and its largest value with its place.
    fn say(&self, canvas: &mut Canvas, style: &Style, chart: &Chart, n_lines: f64) {
        let left = chart.frame.x - 3.6 * style.text;
        let base = chart.frame.y - 0.8 * style.text;
        let (size, bold) = (style.text, true);
        let text = &self.title;
        let at = (left, base - 1.3 * (n_lines - 1.0) * style.text);
        let title = Line { at, text, size, bold, anchor: Anchor::Start };
        canvas.text("axis-title", &title);
        let (at, anchor, from) = if n_lines > 1.0 {
            ((left, base), Anchor::Start, left)
        } else {
            ((chart.frame.right(), base), Anchor::End, title.room().right() + style.text)
        };
        let words = self.worst().map_or(self.empty, |(_, worst)| &worst.words);
        let text = &text::fit(words, size, false, chart.frame.right() - from);
        canvas.text("largest", &Line { at, text, size, bold: false, anchor });
    }

    fn draw_worst(&self, chart: &Chart, canvas: &mut Canvas, style: &Style) {
        let Some((idx, worst)) = self.worst() else { return };
        let spot = chart.spot(idx as f64 + 1.0, worst.most);
        if self.is_above_limit() {
            Symbol::Cross.draw(canvas, style, spot, "");
        } else {
            Symbol::Dot.draw(canvas, style, spot, &PALETTE[3].to_string());
        }
    }

    fn is_above_limit(&self) -> bool {
        let Some((_, worst)) = self.worst() else { return false };
        self.limit.is_some_and(|limit| worst.most > limit * (1.0 + 1e-9))
    }
}

/// Each value level from where its moves begin to where they end.
fn stairs(run: &[(f64, f64, f64, f64)]) -> Vec<(f64, f64, f64)> {
    run.iter()
        .flat_map(|&(from, to, least, most)| [(from, least, most), (to, least, most)])
        .collect()
}

/// The first move of each pass, from zero, with the number of the pass.
fn passes(picture: &WayPicture) -> Vec<(usize, usize)> {
    let mut starts: Vec<(usize, usize)> = Vec::new();
    for (idx, step) in picture.moves.iter().enumerate() {
        if starts.last().is_none_or(|last| last.1 != step.pass) {
            starts.push((idx, step.pass));
        }
    }
    starts
}

/// Where passes begin, and the moves in which the frame rocks.
fn draw_passes(chart: &Chart, canvas: &mut Canvas, style: &Style, picture: &WayPicture) {
    let frame = chart.frame;
    let rocking: Vec<usize> =
        picture.moves.iter().enumerate().filter(|(_, s)| s.rocks).map(|(idx, _)| idx).collect();
    for run in rocking.chunk_by(|a, b| a + 1 == *b) {
        let left = chart.x(run[0] as f64 + 0.5);
        let width = chart.x(run[run.len() - 1] as f64 + 1.5) - left;
        canvas.rect("rocks", &Rect::new(left, frame.y, width, frame.height), ROCKS, NO_STROKE);
    }
    let starts = passes(picture);
    let few = starts.len() <= PLACES / 4;
    let lines = starts.iter().skip(1).filter(|_| few).map(|&(idx, _)| {
        let x = chart.x(idx as f64 + 0.5);
        ((x, frame.y), (x, frame.bottom()))
    });
    let stroke = Stroke { colour: GREY, width: style.medium, dashes: style.dashes };
    canvas.lines("pass", &lines.collect::<Vec<_>>(), stroke);
}

/// The numbers of the passes in a row, where they have room.
fn number_passes(
    chart: &Chart,
    canvas: &mut Canvas,
    style: &Style,
    picture: &WayPicture,
    base: f64,
) {
    let (frame, starts) = (chart.frame, passes(picture));
    let mut taken = f64::NEG_INFINITY;
    let n_moves = picture.moves.len();
    let ends = starts.iter().skip(1).map(|start| start.0).chain([n_moves]);
    for (&(idx, number), end) in starts.iter().zip(ends) {
        let x = chart.x((idx + end) as f64 / 2.0 + 0.5);
        let text = &if idx == 0 { format!("pass {number}") } else { number.to_string() };
        let half = text::width(text, style.text, false) / 2.0;
        let x = x.max(frame.x + half);
        if x - half > taken && x + half <= frame.right() + style.text {
            let at = (x, base);
            let (size, bold, anchor) = (style.text, false, Anchor::Middle);
            canvas.text("pass-number", &Line { at, text, size, bold, anchor });
            taken = x + half + 0.6 * style.text;
        }
    }
}

/// Numbers of the first and the last move below the last lane.
fn draw_moves(chart: &Chart, canvas: &mut Canvas, style: &Style, picture: &WayPicture) {
    let y = chart.frame.bottom() + 1.5 * style.text;
    let n_moves = picture.moves.len();
    let ends = [
        (chart.frame.x, Anchor::Start, "first move".to_owned()),
        (chart.frame.right(), Anchor::End, format!("move {n_moves}, the last")),
    ];
    for (x, anchor, text) in ends {
        let line = Line { at: (x, y), text: &text, size: style.text, bold: false, anchor };
        canvas.text("axis", &line);
    }
}

fn legend(sheet: &mut Sheet, picture: &WayPicture, lanes: &[Lane]) {
    if let Some(stop) = &picture.stop {
        sheet.heading(&format!("do not work by this order: {stop}"));
    }
    sheet.heading("moves from left to right");
    let row = |stroke: fn(&Style) -> Stroke| {
        move |canvas: &mut Canvas, style: &Style, (x, y): Spot| {
            let half = 1.1 * style.text;
            canvas.line("legend-line", (x - half, y), (x + half, y), stroke(style));
        }
    };
    sheet.symbol_row(row(|style| Stroke::solid(LINE, 0.7 * style.thick)), "most, in each move");
    sheet.symbol_row(row(limit_stroke), "limit");
    let pass = |style: &Style| Stroke { colour: GREY, width: style.medium, dashes: style.dashes };
    sheet.symbol_row(row(pass), "a pass begins");
    let is_above = lanes.iter().any(Lane::is_above_limit);
    let dot = |canvas: &mut Canvas, style: &Style, spot: Spot| {
        Symbol::Dot.draw(canvas, style, spot, &PALETTE[3].to_string());
    };
    sheet.symbol_row(dot, "largest on the way");
    if is_above {
        let cross = |canvas: &mut Canvas, style: &Style, spot: Spot| {
            Symbol::Cross.draw(canvas, style, spot, "");
        };
        sheet.symbol_row(cross, "largest, above the line of its limit");
    }
    if picture.moves.iter().any(|step| step.rocks) {
        let draw = |canvas: &mut Canvas, style: &Style, spot: Spot| {
            let rect = Rect::around(spot, style.symbol, style.symbol);
            canvas.rect("legend-rocks", &rect, ROCKS, Stroke::solid(BLACK, style.thin));
        };
        sheet.symbol_row(draw, "the frame rocks: no force is known");
    }
    if picture.moves.iter().any(|step| step.jack.is_some() && !step.rocks) {
        sheet.paragraph("tinted below the line of the jacks: down to the least assumption");
    }
    notes(sheet, picture);
}

fn notes(sheet: &mut Sheet, picture: &WayPicture) {
    sheet.paragraph(
        "slopes are those of the pairs that a move changes; a pair that starts or ends steeper \
         than the limit has that slope as its limit",
    );
    if !picture.on_frame {
        sheet.heading("no frame was looked at: no force and no bending is known");
    } else {
        match picture.jack_limit.filter(|limit| is_printable(limit.force())) {
            Some(limit) => sheet.paragraph(&format!(
                "limit of a jack {} kN: {} of its rating of {} kN",
                kilonewtons(limit.force()),
                percent(limit.share),
                kilonewtons(limit.rating)
            )),
            None => sheet.paragraph("the rating of the jacks is not given: no limit is drawn"),
        }
        sheet.paragraph("a timber bent further at the start or the end may be so on the way, and a twentieth more");
    }
    if picture.on_frame && picture.stop.is_none() {
        sheet.paragraph(if picture.may_bend_too_far {
            "no limit is passed for sure in any move; timber may be bent beyond its limit under \
             some assumptions"
        } else {
            "no limit is passed in any move"
        });
    }
    sheet.heading("planning aid: it does not say that lifting is safe");
    if matches!(picture.medium, Medium::Sheet(_)) {
        sheet.paragraph("not to scale: read the numbers");
    }
}
