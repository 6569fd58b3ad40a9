//! How long the water takes to come to rest.
//!
//! The plain equation `x'' + 2 b x' + w0^2 x = 0` has laminar friction as of a steady flow,
//! `b = 16 nu/D^2`, `w0^2 = g (1 + e)/L`. A column that swings has another friction, and the plain
//! equation is up to 58 % short. With a third more inertia, as a slow start of the flow has it,
//! `b' = 3/4 b` and `w'^2 = 3/4 w0^2`, and the bounds of [`Column::wait_before_margin`] are safe:
//! `tests/hose_settling.rs` holds them against the unsteady laminar flow.

use super::GRAVITY;
use super::validity::OutsideValidity;
use crate::units::{Length, Seconds, Viscosity};
use serde::Serialize;

/// Every wait is stretched by this (a ratio): before it, the bounds fall up to 2 % short.
pub const MARGIN: f64 = 1.1;

/// No wait is shorter: the hand and the eye need as long.
pub const SHORTEST_WAIT: Seconds = Seconds::new(20.0);

/// Two readings that are to agree are never taken sooner after each other: the hand and the eye need
/// as long.
const SOONEST_AGAIN: Seconds = Seconds::new(5.0);

/// Less of a swing than this is not seen (a ratio of the move; a choice).
const SEEN_OVERSHOOT: f64 = 0.05;

const CHECKED: &str = "where waits were held against the unsteady flow";
/// `sqrt(3)/2`.
const FREQUENCY_FACTOR: f64 = 0.866_025_403_784_438_6;

/// The water in a hose.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Column {
    bore: Length,
    wet_length: Length,
    viscosity: Viscosity,
    area_ratio: f64,
}

/// How a column comes to rest.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Regime {
    /// To and fro past its level, less each time.
    Swings,
    /// Between the two: hardly past its level, and not slowly.
    NearCritical,
    /// Slowly towards its level, never past it.
    Creeps,
}

impl Column {
    /// Takes what the wait follows from. `area_ratio` is the moving tube's area over that of the
    /// other end: 0 for a very wide pail, 1 for twin tubes (a ratio).
    ///
    /// # Errors
    /// Outside what the waits were checked over: bore 4 to 15 mm, wet length 3 to 100 m,
    /// viscosity 0.5 to 20 mm2/s, area ratio 0 to 1.
    pub fn new(
        bore: Length,
        wet_length: Length,
        viscosity: Viscosity,
        area_ratio: f64,
    ) -> Result<Self, OutsideValidity> {
        let check = OutsideValidity::check;
        check("a bore", bore.to_mm(), (4.0, 15.0, "mm"), CHECKED)?;
        check("a wet length", wet_length.to_m(), (3.0, 100.0, "m"), CHECKED)?;
        check("a viscosity", viscosity.to_mm2_per_s(), (0.5, 20.0, "mm2/s"), CHECKED)?;
        check("an area ratio", area_ratio, (0.0, 1.0, "to 1"), CHECKED)?;
        Ok(Self { bore, wet_length, viscosity, area_ratio })
    }

    /// Damping of the plain equation, 1/s.
    fn damping(&self) -> f64 {
        16.0 * self.viscosity.to_m2_per_s() / self.bore.to_m().powi(2)
    }

    /// Undamped angular frequency of the plain equation, 1/s.
    fn frequency(&self) -> f64 {
        (GRAVITY * (1.0 + self.area_ratio) / self.wet_length.to_m()).sqrt()
    }

    /// Damping over undamped frequency, of the plain equation (a ratio): below 1 it swings.
    pub fn damping_ratio(&self) -> f64 {
        self.damping() / self.frequency()
    }

    /// The period that the column would have without friction.
    pub fn undamped_period(&self) -> Seconds {
        Seconds::new(std::f64::consts::TAU / self.frequency())
    }

    fn safe_ratio(&self) -> f64 {
        0.75 * self.damping() / (FREQUENCY_FACTOR * self.frequency())
    }

    /// How the column comes to rest.
    pub fn regime(&self) -> Regime {
        match self.safe_ratio() {
            ratio if ratio < 0.95 => Regime::Swings,
            ratio if ratio < 1.0 => Regime::NearCritical,
            _ => Regime::Creeps,
        }
    }

    /// The period of a column that swings, with the inertia of unsteady flow.
    pub fn swing_period(&self) -> Option<Seconds> {
        if self.regime() != Regime::Swings {
            return None;
        }
        let damping = 0.75 * self.damping();
        let squared = 0.75 * self.frequency().powi(2) - damping * damping;
        Some(Seconds::new(std::f64::consts::TAU / squared.sqrt()))
    }

