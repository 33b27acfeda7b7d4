//! The average form of an arch: where the crown of each tooth stands in plan, and how that form is laid over a cast.
//!
//! Used only to tell directions and neighbourhoods, never for a measured figure.

use crate::case::{Arch, Tooth};
use crate::space::{Direction, Point, Vector, across, cos, powf, sin};

/// Mesiodistal crown widths by place 1 to 8, mm (trade facts, section 12.1).
pub fn crown_width_mm(arch: Arch, place: u8) -> f64 {
    const UPPER: [f64; 8] = [8.5, 6.5, 7.5, 7.0, 7.0, 10.0, 9.0, 8.5];
    const LOWER: [f64; 8] = [5.0, 5.5, 7.0, 7.0, 7.0, 11.0, 10.5, 10.0];
    of_place(arch, place, UPPER, LOWER)
}

/// Crown heights by place 1 to 8, mm (the same section).
pub fn crown_height_mm(arch: Arch, place: u8) -> f64 {
    const UPPER: [f64; 8] = [10.5, 9.0, 10.0, 8.5, 8.5, 7.5, 7.0, 6.5];
    const LOWER: [f64; 8] = [9.0, 9.5, 11.0, 8.5, 8.0, 7.5, 7.0, 7.0];
    of_place(arch, place, UPPER, LOWER)
}

/// Buccolingual crown depths by place 1 to 8, mm (the same section).
pub fn crown_depth_mm(arch: Arch, place: u8) -> f64 {
    const UPPER: [f64; 8] = [7.0, 6.0, 8.0, 9.0, 9.0, 11.0, 11.0, 10.0];
    const LOWER: [f64; 8] = [6.0, 6.5, 7.5, 7.5, 8.0, 10.5, 10.0, 9.5];
    of_place(arch, place, UPPER, LOWER)
}

fn of_place(arch: Arch, place: u8, upper: [f64; 8], lower: [f64; 8]) -> f64 {
    let table = if arch == Arch::Maxilla { upper } else { lower };
    table[usize::from(place.clamp(1, 8)) - 1]
}

/// The arch curve in plan: distance behind the incisors of the point `lateral_mm` beside the midline.
///
/// A power curve through the incisors and the first molar, exponent so that the canine falls at the intercanine width
/// of section 12.2 of the trade facts.
fn behind_mm(arch: Arch, lateral_mm: f64) -> f64 {
    let (half_width, depth, power) = match arch {
        Arch::Mandible => (23.0, 25.0, 2.6),
        Arch::Maxilla => (25.5, 29.0, 3.0),
    };
    depth * powf(lateral_mm.abs() / half_width, power)
}

/// Points of one half of the average arch, 0.25 mm apart along it from the midline: (anterior, lateral), mm.
fn half_arch(arch: Arch) -> Vec<(f64, f64)> {
    let mut points = vec![(0.0, 0.0)];
    let (mut lateral, step) = (0.0_f64, 0.25);
    while points.len() < 300 {
        let slope = (behind_mm(arch, lateral + 1e-4) - behind_mm(arch, lateral)) / 1e-4;
        lateral += step / (1.0 + slope * slope).sqrt();
        points.push((-behind_mm(arch, lateral), lateral));
    }
    points
}

/// Place of the crown's centre of every tooth of `arch` in the average form: (anterior, left), mm, incisors at 0.
pub fn places(arch: Arch) -> Vec<(Tooth, [f64; 2])> {
    let half = half_arch(arch);
    let mut places = Vec::with_capacity(16);
    let mut along = 0.0;
    for place in 1..=8u8 {
        let width = crown_width_mm(arch, place);
        let index = (((along + width / 2.0) / 0.25) as usize).min(half.len() - 1);
        along += width;
        for sign in [-1i8, 1] {
            if let Some(tooth) = Tooth::at(arch, sign * place as i8) {
                places.push((tooth, [half[index].0, f64::from(sign) * half[index].1]));
            }
        }
    }
    places.sort_by_key(|(tooth, _)| tooth.along());
    places
}

