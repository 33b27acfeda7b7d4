//! Stills of a cast: orthographic, shaded, coloured by value, with scale bar, colour bar and labels, as PNG.
//!
//! Drawn here in plain arithmetic, so that the same cast gives the same bytes on every machine.

mod canvas;
mod glyphs;
mod raster;

use canvas::Canvas;

use super::colour::{Rgb, Scale, cividis};
use crate::mesh::Mesh;
use crate::space::{Direction, Point, Vector, direction};
use crate::units;

/// Where a still is taken from.
#[derive(Clone, Copy, Debug)]
pub struct View {
    /// From the cast to the eye.
    pub eye: Direction,
    /// Up in the picture; need not be square to `eye`.
    pub up: Vector,
}

/// A label at a place of the cast, of digits and the letters `L` and `R`.
#[derive(Clone, Debug)]
pub struct Label {
    /// Where.
    pub at: Point,
    /// What.
    pub text: String,
}

/// What a still shows.
#[derive(Clone, Debug)]
pub struct Still<'a> {
    /// The cast.
    pub mesh: &'a Mesh,
    /// Colour of each vertex.
    pub colours: &'a [Rgb],
    /// Where it is seen from.
    pub view: View,
    /// Lines on the surface, such as the survey line, mm.
    pub lines: &'a [Vec<Point>],
    /// Places on the surface, such as gauge points.
    pub spots: &'a [Point],
    /// Labels, such as tooth numbers.
    pub labels: &'a [Label],
    /// Scale of the colours, mm, where they stand for a length.
    pub scale: Option<Scale>,
}

/// Size of a still, pixels.
const WIDTH: usize = 960;
const HEIGHT: usize = 720;
/// Samples a pixel, each way.
const FINE: usize = 2;
const INK: Rgb = [30, 30, 34];
const PAPER: Rgb = [255, 255, 255];

/// Draws a still as PNG. `None` for a cast without triangles or a view along its own up.
pub fn png(still: &Still<'_>) -> Option<Vec<u8>> {
    let camera = Camera::around(still)?;
    let mut fine = raster::Raster::new(WIDTH * FINE, HEIGHT * FINE, PAPER);
    raster::surface(&mut fine, still, &camera);
    raster::lines(&mut fine, still.lines, &camera, INK);
    raster::spots(&mut fine, still.spots, &camera, (INK, PAPER));
    let mut canvas = Canvas::shrunk(&fine, FINE);
    for label in still.labels {
        let (x, y, _) = camera.project(&label.at);
        canvas.label(x / FINE as f64, y / FINE as f64, &label.text, INK, PAPER);
    }
    scale_bar(&mut canvas, camera.pixels_in_mm / FINE as f64);
    if let Some(scale) = &still.scale {
        colour_bar(&mut canvas, scale);
    }
    canvas.png()
}

/// Maps positions to fine pixels and depth.
pub(super) struct Camera {
    eye: Vector,
    right: Vector,
    up: Vector,
    middle: (f64, f64),
    pixels_in_mm: f64,
}

impl Camera {
    fn around(still: &Still<'_>) -> Option<Camera> {
        let eye = still.view.eye.into_inner();
        let up = direction(still.view.up - eye * still.view.up.dot(&eye))?.into_inner();
        let right = up.cross(&eye);
        let first = still.mesh.vertices().first()?;
        let start = (first.coords.dot(&right), first.coords.dot(&up));
        let (mut low, mut high) = (start, start);
        for p in still.mesh.vertices() {
            let (x, y) = (p.coords.dot(&right), p.coords.dot(&up));
            low = (low.0.min(x), low.1.min(y));
            high = (high.0.max(x), high.1.max(y));
        }
        let (wide, tall) = ((high.0 - low.0).max(1e-6), (high.1 - low.1).max(1e-6));
        let room = (0.76 * (WIDTH * FINE) as f64, 0.84 * (HEIGHT * FINE) as f64);
        let middle = ((low.0 + high.0) / 2.0, (low.1 + high.1) / 2.0);
        Some(Camera { eye, right, up, middle, pixels_in_mm: (room.0 / wide).min(room.1 / tall) })
    }

