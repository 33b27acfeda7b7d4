//! Where along the arch there are teeth, and whether that agrees with the chart and with the names of the files.
//!
//! Both questions are asked of shape alone and answered only where it speaks clearly; silence means nothing.

use super::KnownFrame;
use super::arch_form;
use crate::case::{Arch, Chart, Tooth};
use crate::mesh::Mesh;
use crate::mesh::audit::{Defect, DefectKind};
use crate::space::{Frame, Point, angle_deg, atan2, hypot};

/// One arch as it is compared with its name and its chart.
#[derive(Clone, Copy, Debug)]
pub struct ArchView<'a> {
    /// The arch that the file is said to hold.
    pub arch: Arch,
    /// Its surface.
    pub mesh: &'a Mesh,
    /// Its frame, where known.
    pub frame: Option<&'a KnownFrame>,
    /// Its chart, where there is one.
    pub chart: Option<&'a Chart>,
}

/// Surface down to this depth under the occlusal plane shows where crowns stand, mm.
const CROWN_DEPTH_MM: f64 = 5.0;
/// Width of a sector of the arch seen from its middle, degrees.
const SECTOR_DEG: f64 = 5.0;
/// Least number of sectors in which both arches have crowns.
const LEAST_SECTORS: usize = 12;
/// How far the outer arch stands outside the inner one before the names of the files are doubted, mm.
const OUTSIDE_MM: f64 = 1.0;

/// Rise of a palate from its middle to 8 mm beside it, mm.
const PALATE_RISE_MM: f64 = 1.0;

/// Whether the file named mandible holds the maxilla and the other way round; `None` where nothing speaks for it.
///
/// The upper arch stands outside the lower around most of the arch, and a palate closes it inside. The pair must stand
/// in occlusion for the first; the second may not speak against it.
pub fn swapped(mandible: &ArchView<'_>, maxilla: &ArchView<'_>) -> Option<Defect> {
    let (lower, upper) = (mandible.frame?, maxilla.frame?);
    if !lower.anterior_known || angle_deg(&lower.frame.occlusal, &-upper.frame.occlusal.into_inner()) > 30.0 {
        return None;
    }
    let apart = lower.frame.local(&upper.frame.origin)[2].abs();
    if apart > 12.0 {
        return None;
    }
    let axes = &lower.frame;
    let (inner, outer) =
        (outline(mandible.mesh, axes, &lower.frame), outline(maxilla.mesh, axes, &upper.frame));
    let mut differences: Vec<f64> =
        outer.iter().zip(&inner).filter_map(|(o, i)| Some(o.as_ref()? - i.as_ref()?)).collect();
    differences.sort_by(f64::total_cmp);
    let median = *differences.get(differences.len() / 2)?;
    let inward = differences.iter().filter(|d| **d < 0.0).count() as f64 / differences.len() as f64;
    if differences.len() < LEAST_SECTORS || median > -OUTSIDE_MM || inward < 0.75 {
        return None;
    }
    let (here, there) = (vaulted(mandible.mesh, &lower.frame), vaulted(maxilla.mesh, &upper.frame));
    if there && !here {
        return None;
    }
    let also = if here && !there { ", and a palate closes it inside" } else { "" };
    Some(Defect {
        kind: DefectKind::SwappedArches,
        count: 1,
        at: Some(lower.frame.origin),
        says: format!(
            "the file given as mandible looks like the maxilla and the other way round: its arch stands outside the \
             other around {} of {} places{also}; change the two names in [scans] if so",
            differences.iter().filter(|d| **d < 0.0).count(),
            differences.len()
        ),
        mended: false,
    })
}

/// Greatest distance from the arch's middle of the surface near an arch's own occlusal plane, by sector of `axes`.
fn outline(mesh: &Mesh, axes: &Frame, own: &Frame) -> Vec<Option<f64>> {
    let count = (360.0 / SECTOR_DEG) as usize;
    let mut reach: Vec<Vec<f64>> = vec![Vec::new(); count];
    for p in mesh.vertices() {
        let height = own.local(p)[2];
        let [ahead, left, _] = axes.local(p);
        if (-CROWN_DEPTH_MM..4.0).contains(&height) {
            let angle = atan2(left, ahead).to_degrees().rem_euclid(360.0);
            reach[((angle / SECTOR_DEG) as usize).min(count - 1)].push(hypot(ahead, left));
        }
    }
    reach
        .into_iter()
        .map(|mut r| {
            r.sort_by(f64::total_cmp);
            // A few stray points do not make an outline.
            (r.len() > 8).then(|| r[r.len() - 1 - r.len() / 50])
        })
        .collect()
}

