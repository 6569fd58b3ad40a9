//! Photographs as crews send them: what they are is read from their first bytes, never from their name.
//!
//! Nothing here decodes a picture. A picture that claims to be larger than [`MOST_PIXELS`] is refused
//! before anybody could be made to hold so many pixels.

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::fmt;

/// No photo is larger than this, in bytes. The app scales a photo down to a fifth of it.
pub const MOST_BYTES: usize = 4 * 1024 * 1024;
/// No photo has more pixels than this: 50 million, more than phones take.
pub const MOST_PIXELS: u64 = 50_000_000;

/// The name of a photo: the SHA-256 of its bytes, so that the same photo has the same name everywhere.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct PhotoHash([u8; 32]);

impl PhotoHash {
    /// From its bytes.
    pub fn from_bytes(bytes: [u8; 32]) -> Self {
        Self(bytes)
    }

    /// From its 64 hexadecimal digits, small letters; nothing if it is anything else.
    pub fn parse(text: &str) -> Option<Self> {
        let is_digit = |byte: u8| byte.is_ascii_digit() || (b'a'..=b'f').contains(&byte);
        if text.len() != 64 || !text.bytes().all(is_digit) {
            return None;
        }
        let mut bytes = [0; 32];
        for (idx, byte) in bytes.iter_mut().enumerate() {
            *byte = u8::from_str_radix(&text[2 * idx..2 * idx + 2], 16).ok()?;
        }
        Some(Self(bytes))
    }

    /// Its bytes.
    pub fn as_bytes(&self) -> &[u8; 32] {
        &self.0
    }
}

impl fmt::Display for PhotoHash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl Serialize for PhotoHash {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for PhotoHash {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        let wrong = || serde::de::Error::custom("a photo is named by 64 hexadecimal digits");
        Self::parse(&text).ok_or_else(wrong)
    }
}

/// What a photo is kept as.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum PhotoKind {
    /// JPEG (ITU-T T.81).
    Jpeg,
    /// PNG (ISO/IEC 15948).
    Png,
    /// WebP (RFC 9649).
    Webp,
}

impl PhotoKind {
    /// The media type that it is served as.
    pub fn media_type(self) -> &'static str {
        match self {
            Self::Jpeg => "image/jpeg",
            Self::Png => "image/png",
            Self::Webp => "image/webp",
        }
    }

    /// What the name of its file ends in.
    pub fn ending(self) -> &'static str {
        match self {
            Self::Jpeg => "jpg",
            Self::Png => "png",
            Self::Webp => "webp",
        }
    }

    /// From what [`PhotoKind::media_type`] gave.
    pub fn of_media_type(text: &str) -> Option<Self> {
        [Self::Jpeg, Self::Png, Self::Webp].into_iter().find(|kind| kind.media_type() == text)
    }
}

/// What the first bytes of a photo say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PhotoHead {
    /// What it is.
    pub kind: PhotoKind,
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
}

/// Why a photo is not kept.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotAPhoto {
    /// Its first bytes are those of no picture that is kept.
    #[error(
        "this is no JPEG, PNG or WebP picture; save it as one of these, or take the photo in the app"
    )]
    OtherKind,
    /// It begins as a picture and its size cannot be read.
    #[error("this begins as a {} picture, and its size cannot be read: it is cut off or damaged; send it again", kind.ending())]
    NoSize {
        /// What it begins as.
        kind: PhotoKind,
    },
    /// Too many bytes.
    #[error(
        "the photo has {bytes} bytes, the limit is {MOST_BYTES}; the app scales photos down: send it from there, or save it smaller"
    )]
    TooLarge {
        /// How many it has.
        bytes: usize,
    },
    /// Too many pixels.
    #[error(
        "the photo says that it is {width} x {height} pixels, the limit is {MOST_PIXELS} in all; save it smaller"
    )]
    TooManyPixels {
        /// Pixels across.
        width: u32,
        /// Pixels down.
        height: u32,
    },
}

