//! Everything of an arch that marks, labels or the chart give: frame, crowns, spans, regions.

use super::found_teeth::{self, FoundTeeth};
use super::{Anatomy, Crown, KnownFrame, crowns, frame, margins, region, spans};
use crate::case::{Arch, Chart, Marks, Tooth, chart};
use crate::estimate::{Measured, NotMeasured};
use crate::locate::Surface;
use crate::mesh::Topology;

/// What is known of an arch besides its surface.
#[derive(Clone, Copy, Debug)]
pub struct Known<'a> {
    /// The arch.
    pub arch: Arch,
    /// The chart.
    pub chart: Option<&'a Chart>,
    /// Abutments named by the design.
    pub abutments: &'a [Tooth],
    /// Marks; only for the restored arch.
    pub marks: Option<&'a Marks>,
    /// One FDI number a vertex, 0 = no tooth.
    pub labels: Option<&'a [u8]>,
    /// Confidence under which a found thing is not used.
    pub least_confidence: f64,
}

impl Known<'_> {
    /// Teeth of this arch that the chart calls present, from the patient's right to left; third molars only where they
    /// are abutments. Empty without a chart.
    pub fn present(&self) -> Vec<Tooth> {
        let Some(chart) = self.chart else { return Vec::new() };
        let gone = |t: &Tooth| {
            chart.missing.contains(t)
                || chart.extractions.contains(t)
                || chart.no_space.contains(t)
                || chart.pontics.contains(t)
                || chart.implants.contains(t)
        };
        (-8..=8i8)
            .filter_map(|along| Tooth::at(self.arch, along))
            .filter(|t| !gone(t) && (t.place() < 8 || self.abutments.contains(t)))
            .collect()
    }
}

/// Reads the anatomy of an arch.
pub fn read(surface: &Surface, topology: &Topology, known: &Known<'_>) -> Anatomy {
    let mesh = surface.mesh();
    let mut failed = Vec::new();
    let mut found: Vec<Crown> = Vec::new();
    if let Some(labels) = known.labels {
        found = crowns::from_labels(surface, topology, labels);
    }
    if let Some(marks) = known.marks {
        let up = marks
            .occlusal_plane
            .and_then(|_| frame::find(mesh, topology, known.arch, Some(marks)).ok())
            .map(|f| f.frame.occlusal);
        let (marked, reasons) = margins::from_margins(surface, topology, marks, up);
        failed = reasons;
        found.retain(|c| marked.iter().all(|m| m.tooth != c.tooth));
        found.extend(marked);
    }
    found.retain(|c| c.tooth.arch() == known.arch);
    found.sort_by_key(|c| c.tooth.along());
    let asked =
        frame::Asked { arch: known.arch, marks: known.marks, crowns: &found, opposing: None, least: 0.0 };
    let rough = frame::find_beside(mesh, topology, &asked);
    let (frame, found_teeth) = with_found(surface, topology, known, rough, &mut found);
    let places = frame::tooth_places(known.arch, known.marks, &found);
    let proposed = found_teeth.as_ref().and_then(|f| f.proposed.as_ref());
    let of_chart =
        known.chart.or(proposed).map(|c| chart::spans(c, known.arch, known.abutments)).unwrap_or_default();
    let (spans, unused_crests) = spans::read(
        surface,
        &spans::Known {
            arch: known.arch,
            chart: &of_chart,
            crowns: &found,
            places: &places,
            frame: frame.as_ref().ok(),
            marks: known.marks,
        },
    );
    let regions =
        region::Known { arch: known.arch, crowns: &found, spans: &spans, frame: frame.as_ref().ok() };
    let (mut region, mut tooth_of) = region::of_vertices(mesh, topology, &regions);
    // A crown that is not sure enough to be measured is still shown as what it seems to be.
    let unsure = found_teeth.as_ref().map_or(&[][..], |f| &f.unsure);
    region::paint_crowns(mesh, topology, unsure, &mut region, &mut tooth_of);
    let crowns_lacking = lacking(known, &found, &failed);
    Anatomy {
        frame,
        crowns: found,
        crowns_lacking,
        found_teeth,
        margins_unused: failed,
        unused_crests,
        spans,
        region,
        tooth_of,
    }
}

