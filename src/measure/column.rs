//! Quantity: heights of a surface over a footprint, and the least gap between two surfaces over it.
//!
//! Definition: a footprint is a convex polygon in the plane across an axis; the column is everything over and under
//! it. The least and greatest height of a surface in the column, along the axis, and the least difference of height
//! between two surfaces at the same place of the plan.
//!
//! Frame and units: heights are along the axis, mm, from the footprint's centre.
//!
//! Method and its error: triangles are clipped to the footprint, and for the gap to each other; a height on a triangle
//! is linear, so its extremes lie at the corners of what is left. Exact to 1e-9 mm of the mesh, without sampling.
//!
//! Not covered: triangles that are seen edge-on bound heights, but not the gap, which their neighbours give.
//!
//! Checked by: plates and ridges below, in `site_room` and in `rest_room`.

use crate::locate::Surface;
use crate::space::{Direction, Motion, Plane, Point, Vector};

/// A corner of a clipped triangle: two coordinates in the plan, then the height, mm.
type Corner = [f64; 3];

/// A convex footprint with its axes.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    centre: Point,
    axes: [Vector; 2],
    up: Direction,
    /// Corners in the plan, counter-clockwise seen from above.
    outline: Vec<[f64; 2]>,
}

/// Least and greatest height in a column.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Heights {
    /// Least height, mm.
    pub least_mm: f64,
    /// Greatest height, mm.
    pub greatest_mm: f64,
    /// Where the least is, mm.
    pub least_at: Point,
    /// Where the greatest is, mm.
    pub greatest_at: Point,
    /// Share of the footprint over which there is surface, 0 to 1.
    pub covered: f64,
}

/// The least gap in a column.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeastGap {
    /// Gap, mm; negative where the surfaces overlap.
    pub mm: f64,
    /// Its place on the lower surface, mm.
    pub at: Point,
}

impl Column {
    /// A rectangle around `centre`, its length along `along`, which is made square to `up`. `None` where `along` has no
    /// direction across `up` or a side is not positive.
    pub fn rectangle(
        centre: Point,
        up: Direction,
        along: &Vector,
        length_mm: f64,
        width_mm: f64,
    ) -> Option<Column> {
        let flat = crate::space::direction(along - up.into_inner() * along.dot(&up))?.into_inner();
        let (x, y) = (length_mm / 2.0, width_mm / 2.0);
        let outline = vec![[-x, -y], [x, -y], [x, y], [-x, y]];
        (x > 0.0 && y > 0.0).then(|| Column { centre, axes: [flat, up.cross(&flat)], up, outline })
    }

    /// A disc around `centre`: a polygon of 32 corners on the circle.
    pub fn disc(centre: Point, up: Direction, radius_mm: f64) -> Column {
        let (u, v) = crate::space::across(&up);
        let outline = (0..32)
            .map(|k| std::f64::consts::TAU * f64::from(k) / 32.0)
            .map(|a| [radius_mm * crate::space::cos(a), radius_mm * crate::space::sin(a)])
            .collect();
        Column { centre, axes: [u, v], up, outline }
    }

    /// The column after a motion.
    pub fn moved(&self, motion: &Motion) -> Column {
        Column {
            centre: motion * self.centre,
            axes: self.axes.map(|a| motion * a),
            up: Direction::new_unchecked(motion * self.up.into_inner()),
            outline: self.outline.clone(),
        }
    }

    /// Centre of the footprint, mm.
    pub fn centre(&self) -> Point {
        self.centre
    }

    /// The axes of the plan.
    pub fn axes(&self) -> &[Vector; 2] {
        &self.axes
    }

    /// Area of the footprint, mm2.
    pub fn area_mm2(&self) -> f64 {
        plan_area(self.outline.iter().copied())
    }

    /// Coordinates in the plan and height of a position, mm.
    pub fn local(&self, p: &Point) -> [f64; 3] {
        let v = p - self.centre;
        [v.dot(&self.axes[0]), v.dot(&self.axes[1]), v.dot(&self.up)]
    }

    fn world(&self, c: &Corner) -> Point {
        self.centre + self.axes[0] * c[0] + self.axes[1] * c[1] + self.up.into_inner() * c[2]
    }

    /// Walls of the column moved outward by `margin_mm`, normals outward.
    fn walls(&self, margin_mm: f64) -> Vec<Plane> {
        let n = self.outline.len();
        (0..n)
            .filter_map(|k| {
                let (a, b) = (self.outline[k], self.outline[(k + 1) % n]);
                let out = self.axes[0] * (b[1] - a[1]) - self.axes[1] * (b[0] - a[0]);
                let normal = crate::space::direction(out)?;
                let point = self.world(&[a[0], a[1], 0.0]) + normal.into_inner() * margin_mm;
                Some(Plane { point, normal })
            })
            .collect()
    }

