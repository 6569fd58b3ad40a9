//! The cautions that stand wherever somebody is about to lift: on a terminal, on paper, on a phone.

use floorwright_engine::plan::Plan;

/// What is known of the loads where the cautions stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Loads {
    /// Worked out on the frame, as ranges.
    Ranges,
    /// Not worked out.
    Unknown,
}

impl Loads {
    /// What a plan says of them. Where the frame rocks no force is known.
    pub fn of(plan: &Plan) -> Self {
        let state = plan.packing.done().and_then(|packing| packing.carried.as_ref());
        let today = plan.frame.done().map(|frame| &frame.today);
        let rocks = today.into_iter().chain(state).any(|state| state.rocks);
        if today.is_none() || rocks { Self::Unknown } else { Self::Ranges }
    }
}

/// The cautions, the most pressing first.
///
/// # References
/// Rated load, blocking and cribbing: 29 CFR 1926.305; nobody under a load on jacks alone:
/// WAC 296-307-22509 (confirmed). A house held sideways: an Australian prosecution after a house
/// on stacks moved sideways and fell (confirmed). Bottle jacks that bleed down, and the rest, are
/// common practice.
pub fn cautions(loads: Loads) -> [&'static str; 8] {
    let loads = match loads {
        Loads::Ranges => {
            "The forces here are worked out, not measured, from what is given and assumed of \
             timbers, walls and roof. Unknown load is not zero: put every wall, chimney, tank and \
             post into the job, and choose jacks, pads and ground by the most of each range."
        }
        Loads::Unknown => {
            "Loads are not worked out here. Unknown load is not zero: have them worked out before \
             you choose jacks, pads and ground."
        }
    };
    [
        "This is a planning aid. Local codes, consent, heritage and the engineer come first; gas, \
         power, drains, asbestos and structure are for licensed people.",
        "Nobody under a load that is held by jacks alone: crib or block as you go, on firm level \
         ground; have a way out and a watcher. Stay inside the jack's marked rating with a \
         margin, and do not trust hydraulics to hold.",
        loads,
        "Keep the house held sideways, and never lift it clear of its supports.",
        "Free chimney, pipes, wires, stays and pile fixings first; check every joint after every \
         pass. A high spot at a chimney or a brick wall may be what did not sink: take advice \
         before you lift near it.",
        "Small even steps, and read the floor again after each pass. Stop on new cracks, sticking \
         doors, noises, unexpected resistance, or a reading that disagrees.",
        "Photograph and measure cracks first, and tell the owner: some cracking is likely, and \
         level may cost more than it is worth.",
        "Old fibre sheet and packers are asbestos until tested. Replace rotten or leaning \
         supports; do not pack them. Find out why it sank.",
    ]
}

/// When a crew stops, in the words of a sheet that is read by torch.
///
/// `forces_are_written`: the paper has the force of each jack, so that a crew can hold it against that.
pub fn stop_rules(forces_are_written: bool) -> [&'static str; 6] {
    [
        "a new crack, a noise, a door that sticks, a pipe or wire that goes tight",
        if forces_are_written {
            "a jack that takes more than the most written here, or that leans, sinks or bleeds down"
        } else {
            "a jack that takes more than it is rated for, or that leans, sinks or bleeds down"
        },
        "a pad or a stack that sinks, rocks or crushes",
        "the house moves sideways, or a support comes free that is not named here",
        "a point that moved in a pass less or more than it should, by more than the ± beside it",
        "anybody is under a load that only jacks hold",
    ]
}

/// What an engineer, or another licensed person, has to confirm before anybody lifts by a plan.
///
/// # References
/// Common practice; codes of the place come first.
pub const TO_CONFIRM: [&str; 7] = [
    "the loads of walls, roof, chimney and anything heavy, and the way they come down",
    "the ground under every jack, pad and stack",
    "how the house is held sideways while it is lifted, and its bracing and tie-down afterwards",
    "bearers, joists and joints that are notched, rotten, bored or split, and their strength",
    "the limit of distortion for the linings, brickwork and chimney of this house",
    "packing above the height where a taller or a new support is needed",
    "consent or permit, heritage, asbestos, and the disconnection of gas, water, power and drains",
];
