//! Reads the drawings back: what they show is checked on the SVG itself.

mod l_house;
mod on_frame;

use floorwright_draw::{
    FloorPicture, FloorPoint, Medium, Orientation, Paper, PassPicture, PassStep, ProfilePoint,
    SupportHolding, SupportMark, carried_map, floor_map, jack_chart, lift_map, pass_map, profile,
    terminal_map, way_chart,
};
use floorwright_engine::ids::{PointId, SupportId};
use floorwright_engine::site::Position;
use floorwright_engine::units::{Length, round_to};
use proptest::prelude::*;
use roxmltree::{Document, Node};
use std::sync::LazyLock;

const A4: Medium = Medium::Sheet(Paper::A4);

type Spot = (f64, f64);
type Rect = (f64, f64, f64, f64);

fn of_class<'a>(document: &'a Document<'a>, class: &str) -> Vec<Node<'a, 'a>> {
    let has = |node: &Node<'_, '_>| {
        node.attribute("class")
            .is_some_and(|c| c == class || c.split(' ').any(|word| word == class))
    };
    document.descendants().filter(has).collect()
}

fn number(node: &Node<'_, '_>, name: &str) -> f64 {
    node.attribute(name).and_then(|value| value.parse().ok()).unwrap_or_else(|| panic!("{name}"))
}

/// Left, top, right, bottom.
fn rect_of(node: &Node<'_, '_>) -> Rect {
    let (x, y) = (number(node, "x"), number(node, "y"));
    (x, y, x + number(node, "width"), y + number(node, "height"))
}

fn path_of(node: &Node<'_, '_>) -> Vec<Spot> {
    let path = node.attribute("d").unwrap();
    let pairs = path.split(['M', 'L', 'Z']).filter(|pair| !pair.is_empty());
    pairs
        .map(|pair| {
            let (x, y) = pair.split_once(' ').unwrap();
            (x.parse().unwrap(), y.parse().unwrap())
        })
        .collect()
}

fn overlap(a: Rect, b: Rect) -> bool {
    const TOUCH: f64 = 0.011; // coordinates are written to two decimals
    a.0 + TOUCH < b.2 && b.0 + TOUCH < a.2 && a.1 + TOUCH < b.3 && b.1 + TOUCH < a.3
}

fn symbol_box(node: &Node<'_, '_>) -> Rect {
    if node.has_tag_name("circle") {
        let (x, y, r) = (number(node, "cx"), number(node, "cy"), number(node, "r"));
        return (x - r, y - r, x + r, y + r);
    }
    if node.has_tag_name("rect") {
        return rect_of(node);
    }
    let spots = path_of(node);
    let start = (f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY);
    spots.iter().fold(start, |b, s| (b.0.min(s.0), b.1.min(s.1), b.2.max(s.0), b.3.max(s.1)))
}

fn all_pictures() -> Vec<(&'static str, Medium, String)> {
    let both = [A4, Medium::Screen];
    let draw = |medium: Medium| {
        [
            ("before", medium, floor_map(&l_house::floor_before(medium))),
            ("after", medium, floor_map(&l_house::floor_after(medium))),
            ("lift", medium, lift_map(&l_house::lifts(medium))),
            ("section", medium, profile(&l_house::profile_of_front(medium))),
            ("pass 4", medium, pass_map(&l_house::passes(medium, &[4]))),
            ("passes", medium, pass_map(&l_house::passes(medium, &[]))),
            ("pass 4 on the frame", medium, pass_map(&l_house::passes_on_frame(medium, &[4]))),
            ("passes", medium, pass_map(&l_house::passes_on_frame(medium, &[]))),
            ("today", medium, carried_map(&l_house::carried(medium).alone(0).unwrap())),
            ("on the way", medium, carried_map(&l_house::carried(medium).alone(1).unwrap())),
            ("carried", medium, carried_map(&l_house::carried(medium))),
            ("jack", medium, jack_chart(&l_house::jack(medium))),
            ("way", medium, way_chart(&l_house::way(medium))),
        ]
    };
    both.into_iter().flat_map(draw).collect()
}

