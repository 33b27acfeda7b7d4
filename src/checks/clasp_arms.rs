//! Check: Clasp arms.

use super::undercut::{self, ClaspTip};
use super::{Check, Part};
use crate::case::{Alloy, Clasp, ClaspKind};
use crate::estimate::{Estimate, Measured, NotMeasured, Source};
use crate::facts::Facts;
use crate::mechanics::clasp_flexure::{self, Arm, Section};
use crate::report::{ClaspArmShown, Finding, Mechanics, Verdict, Where};
use crate::rules::Rule;
use crate::units::{self, Unit};

/// The check.
pub const CHECK: Check = Check {
    id: "clasp_arms",
    title: "Clasp arms",
    measures: "For each clasp asked for, the arm as a tapering elastic beam held at its origin: force and greatest stress when \
               its tip is spread by the undercut that it engages, against the stress at which its material sets; the least \
               length of arm that stays under it; the force to draw the tip off along the path, with the angle of the \
               wall and friction. Straight and bent round the crown are both given: a bent arm is stiffer. Section, taper \
               and friction are assumed. Pairs of cast clasps on a sphere were drawn off with 2.3, 4.7 and 7.6 N at \
               0.25, 0.50 and 0.75 mm (TSE, published, abstract); others measured 11 to 16 N (TAN). The beam leaves such \
               figures by a factor of two and more, so nothing is judged: a stress over the limit is pointed out.",
    limits: &[
        "clasp_half_round_mm",
        "clasp_round_mm",
        "clasp_taper_share",
        "clasp_friction_share",
        "clasp_wall_deg",
        "modulus_cobalt_chromium_gpa",
        "modulus_gold_type_iv_gpa",
        "modulus_titanium_gpa",
        "modulus_titanium_alloy_gpa",
        "modulus_stainless_steel_gpa",
        "modulus_platinum_gold_gpa",
        "modulus_peek_gpa",
        "modulus_acetal_gpa",
        "proof_cobalt_chromium_mpa",
        "proof_gold_type_iv_mpa",
        "proof_titanium_mpa",
        "proof_titanium_alloy_mpa",
        "proof_stainless_steel_mpa",
        "proof_platinum_gold_mpa",
        "undercut_cast_circumferential_mm",
        "undercut_bar_mm",
        "undercut_wrought_wire_mm",
    ],
    method: "support.md",
    run,
};

/// Share of a straight arm's figures by which the beam is taken to be off.
const METHOD_SHARE: f64 = 0.25;

fn run(facts: &Facts<'_>) -> Part {
    let mut part = Part::default();
    for read in read(facts) {
        let place = Where::tooth(read.clasp.tooth).on(read.clasp.surface);
        match shown(facts, &read) {
            Ok(shown) => {
                part.findings.push(finding(facts, &read, &shown).at(place));
                part.mechanics.join(Mechanics { clasps: vec![shown], ..Mechanics::default() });
            }
            Err(reason) => {
                let what = format!(
                    "Arm of the clasp on {} {}",
                    facts.tooth_words(read.clasp.tooth),
                    read.clasp.surface.word()
                );
                let says = format!("{what}: not worked out, because {}.", reason.because);
                part.findings
                    .push(Finding::new(CHECK.id, "clasp_arm_unknown", Verdict::Caution, says).at(place));
            }
        }
    }
    part
}

/// A clasp asked for, with its tip and its arm.
#[derive(Clone, Debug)]
pub(super) struct Read {
    /// What is asked for.
    pub clasp: Clasp,
    /// Its tip.
    pub tip: Measured<ClaspTip>,
    /// Its material.
    pub alloy: Alloy,
    /// Angle of the wall to the path at the tip, degrees.
    pub wall_deg: f64,
    /// Its arm; the reason where it has none.
    pub arm: Measured<Arm>,
}

