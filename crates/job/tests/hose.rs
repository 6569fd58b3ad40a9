//! The builder's own hose, doorways and obstacles in a job: what they come to, and every slip with
//! its place, value, limit and way out.

use floorwright_engine::hose::{Care, Fluid, Glycol, Reservoir};
use floorwright_engine::survey::ReadingSd;
use floorwright_engine::units::{Area, Length, Temperature};
use floorwright_job::{Loaded, SourceFile, load};

const HEAD: &str = "format = 1\n[job]\nterms = \"au\"\nunits = \"mm\"\n";

fn load_text(text: &str) -> Loaded {
    load(&SourceFile::new("job.toml", format!("{HEAD}{text}")), &mut |file| {
        Err(format!("no file {file}"))
    })
}

#[test]
fn a_hose_means_what_it_says() {
    let loaded = load_text(
        "[hose]\nbore = 8\nlength = \"25 m\"\nreservoir_size = [300, 200]\nfluid = \"propylene-glycol\"\n\
         glycol = \"30 %\"\ntemperature = 12\nleg_temperatures = [10, 14]\nleg = 900\nread_to = 0.5\n\
         care = \"careful\"\ncapped = true\nreads = [100, 1500]\nlargest_move = 60\nsettle_to = 0.2\n",
    );
    assert!(!loaded.faults.iter().any(|fault| fault.is_error()), "{:?}", loaded.faults);
    let input = loaded.job.unwrap().hose;
    let hose = &input.hose;
    assert!(input.given && input.assumed.is_empty(), "{:?}", input.assumed);
    assert_eq!(hose.reservoir, Reservoir::Pail { area: Area::mm2(60_000.0) });
    assert_eq!((hose.bore, hose.length), (Length::mm(8.0), Length::m(25.0)));
    assert_eq!(hose.fluid, Fluid::Mix { glycol: Glycol::Propylene, mass_share: 0.3 });
    let legs = (Temperature::celsius(10.0), Temperature::celsius(14.0));
    assert_eq!(hose.leg_temperatures, Some(legs));
    assert_eq!((hose.care, hose.capped), (Care::Careful, true));
    assert_eq!(hose.leg, Length::mm(900.0));
    assert!((hose.settle_to - Length::mm(0.2)).abs() < Length::mm(1e-9));
}

/// A setup that is read with the job's hose takes its scale; without a reading_sd it takes what the
/// budget and the setup's own repeats say, with one it keeps it.
#[test]
fn setups_are_read_with_the_hose_of_the_job() {
    let readings = "[{ point = \"BM\", reading = 1000 }, { point = \"A\", reading = 1010 }, \
                    { point = \"A\", reading = 1011 }, { point = \"BM\", reading = 1002 }]";
    let text = format!(
        "[hose]\nbore = 10\nreservoir = 200\ncare = \"careful\"\n\
         [[benchmark]]\npoint = \"BM\"\nlevel = 0\n[[point]]\nid = \"A\"\nat = [0, 0]\n\
         [[setup]]\nid = \"own\"\ninstrument = \"hose\"\nreadings = {readings}\n\
         [[setup]]\nid = \"stated\"\ninstrument = \"hose\"\nreading_sd = 0.7\nreadings = {readings}\n\
         [[setup]]\nid = \"other\"\ninstrument = \"hose\"\nreading_sd = 0.7\n\
         hose = {{ bore = 10, reservoir = 100 }}\nreadings = {readings}\n\
         [[setup]]\nid = \"level\"\ninstrument = \"level\"\nreading_sd = 0.7\nreadings = {readings}\n"
    );
    let job = load_text(&text).job.unwrap();
    let scales: Vec<f64> = job.survey.setups.iter().map(|setup| setup.scale).collect();
    for (got, expected) in scales.iter().zip([1.0025, 1.0025, 1.01, 1.0]) {
        assert!((got - expected).abs() < 1e-12, "{scales:?}");
    }
    let worth = job.hose.worth[0].worth.unwrap();
    // Two pairs, differences 1 and 2: s = sqrt((1 + 4) / 4).
    let repeats = worth.repeats.unwrap();
    assert_eq!(repeats.spare, 2);
    assert!((repeats.sd.to_mm() - 1.25_f64.sqrt()).abs() < 1e-12);
    assert!(worth.sd > worth.by_budget);
    assert_eq!(job.survey.setups[0].reading_sd, ReadingSd::Each(worth.sd));
    assert_eq!(job.survey.setups[1].reading_sd, ReadingSd::Each(Length::mm(0.7)));
    assert!(job.hose.worth[1].worth.is_none());
    assert_eq!(job.hose.worth.len(), 2);
}

