//! Jensen & Nielsen, *Bayesian Networks and Decision Graphs* (2007), 2.3: the car-start problem.
//! The exact numbers are those of two libraries (`pgmpy`, `pyagrum`) and of brute force, which agree to
//! nine digits.

use serde_json::Value;

use super::verdict;

const RULES: &str = "tests/rulesets/car-start.toml";
const NINE_DIGITS: f64 = 5e-10;

fn answered(answers: &[(&str, &str)]) -> Value {
    let events: String = answers
        .iter()
        .map(|(check, is)| {
            format!("[[event]]\nat = \"0 s\"\nanswer = {{ check = \"{check}\", is = \"{is}\" }}\n")
        })
        .collect();
    verdict(RULES, &events)
}

fn probability(verdict: &Value, suspect: &str) -> f64 {
    let suspects = verdict["suspects"].as_array().unwrap();
    let found = suspects
        .iter()
        .find(|entry| entry["id"] == suspect)
        .unwrap();
    found["probability"].as_f64().unwrap()
}

#[test]
fn posteriors_to_nine_digits() {
    let check = |answers: &[(&str, &str)], fuel: f64, plugs: f64| {
        let verdict = answered(answers);
        let found = ["no-fuel", "dirty-plugs"].map(|suspect| 1.0 - probability(&verdict, suspect));
        assert!(
            (found[0] - fuel).abs() < NINE_DIGITS,
            "{answers:?}: P(fuel) {}",
            found[0]
        );
        assert!(
            (found[1] - plugs).abs() < NINE_DIGITS,
            "{answers:?}: P(clean plugs) {}",
            found[1]
        );
    };
    check(&[], 0.98, 0.96);
    check(&[("start", "no")], 0.706_813_651, 0.419_373_754);
    check(
        &[("start", "no"), ("meter", "half")],
        0.999_309_144,
        0.195_650_372,
    );
    check(
        &[("start", "no"), ("meter", "empty")],
        0.023_586_549,
        0.941_959_167,
    );
}

/// The probability of the evidence, by way of the conflict measure: log ∏P(e_i)/P(e), in bits.
#[test]
fn probability_of_the_evidence_to_nine_digits() {
    // P(no start) is published; P(meter) follows from the table of the meter.
    let no_start = 0.068_216;
    let meter = |given_fuel: f64, given_none: f64| 0.98 * given_fuel + 0.02 * given_none;
    let check = |is: &str, alone: f64, expected: f64| {
        let conflict = answered(&[("start", "no"), ("meter", is)])["conflict"]
            .as_f64()
            .unwrap();
        let found = no_start * alone / conflict.exp2();
        assert!(
            (found - expected).abs() < NINE_DIGITS,
            "meter {is}: {found}"
        );
    };
    check("half", meter(0.60, 0.001), 0.028_949_6);
    check("empty", meter(0.01, 0.998), 0.020_442_16);
}

/// The rule set is one that can be used, though it has no proofs: a book needs none.
#[test]
fn the_rule_set_has_no_errors() {
    let ended = trisect_tests::programs::trisect(&["ruleset", "examine", RULES, "--json"], "");
    assert_eq!(ended.code, 0, "{ended:?}");
    let examined: Value = serde_json::from_str(&ended.out).unwrap();
    let defects = examined["files"][0]["defects"].as_array().unwrap();
    assert!(
        defects.iter().all(|defect| defect["severity"] == "warning"),
        "{defects:?}"
    );
}
