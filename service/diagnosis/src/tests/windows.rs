//! Which readings a check takes, and when it is settled.

use super::Job;
use crate::{Drive, Outcome, Phase, Standing};
use trisect_measure::Flags;

const RULES: &str = r#"
format = 1
id = "windows"
version = "1"
title = "Windows"

[[test_point]]
id = "inlet"
title = "Inlet"
quantity = "pressure"
unit = "psi"

[[test_point]]
id = "filter"
title = "Filter"
quantity = "pressure"
unit = "psi"

[[test_point]]
id = "engine-speed"
title = "Engine speed"
quantity = "rotational-speed"
unit = "rpm"

[[test_point]]
id = "ambient"
title = "Ambient"
quantity = "temperature"
unit = "degC"

[[test_point]]
id = "battery"
title = "Battery"
quantity = "voltage"
unit = "V"

[[derived]]
id = "drop"
title = "Drop"
minus = ["filter", "inlet"]
within = "0.5 s"

[[suspect]]
id = "weak"
side = "supply"
title = "Weak"
share = 1

[[suspect]]
id = "dead"
side = "pump"
title = "Dead"
share = 1

[[check]]
id = "cranking"
title = "Holds while cranking"
point = "inlet"
phase = ["cranking"]
take = "minimum"
after = "1 s"
over = "3 s"
limit = { at_least = "5 psi" }
[check.fails]
otherwise = 0.01
weak = 0.9

[[check]]
id = "idle"
title = "Mean at idle"
point = "inlet"
phase = ["idle"]
take = "mean"
over = "10 s"
limit = { at_least = "10 psi", at_most = "20 psi" }
needs = ["cranking"]
[check.fails]
otherwise = 0.01
weak = 0.9

[[check]]
id = "calm"
title = "Calm"
point = "engine-speed"
phase = ["idle", "high-idle"]
drive = "bypass"
take = "maximum"
over = "10 s"
limit = { at_most = "1500 rpm" }
[check.fails]
otherwise = 0.01
dead = 0.9

[[check]]
id = "drop"
title = "Drop"
point = "drop"
phase = ["idle"]
take = "last"
limit = { at_most = "5 psi" }
[check.fails]
otherwise = 0.01
weak = 0.9

[[check]]
id = "load-test"
title = "Load test"
point = "battery"
phase = ["cranking"]
take = "last"
limit = { at_least = { by = "ambient", table = [["-18 degC", "8.5 V"], ["21 degC", "9.6 V"]] } }
[check.fails]
otherwise = 0.01
weak = 0.9

[[check]]
id = "ripple"
title = "Ripple"
point = "inlet"
phase = ["cranking"]
take = "ripple"
over = "2 s"
limit = { at_most = 0.3 }
[check.fails]
otherwise = 0.01
weak = 0.9

[[proof]]
side = "supply"
measured_failed = ["cranking"]
"#;

fn job() -> Job {
    Job::new(RULES, None)
}

#[test]
fn a_stream_passes_only_with_a_full_window() {
    let mut job = job();
    job.phase(Phase::Cranking).at(0.5).reads("inlet", "1 psi");
    assert_eq!(job.outcome("cranking"), Outcome::Void, "before `after`");
    job.at(1.2).reads("inlet", "8 psi");
    assert_eq!(job.outcome("cranking"), Outcome::Undecided);
    job.at(4.1).reads("inlet", "7 psi");
    assert_eq!(job.outcome("cranking"), Outcome::Undecided);
    job.at(4.3).reads("inlet", "1 psi");
    assert_eq!(
        job.outcome("cranking"),
        Outcome::Passed,
        "the window is full, and closed to more"
    );
    assert_eq!(job.verdict().evidence[0].value, Some(7.0));
}

#[test]
fn a_phase_left_fills_the_window() {
    let mut job = job();
    job.phase(Phase::Cranking)
        .at(1.2)
        .reads("inlet", "8 psi")
        .at(2.0)
        .phase(Phase::Idle);
    assert_eq!(job.outcome("cranking"), Outcome::Passed);
}

#[test]
fn a_mean_takes_its_time_and_an_idle_passed_through_counts_for_nothing() {
    let mut job = job();
    job.passed(&["cranking"]).phase(Phase::Idle);
    for tick in 0..=101 {
        job.at(f64::from(tick) * 0.1).reads("inlet", "15 psi");
    }
    assert_eq!(job.outcome("idle"), Outcome::Passed);
    let believed = job.suspect("weak");
    job.at(20.0)
        .phase(Phase::Off)
        .at(30.0)
        .phase(Phase::Idle)
        .at(30.1)
        .reads("inlet", "1 psi");
    job.at(30.3).phase(Phase::HighIdle);
    assert_eq!(
        job.outcome("idle"),
        Outcome::Passed,
        "0.2 s of idle are no 10 s"
    );
    assert_eq!(job.suspect("weak"), believed);
}

#[test]
fn a_minimum_below_its_limit_has_failed_at_once() {
    let mut job = job();
    job.phase(Phase::Cranking).at(1.2).reads("inlet", "3.1 psi");
    assert_eq!(job.outcome("cranking"), Outcome::Failed);
}

#[test]
fn a_person_answers_for_the_whole_window() {
    let mut job = job();
    job.phase(Phase::Cranking).at(0.2).enters("inlet", "3 psi");
    assert_eq!(job.outcome("cranking"), Outcome::Void, "before `after`");
    job.at(1.2).enters("inlet", "8 psi");
    assert_eq!(job.outcome("cranking"), Outcome::Passed);
    // Said together with its phase, it is about the whole of it.
    job.at(60.0).phase(Phase::Cranking).enters("inlet", "3 psi");
    assert_eq!(job.outcome("cranking"), Outcome::Failed);
}

