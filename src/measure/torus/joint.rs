//! Rises that were found over the plate, read again over the lingual wall: all at once, so that none speaks for the wall under
//! another and none is told twice.

use super::accept::BORDER_SHARE;
use super::bump::{Bump, Field, GROWTH_MM, MOST_ROUNDS, height_method_mm, rests, shared};
use super::{Cast, accept};
use crate::mesh::VertexId;

/// Growth of all rises to the first mask, mm: a flank that the plate has missed must not speak for the wall.
const FIRST_MM: f64 = 3.0;
/// A summit farther than this from every rise over the plate is one of the wall only, mm.
const BESIDE_MM: f64 = 1.5;
/// Share of a rise's mask that has to be part of the mask before it for its foot to have come to rest.
const SETTLED: f64 = 0.9;
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
    let mut plated: Vec<Option<Bump>> = plates.into_iter().map(Some).collect();
    let under = |piece: &[VertexId]| -> Vec<usize> {
        let stands = |k: &usize| plated[*k].as_ref().is_some_and(|b| shared(&b.rise, piece) > 0);
        (0..plated.len()).filter(stands).collect()
    };
    let walls: Vec<(Vec<usize>, Bump)> = walls.into_iter().map(|(piece, b)| (under(&piece), b)).collect();
    let closer = |(under, bump): &(Vec<usize>, Bump)| {
        let plates = under.iter().filter_map(|&k| plated[k].as_ref());
        let tallest = plates.max_by(|a, b| a.peak_mm.total_cmp(&b.peak_mm));
        tallest.is_some_and(|plate| height_method_mm(bump) < height_method_mm(plate))
    };
    let gone: Vec<usize> = walls.iter().filter(|w| closer(w)).flat_map(|w| w.0.iter().copied()).collect();
    gone.iter().for_each(|&k| plated[k] = None);
    // A plate's rise may be two on the wall: where it goes for one of them, it goes for the other.
    let stays = |under: &[usize]| !under.is_empty() && under.iter().all(|k| gone.contains(k));
    let mut bumps: Vec<Bump> = walls.into_iter().filter(|w| stays(&w.0)).map(|w| w.1).collect();
    bumps.extend(plated.into_iter().flatten());
    bumps
}

/// What stands above the wall where rises are known, and nowhere else: each piece, and the rise with its foot.
fn over_wall(field: &Field<'_>, known: &[bool]) -> Vec<(Vec<VertexId>, Bump)> {
    let work = field.work;
    let all: Vec<VertexId> = (0..work.len() as u32).filter(|&v| known[v as usize]).collect();
    let mut mask = field.grown(&all, FIRST_MM);
    let mut pieces: Vec<Vec<VertexId>> = Vec::new();
    let mut last = mask.clone();
    for _ in 0..MOST_ROUNDS {
        let Some(fill) = field.on_wall(&mask) else { return Vec::new() };
        pieces = field.pieces_standing(&mask, &field.heights(&fill, &mask));
        pieces.retain(|p| {
            let common = p.iter().filter(|&&v| known[v as usize]).count();
            common as f64 >= COMMON * p.len() as f64
        });
        let rises: Vec<VertexId> = pieces.iter().flatten().copied().collect();
        let next = field.grown(&rises, GROWTH_MM);
        let done = rests(&mask, &next) || next.is_empty();
        last = std::mem::replace(&mut mask, next);
        if done {
            break;
        }
    }
    let beside = work.grown(&all, BESIDE_MM, |v| field.domain[v as usize]);
    let mut owner = vec![None; work.len()];
    pieces.iter().enumerate().for_each(|(k, p)| p.iter().for_each(|&v| owner[v as usize] = Some(k)));
    let feet: Vec<Vec<VertexId>> = pieces.iter().map(|p| field.grown(p, GROWTH_MM)).collect();
    let rise = |k: usize| {
        let own = |v: &VertexId| owner[*v as usize].is_none_or(|o| o == k);
        let mask: Vec<VertexId> = feet[k].iter().copied().filter(own).collect();
        let settled = shared(&mask, &last) as f64 >= SETTLED * mask.len() as f64;
        let mut others = vec![false; work.len()];
        let near = feet.iter().enumerate().filter(|(o, _)| *o != k);
        near.flat_map(|(_, foot)| foot).for_each(|&v| others[v as usize] = true);
        let bump = Field { others: Some(&others), ..*field }.over(mask)?;
        let alone = bump.mask.iter().copied().filter(|v| beside.binary_search(v).is_err()).collect();
        let bump = Bump { settled, alone, ..bump };
        (bump.border_share <= BORDER_SHARE.0).then(|| (pieces[k].clone(), bump))
    };
    (0..pieces.len()).filter_map(rise).collect()
}

#[cfg(test)]
mod tests {
    use super::super::wall::tests::{Built, around, built, everywhere};
    use super::*;

    /// Rises over the wall where vertices of the mesh with a dome of `height` mm are known.
    fn told(b: &Built, known: &[VertexId]) -> Vec<(Vec<VertexId>, Bump)> {
        let (domain, collar) = (everywhere(b), vec![false; b.work.len()]);
        let field = Field {
            work: &b.work,
            domain: &domain,
            collar: &collar,
            along: None,
            wall: Some(&b.wall),
            others: None,
        };
        let mut set = vec![false; b.work.len()];
        known.iter().for_each(|&v| set[v as usize] = true);
        over_wall(&field, &set)
    }

    /// What the plate saw of the dome is its top only; two caps on one dome are one rise.
    #[test]
    fn a_dome_of_which_a_part_is_known_is_told_once_and_whole() {
        let b = built(3.0);
        let caps: Vec<VertexId> =
            around(&b, 0.8).into_iter().filter(|&v| (b.places[v as usize].0 - 0.7).abs() > 0.03).collect();
        let rises = told(&b, &caps);
        assert_eq!(rises.len(), 1);
        let (piece, bump) = &rises[0];
        assert!((bump.peak_mm - 3.0).abs() < 0.2, "{} mm for 3 mm", bump.peak_mm);
        assert!(bump.settled);
        let dome = around(&b, 1.0);
        let both = shared(piece, &dome) as f64;
        assert!(both > 0.8 * dome.len() as f64 && both > 0.8 * piece.len() as f64);
    }

    #[test]
    fn a_summit_far_from_what_was_known_stands_out_from_the_wall_alone() {
        let b = built(3.0);
        let side: Vec<VertexId> =
            around(&b, 1.0).into_iter().filter(|&v| b.places[v as usize].0 < 0.69).collect();
        let rises = told(&b, &side);
        let alone = rises.iter().flat_map(|(_, bump)| bump.alone.iter()).filter(|&&v| {
            let (turn, _) = b.places[v as usize];
            turn > 0.79
        });
        assert!(alone.count() > 10, "{} rises", rises.len());
        let whole = told(&b, &around(&b, 1.0));
        let inner = around(&b, 1.0);
        assert!(whole.iter().all(|(_, bump)| shared(&bump.alone, &inner) == 0));
    }

    #[test]
    fn nothing_is_told_of_a_bare_wall_or_where_no_wall_is_left() {
        let b = built(0.0);
        assert!(told(&b, &around(&b, 0.8)).is_empty());
        let all: Vec<VertexId> = (0..b.work.len() as u32).collect();
        assert!(told(&built(3.0), &all).is_empty());
    }
}
