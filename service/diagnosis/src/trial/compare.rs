//! Where a verdict is not what a case expects.

use serde::Serialize;
use trisect_rules::Side;
use trisect_rules::case::Expect;

use crate::Verdict;

/// One thing that came out otherwise.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Difference {
    /// What: `standing`, `side`, `belief.supply`, `outcomes.battery-rest`, ...
    pub what: String,
    /// What the case expects.
    pub expected: String,
    /// What came out.
    pub found: String,
}

/// Everything that came out otherwise, in the order of the documentation; what a case does not speak
/// of is not looked at.
pub fn differences(expect: &Expect, verdict: &Verdict) -> Vec<Difference> {
    let mut found = Found::default();
    if let Some(standing) = expect.standing {
        found.compare(
            "standing",
            &standing.to_string(),
            &verdict.standing.to_string(),
        );
    }
    if let Some(side) = expect.side {
        found.compare("side", side.word(), verdict.side.map_or("none", Side::word));
    }
    if let Some(also) = &expect.also {
        found.compare("also", &sides(also), &sides(&verdict.also));
    }
    if let Some(suspect) = &expect.top_suspect {
        let top = verdict
            .suspects
            .first()
            .map_or("none", |suspect| &suspect.id);
        found.compare("top_suspect", suspect, top);
    }
    if let Some(suspect) = &expect.named {
        let suspect = suspect.as_deref().unwrap_or("none");
        found.compare("named", suspect, verdict.named.as_deref().unwrap_or("none"));
    }
    for (side, (low, high)) in &expect.belief {
        let belief = verdict.sides.of(*side);
        if !(*low..=*high).contains(&belief) {
            let what = format!("belief.{side}");
            found.add(what, format!("{low} to {high}"), format!("{belief:.4}"));
        }
    }
    for (check, outcome) in &expect.outcomes {
        let what = format!("outcomes.{check}");
        found.compare(&what, outcome.word(), verdict.outcome(check).word());
    }
    if let Some(check) = &expect.next {
        found.compare(
            "next",
            check,
            verdict.next.first().map_or("none", |next| &next.check),
        );
    }
    found.0
}

#[derive(Default)]
struct Found(Vec<Difference>);

impl Found {
    fn compare(&mut self, what: &str, expected: &str, found: &str) {
        if expected != found {
            self.add(what.to_owned(), expected.to_owned(), found.to_owned());
        }
    }

    fn add(&mut self, what: String, expected: String, found: String) {
        self.0.push(Difference {
            what,
            expected,
            found,
        });
    }
}

/// Sides as a set, in the order of the documentation.
fn sides(sides: &[Side]) -> String {
    let there: Vec<&str> = Side::ALL
        .iter()
        .filter(|side| sides.contains(side))
        .map(|side| side.word())
        .collect();
    if there.is_empty() {
        "none".to_owned()
    } else {
        there.join(", ")
    }
}
