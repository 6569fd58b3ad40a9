//! Which supports move in a pass, and by how much: one pass large, or several side by side.

use crate::canvas::{Canvas, Fixed, Rect, Spot, Stroke};
use crate::carried::{HANGS, draw_lets_go};
use crate::labels::{Labels, Placed};
use crate::lift::{colour_of_lift, lift_rows};
use crate::number::kilonewtons_range;
use crate::picture::{Medium, Move, PassPicture, PassStep};
use crate::plan::{
    Extent, Lines, Plan, PlanLabel, Symbol, View, draw_label, draw_walls, is_drawable, most_labels,
    plate_size,
};
use crate::sheet::{BLACK, GREY, Sheet, Style, WHITE};
use crate::text;
use crate::tiles::{Tile, Tiles};
use floorwright_engine::frame::ForceRange;
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

/// What the frame says of each support in a pass; nothing where the frame rocks.
#[derive(Default)]
struct Forces<'a> {
    jacks: BTreeMap<&'a SupportId, ForceRange>,
    lets_go: BTreeSet<&'a SupportId>,
}

fn forces_of(pass: &PassStep) -> Forces<'_> {
    let Some(forces) = pass.forces.as_ref().filter(|forces| !forces.rocks) else {
        return Forces::default();
    };
    Forces {
        jacks: forces.jacks.iter().map(|(support, range)| (support, *range)).collect(),
        lets_go: forces.lets_go.iter().collect(),
    }
}

/// Names the supports that the maps cannot show.
fn admit_lost(sheet: &mut Sheet, picture: &PassPicture) {
    let lost = picture.supports.iter().filter(|(_, at)| !is_drawable(*at));
    let lost: Vec<_> = lost.map(|(support, _)| support.as_str()).collect();
    sheet.names("without a place on the plan", &lost);
    let all: BTreeSet<&SupportId> = picture.supports.iter().map(|(support, _)| support).collect();
    let is_known = |id: &SupportId| all.contains(id);
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
    let (moves, forces) = (moves_of(pass), forces_of(pass));
    let rooms: Vec<Rect> = supports.iter().map(|(_, at)| plan.reserve_symbol(*at)).collect();
    // Where not all have room for a label, those that move come first.
    let is_crowd = supports.len() > plan.most_labels();
    let labels = supports.iter().zip(&rooms).filter_map(|((support, _), &symbol)| {
        let name = (support.to_string(), false);
        let flag = picture.flags.get(support).map_or(String::new(), |(mark, _)| format!(" {mark}"));
        let lift =
            moves.get(support).map(|&lift| (format!("{}{flag}", picture.print.signed(lift)), true));
        let force = forces.jacks.get(support).map(|&range| force_words(range));
        if is_crowd && lift.is_none() {
            return None;
        }
        let movers = [lift.clone(), force.clone()];
        let least = [Some(lift.clone().unwrap_or_else(|| name.clone()))];
        let short = if lift.is_some() { movers.as_slice() } else { least.as_slice() };
        let full = [Some(name), lift, force];
        let forms = [full.as_slice(), short, movers.as_slice(), least.as_slice()]
            .map(|form| form.iter().flatten().cloned().collect::<Lines>());
        Some(PlanLabel { symbol, name: support.to_string(), forms: forms.to_vec() })
    });
    plan.label_all(&labels.collect::<Vec<_>>());
    let (style, view) = (plan.sheet.style, plan.view);
    draw_supports(&mut plan.sheet.canvas, &style, picture, &view, (&moves, &forces));
    plan.room_names(&picture.rooms);
    plan.sheet.bars(&plan.scale, picture.print);
    legend(&mut plan.sheet, picture, plan.view.is_turned());
    let n_moves = moves.len();
    plan.sheet.paragraph(&format!("{n_moves} of {} supports move in this pass", supports.len()));
    for (support, (mark, why)) in &picture.flags {
        if moves.contains_key(support) {
            plan.sheet.paragraph(&format!("{support} {mark} {why}"));
        }
    }
    let are_drawn = (0..3).any(|form| plan.has_form(form));
    say_forces(&mut plan.sheet, picture, are_drawn);
    if is_crowd && moves.len() <= plan.most_labels() {
        plan.sheet.paragraph("for want of room no names where supports stay");
    }
    admit_lost(&mut plan.sheet, picture);
    plan.admit_left_out(&[
        "no names where supports move; they are in the run sheet",
        "no names; they are in the run sheet",
        "no names and no forces on the plan where supports move; they are in the run sheet",
    ]);
    plan.sheet.finish()
}

/// What a jack pushes, as a label says it: below the lift, which is bold and has a sign.
fn force_words(range: ForceRange) -> (String, bool) {
    (kilonewtons_range(range), false)
}

