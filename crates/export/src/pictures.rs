//! The pictures of a job, each a file.

use crate::{File, Source};
use floorwright_draw::{
    Medium, Paper, PlanPictures, carried_map, floor_map, lift_map, pass_map, way_chart,
};
use floorwright_job::not_yet::flags;

/// With more supports than this a sheet of A4 has no room for their packers.
const ON_A4: usize = 40;

/// Names of the pictures that there may be.
pub(crate) const NAMES: [&str; 6] = ["floor", "floor-after", "lifts", "carries", "passes", "way"];

pub(crate) fn files(source: &Source<'_>) -> Vec<File> {
    let mut pictures = PlanPictures::of(source.input, source.job, source.plan);
    pictures.title_block.number = source.data_sha256.chars().take(8).collect();
    let is_large = source.job.site.supports().len() > ON_A4;
    let large = Medium::Sheet(if is_large { Paper::A3 } else { Paper::A4 });
    let a4 = Medium::Sheet(Paper::A4);
    let mut files = Vec::new();
    let add = |files: &mut Vec<File>, name: &str, about: &str, svg: Option<String>| {
        files.extend(svg.map(|svg| File {
            name: format!("{name}.svg"),
            about: about.to_owned(),
            bytes: svg.into_bytes(),
        }));
    };
    let floor = pictures.floor_now(a4, None).ok().flatten();
    add(&mut files, "floor", "Map of the floor as read.", floor.as_ref().map(floor_map));
    let Ok((left, n_done)) = source.to_work_by() else { return files };
    if !source.stops().is_empty() {
        return files;
    }
    pictures.plan = left.plan;
    pictures.done = n_done;
    pictures.flags = flags(left.plan, source.record);
    let after = pictures.floor_after(a4, None).ok().flatten();
    add(
        &mut files,
        "floor-after",
        "Map of the floor after the lifts, as predicted.",
        after.as_ref().map(floor_map),
    );
    let lifts = pictures.lifts(large);
    add(&mut files, "lifts", "Plan of the lifts and packers.", lifts.as_ref().map(lift_map));
    let carries = pictures.who_carries(a4);
    add(
        &mut files,
        "carries",
        "Plans of what each support carries.",
        carries.as_ref().map(carried_map),
    );
    let passes = pictures.passes(a4);
    add(&mut files, "passes", "Plans of all passes.", passes.as_ref().map(pass_map));
    let way = pictures.along_the_way(a4).filter(|_| left.plan.frame.done().is_some());
    add(&mut files, "way", "How near each move comes to its limits.", way.as_ref().map(way_chart));
    files
}
