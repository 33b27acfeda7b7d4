//! Measured figures beside the truth of the phantoms, as the table of `docs/method/truth-table.md`:
//! `cargo run --release --example accept_truth > docs/method/truth-table.md`.
//!
//! Truth is a formula on the closed-form solids and the distance function on the casts, never the triangles. The casts
//! are read from `sample-meshes`, as a user's would be.

#![allow(clippy::print_stdout)] // an example shows its result

use std::path::Path;

use saddleroom::anatomy::frame;
use saddleroom::case::{Arch, Scan};
use saddleroom::locate::Surface;
use saddleroom::measure::clearance::Antagonist;
use saddleroom::measure::undercut::Surveyor;
use saddleroom::mesh::{Mesh, Topology};
use saddleroom::phantom::patient::casts;
use saddleroom::phantom::solids::{self, Barrel, Base, Bump};
use saddleroom::phantom::{demo, stl, truth};
use saddleroom::report::TorusShown;
use saddleroom::rules::Rules;
use saddleroom::space::{Direction, Point, Vector, angle_deg, cos, hypot};
use saddleroom::units::{LengthUnit, digits};
use saddleroom::{analysis, load};

/// Measured less true, of many places.
struct Row {
    what: String,
    unit: &'static str,
    off: Vec<f64>,
}

impl Row {
    fn new(what: impl Into<String>) -> Row {
        Row { what: what.into(), unit: "mm", off: Vec::new() }
    }

    fn line(mut self) -> String {
        self.off.sort_by(|a, b| a.abs().total_cmp(&b.abs()));
        let n = self.off.len();
        let at = |share: f64| match n {
            0 => "none".to_owned(),
            _ => digits(self.off[((n - 1) as f64 * share).round() as usize].abs(), 4),
        };
        format!("| {} | {n} | {} | {} | {} | {} |", self.what, at(0.5), at(0.99), at(1.0), self.unit)
    }
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    println!("# Measured figures beside the truth of the phantoms\n");
    println!(
        "Made by `cargo run --release --example accept_truth`; see [phantom.md](phantom.md) for what the phantoms are and how their"
    );
    println!(
        "truth is had. Columns: how many places were compared, and the median, the 99th percentile and the greatest of the"
    );
    println!("differences between measured and true, without sign.\n");
    println!("## Closed-form solids\n");
    table(solid_rows());
    for name in demo::NAMES {
        println!("\n## The case `{name}`\n");
        table(case_rows(name)?);
    }
    println!(
        "\nThe facets of a curved surface lie inside it by up to `edge^2 / (8 radius)`: 0.020 mm for edges of 0.4 mm on a radius of 1 mm."
    );
    println!(
        "Undercut depths on casts are compared at vertices, which stand on the surface; the bulge that the rod touches is made of facets."
    );
    Ok(())
}

fn table(rows: Vec<Row>) {
    println!("| quantity | places | median | p99 | greatest | unit |\n|---|---|---|---|---|---|");
    for row in rows {
        println!("{}", row.line());
    }
}

fn up() -> Direction {
    Direction::new_normalize(Vector::z())
}

