//! Check: Hinged or rigid.

mod loads;
mod ranges;
mod scene;
mod shown;
#[cfg(test)]
mod tests;
mod words;

use super::{Check, Part};
use crate::case::Tooth;
use crate::estimate::NotMeasured;
use crate::facts::Facts;
use crate::mechanics::answers::{Answer, Asked, answer};
use crate::mechanics::equilibrium::Unheld;
use crate::mechanics::scene::{Kind, Load, Stiffness};
use crate::mechanics::sensitivity::{self, CELL_MM, Ranges, Runs};
use crate::report::{Finding, Mechanics, Where};
use crate::units;
use loads::LoadCase;
use scene::SceneRead;

/// The check.
pub const CHECK: Check = Check {
    id: "support",
    title: "Hinged or rigid",
    measures: "How three designs share the load between abutments and residual ridge: rigid (one framework on rests and \
               guiding plates, clasps as springs), clamped (held to the abutment by an attachment that carries moment), \
               hinged (bases that turn about a hinge with a stop against lifting). Framework and bases are rigid bodies, \
               abutments roots in springy sockets, the measured ridge surface a bed of springs that only push. Each \
               replaced molar is loaded in turn, one base, and all. The stiffness of mucosa, teeth and attachments is not \
               on a scan and spans orders of magnitude in what is published, so all is worked out 240 times over their \
               ranges: the median and the figures that 5 and 95 % of the runs stay under are given, with the input that \
               governs, and it is said where hinged and rigid can be told apart and where they cannot. Nothing is judged.",
    limits: &[
        "support_load_n",
        "support_mucosa_soft_mpa",
        "support_mucosa_firm_mpa",
        "support_mucosa_thin_mm",
        "support_mucosa_thick_mm",
        "support_tooth_axial_low_n_per_mm",
        "support_tooth_axial_high_n_per_mm",
        "support_tooth_lateral_low_n_per_mm",
        "support_tooth_lateral_high_n_per_mm",
        "support_root_short_mm",
        "support_root_long_mm",
        "support_joint_soft_n_mm_per_rad",
        "support_joint_stiff_n_mm_per_rad",
        "support_clasp_times",
        "support_plate_gap_mm",
        "support_hinge_play_deg",
        "support_load_shift_mm",
        "support_differs_share",
        "guiding_plane_height_tooth_mm",
        "guiding_plane_height_extension_mm",
        "site_default_length_mm",
        "site_clear_of_abutment_mm",
    ],
    method: "support.md",
    run,
};

fn run(facts: &Facts<'_>) -> Part {
    let mut part = Part::default();
    // Unasked, what cannot be worked out is nobody's lack.
    let asked = facts.case.file.design.request.is_some();
    let ready = scene::read(facts).and_then(|read| Ok((read, ranges::read(facts)?)));
    match ready {
        Ok((read, ranges)) => worked_out(facts, &read, &ranges, &mut part),
        Err(reason) if asked => part.findings.push(not_measured(&reason)),
        Err(_) => {}
    }
    part
}

fn not_measured(reason: &NotMeasured) -> Finding {
    Finding::not_measured(CHECK.id, "load_not_shared", "How the designs share the load", reason)
}

/// A case worked out: each design under each load at the middle of the ranges, and the runs over the ranges.
struct Worked<'a> {
    read: &'a SceneRead<'a>,
    cases: &'a [LoadCase],
    /// By design, then by load.
    answers: Vec<Vec<Result<Answer, Unheld>>>,
    /// Of each load.
    runs: &'a [Option<Runs>],
    /// How much the joined beds change a share.
    joined_share: f64,
}

fn worked_out(facts: &Facts<'_>, read: &SceneRead<'_>, ranges: &Ranges, part: &mut Part) {
    let (cases, refused) = loads::read(facts, read);
    part.findings.extend(refused.iter().map(|(tooth, reason)| outside(facts, *tooth, reason)));
    let Some(main) = cases.first() else {
        if refused.is_empty() {
            part.findings
                .push(not_measured(&NotMeasured::only("no replaced tooth stands over a known ridge")));
        }
        return;
    };
    let middle = ranges.middle();
    let answers: Vec<Vec<Result<Answer, Unheld>>> = Kind::ALL
        .iter()
        .map(|&kind| cases.iter().map(|case| of(read, kind, &middle, &case.loads)).collect())
        .collect();
    for (k, kind) in Kind::ALL.iter().enumerate() {
        for (case, answer) in cases.iter().zip(&answers[k]) {
            part.findings
                .extend(answer.as_ref().err().map(|why| words::unheld(facts, read, *kind, case, why)));
        }
    }
    let loads: Vec<Vec<Load>> = cases.iter().map(|case| case.loads.clone()).collect();
    let all_runs = sensitivity::run(&read.scene, &loads, ranges);
    let runs = all_runs.first().and_then(Option::as_ref);
    let coarse = read.scene.coarser(CELL_MM);
    let joined_share = Kind::ALL
        .iter()
        .zip(&answers)
        .filter_map(|(&kind, of_kind)| {
            let asked = Asked { scene: &coarse, kind, stiffness: &middle, loads: &main.loads };
            let few = answer(&asked, None).ok()?;
            Some((few.abutment_share - of_kind.first()?.as_ref().ok()?.abutment_share).abs())
        })
        .fold(0.0, f64::max);
    let worked = Worked { read, cases: &cases, answers, runs: &all_runs, joined_share };
    let told_apart = runs.map_or_else(Vec::new, |r| shown::told_apart(facts, r));
    part.findings.extend(words::all(facts, &worked, &told_apart));
    part.mechanics.join(Mechanics {
        designs: shown::designs(facts, &worked),
        told_apart,
        assumed: ranges::shown(facts, ranges, runs),
        main_load: Some(main.words.clone()),
        runs: runs.map(|r| r.used),
        ..Mechanics::default()
    });
}

impl Worked<'_> {
    /// The runs of the main load.
    fn main_runs(&self) -> Option<&Runs> {
        self.runs.first().and_then(Option::as_ref)
    }
}

fn of(read: &SceneRead<'_>, kind: Kind, stiffness: &Stiffness, loads: &[Load]) -> Result<Answer, Unheld> {
    answer(&Asked { scene: &read.scene, kind, stiffness, loads }, None)
}

/// A load that could not be put on.
fn outside(facts: &Facts<'_>, tooth: Tooth, reason: &NotMeasured) -> Finding {
    let what = format!("The load on {}", facts.tooth_words(tooth));
    Finding::not_measured(CHECK.id, "load_outside_base", &what, reason).at(Where::tooth(tooth))
}

/// A share in per cent, as it stands in a sentence.
fn percent(share: f64) -> String {
    format!("{} %", units::digits(100.0 * share, 0))
}
