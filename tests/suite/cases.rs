//! Recorded jobs: what the shipped rule set makes of them, through `trisect ruleset trial`.

use std::collections::BTreeSet;

use serde_json::{Value, json};
use trisect_rules::{ProofTarget, Side};
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

/// The next version of the shipped rule set, in format 2, on the same jobs as runs and on those of runs alone.
#[test]
fn every_case_of_runs_comes_out_as_recorded() {
    let rules = "tests/rulesets/distributor-pump-12v-2.toml";
    let in_folder = |path: &&str| path.starts_with("tests/runs/") && path.ends_with(".toml");
    let cases: Vec<&str> = files()
        .iter()
        .map(String::as_str)
        .filter(in_folder)
        .collect();
    assert!(cases.len() >= 170, "{} cases", cases.len());
    let ended = trisect(
        &[&["ruleset", "trial", "--json", rules], &cases[..]].concat(),
        "",
    );
    assert_eq!(ended.code, 0, "{}\n{}", ended.err, differences(&ended.out));
    let answer: Value = serde_json::from_str(&ended.out).unwrap();
    assert_eq!(answer["cases"].as_array().unwrap().len(), cases.len());
    let missed = &answer["coverage"]["suspects"]["unreached"];
    let excused = |suspect: &Value| {
        let case = format!("tests/runs/{}.toml", suspect.as_str().unwrap());
        text(&case).starts_with("# Never the likeliest: ")
    };
    assert!(missed.as_array().unwrap().iter().all(excused), "{missed}");
}

/// Every suspect is somewhere the likeliest, or its case says why it never is; every complaint, every
/// standing and every proof occurs.
#[test]
fn the_cases_cover_the_trade() {
    assert!(cases().len() >= 60, "{} cases", cases().len());
    let answer = all();
    let unreached = |kind: &str| -> BTreeSet<String> {
        serde_json::from_value(answer["coverage"][kind]["unreached"].clone()).unwrap()
    };
    let excused = |suspect: &String| {
        text(&format!("tests/cases/{suspect}.toml")).starts_with("# Never the likeliest: ")
    };
    let without: Vec<String> = unreached("suspects")
        .into_iter()
        .filter(|s| !excused(s))
        .collect();
    assert_eq!(without, [""; 0], "suspects that are never the likeliest");
    assert_eq!(unreached("complaints"), BTreeSet::new());
    assert_eq!(unreached("proofs"), BTreeSet::new());
    let cases = answer["cases"].as_array().unwrap();
    for standing in ["isolated", "leaning", "open", "contradicted"] {
        let there = |case: &Value| case["verdict"]["standing"] == standing;
        assert!(cases.iter().any(there), "{standing}");
    }
    for path in self::cases() {
        assert!(
            text(path).contains("\nsource = \"invented: Northmoor Roads Depot, "),
            "{path}"
        );
    }
}

/// Every proof is withheld once: the side is believed, and all that is missing is one part of its proof.
#[test]
fn every_proof_is_withheld_once() {
    let answer = all();
    let cases = answer["cases"].as_array().unwrap();
    let rules = trisect_rules::shipped_rule_set(RULES).unwrap();
    let ids = |checks: &[usize]| -> Vec<String> {
        checks
            .iter()
            .map(|check| rules.checks[*check].id.clone())
            .collect()
    };
    // What a believed side's first proof lacks, by list.
    let lacks = |side: Side, list: &str, checks: &[String]| {
        cases.iter().any(|case| {
            let verdict = &case["verdict"];
            let leaning = verdict["standing"] == "leaning" && verdict["side"] == side.word();
            let missing = verdict["missing"].as_array().unwrap().iter();
            leaning
                && missing
                    .into_iter()
                    .any(|m| m["side"] == side.word() && m[list] == json!(checks))
        })
    };
    let smoke = rules.check_index("smoke-cranking").unwrap();
    for proof in &rules.proofs {
        let ProofTarget::Side(side) = proof.target else {
            continue;
        };
        // What is outside is believed only once its own checks failed: by smoke and the bypass drive alone,
        // metering that is nearly shut could be the same (outside-smoke-and-no-start.toml).
        let outside = side == Side::Outside;
        if outside && proof.passed.contains(&smoke) {
            continue;
        }
        let whole =
            |list: &str, checks: &[usize]| checks.is_empty() || lacks(side, list, &ids(checks));
        // Of a long list of what must have passed, each is withheld alone.
        for check in ids(&proof.passed) {
            let alone = lacks(side, "passed", std::slice::from_ref(&check));
            assert!(alone, "{side}: nothing but {check} withheld");
        }
        for (list, checks) in [
            ("failed", &proof.failed),
            ("any_failed", &proof.any_failed),
            ("measured_failed", &proof.measured_failed),
        ] {
            assert!(outside || whole(list, checks), "{side}: {list} withheld");
        }
    }
    let named = |case: &Value| {
        let missing = case["verdict"]["missing"].as_array().unwrap();
        let of_suspect = missing.iter().any(|m| m["suspect"] == "controller-dead");
        case["verdict"]["standing"] == "isolated"
            && case["verdict"]["named"].is_null()
            && of_suspect
    };
    assert!(
        cases.iter().any(named),
        "the controller's own proof withheld"
    );
    let smoke = cases
        .iter()
        .find(|case| case["file"].as_str().unwrap().contains("outside-no-smoke"));
    assert_ne!(smoke.unwrap()["verdict"]["standing"], "isolated");
}

/// No combination of outcomes whatever names a side of the shipped rule set whose proof is missing.
#[test]
fn the_gate_of_the_shipped_rule_set_is_proven() {
    let ended = trisect(&["ruleset", "examine", "--prove", "--json", RULES], "");
    assert_eq!(ended.code, 0, "{ended:?}");
    let answer: Value = serde_json::from_str(&ended.out).unwrap();
    let proving = &answer["files"][0]["proving"];
    assert_eq!(proving["proven"], true, "{proving}");
    let named = proving["named"].as_array().unwrap();
    let searched: u64 = named.iter().filter_map(|n| n["searched"].as_u64()).sum();
    assert_eq!(proving["combinations"], searched);
    // Three outcomes of each check: 13 of supply, 14 of controller, 15 of pump, 11 of outside; two controllers.
    let all = [13, 14, 15, 11, 14, 14].map(|checks| 3u64.pow(checks));
    assert_eq!(searched, all.iter().sum::<u64>());
    for naming in named.iter().filter(|naming| naming["side"] != "outside") {
        assert!(naming["shortest"]["tests"].is_array(), "{naming}");
    }
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
    let expected = json!([{"what": "side", "expected": "pump", "found": "supply"}]);
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