fn solid_rows() -> Vec<Row> {
    let mut rows = Vec::new();
    for radius in [4.0, 5.0, 6.0] {
        for edge in [0.1, 0.2, 0.4] {
            let mut row =
                Row::new(format!("undercut depth, sphere R = {radius}, edges {edge}: R (1 - cos latitude)"));
            let mesh = solids::icosphere(radius, edge);
            for (p, depth) in mesh.vertices().iter().zip(depths(&mesh)) {
                let expected = if p.z < 0.0 { solids::sphere_depth_mm(radius, -p.z) } else { Some(0.0) };
                row.off.extend(depth.zip(expected).map(|(a, b)| a - b));
            }
            rows.push(row);
        }
    }
    for tilt in [5.0, 10.0] {
        let mut row = Row::new(format!("undercut depth, wall leaning out by {tilt} degrees: height x tan"));
        let mesh = solids::leaning_wall([8.0, 6.0, 6.0], tilt, 0.4);
        let found = depths(&mesh);
        // The wall that leans out stands at x = 4 + height x tan.
        for (p, depth) in mesh.vertices().iter().zip(found) {
            if (p.x - 4.0 - solids::wall_depth_mm(tilt, p.z)).abs() < 1e-9 && p.z < 6.0 {
                // Near the ends of the wall the shorter way is round the end.
                let expected = solids::wall_depth_mm(tilt, 6.0 - p.z).min(3.0 - p.y.abs());
                row.off.extend(depth.map(|d| d - expected));
            }
        }
        rows.push(row);
    }
    let barrel = Barrel { belly_mm: 5.0, belly_at_mm: 4.0, height_mm: 7.0, wall_mm: 12.0 };
    let mut row = Row::new("undercut depth, wall of a barrel on a plate, edges 0.3");
    let mesh = solids::barrel_on_plate(&barrel, 12.0, 0.3, true);
    let found = depths(&mesh);
    for (p, depth) in mesh.vertices().iter().zip(found) {
        let from_axis = hypot(p.x, p.y);
        if p.z > 0.05 && p.z < barrel.height_mm - 0.05 && (from_axis - barrel.radius_mm(p.z)).abs() < 1e-6 {
            row.off.extend(depth.map(|d| d - barrel.depth_mm(p.z)));
        }
    }
    rows.push(row);
    for tilt in [0.0, 10.0] {
        let mut row = Row::new(format!("distance along the opening, plates 5 mm apart at {tilt} degrees"));
        let mut near = Row::new(format!("nearest distance, plates 5 mm apart at {tilt} degrees"));
        let (tissue, opposing) = solids::tilted_plate_pair([16.0, 16.0], 5.0, tilt, 0.4);
        let surface = Surface::new(&opposing);
        let antagonist = Antagonist::new(&surface, &up());
        for p in tissue.vertices().iter().filter(|p| p.x.abs() < 5.0 && p.y.abs() < 5.0) {
            let at = antagonist.at(p);
            // The opposing plate is z = 5 + x tan(tilt).
            let along = 5.0 + solids::wall_depth_mm(tilt, p.x);
            row.off.extend(at.along_mm.map(|a| a - along));
            near.off.extend(at.nearest_mm.map(|a| a - along * cos(f64::to_radians(tilt))));
        }
        rows.extend([row, near]);
    }
    rows.extend(domes());
    rows
}

fn domes() -> [Row; 2] {
    let (mut height, mut length) =
        (Row::new("height of domes 1 to 6 mm over a plane"), Row::new("length of their outlines at 0.5 mm"));
    for height_mm in [1.0, 2.0, 3.0, 4.5, 6.0] {
        let bump = Bump::SoftFoot { height_mm, half_s_mm: 7.0, half_t_mm: 4.5 };
        let mesh = solids::bumps_on(Base::Plane, &[([0.0, 0.0], bump)], [18.0, 18.0], 0.3);
        let found = tori(&mesh, Arch::Mandible);
        if let [only] = found.as_slice() {
            height.off.push(only.height_mm - height_mm);
            length.off.extend(bump.outline_mm(0.5).map(|half| only.length_mm - 2.0 * half[0]));
        } else {
            // Not found counts as an error of its whole height.
            height.off.push(height_mm);
        }
    }
    [height, length]
}

fn tori(mesh: &Mesh, arch: Arch) -> Vec<TorusShown> {
    let Ok(import) = load::read(&stl::binary(mesh, "dome"), LengthUnit::Mm) else {
        return Vec::new();
    };
    let scan = Scan { file: "dome.stl".into(), sha256: String::new(), import, labels: None };
    analysis::tori(scan, arch, &Rules::standard()).file.tori
}

