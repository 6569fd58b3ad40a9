//! Level books, misclosures, drift and field tests against the examples in `data/levelling`.

mod expected;

use expected::Example;
use floorwright_engine::ids::PointId;
use floorwright_engine::survey::{
    BeyondLimit, BookFault, BookRow, CheckKind, LevelBook, MisclosureModel, NoSpread, ReadingSd,
    ReducedBook, RowFault, Sight, SpreadBy, TimedReading, WrittenColumn, allowed_misclosure,
    book_from_list, book_setups, double_run_km_factor, even_drift, full_level_test, house_rule,
    judge_misclosure, misclosure_rules, needs_piecewise, own_repeatability_rule,
    piecewise_differences, reduce_book, sd_ratio_limit, simplified_level_test, spread_by_distance,
    spread_misclosure, staff_zero_factor, two_peg_test, variance_ratio_limits,
};
use floorwright_engine::units::{ExactLength, Length, Minutes};
use toml::Value;

fn exact_m(metres: f64) -> ExactLength {
    ExactLength::from_mm(metres * 1e3).expect("a length in an example fits")
}

fn book_of(example: &Example) -> LevelBook {
    let rows = example.input("rows").as_array().unwrap();
    LevelBook {
        start: exact_m(example.number("start_rl")),
        known_close: example.optional_number("known_close").map(exact_m),
        rows: rows
            .iter()
            .map(|row| {
                let sight = |column: &str| {
                    row.get(column).and_then(Value::as_float).map(|m| Sight::new(exact_m(m)))
                };
                BookRow {
                    back: sight("bs"),
                    intermediate: sight("is"),
                    fore: sight("fs"),
                    ..BookRow::empty(row["id"].as_str().unwrap())
                }
            })
            .collect(),
    }
}

/// Every quantity that a reduced book has, by the name that the examples use.
fn check_book(example: &Example, reduced: &ReducedBook) {
    assert!(reduced.checks.iter().all(|check| check.holds()), "{:?}", reduced.checks);
    let metres = |length: ExactLength| length.to_mm() * 1e-3;
    let row = |id: &str| {
        let found = reduced.rows.iter().find(|row| row.point.as_str() == id);
        metres(found.unwrap_or_else(|| panic!("no row {id}")).level)
    };
    example.check_keyed("reduced_level", row);
    for (quantity, sum) in [
        ("sum_bs", reduced.sums.back),
        ("sum_is", reduced.sums.intermediate),
        ("sum_fs", reduced.sums.fore),
        ("sum_rise", reduced.sums.rise),
        ("sum_fall", reduced.sums.fall),
    ] {
        example.check_if_expected(quantity, &[metres(sum)]);
    }
}

#[test]
fn two_benchmarks_and_a_closure_far_out() {
    let example = Example::read("book-two-tbm-bad-closure");
    let reduced = reduce_book(&book_of(&example)).unwrap();
    check_book(&example, &reduced);
    let misclosure = reduced.misclosure.unwrap().to_length();
    example.check("misclosure", &[misclosure.to_m()]);
    example.check("set_ups", &[reduced.setups.len() as f64]);

    let rules = misclosure_rules();
    let rule = rules.iter().find(|rule| rule.name == "5 sqrt n").unwrap();
    let verdict = judge_misclosure(misclosure, rule, reduced.setups.len(), None).unwrap();
    example.check("limit_5_sqrt_n", &[verdict.allowed.to_mm()]);
    assert!(!verdict.is_within());
    assert!((verdict.times_allowed() - 16.6).abs() < 1e-9);

    let spread = |beyond| spread_misclosure(&reduced, &verdict, SpreadBy::Setups, beyond);
    assert!(matches!(spread(BeyondLimit::Refuse), Err(NoSpread::Beyond { .. })));
    let rows = spread(BeyondLimit::Accept).unwrap();
    example.check_keyed("adjusted_level", |id| {
        rows.iter().find(|row| row.point.as_str() == id).unwrap().level.to_m()
    });
}

