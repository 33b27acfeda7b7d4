//! Where a torus may stand: the part of the cast that is searched, by what is known of its anatomy.

use super::line::Foot;
use super::wall::Wall;
use super::work::Work;
use crate::anatomy::{Anatomy, Region};
use crate::case::{Arch, Side, Tooth};
use crate::mesh::VertexId;
use crate::space::{Frame, Point, Point2, Vector, direction};

/// What is known of the cast.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Basis {
    /// Frame and all crowns.
    Crowns,
    /// Frame, and not all crowns.
    Frame,
    /// Neither: any rise is possible.
    Bare,
}

/// Gingiva nearer to a crown than this is left out, mm.
const OFF_CROWN_MM: f64 = 0.2;
/// Gingiva up to this far from a crown is part of no mask, mm: a plate that may run up to the crown has nothing to hold on to there,
/// and rolls over under a tall rise. Tried on labelled scans with tori added: 0.8, 1.3, 1.8 and 2.3.
const COLLAR_MM: f64 = 1.8;
/// How far lingual of the arch line a mandibular torus is looked for, mm.
const LINGUAL_MM: f64 = 16.0;
/// How far below the occlusal plane, mm.
const BELOW_MM: f64 = 22.0;
/// Without crowns: how far buccal of the arch line the surroundings of a rise may reach, mm; whole crowns belong to the
/// domain then, since cutting through them would raise false rises along the cut.
const BUCCAL_MM: f64 = 10.0;
/// Without crowns: depth below the occlusal plane at which a rise may have its middle, mm; crowns stand above it.
const BELOW_CROWNS_MM: f64 = 6.0;
/// With crowns: the same; folds behind the last molar rise above it, mm.
const BELOW_PLANE_MM: f64 = 2.5;
/// How far the arch line is continued behind its last tooth, mm.
const BEHIND_MM: f64 = 12.0;
/// Distance over which the direction of the arch turns from one stretch to the next, mm.
const SOFT_MM: f64 = 4.0;
/// How far distances to crowns and to the scan's border are followed, mm.
const FAR_MM: f64 = 12.0;

/// The searched part of the work mesh and distances on it.
#[derive(Debug)]
pub(super) struct Ground {
    /// Vertices that are searched.
    pub domain: Vec<bool>,
    /// Gingiva next to a crown.
    pub collar: Vec<bool>,
    /// Distance to the nearest crown over the surface, mm; `None` beyond reach.
    pub crown_mm: Vec<Option<f64>>,
    /// Distance to the scan's border over the surface, mm; `None` beyond reach.
    pub border_mm: Vec<Option<f64>>,
    /// What it rests on.
    pub basis: Basis,
    /// Along the arch at each vertex of a mandible, unit vectors; `None` where that is not known.
    pub along: Option<Vec<Vector>>,
    arch: Arch,
    line: ArchLine,
    centres: Vec<(Tooth, Point)>,
    frame: Option<(Frame, bool)>,
}

impl Ground {
    /// For a cast and what is known of it.
    pub fn new(work: &Work, arch: Arch, anatomy: &Anatomy) -> Ground {
        let frame = anatomy.frame.as_ref().ok().map(|k| (k.frame, k.anterior_known));
        // A crown that is not known would pass for a rise, so that only a whole row of crowns settles the domain.
        let whole_row = anatomy.crowns.len() > 1 && anatomy.crowns_lacking.is_none();
        let line = frame.as_ref().map_or_else(ArchLine::default, |(f, _)| {
            if whole_row { ArchLine::through_crowns(f, anatomy) } else { ArchLine::through_tops(f, work) }
        });
        let basis = match (line.points.is_empty(), whole_row) {
            (true, _) => Basis::Bare,
            (false, true) => Basis::Crowns,
            (false, false) => Basis::Frame,
        };
        let mut crown = vec![false; work.len()];
        for c in &anatomy.crowns {
            for &v in &c.vertices {
                if let Some(&w) = work.owner.get(v as usize) {
                    crown[w as usize] = true;
                }
            }
        }
        let seeds = |set: &[bool]| (0..work.len() as u32).filter(|&v| set[v as usize]).collect::<Vec<_>>();
        let crown_mm = work.distances(&seeds(&crown), FAR_MM, |_| true);
        let border_mm = work.distances(&seeds(&work.border), FAR_MM, |_| true);
        let base = |v: usize| {
            let full = work.seed.get(v).map(|&s| s as usize);
            full.and_then(|s| anatomy.region.get(s)).is_some_and(|r| *r == Region::Base)
        };
        let centres = anatomy.crowns.iter().map(|c| (c.tooth, c.centre)).collect();
        let along =
            frame.as_ref().filter(|_| arch == Arch::Mandible && basis != Basis::Bare).map(|(f, _)| {
                let places = work.mesh.vertices().iter();
                places.map(|p| line.along(f, p)).collect()
            });
        let beside = |d: &Option<f64>| d.is_some_and(|d| d <= COLLAR_MM);
        let collar = crown_mm.iter().map(|d| basis == Basis::Crowns && beside(d)).collect();
        let mut ground = Ground {
            domain: Vec::new(),
            collar,
            crown_mm,
            border_mm,
            basis,
            along,
            arch,
            line,
            centres,
            frame,
        };
        ground.domain = (0..work.len())
            .map(|v| {
                let clear = basis != Basis::Crowns || ground.crown_mm[v].is_none_or(|d| d > OFF_CROWN_MM);
                clear && (basis == Basis::Bare || !base(v)) && ground.may_hold(&work.mesh.vertices()[v], arch)
            })
            .collect();
        ground
    }

