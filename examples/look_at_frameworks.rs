//! Looks at frameworks that `make_frameworks` wrote: `look_at_frameworks DIR CASE [NAME ..]`. Prints figures and draws pictures.

#![allow(clippy::print_stdout, clippy::unwrap_used)] // an example prints, and ends where a file is missing

use rayon::prelude::*;
use saddleroom::load;
use saddleroom::locate::Surface;
use saddleroom::measure::framework::normal_at;
use saddleroom::mesh::{Mesh, Topology, audit::audit};
use saddleroom::render::picture::{Still, View, png};
use saddleroom::space::{Direction, Point, Vector};
use saddleroom::units::LengthUnit;
use serde_json::Value;
use std::path::Path;

fn mesh(path: &Path) -> Mesh {
    load::read(&std::fs::read(path).unwrap(), LengthUnit::Mm).unwrap().mesh
}

/// Distance from a surface, negative behind it.
fn signed(surface: &Surface, normals: &[Vector], p: &Point) -> f64 {
    let c = surface.closest(p).unwrap();
    let n = normal_at(surface.mesh(), normals, c.face, &c.at);
    if n.dot(&(p - c.at)) < 0.0 { -c.distance_mm } else { c.distance_mm }
}

fn point(v: &Value) -> Option<Point> {
    let n: Vec<f64> = v.as_array()?.iter().filter_map(Value::as_f64).collect();
    (n.len() == 3).then(|| Point::new(n[0], n[1], n[2]))
}

fn shown(p: &Point) -> String {
    format!("[{:.1} {:.1} {:.1}]", p.x, p.y, p.z)
}

fn least(places: &[Point], surface: &Surface, normals: &[Vector]) -> (f64, Point) {
    let all: Vec<f64> = places.par_iter().map(|p| signed(surface, normals, p)).collect();
    let i = (0..all.len()).min_by(|a, b| all[*a].total_cmp(&all[*b])).unwrap();
    (all[i], places[i])
}

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let dir = Path::new(&args[0]).join(&args[1]);
    let names: Vec<String> = if args.len() > 2 { args[2..].to_vec() } else { vec!["frame".to_owned()] };
    for name in names {
        let truth: Value =
            serde_json::from_slice(&std::fs::read(dir.join(format!("{name}-truth.json"))).unwrap()).unwrap();
        let up = point(&truth["withdrawal"]).unwrap().coords;
        let (restored, opposing) = if up.z > 0.0 { ("mandible", "maxilla") } else { ("maxilla", "mandible") };
        let cast = mesh(&dir.join(format!("{restored}.stl")));
        let other = mesh(&dir.join(format!("{opposing}.stl")));
        let frame = mesh(&dir.join(format!("{name}.stl")));
        look(&frame, &cast, &other, &truth, up, &name);
        pictures(&dir, &name, &frame, &cast, up);
    }
}

/// Places with less than `least`, gathered within 4 mm.
fn spots(places: &[Point], all: &[f64], least: f64) -> String {
    let mut spots: Vec<(Point, f64, usize)> = Vec::new();
    for i in (0..all.len()).filter(|&i| all[i] < least) {
        match spots.iter_mut().find(|c| (c.0 - places[i]).norm() < 4.0) {
            Some(c) => *c = (c.0, c.1.min(all[i]), c.2 + 1),
            None => spots.push((places[i], all[i], 1)),
        }
    }
    spots.iter().map(|c| format!("{} {:.3} x{}", shown(&c.0), c.1, c.2)).collect::<Vec<_>>().join("; ")
}

