//! The criteria that come with the program, and the worked figures of `data/practice`.

use floorwright_engine::settings::Limits;
use floorwright_engine::site::Finish;
use floorwright_engine::source::SourceStatus;
use floorwright_engine::units::{Length, round_to};
use floorwright_engine::verdict::{
    Criterion, CriterionFault, CriterionKind, FNumber, Measure, Scope, combine_f_numbers, flatness,
    levelness,
};
use floorwright_job::practice::{
    Over, PracticeFault, Region, build_ups, criteria, damage_limits, defaults_for, finish_limits,
    frame_rules, grade, grades, live_loads, read_criteria,
};
use toml::{Table, Value};

fn table(text: &str) -> Table {
    text.parse().expect("the data is TOML")
}

fn shipped() -> Table {
    table(include_str!("../data/practice/criteria.toml"))
}

fn derived() -> Table {
    table(include_str!("data/practice/derived.toml"))
}

fn number(value: &Value) -> f64 {
    value.as_float().or_else(|| value.as_integer().map(|whole| whole as f64)).unwrap()
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(number).collect()
}

fn named(id: &str) -> Criterion {
    let found = criteria().into_iter().find(|criterion| criterion.text().id == id);
    found.unwrap_or_else(|| panic!("no criterion {id}"))
}

#[test]
fn every_rule_on_file_becomes_a_criterion_with_its_own_words() {
    let all = criteria();
    for rule in shipped()["rule"].as_array().unwrap() {
        let id = rule["id"].as_str().unwrap();
        let of_rule: Vec<&Criterion> = all
            .iter()
            .filter(|criterion| {
                let classes = rule["measure"].as_str() == Some("f_numbers");
                criterion.text().id == id || classes && criterion.text().id.starts_with(id)
            })
            .collect();
        let expected = rule.get("ff").map_or(1, |classes| classes.as_array().unwrap().len());
        assert_eq!(of_rule.len(), expected, "{id}");
        for criterion in of_rule {
            assert_eq!(criterion.text().source, rule["source"].as_str().unwrap(), "{id}");
            assert_eq!(
                criterion.text().clause.as_deref(),
                rule.get("clause").and_then(Value::as_str)
            );
            let enabled = rule["enabled"].as_bool().unwrap();
            assert_eq!(criterion.is_on(), enabled, "{id}");
        }
    }
    let tables = all.iter().filter(|criterion| criterion.text().id.starts_with("din18202")).count();
    assert_eq!(tables, 5);
}

#[test]
fn unverified_criteria_are_off_until_somebody_gives_a_source() {
    let mut n_unverified = 0;
    for mut criterion in criteria() {
        if criterion.text().status == SourceStatus::Memory {
            n_unverified += 1;
            assert!(!criterion.is_on(), "{}", criterion.text().id);
            assert!(criterion.turn_on("  ").is_err());
            assert!(!criterion.is_on());
            criterion.turn_on("read in the guide at the library").unwrap();
            assert!(criterion.is_on());
        }
    }
    assert!(n_unverified > 0);
    for limit in damage_limits() {
        assert_eq!(limit.enabled, limit.status != SourceStatus::Memory, "{}", limit.id);
    }
}

#[test]
fn an_unverified_criterion_cannot_be_switched_on_by_its_own_file() {
    let text =
        include_str!("../data/practice/criteria.toml").replace("enabled = false", "enabled = true");
    for criterion in read_criteria(&text).unwrap() {
        assert_eq!(criterion.is_on(), criterion.text().status != SourceStatus::Memory);
    }
}

