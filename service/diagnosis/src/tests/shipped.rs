//! Typical jobs on the shipped rule set come out as the trade would have it.

use super::Job;
use crate::{Outcome, Phase, Side, Standing};

const SUPPLY_PROVEN: [&str; 5] = [
    "fuel-seen",
    "battery-cranking",
    "cranking-speed",
    "inlet-pressure-cranking",
    "connector-pins",
];

#[test]
fn no_pump_is_named_until_supply_is_proven() {
    let mut job = Job::shipped(Some("cranks-no-start"));
    job.failed(&["bypass-start", "bypass-click", "bypass-current"]);
    let verdict = job.verdict();
    assert_eq!(
        (verdict.standing, verdict.side),
        (Standing::Leaning, Some(Side::Pump))
    );
    let missing = verdict
        .missing
        .iter()
        .find(|m| m.side == Side::Pump)
        .unwrap();
    assert_eq!(missing.passed, SUPPLY_PROVEN);
    for left_out in SUPPLY_PROVEN {
        let mut job = Job::shipped(Some("cranks-no-start"));
        job.failed(&["bypass-start", "bypass-click", "bypass-current"]);
        for check in SUPPLY_PROVEN.iter().filter(|check| **check != left_out) {
            job.passed(&[check]);
        }
        let verdict = job.verdict();
        assert_eq!(verdict.standing, Standing::Leaning, "without {left_out}");
        let next = &verdict.next[0];
        assert_eq!(next.check, left_out);
        assert!(next.completes_proof);
        job.passed(&[left_out]);
        assert_eq!(job.verdict().standing, Standing::Isolated);
        assert_eq!(job.verdict().side, Some(Side::Pump));
    }
}

#[test]
fn a_starved_machine_is_a_supply_fault_and_the_pump_is_not_cleared() {
    let mut job = Job::shipped(Some("cranks-no-start"));
    job.enters("ambient-temperature", "4 degC")
        .phase(Phase::Cranking);
    job.enters("battery", "10.4 V")
        .enters("engine-speed", "180 rpm");
    job.enters("pump-inlet-pressure", "2.1 psi");
    job.answer("fuel-seen", "seen")
        .answer("lift-pump-runs", "runs");
    job.failed(&["bypass-start", "bypass-click", "bypass-current"]);
    let verdict = job.verdict();
    assert_eq!(verdict.outcome("inlet-pressure-cranking"), Outcome::Failed);
    assert_eq!(
        (verdict.standing, verdict.side),
        (Standing::Isolated, Some(Side::Supply))
    );
    assert_eq!(verdict.also, [Side::Pump]);
}

#[test]
fn a_swap_there_and_back_names_the_controller_side() {
    let mut job = Job::shipped(Some("cranks-no-start"));
    job.answer("bypass-start", "starts")
        .answer("swap-back", "complaint-returns");
    let verdict = job.verdict();
    assert_eq!(
        (verdict.standing, verdict.side),
        (Standing::Isolated, Some(Side::Controller))
    );
    // Which part of it is open: nothing may be ordered yet.
    assert_eq!(verdict.named, None);
}

#[test]
fn a_controller_is_named_only_when_its_harness_is_cleared() {
    let harness = [
        "controller-feed",
        "controller-ground",
        "harness-continuity",
        "harness-isolation",
        "connector-pins",
    ];
    let mut job = Job::shipped(Some("cranks-no-start"));
    job.answer("bypass-start", "starts")
        .answer("swap-back", "complaint-returns");
    // A dead controller switches no lift pump and sees no speed.
    job.answer("controller-answers", "silent").failed(&[
        "lift-pump-runs",
        "lift-pump-feed",
        "engine-speed-seen",
        "inlet-pressure-cranking",
    ]);
    job.passed(&["pump-feed", "bus-termination"])
        .passed(&harness[..4]);
    let verdict = job.verdict();
    assert_eq!(verdict.suspects[0].id, "controller-dead");
    assert_eq!(verdict.named, None);
    let missing = verdict
        .missing
        .iter()
        .find(|m| m.suspect.is_some())
        .unwrap();
    assert_eq!(missing.passed, ["connector-pins"]);
    job.passed(&harness[4..]);
    assert_eq!(job.verdict().named.as_deref(), Some("controller-dead"));
}

#[test]
fn races_on_the_harness_and_calm_on_the_bypass_is_the_controller() {
    let mut job = Job::shipped(Some("races-after-start"));
    job.failed(&["calm-on-harness"]).passed(&["calm-on-bypass"]);
    let verdict = job.verdict();
    assert_eq!(
        (verdict.standing, verdict.side),
        (Standing::Isolated, Some(Side::Controller))
    );
}

#[test]
fn contradictions_name_nobody() {
    let mut job = Job::shipped(None);
    // Eight faults that have nothing to do with each other: no two explain them.
    job.failed(&[
        "fuel-seen",
        "positive-cable",
        "harness-isolation",
        "filter-drop",
    ]);
    job.failed(&[
        "accelerator-sweep",
        "intake-clear",
        "bypass-runs-hot",
        "injectors-spray",
    ]);
    let verdict = job.verdict();
    assert_eq!(verdict.standing, Standing::Contradicted);
    assert_eq!(verdict.side, None);
    assert!(verdict.conflict.unwrap() > 0.0);
}

#[test]
fn every_next_test_can_be_done_and_says_why() {
    let mut job = Job::shipped(Some("cranks-no-start"));
    let verdict = job.verdict();
    assert_eq!(verdict.standing, Standing::Open);
    assert!(!verdict.next.is_empty());
    for test in &verdict.next {
        assert!(
            test.bits >= 0.0 && test.minutes > 0.0 && !test.why.is_empty(),
            "{test:?}"
        );
        // Needs a running engine, or the bypass drive first.
        assert!(
            !["inlet-pressure-idle", "swap-back", "calm-on-harness"].contains(&test.check.as_str())
        );
    }
    let total: f64 = [Side::Supply, Side::Controller, Side::Pump, Side::Outside]
        .map(|side| verdict.sides.of(side))
        .iter()
        .sum();
    assert!(total > 0.9 && total < 1.5, "{total}");
}