/// The published last level of this book is wrong: it took the step from FS to BS at each change
/// point as a rise or fall. Our answer is the computed one, and the published columns fail.
#[test]
fn a_change_point_is_no_fall() {
    let example = Example::read("book-change-point-counted-as-fall");
    let mut book = book_of(&example);
    check_book(&example, &reduce_book(&book).unwrap());

    let list: Vec<ExactLength> =
        example.numbers("readings_in_order").into_iter().map(exact_m).collect();
    let moved: Vec<usize> = example
        .numbers("instrument_moved_after_reading")
        .into_iter()
        .map(|after| after as usize)
        .collect();
    assert_eq!(book_from_list(book.start, &list, &moved).unwrap(), book);

    let other = book_from_list(exact_m(432.384), &list, &moved).unwrap();
    let reduced = reduce_book(&other).unwrap();
    let last = reduced.rows.last().unwrap().level.to_mm() * 1e-3;
    example.check("last_rl_if_start_432_384", &[last]);

    let published = exact_m(example.published_wrong("last_rl"));
    book.rows.last_mut().unwrap().written.level = Some(published);
    let written = reduce_book(&book).unwrap().written.unwrap();
    assert!(!written.holds());
    assert_eq!(written.checks[0].kind, CheckKind::BackLessFore);
    assert_eq!(written.checks[0].out_by(), exact_m(149.298 - 149.794));
    assert_eq!(written.slips.len(), 1);
}

/// Rises and falls taken from one reading of the list to the next, change points included, agree
/// with the levels built from them; only the comparison with BS less FS shows the slip.
#[test]
fn wrong_steps_agree_with_the_levels_built_from_them() {
    let example = Example::read("book-change-point-counted-as-fall");
    let mut book = book_of(&example);
    let mut level = book.start;
    let mut earlier = ExactLength::ZERO;
    for (row_idx, row) in book.rows.iter_mut().enumerate() {
        for sight in [row.fore.or(row.intermediate), row.back].into_iter().flatten() {
            if row_idx > 0 {
                let step = earlier - sight.value;
                level += step;
                row.written.step = Some(row.written.step.unwrap_or_default() + step);
            }
            earlier = sight.value;
        }
        row.written.level = Some(level);
    }
    assert_eq!(level, exact_m(example.published_wrong("last_rl")));
    let written = reduce_book(&book).unwrap().written.unwrap();
    let rise_less_fall =
        written.checks.iter().find(|check| check.kind == CheckKind::RiseLessFall).unwrap();
    assert_eq!(rise_less_fall.left, level - book.start, "consistent with themselves");
    assert!(!rise_less_fall.holds(), "and not with the readings");
    let first_slip = &written.slips[0];
    assert_eq!((first_slip.row, first_slip.column), (3, WrittenColumn::Level));
}

/// The published level of C is wrong: a rise was entered as a fall.
#[test]
fn a_rise_entered_as_a_fall_is_caught() {
    let example = Example::read("book-sign-slip");
    let mut book = book_of(&example);
    check_book(&example, &reduce_book(&book).unwrap());
    let levels = [100.000, 99.445, 100.575, 100.860, example.published_wrong("C")];
    for (row, level) in book.rows.iter_mut().zip(levels) {
        row.written.level = Some(exact_m(level));
    }
    let written = reduce_book(&book).unwrap().written.unwrap();
    let [slip] = written.slips.as_slice() else { panic!("{:?}", written.slips) };
    assert_eq!((slip.row, slip.point.as_str()), (5, "C"));
    assert_eq!(slip.expected, exact_m(101.305));
    assert_eq!(written.checks[0].left, exact_m(1.305));
    assert_eq!(written.checks[0].right, exact_m(0.415));
    assert!(!written.checks[0].holds());
}

