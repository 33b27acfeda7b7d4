//! The scene of a case: what its scan and its file tell of abutments, rests, plates, clasps and bases.

use super::super::clasp_arms;
use crate::anatomy::{Crown, KnownFrame, Span, spans};
use crate::case::{Clasp, Rest, RestPlace, SpanKind, Surface, Tooth};
use crate::estimate::{Measured, NotMeasured};
use crate::facts::Facts;
use crate::measure::crest_line::CrestLine;
use crate::measure::tooth_axes::ToothAxes;
use crate::mechanics::bed::BedFace;
use crate::mechanics::clasp_flexure;
use crate::mechanics::scene::{self as model, Abutment, Base, ClaspTip, Plate, Scene};
use crate::space::{Point, Vector, direction};

/// A face that leans from the occlusal direction by more than its cosine tells bears nothing: it is blocked out.
const LEAST_FACING: f64 = 0.05;
/// Place of a rest from the middle of the crown toward its end, as a share of half its size, where no seat was read.
const REST_SHARE: f64 = 0.75;
/// How much of a firm tooth's stiffness is left at each grade of mobility; this project's choice.
const FIRMNESS: [f64; 4] = [1.0, 0.5, 0.25, 0.1];

/// A clasp in the scene.
#[derive(Clone, Copy, Debug)]
pub(super) struct ClaspRead {
    pub clasp: Clasp,
    pub below_mm: Option<f64>,
    pub depth_mm: f64,
}

/// A case as the model takes it.
#[derive(Debug)]
pub(super) struct SceneRead<'a> {
    pub scene: Scene,
    /// Tooth of each abutment.
    pub teeth: Vec<Tooth>,
    /// Rests, as in the scene.
    pub rests: Vec<Rest>,
    /// Clasps, as in the scene.
    pub clasps: Vec<ClaspRead>,
    /// Span of each base.
    pub spans: Vec<&'a Span>,
    /// What was taken for granted, in sentences.
    pub taken: Vec<String>,
}

/// Reads the scene.
pub(super) fn read<'a>(facts: &'a Facts<'_>) -> Measured<SceneRead<'a>> {
    let known = facts.restored.anatomy.frame.as_ref().map_err(Clone::clone)?;
    let mut taken = Vec::new();
    let (bases, spans) = bases(facts, known, &mut taken)?;
    let mut at = Reading { facts, teeth: Vec::new(), abutments: Vec::new() };
    let rests = rests(&mut at, &spans, &mut taken)?;
    let clasps = clasps(&mut at, &mut taken);
    let plates = plates(&at, &spans);
    let withdrawal = facts.path.as_ref().map_or(known.frame.occlusal, |p| p.withdrawal);
    let mut scene = Scene {
        origin: known.frame.origin,
        occlusal: known.frame.occlusal,
        anterior: known.frame.anterior,
        left: known.frame.left,
        withdrawal,
        abutments: Vec::new(),
        rests: rests.iter().map(|(_, r)| *r).collect(),
        plates,
        clasps: clasps.iter().map(|(_, c)| *c).collect(),
        bases,
    };
    for (base, span) in scene.bases.iter_mut().zip(&spans) {
        base.front = span.front.and_then(|t| at.teeth.iter().position(|k| *k == t));
        if base.front.is_none() && base.extension {
            base.front = span.front.and_then(|t| at.abutment(t).ok());
        }
    }
    scene.abutments = at.abutments;
    Ok(SceneRead {
        scene,
        teeth: at.teeth,
        rests: rests.into_iter().map(|(r, _)| r).collect(),
        clasps: clasps.into_iter().map(|(c, _)| c).collect(),
        spans,
        taken,
    })
}

/// Abutments taken up so far.
struct Reading<'a, 'c> {
    facts: &'a Facts<'c>,
    teeth: Vec<Tooth>,
    abutments: Vec<Abutment>,
}

impl Reading<'_, '_> {
    fn crown(&self, tooth: Tooth) -> Measured<(&Crown, ToothAxes)> {
        let anatomy = &self.facts.restored.anatomy;
        let crown = anatomy.crown(tooth).ok_or_else(|| {
            let words = self.facts.tooth_words(tooth);
            NotMeasured::new(
                format!("the crown of {words} is not known"),
                format!("[marks] margins for {words}"),
            )
        })?;
        Ok((crown, ToothAxes::of(self.facts.restored.mesh(), crown, anatomy)?))
    }

