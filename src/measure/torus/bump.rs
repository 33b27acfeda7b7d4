//! From a cap to the whole rise: mask it, fill the mask from its surroundings, see what stands above the fill, mask
//! that, and so on until the mask stays.

use super::fill::{Fill, Plate};
use super::wall::Wall;
use super::work::Work;
use crate::mesh::VertexId;
use crate::space::{Vector, across, angle_deg, atan2, direction};

/// Growth of a cap to its first mask, mm.
const FIRST_GROWTH_MM: f64 = 1.6;
/// The same on a wall: a mask that leaves a rise's flank out is foretold from that flank, and never grows over it.
const FIRST_ON_WALL_MM: f64 = 4.0;
/// Growth of a rise to the next mask, mm.
pub(super) const GROWTH_MM: f64 = 1.0;
/// A rise is what stands above the fill by this much, mm, or by this share of its peak, whichever is more.
const STANDS: (f64, f64) = (0.12, 0.08);
/// The same over a foretold wall, which is true to the gingiva within some tenths of a millimetre.
const STANDS_ON_WALL: (f64, f64) = (0.3, 0.1);
/// The same for the rise whose shape is looked at.
const SHAPE: (f64, f64) = (0.15, 0.15);
/// Rounds after which a mask that still moves is taken as it is.
pub(super) const MOST_ROUNDS: usize = 10;
/// Greatest area of a rise followed, mm2.
const MOST_AREA_MM2: f64 = 420.0;
/// Steps by which the mask is widened at the end, mm, and the change of the height that counts as none, mm.
const SETTLE: ([f64; 5], f64) = ([0.8, 1.6, 2.4, 3.2, 4.0], 0.005);
/// The step that is the width of the surroundings in which a plate is tried on surface that is seen.
const TRIED: usize = 1;
/// What is taken where it cannot be tried, mm: as on uneven gingiva.
const UNTRIED_MM: f64 = 0.5;

/// A rise over its filled surroundings, on the work mesh.
#[derive(Clone, Debug)]
pub(super) struct Bump {
    /// Masked vertices, ascending.
    pub mask: Vec<VertexId>,
    /// The surface without the rise.
    pub fill: Fill,
    /// Vertices of the rise, ascending.
    pub rise: Vec<VertexId>,
    /// Its area, mm2.
    pub area_mm2: f64,
    /// Height of its highest vertex, mm.
    pub peak_mm: f64,
    /// Whether the mask came to rest.
    pub settled: bool,
    /// Share of the rise's outline that runs along the border of the domain, or of the wall, 0 to 1.
    pub border_share: f64,
    /// Share of twelve sectors around the rise in which there is surface, 0 to 1.
    pub ring_share: f64,
    /// Greatest angle between the fill's normals under the rise and their mean, degrees.
    pub bed_deg: f64,
    /// The same in the direction of the arch alone, where that is known: across it a wall turns into the floor of the mouth.
    pub bed_along_deg: Option<f64>,
    /// Greatest distance between two of its vertices, mm.
    pub extent_mm: f64,
    /// How far the surface next to the mask stands off a plate that was laid without it, root mean square, mm.
    pub foretold_mm: f64,
    /// Standard deviation of the foretold wall under its summit, mm, where it stands on one.
    pub deviation_mm: Option<f64>,
    /// Masked vertices next to the lower end of the wall on which it stands, ascending.
    pub near_end: Vec<VertexId>,
    /// Masked vertices that stand out from the wall only, and not from what lies next to them, ascending.
    pub alone: Vec<VertexId>,
}

impl Bump {
    /// Whether it stands on a foretold wall.
    pub fn on_wall(&self) -> bool {
        self.deviation_mm.is_some()
    }
}

/// The surface in which rises are grown.
#[derive(Clone, Copy)]
pub(super) struct Field<'w> {
    /// The work mesh.
    pub work: &'w Work,
    /// Vertices that may be part of a rise or speak for its surroundings.
    pub domain: &'w [bool],
    /// Gingiva next to a crown, which speaks for the surroundings and is never part of a mask.
    pub collar: &'w [bool],
    /// Along the arch at each vertex, where that is known.
    pub along: Option<&'w [Vector]>,
    /// The wall of a mandible whose crowns are known.
    pub wall: Option<&'w Wall>,
    /// Vertices under other rises, which do not speak for the wall.
    pub others: Option<&'w [bool]>,
}

