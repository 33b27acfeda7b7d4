use proptest::prelude::*;

use super::*;
use crate::case::attachment::attachment_sizes;
use crate::case::{Arch, ClaspKind, Notation, Opposite, PathWanted, RestPlace, Side, Surface, Tooth};
use crate::mesh::Mesh;
use crate::space::Point;
use crate::units::LengthUnit;

const LIMITS: &[&str] = &["attachment_room_mm", "relief_mm"];

/// The example of the design's contract, with every commented key in use.
const FULL: &str = include_str!("../../../tests/faults/cases/full.toml");

const HEAD: &str = "restored_arch = \"mandible\"\nscans = { mandible = \"l.stl\", maxilla = \"u.stl\" }\n";

fn t(n: u8) -> Tooth {
    Tooth::fdi(n).unwrap()
}

/// Keys and texts of all problems of a file that begins with [`HEAD`].
fn problems(rest: &str) -> Vec<Problem> {
    parse(&format!("{HEAD}{rest}"), LIMITS).map_or_else(|p| p.0, |_| Vec::new())
}

#[test]
fn a_whole_case_file_is_read_as_written() {
    let file = parse(FULL, LIMITS).unwrap();
    assert_eq!((file.id.as_str(), file.restored), ("oban", Arch::Mandible));
    assert_eq!(file.scans.mandible.as_deref(), Some("mandible.stl"));
    assert_eq!(file.scans.unit, LengthUnit::Mm);
    let chart = file.chart.unwrap();
    assert_eq!(chart.missing, [t(36), t(37), t(45)]);
    assert_eq!((chart.replaced, chart.no_space), (vec![t(38)], vec![t(14)]));
    assert_eq!(file.design.abutments, [t(35), t(44)]);
    assert_eq!(file.design.rests.len(), 3);
    assert_eq!(file.design.rests[2].place, RestPlace::Cingulum);
    let clasp = &file.design.clasps[0];
    assert_eq!((clasp.tooth, clasp.surface, clasp.arm_mm), (t(35), Surface::Buccal, Some(15.0)));
    assert!(matches!(file.path, PathWanted::Withdrawal(d) if d.z > 0.999_999));
    assert!((file.attachment.unwrap().required_mm() - 5.0).abs() < 1e-12);
    assert_eq!(file.probe_mm.into_iter().collect::<Vec<_>>(), [(t(31), 8.0), (t(35), 9.5)]);
    assert_eq!(file.marks.midline, Some(Point::new(0.0, 25.0, 0.5)));
    assert_eq!(file.marks.margins[&t(35)].len(), 3);
    assert_eq!(file.marks.crests[0].len(), 2);
    assert_eq!(file.limits, [("attachment_room_mm".to_owned(), 5.5)]);
}

#[test]
fn every_mark_and_load_of_a_whole_case_file_arrives() {
    let file = parse(FULL, LIMITS).unwrap();
    let point = |x, y, z| Point::new(x, y, z);
    assert_eq!(file.scans.bite.as_deref(), Some("bite.stl"));
    assert_eq!(file.scans.mandible_labels.as_deref(), Some("mandible.labels.json"));
    assert_eq!(file.chart.unwrap().not_replaced, [t(37)]);
    assert!(file.design.request.is_some());
    let load = file.support.loads[0];
    assert_eq!((load.tooth, load.force_n, load.at), (t(36), Some(100.0), Some(point(-23.0, -8.0, 0.0))));
    assert!(load.direction.is_some_and(|d| d.z == -1.0));
    assert_eq!(file.support.mobility.into_iter().collect::<Vec<_>>(), [(t(35), 1)]);
    assert_eq!(file.support.crown_root_ratio.into_iter().collect::<Vec<_>>(), [(t(35), 0.8)]);
    assert_eq!(file.support.opposite, Some(Opposite::NaturalTeeth));
    assert_eq!((file.accuracy.scan_mm, file.accuracy.articulation_mm), (0.06, 0.10));
    let parts = file.attachment.unwrap().parts();
    assert_eq!(parts.map(|p| p.0), ["relief", "attachment", "resin", "tooth", "adjustment"]);
    assert_eq!((parts[1].1, parts[3].1), (3.0, 2.0));
    assert!((parts.iter().map(|p| p.1).sum::<f64>() - 5.0).abs() < 1e-12);
    let marks = file.marks;
    assert_eq!(marks.occlusal_plane.unwrap()[1], point(25.0, -15.0, 0.0));
    assert_eq!(marks.teeth[&t(35)], point(-21.0, 2.0, 4.0));
    assert_eq!(marks.tori, [[point(-15.0, 5.0, -8.0), point(-15.0, 9.0, -8.0), point(-16.0, 7.0, -10.0)]]);
    assert_eq!(marks.tori_at, [point(-15.5, 7.0, -9.0)]);
    assert_eq!(marks.ridge_ends, [point(-25.0, -24.0, -4.0)]);
    assert_eq!(marks.clasp_tips[&t(35)], point(-21.0, 3.0, -1.0));
    assert_eq!(marks.attachment_at, [point(-24.0, -10.0, -6.0)]);
}

