//! The third way to work a job: parts are exchanged, the likely and the cheap
//! first, until the complaint is gone. Nothing is measured.
//!
//! Unlike the checklist, which stops when the same reasoning as the advice isolates
//! a side and so is a baseline for the order of tests only, this one knows no rule
//! set. It stops when the truth is that nothing is wrong any more, as if that were
//! seen at once after every part, and no exchange ever fails or spoils anything: a
//! baseline that is kinder than a shop.

use trisect_rules::RuleSet;

/// What is exchanged in turn, how long it takes in minutes, and which suspects
/// it cures (common practice, no source).
const PARTS: [(&str, f64, &[&str]); 14] = [
    ("fuel", 20.0, &["tank-empty", "fuel-waxed"]),
    ("battery", 20.0, &["battery-weak"]),
    ("filter", 30.0, &["filter-plugged"]),
    (
        "relay and fuse",
        15.0,
        &["pump-relay-or-fuse", "controller-no-feed"],
    ),
    ("lift pump", 60.0, &["lift-pump-dead", "lift-pump-weak"]),
    ("speed sensor", 30.0, &["speed-sensor-dead"]),
    ("accelerator sensor", 30.0, &["accelerator-sensor-bad"]),
    (
        "suction line",
        90.0,
        &["suction-restricted", "suction-air-leak"],
    ),
    (
        "starter and cables",
        120.0,
        &["starter-slow", "cable-resistance"],
    ),
    (
        "engine controller",
        90.0,
        &["controller-dead", "controller-commands-full"],
    ),
    (
        "pump",
        480.0,
        &[
            "pump-control-unit-dead",
            "pump-control-unit-hot",
            "metering-stuck-shut",
            "metering-stuck-open",
            "timing-stuck",
            "pump-rotor-worn",
            "overflow-valve-open",
        ],
    ),
    ("injectors", 240.0, &["injectors-bad"]),
    ("air filter", 15.0, &["air-intake-blocked"]),
    (
        "harness",
        480.0,
        &[
            "controller-ground-bad",
            "harness-open",
            "harness-short",
            "connector-pins-bad",
            "data-bus-fault",
            "lift-pump-not-switched",
        ],
    ),
];

/// What came of it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Substituted {
    /// Minutes until the last fault was gone, or everything was exchanged.
    pub minutes: f64,
    /// Parts exchanged.
    pub parts: u32,
    /// A good pump was among them.
    pub good_pump: bool,
    /// All faults are gone.
    pub cured: bool,
}

/// Exchanges parts until none of the faults is left.
pub(crate) fn substitute(rules: &RuleSet, faults: &[usize]) -> Substituted {
    let mut left: Vec<&str> = faults
        .iter()
        .map(|fault| rules.suspects[*fault].id.as_str())
        .collect();
    let mut done = Substituted::default();
    for (part, minutes, cures) in PARTS {
        if left.is_empty() && !faults.is_empty() {
            break;
        }
        done.minutes += minutes;
        done.parts += 1;
        done.good_pump |= part == "pump" && !left.iter().any(|fault| cures.contains(fault));
        left.retain(|fault| !cures.contains(fault));
    }
    done.cured = left.is_empty() && !faults.is_empty();
    done
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn check(fault: &str, minutes: f64, good_pump: bool, cured: bool) {
        let rules = trisect_rules::shipped_rule_set("distributor-pump-12v").unwrap();
        let done = substitute(&rules, &[rules.suspect_index(fault).unwrap()]);
        assert_eq!(
            (done.minutes, done.good_pump, done.cured),
            (minutes, good_pump, cured)
        );
    }

    #[test]
    fn parts_are_exchanged_until_the_fault_is_gone() {
        check("battery-weak", 40.0, false, true);
        check("pump-rotor-worn", 985.0, false, true);
        check("harness-open", 1720.0, true, true);
        check("low-compression", 1720.0, true, false);
    }
}
