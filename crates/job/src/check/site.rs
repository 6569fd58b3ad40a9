//! Rooms, supports and points.

use super::{Checker, Named, Spot, a_few, called, over_support};
use crate::fault::Fault;
use crate::form_v1::{FinishForm, PlaceForm, PointKindForm, Quantity, RoomForm};
use crate::input::SupportDetail;
use crate::limits;
use floorwright_engine::ids::{PointId, RoomId, SupportId};
use floorwright_engine::site::{Finish, Outline, Point, PointKind, Position, Room, Site, Support};
use floorwright_engine::units::Length;
use std::collections::{BTreeMap, BTreeSet};

/// More corners than this are not a room.
const MOST_CORNERS: usize = 500;

/// The site as it is put together; things that are faulty are in it too, so that what names them
/// is not called unknown.
#[derive(Debug, Default)]
pub(super) struct SiteDraft {
    rooms: Vec<RoomDraft>,
    supports: Vec<Support>,
    details: Vec<SupportDetail>,
    support_index: BTreeMap<String, usize>,
    support_lines: Vec<Option<usize>>,
    /// Where each stands, if its place could be read.
    support_places: Vec<Option<Position>>,
    points: Vec<PointDraft>,
    point_index: BTreeMap<String, usize>,
}

#[derive(Debug)]
struct RoomDraft {
    name: String,
    outline: Option<Outline>,
    finish: Finish,
    deck: String,
    spot: Spot,
    /// No corner was given, so that the outline is to be found.
    silent: bool,
}

#[derive(Debug)]
struct PointDraft {
    point: Point,
    spot: Spot,
}