#[test]
fn each_kind_of_clasp_has_its_gauge() {
    let kinds = [ClaspKind::CastCircumferential, ClaspKind::Bar, ClaspKind::WroughtWire];
    assert_eq!(kinds.map(ClaspKind::gauge_mm), [0.25, 0.5, 0.75]);
}

#[test]
fn angles_and_distances_of_the_joint_are_limits_and_are_given_once() {
    let given = "articulation = { condylar_guidance_deg = 25, bennett_deg = 10, intercondylar_mm = 105 }\n";
    let file = parse(&format!("{HEAD}{given}"), LIMITS).unwrap();
    let wanted = [("condylar_guidance_deg", 25.0), ("bennett_deg", 10.0), ("intercondylar_mm", 105.0)];
    assert_eq!(file.limits, wanted.map(|(id, number)| (id.to_owned(), number)));
    assert_eq!(file.relation.guidance_deg, None);
    let sides = "articulation.condylar_guidance_deg = { right = 25, left = 35.5 }\n";
    let file = parse(&format!("{HEAD}{sides}"), LIMITS).unwrap();
    assert_eq!(file.relation.guidance_deg, Some([25.0, 35.5]));
    assert_eq!(file.limits, [25.0, 35.5].map(|number| ("condylar_guidance_deg".to_owned(), number)));
    for (wrong, says) in [
        ("{ right = 25 }", "names one side only"),
        ("{ right = 25, middle = 3 }", "unknown key"),
        ("[25, 35]", "must be a number"),
        ("{ right = 25, left = \"steep\" }", "must be a number"),
    ] {
        let text = format!("{HEAD}articulation.condylar_guidance_deg = {wrong}\n");
        let found = parse(&text, LIMITS).unwrap_err().0;
        assert!(found.iter().any(|p| p.says.contains(says)), "{wrong}: {found:?}");
    }
    let twice = format!("{HEAD}{given}limits.bennett_deg = 12\n");
    let found = parse(&twice, &["bennett_deg"]).unwrap_err().0;
    assert!(found.iter().any(|p| p.says.contains("is given here and in [limits]")), "{found:?}");
}

#[test]
fn teeth_that_are_extracted_or_replaced_count_as_missing_and_those_that_are_filled_do_not() {
    let chart = "chart = { missing = [36, 46], extractions = [35], replaced = [38], pontics = [46] }\n";
    let file = parse(&format!("{HEAD}{chart}"), LIMITS).unwrap();
    assert_eq!(file.chart.unwrap().counted_missing(Arch::Mandible), [t(35), t(36), t(38)]);
}

