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
use floorwright_engine::frame::{Bearer, Direction, Frame, Joist, Loads, OnSeats};
use floorwright_engine::influence::InfluenceRow;
use floorwright_engine::site::{Position, Support};
use floorwright_engine::units::Length;
use frames::dense::Dense;
use frames::random::{Dice, Size, frame};
use frames::{Case, mm, plain_bearer, plain_joist, run, spec, support};

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

/// Bearers along x in rows, uneven bays, joists at odd places; its first corner at `(0, y)`.
fn uneven_house(dice: &mut Dice, (n_across, n_rows): (usize, usize), y: f64, name: &str) -> House {
    let mut places = |n: usize, from: f64| -> Vec<f64> {
        let mut at = from;
        let mut step = || {
            at += dice.between(1200.0, 2100.0);
            at
        };
        std::iter::once(from).chain((1..n).map(|_| step())).collect()
    };
    let (across, rows) = (places(n_across, 0.0), places(n_rows, y));
    let id = |row: usize, column: usize| format!("{name}{row}-{column}");
    let mut house = House::default();
    for (row, &at) in rows.iter().enumerate() {
        let columns = across.iter().enumerate();
        house.supports.extend(columns.map(|(column, &x)| support(&id(row, column), x, at)));
        let names: Vec<String> = (0..n_across).map(|column| id(row, column)).collect();
        let run = run(Direction::X, at, 0.0, across[n_across - 1]);
        house.bearers.push(plain_bearer(&format!("{name}{row}"), run, &names));
    }
    house.joists.extend((0..=(across[n_across - 1] / 610.0) as usize).map(|joist| {
        let run = run(Direction::Y, joist as f64 * 610.0, rows[0], rows[n_rows - 1]);
        Joist { floor: name.to_owned(), ..plain_joist(&format!("{name}J{joist}"), run) }
    }));
    house
}

#[derive(Clone, Default)]
struct House {
    supports: Vec<Support>,
    bearers: Vec<Bearer>,
    joists: Vec<Joist>,
}

/// A house of more supports than are worked out one after the other: what a lift at some of its
/// supports does to the force at every one.
#[test]
fn reactions_in_a_house_of_210_supports() {
    let house = uneven_house(&mut Dice::new(7), (15, 14), 0.0, "main");
    let spec = spec(house.bearers, house.joists, 0.5);
    let frame = Frame::new(&house.supports, &spec, &[]).unwrap();
    let dense = Dense::new(&house.supports, &spec);
    let n = house.supports.len();
    let reactions = |seats: &[f64]| {
        let (heights, _) = dense.solve(&vec![true; n], seats, Loads::DEAD);
        dense.reactions(&heights, Loads::DEAD)
    };
    let straight = reactions(&vec![0.0; n]);
    let mut seats = vec![0.0; n];
    [(0, 3.0), (97, 5.0), (112, -4.0), (209, 2.0)]
        .iter()
        .for_each(|&(support, lift): &(usize, f64)| seats[support] = lift);
    let lifted = reactions(&seats);
    for support in 0..n {
        let (row, found) = frame.reaction_row(support, Loads::DEAD);
        assert!((found.to_n() - straight[support]).abs() < 1e-4, "support {support} at rest");
        let by: f64 = row.iter().map(|&(other, per_mm)| per_mm * seats[other]).sum();
        let want = lifted[support] - straight[support];
        assert!((by - want).abs() < 1e-4, "support {support}: {by} N in place of {want} N");
    }
}

/// A shed that nothing joins to the house makes it large enough for the other way of working out
/// what a lift does; the floor of the house must not notice.
#[test]
fn a_shed_far_away_changes_nothing_on_the_floor() {
    let mut dice = Dice::new(11);
    let house = uneven_house(&mut dice, (14, 13), 0.0, "main");
    let shed = uneven_house(&mut dice, (14, 2), 60_000.0, "shed");
    let places: Vec<Position> = (0..60)
        .map(|_| Position::mm(dice.between(0.0, 20_000.0), dice.between(0.0, 18_000.0)))
        .collect();
    let rows = |parts: &[&House]| {
        let mut all = House::default();
        for part in parts {
            all.supports.extend(part.supports.iter().cloned());
            all.bearers.extend(part.bearers.iter().cloned());
            all.joists.extend(part.joists.iter().cloned());
        }
        let n = all.supports.len();
        let frame =
            Frame::new(&all.supports, &spec(all.bearers, all.joists, 0.5), &places).unwrap();
        (n, frame.places().to_vec())
    };
    let ((n_alone, alone), (n_with, with)) = (rows(&[&house]), rows(&[&house, &shed]));
    assert!(n_alone <= 200 && n_with > 200);
    let mut n_rows = 0;
    for (place, (alone, with)) in alone.iter().zip(&with).enumerate() {
        let (Some(alone), Some(with)) = (alone, with) else {
            assert_eq!(alone.is_some(), with.is_some(), "place {place}");
            continue;
        };
        n_rows += 1;
        for support in 0..n_alone {
            let of = |row: &InfluenceRow| {
                let mut terms = row.terms.iter().filter(|term| term.0 == support);
                terms.next().map_or(0.0, |term| term.1)
            };
            let (alone, with) = (of(alone), of(with));
            assert!(
                (alone - with).abs() < 1e-6,
                "place {place}, support {support}: {alone} {with}"
            );
        }
    }
    assert!(n_rows > 40, "only {n_rows} places are on the floor");
}

/// The force at a jack alone, from the state that is kept, against the contact solved anew with the
/// seat put where the jack lifts the bearer to.
#[test]
fn a_jack_alone_pushes_what_a_fresh_contact_says() {
    let (mut n_jacks, mut n_hanging) = (0, 0);
    for seed in 0..40 {
        let mut dice = Dice::new(1000 + seed);
        let case = frame(&mut dice, Size::HOUSE);
        let loads = dice.loads();
        let frame = Frame::new(&case.supports, &case.spec, &[]).unwrap();
        let seats = mm(&case.seats);
        let Ok(today) = OnSeats::new(&frame, &seats, loads, None) else { continue };
        if today.rocks() {
            continue;
        }
        for support in 0..seats.len() {
            let rise = Length::mm(dice.between(0.2, 12.0));
            let mut raised = seats.clone();
            raised[support] = today.height(support) + rise;
            let Ok(fresh) = frame.contact(&raised, loads) else { continue };
            let (want, found) =
                (fresh.reactions[support], today.force_alone(support, rise).unwrap());
            let apart = (want - found).to_n().abs();
            assert!(apart < 1e-3, "house {seed}, support {support}: {apart:e} N apart");
            n_jacks += 1;
            n_hanging += usize::from(!today.carries(support));
        }
    }
    assert!(n_jacks > 300 && n_hanging > 30, "{n_jacks} jacks, {n_hanging} under air");
}
