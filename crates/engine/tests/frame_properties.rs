//! What must hold for every frame: balance, symmetry, scale, and that nothing depends on names,
//! on order or on the way that seats came to their heights.

mod frames;

use floorwright_engine::frame::{
    Contact, Direction, Frame, FrameSpec, Loads, OnSeats, PointLoad, Run, SetShape, Timbers, Wall,
    jack_curve,
};
use floorwright_engine::ids::SupportId;
use floorwright_engine::site::Position;
use floorwright_engine::units::{Force, Length, LineLoad, Stress};
use frames::dense::Dense;
use frames::random::{Dice, Size, frame};
use frames::{Case, mm, run, support};

/// Reactions may differ by this, in newtons: far less than anything on site, far more than
/// rounding.
const N: f64 = 1e-4;

/// Heights may differ by this, in millimetres.
const MM: f64 = 1e-6;

fn built(case: &Case) -> Frame {
    Frame::new(&case.supports, &case.spec, &[]).unwrap_or_else(|faults| panic!("{}", faults[0]))
}

fn settled(case: &Case, loads: Loads) -> Contact {
    built(case).contact(&mm(&case.seats), loads).unwrap()
}

fn in_n(reactions: &[Force]) -> Vec<f64> {
    reactions.iter().map(|reaction| reaction.to_n()).collect()
}

fn in_mm(lengths: &[Length]) -> Vec<f64> {
    lengths.iter().map(|length| length.to_mm()).collect()
}

fn same(found: &[f64], want: &[f64], tolerance: f64, what: &str) {
    assert_eq!(found.len(), want.len());
    for (idx, (found, want)) in found.iter().zip(want).enumerate() {
        assert!((found - want).abs() <= tolerance, "{what}: {idx} is {found}, not {want}");
    }
}

/// Does something with many small frames. A few of them tip over whatever the seats, loads past the
/// last support outweighing the rest; `frame_second_method.rs` shows that only such are refused.
fn for_frames(seeds: std::ops::Range<u64>, mut check: impl FnMut(&mut Dice, &Case, &str)) {
    let (n, mut tipping) = (seeds.end - seeds.start, 0);
    for seed in seeds {
        let mut dice = Dice::new(seed);
        let case = frame(&mut dice, Size::SMALL);
        let frame = built(&case);
        let stands = [Loads::DEAD, Loads::IN_USE].map(|loads| {
            let level = vec![Length::ZERO; case.seats.len()];
            frame.contact(&level, loads).is_ok()
        });
        if stands == [true, true] {
            check(&mut dice, &case, &format!("frame {seed}"));
        } else {
            tipping += 1;
        }
    }
    assert!(tipping * 100 <= n, "{tipping} of {n} frames tip over");
}

/// The place on the plan where each bearer's line passes its support.
fn nodes(case: &Case) -> Vec<(f64, f64)> {
    let place = |id: &SupportId, at: Position| {
        let bearer = case.spec.bearers.iter().find(|bearer| bearer.supports.contains(id)).unwrap();
        let run = bearer.run;
        let node = run.place(run.direction.along(at));
        (node.x.to_mm(), node.y.to_mm())
    };
    case.supports.iter().map(|support| place(&support.id, support.at)).collect()
}

#[test]
fn supports_carry_the_whole_load_push_and_are_not_passed_through() {
    for_frames(0..1500, |dice, case, what| {
        let loads = dice.loads();
        let frame = built(case);
        let found = frame.contact(&mm(&case.seats), loads).unwrap();
        let total = frame.total(loads).to_n();
        assert!((found.total().to_n() - total).abs() < N, "{what}: {} {total}", found.total());
        for (support, seat) in case.seats.iter().enumerate() {
            let (height, gap) = (found.heights[support].to_mm(), found.gaps[support].to_mm());
            let reaction = found.reactions[support].to_n();
            assert!(height > seat - MM, "{what}: {height} below {seat}");
            assert!((height - seat - gap).abs() < MM, "{what}: {height} - {seat} is not {gap}");
            assert!(reaction >= 0.0 && gap >= 0.0, "{what}");
            assert!(gap == 0.0 || reaction == 0.0, "{what}: {reaction} across {gap}");
            let id = &case.supports[support].id;
            let on_it = case.spec.bearers.iter().filter(|bearer| bearer.supports.contains(id));
            let breadth: f64 = on_it.map(|bearer| bearer.section.breadth.to_mm()).sum();
            let want = reaction / (breadth * case.spec.seat_length.to_mm());
            let bearing = found.bearing[support].to_n_per_mm2();
            assert!((bearing - want).abs() < 1e-9, "{what}: bearing {bearing}, not {want}");
        }
    });
}

