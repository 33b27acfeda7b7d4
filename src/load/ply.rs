//! PLY, ASCII and binary in both byte orders, through `serde-ply`.
//!
//! The header's counts are held against the size of the file before anything is read; vertex colours and all other
//! scalar properties of the vertices are kept.

use super::error::{LoadError, Place};
use super::ply_rows::{self, FaceRows, Rows, VertexRows};
use super::text;
use super::{Format, Soup};
use crate::mesh::audit::{Defect, DefectKind};
use serde_ply::{ElementDef, PlyFormat, PlyReader, PropertyType, ScalarType};
use std::cell::Cell;
use std::io::{BufRead, Read};

/// Reads a PLY.
///
/// # Errors
/// A header that makes no sense or promises more than the file holds, a number that is none or not finite, a face that
/// names a vertex that is not there, no face at all.
pub fn read(bytes: &[u8]) -> Result<Soup, LoadError> {
    let bytes = text::without_mark(bytes);
    let (header, body) = split_header(bytes)?;
    let place = Cell::new(Taken::default());
    let ascii = header_says_ascii(&header);
    let source = Source { header: header.as_bytes(), body, closing_blank: ascii, taken: &place };
    let mut ply = PlyReader::from_reader(source).map_err(|e| {
        let problem = format!("the PLY header makes no sense ({})", text::printable(&e.0.to_string(), 120));
        LoadError::Malformed { place: Place::Line(place.get().header_line(&header)), problem }
    })?;
    let at = At { body, taken: &place, header_bytes: bytes.len() - body.len(), header: &header, ascii };
    let elements = ply.header().elem_defs.clone();
    check_sizes(&elements, ascii, body.len(), bytes.len())?;
    let format = match ply.header().format {
        PlyFormat::Ascii => Format::PlyAscii,
        PlyFormat::BinaryLittleEndian => Format::PlyLittleEndian,
        PlyFormat::BinaryBigEndian => Format::PlyBigEndian,
    };
    let count = |name: &str| elements.iter().find(|e| e.name == name).map_or(0, |e| e.count);
    let mut vertices = VertexRows::new(named(&elements, "vertex")?)?;
    let mut faces = FaceRows::new(named(&elements, "face")?, count("vertex"))?;
    let mut defects = Vec::new();
    let (mut seen_vertices, mut seen_faces) = (false, false);
    for element in &elements {
        let mut other = Rows::default();
        let sink: &mut dyn ply_rows::Sink = match element.name.as_str() {
            "vertex" if !std::mem::replace(&mut seen_vertices, true) => &mut vertices,
            "face" if !std::mem::replace(&mut seen_faces, true) => &mut faces,
            _ => {
                defects.extend(not_used(element));
                &mut other
            }
        };
        ply_rows::read(&mut ply, element, sink, &at)?;
    }
    if faces.polygons.len() == 0 {
        let what = format!("a PLY with {} vertices and no face", vertices.positions.len());
        return Err(LoadError::NoTriangles { what });
    }
    let split = faces.polygons.split(&vertices.positions)?;
    defects.extend(split.defects);
    defects.extend(at.rest());
    Ok(Soup {
        format,
        triangles: split.triangles,
        face_of: split.face_of,
        colours: vertices.colours(),
        properties: vertices.properties(),
        defects,
        vertices: vertices.positions,
    })
}

/// The header as text with `\n` line ends, and the bytes behind it.
fn split_header(bytes: &[u8]) -> Result<(String, &[u8]), LoadError> {
    // Files of old writers end lines with a lone carriage return.
    let lone_return = bytes.get(3) == Some(&b'\r') && bytes.get(4) != Some(&b'\n');
    let end_of_line = if lone_return { b'\r' } else { b'\n' };
    let (mut from, mut lines) = (0, 0);
    while let Some(length) = bytes.get(from..).and_then(|b| b.iter().position(|c| *c == end_of_line)) {
        lines += 1;
        let line = bytes.get(from..from + length).unwrap_or_default().trim_ascii();
        from += length + 1;
        if line == b"end_header" {
            let (header, body) = bytes.split_at(from);
            let header = String::from_utf8_lossy(header);
            let header = if lone_return { header.replace('\r', "\n") } else { header.into_owned() };
            return Ok((header, body));
        }
    }
    let problem = "the PLY header has no `end_header`; the file was cut short or is no PLY".to_owned();
    Err(LoadError::Malformed { place: Place::Line(lines + 1), problem })
}

fn header_says_ascii(header: &str) -> bool {
    header.lines().any(|l| {
        let mut words = l.split_whitespace();
        words.next() == Some("format") && words.next() == Some("ascii")
    })
}

fn named<'e>(elements: &'e [ElementDef], name: &str) -> Result<&'e ElementDef, LoadError> {
    elements.iter().find(|e| e.name == name).ok_or_else(|| {
        let names: Vec<_> = elements.iter().map(|e| text::quoted(e.name.as_bytes())).collect();
        LoadError::NoTriangles { what: format!("a PLY without `{name}`; it has {}", list(&names)) }
    })
}

/// Names of elements, as many as a message can bear: a damaged header may hold thousands.
fn list(names: &[String]) -> String {
    const MOST: usize = 5;
    let shown: Vec<&str> = names.iter().take(MOST).map(String::as_str).collect();
    match names.len() {
        0 => "no element".to_owned(),
        n if n > MOST => format!("{} and {} more", shown.join(", "), n - MOST),
        _ => shown.join(", "),
    }
}

