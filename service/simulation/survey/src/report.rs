//! What a survey found.

use std::collections::BTreeMap;

use serde::Serialize;
use trisect_rules::{RuleSet, Side};

use crate::bins::Bins;
use crate::course::Recanted;
use crate::job::Outcome;
use crate::minutes::{Minutes, minutes};
use crate::rank::{Worst, worst};
use crate::run::Survey;
use crate::stats::Share;

/// A survey's report. Shares are of the machines that the field's comment says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Report {
    /// The rule set's id, version and digest.
    pub ruleset: [String; 3],
    /// How many machines were drawn, and by which seed.
    pub machines: u64,
    /// The seed.
    pub seed: u64,
    /// Machines with a fault, with two or more, and with none.
    pub faulty: u64,
    /// Machines with two faults or more.
    pub double: u64,
    /// Machines whose operator complained although nothing showed.
    pub vague: u64,
    /// A side was isolated, of the machines with a fault.
    pub isolated: Share,
    /// A side is isolated by the last verdict, of the machines with a fault.
    pub isolated_at_end: Share,
    /// A side was isolated, of the machines without one.
    pub isolated_healthy: Share,
    /// The side isolated first has a fault, of all isolated.
    pub right_side: Share,
    /// The side that the last verdict isolates has a fault, of all that it isolates.
    pub right_side_at_end: Share,
    /// The likeliest suspect at the end is present, of all isolated.
    pub right_suspect: Share,
    /// A suspect was named, of all isolated.
    pub named: Share,
    /// The named suspect is present, of all named.
    pub named_right: Share,
    /// Any verdict after a test isolated the pump though it was good, of all machines;
    /// one that was given up later counts too.
    pub pump_condemned_good: Share,
    /// The same of the last verdict alone: what was not set right by itself.
    pub pump_condemned_good_at_end: Share,
    /// Any verdict isolated the pump though the supply was bad, of all machines.
    pub pump_condemned_supply_bad: Share,
    /// Any verdict isolated the pump though it was good and the supply bad, of all machines.
    pub pump_condemned_good_supply_bad: Share,
    /// The side isolated first is not the one that the last verdict isolates, of all isolated.
    pub recanted: Share,
    /// Of these, another side is isolated at the end; of all isolated.
    pub recanted_to_other_side: Share,
    /// Of these, no side is isolated at the end; of all isolated.
    pub recanted_to_open: Share,
    /// Why machines with a fault were never isolated, the most frequent first.
    pub not_isolated: Vec<Reason>,
    /// Belief in the sides against truth when the jobs were decided.
    pub calibration: Bins,
    /// Expected calibration error of that.
    pub expected_calibration_error: f64,
    /// The same for the leading side alone.
    pub calibration_leading: Bins,
    /// Expected calibration error of that.
    pub expected_calibration_error_leading: f64,
    /// The same after every test of every job.
    pub calibration_along: Bins,
    /// Expected calibration error of that.
    pub expected_calibration_error_along: f64,
    /// Tests and minutes to isolation, machines with a fault.
    pub advised: Minutes,
    /// The same by the fixed checklist. It stops when this same reasoning isolates
    /// a side, so what it is compared in is the order of the tests and nothing else.
    pub checklist: Minutes,
    /// Minutes until the complaint is gone when parts are exchanged first. No verdict
    /// stops it: it ends when the machine is sound, and takes that as seen at once.
    pub substitution: Minutes,
    /// A good pump was exchanged on the way, of the machines with a fault.
    pub substitution_good_pump: Share,
    /// By how much the median minutes are below the checklist's, a share.
    pub minutes_below_checklist: Option<f64>,
    /// For each suspect that was the only fault: what was said.
    pub confusion: Vec<Confused>,
    /// The twenty worst jobs, the worst first.
    pub worst: Vec<Worst>,
}

/// A reason and how often it was one.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[allow(missing_docs, reason = "the fields say it")]
pub struct Reason {
    pub why: String,
    pub count: u64,
}

