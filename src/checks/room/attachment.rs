//! Room for the attachment behind the abutment of a distal extension, by common practice and by the case's own parts.

use super::{CHECK, Part, attachment_asked, ridge};
use crate::anatomy::Span;
use crate::case::{Attachment, Tooth};
use crate::estimate::{Estimate, NotMeasured, Source};
use crate::facts::{Facts, RIDGE_DEPTHS_MM};
use crate::locate::Surface;
use crate::measure::crest_line::CrestLine;
use crate::measure::site_room::{self, SiteAsked, SiteRoom, SiteSettings};
use crate::mesh::Mesh;
use crate::report::{Finding, Opposing, Question, SiteShown, StackPart, Station, Verdict, Where, WorstPlace};
use crate::rules::{Mark, Rule, Sense, judge as judged};
use crate::space::{Plane, Point, across, hypot};
use crate::units::{self, Unit};

/// Half the side of the square that stands for the planned occlusal plane, mm.
const PLANE_HALF_MM: f64 = 100.0;
/// A place this near to the plane lies on it, mm.
const ON_PLANE_MM: f64 = 1e-6;
/// Farther from its crest a mark of an attachment belongs to another span, mm.
const MARK_FAR_MM: f64 = 5.0;
/// Radius of curvature of a cusp or a ridge, mm, by which a triangle's edge gives its chord error.
const CURVE_MM: f64 = 3.0;

/// A site to judge.
#[derive(Clone, Copy)]
pub(super) struct Site<'a> {
    pub facts: &'a Facts<'a>,
    pub span: &'a Span,
    pub line: &'a CrestLine,
    pub profile: &'a [Station],
    pub name: &'a str,
}

/// A distance between the arches at `at` with what it is subject to; `per_degree_mm` and `per_place_mm` say how it
/// follows the opening direction and the placement of the crest.
pub(super) fn estimate(
    facts: &Facts<'_>,
    mm: f64,
    at: &Point,
    per_degree_mm: f64,
    per_place_mm: f64,
) -> Estimate {
    let accuracy = &facts.case.file.accuracy;
    let chord = |mesh: &Mesh| mesh.mean_edge_mm() * mesh.mean_edge_mm() / (8.0 * CURVE_MM);
    let over = facts.opposing.as_ref().map_or(0.0, |o| chord(o.mesh()));
    let lever = facts.rules.number("articulation_lever_deg");
    let relation = facts.opening.as_ref().map_or(accuracy.articulation_mm, |up| {
        let standing = facts.articulation.articulation_mm_at(up, at, accuracy.articulation_mm, lever);
        hypot(standing, facts.relation.as_ref().map_or(0.0, |r| r.uncertainty_mm(at, up)))
    });
    let direction = facts.restored.anatomy.frame.as_ref().map_or(1.0, |f| f.uncertainty_deg);
    Estimate::new(mm, vec![])
        .with(Source::Scan, std::f64::consts::SQRT_2 * accuracy.scan_mm)
        .with(Source::Articulation, relation)
        .with(Source::Direction, per_degree_mm * direction)
        .with(Source::Spacing, hypot(chord(facts.restored.mesh()), over))
        .with(Source::Marks, per_place_mm)
}

/// Places of the crown of a tooth of the restored arch; empty where it is not known.
pub(super) fn crown_points(facts: &Facts<'_>, tooth: Option<Tooth>) -> Vec<Point> {
    let mesh = facts.restored.mesh();
    tooth
        .and_then(|t| facts.restored.anatomy.crown(t))
        .map_or_else(Vec::new, |c| c.vertices.iter().map(|&v| mesh.vertex(v)).collect())
}

