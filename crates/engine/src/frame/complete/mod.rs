//! From what the builder gives to a whole frame: what is missing is filled in by rule and named.
//!
//! The rules for each part stand with it: [`rows`] for bearers, [`joists`], [`walls`]. All of it
//! is what such floors commonly look like, never what this one is known to be; so every figure
//! that is filled in is named in [`FrameSpec::assumed`].

mod stretch;
mod floor;
mod rows;
mod joists;
mod walls;
mod said;

use super::spec::{
    Bearer, Direction, FloorLoad, FrameSpec, Joist, PointLoad, Section, Timber, Wall,
};
use crate::ids::{JoistId, RoomId, SupportId};
use crate::site::Site;
use crate::units::{LENGTH_EPS, Length, LineLoad};
use floor::{Floor, Region};
use joists::{Laid, Layout, Taken};
use rows::Row;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// A joist nearer than this to a lone support does not hold its bearer level.
const LEVER: Length = Length::mm(50.0);

/// With more lone supports than this it is the plan that is askew, not the supports.
const MOST_LONE: usize = 3;

/// Joists given by direction and spacing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct JoistSet {
    /// Which way they run; across the bearers if not given.
    pub direction: Option<Direction>,
    /// From one to the next.
    pub spacing: Length,
    /// Where the first one lies (its coordinate across); the end of the bearers if not given.
    pub first: Option<Length>,
    /// Only under these rooms; empty means under the whole floor.
    pub rooms: Vec<RoomId>,
    /// Section of each.
    pub section: Section,
    /// What they are made of.
    pub timber: Timber,
}

/// What the builder knows of the frame; anything may be missing.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct GivenFrame {
    /// Bearers; none if they are to be proposed from the grid of supports.
    pub bearers: Vec<Bearer>,
    /// Joists one by one.
    pub joists: Vec<Joist>,
    /// Joists by direction and spacing.
    pub joist_sets: Vec<JoistSet>,
    /// Walls with what rests on them; `None` if nothing was said of walls.
    pub walls: Option<Vec<Wall>>,
    /// Loads at one place.
    pub point_loads: Vec<PointLoad>,
    /// Area loads.
    pub floor_load: Option<FloorLoad>,
    /// Length of bearer on a seat.
    pub seat_length: Option<Length>,
    /// Doubt about the loads (a ratio).
    pub load_doubt: Option<f64>,
    /// Share of the sag that has set (ratios from and to).
    pub set_share: Option<(f64, f64)>,
}

/// What is taken where the builder gives nothing, with the reason for each.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FrameRules {
    /// Which way bearers run; the way that makes the longer rows if not given.
    pub bearers_run: Option<Direction>,
    /// Supports on one line within this are one row; also how far a support may stand beside
    /// its bearer.
    pub row_width: Length,
    /// Bearers and joists span no further than this between two places that they rest on.
    pub longest_span: Length,
    /// Timbers run on to the edge of the floor if that is no further than this.
    pub longest_overhang: Length,
    /// Section of a bearer.
    pub bearer: Section,
    /// Section of a joist.
    pub joist: Section,
    /// From joist to joist.
    pub joist_spacing: Length,
    /// What bearers are made of.
    pub bearer_timber: Timber,
    /// What joists are made of.
    pub joist_timber: Timber,
    /// Outer walls with their part of the roof.
    pub outer_wall: LineLoad,
    /// Walls between rooms.
    pub inner_wall: LineLoad,
    /// Area loads.
    pub floor_load: FloorLoad,
    /// Length of bearer on a seat.
    pub seat_length: Length,
    /// Doubt about the loads (a ratio).
    pub load_doubt: f64,
    /// Share of the sag that has set (ratios from and to).
    pub set_share: (f64, f64),
    /// Where sections, spacing and walls come from, with their standing, in one sentence.
    pub source: String,
}

