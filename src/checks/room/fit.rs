//! The attachment in its best place, what it meets there, and its hinge.

use super::attachment::{Site, crown_points, estimate, stack};
use super::denture_teeth::Over;
use super::{CHECK, Part};
use crate::anatomy::Span;
use crate::case::{Attachment, HingeAxes, JointStop, Request};
use crate::facts::Facts;
use crate::measure::body_fit::{self, Body, Fit, FitAsked, Meet, Neighbour, Swing, Swung};
use crate::measure::clearance::Antagonist;
use crate::measure::crest_line::CrestLine;
use crate::measure::site_room::{SiteAsked, SiteSettings};
use crate::mesh::FaceId;
use crate::report::{
    Finding, FitShown, FreedomShown, HingeShown, MeetShown, SiteShown, SwingShown, Verdict, Where,
};
use crate::rules::{Mark, Rule, Sense, judge};
use crate::space::{Direction, Point, Vector, angle_deg, asin, direction};
use crate::units::{self, Unit};

/// A site where an attachment is to stand.
pub(super) struct Seated {
    /// Its span among those of the report.
    span: usize,
    crest: Vec<Point>,
    settings: SiteSettings,
    start: (f64, [f64; 2]),
    marked: Option<Point>,
    name: String,
}

impl Seated {
    /// `None` where no attachment is described, or an opposing ridge shares the space.
    pub(super) fn new(site: &Site<'_>, shown: &SiteShown, span: usize) -> Option<Seated> {
        let [from, to] = shown.along_crest_mm;
        site.facts.case.file.attachment.as_ref().filter(|_| !site.over_ridge(from, to))?;
        let crest: Vec<Point> = site.line.stations(0.5).into_iter().map(|s| s.1).collect();
        Some(Seated {
            span,
            marked: site.marked(&crest),
            crest,
            settings: site.settings(),
            start: ((from + to) / 2.0, shown.tilt_deg),
            name: site.name.to_owned(),
        })
    }
}

/// A fit with what it is of.
struct Placed<'a> {
    seated: &'a Seated,
    span: &'a Span,
    abutment: &'a [FaceId],
    fit: Fit,
}

/// Fits the attachment on every site, and tells what its hinges do.
pub(super) fn all(facts: &Facts<'_>, antagonist: &Antagonist<'_>, seated: Vec<Seated>, part: &mut Part) {
    let Some(attachment) = &facts.case.file.attachment else { return };
    let own = facts.case.attachment.as_ref().and_then(Body::of_mesh);
    let body = own.unwrap_or_else(|| Body::envelope(attachment.sizes_mm()));
    let fitted = |s: &Seated, along: Option<Vector>| one(facts, attachment, &body, s, along);
    let mut placed: Vec<Placed<'_>> = Vec::new();
    for seated in &seated {
        match (fitted(seated, None), facts.restored.anatomy.spans.get(seated.span)) {
            (Ok(fit), Some(span)) => {
                placed.push(Placed { seated, span, abutment: abutment(facts, span), fit });
            }
            (Err(reason), Some(span)) => {
                let what = format!("Fit of the attachment over {}", seated.name);
                part.findings.push(
                    Finding::not_measured(CHECK.id, "attachment_finds_no_place", &what, &reason)
                        .at(Where::span(&span.teeth)),
                );
            }
            (_, None) => {}
        }
    }
    if attachment.axes == HingeAxes::Parallel
        && let Some(common) = common_axis(&placed)
    {
        let along = common.cross(antagonist.opening());
        for p in &mut placed {
            if let Ok(fit) = fitted(p.seated, Some(toward(along, &p.fit.pose.along()))) {
                p.fit = fit;
            }
        }
    }
    let hinged = facts.case.file.design.request == Some(Request::Hinge) || attachment.joint.is_some();
    for (k, p) in placed.iter().enumerate() {
        let other =
            placed.iter().enumerate().find(|(j, _)| *j != k).map(|(_, p)| p).filter(|_| placed.len() == 2);
        let hinge = hinged.then(|| hinge(facts, antagonist, attachment, &body, p, other));
        part.findings.push(fits(facts, attachment, p));
        if let Some(hinge) = &hinge {
            part.findings.extend(swings(facts, p, hinge));
        }
        if let Some(shown) = part.spans.get_mut(p.seated.span) {
            shown.fit = Some(fit_shown(facts, antagonist, p, hinge));
        }
    }
    if hinged && !placed.is_empty() {
        part.findings.extend(axes(facts, attachment, &placed));
        if attachment.joint.is_none() {
            part.findings.push(stop_not_stated());
        }
    }
}

