//! What is done with an input, one function a target. `tests/fuzz_corpus.rs` does the same with the inputs that are
//! kept in `fuzz/corpus`, so that what was found once stays mended.
#![allow(dead_code)] // each target uses one of them

use std::sync::OnceLock;

use saddleroom::analysis::analyse;
use saddleroom::case::{Arch, Case, CaseFile, Scan, Tooth, file, labels};
use saddleroom::load::{self, Format, Import, LoadError, Soup};
use saddleroom::mesh::{Mesh, Topology};
use saddleroom::rules::Rules;
use saddleroom::units::LengthUnit;
use saddleroom::{checks, render};

/// The input as an STL file, by its content and as either kind.
pub fn load_stl(data: &[u8]) {
    surface(data);
    hangs_together(load::stl_binary::read(data));
    hangs_together(load::stl_ascii::read(data));
}

/// The input as a PLY file.
pub fn load_ply(data: &[u8]) {
    surface(data);
    hangs_together(load::ply::read(data));
}

/// The input as an OBJ file.
pub fn load_obj(data: &[u8]) {
    surface(data);
    hangs_together(load::obj::read(data));
}

/// An error's words are short and hold nothing that a terminal would obey.
fn said(error: &impl std::fmt::Display) {
    shown(&error.to_string());
}

fn shown(words: &str) {
    assert!(!words.is_empty() && words.chars().count() < 620, "{} characters", words.chars().count());
    assert!(!words.contains(char::is_control), "{words:?}");
}

fn hangs_together(read: Result<Soup, LoadError>) {
    match read {
        Err(error) => said(&error),
        Ok(soup) => {
            let vertices = soup.vertices.len();
            assert!(soup.vertices.iter().flatten().all(|c| c.is_finite()));
            assert!(soup.triangles.iter().flatten().all(|v| (*v as usize) < vertices));
            assert!(soup.face_of.iter().all(|f| f.len() == soup.triangles.len()));
            assert!(soup.colours.iter().all(|c| c.len() == vertices));
            assert!(soup.properties.iter().all(|p| p.values.len() == vertices));
        }
    }
}

/// Reads a scan, looks for its defects, and sees whether what was read hangs together.
fn surface(data: &[u8]) {
    let import = match load::read(data, LengthUnit::Mm) {
        Err(error) => return said(&error),
        Ok(import) => import,
    };
    let (vertices, faces) = (import.mesh.vertices().len(), import.mesh.faces().len());
    assert!(faces > 0 && faces <= import.file_triangles);
    assert_eq!((import.welded_of.len(), import.file_face_of.len()), (import.file_vertices, faces));
    assert!(import.welded_of.iter().all(|w| *w == u32::MAX || (*w as usize) < vertices));
    assert!(import.mesh.vertices().iter().all(|p| p.iter().all(|c| c.is_finite())));
    assert!(import.colours.iter().all(|c| c.len() == vertices));
    for defect in import.all_defects(&Topology::new(&import.mesh)) {
        assert!(!defect.says.is_empty() && !defect.says.contains("NaN"), "{}", defect.says);
    }
}

/// The input as a case file.
pub fn load_case(data: &[u8]) {
    let Ok(text) = std::str::from_utf8(data) else { return };
    match file::parse(text, &Rules::standard().ids()) {
        Ok(file) => {
            if let Err(errors) = Rules::changed(&file.limits) {
                errors.iter().for_each(said);
            }
        }
        Err(problems) => {
            assert!(!problems.0.is_empty(), "refused without a word");
            let lines = text.lines().count().max(1) + 1;
            for problem in &problems.0 {
                assert!((1..=lines).contains(&problem.line), "line {} of {lines}", problem.line);
                shown(&problem.says);
                shown(&problem.mend);
                assert!(!problem.key.contains(char::is_control), "{:?}", problem.key);
            }
        }
    }
}

const PLY: &[u8] = b"ply\nformat ascii 1.0\nelement vertex 5\nproperty float x\nproperty float y\nproperty float z\nelement \
face 2\nproperty list uchar int vertex_indices\nend_header\n0 0 0\n1 0 0\n0 1 0\n1 1 0\n1 0 0\n3 0 1 2\n3 4 3 2\n";
const STL: &[u8] =
    b"solid\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\n\
facet normal 0 0 1\nouter loop\nvertex 1 0 0\nvertex 1 1 0\nvertex 0 1 0\nendloop\nendfacet\nendsolid\n";

