//! The hose against `data/hose`: each file says where its values come from.

use floorwright_engine::hose::{
    Column, Fluid, Glycol, Regime, Reservoir, Run, bubble_never_rises_below, capillary_length,
    closed_end_shows, critical_length, expansion, far_surface_higher, jurin_rise,
    level_of_pressure, meniscus_rise, not_shown, siphoned, slug_holds, spill_lowers,
    straight_sight_rises, surface_tension, warm_leg_higher, warming_of_closed_air, water_density,
    water_viscosity, wind_pressure,
};
use floorwright_engine::units::{
    Angle, Area, Density, Length, Pressure, Seconds, SurfaceTension, Temperature, Viscosity, Volume,
};
use std::path::Path;
use toml::{Table, Value};

#[expect(clippy::disallowed_methods, reason = "the published tables are files")]
pub fn read(name: &str) -> Table {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/hose").join(name);
    std::fs::read_to_string(path).expect("the file is there").parse().expect("it is TOML")
}

pub fn number(value: &Value, key: &str) -> f64 {
    as_number(value.get(key).unwrap_or_else(|| panic!("no {key} in {value}")))
}

fn as_number(value: &Value) -> f64 {
    value.as_float().or(value.as_integer().map(|whole| whole as f64)).expect("a number")
}

pub fn blocks(table: &Table, key: &str) -> Vec<Value> {
    let found = table[key].as_array().expect("a list of tables").clone();
    assert!(!found.is_empty(), "{key}");
    found
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().expect("a list").iter().map(as_number).collect()
}

#[track_caller]
fn near(got: f64, expected: f64, tolerance: f64) {
    assert!((got - expected).abs() <= tolerance + 1e-12, "{got} is not {expected} ± {tolerance}");
}

fn celsius(t: f64) -> Temperature {
    Temperature::celsius(t)
}

/// Tanaka et al., Metrologia 38, 2001 (coefficients from memory, verify), kg/m3: a second formula to
/// hold the engine's against.
fn density_by_a_second_formula(t: f64) -> f64 {
    let off = t - 3.983_035;
    999.974_950 * (1.0 - off * off * (t + 301.797) / (522_528.9 * (t + 69.348_81)))
}

#[test]
fn density_viscosity_and_tension_of_water() {
    let file = read("density.toml");
    let tolerance = |name: &str| as_number(&file[name]);
    let points = blocks(&file, "point");
    for point in &points {
        // The row of 0 C holds viscosity just above the triple point.
        let warm_enough = celsius(number(point, "t_c").max(0.01));
        let viscosity = water_viscosity(warm_enough).unwrap();
        let t = celsius(number(point, "t_c"));
        let density = water_density(t).unwrap().to_kg_per_m3();
        near(density, number(point, "kell"), tolerance("tolerance_kell"));
        near(density, number(point, "iapws95"), tolerance("tolerance_kell_vs_iapws95"));
        let second = density_by_a_second_formula(t.to_celsius());
        near(second, number(point, "tanaka"), tolerance("tolerance_tanaka"));
        // It is stated for 0 to 40 C, where both agree as the first does with the computed values.
        if t.to_celsius() <= 40.0 {
            near(density, second, tolerance("tolerance_kell_vs_iapws95"));
        }
        let wrong = number(point, "kell_with_misprint");
        assert!(t.to_celsius() == 0.0 || (density - wrong).abs() > 0.03, "the misprint came out");
        let mu = viscosity.to_mm2_per_s() * density * 1e-3;
        near(mu, number(point, "mu_mpas"), tolerance("tolerance_mu_mpas"));
        near(viscosity.to_mm2_per_s(), number(point, "nu_mm2_s"), 0.0005);
        let sigma = surface_tension(t).unwrap().to_n_per_m() * 1e3;
        near(sigma, number(point, "sigma_mn_m"), tolerance("tolerance_sigma_mn_m"));
        // Kell's slope against that of IAPWS-95; the file gives no tolerance, 1 % of the value at
        // 40 C is ours.
        let beta = expansion(t).unwrap() * 1e6;
        near(beta, number(point, "beta_1e6_per_k"), 4.0);
    }
    assert_eq!(points.len(), 13);
    let at_most = number(&file["maximum"], "kell");
    let best = (0..2000).map(|step| 3.0 + f64::from(step) * 1e-3);
    let density = |t: f64| water_density(celsius(t)).unwrap().to_kg_per_m3();
    let best = best.max_by(|a, b| density(*a).total_cmp(&density(*b))).unwrap();
    near(best, number(&file["maximum"], "t_c"), 0.0011);
    near(density(best), at_most, number(&file["maximum"], "tolerance"));
    near(density(16.0), number(&file["absolute_determination"], "rho"), 0.005);
    assert!(water_density(celsius(-0.1)).is_err() && water_density(celsius(f64::NAN)).is_err());
    let file = read("capillary.toml");
    let tension = surface_tension(celsius(26.85)).unwrap().to_n_per_m();
    near(tension, number(&file["sigma_300k"], "n_m"), number(&file["sigma_300k"], "tolerance"));
}

