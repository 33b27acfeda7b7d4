//! The incisal edge of a front tooth, and what is cut into it.

use super::profile::{self, Flanks, Notch, Profile, smooth};
use super::relief::{Relief, STEP_MM};

/// The edge as a profile along the tooth.
#[derive(Debug)]
pub(super) struct Edge {
    /// Of each column: the row of its highest place.
    pub rows: Vec<Option<usize>>,
    /// Its height.
    pub height: Profile,
}

/// Reads the edge of a relief that is seen from above, mesial along its columns.
pub(super) fn edge(relief: &Relief) -> Edge {
    let [columns, rows] = relief.size();
    let top = |i: usize| {
        let own = |j: usize| relief.cell(i, j).filter(|c| c.own).map(|c| (j, c.z));
        (0..rows).filter_map(own).max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))
    };
    let tops: Vec<Option<(usize, f64)>> = (0..columns).map(top).collect();
    Edge {
        rows: tops.iter().map(|t| t.map(|t| t.0)).collect(),
        height: smooth(&tops.iter().map(|t| t.map(|t| t.1)).collect(), 2),
    }
}

/// A notch in the edge.
#[derive(Debug)]
pub(super) struct Cut {
    pub notch: Notch,
    /// Column and row of its floor.
    pub floor: [usize; 2],
    pub depth_mm: f64,
    /// From lip to tongue, mm.
    pub width_mm: f64,
}

/// Reads the deepest notch; `None` where the edge has none with two shoulders.
pub(super) fn read(relief: &Relief, edge: &Edge) -> Option<Cut> {
    let known: Vec<usize> = (0..edge.height.len()).filter(|&i| edge.height[i].is_some()).collect();
    let (first, last) = (*known.first()?, *known.last()?);
    let margin = (last - first) / 10;
    let bottom = profile::basin(&edge.height, first + margin, last - margin)?;
    let notch = profile::notch(&edge.height, bottom, 2.4, Flanks::Rounded)?;
    let [a, b] = notch.shoulders.map(|s| s.step);
    let deep = |i: usize| Some(notch.whole(i as f64) - edge.height[i]?);
    let (depth_mm, i) =
        (a..=b).filter_map(|i| Some((deep(i)?, i))).max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)))?;
    let row = edge.rows[i]?;
    let floor = relief.cell(i, row)?.z;
    let near = |j: &usize| relief.cell(i, *j).is_some_and(|c| c.z > floor - 0.5);
    let across =
        (0..=row).rev().take_while(near).count() + (row + 1..relief.size()[1]).take_while(near).count();
    Some(Cut { notch, floor: [i, row], depth_mm, width_mm: across as f64 * STEP_MM })
}

/// Column and row of the middle of the edge.
pub(super) fn middle(edge: &Edge) -> Option<[usize; 2]> {
    let known: Vec<usize> = (0..edge.rows.len()).filter(|&i| edge.rows[i].is_some()).collect();
    let i = (known.first()? + known.last()?) / 2;
    edge.rows[i].map(|j| [i, j])
}
