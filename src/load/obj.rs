//! Wavefront OBJ: vertices, their colours where all have one, and faces; all groups make one surface.
//!
//! Read here and not by a crate, because labels are given in the file's own order of vertices and a fault is named by its
//! line; the tests hold it against `tobj`.

use super::error::{LoadError, Place};
use super::polygon::Polygons;
use super::text;
use super::{Format, Soup};
use crate::mesh::audit::{Defect, DefectKind};

/// Words whose lines carry nothing of the surface: texture, normals, groups, materials, lines and points.
const WITHOUT_SURFACE: &[&str] =
    &["vt", "vn", "vp", "o", "g", "s", "mg", "usemtl", "mtllib", "usemap", "maplib", "l", "p"];
const COUNTED: &str = "counted from 1, or from the end with a minus sign";

/// Reads an OBJ.
///
/// # Errors
/// A number that is none or not finite, a face that names a vertex that is not there, no face at all.
pub fn read(bytes: &[u8]) -> Result<Soup, LoadError> {
    let mut reader = Reader::default();
    let mut joined = Vec::new();
    for (i, raw) in text::without_mark(bytes).split(|b| *b == b'\n').enumerate() {
        let line = raw.strip_suffix(b"\r").unwrap_or(raw);
        if let Some(begun) = line.strip_suffix(b"\\") {
            joined.extend_from_slice(begun);
            joined.push(b' ');
        } else if joined.is_empty() {
            reader.line(line, i + 1)?;
        } else {
            joined.extend_from_slice(line);
            reader.line(&std::mem::take(&mut joined), i + 1)?;
        }
    }
    if !joined.is_empty() {
        reader.line(&joined, bytes.split(|b| *b == b'\n').count())?;
    }
    reader.finish()
}

#[derive(Default)]
struct Reader {
    vertices: Vec<[f64; 3]>,
    /// Colours as the file has them, one for each of the first vertices as long as all have one.
    colours: Vec<[f64; 3]>,
    polygons: Polygons,
    /// The first face that names a vertex that has not come yet; checked when all are known.
    ahead: Option<Ahead>,
    ignored: usize,
    first_ignored: Option<(usize, String)>,
}

/// The highest vertex that a face names before it has come.
struct Ahead {
    index: u32,
    face: usize,
    line: usize,
}

impl Reader {
    fn line(&mut self, text: &[u8], line: usize) -> Result<(), LoadError> {
        let text = text.split(|b| *b == b'#').next().unwrap_or_default();
        let mut words = text.split(|b| text::is_blank(*b)).filter(|w| !w.is_empty());
        match words.next() {
            None => Ok(()),
            Some(b"v") => self.vertex(words, line),
            Some(b"f" | b"fo") => self.face(words, line),
            Some(word) => {
                if !WITHOUT_SURFACE.iter().any(|w| word == w.as_bytes()) {
                    self.ignored += 1;
                    self.first_ignored.get_or_insert_with(|| (line, text::quoted(word)));
                }
                Ok(())
            }
        }
    }

