//! The stored form of a job, format 1: what a TOML file holds, before anything is checked.
//!
//! Every field's comment is its description in the JSON Schema ([`schema`]). Forms hold what was
//! typed; [`crate::load`] turns them into engine values or says what is wrong with them.

use crate::limits::plain_number;
use crate::measure::Unit;
use schemars::JsonSchema;
use serde::de::{self, SeqAccess, Visitor, value::SeqAccessDeserializer};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use serde_json::Value;
use std::fmt;
use std::marker::PhantomData;

/// The format that this program reads and writes.
pub const FORMAT: i64 = 1;

/// A number in the unit of its place, or text that may bring its own unit.
#[derive(Clone, Debug, PartialEq, Deserialize, JsonSchema)]
#[serde(
    untagged,
    expecting = "expected a number, or text such as \"1.612 m\" or \"5' 3 7/16\\\"\""
)]
pub enum Quantity {
    /// A number in the unit of its place.
    Number(f64),
    /// Text that may bring its own unit, such as "1.612 m", "5' 3 7/16\"" or "1 in 300".
    Text(String),
}

impl fmt::Display for Quantity {
    /// As it was typed.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Number(number) => f.write_str(&plain_number(*number)),
            Self::Text(text) => write!(f, "\"{text}\""),
        }
    }
}

impl Serialize for Quantity {
    /// Whole numbers are written without decimals.
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Number(number) if number.fract() == 0.0 && number.abs() < 1e15 => {
                serializer.serialize_i64(*number as i64)
            }
            Self::Number(number) => serializer.serialize_f64(*number),
            Self::Text(text) => serializer.serialize_str(text),
        }
    }
}

impl From<f64> for Quantity {
    fn from(number: f64) -> Self {
        Self::Number(number)
    }
}

impl From<&str> for Quantity {
    fn from(text: &str) -> Self {
        Self::Text(text.to_owned())
    }
}

/// A limit: its value alone, or its value with the reason for it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged, expecting = "expected a value, or { value = …, reason = \"…\" }")]
pub enum LimitForm {
    /// The value alone.
    Bare(Quantity),
    /// The value with the reason for it.
    Reasoned(ReasonedForm),
}

/// A value with the reason for it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ReasonedForm {
    /// The value.
    pub value: Quantity,
    /// Why it has that value: a source, an agreement, a decision on site.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

/// Where a point is: a place on the plan, or over a support.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(
    untagged,
    expecting = "expected a place [x, y], or the name of the support that it is over"
)]
pub enum PlaceForm {
    /// A place on the plan: x to the right, y up the page.
    Position([Quantity; 2]),
    /// The name of the support that the point is over.
    OverSupport(String),
}

/// The height that the floor is to be brought to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(
    untagged,
    expecting = "expected a height, \"highest\", \"free\" or { point = \"…\", offset = … }"
)]
pub enum HeightForm {
    /// A height above the datum, or one of the words "highest" and "free".
    Height(Quantity),
    /// The level of a surveyed point, with an offset.
    Point(HeightPointForm),
}

/// The level of a surveyed point, with an offset.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct HeightPointForm {
    /// The point whose level counts.
    pub point: String,
    /// Added to its level, up positive; nothing if left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub offset: Option<Quantity>,
    /// Thickness that is still to be laid on the old floor; nothing if left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub old_build_up: Option<Quantity>,
    /// Thickness that is still to be laid on the new floor, at the point, above the level that was
    /// read there; nothing if left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub new_build_up: Option<Quantity>,
}

/// The section of a timber: breadth (across, level) by depth (upright).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(
    untagged,
    expecting = "expected breadth x depth, such as \"75x100\" or [75, 100]: the breadth is level, the depth upright"
)]
pub enum SectionForm {
    /// Breadth x depth in one text, such as "75x100" or "3 1/2 x 5 1/2".
    Text(String),
    /// Breadth and depth.
    Pair([Quantity; 2]),
}

/// What a timber is made of: a grade on file, or figures of its own.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(
    untagged,
    expecting = "expected the name of a grade such as \"F5\", or { name = \"…\", e = … }"
)]
pub enum TimberForm {
    /// The name of a grade on file.
    Grade(String),
    /// Figures of its own.
    Own(OwnTimberForm),
}

/// How far a bearer runs on beyond its end supports.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged, expecting = "expected a length, or two lengths [left or bottom, right or top]")]
pub enum OverhangForm {
    /// At both ends.
    Both(Quantity),
    /// At its left or bottom end, and at its right or top end.
    Each([Quantity; 2]),
}

/// A share: one ratio, or a ratio from and a ratio to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(untagged, expecting = "expected a ratio from 0 to 1, or two of them [from, to]")]
pub enum ShareForm {
    /// Known.
    One(Quantity),
    /// Between two.
    Range([Quantity; 2]),
}

/// One set of joists, or several.
#[derive(Deserialize, JsonSchema)]
#[serde(untagged)]
enum JoistSetsForm {
    /// One set.
    One(Box<JoistSetForm>),
    /// Several sets.
    Several(Vec<JoistSetForm>),
}

fn one_or_several<'de, D: Deserializer<'de>>(
    deserializer: D,
) -> Result<Vec<JoistSetForm>, D::Error> {
    Ok(match JoistSetsForm::deserialize(deserializer)? {
        JoistSetsForm::One(set) => vec![*set],
        JoistSetsForm::Several(sets) => sets,
    })
}

