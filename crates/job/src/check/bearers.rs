//! Bearers: their lines, and how they lie to one another and to the supports.

use super::timber::Usual;
use super::{Checker, Named, Spot, called};
use crate::fault::Fault;
use crate::form_v1::{BearerForm, OverhangForm};
use crate::limits;
use crate::quantities::LINE_LOAD;
use floorwright_engine::frame::{Bearer, Direction, FrameFault, Run};
use floorwright_engine::ids::{BearerId, SupportId};
use floorwright_engine::site::Position;
use floorwright_engine::units::{LENGTH_EPS, Length, LineLoad};
use std::collections::{BTreeMap, BTreeSet};

impl Checker<'_> {
    /// The bearers that are sound, with their places in the document.
    pub(super) fn bearers(&mut self, usual: &Usual, row_width: Length) -> Vec<(Bearer, Spot)> {
        let form = self.form;
        let mut bearers = Vec::new();
        let mut lines: BTreeMap<&str, Option<usize>> = BTreeMap::new();
        for (idx, bearer) in form.bearer.iter().enumerate() {
            let spot = self.spot(format!("bearer.{idx}"), called("bearer", &bearer.id, idx));
            self.check_name(&spot, "id", &bearer.id);
            if let Some(&first) = lines.get(bearer.id.as_str()) {
                self.given_twice(&spot, "id", "bearer", &bearer.id, first);
                continue;
            }
            lines.insert(&bearer.id, self.line(&spot, ""));
            if let Some(sound) = self.bearer(&spot, bearer, usual, row_width) {
                bearers.push((sound, spot));
            }
        }
        self.check_bearers_apart(&bearers, row_width);
        self.check_supports_used();
        bearers
    }

    fn bearer(
        &mut self,
        spot: &Spot,
        form: &BearerForm,
        usual: &Usual,
        row_width: Length,
    ) -> Option<Bearer> {
        let section = self.section_or_usual(spot, form.section.as_ref(), usual);
        let timber = self.timber_or_usual(spot, form.timber.as_ref(), usual);
        let extra =
            self.measured(spot, "extra", form.extra.as_ref(), &LINE_LOAD, &limits::LINE_LOAD);
        let overhang = self.overhang(spot, form.overhang.as_ref());
        self.check_joints(spot, form);
        let places = self.places_under(spot, form)?;
        let direction = direction_of(&places);
        let at = mean(places.iter().map(|(_, place)| direction.across(*place)));
        self.check_on_line(spot, form, &places, (direction, at), row_width)?;
        let mut along: Vec<(Length, &str)> =
            places.iter().map(|(id, place)| (direction.along(*place), *id)).collect();
        along.sort_by(|(a, _), (b, _)| a.total_cmp(b));
        let (from, to) = (along.first()?.0 - overhang[0], along.last()?.0 + overhang[1]);
        Some(Bearer {
            id: BearerId::new(form.id.as_str()),
            run: Run { direction, at, from, to },
            supports: along.iter().map(|(_, id)| SupportId::new(*id)).collect(),
            joints: form.joints.iter().map(|joint| SupportId::new(joint.as_str())).collect(),
            section,
            timber,
            extra: extra.map_or(LineLoad::ZERO, LineLoad::kn_per_m),
        })
    }

    fn overhang(&mut self, spot: &Spot, form: Option<&OverhangForm>) -> [Length; 2] {
        let ends = match form {
            None => return [Length::ZERO; 2],
            Some(OverhangForm::Both(both)) => [both, both],
            Some(OverhangForm::Each([first, last])) => [first, last],
        };
        ends.map(|end| {
            self.length(spot, "overhang", Some(end), &limits::OVERHANG).unwrap_or_default()
        })
    }

    /// The supports under a bearer with their places; nothing if that cannot be known.
    fn places_under<'f>(
        &mut self,
        spot: &Spot,
        form: &'f BearerForm,
    ) -> Option<Vec<(&'f str, Position)>> {
        if form.supports.is_empty() {
            let hint = FrameFault::BearerOnNothing(BearerId::new(form.id.as_str())).hint();
            self.missing(spot, "supports", "it rests on no support", hint);
            return None;
        }
        let mut all_known = true;
        let mut seen = BTreeSet::new();
        for (idx, support) in form.supports.iter().enumerate() {
            let key = format!("supports.{idx}");
            if !self.site.has_support(support) {
                self.unknown(spot, &key, Named::Support, support);
                all_known = false;
            } else if !seen.insert(support) {
                let fault = self.error(spot, &key, format!("it names support {support} twice"));
                self.faults.push(fault.hint("name each support under the bearer once"));
                all_known = false;
            }
        }
        if !all_known {
            return None;
        }
        if seen.len() < 2 {
            let fault = self
                .error(spot, "supports", "it rests on one support alone")
                .value(form.supports[0].as_str())
                .limit("two or more")
                .hint("name every support that it rests on, or take the bearer out");
            self.faults.push(fault);
            return None;
        }
        let place =
            |support: &'f String| Some((support.as_str(), self.site.support_place(support)?));
        form.supports.iter().map(place).collect()
    }

    /// Every support within the width of a row of the line; of several that are not, the furthest
    /// is named, with its distance from the line of the others.
    fn check_on_line(
        &mut self,
        spot: &Spot,
        form: &BearerForm,
        places: &[(&str, Position)],
        (direction, at): (Direction, Length),
        row_width: Length,
    ) -> Option<()> {
        let beside = |place: Position| (direction.across(place) - at).abs();
        let (support, place) =
            *places.iter().max_by(|(_, a), (_, b)| beside(*a).total_cmp(&beside(*b)))?;
        if beside(place) <= row_width {
            return Some(());
        }
        let n_places = places.len() as f64;
        let from_others = beside(place) * (n_places / (n_places - 1.0));
        let idx = form.supports.iter().position(|one| one == support).unwrap_or_default();
        let fault = FrameFault::SupportBeside {
            bearer: BearerId::new(form.id.as_str()),
            support: SupportId::new(support),
            beside: from_others,
            limit: row_width,
        };
        let what = format!("support {support} stands beside the line of the others");
        let fault = self
            .error(spot, &format!("supports.{idx}"), what)
            .value(self.show(from_others))
            .limit(format!("within {}", self.show(row_width)))
            .hint(format!("{}; bearers lie along x or along y", fault.hint()));
        self.faults.push(fault);
        None
    }

    fn check_joints(&mut self, spot: &Spot, form: &BearerForm) {
        for (idx, joint) in form.joints.iter().enumerate() {
            let key = format!("joints.{idx}");
            if !self.site.has_support(joint) {
                self.unknown(spot, &key, Named::Support, joint);
            } else if !form.supports.contains(joint) {
                let what = format!("it is jointed over support {joint}, which it does not rest on");
                let fault = self.error(spot, &key, what);
                self.faults.push(fault.hint("name a support that is among its own"));
            }
        }
    }

    /// Bearers lie beside one another: none on the line of another over the same stretch, none
    /// across another.
    fn check_bearers_apart(&mut self, bearers: &[(Bearer, Spot)], row_width: Length) {
        for (idx, (bearer, spot)) in bearers.iter().enumerate() {
            for (other, _) in &bearers[..idx] {
                let ids = || (other.id.clone(), bearer.id.clone());
                let (run, beside) = (&bearer.run, &other.run);
                let fault = if run.direction == beside.direction {
                    let overlap = run.to.min(beside.to) - run.from.max(beside.from);
                    if (run.at - beside.at).abs() > row_width || overlap <= LENGTH_EPS {
                        continue;
                    }
                    let (first, second) = ids();
                    let hint = FrameFault::BearersOverlap(first, second, overlap).hint();
                    self.error(spot, "supports", format!("it overlaps bearer {}", other.id))
                        .value(self.show(overlap))
                        .hint(format!("{hint}; a doubled bearer is one of twice the breadth"))
                } else {
                    let inside = Length::ZERO - LENGTH_EPS;
                    if !run.reaches(beside.at, inside) || !beside.reaches(run.at, inside) {
                        continue;
                    }
                    let (first, second) = ids();
                    self.error(spot, "supports", format!("it crosses bearer {}", other.id))
                        .hint(FrameFault::BearersCross(first, second).hint())
                };
                self.faults.push(fault);
            }
        }
    }

    /// Where bearers are given, every support is under one.
    fn check_supports_used(&mut self) {
        if self.form.bearer.is_empty() || self.lines.is_damaged("bearer") {
            return;
        }
        let used: BTreeSet<&str> = (self.form.bearer.iter())
            .flat_map(|bearer| bearer.supports.iter().map(String::as_str))
            .collect();
        let file = &self.lines.file;
        let unused = self.site.supports_with_lines().into_iter();
        let faults = unused.filter(|(id, _)| !used.contains(id.as_str())).map(|(id, line)| {
            Fault::error(file, format!("support {id}"), "it is under no bearer")
                .at_line(line)
                .hint(FrameFault::SupportUnderNothing(id).hint())
        });
        self.faults.extend(faults);
    }
}

/// The direction in which places reach furthest; along x if they reach as far both ways.
fn direction_of(places: &[(&str, Position)]) -> Direction {
    let reach = |direction: Direction| {
        let along = || places.iter().map(|(_, place)| direction.along(*place));
        let (Some(least), Some(most)) =
            (along().min_by(Length::total_cmp), along().max_by(Length::total_cmp))
        else {
            return Length::ZERO;
        };
        most - least
    };
    if reach(Direction::Y) > reach(Direction::X) { Direction::Y } else { Direction::X }
}

fn mean(lengths: impl ExactSizeIterator<Item = Length>) -> Length {
    let n_lengths = lengths.len();
    lengths.sum::<Length>() / n_lengths as f64
}
