//! Quantity: the way of a framework into its seat along a path, where it strikes, and the play that is left.
//!
//! Definition: the framework is lifted along the withdrawal direction by 10 mm and lowered. A place of it *strikes* where
//! it lies inside the cast on that way: from the lift at which it enters to that at which it leaves again. *By how much* is
//! its greatest depth inside the cast on the way, the least way by which it would have to give. Retentive arms strike by
//! intent, so they are told apart from what is rigid. The *play* at a lift is the turn about an axis through the middle of
//! the fitting surface by which the rigid part goes before it strikes deeper than a small depth.
//!
//! Frame and units: mm along the path, lift counted from the seat; degrees of turn.
//!
//! Method and its error: one ray from each vertex of the framework along the path, exact on the cast's triangles; the depth
//! at lifts 0.1 mm apart within what the ray finds inside, by the closest point. Corners of the cast that pass between two
//! vertices of the framework are missed by up to the chord between them.
//!
//! Not covered: a way that is no straight line (rotational paths); the give of periodontal ligament and mucosa.
//!
//! Checked by: a ring over a post with and without a collar, below.

use rayon::prelude::*;

use super::{Cast, Framework, lifted, normal_at};
use crate::mesh::VertexId;
use crate::space::{Direction, Motion, Point, Vector, about, across, direction};

/// Where the way begins, mm above the seat.
pub const FROM_MM: f64 = 10.0;
/// Lifts at which the depth is read, mm apart.
const STEP_MM: f64 = 0.1;
/// Deeper than this nothing is told, mm.
const DEEPEST_MM: f64 = 6.0;
/// Places of one strike lie no farther apart, mm.
const TOGETHER_MM: f64 = 3.0;
/// Largest turn that is tried, degrees.
const MOST_TURN_DEG: f64 = 10.0;
/// Turns that are tried, degrees apart, before the last is halved.
const TURN_STEP_DEG: f64 = 0.5;
/// Vertices that are asked about turns and other paths.
const SAMPLE: usize = 1500;

/// A place that strikes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Struck {
    /// The vertex.
    pub vertex: VertexId,
    /// Greatest depth inside the cast on the way, mm.
    pub by_mm: f64,
    /// Lift at that depth, mm.
    pub lift_mm: f64,
    /// Lift at which the place first meets the cast on the way down, mm.
    pub from_mm: f64,
}

/// Struck places that lie together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Strike {
    /// The deepest place, seated, mm.
    pub at: Point,
    /// Where it is when it is deepest, mm.
    pub on_the_way: Point,
    /// How deep, mm.
    pub by_mm: f64,
    /// Lift at that depth, mm.
    pub lift_mm: f64,
    /// Highest lift at which a place of the strike meets the cast, mm.
    pub from_mm: f64,
    /// How many vertices strike.
    pub vertices: usize,
}

/// Each place of `asked` that strikes on the way along `d`, by vertex.
pub fn struck(framework: &Framework, cast: &Cast<'_>, d: &Direction, asked: &[VertexId]) -> Vec<Struck> {
    asked.par_iter().filter_map(|&v| one(framework, cast, d, v)).collect()
}

fn one(framework: &Framework, cast: &Cast<'_>, d: &Direction, v: VertexId) -> Option<Struck> {
    let p = framework.mesh().vertex(v);
    let mut deepest: Option<Struck> = None;
    for [low, high] in inside(cast, &p, d) {
        let steps = ((high - low) / STEP_MM).ceil().max(1.0) as usize;
        for k in 0..=steps {
            let lift = low + (high - low) * k as f64 / steps as f64;
            let depth = cast.near_within(&lifted(&p, d, lift), DEEPEST_MM).map_or(0.0, |n| -n.signed_mm);
            if depth > deepest.map_or(0.0, |s| s.by_mm) {
                deepest = Some(Struck { vertex: v, by_mm: depth, lift_mm: lift, from_mm: high });
            }
        }
    }
    deepest
}

