//! Frames for the tests: the invented floor of `data/frame`, and plain beams.
#![allow(dead_code, reason = "each test program uses its part")]

pub mod dense;
pub mod random;

use floorwright_engine::frame::{
    Bearer, Direction, FloorLoad, FrameSpec, Joist, Run, Section, Timber, Wall,
};
use floorwright_engine::ids::{BearerId, JoistId, SupportId};
use floorwright_engine::site::{Position, Support};
use floorwright_engine::source::SourceStatus;
use floorwright_engine::units::{AreaLoad, Density, Length, LineLoad, Stress};
use serde_json::Value;

pub fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is not a number"))
}

pub fn list(value: &Value) -> &[Value] {
    value.as_array().unwrap_or_else(|| panic!("{value} is not a list"))
}

pub fn numbers(value: &Value) -> Vec<f64> {
    list(value).iter().map(number).collect()
}

pub fn text(value: &Value) -> &str {
    value.as_str().unwrap_or_else(|| panic!("{value} is not text"))
}

pub fn mm(values: &[f64]) -> Vec<Length> {
    values.iter().map(|&value| Length::mm(value)).collect()
}

pub fn support(id: &str, x: f64, y: f64) -> Support {
    Support {
        id: SupportId::new(id),
        at: Position::mm(x, y),
        gap: Length::ZERO,
        max_lift: None,
        fixed: None,
        may_lower: Length::ZERO,
    }
}

pub fn timber(stiffness: f64, density: f64) -> Timber {
    Timber {
        name: "invented".to_owned(),
        stiffness: Stress::n_per_mm2(stiffness),
        density: Density::kg_per_m3(density),
        strength: None,
        source: "invented for a test".to_owned(),
        status: SourceStatus::Agreed,
    }
}

pub fn run(direction: Direction, at: f64, from: f64, to: f64) -> Run {
    Run { direction, at: Length::mm(at), from: Length::mm(from), to: Length::mm(to) }
}

pub fn section(breadth: f64, depth: f64) -> Section {
    Section { breadth: Length::mm(breadth), depth: Length::mm(depth) }
}

pub fn spec(bearers: Vec<Bearer>, joists: Vec<Joist>, kpa: f64) -> FrameSpec {
    FrameSpec {
        bearers,
        joists,
        walls: Vec::new(),
        point_loads: Vec::new(),
        floor_load: FloorLoad {
            dead: AreaLoad::kpa(kpa),
            live: AreaLoad::kpa(1.5),
            source: "invented for a test".to_owned(),
        },
        seat_length: Length::mm(100.0),
        load_doubt: 0.25,
        set_share: (0.0, 1.0),
        assumed: Vec::new(),
    }
}

/// A frame in the shape of `tiny-input.json`, with its supports, seats and survey.
pub struct Case {
    pub supports: Vec<Support>,
    pub spec: FrameSpec,
    pub seats: Vec<f64>,
    pub survey: Vec<(String, Position, f64)>,
}

/// Reads a frame in the shape of `tiny-input.json`.
pub fn case(input: &Value) -> Case {
    let loads = &input["loads"];
    let density = number(&loads["density_kg_m3"]);
    let of = |list_of: &str| list(&input[list_of]).to_vec();
    let joints = |bearer: &Value| -> Vec<SupportId> {
        bearer["joints"]
            .as_array()
            .map(|joints| joints.iter().map(|id| SupportId::new(text(id))).collect())
            .unwrap_or_default()
    };
    let mut supports = Vec::new();
    let mut seats = Vec::new();
    for given in of("supports") {
        let bearer = of("bearers").into_iter().find(|b| b["id"] == given["bearer"]).unwrap();
        supports.push(support(text(&given["id"]), number(&given["x"]), number(&bearer["y"])));
        seats.push(number(&given["s"]));
    }
    let bearers = of("bearers")
        .iter()
        .map(|bearer| Bearer {
            id: BearerId::new(text(&bearer["id"])),
            run: run(
                Direction::X,
                number(&bearer["y"]),
                number(&bearer["x0"]),
                number(&bearer["x1"]),
            ),
            supports: of("supports")
                .iter()
                .filter(|support| support["bearer"] == bearer["id"])
                .map(|support| SupportId::new(text(&support["id"])))
                .collect(),
            joints: joints(bearer),
            section: section(number(&bearer["b"]), number(&bearer["h"])),
            timber: timber(number(&bearer["E"]), density),
            extra: LineLoad::kn_per_m(bearer["q"].as_f64().unwrap_or(0.0)),
        })
        .collect();
    let joists = of("joists")
        .iter()
        .map(|joist| Joist {
            id: JoistId::new(text(&joist["id"])),
            run: run(Direction::Y, number(&joist["x"]), number(&joist["y0"]), number(&joist["y1"])),
            joints: Vec::new(),
            section: section(number(&joist["b"]), number(&joist["h"])),
            timber: timber(number(&joist["E"]), density),
            floor: "main".to_owned(),
        })
        .collect();
    let mut spec = spec(bearers, joists, number(&loads["area_N_mm2"]) * 1e3);
    spec.walls = list(&loads["walls"])
        .iter()
        .enumerate()
        .map(|(idx, wall)| Wall {
            name: format!("W{}", idx + 1),
            run: run(
                if text(&wall["dir"]) == "x" { Direction::X } else { Direction::Y },
                number(&wall["at"]),
                number(&wall["from"]),
                number(&wall["to"]),
            ),
            load: LineLoad::kn_per_m(number(&wall["w"])),
            source: "invented".to_owned(),
        })
        .collect();
    let survey = list(&input["survey"])
        .iter()
        .map(|point| {
            let at = Position::mm(number(&point["x"]), number(&point["y"]));
            (text(&point["id"]).to_owned(), at, point["z"].as_f64().unwrap_or(0.0))
        })
        .collect();
    Case { supports, spec, seats, survey }
}

/// A bearer of invented timber on these supports.
pub fn plain_bearer(id: &str, run: Run, supports: &[String]) -> Bearer {
    Bearer {
        id: BearerId::new(id),
        run,
        supports: supports.iter().map(SupportId::new).collect(),
        joints: Vec::new(),
        section: section(75.0, 125.0),
        timber: timber(10_000.0, 600.0),
        extra: LineLoad::ZERO,
    }
}

/// A joist of invented timber.
pub fn plain_joist(id: &str, run: Run) -> Joist {
    Joist {
        id: JoistId::new(id),
        run,
        joints: Vec::new(),
        section: section(45.0, 120.0),
        timber: timber(10_000.0, 600.0),
        floor: "main".to_owned(),
    }
}

/// A beam along x over supports at these places, with nothing on it but `load` (N/mm). Its own
/// weight is made part of the load, so that the whole is exactly `load`.
pub fn beam(at: &[f64], load: f64, stiffness: f64, b: f64, h: f64) -> (Vec<Support>, FrameSpec) {
    let supports: Vec<Support> =
        at.iter().enumerate().map(|(idx, &x)| support(&format!("S{}", idx + 1), x, 0.0)).collect();
    let timber = timber(stiffness, 600.0);
    let weight = timber.density.weight_along(Length::mm(b), Length::mm(h));
    let bearer = Bearer {
        id: BearerId::new("B1"),
        run: run(Direction::X, 0.0, at[0], at[at.len() - 1]),
        supports: supports.iter().map(|support| support.id.clone()).collect(),
        joints: Vec::new(),
        section: section(b, h),
        timber,
        extra: LineLoad::kn_per_m(load) - weight,
    };
    (supports, spec(vec![bearer], Vec::new(), 0.0))
}