/// Rows in a CSV file, or written out in the job.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum RowsForm<Row> {
    /// The name of a CSV file that lies beside the job or in a folder below it.
    File(String),
    /// The rows themselves.
    Rows(Vec<Row>),
}

impl<'de, Row: Deserialize<'de>> Deserialize<'de> for RowsForm<Row> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Rows<Row>(PhantomData<Row>);
        impl<'de, Row: Deserialize<'de>> Visitor<'de> for Rows<Row> {
            type Value = RowsForm<Row>;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("the name of a CSV file, or a list of rows")
            }
            fn visit_str<E: de::Error>(self, file: &str) -> Result<Self::Value, E> {
                Ok(RowsForm::File(file.to_owned()))
            }
            fn visit_seq<A: SeqAccess<'de>>(self, rows: A) -> Result<Self::Value, A::Error> {
                Vec::deserialize(SeqAccessDeserializer::new(rows)).map(RowsForm::Rows)
            }
        }
        deserializer.deserialize_any(Rows(PhantomData))
    }
}

/// The words of the region, on screens and on paper, and the criteria that apply by default.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Terms {
    /// Australia: stumps, bearers, joists.
    #[default]
    Au,
    /// New Zealand: piles, bearers, joists.
    Nz,
    /// United States: piers, girders, joists.
    Us,
    /// United Kingdom: piers and sleeper walls, bearers, joists.
    Uk,
}