#[test]
fn a_lift_tilt_or_twist_of_all_seats_changes_no_reaction() {
    for_frames(0..300, |dice, case, what| {
        let (frame, loads) = (built(case), dice.loads());
        let found = frame.contact(&mm(&case.seats), loads).unwrap();
        let [a, b, c, d] = [30.0, 0.01, 0.01, 2e-6].map(|size| dice.between(-size, size));
        let by: Vec<f64> = nodes(case).iter().map(|(x, y)| a + b * x + c * y + d * x * y).collect();
        let seats: Vec<f64> = case.seats.iter().zip(&by).map(|(seat, by)| seat + by).collect();
        let twisted = frame.contact(&mm(&seats), loads).unwrap();
        same(&in_n(&twisted.reactions), &in_n(&found.reactions), N, what);
        same(&in_mm(&twisted.gaps), &in_mm(&found.gaps), if found.rocks { 1e3 } else { MM }, what);
    });
}

/// The frame seen in a mirror, or with x and y changed over.
fn turned(case: &Case, place: impl Fn(f64, f64) -> (f64, f64), over: bool) -> Case {
    let at = |at: Position| {
        let (x, y) = place(at.x.to_mm(), at.y.to_mm());
        Position::mm(x, y)
    };
    let run_of = |old: Run| {
        let direction = if over { old.direction.turned() } else { old.direction };
        let (a, b) = (at(old.place(old.from)), at(old.place(old.to)));
        let (from, to) = (direction.along(a), direction.along(b));
        run(direction, direction.across(a).to_mm(), from.min(to).to_mm(), from.max(to).to_mm())
    };
    let mut supports = case.supports.clone();
    supports.iter_mut().for_each(|support| support.at = at(support.at));
    let mut spec = case.spec.clone();
    spec.bearers.iter_mut().for_each(|bearer| bearer.run = run_of(bearer.run));
    spec.joists.iter_mut().for_each(|joist| joist.run = run_of(joist.run));
    spec.walls.iter_mut().for_each(|wall| wall.run = run_of(wall.run));
    spec.point_loads.iter_mut().for_each(|load| load.at = at(load.at));
    Case { supports, spec, seats: case.seats.clone(), survey: Vec::new() }
}

#[test]
fn a_frame_in_a_mirror_carries_the_same() {
    for_frames(0..250, |dice, case, what| {
        let loads = dice.loads();
        let found = in_n(&settled(case, loads).reactions);
        for turned in [
            turned(case, |x, y| (-x, y), false),
            turned(case, |x, y| (x, -y), false),
            turned(case, |x, y| (y, x), true),
        ] {
            same(&in_n(&settled(&turned, loads).reactions), &found, N, what);
        }
    });
}

fn stiffer(spec: &FrameSpec, ratio: f64) -> FrameSpec {
    let mut spec = spec.clone();
    let times = |stiffness: Stress| Stress::n_per_mm2(stiffness.to_n_per_mm2() * ratio);
    for bearer in &mut spec.bearers {
        bearer.timber.stiffness = times(bearer.timber.stiffness);
    }
    for joist in &mut spec.joists {
        joist.timber.stiffness = times(joist.timber.stiffness);
    }
    spec
}

#[test]
fn loads_stiffness_and_seats_scale_as_they_must() {
    for_frames(0..300, |dice, case, what| {
        let (frame, loads) = (built(case), dice.loads());
        let ratio = dice.between(1.5, 3.0);
        let level = vec![Length::ZERO; case.seats.len()];
        let found = in_n(&frame.contact(&level, loads).unwrap().reactions);
        let times = |values: &[f64], ratio: f64| -> Vec<f64> {
            values.iter().map(|value| value * ratio).collect()
        };
        let doubled = frame.contact(&level, loads.times(ratio)).unwrap();
        same(&in_n(&doubled.reactions), &times(&found, ratio), N, what);

        let spec = stiffer(&case.spec, ratio);
        let stiff = Frame::new(&case.supports, &spec, &[]).unwrap();
        same(&in_n(&stiff.contact(&level, loads).unwrap().reactions), &found, N, what);

        let rough = frame.contact(&mm(&case.seats), loads).unwrap();
        let less = stiff.contact(&mm(&times(&case.seats, 1.0 / ratio)), loads).unwrap();
        same(&in_n(&less.reactions), &in_n(&rough.reactions), N, what);
        if !rough.rocks {
            same(&times(&in_mm(&less.heights), ratio), &in_mm(&rough.heights), MM, what);
        }
    });
}

