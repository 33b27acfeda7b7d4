//! Quantity: how far a tooth has moved and tilted between two scans of one arch, and on which teeth the scans are laid
//! onto each other.
//!
//! Definition: the crown's surface in the older scan is registered by itself onto the newer scan; its own motion after the
//! motion of the arch, taken at the crown's middle, is how far it moved (mm), and the angle between its axis before and
//! after how far it tilted (degrees). The motion of the arch is that on which most teeth agree: all that stand in both
//! scans are taken, then the one that has moved most beyond twice its uncertainty is left out, until none has or half
//! are left.
//!
//! Frame and units: from the older file's axes to the newer's, mm, degrees.
//!
//! Method and its error: point to plane, robust ([`registration`]). Uncertainty of a tooth's place: the trueness of both
//! scans, that of its own registration and of the arch's there; of its tilt, the same over half the crown's extent.
//!
//! Not covered: a movement that all teeth have in common (it is no movement but another position of the scan); movement of
//! half of the teeth or more against the others, which leaves open which of them moved; turns about a tooth's own axis,
//! which are not told apart from the tilt.
//!
//! Checked by: hills as teeth on a plane below, one moved, one removed; `examples/accept_compare.rs`.

use super::registration::{self, Agreement, Asked, Place, Registered, Target};
use crate::case::Tooth;
use crate::estimate::{Measured, NotMeasured};
use crate::space::{Motion, Point, Vector, angle_deg, direction};
use crate::units;

/// How far a tooth is followed from where the arch puts it, mm.
const FOLLOWED_MM: f64 = 2.5;
/// Share of a crown's surface that must find its like for the tooth to stand in the newer scan.
const STANDS_SHARE: f64 = 0.55;
/// Share of a crown's surface that the newer scan must hold at all.
const HELD_SHARE: f64 = 0.4;
/// Median distance from which nothing of a crown is there any more, mm.
const GONE_MM: f64 = 0.8;
/// The ridge of a tooth that is gone lies no farther below its crown's places than this, mm.
const BELOW_MM: f64 = 15.0;
/// Fewest teeth that carry a registration.
const FEWEST: usize = 2;
/// Places of all crowns together.
pub const MOST_PLACES: usize = 9000;

/// A crown of the older scan.
#[derive(Clone, Debug)]
pub struct CrownPlaces {
    /// Its number.
    pub tooth: Tooth,
    /// Places on it.
    pub places: Vec<Place>,
    /// Its middle, mm.
    pub centre: Point,
    /// Half its extent, mm.
    pub half_mm: f64,
}

/// What became of a tooth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fate {
    /// Stands where it stood; the registration rests on it.
    Stayed,
    /// Stands, but not where it stood.
    Moved,
    /// Something stands there with another surface: restored, worn or broken.
    Reshaped,
    /// Nothing of it is there.
    Gone,
    /// The newer scan does not reach there.
    NotScanned,
}

/// A tooth in both scans.
#[derive(Clone, Debug, PartialEq)]
pub struct ToothMoved {
    /// Its number.
    pub tooth: Tooth,
    /// What became of it.
    pub fate: Fate,
    /// How far its middle moved, mm, and in which way in the older file's axes; where it stands in both.
    pub moved: Option<(f64, Vector)>,
    /// Standard uncertainty of that, mm.
    pub uncertainty_mm: f64,
    /// How far its axis tilted, degrees; where it stands in both.
    pub tilted_deg: Option<f64>,
    /// Standard uncertainty of that, degrees.
    pub uncertainty_deg: f64,
    /// Median distance of its surface from the newer scan after its own registration (where it has none, after that of
    /// the arch), mm.
    pub median_mm: f64,
    /// The crown's middle in the older file, mm.
    pub centre: Point,
}

/// What is asked.
#[derive(Clone, Copy, Debug)]
pub struct Teeth<'a> {
    /// Crowns of the older scan.
    pub crowns: &'a [CrownPlaces],
    /// The newer scan.
    pub newer: &'a Target<'a>,
    /// A motion from older to newer that is right within a millimetre.
    pub start: Motion,
    /// Axis of the teeth in the older file: the occlusal direction.
    pub axis: Vector,
    /// When surfaces are alike.
    pub agreement: Agreement,
    /// Standard uncertainty of a place in one scan, mm.
    pub scan_mm: f64,
}

