//! The answers as the report shows them.

use std::collections::BTreeMap;

use super::Worked;
use super::loads::LoadCase;
use super::scene::SceneRead;
use super::words;
use crate::facts::Facts;
use crate::mechanics::answers::{Answer, OnAbutment};
use crate::mechanics::sampling::Band;
use crate::mechanics::scene::Kind;
use crate::mechanics::sensitivity::{Difference, Figure, Runs, Spread};
use crate::report::{
    AbutmentAnswer, AbutmentLoad, ApartShown, BaseAnswer, ClaspAnswer, DesignShown, Governing, LoadAnswer,
    RestAnswer, TurnAnswer,
};
use crate::units;

/// The name of a figure in the report.
pub(super) fn key(figure: Figure) -> &'static str {
    match figure {
        Figure::AbutmentShare => "abutment_share",
        Figure::RidgeShare => "ridge_share",
        Figure::AbutmentMoment => "abutment_moment_n_mm",
        Figure::RidgePeak => "ridge_peak_mpa",
        Figure::RidgeMean => "ridge_mean_mpa",
        Figure::DistalSink => "distal_sink_mm",
        Figure::TipOut => "clasp_tip_move_mm",
    }
}

/// Its band.
pub(super) fn band_of(spread: &Spread, figure: Figure) -> Option<Band> {
    let at = Figure::ALL.iter().position(|f| *f == figure)?;
    spread.bands.get(at).copied()
}

/// The designs that came to rest over the runs.
pub(super) fn designs(facts: &Facts<'_>, worked: &Worked<'_>) -> Vec<DesignShown> {
    let Some(runs) = worked.main_runs() else { return Vec::new() };
    let of = |(k, spread): (usize, &Spread)| design(facts, worked, k, spread);
    runs.designs.iter().enumerate().filter_map(of).collect()
}

fn design(facts: &Facts<'_>, worked: &Worked<'_>, k: usize, spread: &Spread) -> Option<DesignShown> {
    let median = |figure| band_of(spread, figure).map(|b| units::json(b.median));
    let clasps = !worked.read.scene.clasps.is_empty();
    let figures = || Figure::ALL.into_iter().filter(|f| clasps || *f != Figure::TipOut);
    let bands: BTreeMap<String, [f64; 2]> =
        figures().filter_map(|f| Some((key(f).to_owned(), ends(band_of(spread, f)?)))).collect();
    let governed_by = figures()
        .filter_map(|f| {
            let (input, weight) = spread.governed_by.get(Figure::ALL.iter().position(|g| *g == f)?)?;
            Some(Governing {
                figure: key(f).to_owned(),
                input: input.words().to_owned(),
                rank_correlation: units::json(*weight),
            })
        })
        .collect();
    let abutments =
        worked.read.teeth.iter().zip(&spread.abutments).map(|(&tooth, [share, moment])| AbutmentLoad {
            tooth,
            load_share: units::json(share.median),
            load_share_band: ends(*share),
            distal_moment_n_mm: units::json(moment.median),
            distal_moment_band_n_mm: ends(*moment),
            tips: tips_over_runs(moment).to_owned(),
        });
    let loads = worked.cases.iter().zip(worked.answers.get(k)?).zip(worked.runs);
    Some(DesignShown {
        kind: spread.kind.word().to_owned(),
        abutment_share: median(Figure::AbutmentShare)?,
        ridge_share: median(Figure::RidgeShare)?,
        abutment_moment_n_mm: median(Figure::AbutmentMoment)?,
        ridge_peak_mpa: median(Figure::RidgePeak)?,
        ridge_mean_mpa: median(Figure::RidgeMean)?,
        distal_sink_mm: median(Figure::DistalSink)?,
        clasp_tip_move_mm: median(Figure::TipOut).filter(|_| clasps),
        abutments: abutments.collect(),
        bands,
        governed_by,
        loads: loads
            .filter_map(|((case, answer), runs)| {
                let spread = runs.as_ref().and_then(|r| r.designs.get(k));
                let over_ranges = spread.map_or_else(BTreeMap::new, |s| over_ranges(s, clasps));
                Some(LoadAnswer { over_ranges, ..load(facts, worked.read, case, answer.as_ref().ok()?) })
            })
            .collect(),
    })
}

/// 5 %, median and 95 % of each figure, by its name.
fn over_ranges(spread: &Spread, clasps: bool) -> BTreeMap<String, [f64; 3]> {
    let figures = Figure::ALL.into_iter().filter(|f| clasps || *f != Figure::TipOut);
    figures
        .filter_map(|f| {
            let b = band_of(spread, f)?;
            Some((key(f).to_owned(), [b.low, b.median, b.high].map(units::json)))
        })
        .collect()
}

fn ends(band: Band) -> [f64; 2] {
    [units::json(band.low), units::json(band.high)]
}

fn tips_over_runs(moment: &Band) -> &'static str {
    match (moment.low > 0.0, moment.high < 0.0) {
        (true, _) => "distal",
        (_, true) => "mesial",
        _ => "either",
    }
}

/// Where a moment tips its tooth.
pub(super) fn tips(on: &OnAbutment) -> &'static str {
    if on.moment_n_mm() < 1.0 {
        return "none";
    }
    match (on.distal_n_mm.abs() >= on.buccal_n_mm.abs(), on.distal_n_mm > 0.0, on.buccal_n_mm > 0.0) {
        (true, true, _) => "distal",
        (true, false, _) => "mesial",
        (false, _, true) => "buccal",
        (false, _, false) => "lingual",
    }
}

