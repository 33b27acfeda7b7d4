//! The text into its file: beside it, then renamed; never over a file that somebody else has changed meanwhile. Marks that
//! are not saved yet lie in a file of their own beside it, so that the end of the program takes none away.

use std::path::{Path, PathBuf};

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

/// Marks that were not saved, as the file beside the case file holds them.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Kept {
    /// The hash of the text on which they were made.
    pub base: Hash,
    /// The text with them.
    pub text: String,
}

/// What begins the file of unsaved marks, before the hash.
const HEAD: &str = "# Marks that were not saved yet, made on a text with SHA-256 ";

/// The file of unsaved marks.
pub(super) fn kept_file(file: &Path) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(".unsaved");
    name.into()
}

/// Keeps unsaved marks beside the case file.
///
/// # Errors
/// What the system refused, in words.
pub(super) fn keep(file: &Path, kept: &Kept) -> Result<(), String> {
    let to = kept_file(file);
    let folder = to.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let text = format!("{HEAD}{}\n{}", hex(&kept.base), kept.text);
    let written = output::beside(folder, rights(file), text.as_bytes())
        .and_then(|beside| beside.persist(&to).map_err(|e| e.error));
    written.map(drop).map_err(|e| format!("{} cannot be written: {e}", to.display()))
}

/// Unsaved marks that lie beside the case file, where a file with that name is one.
pub(super) fn kept(file: &Path) -> Option<Kept> {
    let text = String::from_utf8(now(&kept_file(file))?).ok()?;
    let (head, text) = text.split_once('\n')?;
    let base = unhex(head.strip_prefix(HEAD)?.trim_end())?;
    Some(Kept { base, text: text.to_owned() })
}

/// Takes the file of unsaved marks away, where it is one of ours.
pub(super) fn let_go(file: &Path) {
    if kept(file).is_some() {
        // A file that stays is offered again, with its hash; nothing is lost by it.
        let _ = std::fs::remove_file(kept_file(file));
    }
}

/// Puts the file of unsaved marks aside, under the first name that is free; its new name.
///
/// # Errors
/// What the system refused, in words.
pub(super) fn put_aside(file: &Path) -> Result<PathBuf, String> {
    let from = kept_file(file);
    let free = (1..10_000_u32).map(|n| {
        let mut name = from.as_os_str().to_owned();
        name.push(format!(".{n}"));
        PathBuf::from(name)
    });
    let to = free.into_iter().find(|p| !p.exists()).ok_or("no free name")?;
    std::fs::rename(&from, &to).map_err(|e| format!("{} cannot be renamed: {e}", from.display()))?;
    Ok(to)
}

/// Bytes in hexadecimal.
pub(super) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

fn unhex(text: &str) -> Option<Hash> {
    let byte = |k: usize| u8::from_str_radix(text.get(2 * k..2 * k + 2)?, 16).ok();
    let bytes: Vec<u8> = (0..32).map_while(byte).collect();
    bytes.try_into().ok().filter(|_| text.len() == 64)
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
    fn unsaved_marks_are_kept_with_the_text_they_were_made_on() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("case.toml");
        assert_eq!(kept(&file), None);
        let one = || Kept { base: hash(b"one"), text: "id = 1\n# two\n".into() };
        keep(&file, &one()).unwrap();
        assert_eq!(kept(&file), Some(one()));
        let aside = put_aside(&file).unwrap();
        assert_eq!((kept(&file), aside.exists()), (None, true));
        keep(&file, &one()).unwrap();
        assert_ne!(put_aside(&file).unwrap(), aside, "an older one is not written over");
        // A file of the user's own with that name is neither read nor taken away.
        std::fs::write(kept_file(&file), "mine").unwrap();
        let_go(&file);
        assert_eq!((kept(&file), kept_file(&file).exists()), (None, true));
        keep(&file, &one()).unwrap();
        let_go(&file);
        assert!(!kept_file(&file).exists());
        assert!(keep(&dir.path().join("gone/case.toml"), &one()).unwrap_err().contains("case.toml.unsaved"));
    }

    #[test]
    fn a_case_without_a_file_is_made_once() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("case.toml");
        assert!(matches!(save(&file, "one", None, false).unwrap(), Saved::Done(_)));
        assert_eq!(save(&file, "two", None, false).unwrap(), Saved::Conflict(Some("one".into())));
    }
}
