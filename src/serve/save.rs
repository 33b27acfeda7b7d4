//! The text into its file: beside it, then renamed; never over a file that somebody else has changed meanwhile.

use std::path::Path;

use sha2::{Digest, Sha256};

use crate::cli::output;

/// What a file held.
pub(super) type Hash = [u8; 32];

/// Longest case file that is read back, bytes; a longer one is no case file.
const LONGEST: u64 = 8 << 20;

/// The hash of a text.
pub(super) fn hash(text: &[u8]) -> Hash {
    Sha256::digest(text).into()
}

/// What came of saving.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Saved {
    /// Written; the hash of what the file holds now.
    Done(Hash),
    /// The file is not what it was: nothing was written. What it holds, where it can be read as text.
    Conflict(Option<String>),
}

/// The text of the file as it is now; `None` where there is none or it is no text.
pub(super) fn now(file: &Path) -> Option<Vec<u8>> {
    let about = std::fs::metadata(file).ok()?;
    (about.is_file() && about.len() <= LONGEST).then(|| std::fs::read(file).ok()).flatten()
}

/// Writes `text`, where the file still holds what `known` says (`None`: there is no file), or in any case where `over`.
///
/// # Errors
/// What the system refused, in words.
pub(super) fn save(file: &Path, text: &str, known: Option<Hash>, over: bool) -> Result<Saved, String> {
    let there = now(file);
    let same = there.as_deref().map(hash) == known && (there.is_some() || !file.exists());
    if !same && !over {
        return Ok(Saved::Conflict(there.and_then(|bytes| String::from_utf8(bytes).ok())));
    }
    let words = |e: std::io::Error| {
        format!("cannot write {}: {e}; look at the space left and the right to write there", file.display())
    };
    if file.is_dir() {
        return Err(format!("{} is a folder; move it away", file.display()));
    }
    // A link stays a link: what it leads to is replaced.
    let target = file.canonicalize().unwrap_or_else(|_| file.to_owned());
    let folder = target.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let beside = output::beside(folder, rights(&target), text.as_bytes()).map_err(words)?;
    beside.as_file().sync_all().map_err(words)?;
    beside.persist(&target).map_err(|e| words(e.error))?;
    Ok(Saved::Done(hash(text.as_bytes())))
}

/// The rights of a file that is replaced; the usual ones where there is none.
#[cfg(unix)]
fn rights(file: &Path) -> u32 {
    use std::os::unix::fs::PermissionsExt;
    std::fs::metadata(file).map_or(0o666, |m| m.permissions().mode() & 0o777)
}

#[cfg(not(unix))]
fn rights(_: &Path) -> u32 {
    0o666
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_changed_meanwhile_is_a_question_and_stays_as_it_is() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("case.toml");
        std::fs::write(&file, "one").unwrap();
        let known = Some(hash(b"one"));
        let Saved::Done(now) = save(&file, "two", known, false).unwrap() else { panic!("not saved") };
        assert_eq!(std::fs::read_to_string(&file).unwrap(), "two");
        std::fs::write(&file, "by another").unwrap();
        let refused = save(&file, "three", Some(now), false).unwrap();
        assert_eq!(refused, Saved::Conflict(Some("by another".into())));
        assert_eq!(std::fs::read_to_string(&file).unwrap(), "by another");
        std::fs::remove_file(&file).unwrap();
        assert_eq!(save(&file, "three", Some(now), false).unwrap(), Saved::Conflict(None), "taken away");
        assert!(matches!(save(&file, "three", Some(now), true).unwrap(), Saved::Done(_)));
        assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 1, "nothing is left beside it");
    }

    #[test]
    fn a_case_without_a_file_is_made_once() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("case.toml");
        assert!(matches!(save(&file, "one", None, false).unwrap(), Saved::Done(_)));
        assert_eq!(save(&file, "two", None, false).unwrap(), Saved::Conflict(Some("one".into())));
    }
}
