//! Time of the check of a framework by its size: that of the sample `oban`, its facets cut in four and in nine, some 39, 155 and
//! 348 thousand triangles, with the survey of the case and without reading and writing of files.
//!
//! `cargo bench --bench framework`; `-- --quick` for a first look.

#![allow(clippy::expect_used)] // a bench ends where the samples are missing

use std::collections::BTreeMap;
use std::path::Path;

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use saddleroom::analysis;
use saddleroom::case::{Case, Scan, file};
use saddleroom::load;
use saddleroom::mesh::{Mesh, VertexId};
use saddleroom::rules::Rules;
use saddleroom::space::Point;
use saddleroom::units::LengthUnit;

/// A mesh with each side of its triangles cut in `n`.
fn finer(mesh: &Mesh, n: u32) -> Mesh {
    let mut vertices = Vec::new();
    let mut known: BTreeMap<[(VertexId, u32); 3], VertexId> = BTreeMap::new();
    let mut faces = Vec::new();
    for corners in mesh.faces() {
        // A place by the shares of the corners; on a side and at a corner the same for both triangles.
        let mut at = |shares: [u32; 3]| {
            let mut key =
                [0, 1, 2].map(|k| if shares[k] == 0 { (0, 0) } else { (corners[k] + 1, shares[k]) });
            key.sort_unstable();
            *known.entry(key).or_insert_with(|| {
                let part = |&(v, share): &(VertexId, u32)| {
                    mesh.vertex(v.saturating_sub(1)).coords * (f64::from(share) / f64::from(n))
                };
                vertices.push(Point::from(key.iter().map(part).sum::<saddleroom::space::Vector>()));
                vertices.len() as VertexId - 1
            })
        };
        for i in 0..n {
            for j in 0..n - i {
                let place = |i: u32, j: u32| [n - i - j, i, j];
                faces.push([at(place(i, j)), at(place(i + 1, j)), at(place(i, j + 1))]);
                if i + j + 1 < n {
                    faces.push([at(place(i + 1, j)), at(place(i + 1, j + 1)), at(place(i, j + 1))]);
                }
            }
        }
    }
    Mesh::new(vertices, faces).expect("a finer mesh")
}

fn framework(c: &mut Criterion) {
    let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-meshes");
    let scan = |name: &str| {
        let bytes = std::fs::read(samples.join(name)).expect("a sample");
        let import = load::read(&bytes, LengthUnit::Mm).expect("a mesh");
        Scan { file: name.to_owned(), sha256: String::new(), import, labels: None }
    };
    let rules = Rules::standard();
    let text = std::fs::read_to_string(samples.join("oban/case.toml")).expect("a sample");
    let case = Case {
        file: file::parse(&text, &rules.ids()).expect("a good case file"),
        mandible: Some(scan("oban/mandible.stl")),
        maxilla: Some(scan("oban/maxilla.stl")),
        bite: None,
        attachment: None,
        tilts_beside: false,
    };
    let frame = scan("frameworks/oban.stl");
    let mut group = c.benchmark_group("framework");
    group.sample_size(10);
    for n in [1, 2, 3] {
        let mut finer_frame = frame.clone();
        finer_frame.import.mesh = finer(&frame.import.mesh, n);
        let triangles = finer_frame.import.mesh.faces().len();
        group.bench_function(BenchmarkId::new("checked", triangles), |b| {
            b.iter(|| analysis::framework(&case, &finer_frame, &rules, &|_| {}));
        });
    }
    group.finish();
}

criterion_group!(benches, framework);
criterion_main!(benches);