    /// Lowest and highest place of a crown along the occlusal direction, from its axes' centre, mm.
    fn heights(&self, crown: &Crown, axes: &ToothAxes) -> [f64; 2] {
        let mesh = self.facts.restored.mesh();
        crown.vertices.iter().fold([0.0, 0.0], |[low, high], &v| {
            let h = axes.local(&mesh.vertex(v))[2];
            [f64::min(low, h), f64::max(high, h)]
        })
    }

    /// Index of a tooth among the abutments; it is taken up where it is new.
    fn abutment(&mut self, tooth: Tooth) -> Measured<usize> {
        if let Some(known) = self.teeth.iter().position(|t| *t == tooth) {
            return Ok(known);
        }
        let (crown, axes) = self.crown(tooth)?;
        let [low, high] = self.heights(crown, &axes);
        let declared = &self.facts.case.file.support;
        let height = high - low;
        let rules = self.facts.rules;
        let usual = (rules.number("support_root_short_mm") + rules.number("support_root_long_mm")) / 2.0;
        let ratio = declared.crown_root_ratio.get(&tooth);
        let grade = declared.mobility.get(&tooth).copied().unwrap_or(0);
        let firmness_share = FIRMNESS.get(usize::from(grade)).copied().unwrap_or(1.0);
        let abutment = Abutment {
            crown: axes.centre + axes.occlusal.into_inner() * ((low + high) / 2.0),
            mesial: axes.mesial,
            buccal: axes.buccal,
            neck_mm: height / 2.0,
            root_share: ratio.map_or(1.0, |r| height / r / usual),
            firmness_share,
        };
        self.abutments.push(abutment);
        self.teeth.push(tooth);
        Ok(self.teeth.len() - 1)
    }

    /// Place of a rest: the seat that was read there, else its usual place on the crown.
    fn rest_at(&self, rest: &Rest) -> Measured<Point> {
        let seat = self.facts.seat_of(rest).and_then(|s| s.seat.as_ref().ok());
        if let Some(seat) = seat {
            return Ok(seat.at);
        }
        let (crown, axes) = self.crown(rest.tooth)?;
        let [low, high] = self.heights(crown, &axes);
        let up = axes.occlusal.into_inner();
        Ok(match rest.place {
            RestPlace::Mesial => {
                axes.centre + axes.mesial * (REST_SHARE * axes.half_mm[0]) + up * (0.8 * high)
            }
            RestPlace::Distal => {
                axes.centre - axes.mesial * (REST_SHARE * axes.half_mm[0]) + up * (0.8 * high)
            }
            RestPlace::Cingulum => {
                axes.centre - axes.buccal * (REST_SHARE * axes.half_mm[1]) + up * ((low + high) / 2.0)
            }
            RestPlace::Incisal => axes.centre + up * high,
        })
    }
}

/// The bases and their spans. A bounded span whose ridge is not known is carried by its teeth alone.
fn bases<'a>(
    facts: &'a Facts<'_>,
    known: &KnownFrame,
    taken: &mut Vec<String>,
) -> Measured<(Vec<Base>, Vec<&'a Span>)> {
    let spans = &facts.restored.anatomy.spans;
    if spans.is_empty() {
        return Err(NotMeasured::new("no span is known", "missing teeth in [chart]"));
    }
    let mut bases = Vec::new();
    let mut of = Vec::new();
    for span in spans {
        match base(facts, known, span) {
            Ok(base) => {
                bases.push(base);
                of.push(span);
            }
            Err(reason) if span.kind == SpanKind::DistalExtension => return Err(reason),
            Err(reason) => {
                taken.push(format!("{} is left out, because {}", spans::name(&span.teeth), reason.because))
            }
        }
    }
    if bases.is_empty() {
        return Err(NotMeasured::new(
            "the surface of no residual ridge is known",
            "the crests in [marks] crests, or the crowns beside the spans in [marks] margins",
        ));
    }
    Ok((bases, of))
}

