use super::super::test_cases::plate_case;
use super::*;
use crate::case::{Arch, Request};
use crate::report::Verdict;
use crate::rules::Rules;

#[test]
fn without_a_known_ridge_nothing_is_shared_and_the_reason_is_told() {
    let rules = Rules::standard();
    let asked = plate_case(Arch::Mandible, &[36, 37], |f| f.design.request = Some(Request::Hinge));
    let part = run(&Facts::new(&asked, &rules).unwrap());
    assert_eq!(part.findings.len(), 1);
    assert_eq!(part.findings[0].verdict, Verdict::NotMeasured);
    assert!(part.findings[0].settled_by.is_some());
    assert!(part.mechanics.is_empty());
    let not_asked = plate_case(Arch::Mandible, &[36, 37], |_| {});
    assert_eq!(run(&Facts::new(&not_asked, &rules).unwrap()), Part::default());
}

#[test]
fn a_share_is_told_in_whole_per_cent() {
    assert_eq!(percent(0.2149), "21 %");
    assert_eq!(percent(-0.001), "0 %");
}