#[test]
fn unequal_legs() {
    let file = read("thermal.toml");
    let tolerance = as_number(&file["tolerance_mm"]);
    for case in blocks(&file, "case") {
        let t = |key| celsius(number(&case, key));
        let leg = Length::m(number(&case, "leg_m"));
        let higher = warm_leg_higher(leg, t("cold_c"), t("warm_c"), Fluid::Water).unwrap();
        near(higher.to_mm(), number(&case, "warm_leg_higher_mm"), tolerance);
    }
    let walk = &file["walk"];
    let t = |key| celsius(number(walk, key));
    let leg = Length::m(number(walk, "leg_a_m"));
    let runs = [
        Run { rise: -leg, temperature: t("t_a_c") },
        Run { rise: Length::ZERO, temperature: t("flat_run_t_c") },
    ];
    let higher = far_surface_higher(&runs, t("t_b_c"), Fluid::Water).unwrap();
    near(higher.to_mm(), number(walk, "b_higher_mm"), number(walk, "tolerance_mm"));
}

fn column_of(case: &Value) -> Column {
    Column::new(
        Length::m(number(case, "bore_m")),
        Length::m(number(case, "wet_length_m")),
        Viscosity::mm2_per_s(number(case, "nu_m2_s") * 1e6),
        number(case, "eps"),
    )
    .unwrap()
}

/// The last time at which the plain equation passes the tolerance, by halving.
fn last_passing(column: Column, start: Length, tolerance: Length) -> f64 {
    let outside = |t: f64| column.displacement(start, Seconds::new(t)).abs() > tolerance;
    let step = 1e-3;
    let before = (0..400_000).rev().map(|n| f64::from(n) * step).find(|&t| outside(t)).unwrap();
    let (mut low, mut high) = (before, before + step);
    for _ in 0..40 {
        let middle = f64::midpoint(low, high);
        if outside(middle) { low = middle } else { high = middle }
    }
    low
}