/// The average form laid over a cast: a turn, a scale and a shift in the plane across the occlusal direction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ArchFit {
    arch: Arch,
    occlusal: Direction,
    u: Vector,
    v: Vector,
    turn: [f64; 2],
    shift: [f64; 2],
    height: f64,
    /// Root mean square distance of the fitted crowns from their average places, mm.
    pub rms_mm: f64,
}

impl ArchFit {
    /// Fits the form to crowns or marked points of named teeth, by least squares.
    ///
    /// `None` with fewer than two teeth of the arch, or where they stand too close together to tell a direction.
    pub fn of(arch: Arch, occlusal: Direction, known: &[(Tooth, Point)]) -> Option<ArchFit> {
        let (u, v) = across(&occlusal);
        let form = places(arch);
        let pairs: Vec<([f64; 2], [f64; 2], f64)> = known
            .iter()
            .filter_map(|(tooth, at)| {
                let place = form.iter().find(|(t, _)| t == tooth)?.1;
                Some((complex(arch, place), [at.coords.dot(&u), at.coords.dot(&v)], at.coords.dot(&occlusal)))
            })
            .collect();
        if pairs.len() < 2 {
            return None;
        }
        let n = pairs.len() as f64;
        let mean = |values: &mut dyn Iterator<Item = f64>| values.sum::<f64>() / n;
        let from = [0, 1].map(|k| mean(&mut pairs.iter().map(|p| p.0[k])));
        let to = [0, 1].map(|k| mean(&mut pairs.iter().map(|p| p.1[k])));
        let height = mean(&mut pairs.iter().map(|p| p.2));
        let (mut product, mut square, mut square_to) = ([0.0, 0.0], 0.0, 0.0);
        for (z, w, _) in &pairs {
            let (a, b) = (z[0] - from[0], z[1] - from[1]);
            let (c, d) = (w[0] - to[0], w[1] - to[1]);
            product[0] += a * c + b * d;
            product[1] += a * d - b * c;
            square += a * a + b * b;
            square_to += c * c + d * d;
        }
        if square < 25.0 || square_to < 25.0 || product[0].abs() + product[1].abs() < 1e-9 {
            return None;
        }
        let mut turn = [product[0] / square, product[1] / square];
        // Arches differ by a tenth or two in size; a greater scale would follow misplaced marks.
        let scale = (turn[0] * turn[0] + turn[1] * turn[1]).sqrt();
        let kept = scale.clamp(0.75, 1.3);
        turn = [turn[0] / scale * kept, turn[1] / scale * kept];
        let shift = [
            to[0] - (turn[0] * from[0] - turn[1] * from[1]),
            to[1] - (turn[0] * from[1] + turn[1] * from[0]),
        ];
        let mut fit = ArchFit { arch, occlusal, u, v, turn, shift, height, rms_mm: 0.0 };
        let squares: f64 = pairs.iter().map(|(z, w, _)| square_distance(fit.mapped(*z), *w)).sum();
        fit.rms_mm = (squares / n).sqrt();
        Some(fit)
    }

    /// The form at its own size over a known frame, incisors `incisors_mm` in front of the frame's origin.
    pub fn over(
        arch: Arch,
        occlusal: Direction,
        anterior: &Direction,
        origin: &Point,
        incisors_mm: f64,
    ) -> ArchFit {
        let (u, v) = across(&occlusal);
        let turn = [anterior.dot(&u), anterior.dot(&v)];
        let front = origin + anterior.into_inner() * incisors_mm;
        let shift = [front.coords.dot(&u), front.coords.dot(&v)];
        ArchFit { arch, occlusal, u, v, turn, shift, height: origin.coords.dot(&occlusal), rms_mm: 0.0 }
    }

    fn mapped(&self, z: [f64; 2]) -> [f64; 2] {
        [
            self.turn[0] * z[0] - self.turn[1] * z[1] + self.shift[0],
            self.turn[0] * z[1] + self.turn[1] * z[0] + self.shift[1],
        ]
    }

    fn world(&self, place: [f64; 2]) -> Point {
        let [a, b] = self.mapped(complex(self.arch, place));
        Point::from(self.u * a + self.v * b + self.occlusal.into_inner() * self.height)
    }

    /// Toward the incisors.
    pub fn anterior(&self) -> Vector {
        self.u * self.turn[0] + self.v * self.turn[1]
    }

