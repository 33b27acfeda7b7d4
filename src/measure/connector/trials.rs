//! A straight lingual wall at a slope, its margins marked, its floor at a known depth.

use std::collections::BTreeMap;

use super::*;
use crate::anatomy::{Crown, KnownFrame, Origin};
use crate::mesh::Mesh;
use crate::space::{Frame, Vector, cos, sin};

/// Front teeth from the patient's right to left; left is toward +x.
const TEETH: [u8; 6] = [43, 42, 41, 31, 32, 33];
const DEPTH_MM: f64 = 9.5;

/// A sheet along x: flat ridge top, wall of [`DEPTH_MM`] leaning by `slope` from the vertical, flat floor of `floor` mm.
fn cast(slope: f64, floor: f64, edge: f64) -> Mesh {
    let wall = |t: f64| (t * sin(slope), -t * cos(slope));
    let (y1, z1) = wall(DEPTH_MM);
    let mut profile: Vec<(f64, f64)> = vec![(-6.0, 0.0), (-3.0, 0.0)];
    let cuts = (DEPTH_MM / edge).round() as usize;
    profile.extend((0..=cuts).map(|k| wall(DEPTH_MM * k as f64 / cuts as f64)));
    if floor > 0.0 {
        profile.extend([(y1 + floor / 2.0, z1), (y1 + floor, z1)]);
    }
    let columns = (40.0 / edge).round() as usize + 1;
    let x = |i: usize| -20.0 + 40.0 * i as f64 / (columns - 1) as f64;
    let vertices =
        profile.iter().flat_map(|&(y, z)| (0..columns).map(move |i| Point::new(x(i), y, z))).collect();
    let mut faces = Vec::new();
    for j in 0..profile.len() - 1 {
        for i in 0..columns - 1 {
            let a = (j * columns + i) as u32;
            let c = a + columns as u32;
            faces.extend([[a, a + 1, c + 1], [a, c + 1, c]]);
        }
    }
    Mesh::new(vertices, faces).unwrap()
}

fn anatomy(mesh: &Mesh) -> Anatomy {
    let up = Direction::new_normalize(Vector::z());
    let frame = Frame::new(Point::origin(), up, -Vector::y(), true).unwrap();
    let crowns = TEETH
        .iter()
        .enumerate()
        .map(|(k, &n)| {
            let x = -10.0 + 4.0 * k as f64;
            // A hardly bent line of centres, open toward the tongue.
            let y = -3.0 + x * x / 4000.0;
            Crown {
                tooth: Tooth::fdi(n).unwrap(),
                faces: Vec::new(),
                vertices: Vec::new(),
                margin: [(-2.0, -5.0), (2.0, -5.0), (2.0, 0.0), (-2.0, 0.0)]
                    .map(|(dx, y)| Point::new(x + dx, y, 0.0))
                    .to_vec(),
                centre: Point::new(x, y, 2.0),
                area_mm2: 20.0,
                confidence: 1.0,
                origin: Origin::Given,
            }
        })
        .collect();
    let known = KnownFrame::given(frame, 0.5);
    Anatomy { crowns, ..Anatomy::bare(Ok(known), mesh.vertices().len()) }
}

fn way(mesh: &Mesh, tori: &[Torus], probed: &BTreeMap<Tooth, f64>) -> LingualWay {
    let (surface, topology) = (Surface::new(mesh), Topology::new(mesh));
    let anatomy = anatomy(mesh);
    lingual_way(&Cast {
        surface: &surface,
        topology: &topology,
        anatomy: &anatomy,
        tori,
        abutments: &[],
        probed_mm: probed,
    })
    .unwrap()
}