#[test]
fn live_loads_count_as_often_as_they_are_asked_for() {
    for_frames(0..300, |_, case, what| {
        let mut twice = case.spec.clone();
        twice.floor_load.live = case.spec.floor_load.live * 2.0;
        let (once, twice) = (built(case), Frame::new(&case.supports, &twice, &[]).unwrap());
        let [dead, live] = [Loads::DEAD, Loads::IN_USE].map(|loads| once.total(loads).to_n());
        let total = twice.total(Loads::IN_USE).to_n();
        assert!((total - (2.0 * live - dead)).abs() < N, "{what}: {total}");
        let seats = mm(&case.seats);
        let found = once.contact(&seats, Loads { dead: 1.0, live: 2.0 }).unwrap();
        let want = twice.contact(&seats, Loads::IN_USE).unwrap();
        same(&in_n(&found.reactions), &in_n(&want.reactions), N, what);
    });
}

#[test]
fn what_a_support_carries_never_falls_as_it_rises() {
    for_frames(0..300, |dice, case, what| {
        let (frame, loads, seats) = (built(case), dice.loads(), mm(&case.seats));
        let jack = dice.whole(0, seats.len() - 1);
        let before = frame.contact(&seats, loads).unwrap();
        let step = dice.between(0.01, 20.0);
        let rises: Vec<Length> = (0..8).map(|rise| Length::mm(f64::from(rise) * step)).collect();
        let points = jack_curve(&frame, &seats, loads, None, &[jack], &rises).unwrap();
        let total = frame.total(loads).to_n();
        let mut force = before.reactions[jack].to_n();
        assert!((points[0].forces[0].to_n() - force).abs() < N, "{what}: where it hangs");
        for (point, rise) in points.iter().zip(&rises) {
            let next = point.forces[0].to_n();
            assert!(next >= force - N, "{what}: {next} after {force}");
            assert!(next <= total + N, "{what}: {next} of {total}");
            force = next;
            let mut raised = seats.clone();
            raised[jack] = before.heights[jack] + *rise;
            if !before.rocks {
                let fresh = frame.contact(&raised, loads).unwrap().reactions[jack].to_n();
                assert!((fresh - next).abs() < N, "{what}: {next}, from scratch {fresh}");
            }
        }
    });
}

/// A support less, its bearer resting on the others.
fn without(case: &Case, support: usize) -> Option<Case> {
    let id = &case.supports[support].id;
    let mut spec = case.spec.clone();
    let mut on_it = spec.bearers.iter_mut().filter(|bearer| bearer.supports.contains(id));
    let (Some(bearer), None) = (on_it.next(), on_it.next()) else { return None };
    bearer.supports.retain(|other| other != id);
    if bearer.joints.contains(id) || bearer.supports.is_empty() {
        return None;
    }
    let (mut supports, mut seats) = (case.supports.clone(), case.seats.clone());
    supports.remove(support);
    seats.remove(support);
    Some(Case { supports, spec, seats, survey: Vec::new() })
}

#[test]
fn a_support_that_carries_nothing_may_as_well_not_be_there() {
    let mut tried = 0;
    for_frames(0..600, |dice, case, what| {
        let loads = dice.loads();
        let found = settled(case, loads);
        let idle = (0..case.seats.len()).find(|&support| found.gaps[support].to_mm() > 0.01);
        let Some((idle, less)) = idle.and_then(|idle| Some((idle, without(case, idle)?))) else {
            return;
        };
        if found.rocks {
            return;
        }
        tried += 1;
        let after = settled(&less, loads);
        let mut want = in_n(&found.reactions);
        want.remove(idle);
        same(&in_n(&after.reactions), &want, N, what);
        let mut want = in_mm(&found.heights);
        want.remove(idle);
        same(&in_mm(&after.heights), &want, MM, what);
    });
    assert!(tried > 50, "only {tried} frames had a support to take out");
}

