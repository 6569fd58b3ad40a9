//! Which supports move in a pass, and by how much: one pass large, or several side by side.

use crate::canvas::{Anchor, Canvas, Line, Rect, Spot, Stroke};
use crate::labels::{Labels, Placed};
use crate::lift::{colour_of_lift, lift_rows};
use crate::picture::{Move, PassPicture, PassStep};
use crate::plan::{
    Extent, Lines, Plan, PlanLabel, Symbol, View, draw_label, draw_walls, is_drawable, plate_size,
};
use crate::sheet::{GREY, Sheet, Style, WHITE};
use crate::text;
use floorwright_engine::ids::SupportId;
use floorwright_engine::site::Position;
use floorwright_engine::units::Length;
use std::collections::{BTreeMap, BTreeSet};

/// Draws which supports move in each pass, and by how much; every other support is an open circle.
///
/// One pass is drawn to scale with the supports' names. Several are drawn side by side, without
/// names, to be compared; all with the same colours.
///
/// # Units and sign
/// Lifts are up positive, in the unit of the picture, and are those of the pass alone.
pub fn pass_map(picture: &PassPicture) -> String {
    match picture.passes.as_slice() {
        [only] => one_pass(picture, only),
        several => side_by_side(picture, several),
    }
}

type MovesBySupport<'a> = BTreeMap<&'a SupportId, Length>;

fn moves_of(pass: &PassStep) -> MovesBySupport<'_> {
    let finite = pass.moves.iter().filter(|step| step.lift.is_finite());
    finite.map(|Move { support, lift }| (support, *lift)).collect()
}

/// Names the supports that the maps cannot show.
fn admit_lost(sheet: &mut Sheet, picture: &PassPicture) {
    let lost = picture.supports.iter().filter(|(_, at)| !is_drawable(*at));
    let lost: Vec<_> = lost.map(|(support, _)| support.as_str()).collect();
    sheet.names("without a place on the plan", &lost);
    let is_known = |id: &SupportId| picture.supports.iter().any(|(support, _)| support == id);
    let steps = picture.passes.iter().flat_map(|pass| &pass.moves);
    let unknown: BTreeSet<_> =
        steps.map(|step| &step.support).filter(|id| !is_known(id)).map(SupportId::as_str).collect();
    let unknown: Vec<_> = unknown.into_iter().collect();
    sheet.names("moved, but not among the supports", &unknown);
}

fn drawable(picture: &PassPicture) -> Vec<&(SupportId, Position)> {
    picture.supports.iter().filter(|(_, at)| is_drawable(*at)).collect()
}

fn one_pass(picture: &PassPicture, pass: &PassStep) -> String {
    let supports = drawable(picture);
    let extent = Extent::of(&picture.rooms, supports.iter().map(|(_, at)| *at));
    let mut block = picture.title_block.clone();
    block.title = format!("Pass {}", pass.number);
    let mut plan = Plan::new(picture.medium, &block, extent);
    plan.walls(&picture.rooms);
    let moves = moves_of(pass);
    let rooms: Vec<Rect> = supports.iter().map(|(_, at)| plan.reserve_symbol(*at)).collect();
    let labels = supports.iter().zip(&rooms).map(|((support, _), &symbol)| {
        let name = (support.to_string(), false);
        let number = moves.get(support).map(|&lift| (picture.print.signed(lift), true));
        let full: Lines = std::iter::once(name.clone()).chain(number.clone()).collect();
        let short = vec![number.unwrap_or(name)];
        PlanLabel { symbol, name: support.to_string(), forms: vec![full, short] }
    });
    plan.label_all(&labels.collect::<Vec<_>>());
    for ((support, _), room) in supports.iter().zip(&rooms) {
        let style = plan.sheet.style;
        draw_support(&mut plan.sheet.canvas, &style, picture, room.centre(), moves.get(support));
    }
    plan.room_names(&picture.rooms);
    plan.sheet.bars(&plan.scale, picture.print);
    legend(&mut plan.sheet, picture, plan.view.is_turned());
    let n_moves = moves.len();
    plan.sheet.paragraph(&format!("{n_moves} of {} supports move in this pass", supports.len()));
    admit_lost(&mut plan.sheet, picture);
    plan.admit_left_out(&["no names where supports move; they are in the run sheet"]);
    plan.sheet.finish()
}

