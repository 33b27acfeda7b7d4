//! The search on casts whose best tilt is known.

use super::*;
use crate::anatomy::{Crown, Origin, Region, Span};
use crate::case::SpanKind;
use crate::mesh::Mesh;
use crate::phantom::solids::{self, Barrel};
use crate::space::{Frame, Motion, Point, Vector, cos, direction, sin, tan};

/// Settings of the trials.
pub(super) fn limits(scan_mm: f64) -> Limits {
    Limits {
        cone_deg: 15.0,
        step_deg: 1.5,
        tip_above_margin_mm: 1.0,
        ceiling_mm: 0.762,
        guiding_deg: [2.0, 5.0],
        guiding_height_mm: [1.5, 2.0],
        band_mm: [3.0, 8.0],
        palatal_border_mm: 6.0,
        scan_mm,
        reduced_within_mm: 0.02,
    }
}

const NONE: Weights =
    Weights { retention: 0.0, balance: 0.0, guiding: 0.0, tissue: 0.0, blockout: 0.0, lean: 0.0 };
/// So little weight on the lean that it only settles ties.
const LEAN: f64 = 0.01;

fn tooth(n: u8) -> Tooth {
    Tooth::fdi(n).unwrap()
}

/// A lower cast put together from parts. The front is +y, the patient's left -x, the occlusal normal +z.
struct Build {
    vertices: Vec<Point>,
    faces: Vec<[u32; 3]>,
    region: Vec<Region>,
    crowns: Vec<Crown>,
    spans: Vec<Span>,
}

impl Build {
    fn new() -> Build {
        Build { vertices: vec![], faces: vec![], region: vec![], crowns: vec![], spans: vec![] }
    }

    fn add(&mut self, part: &Mesh, region: impl Fn(&Point) -> Region) -> std::ops::Range<u32> {
        let (v0, f0) = (self.vertices.len() as u32, self.faces.len() as u32);
        self.region.extend(part.vertices().iter().map(&region));
        self.vertices.extend_from_slice(part.vertices());
        self.faces.extend(part.faces().iter().map(|f| f.map(|v| v + v0)));
        f0..self.faces.len() as u32
    }

    /// A crown of a part, moved; triangles above `margin_z` of the unmoved part are the crown's.
    fn crown(&mut self, n: u8, part: &Mesh, margin_z: f64, radius: f64, motion: &Motion) {
        let back = motion.inverse();
        let moved = part.moved(motion);
        let range =
            self.add(&moved, |p| if (back * p).z >= margin_z { Region::Tooth } else { Region::Other });
        let faces: Vec<u32> = range
            .filter(|&f| {
                self.faces[f as usize].iter().all(|&v| (back * self.vertices[v as usize]).z >= margin_z)
            })
            .collect();
        let mut vertices: Vec<u32> = faces.iter().flat_map(|&f| self.faces[f as usize]).collect();
        vertices.sort_unstable();
        vertices.dedup();
        let margin = (0..32)
            .map(|i| f64::from(i) * std::f64::consts::TAU / 32.0)
            .map(|a| motion * Point::new(radius * cos(a), radius * sin(a), margin_z))
            .collect();
        self.crowns.push(Crown {
            tooth: tooth(n),
            faces,
            vertices,
            margin,
            centre: motion * Point::new(0.0, 0.0, margin_z + 2.0),
            area_mm2: 100.0,
            confidence: 1.0,
            origin: Origin::Given,
        });
    }

    fn span(&mut self, teeth: &[u8], front: u8, back: u8) {
        self.spans.push(Span {
            teeth: teeth.iter().map(|n| tooth(*n)).collect(),
            kind: SpanKind::Bounded,
            front: Some(tooth(front)),
            back: Some(tooth(back)),
            crest: Err(NotMeasured::only("none")),
            crest_origin: Origin::Given,
            end: None,
            sections: Vec::new(),
            faces: Vec::new(),
        });
    }

