//! Verdicts.

use trisect_diagnosis as said;
use trisect_wire::types as wire;

use super::{outcome, phase, side, standing};

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

#[cfg(test)]
mod tests {
    use super::*;
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
