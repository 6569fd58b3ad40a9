//! Reads the example files as they are and holds results against every block of them.

use floorwright_engine::ids::{PointId, SetupId};
use floorwright_engine::survey::{
    Benchmark, Datum, Drift, Leg, LegWeight, Reading, ReadingSd, Setup, Survey,
};
use floorwright_engine::units::{ExactLength, Length, Level, Minutes, Variance};
use std::path::PathBuf;
use toml::{Table, Value};

/// Beyond the tolerance of the file, for the rounding of the decimal fractions in it.
const ROUNDING: f64 = 1e-12;

pub struct Example {
    name: String,
    table: Table,
}

/// One block of expected values.
pub struct Expect {
    pub quantity: String,
    pub unit: String,
    pub case: String,
    pub keys: Vec<String>,
    pub values: Vec<f64>,
    pub tol: f64,
}

pub fn data_path(subject: &str, file: &str) -> PathBuf {
    [env!("CARGO_MANIFEST_DIR"), "tests", "data", subject, file].iter().collect()
}

#[expect(clippy::disallowed_methods, reason = "the examples are files, asked for by name")]
pub fn read_toml(subject: &str, file: &str) -> Table {
    let path = data_path(subject, file);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    text.parse().unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

impl Example {
    pub fn read(name: &str) -> Self {
        Self { name: name.into(), table: read_toml("levelling", &format!("{name}.toml")) }
    }

    pub fn input(&self) -> &Table {
        self.table["input"].as_table().unwrap()
    }

    /// A printed value that is known to be wrong.
    pub fn published_wrong(&self, quantity: &str) -> f64 {
        number(&self.table["published_wrong"][quantity])
    }

    pub fn expects(&self) -> Vec<Expect> {
        let blocks = self.table["expect"].as_array().unwrap();
        assert!(!blocks.is_empty(), "{} expects nothing", self.name);
        blocks.iter().map(expect_of).collect()
    }

    /// Holds every block against `result`, which gives the values asked for in the block's own
    /// unit, in the order of its keys or of the observations.
    pub fn check_all(&self, mut result: impl FnMut(&Expect) -> Vec<f64>) {
        for expect in self.expects() {
            let got = result(&expect);
            let place = format!("{}: {} {}", self.name, expect.quantity, expect.case);
            assert_eq!(got.len(), expect.values.len(), "{place}: {got:?}");
            for (idx, (got, value)) in got.iter().zip(&expect.values).enumerate() {
                assert!(
                    (got - value).abs() <= expect.tol + ROUNDING,
                    "{place} [{idx}] is {got}, expected {value} within {}",
                    expect.tol
                );
            }
        }
    }

    /// Millimetres in the unit of the input.
    pub fn unit_mm(&self) -> f64 {
        mm_in(self.input()["unit"].as_str().unwrap())
    }

    /// The survey of a network file.
    pub fn survey(&self) -> Survey {
        let input = self.input();
        let benchmarks = self.benchmarks();
        Survey {
            datum: self.datum(),
            benchmarks,
            legs: list(input, "obs").iter().map(|obs| self.leg(obs)).collect(),
            ..Survey::default()
        }
    }

    fn datum(&self) -> Datum {
        let (input, unit_mm) = (self.input(), self.unit_mm());
        if input.contains_key("prior_covariance") {
            let variance = |value: &Value| Variance::mm2(number(value) * unit_mm * unit_mm);
            let rows = list(input, "prior_covariance").iter();
            return Datum::CorrelatedBenchmarks(
                rows.map(|row| row.as_array().unwrap().iter().map(variance).collect()).collect(),
            );
        }
        if !input.contains_key("datum_points") {
            return Datum::Benchmarks;
        }
        let approximate = list(input, "datum_points").iter().map(|point| {
            let of_point = |entry: &&Value| entry["point"] == *point;
            let entry = list(input, "approx").iter().find(of_point).unwrap();
            (PointId::new(point.as_str().unwrap()), Level::mm(number(&entry["height"]) * unit_mm))
        });
        Datum::Free { approximate: approximate.collect() }
    }

    fn benchmarks(&self) -> Vec<Benchmark> {
        let (input, unit_mm) = (self.input(), self.unit_mm());
        let benchmark = |point: &Value, height: &Value| Benchmark {
            point: PointId::new(point.as_str().unwrap()),
            level: Level::mm(number(height) * unit_mm),
            sd: Length::ZERO,
        };
        if input.contains_key("prior_points") {
            let heights = list(input, "prior_heights");
            let pairs = list(input, "prior_points").iter().zip(heights);
            return pairs.map(|(point, height)| benchmark(point, height)).collect();
        }
        let fixed = input.get("fixed").and_then(Value::as_array);
        let fixed = fixed.into_iter().flatten();
        fixed.map(|entry| benchmark(&entry["point"], &entry["height"])).collect()
    }

    fn leg(&self, obs: &Value) -> Leg {
        let (input, unit_mm) = (self.input(), self.unit_mm());
        let length = |name: &str, table: &Table| Length::mm(number(&table[name]) * unit_mm);
        let own = obs.as_table().unwrap();
        let weight = match input["weighting"].as_str().unwrap() {
            "sigma" => LegWeight::Sd(length("sigma", own)),
            "length" => LegWeight::Distance {
                length: Length::m(number(&own["length_km"]) * 1000.0),
                per_sqrt_km: length("sigma_km", input),
            },
            "weight" => LegWeight::Sd(length("unit_sigma", input) / number(&own["weight"]).sqrt()),
            "variance" => LegWeight::Sd(Length::mm(number(&own["variance"]).sqrt() * unit_mm)),
            other => panic!("weighting {other}"),
        };
        Leg {
            from: PointId::new(own["from"].as_str().unwrap()),
            to: PointId::new(own["to"].as_str().unwrap()),
            rise: ExactLength::from_mm(number(&own["dh"]) * unit_mm).unwrap(),
            weight,
            place: None,
        }
    }

    /// The survey of a drift file: `reading = H + b t`, so the staff hangs upside down from a
    /// line that falls at the rate `b`.
    pub fn drift_survey(&self) -> Survey {
        let input = self.input();
        let column = |name: &str| list(input, name).clone();
        let rows = column("station").into_iter().zip(column("minutes")).zip(column("reading"));
        let readings = rows.map(|((station, minutes), value)| Reading {
            point: PointId::new(station.as_str().unwrap()),
            value: ExactLength::from_mm(number(&value) * self.unit_mm()).unwrap(),
            inverted: true,
            time: Some(Minutes::new(number(&minutes))),
            sd: None,
            distance: None,
            place: None,
        });
        Survey {
            datum: Datum::PointIsZero(PointId::new("R")),
            setups: vec![Setup {
                id: SetupId::new("1"),
                reading_sd: ReadingSd::Each(Length::mm(1.0)),
                scale: 1.0,
                drift: Drift::Linear,
                readings: readings.collect(),
            }],
            ..Survey::default()
        }
    }
}

impl Expect {
    /// A length in the unit of the block.
    pub fn length(&self, length: Length) -> f64 {
        length.to_mm() / mm_in(&self.unit)
    }

    /// A level in the unit of the block.
    pub fn level(&self, level: Level) -> f64 {
        level.to_mm() / mm_in(&self.unit)
    }
}

pub fn number(value: &Value) -> f64 {
    value.as_float().or_else(|| value.as_integer().map(|whole| whole as f64)).unwrap()
}

pub fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(number).collect()
}

fn list<'a>(table: &'a Table, name: &str) -> &'a Vec<Value> {
    table[name].as_array().unwrap()
}

fn mm_in(unit: &str) -> f64 {
    match unit {
        "mm" => 1.0,
        "m" => 1000.0,
        "ft" => 304.8,
        other => panic!("unit {other}"),
    }
}

fn expect_of(block: &Value) -> Expect {
    let text = |name: &str| block.get(name).map_or("", |value| value.as_str().unwrap()).to_string();
    let keys = block.get("keys").and_then(Value::as_array);
    Expect {
        quantity: text("quantity"),
        unit: text("unit"),
        case: text("case"),
        keys: keys.into_iter().flatten().map(|key| key.as_str().unwrap().to_string()).collect(),
        values: numbers(&block["values"]),
        tol: number(&block["tol"]),
    }
}
