//! Teeth that neither a mark nor a label gives, found on the scan; and the chart that they propose where none is given.

use super::guess::level::Lean;
use super::segment::row::{Stands, Wanted};
use super::{Crown, KnownFrame, Origin, crowns, frame, segment, sign};
use crate::case::{Arch, Chart, Marks, Tooth};
use crate::estimate::Measured;
use crate::locate::Surface;
use crate::mesh::Topology;
use crate::space::{Frame, angle_deg};

/// What came of the search for teeth on one arch.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FoundTeeth {
    /// How sure the numbers are, 0 to 1.
    pub numbers: f64,
    /// Crowns that were found but are not sure enough to be used.
    pub unsure: Vec<Crown>,
    /// Present teeth of the chart of which nothing was found.
    pub not_seen: Vec<Tooth>,
    /// Teeth that the chart calls missing where something stands that looks like a tooth.
    pub occupied: Vec<Tooth>,
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
    /// Marks.
    pub marks: Option<&'a Marks>,
    /// Confidence under which a found thing is not used.
    pub least: f64,
}

/// Times that teeth are looked for and the frame is laid on them.
const ROUNDS: usize = 3;
/// A frame that turns by less when laid on the crowns has settled, and by more at the last has not, degrees.
const SETTLED_DEG: [f64; 2] = [1.0, 2.0];
/// How strongly a plane laid on crowns is held against the next, degrees.
const HELD_DEG: f64 = 3.0;
/// What is left of the confidence of numbers that change from one round to the next, or that fit
/// the scan only with another chart.
const UNSTEADY: f64 = 0.4;
/// Crowns of a lesser mean sign (cut off, or full of holes) are no better than the shape.
const POOR: f64 = 0.7;
/// Anterior directions that are farther apart are not two readings of one, degrees.
const ASIDE_DEG: f64 = 40.0;
/// Crowns of at least this sign carry the frame.
const CARRIES: f64 = 0.5;

/// Finds the teeth of an arch from a rough frame: the frame, crowns that are sure enough, and what is to be said of the
/// others. A frame that the shape alone leaves unsure is taken where a whole row of teeth fits it; where none does, no
/// teeth are told.
pub fn find(
    surface: &Surface,
    topology: &Topology,
    rough: KnownFrame,
    before: &Before<'_>,
) -> (Measured<KnownFrame>, Vec<Crown>, Option<FoundTeeth>) {
    let mut wanted = wanted(before);
    wanted.frame_sure = rough.confidence >= before.least;
    let finder = segment::Finder::new(surface.mesh(), topology);
    let Some(rough) = facing(&finder, &rough, &wanted) else {
        return (rough.sure(before.least), Vec::new(), None);
    };
    let mut last: Option<Reading> = None;
    let mut laid = Laid { frame: rough.clone(), turned_deg: 0.0, crowns: 0 };
    for _ in 0..ROUNDS {
        let Some(mut reading) =
            finder.find(&laid.frame.frame, &wanted).map(|f| Reading::new(surface, topology, f, before.given))
        else {
            break;
        };
        if let Some(before) = &last {
            let steady = if before.same_teeth(&reading) { 1.0 } else { UNSTEADY };
            reading.numbers = steady * reading.numbers.min(before.numbers);
        }
        let next =
            if rough.origin == Origin::Given { None } else { laid.on(surface, topology, &reading, before) };
        last = Some(reading);
        let Some(next) = next else { break };
        laid = next;
        if laid.turned_deg < SETTLED_DEG[0] {
            break;
        }
    }
    let frame = match &last {
        Some(reading) if laid.crowns > 0 => laid.judged(rough, reading, before.least),
        _ => rough.sure(before.least),
    };
    // Where the frame stays unsure a whole row of teeth is still shown, unused.
    let confidence = frame.as_ref().map_or(0.0, |f| f.confidence);
    let (crowns, told) = match last {
        Some(reading) if frame.is_err() && reading.whole_row() < 0.5 => return (frame, Vec::new(), None),
        Some(reading) => reading.told(confidence, before, &wanted),
        None if frame.is_err() => return (frame, Vec::new(), None),
        None => {
            let not_seen =
                before.present.iter().copied().filter(|t| before.given.iter().all(|c| c.tooth != *t));
            (Vec::new(), FoundTeeth { not_seen: not_seen.collect(), ..FoundTeeth::default() })
        }
    };
    (frame, crowns, Some(told))
}

/// The frame with its anterior side told: by the shape, or because a row of teeth fits one way round much better than
/// the other.
fn facing(finder: &segment::Finder, rough: &KnownFrame, wanted: &Wanted) -> Option<KnownFrame> {
    if rough.anterior_known {
        return Some(rough.clone());
    }
    let Frame { origin, occlusal, anterior, .. } = rough.frame;
    let fits = [1.0, -1.0].map(|turn| {
        let frame =
            Frame::new(origin, occlusal, anterior.into_inner() * turn, wanted.arch == Arch::Mandible)?;
        finder.find(&frame, wanted).map(|found| (found.cost, frame))
    });
    let [(ahead, one), (behind, other)] = match fits {
        [Some(a), Some(b)] => [a, b],
        _ => return None,
    };
    let frame = if ahead < behind { one } else { other };
    ((ahead - behind).abs() > segment::SURE_LEAD).then_some(KnownFrame {
        frame,
        anterior_known: true,
        ..rough.clone()
    })
}

/// A frame laid on crowns.
struct Laid {
    frame: KnownFrame,
    /// How far it turned from the one before.
    turned_deg: f64,
    /// Crowns that carry it.
    crowns: usize,
}

