//! Published references, through the public interface: the `trisect` program, and the adapters on a
//! pseudo-terminal. The source stands beside each check.

mod car_start;
mod conformity;
mod load_test;
pub(crate) mod meters;
mod modbus;
mod uncertainty;
mod units;

use serde_json::Value;
use trisect_tests::programs::trisect;

/// Tries a case on a rule set with the program; its verdict.
fn verdict(ruleset: &str, events: &str) -> Value {
    let folder = tempfile::tempdir().unwrap();
    let case = folder.path().join("case.toml");
    let head = "format = 1\ntitle = \"A published example\"\nsource = \"see the test\"\nruleset = \"./any.toml\"\n";
    std::fs::write(&case, format!("{head}{events}")).unwrap();
    let ended = trisect(
        &[
            "ruleset",
            "trial",
            ruleset,
            case.to_str().unwrap(),
            "--json",
        ],
        "",
    );
    assert_eq!(ended.code, 0, "{ended:?}");
    let answer: Value = serde_json::from_str(&ended.out).unwrap();
    answer["cases"][0]["verdict"].clone()
}

/// The evidence of a check in a verdict.
fn evidence<'a>(verdict: &'a Value, check: &str) -> &'a Value {
    let evidence = verdict["evidence"].as_array().unwrap();
    let found = evidence.iter().find(|piece| piece["check"] == check);
    found.unwrap_or_else(|| panic!("no evidence of {check}: {verdict}"))
}

/// A rule set of one measured check, `held`, on one test point, and what one reading is worth in it.
fn one_reading(quantity: &str, unit: &str, limit: &str, value: &str, doubt: &str) -> Value {
    let rules = format!(
        r#"
        format = 1
        id = "one-check"
        version = "1.0.0"
        title = "One check"
        [[test_point]]
        id = "point"
        title = "Point"
        quantity = "{quantity}"
        unit = "{unit}"
        [[suspect]]
        id = "fault"
        side = "supply"
        title = "Fault"
        share = 1
        [[proof]]
        side = "supply"
        measured_failed = ["held"]
        [[check]]
        id = "held"
        title = "Held"
        point = "point"
        phase = ["off"]
        take = "last"
        limit = {limit}
        risk = 0.05
        minutes = 1
        [check.fails]
        otherwise = 0.01
        fault = 0.95
        "#
    );
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("one-check.toml");
    std::fs::write(&file, rules).unwrap();
    let event =
        format!("[[event]]\nat = \"0 s\"\npoint = \"point\"\nvalue = \"{value}\"\n{doubt}\n");
    evidence(&verdict(file.to_str().unwrap(), &event), "held").clone()
}

/// Holds a number against a published one.
fn near(found: &Value, expected: f64, within: f64, what: &str) {
    let found = found
        .as_f64()
        .unwrap_or_else(|| panic!("{what}: {found} is no number"));
    assert!(
        (found - expected).abs() <= within,
        "{what}: {found}, published {expected}"
    );
}
