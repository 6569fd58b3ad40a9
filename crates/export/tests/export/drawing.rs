//! The drawing, read back by a library for DXF.

use crate::jobs::{self, Worked};
use dxf::Drawing;
use dxf::entities::{Entity, EntityType};
use floorwright_engine::units::Length;
use floorwright_export::Format;
use std::collections::{BTreeMap, BTreeSet};
use std::io::Cursor;

fn read(worked: &Worked) -> Drawing {
    let bytes = worked.file(Format::Dxf, "plan.dxf");
    assert!(bytes.is_ascii());
    Drawing::load(&mut Cursor::new(bytes)).unwrap()
}

fn on<'a>(drawing: &'a Drawing, layer: &'a str) -> impl Iterator<Item = &'a Entity> {
    drawing.entities().filter(move |entity| entity.common.layer == layer)
}

fn texts(drawing: &Drawing, layer: &str) -> BTreeSet<String> {
    on(drawing, layer)
        .filter_map(|entity| match &entity.specific {
            EntityType::Text(text) => Some(text.value.clone()),
            _ => None,
        })
        .collect()
}

#[test]
fn it_is_release_12_with_its_layers() {
    let drawing = read(&jobs::demo());
    assert_eq!(drawing.header.version, dxf::enums::AcadVersion::R12);
    let layers: BTreeSet<&str> = drawing.layers().map(|layer| layer.name.as_str()).collect();
    for layer in ["ROOMS", "CONTOURS", "LEVELS", "SUPPORTS", "LIFTS", "NOTES"] {
        assert!(layers.contains(layer), "{layer} not in {layers:?}");
        assert!(on(&drawing, layer).next().is_some(), "nothing on {layer}");
    }
    for entity in drawing.entities() {
        assert!(layers.contains(entity.common.layer.as_str()), "{}", entity.common.layer);
    }
}

/// Millimetres whatever the job is written in.
#[test]
fn points_and_supports_stand_where_they_are() {
    for worked in [jobs::demo(), jobs::nasty_within_an_inch()] {
        let drawing = read(&worked);
        let site = &worked.job.site;
        let mut wanted: Vec<[f64; 3]> = worked
            .plan
            .reduction
            .levels
            .points()
            .iter()
            .filter_map(|level| {
                let at = site.point(&level.point)?.at?;
                Some([at.x.to_mm(), at.y.to_mm(), level.level.to_mm()])
            })
            .collect();
        let mut found: Vec<[f64; 3]> = on(&drawing, "LEVELS")
            .filter_map(|entity| match &entity.specific {
                EntityType::ModelPoint(point) => {
                    Some([point.location.x, point.location.y, point.location.z])
                }
                _ => None,
            })
            .collect();
        close(&mut found, &mut wanted);
        let mut wanted: Vec<[f64; 3]> =
            site.supports().iter().map(|one| [one.at.x.to_mm(), one.at.y.to_mm(), 0.0]).collect();
        let mut found: Vec<[f64; 3]> = on(&drawing, "SUPPORTS")
            .filter_map(|entity| match &entity.specific {
                EntityType::Circle(circle) => {
                    Some([circle.center.x, circle.center.y, circle.center.z])
                }
                _ => None,
            })
            .collect();
        close(&mut found, &mut wanted);
        let names: BTreeSet<String> =
            site.supports().iter().map(|one| one.id.to_string()).collect();
        assert_eq!(texts(&drawing, "SUPPORTS"), names);
    }
}

fn close(found: &mut [[f64; 3]], wanted: &mut [[f64; 3]]) {
    let order = |a: &[f64; 3], b: &[f64; 3]| a.partial_cmp(b).unwrap();
    found.sort_by(order);
    wanted.sort_by(order);
    assert_eq!(found.len(), wanted.len());
    for (found, wanted) in found.iter().zip(wanted.iter()) {
        for (a, b) in found.iter().zip(wanted) {
            assert!((a - b).abs() < 6e-4, "{found:?}, {wanted:?}");
        }
    }
}

#[test]
fn contours_are_the_engine_s_and_lie_at_their_height() {
    let worked = jobs::demo();
    let drawing = read(&worked);
    let contours =
        worked.plan.floor.done().unwrap().surface.contours(Some(Length::mm(5.0))).unwrap();
    let mut found: BTreeMap<i64, (usize, usize)> = BTreeMap::new();
    for entity in on(&drawing, "CONTOURS") {
        let EntityType::Polyline(line) = &entity.specific else { continue };
        let level = line.location.z;
        let (n_lines, n_places) = found.entry((level * 1000.0).round() as i64).or_default();
        *n_lines += 1;
        for vertex in line.vertices() {
            assert!((vertex.location.z - level).abs() < 1e-9);
            *n_places += 1;
        }
    }
    let mut wanted: BTreeMap<i64, (usize, usize)> = BTreeMap::new();
    for contour in &contours.lines {
        let at = wanted.entry((contour.level.to_mm() * 1000.0).round() as i64).or_default();
        at.0 += 1;
        at.1 += contour.places.len();
    }
    assert_eq!(found, wanted);
    assert!(wanted.len() > 3);
}

#[test]
fn lifts_are_those_of_the_packers() {
    let worked = jobs::demo();
    let packing = worked.plan.packing.done().unwrap();
    let drawing = read(&worked);
    let written: Vec<f64> = on(&drawing, "LIFTS")
        .filter_map(|entity| match &entity.specific {
            EntityType::Text(text) => Some(text.value.parse().unwrap()),
            _ => None,
        })
        .collect();
    assert_eq!(written.len(), packing.lifts.len());
    for (written, lift) in written.iter().zip(&packing.lifts) {
        assert!((written - lift.to_mm()).abs() <= 0.05 + 1e-9, "{written}, {lift}");
    }
}

/// In the half-done job the jack at C4 went up and the floor did not follow: that was planted.
#[test]
fn where_nobody_lifts_yet_the_drawing_says_so() {
    let drawing = read(&jobs::half_done());
    let notes: Vec<String> = on(&drawing, "NOTES")
        .filter_map(|entity| match &entity.specific {
            EntityType::Text(text) => Some(text.value.clone()),
            _ => None,
        })
        .collect();
    assert_eq!(notes.iter().filter(|note| *note == "STOP!").count(), 1, "{notes:?}");
    assert!(
        notes.iter().any(|note| note.starts_with("C4 STOP! lift nothing further")),
        "{notes:?}"
    );
}

#[test]
fn without_lifts_there_are_none_on_the_drawing() {
    let drawing = read(&jobs::nasty());
    assert_eq!(on(&drawing, "LIFTS").count(), 0);
    assert!(on(&drawing, "LEVELS").count() > 0);
}