#[test]
fn a_seat_under_a_bearer_matters_only_if_it_reaches_it() {
    for_frames(0..300, |dice, case, what| {
        let loads = dice.loads();
        let found = settled(case, loads);
        let bearer = dice.whole(0, case.spec.bearers.len() - 1);
        let (mut supports, mut spec) = (case.supports.clone(), case.spec.clone());
        let run = case.spec.bearers[bearer].run;
        let along = dice.place(run.from.to_mm(), run.to.to_mm());
        let at = run.place(Length::mm(along));
        let taken = case.supports.iter().any(|support| support.at.distance(at).to_mm() < 160.0);
        if taken || found.rocks {
            return;
        }
        supports.push(support("new", at.x.to_mm(), at.y.to_mm()));
        spec.bearers[bearer].supports.push(SupportId::new("new"));
        let frame = Frame::new(&supports, &spec, &[]).unwrap();
        let with = |seat: f64| {
            let seats: Vec<f64> = case.seats.iter().copied().chain([seat]).collect();
            frame.contact(&mm(&seats), loads).unwrap()
        };
        let far = with(-1e4);
        let hangs_at = far.heights[case.seats.len()].to_mm();
        for contact in [&far, &with(hangs_at - 0.001)] {
            let reactions = in_n(&contact.reactions);
            same(&reactions[..case.seats.len()], &in_n(&found.reactions), N, what);
            assert_eq!(reactions[case.seats.len()], 0.0, "{what}");
        }
        assert!(with(hangs_at + 0.1).reactions[case.seats.len()].to_n() > 0.0, "{what}");
    });
}

#[test]
fn names_and_order_change_nothing() {
    for_frames(0..300, |dice, case, what| {
        let loads = dice.loads();
        let found = settled(case, loads);
        let order = dice.order(case.supports.len());
        let mut spec = case.spec.clone();
        let shuffled = |dice: &mut Dice, n: usize| dice.order(n);
        let bearers = shuffled(dice, spec.bearers.len());
        spec.bearers = bearers.iter().map(|&idx| case.spec.bearers[idx].clone()).collect();
        spec.bearers.iter_mut().for_each(|bearer| bearer.supports.reverse());
        let joists = shuffled(dice, spec.joists.len());
        spec.joists = joists.iter().map(|&idx| case.spec.joists[idx].clone()).collect();
        spec.walls.reverse();
        let other = Case {
            supports: order.iter().map(|&idx| case.supports[idx].clone()).collect(),
            seats: order.iter().map(|&idx| case.seats[idx]).collect(),
            spec,
            survey: Vec::new(),
        };
        let after = settled(&other, loads);
        let want: Vec<f64> = order.iter().map(|&idx| found.reactions[idx].to_n()).collect();
        same(&in_n(&after.reactions), &want, N, what);
        if !found.rocks {
            let want: Vec<f64> = order.iter().map(|&idx| found.heights[idx].to_mm()).collect();
            same(&in_mm(&after.heights), &want, MM, what);
        }
    });
}

fn weightless_wall(run: Run) -> Wall {
    Wall { name: "none".to_owned(), run, load: LineLoad::ZERO, source: "invented".to_owned() }
}

#[test]
fn a_station_where_nothing_stands_changes_nothing() {
    for_frames(0..300, |dice, case, what| {
        let loads = dice.loads();
        let found = settled(case, loads);
        let mut spec = case.spec.clone();
        let runs = spec.bearers.iter().map(|bearer| bearer.run);
        let runs: Vec<Run> = runs.chain(spec.joists.iter().map(|joist| joist.run)).collect();
        for _ in 0..3 {
            let on = runs[dice.whole(0, runs.len() - 1)];
            let from = dice.place(on.from.to_mm(), on.to.to_mm() - 100.0) + 25.0;
            let to = from + 50.0;
            spec.walls.push(weightless_wall(run(on.direction, on.at.to_mm(), from, to)));
        }
        let frame = Frame::new(&case.supports, &spec, &[]).unwrap();
        let after = frame.contact(&mm(&case.seats), loads).unwrap();
        same(&in_n(&after.reactions), &in_n(&found.reactions), N, what);
        if !found.rocks {
            same(&in_mm(&after.heights), &in_mm(&found.heights), MM, what);
        }
    });
}

