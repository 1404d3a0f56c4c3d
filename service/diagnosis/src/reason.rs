//! One verdict, from the state of the fold to the words.

use trisect_measure::{Amount, significant};
use trisect_rules::{Outcome, Phase, Side, Standing};

use crate::assess::{Assessment, assess, shown, unit_of};
use crate::belief::{Belief, Piece, weigh};
use crate::fold::{CheckState, Latest};
use crate::model::Model;
use crate::next::{Choice, rank};
use crate::proof::{Lack, Outcomes, side_lacks, suspect_lacks};
use crate::runs::Runs;
use crate::stays::CrankSummary;
use crate::verdict::{
    BySide, ComplaintEvidence, Evidence, Missing, RuleSetName, SpectralLine, SuspectBelief, Verdict,
};

/// What a verdict is made from.
pub(crate) struct Job<'a> {
    pub(crate) model: &'a Model,
    pub(crate) complaint: Option<usize>,
    pub(crate) states: &'a [CheckState],
    pub(crate) runs: &'a Runs,
    pub(crate) latest: &'a [Option<Latest>],
    pub(crate) now: i64,
    pub(crate) phase: Phase,
    pub(crate) crank: Option<CrankSummary>,
}

pub(crate) fn reason(job: &Job<'_>) -> Verdict {
    let model = job.model;
    let assessments = assess(job);
    let pieces = gather(job, &assessments);
    let belief = weigh(model, &pieces);
    debug_assert!(belief.left_out < 1e-12, "the bound holds");
    let outcomes = Outcomes(&assessments);
    let (standing, side) = stand(model, &belief, &outcomes);
    let leading = side.unwrap_or_else(|| leader(&belief));
    let also = match side {
        Some(named) => not_cleared(model, &belief, named),
        None => Vec::new(),
    };
    let top = top_suspect(model, &belief, leading);
    let isolated = (standing == Standing::Isolated).then_some(leading);
    let (missing, lacks) = missing(model, &belief, &outcomes, leading, isolated.and(top));
    let named = isolated.and(top).filter(|suspect| {
        belief.suspects[*suspect] >= model.rules.isolate_at
            && suspect_lacks(model, *suspect, &outcomes).is_empty()
    });
    let next = rank(&Choice {
        model,
        belief: &belief,
        pieces: &pieces,
        outcomes: &outcomes,
        complaint: job.complaint,
        isolated,
        lacks: &lacks,
        proof_first: belief.sides[leading.index()] >= model.rules.isolate_at,
    });
    let mut verdict = Verdict {
        standing,
        side,
        also,
        sides: BySide::new(belief.sides),
        named: named.map(|s| model.rules.suspects[s].id.clone()),
        suspects: ranked(model, &belief),
        evidence: evidence(model, &assessments, &pieces, &belief),
        complaint: complaint(job, &pieces, &belief),
        missing,
        next,
        conflict: belief
            .conflict
            .is_finite()
            .then_some(belief.conflict / std::f64::consts::LN_2),
        phase: job.phase,
        crank: job.crank,
        ruleset: RuleSetName {
            id: model.rules.id.clone(),
            version: model.rules.version.clone(),
            digest: model.rules.digest.clone(),
        },
        text: String::new(),
    };
    verdict.text = crate::words::paragraph(&model.rules, &verdict);
    verdict
}

/// The pieces of evidence: the complaint first, then the checks in order.
fn gather(job: &Job<'_>, found: &[Option<Assessment>]) -> Vec<Piece> {
    let complaint = job.complaint.map(|c| Piece::complaint(job.model, c));
    let checks = found.iter().enumerate().filter_map(|(check, assessment)| {
        let assessment = assessment.as_ref()?;
        if assessment.outcome == Outcome::Void {
            return None;
        }
        let check = check as u16;
        match (assessment.answer, assessment.pass) {
            (Some(answer), _) => Some(Piece::answer(job.model, check, answer)),
            (None, Some(pass)) => Some(Piece::passes(job.model, check, pass)),
            (None, None) => None,
        }
    });
    complaint.into_iter().chain(checks).collect()
}

/// A conflict smaller than this is rounding.
const CONFLICT: f64 = 1e-9;

/// The standing and the side it names.
fn stand(model: &Model, belief: &Belief, outcomes: &Outcomes<'_>) -> (Standing, Option<Side>) {
    // Before any belief: what no hypothesis explains makes every posterior meaningless.
    if belief.conflict > CONFLICT && !belief.explained {
        return (Standing::Contradicted, None);
    }
    let mut sure: Vec<Side> = Side::ALL
        .into_iter()
        .filter(|side| belief.sides[side.index()] >= model.rules.isolate_at)
        .collect();
    sure.sort_by(|a, b| belief.sides[b.index()].total_cmp(&belief.sides[a.index()]));
    // With two faults at once two sides may be sure: the proven one is named, likelier or not.
    let proven = sure
        .iter()
        .find(|side| side_lacks(model, **side, outcomes).is_empty());
    match (proven, sure.first()) {
        (Some(side), _) => (Standing::Isolated, Some(*side)),
        (None, Some(side)) => (Standing::Leaning, Some(*side)),
        (None, None) => (Standing::Open, None),
    }
}

