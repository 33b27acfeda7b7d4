//! Stretches of ridge without teeth, and their crests.

use super::super::cast::Cast;
use super::super::crown::CrownBody;
use super::crest::crest;
use super::margin::proximal_s;
use crate::case::Tooth;
use crate::space::Point;

/// A stretch of ridge without teeth.
#[derive(Clone, Debug)]
pub struct Span {
    /// The teeth beside it: one where nothing stands behind it.
    pub beside: Vec<Tooth>,
    /// Its middle along the arch, from the teeth beside it, left positive, mm.
    pub middle_s: f64,
    /// Its crest: a distal extension's from a millimetre behind the crown to the front of the pad, a bounded one's from
    /// wall to wall, from the patient's right to left.
    pub crest: Vec<Point>,
}

impl Span {
    /// Whether teeth stand at both ends.
    pub fn is_bounded(&self) -> bool {
        self.beside.len() == 2
    }
}

/// Least distance between two crowns that makes a span of the stretch between them, mm.
const SPAN_MM: f64 = 3.0;
/// Last tooth of an arch: third molars do not count.
const LAST: u8 = 7;
/// How far in front of the end of a cast a distal extension's crest ends, mm.
const PAD_MM: f64 = 8.0;

/// Spans of a cast: the left distal extension, the bounded ones from right to left, the right distal extension.
pub fn spans(cast: &Cast) -> Vec<Span> {
    let s_of = |c: &CrownBody| cast.form.place(c.origin.x, c.origin.y).s;
    let mut row: Vec<(f64, &CrownBody)> = cast.crowns.iter().map(|c| (s_of(c), c)).collect();
    row.sort_by(|a, b| a.0.total_cmp(&b.0));
    let distal = |at: Option<&(f64, &CrownBody)>, back: f64, end: f64| {
        let (s, last) = at.filter(|(_, c)| c.tooth.place() < LAST)?;
        let crest = crest(cast, proximal_s(cast, last, false) + back, end - PAD_MM * back);
        Some(Span { beside: vec![last.tooth], middle_s: *s, crest })
    };
    let [right, left] = cast.limits.ends;
    let bounded = row.windows(2).filter_map(|two| {
        let [(sa, a), (sb, b)] = [two[0], two[1]];
        // Walls that look at each other.
        let (from, to) = (proximal_s(cast, a, sa < 0.0), proximal_s(cast, b, sb > 0.0));
        (to - from >= SPAN_MM).then(|| Span {
            beside: vec![a.tooth, b.tooth],
            middle_s: 0.5 * (sa + sb),
            crest: crest(cast, from, to),
        })
    });
    let mut out: Vec<Span> = distal(row.last(), 1.0, left).into_iter().collect();
    out.extend(bounded);
    out.extend(distal(row.first(), -1.0, right));
    out
}