#[test]
fn measures_carry_the_numbers_of_the_file() {
    let check = |id: &str, expected: Measure, scope: Scope| {
        let criterion = named(id);
        assert_eq!((criterion.measure(), criterion.scope()), (&expected, scope), "{id}");
    };
    let mm = Length::mm;
    check("au-vic-new-room", Measure::Spread { limit: mm(10.0), up_to: None }, Scope::Room);
    check("au-vic-new-2m", Measure::DiffInBase { limit: mm(4.0), base: mm(2000.0) }, Scope::Floor);
    check(
        "uk-nhbc-level",
        Measure::DiffBySpan { per_length: 0.003, span_max: mm(6000.0), cap: mm(20.0) },
        Scope::Room,
    );
    check(
        "uk-bs8204-sr2",
        Measure::StraightedgeGap { limit: mm(5.0), base: mm(2000.0) },
        Scope::Room,
    );
    check(
        "nz-mbie-table23-c-relevel",
        Measure::Spread { limit: mm(50.0), up_to: Some(mm(150.0)) },
        Scope::Floor,
    );
    assert!(named("nz-mbie-table23-a-rebuild").not_measured().unwrap().contains("20 mm"));
    for (id, stated) in [("nz-mbie-slope", true), ("nz-mbie-new-slope", false)] {
        let Measure::SlopePairs { limit, min_apart } = *named(id).measure() else { panic!("{id}") };
        assert_eq!((limit, min_apart.stated), (0.005, stated));
    }
    let Measure::GapByDistance { table } = named("din18202-table3-row3").measure().clone() else {
        panic!("a table");
    };
    assert_eq!(table.len(), 13);
    assert_eq!(table[8], (Length::m(4.0), mm(10.0)));
    for id in ["nz-concrete-pile-13", "nz-member-level", "nz-deflection-300", "uk-bs8204-datum"] {
        assert!(matches!(named(id).measure(), Measure::NotFromLevels { .. }), "{id}");
    }
}

#[test]
fn criteria_that_disagree_name_one_another() {
    for criterion in criteria() {
        if let Some(other) = &criterion.text().disagrees_with {
            assert_eq!(named(other).text().disagrees_with.as_ref(), Some(&criterion.text().id));
        }
    }
}

#[test]
fn each_region_is_offered_its_own() {
    for (region, country, expected) in
        [(Region::Au, "AU", 3), (Region::Nz, "NZ", 2), (Region::Us, "US", 3), (Region::Uk, "UK", 2)]
    {
        let offered = defaults_for(region);
        assert_eq!(offered.len(), expected, "{country}");
        for criterion in offered {
            assert!(criterion.is_on());
            assert!(criterion.text().jurisdiction.as_ref().unwrap().starts_with(country));
            assert!(!matches!(criterion.measure(), Measure::NotFromLevels { .. }));
        }
    }
}

fn faults(rule: &str) -> Vec<PracticeFault> {
    let text = format!(
        "schema = \"floorwright-criteria/1\"\n[[rule]]\nid = \"x\"\ntitle = \"t\"\nkind = \"indicator\"\nstatus = \"confirmed\"\nsource = \"s\"\nenabled = true\n{rule}"
    );
    read_criteria(&text).unwrap_err()
}

#[test]
fn a_limit_without_its_base_or_scope_is_refused() {
    let missing = |rule: &str, key: &str| {
        let found = faults(rule);
        assert!(
            matches!(found.as_slice(), [PracticeFault::Missing { key: got, .. }] if *got == key),
            "{found:?}"
        );
    };
    missing("measure = \"diff_in_base\"\nlimit_mm = 4", "base_mm");
    missing("measure = \"straightedge_gap\"\nlimit_mm = 4", "base_mm");
    missing("measure = \"diff_by_span\"\nper_m_mm = 3\ncap_mm = 20", "span_max_mm");
    missing("measure = \"slope_pairs\"", "limit");
    let no_scope = PracticeFault::Refused(CriterionFault::NoScope("x".to_owned()));
    assert_eq!(faults("measure = \"spread\"\nlimit_mm = 4"), [no_scope]);
    for limit in ["-4", "0", "nan", "inf"] {
        let rule = format!("measure = \"spread\"\nscope = \"room\"\nlimit_mm = {limit}");
        let bad_limit = PracticeFault::Refused(CriterionFault::Limit("x".to_owned()));
        assert_eq!(faults(&rule), [bad_limit], "{limit}");
    }
    assert!(matches!(faults("measure = \"spread\"\nlimt_mm = 4")[0], PracticeFault::Form(_)));
    assert!(matches!(faults("measure = \"guess\"")[0], PracticeFault::Form(_)));
}