/// Undercut depth of every vertex along +z.
fn depths(mesh: &Mesh) -> Vec<Option<f64>> {
    Surveyor::new(mesh, &Topology::new(mesh)).field(&up()).depth_mm
}

fn case_rows(name: &str) -> Result<Vec<Row>, Box<dyn std::error::Error>> {
    let Some(case) = demo::named(name) else { return Err(format!("no case {name}").into()) };
    let pair = casts(&case.patient);
    let (cast, other) = (pair.cast(case.restored), pair.cast(case.restored.opposing()));
    let way = truth::occlusal(case.restored);
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-meshes").join(name);
    let scan = |arch: Arch| -> Result<Scan, Box<dyn std::error::Error>> {
        let file = format!("{}.stl", arch.word());
        let import = load::read(&std::fs::read(folder.join(&file))?, LengthUnit::Mm)?;
        Ok(Scan { file, sha256: String::new(), import, labels: None })
    };
    let (restored, opposite) = (scan(case.restored)?, scan(case.restored.opposing())?);
    let mut rows = Vec::new();

    let mut row = Row::new("occlusal direction found by shape, both arches");
    row.unit = "degrees";
    for (arch, scan) in [(case.restored, &restored), (case.restored.opposing(), &opposite)] {
        let mesh = &scan.import.mesh;
        let found = frame::find(mesh, &Topology::new(mesh), arch, None);
        row.off.extend(found.ok().map(|f| angle_deg(&f.frame.occlusal, &truth::occlusal(arch))));
    }
    rows.push(row);

    let mut row = Row::new("room over the crest along the opening");
    let mut square = Row::new("the same, square to the opposing surface where the ray meets it");
    let opposing = Surface::new(&opposite.import.mesh);
    let antagonist = Antagonist::new(&opposing, &way);
    for p in case.crests(&pair).iter().flatten() {
        let (Some(measured), Some(expected)) = (antagonist.along(p), truth::along_mm(other, p, &way)) else {
            continue;
        };
        let off = measured.mm - expected;
        row.off.push(off);
        let normal = other.gradient(&(p + way.into_inner() * expected));
        square.off.push(off * normal.z.abs() / normal.norm());
    }
    rows.extend([row, square]);

    let mesh = &restored.import.mesh;
    let found = Surveyor::new(mesh, &Topology::new(mesh)).field(&way).depth_mm;
    let path = truth::undercut::Path::new(cast, &way);
    for crown in cast.crowns.iter().filter(|c| case.abutments.contains(&c.tooth)) {
        let mut row = Row::new(format!("undercut depth on {}", crown.tooth));
        let wall = |p: &Point| {
            let own = crown.local(&cast.own(p));
            crown.value(own).abs() < 1e-3 && own[2] > 0.1 * crown.height && own[2] < 0.55 * crown.height
        };
        for (p, depth) in mesh.vertices().iter().zip(&found).filter(|(p, _)| wall(p)).step_by(9) {
            row.off.extend(depth.map(|d| d - path.depth_mm(p)));
        }
        rows.push(row);
    }

    let (mut height, mut place) =
        (Row::new("height of tori, found without marks"), Row::new("place of their summits"));
    let shown = analysis::tori(restored, case.restored, &Rules::standard()).file.tori;
    for lobe in truth::tori::tori(cast).iter().flat_map(|t| &t.lobes) {
        let (height_mm, summit) = (lobe.height_mm, lobe.summit);
        let far = |t: &TorusShown| (Point::from(t.summit_mm) - summit).norm();
        let near = shown.iter().min_by(|a, b| far(a).total_cmp(&far(b))).filter(|t| far(t) < 6.0);
        // One that was not found is off by its whole height.
        height.off.push(near.map_or(height_mm, |t| t.height_mm - height_mm));
        place.off.extend(near.map(far));
    }
    rows.extend([height, place]);
    Ok(rows)
}
