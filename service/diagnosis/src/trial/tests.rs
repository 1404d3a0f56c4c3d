#![allow(clippy::unwrap_used)]
use std::sync::Arc;

use trisect_rules::{RuleSet, case, examine};

use super::*;
use crate::{Model, Verdict};

/// Two suspects, a two-ended limit, a question, and a proof of each side. Invented.
const RULES: &str = r#"
format = 1
id = "small"
version = "1"
title = "Small"
faults_at_once = 1

[[test_point]]
id = "pressure"
title = "Pressure"
quantity = "pressure"
unit = "psi"
plausible = ["-15 psi", "60 psi"]

[[suspect]]
id = "weak"
side = "supply"
title = "Weak"
share = 1

[[suspect]]
id = "stuck"
side = "pump"
title = "Stuck"
share = 1

[[check]]
id = "pressure-idle"
title = "Pressure at idle"
point = "pressure"
phase = ["idle"]
take = "minimum"
after = "1 s"
over = "3 s"
limit = { at_least = "10 psi", at_most = "20 psi" }
minutes = 5
[check.fails]
otherwise = 0.01
weak = 0.99

[[check]]
id = "starts"
title = "Starts"
ask = "Does it start?"
answers = ["yes", "no"]
minutes = 5
[check.expect]
otherwise = [0.99, 0.01]
stuck = [0.01, 0.99]

[[proof]]
side = "supply"
measured_failed = ["pressure-idle"]

[[proof]]
side = "pump"
passed = ["pressure-idle"]
failed = ["starts"]
"#;

const HEAD: &str = "format = 1\ntitle = \"t\"\nsource = \"invented\"\nruleset = \"small\"\n";

/// A case with a reading of each of these pressures, from 2 s after idle began on.
fn pressures(pressures: &[&str], more: &str) -> String {
    let mut text = format!("{HEAD}[[event]]\nat = \"0 s\"\nphase = \"idle\"\n");
    for (second, pressure) in pressures.iter().enumerate() {
        let at = second + 2;
        text += &format!(
            "[[event]]\nat = \"{at} s\"\npoint = \"pressure\"\nvalue = \"{pressure}\"\nuncertainty = \"0.1 psi\"\n"
        );
    }
    text + more
}

const NO: &str = "[[event]]\nat = \"60 s\"\nanswer = { check = \"starts\", is = \"no\" }\n";

pub(super) fn rules() -> RuleSet {
    let examined = examine(RULES);
    examined
        .rule_set
        .unwrap_or_else(|| panic!("{:#?}", examined.defects))
}

fn recording(text: &str) -> Recording {
    Recording::of(&case::parse(text).unwrap(), &rules()).unwrap()
}

fn verdict(recording: &Recording) -> Arc<Verdict> {
    recording.verdict(&Arc::new(Model::new(Arc::new(rules()))))
}

fn check_differences(text: &str, expected: &[&str]) {
    let recording = recording(text);
    let found = differences(&recording.expect, &verdict(&recording));
    let found: Vec<String> = found
        .iter()
        .map(|d| format!("{}: {} not {}", d.what, d.found, d.expected))
        .collect();
    assert_eq!(found, expected);
}

#[test]
fn a_case_that_comes_out_as_expected_has_no_differences() {
    let expect = "[expect]\nstanding = \"isolated\"\nside = \"supply\"\ntop_suspect = \"weak\"\nalso = []\n\
        belief = { supply = [0.95, 1.0] }\noutcomes = { pressure-idle = \"failed\", starts = \"void\" }\n";
    check_differences(&pressures(&["5 psi"], expect), &[]);
}

#[test]
fn every_difference_is_told() {
    let expect = "[expect]\nstanding = \"leaning\"\nside = \"pump\"\ntop_suspect = \"stuck\"\nalso = [\"pump\"]\n\
        belief = { supply = [0.0, 0.5] }\noutcomes = { pressure-idle = \"passed\" }\nnext = \"pressure-idle\"\n";
    check_differences(
        &pressures(&["5 psi"], expect),
        &[
            "standing: isolated not leaning",
            "side: supply not pump",
            "also: none not pump",
            "top_suspect: weak not stuck",
            "belief.supply: 0.9890 not 0 to 0.5",
            "outcomes.pressure-idle: failed not passed",
            "next: starts not pressure-idle",
        ],
    );
}

#[test]
fn the_end_of_a_recording_fills_its_windows() {
    check_differences(
        &pressures(
            &["12 psi"],
            "[expect]\noutcomes = { pressure-idle = \"passed\" }\n",
        ),
        &[],
    );
}

#[test]
fn a_reading_too_soon_after_the_phase_began_does_not_count() {
    let text = pressures(&["12 psi"], "[expect]\noutcomes = { pressure-idle = \"passed\" }\n")
        .replace("[[event]]\nat = \"2 s\"", "[[event]]\nat = \"0.5 s\"\npoint = \"pressure\"\nvalue = \"3 psi\"\n[[event]]\nat = \"2 s\"");
    check_differences(&text, &[]);
}

