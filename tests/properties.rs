//! What may not change a figure: where a cast lies, in which unit it was written, how its triangles are ordered and
//! divided, which side is left, how many threads work. And an interval only ever grows with what widens it.
#![allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::panic)] // a test may fail loudly anywhere

use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use saddleroom::estimate::{Contribution, Estimate, Source};
use saddleroom::load;
use saddleroom::locate::Surface;
use saddleroom::measure::clearance;
use saddleroom::measure::site_room::{self, SiteAsked, SiteSettings};
use saddleroom::measure::undercut::Surveyor;
use saddleroom::mesh::{Mesh, Topology};
use saddleroom::phantom::solids::{self, Barrel};
use saddleroom::phantom::stl;
use saddleroom::report::Verdict;
use saddleroom::rules::{Rules, judge};
use saddleroom::space::{Direction, Motion, Point, Vector};
use saddleroom::units::LengthUnit;

/// The same scenes on every machine and every day.
const SEED: RngSeed = RngSeed::Fixed(12);

/// A row of teeth under a leaning plate, and what is asked of them.
#[derive(Clone, Debug)]
struct Scene {
    cast: Mesh,
    opposing: Mesh,
    withdrawal: Direction,
    opening: Direction,
    crest: Vec<Point>,
}

/// What is measured on a scene; each list by vertex, in the order of the cast.
#[derive(Clone, Debug, PartialEq)]
struct Figures {
    depth_mm: Vec<Option<f64>>,
    nearest_mm: Vec<Option<f64>>,
    along_mm: Vec<Option<f64>>,
    room_mm: Option<f64>,
    area_mm2: f64,
}

impl Scene {
    fn figures(&self) -> Figures {
        let surveyor = Surveyor::new(&self.cast, &Topology::new(&self.cast));
        let (tissue, opposing) = (Surface::new(&self.cast), Surface::new(&self.opposing));
        let map = clearance::map(&tissue, &opposing, &self.opening);
        let settings =
            SiteSettings { zone_mm: 12.0, clear_mm: 1.0, length_mm: 6.0, width_mm: 4.0, tilt_deg: 0.0 };
        let room = site_room::best(&SiteAsked {
            restored: &tissue,
            opposing: &opposing,
            opening: self.opening,
            crest: &self.crest,
            crown: &[],
            at: None,
            settings,
        });
        Figures {
            depth_mm: surveyor.field(&self.withdrawal).depth_mm,
            nearest_mm: map.iter().map(|c| c.nearest_mm).collect(),
            along_mm: map.iter().map(|c| c.along_mm).collect(),
            room_mm: room.ok().map(|r| r.room_mm),
            area_mm2: self.cast.area_mm2(),
        }
    }

    /// Every place and direction taken through a map of space; triangles turned over where it mirrors.
    fn mapped(
        &self,
        place: impl Fn(&Point) -> Point,
        way: impl Fn(&Direction) -> Direction,
        mirrors: bool,
    ) -> Scene {
        let mesh = |m: &Mesh| {
            let moved = Mesh::new(m.vertices().iter().map(&place).collect(), m.faces().to_vec()).unwrap();
            if mirrors { moved.turned_over() } else { moved }
        };
        Scene {
            cast: mesh(&self.cast),
            opposing: mesh(&self.opposing),
            withdrawal: way(&self.withdrawal),
            opening: way(&self.opening),
            crest: self.crest.iter().map(&place).collect(),
        }
    }
}

/// Both lists hold figures at the same places, and these differ by no more than `by`.
fn alike(what: &str, a: &[Option<f64>], b: &[Option<f64>], by: f64) {
    assert_eq!(a.len(), b.len());
    for (i, (x, y)) in a.iter().zip(b).enumerate() {
        match (x, y) {
            (Some(x), Some(y)) => assert!((x - y).abs() <= by, "{what} of vertex {i}: {x} and {y}"),
            (None, None) => {}
            _ => panic!("{what} of vertex {i}: {x:?} and {y:?}"),
        }
    }
}

