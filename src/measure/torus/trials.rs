//! Domes of known height, casts without tori, real casts where they are at hand.

use super::*;
use crate::anatomy::{Anatomy, Crown, KnownFrame, Origin};
use crate::case::Tooth;
use crate::estimate::NotMeasured;
use crate::mesh::VertexId;
use crate::space::{Direction, Frame, Vector, cos, exp, hypot, sin};

const SETTINGS: TorusSettings =
    TorusSettings { outline_mm: 0.5, saddle_mm: 0.7, least_height_mm: 0.9, least_area_mm2: 10.0 };

fn bare(mesh: &Mesh) -> Anatomy {
    Anatomy::bare(Err(NotMeasured::only("no frame")), mesh.vertices().len())
}

/// A grid of `edge` mm over a square of half side `half`, bent by `place`.
fn sheet(half: f64, edge: f64, place: impl Fn(f64, f64) -> Point) -> Mesh {
    let n = (2.0 * half / edge).round() as u32 + 1;
    let at = |i: u32| -half + 2.0 * half * f64::from(i) / f64::from(n - 1);
    let vertices = (0..n * n).map(|k| place(at(k % n), at(k / n))).collect();
    let mut faces = Vec::new();
    for j in 0..n - 1 {
        for i in 0..n - 1 {
            let a = j * n + i;
            let (b, c, d) = (a + 1, a + n + 1, a + n);
            if (i + j) % 2 == 0 {
                faces.extend([[a, b, c], [a, c, d]]);
            } else {
                faces.extend([[a, b, d], [b, c, d]]);
            }
        }
    }
    Mesh::new(vertices, faces).unwrap()
}

/// Half ellipsoid of half axes `a`, `b` and height `c`.
fn half_ellipsoid(x: f64, y: f64, (a, b, c): (f64, f64, f64)) -> f64 {
    c * (1.0 - (x / a).powi(2) - (y / b).powi(2)).max(0.0).sqrt()
}

fn search(mesh: &Mesh, anatomy: &Anatomy) -> Vec<Torus> {
    find(mesh, &Topology::new(mesh), Arch::Mandible, anatomy, &[], &[], &SETTINGS)
}

/// Height over the wall at (x, y) of a rise of half axes `a`, `b` and height `c`.
type Shape = fn(f64, f64, (f64, f64, f64)) -> f64;

/// A rise with a soft foot: `c (1 - r^2)^2`.
fn soft(x: f64, y: f64, (a, b, c): (f64, f64, f64)) -> f64 {
    let inside = (1.0 - (x / a).powi(2) - (y / b).powi(2)).max(0.0);
    c * inside * inside
}

/// Walls: a place and the outward normal for plan coordinates, both exact.
type Wall = fn(f64, f64) -> (Point, Vector);

fn plane(x: f64, y: f64) -> (Point, Vector) {
    (Point::new(x, y, 0.0), Vector::z())
}
/// Cylinder of radius 15 along y.
fn cylinder(x: f64, y: f64) -> (Point, Vector) {
    let n = Vector::new(sin(x / 15.0), 0.0, cos(x / 15.0));
    (Point::from(n * 15.0) + Vector::y() * y, n)
}
/// Sphere of radius 25, in equal angles.
fn sphere(x: f64, y: f64) -> (Point, Vector) {
    let (u, v) = (x / 25.0, y / 25.0);
    let n = Vector::new(sin(u) * cos(v), sin(v), cos(u) * cos(v));
    (Point::from(n * 25.0), n)
}

fn dome(wall: Wall, edge: f64, height: impl Fn(f64, f64) -> f64) -> Mesh {
    sheet(14.0, edge, |x, y| {
        let (p, n) = wall(x, y);
        p + n * height(x, y)
    })
}

/// Share of common area of an outline, seen along the wall's normals, and the line where `height` is 0.5.
fn outline_iou(wall: Wall, outline: &[Point], height: impl Fn(f64, f64) -> f64) -> f64 {
    let (mut both, mut either) = (0.0, 0.0);
    let inside = |x: f64, y: f64| {
        let (p, n) = wall(x, y);
        let (u, v) = crate::space::across(&Direction::new_normalize(n));
        let flat = |q: &Point| ((q - p).dot(&u), (q - p).dot(&v));
        let m = outline.len();
        (0..m).fold(false, |inside, i| {
            let ((ax, ay), (bx, by)) = (flat(&outline[i]), flat(&outline[(i + 1) % m]));
            inside != ((ay > 0.0) != (by > 0.0) && ax - ay / (by - ay) * (bx - ax) > 0.0)
        })
    };
    for i in -50..=50 {
        for j in -50..=50 {
            let (x, y) = (f64::from(i) * 0.2, f64::from(j) * 0.2);
            let (found, truth) = (inside(x, y), height(x, y) > 0.5);
            both += f64::from(u8::from(found && truth));
            either += f64::from(u8::from(found || truth));
        }
    }
    both / either
}

