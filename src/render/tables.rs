//! The tables of figures that stand in the sections of the sheet.

use super::sheet::{Block, Table, or_dash, place};
use crate::report::{
    AbutmentShown, BlockoutShown, ConnectorShown, GaugeShown, Opposing, Preparation, Report, SpanShown,
    TiltCompared, TorusShown, TorusSide, TorusState, Zone, tilt_words,
};
use crate::units::{self, Unit, deg, mm};

/// Tables of one check's section.
pub fn of_section(report: &Report, id: &str) -> Vec<Block> {
    let tables = match id {
        "teeth" => vec![teeth(report)],
        "ridge" => super::ridge_tables::of_spans(&report.spans),
        "room" => vec![spans(&report.spans)],
        "path" => vec![path(report)],
        "undercut" => vec![
            undercut(&report.abutments),
            bulges(&report.abutments),
            guiding_planes(&report.abutments),
            preparation(&report.preparation),
        ],
        "rests" => vec![rests(&report.abutments)],
        "seats" => vec![seats(&report.abutments), seat_preparation(&report.preparation)],
        "tori" => vec![tori(&report.tori)],
        "blockout" => vec![blockout(&report.blockout)],
        "connector" => vec![connectors(&report.connectors)],
        "clasp_arms" => vec![super::support_tables::clasp_arms(report.mechanics.as_ref())],
        "support" => super::support_tables::designs(report.mechanics.as_ref()),
        "indications" => vec![super::support_tables::indications(report.mechanics.as_ref())],
        _ => vec![],
    };
    tables.into_iter().filter(|t| !t.rows.is_empty()).map(Block::Table).collect()
}

fn teeth(report: &Report) -> Table {
    let mut table =
        Table::new("Crowns on the restored arch", &["tooth", "crown surface", "margin", "confidence"]);
    for t in &report.teeth {
        let margin = if t.margin_mm.is_empty() { "not known" } else { "known" };
        table.rows.push(vec![
            t.tooth.to_string(),
            units::show(t.crown_area_mm2, Unit::Mm2),
            margin.to_owned(),
            units::show(t.confidence, Unit::Share),
        ]);
    }
    table
}

fn blockout(parts: &[BlockoutShown]) -> Table {
    let mut table = Table::new(
        "Undercut that a rigid part crosses, along the withdrawal direction",
        &["part", "undercut surface", "deepest", "at", "dead space", "standard uncertainty"],
    );
    for p in parts {
        table.rows.push(vec![
            p.place.clone(),
            units::show(p.area_mm2, Unit::Mm2),
            mm(p.deepest_mm),
            p.deepest_at_mm.as_ref().map_or_else(|| "nowhere".to_owned(), place),
            units::show(p.volume_mm3, Unit::Mm3),
            units::show(p.volume_uncertainty_mm3, Unit::Mm3),
        ]);
    }
    table
}

fn spans(spans: &[SpanShown]) -> Table {
    let mut table = Table::new(
        "Spans: least clearance over the crest, and room for the attachment behind the abutment",
        &[
            "span",
            "kind",
            "crest",
            "least along opening",
            "least nearest",
            "opposite",
            "room at the site",
            "needed",
        ],
    );
    for span in spans {
        let teeth = span.teeth.iter().map(ToString::to_string).collect::<Vec<_>>().join(" ");
        let length = span.profile.last().map(|s| s.s_mm);
        let least = span.least.as_ref();
        table.rows.push(vec![
            teeth,
            span.kind.words().to_owned(),
            or_dash(length, Unit::Mm),
            or_dash(least.and_then(|l| l.along_opening_mm), Unit::Mm),
            or_dash(least.and_then(|l| l.nearest_mm), Unit::Mm),
            opposite(span),
            or_dash(span.site.as_ref().map(|s| s.room_mm), Unit::Mm),
            or_dash(span.site.as_ref().and_then(|s| s.required_mm), Unit::Mm),
        ]);
    }
    table
}

fn opposite(span: &SpanShown) -> String {
    let has = |o: Opposing| span.profile.iter().any(|s| s.opposing == o);
    let words: Vec<&str> =
        [(Opposing::Tooth, "teeth"), (Opposing::Ridge, "ridge"), (Opposing::None, "nothing")]
            .into_iter()
            .filter(|&(o, _)| has(o))
            .map(|(_, w)| w)
            .collect();
    if words.is_empty() { "-".to_owned() } else { words.join(", ") }
}

