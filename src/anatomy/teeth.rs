//! Everything of an arch that marks, labels or the chart give: frame, crowns, spans, regions.

use super::{Anatomy, Crown, crowns, frame, region, spans};
use crate::case::{Arch, Chart, Marks, Tooth, chart};
use crate::estimate::NotMeasured;
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
        let (marked, reasons) = crowns::from_margins(surface, topology, marks, up);
        failed = reasons;
        found.retain(|c| marked.iter().all(|m| m.tooth != c.tooth));
        found.extend(marked);
    }
    found.retain(|c| c.tooth.arch() == known.arch);
    found.sort_by_key(|c| c.tooth.along());
    let frame = frame::find_with(mesh, topology, known.arch, known.marks, &found);
    let places = frame::tooth_places(known.arch, known.marks, &found);
    let of_chart =
        known.chart.map(|c| chart::spans(c, known.arch, known.abutments)).unwrap_or_default();
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
    let regions = region::Known {
        arch: known.arch,
        crowns: &found,
        spans: &spans,
        frame: frame.as_ref().ok(),
    };
    let (region, tooth_of) = region::of_vertices(mesh, topology, &regions);
    let crowns_lacking = lacking(known, &found, &failed);
    Anatomy { frame, crowns: found, crowns_lacking, margins_unused: failed, unused_crests, spans, region, tooth_of }
}

/// Why crowns are not known that the chart calls present, or that a margin was marked for.
fn lacking(known: &Known<'_>, crowns: &[Crown], failed: &[(Tooth, NotMeasured)]) -> Option<NotMeasured> {
    if known.chart.is_none() && crowns.is_empty() && failed.is_empty() {
        return Some(NotMeasured::new(
            "no crown is marked or labelled",
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
            format!("no margin is marked and no crown labelled for {}", names.join(", ")),
            format!("[marks] margins for {}", names.join(", ")),
        )
    })
}