#[test]
fn intermediate_sights_are_checked_and_the_misclosure_spread() {
    let example = Example::read("book-hi-intermediate-check");
    let mut book = book_of(&example);
    let reduced = reduce_book(&book).unwrap();
    check_book(&example, &reduced);
    let setup = |key: &str| &reduced.setups[key.parse::<usize>().unwrap() - 1];
    example.check_keyed("height_of_instrument", |key| setup(key).line.to_mm() * 1e-3);
    example.check_keyed("sights_per_hi", |key| setup(key).n_sights as f64);
    let identity = reduced.checks[2];
    assert_eq!(identity.kind, CheckKind::LineTimesSights);
    example.check("identity_sum", &[identity.left.to_mm() * 1e-3]);
    let misclosure = reduced.misclosure.unwrap().to_length();
    example.check("misclosure", &[misclosure.to_m()]);

    let verdict = judge_misclosure(misclosure, &house_rule(), 3, None).unwrap();
    assert!(verdict.is_within());
    let rows =
        spread_misclosure(&reduced, &verdict, SpreadBy::Setups, BeyondLimit::Refuse).unwrap();
    example.check_keyed("adjusted_level", |id| {
        rows.iter().find(|row| row.point.as_str() == id).unwrap().level.to_m()
    });

    // b written 100 mm too high: BS less FS still agrees, the identity is out by 100 mm.
    for (row, reduced) in book.rows.iter_mut().zip(&reduced.rows) {
        row.written.level = Some(reduced.level);
    }
    assert!(reduce_book(&book).unwrap().written.unwrap().holds());
    book.rows[2].written.level = Some(exact_m(50.132));
    let slipped = reduce_book(&book).unwrap();
    let written = slipped.written.as_ref().unwrap();
    assert!(written.checks[0].holds());
    assert_eq!(written.checks[1].kind, CheckKind::LineTimesSights);
    assert_eq!(written.checks[1].out_by(), exact_m(0.100));
    assert_eq!(written.slips.len(), 1);
    assert_eq!(written.slips[0].point.as_str(), "b");
    let refused = spread_misclosure(&slipped, &verdict, SpreadBy::Setups, BeyondLimit::Accept);
    assert_eq!(refused, Err(NoSpread::WrittenFails));
}

#[test]
fn a_loop_is_spread_by_distance() {
    let example = Example::read("loop-by-distance");
    let known = example.number("known");
    let points = example.input("points").as_array().unwrap();
    let column = |name: &str| -> Vec<f64> {
        points.iter().map(|point| point[name].as_float().unwrap()).collect()
    };
    let (observed, distances) = (column("observed"), column("distance"));
    let misclosure = observed[3] - known;
    example.check("misclosure", &[misclosure]);
    let distances_m: Vec<Length> = distances.iter().map(|&m| Length::m(m)).collect();
    let corrections = spread_by_distance(Length::m(misclosure), &distances_m);
    let corrections: Vec<f64> = corrections.iter().map(|length| length.to_m()).collect();
    example.check("correction", &corrections);
    let adjusted: Vec<f64> = observed.iter().zip(&corrections).map(|(a, b)| a + b).collect();
    example.check("adjusted_level", &adjusted);

    let least_squares = loop_by_least_squares(known, &observed, &distances);
    for (by_distance, by_least_squares) in adjusted.iter().zip(least_squares) {
        assert!((by_distance - by_least_squares).abs() < 1e-9);
    }
}

/// Three unknown heights, four legs, weights 1/length: normal equations by elimination.
fn loop_by_least_squares(known: f64, observed: &[f64], distances: &[f64]) -> Vec<f64> {
    let mut normal = [[0.0; 4]; 3];
    for leg in 0..4 {
        let (before_height, before_distance) =
            if leg == 0 { (known, 0.0) } else { (observed[leg - 1], distances[leg - 1]) };
        let weight = 1.0 / (distances[leg] - before_distance);
        let mut design = [0.0; 3];
        let mut right = observed[leg] - before_height;
        if leg > 0 {
            design[leg - 1] = -1.0;
        } else {
            right += known;
        }
        if leg < 3 {
            design[leg] = 1.0;
        } else {
            right -= known;
        }
        for row in 0..3 {
            for col in 0..3 {
                normal[row][col] += weight * design[row] * design[col];
            }
            normal[row][3] += weight * design[row] * right;
        }
    }
    for pivot in 0..3 {
        let pivot_row = normal[pivot];
        for (row_idx, row) in normal.iter_mut().enumerate() {
            if row_idx != pivot {
                let factor = row[pivot] / pivot_row[pivot];
                for (entry, pivot_entry) in row.iter_mut().zip(pivot_row) {
                    *entry -= factor * pivot_entry;
                }
            }
        }
    }
    let mut heights: Vec<f64> = (0..3).map(|row| normal[row][3] / normal[row][row]).collect();
    heights.push(known);
    heights
}

