//! Boxes and wedges between plates.

use super::*;
use crate::measure::clearance::Antagonist;
use crate::measure::shapes::{sheet, up};
use crate::measure::site_room::SiteSettings;
use crate::mesh::{BOX_FACES, Mesh};

const SETTINGS: SiteSettings =
    SiteSettings { zone_mm: 9.0, clear_mm: 1.0, length_mm: 4.0, width_mm: 3.0, tilt_deg: 5.0 };

fn crest(length: f64) -> Vec<Point> {
    (0..=(length * 2.0) as usize).map(|k| Point::new(0.5 * k as f64, 0.0, 0.0)).collect()
}

struct Scene {
    restored: Surface,
    opposing: Surface,
    crest: Vec<Point>,
}

impl Scene {
    fn new(tissue: impl Fn(f64, f64) -> f64, over: impl Fn(f64, f64) -> f64) -> Scene {
        Scene {
            restored: Surface::new(&sheet(40.0, 0.4, true, tissue)),
            opposing: Surface::new(&sheet(40.0, 0.5, false, over)),
            crest: crest(18.0),
        }
    }

    fn site(&self) -> SiteAsked<'_> {
        SiteAsked {
            restored: &self.restored,
            opposing: &self.opposing,
            opening: up(),
            crest: &self.crest,
            crown: &[],
            at: None,
            settings: SETTINGS,
        }
    }

    fn fit(&self, body: &Body, over_mm: f64) -> Fit {
        self.fit_from(body, over_mm, (4.0, [0.0; 2]))
    }

    fn fit_from(&self, body: &Body, over_mm: f64, start: (f64, [f64; 2])) -> Fit {
        let site = self.site();
        best(&FitAsked {
            site: &site,
            body,
            abutment: &[],
            start,
            along: None,
            shift_mm: 1.0,
            relief_mm: 0.5,
            over_mm,
        })
        .unwrap()
    }
}

#[test]
fn a_start_on_the_edge_of_the_play_is_left_although_its_figures_were_rounded() {
    // The opposing plate leans by 9 degrees: the body leans as far as it may, 5 degrees, and stands where the plate is highest.
    let scene = Scene::new(|_, _| 0.0, |x, _| 7.0 + 0.158 * x);
    let fit = scene.fit_from(&Body::envelope([4.0, 3.0, 3.0]), 0.5, (3.0, [5.0 + 5e-7, 0.0]));
    let from_upright = scene.fit_from(&Body::envelope([4.0, 3.0, 3.0]), 0.5, (3.0, [0.0; 2]));
    assert!((fit.spare_mm - from_upright.spare_mm).abs() < 0.02, "{fit:?} {from_upright:?}");
    // Between 1 mm clear of the abutment and the zone's end at 9 mm a body 4 mm long has 4 mm to move in.
    let freedom = fit.freedom.unwrap();
    assert!((freedom.along_mm[0] + freedom.along_mm[1] - 4.0).abs() < 0.21, "{freedom:?}");
    assert!((freedom.across_mm[0] + freedom.across_mm[1] - 2.0).abs() < 0.21, "{freedom:?}");
}

#[test]
fn between_plates_a_box_has_the_rest_to_spare_and_the_zone_to_move_in() {
    let scene = Scene::new(|_, _| 0.0, |_, _| 7.0);
    let body = Body::envelope([3.0, 4.0, 3.0]);
    let fit = scene.fit(&body, 2.5);
    // 7.0 less relief 0.5, box 3.0 and what stands over it 2.5; a box of 4 by 3 tilted to fill the gap gains nothing.
    assert!((fit.spare_mm - 1.0).abs() < 1e-9, "{fit:?}");
    assert!((fit.over_mm - 3.5).abs() < 1e-9);
    let freedom = fit.freedom.unwrap();
    assert!((freedom.vertical_mm - 1.0).abs() < 1e-9);
    assert!((freedom.along_mm[0] + freedom.along_mm[1] - 4.0).abs() < 0.21, "{freedom:?}");
    assert!((freedom.across_mm[0] + freedom.across_mm[1] - 2.0).abs() < 0.21);
    let ridge = fit.meets[0];
    assert!((ridge.nearest.unwrap().distance_mm - 0.5).abs() < 2e-6 && ridge.overlap_mm().is_none());
    assert!((fit.meets[1].nearest.unwrap().distance_mm - 3.5).abs() < 1e-9);
}

