//! The cases that `saddleroom demo` writes. Each is invented and named after a harbour.

use super::cast::Cast;
use super::patient::{Pair, Patient, SeatPlace, TorusWish, casts};
use super::scan::{Density, scan};
use super::{stl, truth};
use crate::case::{Arch, Side, Tooth};
use crate::space::Point;
use crate::units;
use std::fmt::Write;

/// Names of the cases.
pub const NAMES: &[&str] = &["oban"];

/// Files of a case as (file name, bytes), ready to be written into one directory; empty for a name not in [`NAMES`].
pub fn files(name: &str) -> Vec<(String, Vec<u8>)> {
    match name {
        "oban" => oban(),
        _ => Vec::new(),
    }
}

/// The pair of casts that a case was scanned from; `None` for a name not in [`NAMES`].
pub fn pair(name: &str) -> Option<Pair> {
    match name {
        "oban" => Some(casts(&oban_patient())),
        _ => None,
    }
}

fn teeth(numbers: &[u8]) -> Vec<Tooth> {
    numbers.iter().filter_map(|n| Tooth::fdi(*n)).collect()
}

/// The patient of `oban`: mandible, Kennedy class II modification 1, one torus on the left.
pub fn oban_patient() -> Patient {
    let seat = |n: u8, place| Tooth::fdi(n).map(|t| (t, place));
    Patient {
        seed: 3,
        size: 1.0,
        missing: teeth(&[36, 37, 45]),
        resorption_mm: 2.0,
        ridge_half_mm: 3.9,
        tori: vec![TorusWish {
            side: Side::Left,
            place: 4.6,
            below_crest_mm: 6.2,
            height_mm: 3.0,
            length_mm: 11.0,
            width_mm: 6.2,
        }],
        seats: [seat(35, SeatPlace::Mesial), seat(44, SeatPlace::Distal), seat(46, SeatPlace::Mesial)]
            .into_iter()
            .flatten()
            .collect(),
        unevenness: 0.55,
    }
}

/// Density of the scans of `oban`.
pub fn oban_density(arch: Arch) -> Density {
    let mandible = arch == Arch::Mandible;
    Density {
        cell_mm: 0.42,
        fine_mm: Some(0.34),
        teeth_mm: if mandible { 0.40 } else { 0.38 },
        tissue_mm: if mandible { 0.56 } else { 0.60 },
        fine_teeth: if mandible { teeth(&[35, 44, 46]) } else { teeth(&[26, 27]) },
        fine_ridges: if mandible { vec![[28.0, 62.0], [-35.0, -22.0]] } else { Vec::new() },
    }
}

fn oban() -> Vec<(String, Vec<u8>)> {
    let pair = casts(&oban_patient());
    let (lower, upper) = rayon::join(
        || scan(&pair.mandible, &oban_density(Arch::Mandible)),
        || scan(&pair.maxilla, &oban_density(Arch::Maxilla)),
    );
    vec![
        ("mandible.stl".to_owned(), stl::binary(&lower, "phantom oban, mandible")),
        ("maxilla.stl".to_owned(), stl::binary(&upper, "phantom oban, maxilla")),
        ("case.toml".to_owned(), oban_case(&pair).into_bytes()),
        ("truth.json".to_owned(), truth_json(&pair).into_bytes()),
    ]
}

const OBAN_HEAD: &str = r#"# A mandible with both second-side molars gone on the left and a premolar on the right. It is invented: made by
# `saddleroom demo`, with every figure known (README.md beside it). Lengths are mm, positions are file coordinates.
id = "oban"                    # any name that tells nobody who the patient is
restored_arch = "mandible"     # the arch that gets the denture

[scans]                        # STL, PLY or OBJ, beside this file
mandible = "mandible.stl"
maxilla = "maxilla.stl"
unit = "mm"

[chart]
notation = "fdi"               # or "universal", "palmer": rules every tooth number in this file
missing = [36, 37, 45]         # third molars are missing too: they count as not to be replaced unless named in `replaced`

[design]
request = "hinge"              # a stress-breaking hinge behind 35; "rigid", "clamped" and "compare" are the others
abutments = [35, 44, 46]
rests = [
    { tooth = 35, place = "mesial" },
    { tooth = 44, place = "distal" },
    { tooth = 46, place = "mesial" },
]
clasps = [
    { tooth = 35, surface = "buccal", kind = "cast_circumferential", alloy = "cobalt_chromium", arm_mm = 15.0 },
    { tooth = 46, surface = "lingual", kind = "cast_circumferential", alloy = "cobalt_chromium", arm_mm = 15.0 },
]

