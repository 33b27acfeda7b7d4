//! Scan files that are wrong: each ends in a message that names the place, or is read with its defect named; none panics,
//! and none takes more memory than its size explains.

#![allow(clippy::unwrap_used)] // a test may fail loudly anywhere

use proptest::prelude::*;
use saddleroom::load::{self, Import, LoadError};
use saddleroom::mesh::audit::DefectKind;
use saddleroom::mesh::audit::facing::{Facing, facing};
use saddleroom::mesh::{Mesh, Topology};
use saddleroom::space::Point;
use saddleroom::units::LengthUnit;
use std::collections::BTreeSet;
use std::path::PathBuf;

/// Files that hold no surface, with parts of what is said.
#[rustfmt::skip]
const REFUSED: &[(&str, &[&str])] = &[
    ("empty.stl", &["the file is empty (0 bytes)"]),
    ("cut_short.stl", &["declares 2 triangles", "only 1 whole", "byte 154"]),
    ("claims_4e9.stl", &["declares 4000000000 triangles", "only 1 whole", "byte 134"]),
    ("solid_claims_4e9.stl", &["declares 4000000000 triangles", "byte 134"]),
    ("nan.stl", &["triangle 1 ", "not a finite number", "byte 162"]),
    ("infinite.stl", &["triangle 0 ", "byte 128"]),
    ("zero_triangles.stl", &["no triangle", "declares 0 triangles in 84 bytes"]),
    ("no_area.stl", &["no triangle", "2 triangles, none of which has an area"]),
    ("too_far.stl", &["vertex 2 ", "thousand kilometres"]),
    ("head_only.stl", &["60 bytes of unknown content", "at least 84"]),
    ("text.stl", &["text whose line 1 begins with `Dear`"]),
    ("solid_ground.stl", &["line 2", "`is` where an ASCII STL has `facet`"]),
    ("web_page.stl", &["a web page (HTML)"]),
    ("document.stl", &["a PDF document"]),
    ("archive.stl", &["a zip archive", "unpack it"]),
    ("picture.stl", &["a PNG picture"]),
    ("utf16.stl", &["text in UTF-16"]),
    ("garbage_number.stl", &["line 12", "`1O` is no number"]),
    ("decimal_comma.stl", &["line 6", "`2,5` is no number (a decimal comma?)"]),
    ("ascii_nan.stl", &["triangle 0 ", "line 6"]),
    ("cut_in_facet.stl", &["ends at line 12 within facet 1"]),
    ("two_corners.stl", &["line 6", "a facet needs three corners"]),
    ("no_facet.stl", &["an ASCII STL without a facet"]),
    ("index_out_of_range.ply", &["face 1 ", "line 16", "names vertex 4", "has 4 vertices"]),
    ("index_negative.ply", &["face 1 ", "line 16", "names vertex -3"]),
    ("header_lies.ply", &["declares 40 rows of `vertex`", "cut short"]),
    ("header_claims_4e9.ply", &["declares 4000000000 rows of `face`"]),
    ("rows_without_columns.ply", &["declares 4000000000 rows of `ghost`"]),
    ("nan.ply", &["vertex 2 ", "line 13", "not a finite number"]),
    ("garbage.ply", &["line 13", "row 2 (counted from 0) of `vertex`"]),
    ("no_end_header.ply", &["no `end_header`"]),
    ("no_face.ply", &["a PLY without `face`"]),
    ("no_position.ply", &["no `z`"]),
    ("unknown_type.ply", &["line 9", "the PLY header makes no sense"]),
    ("cut_short.ply", &["declares 2 rows of `face`", "only 1 whole"]),
    ("list_lies.ply", &["declares 2 rows of `face`", "only 1 whole"]),
    ("byte_order.ply", &["face 0 ", "names vertex 16777216", "has 4 vertices"]),
    ("index_zero.obj", &["face 1 ", "line 6", "names vertex 0"]),
    ("index_out_of_range.obj", &["face 1 ", "line 6", "names vertex 5", "has 4 vertices"]),
    ("index_before_first.obj", &["line 5", "names vertex -5"]),
    ("garbage.obj", &["line 5", "`three` is no number"]),
    ("no_corner.obj", &["line 5", "`x` is no corner"]),
    ("nan.obj", &["vertex 2 ", "line 3"]),
    ("no_face.obj", &["an OBJ with 4 vertices and no face"]),
];

/// A defect that is expected: kind, count, whether it was mended.
type Named = (DefectKind, usize, bool);