impl Figures {
    fn are(&self, other: &Figures, by: f64) {
        alike("undercut", &self.depth_mm, &other.depth_mm, by);
        alike("nearest", &self.nearest_mm, &other.nearest_mm, by);
        alike("along", &self.along_mm, &other.along_mm, by);
        alike("room", &[self.room_mm], &[other.room_mm], by);
        assert!((self.area_mm2 - other.area_mm2).abs() <= 1e-6 * self.area_mm2);
    }

    fn times(&self, factor: f64) -> Figures {
        let all = |list: &[Option<f64>]| list.iter().map(|x| x.map(|x| x * factor)).collect();
        Figures {
            depth_mm: all(&self.depth_mm),
            nearest_mm: all(&self.nearest_mm),
            along_mm: all(&self.along_mm),
            room_mm: self.room_mm.map(|x| x * factor),
            area_mm2: self.area_mm2 * factor * factor,
        }
    }
}

/// Some row of three teeth, of which something is undercut and over which something stands.
fn scene() -> impl Strategy<Value = Scene> {
    let barrel = (2.6..3.4_f64, 3.0..4.5_f64).prop_map(|(belly_mm, belly_at_mm)| Barrel {
        belly_mm,
        belly_at_mm,
        height_mm: 7.0,
        wall_mm: 6.0,
    });
    (prop::array::uniform3(barrel), -0.2..0.2_f64, -0.2..0.2_f64, -8.0..8.0_f64).prop_map(
        |(barrels, x, y, lean)| {
            let cast = solids::barrel_row(&barrels, 7.3, 0.7);
            let (low, high) = cast.bounds().unwrap();
            let middle = cast.middle();
            let (_, plate) = solids::tilted_plate_pair([60.0, 60.0], 6.0, lean, 2.3);
            let opposing = plate.moved(&Motion::translation(middle.x, middle.y, high.z));
            let long = if high.x - low.x > high.y - low.y { Vector::x() } else { Vector::y() };
            let top = Point::new(middle.x, middle.y, high.z);
            // A crest over the tops, a little aside of the middle so that no footprint ends on an edge.
            let crest = (0..=14).map(|i| top + long * (f64::from(i) - 7.03)).collect();
            Scene {
                cast,
                opposing,
                withdrawal: Direction::new_normalize(Vector::new(x, y, 1.0)),
                opening: Direction::new_normalize(Vector::new(0.0, 0.0, 1.0)),
                crest,
            }
        },
    )
}

/// Any turn and shift.
fn motion() -> impl Strategy<Value = Motion> {
    let axis = prop::array::uniform3(-3.0..3.0_f64);
    (axis, prop::array::uniform3(-80.0..80.0_f64))
        .prop_map(|(turn, shift)| Motion::new(shift.into(), turn.into()))
}

/// The order in which `n` things stand after a shuffle.
fn order(n: usize, seed: u64) -> Vec<usize> {
    let mut list: Vec<usize> = (0..n).collect();
    let mut state = seed;
    for i in (1..n).rev() {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        list.swap(i, (state >> 33) as usize % (i + 1));
    }
    list
}

