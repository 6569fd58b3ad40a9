//! Laying a picture of the house, a photo from above or a scanned plan, under the plan.
//!
//! Two spots whose places are known settle scale, turn and shift together. Nothing is left over to check
//! them by: a picture that is not square to the floor, or bent by a lens, lies wrong elsewhere without
//! anybody being told. It is to look at, never to measure from.

use crate::site::Position;
use crate::units::Length;
use serde::Serialize;

/// Two marks nearer to each other than this, in pixels, do not settle a turn.
pub const LEAST_APART: f64 = 20.0;

/// A spot in a picture, counted in pixels from its upper left corner.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Pixel {
    /// To the right.
    pub right: f64,
    /// Down.
    pub down: f64,
}

/// A spot in a picture whose place on the plan is known.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Mark {
    /// Where it is in the picture.
    pub pixel: Pixel,
    /// Where it is on the plan.
    pub place: Position,
}

/// How a picture lies on the plan: scaled alike in all directions, turned, shifted, never mirrored.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Backdrop {
    corner: Position,
    /// The real and imaginary part of millimetres a pixel, with the plan as the complex plane.
    per_pixel: (f64, f64),
}

/// Why two marks do not settle how a picture lies.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum BackdropError {
    /// A number that is infinite or none.
    #[error("a mark of the picture behind the map is not at a place")]
    NotFinite,
    /// The marks are too close in the picture.
    #[error(
        "the two marks are {apart:.0} pixels apart in the picture, at least {LEAST_APART} are needed; choose two that are far apart"
    )]
    TooClose {
        /// How far apart they are, in pixels.
        apart: f64,
    },
    /// The marks are at one place on the plan.
    #[error(
        "both marks of the picture are at one place on the plan; choose two that are far apart"
    )]
    OnePlace,
}

impl Backdrop {
    /// Lays a picture so that both marks are where they belong.
    ///
    /// # Units and sign
    /// Pixels count down the picture, the plan counts up the page.
    ///
    /// # Errors
    /// [`BackdropError`]; the way out is in its words.
    ///
    /// # Examples
    /// ```
    /// use floorwright_engine::backdrop::{Backdrop, Mark, Pixel};
    /// use floorwright_engine::site::Position;
    /// let mark = |right, down, x, y| Mark { pixel: Pixel { right, down }, place: Position::mm(x, y) };
    /// let laid = Backdrop::laid([mark(100.0, 500.0, 0.0, 0.0), mark(600.0, 500.0, 5000.0, 0.0)]).unwrap();
    /// assert_eq!(laid.mm_per_pixel(), 10.0);
    /// assert_eq!(laid.place(Pixel { right: 100.0, down: 400.0 }), Position::mm(0.0, 1000.0));
    /// ```
    ///
    /// # References
    /// A similarity of the plane is `w = a z + b` with complex numbers; two pairs give `a` as the quotient
    /// of the differences. Derived; checked against a triangle of sides 3, 4 and 5, and by properties.
    pub fn laid([first, second]: [Mark; 2]) -> Result<Self, BackdropError> {
        let is_finite = |mark: &Mark| {
            mark.pixel.right.is_finite() && mark.pixel.down.is_finite() && mark.place.is_finite()
        };
        if !is_finite(&first) || !is_finite(&second) {
            return Err(BackdropError::NotFinite);
        }
        // Up is positive on the plan.
        let right = second.pixel.right - first.pixel.right;
        let up = first.pixel.down - second.pixel.down;
        let apart = right.hypot(up);
        if apart < LEAST_APART {
            return Err(BackdropError::TooClose { apart });
        }
        let x = (second.place.x - first.place.x).to_mm() / apart;
        let y = (second.place.y - first.place.y).to_mm() / apart;
        if x == 0.0 && y == 0.0 {
            return Err(BackdropError::OnePlace);
        }
        let (right, up) = (right / apart, up / apart);
        let per_pixel = (x * right + y * up, y * right - x * up);
        let corner = Position::default();
        let laid = Self { corner, per_pixel };
        let off = laid.place(first.pixel);
        let corner = Position { x: first.place.x - off.x, y: first.place.y - off.y };
        let laid = Self { corner, per_pixel };
        if laid.corner.is_finite() { Ok(laid) } else { Err(BackdropError::NotFinite) }
    }