#[test]
fn sizes_of_an_attachment_are_those_given_where_its_mesh_agrees() {
    let corners = [[0.0, 0.0, 0.0], [6.0, 0.0, 0.0], [0.0, 4.0, 0.0], [0.0, 0.0, 3.0]];
    let corners = corners.map(|[x, y, z]| Point::new(x, y, z)).to_vec();
    let mesh = Mesh::new(corners, vec![[0, 1, 2], [0, 1, 3], [0, 2, 3], [1, 2, 3]]).unwrap();
    assert_eq!(attachment_sizes(&mesh, LengthUnit::Mm, [None; 3]), Ok([3.0, 6.0, 4.0]));
    assert_eq!(
        attachment_sizes(&mesh, LengthUnit::Mm, [Some(3.0), Some(6.0), Some(4.0)]),
        Ok([3.0, 6.0, 4.0])
    );
    assert_eq!(attachment_sizes(&mesh, LengthUnit::Mm, [Some(3.2), None, None]), Ok([3.2, 6.0, 4.0]));
    let far = attachment_sizes(&mesh, LengthUnit::Mm, [None, Some(13.0), None]).unwrap_err();
    assert!(far.contains("read in mm it is 6.00 mm long, but 13.00 mm are given"), "{far}");
    assert!(far.contains("its axes may be others"), "{far}");
    // The same body with its numbers in metres, read as millimetres.
    let metres = mesh.vertices().iter().map(|p| p / 1000.0).collect();
    let metres = Mesh::new(metres, mesh.faces().to_vec()).unwrap();
    let tiny = attachment_sizes(&metres, LengthUnit::Mm, [None; 3]).unwrap_err();
    assert!(tiny.contains("read in mm it is 0.00300 mm high, which no attachment is"), "{tiny}");
    assert!(
        tiny.contains("mesh_unit = \"m\" makes it 3.00 mm high, 6.00 mm long and 4.00 mm wide"),
        "{tiny}"
    );
    // The same with its numbers in millimetres, read as inches.
    let large = mesh.vertices().iter().map(|p| p * 25.4).collect();
    let large = Mesh::new(large, mesh.faces().to_vec()).unwrap();
    let inches = attachment_sizes(&large, LengthUnit::Inch, [Some(3.0), None, None]).unwrap_err();
    assert!(inches.contains("read in inch it is 76.20 mm high"), "{inches}");
    assert!(inches.contains("mesh_unit = \"mm\" makes it 3.00 mm high"), "{inches}");
}

#[test]
fn a_side_has_its_word() {
    assert_eq!([Side::Right, Side::Left].map(Side::word), ["right", "left"]);
}

#[test]
fn the_length_of_a_withdrawal_is_kept_as_it_is_given() {
    let file = parse(&format!("{HEAD}path.withdrawal = [0, 3, 4]\n"), LIMITS).unwrap();
    assert!((file.withdrawal_length.unwrap() - 5.0).abs() < 1e-12);
    assert_eq!(parse(HEAD, LIMITS).unwrap().withdrawal_length, None);
}

#[test]
fn a_name_that_could_be_a_path_or_obeyed_by_a_terminal_is_refused() {
    for id in ["a/b", "a\\\\b", "a\\u0007b"] {
        let found = parse(&format!("id = \"{id}\"\n{HEAD}"), LIMITS).unwrap_err().0;
        assert_eq!((found.len(), found[0].key.as_str()), (1, "id"), "{found:?}");
    }
    assert_eq!(parse(&format!("id = \"oban 2\"\n{HEAD}"), LIMITS).unwrap().id, "oban 2");
}

#[test]
fn a_value_of_the_wrong_kind_is_called_by_its_kind() {
    let values = [
        ("3", "a number"),
        ("true", "true or false"),
        ("1979-05-27", "a date"),
        ("[1]", "a list"),
        ("{ a = 1 }", "a table"),
    ];
    for (value, kind) in values {
        let found = parse(&format!("id = {value}\n{HEAD}"), LIMITS).unwrap_err().0;
        assert!(found[0].says.ends_with(&format!("but is {kind}")), "{found:?}");
    }
    assert!(problems("chart.missing = \"36\"\n")[0].says.ends_with("but is text"));
}

#[test]
fn a_line_that_is_too_short_is_said_and_one_with_a_wrong_point_is_told_once() {
    let short = problems("marks.crests = [[[0, 0, 0]]]\n");
    assert_eq!(short.len(), 1, "{short:?}");
    assert!(short[0].says.contains("at least 2 points, but has 1"), "{short:?}");
    let wrong = problems("marks.crests = [[[0, 0, 0], [1, \"a\", 0]]]\n");
    assert_eq!(wrong.len(), 1, "{wrong:?}");
    assert_eq!(wrong[0].key, "marks.crests[0][1][1]");
}

