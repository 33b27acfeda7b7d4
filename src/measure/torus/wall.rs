//! The lingual wall of a mandible without its rises, foretold from what is seen beside them.
//!
//! A plate through the surroundings of a hole knows nothing of walls: it follows the roll of the gingival margin and the turn
//! into the floor of the mouth on past the places where they end. A wall is much alike from station to station along the arch,
//! so it is described around the arch line, by its distance from a centre under the crowns at each station and each angle from
//! up through lingual to down, and foretold by Gaussian process regression (kriging): the covariance of two places is long
//! along the arch and short across it. A mask is left out of what is known, and the distance at its places is the best linear
//! estimate from all others, with its own standard deviation.

use super::line::Line;
use super::sparse::Skyline;
use super::work::Work;
use crate::mesh::VertexId;
use crate::space::{Frame, Point2, Vector, atan2, exp};

/// Depth of the centre of the wall's angles below the lingual gingival margin, mm.
const BELOW_MARGIN_MM: f64 = 4.0;
/// A usual distance of the wall from that centre, mm: angles become lengths with it, and distances are told from it.
const USUAL_MM: f64 = 8.0;
/// Angle from up that is the middle of the wall, radians.
const MIDDLE_RAD: f64 = 1.6;
/// Least cosine between the surface and the way out from the centre at which a place speaks for the wall.
const FACING: f64 = 0.2;
/// Distance from the crowns over the surface up to which the wall is known, mm: beyond it begin folds and the tongue.
const REACH_MM: f64 = 12.0;
/// Least distance between two places that speak for the wall, mm.
const SPACING_MM: f64 = 1.1;
/// Where the same station and angle is met twice, what stands this much farther out than the nearest is no wall, mm; and
/// the distance that counts as the same, mm.
const TWICE_MM: (f64, f64) = (2.5, 1.2);
/// Standard deviation of the wall's slow and quick parts, mm, and their reaches along the arch and across it, mm.
const SLOW: (f64, f64, f64) = (2.0, 30.0, 8.0);
const QUICK: (f64, f64, f64) = (0.5, 8.0, 5.0);
/// What a single place of gingiva stands off both, standard deviation, mm.
const ROUGH_MM: f64 = 0.1;
/// Prior variance of each coefficient of the mean shape, mm2, and the lengths along and across by which it is scaled, mm.
const MEAN: (f64, f64, f64) = (25.0, 25.0, 8.0);
/// The wall ends where fewer than this share of its places within so many millimetres along the arch lie farther down, and so
/// far beyond it.
const ENDS: (f64, f64, f64) = (0.02, 6.0, 0.8);
/// A summit within this distance above the wall's lower end may be the floor of the mouth, mm.
const NEAR_END_MM: f64 = 1.5;
/// Fewest places from which a wall is foretold.
const FEWEST: usize = 60;
/// How far around a mask the foretold wall takes the place of the seen one, mm, so that its normals are those of one surface.
const SEAM_MM: f64 = 2.0;

/// A place in the coordinates of the wall.
#[derive(Clone, Copy, Debug)]
struct Place {
    /// Along the arch line, mm.
    along: f64,
    /// Around the centre from up through lingual, as a length at the usual distance, mm.
    around: f64,
    /// Distance from the centre less the usual one, mm.
    out: f64,
    /// The centre of its station.
    centre: Vector,
    /// Unit vector from the centre to it.
    way: Vector,
    /// Cosine between the surface and that way.
    facing: f64,
    /// How far above the wall's lower end it lies, around the centre, mm.
    above_end: f64,
}

/// The wall, ready to foretell any part of it from the rest.
#[derive(Debug)]
pub(super) struct Wall {
    place: Vec<Option<Place>>,
    /// Places that speak for the wall.
    nodes: Vec<VertexId>,
    /// Mean of their places along the arch, mm.
    middle_mm: f64,
    /// Covariance of each vertex that has a place with each node, mm2.
    with_nodes: Vec<Vec<f64>>,
}

/// A part of the wall, foretold.
pub(super) struct Foretold {
    /// Vertices of the mask and of its seam, ascending.
    pub moved: Vec<VertexId>,
    /// Their places, mm.
    pub places: Vec<Vector>,
}