#[test]
fn a_box_that_is_too_high_says_by_how_much_it_stands_in_the_opposing_arch() {
    let scene = Scene::new(|_, _| 0.0, |_, _| 3.0);
    let fit = scene.fit(&Body::envelope([3.2, 4.0, 3.0]), 2.0);
    assert!((fit.spare_mm + 2.7).abs() < 1e-9 && fit.freedom.is_none());
    assert!((fit.meets[1].overlap_mm().unwrap() - 0.7).abs() < 1e-9, "{:?}", fit.meets[1]);
    assert!(fit.meets[1].nearest.unwrap().crossing);
}

#[test]
fn a_box_slides_to_the_side_that_has_more_room() {
    // The opposing surface rises by 0.2 mm a millimetre across the crest: 1 mm of play gains 0.2 mm, tilts more.
    let scene = Scene::new(|_, _| 0.0, |_, y| 6.0 + 0.2 * y);
    let mut site = scene.site();
    site.settings.tilt_deg = 0.0;
    let body = Body::envelope([3.0, 4.0, 3.0]);
    let asked = FitAsked {
        site: &site,
        body: &body,
        abutment: &[],
        start: (4.0, [0.0; 2]),
        along: None,
        shift_mm: 1.0,
        relief_mm: 0.0,
        over_mm: 0.0,
    };
    let fit = best(&asked).unwrap();
    // Lowest over the footprint is its edge at -1.5 mm from the centre, which stands 1 mm beside the crest.
    assert!((fit.over_mm - (6.0 + 0.2 * (1.0 - 1.5) - 3.0)).abs() < 1e-6, "{fit:?}");
    assert!((fit.across_mm.abs() - 1.0).abs() < 1e-9);
}

#[test]
fn a_mesh_of_the_same_box_fits_as_the_box_and_a_wedge_fits_better() {
    let scene = Scene::new(|_, _| 0.0, |x, _| 5.0 + 0.1 * x);
    let box_mesh = |top: [f64; 2]| {
        let corner = |k: usize| {
            let far = k & 1 != 0;
            let z = if k & 4 != 0 { top[usize::from(far)] } else { 0.0 };
            // Away from the origin and in its own corner, as a file may hold it.
            Point::new(if far { 14.0 } else { 10.0 }, if k & 2 != 0 { 8.0 } else { 5.0 }, z + 2.0)
        };
        Mesh::new((0..8).map(corner).collect(), BOX_FACES.to_vec()).unwrap()
    };
    let mut site = scene.site();
    site.settings.tilt_deg = 0.0;
    let spare = |body: &Body| {
        let asked = FitAsked {
            site: &site,
            body,
            abutment: &[],
            start: (4.0, [0.0; 2]),
            along: None,
            shift_mm: 0.0,
            relief_mm: 0.0,
            over_mm: 0.0,
        };
        best(&asked).unwrap().spare_mm
    };
    let as_box = spare(&Body::envelope([3.0, 4.0, 3.0]));
    let as_mesh = spare(&Body::of_mesh(&box_mesh([3.0, 3.0])).unwrap());
    assert!((as_box - as_mesh).abs() < 1e-9, "{as_box} {as_mesh}");
    // Its top falls toward the abutment by 0.1 mm a millimetre, as the plate over it does: 0.4 mm more.
    let wedge = spare(&Body::of_mesh(&box_mesh([2.6, 3.0])).unwrap());
    assert!((wedge - as_box - 0.4).abs() < 1e-9, "{wedge} {as_box}");
}

