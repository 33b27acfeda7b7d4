//! Connectors across the palate: what the palatal way offers each, and why one is out.

use super::Part;
use super::connector::{CHECK, border_lengths, possible_tori, side_word};
use crate::case::Tooth;
use crate::estimate::{Estimate, Measured, NotMeasured, Source};
use crate::facts::Facts;
use crate::measure::palate::{PalatalStation, PalatalWay, Run, STEP_MM};
use crate::report::{ConnectorShown, Finding, TorusState, Verdict, Where};
use crate::rules::{Rule, judge};
use crate::space::Point;
use crate::units::{self, Unit};

/// Standard uncertainty of a gingival margin, mm: interpolation between marks.
const MARGIN_MM: f64 = 0.3;
/// The same of the ends of a run: half a step, evenly spread, at both ends.
const ENDS_MM: f64 = STEP_MM * 0.41;

/// Judges the way and adds what came of it.
pub(super) fn judged(facts: &Facts<'_>, way: &Measured<PalatalWay>, part: &mut Part) {
    let what = "Room for a palatal connector";
    let way = match way {
        Ok(way) => way,
        Err(reason) => {
            part.findings.push(Finding::not_measured(CHECK.id, "palate_not_measured", what, reason));
            return;
        }
    };
    if way.stations.iter().all(|s| s.section.is_err()) {
        let reason = way.stations.iter().find_map(|s| s.section.as_ref().err().cloned());
        let reason = reason.unwrap_or_else(|| NotMeasured::only("no section could be measured"));
        part.findings.push(Finding::not_measured(CHECK.id, "palate_not_measured", what, &reason));
        return;
    }
    let view = View::new(facts, way);
    let strap = view.strap();
    part.findings.push(view.strap_finding(&strap));
    part.connectors.push(strap.shown());
    part.connectors.push(view.anterior_posterior().shown());
    part.connectors.push(view.horseshoe().shown());
    part.connectors.push(view.plate().shown());
    part.findings.extend(view.tori());
    part.findings.extend(possible_tori(facts));
    part.findings.extend(view.gaps());
    part.findings.extend(border_lengths(facts));
    part.findings.push(view.rear());
}

/// A connector as it was tried.
struct Tried {
    kind: &'static str,
    figure: Option<Estimate>,
    rule: Option<Rule>,
    verdict: Verdict,
    at: Option<Point>,
    reasons: Vec<String>,
}

impl Tried {
    fn shown(self) -> ConnectorShown {
        ConnectorShown {
            kind: self.kind.into(),
            verdict: self.verdict,
            room_mm: self.figure.map(|f| units::json(f.value)),
            required_mm: self.rule.map(|r| r.number),
            at_mm: self.at.map(|p| units::json_place(&p)),
            reasons: self.reasons,
        }
    }
}

/// The way with what is read from it more than once.
struct View<'a> {
    facts: &'a Facts<'a>,
    way: &'a PalatalWay,
    runs: Vec<Run>,
    whole: bool,
    possible: bool,
}

/// Stations where the palate is not known; in front, within the distance that a border keeps from the margins, nothing is to
/// be known.
fn lacking<'a>(facts: &Facts<'_>, way: &'a PalatalWay) -> Vec<&'a PalatalStation> {
    let border = facts.rules.number("palatal_border_mm");
    way.stations.iter().filter(|s| s.section.is_err() && s.behind_mm > border).collect()
}

/// A width and the station where it is least.
type Least = Option<(f64, usize)>;

