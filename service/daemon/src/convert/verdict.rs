//! Verdicts: what the diagnosis says, and what is stored of it, in the types of the wire.

use trisect_journal::StoredVerdict;
use trisect_journal::stored_verdict as stored;
use trisect_wire::types as wire;

use super::{outcome, phase, side, standing};

/// What the diagnosis says. It goes by way of what is stored of it, so that the fields are named once, and what is
/// shown of a live job is what its record will hold.
pub(crate) fn verdict(said: &trisect_diagnosis::Verdict) -> wire::Verdict {
    stored_verdict(StoredVerdict::from(said.clone()))
}

/// A verdict of the journal.
pub(crate) fn stored_verdict(kept: StoredVerdict) -> wire::Verdict {
    wire::Verdict {
        standing: standing(kept.standing),
        side: kept.side.map(side),
        also: kept.also.into_iter().map(side).collect(),
        sides: by_side(kept.sides),
        suspects: kept.suspects.into_iter().map(suspect).collect(),
        evidence: kept.evidence.into_iter().map(evidence).collect(),
        complaint: kept.complaint.map(|kept| wire::ComplaintEvidence {
            id: kept.id,
            decibans: by_side(kept.decibans),
        }),
        missing: kept.missing.into_iter().map(missing).collect(),
        next: kept.next.into_iter().map(next).collect(),
        conflict: kept.conflict,
        phase: phase(kept.phase),
        crank: kept.crank.map(crank),
        ruleset: wire::RulesetDigest {
            id: kept.ruleset.id,
            version: kept.ruleset.version,
            digest: kept.ruleset.digest,
        },
        named: kept.named,
        text: kept.text,
    }
}

fn by_side<T>(kept: stored::StoredBySide<T>) -> wire::BySide<T> {
    wire::BySide {
        supply: kept.supply,
        controller: kept.controller,
        pump: kept.pump,
        outside: kept.outside,
    }
}

fn suspect(kept: stored::StoredSuspect) -> wire::SuspectBelief {
    wire::SuspectBelief {
        id: kept.id,
        side: side(kept.side),
        probability: kept.probability,
    }
}

fn evidence(kept: stored::StoredEvidence) -> wire::Evidence {
    wire::Evidence {
        check: kept.check,
        outcome: outcome(kept.outcome),
        value: kept.value,
        bound: kept.bound.map(|bound| match bound.as_str() {
            "below" => wire::Beyond::Below,
            _ => wire::Beyond::Above,
        }),
        unit: kept.unit,
        uncertainty: kept.uncertainty,
        limit: kept.limit,
        conformance: kept.conformance,
        answer: kept.answer,
        reason: kept.reason,
        readings: kept.readings,
        line: kept.line.map(|line| wire::SpectralLine {
            frequency: line.frequency,
            amplitude: line.amplitude,
        }),
        decibans: by_side(kept.decibans),
    }
}

fn missing(kept: stored::StoredMissing) -> wire::Missing {
    wire::Missing {
        side: side(kept.side),
        suspect: kept.suspect,
        passed: kept.passed,
        any_passed: kept.any_passed,
        failed: kept.failed,
        any_failed: kept.any_failed,
        measured_failed: kept.measured_failed,
        because: kept.because,
    }
}

fn next(kept: stored::StoredNextTest) -> wire::NextTest {
    wire::NextTest {
        check: kept.check,
        title: kept.title,
        bits: kept.bits,
        minutes: kept.minutes,
        bits_per_minute: kept.bits_per_minute,
        completes_proof: kept.completes_proof,
        advances_proof: kept.advances_proof,
        first: kept.first,
        cautions: kept.cautions,
        why: kept.why,
    }
}

fn crank(kept: stored::StoredCrank) -> wire::Crank {
    wire::Crank {
        number: kept.number,
        at: kept.at,
        seconds: kept.seconds,
        battery_minimum: kept.battery_minimum,
        cranking_speed: kept.cranking_speed,
        lowest_inlet_pressure: kept.lowest_inlet_pressure,
        built_5_psi_after: kept.built_5_psi_after,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use trisect_diagnosis as said;
    use trisect_rules::{Outcome, Phase};

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