    /// How far apart two readings are taken that are to agree: half a period of the swing, or one and
    /// a half, for a whole period apart the water stands alike however far it is from its rest. Where
    /// nothing swings that one could see: until half of what is left is gone.
    ///
    /// # References
    /// Whole seconds, a few seconds at least. `exp(-lambda t) = 1/2` for the slower way to rest.
    pub fn read_again_after(&self) -> Seconds {
        if let (Some(period), true) = (self.swing_period(), self.overshoot() >= SEEN_OVERSHOOT) {
            let period = period.to_seconds();
            let halves = (0..).map(|n| (f64::from(n) + 0.5) * period);
            let again = halves.map(f64::round).find(|&again| {
                let share = (again / period).fract();
                again >= SOONEST_AGAIN.to_seconds() && (0.25..=0.75).contains(&share)
            });
            return Seconds::new(again.unwrap_or(SOONEST_AGAIN.to_seconds()));
        }
        let damping = 0.75 * self.damping();
        let frequency = FREQUENCY_FACTOR * self.frequency();
        let rate = if damping <= frequency {
            damping
        } else {
            frequency.powi(2) / (damping + (damping * damping - frequency * frequency).sqrt())
        };
        Seconds::new((std::f64::consts::LN_2 / rate).ceil().max(10.0))
    }

    /// Whether a swing can be seen: after a quick move the water goes past its level by a twentieth
    /// of the move (a choice).
    pub fn swings_to_see(&self) -> bool {
        self.regime() == Regime::Swings && self.overshoot() >= SEEN_OVERSHOOT
    }

    /// Where the surface stands above its rest, by the plain equation, after it was let go at
    /// `start`.
    pub fn displacement(&self, start: Length, after: Seconds) -> Length {
        let (damping, frequency, t) = (self.damping(), self.frequency(), after.to_seconds());
        let squared = frequency * frequency - damping * damping;
        let share = if squared > 0.0 {
            let w = squared.sqrt();
            (-damping * t).exp() * ((w * t).cos() + damping / w * (w * t).sin())
        } else if squared == 0.0 {
            (-frequency * t).exp() * (1.0 + frequency * t)
        } else {
            let q = (-squared).sqrt();
            let (slow, fast) = (-frequency * frequency / (damping + q), -(damping + q));
            (fast * (slow * t).exp() - slow * (fast * t).exp()) / (fast - slow)
        };
        start * share
    }

    /// How far past its level the water goes after a quick move, by the plain equation (a ratio
    /// of the move); the flow itself can go a few hundredths further.
    pub fn overshoot(&self) -> f64 {
        let ratio = self.damping_ratio();
        if ratio >= 1.0 {
            return 0.0;
        }
        (-std::f64::consts::PI * ratio / (1.0 - ratio * ratio).sqrt()).exp()
    }

    /// Time from the move until the surface stays within `tolerance` of its rest, before
    /// [`MARGIN`]; nothing for a start that is already within it.
    ///
    /// # References
    /// Envelopes of the plain equation with four thirds of its inertia. Derived; held against the
    /// unsteady flow, whose modes are the roots of
    /// `s^2 + w0^2 (1 - 2 I1(k)/(k I0(k))) = 0`, `k = D/2 sqrt(s/nu)`.
    pub fn wait_before_margin(&self, start: Length, tolerance: Length) -> Seconds {
        let times = start.abs() / tolerance.abs();
        let usable = times.is_finite() && times > 1.0;
        if !usable {
            return Seconds::new(0.0);
        }
        let damping = 0.75 * self.damping();
        let frequency = FREQUENCY_FACTOR * self.frequency();
        let ratio = damping / frequency;
        let wait = if ratio < 0.95 {
            (times / (1.0 - ratio * ratio).sqrt()).ln() / damping
        } else if ratio < 1.0 + 1e-6 {
            // 1/sqrt(1 - 0.95^2): the swinging form at its end, carried on.
            let swinging = (3.203 * times).ln() / damping;
            let creeping = (2.0 * times).ln() * 2.0 * self.damping() / self.frequency().powi(2);
            swinging.max(creeping)
        } else {
            let q = (damping * damping - frequency * frequency).sqrt();
            let share = (damping + q) / (2.0 * q);
            (times * share.max(1.0)).ln() * (damping + q) / (frequency * frequency)
        };
        Seconds::new(wait)
    }

    /// How long to wait after a move that leaves the surface `start` from its rest, until it
    /// stays within `tolerance` of it: safe by [`MARGIN`], and never below [`SHORTEST_WAIT`].
    ///
    /// # Examples
    /// ```
    /// use floorwright_engine::hose::Column;
    /// use floorwright_engine::units::{Length, Viscosity};
    /// let (bore, length) = (Length::mm(8.0), Length::m(20.0));
    /// let column = Column::new(bore, length, Viscosity::mm2_per_s(1.0034), 0.0016)?;
    /// let wait = column.wait(Length::mm(100.0), Length::mm(0.5));
    /// assert_eq!(wait.to_seconds().round(), 31.0);
    /// # Ok::<(), floorwright_engine::hose::OutsideValidity>(())
    /// ```
    pub fn wait(&self, start: Length, tolerance: Length) -> Seconds {
        (self.wait_before_margin(start, tolerance) * MARGIN).max(SHORTEST_WAIT)
    }
}

/// The wet length above which a hose with a wide pail creeps by the plain equation:
/// `g (D^2/16 nu)^2`.
pub fn critical_length(bore: Length, viscosity: Viscosity) -> Length {
    let ratio = bore.to_m().powi(2) / (16.0 * viscosity.to_m2_per_s());
    Length::m(GRAVITY * ratio * ratio)
}