/// By hand: both tubes hold the same water, so a floor that is higher by d moves its scale up by d and the water
/// down by d/2 on it, and up by d/2 on the standing one: moving less standing is -d.
#[test]
fn both_ends_of_a_twin_are_written_down() {
    let text = |kind: &str, rows: &str| {
        format!(
            "[hose]\nkind = \"{kind}\"\n[datum]\nzero = \"A\"\n[[point]]\nid = \"A\"\nat = [0, 0]\n\
             [[point]]\nid = \"B\"\nat = [1800, 0]\n[[setup]]\nid = \"S\"\ninstrument = \"hose\"\n\
             readings = {rows}\n"
        )
    };
    let rows = "[{ point = \"A\", reading = 500, standing = 500 }, \
                 { point = \"B\", reading = 495, standing = 505 }]";
    let job = load_text(&text("twin", rows)).job.unwrap();
    let setup = &job.survey.setups[0];
    assert_eq!(setup.scale, 1.0);
    let values: Vec<i64> = setup.readings.iter().map(|it| it.value.to_nm()).collect();
    // B is 10 mm higher: a staff would read 10 mm less there.
    assert_eq!(values, [1_000_000_000, 990_000_000]);
    let refused = load_text(&text("pail", rows));
    let fault =
        refused.faults.iter().find(|fault| fault.is_error()).expect("a pail has no such end");
    assert!(fault.what.contains("standing end") && fault.hint.is_some(), "{fault:?}");
    let typed = "[{ point = \"A\", reading = 500, standing = \"high\" }]";
    let refused = load_text(&text("twin", typed));
    assert!(
        refused.faults.iter().any(|fault| fault.what.starts_with("standing")),
        "{:?}",
        refused.faults
    );
}

#[test]
fn a_field_test_corrects_the_budget() {
    let ten = "[12.1, 12.9, 12.4, 12.0, 12.6, 12.3, 12.8, 12.2, 12.5, 12.7]";
    let text = format!("[hose]\ntest = {ten}\ntest_swapped = {ten}\n");
    let input = load_text(&text).job.unwrap().hose;
    let test = input.test.as_ref().unwrap();
    // Squares about 12.45 come to 0.825 in each set, over 18 spare, over the root of two and over 1 + (10/200)^2.
    let expected = (2.0 * 0.825 / 18.0_f64).sqrt() / 2.0_f64.sqrt() / 1.0025;
    assert!((test.repeats.sd.to_mm() - expected).abs() < 1e-9);
    assert!(test.ends_agree());
    let (with, without) = (input.worth_of_job().unwrap(), input.budget().unwrap().claimed);
    assert_eq!(with.repeats, Some(test.repeats));
    assert!(with.sd < without);
}

#[test]
fn slips_name_place_value_limit_and_way_out() {
    let check = |text: &str, expected: &str| {
        let loaded = load_text(text);
        let shown: Vec<String> = loaded.faults.iter().map(|fault| format!("{fault:#}")).collect();
        assert!(loaded.job.is_none(), "{text}");
        assert!(shown.iter().any(|fault| fault.contains(expected)), "{shown:#?}");
        assert!(shown.iter().all(|fault| fault.contains("hint: ")), "{shown:#?}");
    };
    check(
        "[hose]\nbore = 0\n",
        "job.toml:6: [hose]: bore is out of range: 0 mm, must be 4 mm to 15 mm",
    );
    check("[hose]\nbore = 25\n", "25 mm, must be 4 mm to 15 mm");
    check("[hose]\nlength = \"4 km\"\n", "length cannot be read");
    check("[hose]\nlength = 20\n", "20 mm, must be 3000 mm to 100000 mm");
    check("[hose]\nreservoir = 9\n", "the reservoir is smaller than the hose");
    check("[hose]\ntemperature = -2\n", "freezes at 0.0 C, and temperature is -2.0 C");
    check(
        "[hose]\nfluid = \"propylene-glycol\"\nglycol = \"80 %\"\n",
        "glycol is out of range: 0.8, must be 0 to 0.5",
    );
    check("[hose]\nfluid = \"ethylene-glycol\"\n", "the share of glycol is not given");
    check("[hose]\nglycol = 0.3\n", "which glycol is not said");
    check("[hose]\nfluid = \"water\"\nglycol = 0.3\n", "the fluid is water");
    check("[hose]\nkind = \"twin\"\nreservoir = 200\n", "twin tubes have no reservoir");
    check("[hose]\none_end = true\n", "one_end is about twin tubes");
    check("[hose]\nreservoir = 200\nreservoir_area = 5000\n", "given in two ways");
    check("[hose]\nlength = \"3 m\"\nleg = 2000\n", "leave nothing to reach with");
    check("[hose]\nreads = [900, 400]\n", "no stretch to read in");
    check("[hose]\ntest = [1, 2, 3]\n", "set 1 has 3 pairs of readings, the test needs 10");
    check("[[door]]\nwidth = 800\n", "door 1: its place is not given");
    let room =
        "[[room]]\nname = \"hall\"\noutline = [[0, 0], [4000, 0], [4000, 3000], [0, 3000]]\n";
    check(
        &format!("{room}[[door]]\nat = [2000, 1500]\n"),
        "door 1: the doorway is on no wall: 1500.0 mm from the nearest",
    );
    check("[[obstacle]]\nname = \"flue\"\n", "obstacle flue: its outline is not given");
}

