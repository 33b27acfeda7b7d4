//! Quantity: the lingual way of the mandible, where a major connector may run between the gingival margin and the floor
//! of the mouth (Glossary of Prosthodontic Terms, key G9: major connector, lingual bar, lingual plate).
//!
//! Definition: in the section square to the arch, `depth` is the length along the tissue from the lingual gingival margin
//! to the deepest recorded tissue: the place where the wall turns into the floor, or where the scan ends. The vertical
//! depth stands beside it. A torus takes the part of that length that lies inside its outline. Over a span the ridge
//! crest stands for the margin; between two teeth the margin is interpolated.
//!
//! Frame and units: mm. Sections hold the occlusal direction of the frame.
//!
//! Method and its error: stations at most 1 mm apart along the line through crowns and crests (`arch`); the section is
//! cut exactly through the triangles and followed from the margin down (`wall`); lengths are summed over chords of
//! 0.25 mm or more, so that the noise of the scan lengthens them little: on a plane wall exact, on a wall of radius 5 mm
//! short by 0.01 %. The place where the wall turns into the floor is told to a chord. The margin is as good as its marks.
//!
//! The labial wall is followed in the same way from the labial margin, where the station meets a crown.
//!
//! Not covered: the floor of the mouth and the sulci in function, which no scan records.
//!
//! Checked by: a plane wall at a slope, where depth along the tissue = vertical / cos(slope from the vertical); a wall
//! with a marked torus; a wall that the scan cuts off.

mod arch;
mod wall;

#[cfg(test)]
mod trials;

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::torus::Torus;
use crate::anatomy::Anatomy;
use crate::case::Tooth;
use crate::estimate::{Measured, NotMeasured};
use crate::locate::Surface;
use crate::mesh::Topology;
use crate::report::TorusState;
use crate::space::{Direction, Point, Vector};

/// What the way is measured on.
#[derive(Clone, Copy, Debug)]
pub struct Cast<'a> {
    /// The surface.
    pub surface: &'a Surface,
    /// Its adjacency.
    pub topology: &'a Topology,
    /// What is where.
    pub anatomy: &'a Anatomy,
    /// Tori; possible ones are left out.
    pub tori: &'a [Torus],
    /// Teeth that the connector shall join; where empty, those beside the spans.
    pub abutments: &'a [Tooth],
    /// Depths probed in the mouth, mm.
    pub probed_mm: &'a BTreeMap<Tooth, f64>,
}

/// What stands for the gingival margin at a station.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MarginFrom {
    /// The margin of a crown.
    Crown(Tooth),
    /// Interpolated between the neighbours.
    Between,
    /// Laid between neighbours too far apart to speak for the place: no margin is known there.
    Unknown,
    /// The ridge crest of a span.
    Crest,
}

/// Why the recorded wall ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WallEnd {
    /// It turns into the floor of the mouth or a sulcus.
    Floor,
    /// The scan ends.
    ScanBorder,
}

/// The part of a wall that a torus takes, along the tissue from the margin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TorusOnWall {
    /// Which of the tori given.
    pub torus: usize,
    /// Its upper edge, mm below the margin along the tissue.
    pub from_mm: f64,
    /// Its lower edge, mm.
    pub to_mm: f64,
}

/// The wall at a station.
#[derive(Clone, Debug, PartialEq)]
pub struct Wall {
    /// Length along the tissue from the margin to the end of the wall, mm.
    pub along_mm: f64,
    /// Vertical distance between them, mm.
    pub vertical_mm: f64,
    /// Why it ends there.
    pub end: WallEnd,
    /// Tori on it, from above.
    pub tori: Vec<TorusOnWall>,
    /// The wall from the margin down, mm.
    pub line: Vec<Point>,
}

impl Wall {
    /// The place so far below the margin along the tissue, mm; `None` where the wall ends above it.
    pub fn at(&self, along_mm: f64) -> Option<Point> {
        let mut run = 0.0;
        for w in self.line.windows(2) {
            let step = (w[1] - w[0]).norm();
            if step > 0.0 && run + step >= along_mm - 1e-9 {
                return Some(w[0] + (w[1] - w[0]) * ((along_mm - run) / step).clamp(0.0, 1.0));
            }
            run += step;
        }
        None
    }
}

/// A station of the way.
#[derive(Clone, Debug, PartialEq)]
pub struct WayStation {
    /// Distance along the arch from its right end, mm.
    pub s_mm: f64,
    /// Gingival margin, mm.
    pub margin: Point,
    /// What stands for the margin.
    pub margin_from: MarginFrom,
    /// Nearest tooth.
    pub tooth: Tooth,
    /// The wall below it.
    pub wall: Measured<Wall>,
    /// The labial wall below the labial margin of the crown there.
    pub labial: Measured<Wall>,
    /// Depth from margin to the raised floor interpolated between probed teeth, mm; `None` without a probe value.
    pub probed_mm: Option<f64>,
}

