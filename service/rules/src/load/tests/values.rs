//! Amounts, limits, probabilities, proofs and effects.

use super::{K, broken, check, found};
use crate::{Bound, DefectKind, examine};

#[test]
fn units_and_amounts() {
    check("unit = \"kPa\"", "unit = \"kpa\"", &[(12, K::UnknownUnit)]);
    check(
        "unit = \"degC\"",
        "unit = \"V\"",
        &[(16, K::QuantityMismatch)],
    );
    check("\"5 psi\"", "\"5 pounds\"", &[(38, K::UnknownUnit)]);
    check("\"5 psi\"", "\"5\"", &[(38, K::MissingUnit)]);
    check("\"5 psi\"", "\"5 V\"", &[(38, K::QuantityMismatch)]);
    check("\"5 psi\"", "\"OL\"", &[(38, K::BadValue)]);
    check("\"5 psi\"", "\"five\"", &[(38, K::BadValue)]);
    check("\"-15 psi\"", "\"-15 V\"", &[(8, K::QuantityMismatch)]);
    check(
        "[\"-15 psi\", \"60 psi\"]",
        "[\"60 psi\", \"-15 psi\"]",
        &[(8, K::LimitReversed)],
    );
    check("\"0.5 s\"", "\"0.5 V\"", &[(20, K::QuantityMismatch)]);
    check(
        "take = \"minimum\"",
        "take = \"minimum\"\nafter = \"-1 s\"",
        &[(38, K::BadValue)],
    );
    check(
        "take = \"minimum\"",
        "take = \"minimum\"\nover = \"0 s\"",
        &[(38, K::OutOfRange)],
    );
    check(
        "minus = [\"before\", \"pressure\"]",
        "minus = [\"before\", \"air\"]",
        &[(19, K::QuantityMismatch)],
    );
    // A unit that is wrong at its point hides nothing at the check.
    let text = broken("unit = \"psi\"", "unit = \"psig\"").replace("\"5 psi\"", "\"5 V\"");
    assert_eq!(
        found(&text),
        [(7, K::UnknownUnit), (38, K::QuantityMismatch)]
    );
}