fn assert_plates_are_apart(svg: &str, name: &str) {
    let document = Document::parse(svg).unwrap();
    let plates: Vec<_> = of_class(&document, "plate").iter().map(rect_of).collect();
    let symbols: Vec<_> = of_class(&document, "symbol").iter().map(symbol_box).collect();
    assert!(!plates.is_empty() || name == "passes", "{name}");
    for (idx, plate) in plates.iter().enumerate() {
        for other in &plates[idx + 1..] {
            assert!(!overlap(*plate, *other), "{name}: plates {plate:?} and {other:?}");
        }
        for symbol in &symbols {
            assert!(!overlap(*plate, *symbol), "{name}: plate {plate:?} on symbol {symbol:?}");
        }
    }
}

#[test]
fn no_label_lies_on_another_or_on_a_symbol() {
    for (name, _, svg) in all_pictures() {
        if !["section", "jack", "way"].contains(&name) {
            assert_plates_are_apart(&svg, name);
        }
    }
}

/// The sign is read from the shape alone, as a black and white print shows it.
#[test]
fn shape_number_and_colour_say_the_same_at_every_point() {
    for medium in [A4, Medium::Screen] {
        let picture = l_house::floor_before(medium);
        let svg = floor_map(&picture);
        let document = Document::parse(&svg).unwrap();
        let symbols = of_class(&document, "symbol");
        let labels: Vec<_> = of_class(&document, "label").iter().filter_map(Node::text).collect();
        for (point, symbol) in picture.points.iter().zip(&symbols) {
            let Some(departure) = point.departure else {
                assert_eq!(symbol.attribute("class"), Some("symbol cross"));
                continue;
            };
            let printed = round_to(departure.to_mm(), 1.0);
            let seen = if symbol.has_tag_name("circle") {
                0.0
            } else {
                let spots = path_of(symbol);
                (spots[1].1 - spots[0].1).signum() // the tip comes first; down the page is down
            };
            assert_eq!(
                seen,
                if printed == 0.0 { 0.0 } else { printed.signum() },
                "{}",
                point.point
            );
            let colour = picture.colours.colour(departure).to_string();
            assert_eq!(symbol.attribute("fill"), Some(colour.as_str()), "{}", point.point);
            let sign = ["\u{2212}", "", "+"][(seen + 1.0) as usize];
            let doubt = if point.suspect { "?" } else { "" };
            let text = format!("{sign}{:.0}{doubt}", printed.abs());
            let at = labels.iter().position(|label| *label == point.point.as_str()).unwrap();
            assert_eq!(labels[at + 1], text, "{}", point.point);
        }
    }
}

#[test]
fn before_and_after_have_one_legend() {
    let legend = |picture: &FloorPicture| {
        let svg = floor_map(picture);
        let document = Document::parse(&svg).unwrap();
        let colours = of_class(&document, "legend-colour");
        let colours: Vec<_> =
            colours.iter().map(|node| node.attribute("fill").unwrap().to_owned()).collect();
        let words = of_class(&document, "legend-class");
        let words: Vec<_> = words.iter().map(|node| node.text().unwrap().to_owned()).collect();
        (colours, words)
    };
    let before = legend(&l_house::floor_before(A4));
    assert_eq!(before.0.len(), 11);
    assert_eq!(before, legend(&l_house::floor_after(A4)));
}

fn is_inside(spot: Spot, polygon: &[Spot]) -> bool {
    let mut inside = false;
    for (idx, a) in polygon.iter().enumerate() {
        let b = polygon[(idx + 1) % polygon.len()];
        if (a.1 > spot.1) != (b.1 > spot.1) {
            inside ^= spot.0 < a.0 + (spot.1 - a.1) / (b.1 - a.1) * (b.0 - a.0);
        }
    }
    inside
}