/// What was said of machines with one fault.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Confused {
    /// The suspect present.
    pub suspect: String,
    /// Its side.
    pub side: Side,
    /// How many machines had it alone.
    pub machines: u64,
    /// How many of them were isolated on its side first.
    pub right_side: u64,
    /// How many were isolated on no side.
    pub not_isolated: u64,
    /// The likeliest suspect at the end, by suspect, the most frequent first.
    pub said: Vec<Mistake>,
    /// Why it was not isolated, the most frequent first.
    pub why: Vec<Reason>,
}

/// A suspect and how often it was thought likeliest.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[allow(missing_docs, reason = "the fields say it")]
pub struct Mistake {
    pub suspect: String,
    pub count: u64,
}

struct Counts<'a> {
    rules: &'a RuleSet,
    sides: Vec<Side>,
    outcomes: &'a [Outcome],
}

impl Report {
    pub(crate) fn of(rules: &RuleSet, wanted: &Survey, outcomes: &[Outcome]) -> Report {
        let counts = Counts {
            rules,
            sides: rules.suspects.iter().map(|s| s.side).collect(),
            outcomes,
        };
        let faulty = counts.count(|o| !o.faults.is_empty());
        let isolated = counts.count(Outcome::isolated);
        let named = counts.count(|o| o.isolated() && o.named.is_some());
        let all = outcomes.len() as u64;
        let (calibration, leading, along) = counts.calibration();
        let (advised, listed) = (counts.advised(), counts.listed());
        let below = advised.median_minutes.zip(listed.median_minutes);
        Report {
            ruleset: [&rules.id, &rules.version, &rules.digest].map(String::clone),
            machines: wanted.machines,
            seed: wanted.seed,
            faulty,
            double: counts.count(|o| o.faults.len() > 1),
            vague: counts.count(|o| o.vague),
            isolated: Share::new(
                counts.count(|o| o.isolated() && !o.faults.is_empty()),
                faulty,
            ),
            isolated_at_end: Share::new(
                counts.count(|o| o.course.last.is_some() && !o.faults.is_empty()),
                faulty,
            ),
            isolated_healthy: Share::new(
                counts.count(|o| o.isolated() && o.faults.is_empty()),
                all - faulty,
            ),
            right_side: Share::new(counts.count(|o| counts.right(o, o.first())), isolated),
            right_side_at_end: Share::new(
                counts.count(|o| counts.right(o, o.course.last)),
                counts.count(|o| o.course.last.is_some()),
            ),
            right_suspect: Share::new(
                counts.count(|o| o.isolated() && o.top.is_some_and(|top| o.faults.contains(&top))),
                isolated,
            ),
            named: Share::new(named, isolated),
            named_right: Share::new(
                counts.count(|o| o.isolated() && o.named.is_some_and(|n| o.faults.contains(&n))),
                named,
            ),
            pump_condemned_good: Share::new(
                counts.count(|o| counts.condemned(o) && !counts.bad(o, Side::Pump)),
                all,
            ),
            pump_condemned_good_at_end: Share::new(
                counts.count(|o| o.course.last == Some(Side::Pump) && !counts.bad(o, Side::Pump)),
                all,
            ),
            pump_condemned_supply_bad: Share::new(
                counts.count(|o| counts.condemned(o) && counts.bad(o, Side::Supply)),
                all,
            ),
            pump_condemned_good_supply_bad: Share::new(
                counts.count(|o| {
                    counts.condemned(o) && !counts.bad(o, Side::Pump) && counts.bad(o, Side::Supply)
                }),
                all,
            ),
            recanted: Share::new(counts.count(|o| o.course.recanted().is_some()), isolated),
            recanted_to_other_side: Share::new(
                counts.count(|o| o.course.recanted() == Some(Recanted::OtherSide)),
                isolated,
            ),
            recanted_to_open: Share::new(
                counts.count(|o| o.course.recanted() == Some(Recanted::Open)),
                isolated,
            ),
            not_isolated: reasons(
                outcomes
                    .iter()
                    .filter(|o| !o.faults.is_empty())
                    .filter_map(|o| o.why.as_deref()),
            ),
            expected_calibration_error: calibration.expected_error(),
            calibration,
            expected_calibration_error_leading: leading.expected_error(),
            calibration_leading: leading,
            expected_calibration_error_along: along.expected_error(),
            calibration_along: along,
            advised,
            checklist: listed,
            substitution: counts.substituted(),
            substitution_good_pump: Share::new(
                counts.count(|o| !o.faults.is_empty() && o.substituted.good_pump),
                faulty,
            ),
            minutes_below_checklist: below.map(|(a, b)| 1.0 - a / b),
            confusion: counts.confusion(),
            worst: worst(outcomes, &counts.sides),
        }
    }
}

