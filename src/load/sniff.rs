//! Which format a file has, told by its content alone.

use super::error::LoadError;
use super::text::{self, is};

/// How to read a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    StlBinary,
    StlAscii,
    Ply,
    Obj,
}

/// Bytes before the triangles of a binary STL: 80 of header, 4 of count.
pub(super) const STL_HEAD: usize = 84;
/// Bytes a triangle in a binary STL: normal and corners as 12 singles, 2 bytes of attributes.
pub(super) const STL_TRIANGLE: usize = 50;

const EXPORT: &str = "export the scan from the scanner's software as STL, PLY or OBJ";
const UNPACK: &str = "unpack it first and name the file inside";

/// First bytes of what people send by mistake.
const FOREIGN: &[(&[u8], &str, &str)] = &[
    (b"%PDF", "a PDF document", EXPORT),
    (b"PK\x03\x04", "a zip archive (or a 3MF or office file)", UNPACK),
    (b"PK\x05\x06", "an empty zip archive", EXPORT),
    (b"\x1f\x8b", "a gzip archive", UNPACK),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive", UNPACK),
    (b"Rar!", "a RAR archive", UNPACK),
    (b"\x89PNG", "a PNG picture", EXPORT),
    (b"\xff\xd8\xff", "a JPEG picture", EXPORT),
    (b"GIF8", "a GIF picture", EXPORT),
    (b"glTF", "a binary glTF file", EXPORT),
    (b"\xff\xfe", "text in UTF-16", "save it as plain ASCII or UTF-8 text"),
    (b"\xfe\xff", "text in UTF-16", "save it as plain ASCII or UTF-8 text"),
];

/// Words that open a line of an OBJ file.
const OBJ_WORDS: &[&str] = &["v", "vt", "vn", "vp", "f", "o", "g", "s", "usemtl", "mtllib", "l", "p"];

/// Tells the format.
///
/// # Errors
/// Nothing in it, or something that is no surface.
pub(super) fn kind(bytes: &[u8]) -> Result<Kind, LoadError> {
    if bytes.is_empty() {
        return Err(LoadError::Empty);
    }
    // The size is the surest sign of a binary STL, whatever its header says (many begin with `solid`).
    if let Some(declared) = stl_count(bytes)
        && stl_size(declared) == bytes.len() as u64
    {
        return Ok(Kind::StlBinary);
    }
    if let Some((_, what, mend)) = FOREIGN.iter().find(|(magic, _, _)| bytes.starts_with(magic)) {
        return Err(LoadError::NotASurface { what: (*what).to_owned(), mend });
    }
    let body = text::without_mark(bytes);
    if body.starts_with(b"ply\n") || body.starts_with(b"ply\r") || body.starts_with(b"ply ") {
        return Ok(Kind::Ply);
    }
    if !is_text(bytes) {
        return if bytes.len() >= STL_HEAD { Ok(Kind::StlBinary) } else { Err(short(bytes)) };
    }
    text_kind(body)
}

/// The number of triangles that a binary STL declares.
pub(super) fn stl_count(bytes: &[u8]) -> Option<u32> {
    let count: [u8; 4] = bytes.get(80..STL_HEAD)?.try_into().ok()?;
    Some(u32::from_le_bytes(count))
}

/// The size that a binary STL of so many triangles has.
pub(super) fn stl_size(triangles: u32) -> u64 {
    STL_HEAD as u64 + STL_TRIANGLE as u64 * u64::from(triangles)
}

fn short(bytes: &[u8]) -> LoadError {
    let what = format!("{} bytes of unknown content (a binary STL has at least {STL_HEAD})", bytes.len());
    LoadError::NotASurface { what, mend: EXPORT }
}

/// Text has no control characters other than blanks in its first bytes.
fn is_text(bytes: &[u8]) -> bool {
    bytes.iter().take(1024).all(|b| text::is_blank(*b) || (*b >= 0x20 && *b != 0x7f))
}

fn text_kind(body: &[u8]) -> Result<Kind, LoadError> {
    let mut words = text::Words::new(body);
    while let Some(word) = words.next() {
        if word.starts_with(b"#") {
            words.skip_line();
            continue;
        }
        if is(word, "solid") || is(word, "facet") {
            return Ok(Kind::StlAscii);
        }
        if OBJ_WORDS.iter().any(|w| word == w.as_bytes()) {
            return Ok(Kind::Obj);
        }
        let lower = word.to_ascii_lowercase();
        if lower.starts_with(b"<!doctype") || lower.starts_with(b"<html") {
            return Err(LoadError::NotASurface { what: "a web page (HTML)".to_owned(), mend: EXPORT });
        }
        if lower.starts_with(b"<?xml") {
            return Err(LoadError::NotASurface { what: "an XML file".to_owned(), mend: EXPORT });
        }
        let what = format!("text whose line {} begins with {}", words.line, text::quoted(word));
        return Err(LoadError::NotASurface { what, mend: EXPORT });
    }
    Err(LoadError::NotASurface { what: "text without a word".to_owned(), mend: EXPORT })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_binary_stl_is_told_by_its_size_even_where_its_header_begins_with_solid() {
        let mut bytes = b"solid cast".to_vec();
        bytes.resize(80, b' ');
        bytes.extend(1u32.to_le_bytes());
        bytes.extend([0u8; 50]);
        assert_eq!(kind(&bytes), Ok(Kind::StlBinary));
        // One byte too many: the count still holds a control character, so it is no text.
        bytes.push(0);
        assert_eq!(kind(&bytes), Ok(Kind::StlBinary));
    }

    #[test]
    fn formats_and_strangers_are_told_by_content() {
        assert_eq!(kind(b"  SOLID\r\n"), Ok(Kind::StlAscii));
        assert_eq!(kind(b"# made here\nv 0 0 0\n"), Ok(Kind::Obj));
        assert_eq!(kind(b"ply\r\nformat ascii 1.0\r\n"), Ok(Kind::Ply));
        assert_eq!(kind(b""), Err(LoadError::Empty));
        for (bytes, word) in [
            (&b"%PDF-1.7"[..], "PDF"),
            (b"PK\x03\x04....", "zip"),
            (b"<!DOCTYPE html>", "HTML"),
            (b"Dear colleague", "`Dear`"),
            (b"\x00\x01", "2 bytes"),
        ] {
            let text = kind(bytes).unwrap_err().to_string();
            assert!(text.contains(word), "{text}");
        }
    }
}
