//! Writes one picture of the invented house to stdout: `--example l_house -- NAME`.

#[path = "../tests/l_house/mod.rs"]
mod l_house;

use floorwright_draw::{
    Medium, Paper, carried_map, floor_map, jack_chart, lift_map, pass_map, profile, terminal_map,
    way_chart,
};
use std::io::Write;

const SHEET: Medium = Medium::Sheet(Paper::A4);

fn main() -> std::io::Result<()> {
    #[expect(clippy::disallowed_methods, reason = "a program, not the library")]
    let name = std::env::args().nth(1).unwrap_or_default();
    let (name, medium) = match name.strip_suffix("-phone") {
        Some(name) => (name, Medium::Screen),
        None => (name.as_str(), SHEET),
    };
    let picture = match name {
        "floor-before" => floor_map(&l_house::floor_before(medium)),
        "floor-after" => floor_map(&l_house::floor_after(medium)),
        "lift" => lift_map(&l_house::lifts(medium)),
        "section" => profile(&l_house::profile_of_front(medium)),
        "pass-1" => pass_map(&l_house::passes(medium, &[1])),
        "passes" => pass_map(&l_house::passes(medium, &[])),
        "passes-on-frame" => pass_map(&l_house::passes_on_frame(medium, &[])),
        "carried" => carried_map(&l_house::carried(medium)),
        "jack" => jack_chart(&l_house::jack(medium)),
        "way" => way_chart(&l_house::way(medium)),
        "terminal" => terminal_map(&l_house::floor_before(medium), false),
        "terminal-colour" => terminal_map(&l_house::floor_before(medium), true),
        _ => return Err(std::io::Error::other("no picture of that name")),
    };
    std::io::stdout().write_all(picture.as_bytes())
}
