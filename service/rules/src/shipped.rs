//! The rule sets that come with the program.

use crate::{RuleSet, examine};

const SHIPPED: &[(&str, &str)] = &[(
    "distributor-pump-12v",
    include_str!("../rulesets/distributor-pump-12v.toml"),
)];

/// The shipped rule sets: id and text.
pub const fn shipped() -> &'static [(&'static str, &'static str)] {
    SHIPPED
}

/// A shipped rule set, read; `None` for an id that is not shipped.
pub fn shipped_rule_set(id: &str) -> Option<RuleSet> {
    let (_, text) = SHIPPED.iter().find(|(known, _)| *known == id)?;
    examine(text).rule_set
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]

    use super::*;
    use crate::{Bound, Drive, Phase, ProofTarget, Side, Take};

    fn pump() -> RuleSet {
        shipped_rule_set("distributor-pump-12v").unwrap()
    }

    #[test]
    fn every_shipped_rule_set_is_without_defects_and_under_its_id() {
        for (id, text) in shipped() {
            let examination = examine(text);
            assert_eq!(examination.defects, [], "{id}");
            assert_eq!(examination.rule_set.unwrap().id, *id);
        }
        assert!(shipped_rule_set("none").is_none());
    }

    fn check<'a>(ids: impl Iterator<Item = &'a String>, expected: &str) {
        let ids: Vec<&str> = ids.map(String::as_str).collect();
        assert_eq!(ids, expected.split_whitespace().collect::<Vec<_>>());
    }

    #[test]
    fn the_trade_is_all_there() {
        let rules = pump();
        check(
            rules.test_points.iter().map(|p| &p.id),
            "battery engine-speed ambient-temperature fuel-temperature tank-suction
             filter-inlet-pressure pump-inlet-pressure positive-cable-drop ground-cable-drop
             pump-feed-drop pump-ground-drop controller-feed-drop controller-ground-drop
             lift-pump-feed-drop accelerator-signal bypass-current lift-pump-current
             harness-continuity harness-isolation bus-termination",
        );
        check(rules.derived.iter().map(|d| &d.id), "filter-drop");
        check(
            rules.suspects.iter().map(|s| &s.id),
            "tank-empty suction-restricted suction-air-leak lift-pump-dead lift-pump-weak
             filter-plugged fuel-waxed overflow-valve-open battery-weak cable-resistance
             starter-slow controller-no-feed controller-ground-bad controller-dead
             controller-commands-full accelerator-sensor-bad pump-relay-or-fuse harness-open
             harness-short connector-pins-bad data-bus-fault lift-pump-not-switched
             speed-sensor-dead pump-control-unit-dead pump-control-unit-hot metering-stuck-shut
             metering-stuck-open timing-stuck pump-rotor-worn low-compression injectors-bad
             air-intake-blocked",
        );
        check(
            rules.checks.iter().map(|c| &c.id),
            "fuel-seen battery-rest battery-cranking cranking-speed positive-cable ground-cable
             tank-suction lift-pump-runs lift-pump-feed inlet-pressure-cranking
             inlet-pressure-idle inlet-pressure-loaded inlet-pressure-ripple filter-drop air-seen
             pressure-holds connector-pins pump-feed pump-ground controller-feed
             controller-ground controller-answers engine-speed-seen harness-continuity
             harness-isolation bus-termination accelerator-sweep bypass-click bypass-current
             bypass-start bypass-high-idle swap-back bypass-runs-hot calm-on-harness
             calm-on-bypass smoke-cranking heat-dependence intake-clear timing-follows
             compression-good injectors-spray",
        );
        check(
            rules.complaints.iter().map(|c| &c.id),
            "cranks-no-start races-after-start stalls hard-start low-power",
        );
    }

    /// Limits and shares are the trade's; probabilities are what the machine model made of them.
    #[test]
    fn numbers_of_the_trade() {
        let rules = pump();
        let check = |id: &str| &rules.checks[rules.check_index(id).unwrap()];
        let suspect = |id: &str| rules.suspect_index(id).unwrap();

        let cranking = check("inlet-pressure-cranking").measured().unwrap();
        assert_eq!(
            (cranking.take, cranking.after, cranking.over),
            (Take::Minimum, 1_000_000_000, Some(3_000_000_000))
        );
        assert_eq!(
            (cranking.otherwise, &cranking.phases[..]),
            (0.005, &[Phase::Cranking][..])
        );
        assert!(cranking.fails.contains(&(suspect("lift-pump-weak"), 0.98)));
        assert!(
            matches!(cranking.at_least, Some(Bound::Fixed(pa)) if (pa / 6894.757 - 5.0).abs() < 1e-5)
        );

        let Some(Bound::Table { by, rows }) =
            &check("battery-cranking").measured().unwrap().at_least
        else {
            panic!("no table")
        };
        assert_eq!(
            (rules.point_id(*by), rows.len()),
            ("ambient-temperature", 8)
        );
        assert_eq!((rows[0].1, rows[7]), (8.5, (294.15, 9.6)));
        assert!((rows[0].0 - 255.15).abs() < 1e-9);

        let start = check("bypass-start").asked().unwrap();
        assert_eq!(start.otherwise, [0.99, 0.005, 0.005]);
        assert!(
            start
                .expect
                .contains(&(suspect("pump-control-unit-dead"), vec![0.02, 0.052, 0.928]))
        );
        assert_eq!(start.expect.len(), 21);
        assert_eq!(check("swap-back").asked().unwrap().expect.len(), 14);
        assert_eq!(
            check("calm-on-harness").measured().unwrap().drive,
            Some(Drive::Harness)
        );
        assert_eq!(
            check("calm-on-bypass").measured().unwrap().drive,
            Some(Drive::Bypass)
        );
        assert_eq!(
            check("accelerator-sweep").measured().unwrap().otherwise,
            0.01
        );

        assert_eq!(rules.suspects.iter().map(|s| s.share).sum::<f64>(), 1480.0);
        assert_eq!(rules.links.len(), 36);
        assert!(rules.links.iter().all(|link| link.times == 10.0
            && rules.suspects[link.first].side == Side::Supply
            && rules.suspects[link.second].side == Side::Pump));
        let no_start = &rules.complaints[0];
        assert_eq!((no_start.otherwise, no_start.given.len()), (0.02, 29));
        assert!(no_start.given.contains(&(suspect("tank-empty"), 0.98)));
        assert!(rules.checks.iter().all(|c| c.needs.is_empty()));
    }

    #[test]
    fn every_side_can_be_proven_and_a_controller_only_beside_its_harness() {
        let rules = pump();
        let count =
            |target: ProofTarget| rules.proofs.iter().filter(|p| p.target == target).count();
        assert_eq!(
            Side::ALL.map(|side| count(ProofTarget::Side(side))),
            [2, 3, 6, 2]
        );
        let controllers = ["controller-dead", "controller-commands-full"];
        let named = controllers
            .map(|id| rules.suspect_index(id).unwrap())
            .to_vec();
        assert_eq!(count(ProofTarget::Suspects(named)), 1);
    }

    /// The advice for a complaint must be able to complete the proof of a side
    /// that the complaint speaks for.
    #[test]
    fn no_complaint_leaves_out_all_that_proves_a_side_it_fits() {
        let rules = pump();
        for complaint in &rules.complaints {
            let left_out = |check: &usize| complaint.leaves_out.contains(check);
            for (suspect, _) in &complaint.given {
                let side = rules.suspects[*suspect].side;
                let provable = rules.proofs.iter().any(|proof| {
                    proof.target == ProofTarget::Side(side)
                        && !proof.passed.iter().chain(&proof.failed).any(left_out)
                        && (proof.any_failed.is_empty() || !proof.any_failed.iter().all(left_out))
                });
                assert!(provable, "{}: {side}", complaint.id);
            }
        }
    }
}