    /// Where a spot of the picture is on the plan.
    pub fn place(&self, pixel: Pixel) -> Position {
        let (a, b) = self.per_pixel;
        let (right, up) = (pixel.right, -pixel.down);
        Position {
            x: self.corner.x + Length::mm(a * right - b * up),
            y: self.corner.y + Length::mm(b * right + a * up),
        }
    }

    /// Millimetres on the plan for one pixel: a ratio of the picture's scale.
    pub fn mm_per_pixel(&self) -> f64 {
        self.per_pixel.0.hypot(self.per_pixel.1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn mark(right: f64, down: f64, x: f64, y: f64) -> Mark {
        Mark { pixel: Pixel { right, down }, place: Position::mm(x, y) }
    }

    fn is_at(found: Position, x: f64, y: f64, within: f64) -> bool {
        found.distance(Position::mm(x, y)).to_mm() <= within
    }

    /// Sides of 3, 4 and 5: along the short side of the picture 300 pixels up are 3,000 mm towards the
    /// right and 4,000 up, so a pixel is 50/3 mm, and 100 pixels to the right are 4/3 m right, 1 m down.
    #[test]
    fn a_triangle_of_three_four_and_five() {
        let laid =
            Backdrop::laid([mark(50.0, 350.0, 1000.0, 2000.0), mark(50.0, 50.0, 4000.0, 6000.0)]);
        let laid = laid.unwrap();
        assert!((laid.mm_per_pixel() - 50.0 / 3.0).abs() < 1e-12);
        let right = laid.place(Pixel { right: 150.0, down: 350.0 });
        assert!(is_at(right, 1000.0 + 4000.0 / 3.0, 1000.0, 1e-9), "{right:?}");
    }

    #[test]
    fn marks_that_settle_nothing_are_refused_with_words() {
        let at = |marks| Backdrop::laid(marks).unwrap_err().to_string();
        assert!(
            at([mark(5.0, 5.0, 0.0, 0.0), mark(9.0, 8.0, 1.0, 0.0)]).contains("5 pixels apart")
        );
        assert!(at([mark(0.0, 0.0, 7.0, 7.0), mark(90.0, 0.0, 7.0, 7.0)]).contains("one place"));
        for bad in [f64::NAN, f64::INFINITY] {
            assert!(
                at([mark(bad, 0.0, 0.0, 0.0), mark(90.0, 0.0, 1.0, 1.0)])
                    .contains("not at a place")
            );
            assert!(
                at([mark(0.0, 0.0, 0.0, bad), mark(90.0, 0.0, 1.0, 1.0)])
                    .contains("not at a place")
            );
        }
    }

    proptest! {
        /// Both marks come to lie where they belong, every distance is scaled alike, and a turn to the
        /// left in the picture is one on the plan: nothing is mirrored.
        #[test]
        fn a_picture_is_scaled_and_turned_and_never_mirrored(
            numbers in prop::array::uniform8(-4000.0..4000.0_f64), spot in prop::array::uniform2(0.0..4000.0_f64),
        ) {
            let [u1, v1, x1, y1, u2, v2, x2, y2] = numbers;
            let (apart, far) = ((u2 - u1).hypot(v2 - v1), (x2 - x1).hypot(y2 - y1));
            prop_assume!(apart > LEAST_APART && far > 1.0);
            let laid = Backdrop::laid([mark(u1, v1, x1, y1), mark(u2, v2, x2, y2)]).unwrap();
            let place = |right, down| laid.place(Pixel { right, down });
            prop_assert!(is_at(place(u1, v1), x1, y1, 1e-6) && is_at(place(u2, v2), x2, y2, 1e-6));
            let third = place(spot[0], spot[1]);
            let scaled = (spot[0] - u1).hypot(spot[1] - v1) * far / apart;
            let found = third.distance(Position::mm(x1, y1)).to_mm();
            prop_assert!((found - scaled).abs() <= 1e-6 * (1.0 + scaled));
            let left_in_picture = (u2 - u1) * (v1 - spot[1]) - (v1 - v2) * (spot[0] - u1);
            let on_plan = (x2 - x1) * (third.y.to_mm() - y1) - (y2 - y1) * (third.x.to_mm() - x1);
            prop_assert!(left_in_picture.abs() < 1.0 || left_in_picture.signum() == on_plan.signum());
        }
    }
}