/// The registration on the teeth that stayed, and what became of each.
#[derive(Clone, Debug)]
pub struct OnTeeth {
    /// Older to newer.
    pub registered: Registered,
    /// Each tooth, in the order given.
    pub teeth: Vec<ToothMoved>,
}

/// A tooth's own registration.
struct Own {
    registered: Option<Registered>,
    fate: Fate,
    median_mm: f64,
}

/// Lays two scans onto each other on the teeth that stayed.
///
/// # Errors
/// Where fewer than two teeth stand in both.
pub fn on_teeth(asked: &Teeth<'_>) -> Measured<OnTeeth> {
    let mut start = asked.start;
    let mut own: Vec<Own> = asked.crowns.iter().map(|c| own(asked, c, &start)).collect();
    let standing =
        |own: &[Own]| -> Vec<usize> { (0..own.len()).filter(|&i| own[i].registered.is_some()).collect() };
    let mut used = standing(&own);
    if used.len() >= FEWEST
        && let Ok(better) = pooled(asked, &used, start)
    {
        // From the teeth themselves each is followed once more: the first start rests on tissue too.
        start = better.motion;
        own = asked.crowns.iter().map(|c| self::own(asked, c, &start)).collect();
        used = standing(&own);
    }
    let fewest = used.len().div_ceil(2).max(FEWEST);
    loop {
        if used.len() < FEWEST {
            return Err(none_in_common(asked, &own));
        }
        let registered = pooled(asked, &used, start)?;
        let worst = used
            .iter()
            .map(|&i| (i, measured(asked, i, &own[i], &registered)))
            .filter_map(|(i, t)| beyond(&t).map(|b| (i, b)))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        match worst {
            Some((i, share)) if share > 1.0 && used.len() > fewest => used.retain(|&k| k != i),
            _ => {
                let teeth = (0..own.len()).map(|i| told(asked, i, &own[i], &registered)).collect();
                return Ok(OnTeeth { registered, teeth });
            }
        }
    }
}

/// How far a tooth lies beyond twice its uncertainty: over 1 it has moved or tilted.
fn beyond(t: &ToothMoved) -> Option<f64> {
    let moved = t.moved.as_ref()?.0 / (2.0 * t.uncertainty_mm).max(1e-9);
    let tilted = t.tilted_deg? / (2.0 * t.uncertainty_deg).max(1e-9);
    Some(moved.max(tilted))
}

fn told(asked: &Teeth<'_>, i: usize, own: &Own, arch: &Registered) -> ToothMoved {
    let mut t = measured(asked, i, own, arch);
    if own.registered.is_some() && beyond(&t).is_some_and(|b| b > 1.0) {
        t.fate = Fate::Moved;
    }
    t
}

fn none_in_common(asked: &Teeth<'_>, own: &[Own]) -> NotMeasured {
    let mut medians: Vec<f64> = own.iter().map(|o| o.median_mm).collect();
    medians.sort_by(f64::total_cmp);
    let residual = medians.get(medians.len() / 2).map_or_else(String::new, |m| {
        format!("; the median distance of the older crowns from the newer scan is {}", units::mm(*m))
    });
    let stand = own.iter().filter(|o| o.registered.is_some()).count();
    NotMeasured::new(
        format!(
            "they do not match: of {} crowns of the older scan {stand} stand in the newer one with the same surface, and at \
             least {FEWEST} are needed{residual}",
            asked.crowns.len()
        ),
        "two scans of the same arch of the same person with teeth in common, or margins of those teeth in [marks]",
    )
}

/// Registration on some of the teeth together.
fn pooled(asked: &Teeth<'_>, used: &[usize], start: Motion) -> Measured<Registered> {
    let places: Vec<Place> = used.iter().flat_map(|&i| asked.crowns[i].places.iter().copied()).collect();
    let agreement = Agreement { least_of_all_share: 0.0, ..asked.agreement };
    registration::register(&Asked { places: &places, fixed: asked.newer, start, reach_mm: 1.0, agreement })
}

