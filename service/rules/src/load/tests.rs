#![allow(clippy::unwrap_used, clippy::expect_used)]

use super::*;
use crate::{Bound, DefectKind, Severity};
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

fn found(text: &str) -> Vec<(usize, DefectKind)> {
    let examination = examine(text);
    let errors = examination.defects.iter().any(|d| d.severity == Severity::Error);
    assert_eq!(examination.rule_set.is_none(), errors, "{:?}", examination.defects);
    for defect in &examination.defects {
        assert!(!defect.message.is_empty() && !defect.hint.is_empty(), "{defect}");
    }
    examination.defects.iter().map(|d| (d.line, d.kind)).collect()
}

/// Breaks the one place where `from` stands in the sound rule set.
fn broken(from: &str, to: &str) -> String {
    assert_eq!(SOUND.matches(from).count(), 1, "{from}");
    SOUND.replacen(from, to, 1)
}

/// What is found, by line and kind, once `from` is `to`.
fn check(from: &str, to: &str, expected: &[(usize, DefectKind)]) {
    assert_eq!(found(&broken(from, to)), expected, "{from} → {to}");
}

#[test]
fn a_sound_rule_set_has_no_defects_and_the_documented_defaults() {
    let examination = examine(SOUND);
    assert_eq!(examination.defects, []);
    let rules = examination.rule_set.unwrap();
    let read = (rules.isolate_at, rules.also_at, rules.none, rules.coincidence);
    assert_eq!(read, (0.95, 0.10, 0.05, 0.1));
    assert_eq!((rules.faults_at_once, rules.title.as_str()), (2, "small"));
    let holds = &rules.checks[0];
    let measured = holds.measured().unwrap();
    assert_eq!((holds.minutes, measured.risk, measured.after, measured.over), (5.0, 0.05, 0, None));
    assert_eq!(rules.checks[1].title, "Does it start?");
    assert_eq!(rules.checks[1].asked().unwrap().expect[0], (0, vec![0.5, 0.3, 0.2]));
    assert_eq!((rules.point_index("drop"), rules.point_unit(3).symbol()), (Some(3), "kPa"));
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
        ("format = 1", "format = 2"),
        ("quantity = \"pressure\"\nunit = \"psi\"", "quantity = \"pressure\"\nunit = \"psig\""),
        ("side = \"supply\"\nshare = 10", "side = \"suply\"\nshare = 0"),
        ("second = \"dead\"", "second = \"ded\""),
        ("at_least = \"5 psi\"", "at_least = \"5 V\""),
        ("weak = 0.8", "weak = 1.8"),
        ("[0.9, 0.06, 0.04]", "[0.9, 0.06, 0.05]"),
        ("cautions = [\"care\"]", "caution = [\"care\"]"),
        ("measured_failed = [\"holds\"]", "measured_failed = [\"starts\"]"),
    ] {
        assert_eq!(text.matches(from).count(), 1, "{from}");
        text = text.replacen(from, to, 1);
    }
    let places: Vec<_> = examine(&text).defects.iter().map(|d| (d.line, d.column, d.kind)).collect();
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

#[test]
fn text_that_is_not_toml() {
    check("share = 10", "share = ", &[(24, K::Syntax)]);
    check("[[link]]", "[[link]", &[(29, K::Syntax)]);
    check("share = 10", "share = 10\nshare = 11", &[(25, K::DuplicateKey)]);
    // What is wrong elsewhere is said all the same.
    let text = broken("share = 10", "share = ").replace("times = 10", "times = 0");
    assert_eq!(found(&text), [(24, K::Syntax), (32, K::OutOfRange)]);
}

#[test]
fn what_is_missing_or_unknown() {
    check("format = 1\n", "", &[(1, K::MissingKey)]);
    check("version = \"1\"", "versoin = \"1\"", &[(1, K::MissingKey), (3, K::UnknownKey)]);
    check("side = \"supply\"\nshare = 10", "share = 10", &[(21, K::MissingKey)]);
    check("within = \"0.5 s\"\n", "", &[(17, K::MissingKey)]);
    check("otherwise = 0.02\nweak = 0.8", "weak = 0.8", &[(40, K::MissingKey)]);
    check("quantity = \"temperature\"\n", "", &[(13, K::MissingKey)]);
    check("text = \"Take care.\"\n", "", &[(64, K::MissingKey)]);
    check("id = \"care\"\n", "", &[(39, K::UnresolvedId), (64, K::MissingKey)]);
    check("phase = [\"cranking\", \"idle\"]", "phse = [\"idle\"]", &[(33, K::MissingKey), (36, K::UnknownKey)]);
    check("second = \"dead\"", "second = \"dead\"\nthird = \"weak\"", &[(32, K::UnknownKey)]);
    assert_eq!(
        found("format = 1\nid = \"a\"\nversion = \"1\"\n"),
        [(1, K::MissingTable), (1, K::MissingTable), (1, K::MissingTable)]
    );
}