/// The tilts compared, one column each.
fn path(report: &Report) -> Table {
    let Some((path, search)) = report.path.as_ref().and_then(|p| Some((p, p.search.as_ref()?))) else {
        return Table::new("", &[]);
    };
    let mut head = vec!["on the scan itself"];
    head.extend(path.compared.iter().map(|c| c.which.words()));
    let mut table = Table::new("Tilts compared", &head);
    let mut row = |name: String, of: &dyn Fn(&TiltCompared) -> String| {
        table.rows.push(std::iter::once(name).chain(path.compared.iter().map(of)).collect());
    };
    row("withdrawal leans".into(), &|c| tilt_words(c.figures.anterior_deg, c.figures.left_deg));
    row("score, 0 to 1".into(), &|c| units::digits(c.figures.score, 3));
    for (i, clasp) in search.clasps.iter().enumerate() {
        let surfaces: Vec<&str> = clasp.surfaces.iter().map(|s| s.word()).collect();
        let name = format!(
            "usable undercut at {} {} ({} wanted)",
            clasp.tooth,
            surfaces.join(" or "),
            mm(clasp.gauge_mm)
        );
        row(name, &|c| or_dash(c.figures.usable_mm.get(i).copied(), Unit::Mm));
    }
    row("greatest less least of these".into(), &|c| or_dash(c.figures.spread_mm, Unit::Mm));
    for (i, s) in search.guided.iter().enumerate() {
        let name = format!("guiding surface at {} {}", s.tooth, s.surface.word());
        row(name, &|c| or_dash(c.guiding_mm2.get(i).copied(), Unit::Mm2));
    }
    row("tissue crossed that is undercut".into(), &|c| or_dash(c.figures.tissue_undercut_mm2, Unit::Mm2));
    row("its deepest".into(), &|c| or_dash(c.tissue_deepest_mm, Unit::Mm));
    row("dead space to block out".into(), &|c| {
        c.figures.blockout_mm3.map_or_else(|| "-".to_owned(), |v| format!("{} mm³", units::digits(v, 1)))
    });
    row("lean from the occlusal normal".into(), &|c| deg(c.figures.lean_deg));
    table
}

/// One row for each place where a gauge rests; the first gauge that no place takes ends the surface.
pub fn undercut(abutments: &[AbutmentShown]) -> Table {
    let mut table = Table::new(
        "Undercut of the abutments above the margin: deepest, and where each gauge rests along the path",
        &[
            "tooth",
            "surface",
            "deepest",
            "gauge",
            "zone",
            "below survey line",
            "above margin",
            "convergence",
            "along normal",
        ],
    );
    for a in abutments {
        for s in &a.surfaces {
            let mut named =
                [a.tooth.to_string(), s.surface.word().to_owned(), or_dash(s.deepest_mm, Unit::Mm)];
            for reading in readings(&s.gauges) {
                table.rows.push(named.iter().cloned().chain(reading).collect());
                named = Default::default();
            }
        }
    }
    table
}

/// Crown above and below the survey line.
fn bulges(abutments: &[AbutmentShown]) -> Table {
    let mut table =
        Table::new("Crown above and below the survey line", &["tooth", "suprabulge", "infrabulge"]);
    for a in abutments {
        if let (Some(above), Some(below)) = (a.suprabulge_mm2, a.infrabulge_mm2) {
            let area = |number| units::show(number, Unit::Mm2);
            table.rows.push(vec![a.tooth.to_string(), area(above), area(below)]);
        }
    }
    table
}

/// Seats have no height of a surface gained.
fn seat_preparation(all: &[Preparation]) -> Table {
    let mut table = Table::new(
        "Depth lacking at seats; the dentist decides, and enamel thickness is not on the scan",
        &["tooth", "where", "tooth to go", "standard uncertainty", "at"],
    );
    for p in all.iter().filter(|p| p.height_mm.is_none()) {
        table.rows.push(vec![
            p.tooth.to_string(),
            p.place.clone(),
            mm(p.removal_mm),
            or_dash(p.uncertainty_mm, Unit::Mm),
            p.at_mm.as_ref().map_or_else(|| "-".to_owned(), place),
        ]);
    }
    table
}

fn preparation(all: &[Preparation]) -> Table {
    let mut table = Table::new(
        "What would have to be prepared; the dentist decides, and enamel thickness is not on the scan",
        &["tooth", "where", "tooth to go, at most", "height gained", "width", "most at"],
    );
    for p in all.iter().filter(|p| p.height_mm.is_some()) {
        table.rows.push(vec![
            p.tooth.to_string(),
            p.place.clone(),
            mm(p.removal_mm),
            or_dash(p.height_mm, Unit::Mm),
            or_dash(p.width_mm, Unit::Mm),
            p.at_mm.as_ref().map_or_else(|| "-".to_owned(), place),
        ]);
    }
    table
}

