//! Quantity: the path of insertion that suits a cast best, and what each tilt gives and costs.
//!
//! The direction in which the denture is placed and removed (Glossary of Prosthodontic Terms, ninth edition: "path of
//! placement"). The withdrawal direction is the same line the other way.
//!
//! Definition: for each tilt of a cone about the occlusal normal six respects.
//! - Retention: of each clasp (an abutment without one: of its buccal and lingual surface) the deepest undercut, at least
//!   the tip's distance above the gingival margin, that stands along the tilt *and* along the occlusal normal, as a share
//!   of the gauge wanted, at most 1; the mean over the clasps. Undercut made by tilting alone gives no retention.
//! - Balance: difference between the greatest and the least of these depths, each counted up to the ceiling.
//! - Guiding: of each surface beside a span its best part as large as the area wanted (height wanted times a third of the
//!   crown's width), each bit counted fully within the narrow band and fading out to the wide one; the mean.
//! - Tissue: area of the tissue crossed (residual ridges; the lingual band of a bar; the palate off the margins) that is
//!   undercut deeper than the scan is true.
//! - Block-out: dead space under that tissue and under the proximal surfaces beside spans: depth times upright extent.
//! - Lean: the angle from the occlusal normal.
//!
//! A tilt is unbeaten where no other is at least as good in every respect and better in one. The score is the mean of the
//! respects, each brought to 0 (worst) to 1 (best), by the weights given; the highest score of the unbeaten tilts wins.
//! It replaces the occlusal normal only where it leans by more than the frame's uncertainty and where its gain exceeds
//! what turning by that uncertainty does to the score of the normal.
//!
//! Frame and units: mm, mm2, mm3, degrees; tilts toward anterior and toward the patient's left, as of `space::Frame`.
//!
//! Method and its error: tilts on a hexagonal grid, then finer about the best; depths by `undercut` at the vertices of a
//! cast reduced within a bound (`reduced`), areas and volumes over its triangles with depths linear between corners. The
//! figures of the tilts that are compared are measured again on the scan itself. Dead space is exact for plane walls and
//! an estimate elsewhere.
//!
//! Not covered: the stiffness of an arm and whether it reaches the place; where the design puts its minor connectors;
//! looks; what the patient can follow.
//!
//! Checked by: cylinders and cones that lean alike, barrels that balance, a ridge that a tilt frees (`trials`).

mod choice;
mod parts;
mod places;
pub mod reduced;
mod tilts;
#[cfg(test)]
mod trials;

use rayon::prelude::*;

pub use choice::{Goodness, Weights, Why};
pub use parts::Parts;

use crate::anatomy::{Anatomy, KnownFrame};
use crate::case::{Arch, Surface, Tooth};
use crate::estimate::{Measured, NotMeasured};
use crate::measure::undercut::{Surveyor, TiltedCast};
use crate::mesh::{Mesh, Topology, VertexId};
use crate::space::{Direction, Tilt};
use places::{Cast, Places};

/// A clasp, or an abutment that may get one.
#[derive(Clone, Debug, PartialEq)]
pub struct Held {
    /// The tooth.
    pub tooth: Tooth,
    /// Undercut wanted, mm.
    pub gauge_mm: f64,
    /// Surfaces of which the best one counts.
    pub surfaces: Vec<Surface>,
}

/// What limits and settings of the table go into the search.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Greatest lean from the occlusal normal, degrees.
    pub cone_deg: f64,
    /// Spacing of the tilts, degrees.
    pub step_deg: f64,
    /// Distance of a clasp's tip from the gingival margin, mm.
    pub tip_above_margin_mm: f64,
    /// Undercut beyond which more is of no use, mm.
    pub ceiling_mm: f64,
    /// Lean up to which a surface guides, and beyond which it is none, degrees.
    pub guiding_deg: [f64; 2],
    /// Height of a guiding plane wanted beside a distal extension and beside a bounded span, mm.
    pub guiding_height_mm: [f64; 2],
    /// The lingual band of a connector: its edges below the gingival margin, mm.
    pub band_mm: [f64; 2],
    /// Distance of a palatal connector from the gingival margin, mm.
    pub palatal_border_mm: f64,
    /// Depth from which tissue counts as undercut: trueness of the scan, mm.
    pub scan_mm: f64,
    /// Bound of the reduced cast, mm.
    pub reduced_within_mm: f64,
}

/// What is searched.
#[derive(Clone, Copy, Debug)]
pub struct Asked<'a> {
    /// The cast.
    pub mesh: &'a Mesh,
    /// Its adjacency.
    pub topology: &'a Topology,
    /// The cast, ready for surveying.
    pub surveyor: &'a Surveyor,
    /// What is where.
    pub anatomy: &'a Anatomy,
    /// Which arch.
    pub arch: Arch,
    /// Clasps and abutments.
    pub held: &'a [Held],
    /// Settings.
    pub limits: &'a Limits,
    /// Weights of the respects.
    pub weights: &'a Weights,
    /// A withdrawal direction given by the case, to be compared.
    pub given: Option<Direction>,
}

