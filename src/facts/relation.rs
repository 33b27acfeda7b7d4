//! The relation in which the arches are measured: as scanned, moved as the case says, or brought together by a scan of the
//! bite.

use crate::case::{Arch, Case, Scan};
use crate::estimate::{Measured, NotMeasured};
use crate::locate::Surface;
use crate::measure::registration::{self, Agreement, Asked, Registered, Target};
use crate::mesh::Mesh;
use crate::space::{Direction, Motion, Point, hypot};
use crate::units;

/// Places read on the scan of the bite.
const PLACES: usize = 4000;
/// How far the scan of the bite may be off where it was exported in the axes of an arch, mm.
const REACH_MM: f64 = 2.0;
/// When the scan of a bite, which shows both arches from the side, agrees with one of them: a part of it within a fifth of
/// a millimetre, the rest on the other arch.
const AGREEMENT: Agreement = Agreement { within_mm: 0.2, least_share: 0.2, least_of_all_share: 0.12 };

/// Who says how the arches stand to each other.
#[derive(Clone, Debug)]
pub enum Relation {
    /// As the files hold them.
    AsScanned,
    /// The case file gives the opposing arch's motion.
    Given(Motion),
    /// A scan of the bite.
    Bite(Box<ByBite>),
}

/// The arches brought together by a scan of the bite.
#[derive(Clone, Debug)]
pub struct ByBite {
    /// The opposing arch from its file into its relation to the restored one.
    pub motion: Motion,
    /// The bite laid onto the restored arch and onto the opposing one.
    pub laid: [Registered; 2],
}

impl Relation {
    /// The motion of the opposing arch, where there is one.
    pub fn motion(&self) -> Option<&Motion> {
        match self {
            Relation::AsScanned => None,
            Relation::Given(motion) => Some(motion),
            Relation::Bite(by) => Some(&by.motion),
        }
    }

    /// Standard uncertainty that the registration adds at a place along a direction, mm.
    pub fn uncertainty_mm(&self, at: &Point, along: &Direction) -> f64 {
        let Relation::Bite(by) = self else { return 0.0 };
        let [restored, opposing] = &by.laid;
        // The opposing registration tells of places in the opposing file's own axes.
        let back = by.motion.inverse();
        let there = back * at;
        let way = back.rotation * along.into_inner();
        hypot(restored.uncertainty_along_mm(at, along), opposing.uncertainty_along_mm(&there, &way))
    }
}

/// Finds the relation of a case.
///
/// # Errors
/// The scan of the bite could not be laid onto an arch.
pub(super) fn of(case: &Case) -> Measured<Relation> {
    if let Some(motion) = case.file.relation.opposing_motion {
        return Ok(Relation::Given(motion));
    }
    let restored = case.scan(case.file.restored);
    let opposing = case.scan(case.file.restored.opposing());
    let (Some(bite), Some(restored), Some(opposing)) = (&case.bite, restored, opposing) else {
        return Ok(Relation::AsScanned);
    };
    let opposing_arch = case.file.restored.opposing();
    let (on_restored, on_opposing) =
        rayon::join(|| lay(bite, restored, case.file.restored), || lay(bite, opposing, opposing_arch));
    let (on_restored, on_opposing) = (on_restored?, on_opposing?);
    if let Some(reason) = one_arch_only(bite, [(restored, &on_restored), (opposing, &on_opposing)]) {
        return Err(reason);
    }
    let motion = on_restored.motion * on_opposing.motion.inverse();
    Ok(Relation::Bite(Box::new(ByBite { motion, laid: [on_restored, on_opposing] })))
}

/// A bite that shows both arches lies on the one with some of its places and on the other with others. Where most of those
/// on the arch that it fits less lie on the other one too, it shows one arch, and was laid on the second by chance.
fn one_arch_only(bite: &Scan, laid: [(&Scan, &Registered); 2]) -> Option<NotMeasured> {
    let mesh = &bite.import.mesh;
    let every = (mesh.vertices().len() / PLACES).max(1);
    let lies_on = laid.map(|(arch, by)| {
        let surface = Surface::new(&arch.import.mesh);
        let on = |p: &Point| surface.closest_within(&(by.motion * p), AGREEMENT.within_mm).is_some();
        mesh.vertices().iter().step_by(every).map(on).collect::<Vec<bool>>()
    });
    let [first, second] = &lies_on;
    shows_one(first, second).then(|| {
        NotMeasured::new(
            "the scan of the bite shows one arch only: what lies on the one arch lies on the other too",
            FOUR_TEETH,
        )
    })
}

/// Whether most of the places on the arch that has fewer of them lie on the other one too.
fn shows_one(on_first: &[bool], on_second: &[bool]) -> bool {
    let count = |on: &[bool]| on.iter().filter(|&&on| on).count();
    let both = on_first.iter().zip(on_second).filter(|&(&a, &b)| a && b).count();
    2 * both > count(on_first).min(count(on_second))
}

/// What settles a bite that cannot be laid.
const FOUR_TEETH: &str = "a bite scan that shows at least four teeth of each arch from the side, or [articulation] opposing_motion";

/// Greatest extent along an axis, mm.
fn extent_mm(mesh: &Mesh) -> f64 {
    mesh.bounds().map_or(0.0, |(low, high)| (high - low).amax())
}

/// Lays the scan of the bite onto an arch.
fn lay(bite: &Scan, arch: &Scan, which: Arch) -> Measured<Registered> {
    let mesh: &Mesh = &bite.import.mesh;
    let normals = mesh.vertex_normals();
    let all: Vec<u32> = (0..mesh.vertices().len() as u32).collect();
    let places = registration::places(mesh, normals, &all, PLACES);
    let surface = Surface::new(&arch.import.mesh);
    let target = Target::new(&surface);
    let in_place = Asked {
        places: &places,
        fixed: &target,
        start: Motion::identity(),
        reach_mm: REACH_MM,
        agreement: AGREEMENT,
    };
    registration::register(&in_place)
        .or_else(|_| {
            let starts = registration::coarse(mesh, &target);
            registration::best_of(mesh, &all, &target, &starts, AGREEMENT)
        })
        .map_err(|reason| {
            let [bite_mm, arch_mm] = [mesh, &arch.import.mesh].map(extent_mm);
            let alike = (0.05..=3.0).contains(&(bite_mm / arch_mm));
            NotMeasured::new(
                format!(
                    "the scan of the bite could not be laid onto the {}: {}",
                    which.word(),
                    reason.because
                ),
                if alike {
                    FOUR_TEETH.to_owned()
                } else {
                    format!(
                        "the bite scan in the unit of the others ([scans] unit holds for all): it is {} across, the {} {}",
                        units::mm(bite_mm),
                        which.word(),
                        units::mm(arch_mm)
                    )
                },
            )
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bite_shows_both_arches_where_other_places_lie_on_either() {
        let (yes, no) = (true, false);
        // Half of the places on each arch, one at the contact on both.
        assert!(!shows_one(&[yes, yes, yes, no, no], &[no, no, yes, yes, yes]));
        // All lie on the one arch, and some of them by chance on the other.
        assert!(shows_one(&[yes, yes, yes, yes, yes], &[no, yes, no, yes, no]));
        // Places on neither tell nothing.
        assert!(!shows_one(&[yes, no, no, no, no], &[no, no, no, no, yes]));
    }
}
