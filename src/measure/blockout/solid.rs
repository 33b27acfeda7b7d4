//! The block-out as a closed surface: the dead intervals of neighbouring columns joined to sheets with upright walls.

use super::columns::{Columns, Interval};
use crate::measure::joined::Joined;
use crate::mesh::Mesh;
use crate::space::Point;

/// Thinner intervals are left out of the solid, mm.
const THINNEST_MM: f64 = 0.01;
/// Share of the volume that loose specks may have to be left out.
const SPECKS: f64 = 0.003;
/// Least volume of a speck's piece that is always kept, mm3.
const SPECK_MM3: f64 = 0.05;
/// Passes in which columns that meet in one edge from two sides are taken out.
const PASSES: usize = 12;

/// Steps to the neighbour east, north, west, south.
const STEPS: [[isize; 2]; 4] = [[1, 0], [0, 1], [-1, 0], [0, -1]];
/// Corners south-west, south-east, north-east, north-west.
const CORNERS: [[usize; 2]; 4] = [[0, 0], [1, 0], [1, 1], [0, 1]];
/// The two corners of each side, so that outside is on the right hand.
const SIDES: [[usize; 2]; 4] = [[1, 2], [2, 3], [3, 0], [0, 1]];

/// The closed surface of some intervals, facing outward; `None` where nothing is left. Wider columns make a smaller file;
/// its volume agrees with that of the intervals within about 1 %.
pub fn solid(columns: &Columns, intervals: &[Interval]) -> Option<Mesh> {
    let mut kept: Vec<Interval> =
        intervals.iter().filter(|i| i.top - i.bottom >= THINNEST_MM).copied().collect();
    kept = without_specks(columns, kept);
    for _ in 0..PASSES {
        if kept.is_empty() {
            return None;
        }
        let links = links(columns, &kept);
        let (mesh, owner) = surface(columns, &kept, &links);
        let wrong = shared_wrongly(&mesh, &owner, &kept);
        if !wrong.contains(&true) {
            return Mesh::new(mesh.0, mesh.1).ok();
        }
        let mut wrong = wrong.into_iter();
        kept.retain(|_| !wrong.next().unwrap_or(false));
    }
    None
}

type Surface = (Vec<Point>, Vec<[u32; 3]>);

/// For each interval the one that it goes over into on each side: the greatest common height, where both choose each other.
fn links(columns: &Columns, kept: &[Interval]) -> Vec<[Option<u32>; 4]> {
    let best: Vec<[Option<u32>; 4]> =
        kept.iter().map(|i| STEPS.map(|s| best_beside(columns, kept, i, s))).collect();
    (0..kept.len())
        .map(|i| {
            [0, 1, 2, 3]
                .map(|side| best[i][side].filter(|&j| best[j as usize][(side + 2) % 4] == Some(i as u32)))
        })
        .collect()
}

fn best_beside(columns: &Columns, kept: &[Interval], of: &Interval, step: [isize; 2]) -> Option<u32> {
    let [x, y] = columns.cell(of.column);
    let beside = columns.column([x.checked_add_signed(step[0])?, y.checked_add_signed(step[1])?])?;
    let first = kept.partition_point(|i| i.column < beside);
    let mut best: Option<(f64, u32)> = None;
    for (j, other) in kept.iter().enumerate().skip(first).take_while(|(_, i)| i.column == beside) {
        let common = of.top.min(other.top) - of.bottom.max(other.bottom);
        if common > 0.0 && best.is_none_or(|(most, _)| common > most) {
            best = Some((common, j as u32));
        }
    }
    best.map(|b| b.1)
}

/// Leaves out loose pieces of little volume, smallest first, as long as they sum to little.
fn without_specks(columns: &Columns, kept: Vec<Interval>) -> Vec<Interval> {
    let links = links(columns, &kept);
    let mut joined = Joined::new(kept.len());
    for (i, of) in links.iter().enumerate() {
        of.iter().flatten().for_each(|&j| joined.join(i, j as usize));
    }
    let mut volume = vec![0.0; kept.len()];
    for (i, interval) in kept.iter().enumerate() {
        volume[joined.root(i)] += columns.volume_mm3(&[*interval]);
    }
    let most = SPECKS * volume.iter().sum::<f64>();
    let mut order: Vec<usize> = (0..kept.len()).filter(|&i| joined.root(i) == i).collect();
    order.sort_by(|&a, &b| volume[a].total_cmp(&volume[b]).then(a.cmp(&b)));
    let mut left_out = vec![false; kept.len()];
    let mut sum = 0.0;
    for root in order {
        sum += volume[root];
        if sum > most || volume[root] > SPECK_MM3 {
            break;
        }
        left_out[root] = true;
    }
    (0..kept.len()).filter(|&i| !left_out[joined.root(i)]).map(|i| kept[i]).collect()
}

