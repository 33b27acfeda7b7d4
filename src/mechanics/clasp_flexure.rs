//! Quantity: the force to spread a clasp arm by the undercut it shall engage, the greatest stress in it, the force to draw
//! it off, and the least length of arm that bears it.
//!
//! Definition: the arm is a beam held at its origin and loaded at its tip square to the tooth. Uniform or tapering in all
//! dimensions alike to `taper` times its origin:
//! `F = 3 E I0 taper d / L^3`; greatest stress `(F L c0 / I0) g` with `t = max(0, (3(1 - taper) - 1) / (2 (1 - taper)))` and
//! `g = (1 - t) / (1 - (1 - taper) t)^3`. Round of diameter d: `I = pi d^4 / 64`, `c = d / 2`. Half-round of radius r with its flat
//! side on the tooth: `I = (pi/8 - 8/(9 pi)) r^4`, `c = (1 - 4/(3 pi)) r`. An arm bent to a circle of radius R over the angle p,
//! loaded at its tip along the radius: `d = F R^3 / (2 E I) (p - sin p cos p)`. Drawing off along a wall at the angle a to the path
//! with friction m: `W = F (sin a + m cos a) / (cos a - m sin a)`. Least length: stress at the limit.
//!
//! Frame and units: mm, N, MPa, degrees.
//!
//! Method and its error: small deflections of a slender elastic beam. Real arms are short, curved and of uneven section: measured
//! pull-off forces of like clasps differ from it by a factor of two and more (the method page sets them side by side).
//!
//! Not covered: set, fatigue, the other arm, saliva, wear, torsion of a curved arm out of its plane.
//!
//! Checked by: the table of worked cases below, and a numerical integration of the tapering beam.

use crate::space::{cos, sin};

use std::f64::consts::PI;

/// Section of an arm at its origin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Section {
    /// Round, with its diameter, mm.
    Round {
        /// Diameter, mm.
        diameter_mm: f64,
    },
    /// Half-round with its flat side on the tooth, mm.
    HalfRound {
        /// Radius, mm: the thickness; the height is twice it.
        radius_mm: f64,
    },
}

impl Section {
    /// Second moment of area against bending off the tooth, mm4.
    pub fn second_moment_mm4(self) -> f64 {
        match self {
            Section::Round { diameter_mm: d } => PI * d * d * d * d / 64.0,
            Section::HalfRound { radius_mm: r } => (PI / 8.0 - 8.0 / (9.0 * PI)) * r * r * r * r,
        }
    }

    /// Distance of the outermost fibre from the neutral axis, mm.
    pub fn outermost_mm(self) -> f64 {
        match self {
            Section::Round { diameter_mm } => diameter_mm / 2.0,
            Section::HalfRound { radius_mm } => (1.0 - 4.0 / (3.0 * PI)) * radius_mm,
        }
    }
}

/// A clasp arm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Arm {
    /// Section at its origin.
    pub section: Section,
    /// Size at the tip as a share of that at the origin, over 0 to 1.
    pub taper_share: f64,
    /// Length along the arm, mm.
    pub length_mm: f64,
    /// Modulus of its material, MPa.
    pub modulus_mpa: f64,
}

/// Why an arm cannot be worked out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ArmError {
    /// A length, size, modulus or depth that is not positive.
    #[error("its length, section, modulus and undercut must be greater than 0")]
    NotPositive,
    /// A taper outside 0 to 1.
    #[error("its taper must be over 0 and at most 1")]
    Taper,
}

/// An arm spread by an undercut.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Force at the tip, N.
    pub force_n: f64,
    /// Greatest stress, MPa.
    pub stress_mpa: f64,
    /// Its place, as a share of the length from the origin.
    pub stress_at_share: f64,
}

/// Force to spread an arm by a millimetre, N/mm.
///
/// # Errors
/// Sizes that cannot be.
pub fn stiffness_n_per_mm(arm: &Arm) -> Result<f64, ArmError> {
    check(arm)?;
    let length = arm.length_mm;
    Ok(3.0 * arm.modulus_mpa * arm.section.second_moment_mm4() * arm.taper_share / (length * length * length))
}