    /// The lingual wall of a mandible whose crowns are known.
    pub fn wall(&self, work: &Work, domain: &[bool]) -> Option<Wall> {
        let (frame, _) = self.frame.as_ref().filter(|_| self.arch == Arch::Mandible)?;
        let inside = self.line.inside.filter(|_| self.basis == Basis::Crowns)?;
        Wall::new(work, domain, &self.crown_mm, frame, (&self.line.points, inside))
    }

    /// Whether a place lies where tori stand at all.
    fn may_hold(&self, p: &Point, arch: Arch) -> bool {
        let Some((frame, _)) = &self.frame else { return true };
        let [a, l, up] = frame.local(p);
        let Some(lingual) = self.line.lingual_mm(Point2::new(a, l)) else { return true };
        let from = if self.basis == Basis::Crowns { 0.0 } else { -BUCCAL_MM };
        let reach = if arch == Arch::Mandible { LINGUAL_MM } else { f64::INFINITY };
        lingual > from && lingual < reach && up > -BELOW_MM
    }

    /// Whether the middle of a rise lies where tori do: below the crowns, and, where those are not known and so belong to
    /// the domain, lingual of the arch line.
    pub fn holds(&self, p: &Point) -> bool {
        let Some((frame, _)) = &self.frame else { return true };
        let [a, l, up] = frame.local(p);
        match self.basis {
            Basis::Bare => true,
            Basis::Crowns => up < -BELOW_PLANE_MM,
            Basis::Frame => {
                up < -BELOW_CROWNS_MM && self.line.lingual_mm(Point2::new(a, l)).is_some_and(|t| t > 0.0)
            }
        }
    }

    /// The patient's side of a place, where the frame tells it.
    pub fn side(&self, p: &Point) -> Option<(Side, f64)> {
        let (frame, known) = self.frame.as_ref()?;
        let left = frame.local(p)[1];
        known.then_some((if left > 0.0 { Side::Left } else { Side::Right }, left.abs()))
    }

    /// Distance of a place from the nearest crown's centre, mm.
    pub fn nearest_centre_mm(&self, p: &Point) -> Option<f64> {
        self.centres.iter().map(|(_, c)| (c - p).norm()).min_by(f64::total_cmp)
    }

    /// Whether a place lies behind the first premolars, or the canines where those are missing; without either behind
    /// the frame's origin.
    pub fn behind_premolars(&self, p: &Point) -> bool {
        let Some((frame, _)) = &self.frame else { return false };
        let ahead = |q: &Point| frame.local(q)[0];
        let at = |place: u8| {
            let found: Vec<f64> =
                self.centres.iter().filter(|(t, _)| t.place() == place).map(|(_, c)| ahead(c)).collect();
            (!found.is_empty()).then(|| found.iter().sum::<f64>() / found.len() as f64)
        };
        ahead(p) < at(4).or_else(|| at(3)).unwrap_or(0.0)
    }

    /// Least distance of a set of vertices to a crown, mm.
    pub fn nearest_crown_mm(&self, set: &[VertexId]) -> Option<f64> {
        least(&self.crown_mm, set)
    }

    /// Least distance of a set of vertices to the scan's border, mm.
    pub fn nearest_border_mm(&self, set: &[VertexId]) -> Option<f64> {
        least(&self.border_mm, set)
    }
}

fn least(field: &[Option<f64>], set: &[VertexId]) -> Option<f64> {
    set.iter().filter_map(|&v| field[v as usize]).min_by(f64::total_cmp)
}

/// The arch in plan (anterior, left), mm, from one end to the other, and a place on its lingual side.
#[derive(Debug, Default)]
struct ArchLine {
    points: Vec<Point2>,
    inside: Option<Point2>,
}

