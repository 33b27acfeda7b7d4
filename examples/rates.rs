//! Times the program's geometry on two casts and prints one JSON line a task:
//! `{"task", "peer", "threads", "n", "build_s", "query_s", "check"}`. The withdrawal direction is +z of the file's axes;
//! `query_s` is the least of five runs, `build_s` the preparation of a cast for all directions.
//!
//! `cargo run --release --example rates LOWER.stl UPPER.stl`; without names a synthetic row of barrels is used.

#![allow(clippy::print_stdout)] // an example shows its result

use std::time::Instant;

use saddleroom::load;
use saddleroom::measure::undercut::Surveyor;
use saddleroom::mesh::{Mesh, Topology};
use saddleroom::phantom::solids::{Barrel, barrel_row};
use saddleroom::space::{Direction, Vector};
use saddleroom::units::LengthUnit;

const REPEATS: usize = 5;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let names: Vec<String> = std::env::args().skip(1).collect();
    let lower = match names.first() {
        Some(name) => read(name)?,
        None => synthetic(),
    };
    let d = Direction::new_normalize(Vector::z());
    for threads in [1, rayon::current_num_threads()] {
        let Ok(pool) = rayon::ThreadPoolBuilder::new().num_threads(threads).build() else { continue };
        pool.install(|| tasks(&lower, &d, threads));
    }
    Ok(())
}

fn tasks(lower: &Mesh, d: &Direction, threads: usize) {
    let n = lower.vertices().len();
    let start = Instant::now();
    let topology = Topology::new(lower);
    let surveyor = Surveyor::new(lower, &topology);
    let build = start.elapsed().as_secs_f64();
    let (seconds, flags) = least(|| surveyor.tilted(d).flags());
    let undercut = flags.iter().filter(|f| **f == Some(true)).count();
    emit("occluded", threads, n, build, seconds, undercut as f64);
    let (seconds, field) = least(|| surveyor.field(d));
    let depths: Vec<f64> = field.depth_mm.iter().copied().flatten().collect();
    emit(
        "undercut_depth",
        threads,
        n,
        build,
        seconds,
        depths.iter().sum::<f64>() / depths.len().max(1) as f64,
    );
    let mut ways: Vec<f64> = directions().iter().map(|d| least_of(1, || surveyor.field(d)).0).collect();
    ways.sort_by(f64::total_cmp);
    emit("undercut_depth_median_of_13", threads, n, build, ways[ways.len() / 2], 0.0);
    emit("undercut_depth_worst_of_13", threads, n, build, ways[ways.len() - 1], 0.0);
}

/// Thirteen directions: the axes, the diagonals of the faces and of the cube, one of each pair.
fn directions() -> Vec<Direction> {
    let mut all = Vec::new();
    for x in [-1.0, 0.0, 1.0] {
        for y in [-1.0, 0.0, 1.0] {
            for z in [-1.0, 0.0, 1.0] {
                if (z, y, x) > (0.0, 0.0, 0.0) {
                    all.push(Direction::new_normalize(Vector::new(x, y, z)));
                }
            }
        }
    }
    all
}

fn least<T>(work: impl FnMut() -> T) -> (f64, T) {
    least_of(REPEATS, work)
}

fn least_of<T>(repeats: usize, mut work: impl FnMut() -> T) -> (f64, T) {
    let mut once = || {
        let start = Instant::now();
        let result = work();
        (start.elapsed().as_secs_f64(), result)
    };
    let mut best = once();
    for _ in 1..repeats {
        let next = once();
        if next.0 < best.0 {
            best = next;
        }
    }
    best
}

fn emit(task: &str, threads: usize, n: usize, build_s: f64, query_s: f64, check: f64) {
    println!(
        "{}",
        serde_json::json!({ "task": task, "peer": "saddleroom", "threads": threads, "n": n,
            "build_s": (build_s * 1e5).round() / 1e5, "query_s": (query_s * 1e5).round() / 1e5, "check": check })
    );
}

fn read(name: &str) -> Result<Mesh, Box<dyn std::error::Error>> {
    let bytes = std::fs::read(name).map_err(|e| format!("{name}: {e}"))?;
    Ok(load::read(&bytes, LengthUnit::Mm).map_err(|e| format!("{name}: {e}"))?.mesh)
}

/// Fourteen barrels in a row, about 256 thousand triangles.
fn synthetic() -> Mesh {
    let barrel = Barrel { belly_mm: 3.5, belly_at_mm: 3.5, height_mm: 7.0, wall_mm: 6.0 };
    barrel_row(&[barrel; 14], 7.2, 0.175)
}
