#![allow(clippy::unwrap_used)]
use trisect_rules::shipped_rule_set;

use super::*;
use crate::trial::tests::rules;

#[test]
fn every_combination_of_a_small_rule_set_is_searched_and_sound() {
    let found = prove(&rules(), &|| true);
    assert!(found.proven, "{found:#?}");
    // Supply: one check; pump: two.
    assert_eq!(found.combinations, 3 + 9);
    let open: Vec<(u64, u64)> = found.named.iter().map(|n| (n.searched, n.open)).collect();
    assert_eq!(open, [(3, 1), (9, 1)]);
}

/// The whole diagnosis on all combinations, for any side: what the gate's search stands for.
#[test]
fn the_whole_diagnosis_names_what_the_gate_opens_and_nothing_else() {
    let mut believed = rules();
    believed.isolate_at = 0.0;
    let model = Arc::new(Model::new(Arc::new(believed.clone())));
    let three = [Outcome::Void, Outcome::Passed, Outcome::Failed];
    for first in three {
        for second in three {
            let found = [(0, first), (1, second)];
            let verdict = diagnosed(&model, &found, settled);
            let proven = |side| {
                let of_side = believed
                    .proofs
                    .iter()
                    .filter(|p| p.target == ProofTarget::Side(side));
                of_side
                    .into_iter()
                    .any(|p| p.is_complete(|check| found[check].1))
            };
            // Both failed is improbable under every single fault of that rule set.
            let any = Side::ALL.into_iter().any(proven);
            let expected = match (first, second) {
                (Outcome::Failed, Outcome::Failed) => trisect_rules::Standing::Contradicted,
                _ if any => trisect_rules::Standing::Isolated,
                _ => trisect_rules::Standing::Leaning,
            };
            assert_eq!(verdict.standing, expected, "{found:?}");
            let isolated = expected == trisect_rules::Standing::Isolated;
            assert!(!isolated || proven(verdict.side.unwrap()), "{found:?}");
        }
    }
}

#[test]
fn the_shortest_set_names_the_side_in_the_real_diagnosis() {
    let found = prove(&rules(), &|| true);
    let pump = found.named.iter().find(|n| n.side == Side::Pump).unwrap();
    let shortest = pump.shortest.as_ref().unwrap();
    let tests: Vec<(&str, Outcome)> = shortest
        .tests
        .iter()
        .map(|t| (t.check.as_str(), t.outcome))
        .collect();
    assert_eq!(
        tests,
        [
            ("pressure-idle", Outcome::Passed),
            ("starts", Outcome::Failed)
        ]
    );
    assert_eq!(shortest.minutes, 10.0);
    assert!(shortest.belief >= 0.95);
}

/// Eleven checks: small enough for an unoptimised test. `tests/suite` proves the whole set.
#[test]
fn the_shipped_proof_of_outside_is_searched() {
    let rules = shipped_rule_set("distributor-pump-12v").unwrap();
    let target = Target {
        side: Side::Outside,
        suspect: None,
    };
    let searched = gate::search(&rules, target, &|| true);
    assert_eq!((searched.checks, searched.combinations), (11, 177_147));
    // First proof: six passed, of two one failed (9 combinations less the 4 without a failure), three checks of
    // any outcome. Second: one passed, of three one failed (27 less 8), seven of any outcome. Both: counted once.
    assert_eq!(searched.open, 5 * 27 + 19 * 2187 - 5 * 19);
    assert!(searched.unproven.is_empty() && searched.withheld.is_empty());
    let edges = edge::search(&rules, target, &|| true);
    assert_eq!((edges.diagnosed, edges.unproven.len()), (2 * 15 + 3 * 5, 0));
}

/// Told to stop at once, it says so, and proves nothing.
#[test]
fn a_search_that_is_stopped_says_so() {
    let asked = std::cell::Cell::new(0);
    let found = prove(&rules(), &|| {
        asked.set(asked.get() + 1);
        asked.get() < 2
    });
    assert!(!found.finished && !found.proven, "{found:?}");
    let whole = prove(&rules(), &|| true);
    assert!(whole.finished && whole.proven);
}
