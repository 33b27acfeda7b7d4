//! Smooth bumps of known height laid on the lingual wall of a labelled scan, and what they changed.

use saddleroom::case::Tooth;
use saddleroom::locate::Surface;
use saddleroom::mesh::{Mesh, Topology, VertexId};
use saddleroom::phantom::field::Variety;
use saddleroom::space::{Direction, Point, Vector, direction};

/// A labelled mandible.
pub struct Scan {
    /// Its surface.
    pub mesh: Mesh,
    /// One FDI number a vertex, 0 = no tooth.
    pub labels: Vec<u8>,
    /// Out of the teeth.
    pub up: Direction,
    /// A place on the lingual side of all teeth, about at their height.
    pub inside: Point,
}

/// A cast with tori, and what is true of them.
pub struct Truth {
    /// The cast.
    pub mesh: Mesh,
    /// Summit, height over the surface without tori, mm, and which torus it belongs to.
    pub lobes: Vec<(Point, f64, usize)>,
    /// Triangles over 0.5 mm of each torus, ascending.
    pub faces: Vec<Vec<u32>>,
}

/// What a torus is to be like.
pub struct Wish {
    /// Teeth beside which it may stand.
    pub places: std::ops::RangeInclusive<u8>,
    /// Height, mm.
    pub height_mm: f64,
    /// Length, mm.
    pub length_mm: f64,
    /// Width, mm.
    pub width_mm: f64,
    /// Lobes in a row.
    pub lobes: usize,
}

/// Least distance of a torus's middle from the scan's border, mm, and of its foot from the crowns.
const CLEAR_MM: (f64, f64) = (3.0, 1.0);

/// The scan with one torus a wish, each on its side. `None` where no place is left for one.
pub fn added(scan: &Scan, wishes: &[(bool, Wish)], v: &mut Variety) -> Option<Truth> {
    let topology = Topology::new(&scan.mesh);
    let normals = smoothed_normals(&scan.mesh, &topology);
    let mut rise = vec![0.0; scan.mesh.vertices().len()];
    let mut of = vec![None; rise.len()];
    let mut tops: Vec<(Vec<VertexId>, usize)> = Vec::new();
    for (k, (left, wish)) in wishes.iter().enumerate() {
        let seat = place(scan, &topology, &normals, (*left, wish), v)?;
        let bumps = bumps(wish, v);
        let n = normals[seat as usize];
        let across = (scan.up.into_inner() - n * scan.up.dot(&n)).try_normalize(1e-6)?;
        let along = n.cross(&across);
        let at = scan.mesh.vertex(seat);
        let mut best: Vec<(f64, VertexId)> = vec![(0.0, seat); bumps.len()];
        for i in 0..rise.len() {
            let off = scan.mesh.vertices()[i] - at;
            if off.norm() > wish.length_mm || normals[i].dot(&n) < 0.1 || scan.labels[i] != 0 {
                continue;
            }
            let mut here: f64 = 0.0;
            for (b, bump) in bumps.iter().enumerate() {
                let h = bump.height(off.dot(&along), off.dot(&across));
                if h > best[b].0 {
                    best[b] = (h, i as u32);
                }
                here = here.max(h);
            }
            if here > rise[i] {
                rise[i] = here;
                of[i] = Some(k);
            }
        }
        tops.push((best.into_iter().map(|b| b.1).collect(), k));
    }
    let places: Vec<Point> =
        (0..rise.len()).map(|i| scan.mesh.vertices()[i] + normals[i] * rise[i]).collect();
    let mesh = Mesh::new(places, scan.mesh.faces().to_vec()).ok()?;
    let before = Surface::new(&scan.mesh);
    let height = |p: &Point| before.closest(p).map_or(0.0, |c| c.distance_mm);
    let lobes = tops
        .iter()
        .flat_map(|(tops, k)| tops.iter().map(move |&t| (t, *k)))
        .map(|(t, k)| (mesh.vertex(t), height(&mesh.vertex(t)), k))
        .collect();
    let mut faces = vec![Vec::new(); wishes.len()];
    for (f, corners) in mesh.faces().iter().enumerate() {
        if let Some(k) = corners.iter().find_map(|&c| of[c as usize])
            && height(&mesh.face_centre(f as u32)) > 0.5
        {
            faces[k].push(f as u32);
        }
    }
    Some(Truth { mesh, lobes, faces })
}

