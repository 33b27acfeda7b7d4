//! Quantity: torus. A smooth bony elevation of the lingual side of the mandible or of the palatal midline (Glossary of
//! Prosthodontic Terms, key G9: torus mandibularis, torus palatinus), above the surface that the alveolar process would
//! have without it.
//!
//! Definition: let `S0` be the surface without the rise. The height of a place is its normal distance to `S0`; the
//! outline is the line at `outline_mm`; two summits are separate lobes where the saddle between them lies `saddle_mm`
//! below the lower one; the length is the longest chord of the outline, the width its extent across that chord.
//!
//! Frame and units: mm; the frame of the cast only tells where to look and which side it is.
//!
//! Method: on a work surface of seeds about 0.6 mm apart, caps are connected parts of high mean curvature of the surface
//! smoothed as a thin plate (`caps`). Each cap is masked, the mask filled by the thin plate through its surroundings
//! (`fill`), and what stands above the fill becomes the next mask until it rests (`bump`). Heights are those of the
//! full mesh's vertices above the last fill (`outline`). Over an exact plane the fill is that plane, so that the
//! height's error is the chord error of the mesh; on gingiva see `docs/method/tori.md`.
//!
//! Not covered: whether a rise is bone (a scan shows its surface only), what lies beyond the scan's border, and rises
//! that run into the floor of the mouth.
//!
//! Checked by: domes of known height over plane, cylinder and sphere, two-lobed domes, casts without tori.

mod accept;
mod bump;
mod caps;
mod fill;
mod ground;
mod joint;
mod line;
mod marked;
mod outline;
mod place;
mod sparse;
mod wall;
mod work;

#[cfg(test)]
mod trials;

use rayon::prelude::*;

use crate::anatomy::Anatomy;
use crate::case::Arch;
use crate::mesh::{FaceId, Mesh, Topology};
use crate::report::{TorusSide, TorusState};
use crate::space::{Point, Vector};
use bump::{Bump, Field};
use caps::CapSettings;
use ground::{Basis, Ground};
use work::Work;

pub use outline::{LevelLine, level_line};
pub use place::{Beside, beside};

/// Settings of the detector, from the table of rules.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TorusSettings {
    /// Height at which it is outlined, mm.
    pub outline_mm: f64,
    /// Depth of a saddle that parts two lobes, mm.
    pub saddle_mm: f64,
    /// Least height reported, mm.
    pub least_height_mm: f64,
    /// Least area reported, mm2.
    pub least_area_mm2: f64,
}

/// A torus (one lobe).
#[derive(Clone, Debug, PartialEq)]
pub struct Torus {
    /// Its side, where the cast has a frame.
    pub side: Option<TorusSide>,
    /// Greatest height above the torus-free surface, mm.
    pub height_mm: f64,
    /// Standard uncertainty of the method for that height, mm.
    pub height_method_mm: f64,
    /// Longest chord of the outline, mm.
    pub length_mm: f64,
    /// Extent across that chord, mm.
    pub width_mm: f64,
    /// Area inside the outline, mm2.
    pub area_mm2: f64,
    /// Volume between the scan inside the outline and the torus-free surface, mm3.
    pub volume_mm3: f64,
    /// Summit, mm.
    pub summit: Point,
    /// Outline, closed, mm.
    pub outline: Vec<Point>,
    /// Triangles inside the outline.
    pub faces: Vec<FaceId>,
    /// 0 to 1.
    pub confidence: f64,
    /// How sure.
    pub state: TorusState,
    /// Why it is not sure, in words; empty where it is.
    pub doubts: Vec<String>,
}

const MANDIBLE: CapSettings = CapSettings {
    wavelength_mm: 5.0,
    levels: &[0.48, 0.34, 0.24, 0.17, 0.12, 0.08, 0.05, 0.03],
    least_peak_per_mm: 0.08,
    area_mm2: (2.0, 180.0),
};
const MAXILLA: CapSettings = CapSettings {
    wavelength_mm: 7.0,
    levels: &[0.34, 0.24, 0.17, 0.12, 0.08, 0.05, 0.03],
    least_peak_per_mm: 0.09,
    area_mm2: (2.0, 150.0),
};
/// Without a frame nothing else tells where to look, so that flat rises are taken up as well.
const ANYWHERE: CapSettings = CapSettings {
    wavelength_mm: 5.0,
    levels: &[0.48, 0.34, 0.24, 0.17, 0.12, 0.08, 0.05, 0.03, 0.02, 0.012],
    least_peak_per_mm: 0.025,
    area_mm2: (2.0, 260.0),
};
/// A cap around one that was already followed is followed itself only where it is this much larger.
const LARGER: f64 = 1.25;

