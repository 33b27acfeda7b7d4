//! Tori in both scans.

use super::said::CHECK;
use super::{Changes, CompareWanted, read};
use crate::anatomy::Anatomy;
use crate::case::Chart;
use crate::estimate::Estimate;
use crate::facts;
use crate::locate::Surface;
use crate::measure::ridge_change;
use crate::measure::teeth_moved::Fate;
use crate::measure::torus::{self, Torus};
use crate::mesh::{Mesh, Topology};
use crate::report::{ChangeFile, Finding, TorusChange, TorusSide, TorusState, Verdict, Where};
use crate::rules::{Rules, judge};
use crate::space::{Point, Vector};
use crate::units::{self, Unit};

/// Summits that lie no farther apart than this are of one torus, mm.
const SAME_MM: f64 = 5.0;

/// Finds the tori of both scans and what has changed of them.
pub(super) fn compare(
    changes: &Changes<'_>,
    newer: &Surface,
    wanted: &CompareWanted,
    rules: &Rules,
    file: &mut ChangeFile,
) {
    let older = changes.older;
    let settings = facts::torus_settings(rules);
    let marks = &wanted.marks;
    let (old, new) = rayon::join(
        || {
            torus::find(
                changes.mesh(),
                &older.topology,
                older.arch,
                &older.anatomy,
                &marks.tori,
                &marks.tori_at,
                &settings,
            )
        },
        || {
            let topology = Topology::new(newer.mesh());
            let anatomy = anatomy_of_newer(changes, newer, &topology, wanted, rules);
            torus::find(newer.mesh(), &topology, older.arch, &anatomy, &[], &[], &settings)
        },
    );
    let back = changes.laid.teeth.registered.motion.inverse();
    let mut unmatched: Vec<&Torus> = new.iter().collect();
    for torus in &old {
        let near = unmatched
            .iter()
            .enumerate()
            .map(|(i, t)| (i, (back * t.summit - torus.summit).norm()))
            .filter(|(_, far)| *far < SAME_MM)
            .min_by(|a, b| a.1.total_cmp(&b.1));
        let twin = near.map(|(i, _)| unmatched.remove(i));
        let sure = torus.state != TorusState::Possible || twin.is_some();
        if sure {
            of_one(changes, torus, twin, rules, file);
        }
    }
    let risen: Vec<&Torus> = unmatched.into_iter().filter(|t| t.state != TorusState::Possible).collect();
    if !risen.is_empty() {
        of_new(changes, newer, &risen, rules, file);
    }
}

/// The anatomy of the newer scan by the chart of the older, teeth gone since left out.
fn anatomy_of_newer(
    changes: &Changes<'_>,
    newer: &Surface,
    topology: &Topology,
    wanted: &CompareWanted,
    rules: &Rules,
) -> Anatomy {
    let proposed = changes.older.anatomy.found_teeth.as_ref().and_then(|f| f.proposed.clone());
    let chart = wanted.chart.clone().or(proposed).map(|mut chart: Chart| {
        let teeth = &changes.laid.teeth.teeth;
        chart.missing.extend(teeth.iter().filter(|t| t.fate == Fate::Gone).map(|t| t.tooth));
        chart.missing.sort_by_key(|t| (t.arch(), t.along()));
        chart.missing.dedup();
        chart
    });
    let known = CompareWanted { arch: Some(changes.older.arch), chart, ..CompareWanted::default() };
    read::anatomy(newer, topology, changes.older.arch, &known, rules)
}

/// Mean of what was measured on vertices within a disc of a place.
fn about(mesh: &Mesh, at: &Point, change: &dyn Fn(usize) -> Option<f64>) -> Option<f64> {
    let (mut sum, mut count) = (0.0, 0usize);
    for (v, p) in mesh.vertices().iter().enumerate() {
        if (p - at).norm_squared() <= ridge_change::DISC_MM * ridge_change::DISC_MM
            && let Some(t) = change(v)
        {
            sum += t;
            count += 1;
        }
    }
    (count > 0).then(|| sum / count as f64)
}

fn side_words(side: Option<TorusSide>) -> String {
    side.map_or_else(String::new, |s| format!(" ({})", s.word()))
}