fn say_forces(sheet: &mut Sheet, picture: &PassPicture, are_drawn: bool) {
    let passes = &picture.passes;
    let rocks: Vec<String> = passes
        .iter()
        .filter(|pass| pass.forces.as_ref().is_some_and(|forces| forces.rocks))
        .map(|pass| format!("pass {}", pass.number))
        .collect();
    if !rocks.is_empty() {
        let rocks: Vec<&str> = rocks.iter().map(String::as_str).collect();
        sheet.names("the frame rocks, and no force is given, in", &rocks);
    }
    if !are_drawn && picture.medium == Medium::Screen && passes.len() == 1 {
        list_forces(sheet, &passes[0]);
    }
    if are_drawn && passes.iter().any(|pass| !forces_of(pass).jacks.is_empty()) {
        sheet.paragraph(
            "below the lift: what the jack pushes at most in the pass, in kN, least to most over \
             all assumptions",
        );
    }
}

/// The forces in words, where a phone has no room for them on the plan.
fn list_forces(sheet: &mut Sheet, pass: &PassStep) {
    const MOST: usize = 60;
    let forces = forces_of(pass);
    if forces.jacks.is_empty() || forces.jacks.len() > MOST {
        return;
    }
    let words = |(support, range): (&&SupportId, &ForceRange)| {
        format!("{support} {}", kilonewtons_range(*range))
    };
    let listed: Vec<String> = forces.jacks.iter().map(words).collect();
    sheet.heading("what the jacks push at most in the pass, in kN, least to most");
    // A line each few, so that no name is parted from its force.
    for few in listed.chunks(3) {
        sheet.paragraph(&few.join(", "));
    }
}

/// Every support with what happens to it: so many that they run together are drawn as small marks.
fn draw_supports(
    canvas: &mut Canvas,
    style: &Style,
    picture: &PassPicture,
    view: &View,
    (moves, forces): (&MovesBySupport<'_>, &Forces<'_>),
) {
    let supports = drawable(picture);
    if supports.len() > CROWD {
        return draw_crowd(canvas, style, picture, view, moves, forces);
    }
    for (support, at) in supports {
        let spot = view.spot(*at);
        match moves.get(support) {
            Some(&lift) => {
                let colour = colour_of_lift(&picture.colours, lift).to_string();
                Symbol::of(picture.print.round(lift)).draw(canvas, style, spot, &colour);
                if forces.lets_go.contains(support) {
                    let stroke = Stroke::solid(BLACK, style.medium);
                    canvas.circle("lets-go-ring", spot, 1.3 * style.symbol, "none", stroke);
                }
            }
            None if forces.lets_go.contains(support) => {
                draw_lets_go(canvas, style, spot, 0.7 * style.symbol);
            }
            None => draw_still(canvas, style, spot),
        }
    }
}

/// More supports than this are drawn as small marks, all of one colour in one shape: full symbols
/// of thousands make a file that no phone opens.
const CROWD: usize = 1000;

