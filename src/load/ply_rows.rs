//! Rows of a PLY element, value by value.

use super::VertexProperty;
use super::error::{LoadError, Place};
use super::ply::{At, Source};
use super::polygon::Polygons;
use super::text;
use serde::de::{DeserializeSeed, Deserializer, Error, IgnoredAny, MapAccess, SeqAccess, Visitor};
use serde_ply::{ElementDef, PlyReader, PropertyType, ScalarType};

/// Takes the rows of one element.
pub(super) trait Sink {
    /// A scalar: the row's property `column`.
    fn scalar(&mut self, column: usize, value: f64);
    /// Whether the list in `column` is wanted.
    fn wants_list(&self, _column: usize) -> bool {
        false
    }
    /// One value of a list that is wanted.
    fn item(&mut self, _value: f64) -> Result<(), Fault> {
        Ok(())
    }
    /// The row is whole.
    fn end_row(&mut self) -> Result<(), Fault> {
        Ok(())
    }
    /// Rows taken so far.
    fn rows(&self) -> usize;
}

/// What is wrong with a row.
#[derive(Debug)]
pub(super) enum Fault {
    NotFinite,
    OutOfRange { index: f64, vertices: usize },
    TooMany,
}

/// Reads all rows of the current element into `sink`.
pub(super) fn read(
    ply: &mut PlyReader<Source<'_>>,
    element: &ElementDef,
    sink: &mut dyn Sink,
    at: &At<'_>,
) -> Result<(), LoadError> {
    let mut rows = RowsVisitor { element, sink, at, fault: None, row_from: 0 };
    let mut elements = &mut *ply;
    let Err(error) = elements.next_value_seed(&mut rows) else { return Ok(()) };
    let (row, from) = (rows.sink.rows(), rows.row_from);
    Err(match rows.fault {
        Some(Fault::NotFinite) => LoadError::NotFinite { owner: "vertex", index: row, place: at.place(from) },
        Some(Fault::OutOfRange { index, vertices }) => LoadError::IndexOutOfRange {
            face: row,
            place: at.place(from),
            index: index.to_string(),
            vertices,
            counted: "counted from 0",
        },
        Some(Fault::TooMany) => LoadError::TooMany,
        None if at.ended() || error.0.kind() == std::io::ErrorKind::UnexpectedEof => LoadError::Truncated {
            what: format!("rows of {}", text::quoted(element.name.as_bytes())),
            declared: element.count as u64,
            present: row as u64,
            byte: at.size(),
        },
        None => LoadError::Malformed {
            place: at.place(from),
            problem: format!(
                "row {row} (counted from 0) of {} is not what the header says ({})",
                text::quoted(element.name.as_bytes()),
                text::printable(&error.0.to_string(), 120)
            ),
        },
    })
}

struct RowsVisitor<'s> {
    element: &'s ElementDef,
    sink: &'s mut dyn Sink,
    at: &'s At<'s>,
    fault: Option<Fault>,
    /// Where the row that is being read begins in the body.
    row_from: usize,
}

impl<'de> DeserializeSeed<'de> for &mut RowsVisitor<'_> {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, rows: D) -> Result<(), D::Error> {
        rows.deserialize_seq(self)
    }
}

impl<'de> Visitor<'de> for &mut RowsVisitor<'_> {
    type Value = ();

    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("rows")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut rows: A) -> Result<(), A::Error> {
        while rows.next_element_seed(Row(self))?.is_some() {}
        Ok(())
    }
}

struct Row<'r, 's>(&'r mut RowsVisitor<'s>);

impl<'de> DeserializeSeed<'de> for Row<'_, '_> {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, row: D) -> Result<(), D::Error> {
        row.deserialize_map(self)
    }
}