#[test]
fn waits() {
    let file = read("wait.toml");
    for case in blocks(&file, "case") {
        let column = column_of(&case);
        let start = Length::m(number(&case, "start_m"));
        let tolerance = Length::m(number(&case, "tol_m"));
        near(column.damping_ratio(), number(&case, "zeta"), 1e-5);
        near(column.undamped_period().to_seconds(), number(&case, "undamped_period_s"), 0.0006);
        let plain = last_passing(column, start, tolerance);
        near(plain, number(&case, "plain_s"), as_number(&file["tolerance_plain_s"]));
        let wait = column.wait_before_margin(start, tolerance).to_seconds();
        let expected = number(&case, "wait_before_margin_s");
        near(wait, expected, as_number(&file["tolerance_wait_s"]));
        let shown = column.wait(start, tolerance).to_seconds();
        near(shown, (expected * 1.1).max(20.0), 0.03);
        assert!(shown >= number(&case, "exact_s"), "too short: {case}");
        let regime = match case["regime"].as_str().unwrap() {
            "swings" => Regime::Swings,
            "creeps" => Regime::Creeps,
            _ => Regime::NearCritical,
        };
        assert_eq!(column.regime(), regime, "{case}");
        if let Some(period) = column.swing_period() {
            // The period of the slowest root; 10 % is what a closed form with one inertia keeps.
            let exact = std::f64::consts::TAU / number(&case, "root_im");
            if column.damping_ratio() < 0.7 {
                near(period.to_seconds(), exact, 0.1 * exact);
            }
        }
    }
    let one = &file["displacement"];
    let column =
        Column::new(Length::mm(8.0), Length::m(20.0), Viscosity::mm2_per_s(1.0034), 0.0016)
            .unwrap();
    let x = column.displacement(Length::mm(100.0), Seconds::new(number(one, "t_s")));
    near(x.to_mm(), number(one, "x_mm"), number(one, "tolerance_mm"));
    for case in blocks(&file, "overshoot") {
        let bore = Length::m(number(&case, "bore_m"));
        let eps = (bore / Length::mm(200.0)).powi(2);
        let length = Length::m(number(&case, "wet_length_m"));
        let column = Column::new(bore, length, Viscosity::mm2_per_s(1.0034), eps).unwrap();
        near(column.overshoot(), number(&case, "fraction"), number(&case, "tolerance"));
    }
    for case in blocks(&file, "critical") {
        let bore = Length::m(number(&case, "bore_m"));
        let length = critical_length(bore, Viscosity::mm2_per_s(1.0034));
        near(length.to_m(), number(&case, "length_m"), number(&case, "tolerance_m"));
    }
    // A U-tube of 0.40 m is shorter than any hose here, so one of 4 m is scaled down; the book has
    // g = 9.80.
    let tube = &file["u_tube"];
    let column =
        Column::new(Length::mm(10.0), Length::m(4.0), Viscosity::mm2_per_s(1.0), 1.0).unwrap();
    let scaled = (number(tube, "length_m") / 4.0 * 9.80665 / number(tube, "g")).sqrt();
    let period = column.undamped_period().to_seconds() * scaled;
    near(period, number(tube, "period_s"), number(tube, "tolerance_s"));
}

#[test]
fn reservoirs() {
    let file = read("scale.toml");
    let pail = |mm: f64| Reservoir::Pail { area: Area::of_circle(Length::mm(mm)) };
    for case in blocks(&file, "case") {
        let factor =
            pail(number(&case, "reservoir_mm")).factor(Length::mm(number(&case, "bore_mm")));
        near(factor, number(&case, "factor"), as_number(&file["tolerance"]));
        let per_100 = not_shown(Length::mm(100.0), factor).to_mm();
        near(per_100, number(&case, "error_mm_per_100"), as_number(&file["tolerance_mm_per_100"]));
        near(per_100 / 100.0, number(&case, "error_of_true"), as_number(&file["tolerance"]));
    }
    let worked = &file["worked"];
    let factor = pail(number(worked, "reservoir_mm")).factor(Length::mm(number(worked, "bore_mm")));
    let truth = Length::mm(number(worked, "true_mm"));
    let rises = not_shown(truth, factor);
    near(rises.to_mm(), number(worked, "reservoir_rises_mm"), 0.0001);
    near((truth - rises).to_mm(), number(worked, "reading_falls_mm"), 0.0001);
    near((truth - rises).to_mm() * factor, number(worked, "corrected_mm"), 0.0001);
    let (twin, bore) = (&file["twin"], Length::mm(number(&file["twin"], "bore_mm")));
    near(Reservoir::TwinOneEnd.factor(bore), number(twin, "one_end_factor"), 0.0);
    near(Reservoir::TwinBothEnds.factor(bore), number(twin, "both_ends_factor"), 0.0);
    let siphon = &file["siphon"];
    let area = Area::of_circle(Length::mm(number(siphon, "reservoir_mm")));
    let litres = siphoned(area, Length::mm(number(siphon, "low_by_mm"))).to_litres();
    near(litres, number(siphon, "litres"), number(siphon, "tolerance"));
    let curvature = &file["curvature"];
    let rises = numbers(&curvature["c_mm"]);
    for (metres, rise) in numbers(&curvature["d_m"]).into_iter().zip(rises) {
        let found = straight_sight_rises(Length::mm(metres * 1000.0)).to_mm();
        near(found, rise, number(curvature, "tolerance_mm"));
    }
    let file = read("errors.toml");
    for (case, reservoir) in blocks(&file, "spill").iter().zip([
        Area::of_circle(Length::mm(200.0)),
        Reservoir::TwinBothEnds.free_area(Length::mm(8.0)),
        Reservoir::TwinBothEnds.free_area(Length::mm(12.0)),
    ]) {
        let lowers = spill_lowers(Volume::ml(1.0), reservoir).to_mm();
        near(lowers, number(case, "mm_per_ml"), number(case, "tolerance"));
    }
}