    fn vertex<'a>(&mut self, words: impl Iterator<Item = &'a [u8]>, line: usize) -> Result<(), LoadError> {
        let (mut numbers, mut count) = ([0.0; 7], 0);
        for word in words {
            let value = text::number(word, line)?;
            if let Some(slot) = numbers.get_mut(count) {
                *slot = value;
            }
            count += 1;
        }
        if count < 3 {
            let problem = format!("a vertex with {count} coordinates instead of three");
            return Err(LoadError::Malformed { place: Place::Line(line), problem });
        }
        let [x, y, z, ..] = numbers;
        if ![x, y, z].iter().all(|c| c.is_finite()) {
            let (index, place) = (self.vertices.len(), Place::Line(line));
            return Err(LoadError::NotFinite { owner: "vertex", index, place });
        }
        // Three numbers behind the position are a colour, four a weight and a colour, one a weight.
        if count >= 6 && self.colours.len() == self.vertices.len() {
            let from = if count == 6 { 3 } else { 4 };
            self.colours.push([numbers[from], numbers[from + 1], numbers[from + 2]]);
        }
        self.vertices.push([x, y, z]);
        if self.vertices.len() >= u32::MAX as usize {
            return Err(LoadError::TooMany);
        }
        Ok(())
    }

    fn face<'a>(&mut self, words: impl Iterator<Item = &'a [u8]>, line: usize) -> Result<(), LoadError> {
        for word in words {
            let name = word.split(|b| *b == b'/').next().unwrap_or_default();
            let number = std::str::from_utf8(name).ok().and_then(|n| n.parse::<i64>().ok());
            let Some(number) = number else {
                let problem = format!("{} is no corner of a face", text::quoted(word));
                return Err(LoadError::Malformed { place: Place::Line(line), problem });
            };
            let known = self.vertices.len() as i64;
            let index = if number < 0 { known.checked_add(number) } else { number.checked_sub(1) };
            let Some(index) = index.and_then(|i| u32::try_from(i).ok()) else {
                return Err(self.out_of_range(number.to_string(), self.polygons.len(), line));
            };
            if i64::from(index) >= known && self.ahead.as_ref().is_none_or(|a| a.index < index) {
                self.ahead = Some(Ahead { index, face: self.polygons.len(), line });
            }
            self.polygons.corner(index);
        }
        self.polygons.end_face();
        Ok(())
    }

    fn out_of_range(&self, index: String, face: usize, line: usize) -> LoadError {
        let (place, vertices) = (Place::Line(line), self.vertices.len());
        LoadError::IndexOutOfRange { face, place, index, vertices, counted: COUNTED }
    }

    fn finish(self) -> Result<Soup, LoadError> {
        if let Some(ahead) = &self.ahead
            && ahead.index as usize >= self.vertices.len()
        {
            let index = (u64::from(ahead.index) + 1).to_string();
            return Err(self.out_of_range(index, ahead.face, ahead.line));
        }
        if self.polygons.len() == 0 {
            let what = format!("an OBJ with {} vertices and no face", self.vertices.len());
            return Err(LoadError::NoTriangles { what });
        }
        let split = self.polygons.split(&self.vertices)?;
        let mut defects = split.defects;
        if let Some((line, word)) = self.first_ignored {
            defects.push(Defect {
                kind: DefectKind::IgnoredContent,
                count: self.ignored,
                at: None,
                says: format!(
                    "{} lines were not read; the first is line {line}, which begins with {word}. Curved surfaces \
                     of an OBJ are not read: export the scan as triangles.",
                    self.ignored
                ),
                mended: false,
            });
        }
        let coloured = !self.colours.is_empty() && self.colours.len() == self.vertices.len();
        Ok(Soup {
            format: Format::Obj,
            triangles: split.triangles,
            face_of: split.face_of,
            colours: coloured.then(|| bytes_of(&self.colours)),
            properties: Vec::new(),
            defects,
            vertices: self.vertices,
        })
    }
}