/// Lifts between which a place is inside the cast, lowest first.
fn inside(cast: &Cast<'_>, p: &Point, d: &Direction) -> Vec<[f64; 2]> {
    let mut within = Vec::new();
    let mut from = None;
    for (n, hit) in cast.surface.cast_all(p, d, FROM_MM).iter().enumerate() {
        match (hit.from_behind, from) {
            (false, None) => from = Some(hit.distance_mm),
            (true, Some(low)) => {
                within.push([low, hit.distance_mm]);
                from = None;
            }
            // Inside from the seat on: only the first wall says so, a second leaving is the same shared side.
            (true, None) if n == 0 => within.push([0.0, hit.distance_mm]),
            _ => {}
        }
    }
    if let Some(low) = from {
        within.push([low, FROM_MM]);
    }
    within
}

/// Joins struck places that lie together; those up to `least_mm` deep count nothing.
pub fn strikes(framework: &Framework, d: &Direction, struck: &[Struck], least_mm: f64) -> Vec<Strike> {
    let mut open: Vec<&Struck> = struck.iter().filter(|s| s.by_mm > least_mm).collect();
    open.sort_by(|a, b| b.by_mm.total_cmp(&a.by_mm).then(a.vertex.cmp(&b.vertex)));
    let place = |s: &Struck| framework.mesh().vertex(s.vertex);
    let mut all: Vec<Strike> = Vec::new();
    for s in open {
        let at = place(s);
        match all.iter_mut().find(|known| (known.at - at).norm() <= TOGETHER_MM) {
            Some(known) => {
                known.vertices += 1;
                known.from_mm = known.from_mm.max(s.from_mm);
            }
            None => all.push(Strike {
                at,
                on_the_way: lifted(&at, d, s.lift_mm),
                by_mm: s.by_mm,
                lift_mm: s.lift_mm,
                from_mm: s.from_mm,
                vertices: 1,
            }),
        }
    }
    all
}

/// No more than `SAMPLE` of the vertices, evenly taken.
pub fn sample(of: &[VertexId]) -> Vec<VertexId> {
    let every = of.len().div_ceil(SAMPLE).max(1);
    of.iter().copied().step_by(every).collect()
}

/// Another path for the framework.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OtherPath {
    /// The withdrawal direction.
    pub direction: Direction,
    /// Its angle to the path of the case, degrees.
    pub from_case_deg: f64,
    /// What the rigid part strikes by along it at the most, mm; read at a sample of its places.
    pub by_mm: f64,
}

/// What a sample of rigid places strikes by along each of some directions up to `most_deg` about `d`, the case's own first.
pub fn paths(
    framework: &Framework,
    cast: &Cast<'_>,
    d: &Direction,
    rigid: &[VertexId],
    most_deg: f64,
) -> Vec<OtherPath> {
    let asked = sample(rigid);
    let (u, w) = across(d);
    let mut directions = vec![(*d, 0.0)];
    for ring in 1..=3 {
        let lean = most_deg * f64::from(ring) / 3.0;
        for k in 0..ring * 6 {
            let turn = std::f64::consts::TAU * f64::from(k) / f64::from(ring * 6);
            let aside = u * crate::space::cos(turn) + w * crate::space::sin(turn);
            let way = d.into_inner() + aside * crate::space::tan(lean.to_radians());
            directions.extend(direction(way).map(|way| (way, lean)));
        }
    }
    directions
        .par_iter()
        .map(|(way, lean)| {
            let worst = asked.iter().filter_map(|&v| one(framework, cast, way, v)).map(|s| s.by_mm);
            OtherPath { direction: *way, from_case_deg: *lean, by_mm: worst.fold(0.0, f64::max) }
        })
        .collect()
}

