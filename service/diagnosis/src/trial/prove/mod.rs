//! Proof that no side is named whose proof is missing, by search; and the
//! shortest set of tests that names each.
//!
//! Whether a side may be named is decided by the outcomes of the checks its
//! proofs speak of, and by nothing else once it is believed: so every combination
//! of these (passed, failed, neither) is put to the function that decides it in
//! every verdict, and what that says is held against what the rule set's text
//! says ([`Proof::is_complete`]). Thresholds of belief play no part.
//!
//! At the edge of each proof (complete; one outcome withheld; one turned round)
//! the whole of [`Diagnosis`] is run besides, on the same rule set with every
//! side believed.

mod edge;
mod gate;
mod shortest;

use std::sync::Arc;

use serde::Serialize;
use trisect_rules::{Outcome, Proof, ProofTarget, RuleSet, Side};

use crate::{Diagnosis, Event, Model, Verdict, What};

/// What was searched for one rule set.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Proving {
    /// Whether everything was searched, and nothing found.
    pub proven: bool,
    /// Whether the search came to its end, or was told to stop before: what was not searched by then is not proven.
    pub finished: bool,
    /// Combinations of outcomes searched, of all sides and suspects together.
    pub combinations: u64,
    /// Sides with suspects, then suspects with a proof of their own.
    pub named: Vec<Naming>,
}

/// What was searched for one side, or for a suspect with a proof of its own.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Naming {
    /// The side.
    pub side: Side,
    /// The suspect, if it is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub suspect: Option<String>,
    /// How many checks its proofs speak of.
    pub checks: usize,
    /// How many combinations of their outcomes there are: three to the power of `checks`.
    pub combinations: f64,
    /// How many were searched: all, or none where there are too many.
    pub searched: u64,
    /// Combinations under which it may be named.
    pub open: u64,
    /// Combinations that name it though its proof is missing, the first few.
    pub unproven: Vec<Vec<Stated>>,
    /// Combinations that complete its proof and do not let it be named, the first few.
    pub withheld: Vec<Vec<Stated>>,
    /// Combinations at the edge of its proofs that the whole diagnosis was run on.
    pub diagnosed: u64,
    /// The shortest set of tests that was found to name it, from nothing known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shortest: Option<Shortest>,
    /// Sets of tests that were tried to find it.
    pub tried: u64,
    /// The highest belief that any of them led to.
    pub highest_belief: f64,
}

/// One outcome of a combination.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Stated {
    /// The check.
    pub check: String,
    /// `passed` or `failed`.
    pub outcome: Outcome,
    /// The answer it came about by, in a set of tests.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub answer: Option<String>,
}

/// A set of tests with what has to come of them.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Shortest {
    /// The tests.
    pub tests: Vec<Stated>,
    /// How long they take together.
    pub minutes: f64,
    /// The belief in the side, or the suspect, that they lead to.
    pub belief: f64,
    /// Every set that takes less time was tried; without, a shorter one may be there.
    pub exact: bool,
}

/// A side, or a suspect with a proof of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Target {
    side: Side,
    suspect: Option<usize>,
}

/// Whether a search is still wanted.
pub(super) type GoOn<'a> = &'a dyn Fn() -> bool;

/// Searches a rule set: see the head of this module. It is asked again and again whether to go on.
pub fn prove(rules: &RuleSet, go_on: &dyn Fn() -> bool) -> Proving {
    let named: Vec<Naming> = targets(rules)
        .into_iter()
        .map(|target| naming(rules, target, go_on))
        .collect();
    let sound = |naming: &Naming| {
        naming.unproven.is_empty()
            && naming.withheld.is_empty()
            && naming.searched as f64 == naming.combinations
    };
    let finished = go_on();
    Proving {
        proven: finished && named.iter().all(sound),
        finished,
        combinations: named.iter().map(|naming| naming.searched).sum(),
        named,
    }
}

