//! The plane of a row of teeth whose heights over it are expected by their places, and which of them have grown out of it.
//!
//! A row is no plane: the curves of Spee and Wilson lift its ends (a sphere of about 105 mm, key `FER`), and canines
//! stand out of it. A short row laid on a plane leans by that; so each tooth is expected at its own height. A tooth
//! without its antagonist grows out of the row, seldom into the jaw: what stands too high costs less than what is too
//! low, and neither pulls the plane once it is far off.

use crate::anatomy::arch_form;
use crate::case::Arch;
use crate::space::{Direction, Plane, Point, across, angle_deg, atan2, direction, exp, hypot, tan};

/// Radius of the sphere that the occlusal surfaces lie on, mm (trade facts, section 12.2, key `FER`), and how far
/// behind the incisors it is lowest, mm.
const SPHERE_MM: f64 = 105.0;
const LOWEST_MM: f64 = 24.0;
/// How far the tip of a canine stands out of that sphere, and how far that of an upper lateral incisor stays short of
/// it, mm (common practice in setting teeth).
const CANINE_MM: f64 = 0.4;
const LATERAL_MM: f64 = 0.6;
/// The curve of Wilson lifts the highest cusp of a lower molar, the lingual one, over the mean of its cusps by this, mm.
const LINGUAL_CUSP_MM: f64 = 0.5;
/// In the maxilla long incisors hide the sphere in front: this much of it is seen in the tips.
const UPPER_SHARE: f64 = 0.6;

/// A tooth whose tip stands this far from where it is expected is as usual, mm.
const USUAL_MM: f64 = 0.4;
/// Most that a tooth above and one below its place may cost, in squares of the usual distance.
const MOST_ABOVE: f64 = 4.0;
const MOST_BELOW: f64 = 12.0;
/// Shares of the expected curves that are tried (rows are flatter in some people and in dentures), and what the square of
/// the share left out costs.
const SHARES: [f64; 3] = [1.0, 0.5, 0.0];
const UNUSUAL: f64 = 3.0;
/// The plane is not looked for farther than this from the direction that it starts from, degrees.
const MOST_LEAN_DEG: f64 = 30.0;
/// A plane that leans this far from another is another one, degrees.
const APART_DEG: f64 = 3.0;
/// What remains unknown of a well-settled plane, degrees.
const FLOOR_DEG: f64 = 0.9;

/// A tip and how high over the plane it is expected.
#[derive(Clone, Copy, Debug)]
pub struct Station {
    /// The tip.
    pub at: Point,
    /// Expected height over the plane, mm.
    pub rise_mm: f64,
}

/// A direction that something else suggests.
#[derive(Clone, Copy, Debug)]
pub struct Lean {
    /// It.
    pub toward: Direction,
    /// Its standard uncertainty, degrees.
    pub sigma_deg: f64,
}

/// A settled plane.
#[derive(Clone, Debug)]
pub struct Level {
    /// The plane, its normal away from the tissue.
    pub plane: Plane,
    /// Tips that stand at their place.
    pub tips: Vec<Point>,
    /// Spread of the standing tips along the narrower axis, mm.
    pub spread_mm: f64,
    /// Standard uncertainty of the normal, degrees.
    pub uncertainty_deg: f64,
}

/// Height over the occlusal plane at which the tip of a place `aside_mm` beside the midline and `behind_mm` behind the
/// incisors is expected, mm, positive away from the tissue. `place` counts from the midline, 1 to 8.
pub fn rise_mm(arch: Arch, place: u8) -> f64 {
    let places = arch_form::places(arch);
    let height = |p: &[f64; 2]| {
        let behind = p[0] + LOWEST_MM;
        (p[1] * p[1] + behind * behind) / (2.0 * SPHERE_MM)
    };
    let row: Vec<&[f64; 2]> = places.iter().filter(|(t, _)| t.place() < 8).map(|(_, p)| p).collect();
    let own = |place: u8| places.iter().find(|(t, _)| t.place() == place).map_or(0.0, |(_, p)| height(p));
    let n = row.len().max(1) as f64;
    let mean = row.iter().map(|p| height(p)).sum::<f64>() / n;
    let ahead = row.iter().map(|p| p[0]).sum::<f64>() / n;
    let slope = row.iter().map(|p| (p[0] - ahead) * (height(p) - mean)).sum::<f64>()
        / row.iter().map(|p| (p[0] - ahead) * (p[0] - ahead)).sum::<f64>();
    let at = places.iter().find(|(t, _)| t.place() == place).map_or(0.0, |(_, p)| p[0]);
    let sphere = own(place) - mean - slope * (at - ahead);
    let out = match (arch, place) {
        (_, 3) => CANINE_MM,
        (Arch::Maxilla, 2) => -LATERAL_MM,
        (Arch::Mandible, 6..) => LINGUAL_CUSP_MM,
        _ => 0.0,
    };
    match arch {
        Arch::Mandible => sphere + out,
        Arch::Maxilla => out - UPPER_SHARE * sphere,
    }
}

