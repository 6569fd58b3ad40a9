//! Whether a frame can be computed with: every fault at once.

use super::faults::FrameFault;
use super::spec::{Bearer, Direction, FrameSpec, Run, Section, Timber};
use super::stations::{BESIDE, NEAR, bearers_under_joists};
use crate::ids::SupportId;
use crate::site::Support;
use crate::units::{LENGTH_EPS, Length, Stress};
use std::collections::{BTreeMap, BTreeSet};

/// Sides of a timber, in millimetres: from a batten to a laminated beam.
const SIDE_MM: (f64, f64) = (10.0, 1200.0);

/// Stiffness of a timber or of a steel beam in its place, in N/mm2.
const STIFFNESS: (f64, f64) = (500.0, 250_000.0);

/// Loads along a line, in kN/m; a masonry wall of two storeys is below it.
const LINE_LOAD: (f64, f64) = (0.0, 200.0);

/// Loads over the floor, in kPa.
const AREA_LOAD: (f64, f64) = (0.0, 50.0);

/// Loads at one place, in kN.
const POINT_LOAD: (f64, f64) = (0.0, 500.0);

/// Plan coordinates, in millimetres.
const PLACE_MM: (f64, f64) = (-1e6, 1e6);

/// Length of a timber, in millimetres.
const TIMBER_MM: (f64, f64) = (10.0, 1e6);

/// Length of a wall, in millimetres.
const WALL_MM: (f64, f64) = (1.0, 1e6);

/// Every fault of a frame over these supports.
pub(super) fn faults(supports: &[Support], spec: &FrameSpec) -> Vec<FrameFault> {
    let mut faults = numbers(supports, spec);
    if spec.bearers.is_empty() {
        faults.push(FrameFault::NoBearers);
    }
    if !faults.is_empty() {
        return faults;
    }
    let places: BTreeMap<&SupportId, &Support> =
        supports.iter().map(|support| (&support.id, support)).collect();
    for bearer in &spec.bearers {
        rests(&places, bearer, &mut faults);
    }
    bearers_clash(spec, &mut faults);
    joists_clash(spec, &mut faults);
    joists_rest(spec, &mut faults);
    let named: BTreeSet<&SupportId> =
        spec.bearers.iter().flat_map(|bearer| &bearer.supports).collect();
    faults.extend(
        supports
            .iter()
            .filter(|support| !named.contains(&support.id))
            .map(|support| FrameFault::SupportUnderNothing(support.id.clone())),
    );
    faults
}

fn numbers(supports: &[Support], spec: &FrameSpec) -> Vec<FrameFault> {
    let mut faults = Vec::new();
    for support in supports {
        let name = format!("support {}", support.id);
        for place in [support.at.x, support.at.y] {
            within(&name, "a place", place.to_mm(), PLACE_MM, "mm", &mut faults);
        }
    }
    let mut names = BTreeSet::new();
    let mut name_once = |name: &str, faults: &mut Vec<FrameFault>| {
        if !names.insert(name.to_owned()) {
            faults.push(FrameFault::GivenTwice(name.to_owned()));
        }
    };
    for bearer in &spec.bearers {
        let name = format!("bearer {}", bearer.id);
        name_once(&name, &mut faults);
        run(&name, &bearer.run, TIMBER_MM, &mut faults);
        timber(&name, bearer.section, &bearer.timber, &mut faults);
        let extra = bearer.extra.to_kn_per_m();
        within(&name, "an extra load", extra, LINE_LOAD, "kN/m", &mut faults);
    }
    for joist in &spec.joists {
        let name = format!("joist {}", joist.id);
        name_once(&name, &mut faults);
        run(&name, &joist.run, TIMBER_MM, &mut faults);
        timber(&name, joist.section, &joist.timber, &mut faults);
    }
    for wall in &spec.walls {
        let name = format!("wall {}", wall.name);
        run(&name, &wall.run, WALL_MM, &mut faults);
        let load = wall.load.to_kn_per_m();
        within(&name, "a load", load, LINE_LOAD, "kN/m", &mut faults);
    }
    for point in &spec.point_loads {
        let name = format!("load {}", point.name);
        within(&name, "a load", point.load.to_kn(), POINT_LOAD, "kN", &mut faults);
        for place in [point.at.x, point.at.y] {
            within(&name, "a place", place.to_mm(), PLACE_MM, "mm", &mut faults);
        }
    }
    let load = &spec.floor_load;
    for (what, load) in [("a dead load", load.dead), ("a live load", load.live)] {
        within("the floor", what, load.to_kpa(), AREA_LOAD, "kPa", &mut faults);
    }
    let seat = spec.seat_length.to_mm();
    within("the frame", "a seat length", seat, (10.0, 1000.0), "mm", &mut faults);
    within("the frame", "a doubt about loads", spec.load_doubt, (0.0, 1.0), "", &mut faults);
    let (from, to) = spec.set_share;
    within("the frame", "a share of sag that has set", from, (0.0, 1.0), "", &mut faults);
    within("the frame", "a share of sag that has set", to, (from, 1.0), "", &mut faults);
    faults
}