#[test]
fn menisci_and_stuck_air() {
    let file = read("capillary.toml");
    let (tension, density) = (SurfaceTension::n_per_m(0.072_736_1), Density::kg_per_m3(998.2041));
    let unit = capillary_length(tension, density).to_mm();
    near(unit, as_number(&file["capillary_length_mm"]), 0.0001);
    let cases = blocks(&file, "case");
    for case in &cases {
        let bore = Length::mm(number(case, "bore_mm"));
        let angle = Angle::degrees(number(case, "angle_deg"));
        let jurin = jurin_rise(bore, angle, tension, density).to_mm();
        near(jurin, number(case, "jurin_mm"), as_number(&file["tolerance_jurin_mm"]));
        let rise = meniscus_rise(bore, angle, tension, density).unwrap().to_mm();
        near(rise, number(case, "centre_mm"), as_number(&file["tolerance_centre_mm"]));
    }
    assert_eq!(cases.len(), 48);
    for case in blocks(&file, "published") {
        let bore = Length::mm(2.0 * number(&case, "radius_mm"));
        let tension = SurfaceTension::n_per_m(number(&case, "sigma"));
        let density = Density::kg_per_m3(number(&case, "rho"));
        let rise = jurin_rise(bore, Angle::degrees(0.0), tension, density).to_mm();
        near(rise, number(&case, "jurin_mm"), number(&case, "tolerance_mm"));
    }
    let unequal = &file["unequal"];
    let bores = numbers(&unequal["bores_mm"]);
    let angle = Angle::degrees(number(unequal, "angle_deg"));
    let rise = |bore: f64| meniscus_rise(Length::mm(bore), angle, tension, density).unwrap();
    let difference = (rise(bores[0]) - rise(bores[1])).to_mm();
    near(difference, number(unequal, "difference_mm"), number(unequal, "tolerance_mm"));
    for case in blocks(&file, "slug") {
        let bore = Length::mm(number(&case, "bore_mm"));
        let angle = |key| Angle::degrees(number(&case, key));
        let holds = slug_holds(bore, tension, angle("advancing_deg"), angle("receding_deg"));
        near(holds.to_pa(), number(&case, "pa"), 0.005);
        near(level_of_pressure(holds, density).to_mm(), number(&case, "level_mm"), 0.001);
    }
    let bore = bubble_never_rises_below(tension, density).to_mm();
    near(bore, number(&file["no_rise"], "bore_mm"), number(&file["no_rise"], "tolerance_mm"));
}