/// Stations in the axes of a rough direction.
struct Places {
    up: Direction,
    axes: (crate::space::Vector, crate::space::Vector),
    middle: [f64; 2],
    /// Along both axes and up, the expected rise taken off.
    at: Vec<[f64; 3]>,
    /// Slopes asked for by something else, and their weight.
    leans: Vec<([f64; 2], f64)>,
}

/// A plane as slopes along both axes and its height over the middle.
type Slopes = [f64; 3];

impl Places {
    fn new(stations: &[Station], up: Direction, leans: &[Lean]) -> Places {
        let axes = across(&up);
        let at: Vec<[f64; 3]> = stations
            .iter()
            .map(|s| [s.at.coords.dot(&axes.0), s.at.coords.dot(&axes.1), s.at.coords.dot(&up) - s.rise_mm])
            .collect();
        let n = at.len().max(1) as f64;
        let middle = [0, 1].map(|k| at.iter().map(|p| p[k]).sum::<f64>() / n);
        let leans = leans
            .iter()
            .filter(|l| angle_deg(&l.toward, &up) < MOST_LEAN_DEG)
            .map(|l| {
                let along = l.toward.dot(&up);
                let slope = [-l.toward.dot(&axes.0) / along, -l.toward.dot(&axes.1) / along];
                let sigma = tan(l.sigma_deg.to_radians());
                (slope, 1.0 / (sigma * sigma))
            })
            .collect();
        Places { up, axes, middle, at, leans }
    }

    fn off(&self, s: &Slopes, p: &[f64; 3]) -> f64 {
        p[2] - s[0] * (p[0] - self.middle[0]) - s[1] * (p[1] - self.middle[1]) - s[2]
    }

    fn cost(&self, s: &Slopes) -> f64 {
        let tips: f64 = self
            .at
            .iter()
            .map(|p| {
                let r = self.off(s, p) / USUAL_MM;
                bounded(r * r, if r > 0.0 { MOST_ABOVE } else { MOST_BELOW })
            })
            .sum();
        let leans: f64 = self
            .leans
            .iter()
            .map(|(l, w)| w * ((s[0] - l[0]) * (s[0] - l[0]) + (s[1] - l[1]) * (s[1] - l[1])))
            .sum();
        tips + leans
    }

    /// The plane through three stations; `None` where they stand nearly in a line.
    fn through(&self, i: usize, j: usize, k: usize) -> Option<Slopes> {
        let (a, b, c) = (self.at[i], self.at[j], self.at[k]);
        let (x1, y1, z1) = (b[0] - a[0], b[1] - a[1], b[2] - a[2]);
        let (x2, y2, z2) = (c[0] - a[0], c[1] - a[1], c[2] - a[2]);
        let determinant = x1 * y2 - x2 * y1;
        if determinant.abs() < 60.0 {
            return None;
        }
        let s0 = (z1 * y2 - z2 * y1) / determinant;
        let s1 = (x1 * z2 - x2 * z1) / determinant;
        let level = a[2] - s0 * (a[0] - self.middle[0]) - s1 * (a[1] - self.middle[1]);
        (hypot(s0, s1) < tan(MOST_LEAN_DEG.to_radians())).then_some([s0, s1, level])
    }

    /// Weighted least squares with weights that fall off with the distance; the plane and its normal equations.
    fn refined(&self, start: Slopes) -> (Slopes, nalgebra::Matrix3<f64>) {
        let mut s = start;
        let mut m = nalgebra::Matrix3::zeros();
        for _ in 0..12 {
            m = nalgebra::Matrix3::zeros();
            let mut rhs = nalgebra::Vector3::zeros();
            for p in &self.at {
                let r = self.off(&s, p) / USUAL_MM;
                let most = if r > 0.0 { MOST_ABOVE } else { MOST_BELOW };
                let w = 1.0 + r * r / most;
                let weight = 1.0 / (w * w * USUAL_MM * USUAL_MM);
                let row = [p[0] - self.middle[0], p[1] - self.middle[1], 1.0];
                for a in 0..3 {
                    rhs[a] += weight * row[a] * p[2];
                    for b in 0..3 {
                        m[(a, b)] += weight * row[a] * row[b];
                    }
                }
            }
            for (l, w) in &self.leans {
                for k in 0..2 {
                    m[(k, k)] += w;
                    rhs[k] += w * l[k];
                }
            }
            let Some(inverse) = m.try_inverse() else { break };
            let next = inverse * rhs;
            let step = hypot(next[0] - s[0], next[1] - s[1]);
            s = [next[0], next[1], next[2]];
            if step < 1e-6 {
                break;
            }
        }
        (s, m)
    }