fn base(facts: &Facts<'_>, known: &KnownFrame, span: &Span) -> Measured<Base> {
    let crest = span.crest.as_ref().map_err(Clone::clone)?;
    let name = spans::name(&span.teeth);
    let lacking = || {
        NotMeasured::new(
            format!("the surface of the residual ridge of {name} is not known"),
            "a crest in [marks] crests that lies on the ridge",
        )
    };
    let line = CrestLine::new(crest).ok_or_else(lacking)?;
    let up = known.frame.occlusal.into_inner();
    let mesh = facts.restored.mesh();
    let bed: Vec<BedFace> = span
        .faces
        .iter()
        .filter_map(|&f| {
            let normal = mesh.face_normal(f)?;
            let faces = normal.dot(&up) > LEAST_FACING;
            faces.then(|| BedFace::new(mesh.face_centre(f), normal, mesh.face_area_mm2(f)))
        })
        .collect();
    if bed.is_empty() {
        return Err(lacking());
    }
    let middle = line.at(line.length_mm() / 2.0);
    let chord = line.at(line.length_mm()) - line.at(0.0);
    let out = direction(chord.cross(&up)).ok_or_else(lacking)?.into_inner();
    let outward = if out.dot(&(middle - known.frame.origin)) < 0.0 { -out } else { out };
    Ok(Base {
        extension: span.kind == SpanKind::DistalExtension,
        front: None,
        crest: line.stations(1.0).into_iter().map(|s| s.1).collect(),
        outward,
        joint_at: joint_at(facts, &line, up),
        bed,
    })
}

/// Middle of the hinge or attachment: as near to the abutment as it may stand, in the middle of its height.
fn joint_at(facts: &Facts<'_>, line: &CrestLine, up: Vector) -> Point {
    let number = |id: &str| facts.rules.number(id);
    let own = facts.case.file.attachment.as_ref();
    let length = own.map_or(number("site_default_length_mm"), |a| a.length_mm);
    let height = own.map_or(0.0, |a| a.relief_mm + a.height_mm / 2.0);
    line.at(number("site_clear_of_abutment_mm") + length / 2.0) + up * height
}

/// The rests of the case, or those that are usual where it names none.
fn rests(
    at: &mut Reading<'_, '_>,
    spans: &[&Span],
    taken: &mut Vec<String>,
) -> Measured<Vec<(Rest, model::Rest)>> {
    let asked = &at.facts.case.file.design.rests;
    let wanted = if asked.is_empty() { usual(at.facts, spans) } else { asked.clone() };
    let mut all = Vec::new();
    let mut lacking = None;
    for rest in &wanted {
        match at.abutment(rest.tooth).and_then(|abutment| Ok((abutment, at.rest_at(rest)?))) {
            Ok((abutment, place)) => all.push((*rest, model::Rest { abutment, at: place })),
            Err(reason) => {
                taken.push(format!("the rest on {} is left out, because {}", rest.tooth, reason.because));
                lacking = Some(reason);
            }
        }
    }
    if asked.is_empty() && !all.is_empty() {
        let words: Vec<String> = all.iter().map(|(r, _)| format!("{} {}", r.tooth, r.place.word())).collect();
        taken.push(format!("no rests are named, so the usual ones are taken: {}", words.join(", ")));
    }
    match (all.as_slice(), lacking) {
        ([], Some(reason)) => Err(reason),
        ([], None) => Err(NotMeasured::new(
            "the framework is free to move about the ridge: no tooth carries a rest",
            "rests in [design]",
        )),
        ([(one, _)], _) => Err(NotMeasured::new(
            format!(
                "the framework is free to move about its only rest, the {} one on {}: one place holds neither its roll nor its \
                 tipping",
                one.place.word(),
                at.facts.tooth_words(one.tooth)
            ),
            "at least two rests in [design] rests, on teeth whose crowns are known",
        )),
        _ => Ok(all),
    }
}