/// A torus of the older scan.
fn of_one(changes: &Changes<'_>, old: &Torus, new: Option<&Torus>, rules: &Rules, file: &mut ChangeFile) {
    let mesh = changes.mesh();
    let change = about(mesh, &old.summit, &|v| changes.change_mm[v]);
    let normal = about_normal(mesh, &changes.normals, &old.summit);
    let whole = change.map(|c| changes.whole(c, &old.summit, &normal));
    file.tori.push(TorusChange {
        side: old.side,
        old_height_mm: Some(units::json(old.height_mm)),
        new_height_mm: new.map(|t| units::json(t.height_mm)),
        change_mm: change.map(units::json),
        uncertainty_mm: whole.as_ref().map(|e| units::json(e.standard())),
        summit_mm: units::json_place(&old.summit),
    });
    let (Some(change), Some(whole)) = (change, whole) else { return };
    let limit = rules.get("ridge_unchanged_mm");
    let size = changes.apart_from_scans(change.abs(), &old.summit, &normal);
    let verdict = judge(&size, limit);
    let way = if change < 0.0 { "gone down" } else { "grown" };
    let (code, what) = match verdict {
        Verdict::Fits => ("torus_unchanged", "no more than two scans of an unchanged mouth differ by"),
        Verdict::Exceeds => ("torus_changed", "more than two scans of an unchanged mouth differ by"),
        _ => (
            "torus_change_open",
            "and these scans do not settle whether that is more than two scans of an unchanged mouth differ by",
        ),
    };
    let says = format!(
        "Torus{} of {} in the older scan: its summit has {way} by {}, {what} ({}).",
        side_words(old.side),
        units::mm(old.height_mm),
        Estimate { value: change.abs(), ..whole }.words(Unit::Mm),
        units::mm(limit.number)
    );
    let finding = Finding::new(CHECK, code, verdict, says).figure(&size, Unit::Mm).limit(limit.shown());
    file.findings.push(finding.with("change_mm", units::json(change)).at(Where::default().at(&old.summit)));
}

fn about_normal(mesh: &Mesh, normals: &[Vector], at: &Point) -> Vector {
    let nearest = mesh
        .vertices()
        .iter()
        .enumerate()
        .map(|(v, p)| (v, (p - at).norm_squared()))
        .min_by(|a, b| a.1.total_cmp(&b.1));
    nearest.map_or_else(Vector::zeros, |(v, _)| normals[v])
}

/// Tori of the newer scan alone: said where the surface has really risen there.
fn of_new(changes: &Changes<'_>, newer: &Surface, risen: &[&Torus], rules: &Rules, file: &mut ChangeFile) {
    let motion = changes.laid.teeth.registered.motion;
    let older_there = Surface::new(&changes.mesh().moved(&motion));
    let normals = ridge_change::smoothed_normals(newer.mesh(), &Topology::new(newer.mesh()));
    let limit = rules.get("ridge_unchanged_mm");
    for torus in risen {
        let of = |v: usize| {
            let p = newer.mesh().vertices()[v];
            // Where it rose, the older surface lies inward of the newer.
            ridge_change::along(&p, &normals[v], &older_there).map(|t| -t)
        };
        let Some(rise) = about(newer.mesh(), &torus.summit, &of) else { continue };
        let at = motion.inverse() * torus.summit;
        let normal = motion.rotation.inverse() * about_normal(newer.mesh(), &normals, &torus.summit);
        let size = changes.apart_from_scans(rise.abs(), &at, &normal);
        if judge(&size, limit) != Verdict::Exceeds || rise < 0.0 {
            continue;
        }
        let whole = changes.whole(rise, &at, &normal);
        file.tori.push(TorusChange {
            side: torus.side,
            old_height_mm: None,
            new_height_mm: Some(units::json(torus.height_mm)),
            change_mm: Some(units::json(rise)),
            uncertainty_mm: Some(units::json(whole.standard())),
            summit_mm: units::json_place(&at),
        });
        let says = format!(
            "Torus{} of {} in the newer scan alone: the surface has risen there by {}.",
            side_words(torus.side),
            units::mm(torus.height_mm),
            whole.words(Unit::Mm)
        );
        let finding = Finding::new(CHECK, "torus_new", Verdict::Exceeds, says).figure(&size, Unit::Mm);
        file.findings.push(finding.limit(limit.shown()).at(Where::default().at(&at)));
    }
}