/// The arm spread at its tip by so many millimetres.
///
/// # Errors
/// Sizes that cannot be.
pub fn spread(arm: &Arm, undercut_mm: f64) -> Result<Spread, ArmError> {
    if undercut_mm.is_nan() || undercut_mm <= 0.0 {
        return Err(ArmError::NotPositive);
    }
    let force_n = stiffness_n_per_mm(arm)? * undercut_mm;
    let (share, rise) = weakest(arm.taper_share);
    let stress_mpa =
        force_n * arm.length_mm * arm.section.outermost_mm() / arm.section.second_moment_mm4() * rise;
    Ok(Spread { force_n, stress_mpa, stress_at_share: share })
}

/// Place of the greatest stress from the origin, as a share of the length, and its rise over that at the origin.
fn weakest(taper: f64) -> (f64, f64) {
    let lost = 1.0 - taper;
    let share = if lost > 0.0 { ((3.0 * lost - 1.0) / (2.0 * lost)).max(0.0) } else { 0.0 };
    let left = 1.0 - lost * share;
    (share, (1.0 - share) / (left * left * left))
}

/// Least length at which the stress stays at a limit, mm.
///
/// # Errors
/// Sizes that cannot be.
pub fn least_length_mm(arm: &Arm, undercut_mm: f64, limit_mpa: f64) -> Result<f64, ArmError> {
    if limit_mpa.is_nan() || limit_mpa <= 0.0 {
        return Err(ArmError::NotPositive);
    }
    let now = spread(arm, undercut_mm)?;
    // Stress goes with one over the square of the length.
    Ok(arm.length_mm * (now.stress_mpa / limit_mpa).sqrt())
}

/// How much stiffer an arm of uniform section is when it is bent round a tooth of a radius, against the straight arm of its
/// length; `None` where it would go round by more than a half turn.
pub fn curved_share(length_mm: f64, radius_mm: f64) -> Option<f64> {
    let angle = length_mm / radius_mm;
    (angle > 0.0 && angle <= PI).then(|| {
        let give = (angle - sin(angle) * cos(angle)) / 2.0;
        angle * angle * angle / 3.0 / give
    })
}

/// Force to draw a tip off along the path, N; `None` where friction holds it whatever the force.
pub fn withdrawal_n(force_n: f64, wall_deg: f64, friction: f64) -> Option<f64> {
    let wall = wall_deg.to_radians();
    let below = cos(wall) - friction * sin(wall);
    (below > 0.0).then(|| force_n * (sin(wall) + friction * cos(wall)) / below)
}