#[test]
fn depth_along_the_tissue_is_the_vertical_over_the_cosine_of_the_slope() {
    for slope_deg in [10.0_f64, 30.0, 50.0] {
        for edge in [0.2, 0.4] {
            let slope = slope_deg.to_radians();
            let way = way(&cast(slope, 6.0, edge), &[], &BTreeMap::new());
            assert!(way.stations.len() > 15);
            assert_eq!((way.teeth.0.number(), way.teeth.1.number()), (43, 33));
            for s in &way.stations {
                let wall = s.wall.as_ref().unwrap();
                assert_eq!(wall.end, WallEnd::Floor);
                assert!((wall.along_mm - DEPTH_MM).abs() < 0.15, "{slope_deg} {edge}: {}", wall.along_mm);
                assert!((wall.vertical_mm - wall.along_mm * cos(slope)).abs() < 0.005);
            }
        }
    }
}

#[test]
fn a_scan_that_ends_on_the_wall_says_so() {
    let way = way(&cast(0.4, 0.0, 0.3), &[], &BTreeMap::new());
    for s in &way.stations {
        let wall = s.wall.as_ref().unwrap();
        assert_eq!(wall.end, WallEnd::ScanBorder);
        // The last station's section is square to a line that is bent by a thousandth.
        assert!((wall.along_mm - DEPTH_MM).abs() < 0.005, "{}", wall.along_mm);
    }
}

#[test]
fn a_torus_takes_its_part_of_the_band() {
    let mesh = cast(0.3, 6.0, 0.25);
    let along = |p: &Point| -p.z / cos(0.3);
    let faces: Vec<u32> = (0..mesh.faces().len() as u32)
        .filter(|&f| {
            let c = mesh.face_centre(f);
            (2.5..6.5).contains(&c.x) && (5.0..8.0).contains(&along(&c)) && c.y > 0.0
        })
        .collect();
    let torus = Torus {
        side: None,
        height_mm: 2.0,
        height_method_mm: 0.1,
        length_mm: 4.0,
        width_mm: 3.0,
        area_mm2: 12.0,
        volume_mm3: 20.0,
        summit: Point::new(4.5, 2.0, -6.0),
        outline: Vec::new(),
        faces,
        confidence: 1.0,
        state: TorusState::Marked,
        doubts: Vec::new(),
    };
    let probed = BTreeMap::from([(Tooth::fdi(43).unwrap(), 9.0), (Tooth::fdi(33).unwrap(), 11.0)]);
    let way = way(&mesh, &[torus], &probed);
    for s in &way.stations {
        let x = s.margin.x;
        // Probed depth runs from 9 at 43 (x = -10) to 11 at 33 (x = 10).
        assert!((s.depth_mm().unwrap() - (10.0 + x / 10.0)).abs() < 0.01);
        let tori = &s.wall.as_ref().unwrap().tori;
        if (3.0..6.0).contains(&x) {
            assert_eq!(tori.len(), 1);
            assert!((tori[0].from_mm - 5.0).abs() < 0.4 && (tori[0].to_mm - 8.0).abs() < 0.4, "{tori:?}");
            // Above the torus 5 - 3 - 1, below it depth - 8 - 1.
            let below = 10.0 + x / 10.0 - 9.0;
            let band = s.free_band_mm(3.0, 1.0).unwrap();
            assert!((band - below.max(1.0)).abs() < 0.4, "{band}");
        } else if !(1.5..7.5).contains(&x) {
            assert!(tori.is_empty());
            assert!((s.free_band_mm(3.0, 1.0).unwrap() - (7.0 + x / 10.0)).abs() < 0.01);
        }
    }
}

#[test]
fn without_crowns_the_way_is_not_measured() {
    let mesh = cast(0.3, 6.0, 0.5);
    let (surface, topology) = (Surface::new(&mesh), Topology::new(&mesh));
    let mut anatomy = anatomy(&mesh);
    anatomy.crowns.truncate(2);
    let none = BTreeMap::new();
    let cast = Cast {
        surface: &surface,
        topology: &topology,
        anatomy: &anatomy,
        tori: &[],
        abutments: &[],
        probed_mm: &none,
    };
    assert!(lingual_way(&cast).unwrap_err().settled_by.unwrap().contains("margins"));
}