fn run(name: &str, run: &Run, length: (f64, f64), faults: &mut Vec<FrameFault>) {
    for place in [run.at, run.from, run.to] {
        within(name, "a place", place.to_mm(), PLACE_MM, "mm", faults);
    }
    within(name, "a length", run.length().to_mm(), length, "mm", faults);
}

fn timber(name: &str, section: Section, timber: &Timber, faults: &mut Vec<FrameFault>) {
    within(name, "a breadth", section.breadth.to_mm(), SIDE_MM, "mm", faults);
    within(name, "a depth", section.depth.to_mm(), SIDE_MM, "mm", faults);
    let stiffness = timber.stiffness.to_n_per_mm2();
    within(name, "a modulus of elasticity", stiffness, STIFFNESS, "N/mm²", faults);
    let density = timber.density.to_kg_per_m3();
    within(name, "a density", density, (50.0, 9000.0), "kg/m³", faults);
    let Some(strength) = timber.strength else { return };
    let across = strength.across_grain.unwrap_or(Stress::n_per_mm2(1.0));
    for strength in [strength.bending, strength.shear, across] {
        let strength = strength.to_n_per_mm2();
        within(name, "a strength", strength, (0.1, 1000.0), "N/mm²", faults);
    }
}

fn within(
    timber: &str,
    what: &'static str,
    value: f64,
    (low, high): (f64, f64),
    unit: &str,
    faults: &mut Vec<FrameFault>,
) {
    if value >= low && value <= high {
        return;
    }
    faults.push(FrameFault::OutOfRange {
        timber: timber.to_owned(),
        what,
        value: format!("{value} {unit}").trim_end().to_owned(),
        limit: format!("{low} to {high} {unit}").trim_end().to_owned(),
    });
}

fn rests(places: &BTreeMap<&SupportId, &Support>, bearer: &Bearer, faults: &mut Vec<FrameFault>) {
    let unlike: BTreeSet<&SupportId> = bearer.supports.iter().collect();
    if unlike.is_empty() || unlike.len() < bearer.supports.len() {
        faults.push(FrameFault::BearerOnNothing(bearer.id.clone()));
    }
    for id in &bearer.supports {
        let (bearer_id, support) = (bearer.id.clone(), id.clone());
        let Some(known) = places.get(id) else {
            faults.push(FrameFault::UnknownSupport { bearer: bearer_id, support });
            continue;
        };
        let direction = bearer.run.direction;
        let beside = (direction.across(known.at) - bearer.run.at).abs();
        let along = direction.along(known.at);
        let beyond = (bearer.run.from - along).max(along - bearer.run.to);
        if beside > BESIDE + LENGTH_EPS {
            faults.push(FrameFault::SupportBeside {
                bearer: bearer_id,
                support,
                beside,
                limit: BESIDE,
            });
        } else if beyond > NEAR {
            faults.push(FrameFault::SupportBeyondEnd { bearer: bearer_id, support, beyond });
        }
    }
    for over in bearer.joints.iter().filter(|joint| !bearer.supports.contains(joint)) {
        faults.push(FrameFault::JointElsewhere {
            timber: format!("bearer {}", bearer.id),
            over: format!("support {over}"),
        });
    }
}

