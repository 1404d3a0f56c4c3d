//! From the words of the pure crates to those of the wire.

use trisect_wire::types as wire;
use trisect_diagnosis as said;
use trisect_measure::Amount;
use trisect_rules::{Drive, Outcome, Phase, RuleSet, Side, Standing};

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

/// The verdict on the wire says what the diagnosis said, no more and no less.
pub(crate) fn verdict(said: &said::Verdict) -> wire::Verdict {
    wire::Verdict {
        standing: standing(said.standing),
        side: said.side.map(side),
        also: said.also.iter().map(|s| side(*s)).collect(),
        sides: by_side(&said.sides),
        suspects: said
            .suspects
            .iter()
            .map(|s| wire::SuspectBelief {
                id: s.id.clone(),
                side: side(s.side),
                probability: s.probability,
            })
            .collect(),
        evidence: said.evidence.iter().map(evidence).collect(),
        complaint: said.complaint.as_ref().map(|c| wire::ComplaintEvidence {
            id: c.id.clone(),
            decibans: weights(&c.decibans),
        }),
        missing: said.missing.iter().map(missing).collect(),
        next: said.next.iter().map(next).collect(),
        conflict: said.conflict,
        phase: phase(said.phase),
        crank: said.crank.as_ref().map(crank),
        ruleset: wire::RulesetDigest {
            id: said.ruleset.id.clone(),
            version: said.ruleset.version.clone(),
            digest: said.ruleset.digest.clone(),
        },
        named: said.named.clone(),
        text: said.text.clone(),
    }
}

fn crank(said: &said::CrankSummary) -> wire::Crank {
    wire::Crank {
        number: said.number,
        at: said.at,
        seconds: said.seconds,
        battery_minimum: said.battery_minimum,
        cranking_speed: said.cranking_speed,
        lowest_inlet_pressure: said.lowest_inlet_pressure,
        built_5_psi_after: said.built_5_psi_after,
    }
}

fn by_side(values: &said::BySide<f64>) -> wire::BySide<f64> {
    wire::BySide {
        supply: values.supply,
        controller: values.controller,
        pump: values.pump,
        outside: values.outside,
    }
}

/// A weight that is beyond every bound is null.
fn weights(values: &said::BySide<f64>) -> wire::BySide<Option<f64>> {
    let finite = |x: f64| x.is_finite().then_some(x);
    wire::BySide {
        supply: finite(values.supply),
        controller: finite(values.controller),
        pump: finite(values.pump),
        outside: finite(values.outside),
    }
}

fn evidence(said: &said::Evidence) -> wire::Evidence {
    wire::Evidence {
        check: said.check.clone(),
        outcome: outcome(said.outcome),
        value: said.value,
        bound: said.bound.map(|bound| match bound {
            "below" => wire::Beyond::Below,
            _ => wire::Beyond::Above,
        }),
        unit: said.unit.map(str::to_owned),
        uncertainty: said.uncertainty,
        limit: said.limit.clone(),
        conformance: said.conformance,
        answer: said.answer.clone(),
        reason: said.reason.clone(),
        readings: said.readings,
        line: said.line.map(|line| wire::Line {
            frequency: line.frequency,
            amplitude: line.amplitude,
        }),
        decibans: weights(&said.decibans),
    }
}

fn missing(said: &said::Missing) -> wire::Missing {
    wire::Missing {
        side: side(said.side),
        suspect: said.suspect.clone(),
        passed: said.passed.clone(),
        any_passed: said.any_passed.clone(),
        failed: said.failed.clone(),
        any_failed: said.any_failed.clone(),
        measured_failed: said.measured_failed.clone(),
        because: said.because.clone(),
    }
}

fn next(said: &said::NextTest) -> wire::NextTest {
    wire::NextTest {
        check: said.check.clone(),
        title: said.title.clone(),
        bits: said.bits,
        minutes: said.minutes,
        bits_per_minute: said.bits_per_minute,
        completes_proof: said.completes_proof,
        advances_proof: said.advances_proof,
        first: said.first.clone(),
        cautions: said.cautions.clone(),
        why: said.why.clone(),
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

/// A finding of the pure crates as the wire's type of the same JSON.
pub(crate) fn alike<T: serde::Serialize, U: serde::de::DeserializeOwned>(
    found: &T,
) -> Result<U, trisect_wire::WireError> {
    let value = serde_json::to_value(found).map_err(|error| crate::bay::internal(&error))?;
    serde_json::from_value(value).map_err(|error| crate::bay::internal(&error))
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

    /// What goes out must hold everything that the journal keeps.
    #[test]
    fn the_wire_verdict_loses_nothing() {
        let rules = trisect_rules::shipped_rule_set("distributor-pump-12v");
        let model = said::Model::new(std::sync::Arc::new(rules.unwrap_or_else(|| unreachable!())));
        let mut job = said::Diagnosis::new(std::sync::Arc::new(model), Some(0));
        for check in 0..8 {
            let what = said::What::Outcome {
                check,
                outcome: Outcome::Failed,
            };
            job.push(&said::Event { at: 0, what });
        }
        crank_and_watch(&mut job);
        let said = job.verdict();
        let kept = serde_json::to_value(&*said);
        let sent = serde_json::to_value(verdict(&said));
        assert!(
            said.crank
                .is_some_and(|crank| crank.built_5_psi_after.is_some())
        );
        assert!(said.evidence.iter().any(|evidence| evidence.line.is_some()));
        assert_eq!(kept.ok(), sent.ok());
    }

    /// Five seconds of cranking with a pulsating inlet pressure.
    fn crank_and_watch(job: &mut said::Diagnosis) {
        let what = said::What::Phase(Phase::Cranking);
        job.push(&said::Event { at: 0, what });
        let rules = std::sync::Arc::clone(job.model().rules());
        let values = [
            ("battery", 10.4),
            ("engine-speed", 18.0),
            ("pump-inlet-pressure", 5e4),
        ];
        for tick in 0..500 {
            for (id, value) in values {
                let point = rules.point_index(id).unwrap_or_else(|| unreachable!());
                let amount = trisect_measure::Amount::Exactly(value + f64::from(tick % 2));
                let what = said::What::Reading {
                    point: point as u16,
                    amount,
                    u: 0.1,
                    flags: trisect_measure::Flags::empty(),
                    entered: false,
                };
                let at = i64::from(tick) * 10_000_000;
                job.push(&said::Event { at, what });
            }
        }
    }
}
