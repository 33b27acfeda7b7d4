//! Tori that the user has outlined or pointed at. A mark decides that there is a torus; its height is measured.

use super::accept::side;
use super::bump::{Bump, Field, height_method_mm};
use super::fill::closest_in_triangle;
use super::outline::{Lobe, extents, heights, lobes};
use super::{Cast, Torus};
use crate::mesh::{FaceId, VertexId};
use crate::report::TorusState;
use crate::space::{Point, Vector, across, direction};

/// Growth of an outlined torus to the mask that is filled, mm: an outline is drawn above the foot.
const ROUND_OUTLINE_MM: f64 = 1.6;
/// Radii of the discs tried as caps around a point, mm.
const DISCS_MM: [f64; 3] = [1.2, 2.2, 3.5];
/// The same on a wall, to which the first growth is added.
const DISCS_ON_WALL_MM: [f64; 3] = [1.0, 2.5, 4.5];
/// How far above or below the plane of an outline its surface may lie, as a share of its longest chord.
const BULGE: f64 = 0.8;
/// Distance from a mark within which a rise counts as the one meant, mm.
const NEAR_MM: f64 = 2.5;

/// Tori of outlines, then of points.
pub(super) fn tori(cast: &Cast<'_>, outlines: &[Vec<Point>], at: &[Point]) -> Vec<Torus> {
    if outlines.is_empty() && at.is_empty() {
        return Vec::new();
    }
    let domain = off_crowns(cast);
    let wall = cast.ground.wall(cast.work, &domain);
    let field = Field { domain: &domain, wall: wall.as_ref(), ..cast.field() };
    let outlined = outlines.iter().filter_map(|o| outlined(cast, &field, o));
    let mut tori: Vec<Torus> = outlined.collect();
    for torus in together(cast, &field, at) {
        if !tori.iter().any(|t| t.faces.iter().any(|f| torus.faces.binary_search(f).is_ok())) {
            tori.push(torus);
        }
    }
    tori
}

/// The tori under points: each is found alone, and where two stand on the wall once more over it, with the others left out of
/// what speaks for the wall.
fn together(cast: &Cast<'_>, field: &Field<'_>, at: &[Point]) -> Vec<Torus> {
    let alone: Vec<Under> = at.iter().map(|p| Under::new(cast, field, p)).collect();
    let bumps: Vec<Option<&Bump>> = alone.iter().map(Under::surer).collect();
    let lone = bumps.iter().flatten().filter(|b| b.on_wall()).count() < 2;
    let mut tori = Vec::new();
    for ((p, under), bump) in at.iter().zip(&alone).zip(&bumps) {
        let Some(bump) = bump else { continue };
        if lone {
            tori.extend(lobe_under(cast, field, bump, p));
            continue;
        }
        let mut others = vec![false; cast.work.len()];
        for other in bumps.iter().flatten() {
            other.rise.iter().for_each(|&v| others[v as usize] = true);
        }
        bump.rise.iter().for_each(|&v| others[v as usize] = false);
        let wall = over_wall(cast, &Field { others: Some(&others), ..*field }, p);
        let again = [&wall, &under.plate].into_iter().flatten();
        tori.extend(lobe_under(cast, field, surest(again).unwrap_or(bump), p));
    }
    tori
}

fn off_crowns(cast: &Cast<'_>) -> Vec<bool> {
    cast.ground.crown_mm.iter().map(|d| d.is_none_or(|d| d > 0.0)).collect()
}