#[test]
fn no_contour_leaves_the_rooms() {
    let picture = l_house::floor_before(A4);
    let rooms = l_house::rooms();
    let leaves =
        |place: &Position| rooms.iter().all(|room| !room.outline.contains(*place, Length::mm(1.0)));
    let places = || picture.contours.iter().flat_map(|contour| &contour.line);
    assert!(places().any(leaves), "the trial needs contours that leave the house");
    let svg = floor_map(&picture);
    let document = Document::parse(&svg).unwrap();
    let outlines: Vec<_> = of_class(&document, "room").iter().map(path_of).collect();
    let contours: Vec<_> = of_class(&document, "contour").iter().map(path_of).collect();
    assert!(contours.len() > 10);
    let near = [(0.0, 0.0), (0.03, 0.0), (-0.03, 0.0), (0.0, 0.03), (0.0, -0.03)];
    for spot in contours.iter().flatten() {
        let around = near.map(|(dx, dy)| (spot.0 + dx, spot.1 + dy));
        let inside = |at: &Spot| outlines.iter().any(|outline| is_inside(*at, outline));
        assert!(around.iter().any(inside), "{spot:?}");
    }
}

#[test]
fn a_sheet_is_true_to_its_scale() {
    let svg = floor_map(&l_house::floor_before(A4));
    let document = Document::parse(&svg).unwrap();
    let root = document.root_element();
    assert_eq!(root.attribute("width"), Some("297.00mm"));
    assert_eq!(root.attribute("viewBox"), Some("0 0 297.00 210.00"));
    assert_eq!(of_class(&document, "scale")[0].text(), Some("SCALE 1:50 (A4)"));
    let bar: Vec<_> = of_class(&document, "scale-bar").iter().map(rect_of).collect();
    let length = bar.last().unwrap().2 - bar[0].0;
    assert_eq!(of_class(&document, "scale-bar-end")[1].text(), Some("2 m"));
    assert!((length - 2000.0 / 50.0).abs() < 0.2, "{length}");
    let check = path_of(&of_class(&document, "check-bar")[0]);
    assert!((check[1].0 - check[0].0 - 100.0).abs() < 0.01, "{check:?}");
    let symbols = of_class(&document, "symbol");
    let (first, ninth) = (symbol_box(&symbols[0]), symbol_box(&symbols[8]));
    assert!((ninth.0 - first.0 - 10_000.0 / 50.0).abs() < 0.05, "A1 to A9 is ten metres");
}

#[test]
fn a_larger_house_takes_the_next_scale_of_the_list() {
    let mut picture = l_house::floor_before(A4);
    picture.points[0].at = Position::mm(-9000.0, 0.0);
    let svg = floor_map(&picture);
    assert!(svg.contains("SCALE 1:100 (A4)"));
}

#[test]
fn every_field_of_the_title_block_is_filled() {
    let svg = floor_map(&l_house::floor_before(A4));
    let document = Document::parse(&svg).unwrap();
    let captions: Vec<_> =
        of_class(&document, "title-caption").iter().filter_map(Node::text).collect();
    let values: Vec<_> = of_class(&document, "title-value").iter().filter_map(Node::text).collect();
    assert_eq!(captions.len(), 10);
    assert_eq!(values.len(), 10);
    assert!(
        values.iter().all(|value| !value.trim().is_empty() && !value.ends_with('…')),
        "{values:?}"
    );
    assert_eq!(values[captions.iter().position(|c| *c == "approved by").unwrap()], "–");
}

/// 2.5 mm high on paper (ISO 3098 series, from memory); a capital is 0.716 of the font's size.
#[test]
fn text_is_large_enough() {
    for (name, medium, svg) in all_pictures() {
        let document = Document::parse(&svg).unwrap();
        let texts: Vec<_> = document.descendants().filter(|n| n.has_tag_name("text")).collect();
        assert!(!texts.is_empty(), "{name}");
        for text in texts {
            let size = number(&text, "font-size");
            let enough = if medium == A4 { size * 0.716 >= 2.5 } else { size >= 11.0 };
            assert!(enough, "{name}: {:?} is {size}", text.text());
        }
    }
}