#[test]
fn misclosure_rules_give_their_limits() {
    let example = Example::read("misclosure-rules");
    let rules = misclosure_rules();
    let named = |name: &str| rules.iter().find(|rule| rule.name == name).unwrap();
    for (quantity, name) in [("limit_5_sqrt_n", "5 sqrt n"), ("limit_3_sqrt_n", "3 sqrt n")] {
        example.check_keyed(quantity, |n_setups| {
            allowed_misclosure(named(name), n_setups.parse().unwrap(), None).unwrap().to_mm()
        });
    }
    example.check_keyed("limit_12_sqrt_K", |km| {
        let length = Length::m(km.parse::<f64>().unwrap() * 1000.0);
        allowed_misclosure(named("12 sqrt K"), 1, Some(length)).unwrap().to_mm()
    });
    let MisclosureModel::PerKilometre(per_km) = named("0.05 ft sqrt miles").model else {
        panic!("a rule by length");
    };
    example.check("third_order_ft_mile_in_mm_km", &[per_km.to_mm()]);
    // 2 s sqrt(2 n) with s = 1 mm and n = 2 is 4 mm.
    let own = own_repeatability_rule(Length::mm(1.0));
    assert!((allowed_misclosure(&own, 2, None).unwrap().to_mm() - 4.0).abs() < 1e-12);
    assert!(allowed_misclosure(named("12 sqrt K"), 2, None).is_err(), "no length, no limit");
    assert!(allowed_misclosure(&house_rule(), 0, None).is_err());
    for rule in &rules {
        assert!(!rule.source.is_empty() && !rule.intended_for.is_empty(), "{}", rule.name);
        assert_eq!(rule.status.is_unverified(), rule.source.contains("from memory"));
    }
    // Every rule of the list is on file.
    for listed in example.input("rules").as_array().unwrap() {
        let text = listed["rule"].as_str().unwrap();
        let in_millimetres = text.strip_prefix("mm = ").unwrap_or("");
        let factors: Vec<f64> = in_millimetres
            .split(['*', ';'])
            .next()
            .unwrap()
            .split([',', ' '])
            .filter_map(|part| part.trim().parse().ok())
            .collect();
        for factor in factors.iter().filter(|_| !text.contains("*s*")) {
            let by_setups = text.contains("sqrt(n)");
            let on_file = rules.iter().any(|rule| match rule.model {
                MisclosureModel::PerSetup(limit) => by_setups && limit == Length::mm(*factor),
                MisclosureModel::PerKilometre(limit) => !by_setups && limit == Length::mm(*factor),
                MisclosureModel::OwnRepeatability(_) => false,
            });
            assert!(on_file, "{text}: {factor}");
        }
    }
}

fn timed(example: &Example) -> Vec<TimedReading> {
    let stations = example.input("station").as_array().unwrap();
    stations
        .iter()
        .zip(example.numbers("minutes"))
        .zip(example.numbers("reading"))
        .map(|((station, minutes), reading)| TimedReading {
            point: PointId::new(station.as_str().unwrap()),
            time: Minutes::new(minutes),
            value: ExactLength::from_mm(reading).unwrap(),
        })
        .collect()
}

#[test]
fn drift_goes_by_clock_time() {
    let example = Example::read("drift-base-start-and-end");
    let drift = even_drift(&timed(&example), &PointId::new("L")).unwrap();
    example.check("total_drift", &[drift.total.abs().to_mm()]);
    example.check("rate", &[drift.rate.to_mm_per_minute()]);
    let corrected: Vec<f64> = drift.corrected.iter().map(|length| length.to_mm()).collect();
    example.check("corrected", &corrected);
}

