//! Time of the search for tori, frame and teeth known, by the size of the mandible: about 65 and 260 thousand triangles.

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use saddleroom::anatomy::teeth::{self, Known};
use saddleroom::case::{Arch, Chart, Marks};
use saddleroom::facts::torus_settings;
use saddleroom::locate::Surface;
use saddleroom::measure::torus;
use saddleroom::mesh::Topology;
use saddleroom::phantom::patient::casts;
use saddleroom::phantom::people;
use saddleroom::phantom::scan::{Density, scan};
use saddleroom::rules::Rules;

fn tori(c: &mut Criterion) {
    let patient = people::drawn(7);
    let missing = patient.missing.iter().copied().filter(|t| t.arch() == Arch::Mandible).collect();
    let chart = Chart { missing, ..Chart::default() };
    let cast = casts(&patient).mandible;
    let settings = torus_settings(&Rules::standard());
    let mut group = c.benchmark_group("tori");
    group.sample_size(10);
    for edge_mm in [0.47, 0.233] {
        let mesh = scan(&cast, &Density::even(edge_mm));
        let topology = Topology::new(&mesh);
        let marks = Marks::default();
        let known = Known {
            arch: Arch::Mandible,
            chart: Some(&chart),
            abutments: &[],
            marks: Some(&marks),
            labels: None,
            least_confidence: 0.5,
        };
        let anatomy = teeth::read(&Surface::new(&mesh), &topology, &known);
        group.bench_function(BenchmarkId::from_parameter(mesh.faces().len()), |b| {
            b.iter(|| torus::find(&mesh, &topology, Arch::Mandible, &anatomy, &[], &[], &settings));
        });
    }
    group.finish();
}

criterion_group!(benches, tori);
criterion_main!(benches);
