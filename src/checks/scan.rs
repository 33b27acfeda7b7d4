//! Check: The scans.

use super::{Check, Part};
use crate::facts::Facts;
use crate::mesh::audit::{Defect, DefectKind};
use crate::report::{Finding, Question, Verdict, Where};

/// The check.
pub const CHECK: Check = Check {
    id: "scan",
    title: "The scans",
    measures: "Looks through both files for what would spoil a figure: an unlikely unit, a surface that faces inward, the \
               negative of an arch, holes, an inner wall, swapped arches, both arches in one file, the same file given twice, \
               a gap on the side opposite to the chart. Each is named with count and place. Nothing is changed that could \
               change a figure. Slivers, doubled triangles and unused points are listed with the file, not here.",
    limits: &[],
    method: "loading.md",
    run,
};

fn run(facts: &Facts<'_>) -> Part {
    let mut part = Part::default();
    let mut arches: Vec<_> = std::iter::once(&facts.restored).chain(facts.opposing.as_ref()).collect();
    arches.sort_by_key(|a| a.arch);
    for arch in arches {
        let name = format!("{} ({})", arch.arch.word(), arch.scan.file);
        part.findings.extend(arch.defects.iter().filter_map(|d| finding(&name, d)));
    }
    for defect in &facts.pair_defects {
        part.findings.extend(finding("both scans", defect));
    }
    if facts.pair_defects.iter().any(|d| d.kind == DefectKind::GapOnOtherSide) {
        part.questions.push(Question {
            to: "dentist".into(),
            text: "On which side are the teeth missing? The scan shows the gap on the side opposite to the chart.".into(),
            because: "either the scan is mirrored or the chart names the wrong side".into(),
        });
    }
    part
}

/// What a defect means for the figures; `None` where it changes none.
fn finding(name: &str, d: &Defect) -> Option<Finding> {
    use DefectKind::*;
    let code = match d.kind {
        UnlikelyUnit => "unlikely_unit",
        InsideOut => "inside_out",
        Negative => "negative",
        InnerWall => "inner_wall",
        Hole => "holes",
        NonManifoldEdge => "non_manifold_edges",
        InconsistentFacing => "inconsistent_facing",
        SeveralShells => "several_shells",
        FarFromOrigin => "far_from_origin",
        UnfinishedFile => "unfinished_file",
        SwappedArches => "swapped_arches",
        BothArchesInOne => "both_arches_in_one",
        GapOnOtherSide => "gap_on_other_side",
        SameFileTwice => {
            let says = format!("Room between the arches: not measured. {}", d.says);
            let finding = Finding::new(CHECK.id, "same_file_twice", Verdict::NotMeasured, says);
            return Some(finding.settled_by("the scan of the opposing arch"));
        }
        TriangleWithoutArea | DuplicateTriangle | Sliver | OpenBorder | Debris | UnusedVertex
        | IgnoredContent | PolygonSplit => return None,
    };
    let mut place = Where::default();
    if let Some(p) = &d.at {
        place = place.at(p);
    }
    let mut found = Finding::new(CHECK.id, code, Verdict::Caution, format!("{name}: {}", d.says))
        .at(place)
        .with("count", d.count)
        .with("mended", d.mended);
    if let Some(mend) = settled_by(d.kind) {
        found = found.settled_by(mend);
    }
    Some(found)
}

fn settled_by(kind: DefectKind) -> Option<&'static str> {
    use DefectKind::*;
    match kind {
        UnlikelyUnit => Some("[scans] unit in the case file, or --unit"),
        Negative => Some("a scan of the cast, or the file turned over in the scanner's software"),
        SwappedArches => Some("the file names in [scans]"),
        BothArchesInOne => Some("one file for each arch"),
        GapOnOtherSide => Some("the dentist: which side"),
        Hole | InnerWall | SeveralShells | UnfinishedFile => Some("a new export of the scan"),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::super::test_cases::{defect, plate_case};
    use super::*;
    use crate::case::Arch;
    use crate::rules::Rules;

    #[test]
    fn what_spoils_figures_is_a_caution_and_the_same_file_twice_leaves_room_unmeasured() {
        let mut case = plate_case(Arch::Mandible, &[36], |_| {});
        if let Some(scan) = &mut case.mandible {
            scan.import.defects = vec![defect(DefectKind::UnlikelyUnit), defect(DefectKind::UnusedVertex)];
        }
        let rules = Rules::standard();
        let mut facts = Facts::new(&case, &rules).unwrap();
        facts.pair_defects = vec![defect(DefectKind::SameFileTwice), defect(DefectKind::GapOnOtherSide)];
        let part = run(&facts);
        let verdict = |code: &str| part.findings.iter().find(|f| f.code == code).map(|f| f.verdict);
        assert_eq!(verdict("unlikely_unit"), Some(Verdict::Caution));
        assert_eq!(verdict("same_file_twice"), Some(Verdict::NotMeasured));
        assert_eq!(verdict("gap_on_other_side"), Some(Verdict::Caution));
        assert!(part.findings.iter().any(|f| f.says.contains("plate.stl") && f.settled_by.is_some()));
        assert_eq!(part.questions.len(), 1);
        assert!(!part.findings.iter().any(|f| f.code.contains("vertex")));
    }
}
