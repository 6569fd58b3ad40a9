//! Rates, passes as they were done and readings after them: what they mean, and what a builder is
//! told about each thing that can be wrong with them.

use floorwright_engine::bill::{Money, Rates, Share, WorkTime};
use floorwright_engine::record::WorkDone;
use floorwright_engine::units::{ExactLength, Length};
use floorwright_job::{Loaded, SourceFile, load, write};

const SOUND: &str = r#"format = 1
[job]
terms = "nz"
units = "mm"
date = "2026-04-01"
[[support]]
id = "A1"
at = [0, 0]
[[support]]
id = "A2"
at = [1800, 0]
[[support]]
id = "B1"
at = [0, 1500]
[[benchmark]]
point = "BM"
level = 0
[[setup]]
id = "1"
reading_sd = 0.5
readings = [
    { point = "BM", reading = 1500 },
    { point = "A1", reading = 1612 },
    { point = "A2", reading = 1620 },
    { point = "B1", reading = 1605 },
]
"#;

fn loaded(added: &str) -> Loaded {
    let text = format!("{SOUND}{added}\n");
    load(&SourceFile::new("job.toml", text), &mut |name| Err(format!("there is no {name}")))
}

/// The faults of a job with this added, each on a line that begins with its own line number less
/// that of the first line added.
fn check(added: &str, expected: &[&str]) {
    let first = SOUND.lines().count();
    let found = loaded(added);
    let said: Vec<String> = found
        .faults
        .iter()
        .map(|fault| {
            let line = fault.line.map_or(0, |line| line - first);
            let text = fault.to_string();
            let (_, what) = text.split_once(": ").expect("a place");
            format!("{line}: {what}")
        })
        .collect();
    assert_eq!(said, expected, "{added}");
    assert!(found.faults.iter().all(|fault| fault.hint.is_some()), "{added}");
}

fn rates(added: &str) -> Rates {
    let found = loaded(added);
    found.job.unwrap_or_else(|| panic!("{:?}", found.faults)).rates
}

#[test]
fn rates_mean_what_they_say() {
    let rates = rates(
        "[rates]\ncurrency = \"NZD\"\nhourly = { value = 82.5, reason = \"list of March\" }\npeople = 3\n\
         hours_per_day = 7.5\njack_day = \"9.05\"\nmargin = \"12.5 %\"\ntax = 0.15\nrest_days = 2\n\
         minutes = { reading = 1.5, move = 12 }\n\
         [[rates.fixing]]\nname = \"strap\"\nper_support = 2\npack = 25\nprice = 46\n\
         [[rates.extra]]\nwhat = \"skip\"\nwhy = \"old packing\"\nprice = 0.29",
    );
    let hourly = rates.hourly.unwrap();
    assert_eq!((hourly.value, hourly.reason.as_str()), (Money::cents(8250), "list of March"));
    assert_eq!(rates.people.unwrap().value, 3);
    assert_eq!(rates.day.unwrap().value, WorkTime::seconds(27_000));
    assert_eq!(rates.jack_day.unwrap().value, Money::cents(905));
    assert_eq!(rates.margin.unwrap().value, Share::from_ratio(0.125).unwrap());
    assert_eq!(rates.tax.unwrap().value, Share::from_ratio(0.15).unwrap());
    assert_eq!((rates.rest_days.value, rates.rest_days.assumed), (2, false));
    assert_eq!(rates.times.reading.unwrap().value, WorkTime::seconds(90));
    assert_eq!(rates.times.one_move.unwrap().value, WorkTime::seconds(720));
    assert_eq!(rates.times.packing, None);
    assert_eq!(rates.fixings[0].pack_price, Some(Money::cents(4600)));
    assert_eq!(rates.extras[0].price, Some(Money::cents(29)));
}

