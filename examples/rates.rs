//! Times the program's geometry on two casts and prints one JSON line a task:
//! `{"task", "peer", "threads", "n", "build_s", "query_s", "check"}`. The withdrawal direction is +z of the file's axes;
//! `query_s` is the least of five runs, `build_s` the preparation of a cast for all directions (`undercut_depth` counts
//! what the first depths prepare). `closest` and `nearest` ask for the surface and the vertices of UPPER. The last lines
//! show how the time for one direction grows with the size of a row of barrels, and the peak of memory, MB.
//!
//! `cargo run --release --example rates LOWER.stl UPPER.stl`; without names a synthetic row of barrels is used.

#![allow(clippy::print_stdout)] // an example shows its result

use std::time::Instant;

use rayon::prelude::*;
use saddleroom::anatomy::{Anatomy, Crown, KnownFrame, Origin, Region};
use saddleroom::case::{Arch, Surface, Tooth};
use saddleroom::load;
use saddleroom::locate;
use saddleroom::measure::path_of_insertion::{self, Asked, Held, Limits, Weights};
use saddleroom::measure::undercut::Surveyor;
use saddleroom::mesh::{Mesh, Topology};
use saddleroom::phantom::solids::{Barrel, barrel_row};
use saddleroom::space::{self, Direction, Frame, Point, Vector};
use saddleroom::units::LengthUnit;

const REPEATS: usize = 5;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let names: Vec<String> = std::env::args().skip(1).collect();
    let lower = match names.first() {
        Some(name) => read(name)?,
        None => synthetic(),
    };
    let upper = names.get(1).map(|name| read(name)).transpose()?;
    let d = Direction::new_normalize(Vector::z());
    for threads in [1, rayon::current_num_threads()] {
        let Ok(pool) = rayon::ThreadPoolBuilder::new().num_threads(threads).build() else { continue };
        pool.install(|| tasks(&lower, upper.as_ref(), &d, threads));
    }
    if !names.is_empty()
        && let Ok(pool) = rayon::ThreadPoolBuilder::new().num_threads(1).build()
    {
        pool.install(|| growth(&d));
    }
    Ok(())
}

/// Flags and depths of rows of barrels of about 16 thousand triangles to 2 million; `check` is the time, in
/// nanoseconds, for each triangle and each doubling of their number.
fn growth(d: &Direction) {
    for edge_mm in [0.7, 0.35, 0.175, 0.0875, 0.0625] {
        let barrel = Barrel { belly_mm: 3.5, belly_at_mm: 3.5, height_mm: 7.0, wall_mm: 6.0 };
        let mesh = barrel_row(&[barrel; 14], 7.2, edge_mm);
        let start = Instant::now();
        let surveyor = Surveyor::new(&mesh, &Topology::new(&mesh));
        let build = start.elapsed().as_secs_f64();
        let (seconds, _) = least_of(2, || surveyor.field(d));
        let n = mesh.faces().len() as f64;
        emit("undercut_depth_growth", 1, mesh.faces().len(), build, seconds, 1e9 * seconds / (n * n.log2()));
    }
    if let Some(mb) = peak_mb() {
        emit("peak_memory_mb", 1, 0, 0.0, 0.0, mb);
    }
}

/// Greatest memory that this run has held, MB; `None` where the system does not tell.
fn peak_mb() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse::<f64>().ok().map(|kb| kb / 1024.0)
}

/// Exact distance to the surface of the other cast, and the nearest of its vertices, from every vertex.
fn distances(lower: &Mesh, upper: &Mesh, threads: usize) {
    let n = lower.vertices().len();
    let start = Instant::now();
    let surface = locate::Surface::new(upper);
    let build = start.elapsed().as_secs_f64();
    let mean = |all: &[f64]| all.iter().step_by(997).sum::<f64>() / all.len().div_ceil(997).max(1) as f64;
    let (seconds, found) = least(|| surface.closest_each(lower.vertices()));
    let distance: Vec<f64> = found.iter().flatten().map(|c| c.distance_mm).collect();
    emit("closest", threads, n, build, seconds, mean(&distance));
    let (seconds, found) = least(|| {
        lower
            .vertices()
            .par_iter()
            .map(|p| surface.nearest_vertex(p).map_or(0.0, |v| v.1))
            .collect::<Vec<_>>()
    });
    emit("nearest", threads, n, build, seconds, mean(&found));
}

fn tasks(lower: &Mesh, upper: Option<&Mesh>, d: &Direction, threads: usize) {
    let n = lower.vertices().len();
    let start = Instant::now();
    let topology = Topology::new(lower);
    let surveyor = Surveyor::new(lower, &topology);
    let build = start.elapsed().as_secs_f64();
    let (seconds, flags) = least(|| surveyor.tilted(d).flags());
    let undercut = flags.iter().filter(|f| **f == Some(true)).count();
    emit("occluded", threads, n, build, seconds, undercut as f64);
    let (first, _) = least_of(1, || surveyor.field(d));
    let (seconds, field) = least(|| surveyor.field(d));
    let depths: Vec<f64> = field.depth_mm.iter().copied().flatten().collect();
    emit(
        "undercut_depth",
        threads,
        n,
        build + (first - seconds).max(0.0),
        seconds,
        depths.iter().sum::<f64>() / depths.len().max(1) as f64,
    );
    let mut ways: Vec<f64> = directions().iter().map(|d| least_of(1, || surveyor.field(d)).0).collect();
    ways.sort_by(f64::total_cmp);
    emit("undercut_depth_median_of_13", threads, n, build, ways[ways.len() / 2], 0.0);
    emit("undercut_depth_worst_of_13", threads, n, build, ways[ways.len() - 1], 0.0);
    if let Some(upper) = upper {
        distances(lower, upper, threads);
    }
    path_search_1000(lower, &topology, &surveyor, d, threads);
}

