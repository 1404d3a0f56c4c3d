//! Findings: side by side, withdrawn, presumed, in rounds, and without a run.

use super::Job;
use super::runs::job;
use crate::{Outcome, Phase};

#[test]
fn findings_stand_side_by_side_and_one_that_is_withdrawn_never_was() {
    let mut job = job();
    let mut other = self::job();
    for job in [&mut job, &mut other] {
        job.phase(Phase::Cranking)
            .start("builds")
            .enters("inlet", "7 psi");
    }
    let once = other.diagnosis.verdict().to_bytes();
    job.start("builds").enters("inlet", "1 psi");
    let verdict = job.diagnosis.verdict();
    assert_eq!(verdict.outcome("builds"), Outcome::Undecided);
    let reason = verdict.evidence[0].reason.clone().unwrap();
    assert!(reason.contains("1 good, 1 not good"), "{reason}");
    assert_ne!(verdict.to_bytes(), once);
    job.withdraw(2);
    assert_eq!(job.diagnosis.verdict().to_bytes(), once);
    assert_eq!(job.diagnosis.findings().len(), 2);
    assert!(job.diagnosis.findings()[1].withdrawn);
}

#[test]
fn saying_it_twice_makes_it_no_surer() {
    let mut job = job();
    job.phase(Phase::Cranking)
        .start("builds")
        .enters("inlet", "5.01 psi");
    let once = job.diagnosis.verdict().sides.supply;
    job.start("builds").enters("inlet", "5.01 psi");
    let twice = job.diagnosis.verdict().sides.supply;
    assert!((once - twice).abs() < 1e-12, "{once} {twice}");
}

#[test]
fn answers_that_disagree_weigh_nothing_until_one_is_withdrawn() {
    let mut job = job();
    let none = job.diagnosis.verdict().sides;
    job.answer("fuel", "not-seen").answer("fuel", "seen");
    let verdict = job.diagnosis.verdict();
    assert_eq!(verdict.outcome("fuel"), Outcome::Undecided);
    assert_eq!(verdict.sides, none);
    job.withdraw(1);
    assert_eq!(job.diagnosis.verdict().outcome("fuel"), Outcome::Passed);
}

#[test]
fn who_cannot_tell_is_not_asked_again_and_weighs_nothing() {
    let mut job = job();
    let advised = |job: &mut Job| {
        job.diagnosis
            .verdict()
            .next
            .iter()
            .any(|n| n.check == "fuel")
    };
    let none = job.diagnosis.verdict().sides;
    assert!(advised(&mut job));
    job.cannot_tell("fuel");
    assert_eq!(job.diagnosis.verdict().sides, none);
    assert_eq!(job.diagnosis.verdict().outcome("fuel"), Outcome::Void);
    assert!(!advised(&mut job));
}

#[test]
fn what_a_question_presumes_has_to_stand() {
    let mut job = job();
    let advised = |job: &mut Job| {
        job.diagnosis
            .verdict()
            .next
            .iter()
            .any(|n| n.check == "returns")
    };
    assert!(!advised(&mut job));
    job.answer("returns", "returns");
    assert_eq!(job.diagnosis.verdict().outcome("returns"), Outcome::Void);
    job.phase(Phase::Idle)
        .start("calm")
        .enters("engine-speed", "780 rpm");
    job.kept("calm", true);
    assert_eq!(job.diagnosis.verdict().outcome("returns"), Outcome::Failed);
    job.withdraw(2);
    assert_eq!(job.diagnosis.verdict().outcome("returns"), Outcome::Void);
}

#[test]
fn after_a_repair_only_what_it_cannot_have_changed_counts() {
    let mut job = job();
    job.streams("battery", "12.6 V", 0.0, 4.0);
    job.phase(Phase::Cranking)
        .start("builds")
        .enters("inlet", "1 psi");
    assert_eq!(job.diagnosis.verdict().outcome("builds"), Outcome::Failed);
    assert_eq!(job.diagnosis.verdict().outcome("rest"), Outcome::Passed);
    job.repair();
    assert_eq!(job.diagnosis.round(), 2);
    assert_eq!(job.diagnosis.verdict().outcome("builds"), Outcome::Void);
    assert_eq!(job.diagnosis.verdict().outcome("rest"), Outcome::Passed);
    job.start("builds").enters("inlet", "9 psi");
    assert_eq!(job.diagnosis.verdict().outcome("builds"), Outcome::Passed);
    let rounds: Vec<u32> = job.diagnosis.findings().iter().map(|f| f.round).collect();
    assert_eq!(rounds, [1, 1, 2]);
}

#[test]
fn passive_findings_need_everything_measured_and_never_displace_a_run() {
    let mut job = job();
    // A battery meter of a machine that stands.
    job.streams("battery", "12.6 V", 0.0, 4.0);
    assert_eq!(job.outcomes(), [("rest".to_owned(), Outcome::Passed)]);
    // A speed that contradicts the key: not at rest.
    let mut job = self::job();
    job.streams("engine-speed", "780 rpm", 0.0, 1.0)
        .phase(Phase::Off);
    job.streams("battery", "11 V", 1.0, 4.0);
    assert_eq!(job.outcomes(), []);
    // What a run found stands, whatever the stream finds afterwards.
    let mut job = self::job();
    job.start("rest").enters("battery", "12.7 V");
    job.streams("battery", "11 V", 1.0, 30.0);
    job.phase(Phase::KeyOn).phase(Phase::Off);
    job.streams("battery", "11 V", 40.0, 30.0);
    assert_eq!(job.diagnosis.verdict().outcome("rest"), Outcome::Passed);
}
