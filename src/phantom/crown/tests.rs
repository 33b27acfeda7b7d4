use super::*;
use crate::phantom::field::Variety;

const KINDS: [u8; 16] = [11, 12, 13, 14, 15, 16, 17, 18, 31, 32, 33, 34, 35, 36, 37, 38];

fn crown(number: u8, variety: CrownVariety) -> CrownBody {
    let tooth = Tooth::fdi(number).expect("a tooth");
    let (size, _) = average(tooth);
    let mut crown =
        CrownBody::new(tooth, (Point::origin(), [Vector::x(), Vector::y(), Vector::z()]), size, variety);
    crown.papillae = [crown.full_papilla(), 0.8 * crown.full_papilla()];
    crown
}

fn varied(number: u8) -> CrownBody {
    let mut variety = Variety::new(u64::from(number));
    let mut crown = crown(number, std::array::from_fn(|_| 2.0 * variety.even()));
    let kinds: &[SeatKind] = if crown.tooth.is_front() {
        &[SeatKind::Cingulum, SeatKind::IncisalMesial, SeatKind::IncisalDistal]
    } else {
        &[SeatKind::Mesial, SeatKind::Distal]
    };
    for kind in kinds {
        crown.prepare(*kind);
    }
    crown
}

/// A place in the sphere where the field of a crown is asked.
fn somewhere(crown: &CrownBody, variety: &mut Variety) -> [f64; 3] {
    let (middle, radius) = crown.bound();
    loop {
        let q = Vector::new(variety.even(), variety.even(), variety.even());
        if q.norm() < 1.0 {
            return crown.local(&(middle + q * (radius + 2.5)));
        }
    }
}

fn moved(p: [f64; 3], k: usize, by: f64) -> [f64; 3] {
    let mut q = p;
    q[k] += by;
    q
}

#[test]
fn fields_have_no_steps_and_their_zero_sets_a_normal() {
    for number in KINDS {
        for crown in [crown(number, [0.0; 8]), varied(number)] {
            let mut variety = Variety::new(3);
            for _ in 0..6000 {
                let p = somewhere(&crown, &mut variety);
                for k in 0..3 {
                    let q = moved(p, k, 1e-6);
                    assert!((crown.value(p) - crown.value(q)).abs() < 1e-5, "{number} at {p:?}");
                    assert!((crown.sleeve(p) - crown.sleeve(q)).abs() < 1e-5, "{number} at {p:?}");
                }
                let slope = |k| (crown.value(moved(p, k, 1e-4)) - crown.value(moved(p, k, -1e-4))) / 2e-4;
                let steep = Vector::new(slope(0), slope(1), slope(2)).norm();
                assert!(steep < 1.8, "{number}: {steep} at {p:?}");
                if crown.value(p).abs() < 0.03 && p[2] > -0.6 * crown.height {
                    assert!((0.45..1.75).contains(&steep), "{number}: {steep} at {p:?}");
                }
            }
        }
    }
}

/// Steps across the planes and the axis where formulas change.
#[test]
fn fields_pass_their_seams_without_a_step() {
    for number in KINDS {
        let crown = varied(number);
        let mut variety = Variety::new(4);
        for _ in 0..2000 {
            let p = somewhere(&crown, &mut variety);
            for k in 0..2 {
                let (mut a, mut b) = (p, p);
                (a[k], b[k]) = (1e-7, -1e-7);
                assert!((crown.value(a) - crown.value(b)).abs() < 1e-5, "{number} at {p:?}");
                assert!((crown.sleeve(a) - crown.sleeve(b)).abs() < 1e-5, "{number} at {p:?}");
            }
        }
    }
}

/// Least and greatest coordinate along axis `k` over the margin, by bisection on lines along it.
fn extent(crown: &CrownBody, k: usize) -> [f64; 2] {
    let half = [crown.half_md, crown.half_bl];
    let other = 1 - k;
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for i in 0..60 {
        let w = crown.height * f64::from(i) / 60.0;
        for j in -8..=8 {
            let mut middle = [0.0, 0.0, w];
            middle[other] = 0.1 * f64::from(j) * half[other];
            // Front teeth lean away from their axis toward the edge: start from a place inside.
            let Some(start) = (-30..=30)
                .map(|s| 0.03 * f64::from(s) * half[k])
                .find(|s| crown.value(moved(middle, k, *s)) < 0.0)
            else {
                continue;
            };
            for sign in [-1.0, 1.0] {
                let (mut lo, mut hi) = (sign * start, 2.0 * half[k]);
                for _ in 0..30 {
                    let r = 0.5 * (lo + hi);
                    if crown.value(moved(middle, k, sign * r)) > 0.0 { hi = r } else { lo = r }
                }
                low = low.min(sign * lo);
                high = high.max(sign * lo);
            }
        }
    }
    [low, high]
}