/// The torus inside an outline. `None` where the outline encloses nothing of the cast.
fn outlined(cast: &Cast<'_>, field: &Field<'_>, outline: &[Point]) -> Option<Torus> {
    let loop_plane = Enclosed::by(outline)?;
    let work = cast.work;
    let inside: Vec<VertexId> = loop_plane.piece(cast, |v| loop_plane.holds(&work.mesh.vertex(v)))?;
    let over = |field: &Field<'_>| field.over(field.grown(&inside, ROUND_OUTLINE_MM));
    let on_wall = field.under(&inside);
    let wall = on_wall.wall.and_then(|_| over(&on_wall));
    let plate = over(&Field { wall: None, ..*field });
    let bump = surest([&wall, &plate].into_iter().flatten())?;
    let heights = heights(cast.mesh, field, bump);
    let mut kept = vec![false; work.len()];
    inside.iter().for_each(|&v| kept[v as usize] = true);
    let faces: Vec<FaceId> = (0..cast.mesh.faces().len() as u32)
        .filter(|&f| {
            let near = cast.mesh.faces()[f as usize].iter().any(|&v| kept[work.owner[v as usize] as usize]);
            near && loop_plane.holds(&cast.mesh.face_centre(f))
        })
        .collect();
    let (summit, height_mm) = heights.iter().filter(|(v, _)| loop_plane.holds(&cast.mesh.vertex(*v))).fold(
        None,
        |best: Option<(VertexId, f64)>, &(v, h)| {
            if best.is_none_or(|b| h > b.1) { Some((v, h)) } else { best }
        },
    )?;
    let line: Vec<Point> = outline.iter().filter_map(|p| on_surface(cast, p)).collect();
    let (length_mm, width_mm) = extents(&line, &loop_plane.normal);
    let area_mm2 = faces.iter().map(|&f| cast.mesh.face_area_mm2(f)).sum();
    let lobe = Lobe { summit, height_mm, outline: line, cut: false, faces, area_mm2, length_mm, width_mm };
    Some(marked(cast, bump, lobe))
}

/// The rise under a point, over the wall and over the plate. `None` where nothing stands there.
struct Under {
    wall: Option<Bump>,
    plate: Option<Bump>,
}

impl Under {
    fn new(cast: &Cast<'_>, field: &Field<'_>, at: &Point) -> Under {
        let plate = Field { wall: None, ..*field };
        Under { wall: over_wall(cast, field, at), plate: rise_under(cast, &plate, DISCS_MM, at) }
    }

    fn surer(&self) -> Option<&Bump> {
        surest([&self.wall, &self.plate].into_iter().flatten())
    }
}

/// The rise whose height is told most closely, the first of those alike.
fn surest<'b>(bumps: impl Iterator<Item = &'b Bump>) -> Option<&'b Bump> {
    bumps.min_by(|a, b| height_method_mm(a).total_cmp(&height_method_mm(b)))
}

/// The rise under a point that lies on the wall.
fn over_wall(cast: &Cast<'_>, field: &Field<'_>, at: &Point) -> Option<Bump> {
    let seed = nearest(cast.work.mesh.vertices(), at)?;
    field.wall.filter(|wall| wall.holds(seed))?;
    rise_under(cast, field, DISCS_ON_WALL_MM, at)
}

/// The rise that is grown from discs around a point: one that came to rest, and the highest of those.
fn rise_under(cast: &Cast<'_>, field: &Field<'_>, discs: [f64; 3], at: &Point) -> Option<Bump> {
    let seed = nearest(cast.work.mesh.vertices(), at)?;
    let grown = discs.into_iter().filter_map(|radius| field.grow(&field.grown(&[seed], radius)));
    grown
        .filter(|bump| bump.rise.iter().any(|&v| (cast.work.mesh.vertex(v) - at).norm() <= NEAR_MM))
        .max_by(|a, b| a.settled.cmp(&b.settled).then(a.peak_mm.total_cmp(&b.peak_mm)))
}

/// The lobe of a rise at a point. `None` where nothing stands above the outline's level there.
fn lobe_under(cast: &Cast<'_>, field: &Field<'_>, bump: &Bump, at: &Point) -> Option<Torus> {
    let heights = heights(cast.mesh, field, bump);
    let levels = (cast.settings.outline_mm, cast.settings.saddle_mm);
    let far = |l: &Lobe| {
        let inside = l.faces.iter().map(|&f| (cast.mesh.face_centre(f) - at).norm());
        inside.min_by(f64::total_cmp).unwrap_or(f64::INFINITY)
    };
    let lobe = lobes(cast.mesh, cast.topology, &heights, levels)
        .into_iter()
        .min_by(|a, b| far(a).total_cmp(&far(b)).then(a.summit.cmp(&b.summit)))?;
    (far(&lobe) <= NEAR_MM).then(|| marked(cast, bump, lobe))
}

/// A lobe as a torus that the user vouches for.
pub(super) fn marked(cast: &Cast<'_>, bump: &Bump, lobe: Lobe) -> Torus {
    let summit = cast.mesh.vertex(lobe.summit);
    Torus {
        side: side(cast, &summit),
        height_mm: lobe.height_mm,
        height_method_mm: height_method_mm(bump),
        length_mm: lobe.length_mm,
        width_mm: lobe.width_mm,
        area_mm2: lobe.area_mm2,
        volume_mm3: volume_mm3(cast, bump, &lobe.faces),
        summit,
        outline: lobe.outline,
        faces: lobe.faces,
        confidence: 1.0,
        state: TorusState::Marked,
        doubts: Vec::new(),
    }
}