#[test]
fn influence_follows_a_lift_and_a_tilt() {
    for_frames(0..300, |dice, case, what| {
        let nodes = nodes(case);
        let mut places: Vec<Position> = nodes.iter().map(|&(x, y)| Position::mm(x, y)).collect();
        let low = |values: &mut dyn Iterator<Item = f64>| values.fold(f64::MAX, f64::min);
        let high = |values: &mut dyn Iterator<Item = f64>| values.fold(f64::MIN, f64::max);
        let (x, y) = (|| nodes.iter().map(|node| node.0), || nodes.iter().map(|node| node.1));
        for _ in 0..10 {
            let x = dice.between(low(&mut x()) - 300.0, high(&mut x()) + 300.0);
            let y = dice.between(low(&mut y()) - 300.0, high(&mut y()) + 300.0);
            places.push(Position::mm(x, y));
        }
        let frame = Frame::new(&case.supports, &case.spec, &places).unwrap();
        for (number, (row, place)) in frame.places().iter().zip(&places).enumerate() {
            let Some(row) = row else {
                assert!(number >= nodes.len(), "{what}: nothing over a support");
                continue;
            };
            let sum = |of: &dyn Fn(usize) -> f64| -> f64 {
                row.terms.iter().map(|&(support, ratio)| ratio * of(support)).sum()
            };
            assert!((sum(&|_| 1.0) - 1.0).abs() < 1e-12, "{what}: {}", sum(&|_| 1.0));
            if number < nodes.len() {
                for &(support, ratio) in &row.terms {
                    let want = if support == number { 1.0 } else { 0.0 };
                    assert!((ratio - want).abs() < 1e-9, "{what}: {ratio} over a support");
                }
            }
            // Within a millimetre of a line it is that line; beyond the last joist the floor goes
            // with it and does not tilt.
            if row.between_supports {
                let (x, y) = (sum(&|support| nodes[support].0), sum(&|support| nodes[support].1));
                let off = (x - place.x.to_mm()).abs().max((y - place.y.to_mm()).abs());
                assert!(off < 1.2, "{what}: {off} mm off in a tilt at {place:?}");
            }
        }
    });
}

/// Where a timber's moment is asked for: its number, bearers first, and the place along it.
fn stations(dense: &Dense) -> Vec<(usize, f64)> {
    let of = |(beam, one): (usize, &frames::dense::Beam)| -> Vec<(usize, f64)> {
        let inner = 1..one.along.len() - 1;
        inner.filter(|&at| !one.joint[at]).map(|at| (beam, one.along[at])).collect()
    };
    dense.beams.iter().enumerate().flat_map(of).collect()
}

fn moments(timbers: &Timbers<'_>, stations: &[(usize, f64)]) -> Vec<f64> {
    let moment = |&(timber, along): &(usize, f64)| {
        timbers.moment(timber, Length::mm(along)).unwrap().to_n_mm()
    };
    stations.iter().map(moment).collect()
}

#[test]
fn the_way_that_seats_came_to_their_heights_leaves_no_trace() {
    for_frames(0..150, |dice, case, what| {
        let (frame, loads, seats) = (built(case), dice.loads(), mm(&case.seats));
        let stations = stations(&Dense::new(&case.supports, &case.spec));
        let shape: Vec<Length> =
            seats.iter().map(|_| Length::mm(dice.between(-20.0, 20.0))).collect();
        let share = dice.share();
        let set = dice.chance(0.5).then_some(SetShape { heights: &shape, share });
        let mut moving = OnSeats::new(&frame, &seats, loads, set).unwrap();
        let mut timbers = moving.timbers();
        let mut now = seats.clone();
        for _ in 0..40 {
            let together = dice.whole(1, 2.min(seats.len()));
            let changes: Vec<(usize, Length)> = dice.order(seats.len())[..together]
                .iter()
                .map(|&support| (support, Length::mm(dice.between(-30.0, 90.0))))
                .collect();
            changes.iter().for_each(|&(support, seat)| now[support] = seat);
            moving.set_seats(&changes).unwrap();
            timbers.follow(&moving.take_moved());
        }
        let fresh = OnSeats::new(&frame, &now, loads, set).unwrap();
        for _ in 0..2 {
            let (found, want) = (moving.contact(), fresh.contact());
            assert_eq!(found.rocks, want.rocks, "{what}");
            same(&in_n(&found.reactions), &in_n(&want.reactions), N, what);
            if !want.rocks {
                same(&in_mm(&found.gaps), &in_mm(&want.gaps), MM, what);
                same(&in_mm(&found.heights), &in_mm(&want.heights), MM, what);
            }
            let want = moments(&fresh.timbers(), &stations);
            let size = want.iter().fold(1e5, |size: f64, moment| size.max(moment.abs()));
            same(&moments(&timbers, &stations), &want, size * 1e-8, what);
            moving.refresh();
            timbers.refresh(&moving);
        }
        let seats_now: Vec<f64> =
            (0..now.len()).map(|support| moving.seat(support).to_mm()).collect();
        same(&seats_now, &in_mm(&now), 1e-9, what);
    });
}

