//! Pictures within pages. Here alone text goes into a page unescaped: it is what `draw` wrote, which
//! escapes all text of its own.

use crate::view::{JobView, Worked};
use floorwright_draw::{
    Medium, Orientation, PlanPictures, Print, ProfilePicture, RoomOutline, SiteMark, SiteMarkKind,
    SitePicture, TitleBlock, carried_map, floor_map, lift_map, pass_map, profile, site_map,
};
use floorwright_engine::plan::Plan;
use floorwright_engine::site::Position;
use maud::{Markup, html};

/// The floor as it was read.
pub(crate) fn floor(worked: &Worked, plan: &Plan) -> Option<Markup> {
    let pictures = PlanPictures::of(&worked.input, &worked.job, plan);
    let picture = pictures.floor_now(Medium::Screen, None);
    picture.ok().flatten().map(|picture| framed(&floor_map(&picture)))
}

/// The floor as the lifts will leave it.
pub(crate) fn floor_after(worked: &Worked) -> Option<Markup> {
    let picture = of(worked).floor_after(Medium::Screen, None);
    picture.ok().flatten().map(|picture| framed(&floor_map(&picture)))
}

/// The lift and packers at each support.
pub(crate) fn lifts(job: &JobView) -> Option<Markup> {
    let picture = of(job.worked.as_ref()?).lifts(Medium::Screen)?;
    Some(framed(&lift_map(&picture)))
}

/// Which supports carry what.
pub(crate) fn carried(job: &JobView) -> Option<Markup> {
    let picture = of(job.worked.as_ref()?).who_carries(Medium::Screen)?;
    Some(framed(&carried_map(&picture)))
}

/// One pass, by its place in the order.
pub(crate) fn pass(job: &JobView, pass: usize) -> Option<Markup> {
    let picture = of(job.worked.as_ref()?).passes(Medium::Screen)?.alone(pass)?;
    Some(framed(&pass_map(&picture)))
}

/// A section through the floor.
pub(crate) fn section(job: &JobView, from: Position, to: Position) -> Option<Markup> {
    let worked = job.worked.as_ref()?;
    let pictures = PlanPictures::of(&worked.input, &worked.job, worked.now());
    let picture: ProfilePicture = pictures.section(Medium::Screen, from, to)?;
    Some(framed(&profile(&picture)))
}

/// Rooms, supports and points.
pub(crate) fn site(job: &JobView) -> Option<Markup> {
    let worked = job.at_hand()?;
    let site = &worked.job.site;
    let supports = site.supports().iter().map(|support| SiteMark {
        name: support.id.to_string(),
        at: support.at,
        kind: if support.fixed.is_some() { SiteMarkKind::Fixed } else { SiteMarkKind::Support },
    });
    let is_support = |name: &str| site.supports().iter().any(|support| support.id.as_str() == name);
    let points =
        site.points().iter().filter(|point| !is_support(point.id.as_str())).filter_map(|point| {
            let (name, kind) = (point.id.to_string(), SiteMarkKind::Point);
            point.at.map(|at| SiteMark { name, at, kind })
        });
    let picture = SitePicture {
        medium: Medium::Screen,
        title_block: TitleBlock { title: "Site".to_owned(), ..TitleBlock::of(&worked.input) },
        orientation: Orientation::of(&worked.input),
        rooms: RoomOutline::all_of(&worked.job),
        marks: supports.chain(points).collect(),
        backdrop: crate::backdrop::laid(job).and_then(Result::ok),
        print: Print::of(&worked.input),
    };
    Some(framed(&site_map(&picture)))
}

pub(crate) fn framed(svg: &str) -> Markup {
    html! { figure .picture { (maud::PreEscaped(svg)) } }
}

fn of(worked: &Worked) -> PlanPictures<'_> {
    PlanPictures::of(&worked.input, &worked.job, &worked.plan)
}
