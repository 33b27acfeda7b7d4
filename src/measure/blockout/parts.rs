//! The parts of a cast that something rigid crosses: saddles, the connector's band, tori.

use crate::anatomy::{Anatomy, Region, curves};
use crate::case::{Arch, Tooth};
use crate::estimate::{Measured, NotMeasured};
use crate::locate::Surface;
use crate::measure::connector::LingualWay;
use crate::measure::torus::Torus;
use crate::mesh::Mesh;
use crate::space::Point;

/// Half of the stretch along the arch for which a station of the connector's way speaks, mm: stations are 1 mm apart.
const BESIDE_STATION_MM: f64 = 0.8;

/// What a part is.
#[derive(Clone, Debug, PartialEq)]
pub enum PartOf {
    /// The residual ridge of a span, under the denture base: its missing teeth.
    Saddle(Vec<Tooth>),
    /// Where a lingual connector runs, from the upper edge of the band down to the end of the wall, between two teeth.
    LingualBand(Tooth, Tooth),
    /// The palate inside the arch.
    Palate,
    /// A torus, by its place in the list of tori.
    Torus(usize),
}

/// A part: what it is, and for each triangle whether it belongs to it.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// What it is.
    pub of: PartOf,
    /// Its triangles.
    pub faces: Vec<bool>,
}

/// What the parts are told from.
#[derive(Clone, Copy, Debug)]
pub struct Parts<'a> {
    /// The arch.
    pub arch: Arch,
    /// Its surface.
    pub surface: &'a Surface,
    /// What is where.
    pub anatomy: &'a Anatomy,
    /// Its tori.
    pub tori: &'a [Torus],
    /// The way of a lingual connector, in the mandible.
    pub way: Option<&'a Measured<LingualWay>>,
    /// Distance of the connector's upper edge from the gingival margin, mm along the tissue.
    pub below_margin_mm: f64,
}

/// The parts, saddles first, and for what could not be told the reason.
pub fn parts(known: &Parts<'_>) -> (Vec<Part>, Vec<NotMeasured>) {
    let (mut all, mut lacking) = (Vec::new(), Vec::new());
    saddles(known, &mut all, &mut lacking);
    match (known.arch, known.way) {
        (Arch::Mandible, Some(Ok(way))) => match band(known, way) {
            Some(part) => all.push(part),
            None => lacking.push(NotMeasured::new(
                "no wall is deep enough for the band of a lingual connector",
                "another kind of connector, or margins that lie on the scan",
            )),
        },
        (Arch::Mandible, Some(Err(reason))) => lacking.push(reason.clone()),
        (Arch::Mandible, None) => {}
        (Arch::Maxilla, _) => all.extend(palate(known)),
    }
    for (i, torus) in known.tori.iter().enumerate() {
        let mut faces = vec![false; known.surface.mesh().faces().len()];
        torus.faces.iter().for_each(|&f| mark(&mut faces, f as usize));
        all.push(Part { of: PartOf::Torus(i), faces });
    }
    (all, lacking)
}

fn mark(faces: &mut [bool], f: usize) {
    if let Some(slot) = faces.get_mut(f) {
        *slot = true;
    }
}

/// Residual ridge (tori on it included) by the nearest crest.
fn saddles(known: &Parts<'_>, all: &mut Vec<Part>, lacking: &mut Vec<NotMeasured>) {
    let crests: Vec<(&Vec<Tooth>, &Vec<Point>)> =
        known.anatomy.spans.iter().filter_map(|s| s.crest.as_ref().ok().map(|c| (&s.teeth, c))).collect();
    lacking.extend(known.anatomy.spans.iter().filter_map(|s| s.crest.as_ref().err().cloned()));
    let mesh = known.surface.mesh();
    let mut of_face: Vec<Option<usize>> = vec![None; mesh.faces().len()];
    if !crests.is_empty() {
        for (f, corners) in mesh.faces().iter().enumerate() {
            if corners.iter().all(|&v| known.anatomy.region.get(v as usize) == Some(&Region::ResidualRidge)) {
                let centre = mesh.face_centre(f as u32);
                let far = |i: usize| curves::distance_mm(crests[i].1, &centre).unwrap_or(f64::INFINITY);
                of_face[f] = (0..crests.len()).min_by(|&a, &b| far(a).total_cmp(&far(b)));
            }
        }
    }
    for (i, (teeth, _)) in crests.iter().enumerate() {
        let faces = of_face.iter().map(|of| *of == Some(i)).collect();
        all.push(Part { of: PartOf::Saddle((*teeth).clone()), faces });
    }
}

/// The wall below the band's upper edge, at all stations.
fn band(known: &Parts<'_>, way: &LingualWay) -> Option<Part> {
    let mut line: Vec<Point> = Vec::new();
    for wall in way.stations.iter().filter_map(|s| s.wall.as_ref().ok()) {
        let mut run = 0.0;
        for step in wall.line.windows(2) {
            run += (step[1] - step[0]).norm();
            if run >= known.below_margin_mm {
                line.push(step[1]);
            }
        }
    }
    let mesh = known.surface.mesh();
    let near = Surface::new(&points_as_mesh(&line)?);
    let (low, high) = near.mesh().bounds()?;
    let far =
        |p: &Point| (0..3).any(|k| p[k] < low[k] - BESIDE_STATION_MM || p[k] > high[k] + BESIDE_STATION_MM);
    let beside = |p: &Point| near.nearest_vertex(p).is_some_and(|(_, mm)| mm <= BESIDE_STATION_MM);
    let faces: Vec<bool> = (0..mesh.faces().len() as u32)
        .map(|f| mesh.face_centre(f))
        .map(|centre| !far(&centre) && beside(&centre))
        .collect();
    faces.contains(&true).then_some(Part { of: PartOf::LingualBand(way.teeth.0, way.teeth.1), faces })
}

/// Points as the corners of triangles, so that the nearest of them can be asked for; `None` for fewer than three.
fn points_as_mesh(points: &[Point]) -> Option<Mesh> {
    let n = points.len() as u32;
    if n < 3 {
        return None;
    }
    Mesh::new(points.to_vec(), (0..n).map(|i| [i, (i + 1) % n, (i + 2) % n]).collect()).ok()
}

fn palate(known: &Parts<'_>) -> Option<Part> {
    let region = &known.anatomy.region;
    let faces: Vec<bool> = known
        .surface
        .mesh()
        .faces()
        .iter()
        .map(|c| {
            let is = |r: Region| c.iter().filter(|&&v| region.get(v as usize) == Some(&r)).count();
            is(Region::Palate) > 0 && is(Region::Palate) + is(Region::Torus) == 3
        })
        .collect();
    faces.contains(&true).then_some(Part { of: PartOf::Palate, faces })
}