impl Wall {
    /// For the searched part of a mandible whose crowns are known. `None` where too little of a wall is seen.
    pub fn new(
        work: &Work,
        domain: &[bool],
        crown_mm: &[Option<f64>],
        frame: &Frame,
        line: (&[Point2], Point2),
    ) -> Option<Wall> {
        let line = Line::smooth(line.0, line.1)?;
        let mut margin: Vec<f64> = (0..work.len())
            .filter(|&v| domain[v] && crown_mm[v].is_some_and(|d| d <= 1.0))
            .map(|v| frame.local(&work.mesh.vertices()[v])[2])
            .collect();
        margin.sort_by(f64::total_cmp);
        let height = margin.get(margin.len() / 2)? - BELOW_MARGIN_MM;
        let mut place: Vec<Option<Place>> = (0..work.len())
            .map(|v| domain[v].then(|| place(&line, work, frame, height, v as u32)).flatten())
            .collect();
        let nodes = nodes(work, &place, crown_mm);
        let known: Vec<Place> = nodes.iter().filter_map(|&v| place[v as usize]).collect();
        for p in &mut place {
            *p = p.and_then(|p| {
                let above_end = lowest(&known, p.along)? - p.around;
                (above_end >= 0.0).then_some(Place { above_end, ..p })
            });
        }
        let nodes: Vec<VertexId> = nodes.into_iter().filter(|&v| place[v as usize].is_some()).collect();
        if nodes.len() < FEWEST {
            return None;
        }
        let middle_mm = nodes.iter().filter_map(|&v| place[v as usize]).map(|p| p.along).sum::<f64>()
            / nodes.len() as f64;
        let known: Vec<Place> = nodes.iter().filter_map(|&v| place[v as usize]).collect();
        let with_nodes = place
            .iter()
            .map(|p| {
                p.map_or_else(Vec::new, |p| known.iter().map(|q| covariance(&p, q, middle_mm)).collect())
            })
            .collect();
        Some(Wall { place, nodes, middle_mm, with_nodes })
    }

    /// Whether a vertex lies on the wall.
    pub fn holds(&self, v: VertexId) -> bool {
        self.place[v as usize].is_some()
    }

    /// Whether a vertex lies next to the wall's lower end.
    pub fn near_end(&self, v: VertexId) -> bool {
        self.place[v as usize].is_some_and(|p| p.above_end < NEAR_END_MM)
    }

    /// The places of a mask's vertices as the rest of the wall foretells them. `None` where not all of them lie on the wall,
    /// or too little of it is left.
    pub fn foretold(
        &self,
        work: &Work,
        domain: &[bool],
        (mask, others): (&[VertexId], Option<&[bool]>),
    ) -> Option<Foretold> {
        let (left, system) = self.left(mask, others)?;
        let out = |n: usize| self.place[self.nodes[n] as usize].map_or(0.0, |p| p.out);
        let weights = system.solve(left.iter().map(|&n| Vector::new(out(n), 0.0, 0.0)).collect())?;
        let moved: Vec<VertexId> = work
            .grown(mask, SEAM_MM, |v| domain[v as usize])
            .into_iter()
            .filter(|&v| self.place[v as usize].is_some())
            .collect();
        let places = moved
            .iter()
            .filter_map(|&v| {
                let p = self.place[v as usize]?;
                let with = &self.with_nodes[v as usize];
                let out: f64 = left.iter().zip(&weights).map(|(&n, w)| with[n] * w.x).sum();
                Some(p.centre + p.way * (USUAL_MM + out))
            })
            .collect();
        Some(Foretold { moved, places })
    }

    /// Standard deviation of the foretold wall at one vertex of a mask, square to the wall, mm.
    pub fn deviation_mm(&self, (mask, others): (&[VertexId], Option<&[bool]>), at: VertexId) -> Option<f64> {
        let (left, system) = self.left(mask, others)?;
        let own = self.place[at as usize]?;
        let with = &self.with_nodes[at as usize];
        let b = left.iter().map(|&n| Vector::new(with[n], 0.0, 0.0)).collect();
        let told: f64 = left.iter().zip(system.solve(b)?).map(|(&n, w)| with[n] * w.x).sum();
        let spread = (covariance(&own, &own, self.middle_mm) - told).max(0.0).sqrt();
        Some(spread * own.facing.clamp(FACING, 1.0))
    }

