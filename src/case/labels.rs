//! Tooth labels that come with a scan: one FDI number a vertex of its file, for STL one a triangle.
//!
//! `{"jaw": "lower", "labels": [0, 36, ..], "instances": [..]}`; 0 is gingiva. Only `labels` has to be there;
//! `instances` is not read.

use std::collections::BTreeMap;

use serde::Deserialize;

use super::{Arch, Tooth};
use crate::load::{Format, Import, printable};

/// Why labels cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LabelError {
    /// The text is no JSON of this form.
    #[error(
        "line {line}, column {column}: no tooth labels: {says}; give {{\"jaw\": \"lower\", \"labels\": [..]}}"
    )]
    Form {
        /// Line, counted from 1.
        line: usize,
        /// Column, counted from 1.
        column: usize,
        /// What the reader says.
        says: String,
    },
    /// Not one label a vertex or triangle of the file.
    #[error(
        "{labels} labels for a scan file with {wanted} {what}; give one a {each}, in the order of the scan file"
    )]
    Count {
        /// Labels given.
        labels: usize,
        /// Labels wanted.
        wanted: usize,
        /// `vertices` or `triangles`.
        what: &'static str,
        /// `vertex` or `triangle`.
        each: &'static str,
    },
    /// The jaw named is the other one.
    #[error("the labels are for the {found} jaw, but the scan is the {}; check which file belongs to which", .arch.word())]
    Jaw {
        /// The word in the file.
        found: String,
        /// The arch of the scan.
        arch: Arch,
    },
    /// A jaw that is neither.
    #[error("`{found}` is no jaw; write \"lower\" or \"upper\"")]
    UnknownJaw {
        /// The word in the file.
        found: String,
    },
    /// A label that is no tooth of the arch.
    #[error("label {index} (counted from 0) is {label}, which is no permanent tooth of the {} in FDI numbers; 0 means gingiva", .arch.word())]
    Tooth {
        /// Place in the list, counted from 0.
        index: usize,
        /// The label.
        label: i64,
        /// The arch of the scan.
        arch: Arch,
    },
}

#[derive(Deserialize)]
struct RawLabels {
    jaw: Option<String>,
    labels: Vec<i64>,
}

/// Reads labels: one FDI number a welded vertex of `import`, 0 where there is no tooth.
///
/// Where several labels meet in a welded vertex the most frequent wins, a tie goes to the one that comes first in the
/// file.
///
/// # Errors
/// Text of another form, a wrong number of labels, the other jaw, a label that is no tooth of `arch`.
pub fn read(text: &str, arch: Arch, import: &Import) -> Result<Vec<u8>, LabelError> {
    let raw: RawLabels = serde_json::from_str(text).map_err(|e| LabelError::Form {
        line: e.line(),
        column: e.column(),
        says: printable(&e.to_string(), 160),
    })?;
    if let Some(found) = raw.jaw {
        let jaw = match found.to_ascii_lowercase().as_str() {
            "lower" | "mandible" => Arch::Mandible,
            "upper" | "maxilla" => Arch::Maxilla,
            _ => return Err(LabelError::UnknownJaw { found: printable(&found, 32) }),
        };
        if jaw != arch {
            return Err(LabelError::Jaw { found, arch });
        }
    }
    let labels = numbers(&raw.labels, arch)?;
    let by_triangle = matches!(import.format, Format::StlBinary | Format::StlAscii);
    let (wanted, what, each) = match by_triangle {
        true => (import.file_triangles, "triangles", "triangle"),
        false => (import.file_vertices, "vertices", "vertex"),
    };
    if labels.len() != wanted {
        return Err(LabelError::Count { labels: labels.len(), wanted, what, each });
    }
    Ok(if by_triangle { from_triangles(&labels, import) } else { from_vertices(&labels, import) })
}

fn numbers(raw: &[i64], arch: Arch) -> Result<Vec<u8>, LabelError> {
    let number = |(index, &label): (usize, &i64)| {
        let tooth = u8::try_from(label).ok().and_then(Tooth::fdi).filter(|t| t.arch() == arch);
        match (label, tooth) {
            (0, _) => Ok(0),
            (_, Some(tooth)) => Ok(tooth.number()),
            (_, None) => Err(LabelError::Tooth { index, label, arch }),
        }
    };
    raw.iter().enumerate().map(number).collect()
}

/// Counts of labels at each welded vertex, in the order in which they come.
struct Votes(Vec<Vec<(u8, u32)>>);

impl Votes {
    fn new(vertices: usize) -> Votes {
        Votes(vec![Vec::new(); vertices])
    }

    fn cast(&mut self, vertex: u32, label: u8) {
        let Some(votes) = self.0.get_mut(vertex as usize) else { return };
        match votes.iter_mut().find(|(l, _)| *l == label) {
            Some((_, count)) => *count += 1,
            None => votes.push((label, 1)),
        }
    }