/// The input as tooth labels of a scan with five vertices, and of one with two triangles.
pub fn labels(data: &[u8]) {
    static SCANS: OnceLock<Vec<Import>> = OnceLock::new();
    let scans =
        SCANS.get_or_init(|| [PLY, STL].iter().filter_map(|s| load::read(s, LengthUnit::Mm).ok()).collect());
    assert_eq!(scans.len(), 2);
    let Ok(text) = std::str::from_utf8(data) else { return };
    for scan in scans {
        for arch in [Arch::Mandible, Arch::Maxilla] {
            match labels::read(text, arch, scan) {
                Ok(read) => assert_eq!(read.len(), scan.mesh.vertices().len()),
                Err(error) => said(&error),
            }
        }
    }
}

/// Case files by which a small cast is worked through; the input names one of them. Few tilts are tried, so that more
/// inputs are.
pub const CASES: &[&str] = &[
    "restored_arch = \"mandible\"\n[scans]\nmandible = \"a\"\nmaxilla = \"b\"\n",
    "restored_arch = \"maxilla\"\n[scans]\nmaxilla = \"a\"\n[chart]\nnotation = \"fdi\"\nmissing = [16, 17, 24]\n\
     [marks]\nocclusal_plane = [[0.0, 0.0, 0.0], [-22.0, -24.0, 0.0], [22.0, -24.0, 0.0]]\nmidline = [0.0, 0.0, 0.0]\n\
     [limits]\ntilt_most_deg = 3.0\npath_step_deg = 5.0\n",
    "restored_arch = \"mandible\"\n[scans]\nmandible = \"a\"\nmaxilla = \"b\"\n[chart]\nnotation = \"fdi\"\n\
     missing = [36, 37, 45]\n[design]\nrequest = \"hinge\"\nabutments = [35, 44]\nrests = [{ tooth = 35, place = \"mesial\" }]\n\
     clasps = [{ tooth = 35, surface = \"buccal\", kind = \"cast_circumferential\", alloy = \"cobalt_chromium\", arm_mm = 15.0 }]\n\
     [path]\nwithdrawal = [0.0, 0.0, 1.0]\n[attachment]\nheight_mm = 3.0\nlength_mm = 6.0\nwidth_mm = 4.0\ntooth_mm = 2.0\n\
     [probe]\nlingual_depth_mm = { 31 = 10.0, 35 = 12.5 }\n\
     [marks]\nocclusal_plane = [[0.0, 0.0, 0.0], [-22.0, -24.0, 0.0], [22.0, -24.0, 0.0]]\nmidline = [0.0, 0.0, 0.0]\n\
     crests = [[[-22.2, -20.6, -8.6], [-24.2, -27.2, -9.9], [-26.4, -35.5, -8.1], [-28.6, -43.3, -6.8]]]\n\
     [marks.teeth]\n35 = [-19.0, -16.0, 0.0]\n44 = [16.5, -10.6, -0.6]\n46 = [23.0, -24.9, -2.0]\n\
     [limits]\ntilt_most_deg = 3.0\npath_step_deg = 5.0\n",
    "restored_arch = \"mandible\"\n[scans]\nmandible = \"a\"\n[chart]\nnotation = \"fdi\"\nmissing = [31, 32, 41, 42]\n\
     [design]\nrequest = \"compare\"\n[marks]\n\
     occlusal_plane = [[0.0, 0.0, 0.0], [-22.0, -24.0, 0.0], [22.0, -24.0, 0.0]]\nmidline = [0.0, 0.0, 0.0]\n\
     tori_at = [[-15.5, -12.0, -9.0]]\nridge_ends = [[-28.0, -40.0, -7.0]]\n\
     [limits]\ntilt_most_deg = 3.0\npath_step_deg = 5.0\n",
];

/// How far from the origin a coordinate lies at most unless the input asks for wide ones, mm: most of what mutation does
/// to a cast would otherwise tear it over 650 mm, where little but the size is tried.
const NARROW_MM: f64 = 60.0;
/// The bit of the first byte that asks for wide ones.
const WIDE: u8 = 0x80;
/// The bit of the first byte that asks for labels, with which no row of teeth is looked for: that takes most of the time.
const LABELLED: u8 = 0x40;

