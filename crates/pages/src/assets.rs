//! Scripts and styles, as files of their own: the pages hold none.

/// A file that pages ask for.
#[derive(Clone, Copy, Debug)]
pub struct Asset {
    /// Its name below `/assets/`.
    pub name: &'static str,
    /// Its media type.
    pub media_type: &'static str,
    /// What is in it.
    pub content: &'static str,
}

macro_rules! assets {
    ($($name:literal as $media_type:literal),* $(,)?) => {
        &[$(Asset {
            name: $name,
            media_type: $media_type,
            content: include_str!(concat!("../assets/", $name)),
        }),*]
    };
}

/// All of them.
pub const ASSETS: &[Asset] = assets![
    "style.css" as "text/css; charset=utf-8",
    "app.js" as "text/javascript; charset=utf-8",
    "archive.js" as "text/javascript; charset=utf-8",
    "events.js" as "text/javascript; charset=utf-8",
    "devices.js" as "text/javascript; charset=utf-8",
    "forms.js" as "text/javascript; charset=utf-8",
    "keypad.js" as "text/javascript; charset=utf-8",
    "backdrop.js" as "text/javascript; charset=utf-8",
    "notes.js" as "text/javascript; charset=utf-8",
    "photos.js" as "text/javascript; charset=utf-8",
    "map.js" as "text/javascript; charset=utf-8",
    "pair.js" as "text/javascript; charset=utf-8",
    "worker.js" as "text/javascript; charset=utf-8",
];

/// The asset of this name.
pub fn asset(name: &str) -> Option<&'static Asset> {
    ASSETS.iter().find(|asset| asset.name == name)
}