    /// The nodes off a mask, and their covariances.
    fn left(&self, mask: &[VertexId], others: Option<&[bool]>) -> Option<(Vec<usize>, Skyline)> {
        if mask.iter().any(|&v| self.place[v as usize].is_none()) {
            return None;
        }
        let other = |v: VertexId| others.is_some_and(|o| o[v as usize]);
        let left: Vec<usize> = (0..self.nodes.len())
            .filter(|&n| mask.binary_search(&self.nodes[n]).is_err() && !other(self.nodes[n]))
            .collect();
        if left.len() < FEWEST {
            return None;
        }
        let mut system = Skyline::new(vec![0; left.len()]);
        for (i, &n) in left.iter().enumerate() {
            let with = &self.with_nodes[self.nodes[n] as usize];
            for (j, &m) in left.iter().enumerate().take(i + 1) {
                system.add(i, j, with[m]);
            }
            let facing = self.place[self.nodes[n] as usize].map_or(1.0, |p| p.facing.clamp(FACING, 1.0));
            system.add(i, i, ROUGH_MM * ROUGH_MM / (facing * facing));
        }
        Some((left, system))
    }
}

/// Covariance of the wall's distance at two places, mm2: of its mean shape, its slow and its quick part.
fn covariance(p: &Place, q: &Place, middle_mm: f64) -> f64 {
    let part = |(deviation, along, around): (f64, f64, f64)| {
        let (a, b) = ((p.along - q.along) / along, (p.around - q.around) / around);
        deviation * deviation * matern((a * a + b * b).sqrt())
    };
    let shape = |p: &Place| {
        let (u, v) = ((p.along - middle_mm) / MEAN.1, (p.around - USUAL_MM * MIDDLE_RAD) / MEAN.2);
        [1.0, u, v, u * u, v * v, u * u * v]
    };
    let mean: f64 = shape(p).iter().zip(shape(q)).map(|(a, b)| a * b).sum();
    MEAN.0 * mean + part(SLOW) + part(QUICK)
}

/// The Matern correlation of smoothness 5/2 (Rasmussen and Williams 2006, Gaussian Processes for Machine Learning, eq. 4.17,
/// from memory).
fn matern(distance: f64) -> f64 {
    let d = 5.0_f64.sqrt() * distance;
    (1.0 + d + d * d / 3.0) * exp(-d)
}

/// Places that speak for the wall: near the crowns, facing out, apart from each other, and nothing that stands before the wall.
fn nodes(work: &Work, place: &[Option<Place>], crown_mm: &[Option<f64>]) -> Vec<VertexId> {
    let seen: Vec<(VertexId, Place)> = (0..work.len() as u32)
        .filter_map(|v| place[v as usize].map(|p| (v, p)))
        .filter(|(v, p)| p.facing > FACING && crown_mm[*v as usize].is_some_and(|d| d <= REACH_MM))
        .collect();
    let mut nodes: Vec<VertexId> = Vec::new();
    for (v, _) in &seen {
        let at = work.mesh.vertex(*v);
        if nodes.iter().all(|&n| (work.mesh.vertex(n) - at).norm() > SPACING_MM) {
            nodes.push(*v);
        }
    }
    let nearest = |p: &Place| {
        let same = seen.iter().filter(|(_, q)| {
            let (a, b) = (p.along - q.along, p.around - q.around);
            a * a + b * b <= TWICE_MM.1 * TWICE_MM.1
        });
        same.map(|(_, q)| q.out).fold(f64::INFINITY, f64::min)
    };
    nodes.retain(|&v| place[v as usize].is_some_and(|p| p.out < nearest(&p) + TWICE_MM.0));
    nodes
}

/// Where the wall ends below at a station, by its places nearby, in the coordinates around it, mm.
fn lowest(known: &[Place], along: f64) -> Option<f64> {
    let (share, near, beyond) = ENDS;
    let mut around: Vec<f64> =
        known.iter().filter(|q| (q.along - along).abs() <= near).map(|q| q.around).collect();
    around.sort_by(f64::total_cmp);
    let last = around.len().checked_sub(1 + (share * around.len() as f64) as usize)?;
    Some(around[last] + beyond)
}