#[test]
fn a_body_pushed_into_the_abutment_is_told_with_the_overlap_along_the_crest() {
    // A wall stands across the crest at x = 1.5: the crown's distal surface, overhanging nothing.
    let scene = Scene::new(|_, _| 0.0, |_, _| 9.0);
    let wall = Mesh::new(
        [[1.5, -4.0, -1.0], [1.5, 4.0, -1.0], [1.5, 4.0, 6.0], [1.5, -4.0, 6.0]]
            .map(|[x, y, z]| Point::new(x, y, z))
            .to_vec(),
        vec![[0, 1, 2], [0, 2, 3]],
    )
    .unwrap();
    let tissue = sheet(40.0, 0.4, true, |_, _| 0.0);
    let first = tissue.faces().len() as u32;
    let restored = Surface::new(&Mesh::together([&tissue, &wall]));
    let mut site = scene.site();
    site.restored = &restored;
    site.settings.clear_mm = 0.0;
    site.settings.zone_mm = 4.0;
    site.settings.tilt_deg = 0.0;
    let body = Body::envelope([3.0, 4.0, 3.0]);
    let asked = FitAsked {
        site: &site,
        body: &body,
        abutment: &[first, first + 1],
        start: (3.0, [0.0; 2]),
        along: None,
        shift_mm: 0.0,
        relief_mm: 0.2,
        over_mm: 0.0,
    };
    // The wall itself is tissue under the footprint, 6 mm high; the body is set where it is asked to stand instead.
    let pose = Pose::new(Point::new(3.0, 0.0, 0.2), &Vector::x(), up()).unwrap();
    let meets = meets(&asked, &pose, [0.2, 5.8]);
    assert!((meets[2].gap_mm.unwrap() + 0.5).abs() < 1e-9, "{:?}", meets[2]);
    assert!(meets[2].nearest.unwrap().crossing && (meets[2].overlap_mm().unwrap() - 0.5).abs() < 1e-9);
    let free = Pose::new(Point::new(4.3, 0.0, 0.2), &Vector::x(), up()).unwrap();
    let meets = super::meets(&asked, &free, [0.2, 5.8]);
    assert!((meets[2].gap_mm.unwrap() - 0.8).abs() < 1e-9);
    assert!((meets[2].nearest.unwrap().distance_mm - 0.8).abs() < 1e-9);
}

#[test]
fn a_swing_turns_by_way_over_lever_and_lifts_what_stands_before_the_axis() {
    let scene = Scene::new(|_, _| 0.0, |_, _| 8.0);
    let body = Body::envelope([3.0, 4.0, 3.0]);
    let pose = Pose::new(Point::new(4.0, 0.0, 0.0), &Vector::x(), up()).unwrap();
    let antagonist = Antagonist::new(&scene.opposing, &up());
    let behind: Vec<Point> = scene.crest.iter().copied().filter(|p| p.x >= 6.0).collect();
    let axis = (Point::new(4.0, 0.0, 0.0), pose.across());
    let turned = |move_mm: f64| {
        let swung = swing::Swung { body: &body, pose: &pose, axis, crest: &behind, base_mm: 6.0, move_mm };
        swing(&swung, &antagonist, &scene.restored, &[]).unwrap()
    };
    let down = turned(1.0);
    // The end of the crest lies 14 mm behind the axis.
    let angle = crate::space::asin(1.0 / 14.0);
    assert!((down.angle_deg - angle.to_degrees()).abs() < 1e-12 && (down.lever_mm - 14.0).abs() < 1e-12);
    // The front upper corner, 2 mm before the axis and 3 mm over it, rises by 2 sin a and falls by 3 (1 - cos a).
    let (s, c) = (crate::space::sin(angle), crate::space::cos(angle));
    assert!((down.body_to_opposing_mm.unwrap() - (8.0 - (2.0 * s + 3.0 * c))).abs() < 1e-9);
    // The base goes down behind the axis: its least gap is at its front, 2 mm behind the axis.
    assert!((down.base_to_opposing_mm.unwrap().0 - (8.0 - (6.0 * c - 2.0 * s))).abs() < 1e-9);
    let lifted = turned(-1.0);
    assert!((lifted.base_to_opposing_mm.unwrap().0 - (8.0 - (6.0 * c + 14.0 * s))).abs() < 1e-9);
}
