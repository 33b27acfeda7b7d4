//! Quantity: the way of a bar clasp's approach arm over the tissue: depth of the sulcus beside the tooth, and undercut of
//! the tissue under the arm (trade facts, section 3.2, teaching notes).
//!
//! Definition: in sections square to the tooth's own direction along the arch, the wall is followed along the tissue from
//! the gingival margin on the clasp's side down to the deepest recorded sulcus, or to where the scan ends. The arm's way:
//! from the tip's place straight down over the margin, then along the tissue, `clear` or more from the margin and
//! `width` wide, toward the span beside the tooth, as far as the tooth's own margin goes on that side; from there it
//! belongs to the denture base. *Sulcus* is the shortest wall over that way; *tissue undercut* the deepest undercut along
//! the path under the arm from `clear` on: nearer to the margin it lies, with its tip, in the tooth's own undercut.
//!
//! Frame and units: mm along the tissue; depth across the path; mm2 of tissue.
//!
//! Method and its error: sections half a millimetre apart, places a quarter apart in them, each depth exact on the
//! triangles; the wall is followed as that of a connector is (`connector`). Depth between places is missed by less than
//! 0.25 mm times its slope; the area is good to a tenth.
//!
//! Not covered: a frenum, and the sulcus in function, which no scan records; an arm that comes from elsewhere.
//!
//! Checked by: a barrel on a block whose side leans under it by a known angle, below.

use super::connector::{WallEnd, wall_below};
use super::tooth_axes::ToothAxes;
use super::undercut::TiltedCast;
use crate::anatomy::curves::length_mm;
use crate::anatomy::{Crown, Region};
use crate::case::Surface as Side;
use crate::estimate::{Measured, NotMeasured};
use crate::locate::Surface;
use crate::mesh::Topology;
use crate::space::{Point, Vector};

/// Distance between sections, mm.
const STATION_MM: f64 = 0.5;

/// What is asked.
#[derive(Clone, Copy, Debug)]
pub struct ArmAsked<'a, 's> {
    /// The cast.
    pub surface: &'a Surface,
    /// Its adjacency.
    pub topology: &'a Topology,
    /// Region of each vertex: the base of a model is no tissue.
    pub region: &'a [Region],
    /// Set up along the path.
    pub cast: &'a TiltedCast<'s>,
    /// The crown; its margin must be known.
    pub crown: &'a Crown,
    /// Its axes.
    pub axes: &'a ToothAxes,
    /// The clasp's side: buccal or lingual.
    pub side: Side,
    /// Where the tip rests, mm.
    pub tip: Point,
    /// Toward where the arm leaves: mesial or distal.
    pub leaves: Side,
    /// Distance of the arm from the margin along the tissue, mm.
    pub clear_mm: f64,
    /// Width of the arm, mm.
    pub width_mm: f64,
}

/// The way of an arm.
#[derive(Clone, Debug, PartialEq)]
pub struct ArmWay {
    /// Shortest wall from the margin to the sulcus, along the tissue, mm.
    pub sulcus_mm: f64,
    /// The same straight down, mm.
    pub sulcus_vertical_mm: f64,
    /// Where the wall ends there.
    pub sulcus_at: Point,
    /// Whether the scan ends there, before a sulcus is seen.
    pub scan_ends: bool,
    /// Deepest undercut of the tissue under the arm, mm; 0 where it is free. `None` where the tissue does not reach as far
    /// from the margin as the arm runs, all along its way.
    pub undercut_mm: Option<f64>,
    /// Where, mm.
    pub undercut_at: Option<Point>,
    /// Tissue under the arm that is undercut, mm2.
    pub undercut_mm2: f64,
    /// Whether a depth depends on the closing of a hole.
    pub closed_hole: bool,
}

/// Follows the arm.
///
/// # Errors
/// Where no margin is known on that side, or it does not lie on the scan.
pub fn way(asked: &ArmAsked<'_, '_>) -> Measured<ArmWay> {
    let mut out: Option<ArmWay> = None;
    let mut reason = None;
    let stations = stations(asked);
    for (k, margin) in stations.iter().enumerate() {
        let wall = wall_below(asked.surface, asked.topology, margin, asked.axes.mesial, asked.axes.occlusal);
        let wall = match wall {
            Ok(wall) => wall,
            Err(why) => {
                reason = reason.or(Some(why));
                continue;
            }
        };
        let tissue = tissue(asked, &wall.line);
        let (Some(start), Some(&end)) = (tissue.first(), tissue.last()) else { continue };
        let along_mm = length_mm(tissue);
        let shortest = ArmWay {
            sulcus_mm: along_mm,
            sulcus_vertical_mm: (start - end).dot(&asked.axes.occlusal),
            sulcus_at: end,
            scan_ends: wall.end == WallEnd::ScanBorder || tissue.len() < wall.line.len(),
            undercut_mm: None,
            undercut_at: None,
            undercut_mm2: 0.0,
            closed_hole: false,
        };
        let way = match out.take() {
            None => shortest,
            Some(known) if along_mm < known.sulcus_mm => ArmWay {
                undercut_mm: known.undercut_mm,
                undercut_at: known.undercut_at,
                undercut_mm2: known.undercut_mm2,
                closed_hole: known.closed_hole,
                ..shortest
            },
            Some(known) => known,
        };
        let end = k == 0 || k + 1 == stations.len();
        out = Some(under(asked, tissue, if end { STATION_MM / 2.0 } else { STATION_MM }, way));
    }
    let mut way = out.ok_or_else(|| reason.unwrap_or_else(no_margin))?;
    if way.sulcus_mm < asked.clear_mm {
        // Somewhere on its way there is no tissue for the arm to run over.
        (way.undercut_mm, way.undercut_at, way.undercut_mm2) = (None, None, 0.0);
    }
    Ok(way)
}

