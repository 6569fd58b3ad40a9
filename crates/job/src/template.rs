//! A new job to fill in: supports on a grid, with a table for the readings.

use crate::form_v1::Terms;
use crate::measure::{Unit, exact};
use floorwright_engine::units::ExactLength;

/// More supports than this in one row or column are not made.
pub const MOST_IN_A_ROW: usize = 100;

/// The grid of supports that a new job starts from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grid {
    /// Rows of supports, A first; at least one is made, and at most [`MOST_IN_A_ROW`].
    pub rows: usize,
    /// Supports in a row, 1 first; at least one is made, and at most [`MOST_IN_A_ROW`].
    pub columns: usize,
    /// From one support of a row to the next.
    pub spacing_x: ExactLength,
    /// From one row to the next.
    pub spacing_y: ExactLength,
    /// Words of the region.
    pub terms: Terms,
    /// Unit that the job is written in.
    pub units: Unit,
}

/// The files of a new job.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Template {
    /// The job.
    pub job: String,
    /// The table of readings.
    pub readings: String,
}

/// Makes a job for a grid of supports, and a table of readings to be filled in on site, which the
/// job knows by the name `readings_file`.
///
/// # Examples
/// ```
/// use floorwright_engine::units::ExactLength;
/// use floorwright_job::form_v1::Terms;
/// use floorwright_job::measure::Unit;
/// use floorwright_job::template::{Grid, template};
/// let files = template(Grid {
///     rows: 2,
///     columns: 3,
///     spacing_x: ExactLength::nm(1_800_000_000),
///     spacing_y: ExactLength::nm(1_500_000_000),
///     terms: Terms::Nz,
///     units: Unit::Millimetres,
/// }, "readings.csv");
/// assert!(files.readings.starts_with("point,reading,time,note\nA1,,,\nA2,,,\n"));
/// ```
pub fn template(grid: Grid, readings_file: &str) -> Template {
    let rows = grid.rows.clamp(1, MOST_IN_A_ROW);
    let columns = grid.columns.clamp(1, MOST_IN_A_ROW);
    let names: Vec<(String, usize, usize)> = (0..rows)
        .flat_map(|row| (0..columns).map(move |column| (support_name(row, column), row, column)))
        .collect();
    let (terms, support_word) = match grid.terms {
        Terms::Au => ("au", "stump"),
        Terms::Nz => ("nz", "pile"),
        Terms::Us => ("us", "pier"),
        Terms::Uk => ("uk", "pier"),
    };
    let (units, bare) = match grid.units {
        Unit::Millimetres => ("mm", "millimetres"),
        Unit::Metres => ("m", "metres"),
        Unit::FeetInches => {
            ("ft-in", "inches; feet and inches go in quotes, such as \"12' 3 1/2\\\"\"")
        }
    };
    let mut job = HEAD
        .replace("{terms}", terms)
        .replace("{units}", units)
        .replace("{bare}", bare)
        .replace("{support}", support_word)
        .replace("{outline}", &outline(grid, rows, columns));
    for (name, row, column) in &names {
        let x = coordinate(grid.spacing_x, *column, grid.units);
        let y = coordinate(grid.spacing_y, *row, grid.units);
        job += &format!(
            "\n[[support]]\nid = \"{name}\"\nat = [{x}, {y}]\nkind = \"{support_word}\"\n"
        );
    }
    let last_x = coordinate(grid.spacing_x, columns - 1, grid.units);
    job += &in_unit(FRAME, grid.units)
        .replace("{bearers}", &bearers(rows, columns))
        .replace("{last_x}", &last_x);
    job += &in_unit(TAIL, grid.units).replace("{readings}", readings_file);
    let mut readings = String::from("point,reading,time,note\n");
    for (name, ..) in &names {
        readings += &format!("{name},,,\n");
    }
    readings += "A1,,,read A1 again at the end\n";
    Template { job, readings }
}

/// A bearer along each row, commented out; none for a single column.
fn bearers(rows: usize, columns: usize) -> String {
    let bearer = |row: usize| {
        let names: Vec<String> =
            (0..columns).map(|column| format!("\"{}\"", support_name(row, column))).collect();
        let id = row_name(row);
        format!("# [[bearer]]\n# id = \"{id}\"\n# supports = [{}]\n", names.join(", "))
    };
    if columns < 2 { String::new() } else { (0..rows).map(bearer).collect() }
}