/// Volume between triangles and the fill under them: each stands over its own projection on the fill.
fn volume_mm3(cast: &Cast<'_>, bump: &Bump, faces: &[FaceId]) -> f64 {
    let work = cast.work;
    let over = faces.iter().map(|&f| {
        let corners = cast.mesh.faces()[f as usize];
        let owners = corners.map(|v| work.owner.get(v as usize).copied().unwrap_or(0));
        let heights = [0, 1, 2].map(|k| bump.fill.height_mm(work, &cast.mesh.vertex(corners[k]), owners[k]));
        let normal = heights.iter().fold(Vector::zeros(), |s, h| s + bump.fill.normal[h.1 as usize]);
        let height = heights.iter().map(|h| h.0).sum::<f64>() / 3.0;
        let length = normal.norm();
        let flat =
            if length > 0.0 { 0.5 * cast.mesh.doubled_area_normal(f).dot(&normal) / length } else { 0.0 };
        flat * height.max(0.0)
    });
    over.sum()
}

fn nearest(places: &[Point], p: &Point) -> Option<VertexId> {
    let by_distance = places
        .iter()
        .enumerate()
        .min_by(|a, b| (a.1 - p).norm_squared().total_cmp(&(b.1 - p).norm_squared()).then(a.0.cmp(&b.0)));
    by_distance.map(|(v, _)| v as u32)
}

/// The place on the cast next to a mark: on the triangles around the nearest vertex.
fn on_surface(cast: &Cast<'_>, p: &Point) -> Option<Point> {
    let v = nearest(cast.mesh.vertices(), p)?;
    let mut best = cast.mesh.vertex(v).coords;
    for &f in cast.topology.faces_of_vertex(v) {
        let [a, b, c] = cast.mesh.corners(f).map(|q| q.coords);
        let foot = closest_in_triangle(&p.coords, &a, &b, &c);
        if (foot - p.coords).norm_squared() < (best - p.coords).norm_squared() {
            best = foot;
        }
    }
    Some(best.into())
}

/// The space that a closed curve encloses: over and under its mean plane.
struct Enclosed {
    middle: Point,
    normal: Vector,
    axes: (Vector, Vector),
    corners: Vec<(f64, f64)>,
    deep: f64,
}

impl Enclosed {
    fn by(outline: &[Point]) -> Option<Enclosed> {
        if outline.len() < 3 {
            return None;
        }
        let middle =
            Point::from(outline.iter().fold(Vector::zeros(), |s, p| s + p.coords) / outline.len() as f64);
        let round = (0..outline.len()).fold(Vector::zeros(), |s, i| {
            s + (outline[i] - middle).cross(&(outline[(i + 1) % outline.len()] - middle))
        });
        let up = direction(round)?;
        let axes = across(&up);
        let flat = |p: &Point| ((p - middle).dot(&axes.0), (p - middle).dot(&axes.1));
        let corners: Vec<(f64, f64)> = outline.iter().map(flat).collect();
        let deep = BULGE * extents(outline, &up).0;
        Some(Enclosed { middle, normal: up.into_inner(), axes, corners, deep })
    }

    fn holds(&self, p: &Point) -> bool {
        let off = p - self.middle;
        if off.dot(&self.normal).abs() > self.deep {
            return false;
        }
        let (x, y) = (off.dot(&self.axes.0), off.dot(&self.axes.1));
        let n = self.corners.len();
        (0..n).fold(false, |inside, i| {
            let ((ax, ay), (bx, by)) = (self.corners[i], self.corners[(i + 1) % n]);
            let crosses = (ay > y) != (by > y) && x < ax + (y - ay) / (by - ay) * (bx - ax);
            inside != crosses
        })
    }

    /// The largest connected piece of the work surface inside: a thin wall's other side falls away.
    fn piece(&self, cast: &Cast<'_>, inside: impl Fn(VertexId) -> bool) -> Option<Vec<VertexId>> {
        let mut pieces = cast.work.pieces(inside);
        pieces.sort_by(|a, b| b.len().cmp(&a.len()).then(a.cmp(b)));
        pieces.into_iter().next()
    }
}
