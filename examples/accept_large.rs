//! What scans of millions of triangles take: each command on a wavy surface, with its time, its peak of memory and how it
//! ended. `cargo run --release --example accept_large -- [TRIANGLES ..]`, by default 2 and 20 million. The program is the
//! one built beside the example. Ends with 1 where a run takes over 20 times the file and 100 MB, or ends in a fault.
//! Reads the peak from /proc; elsewhere it is not told. The table of one run stands in `docs/validation.md`.

#![allow(clippy::print_stdout)] // an example shows its result

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use saddleroom::space::{cos, sin};
use saddleroom::units::digits;

type Failing = Box<dyn std::error::Error>;

fn main() -> Result<(), Failing> {
    let mut sizes: Vec<u64> = std::env::args().skip(1).map(|w| w.parse()).collect::<Result<_, _>>()?;
    if sizes.is_empty() {
        sizes = vec![2_000_000, 20_000_000];
    }
    let folder = tempfile::tempdir()?;
    println!("| triangles | file, MB | command | seconds | peak of memory, MB | allowed, MB | exit |");
    println!("|---|---|---|---|---|---|---|");
    let mut bad = 0;
    for size in sizes {
        let cast = folder.path().join("large.stl");
        let n = ((size as f64 / 2.0).sqrt().round()) as u32;
        wavy(&cast, n)?;
        let bytes = std::fs::metadata(&cast)?.len();
        let out = folder.path().join("out");
        let words: [&[&str]; 2] = [&["audit"], &["survey", "--withdrawal", "0,0,1"]];
        for line in words {
            let ran = run(line, &cast, &out)?;
            let allowed = 20 * bytes + 100_000_000;
            let whole = ran.code.is_some_and(|c| c <= 2) && ran.peak.is_none_or(|p| p <= allowed);
            bad += usize::from(!whole);
            let mb = |b: u64| digits(b as f64 / 1e6, 0);
            println!(
                "| {} | {} | `{}` | {} | {} | {} | {}{} |",
                2 * u64::from(n) * u64::from(n),
                mb(bytes),
                line[0],
                digits(ran.seconds, 0),
                ran.peak.map_or_else(|| "not told".into(), mb),
                mb(allowed),
                ran.code.map_or_else(|| "killed".into(), |c| c.to_string()),
                ran.said
            );
        }
    }
    if bad == 0 { Ok(()) } else { Err(format!("{bad} runs took too much or ended in a fault").into()) }
}

/// A wavy surface of 60 by 60 mm, 2 n^2 triangles, as binary STL.
fn wavy(path: &Path, n: u32) -> Result<(), Failing> {
    let mut file = BufWriter::new(File::create(path)?);
    file.write_all(&[b' '; 80])?;
    file.write_all(&(2 * n * n).to_le_bytes())?;
    let place = |i: u32, j: u32| {
        let at = |k: u32| f64::from(k) / f64::from(n) * 60.0;
        let (x, y) = (at(i), at(j));
        [x, y, 4.0 * sin(0.3 * x) * cos(0.2 * y)].map(|c| c as f32)
    };
    for i in 0..n {
        for j in 0..n {
            let [a, b, c, d] = [place(i, j), place(i + 1, j), place(i + 1, j + 1), place(i, j + 1)];
            for triangle in [[a, b, c], [a, c, d]] {
                file.write_all(&[0; 12])?;
                for v in triangle.as_flattened() {
                    file.write_all(&v.to_le_bytes())?;
                }
                file.write_all(&[0; 2])?;
            }
        }
    }
    Ok(file.flush()?)
}

struct Ran {
    code: Option<i32>,
    seconds: f64,
    peak: Option<u64>,
    said: String,
}

fn program() -> Result<PathBuf, Failing> {
    let own = std::env::current_exe()?;
    let folder = own.parent().and_then(Path::parent).ok_or("the example has no folder")?;
    Ok(folder.join("saddleroom"))
}

fn run(words: &[&str], cast: &Path, out: &Path) -> Result<Ran, Failing> {
    let mut command = Command::new(program()?);
    command.arg(words[0]).arg(cast).args(&words[1..]);
    if words[0] != "audit" {
        command.arg("--out").arg(out);
    }
    let from = Instant::now();
    let mut child = command.arg("--quiet").stdout(Stdio::null()).stderr(Stdio::piped()).spawn()?;
    let status = format!("/proc/{}/status", child.id());
    let mut peak = None;
    while child.try_wait()?.is_none() {
        let text = std::fs::read_to_string(&status).unwrap_or_default();
        let kb = text
            .lines()
            .find_map(|l| l.strip_prefix("VmHWM:")?.trim().strip_suffix(" kB")?.parse::<u64>().ok());
        peak = peak.max(kb.map(|k| 1024 * k));
        std::thread::sleep(Duration::from_millis(20));
    }
    let seconds = from.elapsed().as_secs_f64();
    let done = child.wait_with_output()?;
    let said = String::from_utf8_lossy(&done.stderr).lines().next().unwrap_or_default().to_owned();
    let said = if said.is_empty() { said } else { format!(": {said}") };
    Ok(Ran { code: done.status.code(), seconds, peak, said })
}
