//! Where the walks of the teeth and of the gingiva start, and how places between lean.

use super::graph::Graph;
use super::profile::{HIGHEST_MM, Layout};
use super::row::Stretch;
use super::walker::Start;
use crate::anatomy::arch_form::{crown_depth_mm, crown_height_mm};

/// What is this far below the occlusal plane is no crown, mm.
const LOWEST_MM: f64 = 18.0;
/// Behind a tooth without a neighbour the gingiva is sure from this way on, mm; beside one with a neighbour from the
/// second on.
const BEHIND_MM: [f64; 2] = [1.5, 2.5];
/// Way to the side beyond half the crown's average depth from which the gingiva is sure, mm, and at which a place leans
/// neither way.
const ASIDE_MM: [f64; 2] = [4.5, 0.8];
/// The gingiva is sure this far below the average height of the crown, mm.
const BELOW_MM: f64 = 3.0;
/// Share of a tooth's length, height and depth that is surely tooth: what stays away from the ends, from the top and
/// from the middle.
const CORE: [f64; 3] = [0.22, 0.40, 0.40];

/// How much more the inner side is pulled.
const INNER: f64 = 2.0;

/// How far down crowns reach, as a share of their average height, and how strongly that pulls.
#[derive(Clone, Copy, Debug)]
pub struct Reach {
    /// Share of the average height at which a place leans neither way.
    pub down: f64,
    /// Conductance toward gingiva or tooth.
    pub pull: f64,
}

impl Reach {
    /// Before anything of the patient is known.
    pub const FIRST: Reach = Reach { down: 0.7, pull: 0.006 };

    /// The reach of this patient's crowns: the median over the teeth of where their outer side ended.
    pub fn found(graph: &Graph, layout: &Layout, label: &[u8], row: &[Stretch]) -> Option<Reach> {
        let mut depths: Vec<Vec<f64>> = vec![Vec::new(); row.len()];
        for i in 0..graph.len() {
            let Some(k) = usize::from(label[i]).checked_sub(1) else { continue };
            let (b, s) = (&layout.beside[i], &row[k]);
            let aside = 0.25 * (s.ends[1] - s.ends[0]);
            let inside = b.along > s.ends[0] + aside && b.along < s.ends[1] - aside;
            if inside && b.out > 0.0 && graph.near(i as u32).iter().any(|&j| label[j as usize] == 0) {
                depths[k].push(layout.depth[i]);
            }
        }
        let middle = |values: &mut Vec<f64>| {
            values.sort_by(f64::total_cmp);
            values.get(values.len() / 2).copied()
        };
        let of_teeth = depths
            .iter_mut()
            .zip(row)
            .filter_map(|(d, s)| Some(middle(d)? / crown_height_mm(s.tooth.arch(), s.tooth.place())));
        let mut shares: Vec<f64> = of_teeth.collect();
        middle(&mut shares).map(|down| Reach { down, pull: 0.02 })
    }
}

/// The start of every place of a graph.
pub fn starts(
    graph: &Graph,
    layout: &Layout,
    local: &[[f64; 3]],
    row: &[Stretch],
    reach: Reach,
) -> Vec<Start> {
    (0..graph.len()).map(|i| start(layout, i, local[i][2], row, reach)).collect()
}

fn start(layout: &Layout, i: usize, height: f64, row: &[Stretch], reach: Reach) -> Start {
    let (b, depth) = (&layout.beside[i], layout.depth[i]);
    let off = |s: &Stretch| (s.ends[0] - b.along).max(b.along - s.ends[1]);
    let nearest = (0..row.len()).min_by(|&x, &y| off(&row[x]).total_cmp(&off(&row[y])));
    let Some(k) = nearest else { return Start::Seed(0) };
    let (tooth, outside) = (row[k].tooth, off(&row[k]));
    let (tall, deep) =
        (crown_height_mm(tooth.arch(), tooth.place()), crown_depth_mm(tooth.arch(), tooth.place()));
    let alone = outside > 0.0 && !neighboured(row, k, b.along > row[k].ends[1]);
    let far = outside > BEHIND_MM[usize::from(!alone)] || b.out.abs() > deep / 2.0 + ASIDE_MM[0];
    if far || depth > tall + BELOW_MM || !(-LOWEST_MM..=HIGHEST_MM + 0.5).contains(&height) {
        return Start::Seed(0);
    }
    let long = row[k].ends[1] - row[k].ends[0];
    if outside < -CORE[0] * long && depth < CORE[1] * tall && b.out.abs() < CORE[2] * deep {
        return Start::Seed(k as u8 + 1);
    }
    let down = (depth / tall - reach.down) / 0.35;
    let aside = (b.out.abs() - deep / 2.0 - ASIDE_MM[1]) / 1.5;
    let behind = if alone { (outside - 0.3) / 0.8 } else { -1.0 };
    let low = down.max(aside).max(behind).clamp(-1.0, 1.0);
    let pull = if b.out < 0.0 { INNER * reach.pull } else { reach.pull };
    let gum = pull * (0.5 + 0.5 * low);
    Start::Free { gum, tooth: (k as u8 + 1, pull - gum) }
}

/// Whether the next tooth to the left (or right) follows without a gap.
fn neighboured(row: &[Stretch], k: usize, to_left: bool) -> bool {
    let gap = if to_left {
        row.get(k + 1).map(|n| n.ends[0] - row[k].ends[1])
    } else {
        k.checked_sub(1).map(|j| row[k].ends[0] - row[j].ends[1])
    };
    gap.is_some_and(|g| g <= 2.0)
}