    fn normal(&self, s: &Slopes) -> Option<Direction> {
        direction(self.up.into_inner() - self.axes.0 * s[0] - self.axes.1 * s[1])
    }
}

/// Grows like `value` at first and never over `most`.
fn bounded(value: f64, most: f64) -> f64 {
    value / (1.0 + value / most)
}

/// The plane of a row of numbered teeth near a rough direction. `None` with fewer than four tips or where nothing holds
/// the plane.
pub fn laid(stations: &[Station], up: Direction, leans: &[Lean]) -> Option<Level> {
    settled(stations, up, leans).map(|(_, level)| level)
}

/// The same for tips whose places along the row are only taken from an average arch: its curves are as deep as they fit
/// best.
pub fn laid_loosely(stations: &[Station], up: Direction, leans: &[Lean]) -> Option<Level> {
    let of_share = |share: f64| {
        let curved: Vec<Station> =
            stations.iter().map(|s| Station { rise_mm: share * s.rise_mm, ..*s }).collect();
        let (cost, level) = settled(&curved, up, leans)?;
        Some((cost + UNUSUAL * (1.0 - share) * (1.0 - share), level))
    };
    let tried: Vec<(f64, Level)> = SHARES.into_iter().filter_map(of_share).collect();
    let (least, best) = tried.iter().min_by(|a, b| a.0.total_cmp(&b.0))?;
    let doubt_deg = tried
        .iter()
        .map(|(cost, l)| doubt(cost - least, angle_deg(&l.plane.normal, &best.plane.normal)))
        .fold(0.0, f64::max);
    Some(Level { uncertainty_deg: hypot(best.uncertainty_deg, doubt_deg), ..best.clone() })
}

/// What another plane that costs so much more and leans so far from this one leaves unsure, degrees: where it holds nearly
/// as many tips, the choice may be wrong by the angle between them.
fn doubt(cost_more: f64, apart_deg: f64) -> f64 {
    apart_deg * exp(-cost_more.max(0.0) / 4.0)
}

