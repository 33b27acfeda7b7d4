//! Time of undercut flags and depths by the size of the cast: rows of barrels of about 16 to 256 thousand triangles.

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use saddleroom::measure::undercut::Surveyor;
use saddleroom::mesh::Topology;
use saddleroom::phantom::solids::{Barrel, barrel_row};
use saddleroom::space::{Direction, Vector};

fn survey(c: &mut Criterion) {
    let barrel = Barrel { belly_mm: 3.5, belly_at_mm: 3.5, height_mm: 7.0, wall_mm: 6.0 };
    let d = Direction::new_normalize(Vector::new(0.1, -0.05, 1.0));
    let mut group = c.benchmark_group("survey");
    group.sample_size(10);
    for edge_mm in [0.7, 0.35, 0.175] {
        let mesh = barrel_row(&[barrel; 14], 7.2, edge_mm);
        let surveyor = Surveyor::new(&mesh, &Topology::new(&mesh));
        let n = mesh.faces().len();
        group.bench_function(BenchmarkId::new("flags", n), |b| b.iter(|| surveyor.tilted(&d).flags()));
        group.bench_function(BenchmarkId::new("depths", n), |b| b.iter(|| surveyor.field(&d)));
    }
    group.finish();
}

criterion_group!(benches, survey);
criterion_main!(benches);
