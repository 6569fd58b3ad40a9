//! Bearers and joists as chains of stations: their ends, what they rest on, and what crosses them.

use super::faults::FrameFault;
use super::spec::{Direction, FrameSpec, Run, Section, Timber};
use crate::ids::SupportId;
use crate::site::Support;
use crate::units::{LENGTH_EPS, Length};
use std::collections::BTreeMap;

/// A support this far beside the line of its bearer still stands under it: most of a stump's
/// width and a bearer's.
pub const BESIDE: Length = Length::mm(150.0);

/// Two places of a timber this close are one: to a builder they are, and beside a stretch of a
/// tenth of a millimetre the stiffness of a span is lost to rounding.
pub(super) const NEAR: Length = Length::mm(1.0);

/// A bearer or a joist.
#[derive(Clone, Debug)]
pub(super) struct Member {
    /// What it is called in messages.
    pub name: String,
    pub run: Run,
    /// Bending stiffness, N mm2.
    pub stiffness: f64,
    /// Section modulus, mm3.
    pub modulus: f64,
    /// Area, mm2.
    pub area: f64,
    /// Weight along it, N/mm.
    pub weight: f64,
    pub stations: Vec<Station>,
}

/// A place on a member.
#[derive(Clone, Debug)]
pub(super) struct Station {
    /// Coordinate along, mm.
    pub along: f64,
    /// The place on the plan whose height it shares with whatever else passes there.
    pub node: usize,
    /// The member bends freely here.
    pub joint: bool,
}

/// All members, bearers first, in the order of the frame.
#[derive(Clone, Debug)]
pub(super) struct Members {
    pub members: Vec<Member>,
    pub n_bearers: usize,
    /// Plan place of every node along x and y, mm.
    pub nodes: Vec<(f64, f64)>,
    /// The node over each support, by the support's index.
    pub node_of_support: Vec<usize>,
    /// The first bearer over each support, with the station there.
    pub bearer_of_support: Vec<(usize, usize)>,
    /// Breadth of all bearers on each support, mm.
    pub breadth_on_support: Vec<f64>,
}

/// Where a joist crosses a bearer.
struct Crossing {
    bearer: usize,
    joist: usize,
}

fn member(name: String, run: Run, section: Section, timber: &Timber, extra: f64) -> Member {
    let (breadth, depth) = (section.breadth.to_mm(), section.depth.to_mm());
    Member {
        name,
        run,
        stiffness: timber.stiffness.to_n_per_mm2() * breadth * depth.powi(3) / 12.0,
        modulus: breadth * depth * depth / 6.0,
        area: breadth * depth,
        weight: timber.density.weight_along(section.breadth, section.depth).to_kn_per_m() + extra,
        stations: Vec::new(),
    }
}