/// Row letter and column number: A1, A2, … B1; after Z comes AA.
pub(crate) fn support_name(row: usize, column: usize) -> String {
    format!("{}{}", row_name(row), column + 1)
}

/// A, B, … Z, AA, …
pub(crate) fn row_name(row: usize) -> String {
    let letter = |index: usize| char::from(b'A' + (index % 26) as u8);
    let first = (row >= 26).then(|| letter(row / 26 - 1));
    format!("{}{}", first.map_or(String::new(), String::from), letter(row))
}

fn coordinate(spacing: ExactLength, steps: usize, units: Unit) -> String {
    let steps = i64::try_from(steps).unwrap_or(i64::MAX);
    let place = ExactLength::nm(spacing.to_nm().saturating_mul(steps));
    let text = exact(place, units);
    let bare = match units {
        Unit::Millimetres => text.strip_suffix(" mm"),
        Unit::Metres => text.strip_suffix(" m"),
        Unit::FeetInches => None,
    };
    bare.map_or_else(|| format!("\"{}\"", text.replace('"', "\\\"")), str::to_owned)
}

/// The four corners of the grid, two hands outside the supports.
fn outline(grid: Grid, rows: usize, columns: usize) -> String {
    let margin = match grid.units {
        Unit::Millimetres | Unit::Metres => 200_000_000,
        Unit::FeetInches => 203_200_000, // 8 in
    };
    let side = |spacing: ExactLength, steps: usize| {
        let steps = i64::try_from(steps - 1).unwrap_or(i64::MAX);
        let end = spacing.to_nm().saturating_mul(steps).saturating_add(margin);
        [-margin, end].map(|nm| coordinate(ExactLength::nm(nm), 1, grid.units))
    };
    let ([left, right], [bottom, top]) =
        (side(grid.spacing_x, columns), side(grid.spacing_y, rows));
    format!("[{left}, {bottom}], [{right}, {bottom}], [{right}, {top}], [{left}, {top}]")
}

/// Writes each `{mm …}` as a bare number in a job in millimetres, and with its unit in others.
fn in_unit(text: &str, units: Unit) -> String {
    let mut parts = text.split("{mm ");
    let mut written = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let (number, rest) = part.split_once('}').unwrap_or((part, ""));
        written += &match units {
            Unit::Millimetres => number.to_owned(),
            Unit::Metres | Unit::FeetInches => format!("\"{number} mm\""),
        };
        written += rest;
    }
    written
}

const HEAD: &str = r#"format = 1

# A bare number is in {bare}.
# x runs to the right on the plan, y up the page; heights are up.

[job]
name = "New job"
# client = ""
# street = "top"       # side of the plan that the street is on; or north = 30 (degrees, clockwise from up)
# address = ""
# date = "2026-03-31"
terms = "{terms}"     # words and criteria: au, nz, us or uk
units = "{units}"     # mm, m or ft-in
# reading_units = "m"   # if the staff is read in metres

# Rooms are needed for the floor map at notches and steps. Corners in order, walking round once.
# [[room]]
# name = "house"
# outline = [{outline}]
# finish = "plaster"    # boards, plaster or tiles

# Each {support}: letters for rows (up the page), numbers along a row. Correct each place as measured.
# A reading on the name of a {support} is a reading on the floor over it.
# Also: gap (air under the bearer), height, size, max_lift, fixed = "why", may_lower.
"#;

const FRAME: &str = r#"
# The frame under the floor. What is not given is proposed by rule and listed as assumed.
# A section is breadth x depth: "75x100 mm" is 75 broad and stands 100 high.
# Grades of timber: F4, F5, F7, F8, MGP10, "SG8, dry", "SG8, wet", C16, C24, "DF-L No. 2".
# [frame]
# bearer_timber = "F5"
# joist_timber = "F5"
# set_share = [0, 1]    # how much of the sag the timber has kept for good: 0 springs back, 1 stays
{bearers}# [joists]
# spacing = {mm 450}
# section = "50x100 mm"
# [[wall]]
# name = "front"
# from = [0, 0]
# to = [{last_x}, 0]
# build_up = ["weatherboard-wall", "sheet-roof"]   # or load = "1.5 kN/m"
# height = {mm 2700}
# roof_width = {mm 2400}
# [loads]
# floor = 0.5           # kPa, boards and covering without joists
# live = 1.5            # kPa, people and furniture
"#;

