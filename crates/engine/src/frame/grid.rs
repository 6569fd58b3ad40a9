//! An invented floor for tests: bearers along x over supports on a grid, joists over them.

use super::{Bearer, Direction, FloorLoad, FrameSpec, Joist, Run, Section, Timber};
use crate::ids::{BearerId, JoistId, SupportId};
use crate::site::{Position, Support};
use crate::source::SourceStatus;
use crate::units::{AreaLoad, Density, Length, LineLoad, Stress};

/// The supports, `across` of them under each of `along` bearers.
pub(crate) fn supports(across: usize, along: usize) -> Vec<Support> {
    let at = |i: usize| Position::mm((i % across) as f64 * 1800.0, (i / across) as f64 * 1500.0);
    (0..across * along)
        .map(|i| Support {
            id: SupportId::new(format!("S{i}")),
            at: at(i),
            gap: Length::ZERO,
            max_lift: None,
            fixed: None,
            may_lower: Length::ZERO,
        })
        .collect()
}

/// The frame over them.
pub(crate) fn spec(across: usize, along: usize) -> FrameSpec {
    let timber = Timber {
        name: "invented".to_owned(),
        stiffness: Stress::n_per_mm2(8000.0),
        density: Density::kg_per_m3(600.0),
        strength: None,
        source: "invented for a test".to_owned(),
        status: SourceStatus::Agreed,
    };
    let (width, depth) = ((across - 1) as f64 * 1800.0, (along - 1) as f64 * 1500.0);
    let run = |direction, at, to| Run {
        direction,
        at: Length::mm(at),
        from: Length::ZERO,
        to: Length::mm(to),
    };
    let section = |breadth| Section { breadth: Length::mm(breadth), depth: Length::mm(100.0) };
    let bearer = |line: usize| Bearer {
        id: BearerId::new(format!("B{line}")),
        run: run(Direction::X, line as f64 * 1500.0, width),
        supports: (line * across..(line + 1) * across)
            .map(|i| SupportId::new(format!("S{i}")))
            .collect(),
        joints: Vec::new(),
        section: section(75.0),
        timber: timber.clone(),
        extra: LineLoad::ZERO,
    };
    let joist = |joist: usize| Joist {
        id: JoistId::new(format!("J{joist}")),
        run: run(Direction::Y, joist as f64 * 450.0, depth),
        joints: Vec::new(),
        section: section(50.0),
        timber: timber.clone(),
        floor: "main".to_owned(),
    };
    FrameSpec {
        bearers: (0..along).map(bearer).collect(),
        joists: (0..=(width / 450.0) as usize).map(joist).collect(),
        walls: Vec::new(),
        point_loads: Vec::new(),
        floor_load: FloorLoad {
            dead: AreaLoad::kpa(0.5),
            live: AreaLoad::kpa(1.5),
            source: "invented for a test".to_owned(),
        },
        seat_length: Length::mm(75.0),
        load_doubt: 0.25,
        set_share: (0.0, 1.0),
        assumed: Vec::new(),
    }
}
