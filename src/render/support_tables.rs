//! The tables of how designs share the load, of clasp arms, and of what speaks for and against a hinge.

use super::sheet::{Table, or_dash};
use crate::report::{BaseAnswer, DesignShown, LoadAnswer, Mechanics};
use crate::units::{self, Unit};

/// Figures that are set side by side: key, words, unit.
pub(super) const FIGURES: [(&str, &str, Unit); 7] = [
    ("abutment_share", "borne by the abutments", Unit::Share),
    ("ridge_share", "borne by the ridge", Unit::Share),
    ("abutment_moment_n_mm", "greatest moment on an abutment", Unit::NMm),
    ("ridge_peak_mpa", "greatest pressure on the ridge", Unit::Mpa),
    ("ridge_mean_mpa", "mean pressure where it bears", Unit::Mpa),
    ("distal_sink_mm", "sinking of the distal end", Unit::Mm),
    ("clasp_tip_move_mm", "clasp tip out of its undercut", Unit::Mm),
];

/// The median of a figure.
pub(super) fn median(design: &DesignShown, key: &str) -> Option<f64> {
    Some(match key {
        "abutment_share" => design.abutment_share,
        "ridge_share" => design.ridge_share,
        "abutment_moment_n_mm" => design.abutment_moment_n_mm,
        "ridge_peak_mpa" => design.ridge_peak_mpa,
        "ridge_mean_mpa" => design.ridge_mean_mpa,
        "distal_sink_mm" => design.distal_sink_mm,
        "clasp_tip_move_mm" => return design.clasp_tip_move_mm,
        _ => return None,
    })
}

/// Tables of the section on designs.
pub(super) fn designs(mechanics: Option<&Mechanics>) -> Vec<Table> {
    let Some(m) = mechanics.filter(|m| !m.designs.is_empty()) else { return Vec::new() };
    vec![side_by_side(m), loads(m), rests(m), clasp_tips(m), apart(m), assumed(m)]
}

fn with_design(m: &Mechanics, first: &str) -> Vec<String> {
    std::iter::once(first.to_owned()).chain(m.designs.iter().map(|d| d.kind.clone())).collect()
}

fn band(value: Option<f64>, band: Option<&[f64; 2]>, unit: Unit) -> String {
    match (value, band) {
        (Some(v), Some([low, high])) => {
            let digits = |v: f64| units::digits(v, unit.places());
            format!("{} ({} to {})", units::show(v, unit), digits(*low), digits(*high))
        }
        _ => "-".to_owned(),
    }
}

fn side_by_side(m: &Mechanics) -> Table {
    let caption = format!(
        "Designs side by side, {} loaded: median over the ranges (5 to 95 %)",
        m.main_load.as_deref().unwrap_or("the bases")
    );
    let mut table = Table { caption, head: with_design(m, "of the load, or figure"), rows: Vec::new() };
    for (key, words, unit) in FIGURES {
        let cells = m.designs.iter().map(|d| band(median(d, key), d.bands.get(key), unit));
        table.rows.push(std::iter::once(words.to_owned()).chain(cells).collect());
    }
    let teeth = m.designs.first().map_or(0, |d| d.abutments.len());
    for i in 0..teeth {
        let of = |d: &DesignShown| {
            d.abutments.get(i).map(|a| {
                let share = band(Some(a.load_share), Some(&a.load_share_band), Unit::Share);
                let moment = band(Some(a.distal_moment_n_mm), Some(&a.distal_moment_band_n_mm), Unit::NMm);
                (a.tooth.to_string(), share, moment)
            })
        };
        let all: Vec<_> = m.designs.iter().filter_map(of).collect();
        let Some((tooth, ..)) = all.first() else { continue };
        let shares = all.iter().map(|(_, share, _)| share.clone());
        table.rows.push(std::iter::once(format!("borne by {tooth}")).chain(shares).collect());
        let moments = all.iter().map(|(.., moment)| moment.clone());
        table.rows.push(std::iter::once(format!("moment on {tooth} toward distal")).chain(moments).collect());
    }
    table
}

