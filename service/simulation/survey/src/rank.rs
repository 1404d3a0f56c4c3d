//! Which jobs came out worst, and by which of their verdicts.

use serde::Serialize;
use trisect_rules::Side;

use crate::job::Outcome;

/// How many of the worst jobs are listed.
const WORST: usize = 20;

/// One of the worst jobs.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Worst {
    /// Its number in the survey.
    pub machine: u64,
    /// What was wrong with it, with degrees; empty if nothing.
    pub faults: String,
    /// What was said by the verdict that makes it bad.
    pub said: String,
    /// What makes it bad.
    pub because: &'static str,
    /// Minutes of testing until that verdict.
    pub minutes: f64,
    /// What was said at the end: the side isolated then, or how the job stood.
    pub end: String,
    /// That verdict's number among the job's isolations; `None`: it is the last verdict.
    #[serde(skip)]
    pub(crate) isolation: Option<usize>,
}

impl Worst {
    /// What was said, when, and what was said at the end.
    pub(crate) fn told(&self) -> String {
        let (said, minutes) = (&self.said, self.minutes);
        match self.isolation {
            None => format!("{said}, {minutes:.0} min"),
            Some(_) => format!("{said} after {minutes:.0} min, at the end: {}", self.end),
        }
    }
}

/// How bad a job came out, and by which of its isolations.
struct Badness {
    /// The higher, the worse; equals by `by`.
    class: u8,
    by: f64,
    because: &'static str,
    isolation: Option<usize>,
}

/// A mistake that was set right later is one all the same: whoever trusted the
/// verdict had the pump out by then.
fn badness(outcome: &Outcome, truth: &[Side]) -> Badness {
    let isolations = &outcome.course.isolations;
    let bad = |side: Side| truth.contains(&side);
    let condemned = isolations.iter().position(|one| one.side == Side::Pump);
    let wrong = isolations.iter().position(|one| !bad(one.side));
    let supply = bad(Side::Supply);
    let (class, because, isolation) = match (condemned, wrong) {
        (Some(_), _) if !bad(Side::Pump) && supply => {
            (6, "pump condemned though good, supply bad", condemned)
        }
        (Some(_), _) if !bad(Side::Pump) => (5, "pump condemned though good", condemned),
        (Some(_), _) if supply => (4, "pump condemned, supply bad", condemned),
        (_, Some(_)) if !outcome.faults.is_empty() => (3, "wrong side", wrong),
        (_, Some(_)) => (2, "nothing was wrong", wrong),
        _ if isolations.is_empty() && !outcome.faults.is_empty() => (1, "not isolated", None),
        _ => (0, "took long", (!isolations.is_empty()).then_some(0)),
    };
    let beliefs = isolation.map_or(outcome.beliefs, |at| isolations[at].beliefs);
    let believed = truth.iter().map(|side| beliefs[side.index()]);
    let by = match class {
        0 => outcome.minutes,
        _ => 1.0 - believed.fold(0.0, f64::max),
    };
    Badness {
        class,
        by,
        because,
        isolation,
    }
}

/// The worst jobs, the worst first; `sides` are those of the rule set's suspects.
pub(crate) fn worst(outcomes: &[Outcome], sides: &[Side]) -> Vec<Worst> {
    let mut ranked: Vec<_> = outcomes
        .iter()
        .map(|outcome| (badness(outcome, &outcome.truth(sides)), outcome))
        .collect();
    ranked.sort_by(|(a, x), (b, y)| {
        let by_class = b.class.cmp(&a.class).then(b.by.total_cmp(&a.by));
        by_class.then(x.index.cmp(&y.index))
    });
    let ranked = ranked.into_iter().take(WORST);
    ranked.map(|(bad, outcome)| listed(&bad, outcome)).collect()
}

fn listed(bad: &Badness, outcome: &Outcome) -> Worst {
    let at = bad
        .isolation
        .and_then(|at| outcome.course.isolations.get(at));
    let (said, minutes) = match at {
        Some(at) => (format!("isolated: {}", at.side), at.minutes),
        None => {
            let why = outcome.why.clone();
            (
                why.unwrap_or_else(|| outcome.end.to_string()),
                outcome.minutes,
            )
        }
    };
    Worst {
        machine: outcome.index,
        faults: outcome.words.clone(),
        said,
        because: bad.because,
        minutes,
        end: match outcome.course.last {
            Some(side) => side.to_string(),
            None => outcome.end.to_string(),
        },
        isolation: bad.isolation,
    }
}