fn check(arm: &Arm) -> Result<(), ArmError> {
    let sizes = [arm.length_mm, arm.modulus_mpa, arm.section.second_moment_mm4()];
    if sizes.iter().any(|s| !s.is_finite() || *s <= 0.0) || arm.section.outermost_mm() <= 0.0 {
        return Err(ArmError::NotPositive);
    }
    if !(arm.taper_share > 0.0 && arm.taper_share <= 1.0) {
        return Err(ArmError::Taper);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn round(d: f64) -> Section {
        Section::Round { diameter_mm: d }
    }
    fn half(r: f64) -> Section {
        Section::HalfRound { radius_mm: r }
    }
    fn arm(section: Section, taper: f64, length_mm: f64, gpa: f64) -> Arm {
        Arm { section, taper_share: taper, length_mm, modulus_mpa: gpa * 1000.0 }
    }
    fn near(got: f64, want: f64, digits: f64) {
        assert!((got - want).abs() <= digits, "{got} instead of {want}");
    }

    /// Trade facts, section 3.4: force and stress as printed there, to the last digit printed.
    #[test]
    fn the_worked_cases_of_the_trade_facts() {
        #[rustfmt::skip]
        let cases = [
            (arm(round(1.0), 1.0, 10.0, 220.0), 0.25, 8.099, 825.0),
            (arm(round(1.0), 1.0, 15.0, 220.0), 0.25, 2.400, 366.7),
            (arm(round(0.8), 1.0, 10.0, 220.0), 0.25, 3.318, 660.0),
            (arm(round(1.0), 1.0, 10.0, 110.0), 0.25, 4.050, 412.5),
            (arm(round(1.5), 1.0, 10.0, 3.74), 0.5, 1.394, 42.1),
            (arm(half(0.8), 1.0, 10.0, 220.0), 0.25, 7.418, 759.8),
            (arm(half(0.8), 1.0, 15.0, 220.0), 0.25, 2.198, 337.7),
            (arm(round(1.0), 0.5, 10.0, 220.0), 0.25, 4.050, 488.9),
            (arm(round(1.0), 0.5, 15.0, 220.0), 0.25, 1.200, 217.3),
            (arm(half(0.8), 0.5, 10.0, 220.0), 0.25, 3.709, 450.2),
            (arm(half(0.8), 0.5, 15.0, 220.0), 0.25, 1.099, 200.1),
            (arm(half(1.0), 0.5, 10.0, 220.0), 0.25, 9.055, 562.8),
            (arm(half(1.0), 0.5, 15.0, 220.0), 0.25, 2.683, 250.1),
        ];
        for (arm, undercut, force, stress) in cases {
            let got = spread(&arm, undercut).unwrap();
            near(got.force_n, force, 0.0006);
            near(got.stress_mpa, stress, 0.06);
        }
        let steel = spread(&arm(round(1.02), 1.0, 8.0, 200.0), 0.5).unwrap();
        near(steel.force_n, 31.1, 0.06);
        near(steel.stress_mpa, 2391.0, 0.6);
    }

    #[test]
    fn least_lengths_of_the_trade_facts() {
        for (d, want) in [(0.8, 11.5), (1.0, 12.8), (1.2, 14.1)] {
            near(least_length_mm(&arm(round(d), 1.0, 10.0, 220.0), 0.25, 500.0).unwrap(), want, 0.06);
        }
    }

    #[test]
    fn a_bent_arm_is_stiffer_than_the_straight_one() {
        // R 5, quarter turn, d 1.0, 0.25 mm: 27.50 N bent, 16.72 N straight.
        let length = 5.0 * PI / 2.0;
        let straight = spread(&arm(round(1.0), 1.0, length, 220.0), 0.25).unwrap().force_n;
        near(straight, 16.72, 0.006);
        near(straight * curved_share(length, 5.0).unwrap(), 27.50, 0.006);
        near(curved_share(1e-3, 5.0).unwrap(), 1.0, 1e-6);
        assert_eq!(curved_share(16.0, 5.0), None);
    }

    #[test]
    fn drawing_off_along_the_wall() {
        for (friction, deg, share) in [
            (0.2, 10.0, 0.390),
            (0.2, 20.0, 0.608),
            (0.2, 30.0, 0.879),
            (0.1, 10.0, 0.281),
            (0.1, 20.0, 0.481),
            (0.1, 30.0, 0.719),
        ] {
            near(withdrawal_n(1.0, deg, friction).unwrap(), share, 0.0006);
        }
        assert_eq!(withdrawal_n(1.0, 85.0, 0.5), None);
    }

    /// The tip's deflection is the integral of M (L - x) / (E I): summed in small steps.
    #[test]
    fn the_tapering_beam_agrees_with_its_integral() {
        for taper in [0.3, 0.5, 0.7, 0.9] {
            let a = arm(half(0.9), taper, 12.0, 200.0);
            let steps = 20_000;
            let mut give = 0.0;
            let mut worst: f64 = 0.0;
            for i in 0..steps {
                let t = (f64::from(i) + 0.5) / f64::from(steps);
                let size = 1.0 - (1.0 - taper) * t;
                let rest = 12.0 * (1.0 - t);
                let i0 = a.section.second_moment_mm4();
                give +=
                    rest * rest / (a.modulus_mpa * i0 * size * size * size * size) * 12.0 / f64::from(steps);
                worst = worst.max(rest * a.section.outermost_mm() / (i0 * size * size * size));
            }
            let got = spread(&a, 0.25).unwrap();
            near(got.force_n * give / 0.25, 1.0, 1e-5);
            near(got.stress_mpa / (got.force_n * worst), 1.0, 1e-4);
        }
    }

    #[test]
    fn absurd_arms_are_refused() {
        assert_eq!(spread(&arm(round(1.0), 1.0, 0.0, 220.0), 0.25), Err(ArmError::NotPositive));
        assert_eq!(spread(&arm(round(1.0), 1.0, 10.0, -220.0), 0.25), Err(ArmError::NotPositive));
        assert_eq!(spread(&arm(round(1.0), 1.0, 10.0, 220.0), -0.1), Err(ArmError::NotPositive));
        assert_eq!(spread(&arm(round(1.0), 0.0, 10.0, 220.0), 0.25), Err(ArmError::Taper));
        assert_eq!(spread(&arm(half(f64::NAN), 1.0, 10.0, 220.0), 0.25), Err(ArmError::NotPositive));
    }
}
