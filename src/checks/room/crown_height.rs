//! Height of the abutment's crown beside an attachment.

use crate::anatomy::Span;
use crate::estimate::{Estimate, Source};
use crate::facts::Facts;
use crate::measure::crest_line::CrestLine;
use crate::report::{Finding, Verdict, Where};
use crate::rules;
use crate::space::Point;
use crate::units::{self, Unit};

/// How well a margin is placed along the tooth, mm: a marked curve on a scan with edges of 0.2 to 0.4 mm.
const MARGIN_MM: f64 = 0.3;

/// The finding; `None` where the crown or its margin is not known. Only a height that is clearly short is a verdict
/// against the design; what is close to the limit is a caution, since the limit comes from teaching notes.
pub(super) fn judge(facts: &Facts<'_>, span: &Span, line: &CrestLine) -> Option<Finding> {
    let tooth = span.front?;
    let crown = facts.restored.anatomy.crown(tooth)?;
    let up = facts.opening.as_ref().ok()?;
    let mesh = facts.restored.mesh();
    let top = crown
        .vertices
        .iter()
        .map(|&v| mesh.vertex(v))
        .max_by(|a, b| a.coords.dot(up).total_cmp(&b.coords.dot(up)))?;
    // The third of the margin that faces the span.
    let mut margin: Vec<Point> = crown.margin.clone();
    let start = line.at(0.0);
    margin.sort_by(|a, b| (a - start).norm_squared().total_cmp(&(b - start).norm_squared()));
    margin.truncate(margin.len().div_ceil(3));
    let count = margin.len() as f64;
    let low = margin.iter().map(|p| p.coords.dot(up)).sum::<f64>() / count;
    if margin.is_empty() {
        return None;
    }
    let figure = Estimate::new(top.coords.dot(up) - low, vec![])
        .with(Source::Scan, std::f64::consts::SQRT_2 * facts.case.file.accuracy.scan_mm)
        .with(Source::Marks, MARGIN_MM);
    let rule = facts.rules.get("abutment_crown_height_mm");
    let verdict = match rules::judge(&figure, rule) {
        Verdict::Tight => Verdict::Caution,
        clear => clear,
    };
    let says = format!(
        "The crown of {tooth} stands {} above its margin beside the span; {} and more are taught beside an attachment.",
        units::mm(figure.value),
        units::mm(rule.number)
    );
    Some(
        Finding::new(super::CHECK.id, "abutment_crown_height", verdict, says)
            .figure(&figure, Unit::Mm)
            .limit(rule.shown())
            .at(Where::tooth(tooth).at(&top)),
    )
}
