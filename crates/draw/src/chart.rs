//! What charts share: a frame with numbers along its sides.

use crate::canvas::{Anchor, Canvas, Line, Rect, Spot, Stroke};
use crate::sheet::{BLACK, Style};

/// One side of a chart.
#[derive(Clone, Copy)]
pub(crate) struct Axis {
    pub low: f64,
    pub high: f64,
    pub step: f64,
}

impl Axis {
    /// From zero to a whole number of steps that holds `most`.
    pub fn from_zero(most: f64, step: f64) -> Self {
        Self { low: 0.0, high: ((most / step - 1e-9).ceil() * step).max(step), step }
    }

    fn ticks(&self) -> impl Iterator<Item = f64> + use<> {
        let Self { low, high, step } = *self;
        let first = (low / step - 1e-9).ceil() as i64;
        let last = (high / step + 1e-9).floor() as i64;
        (first..=last).map(move |tick| tick as f64 * step)
    }
}

/// From values to the paper.
#[derive(Clone, Copy)]
pub(crate) struct Chart {
    pub frame: Rect,
    pub across: Axis,
    pub up: Axis,
}

impl Chart {
    pub fn x(&self, value: f64) -> f64 {
        let Axis { low, high, .. } = self.across;
        self.frame.x + (value - low) / (high - low) * self.frame.width
    }

    pub fn y(&self, value: f64) -> f64 {
        let Axis { low, high, .. } = self.up;
        self.frame.bottom() - (value - low) / (high - low) * self.frame.height
    }

    pub fn spot(&self, across: f64, up: f64) -> Spot {
        (self.x(across), self.y(up))
    }

    /// Level lines with their numbers to the left.
    pub fn draw_up(&self, canvas: &mut Canvas, style: &Style, number: impl Fn(f64) -> String) {
        for value in self.up.ticks() {
            let (left, right) =
                ((self.frame.x, self.y(value)), (self.frame.right(), self.y(value)));
            canvas.line("grid", left, right, Stroke::solid("#c4c4c4", style.thin));
            let text = &number(value);
            let at = (left.0 - 0.5 * style.text, left.1 + 0.36 * style.text);
            let (size, bold, anchor) = (style.text, false, Anchor::End);
            canvas.text("axis", &Line { at, text, size, bold, anchor });
        }
    }

    /// Ticks with their numbers below.
    pub fn draw_across(&self, canvas: &mut Canvas, style: &Style, number: impl Fn(f64) -> String) {
        for value in self.across.ticks() {
            let foot = (self.x(value), self.frame.bottom());
            let tick = (foot.0, foot.1 + 0.4 * style.text);
            canvas.line("tick", foot, tick, Stroke::solid(BLACK, style.thin));
            let text = &number(value);
            let at = (foot.0, foot.1 + 1.5 * style.text);
            let (size, bold, anchor) = (style.text, false, Anchor::Middle);
            canvas.text("axis", &Line { at, text, size, bold, anchor });
        }
    }

    pub fn draw_frame(&self, canvas: &mut Canvas, style: &Style) {
        canvas.rect("frame", &self.frame, "none", Stroke::solid(BLACK, style.medium));
    }

    /// The area between two values at each place.
    pub fn draw_band(&self, canvas: &mut Canvas, points: &[(f64, f64, f64)], fill: &str) {
        if points.len() < 2 {
            return;
        }
        let upper = points.iter().map(|&(across, _, most)| self.spot(across, most));
        let lower = points.iter().rev().map(|&(across, least, _)| self.spot(across, least));
        let spots: Vec<Spot> = upper.chain(lower).collect();
        canvas.polygon("band", &spots, fill, crate::sheet::NO_STROKE);
    }

    pub fn draw_line(
        &self,
        canvas: &mut Canvas,
        class: &str,
        points: &[(f64, f64)],
        stroke: Stroke,
    ) {
        let spots: Vec<Spot> = points.iter().map(|&(across, up)| self.spot(across, up)).collect();
        if spots.len() > 1 {
            canvas.polyline(class, &spots, stroke);
        }
    }

    /// A level line all across, as a limit is drawn.
    pub fn draw_limit(&self, canvas: &mut Canvas, style: &Style, up: f64) {
        let (left, right) = ((self.frame.x, self.y(up)), (self.frame.right(), self.y(up)));
        canvas.line("limit", left, right, limit_stroke(style));
    }
}

/// Long and short dashes, heavy: no other line in a chart looks so, with or without colour.
pub(crate) fn limit_stroke(style: &Style) -> Stroke {
    let dashes = if style.text > 10.0 { "10 3 2 3" } else { "3.4 1 0.7 1" };
    Stroke { colour: BLACK, width: 0.8 * style.thick, dashes }
}
