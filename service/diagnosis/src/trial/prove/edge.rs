//! The edge of each proof, through the whole diagnosis.

use std::sync::Arc;

use trisect_rules::proving::{Way, ways};
use trisect_rules::{Outcome, Proof, ProofTarget, RuleSet, Standing};

use super::{GoOn, Target, diagnosed, is_of, settled, unadvised};
use crate::{Model, Verdict};

/// Most combinations that are diagnosed for one target.
const MOST: usize = 500;

#[derive(Default)]
pub(super) struct Edges {
    pub(super) diagnosed: u64,
    pub(super) unproven: Vec<Vec<(usize, Outcome)>>,
}

/// Runs the diagnosis on each way to complete the target's proofs, and on each
/// with one outcome withheld or turned round. Every side counts as believed.
pub(super) fn search(rules: &RuleSet, target: Target, go_on: GoOn<'_>) -> Edges {
    let mut believed = unadvised(rules);
    (believed.isolate_at, believed.also_at) = (0.0, 0.0);
    let model = Arc::new(Model::new(Arc::new(believed)));
    let mut edges = Edges::default();
    let proofs = target.side_proofs(rules).chain(target.own_proofs(rules));
    let all = proofs.flat_map(|proof| ways(rules, proof, &[]));
    for found in all.flat_map(|way| edge(&way)).take(MOST) {
        if !go_on() {
            break;
        }
        let verdict = diagnosed(&model, &found, settled);
        edges.diagnosed += 1;
        if !is_proven(rules, &verdict) {
            edges.unproven.push(found);
        }
    }
    edges
}

/// A way, and what is one outcome away from it.
fn edge(way: &Way) -> Vec<Vec<(usize, Outcome)>> {
    let passed = way.passed.iter().map(|check| (*check, Outcome::Passed));
    let failed = way.failed.iter().map(|check| (*check, Outcome::Failed));
    let whole: Vec<(usize, Outcome)> = passed.chain(failed).collect();
    let mut edge = vec![whole.clone()];
    for place in 0..whole.len() {
        let mut withheld = whole.clone();
        withheld.remove(place);
        edge.push(withheld);
        let mut turned = whole.clone();
        turned[place].1 = match turned[place].1 {
            Outcome::Passed => Outcome::Failed,
            _ => Outcome::Passed,
        };
        edge.push(turned);
    }
    edge
}

/// Whether whatever a verdict names is proven by the outcomes it tells, as the
/// rule set's text has it.
fn is_proven(rules: &RuleSet, verdict: &Verdict) -> bool {
    let is = |check: usize| verdict.outcome(&rules.checks[check].id);
    let complete = |proof: &Proof| proof.is_complete(is);
    let side = match verdict
        .side
        .filter(|_| verdict.standing == Standing::Isolated)
    {
        Some(side) => rules
            .proofs
            .iter()
            .any(|proof| proof.target == ProofTarget::Side(side) && complete(proof)),
        None => true,
    };
    let named = verdict
        .named
        .as_deref()
        .and_then(|id| rules.suspect_index(id));
    let suspect = named.is_none_or(|suspect| {
        let mut own = rules.proofs.iter().filter(|p| is_of(p, suspect)).peekable();
        own.peek().is_none() || own.any(complete)
    });
    side && suspect
}