/// The part of a wall above the base of the model.
fn tissue<'l>(asked: &ArmAsked<'_, '_>, line: &'l [Point]) -> &'l [Point] {
    let on_base = |p: &Point| {
        asked.surface.closest(p).is_some_and(|on| {
            let corners = asked.surface.mesh().faces()[on.face as usize];
            corners.iter().all(|&v| asked.region.get(v as usize) == Some(&Region::Base))
        })
    };
    let end = line.iter().position(on_base).unwrap_or(line.len());
    &line[..end]
}

fn no_margin() -> NotMeasured {
    NotMeasured::new(
        "no gingival margin is known on that side of the tooth",
        "[marks] margins of the tooth, closed curves on the scan",
    )
}

/// Margin places on the clasp's side from the tip's section to the end of the crown.
fn stations(asked: &ArmAsked<'_, '_>) -> Vec<Point> {
    let toward = asked.axes.outward(asked.leaves);
    let start = (asked.tip - asked.axes.centre).dot(&toward);
    let most = asked.axes.half_mm[0] - start;
    let count = (most.max(0.0) / STATION_MM).floor() as usize;
    (0..=count).filter_map(|k| margin_at(asked, &toward, start + STATION_MM * k as f64)).collect()
}

/// The outermost place on the clasp's side where the margin passes `at` mm along `toward` from the crown's middle.
fn margin_at(asked: &ArmAsked<'_, '_>, toward: &Vector, at: f64) -> Option<Point> {
    let outward = asked.axes.outward(asked.side);
    let margin = &asked.crown.margin;
    let along = |p: &Point| (p - asked.axes.centre).dot(toward) - at;
    let out = |p: &Point| (p - asked.axes.centre).dot(&outward);
    let n = margin.len();
    (0..n)
        .filter_map(|i| {
            let (p, q) = (margin[i], margin[(i + 1) % n]);
            let (s, t) = (along(&p), along(&q));
            ((s < 0.0) != (t < 0.0)).then(|| p + (q - p) * (s / (s - t)))
        })
        .filter(|p| out(p) > 0.0)
        .max_by(|a, b| out(a).total_cmp(&out(b)))
}

/// Adds the undercut of one section, which stands for `breadth_mm` of the arm's way, between the arm's borders.
fn under(asked: &ArmAsked<'_, '_>, line: &[Point], breadth_mm: f64, mut way: ArmWay) -> ArmWay {
    let (from, to) = (asked.clear_mm, asked.clear_mm + asked.width_mm);
    let mut run = 0.0;
    for w in line.windows(2) {
        let length = (w[1] - w[0]).norm();
        let (start, end) = (f64::max(run, from), f64::min(run + length, to));
        let place = w[0] + (w[1] - w[0]) * ((end - run) / length.max(1e-12));
        run += length;
        if end <= start {
            continue;
        }
        let Some(on) = asked.surface.closest(&place) else { continue };
        let found = asked.cast.depth_at(&on.at, on.face);
        if way.undercut_mm.is_none_or(|most| found.depth_mm > most) {
            way.undercut_mm = Some(found.depth_mm);
            way.undercut_at = (found.depth_mm > 0.0).then_some(on.at);
        }
        if found.depth_mm > 0.0 {
            way.undercut_mm2 += (end - start) * breadth_mm;
        }
        way.closed_hole |= found.closed_hole;
    }
    way
}

#[cfg(test)]
mod tests {
    use super::super::tooth_axes::tests::{anatomy, part};
    use super::super::undercut::Surveyor;
    use super::*;
    use crate::mesh::Mesh;
    use crate::phantom::solids::Parts;
    use crate::space::{cos, direction, sin, tan};

