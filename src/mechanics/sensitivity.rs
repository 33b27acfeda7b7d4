//! Quantity: what the answers are worth when the assumed numbers are only known by their ranges.
//!
//! Definition: every design under every load is worked out for the same rows of assumed numbers (a Latin hypercube over the
//! ranges, fixed seed); a *band* is the median with the figures that 5 and 95 % of the runs stay under. An input's *weight* on a
//! figure is their rank correlation. Hinged and rigid are compared run by run: the band of the *difference* says
//! whether they can be told apart whatever the numbers, since both have the same ones in each run.
//!
//! Frame and units: as the figures.
//!
//! Method and its error: beds joined in cells ([`CELL_MM`]); the cost is given by the caller as the difference of one
//! run with and without joining. Two hundred runs place the ends of a band to about a twentieth of its width.
//!
//! Not covered: inputs that go together (a mobile tooth with thin mucosa), and any that the ranges leave out.
//!
//! Checked by: below, and `examples/accept_load.rs`.

use rayon::prelude::*;

use super::answers::{Answer, Asked, answer_of};
use super::design::built;
use super::sampling::{Band, Range, band, latin_hypercube, rank_correlation};
use super::scene::{Kind, Load, Scene, Stiffness};

/// Edge of the cells in which the faces of a bed are joined, mm.
pub const CELL_MM: f64 = 2.0;
/// Runs over the ranges.
pub const RUNS: usize = 240;
/// Number of inputs.
pub const INPUTS: usize = 10;
/// Where the generator starts.
const SEED: u64 = 0x5add_1e00;

/// An assumed number that is varied.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Input {
    /// Modulus of the mucosa.
    MucosaModulus,
    /// Its thickness.
    MucosaThickness,
    /// Axial stiffness of abutments.
    ToothAxial,
    /// Their sideways stiffness.
    ToothLateral,
    /// Length of their roots.
    Root,
    /// Stiffness of the moment-carrying attachment.
    Joint,
    /// Stiffness of the clasps.
    Clasp,
    /// Gap between plates and guiding surfaces.
    PlateGap,
    /// Play of the hinge before its stop.
    HingePlay,
    /// Place of the load along the crest.
    LoadPlace,
}

impl Input {
    /// All, in the order of [`Ranges`].
    pub const ALL: [Input; INPUTS] = [
        Input::MucosaModulus,
        Input::MucosaThickness,
        Input::ToothAxial,
        Input::ToothLateral,
        Input::Root,
        Input::Joint,
        Input::Clasp,
        Input::PlateGap,
        Input::HingePlay,
        Input::LoadPlace,
    ];

    /// Its name in words.
    pub fn words(self) -> &'static str {
        match self {
            Input::MucosaModulus => "modulus of the mucosa",
            Input::MucosaThickness => "thickness of the mucosa",
            Input::ToothAxial => "axial stiffness of the abutments",
            Input::ToothLateral => "sideways stiffness of the abutments",
            Input::Root => "length of the roots",
            Input::Joint => "stiffness of the attachment",
            Input::Clasp => "stiffness of the clasps",
            Input::PlateGap => "gap at the guiding plates",
            Input::HingePlay => "play of the hinge before its stop",
            Input::LoadPlace => "place of the load along the crest",
        }
    }

    /// Its name in the report.
    pub fn key(self) -> &'static str {
        match self {
            Input::MucosaModulus => "mucosa_mpa",
            Input::MucosaThickness => "mucosa_mm",
            Input::ToothAxial => "tooth_axial_n_per_mm",
            Input::ToothLateral => "tooth_lateral_n_per_mm",
            Input::Root => "root_mm",
            Input::Joint => "joint_n_mm_per_rad",
            Input::Clasp => "clasp_share",
            Input::PlateGap => "plate_gap_mm",
            Input::HingePlay => "hinge_play_deg",
            Input::LoadPlace => "load_shift_mm",
        }
    }
}

/// Ranges of the inputs, in the order of [`Input::ALL`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ranges(pub [Range; INPUTS]);

impl Ranges {
    /// The middle of every range.
    pub fn middle(&self) -> Stiffness {
        stiffness(&self.0.map(|r| r.middle()))
    }
}

fn stiffness(row: &[f64; INPUTS]) -> Stiffness {
    let [
        mucosa_mpa,
        mucosa_mm,
        axial_n_per_mm,
        lateral_n_per_mm,
        root_mm,
        joint_n_mm_per_rad,
        clasp_share,
        plate_gap_mm,
        hinge_play_deg,
        load_shift_mm,
    ] = *row;
    Stiffness {
        mucosa_mpa,
        mucosa_mm,
        axial_n_per_mm,
        lateral_n_per_mm,
        root_mm,
        joint_n_mm_per_rad,
        clasp_share,
        plate_gap_mm,
        hinge_play_deg,
        load_shift_mm,
    }
}

