//! How far water climbs in a clean tube, and air that will not rise in a thin one.

use super::GRAVITY;
use super::validity::OutsideValidity;
use crate::units::{Angle, Density, Length, SurfaceTension};

/// Perimeter over area of a round bore, times its diameter.
pub(super) const STUCK_FACTOR: f64 = 4.0;
/// `rho g r^2 / sigma` under which a long bubble never rises in an upright tube.
const NO_RISE: f64 = 0.842;

/// The length over which a water surface bends: `sqrt(sigma/(rho g))`.
pub fn capillary_length(tension: SurfaceTension, density: Density) -> Length {
    Length::m((tension.to_n_per_m() / (density.to_kg_per_m3() * GRAVITY)).sqrt())
}

/// Jurin's rise, `4 sigma cos(theta)/(rho g D)`: for capillaries. In the bores of hoses it is
/// badly high: use [`meniscus_rise`].
pub fn jurin_rise(bore: Length, angle: Angle, tension: SurfaceTension, density: Density) -> Length {
    let weight = density.to_kg_per_m3() * GRAVITY;
    Length::m(4.0 * tension.to_n_per_m() * angle.to_radians().cos() / (weight * bore.to_m()))
}

/// How far the middle of the meniscus stands above the level of a wide reservoir, for water that
/// meets the wall at this angle (0 for a clean wetted wall, 90 for a flat surface).
///
/// # Errors
/// Outside bores of 2 to 40 mm and angles of 0 to 180 degrees.
///
/// # References
/// The axisymmetric Young-Laplace equation, `d(r sin phi)/dr = r u/a^2`, `du/dr = tan phi`, run
/// from the middle to the wall in steps of the slope's logarithm, and the height at the middle
/// sought by halving. Checked against a second solution in `tests/published/hose.rs`.
pub fn meniscus_rise(
    bore: Length,
    angle: Angle,
    tension: SurfaceTension,
    density: Density,
) -> Result<Length, OutsideValidity> {
    const BASIS: &str = "where the meniscus was checked";
    let degrees = angle.to_degrees();
    OutsideValidity::check("a bore", bore.to_mm(), (2.0, 40.0, "mm"), BASIS)?;
    OutsideValidity::check("a contact angle", degrees, (0.0, 180.0, "degrees"), BASIS)?;
    let unit = capillary_length(tension, density);
    let radius = bore / 2.0 / unit;
    let slope = (90.0 - degrees).abs().to_radians();
    if slope < 1e-9 {
        return Ok(Length::ZERO);
    }
    // Above Jurin's height for a flat-bottomed column the wall is met too soon, at none never.
    let (mut low, mut high) = (0.0, 2.0 * slope.sin() / radius + 1.0);
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if radius_at(middle, slope) > radius {
            low = middle;
        } else {
            high = middle;
        }
    }
    let rise = unit * f64::midpoint(low, high);
    Ok(if degrees > 90.0 { -rise } else { rise })
}

/// How far from the middle the surface reaches this slope, starting at this height: all in
/// capillary lengths.
fn radius_at(height: f64, slope: f64) -> f64 {
    const STEPS: usize = 600;
    // So near the middle the surface is the bowl of a constant curvature.
    let first = (1e-3 * slope).min(5e-3 * height);
    let mut state = [2.0 * first / height, height + first * first / height];
    let mut at = first.ln();
    let step = (slope.ln() - at) / STEPS as f64;
    let change = |at: f64, [r, u]: [f64; 2]| {
        let phi = at.exp();
        let bend = u - phi.sin() / r;
        [phi * phi.cos() / bend, phi * phi.sin() / bend]
    };
    for _ in 0..STEPS {
        let moved = |by: [f64; 2], share: f64| {
            [state[0] + share * step * by[0], state[1] + share * step * by[1]]
        };
        let k1 = change(at, state);
        let k2 = change(at + step / 2.0, moved(k1, 0.5));
        let k3 = change(at + step / 2.0, moved(k2, 0.5));
        let k4 = change(at + step, moved(k3, 1.0));
        for idx in 0..2 {
            state[idx] += step / 6.0 * (k1[idx] + 2.0 * k2[idx] + 2.0 * k3[idx] + k4[idx]);
        }
        at += step;
    }
    state[0]
}

/// The bore under which a long bubble never rises in an upright tube.
///
/// # References
/// Bretherton 1961 (abstract): `rho g r^2/sigma < 0.842`.
pub fn bubble_never_rises_below(tension: SurfaceTension, density: Density) -> Length {
    capillary_length(tension, density) * (2.0 * NO_RISE.sqrt())
}