fn draw_support(
    canvas: &mut Canvas,
    style: &Style,
    picture: &PassPicture,
    spot: Spot,
    lift: Option<&Length>,
) {
    match lift {
        Some(&lift) => {
            let colour = colour_of_lift(&picture.colours, lift).to_string();
            Symbol::of(picture.print.round(lift)).draw(canvas, style, spot, &colour);
        }
        None => draw_still(canvas, style, spot),
    }
}

fn draw_still(canvas: &mut Canvas, style: &Style, spot: Spot) {
    canvas.circle(
        "symbol still",
        spot,
        0.5 * style.symbol,
        WHITE,
        Stroke::solid(GREY, style.medium),
    );
}

fn side_by_side(picture: &PassPicture, passes: &[PassStep]) -> String {
    let supports = drawable(picture);
    let extent = Extent::of(&picture.rooms, supports.iter().map(|(_, at)| *at));
    let extent = extent.turned_for(picture.medium);
    let house_shape = extent.height() / extent.width();
    let is_screen = picture.medium == crate::Medium::Screen;
    let n_passes = passes.len().max(1);
    let shape =
        if is_screen { n_passes as f64 * (house_shape.min(3.0) + 0.14) } else { house_shape };
    let mut sheet = Sheet::new(picture.medium, &picture.title_block, shape);
    let n_columns = if is_screen { 1 } else { best_columns(&sheet, n_passes, house_shape) };
    let n_rows = n_passes.div_ceil(n_columns);
    let (width, height) = (sheet.area.width / n_columns as f64, sheet.area.height / n_rows as f64);
    let titles = tile_titles(&sheet.style, picture, passes, width);
    let mut all_numbered = true;
    for (idx, (pass, title)) in passes.iter().zip(&titles).enumerate() {
        let (column, row) = ((idx % n_columns) as f64, (idx / n_columns) as f64);
        let tile =
            Rect::new(sheet.area.x + column * width, sheet.area.y + row * height, width, height);
        all_numbered &= draw_tile(&mut sheet, picture, &extent, (pass, title), &tile);
    }
    legend(&mut sheet, picture, extent.is_turned());
    admit_lost(&mut sheet, picture);
    sheet.paragraph("not to scale; the names are in the run sheet");
    if !all_numbered {
        sheet.paragraph("where the numbers find no room, see the colour and the run sheet");
    }
    sheet.finish()
}

/// The number of columns that leaves the houses largest.
fn best_columns(sheet: &Sheet, n_passes: usize, house_shape: f64) -> usize {
    let size = |n_columns: usize| {
        let n_rows = n_passes.div_ceil(n_columns);
        let width = sheet.area.width / n_columns as f64;
        let height = sheet.area.height / n_rows as f64 - 2.0 * sheet.style.leading;
        width.min(height / house_shape)
    };
    (1..=n_passes).max_by(|&a, &b| size(a).total_cmp(&size(b))).unwrap_or(1)
}