fn load(facts: &Facts<'_>, read: &SceneRead<'_>, case: &LoadCase, answer: &Answer) -> LoadAnswer {
    let force = case.force_n();
    let abutments = read.teeth.iter().zip(&answer.abutments).map(|(&tooth, on)| AbutmentAnswer {
        tooth,
        force_n: units::json(on.load_share * force),
        distal_moment_n_mm: units::json(on.distal_n_mm),
        buccal_moment_n_mm: units::json(on.buccal_n_mm),
        tips: tips(on).to_owned(),
    });
    let rests = read.rests.iter().zip(&answer.rests).map(|(rest, on)| RestAnswer {
        tooth: rest.tooth,
        place: rest.place,
        force_n: units::json(on.force_n),
        lift_mm: units::json(on.lift_mm),
    });
    LoadAnswer {
        load: case.words.clone(),
        teeth: case.teeth.clone(),
        force_n: units::json(force),
        one_side: case.one_side,
        abutment_share: units::json(answer.abutment_share),
        ridge_share: units::json(answer.ridge_share),
        abutments: abutments.collect(),
        rests: rests.collect(),
        clasps: clasps(read, answer),
        bases: bases(facts, read, answer),
        fulcrum_line_mm: answer.fulcrum.as_ref().map(|[a, b]| [units::json_place(a), units::json_place(b)]),
        over_ranges: BTreeMap::new(),
        turns_about: answer.turns_about.map(|t| TurnAnswer {
            at_mm: units::json_place(&t.at),
            axis: units::json_direction(&t.axis),
            angle_deg: units::json(t.angle_deg),
        }),
        unloaded_lift_mm: units::json(unloaded_lift_mm(case, answer)),
        converged: true,
        steps: answer.steps,
        balance_share: answer.balance_share,
    }
}

/// Greatest lift of a rest, or of a base that the load does not stand on, mm.
pub(super) fn unloaded_lift_mm(case: &LoadCase, answer: &Answer) -> f64 {
    let rests = answer.rests.iter().map(|r| r.lift_mm);
    let bases = answer.bases.iter().enumerate().filter(|(i, _)| !case.on(*i)).map(|(_, b)| b.lift_mm);
    rests.chain(bases).fold(0.0, f64::max)
}

fn clasps(read: &SceneRead<'_>, answer: &Answer) -> Vec<ClaspAnswer> {
    read.clasps
        .iter()
        .zip(&answer.clasps)
        .map(|(known, on)| ClaspAnswer {
            tooth: known.clasp.tooth,
            surface: known.clasp.surface,
            along_mm: units::json(on.along_mm),
            across_mm: units::json(on.across_mm),
            force_n: units::json(on.force_n),
            undercut_mm: units::json(known.depth_mm),
            below_survey_line_mm: known.below_mm.map(units::json),
            leaves_undercut: known.below_mm.map(|below| on.along_mm >= below),
        })
        .collect()
}

fn bases(facts: &Facts<'_>, read: &SceneRead<'_>, answer: &Answer) -> Vec<BaseAnswer> {
    read.spans
        .iter()
        .zip(&answer.bases)
        .enumerate()
        .map(|(i, (span, on))| BaseAnswer {
            span: span.teeth.clone(),
            peak_mpa: units::json(on.peak_mpa),
            peak_at_mm: on.peak_at.as_ref().map(units::json_place),
            peak_words: on.peak_at.as_ref().map(|p| words::place(facts, read, i, p)),
            mean_mpa: units::json(on.mean_mpa),
            bearing_share: units::json(on.bearing_share),
            distal_sink_mm: units::json(on.sinks_mm),
            roll_deg: units::json(on.roll_deg),
            lift_mm: units::json(on.lift_mm),
            hinge_turn_deg: on.hinge.map(|h| units::json(h.turn_deg)),
            hinge_on_stop: on.hinge.map(|h| h.on_stop),
        })
        .collect()
}

/// Where hinged and rigid, and hinged and clamped, can be told apart.
pub(super) fn told_apart(facts: &Facts<'_>, runs: &Runs) -> Vec<ApartShown> {
    let least = facts.rules.number("support_differs_share");
    // The mean pressure and the ridge's share follow from the others.
    let wanted = [Figure::AbutmentShare, Figure::AbutmentMoment, Figure::RidgePeak, Figure::DistalSink];
    let of = |d: &Difference| {
        let size =
            |k: usize| runs.designs.get(k).and_then(|s| band_of(s, d.figure)).map_or(0.0, |b| b.median.abs());
        let other = usize::from(d.against == Kind::Clamped);
        let enough = least * size(other).max(size(2));
        let apart = |b: &Band| (b.low > 0.0 || b.high < 0.0) && b.median.abs() >= enough;
        let parts: Vec<[f64; 2]> = d.thirds.iter().filter(|(_, b)| apart(b)).map(|(ends, _)| *ends).collect();
        let told = apart(&d.band);
        let within = match (told, parts.first(), parts.last()) {
            (false, Some(first), Some(last)) => Some([units::json(first[0]), units::json(last[1])]),
            _ => None,
        };
        ApartShown {
            figure: key(d.figure).to_owned(),
            against: d.against.word().to_owned(),
            hinged_less_other: units::json(d.band.median),
            band: ends(d.band),
            told_apart: told,
            governed_by: d.governed_by.0.words().to_owned(),
            within,
            says: words::apart(d, told, within),
        }
    };
    runs.differences.iter().filter(|d| wanted.contains(&d.figure)).map(of).collect()
}
