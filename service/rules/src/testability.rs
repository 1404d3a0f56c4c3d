//! What the checks of a rule set can tell apart: testability figures after
//! IEEE 1522 (definitions from memory), each suspect weighted by its share.
//!
//! A fault is taken to make a check fail when it does so more often than not.
//! The set of checks it makes fail is its signature; a fault with an empty
//! signature is not detected, and faults with one signature cannot be told
//! apart however many of the checks are carried out.

use std::collections::BTreeMap;

use crate::proving::{can_fail, fails, unmeetable};
use crate::{How, Proof, ProofTarget, RuleSet, Side};

/// P(fails) from which on a fault is taken to make a check fail.
const MORE_OFTEN_THAN_NOT: f64 = 0.5;

/// What the checks of a rule set can tell apart.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Testability {
    /// Fraction of faults that some check detects.
    pub detected: f64,
    /// Fractions of the detected faults that all checks together isolate.
    pub isolated: Isolated,
    /// Suspects that cannot be told apart, in groups of two or more.
    pub ambiguity_groups: Vec<Vec<String>>,
    /// Suspects that no check detects.
    pub undetected: Vec<String>,
    /// Checks that say the same whatever is at fault.
    pub checks_that_decide_nothing: Vec<String>,
    /// Sides with suspects and without a proof that those could complete.
    pub sides_that_cannot_be_proven: Vec<Side>,
}

/// Fractions of the detected faults, by what they are isolated to.
#[derive(Clone, Copy, Debug, Default, PartialEq, serde::Serialize)]
pub struct Isolated {
    /// To suspects of one side.
    pub to_side: f64,
    /// To a single suspect.
    pub to_1: f64,
    /// To at most two suspects.
    pub to_2: f64,
    /// To at most three suspects.
    pub to_3: f64,
}

/// Works the figures out.
pub fn testability(rules: &RuleSet) -> Testability {
    let mut groups: BTreeMap<Vec<usize>, Vec<usize>> = BTreeMap::new();
    for suspect in 0..rules.suspects.len() {
        groups
            .entry(signature(rules, suspect))
            .or_default()
            .push(suspect);
    }
    let undetected = groups.remove(&Vec::new()).unwrap_or_default();
    let mut groups: Vec<Vec<usize>> = groups.into_values().collect();
    groups.sort();
    let shares =
        |suspects: &[usize]| -> f64 { suspects.iter().map(|s| rules.suspects[*s].share).sum() };
    let all: f64 = rules.suspects.iter().map(|suspect| suspect.share).sum();
    let detected: f64 = groups.iter().map(|group| shares(group)).sum();
    let isolated = |fits: &dyn Fn(&[usize]) -> bool| -> f64 {
        let shares: f64 = groups
            .iter()
            .filter(|group| fits(group))
            .map(|group| shares(group))
            .sum();
        if detected > 0.0 {
            // Plus zero: the empty sum is -0.0.
            shares / detected + 0.0
        } else {
            0.0
        }
    };
    let one_side = |group: &[usize]| {
        group
            .windows(2)
            .all(|pair| rules.suspects[pair[0]].side == rules.suspects[pair[1]].side)
    };
    let ids = |suspects: &[usize]| -> Vec<String> {
        suspects
            .iter()
            .map(|s| rules.suspects[*s].id.clone())
            .collect()
    };
    Testability {
        detected: if all > 0.0 { detected / all + 0.0 } else { 0.0 },
        isolated: Isolated {
            to_side: isolated(&one_side),
            to_1: isolated(&|group| group.len() <= 1),
            to_2: isolated(&|group| group.len() <= 2),
            to_3: isolated(&|group| group.len() <= 3),
        },
        ambiguity_groups: groups
            .iter()
            .filter(|g| g.len() > 1)
            .map(|g| ids(g))
            .collect(),
        undetected: ids(&undetected),
        checks_that_decide_nothing: idle_checks(rules),
        sides_that_cannot_be_proven: unprovable_sides(rules),
    }
}

/// The checks that a suspect makes fail, ascending.
fn signature(rules: &RuleSet, suspect: usize) -> Vec<usize> {
    let checks = rules.checks.iter().enumerate();
    let fails = checks.filter(|(_, check)| fails(check, suspect) >= MORE_OFTEN_THAN_NOT);
    fails.map(|(index, _)| index).collect()
}

fn idle_checks(rules: &RuleSet) -> Vec<String> {
    let idle = rules.checks.iter().filter(|check| match &check.how {
        How::Measured(measured) => measured.fails.iter().all(|(_, p)| *p == measured.otherwise),
        How::Asked(asked) => asked.expect.iter().all(|(_, row)| *row == asked.otherwise),
    });
    idle.map(|check| check.id.clone()).collect()
}

fn unprovable_sides(rules: &RuleSet) -> Vec<Side> {
    let with_suspects = Side::ALL
        .into_iter()
        .filter(|side| rules.suspects.iter().any(|s| s.side == *side));
    with_suspects
        .filter(|side| !rules.proofs.iter().any(|proof| proves(rules, proof, *side)))
        .collect()
}

