//! Rests, what crosses the margins, the major connector, the parts over the ridges, and all of them against the opposing arch.

use super::arms::Arms;
use super::{Placed, connector_kind, said};
use crate::case::{RestPlace, SpanKind, Tooth};
use crate::checks::room::positions_in_excursion;
use crate::measure::framework::connectors::{self, BarStation, ConnectorSection};
use crate::measure::framework::laid::TOUCHING_MM;
use crate::measure::framework::parts::{Over, apart};
use crate::measure::framework::rests::{self, RestAsked};
use crate::measure::framework::{opposing, quantile, saddles};
use crate::mesh::VertexId;
use crate::report::{FrameworkFile, PartKind, PartShown};
use crate::space::Point;
use crate::units;

/// Half the breadth of palate over which a strap is cut, mm.
const STRAP_HALF_MM: f64 = 10.0;
/// A section this much smaller than the others is where the connector ends, not its thinnest: share of the median.
const END_SHARE: f64 = 0.5;
/// Clearance from which each part is not named for itself, mm.
const CLEARLY_MM: f64 = 0.3;
/// Narrower crossings than this are the tip of something else, mm.
const LEAST_CROSSING_MM: f64 = 1.0;

impl Placed<'_, '_> {
    pub(super) fn rests(&self, file: &mut FrameworkFile) {
        let asked = &self.facts.case.file.design.rests;
        for rest in asked {
            match self.rest(rest.tooth, rest.place) {
                Some((part, thinnest)) => {
                    said::of_rest(self, &part, thinnest, file);
                    file.parts.push(PartShown { asked_for: true, ..part });
                }
                None => said::no_rest(self, rest, file),
            }
        }
        for seat in &self.facts.seats {
            if asked.iter().any(|r| r.tooth == seat.tooth && r.place == seat.place) {
                continue;
            }
            // Metal in a recess that nobody asked to be filled; one that the arm only passes stands off.
            let lies = |p: &PartShown| p.gap_mm.is_some_and(|g| g < 0.5) && p.thickness_mm.is_some();
            if let Some(part) = self.rest(seat.tooth, seat.place).map(|r| r.0).filter(lies) {
                said::rest_not_asked_for(self, &part, file);
                file.parts.push(PartShown { confidence: 0.6, ..part });
            }
        }
    }

    fn rest(&self, tooth: Tooth, place: RestPlace) -> Option<(PartShown, Option<Point>)> {
        let seat =
            self.facts.seats.iter().find(|s| s.tooth == tooth && s.place == place)?.seat.as_ref().ok()?.at;
        let axes = self.axes.get(&tooth)?;
        let asked = RestAsked { tooth, place, seat, axes, d: &self.up };
        let found = rests::read(self.framework, &self.cast, &self.near, &asked)?;
        let mut part = PartShown::new(PartKind::Rest, vec![tooth], units::json_place(&found.at));
        part.place = Some(place);
        part.confidence = 0.9;
        part.gap_mm = Some(units::json(found.gap_mm));
        part.least_gap_mm = Some(units::json(found.least_gap_mm));
        part.thickness_mm = found.thickness_mm.map(units::json);
        part.thickness_ray_mm = found.ray_mm.map(units::json);
        Some((part, found.thinnest_at))
    }

    pub(super) fn crossing_parts(&self, arms: &Arms, file: &mut FrameworkFile) {
        // An arm that runs near a margin crosses nothing.
        let wide: Vec<_> = self
            .crossings
            .iter()
            .filter(|c| c.width_mm >= LEAST_CROSSING_MM && !c.is_between() && !arms.pass(&c.at))
            .collect();
        for crossing in &wide {
            let mut part = PartShown::new(
                PartKind::MinorConnector,
                crossing.teeth.clone(),
                units::json_place(&crossing.at),
            );
            part.confidence = 0.7;
            part.height_mm = Some(units::json(crossing.width_mm));
            part.thickness_mm = crossing.thickness_mm().map(units::json);
            part.gap_mm = crate::measure::framework::median(crossing.gap_mm.clone()).map(units::json);
            part.least_gap_mm = quantile(crossing.gap_mm.clone(), 0.05).map(units::json);
            said::of_crossing(self, &part, file);
            file.parts.push(part);
        }
        let gaps: Vec<f64> = wide.iter().flat_map(|c| c.gap_mm.iter().copied()).collect();
        file.margin_gap_mm = quantile(gaps, 0.02).map(units::json);
        let mut nearest: Option<(f64, usize, usize)> = None;
        for i in 0..wide.len() {
            for j in i + 1..wide.len() {
                // Both ends of a short span face each other by nature.
                let beside_one_span = self.facts.restored.anatomy.spans.iter().any(|s| {
                    let borders = [s.front, s.back];
                    let has = |teeth: &[Tooth]| teeth.iter().any(|t| borders.contains(&Some(*t)));
                    has(&wide[i].teeth) && has(&wide[j].teeth)
                });
                let mm = apart(wide[i], wide[j]);
                if !beside_one_span && nearest.is_none_or(|n| mm < n.0) {
                    nearest = Some((mm, i, j));
                }
            }
        }
        if let Some((mm, i, j)) = nearest {
            said::of_apart(self, mm, wide[i], wide[j], file);
        }
    }

