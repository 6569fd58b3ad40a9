//! Critical values. Source: customary printed figures (3.2905, 4.140, 2.873, 4.13, 17.075) after
//! Baarda 1968 and Pope 1976, and computed tables, as `constants-tests.toml` says.

use crate::example::{Example, Expect, number};
use floorwright_engine::survey::{
    detectable_shift, global_critical, normal_quantile, student_quantile, tau_critical, w_critical,
};

#[test]
fn critical_values() {
    let example = Example::read("constants-tests");
    let alpha = number(&example.input()["alpha0"]);
    let power = number(&example.input()["power"]);
    example.check_all(|expect| match expect.quantity.as_str() {
        "w_critical" => vec![w_critical(alpha)],
        "z_power" => vec![normal_quantile(power)],
        "delta0" => vec![detectable_shift(alpha, power)],
        "lambda0" => vec![detectable_shift(alpha, power).powi(2)],
        "chi2_critical_95" => {
            keyed(expect, |freedom| global_critical(freedom as usize, 0.05).unwrap())
        }
        other => {
            let (table, count) = other.rsplit_once('_').unwrap();
            let count: usize = count.parse().unwrap();
            match table {
                "t_critical" => {
                    keyed(expect, |alpha| student_quantile(count, 1.0 - alpha / 2.0).unwrap())
                }
                "tau_critical" => keyed(expect, |alpha| tau_critical(count, alpha).unwrap()),
                _ => panic!("{other}"),
            }
        }
    });
}

fn keyed(expect: &Expect, value: impl Fn(f64) -> f64) -> Vec<f64> {
    expect.keys.iter().map(|key| value(key.parse().unwrap())).collect()
}