/// Why a frame cannot be proposed.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
pub enum ProposalFault {
    /// No supports to build on.
    #[error("there are no supports")]
    NoSupports,
    /// Two supports at one place.
    #[error("supports {first} and {second} stand at one place")]
    SupportsTogether {
        /// The one named first in the job.
        first: SupportId,
        /// The other one.
        second: SupportId,
    },
    /// A support alone in its row, whose bearer nothing holds level.
    #[error("support {support} is alone in its row, and no joists hold a bearer over it level")]
    LoneSupport {
        /// The support.
        support: SupportId,
    },
    /// So many supports alone in their rows that the house must lie askew on the plan.
    #[error("{alone} of {of} supports stand in no row along x or y")]
    NotInRows {
        /// How many are alone, with nothing to hold their bearers level.
        alone: usize,
        /// How many there are in all.
        of: usize,
    },
    /// Two rows of supports so close that their bearers would lie in one another.
    #[error("the rows of supports {first} and {second} lie in one another")]
    RowsMixed {
        /// The first support of one row.
        first: SupportId,
        /// The first support of the other one.
        second: SupportId,
    },
    /// No joist rests on two bearers.
    #[error("no joist along {direction} of the plan rests on two bearers")]
    NoJoists {
        /// Which way they were to run: x or y.
        direction: String,
    },
    /// Joists under a room that is not there.
    #[error("joists are said to lie under room {room}, which is not in the job")]
    UnknownRoom {
        /// The name that is not known.
        room: RoomId,
    },
    /// A spacing so close, or places so far apart, that it cannot be meant.
    #[error("joists {spacing} apart would be more than 200000 on one floor")]
    TooManyJoists {
        /// From one to the next.
        spacing: Length,
    },
    /// A measure of the rules that no frame can be made with.
    #[error("{rule} is {value}, it has to be more than {limit}")]
    RuleOutOfRange {
        /// Which one.
        rule: &'static str,
        /// What it is.
        value: Length,
        /// What it has to exceed.
        limit: Length,
    },
}

impl ProposalFault {
    /// The way out.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::NoSupports => "add the supports with their places",
            Self::SupportsTogether { .. } => "correct the place of one, or take it out",
            Self::LoneSupport { .. } => {
                "say which way the bearers run, or list the bearers with their supports; a support \
                 that carries no bearer does not belong among the supports"
            }
            Self::NotInRows { .. } => {
                "turn the plan so that the timbers lie along x and y, or list the bearers with \
                 their supports"
            }
            Self::RowsMixed { .. } => {
                "check the places of the supports, or list the bearers with their supports"
            }
            Self::NoJoists { .. } => {
                "joists need two bearers side by side, no further apart than the longest span: \
                 check the places of the supports, or list bearers and joists"
            }
            Self::UnknownRoom { .. } => "correct the name, or add the room with its outline",
            Self::TooManyJoists { .. } => "check the spacing and the places of the supports",
            Self::RuleOutOfRange { .. } => "check the number and its unit",
        }
    }
}