/// Whether a proof is one of this side, and the side's own suspects can bring
/// about what it wants to see failed.
fn proves(rules: &RuleSet, proof: &Proof, side: Side) -> bool {
    let of_side = |suspect: &usize| rules.suspects[*suspect].side == side;
    let suspects: Vec<usize> = (0..rules.suspects.len()).filter(of_side).collect();
    let can_fail = |check: &usize| {
        let check = &rules.checks[*check];
        suspects.iter().any(|suspect| can_fail(check, *suspect))
    };
    let any = |checks: &[usize]| checks.is_empty() || checks.iter().any(can_fail);
    proof.target == ProofTarget::Side(side)
        && unmeetable(rules, proof, &[]).is_none()
        && proof.failed.iter().all(can_fail)
        && any(&proof.any_failed)
        && any(&proof.measured_failed)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::{examine, shipped_rule_set};

    /// Suspects `a` … with side and share; checks with the suspects that make them fail; proofs.
    fn rule_set(
        suspects: &[(&str, &str, u32)],
        checks: &[(&str, &[&str])],
        proofs: &str,
    ) -> RuleSet {
        let mut text = "format = 1\nid = \"t\"\nversion = \"1\"\ntitle = \"T\"\n\
            [[test_point]]\nid = \"p\"\ntitle = \"P\"\nquantity = \"voltage\"\nunit = \"V\"\n"
            .to_owned();
        for (id, side, share) in suspects {
            text += &format!(
                "[[suspect]]\nid = \"{id}\"\ntitle = \"S\"\nside = \"{side}\"\nshare = {share}\n"
            );
        }
        for (id, fails) in checks {
            text += &format!(
                "[[check]]\nid = \"{id}\"\ntitle = \"C\"\npoint = \"p\"\nphase = [\"off\"]\ntake = \"last\"\n\
                 limit = {{ at_least = \"1 V\" }}\nminutes = 1\n[check.fails]\notherwise = 0.01\n"
            );
            for suspect in *fails {
                text += &format!("{suspect} = 0.8\n");
            }
        }
        let examined = examine(&(text + proofs));
        examined
            .rule_set
            .unwrap_or_else(|| panic!("{:#?}", examined.defects))
    }

    #[test]
    fn figures_are_weighted_by_share() {
        let suspects = [
            ("a", "supply", 1),
            ("b", "supply", 2),
            ("c", "supply", 3),
            ("d", "pump", 3),
            ("e", "pump", 1),
        ];
        // a alone; b and c alike; d as they are, but for one check more; e unseen.
        let checks: [(&str, &[&str]); 3] = [("x", &["a"]), ("y", &["b", "c", "d"]), ("z", &["d"])];
        let found = testability(&rule_set(&suspects, &checks, ""));
        assert_eq!(found.detected, 0.9);
        let expected = Isolated {
            to_side: 1.0,
            to_1: 4.0 / 9.0,
            to_2: 1.0,
            to_3: 1.0,
        };
        assert_eq!(found.isolated, expected);
        assert_eq!(found.ambiguity_groups, [["b", "c"]]);
        assert_eq!(found.undetected, ["e"]);
    }

    #[test]
    fn a_group_across_sides_is_isolated_to_none() {
        let suspects = [("a", "supply", 1), ("b", "pump", 1), ("c", "pump", 2)];
        let checks: [(&str, &[&str]); 2] = [("x", &["a", "b"]), ("y", &["c"])];
        let found = testability(&rule_set(&suspects, &checks, ""));
        assert_eq!(
            (
                found.isolated.to_side,
                found.isolated.to_1,
                found.isolated.to_2
            ),
            (0.5, 0.5, 1.0)
        );
    }

    #[test]
    fn what_decides_or_proves_nothing_is_named() {
        let suspects = [("a", "supply", 1), ("b", "pump", 1), ("c", "controller", 1)];
        let checks: [(&str, &[&str]); 2] = [("x", &["a", "b", "c"]), ("y", &[])];
        // The controller has no proof; the pump's wants a failure that no pump suspect brings about.
        let proofs = "[[proof]]\nside = \"supply\"\nmeasured_failed = [\"x\", \"y\"]\n\
            [[proof]]\nside = \"pump\"\npassed = [\"x\"]\nfailed = [\"y\"]\n";
        let found = testability(&rule_set(&suspects, &checks, proofs));
        assert_eq!(found.checks_that_decide_nothing, ["y"]);
        assert_eq!(
            found.sides_that_cannot_be_proven,
            [Side::Controller, Side::Pump]
        );
    }

    #[test]
    fn the_shipped_rule_set_can_prove_every_side() {
        let found = testability(&shipped_rule_set("distributor-pump-12v").unwrap());
        assert_eq!(found.sides_that_cannot_be_proven, []);
        assert_eq!(found.checks_that_decide_nothing, Vec::<String>::new());
        assert!(found.detected > 0.95, "{found:#?}");
        assert!(
            found.isolated.to_1 <= found.isolated.to_2
                && found.isolated.to_2 <= found.isolated.to_3
        );
    }
}
