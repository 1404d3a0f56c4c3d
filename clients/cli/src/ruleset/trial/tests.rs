#![allow(clippy::unwrap_used)]
use crate::args::Command;
use crate::io::Io;
use crate::run::run;
use clap::Parser;
use serde_json::Value;
use std::path::PathBuf;
use tempfile::TempDir;

/// A case of invented readings: weak lift pump, the supply side proven.
const WEAK: &str = r#"
format = 1
title = "Weak lift pump"
source = "invented"
ruleset = "distributor-pump-12v"
complaint = "cranks-no-start"
stream = "stream.json"

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
answer = { check = "lift-pump-runs", is = "runs" }

[expect]
outcomes = { inlet-pressure-cranking = "failed", fuel-seen = "passed" }
"#;

const STREAM: &str =
    r#"[{"n":"battery","u":"V","t":0.6,"v":10.9},{"n":"battery","u":"V","t":1.6,"v":10.8}]"#;

struct Trial {
    directory: TempDir,
    line: Vec<String>,
}

impl Trial {
    fn new() -> Self {
        let directory = tempfile::tempdir().unwrap();
        std::fs::write(directory.path().join("stream.json"), STREAM).unwrap();
        let line = ["trisect", "ruleset", "trial", "distributor-pump-12v"]
            .map(str::to_owned)
            .to_vec();
        Self { directory, line }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.directory.path().join(name)
    }

    fn case(mut self, name: &str, text: &str) -> Self {
        std::fs::write(self.path(name), text).unwrap();
        self.line.push(self.path(name).display().to_string());
        self
    }

    fn with(mut self, words: &[&str]) -> Self {
        self.line
            .extend(words.iter().map(|word| (*word).to_owned()));
        self
    }

    /// Exit code, standard output, standard error.
    fn run(&self) -> (String, String, String) {
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let command = Command::try_parse_from(&self.line).unwrap();
        let code = run(
            command,
            &mut Io::new(&mut std::io::empty(), &mut out, &mut err),
        );
        let text = |bytes| String::from_utf8(bytes).unwrap();
        (format!("{code:?}"), text(out), text(err))
    }
}

fn exit(code: u8) -> String {
    format!("{:?}", std::process::ExitCode::from(code))
}

#[test]
fn a_case_as_expected_ends_with_0() {
    let (code, out, err) = Trial::new().case("weak.toml", WEAK).run();
    assert_eq!((code, err.as_str()), (exit(0), ""), "{out}");
    assert!(
        out.contains("ok     ") && out.contains("weak.toml  Weak lift pump: "),
        "{out}"
    );
    assert!(out.ends_with("1 cases, 0 differ\n"), "{out}");
}

#[test]
fn json_has_the_whole_verdict_and_ends_with_1_on_a_difference() {
    let differing = WEAK.replace("fuel-seen = \"passed\"", "fuel-seen = \"failed\"");
    let trial = Trial::new()
        .case("weak.toml", WEAK)
        .case("other.toml", &differing);
    let (code, out, err) = trial.with(&["--json"]).run();
    assert_eq!((code, err.as_str()), (exit(1), ""));
    let answer: Value = serde_json::from_str(&out).unwrap();
    let [first, second] = answer["cases"].as_array().unwrap().as_slice() else {
        panic!("{answer}")
    };
    assert_eq!(
        (&first["ok"], &second["ok"]),
        (&Value::Bool(true), &Value::Bool(false))
    );
    let difference =
        serde_json::json!({"what": "outcomes.fuel-seen", "expected": "failed", "found": "passed"});
    assert_eq!(second["differences"], Value::Array(vec![difference]));
    for member in [
        "standing", "side", "sides", "suspects", "evidence", "missing", "next", "phase", "ruleset",
    ] {
        assert!(first["verdict"].get(member).is_some(), "{member}");
    }
    assert!(
        answer["coverage"]["answers"]["unreached"]
            .as_array()
            .unwrap()
            .contains(&"fuel-seen not-seen".into())
    );
    assert_eq!(answer["sensitivity"], Value::Array(Vec::new()));
}

/// What the service tells is what the diagnosis says, byte for byte.
#[test]
fn the_wire_carries_a_verdict_without_loss() {
    let trial = Trial::new().case("weak.toml", WEAK);
    let source = super::Source::open("distributor-pump-12v".as_ref()).unwrap();
    let verdict = super::run(&source, &trial.path("weak.toml"))
        .unwrap()
        .verdict;
    let wire = crate::show::wire_verdict(&verdict).unwrap();
    assert_eq!(
        serde_json::to_string(&wire).unwrap(),
        String::from_utf8(verdict.to_bytes()).unwrap()
    );
}

#[test]
fn sensitivity_and_junit_are_told_on_request() {
    let trial = Trial::new().case("weak.toml", WEAK);
    let junit = trial.path("junit.xml");
    let trial = trial.with(&["--sensitivity", "--junit", junit.to_str().unwrap()]);
    let (code, out, err) = trial.run();
    assert_eq!((code, err.as_str()), (exit(0), ""));
    assert!(
        out.contains("no case notices: the limit battery-rest at_least"),
        "{out}"
    );
    assert!(
        !out.contains("the limit inlet-pressure-cranking at_least lowered by 50 %"),
        "{out}"
    );
    let xml = std::fs::read_to_string(junit).unwrap();
    assert!(
        xml.contains("tests=\"1\" failures=\"0\"") && xml.contains("name=\"Weak lift pump\""),
        "{xml}"
    );
}

#[test]
fn everything_that_is_wrong_is_told_at_once_and_ends_with_2() {
    let check = |trial: Trial, expected: &[&str]| {
        let (code, out, err) = trial.run();
        assert_eq!((code, out.as_str()), (exit(2), ""), "{err}");
        for part in expected {
            assert!(err.contains(part), "{part:?} is not in\n{err}");
        }
    };
    let unknown = WEAK.replace("check = \"fuel-seen\"", "check = \"fuel-sen\"");
    let broken = Trial::new()
        .case("a.toml", &unknown)
        .case("b.toml", "title = 3\n")
        .with(&["no-such.toml"]);
    check(
        broken,
        &[
            "a.toml:19:",
            "did you mean `fuel-seen`?",
            "b.toml:1:",
            "cannot read no-such.toml",
        ],
    );
    let other = WEAK.replace("distributor-pump-12v", "another");
    check(
        Trial::new().case("a.toml", &other),
        &["the case is for the rule set `another`"],
    );
    let trial = Trial::new().case("a.toml", WEAK);
    std::fs::write(trial.path("stream.json"), "{").unwrap();
    check(trial, &["stream.json: the SenML pack is not JSON"]);
}