#[test]
fn hints_name_the_nearest() {
    let hint = |from, to| examine(&broken(from, to)).defects[0].hint.clone();
    assert_eq!(hint("side = \"supply\"\nshare", "side = \"suply\"\nshare"), "did you mean `supply`? use one of `supply`, `controller`, `pump`, `outside`");
    assert_eq!(hint("first = \"weak\"", "first = \"weka\""), "did you mean `weak`?");
    assert!(hint("take = \"minimum\"", "take = \"min\"").contains("use one of `last`, `minimum`"));
    assert!(hint("unit = \"degC\"", "unit = \"V\"").contains("`degC`"));
}

#[test]
fn types() {
    check("share = 10", "share = \"10\"", &[(24, K::WrongType)]);
    check("share = 10", "share = inf", &[(24, K::WrongType)]);
    check("needs = [\"holds\"]", "needs = \"holds\"", &[(47, K::WrongType)]);
    check("id = \"care\"", "id = 3", &[(39, K::UnresolvedId), (65, K::WrongType)]);
    check("limit = { at_least = \"5 psi\" }", "limit = \"5 psi\"", &[(38, K::WrongType)]);
    check("at_least = \"5 psi\"", "at_least = 5", &[(38, K::WrongType)]);
    check("dead = [0.1, 0.2, 0.7]", "dead = 0.1", &[(50, K::WrongType)]);
    check("[\"-15 psi\", \"60 psi\"]", "[\"-15 psi\"]", &[(8, K::WrongType)]);
    check("minus = [\"before\", \"pressure\"]", "minus = [\"before\"]", &[(19, K::WrongType)]);
    check("within = \"0.5 s\"", "within = 0.5", &[(20, K::WrongType)]);
    assert_eq!(
        found("format = 1\nid = \"a\"\nversion = \"1\"\ntest_point = 1\nsuspect = [1]\n[check]\n"),
        [(4, K::WrongType), (5, K::WrongType), (6, K::WrongType)]
    );
}

#[test]
fn checks_are_measured_or_asked() {
    check("point = \"pressure\"\nphase", "phase", &[(33, K::MixedTable), (57, K::NotMeasured)]);
    check("ask = \"Does it start?\"", "ask = \"Does it start?\"\npoint = \"air\"", &[(43, K::MixedTable)]);
    check("side = \"pump\"\npassed", "passed", &[(52, K::MixedTable)]);
    check("side = \"pump\"\npassed", "side = \"pump\"\nsuspect = [\"dead\"]\npassed", &[(52, K::MixedTable)]);
}

#[test]
fn ids() {
    // The name as written is no key, so a quoted one refers to it.
    check("id = \"dead\"", "id = \"dead!\"", &[
        (26, K::BadId),
        (31, K::UnresolvedId),
        (50, K::UnresolvedId),
        (62, K::UnresolvedId),
    ]);
    check("id = \"care\"", "id = \"otherwise\"", &[(39, K::UnresolvedId), (65, K::BadId)]);
    check("id = \"small\"", "id = \"Ω\"", &[(2, K::BadId)]);
    check("share = 5", "share = 5\n[[suspect]]\nid = \"dead\"\nside = \"pump\"\nshare = 1", &[(30, K::DuplicateId)]);
    check("id = \"drop\"", "id = \"air\"", &[(18, K::DuplicateId)]);
    check("dead = 0.9", "ded = 0.9", &[(63, K::UnresolvedId)]);
    check("point = \"pressure\"\nphase", "point = \"presure\"\nphase", &[(35, K::UnresolvedId)]);
    check("cautions = [\"care\"]", "cautions = [\"care\", \"care\"]", &[(39, K::RepeatedEntry)]);
    check("second = \"dead\"", "second = \"weak\"", &[(29, K::SelfReference)]);
    check("[\"before\", \"pressure\"]", "[\"before\", \"before\"]", &[(19, K::SelfReference)]);
    check("times = 10", "times = 10\n[[link]]\nfirst = \"dead\"\nsecond = \"weak\"\ntimes = 2", &[(33, K::RepeatedEntry)]);
}