/// Error of the height, and the outline's IoU, of the one torus on a dome; a message where there is not just one.
fn trial(
    wall: Wall,
    edge: f64,
    height: impl Fn(f64, f64) -> f64 + Copy,
    truth: f64,
) -> Result<(f64, f64), String> {
    let mesh = dome(wall, edge, height);
    match &search(&mesh, &bare(&mesh))[..] {
        [one] if one.state == TorusState::Possible && one.side.is_none() => {
            Ok((one.height_mm - truth, outline_iou(wall, &one.outline, height)))
        }
        other => Err(format!("{} tori", other.len())),
    }
}

#[test]
fn a_dome_over_a_plane_has_its_height_to_the_chord_error_and_its_outline() {
    for (shape, length, height, edge) in [
        (half_ellipsoid as Shape, 5.0, 1.0, 0.2),
        (half_ellipsoid, 5.0, 3.0, 0.1),
        (half_ellipsoid, 10.0, 4.0, 0.4),
        (half_ellipsoid, 16.0, 1.0, 0.4),
        (half_ellipsoid, 16.0, 6.0, 0.2),
        (soft, 8.0, 1.0, 0.2),
        (soft, 10.0, 2.0, 0.4),
        (soft, 16.0, 1.0, 0.4),
        (soft, 16.0, 6.0, 0.4),
    ] {
        let h = |x: f64, y: f64| shape(x, y, (length / 2.0, 0.3 * length, height));
        let (error, iou) = trial(plane, edge, h, height).unwrap();
        // A vertex of the sheet stands at the summit, so that there is no chord error at all.
        assert!(error.abs() < 0.005, "{length} {height} {edge}: {error}");
        assert!(iou > 0.93, "{length} {height} {edge}: {iou}");
    }
}

#[test]
fn a_dome_over_a_curved_wall_is_within_what_the_method_page_says() {
    for (wall, shape, length, height, edge) in [
        (cylinder as Wall, soft as Shape, 10.0, 2.0, 0.2),
        (cylinder, soft, 16.0, 6.0, 0.4),
        (cylinder, half_ellipsoid, 16.0, 2.5, 0.4),
        (sphere, soft, 8.0, 1.0, 0.4),
        (sphere, soft, 16.0, 6.0, 0.4),
        (sphere, half_ellipsoid, 10.0, 4.0, 0.2),
    ] {
        let h = |x: f64, y: f64| shape(x, y, (length / 2.0, 0.3 * length, height));
        let (error, iou) = trial(wall, edge, h, height).unwrap();
        assert!(error.abs() < 0.12, "{length} {height} {edge}: {error}");
        assert!(iou > 0.93, "{length} {height} {edge}: {iou}");
    }
}

#[test]
fn lobes_are_told_apart_by_the_depth_of_their_saddle() {
    for (depth, edge, lobes) in [(0.5, 0.2, 1), (0.5, 0.4, 1), (1.0, 0.2, 2), (1.0, 0.4, 2)] {
        let mesh = dome(plane, edge, |x, y| two_lobes(x, y, depth));
        let tori = search(&mesh, &bare(&mesh));
        assert_eq!(tori.len(), lobes, "saddle {depth}, edge {edge}");
        assert!(tori.iter().all(|t| (t.height_mm - 3.0).abs() < 0.02));
        if let [right, left] = &tori[..] {
            // They are alike but for the row of vertices on the line between them, 6 mm long, that one of them gets.
            assert!((right.area_mm2 - left.area_mm2).abs() < 7.0 * edge);
            assert!(right.faces.iter().all(|f| left.faces.binary_search(f).is_err()));
        }
    }
}

