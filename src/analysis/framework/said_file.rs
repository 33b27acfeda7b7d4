//! What is said of a framework's file: what it holds, thinnest wall, inner edges, volume and mass.

use super::said::{CHECK, judged};
use crate::case::Alloy;
use crate::estimate::{Estimate, NotMeasured, Source};
use crate::facts::Facts;
use crate::measure::framework::edges::InnerEdges;
use crate::measure::framework::shells::Sane;
use crate::report::{Finding, FrameworkFile, Verdict, Where};
use crate::rules::Rules;
use crate::space::Point;
use crate::units::{self, Unit};

/// Says of a surface without thickness why nothing of it is measured.
pub(super) fn no_metal(bare_share: f64, file: &mut FrameworkFile) {
    let reason = NotMeasured::new(
        format!(
            "{} of 100 parts of the surface have no wall behind them: it encloses no metal",
            units::show(100.0 * bare_share, Unit::Count)
        ),
        "a closed surface with a thickness, from the program that made it",
    );
    let what = "The way in, the parts and their thickness";
    file.findings.push(Finding::not_measured(CHECK, "framework_no_metal", what, &reason));
}

fn counted(n: usize, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") }
}

pub(super) fn of_file(facts: &Facts<'_>, sane: &Sane, wall: Option<(f64, Point)>, file: &mut FrameworkFile) {
    let mut say = |code: &str, at: Option<Point>, says: String, mend: &str| {
        let mut finding = Finding::new(CHECK, code, Verdict::Exceeds, says).settled_by(mend);
        if let Some(at) = at {
            finding = finding.at(Where::default().at(&at));
        }
        file.findings.push(finding);
    };
    if let Some(first) = sane.borders.first() {
        let length: f64 = sane.borders.iter().map(|b| b.amount).sum();
        say(
            "framework_open",
            Some(first.at),
            format!(
                "The framework's surface is open: {}, {} long in all. It has no inside that could be cast or printed.",
                counted(sane.borders.len(), "border"),
                units::mm(length)
            ),
            "close the surface in the program that made it",
        );
    }
    if let Some(edge) = &sane.branching {
        say(
            "framework_branches",
            Some(edge.at),
            format!("At {} edges more than two triangles meet.", units::show(edge.amount, Unit::Count)),
            "unite the shells in the program that made it",
        );
    }
    if let Some(first) = sane.afloat.first() {
        say(
            "framework_afloat",
            Some(first.at),
            format!(
                "The file holds {} besides the framework's main body, the first with an area of {}.",
                counted(sane.afloat.len(), "piece"),
                units::show(first.amount, Unit::Mm2)
            ),
            "join them to the framework, or take them out",
        );
    }
    if let Some(spot) = &sane.no_wall {
        say(
            "framework_sheet",
            Some(spot.at),
            format!(
                "{} of the surface have no wall behind them: a sheet without thickness.",
                units::show(spot.amount, Unit::Mm2)
            ),
            "give the sheet a thickness in the program that made it",
        );
    }
    if let Some(first) = sane.struts.first() {
        say(
            "framework_struts",
            Some(first.at),
            format!(
                "Off the cast {} {}, the first {} long: are these the supports of a printing program?",
                if sane.struts.len() == 1 { "stands" } else { "stand" },
                counted(sane.struts.len(), "thin rod"),
                units::mm(first.amount)
            ),
            "an export of the framework without supports",
        );
    }
    if sane.inside_out {
        say(
            "framework_inside_out",
            None,
            "The framework's surface faces inward.".into(),
            "turn its normals over",
        );
    }
    if let Some((mm, at)) = wall {
        let figure = Estimate::new(mm, Vec::new()).with(Source::Method, 0.01);
        let says = format!("The thinnest wall of the framework measures {}.", units::mm(mm));
        file.findings.push(
            judged("thinnest_wall", facts.rules, "frame_wall_mm", &figure, Unit::Mm, says)
                .at(Where::default().at(&at)),
        );
    }
}

/// What is said of inner edges, such as finish lines have.
pub(super) fn of_inner_edges(inner: &InnerEdges, file: &mut FrameworkFile) {
    let says = format!(
        "Sharp inner edges, such as finish lines have, measure {}; {} of them are blunter than a right angle (a finish line has at \
         most a right angle: from memory, not checked).",
        units::mm(inner.sharp_mm),
        units::mm(inner.blunt_mm)
    );
    let figure = Estimate::new(inner.blunt_mm, Vec::new()).with(Source::Method, 0.05 * inner.blunt_mm);
    let finding = Finding::new(CHECK, "inner_edges", Verdict::Caution, says).figure(&figure, Unit::Mm);
    file.findings.push(match &inner.at {
        Some(at) => finding.at(Where::default().at(at)),
        None => finding,
    });
}

/// What is said of the volume, and of the mass in an alloy.
pub(super) fn of_volume(facts: &Facts<'_>, volume_mm3: f64, alloy: Alloy, file: &mut FrameworkFile) {
    let words = crate::checks::clasp_arms::alloy_words(alloy);
    let mass = match density(facts.rules, alloy) {
        Some(share) => format!(
            ", {} g in {words} (density {}, from memory)",
            units::digits(share * volume_mm3 / 1000.0, 1),
            units::digits(share, 1)
        ),
        None => format!("; no density is held for {words}"),
    };
    let says = format!("The framework's volume is {}{mass}.", units::show(volume_mm3, Unit::Mm3));
    let figure = Estimate::new(volume_mm3, Vec::new()).with(Source::Method, 1e-4 * volume_mm3);
    let finding = Finding::new(CHECK, "framework_volume", Verdict::Caution, says);
    file.findings.push(finding.figure(&figure, Unit::Mm3));
}

/// Density of an alloy, g/cm3; `None` where no figure is held.
pub(super) fn density(rules: &Rules, alloy: Alloy) -> Option<f64> {
    let id = match alloy {
        Alloy::CobaltChromium => "density_cobalt_chromium_share",
        Alloy::Titanium | Alloy::TitaniumAlloy => "density_titanium_share",
        Alloy::GoldTypeIv => "density_gold_type_iv_share",
        Alloy::Peek => "density_peek_share",
        Alloy::StainlessSteel | Alloy::PlatinumGold | Alloy::Acetal => return None,
    };
    Some(rules.number(id))
}
