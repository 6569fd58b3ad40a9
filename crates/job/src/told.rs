//! What is said of something, part by part, before a terminal or a page gives it a look.

/// Which side a column's text stands on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Words.
    Left,
    /// Numbers.
    Right,
}

/// Rows of text under headings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Table {
    /// Headings, each with the side that its column stands on.
    pub headings: Vec<(String, Side)>,
    /// Rows; what is missing on the right is empty.
    pub rows: Vec<Vec<String>>,
}

impl Table {
    /// A table with these headings and no rows yet.
    pub fn new(headings: &[(&str, Side)]) -> Self {
        let headings = headings.iter().map(|(text, side)| ((*text).to_owned(), *side)).collect();
        Self { headings, rows: Vec::new() }
    }

    /// Adds a row; what is missing on the right stays empty.
    pub fn row(&mut self, cells: impl IntoIterator<Item = String>) {
        self.rows.push(cells.into_iter().collect());
    }
}

/// A part of what is said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Part {
    /// A heading.
    Heading(String),
    /// A paragraph.
    Say(String),
    /// An entry of a list, with its mark: `1.`, `-`, or `!` for what nobody may overlook.
    Item {
        /// The mark.
        mark: String,
        /// The entry.
        text: String,
    },
    /// A table.
    Table(Table),
}

/// What is said, in order.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Told(pub Vec<Part>);

impl Told {
    /// A heading.
    pub fn heading(&mut self, text: impl Into<String>) {
        self.0.push(Part::Heading(text.into()));
    }

    /// A paragraph.
    pub fn say(&mut self, text: impl Into<String>) {
        self.0.push(Part::Say(text.into()));
    }

    /// An entry of a list.
    pub fn item(&mut self, mark: &str, text: impl Into<String>) {
        self.0.push(Part::Item { mark: mark.to_owned(), text: text.into() });
    }

    /// A table.
    pub fn table(&mut self, table: Table) {
        self.0.push(Part::Table(table));
    }
}