/// Every triangle cut into three at its centre, or into four at the middles of its edges: the same surface.
fn divided(mesh: &Mesh, at_middles: bool) -> Mesh {
    let mut vertices = mesh.vertices().to_vec();
    let mut middles = std::collections::BTreeMap::new();
    let mut faces = Vec::new();
    for (f, &[a, b, c]) in mesh.faces().iter().enumerate() {
        if at_middles {
            let mut middle = |p: u32, q: u32| {
                *middles.entry((p.min(q), p.max(q))).or_insert_with(|| {
                    vertices.push(nalgebra::center(&mesh.vertex(p), &mesh.vertex(q)));
                    vertices.len() as u32 - 1
                })
            };
            let (x, y, z) = (middle(a, b), middle(b, c), middle(c, a));
            faces.extend([[a, x, z], [x, b, y], [z, y, c], [x, y, z]]);
        } else {
            vertices.push(mesh.face_centre(f as u32));
            let m = vertices.len() as u32 - 1;
            faces.extend([[a, b, m], [b, c, m], [c, a, m]]);
        }
    }
    Mesh::new(vertices, faces).unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, failure_persistence: None, rng_seed: SEED, ..ProptestConfig::default() })]

    #[test]
    fn a_rigid_motion_changes_no_figure(scene in scene(), motion in motion()) {
        let moved = scene.mapped(|p| motion * p, |d| motion.rotation * d, false);
        moved.figures().are(&scene.figures(), 1e-6);
    }

    #[test]
    fn a_scene_of_another_size_has_its_figures_in_that_size(scene in scene(), factor in 0.6..1.8_f64) {
        let scaled = scene.mapped(|p| p * factor, |d| *d, false);
        // The footprint keeps its size, so the room over it is another question.
        let (mut a, mut b) = (scaled.figures(), scene.figures().times(factor));
        (a.room_mm, b.room_mm) = (None, None);
        // What stands less than a millionth of a millimetre higher counts as level, at any size: on a slope of one in a
        // hundred that is a ten-thousandth sideways.
        a.are(&b, 1e-4);
    }

    #[test]
    fn the_mirror_image_has_the_same_figures(scene in scene()) {
        let mirrored = |v: &Vector| Vector::new(-v.x, v.y, v.z);
        let other = scene.mapped(
            |p| Point::from(mirrored(&p.coords)),
            |d| Direction::new_unchecked(mirrored(&d.into_inner())),
            true,
        );
        other.figures().are(&scene.figures(), 1e-6);
    }

    #[test]
    fn the_order_of_triangles_and_vertices_changes_no_figure(scene in scene(), seed in any::<u64>()) {
        let (faces, places) = (scene.cast.faces(), scene.cast.vertices());
        let (of_faces, of_places) = (order(faces.len(), seed), order(places.len(), seed ^ 77));
        let mut to = vec![0; places.len()];
        of_places.iter().enumerate().for_each(|(new, &old)| to[old] = new as u32);
        let turned = |[a, b, c]: [u32; 3], k: u64| [[a, b, c], [b, c, a], [c, a, b]][k as usize % 3];
        let shuffled = Mesh::new(
            of_places.iter().map(|&i| places[i]).collect(),
            of_faces.iter().map(|&f| turned(faces[f].map(|v| to[v as usize]), seed >> (f % 50))).collect(),
        )
        .unwrap();
        let other = Scene { cast: shuffled, ..scene.clone() }.figures();
        let back = |list: &[Option<f64>]| to.iter().map(|&i| list[i as usize]).collect();
        let other = Figures {
            depth_mm: back(&other.depth_mm),
            nearest_mm: back(&other.nearest_mm),
            along_mm: back(&other.along_mm),
            ..other
        };
        other.are(&scene.figures(), 1e-9);
    }

    #[test]
    fn triangles_divided_in_their_planes_change_no_figure(scene in scene(), at_middles in any::<bool>()) {
        let n = scene.cast.vertices().len();
        let finer = Scene { cast: divided(&scene.cast, at_middles), opposing: divided(&scene.opposing, !at_middles), ..scene.clone() };
        let mut other = finer.figures();
        for list in [&mut other.depth_mm, &mut other.nearest_mm, &mut other.along_mm] {
            list.truncate(n);
        }
        other.are(&scene.figures(), 1e-6);
    }

    #[test]
    fn any_number_of_threads_gives_the_same_bits(scene in scene()) {
        let with = |threads: usize| {
            rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap().install(|| scene.figures())
        };
        let one = with(1);
        prop_assert_eq!(&one, &with(2));
        prop_assert_eq!(&one, &with(8));
    }

    #[test]
    fn a_scan_written_in_another_unit_is_the_same_scan(scene in scene(), which in 0_usize..4) {
        let unit = [LengthUnit::Um, LengthUnit::Cm, LengthUnit::M, LengthUnit::Inch][which];
        let written = scene.mapped(|p| p / unit.mm(), |d| *d, false);
        let read = |scene: &Scene, unit: LengthUnit| {
            let mesh = |m: &Mesh| load::read(&stl::binary(m, "unit"), unit).unwrap().mesh;
            Scene { cast: mesh(&scene.cast), opposing: mesh(&scene.opposing), ..scene.clone() }
        };
        let (a, b) = (read(&scene, LengthUnit::Mm), read(&written, unit));
        prop_assert_eq!(a.cast.faces(), b.cast.faces());
        // STL holds single precision: places are rounded to some hundred thousandths of a millimetre.
        let b = Scene { withdrawal: scene.withdrawal, opening: scene.opening, crest: scene.crest.clone(), ..b };
        b.figures().are(&a.figures(), 1e-3);
    }
}

