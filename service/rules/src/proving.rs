//! The ways in which a proof can be completed: what a check `needs` must have
//! passed before the check says anything, so it belongs to the proof.

use std::collections::BTreeSet;

use crate::{Check, How, Outcome, Proof, RuleSet};

/// Combinations looked at before a proof is taken to have no further way.
const MOST: usize = 20_000;

/// One way to complete a proof, what its checks need included. No check is in both.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Way {
    /// Checks that have to pass.
    pub passed: BTreeSet<usize>,
    /// Checks that have to fail.
    pub failed: BTreeSet<usize>,
}

/// Why a proof has no way: an entry of a list that excludes the rest, or is left out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Unmet {
    /// The list, by its key.
    pub list: &'static str,
    /// The place in it.
    pub place: usize,
    /// The check there.
    pub check: usize,
    /// What the list wants of it: `passed` or `failed`.
    pub wanted: &'static str,
}

impl Way {
    /// With a check more, and what that needs; `None` if they contradict the rest.
    pub fn with(&self, rules: &RuleSet, check: usize, outcome: Outcome) -> Option<Way> {
        let mut way = self.clone();
        way.passed.extend(needed(rules, check));
        match outcome {
            Outcome::Passed => way.passed.insert(check),
            _ => way.failed.insert(check),
        };
        way.passed.is_disjoint(&way.failed).then_some(way)
    }

    /// Both together; `None` if they contradict each other.
    pub fn union(&self, other: &Way) -> Option<Way> {
        let way = Way {
            passed: &self.passed | &other.passed,
            failed: &self.failed | &other.failed,
        };
        way.passed.is_disjoint(&way.failed).then_some(way)
    }

    fn is_without(&self, left_out: &[usize]) -> bool {
        let there = |check: &usize| self.passed.contains(check) || self.failed.contains(check);
        !left_out.iter().any(there)
    }

    /// How long all of its checks take together, in minutes.
    pub fn minutes(&self, rules: &RuleSet) -> f64 {
        let checks = self.passed.iter().chain(&self.failed);
        checks.map(|check| rules.checks[*check].minutes).sum()
    }
}

/// Everything that has to pass before a check says anything.
fn needed(rules: &RuleSet, check: usize) -> BTreeSet<usize> {
    let mut found = BTreeSet::new();
    let mut ahead = rules.checks[check].needs.clone();
    while let Some(need) = ahead.pop() {
        if found.insert(need) {
            ahead.extend(&rules.checks[need].needs);
        }
    }
    found
}

/// The ways to complete a proof without the checks that are left out; each is
/// there once, and none is part of another.
pub fn ways(rules: &RuleSet, proof: &Proof, left_out: &[usize]) -> Vec<Way> {
    let mut found: BTreeSet<Way> = BTreeSet::new();
    // The first contradiction is of interest only where there is no way.
    let _ = walk(rules, proof, left_out, &mut |way| {
        found.insert(way);
        true
    });
    let beyond = |way: &Way| {
        found.iter().any(|less| {
            less != way && less.passed.is_subset(&way.passed) && less.failed.is_subset(&way.failed)
        })
    };
    // Quadratic: a proof of that many ways is told as it was found.
    if found.len() > 500 {
        return found.into_iter().collect();
    }
    found.iter().filter(|way| !beyond(way)).cloned().collect()
}

/// Why there is no way to complete a proof without the checks that are left out,
/// if there is none.
pub fn unmeetable(rules: &RuleSet, proof: &Proof, left_out: &[usize]) -> Option<Unmet> {
    let mut any = false;
    let unmet = walk(rules, proof, left_out, &mut |_| {
        any = true;
        false
    });
    unmet.filter(|_| !any)
}

/// Tells each way until told to stop; the first entry that contradicts the rest.
fn walk(
    rules: &RuleSet,
    proof: &Proof,
    left_out: &[usize],
    tell: &mut dyn FnMut(Way) -> bool,
) -> Option<Unmet> {
    let mut base = Way::default();
    let all = [
        ("passed", &proof.passed, Outcome::Passed),
        ("failed", &proof.failed, Outcome::Failed),
    ];
    for (list, checks, outcome) in all {
        for (place, check) in checks.iter().enumerate() {
            let with = base.with(rules, *check, outcome);
            match with.filter(|way| way.is_without(left_out)) {
                Some(way) => base = way,
                None => return Some(unmet(list, place, *check)),
            }
        }
    }
    let mut first = None;
    let mut ways = vec![base];
    let any = [
        ("any_passed", &proof.any_passed, Outcome::Passed),
        ("any_failed", &proof.any_failed, Outcome::Failed),
        ("measured_failed", &proof.measured_failed, Outcome::Failed),
    ];
    for (list, checks, outcome) in any {
        if checks.is_empty() {
            continue;
        }
        let mut next = Vec::new();
        for way in &ways {
            for (place, check) in checks.iter().enumerate().take(MOST - next.len().min(MOST)) {
                let with = way.with(rules, *check, outcome);
                match with.filter(|way| way.is_without(left_out)) {
                    Some(way) => next.push(way),
                    None => first = first.or(Some(unmet(list, place, *check))),
                }
            }
        }
        ways = next;
    }
    for way in ways {
        if !tell(way) {
            break;
        }
    }
    first
}