#[test]
fn drift_by_first_and_last_base_reading_and_piece_by_piece() {
    let example = Example::read("drift-least-squares");
    let base = PointId::new("R");
    let readings = timed(&example);
    let drift = even_drift(&readings, &base).unwrap();
    let between: Vec<f64> = drift.corrected[1..6].iter().map(|length| length.to_mm()).collect();
    example.check("two_point_rate_corrected", &between);
    let pieces = piecewise_differences(&readings, &base).unwrap();
    let pieces: Vec<f64> = pieces.iter().map(|piece| piece.to_base.to_mm()).collect();
    example.check("piecewise_difference_to_R", &pieces);
    // The middle base reading is 0.3 mm off the line from first to last; P at 10 min moves 0.1.
    assert!(needs_piecewise(&readings, &base, Length::mm(0.05)).unwrap());
    assert!(!needs_piecewise(&readings, &base, Length::mm(0.4)).unwrap());
}

#[test]
fn field_test_of_a_level() {
    let example = Example::read("field-test-level");
    let set =
        |name: &str| -> Vec<Length> { example.numbers(name).into_iter().map(Length::mm).collect() };
    let (midway, near) = (set("set_1_mid"), set("set_2_near_one_staff"));
    let test = simplified_level_test(&midway, &near, None).unwrap();
    example.check("mean", &[test.mean_midway.to_mm(), test.mean_near.to_mm()]);
    example.check("sd_set_1", &[test.sd.to_mm()]);
    example.check("difference_of_means", &[test.difference.to_mm()]);
    example.check("limit_2_5_s", &[test.limit.to_mm()]);
    example.check("passes", &[f64::from(u8::from(test.passes()))]);
    assert!((test.margin.to_mm() - 0.0436857).abs() < 1e-6, "a narrow pass shows its margin");
    assert!(!simplified_level_test(&midway, &near, Some(Length::mm(0.7))).unwrap().passes());
    assert!(simplified_level_test(&midway[..9], &near, None).is_err());

    example.check("full_test_factor_1km", &[double_run_km_factor(Length::m(60.0)).unwrap()]);
    example.check("s_over_sigma_max", &[sd_ratio_limit(9).unwrap(), sd_ratio_limit(38).unwrap()]);
    let (low, high) = variance_ratio_limits(38, 38).unwrap();
    example.check("variance_ratio_limits", &[low, high]);
    example.check("staff_zero_factor", &[staff_zero_factor(20, 20).unwrap()]);
}

/// Closed form: two sets of ten pairs at +d and ten at -d about means m and m + 1 have
/// s = d sqrt(40 / 38).
#[test]
fn full_field_test_by_closed_form() {
    let set = |mean: f64| -> Vec<Length> {
        (0..20)
            .map(|pair| Length::mm(if pair % 2 == 0 { mean + 0.5 } else { mean - 0.5 }))
            .collect()
    };
    let test = full_level_test(&set(2.0), &set(3.0)).unwrap();
    let sd = 0.5 * (40.0_f64 / 38.0).sqrt();
    assert!((test.sd.to_mm() - sd).abs() < 1e-12);
    assert!((test.staff_zero_difference.to_mm() + 1.0).abs() < 1e-12);
    assert!(!test.staffs_agree());
    assert!(full_level_test(&set(2.0), &set(2.1)).unwrap().staffs_agree());
}

#[test]
fn two_peg_test_says_how_the_line_dips() {
    let example = Example::read("two-peg-collimation");
    let metres = |name: &str| Length::m(example.number(name));
    let collimation = two_peg_test(
        metres("near_sight"),
        metres("far_sight"),
        metres("observed_diff"),
        metres("true_diff"),
    )
    .unwrap();
    example.check("collimation_per_100", &[collimation.over(Length::m(100.0)).to_m()]);
    example.check("collimation", &[collimation.slope]);
    assert!(two_peg_test(Length::m(25.0), Length::m(25.5), Length::ZERO, Length::ZERO).is_err());
}

