//! The lingual wall of a mandible, unrolled.

use crate::facts::Facts;
use crate::report::{Unrolled, UnrolledStation};
use crate::units;

/// The lingual wall unrolled; `None` in a maxilla and where the way is not known.
pub fn unrolled(facts: &Facts<'_>) -> Option<Unrolled> {
    let way = facts.lingual_way.as_ref()?.as_ref().ok()?;
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
