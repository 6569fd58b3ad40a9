//! The frame under the floor: what holds for all its timbers, and the loads on it.

use super::joists::direction;
use super::timber::Usual;
use super::{Checker, Spot, called};
use crate::fault::nearest_name;
use crate::form_v1::{FrameForm, ShareForm, Terms, TimberForm, WallForm};
use crate::input::FrameInput;
use crate::limits;
use crate::practice::{BuildUp, Over, build_ups, frame_rules};
use crate::quantities::{AREA_LOAD, FORCE, LINE_LOAD, RATIO};
use crate::said::NO_REASON;
use floorwright_engine::frame::{
    FloorLoad, FrameFault, FrameRules, GivenFrame, PointLoad, Run, Timber, Wall,
};
use floorwright_engine::site::Position;
use floorwright_engine::units::{AreaLoad, Force, Length, LineLoad};
use std::collections::BTreeSet;

impl Checker<'_> {
    /// What is known of the frame, and what is taken for the rest.
    pub(super) fn frame(&mut self, terms: Terms) -> FrameInput {
        let form = self.form.frame.clone().unwrap_or_default();
        let spot = self.spot("frame", "[frame]");
        let mut rules = frame_rules(terms.into());
        let mut settle = |key: &str, typed: &Option<TimberForm>, rule: &mut Timber| {
            if let Some(timber) = typed.as_ref().and_then(|form| self.timber(&spot, key, form)) {
                *rule = timber;
            }
        };
        settle("bearer_timber", &form.bearer_timber, &mut rules.bearer_timber);
        settle("joist_timber", &form.joist_timber, &mut rules.joist_timber);
        self.settle_rules(&spot, &form, &mut rules);
        let usual_joist = Usual {
            kind: "joists",
            section: rules.joist,
            timber: rules.joist_timber.clone(),
            timber_is_given: form.joist_timber.is_some(),
        };
        let usual_bearer = Usual {
            kind: "bearers",
            section: rules.bearer,
            timber: rules.bearer_timber.clone(),
            timber_is_given: form.bearer_timber.is_some(),
        };
        let bearers = self.bearers(&usual_bearer, rules.row_width);
        let given = GivenFrame {
            joists: self.joists(&usual_joist, &bearers),
            joist_sets: self.joist_sets(&usual_joist, &bearers),
            bearers: bearers.into_iter().map(|(bearer, _)| bearer).collect(),
            walls: self.walls(rules.longest_overhang),
            point_loads: self.point_loads(rules.longest_overhang),
            floor_load: self.floor_load(&rules.floor_load),
            seat_length: self.length(
                &spot,
                "seat_length",
                form.seat_length.as_ref(),
                &limits::SEAT_LENGTH,
            ),
            load_doubt: self.measured(
                &spot,
                "load_doubt",
                form.load_doubt.as_ref(),
                &RATIO,
                &limits::LOAD_DOUBT,
            ),
            set_share: self.set_share(&spot, form.set_share.as_ref()),
        };
        FrameInput {
            off: self.off(&spot, &form, &given),
            given,
            rules,
            no_walls: self.form.loads.as_ref().and_then(|loads| loads.no_walls.clone()),
        }
    }

    fn settle_rules(&mut self, spot: &Spot, form: &FrameForm, rules: &mut FrameRules) {
        rules.bearers_run = form.bearers_run.map(direction);
        if let Some(span) =
            self.length(spot, "longest_span", form.longest_span.as_ref(), &limits::SPAN)
        {
            rules.longest_span = span;
        }
    }

    /// Why the frame is left out, if it is.
    fn off(&mut self, spot: &Spot, form: &FrameForm, given: &GivenFrame) -> Option<String> {
        let why = form.off.clone()?;
        if why.trim().is_empty() {
            let hint = "write off = \"why the frame is left out\", or take it out";
            self.missing(spot, "off", "off gives no reason", hint);
        }
        let n_timbers = given.bearers.len() + given.joists.len() + given.joist_sets.len();
        if n_timbers > 0 {
            let warning = self.warning(
                spot,
                "off",
                "bearers and joists are given, and the frame is left out",
            );
            self.faults.push(warning.hint("take off out to have the frame calculated"));
        }
        Some(why)
    }

    fn set_share(&mut self, spot: &Spot, form: Option<&ShareForm>) -> Option<(f64, f64)> {
        let [from, to] = match form? {
            ShareForm::One(share) => [share, share],
            ShareForm::Range([from, to]) => [from, to],
        };
        let mut read =
            |share| self.measured(spot, "set_share", Some(share), &RATIO, &limits::SET_SHARE);
        let (from, to) = (read(from), read(to));
        let (from, to) = (from?, to?);
        if from > to {
            let fault = self
                .error(spot, "set_share", "set_share begins above its end")
                .value(format!("{from} to {to}"))
                .hint("write the smaller share first");
            self.faults.push(fault);
            return None;
        }
        Some((from, to))
    }

    /// The walls that are listed; an empty list if the job says that there are none.
    fn walls(&mut self, margin: Length) -> Option<Vec<Wall>> {
        let form = self.form;
        let no_walls = form.loads.as_ref().and_then(|loads| loads.no_walls.as_ref());
        if let Some(why) = no_walls {
            self.check_no_walls(why);
        }
        let mut walls = Vec::new();
        let mut names = BTreeSet::new();
        for (idx, wall) in form.wall.iter().enumerate() {
            let spot = self.spot(format!("wall.{idx}"), called("wall", &wall.name, idx));
            self.check_name(&spot, "name", &wall.name);
            if !names.insert(&wall.name) {
                self.given_twice(&spot, "name", "wall", &wall.name, None);
                continue;
            }
            let load = self.wall_load(&spot, wall);
            let Some(run) = self.run(&spot, wall.from.as_ref(), wall.to.as_ref()) else { continue };
            self.check_run_inside(&spot, &run, margin);
            let Some((load, source)) = load else { continue };
            walls.push(Wall { name: wall.name.clone(), run, load, source });
        }
        (no_walls.is_some() || !form.wall.is_empty()).then_some(walls)
    }

    fn check_no_walls(&mut self, why: &str) {
        let spot = self.spot("loads", "[loads]");
        if why.trim().is_empty() {
            let hint = "write no_walls = \"why no wall stands on the floor\", or take it out";
            self.missing(&spot, "no_walls", "no_walls gives no reason", hint);
        }
        if !self.form.wall.is_empty() {
            let fault = self.error(&spot, "no_walls", "there are no walls, and walls are listed");
            self.faults.push(fault.hint("take no_walls out, or the walls"));
        }
    }

    /// What a wall weighs with what rests on it, and where that comes from.
    fn wall_load(&mut self, spot: &Spot, form: &WallForm) -> Option<(LineLoad, String)> {
        match (&form.load, form.build_up.is_empty()) {
            (Some(typed), true) => {
                let range = &limits::LINE_LOAD;
                let load = self.measured(spot, "load", Some(typed), &LINE_LOAD, range)?;
                let source = form.reason.as_deref().unwrap_or(NO_REASON).to_owned();
                Some((LineLoad::kn_per_m(load), source))
            }
            (None, false) => self.built_load(spot, form),
            (given, _) => {
                let what = match given {
                    Some(_) => "it has a load and a build_up",
                    None => "its load is not given: an unknown load is not zero",
                };
                let hint = "write load = \"1.5 kN/m\", or build_up = [\"weatherboard-wall\"] with height = 2700";
                let key = if given.is_some() { "load" } else { "" };
                self.missing(spot, key, what, hint);
                None
            }
        }
    }

    /// The load of a build-up: each part over the height of the wall or the width of the roof.
    fn built_load(&mut self, spot: &Spot, form: &WallForm) -> Option<(LineLoad, String)> {
        let parts: Vec<Option<&BuildUp>> = (0..form.build_up.len())
            .map(|idx| self.build_up(spot, &format!("build_up.{idx}"), &form.build_up[idx]))
            .collect();
        let parts = parts.into_iter().collect::<Option<Vec<_>>>();
        let height = self.length(spot, "height", form.height.as_ref(), &limits::WALL_HEIGHT);
        let roof = self.length(spot, "roof_width", form.roof_width.as_ref(), &limits::ROOF_WIDTH);
        let parts = parts?;
        let sides = [
            (Over::Height, "height", form.height.is_some()),
            (Over::RoofWidth, "roof_width", form.roof_width.is_some()),
        ];
        for (over, key, is_given) in sides {
            let needed = parts.iter().find(|part| part.over == over);
            match (needed, is_given) {
                (Some(part), false) => {
                    let what = format!("{key} is not given, which {} needs", part.id);
                    self.missing(spot, "build_up", what, format!("write {key} = 2700"));
                }
                (None, true) => {
                    let what =
                        format!("{key} is given, and nothing in its build_up is counted over it");
                    let fault = self.error(spot, key, what);
                    self.faults.push(
                        fault.hint(format!("add what is missing to build_up, or take {key} out")),
                    );
                }
                _ => {}
            }
        }
        let mut load = LineLoad::ZERO;
        let mut words = Vec::new();
        for part in parts {
            let over = if part.over == Over::Height { height? } else { roof? };
            load += part.load * over;
            words.push(format!(
                "{} {} x {} ({})",
                part.id,
                part.load,
                self.show(over),
                part.status
            ));
        }
        let mut source = words.join(" + ");
        if let Some(reason) = &form.reason {
            source = format!("{reason}: {source}");
        }
        Some((load, source))
    }

    fn build_up(&mut self, spot: &Spot, key: &str, id: &str) -> Option<&'static BuildUp> {
        let found = build_ups().iter().find(|known| known.id == id);
        if found.is_none() {
            let known: Vec<&str> = build_ups().iter().map(|one| one.id.as_str()).collect();
            let hint = match nearest_name(id, known.iter().copied()) {
                Some(nearest) => format!("did you mean \"{nearest}\"?"),
                None => format!("known: {}", known.join(", ")),
            };
            let fault = self
                .error(spot, key, "there is no such build-up")
                .value(format!("\"{id}\""))
                .hint(hint);
            self.faults.push(fault);
        }
        found
    }

    fn point_loads(&mut self, margin: Length) -> Vec<PointLoad> {
        let form = self.form;
        let mut loads = Vec::new();
        let mut names = BTreeSet::new();
        for (idx, load) in form.load.iter().enumerate() {
            let spot = self.spot(format!("load.{idx}"), called("load", &load.name, idx));
            self.check_name(&spot, "name", &load.name);
            if !names.insert(&load.name) {
                self.given_twice(&spot, "name", "load", &load.name, None);
                continue;
            }
            if load.at.is_none() {
                self.missing(&spot, "", "its place is not given", "write at = [x, y]");
            }
            if load.load.is_none() {
                let what = "its load is not given: an unknown load is not zero";
                self.missing(&spot, "", what, "write load = \"250 kg\"");
            }
            let range = &limits::POINT_LOAD;
            let force = self.measured(&spot, "load", load.load.as_ref(), &FORCE, range);
            let at = load.at.as_ref().and_then(|at| self.position(&spot, "at", at));
            if let Some(at) = at {
                self.check_inside(&spot, "at", &[at], margin);
            }
            let (Some(at), Some(force)) = (at, force) else { continue };
            let source = load.reason.as_deref().unwrap_or(NO_REASON).to_owned();
            loads.push(PointLoad { name: load.name.clone(), at, load: Force::kn(force), source });
        }
        loads
    }

    fn check_run_inside(&mut self, spot: &Spot, run: &Run, margin: Length) {
        self.check_inside(spot, "to", &[run.place(run.from), run.place(run.to)], margin);
    }

    /// Loads stand on the floor, or no further outside than timbers may run on.
    fn check_inside(&mut self, spot: &Spot, key: &str, places: &[Position], margin: Length) {
        let reach = self.site.reach();
        let outside = |coordinate: fn(&Position) -> Length| {
            let all = || reach.iter().map(coordinate);
            let (least, most) =
                (all().min_by(Length::total_cmp)?, all().max_by(Length::total_cmp)?);
            let beyond = |at: Length| (least - at).max(at - most);
            places.iter().map(coordinate).map(beyond).max_by(Length::total_cmp)
        };
        let (Some(in_x), Some(in_y)) = (outside(|place| place.x), outside(|place| place.y)) else {
            return;
        };
        let beyond = in_x.max(in_y);
        if beyond > margin {
            let load = spot.place.clone();
            let fault = self
                .error(spot, key, "it stands outside the floor")
                .value(format!("{} outside", self.show(beyond)))
                .limit(format!("within {}", self.show(margin)))
                .hint(FrameFault::LoadOutside { load, beyond }.hint());
            self.faults.push(fault);
        }
    }

    /// Area loads; one that is not given beside the other is that of the rules.
    fn floor_load(&mut self, usual: &FloorLoad) -> Option<FloorLoad> {
        let form = self.form.loads.clone()?;
        let spot = self.spot("loads", "[loads]");
        let range = &limits::FLOOR_LOAD;
        let dead = self.measured(&spot, "floor", form.floor.as_ref(), &AREA_LOAD, range);
        let live = self.measured(&spot, "live", form.live.as_ref(), &AREA_LOAD, range);
        if form.floor.is_none() && form.live.is_none() {
            return None;
        }
        let reason = form.reason.as_deref().unwrap_or(NO_REASON);
        let source = match (&form.floor, &form.live) {
            (Some(_), Some(_)) => reason.to_owned(),
            (Some(_), None) => format!("dead: {reason}; live as assumed ({})", usual.source),
            _ => format!("live: {reason}; dead as assumed ({})", usual.source),
        };
        Some(FloorLoad {
            dead: dead.map_or(usual.dead, AreaLoad::kpa),
            live: live.map_or(usual.live, AreaLoad::kpa),
            source,
        })
    }
}
