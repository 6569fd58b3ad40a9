//! A firm's logo, looked at before it is put on paper.

use crate::typeset::{Stamp, typeset};
use typst::foundations::Bytes;
use typst::visualize::{ExchangeFormat, RasterImage, SvgImage};

/// The largest file that is taken for a logo.
pub const MOST_BYTES: usize = 2 * 1024 * 1024;
/// The most pixels along a side: far more than print can show in the head of a page.
const MOST_PIXELS: u32 = 4000;

/// A logo that can be printed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Logo {
    /// Its name inside the document.
    pub(crate) file: &'static str,
    /// Its bytes.
    pub(crate) bytes: Vec<u8>,
}

/// Why a file is not used as a logo.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoLogo {
    /// It is too large a file.
    #[error("the logo is larger than {} KiB, which is the most that is taken: save it smaller", MOST_BYTES / 1024)]
    TooManyBytes,
    /// It has too many pixels.
    #[error("the logo is {0} by {1} pixels, at most {MOST_PIXELS} by {MOST_PIXELS} are taken")]
    TooManyPixels(u32, u32),
    /// It is no PNG, JPEG or SVG, whatever its name says.
    #[error("the logo is not a PNG, JPEG or SVG picture")]
    NotAPicture,
    /// It begins like one and cannot be read.
    #[error("the logo cannot be read as {0}")]
    Broken(&'static str),
    /// It is in the colours of print.
    #[error("the logo is a JPEG in the four colours of print: save it in RGB")]
    FourColours,
    /// It shows pictures that lie elsewhere.
    #[error("the logo is an SVG that links to another file: save it with everything inside")]
    Linked,
    /// It can be read and cannot be printed.
    #[error("the logo cannot be printed: {0}")]
    CannotBeSet(String),
}

impl Logo {
    /// Looks at a file.
    ///
    /// # Errors
    /// [`NoLogo`] says why it is not printed.
    pub fn new(bytes: Vec<u8>) -> Result<Self, NoLogo> {
        if bytes.len() > MOST_BYTES {
            return Err(NoLogo::TooManyBytes);
        }
        let logo = if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
            raster(&bytes, ExchangeFormat::Png, "PNG")?;
            Self { file: "logo.png", bytes }
        } else if bytes.starts_with(&[0xff, 0xd8, 0xff]) {
            raster(&bytes, ExchangeFormat::Jpg, "JPEG")?;
            if frame(&bytes).is_some_and(|frame| frame.colours == 4) {
                return Err(NoLogo::FourColours);
            }
            Self { file: "logo.jpg", bytes }
        } else if looks_like_svg(&bytes) {
            SvgImage::new(Bytes::new(bytes.clone())).map_err(|_| NoLogo::Broken("SVG"))?;
            if links_elsewhere(&bytes) {
                return Err(NoLogo::Linked);
            }
            Self { file: "logo.svg", bytes }
        } else {
            return Err(NoLogo::NotAPicture);
        };
        logo.on_trial()?;
        Ok(logo)
    }

    /// Prints it on a page of its own: what keeps a logo from being printed is found here, and not once a
    /// whole document waits for it.
    fn on_trial(&self) -> Result<(), NoLogo> {
        let page = format!(
            "#set document(title: [Trial])\n#set text(lang: \"en\")\n#image(\"{}\", height: 14mm, alt: \"logo\")",
            self.file
        );
        let files = [("trial.typ", page.into_bytes()), (self.file, self.bytes.clone())];
        let files = files.into_iter().map(|(name, bytes)| (name.to_owned(), bytes)).collect();
        let stamp = Stamp { date: Some((2000, 1, 1)), ident: "trial".to_owned() };
        let set = typeset("trial.typ", files, &stamp);
        set.map(|_| ()).map_err(|why| NoLogo::CannotBeSet(why.to_string()))
    }
}

/// Whether an SVG has a picture that is not inside it.
fn links_elsewhere(svg: &[u8]) -> bool {
    let text = String::from_utf8_lossy(svg);
    text.split("<image").skip(1).any(|image| {
        let tag = image.split('>').next().unwrap_or_default();
        let links = tag.split("href=").nth(1).unwrap_or_default();
        !links.trim_start_matches(['"', '\'', ' ']).starts_with("data:")
    })
}

fn looks_like_svg(bytes: &[u8]) -> bool {
    let head = &bytes[..bytes.len().min(1024)];
    std::str::from_utf8(bytes).is_ok() && head.windows(4).any(|window| window == b"<svg")
}

fn raster(bytes: &[u8], format: ExchangeFormat, name: &'static str) -> Result<(), NoLogo> {
    if let Some((width, height)) = pixels(bytes)
        && (width > MOST_PIXELS || height > MOST_PIXELS)
    {
        return Err(NoLogo::TooManyPixels(width, height));
    }
    let picture = RasterImage::plain(Bytes::new(bytes.to_vec()), format);
    picture.map(|_| ()).map_err(|_| NoLogo::Broken(name))
}

/// Width and height as the head of the file states them, before anything is unpacked.
fn pixels(bytes: &[u8]) -> Option<(u32, u32)> {
    frame(bytes).map(|frame| frame.pixels)
}

/// What the head of a picture states.
struct Frame {
    pixels: (u32, u32),
    /// Of how many colours a pixel is made; of a PNG it does not matter here.
    colours: u8,
}

/// Reads the head of a picture.
///
/// # References
/// PNG specification, IHDR; JPEG (ITU-T T.81 B.2.2), start of frame.
fn frame(bytes: &[u8]) -> Option<Frame> {
    if bytes.starts_with(b"\x89PNG") {
        let number = |at: usize| Some(u32::from_be_bytes(bytes.get(at..at + 4)?.try_into().ok()?));
        return Some(Frame { pixels: (number(16)?, number(20)?), colours: 3 });
    }
    let mut at = 2;
    loop {
        let &[0xff, marker, high, low] = bytes.get(at..at + 4)? else { return None };
        let is_start_of_frame =
            (0xc0..=0xcf).contains(&marker) && ![0xc4, 0xc8, 0xcc].contains(&marker);
        if is_start_of_frame {
            let &[a, b, c, d, colours] = bytes.get(at + 5..at + 10)? else { return None };
            let pair = |high: u8, low: u8| u32::from(u16::from_be_bytes([high, low]));
            return Some(Frame { pixels: (pair(c, d), pair(a, b)), colours });
        }
        at += 2 + usize::from(u16::from_be_bytes([high, low]));
    }
}