/// One tilt that was tried.
#[derive(Clone, Debug, PartialEq)]
pub struct Tried {
    /// The tilt.
    pub tilt: Tilt,
    /// What it gives and costs.
    pub parts: Parts,
    /// Its score, 0 to 1.
    pub score: f64,
}

/// The cast on which the tilts were tried.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReducedCast {
    /// Triangles of the scan.
    pub triangles_of_scan: usize,
    /// Triangles left.
    pub triangles: usize,
    /// Every vertex of the scan lies within this of them, mm.
    pub within_mm: f64,
}

/// What came of the search.
#[derive(Clone, Debug, PartialEq)]
pub struct Searched {
    /// Clasps and abutments with known gingival margin, in the order of `Parts::usable_mm`.
    pub held: Vec<Held>,
    /// Teeth left out since they have no known crown or margin.
    pub left_out: Vec<Tooth>,
    /// Surfaces beside spans that were looked at, in the order of `Parts::guiding_mm2`.
    pub guided: Vec<(Tooth, Surface)>,
    /// Area of the tissue crossed, mm2.
    pub tissue_mm2: f64,
    /// All tilts, those of the grid first, in its order.
    pub tried: Vec<Tried>,
    /// How many of them form the grid.
    pub on_grid: usize,
    /// Those that no other beats, ascending.
    pub unbeaten: Vec<usize>,
    /// What brings each respect to 0 to 1.
    pub goodness: Goodness,
    /// Spacing of the grid, degrees.
    pub step_deg: f64,
    /// The tilt with the highest score of those tried.
    pub best: Tilt,
    /// The tilt chosen: `best` or zero.
    pub chosen: Tilt,
    /// Why.
    pub why: Why,
    /// Zero tilt, on the scan itself.
    pub zero: Tried,
    /// `best`, on the scan itself.
    pub best_exact: Tried,
    /// The direction given by the case, on the scan itself; its tilt may lie outside the cone.
    pub given: Option<Tried>,
    /// The cast on which the tilts were tried.
    pub reduced: ReducedCast,
}

/// Searches the cone.
///
/// # Errors
/// Without a frame, and where neither abutments nor tissue that a rigid part crosses are known.
pub fn search(asked: &Asked<'_>) -> Measured<Searched> {
    let known = known_frame(asked.anatomy)?;
    let scan = Cast::whole(asked.mesh);
    let on_scan = Places::new(asked, known, &scan);
    if on_scan.nothing() {
        return Err(NotMeasured::new(
            "neither an abutment with its gingival margin nor a span's ridge is known, so that tilts differ in nothing",
            "missing teeth in [chart], abutments in [design], gingival margins in [marks]",
        ));
    }
    let kind = places::kinds(asked, &on_scan);
    let how = reduced::Reduction {
        within_mm: asked.limits.reduced_within_mm,
        kind: &kind,
        longest_mm: &places::LONGEST_MM,
    };
    let small = reduced::reduced(asked.mesh, asked.topology, &how)
        .ok_or_else(|| NotMeasured::only("the cast has no surface"))?;
    let cast = Cast { mesh: &small.mesh, from: Some(&small.from) };
    let topology = Topology::new(&small.mesh);
    let surveyor = Surveyor::new(&small.mesh, &topology);
    let on_small = Places::new(asked, known, &cast);
    let trial = Trial::new(asked, known, &surveyor, &on_small);
    let exact = Trial::new(asked, known, asked.surveyor, &on_scan);
    let reduced = ReducedCast {
        triangles_of_scan: asked.mesh.faces().len(),
        triangles: small.mesh.faces().len(),
        within_mm: asked.limits.reduced_within_mm,
    };
    Ok(chosen(asked, known, &trial, &exact, reduced))
}

fn known_frame(anatomy: &Anatomy) -> Measured<&KnownFrame> {
    let known = anatomy.frame.as_ref().map_err(Clone::clone)?;
    if !known.anterior_known {
        return Err(NotMeasured::new(
            "it is not known where the front of the arch lies, so that no tilt can be named",
            "a mark between the central incisors (marks.midline)",
        ));
    }
    Ok(known)
}