impl Checker<'_> {
    pub(super) fn rooms(&mut self) {
        let form = self.form;
        for (idx, room) in form.room.iter().enumerate() {
            let spot = self.spot(format!("room.{idx}"), called("room", &room.name, idx));
            self.check_name(&spot, "name", &room.name);
            if let Some(first) = self.site.rooms.iter().find(|known| known.name == room.name) {
                let line = self.line(&first.spot, "");
                self.given_twice(&spot, "name", "room", &room.name, line);
                continue;
            }
            let outline = self.outline(&spot, room);
            self.site.rooms.push(RoomDraft {
                name: room.name.clone(),
                outline,
                finish: match room.finish {
                    Some(FinishForm::Plaster) => Finish::Plaster,
                    Some(FinishForm::Tiles) => Finish::Tiles,
                    Some(FinishForm::Boards) | None => Finish::Boards,
                },
                deck: room.deck.clone().unwrap_or_else(|| "main".to_owned()),
                spot,
                silent: room.outline.is_empty(),
            });
        }
    }

    fn outline(&mut self, spot: &Spot, room: &RoomForm) -> Option<Outline> {
        self.outline_of(spot, &room.outline)
    }

    pub(super) fn outline_of(&mut self, spot: &Spot, outline: &[[Quantity; 2]]) -> Option<Outline> {
        if outline.is_empty() {
            return None;
        }
        if outline.len() > MOST_CORNERS {
            let fault = self
                .error(spot, "outline", "the outline has too many corners")
                .value(outline.len().to_string())
                .limit(format!("at most {MOST_CORNERS}"))
                .hint("leave out corners that lie on a straight wall");
            self.faults.push(fault);
            return None;
        }
        let corners: Vec<Option<Position>> = (0..outline.len())
            .map(|corner| self.position(spot, &format!("outline.{corner}"), &outline[corner]))
            .collect();
        let corners = corners.into_iter().collect::<Option<Vec<_>>>()?;
        match Outline::new(corners) {
            Ok(outline) => Some(outline),
            Err(error) => {
                let fault = self.error(spot, "outline", error.to_string());
                self.faults
                    .push(fault.hint("give the corners in order, walking round the room once"));
                None
            }
        }
    }

    pub(super) fn position(
        &mut self,
        spot: &Spot,
        key: &str,
        at: &[Quantity; 2],
    ) -> Option<Position> {
        let unit = self.units;
        let x = self.exact_length(spot, key, &at[0], unit, &limits::POSITION);
        let y = self.exact_length(spot, key, &at[1], unit, &limits::POSITION);
        Some(Position { x: x?.to_length(), y: y?.to_length() })
    }

    pub(super) fn supports(&mut self) {
        let form = self.form;
        for (idx, support) in form.support.iter().enumerate() {
            let spot = self.spot(format!("support.{idx}"), called("support", &support.id, idx));
            self.check_name(&spot, "id", &support.id);
            if let Some(&first) = self.site.support_index.get(&support.id) {
                let line = self.site.support_lines[first];
                self.given_twice(&spot, "id", "support", &support.id, line);
                continue;
            }
            let at = match &support.at {
                Some(at) => self.position(&spot, "at", at),
                None => {
                    self.missing(&spot, "", "its place is not given", "write at = [x, y]");
                    None
                }
            };
            let gap = self.length(&spot, "gap", support.gap.as_ref(), &limits::GAP);
            let max_lift =
                self.length(&spot, "max_lift", support.max_lift.as_ref(), &limits::MAX_LIFT);
            let may_lower =
                self.length(&spot, "may_lower", support.may_lower.as_ref(), &limits::MAY_LOWER);
            let height = self.length(&spot, "height", support.height.as_ref(), &limits::HEIGHT);
            let lift = self.length(&spot, "lift", support.lift.as_ref(), &limits::LIFT);
            if support.fixed.is_some() {
                if lift.is_some_and(|lift| lift != Length::ZERO) {
                    let fault = self
                        .error(&spot, "lift", "it is fixed and has a lift")
                        .hint("take out fixed, or lift");
                    self.faults.push(fault);
                }
                for (key, moved) in [("may_lower", may_lower), ("max_lift", max_lift)] {
                    if moved.is_some_and(|moved| moved > Length::ZERO) {
                        let fault = self
                            .error(&spot, key, format!("it is fixed and has a {key}"))
                            .hint(format!("take out fixed, or {key}"));
                        self.faults.push(fault);
                    }
                }
            }
            self.site.support_index.insert(support.id.clone(), self.site.supports.len());
            self.site.support_lines.push(self.line(&spot, ""));
            self.site.support_places.push(at);
            let id = SupportId::new(support.id.as_str());
            self.site.details.push(SupportDetail {
                id: id.clone(),
                kind: support.kind.clone(),
                size: support.size.clone(),
                height,
                lift,
                note: support.note.clone(),
            });
            self.site.supports.push(Support {
                id,
                at: at.unwrap_or_default(),
                gap: gap.unwrap_or_default(),
                max_lift,
                fixed: support.fixed.clone(),
                may_lower: may_lower.unwrap_or_default(),
            });
        }
    }

    pub(super) fn points(&mut self) {
        let form = self.form;
        let mut unplaced = Vec::new();
        for (idx, point) in form.point.iter().enumerate() {
            let spot = self.spot(format!("point.{idx}"), called("point", &point.id, idx));
            self.check_name(&spot, "id", &point.id);
            if let Some(&first) = self.site.point_index.get(&point.id) {
                let line = self.line(&self.site.points[first].spot, "");
                self.given_twice(&spot, "id", "point", &point.id, line);
                continue;
            }
            let at = match &point.at {
                Some(PlaceForm::Position(at)) => self.position(&spot, "at", at),
                Some(place) => self.place_over(&spot, over_support(place).unwrap_or_default()),
                None => None,
            };
            // A mark that levels are counted from is no part of the floor unless it is said to be.
            let is_mark = self.form.benchmark.iter().any(|mark| mark.point == point.id);
            let usual = if is_mark { PointKind::Benchmark } else { PointKind::Floor };
            let kind = point.kind.map_or(usual, point_kind);
            if let Some(room) = &point.room
                && !self.site.rooms.iter().any(|known| known.name == *room)
            {
                self.unknown(&spot, "room", Named::Room, room);
            }
            if point.at.is_none() && kind.is_floor() {
                unplaced.push((point.id.as_str(), spot.clone()));
            }
            let room = point.room.as_deref().map(RoomId::new);
            let point = Point { id: PointId::new(point.id.as_str()), at, kind, room };
            self.site.add_point(point, spot);
        }
        if let Some((_, spot)) = unplaced.first() {
            let names: Vec<&str> = unplaced.iter().map(|(name, _)| *name).collect();
            let spot = Spot { place: "floor points".to_owned(), ..spot.clone() };
            let what = format!("without a place, they shape no floor: {}", a_few(&names));
            let fault = self.warning(&spot, "", what);
            self.faults
                .push(fault.hint("write at = [x, y], or the name of the support that it is over"));
        }
    }

    fn place_over(&mut self, spot: &Spot, support: &str) -> Option<Position> {
        match self.site.support_index.get(support) {
            Some(&idx) => self.site.support_places[idx],
            None => {
                self.unknown(spot, "at", Named::Support, support);
                None
            }
        }
    }

    /// Makes sure that a point is there: as given, or as the floor over a support of that name.
    /// Otherwise a fault.
    pub(super) fn know_point(&mut self, spot: &Spot, key: &str, name: &str) -> bool {
        if name.trim().is_empty() {
            self.missing(
                spot,
                key,
                format!("{key} is missing"),
                "name the point where the staff's foot stood",
            );
            return false;
        }
        if self.site.point_index.contains_key(name) {
            return true;
        }
        if let Some(&idx) = self.site.support_index.get(name) {
            let at = self.site.support_places[idx];
            let point = Point { id: PointId::new(name), at, kind: PointKind::Floor, room: None };
            self.site.add_point(point, spot.clone());
            self.assume("a reading on the name of a support is on the floor over it");
            return true;
        }
        self.unknown(spot, key, Named::Point, name);
        false
    }

    /// Adds a point that is not among the job's, without a place; `false` if it is there already.
    pub(super) fn add_unplaced(&mut self, spot: &Spot, name: &str, kind: PointKind) -> bool {
        if name.trim().is_empty()
            || self.site.point_index.contains_key(name)
            || self.site.support_index.contains_key(name)
        {
            return false;
        }
        let point = Point { id: PointId::new(name), at: None, kind, room: None };
        self.site.add_point(point, spot.clone());
        true
    }

    /// Takes the place of a point from a row of readings.
    pub(super) fn point_of_row(
        &mut self,
        spot: &Spot,
        name: &str,
        at: Option<&[Quantity; 2]>,
        kind: Option<PointKind>,
    ) {
        let at = at.and_then(|at| self.position(spot, "x", at));
        if let Some(&idx) = self.site.point_index.get(name) {
            let draft = &mut self.site.points[idx];
            match (at, draft.point.at) {
                (Some(row_at), Some(known)) if row_at.distance(known) > Length::mm(1.0) => {
                    let fault = self
                        .error(spot, "x", format!("point {name} stands elsewhere before"))
                        .value(format!("{} away", row_at.distance(known)))
                        .limit("within 1 mm")
                        .hint("give each point one place, or another name");
                    self.faults.push(fault);
                }
                (Some(_), None) => draft.point.at = at,
                _ => {}
            }
            return;
        }
        let over = self.site.support_index.get(name).and_then(|&idx| self.site.support_places[idx]);
        if at.is_none() && kind.is_none() {
            return;
        }
        self.check_name(spot, "point", name);
        let point = Point {
            id: PointId::new(name),
            at: at.or(over),
            kind: kind.unwrap_or(PointKind::Floor),
            room: None,
        };
        self.site.add_point(point, spot.clone());
    }

    /// The names of the points that lie on the floor.
    pub(super) fn floor_points(&self) -> Vec<PointId> {
        let floor = self.site.points.iter().filter(|draft| draft.point.kind.is_floor());
        floor.map(|draft| draft.point.id.clone()).collect()
    }

    /// Where a floor point is.
    pub(super) fn floor_place(&self, point: &PointId) -> Option<Position> {
        let draft = &self.site.points[*self.site.point_index.get(point.as_str())?];
        if draft.point.kind.is_floor() { draft.point.at } else { None }
    }

    /// Joins the parts; by now every fault has been found but those of the parts together.
    pub(super) fn finish_site(&mut self) -> Option<(Site, Vec<SupportDetail>)> {
        self.check_support_places();
        self.check_size();
        self.find_outlines();
        self.check_points_inside();
        let draft = std::mem::take(&mut self.site);
        let mut rooms = Vec::new();
        for room in draft.rooms {
            if let Some(outline) = room.outline {
                rooms.push(Room {
                    id: RoomId::new(room.name),
                    outline,
                    finish: room.finish,
                    deck: room.deck,
                });
            }
        }
        let points: Vec<Point> = draft.points.into_iter().map(|draft| draft.point).collect();
        match Site::new(rooms, points, draft.supports) {
            Ok(site) => Some((site, draft.details)),
            Err(errors) => {
                // Only reached with faults that were reported above in the builder's words.
                if !self.faults.iter().any(Fault::is_error) {
                    let spot = self.spot("", "");
                    for error in errors {
                        let fault = self.error(&spot, "", error.to_string());
                        self.faults.push(fault);
                    }
                }
                None
            }
        }
    }

    /// Two supports on one place are one support written twice.
    fn check_support_places(&mut self) {
        let mut placed: Vec<(usize, Position)> = (0..self.site.supports.len())
            .filter_map(|idx| Some((idx, self.site.support_places[idx]?)))
            .collect();
        placed.sort_by(|(a_idx, a), (b_idx, b)| {
            a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)).then(a_idx.cmp(b_idx))
        });
        for pair in placed.windows(2) {
            let [(first_idx, first), (second_idx, second)] = [pair[0], pair[1]];
            if first != second {
                continue;
            }
            let ids = [first_idx, second_idx].map(|idx| &self.site.supports[idx].id);
            let what = format!("it stands on the place of support {}", ids[0]);
            let fault = Fault::error(&self.lines.file, format!("support {}", ids[1]), what)
                .at_line(self.site.support_lines[second_idx])
                .hint("correct the place of one of the two, or take it out");
            self.faults.push(fault);
        }
    }

    fn check_size(&mut self) {
        let supports: Vec<(SupportId, Position)> = (self.site.supports.iter())
            .zip(&self.site.support_places)
            .filter_map(|(support, at)| Some((support.id.clone(), (*at)?)))
            .collect();
        let points = self.site.points.iter().filter_map(|draft| draft.point.at);
        let places: Vec<Position> = points.chain(supports.iter().map(|(_, at)| *at)).collect();
        self.check_plan_size(&places, &supports);
    }

    /// Gives rooms without an outline the line round their outermost points.
    fn find_outlines(&mut self) {
        let only_room = self.site.rooms.len() == 1;
        for room_idx in 0..self.site.rooms.len() {
            if !self.site.rooms[room_idx].silent {
                continue;
            }
            let name = self.site.rooms[room_idx].name.clone();
            let mut places: Vec<Position> = self
                .site
                .points
                .iter()
                .filter(|draft| draft.point.kind.is_floor())
                .filter(|draft| match &draft.point.room {
                    Some(room) => room.as_str() == name,
                    None => only_room,
                })
                .filter_map(|draft| draft.point.at)
                .collect();
            if only_room {
                places.extend(self.site.supports.iter().map(|support| support.at));
            }
            if let Ok(outline) = Outline::new(outermost(places)) {
                self.site.rooms[room_idx].outline = Some(outline);
                self.assume(format!(
                    "the outline of room {name} is the line round its outermost points (none is given)"
                ));
                continue;
            }
            let spot = self.site.rooms[room_idx].spot.clone();
            let fault = self.error(&spot, "", "it has no outline, and too few points to find one");
            self.faults.push(fault.hint("write outline = [[x, y], …], or take the room out"));
        }
    }

    fn check_points_inside(&mut self) {
        let mut faults = Vec::new();
        for draft in &self.site.points {
            let (true, Some(at)) = (draft.point.kind.is_floor(), draft.point.at) else { continue };
            let own = draft.point.room.as_ref();
            let mut outlines = self
                .site
                .rooms
                .iter()
                .filter(|room| own.is_none_or(|own| own.as_str() == room.name))
                .filter_map(|room| room.outline.as_ref())
                .peekable();
            if outlines.peek().is_none() {
                continue;
            }
            let mut nearest = Length::mm(f64::INFINITY);
            for outline in outlines {
                if outline.contains(at, Length::ZERO) {
                    nearest = Length::ZERO;
                    break;
                }
                nearest = nearest.min(outline.distance_to_line(at));
            }
            if nearest <= limits::OUTSIDE_OUTLINE {
                continue;
            }
            let place = format!("point {}", draft.point.id);
            let spot = Spot { place, ..draft.spot.clone() };
            let fault = match own {
                Some(room) => {
                    self.error(&spot, "at", format!("it lies outside the outline of room {room}"))
                }
                None => self.warning(&spot, "at", "it lies outside every outline"),
            };
            faults.push(
                fault
                    .value(format!("{nearest} away"))
                    .limit(format!("within {}", limits::OUTSIDE_OUTLINE))
                    .hint("correct its place or the outline, or give it another kind than floor"),
            );
        }
        self.faults.append(&mut faults);
    }
}

