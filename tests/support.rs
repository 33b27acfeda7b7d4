//! How the designs share the load on the sample casts, and what is said where it cannot be told.

#![allow(clippy::unwrap_used)] // a test may fail loudly anywhere

use std::path::Path;

use saddleroom::case::{Case, Rest, RestPlace, Scan, Tooth, ToothLoad, file};
use saddleroom::checks::{CHECKS, Part};
use saddleroom::facts::Facts;
use saddleroom::report::{Finding, Speaks, Verdict};
use saddleroom::rules::Rules;
use saddleroom::space::{Point, Vector, direction};

fn sample(name: &str) -> Case {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-meshes").join(name);
    let text = std::fs::read_to_string(folder.join("case.toml")).unwrap();
    let read = file::parse(&text, &Rules::standard().ids()).unwrap();
    let scan = |name: &Option<String>| {
        let name = name.clone().unwrap();
        let bytes = std::fs::read(folder.join(&name)).unwrap();
        let import = saddleroom::load::read(&bytes, read.scans.unit).unwrap();
        Some(Scan { file: name, sha256: String::new(), import, labels: None })
    };
    let (mandible, maxilla) = (scan(&read.scans.mandible), scan(&read.scans.maxilla));
    Case::new(read, mandible, maxilla)
}

fn tooth(fdi: u8) -> Tooth {
    Tooth::fdi(fdi).unwrap()
}

fn ran(id: &str, facts: &Facts<'_>) -> Part {
    (CHECKS.iter().find(|c| c.id == id).unwrap().run)(facts)
}

fn coded<'p>(part: &'p Part, code: &str) -> Vec<&'p Finding> {
    part.findings.iter().filter(|f| f.code == code).collect()
}

/// What holds of every case, whatever its figures.
fn is_sound(part: &Part) {
    let m = &part.mechanics;
    let kinds: Vec<&str> = m.designs.iter().map(|d| d.kind.as_str()).collect();
    assert_eq!(kinds, ["rigid", "clamped", "hinged"]);
    assert!(m.runs.unwrap() >= 200);
    for d in &m.designs {
        assert!((d.abutment_share + d.ridge_share - 1.0).abs() < 0.02, "medians of shares that add up");
        let [low, high] = d.bands["abutment_share"];
        assert!(low <= d.abutment_share && d.abutment_share <= high);
        for l in &d.loads {
            assert!((l.abutment_share + l.ridge_share - 1.0).abs() < 1e-5, "{} {}", d.kind, l.load);
            assert!(l.balance_share < 1e-9 && l.converged, "{} {}: {}", d.kind, l.load, l.balance_share);
            let on_teeth: f64 = l.abutments.iter().map(|a| a.force_n).sum();
            assert!((on_teeth - l.abutment_share * l.force_n).abs() < 1e-3);
        }
    }
    assert!(part.findings.iter().all(|f| f.verdict == Verdict::Caution), "nothing is judged");
    let last = coded(part, "hinged_or_rigid")[0];
    assert!(last.says.contains("for dentist and technician to choose"));
}

#[test]
fn a_case_of_one_free_end_and_what_changes_it() {
    let case = sample("oban");
    let rules = Rules::standard();
    let mut facts = Facts::new(&case, &rules).unwrap();
    let part = ran("support", &facts);
    is_sound(&part);
    let m = &part.mechanics;
    let [rigid, clamped, hinged] = m.designs.as_slice() else { panic!("three designs") };
    assert!(clamped.abutment_share > rigid.abutment_share && rigid.abutment_share > hinged.abutment_share);
    assert!(clamped.ridge_share < rigid.ridge_share && rigid.ridge_share < hinged.ridge_share);
    assert!(clamped.distal_sink_mm < rigid.distal_sink_mm);
    // A hinge with some play lets its base settle: it turns.
    let base = &hinged.loads[0].bases.iter().find(|b| b.span.contains(&tooth(36))).unwrap();
    assert!(base.hinge_turn_deg.is_some_and(|d| d.abs() > 0.1), "{base:?}");
    assert!(rigid.loads[0].bases.iter().all(|b| b.hinge_turn_deg.is_none()));
    let moment = |d: &saddleroom::report::DesignShown| {
        d.abutments.iter().find(|a| a.tooth == tooth(35)).unwrap().distal_moment_n_mm
    };
    // A mesial rest tips its tooth toward mesial; a clamp tips it toward the base.
    assert!(moment(rigid) < moment(clamped) && moment(clamped) > 0.0);
    // Every replaced molar in turn, and both.
    let loads: Vec<&str> = rigid.loads.iter().map(|l| l.load.as_str()).collect();
    assert_eq!(loads, ["36 and 37", "36", "37"]);
    assert!(rigid.loads.iter().all(|l| l.one_side));
    // The farther back the load, the more the ridge bears.
    assert!(rigid.loads[2].ridge_share > rigid.loads[1].ridge_share);
    same_in_any_number_of_threads(&facts, &part);
    softer_ridge(&mut facts, m.designs[0].distal_sink_mm);
    given_loads(&mut facts, &case);
    lacking_rests(&mut facts, &case);
    declared(&mut facts, &case);
}

