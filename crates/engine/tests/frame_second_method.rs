//! Random frames on uneven seats against a second method that shares no code with the program.
//!
//! The frame is put together again as one full matrix from the rules alone (`frames/dense.rs`).
//! Its contact is the quadratic program `min w'Kw/2 - f'w, w >= seat`, which a general library
//! solves from inside. What that finds to carry is then solved for exactly, and the answer is
//! held against the conditions that make it the only one: no pull, nothing below a seat.

mod frames;

use clarabel::algebra::CscMatrix;
use clarabel::solver::{
    DefaultSettings, DefaultSolver, IPSolver, SolverStatus, SupportedConeT::NonnegativeConeT,
};
use floorwright_engine::frame::{Frame, Loads};
use floorwright_engine::units::Length;
use frames::dense::Dense;
use frames::random::{Dice, Size, frame};
use frames::{Case, mm};

/// What the second method finds.
struct Second {
    heights: Vec<f64>,
    reactions: Vec<f64>,
    /// Supports that changed over after the program, because it left them undecided.
    changed: usize,
    /// The smallest pivot as a share of its diagonal: next to nothing when the frame rocks.
    smallest: f64,
}

/// Reactions by the quadratic program, as it gives them, and the heights over the supports.
/// `None` if its energy has no least: the frame tips over.
fn program(dense: &Dense, seats: &[f64], loads: Loads) -> Option<(Vec<f64>, Vec<f64>)> {
    let n = dense.n();
    let scale = 1e3;
    let (mut columns, mut rows, mut values) = (vec![0], Vec::new(), Vec::new());
    for column in 0..n {
        for row in 0..=column {
            let entry = dense.k[row][column];
            if entry != 0.0 {
                rows.push(row);
                values.push(entry / scale);
            }
        }
        columns.push(rows.len());
    }
    let p = CscMatrix::new(n, n, columns, rows, values);
    let q: Vec<f64> = dense.forces(loads).iter().map(|force| -force / scale).collect();
    let m = seats.len();
    let mut support_of = vec![None; n];
    dense
        .over
        .iter()
        .enumerate()
        .for_each(|(support, &unknown)| support_of[unknown] = Some(support));
    let (mut columns, mut rows) = (vec![0], Vec::new());
    for support in support_of {
        rows.extend(support);
        columns.push(rows.len());
    }
    let a = CscMatrix::new(m, n, columns, rows, vec![-1.0; m]);
    let b: Vec<f64> = seats.iter().map(|seat| -seat).collect();
    let settings = DefaultSettings {
        verbose: false,
        tol_gap_abs: 1e-10,
        tol_gap_rel: 1e-12,
        tol_feas: 1e-10,
        ..DefaultSettings::default()
    };
    let mut solver = DefaultSolver::new(&p, &q, &a, &b, &[NonnegativeConeT(m)], settings).unwrap();
    solver.solve();
    match solver.solution.status {
        // What it comes to is held against the conditions afterwards, however it ended.
        SolverStatus::Solved
        | SolverStatus::AlmostSolved
        | SolverStatus::InsufficientProgress
        | SolverStatus::MaxIterations => {}
        SolverStatus::DualInfeasible | SolverStatus::AlmostDualInfeasible => return None,
        other => panic!("the program ended with {other:?}"),
    }
    let reactions = solver.solution.z.iter().map(|z| z * scale).collect();
    let heights: Vec<f64> = dense.over.iter().map(|&unknown| solver.solution.x[unknown]).collect();
    // It may also give up on its way down.
    let falls = heights.iter().any(|height| height.abs() > 1e6);
    (!falls).then_some((reactions, heights))
}