/// `v` or against it, whichever runs with `d`.
fn toward(v: Vector, d: &Vector) -> Vector {
    if v.dot(d) < 0.0 { -v } else { v }
}

/// The same of a direction.
fn running_with(d: Direction, other: &Direction) -> Direction {
    Direction::new_unchecked(toward(d.into_inner(), other))
}

fn abutment<'a>(facts: &'a Facts<'_>, span: &Span) -> &'a [FaceId] {
    span.front.and_then(|t| facts.restored.anatomy.crown(t)).map_or(&[], |c| c.faces.as_slice())
}

fn over_mm(a: &Attachment) -> f64 {
    a.resin_mm + a.tooth_mm + a.adjustment_mm
}

fn one(
    facts: &Facts<'_>,
    attachment: &Attachment,
    body: &Body,
    seated: &Seated,
    along: Option<Vector>,
) -> crate::estimate::Measured<Fit> {
    let none = || crate::estimate::NotMeasured::only("there is no opposing arch");
    let other = facts.opposing.as_ref().ok_or_else(none)?;
    let span = facts.restored.anatomy.spans.get(seated.span).ok_or_else(none)?;
    let crown = crown_points(facts, span.front);
    let site = SiteAsked {
        restored: &facts.restored.surface,
        opposing: &other.surface,
        opening: facts.opening.clone()?,
        crest: &seated.crest,
        crown: &crown,
        at: seated.marked,
        settings: SiteSettings { length_mm: body.length_mm(), width_mm: body.width_mm(), ..seated.settings },
    };
    body_fit::best(&FitAsked {
        site: &site,
        body,
        abutment: abutment(facts, span),
        start: seated.start,
        along,
        shift_mm: facts.rules.number("site_shift_mm"),
        relief_mm: attachment.relief_mm,
        over_mm: over_mm(attachment),
    })
}

/// The spare as a rule.
fn spare_rule() -> Rule {
    Rule {
        id: "attachment_spare_mm",
        sense: Sense::AtLeast,
        number: 0.0,
        allowed: (0.0, 0.0),
        unit: Unit::Mm,
        source: "[attachment]",
        mark: Mark::Derived,
        says: "Room over the attachment in its best place, less resin, tooth and adjustment",
        changed: false,
    }
}

fn fits(facts: &Facts<'_>, attachment: &Attachment, p: &Placed<'_>) -> Finding {
    let fit = &p.fit;
    let rule = spare_rule();
    let figure = estimate(facts, fit.spare_mm, &fit.pose.at, 0.0, 0.0);
    let body = if facts.case.attachment.is_some() { "mesh" } else { "envelope" };
    let meets: Vec<String> = fit.meets.iter().map(|m| meet_words(facts, p.span, m)).collect();
    let left = fit.freedom.as_ref().map_or_else(
        || "It does not find its place there.".to_owned(),
        |f| {
            format!(
                "From there it may be shifted {} toward the abutment and {} away from it, {} and {} across the crest, {} in height.",
                units::mm(f.along_mm[0]),
                units::mm(f.along_mm[1]),
                units::mm(f.across_mm[0]),
                units::mm(f.across_mm[1]),
                units::mm(f.vertical_mm)
            )
        },
    );
    let says = format!(
        "The attachment ({body}) stands best {} along the crest of {}, {} beside it, tilted by {}: {} to spare over {}. Beside \
         it: {}. {left}",
        units::mm(fit.s_mm),
        p.seated.name,
        units::mm(fit.across_mm.abs()),
        units::deg(crate::space::hypot(fit.tilt_deg[0], fit.tilt_deg[1])),
        units::mm(fit.spare_mm),
        stack(attachment),
        meets.join("; "),
    );
    Finding::new(CHECK.id, "attachment_fit", judge(&figure, &rule), says)
        .figure(&figure, Unit::Mm)
        .limit(rule.shown())
        .at(Where::span(&p.span.teeth).at(&fit.pose.at))
        .with("body", body)
}