#[test]
fn air_pressure() {
    let file = read("pressure.toml");
    let density = water_density(celsius(20.0)).unwrap();
    let tolerance = as_number(&file["tolerance_mm"]);
    let level = |pa: f64| level_of_pressure(Pressure::pa(pa), density).to_mm();
    near(level(1.0), as_number(&file["mm_per_pa"]), tolerance);
    near(level(100.0), as_number(&file["mm_per_hpa"]), tolerance);
    for case in blocks(&file, "case") {
        near(level(number(&case, "pa")), number(&case, "mm"), tolerance);
    }
    for case in blocks(&file, "wind") {
        let pressure = wind_pressure(number(&case, "speed_m_s"));
        near(pressure.to_pa(), number(&case, "pa"), 0.005);
        near(level_of_pressure(pressure, density).to_mm(), number(&case, "mm"), tolerance);
    }
    for case in blocks(&file, "sealed") {
        let raised = Length::m(number(&case, "raised_m"));
        let shown = closed_end_shows(Length::m(number(&case, "air_m")), raised, density);
        near(shown.to_mm(), number(&case, "shown_mm"), tolerance);
        near((raised - shown).to_mm(), number(&case, "error_mm"), tolerance);
    }
    let warming = &file["sealed_warming"];
    let rise = warming_of_closed_air(celsius(20.0), celsius(21.0), density).to_mm();
    near(rise, number(warming, "mm"), number(warming, "tolerance_mm"));
}

fn mix(value: &Value, mass_share: f64) -> Fluid {
    let glycol = match value["glycol"].as_str().unwrap() {
        "propylene" => Glycol::Propylene,
        _ => Glycol::Ethylene,
    };
    Fluid::Mix { glycol, mass_share }
}

#[test]
fn glycol_mixes() {
    let file = read("glycol.toml");
    for row in blocks(&file, "mix") {
        let fluid = mix(&row, number(&row, "mass_fraction"));
        near(fluid.freezes().unwrap().to_celsius(), number(&row, "freezes_c"), 1e-9);
        let (rho, nu) = (numbers(&row["rho"]), numbers(&row["nu"]));
        for (idx, t) in numbers(&row["t_c"]).into_iter().enumerate() {
            let density = fluid.density(celsius(t)).unwrap().to_kg_per_m3();
            near(density, rho[idx], as_number(&file["tolerance_rho"]));
            let viscosity = fluid.viscosity(celsius(t)).unwrap().to_mm2_per_s();
            near(viscosity, nu[idx], as_number(&file["tolerance_nu"]));
        }
    }
    // Between the table's rows and columns, by the library that made the table.
    let between = read("between.toml");
    for point in blocks(&between, "mix") {
        let fluid = mix(&point, number(&point, "mass_fraction"));
        let t = celsius(number(&point, "t_c"));
        let density = fluid.density(t).unwrap().to_kg_per_m3();
        near(density, number(&point, "rho"), as_number(&between["tolerance_rho"]));
        let nu = number(&point, "nu");
        let share = as_number(&between["tolerance_nu_share"]);
        near(fluid.viscosity(t).unwrap().to_mm2_per_s(), nu, share * nu);
    }
    let pg = |mass_share| Fluid::Mix { glycol: Glycol::Propylene, mass_share };
    let eg = |mass_share| Fluid::Mix { glycol: Glycol::Ethylene, mass_share };
    let legs =
        [(Fluid::Water, pg(0.3)), (Fluid::Water, eg(0.3)), (pg(0.2), pg(0.3)), (pg(0.28), pg(0.3))];
    for (case, (light, heavy)) in blocks(&file, "unmixed").iter().zip(legs) {
        let density = |fluid: Fluid| fluid.density(celsius(20.0)).unwrap().to_kg_per_m3();
        let per_m = 1000.0 * (density(heavy) - density(light)) / density(light);
        near(per_m, number(case, "mm_per_m"), number(case, "tolerance"));
    }
    for (case, fluid) in blocks(&file, "thermal").iter().zip([pg(0.3), eg(0.3)]) {
        let leg = Length::m(1.0);
        let higher = warm_leg_higher(leg, celsius(15.0), celsius(25.0), fluid).unwrap().to_mm();
        near(higher / 10.0, number(case, "mm_per_m_k"), number(case, "tolerance"));
    }
    assert!(pg(0.6).density(celsius(20.0)).is_err());
    assert!(pg(0.3).viscosity(celsius(-5.0)).is_err());
}

