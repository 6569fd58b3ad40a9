//! How readings hang together: which points get a level from the datum, and which do not.

use super::{Checker, NO_READINGS, NOT_JOINED, a_few};
use crate::input::NamedBook;
use floorwright_engine::ids::PointId;
use floorwright_engine::site::Position;
use floorwright_engine::survey::{Datum, Survey};
use floorwright_engine::units::{LENGTH_EPS, Length};
use std::collections::{BTreeMap, BTreeSet};

/// Points and setups that hang together.
#[derive(Debug, Default)]
struct Group {
    setups: Vec<String>,
    points: BTreeSet<PointId>,
}

/// Sets that are joined as readings are met.
#[derive(Default)]
struct Joined {
    parent: Vec<usize>,
    nodes: BTreeMap<PointId, usize>,
}

impl Joined {
    fn new_node(&mut self) -> usize {
        self.parent.push(self.parent.len());
        self.parent.len() - 1
    }

    fn point(&mut self, point: &PointId) -> usize {
        if let Some(&node) = self.nodes.get(point) {
            return node;
        }
        let node = self.new_node();
        self.nodes.insert(point.clone(), node);
        node
    }

    fn root(&mut self, mut node: usize) -> usize {
        while self.parent[node] != node {
            self.parent[node] = self.parent[self.parent[node]];
            node = self.parent[node];
        }
        node
    }

    fn join(&mut self, first: usize, second: usize) {
        let (first, second) = (self.root(first), self.root(second));
        self.parent[first.max(second)] = first.min(second);
    }
}

/// The groups, in the order in which they are met in the document.
fn groups(survey: &Survey, books: &[NamedBook]) -> Vec<Group> {
    let mut joined = Joined::default();
    let mut setups = Vec::new();
    for setup in survey.setups.iter().filter(|setup| !setup.readings.is_empty()) {
        let node = joined.new_node();
        setups.push((node, setup.id.to_string()));
        for reading in &setup.readings {
            let point = joined.point(&reading.point);
            joined.join(node, point);
        }
    }
    for leg in &survey.legs {
        let (from, to) = (joined.point(&leg.from), joined.point(&leg.to));
        joined.join(from, to);
    }
    for book in books {
        for pair in book.book.rows.windows(2) {
            let (from, to) = (joined.point(&pair[0].point), joined.point(&pair[1].point));
            joined.join(from, to);
        }
    }
    let mut by_root: BTreeMap<usize, Group> = BTreeMap::new();
    for (node, setup) in setups {
        let root = joined.root(node);
        by_root.entry(root).or_default().setups.push(setup);
    }
    for (point, node) in joined.nodes.clone() {
        let root = joined.root(node);
        by_root.entry(root).or_default().points.insert(point);
    }
    by_root.into_values().collect()
}

/// The points of the largest group, the first of equals.
pub(super) fn first_group(survey: &Survey) -> BTreeSet<PointId> {
    let mut largest = BTreeSet::new();
    for group in groups(survey, &[]) {
        if group.points.len() > largest.len() {
            largest = group.points;
        }
    }
    largest
}

impl Checker<'_> {
    pub(super) fn check_net(&mut self, survey: &Survey, books: &[NamedBook]) {
        let groups = groups(survey, books);
        if groups.is_empty() && self.has_errors() {
            return; // they may be among what could not be read
        }
        if groups.is_empty() {
            let spot = self.spot("", "");
            let fault = self.warning(&spot, "", NO_READINGS);
            self.faults.push(fault.hint("add readings to a setup, a leg or a level book"));
            return;
        }
        let mut anchors: BTreeSet<PointId> = match &survey.datum {
            Datum::Benchmarks | Datum::CorrelatedBenchmarks(_) => {
                survey.benchmarks.iter().map(|benchmark| benchmark.point.clone()).collect()
            }
            Datum::PointIsZero(point) => BTreeSet::from([point.clone()]),
            Datum::Free { approximate } => {
                approximate.iter().map(|(point, _)| point.clone()).collect()
            }
        };
        anchors.extend(books.iter().filter_map(|book| Some(book.book.rows.first()?.point.clone())));
        if !anchors.is_empty() {
            self.check_anchored(&groups, &anchors);
        }
        let read: BTreeSet<PointId> =
            groups.iter().flat_map(|group| group.points.iter().cloned()).collect();
        self.check_spread(&read);
    }

    fn check_anchored(&mut self, groups: &[Group], anchors: &BTreeSet<PointId>) {
        let is_anchored = |group: &Group| group.points.iter().any(|point| anchors.contains(point));
        let none_anchored = !groups.iter().any(&is_anchored);
        for group in groups.iter().filter(|group| !is_anchored(group)) {
            let points: Vec<&str> = group.points.iter().map(PointId::as_str).collect();
            let (place, key) = match &group.setups[..] {
                [] => (format!("points {}", a_few(&points)), String::new()),
                [only] => (format!("setup {only}"), self.setup_path(only)),
                [first, ..] => (format!("setups {}", a_few(&group.setups)), self.setup_path(first)),
            };
            let spot = self.spot(key, place);
            let what = format!("{NOT_JOINED}, so these get no level: {}", a_few(&points));
            let fault = if none_anchored {
                self.error(&spot, "", what)
            } else {
                self.warning(&spot, "", what)
            };
            self.faults.push(fault.hint(format!(
                "read one of the points with a level again from here, or one of these from there ({})",
                a_few(&anchors.iter().map(PointId::as_str).collect::<Vec<_>>())
            )));
        }
    }

    fn setup_path(&self, id: &str) -> String {
        let idx = self.form.setup.iter().position(|setup| setup.id == id);
        idx.map_or(String::new(), |idx| format!("setup.{idx}"))
    }

    /// One point is no floor, and points on one line are no surface.
    fn check_spread(&mut self, read: &BTreeSet<PointId>) {
        if self.has_errors() {
            return; // the points that could not be read may lie elsewhere
        }
        let spot = self.spot("", "");
        if let [only] = read.iter().collect::<Vec<_>>()[..] {
            let fault = self.warning(&spot, "", format!("only one point was read: {only}"));
            self.faults.push(fault.hint("a level is a comparison: read at least a second point"));
            return;
        }
        let places: Vec<Position> =
            read.iter().filter_map(|point| self.floor_place(point)).collect();
        if places.len() >= 2 && on_one_line(&places) {
            let fault = self
                .warning(&spot, "", "all floor points lie on one line")
                .value(format!("{} points", places.len()))
                .hint("levels and a profile can be had, a floor map cannot: read points beside the line");
            self.faults.push(fault);
        }
    }
}

fn on_one_line(places: &[Position]) -> bool {
    let first = places[0];
    let farthest = places
        .iter()
        .copied()
        .max_by(|a, b| first.distance(*a).total_cmp(&first.distance(*b)))
        .unwrap_or(first);
    let reach = first.distance(farthest);
    if reach < LENGTH_EPS {
        return true;
    }
    places.iter().all(|place| {
        let cross = (farthest.x - first.x).to_mm() * (place.y - first.y).to_mm()
            - (farthest.y - first.y).to_mm() * (place.x - first.x).to_mm();
        Length::mm(cross.abs() / reach.to_mm()) < Length::mm(1.0)
    })
}