#[test]
fn words_of_closed_lists() {
    check("phase = [\"cranking\", \"idle\"]", "phase = [\"crank\", \"idle\"]", &[(36, K::UnknownWord)]);
    check("take = \"minimum\"", "take = \"min\"", &[(37, K::UnknownWord)]);
    check("side = \"supply\"\nshare", "side = \"tank\"\nshare", &[(23, K::UnknownWord)]);
    check("quantity = \"temperature\"", "quantity = \"heat\"", &[(15, K::UnknownWord)]);
    check("take = \"minimum\"", "take = \"minimum\"\ndrive = \"by-pass\"", &[(38, K::UnknownWord)]);
    check("[\"cranking\", \"idle\"]", "[\"idle\", \"idle\"]", &[(36, K::RepeatedEntry)]);
    check("[\"cranking\", \"idle\"]", "[]", &[(36, K::OutOfRange)]);
}

#[test]
fn units_and_amounts() {
    check("unit = \"kPa\"", "unit = \"kpa\"", &[(12, K::UnknownUnit)]);
    check("unit = \"degC\"", "unit = \"V\"", &[(16, K::QuantityMismatch)]);
    check("\"5 psi\"", "\"5 pounds\"", &[(38, K::UnknownUnit)]);
    check("\"5 psi\"", "\"5\"", &[(38, K::MissingUnit)]);
    check("\"5 psi\"", "\"5 V\"", &[(38, K::QuantityMismatch)]);
    check("\"5 psi\"", "\"OL\"", &[(38, K::BadValue)]);
    check("\"5 psi\"", "\"five\"", &[(38, K::BadValue)]);
    check("\"-15 psi\"", "\"-15 V\"", &[(8, K::QuantityMismatch)]);
    check("[\"-15 psi\", \"60 psi\"]", "[\"60 psi\", \"-15 psi\"]", &[(8, K::LimitReversed)]);
    check("\"0.5 s\"", "\"0.5 V\"", &[(20, K::QuantityMismatch)]);
    check("take = \"minimum\"", "take = \"minimum\"\nafter = \"-1 s\"", &[(38, K::BadValue)]);
    check("take = \"minimum\"", "take = \"minimum\"\nover = \"0 s\"", &[(38, K::OutOfRange)]);
    check("minus = [\"before\", \"pressure\"]", "minus = [\"before\", \"air\"]", &[(19, K::QuantityMismatch)]);
    // A unit that is wrong at its point hides nothing at the check.
    let text = broken("unit = \"psi\"", "unit = \"psig\"").replace("\"5 psi\"", "\"5 V\"");
    assert_eq!(found(&text), [(7, K::UnknownUnit), (38, K::QuantityMismatch)]);
}

#[test]
fn numbers_in_range() {
    let head = |line: &str, expected: &[(usize, DefectKind)]| {
        check("version = \"1\"", &format!("version = \"1\"\n{line}"), expected);
    };
    head("faults_at_once = 0", &[(4, K::OutOfRange)]);
    head("faults_at_once = 4", &[(4, K::OutOfRange)]);
    head("faults_at_once = 1.5", &[(4, K::OutOfRange)]);
    head("faults_at_once = 3", &[]);
    head("isolate_at = 1.5", &[(4, K::OutOfRange)]);
    head("also_at = 0.99", &[(4, K::OutOfRange)]);
    head("none = -1", &[(4, K::OutOfRange)]);
    head("none = 16.1", &[]);
    check("times = 10", "times = 0", &[(32, K::OutOfRange)]);
    check("share = 10", "share = -1", &[(24, K::OutOfRange)]);
    check("take = \"minimum\"", "take = \"minimum\"\nrisk = 0.5", &[(38, K::OutOfRange)]);
    check("take = \"minimum\"", "take = \"minimum\"\nminutes = 0", &[(38, K::OutOfRange)]);
}