/// What a small mark is: which way, and which class of colour.
type Kind = (&'static str, String, String);

/// Half the width of a small mark, so that neighbours stay apart.
fn half_mark(style: &Style, spots: impl ExactSizeIterator<Item = Spot>) -> f64 {
    let n_spots = spots.len().max(1) as f64;
    let none = (f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY);
    let (left, top, right, bottom) = spots.fold(none, |(left, top, right, bottom), (x, y)| {
        (left.min(x), top.min(y), right.max(x), bottom.max(y))
    });
    let apart = ((right - left) * (bottom - top) / n_spots).sqrt();
    (0.4 * apart).clamp(0.05 * style.symbol, 0.6 * style.symbol)
}

fn draw_crowd(
    canvas: &mut Canvas,
    style: &Style,
    picture: &PassPicture,
    view: &View,
    moves: &MovesBySupport<'_>,
    forces: &Forces<'_>,
) {
    let half = half_mark(style, drawable(picture).iter().map(|(_, at)| view.spot(*at)));
    let (one, two) = (Fixed(half), Fixed(2.0 * half));
    let mut still = Vec::new();
    let mut lets_go = Vec::new();
    let mut moving: BTreeMap<Kind, Vec<Spot>> = BTreeMap::new();
    for (support, at) in drawable(picture) {
        let spot = view.spot(*at);
        if forces.lets_go.contains(support) {
            lets_go.push(spot);
        }
        match moves.get(support) {
            Some(&lift) => {
                let colour = colour_of_lift(&picture.colours, lift).to_string();
                let (class, outline) = match Symbol::of(picture.print.round(lift)) {
                    Symbol::Down => ("symbol down", format!("m0 {one}l-{one}-{two}h{two}z")),
                    Symbol::Up => ("symbol up", format!("m0-{one}l{one} {two}h-{two}z")),
                    _ => ("symbol dot", format!("m-{one} 0h{one}v{one}h-{one}z")),
                };
                moving.entry((class, outline, colour)).or_default().push(spot);
            }
            None => still.push(spot),
        }
    }
    canvas.dots("symbol still", &still, Stroke::solid(GREY, 0.8 * half));
    for ((class, outline, colour), spots) in &moving {
        canvas.marks(class, spots, outline, colour, Stroke::solid(BLACK, 0.2 * half));
    }
    let slash = format!("m-{one} {one}l{two}-{two}");
    let stroke = Stroke::solid(HANGS, 0.6 * half);
    canvas.marks("symbol lets-go", &lets_go, &slash, "none", stroke);
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
    let n_passes = passes.len().max(1);
    let shape = Tiles::shape(picture.medium, n_passes, house_shape);
    let mut sheet = Sheet::new(picture.medium, &picture.title_block, shape);
    let tiles = Tiles::new(picture.medium, &sheet, n_passes, house_shape);
    let width = tiles.width(&sheet);
    let titles = tile_titles(&sheet.style, picture, passes, width);
    let mut all_numbered = true;
    let (mut all_forces, mut some_forces) = (true, false);
    for (idx, (pass, title)) in passes.iter().zip(&titles).enumerate() {
        let tile = tiles.begin(&mut sheet, &extent, idx, title);
        let shown = draw_tile(&mut sheet, picture, pass, &tile);
        all_numbered &= shown != Shown::Nothing;
        all_forces &= shown == Shown::Everything;
        some_forces |= shown == Shown::Everything;
    }
    legend(&mut sheet, picture, extent.is_turned());
    say_forces(&mut sheet, picture, some_forces);
    admit_lost(&mut sheet, picture);
    sheet.paragraph("not to scale; the names are in the run sheet");
    if !all_numbered {
        sheet.paragraph("where the numbers find no room, see the colour and the run sheet");
    }
    if !all_forces && passes.iter().any(|pass| !forces_of(pass).jacks.is_empty()) {
        sheet.paragraph("forces at the jacks that find no room are on the sheet of each pass");
    }
    sheet.finish()
}

/// How much of its numbers a small plan shows.
#[derive(Clone, Copy, PartialEq)]
enum Shown {
    Everything,
    Lifts,
    Nothing,
}

/// Draws one pass small, with the numbers if all of them find room, without the forces if only
/// the lifts do.
fn draw_tile(sheet: &mut Sheet, picture: &PassPicture, pass: &PassStep, tile: &Tile) -> Shown {
    let style = sheet.style;
    let Tile { area, view } = tile;
    let (moves, forces) = (moves_of(pass), forces_of(pass));
    draw_walls(&mut sheet.canvas, &style, view, &picture.rooms);
    let mut labels = Labels::new(*area, 3.0 * style.text);
    let supports = drawable(picture);
    let half = 1.2 * style.symbol;
    for (_, at) in &supports {
        labels.reserve(Rect::around(view.spot(*at), half, half));
    }
    draw_supports(&mut sheet.canvas, &style, picture, view, (&moves, &forces));
    let movers: Vec<(Spot, Lines)> = supports
        .iter()
        .filter_map(|(support, at)| {
            let lift = (picture.print.signed(*moves.get(support)?), true);
            let force = forces.jacks.get(support).map(|&range| force_words(range));
            Some((view.spot(*at), std::iter::once(lift).chain(force).collect()))
        })
        .collect();
    if movers.len() > most_labels(&style, area) {
        return Shown::Nothing;
    }
    let has_forces = movers.iter().any(|(_, lines)| lines.len() > 1);
    let forms = if has_forces { vec![2, 1] } else { vec![1] };
    for n_lines in forms {
        let cut = |lines: &Lines| lines[..lines.len().min(n_lines)].to_vec();
        let numbers: Vec<Lines> = movers.iter().map(|(_, lines)| cut(lines)).collect();
        let wanted = movers
            .iter()
            .zip(&numbers)
            .map(|((spot, _), lines)| (Rect::around(*spot, half, half), plate_size(&style, lines)));
        let placed = labels.clone().place_all(&wanted.collect::<Vec<_>>());
        let all_placed: Option<Vec<Placed>> = placed.into_iter().collect();
        if let Some(all_placed) = all_placed {
            for (placed, lines) in all_placed.iter().zip(&numbers) {
                draw_label(&mut sheet.canvas, &style, placed, lines);
            }
            let is_all = !has_forces || n_lines > 1;
            return if is_all { Shown::Everything } else { Shown::Lifts };
        }
    }
    Shown::Nothing
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
    if let Some(stop) = &picture.stop {
        sheet.heading(&format!("do not work by this order: {stop}"));
    }
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
    if picture.passes.iter().any(|pass| !forces_of(pass).lets_go.is_empty()) {
        let draw = |canvas: &mut Canvas, style: &Style, spot: Spot| {
            draw_lets_go(canvas, style, spot, 0.7 * style.symbol);
        };
        sheet.symbol_row(
            draw,
            "comes to hang free in this pass; a ring or a stroke on one that moves",
        );
    }
    sheet.orientation(picture.orientation, is_turned);
    sheet.heading("planning aid: it does not say that lifting is safe");
}