[path]                         # left out, the path is searched
withdrawal = [0.0, 0.0, 1.0]   # the denture comes out along +z

[attachment]                   # envelope of the hinge on your shelf
height_mm = 3.0
length_mm = 6.0
width_mm = 4.0
tooth_mm = 2.0                 # denture tooth over it, resin included

[probe]                        # depth from gingival margin to raised floor of the mouth, measured at the chair
lingual_depth_mm = { 31 = 10.0, 35 = 12.5, 41 = 10.0, 44 = 12.0 }

[accuracy]                     # standard uncertainties; these are the defaults
scan_mm = 0.06
articulation_mm = 0.10

# Marks: places that you set on the scan. A mark overrides what the program finds.
[marks]
"#;

fn oban_case(pair: &Pair) -> String {
    let mut text = OBAN_HEAD.to_owned();
    let cast = pair.mandible.as_ref();
    let plane = [Point::new(0.0, 0.0, 0.0), Point::new(-22.0, -24.0, 0.0), Point::new(22.0, -24.0, 0.0)];
    // Writing into a string cannot fail.
    let _ = writeln!(text, "occlusal_plane = {}", points(&plane));
    let midline = cast.form.point(super::arch::Place { s: 0.0, t: 0.0 }, 0.0);
    let _ = writeln!(text, "midline = {}", point(&midline));
    let crests: Vec<String> = spans(cast).iter().map(|c| format!("    {},\n", points(c))).collect();
    let _ =
        writeln!(text, "crests = [  # residual ridge behind 35, and between 44 and 46\n{}]", crests.concat());
    let _ = writeln!(text, "\n[marks.teeth]  # one point on each crown");
    for crown in &cast.crowns {
        let _ = writeln!(text, "{} = {}", crown.tooth, point(&truth::on_crown(cast, crown)));
    }
    let _ = writeln!(text, "\n[marks.margins]  # gingival margins, closed curves");
    for crown in &cast.crowns {
        let _ = writeln!(text, "{} = {}", crown.tooth, points(&truth::margin(cast, crown, 0.6)));
    }
    text
}

/// What is true of `oban`, from its distance function.
fn truth_json(pair: &Pair) -> String {
    let up = crate::space::Vector::z();
    let cast = pair.mandible.as_ref();
    let crests: Vec<serde_json::Value> = spans(cast)
        .iter()
        .map(|crest| {
            let stations: Vec<serde_json::Value> = crest
                .iter()
                .step_by(4)
                .map(|p| {
                    serde_json::json!({
                        "at_mm": units::json_place(p),
                        "along_opening_mm": truth::along_mm(&pair.maxilla, p, &up).map(units::json),
                    })
                })
                .collect();
            stations.into()
        })
        .collect();
    let tori: Vec<serde_json::Value> = cast
        .rises
        .iter()
        .filter(|r| r.torus)
        .map(|r| {
            let (height, summit) = truth::torus_height(cast, r);
            serde_json::json!({ "height_mm": units::json(height), "summit_mm": units::json_place(&summit) })
        })
        .collect();
    let all = serde_json::json!({
        "occlusal_mm": [0.0, 0.0, 1.0],
        "kennedy": { "class": "II", "modifications": 1 },
        "crests": crests,
        "tori": tori,
    });
    format!("{all:#}\n")
}

/// Crest lines of `oban`: behind 35, and from 44 to 46.
pub fn spans(cast: &Cast) -> Vec<Vec<Point>> {
    let crown = |n: u8| Tooth::fdi(n).and_then(|t| truth::crown_of(cast, t));
    let mut out = Vec::new();
    if let Some(front) = crown(35) {
        let from = truth::proximal_s(cast, front, false);
        out.push(truth::crest(cast, from + 1.0, cast.limits.ends[1] - 8.0));
    }
    if let (Some(front), Some(back)) = (crown(44), crown(46)) {
        let (a, b) = (truth::proximal_s(cast, front, false), truth::proximal_s(cast, back, true));
        out.push(truth::crest(cast, a, b));
    }
    out
}

fn point(p: &Point) -> String {
    let [x, y, z] = [p.x, p.y, p.z].map(|c| units::digits(c, 3));
    format!("[{x}, {y}, {z}]")
}

fn points(list: &[Point]) -> String {
    let all: Vec<String> = list.iter().map(point).collect();
    format!("[{}]", all.join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_unknown_case_has_no_files() {
        assert!(files("nowhere").is_empty());
    }
}
