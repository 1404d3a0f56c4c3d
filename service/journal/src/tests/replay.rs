//! Rows and the diagnosis's events: there and back, and ids that are unknown.

use std::sync::Arc;

use trisect_diagnosis::{Event, What};
use trisect_measure::{Amount, Flags};
use trisect_rules::{Drive, Outcome, Phase, RuleSet, examine};

use super::{Kept, batch};
use crate::{EventRow, Happened, Ids, Journal, Probe};

/// A small rule set with a measured and an asked check.
const RULES: &str = r#"
format = 1
id = "small"
version = "1.0.0"
title = "Small"

[[test_point]]
id = "battery-voltage"
title = "Battery"
quantity = "voltage"
unit = "V"

[[test_point]]
id = "pump-inlet-pressure"
title = "Inlet"
quantity = "pressure"
unit = "psi"

[[suspect]]
id = "lift-pump-weak"
side = "supply"
title = "Weak"
share = 1

[[check]]
id = "battery-rest"
title = "Battery at rest"
point = "battery-voltage"
phase = ["off"]
take = "last"
limit = { at_least = "12.4 V" }
minutes = 1
[check.fails]
otherwise = 0.1
lift-pump-weak = 0.2

[[check]]
id = "fuel-seen"
title = "Fuel seen"
ask = "Is fuel seen?"
answers = ["seen", "not-seen"]
minutes = 1
[check.expect]
otherwise = [0.9, 0.1]
lift-pump-weak = [0.2, 0.8]
"#;

fn rules() -> RuleSet {
    let examined = examine(RULES);
    examined
        .rule_set
        .unwrap_or_else(|| panic!("{:?}", examined.defects))
}

fn events() -> Vec<Event> {
    let reading = What::Reading {
        point: 1,
        amount: Amount::Below(-20_000.25),
        u: 12.5,
        flags: Flags::LOW_BATTERY,
        entered: true,
    };
    let whats = [
        reading,
        What::Phase(Phase::KeyOn),
        What::Drive(Drive::Harness),
        What::Answer {
            check: 1,
            answer: 1,
        },
        What::Outcome {
            check: 0,
            outcome: Outcome::Failed,
        },
        What::Window { point: 0 },
    ];
    whats
        .into_iter()
        .zip(1..)
        .map(|(what, at)| Event { at, what })
        .collect()
}

#[tokio::test]
async fn every_event_comes_back_from_the_journal() {
    let (kept, ids) = (Kept::with_job().await, Ids::new(&rules()));
    let rows = events()
        .iter()
        .map(|event| ids.row(event, 0).unwrap())
        .collect();
    kept.journal
        .append(batch(Some("job-1"), "bay-1", rows))
        .await
        .unwrap();
    let stored = kept.reopened().all_events("job-1").await;
    let replayed: Vec<_> = stored
        .iter()
        .map(|event| ids.event(&event.row).unwrap().unwrap())
        .collect();
    assert_eq!(replayed, events());
}

#[test]
fn unknown_ids_are_named() {
    let ids = Ids::new(&rules());
    let check = |what: Happened, expected: &str| {
        let row = EventRow {
            at: 0,
            wall: 0,
            by: None,
            what,
        };
        let unknown = ids.event(&row).unwrap_err();
        assert!(unknown.to_string().starts_with(expected), "{unknown}");
    };
    let text = |text: &str| -> Arc<str> { Arc::from(text) };
    let probe = |point: &str| Probe {
        point: text(point),
        instrument: None,
        channel: None,
    };
    check(
        Happened::Window(probe("elsewhere")),
        "point elsewhere is not in rule set",
    );
    let answer = |check: &str, answer: &str| Happened::Answer {
        check: text(check),
        answer: text(answer),
    };
    check(answer("fuel-heard", "seen"), "check fuel-heard");
    check(answer("fuel-seen", "heard"), "answer heard");
    check(answer("battery-rest", "seen"), "answer seen");
    let window = Event {
        at: 0,
        what: What::Window { point: 2 },
    };
    assert_eq!(ids.row(&window, 0).unwrap_err().what, "point");
}
