//! Borders of a connector's way, as curves on the cast with their lengths.

use super::CHECK;
use crate::facts::Facts;
use crate::measure::connector::{Wall, WayStation};
use crate::report::{Finding, Verdict};
use crate::space::Point;
use crate::units;

/// Borders of the way as curves: where a bar begins below the margin, and where the way ends; each with its name.
pub(crate) fn borders(facts: &Facts<'_>) -> Vec<(&'static str, Vec<Point>)> {
    let mut all = Vec::new();
    if let Some(Ok(way)) = &facts.palatal_way {
        let [right, left] = way.borders();
        all.extend([("right", right), ("left", left)]);
    }
    if let Some(Ok(way)) = &facts.lingual_way {
        let below = facts.rules.number("bar_below_margin_mm");
        let walls = || way.stations.iter().filter_map(|s| s.wall.as_ref().ok().map(|w| (s, w)));
        all.push(("upper", walls().filter_map(|(_, w)| w.at(below)).collect()));
        let end = |(s, w): (&WayStation, &Wall)| w.at(s.depth_mm().map_or(w.along_mm, |d| d.min(w.along_mm)));
        all.push(("lower", walls().filter_map(end).collect()));
    }
    all.retain(|(_, line)| line.len() > 1);
    all
}

/// How long the borders are.
pub(in crate::checks) fn border_lengths(facts: &Facts<'_>) -> Option<Finding> {
    let lengths: Vec<(&str, f64)> = borders(facts)
        .iter()
        .map(|(name, line)| (*name, line.windows(2).map(|w| (w[1] - w[0]).norm()).sum::<f64>()))
        .collect();
    if lengths.is_empty() {
        return None;
    }
    let words: Vec<String> = lengths.iter().map(|(name, mm)| format!("{name} {}", units::mm(*mm))).collect();
    let says = format!("Borders of the way, drawn on the cast (curves.obj): {}.", words.join(", "));
    let finding = Finding::new(CHECK.id, "connector_border", Verdict::Caution, says);
    Some(lengths.iter().fold(finding, |f, (name, mm)| f.with(&format!("{name}_mm"), units::json(*mm))))
}