    /// Corners of the triangles of `surface` that may reach within `margin_mm` of the column.
    pub fn triangles(&self, surface: &Surface, margin_mm: f64) -> Vec<[Point; 3]> {
        let faces = surface.faces_within(&self.walls(margin_mm));
        faces.into_iter().map(|f| surface.mesh().corners(f)).collect()
    }

    /// Whether a triangle lies wholly beyond one side of a rectangle: [`Column::clip`] would leave nothing of it.
    fn is_beside(&self, triangle: &[Point; 3]) -> bool {
        let [_, _, reach, _] = self.outline[..] else { return false };
        (0..2).any(|k| {
            let at = triangle.each_ref().map(|p| (p - self.centre).dot(&self.axes[k]));
            at.iter().all(|a| *a > reach[k]) || at.iter().all(|a| *a < -reach[k])
        })
    }

    /// Leaves in `piece` what of the triangle lies in the column.
    fn clip(&self, corners: &[Corner; 3], piece: &mut Piece) {
        let n = self.outline.len();
        let sides = (0..n).map(|k| (self.outline[k], self.outline[(k + 1) % n]));
        // Most triangles lie wholly beyond one side, or within all of them.
        let mut within = true;
        for (a, b) in sides.clone() {
            let left = corners.each_ref().map(|c| left_of(a, b, c));
            if left.iter().all(|l| *l < 0.0) {
                piece.now.clear();
                return;
            }
            within &= left.iter().all(|l| *l >= 0.0);
        }
        piece.set(corners);
        if !within {
            sides.for_each(|(a, b)| piece.cut(a, b));
        }
    }

    /// Heights of those of `triangles` that lie in the column; `None` where none does. Heights under `above_mm` do
    /// not count.
    pub fn heights(&self, triangles: &[[Point; 3]], above_mm: f64) -> Option<Heights> {
        let (mut least, mut greatest) = ([0.0, 0.0, f64::INFINITY], [0.0, 0.0, f64::NEG_INFINITY]);
        let (mut up, mut down) = (0.0, 0.0);
        let mut piece = Piece::default();
        for triangle in triangles.iter().filter(|t| !self.is_beside(t)) {
            self.clip(&triangle.each_ref().map(|p| self.local(p)), &mut piece);
            for c in piece.now.iter().filter(|c| c[2] >= above_mm) {
                if c[2] < least[2] {
                    least = *c;
                }
                if c[2] > greatest[2] {
                    greatest = *c;
                }
            }
            if piece.now.iter().any(|c| c[2] >= above_mm) {
                let area = plan_area(piece.now.iter().map(|c| [c[0], c[1]]));
                *(if area > 0.0 { &mut up } else { &mut down }) += area.abs();
            }
        }
        // One layer of surface faces up or down as a whole; a second layer under it must not count as cover.
        let covered = (f64::max(up, down) / self.area_mm2()).min(1.0);
        (least[2] <= greatest[2]).then(|| Heights {
            least_mm: least[2],
            greatest_mm: greatest[2],
            least_at: self.world(&least),
            greatest_at: self.world(&greatest),
            covered,
        })
    }

    /// Least height of `upper` over `lower` at the same place of the plan. Differences under `above_mm` do not count.
    pub fn least_gap(&self, lower: &[[Point; 3]], upper: &[[Point; 3]], above_mm: f64) -> Option<LeastGap> {
        let upper: Vec<Flat> =
            upper.iter().filter_map(|t| Flat::new(t.each_ref().map(|p| self.local(p)))).collect();
        let grid = Buckets::new(&upper);
        let mut best: Option<(f64, Corner)> = None;
        let (mut inside, mut common) = (Piece::default(), Piece::default());
        for triangle in lower {
            self.clip(&triangle.each_ref().map(|p| self.local(p)), &mut inside);
            for k in grid.near(&inside.now) {
                let over = &upper[k as usize];
                common.now.clone_from(&inside.now);
                for side in 0..3 {
                    let (a, b) = (over.corners[side], over.corners[(side + 1) % 3]);
                    common.cut([a[0], a[1]], [b[0], b[1]]);
                }
                for c in &common.now {
                    let gap = over.height(c) - c[2];
                    if gap >= above_mm && best.is_none_or(|b| gap < b.0) {
                        best = Some((gap, *c));
                    }
                }
            }
        }
        best.map(|(mm, c)| LeastGap { mm, at: self.world(&c) })
    }
}

