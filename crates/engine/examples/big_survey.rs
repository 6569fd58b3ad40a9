//! Measures the reduction of surveys from a house to a campus: time, and the memory it takes.
//!
//! `cargo run --release --example big_survey`
//!
//! The floors are invented: a grid of points, read in overlapping patches of ten by ten, with
//! noise of about half a millimetre and one planted misreading of 10 mm.
#![expect(clippy::disallowed_methods, reason = "a benchmark reads the clock and its own memory")]

use floorwright_engine::ids::{PointId, SetupId};
use floorwright_engine::survey::{Datum, Drift, Reading, ReadingSd, Setup, Survey, reduce};
use floorwright_engine::units::{ExactLength, Length};
use std::io::{self, Write};
use std::time::Instant;

/// Points along one side of a patch.
const PATCH: usize = 10;

fn main() -> io::Result<()> {
    let mut out = io::stdout();
    for (wide, deep, n_layers) in [(10, 10, 2), (40, 50, 5), (200, 100, 5), (400, 100, 5)] {
        let survey = floor(wide, deep, n_layers);
        let n_readings: usize = survey.setups.iter().map(|setup| setup.readings.len()).sum();
        let start = Instant::now();
        let reduction = reduce(&survey);
        let took = start.elapsed();
        writeln!(
            out,
            "{n_readings} readings of {} points from {} setups: {:.1} ms, peak {}",
            wide * deep,
            survey.setups.len(),
            took.as_secs_f64() * 1e3,
            peak_memory()
        )?;
        let s0 = reduction.s0.unwrap_or_default();
        writeln!(out, "  s0 {s0:.3}, {} faults, suspects:", reduction.faults.len())?;
        for suspect in &reduction.suspects {
            writeln!(out, "  {suspect}")?;
        }
        let start = Instant::now();
        let last = reduction.levels.points().len() - 1;
        let sd = reduction.levels.difference_sd(0, last);
        writeln!(
            out,
            "  sd of one difference {sd}: {:.1} ms",
            start.elapsed().as_secs_f64() * 1e3
        )?;
    }
    Ok(())
}

/// A grid of points in layers of patches, each layer shifted against the one before.
fn floor(wide: usize, deep: usize, n_layers: usize) -> Survey {
    let mut noise = Noise(2_463_534_242);
    let mut setups = Vec::new();
    for layer in 0..n_layers {
        let (right, up) = (layer * 3 % PATCH, layer * 7 % PATCH);
        for patch_x in 0..wide.div_ceil(PATCH) + 1 {
            for patch_y in 0..deep.div_ceil(PATCH) + 1 {
                let xs = range(patch_x, right, wide);
                let ys = range(patch_y, up, deep);
                let places = xs.flat_map(|x| ys.clone().map(move |y| (x, y)));
                let line = 1_000_000_000 + noise.nm(200_000_000);
                let readings: Vec<Reading> =
                    places.map(|place| reading(place, line, noise.nm(800_000))).collect();
                if !readings.is_empty() {
                    let id = SetupId::new(format!("{layer}-{patch_x}-{patch_y}"));
                    let reading_sd = ReadingSd::Each(Length::mm(0.5));
                    setups.push(Setup { id, reading_sd, scale: 1.0, drift: Drift::None, readings });
                }
            }
        }
    }
    let planted = &mut setups[0].readings[7].value;
    *planted = ExactLength::nm(planted.to_nm() + 10_000_000);
    Survey { datum: Datum::PointIsZero(name((0, 0))), setups, ..Survey::default() }
}

fn range(patch: usize, shift: usize, size: usize) -> std::ops::Range<usize> {
    let end = ((patch + 1) * PATCH).saturating_sub(shift).min(size);
    (patch * PATCH).saturating_sub(shift).min(end)..end
}

fn name((x, y): (usize, usize)) -> PointId {
    PointId::new(format!("{x:03}/{y:03}"))
}

fn reading((x, y): (usize, usize), line: i64, noise: i64) -> Reading {
    let level = ((x * 31 + y * 17) % 40) as i64 * 1_000_000;
    Reading {
        point: name((x, y)),
        value: ExactLength::nm(line - level + noise),
        inverted: false,
        time: None,
        sd: None,
        distance: None,
        place: None,
    }
}

/// Even noise that is the same on every run.
struct Noise(u64);

impl Noise {
    /// Between minus and plus `most` nanometres.
    fn nm(&mut self, most: i64) -> i64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as i64 % (2 * most + 1) - most
    }
}

/// Peak memory of this process, where the system tells.
fn peak_memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.map_or("not known".into(), |size| size.trim().into())
}
