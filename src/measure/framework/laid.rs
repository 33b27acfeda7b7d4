//! Quantity: whether a framework lies in place on its cast, and the motion that brings it there.
//!
//! Definition: rests, plates and clasp tips of a framework in place touch the cast, and nothing of it lies deep inside.
//! *Touching* are places of the fitting surface within 0.1 mm of the cast, *deep* those more than 0.1 mm inside. The
//! position is that with the most touching places, less twice the deep ones. A framework stands as given unless a
//! registration finds a quarter more.
//!
//! Frame and units: the motion takes positions of the framework's file to the cast's axes, mm.
//!
//! Method and its error: the fitting surface is laid onto the cast by closest points (`registration`), first from where the
//! file has it, then from places where both surfaces are alike; each time within an ever smaller reach, so that what touches
//! prevails over what stands off by its relief. The residual is that of the touching places. The standard uncertainty is the
//! greatest at the corners of the framework's box: that of the registration (`registration`), and the gap at which it was
//! made to lie, which is not known, for which half the touching distance stands.
//!
//! Not covered: a framework without parts that touch (relief everywhere) has no place of its own; one that fits a cast in
//! two ways.
//!
//! Checked by: a saddle of waves moved by known motions, below; `tests/framework.rs`.

use super::{Cast, Framework};
use crate::estimate::{Measured, NotMeasured};
use crate::measure::registration::{self, Agreement, Asked, Place, Registered, Rough, Target};
use crate::mesh::Mesh;
use crate::space::{Motion, Vector};
use crate::units::{self, Unit};

/// Distance within which a place touches, mm.
pub const TOUCHING_MM: f64 = 0.1;
/// Depth from which a place is deep inside, mm.
const DEEP_MM: f64 = 0.1;
/// What a deep place takes away from a touching one.
const DEEP_TIMES: f64 = 2.0;
/// How much better a registration must be than what the file says.
const BETTER: f64 = 1.25;
/// Least share of the sampled places that touch, and most that are deep, for a framework in place.
const LEAST_TOUCHING: f64 = 0.02;
const MOST_DEEP: f64 = 0.12;
/// Reaches of the rounds, mm.
const REACHES_MM: [f64; 10] = [2.0, 1.0, 0.5, 0.25, 0.15, 0.1, 0.1, 0.1, 0.1, 0.1];
/// Places that are looked at.
const SAMPLE: usize = 3000;
/// Starts by likeness that are tried.
const STARTS: usize = 6;

/// How a framework came to lie where it is measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LaidBy {
    /// The file has it in the cast's axes.
    File,
    /// Laid onto the cast.
    Registration,
}

/// A framework in place.
#[derive(Clone, Debug)]
pub struct Laid {
    /// Who says so.
    pub by: LaidBy,
    /// From the file's axes to the cast's.
    pub motion: Motion,
    /// Median distance of the touching places, mm.
    pub residual_mm: f64,
    /// Standard uncertainty of the position, mm.
    pub uncertainty_mm: f64,
    /// Share of the sampled places that touch.
    pub touching_share: f64,
    /// Share of them that lie deep inside the cast.
    pub deep_share: f64,
}

/// How a position does.
#[derive(Clone, Debug)]
struct Score {
    touching: Vec<f64>,
    deep: usize,
    of: usize,
    /// Standard uncertainty of the motion at the worst corner, mm.
    off_mm: f64,
}

impl Score {
    fn of(cast: &Cast<'_>, places: &[Place], motion: &Motion) -> Score {
        let (mut touching, mut deep) = (Vec::new(), 0);
        for place in places {
            let p = motion * place.at;
            let normal = -(motion.rotation * place.normal);
            let Some(closest) = cast.surface.closest_within(&p, 8.0) else { continue };
            let Some(near) = cast.of(&p, &normal, closest) else { continue };
            if near.fitting && near.signed_mm.abs() <= TOUCHING_MM {
                touching.push(near.signed_mm);
            } else if near.signed_mm < -DEEP_MM {
                deep += 1;
            }
        }
        Score { touching, deep, of: places.len(), off_mm: 0.0 }
    }

    fn points(&self) -> f64 {
        self.touching.len() as f64 - DEEP_TIMES * self.deep as f64
    }

    fn in_place(&self) -> bool {
        let share = |n: usize| n as f64 / self.of.max(1) as f64;
        share(self.touching.len()) >= LEAST_TOUCHING && share(self.deep) <= MOST_DEEP
    }