impl Site<'_> {
    pub(super) fn settings(&self) -> SiteSettings {
        let rules = self.facts.rules;
        let own = self.facts.case.file.attachment.as_ref();
        SiteSettings {
            zone_mm: rules.number("site_length_mm"),
            clear_mm: rules.number("site_clear_of_abutment_mm"),
            length_mm: own.map_or(rules.number("site_default_length_mm"), |a| a.length_mm),
            width_mm: own.map_or(rules.number("site_default_width_mm"), |a| a.width_mm),
            tilt_deg: rules.number("site_tilt_deg"),
        }
    }

    /// The place that the case marks for this span's attachment.
    pub(super) fn marked(&self, crest: &[Point]) -> Option<Point> {
        let far = |p: &Point| crest.iter().map(|c| (c - p).norm()).fold(f64::INFINITY, f64::min);
        self.facts.case.file.marks.attachment_at.iter().copied().find(|p| far(p) <= MARK_FAR_MM)
    }

    fn measure(&self, opposing: &Surface) -> Result<SiteRoom, NotMeasured> {
        let facts = self.facts;
        let crown = crown_points(facts, self.span.front);
        let crest: Vec<Point> = self.line.stations(0.5).into_iter().map(|s| s.1).collect();
        site_room::best(&SiteAsked {
            restored: &facts.restored.surface,
            opposing,
            opening: facts.opening.clone()?,
            crest: &crest,
            crown: &crown,
            at: self.marked(&crest),
            settings: self.settings(),
        })
    }

    pub(super) fn over_ridge(&self, from_mm: f64, to_mm: f64) -> bool {
        self.profile
            .iter()
            .any(|s| s.opposing == Opposing::Ridge && (from_mm - 0.5..=to_mm + 0.5).contains(&s.s_mm))
    }

    fn words(&self, room: &SiteRoom) -> String {
        let middle = units::mm((room.from_mm + room.to_mm) / 2.0);
        match self.span.front {
            Some(front) => format!("{}, {middle} behind {front}", self.name),
            None => format!("{}, {middle} behind its front end", self.name),
        }
    }

    fn place(&self, room: &SiteRoom) -> Where {
        Where::span(&self.span.teeth).at(&room.at).words(self.words(room))
    }

    fn not_measured(&self, reason: &NotMeasured) -> Finding {
        Finding::not_measured(
            CHECK.id,
            "attachment_room",
            &format!("Room for an attachment over {}", self.name),
            reason,
        )
        .at(Where::span(&self.span.teeth))
    }
}

/// What ends the room over an opposing ridge: the planned occlusal plane, and whatever of the opposing arch stands nearer.
fn ceiling(plane: &Plane, at: &Point, other: &Mesh) -> Option<Surface> {
    let (u, v) = across(&plane.normal);
    let corner = |x: f64, y: f64| at + (u * x + v * y) * PLANE_HALF_MM;
    let corners = vec![corner(-1., -1.), corner(1., -1.), corner(1., 1.), corner(-1., 1.)];
    let square = Mesh::new(corners, vec![[0, 1, 2], [0, 2, 3]]).ok()?;
    Some(Surface::new(&Mesh::together([&square, other])))
}

/// Room where the opposing arch has a ridge: to the planned occlusal plane, and to what stands below it. With the words
/// for what ends it.
fn split(site: &Site<'_>, other: &Mesh) -> Option<(SiteRoom, &'static str)> {
    let marks = site.facts.case.file.marks.occlusal_plane.as_ref()?;
    let plane = Plane::through(&marks[0], &marks[1], &marks[2])?;
    let room = site.measure(&ceiling(&plane, &marks[0], other)?).ok()?;
    let to = if plane.height_mm(&room.opposing_at).abs() < ON_PLANE_MM {
        "to the planned occlusal plane, over an opposing ridge whose denture takes the rest"
    } else {
        "to what stands below the planned occlusal plane, beside an opposing ridge whose denture takes the rest"
    };
    Some((room, to))
}