#[test]
fn yes_and_no_are_read_as_written() {
    for (word, yes) in [("true", true), ("false", false)] {
        let file = parse(&format!("{HEAD}articulation.as_scanned = {word}\n"), LIMITS).unwrap();
        assert_eq!(file.relation.as_scanned, yes);
    }
    assert_eq!(problems("articulation.as_scanned = \"yes\"\n").len(), 1);
}

#[test]
fn an_attachment_may_leave_its_sizes_to_its_mesh_and_only_then() {
    let by_mesh =
        parse(&format!("{HEAD}attachment = {{ mesh = \"hinge.stl\", tooth_mm = 2 }}\n"), LIMITS).unwrap();
    assert_eq!(by_mesh.attachment, None);
    assert_eq!(by_mesh.attachment_by_mesh.unwrap().sizes_mm, [None; 3]);
    let said = problems("attachment = { height_mm = 3, tooth_mm = 2 }\n");
    assert!(said.iter().any(|p| p.key.starts_with("attachment")), "{said:?}");
}

#[test]
fn a_chart_that_names_no_missing_teeth_is_asked_for_them() {
    let said = problems("chart.pontics = [36]\n");
    assert!(said.iter().any(|p| p.says.contains("but not which are missing")), "{said:?}");
    assert_eq!(problems("chart.notation = \"fdi\"\n"), []);
}

#[test]
fn third_molars_alone_are_replaced_without_being_charted() {
    assert_eq!(problems("chart = { missing = [36], replaced = [38] }\n"), []);
    let said = problems("chart = { missing = [36], replaced = [37] }\n");
    assert_eq!(said.len(), 1, "{said:?}");
    assert!(said[0].says.contains("37"), "{said:?}");
}

#[test]
fn a_key_in_the_wrong_place_is_told_its_table() {
    let said = problems("height_mm = 3.0\n");
    assert_eq!(said.len(), 1, "{said:?}");
    assert!(format!("{} {}", said[0].says, said[0].mend).contains("[attachment]"), "{said:?}");
    let stranger = problems("height_of_nothing = 3.0\n");
    assert!(!format!("{stranger:?}").contains("[attachment]"), "{stranger:?}");
}

#[test]
fn scans_and_the_restored_arch_are_enough() {
    let file = parse("restored_arch = \"maxilla\"\n[scans]\nmaxilla = \"/tmp/u.stl\"\n", LIMITS).unwrap();
    assert_eq!((file.restored, file.id.as_str()), (Arch::Maxilla, "unnamed"));
    assert_eq!((file.chart, file.scans.mandible), (None, None));
    assert!(matches!(file.path, PathWanted::Searched));
    assert!((file.accuracy.scan_mm - 0.06).abs() < 1e-12);
}

#[test]
fn the_notation_rules_values_and_keys_alike() {
    let text = format!(
        "{HEAD}chart = {{ notation = \"universal\", missing = [19, 18] }}\n\
         design.abutments = [20]\nprobe.lingual_depth_mm = {{ 24 = 8.0 }}\n\
         marks.teeth = {{ 20 = [1, 2, 3] }}\nmarks.margins = {{ 20 = [[1,2,3],[2,2,3],[2,3,3]] }}\n"
    );
    let file = parse(&text, LIMITS).unwrap();
    assert_eq!(file.notation, Notation::Universal);
    assert_eq!(file.chart.unwrap().missing, [t(36), t(37)]);
    assert_eq!(file.design.abutments, [t(35)]);
    assert!(file.probe_mm.contains_key(&t(31)) && file.marks.teeth.contains_key(&t(35)));
    assert!(file.marks.margins.contains_key(&t(35)));
    let palmer = format!(
        "{HEAD}chart = {{ notation = \"palmer\", missing = [\"LL6\", \"7⏋\"] }}\n\
        probe.lingual_depth_mm = {{ LL5 = 8.0 }}\n"
    );
    let file = parse(&palmer, LIMITS).unwrap();
    assert_eq!(file.chart.unwrap().missing, [t(36), t(47)]);
    assert!(file.probe_mm.contains_key(&t(35)));
}

