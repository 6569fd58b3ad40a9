//! Joists one by one, and joists by direction and spacing.

use super::timber::Usual;
use super::{Checker, Named, Spot, called};
use crate::form_v1::{DirectionForm, JoistForm, JoistSetForm, Quantity};
use crate::limits;
use floorwright_engine::frame::{Bearer, Direction, FrameFault, Joist, JoistSet, Run};
use floorwright_engine::ids::{BearerId, JoistId, RoomId};
use floorwright_engine::units::{LENGTH_EPS, Length};
use std::collections::BTreeMap;

/// How far the two ends of a joist or a wall may differ across it: our own rule, what a tape reads.
const ACROSS: Length = Length::mm(10.0);

pub(super) fn direction(form: DirectionForm) -> Direction {
    match form {
        DirectionForm::X => Direction::X,
        DirectionForm::Y => Direction::Y,
    }
}

impl Checker<'_> {
    /// A straight line along x or along y, from the places of its ends.
    pub(super) fn run(
        &mut self,
        spot: &Spot,
        from: Option<&[Quantity; 2]>,
        to: Option<&[Quantity; 2]>,
    ) -> Option<Run> {
        let ends = [("from", from), ("to", to)].map(|(key, place)| match place {
            Some(place) => self.position(spot, key, place),
            None => {
                let what = format!("{key} is not given");
                self.missing(spot, "", what, "write from = [x, y] and to = [x, y]");
                None
            }
        });
        let [Some(from), Some(to)] = ends else { return None };
        let (dx, dy) = ((to.x - from.x).abs(), (to.y - from.y).abs());
        let direction = if dy > dx { Direction::Y } else { Direction::X };
        if dx.max(dy) <= ACROSS {
            let fault = self.error(spot, "to", "it ends where it begins");
            self.faults.push(fault.hint("write the places of its two ends"));
            return None;
        }
        if dx.min(dy) > ACROSS {
            let fault = self
                .error(spot, "to", "it runs neither along x nor along y")
                .value(format!("{} in x and {} in y", self.show(dx), self.show(dy)))
                .limit(format!("within {} one way", self.show(ACROSS)))
                .hint("turn the plan so that the timbers lie along x and y, or correct a place");
            self.faults.push(fault);
            return None;
        }
        let (first, last) = (direction.along(from), direction.along(to));
        Some(Run {
            direction,
            at: (direction.across(from) + direction.across(to)) / 2.0,
            from: first.min(last),
            to: first.max(last),
        })
    }

    pub(super) fn joists(&mut self, usual: &Usual, bearers: &[(Bearer, Spot)]) -> Vec<Joist> {
        let form = self.form;
        let mut joists: Vec<(Joist, Spot)> = Vec::new();
        let mut lines: BTreeMap<&str, Option<usize>> = BTreeMap::new();
        for (idx, joist) in form.joist.iter().enumerate() {
            let spot = self.spot(format!("joist.{idx}"), called("joist", &joist.id, idx));
            self.check_name(&spot, "id", &joist.id);
            if let Some(&first) = lines.get(joist.id.as_str()) {
                self.given_twice(&spot, "id", "joist", &joist.id, first);
                continue;
            }
            lines.insert(&joist.id, self.line(&spot, ""));
            if let Some(sound) = self.joist(&spot, joist, usual, bearers) {
                joists.push((sound, spot));
            }
        }
        self.check_joists_apart(&joists);
        joists.into_iter().map(|(joist, _)| joist).collect()
    }

    fn joist(
        &mut self,
        spot: &Spot,
        form: &JoistForm,
        usual: &Usual,
        bearers: &[(Bearer, Spot)],
    ) -> Option<Joist> {
        let section = self.section_or_usual(spot, form.section.as_ref(), usual);
        let timber = self.timber_or_usual(spot, form.timber.as_ref(), usual);
        let run = self.run(spot, form.from.as_ref(), form.to.as_ref())?;
        let under: Vec<&str> = (bearers.iter())
            .filter(|(bearer, _)| cross(&run, &bearer.run))
            .map(|(bearer, _)| bearer.id.as_str())
            .collect();
        // A bearer that could not be read may be the one that is missing under the joist.
        let all_bearers_known = bearers.len() == self.form.bearer.len();
        if under.len() < 2 && all_bearers_known && !bearers.is_empty() {
            let id = JoistId::new(form.id.as_str());
            let fault = FrameFault::JoistOverAir { joist: id, bearers: under.len() };
            let fault = self
                .error(spot, "", "it crosses too few bearers")
                .value(under.len().to_string())
                .limit("2 or more")
                .hint(fault.hint());
            self.faults.push(fault);
        }
        self.check_joist_joints(spot, form, all_bearers_known.then_some(&under[..]));
        Some(Joist {
            id: JoistId::new(form.id.as_str()),
            run,
            joints: form.joints.iter().map(|joint| BearerId::new(joint.as_str())).collect(),
            section,
            timber,
            floor: form.floor.clone().unwrap_or_else(|| "main".to_owned()),
        })
    }

    fn check_joist_joints(&mut self, spot: &Spot, form: &JoistForm, under: Option<&[&str]>) {
        for (idx, joint) in form.joints.iter().enumerate() {
            let key = format!("joints.{idx}");
            if !self.form.bearer.iter().any(|bearer| bearer.id == *joint) {
                self.unknown(spot, &key, Named::Bearer, joint);
            } else if under.is_some_and(|under| !under.contains(&joint.as_str())) {
                let what = format!("it is jointed over bearer {joint}, which it does not cross");
                let fault = self.error(spot, &key, what);
                self.faults.push(fault.hint("name a bearer that it crosses"));
            }
        }
    }

    fn check_joists_apart(&mut self, joists: &[(Joist, Spot)]) {
        for (idx, (joist, spot)) in joists.iter().enumerate() {
            for (other, _) in &joists[..idx] {
                let (run, beside) = (&joist.run, &other.run);
                let clash = if run.direction == beside.direction {
                    let overlap = run.to.min(beside.to) - run.from.max(beside.from);
                    (run.at - beside.at).abs() <= LENGTH_EPS && overlap > LENGTH_EPS
                } else {
                    let inside = Length::ZERO - LENGTH_EPS;
                    run.reaches(beside.at, inside) && beside.reaches(run.at, inside)
                };
                if clash {
                    let hint = FrameFault::JoistsClash(other.id.clone(), joist.id.clone()).hint();
                    let what = format!("it crosses or overlaps joist {}", other.id);
                    let fault = self.error(spot, "", what).hint(hint);
                    self.faults.push(fault);
                }
            }
        }
    }

    pub(super) fn joist_sets(
        &mut self,
        usual: &Usual,
        bearers: &[(Bearer, Spot)],
    ) -> Vec<JoistSet> {
        let form = self.form;
        let mut sets = Vec::new();
        for (idx, set) in form.joists.iter().enumerate() {
            let place = if form.joists.len() == 1 {
                "[joists]".to_owned()
            } else {
                format!("joists number {}", idx + 1)
            };
            let spot = self.spot(format!("joists.{idx}"), place);
            sets.extend(self.joist_set(&spot, set, usual, bearers));
        }
        sets
    }

    fn joist_set(
        &mut self,
        spot: &Spot,
        form: &JoistSetForm,
        usual: &Usual,
        bearers: &[(Bearer, Spot)],
    ) -> Option<JoistSet> {
        let section = self.section_or_usual(spot, form.section.as_ref(), usual);
        let timber = self.timber_or_usual(spot, form.timber.as_ref(), usual);
        let first = self.length(spot, "first", form.first.as_ref(), &limits::POSITION);
        let known = self.site.room_names();
        for (idx, room) in form.rooms.iter().enumerate() {
            if !known.contains(room) {
                self.unknown(spot, &format!("rooms.{idx}"), Named::Room, room);
            }
        }
        let direction = form.direction.map(direction);
        let along = |(bearer, _): &(Bearer, Spot)| Some(bearer.run.direction) == direction;
        if !bearers.is_empty() && bearers.iter().all(along) {
            let fault = self
                .error(spot, "direction", "they run along the bearers")
                .hint("joists cross the bearers: correct the direction, or leave it out");
            self.faults.push(fault);
        }
        if form.spacing.is_none() {
            self.missing(spot, "", "their spacing is not given", "write spacing = 450");
        }
        let spacing = self.length(spot, "spacing", form.spacing.as_ref(), &limits::SPACING)?;
        let rooms = form.rooms.iter().map(RoomId::new).collect();
        Some(JoistSet { direction, spacing, first, rooms, section, timber })
    }
}

/// Whether a joist lies over a bearer: the rule of the calculation, by their lines.
fn cross(joist: &Run, bearer: &Run) -> bool {
    joist.direction != bearer.direction
        && bearer.reaches(joist.at, LENGTH_EPS)
        && joist.reaches(bearer.at, LENGTH_EPS)
}