/// No row can be shorter than its scalars and list counts: a header that promises more rows than fit is refused
/// before anything is read.
fn check_sizes(elements: &[ElementDef], ascii: bool, body: usize, size: usize) -> Result<(), LoadError> {
    let mut left = body as u64 + u64::from(ascii);
    for element in elements {
        let row = least_row(element, ascii);
        let need = row.saturating_mul(element.count as u64);
        if need > left {
            return Err(LoadError::Truncated {
                what: format!("rows of {}", text::quoted(element.name.as_bytes())),
                declared: element.count as u64,
                present: left / row,
                byte: size,
            });
        }
        left -= need;
    }
    Ok(())
}

fn least_row(element: &ElementDef, ascii: bool) -> u64 {
    let bytes = |t: ScalarType| match t {
        _ if ascii => 2, // a digit and a blank
        ScalarType::I8 | ScalarType::U8 => 1,
        ScalarType::I16 | ScalarType::U16 => 2,
        ScalarType::I32 | ScalarType::U32 | ScalarType::F32 => 4,
        ScalarType::F64 => 8,
    };
    let row: u64 = element
        .properties
        .iter()
        .map(|p| match p.property_type {
            PropertyType::Scalar(t) => bytes(t),
            PropertyType::List { count_type, .. } => bytes(count_type),
        })
        .sum();
    row.max(1)
}

fn not_used(element: &ElementDef) -> Option<Defect> {
    (element.count > 0).then(|| Defect {
        kind: DefectKind::IgnoredContent,
        count: element.count,
        at: None,
        says: format!(
            "{} rows of {} are no part of the surface and were not used.",
            element.count,
            text::quoted(element.name.as_bytes())
        ),
        mended: false,
    })
}

/// How much of the header and of the body has been taken.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Taken {
    header: usize,
    pub(super) body: usize,
}

impl Taken {
    fn header_line(self, header: &str) -> usize {
        let before = header.as_bytes().get(..self.header).unwrap_or_default();
        before.iter().filter(|b| **b == b'\n').count().max(1)
    }
}

/// Turns what has been taken into a place in the file.
pub(super) struct At<'a> {
    body: &'a [u8],
    pub(super) taken: &'a Cell<Taken>,
    header_bytes: usize,
    header: &'a str,
    ascii: bool,
}

impl At<'_> {
    /// The place of what was taken last; `from` is where its row began, for binary files.
    pub(super) fn place(&self, from: usize) -> Place {
        if !self.ascii {
            return Place::Byte(self.header_bytes + from);
        }
        // The blank behind the last word has been taken too: it does not count as a new line.
        let before = self.taken.get().body.saturating_sub(1);
        let lines = |bytes: &[u8]| bytes.iter().filter(|b| **b == b'\n').count();
        let body = self.body.get(..before).unwrap_or(self.body);
        Place::Line(lines(self.header.as_bytes()) + lines(body) + 1)
    }

    /// Whether nothing is left.
    pub(super) fn ended(&self) -> bool {
        self.taken.get().body >= self.body.len()
    }

    /// Size of the whole file, bytes.
    pub(super) fn size(&self) -> usize {
        self.header_bytes + self.body.len()
    }

    fn rest(&self) -> Option<Defect> {
        let rest = self.body.get(self.taken.get().body..).unwrap_or_default();
        let rest = if self.ascii { rest.trim_ascii() } else { rest };
        (!rest.is_empty()).then(|| Defect {
            kind: DefectKind::IgnoredContent,
            count: rest.len(),
            at: None,
            says: format!(
                "{} bytes stand behind the last row that the header declares (from {}) and were not read. If \
                 something is missing from the surface, export the scan again.",
                rest.len(),
                self.place(self.taken.get().body)
            ),
            mended: false,
        })
    }
}

/// Header, then body; counts what is taken.
pub(super) struct Source<'a> {
    header: &'a [u8],
    body: &'a [u8],
    /// The ASCII reader wants a blank behind the last word.
    closing_blank: bool,
    taken: &'a Cell<Taken>,
}

impl Read for Source<'_> {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let from = self.fill_buf()?;
        let n = from.len().min(buffer.len());
        buffer[..n].copy_from_slice(&from[..n]);
        self.consume(n);
        Ok(n)
    }

    fn read_exact(&mut self, buffer: &mut [u8]) -> std::io::Result<()> {
        if self.header.is_empty() && self.body.len() >= buffer.len() {
            buffer.copy_from_slice(&self.body[..buffer.len()]);
            self.consume(buffer.len());
            return Ok(());
        }
        let mut done = 0;
        while done < buffer.len() {
            match self.read(&mut buffer[done..])? {
                0 => return Err(std::io::ErrorKind::UnexpectedEof.into()),
                n => done += n,
            }
        }
        Ok(())
    }
}

impl BufRead for Source<'_> {
    fn fill_buf(&mut self) -> std::io::Result<&[u8]> {
        Ok(match (self.header, self.body) {
            ([], []) if self.closing_blank => b"\n",
            ([], body) => body,
            (header, _) => header,
        })
    }

    fn consume(&mut self, amount: usize) {
        let mut taken = self.taken.get();
        if !self.header.is_empty() {
            taken.header += amount;
            self.header = self.header.get(amount..).unwrap_or_default();
        } else {
            taken.body += amount;
            self.closing_blank &= !(self.body.is_empty() && amount > 0);
            self.body = self.body.get(amount..).unwrap_or_default();
        }
        self.taken.set(taken);
    }
}

#[cfg(test)]
#[path = "ply_tests.rs"]
mod tests;
