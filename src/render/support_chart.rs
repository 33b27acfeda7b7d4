//! A small chart of the designs side by side: median and 5 to 95 % of each figure, and what governs it.

use super::html::escaped;
use super::support_tables::{FIGURES, median};
use crate::report::{DesignShown, Mechanics};
use crate::units::{self, Unit, digits};

const INK: &str = "#1e1e22";
const SOFT: &str = "#55524b";
const GRID: &str = "#cfcabd";
/// One blue, one grey, one yellow of the scale that is used for depths; the name stands beside each bar.
const BARS: [&str; 3] = ["#00224e", "#7c7b78", "#bcae6c"];

const WIDTH: f64 = 720.0;
const LEFT: f64 = 90.0;
const BAR: f64 = 360.0;
const ROW: f64 = 20.0;
/// Figures that are drawn, and inputs.
const DRAWN: [&str; 4] = ["abutment_share", "abutment_moment_n_mm", "ridge_peak_mpa", "distal_sink_mm"];

/// The chart; `None` where no design was worked out.
pub fn chart(mechanics: &Mechanics) -> Option<Vec<u8>> {
    if mechanics.designs.is_empty() {
        return None;
    }
    let mut body = String::new();
    let mut y = 18.0;
    for key in DRAWN {
        let (_, words, unit) = FIGURES.iter().find(|f| f.0 == key)?;
        y = panel(&mut body, &mechanics.designs, (key, words, *unit), y);
    }
    y = weights(&mut body, mechanics, y);
    let title = format!(
        "Designs side by side, {} loaded: point the median, bar 5 to 95 % of the runs",
        mechanics.main_load.as_deref().unwrap_or("the bases")
    );
    Some(
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {0}\" width=\"{WIDTH}\" height=\"{0}\" role=\"img\" \
             font-family=\"Georgia, serif\">\n<title>{1}</title>\n<rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n{body}</svg>\n",
            digits(y + 6.0, 0),
            escaped(&title)
        )
        .into_bytes(),
    )
}

fn text(x: f64, y: f64, anchor: &str, colour: &str, words: &str) -> String {
    format!(
        "<text x=\"{}\" y=\"{}\" text-anchor=\"{anchor}\" font-size=\"12\" fill=\"{colour}\">{}</text>\n",
        digits(x, 1),
        digits(y, 1),
        escaped(words)
    )
}

fn line(from: [f64; 2], to: [f64; 2], colour: &str, width: f64) -> String {
    format!(
        "<line x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\" stroke=\"{colour}\" stroke-width=\"{}\"/>\n",
        digits(from[0], 1),
        digits(from[1], 1),
        digits(to[0], 1),
        digits(to[1], 1),
        digits(width, 1)
    )
}

/// One figure of all designs on one scale that starts at zero. Gives the place under it.
fn panel(body: &mut String, designs: &[DesignShown], figure: (&str, &str, Unit), top: f64) -> f64 {
    let (key, words, unit) = figure;
    let most = designs.iter().filter_map(|d| d.bands.get(key)).map(|b| b[1]).fold(1e-9, f64::max);
    let x = |v: f64| LEFT + BAR * (v / most).clamp(0.0, 1.0);
    body.push_str(&text(8.0, top, "start", INK, words));
    let mut y = top + ROW;
    for (design, colour) in designs.iter().zip(BARS) {
        let (Some(middle), Some([low, high])) = (median(design, key), design.bands.get(key)) else {
            continue;
        };
        body.push_str(&text(LEFT - 8.0, y, "end", SOFT, &design.kind));
        body.push_str(&line([LEFT, y - 4.0], [LEFT + BAR, y - 4.0], GRID, 1.0));
        body.push_str(&line([x(*low), y - 4.0], [x(*high), y - 4.0], colour, 7.0));
        body.push_str(&format!(
            "<circle cx=\"{}\" cy=\"{}\" r=\"5\" fill=\"#fff\" stroke=\"{INK}\" stroke-width=\"1.6\"/>\n",
            digits(x(middle), 1),
            digits(y - 4.0, 1)
        ));
        let figures = format!(
            "{} ({} to {})",
            units::show(middle, unit),
            digits(*low, unit.places()),
            digits(*high, unit.places())
        );
        body.push_str(&text(LEFT + BAR + 12.0, y, "start", INK, &figures));
        y += ROW;
    }
    y + 10.0
}

/// What governs the abutments' share: rank correlation with each input, rigid over hinged.
fn weights(body: &mut String, m: &Mechanics, top: f64) -> f64 {
    let words = "what governs the abutments' part: rank correlation -1 to 1, upper bar rigid, lower hinged";
    body.push_str(&text(8.0, top, "start", INK, words));
    let (zero, half) = (420.0, 130.0);
    let mut y = top + ROW;
    for a in &m.assumed {
        body.push_str(&text(zero - half - 12.0, y, "end", SOFT, &a.input));
        body.push_str(&line([zero - half, y - 4.0], [zero + half, y - 4.0], GRID, 1.0));
        for (k, lower) in [(0, -7.0), (2, -1.0)] {
            let Some(weight) = a.weights.get(k) else { continue };
            body.push_str(&line([zero, y + lower], [zero + half * weight, y + lower], BARS[k], 5.0));
        }
        let shown: Vec<String> =
            [0, 2].iter().filter_map(|&k| a.weights.get(k)).map(|w| digits(*w, 2)).collect();
        body.push_str(&text(zero + half + 12.0, y, "start", INK, &shown.join(" / ")));
        y += ROW;
    }
    body.push_str(&line([zero, top + 8.0], [zero, y - 12.0], SOFT, 1.0));
    y
}

#[cfg(test)]
mod tests {
    use super::*;

    fn design(kind: &str, share: f64) -> DesignShown {
        DesignShown {
            kind: kind.into(),
            abutment_share: share,
            ridge_share: 1.0 - share,
            abutment_moment_n_mm: 100.0,
            ridge_peak_mpa: 0.5,
            ridge_mean_mpa: 0.3,
            distal_sink_mm: 0.4,
            clasp_tip_move_mm: None,
            abutments: vec![],
            bands: DRAWN.iter().map(|k| ((*k).to_owned(), [0.0, 1.0])).collect(),
            governed_by: vec![],
            loads: vec![],
        }
    }

    #[test]
    fn a_bar_ends_where_its_band_does() {
        let m = Mechanics {
            designs: vec![design("rigid", 0.25), design("clamped", 0.5), design("hinged", 0.75)],
            main_load: Some("36 & 37".into()),
            ..Mechanics::default()
        };
        let svg = String::from_utf8(chart(&m).unwrap()).unwrap();
        assert!(svg.contains("36 &amp; 37") && !svg.contains("NaN"));
        // The band 0 to 1 fills the bar; the medians stand at a quarter, a half, three quarters of it.
        for share in [0.25, 0.5, 0.75] {
            assert!(svg.contains(&format!("cx=\"{}\"", digits(LEFT + BAR * share, 1))), "{share}");
        }
        assert_eq!(svg.matches("<circle").count(), 12);
        assert_eq!(chart(&Mechanics::default()), None);
    }
}