/// Fills in what the builder does not give, so that a whole frame stands under the floor.
///
/// Whatever is given is kept as it is. Bearers are filled in only if none are given; joists if
/// none are given one by one, or under the rooms that no set of joists covers; walls if nothing
/// was said of walls. The rules for each are in the source beside it. Everything that is filled
/// in is named in [`FrameSpec::assumed`], in the order bearers, joists, walls, loads.
///
/// Two parts of one deck that lie apart are two floors, so that neither carries the area between
/// them; the second has a number behind the name of the deck.
///
/// # Errors
/// Every fault found at the first step that has one: rules, supports, bearers, joists. A lone
/// support is a fault only if no direction of the bearers does better; more than three of them are
/// one fault, [`ProposalFault::NotInRows`]. What the given parts
/// themselves have wrong is left to [`super::FrameFault`].
pub fn complete(
    site: &Site,
    given: &GivenFrame,
    rules: &FrameRules,
) -> Result<FrameSpec, Vec<ProposalFault>> {
    let faults = faults(site, given, rules);
    if !faults.is_empty() {
        return Err(faults);
    }
    let floor = Floor::new(site, rules.longest_span, rules.row_width);
    let draft = draft(site, &floor, given, rules)?;
    let mut assumed = Vec::new();
    if site.rooms().is_empty() {
        assumed.push(
            "assumed: the floor ends where the supports do, as no rooms are drawn (rule of this \
             program)"
                .to_owned(),
        );
    }
    if given.bearers.is_empty() {
        assumed.extend(said::of_bearers(&draft.bearers, rules));
    }
    assumed.extend(draft.said);
    assumed.extend(said::of_laying(&draft.laid));
    let joists = named(&given.joists, draft.laid.joists);
    assumed.extend(idle(&draft.bearers, &joists));
    let walls = given.walls.clone().unwrap_or_else(|| {
        let raised = walls::raise(site, &floor, &draft.bearers, &joists, rules);
        assumed.extend(said::of_walls(&raised, !site.rooms().is_empty(), rules));
        raised.walls
    });
    let mut spec = FrameSpec {
        bearers: draft.bearers,
        joists,
        walls,
        point_loads: given.point_loads.clone(),
        floor_load: rules.floor_load.clone(),
        seat_length: rules.seat_length,
        load_doubt: rules.load_doubt,
        set_share: rules.set_share,
        assumed,
    };
    fill_figures(&mut spec, given);
    Ok(spec)
}

/// Puts given loads and figures in, and names those that are taken from the rules.
fn fill_figures(spec: &mut FrameSpec, given: &GivenFrame) {
    match &given.floor_load {
        Some(load) => spec.floor_load = load.clone(),
        None => spec.assumed.push(format!(
            "assumed: the floor weighs {} and carries {} where people are asked for ({})",
            spec.floor_load.dead,
            spec.floor_load.live,
            spec.floor_load.source.trim().trim_end_matches('.'),
        )),
    }
    match given.seat_length {
        Some(length) => spec.seat_length = length,
        None => spec.assumed.push(format!(
            "assumed: bearers rest on {} of each seat (common practice)",
            spec.seat_length
        )),
    }
    match given.load_doubt {
        Some(doubt) => spec.load_doubt = doubt,
        None => spec.assumed.push(format!(
            "assumed: loads may be {} % more or less (a choice of this program)",
            percent(spec.load_doubt)
        )),
    }
    match given.set_share {
        Some(share) => spec.set_share = share,
        None => spec.assumed.push(format!(
            "assumed: between {} % and {} % of the sag has set for good, which nobody can see, so \
             both ends are worked out (a choice of this program)",
            percent(spec.set_share.0),
            percent(spec.set_share.1)
        )),
    }
}

fn percent(ratio: f64) -> f64 {
    crate::units::round_to(ratio * 100.0, 1.0)
}

/// What is wrong with the numbers and names that the rules work on.
fn faults(site: &Site, given: &GivenFrame, rules: &FrameRules) -> Vec<ProposalFault> {
    let mut faults = Vec::new();
    let mut above = |rule, value: Length, limit: Length| {
        let is_fine = value.is_finite() && value > limit;
        (!is_fine).then(|| faults.push(ProposalFault::RuleOutOfRange { rule, value, limit }));
    };
    let one = Length::mm(1.0);
    above("the width of a row", rules.row_width, one);
    above("the longest span", rules.longest_span, one);
    above("the longest overhang", rules.longest_overhang, -one);
    above("the breadth of a bearer", rules.bearer.breadth, one);
    above("the breadth of a joist", rules.joist.breadth, one);
    above("the spacing of joists", rules.joist_spacing, rules.joist.breadth);
    for set in &given.joist_sets {
        above("the breadth of a given joist", set.section.breadth, one);
        above("the spacing of given joists", set.spacing, set.section.breadth);
    }
    if site.supports().is_empty() {
        faults.push(ProposalFault::NoSupports);
    }
    let rooms: BTreeSet<&RoomId> = site.rooms().iter().map(|room| &room.id).collect();
    for room in given.joist_sets.iter().flat_map(|set| &set.rooms) {
        if !rooms.contains(room) {
            faults.push(ProposalFault::UnknownRoom { room: room.clone() });
        }
    }
    if given.bearers.is_empty() {
        faults.extend(together(site));
    }
    faults
}

