//! Making a pair of casts: fields, contour, refining. 0.3 mm as a scanner delivers it, 0.6 mm as tests use it.

use criterion::{Criterion, criterion_group, criterion_main};
use saddleroom::case::Arch;
use saddleroom::phantom::demo;
use saddleroom::phantom::patient::casts;
use saddleroom::phantom::scan::{Density, scan};

fn pairs(c: &mut Criterion) {
    let patient = demo::oban_patient();
    let mut group = c.benchmark_group("pair_of_casts");
    group.sample_size(10);
    for edge_mm in [0.6, 0.3] {
        group.bench_function(format!("{edge_mm}_mm"), |b| {
            b.iter(|| {
                let pair = casts(&patient);
                [Arch::Mandible, Arch::Maxilla]
                    .map(|arch| scan(pair.cast(arch), &Density::even(edge_mm)).faces().len())
            })
        });
    }
    group.finish();
}

criterion_group!(benches, pairs);
criterion_main!(benches);
