//! Ten thousand damaged jobs and ten thousand damaged tables: each is loaded or has its faults,
//! none panics, none takes long.
#![expect(clippy::disallowed_methods, reason = "whether it takes long, the clock tells")]

use floorwright_job::{CsvMeaning, Loaded, SourceFile, from_csv, load};
use proptest::prelude::*;
use std::time::{Duration, Instant};

const DOCS: &str = include_str!("../../../docs/job.md");
const N_MUTANTS: u64 = 10_000;

fn block(language: &str, n: usize) -> &'static str {
    let fence = format!("```{language}\n");
    let after = DOCS.split(&fence).nth(n + 1).expect("the documentation has the block");
    after.split("```").next().expect("a block ends")
}

/// Knuth's MMIX generator; a fixed seed for each mutant.
struct Dice(u64);

impl Dice {
    fn below(&mut self, end: usize) -> usize {
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) % end.max(1) as u64) as usize
    }

    fn pick<'a>(&mut self, list: &[&'a str]) -> &'a str {
        list[self.below(list.len())]
    }
}

const NUMBERS: &[&str] = &[
    "0",
    "-1",
    "nan",
    "inf",
    "-inf",
    "1e308",
    "-1e308",
    "9223372036854775807",
    "-9223372036854775808",
    "99999999999999999999",
    "0.0000000001",
    "1e-320",
    "\"5' 3 7/16\\\"\"",
    "\"1 in 0\"",
    "true",
    "[]",
    "{}",
    "\"\"",
    "12:61",
    "2026-02-30",
];

