//! Teeth that neither a mark nor a label gives, found on the scan; and the chart that they propose where none is given.

use super::segment::row::{Stands, Wanted};
use super::{Crown, KnownFrame, Origin, crowns, segment};
use crate::case::{Arch, Chart, Tooth};
use crate::locate::Surface;
use crate::mesh::Topology;

/// What came of the search for teeth on one arch.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FoundTeeth {
    /// How sure the numbers are, 0 to 1.
    pub numbers: f64,
    /// Crowns that were found but are not sure enough to be used.
    pub unsure: Vec<Crown>,
    /// Present teeth of the chart of which nothing was found.
    pub not_seen: Vec<Tooth>,
    /// The missing teeth as the scan shows them, where the case has no chart; third molars are left open.
    pub proposed: Option<Chart>,
}

/// What is known before the search.
#[derive(Clone, Copy, Debug)]
pub struct Before<'a> {
    /// The arch.
    pub arch: Arch,
    /// The chart, where it tells about this arch.
    pub chart: Option<&'a Chart>,
    /// Present teeth by the chart.
    pub present: &'a [Tooth],
    /// Crowns that marks or labels give.
    pub given: &'a [Crown],
    /// The frame of the arch.
    pub frame: &'a KnownFrame,
    /// Confidence under which a found thing is not used.
    pub least: f64,
}

/// Finds the teeth of an arch: crowns that are sure enough, and what is to be said of the others.
pub fn find(surface: &Surface, topology: &Topology, before: &Before<'_>) -> (Vec<Crown>, FoundTeeth) {
    let wanted = wanted(before);
    let Some(found) = segment::find(surface.mesh(), topology, &before.frame.frame, &wanted) else {
        let not_seen = before.present.iter().copied().filter(|t| before.given.iter().all(|c| c.tooth != *t));
        return (Vec::new(), FoundTeeth { not_seen: not_seen.collect(), ..FoundTeeth::default() });
    };
    let labels = without_given(&found.labels, before.given);
    let (mut sure, mut unsure) = (Vec::new(), Vec::new());
    for mut crown in crowns::from_labels(surface, topology, &labels) {
        let of_tooth = found.teeth.iter().find(|t| t.tooth == crown.tooth).map_or(0.0, |t| t.crown);
        crown.origin = Origin::Found;
        crown.confidence =
            (crown.confidence / 0.9).min(1.0) * of_tooth.min(found.numbers).min(before.frame.confidence);
        if crown.confidence >= before.least { sure.push(crown) } else { unsure.push(crown) }
    }
    let known = |t: &Tooth| sure.iter().chain(&unsure).chain(before.given).any(|c| c.tooth == *t);
    let not_seen = before.present.iter().copied().filter(|t| !known(t)).collect();
    let proposed = (before.chart.is_none() && unsure.is_empty() && !sure.is_empty()).then(|| {
        let missing =
            (0..16).filter_map(|k| wanted.tooth(k)).filter(|t| t.place() < 8 && !known(t)).collect();
        Chart { missing, ..Chart::default() }
    });
    (sure, FoundTeeth { numbers: found.numbers, unsure, not_seen, proposed })
}

/// Which teeth of the row stand: as the chart says; third molars are open unless it calls them missing.
fn wanted(before: &Before<'_>) -> Wanted {
    let mut wanted = Wanted::open(before.arch);
    let Some(chart) = before.chart else { return wanted };
    for k in 0..16 {
        let Some(tooth) = wanted.tooth(k) else { continue };
        let gone = [&chart.missing, &chart.no_space].iter().any(|list| list.contains(&tooth));
        let stands = before.present.contains(&tooth)
            || [&chart.extractions, &chart.pontics, &chart.implants].iter().any(|list| list.contains(&tooth));
        wanted.stands[k] = match (stands, gone) {
            (true, _) => Stands::Yes,
            (false, true) => Stands::No,
            (false, false) => Stands::Open,
        };
    }
    wanted
}

/// Labels without the places and the numbers of crowns that are given.
fn without_given(labels: &[u8], given: &[Crown]) -> Vec<u8> {
    let mut labels = labels.to_vec();
    for crown in given {
        labels.iter_mut().filter(|l| **l == crown.tooth.number()).for_each(|l| *l = 0);
    }
    for &v in given.iter().flat_map(|c| &c.vertices) {
        labels[v as usize] = 0;
    }
    labels
}