/// Widths are estimated at 0.45 em a character, less than running text needs in any common face.
#[test]
fn no_text_runs_into_another_or_off_the_page() {
    for (name, _, svg) in all_pictures() {
        let document = Document::parse(&svg).unwrap();
        let view: Vec<f64> = document
            .root_element()
            .attribute("viewBox")
            .unwrap()
            .split(' ')
            .map(|value| value.parse().unwrap())
            .collect();
        let room = |text: &Node<'_, '_>| {
            let (x, y, size) = (number(text, "x"), number(text, "y"), number(text, "font-size"));
            let width = 0.45 * size * text.text().unwrap_or_default().chars().count() as f64;
            let left = match text.attribute("text-anchor") {
                Some("middle") => x - width / 2.0,
                Some("end") => x - width,
                _ => x,
            };
            (left, y - 0.716 * size, left + width, y)
        };
        let texts: Vec<_> = document.descendants().filter(|n| n.has_tag_name("text")).collect();
        for (idx, text) in texts.iter().enumerate() {
            let own = room(text);
            assert!(
                own.0 >= 0.0 && own.1 >= 0.0 && own.2 <= view[2] && own.3 <= view[3],
                "{name}: {text:?}"
            );
            for other in &texts[idx + 1..] {
                assert!(
                    !overlap(own, room(other)),
                    "{name}: {:?} and {:?}",
                    text.text(),
                    other.text()
                );
            }
        }
    }
}

#[test]
fn the_same_values_give_the_same_bytes_without_a_minus_zero() {
    for ((name, _, first), (_, _, second)) in all_pictures().into_iter().zip(all_pictures()) {
        assert_eq!(first, second, "{name}");
        for bad in ["-0.00", ">-0", "\u{2212}0<", "\u{2212}0.0<", "NaN", "inf"] {
            assert!(!first.contains(bad), "{name} has {bad}");
        }
    }
}

#[test]
fn north_is_never_invented() {
    let mut picture = l_house::floor_before(A4);
    picture.orientation = Orientation::NotDeclared;
    let svg = floor_map(&picture);
    let document = Document::parse(&svg).unwrap();
    assert!(of_class(&document, "north").is_empty() && of_class(&document, "street").is_empty());
    assert!(svg.contains("north and street: not declared"));
    picture.orientation = Orientation::North(Position::mm(0.0, 2.0));
    let svg = floor_map(&picture);
    let document = Document::parse(&svg).unwrap();
    let shaft = path_of(&of_class(&document, "north")[0]);
    assert!(shaft[1].1 < shaft[0].1 && (shaft[1].0 - shaft[0].0).abs() < 1e-9, "{shaft:?}");
}

#[test]
fn each_pass_shows_exactly_what_moves() {
    let picture: PassPicture = l_house::passes(A4, &[6]);
    let svg = pass_map(&picture);
    let document = Document::parse(&svg).unwrap();
    let n_moves = picture.passes[0].moves.len();
    assert!(n_moves > 5 && n_moves < 54);
    let legend = 1;
    assert_eq!(of_class(&document, "up").len(), n_moves + legend);
    assert_eq!(of_class(&document, "still").len(), 54 - n_moves + legend);
    let lifts =
        of_class(&document, "label").iter().filter(|l| l.text().unwrap().starts_with('+')).count();
    assert_eq!(lifts, n_moves);
}

/// A support where nobody lifts yet has its flag beside the lift and its reason under the legend; one that is not
/// lifted has neither.
#[test]
fn supports_where_nobody_lifts_yet_are_flagged_on_the_lifts() {
    let mut picture = l_house::lifts(A4);
    let of = |name: &str| (SupportId::new(name), ("STOP!".to_owned(), "look why first".to_owned()));
    let lifted =
        picture.supports.iter().find(|mark| mark.lift.to_mm() > 5.0 && !mark.in_doubt).unwrap();
    let name = lifted.support.to_string();
    picture.flags = [of(&name), of("C4")].into_iter().collect();
    let svg = lift_map(&picture);
    assert_eq!(svg.matches("STOP!").count(), 2, "C4 stays as it is");
    assert!(svg.contains(&format!("{name} STOP! look why first")));
    picture.flags.clear();
    assert!(!lift_map(&picture).contains("STOP!"));
}