/// Spacing over the limit, rounded as the table is. Source: the damage limits on file, (derived).
#[test]
fn differential_between_neighbours() {
    let expected = &derived()["differential_per_pass"];
    let step = number(&expected["rounded_to_mm"]);
    let limits = damage_limits();
    for one_in in [150.0, 200.0, 300.0, 500.0, 750.0] {
        let limit = limits
            .iter()
            .find(|limit| (limit.distortion * one_in - 1.0).abs() < 1e-12)
            .unwrap_or_else(|| panic!("no limit of 1 in {one_in}"));
        let row = numbers(&expected[format!("one_in_{one_in}").as_str()]);
        for (spacing, expected) in numbers(&expected["spacing_m"]).into_iter().zip(row) {
            let differential = limit.differential(Length::m(spacing)).to_mm();
            assert!((round_to(differential, step) - expected).abs() < 1e-9, "{one_in} {spacing}");
        }
    }
}

/// The other derived figures are products of the numbers beside them and of published stresses:
/// C16 2.2, C24 2.5 MPa (EN 338:2016), 625 and 500 psi.
#[test]
fn derived_figures_are_the_products_they_say() {
    const NEWTON_PER_POUND: f64 = 4.448_221_615_260_5;
    const MPA_PER_PSI: f64 = NEWTON_PER_POUND / (25.4 * 25.4);
    let derived = derived();
    let close = |got: f64, expected: &Value, within: f64| {
        assert!((got - number(expected)).abs() <= within, "{got} {expected}");
    };
    let stump = &derived["interior_stump"];
    let area = number(&stump["width_m"]) * number(&stump["length_m"]);
    let (dead, live) = (number(&stump["dead_kpa"]), number(&stump["live_kpa"]));
    close(area * (dead + live), &stump["full_kn"], 1e-9);
    close(area * (dead + 0.4 * live), &stump["dead_plus_04_live_kn"], 1e-9);
    let crib = &derived["crib_check"];
    for (idx, side) in numbers(&crib["side_in"]).into_iter().enumerate() {
        let pounds = number(&crib["contacts"]) * side * side * number(&crib["bearing_psi"]);
        close(pounds, &crib["capacity_lb"][idx], 1e-9);
        close(pounds * NEWTON_PER_POUND / 1000.0, &crib["capacity_kn"][idx], 0.005);
    }
    let bearing = &derived["bearing_75x100"];
    let kilonewtons = |mpa: f64| 75.0 * 100.0 * mpa / 1000.0;
    close(kilonewtons(2.2 * 0.8 / 1.3), &bearing["c16_kn"], 5e-4);
    close(kilonewtons(2.5 * 0.8 / 1.3), &bearing["c24_kn"], 5e-4);
    close(kilonewtons(625.0 * MPA_PER_PSI), &bearing["nds_kn"], 5e-4);
    close(kilonewtons(500.0 * MPA_PER_PSI), &bearing["psi500_kn"], 5e-4);
}

/// Invented readings with answers worked out by definition; the constants are from memory.
#[test]
fn f_numbers_of_the_worked_example() {
    let example = table(include_str!("data/practice/f_numbers.toml"));
    let value = |number: FNumber| match number {
        FNumber::Value(value) => value,
        FNumber::Unbounded => panic!("a number"),
    };
    let line = &example["line"];
    let heights: Vec<Length> =
        numbers(&line["heights_in"]).into_iter().map(Length::inches).collect();
    let ff = value(flatness(&heights).unwrap());
    let fl = value(levelness(&heights).unwrap());
    assert!((ff - number(&line["ff"])).abs() <= number(&line["tolerance_ff"]), "{ff}");
    assert!((fl - number(&line["fl"])).abs() <= number(&line["tolerance_fl"]), "{fl}");
    assert!(flatness(&heights[..11]).is_err(), "a line of 11 readings");

    let combine = &example["combine"];
    let sample =
        |f: &str, r: &str| (FNumber::Value(number(&combine[f])), number(&combine[r]) as usize);
    let combined = value(combine_f_numbers(sample("f_j", "r_j"), sample("f_k", "r_k")));
    assert!((combined - number(&combine["f_combined"])).abs() <= number(&combine["tolerance"]));

    let plane = &example["plane_fall"];
    for (one_in, expected) in numbers(&plane["one_in"]).into_iter().zip(numbers(&plane["fl"])) {
        let fall: Vec<Length> =
            (0..24).map(|foot| Length::inches(f64::from(foot) * 12.0 / one_in)).collect();
        assert!((value(levelness(&fall).unwrap()) - expected).abs() < 5e-5, "1 in {one_in}");
        assert_eq!(flatness(&fall).unwrap(), FNumber::Unbounded);
    }
}