    /// The search, the whole cast moved.
    fn searched(&self, held: &[Held], limits: &Limits, weights: &Weights, motion: &Motion) -> Searched {
        let mesh = Mesh::new(self.vertices.clone(), self.faces.clone()).unwrap().moved(motion);
        let topology = Topology::new(&mesh);
        let surveyor = Surveyor::new(&mesh, &topology);
        let frame = Frame::new(
            motion * Point::origin(),
            direction(motion * Vector::z()).unwrap(),
            motion * Vector::y(),
            true,
        )
        .unwrap();
        let crowns = self.crowns.iter().map(|c| Crown {
            margin: c.margin.iter().map(|p| motion * p).collect(),
            centre: motion * c.centre,
            ..c.clone()
        });
        let known = KnownFrame::given(frame, 1.0);
        let anatomy = Anatomy {
            crowns: crowns.collect(),
            spans: self.spans.clone(),
            region: self.region.clone(),
            ..Anatomy::bare(Ok(known), mesh.vertices().len())
        };
        search(&Asked {
            mesh: &mesh,
            topology: &topology,
            surveyor: &surveyor,
            anatomy: &anatomy,
            arch: Arch::Mandible,
            held,
            limits,
            weights,
            given: None,
        })
        .unwrap()
    }
}

fn held(teeth: &[u8]) -> Vec<Held> {
    teeth
        .iter()
        .map(|&n| Held { tooth: tooth(n), gauge_mm: 0.25, surfaces: vec![Surface::Buccal, Surface::Lingual] })
        .collect()
}

/// A motion that leans +z by `anterior_deg` toward +y and sets the part down at a place.
fn leaning(anterior_deg: f64, x: f64, y: f64) -> Motion {
    Motion::translation(x, y, 0.0) * Motion::rotation(Vector::x() * -anterior_deg.to_radians())
}

/// Boxes on either side of two spans that lean alike toward anterior.
fn leaning_row(deg: f64) -> Build {
    let block = solids::cuboid([8.0, 8.0, 7.0], 0.5).moved(&Motion::translation(0.0, 0.0, 3.5));
    let mut build = Build::new();
    build.crown(34, &block, 0.5, 4.0, &leaning(deg, -18.0, 8.0));
    build.crown(36, &block, 0.5, 4.0, &leaning(deg, -18.0, -12.0));
    build.crown(44, &block, 0.5, 4.0, &leaning(deg, 18.0, 8.0));
    build.crown(46, &block, 0.5, 4.0, &leaning(deg, 18.0, -12.0));
    build.span(&[35], 34, 36);
    build.span(&[45], 44, 46);
    build
}

#[test]
fn surfaces_that_lean_alike_by_seven_degrees_want_that_tilt() {
    let weights = Weights { guiding: 1.0, lean: LEAN, ..NONE };
    let found = leaning_row(7.0).searched(&[], &limits(0.06), &weights, &Motion::identity());
    // Within two degrees of their walls all of them guide; the least lean of these tilts wins.
    assert!((found.best.anterior_deg - 7.0).abs() < 2.5, "{:?}", found.best);
    assert!(found.best.left_deg.abs() < 1.5, "{:?}", found.best);
    assert_eq!(found.chosen, found.best);
    assert!(matches!(found.why, Why::Gains { .. }), "{:?}", found.why);
    let at = |tilt: &Tilt| {
        let of = |t: &&Tried| {
            crate::space::hypot(t.tilt.anterior_deg - tilt.anterior_deg, t.tilt.left_deg - tilt.left_deg)
        };
        found.tried.iter().min_by(|a, b| of(a).total_cmp(&of(b))).unwrap().parts.guiding_share.unwrap()
    };
    // Nothing but rims, where the mean of the corners' normals turns over between wall and top.
    assert!(at(&Tilt::default()) < 0.2);
    assert!(at(&Tilt { anterior_deg: 7.0, left_deg: 0.0 }) > 0.99);
    assert!(at(&Tilt { anterior_deg: -7.0, left_deg: 0.0 }) < 0.2);
}

#[test]
fn nothing_gained_leaves_zero_tilt_and_a_turned_cast_is_searched_alike() {
    let weights = Weights { guiding: 1.0, lean: 1.0, ..NONE };
    let upright = leaning_row(0.0).searched(&[], &limits(0.06), &weights, &Motion::identity());
    assert_eq!(upright.chosen, Tilt::default());
    assert_eq!(upright.why, Why::ZeroIsBest);
    let turn = Motion::new(Vector::new(30.0, -7.0, 12.0), Vector::new(0.7, -0.4, 1.9));
    let (a, b) = (
        leaning_row(7.0).searched(&[], &limits(0.06), &weights, &Motion::identity()),
        leaning_row(7.0).searched(&[], &limits(0.06), &weights, &turn),
    );
    for (x, y) in a.tried.iter().zip(&b.tried).take(a.on_grid) {
        assert!((x.score - y.score).abs() < 0.02, "{x:?} {y:?}");
    }
    assert!((a.chosen.anterior_deg - b.chosen.anterior_deg).abs() < 0.8);
}