    /// Place of the midline between the central incisors, at the mean height of the fitted crowns.
    pub fn incisors(&self) -> Point {
        self.world([0.0, 0.0])
    }

    /// Place of a tooth of the arch; `None` for one of the other arch.
    pub fn place_of(&self, tooth: Tooth) -> Option<Point> {
        places(self.arch).into_iter().find(|(t, _)| *t == tooth).map(|(_, place)| self.world(place))
    }

    /// The arch curve from the patient's right to left, about `step_mm` apart, out to `behind` the third molars.
    pub fn curve(&self, step_mm: f64) -> Vec<Point> {
        let half = half_arch(self.arch);
        let every = ((step_mm / 0.25) as usize).max(1);
        let right = half.iter().step_by(every).rev().map(|&(a, l)| [a, -l]);
        let left = half.iter().step_by(every).skip(1).map(|&(a, l)| [a, l]);
        right.chain(left).map(|place| self.world(place)).collect()
    }
}

/// A place of the form as a complex number in the plane (u, v), so that one turn serves both arches: seen from the
/// occlusal side the patient's left lies to the left of anterior in a mandible and to the right in a maxilla.
fn complex(arch: Arch, place: [f64; 2]) -> [f64; 2] {
    match arch {
        Arch::Mandible => place,
        Arch::Maxilla => [place[0], -place[1]],
    }
}

fn square_distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]) * (a[0] - b[0]) + (a[1] - b[1]) * (a[1] - b[1])
}

/// A direction in the plane of two unit vectors at an angle from the first.
pub(super) fn turned(u: &Vector, v: &Vector, radians: f64) -> Vector {
    u * cos(radians) + v * sin(radians)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::space::{Frame, angle_deg};

    #[test]
    fn the_average_form_has_the_published_widths() {
        // Intercanine width at the cusp tips 26.85 and 35.41 mm, intermolar 51.71 and 53.82 mm (trade facts, 12.2);
        // crown centres lie a little inside the canine tips and well inside the buccal molar cusps.
        for (arch, canines, molars) in [(Arch::Mandible, 26.85, 51.71), (Arch::Maxilla, 35.41, 53.82)] {
            let of = |along: i8| {
                let tooth = Tooth::at(arch, along).unwrap();
                places(arch).into_iter().find(|(t, _)| *t == tooth).unwrap().1
            };
            assert!((of(3)[1] - of(-3)[1] - canines).abs() < 4.0, "{arch:?} {:?}", of(3));
            assert!((of(6)[1] - of(-6)[1] - molars).abs() < 8.0, "{arch:?} {:?}", of(6));
        }
    }

    #[test]
    fn a_fit_gives_back_the_frame_of_either_arch_from_a_few_teeth() {
        for arch in [Arch::Mandible, Arch::Maxilla] {
            let occlusal = Direction::new_normalize(Vector::new(0.1, -0.2, 0.9));
            let frame = Frame::new(
                Point::new(5.0, -3.0, 80.0),
                occlusal,
                Vector::new(0.4, 0.7, 0.0),
                arch == Arch::Mandible,
            )
            .unwrap();
            let known: Vec<(Tooth, Point)> = places(arch)
                .into_iter()
                .filter(|(t, _)| [3, 5, 6].contains(&t.place()) || t.along() == -1)
                .map(|(t, [a, l])| (t, frame.world([1.1 * a, 1.1 * l, 0.4])))
                .collect();
            let fit = ArchFit::of(arch, occlusal, &known).unwrap();
            assert!(angle_deg(&fit.anterior(), &frame.anterior) < 1e-6);
            assert!(fit.rms_mm < 1e-9);
            let tooth = Tooth::at(arch, -7).unwrap();
            let place = frame.local(&fit.place_of(tooth).unwrap());
            assert!(
                place[0] < -20.0 && place[1] < -18.0,
                "the right second molar is behind and right: {place:?}"
            );
        }
    }

    #[test]
    fn one_tooth_gives_no_direction() {
        let up = Direction::new_normalize(Vector::z());
        let tooth = Tooth::fdi(36).unwrap();
        assert_eq!(ArchFit::of(Arch::Mandible, up, &[(tooth, Point::origin())]), None);
    }
}