/// Supports in the same square millimetre.
fn together(site: &Site) -> Vec<ProposalFault> {
    let mut places: BTreeMap<(i64, i64), &SupportId> = BTreeMap::new();
    let mut faults = Vec::new();
    for support in site.supports() {
        let place = (support.at.x.to_mm().round() as i64, support.at.y.to_mm().round() as i64);
        if let Some(first) = places.insert(place, &support.id) {
            let (first, second) = (first.clone(), support.id.clone());
            faults.push(ProposalFault::SupportsTogether { first, second });
        }
    }
    faults
}

/// Bearers with the joists on them.
struct Draft {
    bearers: Vec<Bearer>,
    laid: Laid,
    /// Sentences on the joists.
    said: Vec<String>,
}

fn draft(
    site: &Site,
    floor: &Floor,
    given: &GivenFrame,
    rules: &FrameRules,
) -> Result<Draft, Vec<ProposalFault>> {
    if !given.bearers.is_empty() {
        return lay(site, floor, given, rules, given.bearers.clone());
    }
    let mut parts: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (support, part) in floor.part_of_support.iter().enumerate() {
        parts.entry(*part).or_default().push(support);
    }
    let said = rules.bearers_run.or_else(|| across_given(given));
    let parts: Vec<Choice> =
        parts.into_values().map(|part| Choice::new(site, floor, &part, said, rules)).collect();
    let first: Vec<usize> = vec![0; parts.len()];
    let attempt = attempt(site, floor, given, rules, &parts, &first)?;
    let lone =
        alone_and_loose(site, &attempt.bearers, &named(&given.joists, attempt.laid.joists.clone()));
    if lone.is_empty() {
        return Ok(attempt);
    }
    other_way(site, floor, given, rules, &parts, lone)
}

/// Turns the bearers of every part that has a loose one, if that leaves fewer loose.
fn other_way(
    site: &Site,
    floor: &Floor,
    given: &GivenFrame,
    rules: &FrameRules,
    parts: &[Choice],
    lone: Vec<SupportId>,
) -> Result<Draft, Vec<ProposalFault>> {
    let loose: BTreeSet<&SupportId> = lone.iter().collect();
    let is_loose = |part: &Choice| {
        let members = part.rows[0].iter().flat_map(|row| &row.members);
        members.into_iter().any(|&support| loose.contains(&site.supports()[support].id))
    };
    let turned: Vec<usize> =
        parts.iter().map(|part| usize::from(part.rows.len() > 1 && is_loose(part))).collect();
    let faults = |lone| lone_faults(site, lone);
    if turned.iter().all(|&choice| choice == 0) {
        return Err(faults(lone));
    }
    let Ok(second) = attempt(site, floor, given, rules, parts, &turned) else {
        return Err(faults(lone));
    };
    let still =
        alone_and_loose(site, &second.bearers, &named(&given.joists, second.laid.joists.clone()));
    match still.len() {
        0 => Ok(second),
        fewer if fewer < lone.len() => Err(faults(still)),
        _ => Err(faults(lone)),
    }
}

/// Each lone support as a fault, or all of them as one where they are many.
fn lone_faults(site: &Site, lone: Vec<SupportId>) -> Vec<ProposalFault> {
    if lone.len() > MOST_LONE {
        let (alone, of) = (lone.len(), site.supports().len());
        return vec![ProposalFault::NotInRows { alone, of }];
    }
    lone.into_iter().map(|support| ProposalFault::LoneSupport { support }).collect()
}

/// Across the given joists, if they all run one way.
fn across_given(given: &GivenFrame) -> Option<Direction> {
    let single = given.joists.iter().map(|joist| joist.run.direction);
    let sets = given.joist_sets.iter().filter_map(|set| set.direction);
    let ways: BTreeSet<Direction> = single.chain(sets).collect();
    (ways.len() == 1).then(|| ways.into_iter().next().map(Direction::turned)).flatten()
}

