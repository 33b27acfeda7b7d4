//! Blocks shaped like teeth, with recesses of known size.

use super::*;
use crate::anatomy::Origin;
use crate::measure::shapes::sheet;
use crate::measure::tooth_axes::ToothAxes;
use crate::space::{Direction, Vector};

/// A crown of the triangles that stand over the ground plane z = 0, with mesial +x, buccal +y.
fn asked<'a>(mesh: &'a Mesh, topology: &'a Topology, crown: &'a Crown, half_mm: [f64; 2]) -> SeatAsked<'a> {
    let up = Direction::new_unchecked(Vector::z());
    let axes = ToothAxes {
        centre: Point::origin(),
        mesial: Vector::x(),
        buccal: Vector::y(),
        occlusal: up,
        half_mm,
    };
    SeatAsked { mesh, topology, crown, axes }
}

fn crown(mesh: &Mesh, tooth: u8) -> Crown {
    let over = |f: &u32| mesh.corners(*f).iter().any(|p| p.z > 0.5);
    let faces: Vec<u32> = (0..mesh.faces().len() as u32).filter(over).collect();
    let mut vertices: Vec<u32> = faces.iter().flat_map(|&f| mesh.faces()[f as usize]).collect();
    vertices.sort_unstable();
    vertices.dedup();
    Crown {
        tooth: Tooth::fdi(tooth).unwrap(),
        faces,
        vertices,
        margin: vec![],
        centre: Point::origin(),
        area_mm2: 100.0,
        confidence: 1.0,
        origin: Origin::Given,
    }
}

/// A premolar 7 by 8 mm, marginal ridges 6 mm high with their crests 0.8 mm inside its ends, a fossa 1 mm deep between
/// them, cusps beyond 2.4 mm from its middle.
fn premolar(x: f64, y: f64) -> f64 {
    if x.abs() > 3.5 || y.abs() > 4.0 {
        return 0.0;
    }
    let fossa = ((2.7 - x.abs()) * 0.7).clamp(0.0, 1.0);
    let slope = if x.abs() > 2.7 { 0.4 * (x.abs() - 2.7) } else { 0.0 };
    let cusp = 0.8 * (y.abs() - 2.4).max(0.0) * (1.0 - (x.abs() - 1.5).max(0.0) / 3.0);
    6.0 - fossa.min((2.4 - y.abs()).max(0.0)) - slope + cusp
}

/// A spoon over the mesial ridge: `deep` mm under the ridge in its middle, 3.4 mm wide there, its floor falling 0.15 mm a
/// millimetre inward, ending 3 mm inside the ridge.
fn spoon(deep: f64, x: f64, y: f64) -> f64 {
    let floor = 6.0 - deep + 0.15 * (x - 2.7);
    let wall = deep * (y / 1.7) * (y / 1.7) * if y.abs() > 1.7 { 3.0 } else { 1.0 };
    let end = (-0.3 - x).max(0.0);
    floor + wall + 1.5 * end
}

#[test]
fn a_spoon_through_the_marginal_ridge_is_measured_and_told_from_the_whole_ridge_behind() {
    for deep in [1.1, 1.5] {
        let mesh = sheet(14.0, 0.1, true, |x, y| premolar(x, y).min(spoon(deep, x, y).max(0.0)));
        let (topology, crown) = (Topology::new(&mesh), crown(&mesh, 35));
        let asked = asked(&mesh, &topology, &crown, [3.5, 4.0]);
        let mesial = read(&asked, RestPlace::Mesial).unwrap();
        let depth = mesial.depth_mm.unwrap();
        assert!((depth - deep).abs() < 0.1, "{deep}: {mesial:?}");
        assert!((mesial.width_mm.unwrap() - 3.4).abs() < 0.4, "{mesial:?}");
        assert!((mesial.at - Point::new(2.7, 0.0, 6.0 - deep)).norm() < 0.5, "{mesial:?}");
        let floor = mesial.floor.unwrap();
        assert_eq!(floor.against, FloorAgainst::ProximalSurface);
        // atan(0.15) = 8.5 degrees under a right angle.
        assert!((floor.angle_deg - 81.5).abs() < 3.0, "{floor:?}");
        assert!((mesial.length_mm.unwrap() - 3.8).abs() < 0.8, "{mesial:?}");
        assert!(mesial.likeness_share > 0.7, "{mesial:?}");
        let distal = read(&asked, RestPlace::Distal).unwrap();
        assert!(distal.likeness_share < 0.1, "{distal:?}");
    }
}