fn with_stream(stream: &str) -> Result<Recording, String> {
    let text = pressures(&[], "[expect]\nstanding = \"isolated\"\n");
    recording(&text)
        .with_stream(stream, &rules())
        .map_err(|error| error.to_string())
}

#[test]
fn a_stream_is_merged_in_by_its_times() {
    let since_opening = r#"[{"n":"pressure","u":"Pa","t":2,"v":30000},{"n":"pressure","u":"Pa","t":1.5,"v":90000}]"#;
    let since_epoch =
        r#"[{"bn":"pressure","bu":"Pa","bt":1764000000,"v":90000},{"t":2,"v":30000}]"#;
    for stream in [since_opening, since_epoch] {
        let recording = with_stream(stream).unwrap();
        assert_eq!(
            verdict(&recording).outcome("pressure-idle"),
            trisect_rules::Outcome::Failed,
            "{stream}"
        );
        assert!(recording.events.is_sorted_by_key(|event| event.at));
    }
}

#[test]
fn a_stream_that_does_not_fit_is_refused() {
    let check = |stream: &str, expected: &str| {
        let error = with_stream(stream).unwrap_err();
        assert!(error.contains(expected), "{error}");
    };
    check("{", "not JSON");
    check(
        r#"[{"n":"presure","u":"Pa","t":1,"v":1}]"#,
        "`presure` at 1 s: the rule set has no such test point",
    );
    check(
        r#"[{"n":"pressure","u":"V","t":1,"v":1}]"#,
        "its unit is one of voltage",
    );
    check(r#"[{"n":"pressure","t":1,"v":1}]"#, "it has no unit");
    check(
        r#"[{"n":"pressure","u":"Pa","t":-1,"v":1}]"#,
        "before the job opened",
    );
    check(
        r#"[{"n":"pressure","u":"Pa","t":1,"v":1},{"n":"pressure","u":"Pa","t":1764000000,"v":1}]"#,
        "since the epoch",
    );
}

#[test]
fn coverage_tells_what_no_case_reaches() {
    let recordings = [
        recording(&pressures(&["5 psi"], "")),
        recording(&pressures(&["30 psi"], NO)),
    ];
    let verdicts: Vec<_> = recordings.iter().map(verdict).collect();
    let runs: Vec<(&Recording, &Verdict)> = recordings
        .iter()
        .zip(verdicts.iter().map(Arc::as_ref))
        .collect();
    let one = coverage(&rules(), &runs[..1]);
    assert_eq!(one.limits.unreached, ["pressure-idle at_most"]);
    assert_eq!(one.proofs.unreached, ["pump"]);
    assert_eq!(one.answers.unreached, ["starts yes", "starts no"]);
    assert_eq!(
        one.outcomes.unreached,
        ["pressure-idle passed", "starts passed", "starts failed"]
    );
    let both = coverage(&rules(), &runs);
    assert_eq!(
        both.limits,
        Reached {
            all: 2,
            reached: 2,
            unreached: vec![]
        }
    );
    assert_eq!(both.answers.unreached, ["starts yes"]);
}

#[test]
fn sensitivity_tells_what_no_case_holds_in_place() {
    let expect = "[expect]\nstanding = \"isolated\"\nside = \"supply\"\n";
    let recording = recording(&pressures(&["8.5 psi"], expect));
    let slack = sensitivity(&rules(), &[&recording], &|| true);
    let told: Vec<String> = slack
        .iter()
        .map(|slack| match &slack.of {
            Change::Limit { check, end } => format!("{check} {end} {}", slack.change),
            Change::Need { check } => format!("{check} {}", slack.change),
            Change::Row { of, suspect } => format!("{of} {suspect} {}", slack.change),
            Change::Proof { proof } => format!("{proof} {}", slack.change),
        })
        .collect();
    assert_eq!(
        told,
        [
            // 9 psi still fails at 8.5 psi; 7.5 psi does not.
            "pressure-idle at_least lowered by 10 %",
            "pressure-idle at_least raised by 50 %",
            "pressure-idle at_most lowered by 50 %",
            "pressure-idle at_most raised by 50 %",
            // No case asks whether it starts. That of `weak` is noticed.
            "starts stuck flattened",
            // No case shows supply unproven, and none needs the pump's proof.
            "supply pressure-idle left out of measured_failed",
            "pump dropped",
        ]
    );
}

#[test]
fn sensitivity_tells_needs_that_no_case_is_decided_by() {
    let mut rules = rules();
    rules.checks[1].needs = vec![0];
    let expect =
        "[[event]]\nat = \"9 s\"\nanswer = { check = \"starts\", is = \"no\" }\n[expect]\n";
    let told = |outcome: &str| {
        let text = pressures(&["5 psi"], &format!("{expect}outcomes = {{ {outcome} }}\n"));
        let slack = sensitivity(&rules, &[&recording(&text)], &|| true);
        let needs = slack.iter().filter(|s| matches!(s.of, Change::Need { .. }));
        needs.map(|s| s.change.clone()).collect::<Vec<_>>()
    };
    assert_eq!(
        told("pressure-idle = \"failed\""),
        ["pressure-idle dropped"]
    );
    assert_eq!(told("starts = \"void\""), Vec::<String>::new());
}
