//! The rows of the sheet of one stand: a short walk, with the base read again in time.

use super::places::Candidate;
use super::planner::Planner;
use super::{REPEAT_ONE_IN, StandRow, Why};
use crate::hose::checks::DriftWatch;
use crate::hose::tour::{short_tour, spread_out};
use crate::hose::ways::{Place, Reach};
use crate::units::{Length, Minutes, Seconds};

/// Of more stops than this, those further apart than that (mm) are not looked at for the next step
/// of a walk: their way round the walls is not worked out, and twice the straight line stands for
/// it.
const MANY_STOPS: usize = 250;
const FAR_STOPS: f64 = 5000.0;
/// Walking, mm in a second, and what a reading takes beside the wait, seconds: common practice for
/// a careful reader with one helper.
const WALKING: f64 = 500.0;
const HANDLING: f64 = 20.0;

/// Writes the rows of one stand.
pub(super) struct RowWriter<'a> {
    planner: &'a Planner<'a>,
    candidate: &'a Candidate,
    base: usize,
    each: f64,
    watch: &'a DriftWatch,
}

impl<'a> RowWriter<'a> {
    pub(super) fn new(
        planner: &'a Planner<'a>,
        candidate: &'a Candidate,
        base: usize,
        wait: Seconds,
        watch: &'a DriftWatch,
    ) -> Self {
        Self { planner, candidate, base, each: wait.to_seconds() + HANDLING, watch }
    }

    fn place(&self, point: usize) -> &'a Place {
        &self.planner.targets[point].place
    }

    pub(super) fn rows(&self, points: &[(usize, Why)]) -> Vec<StandRow> {
        let mut stops: Vec<usize> = vec![self.base];
        stops.extend(points.iter().map(|(point, _)| *point).filter(|&point| point != self.base));
        let places: Vec<&Place> = stops.iter().map(|&point| self.place(point)).collect();
        let reaches: Vec<Reach> =
            places.iter().map(|place| self.planner.ways.reach(place)).collect();
        let between = |a: usize, b: usize| self.planner.ways.length(&reaches[a], places[b]);
        let many = stops.len() > MANY_STOPS;
        let rough = |a: usize, b: usize| {
            let (p, q) = (places[a].at, places[b].at);
            let straight = (p.0 - q.0).hypot(p.1 - q.1);
            if many && straight > FAR_STOPS { 2.0 * straight } else { between(a, b) }
        };
        let tour = short_tour(stops.len(), &rough);
        let why_of = |point: usize| {
            points.iter().find(|(known, _)| *known == point).map_or(Why::Point, |(_, why)| *why)
        };
        let mut sheet =
            Sheet { rows: Vec::new(), seconds: 0.0, since: 0, since_seconds: 0.0, last: 0 };
        self.put(&mut sheet, &stops, &between, 0, Why::Open);
        for &stop in &tour[1..] {
            self.back_if_due(&mut sheet, &stops, &between);
            self.put(&mut sheet, &stops, &between, stop, why_of(stops[stop]));
        }
        let spots: Vec<(f64, f64)> = places[1..].iter().map(|place| place.at).collect();
        let n_repeats = (spots.len().div_ceil(REPEAT_ONE_IN)).max(2).min(spots.len());
        let mut again: Vec<usize> =
            spread_out(&spots, n_repeats).iter().map(|idx| idx + 1).collect();
        // On the way back: the furthest from the base first.
        again.sort_by(|&a, &b| between(0, b).total_cmp(&between(0, a)));
        for stop in again {
            self.back_if_due(&mut sheet, &stops, &between);
            self.put(&mut sheet, &stops, &between, stop, Why::Repeat);
        }
        if stops.len() > 1 {
            self.put(&mut sheet, &stops, &between, 0, Why::Close);
        }
        sheet.rows
    }

    fn back_if_due(
        &self,
        sheet: &mut Sheet,
        stops: &[usize],
        between: &dyn Fn(usize, usize) -> f64,
    ) {
        let soon = sheet.since_seconds + 2.0 * self.each > self.watch.minutes.to_minutes() * 60.0;
        if sheet.since >= self.watch.points || (soon && sheet.since > 0) {
            self.put(sheet, stops, between, 0, Why::Return);
        }
    }

    fn put(
        &self,
        sheet: &mut Sheet,
        stops: &[usize],
        between: &dyn Fn(usize, usize) -> f64,
        stop: usize,
        why: Why,
    ) {
        let is_first = sheet.rows.is_empty();
        let walk = if is_first { 0.0 } else { between(sheet.last, stop) };
        let walk = if walk.is_finite() { walk } else { 0.0 };
        if !is_first {
            sheet.seconds += walk / WALKING + self.each;
            sheet.since_seconds += walk / WALKING + self.each;
        }
        sheet.since += 1;
        if stop == 0 {
            (sheet.since, sheet.since_seconds) = (0, 0.0);
        }
        sheet.last = stop;
        let target = &self.planner.targets[stops[stop]];
        sheet.rows.push(StandRow {
            point: target.point.clone(),
            at: target.at,
            why,
            hose: Length::mm(self.candidate.hose[stops[stop]]),
            walk: Length::mm(walk),
            time: Minutes::new(sheet.seconds / 60.0),
        });
    }
}

/// The rows so far.
struct Sheet {
    rows: Vec<StandRow>,
    seconds: f64,
    /// Points and seconds since the base was read.
    since: usize,
    since_seconds: f64,
    last: usize,
}
