//! Many jobs on many threads, in the order of their numbers.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use trisect_diagnosis::Model;

use crate::SurveyError;
use crate::draw::Population;
use crate::job::{Outcome, work};
use crate::report::Report;
use crate::threads;

/// What to survey.
#[derive(Clone, Copy, Debug)]
pub struct Survey {
    /// How many machines.
    pub machines: u64,
    /// Which machines: everything that is chance follows from this.
    pub seed: u64,
    /// On how many threads, 1 to [`crate::MOST_THREADS`]; the report does not depend on it.
    pub threads: usize,
}

/// Surveys a rule set. `done` is called with the number of machines done so
/// far, from any thread, now and then.
///
/// # Errors
/// No machines, no threads or too many; suspects that the machine model does not have.
pub fn survey(
    model: &Arc<Model>,
    wanted: &Survey,
    done: &(dyn Fn(u64) + Sync),
) -> Result<Report, SurveyError> {
    if wanted.machines == 0 {
        return Err(SurveyError::NoMachines);
    }
    threads::check(wanted.threads)?;
    let population = Population::new(model.rules())?;
    let next = AtomicU64::new(0);
    let finished = AtomicU64::new(0);
    let worker = || {
        let mut outcomes = Vec::new();
        loop {
            let index = next.fetch_add(1, Ordering::Relaxed);
            if index >= wanted.machines {
                return outcomes;
            }
            outcomes.push(work(model, &population, wanted.seed, index));
            done(finished.fetch_add(1, Ordering::Relaxed) + 1);
        }
    };
    let mut outcomes: Vec<Outcome> = threads::gather(wanted.threads, wanted.machines, worker);
    outcomes.sort_by_key(|outcome| outcome.index);
    Ok(Report::of(model.rules(), wanted, &outcomes))
}
