//! What the typesetter may see: our fonts, the files that are handed in, and nothing else.
//!
//! There is no disk, no network, no package and no clock behind it.

use std::collections::BTreeMap;
use typst::diag::{FileError, FileResult};
use typst::foundations::{Bytes, Datetime, Duration};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Library, LibraryExt, World};

/// The fonts, all under the SIL Open Font License: see `fonts/README.md`.
const FONTS: [&[u8]; 4] = [
    include_bytes!("../fonts/LiberationSans-Regular.ttf"),
    include_bytes!("../fonts/LiberationSans-Bold.ttf"),
    include_bytes!("../fonts/NotoSansArabic-Regular.ttf"),
    include_bytes!("../fonts/NotoSansArabic-Bold.ttf"),
];

/// The fonts, read once for all documents of a run.
pub(crate) fn fonts() -> Vec<Font> {
    FONTS.into_iter().filter_map(|file| Font::new(Bytes::new(file), 0)).collect()
}

/// The files of one document.
pub(crate) struct PaperWorld {
    library: LazyHash<Library>,
    book: LazyHash<FontBook>,
    fonts: Vec<Font>,
    main: FileId,
    files: BTreeMap<String, Bytes>,
}

impl PaperWorld {
    /// A world of `files`, named by their path from the top, of which `main` is set.
    pub(crate) fn new(fonts: Vec<Font>, main: &str, files: BTreeMap<String, Bytes>) -> Self {
        Self {
            library: LazyHash::new(Library::default()),
            book: LazyHash::new(FontBook::from_fonts(&fonts)),
            fonts,
            main: file_id(main),
            files,
        }
    }
}

/// The id of a file; a path that leaves the top names nothing that exists.
fn file_id(path: &str) -> FileId {
    let path = VirtualPath::new(path).unwrap_or_else(|_| {
        VirtualPath::new("nowhere").expect("one plain word is a path inside the top")
    });
    RootedPath::new(VirtualRoot::Project, path).intern()
}

impl World for PaperWorld {
    fn library(&self) -> &LazyHash<Library> {
        &self.library
    }

    fn book(&self) -> &LazyHash<FontBook> {
        &self.book
    }

    fn main(&self) -> FileId {
        self.main
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        let text = self.file(id)?.to_str().map_err(|_| FileError::InvalidUtf8)?;
        Ok(Source::new(id, text.into()))
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        let path = id.get();
        let name = path.vpath().get_without_slash();
        let found = match path.root() {
            VirtualRoot::Project => self.files.get(name).cloned(),
            // Packages would come over the network.
            VirtualRoot::Package(_) => None,
        };
        found.ok_or_else(|| FileError::NotFound(name.into()))
    }

    fn font(&self, index: usize) -> Option<Font> {
        self.fonts.get(index).cloned()
    }

    fn today(&self, _offset: Option<Duration>) -> Option<Datetime> {
        None
    }
}
