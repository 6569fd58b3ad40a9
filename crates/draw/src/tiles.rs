//! Small plans side by side, to be compared.

use crate::canvas::{Anchor, Line, Rect, Stroke};
use crate::picture::Medium;
use crate::plan::{Extent, View};
use crate::sheet::{GREY, Sheet};
use crate::text;

/// How a sheet is parted.
pub(crate) struct Tiles {
    n_columns: usize,
    n_rows: usize,
}

/// One small plan.
pub(crate) struct Tile {
    /// Where labels may stand.
    pub area: Rect,
    pub view: View,
}

impl Tiles {
    /// Height over width of so many plans on a medium: on a screen they stand in one column.
    pub fn shape(medium: Medium, n_tiles: usize, house_shape: f64) -> f64 {
        match medium {
            Medium::Screen => n_tiles as f64 * (house_shape.min(3.0) + 0.14),
            Medium::Sheet(_) => house_shape,
        }
    }

    /// Parts the sheet so that the houses are as large as they can be.
    pub fn new(medium: Medium, sheet: &Sheet, n_tiles: usize, house_shape: f64) -> Self {
        let size = |n_columns: usize| {
            let n_rows = n_tiles.div_ceil(n_columns);
            let width = sheet.area.width / n_columns as f64;
            let height = sheet.area.height / n_rows as f64 - 2.0 * sheet.style.leading;
            width.min(height / house_shape)
        };
        let widest = if medium == Medium::Screen { 1 } else { n_tiles };
        let n_columns = (1..=widest).max_by(|&a, &b| size(a).total_cmp(&size(b))).unwrap_or(1);
        Self { n_columns, n_rows: n_tiles.div_ceil(n_columns).max(1) }
    }

    /// Width of each.
    pub fn width(&self, sheet: &Sheet) -> f64 {
        sheet.area.width / self.n_columns as f64
    }

    /// Draws the frame and the title of one of them.
    pub fn begin(&self, sheet: &mut Sheet, extent: &Extent, idx: usize, title: &str) -> Tile {
        let style = sheet.style;
        let (column, row) = ((idx % self.n_columns) as f64, (idx / self.n_columns) as f64);
        let (width, height) = (self.width(sheet), sheet.area.height / self.n_rows as f64);
        let (left, top) = (sheet.area.x + column * width, sheet.area.y + row * height);
        let tile = Rect::new(left, top, width, height);
        sheet.canvas.rect("tile", &tile, "none", Stroke::solid(GREY, style.thin));
        let text = &text::fit(title, style.text, true, tile.width - style.text);
        let at = (tile.x + style.text * 0.6, tile.y + 1.2 * style.text);
        let heading = Line { at, text, size: style.text, bold: true, anchor: Anchor::Start };
        sheet.canvas.text("tile-title", &heading);
        let top = heading.room().height + style.text;
        let area = Rect::new(tile.x, tile.y + top, tile.width, tile.height - top).shrunk(style.pad);
        let inner = area.shrunk(2.0 * style.symbol);
        let ratio = (inner.width / extent.width()).min(inner.height / extent.height()).max(0.0);
        let view = View::new(extent, &inner, ratio);
        Tile { area, view }
    }
}