#[test]
fn a_phase_said_again_or_a_probe_placed_again_starts_anew() {
    let mut job = job();
    job.phase(Phase::Cranking).at(2.0).enters("inlet", "3 psi");
    assert_eq!(job.outcome("cranking"), Outcome::Failed);
    job.at(60.0).phase(Phase::Cranking);
    assert_eq!(
        job.outcome("cranking"),
        Outcome::Failed,
        "until there is a newer reading"
    );
    job.at(62.0).enters("inlet", "8 psi");
    assert_eq!(job.outcome("cranking"), Outcome::Passed);
    job.at(63.0)
        .place("inlet")
        .at(64.0)
        .enters("inlet", "3 psi");
    assert_eq!(job.outcome("cranking"), Outcome::Failed);
}

#[test]
fn needs_gate_and_void_is_no_evidence() {
    let mut job = job();
    job.phase(Phase::Idle).enters("inlet", "3 psi");
    let before = job.suspect("weak");
    assert_eq!(job.outcome("idle"), Outcome::Void);
    assert_eq!(before, Job::new(RULES, None).suspect("weak"));
    job.passed(&["cranking"]);
    assert_eq!(job.outcome("idle"), Outcome::Failed);
}

#[test]
fn a_check_waits_for_its_drive() {
    let mut job = job();
    job.at(1.0)
        .reads("engine-speed", "700 rpm")
        .at(2.0)
        .reads("engine-speed", "3000 rpm");
    assert_eq!(job.outcome("calm"), Outcome::Void);
    job.at(3.0)
        .drive(Drive::Bypass)
        .at(4.0)
        .reads("engine-speed", "2900 rpm");
    assert_eq!(job.outcome("calm"), Outcome::Failed);
}

#[test]
fn racing_within_the_first_ten_seconds_counts_and_later_does_not() {
    let mut job = job();
    job.drive(Drive::Bypass)
        .at(1.0)
        .reads("engine-speed", "700 rpm");
    job.at(11.5).reads("engine-speed", "3000 rpm");
    assert_eq!(job.outcome("calm"), Outcome::Passed);
}

#[test]
fn derived_points_pair_by_time() {
    let mut job = job();
    job.phase(Phase::Idle)
        .at(1.0)
        .reads("filter", "20 psi")
        .at(1.6)
        .reads("inlet", "8 psi");
    assert_eq!(job.outcome("drop"), Outcome::Void, "0.6 s apart");
    job.at(2.0).reads("filter", "20 psi");
    assert_eq!(job.outcome("drop"), Outcome::Failed);
    assert_eq!(
        job.verdict()
            .evidence
            .iter()
            .find(|e| e.check == "drop")
            .unwrap()
            .value,
        Some(12.0)
    );
}

#[test]
fn a_table_limit_needs_its_other_point() {
    let mut job = job();
    job.phase(Phase::Cranking).enters("battery", "9.2 V");
    let verdict = job.verdict();
    let reason = verdict
        .evidence
        .iter()
        .find(|e| e.check == "load-test")
        .unwrap();
    assert_eq!(reason.outcome, Outcome::Void);
    assert!(reason.reason.as_ref().unwrap().contains("`ambient`"));
    job.enters("ambient", "21 degC");
    assert_eq!(job.outcome("load-test"), Outcome::Failed);
    job.enters("ambient", "-18 degC");
    assert_eq!(job.outcome("load-test"), Outcome::Passed);
}

#[test]
fn a_spoiled_reading_settles_nothing_and_is_reported() {
    let mut job = job();
    job.phase(Phase::Cranking)
        .at(1.5)
        .flagged("inlet", "3 psi", Flags::HOLD);
    assert_eq!(job.outcome("cranking"), Outcome::Void);
    assert!(
        job.verdict().evidence[0]
            .reason
            .as_ref()
            .unwrap()
            .contains("hold")
    );
}

#[test]
fn near_the_limit_is_undecided_and_moves_belief_smoothly() {
    let believed = |value: &str| {
        let mut job = job();
        job.phase(Phase::Cranking).enters("inlet", value);
        (job.outcome("cranking"), job.suspect("weak"))
    };
    let readings = ["4.95 psi", "4.995 psi", "5 psi", "5.005 psi", "5.05 psi"].map(believed);
    assert_eq!(readings[2].0, Outcome::Undecided);
    assert!(readings.windows(2).all(|w| w[0].1 > w[1].1), "{readings:?}");
}

#[test]
fn a_side_without_proof_is_never_isolated() {
    let mut job = job();
    job.drive(Drive::Bypass)
        .at(1.0)
        .reads("engine-speed", "3000 rpm")
        .at(2.0)
        .reads("engine-speed", "3000 rpm");
    job.passed(&["cranking"]);
    let verdict = job.verdict();
    assert!(verdict.sides.pump > 0.9);
    assert_ne!(verdict.standing, Standing::Isolated);
}

#[test]
fn the_same_events_give_the_same_bytes() {
    let tell = |job: &mut Job, ask: bool| {
        job.phase(Phase::Cranking);
        for tick in 0..40 {
            job.at(f64::from(tick) * 0.1)
                .reads("inlet", &format!("{} psi", 4.0 + 0.1 * f64::from(tick)));
            if ask {
                job.verdict();
            }
        }
        job.verdict().to_bytes()
    };
    // Asking on the way must not change what is said in the end.
    assert_eq!(tell(&mut job(), false), tell(&mut job(), true));
}
