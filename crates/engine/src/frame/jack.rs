//! What a jack has to push.

use super::frame::{Frame, Loads, NotSettled};
use super::on_seats::{OnSeats, SetShape};
use crate::units::{Force, Length};
use serde::Serialize;

/// What jacks push when they have raised their bearers so far.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct JackPoint {
    /// How far the bearers were raised from where they lay or hung.
    pub rise: Length,
    /// What each jack pushes, in the order they were named.
    pub forces: Vec<Force>,
    /// How many supports carry, jacks included.
    pub carrying: usize,
    /// The frame is in balance on too few supports: stop before this.
    pub rocks: bool,
}

/// The force at one jack, or at several that rise together, as they rise.
///
/// Each bearer is raised from where it lies or hangs today; all other seats stay. The force never
/// falls as a jack rises alone. Neighbours that are not lifted let go of their load one after the
/// other, and lifting alone costs far more than what the support carries today.
///
/// # Units and sign
/// Rises up positive, from smallest to largest; forces positive.
///
/// # Errors
/// [`NotSettled`], which is a fault of this program.
///
/// # References
/// The minimum energy is convex in the height of a seat and the reaction is its derivative, so
/// the force cannot fall; checked on random frames in `tests/frame_properties.rs`.
pub fn jack_curve(
    frame: &Frame,
    seats: &[Length],
    loads: Loads,
    set: Option<SetShape<'_>>,
    jacks: &[usize],
    rises: &[Length],
) -> Result<Vec<JackPoint>, NotSettled> {
    let mut on_seats = OnSeats::new(frame, seats, loads, set)?;
    let from: Vec<Length> = jacks.iter().map(|&jack| on_seats.height(jack)).collect();
    rises
        .iter()
        .map(|&rise| {
            let raised: Vec<(usize, Length)> =
                jacks.iter().zip(&from).map(|(&jack, &from)| (jack, from + rise)).collect();
            on_seats.set_seats(&raised)?;
            Ok(JackPoint {
                rise,
                forces: jacks.iter().map(|&jack| on_seats.reaction(jack)).collect(),
                carrying: on_seats.n_carrying(),
                rocks: on_seats.rocks(),
            })
        })
        .collect()
}
