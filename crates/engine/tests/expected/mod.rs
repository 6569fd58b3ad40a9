//! Reads an example of `data` and holds what came out against what it expects.

use std::path::Path;
use toml::{Table, Value};

/// One example: inputs, and the quantities it expects.
pub struct Example {
    table: Table,
    name: String,
}

impl Example {
    /// Reads `data/levelling/<name>.toml`.
    #[expect(clippy::disallowed_methods, reason = "the examples are files, asked for by name")]
    pub fn read(name: &str) -> Self {
        let path = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("tests/data/levelling")
            .join(name)
            .with_extension("toml");
        let text = std::fs::read_to_string(&path)
            .unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        Self { table: text.parse().expect("an example is TOML"), name: name.to_owned() }
    }

    /// An input as written.
    pub fn input(&self, name: &str) -> &Value {
        &self.table["input"][name]
    }

    /// An input that is a number.
    pub fn number(&self, name: &str) -> f64 {
        as_number(self.input(name))
    }

    /// An input that may be missing.
    pub fn optional_number(&self, name: &str) -> Option<f64> {
        self.table["input"].get(name).map(as_number)
    }

    /// An input that is a list of numbers.
    pub fn numbers(&self, name: &str) -> Vec<f64> {
        as_numbers(self.input(name))
    }

    /// A printed value that must not come out.
    pub fn published_wrong(&self, name: &str) -> f64 {
        as_number(&self.table["published_wrong"][name])
    }

    /// Compares a quantity value by value, in the order listed.
    pub fn check(&self, quantity: &str, got: &[f64]) {
        let blocks = self.blocks(quantity);
        assert!(!blocks.is_empty(), "{} expects no {quantity}", self.name);
        for block in blocks {
            let expected = as_numbers(&block["values"]);
            assert_eq!(got.len(), expected.len(), "{} {quantity}", self.name);
            for (got, expected) in got.iter().zip(expected) {
                self.compare(quantity, *got, expected, block);
            }
        }
    }

    /// The same, where only some examples expect the quantity.
    pub fn check_if_expected(&self, quantity: &str, got: &[f64]) {
        if !self.blocks(quantity).is_empty() {
            self.check(quantity, got);
        }
    }

    /// Compares a quantity key by key.
    pub fn check_keyed(&self, quantity: &str, got: impl Fn(&str) -> f64) {
        let blocks = self.blocks(quantity);
        assert!(!blocks.is_empty(), "{} expects no {quantity}", self.name);
        for block in blocks {
            let keys = block["keys"].as_array().expect("a keyed quantity has keys");
            let expected = as_numbers(&block["values"]);
            assert_eq!(keys.len(), expected.len(), "{} {quantity}", self.name);
            for (key, expected) in keys.iter().zip(expected) {
                self.compare(quantity, got(key.as_str().expect("a key is text")), expected, block);
            }
        }
    }

    fn blocks(&self, quantity: &str) -> Vec<&Table> {
        let blocks = self.table["expect"].as_array().expect("an example expects something");
        blocks
            .iter()
            .filter_map(Value::as_table)
            .filter(|block| block["quantity"].as_str() == Some(quantity))
            .collect()
    }

    fn compare(&self, quantity: &str, got: f64, expected: f64, block: &Table) {
        let tolerance = as_number(&block["tol"]) + 1e-12;
        assert!(
            (got - expected).abs() <= tolerance,
            "{} {quantity}: got {got}, expected {expected} within {tolerance}",
            self.name
        );
    }
}

fn as_number(value: &Value) -> f64 {
    value
        .as_float()
        .or_else(|| value.as_integer().map(|whole| whole as f64))
        .unwrap_or_else(|| panic!("{value} is no number"))
}

fn as_numbers(value: &Value) -> Vec<f64> {
    value.as_array().expect("a list of numbers").iter().map(as_number).collect()
}
