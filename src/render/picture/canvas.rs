//! The finished pixels: bars, labels, and PNG.

use super::super::colour::Rgb;
use super::glyphs;
use super::raster::Raster;

/// Each dot of a letter is so many pixels wide.
const DOT: usize = 2;

pub(super) struct Canvas {
    width: usize,
    height: usize,
    pixels: Vec<Rgb>,
}

impl Canvas {
    /// The mean of `fine` by `fine` samples for each pixel.
    pub(super) fn shrunk(raster: &Raster, fine: usize) -> Canvas {
        let (width, height) = (raster.width / fine, raster.height / fine);
        let mut pixels = Vec::with_capacity(width * height);
        for y in 0..height {
            for x in 0..width {
                let mut sum = [0_usize; 3];
                for row in y * fine..(y + 1) * fine {
                    let from = row * raster.width + x * fine;
                    for p in raster.pixels.get(from..from + fine).into_iter().flatten() {
                        (0..3).for_each(|k| sum[k] += usize::from(p[k]));
                    }
                }
                pixels.push(sum.map(|s| (s / (fine * fine)) as u8));
            }
        }
        Canvas { width, height, pixels }
    }

    /// Fills columns `x0..x1` of rows `y0..y1`.
    pub(super) fn fill(&mut self, x0: usize, y0: usize, x1: usize, y1: usize, colour: Rgb) {
        for y in y0..y1.min(self.height) {
            for x in x0..x1.min(self.width) {
                if let Some(pixel) = self.pixels.get_mut(y * self.width + x) {
                    *pixel = colour;
                }
            }
        }
    }

    /// Writes from the upper left corner on; signs without a glyph leave a blank.
    pub(super) fn text(&mut self, x: usize, y: usize, text: &str, ink: Rgb) {
        for (n, sign) in text.chars().enumerate() {
            let Some(rows) = glyphs::of(sign) else { continue };
            for (r, row) in rows.iter().enumerate() {
                for c in (0..glyphs::WIDTH).filter(|c| row & (1 << (glyphs::WIDTH - 1 - c)) != 0) {
                    let (px, py) = (x + (n * (glyphs::WIDTH + 1) + c) * DOT, y + r * DOT);
                    self.fill(px, py, px + DOT, py + DOT, ink);
                }
            }
        }
    }

    /// A label on a small plate, centred.
    pub(super) fn label(&mut self, x: f64, y: f64, text: &str, ink: Rgb, plate: Rgb) {
        let (wide, tall) = (text.chars().count() * (glyphs::WIDTH + 1) * DOT, glyphs::HEIGHT * DOT);
        let (left, top) = (x - wide as f64 / 2.0, y - tall as f64 / 2.0);
        if left < 4.0 || top < 4.0 || left > (self.width - wide) as f64 || top > (self.height - tall) as f64 {
            return;
        }
        let (left, top) = (left as usize, top as usize);
        self.fill(left - 3, top - 3, left + wide + 1, top + tall + 3, plate);
        self.text(left, top, text, ink);
    }

    /// The pixels as PNG.
    pub(super) fn png(&self) -> Option<Vec<u8>> {
        let mut bytes = Vec::new();
        let mut encoder = png::Encoder::new(&mut bytes, self.width as u32, self.height as u32);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        encoder.set_compression(png::Compression::Fast);
        let mut writer = encoder.write_header().ok()?;
        writer.write_image_data(self.pixels.as_flattened()).ok()?;
        writer.finish().ok()?;
        Some(bytes)
    }
}