/// Table of section 12.1 of the trade facts, typed in again: height, mesiodistal, buccolingual.
const SIZES: [[f64; 3]; 16] = [
    [10.5, 8.5, 7.0],
    [9.0, 6.5, 6.0],
    [10.0, 7.5, 8.0],
    [8.5, 7.0, 9.0],
    [8.5, 7.0, 9.0],
    [7.5, 10.0, 11.0],
    [7.0, 9.0, 11.0],
    [6.5, 8.5, 10.0],
    [9.0, 5.0, 6.0],
    [9.5, 5.5, 6.5],
    [11.0, 7.0, 7.5],
    [8.5, 7.0, 7.5],
    [8.0, 7.0, 8.0],
    [7.5, 11.0, 10.5],
    [7.0, 10.5, 10.0],
    [7.0, 10.0, 9.5],
];

#[test]
fn crowns_have_the_sizes_of_the_table() {
    for (number, size) in KINDS.iter().zip(SIZES) {
        let crown = crown(*number, [0.0; 8]);
        let mut top = f64::NEG_INFINITY;
        for i in -38..=38 {
            for j in -38..=38 {
                let (u, v) = (0.025 * f64::from(i) * crown.half_md, 0.025 * f64::from(j) * crown.half_bl);
                top = top.max(crown.surface(u, v, true));
            }
        }
        let [md, bl] = [0, 1].map(|k| extent(&crown, k)).map(|[low, high]| high - low);
        for (measured, wanted) in [top, md, bl].into_iter().zip(size) {
            assert!((measured / wanted - 1.0).abs() < 0.03, "{number}: {measured} for {wanted}");
        }
    }
}

/// Height, as a share of the crown's, at which its wall stands out most toward `turn`, and how far over the cervix, mm.
fn contour(crown: &CrownBody, turn: f64) -> (f64, f64) {
    let at = |w: f64| {
        let [u, v, _] = crown.on_wall(turn, w);
        (u * u + v * v).sqrt()
    };
    let (mut best, mut most) = (0.0, 0.0);
    for i in 0..=40 {
        let share = 0.02 * f64::from(i);
        let r = at(share * crown.height);
        if r > most {
            (best, most) = (share, r);
        }
    }
    (best, most - at(0.0))
}

#[test]
fn heights_of_contour_stand_where_they_belong() {
    let quarter = std::f64::consts::FRAC_PI_2;
    for number in KINDS {
        let crown = crown(number, [0.0; 8]);
        let (buccal, out) = contour(&crown, quarter);
        assert!((0.1..=0.40).contains(&buccal), "{number}: buccal at {buccal}");
        assert!((0.1..0.8).contains(&out), "{number}: buccal bulge {out}");
        let (lingual, out) = contour(&crown, -quarter);
        let level = if crown.tooth.is_front() { 0.1..=0.34 } else { 0.33..=0.70 };
        assert!(level.contains(&lingual), "{number}: lingual at {lingual}");
        assert!((0.1..1.2).contains(&out), "{number}: lingual bulge {out}");
        for turn in [0.0, 2.0 * quarter] {
            let (contact, _) = contour(&crown, turn);
            assert!((0.5..=0.8).contains(&contact), "{number}: contact at {contact}");
        }
    }
}

#[test]
fn seats_are_as_deep_as_they_say_and_fall_toward_the_axis() {
    for number in KINDS {
        let sound = crown(number, [0.0; 8]);
        let kinds: &[(SeatKind, f64)] = if sound.tooth.is_front() {
            &[(SeatKind::Cingulum, 1.5), (SeatKind::IncisalMesial, 1.3), (SeatKind::IncisalDistal, 1.3)]
        } else {
            &[(SeatKind::Mesial, 1.25), (SeatKind::Distal, 1.25)]
        };
        for (kind, wanted) in kinds {
            let mut cut = sound.clone();
            cut.prepare(*kind);
            let seat = cut.seats[0];
            let (floor, depth) = cut.seat_floor(&seat);
            assert!((depth - wanted).abs() < 0.1, "{number} {kind:?}: {depth}");
            assert!(cut.value(floor).abs() < 1e-9 && sound.value(floor) < -0.3, "{number} {kind:?}");
            // A short step toward the axis leads down.
            let inward = |x: f64| if x.abs() < 1e-9 { 0.0 } else { -0.25 * x.signum() };
            let (u, v) = (floor[0] + inward(floor[0]), floor[1] + inward(floor[1]));
            assert!(cut.surface(u, v, true) < floor[2], "{number} {kind:?} does not fall toward the axis");
        }
    }
}

#[test]
fn no_two_crowns_of_a_kind_are_equal() {
    let mut variety = Variety::new(1);
    let mut any = || crown(36, std::array::from_fn(|_| variety.normal()));
    let (a, b) = (any(), any());
    let off = (0..200)
        .map(|i| {
            let (u, v) = (0.04 * f64::from(i % 20 - 10) * 5.0, 0.15 * f64::from(i / 20 - 5) * 4.0);
            (a.surface(u, v, true) - b.surface(u, v, true)).abs()
        })
        .fold(0.0, f64::max);
    assert!(off > 0.05 && off < 1.0, "{off}");
}
