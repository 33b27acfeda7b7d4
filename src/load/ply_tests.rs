use super::*;

const HEADER: &str = "ply\nformat ascii 1.0\ncomment made here\nelement vertex 4\nproperty float x\nproperty float y\n\
                      property float z\nproperty uchar red\nproperty uchar green\nproperty uchar blue\n\
                      property double depth\nelement face 2\nproperty list uchar int vertex_indices\nend_header\n";
const BODY: &str = "0 0 0 255 0 1 0.5\n1 0 0 0 0 0 nan\n1 1 0 1 2 3 -2\n0 1 0 9 9 9 1e3\n3 0 1 2\n3 0 2 3";

fn ascii() -> String {
    format!("{HEADER}{BODY}")
}

/// The same surface, binary; `big` for big-endian.
fn binary(big: bool) -> Vec<u8> {
    let order = if big { "binary_big_endian" } else { "binary_little_endian" };
    let mut bytes = HEADER.replace("ascii", order).into_bytes();
    let mut put = |b: &[u8]| if big { bytes.extend(b.iter().rev()) } else { bytes.extend(b) };
    for (i, row) in BODY.lines().enumerate() {
        for (k, word) in row.split(' ').enumerate() {
            match (i < 4, k) {
                (true, 0..3) => put(&word.parse::<f32>().unwrap().to_le_bytes()),
                (true, 6) => put(&word.parse::<f64>().unwrap().to_le_bytes()),
                (true, _) | (false, 0) => put(&[word.parse::<u8>().unwrap()]),
                (false, _) => put(&word.parse::<i32>().unwrap().to_le_bytes()),
            }
        }
    }
    bytes
}

#[test]
fn all_three_encodings_give_the_same_surface_colours_and_properties() {
    let plain = read(ascii().as_bytes()).unwrap();
    assert_eq!(plain.vertices[2], [1.0, 1.0, 0.0]);
    assert_eq!(plain.triangles, [[0, 1, 2], [0, 2, 3]]);
    assert_eq!(plain.colours.as_ref().unwrap()[..2], [[255, 0, 1], [0, 0, 0]]);
    assert_eq!(plain.properties[0].name, "depth");
    assert!(plain.properties[0].values[1].is_nan() && plain.properties[0].values[3] == 1e3);
    assert!(plain.defects.is_empty(), "{:?}", plain.defects);
    for big in [false, true] {
        let soup = read(&binary(big)).unwrap();
        assert_eq!((&soup.vertices, &soup.triangles), (&plain.vertices, &plain.triangles));
        assert_eq!(soup.colours, plain.colours);
        assert_eq!(soup.properties[0].values[2..], plain.properties[0].values[2..]);
    }
    let other_ends = read(ascii().replace('\n', "\r\n").as_bytes()).unwrap();
    assert_eq!(other_ends.vertices, plain.vertices);
    let old_ends = read(ascii().replace('\n', "\r").as_bytes()).unwrap();
    assert_eq!(old_ends.vertices, plain.vertices);
}

#[test]
fn other_elements_index_types_and_orders_are_read_over() {
    let text = "ply\nformat ascii 1.0\nelement face 1\nproperty uchar flag\nproperty list ushort uint vertex_index\n\
                element note 2\nproperty list uchar float values\nelement vertex 4\nproperty double z\n\
                property double y\nproperty double x\nend_header\n7 4 0 1 2 3\n2 0.5 0.5\n0\n0 0 0\n0 0 1\n0 1 1\n0 1 0\n";
    let soup = read(text.as_bytes()).unwrap();
    assert_eq!(soup.vertices, [[0., 0., 0.], [1., 0., 0.], [1., 1., 0.], [0., 1., 0.]]);
    assert_eq!(soup.triangles, [[0, 1, 2], [0, 2, 3]]);
    let kinds: Vec<_> = soup.defects.iter().map(|d| (d.kind, d.count)).collect();
    assert_eq!(kinds, [(DefectKind::IgnoredContent, 2), (DefectKind::PolygonSplit, 1)]);
}

#[test]
fn faults_are_named_with_their_place() {
    for (text, part) in [
        (ascii().replace("3 0 2 3", "3 0 2 9"), "face 1 (counted from 0), at line 20, names vertex 9"),
        (ascii().replace("3 0 2 3", "3 0 2 -1"), "names vertex -1"),
        (ascii().replace("1 1 0 1", "1 nan 0 1"), "vertex 2 (counted from 0) has a coordinate"),
        (ascii().replace("1 1 0 1", "1 inf 0 1"), "at line 17"),
        (ascii().replace("1 1 0 1", "1 abc 0 1"), "line 17: row 2"),
        (ascii().replace("vertex 4", "vertex 4000000000"), "declares 4000000000 rows of `vertex`"),
        (ascii().replace("face 2", "face 3"), "declares 3 rows of `face`, but holds only 2"),
        (ascii().replace("face 2", "face -3"), "line 12: the PLY header"),
        (ascii().replace("float y", "float q"), "no `y`"),
        (ascii().replace("end_header", "end_heade"), "no `end_header`"),
        (ascii().replace("list uchar int", "list uchar quux"), "line 13"),
        (ascii().replace("element face 2", "element fac 2"), "without `face`; it has `vertex`, `fac`"),
        (ascii().replace("face 2", "face 0"), "a PLY with 4 vertices and no face"),
    ] {
        let error = read(text.as_bytes()).unwrap_err().to_string();
        assert!(error.contains(part), "{error} lacks {part}");
    }
    let mut cut = binary(false);
    cut.truncate(cut.len() - 1);
    let error = read(&cut).unwrap_err().to_string();
    assert!(error.contains("declares 2 rows of `face`, but holds only 1"), "{error}");
    assert!(error.contains(&format!("byte {}", cut.len())), "{error}");
}

#[test]
fn what_stands_behind_the_last_row_is_a_defect() {
    let mut long = binary(true);
    long.extend([1, 2, 3]);
    let soup = read(&long).unwrap();
    assert_eq!((soup.defects[0].kind, soup.defects[0].count), (DefectKind::IgnoredContent, 3));
}
