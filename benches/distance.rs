//! Distances of a lower arch's vertices to an upper arch's triangles, at the size of a full scan: 128 k vertices
//! against 256 k triangles. `peers.py` times general-purpose libraries on the same work.

use criterion::{Criterion, criterion_group, criterion_main};
use saddleroom::locate::Surface;
use saddleroom::measure::clearance::{self, Antagonist};
use saddleroom::mesh::Mesh;
use saddleroom::space::{Direction, Point, Vector, sin};

/// A sheet 60 mm wide with cusps 2 mm high, `n` squares a side.
fn cusps(n: u32, base: f64, up: bool) -> Mesh {
    let at = |i: u32| 60.0 * f64::from(i) / f64::from(n) - 30.0;
    let vertices = (0..(n + 1) * (n + 1))
        .map(|k| (at(k % (n + 1)), at(k / (n + 1))))
        .map(|(x, y)| Point::new(x, y, base + sin(x * 0.9) + sin(y * 0.9)))
        .collect();
    let mut faces = Vec::new();
    for k in (0..n * n).map(|k| k / n * (n + 1) + k % n) {
        faces.extend([[k, k + 1, k + n + 2], [k, k + n + 2, k + n + 1]]);
    }
    let mesh = Mesh::new(vertices, faces).expect("a grid is a mesh");
    if up { mesh } else { mesh.turned_over() }
}

fn distances(c: &mut Criterion) {
    let (lower, upper) = (cusps(357, 0.0, true), cusps(358, 6.0, false));
    let mut group = c.benchmark_group("128k_vertices_256k_triangles");
    group.sample_size(10);
    group.bench_function("build", |b| b.iter(|| Surface::new(&upper)));
    let (tissue, opposing) = (Surface::new(&lower), Surface::new(&upper));
    let opening = Direction::new_normalize(Vector::z());
    group.bench_function("closest", |b| b.iter(|| opposing.closest_each(lower.vertices())));
    let antagonist = Antagonist::new(&opposing, &opening);
    group.bench_function("along_one_thread", |b| {
        b.iter(|| lower.vertices().iter().filter(|p| antagonist.along(p).is_some()).count())
    });
    group.bench_function("clearance_map", |b| b.iter(|| clearance::map(&tissue, &opposing, &opening)));
    group.finish();
}

criterion_group!(benches, distances);
criterion_main!(benches);
