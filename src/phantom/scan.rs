//! A cast as a scanner would hand it over: triangles, dense where it matters.

use super::cast::Cast;
use super::contour::{Grid, cut_off, zero_set};
use super::refine::{coarsened, evened};
use crate::case::{Arch, Tooth};
use crate::mesh::Mesh;
use crate::space::Point;

/// How dense a scan is.
#[derive(Clone, Debug, PartialEq)]
pub struct Density {
    /// Grid of the contour, mm.
    pub cell_mm: f64,
    /// Mean edge wanted on abutments, ridges and tori, mm; not much under the grid. `None` keeps edges of about the grid's
    /// length everywhere.
    pub fine_mm: Option<f64>,
    /// Edges wanted elsewhere on teeth, mm.
    pub teeth_mm: f64,
    /// Edges wanted on other tissue, mm.
    pub tissue_mm: f64,
    /// Teeth scanned finely.
    pub fine_teeth: Vec<Tooth>,
    /// Stretches of ridge scanned finely, from and to along the arch, mm.
    pub fine_ridges: Vec<[f64; 2]>,
}

impl Density {
    /// A small scan for tests: even, with a side seldom longer than `cell_mm`.
    pub fn coarse(cell_mm: f64) -> Density {
        Density::even(0.85 * cell_mm)
    }

    /// Edges of about the same length everywhere, mm.
    pub fn even(edge_mm: f64) -> Density {
        Density {
            cell_mm: edge_mm,
            fine_mm: None,
            teeth_mm: edge_mm,
            tissue_mm: edge_mm,
            fine_teeth: Vec::new(),
            fine_ridges: Vec::new(),
        }
    }
}

/// Triangles of a cast.
pub fn scan(cast: &Cast, density: &Density) -> Mesh {
    let field = |p: &Point| cast.value(p);
    let border = |p: &Point| cast.border(p);
    let open = cut_off(&zero_set(&grid(cast, density.cell_mm), &field, &border), &border);
    match density.fine_mm {
        None => evened(&open, &field, density.cell_mm),
        Some(fine) => coarsened(&open, &field, &|p| wanted(cast, density, fine, p)),
    }
}

/// Edges on the plain walls and the foot of a trimmed base, mm.
const PLAIN_EDGE_MM: f64 = 2.4;

/// Edge length wanted at a place, mm.
pub fn wanted(cast: &Cast, density: &Density, fine: f64, p: &Point) -> f64 {
    let own = cast.own(p);
    if cast.base.as_ref().is_some_and(|b| b.is_plain(&own)) && cast.tissue_value(&own, true) < -2.0 {
        return PLAIN_EDGE_MM;
    }
    let mut size = density.tissue_mm;
    for crown in &cast.crowns {
        let (middle, radius) = crown.bound();
        if (own - middle).norm() > radius + 1.5 {
            continue;
        }
        let sleeve = crown.sleeve(crown.local(&own)).min(crown.value(crown.local(&own)));
        if sleeve < 0.6 {
            size = size.min(if density.fine_teeth.contains(&crown.tooth) { fine } else { density.teeth_mm });
        }
    }
    let place = cast.form.place(own.x, own.y);
    if density.fine_ridges.iter().any(|[a, b]| place.s > *a && place.s < *b) && place.t.abs() < 5.0 {
        size = size.min(fine * 1.15);
    }
    for rise in cast.rises.iter().filter(|r| r.torus) {
        let reach = rise.half.iter().fold(0.0f64, |m, h| m.max(*h)) + 2.0;
        if (own - rise.centre).norm() < reach {
            size = size.min(fine * 1.15);
        }
    }
    size
}

/// Box and cell of the contour.
pub fn grid(cast: &Cast, cell_mm: f64) -> Grid {
    let top =
        cast.crowns.iter().map(|c| c.world([0.0, 0.0, c.height]).z).fold(f64::NEG_INFINITY, f64::max) + 3.0;
    let lowest = cast.levels.vestibule.iter().chain(&cast.levels.floor).fold(f64::INFINITY, |m, z| m.min(*z));
    let vault = cast.palate.map_or(0.0, |p| p.depth);
    let mut low = lowest.min(cast.levels.top.iter().fold(f64::INFINITY, |m, z| m.min(*z)) - vault) - 4.5;
    let (mut from, mut to) = ([-46.0, -66.0], [46.0, 16.0]);
    if let Some(base) = &cast.base {
        low = low.min(base.foot - 1.5);
        [from, to] = base.extent();
        (from, to) = (from.map(|c| c - 1.5), to.map(|c| c + 1.5));
    }
    let (z0, z1) =
        if cast.arch == Arch::Mandible { (low, top) } else { (cast.opened_mm - top, cast.opened_mm - low) };
    Grid { low: Point::new(from[0], from[1], z0), high: Point::new(to[0], to[1], z1), cell_mm }
}
