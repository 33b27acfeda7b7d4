//! Curves and places of a case as files: OBJ with a named object a kind, and the tripod marks as PLY.

use crate::report::{CurveKind, Scene, SpotKind};
use crate::space::Point;
use crate::units::digits;

/// Decimals of a coordinate, mm: a tenth of a micrometre.
const PLACES: usize = 4;

/// `curves.obj`: one named object a kind of curve, polylines as `l`, places as `p`.
pub fn obj(scene: &Scene<'_>) -> Vec<u8> {
    let mut out = String::from("# millimetres, in the axes of the scan; written by saddleroom\n");
    let mut count = 0_usize;
    let mut vertices = |out: &mut String, places: &[Point]| {
        for p in places {
            out.push_str(&format!("v {} {} {}\n", number(p.x), number(p.y), number(p.z)));
        }
        count += places.len();
        (count + 1 - places.len()..=count).map(|i| i.to_string()).collect::<Vec<_>>().join(" ")
    };
    for kind in CurveKind::ALL {
        let mut curves = scene.curves_of(kind).filter(|c| c.places.len() > 1).peekable();
        if curves.peek().is_some() {
            out.push_str(&format!("o {}\n", kind.id()));
        }
        for curve in curves {
            out.push_str(&format!("g {}{}\n", kind.id(), group(&curve.of)));
            let line = vertices(&mut out, &curve.places);
            out.push_str(&format!("l {line}\n"));
        }
    }
    for kind in SpotKind::ALL {
        let places: Vec<Point> = scene.spots_of(kind).map(|s| s.at).collect();
        if !places.is_empty() {
            out.push_str(&format!("o {}\n", kind.id()));
            let line = vertices(&mut out, &places);
            out.push_str(&format!("p {line}\n"));
        }
    }
    out.into_bytes()
}

fn group(of: &str) -> String {
    if of.is_empty() { String::new() } else { format!("_{of}") }
}

fn number(v: f64) -> String {
    digits(v, PLACES)
}

/// `tripod.ply`: the three marks as points, their places in words as comments.
pub fn tripod(scene: &Scene<'_>) -> Vec<u8> {
    let marks: Vec<_> = scene.spots_of(SpotKind::Tripod).collect();
    let mut out = String::from("ply\nformat ascii 1.0\ncomment millimetres, written by saddleroom\n");
    for mark in &marks {
        let line: String = mark.says.chars().filter(|c| c.is_ascii() && !c.is_ascii_control()).collect();
        out.push_str(&format!("comment {line}\n"));
    }
    out.push_str(&format!(
        "element vertex {}\nproperty double x\nproperty double y\nproperty double z\nend_header\n",
        marks.len()
    ));
    for mark in &marks {
        out.push_str(&format!("{} {} {}\n", number(mark.at.x), number(mark.at.y), number(mark.at.z)));
    }
    out.into_bytes()
}
