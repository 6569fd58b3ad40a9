//! Measures the plan of a survey, from a house to a school: time, stands, and what will come of it.
//!
//! `cargo run --release --example stands_speed`
//!
//! The buildings are invented: rooms in rows with a doorway to each neighbour, points on a grid.
#![expect(clippy::disallowed_methods, reason = "a benchmark reads the clock")]

use floorwright_engine::hose::{Door, Hose, StandsAsk, plan_stands};
use floorwright_engine::ids::{PointId, RoomId};
use floorwright_engine::site::{Finish, Outline, Point, PointKind, Position, Room, Site};
use floorwright_engine::units::Length;
use std::io::{self, Write};
use std::time::Instant;

/// Side of a room, mm.
const SIDE: f64 = 4500.0;

fn main() -> io::Result<()> {
    let mut out = io::stdout();
    for (wide, deep, in_row, metres) in
        [(3, 2, 3, 20.0), (4, 4, 2, 9.0), (9, 6, 6, 20.0), (9, 6, 6, 35.0)]
    {
        let (site, doors) = building(wide, deep, in_row);
        let benchmarks = [PointId::new("BM")];
        let hose = Hose { length: Length::m(metres), ..Hose::default() };
        let ask = StandsAsk {
            site: &site,
            doors: &doors,
            obstacles: &[],
            benchmarks: &benchmarks,
            hose: &hose,
            reading_sd: Length::mm(0.6),
            tolerance: None,
        };
        let n_points = site.points().len();
        let start = Instant::now();
        let plan = plan_stands(&ask);
        let took = start.elapsed().as_secs_f64() * 1e3;
        match plan {
            Ok(plan) => {
                let worst = plan.accuracy.as_ref().and_then(|accuracy| accuracy.worst());
                writeln!(
                    out,
                    "{n_points} points, {} rooms, {metres} m of hose: {took:.0} ms; {} stands \
                     (at least {}), {} readings, worst sd {}",
                    site.rooms().len(),
                    plan.stands.len(),
                    plan.at_least,
                    plan.n_readings,
                    worst.map_or("-".to_owned(), |worst| worst.sd.to_string()),
                )?;
            }
            Err(why) => writeln!(out, "{n_points} points: {why} ({took:.0} ms)")?,
        }
    }
    Ok(())
}

/// Rooms in rows, a doorway in the middle of every wall between two, `in_row` by `in_row` points in
/// each.
fn building(wide: usize, deep: usize, in_row: usize) -> (Site, Vec<Door>) {
    let (mut rooms, mut points, mut doors) = (Vec::new(), Vec::new(), Vec::new());
    points.push(point("BM".to_owned(), 300.0, 300.0, PointKind::Benchmark));
    for row in 0..deep {
        for column in 0..wide {
            let (x, y) = (column as f64 * SIDE, row as f64 * SIDE);
            let corners = [(x, y), (x + SIDE, y), (x + SIDE, y + SIDE), (x, y + SIDE)];
            let corners = corners.iter().map(|&(x, y)| Position::mm(x, y)).collect();
            let outline = Outline::new(corners).expect("a square is an outline");
            let id = RoomId::new(format!("{column}-{row}"));
            rooms.push(Room { id, outline, finish: Finish::Boards, deck: "main".to_owned() });
            let door = |x, y| Door { at: Position::mm(x, y), width: Length::mm(800.0) };
            if column + 1 < wide {
                doors.push(door(x + SIDE, y + SIDE / 2.0));
            }
            if row + 1 < deep {
                doors.push(door(x + SIDE / 2.0, y + SIDE));
            }
            for idx in 0..in_row * in_row {
                let at = |step: usize| (step as f64 + 0.5) / in_row as f64 * SIDE;
                let (px, py) = (x + at(idx % in_row), y + at(idx / in_row));
                points.push(point(format!("{column}-{row}-{idx}"), px, py, PointKind::Floor));
            }
        }
    }
    (Site::new(rooms, points, Vec::new()).expect("the building is sound"), doors)
}

fn point(name: String, x: f64, y: f64, kind: PointKind) -> Point {
    Point { id: PointId::new(name), at: Some(Position::mm(x, y)), kind, room: None }
}
