//! What a document is made of, before a template gives it a look.

use serde::Serialize;

/// A part of a page.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Block {
    /// The number that the reader acts on, large, with what is said under it.
    Answer {
        /// The answer.
        text: String,
        /// What is said under it.
        under: Vec<String>,
    },
    /// A heading.
    Heading {
        /// Its words.
        text: String,
    },
    /// A paragraph.
    Say {
        /// Its words.
        text: String,
    },
    /// A list.
    List {
        /// Its entries.
        items: Vec<String>,
        /// Numbered, because the order counts.
        numbered: bool,
    },
    /// Names and what stands for each.
    Facts {
        /// The pairs.
        rows: Vec<(String, String)>,
    },
    /// A box that nobody overlooks.
    Framed {
        /// Its heading.
        title: String,
        /// What it says, an entry each.
        items: Vec<String>,
        /// Work stops here: white on black.
        stop: bool,
    },
    /// A table with a head that is repeated on every page.
    Table(Table),
    /// Text beside a picture.
    Beside {
        /// The text.
        blocks: Vec<Block>,
        /// The picture.
        picture: Picture,
    },
    /// Boxes to tick, each with a line to write on.
    Ticks {
        /// What is ticked off.
        items: Vec<String>,
    },
    /// Lines to sign on.
    Signatures {
        /// Who signs each.
        who: Vec<String>,
    },
    /// What follows starts on a new page.
    NewPage,
}

/// A table.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Table {
    /// What it is, above it.
    pub title: String,
    /// Its columns.
    pub columns: Vec<Column>,
    /// Its rows; each has a cell for each column.
    pub rows: Vec<Vec<String>>,
    /// A row above which a heavier line is drawn.
    pub ruled_above: Vec<usize>,
    /// What stands below it, small.
    pub note: String,
    /// Large, to be read by torch.
    pub large: bool,
    /// In two columns on the page, because it is narrow and long.
    pub narrow: bool,
    /// Lines to sign on under it, on the page that it ends on.
    pub signed: Vec<String>,
}

/// A column of a table.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Column {
    /// Its head.
    pub head: String,
    /// What its cells are.
    pub cells: Cells,
}

/// What the cells of a column are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Cells {
    /// Words, as wide as they need.
    Words,
    /// Words that take the room that is left.
    Text,
    /// Numbers, to the right, so that their decimals stand under one another.
    Number,
    /// A box to tick.
    Tick,
    /// A line to write on.
    Blank,
}

/// A picture inside a page or a sheet of its own.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Picture {
    /// Its file.
    pub file: String,
    /// What it shows, for who cannot see it.
    pub alt: String,
    /// Width and height in millimetres; 0 for as large as there is room.
    pub width: f64,
    /// Height in millimetres.
    pub height: f64,
    /// What stands across it if nobody is to work by it, white on black; empty if nothing does.
    pub stop: String,
}

/// In a cell of boxes to tick: there is none in this row.
pub const NO_TICK: &str = "no";

/// The blocks of a document in the making.
#[derive(Debug, Default)]
pub struct Blocks(pub Vec<Block>);

impl Blocks {
    /// A heading.
    pub fn heading(&mut self, text: impl Into<String>) {
        self.0.push(Block::Heading { text: text.into() });
    }

    /// A paragraph.
    pub fn say(&mut self, text: impl Into<String>) {
        self.0.push(Block::Say { text: text.into() });
    }

    /// A list; nothing if it is empty.
    pub fn list<T: Into<String>>(&mut self, items: impl IntoIterator<Item = T>) {
        let items: Vec<String> = items.into_iter().map(Into::into).collect();
        if !items.is_empty() {
            self.0.push(Block::List { items, numbered: false });
        }
    }

    /// A list in which the order counts; nothing if it is empty.
    pub fn steps(&mut self, items: Vec<String>) {
        if !items.is_empty() {
            self.0.push(Block::List { items, numbered: true });
        }
    }

    /// A box that nobody overlooks; nothing if it is empty.
    pub fn framed(&mut self, title: impl Into<String>, items: Vec<String>, stop: bool) {
        if !items.is_empty() {
            self.0.push(Block::Framed { title: title.into(), items, stop });
        }
    }

    /// A table; nothing if it has no rows.
    pub fn table(&mut self, table: Table) {
        if !table.rows.is_empty() {
            self.0.push(Block::Table(table));
        }
    }
}

impl Table {
    /// A table with these columns and no rows yet.
    pub fn new(title: impl Into<String>, columns: &[(&str, Cells)]) -> Self {
        let columns = columns.iter().map(|&(head, cells)| Column { head: head.to_owned(), cells });
        Self { title: title.into(), columns: columns.collect(), ..Self::default() }
    }
}