/// The plane that costs least, with its cost.
fn settled(stations: &[Station], up: Direction, leans: &[Lean]) -> Option<(f64, Level)> {
    if stations.len() < 4 {
        return None;
    }
    let places = Places::new(stations, up, leans);
    let mut starts: Vec<Slopes> = Vec::new();
    for i in 0..stations.len() {
        for j in i + 1..stations.len() {
            starts.extend((j + 1..stations.len()).filter_map(|k| places.through(i, j, k)));
        }
    }
    let level = places.at.iter().map(|p| p[2]).sum::<f64>() / places.at.len() as f64;
    starts.push([0.0, 0.0, level]);
    starts.extend(places.leans.iter().map(|(l, _)| [l[0], l[1], level]));
    let mut ranked: Vec<(f64, usize)> = starts.iter().enumerate().map(|(i, s)| (places.cost(s), i)).collect();
    ranked.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let mut best: Option<(f64, Slopes, nalgebra::Matrix3<f64>)> = None;
    for (_, i) in ranked.iter().take(40) {
        let (s, m) = places.refined(starts[*i]);
        let cost = places.cost(&s);
        if best.as_ref().is_none_or(|b| cost < b.0) {
            best = Some((cost, s, m));
        }
    }
    let (cost, s, m) = best?;
    let normal = places.normal(&s)?;
    let starts = ranked.iter().map(|(c, i)| (*c, starts[*i]));
    let other = starts
        .filter_map(|(c, t)| places.normal(&t).map(|n| (c - cost, angle_deg(&n, &normal))))
        .filter(|(_, apart)| *apart > APART_DEG)
        .min_by(|a, b| a.0.total_cmp(&b.0));
    let doubt_deg = other.map_or(0.0, |(more, apart)| doubt(more, apart));
    let tips: Vec<Point> = stations
        .iter()
        .zip(&places.at)
        .filter(|(_, p)| places.off(&s, p).abs() < 2.5 * USUAL_MM)
        .map(|(t, _)| t.at)
        .collect();
    let inverse = m.try_inverse()?;
    let (a, b, c) = (inverse[(0, 0)], inverse[(0, 1)], inverse[(1, 1)]);
    let widest = (a + c) / 2.0 + (((a - c) / 2.0) * ((a - c) / 2.0) + b * b).sqrt();
    let own_deg = atan2(widest.max(0.0).sqrt(), 1.0).to_degrees();
    let height = s[2];
    let middle = places.axes.0 * places.middle[0] + places.axes.1 * places.middle[1];
    let level = Level {
        plane: Plane { point: Point::from(middle + up.into_inner() * height), normal },
        spread_mm: super::plane_through(&tips).map_or(0.0, |(_, s)| s),
        tips,
        uncertainty_deg: hypot(hypot(own_deg, FLOOR_DEG), doubt_deg),
    };
    Some((cost, level))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::case::Tooth;
    use crate::space::Vector;

    /// Tips of some teeth at their expected heights over the plane z = 0, and by `grown` above or below it.
    fn row(arch: Arch, keep: &dyn Fn(Tooth) -> bool, grown: &dyn Fn(Tooth) -> f64) -> Vec<Station> {
        arch_form::places(arch)
            .into_iter()
            .filter(|(t, _)| t.place() < 8 && keep(*t))
            .map(|(t, [a, l])| Station {
                at: Point::new(l, a, rise_mm(arch, t.place()) + grown(t)),
                rise_mm: rise_mm(arch, t.place()),
            })
            .collect()
    }

    fn rough() -> Direction {
        Direction::new_normalize(Vector::new(0.1, -0.12, 1.0))
    }

    fn off_deg(level: &Level) -> f64 {
        angle_deg(&level.plane.normal, &Vector::z())
    }

    #[test]
    fn molars_that_have_grown_out_on_both_sides_tilt_no_plane() {
        let grown = |t: Tooth| match t.number() {
            16 | 26 => 4.0,
            17 | 27 | 25 => 3.0,
            _ => 0.15 * f64::from(t.along() % 3),
        };
        let level = laid(&row(Arch::Maxilla, &|_| true, &grown), rough(), &[]).unwrap();
        assert!(off_deg(&level) < 1.0, "{}", off_deg(&level));
        assert!(level.tips.len() >= 9 && level.plane.point.z.abs() < 0.5);
        // A plane over the molars would hold nearly as many tips, and the uncertainty says so.
        let even = laid(&row(Arch::Maxilla, &|_| true, &|_| 0.0), rough(), &[]).unwrap();
        assert!(off_deg(&even) < 0.05 && even.tips.len() == 14);
        assert!(level.uncertainty_deg > even.uncertainty_deg);
    }

    #[test]
    fn a_short_row_is_level_at_its_expected_heights_and_less_sure() {
        let front = row(Arch::Mandible, &|t| t.place() < 5, &|_| 0.0);
        let level = laid(&front, rough(), &[]).unwrap();
        assert!(off_deg(&level) < 0.1, "the curve of Spee is expected: {}", off_deg(&level));
        let whole = laid(&row(Arch::Mandible, &|_| true, &|_| 0.0), rough(), &[]).unwrap();
        assert!(level.uncertainty_deg > 1.5 * whole.uncertainty_deg);
        // What else is known of the direction holds a short row more than a long one.
        let lean = Lean { toward: Direction::new_normalize(Vector::new(0.0, 0.1, 1.0)), sigma_deg: 3.0 };
        let pulled = |stations: &[Station]| off_deg(&laid(stations, rough(), &[lean]).unwrap());
        assert!(pulled(&front) > 2.0 * pulled(&row(Arch::Mandible, &|_| true, &|_| 0.0)));
    }

    #[test]
    fn a_row_without_curves_is_level_too() {
        let flat: Vec<Station> = row(Arch::Mandible, &|_| true, &|_| 0.0)
            .into_iter()
            .map(|s| Station { at: Point::new(s.at.x, s.at.y, 0.0), ..s })
            .collect();
        assert!(off_deg(&laid_loosely(&flat, rough(), &[]).unwrap()) < 0.5);
    }

    #[test]
    fn the_row_of_the_mandible_is_lowest_at_the_premolars() {
        let lower: Vec<f64> = (1..=7).map(|p| rise_mm(Arch::Mandible, p)).collect();
        let lowest = (0..7).min_by(|&a, &b| lower[a].total_cmp(&lower[b])).unwrap();
        assert!(lowest == 4 && lower[6] > lower[4] + 1.0 && lower[0] > lower[4] + 0.8, "{lower:?}");
        assert!(rise_mm(Arch::Maxilla, 2) < rise_mm(Arch::Maxilla, 1), "lateral incisors are short");
    }

    #[test]
    fn three_teeth_or_a_line_of_them_lay_no_sure_plane() {
        assert!(
            laid(&row(Arch::Mandible, &|t| [31, 41, 36].contains(&t.number()), &|_| 0.0), rough(), &[])
                .is_none()
        );
        let side = row(Arch::Mandible, &|t| (4..8).contains(&t.along()), &|_| 0.0);
        if let Some(level) = laid(&side, rough(), &[]) {
            assert!(level.uncertainty_deg > 4.0, "{}", level.uncertainty_deg);
        }
    }
}
