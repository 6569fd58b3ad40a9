//! The map of the floor: how far each point is from the target.

use crate::canvas::{Canvas, Rect, Spot, Stroke};
use crate::classes::PALETTE;
use crate::clip::inside_rooms;
use crate::labels::Placed;
use crate::picture::{FloorPicture, FloorPoint, ShadedCell};
use crate::plan::{Extent, Lines, Plan, PlanLabel, Symbol, draw_lines, is_drawable, plate_size};
use crate::sheet::{BLACK, NO_STROKE, Style, WHITE};
use floorwright_engine::site::Position;

/// What the second form of the labels lacks.
const LACKING: &[&str] = &["no names of points; see the table of levels, or a larger sheet"];

/// Draws how far the floor is from the target: shading, contours, and at each point its name, a
/// symbol and a signed number.
///
/// Contours are cut off at the rooms' outlines. A point without a position that can be drawn is
/// named in a note.
///
/// # Units and sign
/// Departures are levels above the target, up positive; the numbers are in the unit of the picture.
pub fn floor_map(picture: &FloorPicture) -> String {
    let (points, lost): (Vec<_>, Vec<_>) =
        picture.points.iter().partition(|point| is_drawable(point.at));
    let extent = Extent::of(&picture.rooms, points.iter().map(|point| point.at));
    let mut plan = Plan::new(picture.medium, &picture.title_block, extent);
    shade(&mut plan, picture);
    let index_lines = contours(&mut plan, picture);
    plan.walls(&picture.rooms);
    let rooms: Vec<Rect> = points.iter().map(|point| plan.reserve_symbol(point.at)).collect();
    let labels = points.iter().zip(&rooms).map(|(point, &symbol)| {
        let full = label_of(picture, point);
        let short = full[1..].to_vec();
        PlanLabel { symbol, name: point.point.to_string(), forms: vec![full, short] }
    });
    plan.label_all(&labels.collect::<Vec<_>>());
    for (point, room) in points.iter().zip(&rooms) {
        draw_point(&mut plan, picture, point, room.centre());
    }
    plan.room_names(&picture.rooms);
    contour_numbers(&mut plan, picture, &index_lines);
    let scale = &plan.scale;
    plan.sheet.bars(scale, picture.print);
    legend(&mut plan, picture);
    plan.admit_left_out(LACKING);
    let lost: Vec<_> = lost.iter().map(|point| point.point.as_str()).collect();
    plan.sheet.names("without a place on the plan", &lost);
    notes(&mut plan, picture);
    plan.sheet.finish()
}

/// Fills the cells with the colours of their classes; what lies outside the rooms does not show.
fn shade(plan: &mut Plan, picture: &FloorPicture) {
    let rooms: Vec<_> =
        picture.rooms.iter().map(|room| plan.view.spots(room.outline.corners())).collect();
    let view = plan.view;
    plan.sheet.canvas.clipped(&rooms, |canvas| {
        for (class, colour) in PALETTE.iter().enumerate() {
            let of_class = |cell: &&ShadedCell| {
                cell.departure.is_finite()
                    && picture.colours.class(cell.departure) == class
                    && cell.corners.iter().all(|&corner| is_drawable(corner))
            };
            let cells = picture.cells.iter().filter(of_class).map(|cell| cell.corners.clone());
            let areas: Vec<_> = joined(cells).iter().map(|corners| view.spots(corners)).collect();
            if !areas.is_empty() {
                canvas.areas("shade", &areas, &colour.to_string(), NO_STROKE);
            }
        }
    });
}

/// Joins upright rectangles that follow one another in a row, to keep the picture small.
fn joined(cells: impl Iterator<Item = Vec<Position>>) -> Vec<Vec<Position>> {
    let mut areas: Vec<Vec<Position>> = Vec::new();
    for cell in cells {
        match (areas.last_mut().map(Vec::as_mut_slice), cell.as_slice()) {
            (Some([a, b, c, d]), [e, f, g, h])
                if b == e && c == h && a.y == f.y && d.y == g.y && b.x == c.x && f.x == g.x =>
            {
                (*b, *c) = (*f, *g);
            }
            _ => areas.push(cell),
        }
    }
    areas
}

/// Draws the contours, and gives the index lines that may carry their number.
fn contours(plan: &mut Plan, picture: &FloorPicture) -> Vec<(String, Vec<Spot>)> {
    let style = plan.sheet.style;
    let mut index_lines = Vec::new();
    for contour in &picture.contours {
        for piece in inside_rooms(&contour.line, &picture.rooms) {
            let spots = plan.view.spots(&piece);
            let (class, width) = if contour.index {
                ("contour index", style.medium)
            } else {
                ("contour", style.thin)
            };
            let casing = Stroke::solid(WHITE, 3.0 * width);
            plan.sheet.canvas.polyline("casing", &spots, casing);
            plan.sheet.canvas.polyline(class, &spots, Stroke::solid(BLACK, width));
            if contour.index {
                let words = picture.print.tidy_signed(contour.departure);
                index_lines.push((words, spots));
            }
        }
    }
    index_lines
}