/// Two barrels on plates that lean by the same angle to the patient's left, one on either side.
fn barrels(left_deg: f64) -> Build {
    let barrel = Barrel { belly_mm: 4.0, belly_at_mm: 4.5, height_mm: 7.0, wall_mm: 6.0 };
    let mesh = solids::barrel_on_plate(&barrel, 6.0, 0.4, false);
    let mut build = Build::new();
    for (n, x) in [(35, -20.0), (45, 20.0)] {
        let turn = Motion::translation(x, 0.0, 0.0) * Motion::rotation(Vector::y() * -left_deg.to_radians());
        build.crown(n, &mesh, 1.5, barrel.radius_mm(1.5), &turn);
    }
    build
}

#[test]
fn undercut_balances_where_barrels_stand_upright_to_the_path() {
    // Only buccal surfaces count: tilting to the left deepens one and makes the other shallow. Both lean by 6 degrees
    // to the patient's left, so their buccal undercuts are alike along that tilt.
    let held: Vec<Held> =
        held(&[35, 45]).into_iter().map(|h| Held { surfaces: vec![Surface::Buccal], ..h }).collect();
    let weights = Weights { balance: 1.0, lean: LEAN, ..NONE };
    // Along the occlusal normal the shallow side limits what counts, so the spread there is that of the lean itself.
    let upright = barrels(0.0).searched(&held, &limits(0.06), &weights, &Motion::identity());
    assert!(upright.zero.parts.spread_mm.unwrap() < 0.02, "{:?}", upright.zero);
    assert_eq!(upright.chosen, Tilt::default());
    let leaning = barrels(6.0).searched(&held, &limits(0.06), &weights, &Motion::identity());
    let spread = |left: f64| {
        let near = |t: &&Tried| t.tilt.anterior_deg.abs() + (t.tilt.left_deg - left).abs();
        let t = leaning.tried.iter().min_by(|a, b| near(a).total_cmp(&near(b))).unwrap();
        t.parts.spread_mm.unwrap()
    };
    assert!(spread(0.0) > 0.2, "{}", spread(0.0));
    // The deep side is cut down by the tilt, the shallow one stays as it is along the normal: none is gained by it.
    for tried in &leaning.tried {
        for (now, zero) in tried.parts.usable_mm.iter().zip(&leaning.zero.parts.usable_mm) {
            assert!(now <= &(zero + 0.05), "{tried:?}");
        }
    }
    assert!(spread(6.0) < spread(0.0) && leaning.best.left_deg > 2.0, "{:?} {}", leaning.best, spread(6.0));
}

/// A ridge of one leaning wall, undercut by `deg` on the patient's left side.
#[test]
fn a_ridge_undercut_on_one_side_is_freed_by_a_tilt_by_its_walls_angle() {
    let mut build = Build::new();
    // The wall stands over its foot: its height of 5 mm leans by 8 degrees toward +x.
    let (tall, deep) = (5.0, 5.0 * tan(8f64.to_radians()));
    let sheet = crate::measure::shapes::sheet(20.0, 0.5, true, |_, _| 0.0);
    let wall = Mesh::new(
        sheet
            .vertices()
            .iter()
            .map(|p| {
                let t = (p.x / 20.0 + 0.5).clamp(0.0, 1.0);
                Point::new(deep * t, p.y, tall * t)
            })
            .collect(),
        sheet.faces().to_vec(),
    )
    .unwrap();
    build.add(&wall, |_| Region::ResidualRidge);
    // Its roof reaches back over the undercut side's far edge, so that only this wall can be undercut.
    let roof = Mesh::new(
        sheet.vertices().iter().map(|p| Point::new(deep - 10.0 * (p.x / 20.0 + 0.5), p.y, tall)).collect(),
        sheet.faces().to_vec(),
    )
    .unwrap();
    build.add(&roof, |_| Region::Other);
    let weights = Weights { tissue: 1.0, blockout: 1.0, lean: LEAN, ..NONE };
    let found = build.searched(&[], &Limits { step_deg: 1.0, ..limits(0.06) }, &weights, &Motion::identity());
    // Wedge of a wall: length times height squared times tangent over two; toward the two ends, where the rod gets free
    // past the end sooner than past the edge, less by the depth squared over two along each.
    let lean = tan(8f64.to_radians());
    let wedge = 20.0 * tall * tall * lean / 2.0 - tall * tall * tall * lean * lean / 3.0;
    let zero = &found.zero.parts;
    assert!((zero.blockout_mm3.unwrap() / wedge - 1.0).abs() < 0.01, "{zero:?} {wedge}");
    // Deeper than 0.06 mm: all but the uppermost 0.43 mm of the wall.
    let area = 20.0 * (tall - 0.06 / tan(8f64.to_radians())) / cos(8f64.to_radians());
    assert!((zero.tissue_mm2.unwrap() / area - 1.0).abs() < 0.03, "{zero:?} {area}");
    // +x is the patient's right: the withdrawal leans there by the wall's angle, less what 0.06 mm allow.
    assert!(found.best.left_deg < -7.0 && found.best.left_deg > -9.5, "{:?}", found.best);
    assert!(found.best_exact.parts.tissue_mm2.unwrap() < 1.0, "{:?}", found.best_exact);
    assert_eq!(found.chosen, found.best);
}

