//! The lingual wall of a mandible, unrolled.

use crate::case::Arch;
use crate::facts::Facts;
use crate::measure::connector;
use crate::report::{Unrolled, UnrolledStation};
use crate::units;

/// The lingual wall unrolled; `None` in a maxilla and where the way is not known.
pub fn unrolled(facts: &Facts<'_>) -> Option<Unrolled> {
    if facts.restored.arch == Arch::Maxilla {
        return None;
    }
    let way = connector::lingual_way(&connector::Cast {
        surface: &facts.restored.surface,
        topology: &facts.restored.topology,
        anatomy: &facts.restored.anatomy,
        tori: &facts.tori,
        abutments: &facts.case.file.design.abutments,
        probed_mm: &facts.case.file.probe_mm,
    })
    .ok()?;
    let stations: Vec<UnrolledStation> = way
        .stations
        .iter()
        .map(|s| UnrolledStation {
            s_mm: s.s_mm,
            tooth: s.tooth.to_string(),
            recorded_mm: s.wall.as_ref().ok().map(|w| w.along_mm),
            probed_mm: s.probed_mm,
            tori_mm: s
                .wall
                .as_ref()
                .map_or_else(|_| Vec::new(), |w| w.tori.iter().map(|t| [t.from_mm, t.to_mm]).collect()),
        })
        .collect();
    let level = |id: &str, words: &str| {
        let mm = facts.rules.number(id);
        (mm, format!("{words} {}", units::mm(mm)))
    };
    let levels = vec![
        level("bar_below_margin_mm", "a lingual bar begins at"),
        level("bar_depth_mm", "and needs a depth of"),
    ];
    stations.iter().any(|s| s.recorded_mm.is_some()).then_some(Unrolled { stations, levels })
}