impl Field<'_> {
    fn plate(&self) -> Plate<'_> {
        Plate { work: self.work, domain: self.domain }
    }

    /// The mask as the rest of the wall foretells it, where it lies on one.
    pub fn on_wall(&self, mask: &[VertexId]) -> Option<Fill> {
        Fill::of_wall(self.work, self.domain, self.wall?, (mask, self.others))
    }

    fn filled(&self, mask: &[VertexId]) -> Option<Fill> {
        self.on_wall(mask).or_else(|| self.plate().fill(mask))
    }

    /// A set of vertices grown over what may be masked, ascending.
    pub fn grown(&self, set: &[VertexId], by_mm: f64) -> Vec<VertexId> {
        let on_wall = |v: VertexId| self.wall.is_none_or(|wall| wall.holds(v));
        self.work.grown(set, by_mm, |v| self.domain[v as usize] && !self.collar[v as usize] && on_wall(v))
    }

    /// The field in which a cap is grown: the wall, where all of the cap lies on it, and else the surface around it.
    pub fn under<'f>(&'f self, cap: &[VertexId]) -> Field<'f> {
        let on_wall = self.wall.filter(|wall| cap.iter().all(|&v| wall.holds(v)));
        Field { wall: on_wall, ..*self }
    }

    /// Heights of the masked vertices above a fill, mm.
    pub fn heights(&self, fill: &Fill, mask: &[VertexId]) -> Vec<f64> {
        mask.iter().map(|&v| fill.height_mm(self.work, &self.work.mesh.vertex(v), v).0).collect()
    }

    /// Grows a cap to the rise that it is the top of. `None` where there is none, or it is larger than any torus.
    pub fn grow(&self, cap: &[VertexId]) -> Option<Bump> {
        let (first, stands) = match self.wall {
            Some(_) => (FIRST_ON_WALL_MM, STANDS_ON_WALL),
            None => (FIRST_GROWTH_MM, STANDS),
        };
        let mut mask = self.grown(cap, first);
        let mut settled = false;
        let mut filled = self.filled(&mask)?;
        for _ in 0..MOST_ROUNDS {
            let heights = self.heights(&filled, &mask);
            let rise = self.standing(&mask, &heights, stands)?;
            if self.work.area_mm2(&rise) > MOST_AREA_MM2 {
                return None;
            }
            let next = self.grown(&rise, GROWTH_MM);
            if rests(&mask, &next) {
                settled = true;
                break;
            }
            mask = next;
            filled = self.filled(&mask)?;
        }
        if self.wall.is_some() {
            return self.tried(mask, filled, settled, |wide| self.on_wall(wide));
        }
        self.widened(mask, settled)
    }

    /// Widens the mask until the height stays for two steps: a soft foot that is left outside lifts the fill. Where it
    /// never stays, as on living gingiva, the mask is left as it was.
    fn widened(&self, mask: Vec<VertexId>, settled: bool) -> Option<Bump> {
        let top =
            |fill: &Fill, mask: &[VertexId]| self.heights(fill, mask).iter().copied().fold(0.0, f64::max);
        let filled = self.plate().refined(&mask)?;
        let mut last = top(&filled, &mask);
        let (mut stayed, mut foretold_mm) = (0, UNTRIED_MM);
        for (step, by) in SETTLE.0.into_iter().enumerate() {
            let wide = self.grown(&mask, by);
            let Some(other) = self.plate().refined(&wide) else { break };
            let height = top(&other, &wide);
            if step == TRIED {
                foretold_mm = self.foretold_mm(&mask, &wide, &other);
            }
            stayed = if (height - last).abs() < SETTLE.1 { stayed + 1 } else { 0 };
            if stayed == 2 {
                return self.described(wide, other, settled, foretold_mm);
            }
            last = height;
        }
        self.described(mask, filled, settled, foretold_mm)
    }

    /// How far a plate laid over the wider mask misses the surface between the two masks, root mean square, mm: there it
    /// is seen what the plate could only foretell.
    fn foretold_mm(&self, mask: &[VertexId], wide: &[VertexId], over_wide: &Fill) -> f64 {
        let between: Vec<VertexId> =
            wide.iter().copied().filter(|v| mask.binary_search(v).is_err()).collect();
        if between.is_empty() {
            return UNTRIED_MM;
        }
        let squares: f64 = self.heights(over_wide, &between).iter().map(|h| h * h).sum();
        (squares / between.len() as f64).sqrt()
    }

    /// The rise over a given mask.
    pub fn over(&self, mask: Vec<VertexId>) -> Option<Bump> {
        if let Some(filled) = self.on_wall(&mask) {
            return self.tried(mask, filled, true, |wide| self.on_wall(wide));
        }
        let filled = self.plate().refined(&mask)?;
        self.tried(mask, filled, true, |wide| self.plate().refined(wide))
    }

    /// The rise over a fill that is tried on the surface next to the mask, where `again` fills a wider one.
    fn tried(
        &self,
        mask: Vec<VertexId>,
        fill: Fill,
        settled: bool,
        again: impl Fn(&[VertexId]) -> Option<Fill>,
    ) -> Option<Bump> {
        let wide = self.grown(&mask, SETTLE.0[TRIED]);
        let foretold_mm = again(&wide).map_or(UNTRIED_MM, |other| self.foretold_mm(&mask, &wide, &other));
        self.described(mask, fill, settled, foretold_mm)
    }

    fn described(&self, mask: Vec<VertexId>, fill: Fill, settled: bool, foretold_mm: f64) -> Option<Bump> {
        let heights = self.heights(&fill, &mask);
        let peak_mm = heights.iter().copied().fold(0.0, f64::max);
        let rise = self.standing(&mask, &heights, SHAPE)?;
        let area_mm2 = self.work.area_mm2(&rise);
        let centre = rise.iter().fold(Vector::zeros(), |s, &v| {
            s + self.work.mesh.vertex(v).coords * (self.work.metric.area_mm2[v as usize] / area_mm2)
        });
        let border_share = self.border_share(&rise);
        let near_end = self
            .wall
            .map_or_else(Vec::new, |wall| mask.iter().copied().filter(|&v| wall.near_end(v)).collect());
        let summit = mask.iter().zip(&heights).max_by(|a, b| a.1.total_cmp(b.1)).map(|(&v, _)| v);
        let deviation_mm =
            self.wall.zip(summit).and_then(|(wall, v)| wall.deviation_mm((&mask, self.others), v));
        let bed = rise.iter().fold(Vector::zeros(), |s, &v| s + fill.normal[v as usize]);
        let bed_deg = rise.iter().map(|&v| angle_deg(&fill.normal[v as usize], &bed)).fold(0.0, f64::max);
        let bed_along_deg = self.along.map(|along| {
            let turn = |v: VertexId| 90.0 - angle_deg(&fill.normal[v as usize], &along[v as usize]);
            let mean = rise.iter().map(|&v| turn(v)).sum::<f64>() / rise.len() as f64;
            rise.iter().map(|&v| (turn(v) - mean).abs()).fold(0.0, f64::max)
        });
        let extent_mm =
            rise.iter().flat_map(|&a| rise.iter().map(move |&b| (a, b))).fold(0.0, |far: f64, (a, b)| {
                far.max((self.work.mesh.vertex(a) - self.work.mesh.vertex(b)).norm())
            });
        let ring_share = self.ring_share(&rise, &fill, &centre);
        Some(Bump {
            mask,
            fill,
            rise,
            area_mm2,
            peak_mm,
            settled,
            border_share,
            ring_share,
            bed_deg,
            bed_along_deg,
            extent_mm,
            foretold_mm,
            deviation_mm,
            near_end,
            alone: Vec::new(),
        })
    }

    /// The connected piece around the highest vertex that stands above the fill.
    fn standing(&self, mask: &[VertexId], heights: &[f64], least: (f64, f64)) -> Option<Vec<VertexId>> {
        let summit = mask.iter().zip(heights).max_by(|a, b| a.1.total_cmp(b.1).then(b.0.cmp(a.0)));
        let level = level_mm(heights, least);
        let (&summit, _) = summit.filter(|s| *s.1 > level)?;
        self.above(mask, heights, level).into_iter().find(|p| p.binary_search(&summit).is_ok())
    }

    /// All connected pieces that stand above a wall, each down to its own share of its peak.
    pub fn pieces_standing(&self, mask: &[VertexId], heights: &[f64]) -> Vec<Vec<VertexId>> {
        let of = |piece: Vec<VertexId>| {
            let own: Vec<f64> =
                piece.iter().filter_map(|v| Some(heights[mask.binary_search(v).ok()?])).collect();
            self.standing(&piece, &own, STANDS_ON_WALL)
        };
        let least = STANDS_ON_WALL.0;
        let pieces = self.above(mask, heights, least).into_iter().filter_map(of);
        pieces.filter(|p| self.work.area_mm2(p) <= MOST_AREA_MM2).collect()
    }

    fn above(&self, mask: &[VertexId], heights: &[f64], level: f64) -> Vec<Vec<VertexId>> {
        let mut above = vec![false; self.work.len()];
        mask.iter().zip(heights).for_each(|(&v, &h)| above[v as usize] = h > level);
        self.work.pieces(|v| above[v as usize])
    }

    fn border_share(&self, rise: &[VertexId]) -> f64 {
        let (mut all, mut border) = (0usize, 0usize);
        for &v in rise {
            if self.work.border[v as usize] {
                border += 2;
                all += 2;
            }
            for (w, _) in self.work.around(v) {
                if rise.binary_search(&w).is_err() {
                    all += 1;
                    let ends = self.wall.is_some_and(|wall| !wall.holds(w));
                    border += usize::from(!self.domain[w as usize] || ends);
                }
            }
        }
        if all == 0 { 1.0 } else { border as f64 / all as f64 }
    }

    fn ring_share(&self, rise: &[VertexId], fill: &Fill, centre: &Vector) -> f64 {
        let mean = rise.iter().fold(Vector::zeros(), |s, &v| s + fill.normal[v as usize]);
        let Some(up) = direction(mean) else { return 0.0 };
        let (u, w) = across(&up);
        let reached = self.work.distances(rise, 2.0, |v| self.domain[v as usize]);
        let mut seen = [false; 12];
        for (v, d) in reached.iter().enumerate() {
            if d.is_some_and(|d| d > 0.3) {
                let off = self.work.mesh.vertices()[v].coords - centre;
                let turn = atan2(off.dot(&w), off.dot(&u)) / std::f64::consts::TAU + 0.5;
                seen[((turn * 12.0) as usize).min(11)] = true;
            }
        }
        seen.iter().filter(|s| **s).count() as f64 / 12.0
    }
}

