//! How long parsing, welding and indexing of 500 k triangles take (asked for: under 0.5 s), from bytes made in memory.

use criterion::{Criterion, criterion_group, criterion_main};
use saddleroom::load;
use saddleroom::mesh::{Topology, audit};
use saddleroom::units::LengthUnit;
use std::hint::black_box;

/// Squares along one side of the test surface: 2 * 500 * 500 triangles.
const SIDE: u32 = 500;

fn place(i: u32, j: u32) -> [f32; 3] {
    let (x, y) = (i as f32 * 0.13, j as f32 * 0.12);
    [x, y, 4.0 * (1.0 - ((x - 32.0) / 40.0).powi(2)) + 0.3 * ((i * 7 + j * 13) % 5) as f32 * 0.01]
}

fn triangles() -> impl Iterator<Item = [(u32, u32); 3]> {
    (0..SIDE * SIDE).flat_map(|k| {
        let (i, j) = (k % SIDE, k / SIDE);
        [[(i, j), (i + 1, j), (i + 1, j + 1)], [(i, j), (i + 1, j + 1), (i, j + 1)]]
    })
}

fn stl() -> Vec<u8> {
    let mut bytes = vec![b' '; 80];
    bytes.extend((2 * SIDE * SIDE).to_le_bytes());
    for triangle in triangles() {
        bytes.extend([0; 12]);
        triangle.iter().flat_map(|(i, j)| place(*i, *j)).for_each(|c| bytes.extend(c.to_le_bytes()));
        bytes.extend([0; 2]);
    }
    bytes
}

fn ply() -> Vec<u8> {
    let n = SIDE + 1;
    let mut bytes = format!(
        "ply\nformat binary_little_endian 1.0\nelement vertex {}\nproperty float x\nproperty float y\nproperty float \
         z\nelement face {}\nproperty list uchar int vertex_indices\nend_header\n",
        n * n,
        2 * SIDE * SIDE
    )
    .into_bytes();
    (0..n * n).flat_map(|k| place(k % n, k / n)).for_each(|c| bytes.extend(c.to_le_bytes()));
    for triangle in triangles() {
        bytes.push(3);
        triangle.iter().for_each(|(i, j)| bytes.extend((j * n + i).to_le_bytes()));
    }
    bytes
}

fn load_500k(c: &mut Criterion) {
    let mut group = c.benchmark_group("load_500k");
    group.sample_size(10);
    for (name, bytes) in [("stl_binary", stl()), ("ply_binary", ply())] {
        group.bench_function(name, |b| {
            b.iter(|| {
                let import = load::read(black_box(&bytes), LengthUnit::Mm).expect("a sound file");
                let topology = Topology::new(&import.mesh);
                (import, topology)
            });
        });
    }
    let import = load::read(&stl(), LengthUnit::Mm).expect("a sound file");
    let topology = Topology::new(&import.mesh);
    group.bench_function("audit", |b| b.iter(|| audit::audit(black_box(&import.mesh), &topology)));
    group.finish();
}

criterion_group!(benches, load_500k);
criterion_main!(benches);
