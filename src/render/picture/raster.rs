//! Triangles and lines into fine pixels, the nearest surface in front.

use super::super::colour::Rgb;
use super::{Camera, Still};
use crate::space::{Point, Vector, count_from};

/// Fine pixels with their depth.
pub(super) struct Raster {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) pixels: Vec<Rgb>,
    depth: Vec<f64>,
}

impl Raster {
    pub(super) fn new(width: usize, height: usize, paper: Rgb) -> Raster {
        Raster {
            width,
            height,
            pixels: vec![paper; width * height],
            depth: vec![f64::NEG_INFINITY; width * height],
        }
    }

    /// Draws a pixel where nothing nearer than `z` stands.
    fn put(&mut self, x: usize, y: usize, z: f64, colour: Rgb) {
        self.put_with(x, y, z, || colour);
    }

    /// The same; the colour is asked for only where it is seen.
    fn put_with(&mut self, x: usize, y: usize, z: f64, colour: impl FnOnce() -> Rgb) {
        let index = y * self.width + x;
        if let (Some(depth), Some(pixel)) = (self.depth.get_mut(index), self.pixels.get_mut(index))
            && z > *depth
        {
            *depth = z;
            *pixel = colour();
        }
    }
}

struct Corner {
    x: f64,
    y: f64,
    z: f64,
    colour: [f64; 3],
}

/// Draws the whole surface.
pub(super) fn surface(raster: &mut Raster, still: &Still<'_>, camera: &Camera) {
    let normals = still.mesh.vertex_normals();
    let light = (camera.eye * 1.0 + camera.up * 0.55 - camera.right * 0.45).normalize();
    let corners: Vec<Corner> = still
        .mesh
        .vertices()
        .iter()
        .enumerate()
        .map(|(v, p)| {
            let (x, y, z) = camera.project(p);
            let base = still.colours.get(v).copied().unwrap_or([176; 3]);
            let shade = normals.get(v).map_or(0.7, |n| shade(n, &light, &camera.eye));
            Corner { x, y, z, colour: base.map(|c| f64::from(c) * shade) }
        })
        .collect();
    for face in still.mesh.faces() {
        let [Some(a), Some(b), Some(c)] = face.map(|v| corners.get(v as usize)) else { continue };
        triangle(raster, a, b, c);
    }
}

/// Brightness: a surface that shows its inner side is darker.
fn shade(normal: &Vector, light: &Vector, eye: &Vector) -> f64 {
    if normal.dot(eye) < -0.05 {
        return 0.38 + 0.20 * (-normal.dot(light)).max(0.0);
    }
    0.42 + 0.58 * normal.dot(light).max(0.0)
}

fn triangle(raster: &mut Raster, a: &Corner, b: &Corner, c: &Corner) {
    let area = (b.x - a.x) * (c.y - a.y) - (c.x - a.x) * (b.y - a.y);
    if area.abs() < 1e-12 {
        return;
    }
    // Pixels whose middles lie between the extremes, with a little over for what the shares of the corners round.
    let first = |low: f64, most: usize| count_from(low - 0.5 - 1e-6).min(most);
    let behind = |high: f64, most: usize| {
        let last = high - 0.5 + 1e-6;
        if last >= 0.0 { (last as usize).saturating_add(1).min(most) } else { 0 }
    };
    let (x0, x1) = (first(a.x.min(b.x).min(c.x), raster.width), behind(a.x.max(b.x).max(c.x), raster.width));
    let (y0, y1) =
        (first(a.y.min(b.y).min(c.y), raster.height), behind(a.y.max(b.y).max(c.y), raster.height));
    // A share is negative where its part of the area is of the other sign than the whole.
    let other_sign = |part: f64| if area > 0.0 { part < 0.0 } else { part > 0.0 };
    for y in y0..y1 {
        for x in x0..x1 {
            let (px, py) = (x as f64 + 0.5, y as f64 + 0.5);
            let of_a = (b.x - px) * (c.y - py) - (c.x - px) * (b.y - py);
            let of_b = (c.x - px) * (a.y - py) - (a.x - px) * (c.y - py);
            if other_sign(of_a) || other_sign(of_b) {
                continue;
            }
            let (wa, wb) = (of_a / area, of_b / area);
            let wc = 1.0 - wa - wb;
            if wc < 0.0 {
                continue;
            }
            let z = wa * a.z + wb * b.z + wc * c.z;
            raster.put_with(x, y, z, || {
                [0, 1, 2]
                    .map(|k| (wa * a.colour[k] + wb * b.colour[k] + wc * c.colour[k]).clamp(0.0, 255.0) as u8)
            });
        }
    }
}

/// Draws lines that lie on the surface, a little in front of it.
pub(super) fn lines(raster: &mut Raster, lines: &[Vec<Point>], camera: &Camera, ink: Rgb) {
    const LIFT_MM: f64 = 0.15;
    for line in lines {
        for pair in line.windows(2) {
            let (a, b) = (camera.project(&pair[0]), camera.project(&pair[1]));
            let steps = (b.0 - a.0).abs().max((b.1 - a.1).abs()).ceil().clamp(1.0, 8000.0);
            for i in 0..=steps as usize {
                let t = i as f64 / steps;
                let (x, y) = (a.0 + (b.0 - a.0) * t, a.1 + (b.1 - a.1) * t);
                let z = a.2 + (b.2 - a.2) * t + LIFT_MM;
                dot(raster, x, y, z, ink);
            }
        }
    }
}

/// Draws places that lie on the surface as discs with a light rim.
pub(super) fn spots(raster: &mut Raster, spots: &[Point], camera: &Camera, (ink, rim): (Rgb, Rgb)) {
    const LIFT_MM: f64 = 0.4;
    const RADIUS: i64 = 7;
    for spot in spots {
        let (x, y, z) = camera.project(spot);
        for dy in -RADIUS..=RADIUS {
            for dx in -RADIUS..=RADIUS {
                let far = dx * dx + dy * dy;
                if far > RADIUS * RADIUS {
                    continue;
                }
                let (px, py) = (x + dx as f64, y + dy as f64);
                if px >= 0.0 && py >= 0.0 && px < raster.width as f64 && py < raster.height as f64 {
                    let paint = if far > (RADIUS - 2) * (RADIUS - 2) { rim } else { ink };
                    raster.put(px as usize, py as usize, z + LIFT_MM, paint);
                }
            }
        }
    }
}

fn dot(raster: &mut Raster, x: f64, y: f64, z: f64, ink: Rgb) {
    for (dx, dy) in [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)] {
        let (x, y) = (x + dx, y + dy);
        if x >= 0.0 && y >= 0.0 && x < raster.width as f64 && y < raster.height as f64 {
            raster.put(x as usize, y as usize, z, ink);
        }
    }
}