/// Draws one pass small, with numbers if all of them find room; whether they did.
fn draw_tile(
    sheet: &mut Sheet,
    picture: &PassPicture,
    extent: &Extent,
    (pass, title): (&PassStep, &str),
    tile: &Rect,
) -> bool {
    let style = sheet.style;
    let canvas = &mut sheet.canvas;
    canvas.rect("tile", tile, "none", Stroke::solid(GREY, style.thin));
    let moves = moves_of(pass);
    let at = (tile.x + style.text * 0.6, tile.y + 1.2 * style.text);
    let text = &text::fit(title, style.text, true, tile.width - style.text);
    let (size, bold, anchor) = (style.text, true, Anchor::Start);
    let heading = Line { at, text, size, bold, anchor };
    canvas.text("tile-title", &heading);
    let top = heading.room().height + style.text;
    let area = Rect::new(tile.x, tile.y + top, tile.width, tile.height - top).shrunk(style.pad);
    let inner = area.shrunk(2.0 * style.symbol);
    let ratio = (inner.width / extent.width()).min(inner.height / extent.height()).max(0.0);
    let view = View::new(extent, &inner, ratio);
    draw_walls(canvas, &style, &view, &picture.rooms);
    let mut labels = Labels::new(area, 3.0 * style.text);
    let supports = drawable(picture);
    let half = 1.2 * style.symbol;
    for (_, at) in &supports {
        labels.reserve(Rect::around(view.spot(*at), half, half));
    }
    let movers: Vec<_> = supports
        .iter()
        .filter_map(|(support, at)| Some((view.spot(*at), *moves.get(support)?)))
        .collect();
    let numbers: Vec<_> =
        movers.iter().map(|(_, lift)| vec![(picture.print.signed(*lift), true)]).collect();
    let wanted = movers
        .iter()
        .zip(&numbers)
        .map(|((spot, _), lines)| (Rect::around(*spot, half, half), plate_size(&style, lines)));
    let placed = labels.place_all(&wanted.collect::<Vec<_>>());
    for (support, at) in &supports {
        draw_support(canvas, &style, picture, view.spot(*at), moves.get(support));
    }
    let all_placed: Option<Vec<Placed>> = placed.into_iter().collect();
    for (placed, lines) in all_placed.iter().flatten().zip(&numbers) {
        draw_label(canvas, &style, placed, lines);
    }
    all_placed.is_some()
}

/// The titles of all tiles in the fullest form that fits every one of them.
fn tile_titles(
    style: &Style,
    picture: &PassPicture,
    passes: &[PassStep],
    tile_width: f64,
) -> Vec<String> {
    let n_supports = picture.supports.len();
    let forms: [&dyn Fn(&PassStep) -> String; 3] = [
        &|pass| format!("{} of {n_supports}, {}", start(pass), range(picture, pass)),
        &|pass| format!("{} of {n_supports}", start(pass)),
        &|pass| start(pass),
    ];
    let fits =
        |title: &String| text::width(title, style.text, true) <= tile_width - 1.2 * style.text;
    let mut titles = Vec::new();
    for form in forms {
        titles = passes.iter().map(form).collect();
        if titles.iter().all(fits) {
            break;
        }
    }
    titles
}

fn start(pass: &PassStep) -> String {
    format!("Pass {}: {}", pass.number, moves_of(pass).len())
}

/// The least and the largest lift of a pass.
fn range(picture: &PassPicture, pass: &PassStep) -> String {
    let moves = moves_of(pass);
    let least = moves.values().copied().min_by(Length::total_cmp).unwrap_or_default();
    let most = moves.values().copied().max_by(Length::total_cmp).unwrap_or_default();
    let (least, most) = (picture.print.signed(least), picture.print.signed(most));
    if least == most { most } else { format!("{least} to {most}") }
}

fn legend(sheet: &mut Sheet, picture: &PassPicture, is_turned: bool) {
    let moves = || picture.passes.iter().flat_map(|pass| &pass.moves);
    let is_let_down = moves().any(|step| step.lift < Length::ZERO);
    sheet.heading(&format!("lift in this pass, {}: + is up", picture.print.heights_are_in()));
    let rows = lift_rows(&picture.colours, picture.print);
    let shown = if is_let_down { rows.len() } else { 6 };
    sheet.colour_rows(&rows[..shown]);
    sheet.heading("symbols");
    let raised = crate::PALETTE[3].to_string();
    sheet.symbol_row(
        move |canvas, style, spot| Symbol::Up.draw(canvas, style, spot, &raised),
        "raise",
    );
    if is_let_down {
        let lowered = crate::PALETTE[7].to_string();
        let draw = move |canvas: &mut Canvas, style: &Style, spot: Spot| {
            Symbol::Down.draw(canvas, style, spot, &lowered);
        };
        sheet.symbol_row(draw, "let down");
    }
    sheet.symbol_row(draw_still, "stays in this pass");
    sheet.orientation(picture.orientation, is_turned);
    sheet.heading("planning aid: it does not say that lifting is safe");
}