const TAIL: &str = r#"
# What the levels are counted from: a mark that does not move with the house is best.
# With a benchmark, take [datum] out.
[datum]
zero = "A1"

# [[benchmark]]
# point = "BM"          # read it in {readings} too
# level = 0

# Other points that were read: at = [x, y], or the name of a support.
# [[point]]
# id = "door"
# at = "A1"           # or [x, y]
# kind = "threshold"    # floor, benchmark, threshold, soffit, ground or change-point

# Your own hose level, if you read with one: from what it is made of follow its wait, its scale and how
# far to trust a reading (floorwright hose), and where to stand with it (floorwright stands). The setups
# below then need no hose and no reading_sd of their own.
# [hose]
# kind = "pail"         # one tube on a pail; twin for two equal tubes
# bore = "10 mm"        # inside width of the tube
# length = "20 m"
# reservoir = "200 mm"  # inside width of a round pail at its water line
# fluid = "water"       # water, dyed-water, propylene-glycol or ethylene-glycol (with glycol = "30 %")

# Mark each doorway that a hose can be laid through as a [[door]], with its middle at = [x, y] on the line
# of a wall. With any of them, the walls between rooms count.

# One standing of the instrument, or one filling of the hose.
# Read the first point again at the end: it shows drift and slips.
[[setup]]
id = "1"
# instrument = "hose"   # level, laser or hose
# hose = { bore = {mm 10}, reservoir = {mm 200} }
# reading_sd = {mm 1.2}      # 0.5 mm if read carefully, 1.2 mm if not
# drift = true          # the water line creeps with time: every reading needs a time
readings = "{readings}"

# Where the floor is to end: a height, "highest", "free" or { point = "door", offset = 0 }.
# To meet new floor: { point = "door", old_build_up = 12, new_build_up = 20 }, both still to be laid.
[goal]
height = "highest"
# level_tolerance = {mm 5}
# slope_tolerance = "1 in 500"

# What a pass may do. Give your reason with each value.
[limits]
lift_per_pass = { value = {mm 5}, reason = "a choice for this job" }
jacks = { value = 2, reason = "one person to a jack, and one to watch" }
# jack_rating = { value = "5 t", reason = "marked on the jack" }

# The packers that can be had; price for a pack.
# [stock]
# packers = [
#     { thickness = {mm 3}, pack = 50, price = 20.00 },
#     { thickness = {mm 10}, pack = 50, price = 40.00 },
# ]

