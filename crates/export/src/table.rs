//! What every format writes down: tables of typed columns.

use floorwright_engine::units::{Force, Length, Level};

/// The unit that lengths are written in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lengths {
    /// Millimetres, to a thousandth.
    Millimetres,
    /// Inches and decimals of them, to a hundred-thousandth.
    Inches,
}

impl Lengths {
    /// A length in this unit, rounded.
    pub fn number(self, length: Length) -> f64 {
        match self {
            Self::Millimetres => rounded(length.to_mm(), 3),
            Self::Inches => rounded(length.to_inches(), 5),
        }
    }

    fn unit(self) -> &'static str {
        match self {
            Self::Millimetres => "mm",
            Self::Inches => "in",
        }
    }

    /// Decimals that a length is worth showing with.
    pub(crate) fn shown(self) -> usize {
        match self {
            Self::Millimetres => 1,
            Self::Inches => 3,
        }
    }
}

/// A number with so many decimals; nothing is `-0`.
pub(crate) fn rounded(number: f64, decimals: i32) -> f64 {
    let steps = 10_f64.powi(decimals);
    (number * steps).round() / steps + 0.0
}

/// What the cells of a column hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Holds {
    /// Words.
    Words,
    /// A length or a level.
    Length,
    /// A force in kilonewtons.
    Force,
    /// A whole number.
    Count,
    /// A number without a unit.
    Number,
    /// Minutes.
    Minutes,
    /// An amount of the job's currency.
    Money,
    /// Yes or no.
    YesNo,
}

/// What a column is worked out from, in the same row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rule {
    /// The first column less the second.
    Less(&'static str, &'static str),
    /// The first column times the second, rounded to the cent.
    Times(&'static str, &'static str),
}

/// A column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Column {
    /// Its name, without the unit.
    pub name: &'static str,
    /// What its cells hold.
    pub holds: Holds,
    /// What it is.
    pub about: &'static str,
    /// How it follows from others, where it does.
    pub rule: Option<Rule>,
}

impl Column {
    /// A column that is given.
    pub const fn new(name: &'static str, holds: Holds, about: &'static str) -> Self {
        Self { name, holds, about, rule: None }
    }

    /// A column that follows from others.
    pub const fn by(self, rule: Rule) -> Self {
        Self { rule: Some(rule), ..self }
    }

    /// Its name with the unit.
    pub fn key(&self, lengths: Lengths) -> String {
        match self.unit(lengths) {
            "" => self.name.to_owned(),
            unit => format!("{}_{}", self.name, unit),
        }
    }

    /// Its unit, if it has one that is not the job's own.
    pub fn unit(&self, lengths: Lengths) -> &'static str {
        match self.holds {
            Holds::Length => lengths.unit(),
            Holds::Force => "kn",
            Holds::Minutes => "min",
            Holds::Words | Holds::Count | Holds::Number | Holds::Money | Holds::YesNo => "",
        }
    }
}

/// What a table is called and what its columns are.
#[derive(Debug, PartialEq, Eq)]
pub struct Sheet {
    /// Its name, as a file and as a sheet.
    pub name: &'static str,
    /// What a row is.
    pub about: &'static str,
    /// Its columns.
    pub columns: &'static [Column],
}

impl Sheet {
    pub(crate) fn position(&self, column: &str) -> Option<usize> {
        self.columns.iter().position(|known| known.name == column)
    }
}

/// A cell.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// Empty: it is not known, or there is none.
    Nothing,
    /// Words.
    Words(String),
    /// A number in the unit of the column.
    Number(f64),
    /// Yes or no.
    YesNo(bool),
    /// A number that follows from others in its row.
    Worked(f64, Rule),
    /// A number that is the sum of a column: of a whole other table, or of the first rows of this one.
    Sum(f64, SumOf),
}

/// What is summed up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SumOf {
    /// A column of another table.
    Table {
        /// The table.
        sheet: &'static Sheet,
        /// The column.
        column: &'static str,
    },
    /// The first rows of a column of the same table.
    RowsAbove {
        /// The column.
        column: &'static str,
        /// How many rows.
        rows: usize,
    },
}

impl Cell {
    pub(crate) fn words(text: impl Into<String>) -> Self {
        let text = text.into();
        if text.is_empty() { Self::Nothing } else { Self::Words(text) }
    }

    pub(crate) fn count(number: usize) -> Self {
        // Counts of a job are far below what a number holds exactly.
        Self::Number(number as f64)
    }

    pub(crate) fn force(force: Option<Force>) -> Self {
        force.map_or(Self::Nothing, |force| Self::Number(rounded(force.to_kn(), 3)))
    }

    /// The number in it, if there is one.
    pub fn number(&self) -> Option<f64> {
        match self {
            Self::Number(number) | Self::Worked(number, _) | Self::Sum(number, _) => Some(*number),
            Self::Nothing | Self::Words(_) | Self::YesNo(_) => None,
        }
    }
}

/// A table.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// What it is called and what its columns are.
    pub sheet: &'static Sheet,
    /// The unit of its lengths.
    pub lengths: Lengths,
    /// Its rows; each has a cell for each column.
    pub rows: Vec<Vec<Cell>>,
}

impl Table {
    pub(crate) fn new(sheet: &'static Sheet, lengths: Lengths) -> Self {
        Self { sheet, lengths, rows: Vec::new() }
    }

    pub(crate) fn length(&self, length: impl Into<Option<Length>>) -> Cell {
        let length = length.into().filter(|length| length.is_finite());
        length.map_or(Cell::Nothing, |length| Cell::Number(self.lengths.number(length)))
    }

    pub(crate) fn level(&self, level: impl Into<Option<Level>>) -> Cell {
        self.length(level.into().map(|level| level - Level::DATUM))
    }

    /// Adds a row of the cells that are given; those that follow from them are put in.
    pub(crate) fn row(&mut self, given: impl IntoIterator<Item = Cell>) {
        let mut given = given.into_iter();
        let columns = self.sheet.columns;
        let mut row: Vec<Cell> = columns
            .iter()
            .map(|column| match column.rule {
                Some(_) => Cell::Nothing,
                None => given.next().unwrap_or(Cell::Nothing),
            })
            .collect();
        debug_assert!(given.next().is_none(), "{}: more cells than columns", self.sheet.name);
        for (idx, column) in columns.iter().enumerate() {
            let Some(rule) = column.rule else { continue };
            if let Some(value) = self.by_rule(rule, &row) {
                row[idx] = Cell::Worked(value, rule);
            }
        }
        self.rows.push(row);
    }

    /// What a rule gives in a row.
    pub(crate) fn by_rule(&self, rule: Rule, row: &[Cell]) -> Option<f64> {
        let number = |column: &str| row.get(self.sheet.position(column)?)?.number();
        match rule {
            Rule::Less(of, less) => Some(rounded(number(of)? - number(less)?, 5)),
            Rule::Times(of, times) => Some(rounded(number(of)? * number(times)?, 2)),
        }
    }
}
