//! The map of the lifts: how far each support is raised, and on which packers.

use crate::canvas::{Canvas, Rect, Spot};
use crate::classes::{PALETTE, Rgb};
use crate::number::Print;
use crate::picture::{LiftPicture, SupportMark};
use crate::plan::{Extent, Lines, Plan, PlanLabel, Symbol, is_drawable};
use crate::sheet::{Style, WHITE};
use floorwright_engine::units::Length;

/// What the second and third form of the labels lack.
const LACKING: &[&str] = &[
    "no packers; see the table of lifts, or a larger sheet",
    "no names or packers; see the table of lifts, or a larger sheet",
];

/// Draws the lift at each support with the packers of its stack.
///
/// A support is coloured as the floor above it would be if it lay that far from the target: blue
/// is to be raised, brown to be let down. A support that must stay is a square, and the notes say
/// why.
///
/// # Units and sign
/// Lifts are up positive; lifts and packers are in the unit of the picture.
pub fn lift_map(picture: &LiftPicture) -> String {
    let (supports, lost): (Vec<_>, Vec<_>) =
        picture.supports.iter().partition(|support| is_drawable(support.at));
    let extent = Extent::of(&picture.rooms, supports.iter().map(|support| support.at));
    let mut plan = Plan::new(picture.medium, &picture.title_block, extent);
    plan.walls(&picture.rooms);
    let rooms: Vec<Rect> = supports.iter().map(|s| plan.reserve_symbol(s.at)).collect();
    let labels = supports.iter().zip(&rooms).map(|(support, &symbol)| {
        let full = label_of(picture, support);
        let forms = vec![full.clone(), full[..2].to_vec(), full[1..2].to_vec()];
        PlanLabel { symbol, name: support.support.to_string(), forms }
    });
    plan.label_all(&labels.collect::<Vec<_>>());
    for (support, room) in supports.iter().zip(&rooms) {
        draw_support(&mut plan, picture, support, room.centre());
    }
    plan.room_names(&picture.rooms);
    plan.sheet.bars(&plan.scale, picture.print);
    legend(&mut plan, picture);
    for support in &picture.supports {
        let flag = picture.flags.get(&support.support);
        if let Some((mark, why)) = flag.filter(|_| picture.print.round(support.lift) != 0.0) {
            plan.sheet.paragraph(&format!("{} {mark} {why}", support.support));
        }
    }
    plan.admit_left_out(LACKING);
    let lost: Vec<_> = lost.iter().map(|support| support.support.as_str()).collect();
    plan.sheet.names("without a place on the plan", &lost);
    notes(&mut plan, picture);
    plan.sheet.finish()
}

fn label_of(picture: &LiftPicture, support: &SupportMark) -> Lines {
    let name = (support.support.to_string(), false);
    if support.fixed.is_some() {
        return vec![name, ("stays".to_owned(), false)];
    }
    if !support.lift.is_finite() {
        return vec![name, ("none".to_owned(), false)];
    }
    let moves = picture.print.round(support.lift) != 0.0;
    // A lift in doubt has its own sign; what else keeps from lifting is written beside it.
    let flag = picture.flags.get(&support.support).filter(|_| moves);
    let doubt = match flag {
        _ if support.in_doubt => "?".to_owned(),
        Some((mark, _)) => format!(" {mark}"),
        None => String::new(),
    };
    let mut lines = vec![name, (picture.print.signed(support.lift) + &doubt, moves)];
    let stack: Vec<_> =
        support.packers.iter().map(|&thickness| picture.print.tidy(thickness)).collect();
    lines.extend(stack.chunks(2).map(|pair| (pair.join("+"), false)));
    lines
}

/// The colour of the floor that such a lift is for.
pub(crate) fn colour_of_lift(colours: &crate::ColourScale, lift: Length) -> Rgb {
    colours.colour(-lift)
}

