//! The case file of a demonstration case, with comments for whoever opens it.

use std::fmt::Write;

use super::arch::Place;
use super::demo::Named;
use super::patient::{Pair, SeatPlace};
use super::truth;
use crate::case::{Arch, Tooth};
use crate::space::Point;
use crate::units;

/// Text of `case.toml`. Writing into a string cannot fail, so what `write!` returns is dropped.
pub(super) fn case(case: &Named, pair: &Pair) -> String {
    let cast = pair.cast(case.restored);
    let mut text = head(case);
    plan(&mut text, case);
    let _ = write!(
        text,
        "\n[accuracy]                     # standard uncertainties; these are the defaults\n\
         scan_mm = 0.06\narticulation_mm = 0.10\n\n\
         # Marks: places that you set on the scan. A mark overrides what the program finds.\n[marks]\n"
    );
    let plane = [Point::new(0.0, 0.0, 0.0), Point::new(-22.0, -24.0, 0.0), Point::new(22.0, -24.0, 0.0)];
    let _ = writeln!(text, "occlusal_plane = {}", points(&plane));
    let _ = writeln!(text, "midline = {}", point(&cast.form.point(Place { s: 0.0, t: 0.0 }, 0.0)));
    let crests: Vec<String> = case.crests(pair).iter().map(|c| format!("    {},\n", points(c))).collect();
    let _ = writeln!(text, "crests = [  # residual ridges, one curve a span\n{}]", crests.concat());
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

fn head(case: &Named) -> String {
    let missing: Vec<Tooth> =
        case.patient.missing.iter().copied().filter(|t| t.arch() == case.restored).collect();
    format!(
        "# {}. It is invented: made by\n\
         # `saddleroom demo --case {}`, with every figure known (README.md beside it). Lengths are mm, positions are file coordinates.\n\
         id = \"{}\"                    # any name that tells nobody who the patient is\n\
         restored_arch = \"{}\"     # the arch that gets the denture\n\n\
         [scans]                        # STL, PLY or OBJ, beside this file\n\
         mandible = \"mandible.stl\"\nmaxilla = \"maxilla.stl\"\nunit = \"mm\"\n\n\
         [chart]\n\
         notation = \"fdi\"               # or \"universal\", \"palmer\": rules every tooth number in this file\n\
         missing = {}         # third molars are missing too unless they stand: they count as not to be replaced\n",
        case.about,
        case.name,
        case.name,
        case.restored.word(),
        numbers(&missing)
    )
}

fn plan(text: &mut String, case: &Named) {
    let _ = write!(
        text,
        "\n[design]\nrequest = \"{}\"              # \"hinge\" breaks the stress; \"rigid\", \"clamped\" and \"compare\" are the others\n\
         abutments = {}\n",
        case.request,
        numbers(&case.abutments)
    );
    let rests: Vec<String> = case
        .patient
        .seats
        .iter()
        .map(|(tooth, place)| {
            let place = match place {
                SeatPlace::Mesial => "mesial",
                SeatPlace::Distal => "distal",
                SeatPlace::Cingulum => "cingulum",
            };
            format!("    {{ tooth = {tooth}, place = \"{place}\" }},\n")
        })
        .collect();
    let _ = write!(text, "rests = [\n{}]\n", rests.concat());
    let clasps: Vec<String> = case
        .clasps
        .iter()
        .map(|(tooth, surface, kind)| {
            format!("    {{ tooth = {tooth}, surface = \"{surface}\", kind = \"{kind}\", alloy = \"cobalt_chromium\", arm_mm = 15.0 }},\n")
        })
        .collect();
    let _ = write!(text, "clasps = [\n{}]\n", clasps.concat());
    let up = if case.restored == Arch::Mandible { "1.0" } else { "-1.0" };
    let _ = write!(
        text,
        "\n[path]                         # left out, the path is searched\n\
         withdrawal = [0.0, 0.0, {up}]   # the denture comes out along this way\n"
    );
    if let Some([height, tooth]) = case.attachment {
        let _ = write!(
            text,
            "\n[attachment]                   # envelope of the hinge on your shelf\n\
             height_mm = {height:?}\nlength_mm = 6.0\nwidth_mm = 4.0\n\
             tooth_mm = {tooth:?}                 # denture tooth over it, resin included\n"
        );
    }
    if !case.probe.is_empty() {
        let depths: Vec<String> = case.probe.iter().map(|(t, mm)| format!("{t} = {mm:?}")).collect();
        let _ = write!(
            text,
            "\n[probe]                        # depth from gingival margin to raised floor of the mouth, measured at the chair\n\
             lingual_depth_mm = {{ {} }}\n",
            depths.join(", ")
        );
    }
}

fn numbers(teeth: &[Tooth]) -> String {
    let all: Vec<String> = teeth.iter().map(Tooth::to_string).collect();
    format!("[{}]", all.join(", "))
}

fn point(p: &Point) -> String {
    let [x, y, z] = [p.x, p.y, p.z].map(|c| units::digits(c, 3));
    format!("[{x}, {y}, {z}]")
}

fn points(list: &[Point]) -> String {
    let all: Vec<String> = list.iter().map(point).collect();
    format!("[{}]", all.join(", "))
}