#[test]
fn timber_that_has_set_in_its_shape_carries_as_straight_timber_on_level_seats() {
    for_frames(0..300, |dice, case, what| {
        let (frame, loads, seats) = (built(case), dice.loads(), mm(&case.seats));
        let today = frame.contact(&seats, loads).unwrap().heights;
        let level = frame.contact(&vec![Length::ZERO; seats.len()], loads).unwrap();
        let all = SetShape { heights: &today, share: 1.0 };
        let on_shape = OnSeats::new(&frame, &today, loads, Some(all)).unwrap().contact();
        same(&in_n(&on_shape.reactions), &in_n(&level.reactions), N, what);

        let part = SetShape { heights: &today, share: dice.share() };
        let found = OnSeats::new(&frame, &seats, loads, Some(part)).unwrap().contact();
        let unset: Vec<f64> = (found.heights.iter().zip(&today))
            .map(|(height, today)| height.to_mm() - part.share * today.to_mm())
            .collect();
        for support in 0..seats.len() {
            let (terms, straight) = frame.reaction_row(support, loads);
            let want: f64 = terms.iter().map(|&(other, per_mm)| per_mm * unset[other]).sum();
            let found = found.reactions[support].to_n();
            let off = (found - want - straight.to_n()).abs();
            assert!(off < 1e-3, "{what}: {found} is off the rule by {off}");
        }
    });
}

/// Second method: a frame put together again as one full matrix, the same supports carrying.
#[test]
fn moments_agree_with_a_second_method() {
    let mut looked_at = 0;
    for_frames(0..300, |dice, case, what| {
        let (frame, loads) = (built(case), dice.loads());
        let on_seats = OnSeats::new(&frame, &mm(&case.seats), loads, None).unwrap();
        let timbers = on_seats.timbers();
        if on_seats.rocks() {
            return;
        }
        let dense = Dense::new(&case.supports, &case.spec);
        let carries: Vec<bool> = (0..case.seats.len()).map(|one| on_seats.carries(one)).collect();
        let (heights, _) = dense.solve(&carries, &case.seats, loads);
        for (timber, beam) in dense.beams.iter().enumerate() {
            for (station, &along) in beam.along.iter().enumerate() {
                let want = dense.moment(timber, station, &heights, loads);
                let found = timbers.moment(timber, Length::mm(along));
                let found = found.map_or(0.0, |moment| moment.to_n_mm());
                let allowed = 1e-8 * want.abs().max(1e6);
                assert!((found - want).abs() < allowed, "{what}: moment {found}, not {want}");
                looked_at += 1;
            }
        }
    });
    assert!(looked_at > 3000, "{looked_at}");
}

/// The first support under a random bearer, and the bearer.
fn first_support(dice: &mut Dice, case: &Case) -> (usize, usize) {
    let bearer = dice.whole(0, case.spec.bearers.len() - 1);
    let id = &case.spec.bearers[bearer].supports[0];
    (case.supports.iter().position(|support| support.id == *id).unwrap(), bearer)
}

/// Distances that nobody sets out: what adding up or averaging leaves between two places that were
/// meant as one.
const HAIRS: [f64; 8] = [0.0005, 0.002, 0.01, 0.05, 0.2, 0.8, 1.2, 5.0];

#[test]
fn a_load_that_ends_a_hair_from_a_seat_ends_there() {
    for_frames(0..60, |dice, case, what| {
        let loads = dice.loads();
        let found = in_n(&settled(case, loads).reactions);
        let (support, bearer) = first_support(dice, case);
        let on = case.spec.bearers[bearer].run;
        let seat = on.direction.along(case.supports[support].at).to_mm();
        for hair in HAIRS {
            let mut spec = case.spec.clone();
            let from = seat + hair;
            let wall = weightless_wall(run(on.direction, on.at.to_mm(), from, from + 100.0));
            spec.walls.push(wall);
            let frame = Frame::new(&case.supports, &spec, &[]).unwrap();
            let after = frame.contact(&mm(&case.seats), loads).unwrap();
            // Rounding beside a stretch of a millimetre is felt in the second place.
            same(&in_n(&after.reactions), &found, 0.05, &format!("{what}, {hair} mm"));
        }
    });
}

