//! The tori of one cast.

use super::{cautions, shown};
use crate::case::{Arch, Case, CaseFile, Scan, Scans};
use crate::checks::CHECKS;
use crate::facts::Facts;
use crate::report::{Tool, ToriFile};
use crate::rules::Rules;

/// Tori of a cast.
#[derive(Debug)]
pub struct Tori {
    /// What goes into `tori.json`.
    pub file: ToriFile,
}

/// Looks for tori on a cast of the given arch.
pub fn tori(scan: Scan, arch: Arch, rules: &Rules) -> Tori {
    let file = CaseFile::bare("tori", arch, Scans::default());
    let (mandible, maxilla) = match arch {
        Arch::Mandible => (Some(scan), None),
        Arch::Maxilla => (None, Some(scan)),
    };
    let case = Case::new(file, mandible, maxilla);
    let facts = Facts::new(&case, rules);
    let part = facts
        .as_ref()
        .and_then(|f| CHECKS.iter().find(|c| c.id == "tori").map(|c| (c.run)(f)))
        .unwrap_or_default();
    let mut inputs = facts.as_ref().map(shown::inputs).unwrap_or_default();
    inputs.iter_mut().for_each(|i| i.role = "cast".to_owned());
    Tori {
        file: ToriFile {
            schema: "saddleroom/tori/1".into(),
            tool: Tool::this(),
            inputs,
            frame: facts
                .as_ref()
                .and_then(|f| f.restored.anatomy.frame.as_ref().ok().map(shown::frame_found)),
            tori: part.tori,
            findings: part.findings,
            cautions: cautions::of_tori(),
        },
    }
}
