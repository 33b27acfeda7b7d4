use super::*;
use crate::load::Format;

fn soup(vertices: &[[f64; 3]], triangles: &[[u32; 3]]) -> Soup {
    Soup {
        format: Format::Obj,
        vertices: vertices.to_vec(),
        triangles: triangles.to_vec(),
        face_of: None,
        colours: None,
        properties: vec![VertexProperty {
            name: "order".to_owned(),
            values: (0..vertices.len()).map(|i| i as f64).collect(),
        }],
        defects: Vec::new(),
    }
}

#[test]
fn corners_at_one_place_become_one_vertex_and_every_index_finds_its_way_back() {
    let v =
        [[9., 9., 9.], [0., 0., 0.], [1., 0., 0.], [0., 1., 0.], [1., -0., 0.], [1., 1., 0.], [0., 1., -0.]];
    let import = weld(soup(&v, &[[1, 2, 3], [4, 5, 6]]), LengthUnit::Cm).unwrap();
    assert_eq!(import.welded_of, [UNUSED, 0, 1, 2, 1, 3, 2]);
    assert_eq!(import.mesh.faces(), [[0, 1, 2], [1, 3, 2]]);
    assert_eq!(import.mesh.vertex(3), Point::new(10.0, 10.0, 0.0));
    assert_eq!(import.properties[0].values, [1., 2., 3., 5.]);
    assert_eq!(
        (import.defects[0].kind, import.defects[0].at),
        (DefectKind::UnusedVertex, Some(Point::new(90., 90., 90.)))
    );
}

#[test]
fn what_is_no_triangle_is_left_out_and_counted() {
    let v = [[0., 0., 0.], [1., 0., 0.], [0., 1., 0.], [2., 0., 0.], [5., 5., 5.]];
    let faces = [[0, 1, 3], [0, 1, 2], [1, 1, 4], [2, 1, 0], [0, 1, 2], [1, 3, 2]];
    let import = weld(soup(&v, &faces), LengthUnit::Mm).unwrap();
    assert_eq!(import.file_face_of, [1, 5]);
    assert_eq!(import.welded_of, [0, 1, 2, 3, UNUSED]);
    let kinds: Vec<_> = import.defects.iter().map(|d| (d.kind, d.count, d.mended)).collect();
    assert_eq!(
        kinds,
        [
            (DefectKind::TriangleWithoutArea, 2, true),
            (DefectKind::DuplicateTriangle, 2, true),
            (DefectKind::UnusedVertex, 1, true)
        ]
    );
    assert!(matches!(weld(soup(&v, &[[0, 1, 3]]), LengthUnit::Mm), Err(LoadError::NoTriangles { .. })));
}

#[test]
fn fans_of_hundreds_of_triangles_find_their_duplicates_too() {
    let mut v = vec![[0., 0., 0.]];
    v.extend((0..600).map(|i| {
        let turn = f64::from(i) / 100.0;
        [crate::space::cos(turn), crate::space::sin(turn), 0.0]
    }));
    let mut faces: Vec<[u32; 3]> = (1..600).map(|i| [0, i, i + 1]).collect();
    faces.push([301, 0, 300]);
    faces.push([0, 7, 8]);
    let import = weld(soup(&v, &faces), LengthUnit::Mm).unwrap();
    assert_eq!((import.defects[0].kind, import.defects[0].count), (DefectKind::DuplicateTriangle, 2));
    assert_eq!(import.file_face_of.last(), Some(&598));
}

#[test]
fn a_grid_coarser_than_a_micrometre_is_named_and_finer_numbers_are_not_accused() {
    let single = |x: f64| f64::from((x + 1e6) as f32);
    let v = [[single(0.1), 0., 0.], [single(9.7), 0., 0.], [single(0.3), 8., 0.]];
    let import = weld(soup(&v, &[[0, 1, 2]]), LengthUnit::Mm).unwrap();
    let defect = import.defects.iter().find(|d| d.kind == DefectKind::FarFromOrigin).unwrap();
    // Single precision has 24 bits: between 2^19 and 2^20 its grid is 2^-4.
    assert!(defect.says.contains("0.0625 mm apart"), "{}", defect.says);
    let v = [[1e6 + 0.1234, 0., 0.], [1e6 + 9.7, 0., 0.], [1e6 + 0.3, 8., 0.]];
    let import = weld(soup(&v, &[[0, 1, 2]]), LengthUnit::Mm).unwrap();
    assert!(import.defects.is_empty());
    assert_eq!(import.mesh.vertex(1).x, 1e6 + 9.7);
    let error = weld(soup(&[[1e30, 0., 0.]; 3], &[[0, 1, 2]]), LengthUnit::Mm).unwrap_err().to_string();
    assert!(error.contains("vertex 0"), "{error}");
}