/// A tooth followed by itself.
fn own(asked: &Teeth<'_>, crown: &CrownPlaces, start: &Motion) -> Own {
    let any = Agreement { within_mm: asked.agreement.within_mm, least_share: 0.0, least_of_all_share: 0.0 };
    let from = |reach_mm| {
        registration::register(&Asked {
            places: &crown.places,
            fixed: asked.newer,
            start: *start,
            reach_mm,
            agreement: any,
        })
        .ok()
    };
    // A narrow look first: a wide one may take hold of the neighbour.
    let narrow = from(1.0);
    let good = |r: &Registered| r.agreeing_share >= STANDS_SHARE;
    let found = match narrow {
        Some(r) if good(&r) => Some(r),
        other => from(FOLLOWED_MM).filter(|r| good(r) || other.is_none()).or(other),
    };
    let all = crown.places.len().max(1) as f64;
    // Where it would stand had it stayed: its own registration would lay it onto anything near.
    let mut here = registration::residuals_mm(&crown.places, asked.newer, start);
    let held = here.len() as f64 >= HELD_SHARE * all;
    here.sort_by(f64::total_cmp);
    let off_mm = here.get(here.len() / 2).copied().unwrap_or(FOLLOWED_MM);
    let found = match found {
        Some(found) if held && good(&found) => {
            return Own { fate: Fate::Stayed, median_mm: found.median_mm, registered: Some(found) };
        }
        other => other,
    };
    let median_mm = found.map_or(off_mm, |f| f.median_mm);
    // Where a tooth is gone the newer scan holds what is left below it.
    let fate = if !held || (off_mm > GONE_MM && below_share(asked, crown, start) < HELD_SHARE) {
        Fate::NotScanned
    } else if off_mm > GONE_MM {
        Fate::Gone
    } else {
        Fate::Reshaped
    };
    Own { registered: None, fate, median_mm: if fate == Fate::Gone { off_mm } else { median_mm } }
}

/// Share of a crown's places below which, along the tooth's axis, the newer scan holds a surface.
fn below_share(asked: &Teeth<'_>, crown: &CrownPlaces, start: &Motion) -> f64 {
    let Some(down) = direction(-(start.rotation * asked.axis)) else { return 1.0 };
    let below = |p: &&Place| {
        let above = start * p.at - down.into_inner() * FOLLOWED_MM;
        asked.newer.surface.cast(&above, &down, FOLLOWED_MM + BELOW_MM).is_some()
    };
    crown.places.iter().filter(below).count() as f64 / crown.places.len().max(1) as f64
}