/// Lays out every member with its stations.
///
/// `breaks` are further coordinates along each member, by its index: ends of walls, point loads,
/// ends of neighbouring joists.
///
/// # Errors
/// What [`super::checks`] has not looked at: it is to be run before.
pub(super) fn lay_out(
    supports: &[Support],
    spec: &FrameSpec,
    breaks: &[Vec<f64>],
) -> Result<Members, Vec<FrameFault>> {
    let index: BTreeMap<&SupportId, usize> =
        supports.iter().enumerate().map(|(idx, support)| (&support.id, idx)).collect();
    let crossings = crossings(spec);
    let n_bearers = spec.bearers.len();
    let mut places: Vec<Places<'_>> =
        breaks.iter().map(|breaks| Places { crossings: Vec::new(), breaks }).collect();
    for crossing in &crossings {
        let (bearer, joist) = (crossing.bearer, n_bearers + crossing.joist);
        places[bearer].crossings.push(spec.joists[crossing.joist].run.at.to_mm());
        places[joist].crossings.push(spec.bearers[crossing.bearer].run.at.to_mm());
    }
    let mut laid = Laid { nodes: Vec::new(), index: &index, supports };
    let mut members = Vec::with_capacity(places.len());
    let mut on = OnSupports::new(supports.len());
    for (bearer_idx, bearer) in spec.bearers.iter().enumerate() {
        let name = format!("bearer {}", bearer.id);
        let extra = bearer.extra.to_kn_per_m();
        let mut member = member(name, bearer.run, bearer.section, &bearer.timber, extra);
        laid.stations_of_bearer(&mut member, bearer, &places[bearer_idx], bearer_idx, &mut on);
        members.push(member);
    }
    let mut crossed: Vec<Vec<(f64, usize, bool)>> = vec![Vec::new(); spec.joists.len()];
    for &Crossing { bearer, joist } in &crossings {
        let on = spec.bearers[bearer].run;
        let at = spec.joists[joist].run.at.max(on.from).min(on.to).to_mm();
        let station = station_at(&members[bearer], at).expect("a crossing is a station");
        let node = members[bearer].stations[station].node;
        let joint = spec.joists[joist].joints.contains(&spec.bearers[bearer].id);
        let run = spec.joists[joist].run;
        let along = spec.bearers[bearer].run.at.max(run.from).min(run.to);
        crossed[joist].push((along.to_mm(), node, joint));
    }
    for (joist_idx, joist) in spec.joists.iter().enumerate() {
        let name = format!("joist {}", joist.id);
        let mut member = member(name, joist.run, joist.section, &joist.timber, 0.0);
        laid.stations_of_joist(&mut member, &places[n_bearers + joist_idx], &crossed[joist_idx]);
        members.push(member);
    }
    let nothing: Vec<FrameFault> = (supports.iter().zip(&on.node))
        .filter(|(_, node)| node.is_none())
        .map(|(support, _)| FrameFault::SupportUnderNothing(support.id.clone()))
        .collect();
    if !nothing.is_empty() {
        return Err(nothing);
    }
    Ok(Members {
        members,
        n_bearers,
        nodes: laid.nodes,
        node_of_support: on.node.into_iter().flatten().collect(),
        bearer_of_support: on.bearer,
        breadth_on_support: on.breadth,
    })
}

/// Coordinates along a member where it needs a station.
struct Places<'a> {
    /// Where it crosses others.
    crossings: Vec<f64>,
    /// Where its load changes.
    breaks: &'a [f64],
}

/// What lies on each support.
struct OnSupports {
    node: Vec<Option<usize>>,
    bearer: Vec<(usize, usize)>,
    breadth: Vec<f64>,
}

impl OnSupports {
    fn new(n: usize) -> Self {
        Self { node: vec![None; n], bearer: vec![(0, 0); n], breadth: vec![0.0; n] }
    }
}

struct Laid<'a> {
    nodes: Vec<(f64, f64)>,
    index: &'a BTreeMap<&'a SupportId, usize>,
    supports: &'a [Support],
}

impl Laid<'_> {
    fn new_node(&mut self, run: &Run, along: f64) -> usize {
        let place = run.place(Length::mm(along));
        self.nodes.push((place.x.to_mm(), place.y.to_mm()));
        self.nodes.len() - 1
    }

    fn stations_of_bearer(
        &mut self,
        member: &mut Member,
        bearer: &super::spec::Bearer,
        places: &Places<'_>,
        bearer_idx: usize,
        on: &mut OnSupports,
    ) {
        let direction = bearer.run.direction;
        let seats: Vec<(f64, usize, bool)> = bearer
            .supports
            .iter()
            .map(|id| {
                let support = self.index[id];
                let along = direction.along(self.supports[support].at);
                let along = along.max(bearer.run.from).min(bearer.run.to);
                (along.to_mm(), support, bearer.joints.contains(id))
            })
            .collect();
        let on_seats: Vec<f64> = seats.iter().map(|seat| seat.0).collect();
        for along in merged(&bearer.run, &on_seats, places) {
            let seat = seats.iter().find(|seat| (seat.0 - along).abs() <= LENGTH_EPS.to_mm());
            let shared = seat.and_then(|seat| on.node[seat.1]);
            let node = shared.unwrap_or_else(|| self.new_node(&bearer.run, along));
            if let Some(&(_, support, _)) = seat {
                on.breadth[support] += bearer.section.breadth.to_mm();
                if on.node[support].is_none() {
                    on.node[support] = Some(node);
                    on.bearer[support] = (bearer_idx, member.stations.len());
                }
            }
            member.stations.push(Station { along, node, joint: seat.is_some_and(|seat| seat.2) });
        }
    }

    fn stations_of_joist(
        &mut self,
        member: &mut Member,
        places: &Places<'_>,
        crossed: &[(f64, usize, bool)],
    ) {
        for along in merged(&member.run, &[], places) {
            let over =
                crossed.iter().find(|crossing| (crossing.0 - along).abs() <= LENGTH_EPS.to_mm());
            let node = over.map_or_else(|| self.new_node(&member.run, along), |over| over.1);
            let joint = over.is_some_and(|over| over.2);
            member.stations.push(Station { along, node, joint });
        }
    }
}