fn meet_words(facts: &Facts<'_>, span: &Span, meet: &Meet) -> String {
    let what = match (meet.with, span.front) {
        (Neighbour::Ridge, _) => "the ridge".to_owned(),
        (Neighbour::Opposing, _) => "the opposing arch".to_owned(),
        (Neighbour::Abutment, Some(tooth)) => format!("the crown of {}", facts.tooth_words(tooth)),
        (Neighbour::Abutment, None) => "the abutment".to_owned(),
    };
    match (meet.overlap_mm(), meet.nearest) {
        (Some(mm), _) if mm > 0.0 => format!("{what}, {} deep in it", units::mm(mm)),
        (Some(_), _) => format!("{what}, which it crosses"),
        (None, Some(n)) => format!("{what}, {} away", units::mm(n.distance_mm)),
        (None, None) => format!("{what}, more than 10 mm away"),
    }
}

fn hinge(
    facts: &Facts<'_>,
    antagonist: &Antagonist<'_>,
    attachment: &Attachment,
    body: &Body,
    p: &Placed<'_>,
    other: Option<&Placed<'_>>,
) -> HingeShown {
    let at = attachment.axis_at_mm;
    let (point, axis) = p.fit.axis(body, at);
    let left = facts.restored.anatomy.frame.as_ref().map(|f| f.frame.left).ok();
    let toward_left = |axis: Direction| left.map_or(axis, |left| running_with(axis, &left));
    let axis_left = toward_left(axis);
    let up = antagonist.opening();
    let to_plane_deg = asin(axis.dot(up).abs()).to_degrees();
    let other = other.map(|o| {
        let (there, other) = o.fit.axis(body, at);
        (there, toward_left(other))
    });
    HingeShown {
        axis_at_mm: units::json_place(&point),
        axis: units::json_direction(&axis_left),
        axes: match attachment.axes {
            HingeAxes::SquareToCrest => "square_to_crest".into(),
            HingeAxes::Parallel => "parallel".into(),
        },
        stop: attachment.joint.map(|j| stop_word(j).to_owned()),
        to_plane_deg: units::json(to_plane_deg),
        to_other_deg: other.map(|(_, o)| between(&axis_left, &o, up).map(units::json)),
        over_other_mm: other.map(|(there, _)| units::json((point - there).dot(up))),
        swings: swung(facts, antagonist, attachment, body, p, (point, axis)),
    }
}

/// Angle between two axes in plan and in height, degrees.
fn between(a: &Direction, b: &Direction, up: &Direction) -> [f64; 2] {
    let flat = |v: &Direction| v.into_inner() - up.into_inner() * v.dot(up);
    let rise = |v: &Direction| asin(v.dot(up)).to_degrees();
    [angle_deg(&flat(a), &flat(b)), (rise(a) - rise(b)).abs()]
}

fn stop_word(stop: JointStop) -> &'static str {
    match stop {
        JointStop::BothWays => "both_ways",
        JointStop::TowardTissue => "toward_tissue",
    }
}

fn swung(
    facts: &Facts<'_>,
    antagonist: &Antagonist<'_>,
    attachment: &Attachment,
    body: &Body,
    p: &Placed<'_>,
    axis: (Point, Direction),
) -> Vec<SwingShown> {
    let Some(line) = CrestLine::new(&p.seated.crest) else { return Vec::new() };
    let from = p.fit.s_mm + body.length_mm() / 2.0;
    let behind: Vec<Point> =
        line.stations(0.5).into_iter().filter(|(s, _)| *s >= from).map(|(_, at)| at).collect();
    let way = facts.rules.number("hinge_tissue_move_mm");
    let ways: &[f64] = match attachment.joint {
        Some(JointStop::TowardTissue) => &[way],
        _ => &[way, -way],
    };
    ways.iter()
        .filter_map(|&move_mm| {
            let swung = Swung {
                body,
                pose: &p.fit.pose,
                axis,
                crest: &behind,
                base_mm: attachment.required_mm(),
                move_mm,
            };
            let swing = body_fit::swing(&swung, antagonist, &facts.restored.surface, p.abutment)?;
            Some(swing_shown(&swing))
        })
        .collect()
}