#[test]
fn kinds_come_through() {
    assert_eq!(named("nz-mbie-slope").kind(), CriterionKind::Indicator);
    assert_eq!(named("us-nwfa-glued").kind(), CriterionKind::CoveringRule);
    assert_eq!(named("uk-nhbc-flat").kind(), CriterionKind::NewBuildRule);
    assert_eq!(named("din18202-table2").kind(), CriterionKind::FlatnessTest);
}

#[test]
fn every_timber_weight_and_rule_says_its_status_and_source() {
    let files = [
        include_str!("../data/practice/timber.toml"),
        include_str!("../data/practice/loads.toml"),
        include_str!("../data/practice/frame.toml"),
    ];
    let mut n_rows = 0;
    for (list, rows) in files.iter().flat_map(|text| table(text)) {
        // A build-up is as certain as its parts; the program says so where it is used.
        for row in rows.as_array().filter(|_| list != "build_up").into_iter().flatten() {
            for key in ["status", "source"] {
                let text = row[key].as_str().unwrap_or_default();
                assert!(text.len() > 4, "{list}: {row}");
            }
            let [status, source] = ["status", "source"].map(|key| row[key].as_str().unwrap());
            assert_eq!(status == "memory", source.starts_with("from memory, verify"), "{row}");
            assert_eq!(status == "trade", source.starts_with("common practice"), "{row}");
            n_rows += 1;
        }
    }
    assert!(n_rows > 30, "{n_rows}");
    for grade in grades() {
        let remembered = grade.density_status == SourceStatus::Memory;
        let density = grade.timber.source.split("; density ").nth(1).unwrap();
        assert_eq!(density.contains("kg/m3: from memory, verify"), remembered, "{density}");
        assert!(grade.timber.strength.is_some() && grade.timber.status == SourceStatus::Confirmed);
    }
}

#[test]
fn a_grade_is_found_by_each_of_its_names_and_no_two_share_one() {
    for known in grades() {
        for name in std::iter::once(&known.timber.name).chain(&known.also) {
            let called: Vec<&str> = (grades().iter())
                .filter(|other| other.is_called(name))
                .map(|other| other.timber.name.as_str())
                .collect();
            assert_eq!(called, [known.timber.name.as_str()], "{name}");
        }
    }
    assert_eq!(grade("dfl no2").map(|found| found.timber.name.as_str()), Some("DF-L No. 2"));
    assert!(grade("SG8").is_none() && grade("").is_none());
}

/// NDS 2018 prints psi; the N/mm2 on file are those numbers converted and rounded.
#[test]
fn stresses_in_psi_are_converted_as_they_say() {
    let timber = &grade("DF-L No. 2").unwrap().timber;
    let psi = |number: f64| number * 4.448_221_615_260_5 / (25.4 * 25.4);
    let strength = timber.strength.unwrap();
    let pairs = [
        (strength.bending, 900.0, 0.01),
        (strength.shear, 180.0, 0.01),
        (strength.across_grain.unwrap(), 625.0, 0.01),
        (timber.stiffness, 1_600_000.0, 1.0),
    ];
    for (found, printed, step) in pairs {
        let found = found.to_n_per_mm2();
        assert!((round_to(psi(printed), step) - found).abs() < 1e-9, "{printed}: {found}");
    }
}