/// Rests where nothing is asked for: mesial on the tooth in front of an extension, beside each bounded span, and on the
/// teeth named as abutments; a front tooth has its cingulum. On a side without a span the first molar and the
/// premolar that stands most distally carry one each.
fn usual(facts: &Facts<'_>, spans: &[&Span]) -> Vec<Rest> {
    let mut all: Vec<Rest> = Vec::new();
    let mut add = |tooth: Tooth, place: RestPlace| {
        let place = if tooth.is_front() { RestPlace::Cingulum } else { place };
        if !all.iter().any(|r| r.tooth == tooth) {
            all.push(Rest { tooth, place });
        }
    };
    for span in spans {
        match span.kind {
            SpanKind::DistalExtension => span.front.into_iter().for_each(|t| add(t, RestPlace::Mesial)),
            SpanKind::Bounded => {
                span.front.into_iter().for_each(|t| add(t, RestPlace::Distal));
                span.back.into_iter().for_each(|t| add(t, RestPlace::Mesial));
            }
        }
    }
    facts.case.file.design.abutments.iter().for_each(|&t| add(t, RestPlace::Mesial));
    let stands = |t: &Tooth| facts.restored.anatomy.crown(*t).is_some();
    for sign in [-1_i8, 1] {
        let tooth = |place: i8| Tooth::at(facts.restored.arch, sign * place).filter(stands);
        if spans.iter().any(|s| s.teeth.iter().any(|t| t.along().signum() == sign)) {
            continue;
        }
        [6, 7].into_iter().find_map(tooth).into_iter().for_each(|t| add(t, RestPlace::Mesial));
        [5, 4, 3].into_iter().find_map(tooth).into_iter().for_each(|t| add(t, RestPlace::Distal));
    }
    all
}

/// The clasps of the case whose tips are on the scan.
fn clasps(at: &mut Reading<'_, '_>, taken: &mut Vec<String>) -> Vec<(ClaspRead, ClaspTip)> {
    let mut all = Vec::new();
    for read in clasp_arms::read(at.facts) {
        let one = read.tip.as_ref().map_err(Clone::clone).and_then(|tip| {
            let arm = read.arm.as_ref().map_err(Clone::clone)?;
            let stiffness =
                clasp_flexure::stiffness_n_per_mm(arm).map_err(|e| NotMeasured::only(e.to_string()))?;
            let abutment = at.abutment(read.clasp.tooth)?;
            let tip_of = ClaspTip {
                abutment,
                at: tip.at,
                outward: tip.outward,
                wall_deg: read.wall_deg,
                stiffness_n_per_mm: stiffness,
            };
            Ok((ClaspRead { clasp: read.clasp, below_mm: tip.below_mm, depth_mm: tip.depth_mm }, tip_of))
        });
        match one {
            Ok(one) => all.push(one),
            Err(reason) => {
                let on = read.clasp.tooth;
                taken.push(format!("the clasp on {on} is left out, because {}", reason.because));
            }
        }
    }
    if at.facts.case.file.design.clasps.is_empty() {
        taken.push("no clasps are named, so none holds the denture down".into());
    }
    all
}

/// A plate on each abutment that stands beside a span: it touches from where the crown is fullest toward the span down
/// over the height of guiding plane that is taught there, as if one were prepared.
fn plates(at: &Reading<'_, '_>, spans: &[&Span]) -> Vec<Plate> {
    let mut all = Vec::new();
    for span in spans {
        let ends = span.crest.as_ref().ok().and_then(|c| Some([c.first()?, c.last()?]));
        let row = match span.kind {
            SpanKind::DistalExtension => "guiding_plane_height_extension_mm",
            SpanKind::Bounded => "guiding_plane_height_tooth_mm",
        };
        let height = at.facts.rules.number(row);
        for (tooth, end) in [span.front, span.back].into_iter().zip([0, 1]) {
            let Some(tooth) = tooth else { continue };
            let Some(abutment) = at.teeth.iter().position(|t| *t == tooth) else { continue };
            let (Ok((crown, axes)), Some(ends)) = (at.crown(tooth), ends) else { continue };
            let toward = ends[end] - axes.centre;
            let side = if toward.dot(&axes.mesial) > 0.0 { Surface::Mesial } else { Surface::Distal };
            let outward = axes.outward(side);
            let mesh = at.facts.restored.mesh();
            let fullest = crown
                .vertices
                .iter()
                .map(|&v| mesh.vertex(v))
                .max_by(|a, b| a.coords.dot(&outward).total_cmp(&b.coords.dot(&outward)));
            let Some(top) = fullest else { continue };
            let foot = top - axes.occlusal.into_inner() * height;
            all.extend([top, foot].map(|at| Plate { abutment, at, outward }));
        }
    }
    all
}