#[test]
fn a_timber_or_a_seat_a_hair_out_of_place_hardly_matters() {
    for_frames(0..60, |dice, case, what| {
        let loads = dice.loads();
        let found = in_n(&settled(case, loads).reactions);
        let allowed = 0.005 * found.iter().sum::<f64>();
        let (support, bearer) = first_support(dice, case);
        for hair in HAIRS {
            let mut spec = case.spec.clone();
            let end = &mut spec.bearers[bearer].run.to;
            *end += Length::mm(hair);
            // Two bearers may overlap by a hair, not by a finger.
            let Ok(longer) = Frame::new(&case.supports, &spec, &[]) else {
                assert!(hair > 1.0, "{what}: {hair} mm longer is refused");
                continue;
            };
            let after = longer.contact(&mm(&case.seats), loads).unwrap();
            same(&in_n(&after.reactions), &found, allowed, &format!("{what}, {hair} mm longer"));

            let mut supports = case.supports.clone();
            let run = case.spec.bearers[bearer].run;
            let (along, across) = (
                run.direction.along(supports[support].at),
                run.direction.across(supports[support].at),
            );
            supports[support].at = run.direction.place(along + Length::mm(hair), across);
            let Ok(moved) = Frame::new(&supports, &case.spec, &[]) else {
                assert!(hair > 1.0, "{what}: {hair} mm along is refused");
                continue;
            };
            let after = moved.contact(&mm(&case.seats), loads).unwrap();
            same(&in_n(&after.reactions), &found, allowed, &format!("{what}, {hair} mm along"));
        }
    });
}

/// A floor of many supports on rough seats: bearers along x, joists over all of them.
fn large(bearers: usize, supports: usize, rough: f64, dice: &mut Dice) -> Case {
    let spacing = 1800.0;
    let mut all = Vec::new();
    let mut seats = Vec::new();
    let mut rows = Vec::new();
    for row in 0..bearers {
        let y = row as f64 * spacing;
        let ids: Vec<String> = (0..supports).map(|place| format!("S{row}-{place}")).collect();
        for (place, id) in ids.iter().enumerate() {
            all.push(support(id, place as f64 * spacing, y));
            seats.push(dice.between(0.0, rough));
        }
        rows.push(frames::plain_bearer(
            &format!("B{row}"),
            run(Direction::X, y, -100.0, (supports - 1) as f64 * spacing + 100.0),
            &ids,
        ));
    }
    let n_joists = (supports - 1) * 2 + 1;
    let joists = (0..n_joists).map(|number| {
        let end = (bearers - 1) as f64 * spacing + 200.0;
        let at = number as f64 * spacing / 2.0;
        frames::plain_joist(&format!("J{number}"), run(Direction::Y, at, -200.0, end))
    });
    let spec = frames::spec(rows, joists.collect(), 0.5);
    Case { supports: all, spec, seats, survey: Vec::new() }
}

/// Moves disturb a part of a large frame only, and only that part is solved for again: in the end
/// it must be what it is when everything is solved for at once, but for a hundredth of a newton
/// that may be left on each of the supports that hang.
#[test]
fn six_hundred_supports_after_many_moves() {
    let mut dice = Dice::new(600);
    let case = large(20, 30, 12.0, &mut dice);
    let frame = built(&case);
    let mut now = mm(&case.seats);
    let mut moving = OnSeats::new(&frame, &now, Loads::DEAD, None).unwrap();
    let hanging = now.len() - moving.n_carrying();
    assert!(hanging > 100, "{hanging} hang");
    let total = frame.total(Loads::DEAD).to_n();
    for _ in 0..100 {
        let changes: Vec<(usize, Length)> = (0..dice.whole(1, 4))
            .map(|_| (dice.whole(0, now.len() - 1), Length::mm(dice.between(0.0, 12.0))))
            .collect();
        changes.iter().for_each(|&(support, seat)| now[support] = seat);
        moving.set_seats(&changes).unwrap();
        let carried: f64 = (0..now.len()).map(|support| moving.reaction(support).to_n()).sum();
        assert!((carried - total).abs() < 0.2, "{carried} of {total}");
    }
    let fresh = OnSeats::new(&frame, &now, Loads::DEAD, None).unwrap();
    let want = fresh.contact();
    let found = moving.contact();
    same(&in_n(&found.reactions), &in_n(&want.reactions), 0.2, "moved");
    same(&in_mm(&found.heights), &in_mm(&want.heights), 0.01, "moved");
    moving.refresh();
    assert_eq!(moving.rocks(), want.rocks);
    same(&in_n(&moving.contact().reactions), &in_n(&want.reactions), 0.2, "refreshed");
    for (reaction, gap) in want.reactions.iter().zip(&want.gaps) {
        assert!(reaction.to_n() == 0.0 || gap.to_mm() == 0.0);
    }
}

