//! The dense fit against the NIST Statistical Reference Datasets for linear least squares,
//! <https://www.itl.nist.gov/div898/strd/lls/lls.shtml>; `nist/README.md` has the details.

use crate::example::{data_path, number, numbers, read_toml};
use floorwright_engine::survey::{Fit, least_squares};
use toml::Value;

/// Correct digits, as NIST counts them: relative, or absolute where the certified value is 0.
fn digits(got: f64, certified: f64) -> f64 {
    let error = if certified == 0.0 { got.abs() } else { ((got - certified) / certified).abs() };
    if error == 0.0 { 15.0 } else { -error.log10() }
}

fn worst(got: &[f64], certified: &[f64]) -> f64 {
    assert_eq!(got.len(), certified.len());
    got.iter().zip(certified).map(|(got, value)| digits(*got, *value)).fold(15.0, f64::min)
}

fn fit_of(set: &Value) -> Fit {
    let file = set["file"].as_str().unwrap();
    let mut table = csv::Reader::from_path(data_path("nist", file)).unwrap();
    let n_coefficients = set["coefficients"].as_array().unwrap().len();
    let (mut design, mut observed) = (Vec::new(), Vec::new());
    for record in table.records() {
        let row: Vec<f64> = record.unwrap().iter().map(|text| text.parse().unwrap()).collect();
        observed.push(row[0]);
        design.push(if row.len() == 2 {
            (0..n_coefficients as i32).map(|power| row[1].powi(power)).collect()
        } else {
            std::iter::once(1.0).chain(row[1..].iter().copied()).collect()
        });
    }
    assert_eq!(observed.len() as i64, set["observations"].as_integer().unwrap());
    least_squares(&design, &observed).unwrap()
}

/// Each set to the digits that its table asks of a QR solution without scaling: worst
/// coefficient and worst standard deviation; residual standard deviation and sum likewise.
#[test]
fn certified_values() {
    let table = read_toml("nist", "nist.toml");
    let sets = table["set"].as_array().unwrap();
    assert_eq!(sets.len(), 6);
    for set in sets {
        let (name, pass) = (set["name"].as_str().unwrap(), number(&set["pass_digits"]));
        let fit = fit_of(set);
        let reached = [
            worst(&fit.coefficients, &numbers(&set["coefficients"])),
            worst(&fit.standard_deviations.unwrap(), &numbers(&set["standard_deviations"])),
            digits(fit.residual_sd.unwrap(), number(&set["residual_sd"])),
            digits(fit.rss, number(&set["rss"])),
        ];
        assert!(reached.iter().all(|&digits| digits >= pass), "{name}: {reached:?}, pass {pass}");
    }
}