macro_rules! forms {
    ($(
        $(#[$struct_meta:meta])*
        $name:ident {
            $( $(#[$field_meta:meta])* $field:ident : $type:ty , )*
        }
    )*) => {
        $(
            $(#[$struct_meta])*
            #[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
            #[serde(deny_unknown_fields, default)]
            pub struct $name {
                $( $(#[$field_meta])* #[serde(skip_serializing_if = "is_silent")] pub $field: $type, )*
            }
        )*
    };
}

/// A field that need not be written: nothing in it.
trait Silent {
    fn silent(&self) -> bool;
}

impl<T> Silent for Option<T> {
    fn silent(&self) -> bool {
        self.is_none()
    }
}

impl<T> Silent for Vec<T> {
    fn silent(&self) -> bool {
        self.is_empty()
    }
}

impl Silent for bool {
    fn silent(&self) -> bool {
        !self
    }
}

impl Silent for String {
    fn silent(&self) -> bool {
        false
    }
}

fn is_silent<T: Silent>(field: &T) -> bool {
    field.silent()
}

forms! {
    /// A job: a house whose floor is to be made level.
    Form {
        /// The format of this file; this program reads and writes 1.
        format: Option<i64>,
        /// What the job is called and how it is written.
        job: Option<JobForm>,
        /// Whose paper it is: the head of every document that is made of the job.
        business: Option<BusinessForm>,
        /// Rooms, or parts of the floor, with their outlines.
        room: Vec<RoomForm>,
        /// Places where the staff was held. A reading on the name of a support needs no point: it
        /// is the floor over that support.
        point: Vec<PointForm>,
        /// Supports under the bearers: stumps, piles, piers, posts.
        support: Vec<SupportForm>,
        /// The frame under the floor: what holds for all its timbers, or that it is left out.
        frame: Option<FrameForm>,
        /// Bearers with the supports under them; if none are given they are proposed along the
        /// rows of supports.
        bearer: Vec<BearerForm>,
        /// Joists one by one.
        joist: Vec<JoistForm>,
        /// Joists by direction and spacing: one table, or several.
        #[serde(deserialize_with = "one_or_several")]
        #[schemars(with = "JoistSetsForm")]
        joists: Vec<JoistSetForm>,
        /// Walls that stand on the floor, with what rests on them. A wall that is not listed
        /// weighs nothing, unless none is listed at all.
        wall: Vec<WallForm>,
        /// Loads at one place: a post from the roof, a water tank, a stove.
        load: Vec<LoadForm>,
        /// What the floor carries over its whole area.
        loads: Option<LoadsForm>,
        /// What the levels are counted from, where there is no benchmark.
        datum: Option<DatumForm>,
        /// Marks of known height that do not move with the house.
        benchmark: Vec<BenchmarkForm>,
        /// Your own hose level: every setup read with a hose that describes none is read with it.
        hose: Option<YourHoseForm>,
        /// Doorways that a hose can be laid through; without any the walls between rooms do not
        /// count when stands are planned.
        door: Vec<DoorForm>,
        /// What no hose goes through and no reservoir stands in: a chimney, a built-in bath.
        obstacle: Vec<ObstacleForm>,
        /// Standings of the instrument, or fillings of the hose, with their readings.
        setup: Vec<SetupForm>,
        /// Height differences measured elsewhere.
        leg: Vec<LegForm>,
        /// Level books: backsights, intermediate sights and foresights.
        book: Vec<BookForm>,
        /// Where the floor is to end.
        goal: Option<GoalForm>,
        /// What a pass may do, each value with its reason.
        limits: Option<LimitsForm>,
        /// The packers that can be had.
        stock: Option<StockForm>,
        /// What things cost and how long they take, for the order and its price.
        rates: Option<RatesForm>,
        /// How sure a test of the readings has to be before it speaks.
        tests: Option<TestsForm>,
        /// Which criteria the floor is held against.
        criteria: Option<CriteriaForm>,
        /// Figures of your own that were agreed for this job.
        criterion: Vec<CriterionForm>,
        /// Passes as they were done, in order.
        pass: Vec<PassForm>,
    }

    /// What the job is called and how it is written.
    JobForm {
        /// Name of the job, for the head of every page.
        name: Option<String>,
        /// Who the work is for.
        client: Option<String>,
        /// Where the house stands.
        address: Option<String>,
        /// Date of the survey, as year-month-day.
        date: Option<String>,
        /// Words and criteria of the region: "au", "nz", "us" or "uk"; "au" if left out.
        terms: Option<Terms>,
        /// Unit of a bare number: "mm", "m" or "ft-in" (inches); "mm" if left out.
        units: Option<Unit>,
        /// Unit of a bare reading, where it differs from that of the plan.
        reading_units: Option<Unit>,
        /// The side of the plan that the street is on: "top", "bottom", "left" or "right".
        street: Option<SideForm>,
        /// Where north lies: degrees from up the page, clockwise; in place of the street.
        north: Option<f64>,
        /// Anything to be remembered about the job.
        note: Option<String>,
    }

    /// A room, or any part of the floor with an outline of its own.
    RoomForm {
        /// Its name.
        name: String,
        /// Its corners [x, y] in order; the last is joined to the first. If left out, the line
        /// round the outermost points of the room is taken.
        outline: Vec<[Quantity; 2]>,
        /// What stands on it: "boards", "plaster" or "tiles"; "boards" if left out.
        finish: Option<FinishForm>,
        /// Rooms with the same deck share one continuous floor, a step lies between different
        /// decks; "main" if left out.
        deck: Option<String>,
    }

    /// A place where the staff was held.
    PointForm {
        /// Its name.
        id: String,
        /// Its place [x, y], or the name of the support that it is over; a benchmark or a change
        /// point may have none.
        at: Option<PlaceForm>,
        /// What it is: "floor", "benchmark", "threshold", "soffit", "ground" or "change-point";
        /// left out: "benchmark" where a `[[benchmark]]` names it, else "floor".
        kind: Option<PointKindForm>,
        /// The room it is in, if that does not follow from the outlines.
        room: Option<String>,
        /// Anything to be remembered about it.
        note: Option<String>,
    }

    /// A support under a bearer.
    SupportForm {
        /// Its name.
        id: String,
        /// Its place [x, y] on the plan.
        at: Option<[Quantity; 2]>,
        /// What it is, such as "stump", "pile", "pier", "post" or "wall".
        kind: Option<String>,
        /// Its size as it would be ordered, such as "100x100".
        size: Option<String>,
        /// Its height from ground to top.
        height: Option<Quantity>,
        /// Air between its top and the bearer today; none if left out.
        gap: Option<Quantity>,
        /// The most it may be raised; the job's general limit if left out.
        max_lift: Option<Quantity>,
        /// Why it must stay as it is, if it must.
        fixed: Option<String>,
        /// How far it may be let down; not at all if left out.
        may_lower: Option<Quantity>,
        /// The lift here, set by hand: the rest is worked out around it. Below zero it is let down.
        lift: Option<Quantity>,
        /// Anything to be remembered about it.
        note: Option<String>,
    }

    /// What the levels are counted from, where there is no benchmark; or how benchmarks hang
    /// together.
    DatumForm {
        /// The point that is called zero.
        zero: Option<String>,
        /// No point is special: the mean of the approximate levels is kept.
        free: bool,
        /// The points that carry a free datum with their approximate levels; all floor points at
        /// zero if left out.
        approximate: Vec<ApproximateForm>,
        /// Covariance of the benchmarks in square millimetres, row by row in their order.
        covariance: Vec<Vec<f64>>,
    }

    /// A point with an approximate level.
    ApproximateForm {
        /// The point.
        point: String,
        /// Its approximate level.
        level: Option<Quantity>,
    }

    /// A mark of known height.
    BenchmarkForm {
        /// The point that it is; a name that is not among the points becomes a benchmark point.
        point: String,
        /// Its height above the datum.
        level: Option<Quantity>,
        /// How well that is known (standard deviation); held exactly if left out.
        sd: Option<Quantity>,
    }

    /// One standing of the instrument, or one filling of a hose.
    SetupForm {
        /// Its name.
        id: String,
        /// What was read with: "level", "laser" or "hose".
        instrument: Option<InstrumentForm>,
        /// Standard deviation of one reading; 1.2 mm if left out.
        reading_sd: Option<Quantity>,
        /// Standard deviation at a sight of one kilometre, if it is to grow with the root of the
        /// distance; `reading_sd` is then the least it can be.
        sd_per_sqrt_km: Option<Quantity>,
        /// Length of the staff, the most that can be read; 5 m if left out.
        staff: Option<Quantity>,
        /// Bore and reservoir of the hose, for the fall of the reservoir's own water line.
        hose: Option<HoseForm>,
        /// Whether the water line or line of sight creeps evenly with time; every reading then
        /// needs a time.
        drift: bool,
        /// The pass that it was read after; the survey that the plan is made from if left out.
        after_pass: Option<u32>,
        /// The readings: a CSV file, or rows.
        readings: Option<RowsForm<ReadingForm>>,
        /// Anything to be remembered about it.
        note: Option<String>,
    }

    /// Your own hose level; whatever is left out takes its stated default.
    YourHoseForm {
        /// "pail" for a tube on a wide reservoir, "twin" for two equal tubes; "pail" if left out.
        kind: Option<HoseKindForm>,
        /// Inside diameter of the tube; 10 mm if left out.
        bore: Option<Quantity>,
        /// Length of the hose from end to end; 20 m if left out.
        length: Option<Quantity>,
        /// Inside diameter of a round pail at its water line; 200 mm if left out.
        reservoir: Option<Quantity>,
        /// Inside length and width of a square-cornered reservoir at its water line.
        reservoir_size: Option<[Quantity; 2]>,
        /// Free water area of the reservoir in square millimetres.
        reservoir_area: Option<f64>,
        /// Of twin tubes only one end is read; both at the same moment if left out.
        one_end: bool,
        /// The hose is slid until the water stands at one mark on it, and the mark is measured.
        fixed_mark: bool,
        /// "water", "dyed-water", "propylene-glycol" or "ethylene-glycol"; "water" if left out.
        fluid: Option<FluidForm>,
        /// Share of glycol by mass: a ratio, or text such as "30 %".
        glycol: Option<Quantity>,
        /// How warm the water in the hose is, in degrees Celsius; 20 if left out.
        temperature: Option<f64>,
        /// How warm the legs at the reservoir and at the staff are, if that was measured.
        leg_temperatures: Option<[f64; 2]>,
        /// How deep the legs hang: from the water line down to the floor; 1 m if left out.
        leg: Option<Quantity>,
        /// To what a reading is rounded; 1 mm if left out.
        read_to: Option<Quantity>,
        /// "casual" or "careful"; "casual" if left out.
        care: Option<CareForm>,
        /// The tube is closed while it is carried, and opened fully to read.
        capped: bool,
        /// Where the tube can be read, [from, to] above the foot of the staff; 200 to 1600 mm if
        /// left out.
        reads: Option<[Quantity; 2]>,
        /// How far up or down the end goes from one point to the next, at most; 100 mm if left out.
        largest_move: Option<Quantity>,
        /// How near to its rest the water has to be when it is read; 0.5 mm if left out.
        settle_to: Option<Quantity>,
        /// Field test: at least ten differences of height of two marks, settled anew for each.
        test: Vec<Quantity>,
        /// Field test: as many with the ends swapped.
        test_swapped: Vec<Quantity>,
        /// Anything to be remembered about it.
        note: Option<String>,
    }

    /// A doorway that a hose can be laid through.
    DoorForm {
        /// Its middle [x, y], on the line of a wall.
        at: Option<[Quantity; 2]>,
        /// Its clear width; 800 mm if left out.
        width: Option<Quantity>,
        /// Anything to be remembered about it.
        note: Option<String>,
    }

    /// What no hose goes through and no reservoir stands in.
    ObstacleForm {
        /// What it is.
        name: String,
        /// Its corners [x, y] in order.
        outline: Vec<[Quantity; 2]>,
    }

    /// Bore and reservoir of a hose: both as inside diameters, or both as water areas.
    HoseForm {
        /// Inside diameter of the measuring tube.
        bore: Option<Quantity>,
        /// Inside diameter of the reservoir.
        reservoir: Option<Quantity>,
        /// Water area of the measuring tube in square millimetres.
        bore_area: Option<f64>,
        /// Water area of the reservoir in square millimetres.
        reservoir_area: Option<f64>,
    }

    /// One reading.
    ReadingForm {
        /// Where the staff's foot stood: a point, or a support for the floor over it.
        point: String,
        /// The graduation at the line of sight or the water line.
        reading: Option<Quantity>,
        /// What the standing end showed at the same moment, where a twin hose is read at both ends.
        standing: Option<Quantity>,
        /// When: minutes, or a clock time such as "14:05" or "14:05:30".
        time: Option<Quantity>,
        /// The staff hung upside down, its foot up against a soffit.
        inverted: bool,
        /// Its own standard deviation, in place of the setup's.
        sd: Option<Quantity>,
        /// Length of the sight.
        distance: Option<Quantity>,
        /// Why it is struck out, if it is: it is then not used, and is listed with the results.
        struck: Option<String>,
        /// Anything to be remembered about it.
        note: Option<String>,
    }

    /// A measured difference of height. It says how well it is known in one of three ways:
    /// `sd`; `setups` with `sd_per_setup`; or `length` with `sd_per_sqrt_km`.
    LegForm {
        /// The point where it starts.
        from: String,
        /// The point where it ends.
        to: String,
        /// Height of `to` above `from`.
        rise: Option<Quantity>,
        /// Standard deviation of the rise.
        sd: Option<Quantity>,
        /// How many setups it took.
        setups: Option<u32>,
        /// Standard deviation of the difference from one setup.
        sd_per_setup: Option<Quantity>,
        /// Length of the leg.
        length: Option<Quantity>,
        /// Standard deviation of one kilometre.
        sd_per_sqrt_km: Option<Quantity>,
        /// Anything to be remembered about it.
        note: Option<String>,
    }

    /// A level book.
    BookForm {
        /// Its name.
        id: String,
        /// Known height of the first row's point; its benchmark's if left out.
        start: Option<Quantity>,
        /// Known height of the last row's point.
        known_close: Option<Quantity>,
        /// The rows in the order written: a CSV file, or rows.
        rows: Option<RowsForm<BookRowForm>>,
        /// Anything to be remembered about it.
        note: Option<String>,
    }

    /// One row of a level book.
    BookRowForm {
        /// Where the staff stood.
        point: String,
        /// Backsight: the first reading of a setup.
        bs: Option<Quantity>,
        /// Intermediate sight.
        is: Option<Quantity>,
        /// Foresight: the last reading of a setup.
        fs: Option<Quantity>,
        /// The staff hung upside down.
        inverted: bool,
        /// How far along the line the point is from the first.
        distance: Option<Quantity>,
        /// The rise that was written in the book, to be checked.
        rise: Option<Quantity>,
        /// The fall that was written in the book, to be checked.
        fall: Option<Quantity>,
        /// The reduced level that was written in the book, to be checked.
        level: Option<Quantity>,
        /// Anything to be remembered about it.
        note: Option<String>,
    }

    /// Where the floor is to end.
    GoalForm {
        /// A height above the datum, "highest", "free", or { point = "…", offset = … };
        /// "highest" if left out.
        height: Option<HeightForm>,
        /// What to prefer: "least-squares", "smallest-largest", "least-lift" or
        /// "fewest-supports"; "least-squares" if left out.
        prefer: Option<PreferForm>,
        /// Every floor point has to end within this of the target.
        level_tolerance: Option<Quantity>,
        /// Steepest slope that may be left between neighbours: "1 in 300", or mm per m.
        slope_tolerance: Option<Quantity>,
        /// How much the target may lean: "1 in 300", or mm per m; not at all if left out.
        tilt_allowed: Option<Quantity>,
        /// Whether every support that may be moved has to carry after the lift. If left out it has to
        /// where the job lists the bearers; under a proposed frame it is only reported.
        every_support_carries: Option<bool>,
        /// Only these rooms; all if left out.
        rooms: Vec<String>,
    }

    /// What a pass may do. Each value may bring its reason: { value = 5, reason = "…" }.
    LimitsForm {
        /// The most that any support may be raised in one pass.
        lift_per_pass: Option<LimitForm>,
        /// How many jacks lift at the same time.
        jacks: Option<LimitForm>,
        /// Largest change of slope between neighbouring supports: "1 in 300", or mm per m.
        distortion: Option<LimitForm>,
        /// Supports further apart than this are not neighbours.
        neighbour_distance: Option<LimitForm>,
        /// The most that any support may be raised in all, unless the support says otherwise.
        max_lift: Option<LimitForm>,
        /// Above this height of packing there is a warning.
        packing_warn: Option<LimitForm>,
        /// Above this height of packing a taller support is needed.
        packing_stop: Option<LimitForm>,
        /// What is written on a jack as the most it lifts: kN, or text such as "2 t" or
        /// "4000 lb"; jack loads are held against nothing if left out.
        jack_rating: Option<LimitForm>,
        /// The share of its rating that a jack is used to; 0.5 if left out.
        jack_derating: Option<LimitForm>,
        /// The share of a timber's characteristic strength in bending that it may be stressed to;
        /// 0.5 if left out.
        bending_share: Option<LimitForm>,
        /// What every support has to carry at least after the lift: kN, or text such as "50 kg";
        /// 0 kN if left out.
        carry_least: Option<LimitForm>,
    }

    /// The frame under the floor: what holds for all its timbers, or that it is left out.
    FrameForm {
        /// Why the frame is left out of the calculation, if it is: lifts then go by
        /// interpolation, and nothing is said of loads and stresses.
        off: Option<String>,
        /// Which way bearers run where they are not given: "x" or "y"; the way that makes the
        /// longer rows if left out.
        bearers_run: Option<DirectionForm>,
        /// What bearers are made of that do not say it themselves.
        bearer_timber: Option<TimberForm>,
        /// What joists are made of that do not say it themselves.
        joist_timber: Option<TimberForm>,
        /// Length of bearer that rests on a support or a jack head.
        seat_length: Option<Quantity>,
        /// How far loads may be off either way: 0.25 for a quarter more or less.
        load_doubt: Option<Quantity>,
        /// The share of today's sag that the timber has kept for good, as a ratio or as
        /// [from, to]: 0 springs back when unloaded, 1 stays as it is; [0, 1] if left out, for
        /// nobody can see it.
        set_share: Option<ShareForm>,
        /// The furthest that bearers and joists span where they are not given.
        longest_span: Option<Quantity>,
    }

    /// A bearer. Its line follows from its supports: along x or along y, at their mean.
    BearerForm {
        /// Its name.
        id: String,
        /// The supports under it, at least two. Two bearers that meet may share one.
        supports: Vec<String>,
        /// How far it runs on beyond its end supports: one length for both ends, or
        /// [left or bottom, right or top]; nothing if left out.
        overhang: Option<OverhangForm>,
        /// Supports over which it is jointed, so that it bends freely there.
        joints: Vec<String>,
        /// Breadth x depth, such as "75x100" or [75, 100]: the breadth is level, the depth upright.
        section: Option<SectionForm>,
        /// A grade such as "F5", or { name = "…", e = … }.
        timber: Option<TimberForm>,
        /// Load on it beyond its own weight, all along: kN/m, or text such as "100 lb/ft".
        extra: Option<Quantity>,
        /// Anything to be remembered about it.
        note: Option<String>,
    }

    /// A joist, along x or along y.
    JoistForm {
        /// Its name.
        id: String,
        /// Where it begins [x, y].
        from: Option<[Quantity; 2]>,
        /// Where it ends [x, y].
        to: Option<[Quantity; 2]>,
        /// Breadth x depth, such as "50x100" or [50, 100]: the breadth is level, the depth upright.
        section: Option<SectionForm>,
        /// A grade such as "F5", or { name = "…", e = … }.
        timber: Option<TimberForm>,
        /// Bearers over which it is jointed, so that it bends freely there.
        joints: Vec<String>,
        /// Joists of one floor share its load, each half way to the next; "main" if left out.
        floor: Option<String>,
        /// Anything to be remembered about it.
        note: Option<String>,
    }

    /// Joists by direction and spacing.
    JoistSetForm {
        /// Which way they run: "x" or "y"; across the bearers if left out.
        direction: Option<DirectionForm>,
        /// From the middle of one to the middle of the next.
        spacing: Option<Quantity>,
        /// Where the first one lies: y of joists along x, x of joists along y; the end of the
        /// bearers if left out.
        first: Option<Quantity>,
        /// Only under these rooms; under the whole floor if left out.
        rooms: Vec<String>,
        /// Breadth x depth, such as "50x100" or [50, 100]: the breadth is level, the depth upright.
        section: Option<SectionForm>,
        /// A grade such as "F5", or { name = "…", e = … }.
        timber: Option<TimberForm>,
    }

    /// Figures for a timber that is not on file.
    OwnTimberForm {
        /// What it is called.
        name: String,
        /// Modulus of elasticity along the grain: N/mm2 (MPa), or text such as "6.9 GPa".
        e: Option<Quantity>,
        /// Strength in bending, characteristic: N/mm2 (MPa), or text such as "900 psi".
        bending: Option<Quantity>,
        /// Strength in shear along the grain, characteristic.
        shear: Option<Quantity>,
        /// Strength in bearing across the grain, characteristic; not judged if left out.
        across_grain: Option<Quantity>,
        /// Mass by volume: kg/m3, or text such as "35 lb/ft3"; 590 kg/m3 if left out.
        density: Option<Quantity>,
        /// Where the figures come from.
        source: Option<String>,
    }

    /// A wall that stands on the floor, along x or along y.
    WallForm {
        /// What it is called.
        name: String,
        /// Where it begins [x, y].
        from: Option<[Quantity; 2]>,
        /// Where it ends [x, y].
        to: Option<[Quantity; 2]>,
        /// Its weight with what rests on it: kN/m, or text such as "1.5 kN/m"; in place of
        /// `build_up`.
        load: Option<Quantity>,
        /// What it is made of and carries, from the table of build-ups, such as
        /// ["weatherboard-wall", "sheet-roof"]; in place of `load`.
        build_up: Vec<String>,
        /// Its height; needed for a wall's build-up.
        height: Option<Quantity>,
        /// How wide a strip of roof rests on it, on plan; needed for a roof's build-up.
        roof_width: Option<Quantity>,
        /// Where the figure comes from.
        reason: Option<String>,
    }

    /// A load at one place.
    LoadForm {
        /// What it is called.
        name: String,
        /// Its place [x, y].
        at: Option<[Quantity; 2]>,
        /// Its weight: kN, or text such as "250 kg".
        load: Option<Quantity>,
        /// Where the figure comes from.
        reason: Option<String>,
    }

    /// What the floor carries over its whole area.
    LoadsForm {
        /// Boards, coverings and whatever does not move, without the joists: kPa, or text such as
        /// "10 psf".
        floor: Option<Quantity>,
        /// People and furniture, where they are asked for: kPa, or text such as "40 psf".
        live: Option<Quantity>,
        /// Where the figures come from.
        reason: Option<String>,
        /// Why no wall stands on the floor, if none does; the walls round and between the rooms
        /// are taken if this is left out and no wall is listed.
        no_walls: Option<String>,
    }

    /// Whose paper it is.
    BusinessForm {
        /// Name of the firm.
        name: Option<String>,
        /// Address, telephone, mail: one line each.
        contact: Vec<String>,
        /// Number of registration or licence.
        registration: Option<String>,
        /// File of the logo (PNG, JPEG or SVG), beside this one or in a folder below.
        logo: Option<String>,
        /// The firm's terms, a paragraph each.
        terms: Vec<String>,
    }

    /// The packers that can be had.
    StockForm {
        /// The thicknesses; if left out 1.5, 3, 5, 10 and 20 mm, and in a job in feet and inches
        /// 1/16, 1/8, 1/4, 1/2 and 3/4 in.
        packers: Vec<PackerForm>,
        /// Most pieces in one stack.
        max_pieces: Option<LimitForm>,
        /// How far a stack may miss the wanted thickness.
        tolerance: Option<LimitForm>,
    }

    /// One thickness of packer.
    PackerForm {
        /// How thick it is.
        thickness: Option<Quantity>,
        /// Pieces in a pack; sold singly if left out.
        pack: Option<u32>,
        /// Price of a pack, with cents as decimals.
        price: Option<f64>,
    }

    /// What things cost and how long they take. Each figure may bring its reason:
    /// { value = 85, reason = "…" }. Money has two decimals, before tax. What is left out has no
    /// price: the order then says which rates are missing, and gives no total.
    RatesForm {
        /// The currency by its three letters, such as "AUD".
        currency: Option<String>,
        /// An hour of one person.
        hourly: Option<LimitForm>,
        /// How many people the crew is.
        people: Option<LimitForm>,
        /// How many hours the crew works in a day.
        hours_per_day: Option<LimitForm>,
        /// Days of rest after each pass but the last, on which the jacks stay on hire; 0 if left
        /// out.
        rest_days: Option<LimitForm>,
        /// Hire of one jack for one day.
        jack_day: Option<LimitForm>,
        /// A taller or a new support in place of one that would stand on too much packing, put in.
        taller_support: Option<LimitForm>,
        /// How many minutes of the whole crew each kind of work takes once.
        minutes: Option<MinutesForm>,
        /// What fastens and protects the packers; straps on both sides and a sheet of damp-proof
        /// course at each packed support if left out.
        fixing: Vec<FixingForm>,
        /// Lines of your own: what else the job takes.
        extra: Vec<ExtraForm>,
        /// Margin, as a share of the subtotal: a ratio such as 0.15, or "15 %". 0 for none.
        margin: Option<LimitForm>,
        /// Tax, as a share of subtotal and margin: a ratio such as 0.1, or "10 %". 0 for none.
        tax: Option<LimitForm>,
    }

    /// How many minutes of the whole crew, by the clock, each kind of work takes once.
    MinutesForm {
        /// To get ready under the house, once: cribs, jacks and lights in, services freed.
        set_up: Option<LimitForm>,
        /// To stand the instrument or fill the hose.
        setup: Option<LimitForm>,
        /// To take one reading.
        reading: Option<LimitForm>,
        /// Each pass besides its moves: look at cracks, doors and pipes, follow up with the cribs.
        pass: Option<LimitForm>,
        /// Each move: bring the jacks there and lift.
        #[serde(rename = "move")]
        one_move: Option<LimitForm>,
        /// To change the stack at one support.
        packing: Option<LimitForm>,
        /// To fix the stack that stays at one support.
        fixing: Option<LimitForm>,
    }

    /// Something that fastens or protects packers, counted by the packed support.
    FixingForm {
        /// What it is, as it is ordered.
        name: String,
        /// Pieces at each packed support.
        per_support: Option<LimitForm>,
        /// Pieces in a pack; sold singly if left out.
        pack: Option<u32>,
        /// Price of a pack, with cents as decimals.
        price: Option<f64>,
    }

    /// A line of your own in the order.
    ExtraForm {
        /// What it is.
        what: String,
        /// How many; one if left out.
        quantity: Option<u32>,
        /// Price of one, with cents as decimals.
        price: Option<f64>,
        /// Why it is needed.
        why: Option<String>,
    }

    /// A pass as it was done.
    PassForm {
        /// Its number: 1 for the first, and so on without a gap.
        number: Option<u32>,
        /// The day, as year-month-day.
        date: Option<String>,
        /// Who did it.
        by: Option<String>,
        /// What was lifted and packed, support by support.
        lifted: Vec<LiftedForm>,
        /// What was noticed.
        remarks: Option<String>,
        /// Cracks as they were seen or measured.
        cracks: Vec<String>,
        /// Names of photographs that lie beside the job.
        photos: Vec<String>,
    }

    /// What was done at one support in a pass.
    LiftedForm {
        /// The support.
        support: String,
        /// How far the bearer went up there in this pass, as measured at the support; negative if
        /// it was let down.
        lift: Option<Quantity>,
        /// The pieces of the whole stack that stands there afterwards; not noted if left out.
        packers: Option<Vec<Quantity>>,
    }

    /// How sure a test of the readings has to be before it speaks.
    TestsForm {
        /// Error probability of the test of one reading, two-sided; 0.001 if left out.
        alpha: Option<f64>,
        /// Power that the smallest detectable error is stated for; 0.80 if left out.
        power: Option<f64>,
        /// Error probability of the test of all readings together; 0.05 if left out.
        global_alpha: Option<f64>,
        /// Whether the stated standard deviations are trusted ("stated") or estimated from the
        /// readings ("estimated"); "stated" if left out.
        trust: Option<TrustForm>,
    }

    /// Which criteria the floor is held against.
    CriteriaForm {
        /// The region whose criteria apply; that of the job's terms if left out.
        region: Option<Terms>,
        /// Criteria to add, by their ids.
        on: Vec<String>,
        /// Criteria to leave out, by their ids.
        off: Vec<String>,
    }

    /// A figure of your own that was agreed for this job.
    CriterionForm {
        /// Its name.
        id: String,
        /// What it says, in words for the report.
        title: Option<String>,
        /// What is held against it: "range", "slope" or "straightedge".
        measure: Option<MeasureForm>,
        /// The most it may be: a length, or for a slope "1 in 300" or mm per m.
        limit: Option<Quantity>,
        /// The distance it is taken over, for a slope or a straightedge.
        over: Option<Quantity>,
        /// Where the figure comes from: the contract, the client, a date.
        reason: Option<String>,
    }
}

macro_rules! words {
    ($( $(#[$meta:meta])* $name:ident { $( $(#[$variant_meta:meta])* $variant:ident, )* } )*) => {
        $(
            $(#[$meta])*
            #[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
            #[serde(rename_all = "kebab-case")]
            pub enum $name {
                $( $(#[$variant_meta])* $variant, )*
            }
        )*
    };
}

words! {
    /// What stands on a floor.
    FinishForm {
        /// Timber boards or sheets.
        Boards,
        /// Plaster or plasterboard linings.
        Plaster,
        /// Tiles on floor or walls.
        Tiles,
    }
    /// A side of the plan as it is drawn.
    SideForm {
        /// Towards larger y.
        Top,
        /// Towards smaller y.
        Bottom,
        /// Towards smaller x.
        Left,
        /// Towards larger x.
        Right,
    }
    /// What a point is.
    PointKindForm {
        /// On the floor.
        Floor,
        /// On a mark that does not move with the house.
        Benchmark,
        /// On a threshold, or on new floor that the old one has to meet.
        Threshold,
        /// Under a bearer or joist, staff upside down.
        Soffit,
        /// On the ground.
        Ground,
        /// Where the instrument was carried on from.
        ChangePoint,
    }
    /// Which way a timber runs on the plan.
    DirectionForm {
        /// Along x, to the right.
        X,
        /// Along y, up the page.
        Y,
    }
    /// What was read with.
    InstrumentForm {
        /// An optical level on its tripod.
        Level,
        /// A laser with a receiver on the staff.
        Laser,
        /// A water hose.
        Hose,
    }
    /// What stands at the other end of a hose.
    HoseKindForm {
        /// A wide reservoir.
        Pail,
        /// A second tube of the same bore.
        Twin,
    }
    /// What a hose is filled with.
    FluidForm {
        /// Plain water.
        Water,
        /// Water with a little dye in all of it.
        DyedWater,
        /// Water with propylene glycol.
        PropyleneGlycol,
        /// Water with ethylene glycol, a sweet poison.
        EthyleneGlycol,
    }
    /// How a hose is read.
    CareForm {
        /// In passing.
        Casual,
        /// By all the rules.
        Careful,
    }
    /// What to prefer among lifts that meet every requirement.
    PreferForm {
        /// Smallest sum of squared departures from the target.
        LeastSquares,
        /// Smallest departure at the worst point.
        SmallestLargest,
        /// Least total lift.
        LeastLift,
        /// Fewest supports touched.
        FewestSupports,
    }
    /// Where the standard deviation of a test comes from.
    TrustForm {
        /// From the job.
        Stated,
        /// From the residuals of the readings.
        Estimated,
    }
    /// What an agreed figure is held against.
    MeasureForm {
        /// Highest less lowest point.
        Range,
        /// Slope between points.
        Slope,
        /// Gap under a straightedge.
        Straightedge,
    }
}

/// What has to be written in each form; the checks say so in the builder's words.
const NEEDED: &[(&str, &[&str])] = &[
    ("RoomForm", &["name"]),
    ("PointForm", &["id"]),
    ("SupportForm", &["id", "at"]),
    ("BearerForm", &["id", "supports"]),
    ("JoistForm", &["id", "from", "to"]),
    ("JoistSetForm", &["spacing"]),
    ("OwnTimberForm", &["name", "e"]),
    ("WallForm", &["name", "from", "to"]),
    ("LoadForm", &["name", "at", "load"]),
    ("ApproximateForm", &["point"]),
    ("BenchmarkForm", &["point", "level"]),
    ("SetupForm", &["id"]),
    ("ReadingForm", &["point", "reading"]),
    ("LegForm", &["from", "to", "rise"]),
    ("BookForm", &["id", "rows"]),
    ("BookRowForm", &["point"]),
    ("PackerForm", &["thickness"]),
    ("FixingForm", &["name", "per_support"]),
    ("ExtraForm", &["what", "why"]),
    ("CriterionForm", &["id", "measure", "limit"]),
    ("PassForm", &["number"]),
    ("LiftedForm", &["support", "lift"]),
];

/// The JSON Schema of the job document, made from the forms.
pub fn schema() -> Value {
    let mut schema = schemars::schema_for!(Form).to_value();
    schema["title"] = "Floorwright job, format 1".into();
    schema["required"] = ["format"].as_slice().into();
    schema["properties"]["format"]["const"] = FORMAT.into();
    for (form, needed) in NEEDED {
        schema["$defs"][form]["required"] = (*needed).into();
    }
    schema
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_field_is_in_the_schema_with_a_description() {
        let schema = schema();
        let mut n_fields = 0;
        let mut look = |name: &str, form: &Value| {
            let Some(properties) = form["properties"].as_object() else { return };
            assert_eq!(form["additionalProperties"], Value::Bool(false), "{name}");
            for needed in form["required"].as_array().into_iter().flatten() {
                assert!(properties.contains_key(needed.as_str().unwrap()), "{name}: {needed}");
            }
            for (field, description) in properties {
                let text = description["description"].as_str().unwrap_or_default();
                assert!(text.len() > 5, "{name}.{field} has no description");
                n_fields += 1;
            }
        };
        look("job", &schema);
        for (name, form) in schema["$defs"].as_object().unwrap() {
            look(name, form);
        }
        for (name, _) in NEEDED {
            assert!(schema["$defs"][name]["properties"].is_object(), "{name}");
        }
        assert!(n_fields > 100, "{n_fields}");
    }

    #[test]
    fn whole_numbers_are_written_without_decimals() {
        let text = |number: f64| serde_json::to_string(&Quantity::Number(number)).unwrap();
        assert_eq!(text(1200.0), "1200");
        assert_eq!(text(1.5), "1.5");
    }
}
