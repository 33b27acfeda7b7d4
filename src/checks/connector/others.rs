//! What is left where a lingual bar does not fit: sublingual bar, plates, cingulum bar, labial bar.

use super::{MARGIN_MM, least_depth, torus_reasons};
use crate::case::Tooth;
use crate::estimate::{Estimate, Source};
use crate::facts::Facts;
use crate::measure::connector::{LingualWay, MarginFrom, WallEnd, WayStation};
use crate::report::{ConnectorShown, Verdict};
use crate::rules::judge;
use crate::units;

/// A bar low on the floor of the mouth.
pub(super) fn sublingual(facts: &Facts<'_>, way: &LingualWay) -> ConnectorShown {
    let below = facts.rules.get("sublingual_below_margin_mm");
    let height = facts.rules.get("sublingual_height_mm");
    let required = below.number + height.number;
    let (room_mm, at, mut reasons) = least_depth(facts, way);
    reasons.push(format!(
        "{} from the margin and {} high on the floor ({})",
        units::mm(below.number),
        units::mm(height.number),
        height.shown().source
    ));
    let tori = way.stations.iter().any(|s| s.wall.as_ref().is_ok_and(|w| !w.tori.is_empty()));
    reasons.push(if tori {
        "a torus stands in the way, and teaching notes advise against it then".into()
    } else {
        "it lies on the moving floor, which only an impression in function shows".into()
    });
    ConnectorShown {
        kind: "sublingual_bar".into(),
        verdict: Verdict::Caution,
        room_mm,
        required_mm: Some(required),
        at_mm: at.map(|p| units::json_place(&p)),
        reasons,
    }
}

/// A plate over the whole wall.
pub(super) fn plate(facts: &Facts<'_>, way: &LingualWay) -> ConnectorShown {
    let rule = facts.rules.get("plate_depth_mm");
    let (room_mm, at, mut reasons) = least_depth(facts, way);
    reasons.push(format!(
        "taught instead of a bar where the depth is under {} ({}); it needs rests at both ends and covers the gingiva",
        units::mm(rule.number),
        rule.shown().source
    ));
    if way.stations.iter().any(|s| s.wall.as_ref().is_ok_and(|w| !w.tori.is_empty())) {
        reasons.push(format!(
            "round a torus it is relieved by {} or ends above it",
            units::mm(facts.rules.number("relief_mm"))
        ));
    }
    ConnectorShown {
        kind: "lingual_plate".into(),
        verdict: Verdict::Caution,
        room_mm,
        required_mm: None,
        at_mm: at.map(|p| units::json_place(&p)),
        reasons,
    }
}

/// A plate that ends above the tori: where its lower edge has to rise most.
pub(super) fn plate_round_tori(facts: &Facts<'_>, way: &LingualWay) -> Option<ConnectorShown> {
    let keep = facts.rules.number("keepout_margin_mm");
    let upper = |s: &WayStation| {
        let tori = &s.wall.as_ref().ok()?.tori;
        tori.iter().map(|t| t.from_mm - keep).min_by(f64::total_cmp)
    };
    let (room, station) =
        way.stations.iter().filter_map(|s| upper(s).map(|mm| (mm, s))).min_by(|a, b| a.0.total_cmp(&b.0))?;
    let mut reasons = vec![format!(
        "its lower edge ends {} above the torus, {} below the margin of {} at the least",
        units::mm(keep),
        units::mm(room.max(0.0)),
        facts.tooth_words(station.tooth)
    )];
    reasons.extend(torus_reasons(facts, station));
    reasons.push(format!(
        "what still crosses a torus is relieved by {}; it covers the gingiva and needs rests at both ends",
        units::mm(facts.rules.number("relief_mm"))
    ));
    Some(ConnectorShown {
        kind: "lingual_plate_around_tori".into(),
        verdict: Verdict::Caution,
        room_mm: Some(units::json(room.max(0.0))),
        required_mm: None,
        at_mm: Some(units::json_place(&station.margin)),
        reasons,
    })
}

