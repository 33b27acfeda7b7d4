//! Marks into the text of a case file.

use super::*;
use crate::case::file::parse;

const TEXT: &str = "# top\nid = \"oban\"   # a name\nrestored_arch = \"mandible\"\n\n[scans]\nmandible = \"l.stl\" # lower\n\n\
                    [chart]\nmissing = [36, 37]\n\n[design]\nabutments = [35] # first\nclasps = [\n    \
                    { tooth = 35, surface = \"buccal\", kind = \"bar\" }, # held\n]\n\n[path]\nwithdrawal = [0.0, 0.0, 1.0] # out\n\n\
                    [marks]\ncrests = [  # ridges\n    [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0]],\n]\n\n[marks.teeth] # on crowns\n35 = [1.0, 2.0, 3.0] # premolar\n";

fn edited(text: &str, edit: &Edit) -> (String, CaseFile) {
    let file = parse(text, &[]).unwrap();
    let out = edit.apply(text, &file).unwrap();
    let read = parse(&out, &[]).unwrap_or_else(|e| panic!("{e}\n{out}"));
    (out, read)
}

fn comments(text: &str) -> Vec<&str> {
    text.lines().filter_map(|l| l.split_once('#')).map(|(_, c)| c).collect()
}

fn tooth(fdi: u8) -> Tooth {
    Tooth::fdi(fdi).unwrap()
}

#[test]
fn a_mark_is_set_where_it_stands_and_comments_stay() {
    let (out, file) = edited(TEXT, &Edit::Tooth { tooth: tooth(35), point: [4.0, 5.0, 6.12345] });
    assert_eq!(out, TEXT.replace("35 = [1.0, 2.0, 3.0] # premolar", "35 = [4.0, 5.0, 6.123] # premolar"));
    assert!((file.marks.teeth[&tooth(35)].z - 6.123).abs() < 1e-12);
    let (out, file) = edited(TEXT, &Edit::Abutments { teeth: vec![tooth(35), tooth(44)] });
    assert!(out.contains("abutments = [35, 44] # first"), "{out}");
    assert_eq!(file.design.abutments, [tooth(35), tooth(44)]);
    let (out, file) = edited(TEXT, &Edit::Path { anterior_deg: 3.0, left_deg: -1.5 });
    assert!(matches!(file.path, crate::case::PathWanted::Tilt(_)));
    assert_eq!(comments(&out).len(), comments(TEXT).len() - 1, "only the direction goes with its comment");
}

#[test]
fn new_marks_find_their_table_and_the_rest_stays() {
    let plane = Edit::OcclusalPlane { points: [[0.0, 0.0, 0.0], [30.0, 0.0, 0.0], [0.0, 30.0, 0.0]] };
    let margin = Edit::Margin { tooth: tooth(35), points: vec![[0.0; 3], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]] };
    let crest = Edit::Crest { points: vec![[0.0; 3], [5.0, 0.0, 0.0]], replaces: None };
    let again = Edit::Crest { points: vec![[9.0; 3], [5.0, 0.0, 0.0]], replaces: Some(0) };
    let torus = Edit::Torus { points: vec![[0.0; 3], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]] };
    let tip = Edit::ClaspTip {
        tooth: tooth(44),
        point: [1.0; 3],
        surface: Surface::Lingual,
        kind: ClaspKind::WroughtWire,
    };
    let moved =
        Edit::ClaspTip { tooth: tooth(35), point: [1.0; 3], surface: Surface::Lingual, kind: ClaspKind::Bar };
    let place = Edit::Attachment { point: [1.0; 3], replaces: None };
    let felt = Edit::TorusAt { point: [2.0; 3] };
    let mut text = TEXT.to_owned();
    for edit in [&plane, &margin, &crest, &again, &torus, &tip, &moved, &place, &felt] {
        let (out, _) = edited(&text, edit);
        assert_eq!(comments(&out), comments(TEXT), "{edit:?}\n{out}");
        text = out;
    }
    let file = parse(&text, &[]).unwrap();
    assert!(file.marks.occlusal_plane.is_some());
    assert_eq!((file.marks.crests.len(), file.marks.crests[0][0].x), (2, 9.0));
    assert_eq!((file.marks.tori.len(), file.marks.margins.len(), file.marks.attachment_at.len()), (1, 1, 1));
    assert_eq!((file.marks.tori_at.len(), file.marks.tori_at[0].x), (1, 2.0));
    let clasps: Vec<_> = file.design.clasps.iter().map(|c| (c.tooth.number(), c.surface)).collect();
    assert_eq!(clasps, [(35, Surface::Lingual), (44, Surface::Lingual)]);
    assert_eq!(file.marks.clasp_tips.len(), 2);
    let away = Edit::Remove { key: "margins".into(), tooth: Some(tooth(35)), number: None };
    assert!(edited(&text, &away).1.marks.margins.is_empty());
    assert!(Edit::Remove { key: "id".into(), tooth: None, number: None }.apply(&text, &file).is_err());
}

#[test]
fn marks_follow_the_unit_and_the_notation_of_the_file() {
    let text = "restored_arch = \"mandible\"\n[scans]\nmandible = \"l.stl\"\nunit = \"um\"\n[chart]\nnotation = \"universal\"\nmissing = [19]\n";
    let (out, file) = edited(text, &Edit::Tooth { tooth: tooth(35), point: [1.0, 2.0, 0.5] });
    assert!(out.contains("20 = [1000.0, 2000.0, 500.0]"), "{out}");
    assert!((file.marks.teeth[&tooth(35)].x - 1.0).abs() < 1e-12);
}
