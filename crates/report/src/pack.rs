//! A PDF made smaller: its plain objects put into compressed object streams.
//!
//! A tagged table has an object for every cell, each with its own copy of the same dozen words, and the
//! typesetter writes them out plain: nine tenths of a long document. PDF 1.5 and later may keep
//! objects that are not streams inside streams (ISO 32000-1, 7.5.7), found through a stream in place of the
//! table of offsets (7.5.8). Nothing else changes: numbers, content and order of the objects stay.

use flate2::Compression;
use flate2::write::ZlibEncoder;
use std::io::Write as _;

/// So many objects in one stream: a reader has to inflate a whole stream for one of them.
const IN_ONE: usize = 400;

/// The same document in fewer bytes, or unchanged where it is not laid out as expected: one table of
/// offsets, generation 0 throughout, not encrypted.
pub(crate) fn pack(pdf: Vec<u8>) -> Vec<u8> {
    match Plain::read(&pdf).and_then(|plain| plain.packed()) {
        Some(packed) if packed.len() < pdf.len() => packed,
        _ => pdf,
    }
}

/// A document as written with a table of offsets.
struct Plain<'a> {
    /// What stands before the first object.
    head: &'a [u8],
    /// Number and body of each object, in the order of the file; the body is between `obj` and `endobj`.
    objects: Vec<(usize, &'a [u8])>,
    /// Entries of the trailer but `/Size`.
    trailer: &'a str,
    /// One more than the largest number of an object.
    size: usize,
}

impl<'a> Plain<'a> {
    fn read(pdf: &'a [u8]) -> Option<Self> {
        let table = {
            let at = rfind(pdf, b"startxref")?;
            let words = std::str::from_utf8(&pdf[at..]).ok()?;
            words.split_ascii_whitespace().nth(1)?.parse::<usize>().ok()?
        };
        let rest = pdf.get(table..)?.strip_prefix(b"xref\n0 ")?;
        let line = rest.iter().position(|&b| b == b'\n')?;
        let size: usize = std::str::from_utf8(&rest[..line]).ok()?.parse().ok()?;
        let entries = rest.get(line + 1..)?;
        let mut places = Vec::new();
        for number in 1..size {
            let entry = std::str::from_utf8(entries.get(number * 20..number * 20 + 18)?).ok()?;
            match entry.split_once(' ')? {
                (_, "65535 f") => {}
                (place, "00000 n") => places.push((place.parse::<usize>().ok()?, number)),
                _ => return None,
            }
        }
        places.sort_unstable();
        let ends = places.iter().skip(1).map(|&(place, _)| place).chain([table]);
        let objects = places.iter().zip(ends).map(|(&(place, number), end)| {
            let head = format!("{number} 0 obj\n");
            let object = pdf.get(place..end)?.trim_ascii_end();
            let body = object.strip_prefix(head.as_bytes())?.strip_suffix(b"endobj")?;
            Some((number, body.trim_ascii()))
        });
        let objects: Vec<_> = objects.collect::<Option<_>>()?;
        let trailer = std::str::from_utf8(entries.get(size * 20..)?).ok()?;
        let trailer = trailer.strip_prefix("trailer\n<<")?.split(">>\nstartxref").next()?;
        let trailer = trailer.strip_prefix(&format!("/Size {size}"))?.trim();
        let plain = !trailer.contains("/Encrypt")
            && !trailer.contains("/Prev")
            && !objects.iter().any(|(_, body)| length_stands_elsewhere(body));
        let head = pdf.get(..places.first()?.0)?;
        plain.then_some(Self { head, objects, trailer, size })
    }

    /// The object that an entry of the trailer refers to.
    fn named(&self, key: &str) -> Option<usize> {
        self.trailer.split(key).nth(1)?.split_ascii_whitespace().next()?.parse().ok()
    }

