//! The lingual wall of a mandible unrolled, as SVG: across the way along the arch, down the depth along the tissue from the
//! gingival margin, both in mm with a grid of one.

use super::svg::{Frame, INK, OPPOSING, TISSUE, document, grid, line_between, number, polyline, runs, words};
use crate::report::{Unrolled, UnrolledStation};
use crate::units::digits;

/// The drawing; `title` says what it is. `None` without two stations.
pub fn svg(wall: &Unrolled, title: &str) -> Option<Vec<u8>> {
    let (first, last) = (wall.stations.first()?, wall.stations.last()?);
    let depths = || wall.stations.iter().flat_map(|s| [s.recorded_mm, s.probed_mm]).flatten();
    let deepest = depths().chain(wall.levels.iter().map(|l| l.0)).fold(6.0, f64::max).min(40.0).ceil() + 1.0;
    let length = (last.s_mm - first.s_mm).ceil().max(1.0);
    let frame = Frame {
        low: [first.s_mm.floor(), -deepest],
        high: [first.s_mm.floor() + length, 0.0],
        scale: (900.0 / length).min(20.0),
        left: 44.0,
        top: 40.0,
    };
    let (wide, tall) = frame.size();
    let mut body = tori(&frame, &wall.stations);
    body.push_str(&grid(&frame));
    for (mm, says) in &wall.levels {
        body.push_str(&line_between(&frame, [frame.low[0], -mm], [frame.high[0], -mm], INK, "1.2"));
        let y = frame.top + mm * frame.scale - 4.0;
        body.push_str(&words(frame.left + wide - 4.0, y, "end", says));
    }
    let depths = |of: fn(&UnrolledStation) -> Option<f64>| {
        runs(wall.stations.iter().map(|s| (s.s_mm, of(s).map(|mm| -mm))))
    };
    for run in depths(|s| s.recorded_mm) {
        body.push_str(&polyline(&frame, &run, TISSUE, "2.2", ""));
    }
    for run in depths(|s| s.probed_mm) {
        body.push_str(&polyline(&frame, &run, OPPOSING, "2.2", "6 3"));
    }
    body.push_str(&line_between(&frame, [frame.low[0], 0.0], [frame.high[0], 0.0], INK, "2.2"));
    body.push_str(&numbers(&frame, &wall.stations));
    let base = frame.top + tall;
    for (n, line) in [
        "mm along the arch from the patient's right; down: mm along the tissue; grid 1 mm",
        "upper line: gum margin (gingival margin); full line: end of the wall on the scan; broken line: probed in the mouth; grey: torus",
    ]
    .iter()
    .enumerate()
    {
        body.push_str(&words(frame.left, base + 18.0 + 17.0 * n as f64, "start", line));
    }
    Some(document(wide.max(760.0) + 2.0 * frame.left, tall + frame.top + 48.0, title, &body))
}

/// What tori take of each station, as wide as the stations lie apart.
fn tori(frame: &Frame, stations: &[UnrolledStation]) -> String {
    let mut out = String::new();
    for (i, s) in stations.iter().enumerate() {
        let before =
            i.checked_sub(1).and_then(|k| stations.get(k)).map_or(s.s_mm, |b| (b.s_mm + s.s_mm) / 2.0);
        let after = stations.get(i + 1).map_or(s.s_mm, |a| (a.s_mm + s.s_mm) / 2.0);
        for [from, to] in &s.tori_mm {
            out.push_str(&format!(
                "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"#c9c4b8\"/>\n",
                frame.x(before),
                frame.y(-from),
                number((after - before).max(0.0) * frame.scale),
                number((to - from).max(0.0) * frame.scale)
            ));
        }
    }
    out
}

/// Depths at the left border, and each tooth over the middle of its stations.
fn numbers(frame: &Frame, stations: &[UnrolledStation]) -> String {
    let mut out = String::new();
    let mut level = 0.0;
    while level >= frame.low[1] {
        let y = frame.top - level * frame.scale + 4.0;
        out.push_str(&words(frame.left - 6.0, y, "end", &digits(-level, 0)));
        level -= 5.0;
    }
    let mut from = 0;
    while let Some(first) = stations.get(from) {
        let same = stations.iter().skip(from).take_while(|s| s.tooth == first.tooth).count();
        let last = stations.get(from + same - 1).unwrap_or(first);
        let x = frame.left + ((first.s_mm + last.s_mm) / 2.0 - frame.low[0]) * frame.scale;
        out.push_str(&words(x, frame.top - 10.0, "middle", &first.tooth));
        from += same;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn station(s_mm: f64, recorded_mm: Option<f64>) -> UnrolledStation {
        UnrolledStation { s_mm, tooth: "41".into(), recorded_mm, probed_mm: None, tori_mm: vec![[3.0, 6.0]] }
    }

    #[test]
    fn the_wall_is_drawn_to_scale_and_broken_where_it_is_not_known() {
        let known = [Some(9.0), Some(9.0), None, Some(8.0), Some(8.0)];
        let stations = known.iter().enumerate().map(|(i, d)| station(i as f64, *d)).collect();
        let wall = Unrolled { stations, levels: vec![(4.0, "begins at 4.00 mm".into())] };
        let svg = String::from_utf8(svg(&wall, "Wall <x>").unwrap()).unwrap();
        assert_eq!(svg.matches("<polyline").count(), 2);
        assert!(svg.contains("begins at 4.00 mm") && svg.contains("&lt;x&gt;") && !svg.contains("NaN"));
        // 20 units a millimetre: a torus of 3 mm is 60 high.
        assert!(svg.contains("height=\"60.00\""), "{svg}");
        assert!(super::svg(&Unrolled { stations: vec![], levels: vec![] }, "").is_none());
    }
}