    fn winners(self) -> Vec<u8> {
        let first_of_most = |votes: Vec<(u8, u32)>| {
            votes
                .into_iter()
                .reduce(|best, vote| if vote.1 > best.1 { vote } else { best })
                .map_or(0, |v| v.0)
        };
        self.0.into_iter().map(first_of_most).collect()
    }
}

fn from_vertices(labels: &[u8], import: &Import) -> Vec<u8> {
    let mut votes = Votes::new(import.mesh.vertices().len());
    for (&vertex, &label) in import.welded_of.iter().zip(labels) {
        votes.cast(vertex, label);
    }
    votes.winners()
}

fn from_triangles(labels: &[u8], import: &Import) -> Vec<u8> {
    let mut votes = Votes::new(import.mesh.vertices().len());
    for (corners, &in_file) in import.mesh.faces().iter().zip(&import.file_face_of) {
        let Some(&label) = labels.get(in_file as usize) else { continue };
        for &vertex in corners {
            votes.cast(vertex, label);
        }
    }
    votes.winners()
}

/// How many welded vertices carry each label, gingiva left out.
pub fn sizes(labels: &[u8]) -> BTreeMap<Tooth, usize> {
    let mut sizes = BTreeMap::new();
    for tooth in labels.iter().filter_map(|&n| Tooth::fdi(n)) {
        *sizes.entry(tooth).or_insert(0) += 1;
    }
    sizes
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::Mesh;
    use crate::space::Point;
    use crate::units::LengthUnit;

    /// A square of two triangles; its PLY form has six vertices, welded to four, and a seventh that no triangle uses.
    fn square(format: Format) -> Import {
        let p = |x, y| Point::new(x, y, 0.0);
        let vertices = vec![p(0., 0.), p(1., 0.), p(1., 1.), p(0., 1.)];
        Import {
            mesh: Mesh::new(vertices, vec![[0, 1, 2], [0, 2, 3]]).unwrap(),
            format,
            unit: LengthUnit::Mm,
            // The second triangle of the file was left out, say because it had no area.
            file_triangles: 3,
            file_vertices: 7,
            welded_of: vec![0, 1, 2, 0, 2, 3, u32::MAX],
            file_face_of: vec![0, 2],
            colours: None,
            properties: Vec::new(),
            defects: Vec::new(),
        }
    }

    #[test]
    fn most_votes_win_where_corners_of_the_file_were_welded() {
        let import = Import { welded_of: vec![0, 0, 0, 1, 2, 3, 3], ..square(Format::PlyAscii) };
        assert_eq!(from_vertices(&[35, 36, 36, 11, 12, 13, 14], &import), [36, 11, 12, 13]);
    }

    #[test]
    fn labels_of_vertices_follow_the_welding() {
        let text = r#"{"jaw": "lower", "labels": [36, 36, 37, 36, 0, 0, 35], "instances": [1, 2]}"#;
        // Vertex 2 is labelled 37 and 0: a tie, so the first in the file stands.
        let labels = read(text, Arch::Mandible, &square(Format::PlyAscii)).unwrap();
        assert_eq!(labels, [36, 36, 37, 0]);
        assert_eq!(
            sizes(&labels).into_iter().map(|(t, n)| (t.number(), n)).collect::<Vec<_>>(),
            [(36, 2), (37, 1)]
        );
    }

    #[test]
    fn labels_of_an_stl_are_one_a_triangle_of_the_file() {
        let text = r#"{"labels": [36, 35, 0]}"#;
        // Vertices 0 and 2 touch both kept triangles: 36 once, 0 once; the first stands.
        assert_eq!(read(text, Arch::Mandible, &square(Format::StlBinary)).unwrap(), [36, 36, 36, 0]);
    }

    #[test]
    fn what_cannot_be_used_is_refused_with_what_is_wrong() {
        let import = square(Format::PlyAscii);
        let refused = |text: &str| read(text, Arch::Mandible, &import).unwrap_err().to_string();
        let short = refused(r#"{"labels": [36, 36]}"#);
        assert!(short.contains("2 labels") && short.contains("7 vertices"), "{short}");
        let stl =
            read(r#"{"labels": [36]}"#, Arch::Mandible, &square(Format::StlAscii)).unwrap_err().to_string();
        assert!(stl.contains("1 labels") && stl.contains("3 triangles"), "{stl}");
        assert!(refused(r#"{"jaw": "upper", "labels": []}"#).contains("mandible"));
        assert!(refused(r#"{"jaw": "left", "labels": []}"#).contains("no jaw"));
        assert!(refused(r#"{"labels": [0, 16, 0, 0, 0, 0, 0]}"#).contains("label 1"));
        assert!(refused(r#"{"labels": [-1]}"#).contains("-1"));
        assert!(refused(r#"{"labels": [75]}"#).contains("permanent"));
        assert!(refused("{\"labels\":\n [0.5]}").contains("line 2"));
        assert!(refused("").contains("no tooth labels"));
    }
}
