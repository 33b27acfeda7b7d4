//! The page of known figures beside a demonstration case.

use std::fmt::Write;

use serde_json::Value;

use super::demo::Named;
use crate::units::digits;

/// `README.md` of a case from its truth. Writing into a string cannot fail, so what `write!` returns is dropped.
pub(super) fn page(case: &Named, truth: &Value) -> String {
    let mut text = format!(
        "# {}\n\n{}. Invented, and made by `saddleroom demo DIR --case {}`: no patient stands behind it.\n\n\
         | file | what it is |\n|---|---|\n\
         | `mandible.stl`, `maxilla.stl` | both arches in occlusion, mm; the occlusal plane is z = 0, +x the patient's right, +y anterior |\n\
         | `case.toml` | the case as a technician would write it, with marks |\n\
         | `truth.json` | every figure of the casts, from the distance function that they were made from, never from the triangles |\n\n\
         ## Known figures\n\nAll in mm, withdrawal and opening square to the occlusal plane.\n\n",
        case.name, case.about, case.name
    );
    rooms(&mut text, truth);
    undercuts(&mut text, truth);
    tori(&mut text, truth);
    walls_and_seats(&mut text, truth);
    text
}

fn list<'v>(value: &'v Value, key: &str) -> &'v [Value] {
    value[key].as_array().map_or(&[], Vec::as_slice)
}

/// A length for the page; a dash where there is none.
fn mm(value: &Value) -> String {
    value.as_f64().map_or("-".to_owned(), |v| digits(v, 2))
}

fn least(line: &Value, key: &str) -> String {
    let all = line.as_array().map_or(&[][..], Vec::as_slice).iter().filter_map(|s| s[key].as_f64());
    all.min_by(f64::total_cmp).map_or("-".to_owned(), |v| digits(v, 2))
}

fn place(value: &Value) -> String {
    let all: Vec<String> = list_of(value).iter().filter_map(Value::as_f64).map(|v| digits(v, 1)).collect();
    format!("({})", all.join(", "))
}

fn list_of(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

fn rooms(text: &mut String, truth: &Value) {
    let _ = write!(
        text,
        "| span, from | least room along the opening | least distance in any direction |\n|---|---|---|\n"
    );
    for crest in list(truth, "crests") {
        let from = list_of(crest).first().map_or_else(String::new, |s| place(&s["at_mm"]));
        let _ = writeln!(
            text,
            "| crest from {from} | {} | {} |",
            least(crest, "along_opening_mm"),
            least(crest, "nearest_mm")
        );
    }
    let _ =
        write!(text, "\n| body of 6 by 4 mm at | room for it, upright | point by point |\n|---|---|---|\n");
    for body in list(truth, "bodies") {
        let _ = writeln!(
            text,
            "| {} | {} | {} |",
            place(&body["centre_mm"]),
            mm(&body["room_mm"]),
            mm(&body["pointwise_mm"])
        );
    }
}

fn undercuts(text: &mut String, truth: &Value) {
    let _ = write!(text, "\n| abutment | buccal | lingual | mesial | distal |\n|---|---|---|---|---|\n");
    for abutment in list(truth, "paths").first().map_or(&[][..], |p| list(p, "abutments")) {
        let of = |surface: &str| {
            let found = list(abutment, "surfaces").iter().find(|s| s["surface"] == surface);
            found.map_or("-".to_owned(), |s| mm(&s["deepest_mm"]))
        };
        let _ = writeln!(
            text,
            "| {}: deepest undercut above the margin | {} | {} | {} | {} |",
            abutment["tooth"],
            of("buccal"),
            of("lingual"),
            of("mesial"),
            of("distal")
        );
    }
}

fn tori(text: &mut String, truth: &Value) {
    if list(truth, "tori").is_empty() {
        let _ = writeln!(text, "\nNo torus.");
        return;
    }
    let _ = write!(
        text,
        "\n| torus | summit | height | lobes, height | longest chord at 0.5 mm |\n|---|---|---|---|---|\n"
    );
    for torus in list(truth, "tori") {
        let lobes: Vec<String> = list(torus, "lobes").iter().map(|l| mm(&l["height_mm"])).collect();
        let side = torus["side"].as_str().unwrap_or("");
        let _ = writeln!(
            text,
            "| {side} | {} | {} | {} | {} |",
            place(&torus["summit_mm"]),
            mm(&torus["height_mm"]),
            lobes.join(", "),
            mm(&torus["length_mm"])
        );
    }
}

fn walls_and_seats(text: &mut String, truth: &Value) {
    if !list(truth, "lingual_walls").is_empty() {
        let _ = write!(
            text,
            "\n| lingual wall below | along the tissue, margin to floor | vertical |\n|---|---|---|\n"
        );
        for wall in list(truth, "lingual_walls") {
            let _ = writeln!(
                text,
                "| {} | {} | {} |",
                wall["tooth"],
                mm(&wall["along_mm"]),
                mm(&wall["vertical_mm"])
            );
        }
    }
    let _ = write!(
        text,
        "\n| rest seat | depth at the marginal ridge | room there | deepest under the unprepared tooth | room over that |\n\
         |---|---|---|---|---|\n"
    );
    for seat in list(truth, "rest_seats") {
        let _ = writeln!(
            text,
            "| {} {} | {} | {} | {} | {} |",
            seat["tooth"],
            seat["place"].as_str().unwrap_or(""),
            mm(&seat["ridge"]["depth_mm"]),
            mm(&seat["ridge"]["room_mm"]),
            mm(&seat["depth_mm"]),
            mm(&seat["room_mm"])
        );
    }
}
