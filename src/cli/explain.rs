//! `explain`: what a check measures, against which limit, from which source.

use std::fmt::Write as _;

use serde_json::json;

use super::{Common, Ending, Failure, Format, output};
use crate::checks::{CHECKS, Check};
use crate::render::text::wrapped;
use crate::rules::{Rule, Rules, Sense};
use crate::units;

/// Tell what a check measures, against which limit, from which source
///
/// Names of checks and of limits are both taken. Without a name it lists them.
///
/// Examples:
///   saddleroom explain room
///   saddleroom explain attachment_room_mm
///   saddleroom explain --all
#[derive(Debug, clap::Args)]
#[command(verbatim_doc_comment)]
pub(super) struct Args {
    /// A check or a limit
    #[arg(value_name = "CHECK", conflicts_with = "all")]
    name: Option<String>,
    /// All checks with their limits
    #[arg(long)]
    all: bool,
}

pub(super) fn run(common: &Common, args: &Args) -> Result<Ending, Failure> {
    let rules = Rules::standard();
    let (text, value) = match &args.name {
        Some(name) => {
            let check = CHECKS.iter().find(|c| c.id == name);
            let rule = rules.rows().iter().find(|r| r.id == name);
            match (check, rule) {
                (Some(check), _) => (check_text(check, &rules), check_json(check, &rules)),
                (None, Some(rule)) => (rule_text(rule), rule_json(rule)),
                (None, None) => return Err(unknown(name, &rules)),
            }
        }
        None if args.all => {
            let texts: Vec<String> = CHECKS.iter().map(|c| check_text(c, &rules)).collect();
            let values: Vec<_> = CHECKS.iter().map(|c| check_json(c, &rules)).collect();
            (texts.join("\n"), json!({ "checks": values }))
        }
        None => {
            let checks: Vec<_> = CHECKS.iter().map(|c| json!({ "id": c.id, "title": c.title })).collect();
            (list(&rules), json!({ "checks": checks, "limits": rules.ids() }))
        }
    };
    match common.format {
        Format::Text => output::print(&text)?,
        Format::Json => output::print(&format!("{value:#}\n"))?,
    }
    Ok(Ending::FINE)
}

fn unknown(name: &str, rules: &Rules) -> Failure {
    let checks = CHECKS.iter().map(|c| c.id).collect::<Vec<_>>().join(", ");
    Failure::new(
        format!("`{name}` is neither a check nor a limit"),
        format!("the checks are: {checks}; the limits: {}", rules.ids().join(", ")),
    )
}

fn list(rules: &Rules) -> String {
    let mut text = "Checks\n".to_owned();
    for check in CHECKS {
        let _ = writeln!(text, "  {:<16} {}", check.id, check.title);
    }
    text.push_str("\nLimits and settings; [limits] in the case file changes them\n");
    for rule in rules.rows() {
        let _ = writeln!(text, "  {:<34} {}", rule.id, number(rule));
    }
    text
}

fn number(rule: &Rule) -> String {
    let figure = units::show(rule.number, rule.unit);
    match rule.sense {
        Sense::AtLeast => format!("at least {figure}"),
        Sense::AtMost => format!("at most {figure}"),
        Sense::Setting => figure,
    }
}

fn check_text(check: &Check, rules: &Rules) -> String {
    let mut text = format!("{} ({})\n\n{}\n", check.title, check.id, wrapped(check.measures, 2));
    let _ = writeln!(text, "  Method and its error: docs/method/{}", check.method);
    for id in check.limits {
        let _ = write!(text, "\n{}", rule_text(rules.get(id)));
    }
    text
}

fn rule_text(rule: &Rule) -> String {
    let (least, greatest) = rule.allowed;
    format!(
        "  {}: {}\n{}\n    Source: {} ({}). The case file may set {} to {}.\n",
        rule.id,
        number(rule),
        wrapped(&format!("{}.", rule.says), 4),
        rule.source,
        rule.mark.words(),
        units::show(least, rule.unit),
        units::show(greatest, rule.unit),
    )
}

fn check_json(check: &Check, rules: &Rules) -> serde_json::Value {
    json!({
        "id": check.id,
        "title": check.title,
        "measures": check.measures,
        "method": format!("docs/method/{}", check.method),
        "limits": check.limits.iter().map(|id| rule_json(rules.get(id))).collect::<Vec<_>>(),
    })
}

fn rule_json(rule: &Rule) -> serde_json::Value {
    json!({
        "id": rule.id,
        "sense": match rule.sense { Sense::AtLeast => "at_least", Sense::AtMost => "at_most", Sense::Setting => "setting" },
        "number": rule.number,
        "unit": rule.unit,
        "allowed": [rule.allowed.0, rule.allowed.1],
        "source": rule.source,
        "mark": rule.mark.words(),
        "says": rule.says,
    })
}

/// The page `docs/checks.md`: every check with its limits, from the tables.
pub fn checks_page() -> String {
    let rules = Rules::standard();
    let mut page = "# The checks\n\nMade from the tables of checks and rules; `cargo run --release --example checks_page` \
                    writes it anew.\n"
        .to_owned();
    for check in CHECKS {
        let _ = write!(
            page,
            "\n## {} (`{}`)\n\n{}\n\nMethod and its error: [method/{}](method/{}).\n",
            check.title, check.id, check.measures, check.method, check.method
        );
        if !check.limits.is_empty() {
            page.push_str("\n| limit | number | what it is about | source |\n|---|---|---|---|\n");
        }
        for rule in check.limits.iter().map(|id| rules.get(id)) {
            let _ = writeln!(
                page,
                "| `{}` | {} | {} | {} ({}) |",
                rule.id,
                number(rule),
                rule.says,
                rule.source,
                rule.mark.words()
            );
        }
    }
    page.push_str(
        "\nThe keys of the sources stand in [references.md](references.md). Any limit can be changed in `[limits]` of the \
         case file; a changed limit is shown beside each verdict that it touches.\n",
    );
    page
}