/// How far two runs on one line run over one another, if they do.
fn overlap(a: &Run, b: &Run) -> Option<Length> {
    let same_line = a.direction == b.direction && (a.at - b.at).abs() <= NEAR;
    let overlap = a.to.min(b.to) - a.from.max(b.from);
    (same_line && overlap > NEAR).then_some(overlap)
}

fn cross(a: &Run, b: &Run) -> bool {
    let inside = |run: &Run, at: Length| at > run.from + NEAR && at < run.to - NEAR;
    a.direction != b.direction && inside(a, b.at) && inside(b, a.at)
}

fn bearers_clash(spec: &FrameSpec, faults: &mut Vec<FrameFault>) {
    for (a, b) in neighbours(spec.bearers.iter().map(|bearer| bearer.run)) {
        let (a, b) = (&spec.bearers[a], &spec.bearers[b]);
        if let Some(by) = overlap(&a.run, &b.run) {
            faults.push(FrameFault::BearersOverlap(a.id.clone(), b.id.clone(), by));
        } else if cross(&a.run, &b.run) {
            faults.push(FrameFault::BearersCross(a.id.clone(), b.id.clone()));
        }
    }
}

fn joists_clash(spec: &FrameSpec, faults: &mut Vec<FrameFault>) {
    for (a, b) in neighbours(spec.joists.iter().map(|joist| joist.run)) {
        let (a, b) = (&spec.joists[a], &spec.joists[b]);
        if overlap(&a.run, &b.run).is_some() || cross(&a.run, &b.run) {
            faults.push(FrameFault::JoistsClash(a.id.clone(), b.id.clone()));
        }
    }
}

/// Pairs of runs that may meet: those on one line one after the other, and those that are turned.
fn neighbours(runs: impl Iterator<Item = Run>) -> Vec<(usize, usize)> {
    let runs: Vec<Run> = runs.collect();
    let of = |direction: Direction| -> Vec<usize> {
        let mut of: Vec<usize> =
            (0..runs.len()).filter(|&run| runs[run].direction == direction).collect();
        of.sort_by(|&a, &b| {
            let by_line = runs[a].at.total_cmp(&runs[b].at);
            by_line.then(runs[a].from.total_cmp(&runs[b].from)).then(a.cmp(&b))
        });
        of
    };
    let (along_x, along_y) = (of(Direction::X), of(Direction::Y));
    let mut pairs = Vec::new();
    for same in [&along_x, &along_y] {
        for (place, &a) in same.iter().enumerate() {
            let near = |b: &&usize| runs[**b].at - runs[a].at <= NEAR;
            pairs.extend(same[place + 1..].iter().take_while(near).map(|&b| (a, b)));
        }
    }
    for &a in &along_x {
        let begin = along_y.partition_point(|&b| runs[b].at < runs[a].from);
        let reach = along_y[begin..].iter().take_while(|&&b| runs[b].at <= runs[a].to);
        pairs.extend(reach.map(|&b| (a, b)));
    }
    pairs
}

fn joists_rest(spec: &FrameSpec, faults: &mut Vec<FrameFault>) {
    for (joist, under) in spec.joists.iter().zip(bearers_under_joists(spec)) {
        if under.len() < 2 {
            let bearers = under.len();
            faults.push(FrameFault::JoistOverAir { joist: joist.id.clone(), bearers });
        }
        let on = |over: &crate::ids::BearerId| {
            under.iter().any(|&bearer| spec.bearers[bearer].id == *over)
        };
        for over in joist.joints.iter().filter(|joint| !on(joint)) {
            faults.push(FrameFault::JointElsewhere {
                timber: format!("joist {}", joist.id),
                over: format!("bearer {over}"),
            });
        }
    }
}