#[test]
fn walls_and_ridges_without_a_dome_have_none() {
    let straight = |x: f64, _: f64| 8.0 * exp(-(x / 5.0).powi(4));
    let ended = |x: f64, y: f64| {
        let d = hypot((x.abs() - 8.0).max(0.0), y);
        6.0 * exp(-(d / 3.5).powi(4))
    };
    let arched = |x: f64, y: f64| 8.0 * exp(-((hypot(x, y + 8.0) - 12.0) / 4.0).powi(4));
    for edge in [0.2, 0.4] {
        for (name, mesh) in [
            ("plane", dome(plane, edge, |_, _| 0.0)),
            ("cylinder", dome(cylinder, edge, |_, _| 0.0)),
            ("sphere", dome(sphere, edge, |_, _| 0.0)),
            ("straight ridge", dome(plane, edge, straight)),
            ("ridge with ends", dome(plane, edge, ended)),
            ("arched ridge", dome(plane, edge, arched)),
        ] {
            assert!(search(&mesh, &bare(&mesh)).is_empty(), "{name} at {edge}");
        }
    }
}

#[test]
fn a_marked_torus_is_measured_inside_its_outline_or_around_its_point() {
    let h = |x: f64, y: f64| soft(x, y, (5.0, 3.0, 2.0));
    let mesh = dome(plane, 0.3, h);
    // The line at 0.5 of the closed form, a little off the surface.
    let share = (1.0 - (0.5_f64 / 2.0).sqrt()).sqrt();
    let outline: Vec<Point> = (0..40)
        .map(|k| {
            let t = f64::from(k) / 40.0 * std::f64::consts::TAU;
            Point::new(5.0 * share * cos(t), 3.0 * share * sin(t), 0.6)
        })
        .collect();
    let topology = Topology::new(&mesh);
    let anatomy = bare(&mesh);
    let by_outline = find(&mesh, &topology, Arch::Mandible, &anatomy, &[outline], &[], &SETTINGS);
    let by_point =
        find(&mesh, &topology, Arch::Mandible, &anatomy, &[], &[Point::new(1.0, -0.5, 1.7)], &SETTINGS);
    for tori in [by_outline, by_point] {
        assert_eq!(tori.len(), 1);
        assert_eq!(tori[0].state, TorusState::Marked);
        assert!((tori[0].height_mm - 2.0).abs() < 0.03, "{}", tori[0].height_mm);
        assert!((tori[0].length_mm - 10.0 * share).abs() < 0.2, "{}", tori[0].length_mm);
        assert!((tori[0].width_mm - 6.0 * share).abs() < 0.2, "{}", tori[0].width_mm);
    }
}

#[test]
fn the_volume_of_a_soft_dome_is_that_inside_its_outline() {
    let (a, b, c) = (6.0, 4.0, 3.0);
    let mesh = dome(plane, 0.2, |x, y| soft(x, y, (a, b, c)));
    // Inside r2 = 1 - sqrt(0.5 / c) of the unit disc: pi a b c times the integral of (1 - u)^2 over u up to there.
    let u = 1.0 - (0.5_f64 / c).sqrt();
    let wanted = std::f64::consts::PI * a * b * c * (1.0 - (1.0 - u).powi(3)) / 3.0;
    let found = search(&mesh, &bare(&mesh));
    assert_eq!(found.len(), 1);
    assert!((found[0].volume_mm3 / wanted - 1.0).abs() < 0.03, "{} for {wanted}", found[0].volume_mm3);
}

#[test]
fn a_dome_that_the_scans_border_cuts_is_only_possible_and_says_so() {
    // The sheet ends 2 mm beside the summit, well inside the outline.
    let whole = dome(plane, 0.3, |x, y| soft(x, y, (6.0, 5.0, 3.0)));
    let (mesh, _) = whole.part(|f| whole.face_centre(f).y > -2.0);
    let topology = Topology::new(&mesh);
    for torus in find(&mesh, &topology, Arch::Mandible, &bare(&mesh), &[], &[], &SETTINGS) {
        assert_eq!(torus.state, TorusState::Possible);
        assert!(
            torus.doubts.iter().any(|d| d.contains("border") || d.contains("surface all around")),
            "{:?}",
            torus.doubts
        );
    }
    // Pointed at it is measured all the same, as far as it was recorded.
    let at = [Point::new(0.0, 0.5, 2.9)];
    let marked = find(&mesh, &topology, Arch::Mandible, &bare(&mesh), &[], &at, &SETTINGS);
    assert!(marked.iter().all(|t| t.summit.y > -2.5 && t.height_mm < 4.0));
}