#[test]
fn lifts_carry_their_packers_and_fixed_supports_their_reason() {
    let svg = lift_map(&l_house::lifts(A4));
    let document = Document::parse(&svg).unwrap();
    let labels: Vec<_> = of_class(&document, "label").iter().filter_map(Node::text).collect();
    let at = labels.iter().position(|label| *label == "A9").unwrap();
    assert_eq!(labels[at + 1..at + 4], ["+33.5", "20+10", "3"]);
    let fixed = labels.iter().position(|label| *label == "C4").unwrap();
    assert_eq!(labels[fixed + 1], "stays");
    assert!(svg.contains("C4 stays: chimney base"));
}

#[test]
fn a_section_puts_its_ends_where_the_floor_is() {
    let svg = profile(&l_house::profile_of_front(A4));
    let document = Document::parse(&svg).unwrap();
    let frame = rect_of(&of_class(&document, "frame")[0]);
    let target = path_of(&of_class(&document, "target")[0]);
    let floor = path_of(&of_class(&document, "floor")[0]);
    let axis: Vec<f64> = of_class(&document, "axis")
        .iter()
        .filter(|text| text.attribute("text-anchor") == Some("end"))
        .map(|text| text.text().unwrap().replace('\u{2212}', "-").parse().unwrap())
        .collect();
    let (low, high) = (axis[0], axis[axis.len() - 1]);
    let height_of = |y: f64| low + (frame.3 - y) / (frame.3 - frame.1) * (high - low);
    assert!(height_of(target[0].1).abs() < 0.05);
    let end = l_house::departure(Position::mm(10_000.0, 0.0));
    assert!((height_of(floor[floor.len() - 1].1) - end).abs() < 0.1);
    assert!((floor[floor.len() - 1].0 - frame.2).abs() < 0.02);
}

#[test]
fn a_terminal_shows_every_number_in_eighty_columns() {
    let picture = l_house::floor_before(A4);
    let plain = terminal_map(&picture, false);
    assert!(!plain.contains('\u{1b}'));
    assert!(plain.lines().all(|line| line.chars().count() <= 80), "{plain}");
    let known = picture.points.iter().filter_map(|point| point.departure);
    for departure in known {
        let whole = round_to(departure.to_mm(), 1.0);
        let text = if whole == 0.0 { " 0 ".to_owned() } else { format!("{whole:+.0}") };
        assert!(plain.contains(&text), "{text}");
    }
    let coloured = terminal_map(&picture, true);
    let mut bare = String::new();
    let mut in_code = false;
    for c in coloured.chars() {
        match c {
            '\u{1b}' => in_code = true,
            'm' if in_code => in_code = false,
            _ if in_code => {}
            _ => bare.push(c),
        }
    }
    assert!(coloured.contains("\u{1b}["));
    assert!(bare.lines().all(|line| line.chars().count() <= 80), "{bare}");
}

#[test]
fn a_crowd_is_drawn_without_overlap_and_admits_what_it_leaves_out() {
    let mut picture = l_house::floor_before(A4);
    picture.contours.clear();
    picture.points = (0..280)
        .map(|n| FloorPoint {
            point: PointId::new(format!("P{n}")),
            at: Position::mm(f64::from(n % 20) * 150.0, f64::from(n / 20) * 130.0),
            departure: Some(Length::mm(f64::from(n % 37) - 18.0)),
            suspect: false,
        })
        .collect();
    let svg = floor_map(&picture);
    assert_plates_are_apart(&svg, "crowd");
    assert!(svg.contains("no room for the labels of: "));
}