/// Rows of one part of the supports, the better direction first.
struct Choice {
    rows: Vec<Vec<Row>>,
}

impl Choice {
    fn new(
        site: &Site,
        floor: &Floor,
        part: &[usize],
        said: Option<Direction>,
        rules: &FrameRules,
    ) -> Self {
        let rows = |direction| rows::rows(site, floor, part, direction, rules);
        if let Some(direction) = said {
            return Self { rows: vec![rows(direction)] };
        }
        let longer = longer_side(site, part);
        let (along, across) = (rows(longer), rows(longer.turned()));
        let is_along = rows::score(&along) <= rows::score(&across);
        Self { rows: if is_along { vec![along, across] } else { vec![across, along] } }
    }
}

fn longer_side(site: &Site, part: &[usize]) -> Direction {
    let extent = |direction: Direction| {
        let along = part.iter().map(|&support| direction.along(site.supports()[support].at));
        let low = along.clone().fold(Length::mm(f64::INFINITY), Length::min);
        along.fold(Length::mm(f64::NEG_INFINITY), Length::max) - low
    };
    if extent(Direction::Y) > extent(Direction::X) { Direction::Y } else { Direction::X }
}

fn attempt(
    site: &Site,
    floor: &Floor,
    given: &GivenFrame,
    rules: &FrameRules,
    parts: &[Choice],
    chosen: &[usize],
) -> Result<Draft, Vec<ProposalFault>> {
    let rows: Vec<&Row> =
        parts.iter().zip(chosen).flat_map(|(part, &choice)| &part.rows[choice]).collect();
    let bearers = rows::bearers(site, floor, &rows, rules)?;
    lay(site, floor, given, rules, bearers)
}

/// One set of joists to be laid.
struct ToLay<'a> {
    set: JoistSet,
    regions: Vec<Region<'a>>,
}

/// Lays joists over the bearers: the given sets, then by rule what is under neither.
fn lay(
    site: &Site,
    floor: &Floor,
    given: &GivenFrame,
    rules: &FrameRules,
    bearers: Vec<Bearer>,
) -> Result<Draft, Vec<ProposalFault>> {
    let mut taken = Taken::default();
    given.joists.iter().for_each(|joist| taken.add(joist.run, &joist.floor));
    let mut draft = Draft { bearers, laid: Laid::default(), said: Vec::new() };
    let mut faults = Vec::new();
    for ToLay { set, regions } in to_lay(floor, given, rules, &mut draft.said) {
        let before = draft.laid.joists.len();
        let directions = ways(&draft.bearers, set.direction);
        for region in &regions {
            for &direction in &directions {
                let (spacing, first, section) = (set.spacing, set.first, set.section);
                let timber = &set.timber;
                let layout =
                    Layout { region, floor, direction, spacing, first, section, timber, rules };
                faults.extend(layout.lay(&draft.bearers, &mut taken, &mut draft.laid).err());
            }
        }
        if draft.laid.joists.len() == before {
            let direction = if directions.contains(&Direction::X) { "x" } else { "y" };
            faults.push(ProposalFault::NoJoists { direction: direction.to_owned() });
        }
    }
    apart(floor, &draft.bearers, &mut draft.laid.joists, site);
    if faults.is_empty() { Ok(draft) } else { Err(faults) }
}

/// Which ways joists run: as said, or across whatever bearers there are, most of them first.
fn ways(bearers: &[Bearer], said: Option<Direction>) -> Vec<Direction> {
    if let Some(direction) = said {
        return vec![direction];
    }
    let n = |direction| bearers.iter().filter(|b| b.run.direction == direction).count();
    let (along_x, along_y) = (n(Direction::X), n(Direction::Y));
    match (along_x, along_y) {
        (_, 0) => vec![Direction::Y],
        (0, _) => vec![Direction::X],
        _ if along_x >= along_y => vec![Direction::Y, Direction::X],
        _ => vec![Direction::X, Direction::Y],
    }
}

