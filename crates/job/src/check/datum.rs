//! What the levels are counted from.

use super::{Checker, NO_DATUM, Spot, net};
use crate::limits;
use floorwright_engine::ids::PointId;
use floorwright_engine::survey::{Datum, Survey};
use floorwright_engine::units::{Level, Variance};

impl Checker<'_> {
    /// What the levels are counted from; needs the readings, to find the points of a free datum.
    pub(super) fn datum(&mut self, survey: Survey) -> Survey {
        let form = self.form.datum.clone().unwrap_or_default();
        let spot = self.spot("datum", "[datum]");
        let has_benchmarks = !survey.benchmarks.is_empty();
        let ways = [form.zero.is_some(), form.free, has_benchmarks];
        let n_ways = ways.iter().filter(|given| **given).count();
        if n_ways > 1 {
            let fault = self.error(&spot, "", "the levels are counted from more than one thing");
            self.faults.push(fault.hint("keep one of: benchmarks, zero, free"));
        }
        if n_ways == 0 {
            self.check_needs_datum(&survey);
        }
        let datum = if let Some(zero) = &form.zero {
            self.know_point(&spot, "zero", zero);
            Datum::PointIsZero(PointId::new(zero.as_str()))
        } else if form.free {
            self.free_datum(&spot, &survey)
        } else if !form.covariance.is_empty() {
            self.correlated(&spot, &form.covariance, survey.benchmarks.len())
        } else {
            Datum::Benchmarks
        };
        if !form.free && !form.approximate.is_empty() {
            let fault =
                self.error(&spot, "approximate", "approximate levels are for a free datum only");
            self.faults.push(fault.hint("write free = true, or take approximate out"));
        }
        Survey { datum, ..survey }
    }

    /// Readings and legs need a datum; a level book has a start of its own.
    fn check_needs_datum(&mut self, survey: &Survey) {
        if survey.legs.is_empty() && survey.setups.iter().all(|setup| setup.readings.is_empty()) {
            return;
        }
        let spot = self.spot("", "");
        let fault = self.error(&spot, "", NO_DATUM);
        self.faults.push(fault.hint(
            "add a [[benchmark]] with its level, or call a point zero: [datum] zero = \"A1\"",
        ));
    }

    fn free_datum(&mut self, spot: &Spot, survey: &Survey) -> Datum {
        let form = self.form.datum.clone().unwrap_or_default();
        if form.approximate.is_empty() {
            self.assume("the mean level of all floor points is called zero (free datum)");
            let floor = self.floor_points();
            let group = net::first_group(survey);
            let approximate = floor
                .into_iter()
                .filter(|point| group.contains(point))
                .map(|point| (point, Level::DATUM));
            return Datum::Free { approximate: approximate.collect() };
        }
        let mut approximate: Vec<(PointId, Level)> = Vec::new();
        for (idx, entry) in form.approximate.iter().enumerate() {
            let spot = self.spot(
                format!("{}.approximate.{idx}", spot.path),
                format!("[datum] {}", entry.point),
            );
            let known = self.know_point(&spot, "point", &entry.point);
            if approximate.iter().any(|(point, _)| point.as_str() == entry.point) {
                self.given_twice(&spot, "point", "approximate level", &entry.point, None);
                continue;
            }
            let level = self.level(&spot, "level", entry.level.as_ref(), &limits::LEVEL);
            if known {
                approximate.push((PointId::new(entry.point.as_str()), level.unwrap_or_default()));
            }
        }
        Datum::Free { approximate }
    }

    fn correlated(&mut self, spot: &Spot, rows: &[Vec<f64>], n_benchmarks: usize) -> Datum {
        if rows.len() != n_benchmarks || rows.iter().any(|row| row.len() != n_benchmarks) {
            let fault = self
                .error(spot, "covariance", "the covariance has another size than the benchmarks")
                .value(format!("{} rows", rows.len()))
                .limit(format!("{n_benchmarks} rows of {n_benchmarks}"))
                .hint("give one row and one column for each benchmark, in their order");
            self.faults.push(fault);
            return Datum::Benchmarks;
        }
        for row in 0..n_benchmarks {
            for col in 0..n_benchmarks {
                let key = format!("covariance.{row}");
                let value = rows[row][col];
                if self.number(spot, &key, value, &limits::COVARIANCE).is_none() {
                    return Datum::Benchmarks;
                }
                let most = (rows[row][row] * rows[col][col]).max(0.0).sqrt() * (1.0 + 1e-9);
                if rows[row][row] < 0.0 || value != rows[col][row] || value.abs() > most {
                    let fault = self
                        .error(spot, &key, format!("row {}, column {} is not a covariance", row + 1, col + 1))
                        .value(limits::COVARIANCE.show(value))
                        .hint("variances are zero or more, the two halves are alike, and no entry is larger than its variances allow");
                    self.faults.push(fault);
                    return Datum::Benchmarks;
                }
            }
        }
        let variances = |row: &Vec<f64>| row.iter().map(|mm2| Variance::mm2(*mm2)).collect();
        Datum::CorrelatedBenchmarks(rows.iter().map(variances).collect())
    }
}
