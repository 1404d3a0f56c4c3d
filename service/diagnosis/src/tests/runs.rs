//! Runs: what a test found, and what was no test.

use super::Job;
use crate::{Counted, NotTaken, Outcome, Phase, Stage};
use trisect_measure::Flags;
use trisect_rules::Drive;

pub(super) const RULES: &str = r#"
format = 2
id = "runs"
version = "1"
title = "Runs"

[[test_point]]
id = "battery"
title = "Battery"
quantity = "voltage"
unit = "V"

[[test_point]]
id = "engine-speed"
title = "Engine speed"
quantity = "rotational-speed"
unit = "rpm"

[[test_point]]
id = "signal"
title = "Signal of the pedal"
quantity = "voltage"
unit = "V"

[[test_point]]
id = "inlet"
title = "Inlet"
quantity = "pressure"
unit = "psi"

[[test_point]]
id = "ambient"
title = "Ambient"
quantity = "temperature"
unit = "degC"

[[suspect]]
id = "weak"
side = "supply"
title = "Weak"
share = 1

[[suspect]]
id = "racing"
side = "pump"
title = "Racing"
share = 1

[[check]]
id = "cranks"
point = "battery"
phase = ["cranking"]
take = "minimum"
after = "0.5 s"
over = "2 s"
limit = { at_least = "9.6 V" }
[check.fails]
otherwise = 0.02
weak = 0.95

[[check]]
id = "builds"
point = "inlet"
phase = ["cranking"]
take = "minimum"
after = "1 s"
over = "2 s"
limit = { at_least = "5 psi" }
[check.fails]
otherwise = 0.02
weak = 0.95

[[check]]
id = "calm"
point = "engine-speed"
phase = ["idle", "high-idle"]
take = "maximum"
over = "5 s"
within = "10 s"
limit = { at_most = "1200 rpm" }
keep = "The pedal is left alone."
[check.fails]
otherwise = 0.02
racing = 0.95

[[check]]
id = "sweep"
point = "signal"
phase = ["key-on"]
take = "minimum"
over = "5 s"
limit = { at_least = "0.3 V" }
[check.fails]
otherwise = 0.02
racing = 0.5

[[check]]
id = "idle-pressure"
point = "inlet"
phase = ["idle", "high-idle"]
take = "mean"
over = "2 s"
while = [{ point = "engine-speed", at_most = "1000 rpm" }]
limit = { at_least = "8 psi" }
[check.fails]
otherwise = 0.02
weak = 0.9

[[check]]
id = "rest"
point = "battery"
phase = ["off"]
take = "mean"
over = "2 s"
limit = { at_least = "12.4 V" }
passive = true
survives_repair = true
[check.fails]
otherwise = 0.02
weak = 0.9

[[check]]
id = "by-temperature"
point = "battery"
phase = ["cranking"]
take = "minimum"
over = "1 s"
limit = { at_least = { by = "ambient", table = [["-20 degC", "8.5 V"], ["20 degC", "9.6 V"]] } }
drive = "bypass"
[check.fails]
otherwise = 0.02
weak = 0.9

[[check]]
id = "fuel"
ask = "Is fuel seen?"
answers = ["seen", "not-seen"]
[check.expect]
otherwise = [0.98, 0.02]
weak = [0.5, 0.5]

[[check]]
id = "returns"
ask = "Plug the harness back: does the complaint return?"
answers = ["no", "returns"]
presumes = [{ check = "calm", is = "passed" }]
[check.expect]
otherwise = [0.98, 0.02]
racing = [0.1, 0.9]

[[proof]]
side = "supply"
any_failed = ["cranks", "builds"]

[[proof]]
side = "pump"
failed = ["calm"]
"#;

pub(super) fn job() -> Job {
    Job::new(RULES, None)
}

impl Job {
    /// Twenty readings a second, from this second on.
    pub(super) fn streams(
        &mut self,
        point: &str,
        value: &str,
        from: f64,
        seconds: f64,
    ) -> &mut Job {
        for i in 0..(seconds * 20.0) as u32 {
            self.at(from + f64::from(i) / 20.0).reads(point, value);
        }
        self
    }

    fn stage(&self, check: &str) -> Stage {
        let check = self.rules.check_index(check).unwrap() as u16;
        let mut runs = self.diagnosis.runs().iter();
        runs.rfind(|run| run.check == check).unwrap().stage
    }

    fn why(&self) -> String {
        let run = self.diagnosis.runs().last().unwrap();
        run.spoilt.clone().unwrap_or_default()
    }

    pub(super) fn outcomes(&self) -> Vec<(String, Outcome)> {
        let findings = self.diagnosis.findings().iter();
        let id = |check: u16| self.rules.checks[usize::from(check)].id.clone();
        findings.map(|f| (id(f.check), f.outcome())).collect()
    }
}