/// Files that are read, with the number of triangles kept and what is named in them.
#[rustfmt::skip]
const READ: &[(&str, usize, &[Named])] = &[
    ("solid_header.stl", 2, &[]),
    ("bytes_behind.stl", 2, &[(DefectKind::IgnoredContent, 14, false)]),
    ("ascii_no_end.stl", 1, &[(DefectKind::UnfinishedFile, 1, false)]),
    ("ascii_shouting.stl", 2, &[]),
    ("doubled.stl", 2, &[(DefectKind::DuplicateTriangle, 2, true)]),
    ("bytes_behind.ply", 2, &[(DefectKind::IgnoredContent, 3, false)]),
    ("no_last_line_end.ply", 2, &[]),
    ("quads.ply", 2, &[(DefectKind::PolygonSplit, 1, true)]),
    ("negative_quad.obj", 2, &[(DefectKind::PolygonSplit, 1, true)]),
    ("curve.obj", 2, &[(DefectKind::IgnoredContent, 2, false), (DefectKind::PolygonSplit, 1, true)]),
];

fn folder() -> PathBuf {
    [env!("CARGO_MANIFEST_DIR"), "tests", "faults", "scans"].iter().collect()
}

fn bytes(name: &str) -> Vec<u8> {
    std::fs::read(folder().join(name)).unwrap()
}

fn mm(bytes: &[u8]) -> Result<Import, LoadError> {
    load::read(bytes, LengthUnit::Mm)
}

#[test]
fn each_file_without_a_surface_is_refused_with_its_place() {
    for (name, parts) in REFUSED {
        let said = mm(&bytes(name)).expect_err(name).to_string();
        for part in *parts {
            assert!(said.contains(part), "{name}: `{said}` lacks `{part}`");
        }
    }
}

#[test]
fn each_file_with_a_defect_is_read_and_the_defect_named() {
    for (name, triangles, expected) in READ {
        let import = mm(&bytes(name)).expect(name);
        assert_eq!(import.mesh.faces().len(), *triangles, "{name}");
        let found: Vec<_> = import.defects.iter().map(|d| (d.kind, d.count, d.mended)).collect();
        assert_eq!(&found, expected, "{name}");
    }
}

#[test]
fn every_file_of_the_corpus_is_in_a_table() {
    let listed: BTreeSet<_> = REFUSED.iter().map(|r| r.0).chain(READ.iter().map(|r| r.0)).collect();
    let there: BTreeSet<String> =
        folder().read_dir().unwrap().map(|f| f.unwrap().file_name().into_string().unwrap()).collect();
    assert_eq!(listed, there.iter().map(String::as_str).collect());
}

#[test]
fn a_folder_and_a_missing_file_have_their_own_words() {
    let of = |name: &str| LoadError::from_io(&std::fs::read(folder().join(name)).unwrap_err()).to_string();
    assert!(of("").contains("a folder, not a file"), "{}", of(""));
    assert!(of("none.stl").contains("no such file"), "{}", of("none.stl"));
}

/// Scans in the folder that the environment names, or beside the crate; they are no part of it.
fn real_scans() -> Vec<PathBuf> {
    let beside = || PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/real-scans");
    let folder = std::env::var_os("SADDLEROOM_REAL_SCANS").map_or_else(beside, PathBuf::from);
    let Ok(files) = folder.read_dir() else { return Vec::new() };
    let mut scans: Vec<PathBuf> = files.flatten().map(|f| f.path()).collect();
    scans.retain(|p| p.extension().is_some_and(|e| e == "ply" || e == "stl"));
    scans.sort();
    scans
}

#[test]
fn real_scans_face_outward_and_their_turned_copies_inward_and_no_gross_defect_is_named() {
    let scans = real_scans();
    if scans.is_empty() {
        println!("skipped: no folder of real scans (SADDLEROOM_REAL_SCANS)");
    }
    for path in scans {
        let import = mm(&std::fs::read(&path).unwrap()).unwrap();
        assert_eq!(facing(&import.mesh), Facing::Outward);
        assert_eq!(facing(&import.mesh.turned_over()), Facing::Inward);
        use DefectKind::{BothArchesInOne, InnerWall, InsideOut, Negative, SeveralShells, UnlikelyUnit};
        let gross = [BothArchesInOne, InnerWall, InsideOut, Negative, SeveralShells, UnlikelyUnit];
        let found = import.all_defects(&Topology::new(&import.mesh));
        assert!(!found.iter().any(|d| gross.contains(&d.kind)), "{found:?}");
    }
}

/// Peak memory of this process so far, bytes; `None` where the system does not tell.
fn peak_memory() -> Option<usize> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse::<usize>().ok().map(|kib| kib * 1024)
}

