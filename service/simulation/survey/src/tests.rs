#![allow(clippy::unwrap_used, clippy::expect_used)]
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use trisect_diagnosis::Model;
use trisect_diagnosis::trial::{Recording, differences};
use trisect_rules::{Side, Standing, case, examine, shipped_rule_set};

use super::*;
use crate::course::Course;
use crate::job::Outcome;
use crate::substitution::Substituted;

fn model() -> Arc<Model> {
    let rules = shipped_rule_set("distributor-pump-12v").unwrap();
    Arc::new(Model::new(Arc::new(rules)))
}

fn surveyed(model: &Arc<Model>, machines: u64, seed: u64, threads: usize) -> Report {
    let wanted = Survey {
        machines,
        seed,
        threads,
    };
    survey(model, &wanted, &|_| {}).unwrap()
}

#[test]
fn the_report_does_not_depend_on_the_number_of_threads() {
    let model = model();
    let bytes = |threads| serde_json::to_vec(&surveyed(&model, 24, 7, threads)).unwrap();
    let one = bytes(1);
    assert_eq!(bytes(2), one);
    assert_eq!(bytes(3), one);
    assert_ne!(
        serde_json::to_vec(&surveyed(&model, 24, 8, 1)).unwrap(),
        one
    );
}

#[test]
fn every_machine_is_counted_once() {
    let (model, told) = (model(), AtomicU64::new(0));
    let wanted = Survey {
        machines: 60,
        seed: 3,
        threads: 2,
    };
    let done = |_| {
        told.fetch_add(1, Ordering::Relaxed);
    };
    let report = survey(&model, &wanted, &done).unwrap();
    assert_eq!(told.load(Ordering::Relaxed), 60);
    assert_eq!(report.calibration.count(), 4 * 60);
    assert_eq!(report.calibration_leading.count(), 60);
    assert_eq!(report.isolated.of, report.faulty);
    let alone: u64 = report.confusion.iter().map(|row| row.machines).sum();
    assert_eq!(alone + report.double, report.faulty);
    let not: u64 = report.not_isolated.iter().map(|reason| reason.count).sum();
    assert_eq!(report.isolated.count + not, report.faulty);
    assert_eq!(report.worst.len(), 20);
}

/// The worst jobs come back from their cases with the verdicts they are kept for, also where
/// a later test set the job right.
#[test]
fn worst_jobs_are_cases() {
    let model = model();
    let report = surveyed(&model, 300, 5, 2);
    let told = AtomicU64::new(0);
    let done = |count| told.store(count, Ordering::Relaxed);
    let cases = worst_cases(&model, &report, &done).unwrap();
    assert_eq!((cases.len(), told.into_inner()), (20, 20));
    let mut set_right = 0;
    for (one, worst) in cases.iter().zip(&report.worst) {
        let parsed = case::parse(&one.case).unwrap_or_else(|defects| panic!("{defects:#?}"));
        let mut recording = Recording::of(&parsed, model.rules()).unwrap();
        if let Some((name, stream)) = &one.stream {
            assert_eq!(parsed.stream.as_ref(), Some(name));
            recording = recording.with_stream(stream, model.rules()).unwrap();
        }
        let verdict = recording.verdict(&model);
        let found = differences(&recording.expect, &verdict);
        assert_eq!(found, vec![], "{}", one.name);
        assert!(parsed.title.contains(&worst.said), "{}", parsed.title);
        match course::isolated(&verdict) {
            Some(side) => {
                assert_eq!(worst.said, format!("isolated: {side}"));
                let end = format!("at the end: {}", worst.end);
                assert!(parsed.title.ends_with(&end), "{}", parsed.title);
                set_right += usize::from(worst.end != side.to_string());
            }
            None => assert_eq!(worst.because, "not isolated"),
        }
    }
    assert!(set_right > 0, "no job of this survey was set right");
}

fn outcome(index: u64, faults: &[usize], sides: &[Option<Side>]) -> Outcome {
    let mut course = Course::default();
    for (test, side) in sides.iter().enumerate() {
        course.see(*side, 5.0 * test as f64, [0.25; 4]);
    }
    let first = course.isolations.first();
    Outcome {
        index,
        faults: faults.to_vec(),
        words: "made up".to_owned(),
        vague: false,
        end: match course.last {
            Some(_) => Standing::Isolated,
            None => Standing::Open,
        },
        beliefs: [0.25; 4],
        top: None,
        named: None,
        why: first.is_none().then(|| "nothing believed".to_owned()),
        tests: 1,
        minutes: first.map_or(30.0, |one| one.minutes),
        along: Bins::default(),
        listed: (false, false, 1, 1.0),
        substituted: Substituted::default(),
        course,
    }
}