#[test]
fn more_than_could_ever_be_labelled_is_drawn_without_labels_and_says_so() {
    let mut picture = l_house::floor_before(A4);
    picture.contours.clear();
    picture.points = (0..1200)
        .map(|n| FloorPoint {
            point: PointId::new(format!("P{n}")),
            at: Position::mm(f64::from(n % 40) * 250.0, f64::from(n / 40) * 220.0),
            departure: Some(Length::mm(f64::from(n % 37) - 18.0)),
            suspect: false,
        })
        .collect();
    let svg = floor_map(&picture);
    let document = Document::parse(&svg).unwrap();
    assert!(of_class(&document, "label").is_empty());
    assert!(svg.contains("no labels, for there are more"), "{svg}");
}

/// Ten thousand supports in ten passes, nine tenths of them moving.
#[test]
fn a_great_many_supports_make_a_file_that_opens() {
    let support = |n: u32| {
        let at = Position::mm(f64::from(n % 100) * 1200.0, f64::from(n / 100) * 1200.0);
        (SupportId::new(format!("S{n}")), at)
    };
    let mut picture = l_house::passes(A4, &[1]);
    picture.supports = (0..10_000).map(support).collect();
    let moves = picture.supports.iter().enumerate().filter(|(n, _)| n % 10 != 0);
    let moves: Vec<_> = moves
        .map(|(n, (support, _))| floorwright_draw::Move {
            support: support.clone(),
            lift: Length::mm(if n % 7 == 0 { -1.0 } else { (n % 6) as f64 }),
        })
        .collect();
    picture.passes =
        (1..=10).map(|number| PassStep { number, moves: moves.clone(), forces: None }).collect();
    let all = pass_map(&picture);
    assert!(all.len() < 5_000_000, "{}", all.len());
    let alone = pass_map(&picture.alone(3).unwrap());
    assert!(alone.len() < 1_000_000, "{}", alone.len());
    let document = Document::parse(&alone).unwrap();
    let n_marks = |class: &str| {
        let shapes = of_class(&document, class);
        let paths = shapes.iter().filter_map(|shape| shape.attribute("d"));
        paths.map(|path| path.matches('M').count()).sum::<usize>()
    };
    let lowered = moves.iter().filter(|step| step.lift < Length::ZERO).count();
    let raised = moves.iter().filter(|step| step.lift > Length::ZERO).count();
    let legend = 1;
    assert_eq!(n_marks("down"), lowered + legend);
    assert_eq!(n_marks("up"), raised + legend);
    assert_eq!(n_marks("still"), 1000);
}

#[test]
fn every_plan_of_a_great_many_supports_opens() {
    let place = |n: u32| Position::mm(f64::from(n % 100) * 1200.0, f64::from(n / 100) * 1200.0);
    let mut lifts = l_house::lifts(A4);
    let first = lifts.supports[0].clone();
    lifts.supports = (0..10_000)
        .map(|n| SupportMark {
            support: SupportId::new(format!("S{n}")),
            at: place(n),
            lift: Length::mm(f64::from(n % 20)),
            ..first.clone()
        })
        .collect();
    let mut floor = l_house::floor_before(A4);
    floor.points = (0..10_000)
        .map(|n| FloorPoint {
            point: PointId::new(format!("P{n}")),
            at: place(n),
            departure: Some(Length::mm(f64::from(n % 40) - 20.0)),
            suspect: n % 100 == 0,
        })
        .collect();
    let mut carried = l_house::carried(A4);
    for state in &mut carried.states {
        let pattern = state.supports.clone();
        state.supports = (0..10_000_u32)
            .map(|n| SupportHolding {
                support: SupportId::new(format!("S{n}")),
                at: place(n),
                ..pattern[n as usize % pattern.len()].clone()
            })
            .collect();
    }
    let one = carried.alone(0).unwrap();
    for svg in [lift_map(&lifts), floor_map(&floor), carried_map(&one), carried_map(&carried)] {
        assert!(svg.len() < 10_000_000, "{}", svg.len());
    }
    assert!(carried_map(&one).contains("no labels, for there are more"));
}