#[test]
fn several_slips_are_said_at_once() {
    let loaded = load_text("[hose]\nbore = 0\nleg = -5\nread_to = 900\nglycol = 2\n");
    assert_eq!(loaded.faults.iter().filter(|fault| fault.is_error()).count(), 5);
}

/// Levels need no wait: what is not known of a filling only keeps figures from being given. Frozen
/// water does not level.
#[test]
fn a_filling_too_hot_or_too_cold_to_be_known_leaves_the_levels() {
    let with = |hose: &str| {
        load_text(&format!(
            "[hose]\n{hose}\n[datum]\nzero = \"A\"\n[[point]]\nid = \"A\"\nat = [0, 0]\n\
             [[setup]]\nid = \"1\"\ninstrument = \"hose\"\n\
             readings = [{{ point = \"A\", reading = 1000 }}]\n"
        ))
    };
    for hose in ["temperature = 50", "fluid = \"propylene-glycol\"\nglycol = 0.4\ntemperature = -5"]
    {
        let loaded = with(hose);
        let shown: Vec<String> = loaded.faults.iter().map(|fault| format!("{fault:#}")).collect();
        assert!(shown.iter().any(|fault| fault.contains("no wait is given")), "{shown:#?}");
        let input = loaded.job.unwrap().hose;
        // Hot water at 40 C, the mix at 0 C: the nearest that is known, and no figures of the hose.
        assert!(input.worth[0].worth.is_some_and(|worth| worth.sd > Length::mm(0.5)));
        assert!(input.figures(None).is_err());
    }
    assert!(with("temperature = -1").job.is_none());
}

/// What the job states a reading to be worth is what its survey will be weighed by.
#[test]
fn a_stated_reading_sd_is_known_to_the_plan() {
    let job = load_text(
        "[hose]\nbore = 10\n[datum]\nzero = \"A\"\n[[point]]\nid = \"A\"\nat = [0, 0]\n\
         [[setup]]\nid = \"1\"\ninstrument = \"hose\"\nreading_sd = 0.8\n\
         readings = [{ point = \"A\", reading = 1000 }]\n",
    );
    let stated = job.job.unwrap().hose.stated().unwrap();
    assert!((stated - Length::mm(0.8)).abs() < Length::mm(1e-9));
}

/// 500 ft is 152.4 m; the ends are 3 m and 100 m, to a sixty-fourth: 9' 10 7/64" and 328' 1 1/64".
#[test]
fn a_slip_in_feet_is_told_in_feet() {
    let text =
        "format = 1\n[job]\nterms = \"us\"\nunits = \"ft-in\"\n[hose]\nlength = \"500 ft\"\n";
    let loaded = load(&SourceFile::new("job.toml", text.to_owned()), &mut |_| Err(String::new()));
    let fault = loaded.faults.iter().find(|fault| fault.is_error()).unwrap().to_string();
    assert!(fault.contains("500'") && !fault.contains("mm"), "{fault}");
    assert!(fault.contains("9' 10 7/64\" to 328' 1"), "{fault}");
}
