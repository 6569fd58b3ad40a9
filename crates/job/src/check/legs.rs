//! Height differences measured elsewhere.

use super::{Checker, Spot};
use crate::form_v1::LegForm;
use crate::limits::{self, Range};
use floorwright_engine::ids::PointId;
use floorwright_engine::survey::{Leg, LegWeight, SourcePlace};

const SETUPS: Range = Range {
    name: "setups",
    low: 1.0,
    high: 10_000.0,
    unit: "",
    why: "a leg takes at least one setup",
};

/// A leg of no length would be known without error.
const LENGTH: Range = Range { name: "length", low: 1.0, ..limits::DISTANCE };

impl Checker<'_> {
    pub(super) fn leg(&mut self, idx: usize, form: &LegForm) -> Option<Leg> {
        let spot = self.spot(format!("leg.{idx}"), format!("leg {} to {}", form.from, form.to));
        let from = self.know_point(&spot, "from", &form.from);
        let to = self.know_point(&spot, "to", &form.to);
        if form.from == form.to && from {
            let fault = self.error(&spot, "to", "it ends where it starts");
            self.faults.push(fault.hint("name two different points"));
        }
        if form.rise.is_none() {
            self.missing(
                &spot,
                "",
                "its rise is not given",
                "write rise = the height of to above from",
            );
        }
        let unit = self.units;
        let rise = form
            .rise
            .as_ref()
            .and_then(|rise| self.exact_length(&spot, "rise", rise, unit, &limits::RISE));
        let weight = self.leg_weight(&spot, form);
        let line = self.line(&spot, "");
        (from && to).then_some(())?;
        Some(Leg {
            from: PointId::new(form.from.as_str()),
            to: PointId::new(form.to.as_str()),
            rise: rise?,
            weight: weight?,
            place: line.map(|line| SourcePlace { file: spot.file.clone(), line }),
        })
    }

    fn leg_weight(&mut self, spot: &Spot, form: &LegForm) -> Option<LegWeight> {
        let ways = [form.sd.is_some(), form.setups.is_some(), form.length.is_some()];
        if ways.iter().filter(|given| **given).count() != 1 {
            self.missing(
                spot,
                "",
                "it does not say in one way how well it is known",
                "write sd; or setups with sd_per_setup; or length with sd_per_sqrt_km",
            );
            return None;
        }
        if let Some(sd) = &form.sd {
            return self.length(spot, "sd", Some(sd), &limits::READING_SD).map(LegWeight::Sd);
        }
        let (key, partner) = if form.setups.is_some() {
            ("sd_per_setup", form.sd_per_setup.as_ref())
        } else {
            ("sd_per_sqrt_km", form.sd_per_sqrt_km.as_ref())
        };
        if partner.is_none() {
            self.missing(
                spot,
                "",
                format!("{key} is not given"),
                format!("write {key} = its spread in mm"),
            );
        }
        let per = self.length(spot, key, partner, &limits::SD_PER_KM);
        if let Some(n_setups) = form.setups {
            self.number(spot, "setups", f64::from(n_setups), &SETUPS)?;
            return Some(LegWeight::Setups { n_setups, per_setup: per? });
        }
        let length = self.length(spot, "length", form.length.as_ref(), &LENGTH);
        Some(LegWeight::Distance { length: length?, per_sqrt_km: per? })
    }
}
