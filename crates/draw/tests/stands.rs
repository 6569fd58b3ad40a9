//! The plan of stands as SVG: everything that it was given is on it, once, and read without colour.

use floorwright_draw::{
    Decimals, Medium, Orientation, Paper, Print, RoomOutline, StandMark, StandPoint, StandsPicture,
    TitleBlock, stands_map,
};
use floorwright_engine::hose::Door;
use floorwright_engine::ids::PointId;
use floorwright_engine::site::{Outline, Position};
use floorwright_engine::units::Length;

fn picture(medium: Medium, n_stands: usize) -> StandsPicture {
    let corners = [(0.0, 0.0), (9000.0, 0.0), (9000.0, 6000.0), (0.0, 6000.0)];
    let corners = corners.iter().map(|&(x, y)| Position::mm(x, y)).collect();
    let chimney = [(5200.0, 4700.0), (6300.0, 4700.0), (6300.0, 5800.0), (5200.0, 5800.0)];
    let chimney = chimney.iter().map(|&(x, y)| Position::mm(x, y)).collect();
    let points = (0..20).map(|idx| StandPoint {
        point: PointId::new(format!("<P{idx}>")),
        at: Position::mm(900.0 + 1800.0 * f64::from(idx % 5), 900.0 + 1400.0 * f64::from(idx / 5)),
        read: if idx == 7 { vec![(1, 8), (2, 1)] } else { vec![(1, idx as usize + 1)] },
        repeated: idx == 9,
        base: idx == 0,
    });
    let points: Vec<StandPoint> = points.collect();
    let stands = (1..=n_stands).map(|number| {
        let at = Position::mm(2000.0 * number as f64, 3300.0);
        let lines = points.iter().map(|point| vec![at, point.at]).collect();
        StandMark { number, at, lines, words: format!("hose of stand {number}") }
    });
    StandsPicture {
        medium,
        title_block: TitleBlock { title: "Where to stand".to_owned(), ..TitleBlock::default() },
        orientation: Orientation::NotDeclared,
        print: Print::Millimetres(Decimals::Tenths),
        rooms: vec![RoomOutline {
            name: "hall".to_owned(),
            outline: Outline::new(corners).unwrap(),
        }],
        doors: vec![Door { at: Position::mm(9000.0, 3000.0), width: Length::mm(900.0) }],
        obstacles: vec![RoomOutline {
            name: "<chimney>".to_owned(),
            outline: Outline::new(chimney).unwrap(),
        }],
        stands: stands.collect(),
        points,
        notes: vec!["a note of its own".to_owned()],
    }
}

fn count(svg: &str, class: &str) -> usize {
    let document = roxmltree::Document::parse(svg).expect("it is XML");
    document.descendants().filter(|node| node.attribute("class") == Some(class)).count()
}

#[test]
fn everything_is_on_it_on_paper_and_on_a_phone() {
    for medium in [Medium::Sheet(Paper::A4), Medium::Screen] {
        let svg = stands_map(&picture(medium, 2));
        assert_eq!(svg, stands_map(&picture(medium, 2)), "the same values give the same bytes");
        assert_eq!(count(&svg, "stand"), 2);
        assert_eq!(count(&svg, "doorway"), 1);
        // The thing in the way, and its sign in the legend.
        assert_eq!(count(&svg, "obstacle"), 2);
        assert!(svg.contains("no way through") && svg.contains("&lt;chimney&gt;"));
        // Twice twenty lines, and one in the legend of each stand.
        assert_eq!(count(&svg, "hose"), 42);
        assert_eq!(count(&svg, "repeat"), 2);
        for words in ["STAND 1", "STAND 2", "1.8 2.1", "a note of its own", "1.20"] {
            assert!(svg.contains(words), "{words}");
        }
        assert!(svg.contains("&lt;P3&gt;") || medium == Medium::Screen);
        assert!(!svg.contains("<P3>") && !svg.contains("NaN"));
    }
}

/// Hose lines of neighbouring stands differ in dashes, so that a grey print tells them apart.
#[test]
fn stands_are_told_apart_without_colour() {
    let svg = stands_map(&picture(Medium::Sheet(Paper::A4), 4));
    let document = roxmltree::Document::parse(&svg).unwrap();
    let hoses = document.descendants().filter(|node| node.attribute("class") == Some("hose"));
    let dashes: std::collections::BTreeSet<&str> =
        hoses.filter_map(|node| node.attribute("stroke-dasharray")).collect();
    assert_eq!(dashes.len(), 4);
}