#[test]
fn a_job_that_is_silent_has_no_price_at_all() {
    let silent = rates("");
    assert_eq!(silent, Rates::default());
    assert!(silent.hourly.is_none() && silent.margin.is_none() && silent.tax.is_none());
    assert!(silent.fixings.iter().all(|fixing| fixing.pack_price.is_none()));
    assert!(silent.fixings.iter().all(|fixing| fixing.per_support.assumed));
}

#[test]
fn rates_that_cannot_be_are_refused_all_at_once() {
    check(
        "[rates]\ncurrency = \"dollars\"\nhourly = -1\npeople = 2.5\nhours_per_day = 0\njack_day = nan\n\
         margin = 1.5\ntax = \"-10 %\"\nrest_days = -1",
        &[
            "2: [rates]: the currency is not three capital letters: \"dollars\"",
            "3: [rates]: hourly is out of range: -1, must be 0 to 1000000",
            "4: [rates]: people is not a whole number: 2.5",
            "5: [rates]: hours_per_day is out of range: 0 h, must be 0.5 h to 24 h",
            "6: [rates]: jack_day is out of range: NaN, must be 0 to 1000000",
            "7: [rates]: margin is out of range: 1.5, must be 0 to 1",
            "8: [rates]: tax is out of range: -0.1, must be 0 to 1",
            "9: [rates]: rest_days is out of range: -1 days, must be 0 days to 365 days",
        ],
    );
    check(
        "[rates]\nhourly = 80.001\njack_day = \"ten\"\nmargin = 0.1234567\ntaller_support = inf\n\
         minutes = { move = -3, reading = nan }",
        &[
            "2: [rates]: hourly has more than whole cents: 80.001",
            "3: [rates]: jack_day cannot be read: \"ten\"",
            "4: [rates]: margin has more than six decimals: 0.123457",
            "5: [rates]: taller_support is out of range: inf, must be 0 to 1000000",
            "6: [rates] minutes: reading is out of range: NaN min, must be 0 min to 10080 min",
            "6: [rates] minutes: move is out of range: -3 min, must be 0 min to 10080 min",
        ],
    );
    check(
        "[[rates.fixing]]\nname = \"strap\"\n[[rates.fixing]]\nname = \"strap\"\nper_support = 1\n\
         [[rates.fixing]]\nname = \"nail\"\nper_support = 1\npack = 0\nprice = -2\n\
         [[rates.extra]]\nwhat = \"skip\"\nquantity = 0\nprice = nan\n[[rates.extra]]\nwhy = \"needed\"",
        &[
            "1: fixing strap: its number at each support is not given",
            "9: fixing nail: pack is out of range: 0, must be 1 to 100000",
            "11: extra skip: it does not say why it is needed",
            "13: extra skip: quantity is out of range: 0, must be 1 to 1000000",
            "14: extra skip: price is out of range: NaN, must be 0 to 1000000",
            "15: extra number 2: what it is is missing",
        ],
    );
}