/// How many vertices two ascending sets share.
pub(super) fn shared(a: &[VertexId], b: &[VertexId]) -> usize {
    a.iter().filter(|v| b.binary_search(v).is_ok()).count()
}

/// Whether a mask and the next one are the same but for a fiftieth.
pub(super) fn rests(mask: &[VertexId], next: &[VertexId]) -> bool {
    50 * (next.len() + mask.len() - 2 * shared(next, mask)) < mask.len()
}

/// Height from which a place belongs to a rise, mm: a least one, or a share of its peak, whichever is more.
fn level_mm(heights: &[f64], least: (f64, f64)) -> f64 {
    let mut sorted = heights.to_vec();
    sorted.sort_by(|a, b| b.total_cmp(a));
    let few = (sorted.len() * 3).div_ceil(100).max(1);
    let peak = sorted.iter().take(few).sum::<f64>() / few as f64;
    least.0.max(least.1 * peak)
}

/// Standard uncertainty of a fill's height, mm: from how well the same plate foretells the surface around the mask, which
/// is seen, and from how much of the way around there is none. The weights were settled on tori of known height on drawn
/// mandibles and on real gingiva, found and pointed at (`docs/method/tori.md`).
pub(super) fn height_method_mm(bump: &Bump) -> f64 {
    if let Some(deviation_mm) = bump.deviation_mm {
        return (0.08_f64.powi(2) + (0.8 * bump.foretold_mm).powi(2) + (2.0 * deviation_mm).powi(2)).sqrt();
    }
    let open = 1.0 - bump.ring_share;
    (0.08_f64.powi(2) + (1.6 * bump.foretold_mm).powi(2) + (2.5 * open).powi(2)).sqrt()
}