#[test]
fn too_many_hypotheses() {
    use std::fmt::Write;
    let mut text = broken("version = \"1\"", "version = \"1\"\nfaults_at_once = 3");
    for i in 0..200 {
        writeln!(text, "[[suspect]]\nid = \"s{i}\"\nside = \"outside\"\nshare = 1").unwrap();
    }
    let all = found(&text);
    assert!(all.contains(&(4, K::OutOfRange)), "{all:?}");
}

#[test]
fn limits() {
    let limit = |to: &str, expected: &[(usize, DefectKind)]| {
        check("limit = { at_least = \"5 psi\" }", to, expected);
    };
    limit("", &[(33, K::LimitMissing)]);
    limit("limit = {}", &[(38, K::LimitMissing)]);
    limit("limit = { at_least = \"5 psi\", at_most = \"30 kPa\" }", &[(38, K::LimitReversed)]);
    let table = |rows: &str, expected: &[(usize, DefectKind)]| {
        limit(&format!("limit = {{ at_least = {{ by = \"air\", table = {rows} }} }}"), expected);
    };
    table("[[\"21 degC\", \"5 psi\"], [\"4 degC\", \"4 psi\"], [\"-1 degC\", \"3 psi\"]]", &[]);
    table("[[\"21 degC\", \"5 psi\"], [\"25 degC\", \"4 psi\"], [\"-1 degC\", \"3 psi\"]]", &[(38, K::TableNotOrdered)]);
    table("[[\"21 degC\", \"5 psi\"], [\"21 degC\", \"4 psi\"]]", &[(38, K::TableNotOrdered)]);
    table("[[\"21 degC\", \"5 psi\"]]", &[(38, K::TableNotOrdered)]);
    table("[[\"21 psi\", \"5 psi\"], [\"4 degC\", \"5 V\"]]", &[(38, K::QuantityMismatch), (38, K::QuantityMismatch)]);
    table("[[\"21 degC\"]]", &[(38, K::WrongType)]);
    limit("limit = { at_least = { by = \"wind\", table = [] } }", &[(38, K::UnresolvedId)]);
    limit("limit = { at_least = { table = [] } }", &[(38, K::MissingKey)]);
}

#[test]
fn a_feature_decides_what_its_limit_is() {
    let feature = |take: &str, limit: &str, expected: &[(usize, DefectKind)]| {
        check("take = \"minimum\"\nlimit = { at_least = \"5 psi\" }",
            &format!("take = \"{take}\"\nlimit = {{ at_most = {limit} }}"), expected);
    };
    feature("ripple", "0.3", &[]);
    feature("decay", "\"30 %\"", &[]);
    feature("ripple", "\"3 psi\"", &[(38, K::QuantityMismatch)]);
    feature("rise-time", "\"300 ms\"", &[]);
    feature("rise-time", "\"3 psi\"", &[(38, K::QuantityMismatch)]);
    feature("peak-to-peak", "\"3 psi\"", &[]);

    let text = broken("point = \"pressure\"\nphase", "point = \"air\"\nphase")
        .replace("take = \"minimum\"", "take = \"peak-to-peak\"").replace("\"5 psi\"", "\"9 degF\"");
    let rules = examine(&text).rule_set.unwrap();
    let Some(Bound::Fixed(kelvins)) = &rules.checks[0].measured().unwrap().at_least else {
        panic!("no fixed limit")
    };
    assert!((kelvins - 5.0).abs() < 1e-12, "a difference knows no offset: {kelvins}");
}

#[test]
fn probabilities() {
    check("weak = 0.8", "weak = 1.8", &[(42, K::NotAProbability)]);
    check("weak = 0.8", "weak = 0.01", &[(42, K::BelowOtherwise)]);
    check("otherwise = 0.02\nweak", "otherwise = 1\nweak", &[(41, K::NotAProbability), (42, K::BelowOtherwise)]);
    check("dead = 0.9", "dead = 0.001", &[(63, K::BelowOtherwise)]);
    check("[0.1, 0.2, 0.7]", "[0.1, 0.9]", &[(50, K::RowLength)]);
    check("[0.1, 0.2, 0.7]", "[0.1, 0.2, 0.8]", &[(50, K::RowSum)]);
    check("[0.1, 0.2, 0.7]", "[-0.1, 0.4, 0.7]", &[(50, K::NotAProbability)]);
    check("[0.1, 0.2, 0.7]", "[0.92, 0.04, 0.04]", &[(50, K::RowAboveOtherwise)]);
    check("[0.1, 0.2, 0.7]", "[0.1, 0.88, 0.02]", &[(50, K::RowAboveOtherwise)]);
    check("answers = [\"yes\", \"badly\", \"no\"]", "answers = [\"yes\"]", &[(46, K::OutOfRange)]);
    check("answers = [\"yes\", \"badly\", \"no\"]", "answers = [\"yes\", \"yes\", \"no\"]", &[(46, K::RepeatedEntry)]);
}