#[test]
fn huge_lines_words_and_claims_end_in_a_short_message_and_bounded_memory() {
    const SIZE: usize = 4_000_000;
    let digits = "1".repeat(SIZE);
    let corners = "f 1 2 3 ".to_owned() + &"1 ".repeat(SIZE / 2);
    let ply = "ply\nformat binary_little_endian 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty \
               float z\nelement face 1\nproperty list uint uchar vertex_indices\nend_header\n";
    let list = [ply.as_bytes(), &[0; 36], &u32::MAX.to_le_bytes(), &vec![1; SIZE]].concat();
    let inputs: Vec<Vec<u8>> = vec![
        format!("solid {digits}").into_bytes(),
        format!("solid\nfacet normal 0 0 1 outer loop vertex {digits} 0 0").into_bytes(),
        format!("solid\nfacet {}", "x".repeat(SIZE)).into_bytes(),
        format!("v 0 0 {digits}").into_bytes(),
        format!("v 0 0 {}", "y".repeat(SIZE)).into_bytes(),
        format!("v 0 0 0\nv 1 0 0\nv 0 1 0\n{corners}9").into_bytes(),
        format!("ply\ncomment {digits}").into_bytes(),
        format!("ply\nformat ascii 1.0\nelement vertex 1\nproperty float {digits}\nend_header\n")
            .into_bytes(),
        list,
    ];
    for (i, input) in inputs.iter().enumerate() {
        let said = mm(input).expect_err("no surface in it").to_string();
        assert!(said.len() < 400, "input {i}: {} characters", said.len());
    }
    if let Some(peak) = peak_memory() {
        let all: usize = inputs.iter().map(Vec::len).sum();
        assert!(peak < 20 * SIZE + all + 200_000_000, "{peak} bytes");
    }
}

#[test]
fn a_surface_far_from_the_origin_keeps_the_files_own_precision() {
    // Single precision has steps of 0.0625 there.
    let near = [[0.0, 0.0, 0.0], [40.125, 0.0625, 0.0], [0.0, 50.0, 1.5_f64]];
    for shift in [1e6, -1e6] {
        let far: Vec<[f32; 3]> = near.iter().map(|p| p.map(|c| (c + shift) as f32)).collect();
        for (format, bytes) in written(&far, &[[0, 1, 2]]) {
            let import = mm(&bytes).unwrap();
            // Text holds the shortest digits that mean the number: up to half a step away from it.
            let kept = if format.contains("ascii") || format == "obj" { 0.03125 } else { 0.0 };
            for (p, expected) in import.mesh.vertices().iter().zip(&near) {
                assert!((0..3).all(|k| (p[k] - shift - expected[k]).abs() <= kept), "{format}: {p}");
            }
            let far = import.defects.iter().find(|d| d.kind == DefectKind::FarFromOrigin);
            assert!(far.is_some_and(|d| d.says.contains("0.0625 mm apart")), "{format}");
        }
    }
}

/// The surface in every format that is read.
fn written(vertices: &[[f32; 3]], faces: &[[u32; 3]]) -> Vec<(&'static str, Vec<u8>)> {
    let corner = |v: u32| vertices[v as usize];
    let row = |v: &[f32; 3]| format!("{} {} {}\n", v[0], v[1], v[2]);
    let mut stl = vec![b'-'; 80];
    stl.extend((faces.len() as u32).to_le_bytes());
    let (mut text, mut obj) =
        (String::from("solid\n"), vertices.iter().map(|v| "v ".to_owned() + &row(v)).collect::<String>());
    for f in faces {
        stl.extend([0; 12]);
        f.iter().flat_map(|v| corner(*v)).for_each(|c| stl.extend(c.to_le_bytes()));
        stl.extend([0; 2]);
        text.push_str("facet normal 0 0 0\nouter loop\n");
        f.iter().for_each(|v| text.push_str(&("vertex ".to_owned() + &row(&corner(*v)))));
        text.push_str("endloop\nendfacet\n");
        obj.push_str(&format!("f {} {} {}\n", f[0] + 1, f[1] + 1, f[2] + 1));
    }
    text.push_str("endsolid\n");
    let head = |order: &str| {
        format!(
            "ply\nformat {order} 1.0\nelement vertex {}\nproperty float x\nproperty float y\nproperty float z\nelement \
             face {}\nproperty list uchar uint vertex_indices\nend_header\n",
            vertices.len(),
            faces.len()
        )
    };
    let mut ascii = head("ascii");
    vertices.iter().for_each(|v| ascii.push_str(&row(v)));
    faces.iter().for_each(|f| ascii.push_str(&format!("3 {} {} {}\n", f[0], f[1], f[2])));
    let (mut little, mut big) =
        (head("binary_little_endian").into_bytes(), head("binary_big_endian").into_bytes());
    for c in vertices.iter().flatten() {
        little.extend(c.to_le_bytes());
        big.extend(c.to_be_bytes());
    }
    for f in faces {
        little.push(3);
        big.push(3);
        f.iter().for_each(|v| {
            little.extend(v.to_le_bytes());
            big.extend(v.to_be_bytes());
        });
    }
    vec![
        ("stl_binary", stl),
        ("stl_ascii", text.into_bytes()),
        ("ply_ascii", ascii.into_bytes()),
        ("ply_little_endian", little),
        ("ply_big_endian", big),
        ("obj", obj.into_bytes()),
    ]
}