/// One lobe: where its middle stands along the torus, its half extents, how it ends.
struct Bump {
    at: f64,
    half: [f64; 2],
    height_mm: f64,
    lean: f64,
    square: bool,
}

impl Bump {
    fn height(&self, along: f64, across: f64) -> f64 {
        let (x, y) =
            ((along - self.at) / self.half[0], (across - self.lean * (along - self.at)) / self.half[1]);
        let left = (1.0 - x * x - y * y).max(0.0);
        self.height_mm * if self.square { left * (2.0 - left) } else { left * left }
    }
}

fn bumps(wish: &Wish, v: &mut Variety) -> Vec<Bump> {
    let n = wish.lobes as f64;
    let lean = 0.3 * v.even();
    (0..wish.lobes)
        .map(|i| Bump {
            at: wish.length_mm * ((i as f64 + 0.5) / n - 0.5),
            half: [0.5 * wish.length_mm / n * if wish.lobes > 1 { 1.15 } else { 1.0 }, 0.5 * wish.width_mm],
            height_mm: wish.height_mm * if i == 0 { 1.0 } else { 0.9 + 0.1 * v.even() },
            lean,
            square: v.even() > 0.3,
        })
        .collect()
}

/// A vertex of the lingual wall beside a tooth of the wish, by chance.
fn place(
    scan: &Scan,
    topology: &Topology,
    normals: &[Vector],
    (left, wish): (bool, &Wish),
    v: &mut Variety,
) -> Option<VertexId> {
    let mesh = &scan.mesh;
    let beside = |l: u8| {
        let t = Tooth::fdi(l);
        t.is_some_and(|t| (t.along() > 0) == left && wish.places.contains(&t.place()))
    };
    let teeth: Vec<(Point, bool)> = (0..mesh.vertices().len())
        .filter(|&i| scan.labels[i] != 0)
        .map(|i| (mesh.vertices()[i], beside(scan.labels[i])))
        .collect();
    let border: Vec<Point> = topology.border_loops(mesh).iter().flatten().map(|&b| mesh.vertex(b)).collect();
    let far = (0.5 * wish.width_mm + CLEAR_MM.0, 0.5 * wish.width_mm + CLEAR_MM.1);
    let mut good = Vec::new();
    for i in 0..mesh.vertices().len() {
        let (p, n) = (mesh.vertices()[i], normals[i]);
        // A lingual wall: it looks inward and is steep.
        if scan.labels[i] != 0 || n.dot(&(scan.inside - p).normalize()) < 0.3 || n.dot(&scan.up).abs() > 0.75
        {
            continue;
        }
        let nearest = teeth.iter().map(|(q, own)| ((q - p).norm(), *own)).min_by(|a, b| a.0.total_cmp(&b.0));
        let Some((tooth, true)) = nearest else { continue };
        let border = border.iter().map(|b| (b - p).norm()).fold(f64::INFINITY, f64::min);
        if tooth > far.1 && tooth < far.1 + 3.0 && border > far.0 {
            good.push(i as u32);
        }
    }
    let k = v.bits() as usize;
    (!good.is_empty()).then(|| good[k % good.len()])
}

/// Vertex normals averaged over some rounds of neighbours, so that a bump on rough gingiva stays smooth.
fn smoothed_normals(mesh: &Mesh, topology: &Topology) -> Vec<Vector> {
    let mut normals = mesh.vertex_normals().to_vec();
    for _ in 0..8 {
        normals = (0..normals.len())
            .map(|i| {
                let sum = topology
                    .neighbours(mesh, i as u32)
                    .iter()
                    .fold(normals[i], |s, &w| s + normals[w as usize]);
                direction(sum).map_or(normals[i], |d| d.into_inner())
            })
            .collect();
    }
    normals
}
