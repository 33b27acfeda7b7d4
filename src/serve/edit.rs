//! A mark into the text of the case file: keys are set where they stand, and all else (comments, order, blank lines) stays.

use serde::Deserialize;
use toml_edit::{Array, DocumentMut, InlineTable, Item, Table, TableLike, Value};

use crate::case::{CaseFile, ClaspKind, Notation, Surface, Tooth};

/// A position, mm.
pub(super) type At = [f64; 3];

/// Points of one mark at most; a margin of 0.1 mm steps has 400.
const MOST_POINTS: usize = 4000;

/// What the page sets or takes away. Teeth are FDI numbers, positions mm.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(tag = "mark", rename_all = "snake_case", deny_unknown_fields)]
pub(super) enum Edit {
    /// Three points on the occlusal plane.
    OcclusalPlane {
        /// The points.
        points: [At; 3],
    },
    /// A point on a crown.
    Tooth {
        /// The tooth.
        tooth: Tooth,
        /// The point.
        point: At,
    },
    /// The crest line of a residual ridge; in place of another where `replaces` gives its number, from 0.
    Crest {
        /// The line.
        points: Vec<At>,
        /// Number of the line that it replaces.
        replaces: Option<usize>,
    },
    /// The gingival margin of a tooth, closed.
    Margin {
        /// The tooth.
        tooth: Tooth,
        /// The curve.
        points: Vec<At>,
    },
    /// The outline of a torus, closed.
    Torus {
        /// The curve.
        points: Vec<At>,
    },
    /// A place on a torus: whatever was found there is one.
    TorusAt {
        /// The place.
        point: At,
    },
    /// Teeth that shall carry the denture.
    Abutments {
        /// The teeth.
        teeth: Vec<Tooth>,
    },
    /// Where the tip of a clasp shall rest; the clasp is asked for on that surface.
    ClaspTip {
        /// The tooth.
        tooth: Tooth,
        /// The place.
        point: At,
        /// The surface it lies on.
        surface: Surface,
        /// Kind of the clasp, where there is none yet.
        kind: ClaspKind,
    },
    /// Where the middle of the attachment shall stand.
    Attachment {
        /// The place, on the crest.
        point: At,
        /// The place that it replaces, by its number from 0.
        replaces: Option<usize>,
    },
    /// The path of insertion by its tilt.
    Path {
        /// Lean toward anterior, degrees.
        anterior_deg: f64,
        /// Lean toward the patient's left, degrees.
        left_deg: f64,
    },
    /// No path given: it is searched.
    PathSearched {},
    /// A mark taken away.
    Remove {
        /// Key under `[marks]`.
        key: String,
        /// Its tooth, where it has one.
        tooth: Option<Tooth>,
        /// Its number in a list, from 0.
        number: Option<usize>,
    },
}

/// Keys under `[marks]` that can be taken away.
const REMOVED: [&str; 9] = [
    "occlusal_plane",
    "midline",
    "teeth",
    "crests",
    "margins",
    "tori",
    "tori_at",
    "clasp_tips",
    "attachment_at",
];

impl Edit {
    /// What it is, in words, for the history.
    pub fn words(&self, notation: Notation) -> String {
        let t = |tooth: &Tooth| tooth.show(notation);
        match self {
            Edit::OcclusalPlane { .. } => "occlusal plane marked".into(),
            Edit::Tooth { tooth, .. } => format!("point on {} marked", t(tooth)),
            Edit::Crest { .. } => "crest line marked".into(),
            Edit::Margin { tooth, .. } => format!("gingival margin of {} marked", t(tooth)),
            Edit::Torus { .. } => "outline of a torus marked".into(),
            Edit::TorusAt { .. } => "place of a torus marked".into(),
            Edit::Abutments { teeth } => {
                format!("abutments chosen: {}", teeth.iter().map(t).collect::<Vec<_>>().join(", "))
            }
            Edit::ClaspTip { tooth, surface, .. } => {
                format!("clasp tip on {} {} marked", t(tooth), surface.word())
            }
            Edit::Attachment { .. } => "place of the attachment marked".into(),
            Edit::Path { .. } => "path set to the tilt shown".into(),
            Edit::PathSearched {} => "path left to the search".into(),
            Edit::Remove { key, .. } => format!("mark taken away ({})", key.replace('_', " ")),
        }
    }