    fn packed(&self) -> Option<Vec<u8>> {
        let mut out = self.head.to_vec();
        // Of each object: 1 and its offset, or 2, the stream that holds it and its place in there.
        let mut found = vec![(0_u8, 0_usize, u16::MAX); self.size];
        // Catalogue and information stay plain: who only looks for the marks of a standard finds them.
        let named = ["/Root", "/Info"].map(|key| self.named(key));
        let (as_they_are, plain): (Vec<_>, Vec<_>) =
            self.objects.iter().copied().partition(|(number, body)| {
                body.ends_with(b"endstream") || named.contains(&Some(*number))
            });
        for (number, body) in as_they_are {
            found[number] = (1, out.len(), 0);
            write_object(&mut out, number, body);
        }
        for group in plain.chunks(IN_ONE) {
            let holder = found.len();
            for (at, (number, _)) in group.iter().enumerate() {
                found[*number] = (2, holder, u16::try_from(at).ok()?);
            }
            found.push((1, out.len(), 0));
            write_object(&mut out, holder, &object_stream(group)?);
        }
        let table = out.len();
        found.push((1, table, 0));
        let mut rows = Vec::with_capacity(found.len() * 7);
        for &(kind, place, at) in &found {
            rows.push(kind);
            rows.extend(u32::try_from(place).ok()?.to_be_bytes());
            rows.extend(at.to_be_bytes());
        }
        let entries = format!("/Type/XRef/Size {}/W[1 4 2]{}", found.len(), self.trailer);
        write_object(&mut out, found.len() - 1, &stream(&entries, &rows)?);
        out.extend(format!("startxref\n{table}\n%%EOF").into_bytes());
        Some(out)
    }
}

/// Many objects in one: first the number and place of each, then their bodies.
fn object_stream(group: &[(usize, &[u8])]) -> Option<Vec<u8>> {
    let mut places = String::new();
    let mut bodies = Vec::new();
    for (number, body) in group {
        places.push_str(&format!("{number} {} ", bodies.len()));
        bodies.extend_from_slice(body);
        bodies.push(b'\n');
    }
    let entries = format!("/Type/ObjStm/N {}/First {}", group.len(), places.len());
    let data = [places.into_bytes(), bodies].concat();
    stream(&entries, &data)
}

fn stream(entries: &str, data: &[u8]) -> Option<Vec<u8>> {
    let mut encoder = ZlibEncoder::new(Vec::new(), Compression::default());
    encoder.write_all(data).ok()?;
    let data = encoder.finish().ok()?;
    let head = format!("<<{entries}/Filter/FlateDecode/Length {}>>\nstream\n", data.len());
    Some([head.as_bytes(), &data, b"\nendstream"].concat())
}

fn write_object(out: &mut Vec<u8>, number: usize, body: &[u8]) {
    out.extend(format!("{number} 0 obj\n").into_bytes());
    out.extend_from_slice(body);
    out.extend_from_slice(b"\nendobj\n\n");
}

/// The length of a stream may not itself lie in a stream.
fn length_stands_elsewhere(body: &[u8]) -> bool {
    let Some(end) =
        body.windows(8).position(|window| window == b">>stream" || window == b"\nstream\n")
    else {
        return false;
    };
    let head = String::from_utf8_lossy(&body[..end]);
    head.split("/Length ").skip(1).any(|rest| {
        let mut words = rest.split([' ', '/', '>']);
        words.next().is_some_and(|word| word.parse::<u32>().is_ok())
            && words.next() == Some("0")
            && words.next() == Some("R")
    })
}

fn rfind(bytes: &[u8], what: &[u8]) -> Option<usize> {
    bytes.windows(what.len()).rposition(|window| window == what)
}

#[cfg(test)]
mod tests {
    use super::*;
    use flate2::read::ZlibDecoder;
    use std::collections::BTreeMap;
    use std::io::Read as _;

    /// A document of `n` dull objects and one stream, written as ISO 32000-1, 7.5.4 has it.
    fn written(n: usize, stream_entries: &str) -> Vec<u8> {
        let mut pdf = b"%PDF-1.7\n%\x80\x80\x80\x80\n\n".to_vec();
        let mut places = Vec::new();
        let mut bodies = vec![format!("<<{stream_entries}>>\nstream\nq Q endobj\nendstream")];
        bodies.extend(
            (0..n).map(|idx| format!("<</Type/StructElem/S/TD/P {} 0 R/K[{idx}]>>", idx + 1)),
        );
        for (idx, body) in bodies.iter().enumerate() {
            places.push(pdf.len());
            pdf.extend(format!("{} 0 obj\n{body}\nendobj\n\n", idx + 1).into_bytes());
        }
        let table = pdf.len();
        pdf.extend(format!("xref\n0 {}\n0000000000 65535 f\r\n", places.len() + 1).into_bytes());
        for place in &places {
            pdf.extend(format!("{place:010} 00000 n\r\n").into_bytes());
        }
        let size = places.len() + 1;
        pdf.extend(
            format!("trailer\n<</Size {size}/Root 2 0 R/ID[(a)(b)]>>\nstartxref\n{table}\n%%EOF")
                .into_bytes(),
        );
        pdf
    }

