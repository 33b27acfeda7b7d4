//! Sections square to the crest of a residual ridge, followed down both sides to the sulcus or to the border of the scan.

use crate::locate::cut::cut;
use crate::mesh::{FaceId, Mesh};
use crate::space::{Direction, Plane, Point, Vector, direction};

/// Surface farther than this from the crest belongs to no ridge, mm.
const REACH_MM: f64 = 15.0;
/// The course of the crest is taken over this way to both sides of a station, mm.
const COURSE_MM: f64 = 2.0;
/// Greatest distance of the station from its section, mm.
const OFF_MM: f64 = 0.6;
/// Rise behind the deepest place that makes it the sulcus, mm.
const RISE_MM: f64 = 0.4;
/// A section is followed this far over the surface at most, mm.
const FOLLOWED_MM: f64 = 24.0;
/// The surface of a ridge reaches down to this depth under its crest at most, mm.
pub const SURFACE_DEPTH_MM: f64 = 8.0;

/// What ends one side of a section.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SideEnd {
    /// The sulcus: behind its deepest place the surface rises again.
    Sulcus,
    /// The border of the scan, before any sulcus.
    ScanBorder,
    /// Neither within reach: a palate, or the wall of a base.
    OutOfReach,
}

/// One side of a section: places from the crest outward.
#[derive(Clone, Debug, PartialEq)]
pub struct Side {
    /// (distance from the crest's station across the ridge, positive on this side; height over it), mm.
    pub path: Vec<[f64; 2]>,
    /// What ends it.
    pub end: SideEnd,
    /// The deepest recorded place before that, as an index of the path.
    pub deepest: usize,
}

impl Side {
    /// Distance across at which this side first lies `depth_mm` under the crest, and how far it runs across for a
    /// millimetre of depth there; `None` where it does not get so deep before it ends.
    pub fn across_at(&self, depth_mm: f64) -> Option<(f64, f64)> {
        self.path[..=self.deepest.min(self.path.len().saturating_sub(1))].windows(2).find_map(|w| {
            let ([x, h], [z, k]) = (w[0], w[1]);
            (h > -depth_mm && k <= -depth_mm).then(|| {
                let share = (h + depth_mm) / (h - k);
                (x + (z - x) * share, ((z - x) / (h - k)).abs().min(5.0))
            })
        })
    }

    /// How far the surface of the ridge reaches on this side: (across, height), mm.
    pub fn limit(&self) -> [f64; 2] {
        let to = self.deepest.min(self.path.len().saturating_sub(1));
        let deep = self.path[..=to].iter().find(|p| p[1] < -SURFACE_DEPTH_MM);
        deep.or(self.path.get(to)).copied().unwrap_or([0.0, 0.0])
    }
}

/// A section at a station of a crest.
#[derive(Clone, Debug, PartialEq)]
pub struct Section {
    /// Distance of the station along the crest, mm.
    pub s_mm: f64,
    /// The station.
    pub at: Point,
    /// Course of the crest, across the occlusal direction.
    pub along: Direction,
    /// Away from the inside of the arch: buccal or labial.
    pub outward: Direction,
    /// Buccal side, lingual side.
    pub sides: [Side; 2],
}

/// What sections are cut from.
#[derive(Clone, Copy, Debug)]
pub struct Asked<'a> {
    /// The cast.
    pub mesh: &'a Mesh,
    /// Its crest line.
    pub crest: &'a [Point],
    /// Occlusal direction.
    pub occlusal: Direction,
    /// A place inside the arch.
    pub inside: Point,
    /// Way from one section to the next, mm.
    pub step_mm: f64,
}

/// Sections along a crest. A station whose section does not meet the surface is left out.
pub fn sections(asked: &Asked<'_>) -> Vec<Section> {
    let (part, _) = near(asked);
    stations(asked.crest, asked.step_mm)
        .into_iter()
        .filter_map(|(s, at)| section(&part, asked, s, at))
        .collect()
}

/// The triangles about a crest.
fn near(asked: &Asked<'_>) -> (Mesh, Vec<u32>) {
    let reach = Vector::repeat(REACH_MM + 5.0);
    let Some(first) = asked.crest.first() else { return asked.mesh.part(|_| false) };
    let (low, high) = asked.crest.iter().fold((*first, *first), |(l, h), p| (l.inf(p), h.sup(p)));
    let (low, high) = (low - reach, high + reach);
    asked.mesh.part(|f| {
        let p = asked.mesh.face_centre(f);
        (0..3).all(|k| p[k] >= low[k] && p[k] <= high[k])
    })
}