impl Counts<'_> {
    fn count(&self, is: impl Fn(&Outcome) -> bool) -> u64 {
        self.outcomes.iter().filter(|o| is(o)).count() as u64
    }

    fn bad(&self, outcome: &Outcome, side: Side) -> bool {
        outcome.truth(&self.sides).contains(&side)
    }

    /// Whether a side was said, and has a fault.
    fn right(&self, outcome: &Outcome, said: Option<Side>) -> bool {
        said.is_some_and(|side| self.bad(outcome, side))
    }

    fn condemned(&self, outcome: &Outcome) -> bool {
        outcome.course.ever(Side::Pump)
    }

    fn calibration(&self) -> (Bins, Bins, Bins) {
        let (mut all, mut leading, mut along) = (Bins::default(), Bins::default(), Bins::default());
        for outcome in self.outcomes {
            let truth = outcome.truth(&self.sides);
            let mut top = Side::Supply;
            for side in Side::ALL {
                let belief = outcome.beliefs[side.index()];
                all.add(belief, truth.contains(&side));
                if belief > outcome.beliefs[top.index()] {
                    top = side;
                }
            }
            leading.add(outcome.beliefs[top.index()], truth.contains(&top));
            along.merge(&outcome.along);
        }
        (all, leading, along)
    }

    fn faulty(&self) -> impl Iterator<Item = &Outcome> {
        self.outcomes.iter().filter(|o| !o.faults.is_empty())
    }

    fn advised(&self) -> Minutes {
        let jobs = self.faulty().map(|o| {
            (
                o.isolated(),
                self.right(o, o.first()),
                f64::from(o.tests),
                o.minutes,
            )
        });
        minutes(jobs)
    }

    fn listed(&self) -> Minutes {
        minutes(self.faulty().map(|o| {
            let (isolated, right, tests, minutes) = o.listed;
            (isolated, right, f64::from(tests), minutes)
        }))
    }

    fn substituted(&self) -> Minutes {
        minutes(self.faulty().map(|o| {
            let s = o.substituted;
            (s.cured, s.cured, f64::from(s.parts), s.minutes)
        }))
    }

    fn confusion(&self) -> Vec<Confused> {
        let of = |suspect: usize| {
            let alone = || self.outcomes.iter().filter(move |o| o.faults == [suspect]);
            let said = alone()
                .filter(|o| o.isolated())
                .filter_map(|o| o.top)
                .map(|top| self.rules.suspects[top].id.as_str());
            Confused {
                suspect: self.rules.suspects[suspect].id.clone(),
                side: self.sides[suspect],
                machines: alone().count() as u64,
                right_side: alone().filter(|o| self.right(o, o.first())).count() as u64,
                not_isolated: alone().filter(|o| !o.isolated()).count() as u64,
                said: reasons(said)
                    .into_iter()
                    .map(|r| Mistake {
                        suspect: r.why,
                        count: r.count,
                    })
                    .collect(),
                why: reasons(alone().filter_map(|o| o.why.as_deref())),
            }
        };
        (0..self.rules.suspects.len()).map(of).collect()
    }
}

/// Counted, the most frequent first, equals by name.
fn reasons<'a>(all: impl Iterator<Item = &'a str>) -> Vec<Reason> {
    let mut counts: BTreeMap<&str, u64> = BTreeMap::new();
    for why in all {
        *counts.entry(why).or_default() += 1;
    }
    let mut found: Vec<Reason> = counts
        .into_iter()
        .map(|(why, count)| Reason {
            why: why.to_owned(),
            count,
        })
        .collect();
    found.sort_by_key(|reason| std::cmp::Reverse(reason.count));
    found
}