/// The first byte names a case of [`CASES`] and asks for wide coordinates or labels, the second how far the opposing cast stands off, the next two the number
/// of vertices; then three 16-bit numbers a vertex, in hundredths of a mm, and one byte or two a corner of a triangle.
/// The opposing cast is the same cast mirrored in the occlusal plane.
pub fn check_small(data: &[u8]) {
    let Some((case, mesh, lift, labelled)) = small(data) else { return };
    let Ok(rules) = Rules::changed(&case.limits) else { return };
    let arch = case.restored;
    let opposing = match arch {
        Arch::Mandible => case.scans.maxilla.is_some(),
        Arch::Maxilla => case.scans.mandible.is_some(),
    };
    let other = opposing.then(|| over(&mesh, lift)).flatten().and_then(|m| scan(&m, None));
    let own = scan(&mesh, labelled.then_some(arch));
    let case = match arch {
        Arch::Mandible => Case::new(case, own, other),
        Arch::Maxilla => Case::new(case, other, own),
    };
    let Ok(done) = analyse(&case, &rules, &|_| {}) else { return };
    let json = render::json::bytes(&done.report);
    let words = render::text::report(&done.report, &checks::sections(), &render::words::Manner::default());
    assert!(!json.is_empty() && !words.contains("NaN"));
    let scene = done.scene();
    let layer = render::ply::survey(scene.restored, &scene.undercut_mm);
    assert!(layer.len() > 12 * scene.restored.vertices().len());
}

fn small(data: &[u8]) -> Option<(CaseFile, Mesh, f64, bool)> {
    let (&[which, lift, low, high], rest) = data.split_first_chunk()?;
    let text = CASES.get(usize::from(which & !(WIDE | LABELLED)) % CASES.len())?;
    let case = file::parse(text, &Rules::standard().ids()).ok()?;
    let count = usize::from(u16::from_le_bytes([low, high])).min(1000);
    let (places, corners) = rest.split_at_checked(6 * count)?;
    let most = if which & WIDE == 0 { NARROW_MM } else { f64::MAX };
    let number = |c: &[u8; 2]| (f64::from(i16::from_le_bytes(*c)) * 0.01).clamp(-most, most);
    let numbers: Vec<f64> = places.as_chunks().0.iter().map(number).collect();
    let vertices: Vec<_> =
        numbers.as_chunks().0.iter().map(|[x, y, z]| saddleroom::space::Point::new(*x, *y, *z)).collect();
    let index: Vec<u32> = match count {
        0..=256 => corners.iter().map(|c| u32::from(*c)).collect(),
        _ => corners.as_chunks().0.iter().map(|c| u32::from(u16::from_le_bytes(*c))).collect(),
    };
    let faces = index.as_chunks().0.iter().map(|f: &[u32; 3]| f.map(|v| v % count.max(1) as u32)).collect();
    Some((case, Mesh::new(vertices, faces).ok()?, f64::from(lift) * 0.05, which & LABELLED != 0))
}

fn over(mesh: &Mesh, lift: f64) -> Option<Mesh> {
    let vertices =
        mesh.vertices().iter().map(|p| saddleroom::space::Point::new(p.x, p.y, lift - p.z)).collect();
    Mesh::new(vertices, mesh.faces().iter().map(|[a, b, c]| [*a, *c, *b]).collect()).ok()
}

/// A mesh as a scan that was read from its STL file; with labels where it is of an arch that shall have them: what stands
/// higher than 4 mm below the occlusal plane is a tooth, numbered by its angle around a point between the last molars.
fn scan(mesh: &Mesh, labelled: Option<Arch>) -> Option<Scan> {
    let import = load::read(&saddleroom::phantom::stl::binary(mesh, "small"), LengthUnit::Mm).ok()?;
    assert_eq!(import.format, Format::StlBinary);
    let label = |arch, p: &saddleroom::space::Point| {
        let angle = saddleroom::space::atan2(p.x, p.y + 45.0);
        let place = ((angle.abs() / 0.13).ceil() as i8).clamp(1, 8);
        let tooth = Tooth::at(arch, if angle > 0.0 { -place } else { place });
        if p.z > -4.0 { tooth.map_or(0, Tooth::number) } else { 0 }
    };
    let labels = labelled.map(|arch| import.mesh.vertices().iter().map(|p| label(arch, p)).collect());
    Some(Scan { file: "small.stl".into(), sha256: String::new(), import, labels })
}

/// Processor time of this process so far, s; `None` where the system does not tell.
pub fn processor_s() -> Option<f64> {
    let stat = std::fs::read_to_string("/proc/self/stat").ok()?;
    let mut ticks = stat.rsplit(')').next()?.split_whitespace().skip(11);
    let mut next = || ticks.next()?.parse::<f64>().ok();
    Some((next()? + next()?) / 100.0)
}