#[test]
fn readings_outside_a_run_are_no_evidence() {
    let mut job = job();
    let before = job.diagnosis.verdict().to_bytes();
    job.phase(Phase::Idle).streams("inlet", "1 psi", 0.0, 30.0);
    job.phase(Phase::KeyOn)
        .streams("signal", "0.02 V", 40.0, 30.0);
    assert_eq!(job.outcomes(), []);
    job.phase(Phase::Off);
    assert_eq!(job.diagnosis.verdict().to_bytes(), before);
}

/// The load test's own pedal is no racing: it is not within the first seconds, and nobody ran the check.
#[test]
fn a_pedal_pressed_later_does_not_count_as_racing() {
    let mut job = job();
    job.start("calm");
    job.streams("engine-speed", "150 rpm", 0.0, 1.0);
    job.streams("engine-speed", "780 rpm", 1.0, 6.0);
    assert_eq!(job.stage("calm"), Stage::Confirming);
    job.streams("engine-speed", "1700 rpm", 7.0, 5.0);
    job.kept("calm", true);
    assert_eq!(job.outcomes(), [("calm".to_owned(), Outcome::Passed)]);
}

#[test]
fn a_test_that_was_not_kept_to_is_spoilt() {
    let mut job = job();
    job.start("calm");
    job.streams("engine-speed", "1700 rpm", 0.0, 6.0);
    assert_eq!(job.stage("calm"), Stage::Confirming);
    job.kept("calm", false);
    assert_eq!(job.stage("calm"), Stage::Spoilt);
    assert_eq!(job.outcomes(), []);
    assert!(job.why().contains("do the test again"), "{}", job.why());
}

#[test]
fn a_run_that_comes_too_late_waits_for_the_phase_to_begin_anew() {
    let mut job = job();
    job.streams("engine-speed", "780 rpm", 0.0, 15.0)
        .start("calm");
    job.streams("engine-speed", "780 rpm", 15.0, 10.0);
    assert_eq!(job.stage("calm"), Stage::Taking);
    let check = job.rules.check_index("calm").unwrap() as u16;
    let late = Counted {
        check,
        run: Some(1),
        not: Some(NotTaken::TooLate),
    };
    assert_eq!(job.diagnosis.counted(), [late]);
    job.streams("engine-speed", "0 rpm", 26.0, 2.0);
    job.streams("engine-speed", "780 rpm", 30.0, 6.0);
    assert_eq!(job.stage("calm"), Stage::Confirming);
}

#[test]
fn an_idle_reading_does_not_erase_a_sweep() {
    let mut job = job();
    job.phase(Phase::KeyOn).start("sweep");
    job.streams("signal", "0.02 V", 0.0, 6.0);
    assert_eq!(job.outcomes(), [("sweep".to_owned(), Outcome::Failed)]);
    job.streams("signal", "0.704 V", 10.0, 60.0);
    assert_eq!(job.outcomes().len(), 1);
    assert_eq!(job.diagnosis.verdict().outcome("sweep"), Outcome::Failed);
}

#[test]
fn a_said_phase_that_the_speed_contradicts_is_not_believed() {
    for (speed, contradicted) in [("0 rpm", true), ("700 rpm", true), ("140 rpm", false)] {
        let mut job = job();
        job.reads("engine-speed", speed).phase(Phase::Cranking);
        job.start("cranks").streams("battery", "9.0 V", 0.1, 3.0);
        let found = job.outcomes().len();
        assert_eq!(found, usize::from(!contradicted), "{speed}");
        let run = job.diagnosis.runs().last().unwrap().clone();
        let lacks = job.diagnosis.lacks(&run).join("; ");
        assert_eq!(
            lacks.contains("not the phase that was said"),
            contradicted,
            "{lacks}"
        );
    }
}

#[test]
fn what_is_entered_with_the_run_counts_at_once() {
    let mut job = job();
    job.phase(Phase::Cranking).start("builds").at(0.008);
    job.enters("inlet", "1.5 psi");
    assert_eq!(job.outcomes(), [("builds".to_owned(), Outcome::Failed)]);
}

#[test]
fn what_is_written_down_after_the_crank_counts_for_it() {
    let mut job = job();
    job.start("builds").phase(Phase::Cranking);
    job.at(5.0).phase(Phase::KeyOn);
    assert_eq!(job.stage("builds"), Stage::Preparing);
    job.at(60.0).enters("inlet", "1.5 psi");
    assert_eq!(job.outcomes(), [("builds".to_owned(), Outcome::Failed)]);
    // Too much later it is a guess.
    let mut job = self::job();
    job.start("builds").phase(Phase::Cranking);
    job.at(5.0).phase(Phase::KeyOn);
    job.at(300.0).enters("inlet", "1.5 psi");
    assert_eq!(job.outcomes(), []);
    let not = job.diagnosis.counted()[0].not;
    assert_eq!(not, Some(NotTaken::Waiting));
}

