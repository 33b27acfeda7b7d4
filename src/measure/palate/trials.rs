//! A flat palate between two straight rows of crowns, its margins marked, with and without a torus.

use super::*;
use crate::anatomy::{Crown, KnownFrame, Origin};
use crate::mesh::Mesh;
use crate::space::{Direction, Vector};

/// Half the distance between the palatal margins, mm; half the width of the sheet; its length.
const HALF_MM: f64 = 18.0;
const SHEET_MM: f64 = 24.0;
const LONG_MM: f64 = 40.0;
const BORDER_MM: f64 = 6.0;

/// A plane sheet, x to the patient's left, y backwards, with a hole where `gone` holds.
fn sheet(edge: f64, gone: impl Fn(f64, f64) -> bool) -> Mesh {
    let (nx, ny) = ((2.0 * SHEET_MM / edge).round() as u32 + 1, (LONG_MM / edge).round() as u32 + 1);
    let at = |i: u32, n: u32, from: f64, to: f64| from + (to - from) * f64::from(i) / f64::from(n - 1);
    let mut vertices = Vec::new();
    for j in 0..ny {
        for i in 0..nx {
            vertices.push(Point::new(at(i, nx, -SHEET_MM, SHEET_MM), at(j, ny, 0.0, LONG_MM), 0.0));
        }
    }
    let mut faces = Vec::new();
    for j in 0..ny - 1 {
        for i in 0..nx - 1 {
            let a = j * nx + i;
            let p: &Point = &vertices[a as usize];
            if !gone(p.x, p.y) {
                // Seen from below, whence the mouth looks at a palate.
                faces.extend([[a, a + nx + 1, a + 1], [a, a + nx, a + nx + 1]]);
            }
        }
    }
    Mesh::new(vertices, faces).unwrap()
}

/// Five crowns a side, 8 mm long each, their margins rectangles that begin [`HALF_MM`] from the midline.
fn anatomy(mesh: &Mesh) -> Anatomy {
    let up = Direction::new_normalize(-Vector::z());
    let frame = Frame::new(Point::origin(), up, -Vector::y(), false).unwrap();
    let mut crowns = Vec::new();
    for (sign, numbers) in [(-1.0, [13_u8, 14, 15, 16, 17]), (1.0, [23, 24, 25, 26, 27])] {
        for (k, n) in numbers.into_iter().enumerate() {
            let (y0, y1) = (8.0 * k as f64, 8.0 * (k + 1) as f64);
            let margin: Vec<Point> = [(HALF_MM, y0), (HALF_MM, y1), (SHEET_MM, y1), (SHEET_MM, y0)]
                .map(|(x, y)| Point::new(sign * x, y, 0.0))
                .to_vec();
            let inside = |p: &Point| sign * p.x >= HALF_MM - 1e-9 && p.y >= y0 - 1e-9 && p.y <= y1 + 1e-9;
            let vertices = (0..mesh.vertices().len() as u32).filter(|&v| inside(&mesh.vertex(v))).collect();
            crowns.push(Crown {
                tooth: Tooth::fdi(n).unwrap(),
                faces: Vec::new(),
                vertices,
                margin,
                centre: Point::new(sign * 21.0, (y0 + y1) / 2.0, -3.0),
                area_mm2: 40.0,
                confidence: 1.0,
                origin: Origin::Given,
            });
        }
    }
    Anatomy { crowns, ..Anatomy::bare(Ok(KnownFrame::given(frame, 0.5)), mesh.vertices().len()) }
}

fn way(mesh: &Mesh, tori: &[Torus]) -> Measured<PalatalWay> {
    let (surface, topology) = (Surface::new(mesh), Topology::new(mesh));
    let anatomy = anatomy(mesh);
    palatal_way(&Cast {
        surface: &surface,
        topology: &topology,
        anatomy: &anatomy,
        tori,
        abutments: &[],
        border_mm: BORDER_MM,
        keep_mm: 1.0,
    })
}

/// A marked torus: a rectangle of the sheet, `half` wide each way of the midline.
fn torus(mesh: &Mesh, half: f64, from: f64, to: f64) -> Torus {
    let faces: Vec<u32> = (0..mesh.faces().len() as u32)
        .filter(|&f| {
            let c = mesh.face_centre(f);
            c.x.abs() < half && c.y > from && c.y < to
        })
        .collect();
    Torus {
        side: None,
        height_mm: 2.0,
        height_method_mm: 0.1,
        length_mm: to - from,
        width_mm: 2.0 * half,
        area_mm2: 2.0 * half * (to - from),
        volume_mm3: 100.0,
        summit: Point::new(0.0, (from + to) / 2.0, 0.0),
        outline: [(-half, from), (half, from), (half, to), (-half, to)]
            .map(|(x, y)| Point::new(x, y, 0.0))
            .to_vec(),
        faces,
        confidence: 1.0,
        state: TorusState::Marked,
        doubts: Vec::new(),
    }
}