#[test]
fn the_plate_under_a_dome_keeps_off_the_gingiva_beside_a_crown() {
    // Crowns stand from y = 4.2 on, the foot of the dome reaches y = 3: the last 1.2 mm are all that holds the plate there.
    let mesh = dome(cylinder, 0.4, |x, y| soft(x, y, (5.0, 3.0, 3.0)));
    let work = super::work::Work::new(&mesh, &Topology::new(&mesh));
    let places = work.mesh.vertices();
    let domain: Vec<bool> = places.iter().map(|p| p.y < 4.2).collect();
    let beside: Vec<bool> = places.iter().map(|p| p.y >= 2.4 && p.y < 4.2).collect();
    let cap: Vec<VertexId> = (0..places.len() as u32)
        .filter(|&v| soft(places[v as usize].x, places[v as usize].y, (5.0, 3.0, 3.0)) > 2.0)
        .collect();
    let none = vec![false; places.len()];
    let grown = |collar: &[bool]| {
        let field = super::bump::Field {
            work: &work,
            domain: &domain,
            collar,
            along: None,
            wall: None,
            others: None,
        };
        field.grow(&cap).unwrap()
    };
    let (kept, free) = (grown(&beside), grown(&none));
    assert!(kept.mask.iter().all(|&v| !beside[v as usize]));
    assert!(free.mask.iter().any(|&v| beside[v as usize]));
    // The part of the foot that is left to the plate stands up to 0.39 mm over the wall.
    assert!((kept.peak_mm - 3.0).abs() < 0.39, "{} mm", kept.peak_mm);
}

#[test]
fn a_scan_that_ends_above_a_dome_shows_none() {
    let whole = dome(plane, 0.3, |x, y| soft(x, y, (4.0, 3.0, 3.0)));
    let (mesh, _) = whole.part(|f| whole.face_centre(f).y > 3.5);
    assert!(search(&mesh, &bare(&mesh)).is_empty());
}

#[test]
fn a_rigid_motion_changes_no_figure() {
    let mesh = dome(sphere, 0.4, |x, y| soft(x, y, (4.0, 3.0, 2.0)));
    let turn = crate::space::Motion::new(Vector::new(30.0, -4.0, 12.0), Vector::new(0.4, 1.1, -0.7));
    let moved = mesh.moved(&turn);
    let (a, b) = (search(&mesh, &bare(&mesh)), search(&moved, &bare(&moved)));
    assert_eq!((a.len(), b.len()), (1, 1));
    // On an even sheet many distances are equal, so that rounding decides where seeds lie, and the fill moves a little.
    assert!((a[0].height_mm - b[0].height_mm).abs() < 0.02, "{} {}", a[0].height_mm, b[0].height_mm);
    assert!((a[0].area_mm2 - b[0].area_mm2).abs() < 0.3, "{} {}", a[0].area_mm2, b[0].area_mm2);
    assert!((turn * a[0].summit - b[0].summit).norm() < 0.5);
}

/// Two lobes of height 3 along x, their saddle `depth` lower.
fn two_lobes(x: f64, y: f64, depth: f64) -> f64 {
    // Along x: cosine between the summits at x = -3 and 3, softly down outside; across: soft.
    let along = if x.abs() < 3.0 {
        3.0 - depth / 2.0 * (1.0 + cos(std::f64::consts::PI * x / 3.0))
    } else {
        let t = (1.0 - ((x.abs() - 3.0) / 3.5).powi(2)).max(0.0);
        3.0 * t * t
    };
    let across = (1.0 - (y / 3.5).powi(2)).max(0.0);
    along * across * across
}

fn real_scan(name: &str) -> Option<std::path::PathBuf> {
    // Nothing of these scans is part of the project; they are read in place.
    let dir = std::env::var("SADDLEROOM_REAL_SCANS").map_or_else(
        |_| std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/real-scans"),
        std::path::PathBuf::from,
    );
    let path = dir.join(name);
    path.exists().then_some(path)
}

/// Binary STL, welded by exact position.
fn stl(path: &std::path::Path) -> Mesh {
    let bytes = std::fs::read(path).unwrap();
    let n = u32::from_le_bytes(bytes[80..84].try_into().unwrap()) as usize;
    let mut index = std::collections::BTreeMap::new();
    let (mut vertices, mut faces) = (Vec::new(), Vec::new());
    for f in 0..n {
        let mut corners = [0u32; 3];
        for (k, corner) in corners.iter_mut().enumerate() {
            let at = 84 + 50 * f + 12 + 12 * k;
            let c: Vec<f32> = (0..3)
                .map(|i| f32::from_le_bytes(bytes[at + 4 * i..at + 4 * i + 4].try_into().unwrap()))
                .collect();
            let key = [c[0].to_bits(), c[1].to_bits(), c[2].to_bits()];
            *corner = *index.entry(key).or_insert_with(|| {
                vertices.push(Point::new(c[0].into(), c[1].into(), c[2].into()));
                vertices.len() as u32 - 1
            });
        }
        faces.push(corners);
    }
    Mesh::new(vertices, faces).unwrap()
}