    /// The text with this edit; `file` is what the text says now.
    ///
    /// # Errors
    /// The edit cannot be put into this text; in words.
    pub fn apply(&self, text: &str, file: &CaseFile) -> Result<String, String> {
        let mut doc: DocumentMut =
            text.parse().map_err(|e| format!("the case file cannot be edited: {e}"))?;
        let pen = Pen { unit_mm: file.scans.unit.mm(), notation: file.notation };
        let root = doc.as_table_mut();
        match self {
            Edit::OcclusalPlane { points } => {
                put(marks(root)?, "occlusal_plane", Value::Array(pen.points(points)?));
            }
            Edit::Tooth { tooth, point } => {
                pen.by_tooth(marks(root)?, "teeth", *tooth, Value::Array(pen.point(point)?))?;
            }
            Edit::Margin { tooth, points } => {
                pen.by_tooth(marks(root)?, "margins", *tooth, Value::Array(pen.points(points)?))?;
            }
            Edit::Crest { points, replaces } => {
                listed(marks(root)?, "crests", Value::Array(pen.points(points)?), *replaces)?;
            }
            Edit::Torus { points } => {
                listed(marks(root)?, "tori", Value::Array(pen.points(points)?), None)?;
            }
            Edit::TorusAt { point } => {
                listed(marks(root)?, "tori_at", Value::Array(pen.point(point)?), None)?;
            }
            Edit::Attachment { point, replaces } => {
                listed(marks(root)?, "attachment_at", Value::Array(pen.point(point)?), *replaces)?;
            }
            Edit::Abutments { teeth } => {
                let all: Array = teeth.iter().map(|t| pen.tooth(*t)).collect();
                put(table(root, "design")?, "abutments", Value::Array(all));
            }
            Edit::ClaspTip { tooth, point, surface, kind } => {
                pen.clasp(table(root, "design")?, *tooth, *surface, *kind)?;
                pen.by_tooth(marks(root)?, "clasp_tips", *tooth, Value::Array(pen.point(point)?))?;
            }
            Edit::Path { anterior_deg, left_deg } => {
                let path = table(root, "path")?;
                path.remove("withdrawal");
                let mut tilt = InlineTable::new();
                tilt.insert("anterior", degrees(*anterior_deg)?.into());
                tilt.insert("left", degrees(*left_deg)?.into());
                match path.get_mut("tilt_deg").and_then(Item::as_table_like_mut) {
                    Some(known) => tilt.iter().for_each(|(key, value)| put(known, key, value.clone())),
                    None => put(path, "tilt_deg", Value::InlineTable(tilt)),
                }
            }
            Edit::PathSearched {} => {
                if let Some(path) = root.get_mut("path").and_then(Item::as_table_like_mut) {
                    path.remove("withdrawal");
                    path.remove("tilt_deg");
                }
            }
            Edit::Remove { key, tooth, number } => pen.remove(marks(root)?, key, *tooth, *number)?,
        }
        Ok(doc.to_string())
    }
}

fn degrees(deg: f64) -> Result<f64, String> {
    if deg.is_finite() {
        Ok((deg * 100.0).round() / 100.0)
    } else {
        Err("a tilt is a number of degrees".into())
    }
}

/// How places and teeth are written in a file.
struct Pen {
    unit_mm: f64,
    notation: Notation,
}

impl Pen {
    /// A place to the micrometre, in the unit of the scans.
    fn point(&self, at: &At) -> Result<Array, String> {
        if !at.iter().all(|c| c.is_finite()) {
            return Err("a place has three finite coordinates".into());
        }
        let own = |mm: f64| (((mm * 1000.0).round() / 1000.0 / self.unit_mm) * 1e6).round() / 1e6;
        Ok(at.iter().map(|c| own(*c)).collect())
    }

    fn points(&self, all: &[At]) -> Result<Array, String> {
        if all.len() > MOST_POINTS {
            return Err(format!("a mark has at most {MOST_POINTS} points"));
        }
        all.iter().map(|p| self.point(p).map(Value::Array)).collect()
    }

    fn tooth(&self, tooth: Tooth) -> Value {
        match self.notation {
            Notation::Fdi => i64::from(tooth.number()).into(),
            Notation::Universal => i64::from(tooth.universal()).into(),
            Notation::Palmer => tooth.palmer().into(),
        }
    }

    fn key(&self, tooth: Tooth) -> String {
        match self.notation {
            Notation::Fdi => tooth.to_string(),
            Notation::Universal => tooth.universal().to_string(),
            Notation::Palmer => tooth.palmer(),
        }
    }

    /// The key that a table has for a tooth, however it is spelled.
    fn key_in(&self, table: &dyn TableLike, tooth: Tooth) -> Option<String> {
        let is = |key: &str| Tooth::of_word(key, self.notation).is_ok_and(|t| t == tooth);
        table.iter().map(|(key, _)| key.to_owned()).find(|key| is(key))
    }

    fn by_tooth(
        &self,
        marks: &mut dyn TableLike,
        key: &str,
        tooth: Tooth,
        value: Value,
    ) -> Result<(), String> {
        let rows = table(marks, key)?;
        let own = self.key_in(rows, tooth).unwrap_or_else(|| self.key(tooth));
        put(rows, &own, value);
        Ok(())
    }

