//! Tests of margins on casts with known crowns.

use super::super::test_casts::{FieldCast, overlap};
use super::*;
use crate::case::Arch;

fn tooth(n: u8) -> Tooth {
    Tooth::fdi(n).unwrap()
}

fn marked(cast: &FieldCast, curve: Vec<Point>, seed: bool) -> (Vec<Crown>, Vec<(Tooth, NotMeasured)>) {
    let surface = Surface::new(&cast.mesh);
    let topology = Topology::new(&cast.mesh);
    let mut marks = Marks::default();
    marks.margins.insert(tooth(36), curve);
    if seed {
        let c = cast.centre(tooth(36));
        marks.teeth.insert(tooth(36), Point::new(c[0] + 1.0, c[1], 12.0));
    }
    from_margins(&surface, &topology, &marks, None)
}

#[test]
fn a_margin_encloses_its_crown_whichever_way_and_however_loosely_it_is_marked() {
    let cast = FieldCast::new(Arch::Mandible, &|_| true, 0.4);
    for (count, clockwise, off, repeated, seed) in [
        (12, false, 0.0, false, true),
        (12, true, 0.3, true, true),
        (60, false, -0.3, true, false),
        (9, true, 0.2, false, false),
    ] {
        let mut curve = cast.margin(tooth(36), count, clockwise, off);
        if repeated {
            curve.push(curve[0]);
        }
        let (crowns, failed) = marked(&cast, curve, seed);
        assert!(failed.is_empty(), "{failed:?}");
        assert!(overlap(&cast, &crowns[0]) > 0.80, "{count}: {}", overlap(&cast, &crowns[0]));
        let margin = &crowns[0].margin;
        assert!(margin.windows(2).all(|w| (w[1] - w[0]).norm() <= MARGIN_STEP_MM + 1e-9));
        assert!((margin[0] - margin[margin.len() - 1]).norm() <= 2.0 * MARGIN_STEP_MM);
    }
}

#[test]
fn a_margin_that_encloses_no_crown_is_named_with_its_tooth() {
    let cast = FieldCast::new(Arch::Mandible, &|_| true, 0.8);
    let far: Vec<Point> =
        cast.margin(tooth(36), 12, false, 0.0).iter().map(|p| p + crate::space::Vector::z() * 9.0).collect();
    let (crowns, failed) = marked(&cast, far, true);
    assert!(crowns.is_empty());
    assert!(failed[0].1.because.contains("36") && failed[0].1.because.contains("leaves the surface"));
    // A curve around another crown does not hold the tooth's own mark.
    let (crowns, failed) = marked(&cast, cast.margin(tooth(33), 12, false, 0.0), true);
    assert!(crowns.is_empty());
    assert!(failed[0].1.because.contains("does not close"), "{failed:?}");
    let (crowns, failed) = marked(&cast, vec![Point::origin(); 5], false);
    assert!(crowns.is_empty() && failed[0].1.because.contains("fewer than three"));
}

#[test]
fn crowns_joined_above_an_open_embrasure_are_cut_midway() {
    let mut cast = FieldCast::new(Arch::Mandible, &|_| true, 0.4);
    let (a, b) = (cast.centre(tooth(36)), cast.centre(tooth(35)));
    let length = hypot(b[0] - a[0], b[1] - a[1]);
    let toward = [(b[0] - a[0]) / length, (b[1] - a[1]) / length];
    // A triangle half way up the wall of each crown that faces the other, and a tube from one to the other.
    let facing = |c: [f64; 2], sign: f64, r: f64| {
        let at = [c[0] + sign * toward[0] * r * 0.75, c[1] + sign * toward[1] * r * 0.75];
        let far = |f: &u32| {
            let [p, q, s] = cast.mesh.corners(*f);
            hypot((p.x + q.x + s.x) / 3.0 - at[0], (p.y + q.y + s.y) / 3.0 - at[1])
        };
        (0..cast.mesh.faces().len() as u32).min_by(|x, y| far(x).total_cmp(&far(y))).unwrap()
    };
    let radius = super::super::test_casts::radius;
    let (f, g) = (facing(a, 1.0, radius(tooth(36))), facing(b, -1.0, radius(tooth(35))));
    let (p, q) = (cast.mesh.faces()[f as usize], cast.mesh.faces()[g as usize]);
    let mut faces: Vec<[u32; 3]> = cast.mesh.faces().to_vec();
    for k in 0..3 {
        let (p0, p1) = (p[k], p[(k + 1) % 3]);
        let (q0, q1) = (q[(3 - k) % 3], q[(5 - k) % 3]);
        faces.extend([[p0, p1, q1], [p0, q1, q0]]);
    }
    faces.swap_remove(f.max(g) as usize);
    faces.swap_remove(f.min(g) as usize);
    cast.mesh = Mesh::new(cast.mesh.vertices().to_vec(), faces).unwrap();
    let mut marks = Marks::default();
    for t in [35, 36].map(tooth) {
        marks.margins.insert(t, cast.margin(t, 40, false, 0.1));
        let c = cast.centre(t);
        marks.teeth.insert(t, Point::new(c[0], c[1], 12.0));
    }
    let up = direction(Vector::z());
    let read =
        |mesh: &Mesh, marks: &Marks| from_margins(&Surface::new(mesh), &Topology::new(mesh), marks, up);
    let (crowns, failed) = read(&cast.mesh, &marks);
    assert!(failed.is_empty(), "{failed:?}");
    for c in &crowns {
        assert!(overlap(&cast, c) > 0.8, "{}: {}", c.tooth, overlap(&cast, c));
    }
    // Without the neighbour's margin the joint is cut where the crown cannot bulge any farther.
    marks.margins.remove(&tooth(35));
    let (crowns, failed) = read(&cast.mesh, &marks);
    assert!(failed.is_empty() && overlap(&cast, &crowns[0]) > 0.75, "{failed:?}");
}