#[test]
fn nothing_to_draw_is_still_a_drawing() {
    let mut floor = l_house::floor_before(A4);
    (floor.points, floor.cells, floor.contours, floor.rooms) = Default::default();
    let mut lifts = l_house::lifts(Medium::Screen);
    (lifts.supports, lifts.rooms) = Default::default();
    let mut passes = l_house::passes(A4, &[]);
    (passes.supports, passes.rooms, passes.passes) = Default::default();
    let mut section = l_house::profile_of_front(A4);
    (section.before, section.after, section.supports) = Default::default();
    terminal_map(&floor, true);
    for svg in [floor_map(&floor), lift_map(&lifts), pass_map(&passes), profile(&section)] {
        assert!(Document::parse(&svg).is_ok());
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
    }
}

/// The house with little on it, so that many cases can be tried.
static SMALL_FLOOR: LazyLock<FloorPicture> = LazyLock::new(|| {
    let mut floor = l_house::floor_before(A4);
    floor.contours.truncate(3);
    floor.cells.truncate(20);
    floor
});

fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![
        -1e4..1e4,
        Just(f64::NAN),
        Just(f64::INFINITY),
        Just(-1e300),
        Just(1e9),
        Just(0.0),
        Just(-0.0),
        any::<f64>()
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn hostile_numbers_and_names_give_a_drawing_all_the_same(
        numbers in prop::collection::vec((any_number(), any_number(), any_number()), 0..40),
        name in any::<String>(),
        on_screen in any::<bool>(),
    ) {
        let medium = if on_screen { Medium::Screen } else { A4 };
        let place = |(x, y, _): &(f64, f64, f64)| Position::mm(*x, *y);
        let mut floor = SMALL_FLOOR.clone();
        floor.medium = medium;
        floor.title_block.job = name.clone();
        floor.datum_note = name.repeat(20);
        floor.tolerance = numbers.first().map(|n| Length::mm(n.2));
        floor.rooms[0].name = name.clone();
        if let Some(contour) = floor.contours.first_mut() {
            contour.line = numbers.iter().map(place).collect();
        }
        if let Some(cell) = floor.cells.first_mut() {
            cell.corners = numbers.iter().map(place).collect();
            cell.departure = Length::mm(numbers.first().map_or(0.0, |n| n.2));
        }
        floor.points = numbers.iter().map(|n| FloorPoint {
            point: PointId::new(name.clone()),
            at: place(n),
            departure: Some(Length::mm(n.2)),
            suspect: n.2 > 0.0,
        }).collect();
        let mut lifts = l_house::lifts(medium);
        let mut section = l_house::profile_of_front(medium);
        section.tolerance = floor.tolerance;
        section.before = numbers.iter().map(|n| ProfilePoint {
            along: Length::mm(n.0), departure: Some(Length::mm(n.1)), uncertainty: Length::mm(n.2),
        }).collect();
        let mut passes = l_house::passes(medium, &[4]);
        for (n, ((support, place_of), mark)) in
            numbers.iter().zip(passes.supports.iter_mut().zip(&mut lifts.supports))
        {
            (*place_of, mark.at) = (place(n), place(n));
            mark.lift = Length::mm(n.2);
            mark.packers = vec![Length::mm(n.1)];
            if let Some(step) = passes.passes[0].moves.iter_mut().find(|m| m.support == *support) {
                step.lift = Length::mm(n.2);
            }
        }
        let text = terminal_map(&floor, false);
        prop_assert!(text.lines().all(|line| line.chars().count() <= 80), "{}", text);
        for svg in [floor_map(&floor), lift_map(&lifts), pass_map(&passes), profile(&section)] {
            let document = Document::parse(&svg);
            prop_assert!(document.is_ok(), "{:?}", document);
            let document = document.unwrap();
            let shapes = document.descendants().filter(|n| !n.has_tag_name("text"));
            for (attribute, value) in shapes.flat_map(|n| n.attributes()).map(|a| (a.name(), a.value())) {
                prop_assert!(!value.contains("NaN") && !value.contains("inf"), "{attribute}={value}");
            }
        }
    }
}