    fn laid(&self, by: LaidBy, motion: Motion) -> Laid {
        let share = |n: usize| n as f64 / self.of.max(1) as f64;
        Laid {
            by,
            motion,
            residual_mm: super::median(self.touching.iter().map(|t| t.abs()).collect()).unwrap_or(0.0),
            uncertainty_mm: self.off_mm,
            touching_share: share(self.touching.len()),
            deep_share: share(self.deep),
        }
    }
}

/// Median distance of the framework's places from a cast, mm, as the files have them; `None` without triangles.
pub fn apart_mm(framework: &Framework, cast: &Cast<'_>) -> Option<f64> {
    let places = framework.mesh().vertices();
    let every = places.len().div_ceil(SAMPLE).max(1);
    let of = places.iter().step_by(every).filter_map(|p| Some(cast.surface.closest(p)?.distance_mm));
    super::median(of.collect())
}

/// Finds where a framework lies on a cast.
///
/// # Errors
/// Where no position was found in which it touches the cast without lying deep inside.
pub fn lay(framework: &Framework, cast: &Cast<'_>) -> Measured<Laid> {
    let mesh = framework.mesh();
    let inward: Vec<Vector> = framework.normals.iter().map(|n| -n).collect();
    let all: Vec<u32> = (0..mesh.vertices().len() as u32).collect();
    let places = registration::places(mesh, &inward, &all, SAMPLE);
    let given = Score::of(cast, &places, &Motion::identity());
    let target = Target::new(cast.surface);
    let mut best: Option<(Score, Motion)> = None;
    let mut keep = |found: Option<(Score, Motion)>| {
        if let Some(found) = found
            && best.as_ref().is_none_or(|b| found.0.points() > b.0.points())
        {
            best = Some(found);
        }
    };
    keep(refined(cast, &places, &target, &Rough::within(Motion::identity(), REACHES_MM[0])));
    if !given.in_place() && !best.as_ref().is_some_and(|b| b.0.in_place()) {
        let mut keep = |found: Option<(Score, Motion)>| {
            if let Some(found) = found
                && best.as_ref().is_none_or(|b| found.0.points() > b.0.points())
            {
                best = Some(found);
            }
        };
        for start in alike(mesh, &target).iter().take(STARTS) {
            keep(refined(cast, &places, &target, start));
        }
    }
    match best {
        Some((score, motion))
            if score.in_place()
                && (!given.in_place() || score.points() > BETTER * given.points().max(0.0)) =>
        {
            Ok(score.laid(LaidBy::Registration, motion))
        }
        _ if given.in_place() => Ok(given.laid(LaidBy::File, Motion::identity())),
        best => {
            let share = |score: &Score| {
                units::show(100.0 * score.touching.len() as f64 / score.of.max(1) as f64, Unit::Count)
            };
            let reached = best.map_or_else(|| share(&given), |b| share(&b.0));
            Err(NotMeasured::new(
                format!(
                    "no position was found in which it touches the cast and lies nowhere deep inside it (in the best one {reached} \
                     of 100 places touch)"
                ),
                "the framework exported in the axes of the cast, in the same unit, and the right case",
            ))
        }
    }
}

/// Starts by places where the framework's inner side is like the cast.
fn alike(mesh: &Mesh, target: &Target<'_>) -> Vec<Rough> {
    registration::coarse(&mesh.turned_over(), target)
}

/// Standard uncertainty of a registration at the corner of the box of its places where it is greatest, mm.
fn worst_mm(found: &Registered, places: &[Place]) -> f64 {
    let Some(first) = places.first().map(|p| found.motion * p.at) else { return 0.0 };
    let (low, high) = places.iter().fold((first, first), |(l, h), p| {
        let at = found.motion * p.at;
        (l.inf(&at), h.sup(&at))
    });
    let corner = |k: usize| {
        let pick = |axis: usize| if k >> axis & 1 == 0 { low[axis] } else { high[axis] };
        crate::space::Point::new(pick(0), pick(1), pick(2))
    };
    (0..8).map(|k| found.uncertainty_mm(&corner(k))).fold(0.0, f64::max)
}