/// A vertex in the coordinates of the wall; `None` buccal of the arch line.
fn place(line: &Line, work: &Work, frame: &Frame, height: f64, v: VertexId) -> Option<Place> {
    let [a, l, up] = frame.local(&work.mesh.vertex(v));
    let foot = line.foot(Point2::new(a, l))?;
    let centre = frame.world([foot.at.x, foot.at.y, height]).coords;
    let off = work.mesh.vertex(v).coords - centre;
    let out = off.norm();
    let way = (out > 0.0).then(|| off / out)?;
    Some(Place {
        along: foot.along,
        around: USUAL_MM * atan2(foot.far, up - height),
        out: out - USUAL_MM,
        centre,
        way,
        facing: work.normal[v as usize].dot(&way),
        above_end: 0.0,
    })
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::mesh::{Mesh, Topology};
    use crate::space::{Direction, Point, cos, sin};

    const ARCH_MM: f64 = 24.0;
    /// Rows of the mesh from crown to floor.
    const ROWS: u32 = 26;

    /// Distance of the true wall from its centre line, mm: it bends across and swells slowly along the arch.
    fn true_out(turn: f64, angle: f64) -> f64 {
        6.0 + 0.8 * cos(2.0 * angle) + 0.4 * sin(1.5 * turn)
    }

    fn centre(turn: f64) -> Point {
        Point::new(ARCH_MM * cos(turn), ARCH_MM * sin(turn), 0.0)
    }

    fn on(turn: f64, angle: f64, out: f64) -> Point {
        let inward = Vector::new(-cos(turn), -sin(turn), 0.0);
        centre(turn) + (inward * sin(angle) + Vector::z() * cos(angle)) * out
    }

    /// Half an arch's wall, and where each vertex lies on it; a dome of `height` stands on it at 0.7 rad.
    fn wall_mesh(height: f64) -> (Mesh, Vec<(f64, f64)>) {
        let columns = 100u32;
        let (mut places, mut vertices, mut faces) = (Vec::new(), Vec::new(), Vec::new());
        for i in 0..columns {
            for j in 0..ROWS {
                let turn = -1.5 + 3.0 * f64::from(i) / f64::from(columns - 1);
                let angle = 0.4 + 2.2 * f64::from(j) / f64::from(ROWS - 1);
                let (x, y) = (ARCH_MM * (turn - 0.7) / 5.0, 6.0 * (angle - 1.5) / 3.0);
                let dome = height * (1.0 - x * x - y * y).max(0.0).sqrt();
                places.push((turn, angle));
                vertices.push(on(turn, angle, true_out(turn, angle) + dome));
            }
        }
        for i in 0..columns - 1 {
            for j in 0..ROWS - 1 {
                let a = i * ROWS + j;
                let (b, c, d) = (a + 1, a + ROWS + 1, a + ROWS);
                faces.extend([[a, b, c], [a, c, d]]);
            }
        }
        // Seen from the tongue the triangles turn counterclockwise.
        let mesh = Mesh::new(vertices.clone(), faces.clone()).unwrap();
        let tongue = on(0.0, 1.5, true_out(0.0, 1.5) + 5.0) - mesh.face_centre(columns * ROWS);
        if mesh.doubled_area_normal(columns * ROWS).dot(&tongue) < 0.0 {
            faces.iter_mut().for_each(|f| f.swap(1, 2));
        }
        (Mesh::new(vertices, faces).unwrap(), places)
    }

    pub(in super::super) struct Built {
        pub work: Work,
        pub wall: Wall,
        /// Turn along the arch and angle of each vertex, radians.
        pub places: Vec<(f64, f64)>,
    }

    pub(in super::super) fn built(height: f64) -> Built {
        let (mesh, all) = wall_mesh(height);
        let work = Work::new(&mesh, &Topology::new(&mesh));
        let places: Vec<(f64, f64)> = work.seed.iter().map(|&s| all[s as usize]).collect();
        let crown = places.iter().map(|p| Some(6.0 * (p.1 - 0.4))).collect::<Vec<_>>();
        let corners: Vec<Point2> =
            (0..=12).map(|k| centre(-1.5 + 0.25 * f64::from(k))).map(|p| Point2::new(p.x, p.y)).collect();
        let frame =
            Frame::new(Point::origin(), Direction::new_normalize(Vector::z()), Vector::x(), true).unwrap();
        let inside = Point2::new(5.0, 0.0);
        let domain = vec![true; work.len()];
        let wall = Wall::new(&work, &domain, &crown, &frame, (&corners, inside)).unwrap();
        Built { work, wall, places }
    }

    pub(in super::super) fn everywhere(b: &Built) -> Vec<bool> {
        vec![true; b.work.len()]
    }

    /// Vertices around the dome's place, as far out as `share` of its half axes.
    pub(in super::super) fn around(b: &Built, share: f64) -> Vec<VertexId> {
        (0..b.work.len() as u32)
            .filter(|&v| b.wall.holds(v))
            .filter(|&v| {
                let (turn, angle) = b.places[v as usize];
                let (x, y) = (ARCH_MM * (turn - 0.7) / 5.0, 6.0 * (angle - 1.5) / 3.0);
                x * x + y * y <= share * share
            })
            .collect()
    }

    /// Greatest distance between the foretold and the true wall along the way out from the true centre, mm.
    fn off(b: &Built, mask: &[VertexId]) -> f64 {
        let all = everywhere(b);
        let told = b.wall.foretold(&b.work, &all, (mask, None)).unwrap();
        let places = told.moved.iter().zip(&told.places).filter(|(v, _)| mask.binary_search(v).is_ok());
        places.fold(0.0, |most: f64, (&v, p)| {
            let (turn, _) = b.places[v as usize];
            let from = p - centre(turn).coords;
            let angle = atan2(-(from.x * cos(turn) + from.y * sin(turn)), from.z);
            most.max((from.norm() - true_out(turn, angle)).abs())
        })
    }

    /// The wall's formula is not among the shapes of the method's mean; what stands in the mask is not looked at.
    #[test]
    fn a_wall_is_foretold_under_a_mask_whatever_stands_there() {
        for height in [0.0, 3.0] {
            let b = built(height);
            let far = off(&b, &around(&b, 1.15));
            assert!(far < 0.15, "{far} mm off under a dome of {height} mm");
        }
    }

    #[test]
    fn a_larger_mask_is_foretold_less_surely() {
        let b = built(0.0);
        let middle = around(&b, 0.2)[0];
        let spread = |share: f64| b.wall.deviation_mm((&around(&b, share), None), middle).unwrap();
        let (small, large) = (spread(0.4), spread(1.4));
        assert!(small > 0.0 && large > 1.5 * small, "{small} and {large} mm");
    }

    /// Left in, a dome beside the mask is taken for wall; left out, it is not.
    #[test]
    fn other_rises_do_not_speak_for_the_wall() {
        let b = built(3.0);
        let half: Vec<VertexId> =
            around(&b, 1.15).into_iter().filter(|&v| b.places[v as usize].0 < 0.7).collect();
        let mut others = vec![false; b.work.len()];
        around(&b, 1.15).iter().for_each(|&v| others[v as usize] = half.binary_search(&v).is_err());
        let all = everywhere(&b);
        let out = |others: Option<&[bool]>| {
            let told = b.wall.foretold(&b.work, &all, (&half, others)).unwrap();
            let places = told.moved.iter().zip(&told.places);
            let inside = places.filter(|(v, _)| half.binary_search(v).is_ok());
            let far = inside.map(|(&v, p)| {
                let (turn, angle) = b.places[v as usize];
                (p - centre(turn).coords).norm() - true_out(turn, angle)
            });
            far.fold(f64::NEG_INFINITY, f64::max)
        };
        let (with, without) = (out(None), out(Some(&others)));
        assert!(with > 0.8, "{with} mm with the other half of the dome");
        assert!(without < 0.4, "{without} mm without it");
    }

    #[test]
    fn nothing_is_foretold_off_the_wall_or_without_one() {
        let b = built(0.0);
        let all = everywhere(&b);
        let everything: Vec<VertexId> = (0..b.work.len() as u32).collect();
        assert!(b.wall.foretold(&b.work, &all, (&everything, None)).is_none());
        let crown = vec![None; b.work.len()];
        let line = [Point2::new(0.0, -20.0), Point2::new(20.0, 0.0), Point2::new(0.0, 20.0)];
        let frame =
            Frame::new(Point::origin(), Direction::new_normalize(Vector::z()), Vector::x(), true).unwrap();
        assert!(Wall::new(&b.work, &all, &crown, &frame, (&line, Point2::origin())).is_none());
    }
}