# What it costs, for floorwright order. What is left out is named there, and never guessed.
# [rates]
# currency = "AUD"
# hourly = 80.00
# people = 3
# hours_per_day = 7.5
# jack_day = 10.00
# minutes = { set_up = 240, setup = 20, reading = 1.5, pass = 45, move = 12, packing = 6, fixing = 15 }
# margin = 0.1
# tax = 0.1
"#;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{SourceFile, load};

    fn grid(units: Unit, terms: Terms) -> Grid {
        let spacing = match units {
            Unit::FeetInches => ExactLength::nm(6 * 304_800_000 + 11_112_500),
            Unit::Millimetres | Unit::Metres => ExactLength::nm(1_805_500_000),
        };
        Grid { rows: 3, columns: 4, spacing_x: spacing, spacing_y: spacing, terms, units }
    }

    #[test]
    fn filled_in_it_loads_without_a_fault() {
        let check = |units, terms, reading: &str| {
            let files = template(grid(units, terms), "readings.csv");
            let mut minute = 0;
            let filled: Vec<String> = files
                .readings
                .lines()
                .map(|line| {
                    minute += 1;
                    line.replacen(",,,", &format!(",{reading},{minute},"), 1)
                })
                .collect();
            let filled = filled.join("\n");
            let source = SourceFile::new("job.toml", files.job.as_str());
            let loaded = load(&source, &mut |name| {
                assert_eq!(name, "readings.csv");
                Ok(filled.clone())
            });
            assert_eq!(loaded.faults, [], "{}", files.job);
            let job = loaded.job.unwrap();
            assert_eq!(job.site.supports().len(), 12);
            assert_eq!(job.site.points().len(), 12);
            assert_eq!(job.survey.setups[0].readings.len(), 13);
            let corner = job.site.supports()[11].at;
            let expected = grid(units, terms).spacing_x.to_mm();
            assert!((corner.x.to_mm() - 3.0 * expected).abs() < 1e-6, "{corner:?}");
            assert!((corner.y.to_mm() - 2.0 * expected).abs() < 1e-6, "{corner:?}");
        };
        check(Unit::Millimetres, Terms::Au, "1612");
        check(Unit::Metres, Terms::Uk, "1.379");
        check(Unit::FeetInches, Terms::Us, "63 7/16");
        check(Unit::Millimetres, Terms::Nz, "161.2 cm");
    }

    #[test]
    fn what_is_commented_out_is_right_too() {
        let is_entry = |line: &str| {
            line.starts_with(['[', ' ', ']'])
                || line.split_once(" = ").is_some_and(|(key, _)| !key.contains(' '))
        };
        for (units, reading) in
            [(Unit::Millimetres, "1612"), (Unit::Metres, "1.612"), (Unit::FeetInches, "63 7/16")]
        {
            let files = template(grid(units, Terms::Uk), "readings.csv");
            let text: Vec<&str> = files
                .job
                .lines()
                .map(|line| match line.strip_prefix("# ") {
                    Some(entry) if is_entry(entry) => entry,
                    _ => line,
                })
                .filter(|line| !line.starts_with("[datum]") && !line.starts_with("zero = "))
                .filter(|line| !line.starts_with("reading_units"))
                .collect();
            let text = text.join("\n");
            assert!(
                text.contains("\npackers = [\n") && text.contains("\n[[benchmark]]\n"),
                "{text}"
            );
            let mut minute = 0;
            let rows: Vec<String> = (files.readings + "BM,,,\n")
                .lines()
                .map(|line| {
                    minute += 1;
                    line.replacen(",,,", &format!(",{reading},{minute},"), 1)
                })
                .collect();
            let source = SourceFile::new("job.toml", text.as_str());
            let loaded = load(&source, &mut |_| Ok(rows.join("\n")));
            assert_eq!(loaded.faults, [], "{text}");
            let job = loaded.job.unwrap();
            let bore_on_reservoir = job.survey.setups[0].scale - 1.0;
            assert!((bore_on_reservoir - 0.0025).abs() < 1e-12, "{bore_on_reservoir}");
            assert_eq!(job.stock.packers[1].thickness.to_mm(), 10.0);
            let frame = &job.frame.given;
            assert_eq!((frame.bearers.len(), frame.joist_sets.len()), (3, 1));
            assert_eq!(frame.bearers[1].supports.len(), 4);
            assert_eq!(frame.walls.as_ref().map(Vec::len), Some(1));
            assert!(job.limits.jack_rating.is_some());
            assert_eq!(job.goal.level_tolerance.unwrap().to_mm(), 5.0);
        }
    }

    #[test]
    fn untouched_it_loads_with_one_warning() {
        let files = template(grid(Unit::Millimetres, Terms::Au), "readings.csv");
        let source = SourceFile::new("job.toml", files.job.as_str());
        let loaded = load(&source, &mut |_| Ok(files.readings.clone()));
        let shown: Vec<String> = loaded.faults.iter().map(ToString::to_string).collect();
        assert_eq!(
            shown,
            [
                "job.toml: warning: there are no readings yet",
                "readings.csv:2: warning: rows without a reading, from point A1 on: 13 of 13",
            ]
        );
        assert!(loaded.job.is_some());
    }

    #[test]
    fn rows_beyond_z_go_on_with_two_letters() {
        assert_eq!(support_name(0, 0), "A1");
        assert_eq!(support_name(25, 11), "Z12");
        assert_eq!(support_name(26, 0), "AA1");
        assert_eq!(support_name(99, 0), "CV1");
    }
}