#[test]
fn a_neighbour_that_stands_next_to_the_seat_is_not_taken_for_its_wall() {
    // The neighbour begins 0.1 mm beyond the tooth and is as high as the ridge was.
    let row = |x: f64, y: f64| {
        if x > 3.6 && y.abs() < 4.0 {
            return (4.0 + 2.5 * (x - 3.6)).min(6.0);
        }
        premolar(x, y).min(spoon(1.3, x, y).max(0.0)).max(if x.abs() < 6.0 && y.abs() < 4.0 {
            2.0
        } else {
            0.0
        })
    };
    let mesh = sheet(16.0, 0.1, true, row);
    let topology = Topology::new(&mesh);
    // The crown's border is half a millimetre off, over the neighbour and short of it.
    for border in [3.0, 3.55, 4.1] {
        let mut crown = crown(&mesh, 35);
        crown.faces.retain(|&f| mesh.face_centre(f).x < border);
        let seat = read(&asked(&mesh, &topology, &crown, [3.5, 4.0]), RestPlace::Mesial).unwrap();
        assert!(
            (seat.depth_mm.unwrap() - 1.3).abs() < 0.15 && seat.likeness_share > 0.7,
            "{border}: {seat:?}"
        );
        assert!((seat.at.x - 2.7).abs() < 0.6, "{border}: {seat:?}");
    }
}

#[test]
fn a_notch_in_an_incisal_edge_is_measured() {
    let edge = |x: f64, y: f64| {
        let inside = x.abs() < 3.5 && y.abs() < 3.0;
        if !inside {
            return 0.0;
        }
        // A level edge 9 mm high, 1.2 mm thick, with a round notch 1.4 mm deep and 2.6 mm wide half way to the mesial end.
        let top = if (x - 1.2).abs() < 1.3 { 9.0 - 1.4 * (1.0 - ((x - 1.2) / 1.3).powi(2)) } else { 9.0 };
        (top - 2.5 * (y.abs() - 0.6).max(0.0)).max(0.6)
    };
    let mesh = sheet(14.0, 0.1, true, edge);
    let (topology, crown) = (Topology::new(&mesh), crown(&mesh, 43));
    let seat = read(&asked(&mesh, &topology, &crown, [3.5, 3.0]), RestPlace::Incisal).unwrap();
    assert!((seat.depth_mm.unwrap() - 1.4).abs() < 0.1, "{seat:?}");
    assert!((seat.length_mm.unwrap() - 2.6).abs() < 0.5 && (seat.at.x - 1.2).abs() < 0.3, "{seat:?}");
    assert!(seat.likeness_share > 0.7);
    let whole = sheet(14.0, 0.1, true, |x, y| {
        edge(if x > -0.2 { -3.0 } else { x }, y) * f64::from(u8::from(x.abs() < 3.5))
    });
    let (topology, crown) = (Topology::new(&whole), super::tests::crown(&whole, 43));
    let seat = read(&asked(&whole, &topology, &crown, [3.5, 3.0]), RestPlace::Incisal).unwrap();
    assert!(seat.likeness_share < 0.1, "{seat:?}");
}

#[test]
fn a_ledge_on_a_cingulum_is_measured_along_the_tooth() {
    // A lingual surface that rises by 1.5 mm a millimetre from y = -4 to an edge at y = 1.
    let lingual = |x: f64, y: f64| {
        if x.abs() > 3.5 || !(-4.0..3.0).contains(&y) { 0.0 } else { (1.0 + 1.5 * (y + 4.0)).min(8.5) }
    };
    // The ledge: a level floor at 2.5 mm with its rim at y = -2.5, 2.2 mm deep in front of a steep wall.
    let ledge = |x: f64, y: f64| {
        let floor = 2.5 - 0.3 * (y + 2.5) + (x / 1.5).powi(4) + 6.0 * (y + 1.2).max(0.0);
        if y > -3.0 { floor } else { f64::INFINITY }
    };
    let mesh = sheet(14.0, 0.1, true, |x, y| lingual(x, y).min(ledge(x, y).max(0.0)));
    let (topology, crown) = (Topology::new(&mesh), crown(&mesh, 33));
    let seat = read(&asked(&mesh, &topology, &crown, [3.5, 3.5]), RestPlace::Cingulum).unwrap();
    // Deepest at y = -1.2: 1 + 1.5 * 2.8 = 5.2 before, 2.5 - 0.39 = 2.11 now.
    assert!((seat.depth_mm.unwrap() - 3.09).abs() < 0.3, "{seat:?}");
    assert!((seat.at.y + 1.2).abs() < 0.5 && seat.at.x.abs() < 0.6, "{seat:?}");
    assert!(seat.likeness_share > 0.7, "{seat:?}");
    assert!(seat.floor.unwrap().angle_deg < 85.0, "{seat:?}");
    let whole = sheet(14.0, 0.1, true, lingual);
    let (topology, crown) = (Topology::new(&whole), super::tests::crown(&whole, 33));
    let seat = read(&asked(&whole, &topology, &crown, [3.5, 3.5]), RestPlace::Cingulum).unwrap();
    assert!(seat.likeness_share < 0.1, "{seat:?}");
}

