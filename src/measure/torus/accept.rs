//! What makes a rise a torus: its place, size and surroundings. Each failing that speaks against it becomes a doubt.

use super::Cast;
use super::Torus;
use super::bump::{Bump, height_method_mm};
use super::ground::Basis;
use super::marked::marked;
use super::outline::Lobe;
use crate::case::{Arch, Side};
use crate::report::{TorusSide, TorusState};

/// Length over which a rise is in doubt, and over which it is none, mm.
const LONG_MM: (f64, f64) = (16.0, 20.0);
/// Distance from the nearest crown that speaks for a torus, and outside which it is none, mm.
const CROWN_MM: ((f64, f64), (f64, f64)) = ((2.0, 6.0), (1.0, 9.0));
/// Height, mm, from which a rise with a foot all around may also stand at these distances from the nearest crown, mm.
const PLAIN: (f64, (f64, f64)) = (2.0, (1.5, 7.0));
/// The same over a wall, whether or not its foot is seen to end, mm: the mask ends 1.8 mm off the crowns.
const PLAIN_ON_WALL_MM: (f64, f64) = (1.3, 7.0);
/// Over a wall, a rise lower than this so near to the crowns is a papilla or a collar, mm.
const LOW_ON_WALL_MM: f64 = 1.5;
/// A rise that begins this far from the crowns and comes this near to the scan's border is the floor of the mouth, mm.
const FLOOR_MM: (f64, f64) = (4.6, 1.5);
/// Share of the outline along the domain's border that is in doubt, and that is none.
pub(super) const BORDER_SHARE: (f64, f64) = (0.10, 0.17);
/// How far the restored surface may turn under a rise before the rise is in doubt, and before it is none, degrees:
/// walls under tori turn by 10 to 30, ends of ridges, papillae and folds by 40 and more.
const BED_DEG: (f64, f64) = (35.0, 50.0);
/// Where it turns no more than this in the direction of the arch, it is the wall that turns into the floor of the mouth, and no
/// doubt, degrees.
const BED_ALONG_DEG: f64 = 20.0;
/// Without a frame: greatest extent of a rise with all its lobes, mm; a ridge is longer.
const WHOLE_MM: f64 = 24.0;
/// More doubts than these, and it is not worth a question; the second where a height says by itself how much it is worth.
const MOST_DOUBTS: (usize, usize) = (2, 3);
/// A rise lower than this many of its own standard uncertainties may be none.
const SURE: f64 = 2.0;
/// From this many on, and from a plain height, it is worth a question whatever the restored surface does under it.
const PLAINLY: f64 = 3.0;
/// From this many on its bed and its place are no doubt.
const PLAINER: f64 = 6.0;
/// Share of the ring around a rise that makes its height sure, and under which it is none.
const RING: (f64, f64) = (0.85, 0.3);

/// A rise lower than this share of the least height reported is not followed.
pub(super) const FOLLOWED: f64 = 0.8;

/// Judges a lobe. `None` where it is no torus.
pub(super) fn torus(cast: &Cast<'_>, bump: &Bump, lobe: Lobe) -> Option<Torus> {
    let settings = cast.settings;
    if lobe.height_mm < settings.least_height_mm || bump.area_mm2 < settings.least_area_mm2 {
        return None;
    }
    let basis = cast.ground.basis;
    let summit = cast.mesh.vertex(lobe.summit);
    let method_mm = height_method_mm(bump);
    // Where the crowns are known, the mask cannot creep up to them, and a height says by itself how much it is worth.
    let judged = basis == Basis::Crowns && cast.arch == Arch::Mandible;
    // What is taller than long is a fold or a spike.
    if lobe.length_mm > LONG_MM.1
        || lobe.length_mm < lobe.height_mm
        || bump.ring_share < RING.1
        || (bump.bed_deg > BED_DEG.1
            && !bump.on_wall()
            && !(judged && lobe.height_mm >= PLAIN.0.max(PLAINLY * method_mm)))
        || (judged && lobe.height_mm < SURE * method_mm)
        || !cast.ground.holds(&summit)
    {
        return None;
    }
    let mut doubts = shape_doubts(bump, &lobe, judged);
    if bump.on_wall() && lobe.height_mm < PLAINLY * method_mm {
        doubts.push("it stands less than three of its own uncertainties above the wall".to_owned());
    }
    let owner = cast.work.owner.get(lobe.summit as usize);
    if owner.is_some_and(|v| bump.near_end.binary_search(v).is_ok()) {
        doubts.push(
            "it lies at the lower end of the wall, where the floor of the mouth looks alike".to_owned(),
        );
    }
    if owner.is_some_and(|v| bump.alone.binary_search(v).is_ok()) {
        doubts.push("it stands out from the wall only, and not from what lies next to it".to_owned());
    }
    match basis {
        Basis::Bare => {
            if bump.border_share > BORDER_SHARE.1 || !bump.settled || bump.extent_mm > WHOLE_MM {
                return None;
            }
            doubts.push("the cast has no frame, so that its place on the arch is not known".to_owned());
        }
        _ if bump.border_share > BORDER_SHARE.1 => return None,
        Basis::Frame | Basis::Crowns => {}
    }
    doubts.extend(place_doubts(cast, bump, &lobe)?);
    if doubts.len() > if judged { MOST_DOUBTS.1 } else { MOST_DOUBTS.0 } {
        return None;
    }
    Some(Torus {
        confidence: confidence(doubts.len()),
        state: if doubts.is_empty() { TorusState::Found } else { TorusState::Possible },
        doubts,
        ..marked(cast, bump, lobe)
    })
}

