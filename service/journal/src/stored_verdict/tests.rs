#![allow(clippy::unwrap_used)]
use std::sync::Arc;

use trisect_diagnosis::{Diagnosis, Event, Model, What};
use trisect_measure::{Amount, Flags};
use trisect_rules::{Outcome, Phase};

use super::*;

/// One stored verdict of every format that was ever written, byte for byte. They are never changed.
const FROZEN: [(u32, &[u8]); 2] = [
    (0, include_bytes!("examples/format-0.json")),
    (1, include_bytes!("examples/format-1.json")),
];

#[test]
fn every_format_that_was_ever_written_reads_and_is_written_back_alike() {
    assert_eq!(FROZEN.len() as u32, VERDICT_FORMAT + 1);
    for (format, bytes) in FROZEN {
        let read = StoredVerdict::from_bytes(bytes).unwrap();
        assert_eq!(read.format, format);
        assert!(read.evidence.len() > 5 && read.crank.is_some() && read.complaint.is_some());
        assert!(
            read.to_bytes() == bytes,
            "format {format} is written otherwise now"
        );
    }
}

#[test]
fn formats_differ_in_their_number_alone_so_far() {
    let [old, new] = FROZEN.map(|(_, bytes)| StoredVerdict::from_bytes(bytes).unwrap());
    assert_eq!(old.in_format(VERDICT_FORMAT), new);
}

#[test]
fn a_newer_format_is_refused_by_its_number_whatever_else_it_says() {
    let error = StoredVerdict::from_bytes(br#"{"format":7,"verdict":"?"}"#).unwrap_err();
    assert!(
        matches!(error, StoredVerdictError::Newer { found: 7 }),
        "{error}"
    );
    assert!(error.to_string().contains("0 to 1"), "{error}");
    let error = StoredVerdict::from_bytes(b"{}").unwrap_err();
    assert!(matches!(error, StoredVerdictError::Damaged(_)), "{error}");
}

/// What is stored is what was said: a field that the diagnosis gains and the store does not is found here.
#[test]
fn nothing_that_was_said_is_lost() {
    let said = verdict();
    let stored = StoredVerdict::from(said.clone());
    let mut json = serde_json::to_value(&stored).unwrap();
    assert_eq!(
        json.as_object_mut().unwrap().remove("format"),
        Some(1.into())
    );
    assert_eq!(json, serde_json::to_value(&said).unwrap());
    assert_eq!(stored.in_format(0).to_bytes(), said.to_bytes());
}

/// A verdict with every part that one can have.
fn verdict() -> trisect_diagnosis::Verdict {
    let rules = trisect_rules::shipped_rule_set("distributor-pump-12v").unwrap();
    let mut job = Diagnosis::new(Arc::new(Model::new(Arc::new(rules))), Some(0));
    for check in 0..8 {
        let what = What::Outcome {
            check,
            outcome: Outcome::Failed,
        };
        job.push(&Event { at: 0, what });
    }
    let what = What::Phase(Phase::Cranking);
    job.push(&Event { at: 0, what });
    let rules = Arc::clone(job.model().rules());
    let values = [
        ("battery", 10.4),
        ("engine-speed", 18.0),
        ("pump-inlet-pressure", 5e4),
    ];
    for tick in 0..500_i64 {
        for (id, value) in values {
            let what = What::Reading {
                point: rules.point_index(id).unwrap() as u16,
                amount: Amount::Exactly(value + (tick % 2) as f64),
                u: 0.1,
                flags: Flags::empty(),
                entered: false,
            };
            let at = tick * 10_000_000;
            job.push(&Event { at, what });
        }
    }
    let said = job.verdict();
    assert!(said.evidence.iter().any(|one| one.line.is_some()));
    Arc::unwrap_or_clone(said)
}

/// Writes the examples: run by hand, once, when a format is new. It never overwrites one.
#[test]
fn an_example_of_the_newest_format_is_there() {
    let folder =
        std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/stored_verdict/examples");
    for format in 0..=VERDICT_FORMAT {
        let path = folder.join(format!("format-{format}.json"));
        if std::env::var_os("TRISECT_BLESS").is_some() && path.metadata().unwrap().len() == 0 {
            let bytes = StoredVerdict::from(verdict()).in_format(format).to_bytes();
            std::fs::write(&path, bytes).unwrap();
        }
        assert!(
            path.metadata().unwrap().len() > 0,
            "bless {}",
            path.display()
        );
    }
}