fn swing_shown(s: &Swing) -> SwingShown {
    SwingShown {
        move_mm: units::json(s.move_mm),
        angle_deg: units::json(s.angle_deg),
        lever_mm: units::json(s.lever_mm),
        body_to_opposing_mm: s.body_to_opposing_mm.map(units::json),
        body_to_abutment_mm: s.body_to_abutment_mm.map(units::json),
        base_to_opposing_mm: s.base_to_opposing_mm.map(|b| units::json(b.0)),
        base_at_mm: s.base_to_opposing_mm.map(|b| units::json_place(&b.1)),
    }
}

/// What the swings of a hinge strike.
fn swings(facts: &Facts<'_>, p: &Placed<'_>, hinge: &HingeShown) -> Option<Finding> {
    let first = hinge.swings.first()?;
    let each: Vec<String> = hinge
        .swings
        .iter()
        .map(|s| {
            let way = if s.move_mm > 0.0 { "toward the tissue" } else { "away from it" };
            let gap = |mm: Option<f64>| match mm {
                Some(mm) if mm <= 0.0 => format!("strikes, {} deep", units::mm(-mm)),
                Some(mm) => format!("{} left", units::mm(mm)),
                None => "nothing near".to_owned(),
            };
            format!(
                "{} {way} at the end of the base ({}): attachment to the opposing arch: {}, to the abutment: {}; base with its teeth \
                 to the opposing arch: {}",
                units::mm(s.move_mm.abs()),
                units::deg(s.angle_deg.abs()),
                gap(s.body_to_opposing_mm),
                gap(s.body_to_abutment_mm),
                gap(s.base_to_opposing_mm),
            )
        })
        .collect();
    let stop = match hinge.stop.as_deref() {
        Some("toward_tissue") => "The joint turns toward the tissue only",
        Some(_) => "The joint turns both ways",
        None => "Whether a stop keeps the base from lifting is not stated; both ways are shown",
    };
    let says = format!(
        "Swing of the base over {} about a hinge {} before its end, the base as high as the parts asked for. {stop}. {}.",
        p.seated.name,
        units::mm(first.lever_mm),
        each.join(". ")
    );
    let figure = crate::estimate::Estimate::new(first.angle_deg, vec![]);
    let rule = facts.rules.get("hinge_tissue_move_mm");
    let strikes = hinge.swings.iter().any(|s| {
        [s.body_to_opposing_mm, s.body_to_abutment_mm, s.base_to_opposing_mm]
            .iter()
            .flatten()
            .any(|mm| *mm <= 0.0)
    });
    Some(
        Finding::new(CHECK.id, "hinge_swing", Verdict::Caution, says)
            .figure(&figure, Unit::Deg)
            .at(Where::span(&p.span.teeth).at(&Point::from(hinge.axis_at_mm)))
            .with("tissue_move_mm", rule.number)
            .with("strikes", strikes)
            .settled_by("a trial of the joint on the cast"),
    )
}