fn leader(belief: &Belief) -> Side {
    let mut leader = Side::Supply;
    for side in Side::ALL {
        if belief.sides[side.index()] > belief.sides[leader.index()] {
            leader = side;
        }
    }
    leader
}

fn not_cleared(model: &Model, belief: &Belief, named: Side) -> Vec<Side> {
    let others = Side::ALL.into_iter().filter(|side| *side != named);
    others
        .filter(|side| belief.sides[side.index()] > model.rules.also_at)
        .collect()
}

fn top_suspect(model: &Model, belief: &Belief, side: Side) -> Option<usize> {
    let mut top: Option<usize> = None;
    for (suspect, p) in belief.suspects.iter().enumerate() {
        let higher = top.is_none_or(|t| *p > belief.suspects[t]);
        if model.rules.suspects[suspect].side == side && higher {
            top = Some(suspect);
        }
    }
    top
}

/// What is missing, for the leading side, those not cleared, and the suspect
/// to be named; and of the leading side's lacks those that can still be met.
fn missing(
    model: &Model,
    belief: &Belief,
    outcomes: &Outcomes<'_>,
    leading: Side,
    suspect: Option<usize>,
) -> (Vec<Missing>, Vec<Lack>) {
    let mut missing = Vec::new();
    let mut lacks = Vec::new();
    let others = not_cleared(model, belief, leading);
    for side in std::iter::once(leading).chain(others) {
        for (lack, because) in side_lacks(model, side, outcomes) {
            missing.push(lack.missing(model, side, None, because));
            if side == leading {
                lacks.push(lack);
            }
        }
    }
    if let Some(suspect) = suspect {
        for (lack, because) in suspect_lacks(model, suspect, outcomes) {
            missing.push(lack.missing(model, leading, Some(suspect), because));
            lacks.push(lack);
        }
    }
    // It stays among what is missing, but no test is advised for a proof that cannot be had any more.
    lacks.retain(|lack| !lack.refuted(outcomes));
    (missing, lacks)
}

fn ranked(model: &Model, belief: &Belief) -> Vec<SuspectBelief> {
    let mut suspects: Vec<SuspectBelief> = model
        .rules
        .suspects
        .iter()
        .zip(&belief.suspects)
        .map(|(s, p)| SuspectBelief {
            id: s.id.clone(),
            side: s.side,
            probability: *p,
        })
        .collect();
    suspects.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    suspects
}

fn weight_of(check: Option<u16>, pieces: &[Piece], belief: &Belief) -> Option<BySide<f64>> {
    let piece = pieces.iter().position(|piece| piece.check == check)?;
    Some(BySide::new(belief.decibans[piece]))
}

fn complaint(job: &Job<'_>, pieces: &[Piece], belief: &Belief) -> Option<ComplaintEvidence> {
    let complaint = job.complaint?;
    Some(ComplaintEvidence {
        id: job.model.rules.complaints[complaint].id.clone(),
        decibans: weight_of(None, pieces, belief)?,
    })
}

fn evidence(
    model: &Model,
    found: &[Option<Assessment>],
    pieces: &[Piece],
    belief: &Belief,
) -> Vec<Evidence> {
    let seen = found.iter().enumerate();
    seen.filter_map(|(check, assessment)| {
        let assessment = assessment.as_ref()?;
        let decibans = weight_of(Some(check as u16), pieces, belief);
        Some(piece_of_evidence(
            model,
            check,
            assessment,
            decibans.unwrap_or(BySide::new([0.0; 4])),
        ))
    })
    .collect()
}

fn piece_of_evidence(
    model: &Model,
    index: usize,
    found: &Assessment,
    decibans: BySide<f64>,
) -> Evidence {
    let rules = &model.rules;
    let check = &rules.checks[index];
    let measured = check.measured();
    let value = measured.zip(found.value);
    let bound = value.and_then(|(_, (amount, _))| match amount {
        Amount::Exactly(_) => None,
        Amount::Above(_) => Some("above"),
        Amount::Below(_) => Some("below"),
    });
    let answer = check.asked().zip(found.answer);
    Evidence {
        check: check.id.clone(),
        outcome: found.outcome,
        value: value.map(|(m, (amount, _))| shown(&model.rules, m, amount.edge())),
        bound,
        unit: value.map(|(m, _)| unit_of(&model.rules, m).symbol()),
        uncertainty: value
            .filter(|_| bound.is_none())
            .map(|(m, (_, u))| unit_of(&model.rules, m).span_from_si(u)),
        limit: found.limit.clone(),
        // Of a reading only: what was stated elsewhere has no probability.
        conformance: found.value.and(found.pass),
        readings: found.readings,
        line: measured.zip(found.line).map(|(m, line)| SpectralLine {
            frequency: line.frequency,
            amplitude: significant(rules.point_unit(m.point).span_from_si(line.amplitude), 6),
        }),
        answer: answer.and_then(|(a, answer)| a.answers.get(usize::from(answer)).cloned()),
        reason: found.reason.clone(),
        decibans,
    }
}
