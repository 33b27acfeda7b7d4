//! The tilts that were tried, as a map: lean toward anterior against lean toward left, the score in cividis, isolines with
//! their score, marks for zero tilt, the highest score and the direction given.

use std::collections::BTreeMap;

use super::colour::{Rgb, Scale};
use super::html::escaped;
use crate::report::{PathSearch, PathShown, TiltScored, WhichTilt, tilt_words};
use crate::units::{deg, digits};

const INK: &str = "#1e1e22";
const PAPER: &str = "#fff";
/// Pixels of one degree, and of the margin about the map.
const SCALE: f64 = 17.0;
const MARGIN: [f64; 2] = [78.0, 58.0];
/// Height of a row of the hexagonal grid over its spacing.
const ROW: f64 = 0.866_025_403_784_438_6;

/// The map; `None` where nothing was searched. Oriented as the still from the occlusal side with the front up: in a mandible
/// the patient's left lies on the left, in a maxilla on the right (`left_on_right`).
pub fn tilt_map(path: &PathShown, left_on_right: bool) -> Option<Vec<u8>> {
    let search = path.search.as_ref()?;
    let grid = path.map_tilts.get(..search.on_grid)?;
    let scores = || grid.iter().map(|t| t.score);
    let (least, most) = (scores().fold(f64::INFINITY, f64::min), scores().fold(f64::NEG_INFINITY, f64::max));
    if !(least.is_finite() && most.is_finite()) {
        return None;
    }
    let map = Map {
        reach: search.cone_deg.max(1.0),
        hand: if left_on_right { 1.0 } else { -1.0 },
        scale: Scale { least, most: most.max(least + 1e-6) },
    };
    let mut body = String::new();
    grid.iter().for_each(|t| body.push_str(&map.cell(t, spacing(search))));
    body.push_str(&map.circles());
    body.push_str(&map.isolines(grid, spacing(search), least, most));
    body.push_str(&map.axes());
    path.compared.iter().for_each(|c| body.push_str(&map.mark(c.which, &c.figures)));
    body.push_str(&map.bar());
    body.push_str(&map.legend(path, search));
    let (width, height) = map.size();
    Some(
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {0} {1}\" width=\"{0}\" height=\"{1}\" role=\"img\">\n\
             <title>Tilt map: score of each tilt tried</title>\n<rect width=\"100%\" height=\"100%\" fill=\"{PAPER}\"/>\n{body}</svg>\n",
            number(width),
            number(height)
        )
        .into_bytes(),
    )
}

/// Where a tilt lies on the map, pixels: from the middle, so many to a degree; +1 where the patient's left lies on the right.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Ground {
    /// Zero tilt.
    pub middle_px: [f64; 2],
    /// Pixels of a degree.
    pub px_per_deg: f64,
    /// Side on which the patient's left lies.
    pub hand: f64,
    /// Farthest lean shown, degrees.
    pub reach_deg: f64,
    /// Width and height of the whole drawing.
    pub size_px: [f64; 2],
}

/// How the map of [`tilt_map`] is laid out; `None` where there is none.
pub fn ground(path: &PathShown, left_on_right: bool) -> Option<Ground> {
    let search = path.search.as_ref()?;
    let map = Map {
        reach: search.cone_deg.max(1.0),
        hand: if left_on_right { 1.0 } else { -1.0 },
        scale: Scale { least: 0.0, most: 1.0 },
    };
    let (width, height) = map.size();
    Some(Ground {
        middle_px: map.at(0.0, 0.0),
        px_per_deg: SCALE,
        hand: map.hand,
        reach_deg: map.reach,
        size_px: [width, height],
    })
}

/// The spacing that the grid has: no more than sixty rows either way.
fn spacing(search: &PathSearch) -> f64 {
    search.step_deg.max(search.cone_deg / 60.0)
}

fn number(v: f64) -> String {
    digits(v, 1)
}

fn hex([r, g, b]: Rgb) -> String {
    format!("#{r:02x}{g:02x}{b:02x}")
}

struct Map {
    reach: f64,
    /// +1 where the patient's left lies on the right of the map.
    hand: f64,
    scale: Scale,
}

impl Map {
    fn at(&self, anterior: f64, left: f64) -> [f64; 2] {
        [MARGIN[0] + (self.reach + self.hand * left) * SCALE, MARGIN[1] + (self.reach - anterior) * SCALE]
    }

    fn size(&self) -> (f64, f64) {
        let side = 2.0 * self.reach * SCALE;
        (side + 2.0 * MARGIN[0] + 74.0, side + 2.0 * MARGIN[1] + 108.0)
    }

