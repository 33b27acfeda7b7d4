//! The finder on real scans in many poses, read in place, and on surfaces that hold no row of teeth.

use super::*;
use crate::anatomy::test_casts::{FieldCast, extracted, labelled, pose, real_scans};
use crate::case::Tooth;
use crate::space::{cos, sin};

/// A height field over a square.
fn field(height: impl Fn(f64, f64) -> f64) -> Mesh {
    let n = 80u32;
    let at = |k: u32| -30.0 + 0.75 * f64::from(k);
    let vertices = (0..=n)
        .flat_map(|j| (0..=n).map(move |i| (i, j)))
        .map(|(i, j)| Point::new(at(i), at(j), height(at(i), at(j))))
        .collect();
    let mut faces = Vec::new();
    for a in (0..n).flat_map(|j| (0..n).map(move |i| j * (n + 1) + i)) {
        faces.extend([[a, a + 1, a + n + 2], [a, a + n + 2, a + n + 1]]);
    }
    Mesh::new(vertices, faces).unwrap()
}

#[test]
fn a_surface_without_a_row_of_teeth_gives_no_plane_and_asks_for_three_marks() {
    let bumps = |x: f64, y: f64| 2.5 * sin(1.3 * x + 0.7 * sin(0.9 * y)) * cos(1.1 * y - 0.4 * sin(x));
    for (name, mesh) in [
        ("plate", field(|_, _| 0.0)),
        ("dome", field(|x, y| (900.0 - x * x - y * y).max(0.0).sqrt())),
        ("bumps", field(bumps)),
        ("small bumps", field(|x, y| 0.4 * bumps(2.0 * x, 2.0 * y))),
        ("barrel on a plate", field(|x, y| if x * x + y * y < 16.0 { 8.0 } else { 0.0 })),
    ] {
        let reason = frame(&mesh, &Topology::new(&mesh), Arch::Mandible, &[], LEAST_CONFIDENCE).unwrap_err();
        assert!(reason.settled_by.unwrap().contains("occlusal_plane"), "{name}");
    }
}

#[test]
fn a_plain_arch_is_found_in_any_pose() {
    for (k, arch) in [Arch::Mandible, Arch::Maxilla].into_iter().enumerate() {
        let cast = FieldCast::new(arch, &|_| true, 0.5);
        let motion = pose(k);
        let mesh = cast.mesh.moved(&motion);
        let found = frame(&mesh, &Topology::new(&mesh), arch, &[], LEAST_CONFIDENCE).unwrap();
        assert!(found.anterior_known && found.confidence > 0.5, "{found:?}");
        assert!(angle_deg(&found.frame.occlusal, &(motion * Vector::z())) < 2.0);
        assert!(angle_deg(&found.frame.anterior, &(motion * Vector::y())) < 3.0);
        let c = cast.centre(Tooth::at(arch, 6).unwrap());
        assert!(found.frame.local(&(motion * Point::new(c[0], c[1], 10.0)))[1] > 15.0, "left is left");
    }
}

#[test]
fn frames_of_real_scans_in_any_pose() {
    let Some(folder) = real_scans() else { return };
    let (mut errors, mut refused) = (Vec::new(), 0);
    for (i, scan) in labelled(&folder).into_iter().chain(extracted(&folder)).enumerate() {
        let motion = pose(7 * i + 1);
        let mesh = scan.mesh.moved(&motion);
        let Some((f, shape, _)) = best(&mesh, &Topology::new(&mesh), scan.arch, &[]) else {
            refused += 1;
            continue;
        };
        let up = angle_deg(&f.frame.occlusal, &(motion * scan.normal));
        let front = angle_deg(&f.frame.anterior, &(motion * scan.anterior));
        println!(
            "{:18} up {up:.1} front {front:.1} confidence {:.2} over {:.3}",
            scan.name, f.confidence, shape.over
        );
        if f.confidence < 0.5 {
            refused += 1;
            continue;
        }
        errors.push((up, front));
    }
    let mean = |pick: fn(&(f64, f64)) -> f64| errors.iter().map(pick).sum::<f64>() / errors.len() as f64;
    println!("mean up {:.2} front {:.2}, {refused} refused", mean(|e| e.0), mean(|e| e.1));
    assert!(refused <= 2, "{refused} refused");
    assert!(errors.iter().all(|e| e.0 < 6.0), "no sign error and none confidently wrong: {errors:?}");
    assert!(mean(|e| e.0) < 2.5 && mean(|e| e.1) < 5.0);
}