    /// Reads the table stream and the object streams back, as 7.5.7 and 7.5.8 have them.
    fn bodies(pdf: &[u8]) -> BTreeMap<usize, Vec<u8>> {
        let at = rfind(pdf, b"startxref\n").unwrap();
        let table = std::str::from_utf8(&pdf[at + 10..]).unwrap();
        let table: usize = table.lines().next().unwrap().parse().unwrap();
        let (_, rows) = inflated(&pdf[table..]);
        let row = |number: usize| {
            let row = &rows[number * 7..number * 7 + 7];
            let place = u32::from_be_bytes(row[1..5].try_into().unwrap()) as usize;
            (row[0], place, usize::from(u16::from_be_bytes(row[5..].try_into().unwrap())))
        };
        let mut found = BTreeMap::new();
        for number in 0..rows.len() / 7 {
            match row(number) {
                (1, place, _) => {
                    let head = format!("{number} 0 obj\n");
                    let object = pdf[place..].strip_prefix(head.as_bytes()).unwrap();
                    let end = object.windows(8).position(|w| w == b"\nendobj\n").unwrap();
                    found.insert(number, object[..end].to_vec());
                }
                (2, holder, at) => {
                    let (kind, place, _) = row(holder);
                    assert_eq!(kind, 1);
                    let (head, data) = inflated(&pdf[place..]);
                    let first: usize = head
                        .split("/First ")
                        .nth(1)
                        .unwrap()
                        .split('/')
                        .next()
                        .unwrap()
                        .parse()
                        .unwrap();
                    let places: Vec<usize> = std::str::from_utf8(&data[..first])
                        .unwrap()
                        .split_ascii_whitespace()
                        .map(|word| word.parse().unwrap())
                        .collect();
                    assert_eq!(places[2 * at], number);
                    let end = places.get(2 * at + 3).map_or(data.len(), |next| first + next);
                    let body = data[first + places[2 * at + 1]..end].trim_ascii();
                    found.insert(number, body.to_vec());
                }
                (kind, ..) => assert_eq!((kind, number), (0, 0)),
            }
        }
        found
    }

    fn inflated(object: &[u8]) -> (String, Vec<u8>) {
        let at = object.windows(8).position(|window| window == b"\nstream\n").unwrap();
        let mut data = Vec::new();
        ZlibDecoder::new(&object[at + 8..]).read_to_end(&mut data).unwrap();
        (String::from_utf8_lossy(&object[..at]).into_owned(), data)
    }

    #[test]
    fn every_object_is_there_again_in_a_fifth_of_the_bytes() {
        let pdf = written(2_000, "/Length 10");
        let packed = pack(pdf.clone());
        assert!(packed.len() * 5 < pdf.len(), "{} of {}", packed.len(), pdf.len());
        assert!(rfind(&packed, b"2 0 obj\n<</Type/StructElem").is_some());
        let found = bodies(&packed);
        let before = Plain::read(&pdf).unwrap().objects;
        assert_eq!(before.len(), 2_001);
        for (number, body) in before {
            assert_eq!(found[&number], body, "object {number}");
        }
    }

    #[test]
    fn what_is_laid_out_otherwise_stays_as_it_is() {
        let elsewhere = written(2_000, "/Length 7 0 R");
        let mut encrypted = written(2_000, "/Length 10");
        let trailer = rfind(&encrypted, b"/Root").unwrap();
        encrypted.splice(trailer..trailer, *b"/Encrypt 3 0 R");
        let mut cut = written(2_000, "/Length 10");
        cut.truncate(cut.len() - 9_000);
        for pdf in [elsewhere, encrypted, cut, b"%PDF-1.7\n%%EOF".to_vec(), Vec::new()] {
            assert_eq!(pack(pdf.clone()), pdf);
        }
    }
}