/// Colours are 0 to 1 by custom; where any is above, the writer meant 0 to 255.
fn bytes_of(colours: &[[f64; 3]]) -> Vec<[u8; 3]> {
    let full = if colours.iter().flatten().any(|c| *c > 1.0) { 1.0 } else { 255.0 };
    colours.iter().map(|c| c.map(|part| (part * full).round().clamp(0.0, 255.0) as u8)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const SQUARE: &str = "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\n";

    #[test]
    fn corners_may_count_from_either_end_and_carry_texture_and_normals() {
        let plain = read(format!("{SQUARE}f 1 2 3\nf 1 3 4\n").as_bytes()).unwrap();
        for other in [
            format!("{SQUARE}f -4 -3 -2\nf -4 -2 -1\n"),
            format!(
                "# cast\r\no part\n{SQUARE}vn 0 0 1\nf 1//1 2//1 3//1\ng b\nf 1/2/1 3/2/1 4/2/1 # last\n"
            ),
            format!("{SQUARE}f 1 2 3\nf 1 \\\n3 4"),
            format!("f 1 2 3\nf 1 3 4\n{SQUARE}").replace('\n', "\r\n"),
        ] {
            assert_eq!(read(other.as_bytes()).unwrap(), plain, "{other}");
        }
        let quad = read(format!("{SQUARE}f 1 2 3 4\n").as_bytes()).unwrap();
        assert_eq!((quad.triangles, quad.face_of), (plain.triangles, Some(vec![0, 0])));
    }

    #[test]
    fn colours_are_kept_where_every_vertex_has_one() {
        let text = "v 0 0 0 1 0 0.5\nv 1 0 0 0 0 0\nv 0 1 0 1 1 1\nf 1 2 3\n";
        let soup = read(text.as_bytes()).unwrap();
        assert_eq!(soup.colours, Some(vec![[255, 0, 128], [0, 0, 0], [255, 255, 255]]));
        assert_eq!(read(text.replace(" 1 1 1", "").as_bytes()).unwrap().colours, None);
    }

    #[test]
    fn faults_are_named_by_line() {
        for (text, part) in [
            (format!("{SQUARE}f 1 2 9\n"), "face 0 (counted from 0), at line 5, names vertex 9"),
            (format!("{SQUARE}f 1 2 0\n"), "names vertex 0, but the file has 4 vertices"),
            (format!("{SQUARE}f -9 2 1\n"), "names vertex -9"),
            (format!("{SQUARE}f 1 2 x\n"), "line 5: `x` is no corner"),
            ("v 0 0 nan\nf 1 1 1\n".to_owned(), "vertex 0 (counted from 0)"),
            ("v 0 0\n".to_owned(), "line 1: a vertex with 2 coordinates"),
            (SQUARE.to_owned(), "an OBJ with 4 vertices and no face"),
        ] {
            let error = read(text.as_bytes()).unwrap_err().to_string();
            assert!(error.contains(part), "{error} lacks {part}");
        }
    }

    #[test]
    fn positions_and_faces_are_those_of_an_independent_reader() {
        // Rows of uneven heights, quads and triangles mixed.
        let (mut text, n) = (String::new(), 12);
        for i in 0..n * n {
            text.push_str(&format!("v {} {} {}\n", i % n, i / n, (i * 7 % 5) as f32 * 0.25));
        }
        for i in (0..n * (n - 1)).filter(|i| i % n != n - 1) {
            let (a, b, c, d) = (i + 1, i + 2, i + n + 2, i + n + 1);
            text.push_str(&if i % 2 == 0 {
                format!("f {a} {b} {c} {d}\n")
            } else {
                format!("f {a} {b} {c}\nf {a} {c} {d}\n")
            });
        }
        let ours = read(text.as_bytes()).unwrap();
        let options = tobj::LoadOptions { triangulate: true, ..Default::default() };
        let (models, _) =
            tobj::load_obj_buf(&mut text.as_bytes(), &options, |_| Ok(Default::default())).unwrap();
        let mesh = &models[0].mesh;
        assert_eq!(ours.triangles.len() * 3, mesh.indices.len());
        let area = |corners: [[f64; 3]; 3]| {
            let [a, b, c] = corners.map(|p| crate::space::Vector::new(p[0], p[1], p[2]));
            (b - a).cross(&(c - a)).norm() / 2.0
        };
        let position = |i: u32| [0, 1, 2].map(|k| f64::from(mesh.positions[3 * i as usize + k]));
        for i in (0..n * (n - 1)).filter(|i| i % 2 == 1 && i % n != n - 1) {
            let corner = ours.vertices[i];
            assert!((0..mesh.positions.len() as u32 / 3).any(|v| position(v) == corner));
        }
        let sum = |corners: &mut dyn Iterator<Item = [[f64; 3]; 3]>| corners.map(area).sum::<f64>();
        let theirs = sum(&mut mesh.indices.chunks(3).map(|c| [0, 1, 2].map(|k| position(c[k]))));
        let own = sum(&mut ours.triangles.iter().map(|t| t.map(|v| ours.vertices[v as usize])));
        // Quads that are not flat have another area along the other diagonal: within a twentieth here.
        assert!((own - theirs).abs() < 0.05 * theirs, "{own} against {theirs}");
    }
}