fn draw_support(plan: &mut Plan, picture: &LiftPicture, support: &SupportMark, centre: Spot) {
    let style = plan.sheet.style;
    let canvas = &mut plan.sheet.canvas;
    if support.fixed.is_some() {
        Symbol::Square.draw(canvas, &style, centre, WHITE);
    } else if support.lift.is_finite() {
        let colour = colour_of_lift(&picture.colours, support.lift).to_string();
        Symbol::of(picture.print.round(support.lift)).draw(canvas, &style, centre, &colour);
    } else {
        Symbol::Cross.draw(canvas, &style, centre, WHITE);
    }
}

/// Classes of lifts, largest first: those of the floor, with the sign turned.
pub(crate) fn lift_rows(colours: &crate::ColourScale, print: Print) -> Vec<(Rgb, String)> {
    let mut rows = colours.legend(print);
    rows.reverse();
    let words: Vec<_> = colours.legend(print).into_iter().map(|(_, words)| words).collect();
    let turned = rows
        .into_iter()
        .zip(words)
        .map(|((colour, _), words)| (colour, words.replace(" of target", " of no lift")));
    turned.collect()
}

fn legend(plan: &mut Plan, picture: &LiftPicture) {
    let is_turned = plan.view.is_turned();
    let sheet = &mut plan.sheet;
    let is_let_down = picture.supports.iter().any(|support| support.lift < Length::ZERO);
    sheet.heading(&format!("lift in {}, + is up", picture.print.heights_are_in()));
    let rows = lift_rows(&picture.colours, picture.print);
    let shown = if is_let_down { rows.len() } else { 6 };
    sheet.colour_rows(&rows[..shown]);
    sheet.heading("symbols");
    let shape = |symbol: Symbol, fill: &str| {
        let fill = fill.to_owned();
        move |canvas: &mut Canvas, style: &Style, centre: Spot| {
            symbol.draw(canvas, style, centre, &fill);
        }
    };
    sheet.symbol_row(shape(Symbol::Up, &PALETTE[3].to_string()), "raise");
    if is_let_down {
        sheet.symbol_row(shape(Symbol::Down, &PALETTE[7].to_string()), "let down");
    }
    sheet.symbol_row(shape(Symbol::Dot, &PALETTE[5].to_string()), "leave: lift is 0");
    if picture.supports.iter().any(|support| support.fixed.is_some()) {
        sheet.symbol_row(shape(Symbol::Square, WHITE), "must stay as it is");
    }
    sheet.orientation(picture.orientation, is_turned);
    sheet.heading("planning aid: it does not say that lifting is safe");
}

/// The supports that stay, under the reason that they have in common.
fn fixed_by_reason(picture: &LiftPicture) -> Vec<(&str, Vec<&str>)> {
    let mut reasons: Vec<(&str, Vec<&str>)> = Vec::new();
    for support in &picture.supports {
        let Some(why) = support.fixed.as_deref() else { continue };
        match reasons.iter_mut().find(|(known, _)| *known == why) {
            Some((_, supports)) => supports.push(support.support.as_str()),
            None => reasons.push((why, vec![support.support.as_str()])),
        }
    }
    reasons
}

fn notes(plan: &mut Plan, picture: &LiftPicture) {
    let is_full = plan.has_full_labels();
    let sheet = &mut plan.sheet;
    if is_full {
        sheet.paragraph("at each support: name, lift, packers of its stack (thickest first)");
    }
    if picture.supports.iter().any(|support| support.in_doubt && support.fixed.is_none()) {
        sheet.heading("? rests on a reading in doubt: read it again before lifting");
    }
    for (why, supports) in fixed_by_reason(picture) {
        let verb = if supports.len() == 1 { "stays" } else { "stay" };
        sheet.paragraph(&format!("{} {verb}: {why}", supports.join(", ")));
    }
    if !picture.target_note.is_empty() {
        sheet.paragraph(&format!("target: {}", picture.target_note));
    }
}