/// Measures and judges a site: what goes into the span, and the findings and questions into `part`.
pub(super) fn judge(site: &Site<'_>, part: &mut Part) -> Option<SiteShown> {
    let other = site.facts.opposing.as_ref()?;
    let room = match site.measure(&other.surface) {
        Ok(room) => room,
        Err(reason) => {
            part.findings.push(site.not_measured(&reason));
            return None;
        }
    };
    let settings = site.settings();
    if !site.over_ridge(room.along_crest_mm[0], room.along_crest_mm[1]) {
        judge_room(site, &room, "to the opposing arch", false, part);
        return Some(shown(site, &room, &settings));
    }
    match split(site, other.surface.mesh()) {
        Some((room, to)) => {
            judge_room(site, &room, to, true, part);
            Some(shown(site, &room, &settings))
        }
        None => {
            let reason = NotMeasured::new(
                format!(
                    "an opposing ridge stands there, and the {} are shared with an opposing denture",
                    units::mm(room.room_mm)
                ),
                "the planned occlusal plane in [marks] occlusal_plane",
            );
            part.findings.push(site.not_measured(&reason).with("opposing", "ridge"));
            None
        }
    }
}

/// Says that the footprint is wider than the ridge under it.
fn wider_than_the_ridge(site: &Site<'_>, room: &SiteRoom) -> Option<Finding> {
    let facts = site.facts;
    let index = facts.restored.anatomy.spans.iter().position(|s| s.teeth == site.span.teeth)?;
    let [from, to] = room.along_crest_mm;
    let under = facts.ridges.get(index)?.iter().filter(|s| (from - 0.5..=to + 0.5).contains(&s.s_mm));
    let narrowest = under.filter_map(|s| s.widths[0]).min_by(|a, b| a.width_mm.total_cmp(&b.width_mm))?;
    let width_mm = site.settings().width_mm;
    if width_mm <= narrowest.width_mm {
        return None;
    }
    let figure = ridge::width_estimate(facts, &narrowest);
    let says = format!(
        "The footprint over {} is {} wide; the ridge under it is {} wide, {} under its crest. The body reaches beyond the ridge, \
         over cheek or tongue, of which the scan tells nothing.",
        site.name,
        units::mm(width_mm),
        units::mm(narrowest.width_mm),
        units::mm(RIDGE_DEPTHS_MM[0])
    );
    Some(
        Finding::new(CHECK.id, "footprint_wider_than_ridge", Verdict::Caution, says)
            .figure(&figure, Unit::Mm)
            .at(site.place(room))
            .settled_by("a narrower attachment, or a trial on the cast"),
    )
}

fn shown(site: &Site<'_>, room: &SiteRoom, settings: &SiteSettings) -> SiteShown {
    let required = site.facts.case.file.attachment.as_ref().map(Attachment::required_mm);
    SiteShown {
        from_mm: units::json(room.from_mm),
        to_mm: units::json(room.to_mm),
        along_crest_mm: room.along_crest_mm.map(units::json),
        room_mm: units::json(room.room_mm),
        pointwise_mm: room.pointwise_mm.map(units::json),
        required_mm: required.map(units::json),
        spare_mm: required.map(|r| units::json(room.room_mm - r)),
        at_mm: units::json_place(&room.at),
        footprint_mm: [settings.length_mm, settings.width_mm],
        tilt_deg: room.tilt_deg.map(units::json),
        worst: Some(WorstPlace {
            along_crest_mm: units::json(room.worst.1),
            room_mm: units::json(room.worst.0),
        }),
        stack: site
            .facts
            .case
            .file
            .attachment
            .as_ref()
            .map_or_else(Vec::new, |a| stacked(&a.parts(), room.room_mm)),
    }
}

/// The parts one over the other, each with the room left over it.
fn stacked(parts: &[(&str, f64)], room_mm: f64) -> Vec<StackPart> {
    let mut from_mm = 0.0;
    let mut stack = Vec::new();
    for &(part, height_mm) in parts {
        let to_mm = from_mm + height_mm;
        stack.push(StackPart {
            part: part.to_owned(),
            height_mm: units::json(height_mm),
            from_mm: units::json(from_mm),
            to_mm: units::json(to_mm),
            spare_mm: units::json(room_mm - to_mm),
        });
        from_mm = to_mm;
    }
    stack
}

/// The rule made of the case's own parts.
fn own_rule(attachment: &Attachment) -> Rule {
    Rule {
        id: "attachment_required_mm",
        sense: Sense::AtLeast,
        number: attachment.required_mm(),
        allowed: (0.0, 50.0),
        unit: Unit::Mm,
        source: "[attachment]",
        mark: Mark::Derived,
        says: "Relief, attachment, resin, tooth and adjustment as the case file gives them",
        changed: false,
    }
}