/// Turns that the rigid places allow, one way and the other, degrees; 10 where nothing stops it.
pub fn play_deg(
    framework: &Framework,
    cast: &Cast<'_>,
    (d, lift_mm): (&Direction, f64),
    (axis, about_point): (&Direction, &Point),
    rigid: &[VertexId],
    least_mm: f64,
) -> [f64; 2] {
    let places: Vec<Point> =
        sample(rigid).iter().map(|&v| lifted(&framework.mesh().vertex(v), d, lift_mm)).collect();
    let middle = lifted(about_point, d, lift_mm);
    // What strikes at this lift before any turn is no matter of play.
    let free: Vec<Point> = places.into_iter().filter(|p| depth(cast, p) <= least_mm).collect();
    let strikes = |deg: f64| {
        let turn = about(&middle, Motion::rotation(axis.into_inner() * deg.to_radians()));
        free.iter().any(|p| depth(cast, &(turn * p)) > least_mm)
    };
    [1.0, -1.0].map(|sense| {
        let mut reached = 0.0;
        while reached < MOST_TURN_DEG {
            let next = reached + TURN_STEP_DEG;
            if strikes(sense * next) {
                let (mut low, mut high) = (reached, next);
                for _ in 0..6 {
                    let half = (low + high) / 2.0;
                    if strikes(sense * half) { high = half } else { low = half }
                }
                return low;
            }
            reached = next;
        }
        MOST_TURN_DEG
    })
}