const SOURCES: [Source; 6] =
    [Source::Scan, Source::Articulation, Source::Direction, Source::Spacing, Source::Method, Source::Marks];

fn contributions() -> impl Strategy<Value = Vec<Contribution>> {
    let one =
        (0_usize..6, 0.0..0.5_f64).prop_map(|(s, standard)| Contribution { source: SOURCES[s], standard });
    prop::collection::vec(one, 1..6)
}

/// How sure a verdict is: a clear one may become tight where the interval widens, never the other way.
fn is_clear(verdict: Verdict) -> bool {
    !matches!(verdict, Verdict::Tight)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 500, failure_persistence: None, rng_seed: SEED, ..ProptestConfig::default() })]

    #[test]
    fn a_wider_tolerance_never_narrows_an_interval_nor_clears_a_verdict(
        parts in contributions(),
        which in any::<prop::sample::Index>(),
        more in 0.0..0.4_f64,
        value in 0.0..12.0_f64,
        rule in any::<prop::sample::Index>(),
    ) {
        let narrow = Estimate::new(value, parts.clone());
        let mut wider = parts.clone();
        let len = wider.len();
        wider[which.index(len)].standard += more;
        let wide = Estimate::new(value, wider);
        let added = Estimate::new(value, parts).with(Source::Method, more);
        for other in [&wide, &added] {
            prop_assert!(other.standard() >= narrow.standard());
        }
        let rules = Rules::standard();
        let rule = &rules.rows()[rule.index(rules.rows().len())];
        let before = judge(&narrow, rule);
        for other in [&wide, &added] {
            let after = judge(other, rule);
            prop_assert!(after == before || (is_clear(before) && !is_clear(after)), "{:?} became {:?}", before, after);
        }
    }
}

#[test]
fn a_less_accurate_scan_widens_the_interval_of_every_figure_of_a_case() {
    use saddleroom::case::{Accuracy, Arch, Case, Scan, file};
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-meshes/oban");
    let text = std::fs::read_to_string(folder.join("case.toml")).unwrap();
    let scan = |arch: Arch| {
        let name = format!("{}.stl", arch.word());
        let import = load::read(&std::fs::read(folder.join(&name)).unwrap(), LengthUnit::Mm).unwrap();
        Scan { file: name, sha256: String::new(), import, labels: None }
    };
    let rules = Rules::standard();
    let figures = |scan_mm: f64, articulation_mm: f64| {
        let mut file = file::parse(&text, &rules.ids()).unwrap();
        file.accuracy = Accuracy { scan_mm, articulation_mm };
        let case = Case::new(file, Some(scan(Arch::Mandible)), Some(scan(Arch::Maxilla)));
        let findings = saddleroom::analysis::analyse(&case, &rules, &|_| {}).unwrap().report.findings;
        let figure = |f: saddleroom::report::Finding| {
            let at =
                format!("{} {} {:?} {:?} {:?}", f.check, f.code, f.place.span, f.place.tooth, f.place.words);
            Some((at, f.value?.uncertainty))
        };
        findings.into_iter().filter_map(figure).collect::<Vec<_>>()
    };
    let (narrow, wide) = rayon::join(|| figures(0.06, 0.10), || figures(0.12, 0.25));
    assert!(narrow.len() > 20, "{}", narrow.len());
    let mut widened = 0;
    for (i, (which, uncertainty)) in narrow.iter().enumerate() {
        // The same finding: where several bear one name, the one that stands at the same count among them.
        let before = narrow[..i].iter().filter(|(w, _)| w == which).count();
        let Some((_, wider)) = wide.iter().filter(|(w, _)| w == which).nth(before) else { continue };
        assert!(wider >= uncertainty, "{which}: {uncertainty} became {wider}");
        widened += usize::from(wider > uncertainty);
    }
    assert!(widened > 10, "{widened}");
}
