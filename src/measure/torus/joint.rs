//! Rises that were found over the plate, read again over the lingual wall: all at once, so that none speaks for the wall under
//! another and none is told twice.

use super::accept::BORDER_SHARE;
use super::bump::{Bump, Field, height_method_mm};
use super::{Cast, accept};
use crate::mesh::VertexId;

/// Growth of all rises to the first mask, mm: a flank that the plate has missed must not speak for the wall.
const FIRST_MM: f64 = 3.0;
/// Growth of what stands above the wall to the next mask, mm.
const NEXT_MM: f64 = 1.0;
/// A summit farther than this from every rise over the plate is one of the wall only, mm.
const BESIDE_MM: f64 = 1.5;
/// Rounds after which a mask that still moves is taken as it is.
const MOST_ROUNDS: usize = 10;
/// What stands above the wall belongs to a rise where at least this share of it does so over the plate.
const COMMON: f64 = 0.33;

/// The rises, each over the plate or over the wall, whichever is surer.
pub(super) fn surer(cast: &Cast<'_>, plates: Vec<Bump>) -> Vec<Bump> {
    let tall = |b: &Bump| b.peak_mm >= accept::FOLLOWED * cast.settings.least_height_mm;
    if !plates.iter().any(tall) {
        return plates;
    }
    let Some(wall) = cast.ground.wall(cast.work, &cast.ground.domain) else { return plates };
    let mut known = vec![false; cast.work.len()];
    for plate in plates.iter().filter(|b| tall(b)) {
        plate.rise.iter().filter(|&&v| wall.holds(v)).for_each(|&v| known[v as usize] = true);
    }
    let walls = over_wall(&Field { wall: Some(&wall), ..cast.field() }, &known);
    let mut kept: Vec<Option<Bump>> = plates.into_iter().map(Some).collect();
    let mut bumps = Vec::new();
    for (piece, bump) in walls {
        let under: Vec<usize> = (0..kept.len())
            .filter(|&k| kept[k].as_ref().is_some_and(|b| common(&b.rise, &piece) > 0))
            .collect();
        let tallest = under
            .iter()
            .filter_map(|&k| kept[k].as_ref())
            .max_by(|a, b| a.peak_mm.total_cmp(&b.peak_mm));
        if std::env::var_os("ZZ").is_some() {
            for k in &under { if let Some(b) = &kept[*k] { say("PLATE", cast, b); } }
            say("WALL", cast, &bump);
        }
        if tallest.is_some_and(|plate| height_method_mm(&bump) < height_method_mm(plate)) {
            under.iter().for_each(|&k| kept[k] = None);
            bumps.push(bump);
        }
    }
    bumps.extend(kept.into_iter().flatten());
    bumps
}

/// What stands above the wall where rises are known, and nowhere else.
fn over_wall(field: &Field<'_>, known: &[bool]) -> Vec<(Vec<VertexId>, Bump)> {
    let work = field.work;
    let all: Vec<VertexId> = (0..work.len() as u32).filter(|&v| known[v as usize]).collect();
    let mut mask = field.grown(&all, FIRST_MM);
    let mut pieces: Vec<Vec<VertexId>> = Vec::new();
    let mut before = vec![false; work.len()];
    for _ in 0..MOST_ROUNDS {
        let Some(fill) = field.on_wall(&mask) else { return Vec::new() };
        pieces = field.pieces_standing(&mask, &field.heights(&fill, &mask));
        pieces.retain(|p| {
            let common = p.iter().filter(|&&v| known[v as usize]).count();
            common as f64 >= COMMON * p.len() as f64
        });
        let rises: Vec<VertexId> = pieces.iter().flatten().copied().collect();
        let next = field.grown(&rises, NEXT_MM);
        before.fill(false);
        mask.iter().for_each(|&v| before[v as usize] = true);
        if 50 * (next.len() + mask.len() - 2 * common(&next, &mask)) < mask.len() || next.is_empty() {
            break;
        }
        mask = next;
    }
    let beside = work.grown(&all, BESIDE_MM, |v| field.domain[v as usize]);
    let mut owner = vec![None; work.len()];
    pieces.iter().enumerate().for_each(|(k, p)| p.iter().for_each(|&v| owner[v as usize] = Some(k)));
    let bump = |k: usize| {
        let own = |v: &VertexId| owner[*v as usize].is_none_or(|o| o == k);
        let mask: Vec<VertexId> = field.grown(&pieces[k], NEXT_MM).into_iter().filter(own).collect();
        let settled = mask.iter().filter(|&&v| before[v as usize]).count() * 10 >= mask.len() * 9;
        let mut others = vec![false; work.len()];
        let near = pieces.iter().enumerate().filter(|(o, _)| *o != k);
        near.flat_map(|(_, p)| field.grown(p, NEXT_MM)).for_each(|v| others[v as usize] = true);
        let bump = Field { others: Some(&others), ..*field }.over(mask)?;
        let alone = bump.mask.iter().copied().filter(|v| beside.binary_search(v).is_err()).collect();
        let bump = Bump { settled, alone, ..bump };
        (bump.border_share <= BORDER_SHARE.0).then(|| (pieces[k].clone(), bump))
    };
    (0..pieces.len()).filter_map(bump).collect()
}

/// How many vertices two ascending sets share.
fn common(a: &[VertexId], b: &[VertexId]) -> usize {
    a.iter().filter(|v| b.binary_search(v).is_ok()).count()
}

fn say(what: &str, cast: &Cast<'_>, b: &Bump) {
    let field = cast.field();
    let heights = super::outline::heights(cast.mesh, &field, b);
    let levels = (cast.settings.outline_mm, cast.settings.saddle_mm);
    for l in super::outline::lobes(cast.mesh, cast.topology, &heights, levels) {
        let p = cast.mesh.vertex(l.summit);
        eprintln!("{what} {} {} {} h {:.3} m {:.3} r {:.3} ring {:.2} s {:.3} border {:.2} bed {:.0} set {} area {:.0}", p.x, p.y, p.z, l.height_mm, height_method_mm(b), b.foretold_mm, b.ring_share, b.deviation_mm.unwrap_or(-1.0), b.border_share, b.bed_deg, b.settled, b.area_mm2);
    }
}