fn same_in_any_number_of_threads(facts: &Facts<'_>, part: &Part) {
    for threads in [1, 3] {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        let again = pool.install(|| ran("support", facts));
        let text = |p: &Part| serde_json::to_string(&p.mechanics).unwrap();
        assert_eq!(text(&again), text(part));
        assert_eq!(again.findings, part.findings);
    }
}

fn softer_ridge<'c>(facts: &mut Facts<'c>, sank_mm: f64) {
    let change = |a: f64, b: f64| {
        let ids = ["support_mucosa_soft_mpa", "support_mucosa_firm_mpa"];
        Rules::changed(&[(ids[0].into(), a), (ids[1].into(), b)])
    };
    // Kept for the rest of the test: facts hold a reference to them.
    let standard = facts.rules;
    facts.rules = Box::leak(Box::new(change(0.2, 0.4).unwrap()));
    let soft = ran("support", facts);
    assert!(soft.mechanics.designs[0].distal_sink_mm > 2.0 * sank_mm);
    assert!(soft.mechanics.assumed[0].source.contains("changed by the case file"));
    facts.rules = Box::leak(Box::new(change(3.0, 2.0).unwrap()));
    let crossed = ran("support", facts);
    assert_eq!(crossed.findings.len(), 1);
    assert!(crossed.findings[0].says.contains("support_mucosa_soft_mpa is greater than"));
    assert_eq!(crossed.findings[0].verdict, Verdict::NotMeasured);
    assert!(change(-1.0, 2.0).is_err() && change(1.0, 1e9).is_err(), "absurd stiffness is refused");
    facts.rules = standard;
}

fn with<'c>(facts: &mut Facts<'c>, case: &Case, edit: impl FnOnce(&mut Case)) {
    let mut changed = case.clone();
    edit(&mut changed);
    facts.case = Box::leak(Box::new(changed));
}

fn given_loads<'c>(facts: &mut Facts<'c>, case: &Case) {
    let load = |fdi: u8, at: Option<Point>, way: Option<Vector>| ToothLoad {
        tooth: tooth(fdi),
        force_n: Some(50.0),
        at,
        direction: way.and_then(direction),
    };
    with(facts, case, |c| c.file.support.loads = vec![load(36, Some(Point::new(0.0, -30.0, 0.0)), None)]);
    let outside = ran("support", facts);
    let said = coded(&outside, "load_outside_base")[0];
    assert_eq!(said.verdict, Verdict::NotMeasured);
    assert!(said.says.contains("lies outside the base of span 36-37"), "{}", said.says);
    assert!(outside.mechanics.designs.is_empty());
    with(facts, case, |c| {
        c.file.support.loads = vec![load(36, None, None), load(45, None, Some(Vector::new(0.3, 0.0, -1.0)))]
    });
    let two = ran("support", facts);
    is_sound(&two);
    let main = &two.mechanics.designs[0].loads[0];
    assert_eq!((main.load.as_str(), main.force_n, main.one_side), ("36 and 45", 100.0, false));
    with(facts, case, |c| c.file.support.loads = vec![load(37, None, Some(Vector::new(0.0, 0.0, 1.0)))]);
    // Pulled off straight: the clasps are all that holds, on one side only.
    let pulled = ran("support", facts);
    let free = coded(&pulled, "not_held");
    assert!(
        !free.is_empty() && free.iter().all(|f| f.says.contains("is free to move about the line")),
        "{pulled:?}"
    );
}