    /// Fine pixel (x right, y down) and depth (larger is nearer).
    fn project(&self, p: &Point) -> (f64, f64, f64) {
        let x =
            (p.coords.dot(&self.right) - self.middle.0) * self.pixels_in_mm + 0.44 * (WIDTH * FINE) as f64;
        let y = (self.middle.1 - p.coords.dot(&self.up)) * self.pixels_in_mm + 0.47 * (HEIGHT * FINE) as f64;
        (x, y, p.coords.dot(&self.eye))
    }
}

fn scale_bar(canvas: &mut Canvas, pixels_in_mm: f64) {
    let length_mm = [10.0, 5.0, 2.0, 1.0, 0.5].into_iter().find(|mm| mm * pixels_in_mm < 0.4 * WIDTH as f64);
    let Some(length_mm) = length_mm else { return };
    let (x, y) = (24, HEIGHT - 24);
    let end = x + (length_mm * pixels_in_mm) as usize;
    canvas.fill(x, y, end, y + 3, INK);
    canvas.fill(x, y - 5, x + 2, y + 3, INK);
    canvas.fill(end - 2, y - 5, end, y + 3, INK);
    let places = usize::from(length_mm < 1.0);
    canvas.text(x, y - 24, &format!("{} mm", units::digits(length_mm, places)), INK);
}

fn colour_bar(canvas: &mut Canvas, scale: &Scale) {
    let (x, top, height) = (WIDTH - 108, 60, HEIGHT - 180);
    for row in 0..height {
        let share = 1.0 - row as f64 / (height - 1) as f64;
        canvas.fill(x, top + row, x + 18, top + row + 1, cividis(share));
    }
    for tick in 0..=4_u8 {
        let share = f64::from(tick) / 4.0;
        let y = top + ((1.0 - share) * (height - 1) as f64) as usize;
        canvas.fill(x + 18, y, x + 24, y + 1, INK);
        let value = scale.least + share * (scale.most - scale.least);
        let places = if scale.most - scale.least > 4.0 { 1 } else { 2 };
        canvas.text(x + 30, y.saturating_sub(7), &units::digits(value, places), INK);
    }
    canvas.text(x, top - 26, "mm", INK);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_still_of_a_square_shows_its_colour_in_the_middle() {
        let p = |x, y| Point::new(x, y, 0.0);
        let mesh =
            Mesh::new(vec![p(0., 0.), p(40., 0.), p(40., 30.), p(0., 30.)], vec![[0, 1, 2], [0, 2, 3]])
                .unwrap();
        let view = View { eye: Direction::new_normalize(Vector::z()), up: Vector::y() };
        let colours = [[200, 100, 50]; 4];
        let still = Still {
            mesh: &mesh,
            colours: &colours,
            view,
            lines: &[],
            spots: &[],
            labels: &[],
            scale: Some(Scale::UNDERCUT),
        };
        let bytes = png(&still).unwrap();
        let mut reader = png::Decoder::new(std::io::Cursor::new(&bytes)).read_info().unwrap();
        let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
        reader.next_frame(&mut pixels).unwrap();
        let at = |x: usize, y: usize| &pixels[3 * (y * WIDTH + x)..3 * (y * WIDTH + x) + 3];
        let middle = at(WIDTH * 44 / 100, HEIGHT * 47 / 100);
        assert!(middle[0] > middle[1] && middle[1] > middle[2], "{middle:?}");
        assert_eq!(at(2, 2), PAPER);
        assert_eq!(png(&still).unwrap(), bytes);
        let along_up = View { eye: Direction::new_normalize(Vector::y()), up: Vector::y() };
        assert!(png(&Still { view: along_up, ..still }).is_none());
    }
}