/// The clasps of the case, with their tips and arms.
pub(super) fn read(facts: &Facts<'_>) -> Vec<Read> {
    let clasps = &facts.case.file.design.clasps;
    if clasps.is_empty() {
        return Vec::new();
    }
    clasps
        .iter()
        .zip(undercut::clasp_tips(facts))
        .map(|(clasp, tip)| {
            let alloy = alloy(clasp);
            let given = tip.as_ref().ok().and_then(|t| t.wall_deg).filter(|w| *w > 0.0);
            let arm = arm(facts, clasp, alloy, tip.as_ref().ok());
            let wall_deg = given.unwrap_or_else(|| facts.rules.number("clasp_wall_deg"));
            Read { clasp: *clasp, tip, alloy, wall_deg, arm }
        })
        .collect()
}

/// The material asked for; else what such a clasp is usually made of.
pub(crate) fn alloy(clasp: &Clasp) -> Alloy {
    clasp.alloy.unwrap_or(match clasp.kind {
        ClaspKind::WroughtWire => Alloy::StainlessSteel,
        ClaspKind::CastCircumferential | ClaspKind::Bar => Alloy::CobaltChromium,
    })
}

fn arm(facts: &Facts<'_>, clasp: &Clasp, alloy: Alloy, tip: Option<&ClaspTip>) -> Measured<Arm> {
    let number = |id: &str| facts.rules.number(id);
    let length_mm = clasp.arm_mm.or_else(|| tip.map(girth_mm)).ok_or_else(|| {
        NotMeasured::new("its length is not given and its crown is not known", "arm_mm in [design] clasps")
    })?;
    let wire = clasp.kind == ClaspKind::WroughtWire;
    let section = if wire {
        Section::Round { diameter_mm: number("clasp_round_mm") }
    } else {
        Section::HalfRound { radius_mm: number("clasp_half_round_mm") }
    };
    let taper_share = if wire { 1.0 } else { number("clasp_taper_share") };
    let modulus_mpa = 1000.0 * number(modulus(alloy));
    Ok(Arm { section, taper_share, length_mm, modulus_mpa })
}

/// Half the girth of a crown, mm: the way of an arm that embraces as much as is taught.
fn girth_mm(tip: &ClaspTip) -> f64 {
    std::f64::consts::PI * (tip.half_mm[0] + tip.half_mm[1]) / 2.0
}

pub(crate) fn modulus(alloy: Alloy) -> &'static str {
    match alloy {
        Alloy::CobaltChromium => "modulus_cobalt_chromium_gpa",
        Alloy::GoldTypeIv => "modulus_gold_type_iv_gpa",
        Alloy::Titanium => "modulus_titanium_gpa",
        Alloy::TitaniumAlloy => "modulus_titanium_alloy_gpa",
        Alloy::StainlessSteel => "modulus_stainless_steel_gpa",
        Alloy::PlatinumGold => "modulus_platinum_gold_gpa",
        Alloy::Peek => "modulus_peek_gpa",
        Alloy::Acetal => "modulus_acetal_gpa",
    }
}

/// The stress at which a material sets; `None` for polymers, of which no figure was seen.
fn proof<'r>(facts: &'r Facts<'_>, alloy: Alloy) -> Option<&'r Rule> {
    Some(facts.rules.get(match alloy {
        Alloy::CobaltChromium => "proof_cobalt_chromium_mpa",
        Alloy::GoldTypeIv => "proof_gold_type_iv_mpa",
        Alloy::Titanium => "proof_titanium_mpa",
        Alloy::TitaniumAlloy => "proof_titanium_alloy_mpa",
        Alloy::StainlessSteel => "proof_stainless_steel_mpa",
        Alloy::PlatinumGold => "proof_platinum_gold_mpa",
        Alloy::Peek | Alloy::Acetal => return None,
    }))
}

pub(crate) fn alloy_words(alloy: Alloy) -> &'static str {
    match alloy {
        Alloy::CobaltChromium => "cobalt-chromium",
        Alloy::GoldTypeIv => "type IV gold",
        Alloy::Titanium => "titanium",
        Alloy::TitaniumAlloy => "titanium alloy",
        Alloy::StainlessSteel => "stainless steel",
        Alloy::PlatinumGold => "platinum-gold-palladium",
        Alloy::Peek => "PEEK",
        Alloy::Acetal => "acetal",
    }
}