#[test]
fn every_fault_of_a_book_names_its_row() {
    let sight = Some(Sight::new(exact_m(1.5)));
    let row = |id: &str, back, intermediate, fore| BookRow {
        back,
        intermediate,
        fore,
        ..BookRow::empty(id)
    };
    let book = LevelBook {
        start: exact_m(20_000.0),
        known_close: None,
        rows: vec![
            row("A", None, sight, None),
            row("B", None, sight, sight),
            row("C", sight, None, None),
            row("D", None, None, sight),
            row("E", sight, sight, None),
            row("F", None, None, None),
            row("G", None, Some(Sight::new(exact_m(25.0))), None),
        ],
    };
    let faults = reduce_book(&book).unwrap_err();
    let expected = [
        (1, RowFault::FirstWithoutBack),
        (1, RowFault::FirstReadForward),
        (2, RowFault::IntermediateAndFore),
        (3, RowFault::BackWithoutFore),
        (4, RowFault::ForeWithoutBack),
        (5, RowFault::IntermediateAndBack),
        (6, RowFault::NothingRead),
        (7, RowFault::LastWithoutFore),
        (7, RowFault::ReadingOutOfRange),
    ];
    assert_eq!(faults[0], BookFault::KnownLevel(exact_m(20_000.0)));
    let rows: Vec<_> = faults[1..]
        .iter()
        .map(|fault| match fault {
            BookFault::Row { row, fault, .. } => (*row, *fault),
            other => panic!("{other}"),
        })
        .collect();
    assert_eq!(rows, expected);
    assert_eq!(faults[3].to_string(), "row 2 (B): both an intermediate sight and a foresight");
    assert_eq!(book_setups(&book, ReadingSd::Each(Length::mm(0.5))).unwrap_err(), faults);
}

#[test]
fn a_plain_list_says_where_the_instrument_cannot_move() {
    let list = vec![exact_m(1.0); 6];
    for moved in [&[1][..], &[5], &[9], &[3, 4], &[4, 2], &[0]] {
        let faults = book_from_list(ExactLength::ZERO, &list, moved).unwrap_err();
        assert!(matches!(faults[0], BookFault::Moved { .. }), "{moved:?}: {faults:?}");
    }
    assert!(book_from_list(ExactLength::ZERO, &list[..1], &[]).is_err());
    let book = book_from_list(ExactLength::ZERO, &list, &[2, 4]).unwrap();
    assert_eq!(reduce_book(&book).unwrap().setups.len(), 3);
}

#[test]
fn one_setup_for_each_standing() {
    let example = Example::read("book-two-tbm-bad-closure");
    let setups = book_setups(&book_of(&example), ReadingSd::Each(Length::mm(0.5))).unwrap();
    let names = |setup: usize| -> Vec<&str> {
        setups[setup].readings.iter().map(|reading| reading.point.as_str()).collect()
    };
    assert_eq!(setups.len(), 4);
    assert_eq!(names(0), ["TBM", "P1", "P2", "P3", "P4", "CPB"]);
    assert_eq!(names(2), ["CPC", "CPD"]);
    assert_eq!(setups[3].id.as_str(), "setup 4");
}

/// A soffit 2.4 m above a floor that is 1.5 m below the line: the staff hangs down 0.9 m.
#[test]
fn an_inverted_staff_reads_upwards() {
    let book = LevelBook {
        start: ExactLength::ZERO,
        known_close: None,
        rows: vec![
            BookRow { back: Some(Sight::new(exact_m(1.5))), ..BookRow::empty("floor") },
            BookRow {
                intermediate: Some(Sight::inverted(exact_m(0.9))),
                ..BookRow::empty("soffit")
            },
            BookRow { fore: Some(Sight::new(exact_m(1.5))), ..BookRow::empty("floor again") },
        ],
    };
    let reduced = reduce_book(&book).unwrap();
    assert_eq!(reduced.rows[1].level, exact_m(2.4));
    assert!(reduced.checks.iter().all(|check| check.holds()));
    assert!(book_setups(&book, ReadingSd::Each(Length::mm(0.5))).unwrap()[0].readings[1].inverted);
}