#[test]
fn a_hole_at_the_seat_or_a_place_that_the_tooth_has_not_is_not_measured() {
    let whole = sheet(14.0, 0.1, true, |x, y| premolar(x, y).min(spoon(1.3, x, y).max(0.0)));
    let hole = |f: u32| {
        let c = whole.face_centre(f);
        !(c.z > 1.0 && (c.x - 2.4).abs() < 0.4 && c.y.abs() < 0.4)
    };
    let (mesh, _) = whole.part(hole);
    let (topology, crown) = (Topology::new(&mesh), crown(&mesh, 35));
    let asked = asked(&mesh, &topology, &crown, [3.5, 4.0]);
    let reason = read(&asked, RestPlace::Mesial).unwrap_err();
    assert!(reason.because.contains("not scanned throughout"), "{reason:?}");
    assert!(read(&asked, RestPlace::Distal).is_ok());
    let reason = read(&asked, RestPlace::Cingulum).unwrap_err();
    assert!(reason.because.contains("no cingulum place"), "{reason:?}");
}

/// Ordinary fossae of untouched teeth on real scans: none may be called a seat.
#[test]
fn no_ordinary_fossa_of_the_real_scans_is_called_a_seat() {
    let Some(scans) = real::scans() else {
        println!("skipped: no folder of real scans beside the crate");
        return;
    };
    let mut places = 0;
    for scan in &scans {
        for (tooth, place, seat) in real::seats(scan) {
            places += 1;
            assert!(seat.likeness_share < 0.7, "{tooth} {place:?}: {seat:?}");
        }
    }
    assert!(places > 150, "{places} places read on {} scans", scans.len());
}

mod real {
    use super::*;
    use crate::anatomy::{Anatomy, KnownFrame, crowns};
    use crate::load;
    use crate::locate::Surface;
    use crate::space::{Frame, direction};
    use crate::units::LengthUnit;

    pub struct Real {
        mesh: Mesh,
        labels: Vec<u8>,
        frame: Frame,
    }

    /// The labelled scans; `None` where the folder is missing.
    pub fn scans() -> Option<Vec<Real>> {
        let folder =
            std::env::var("SADDLEROOM_REAL_SCANS").map(std::path::PathBuf::from).unwrap_or_else(|_| {
                std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/real-scans")
            });
        let mut names: Vec<_> = std::fs::read_dir(&folder)
            .ok()?
            .filter_map(|e| Some(e.ok()?.path()))
            .filter(|p| p.extension().is_some_and(|e| e == "ply"))
            .collect();
        names.sort();
        Some(names.iter().filter_map(|p| scan(p)).collect())
    }

    fn scan(path: &std::path::Path) -> Option<Real> {
        let json = std::fs::read(path.with_extension("labels.json")).ok()?;
        let json: serde_json::Value = serde_json::from_slice(&json).ok()?;
        let import = load::read(&std::fs::read(path).ok()?, LengthUnit::Mm).ok()?;
        let of_file: Vec<u8> =
            json["labels"].as_array()?.iter().map(|v| v.as_u64().unwrap_or(0) as u8).collect();
        let mut labels = vec![0u8; import.mesh.vertices().len()];
        for (file, &welded) in import.welded_of.iter().enumerate() {
            if let Some(label) = labels.get_mut(welded as usize) {
                *label = of_file[file];
            }
        }
        let vector = |key: &str| {
            let v: Vec<f64> =
                json["occlusal_plane"][key].as_array().unwrap().iter().filter_map(|x| x.as_f64()).collect();
            Vector::new(v[0], v[1], v[2])
        };
        let up = direction(vector("normal"))?;
        let frame = Frame::new(Point::origin(), up, vector("anterior"), json["jaw"] == "lower")?;
        Some(Real { mesh: import.mesh, labels, frame })
    }

    /// What is read at every place of every labelled tooth.
    pub fn seats(real: &Real) -> Vec<(Tooth, RestPlace, RestSeat)> {
        let (mesh, topology) = (&real.mesh, Topology::new(&real.mesh));
        let frame = KnownFrame::given(real.frame, 1.0);
        let anatomy = Anatomy {
            crowns: crowns::from_labels(&Surface::new(mesh), &topology, &real.labels),
            ..Anatomy::bare(Ok(frame), mesh.vertices().len())
        };
        let mut all = Vec::new();
        for crown in &anatomy.crowns {
            let Ok(axes) = ToothAxes::of(mesh, crown, &anatomy) else { continue };
            for (place, seat) in read_all(&SeatAsked { mesh, topology: &topology, crown, axes }) {
                all.extend(seat.ok().map(|s| (crown.tooth, place, s)));
            }
        }
        all
    }
}