/// Vertices, triangles, and the interval that each triangle belongs to.
fn surface(columns: &Columns, kept: &[Interval], links: &[[Option<u32>; 4]]) -> (Surface, Vec<u32>) {
    let mut joined = Joined::new(4 * kept.len());
    for (i, of) in links.iter().enumerate() {
        // East: its south-east is the neighbour's south-west; north: its north-west is the neighbour's south-west.
        for (side, pairs) in [(0, [(1, 0), (2, 3)]), (1, [(3, 0), (2, 1)])] {
            if let Some(j) = of[side] {
                pairs.iter().for_each(|&(a, b)| joined.join(4 * i + a, 4 * j as usize + b));
            }
        }
    }
    let mut number = vec![u32::MAX; 4 * kept.len()];
    let mut posts: Vec<Post> = Vec::new();
    for slot in 0..4 * kept.len() {
        let root = joined.root(slot);
        if number[root] == u32::MAX {
            number[root] = posts.len() as u32;
            posts.push(Post::default());
        }
        number[slot] = number[root];
        let cell = columns.cell(kept[slot / 4].column);
        posts[number[slot] as usize].add([0, 1].map(|k| cell[k] + CORNERS[slot % 4][k]), &kept[slot / 4]);
    }
    let walls = walls(kept.len(), links, &number);
    let at = smoothed(&posts, &walls);
    let points = posts
        .iter()
        .zip(&at)
        .flat_map(|(post, &at)| {
            let n = f64::from(post.count.max(1));
            [columns.place(at, post.top / n), columns.place(at, post.bottom / n)]
        })
        .collect();
    let (mut faces, mut owner) = (Vec::new(), Vec::new());
    let mut quad = |i: usize, [a, b, c, d]: [u32; 4]| {
        faces.extend([[a, b, c], [a, c, d]]);
        owner.extend([i as u32; 2]);
    };
    for i in 0..kept.len() {
        let c = [0, 1, 2, 3].map(|k| 2 * number[4 * i + k]);
        quad(i, c);
        quad(i, [c[0] + 1, c[3] + 1, c[2] + 1, c[1] + 1]);
    }
    for &(i, [a, b]) in &walls {
        quad(i, [2 * a + 1, 2 * b + 1, 2 * b, 2 * a]);
    }
    ((points, faces), owner)
}

/// What meets at one corner of the columns.
#[derive(Clone, Copy, Debug, Default)]
struct Post {
    at: [f64; 2],
    top: f64,
    bottom: f64,
    count: u32,
}

impl Post {
    fn add(&mut self, corner: [usize; 2], interval: &Interval) {
        self.at = corner.map(|c| c as f64);
        self.top += interval.top;
        self.bottom += interval.bottom;
        self.count += 1;
    }
}

/// Sides without a neighbour: the interval, and the posts at both ends.
fn walls(count: usize, links: &[[Option<u32>; 4]], number: &[u32]) -> Vec<(usize, [u32; 2])> {
    let mut all = Vec::new();
    for i in 0..count {
        for side in (0..4).filter(|&s| links[i][s].is_none()) {
            all.push((i, SIDES[side].map(|k| number[4 * i + k])));
        }
    }
    all
}

/// The staircase of the walls drawn halfway to its neighbours.
fn smoothed(posts: &[Post], walls: &[(usize, [u32; 2])]) -> Vec<[f64; 2]> {
    let mut sum = vec![([0.0f64; 2], 0u32); posts.len()];
    for (_, [a, b]) in walls {
        for (of, by) in [(a, b), (b, a)] {
            let slot = &mut sum[*of as usize];
            (0..2).for_each(|k| slot.0[k] += posts[*by as usize].at[k]);
            slot.1 += 1;
        }
    }
    posts
        .iter()
        .zip(sum)
        .map(
            |(post, (sum, n))| {
                if n == 0 { post.at } else { [0, 1].map(|k| (post.at[k] + sum[k] / f64::from(n)) / 2.0) }
            },
        )
        .collect()
}

/// Intervals to be taken out so that each edge has two triangles that run along it in opposite senses.
fn shared_wrongly(mesh: &Surface, owner: &[u32], kept: &[Interval]) -> Vec<bool> {
    let mut edges: Vec<(u32, u32, u32)> = Vec::with_capacity(3 * mesh.1.len());
    for (face, &of) in mesh.1.iter().zip(owner) {
        for k in 0..3 {
            let (a, b) = (face[k], face[(k + 1) % 3]);
            edges.push((a.min(b), a.max(b), of));
        }
    }
    edges.sort_unstable();
    let mut wrong = vec![false; kept.len()];
    let thickness = |i: &u32| kept.get(*i as usize).map_or(0.0, |k| k.top - k.bottom);
    for uses in edges.chunk_by(|a, b| (a.0, a.1) == (b.0, b.1)) {
        if uses.len() != 2
            && let Some(slot) = uses
                .iter()
                .map(|u| u.2)
                .min_by(|a, b| thickness(a).total_cmp(&thickness(b)).then(a.cmp(b)))
                .and_then(|i| wrong.get_mut(i as usize))
        {
            *slot = true;
        }
    }
    wrong
}