/// A search over a thousand tilts about `d`. The places that it looks at stand in for those of a case: four crowns are
/// the surface within 4.5 mm of the highest place in each quarter of the cast along its longest extent, and the tissue
/// crossed is what lies 3 to 8 mm below the top between the outer two. `build_s` counts the reduction of the cast and
/// the first direction, `query_s` the whole search; `check` is the number of tilts tried.
fn path_search_1000(mesh: &Mesh, topology: &Topology, surveyor: &Surveyor, d: &Direction, threads: usize) {
    let Some(anatomy) = stand_in(mesh, d) else { return };
    let held: Vec<Held> = anatomy
        .crowns
        .iter()
        .map(|c| Held { tooth: c.tooth, gauge_mm: 0.25, surfaces: vec![Surface::Buccal, Surface::Lingual] })
        .collect();
    let limits = Limits {
        cone_deg: 15.0,
        step_deg: 0.905,
        tip_above_margin_mm: 1.0,
        ceiling_mm: 0.762,
        guiding_deg: [2.0, 5.0],
        guiding_height_mm: [1.5, 2.0],
        band_mm: [3.0, 8.0],
        palatal_border_mm: 6.0,
        scan_mm: 0.06,
        reduced_within_mm: 0.02,
    };
    let weights =
        Weights { retention: 3.0, balance: 1.0, guiding: 2.0, tissue: 2.0, blockout: 1.0, lean: 2.0 };
    let asked = |limits| Asked {
        mesh,
        topology,
        surveyor,
        anatomy: &anatomy,
        arch: Arch::Mandible,
        held: &held,
        limits,
        weights: &weights,
        given: None,
    };
    // A single tilt costs what comes before the search.
    let few = Limits { step_deg: 15.0, ..limits };
    let (build, _) = least_of(1, || path_of_insertion::search(&asked(&few)).map(|s| s.tried.len()));
    let (seconds, found) = least_of(1, || path_of_insertion::search(&asked(&limits)));
    if let Ok(found) = found {
        emit("path_search_1000", threads, mesh.vertices().len(), build, seconds, found.tried.len() as f64);
        emit("path_search_triangles", threads, mesh.faces().len(), 0.0, 0.0, found.reduced.triangles as f64);
    }
}

/// Crowns and tissue for a cast of which nothing else is known. `None` where nothing stands up.
fn stand_in(mesh: &Mesh, up: &Direction) -> Option<Anatomy> {
    let (low, high) = mesh.bounds()?;
    let size = high - low;
    let long = if size.x >= size.y { Vector::x() } else { Vector::y() };
    let front = up.cross(&long);
    let frame = Frame::new(Point::from((low.coords + high.coords) / 2.0), *up, front, true)?;
    let share = |p: &Point| (p - low).dot(&long) / size.dot(&long);
    let height = |p: &Point| p.coords.dot(up);
    let mut crowns = Vec::new();
    for (k, fdi) in [35u8, 33, 43, 45].into_iter().enumerate() {
        let quarter = |p: &Point| (share(p) * 4.0).floor() as usize == k;
        let top =
            mesh.vertices().iter().filter(|p| quarter(p)).max_by(|a, b| height(a).total_cmp(&height(b)))?;
        let near = |p: &Point| (p - top).norm() < 4.5;
        let faces: Vec<u32> =
            (0..mesh.faces().len() as u32).filter(|&f| mesh.corners(f).iter().all(near)).collect();
        let mut vertices: Vec<u32> = faces.iter().flat_map(|&f| mesh.faces()[f as usize]).collect();
        vertices.sort_unstable();
        vertices.dedup();
        let centre = top - up.into_inner() * 2.0;
        let margin = (0..32)
            .map(|i| f64::from(i) * std::f64::consts::TAU / 32.0)
            .map(|a| {
                centre - up.into_inner() * 2.0
                    + (frame.left.into_inner() * space::cos(a) + frame.anterior.into_inner() * space::sin(a))
                        * 4.0
            })
            .collect();
        crowns.push(Crown {
            tooth: Tooth::fdi(fdi)?,
            faces,
            vertices,
            margin,
            centre,
            area_mm2: 50.0,
            confidence: 1.0,
            origin: Origin::Given,
        });
    }
    let top = crowns.iter().map(|c| height(&c.centre)).fold(f64::INFINITY, f64::min) + 2.0;
    let tooth: Vec<bool> = {
        let mut is = vec![false; mesh.vertices().len()];
        crowns.iter().flat_map(|c| &c.vertices).for_each(|&v| is[v as usize] = true);
        is
    };
    let region = mesh.vertices().iter().zip(&tooth).map(|(p, tooth)| {
        let below = top - height(p);
        match (*tooth, (0.2..0.8).contains(&share(p)) && (3.0..8.0).contains(&below)) {
            (true, _) => Region::Tooth,
            (_, true) => Region::ResidualRidge,
            _ => Region::Other,
        }
    });
    let known = KnownFrame::given(frame, 1.0);
    Some(Anatomy { region: region.collect(), crowns, ..Anatomy::bare(Ok(known), mesh.vertices().len()) })
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
