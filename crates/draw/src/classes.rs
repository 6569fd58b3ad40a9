//! The colours of departures: eleven classes symmetric about the target.

use crate::number::Print;
use floorwright_engine::units::Length;
use std::fmt;

/// A colour on screen or paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rgb(pub u8, pub u8, pub u8);

impl fmt::Display for Rgb {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "#{:02x}{:02x}{:02x}", self.0, self.1, self.2)
    }
}

/// The diverging map *vik* in eleven steps, lowest first; blue is low and brown is high.
///
/// # References
/// F. Crameri, Scientific colour maps (MIT licence, from memory), as eleven sRGB steps. Neighbouring classes stay
/// apart for every kind of colour blindness; a test here says how far.
pub const PALETTE: [Rgb; 11] = [
    Rgb(0x00, 0x12, 0x61),
    Rgb(0x02, 0x39, 0x7a),
    Rgb(0x11, 0x64, 0x96),
    Rgb(0x54, 0x96, 0xb7),
    Rgb(0xa7, 0xc9, 0xda),
    Rgb(0xec, 0xe5, 0xe0),
    Rgb(0xe1, 0xb8, 0xa0),
    Rgb(0xcc, 0x87, 0x5f),
    Rgb(0xb7, 0x5a, 0x26),
    Rgb(0x85, 0x22, 0x06),
    Rgb(0x59, 0x00, 0x08),
];

/// Steps between class edges that are round to a builder, in millimetres.
const ROUND_STEPS: [f64; 14] =
    [1.0, 2.0, 3.0, 4.0, 5.0, 8.0, 10.0, 15.0, 20.0, 25.0, 50.0, 100.0, 200.0, 500.0];

/// The same in sixteenths of an inch, to be met on a tape.
const ROUND_SIXTEENTHS: [f64; 9] = [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0, 256.0];

/// How much of the way to the largest departure the open classes may begin at the soonest: the
/// numbers say what is in an open class, but nothing brings back a range drawn in three colours
/// (a choice).
const OPEN_FROM: f64 = 0.6;

/// Which departure gets which colour.
///
/// The middle class reaches one step to either side of the target; four more classes of one step
/// follow on each side, and the outermost is open.
///
/// # Units and sign
/// Departures from the target, up positive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ColourScale {
    step: Length,
}

impl ColourScale {
    /// The finest round scale whose open classes begin no sooner than six tenths of the way to the
    /// largest of the departures. Give it all departures of all pictures that are to be compared.
    ///
    /// # Units and sign
    /// The edges are at whole millimetres, or at sixteenths of an inch.
    ///
    /// # Examples
    /// ```
    /// use floorwright_draw::{ColourScale, PALETTE, Print};
    /// use floorwright_engine::units::Length;
    ///
    /// let before = [Length::mm(-27.0), Length::mm(4.0)];
    /// let after = [Length::mm(-2.0), Length::mm(1.0)];
    /// let scale = ColourScale::covering(Print::default(), before.into_iter().chain(after));
    /// assert_eq!(scale.edges()[5], Length::mm(4.0));
    /// assert_eq!(scale.colour(Length::mm(-27.0)), PALETTE[0]);
    /// ```
    pub fn covering(print: Print, departures: impl IntoIterator<Item = Length>) -> Self {
        let largest = departures
            .into_iter()
            .filter(|departure| departure.is_finite())
            .fold(Length::ZERO, |largest, departure| largest.max(departure.abs()));
        let (steps, part): (&[f64], Length) = match print {
            Print::Millimetres(_) => (&ROUND_STEPS, Length::mm(1.0)),
            Print::Sixteenths => (&ROUND_SIXTEENTHS, Length::inches(1.0 / 16.0)),
        };
        let wide_enough = |step: &&f64| part * (5.0 * **step) >= largest * OPEN_FROM;
        let step = steps.iter().find(wide_enough).or(steps.last()).copied().unwrap_or(1.0);
        Self { step: part * step }
    }

    /// The ten edges between the eleven classes, lowest first.
    pub fn edges(&self) -> [Length; 10] {
        [-5.0, -4.0, -3.0, -2.0, -1.0, 1.0, 2.0, 3.0, 4.0, 5.0].map(|steps| self.step * steps)
    }