#[test]
fn build_ups_are_the_sum_of_their_parts_and_as_certain_as_the_least() {
    let loads = table(include_str!("../data/practice/loads.toml"));
    let weight = |id: &Value| {
        let weights = loads["weight"].as_array().unwrap();
        weights.iter().find(|weight| weight["id"] == *id).unwrap()
    };
    for (row, known) in loads["build_up"].as_array().unwrap().iter().zip(build_ups()) {
        let parts = row["parts"].as_array().unwrap();
        let sum: f64 = parts.iter().map(|part| number(&weight(part)["kpa"])).sum();
        assert!((known.load.to_kpa() - sum).abs() < 1e-12, "{}", known.id);
        let any_trade = parts.iter().any(|part| weight(part)["status"].as_str() == Some("trade"));
        assert_eq!(known.status == SourceStatus::Trade, any_trade, "{}", known.id);
        assert_eq!(known.source.matches(" kPa (").count(), parts.len(), "{}", known.source);
    }
    let brick = build_ups().iter().find(|known| known.id == "brick-leaf").unwrap();
    assert_eq!((brick.status, brick.over), (SourceStatus::Confirmed, Over::Height));
    for live in live_loads() {
        let is_code = live.body.starts_with("IRC");
        assert_eq!(live.status == SourceStatus::Memory, !is_code, "{}", live.id);
    }
}

#[test]
fn what_each_region_takes_for_a_frame() {
    let check = |region, timber: &str, outer: f64, inner: f64, live: f64| {
        let rules = frame_rules(region);
        assert_eq!(rules.bearer_timber.name, timber);
        assert_eq!(rules.joist_timber.name, timber);
        let within = |found: f64, expected: f64| (found - expected).abs() < 5e-4;
        assert!(within(rules.outer_wall.to_kn_per_m(), outer), "{:?}", rules.outer_wall);
        assert!(within(rules.inner_wall.to_kn_per_m(), inner), "{:?}", rules.inner_wall);
        assert!(within(rules.floor_load.dead.to_kpa(), 0.5));
        assert!(within(rules.floor_load.live.to_kpa(), live));
        assert!(
            rules.bearer.breadth <= rules.bearer.depth && rules.joist.breadth < rules.joist.depth
        );
        assert_eq!(rules.row_width, Length::mm(150.0));
        assert_eq!(rules.longest_span, Length::m(3.6));
        assert_eq!(rules.longest_overhang, Length::mm(600.0));
        assert_eq!((rules.load_doubt, rules.set_share), (0.25, (0.0, 1.0)));
        assert!(rules.source.starts_with("common practice") && rules.source.contains("assumed"));
        assert!(rules.floor_load.source.contains("common practice, no source"));
        let remembered = rules.floor_load.source.contains("from memory, verify (unverified)");
        assert_eq!(remembered, region != Region::Us);
    };
    // Heights and widths times the weights on file, by hand: 2.7 x 0.32 + 3.0 x 0.28; 2.7 x 0.26;
    // 2.4384 x 0.32 + 3.048 x 0.80; 2.4384 x 0.26; 2.4 x 0.70.
    check(Region::Au, "F4, seasoned", 1.704, 0.702, 1.5);
    check(Region::Nz, "SG8, wet", 1.704, 0.702, 1.5);
    check(Region::Us, "DF-L No. 2", 3.2187, 0.634, 1.92);
    check(Region::Uk, "C16", 1.68, 1.68, 1.5);
}

#[test]
fn each_finish_has_its_limit_of_distortion() {
    let found: Vec<(Finish, f64, SourceStatus)> = (finish_limits().into_iter())
        .map(|one| (one.finish, (1.0 / one.limit.distortion).round(), one.limit.status))
        .collect();
    let second_hand = SourceStatus::SecondHand;
    assert_eq!(
        found,
        [
            (Finish::Tiles, 500.0, second_hand),
            (Finish::Plaster, 300.0, second_hand),
            (Finish::Boards, 300.0, second_hand),
        ]
    );
    let boards = finish_limits()[2].limit.distortion;
    assert_eq!(boards, Limits::default().distortion.value);
    for limit in finish_limits() {
        assert!(limit.reason().contains("an analogy for jacking"), "{}", limit.reason());
    }
}