#[test]
fn drift_refuses_what_it_would_have_to_guess() {
    let reading = |point: &str, minutes: f64| TimedReading {
        point: PointId::new(point),
        time: Minutes::new(minutes),
        value: exact_m(1.0),
    };
    let base = PointId::new("R");
    let refused = |readings: &[TimedReading]| {
        assert!(even_drift(readings, &base).is_err(), "{readings:?}");
        assert!(piecewise_differences(readings, &base).is_err(), "{readings:?}");
    };
    refused(&[]);
    refused(&[reading("R", 0.0), reading("P", 1.0)]);
    refused(&[reading("R", 0.0), reading("R", 0.0)]);
    refused(&[reading("R", 0.0), reading("R", 9.0), reading("P", 10.0)]);
    refused(&[reading("R", 0.0), reading("P", f64::NAN), reading("R", 9.0)]);
    refused(&[reading("R", 5.0), reading("P", 2.0), reading("R", 9.0)]);
}

#[test]
fn numbers_that_are_none_are_refused() {
    let nan = Length::mm(f64::NAN);
    assert!(judge_misclosure(nan, &house_rule(), 1, None).is_err());
    assert!(allowed_misclosure(&own_repeatability_rule(nan), 1, None).is_err());
    let set = vec![Length::mm(1.0); 10];
    assert!(simplified_level_test(&set, &set, Some(nan)).is_err());
    assert!(two_peg_test(nan, Length::m(50.0), Length::ZERO, Length::ZERO).is_err());
    assert!(double_run_km_factor(Length::ZERO).is_err());
    assert!(sd_ratio_limit(0).is_err() && variance_ratio_limits(0, 9).is_err());
    assert_eq!(spread_by_distance(Length::mm(4.0), &[nan, Length::m(2.0)]), [Length::ZERO; 2]);
}

mod properties {
    use super::*;
    use proptest::prelude::*;

    /// Any sight at all, the largest integers included.
    fn any_sight() -> impl Strategy<Value = Option<Sight>> {
        let value =
            prop_oneof![Just(i64::MIN), Just(i64::MAX), -30_000_000_000..30_000_000_000_i64];
        proptest::option::of(
            (value, any::<bool>())
                .prop_map(|(nm, inverted)| Sight { inverted, ..Sight::new(ExactLength::nm(nm)) }),
        )
    }

    /// Readings in whole tenths of a millimetre with the places where the instrument moved.
    fn plain_list() -> impl Strategy<Value = (Vec<i64>, Vec<usize>)> {
        (proptest::collection::vec(2_usize..6, 1..6)).prop_flat_map(|sights| {
            let n_readings: usize = sights.iter().sum();
            let mut moved: Vec<usize> = sights
                .iter()
                .scan(0, |so_far, n_sights| {
                    *so_far += n_sights;
                    Some(*so_far)
                })
                .collect();
            moved.pop();
            (proptest::collection::vec(0_i64..50_000, n_readings), Just(moved))
        })
    }

    fn tenths(value: i64) -> ExactLength {
        ExactLength::nm(value * 100_000)
    }

