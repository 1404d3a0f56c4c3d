//! Recorded jobs: what the shipped rule set makes of them, through `trisect ruleset trial`.

use std::collections::BTreeSet;

use serde_json::Value;
use trisect_tests::programs::{Ended, trisect};
use trisect_tests::repository::{files, text};

const RULES: &str = "distributor-pump-12v";

fn cases() -> Vec<&'static str> {
    let in_folder = |path: &&str| path.starts_with("tests/cases/") && path.ends_with(".toml");
    files()
        .iter()
        .map(String::as_str)
        .filter(in_folder)
        .collect()
}

fn trial(cases: &[&str]) -> Ended {
    trisect(
        &[&["ruleset", "trial", "--json", RULES], cases].concat(),
        "",
    )
}

/// One run of all cases.
fn all() -> Value {
    let ended = trial(&cases());
    assert_eq!(ended.code, 0, "{}\n{}", ended.err, differences(&ended.out));
    serde_json::from_str(&ended.out).unwrap()
}

/// What differed, a case a line.
fn differences(out: &str) -> String {
    let answer: Value = serde_json::from_str(out).unwrap_or_default();
    let cases = answer["cases"].as_array().cloned().unwrap_or_default();
    let differing = cases.iter().filter(|case| case["ok"] == false);
    differing
        .map(|case| format!("{}: {}\n", case["file"], case["differences"]))
        .collect()
}

#[test]
fn every_case_comes_out_as_recorded() {
    let answer = all();
    assert_eq!(answer["cases"].as_array().unwrap().len(), cases().len());
}

/// Every suspect is somewhere the likeliest, or its side is said to be open on purpose; every complaint,
/// every standing and every proof occurs.
#[test]
fn the_cases_cover_the_trade() {
    let rules = trisect_rules::shipped_rule_set(RULES).unwrap();
    let there: BTreeSet<String> = cases()
        .iter()
        .map(|path| path.replace("tests/cases/", ""))
        .collect();
    let without = rules
        .suspects
        .iter()
        .filter(|s| !there.contains(&format!("{}.toml", s.id)));
    assert_eq!(
        without.map(|s| &s.id).collect::<Vec<_>>(),
        Vec::<&String>::new(),
        "suspects without a case"
    );
    let texts: Vec<String> = cases().into_iter().map(text).collect();
    let complained = |id: &str| {
        texts
            .iter()
            .any(|text| text.contains(&format!("complaint = \"{id}\"")))
    };
    assert!(
        rules
            .complaints
            .iter()
            .all(|complaint| complained(&complaint.id))
    );
    let answer = all();
    for standing in ["isolated", "leaning", "open", "contradicted"] {
        let cases = answer["cases"].as_array().unwrap();
        assert!(
            cases
                .iter()
                .any(|case| case["verdict"]["standing"] == standing),
            "{standing}"
        );
    }
    assert_eq!(
        answer["coverage"]["proofs"]["unreached"],
        serde_json::json!([])
    );
}

/// Design, "What has to stay true", 2: no verdict names a side whose proof is missing.
#[test]
fn no_case_names_a_side_whose_proof_is_missing() {
    for case in all()["cases"].as_array().unwrap() {
        let verdict = &case["verdict"];
        let named = verdict["standing"] == "isolated";
        let missing = verdict["missing"].as_array().unwrap();
        let lacks = missing
            .iter()
            .any(|proof| proof["side"] == verdict["side"] && proof["suspect"].is_null());
        assert!(!named || !lacks, "{}: {}", case["file"], verdict["missing"]);
        assert_eq!(
            verdict["side"].is_null(),
            matches!(verdict["standing"].as_str(), Some("open" | "contradicted"))
        );
    }
}

/// Writes a changed copy of a case and tries it.
fn changed(from: &str, to: &str) -> (Ended, String) {
    let folder = tempfile::tempdir().unwrap();
    let copy = folder.path().join("changed.toml");
    let original = text("tests/cases/tank-empty.toml");
    assert!(original.contains(from), "the case no longer says {from}");
    std::fs::write(&copy, original.replacen(from, to, 1)).unwrap();
    let path = copy.to_str().unwrap().to_owned();
    (trial(&[&path]), path)
}

#[test]
fn a_wrong_expectation_ends_with_1_and_says_what_differed() {
    let (ended, path) = changed("side = \"supply\"", "side = \"pump\"");
    assert_eq!(ended.code, 1, "{ended:?}");
    let answer: Value = serde_json::from_str(&ended.out).unwrap();
    assert_eq!(answer["cases"][0]["ok"], false);
    let expected = serde_json::json!([{"what": "side", "expected": "pump", "found": "supply"}]);
    assert_eq!(answer["cases"][0]["differences"], expected, "{path}");
}

#[test]
fn a_wrong_request_ends_with_2_and_says_where() {
    let check = |from, to, says: &str| {
        let (ended, path) = changed(from, to);
        assert_eq!((ended.code, ended.out.as_str()), (2, ""), "{ended:?}");
        assert!(
            ended.err.contains(&path) && ended.err.contains(says),
            "{ended:?}"
        );
    };
    check("point = \"battery\"", "point = \"batery\"", "battery");
    check(
        "value = \"0.4 psi\"",
        "value = \"0.4 V\"",
        "quantity-mismatch",
    );
    check("is = \"not-seen\"", "is = \"unseen\"", "not-seen");
    check("phase = \"cranking\"", "phase = \"crankin\"", "cranking");
    check(
        "ruleset = \"distributor-pump-12v\"",
        "ruleset = \"other\"",
        "other",
    );
    let none = trial(&["tests/cases/no-such-case.toml"]);
    assert_eq!((none.code, none.out.as_str()), (2, ""), "{none:?}");
}