#[test]
fn passes_mean_what_they_say() {
    let found = loaded(
        "[[pass]]\nnumber = 1\ndate = \"2026-04-02\"\nby = \"crew\"\n\
         lifted = [{ support = \"A2\", lift = 4.5, packers = [3, 1.5] }, { support = \"B1\", lift = -2 }]\n\
         cracks = [\"hall\"]\nphotos = [\"day 1/hall.jpg\"]\n[[pass]]\nnumber = 2\ndate = \"2026-04-02\"\n\
         [[setup]]\nid = \"2\"\nafter_pass = 1\nreadings = [{ point = \"BM\", reading = 1400 }, { point = \"A1\", reading = 1512 }]\n\
         [[setup]]\nid = \"3\"\nafter_pass = 0\nreadings = [{ point = \"BM\", reading = 1500 }, { point = \"A1\", reading = 1612 }]",
    );
    let job = found.job.clone().unwrap_or_else(|| panic!("{:?}", found.faults));
    let done = &job.done;
    assert_eq!(done.passes.len(), 2);
    let lifted = &done.passes[0].lifted;
    assert_eq!(lifted[0].lift, Length::mm(4.5));
    assert_eq!(lifted[0].packers, Some(vec![Length::mm(3.0), Length::mm(1.5)]));
    assert_eq!((lifted[1].lift, lifted[1].packers.clone()), (Length::mm(-2.0), None));
    // The survey of the plan has nothing of what was read after a pass.
    let names: Vec<&str> = job.survey.setups.iter().map(|setup| setup.id.as_str()).collect();
    assert_eq!(names, ["1", "3"]);
    assert_eq!((done.again.len(), done.again[0].after_pass), (1, 1));
    assert_eq!(done.again[0].setups[0].id.as_str(), "2");
    // It comes back when it is written.
    let text = write(&found.form).unwrap();
    let again = load(&SourceFile::new("job.toml", text), &mut |_| Err("no file".to_owned()));
    let again = again.job.unwrap().done;
    assert_eq!(again.passes, done.passes);
    let values = |work: &WorkDone| -> Vec<ExactLength> {
        let setups = work.again.iter().flat_map(|again| &again.setups);
        setups.flat_map(|setup| &setup.readings).map(|reading| reading.value).collect()
    };
    assert_eq!(values(&again), values(done));
}

#[test]
fn passes_that_cannot_be_are_refused_all_at_once() {
    check(
        "[[pass]]\nnumber = 2\ndate = \"2026-03-31\"\nlifted = [{ support = \"Z9\", lift = 5 }]\n\
         [[pass]]\nnumber = 1\ndate = \"yesterday\"",
        &[
            "2: pass 2: the passes are out of order, or one is missing: 2, must be 1 here",
            "3: pass 2: it was done before the survey: 2026-03-31, must be 2026-04-01 or later",
            "4: pass 2, support Z9: support Z9 is not in the job",
            "6: pass 1: the passes are out of order, or one is missing: 1, must be 2 here",
            "7: pass 1: the date is not year-month-day: yesterday",
        ],
    );
    check(
        "[[pass]]\ndate = \"2026-04-03\"\nphotos = [\"../a.jpg\", \"/etc/passwd\"]\nlifted = [\n\
         { support = \"A1\" },\n{ support = \"A1\", lift = 1 },\n{ support = \"A2\", lift = nan, packers = [-5, 0] },\n\
         { support = \"B1\", lift = 2000 },\n]\n[[pass]]\nnumber = 2\ndate = \"2026-04-02\"\n\
         [[setup]]\nid = \"2\"\nafter_pass = 3\nreadings = [{ point = \"BM\", reading = 1400 }]",
        &[
            "1: pass number 1: its number is not given",
            "3: pass number 1: the photo is a file outside the job's folder: ../a.jpg",
            "3: pass number 1: the photo is a file by an absolute path: /etc/passwd",
            "5: pass number 1, support A1: its lift is not given",
            "6: pass number 1, support A1: the support is given twice",
            "7: pass number 1, support A2: lift is out of range: NaN mm, must be -1000 mm to 1000 mm",
            "7: pass number 1, support A2: packers.0 is out of range: -5 mm, must be 0.1 mm to 300 mm",
            "7: pass number 1, support A2: packers.1 is out of range: 0 mm, must be 0.1 mm to 300 mm",
            "8: pass number 1, support B1: lift is out of range: 2000 mm, must be -1000 mm to 1000 mm",
            "12: pass 2: it was done before the pass before it: 2026-04-02, must be 2026-04-03 or later",
            "15: setup 2: it was read after a pass that is not in the job: 3, must be at most 2",
        ],
    );
}

#[test]
fn a_key_that_is_not_known_is_named() {
    check(
        "[rates]\nhourley = 80\n[[pass]]\nnumber = 1\nlifts = []",
        &["2: [rates]: unknown key hourley", "5: [pass]: unknown key lifts"],
    );
}