impl<'de> Visitor<'de> for Row<'_, '_> {
    type Value = ();

    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("a row")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut row: A) -> Result<(), A::Error> {
        let rows = self.0;
        rows.row_from = rows.at.taken.get().body;
        for (column, property) in rows.element.properties.iter().enumerate() {
            row.next_key::<IgnoredAny>()?;
            match property.property_type {
                PropertyType::Scalar(_) => {
                    let value = row.next_value_seed(Number)?;
                    rows.sink.scalar(column, value);
                }
                PropertyType::List { .. } if rows.sink.wants_list(column) => {
                    row.next_value_seed(List(rows))?
                }
                PropertyType::List { .. } => {
                    row.next_value::<IgnoredAny>()?;
                }
            }
        }
        rows.sink.end_row().map_err(|fault| stop(&mut rows.fault, fault))
    }
}

/// Keeps the fault, which the library's own error cannot carry.
fn stop<E: Error>(slot: &mut Option<Fault>, fault: Fault) -> E {
    *slot = Some(fault);
    E::custom("stopped")
}

struct List<'r, 's>(&'r mut RowsVisitor<'s>);

impl<'de> DeserializeSeed<'de> for List<'_, '_> {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, list: D) -> Result<(), D::Error> {
        list.deserialize_seq(self)
    }
}

impl<'de> Visitor<'de> for List<'_, '_> {
    type Value = ();

    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("a list")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<(), A::Error> {
        while let Some(value) = list.next_element_seed(Number)? {
            self.0.sink.item(value).map_err(|fault| stop(&mut self.0.fault, fault))?;
        }
        Ok(())
    }
}

/// Any scalar as `f64`, which holds all types of PLY exactly.
struct Number;

impl<'de> DeserializeSeed<'de> for Number {
    type Value = f64;

    fn deserialize<D: Deserializer<'de>>(self, value: D) -> Result<f64, D::Error> {
        value.deserialize_any(self)
    }
}

impl Visitor<'_> for Number {
    type Value = f64;

    fn expecting(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("a number")
    }

    fn visit_i64<E: Error>(self, value: i64) -> Result<f64, E> {
        Ok(value as f64)
    }

    fn visit_u64<E: Error>(self, value: u64) -> Result<f64, E> {
        Ok(value as f64)
    }

    fn visit_f64<E: Error>(self, value: f64) -> Result<f64, E> {
        Ok(value)
    }
}

/// Takes rows that are not used.
#[derive(Default)]
pub(super) struct Rows {
    taken: usize,
}

impl Sink for Rows {
    fn scalar(&mut self, _column: usize, _value: f64) {}

    fn end_row(&mut self) -> Result<(), Fault> {
        self.taken += 1;
        Ok(())
    }

    fn rows(&self) -> usize {
        self.taken
    }
}

/// What a column of the vertices is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Column {
    Position(usize),
    Colour(usize),
    Other(usize),
    Skipped,
}

/// Takes the vertices.
pub(super) struct VertexRows {
    columns: Vec<Column>,
    pub positions: Vec<[f64; 3]>,
    position: [f64; 3],
    /// What a full colour value is in this file.
    full: Option<f64>,
    colours: Vec<[u8; 3]>,
    colour: [f64; 3],
    others: Vec<VertexProperty>,
}

impl VertexRows {
    /// Assigns the columns of the element.
    ///
    /// # Errors
    /// No position in it.
    pub(super) fn new(element: &ElementDef) -> Result<VertexRows, LoadError> {
        let scalar = |names: &[&str]| {
            element.properties.iter().position(|p| {
                names.contains(&p.name.as_str()) && matches!(p.property_type, PropertyType::Scalar(_))
            })
        };
        let mut columns = vec![Column::Skipped; element.properties.len()];
        for (k, name) in ["x", "y", "z"].into_iter().enumerate() {
            let Some(at) = scalar(&[name]) else {
                let problem = format!("the PLY header gives its vertices no `{name}`");
                return Err(LoadError::Malformed { place: Place::Line(1), problem });
            };
            columns[at] = Column::Position(k);
        }
        let colour =
            [["red", "r", "diffuse_red"], ["green", "g", "diffuse_green"], ["blue", "b", "diffuse_blue"]];
        let colour = colour.map(|names| scalar(&names));
        let mut full = None;
        if let [Some(red), Some(green), Some(blue)] = colour {
            for (k, at) in [red, green, blue].into_iter().enumerate() {
                columns[at] = Column::Colour(k);
            }
            full = match element.properties[red].property_type {
                PropertyType::Scalar(ScalarType::F32 | ScalarType::F64) => Some(1.0),
                PropertyType::Scalar(ScalarType::U16 | ScalarType::I16) => Some(65535.0),
                _ => Some(255.0),
            };
        }
        let mut others = Vec::new();
        for (column, property) in columns.iter_mut().zip(&element.properties) {
            if *column == Column::Skipped && matches!(property.property_type, PropertyType::Scalar(_)) {
                *column = Column::Other(others.len());
                others.push(VertexProperty { name: property.name.clone(), values: Vec::new() });
            }
        }
        // The header's count has been held against the file's size, so it may be believed here.
        let positions = Vec::with_capacity(element.count);
        let (position, colour) = ([0.0; 3], [0.0; 3]);
        Ok(VertexRows { columns, positions, position, full, colours: Vec::new(), colour, others })
    }

