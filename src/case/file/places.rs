//! Marks: points in the coordinates of the scan file, scaled to mm.

use super::problem::Sheet;
use super::raw::{Points, RawMarks};
use super::read::{Given, Placed};
use super::teeth::Numbering;
use crate::case::{Chart, Marks, Tooth};
use crate::space::{Plane, Point};
use crate::units::LengthUnit;

/// Farther from the origin of a scan no coordinate keeps a micrometre.
const FARTHEST_MM: f64 = 1e9;

/// What the marks are read with.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ground<'c> {
    pub(super) numbering: Numbering,
    pub(super) chart: Option<&'c Chart>,
    pub(super) unit: LengthUnit,
}

impl Ground<'_> {
    pub(super) fn point(self, raw: &Placed<[f64; 3]>, sheet: &mut Sheet) -> Option<Point> {
        let [x, y, z] = raw.value.map(|c| c * self.unit.mm());
        if [x, y, z].iter().all(|c| c.abs() <= FARTHEST_MM) {
            return Some(Point::new(x, y, z));
        }
        let says = "no scan reaches so far from its origin";
        sheet.at(raw, says, "give the place in the coordinates and the unit of the scan");
        None
    }

    fn points(self, raw: &Points, sheet: &mut Sheet) -> Vec<Point> {
        raw.iter().filter_map(|p| self.point(p, sheet)).collect()
    }

    /// A line or outline of at least `least` points.
    fn curve(self, raw: &Placed<Points>, least: usize, what: &str, sheet: &mut Sheet) -> Option<Vec<Point>> {
        let points = self.points(&raw.value, sheet);
        if points.len() >= least {
            return Some(points);
        }
        if !sheet.names_within(&raw.key) {
            let says = format!("{what} needs at least {least} points, but has {}", points.len());
            sheet.at(raw, says, "mark more points along it");
        }
        None
    }

    fn curves(
        self,
        raw: &Given<Vec<Placed<Points>>>,
        least: usize,
        what: &str,
        sheet: &mut Sheet,
    ) -> Vec<Vec<Point>> {
        raw.value().into_iter().flatten().filter_map(|c| self.curve(c, least, what, sheet)).collect()
    }
}

/// Reads `[marks]`.
pub(super) fn marks(raw: &Given<RawMarks>, ground: Ground<'_>, sheet: &mut Sheet) -> Marks {
    let Some(raw) = raw.value() else { return Marks::default() };
    let mut marks = Marks {
        occlusal_plane: raw.occlusal_plane.get().and_then(|p| plane(p, ground, sheet)),
        midline: raw.midline.get().and_then(|p| ground.point(&p.with(p.value.0), sheet)),
        crests: ground.curves(&raw.crests, 2, "a crest line", sheet),
        tori: ground.curves(&raw.tori, 3, "the outline of a torus", sheet),
        tori_at: raw.tori_at.value().map_or(Vec::new(), |p| ground.points(p, sheet)),
        ridge_ends: raw.ridge_ends.value().map_or(Vec::new(), |p| ground.points(p, sheet)),
        attachment_at: raw.attachment_at.value().map_or(Vec::new(), |p| ground.points(p, sheet)),
        ..Marks::default()
    };
    for (tooth, point) in ground.numbering.by_tooth(&raw.clasp_tips, sheet) {
        still_there(&tooth, ground, "no clasp can hold it", sheet);
        if let Some(point) = ground.point(point, sheet) {
            marks.clasp_tips.insert(tooth.value, point);
        }
    }
    for (tooth, point) in ground.numbering.by_tooth(&raw.teeth, sheet) {
        still_there(&tooth, ground, "its crown cannot be marked", sheet);
        if let Some(point) = ground.point(point, sheet) {
            marks.teeth.insert(tooth.value, point);
        }
    }
    for (tooth, margin) in ground.numbering.by_tooth(&raw.margins, sheet) {
        still_there(&tooth, ground, "its gingival margin cannot be marked", sheet);
        if let Some(curve) = ground.curve(margin, 3, "a gingival margin", sheet) {
            marks.margins.insert(tooth.value, curve);
        }
    }
    marks
}

/// A tooth that will be extracted still stands on the scan, so it may be marked.
fn still_there(tooth: &Placed<Tooth>, ground: Ground<'_>, what: &str, sheet: &mut Sheet) {
    if ground.chart.is_some_and(|c| c.extractions.contains(&tooth.value)) {
        return;
    }
    ground.numbering.must_stand(tooth, ground.chart, what, sheet);
}

fn plane(raw: &Placed<Points>, ground: Ground<'_>, sheet: &mut Sheet) -> Option<[Point; 3]> {
    let points = ground.points(&raw.value, sheet);
    if sheet.names_within(&raw.key) {
        return None;
    }
    let [a, b, c] = points.as_slice() else {
        let says = format!("the occlusal plane is marked by three points, but {} are given", points.len());
        sheet.at(raw, says, "mark three points on the occlusal plane, far from each other");
        return None;
    };
    if Plane::through(a, b, c).is_none() {
        let says = "the three points of the occlusal plane lie in one line";
        sheet.at(raw, says, "mark one in front and one far back on either side");
        return None;
    }
    Some([*a, *b, *c])
}