fn lacking_rests<'c>(facts: &mut Facts<'c>, case: &Case) {
    with(facts, case, |c| c.file.design.rests = vec![Rest { tooth: tooth(35), place: RestPlace::Mesial }]);
    let one = ran("support", facts);
    assert_eq!(one.findings.len(), 1);
    assert!(one.findings[0].says.contains("not measured"), "{}", one.findings[0].says);
    assert!(one.findings[0].says.contains("the framework is free to move about"), "{}", one.findings[0].says);
    // Without a word on rests and clasps the usual rests are taken, and that is said.
    with(facts, case, |c| {
        c.file.design.rests.clear();
        c.file.design.clasps.clear();
    });
    let none = ran("support", facts);
    is_sound(&none);
    let said = &coded(&none, "support_assumed")[0].says;
    assert!(said.contains("No rests are named") && said.contains("No clasps are named"), "{said}");
}

fn declared<'c>(facts: &mut Facts<'c>, case: &Case) {
    let row = |part: &Part, about: &str| {
        part.mechanics.indications.iter().find(|i| i.about == about).unwrap().clone()
    };
    with(facts, case, |_| {});
    let silent = ran("indications", facts);
    assert_eq!(row(&silent, "mobility of the abutments").speaks, Speaks::NotKnown);
    assert_eq!(row(&silent, "arch").speaks, Speaks::For);
    assert!(silent.mechanics.indications.iter().all(|i| !i.source.is_empty()));
    assert!(silent.findings[0].says.contains("for dentist and technician to choose"));
    with(facts, case, |c| {
        c.file.support.mobility.insert(tooth(35), 2);
        c.file.support.crown_root_ratio.insert(tooth(35), 0.7);
    });
    let weak = ran("indications", facts);
    assert_eq!(row(&weak, "mobility of the abutments").speaks, Speaks::For);
    assert_eq!(row(&weak, "crown over root").speaks, Speaks::Neither);
    // A mobile tooth bears less.
    let firm =
        |p: &Part| p.mechanics.designs[1].abutments.iter().find(|a| a.tooth == tooth(35)).unwrap().load_share;
    let softer = ran("support", facts);
    with(facts, case, |_| {});
    assert!(firm(&softer) < firm(&ran("support", facts)));
}

#[test]
fn arms_of_the_clasps_asked_for() {
    let case = sample("cromer");
    let rules = Rules::standard();
    let done = saddleroom::analysis::analyse(&case, &rules, &|_| {}).unwrap();
    let manner = saddleroom::render::words::Manner::default();
    for block in saddleroom::render::sheet::report(&done.report, &saddleroom::checks::sections(), &manner) {
        if let saddleroom::render::sheet::Block::Table(t) = block {
            assert!(t.rows.iter().all(|r| r.len() == t.head.len()), "{}", t.caption);
        }
    }
    let facts = done.facts;
    let arms = ran("clasp_arms", &facts);
    assert_eq!(arms.mechanics.clasps.len(), 2);
    for arm in &arms.mechanics.clasps {
        // Half-round, 1.0 mm thick, tapering to half, 15 mm, 0.50 mm: twice the 2.683 N and 250.1 MPa of the trade's table.
        assert!((arm.force_n - 5.366).abs() < 0.002 && (arm.stress_mpa - 500.3).abs() < 0.2, "{arm:?}");
        assert!(arm.withdrawal_n.is_some_and(|w| w > 0.0 && w < arm.force_n));
    }
    let shared = ran("support", &facts);
    is_sound(&shared);
    // Both bases, each base, each molar.
    assert_eq!(shared.mechanics.designs[0].loads.len(), 7);
    let one_side = &shared.mechanics.designs[0].loads[1];
    assert!(one_side.one_side && one_side.unloaded_lift_mm > 0.0);
}