fn unmet(list: &'static str, place: usize, check: usize) -> Unmet {
    let wanted = if list.ends_with("passed") {
        "passed"
    } else {
        "failed"
    };
    Unmet {
        list,
        place,
        check,
        wanted,
    }
}

/// Whether a suspect makes a check likelier to fail than no fault does.
pub fn can_fail(check: &Check, suspect: usize) -> bool {
    let otherwise = match &check.how {
        How::Measured(measured) => measured.otherwise,
        How::Asked(asked) => 1.0 - asked.otherwise.first().copied().unwrap_or(1.0),
    };
    fails(check, suspect) > otherwise
}

/// P(fails) with only this suspect present; an asked check fails on any answer
/// but the healthiest.
pub fn fails(check: &Check, suspect: usize) -> f64 {
    let row = |rows: &[(usize, f64)]| rows.iter().find(|(s, _)| *s == suspect).map(|(_, p)| *p);
    match &check.how {
        How::Measured(measured) => row(&measured.fails).unwrap_or(measured.otherwise),
        How::Asked(asked) => {
            let rows = asked.expect.iter();
            let expected = rows
                .filter(|(s, _)| *s == suspect)
                .map(|(_, row)| row)
                .next();
            let healthy = expected.unwrap_or(&asked.otherwise).first();
            1.0 - healthy.copied().unwrap_or(1.0)
        }
    }
}

impl Proof {
    /// Whether outcomes complete it: what its keys say, and nothing more. What
    /// decides in a diagnosis is held against this (`examine --prove`).
    pub fn is_complete(&self, outcome: impl Fn(usize) -> Outcome) -> bool {
        let all = |checks: &[usize], wanted| checks.iter().all(|check| outcome(*check) == wanted);
        let any = |checks: &[usize], wanted| {
            checks.is_empty() || checks.iter().any(|check| outcome(*check) == wanted)
        };
        all(&self.passed, Outcome::Passed)
            && any(&self.any_passed, Outcome::Passed)
            && all(&self.failed, Outcome::Failed)
            && any(&self.any_failed, Outcome::Failed)
            && any(&self.measured_failed, Outcome::Failed)
    }

    /// Every check it speaks of, ascending.
    pub fn checks(&self) -> BTreeSet<usize> {
        let lists = [
            &self.passed,
            &self.any_passed,
            &self.failed,
            &self.any_failed,
            &self.measured_failed,
        ];
        lists.into_iter().flatten().copied().collect()
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::shipped_rule_set;

    #[test]
    fn the_ways_of_the_shipped_proofs_are_what_the_trade_says() {
        let rules = shipped_rule_set("distributor-pump-12v").unwrap();
        let count = |place: usize| ways(&rules, &rules.proofs[place], &[]).len();
        // Pump: two failures on the bypass drive beside a dead control unit; no start and no fuel, or no high idle,
        // with a sound engine; two beside stuck timing; hot; racing. Controller: swap, calm, eleven circuits.
        assert_eq!(
            [0, 1, 2, 3, 4, 5, 6, 7, 8].map(count),
            [2, 1, 1, 2, 1, 1, 1, 1, 11]
        );
        let lengths = |place: usize| {
            let way = &ways(&rules, &rules.proofs[place], &[])[0];
            (way.passed.len(), way.failed.len())
        };
        // Never on one failure and the supply alone, but for racing, which is measured.
        assert_eq!(
            [0, 1, 2, 3, 4, 5].map(lengths),
            [(5, 2), (7, 2), (8, 1), (5, 2), (5, 2), (5, 1)]
        );
        assert!(ways(&rules, &rules.proofs[0], &[])[0].minutes(&rules) > 0.0);
        // A machine that will not start does not stall hot.
        let left_out = &rules.complaints[0].leaves_out;
        assert_eq!(ways(&rules, &rules.proofs[0], left_out).len(), 2);
        assert_eq!(ways(&rules, &rules.proofs[4], left_out).len(), 0);
    }

    #[test]
    fn a_way_that_holds_another_is_no_way() {
        let rules = shipped_rule_set("distributor-pump-12v").unwrap();
        let mut proof = rules.proofs[0].clone();
        let calm = rules.check_index("calm-on-bypass").unwrap();
        proof.measured_failed = vec![calm];
        proof.any_failed.push(calm);
        let found = ways(&rules, &proof, &[]);
        // That failure is one of `any_failed` too, and enough.
        assert_eq!(found.len(), 1, "{found:?}");
        proof.measured_failed = vec![proof.passed[1]];
        let unmet = unmeetable(&rules, &proof, &[]).unwrap();
        assert_eq!((unmet.list, unmet.wanted), ("measured_failed", "failed"));
    }
}