/// Whether a palate closes the arch inside: surface over its middle that rises toward both sides.
pub fn vaulted(mesh: &Mesh, own: &Frame) -> bool {
    // Mean heights of the middle strip and of the strips beside it, right and left.
    let mut strips = [(0.0, 0usize); 3];
    for p in mesh.vertices() {
        let [ahead, left, height] = own.local(p);
        if !(-10.0..6.0).contains(&ahead) || !(-30.0..-2.0).contains(&height) {
            continue;
        }
        let strip = match left {
            l if l.abs() < 2.5 => 0,
            l if (-10.0..-7.0).contains(&l) => 1,
            l if (7.0..10.0).contains(&l) => 2,
            _ => continue,
        };
        strips[strip].0 += height;
        strips[strip].1 += 1;
    }
    if strips.iter().any(|(_, n)| *n < 20) {
        return false;
    }
    let [middle, right, left] = strips.map(|(sum, n)| sum / n as f64);
    right > middle + PALATE_RISE_MM && left > middle + PALATE_RISE_MM
}

/// Least mean difference of height between the sides that tells a crown from a gap, mm.
const CROWN_OVER_RIDGE_MM: f64 = 2.5;
/// Least length along the arch over which the chart must differ between the sides, mm.
const LEAST_LENGTH: usize = 5;

/// Whether gaps stand on the side opposite to the chart; `None` where chart and scan agree or the scan does not tell.
///
/// Heights of the two sides are compared at the same distance behind the incisors, where the chart has a premolar or a
/// molar on one side only. They must contradict the chart over most of that length.
pub fn gap_on_other_side(view: &ArchView<'_>) -> Option<Defect> {
    let known = view.frame.filter(|f| f.anterior_known)?;
    let chart = view.chart?;
    let profile = Profile::new(view.mesh, &known.frame)?;
    let mut wrong: Vec<(f64, Tooth)> = Vec::new();
    for (tooth, [ahead, _]) in arch_form::places(view.arch) {
        let half = arch_form::crown_width_mm(view.arch, tooth.place()) / 2.0 - 1.0;
        let here = present(chart, tooth);
        if !(4..=7).contains(&tooth.place()) || here || !present(chart, tooth.mirrored()) {
            continue;
        }
        let mut at = ahead - half;
        while at <= ahead + half {
            if let Some((right, left)) = profile.at(at) {
                // Positive where the side with the tooth by the chart stands higher.
                let rise = if tooth.along() < 0 { left - right } else { right - left };
                wrong.push((rise, tooth));
            }
            at += 1.0;
        }
    }
    let count = wrong.len() as f64;
    let mean = wrong.iter().map(|(d, _)| d).sum::<f64>() / count.max(1.0);
    let against = wrong.iter().filter(|(d, _)| *d < -1.5).count() as f64;
    if wrong.len() < LEAST_LENGTH || mean > -CROWN_OVER_RIDGE_MM || against < 0.7 * count {
        return None;
    }
    let tooth = wrong.first()?.1;
    let (charted, seen) = (tooth.side().word(), tooth.mirrored().side().word());
    Some(Defect {
        kind: DefectKind::GapOnOtherSide,
        count: 1,
        at: Some(known.frame.origin),
        says: format!(
            "the scan shows a gap on the patient's {seen} where the chart has it on the {charted} ({tooth}): the scan \
             is mirrored, or the chart is; which of the two cannot be told here"
        ),
        mended: false,
    })
}

fn present(chart: &Chart, tooth: Tooth) -> bool {
    let gone = [&chart.missing, &chart.no_space, &chart.extractions];
    let filled = chart.pontics.contains(&tooth) || chart.implants.contains(&tooth);
    (tooth.place() < 8 && gone.iter().all(|list| !list.contains(&tooth))) || filled
}

/// Greatest height of each side, by distance behind the incisors.
struct Profile {
    /// (right, left) above the deepest, mm, by whole millimetre behind the incisors.
    heights: Vec<(Option<f64>, Option<f64>)>,
}