/// Reads from the first bytes of a photo what it is and how large, and refuses what is not kept.
///
/// # Errors
/// [`NotAPhoto`] with the limit and the way out.
///
/// # References
/// PNG: ISO/IEC 15948:2004, 5.2 and 11.2.2. JPEG: ITU-T T.81 (09/92), B.1.1.3 and B.2.2. WebP: RFC 9649
/// (2024), sections 2.4 to 2.7, with RFC 6386, 9.1 for the size of a lossy picture.
pub fn look_at(bytes: &[u8]) -> Result<PhotoHead, NotAPhoto> {
    if bytes.len() > MOST_BYTES {
        return Err(NotAPhoto::TooLarge { bytes: bytes.len() });
    }
    let is_webp = bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP");
    let (kind, size) = if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        (PhotoKind::Png, png(bytes))
    } else if bytes.starts_with(b"\xff\xd8\xff") {
        (PhotoKind::Jpeg, jpeg(bytes))
    } else if is_webp {
        (PhotoKind::Webp, webp(bytes))
    } else {
        return Err(NotAPhoto::OtherKind);
    };
    match size {
        Some((width, height)) if width > 0 && height > 0 => {
            if u64::from(width) * u64::from(height) > MOST_PIXELS {
                return Err(NotAPhoto::TooManyPixels { width, height });
            }
            Ok(PhotoHead { kind, width, height })
        }
        _ => Err(NotAPhoto::NoSize { kind }),
    }
}

fn two(bytes: &[u8], at: usize) -> Option<[u8; 2]> {
    bytes.get(at..at.checked_add(2)?)?.try_into().ok()
}

fn four(bytes: &[u8], at: usize) -> Option<[u8; 4]> {
    bytes.get(at..at.checked_add(4)?)?.try_into().ok()
}

/// The first chunk has to be the header, which is 13 bytes long.
fn png(bytes: &[u8]) -> Option<(u32, u32)> {
    let is_header = four(bytes, 8)? == [0, 0, 0, 13] && four(bytes, 12)? == *b"IHDR";
    let size = (u32::from_be_bytes(four(bytes, 16)?), u32::from_be_bytes(four(bytes, 20)?));
    is_header.then_some(size)
}

/// Goes from segment to segment to the header of the frame.
fn jpeg(bytes: &[u8]) -> Option<(u32, u32)> {
    let mut at = 2;
    loop {
        let [0xff, marker] = two(bytes, at)? else { return None };
        match marker {
            // A marker may be preceded by fill bytes.
            0xff => at += 1,
            // Start of frame, of every process; C4, C8 and CC are none.
            0xc0..=0xc3 | 0xc5..=0xc7 | 0xc9..=0xcb | 0xcd..=0xcf => {
                let (height, width) = (two(bytes, at + 5)?, two(bytes, at + 7)?);
                return Some((u16::from_be_bytes(width).into(), u16::from_be_bytes(height).into()));
            }
            // A picture within the picture's header stands inside a segment and is passed over with it:
            // here, its start or end, or scanned data, would come before any frame.
            0x00 | 0x01 | 0xd0..=0xda => return None,
            _ => {
                let length = usize::from(u16::from_be_bytes(two(bytes, at + 2)?));
                if length < 2 {
                    return None;
                }
                at += 2 + length;
            }
        }
    }
}

