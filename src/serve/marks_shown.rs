//! The marks of a case as the page lists and draws them.

use serde::Serialize;

use crate::case::{CaseFile, Tooth};
use crate::space::Point;
use crate::units;

/// A mark.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(super) struct MarkShown {
    /// Key under `[marks]`.
    pub key: &'static str,
    /// Its tooth.
    pub tooth: Option<Tooth>,
    /// Its number in a list, from 0.
    pub number: Option<usize>,
    /// What it is, in words.
    pub says: String,
    /// Its points, mm.
    pub points_mm: Vec<[f64; 3]>,
    /// Whether they make a closed curve.
    pub closed: bool,
}

/// All marks, in the order of the case file's keys.
pub(super) fn marks(file: &CaseFile) -> Vec<MarkShown> {
    let m = &file.marks;
    let show = |t: &Tooth| t.show(file.notation);
    let mut all = Vec::new();
    let mut add = |key, tooth, number, says: String, points: &[Point], closed| {
        let points_mm = points.iter().map(units::json_place).collect();
        all.push(MarkShown { key, tooth, number, says, points_mm, closed });
    };
    if let Some(plane) = &m.occlusal_plane {
        add("occlusal_plane", None, None, "occlusal plane".into(), plane, true);
    }
    if let Some(p) = &m.midline {
        add("midline", None, None, "midline".into(), &[*p], false);
    }
    for (t, p) in &m.teeth {
        add("teeth", Some(*t), None, format!("point on {}", show(t)), &[*p], false);
    }
    for (n, line) in m.crests.iter().enumerate() {
        add("crests", None, Some(n), format!("crest line {}", n + 1), line, false);
    }
    for (t, line) in &m.margins {
        add("margins", Some(*t), None, format!("gingival margin of {}", show(t)), line, true);
    }
    for (n, line) in m.tori.iter().enumerate() {
        add("tori", None, Some(n), format!("outline of torus {}", n + 1), line, true);
    }
    for (n, p) in m.tori_at.iter().enumerate() {
        add("tori_at", None, Some(n), format!("place on torus {}", n + 1), &[*p], false);
    }
    for (t, p) in &m.clasp_tips {
        add("clasp_tips", Some(*t), None, format!("clasp tip on {}", show(t)), &[*p], false);
    }
    for (n, p) in m.attachment_at.iter().enumerate() {
        add("attachment_at", None, Some(n), format!("place of attachment {}", n + 1), &[*p], false);
    }
    all
}