fn look(frame: &Mesh, cast: &Mesh, other: &Mesh, truth: &Value, up: Vector, name: &str) {
    let topology = Topology::new(frame);
    let (_, pieces) = topology.pieces();
    println!(
        "== {name}: {} triangles, {pieces} pieces, {:.1} mm3",
        frame.faces().len(),
        frame.signed_volume_mm3()
    );
    for d in audit(frame, &topology) {
        println!("  defect {:?} x{} at {:?}", d.kind, d.count, d.at.map(|p| shown(&p)));
    }
    let places: Vec<Point> = frame
        .vertices()
        .iter()
        .copied()
        .chain((0..frame.faces().len() as u32).map(|f| frame.face_centre(f)))
        .collect();
    let (ground, above) = (Surface::new(cast), Surface::new(other));
    let (gn, an) = (cast.vertex_normals(), other.vertex_normals());
    let (d, at) = least(&places, &ground, gn);
    println!("  nearest to the cast {d:.3} at {}", shown(&at));
    let (d, at) = least(&places, &above, an);
    println!("  nearest to the opposing arch {d:.3} at {}", shown(&at));
    let all: Vec<f64> = places.par_iter().map(|p| signed(&above, an, p)).collect();
    println!("  nearer than 0.1 to it: {}", spots(&places, &all, 0.1));
    for t in [0.1, 0.2, 0.4, 0.7, 1.0, 1.5, 2.5, 4.0] {
        let moved: Vec<Point> = places.iter().map(|p| p + up * t).collect();
        let all: Vec<f64> = moved.par_iter().map(|p| signed(&ground, gn, p)).collect();
        println!("  slid {t}: {}", spots(&places, &all, -0.02));
    }
    // What a ray along the withdrawal meets, and how far aside of the cast it is.
    let way = Direction::new_normalize(up);
    let met: Vec<f64> = places
        .par_iter()
        .map(|p| {
            ground.cast(&(p + up * 0.03), &way, 30.0).map_or(1.0, |_| -ground.closest(p).unwrap().distance_mm)
        })
        .collect();
    println!("  under the cast: {}", spots(&places, &met, 0.0));
    let body = Surface::new(frame);
    for part in truth["parts"].as_array().unwrap() {
        let at = point(&part["at_mm"]).unwrap();
        let kind = part["kind"].as_str().unwrap();
        let way = Direction::new_normalize(point(&part["way"]).unwrap().coords);
        let hits: Vec<f64> = body
            .cast_all(&(at - way.into_inner() * 0.5), &way, 8.0)
            .iter()
            .map(|h| h.distance_mm - 0.5)
            .collect();
        let near = body.closest(&at).unwrap().distance_mm;
        println!(
            "  {kind} {} {}: said gap {:.3} thick {:.3}; nearest {near:.3}, ray {:.3?}",
            part["tooth"],
            part["place"],
            part["gap_mm"].as_f64().unwrap(),
            part["thickness_mm"].as_f64().unwrap(),
            hits
        );
    }
}

fn pictures(dir: &Path, name: &str, frame: &Mesh, cast: &Mesh, up: Vector) {
    let n = cast.vertices().len() as u32;
    let vertices = cast.vertices().iter().chain(frame.vertices()).copied().collect();
    let faces = cast.faces().iter().copied().chain(frame.faces().iter().map(|f| f.map(|v| v + n))).collect();
    let both = Mesh::new(vertices, faces).unwrap();
    let colours: Vec<[u8; 3]> = (0..both.vertices().len() as u32)
        .map(|v| if v < n { [225, 205, 190] } else { [110, 130, 170] })
        .collect();
    let views = [
        ("top", up, Vector::y()),
        ("left", Vector::new(0.9, -0.3, 0.4 * up.z), up),
        ("right", Vector::new(-0.9, -0.3, 0.4 * up.z), up),
        ("out-left", Vector::new(-0.9, 0.1, 0.4 * up.z), up),
        ("back", Vector::new(0.0, -0.9, 0.45 * up.z), up),
    ];
    for (view, eye, upward) in views {
        for (what, mesh, colours) in [("both", &both, &colours[..]), ("only", frame, &colours[n as usize..])]
        {
            let still = Still {
                mesh,
                colours,
                view: View { eye: Direction::new_normalize(eye), up: upward },
                lines: &[],
                spots: &[],
                labels: &[],
                scale: None,
            };
            if let Some(bytes) = png(&still) {
                std::fs::write(dir.join(format!("{name}-{view}-{what}.png")), bytes).unwrap();
            }
        }
    }
}
