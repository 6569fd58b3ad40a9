//! The builder's own hose, doorways and obstacles.

use super::{Checker, Spot, called};
use crate::form_v1::{
    CareForm, FluidForm, HoseKindForm, InstrumentForm, Quantity, SetupForm, Terms, YourHoseForm,
};
use crate::hose::{HoseInput, SetupWorth};
use crate::input::Obstacle;
use crate::limits::{self, Range};
use crate::measure::Unit;
use crate::quantities::RATIO;
use crate::words::Words;
use floorwright_engine::hose::{
    Care, DOOR_BESIDE_WALL, Door, Fluid, Glycol, Hose, HoseTest, Reservoir, hose_test, repeats_in,
};
use floorwright_engine::ids::SetupId;
use floorwright_engine::site::Site;
use floorwright_engine::survey::{ReadingSd, Setup};
use floorwright_engine::units::{Area, Length, Temperature};

/// A doorway whose width is not given: common practice, the least clear width of most inside doors.
const DOOR_WIDTH: Length = Length::mm(800.0);

/// The pail where none is described, which is that of [`Hose::default`].
const PAIL: Length = Length::mm(200.0);

/// More doorways or obstacles than this are a slip.
const MOST_DOORS: usize = 500;

impl Checker<'_> {
    /// Whether a setup is read with the hose of `[hose]`.
    pub(super) fn is_your_hose(&self, form: &SetupForm) -> bool {
        self.hose.given && form.hose.is_none() && form.instrument == Some(InstrumentForm::Hose)
    }

    /// Whether a setup is read with a twin hose at both ends at once.
    pub(super) fn is_twin_setup(&self, form: &SetupForm) -> bool {
        self.is_your_hose(form) && self.hose.hose.reservoir == Reservoir::TwinBothEnds
    }

    /// What the readings of a setup are worth, where the job does not state it.
    pub(super) fn worth_of(&mut self, form: &SetupForm, setup: &mut Setup) {
        if !self.is_your_hose(form) {
            return;
        }
        let worth = match form.reading_sd {
            Some(_) => None,
            None => self.hose.worth_with(repeats_in(setup)).ok(),
        };
        if let Some(worth) = worth {
            setup.reading_sd = match setup.reading_sd {
                ReadingSd::Each(_) => ReadingSd::Each(worth.sd),
                ReadingSd::ByDistance { per_sqrt_km, .. } => {
                    ReadingSd::ByDistance { per_sqrt_km, at_least: worth.sd }
                }
            };
        }
        let id = SetupId::new(form.id.as_str());
        let stated = form.reading_sd.as_ref().map(|_| match setup.reading_sd {
            ReadingSd::Each(sd) => sd,
            ReadingSd::ByDistance { at_least, .. } => at_least,
        });
        self.hose.worth.push(SetupWorth { setup: id, scale: setup.scale, worth, stated });
    }

    pub(super) fn your_hose(&mut self) {
        let silent = YourHoseForm::default();
        let given = self.form.hose.is_some();
        let form = self.form.hose.as_ref().unwrap_or(&silent);
        let spot = self.spot("hose", "[hose]");
        let n_faults = self.faults.len();
        let mut assumed = Vec::new();
        let hose = self.hose_of(&spot, form, &mut assumed);
        let test = self.field_test(&spot, form, &hose);
        if self.faults.len() == n_faults
            && let Err(faults) = hose.clone().checked()
        {
            for fault in faults {
                let found = if fault.leaves_levels() {
                    let what = format!(
                        "{fault}: readings are taken to be worth what they are at the nearest that is \
                         known, and no wait is given"
                    );
                    self.warning(&spot, fault.key(), what)
                } else {
                    self.error(&spot, fault.key(), fault.to_string())
                };
                self.faults.push(found.hint(fault.hint()));
            }
        }
        self.hose = HoseInput { given, hose, assumed, test, worth: Vec::new() };
    }

    fn hose_of(&mut self, spot: &Spot, form: &YourHoseForm, assumed: &mut Vec<String>) -> Hose {
        let default = Hose::default();
        let units = self.units;
        let mut length = |key: &str, given: Option<&Quantity>, range: &Range, default: Length| {
            if given.is_none() {
                assumed.push(format!("{}: {}", key.replace('_', " "), in_words(default, units)));
            }
            self.length(spot, key, given, range).unwrap_or(default)
        };
        let bore = length("bore", form.bore.as_ref(), &limits::HOSE_BORE, default.bore);
        let whole = length("length", form.length.as_ref(), &limits::HOSE_LENGTH, default.length);
        let leg = length("leg", form.leg.as_ref(), &limits::HOSE_LEG, default.leg);
        let step = &limits::HOSE_STEP;
        let read_to = length("read_to", form.read_to.as_ref(), step, default.read_to);
        let settle_to = length("settle_to", form.settle_to.as_ref(), step, default.settle_to);
        let moved = &limits::HOSE_MOVE;
        let largest_move =
            length("largest_move", form.largest_move.as_ref(), moved, default.largest_move);
        let reads = match &form.reads {
            None => {
                let (from, to) = default.reads;
                assumed.push(format!(
                    "the tube is read from {} to {}",
                    in_words(from, units),
                    in_words(to, units)
                ));
                default.reads
            }
            Some([from, to]) => (
                self.length(spot, "reads", Some(from), &limits::STAFF_PLACE)
                    .unwrap_or(default.reads.0),
                self.length(spot, "reads", Some(to), &limits::STAFF_PLACE)
                    .unwrap_or(default.reads.1),
            ),
        };
        let temperature = match form.temperature {
            Some(celsius) => self.temperature(spot, "temperature", celsius),
            None => {
                assumed.push("temperature: 20 C".to_owned());
                default.temperature
            }
        };
        let leg_temperatures = form.leg_temperatures.map(|[one, other]| {
            let key = "leg_temperatures";
            (self.temperature(spot, key, one), self.temperature(spot, key, other))
        });
        let care = match form.care {
            Some(CareForm::Careful) => Care::Careful,
            Some(CareForm::Casual) => Care::Casual,
            None => {
                assumed.push("read casually (care = \"careful\" says otherwise)".to_owned());
                Care::Casual
            }
        };
        Hose {
            reservoir: self.reservoir(spot, form, assumed),
            bore,
            length: whole,
            fluid: self.fluid(spot, form),
            temperature,
            leg_temperatures,
            leg,
            read_to,
            care,
            capped: form.capped,
            reads,
            largest_move,
            settle_to,
        }
    }

    fn temperature(&mut self, spot: &Spot, key: &str, celsius: f64) -> Temperature {
        let found = self.number(spot, key, celsius, &limits::HOSE_TEMPERATURE);
        Temperature::celsius(found.unwrap_or(20.0))
    }

    fn fluid(&mut self, spot: &Spot, form: &YourHoseForm) -> Fluid {
        let share = self.measured(spot, "glycol", form.glycol.as_ref(), &RATIO, &limits::GLYCOL);
        let glycol = match form.fluid {
            None if form.glycol.is_some() => {
                let fault = self.error(spot, "glycol", "which glycol is not said");
                let hint = "write fluid = \"propylene-glycol\" or \"ethylene-glycol\"";
                self.faults.push(fault.hint(hint));
                return Fluid::Water;
            }
            None | Some(FluidForm::Water) => None,
            Some(FluidForm::DyedWater) => {
                self.no_glycol(spot, form);
                return Fluid::DyedWater;
            }
            Some(FluidForm::PropyleneGlycol) => Some(Glycol::Propylene),
            Some(FluidForm::EthyleneGlycol) => Some(Glycol::Ethylene),
        };
        match (glycol, share) {
            (None, _) => {
                self.no_glycol(spot, form);
                Fluid::Water
            }
            (Some(glycol), Some(mass_share)) => Fluid::Mix { glycol, mass_share },
            (Some(_), None) => {
                if form.glycol.is_none() {
                    self.missing(
                        spot,
                        "fluid",
                        "the share of glycol is not given",
                        "write glycol = \"30 %\", by mass",
                    );
                }
                Fluid::Water
            }
        }
    }

    fn no_glycol(&mut self, spot: &Spot, form: &YourHoseForm) {
        if form.glycol.is_some() {
            let fault =
                self.error(spot, "glycol", "a share of glycol is given, and the fluid is water");
            self.faults.push(fault.hint("take glycol out, or name the glycol as the fluid"));
        }
    }

    fn reservoir(
        &mut self,
        spot: &Spot,
        form: &YourHoseForm,
        assumed: &mut Vec<String>,
    ) -> Reservoir {
        let sizes = [
            form.reservoir.is_some(),
            form.reservoir_size.is_some(),
            form.reservoir_area.is_some(),
        ];
        let n_sizes = sizes.iter().filter(|&&given| given).count();
        if form.kind == Some(HoseKindForm::Twin) {
            if n_sizes > 0 || form.fixed_mark {
                let fault =
                    self.error(spot, "kind", "twin tubes have no reservoir and no fixed mark");
                self.faults.push(fault.hint("take the reservoir out, or write kind = \"pail\""));
            }
            return if form.one_end { Reservoir::TwinOneEnd } else { Reservoir::TwinBothEnds };
        }
        if form.one_end {
            let fault =
                self.error(spot, "one_end", "one_end is about twin tubes, and this is a pail");
            self.faults.push(fault.hint("take one_end out, or write kind = \"twin\""));
        }
        if n_sizes > 1 {
            let fault = self.error(spot, "reservoir", "the reservoir's size is given in two ways");
            self.faults.push(fault.hint("keep one of reservoir, reservoir_size, reservoir_area"));
        }
        let side = &limits::HOSE_DIAMETER;
        let area = if let Some(area) = form.reservoir_area {
            self.number(spot, "reservoir_area", area, &limits::HOSE_AREA).map(Area::mm2)
        } else if let Some([long, wide]) = &form.reservoir_size {
            let long = self.length(spot, "reservoir_size", Some(long), side);
            let wide = self.length(spot, "reservoir_size", Some(wide), side);
            long.zip(wide).map(|(long, wide)| Area::mm2(long.to_mm() * wide.to_mm()))
        } else if let Some(diameter) = &form.reservoir {
            self.length(spot, "reservoir", Some(diameter), side).map(Area::of_circle)
        } else {
            assumed.push(format!("reservoir: a round pail of {}", in_words(PAIL, self.units)));
            None
        };
        let area = area.unwrap_or(Area::of_circle(PAIL));
        if form.fixed_mark { Reservoir::FixedMark { area } } else { Reservoir::Pail { area } }
    }

    fn field_test(&mut self, spot: &Spot, form: &YourHoseForm, hose: &Hose) -> Option<HoseTest> {
        if form.test.is_empty() && form.test_swapped.is_empty() {
            return None;
        }
        let mut set = |key: &str, given: &[Quantity]| -> Vec<Length> {
            let range = &limits::TEST_DIFFERENCE;
            given.iter().filter_map(|one| self.length(spot, key, Some(one), range)).collect()
        };
        let (first, swapped) = (set("test", &form.test), set("test_swapped", &form.test_swapped));
        let n_typed = form.test.len() + form.test_swapped.len();
        if first.len() + swapped.len() < n_typed {
            return None;
        }
        match hose_test(hose, &first, &swapped) {
            Ok(test) => Some(test),
            Err(error) => {
                let hint = "settle the hose anew for each difference: ten in test, ten more in \
                            test_swapped, with the pail beside the other mark (or the ends of a twin \
                            swapped)";
                let fault =
                    self.error(spot, "test", format!("the field test says nothing: {error}"));
                self.faults.push(fault.hint(hint));
                None
            }
        }
    }

    pub(super) fn doors(&mut self, site: &Site) -> Vec<Door> {
        let form = self.form;
        if !self.are_few("door", form.door.len()) {
            return Vec::new();
        }
        let mut doors = Vec::new();
        for (idx, door) in form.door.iter().enumerate() {
            let spot = self.spot(format!("door.{idx}"), format!("door {}", idx + 1));
            let Some(at) = &door.at else {
                let hint = "write at = [x, y], the middle of the doorway on the line of its wall";
                self.missing(&spot, "", "its place is not given", hint);
                continue;
            };
            let at = self.position(&spot, "at", at);
            let width = self.length(&spot, "width", door.width.as_ref(), &limits::DOOR_WIDTH);
            let width = width.unwrap_or(DOOR_WIDTH);
            let Some(at) = at else { continue };
            let off = site.rooms().iter().map(|room| room.outline.distance_to_line(at));
            let off = off.min_by(Length::total_cmp);
            if off.is_none_or(|off| off > DOOR_BESIDE_WALL) {
                let off = off.map_or("there is no room".to_owned(), |off| off.to_string());
                let fault = self
                    .error(&spot, "at", "the doorway is on no wall")
                    .value(format!("{off} from the nearest"))
                    .limit(format!("within {DOOR_BESIDE_WALL} of a room's outline"));
                self.faults.push(fault.hint("move it onto the line between two rooms"));
                continue;
            }
            doors.push(Door { at, width });
        }
        if doors.iter().any(|door| door.width == DOOR_WIDTH)
            && form.door.iter().any(|d| d.width.is_none())
        {
            self.hose
                .assumed
                .push(format!("a doorway without a width: {}", in_words(DOOR_WIDTH, self.units)));
        }
        doors
    }

    pub(super) fn obstacles(&mut self) -> Vec<Obstacle> {
        let form = self.form;
        if !self.are_few("obstacle", form.obstacle.len()) {
            return Vec::new();
        }
        let mut obstacles = Vec::new();
        for (idx, obstacle) in form.obstacle.iter().enumerate() {
            let place = called("obstacle", &obstacle.name, idx);
            let spot = self.spot(format!("obstacle.{idx}"), place);
            if obstacle.outline.is_empty() {
                let hint = "write outline = [[x, y], [x, y], [x, y]]";
                self.missing(&spot, "", "its outline is not given", hint);
            }
            let outline = self.outline_of(&spot, &obstacle.outline);
            let named = |outline| Obstacle { name: obstacle.name.clone(), outline };
            obstacles.extend(outline.map(named));
        }
        obstacles
    }

    fn are_few(&mut self, what: &str, n: usize) -> bool {
        if n <= MOST_DOORS {
            return true;
        }
        let spot = self.spot(format!("{what}.{MOST_DOORS}"), format!("[[{what}]]"));
        let fault = self.error(&spot, "", format!("there are too many of [[{what}]]"));
        let fault = fault.value(n.to_string()).limit(format!("at most {MOST_DOORS}"));
        self.faults.push(fault.hint("leave out those that no hose goes near"));
        false
    }
}

/// A length as a person says it: metres from one on.
fn in_words(length: Length, units: Unit) -> String {
    let words = Words::new(Terms::default(), units);
    if length >= Length::mm(1000.0) { words.long_exact(length) } else { words.exact(length) }
}
