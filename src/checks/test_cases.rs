//! Cases for the tests of checks that judge by the case file alone: a level plate stands for the cast.

use crate::case::{Arch, Case, CaseFile, Chart, Scan, Scans, Tooth};
use crate::load;
use crate::mesh::audit::{Defect, DefectKind};
use crate::phantom::{solids, stl};
use crate::units::LengthUnit;

pub(super) fn teeth(fdi: &[u8]) -> Vec<Tooth> {
    fdi.iter().map(|&n| Tooth::fdi(n).unwrap()).collect()
}

/// A case whose restored arch is a plate, with what `edit` makes of its file.
pub(super) fn plate_case(restored: Arch, missing: &[u8], edit: impl FnOnce(&mut CaseFile)) -> Case {
    let mut file = CaseFile::bare("plate", restored, Scans::default());
    file.chart = Some(Chart { missing: teeth(missing), ..Chart::default() });
    edit(&mut file);
    let bytes = stl::binary(&solids::plate([60.0, 50.0], 5.0), "plate");
    let import = load::read(&bytes, LengthUnit::Mm).unwrap();
    let scan = Some(Scan { file: "plate.stl".into(), sha256: String::new(), import, labels: None });
    let (mandible, maxilla) = if restored == Arch::Mandible { (scan, None) } else { (None, scan) };
    Case::new(file, mandible, maxilla)
}

pub(super) fn defect(kind: DefectKind) -> Defect {
    Defect { kind, count: 1, at: None, says: "it is so.".into(), mended: false }
}