    /// The colour of a departure; one that is not a number gets the middle one.
    ///
    /// An edge belongs to the class nearer to the target.
    pub fn colour(&self, departure: Length) -> Rgb {
        PALETTE[self.class(departure)]
    }

    pub(crate) fn class(&self, departure: Length) -> usize {
        if !departure.is_finite() {
            return 5;
        }
        let edges = self.edges();
        let below = edges[..5].iter().filter(|&&edge| departure < edge).count();
        let above = edges[5..].iter().filter(|&&edge| departure > edge).count();
        5 + above - below
    }

    /// What the legend says of each class, highest class first.
    pub(crate) fn legend(&self, print: Print) -> Vec<(Rgb, String)> {
        let edge = |steps: f64| print.tidy(self.step * steps);
        let words = |class: usize| match class {
            10 => format!("more than +{}", edge(5.0)),
            6..=9 => {
                let steps = class as f64 - 5.0;
                format!("+{} to +{}", edge(steps), edge(steps + 1.0))
            }
            5 => format!("within {} of target", edge(1.0)),
            1..=4 => {
                let steps = 5.0 - class as f64;
                format!("\u{2212}{} to \u{2212}{}", edge(steps), edge(steps + 1.0))
            }
            _ => format!("less than \u{2212}{}", edge(5.0)),
        };
        (0..PALETTE.len()).rev().map(|class| (PALETTE[class], words(class))).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What a person without one kind of cone sees, in linear light.
    ///
    /// Source: G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A physiologically-based model for
    /// simulation of color vision deficiency", IEEE TVCG 15 (2009), severity 1.0; the matrices are
    /// from memory. Each row sums to one, so that grey stays grey; a test says so.
    const BLINDNESS: [(&str, [[f64; 3]; 3]); 4] = [
        ("none", [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
        (
            "protanopia",
            [
                [0.152286, 1.052583, -0.204868],
                [0.114503, 0.786281, 0.099216],
                [-0.003882, -0.048116, 1.051998],
            ],
        ),
        (
            "deuteranopia",
            [
                [0.367322, 0.860646, -0.227968],
                [0.280085, 0.672501, 0.047413],
                [-0.011820, 0.042940, 0.968881],
            ],
        ),
        (
            "tritanopia",
            [
                [1.255528, -0.076749, -0.178779],
                [-0.078411, 0.930809, 0.147602],
                [0.004733, 0.691367, 0.303900],
            ],
        ),
    ];

    /// IEC 61966-2-1.
    fn linear(channel: u8) -> f64 {
        let c = f64::from(channel) / 255.0;
        if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
    }

    fn seen(colour: Rgb, matrix: &[[f64; 3]; 3]) -> [f64; 3] {
        let rgb = [linear(colour.0), linear(colour.1), linear(colour.2)];
        matrix.map(|row| row.iter().zip(rgb).map(|(m, c)| m * c).sum::<f64>().clamp(0.0, 1.0))
    }

    /// CIE 1976 L*a*b*, white D65.
    fn lab([r, g, b]: [f64; 3]) -> [f64; 3] {
        let x = (0.4124 * r + 0.3576 * g + 0.1805 * b) / 0.9505;
        let y = 0.2126 * r + 0.7152 * g + 0.0722 * b;
        let z = (0.0193 * r + 0.1192 * g + 0.9505 * b) / 1.089;
        let f = |t: f64| if t > 0.008856 { t.cbrt() } else { 7.787 * t + 16.0 / 116.0 };
        [116.0 * f(y) - 16.0, 500.0 * (f(x) - f(y)), 200.0 * (f(y) - f(z))]
    }

    /// Smallest colour difference (CIE 1976) between neighbouring classes.
    fn least_step(colours: &[Rgb], matrix: &[[f64; 3]; 3]) -> f64 {
        let labs: Vec<_> = colours.iter().map(|&colour| lab(seen(colour, matrix))).collect();
        let step = |pair: &[[f64; 3]]| {
            pair[0].iter().zip(&pair[1]).map(|(a, b)| (a - b).powi(2)).sum::<f64>().sqrt()
        };
        labs.windows(2).map(step).fold(f64::INFINITY, f64::min)
    }

    #[test]
    fn classes_stay_apart_for_every_kind_of_colour_blindness() {
        for (kind, matrix) in &BLINDNESS {
            let least = least_step(&PALETTE, matrix);
            assert!(least >= 8.0, "{kind}: least step {least:.1}");
        }
    }

    /// Smallest colour difference between a class and the one as far on the other side.
    fn least_across(colours: &[Rgb], matrix: &[[f64; 3]; 3]) -> f64 {
        let pairs = (0..colours.len() / 2).map(|class| (class, colours.len() - 1 - class));
        let steps = pairs.map(|(low, high)| least_step(&[colours[low], colours[high]], matrix));
        steps.fold(f64::INFINITY, f64::min)
    }

    /// A traffic light (red over yellow to green) fails the same measure, so the measure can fail.
    #[test]
    fn high_and_low_stay_apart_where_a_traffic_light_would_not() {
        for (kind, matrix) in &BLINDNESS {
            let least = least_across(&PALETTE, matrix);
            assert!(least >= 20.0, "{kind}: high against low {least:.1}");
        }
        // The eleven-class red-yellow-green map of the ColorBrewer schemes, from memory.
        let traffic_light = [
            0xa50026, 0xd73027, 0xf46d43, 0xfdae61, 0xfee08b, 0xffffbf, 0xd9ef8b, 0xa6d96a,
            0x66bd63, 0x1a9850, 0x006837,
        ]
        .map(|code: u32| {
            let [_, red, green, blue] = code.to_be_bytes();
            Rgb(red, green, blue)
        });
        let [normal, deuteranope] =
            [0, 2].map(|kind: usize| least_across(&traffic_light, &BLINDNESS[kind].1));
        assert!(normal > 20.0 && deuteranope < 8.0, "{normal:.1} {deuteranope:.1}");
    }

    #[test]
    fn grey_stays_grey_in_the_simulation() {
        for (kind, matrix) in &BLINDNESS {
            for row in matrix {
                assert!((row.iter().sum::<f64>() - 1.0).abs() < 2e-6, "{kind}");
            }
        }
    }

    #[test]
    fn edges_are_round_and_symmetric() {
        let scale = covering(&[-47.0, 22.0]);
        let edges = scale.edges().map(Length::to_mm);
        assert_eq!(edges, [-40., -32., -24., -16., -8., 8., 16., 24., 32., 40.]);
        let inches = ColourScale::covering(Print::Sixteenths, [Length::inches(-1.4)]);
        let edges = inches.edges().map(Length::to_inches);
        assert!((edges[5] - 0.25).abs() < 1e-12 && (edges[9] - 1.25).abs() < 1e-12);
    }

    /// Half of the classes or more on the side of the largest departure are in use, and the open
    /// one holds no more than the outer four tenths.
    #[test]
    fn no_range_is_drawn_in_a_few_colours() {
        for tenths in 40..5000 {
            let largest = f64::from(tenths) / 10.0;
            let scale = covering(&[-largest]);
            assert!(scale.class(Length::mm(-largest)) <= 2, "{largest}: {:?}", scale.edges());
            assert!(scale.edges()[9].to_mm() >= 0.6 * largest - 1e-9, "{largest}");
        }
    }

    fn covering(departures: &[f64]) -> ColourScale {
        ColourScale::covering(Print::default(), departures.iter().copied().map(Length::mm))
    }

    #[test]
    fn an_edge_belongs_to_the_class_nearer_the_target() {
        let scale = covering(&[36.0]);
        let check = |mm: f64, class: usize| assert_eq!(scale.class(Length::mm(mm)), class, "{mm}");
        check(0.0, 5);
        check(5.0, 5);
        check(5.1, 6);
        check(-5.1, 4);
        check(-25.0, 1);
        check(-25.1, 0);
        check(1e9, 10);
        check(f64::NAN, 5);
    }

    #[test]
    fn legend_names_every_class_once() {
        let legend = covering(&[36.0]).legend(Print::default());
        let words: Vec<_> = legend.iter().map(|(_, words)| words.as_str()).collect();
        assert_eq!(words[0], "more than +25");
        assert_eq!(words[5], "within 5 of target");
        assert_eq!(words[6], "\u{2212}5 to \u{2212}10");
        assert_eq!(words[10], "less than \u{2212}25");
    }
}