impl SiteDraft {
    pub(super) fn room_names(&self) -> Vec<String> {
        self.rooms.iter().map(|room| room.name.clone()).collect()
    }

    pub(super) fn room_finishes(&self) -> Vec<(String, Finish)> {
        self.rooms.iter().map(|room| (room.name.clone(), room.finish)).collect()
    }

    /// Whether a support of that name is given.
    pub(super) fn has_support(&self, name: &str) -> bool {
        self.support_index.contains_key(name)
    }

    /// Where a support stands, if its place could be read.
    pub(super) fn support_place(&self, name: &str) -> Option<Position> {
        self.support_places[*self.support_index.get(name)?]
    }

    /// Supports in the order of the job, with the line that each begins on.
    pub(super) fn supports_with_lines(&self) -> Vec<(SupportId, Option<usize>)> {
        let ids = self.supports.iter().map(|support| support.id.clone());
        ids.zip(self.support_lines.iter().copied()).collect()
    }

    /// Places that the floor reaches to: supports, and corners of rooms.
    pub(super) fn reach(&self) -> Vec<Position> {
        let outlines = self.rooms.iter().filter_map(|room| room.outline.as_ref());
        let corners = outlines.flat_map(|outline| outline.corners().iter().copied());
        corners.chain(self.support_places.iter().copied().flatten()).collect()
    }