    proptest! {
        /// Whatever is written in a book, it is reduced with its checks holding, or refused with
        /// the rows named.
        #[test]
        fn any_book_is_reduced_or_refused(
            sights in proptest::collection::vec((any_sight(), any_sight(), any_sight()), 0..6),
            start in any::<i64>(),
            written in any::<i64>(),
        ) {
            let rows = sights.into_iter().map(|(back, intermediate, fore)| BookRow {
                back,
                intermediate,
                fore,
                written: floorwright_engine::survey::Written {
                    level: Some(ExactLength::nm(written)),
                    step: None,
                },
                ..BookRow::empty("P")
            });
            let book = LevelBook {
                start: ExactLength::nm(start),
                known_close: Some(ExactLength::nm(written)),
                rows: rows.collect(),
            };
            match reduce_book(&book) {
                Ok(reduced) => prop_assert!(reduced.checks.iter().all(|check| check.holds())),
                Err(faults) => prop_assert!(!faults.is_empty()),
            }
        }

        /// Last level = first + sum of BS - sum of FS, worked out from the list alone; the three
        /// checks hold, and rise and fall gives the same levels step by step.
        #[test]
        fn both_reductions_equal_the_closed_form((list, moved) in plain_list(), start in -9_000_i64..9_000) {
            let readings: Vec<_> = list.iter().map(|&value| tenths(value)).collect();
            let book = book_from_list(tenths(start), &readings, &moved).unwrap();
            let reduced = reduce_book(&book).unwrap();
            let is_back = |idx: usize| idx == 0 || moved.contains(&idx);
            let is_fore = |idx: usize| idx + 1 == list.len() || moved.contains(&(idx + 1));
            let rise: i64 = list
                .iter()
                .enumerate()
                .map(|(idx, &value)| value * (i64::from(is_back(idx)) - i64::from(is_fore(idx))))
                .sum();
            prop_assert_eq!(reduced.rows.last().unwrap().level, tenths(start + rise));
            prop_assert!(reduced.checks.iter().all(|check| check.holds()));
            let mut level = book.start;
            for row in &reduced.rows {
                level += row.step.unwrap_or_default();
                prop_assert_eq!(row.level, level);
            }
        }

        /// A slip in one written level is named at its own row, wherever it is.
        #[test]
        fn a_slip_is_named_where_it_was_made((list, moved) in plain_list(), at in any::<prop::sample::Index>(), by in 1_i64..1000) {
            let readings: Vec<_> = list.iter().map(|&value| tenths(value)).collect();
            let mut book = book_from_list(tenths(0), &readings, &moved).unwrap();
            let reduced = reduce_book(&book).unwrap();
            let slipped = 1 + at.index(book.rows.len() - 1);
            // The builder goes on from the slipped level where the row is a change point.
            let mut line = ExactLength::ZERO;
            for (row_idx, row) in book.rows.iter_mut().enumerate() {
                let mut level = row.fore.or(row.intermediate).map_or(ExactLength::ZERO, |sight| line - sight.value);
                if row_idx == slipped {
                    level += tenths(by);
                }
                row.written.level = Some(level);
                if let Some(back) = row.back {
                    line = level + back.value;
                }
            }
            let written = reduce_book(&book).unwrap().written.unwrap();
            prop_assert_eq!(written.slips.len(), 1);
            prop_assert_eq!(written.slips[0].row, slipped + 1);
            prop_assert!(!written.checks.iter().all(|check| check.holds()));
            prop_assert_eq!(reduced.rows.len(), book.rows.len());
        }

        /// Spreading closes the book on its known height, and a point never moves more than the
        /// whole misclosure.
        #[test]
        fn a_spread_closes_the_book((list, moved) in plain_list(), miss in -200_i64..200) {
            let readings: Vec<_> = list.iter().map(|&value| tenths(value)).collect();
            let mut book = book_from_list(tenths(0), &readings, &moved).unwrap();
            let last = reduce_book(&book).unwrap().rows.last().unwrap().level;
            let known = last - tenths(miss);
            book.known_close = Some(known);
            for (row_idx, row) in book.rows.iter_mut().enumerate() {
                row.distance = Some(Length::m(row_idx as f64 * 7.5));
            }
            let reduced = reduce_book(&book).unwrap();
            let misclosure = reduced.misclosure.unwrap().to_length();
            let verdict = judge_misclosure(misclosure, &house_rule(), reduced.setups.len(), None).unwrap();
            for by in [SpreadBy::Setups, SpreadBy::Distance] {
                let rows = spread_misclosure(&reduced, &verdict, by, BeyondLimit::Accept).unwrap();
                let end = rows.last().unwrap().level.to_mm();
                prop_assert!((end - known.to_mm()).abs() < 1e-9);
                prop_assert!(rows.iter().all(|row| row.correction.abs() <= misclosure.abs() + Length::mm(1e-9)));
            }
        }
    }
}