/// Signed area of a polygon in the plan, positive counter-clockwise.
fn plan_area(mut corners: impl Iterator<Item = [f64; 2]>) -> f64 {
    let Some(first) = corners.next() else { return 0.0 };
    let (mut sum, mut last) = (0.0, [0.0, 0.0]);
    for c in corners {
        let v = [c[0] - first[0], c[1] - first[1]];
        sum += last[0] * v[1] - last[1] * v[0];
        last = v;
    }
    sum / 2.0
}

/// Positive where a corner lies on the left of the line from `a` to `b` in the plan.
fn left_of(a: [f64; 2], b: [f64; 2], c: &Corner) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

/// A polygon that is being cut, with room for the next one.
#[derive(Clone, Debug, Default)]
struct Piece {
    now: Vec<Corner>,
    next: Vec<Corner>,
}

impl Piece {
    fn set(&mut self, corners: &[Corner; 3]) {
        self.now.clear();
        self.now.extend_from_slice(corners);
    }

    /// Keeps what lies on the left of the line from `a` to `b` in the plan, the line included.
    fn cut(&mut self, a: [f64; 2], b: [f64; 2]) {
        let side = |c: &Corner| left_of(a, b, c);
        if self.now.iter().all(|c| side(c) >= 0.0) {
            return;
        }
        self.next.clear();
        let n = self.now.len();
        for k in 0..n {
            let (p, q) = (self.now[k], self.now[(k + 1) % n]);
            let (sp, sq) = (side(&p), side(&q));
            if sp >= 0.0 {
                self.next.push(p);
            }
            if (sp < 0.0) != (sq < 0.0) && sp != 0.0 && sq != 0.0 {
                let t = sp / (sp - sq);
                self.next.push(std::array::from_fn(|k| p[k] + (q[k] - p[k]) * t));
            }
        }
        std::mem::swap(&mut self.now, &mut self.next);
    }
}

/// A triangle as a height over the plan.
struct Flat {
    /// Counter-clockwise.
    corners: [Corner; 3],
    slope: [f64; 2],
}

impl Flat {
    /// `None` for a triangle that is seen edge-on.
    fn new([a, mut b, mut c]: [Corner; 3]) -> Option<Flat> {
        let doubled = |b: &Corner, c: &Corner| (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
        if doubled(&b, &c) < 0.0 {
            std::mem::swap(&mut b, &mut c);
        }
        let area = doubled(&b, &c);
        let (hb, hc) = (b[2] - a[2], c[2] - a[2]);
        let slope = [
            (hb * (c[1] - a[1]) - hc * (b[1] - a[1])) / area,
            (hc * (b[0] - a[0]) - hb * (c[0] - a[0])) / area,
        ];
        (area > 1e-12).then_some(Flat { corners: [a, b, c], slope })
    }

    fn height(&self, c: &Corner) -> f64 {
        let a = &self.corners[0];
        a[2] + self.slope[0] * (c[0] - a[0]) + self.slope[1] * (c[1] - a[1])
    }
}

/// Triangles by strips of the plan, so that only those near a piece are cut with it.
struct Buckets {
    low: f64,
    step: f64,
    strips: Vec<Vec<u32>>,
    extents: Vec<[f64; 4]>,
}

fn extent(corners: &[Corner]) -> [f64; 4] {
    corners.iter().fold([f64::INFINITY, f64::NEG_INFINITY, f64::INFINITY, f64::NEG_INFINITY], |e, c| {
        [e[0].min(c[0]), e[1].max(c[0]), e[2].min(c[1]), e[3].max(c[1])]
    })
}

impl Buckets {
    const STRIPS: usize = 32;

    fn new(flats: &[Flat]) -> Buckets {
        let extents: Vec<[f64; 4]> = flats.iter().map(|f| extent(&f.corners)).collect();
        let low = extents.iter().fold(f64::INFINITY, |l, e| l.min(e[0]));
        let high = extents.iter().fold(f64::NEG_INFINITY, |h, e| h.max(e[1]));
        let step = ((high - low) / Self::STRIPS as f64).max(1e-9);
        let mut grid = Buckets { low, step, strips: vec![Vec::new(); Self::STRIPS], extents };
        for k in 0..grid.extents.len() {
            for s in grid.strip(grid.extents[k][0])..=grid.strip(grid.extents[k][1]) {
                grid.strips[s].push(k as u32);
            }
        }
        grid
    }

    fn strip(&self, x: f64) -> usize {
        // A float cast saturates, so a place before the first strip is strip 0.
        (((x - self.low) / self.step) as usize).min(Self::STRIPS - 1)
    }