fn corners(mesh: &Mesh) -> Vec<[Point; 3]> {
    (0..mesh.faces().len() as u32).map(|f| mesh.corners(f)).collect()
}

/// Vertices on a small grid, so that many stand at one place, and any triangles of them.
fn surface() -> impl Strategy<Value = (Vec<[f32; 3]>, Vec<[u32; 3]>)> {
    let coordinate = (-3_i8..4).prop_map(|c| if c == 0 { -0.0 } else { f32::from(c) * 1.25 });
    prop::collection::vec(prop::array::uniform3(coordinate), 3..30).prop_flat_map(|vertices| {
        let n = vertices.len() as u32;
        (Just(vertices), prop::collection::vec(prop::array::uniform3(0..n), 1..40))
    })
}

/// Whether what was read hangs together.
fn check(import: &Import) {
    let (v, f) = (import.mesh.vertices().len(), import.mesh.faces().len());
    assert!(f > 0 && f <= import.file_triangles);
    assert_eq!((import.welded_of.len(), import.file_face_of.len()), (import.file_vertices, f));
    assert!(import.welded_of.iter().all(|w| *w == u32::MAX || (*w as usize) < v));
    assert!(
        import.colours.iter().all(|c| c.len() == v) && import.properties.iter().all(|p| p.values.len() == v)
    );
    assert!(import.mesh.vertices().iter().all(|p| p.iter().all(|c| c.is_finite())));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 4000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn arbitrary_bytes_never_panic(start in 0_usize..8, bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let starts: [&[u8]; 8] =
            [b"", b"solid", b"ply\n", b"v ", b"solid\nfacet ", b"ply\nformat ascii 1.0\nelement ", b"f ", b"\xef\xbb\xbf"];
        if let Ok(import) = mm(&[starts[start], &bytes].concat()) {
            check(&import);
        }
    }

    #[test]
    fn a_damaged_file_never_panics(
        (vertices, faces) in surface(),
        format in 0_usize..6,
        hits in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>(), 0_u8..4), 1..6),
    ) {
        let (_, mut bytes) = written(&vertices, &faces).swap_remove(format);
        for (at, value, how) in hits {
            if bytes.is_empty() {
                break;
            }
            let at = at.index(bytes.len());
            match how {
                0 => bytes.truncate(at),
                1 => bytes.insert(at, value),
                2 => drop(bytes.remove(at)),
                _ => bytes[at] = value,
            }
        }
        if let Ok(import) = mm(&bytes) {
            check(&import);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn all_formats_give_the_same_surface_and_welding_twice_changes_nothing((vertices, faces) in surface()) {
        let read: Vec<_> = written(&vertices, &faces).into_iter().map(|(name, bytes)| (name, mm(&bytes))).collect();
        let Ok(first) = &read[0].1 else {
            // No triangle with an area: then in no format.
            let none = |r: &Result<Import, LoadError>| matches!(r, Err(LoadError::NoTriangles { .. }));
            prop_assert!(read.iter().all(|(_, r)| none(r)));
            return Ok(());
        };
        for (name, import) in &read {
            let import = import.as_ref().unwrap();
            check(import);
            prop_assert_eq!(import.format.word(), *name);
            prop_assert_eq!(corners(&import.mesh), corners(&first.mesh), "{}", name);
            let places: Vec<[f32; 3]> = import.mesh.vertices().iter().map(|p| [p.x as f32, p.y as f32, p.z as f32]).collect();
            for (again, bytes) in written(&places, import.mesh.faces()) {
                let twice = mm(&bytes).unwrap();
                prop_assert_eq!(corners(&twice.mesh), corners(&import.mesh), "{} then {}", name, again);
                prop_assert_eq!(twice.mesh.vertices().len(), import.mesh.vertices().len());
                if !again.starts_with("stl") {
                    prop_assert_eq!(&twice.mesh, &import.mesh);
                }
                let file: Vec<_> = twice.defects.iter().filter(|d| d.kind < DefectKind::Sliver).collect();
                prop_assert!(file.is_empty(), "{:?}", file);
            }
        }
    }
}