fn each(m: &Mechanics) -> impl Iterator<Item = (&str, &LoadAnswer)> {
    let count = m.designs.iter().map(|d| d.loads.len()).max().unwrap_or(0);
    (0..count)
        .flat_map(move |i| m.designs.iter().filter_map(move |d| d.loads.get(i).map(|l| (d.kind.as_str(), l))))
}

fn loads(m: &Mechanics) -> Table {
    let mut table = Table::new(
        "Each load: shares as 5 %, median and 95 % over the ranges, all else at their middle",
        &[
            "loaded",
            "design",
            "abutments",
            "ridge",
            "peak pressure",
            "where",
            "distal end sinks",
            "rolls",
            "unloaded lifts",
            "turns by",
            "in the hinge",
        ],
    );
    for (kind, l) in each(m) {
        let worst = l.bases.iter().reduce(|a, b| if b.peak_mpa > a.peak_mpa { b } else { a });
        table.rows.push(vec![
            l.load.clone(),
            kind.to_owned(),
            over(l, "abutment_share"),
            over(l, "ridge_share"),
            or_dash(worst.map(|b| b.peak_mpa), Unit::Mpa),
            worst.and_then(|b| b.peak_words.clone()).unwrap_or_else(|| "-".to_owned()),
            or_dash(worst.map(|b| b.distal_sink_mm), Unit::Mm),
            or_dash(worst.map(|b| b.roll_deg), Unit::Deg),
            units::mm(l.unloaded_lift_mm),
            or_dash(l.turns_about.as_ref().map(|t| t.angle_deg), Unit::Deg),
            hinge(worst),
        ]);
    }
    table
}

/// A share over the ranges.
fn over(l: &LoadAnswer, key: &str) -> String {
    l.over_ranges
        .get(key)
        .map_or_else(|| "-".to_owned(), |all| all.map(|v| units::show(v, Unit::Share)).join(", "))
}

/// The main load of each design.
fn main(m: &Mechanics) -> impl Iterator<Item = (&str, &LoadAnswer)> {
    m.designs.iter().filter_map(|d| {
        Some((d.kind.as_str(), d.loads.iter().find(|l| Some(&l.load) == m.main_load.as_ref())?))
    })
}

fn rests(m: &Mechanics) -> Table {
    let mut table = Table::new(
        "Rests and abutments under the main load, at the middle of the ranges (other loads: report.json)",
        &["design", "rest", "on its seat", "lifts", "moment toward distal", "toward the cheek", "tips"],
    );
    for (kind, l) in main(m) {
        for r in &l.rests {
            let on = l.abutments.iter().find(|a| a.tooth == r.tooth);
            table.rows.push(vec![
                kind.to_owned(),
                format!("{} {}", r.tooth, r.place.word()),
                units::show(r.force_n, Unit::N),
                units::mm(r.lift_mm),
                or_dash(on.map(|a| a.distal_moment_n_mm), Unit::NMm),
                or_dash(on.map(|a| a.buccal_moment_n_mm), Unit::NMm),
                on.map_or_else(|| "-".to_owned(), |a| a.tips.clone()),
            ]);
        }
    }
    table
}

fn clasp_tips(m: &Mechanics) -> Table {
    let mut table = Table::new(
        "Clasp tips on their teeth under the main load, at the middle of the ranges (other loads: report.json)",
        &[
            "design",
            "clasp",
            "along the path",
            "away from the tooth",
            "undercut",
            "below survey line",
            "leaves it",
        ],
    );
    for (kind, l) in main(m) {
        for c in &l.clasps {
            let way = if c.along_mm >= 0.0 { "out" } else { "in" };
            let leaves = match c.leaves_undercut {
                Some(true) => "yes",
                Some(false) => "no",
                None => "not known",
            };
            table.rows.push(vec![
                kind.to_owned(),
                format!("{} {}", c.tooth, c.surface.word()),
                format!("{way} by {}", units::show(c.along_mm.abs(), Unit::Mm)),
                units::mm(c.across_mm),
                units::mm(c.undercut_mm),
                or_dash(c.below_survey_line_mm, Unit::Mm),
                leaves.to_owned(),
            ]);
        }
    }
    table
}

