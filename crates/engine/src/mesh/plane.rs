//! Plain plan geometry in millimetres, for use inside the mesh only.

use crate::site::Position;
use std::ops::{Add, Mul, Sub};

/// A place or a step on the plan, in millimetres from the mesh's own origin.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Xy {
    pub x: f64,
    pub y: f64,
}

impl Xy {
    pub fn new(x: f64, y: f64) -> Self {
        Self { x, y }
    }

    pub fn from_position(at: Position, origin: Position) -> Self {
        Self::new((at.x - origin.x).to_mm(), (at.y - origin.y).to_mm())
    }

    pub fn dot(self, other: Self) -> f64 {
        self.x * other.x + self.y * other.y
    }

    pub fn cross(self, other: Self) -> f64 {
        self.x * other.y - self.y * other.x
    }

    pub fn length(self) -> f64 {
        self.x.hypot(self.y)
    }

    pub fn distance(self, other: Self) -> f64 {
        (self - other).length()
    }
}

impl Add for Xy {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self::new(self.x + other.x, self.y + other.y)
    }
}

impl Sub for Xy {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self::new(self.x - other.x, self.y - other.y)
    }
}

impl Mul<f64> for Xy {
    type Output = Self;
    fn mul(self, ratio: f64) -> Self {
        Self::new(self.x * ratio, self.y * ratio)
    }
}

/// How far along a segment, as a ratio from 0 to 1, its place nearest to `place` lies.
pub(super) fn along_segment(from: Xy, to: Xy, place: Xy) -> f64 {
    let step = to - from;
    let length_squared = step.dot(step);
    if length_squared == 0.0 {
        return 0.0;
    }
    ((place - from).dot(step) / length_squared).clamp(0.0, 1.0)
}

/// The place on a segment nearest to `place`.
pub(super) fn nearest_on(from: Xy, to: Xy, place: Xy) -> Xy {
    from + (to - from) * along_segment(from, to, place)
}

/// Where two segments cross inside both, ends not counted.
pub(super) fn crossing(first: (Xy, Xy), second: (Xy, Xy)) -> Option<Xy> {
    let (along_first, along_second) = (first.1 - first.0, second.1 - second.0);
    let turn = along_first.cross(along_second);
    if turn.abs() <= 1e-12 * along_first.length() * along_second.length() {
        return None;
    }
    let gap = second.0 - first.0;
    let (at_first, at_second) = (gap.cross(along_second) / turn, gap.cross(along_first) / turn);
    let slack_first = 1e-6 / along_first.length().max(1e-6);
    let slack_second = 1e-6 / along_second.length().max(1e-6);
    let inside = |at: f64, slack: f64| at > slack && at < 1.0 - slack;
    (inside(at_first, slack_first) && inside(at_second, slack_second))
        .then(|| first.0 + along_first * at_first)
}

/// Shares of a triangle's corners in a place (they sum to one); `None` for a triangle without area.
pub(super) fn shares([a, b, c]: [Xy; 3], place: Xy) -> Option<[f64; 3]> {
    let twice_area = (b - a).cross(c - a);
    let longest = a.distance(b).max(b.distance(c)).max(c.distance(a));
    if twice_area.abs() <= 1e-9 * longest {
        return None;
    }
    let share_b = (place - a).cross(c - a) / twice_area;
    let share_c = (b - a).cross(place - a) / twice_area;
    Some([1.0 - share_b - share_c, share_b, share_c])
}