fn to_lay<'a>(
    floor: &Floor<'a>,
    given: &GivenFrame,
    rules: &FrameRules,
    said: &mut Vec<String>,
) -> Vec<ToLay<'a>> {
    let mut all: Vec<ToLay> = Vec::new();
    for set in &given.joist_sets {
        let rooms: BTreeSet<&RoomId> = set.rooms.iter().collect();
        let regions = match rooms.is_empty() {
            true => floor.regions.clone(),
            false => under_rooms(floor, |room| rooms.contains(room)),
        };
        all.push(ToLay { set: set.clone(), regions });
    }
    let covers_all = given.joist_sets.iter().any(|set| set.rooms.is_empty());
    if !given.joists.is_empty() || covers_all {
        return all;
    }
    let covered: BTreeSet<&RoomId> = given.joist_sets.iter().flat_map(|set| &set.rooms).collect();
    let mut regions = floor.regions.clone();
    if !covered.is_empty() {
        regions = under_rooms(floor, |room| !covered.contains(room));
        regions.extend(floor.regions.iter().filter(|region| region.is_outside).cloned());
    }
    if regions.is_empty() {
        return all;
    }
    let extent = if covered.is_empty() { "" } else { " where none are given" };
    said.push(format!(
        "assumed: joists {} at {:.0} mm across the bearers{extent}, of {} ({})",
        said::section(rules.joist),
        rules.joist_spacing.to_mm(),
        rules.joist_timber.name,
        said::standing(rules),
    ));
    let set = JoistSet {
        direction: None,
        spacing: rules.joist_spacing,
        first: None,
        rooms: Vec::new(),
        section: rules.joist,
        timber: rules.joist_timber.clone(),
    };
    all.push(ToLay { set, regions });
    all
}

/// The floors as far as they lie in some of the rooms.
fn under_rooms<'a>(floor: &Floor<'a>, is_meant: impl Fn(&RoomId) -> bool) -> Vec<Region<'a>> {
    let decks = floor.regions.iter().filter(|region| !region.is_outside);
    let kept = decks.map(|region| {
        let shapes = region.shapes.iter().filter(|shape| is_meant(shape.room)).copied().collect();
        Region { name: region.name.clone(), shapes, is_outside: false }
    });
    kept.filter(|region| !region.shapes.is_empty()).collect()
}

/// Gives the joists of parts that lie apart, where no rooms are drawn, floors of their own.
fn apart(floor: &Floor, bearers: &[Bearer], joists: &mut [Joist], site: &Site) {
    let outside: BTreeSet<&str> = (floor.regions.iter())
        .filter(|region| region.is_outside)
        .map(|region| region.name.as_str())
        .collect();
    let part_of: BTreeMap<&SupportId, usize> = (site.supports().iter())
        .zip(&floor.part_of_support)
        .map(|(support, part)| (&support.id, *part))
        .collect();
    let under = by_line(bearers);
    let mut numbers: BTreeMap<usize, usize> = BTreeMap::new();
    for joist in joists.iter_mut().filter(|joist| outside.contains(joist.floor.as_str())) {
        let crossed = crossed(&under, bearers, joist);
        let support = crossed.first().and_then(|&bearer| bearers[bearer].supports.first());
        let Some(part) = support.and_then(|support| part_of.get(support)) else { continue };
        let next = numbers.len() + 1;
        let number = *numbers.entry(*part).or_insert(next);
        if number > 1 {
            joist.floor = format!("{} {number}", joist.floor);
        }
    }
}

/// Bearers of each direction in order of their line.
fn by_line(bearers: &[Bearer]) -> [Vec<usize>; 2] {
    let mut of = [Vec::new(), Vec::new()];
    for (bearer_idx, bearer) in bearers.iter().enumerate() {
        of[bearer.run.direction as usize].push(bearer_idx);
    }
    for order in &mut of {
        order.sort_by(|&a, &b| bearers[a].run.at.total_cmp(&bearers[b].run.at).then(a.cmp(&b)));
    }
    of
}