fn refined(cast: &Cast<'_>, places: &[Place], target: &Target<'_>, start: &Rough) -> Option<(Score, Motion)> {
    let agreement = Agreement { within_mm: TOUCHING_MM, least_share: 0.0, least_of_all_share: 0.0 };
    let mut motion = start.motion;
    let mut best: Option<(Score, Motion)> = None;
    let first = start.off_mm.max(REACHES_MM[0]);
    for reach_mm in std::iter::once(first).chain(REACHES_MM.into_iter().skip(1)) {
        let near: Vec<Place> = places
            .iter()
            .filter(|p| cast.surface.closest_within(&(motion * p.at), reach_mm).is_some())
            .copied()
            .collect();
        let asked = Asked { places: &near, fixed: target, start: motion, reach_mm, agreement };
        let Ok(found) = registration::register(&asked) else { break };
        motion = found.motion;
        let mut score = Score::of(cast, places, &motion);
        score.off_mm = crate::space::hypot(worst_mm(&found, places), TOUCHING_MM / 2.0);
        if best.as_ref().is_none_or(|b| score.points() >= b.0.points()) {
            best = Some((score, motion));
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::super::tests::fine_box;
    use super::*;
    use crate::anatomy::Anatomy;
    use crate::locate::Surface;
    use crate::space::{Point, cos, sin};

    /// A block with a waved upper side.
    fn wavy(low: [f64; 3], high: [f64; 3], top: impl Fn(f64, f64) -> f64) -> Mesh {
        let flat = fine_box(low, high, 0.9);
        let out = |p: &Point| {
            let share = (p.z - low[2]) / (high[2] - low[2]);
            Point::new(p.x, p.y, p.z + share * top(p.x, p.y))
        };
        Mesh::new(flat.vertices().iter().map(out).collect(), flat.faces().to_vec()).unwrap()
    }

    fn hills(x: f64, y: f64) -> f64 {
        1.5 * sin(0.45 * x) * cos(0.3 * y) + 0.8 * cos(0.23 * x + 0.5 * y)
    }

    /// A plate that lies on the waves between 4 and 24 mm, 1.2 mm thick.
    fn plate() -> Mesh {
        let flat = fine_box([4.0, 4.0, 0.0], [24.0, 16.0, 1.2], 0.7);
        let out = |p: &Point| Point::new(p.x, p.y, p.z + hills(p.x, p.y));
        Mesh::new(flat.vertices().iter().map(out).collect(), flat.faces().to_vec()).unwrap()
    }

    fn laid(moved: &Motion) -> Measured<Laid> {
        let ground = wavy([0.0, 0.0, -6.0], [30.0, 20.0, 0.0], hills);
        let surface = Surface::new(&ground);
        let normals = ground.vertex_normals();
        let anatomy = Anatomy::bare(Err(NotMeasured::only("none")), ground.vertices().len());
        let cast = Cast { surface: &surface, normals: &normals, anatomy: &anatomy };
        lay(&Framework::new(&plate().moved(moved)), &cast)
    }

    #[test]
    fn a_plate_in_place_stays_where_the_file_has_it() {
        let laid = laid(&Motion::identity()).unwrap();
        assert_eq!((laid.by, laid.motion), (LaidBy::File, Motion::identity()));
        assert!(laid.residual_mm < 0.05, "{laid:?}");
    }

    #[test]
    fn a_plate_a_little_out_of_place_is_brought_back() {
        let off = Motion::new(Vector::new(0.6, -0.4, 0.5), Vector::new(0.02, -0.01, 0.02));
        let laid = laid(&off).unwrap();
        assert_eq!(laid.by, LaidBy::Registration);
        let back = laid.motion * off;
        for p in [Point::new(4.0, 4.0, 0.0), Point::new(24.0, 16.0, 0.0), Point::new(4.0, 16.0, 0.0)] {
            assert!((back * p - p).norm() < 0.08, "{}", (back * p - p).norm());
        }
    }

    #[test]
    fn a_plate_far_away_on_nothing_alike_has_no_place() {
        let block = fine_box([0.0, 0.0, -6.0], [30.0, 20.0, 0.0], 1.0);
        let surface = Surface::new(&block);
        let normals = block.vertex_normals();
        let anatomy = Anatomy::bare(Err(NotMeasured::only("none")), block.vertices().len());
        let cast = Cast { surface: &surface, normals: &normals, anatomy: &anatomy };
        let away = Framework::new(&plate().moved(&Motion::translation(300.0, 0.0, 40.0)));
        let reason = lay(&away, &cast).unwrap_err();
        assert!(reason.because.contains("no position"), "{}", reason.because);
    }
}