pub(super) fn stack(a: &Attachment) -> String {
    let parts = a.parts();
    let there = parts.iter().filter(|(_, mm)| *mm > 0.0);
    there.map(|(what, mm)| format!("{what} {}", units::mm(*mm))).collect::<Vec<_>>().join(", ")
}

/// The findings of a measured room; `shared` where its ceiling is a plan, so that it can be short but never fits.
fn judge_room(site: &Site<'_>, room: &SiteRoom, to: &str, shared: bool, part: &mut Part) {
    let facts = site.facts;
    let figure = estimate(facts, room.room_mm, &room.at, room.per_degree_mm, room.per_shift_mm / 2.0);
    let practice = facts.rules.get("attachment_room_mm").clone();
    let mut rules = vec![("attachment_room", practice)];
    if let Some(own) = &facts.case.file.attachment {
        rules.push(("own_parts", own_rule(own)));
    }
    let mut wanting = None;
    for (code, rule) in rules {
        let verdict = match judged(&figure, &rule) {
            _ if !attachment_asked(facts) => Verdict::Caution,
            Verdict::Fits if shared => Verdict::Caution,
            Verdict::Fits | Verdict::Tight if !room.is_covered() => Verdict::NotMeasured,
            clear => clear,
        };
        let finding = finding(site, room, (code, &rule, verdict), &figure, to);
        if matches!(verdict, Verdict::Short | Verdict::Tight) {
            wanting = Some(finding.says.clone());
        }
        part.findings.push(finding);
    }
    part.findings.extend(wider_than_the_ridge(site, room));
    if let Some(because) = wanting {
        part.questions.push(Question {
            to: "dentist".into(),
            text: format!(
                "Please confirm the bite registration over {}; if it stands, which is to give way there: the \
                 attachment, the opposing tooth or the height of the bite?",
                site.name
            ),
            because,
        });
    }
}

fn finding(
    site: &Site<'_>,
    room: &SiteRoom,
    (code, rule, verdict): (&str, &Rule, Verdict),
    figure: &Estimate,
    to: &str,
) -> Finding {
    let wanted = match &site.facts.case.file.attachment {
        Some(own) if code == "own_parts" => format!("{} are needed ({})", units::mm(rule.number), stack(own)),
        _ => format!(
            "{} are wanted for a hinge with its tooth ({})",
            units::mm(rule.number),
            Mark::CommonPractice.words()
        ),
    };
    let pointwise = room
        .pointwise_mm
        .map_or(String::new(), |mm| format!("; point by point the least gap is {}", units::mm(mm)));
    let worst = format!(
        "; least in the zone {}, {} along the crest",
        units::mm(room.worst.0),
        units::mm(room.worst.1)
    );
    let mut says = format!(
        "At {} a rigid body finds {} {to}; {wanted}{pointwise}{worst}.",
        site.words(room),
        units::mm(room.room_mm)
    );
    if !room.is_covered() {
        says.push_str(&format!(
            " Opposing surface stands over only {} % of the footprint; what is missing there is not counted as room.",
            units::digits(room.covered * 100.0, 0)
        ));
    }
    if room.tissue_covered < 0.95 {
        says.push_str(" The footprint reaches beyond the scanned ridge.");
    }
    let mut finding = Finding::new(CHECK.id, code, verdict, says)
        .figure(figure, Unit::Mm)
        .limit(rule.shown())
        .at(site.place(room))
        .with("from_mm", units::json(room.from_mm))
        .with("to_mm", units::json(room.to_mm))
        .with("worst_room_mm", units::json(room.worst.0))
        .with("covered_share", units::json(room.covered));
    if let Some(mm) = room.pointwise_mm {
        finding = finding.with("pointwise_mm", units::json(mm));
    }
    if !room.is_covered() {
        finding = finding.settled_by("a scan of the opposing arch without a hole over the site");
    }
    finding
}