fn stations(crest: &[Point], step_mm: f64) -> Vec<(f64, Point)> {
    let (mut out, mut s, mut next) = (Vec::new(), 0.0, 0.0);
    for w in crest.windows(2) {
        let length = (w[1] - w[0]).norm();
        while next <= s + length && length > 0.0 {
            out.push((next, w[0] + (w[1] - w[0]) * ((next - s) / length)));
            next += step_mm;
        }
        s += length;
    }
    out
}

fn section(part: &Mesh, asked: &Asked<'_>, s_mm: f64, at: Point) -> Option<Section> {
    let up = asked.occlusal;
    let along = course(asked.crest, &at, &up)?;
    let across = up.cross(&along);
    let out = if across.dot(&(at - asked.inside)) < 0.0 { -across } else { across };
    let outward = direction(out)?;
    let chains = cut(part, &Plane { point: at, normal: along });
    let (chain, index, far) = chains
        .iter()
        .flat_map(|c| c.iter().enumerate().map(move |(i, p)| (c, i, (p - at).norm())))
        .min_by(|a, b| a.2.total_cmp(&b.2))?;
    if far > OFF_MM + 1.0 {
        return None;
    }
    let flat = |p: &Point| [(p - at).dot(&outward), (p - at).dot(&up)];
    let closed = chain.len() > 2 && chain.first() == chain.last();
    let [one, other] = [1, -1].map(|way| walked(chain, index, way, closed));
    let ways = [one, other].map(|way| way.iter().map(flat).collect::<Vec<_>>());
    let reach = |path: &[[f64; 2]]| path.iter().take_while(|p| p[0].abs() < 4.0).last().map_or(0.0, |p| p[0]);
    let [a, b] = ways;
    let (buccal, lingual) = if reach(&a) >= reach(&b) { (a, b) } else { (b, a) };
    let lingual: Vec<[f64; 2]> = lingual.into_iter().map(|[x, h]| [-x, h]).collect();
    Some(Section { s_mm, at, along, outward, sides: [side(buccal, closed), side(lingual, closed)] })
}

/// The course of the crest about a station, across the occlusal direction.
fn course(crest: &[Point], at: &Point, up: &Direction) -> Option<Direction> {
    let about: Vec<&Point> = crest.iter().filter(|p| (*p - at).norm() <= COURSE_MM).collect();
    let v = **about.last()? - **about.first()?;
    direction(v - up.into_inner() * v.dot(up))
}

/// The places of a chain from an index on, one way; a closed chain is followed around.
fn walked(chain: &[Point], index: usize, way: i64, closed: bool) -> Vec<Point> {
    let n = chain.len() as i64;
    let (mut out, mut run, mut i) = (vec![chain[index]], 0.0, index as i64);
    for _ in 1..n {
        i += way;
        if closed {
            i = i.rem_euclid(n - 1);
        } else if i < 0 || i >= n {
            break;
        }
        let p = chain[i as usize];
        run += (p - out[out.len() - 1]).norm();
        out.push(p);
        if run > FOLLOWED_MM {
            break;
        }
    }
    out
}

/// Follows one side to its end.
fn side(path: Vec<[f64; 2]>, closed: bool) -> Side {
    let (mut deepest, mut run) = (0, 0.0);
    for i in 1..path.len() {
        run += crate::space::hypot(path[i][0] - path[i - 1][0], path[i][1] - path[i - 1][1]);
        if path[i][1] < path[deepest][1] {
            deepest = i;
        } else if path[i][1] > path[deepest][1] + RISE_MM && path[deepest][1] < -2.0 * RISE_MM {
            return Side { path, end: SideEnd::Sulcus, deepest };
        }
        if path[i][0].abs() > REACH_MM {
            return Side { path, end: SideEnd::OutOfReach, deepest };
        }
    }
    let end = if closed || run > FOLLOWED_MM { SideEnd::OutOfReach } else { SideEnd::ScanBorder };
    Side { path, end, deepest }
}

