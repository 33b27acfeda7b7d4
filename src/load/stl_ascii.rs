//! ASCII STL, read tolerantly: any blanks, capitals and line ends, with or without names, several solids in a file.

use super::error::{LoadError, Place};
use super::polygon::Polygons;
use super::text::{self, Words, is};
use super::{Format, Soup};
use crate::mesh::audit::{Defect, DefectKind};

/// Reads an ASCII STL. All its solids make one surface; normals are not used.
///
/// # Errors
/// A word that does not belong, a number that is none or not finite, an end within a facet, no facet at all.
pub fn read(bytes: &[u8]) -> Result<Soup, LoadError> {
    let mut reader = Reader { words: Words::new(bytes), vertices: Vec::new(), polygons: Polygons::default() };
    let (mut open, mut facets) = (false, 0);
    while let Some(word) = reader.words.next() {
        if is(word, "solid") {
            open = true;
            reader.words.skip_line();
        } else if is(word, "endsolid") {
            open = false;
            reader.words.skip_line();
        } else if is(word, "facet") {
            reader.facet(facets)?;
            facets += 1;
        } else {
            return Err(reader.unexpected(word, "`facet`, `endsolid` or `solid`"));
        }
    }
    if facets == 0 {
        return Err(LoadError::NoTriangles { what: "an ASCII STL without a facet".to_owned() });
    }
    let line = reader.words.line;
    let split = reader.polygons.split(&reader.vertices)?;
    let mut defects = split.defects;
    defects.extend(open.then(|| unfinished(line, facets)));
    Ok(Soup {
        format: Format::StlAscii,
        vertices: reader.vertices,
        triangles: split.triangles,
        face_of: split.face_of,
        colours: None,
        properties: Vec::new(),
        defects,
    })
}

struct Reader<'a> {
    words: Words<'a>,
    vertices: Vec<[f64; 3]>,
    polygons: Polygons,
}

impl<'a> Reader<'a> {
    /// What follows the word `facet`, up to and with `endfacet`.
    fn facet(&mut self, facet: usize) -> Result<(), LoadError> {
        let mut word = self.word(facet)?;
        if is(word, "normal") {
            // Written as `nan` by some programs for a triangle without area, and not needed: only its words count.
            for _ in 0..3 {
                let component = self.word(facet)?;
                text::number(component, self.words.line)?;
            }
            word = self.word(facet)?;
        }
        if is(word, "outer") {
            let next = self.word(facet)?;
            if !is(next, "loop") {
                return Err(self.unexpected(next, "`loop` behind `outer`"));
            }
            word = self.word(facet)?;
        }
        let first = self.vertices.len();
        while is(word, "vertex") {
            self.vertex(facet)?;
            word = self.word(facet)?;
        }
        let corners = self.vertices.len() - first;
        if corners < 3 {
            return Err(self.unexpected(word, "`vertex` (a facet needs three corners)"));
        }
        if is(word, "endloop") {
            word = self.word(facet)?;
        }
        if !is(word, "endfacet") {
            return Err(self.unexpected(word, "`vertex`, `endloop` or `endfacet`"));
        }
        self.polygons.end_face();
        Ok(())
    }

    fn vertex(&mut self, facet: usize) -> Result<(), LoadError> {
        let mut position = [0.0; 3];
        for coordinate in &mut position {
            let word = self.word(facet)?;
            *coordinate = text::number(word, self.words.line)?;
            if !coordinate.is_finite() {
                let place = Place::Line(self.words.line);
                return Err(LoadError::NotFinite { owner: "triangle", index: facet, place });
            }
        }
        let index = u32::try_from(self.vertices.len()).map_err(|_| LoadError::TooMany)?;
        self.polygons.corner(index);
        self.vertices.push(position);
        Ok(())
    }

    fn word(&mut self, facet: usize) -> Result<&'a [u8], LoadError> {
        self.words.next().ok_or(LoadError::TextEnds { line: self.words.line, facet })
    }

    fn unexpected(&self, word: &[u8], wanted: &str) -> LoadError {
        LoadError::Malformed {
            place: Place::Line(self.words.line),
            problem: format!("{} where an ASCII STL has {wanted}", text::quoted(word)),
        }
    }
}

fn unfinished(line: usize, facets: usize) -> Defect {
    Defect {
        kind: DefectKind::UnfinishedFile,
        count: 1,
        at: None,
        says: format!(
            "The text ends at line {line} behind facet {} without `endsolid`: it may have been cut short. Compare \
             the surface with the scan.",
            facets - 1
        ),
        mended: false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FACET: &str = "facet normal 0 0 1\n outer loop\n vertex 0 0 0\n vertex 1 0 0\n vertex 0 1e0 0\n endloop\nendfacet\n";

    #[test]
    fn names_blanks_capitals_line_ends_and_several_solids_make_no_difference() {
        let plain = read(format!("solid a\n{FACET}{FACET}endsolid a\n").as_bytes()).unwrap();
        for other in [
            format!("solid\n{FACET}endsolid\nsolid second part\n{FACET}endsolid second part"),
            format!("\n   SOLID A\n{0}{0}ENDSOLID A\n", FACET.to_uppercase()),
            format!("solid a\n{FACET}{FACET}endsolid a\n").replace('\n', "\r\n"),
        ] {
            assert_eq!(read(other.as_bytes()).unwrap(), plain, "{other}");
        }
    }

    #[test]
    fn faults_are_named_by_line() {
        for (text, part) in [
            (format!("solid\n{FACET}").replace("1e0", "1e0x"), "line 6: `1e0x` is no number"),
            (format!("solid\n{FACET}").replace("1e0", "nan"), "triangle 0 (counted from 0)"),
            (format!("solid\n{FACET}").replace("1e0", "inf"), "line 6"),
            (format!("solid\n{FACET}").replace("endloop", "endlop"), "line 7: `endlop` where"),
            (format!("solid\n{FACET}").replace(" vertex 1 0 0\n", ""), "three corners"),
            (format!("solid\n{}", &FACET[..56]), "ends at line 5 within facet 0"),
            ("solid ground\nis what we need\n".to_owned(), "line 2: `is` where"),
            ("solid a\nendsolid a\n".to_owned(), "without a facet"),
        ] {
            let error = read(text.as_bytes()).unwrap_err().to_string();
            assert!(error.contains(part), "{error} lacks {part}");
        }
    }

    #[test]
    fn a_missing_end_mark_is_a_defect() {
        let soup = read(format!("solid\n{FACET}").as_bytes()).unwrap();
        assert_eq!(soup.defects[0].kind, DefectKind::UnfinishedFile);
    }
}
