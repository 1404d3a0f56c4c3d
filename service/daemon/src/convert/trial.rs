//! What came of trying cases against a rule set.

use trisect_diagnosis::trial::{Change, Coverage, Difference, Reached, Slack};
use trisect_wire::types as wire;

/// One thing that came out otherwise.
pub(crate) fn difference(found: Difference) -> wire::Difference {
    wire::Difference {
        what: found.what,
        expected: found.expected,
        found: found.found,
    }
}

/// What a set of cases reaches of a rule set.
pub(crate) fn coverage(found: Coverage) -> wire::Coverage {
    wire::Coverage {
        limits: reached(found.limits),
        answers: reached(found.answers),
        proofs: reached(found.proofs),
        outcomes: reached(found.outcomes),
        suspects: reached(found.suspects),
        complaints: reached(found.complaints),
    }
}

fn reached(found: Reached) -> wire::Reached {
    wire::Reached {
        all: found.all as u64,
        reached: found.reached as u64,
        unreached: found.unreached,
    }
}

/// A change that no case notices.
pub(crate) fn slack(found: Slack) -> wire::Slack {
    let none = wire::Slack {
        kind: String::new(),
        check: None,
        end: None,
        of: None,
        suspect: None,
        proof: None,
        change: found.change,
    };
    match found.of {
        Change::Limit { check, end } => wire::Slack {
            kind: "limit".to_owned(),
            check: Some(check),
            end: Some(end.to_owned()),
            ..none
        },
        Change::Need { check } => wire::Slack {
            kind: "need".to_owned(),
            check: Some(check),
            ..none
        },
        Change::Row { of, suspect } => wire::Slack {
            kind: "row".to_owned(),
            of: Some(of),
            suspect: Some(suspect),
            ..none
        },
        Change::Proof { proof } => wire::Slack {
            kind: "proof".to_owned(),
            proof: Some(proof),
            ..none
        },
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    /// What the command line says of a trial without a service, in the same JSON.
    #[test]
    fn nothing_that_was_found_is_lost() {
        let text = |text: &str| text.to_owned();
        let changes = [
            Change::Limit {
                check: text("battery-rest"),
                end: "at_least",
            },
            Change::Need {
                check: text("swap-back"),
            },
            Change::Row {
                of: text("fuel-seen"),
                suspect: text("tank-empty"),
            },
            Change::Proof {
                proof: text("supply 2"),
            },
        ];
        for of in changes {
            let change = text("dropped");
            let found = Slack { of, change };
            let said = serde_json::to_value(&found).unwrap();
            assert_eq!(serde_json::to_value(slack(found)).unwrap(), said);
        }
        let some = Reached {
            all: 3,
            reached: 2,
            unreached: vec![text("fuel-seen not-seen")],
        };
        let found = Coverage {
            limits: some.clone(),
            answers: Reached::default(),
            proofs: some.clone(),
            outcomes: Reached::default(),
            suspects: some,
            complaints: Reached::default(),
        };
        let said = serde_json::to_value(&found).unwrap();
        assert_eq!(serde_json::to_value(coverage(found)).unwrap(), said);
        let found = Difference {
            what: text("side"),
            expected: text("pump"),
            found: text("none"),
        };
        let said = serde_json::to_value(&found).unwrap();
        assert_eq!(serde_json::to_value(difference(found)).unwrap(), said);
    }
}