fn chosen(
    asked: &Asked<'_>,
    known: &KnownFrame,
    trial: &Trial<'_>,
    exact: &Trial<'_>,
    reduced: ReducedCast,
) -> Searched {
    let limits = asked.limits;
    let grid = tilts::grid(limits.cone_deg, limits.step_deg);
    let parts = trial.all(&grid);
    let goodness = Goodness::of(&parts, limits, *asked.weights);
    let scored = |tilt: Tilt, parts: Parts| Tried { tilt, score: goodness.score(&parts), parts };
    let mut tried: Vec<Tried> = grid.iter().zip(parts).map(|(t, p)| scored(*t, p)).collect();
    let on_grid = tried.len();
    for finer in [0.5, 0.25] {
        let around = tilts::ring(&tried[choice::highest(&tried)].tilt, finer * limits.step_deg);
        let inside: Vec<Tilt> =
            around.into_iter().filter(|t| tilts::lean_deg(t) <= limits.cone_deg).collect();
        let parts = trial.all(&inside);
        tried.extend(inside.iter().zip(parts).map(|(t, p)| scored(*t, p)));
    }
    let unbeaten = choice::unbeaten(&tried);
    let standing: Vec<Tried> = unbeaten.iter().map(|&i| tried[i].clone()).collect();
    let best = standing[choice::highest(&standing)].tilt;
    // What turning by the uncertainty of the frame does to the score of zero tilt.
    let turn_deg = known.uncertainty_deg.clamp(0.5, 5.0);
    let turned = trial.all(&tilts::ring(&Tilt::default(), turn_deg));
    let zero_score = goodness.score(&trial.of(&Tilt::default()));
    let unsure = choice::unsure(zero_score, &turned.iter().map(|p| goodness.score(p)).collect::<Vec<_>>());
    let again = |tilt: Tilt, d: &Direction| scored(tilt, exact.along(d));
    let zero = again(Tilt::default(), &known.frame.occlusal);
    let best_exact = if tilts::lean_deg(&best) > 0.0 { scored(best, exact.of(&best)) } else { zero.clone() };
    let given = asked.given.and_then(|d| Some(again(known.frame.tilt_of(&d)?, &d)));
    let why = choice::why(&choice::Weighed {
        zero: zero.score,
        best: best_exact.score,
        lean_deg: tilts::lean_deg(&best),
        frame_deg: known.uncertainty_deg,
        unsure,
        weighted: goodness.weighted(),
    });
    let places = exact.places;
    Searched {
        held: places.held.iter().map(|h| h.held.clone()).collect(),
        left_out: places.left_out.clone(),
        guided: places.guiding.iter().map(|g| (g.tooth, g.surface)).collect(),
        tissue_mm2: places.tissue.iter().map(|p| p.area_mm2).sum(),
        tried,
        on_grid,
        unbeaten,
        goodness,
        step_deg: limits.step_deg,
        best,
        chosen: if matches!(why, Why::Gains { .. }) { best } else { Tilt::default() },
        why,
        zero,
        best_exact,
        given,
        reduced,
    }
}

/// A cast on which tilts are tried.
struct Trial<'a> {
    limits: &'a Limits,
    known: &'a KnownFrame,
    surveyor: &'a Surveyor,
    places: &'a Places,
    /// The wanted vertices; `None` where the depth along a tilt cannot matter.
    wanted: Vec<Option<VertexId>>,
    /// Their depth along the occlusal normal, mm.
    along_normal: Vec<f64>,
}

impl<'a> Trial<'a> {
    fn new(
        asked: &'a Asked<'_>,
        known: &'a KnownFrame,
        surveyor: &'a Surveyor,
        places: &'a Places,
    ) -> Trial<'a> {
        let mut wanted: Vec<Option<VertexId>> = places.wanted.iter().map(|&v| Some(v)).collect();
        let along_normal = depths(&surveyor.tilted(&known.frame.occlusal), &wanted);
        // A clasp's place that is free along the occlusal normal holds nothing along any tilt.
        let mut matters = vec![false; wanted.len()];
        for v in places.tissue.iter().chain(&places.proximal).flat_map(|p| p.corners) {
            matters[v as usize] = true;
        }
        for ((place, matters), depth) in wanted.iter_mut().zip(&matters).zip(&along_normal) {
            if !matters && *depth <= 0.0 {
                *place = None;
            }
        }
        Trial { limits: asked.limits, known, surveyor, places, wanted, along_normal }
    }

    fn all(&self, tilts: &[Tilt]) -> Vec<Parts> {
        tilts.par_iter().map(|t| self.of(t)).collect()
    }

    fn of(&self, tilt: &Tilt) -> Parts {
        self.along(&self.known.frame.tilted(*tilt))
    }

    fn along(&self, d: &Direction) -> Parts {
        let depth = depths(&self.surveyor.tilted(d), &self.wanted);
        parts::of(&parts::Seen {
            places: self.places,
            limits: self.limits,
            direction: d,
            occlusal: &self.known.frame.occlusal,
            depth_mm: &depth,
            along_normal_mm: &self.along_normal,
        })
    }
}

/// Depths of some vertices, mm; 0 where none is wanted.
fn depths(cast: &TiltedCast<'_>, wanted: &[Option<VertexId>]) -> Vec<f64> {
    let asked: Vec<VertexId> = wanted.iter().copied().flatten().collect();
    let mut told = cast.depths_of(&asked).into_iter();
    wanted.iter().map(|v| v.and_then(|_| told.next()).unwrap_or(0.0)).collect()
}
