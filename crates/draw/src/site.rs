//! The map of the site: rooms, supports and points, before anything was worked out.

use crate::canvas::{Canvas, Rect, Spot};
use crate::number::Print;
use crate::picture::{Medium, Orientation, RoomOutline, TitleBlock};
use crate::plan::{Extent, Plan, PlanLabel, Symbol, is_drawable};
use crate::sheet::{Style, WHITE};
use floorwright_engine::backdrop::{Backdrop, Pixel};
use floorwright_engine::site::Position;

/// Something that stands on the site under a name.
#[derive(Clone, Debug, PartialEq)]
pub struct SiteMark {
    /// Its name.
    pub name: String,
    /// Where it is.
    pub at: Position,
    /// What it is.
    pub kind: SiteMarkKind,
}

/// What stands on the site.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SiteMarkKind {
    /// A support that may be raised.
    Support,
    /// A support that must stay.
    Fixed,
    /// A point that is read and stands on no support.
    Point,
}

/// A picture behind the map.
#[derive(Clone, Debug, PartialEq)]
pub struct BackdropPicture {
    /// Where the page finds it.
    pub href: String,
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
    /// How it lies on the plan.
    pub laid: Backdrop,
    /// The two places that it is marked by, which the map has to show.
    pub marks: [Position; 2],
}

/// What the map of the site shows.
#[derive(Clone, Debug)]
pub struct SitePicture {
    /// What it is drawn on.
    pub medium: Medium,
    /// What stands in its title block.
    pub title_block: TitleBlock,
    /// Which way the plan lies.
    pub orientation: Orientation,
    /// The rooms.
    pub rooms: Vec<RoomOutline>,
    /// Supports and points.
    pub marks: Vec<SiteMark>,
    /// The picture behind it all.
    pub backdrop: Option<BackdropPicture>,
    /// The unit of the scale bar.
    pub print: Print,
}

/// Draws rooms, supports and points with their names.
pub fn site_map(picture: &SitePicture) -> String {
    let marks: Vec<&SiteMark> = picture.marks.iter().filter(|mark| is_drawable(mark.at)).collect();
    let shown = picture.backdrop.iter().flat_map(|backdrop| backdrop.marks);
    let extent = Extent::of(&picture.rooms, marks.iter().map(|mark| mark.at).chain(shown));
    let mut plan = Plan::new(picture.medium, &picture.title_block, extent);
    if let Some(backdrop) = &picture.backdrop {
        lay(&mut plan, backdrop);
    }
    plan.walls(&picture.rooms);
    let symbols: Vec<Rect> = marks.iter().map(|mark| plan.reserve_symbol(mark.at)).collect();
    let labels = marks.iter().zip(&symbols).map(|(mark, &symbol)| PlanLabel {
        symbol,
        name: mark.name.clone(),
        forms: vec![vec![(mark.name.clone(), false)]],
    });
    plan.label_all(&labels.collect::<Vec<_>>());
    for (mark, symbol) in marks.iter().zip(&symbols) {
        let style = plan.sheet.style;
        symbol_of(mark.kind).draw(&mut plan.sheet.canvas, &style, symbol.centre(), WHITE);
    }
    plan.room_names(&picture.rooms);
    plan.sheet.bars(&plan.scale, picture.print);
    legend(&mut plan, picture);
    plan.admit_left_out(&[]);
    plan.sheet.finish()
}

/// Lays a picture under everything else, cut off where the map ends.
fn lay(plan: &mut Plan, backdrop: &BackdropPicture) {
    let spot = |right: f64, down: f64| plan.view.spot(backdrop.laid.place(Pixel { right, down }));
    let (corner, far) = (spot(0.0, 0.0), (f64::from(backdrop.width), f64::from(backdrop.height)));
    let (right, down) = (spot(far.0, 0.0), spot(0.0, far.1));
    let a_pixel =
        |(x, y): Spot, n_pixels: f64| ((x - corner.0) / n_pixels, (y - corner.1) / n_pixels);
    let matrix = [a_pixel(right, far.0), a_pixel(down, far.1), corner];
    let area = plan.sheet.area;
    plan.sheet.canvas.image(&backdrop.href, far, matrix, &area);
}

fn symbol_of(kind: SiteMarkKind) -> Symbol {
    match kind {
        SiteMarkKind::Support => Symbol::Dot,
        SiteMarkKind::Fixed => Symbol::Square,
        SiteMarkKind::Point => Symbol::Cross,
    }
}

fn legend(plan: &mut Plan, picture: &SitePicture) {
    let is_turned = plan.view.is_turned();
    let has = |kind| picture.marks.iter().any(|mark| mark.kind == kind);
    let rows = [
        (SiteMarkKind::Support, "support"),
        (SiteMarkKind::Fixed, "support that must stay"),
        (SiteMarkKind::Point, "point beside the supports"),
    ];
    for (kind, words) in rows.into_iter().filter(|&(kind, _)| has(kind)) {
        let draw = move |canvas: &mut Canvas, style: &Style, centre: Spot| {
            symbol_of(kind).draw(canvas, style, centre, WHITE);
        };
        plan.sheet.symbol_row(draw, words);
    }
    plan.sheet.orientation(picture.orientation, is_turned);
}