#[test]
fn numbers_in_range() {
    let head = |line: &str, expected: &[(usize, DefectKind)]| {
        check(
            "version = \"1\"",
            &format!("version = \"1\"\n{line}"),
            expected,
        );
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
    check(
        "take = \"minimum\"",
        "take = \"minimum\"\nrisk = 0.5",
        &[(38, K::OutOfRange)],
    );
    check(
        "take = \"minimum\"",
        "take = \"minimum\"\nminutes = 0",
        &[(38, K::OutOfRange)],
    );
}

#[test]
fn too_many_hypotheses() {
    use std::fmt::Write;
    let mut text = broken("version = \"1\"", "version = \"1\"\nfaults_at_once = 3");
    for i in 0..100 {
        writeln!(
            text,
            "[[suspect]]\nid = \"s{i}\"\nside = \"outside\"\nshare = 1"
        )
        .unwrap();
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
    limit(
        "limit = { at_least = \"5 psi\", at_most = \"30 kPa\" }",
        &[(38, K::LimitReversed)],
    );
    let table = |rows: &str, expected: &[(usize, DefectKind)]| {
        limit(
            &format!("limit = {{ at_least = {{ by = \"air\", table = {rows} }} }}"),
            expected,
        );
    };
    table(
        "[[\"21 degC\", \"5 psi\"], [\"4 degC\", \"4 psi\"], [\"-1 degC\", \"3 psi\"]]",
        &[],
    );
    table(
        "[[\"21 degC\", \"5 psi\"], [\"25 degC\", \"4 psi\"], [\"-1 degC\", \"3 psi\"]]",
        &[(38, K::TableNotOrdered)],
    );
    table(
        "[[\"21 degC\", \"5 psi\"], [\"21 degC\", \"4 psi\"]]",
        &[(38, K::TableNotOrdered)],
    );
    table("[[\"21 degC\", \"5 psi\"]]", &[(38, K::TableNotOrdered)]);
    table(
        "[[\"21 psi\", \"5 psi\"], [\"4 degC\", \"5 V\"]]",
        &[(38, K::QuantityMismatch), (38, K::QuantityMismatch)],
    );
    table("[[\"21 degC\"]]", &[(38, K::WrongType)]);
    limit(
        "limit = { at_least = { by = \"wind\", table = [] } }",
        &[(38, K::UnresolvedId)],
    );
    limit(
        "limit = { at_least = { table = [] } }",
        &[(38, K::MissingKey)],
    );
}

#[test]
fn a_feature_decides_what_its_limit_is() {
    let feature = |take: &str, limit: &str, expected: &[(usize, DefectKind)]| {
        check(
            "take = \"minimum\"\nlimit = { at_least = \"5 psi\" }",
            &format!("take = \"{take}\"\nlimit = {{ at_most = {limit} }}"),
            expected,
        );
    };
    feature("ripple", "0.3", &[]);
    feature("decay", "\"30 %\"", &[]);
    feature("ripple", "\"3 psi\"", &[(38, K::QuantityMismatch)]);
    feature("rise-time", "\"300 ms\"", &[]);
    feature("rise-time", "\"3 psi\"", &[(38, K::QuantityMismatch)]);
    feature("peak-to-peak", "\"3 psi\"", &[]);

    let text = broken("point = \"pressure\"\nphase", "point = \"air\"\nphase")
        .replace("take = \"minimum\"", "take = \"peak-to-peak\"")
        .replace("\"5 psi\"", "\"9 degF\"");
    let rules = examine(&text).rule_set.unwrap();
    let Some(Bound::Fixed(kelvins)) = &rules.checks[0].measured().unwrap().at_least else {
        panic!("no fixed limit")
    };
    assert!(
        (kelvins - 5.0).abs() < 1e-12,
        "a difference knows no offset: {kelvins}"
    );
}

#[test]
fn probabilities() {
    check("weak = 0.8", "weak = 1.8", &[(42, K::NotAProbability)]);
    check("weak = 0.8", "weak = 0.01", &[(42, K::BelowOtherwise)]);
    check(
        "otherwise = 0.02\nweak",
        "otherwise = 1\nweak",
        &[(41, K::NotAProbability), (42, K::BelowOtherwise)],
    );
    check("dead = 0.9", "dead = 0.001", &[(63, K::BelowOtherwise)]);
    check("[0.1, 0.2, 0.7]", "[0.1, 0.9]", &[(50, K::RowLength)]);
    check("[0.1, 0.2, 0.7]", "[0.1, 0.2, 0.8]", &[(50, K::RowSum)]);
    check(
        "[0.1, 0.2, 0.7]",
        "[-0.1, 0.4, 0.7]",
        &[(50, K::NotAProbability)],
    );
    check(
        "[0.1, 0.2, 0.7]",
        "[0.92, 0.04, 0.04]",
        &[(50, K::RowAboveOtherwise)],
    );
    check(
        "[0.1, 0.2, 0.7]",
        "[0.1, 0.88, 0.02]",
        &[(50, K::RowAboveOtherwise)],
    );
    check(
        "answers = [\"yes\", \"badly\", \"no\"]",
        "answers = [\"yes\"]",
        &[(46, K::OutOfRange)],
    );
    check(
        "answers = [\"yes\", \"badly\", \"no\"]",
        "answers = [\"yes\", \"yes\", \"no\"]",
        &[(46, K::RepeatedEntry)],
    );
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
    assert_eq!(
        found(&text.replace("version = \"1\"", "version = \"1\"\nfaults_at_once = 1")),
        []
    );
}

#[test]
fn checks_that_wait_for_one_another() {
    check(
        "cautions = [\"care\"]",
        "cautions = [\"care\"]\nneeds = [\"starts\"]",
        &[(48, K::Cycle)],
    );
    check(
        "cautions = [\"care\"]",
        "cautions = [\"care\"]\nadvise_after = [\"starts\"]",
        &[(48, K::Cycle)],
    );
    check(
        "needs = [\"holds\"]",
        "needs = [\"starts\"]",
        &[(47, K::Cycle)],
    );
}

#[test]
fn proofs() {
    check("measured_failed = [\"holds\"]", "", &[(56, K::ProofEmpty)]);
    check(
        "measured_failed = [\"holds\"]",
        "measured_failed = []",
        &[(56, K::ProofEmpty)],
    );
    check(
        "measured_failed = [\"holds\"]",
        "measured_failed = [\"starts\"]",
        &[(58, K::NotMeasured)],
    );
    check(
        "failed = [\"starts\"]",
        "failed = [\"holds\"]",
        &[(55, K::ProofContradiction)],
    );
    check(
        "failed = [\"starts\"]",
        "any_failed = [\"holds\"]",
        &[(55, K::ProofContradiction)],
    );
    check(
        "failed = [\"starts\"]",
        "any_failed = [\"holds\", \"starts\"]",
        &[],
    );
    check(
        "failed = [\"starts\"]",
        "failed = [\"begins\"]",
        &[(55, K::UnresolvedId)],
    );
}

#[test]
fn what_has_no_effect_is_a_warning() {
    check("cautions = [\"care\"]\n", "", &[(63, K::UnusedCaution)]);
    check(
        "side = \"supply\"\nmeasured",
        "side = \"pump\"\nmeasured",
        &[(21, K::SideWithoutProof), (58, K::ProofOutOfReach)],
    );
    check(
        "weak = 0.8",
        "",
        &[(33, K::DecidesNothing), (58, K::ProofOutOfReach)],
    );
    let text = broken("weak = 0.8", "dead = 0.8").replace("weak = [0.5, 0.3, 0.2]", "");
    assert_eq!(
        found(&text),
        [(21, K::SuspectUnseen), (58, K::ProofOutOfReach)]
    );
}

#[test]
fn answers_stand_from_healthy_to_worst() {
    // Written the other way round, answers and rows alike: one defect, with the order.
    let text = broken("[0.9, 0.06, 0.04]", "[0.04, 0.06, 0.9]")
        .replace("[0.1, 0.2, 0.7]", "[0.7, 0.2, 0.1]")
        .replace("[0.5, 0.3, 0.2]", "[0.2, 0.3, 0.5]");
    assert_eq!(found(&text), [(49, K::AnswersOutOfOrder)]);
    let hint = &examine(&text).defects[0].hint;
    assert!(hint.ends_with("[\"no\", \"badly\", \"yes\"]"), "{hint}");
    // Sound as rows, but health is not the likeliest.
    let text = broken("[0.9, 0.06, 0.04]", "[0.44, 0.46, 0.1]")
        .replace("[0.1, 0.2, 0.7]", "[0.1, 0.1, 0.8]")
        .replace("[0.5, 0.3, 0.2]", "[0.3, 0.3, 0.4]");
    assert_eq!(found(&text), [(46, K::AnswersOutOfOrder)]);
    let text = broken("[0.9, 0.06, 0.04]", "[0.9, 0.1, 0.0]")
        .replace("[0.1, 0.2, 0.7]", "[0.1, 0.9, 0.0]")
        .replace("[0.5, 0.3, 0.2]", "[0.5, 0.5, 0]");
    assert_eq!(found(&text), [(46, K::AnswerUnreachable)]);
}

#[test]
fn complaints_that_nothing_leads_to_or_that_prevent_their_proof() {
    check("dead = 0.9", "", &[(59, K::ComplaintUnreachable)]);
    check(
        "dead = 0.9",
        "dead = 0.02",
        &[(59, K::ComplaintUnreachable)],
    );
    let impossible = broken("otherwise = 0.02\ndead = 0.9", "otherwise = 0");
    assert_eq!(found(&impossible), [(59, K::ComplaintUnreachable)]);
    assert!(examine(&impossible).rule_set.is_none(), "an error");
    check(
        "id = \"no-start\"",
        "id = \"no-start\"\nleaves_out = [\"holds\"]",
        &[(61, K::ComplaintUnprovable)],
    );
}

#[test]
fn proofs_that_cannot_be_met() {
    // `starts` is void until `holds` has passed, so both cannot have failed.
    check(
        "passed = [\"holds\"]\nfailed",
        "measured_failed = [\"holds\"]\nfailed",
        &[(54, K::ProofContradiction)],
    );
    check(
        "measured_failed = [\"holds\"]",
        "passed = [\"starts\"]\nfailed = [\"holds\"]",
        &[(59, K::ProofContradiction)],
    );
    // No fault of the pump makes `holds` fail, and the proof of `starts` is dropped.
    check(
        "passed = [\"holds\"]\nfailed = [\"starts\"]",
        "failed = [\"holds\"]",
        &[(54, K::ProofOutOfReach)],
    );
}

#[test]
fn limits_beyond_what_is_plausible_decide_nothing() {
    check("\"5 psi\"", "\"-15 psi\"", &[(38, K::DecidesNothing)]);
    check("\"5 psi\"", "\"61 psi\"", &[(38, K::DecidesNothing)]);
    check(
        "at_least = \"5 psi\"",
        "at_most = \"60 psi\"",
        &[(38, K::DecidesNothing)],
    );
}