    /// A six-sided cell about a tilt.
    fn cell(&self, t: &TiltScored, step: f64) -> String {
        let radius = step / (2.0 * ROW) * 1.02;
        let corners: Vec<String> = (0..6)
            .map(|k| (f64::from(k) + 0.5) * std::f64::consts::FRAC_PI_3)
            .map(|a| {
                let [x, y] = self.at(
                    t.anterior_deg + radius * crate::space::sin(a),
                    t.left_deg + radius * crate::space::cos(a),
                );
                format!("{},{}", number(x), number(y))
            })
            .collect();
        format!(
            "<polygon points=\"{}\" fill=\"{}\"><title>{}: {}</title></polygon>\n",
            corners.join(" "),
            hex(self.scale.colour(t.score)),
            escaped(&tilt_words(t.anterior_deg, t.left_deg)),
            digits(t.score, 3)
        )
    }

    /// Circles of equal lean, every five degrees.
    fn circles(&self) -> String {
        let [x, y] = self.at(0.0, 0.0);
        let count = (self.reach / 5.0).floor() as i64;
        (1..=count)
            .map(|k| k as f64 * 5.0)
            .map(|r| {
                format!(
                    "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"none\" stroke=\"{PAPER}\" stroke-opacity=\"0.55\" stroke-width=\"0.8\"/>\n",
                    number(x),
                    number(y),
                    number(r * SCALE)
                )
            })
            .collect()
    }

    fn isolines(&self, grid: &[TiltScored], step: f64, least: f64, most: f64) -> String {
        let triangles = lattice(grid, step);
        let span = most - least;
        let by = [0.01, 0.02, 0.05, 0.1, 0.2].into_iter().find(|b| span / b <= 6.0).unwrap_or(0.25);
        let first = (least / by).ceil() as i64;
        let last = (most / by).floor() as i64;
        let mut out = String::new();
        for k in first..=last {
            let level = k as f64 * by;
            let pieces: Vec<[[f64; 2]; 2]> = triangles
                .iter()
                .filter_map(|t| crossing(t, level))
                .map(|p| p.map(|[a, l]| self.at(a, l)))
                .collect();
            let path: String = pieces
                .iter()
                .map(|[a, b]| format!("M{},{}L{},{}", number(a[0]), number(a[1]), number(b[0]), number(b[1])))
                .collect();
            // The scale's middle parts dark cells, which take light lines, from light ones.
            let ink = if level < least + 0.5 * span { PAPER } else { INK };
            out.push_str(&format!(
                "<path d=\"{path}\" stroke=\"{ink}\" stroke-width=\"1.2\" fill=\"none\"/>\n"
            ));
            // The label stands at the piece farthest to the upper right, where marks are rare.
            let label = pieces.iter().map(|p| p[0]).max_by(|p, q| (p[0] - p[1]).total_cmp(&(q[0] - q[1])));
            if let Some([x, y]) = label {
                out.push_str(&haloed([x, y + 4.0], "middle", 11, &digits(level, 2)));
            }
        }
        out
    }

    fn axes(&self) -> String {
        let mut out = String::new();
        let count = (self.reach / 5.0).floor() as i64;
        let low = MARGIN[1] + 2.0 * self.reach * SCALE;
        for k in -count..=count {
            let v = k as f64 * 5.0;
            let [x, _] = self.at(0.0, v);
            let [_, y] = self.at(v, 0.0);
            out.push_str(&words([x, low + 16.0], "middle", 12, &deg(v)));
            out.push_str(&words([MARGIN[0] - 8.0, y + 4.0], "end", 12, &deg(v)));
        }
        let (middle, top) = (MARGIN[0] + self.reach * SCALE, MARGIN[1] - 14.0);
        let [left, right] = if self.hand < 0.0 { ["left", "right"] } else { ["right", "left"] };
        out.push_str(&words([middle, top], "middle", 13, "leans toward anterior \u{2191}"));
        out.push_str(&words([middle, low + 34.0], "middle", 13, "\u{2193} leans toward posterior"));
        out.push_str(&words([MARGIN[0], low + 34.0], "start", 13, &format!("\u{2190} patient's {left}")));
        let end = MARGIN[0] + 2.0 * self.reach * SCALE;
        out.push_str(&words([end, low + 34.0], "end", 13, &format!("patient's {right} \u{2192}")));
        out
    }

    /// A mark of its own shape: a ring with a dot, a star, a square.
    fn mark(&self, which: WhichTilt, t: &TiltScored) -> String {
        // A direction given may lie outside the cone: it is shown on the border, and the legend gives its figures.
        let far = crate::space::hypot(t.anterior_deg, t.left_deg);
        let pull = if far > self.reach { self.reach / far } else { 1.0 };
        shape(which, self.at(t.anterior_deg * pull, t.left_deg * pull))
    }