#[test]
fn universal_12_is_tooth_24_and_so_no_mandibular_tooth() {
    let found = problems("chart = { notation = \"universal\", missing = [12] }\n");
    assert_eq!(found.len(), 1);
    assert!(found[0].says.contains("maxilla"), "{found:?}");
    let text = "restored_arch = \"maxilla\"\nscans.maxilla = \"u.stl\"\nchart = { notation = \"universal\", missing = [12] }\n";
    assert_eq!(parse(text, LIMITS).unwrap().chart.unwrap().missing, [t(24)]);
}

#[test]
fn marks_follow_the_unit_of_the_scans_and_sizes_do_not() {
    let text = "restored_arch = \"mandible\"\nscans = { mandible = \"l.stl\", unit = \"cm\" }\n\
        marks.midline = [[1.0, 2.0, 3.0]]\nprobe.lingual_depth_mm = { 31 = 8 }\n";
    let file = parse(text, LIMITS).unwrap();
    assert_eq!(file.marks.midline, Some(Point::new(10.0, 20.0, 30.0)));
    assert_eq!(file.probe_mm[&t(31)], 8.0);
}

#[test]
fn a_withdrawal_of_any_length_is_a_direction() {
    for scale in ["1e-200", "1.0", "1e200"] {
        let text = format!("{HEAD}path.withdrawal = [0, 0, {scale}]\n");
        assert!(
            matches!(parse(&text, LIMITS).unwrap().path, PathWanted::Withdrawal(d) if d.z == 1.0),
            "{scale}"
        );
    }
}

#[test]
fn a_place_that_is_wrong_is_told_once() {
    // One wrong value must not be told again as one that is missing or too short.
    for (rest, key) in [
        (
            "attachment = { height_mm = \"3\", length_mm = 6, width_mm = 4, tooth_mm = 2 }\n",
            "attachment.height_mm",
        ),
        ("design.rests = [{ tooth = 35, place = \"mesal\" }]\n", "design.rests[0].place"),
        ("marks.occlusal_plane = [[0,0,0],[1,0,0],[1,\"a\",0]]\n", "marks.occlusal_plane[2][1]"),
        ("marks.midline = [[0,0]]\n", "marks.midline"),
        ("chart.missing = 36\n", "chart.missing"),
    ] {
        let found = problems(rest);
        assert_eq!(found.len(), 1, "{rest}{found:?}");
        assert_eq!(found[0].key, key);
    }
}

#[test]
fn a_byte_order_mark_and_carriage_returns_are_read_over() {
    let text = format!("\u{feff}{HEAD}chart.missing = [36]\n").replace('\n', "\r\n");
    assert_eq!(parse(&text, LIMITS).unwrap().chart.unwrap().missing, [t(36)]);
    let wrong = format!("{HEAD}chart.missing = [99]\n").replace('\n', "\r\n");
    assert_eq!(parse(&wrong, LIMITS).unwrap_err().0[0].line, 3);
}

#[test]
fn no_toml_is_told_with_line_and_column() {
    let found = problems("[chart]\nmissing = [36,\n[design]\n");
    assert_eq!(found[0].line, 5, "{found:?}");
    assert!(found[0].says.starts_with("not TOML"));
    assert!(found.iter().all(|p| !p.says.is_empty() && !p.mend.is_empty()));
    // A key given twice is told along with what else is wrong.
    let found = problems("id = \"a\"\nid = \"b\"\ndesign.abutments = [99]\n");
    assert_eq!(found.iter().map(|p| p.line).collect::<Vec<_>>(), [4, 5], "{found:?}");
}