#[test]
fn weights_change_the_choice_and_no_unbeaten_tilt_is_beaten() {
    let build = leaning_row(7.0);
    let held = held(&[34, 36, 44, 46]);
    let guiding = Weights { guiding: 1.0, lean: LEAN, ..NONE };
    let a = build.searched(&held, &limits(0.06), &guiding, &Motion::identity());
    let b = build.searched(&held, &limits(0.06), &Weights { lean: 1.0, ..NONE }, &Motion::identity());
    assert!(a.chosen.anterior_deg > 4.0 && b.chosen == Tilt::default());
    let none = build.searched(&held, &limits(0.06), &NONE, &Motion::identity());
    assert_eq!((none.why, none.chosen), (Why::NoWeights, Tilt::default()));
    // Brute force over the list: at least as good in all and better in one.
    let good = |t: &Tried| {
        let p = &t.parts;
        [
            p.retention_share.unwrap(),
            -p.spread_mm.unwrap(),
            p.guiding_share.unwrap(),
            -p.blockout_mm3.unwrap(),
            -p.lean_deg,
        ]
    };
    for (i, t) in a.tried.iter().enumerate() {
        let beaten = a.tried.iter().any(|other| {
            let (x, y) = (good(other), good(t));
            x.iter().zip(&y).all(|(p, q)| p >= q) && x.iter().zip(&y).any(|(p, q)| p > q)
        });
        assert_eq!(beaten, !a.unbeaten.contains(&i), "{t:?}");
    }
    assert!(a.unbeaten.iter().any(|&i| a.tried[i].tilt == a.best));
}

#[test]
fn a_cast_alike_left_and_right_is_not_tilted_aside() {
    let found = barrels(0.0).searched(
        &held(&[35, 45]),
        &limits(0.06),
        &Weights { retention: 3.0, balance: 1.0, guiding: 2.0, tissue: 2.0, blockout: 1.0, lean: 2.0 },
        &Motion::identity(),
    );
    assert!(found.best.left_deg.abs() <= 1.5, "{:?}", found.best);
    assert!(found.left_out.is_empty() && found.held.len() == 2);
}

#[test]
fn without_teeth_and_tissue_nothing_is_chosen() {
    let mesh = solids::plate([40.0, 30.0], 5.0);
    let topology = Topology::new(&mesh);
    let surveyor = Surveyor::new(&mesh, &topology);
    let anatomy = crate::measure::tooth_axes::tests::anatomy(true, vec![], mesh.vertices().len());
    let weights = Weights { lean: 1.0, ..NONE };
    let limits = limits(0.06);
    let asked = Asked {
        mesh: &mesh,
        topology: &topology,
        surveyor: &surveyor,
        anatomy: &anatomy,
        arch: Arch::Mandible,
        held: &held(&[35]),
        limits: &limits,
        weights: &weights,
        given: None,
    };
    assert!(search(&asked).unwrap_err().because.contains("neither an abutment"));
    let mut blind = anatomy.clone();
    if let Ok(f) = &mut blind.frame {
        f.anterior_known = false;
    }
    let reason = search(&Asked { anatomy: &blind, ..asked }).unwrap_err();
    assert!(reason.settled_by.unwrap().contains("midline"));
}