/// How far a tooth has moved against the arch.
fn measured(asked: &Teeth<'_>, i: usize, own: &Own, arch: &Registered) -> ToothMoved {
    let crown = &asked.crowns[i];
    let mut t = ToothMoved {
        tooth: crown.tooth,
        fate: own.fate,
        moved: None,
        uncertainty_mm: 0.0,
        tilted_deg: None,
        uncertainty_deg: 0.0,
        median_mm: own.median_mm,
        centre: crown.centre,
    };
    let Some(found) = &own.registered else { return t };
    let relative = arch.motion.inverse() * found.motion;
    let there = arch.motion * crown.centre;
    let way = relative * crown.centre - crown.centre;
    t.moved = Some((way.norm(), way));
    t.tilted_deg = Some(angle_deg(&asked.axis, &(relative.rotation * asked.axis)));
    let (a, b) = (found.uncertainty_mm(&there), arch.uncertainty_mm(&there));
    let place = (2.0 * asked.scan_mm * asked.scan_mm + a * a + b * b).sqrt();
    t.uncertainty_mm = place;
    t.uncertainty_deg = (place / crown.half_mm.max(1.0)).to_degrees();
    t
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::locate::Surface;
    use crate::measure::shapes::sheet;
    use crate::mesh::Mesh;
    use crate::space::{exp, hypot};

    const PLACES: [(u8, f64, f64); 5] =
        [(44, -16.0, -6.0), (43, -9.0, 4.0), (31, 0.0, 9.0), (33, 9.0, 4.0), (34, 16.0, -6.0)];

    /// Hills of uneven form as teeth; `shift` moves the hill of a tooth, `None` takes it away.
    fn arch(edge: f64, shift: &dyn Fn(u8) -> Option<[f64; 2]>) -> Mesh {
        sheet(48.0, edge, true, |x, y| {
            PLACES
                .iter()
                .filter_map(|(n, a, b)| {
                    let [dx, dy] = shift(*n)?;
                    let (u, v) = (x - a - dx, y - b - dy);
                    let r = hypot(u, 1.3 * v + 0.2 * u) / 3.2;
                    Some(6.0 * exp(-r * r * r * r) * (1.0 + 0.08 * u - 0.05 * v * v))
                })
                .sum()
        })
    }

    fn crowns(mesh: &Mesh) -> Vec<CrownPlaces> {
        let normals = mesh.vertex_normals();
        PLACES
            .iter()
            .map(|(n, a, b)| {
                let of: Vec<u32> = (0..mesh.vertices().len() as u32)
                    .filter(|&v| {
                        let p = mesh.vertex(v);
                        hypot(p.x - a, p.y - b) < 3.4 && p.z > 0.8
                    })
                    .collect();
                CrownPlaces {
                    tooth: Tooth::fdi(*n).unwrap(),
                    places: registration::places(mesh, normals, &of, 900),
                    centre: Point::new(*a, *b, 3.5),
                    half_mm: 3.0,
                }
            })
            .collect()
    }

    fn compared(new: &Mesh) -> Measured<OnTeeth> {
        let old = arch(0.4, &|_| Some([0.0, 0.0]));
        let surface = Surface::new(new);
        let target = Target::new(&surface);
        on_teeth(&Teeth {
            crowns: &crowns(&old),
            newer: &target,
            start: Motion::translation(0.2, -0.1, 0.1),
            axis: Vector::z(),
            agreement: Agreement { within_mm: 0.25, least_share: 0.42, least_of_all_share: 0.1 },
            scan_mm: 0.06,
        })
    }

    #[test]
    fn a_tooth_that_moved_is_named_and_does_not_carry_the_registration() {
        let new = arch(0.37, &|n| Some(if n == 33 { [0.6, 0.3] } else { [0.0, 0.0] }));
        let found = compared(&new).unwrap();
        for t in &found.teeth {
            let (moved, _) = t.moved.unwrap();
            if t.tooth.number() == 33 {
                assert_eq!(t.fate, Fate::Moved);
                assert!((moved - hypot(0.6, 0.3)).abs() < 0.03, "{moved}");
            } else {
                assert_eq!(t.fate, Fate::Stayed, "{t:?}");
                assert!(moved < 0.03, "{t:?}");
            }
        }
        // 20 mm off the row: the same motion as if no tooth had moved, and none but for the chords of edges of 0.4 mm on
        // shoulders of 1 mm radius (0.02 mm), twice at that arm.
        let p = Point::new(10.0, -20.0, 0.0);
        let unmoved = compared(&arch(0.37, &|_| Some([0.0, 0.0]))).unwrap();
        let there = found.registered.motion * p;
        let apart = (there - unmoved.registered.motion * p).norm();
        assert!(apart < 0.01, "{apart}");
        assert!((there - p).norm() < 0.04, "{}", (there - p).norm());
    }

    #[test]
    fn a_tooth_that_is_gone_is_told_and_too_few_are_refused_with_the_residual() {
        let new = arch(0.37, &|n| (n != 31).then_some([0.0, 0.0]));
        let found = compared(&new).unwrap();
        let fates: Vec<Fate> = found.teeth.iter().map(|t| t.fate).collect();
        assert_eq!(fates, [Fate::Stayed, Fate::Stayed, Fate::Gone, Fate::Stayed, Fate::Stayed]);
        // Cut off raggedly in front of the last tooth: that is not gone, it was not scanned.
        let whole = arch(0.37, &|_| Some([0.0, 0.0]));
        let kept = whole.part(|f| whole.face_centre(f).x + 0.3 * f64::from(f % 3) < 12.6).0;
        let fates: Vec<Fate> = compared(&kept).unwrap().teeth.iter().map(|t| t.fate).collect();
        assert_eq!(fates[..4], [Fate::Stayed; 4]);
        assert_eq!(fates[4], Fate::NotScanned, "the hill of its neighbour stands nearest to it");
        let bare = arch(0.5, &|n| (n == 43).then_some([0.0, 0.0]));
        let reason = compared(&bare).unwrap_err();
        assert!(reason.because.contains("do not match") && reason.because.contains(" mm"), "{reason:?}");
    }
}
