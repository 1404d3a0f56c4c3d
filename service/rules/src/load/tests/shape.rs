//! Text, keys, types, ids and words.

use super::{K, broken, check, found};
use crate::examine;

#[test]
fn text_that_is_not_toml() {
    check("share = 10", "share = ", &[(24, K::Syntax)]);
    check("[[link]]", "[[link]", &[(29, K::Syntax)]);
    check(
        "share = 10",
        "share = 10\nshare = 11",
        &[(25, K::DuplicateKey)],
    );
    // What is wrong elsewhere is said all the same.
    let text = broken("share = 10", "share = ").replace("times = 10", "times = 0");
    assert_eq!(found(&text), [(24, K::Syntax), (32, K::OutOfRange)]);
}

#[test]
fn what_is_missing_or_unknown() {
    check("format = 1\n", "", &[(1, K::MissingKey)]);
    check(
        "version = \"1\"",
        "versoin = \"1\"",
        &[(1, K::MissingKey), (3, K::UnknownKey)],
    );
    check(
        "side = \"supply\"\nshare = 10",
        "share = 10",
        &[(21, K::MissingKey)],
    );
    check("within = \"0.5 s\"\n", "", &[(17, K::MissingKey)]);
    check(
        "otherwise = 0.02\nweak = 0.8",
        "weak = 0.8",
        &[(40, K::MissingKey)],
    );
    check("quantity = \"temperature\"\n", "", &[(13, K::MissingKey)]);
    check("text = \"Take care.\"\n", "", &[(64, K::MissingKey)]);
    check(
        "id = \"care\"\n",
        "",
        &[(39, K::UnresolvedId), (64, K::MissingKey)],
    );
    check(
        "phase = [\"cranking\", \"idle\"]",
        "phse = [\"idle\"]",
        &[(33, K::MissingKey), (36, K::UnknownKey)],
    );
    check(
        "second = \"dead\"",
        "second = \"dead\"\nthird = \"weak\"",
        &[(32, K::UnknownKey)],
    );
    assert_eq!(
        found("format = 1\nid = \"a\"\nversion = \"1\"\n"),
        [
            (1, K::MissingTable),
            (1, K::MissingTable),
            (1, K::MissingTable)
        ]
    );
}

#[test]
fn hints_name_the_nearest() {
    let hint = |from, to| examine(&broken(from, to)).defects[0].hint.clone();
    assert_eq!(
        hint("side = \"supply\"\nshare", "side = \"suply\"\nshare"),
        "did you mean `supply`? use one of `supply`, `controller`, `pump`, `outside`"
    );
    assert_eq!(
        hint("first = \"weak\"", "first = \"weka\""),
        "did you mean `weak`?"
    );
    assert!(hint("take = \"minimum\"", "take = \"min\"").contains("use one of `last`, `minimum`"));
    assert!(hint("unit = \"degC\"", "unit = \"V\"").contains("`degC`"));
}

#[test]
fn types() {
    check("share = 10", "share = \"10\"", &[(24, K::WrongType)]);
    check("share = 10", "share = inf", &[(24, K::WrongType)]);
    check(
        "needs = [\"holds\"]",
        "needs = \"holds\"",
        &[(47, K::WrongType)],
    );
    check(
        "id = \"care\"",
        "id = 3",
        &[(39, K::UnresolvedId), (65, K::WrongType)],
    );
    check(
        "limit = { at_least = \"5 psi\" }",
        "limit = \"5 psi\"",
        &[(38, K::WrongType)],
    );
    check(
        "at_least = \"5 psi\"",
        "at_least = 5",
        &[(38, K::WrongType)],
    );
    check(
        "dead = [0.1, 0.2, 0.7]",
        "dead = 0.1",
        &[(50, K::WrongType)],
    );
    check(
        "[\"-15 psi\", \"60 psi\"]",
        "[\"-15 psi\"]",
        &[(8, K::WrongType)],
    );
    check(
        "minus = [\"before\", \"pressure\"]",
        "minus = [\"before\"]",
        &[(19, K::WrongType)],
    );
    check("within = \"0.5 s\"", "within = 0.5", &[(20, K::WrongType)]);
    assert_eq!(
        found("format = 1\nid = \"a\"\nversion = \"1\"\ntest_point = 1\nsuspect = [1]\n[check]\n"),
        [(4, K::WrongType), (5, K::WrongType), (6, K::WrongType)]
    );
}