fn webp(bytes: &[u8]) -> Option<(u32, u32)> {
    let three = |at: usize| {
        let [a, b, c]: [u8; 3] = bytes.get(at..at + 3)?.try_into().ok()?;
        Some(u32::from_le_bytes([a, b, c, 0]))
    };
    match &four(bytes, 12)? {
        b"VP8 " => {
            let is_key_frame = bytes.get(23..26)? == [0x9d, 0x01, 0x2a];
            let side = |at| Some(u32::from(u16::from_le_bytes(two(bytes, at)?) & 0x3fff));
            is_key_frame.then_some((side(26)?, side(28)?))
        }
        b"VP8L" => {
            let bits = u32::from_le_bytes(four(bytes, 21)?);
            let size = ((bits & 0x3fff) + 1, (bits >> 14 & 0x3fff) + 1);
            (*bytes.get(20)? == 0x2f).then_some(size)
        }
        b"VP8X" => Some((three(24)? + 1, three(27)? + 1)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    macro_rules! picture {
        ($name:literal) => {
            include_bytes!(concat!("../tests/data/pictures/", $name)).as_slice()
        };
    }

    /// Pictures that another program wrote, see `tests/data/pictures/README.md`.
    const PICTURES: [(&[u8], PhotoKind); 6] = [
        (picture!("plain.png"), PhotoKind::Png),
        (picture!("plain.jpg"), PhotoKind::Jpeg),
        (picture!("progressive.jpg"), PhotoKind::Jpeg),
        (picture!("lossy.webp"), PhotoKind::Webp),
        (picture!("lossless.webp"), PhotoKind::Webp),
        (picture!("extended.webp"), PhotoKind::Webp),
    ];

    #[test]
    fn the_size_of_pictures_that_another_program_wrote_is_read() {
        for (bytes, kind) in PICTURES {
            assert_eq!(look_at(bytes), Ok(PhotoHead { kind, width: 37, height: 21 }));
        }
    }

    #[test]
    fn a_small_file_that_claims_to_be_huge_is_refused() {
        let mut png = picture!("plain.png").to_vec();
        png[16..20].copy_from_slice(&60_000_u32.to_be_bytes());
        png[20..24].copy_from_slice(&60_000_u32.to_be_bytes());
        let said = look_at(&png).unwrap_err();
        assert_eq!(said, NotAPhoto::TooManyPixels { width: 60_000, height: 60_000 });
        assert!(said.to_string().contains("50000000"), "{said}");
        png[16..20].copy_from_slice(&u32::MAX.to_be_bytes());
        assert!(matches!(look_at(&png), Err(NotAPhoto::TooManyPixels { .. })));
        png[16..20].copy_from_slice(&[0; 4]);
        assert_eq!(look_at(&png), Err(NotAPhoto::NoSize { kind: PhotoKind::Png }));
    }

    #[test]
    fn what_is_no_picture_or_cut_off_is_refused() {
        let svg = b"<svg xmlns=\"http://www.w3.org/2000/svg\"><script>alert(1)</script></svg>";
        for other in [
            &b""[..],
            svg,
            b"GIF89a%\0\x15\0",
            b"\x1f\x8b\x08\0",
            b"PK\x03\x04",
            b"BM",
            b"RIFF1234WAVE",
        ] {
            assert_eq!(look_at(other), Err(NotAPhoto::OtherKind));
        }
        for (bytes, kind) in PICTURES {
            for end in 12..24 {
                let cut = look_at(&bytes[..end]);
                assert!(
                    matches!(cut, Err(NotAPhoto::NoSize { kind: of }) if of == kind),
                    "{cut:?}"
                );
            }
        }
        let huge = vec![0; MOST_BYTES + 1];
        assert!(matches!(look_at(&huge), Err(NotAPhoto::TooLarge { .. })));
    }

    #[test]
    fn names_are_read_back_and_nothing_else_is_one() {
        let hash = PhotoHash::from_bytes(std::array::from_fn(|idx| idx as u8 * 8));
        assert_eq!(PhotoHash::parse(&hash.to_string()), Some(hash));
        let text = hash.to_string();
        for bad in
            ["", "..", &text[1..], &text.to_uppercase(), &format!("{text}0"), &"+1".repeat(32)]
        {
            assert_eq!(PhotoHash::parse(bad), None, "{bad}");
        }
    }

    proptest! {
        /// Whatever follows a true beginning, it ends, and never with more pixels than the limit.
        #[test]
        fn any_bytes_are_looked_at_without_trouble(
            start in proptest::sample::select(vec![0_usize, 1, 3, 5]),
            keep in 0_usize..40,
            rest in proptest::collection::vec(any::<u8>(), 0..200),
        ) {
            let bytes = PICTURES[start].0;
            let mut made = bytes[..keep.min(bytes.len())].to_vec();
            made.extend(rest);
            if let Ok(head) = look_at(&made) {
                prop_assert!(u64::from(head.width) * u64::from(head.height) <= MOST_PIXELS);
            }
        }
    }
}