    fn bar(&self) -> String {
        let x = MARGIN[0] + 2.0 * self.reach * SCALE + 34.0;
        let (top, tall) = (MARGIN[1] + 20.0, 2.0 * self.reach * SCALE - 40.0);
        let mut out = String::new();
        for k in 0..50 {
            let share = (f64::from(k) + 0.5) / 50.0;
            out.push_str(&format!(
                "<rect x=\"{}\" y=\"{}\" width=\"16\" height=\"{}\" fill=\"{}\"/>\n",
                number(x),
                number(top + tall * (1.0 - share) - tall / 100.0),
                number(tall / 50.0 + 0.4),
                hex(super::colour::cividis(share))
            ));
        }
        for share in [0.0, 0.5, 1.0] {
            let value = self.scale.least + share * (self.scale.most - self.scale.least);
            out.push_str(&words(
                [x + 22.0, top + tall * (1.0 - share) + 4.0],
                "start",
                12,
                &digits(value, 2),
            ));
        }
        out.push_str(&words([x + 8.0, top - 10.0], "middle", 12, "score"));
        out
    }

    fn legend(&self, path: &PathShown, search: &PathSearch) -> String {
        let mut y = MARGIN[1] + 2.0 * self.reach * SCALE + 60.0;
        let mut out = String::new();
        for c in &path.compared {
            out.push_str(&shape(c.which, [MARGIN[0] + 8.0, y - 4.0]));
            let chosen = if c.chosen { ", chosen by the search" } else { "" };
            let says = format!(
                "{}{chosen}: {}, score {} on the scan itself",
                c.which.words(),
                tilt_words(c.figures.anterior_deg, c.figures.left_deg),
                digits(c.figures.score, 3)
            );
            out.push_str(&words([MARGIN[0] + 24.0, y], "start", 12, &says));
            y += 19.0;
        }
        let says = format!(
            "lines: equal score; white circles: lean of 5, 10, .. degrees; {} tilts, seen from the occlusal side",
            search.tilts_tried
        );
        out.push_str(&words([MARGIN[0], y], "start", 12, &says));
        out
    }
}

fn shape(which: WhichTilt, [x, y]: [f64; 2]) -> String {
    let (x, y) = (number(x), number(y));
    let (light, dark) = match which {
        WhichTilt::Zero => ("<circle r=\"7\"/><circle r=\"1\"/>", "<circle r=\"7\"/><circle r=\"1\"/>"),
        WhichTilt::Best => {
            ("<path d=\"M0-9V9M-9 0H9M-6-6L6 6M-6 6L6-6\"/>", "<path d=\"M0-9V9M-9 0H9M-6-6L6 6M-6 6L6-6\"/>")
        }
        WhichTilt::Given => (
            "<rect x=\"-10\" y=\"-10\" width=\"20\" height=\"20\"/>",
            "<rect x=\"-10\" y=\"-10\" width=\"20\" height=\"20\"/>",
        ),
    };
    format!(
        "<g transform=\"translate({x} {y})\" fill=\"none\"><g stroke=\"{PAPER}\" stroke-width=\"4.5\">{light}</g>\
         <g stroke=\"{INK}\" stroke-width=\"1.8\">{dark}</g></g>\n"
    )
}

/// Triangles of neighbouring tilts of the hexagonal grid: anterior, left, score of each corner.
fn lattice(grid: &[TiltScored], step: f64) -> Vec<[[f64; 3]; 3]> {
    // Twice the column, so that odd rows have whole numbers too.
    let key = |t: &TiltScored| {
        ((t.anterior_deg / (ROW * step)).round() as i64, (2.0 * t.left_deg / step).round() as i64)
    };
    let at: BTreeMap<(i64, i64), [f64; 3]> =
        grid.iter().map(|t| (key(t), [t.anterior_deg, t.left_deg, t.score])).collect();
    let mut all = Vec::new();
    for (&(row, column), &a) in &at {
        let Some(&b) = at.get(&(row, column + 2)) else { continue };
        for next in [row - 1, row + 1] {
            if let Some(&c) = at.get(&(next, column + 1)) {
                all.push([a, b, c]);
            }
        }
    }
    all
}

/// Where a level crosses a triangle: two places (anterior, left).
fn crossing(t: &[[f64; 3]; 3], level: f64) -> Option<[[f64; 2]; 2]> {
    let mut met = (0..3).filter_map(|k| {
        let (a, b) = (t[k], t[(k + 1) % 3]);
        ((a[2] < level) != (b[2] < level)).then(|| {
            let s = (level - a[2]) / (b[2] - a[2]);
            [a[0] + (b[0] - a[0]) * s, a[1] + (b[1] - a[1]) * s]
        })
    });
    Some([met.next()?, met.next()?])
}