fn second_method(dense: &Dense, seats: &[f64], loads: Loads) -> Option<Second> {
    let (push, height) = program(dense, seats, loads)?;
    let air = |support: usize| height[support] - seats[support];
    let mut held: Vec<bool> =
        (0..seats.len()).map(|support| push[support] / 100.0 > air(support)).collect();
    for changed in 0..20 {
        let (heights, _) = dense.solve(&held, seats, loads);
        let reactions = dense.reactions(&heights, loads);
        // How wrong each is, a millimetre weighing as much as a hundred newtons.
        let wrong = |support: usize| match held[support] {
            true => -reactions[support] / 100.0,
            false => seats[support] - heights[dense.over[support]],
        };
        let worst = (0..seats.len()).max_by(|&a, &b| wrong(a).total_cmp(&wrong(b))).unwrap();
        if wrong(worst) < 1e-8 {
            // What only touches holds nothing.
            let carries: Vec<bool> = reactions.iter().map(|reaction| *reaction > 1e-5).collect();
            let (_, smallest) = dense.solve(&carries, seats, loads);
            let heights = dense.over.iter().map(|&unknown| heights[unknown]).collect();
            return Some(Second { heights, reactions, changed, smallest });
        }
        held[worst] = !held[worst];
    }
    panic!("the second method does not meet its conditions");
}

/// The worst disagreements of heights and reactions so far, in millimetres and newtons. Over 4400
/// frames they were 4.1e-7 mm and 4.4e-6 N.
#[derive(Debug, Default)]
struct Worst {
    height: f64,
    reaction: f64,
    total: f64,
    changed: usize,
    hanging: usize,
    frames: usize,
    tipping: usize,
    rocking: usize,
}

impl Worst {
    fn compare(&mut self, case: &Case, loads: Loads, what: &str) {
        let frame = Frame::new(&case.supports, &case.spec, &[]).unwrap_or_else(|faults| {
            panic!("{what}: {}", faults[0]);
        });
        let found = frame.contact(&mm(&case.seats), loads);
        let dense = Dense::new(&case.supports, &case.spec);
        let Some(want) = second_method(&dense, &case.seats, loads) else {
            assert!(found.is_err(), "{what} tips over and is given loads");
            self.tipping += 1;
            return;
        };
        let found = found.unwrap_or_else(|_| panic!("{what} is not settled"));
        assert_eq!(found.rocks, want.smallest < 1e-9, "{what}: {:e}", want.smallest);
        self.rocking += usize::from(found.rocks);
        let mut height: f64 = 0.0;
        let mut reaction: f64 = 0.0;
        for support in 0..case.seats.len() {
            height = height.max((found.heights[support].to_mm() - want.heights[support]).abs());
            reaction =
                reaction.max((found.reactions[support].to_n() - want.reactions[support]).abs());
        }
        let total = (frame.total(loads).to_n() - dense.total(loads)).abs();
        assert!(reaction < 1e-3, "{what}: reactions differ by {reaction:e} N");
        assert!(found.rocks || height < 1e-6, "{what}: heights differ by {height:e} mm");
        assert!(total < 1e-4, "{what}: the whole load differs by {total:e} N");
        self.height = self.height.max(if found.rocks { 0.0 } else { height });
        self.reaction = self.reaction.max(reaction);
        self.total = self.total.max(total);
        self.changed += want.changed;
        self.hanging += found.gaps.iter().filter(|gap| **gap > Length::ZERO).count();
        self.frames += 1;
    }
}

#[test]
fn random_houses() {
    let mut worst = Worst::default();
    for seed in 0..60 {
        let mut dice = Dice::new(seed);
        let case = frame(&mut dice, Size::HOUSE);
        worst.compare(&case, dice.loads(), &format!("house {seed}"));
    }
    assert!(worst.frames == 60 && worst.hanging > 200, "{worst:?}");
}

#[test]
fn random_rooms() {
    let mut worst = Worst::default();
    for seed in 0..240 {
        let mut dice = Dice::new(seed);
        let case = frame(&mut dice, Size::SMALL);
        worst.compare(&case, dice.loads(), &format!("room {seed}"));
    }
    assert!(worst.frames > 230 && worst.hanging > 100, "{worst:?}");
}
