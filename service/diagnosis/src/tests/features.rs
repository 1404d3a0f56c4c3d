//! Ripple, decay and rise-time, from readings to outcomes.

use super::Job;
use crate::{Outcome, Phase};
use trisect_measure::Flags;

const RULES: &str = r#"
format = 1
id = "features"
version = "1"
title = "Features"

[[test_point]]
id = "pump-inlet-pressure"
title = "Inlet"
quantity = "pressure"
unit = "psi"

[[test_point]]
id = "engine-speed"
title = "Engine speed"
quantity = "rotational-speed"
unit = "rpm"

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
id = "ripple"
title = "Ripple"
point = "pump-inlet-pressure"
phase = ["cranking", "idle"]
take = "ripple"
after = "1 s"
over = "2 s"
limit = { at_most = 0.3 }
[check.fails]
otherwise = 0.01
weak = 0.9

[[check]]
id = "holds"
title = "Holds"
point = "pump-inlet-pressure"
phase = ["stopping", "off"]
take = "decay"
over = "60 s"
limit = { at_most = 0.5 }
[check.fails]
otherwise = 0.01
weak = 0.9

[[check]]
id = "builds"
title = "Builds up"
point = "pump-inlet-pressure"
phase = ["cranking"]
take = "rise-time"
limit = { at_most = "2 s" }
[check.fails]
otherwise = 0.01
weak = 0.9

[[check]]
id = "mean"
title = "Mean"
point = "pump-inlet-pressure"
phase = ["loaded"]
take = "mean"
over = "10 s"
limit = { at_least = "5 psi" }
[check.fails]
otherwise = 0.01
weak = 0.9
"#;

const INLET: &str = "pump-inlet-pressure";

fn job() -> Job {
    Job::new(RULES, None)
}

/// Twenty readings a second from one time to another.
fn stream(job: &mut Job, from: f64, until: f64, psi: impl Fn(f64) -> f64) {
    let count = ((until - from) * 20.0).round() as i32;
    for tick in 0..count {
        let at = from + f64::from(tick) / 20.0;
        job.at(at).reads(INLET, &format!("{:.6} psi", psi(at)));
    }
}

fn wave(mean: f64, amplitude: f64, hertz: f64) -> impl Fn(f64) -> f64 {
    move |at| mean + amplitude * (std::f64::consts::TAU * hertz * at).sin()
}

#[test]
fn ripple_is_taken_in_full_windows_with_its_frequency() {
    let mut job = job();
    job.phase(Phase::Cranking);
    stream(&mut job, 0.0, 2.8, wave(10.0, 3.0, 5.0));
    assert_eq!(job.outcome("ripple"), Outcome::Undecided);
    stream(&mut job, 2.8, 3.1, wave(10.0, 3.0, 5.0));
    let ripple = job.evidence("ripple");
    assert_eq!(ripple.outcome, Outcome::Failed);
    assert!((ripple.value.unwrap() - 0.6).abs() < 0.01, "{ripple:?}");
    let line = ripple.line.unwrap();
    assert!(
        (line.frequency - 5.0).abs() < 0.01 && (line.amplitude - 3.0).abs() < 0.01,
        "{line:?}"
    );
    // Peak to peak of two readings of 0.01 psi, what forty that scatter would stand apart, over a mean of
    // 10 psi, and the mean's own.
    let apart = 2.0 * (2.0 * 40f64.ln()).sqrt() * 0.001 / 3f64.sqrt();
    let u = (2f64.sqrt() * 0.001).hypot(apart).hypot(0.6 * 0.001);
    assert!((ripple.uncertainty.unwrap() - u).abs() < 1e-5, "{ripple:?}");
}

/// A weak pressure read by an instrument of some noise is not for that an unsteady one.
#[test]
fn noise_alone_is_no_ripple() {
    let mut job = job();
    job.phase(Phase::Cranking);
    // Steady but for the last digit of an instrument of 0.01 psi: 0.4 of a mean of 0.05 psi.
    stream(&mut job, 0.0, 3.1, |at| {
        if ((at * 20.0) as u64).is_multiple_of(2) {
            0.06
        } else {
            0.04
        }
    });
    let ripple = job.evidence("ripple");
    assert!((ripple.value.unwrap() - 0.4).abs() < 0.01, "{ripple:?}");
    assert_eq!(ripple.outcome, Outcome::Undecided);
}

#[test]
fn a_steady_stream_passes_and_windows_of_two_phases_do_not_mix() {
    let mut job = job();
    job.phase(Phase::Cranking);
    stream(&mut job, 0.0, 4.0, wave(6.0, 0.3, 5.0));
    job.at(4.0).phase(Phase::Idle);
    // Twice the pressure: between the two it would be a ripple of 0.7.
    stream(&mut job, 4.0, 10.0, wave(14.0, 0.3, 5.0));
    assert_eq!(job.outcome("ripple"), Outcome::Passed);
    assert!(job.evidence("ripple").value.unwrap() < 0.11);
}

