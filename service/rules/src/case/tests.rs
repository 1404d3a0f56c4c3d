#![allow(clippy::unwrap_used, clippy::expect_used)]

use super::*;
use crate::{DefectKind as K, shipped_rule_set};

const CASE: &str = r#"format = 1
title = "Weak lift pump, battery fine"
source = "invented"
ruleset = "distributor-pump-12v"
complaint = "cranks-no-start"
[[event]]
at = "0 s"
phase = "cranking"
[[event]]
at = "1.2 s"
point = "pump-inlet-pressure"
value = "3.1 psi"
uncertainty = "0.2 psi"
[[event]]
at = "60 s"
answer = { check = "fuel-seen", is = "seen" }
[[event]]
at = "70 s"
outcome = { check = "battery-rest", is = "passed" }
[[event]]
at = "50 s"
drive = "bypass"
[expect]
standing = "isolated"
side = "supply"
top_suspect = "lift-pump-weak"
belief = { supply = [0.95, 1.0] }
outcomes = { inlet-pressure-cranking = "failed" }
next = "filter-drop"
"#;

/// What is wrong once `from` is `to`, on its own and against the shipped rules.
fn check(from: &str, to: &str, expected: &[(usize, K)]) {
    assert_eq!(CASE.matches(from).count(), 1, "{from}");
    let rules = shipped_rule_set("distributor-pump-12v").unwrap();
    let found = parse(&CASE.replacen(from, to, 1)).and_then(|case| case.resolve(&rules));
    let found = found.map_or_else(|defects| defects, |_| Vec::new());
    let places: Vec<_> = found.iter().map(|d| (d.line, d.kind)).collect();
    assert_eq!(places, expected, "{from} → {to}: {found:?}");
}

#[test]
fn a_sound_case_is_read_whole() {
    let case = parse(CASE).unwrap();
    assert_eq!(
        (case.events.len(), case.events[1].line, case.events[1].at),
        (5, 9, 1_200_000_000)
    );
    assert_eq!(case.expect.belief, [(Side::Supply, (0.95, 1.0))]);
    assert_eq!(
        case.expect.outcomes,
        [("inlet-pressure-cranking".into(), Outcome::Failed)]
    );
    assert_eq!(case.expect.next.as_deref(), Some("filter-drop"));

    let rules = shipped_rule_set(&case.ruleset).unwrap();
    let events = case.resolve(&rules).unwrap();
    assert_eq!(
        events[2],
        ResolvedEvent {
            at: 50_000_000_000,
            what: ResolvedWhat::Drive(Drive::Bypass)
        }
    );
    let ResolvedWhat::Reading {
        point,
        amount,
        uncertainty,
        flags,
    } = events[1].what
    else {
        panic!()
    };
    assert_eq!(
        (rules.point_id(point), flags),
        ("pump-inlet-pressure", Flags::empty())
    );
    assert!((amount.exact().unwrap() / 6894.757 - 3.1).abs() < 1e-5);
    assert!((uncertainty / 6894.757 - 0.2).abs() < 1e-6);
    let fuel_seen = rules.check_index("fuel-seen").unwrap();
    assert_eq!(
        events[3].what,
        ResolvedWhat::Answer {
            check: fuel_seen,
            answer: 0
        }
    );
}

fn reading(lines: &str) -> (Amount, f64, Flags) {
    let from = "point = \"pump-inlet-pressure\"\nvalue = \"3.1 psi\"\nuncertainty = \"0.2 psi\"";
    assert!(CASE.contains(from));
    let case = parse(&CASE.replacen(from, lines, 1)).unwrap();
    let events = case
        .resolve(&shipped_rule_set(&case.ruleset).unwrap())
        .unwrap();
    let ResolvedWhat::Reading {
        amount,
        uncertainty,
        flags,
        ..
    } = events[1].what
    else {
        panic!()
    };
    (amount, uncertainty, flags)
}

#[test]
fn uncertainty_comes_from_what_is_said() {
    let (amount, u, _) = reading("point = \"battery\"\nvalue = \"12.34 V\"");
    assert_eq!(amount, Amount::Exactly(12.34));
    assert!(
        (u - 0.01 / 12f64.sqrt()).abs() < 1e-12,
        "the digits alone: {u}"
    );
    // Recomputed with the libraries `GTC` and `uncertainties` and by hand: the
    // parts of a meter's accuracy and its resolution.
    let (_, u, _) =
        reading("point = \"battery\"\nvalue = \"12.34 V\"\naccuracy = \"0.8 % rdg + 1 dgt\"");
    assert!(
        (u - 0.062_769_521f64.hypot(0.002_886_751)).abs() < 1e-8,
        "{u}"
    );
}

#[test]
fn overloads_and_the_implausible_are_kept() {
    let (amount, _, flags) = reading("point = \"harness-continuity\"\nvalue = \"OL\"");
    assert_eq!((amount, flags), (Amount::Above(100e6), Flags::empty()));
    let (_, _, flags) = reading("point = \"battery\"\nvalue = \"42 V\"\nflags = [\"auto\"]");
    assert_eq!(flags, Flags::AUTO | Flags::IMPLAUSIBLE);
    // A still shaft read as -0.3 rpm, give or take 1 rpm, is no nonsense.
    let still = "point = \"engine-speed\"\nvalue = \"-0.3 rpm\"\nuncertainty = \"1 rpm\"";
    assert_eq!(reading(still).2, Flags::empty());
    let turning_back = still.replace("-0.3", "-30");
    assert_eq!(reading(&turning_back).2, Flags::IMPLAUSIBLE);
}

