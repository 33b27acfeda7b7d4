//! Files to scans and cases. A file is read whole, and only where it is a plain file.

use std::fmt::Write as _;
use std::io::Read;
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use super::failure::Failure;
use crate::case::{self, Arch, Case, CaseFile, Scan, labels};
use crate::load;
use crate::mesh::Mesh;
use crate::rules::Rules;
use crate::units::LengthUnit;

/// Larger files are refused, so that a wrong name cannot fill the memory: 20 M triangles of binary STL are 1 GB.
const MOST_BYTES: u64 = 4_000_000_000;

/// Scans of more triangles are not measured: their time and memory would grow without a figure becoming better.
const MOST_TRIANGLES: usize = 5_000_000;

/// The bytes of a plain file.
pub(super) fn bytes(path: &Path, what: &str) -> Result<Vec<u8>, Failure> {
    let refuse = |e: &std::io::Error| {
        let mend = match e.kind() {
            std::io::ErrorKind::NotFound => {
                "look at the name and the folder; names inside a case file are relative to it"
            }
            std::io::ErrorKind::PermissionDenied => {
                "ask for the right to read it, or copy it to your own folder"
            }
            _ => "copy it to this disk and try again",
        };
        Failure::io(&format!("read the {what}"), path, e, mend)
    };
    let about = std::fs::metadata(path).map_err(|e| refuse(&e))?;
    if about.is_dir() {
        return Err(Failure::new(
            format!("the {what} {} is a directory, not a file", path.display()),
            "name the file inside it",
        ));
    }
    if !about.is_file() {
        return Err(Failure::new(
            format!("the {what} {} is no plain file", path.display()),
            "name a file on disk",
        ));
    }
    if about.len() > MOST_BYTES {
        return Err(Failure::new(
            format!("the {what} {} holds {} bytes, more than {MOST_BYTES}", path.display(), about.len()),
            "export the scan at a lower resolution",
        ));
    }
    let file = std::fs::File::open(path).map_err(|e| refuse(&e))?;
    let mut bytes = Vec::with_capacity(usize::try_from(about.len()).unwrap_or(0));
    // A file that grows while it is read must not grow without bound.
    file.take(MOST_BYTES).read_to_end(&mut bytes).map_err(|e| refuse(&e))?;
    Ok(bytes)
}

