//! What happens to files when a run is cut off or the system refuses: nothing that was there is lost, nothing half written
//! takes its name, and what went wrong is said in words.
#![cfg(unix)]
#![allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::print_stdout)] // a test may fail loudly anywhere, and says what it skips

mod command;

use std::collections::BTreeMap;
use std::fs;
use std::os::unix::fs::{MetadataExt, PermissionsExt, symlink};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use command::Bench;
use saddleroom::phantom::solids;

const PROGRAM: &str = env!("CARGO_BIN_EXE_saddleroom");

/// All files under a folder, by name relative to it; parts of files that wait for their name are left out.
fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut all = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        let Ok(entries) = next.read_dir() else { continue };
        for entry in entries.flatten() {
            let path = entry.path();
            if path.is_dir() {
                folders.push(path);
            } else if !is_part(&path) {
                all.insert(path.strip_prefix(folder).unwrap().to_owned(), fs::read(&path).unwrap());
            }
        }
    }
    all
}

fn is_part(path: &Path) -> bool {
    let name = path.file_name().unwrap().to_string_lossy();
    name.starts_with(".saddleroom-") && name.ends_with(".part")
}

/// Entries of a folder and of its folder of sections, with the inodes: whatever is made or renamed changes them.
fn state(folder: &Path) -> Vec<(String, u64)> {
    let mut all: Vec<(String, u64)> = [folder.to_owned(), folder.join("sections")]
        .iter()
        .filter_map(|f| f.read_dir().ok())
        .flatten()
        .flatten()
        .filter_map(|e| Some((e.path().display().to_string(), e.metadata().ok()?.ino())))
        .collect();
    all.sort();
    all
}

/// A command whose results are known, with what stood in its folder before and what it writes.
struct Cut {
    words: Vec<String>,
    old: BTreeMap<PathBuf, Vec<u8>>,
    new: BTreeMap<PathBuf, Vec<u8>>,
}

impl Cut {
    fn put_old(&self, out: &Path) {
        let _ = fs::remove_dir_all(out);
        for (name, bytes) in &self.old {
            let path = out.join(name);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(path, bytes).unwrap();
        }
    }

    /// Runs until the folder has changed `changes` times and kills it there. Whether it was cut off.
    fn killed_after(&self, out: &Path, changes: usize) -> bool {
        fs::create_dir_all(out).unwrap();
        let mut words = self.words.clone();
        words.push(out.display().to_string());
        let mut child =
            Command::new(PROGRAM).args(&words).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        let (mut seen, mut last) = (0, state(out));
        let from = Instant::now();
        loop {
            if child.try_wait().unwrap().is_some() {
                return false;
            }
            assert!(from.elapsed() < Duration::from_secs(120), "the program does not end");
            let now = state(out);
            if now != last {
                (seen, last) = (seen + 1, now);
            }
            if seen >= changes {
                child.kill().unwrap();
                child.wait().unwrap();
                return true;
            }
        }
    }

    /// Every file is the old one or the new one, whole; none is lost.
    fn is_whole(&self, out: &Path, when: usize) {
        let there = files(out);
        for (name, bytes) in &there {
            let whole = self.old.get(name) == Some(bytes) || self.new.get(name) == Some(bytes);
            assert!(whole, "after change {when}: {} is neither the old file nor the new one", name.display());
        }
        for name in self.old.keys() {
            assert!(there.contains_key(name), "after change {when}: {} is lost", name.display());
        }
    }

    /// Kills the command at the changes asked for; then a run to the end has to give the new files all the same. How many
    /// runs were cut off: a command that writes little may be quicker than whoever watches it.
    fn holds(&self, bench: &Bench, changes: &[usize]) -> usize {
        let out = bench.path("out");
        let mut cut = 0;
        for &when in changes {
            self.put_old(&out);
            cut += usize::from(self.killed_after(&out, when));
            self.is_whole(&out, when);
        }
        assert!(!self.killed_after(&out, usize::MAX));
        let there = files(&out);
        for (name, bytes) in &self.new {
            assert_eq!(there.get(name), Some(bytes), "{}", name.display());
        }
        cut
    }
}