    fn remove(
        &self,
        marks: &mut dyn TableLike,
        key: &str,
        tooth: Option<Tooth>,
        number: Option<usize>,
    ) -> Result<(), String> {
        if !REMOVED.contains(&key) {
            return Err(format!("`{key}` is no mark"));
        }
        let gone = || "that mark is not in the case file".to_owned();
        match (tooth, number) {
            (Some(tooth), _) => {
                let rows = table(marks, key)?;
                let own = self.key_in(rows, tooth).ok_or_else(gone)?;
                rows.remove(&own);
            }
            (None, Some(number)) => {
                let list = marks.get_mut(key).and_then(Item::as_array_mut).ok_or_else(gone)?;
                if number >= list.len() {
                    return Err(gone());
                }
                list.remove(number);
            }
            (None, None) => {
                marks.remove(key).ok_or_else(gone)?;
            }
        }
        Ok(())
    }

    /// Asks for a clasp on a surface: the one on that tooth is moved there, or a new one is added.
    fn clasp(
        &self,
        design: &mut dyn TableLike,
        tooth: Tooth,
        surface: Surface,
        kind: ClaspKind,
    ) -> Result<(), String> {
        let is = |row: &dyn TableLike| match row.get("tooth") {
            Some(item) => match (item.as_integer(), item.as_str()) {
                (Some(n), _) => Tooth::of_number(n, self.notation).is_ok_and(|t| t == tooth),
                (_, Some(word)) => Tooth::of_word(word, self.notation).is_ok_and(|t| t == tooth),
                _ => false,
            },
            None => false,
        };
        let word = |text: &serde_json::Value| text.as_str().unwrap_or_default().to_owned();
        let kind = word(&serde_json::json!(kind));
        if design.get("clasps").is_none() {
            design.insert("clasps", Item::Value(Value::Array(Array::new())));
        }
        let clasps = design.get_mut("clasps").ok_or("no clasps")?;
        if let Some(rows) = clasps.as_array_of_tables_mut() {
            let known = rows.iter().position(|row| is(row));
            match known.and_then(|n| rows.get_mut(n)) {
                Some(row) => put(row, "surface", surface.word().into()),
                None => {
                    let mut row = Table::new();
                    put(&mut row, "tooth", self.tooth(tooth));
                    put(&mut row, "surface", surface.word().into());
                    put(&mut row, "kind", kind.into());
                    rows.push(row);
                }
            }
            return Ok(());
        }
        let rows = clasps.as_array_mut().ok_or("design.clasps is no list")?;
        let known = rows.iter().position(|row| row.as_inline_table().is_some_and(|row| is(row)));
        match known.and_then(|n| rows.get_mut(n)).and_then(Value::as_inline_table_mut) {
            Some(row) => put(row, "surface", surface.word().into()),
            None => {
                let mut row = InlineTable::new();
                row.insert("tooth", self.tooth(tooth));
                row.insert("surface", surface.word().into());
                row.insert("kind", kind.into());
                push(rows, Value::InlineTable(row));
            }
        }
        Ok(())
    }
}

fn marks(root: &mut Table) -> Result<&mut dyn TableLike, String> {
    table(root, "marks")
}

/// The table under a key, made where it is not there.
fn table<'t>(
    parent: &'t mut (dyn TableLike + 't),
    key: &str,
) -> Result<&'t mut (dyn TableLike + 't), String> {
    if parent.get(key).is_none_or(Item::is_none) {
        parent.insert(key, Item::Table(Table::new()));
    }
    parent
        .get_mut(key)
        .and_then(Item::as_table_like_mut)
        .ok_or_else(|| format!("`{key}` in the case file is no table"))
}

/// Sets a value; a comment behind the old one stays.
fn put(table: &mut dyn TableLike, key: &str, mut value: Value) {
    match table.get_mut(key) {
        Some(item) => {
            if let Some(old) = item.as_value() {
                *value.decor_mut() = old.decor().clone();
            }
            *item = Item::Value(value);
        }
        None => drop(table.insert(key, Item::Value(value))),
    }
}

/// Adds to a list or replaces one of it.
fn listed(
    table: &mut dyn TableLike,
    key: &str,
    mut value: Value,
    replaces: Option<usize>,
) -> Result<(), String> {
    if table.get(key).is_none_or(Item::is_none) {
        table.insert(key, Item::Value(Value::Array(Array::new())));
    }
    let list = table
        .get_mut(key)
        .and_then(Item::as_array_mut)
        .ok_or_else(|| format!("`{key}` in the case file is no list"))?;
    match replaces {
        Some(number) => {
            let old = list.get_mut(number).ok_or_else(|| format!("`{key}` has no number {number}"))?;
            *value.decor_mut() = old.decor().clone();
            *old = value;
        }
        None => push(list, value),
    }
    Ok(())
}

/// Adds to a list in its own way: one to a line where it is written so.
fn push(list: &mut Array, value: Value) {
    let lines = list.trailing().as_str().is_some_and(|t| t.contains('\n'));
    if lines {
        list.push_formatted(value.decorated("\n    ", ""));
    } else {
        list.push(value);
    }
}

#[cfg(test)]
#[path = "edit_tests.rs"]
mod tests;
