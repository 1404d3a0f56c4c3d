//! The numbers of a rule set beside those of the machine model: for every
//! suspect alone, and for nothing at all, how often every check fails.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use serde::Serialize;
use trisect_bench::machine::Random;
use trisect_diagnosis::{Model, Outcome};
use trisect_rules::{How, RuleSet};

use crate::SurveyError;
use crate::draw::{Drawn, Lot};
use crate::hands::Hands;
use crate::stats::Share;

/// A row of a check or a complaint: a suspect, and how often the check fails, or
/// the complaint is made, beside it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Number {
    /// The check, or the complaint.
    pub check: String,
    /// The only suspect present; `None`: nothing is wrong.
    pub suspect: Option<String>,
    /// P(fails) as the rule set has it; of an asked check, P(any but the healthiest answer).
    pub ruleset: f64,
    /// How often it failed in the model, of the machines on which it could be
    /// carried out and was decided.
    pub model: Share,
    /// How often it could not be carried out, or was left undecided.
    pub open: Share,
}

impl Number {
    /// How far the rule set's number lies outside the model's interval.
    pub fn apart(&self) -> f64 {
        (self.model.low - self.ruleset)
            .max(self.ruleset - self.model.high)
            .max(0.0)
    }
}

#[derive(Clone, Copy, Default)]
struct Count {
    failed: u64,
    decided: u64,
    open: u64,
}

/// Tries every check on `machines` machines of every suspect, and of none, each
/// brought in with its complaint.
///
/// # Errors
/// Suspects that the machine model does not have.
pub fn compare(
    model: &Arc<Model>,
    machines: u64,
    seed: u64,
    threads: usize,
) -> Result<Vec<Number>, SurveyError> {
    let rules = model.rules();
    let lot = Lot::new(rules)?;
    let next = AtomicUsize::new(0);
    let rows = rules.suspects.len() + 1;
    let worker = || {
        let mut found = Vec::new();
        loop {
            let row = next.fetch_add(1, Ordering::Relaxed);
            if row >= rows {
                return found;
            }
            let suspect = (row < rules.suspects.len()).then_some(row);
            found.push((row, counts(model, &lot, suspect, machines, seed)));
        }
    };
    let mut found: Vec<(usize, Vec<Count>)> = std::thread::scope(|scope| {
        let others: Vec<_> = (1..threads.max(1)).map(|_| scope.spawn(worker)).collect();
        let mut found = worker();
        for other in others {
            match other.join() {
                Ok(more) => found.extend(more),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        found
    });
    found.sort_by_key(|(row, _)| *row);
    let numbers = found.iter().flat_map(|(row, counts)| {
        let suspect = (*row < rules.suspects.len()).then_some(*row);
        counts
            .iter()
            .enumerate()
            .map(move |(check, count)| number(rules, check, suspect, *count))
    });
    Ok(numbers.collect())
}

fn number(rules: &RuleSet, check: usize, suspect: Option<usize>, count: Count) -> Number {
    Number {
        check: match rules.checks.get(check) {
            Some(check) => check.id.clone(),
            None => rules.complaints[check - rules.checks.len()].id.clone(),
        },
        suspect: suspect.map(|s| rules.suspects[s].id.clone()),
        ruleset: said(rules, check, suspect),
        model: Share::new(count.failed, count.decided),
        open: Share::new(count.open, count.open + count.decided),
    }
}

/// P(fails), or P(complaint), as the rule set has it.
fn said(rules: &RuleSet, check: usize, suspect: Option<usize>) -> f64 {
    let Some(found) = rules.checks.get(check) else {
        let complaint = &rules.complaints[check - rules.checks.len()];
        let own = complaint.given.iter().find(|(s, _)| Some(*s) == suspect);
        return own.map_or(complaint.otherwise, |(_, p)| *p);
    };
    match &found.how {
        How::Measured(measured) => {
            let own = measured.fails.iter().find(|(s, _)| Some(*s) == suspect);
            own.map_or(measured.otherwise, |(_, p)| *p)
        }
        How::Asked(asked) => {
            let own = asked.expect.iter().find(|(s, _)| Some(*s) == suspect);
            1.0 - own.map_or(asked.otherwise[0], |(_, row)| row[0])
        }
    }
}

fn counts(
    model: &Arc<Model>,
    lot: &Lot,
    suspect: Option<usize>,
    machines: u64,
    seed: u64,
) -> Vec<Count> {
    let rules = model.rules();
    let checks = rules.checks.len();
    // The complaints after the checks.
    let mut counts = vec![Count::default(); checks + rules.complaints.len()];
    for machine in 0..machines {
        let row = suspect.map_or(u64::MAX, |s| s as u64);
        let mut random = Random::new(seed ^ row.rotate_left(40), machine);
        let drawn = lot.with(rules, suspect.as_slice(), &mut random);
        for (complaint, count) in counts[checks..].iter_mut().enumerate() {
            let made = drawn.complaint == Some(complaint);
            count.add(if made {
                Outcome::Failed
            } else {
                Outcome::Passed
            });
        }
        let left_out = drawn
            .complaint
            .map_or(&[][..], |c| &rules.complaints[c].leaves_out);
        for (check, count) in counts[..checks].iter_mut().enumerate() {
            if !left_out.contains(&check) {
                let chance = Random::new(random.whole(), 1);
                count.add(tried(model, &drawn, check, chance));
            }
        }
    }
    counts
}

impl Count {
    fn add(&mut self, outcome: Outcome) {
        match outcome {
            Outcome::Passed => self.decided += 1,
            Outcome::Failed => {
                self.decided += 1;
                self.failed += 1;
            }
            Outcome::Undecided | Outcome::Void => self.open += 1,
        }
    }
}

/// What comes of one check on a machine fresh in the shop.
fn tried(model: &Arc<Model>, drawn: &Drawn, check: usize, random: Random) -> Outcome {
    let mut hands = Hands::new(model, drawn.machine.clone(), None, random, false);
    if !hands.carry_out(check) {
        return Outcome::Void;
    }
    hands
        .diagnosis
        .verdict()
        .outcome(&model.rules().checks[check].id)
}
