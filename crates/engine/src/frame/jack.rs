//! What a jack has to push.

use super::faults::FrameFault;
use super::frame::{Frame, Loads, NotSettled};
use super::on_seats::{OnSeats, SetShape};
use super::state::ForceRange;
use crate::ids::{BearerId, SupportId};
use crate::site::Support;
use crate::units::{Force, LENGTH_EPS, Length};
use serde::Serialize;

/// A jack closer to its support than this stands on it.
const ON_SUPPORT: Length = Length::mm(1.0);

/// Where a jack's head waits before it is raised: out of reach of any bearer.
const FAR_BELOW: Length = Length::mm(2e3);

/// What jacks push when they have raised their bearers so far.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct JackPoint {
    /// How far the bearers were raised from where they lay or hung.
    pub rise: Length,
    /// What each jack pushes, in the order they were named.
    pub forces: Vec<Force>,
    /// How far each force may be off either way because heights were read no better; zero unless
    /// [`Self::widened`].
    pub off: Force,
    /// How many supports carry, jacks included.
    pub carrying: usize,
    /// The frame is in balance on too few supports: stop before this.
    pub rocks: bool,
}

impl JackPoint {
    /// The same point with what its forces may be off.
    pub fn widened(self, off: Force) -> Self {
        Self { off, ..self }
    }

    /// The range of the force at one of the jacks, by the order they were named in.
    pub fn range(&self, jack: usize) -> ForceRange {
        let force = self.forces.get(jack).copied().unwrap_or(Force::ZERO);
        ForceRange { least: (force - self.off).max(Force::ZERO), most: force + self.off }
    }
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
/// [`NotSettled`] if the frame tips over.
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
                off: Force::ZERO,
                carrying: on_seats.n_carrying(),
                rocks: on_seats.rocks(),
            })
        })
        .collect()
}

/// Where a jack stands.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct JackPlace {
    /// The support that it is to relieve.
    pub support: SupportId,
    /// How far beside it along the bearer, positive along x or along y; zero on the support.
    pub beside: Length,
}

/// Why the force at a jack cannot be given.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
pub enum JackError {
    /// The support is not there.
    #[error("there is no support {0} under the frame")]
    UnknownSupport(SupportId),
    /// The jack would stand where there is no bearer.
    #[error(
        "a jack {beside} beside support {support} would stand {beyond} beyond the end of bearer {bearer}"
    )]
    BeyondBearer {
        /// The support.
        support: SupportId,
        /// How far beside it.
        beside: Length,
        /// The bearer.
        bearer: BearerId,
        /// How far beyond its end.
        beyond: Length,
    },
    /// The frame with the jack under it is unsound.
    #[error("with a jack there: {0}")]
    Frame(FrameFault),
    /// No answer was found.
    #[error(transparent)]
    NotSettled(#[from] NotSettled),
}

/// The force at a jack that stands beside a support as it raises the bearer, with the air that
/// opens over the support.
///
/// The support itself stays and goes on carrying until the bearer leaves it. A jack beside the
/// support has to raise the bearer further than the wanted gap and pushes less at first; the
/// bearer's share of bending between the two is in it.
///
/// # Units and sign
/// Rises of the bearer at the jack, up positive, from smallest to largest.
///
/// # Errors
/// [`JackError`]. Never panics.
///
/// # References
/// The jack is one more support of the frame, at its own place along the bearer; a closed form of
/// the lever is in `tests/frame_beams.rs`.
pub fn jack_beside_curve(
    frame: &Frame,
    supports: &[Support],
    seats: &[Length],
    loads: Loads,
    set: Option<SetShape<'_>>,
    place: &JackPlace,
    rises: &[Length],
) -> Result<Vec<(JackPoint, Length)>, JackError> {
    let unknown = || JackError::UnknownSupport(place.support.clone());
    let own = frame.supports().iter().position(|id| *id == place.support).ok_or_else(unknown)?;
    if place.beside.abs() < ON_SUPPORT {
        let points = jack_curve(frame, seats, loads, set, &[own], rises)?;
        let from = OnSeats::new(frame, seats, loads, set)?.height(own) - seats[own];
        return Ok(points.into_iter().map(|point| (point.clone(), from + point.rise)).collect());
    }
    let mut spec = frame.spec().clone();
    let (bearer_idx, along) = frame.over_support(own);
    let bearer = spec.bearers.get_mut(bearer_idx).ok_or_else(unknown)?;
    let at = along + place.beside;
    let beyond = (bearer.run.from - at).max(at - bearer.run.to);
    if beyond > LENGTH_EPS {
        return Err(JackError::BeyondBearer {
            support: place.support.clone(),
            beside: place.beside,
            bearer: bearer.id.clone(),
            beyond,
        });
    }
    let jack = SupportId::new(format!("jack beside {}", place.support));
    let order = bearer.supports.iter().position(|id| *id == place.support).unwrap_or(0);
    bearer.supports.insert(order + usize::from(place.beside > Length::ZERO), jack.clone());
    let mut with_jack = supports.to_vec();
    with_jack.push(Support { id: jack, at: bearer.run.place(at), ..supports[own].clone() });
    let jacked = Frame::new(&with_jack, &spec, &[])
        .map_err(|mut faults| JackError::Frame(faults.remove(0)))?;
    // The jack's head begins far below, and the timber has kept there what its neighbour has.
    let mut seats = seats.to_vec();
    seats.push(seats[own] - FAR_BELOW);
    let kept = set.map(|set| {
        let mut heights = set.heights.to_vec();
        heights.push(heights[own]);
        (heights, set.share)
    });
    let set = kept.as_ref().map(|(heights, share)| SetShape { heights, share: *share });
    let jack = with_jack.len() - 1;
    let mut on_seats = OnSeats::new(&jacked, &seats, loads, set)?;
    let from = on_seats.height(jack);
    rises
        .iter()
        .map(|&rise| {
            on_seats.set_seats(&[(jack, from + rise)])?;
            let point = JackPoint {
                rise,
                forces: vec![on_seats.reaction(jack)],
                off: Force::ZERO,
                carrying: on_seats.n_carrying(),
                rocks: on_seats.rocks(),
            };
            Ok((point, on_seats.height(own) - on_seats.seat(own)))
        })
        .collect()
}
