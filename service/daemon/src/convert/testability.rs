//! What the checks of a rule set can tell apart, and what was searched to prove its gate.

use trisect_diagnosis::trial::{Naming, Proving, Shortest, Stated};
use trisect_rules::testability::Testability;
use trisect_wire::types as wire;

use super::{outcome, side};

/// What the checks of a rule set can tell apart.
pub(crate) fn testability(found: Testability) -> wire::Testability {
    let unproven = found.sides_that_cannot_be_proven;
    wire::Testability {
        detected: found.detected,
        isolated: wire::IsolatedFractions {
            to_side: found.isolated.to_side,
            to_1: found.isolated.to_1,
            to_2: found.isolated.to_2,
            to_3: found.isolated.to_3,
        },
        ambiguity_groups: found.ambiguity_groups,
        undetected: found.undetected,
        checks_that_decide_nothing: found.checks_that_decide_nothing,
        sides_that_cannot_be_proven: unproven.into_iter().map(side).collect(),
    }
}

/// What was searched for a side that is named without its proof.
pub(crate) fn proving(found: Proving) -> wire::Proving {
    wire::Proving {
        proven: found.proven,
        finished: found.finished,
        combinations: found.combinations,
        named: found.named.into_iter().map(naming).collect(),
    }
}

fn naming(found: Naming) -> wire::Naming {
    let combination = |tests: Vec<Stated>| tests.into_iter().map(stated).collect();
    wire::Naming {
        side: side(found.side),
        suspect: found.suspect,
        checks: found.checks as u64,
        combinations: found.combinations,
        searched: found.searched,
        open: found.open,
        unproven: found.unproven.into_iter().map(combination).collect(),
        withheld: found.withheld.into_iter().map(combination).collect(),
        diagnosed: found.diagnosed,
        shortest: found.shortest.map(shortest),
        tried: found.tried,
        highest_belief: found.highest_belief,
    }
}

fn stated(found: Stated) -> wire::Stated {
    wire::Stated {
        check: found.check,
        outcome: outcome(found.outcome),
        answer: found.answer,
    }
}

fn shortest(found: Shortest) -> wire::ShortestTests {
    wire::ShortestTests {
        tests: found.tests.into_iter().map(stated).collect(),
        minutes: found.minutes,
        belief: found.belief,
        exact: found.exact,
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    const SMALL: &str = include_str!("../../../../tests/rulesets/car-start.toml");

    /// What the command line says of a rule set without a service, in the same JSON.
    #[test]
    fn nothing_that_was_found_is_lost() {
        let rules = trisect_rules::examine(SMALL).rule_set.unwrap();
        let found = trisect_rules::testability::testability(&rules);
        let said = serde_json::to_value(&found).unwrap();
        assert_eq!(serde_json::to_value(testability(found)).unwrap(), said);
        let mut found = trisect_diagnosis::trial::prove(&rules, &|| true);
        // Combinations as a gate with a hole would show them.
        let tests = found.named.iter().find_map(|one| one.shortest.clone());
        let tests = tests.map_or(Vec::new(), |shortest| shortest.tests);
        if let Some(first) = found.named.first_mut() {
            first.unproven.push(tests.clone());
            first.withheld.push(tests);
        }
        let said = serde_json::to_value(&found).unwrap();
        assert_eq!(serde_json::to_value(proving(found)).unwrap(), said);
    }
}
