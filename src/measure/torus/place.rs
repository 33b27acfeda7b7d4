//! The place of a torus in words: the teeth that it lies beside, and how far its outline is from their margins.

use super::Torus;
use crate::anatomy::{Anatomy, Crown};
use crate::case::Tooth;
use crate::space::Point;

/// Where a torus lies among the teeth.
#[derive(Clone, Debug, PartialEq)]
pub struct Beside {
    /// First and last tooth beside it, from the patient's right to left; the same where there is only one.
    pub teeth: (Tooth, Tooth),
    /// Nearest gingival margin: its tooth, the straight distance of the outline from it, mm, and the outline's point.
    pub margin: Option<(Tooth, f64, Point)>,
}

/// Teeth beside a torus. `None` where no crown is known.
pub fn beside(torus: &Torus, anatomy: &Anatomy) -> Option<Beside> {
    let mut teeth: Vec<Tooth> =
        torus.outline.iter().filter_map(|p| nearest_crown(p, anatomy)).map(|c| c.tooth).collect();
    teeth.sort_by_key(|t| t.along());
    let teeth = (*teeth.first()?, *teeth.last()?);
    let margin = anatomy
        .crowns
        .iter()
        .flat_map(|c| c.margin.iter().map(move |m| (c.tooth, m)))
        .flat_map(|(tooth, m)| torus.outline.iter().map(move |p| (tooth, (m - p).norm(), *p)))
        .min_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
    Some(Beside { teeth, margin })
}

fn nearest_crown<'a>(p: &Point, anatomy: &'a Anatomy) -> Option<&'a Crown> {
    anatomy
        .crowns
        .iter()
        .min_by(|a, b| (a.centre - p).norm().total_cmp(&(b.centre - p).norm()).then(a.tooth.cmp(&b.tooth)))
}