impl Profile {
    fn new(mesh: &Mesh, frame: &Frame) -> Option<Profile> {
        let local: Vec<[f64; 3]> = mesh.vertices().iter().map(|p: &Point| frame.local(p)).collect();
        let mut ahead: Vec<f64> =
            local.iter().filter(|l| (-CROWN_DEPTH_MM..4.0).contains(&l[2])).map(|l| l[0]).collect();
        ahead.sort_by(f64::total_cmp);
        // The foremost surface is labial; the middle of an incisor lies some 2.5 mm behind it.
        let incisors = ahead.get(ahead.len().saturating_sub(1 + ahead.len() / 200))? - 2.5;
        let mut heights = vec![(None, None); 60];
        for [a, l, h] in local {
            let behind = incisors - a;
            if !(0.0..60.0).contains(&behind) || l.abs() < 9.0 {
                continue;
            }
            let slot = &mut heights[behind as usize];
            let side = if l > 0.0 { &mut slot.1 } else { &mut slot.0 };
            let h = h.clamp(-14.0, 3.0);
            *side = Some(side.map_or(h, |old: f64| old.max(h)));
        }
        Some(Profile { heights })
    }

    /// (right, left) at a distance in front of the incisors (negative behind).
    fn at(&self, ahead: f64) -> Option<(f64, f64)> {
        let (right, left) = *self.heights.get((-ahead).max(0.0) as usize)?;
        Some((right.unwrap_or(-14.0), left.unwrap_or(-14.0)))
    }
}

#[cfg(test)]
mod tests {
    use super::super::test_casts::FieldCast;
    use super::*;
    use crate::space::{Motion, Vector, direction};

    /// The frame of a field cast after a motion that maps its +z to `up`.
    fn known(arch: Arch, motion: &Motion) -> KnownFrame {
        let up = direction(motion * Vector::z()).unwrap();
        let origin = motion * Point::new(0.0, -22.0, 12.5);
        let frame = Frame::new(origin, up, motion * Vector::y(), arch == Arch::Mandible).unwrap();
        KnownFrame::given(frame, 0.5)
    }

    fn tooth(n: u8) -> Tooth {
        Tooth::fdi(n).unwrap()
    }

    /// Turned about the anterior axis, crowns on crowns, the upper arch 1.5 mm in front.
    fn closed() -> Motion {
        let turn = nalgebra::UnitQuaternion::from_axis_angle(&Vector::y_axis(), std::f64::consts::PI);
        Motion::from_parts(nalgebra::Translation3::new(0.0, 1.5, 25.0), turn)
    }

    #[test]
    fn swapped_files_are_told_by_the_arch_that_stands_outside() {
        let lower = FieldCast::new(Arch::Mandible, &|t| ![36, 37, 45].contains(&t.number()), 0.6).mesh;
        let upper = FieldCast::new(Arch::Maxilla, &|_| true, 0.6).mesh.moved(&closed());
        let (up, down) = (known(Arch::Mandible, &Motion::identity()), known(Arch::Maxilla, &closed()));
        let view = |arch, mesh, frame| ArchView { arch, mesh, frame: Some(frame), chart: None };
        let right = (view(Arch::Mandible, &lower, &up), view(Arch::Maxilla, &upper, &down));
        assert_eq!(swapped(&right.0, &right.1), None);
        // The same surfaces under each other's name; their frames are read with the other handedness.
        let (up, down) = (known(Arch::Maxilla, &Motion::identity()), known(Arch::Mandible, &closed()));
        let wrong = (view(Arch::Mandible, &upper, &down), view(Arch::Maxilla, &lower, &up));
        let defect = swapped(&wrong.0, &wrong.1).unwrap();
        assert_eq!(defect.kind, DefectKind::SwappedArches);
        // Far apart nothing is claimed.
        let away = Motion::translation(0.0, 0.0, 40.0);
        let far = upper.moved(&away);
        let far_frame = known(Arch::Mandible, &(away * closed()));
        assert_eq!(swapped(&view(Arch::Mandible, &far, &far_frame), &wrong.1), None);
    }

    #[test]
    fn a_gap_on_the_other_side_is_told_without_saying_which_is_mirrored() {
        let missing = [36, 37, 45];
        let cast = FieldCast::new(Arch::Mandible, &|t| !missing.contains(&t.number()), 0.6);
        let frame = known(Arch::Mandible, &Motion::identity());
        let chart =
            |list: &[u8]| Chart { missing: list.iter().map(|n| tooth(*n)).collect(), ..Chart::default() };
        let told = |chart: &Chart| {
            gap_on_other_side(&ArchView {
                arch: Arch::Mandible,
                mesh: &cast.mesh,
                frame: Some(&frame),
                chart: Some(chart),
            })
        };
        assert_eq!(told(&chart(&missing)), None);
        assert_eq!(told(&chart(&[36, 37, 46, 47])), None, "the sides do not differ by such a chart");
        let defect = told(&chart(&[46, 47, 35])).unwrap();
        assert_eq!(defect.kind, DefectKind::GapOnOtherSide);
        assert!(defect.says.contains("gap on the patient's left") && defect.says.contains("cannot be told"));
    }
}
