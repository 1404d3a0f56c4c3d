#![allow(clippy::unwrap_used, clippy::expect_used)]
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use trisect_diagnosis::Model;
use trisect_diagnosis::trial::{Recording, differences};
use trisect_rules::{case, examine, shipped_rule_set};

use super::*;

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

/// The worst jobs come back from their cases with the verdicts they had.
#[test]
fn worst_jobs_are_cases() {
    let model = model();
    let report = surveyed(&model, 30, 5, 2);
    let cases = worst_cases(&model, &report).unwrap();
    assert_eq!(cases.len(), 20);
    for one in cases {
        let parsed = case::parse(&one.case).unwrap_or_else(|defects| panic!("{defects:#?}"));
        let mut recording = Recording::of(&parsed, model.rules()).unwrap();
        if let Some((name, stream)) = one.stream {
            assert_eq!(parsed.stream.as_deref(), Some(name.as_str()));
            recording = recording.with_stream(&stream, model.rules()).unwrap();
        }
        let verdict = recording.verdict(&model);
        assert_eq!(
            differences(&recording.expect, &verdict),
            vec![],
            "{}",
            one.name
        );
    }
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