/// What a command writes into an empty folder.
fn written(bench: &Bench, words: &[String]) -> BTreeMap<PathBuf, Vec<u8>> {
    let out = bench.path("whole");
    let _ = fs::remove_dir_all(&out);
    let mut all = words.to_vec();
    all.push(out.display().to_string());
    let ran = Command::new(PROGRAM).args(&all).output().unwrap();
    assert!(ran.status.code().unwrap() < 2, "{}", String::from_utf8_lossy(&ran.stderr));
    files(&out)
}

fn words(all: &[&str]) -> Vec<String> {
    all.iter().map(|w| (*w).to_owned()).collect()
}

/// A case that is worked through in no time: a row of bodies for the mandible, with marks.
fn small_case(bench: &Bench) -> String {
    let barrel = solids::Barrel { belly_mm: 3.0, belly_at_mm: 3.5, height_mm: 7.0, wall_mm: 6.0 };
    bench.put("row.stl", &solids::barrel_row(&[barrel; 3], 7.3, 0.9));
    bench.text(
        "case.toml",
        "restored_arch = \"mandible\"\n[scans]\nmandible = \"row.stl\"\n[chart]\nnotation = \"fdi\"\nmissing = [36, 37]\n\
         [path]\nwithdrawal = [0.0, 0.0, 1.0]\n[limits]\ntilt_most_deg = 2.0\npath_step_deg = 5.0\n\
         [marks]\nocclusal_plane = [[0.0, 0.0, 7.0], [9.0, 6.0, 7.0], [-9.0, 6.0, 7.0]]\nmidline = [0.0, 0.0, 7.0]\n",
    )
}

#[test]
fn a_check_that_is_killed_at_any_write_leaves_old_files_or_new_ones_whole() {
    let bench = Bench::new();
    let case = small_case(&bench);
    let check = words(&["check", &case, "--quiet", "--out"]);
    let new = written(&bench, &check);
    // What an earlier run left, told apart from the new files by what is in it.
    let old = new.keys().map(|name| (name.clone(), name.display().to_string().into_bytes())).collect();
    let every = new.len();
    let cut = Cut { words: check, old, new };
    let changes: Vec<usize> = (1..=2 * every).step_by(5).collect();
    assert!(cut.holds(&bench, &changes) > 0, "no run was cut off");
}

