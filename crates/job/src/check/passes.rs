//! Passes as they were done, and the setups that were read after them.

use super::{Checker, Named, Spot, is_date, leads_elsewhere};
use crate::form_v1::{LiftedForm, PassForm};
use crate::limits;
use floorwright_engine::ids::SupportId;
use floorwright_engine::record::{DonePass, Lifted, Resurvey};
use floorwright_engine::survey::Setup;
use std::collections::BTreeSet;

impl Checker<'_> {
    /// The passes in their order; `surveyed` is the date of the survey.
    pub(super) fn passes(&mut self, surveyed: Option<&str>) -> Vec<DonePass> {
        let form = self.form;
        let mut passes = Vec::new();
        let mut last = surveyed.filter(|date| is_date(date)).map(|date| (date, "the survey"));
        for (idx, pass) in form.pass.iter().enumerate() {
            let called = pass
                .number
                .map_or(format!("pass number {}", idx + 1), |number| format!("pass {number}"));
            let spot = self.spot(format!("pass.{idx}"), called);
            self.check_number(&spot, pass, idx);
            if let Some(date) = self.done_on(&spot, pass, last) {
                last = Some((date, "the pass before it"));
            }
            let photos = self.photos(&spot, pass);
            passes.push(DonePass {
                number: idx as u32 + 1,
                date: pass.date.clone(),
                by: pass.by.clone(),
                lifted: self.lifted(&spot, pass),
                remarks: pass.remarks.clone(),
                cracks: pass.cracks.clone(),
                photos,
            });
        }
        passes
    }

    fn check_number(&mut self, spot: &Spot, pass: &PassForm, idx: usize) {
        let expected = idx as u32 + 1;
        match pass.number {
            None => {
                let hint = format!("write number = {expected}");
                self.missing(spot, "", "its number is not given", hint);
            }
            Some(number) if number != expected => {
                let fault = self
                    .error(spot, "number", "the passes are out of order, or one is missing")
                    .value(number.to_string())
                    .limit(format!("{expected} here"))
                    .hint("list the passes in the order in which they were done, numbered from 1");
                self.faults.push(fault);
            }
            Some(_) => {}
        }
    }

    /// The date of a pass, if it can be and does not lie before what came before it.
    fn done_on<'p>(
        &mut self,
        spot: &Spot,
        pass: &'p PassForm,
        last: Option<(&str, &str)>,
    ) -> Option<&'p str> {
        let date = pass.date.as_deref()?;
        if !is_date(date) {
            let fault = self.error(spot, "date", "the date is not year-month-day").value(date);
            self.faults.push(fault.hint("write for example 2026-03-31"));
            return None;
        }
        if let Some((last, what)) = last
            && date < last
        {
            let fault = self
                .error(spot, "date", format!("it was done before {what}"))
                .value(date)
                .limit(format!("{last} or later"))
                .hint("correct the date of one of the two");
            self.faults.push(fault);
            return None;
        }
        Some(date)
    }

    fn photos(&mut self, spot: &Spot, pass: &PassForm) -> Vec<String> {
        for (idx, photo) in pass.photos.iter().enumerate() {
            if let Some(why) = leads_elsewhere(photo) {
                let fault = self
                    .error(spot, &format!("photos.{idx}"), format!("the photo is a file {why}"))
                    .value(photo.as_str())
                    .hint("put the file beside the job and write its name alone");
                self.faults.push(fault);
            }
        }
        pass.photos.clone()
    }

    fn lifted(&mut self, spot: &Spot, pass: &PassForm) -> Vec<Lifted> {
        let known: BTreeSet<String> = self.site.support_names().into_iter().collect();
        let mut seen: BTreeSet<&str> = BTreeSet::new();
        let mut lifted = Vec::new();
        for (idx, row) in pass.lifted.iter().enumerate() {
            let place = format!("{}, support {}", spot.place, row.support);
            let spot = self.spot(format!("{}.lifted.{idx}", spot.path), place);
            if !known.contains(&row.support) {
                self.unknown(&spot, "support", Named::Support, &row.support);
                continue;
            }
            if !seen.insert(&row.support) {
                self.given_twice(&spot, "support", "support", &row.support, None);
                continue;
            }
            lifted.extend(self.lifted_at(&spot, row));
        }
        lifted
    }

    fn lifted_at(&mut self, spot: &Spot, row: &LiftedForm) -> Option<Lifted> {
        if row.lift.is_none() {
            self.missing(
                spot,
                "",
                "its lift is not given",
                "write lift = 5, or 0 if it only got packers",
            );
        }
        let lift = self.length(spot, "lift", row.lift.as_ref(), &limits::LIFT_DONE);
        let packers = row.packers.as_ref().map(|pieces| {
            let piece = |(idx, piece)| {
                self.length(spot, &format!("packers.{idx}"), Some(piece), &limits::THICKNESS)
            };
            pieces.iter().enumerate().filter_map(piece).collect()
        });
        Some(Lifted { support: SupportId::new(row.support.as_str()), lift: lift?, packers })
    }

    /// Keeps a setup that was read after a pass apart from the survey that the plan is made from.
    pub(super) fn read_after(&mut self, spot: &Spot, pass: u32, setup: Setup) {
        let n_passes = self.form.pass.len() as u32;
        if pass > n_passes {
            let fault = self
                .error(spot, "after_pass", "it was read after a pass that is not in the job")
                .value(pass.to_string())
                .limit(format!("at most {n_passes}"))
                .hint("add the [[pass]] with what was lifted in it, or correct the number");
            self.faults.push(fault);
            return;
        }
        match self.again.iter_mut().find(|again| again.after_pass == pass) {
            Some(again) => again.setups.push(setup),
            None => {
                self.again.push(Resurvey { after_pass: pass, setups: vec![setup] });
                self.again.sort_by_key(|again| again.after_pass);
            }
        }
    }
}
