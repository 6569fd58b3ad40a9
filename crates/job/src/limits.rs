//! What a number in a job may be: one range for each, with the reason for it.
//!
//! These bounds catch slips (a unit mixed up, a digit too many); they are not engineering limits.
//! Each is our own rule: wide enough for any house or school, narrow enough for a slip to show.

use floorwright_engine::units::{Length, round_to};

/// The range of one kind of number, ends included.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    /// What the number is called in messages.
    pub name: &'static str,
    /// The least it may be.
    pub low: f64,
    /// The most it may be.
    pub high: f64,
    /// What it is counted in: `mm`, or empty for a plain number.
    pub unit: &'static str,
    /// Why these ends; given as the hint.
    pub why: &'static str,
}

macro_rules! ranges {
    ($($(#[$doc:meta])* $id:ident: $name:literal, $low:literal to $high:literal $unit:literal, $why:literal;)*) => {
        $($(#[$doc])* pub const $id: Range =
            Range { name: $name, low: $low, high: $high, unit: $unit, why: $why };)*
        /// All of them, for documentation.
        pub const ALL: &[Range] = &[$($id),*];
    };
}

ranges! {
    /// A coordinate on the plan.
    POSITION: "position", -1_000_000.0 to 1_000_000.0 "mm", "plans are drawn within a kilometre; check the unit";
    /// A direction on the plan.
    NORTH: "north", 0.0 to 360.0 "degrees", "give the degrees clockwise from up the page: 0 is up, 90 is to the right";
    /// A known or wanted height.
    LEVEL: "level", -9_000_000.0 to 9_000_000.0 "mm", "heights on land lie within 9 km of the sea; check the unit";
    /// The length of a staff.
    STAFF: "staff", 300.0 to 8000.0 "mm", "staffs are made from 300 mm to 8 m long; check the unit";
    /// A standard deviation.
    SD: "standard deviation", 0.0 to 1000.0 "mm", "give a standard deviation that is zero or more; a metre is no measurement";
    /// A standard deviation of a reading, which must not be nothing.
    READING_SD: "reading_sd", 0.001 to 100.0 "mm", "nothing is read without error: 0.5 mm for a careful reading, 1.2 mm for a casual one";
    /// A standard deviation for each root kilometre.
    SD_PER_KM: "sd_per_sqrt_km", 0.001 to 1000.0 "mm", "give the spread of one kilometre of levelling in mm";
    /// A length of sight or of a leg.
    DISTANCE: "distance", 0.0 to 1_000_000_000.0 "mm", "a distance is zero or more; check the unit";
    /// A gap between support and bearer.
    GAP: "gap", 0.0 to 300.0 "mm", "a gap is the air between support and bearer, zero or more; above 300 mm the support is missing";
    /// A cap on a lift.
    MAX_LIFT: "max_lift", 0.0 to 1000.0 "mm", "a lift is zero or more; above a metre this is another trade";
    /// A lowering.
    MAY_LOWER: "may_lower", 0.0 to 1000.0 "mm", "how far the support may be let down, zero or more";
    /// A lift that is set by hand.
    LIFT: "lift", -1000.0 to 1000.0 "mm", "a lift is within a metre up or down; above that this is another trade";
    /// The height of a support.
    HEIGHT: "height", 0.0 to 10_000.0 "mm", "a support is at most 10 m high; check the unit";
    /// The rise of a leg.
    RISE: "rise", -1_000_000.0 to 1_000_000.0 "mm", "a leg rises or falls within a kilometre; check the unit";
    /// A bore or reservoir diameter.
    HOSE_DIAMETER: "diameter", 1.0 to 2000.0 "mm", "inside diameter of hose or reservoir; check the unit";
    /// A water area.
    HOSE_AREA: "area", 0.5 to 4_000_000.0 "mm2", "water area of hose or reservoir in square millimetres";
    /// The bore of a hose level.
    HOSE_BORE: "bore", 4.0 to 15.0 "mm", "hose levels have a bore of 6 to 15 mm, and nothing was checked beyond 4 to 15 mm; check the unit";
    /// The length of a hose.
    HOSE_LENGTH: "length", 3000.0 to 100_000.0 "mm", "write length = \"20 m\"; a hose beyond 100 m settles too slowly and keeps its air: use two stands";
    /// A leg of a hose.
    HOSE_LEG: "leg", 50.0 to 4000.0 "mm", "from the water line down to the floor; check the unit";
    /// What a reading is rounded to, or how near to rest the water is.
    HOSE_STEP: "step", 0.05 to 20.0 "mm", "0.5 mm or 1 mm; check the unit";
    /// A move of the end of a hose.
    HOSE_MOVE: "largest_move", 1.0 to 4000.0 "mm", "how far up or down from one point to the next; check the unit";
    /// Where a tube is read.
    STAFF_PLACE: "reads", 0.0 to 8000.0 "mm", "from and to, above the foot of the staff; check the unit";
    /// A temperature of water.
    HOSE_TEMPERATURE: "temperature", -40.0 to 60.0 "C", "degrees Celsius";
    /// A share of glycol.
    GLYCOL: "glycol", 0.0 to 0.5 "", "the share by mass, a ratio or such as \"30 %\"; above half nothing is known of it";
    /// A difference of height of a field test.
    TEST_DIFFERENCE: "difference", -5000.0 to 5000.0 "mm", "the difference of height of the two marks; check the unit";
    /// The width of a doorway.
    DOOR_WIDTH: "width", 100.0 to 20_000.0 "mm", "a hose needs 100 mm; check the unit";
    /// Minutes since the clock was started.
    TIME: "time", 0.0 to 10_080.0 "min", "minutes of one week; or write a clock time such as \"14:05\"";
    /// A tolerance on level.
    LEVEL_TOLERANCE: "level_tolerance", 0.0 to 1000.0 "mm", "a tolerance is zero or more";
    /// A slope.
    SLOPE: "slope", 0.0 to 0.2 "", "a slope such as \"1 in 300\", or in mm per m; steeper than 1 in 5 is a roof";
    /// An offset from a point.
    OFFSET: "offset", -10_000.0 to 10_000.0 "mm", "an offset is within 10 m of its point; check the unit";
    /// A lift in one pass.
    LIFT_PER_PASS: "lift_per_pass", 0.1 to 100.0 "mm", "a little at a time: a few millimetres a pass (common practice)";
    /// A number of jacks.
    JACKS: "jacks", 1.0 to 1000.0 "", "nothing is lifted without a jack";
    /// The largest change of slope.
    DISTORTION: "distortion", 0.0001 to 0.1 "", "a ratio such as \"1 in 300\"";
    /// How far neighbours stand apart.
    NEIGHBOUR_DISTANCE: "neighbour_distance", 100.0 to 100_000.0 "mm", "the longest span between supports that stand next to one another";
    /// A height of packing.
    PACKING: "packing", 0.0 to 1000.0 "mm", "a height of packing is zero or more";
    /// The thickness of a packer.
    THICKNESS: "thickness", 0.1 to 300.0 "mm", "a packer has a thickness; above 300 mm it is a support";
    /// Pieces in a pack.
    PACK: "pack", 1.0 to 100_000.0 "", "a pack has at least one piece";
    /// A price.
    PRICE: "price", 0.0 to 1_000_000.0 "", "a price is zero or more, in whole cents";
    /// A rate: a price of an hour, a day or a thing.
    RATE: "rate", 0.0 to 1_000_000.0 "", "a rate is zero or more, in whole cents";
    /// People in a crew.
    PEOPLE: "people", 1.0 to 100.0 "", "a crew has at least one, and nobody jacks alone (common practice)";
    /// Hours of work in a day.
    HOURS_PER_DAY: "hours_per_day", 0.5 to 24.0 "h", "a day has 24 hours";
    /// Days between passes.
    REST_DAYS: "rest_days", 0.0 to 365.0 "days", "whole days, zero or more";
    /// Minutes for a piece of work.
    MINUTES: "minutes", 0.0 to 10_080.0 "min", "minutes of the whole crew, zero or more, a week at most";
    /// A margin or a tax.
    PART: "share", 0.0 to 1.0 "", "a ratio from 0 to 1, such as 0.15, or \"15 %\"";
    /// Pieces of a fixing at a support.
    PER_SUPPORT: "per_support", 0.0 to 1000.0 "", "whole pieces at each packed support, zero or more";
    /// How many of an extra.
    QUANTITY: "quantity", 1.0 to 1_000_000.0 "", "at least one; take the line out if there is none";
    /// A lift that was done.
    LIFT_DONE: "lift", -1000.0 to 1000.0 "mm", "how far the bearer went up in this pass; above a metre this is another trade";
    /// Pieces in a stack.
    MAX_PIECES: "max_pieces", 1.0 to 20.0 "", "a stack has at least one piece; above 20 it is a tower";
    /// How far a stack may miss.
    STACK_TOLERANCE: "tolerance", 0.0 to 50.0 "mm", "a tolerance is zero or more";
    /// An error probability.
    ALPHA: "alpha", 0.000001 to 0.5 "", "an error probability such as 0.001 or 0.05";
    /// A power.
    POWER: "power", 0.5 to 0.9999 "", "a power such as 0.80";
    /// A covariance.
    COVARIANCE: "covariance", -1_000_000.0 to 1_000_000.0 "mm2", "covariances are in square millimetres";
    /// A thickness that is still to be laid.
    BUILD_UP: "build-up", 0.0 to 1000.0 "mm", "a thickness that is still to be laid, zero or more; above a metre check the unit";
    /// A side of a timber's section.
    SECTION: "section", 10.0 to 1200.0 "mm", "breadth x depth of the timber as it lies; check the unit";
    /// A modulus of elasticity.
    STIFFNESS: "e", 1000.0 to 40_000.0 "N/mm2", "timber has 4,000 to 25,000 N/mm2 (MPa) along the grain; check the unit";
    /// A strength in bending.
    BENDING: "bending", 1.0 to 200.0 "N/mm2", "timber has 5 to 90 N/mm2 (MPa) in bending; check the unit";
    /// A strength in shear.
    SHEAR: "shear", 0.2 to 30.0 "N/mm2", "timber has 1 to 7 N/mm2 (MPa) in shear; check the unit";
    /// A strength across the grain.
    ACROSS_GRAIN: "across_grain", 0.5 to 60.0 "N/mm2", "timber has 2 to 30 N/mm2 (MPa) across the grain; check the unit";
    /// A density of timber.
    DENSITY: "density", 200.0 to 1500.0 "kg/m3", "timber has 300 to 1,250 kg/m3; check the unit";
    /// A cantilever.
    OVERHANG: "overhang", 0.0 to 3000.0 "mm", "how far the timber runs on beyond its end support, zero or more; above 3 m a support is missing";
    /// A length of bearing.
    SEAT_LENGTH: "seat_length", 10.0 to 1000.0 "mm", "length of bearer that rests on a support; check the unit";
    /// How far loads may be off.
    LOAD_DOUBT: "load_doubt", 0.0 to 0.9 "", "a ratio: 0.25 for a quarter more or less";
    /// A share of the sag.
    SET_SHARE: "set_share", 0.0 to 1.0 "", "a ratio: 0 for timber that springs back, 1 for timber that stays as it is";
    /// A span.
    SPAN: "longest_span", 300.0 to 12_000.0 "mm", "timbers of a house span 1 to 6 m; check the unit";
    /// A spacing of joists.
    SPACING: "spacing", 100.0 to 3000.0 "mm", "joists lie 300 to 600 mm apart; check the unit";
    /// A load along a line.
    LINE_LOAD: "load", 0.0 to 200.0 "kN/m", "a load is zero or more; a brick wall of two storeys weighs 30 kN/m; check the unit";
    /// The height of a wall.
    WALL_HEIGHT: "height", 100.0 to 15_000.0 "mm", "height of the wall; check the unit";
    /// A width of roof.
    ROOF_WIDTH: "roof_width", 0.0 to 30_000.0 "mm", "the strip of roof, on plan, that rests on the wall; check the unit";
    /// A load at one place.
    POINT_LOAD: "load", 0.0 to 1000.0 "kN", "a load is zero or more; a chimney weighs up to 70 kN; check the unit";
    /// A load over an area.
    FLOOR_LOAD: "load", 0.0 to 20.0 "kPa", "a load is zero or more; floors of houses carry 0.3 to 3 kPa; check the unit";
    /// The rating of a jack.
    JACK_RATING: "jack_rating", 5.0 to 2000.0 "kN", "a jack that lifts a house is marked with 1 t (10 kN) or more: write kN, or for example \"2 t\"";
    /// A share of a rating or a strength.
    SHARE: "share", 0.05 to 1.0 "", "a ratio above nothing, and at most the whole: 0.5 for half";
    /// What a support has to carry.
    CARRY_LEAST: "carry_least", 0.0 to 100.0 "kN", "zero or more; more than most supports carry cannot be asked of all";
    /// An agreed figure.
    CRITERION: "limit", 0.0 to 10_000.0 "mm", "an agreed figure is zero or more; check the unit";
}

/// How far outside an outline a point may lie before it is taken for a slip: our own rule, a wall
/// thickness and a hand.
pub const OUTSIDE_OUTLINE: Length = Length::mm(300.0);

/// The length of a staff when the setup does not say: our own rule, the common telescopic staff.
pub const STAFF_LENGTH: Length = Length::mm(5000.0);

impl Range {
    /// Whether a number is in range, its ends included however a computer rounds them; one that is not
    /// finite never is.
    pub fn holds(&self, number: f64) -> bool {
        let hair = |end: f64| end.abs() * 1e-12;
        number.is_finite()
            && number >= self.low - hair(self.low)
            && number <= self.high + hair(self.high)
    }

    /// The range in words.
    pub fn words(&self) -> String {
        format!("{} to {}", self.show(self.low), self.show(self.high))
    }

    /// A number of this kind in words.
    pub fn show(&self, number: f64) -> String {
        let digits = plain_number(number);
        if self.unit.is_empty() { digits } else { format!("{digits} {}", self.unit) }
    }
}

/// A number with no more decimals than it needs, six at most.
pub(crate) fn plain_number(number: f64) -> String {
    if !number.is_finite() || number.abs() > 1e15 {
        return number.to_string();
    }
    if number != 0.0 && number.abs() < 1e-6 {
        return format!("{number:e}");
    }
    let text = format!("{:.6}", round_to(number, 1e-6));
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_range_holds_its_ends_and_nothing_that_is_not_a_number() {
        for range in ALL {
            assert!(range.low < range.high, "{}", range.name);
            assert!(range.holds(range.low) && range.holds(range.high), "{}", range.name);
            assert!(!range.holds(f64::NAN) && !range.holds(f64::INFINITY), "{}", range.name);
            assert!(!range.why.is_empty());
        }
        assert_eq!(GAP.words(), "0 mm to 300 mm");
    }
}
