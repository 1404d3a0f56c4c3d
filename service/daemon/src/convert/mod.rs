//! From the types of the pure crates, of the journal and of the bay to those of the wire: in one place, field
//! by field, so that the compiler says when one side has something new.

mod bay;
mod error;
mod instrument;
mod job;
mod reading;
mod testability;
mod trial;
mod verdict;

pub(crate) use bay::bay_status;
pub(crate) use error::{internal, refusal, refused};
pub(crate) use instrument::{adapter, calibration, instrument, port_probe, port_user};
pub(crate) use job::{job, job_verdict, with_ruleset as job_with_ruleset};
pub(crate) use reading::{entered_reading, reading, stored_reading};
pub(crate) use testability::{proving, testability};
pub(crate) use trial::{coverage, difference, slack};
pub(crate) use verdict::{stored_verdict, verdict};

use trisect_measure::Amount;
use trisect_rules::{Drive, Outcome, Phase, RuleSet, Side, Standing};
use trisect_wire::types as wire;

pub(crate) fn side(side: Side) -> wire::Side {
    match side {
        Side::Supply => wire::Side::Supply,
        Side::Controller => wire::Side::Controller,
        Side::Pump => wire::Side::Pump,
        Side::Outside => wire::Side::Outside,
    }
}

pub(crate) fn phase(phase: Phase) -> wire::Phase {
    match phase {
        Phase::Off => wire::Phase::Off,
        Phase::KeyOn => wire::Phase::KeyOn,
        Phase::Cranking => wire::Phase::Cranking,
        Phase::Idle => wire::Phase::Idle,
        Phase::HighIdle => wire::Phase::HighIdle,
        Phase::Loaded => wire::Phase::Loaded,
        Phase::Stopping => wire::Phase::Stopping,
    }
}

pub(crate) fn phase_said(phase: wire::Phase) -> Phase {
    match phase {
        wire::Phase::Off => Phase::Off,
        wire::Phase::KeyOn => Phase::KeyOn,
        wire::Phase::Cranking => Phase::Cranking,
        wire::Phase::Idle => Phase::Idle,
        wire::Phase::HighIdle => Phase::HighIdle,
        wire::Phase::Loaded => Phase::Loaded,
        wire::Phase::Stopping => Phase::Stopping,
    }
}

pub(crate) fn drive(drive: Drive) -> wire::Drive {
    match drive {
        Drive::Harness => wire::Drive::Harness,
        Drive::Bypass => wire::Drive::Bypass,
    }
}

pub(crate) fn drive_said(drive: wire::Drive) -> Drive {
    match drive {
        wire::Drive::Harness => Drive::Harness,
        wire::Drive::Bypass => Drive::Bypass,
    }
}

fn standing(standing: Standing) -> wire::Standing {
    match standing {
        Standing::Isolated => wire::Standing::Isolated,
        Standing::Leaning => wire::Standing::Leaning,
        Standing::Open => wire::Standing::Open,
        Standing::Contradicted => wire::Standing::Contradicted,
    }
}

/// Beyond which end of its range a reading lies, if it does.
pub(crate) fn beyond(amount: Amount) -> Option<wire::Beyond> {
    match amount {
        Amount::Exactly(_) => None,
        Amount::Above(_) => Some(wire::Beyond::Above),
        Amount::Below(_) => Some(wire::Beyond::Below),
    }
}

fn outcome(outcome: Outcome) -> wire::Outcome {
    match outcome {
        Outcome::Passed => wire::Outcome::Passed,
        Outcome::Failed => wire::Outcome::Failed,
        Outcome::Undecided => wire::Outcome::Undecided,
        Outcome::Void => wire::Outcome::Void,
    }
}

pub(crate) fn digest(rules: &RuleSet) -> wire::RulesetDigest {
    wire::RulesetDigest {
        id: rules.id.clone(),
        version: rules.version.clone(),
        digest: rules.digest.clone(),
    }
}

/// Defects on the wire.
pub(crate) fn defects(found: &[trisect_rules::Defect]) -> Vec<wire::Defect> {
    let defect = |found: &trisect_rules::Defect| wire::Defect {
        kind: found.kind.word().to_owned(),
        severity: match found.severity {
            trisect_rules::Severity::Error => wire::Severity::Error,
            trisect_rules::Severity::Warning => wire::Severity::Warning,
        },
        line: found.line as u64,
        column: found.column as u64,
        message: found.message.clone(),
        hint: found.hint.clone(),
    };
    found.iter().map(defect).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_the_same_on_both_sides() {
        assert!(Side::ALL.iter().all(|s| side(*s).word() == s.word()));
        assert!(Phase::ALL.iter().all(|p| phase(*p).word() == p.word()));
        assert!(Phase::ALL.iter().all(|p| phase_said(phase(*p)) == *p));
        assert!(Drive::ALL.iter().all(|d| drive(*d).word() == d.word()));
        assert!(Drive::ALL.iter().all(|d| drive_said(drive(*d)) == *d));
        assert!(Outcome::ALL.iter().all(|o| outcome(*o).word() == o.word()));
        assert!(
            Standing::ALL
                .iter()
                .all(|s| standing(*s).word() == s.word())
        );
    }
}