    pub(super) fn major_connector(&self, file: &mut FrameworkFile) {
        let kind = connector_kind(self.facts.restored.arch);
        let sections = match kind {
            PartKind::Bar => self.bar_sections(),
            _ => self.strap_sections(),
        };
        let sections = whole(sections);
        let Some(part) = connector_shown(kind, &sections) else {
            said::no_connector(self, kind, file);
            return;
        };
        let gaps: Vec<f64> =
            self.tissue.iter().filter(|o| !self.over_torus(o.vertex)).map(|o| o.gap_mm).collect();
        file.connector_relief_mm = quantile(gaps.clone(), 0.05).map(units::json);
        let part = PartShown {
            gap_mm: crate::measure::framework::median(gaps.clone()).map(units::json),
            least_gap_mm: quantile(gaps, 0.05).map(units::json),
            ..part
        };
        said::of_connector(self, &part, file);
        file.parts.push(part);
    }

    fn over_torus(&self, v: VertexId) -> bool {
        self.near[v as usize].is_some_and(|n| {
            self.facts.tori.iter().any(|t| t.faces.binary_search(&n.face).is_ok())
                || self
                    .facts
                    .tori
                    .iter()
                    .any(|t| crate::anatomy::curves::distance_mm(&t.outline, &n.at).is_some_and(|d| d < 1.0))
        })
    }

    fn bar_sections(&self) -> Vec<ConnectorSection> {
        let Some(Ok(way)) = &self.facts.lingual_way else { return Vec::new() };
        let stations: Vec<BarStation> = way
            .stations
            .iter()
            .filter_map(|s| {
                let wall = s.wall.as_ref().ok()?.line.clone();
                Some(BarStation { margin: s.margin, wall })
            })
            .collect();
        connectors::bar(self.framework, &self.cast, &stations, &self.up, &self.margins)
    }

    fn strap_sections(&self) -> Vec<ConnectorSection> {
        match &self.facts.restored.anatomy.frame {
            Ok(known) if known.anterior_known => {
                connectors::strap(self.framework, &self.cast, &known.frame, STRAP_HALF_MM)
            }
            _ => Vec::new(),
        }
    }

    pub(super) fn bases(&self, file: &mut FrameworkFile) {
        for (k, span) in self.facts.restored.anatomy.spans.iter().enumerate() {
            let Ok(crest) = &span.crest else { continue };
            let Some(found) = saddles::read(self.framework, (&self.near, &self.over), k, crest) else {
                said::no_base(span, file);
                continue;
            };
            let mut part = PartShown::new(PartKind::Base, span.teeth.clone(), units::json_place(&found.at));
            part.asked_for = true;
            part.confidence = 0.9;
            part.gap_mm = Some(units::json(found.relief_mm));
            part.least_gap_mm = Some(units::json(found.least_relief_mm));
            part.length_mm = Some(units::json(found.reach_mm));
            part.ridge_mm = Some(units::json(found.crest_mm));
            if span.kind == SpanKind::DistalExtension {
                part.stop_mm2 = Some(units::json(found.stop_mm2));
                part.stop_gap_mm = Some(units::json(found.stop_gap_mm));
            }
            said::of_base(self, span, &found, file);
            file.parts.push(part);
        }
    }