/// Breaks each index line once with its number, nearest to its middle where there is room.
fn contour_numbers(plan: &mut Plan, picture: &FloorPicture, lines: &[(String, Vec<Spot>)]) {
    if picture.contours.is_empty() {
        return;
    }
    for (words, spots) in lines {
        let text = [(words.clone(), false)];
        let size = plate_size(&plan.sheet.style, &text);
        let length: f64 = spots.windows(2).map(|s| (s[1].0 - s[0].0).hypot(s[1].1 - s[0].1)).sum();
        if length < 3.0 * size.0 {
            continue;
        }
        let middle = spots.len() / 2;
        let outwards = (0..spots.len()).map(|step| {
            if step % 2 == 0 { middle + step / 2 } else { middle.wrapping_sub(step.div_ceil(2)) }
        });
        let centres: Vec<_> = outwards.filter_map(|idx| spots.get(idx).copied()).collect();
        let air = 2.0 * plan.sheet.style.pad;
        let with_air = (size.0 + 2.0 * air, size.1 + 2.0 * air);
        if let Some(rect) = plan.labels.place_at(centres, with_air) {
            let placed = Placed { rect: rect.shrunk(air), leader: None };
            let style = plan.sheet.style;
            draw_lines(&mut plan.sheet.canvas, &style, &placed, "contour-number", &text);
        }
    }
}

fn known(point: &FloorPoint) -> Option<floorwright_engine::units::Length> {
    point.departure.filter(|departure| departure.is_finite())
}

fn label_of(picture: &FloorPicture, point: &FloorPoint) -> Lines {
    let name = (point.point.to_string(), false);
    let Some(departure) = known(point) else {
        return vec![name, ("none".to_owned(), false)];
    };
    let outside = picture.tolerance.is_none_or(|tolerance| departure.abs() > tolerance);
    let doubt = if point.suspect { "?" } else { "" };
    vec![name, (format!("{}{doubt}", picture.print.signed(departure)), outside)]
}

fn draw_point(plan: &mut Plan, picture: &FloorPicture, point: &FloorPoint, centre: Spot) {
    let style = plan.sheet.style;
    let canvas = &mut plan.sheet.canvas;
    match known(point) {
        None => Symbol::Cross.draw(canvas, &style, centre, WHITE),
        Some(departure) => {
            let colour = picture.colours.colour(departure).to_string();
            Symbol::of(picture.print.round(departure)).draw(canvas, &style, centre, &colour);
        }
    }
    if point.suspect {
        draw_doubt(canvas, &style, centre);
    }
}

fn draw_doubt(canvas: &mut Canvas, style: &Style, centre: Spot) {
    let stroke = Stroke { colour: BLACK, width: style.medium, dashes: style.dashes };
    canvas.circle("doubt", centre, 1.3 * style.symbol, "none", stroke);
}

fn legend(plan: &mut Plan, picture: &FloorPicture) {
    let is_turned = plan.view.is_turned();
    let sheet = &mut plan.sheet;
    let unit = picture.print.heights_are_in();
    sheet.heading(&format!("{unit} above (+) or below (\u{2212}) the target"));
    sheet.colour_rows(&picture.colours.legend(picture.print));
    sheet.heading("symbols");
    let middle = PALETTE[5].to_string();
    let shape = |symbol: Symbol, fill: String| {
        move |canvas: &mut Canvas, style: &Style, centre: Spot| {
            symbol.draw(canvas, style, centre, &fill);
        }
    };
    sheet.symbol_row(shape(Symbol::Up, PALETTE[7].to_string()), "floor above the target");
    sheet.symbol_row(shape(Symbol::Down, PALETTE[3].to_string()), "floor below the target");
    sheet.symbol_row(shape(Symbol::Dot, middle), "at the target: 0");
    if picture.points.iter().any(|point| point.suspect) {
        sheet.symbol_row(draw_doubt, "? in doubt: read it again");
    }
    if picture.points.iter().any(|point| known(point).is_none()) {
        sheet.symbol_row(shape(Symbol::Cross, WHITE.to_owned()), "none: no level");
    }
    sheet.orientation(picture.orientation, is_turned);
}

fn notes(plan: &mut Plan, picture: &FloorPicture) {
    let sheet = &mut plan.sheet;
    if let Some(tolerance) = picture.tolerance {
        let tolerance = picture.print.with_unit(tolerance);
        sheet.paragraph(&format!("tolerance \u{b1}{tolerance}; outside it the number is bold"));
    }
    if let Some(interval) = picture.contour_interval {
        let interval = picture.print.with_unit(interval);
        sheet.paragraph(&format!("contours every {interval}; index lines carry numbers"));
    }
    if !picture.cells.is_empty() {
        sheet.paragraph("white within the walls: beyond the readings, not known");
    }
    if !picture.target_note.is_empty() {
        sheet.paragraph(&format!("target: {}", picture.target_note));
    }
    if !picture.datum_note.is_empty() {
        sheet.paragraph(&format!("datum: {}", picture.datum_note));
    }
}
