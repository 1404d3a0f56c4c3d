//! The numbers of a rule set beside those of the machine model: for every
//! suspect alone, and for nothing at all, how often every check fails.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};

use serde::Serialize;
use trisect_diagnosis::{Model, Outcome};
use trisect_machine::Random;
use trisect_rules::{How, RuleSet};

use crate::SurveyError;
use crate::draw::{DrawnMachine, Population};
use crate::run::Survey;
use crate::stats::Share;
use crate::technician::Technician;
use crate::threads;

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
/// brought in with its complaint. `wanted` is of each suspect; `done` is called with
/// the number of machines done so far, of [`compared`], from any thread.
///
/// # Errors
/// No machines, no threads or too many; suspects that the machine model does not have.
pub fn compare(
    model: &Arc<Model>,
    wanted: &Survey,
    done: &(dyn Fn(u64) + Sync),
) -> Result<Vec<Number>, SurveyError> {
    if wanted.machines == 0 {
        return Err(SurveyError::NoMachines);
    }
    threads::check(wanted.threads)?;
    let rules = model.rules();
    let population = Population::new(rules)?;
    let (next, finished) = (AtomicUsize::new(0), AtomicU64::new(0));
    let rows = rules.suspects.len() + 1;
    let one_done = || done(finished.fetch_add(1, Ordering::Relaxed) + 1);
    let worker = || {
        let mut found = Vec::new();
        loop {
            let row = next.fetch_add(1, Ordering::Relaxed);
            if row >= rows {
                return found;
            }
            let suspect = (row < rules.suspects.len()).then_some(row);
            found.push((row, counts(model, &population, suspect, wanted, &one_done)));
        }
    };
    let mut found: Vec<(usize, Vec<Count>)> = threads::gather(wanted.threads, rows as u64, worker);
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

/// How many machines a comparison of so many of each suspect tries in all.
pub fn compared(rules: &RuleSet, machines: u64) -> u64 {
    machines.saturating_mul(rules.suspects.len() as u64 + 1)
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
    population: &Population,
    suspect: Option<usize>,
    wanted: &Survey,
    one_done: &dyn Fn(),
) -> Vec<Count> {
    let rules = model.rules();
    let checks = rules.checks.len();
    // The complaints after the checks.
    let mut counts = vec![Count::default(); checks + rules.complaints.len()];
    for machine in 0..wanted.machines {
        let row = suspect.map_or(u64::MAX, |s| s as u64);
        let mut random = Random::new(wanted.seed ^ row.rotate_left(40), machine);
        let drawn = population.with(rules, suspect.as_slice(), &mut random);
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
        one_done();
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
fn tried(model: &Arc<Model>, drawn: &DrawnMachine, check: usize, random: Random) -> Outcome {
    let mut technician = Technician::new(model, drawn.machine.clone(), None, random, false);
    if !technician.carry_out(check) {
        return Outcome::Void;
    }
    technician
        .diagnosis
        .verdict()
        .outcome(&model.rules().checks[check].id)
}