/// Each row alone is sound; C(a | both) is 0.4 · 0.4 / 0.5 = 0.32 and then
/// 0.4 · 0.4 / 0.9 = 0.178.
#[test]
fn rows_must_combine() {
    let text = broken("[0.9, 0.06, 0.04]", "[0.5, 0.4, 0.1]")
        .replace("[0.1, 0.2, 0.7]", "[0.4, 0.0, 0.6]")
        .replace("[0.5, 0.3, 0.2]", "[0.4, 0.0, 0.6]");
    assert_eq!(found(&text), [(51, K::RowCombination)]);
    // One fault at a time needs no combination.
    assert_eq!(found(&text.replace("version = \"1\"", "version = \"1\"\nfaults_at_once = 1")), []);
}

#[test]
fn checks_that_wait_for_one_another() {
    check("cautions = [\"care\"]", "cautions = [\"care\"]\nneeds = [\"starts\"]", &[(48, K::Cycle)]);
    check("cautions = [\"care\"]", "cautions = [\"care\"]\nadvise_after = [\"starts\"]", &[(48, K::Cycle)]);
    check("needs = [\"holds\"]", "needs = [\"starts\"]", &[(47, K::Cycle)]);
}

#[test]
fn proofs() {
    check("measured_failed = [\"holds\"]", "", &[(56, K::ProofEmpty)]);
    check("measured_failed = [\"holds\"]", "measured_failed = []", &[(56, K::ProofEmpty)]);
    check("measured_failed = [\"holds\"]", "measured_failed = [\"starts\"]", &[(58, K::NotMeasured)]);
    check("failed = [\"starts\"]", "failed = [\"holds\"]", &[(55, K::ProofContradiction)]);
    check("failed = [\"starts\"]", "any_failed = [\"holds\"]", &[(55, K::ProofContradiction)]);
    check("failed = [\"starts\"]", "any_failed = [\"holds\", \"starts\"]", &[]);
    check("failed = [\"starts\"]", "failed = [\"begins\"]", &[(55, K::UnresolvedId)]);
}

#[test]
fn what_has_no_effect_is_a_warning() {
    check("cautions = [\"care\"]\n", "", &[(63, K::UnusedCaution)]);
    check("side = \"supply\"\nmeasured", "side = \"pump\"\nmeasured", &[(21, K::SideWithoutProof)]);
    check("weak = 0.8", "", &[(33, K::DecidesNothing)]);
    let text = broken("weak = 0.8", "dead = 0.8").replace("weak = [0.5, 0.3, 0.2]", "");
    assert_eq!(found(&text), [(21, K::SuspectUnseen)]);
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(300))]

    /// Cut, doubled, shifted or overwritten text ends in defects, never a panic.
    #[test]
    fn no_mutation_panics(cuts in proptest::collection::vec((0usize..4000, 0usize..60, "\\PC{0,6}"), 1..6)) {
        let mut text: Vec<char> = SOUND.chars().collect();
        for (at, length, put) in cuts {
            let start = at % (text.len() + 1);
            let end = (start + length).min(text.len());
            text.splice(start..end, put.chars());
        }
        let text: String = text.into_iter().collect();
        let examination = examine(&text);
        let lines = text.matches('\n').count() + 1;
        proptest::prop_assert!(examination.defects.iter().all(|d| d.line <= lines && d.column > 0));
        let _ = crate::case::parse(&text);
    }
}

#[test]
fn no_truncation_of_the_shipped_text_panics() {
    for (_, text) in crate::shipped() {
        let ends = text.char_indices().map(|(at, _)| at);
        for end in ends.step_by(97) {
            let examination = examine(&text[..end]);
            assert!(examination.rule_set.is_none() || end == text.len() || examination.defects.len() < 99);
        }
    }
}
