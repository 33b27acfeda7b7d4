//! `[support]`: loads, and what the dentist knows of the abutments.

use super::places::Ground;
use super::problem::Sheet;
use super::raw::{RawLoad, RawSupport};
use super::read::{Given, Placed};
use super::teeth::required;
use crate::case::{Support, ToothLoad};
use crate::space::{Vector, direction};
use crate::units::{self, Unit};

/// No bite is stronger, N: the strongest reported are about a quarter of it.
const STRONGEST_N: f64 = 4000.0;
/// Crown over root: outside it no tooth stands.
const RATIOS: [f64; 2] = [0.1, 5.0];

/// Reads `[support]`.
pub(super) fn support(raw: &Given<RawSupport>, ground: Ground<'_>, sheet: &mut Sheet) -> Support {
    let Some(raw) = raw.value() else { return Support::default() };
    let mut support = Support { opposite: raw.opposite.value().map(|w| w.0), ..Support::default() };
    let loads = raw.loads.value().into_iter().flatten();
    support.loads = loads.filter_map(|place| load(place, ground, sheet)).collect();
    let n = ground.numbering;
    for (tooth, grade) in n.by_tooth(&raw.mobility, sheet) {
        n.must_stand(&tooth, ground.chart, "it has no mobility", sheet);
        if grade.value.fract() == 0.0 && (0.0..=3.0).contains(&grade.value) {
            support.mobility.insert(tooth.value, grade.value as u8);
        } else {
            sheet.at(grade, "a mobility is a grade from 0 to 3", "write 0 for a firm tooth, else 1, 2 or 3");
        }
    }
    for (tooth, ratio) in n.by_tooth(&raw.crown_root_ratio, sheet) {
        n.must_stand(&tooth, ground.chart, "it has no root to be measured", sheet);
        if (RATIOS[0]..=RATIOS[1]).contains(&ratio.value) {
            support.crown_root_ratio.insert(tooth.value, ratio.value);
        } else {
            let says = format!(
                "crown over root must be between {} and {}",
                units::show(RATIOS[0], Unit::Share),
                units::show(RATIOS[1], Unit::Share)
            );
            sheet.at(
                ratio,
                says,
                "divide the length of the crown by that of the root in bone; 0.5 to 1 are usual",
            );
        }
    }
    support
}

fn load(place: &Placed<RawLoad>, ground: Ground<'_>, sheet: &mut Sheet) -> Option<ToothLoad> {
    let raw = &place.value;
    let at = raw.at.get().and_then(|p| ground.point(&p.with(p.value.0), sheet));
    let force_n = raw.force_n.get().and_then(|force| {
        let fits = force.value > 0.0 && force.value <= STRONGEST_N;
        if !fits {
            let says =
                format!("a load must be greater than 0 and at most {}", units::show(STRONGEST_N, Unit::N));
            sheet.at(force, says, "give the force in N; its way is told by direction");
        }
        fits.then_some(force.value)
    });
    let way = raw.direction.get().and_then(|way| {
        let [x, y, z] = way.value;
        let most = x.abs().max(y.abs()).max(z.abs());
        let unit = (most > 0.0).then(|| Vector::new(x / most, y / most, z / most)).and_then(direction);
        if unit.is_none() {
            sheet.at(way, "the direction of the load has no length", "give the way in which it pushes");
        }
        unit
    });
    let tooth = required(&raw.tooth, place, "tooth", "say which replaced tooth is loaded", sheet)?;
    let number = ground.numbering.restored_tooth(tooth, sheet)?;
    if ground.chart.is_some_and(|c| c.crown_at(number)) {
        let says = format!("{} stands, so the denture is not loaded there", ground.numbering.show(number));
        sheet.at(tooth, says, "name a tooth that the denture replaces");
    }
    Some(ToothLoad { tooth: number, force_n, at, direction: way })
}