fn damage(text: &str, dice: &mut Dice) -> String {
    let mut bytes = text.as_bytes().to_vec();
    for _ in 0..=dice.below(3) {
        if bytes.is_empty() {
            break;
        }
        let at = dice.below(bytes.len());
        let end = (at + 1 + dice.below(40)).min(bytes.len());
        match dice.below(7) {
            0 => bytes[at] ^= 1 << dice.below(8),
            1 => drop(bytes.drain(at..end)),
            2 => {
                let copy = bytes[at..end].to_vec();
                bytes.splice(at..at, copy);
            }
            3 => bytes = swap_lines(&bytes, dice),
            4 => bytes = replace_number(&bytes, dice),
            5 => bytes.insert(at, b"\"'[]{}=#,;\n\r\t\0.-\xff"[dice.below(17)]),
            _ => bytes.truncate(at),
        }
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

fn swap_lines(bytes: &[u8], dice: &mut Dice) -> Vec<u8> {
    let mut lines: Vec<&[u8]> = bytes.split(|byte| *byte == b'\n').collect();
    let (first, second) = (dice.below(lines.len()), dice.below(lines.len()));
    lines.swap(first, second);
    lines.join(&b'\n')
}

fn replace_number(bytes: &[u8], dice: &mut Dice) -> Vec<u8> {
    let starts: Vec<usize> = (1..bytes.len())
        .filter(|&at| bytes[at].is_ascii_digit() && !bytes[at - 1].is_ascii_digit())
        .collect();
    if starts.is_empty() {
        return bytes.to_vec();
    }
    let start = starts[dice.below(starts.len())];
    let len =
        bytes[start..].iter().take_while(|byte| byte.is_ascii_digit() || **byte == b'.').count();
    let mut changed = bytes[..start].to_vec();
    changed.extend(dice.pick(NUMBERS).bytes());
    changed.extend(&bytes[start + len..]);
    changed
}

/// Whatever came in, what comes out holds together.
fn check_sane(loaded: &Loaded, texts: [&str; 2]) {
    let text = texts[0];
    let has_error = loaded.faults.iter().any(|fault| fault.is_error());
    assert_eq!(loaded.job.is_none(), has_error, "{text}");
    let n_lines = texts.map(|text| text.split('\n').count()).into_iter().max().unwrap_or(0);
    for fault in &loaded.faults {
        assert!(!format!("{fault:#}").is_empty());
        assert!(fault.line.is_none_or(|line| (1..=n_lines).contains(&line)), "{fault}\n{text}");
        assert!(fault.hint.is_some(), "{fault}");
    }
    let Some(job) = &loaded.job else { return };
    for setup in &job.survey.setups {
        assert!(setup.scale.is_finite() && setup.scale >= 1.0, "{text}");
        for reading in &setup.readings {
            assert!((0.0..=8000.0).contains(&reading.value.to_mm()), "{text}");
            assert!(reading.time.is_none_or(|time| time.is_finite()), "{text}");
            assert!(job.site.point(&reading.point).is_some(), "{text}");
        }
    }
    assert!(job.survey.benchmarks.iter().all(|benchmark| benchmark.level.is_finite()), "{text}");
}

#[test]
fn damaged_jobs() {
    let (job, table) = (block("toml", 0), block("csv", 0));
    let started = Instant::now();
    let mut n_jobs = 0;
    for seed in 0..N_MUTANTS {
        let text = damage(job, &mut Dice(seed));
        let mut read = |_: &str| Ok(table.to_owned());
        let loaded = load(&SourceFile::new("job.toml", text.as_str()), &mut read);
        n_jobs += u64::from(loaded.job.is_some());
        check_sane(&loaded, [&text, table]);
    }
    assert!(n_jobs > N_MUTANTS / 100 && n_jobs < N_MUTANTS / 2, "{n_jobs} of {N_MUTANTS} are jobs");
    assert!(started.elapsed() < Duration::from_secs(300), "{:?}", started.elapsed());
}

#[test]
fn damaged_tables() {
    let with_job = block("toml", 0);
    let started = Instant::now();
    for seed in 0..N_MUTANTS {
        let dice = &mut Dice(seed);
        let alone = damage(block("csv", 1), dice);
        let loaded = from_csv(&SourceFile::new("floor.csv", alone.as_str()), CsvMeaning::default());
        check_sane(&loaded, [&alone, ""]);
        if seed % 5 == 0 {
            let table = damage(block("csv", 0), dice);
            let mut read = |_: &str| Ok(table.clone());
            let loaded = load(&SourceFile::new("job.toml", with_job), &mut read);
            check_sane(&loaded, [&table, with_job]);
        }
    }
    assert!(started.elapsed() < Duration::from_secs(300), "{:?}", started.elapsed());
}

#[test]
fn a_job_with_ten_thousand_supports_and_every_name_wrong_ends() {
    let started = Instant::now();
    let mut text = String::from("format = 1\n[datum]\nzero = \"S0\"\n");
    let mut rows = String::from("point,reading\n");
    for idx in 0..10_000 {
        text += &format!(
            "[[support]]\nid = \"S{idx}\"\nat = [{}, {}]\n",
            idx % 100 * 900,
            idx / 100 * 900
        );
        rows += &format!("T{idx},1500\n");
    }
    text += "[[setup]]\nid = \"1\"\nreadings = \"r.csv\"\n";
    let loaded = load(&SourceFile::new("job.toml", text), &mut |_| Ok(rows.clone()));
    assert_eq!(loaded.faults.iter().filter(|fault| fault.is_error()).count(), 10_000);
    assert!(started.elapsed() < Duration::from_secs(120), "{:?}", started.elapsed());
}

proptest! {
    #[test]
    fn arbitrary_text_is_no_job_and_no_panic(text in any::<String>()) {
        let source = SourceFile::new("job.toml", text.as_str());
        check_sane(&load(&source, &mut |_| Ok(String::new())), [&text, ""]);
        check_sane(&from_csv(&source, CsvMeaning::default()), [&text, ""]);
        let table = format!("point,x,y,reading,time,kind,level\n{text}");
        let source = SourceFile::new("floor.csv", table.as_str());
        check_sane(&from_csv(&source, CsvMeaning::default()), [&table, ""]);
    }
}