#[test]
fn a_demo_or_a_comparison_that_is_killed_leaves_no_half_of_a_file() {
    let bench = Bench::new();
    let demo = words(&["demo", "--case", "oban", "--quiet"]);
    // What it writes is what is committed (`tests/demo_files.rs`).
    let new = files(&Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-meshes/oban"));
    let cut = Cut { new, words: demo, old: BTreeMap::new() };
    cut.holds(&bench, &[2]);
    small_case(&bench);
    let row = bench.name("row.stl");
    let compare =
        words(&["compare", &row, &row, "--arch", "mandible", "--missing", "36,37", "--quiet", "--out"]);
    let old =
        [(PathBuf::from("change.json"), b"old".to_vec()), (PathBuf::from("change.ply"), b"old".to_vec())];
    let cut = Cut { new: written(&bench, &compare), words: compare, old: BTreeMap::from(old) };
    cut.holds(&bench, &[1, 3]);
}

#[test]
fn what_stands_in_a_file_is_never_obeyed_by_a_terminal() {
    let bench = Bench::new();
    let case = bench.text(
        "case.toml",
        "restored_arch = \"mandible\"\n\"\\u001b[31mkey\" = 1\n# \u{9b}31m \u{1b}[2J comment\n[scans]\nmandible = \"\\u001b[2Jx\"\nunknown = 3\n",
    );
    let ply = bench.text("cast.ply", "ply\nformat a\u{1b}[31mscii 1.0\u{7}\nend_header\n");
    for line in [&["check", &case][..], &["survey", &ply, "--withdrawal", "0,0,1"]] {
        let ran = command::saddleroom(line).ends(2);
        let obeyed = |c: char| c.is_control() && c != '\n' && c != '\t';
        assert!(!ran.err.contains(obeyed) && !is_fault(&ran.err), "{:?}", ran.err);
    }
}

/// A small survey, run by a shell that has set limits first; `None` where there is no shell.
fn limited(bench: &Bench, limits: &str, more: &str) -> Option<std::process::Output> {
    let cast = bench.put("cast.stl", &solids::icosphere(5.0, 0.3));
    let line = format!(
        "{limits} exec '{PROGRAM}' survey '{cast}' --withdrawal 0,0,1 {more} --out '{}'",
        bench.name("out")
    );
    let ran = Command::new("bash").args(["-c", &line]).output();
    if ran.is_err() {
        println!("skipped: limits of the system on a run: no bash");
    }
    ran.ok()
}

/// Whether the program tells of a fault of its own.
fn is_fault(said: &str) -> bool {
    said.contains("panicked") || said.contains("fault in the program")
}

fn refused(ran: &std::process::Output, word: &str) {
    let said = String::from_utf8_lossy(&ran.stderr);
    assert_eq!(ran.status.code(), Some(2), "{said}");
    assert!(said.contains(word) && !is_fault(&said), "{said}");
}

#[test]
fn a_full_disk_is_said_so_and_nothing_is_replaced() {
    let bench = Bench::new();
    let out = bench.path("out");
    fs::create_dir(&out).unwrap();
    fs::write(out.join("survey.ply"), b"old").unwrap();
    fs::write(out.join("survey.json"), b"old").unwrap();
    // Files of at most 64 blocks of 1024 bytes, as when the disk is full after so many.
    let Some(ran) = limited(&bench, "trap '' XFSZ; ulimit -f 64;", "") else { return };
    refused(&ran, "cannot write");
    let there = files(&out);
    assert_eq!(there.len(), 2, "{:?}", there.keys());
    assert!(there.values().all(|b| b == b"old"));
    assert_eq!(state(&out).len(), 2, "a part of a file was left behind");
}

#[test]
fn a_disk_that_is_really_full_is_said_so() {
    let bench = Bench::new();
    let out = bench.path("out");
    fs::create_dir(&out).unwrap();
    let mount = Command::new("mount").args(["-t", "tmpfs", "-o", "size=64k", "none"]).arg(&out).output();
    if !mount.is_ok_and(|m| m.status.success()) {
        println!("skipped: a full disk of its own: a tmpfs cannot be mounted here");
        return;
    }
    let ran = limited(&bench, "", "");
    let left = state(&out);
    let unmounted = Command::new("umount").arg(&out).status().unwrap();
    assert!(unmounted.success());
    if let Some(ran) = ran {
        refused(&ran, "cannot write");
        assert!(left.is_empty(), "{left:?}");
    }
}

#[test]
fn too_few_file_handles_end_in_words_or_in_whole_files() {
    let bench = Bench::new();
    let all = limited(&bench, "", "");
    if all.is_none() {
        return;
    }
    let whole = files(&bench.path("out"));
    for handles in [4, 5, 6, 8, 10, 12, 64] {
        let out = bench.path("out");
        fs::remove_dir_all(&out).unwrap();
        fs::create_dir(&out).unwrap();
        let Some(ran) = limited(&bench, &format!("ulimit -n {handles};"), "--threads 2") else { return };
        let said = String::from_utf8_lossy(&ran.stderr).into_owned();
        assert!(!is_fault(&said), "{handles}: {said}");
        let there = files(&out);
        match ran.status.code() {
            Some(0) => assert_eq!(there, whole, "{handles}"),
            // The loader of the system itself may want more.
            Some(2 | 127) => assert!(there.is_empty() && !said.is_empty(), "{handles}: {said}"),
            other => panic!("{handles}: ended with {other:?}: {said}"),
        }
    }
}

#[test]
fn a_folder_that_may_not_be_written_to_is_named() {
    let bench = Bench::new();
    let out = bench.path("out");
    fs::create_dir(&out).unwrap();
    fs::write(out.join("survey.json"), b"old").unwrap();
    fs::set_permissions(&out, fs::Permissions::from_mode(0o555)).unwrap();
    let root = fs::write(out.join("probe"), b"").is_ok();
    let (cast, out_name) = (bench.put("cast.stl", &solids::icosphere(5.0, 1.0)), bench.name("out"));
    fs::set_permissions(bench.dir.path(), fs::Permissions::from_mode(0o755)).unwrap();
    let mut line: Vec<&str> = Vec::new();
    if root {
        fs::remove_file(out.join("probe")).unwrap();
        line.extend(["setpriv", "--reuid", "65534", "--regid", "65534", "--clear-groups"]);
    }
    line.extend([PROGRAM, "survey", &cast, "--withdrawal", "0,0,1", "--out", &out_name]);
    let ran = Command::new(line[0]).args(&line[1..]).output();
    match ran {
        Ok(ran)
            if ran.status.code() != Some(127)
                && !String::from_utf8_lossy(&ran.stderr).contains("setpriv") =>
        {
            refused(&ran, "ermission denied");
        }
        _ => println!("skipped: a folder without the right to write: root without setpriv"),
    }
    assert_eq!(fs::read(out.join("survey.json")).unwrap(), b"old");
    assert_eq!(fs::read_dir(&out).unwrap().count(), 1);
}

#[test]
fn a_link_in_the_output_folder_is_replaced_and_what_it_points_to_is_not_touched() {
    let bench = Bench::new();
    let cast = bench.put("cast.stl", &solids::icosphere(5.0, 1.0));
    let out = bench.path("out");
    fs::create_dir(&out).unwrap();
    let mine = bench.text("mine.json", "my own file");
    symlink(&mine, out.join("survey.json")).unwrap();
    symlink(bench.path("nowhere"), out.join("survey.ply")).unwrap();
    let survey = |folder: &Path| {
        command::saddleroom(&[
            "survey",
            &cast,
            "--withdrawal",
            "0,0,1",
            "--out",
            &folder.display().to_string(),
        ])
    };
    survey(&out).ends(0);
    assert_eq!(fs::read_to_string(&mine).unwrap(), "my own file");
    assert!(!bench.path("nowhere").exists());
    for name in ["survey.json", "survey.ply"] {
        assert!(out.join(name).symlink_metadata().unwrap().is_file(), "{name} is still a link");
    }
    // A link to an input is that input.
    let before = fs::read(&cast).unwrap();
    fs::remove_file(out.join("survey.ply")).unwrap();
    symlink(&cast, out.join("survey.ply")).unwrap();
    survey(&out).refuses_with(&["is an input"]);
    assert_eq!(fs::read(&cast).unwrap(), before);
}

#[test]
fn results_may_stand_beside_the_inputs_and_leave_them_alone() {
    let bench = Bench::new();
    let cast = bench.put("cast.stl", &solids::icosphere(5.0, 1.0));
    let before = fs::read(&cast).unwrap();
    let folder = bench.dir.path().display().to_string();
    command::saddleroom(&["survey", &cast, "--withdrawal", "0,0,1", "--out", &folder]).ends(0);
    assert_eq!(fs::read(&cast).unwrap(), before);
    assert!(bench.path("survey.json").exists() && bench.path("survey.ply").exists());
}

#[test]
fn an_input_that_changes_while_it_is_read_is_read_as_it_was_or_refused() {
    use sha2::{Digest, Sha256};
    let bench = Bench::new();
    let path = bench.path("cast.stl");
    let whole = saddleroom::phantom::stl::binary(&solids::icosphere(5.0, 0.2), "cast");
    let short = whole[..whole.len() / 2].to_vec();
    fs::write(&path, &whole).unwrap();
    let stop = std::sync::atomic::AtomicBool::new(false);
    let order = std::sync::atomic::Ordering::Relaxed;
    let mut ended = [0, 0];
    std::thread::scope(|scope| {
        scope.spawn(|| {
            // Written in place, as a program that saves over its own file does.
            while !stop.load(order) {
                for bytes in [&short, &whole] {
                    fs::write(&path, bytes).unwrap();
                }
            }
        });
        for _ in 0..20 {
            let ran = Command::new(PROGRAM)
                .args([
                    "survey",
                    &path.display().to_string(),
                    "--withdrawal",
                    "0,0,1",
                    "--format",
                    "json",
                    "--quiet",
                ])
                .output()
                .unwrap();
            let said = String::from_utf8_lossy(&ran.stderr).into_owned();
            assert!(!is_fault(&said), "{said}");
            match ran.status.code() {
                Some(0) => {
                    // What was measured is what the sum of the bytes says.
                    let json: serde_json::Value = serde_json::from_slice(&ran.stdout).unwrap();
                    let sum: String = Sha256::digest(&whole).iter().map(|b| format!("{b:02x}")).collect();
                    assert_eq!(json["inputs"][0]["sha256"], sum.as_str());
                    ended[0] += 1;
                }
                Some(2) => {
                    assert!(said.contains("cast.stl") && ran.stdout.is_empty(), "{said}");
                    ended[1] += 1;
                }
                other => panic!("ended with {other:?}: {said}"),
            }
        }
        stop.store(true, order);
    });
    assert_eq!(ended[0] + ended[1], 20);
}

/// Peak memory of a run that has ended is not told; it is read while it runs, kB.
fn peak_of(line: &[&str]) -> (Option<i32>, u64) {
    let mut child =
        Command::new(line[0]).args(&line[1..]).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    let status = format!("/proc/{}/status", child.id());
    let mut peak = 0;
    loop {
        if let Ok(text) = fs::read_to_string(&status)
            && let Some(kb) = text.lines().find_map(|l| l.strip_prefix("VmHWM:"))
        {
            peak = peak.max(kb.trim().trim_end_matches(" kB").parse().unwrap_or(0));
        }
        if let Some(ended) = child.try_wait().unwrap() {
            return (ended.code(), peak);
        }
        std::thread::sleep(Duration::from_millis(5));
    }
}

/// A wavy surface of 60 by 60 mm, 2 n^2 triangles, as binary STL.
fn wavy(n: u32) -> Vec<u8> {
    let corner = |i: u32, j: u32| {
        let at = |k: u32| f64::from(k) / f64::from(n) * 60.0;
        let (x, y) = (at(i), at(j));
        [x, y, 4.0 * saddleroom::space::sin(0.3 * x) * saddleroom::space::cos(0.2 * y)].map(|c| c as f32)
    };
    let mut bytes = vec![b' '; 80];
    bytes.extend((2 * n * n).to_le_bytes());
    for (i, j) in (0..n).flat_map(|i| (0..n).map(move |j| (i, j))) {
        let [a, b, c, d] = [corner(i, j), corner(i + 1, j), corner(i + 1, j + 1), corner(i, j + 1)];
        for triangle in [[a, b, c], [a, c, d]] {
            bytes.extend([0; 12]);
            triangle.as_flattened().iter().for_each(|v| bytes.extend(v.to_le_bytes()));
            bytes.extend([0; 2]);
        }
    }
    bytes
}

#[test]
fn a_scan_of_two_million_triangles_is_audited_in_bounded_memory() {
    if !Path::new("/proc/self/status").exists() {
        println!("skipped: peak memory of a run: the system does not tell it");
        return;
    }
    let bench = Bench::new();
    let cast = bench.name("large.stl");
    fs::write(&cast, wavy(1000)).unwrap();
    let (code, peak_kb) = peak_of(&[PROGRAM, "audit", &cast, "--quiet"]);
    assert!(code.is_some_and(|c| c < 2), "{code:?}");
    let bytes = fs::metadata(&cast).unwrap().len();
    assert!(1024 * peak_kb < 20 * bytes + 100_000_000, "{peak_kb} kB for a file of {bytes} bytes");
}