/// A figure that is followed through the runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Figure {
    /// Part of the load on the abutments.
    AbutmentShare,
    /// Part on the ridge.
    RidgeShare,
    /// Greatest moment on an abutment, N·mm.
    AbutmentMoment,
    /// Greatest pressure on the ridge, MPa.
    RidgePeak,
    /// Mean pressure where the base that bears most bears, MPa.
    RidgeMean,
    /// Greatest sinking of a distal end, mm.
    DistalSink,
    /// Greatest movement of a clasp tip out of its undercut, mm.
    TipOut,
}

impl Figure {
    /// All, in the order of the rows.
    pub const ALL: [Figure; 7] = [
        Figure::AbutmentShare,
        Figure::RidgeShare,
        Figure::AbutmentMoment,
        Figure::RidgePeak,
        Figure::RidgeMean,
        Figure::DistalSink,
        Figure::TipOut,
    ];

    /// It, of an answer.
    pub fn of(self, answer: &Answer) -> f64 {
        let most = |all: &mut dyn Iterator<Item = f64>| all.fold(0.0, f64::max);
        match self {
            Figure::AbutmentShare => answer.abutment_share,
            Figure::RidgeShare => answer.ridge_share,
            Figure::AbutmentMoment => most(&mut answer.abutments.iter().map(|a| a.moment_n_mm())),
            Figure::RidgePeak => most(&mut answer.bases.iter().map(|b| b.peak_mpa)),
            Figure::RidgeMean => most(&mut answer.bases.iter().map(|b| b.mean_mpa)),
            Figure::DistalSink => most(&mut answer.bases.iter().map(|b| b.sinks_mm)),
            Figure::TipOut => most(&mut answer.clasps.iter().map(|c| c.along_mm)),
        }
    }
}

/// What one run of one design gives: the figures, then shares and moments of each abutment.
type Row = Vec<f64>;

/// A design over the runs.
#[derive(Clone, Debug, PartialEq)]
pub struct Spread {
    /// The design.
    pub kind: Kind,
    /// Bands of the figures, in the order of [`Figure::ALL`].
    pub bands: Vec<Band>,
    /// For each abutment its share and its distal tipping moment.
    pub abutments: Vec<[Band; 2]>,
    /// For each figure the input that weighs most on it, with its rank correlation.
    pub governed_by: Vec<(Input, f64)>,
    /// Weights of all inputs on the abutments' share, in the order of [`Input::ALL`].
    pub weights: Vec<f64>,
}

/// Hinged less another design, run by run.
#[derive(Clone, Debug, PartialEq)]
pub struct Difference {
    /// The other design.
    pub against: Kind,
    /// Of which figure.
    pub figure: Figure,
    /// The band of the difference.
    pub band: Band,
    /// The input that weighs most on it, with its rank correlation.
    pub governed_by: (Input, f64),
    /// The band of the difference in the lower, middle and upper third of that input, with the ends of each third.
    pub thirds: Vec<([f64; 2], Band)>,
}

/// What the runs give under one load.
#[derive(Clone, Debug, PartialEq)]
pub struct Runs {
    /// Each design.
    pub designs: Vec<Spread>,
    /// Hinged less rigid, then hinged less clamped, each figure by figure.
    pub differences: Vec<Difference>,
    /// Runs in which all three designs came to rest.
    pub used: usize,
}

/// Runs over the ranges for several loads.
pub fn run(scene: &Scene, cases: &[Vec<Load>], ranges: &Ranges) -> Vec<Option<Runs>> {
    let rows = latin_hypercube(&ranges.0, RUNS, SEED);
    let rows: Vec<[f64; INPUTS]> = rows.iter().filter_map(|r| r.as_slice().try_into().ok()).collect();
    let scene = &scene.coarser(CELL_MM);
    let starts = starts(scene, cases, &ranges.middle());
    let done: Vec<Vec<Option<[Row; 3]>>> =
        rows.par_iter().map(|row| one(scene, cases, &stiffness(row), &starts)).collect();
    (0..cases.len())
        .map(|case| {
            let kept: Vec<(&[f64; INPUTS], &[Row; 3])> =
                rows.iter().zip(&done).filter_map(|(row, of)| Some((row, of.get(case)?.as_ref()?))).collect();
            summed(scene, &kept)
        })
        .collect()
}