#[test]
fn defects_of_the_text() {
    check("source = \"invented\"\n", "", &[(1, K::MissingKey)]);
    check("format = 1", "format = 3", &[(1, K::WrongFormat)]);
    check(
        "title =",
        "titel =",
        &[(1, K::MissingKey), (2, K::UnknownKey)],
    );
    check("at = \"0 s\"", "at = 0", &[(7, K::WrongType)]);
    check(
        "phase = \"cranking\"",
        "phase = \"crank\"",
        &[(8, K::UnknownWord)],
    );
    check("phase = \"cranking\"", "", &[(6, K::MixedTable)]);
    check(
        "phase = \"cranking\"",
        "phase = \"idle\"\ndrive = \"harness\"",
        &[(6, K::MixedTable)],
    );
    check(
        "phase = \"cranking\"",
        "phase = \"idle\"\nvalue = \"1 V\"",
        &[(9, K::MixedTable)],
    );
    check("\"3.1 psi\"", "\"much\"", &[(12, K::BadValue)]);
    check(
        "uncertainty = \"0.2 psi\"",
        "accuracy = \"fair\"",
        &[(13, K::BadValue)],
    );
    check(
        "uncertainty = \"0.2 psi\"",
        "flags = [\"holding\"]",
        &[(13, K::UnknownWord)],
    );
    check("is = \"passed\"", "is = \"good\"", &[(19, K::UnknownWord)]);
    check("[0.95, 1.0]", "[1.0, 0.95]", &[(27, K::OutOfRange)]);
    check("[0.95, 1.0]", "0.95", &[(27, K::WrongType)]);
    check(
        "belief = { supply",
        "belief = { suply",
        &[(27, K::UnknownWord)],
    );
    check(
        "\"isolated\"\nside = \"supply\"",
        "\"sure\"\nside = \"tank\"",
        &[(24, K::UnknownWord), (25, K::UnknownWord)],
    );
    check("next =", "next", &[(29, K::Syntax)]);
}

#[test]
fn defects_against_the_rule_set() {
    check("\"cranks-no-start\"", "\"cranks\"", &[(5, K::UnresolvedId)]);
    check(
        "\"pump-inlet-pressure\"",
        "\"filter-drop\"",
        &[(11, K::UnresolvedId)],
    );
    check(
        "\"pump-inlet-pressure\"",
        "\"pump-inlet\"",
        &[(11, K::UnresolvedId)],
    );
    check(
        "\"pump-inlet-pressure\"",
        "\"battery\"",
        &[(12, K::QuantityMismatch)],
    );
    check("\"3.1 psi\"", "\"3.1\"", &[(12, K::MissingUnit)]);
    check("\"0.2 psi\"", "\"0.2 V\"", &[(13, K::QuantityMismatch)]);
    check(
        "\"fuel-seen\", is = \"seen\"",
        "\"fuel-seen\", is = \"yes\"",
        &[(16, K::UnknownWord)],
    );
    check(
        "check = \"fuel-seen\"",
        "check = \"battery-rest\"",
        &[(16, K::MixedTable)],
    );
    check(
        "check = \"battery-rest\"",
        "check = \"battery\"",
        &[(19, K::UnresolvedId)],
    );
    check(
        "\"lift-pump-weak\"",
        "\"lift-pump\"",
        &[(26, K::UnresolvedId)],
    );
    check(
        "next = \"filter-drop\"",
        "next = \"filter\"",
        &[(29, K::UnresolvedId)],
    );
}

#[test]
fn probes_an_end_and_nobody_named() {
    let text = CASE
        .replace("drive = \"bypass\"", "probe = \"pump-inlet-pressure\"")
        .replace("complaint =", "ends = \"90 s\"\ncomplaint =")
        .replace("next = \"filter-drop\"", "named = false");
    let case = parse(&text).unwrap();
    assert_eq!(
        (case.ends, case.expect.named.clone()),
        (Some(90_000_000_000), Some(None))
    );
    let rules = shipped_rule_set(&case.ruleset).unwrap();
    let point = rules.point_index("pump-inlet-pressure").unwrap();
    assert_eq!(
        case.resolve(&rules).unwrap()[2].what,
        ResolvedWhat::Probe { point }
    );
    let probe = |point: &str| format!("probe = \"{point}\"");
    check(
        "drive = \"bypass\"",
        &probe("filter-drop"),
        &[(22, K::UnresolvedId)],
    );
    check(
        "drive = \"bypass\"",
        &probe("pump-inlet"),
        &[(22, K::UnresolvedId)],
    );
    check(
        "next = \"filter-drop\"",
        "named = true",
        &[(29, K::WrongType)],
    );
    check(
        "complaint =",
        "ends = \"soon\"\ncomplaint =",
        &[(5, K::BadValue)],
    );
}

proptest::proptest! {
    #[test]
    fn no_mutation_panics(at in 0usize..900, length in 0usize..40, put in "\\PC{0,6}") {
        let mut text: Vec<char> = CASE.chars().collect();
        let start = at.min(text.len());
        let end = (start + length).min(text.len());
        text.splice(start..end, put.chars());
        let text: String = text.into_iter().collect();
        if let Ok(case) = parse(&text) {
            let _ = case.resolve(&shipped_rule_set("distributor-pump-12v").unwrap());
        }
    }
}