/// Every place along a member once, in order. Of two that are [`NEAR`] the firmer stays: a seat
/// before a crossing, that before an end, that before a change of the load.
fn merged(run: &Run, seats: &[f64], places: &Places<'_>) -> Vec<f64> {
    let (from, to) = (run.from.to_mm(), run.to.to_mm());
    let mut kept: Vec<f64> = Vec::new();
    for rank in [seats, &places.crossings, &[from, to], places.breaks] {
        let mut rank: Vec<f64> = rank.iter().map(|along| along.clamp(from, to)).collect();
        rank.sort_by(f64::total_cmp);
        for along in rank {
            let after = kept.partition_point(|&other| other < along);
            let near =
                |other: Option<&f64>| other.is_some_and(|at| (at - along).abs() <= NEAR.to_mm());
            if !near(kept[..after].last()) && !near(kept.get(after)) {
                kept.insert(after, along);
            }
        }
    }
    kept
}

/// The station of a member at a coordinate along it, or the nearest that is [`NEAR`].
pub(super) fn station_at(member: &Member, along: f64) -> Option<usize> {
    let after = member.stations.partition_point(|station| station.along < along);
    let away = |at: usize| {
        let station = member.stations.get(at)?;
        Some((at, (station.along - along).abs())).filter(|found| found.1 <= NEAR.to_mm())
    };
    let found = [after.checked_sub(1).and_then(away), away(after)].into_iter().flatten();
    found.min_by(|a, b| a.1.total_cmp(&b.1)).map(|found| found.0)
}

/// Every place where a joist crosses a bearer, joist by joist.
fn crossings(spec: &FrameSpec) -> Vec<Crossing> {
    let mut found = Vec::new();
    for direction in [Direction::X, Direction::Y] {
        let mut bearers: Vec<usize> = (0..spec.bearers.len())
            .filter(|&bearer| spec.bearers[bearer].run.direction == direction)
            .collect();
        bearers.sort_by(|&a, &b| {
            spec.bearers[a].run.at.total_cmp(&spec.bearers[b].run.at).then(a.cmp(&b))
        });
        for (joist_idx, joist) in spec.joists.iter().enumerate() {
            if joist.run.direction == direction {
                continue;
            }
            let from = joist.run.from - NEAR;
            let begin = bearers.partition_point(|&bearer| spec.bearers[bearer].run.at < from);
            found.extend(
                bearers[begin..]
                    .iter()
                    .take_while(|&&bearer| spec.bearers[bearer].run.at <= joist.run.to + NEAR)
                    .filter(|&&bearer| spec.bearers[bearer].run.reaches(joist.run.at, NEAR))
                    .map(|&bearer| Crossing { bearer, joist: joist_idx }),
            );
        }
    }
    found
}

/// The bearers that each joist crosses, by its index.
pub(super) fn bearers_under_joists(spec: &FrameSpec) -> Vec<Vec<usize>> {
    let mut under = vec![Vec::new(); spec.joists.len()];
    for crossing in crossings(spec) {
        under[crossing.joist].push(crossing.bearer);
    }
    under
}