    /// One colour a vertex, where the file has them.
    pub(super) fn colours(&mut self) -> Option<Vec<[u8; 3]>> {
        self.full.map(|_| std::mem::take(&mut self.colours))
    }

    /// The other scalar properties.
    pub(super) fn properties(&mut self) -> Vec<VertexProperty> {
        std::mem::take(&mut self.others)
    }
}

impl Sink for VertexRows {
    fn scalar(&mut self, column: usize, value: f64) {
        match self.columns.get(column) {
            Some(Column::Position(k)) => self.position[*k] = value,
            Some(Column::Colour(k)) => self.colour[*k] = value,
            Some(Column::Other(i)) => {
                if let Some(other) = self.others.get_mut(*i) {
                    other.values.push(value);
                }
            }
            _ => {}
        }
    }

    fn end_row(&mut self) -> Result<(), Fault> {
        if !self.position.iter().all(|c| c.is_finite()) {
            return Err(Fault::NotFinite);
        }
        if self.positions.len() >= u32::MAX as usize {
            return Err(Fault::TooMany);
        }
        self.positions.push(self.position);
        if let Some(full) = self.full {
            self.colours.push(self.colour.map(|c| (c / full * 255.0).round().clamp(0.0, 255.0) as u8));
        }
        Ok(())
    }

    fn rows(&self) -> usize {
        self.positions.len()
    }
}

/// Takes the faces.
pub(super) struct FaceRows {
    corners_in: usize,
    vertices: usize,
    pub polygons: Polygons,
}

impl FaceRows {
    /// Finds the list of corners; every corner has to be below `vertices`.
    ///
    /// # Errors
    /// No such list.
    pub(super) fn new(element: &ElementDef, vertices: usize) -> Result<FaceRows, LoadError> {
        let lists = || {
            element
                .properties
                .iter()
                .enumerate()
                .filter(|(_, p)| matches!(p.property_type, PropertyType::List { .. }))
        };
        let corners = lists()
            .find(|(_, p)| ["vertex_indices", "vertex_index"].contains(&p.name.as_str()))
            .or_else(|| lists().next().filter(|_| lists().count() == 1));
        let Some((corners_in, _)) = corners else {
            let problem = "the PLY header gives its faces no list `vertex_indices`".to_owned();
            return Err(LoadError::Malformed { place: Place::Line(1), problem });
        };
        Ok(FaceRows { corners_in, vertices, polygons: Polygons::default() })
    }
}

impl Sink for FaceRows {
    fn scalar(&mut self, _column: usize, _value: f64) {}

    fn wants_list(&self, column: usize) -> bool {
        column == self.corners_in
    }

    fn item(&mut self, value: f64) -> Result<(), Fault> {
        let index = value as u32;
        if f64::from(index) != value || index as usize >= self.vertices {
            return Err(Fault::OutOfRange { index: value, vertices: self.vertices });
        }
        self.polygons.corner(index);
        Ok(())
    }

    fn end_row(&mut self) -> Result<(), Fault> {
        self.polygons.end_face();
        Ok(())
    }

    fn rows(&self) -> usize {
        self.polygons.len()
    }
}
