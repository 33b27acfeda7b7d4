//! What is printed and written. A file that exists is whole: written beside its name, then renamed.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::{Common, Failure, Format};

/// Prints to standard output. A reader that has gone away is no fault.
pub(super) fn print(text: &str) -> Result<(), Failure> {
    let mut out = anstream::AutoStream::auto(io::stdout());
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(e) if e.kind() != io::ErrorKind::BrokenPipe => Err(Failure::new(
            format!("cannot write to standard output: {e}"),
            "look at where it is redirected to",
        )),
        _ => Ok(()),
    }
}

/// Prints the sheet or the JSON, as asked.
pub(super) fn show(common: &Common, sheet: impl FnOnce() -> String, json: &[u8]) -> Result<(), Failure> {
    match common.format {
        Format::Text => print(&sheet()),
        Format::Json => print(&String::from_utf8_lossy(json)),
    }
}

/// A note on standard error, such as what was written.
pub(super) fn note(common: &Common, text: &str) {
    if !common.quiet {
        // A closed standard error is no reason to stop.
        let _ = writeln!(io::stderr(), "{text}");
    }
}

/// Files to be written into one folder: name relative to it, and bytes.
pub(super) type Files = Vec<(String, Vec<u8>)>;

/// A folder for results that exists and is not in the way of any input.
#[derive(Debug)]
pub(super) struct OutFolder {
    path: PathBuf,
}

impl OutFolder {
    /// Makes the folder where it is not there yet.
    pub(super) fn new(path: &Path) -> Result<OutFolder, Failure> {
        if path.exists() && !path.is_dir() {
            return Err(Failure::new(
                format!("--out {} is a file, not a folder", path.display()),
                "name a folder; it is made where it does not exist",
            ));
        }
        std::fs::create_dir_all(path)
            .map_err(|e| Failure::io("make the folder", path, &e, "name a folder that you may write to"))?;
        Ok(OutFolder { path: path.to_owned() })
    }

    /// Writes all files: each whole beside its name, and only when all are whole, renames them into place. Refuses to
    /// replace an input.
    pub(super) fn write(&self, files: &Files, inputs: &[PathBuf]) -> Result<(), Failure> {
        let inputs: Vec<PathBuf> = inputs.iter().filter_map(|p| p.canonicalize().ok()).collect();
        let mut targets = Vec::with_capacity(files.len());
        for (name, bytes) in files {
            let target = self.path.join(name);
            if target.canonicalize().is_ok_and(|t| inputs.contains(&t)) {
                return Err(Failure::new(
                    format!("{} is an input; it will not be overwritten", target.display()),
                    "name another folder with --out",
                ));
            }
            if target.is_dir() {
                return Err(Failure::new(
                    format!("{} is a folder where a file is to be written", target.display()),
                    "move it away, or name another folder with --out",
                ));
            }
            targets.push((target, bytes));
        }
        let ready: Vec<_> = targets.par_iter().map(|(target, bytes)| self.beside(target, bytes)).collect();
        let ready = ready.into_iter().collect::<Result<Vec<_>, Failure>>()?;
        for (file, (target, _)) in ready.into_iter().zip(targets) {
            file.persist(&target).map_err(|e| {
                Failure::io("put in place", &target, &e.error, "what was there before is still whole")
            })?;
        }
        Ok(())
    }

    fn beside(&self, target: &Path, bytes: &[u8]) -> Result<tempfile::NamedTempFile, Failure> {
        let refuse = |e: io::Error| {
            Failure::io(
                "write",
                target,
                &e,
                "look at the space left and the right to write; nothing was replaced",
            )
        };
        let folder = target.parent().unwrap_or(&self.path);
        std::fs::create_dir_all(folder).map_err(refuse)?;
        // A result is no secret of one user: the usual rights, less what the user's mask takes away.
        beside(folder, 0o666, bytes).map_err(refuse)
    }

    /// The first of the files that already stands here with other content.
    pub(super) fn first_that_differs<'f>(&self, files: &'f Files) -> Option<&'f str> {
        let differs =
            |name: &str, bytes: &[u8]| std::fs::read(self.path.join(name)).is_ok_and(|b| b != bytes);
        files.iter().find(|(name, bytes)| differs(name, bytes)).map(|(name, _)| name.as_str())
    }

    /// Where a file of it lies.
    pub(super) fn file(&self, name: &str) -> PathBuf {
        self.path.join(name)
    }
}

/// A whole file that waits in `folder` to be renamed into place, with those rights (less what the user's mask takes away).
///
/// # Errors
/// What the system refused; nothing is left behind.
pub(crate) fn beside(folder: &Path, rights: u32, bytes: &[u8]) -> io::Result<tempfile::NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(".saddleroom-").suffix(".part");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(std::fs::Permissions::from_mode(rights));
    }
    #[cfg(not(unix))]
    let _ = rights;
    let mut file = builder.tempfile_in(folder)?;
    file.write_all(bytes)?;
    file.flush()?;
    Ok(file)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_of_somebody_else_is_seen() {
        let dir = tempfile::tempdir().unwrap();
        let out = OutFolder::new(dir.path()).unwrap();
        let files = vec![("a".to_owned(), b"one".to_vec()), ("b".to_owned(), b"two".to_vec())];
        assert_eq!(out.first_that_differs(&files), None);
        out.write(&files, &[]).unwrap();
        assert_eq!(out.first_that_differs(&files), None);
        std::fs::write(dir.path().join("b"), b"mine").unwrap();
        assert_eq!(out.first_that_differs(&files), Some("b"));
    }

    #[test]
    fn a_file_is_replaced_whole_and_an_input_never() {
        let dir = tempfile::tempdir().unwrap();
        let out = OutFolder::new(dir.path()).unwrap();
        out.write(&vec![("a.json".into(), b"one".to_vec())], &[]).unwrap();
        out.write(&vec![("a.json".into(), b"two".to_vec()), ("s/b.svg".into(), vec![])], &[]).unwrap();
        assert_eq!(std::fs::read(dir.path().join("a.json")).unwrap(), b"two");
        assert!(dir.path().join("s/b.svg").exists());
        let refused = out.write(&vec![("a.json".into(), b"three".to_vec())], &[dir.path().join("a.json")]);
        assert!(refused.is_err());
        assert_eq!(std::fs::read(dir.path().join("a.json")).unwrap(), b"two");
        assert_eq!(std::fs::read_dir(dir.path()).unwrap().count(), 2, "no part of a file is left behind");
    }
}