/// A pump that was condemned at any time is counted, whatever was said before and after.
#[test]
fn a_condemned_pump_counts_whenever_it_was() {
    use Side::{Controller, Pump, Supply};
    let model = model();
    let rules = model.rules();
    let suspect = |id| rules.suspect_index(id).unwrap();
    let (empty, dead) = (suspect("tank-empty"), suspect("controller-dead"));
    let worn = suspect("pump-rotor-worn");
    let outcomes = [
        // Right first, then the pump: a good one, beside a bad supply.
        outcome(0, &[empty], &[Some(Supply), Some(Supply), Some(Pump)]),
        // The pump first, then given up; the controller it was.
        outcome(1, &[dead], &[None, Some(Pump), None]),
        // The pump in between.
        outcome(2, &[dead], &[Some(Supply), Some(Pump), Some(Controller)]),
        // A bad pump, condemned in passing beside a bad supply.
        outcome(3, &[empty, worn], &[Some(Pump), Some(Supply)]),
        // As it should be, a wrong side that is no pump, and nothing.
        outcome(4, &[worn], &[Some(Pump)]),
        outcome(5, &[dead], &[Some(Supply), Some(Controller)]),
        outcome(6, &[dead], &[None]),
        outcome(7, &[], &[Some(Pump)]),
    ];
    let wanted = Survey {
        machines: 8,
        seed: 1,
        threads: 1,
    };
    let report = Report::of(rules, &wanted, &outcomes);
    let of = |share: Share| (share.count, share.of);
    assert_eq!(of(report.pump_condemned_good), (4, 8));
    assert_eq!(of(report.pump_condemned_good_at_end), (2, 8));
    assert_eq!(of(report.pump_condemned_supply_bad), (2, 8));
    assert_eq!(of(report.pump_condemned_good_supply_bad), (1, 8));
    assert_eq!(of(report.isolated), (6, 7));
    assert_eq!(of(report.isolated_at_end), (5, 7));
    assert_eq!(of(report.right_side), (3, 7));
    assert_eq!(of(report.right_side_at_end), (4, 6));
    assert_eq!(of(report.recanted), (5, 7));
    assert_eq!(of(report.recanted_to_other_side), (4, 7));
    assert_eq!(of(report.recanted_to_open), (1, 7));
    let text = words(&report);
    assert!(text.contains("pump condemned though good, by any verdict"));
    let worst: Vec<_> = report
        .worst
        .iter()
        .map(|one| (one.machine, one.because, one.told()))
        .collect();
    let told = |machine, because, told: &str| (machine, because, told.to_owned());
    let good = "pump condemned though good";
    assert_eq!(
        worst,
        [
            told(
                0,
                "pump condemned though good, supply bad",
                "isolated: pump after 10 min, at the end: pump"
            ),
            told(7, good, "isolated: pump after 0 min, at the end: pump"),
            told(1, good, "isolated: pump after 5 min, at the end: open"),
            told(
                2,
                good,
                "isolated: pump after 5 min, at the end: controller"
            ),
            told(
                3,
                "pump condemned, supply bad",
                "isolated: pump after 0 min, at the end: supply"
            ),
            told(
                5,
                "wrong side",
                "isolated: supply after 0 min, at the end: controller"
            ),
            told(6, "not isolated", "nothing believed, 30 min"),
            told(
                4,
                "took long",
                "isolated: pump after 0 min, at the end: pump"
            ),
        ]
    );
}

#[test]
fn what_cannot_be_surveyed_is_refused_with_a_reason() {
    let none = Survey {
        machines: 0,
        seed: 1,
        threads: 1,
    };
    assert_eq!(
        survey(&model(), &none, &|_| {}),
        Err(SurveyError::NoMachines)
    );
    let threads = Survey {
        machines: 1,
        threads: 0,
        ..none
    };
    let refused = Err(SurveyError::Threads { threads: 0 });
    assert_eq!(survey(&model(), &threads, &|_| {}), refused);
    assert_eq!(
        compare(&model(), &threads, &|_| {}).unwrap_err(),
        SurveyError::Threads { threads: 0 }
    );
    assert_eq!(
        compare(&model(), &none, &|_| {}).unwrap_err(),
        SurveyError::NoMachines
    );
    let text = trisect_rules::shipped()[0]
        .1
        .replace("tank-empty", "tank-thirsty");
    let rules = examine(&text).rule_set.unwrap();
    let other = Arc::new(Model::new(Arc::new(rules)));
    let wanted = Survey {
        machines: 1,
        ..none
    };
    let why = survey(&other, &wanted, &|_| {}).unwrap_err().to_string();
    assert!(why.contains("tank-thirsty"), "{why}");
}

/// The numbers do not depend on the number of threads either, and every machine is told of.
#[test]
fn numbers_tell_how_far_they_are() {
    let model = model();
    let wanted = |threads| Survey {
        machines: 2,
        seed: 4,
        threads,
    };
    let told = AtomicU64::new(0);
    let done = |_| {
        told.fetch_add(1, Ordering::Relaxed);
    };
    let one = compare(&model, &wanted(1), &done).unwrap();
    assert_eq!(told.into_inner(), compared(model.rules(), 2));
    assert_eq!(compare(&model, &wanted(3), &|_| {}).unwrap(), one);
}

#[test]
fn words_and_picture_tell_the_same() {
    let report = surveyed(&model(), 20, 2, 1);
    let (text, svg) = (words(&report), picture(&report));
    assert!(text.contains("20 machines, seed 2") && text.contains("expected calibration error"));
    assert!(svg.starts_with("<svg") && svg.trim_end().ends_with("</svg>"));
    for suspect in &report.confusion {
        assert!(text.contains(&suspect.suspect) && svg.contains(&suspect.suspect));
    }
    assert!(!svg.contains("NaN") && !text.contains("NaN"));
}