fn labelled(mesh: &Mesh, truth: &serde_json::Value, crowns: bool) -> Anatomy {
    let v3 = |v: &serde_json::Value| {
        let c: Vec<f64> = v.as_array().unwrap().iter().map(|x| x.as_f64().unwrap()).collect();
        Vector::new(c[0], c[1], c[2])
    };
    let plane = &truth["occlusal_plane"];
    let up = Direction::new_normalize(v3(&plane["normal"]));
    let frame =
        Frame::new(Point::from(v3(&plane["point"])), up, v3(&plane["anterior"]), truth["jaw"] == "lower")
            .unwrap();
    let mut anatomy = bare(mesh);
    anatomy.frame = Ok(KnownFrame::given(frame, 1.0));
    if crowns {
        let mut faces_of: std::collections::BTreeMap<u8, Vec<FaceId>> = Default::default();
        for (f, l) in truth["face_label_fdi"].as_array().unwrap().iter().enumerate() {
            let l = l.as_u64().unwrap() as u8;
            if l > 0 {
                faces_of.entry(l).or_default().push(f as u32);
            }
        }
        for (l, faces) in faces_of {
            let mut vertices: Vec<VertexId> = faces.iter().flat_map(|&f| mesh.faces()[f as usize]).collect();
            vertices.sort_unstable();
            vertices.dedup();
            let centre = vertices.iter().fold(Vector::zeros(), |s, &v| s + mesh.vertex(v).coords)
                / vertices.len() as f64;
            anatomy.crowns.push(Crown {
                tooth: Tooth::fdi(l).unwrap(),
                faces,
                vertices,
                margin: Vec::new(),
                centre: centre.into(),
                area_mm2: 50.0,
                confidence: 1.0,
                origin: Origin::Given,
            });
        }
    }
    anatomy
}

/// A scan that is kept outside the project, with its truth; `None` (and a word why) where it is not at hand.
fn real(name: &str) -> Option<(Mesh, serde_json::Value)> {
    let (Some(scan), Some(truth)) = (real_scan(&format!("{name}.stl")), real_scan(&format!("{name}.json")))
    else {
        println!("skipped: no real scans at hand");
        return None;
    };
    Some((stl(&scan), serde_json::from_slice(&std::fs::read(truth).unwrap()).unwrap()))
}

#[test]
fn tori_added_to_a_real_scan_are_found_on_both_sides() {
    let Some((mesh, truth)) = real("lower_K1_02_tori") else { return };
    let topology = Topology::new(&mesh);
    for crowns in [true, false] {
        let anatomy = labelled(&mesh, &truth, crowns);
        let tori = find(&mesh, &topology, Arch::Mandible, &anatomy, &[], &[], &SETTINGS);
        let sides: Vec<Option<TorusSide>> = tori.iter().map(|t| t.side).collect();
        assert_eq!(sides, [Some(TorusSide::Right), Some(TorusSide::Left)]);
        let state = if crowns { TorusState::Found } else { TorusState::Possible };
        for (torus, known) in tori.iter().zip(truth["tori"].as_array().unwrap()) {
            assert_eq!(torus.state, state);
            let height = known["height"].as_f64().unwrap();
            assert!((torus.height_mm - height).abs() < 0.4, "{} for {height}", torus.height_mm);
            assert!((torus.height_mm - height).abs() < 2.0 * torus.height_method_mm);
        }
    }
}

#[test]
fn no_torus_is_found_on_real_scans_that_have_none() {
    for name in ["lower_K1_01", "lower_K1_03"] {
        let Some((mesh, truth)) = real(name) else { return };
        let topology = Topology::new(&mesh);
        for crowns in [true, false] {
            let tori =
                find(&mesh, &topology, Arch::Mandible, &labelled(&mesh, &truth, crowns), &[], &[], &SETTINGS);
            assert!(tori.iter().all(|t| t.state == TorusState::Possible) && tori.len() < 2);
        }
    }
}