fn hinge(base: Option<&BaseAnswer>) -> String {
    let Some((deg, on_stop)) = base.and_then(|b| Some((b.hinge_turn_deg?, b.hinge_on_stop?))) else {
        return "-".to_owned();
    };
    let stop = if on_stop { ", on its stop" } else { "" };
    format!("{}{stop}", units::deg(deg))
}

fn apart(m: &Mechanics) -> Table {
    let mut table = Table::new(
        "Hinged less another design, run by run",
        &["less", "figure", "median", "5 to 95 %", "can be told apart", "governed by"],
    );
    for a in &m.told_apart {
        let (words, unit) =
            FIGURES.iter().find(|f| f.0 == a.figure).map_or((a.figure.as_str(), Unit::Count), |f| (f.1, f.2));
        let told = match (a.told_apart, a.within.is_some()) {
            (true, _) => "yes",
            (false, true) => "in part",
            (false, false) => "no",
        };
        table.rows.push(vec![
            a.against.clone(),
            words.to_owned(),
            units::show(a.hinged_less_other, unit),
            format!("{} to {}", units::show(a.band[0], unit), units::show(a.band[1], unit)),
            told.to_owned(),
            a.governed_by.clone(),
        ]);
    }
    table
}

fn assumed(m: &Mechanics) -> Table {
    let mut table = Table::new(
        "What is assumed, and how strongly it moves what the abutments bear (rank correlation: rigid, clamped, hinged)",
        &["input", "from", "to", "weight", "source"],
    );
    for a in &m.assumed {
        let weights: Vec<String> = a.weights.iter().map(|w| units::digits(*w, 2)).collect();
        table.rows.push(vec![
            a.input.clone(),
            units::show(a.low, a.unit),
            units::show(a.high, a.unit),
            weights.join(", "),
            a.source.clone(),
        ]);
    }
    table
}

/// The table of clasp arms.
pub(super) fn clasp_arms(mechanics: Option<&Mechanics>) -> Table {
    let mut table = Table::new(
        "Clasp arms as beams: spread by the undercut that they engage",
        &[
            "clasp",
            "arm",
            "undercut",
            "force straight",
            "bent",
            "stress",
            "sets at",
            "least arm",
            "wall",
            "to draw off",
        ],
    );
    for c in mechanics.map_or(&[][..], |m| &m.clasps) {
        table.rows.push(vec![
            format!("{} {}", c.tooth, c.surface.word()),
            units::mm(c.arm_mm),
            units::mm(c.undercut_mm),
            units::show(c.force_n, Unit::N),
            or_dash(c.force_curved_n, Unit::N),
            format!("{} MPa", units::digits(c.stress_mpa, 0)),
            c.limit_mpa.map_or_else(|| "not known".to_owned(), |l| format!("{} MPa", units::digits(l, 0))),
            or_dash(c.least_arm_mm, Unit::Mm),
            units::deg(c.wall_deg),
            or_dash(c.withdrawal_n, Unit::N),
        ]);
    }
    table
}

/// The table for and against a hinge.
pub(super) fn indications(mechanics: Option<&Mechanics>) -> Table {
    let mut table = Table::new("For and against a hinge", &["about", "in this case", "speaks", "source"]);
    for i in mechanics.map_or(&[][..], |m| &m.indications) {
        table.rows.push(vec![i.about.clone(), i.fact.clone(), i.speaks.words().to_owned(), i.source.clone()]);
    }
    table
}