#[test]
fn a_window_with_a_gap_is_not_a_window() {
    let mut job = job();
    job.phase(Phase::Cranking);
    stream(&mut job, 1.0, 2.0, wave(10.0, 0.3, 5.0));
    stream(&mut job, 2.8, 3.6, wave(10.0, 0.3, 5.0));
    let ripple = job.evidence("ripple");
    assert_eq!(ripple.outcome, Outcome::Undecided);
    assert!(ripple.reason.unwrap().contains("gap"));
    stream(&mut job, 3.6, 4.9, wave(10.0, 0.3, 5.0));
    assert_eq!(
        job.outcome("ripple"),
        Outcome::Passed,
        "two seconds after it"
    );
}

#[test]
fn spoiled_readings_leave_a_gap() {
    let mut job = job();
    job.phase(Phase::Cranking);
    stream(&mut job, 1.0, 2.0, wave(10.0, 0.3, 5.0));
    for tick in 0..20 {
        job.at(2.0 + f64::from(tick) / 20.0)
            .flagged(INLET, "10 psi", Flags::STALE);
    }
    stream(&mut job, 3.0, 3.8, wave(10.0, 0.3, 5.0));
    assert_eq!(job.outcome("ripple"), Outcome::Undecided);
}

#[test]
fn a_mean_with_a_gap_is_no_mean() {
    let mut job = job();
    job.phase(Phase::Loaded);
    stream(&mut job, 0.0, 2.0, |_| 10.0);
    stream(&mut job, 9.0, 10.1, |_| 10.0);
    let mean = job.evidence("mean");
    assert_eq!(mean.outcome, Outcome::Undecided);
    assert!(mean.reason.unwrap().contains("gap"));
    job.at(60.0).phase(Phase::Loaded);
    stream(&mut job, 60.0, 70.1, |_| 10.0);
    assert_eq!(job.outcome("mean"), Outcome::Passed);
}

#[test]
fn what_a_person_enters_has_no_ripple() {
    let mut job = job();
    job.phase(Phase::Cranking).enters(INLET, "8 psi");
    let ripple = job.evidence("ripple");
    assert_eq!(ripple.outcome, Outcome::Void);
    assert!(ripple.reason.unwrap().contains("stream"));
}

#[test]
fn nothing_is_no_steady_pressure() {
    let mut job = job();
    job.phase(Phase::Cranking);
    stream(&mut job, 1.0, 4.0, wave(0.0, 0.02, 5.0));
    let ripple = job.evidence("ripple");
    assert_eq!(ripple.outcome, Outcome::Undecided);
    assert!(ripple.reason.unwrap().contains("near zero"));
}

#[test]
fn pressure_that_is_lost_within_a_minute() {
    let check = |halved_after: f64, outcome: Outcome| {
        let mut job = job();
        job.at(5.0).phase(Phase::Off);
        stream(&mut job, 5.0, 30.0, |at| {
            12.0 * 0.5f64.powf((at - 5.0) / halved_after)
        });
        assert_eq!(job.outcome("holds"), Outcome::Undecided);
        stream(&mut job, 30.0, 70.0, |at| {
            12.0 * 0.5f64.powf((at - 5.0) / halved_after)
        });
        assert_eq!(job.outcome("holds"), outcome);
        let lost = 1.0 - 0.5f64.powf(60.0 / halved_after);
        assert!((job.evidence("holds").value.unwrap() - lost).abs() < 1e-5);
    };
    check(20.0, Outcome::Failed);
    check(300.0, Outcome::Passed);
}

#[test]
fn a_person_with_a_gauge_and_a_watch() {
    let mut job = job();
    job.at(5.0).phase(Phase::Off).enters(INLET, "12 psi");
    let holds = job.evidence("holds");
    assert_eq!(holds.outcome, Outcome::Undecided);
    assert!(holds.reason.unwrap().contains("one reading"));
    // Between the two, a minute after the first: 9 psi.
    job.at(85.0).enters(INLET, "8 psi");
    assert_eq!(job.outcome("holds"), Outcome::Passed);
    assert!((job.evidence("holds").value.unwrap() - 0.25).abs() < 1e-9);
}

#[test]
fn there_was_nothing_to_lose() {
    let mut job = job();
    job.phase(Phase::Off);
    stream(&mut job, 0.0, 65.0, |_| 0.0);
    assert_eq!(job.outcome("holds"), Outcome::Undecided);
    assert!(
        job.evidence("holds")
            .reason
            .unwrap()
            .contains("nothing to lose")
    );
}

#[test]
fn how_long_the_pressure_takes_to_build() {
    let check = |seconds: f64, outcome: Outcome| {
        let mut job = job();
        job.phase(Phase::Cranking);
        stream(&mut job, 0.0, 5.0, |at| 10.0 * (at / seconds).min(1.0));
        assert_eq!(
            job.outcome("builds"),
            Outcome::Undecided,
            "it may rise further"
        );
        job.at(5.0).phase(Phase::Off);
        assert_eq!(job.outcome("builds"), outcome);
        assert!((job.evidence("builds").value.unwrap() - 0.8 * seconds).abs() < 0.01);
    };
    check(1.0, Outcome::Passed);
    check(4.0, Outcome::Failed);
}
