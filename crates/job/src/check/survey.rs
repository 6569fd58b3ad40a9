//! Benchmarks, setups, and how sure the tests of the readings have to be.

use super::{Checker, Spot, called};
use crate::form_v1::{HoseForm, InstrumentForm, SetupForm, TrustForm};
use crate::limits;
use floorwright_engine::ids::{PointId, SetupId};
use floorwright_engine::site::PointKind;
use floorwright_engine::survey::{
    Benchmark, Datum, Drift, ReadingSd, SdTrust, Setup, Survey, TestSettings,
};
use floorwright_engine::units::Length;
use std::collections::BTreeSet;
use std::f64::consts::PI;

/// Standard deviation of a reading when the job is silent: a casual reading of a builder's hose.
const ASSUMED_READING_SD: Length = Length::mm(1.2);

impl Checker<'_> {
    pub(super) fn benchmarks(&mut self) -> Vec<Benchmark> {
        let form = self.form;
        let mut benchmarks: Vec<Benchmark> = Vec::new();
        for (idx, benchmark) in form.benchmark.iter().enumerate() {
            let spot =
                self.spot(format!("benchmark.{idx}"), called("benchmark", &benchmark.point, idx));
            self.check_name(&spot, "point", &benchmark.point);
            if benchmark.level.is_none() {
                self.missing(
                    &spot,
                    "",
                    "its level is not given",
                    "write level = 0 if nothing better is known",
                );
            }
            let level = self.level(&spot, "level", benchmark.level.as_ref(), &limits::LEVEL);
            let sd = self.length(&spot, "sd", benchmark.sd.as_ref(), &limits::SD);
            self.add_unplaced(&spot, &benchmark.point, PointKind::Benchmark);
            self.know_point(&spot, "point", &benchmark.point);
            if benchmarks.iter().any(|known| known.point.as_str() == benchmark.point) {
                self.given_twice(&spot, "point", "benchmark", &benchmark.point, None);
                continue;
            }
            benchmarks.push(Benchmark {
                point: PointId::new(benchmark.point.as_str()),
                level: level.unwrap_or_default(),
                sd: sd.unwrap_or_default(),
            });
        }
        benchmarks
    }

    pub(super) fn survey(&mut self, mut benchmarks: Vec<Benchmark>) -> Survey {
        let form = self.form;
        let mut setups: Vec<Setup> = Vec::new();
        let mut names: BTreeSet<&str> = BTreeSet::new();
        for (idx, setup) in form.setup.iter().enumerate() {
            let spot = self.spot(format!("setup.{idx}"), called("setup", &setup.id, idx));
            self.check_name(&spot, "id", &setup.id);
            if !names.insert(&setup.id) {
                self.given_twice(&spot, "id", "setup", &setup.id, None);
                continue;
            }
            let checked = self.setup(&spot, setup, &mut benchmarks);
            match setup.after_pass {
                None | Some(0) => setups.push(checked),
                Some(pass) => self.read_after(&spot, pass, checked),
            }
        }
        let legs = (0..form.leg.len()).filter_map(|idx| self.leg(idx, &form.leg[idx])).collect();
        let tests = self.tests();
        Survey { datum: Datum::Benchmarks, benchmarks, setups, legs, tests }
    }

    fn setup(&mut self, spot: &Spot, form: &SetupForm, benchmarks: &mut Vec<Benchmark>) -> Setup {
        let reading_sd = self.reading_sd(spot, form);
        self.check_instrument(spot, form);
        let scale = match &form.hose {
            Some(hose) => self.scale(spot, hose).unwrap_or(1.0),
            None if self.is_your_hose(form) => self.hose.hose.factor(),
            None => 1.0,
        };
        let staff = self.length(spot, "staff", form.staff.as_ref(), &limits::STAFF);
        let readings = self.readings(spot, form, benchmarks, staff.unwrap_or(limits::STAFF_LENGTH));
        let mut setup = Setup {
            id: SetupId::new(form.id.as_str()),
            reading_sd,
            scale,
            drift: if form.drift { Drift::Linear } else { Drift::None },
            readings,
        };
        self.worth_of(form, &mut setup);
        setup
    }

    fn reading_sd(&mut self, spot: &Spot, form: &SetupForm) -> ReadingSd {
        let sd = self.length(spot, "reading_sd", form.reading_sd.as_ref(), &limits::READING_SD);
        let growing =
            self.length(spot, "sd_per_sqrt_km", form.sd_per_sqrt_km.as_ref(), &limits::SD_PER_KM);
        if form.reading_sd.is_none() && !self.is_your_hose(form) {
            self.assume(format!(
                "a reading has a standard deviation of {ASSUMED_READING_SD} (reading_sd is not given for every setup)"
            ));
        }
        let at_least = sd.unwrap_or(ASSUMED_READING_SD);
        match growing {
            Some(per_sqrt_km) => ReadingSd::ByDistance { per_sqrt_km, at_least },
            None => ReadingSd::Each(at_least),
        }
    }

    fn check_instrument(&mut self, spot: &Spot, form: &SetupForm) {
        match (form.instrument, &form.hose) {
            (Some(InstrumentForm::Level | InstrumentForm::Laser), Some(_)) => {
                let fault =
                    self.error(spot, "hose", "a hose is described, and the instrument is another");
                self.faults.push(fault.hint("write instrument = \"hose\", or take hose out"));
            }
            (Some(InstrumentForm::Hose), None) if !self.hose.given => self.assume(format!(
                "the water line of setup {} does not fall as the hose fills (no bore and reservoir are given)",
                form.id
            )),
            _ => {}
        }
    }

    /// 1 + A/A_r: by how much a true difference is larger than the difference of readings.
    fn scale(&mut self, spot: &Spot, hose: &HoseForm) -> Option<f64> {
        let areas = match (&hose.bore, &hose.reservoir, hose.bore_area, hose.reservoir_area) {
            (Some(bore), Some(reservoir), None, None) => {
                let bore = self.length(spot, "hose.bore", Some(bore), &limits::HOSE_DIAMETER);
                let reservoir =
                    self.length(spot, "hose.reservoir", Some(reservoir), &limits::HOSE_DIAMETER);
                let area = |diameter: Length| PI / 4.0 * diameter.to_mm() * diameter.to_mm();
                (area(bore?), area(reservoir?))
            }
            (None, None, Some(bore), Some(reservoir)) => {
                let bore = self.number(spot, "hose.bore_area", bore, &limits::HOSE_AREA);
                let reservoir =
                    self.number(spot, "hose.reservoir_area", reservoir, &limits::HOSE_AREA);
                (bore?, reservoir?)
            }
            _ => {
                self.missing(spot, "hose", "the hose needs two diameters, or two areas", "write hose = { bore = 10, reservoir = 200 }, or bore_area and reservoir_area in mm2");
                return None;
            }
        };
        Some(1.0 + areas.0 / areas.1)
    }

    fn tests(&mut self) -> TestSettings {
        let default = TestSettings::default();
        let Some(form) = &self.form.tests else { return default };
        let spot = self.spot("tests", "[tests]");
        let mut number = |key, given: Option<f64>, range, default| {
            given.and_then(|given| self.number(&spot, key, given, range)).unwrap_or(default)
        };
        TestSettings {
            alpha: number("alpha", form.alpha, &limits::ALPHA, default.alpha),
            power: number("power", form.power, &limits::POWER, default.power),
            global_alpha: number(
                "global_alpha",
                form.global_alpha,
                &limits::ALPHA,
                default.global_alpha,
            ),
            trust: match form.trust {
                Some(TrustForm::Estimated) => SdTrust::Estimated,
                Some(TrustForm::Stated) | None => SdTrust::Stated,
            },
        }
    }
}