impl WayStation {
    /// Depth of the way here: the probe value where there is one, else the recorded depth, mm.
    pub fn depth_mm(&self) -> Option<f64> {
        self.probed_mm.or_else(|| self.wall.as_ref().ok().map(|w| w.along_mm))
    }

    /// Longest stretch without torus between `below_mm` under the margin and the depth, mm, each torus widened by
    /// `keep_mm`; not negative.
    pub fn free_band_mm(&self, below_mm: f64, keep_mm: f64) -> Option<f64> {
        let depth = self.depth_mm()?;
        let tori = self.wall.as_ref().map(|w| w.tori.as_slice()).unwrap_or_default();
        let (mut from, mut best) = (below_mm, 0.0_f64);
        for t in tori {
            best = best.max((t.from_mm - keep_mm).min(depth) - from);
            from = from.max(t.to_mm + keep_mm);
        }
        Some(best.max(depth - from))
    }
}

/// The way of a lingual connector from the patient's right to left.
#[derive(Clone, Debug, PartialEq)]
pub struct LingualWay {
    /// Its stations.
    pub stations: Vec<WayStation>,
    /// First and last tooth that it joins.
    pub teeth: (Tooth, Tooth),
}

/// Measures the way along the lingual side of a mandible.
///
/// # Errors
/// Without a frame, without margins, or with fewer than two teeth to join: what is missing.
pub fn lingual_way(cast: &Cast<'_>) -> Measured<LingualWay> {
    let frame = cast.anatomy.frame.as_ref().map_err(Clone::clone)?.frame;
    let line = arch::Line::through(cast.anatomy, &frame)?;
    let range = arch::joined(cast)?;
    let margins = arch::margins(cast.anatomy, &line, range)?;
    let up: Direction = frame.occlusal;
    let torus_of = torus_of_faces(cast);
    let vertices = cast.surface.mesh().vertices();
    if vertices.is_empty() {
        return Err(NotMeasured::only("the cast has no surface"));
    }
    let stations = margins
        .into_par_iter()
        .map(|m| {
            let cut = wall::Cut {
                station: m.station,
                up,
                margin: m.at,
                torus_of: &torus_of,
                from_crest: m.from == MarginFrom::Crest,
            };
            WayStation {
                s_mm: m.station.s_mm,
                margin: m.at,
                margin_from: m.from,
                tooth: line.nearest_tooth(m.station.s_mm),
                wall: if m.from == MarginFrom::Unknown {
                    Err(no_margin())
                } else {
                    cut.wall(cast.surface, cast.topology)
                },
                labial: labial(cast, &m, up),
                probed_mm: line.interpolated(cast.probed_mm, m.station.s_mm),
            }
        })
        .collect();
    Ok(LingualWay { stations, teeth: range })
}

/// The wall below a place of the margin in the section square to `along`, followed down along `up`, tori left aside.
///
/// # Errors
/// Where the place lies off the surface.
pub fn wall_below(
    surface: &Surface,
    topology: &Topology,
    margin: &Point,
    along: Vector,
    up: Direction,
) -> Measured<Wall> {
    let station = arch::Station { s_mm: 0.0, at: *margin, along, lingual: up.cross(&along) };
    wall::Cut { station, up, margin: *margin, torus_of: &[], from_crest: false }.wall(surface, topology)
}

/// The wall below the labial margin of the crown at a station.
fn labial(cast: &Cast<'_>, m: &arch::MarginAt, up: Direction) -> Measured<Wall> {
    let crown = match m.from {
        MarginFrom::Crown(tooth) => cast.anatomy.crown(tooth),
        _ => None,
    };
    let outward = arch::Station { lingual: -m.station.lingual, ..m.station };
    let margin = crown.and_then(|c| arch::crossing(&c.margin, true, &outward)).ok_or_else(no_margin)?;
    wall::Cut { station: outward, up, margin, torus_of: &[], from_crest: false }
        .wall(cast.surface, cast.topology)
}

fn no_margin() -> NotMeasured {
    NotMeasured::new(
        "no gingival margin is known there",
        "[marks] margins of the teeth that the connector passes",
    )
}

/// Which torus each triangle lies in.
fn torus_of_faces(cast: &Cast<'_>) -> Vec<Option<usize>> {
    let mut of = vec![None; cast.surface.mesh().faces().len()];
    for (i, torus) in cast.tori.iter().enumerate().filter(|(_, t)| t.state != TorusState::Possible) {
        for &f in &torus.faces {
            if let Some(slot) = of.get_mut(f as usize) {
                *slot = Some(i);
            }
        }
    }
    of
}