/// Rest positions at the middle of the ranges, from which the runs start.
fn starts(scene: &Scene, cases: &[Vec<Load>], middle: &Stiffness) -> Vec<[Option<Vec<f64>>; 3]> {
    cases
        .iter()
        .map(|loads| {
            Kind::ALL.map(|kind| {
                let asked = Asked { scene, kind, stiffness: middle, loads };
                super::answers::answer(&asked, None).ok().map(|a| a.motion)
            })
        })
        .collect()
}

fn one(
    scene: &Scene,
    cases: &[Vec<Load>],
    stiffness: &Stiffness,
    starts: &[[Option<Vec<f64>>; 3]],
) -> Vec<Option<[Row; 3]>> {
    let designs = Kind::ALL.map(|kind| (kind, built(scene, kind, stiffness)));
    cases
        .iter()
        .zip(starts)
        .map(|(loads, starts)| {
            let row = |k: usize| {
                let (kind, built) = &designs[k];
                let asked = Asked { scene, kind: *kind, stiffness, loads };
                answer_of(&asked, built, starts[k].as_deref()).ok().map(|a| figures(&a))
            };
            Some([row(0)?, row(1)?, row(2)?])
        })
        .collect()
}

fn figures(answer: &Answer) -> Row {
    let figures = Figure::ALL.iter().map(|f| f.of(answer));
    figures.chain(answer.abutments.iter().flat_map(|a| [a.load_share, a.distal_n_mm])).collect()
}

fn summed(scene: &Scene, kept: &[(&[f64; INPUTS], &[Row; 3])]) -> Option<Runs> {
    let inputs: Vec<Vec<f64>> = (0..INPUTS).map(|i| kept.iter().map(|(row, _)| row[i]).collect()).collect();
    let column = |design: usize, k: usize| -> Vec<f64> { kept.iter().map(|(_, of)| of[design][k]).collect() };
    let weights = |figures: &[f64]| -> Vec<f64> {
        inputs.iter().map(|input| rank_correlation(input, figures)).collect()
    };
    let designs = (0..3)
        .map(|d| {
            let columns: Vec<Vec<f64>> = (0..Figure::ALL.len()).map(|k| column(d, k)).collect();
            let of_abutment = |a: usize| {
                let k = Figure::ALL.len() + 2 * a;
                Some([band(&column(d, k))?, band(&column(d, k + 1))?])
            };
            Some(Spread {
                kind: Kind::ALL[d],
                bands: columns.iter().map(|c| band(c)).collect::<Option<_>>()?,
                abutments: (0..scene.abutments.len()).map(of_abutment).collect::<Option<_>>()?,
                governed_by: columns.iter().map(|c| heaviest(&weights(c))).collect(),
                weights: weights(columns.first()?),
            })
        })
        .collect::<Option<_>>()?;
    let differences = (0..2 * Figure::ALL.len())
        .map(|n| {
            let (other, k) = (n / Figure::ALL.len(), n % Figure::ALL.len());
            let apart: Vec<f64> = column(2, k).iter().zip(column(other, k)).map(|(h, r)| h - r).collect();
            let (input, weight) = heaviest(&weights(&apart));
            let by = &inputs[Input::ALL.iter().position(|i| *i == input)?];
            Some(Difference {
                against: Kind::ALL[other],
                figure: Figure::ALL[k],
                band: band(&apart)?,
                governed_by: (input, weight),
                thirds: thirds(by, &apart),
            })
        })
        .collect::<Option<_>>()?;
    Some(Runs { designs, differences, used: kept.len() })
}

/// The input of the greatest weight either way; the first of several.
fn heaviest(weights: &[f64]) -> (Input, f64) {
    let mut best = (Input::ALL[0], 0.0_f64);
    for (input, &weight) in Input::ALL.iter().zip(weights) {
        if weight.abs() > best.1.abs() {
            best = (*input, weight);
        }
    }
    best
}

fn thirds(input: &[f64], figures: &[f64]) -> Vec<([f64; 2], Band)> {
    let mut order: Vec<usize> = (0..input.len()).collect();
    order.sort_by(|&a, &b| input[a].total_cmp(&input[b]).then(a.cmp(&b)));
    order
        .chunks(input.len().div_ceil(3).max(1))
        .filter_map(|part| {
            let ends = [input[*part.first()?], input[*part.last()?]];
            Some((ends, band(&part.iter().map(|&i| figures[i]).collect::<Vec<_>>())?))
        })
        .collect()
}