    /// Triangles whose extent meets that of `corners`, each once.
    fn near(&self, corners: &[Corner]) -> Vec<u32> {
        if corners.is_empty() || self.extents.is_empty() {
            return Vec::new();
        }
        let e = extent(corners);
        let mut found = Vec::new();
        let first = self.strip(e[0]);
        for s in first..=self.strip(e[1]) {
            for &k in &self.strips[s] {
                let o = &self.extents[k as usize];
                let new = s == self.strip(o[0]).max(first);
                if new && o[0] <= e[1] && o[1] >= e[0] && o[2] <= e[3] && o[3] >= e[2] {
                    found.push(k);
                }
            }
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::shapes::{sheet, sphere, up};

    fn square(side: f64) -> Column {
        Column::rectangle(Point::new(0.1, -0.2, 1.0), up(), &Vector::x(), side, side).unwrap()
    }

    #[test]
    fn what_lies_beside_a_rectangle_is_what_clipping_leaves_nothing_of() {
        let column = square(3.0);
        let slope = Surface::new(&sheet(20.0, 0.37, true, |x, y| 0.5 * x - 0.25 * y));
        let (mut beside, mut piece) = (0, Piece::default());
        for f in 0..slope.mesh().faces().len() as u32 {
            let triangle = slope.mesh().corners(f);
            column.clip(&triangle.each_ref().map(|p| column.local(p)), &mut piece);
            if column.is_beside(&triangle) {
                beside += 1;
                assert!(piece.now.is_empty(), "{triangle:?}");
            }
        }
        assert!(beside > 2000 && beside < slope.mesh().faces().len(), "{beside}");
    }

    #[test]
    fn heights_of_a_slope_are_those_at_the_footprints_rim() {
        let slope = Surface::new(&sheet(20.0, 0.37, true, |x, y| 0.5 * x - 0.25 * y));
        let column = square(3.0);
        let h = column.heights(&column.triangles(&slope, 0.0), f64::NEG_INFINITY).unwrap();
        let middle = 0.5 * 0.1 + 0.25 * 0.2 - 1.0;
        assert!((h.greatest_mm - (middle + 0.75 * 1.5)).abs() < 1e-9);
        assert!((h.least_mm - (middle - 0.75 * 1.5)).abs() < 1e-9);
        assert!((h.covered - 1.0).abs() < 1e-9);
        assert!((h.greatest_at - Point::new(1.6, -1.7, 0.5 * 1.6 + 0.25 * 1.7)).norm() < 1e-9);
    }

    #[test]
    fn a_plate_over_half_of_the_footprint_covers_half() {
        let half = Surface::new(
            &sheet(20.0, 0.5, false, |_, _| 4.0).moved(&crate::space::Motion::translation(10.1, 0.0, 0.0)),
        );
        let column = square(3.0);
        let h = column.heights(&column.triangles(&half, 0.0), f64::NEG_INFINITY).unwrap();
        assert!((h.covered - 0.5).abs() < 1e-9 && (h.least_mm - 3.0).abs() < 1e-12);
        let away = Column::rectangle(Point::new(-9.0, 0., 0.), up(), &Vector::x(), 1.0, 1.0).unwrap();
        assert_eq!(away.heights(&away.triangles(&half, 0.0), f64::NEG_INFINITY), None);
    }

    #[test]
    fn the_gap_of_two_ridges_that_cross_is_found_between_their_vertices() {
        // Ridge lines along the diagonals, no vertex where they cross in the plan: heights 1 and 3 there.
        let p = |x, y, z| Point::new(x, y, z);
        let lower = [
            [p(-2., -2., 1.), p(2., 2., 1.), p(-2., 2., 0.)],
            [p(-2., -2., 1.), p(2., -2., 0.), p(2., 2., 1.)],
        ];
        let upper = [
            [p(-2., 2., 3.), p(2., -2., 3.), p(2., 2., 5.)],
            [p(-2., 2., 3.), p(-2., -2., 5.), p(2., -2., 3.)],
        ];
        let column = Column::disc(Point::origin(), up(), 1.0);
        let gap = column.least_gap(&lower, &upper, f64::NEG_INFINITY).unwrap();
        assert!((gap.mm - 2.0).abs() < 1e-12 && (gap.at - p(0., 0., 1.)).norm() < 1e-12, "{gap:?}");
    }

    #[test]
    fn the_gap_under_a_sphere_is_its_lowest_point() {
        let ball = Surface::new(&sphere(Point::new(0., 0., 7.0), 4.0, 0.15));
        let floor = Surface::new(&sheet(8.0, 0.29, true, |_, _| 0.5));
        let column = Column::disc(Point::origin(), up(), 1.25);
        let gap =
            column.least_gap(&column.triangles(&floor, 0.0), &column.triangles(&ball, 0.0), -10.0).unwrap();
        assert!((gap.mm - 2.5).abs() < 1e-9, "{gap:?}");
    }
}