/// The axis that both sides share: the mean of the two.
fn common_axis(placed: &[Placed<'_>]) -> Option<Vector> {
    let [a, b] = placed else { return None };
    let (a, b) = (a.fit.pose.across().into_inner(), b.fit.pose.across().into_inner());
    direction(a + toward(b, &a)).map(Direction::into_inner)
}

/// How the axes of both sides lie to each other.
fn axes(facts: &Facts<'_>, attachment: &Attachment, placed: &[Placed<'_>]) -> Option<Finding> {
    let [a, b] = placed else { return None };
    let up = facts.opening.as_ref().ok()?;
    // Square to each crest, whatever setting is used: ridges diverge, and this is by how much.
    let crest_axis = |p: &Placed<'_>| -> Option<Direction> {
        let line = CrestLine::new(&p.seated.crest)?;
        direction(up.cross(&line.chord(p.fit.s_mm, p.seated.settings.length_mm / 2.0)))
    };
    let (x, y) = (crest_axis(a)?, crest_axis(b)?);
    let y = running_with(y, &x);
    let [diverge, _] = between(&x, &y, up);
    let (p, q) = (a.fit.pose.across(), b.fit.pose.across());
    let q = running_with(q, &p);
    let [plan, rise] = between(&p, &q, up);
    let level = (a.fit.pose.at - b.fit.pose.at).dot(up).abs();
    let placed_words = match attachment.axes {
        HingeAxes::SquareToCrest => "each placed square to its own crest".to_owned(),
        HingeAxes::Parallel => format!("placed parallel: {} to each other in plan", units::deg(plan)),
    };
    let says = format!(
        "Hinge axes square to the two crests run at {} to each other in plan; {placed_words}, tilted against each other by {} and \
         {} apart in height. Two hinges share a swing only as far as their axes are one.",
        units::deg(diverge),
        units::deg(rise),
        units::mm(level)
    );
    let figure = crate::estimate::Estimate::new(diverge, vec![]).with(crate::estimate::Source::Marks, 2.0);
    Some(
        Finding::new(CHECK.id, "hinge_axes", Verdict::Caution, says)
            .figure(&figure, Unit::Deg)
            .with("in_plan_deg", units::json(plan))
            .with("out_of_level_deg", units::json(rise))
            .with("height_apart_mm", units::json(level))
            .settled_by("the maker's word on how far the axes of two joints may diverge"),
    )
}

fn stop_not_stated() -> Finding {
    Finding::new(
        CHECK.id,
        "joint_stop_not_stated",
        Verdict::Ask,
        "It is not stated whether the joint turns both ways or toward the tissue only.",
    )
    .settled_by("[attachment] joint = \"both_ways\" or \"toward_tissue\"")
}

fn fit_shown(
    facts: &Facts<'_>,
    antagonist: &Antagonist<'_>,
    p: &Placed<'_>,
    hinge: Option<HingeShown>,
) -> FitShown {
    let Fit { s_mm, across_mm, tilt_deg, pose, over_mm, spare_mm, meets, freedom } = &p.fit;
    let line = CrestLine::new(&p.seated.crest);
    let cheek = line.as_ref().is_some_and(|line| {
        let over = Over { facts, span: p.span, line, antagonist, name: &p.seated.name };
        over.cheek_along(&pose.at, &pose.across().into_inner())
    });
    let sign = if cheek { 1.0 } else { -1.0 };
    FitShown {
        body: if facts.case.attachment.is_some() { "mesh".into() } else { "envelope".into() },
        at_mm: units::json_place(&pose.at),
        axes: [pose.along(), pose.across(), pose.up()].map(|a| units::json_direction(&a)),
        along_crest_mm: units::json(*s_mm),
        buccal_mm: units::json(sign * across_mm),
        tilt_deg: tilt_deg.map(units::json),
        over_mm: units::json(*over_mm),
        spare_mm: units::json(*spare_mm),
        meets: meets.iter().map(meet_shown).collect(),
        freedom: freedom.as_ref().map(|f| {
            let [against, along] = f.across_mm;
            let (buccal, lingual) = if cheek { (along, against) } else { (against, along) };
            FreedomShown {
                toward_abutment_mm: units::json(f.along_mm[0]),
                away_mm: units::json(f.along_mm[1]),
                buccal_mm: units::json(buccal),
                lingual_mm: units::json(lingual),
                vertical_mm: units::json(f.vertical_mm),
            }
        }),
        hinge,
    }
}

fn meet_shown(meet: &Meet) -> MeetShown {
    MeetShown {
        with: match meet.with {
            Neighbour::Ridge => "ridge".into(),
            Neighbour::Opposing => "opposing".into(),
            Neighbour::Abutment => "abutment".into(),
        },
        gap_mm: meet.gap_mm.map(units::json),
        nearest_mm: meet.nearest.map(|n| units::json(n.distance_mm)),
        crossing: meet.nearest.is_some_and(|n| n.crossing),
        at_mm: meet.nearest.map(|n| units::json_place(&n.at)),
    }
}
