//! Phases from whatever is there, and what is told of each.

use super::Job;
use crate::{Outcome, Phase};
use Phase::{Cranking, HighIdle, Idle, KeyOn, Off};

const SPEED: &str = "engine-speed";

fn phases(job: &Job) -> Vec<Phase> {
    job.diagnosis.phases().map(|stay| stay.phase).collect()
}

/// Ten readings a second, each value held for so many tenths.
fn hold(job: &mut Job, point: &str, unit: &str, from: f64, held: &[(f64, i32)]) -> f64 {
    let mut at = from;
    for (value, tenths) in held {
        for _ in 0..*tenths {
            job.at(at).reads(point, &format!("{value} {unit}"));
            at += 0.1;
        }
    }
    at
}

#[test]
fn an_idle_passed_through_in_a_race_is_no_phase() {
    let mut job = Job::shipped(Some("races-after-start"));
    hold(
        &mut job,
        SPEED,
        "rpm",
        0.0,
        &[(0.0, 10), (150.0, 20), (700.0, 3), (2900.0, 30)],
    );
    assert_eq!(phases(&job), [Off, Cranking, HighIdle]);
    let race = job.diagnosis.phases().last().unwrap().clone();
    // It began when the engine ran, not when it was fast.
    assert_eq!(race.from, 3_000_000_000);
    // What was measured of it stays right: the race is within its first ten seconds.
    assert_eq!(job.outcome("calm-on-harness"), Outcome::Failed);
    assert_eq!(job.evidence("cranking-speed").value, Some(150.0));
}

#[test]
fn a_phase_that_has_only_just_begun_is_no_evidence_yet() {
    let mut job = Job::shipped(None);
    job.at(0.0)
        .reads(SPEED, "0 rpm")
        .at(1.0)
        .reads(SPEED, "2900 rpm");
    assert_eq!(job.outcome("calm-on-harness"), Outcome::Undecided);
    job.at(1.6).reads(SPEED, "2900 rpm");
    assert_eq!(job.outcome("calm-on-harness"), Outcome::Failed);
}

#[test]
fn a_crank_is_told_with_its_summary() {
    let mut job = Job::shipped(Some("cranks-no-start"));
    hold(&mut job, "battery", "V", 0.0, &[(12.6, 10)]);
    for tick in 0..40 {
        let at = 1.0 + f64::from(tick) / 10.0;
        let volts = if tick < 3 {
            7.2
        } else {
            10.1 + f64::from(tick % 2) / 10.0
        };
        job.at(at)
            .reads(SPEED, if tick == 0 { "100 rpm" } else { "180 rpm" });
        job.reads("battery", &format!("{volts} V"));
        job.reads(
            "pump-inlet-pressure",
            &format!("{} psi", (0.4 * f64::from(tick)).min(6.0)),
        );
    }
    job.at(5.0).reads(SPEED, "0 rpm");
    let cranks = job.diagnosis.cranks();
    assert_eq!(cranks.len(), 1);
    let crank = cranks[0];
    assert_eq!((crank.number, crank.at, crank.seconds), (1, 1.0, 4.0));
    assert_eq!(crank.battery_minimum, Some(10.1), "without the first rush");
    assert_eq!(crank.cranking_speed, Some(180.0));
    assert_eq!(
        crank.lowest_inlet_pressure,
        Some(4.0),
        "after the first second"
    );
    assert_eq!(crank.built_5_psi_after, Some(1.3));
    assert_eq!(job.verdict().crank, Some(crank));
}

#[test]
fn cranking_and_running_off_the_battery_alone() {
    let mut job = Job::shipped(Some("hard-start"));
    let start = [(12.6, 20), (10.2, 30), (12.5, 10), (14.1, 30)];
    hold(&mut job, "battery", "V", 0.0, &start);
    assert_eq!(phases(&job), [Off, Cranking, KeyOn, Idle]);
    let crank = job.diagnosis.cranks()[0];
    assert_eq!((crank.at, crank.battery_minimum), (2.0, Some(10.2)));
    // Never taken for a battery at rest.
    assert_eq!(job.evidence("battery-rest").value, Some(12.6));
    assert_eq!(
        job.evidence("battery-cranking").value,
        None,
        "needs the temperature"
    );
}

#[test]
fn the_battery_is_not_asked_while_the_speed_is_read() {
    let mut job = Job::shipped(None);
    for tick in 0..40 {
        job.at(f64::from(tick) / 10.0).reads(SPEED, "0 rpm");
        job.reads("battery", if tick < 20 { "12.6 V" } else { "10 V" });
    }
    assert_eq!(phases(&job), [Off]);
}

#[test]
fn what_a_person_enters_shows_no_sag() {
    let mut job = Job::shipped(None);
    job.enters("battery", "12.6 V")
        .at(0.2)
        .enters("battery", "10 V");
    assert_eq!(phases(&job), [Off]);
}

#[test]
fn memory_does_not_grow_with_the_cranks() {
    let mut job = Job::shipped(None);
    let mut at = 0.0;
    for _ in 0..100 {
        at = hold(&mut job, SPEED, "rpm", at, &[(0.0, 6), (180.0, 6)]);
    }
    let cranks = job.diagnosis.cranks();
    assert_eq!(cranks.len(), crate::KEPT_STAYS);
    assert_eq!(cranks.last().unwrap().number, 100);
}
