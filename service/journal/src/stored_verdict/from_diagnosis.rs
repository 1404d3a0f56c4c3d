//! What the diagnosis says, as it is stored.

use trisect_diagnosis as said;

use super::{
    StoredBySide, StoredComplaint, StoredCrank, StoredEvidence, StoredMissing, StoredNextTest,
    StoredRuleSet, StoredSpectralLine, StoredSuspect, StoredVerdict, VERDICT_FORMAT,
};

impl From<said::Verdict> for StoredVerdict {
    fn from(said: said::Verdict) -> StoredVerdict {
        StoredVerdict {
            format: VERDICT_FORMAT,
            standing: said.standing,
            side: said.side,
            also: said.also,
            sides: StoredBySide {
                supply: said.sides.supply,
                controller: said.sides.controller,
                pump: said.sides.pump,
                outside: said.sides.outside,
            },
            named: said.named,
            suspects: said.suspects.into_iter().map(suspect).collect(),
            evidence: said.evidence.into_iter().map(evidence).collect(),
            complaint: said.complaint.map(|said| StoredComplaint {
                id: said.id,
                decibans: weights(said.decibans),
            }),
            missing: said.missing.into_iter().map(missing).collect(),
            next: said.next.into_iter().map(next).collect(),
            conflict: said.conflict,
            phase: said.phase,
            crank: said.crank.map(crank),
            ruleset: StoredRuleSet {
                id: said.ruleset.id,
                version: said.ruleset.version,
                digest: said.ruleset.digest,
            },
            text: said.text,
        }
    }
}

fn suspect(said: said::SuspectBelief) -> StoredSuspect {
    StoredSuspect {
        id: said.id,
        side: said.side,
        probability: said.probability,
    }
}

/// JSON has no infinity: a weight beyond every bound has no number.
fn weights(said: said::BySide<f64>) -> StoredBySide<Option<f64>> {
    let finite = |weight: f64| weight.is_finite().then_some(weight);
    StoredBySide {
        supply: finite(said.supply),
        controller: finite(said.controller),
        pump: finite(said.pump),
        outside: finite(said.outside),
    }
}

fn evidence(said: said::Evidence) -> StoredEvidence {
    StoredEvidence {
        check: said.check,
        outcome: said.outcome,
        value: said.value,
        bound: said.bound.map(str::to_owned),
        unit: said.unit.map(str::to_owned),
        uncertainty: said.uncertainty,
        limit: said.limit,
        conformance: said.conformance,
        readings: said.readings,
        line: said.line.map(|line| StoredSpectralLine {
            frequency: line.frequency,
            amplitude: line.amplitude,
        }),
        answer: said.answer,
        reason: said.reason,
        decibans: weights(said.decibans),
    }
}

fn missing(said: said::Missing) -> StoredMissing {
    StoredMissing {
        side: said.side,
        suspect: said.suspect,
        passed: said.passed,
        any_passed: said.any_passed,
        failed: said.failed,
        any_failed: said.any_failed,
        measured_failed: said.measured_failed,
        because: said.because,
    }
}

fn next(said: said::NextTest) -> StoredNextTest {
    StoredNextTest {
        check: said.check,
        title: said.title,
        bits: said.bits,
        minutes: said.minutes,
        bits_per_minute: said.bits_per_minute,
        completes_proof: said.completes_proof,
        advances_proof: said.advances_proof,
        first: said.first,
        cautions: said.cautions,
        why: said.why,
    }
}

fn crank(said: said::CrankSummary) -> StoredCrank {
    StoredCrank {
        number: said.number,
        at: said.at,
        seconds: said.seconds,
        battery_minimum: said.battery_minimum,
        cranking_speed: said.cranking_speed,
        lowest_inlet_pressure: said.lowest_inlet_pressure,
        built_5_psi_after: said.built_5_psi_after,
    }
}