fn shape_doubts(bump: &Bump, lobe: &Lobe, judged: bool) -> Vec<String> {
    let mut doubts = Vec::new();
    let mut doubt = |holds: bool, says: &str| {
        if holds {
            doubts.push(says.to_owned());
        }
    };
    doubt(!bump.settled, "its foot runs on without an end, so that its outline and height are not sure");
    doubt(lobe.length_mm > LONG_MM.0, "it is longer than tori mostly are");
    doubt(lobe.cut, "the border of the scan cuts it");
    doubt(!surrounded(bump), "there is no surface all around it, so that its height is not sure");
    let turns = bump.bed_along_deg.is_none_or(|deg| deg > BED_ALONG_DEG);
    // A plate that foretells the surface around a rise to a small part of its height is sure, however it turns.
    let plain = bump.settled && surrounded(bump) && stands_out(bump, lobe);
    doubt(
        turns && !(judged && plain) && bump.bed_deg > BED_DEG.0 && !bump.on_wall(),
        "the surface under it turns as under a fold or the end of a ridge",
    );
    doubt(bump.border_share > BORDER_SHARE.0, "it reaches the edge of what could be searched");
    doubts
}

/// Whether a lobe is many times as high as its height is unsure.
fn stands_out(bump: &Bump, lobe: &Lobe) -> bool {
    lobe.height_mm >= PLAINER * height_method_mm(bump)
}

/// Whether enough speaks for the surface under a rise: surface around it, or the wall, which is known from farther along the arch
/// and says by its deviation how sure it is.
fn surrounded(bump: &Bump) -> bool {
    bump.ring_share >= RING.0 || bump.on_wall()
}

/// What its place says against it; `None` where it cannot be a torus.
fn place_doubts(cast: &Cast<'_>, bump: &Bump, lobe: &Lobe) -> Option<Vec<String>> {
    let mut doubts = Vec::new();
    if cast.ground.basis == Basis::Bare {
        return Some(doubts);
    }
    if cast.arch == Arch::Maxilla {
        return palatal_doubts(cast, lobe);
    }
    let crown = cast.ground.nearest_crown_mm(&bump.rise);
    let border = cast.ground.nearest_border_mm(&bump.rise);
    let ((near, wide), (nearest, widest)) = CROWN_MM;
    match (cast.ground.basis, crown) {
        (Basis::Crowns, far) => {
            let far = far.unwrap_or(f64::INFINITY);
            // A papilla or the rounded collar below a crown runs on into its neighbours and has no foot of its own, and is low.
            let on_wall = bump.on_wall();
            let least = if on_wall { LOW_ON_WALL_MM } else { PLAIN.0 };
            let low = far < near && lobe.height_mm < least;
            let open = far < near && !bump.settled && !on_wall;
            if far < nearest || far > widest || low || open {
                return None;
            }
            if far > FLOOR_MM.0 && border.is_some_and(|b| b < FLOOR_MM.1) {
                return None;
            }
            let high = lobe.height_mm >= PLAIN.0 || stands_out(bump, lobe);
            let plain = bump.settled && high && surrounded(bump);
            let (near, wide) = match (on_wall && lobe.height_mm >= PLAIN.0, plain) {
                (true, _) => PLAIN_ON_WALL_MM,
                (false, true) => PLAIN.1,
                _ => (near, wide),
            };
            if far < near || far > wide {
                doubts.push("its distance from the crowns is unusual for a torus".to_owned());
            }
        }
        (_, Some(far)) if (near..=wide).contains(&far) => {}
        _ => doubts.push("not all crowns are known, so that its distance from them is not".to_owned()),
    }
    if border.is_some_and(|b| b < FLOOR_MM.1) {
        doubts.push("it lies at the border of the scan, where the floor of the mouth looks alike".to_owned());
    }
    Some(doubts)
}

/// A palatal torus lies at the midline, behind the first premolars, away from the teeth (rugae and papilla do not).
fn palatal_doubts(cast: &Cast<'_>, lobe: &Lobe) -> Option<Vec<String>> {
    let summit = cast.mesh.vertex(lobe.summit);
    let (_, far) = cast.ground.side(&summit)?;
    let clear = cast.ground.nearest_centre_mm(&summit).is_none_or(|d| d >= 9.0);
    (far <= 6.0 && clear && cast.ground.behind_premolars(&summit)).then(|| {
        vec!["a rise of the palate is taken for a torus too easily, and its height read too high".to_owned()]
    })
}

fn confidence(doubts: usize) -> f64 {
    match doubts {
        0 => 0.9,
        1 => 0.5,
        2 => 0.35,
        _ => 0.2,
    }
}

/// The side of a torus: left or right of the mandible, the midline of the palate.
pub(super) fn side(cast: &Cast<'_>, summit: &crate::space::Point) -> Option<TorusSide> {
    let (side, far) = cast.ground.side(summit)?;
    Some(match (cast.arch, side) {
        (Arch::Maxilla, _) if far <= 9.0 => TorusSide::Midline,
        (_, Side::Left) => TorusSide::Left,
        (_, Side::Right) => TorusSide::Right,
    })
}