/// A bar on the cingula: what stands of the lingual crowns of the front teeth above their margins.
pub(super) fn cingulum_bar(facts: &Facts<'_>, way: &LingualWay) -> ConnectorShown {
    let rule = facts.rules.get("cingulum_bar_height_mm");
    let anatomy = &facts.restored.anatomy;
    fn standing<'s>(s: &'s WayStation, facts: &Facts<'_>) -> Option<(f64, &'s WayStation)> {
        let anatomy = &facts.restored.anatomy;
        let up = anatomy.frame.as_ref().ok()?.frame.occlusal;
        let mesh = facts.restored.mesh();
        let MarginFrom::Crown(tooth) = s.margin_from else { return None };
        let crown = anatomy.crown(tooth).filter(|_| tooth.is_front())?;
        let near = crown.vertices.iter().map(|&v| mesh.vertex(v) - s.margin);
        near.map(|d| d.dot(&up)).max_by(f64::total_cmp).map(|mm| (mm, s))
    }
    let least = way.stations.iter().filter_map(|s| standing(s, facts)).min_by(|a, b| a.0.total_cmp(&b.0));
    let gone: Vec<String> = [43, 42, 41, 31, 32, 33]
        .into_iter()
        .filter_map(Tooth::fdi)
        .filter(|t| anatomy.crown(*t).is_none())
        .map(|t| facts.tooth_words(t))
        .collect();
    let mut reasons = vec![format!(
        "it lies on the cingula, {} high or more ({}), and needs rests at both ends; the room is the crown above the lingual margin",
        units::mm(rule.number),
        rule.shown().source
    )];
    if !gone.is_empty() {
        reasons.push(format!("no crown of {} is known, so that it has to bridge there", gone.join(", ")));
    }
    let figure = least.map(|(mm, s)| {
        reasons.push(format!("least at {}: {}", facts.tooth_words(s.tooth), units::mm(mm)));
        Estimate::new(mm, Vec::new())
            .with(Source::Scan, facts.case.file.accuracy.scan_mm)
            .with(Source::Marks, MARGIN_MM)
    });
    let verdict = match &figure {
        None => Verdict::NotMeasured,
        Some(_) if !gone.is_empty() => Verdict::Caution,
        Some(f) => judge(f, rule),
    };
    ConnectorShown {
        kind: "cingulum_bar".into(),
        verdict: if verdict == Verdict::Short { Verdict::Caution } else { verdict },
        room_mm: figure.map(|f| units::json(f.value)),
        required_mm: Some(rule.number),
        at_mm: least.map(|(_, s)| units::json_place(&s.margin)),
        reasons,
    }
}

/// A bar on the labial side: what the scan records between the labial margins and the sulcus.
pub(super) fn labial_bar(facts: &Facts<'_>, way: &LingualWay) -> ConnectorShown {
    let below = facts.rules.get("labial_below_margin_mm");
    let height = facts.rules.get("bar_height_mm");
    let required = below.number + height.number;
    let depths = way.stations.iter().filter_map(|s| s.labial.as_ref().ok().map(|w| (w.along_mm, s, w)));
    let least = depths.min_by(|a, b| a.0.total_cmp(&b.0));
    let mut reasons = vec![format!(
        "{} from the labial margin ({}) and {} high; taught only where the teeth lean far to the tongue or large tori stay",
        units::mm(below.number),
        below.shown().source,
        units::mm(height.number)
    )];
    match &least {
        Some((mm, s, wall)) => {
            let word = match wall.end {
                WallEnd::Floor => "the sulcus as it was recorded, cheeks and lips at rest or not",
                WallEnd::ScanBorder => "the border of the scan",
            };
            reasons.push(format!(
                "least at {}: {} along the tissue ({} vertical) to {word}",
                facts.tooth_words(s.tooth),
                units::mm(*mm),
                units::mm(wall.vertical_mm)
            ));
        }
        None => reasons.push("no labial wall was recorded".into()),
    }
    ConnectorShown {
        kind: "labial_bar".into(),
        // The sulcus in function is not recorded either.
        verdict: if least.is_some() { Verdict::Caution } else { Verdict::NotMeasured },
        room_mm: least.as_ref().map(|l| units::json(l.0)),
        required_mm: Some(required),
        at_mm: least.as_ref().map(|l| units::json_place(&l.1.margin)),
        reasons,
    }
}