/// Finds the teeth that marks and labels leave open, and lays the frame on them where no mark gives it.
fn with_found(
    surface: &Surface,
    topology: &Topology,
    known: &Known<'_>,
    rough: Measured<KnownFrame>,
    crowns: &mut Vec<Crown>,
) -> (Measured<KnownFrame>, Option<FoundTeeth>) {
    let present = known.present();
    let all_given = !present.is_empty() && present.iter().all(|t| crowns.iter().any(|c| c.tooth == *t));
    let rough = match rough {
        Ok(rough) if known.labels.is_none() && !all_given => rough,
        other => return (other.and_then(|f| f.sure(known.least_confidence)), None),
    };
    // A chart that names no tooth of this arch may speak of the other one only.
    let chart = known.chart.filter(|c| {
        let named = [&c.missing, &c.extractions, &c.no_space, &c.pontics, &c.implants];
        known.marks.is_some() || named.iter().any(|list| list.iter().any(|t| t.arch() == known.arch))
    });
    let before = found_teeth::Before {
        arch: known.arch,
        chart,
        present: if chart.is_some() { &present } else { &[] },
        given: crowns,
        marks: known.marks,
        least: known.least_confidence,
    };
    let (frame, found, told) = found_teeth::find(surface, topology, rough, &before);
    crowns.extend(found);
    crowns.sort_by_key(|c| c.tooth.along());
    (frame, told)
}

/// Why crowns are not known that the chart calls present, or that a margin was marked for.
fn lacking(known: &Known<'_>, crowns: &[Crown], failed: &[(Tooth, NotMeasured)]) -> Option<NotMeasured> {
    if known.chart.is_none() && crowns.is_empty() && failed.is_empty() {
        return Some(NotMeasured::new(
            "no crown is marked or labelled, and none was found on the scan",
            "margins in [marks], or a file of labels in [scans]",
        ));
    }
    let without: Vec<Tooth> = known
        .present()
        .into_iter()
        .filter(|t| crowns.iter().all(|c| c.tooth != *t) && failed.iter().all(|(f, _)| f != t))
        .collect();
    if let Some((_, reason)) = failed.first()
        && without.is_empty()
    {
        return Some(reason.clone());
    }
    (!without.is_empty()).then(|| {
        let names: Vec<String> = without.iter().map(Tooth::to_string).collect();
        NotMeasured::new(
            format!(
                "no margin is marked, no crown labelled, and none found on the scan for {}",
                names.join(", ")
            ),
            format!("[marks] margins for {}", names.join(", ")),
        )
    })
}

#[cfg(test)]
mod tests {
    use super::super::test_casts::{FieldCast, radius};
    use super::super::{Origin, Region, curves};
    use super::*;
    use crate::case::{SpanKind, SpanTeeth};
    use crate::space::{Point, hypot};

    fn tooth(n: u8) -> Tooth {
        Tooth::fdi(n).unwrap()
    }

    /// A mandible without 36, 37, 45 with marks as a technician sets them.
    fn marked() -> (FieldCast, Chart, Marks) {
        let missing = [36, 37, 45].map(tooth);
        let cast = FieldCast::new(Arch::Mandible, &|t| !missing.contains(&t), 0.5);
        let whole = FieldCast::new(Arch::Mandible, &|_| true, 8.0);
        let at = |n: u8, z: f64| {
            let c = whole.centre(tooth(n));
            Point::new(c[0], c[1], z)
        };
        let mut marks =
            Marks { occlusal_plane: Some([at(31, 13.0), at(35, 13.0), at(46, 13.0)]), ..Marks::default() };
        marks.midline = Some(Point::new(0.0, 1.0, 13.0));
        for n in [35, 44, 46, 34] {
            marks.margins.insert(tooth(n), cast.margin(tooth(n), 16, n % 2 == 0, 0.1));
            marks.teeth.insert(tooth(n), at(n, 12.0));
        }
        // From behind forwards, and beginning 1 mm behind 35's margin; the other begins on the crown of 44.
        marks.crests = vec![
            vec![at(37, 6.2), at(36, 6.2), at(36, 6.2) + (at(35, 6.2) - at(36, 6.2)) * 0.6],
            vec![at(46, 9.0), at(45, 6.0), at(44, 9.0)],
        ];
        (cast, Chart { missing: missing.to_vec(), ..Chart::default() }, marks)
    }

    fn anatomy(cast: &FieldCast, chart: Option<&Chart>, marks: &Marks) -> Anatomy {
        sure_from(0.5, cast, chart, marks)
    }

    fn sure_from(least: f64, cast: &FieldCast, chart: Option<&Chart>, marks: &Marks) -> Anatomy {
        let known = Known {
            arch: Arch::Mandible,
            chart,
            abutments: &[],
            marks: Some(marks),
            labels: None,
            least_confidence: least,
        };
        read(&Surface::new(&cast.mesh), &Topology::new(&cast.mesh), &known)
    }