/// Beside a sound frame, apart from it, a beam that is jacked in the middle until its ends leave.
fn with_a_rocker(case: &Case, up: f64) -> Case {
    let (mut supports, mut seats, mut spec) =
        (case.supports.clone(), case.seats.clone(), case.spec.clone());
    let ids = ["R1", "R2", "R3"].map(str::to_owned);
    for (id, (x, seat)) in ids.iter().zip([(0.0, 0.0), (2000.0, up), (4000.0, 0.0)]) {
        supports.push(support(id, x + 100_000.0, 100_000.0));
        seats.push(seat);
    }
    let line = run(Direction::X, 100_000.0, 100_000.0, 104_000.0);
    spec.bearers.push(frames::plain_bearer("R", line, &ids));
    Case { supports, spec, seats, survey: Vec::new() }
}

fn rocks_beside(case: &Case, what: &str) {
    let n = case.seats.len();
    let alone = settled(case, Loads::DEAD);
    for (up, rocks) in [(0.0, false), (300.0, true)] {
        let both = with_a_rocker(case, up);
        let found = settled(&both, Loads::DEAD);
        assert_eq!(found.rocks, rocks || alone.rocks, "{what}, raised by {up} mm");
        same(&in_n(&found.reactions)[..n], &in_n(&alone.reactions), N, what);
        if !alone.rocks {
            same(&in_mm(&found.heights)[..n], &in_mm(&alone.heights), MM, what);
        }
        let of_rocker: f64 = in_n(&found.reactions)[n..].iter().sum();
        let own = both.spec.bearers[both.spec.bearers.len() - 1].clone();
        let weight = own.timber.density.weight_along(own.section.breadth, own.section.depth);
        assert!((of_rocker - weight.to_kn_per_m() * 4000.0).abs() < N, "{what}: {of_rocker}");
        if rocks {
            assert!((found.reactions[n + 1].to_n() - of_rocker).abs() < N, "{what}");
        }
    }
}

#[test]
fn one_of_two_separate_parts_rocks() {
    for_frames(0..100, |_, case, what| rocks_beside(case, what));
    let mut dice = Dice::new(9);
    rocks_beside(&large(6, 20, 60.0, &mut dice), "a large frame");
}

/// A jack that rises until its part of the frame rocks is told so, however many hang elsewhere.
#[test]
fn a_part_that_comes_to_rock_is_told() {
    let mut dice = Dice::new(10);
    for case in [large(3, 4, 30.0, &mut dice), large(8, 24, 60.0, &mut dice)] {
        let both = with_a_rocker(&case, 0.0);
        let frame = built(&both);
        let middle = case.seats.len() + 1;
        let mut on_seats = OnSeats::new(&frame, &mm(&both.seats), Loads::DEAD, None).unwrap();
        for (up, rocks) in [(0.5, false), (300.0, true), (0.0, false), (300.0, true)] {
            on_seats.set_seats(&[(middle, Length::mm(up))]).unwrap();
            let hanging = both.seats.len() - on_seats.n_carrying();
            assert_eq!(on_seats.rocks(), rocks, "raised by {up} mm, {hanging} hanging");
        }
    }
}

/// Closed form: a load `P` at `c` past the last support of a beam on two tips it as soon as
/// `P c` is more than its own weight makes about that support.
#[test]
fn a_beam_that_tips_over_is_given_no_loads() {
    let (span, past) = (2000.0, 400.0);
    let supports = [support("A", 0.0, 0.0), support("B", span, 0.0)];
    let line = run(Direction::X, 0.0, 0.0, span + past);
    let bearer = frames::plain_bearer("B1", line, &["A".to_owned(), "B".to_owned()]);
    let weight = bearer.timber.density.weight_along(bearer.section.breadth, bearer.section.depth);
    let holds = weight.to_kn_per_m() * (span * span - past * past) / 2.0 / past;
    let mut spec = frames::spec(vec![bearer], Vec::new(), 0.0);
    for (share, tips) in [(0.99, false), (1.01, true), (10.0, true)] {
        spec.point_loads = vec![PointLoad {
            name: "P".to_owned(),
            at: Position::mm(span + past, 0.0),
            load: Force::n(holds * share),
            source: "invented".to_owned(),
        }];
        let frame = Frame::new(&supports, &spec, &[]).unwrap();
        for seats in [[0.0, 0.0], [5.0, 0.0], [0.0, 80.0]] {
            let found = frame.contact(&mm(&seats), Loads::DEAD);
            assert_eq!(found.is_err(), tips, "{share} of what holds, seats {seats:?}");
        }
    }
    let frame = Frame::new(&supports, &spec, &[]).unwrap();
    let text = frame.contact(&[Length::ZERO; 2], Loads::DEAD).unwrap_err().to_string();
    assert!(text.contains("tips"), "{text}");
}