#[test]
fn a_file_that_is_no_case_file_is_refused_in_bounded_space() {
    let many = "x".repeat(LONGEST + 1);
    assert_eq!(parse(&many, LIMITS).unwrap_err().0.len(), 1);
    let keys: String = (0..5000).map(|i| format!("k{i} = 1\n")).collect();
    let found = parse(&keys, LIMITS).unwrap_err().0;
    assert_eq!(found.len(), 201);
    assert!(found[200].says.contains("more problems"));
    let deep = format!("{HEAD}marks.crests = {}{}", "[".repeat(5000), "]".repeat(5000));
    assert!(parse(&deep, LIMITS).is_err());
}

#[test]
fn the_schema_takes_the_whole_case_and_refuses_wrong_ones() {
    let schema = schema();
    assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
    let validator = jsonschema::validator_for(&schema).unwrap();
    let json = |text: &str| serde_json::to_value(toml::from_str::<toml::Table>(text).unwrap()).unwrap();
    let right = json(FULL);
    assert!(validator.is_valid(&right), "{:?}", validator.iter_errors(&right).next());
    let least = json("restored_arch = \"mandible\"\nscans.mandible = \"l.stl\"\n");
    assert!(validator.is_valid(&least));
    for wrong in [
        "restored_arch = \"mandible\"\n",
        "scans.mandible = \"l.stl\"\n",
        "restored_arch = \"lower\"\nscans.mandible = \"l.stl\"\n",
        "restored_arch = \"mandible\"\nscans.mandible = \"l.stl\"\nscans.colour = \"red\"\n",
        "restored_arch = \"mandible\"\nscans.mandible = 3\n",
        "restored_arch = \"mandible\"\nscans.mandible = \"l.stl\"\nchart.missing = [36.5]\n",
        "restored_arch = \"mandible\"\nscans.mandible = \"l.stl\"\nchart.missing = [99]\n",
        "restored_arch = \"mandible\"\nscans.mandible = \"l.stl\"\nmarks.midline = [1, 2]\n",
        "restored_arch = \"mandible\"\nscans.mandible = \"l.stl\"\nmarks.occlusal_plane = [[1, 2, 3]]\n",
        "restored_arch = \"mandible\"\nscans.mandible = \"l.stl\"\npath = { withdrawal = [0, 0, 1], tilt_deg = { left = 1 } }\n",
        "restored_arch = \"mandible\"\nscans.mandible = \"l.stl\"\ndesign.rests = [{ tooth = 35 }]\n",
    ] {
        assert!(!validator.is_valid(&json(wrong)), "{wrong}");
    }
    // Every key is explained.
    let text = schema.to_string();
    for key in ["gingival margin", "notation", "withdrawal", "Standard uncertainties"] {
        assert!(text.contains(key), "{key}");
    }
}

proptest! {
    #[test]
    fn no_text_makes_the_reader_panic(text in ".{0,300}") {
        let _ = parse(&text, LIMITS).map_err(|p| p.to_string());
    }

    /// Text made of the file's own words comes much further into the reader.
    #[test]
    fn no_shuffled_case_file_makes_the_reader_panic(
        words in proptest::collection::vec(proptest::sample::select(FULL.split_inclusive([' ', '\n', '[', ',']).collect::<Vec<_>>()), 0..120)
    ) {
        let text: String = words.concat();
        if let Err(found) = parse(&text, LIMITS) {
            prop_assert!(!found.0.is_empty());
            prop_assert!(found.0.iter().all(|p| p.line >= 1 && p.span.as_ref().is_none_or(|s| s.end <= text.len())));
        }
    }

    /// One value of a sound file changed for another.
    #[test]
    fn no_exchanged_value_makes_the_reader_panic(at in 0usize..400, value in "(-?[0-9]{1,3}(\\.[0-9])?|\"[a-z]{0,6}\"|\\[\\]|\\{\\}|true|nan|1e400)") {
        let places: Vec<_> = FULL.match_indices(['=', ',', '[']).map(|(i, _)| i).collect();
        let i = places[at % places.len()];
        let end = FULL[i + 1..].find([',', ']', '\n', '}']).map_or(FULL.len(), |e| i + 1 + e);
        let text = format!("{} {value}{}", &FULL[..=i], &FULL[end..]);
        if let Err(found) = parse(&text, LIMITS) {
            prop_assert!(!found.0.is_empty());
        }
    }
}