/// Tori of a cast: those marked, then those found, from the patient's right to left.
pub fn find(
    mesh: &Mesh,
    topology: &Topology,
    arch: Arch,
    anatomy: &Anatomy,
    marked_outlines: &[Vec<Point>],
    marked_at: &[Point],
    settings: &TorusSettings,
) -> Vec<Torus> {
    if mesh.faces().is_empty() {
        return Vec::new();
    }
    let work = Work::new(mesh, topology);
    let ground = Ground::new(&work, arch, anatomy);
    let cast = Cast { mesh, topology, work: &work, ground: &ground, arch, settings };
    let mut tori = marked::tori(&cast, marked_outlines, marked_at);
    let marked = tori.len();
    for torus in cast.found() {
        if !tori[..marked].iter().any(|t| t.faces.iter().any(|f| torus.faces.binary_search(f).is_ok())) {
            tori.push(torus);
        }
    }
    tori
}

/// A cast prepared for the search.
struct Cast<'c> {
    mesh: &'c Mesh,
    topology: &'c Topology,
    work: &'c Work,
    ground: &'c Ground,
    arch: Arch,
    settings: &'c TorusSettings,
}

impl Cast<'_> {
    fn field(&self) -> Field<'_> {
        Field {
            work: self.work,
            domain: &self.ground.domain,
            collar: &self.ground.collar,
            along: self.ground.along.as_deref(),
            wall: None,
            others: None,
        }
    }

    /// Rises without a mark, judged.
    fn found(&self) -> Vec<Torus> {
        let search = match (self.ground.basis, self.arch) {
            (Basis::Bare, _) => ANYWHERE,
            (_, Arch::Mandible) => MANDIBLE,
            (_, Arch::Maxilla) => MAXILLA,
        };
        let domain = &self.ground.domain;
        let smooth = caps::smoothed(self.work, domain, search.wavelength_mm);
        let h = caps::mean_curvature(self.work, domain, &smooth);
        let all = caps::caps(self.work, domain, &h, &search);
        let bumps = joint::surer(self, self.distinct(&all));
        let lists: Vec<Vec<Torus>> = bumps.par_iter().map(|b| self.judged(b)).collect();
        let mut tori: Vec<Torus> = lists.into_iter().flatten().collect();
        tori.sort_by(|a, b| self.across(&a.summit).total_cmp(&self.across(&b.summit)));
        tori
    }

    /// Order from the patient's right to left; without a frame by the file's own axis.
    fn across(&self, p: &Point) -> f64 {
        match self.ground.side(p) {
            Some((crate::case::Side::Right, far)) => -far,
            Some((crate::case::Side::Left, far)) => far,
            None => p.x,
        }
    }

    /// The rises under all caps, each once.
    fn distinct(&self, caps: &[Vec<u32>]) -> Vec<Bump> {
        let field = self.field();
        let mut used = vec![0.0; self.work.len()];
        let mut tried: Vec<&Vec<u32>> = Vec::new();
        for cap in caps {
            let area = self.work.area_mm2(cap);
            let before = cap.iter().map(|&v| used[v as usize]).fold(0.0, f64::max);
            let middle = cap.iter().fold(Vector::zeros(), |s, &v| s + self.work.mesh.vertex(v).coords);
            let middle = Point::from(middle / cap.len() as f64);
            if area >= LARGER * before && self.ground.holds(&middle) {
                cap.iter().for_each(|&v| used[v as usize] = area);
                tried.push(cap);
            }
        }
        let grown: Vec<Option<Bump>> = tried.par_iter().map(|cap| field.grow(cap)).collect();
        let mut bumps: Vec<Bump> = grown.into_iter().flatten().collect();
        bumps.sort_by(|a, b| {
            b.settled.cmp(&a.settled).then(b.peak_mm.total_cmp(&a.peak_mm)).then(a.rise.cmp(&b.rise))
        });
        let mut taken = vec![false; self.work.len()];
        bumps.retain(|b| {
            let free = b.rise.iter().all(|&v| !taken[v as usize]);
            if free {
                b.rise.iter().for_each(|&v| taken[v as usize] = true);
            }
            free
        });
        bumps
    }

    /// The lobes of a rise that are worth a report.
    fn judged(&self, bump: &Bump) -> Vec<Torus> {
        if bump.peak_mm < accept::FOLLOWED * self.settings.least_height_mm {
            return Vec::new();
        }
        let heights = outline::heights(self.mesh, &self.field(), bump);
        let levels = (self.settings.outline_mm, self.settings.saddle_mm);
        outline::lobes(self.mesh, self.topology, &heights, levels)
            .into_iter()
            .filter_map(|lobe| accept::torus(self, bump, lobe))
            .collect()
    }
}
