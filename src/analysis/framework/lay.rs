//! Where a framework lies: as its file has it, or brought onto the cast from other axes.

use super::{cast, extent_mm, is_likely, middle, said};
use crate::estimate::{Measured, NotMeasured};
use crate::facts::{ArchFacts, Facts};
use crate::measure::framework::Framework;
use crate::measure::framework::brought::{self, Brought};
use crate::measure::framework::laid::{self, Laid};
use crate::report::FrameworkFile;
use crate::space::Point;
use crate::units;

/// A framework that has to be moved by less than this to fit is not in other axes, mm and degrees.
const OTHER_AXES_MM: f64 = 3.0;
const OTHER_AXES_DEG: f64 = 5.0;

/// A framework that was brought onto its cast.
pub(super) struct Moved {
    /// It in the axes of the cast.
    pub framework: Framework,
    /// How it was brought there.
    pub by: Brought,
}

/// Where it lies, after it has been told whether it is of this arch.
pub(super) fn lay(
    facts: &Facts<'_>,
    framework: &Framework,
    progress: &(dyn Fn(&str) + Sync),
    file: &mut FrameworkFile,
) -> Measured<(Laid, Option<Moved>)> {
    let extent = extent_mm(framework);
    if !is_likely(extent) {
        return Err(NotMeasured::new(
            format!("it measures {} at its longest, which no framework does", units::mm(extent)),
            "the unit of its coordinates (--unit)",
        ));
    }
    let own = cast(&facts.restored);
    let found = laid::lay(framework, &own);
    if let Some(other) = &facts.opposing {
        let there = laid::lay(framework, &cast(other));
        let better = |l: &Laid| found.as_ref().map_or(f64::NEG_INFINITY, Laid::points) < l.points();
        if there.as_ref().is_ok_and(better) {
            return Err(said::lies_on(other.arch, facts, file));
        }
    }
    match found {
        Ok(found) => Ok((found, None)),
        Err(as_given) => {
            progress("bringing the framework onto the cast");
            brought(facts, framework, &as_given, file)
        }
    }
}

/// Brings a framework in other axes onto the cast, after it has been told whether it fits the other arch better.
fn brought(
    facts: &Facts<'_>,
    framework: &Framework,
    as_given: &NotMeasured,
    file: &mut FrameworkFile,
) -> Measured<(Laid, Option<Moved>)> {
    let onto = |arch: &ArchFacts<'_>| {
        let frame = arch.anatomy.frame.as_ref().map_err(Clone::clone)?;
        brought::bring(framework, &cast(arch), &frame.frame.occlusal)
    };
    let own = onto(&facts.restored);
    if let Some(other) = &facts.opposing {
        let points = own.as_ref().map_or(f64::NEG_INFINITY, Brought::points);
        if onto(other).is_ok_and(|there| there.points() > points) {
            return Err(said::lies_on(other.arch, facts, file));
        }
    }
    let brought = own.map_err(|reason| {
        let because = format!("{}; moved onto the cast, {}", as_given.because, reason.because);
        NotMeasured { because, settled_by: reason.settled_by }
    })?;
    let middle = middle(framework.mesh().vertices()).unwrap_or(Point::origin());
    let [mm, deg] = brought.moved(&middle);
    if mm < OTHER_AXES_MM && deg < OTHER_AXES_DEG {
        // It is in the scan's axes and does not fit: moving it would hide that.
        let because = format!(
            "{}; the crowns would be touched if it were moved by {} and turned by {}, so its axes are those of the scan and it \
             was made elsewhere, or for another scan",
            as_given.because,
            units::mm(mm),
            units::deg(deg)
        );
        return Err(NotMeasured { because, settled_by: as_given.settled_by.clone() });
    }
    let moved = Framework::new(&framework.mesh().moved(&brought.motion));
    let laid = laid::lay(&moved, &cast(&facts.restored))?;
    Ok((laid, Some(Moved { framework: moved, by: brought })))
}