fn words([x, y]: [f64; 2], anchor: &str, size: u32, text: &str) -> String {
    format!(
        "<text x=\"{}\" y=\"{}\" text-anchor=\"{anchor}\" fill=\"{INK}\" font-family=\"sans-serif\" font-size=\"{size}\">{}</text>\n",
        number(x),
        number(y),
        escaped(text)
    )
}

/// Words with a white rim, readable over any colour.
fn haloed([x, y]: [f64; 2], anchor: &str, size: u32, text: &str) -> String {
    let one = |paint: &str| {
        format!(
            "<text x=\"{}\" y=\"{}\" text-anchor=\"{anchor}\" {paint} font-family=\"sans-serif\" font-size=\"{size}\">{}</text>\n",
            number(x),
            number(y),
            escaped(text)
        )
    };
    one(&format!("stroke=\"{PAPER}\" stroke-width=\"3.5\" fill=\"{PAPER}\""))
        + &one(&format!("fill=\"{INK}\""))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::{ChosenBy, TiltCompared};

    fn tilt(anterior_deg: f64, left_deg: f64, score: f64) -> TiltScored {
        TiltScored {
            anterior_deg,
            left_deg,
            score,
            lean_deg: 0.0,
            usable_mm: vec![],
            retention_share: None,
            spread_mm: None,
            guiding_share: None,
            tissue_undercut_mm2: None,
            blockout_mm3: None,
        }
    }

    fn path() -> PathShown {
        // A hexagonal grid of 3 degrees with the score rising toward the patient's left.
        let mut grid = Vec::new();
        for row in -5..=5i32 {
            for column in -6..=6i32 {
                let left = (f64::from(column) + if row % 2 == 0 { 0.0 } else { 0.5 }) * 3.0;
                let anterior = f64::from(row) * 3.0 * ROW;
                if crate::space::hypot(anterior, left) <= 15.0 {
                    grid.push(tilt(anterior, left, 0.5 + left / 100.0));
                }
            }
        }
        let compared = |which, t| TiltCompared {
            which,
            chosen: which == WhichTilt::Best,
            figures: t,
            guiding_mm2: vec![],
            tissue_deepest_mm: None,
        };
        PathShown {
            withdrawal: [0.0, 0.0, 1.0],
            tilt_deg: None,
            chosen_by: ChosenBy::Search,
            says: String::new(),
            search: Some(PathSearch {
                cone_deg: 15.0,
                step_deg: 3.0,
                tilts_tried: grid.len(),
                on_grid: grid.len(),
                triangles: 1,
                triangles_reduced: 1,
                reduced_within_mm: 0.02,
                clasps: vec![],
                left_out: vec![],
                guided: vec![],
                tissue_mm2: 1.0,
                weights: vec![],
                ceiling_mm: 0.762,
                worst_tissue_mm2: 5.0,
                worst_blockout_mm3: 5.0,
                says: String::new(),
            }),
            map_tilts: grid,
            unbeaten: vec![],
            compared: vec![
                compared(WhichTilt::Zero, tilt(0.0, 0.0, 0.5)),
                compared(WhichTilt::Best, tilt(0.0, 15.0, 0.65)),
                compared(WhichTilt::Given, tilt(0.0, 40.0, 0.1)),
            ],
            tripod_mm: vec![],
            tripod: vec![],
        }
    }

    #[test]
    fn the_map_has_a_cell_a_tilt_labelled_isolines_and_the_patients_left_on_the_side_of_the_still() {
        let path = path();
        let svg = String::from_utf8(tilt_map(&path, false).unwrap()).unwrap();
        assert_eq!(svg.matches("<polygon").count(), path.map_tilts.len());
        assert!(!svg.contains("NaN") && !svg.contains("inf"));
        assert!(svg.contains(">0.40</text>") && svg.contains(">0.60</text>"));
        assert!(svg.contains("\u{2190} patient&#39;s left"));
        let upper = String::from_utf8(tilt_map(&path, true).unwrap()).unwrap();
        assert!(upper.contains("patient&#39;s left \u{2192}"));
        assert!(svg.contains("highest score, chosen by the search: 15.0° toward the patient&#39;s left"));
    }

    #[test]
    fn a_level_crosses_a_linear_score_in_a_straight_line() {
        let path = path();
        let all: Vec<[[f64; 2]; 2]> =
            lattice(&path.map_tilts, 3.0).iter().filter_map(|t| crossing(t, 0.55)).collect();
        assert!(!all.is_empty());
        assert!(all.iter().flatten().all(|p| (p[1] - 5.0).abs() < 1e-9));
    }

    #[test]
    fn without_a_search_there_is_no_map() {
        assert!(tilt_map(&PathShown { search: None, ..path() }, false).is_none());
    }
}