#[test]
fn a_plain_palate_is_clear_between_the_zones_beside_the_margins() {
    for edge in [0.5, 1.0] {
        let way = way(&sheet(edge, |_, _| false), &[]).unwrap();
        let runs = way.runs();
        assert_eq!(runs.len(), 1);
        // All stations, half a millimetre apart over 40 mm: as long as the sheet within a step.
        assert!((runs[0].width_mm - LONG_MM).abs() <= 2.0 * STEP_MM, "{}", runs[0].width_mm);
        for s in &way.stations {
            let c = s.section.as_ref().unwrap();
            assert!((c.length_mm - 2.0 * HALF_MM).abs() < 1e-6, "{}", c.length_mm);
            let [right, left] = c.bands_mm();
            for band in [right, left] {
                assert!((band - (HALF_MM - BORDER_MM)).abs() < 0.05, "{band} at {}", s.behind_mm);
            }
        }
        let [right, left] = way.borders();
        assert!(right.iter().all(|p| (p.x + HALF_MM - BORDER_MM).abs() < 0.05));
        assert!(left.iter().all(|p| (p.x - HALF_MM + BORDER_MM).abs() < 0.05));
    }
}

#[test]
fn a_torus_parts_the_way_into_a_run_before_and_one_behind() {
    let mesh = sheet(0.5, |_, _| false);
    let marked = torus(&mesh, 4.0, 14.0, 26.0);
    let way = way(&mesh, std::slice::from_ref(&marked)).unwrap();
    let runs = way.runs();
    assert_eq!(runs.len(), 2, "{runs:?}");
    // Up to 1 mm before 14, and from 1 mm behind 26 to the end at 40.
    for (run, wanted) in runs.iter().zip([13.0, 13.0]) {
        assert!((run.width_mm - wanted).abs() <= 2.0 * STEP_MM, "{} for {wanted}", run.width_mm);
    }
    // Beside it from 6 mm off the margin to 1 mm off the torus: 18 - 6 - 4 - 1.
    let beside = way.stations.iter().filter(|s| s.behind_mm > 16.0 && s.behind_mm < 24.0);
    for s in beside {
        let c = s.section.as_ref().unwrap();
        assert!(c.across_mm().is_none() && c.tori.len() == 1);
        for band in c.bands_mm() {
            assert!((band - 7.0).abs() < 0.15, "{band}");
        }
        let [from, to] = c.tori[0].1;
        assert!((to - from - 8.0).abs() < 1.1, "{from} {to}");
    }
    // One that is only possible is not counted.
    let possible = Torus { state: TorusState::Possible, ..marked };
    assert_eq!(super::trials::way(&mesh, &[possible]).unwrap().runs().len(), 1);
}

#[test]
fn a_palate_that_was_not_scanned_is_not_measured_and_says_so() {
    // Only the rows and a strip in front are there.
    let mesh = sheet(0.5, |x, y| x.abs() < 10.0 && y > 8.0);
    let way = way(&mesh, &[]).unwrap();
    let lacking: Vec<&PalatalStation> = way.stations.iter().filter(|s| s.section.is_err()).collect();
    assert!(lacking.iter().all(|s| s.behind_mm > 7.0) && lacking.len() > 50, "{}", lacking.len());
    assert!(lacking[0].section.as_ref().unwrap_err().because.contains("palate"));
    assert!((way.runs()[0].width_mm - 8.0).abs() <= 2.0 * STEP_MM);
}

#[test]
fn without_margins_the_way_is_not_measured() {
    let mesh = sheet(1.0, |_, _| false);
    let (surface, topology) = (Surface::new(&mesh), Topology::new(&mesh));
    let mut anatomy = anatomy(&mesh);
    anatomy.crowns.truncate(2);
    let cast = Cast {
        surface: &surface,
        topology: &topology,
        anatomy: &anatomy,
        tori: &[],
        abutments: &[],
        border_mm: BORDER_MM,
        keep_mm: 1.0,
    };
    assert!(palatal_way(&cast).unwrap_err().settled_by.unwrap().contains("margins"));
}