#[test]
fn checks_are_measured_or_asked() {
    check(
        "point = \"pressure\"\nphase",
        "phase",
        &[(33, K::MixedTable), (57, K::NotMeasured)],
    );
    check(
        "ask = \"Does it start?\"",
        "ask = \"Does it start?\"\npoint = \"air\"",
        &[(43, K::MixedTable)],
    );
    check("side = \"pump\"\npassed", "passed", &[(52, K::MixedTable)]);
    check(
        "side = \"pump\"\npassed",
        "side = \"pump\"\nsuspect = [\"dead\"]\npassed",
        &[(52, K::MixedTable)],
    );
}

#[test]
fn ids() {
    check(
        "id = \"dead\"",
        "id = \"dead!\"",
        &[
            (26, K::BadId),
            (31, K::UnresolvedId),
            (50, K::UnresolvedId),
            (63, K::UnresolvedId),
        ],
    );
    check(
        "id = \"care\"",
        "id = \"otherwise\"",
        &[(39, K::UnresolvedId), (65, K::BadId)],
    );
    check("id = \"small\"", "id = \"Ω\"", &[(2, K::BadId)]);
    check(
        "share = 5",
        "share = 5\n[[suspect]]\nid = \"dead\"\nside = \"pump\"\nshare = 1",
        &[(30, K::DuplicateId)],
    );
    check("id = \"drop\"", "id = \"air\"", &[(18, K::DuplicateId)]);
    check("dead = 0.9", "ded = 0.9", &[(63, K::UnresolvedId)]);
    check(
        "point = \"pressure\"\nphase",
        "point = \"presure\"\nphase",
        &[(35, K::UnresolvedId)],
    );
    check(
        "cautions = [\"care\"]",
        "cautions = [\"care\", \"care\"]",
        &[(39, K::RepeatedEntry)],
    );
    check(
        "second = \"dead\"",
        "second = \"weak\"",
        &[(29, K::SelfReference)],
    );
    check(
        "[\"before\", \"pressure\"]",
        "[\"before\", \"before\"]",
        &[(19, K::SelfReference)],
    );
    check(
        "times = 10",
        "times = 10\n[[link]]\nfirst = \"dead\"\nsecond = \"weak\"\ntimes = 2",
        &[(33, K::RepeatedEntry)],
    );
}

#[test]
fn words_of_closed_lists() {
    check(
        "phase = [\"cranking\", \"idle\"]",
        "phase = [\"crank\", \"idle\"]",
        &[(36, K::UnknownWord)],
    );
    check(
        "take = \"minimum\"",
        "take = \"min\"",
        &[(37, K::UnknownWord)],
    );
    check(
        "side = \"supply\"\nshare",
        "side = \"tank\"\nshare",
        &[(23, K::UnknownWord)],
    );
    check(
        "quantity = \"temperature\"",
        "quantity = \"heat\"",
        &[(15, K::UnknownWord)],
    );
    check(
        "take = \"minimum\"",
        "take = \"minimum\"\ndrive = \"by-pass\"",
        &[(38, K::UnknownWord)],
    );
    check(
        "[\"cranking\", \"idle\"]",
        "[\"idle\", \"idle\"]",
        &[(36, K::RepeatedEntry)],
    );
    check("[\"cranking\", \"idle\"]", "[]", &[(36, K::OutOfRange)]);
}