    /// Clearance of rests, arms and connector to the opposing arch, in occlusion and over the excursions.
    pub(super) fn against_opposing(&self, file: &mut FrameworkFile) {
        let Some(against) = self.against() else {
            said::no_opposing(file);
            return;
        };
        let moving = positions_in_excursion(self.facts, against.0);
        let mut worst: Option<(f64, Point, Option<Tooth>)> = None;
        let mut nearest_moving: Option<(opposing::Least, Option<Tooth>)> = None;
        let teeth: Vec<Tooth> = self.axes.keys().copied().collect();
        let mut groups: Vec<(Option<Tooth>, Vec<VertexId>)> = teeth
            .into_iter()
            .map(|t| (Some(t), self.vertices_over(|o| o == Over::CrownTop(t) || o == Over::CrownWall(t))))
            .filter(|(_, of)| !of.is_empty())
            .collect();
        groups.push((None, self.vertices_over(|o| matches!(o, Over::Tissue | Over::Ridge(_)))));
        for (tooth, of) in groups {
            let Some(least) = self.opposing_of(&of) else { continue };
            if worst.is_none_or(|w| least.mm < w.0) {
                worst = Some((least.mm, least.at, tooth));
            }
            let over_all = moving.iter().fold(least, |known, motion| {
                opposing::least(self.framework, against, &of, (motion, known.mm)).unwrap_or(known)
            });
            for part in file.parts.iter_mut().filter(|p| match tooth {
                Some(t) => matches!(p.kind, PartKind::Rest | PartKind::ClaspArm) && p.teeth.contains(&t),
                None => matches!(p.kind, PartKind::Bar | PartKind::Strap),
            }) {
                part.opposing_mm = Some(units::json(least.mm));
                part.opposing_moving_mm = (!moving.is_empty()).then(|| units::json(over_all.mm));
            }
            if least.mm < CLEARLY_MM {
                said::of_opposing(self, &least, tooth, file);
            }
            if over_all.mm < least.mm && over_all.mm < CLEARLY_MM {
                said::of_excursion(self, (&least, &over_all), tooth, file);
            }
            // The nearest of all in motion, where none comes as near as that.
            if !moving.is_empty() && nearest_moving.is_none_or(|n| over_all.mm < n.0.mm) {
                nearest_moving = Some((over_all, tooth));
            }
        }
        if let Some((mm, at, tooth)) = worst.filter(|w| w.0 >= CLEARLY_MM) {
            said::clear_of_opposing(self, mm, &at, tooth, file);
        }
        match nearest_moving {
            Some((least, tooth)) if file.findings.iter().all(|f| f.code != said::IN_EXCURSION) => {
                said::clear_in_excursions(self, &least, tooth, moving.len(), file);
            }
            Some(_) => {}
            None => said::no_excursions(self.facts, file),
        }
    }
}

/// The sections that are of the connector's body: not its ends.
fn whole(sections: Vec<ConnectorSection>) -> Vec<ConnectorSection> {
    let middle = |of: fn(&ConnectorSection) -> f64| {
        crate::measure::framework::median(sections.iter().map(of).collect()).unwrap_or(0.0)
    };
    let (height, thickness) = (middle(|s| s.height_mm), middle(|s| s.thickness_mm));
    let body = |s: &ConnectorSection| {
        s.height_mm > END_SHARE * height
            && s.thickness_mm > 0.25 * thickness
            && s.height_mm < height / END_SHARE
    };
    sections.iter().copied().filter(body).collect()
}

fn connector_shown(kind: PartKind, sections: &[ConnectorSection]) -> Option<PartShown> {
    let thin = sections.iter().min_by(|a, b| a.thickness_mm.total_cmp(&b.thickness_mm))?;
    let low = sections.iter().min_by(|a, b| a.height_mm.total_cmp(&b.height_mm))?;
    let mut part = PartShown::new(kind, Vec::new(), units::json_place(&thin.at));
    part.asked_for = true;
    part.confidence = if sections.len() >= 5 { 0.9 } else { 0.6 };
    part.thickness_mm = Some(units::json(thin.thickness_mm));
    part.height_mm = Some(units::json(low.height_mm));
    Some(part)
}

/// Whether a gap is contact.
pub(super) fn touches(gap_mm: f64) -> bool {
    gap_mm <= TOUCHING_MM
}