/// The bearers that a joist crosses.
fn crossed(under: &[Vec<usize>; 2], bearers: &[Bearer], joist: &Joist) -> Vec<usize> {
    let order = &under[joist.run.direction.turned() as usize];
    let begin = order.partition_point(|&b| bearers[b].run.at < joist.run.from - LENGTH_EPS);
    let end = order.partition_point(|&b| bearers[b].run.at <= joist.run.to + LENGTH_EPS);
    let along = order[begin..end.max(begin)].iter().copied();
    along.filter(|&b| bearers[b].run.reaches(joist.run.at, LENGTH_EPS)).collect()
}

/// Names for the joists that were laid, in order of their floor and line, none of them used by a
/// given one; the given ones come first.
fn named(given: &[Joist], mut laid: Vec<Joist>) -> Vec<Joist> {
    laid.sort_by(|a, b| {
        let by_floor = a.floor.cmp(&b.floor).then(a.run.direction.cmp(&b.run.direction));
        by_floor.then(a.run.at.total_cmp(&b.run.at)).then(a.run.from.total_cmp(&b.run.from))
    });
    let used: BTreeSet<&str> = given.iter().map(|joist| joist.id.as_str()).collect();
    let mut names = (1..).map(|n: usize| format!("J{n}")).filter(|n| !used.contains(n.as_str()));
    let mut joists = given.to_vec();
    for mut joist in laid {
        joist.id = JoistId::new(names.next().expect("numbers do not end"));
        joists.push(joist);
    }
    joists
}

/// Whether a joist crosses a bearer far enough from the one support under it to hold it level.
fn holds(site: &Site, bearer: &Bearer, joist: &Joist) -> bool {
    let support = bearer.supports.first().and_then(|id| site.support(id));
    support.is_some_and(|support| {
        (bearer.run.direction.along(support.at) - joist.run.at).abs() >= LEVER
    })
}

/// Bearers on which no joists lie, in a sentence.
fn idle(bearers: &[Bearer], joists: &[Joist]) -> Option<String> {
    let under = by_line(bearers);
    let busy: BTreeSet<usize> =
        joists.iter().flat_map(|joist| crossed(&under, bearers, joist)).collect();
    let idle: Vec<&str> = (0..bearers.len())
        .filter(|bearer| !busy.contains(bearer))
        .map(|bearer| bearers[bearer].id.as_str())
        .collect();
    (!idle.is_empty()).then(|| {
        format!("left out: joists over {}, beside which there is no bearer", idle.join(", "))
    })
}

/// Supports alone under their bearer that no joists hold level.
///
/// A bearer over two supports is held, and so is a joist over two bearers that are held. A bearer
/// over one support is held if a joist that is held without it crosses it away from the support.
fn alone_and_loose(site: &Site, bearers: &[Bearer], joists: &[Joist]) -> Vec<SupportId> {
    let under = by_line(bearers);
    let mut is_held: Vec<bool> = bearers.iter().map(|bearer| bearer.supports.len() > 1).collect();
    if is_held.iter().all(|held| *held) {
        return Vec::new();
    }
    let crossings: Vec<Vec<usize>> =
        joists.iter().map(|joist| crossed(&under, bearers, joist)).collect();
    loop {
        let mut has_grown = false;
        for (joist, crossed) in joists.iter().zip(&crossings) {
            let lines: BTreeSet<i64> = (crossed.iter())
                .filter(|&&bearer| is_held[bearer])
                .map(|&bearer| bearers[bearer].run.at.to_mm().round() as i64)
                .collect();
            for &bearer in crossed.iter().filter(|_| lines.len() > 1) {
                let holds = !is_held[bearer] && holds(site, &bearers[bearer], joist);
                is_held[bearer] |= holds;
                has_grown |= holds;
            }
        }
        if !has_grown {
            break;
        }
    }
    let loose = bearers.iter().zip(is_held).filter(|(_, held)| !held);
    loose.flat_map(|(bearer, _)| bearer.supports.first().cloned()).collect()
}