impl Laid {
    /// Laid anew on the crowns of a reading.
    fn on(
        &self,
        surface: &Surface,
        topology: &Topology,
        reading: &Reading,
        before: &Before<'_>,
    ) -> Option<Laid> {
        let own = reading.crowns.iter().filter(|(_, sign)| *sign >= CARRIES).map(|(c, _)| c);
        let mut crowns: Vec<Crown> = own.chain(before.given).cloned().collect();
        crowns.sort_by_key(|c| c.tooth.along());
        if crowns.len() == before.given.len() {
            return None;
        }
        // A plane that crowns gave already holds against crowns that changed little.
        let held =
            (self.crowns > 0).then_some(Lean { toward: self.frame.frame.occlusal, sigma_deg: HELD_DEG });
        let asked = frame::Asked {
            arch: before.arch,
            marks: before.marks,
            crowns: &crowns,
            opposing: held,
            least: before.least,
        };
        let mut frame = frame::find_beside(surface.mesh(), topology, &asked).ok()?;
        if reading.numbers < before.least {
            // Doubtful numbers would turn the frame toward themselves and then be confirmed by it.
            let by_shape = frame::turned_by_shape(surface.mesh(), before.arch, &frame);
            let held = self.frame.frame.anterior.into_inner();
            let alike = angle_deg(&by_shape.frame.anterior, &held) < ASIDE_DEG;
            let toward = if alike { by_shape.frame.anterior.into_inner() } else { held };
            let (up, mandible) = (frame.frame.occlusal, before.arch == Arch::Mandible);
            frame.frame = Frame::new(by_shape.frame.origin, up, toward, mandible).unwrap_or(frame.frame);
        }
        let turned_deg = angle_deg(&frame.frame.occlusal, &self.frame.frame.occlusal);
        Some(Laid { frame: KnownFrame { origin: Origin::Found, ..frame }, turned_deg, crowns: crowns.len() })
    }

    /// The frame with the confidence that the row of teeth lends it.
    fn judged(self, rough: KnownFrame, reading: &Reading, least: f64) -> Measured<KnownFrame> {
        let settled = if self.turned_deg <= SETTLED_DEG[1] { 1.0 } else { 0.5 };
        let by_shape = rough.confidence >= least;
        if by_shape && reading.mean_sign() < POOR {
            return rough.sure(least);
        }
        let confidence = if by_shape {
            self.frame.confidence.min(rough.confidence.max(0.9 * reading.numbers)) * settled
        } else {
            self.frame.confidence
                * settled
                * reading.whole_row()
                * sign(-self.frame.uncertainty_deg, -4.5, -3.0)
        };
        let better = KnownFrame { confidence, ..self.frame };
        if by_shape && confidence < least { rough.sure(least) } else { better.sure(least) }
    }
}

/// Crowns as one search found them.
struct Reading {
    /// With the sign of a crown of each, 0 to 1.
    crowns: Vec<(Crown, f64)>,
    numbers: f64,
    occupied: Vec<Tooth>,
}

impl Reading {
    fn new(surface: &Surface, topology: &Topology, found: segment::Found, given: &[Crown]) -> Reading {
        let labels = without_given(&found.labels, given);
        let crowns = crowns::from_labels(surface, topology, &labels).into_iter().map(|crown| {
            let sign = found.teeth.iter().find(|t| t.tooth == crown.tooth).map_or(0.0, |t| t.crown);
            let whole = (crown.confidence / 0.9).min(1.0);
            (Crown { origin: Origin::Found, ..crown }, whole * sign)
        });
        let doubt = if found.against_chart.is_none() { 1.0 } else { UNSTEADY };
        Reading {
            crowns: crowns.collect(),
            numbers: doubt * found.numbers,
            occupied: found.against_chart.unwrap_or_default(),
        }
    }

    fn same_teeth(&self, other: &Reading) -> bool {
        let teeth = |r: &Reading| r.crowns.iter().map(|(c, _)| c.tooth).collect::<Vec<_>>();
        teeth(self) == teeth(other)
    }

    fn mean_sign(&self) -> f64 {
        self.crowns.iter().map(|(_, sign)| sign).sum::<f64>() / (self.crowns.len() as f64).max(1.0)
    }

    /// Signs that a whole row of teeth was found, on both sides, 0 to 1.
    fn whole_row(&self) -> f64 {
        let count = self.crowns.len() as f64;
        let right = self.crowns.iter().filter(|(c, _)| c.tooth.along() < 0).count() as f64;
        sign(count, 5.0, 8.0) * sign(self.mean_sign(), POOR, 0.85) * sign(right.min(count - right), 0.0, 2.0)
    }

    /// Crowns that are sure enough to be used, and what is to be said.
    fn told(self, of_frame: f64, before: &Before<'_>, wanted: &Wanted) -> (Vec<Crown>, FoundTeeth) {
        let (mut sure, mut unsure) = (Vec::new(), Vec::new());
        for (mut crown, sign) in self.crowns {
            crown.confidence = sign.min(self.numbers).min(of_frame);
            if crown.confidence >= before.least { sure.push(crown) } else { unsure.push(crown) }
        }
        let known = |t: &Tooth| sure.iter().chain(&unsure).chain(before.given).any(|c| c.tooth == *t);
        let not_seen = before.present.iter().copied().filter(|t| !known(t)).collect();
        let proposed = (before.chart.is_none() && unsure.is_empty() && !sure.is_empty()).then(|| {
            let missing =
                (0..16).filter_map(|k| wanted.tooth(k)).filter(|t| t.place() < 8 && !known(t)).collect();
            Chart { missing, ..Chart::default() }
        });
        (sure, FoundTeeth { numbers: self.numbers, unsure, not_seen, occupied: self.occupied, proposed })
    }
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