/// SHA-256 in hexadecimal.
pub(super) fn sha256(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().fold(String::new(), |mut text, byte| {
        // Writing to a String cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// Reads a scan that is to be measured. `shown` is its name as the user gave it.
pub(super) fn scan(path: &Path, shown: &str, unit: LengthUnit) -> Result<Scan, Failure> {
    with_at_most(MOST_TRIANGLES, path, scan_of_any_size(path, shown, unit)?)
}

fn with_at_most(most: usize, path: &Path, scan: Scan) -> Result<Scan, Failure> {
    let triangles = scan.import.mesh.faces().len();
    if triangles <= most {
        return Ok(scan);
    }
    Err(Failure::new(
        format!("{} has {triangles} triangles; up to {most} are measured", path.display()),
        "export it with fewer: edges of 0.1 mm, some 2,000,000 triangles an arch, are finer than scans are true",
    ))
}

/// Reads a scan, however many triangles it has.
pub(super) fn scan_of_any_size(path: &Path, shown: &str, unit: LengthUnit) -> Result<Scan, Failure> {
    let bytes = bytes(path, "scan")?;
    let import = load::read(&bytes, unit)
        .map_err(|e| Failure::One { says: format!("{}: {e}", path.display()), mend: None })?;
    Ok(Scan { file: shown.to_owned(), sha256: sha256(&bytes), import, labels: None })
}

/// The scan of a command that names one file.
pub(super) fn named_scan(path: &Path, unit: LengthUnit) -> Result<Scan, Failure> {
    scan(path, &path.display().to_string(), unit)
}

/// Both scans of a command that names two files; where neither can be read, both are told.
pub(super) fn two_named_scans(a: &Path, b: &Path, unit: LengthUnit) -> Result<(Scan, Scan), Failure> {
    match rayon::join(|| named_scan(a, unit), || named_scan(b, unit)) {
        (Ok(a), Ok(b)) => Ok((a, b)),
        (Err(a), Err(b)) => Err(Failure::Several(vec![a, b])),
        (Err(e), _) | (_, Err(e)) => Err(e),
    }
}

/// Reads both scans of a case; all that cannot be read is told at once. `folder` is what their names are relative to.
pub(super) fn case(file: CaseFile, folder: &Path) -> Result<(Case, Vec<PathBuf>), Failure> {
    let scans = file.scans.clone();
    let read = |arch: Arch, name: &Option<String>, labels: &Option<String>| {
        let name = name.as_ref()?;
        let path = folder.join(name);
        let read = scan(&path, name, scans.unit)
            .and_then(|s| labels.iter().try_fold(s, |s, l| labelled(s, arch, &folder.join(l))));
        Some((path, read))
    };
    let (mandible, maxilla) = rayon::join(
        || read(Arch::Mandible, &scans.mandible, &scans.mandible_labels),
        || read(Arch::Maxilla, &scans.maxilla, &scans.maxilla_labels),
    );
    let mut failures = Vec::new();
    let mut paths = Vec::new();
    let mut keep = |read: Option<(PathBuf, Result<Scan, Failure>)>| {
        let (path, result) = read?;
        paths.push(path);
        result.map_err(|e| failures.push(e)).ok()
    };
    let (mandible, maxilla) = (keep(mandible), keep(maxilla));
    let bite = keep(read(file.restored, &scans.bite, &None));
    let mut file = file;
    let attachment = match attachment(&mut file, folder) {
        Ok(read) => read.map(|(path, mesh)| {
            paths.push(path);
            mesh
        }),
        Err(failure) => {
            failures.push(failure);
            None
        }
    };
    if !failures.is_empty() {
        return Err(Failure::Several(failures));
    }
    let case = Case { file, mandible, maxilla, bite, attachment, tilts_beside: false };
    if case.scan(case.file.restored).is_none() {
        let arch = case.file.restored.word();
        return Err(Failure::new(
            format!("the {arch} is to be restored, but no scan of it is given"),
            format!("give it: `{arch} = \"...\"` in [scans], or --{arch} FILE"),
        ));
    }
    Ok((case, paths))
}

/// The attachment's mesh, mm, and where it lies; sizes that the case file leaves out become those of the mesh.
fn attachment(file: &mut CaseFile, folder: &Path) -> Result<Option<(PathBuf, Mesh)>, Failure> {
    let asked = file.attachment_by_mesh.as_ref().map(|a| (a.sizes_mm, &a.rest.mesh));
    let sized = file.attachment.as_ref().map(|a| (a.sizes_mm().map(Some), &a.mesh));
    let Some((sizes, Some(named))) = asked.or(sized) else { return Ok(None) };
    let path = folder.join(&named.file);
    let bytes = bytes(&path, "attachment's mesh")?;
    let import = load::read(&bytes, named.unit)
        .map_err(|e| Failure::One { says: format!("{}: {e}", path.display()), mend: None })?;
    let sizes = case::attachment_sizes(&import.mesh, named.unit, sizes).map_err(|says| {
        Failure::new(
            format!("{}: {says}", path.display()),
            "say its unit in [attachment] mesh_unit; x runs along the crest, y across it, z to the opposing arch",
        )
    })?;
    if let Some(by_mesh) = file.attachment_by_mesh.take() {
        file.attachment = Some(by_mesh.rest.sized(sizes));
    }
    Ok(Some((path, import.mesh)))
}

/// A scan with the labels of its teeth.
fn labelled(mut scan: Scan, arch: Arch, path: &Path) -> Result<Scan, Failure> {
    let text = String::from_utf8(bytes(path, "labels")?)
        .map_err(|_| Failure::new(format!("{} is no UTF-8 text", path.display()), "labels are JSON"))?;
    let labels = labels::read(&text, arch, &scan.import)
        .map_err(|e| Failure::One { says: format!("{}: {e}", path.display()), mend: None })?;
    scan.labels = Some(labels);
    Ok(scan)
}

/// The table of limits with the changes of a case.
pub(super) fn rules(file: &CaseFile) -> Result<Rules, Failure> {
    Rules::changed(&file.limits).map_err(|errors| {
        Failure::Several(
            errors
                .iter()
                .map(|e| {
                    Failure::new(e.to_string(), "mend it in the case file, in [limits] or, for the joint, in [articulation]; `explain` lists the limits")
                })
                .collect(),
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scan_of_too_many_triangles_is_refused_with_what_to_do() {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-meshes/oban/mandible.stl");
        let read = || scan_of_any_size(&path, "scan.stl", LengthUnit::Mm).unwrap();
        let triangles = read().import.mesh.faces().len();
        assert!(with_at_most(triangles, &path, read()).is_ok());
        let Err(Failure::One { says, mend }) = with_at_most(triangles - 1, &path, read()) else {
            panic!("not refused")
        };
        assert!(says.contains(&format!("{triangles} triangles; up to {} are", triangles - 1)), "{says}");
        assert!(mend.is_some_and(|m| m.contains("export it with fewer")));
    }
}