impl<'a> View<'a> {
    fn new(facts: &'a Facts<'a>, way: &'a PalatalWay) -> View<'a> {
        let whole = lacking(facts, way).is_empty();
        let possible = facts.tori.iter().any(|t| t.state == TorusState::Possible);
        View { facts, way, runs: way.runs(), whole, possible }
    }

    fn estimate(&self, mm: f64) -> Estimate {
        Estimate::new(mm, Vec::new())
            .with(Source::Scan, self.facts.case.file.accuracy.scan_mm)
            .with(Source::Marks, MARGIN_MM)
            .with(Source::Method, ENDS_MM)
    }

    /// The verdict of a width: what is not measured everywhere is not said to fit, and a connector is a choice.
    fn verdict(&self, figure: &Estimate, rule: &Rule) -> Verdict {
        match judge(figure, rule) {
            // A possible torus is not counted, so that nothing may be said to fit over it either.
            Verdict::Fits if !self.whole || self.possible => Verdict::Caution,
            Verdict::Short => Verdict::Caution,
            other => other,
        }
    }

    fn middle(&self, station: usize) -> Option<Point> {
        let s = self.way.stations.get(station)?;
        s.section.as_ref().ok().map(|c| c.midline)
    }

    fn place(&self, station: usize) -> String {
        self.way.stations.get(station).map_or_else(String::new, |s| self.station_words(s))
    }

    fn station_words(&self, s: &PalatalStation) -> String {
        let [right, left] = s.teeth.map(|t| self.facts.tooth_words(t));
        format!("between {right} and {left}, {} behind the foremost margin", units::mm(s.behind_mm))
    }

    fn run_words(&self, run: &Run) -> String {
        let at = |i: usize| self.way.stations.get(i).map_or(0.0, |s| s.behind_mm);
        format!(
            "{} along the tissue, from {} to {} behind the foremost margin",
            units::mm(run.width_mm),
            units::mm(at(run.stations.0)),
            units::mm(at(run.stations.1))
        )
    }

    /// One strap: the widest run beside the teeth that it joins.
    fn strap(&self) -> Tried {
        let rule = self.facts.rules.get("palatal_strap_width_mm").clone();
        let widest = self.runs.iter().filter_map(|r| self.way.within(r, self.way.joined)).fold(
            None,
            |best: Option<Run>, r| if best.is_none_or(|b| r.width_mm > b.width_mm) { Some(r) } else { best },
        );
        let mut reasons = vec![self.rule_words("one strap across", &rule)];
        let Some(run) = widest else {
            reasons.push(self.why_none());
            return self.none("palatal_strap", rule, reasons);
        };
        reasons.push(format!("clear from side to side over {}", self.run_words(&run)));
        reasons.extend(self.torus_words());
        let figure = self.estimate(run.width_mm);
        let verdict = self.verdict(&figure, &rule);
        let middle = (run.stations.0 + run.stations.1) / 2;
        Tried {
            kind: "palatal_strap",
            at: self.middle(middle),
            figure: Some(figure),
            rule: Some(rule),
            verdict,
            reasons: self.with_gaps(reasons),
        }
    }

    /// Straps before and behind, side straps between them: what is before and behind a torus, or halves of one run.
    fn anterior_posterior(&self) -> Tried {
        let rule = self.facts.rules.get("palatal_ap_strap_mm").clone();
        let side = self.facts.rules.get("palatal_lateral_strap_mm");
        let mut reasons = vec![format!(
            "{}; side straps {} wide",
            self.rule_words("a strap before and one behind", &rule),
            units::mm(side.number)
        )];
        let (front, rear, room) = match (self.runs.first(), self.runs.last()) {
            (Some(front), Some(rear)) if front != rear => (front, rear, front.width_mm.min(rear.width_mm)),
            (Some(one), _) => {
                reasons.push("nothing stands between them: both share one clear stretch, halved here".into());
                (one, one, one.width_mm / 2.0)
            }
            _ => {
                reasons.push(self.why_none());
                return self.none("anterior_posterior_palatal_strap", rule, reasons);
            }
        };
        if front != rear {
            reasons.push(format!("before: {}; behind: {}", self.run_words(front), self.run_words(rear)));
        }
        let figure = self.estimate(room);
        let mut verdict = self.verdict(&figure, &rule);
        let between = (front.stations.1, rear.stations.0);
        if let Some((mm, at)) = self.least_band(between).filter(|_| front != rear) {
            reasons.push(format!("side straps beside the torus: least {} {}", units::mm(mm), self.place(at)));
            if mm < side.number && verdict == Verdict::Fits {
                verdict = Verdict::Caution;
                reasons.push(format!("a side strap of {} does not fit there", units::mm(side.number)));
            }
        }
        let narrow = if front.width_mm <= rear.width_mm { front } else { rear };
        Tried {
            kind: "anterior_posterior_palatal_strap",
            at: self.middle((narrow.stations.0 + narrow.stations.1) / 2),
            figure: Some(figure),
            rule: Some(rule),
            verdict,
            reasons: self.with_gaps(reasons),
        }
    }

    /// A U open behind: bands beside the margins joined in front.
    fn horseshoe(&self) -> Tried {
        let rule = self.facts.rules.get("palatal_horseshoe_mm").clone();
        let mut reasons = vec![format!(
            "{}; the least rigid, taught for a torus that reaches to the rear of the hard palate",
            self.rule_words("a band on both sides, joined in front", &rule)
        )];
        let Some(front) = self.runs.first() else {
            reasons.push(self.why_none());
            return self.none("horseshoe", rule, reasons);
        };
        // The front of the U is as wide as its bands; behind it they go on.
        let strap = (front.stations.0..=front.stations.1)
            .find(|&i| {
                self.way.within(front, (front.stations.0, i)).is_some_and(|r| r.width_mm >= rule.number)
            })
            .unwrap_or(front.stations.1);
        let to = self.way.joined.1.max(strap);
        let Some((band, at)) = self.least_band((strap, to)) else {
            reasons.push(self.why_none());
            return self.none("horseshoe", rule, reasons);
        };
        reasons.push(format!("in front {}", self.run_words(front)));
        reasons.push(format!("band beside the margins: least {} {}", units::mm(band), self.place(at)));
        reasons.extend(self.torus_words());
        let (room, at) = if front.width_mm < band { (front.width_mm, front.stations.0) } else { (band, at) };
        let figure = self.estimate(room);
        let verdict = self.verdict(&figure, &rule);
        Tried {
            kind: "horseshoe",
            at: self.middle(at),
            figure: Some(figure),
            rule: Some(rule),
            verdict,
            reasons: self.with_gaps(reasons),
        }
    }

    /// A plate over what the way offers.
    fn plate(&self) -> Tried {
        let border = units::mm(self.facts.rules.number("palatal_border_mm"));
        let mut reasons = vec![format!(
            "covers the palate between the two sides and ends {border} from the margins or runs up onto the teeth"
        )];
        let from = self.runs.first().map(|r| r.stations.0);
        let to = self.runs.last().map(|r| r.stations.1);
        let length: f64 = from.zip(to).map_or(0.0, |(a, b)| {
            let middles: Vec<Point> = (a..=b).filter_map(|i| self.middle(i)).collect();
            middles.windows(2).map(|w| (w[1] - w[0]).norm()).sum()
        });
        let tori = self.torus_words();
        if tori.is_empty() {
            reasons.push("no torus stands in the way".into());
        } else {
            reasons.extend(tori);
            reasons.push(format!(
                "over a torus it is relieved by {} or cut out around it",
                units::mm(self.facts.rules.number("relief_mm"))
            ));
        }
        Tried {
            kind: "palatal_plate",
            figure: (length > 0.0).then(|| self.estimate(length)),
            rule: None,
            verdict: Verdict::Caution,
            at: from.and_then(|i| self.middle(i)),
            reasons: self.with_gaps(reasons),
        }
    }

    fn none(&self, kind: &'static str, rule: Rule, reasons: Vec<String>) -> Tried {
        let verdict = if self.whole { Verdict::Caution } else { Verdict::NotMeasured };
        Tried { kind, figure: None, rule: Some(rule), verdict, at: None, reasons: self.with_gaps(reasons) }
    }

    fn rule_words(&self, what: &str, rule: &Rule) -> String {
        let border = self.facts.rules.get("palatal_border_mm");
        format!(
            "{what}, {} wide or more ({}), {} from the gingival margins ({})",
            units::mm(rule.number),
            rule.shown().source,
            units::mm(border.number),
            border.shown().source
        )
    }

    fn why_none(&self) -> String {
        match self.torus_words().first() {
            Some(torus) => format!("nowhere clear from side to side: {torus}"),
            None => "nowhere clear from side to side: the zones beside the margins meet, or the palate is not recorded".into(),
        }
    }

    fn with_gaps(&self, mut reasons: Vec<String>) -> Vec<String> {
        if !self.whole {
            reasons.push("the palate is not measured all along the way".into());
        }
        reasons
    }

    /// The narrower of the two bands, where it is least between two stations.
    fn least_band(&self, (from, to): (usize, usize)) -> Least {
        let mut least: Least = None;
        for (i, s) in self.way.stations.iter().enumerate().take(to + 1).skip(from) {
            let Ok(section) = &s.section else { continue };
            let [right, left] = section.bands_mm();
            let mm = right.min(left);
            if least.is_none_or(|(best, _)| mm < best) {
                least = Some((mm, i));
            }
        }
        least
    }

    fn torus_words(&self) -> Vec<String> {
        let met = |i: usize| {
            let stations = self
                .way
                .stations
                .iter()
                .filter(|s| s.section.as_ref().is_ok_and(|c| c.tori.iter().any(|t| t.0 == i)));
            let behind: Vec<f64> = stations.map(|s| s.behind_mm).collect();
            Some((*behind.first()?, *behind.last()?))
        };
        (0..self.facts.tori.len())
            .filter_map(|i| {
                let (from, to) = met(i)?;
                let torus = self.facts.tori.get(i)?;
                Some(format!(
                    "{} torus, {} high, from {} to {} behind the foremost margin",
                    side_word(torus.side),
                    units::mm(torus.height_mm),
                    units::mm(from),
                    units::mm(to)
                ))
            })
            .collect()
    }

    fn strap_finding(&self, strap: &Tried) -> Finding {
        let (front, back) =
            (self.facts.tooth_words(self.way.teeth.0), self.facts.tooth_words(self.way.teeth.1));
        let words = match strap.verdict {
            Verdict::Fits => "A palatal strap fits",
            Verdict::Tight => "A palatal strap is tight",
            Verdict::NotMeasured => {
                "Room for a palatal strap: not measured, because the palate is not recorded all along the way"
            }
            _ if strap.figure.is_none() => "A single palatal strap has no way across",
            _ if !self.whole => "A palatal strap: only a part of the palate was measured",
            _ if self.possible => "A palatal strap is not judged before the possible torus is settled",
            _ => {
                "A single palatal strap does not fit; the other connectors are left for the dentist to choose from"
            }
        };
        let says = format!("{words}. Way from {front} back to {back}: {}.", strap.reasons.join("; "));
        let mut finding = Finding::new(CHECK.id, "palatal_strap", strap.verdict, says);
        if let Some(figure) = &strap.figure {
            finding = finding.figure(figure, Unit::Mm);
        }
        if let Some(rule) = &strap.rule {
            finding = finding.limit(rule.shown());
        }
        match strap.at {
            Some(at) => finding.at(Where::tooth(self.way.teeth.0).at(&at)),
            None => finding,
        }
    }

    /// Each torus that the way meets.
    fn tori(&self) -> Vec<Finding> {
        let words = self.torus_words();
        words
            .into_iter()
            .map(|w| {
                let says = format!("In the way of a palatal connector stands a {w}.");
                Finding::new(CHECK.id, "torus_in_palatal_way", Verdict::Caution, says)
            })
            .collect()
    }

    /// Where the palate could not be measured.
    fn gaps(&self) -> Option<Finding> {
        let lacking = lacking(self.facts, self.way);
        let (first, last) = (lacking.first()?, lacking.last()?);
        let reason = first.section.as_ref().err()?;
        let mut teeth: Vec<Tooth> = lacking.iter().flat_map(|s| s.teeth).collect();
        teeth.sort_by_key(|t| t.along());
        teeth.dedup();
        let names: Vec<String> = teeth.iter().map(|t| self.facts.tooth_words(*t)).collect();
        let says = format!(
            "The palate was not measured everywhere between {} and {} behind the foremost margin, beside {}, because {}.",
            units::mm(first.behind_mm),
            units::mm(last.behind_mm),
            names.join(", "),
            reason.because
        );
        let finding = Finding::new(CHECK.id, "palate_with_gaps", Verdict::Caution, says)
            .at(Where::default().at(&first.limits[0].0));
        Some(match &reason.settled_by {
            Some(what) => finding.settled_by(what.clone()),
            None => finding,
        })
    }

    /// What no scan tells.
    fn rear(&self) -> Finding {
        Finding::new(
            CHECK.id,
            "palate_rear_not_recorded",
            Verdict::Caution,
            "No scan marks where the hard palate ends: how far back a strap may stand has to be felt in the mouth.",
        )
        .settled_by("the line between hard and soft palate, felt and drawn on the cast")
    }
}
