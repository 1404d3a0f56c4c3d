#![allow(clippy::unwrap_used, clippy::expect_used)]

mod shape;
mod values;

use super::*;
use crate::{DefectKind, Severity};
use DefectKind as K;

/// A sound rule set without a word too many; tests break one line of it.
const SOUND: &str = r#"format = 1
id = "small"
version = "1"
[[test_point]]
id = "pressure"
quantity = "pressure"
unit = "psi"
plausible = ["-15 psi", "60 psi"]
[[test_point]]
id = "before"
quantity = "pressure"
unit = "kPa"
[[test_point]]
id = "air"
quantity = "temperature"
unit = "degC"
[[derived]]
id = "drop"
minus = ["before", "pressure"]
within = "0.5 s"
[[suspect]]
id = "weak"
side = "supply"
share = 10
[[suspect]]
id = "dead"
side = "pump"
share = 5
[[link]]
first = "weak"
second = "dead"
times = 10
[[check]]
id = "holds"
point = "pressure"
phase = ["cranking", "idle"]
take = "minimum"
limit = { at_least = "5 psi" }
cautions = ["care"]
[check.fails]
otherwise = 0.02
weak = 0.8
[[check]]
id = "starts"
ask = "Does it start?"
answers = ["yes", "badly", "no"]
needs = ["holds"]
[check.expect]
otherwise = [0.9, 0.06, 0.04]
dead = [0.1, 0.2, 0.7]
weak = [0.5, 0.3, 0.2]
[[proof]]
side = "pump"
passed = ["holds"]
failed = ["starts"]
[[proof]]
side = "supply"
measured_failed = ["holds"]
[[complaint]]
id = "no-start"
[complaint.given]
otherwise = 0.02
dead = 0.9
[[caution]]
id = "care"
text = "Take care."
"#;

pub(super) fn found(text: &str) -> Vec<(usize, DefectKind)> {
    let examination = examine(text);
    let errors = examination
        .defects
        .iter()
        .any(|d| d.severity == Severity::Error);
    assert_eq!(
        examination.rule_set.is_none(),
        errors,
        "{:?}",
        examination.defects
    );
    for defect in &examination.defects {
        assert!(
            !defect.message.is_empty() && !defect.hint.is_empty(),
            "{defect}"
        );
    }
    examination
        .defects
        .iter()
        .map(|d| (d.line, d.kind))
        .collect()
}

/// Breaks the one place where `from` stands in the sound rule set.
pub(super) fn broken(from: &str, to: &str) -> String {
    assert_eq!(SOUND.matches(from).count(), 1, "{from}");
    SOUND.replacen(from, to, 1)
}

/// What is found, by line and kind, once `from` is `to`.
pub(super) fn check(from: &str, to: &str, expected: &[(usize, DefectKind)]) {
    assert_eq!(found(&broken(from, to)), expected, "{from} → {to}");
}

#[test]
fn a_sound_rule_set_has_no_defects_and_the_documented_defaults() {
    let examination = examine(SOUND);
    assert_eq!(examination.defects, []);
    let rules = examination.rule_set.unwrap();
    let read = (
        rules.isolate_at,
        rules.also_at,
        rules.none,
        rules.coincidence,
    );
    assert_eq!(read, (0.95, 0.10, 0.05, 0.1));
    assert_eq!((rules.faults_at_once, rules.title.as_str()), (2, "small"));
    let holds = &rules.checks[0];
    let measured = holds.measured().unwrap();
    assert_eq!(
        (holds.minutes, measured.risk, measured.after, measured.over),
        (5.0, 0.05, 0, None)
    );
    assert_eq!(rules.checks[1].title, "Does it start?");
    assert_eq!(
        rules.checks[1].asked().unwrap().expect[0],
        (0, vec![0.5, 0.3, 0.2])
    );
    assert_eq!(
        (rules.point_index("drop"), rules.point_unit(3).symbol()),
        (Some(3), "kPa")
    );
}

#[test]
fn the_digest_is_sha_256_of_the_bytes() {
    // FIPS 180-2, appendix B.1: the digest of "abc".
    let abc = "sha256:ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
    assert_eq!(digest("abc"), abc);
    assert_ne!(examine(SOUND).rule_set.unwrap().digest, abc);
}

#[test]
fn ten_defects_are_ten_each_in_its_place() {
    let mut text = SOUND.to_owned();
    for (from, to) in [
        ("format = 1", "format = 3"),
        (
            "quantity = \"pressure\"\nunit = \"psi\"",
            "quantity = \"pressure\"\nunit = \"psig\"",
        ),
        (
            "side = \"supply\"\nshare = 10",
            "side = \"suply\"\nshare = 0",
        ),
        ("second = \"dead\"", "second = \"ded\""),
        ("at_least = \"5 psi\"", "at_least = \"5 V\""),
        ("weak = 0.8", "weak = 1.8"),
        ("[0.9, 0.06, 0.04]", "[0.9, 0.06, 0.05]"),
        ("cautions = [\"care\"]", "caution = [\"care\"]"),
        (
            "measured_failed = [\"holds\"]",
            "measured_failed = [\"starts\"]",
        ),
    ] {
        assert_eq!(text.matches(from).count(), 1, "{from}");
        text = text.replacen(from, to, 1);
    }
    let places: Vec<_> = examine(&text)
        .defects
        .iter()
        .map(|d| (d.line, d.column, d.kind))
        .collect();
    let expected = [
        (1, 10, K::WrongFormat),
        (7, 8, K::UnknownUnit),
        (23, 8, K::UnknownWord),
        (24, 9, K::OutOfRange),
        (31, 10, K::UnresolvedId),
        (38, 22, K::QuantityMismatch),
        (39, 1, K::UnknownKey),
        (42, 8, K::NotAProbability),
        (49, 13, K::RowSum),
        (58, 20, K::NotMeasured),
    ];
    assert_eq!(places, expected);
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(200))]

    /// Cut, moved or overwritten text ends in defects that have a place.
    #[test]
    fn no_mutation_panics(
        shipped: bool,
        edits in proptest::collection::vec((0usize..50_000, 0usize..60, "\\PC{0,6}"), 1..6),
    ) {
        let text = if shipped { crate::shipped()[0].1 } else { SOUND };
        let mut text: Vec<char> = text.chars().collect();
        for (at, length, put) in edits {
            let start = at % (text.len() + 1);
            let end = (start + length).min(text.len());
            text.splice(start..end, put.chars());
        }
        let text: String = text.into_iter().collect();
        let lines = text.matches('\n').count() + 1;
        proptest::prop_assert!(found(&text).iter().all(|(line, _)| (1..=lines).contains(line)));
    }
}

#[test]
fn no_truncation_panics() {
    for text in [SOUND, crate::shipped()[0].1] {
        for (end, _) in text.char_indices().step_by(163) {
            found(&text[..end]);
        }
    }
}