#[test]
fn a_stream_says_why_it_does_not_count_yet() {
    let mut job = job();
    job.phase(Phase::Cranking).start("builds");
    job.at(0.6).reads("inlet", "1.5 psi");
    let not = job.diagnosis.counted()[0].not;
    assert_eq!(not, Some(NotTaken::TooEarly(400_000_000)));
    job.at(1.2).flagged("inlet", "1.5 psi", Flags::HOLD);
    let not = job.diagnosis.counted()[0].not;
    assert_eq!(not, Some(NotTaken::Flagged(Flags::HOLD)));
}

#[test]
fn two_runs_share_one_crank() {
    let mut job = job();
    job.start("cranks").start("builds").phase(Phase::Cranking);
    for i in 0..40 {
        job.at(f64::from(i) / 10.0);
        job.reads("battery", "10.5 V").reads("inlet", "2 psi");
    }
    let expected = [("cranks", Outcome::Passed), ("builds", Outcome::Failed)];
    assert_eq!(job.outcomes(), expected.map(|(id, o)| (id.to_owned(), o)));
}

#[test]
fn what_breaks_a_run_spoils_it_and_says_so() {
    let check = |break_it: fn(&mut Job), why: &str| {
        let mut job = job();
        job.phase(Phase::Cranking).start("cranks");
        job.streams("battery", "10.5 V", 0.5, 1.0);
        break_it(job.at(1.5));
        assert_eq!(job.stage("cranks"), Stage::Spoilt, "{why}");
        assert!(job.why().contains(why), "{}", job.why());
        assert_eq!(job.outcomes(), []);
        // It can be done again.
        job.phase(Phase::Cranking).start("cranks");
        job.at(2.0)
            .place("battery")
            .streams("battery", "10.5 V", 2.5, 3.0);
        assert_eq!(
            job.outcomes(),
            [("cranks".to_owned(), Outcome::Passed)],
            "{why}"
        );
    };
    check(
        |job| {
            job.lift("battery");
        },
        "lifted",
    );
    check(
        |job| {
            job.place("battery");
        },
        "placed anew",
    );
    check(
        |job| {
            job.repair();
        },
        "repair",
    );
    check(
        |job| {
            job.at(30.0).reads("battery", "10.5 V");
        },
        "gap in the readings",
    );
}

#[test]
fn a_broken_condition_spoils() {
    let mut job = job();
    job.streams("engine-speed", "780 rpm", 0.0, 1.0)
        .start("idle-pressure");
    job.streams("inlet", "12 psi", 1.0, 1.0);
    job.at(2.0).reads("engine-speed", "1050 rpm");
    assert_eq!(job.stage("idle-pressure"), Stage::Spoilt);
    assert!(
        job.why().contains("engine-speed is 1050 rpm"),
        "{}",
        job.why()
    );
    // Where nobody measures it, somebody has to say that it held.
    let mut job = self::job();
    job.phase(Phase::Idle).start("idle-pressure");
    job.streams("inlet", "12 psi", 1.0, 3.0);
    assert_eq!(job.stage("idle-pressure"), Stage::Confirming);
    job.kept("idle-pressure", true);
    assert_eq!(
        job.outcomes(),
        [("idle-pressure".to_owned(), Outcome::Passed)]
    );
}

#[test]
fn a_run_says_what_has_to_be_prepared() {
    let mut job = job();
    job.start("by-temperature");
    let lacks = |job: &Job| {
        let run = job.diagnosis.runs().last().unwrap();
        (run.stage, job.diagnosis.lacks(run))
    };
    let probe = "no probe is on battery".to_owned();
    let drive = "the bypass drive is not connected".to_owned();
    assert_eq!(lacks(&job), (Stage::Preparing, vec![probe, drive]));
    job.place("battery").drive(Drive::Bypass);
    let limit = "its limit needs a reading of ambient first".to_owned();
    assert_eq!(lacks(&job), (Stage::Preparing, vec![limit]));
    job.enters("ambient", "10 degC");
    let phase = "the engine is not in phase cranking".to_owned();
    assert_eq!(lacks(&job), (Stage::Waiting, vec![phase]));
    job.phase(Phase::Cranking);
    assert_eq!(lacks(&job), (Stage::Taking, vec![]));
    job.stop("by-temperature");
    assert_eq!(job.stage("by-temperature"), Stage::Stopped);
}