/// Triangles of the surface of a ridge: under its crest and down both sides to the sulcus, to the depth
/// [`SURFACE_DEPTH_MM`] or to the border of the scan; without those that `taken` holds. Ascending.
pub fn surface(
    mesh: &Mesh,
    sections: &[Section],
    occlusal: &Direction,
    taken: &dyn Fn(FaceId) -> bool,
) -> Vec<FaceId> {
    let Some(first) = sections.first() else { return Vec::new() };
    let reach = Vector::repeat(REACH_MM);
    let (low, high) = sections.iter().fold((first.at, first.at), |(l, h), s| (l.inf(&s.at), h.sup(&s.at)));
    let (low, high) = (low - reach, high + reach);
    let step = sections.windows(2).map(|w| w[1].s_mm - w[0].s_mm).fold(0.0, f64::max).max(0.5);
    let limits: Vec<[[f64; 2]; 2]> =
        sections.iter().map(|s| [s.sides[0].limit(), s.sides[1].limit()]).collect();
    let on = |p: &Point| {
        let Some((i, _)) = sections
            .iter()
            .enumerate()
            .map(|(i, s)| (i, (p - s.at).dot(&s.along).abs() + 0.2 * (p - s.at).dot(&s.outward).abs()))
            .min_by(|a, b| a.1.total_cmp(&b.1))
        else {
            return false;
        };
        let (d, s) = (p - sections[i].at, &sections[i]);
        let (along, x, h) = (d.dot(&s.along), d.dot(&s.outward), d.dot(occlusal));
        let [across, depth] = limits[i][usize::from(x < 0.0)];
        along.abs() <= step && x.abs() <= across.abs() && h >= depth - 0.3 && h < 3.0
    };
    (0..mesh.faces().len() as FaceId)
        .filter(|&f| {
            let p = mesh.face_centre(f);
            (0..3).all(|k| p[k] >= low[k] && p[k] <= high[k]) && !taken(f) && on(&p)
        })
        .collect()
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    /// A straight ridge along y, 24 mm long: a parabola across, `height` over both sulci, half width 3 mm at the depth
    /// of 3 mm; behind the buccal sulcus (+x) the surface rises again; the lingual side ends before any where `cut`.
    pub(crate) fn ridge(height: f64, cut: bool) -> Mesh {
        let profile = |x: f64| {
            let sulcus = (3.0 * height).sqrt();
            if x.abs() < sulcus { -x * x / 3.0 } else { -height + 0.8 * (x.abs() - sulcus) }
        };
        let from = if cut { -2.0 } else { -9.0 };
        let xs: Vec<f64> = (0..).map(|i| from + 0.1 * f64::from(i)).take_while(|x| *x < 9.0).collect();
        let ys: Vec<f64> = (0..=48).map(|j| 0.5 * f64::from(j)).collect();
        let vertices = ys.iter().flat_map(|y| xs.iter().map(|x| Point::new(*x, *y, profile(*x)))).collect();
        let w = xs.len() as u32;
        let mut faces = Vec::new();
        for a in (0..48).flat_map(|j| (0..w - 1).map(move |i| j * w + i)) {
            faces.extend([[a, a + 1, a + w + 1], [a, a + w + 1, a + w]]);
        }
        Mesh::new(vertices, faces).unwrap()
    }

    pub(crate) fn crest() -> Vec<Point> {
        (0..=40).map(|j| Point::new(0.0, 2.0 + 0.5 * f64::from(j), 0.0)).collect()
    }

    fn cut_up(mesh: &Mesh) -> Vec<Section> {
        let crest = crest();
        sections(&Asked {
            mesh,
            crest: &crest,
            occlusal: Direction::new_normalize(Vector::z()),
            inside: Point::new(-20.0, 12.0, 0.0),
            step_mm: 1.0,
        })
    }

    #[test]
    fn a_parabolic_ridge_has_its_sulci_and_widths() {
        let sections = cut_up(&ridge(7.0, false));
        assert_eq!(sections.len(), 21);
        for s in &sections {
            assert!(s.outward.x > 0.999);
            for side in &s.sides {
                assert_eq!(side.end, SideEnd::Sulcus);
                assert!((side.path[side.deepest][1] + 7.0).abs() < 0.05);
                assert!((side.across_at(3.0).unwrap().0 - 3.0).abs() < 0.02);
                assert_eq!(side.across_at(9.0), None);
            }
        }
    }

    #[test]
    fn a_side_that_the_scan_cuts_away_says_so() {
        for s in cut_up(&ridge(7.0, true)) {
            assert_eq!(s.sides[0].end, SideEnd::Sulcus);
            assert_eq!(s.sides[1].end, SideEnd::ScanBorder);
            assert_eq!(s.sides[1].across_at(3.0), None);
        }
    }

    #[test]
    fn the_surface_of_the_ridge_reaches_to_both_sulci() {
        let mesh = ridge(7.0, false);
        let sections = cut_up(&mesh);
        let up = Direction::new_normalize(Vector::z());
        let faces = surface(&mesh, &sections, &up, &|_| false);
        let across: Vec<f64> = faces.iter().map(|&f| mesh.face_centre(f).x).collect();
        let most = across.iter().copied().fold(0.0, f64::max);
        // The parabola is 7 mm deep at 4.58 mm.
        assert!((most - 4.58).abs() < 0.2, "{most}");
        assert!((across.iter().copied().fold(0.0, f64::min) + 4.58).abs() < 0.2);
        assert!(faces.windows(2).all(|w| w[0] < w[1]));
        assert!(surface(&mesh, &sections, &up, &|_| true).is_empty());
    }
}