/// Depth inside the cast, mm; 0 outside.
fn depth(cast: &Cast<'_>, p: &Point) -> f64 {
    let Some(closest) = cast.surface.closest_within(p, 1.0) else { return 0.0 };
    let normal: Vector = normal_at(cast.surface.mesh(), cast.normals, closest.face, &closest.at);
    if (p - closest.at).dot(&normal) < 0.0 { closest.distance_mm } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::super::tests::fine_box;
    use super::*;
    use crate::anatomy::Anatomy;
    use crate::estimate::NotMeasured;
    use crate::locate::Surface;
    use crate::mesh::Mesh;

    fn up() -> Direction {
        Direction::new_normalize(Vector::z())
    }

    /// A body of revolution about z through (radius, height) pairs, closed below and above.
    fn turned(profile: &[[f64; 2]], around: u32) -> Mesh {
        let mut vertices = Vec::new();
        for &[r, z] in profile {
            for k in 0..around {
                let a = std::f64::consts::TAU * f64::from(k) / f64::from(around);
                vertices.push(Point::new(r * crate::space::cos(a), r * crate::space::sin(a), z));
            }
        }
        let rows = profile.len() as u32;
        let mut faces = Vec::new();
        for row in 0..rows - 1 {
            for k in 0..around {
                let (a, b) = (row * around + k, row * around + (k + 1) % around);
                faces.extend([[a, b, b + around], [a, b + around, a + around]]);
            }
        }
        for (row, turn) in [(0, true), (rows - 1, false)] {
            let middle = vertices.len() as u32;
            vertices.push(Point::new(0.0, 0.0, profile[row as usize][1]));
            for k in 0..around {
                let (a, b) = (row * around + k, row * around + (k + 1) % around);
                faces.push(if turn { [a, middle, b] } else { [a, b, middle] });
            }
        }
        Mesh::new(vertices, faces).unwrap()
    }

    /// A post of radius 3 with a collar of radius `collar` between the heights 4 and 6.
    fn post(collar: f64) -> Mesh {
        let mut profile = vec![[3.0, 0.0]];
        let fine = |from: [f64; 2], to: [f64; 2]| {
            (1..=10).map(move |k| {
                let s = f64::from(k) / 10.0;
                [from[0] + (to[0] - from[0]) * s, from[1] + (to[1] - from[1]) * s]
            })
        };
        for (a, b) in [
            ([3.0, 0.0], [3.0, 4.0]),
            ([3.0, 4.0], [collar, 4.5]),
            ([collar, 4.5], [collar, 5.5]),
            ([collar, 5.5], [3.0, 6.0]),
            ([3.0, 6.0], [3.0, 8.0]),
        ] {
            profile.extend(fine(a, b));
        }
        turned(&profile, 90)
    }

    fn with<T>(mesh: &Mesh, ask: impl Fn(&Cast<'_>) -> T) -> T {
        let surface = Surface::new(mesh);
        let normals = mesh.vertex_normals();
        let anatomy = Anatomy::bare(Err(NotMeasured::only("none")), mesh.vertices().len());
        ask(&Cast { surface: &surface, normals, anatomy: &anatomy })
    }

    /// A block that stands beside the post: its near side at x = 3.1, from height 1 to 3.
    fn beside() -> Framework {
        Framework::new(&fine_box([3.1, -1.0, 1.0], [5.0, 1.0, 3.0], 0.25))
    }

    #[test]
    fn what_stands_free_of_the_post_strikes_nothing() {
        let block = beside();
        let all: Vec<u32> = (0..block.mesh().vertices().len() as u32).collect();
        with(&post(3.0), |cast| assert!(struck(&block, cast, &up(), &all).is_empty()));
    }

    #[test]
    fn what_has_to_pass_a_collar_strikes_it_by_its_width() {
        let block = beside();
        let all: Vec<u32> = (0..block.mesh().vertices().len() as u32).collect();
        with(&post(3.5), |cast| {
            let struck = struck(&block, cast, &up(), &all);
            let strikes = strikes(&block, &up(), &struck, 0.02);
            assert_eq!(strikes.len(), 1);
            let strike = strikes[0];
            // The collar stands 0.4 mm out over the block's near side.
            assert!((strike.by_mm - 0.4).abs() < 0.01, "{strike:?}");
            // The block's lower edge, at height 1, has passed the collar's full width (5.5) when lifted by 4.5; its upper
            // edge, at height 3, reaches the full width (4.5) when lifted by 1.5.
            assert!((1.4..=4.6).contains(&strike.lift_mm), "{strike:?}");
            assert!((4.4..5.1).contains(&strike.from_mm), "{strike:?}");
        });
    }

    #[test]
    fn another_path_passes_what_the_given_one_strikes() {
        let block = beside();
        let all: Vec<u32> = (0..block.mesh().vertices().len() as u32).collect();
        with(&post(3.5), |cast| {
            let paths = paths(&block, cast, &up(), &all, 15.0);
            assert!((paths[0].by_mm - 0.4).abs() < 0.02 && paths[0].from_case_deg == 0.0);
            let best = paths.iter().min_by(|a, b| a.by_mm.total_cmp(&b.by_mm)).unwrap();
            // Away from the post, toward +x.
            assert!(best.by_mm < 0.01 && best.direction.x > 0.1, "{best:?}");
        });
    }

    #[test]
    fn play_is_what_the_gap_allows() {
        // A plate of 8 mm, 0.1 mm over a block, turned about an axis through its middle: its edge, 4 mm out, touches at
        // asin(0.1 / 4) and is let 0.02 mm deep: asin(0.12 / 4) = 1.72 degrees.
        let ground = fine_box([-8.0, -8.0, -4.0], [8.0, 8.0, 0.0], 1.0);
        let plate = Framework::new(&fine_box([-4.0, -4.0, 0.1], [4.0, 4.0, 1.1], 0.5));
        let all: Vec<u32> = (0..plate.mesh().vertices().len() as u32).collect();
        with(&ground, |cast| {
            let axis = Direction::new_normalize(Vector::y());
            let point = Point::new(0.0, 0.0, 0.1);
            let play = play_deg(&plate, cast, (&up(), 0.0), (&axis, &point), &all, 0.02);
            let truth = crate::space::asin(0.12 / 4.0).to_degrees();
            assert!(play.iter().all(|p| (p - truth).abs() < 0.02), "{play:?}, {truth}");
        });
    }
}
