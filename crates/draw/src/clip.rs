//! Cutting lines off where the rooms end.

use floorwright_engine::site::Position;
use floorwright_engine::units::{LENGTH_EPS, Length};

use crate::picture::RoomOutline;

/// The pieces of a line that lie in some room, in order.
///
/// Each side of the line is cut where it meets a room's outline; a piece is kept if its middle is in
/// a room.
pub(crate) fn inside_rooms(line: &[Position], rooms: &[RoomOutline]) -> Vec<Vec<Position>> {
    let mut pieces: Vec<Vec<Position>> = Vec::new();
    let mut open = false;
    for side in line.windows(2) {
        let (from, to) = (side[0], side[1]);
        if !from.is_finite() || !to.is_finite() {
            open = false;
            continue;
        }
        let mut cuts = vec![0.0, 1.0];
        for room in rooms {
            cuts.extend(room.outline.sides().filter_map(|wall| meeting((from, to), wall)));
        }
        cuts.sort_by(f64::total_cmp);
        for stretch in cuts.windows(2) {
            if (stretch[1] - stretch[0]) * from.distance(to).to_mm() <= LENGTH_EPS.to_mm() {
                continue;
            }
            let middle = between(from, to, (stretch[0] + stretch[1]) / 2.0);
            if !rooms.iter().any(|room| room.outline.contains(middle, LENGTH_EPS)) {
                open = false;
                continue;
            }
            let end = between(from, to, stretch[1]);
            match pieces.last_mut().filter(|_| open) {
                Some(piece) => piece.push(end),
                None => pieces.push(vec![between(from, to, stretch[0]), end]),
            }
            open = true;
        }
    }
    pieces
}

fn between(from: Position, to: Position, ratio: f64) -> Position {
    Position { x: from.x + (to.x - from.x) * ratio, y: from.y + (to.y - from.y) * ratio }
}

/// How far along the first segment (a ratio) it meets the second.
fn meeting(
    (from, to): (Position, Position),
    (wall_from, wall_to): (Position, Position),
) -> Option<f64> {
    let mm = |length: Length| length.to_mm();
    let (dx, dy) = (mm(to.x - from.x), mm(to.y - from.y));
    let (wx, wy) = (mm(wall_to.x - wall_from.x), mm(wall_to.y - wall_from.y));
    let (ax, ay) = (mm(wall_from.x - from.x), mm(wall_from.y - from.y));
    let cross = dx * wy - dy * wx;
    if cross == 0.0 {
        return None;
    }
    let along = (ax * wy - ay * wx) / cross;
    let along_wall = (ax * dy - ay * dx) / cross;
    let on = |ratio: f64| (-1e-9..=1.0 + 1e-9).contains(&ratio);
    (on(along) && on(along_wall)).then(|| along.clamp(0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use floorwright_engine::site::Outline;

    fn l_shape() -> Vec<RoomOutline> {
        let corners = [(0., 0.), (6., 0.), (6., 3.), (3., 3.), (3., 6.), (0., 6.)];
        let corners = corners.iter().map(|&(x, y)| Position::mm(x * 1e3, y * 1e3)).collect();
        vec![RoomOutline { name: "hall".into(), outline: Outline::new(corners).unwrap() }]
    }

    #[test]
    fn a_line_across_the_notch_is_cut_there() {
        let line = [Position::mm(1e3, 5e3), Position::mm(5e3, 1e3), Position::mm(9e3, 1e3)];
        let pieces = inside_rooms(&line, &l_shape());
        assert_eq!(pieces.len(), 1, "{pieces:?}"); // through the inner corner, then out of the house
        let slanted = [Position::mm(2e3, 5e3), Position::mm(5e3, 2e3)];
        let pieces = inside_rooms(&slanted, &l_shape());
        assert_eq!(pieces.len(), 2, "{pieces:?}");
        assert!(pieces[0][1].distance(Position::mm(3e3, 4e3)) < Length::mm(0.01));
        assert!(pieces[1][0].distance(Position::mm(4e3, 3e3)) < Length::mm(0.01));
    }

    #[test]
    fn a_place_that_is_no_number_breaks_the_line() {
        let line = [Position::mm(1e3, 1e3), Position::mm(f64::NAN, 1e3), Position::mm(2e3, 1e3)];
        assert!(inside_rooms(&line, &l_shape()).is_empty());
    }
}