    #[test]
    fn a_marked_class_ii_mandible_is_read_whole() {
        let (cast, chart, marks) = marked();
        let found = anatomy(&cast, Some(&chart), &marks);
        let numbers: Vec<u8> = found.crowns.iter().map(|c| c.tooth.number()).collect();
        let given: Vec<u8> =
            found.crowns.iter().filter(|c| c.origin == Origin::Given).map(|c| c.tooth.number()).collect();
        assert_eq!(given, [46, 44, 34, 35], "of {numbers:?}");
        assert!(
            numbers.iter().all(|n| ![36, 37, 45].contains(n)),
            "no crown where the chart has none: {numbers:?}"
        );
        assert_eq!(found.spans.len(), 2);
        assert!(found.unused_crests.is_empty());
        let of = |teeth: &[u8]| {
            let teeth: Vec<Tooth> = teeth.iter().map(|n| tooth(*n)).collect();
            found.spans.iter().find(|s| s.teeth == teeth).unwrap()
        };
        let extension = of(&[36, 37]);
        assert_eq!(
            (extension.kind, extension.front, extension.back),
            (SpanKind::DistalExtension, Some(tooth(35)), None)
        );
        assert_eq!(extension.crest_origin, Origin::Given);
        let bounded = of(&[45]);
        assert_eq!((bounded.front, bounded.back), (Some(tooth(44)), Some(tooth(46))));
        let plan = |p: &Point, n: u8| {
            let c = FieldCast::new(Arch::Mandible, &|_| true, 8.0).centre(tooth(n));
            hypot(p.x - c[0], p.y - c[1])
        };
        for (span, front) in [(extension, 35), (bounded, 44)] {
            let crest = span.crest.as_ref().unwrap();
            assert!(crest.windows(2).all(|w| (w[1] - w[0]).norm() <= 0.5 + 1e-9));
            let start = plan(&crest[0], front);
            assert!(
                (start - radius(tooth(front))).abs() < 0.6,
                "{front}: begins {start} from the crown's middle"
            );
        }
        let crest = bounded.crest.as_ref().unwrap();
        assert!((plan(&crest[crest.len() - 1], 46) - radius(tooth(46))).abs() < 0.6);
        // Ridge under the crest, teeth on the crowns, and none of the four unmarked crowns forgotten in the reason.
        let middle = crest[crest.len() / 2];
        let nearest = (0..cast.mesh.vertices().len())
            .min_by(|&a, &b| {
                let far = |i: usize| (cast.mesh.vertices()[i] - middle).norm();
                far(a).total_cmp(&far(b))
            })
            .unwrap();
        assert_eq!(found.region[nearest], Region::ResidualRidge);
        assert!(found.tooth_of.iter().all(|n| ![36, 37, 45].contains(n)));
        assert!(found.region.contains(&Region::Gingiva));
        let without = [33, 41].iter().filter(|n| !numbers.contains(n)).count();
        let lacking = found.crowns_lacking.map_or(String::new(), |l| l.because);
        assert!(!lacking.contains("35"), "{lacking}");
        assert!(without == 0 || lacking.contains("33") || lacking.contains("41"), "{lacking}");
    }

    #[test]
    fn the_marked_end_of_a_ridge_ends_its_crest() {
        let (cast, chart, mut marks) = marked();
        let whole = anatomy(&cast, Some(&chart), &marks);
        let length = |a: &Anatomy| curves::length_mm(a.spans[1].crest.as_ref().unwrap());
        let crest = whole.spans[1].crest.clone().unwrap();
        marks.ridge_ends = vec![crest[crest.len() * 3 / 4]];
        let cut = anatomy(&cast, Some(&chart), &marks);
        assert!((length(&cut) / length(&whole) - 0.75).abs() < 0.05);
    }

    #[test]
    fn crowns_that_are_not_sure_enough_are_not_used_and_the_reason_asks_for_marks() {
        let (cast, chart, marks) = marked();
        // Nothing found is surer than certain.
        assert!(sure_from(1.01, &cast, None, &marks).spans.is_empty());
        let bare = Marks { crests: Vec::new(), ..marks };
        let found = sure_from(
            1.01,
            &cast,
            Some(&chart),
            &Marks { margins: Default::default(), teeth: Default::default(), ..bare },
        );
        let reason = found.spans[1].crest.as_ref().unwrap_err();
        assert!(reason.settled_by.as_ref().unwrap().contains("crest of span 36-37"), "{reason:?}");
        let _: &SpanTeeth = &chart::spans(&chart, Arch::Mandible, &[])[0];
    }
}