#[test]
fn repeats_drift_and_budgets() {
    use floorwright_engine::hose::{
        Repeats, blended, drift_correction, repeats_of_pairs, reversal, upper_95_factor,
    };
    use floorwright_engine::survey::root_sum_of_squares;
    use floorwright_engine::units::Minutes;
    let file = read("errors.toml");
    let double = &file["double_readings"];
    let tolerance = number(double, "tolerance");
    let lengths =
        |value: &Value| -> Vec<Length> { numbers(value).into_iter().map(Length::mm).collect() };
    let repeats = repeats_of_pairs(&lengths(&double["differences_mm"])).unwrap();
    near(repeats.sd.to_mm(), number(double, "single_reading_sd_mm"), tolerance);
    let factor = upper_95_factor(repeats.spare).unwrap();
    near(factor, number(double, "upper_95_factor"), tolerance);
    near((repeats.sd * factor).to_mm(), number(double, "upper_95_mm"), tolerance);
    let pooled = &file["pooled"];
    let n = Repeats { spare: number(pooled, "n") as usize, sd: repeats.sd };
    let random = blended(Length::mm(number(pooled, "u0_mm")), n).to_mm();
    near(random, number(pooled, "u_random_mm"), number(pooled, "tolerance"));
    let both = &file["reversal"];
    let mm = |key| Length::mm(number(both, key));
    let (difference, index) = reversal(mm("d1_mm"), mm("d2_mm"));
    near(difference.to_mm(), number(both, "height_difference_mm"), 1e-9);
    near(index.to_mm(), number(both, "index_error_mm"), 1e-9);
    let drift = &file["drift"];
    let at = |key| Minutes::new(number(drift, key));
    let misclosure = Length::mm(number(drift, "misclosure_mm"));
    let correction = drift_correction(misclosure, at("t0_min"), at("t1_min"), at("t_min"));
    near(correction.to_mm(), number(drift, "correction_mm"), 1e-9);
    for budget in blocks(&file, "budget") {
        let sum = root_sum_of_squares(lengths(&budget["parts_mm"]));
        near(sum.to_mm(), number(&budget, "u_mm"), number(&budget, "tolerance"));
        let of_two = root_sum_of_squares([sum, sum]).to_mm();
        near(of_two, number(&budget, "difference_u_mm"), number(&budget, "tolerance"));
    }
    let lean = &file["lean"];
    for (degrees, expected) in numbers(&lean["deg"]).into_iter().zip(numbers(&lean["mm_per_m"])) {
        let long =
            floorwright_engine::hose::lean_reads_long(Length::m(1.0), Angle::degrees(degrees));
        near(long.to_mm(), expected, number(lean, "tolerance"));
    }
}

/// What is worked out for a hose of the usual kind comes to what is stated for a careful and for a
/// casual reading of one: parts and sum within a fifth (they are judgement on both sides).
#[test]
fn the_budget_of_a_usual_hose() {
    use floorwright_engine::hose::{Care, Hose, budget_of};
    let file = read("errors.toml");
    let names = [
        "scale and eye",
        "meniscus",
        "staff foot and lean",
        "warm and cold legs",
        "not yet at rest",
        "air pressure",
        "drift",
    ];
    let careful = Hose {
        care: Care::Careful,
        bore: Length::mm(8.0),
        leg: Length::m(0.7),
        read_to: Length::mm(0.5),
        settle_to: Length::mm(0.2),
        ..Hose::default()
    };
    let casual = Hose { bore: Length::mm(8.0), ..Hose::default() };
    for (hose, budget) in [careful, casual.clone()].iter().zip(blocks(&file, "budget")) {
        let found = budget_of(hose).unwrap();
        let expected = number(&budget, "u_mm");
        near(found.combined.to_mm(), expected, 0.1 * expected);
        for (name, part) in names.iter().zip(numbers(&budget["parts_mm"])) {
            let found = found.components.iter().find(|part| part.name == *name).unwrap();
            near(found.sd.to_mm(), part, 0.25 * part);
        }
    }
    let best = blocks(&file, "budget").pop().unwrap();
    near(budget_of(&casual).unwrap().at_best.to_mm(), number(&best, "u_mm"), 0.01);
}
