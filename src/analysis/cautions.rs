//! What stands under a report: what the scan cannot show, and who decides.

const DEFERENCE: &str = "This sheet measures and compares; it prescribes nothing. The licensed dentist and the technician \
    decide, by what they see in the mouth and on the cast and by the rules that hold where they work.";

const TRUENESS: &str = "A figure is no better than the scan. Its trueness is taken as stated in the case file or, unless \
    stated, from published measurements. ± is twice the standard uncertainty; only a margin beyond it is called clear.";

const UNDERCUT: &str = "Scanner software closes surface that it could not see, most of all under deep undercuts: undercut \
    measured on such surface is invented. Look at the scan there before relying on a depth.";

const SOFT_TISSUE: &str = "Soft tissue is recorded as it lay during the scan. It gives way under load and is displaced by \
    retraction, and the floor of the mouth and the vestibule are not recorded in function: depths toward them need a \
    probe in the mouth.";

const ARTICULATION: &str = "Figures between the arches hold for the relation in which the scans stand. A bite that was \
    recorded wrongly, or teeth that overlap in the scan, moves them all.";

const LAID_ON_TEETH: &str = "The scans are laid onto each other on teeth. What all teeth have done together cannot be told from \
    another position of the scan, and a scan of a whole arch bends by about a tenth of a millimetre: a small change far \
    from the teeth may be that bend.";

const AS_DESIGNED: &str = "The framework is measured as its file has it, on the scan on which it was designed: distances between the \
    two hold for that scan and carry none of its error. What casting, milling or printing, fitting and polishing add or take \
    away, and how the scan differs from the mouth, no file shows: the try-in does.";

fn owned(lines: &[&str]) -> Vec<String> {
    lines.iter().map(|&l| l.to_owned()).collect()
}

/// For the whole job.
pub(super) fn of_a_case() -> Vec<String> {
    owned(&[DEFERENCE, TRUENESS, UNDERCUT, SOFT_TISSUE, ARTICULATION])
}

/// For undercut alone.
pub(super) fn of_a_survey() -> Vec<String> {
    owned(&[DEFERENCE, UNDERCUT, SOFT_TISSUE])
}

/// For distances between surfaces.
pub(super) fn of_clearance() -> Vec<String> {
    owned(&[DEFERENCE, ARTICULATION, SOFT_TISSUE])
}

/// For two scans of one arch.
pub(super) fn of_a_comparison() -> Vec<String> {
    owned(&[DEFERENCE, LAID_ON_TEETH, SOFT_TISSUE])
}

/// For a designed framework.
pub(super) fn of_a_framework() -> Vec<String> {
    owned(&[DEFERENCE, AS_DESIGNED, UNDERCUT, SOFT_TISSUE, ARTICULATION])
}

/// For tori.
pub(super) fn of_tori() -> Vec<String> {
    owned(&[DEFERENCE, SOFT_TISSUE])
}