fn targets(rules: &RuleSet) -> Vec<Target> {
    let of_side = |side| rules.suspects.iter().any(|suspect| suspect.side == side);
    let sides = Side::ALL.into_iter().filter(|side| of_side(*side));
    let sides = sides.map(|side| Target {
        side,
        suspect: None,
    });
    let own = |suspect: &usize| rules.proofs.iter().any(|proof| is_of(proof, *suspect));
    let suspects = (0..rules.suspects.len()).filter(own);
    let suspects = suspects.map(|suspect| Target {
        side: rules.suspects[suspect].side,
        suspect: Some(suspect),
    });
    sides.chain(suspects).collect()
}

fn is_of(proof: &Proof, suspect: usize) -> bool {
    matches!(&proof.target, ProofTarget::Suspects(suspects) if suspects.contains(&suspect))
}

impl Target {
    /// The proofs of the side; one has to be complete.
    fn side_proofs(self, rules: &RuleSet) -> impl Iterator<Item = &Proof> {
        let of_side = move |proof: &&Proof| proof.target == ProofTarget::Side(self.side);
        rules.proofs.iter().filter(of_side)
    }

    /// The suspect's own proofs; one has to be complete besides.
    fn own_proofs(self, rules: &RuleSet) -> impl Iterator<Item = &Proof> {
        let own = move |proof: &&Proof| self.suspect.is_some_and(|s| is_of(proof, s));
        rules.proofs.iter().filter(own)
    }

    /// The checks that decide whether it may be named, ascending.
    fn checks(self, rules: &RuleSet) -> Vec<usize> {
        let proofs = self.side_proofs(rules).chain(self.own_proofs(rules));
        let mut checks: Vec<usize> = proofs.flat_map(Proof::checks).collect();
        checks.sort_unstable();
        checks.dedup();
        checks
    }
}

fn naming(rules: &RuleSet, target: Target, go_on: GoOn<'_>) -> Naming {
    let searched = gate::search(rules, target, go_on);
    let edges = edge::search(rules, target, go_on);
    let tried = shortest::search(rules, target, go_on);
    let mut unproven = searched.unproven;
    unproven.extend(edges.unproven);
    let told = |list: Vec<Vec<(usize, Outcome)>>| -> Vec<Vec<Stated>> {
        list.iter()
            .take(3)
            .map(|found| stated(rules, found))
            .collect()
    };
    Naming {
        side: target.side,
        suspect: target.suspect.map(|s| rules.suspects[s].id.clone()),
        checks: searched.checks,
        combinations: 3f64.powi(i32::try_from(searched.checks).unwrap_or(i32::MAX)),
        searched: searched.combinations,
        open: searched.open,
        unproven: told(unproven),
        withheld: told(searched.withheld),
        diagnosed: edges.diagnosed,
        shortest: tried.shortest,
        tried: tried.tried,
        highest_belief: tried.highest,
    }
}

fn stated(rules: &RuleSet, found: &[(usize, Outcome)]) -> Vec<Stated> {
    let stated = found.iter().map(|(check, outcome)| Stated {
        check: rules.checks[*check].id.clone(),
        outcome: *outcome,
        answer: None,
    });
    stated.collect()
}

/// The verdict of the real diagnosis once these outcomes have come about.
fn diagnosed(
    model: &Arc<Model>,
    found: &[(usize, Outcome)],
    come_about: fn(&Model, usize, Outcome) -> What,
) -> Arc<Verdict> {
    let mut diagnosis = Diagnosis::new(Arc::clone(model), None);
    for (at, (check, outcome)) in found.iter().enumerate() {
        diagnosis.push(&Event {
            at: at as i64,
            what: come_about(model, *check, *outcome),
        });
    }
    diagnosis.verdict()
}

/// An outcome settled elsewhere.
fn settled(_: &Model, check: usize, outcome: Outcome) -> What {
    What::Outcome {
        check: u16::try_from(check).unwrap_or(u16::MAX),
        outcome,
    }
}

/// The rule set without advice, which is most of the work of a verdict: a check
/// that waits for itself is never advised.
pub(super) fn unadvised(rules: &RuleSet) -> RuleSet {
    let mut rules = rules.clone();
    for (place, check) in rules.checks.iter_mut().enumerate() {
        check.advise_after = vec![place];
    }
    rules
}

#[cfg(test)]
mod tests;