fn readings(gauges: &[GaugeShown]) -> Vec<[String; 6]> {
    let end = gauges.iter().position(|g| !g.reached).map_or(gauges.len(), |first| first + 1);
    let mut rows: Vec<[String; 6]> = gauges.iter().take(end).map(reading).collect();
    if rows.is_empty() {
        rows.push(["-"; 6].map(str::to_owned));
    }
    rows
}

fn reading(g: &GaugeShown) -> [String; 6] {
    let zone = g.zone.map_or("-", |z| match z {
        Zone::Mesial => "mesial",
        Zone::Middle => "middle",
        Zone::Distal => "distal",
    });
    if !g.reached {
        let mut row: [String; 6] = Default::default();
        (row[0], row[1]) = (gauge(g.gauge_mm), "not reached".to_owned());
        return row;
    }
    let figure = |number| or_dash(number, Unit::Mm);
    [
        gauge(g.gauge_mm),
        zone.to_owned(),
        figure(g.below_survey_line_mm),
        figure(g.above_margin_mm),
        or_dash(g.convergence_deg, Unit::Deg),
        figure(g.along_normal_mm),
    ]
}

/// A gauge, with the thousandths of an inch that the bench names it by.
fn gauge(gauge_mm: f64) -> String {
    format!("{} ({})", mm(gauge_mm), units::inches(gauge_mm))
}

fn guiding_planes(abutments: &[AbutmentShown]) -> Table {
    let mut table = Table::new(
        "Surfaces that can guide the denture",
        &["tooth", "surface", "height", "width", "deviation from the path"],
    );
    for a in abutments {
        for g in &a.guiding_planes {
            table.rows.push(vec![
                a.tooth.to_string(),
                g.surface.word().to_owned(),
                mm(g.height_mm),
                mm(g.width_mm),
                deg(g.deviation_deg),
            ]);
        }
    }
    table
}

fn rests(abutments: &[AbutmentShown]) -> Table {
    let mut table = Table::new("Rests", &["tooth", "place", "room to the opposing arch", "at"]);
    for a in abutments {
        for r in a.rests.iter().filter(|r| r.named) {
            table.rows.push(vec![
                a.tooth.to_string(),
                r.place.word().to_owned(),
                or_dash(r.room_mm, Unit::Mm),
                r.at_mm.as_ref().map_or_else(|| "-".to_owned(), place),
            ]);
        }
    }
    table
}

fn seats(abutments: &[AbutmentShown]) -> Table {
    let mut table = Table::new(
        "Seats, at the rests of the case and elsewhere",
        &[
            "tooth",
            "place",
            "taken for",
            "confidence",
            "depth",
            "length",
            "width",
            "floor",
            "room",
            "lacking",
        ],
    );
    for a in abutments {
        for r in a.rests.iter().filter(|r| r.prepared.is_some()) {
            table.rows.push(vec![
                a.tooth.to_string(),
                r.place.word().to_owned(),
                r.prepared.map_or("-", |p| p.words()).to_owned(),
                or_dash(r.confidence, Unit::Share),
                or_dash(r.depth_mm, Unit::Mm),
                or_dash(r.length_mm, Unit::Mm),
                or_dash(r.width_mm, Unit::Mm),
                or_dash(r.floor_angle_deg, Unit::Deg),
                or_dash(r.room_mm, Unit::Mm),
                or_dash(r.lacking_mm, Unit::Mm),
            ]);
        }
    }
    table
}

/// Tori.
pub fn tori(tori: &[TorusShown]) -> Table {
    let mut table =
        Table::new("Tori", &["side", "height", "length", "width", "area", "summit", "confidence", "state"]);
    for t in tori {
        let side = t.side.map_or("-", TorusSide::word);
        let state = match t.state {
            TorusState::Found => "found",
            TorusState::Possible => "possible",
            TorusState::Marked => "marked",
        };
        table.rows.push(vec![
            side.to_owned(),
            mm(t.height_mm),
            mm(t.length_mm),
            mm(t.width_mm),
            units::show(t.area_mm2, Unit::Mm2),
            place(&t.summit_mm),
            units::show(t.confidence, Unit::Share),
            state.to_owned(),
        ]);
    }
    table
}

pub(super) fn connectors(connectors: &[ConnectorShown]) -> Table {
    let mut table =
        Table::new("Connectors that were tried", &["connector", "outcome", "room", "needs", "why"]);
    for c in connectors {
        table.rows.push(vec![
            c.kind.replace('_', " "),
            c.verdict.words().to_owned(),
            or_dash(c.room_mm, Unit::Mm),
            or_dash(c.required_mm, Unit::Mm),
            c.reasons.join("; "),
        ]);
    }
    table
}