impl ArchLine {
    /// Through the crowns' centres in the order of the arch, continued backwards at both ends.
    fn through_crowns(frame: &Frame, anatomy: &Anatomy) -> ArchLine {
        let mut crowns: Vec<_> = anatomy.crowns.iter().collect();
        crowns.sort_by_key(|c| c.tooth.along());
        let plan = |p: &Point| {
            let [a, l, _] = frame.local(p);
            Point2::new(a, l)
        };
        ArchLine::continued(crowns.iter().map(|c| plan(&c.centre)).collect())
    }

    /// Through the highest parts of the cast, seen from the frame's origin in sectors of the plan. Empty where those
    /// make no arch: open at one side, and as wide as an arch.
    fn through_tops(frame: &Frame, work: &Work) -> ArchLine {
        const SECTORS: usize = 48;
        let mut sums = [(0.0, 0.0, 0.0); SECTORS];
        for p in work.mesh.vertices() {
            let [a, l, up] = frame.local(p);
            if up > -4.0 {
                let turn = crate::space::atan2(l, a) / std::f64::consts::TAU + 0.5;
                let s = &mut sums[((turn * SECTORS as f64) as usize).min(SECTORS - 1)];
                *s = (s.0 + a, s.1 + l, s.2 + 1.0);
            }
        }
        let full: Vec<bool> = sums.iter().map(|s| s.2 >= 8.0).collect();
        let gap = longest_gap(&full);
        let points: Vec<Point2> = (0..SECTORS)
            .map(|k| (gap.0 + k) % SECTORS)
            .filter(|&k| full[k])
            .map(|k| Point2::new(sums[k].0 / sums[k].2, sums[k].1 / sums[k].2))
            .collect();
        let wide = points.iter().flat_map(|a| points.iter().map(move |b| (a - b).norm())).fold(0.0, f64::max);
        if gap.1 * 360 < SECTORS * 50 || wide < 30.0 {
            return ArchLine::default();
        }
        ArchLine::continued(points)
    }

    fn continued(mut points: Vec<Point2>) -> ArchLine {
        let n = points.len();
        if n < 2 {
            return ArchLine::default();
        }
        let ends = (points[0], points[n - 1]);
        let middle = points.iter().fold(nalgebra::Vector2::zeros(), |s, p| s + p.coords) / n as f64;
        let inside = Point2::from((ends.0.coords + ends.1.coords + middle) / 3.0);
        let reach = 2.min(n - 1);
        let beyond = |from: Point2, to: Point2| {
            let d = to - from;
            let length = d.norm();
            (length > 0.0).then(|| to + d * (BEHIND_MM / length))
        };
        let (head, tail) = (beyond(points[reach], points[0]), beyond(points[n - 1 - reach], points[n - 1]));
        points.extend(tail);
        if let Some(p) = head {
            points.insert(0, p);
        }
        ArchLine { points, inside: Some(inside) }
    }

    /// Direction of the arch beside a place: of all segments, the nearest most, so that it turns softly from one to the next.
    fn along(&self, frame: &Frame, p: &Point) -> Vector {
        let [a, l, _] = frame.local(p);
        let p = Point2::new(a, l);
        let sum = self.points.windows(2).fold(nalgebra::Vector2::zeros(), |sum, s| {
            let along = s[1] - s[0];
            let length2 = along.norm_squared();
            if length2 <= 0.0 {
                return sum;
            }
            let t = ((p - s[0]).dot(&along) / length2).clamp(0.0, 1.0);
            let far2 = (p - (s[0] + along * t)).norm_squared() + SOFT_MM * SOFT_MM;
            sum + along / (far2 * far2)
        });
        let along = frame.world([sum.x, sum.y, 0.0]) - frame.world([0.0; 3]);
        direction(along).map_or_else(Vector::zeros, |d| d.into_inner())
    }

    /// Distance of a place from the line, mm, lingual positive. `None` where there is no line.
    fn lingual_mm(&self, p: Point2) -> Option<f64> {
        let inside = self.inside?;
        let Foot { far, piece: [from, to], .. } = Foot::on(&self.points, p)?;
        let along = to - from;
        let turn = |q: Point2| along.x * (q - from).y - along.y * (q - from).x;
        Some(if turn(p) * turn(inside) > 0.0 { far } else { -far })
    }
}

/// First place and length of the longest run of `false` around a ring.
fn longest_gap(ring: &[bool]) -> (usize, usize) {
    let n = ring.len();
    let run = |start: usize| (0..n).take_while(|k| !ring[(start + k) % n]).count();
    (0..n).map(|s| (s, run(s))).fold((0, 0), |best, r| if r.1 > best.1 { r } else { best })
}