    /// A wall 20 mm long (along y) and `down` mm deep along its surface, leaning inward by `lean` degrees below the margin
    /// at z = 0 on x = 0; above it a crown 5 mm high over a strip 8 mm long, upright. Below the wall a floor rises again.
    fn cast(down: f64, lean: f64, floor: bool) -> Mesh {
        let t = f64::to_radians(lean);
        let profile = |s: f64| -> (f64, f64) {
            if s <= 5.0 {
                return (0.0, 5.0 - s);
            }
            let s = s - 5.0;
            if s <= down {
                return (-s * sin(t), -s * cos(t));
            }
            let out = s - down;
            (-down * sin(t) + out * cos(0.6), -down * cos(t) + out * sin(0.6))
        };
        let length = 5.0 + down + if floor { 3.0 } else { 0.0 };
        let rows = (length / 0.25).round() as usize;
        let mut parts = Parts::default();
        parts.sheet(80, rows, |i, j| {
            let (x, z) = profile(length * j as f64 / rows as f64);
            Point::new(x, 0.25 * i as f64 - 10.0, z)
        });
        // Behind the wall, so that the crown has a middle.
        parts.sheet(80, 24, |i, j| Point::new(-0.25 * j as f64, 0.25 * i as f64 - 10.0, 5.0));
        parts.mesh()
    }

    fn of(mesh: &Mesh, clear_mm: f64) -> Measured<ArmWay> {
        on_base(mesh, clear_mm, &[])
    }

    fn on_base(mesh: &Mesh, clear_mm: f64, region: &[Region]) -> Measured<ArmWay> {
        let crowned = |f: u32| {
            let c = mesh.face_centre(f);
            c.z > 0.0 && c.y.abs() < 4.0
        };
        let faces = (0..mesh.faces().len() as u32).filter(|&f| crowned(f)).collect();
        let mut crown = part(mesh, 44, faces);
        crown.margin =
            [(0.0, 4.0), (0.0, -4.0), (-6.0, -4.0), (-6.0, 4.0)].map(|(x, y)| Point::new(x, y, 0.0)).to_vec();
        let mut axes = ToothAxes::of(mesh, &crown, &anatomy(true, vec![crown.clone()], 1)).unwrap();
        (axes.mesial, axes.buccal) = (Vector::y(), Vector::x());
        axes.half_mm = [4.0, 3.0];
        axes.centre = Point::new(-3.0, 0.0, 2.5);
        let topology = Topology::new(mesh);
        let surveyor = Surveyor::new(mesh, &topology);
        let up = direction(Vector::z()).unwrap();
        way(&ArmAsked {
            surface: &Surface::new(mesh),
            topology: &topology,
            region,
            cast: &surveyor.tilted(&up),
            crown: &crown,
            axes: &axes,
            side: Side::Buccal,
            tip: Point::new(0.0, 0.0, 1.0),
            leaves: Side::Distal,
            clear_mm,
            width_mm: 2.0,
        })
    }

    #[test]
    fn the_arm_reads_the_lean_of_the_wall_under_it_and_the_depth_of_the_sulcus() {
        for lean in [5.0f64, 12.0] {
            let got = of(&cast(8.0, lean, true), 3.0).unwrap();
            assert!((got.sulcus_mm - 8.0).abs() < 0.3, "{got:?}");
            assert!((got.sulcus_vertical_mm - 8.0 * cos(lean.to_radians())).abs() < 0.3);
            assert!(!got.scan_ends);
            // The arm's lower border lies 5 mm down the wall, to a chord of 0.25 mm.
            let depth = 5.0 * sin(lean.to_radians());
            assert!(
                (got.undercut_mm.unwrap() - depth).abs() < 0.25 * tan(lean.to_radians()) + 0.02,
                "{got:?}"
            );
            // 2 mm wide over the 4 mm from the tip to the end of the tooth; the last section may miss the margin's end.
            assert!((got.undercut_mm2 - 8.0).abs() < 0.6, "{}", got.undercut_mm2);
        }
        let upright = of(&cast(8.0, 0.0, true), 3.0).unwrap();
        assert_eq!((upright.undercut_mm, upright.undercut_mm2), (Some(0.0), 0.0));
    }

    #[test]
    fn a_wall_that_the_scan_cuts_off_and_one_too_short_for_the_arm_are_told() {
        let cut = of(&cast(5.0, 5.0, false), 3.0).unwrap();
        assert!(cut.scan_ends && (cut.sulcus_mm - 5.0).abs() < 0.3, "{cut:?}");
        // The base of a model is no tissue: from 6 mm down.
        let model = cast(12.0, 0.0, true);
        let region: Vec<Region> = model
            .vertices()
            .iter()
            .map(|p| if p.z < -6.0 { Region::Base } else { Region::Gingiva })
            .collect();
        let based = on_base(&model, 3.0, &region).unwrap();
        assert!(based.scan_ends && (based.sulcus_mm - 6.0).abs() < 0.4, "{based:?}");
        let short = of(&cast(2.5, 5.0, false), 3.0).unwrap();
        assert_eq!(short.undercut_mm, None);
        assert!((short.sulcus_mm - 2.5).abs() < 0.3, "{short:?}");
    }
}