fn shown(facts: &Facts<'_>, read: &Read) -> Measured<ClaspArmShown> {
    let arm = read.arm.as_ref().map_err(Clone::clone)?;
    let undercut_mm = undercut::wanted_mm(facts, read.clasp.kind);
    let refused = |e: clasp_flexure::ArmError| NotMeasured::new(e.to_string(), "arm_mm in [design] clasps");
    let spread = clasp_flexure::spread(arm, undercut_mm).map_err(refused)?;
    let radius = read.tip.as_ref().ok().map(|t| (t.half_mm[0] + t.half_mm[1]) / 2.0);
    let curved = radius.and_then(|r| clasp_flexure::curved_share(arm.length_mm, r));
    let limit = proof(facts, read.alloy).map(|r| r.number);
    let least =
        limit.map(|l| clasp_flexure::least_length_mm(arm, undercut_mm, l)).transpose().map_err(refused)?;
    let friction = facts.rules.number("clasp_friction_share");
    let withdrawal = clasp_flexure::withdrawal_n(spread.force_n, read.wall_deg, friction);
    Ok(ClaspArmShown {
        tooth: read.clasp.tooth,
        surface: read.clasp.surface,
        kind: read.clasp.kind,
        alloy: read.alloy,
        arm_mm: units::json(arm.length_mm),
        arm_given: read.clasp.arm_mm.is_some(),
        undercut_mm: units::json(undercut_mm),
        force_n: units::json(spread.force_n),
        force_curved_n: curved
            .filter(|_| read.clasp.kind != ClaspKind::Bar)
            .map(|c| units::json(c * spread.force_n)),
        stress_mpa: units::json(spread.stress_mpa),
        limit_mpa: limit,
        least_arm_mm: least.map(units::json),
        wall_deg: units::json(read.wall_deg),
        withdrawal_n: withdrawal.map(units::json),
    })
}

fn finding(facts: &Facts<'_>, read: &Read, shown: &ClaspArmShown) -> Finding {
    let mpa = |v: f64| format!("{} MPa", units::digits(v, 0));
    let n = |v: f64| units::show(v, Unit::N);
    let assumed = if shown.arm_given { "" } else { ", taken as half the girth of its crown" };
    let mut says = format!(
        "Clasp on {} {}: to spread its {} arm of {}{assumed} by {} takes {} if it were straight",
        facts.tooth_words(shown.tooth),
        shown.surface.word(),
        alloy_words(shown.alloy),
        units::mm(shown.arm_mm),
        units::mm(shown.undercut_mm),
        n(shown.force_n)
    );
    if let Some(curved) = shown.force_curved_n {
        says += &format!(", {} bent round the crown", n(curved));
    }
    says += &format!("; greatest stress {}", mpa(shown.stress_mpa));
    says += &match shown.withdrawal_n {
        Some(w) => {
            format!("; drawn off by {} along a wall at {} to the path.", n(w), units::deg(shown.wall_deg))
        }
        None => "; on so flat a wall friction alone holds it.".to_owned(),
    };
    if read.tip.as_ref().is_ok_and(|t| !t.reached) {
        says += " The undercut is not reached on this surface: the figures hold for the depth that it wants.";
    }
    let figure =
        Estimate::new(shown.stress_mpa, vec![]).with(Source::Method, METHOD_SHARE * shown.stress_mpa);
    let beyond = shown.limit_mpa.map(|l| (shown.stress_mpa - l) / l);
    let code = match (beyond, shown.least_arm_mm) {
        (Some(over), Some(least)) if over > METHOD_SHARE => {
            says += &format!(
                " That is over the stress at which the material sets: the straight arm would have to be {} long, or more slender, \
                 or engage less.",
                units::mm(least)
            );
            "clasp_arm_sets"
        }
        (Some(over), _) if over.abs() <= METHOD_SHARE => {
            says += " That lies about the stress at which the material sets; the beam does not tell on which side.";
            "clasp_arm_near_limit"
        }
        (None, _) => {
            says += " At what stress such an arm sets is not known here.";
            "clasp_arm"
        }
        _ => "clasp_arm",
    };
    let finding = Finding::new(CHECK.id, code, Verdict::Caution, says).figure(&figure, Unit::Mpa);
    match proof(facts, read.alloy) {
        Some(rule) => finding.limit(rule.shown()),
        None => finding,
    }
}