    pub(super) fn support_names(&self) -> Vec<String> {
        self.support_index.keys().cloned().collect()
    }

    /// Points, and the supports that the floor can be read over.
    pub(super) fn point_names(&self) -> Vec<String> {
        let names: BTreeSet<&String> =
            self.point_index.keys().chain(self.support_index.keys()).collect();
        names.into_iter().cloned().collect()
    }

    fn add_point(&mut self, point: Point, spot: Spot) {
        self.point_index.insert(point.id.as_str().to_owned(), self.points.len());
        self.points.push(PointDraft { point, spot });
    }
}

pub(super) fn point_kind(kind: PointKindForm) -> PointKind {
    match kind {
        PointKindForm::Floor => PointKind::Floor,
        PointKindForm::Benchmark => PointKind::Benchmark,
        PointKindForm::Threshold => PointKind::Threshold,
        PointKindForm::Soffit => PointKind::Soffit,
        PointKindForm::Ground => PointKind::Ground,
        PointKindForm::ChangePoint => PointKind::ChangePoint,
    }
}

/// The corners of the smallest convex outline round some places, by Andrew's monotone chain.
fn outermost(mut places: Vec<Position>) -> Vec<Position> {
    let key = |place: &Position| (place.x.to_mm(), place.y.to_mm());
    places.sort_by(|a, b| key(a).0.total_cmp(&key(b).0).then(key(a).1.total_cmp(&key(b).1)));
    places.dedup();
    if places.len() < 3 {
        return places;
    }
    let turn = |a: Position, b: Position, c: Position| {
        (b.x - a.x).to_mm() * (c.y - a.y).to_mm() - (b.y - a.y).to_mm() * (c.x - a.x).to_mm()
    };
    let half = |places: &mut dyn Iterator<Item = Position>| {
        let mut chain: Vec<Position> = Vec::new();
        for place in places {
            while chain.len() >= 2
                && turn(chain[chain.len() - 2], chain[chain.len() - 1], place) <= 0.0
            {
                chain.pop();
            }
            chain.push(place);
        }
        chain.pop();
        chain
    };
    let mut corners = half(&mut places.iter().copied());
    corners.extend(half(&mut places.iter().rev().copied()));
    corners
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_outermost_places_of_a_grid_are_its_corners() {
        let grid: Vec<Position> = (0..5)
            .flat_map(|row| {
                (0..4).map(move |col| Position::mm(f64::from(col) * 900.0, f64::from(row) * 600.0))
            })
            .collect();
        let corners = outermost(grid);
        assert_eq!(
            corners,
            [(0.0, 0.0), (2700.0, 0.0), (2700.0, 2400.0), (0.0, 2400.0)]
                .map(|(x, y)| Position::mm(x, y))
        );
    }
}
