//! What a survey found.

use std::collections::BTreeMap;

use serde::Serialize;
use trisect_rules::{RuleSet, Side};

use crate::bins::Bins;
use crate::job::Outcome;
use crate::run::Survey;
use crate::stats::{Share, quantile};

/// How many of the worst jobs are listed.
pub const WORST: usize = 20;

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
    /// A side was isolated, of the machines without one.
    pub isolated_healthy: Share,
    /// The isolated side has a fault, of all isolated.
    pub right_side: Share,
    /// The likeliest suspect at the end is present, of all isolated.
    pub right_suspect: Share,
    /// A suspect was named, of all isolated.
    pub named: Share,
    /// The named suspect is present, of all named.
    pub named_right: Share,
    /// The pump was isolated though it was good, of all machines.
    pub pump_condemned_good: Share,
    /// The pump was isolated though the supply was bad, of all machines.
    pub pump_condemned_supply_bad: Share,
    /// The pump was isolated though it was good and the supply bad, of all machines.
    pub pump_condemned_good_supply_bad: Share,
    /// The side isolated first was given up while looking for the suspect, of all isolated.
    pub recanted: Share,
    /// Why machines with a fault were not isolated, the most frequent first.
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
    /// The same by the fixed checklist.
    pub checklist: Minutes,
    /// Minutes until the complaint is gone when parts are exchanged first.
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

/// Tests and minutes of one way to work; a job without result counts as endless.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
#[allow(missing_docs, reason = "the fields say it")]
pub struct Minutes {
    pub median_minutes: Option<f64>,
    pub ninth_decile_minutes: Option<f64>,
    pub median_tests: Option<f64>,
    /// Came to a result.
    pub isolated: Share,
    /// Of these, the result was right.
    pub right: Share,
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
    /// How many of them were isolated on its side.
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

/// One of the worst jobs.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Worst {
    /// Its number in the survey.
    pub machine: u64,
    /// What was wrong with it, with degrees; empty if nothing.
    pub faults: String,
    /// What was said.
    pub said: String,
    /// What makes it bad.
    pub because: &'static str,
    /// Minutes it took.
    pub minutes: f64,
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
            isolated_healthy: Share::new(
                counts.count(|o| o.isolated() && o.faults.is_empty()),
                all - faulty,
            ),
            right_side: Share::new(counts.count(|o| counts.right_side(o)), isolated),
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
            recanted: Share::new(counts.count(|o| o.recanted), isolated),
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
            worst: counts.worst(),
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

    fn right_side(&self, outcome: &Outcome) -> bool {
        outcome.side.is_some_and(|side| self.bad(outcome, side))
    }

    fn condemned(&self, outcome: &Outcome) -> bool {
        outcome.side == Some(Side::Pump)
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
                self.right_side(o),
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
                right_side: alone().filter(|o| self.right_side(o)).count() as u64,
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

    /// How bad a job came out: the higher, the worse.
    fn badness(&self, outcome: &Outcome) -> (u8, f64, &'static str) {
        let wrong = outcome.isolated() && !self.right_side(outcome);
        let truth: f64 = Side::ALL
            .into_iter()
            .filter(|side| self.bad(outcome, *side))
            .map(|side| outcome.beliefs[side.index()])
            .fold(0.0, f64::max);
        let supply = self.bad(outcome, Side::Supply);
        match outcome.side {
            Some(Side::Pump) if wrong && supply => {
                (6, 1.0 - truth, "pump condemned though good, supply bad")
            }
            Some(Side::Pump) if wrong => (5, 1.0 - truth, "pump condemned though good"),
            Some(Side::Pump) if supply => (4, 1.0 - truth, "pump condemned, supply bad"),
            Some(_) if wrong && !outcome.faults.is_empty() => (3, 1.0 - truth, "wrong side"),
            Some(_) if wrong => (2, 1.0, "nothing was wrong"),
            None if !outcome.faults.is_empty() => (1, 1.0 - truth, "not isolated"),
            _ => (0, outcome.minutes / 1e4, "took long"),
        }
    }

    fn worst(&self) -> Vec<Worst> {
        let mut ranked: Vec<_> = self.outcomes.iter().map(|o| (self.badness(o), o)).collect();
        ranked.sort_by(|(a, x), (b, y)| {
            let by = (b.0, b.1);
            by.0.cmp(&a.0)
                .then(by.1.total_cmp(&a.1))
                .then(x.index.cmp(&y.index))
        });
        ranked
            .into_iter()
            .take(WORST)
            .map(|((_, _, because), o)| Worst {
                machine: o.index,
                faults: o.words.clone(),
                said: match o.side {
                    Some(side) => format!("isolated: {side}"),
                    None => o.why.clone().unwrap_or_else(|| o.standing.to_string()),
                },
                because,
                minutes: o.minutes,
            })
            .collect()
    }
}

/// Jobs as (came to a result, the right one, tests, minutes).
fn minutes(jobs: impl Iterator<Item = (bool, bool, f64, f64)>) -> Minutes {
    let (mut tests, mut minutes) = (Vec::new(), Vec::new());
    let (mut isolated, mut right) = (0, 0);
    for (came, was_right, job_tests, job_minutes) in jobs {
        isolated += u64::from(came);
        right += u64::from(came && was_right);
        let endless = |value: f64| if came { value } else { f64::INFINITY };
        tests.push(endless(job_tests));
        minutes.push(endless(job_minutes));
    }
    Minutes {
        isolated: Share::new(isolated, minutes.len() as u64),
        right: Share::new(right, isolated),
        median_minutes: quantile(&mut minutes, 0.5),
        ninth_decile_minutes: quantile(&mut minutes, 0.9),
        median_tests: quantile(&mut tests, 0.5),
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
