//! One assessment of a check from all its findings that stand.

use trisect_measure::{Decision, decide};
use trisect_rules::{Measured, Outcome};

use crate::assess::Assessment;
use crate::finding::Finding;

/// One assessment from all findings of a check that stand.
pub(crate) fn together(measured: Option<&Measured>, standing: &[&Finding]) -> Option<Assessment> {
    let newest = standing.last()?;
    let telling: Vec<&&Finding> = standing.iter().filter(|f| f.tells()).collect();
    let Some(last) = telling.last() else {
        return Some(newest.assessment.clone());
    };
    if telling.len() == 1 {
        return Some(last.assessment.clone());
    }
    let outcome = |is: Outcome| telling.iter().filter(|f| f.outcome() == is).count();
    let disagree = || {
        let (good, bad) = (outcome(Outcome::Passed), outcome(Outcome::Failed));
        format!(
            "{} findings do not agree ({good} good, {bad} not good): withdraw the one that was wrong, or test again",
            telling.len()
        )
    };
    // An answer of its own weighs by its row; what was settled elsewhere says good or not good alone.
    let answers: Vec<u16> = telling.iter().filter_map(|f| f.answer()).collect();
    let agree = match measured {
        None => {
            answers.windows(2).all(|pair| pair[0] == pair[1])
                && telling.iter().all(|f| f.outcome() == last.outcome())
        }
        Some(_) => true,
    };
    if !agree {
        return Some(Assessment {
            pass: None,
            answer: None,
            outcome: Outcome::Undecided,
            reason: Some(disagree()),
            ..last.assessment.clone()
        });
    }
    let Some(measured) = measured else {
        let answered = telling.iter().rev().find(|f| f.answer().is_some());
        return Some(answered.unwrap_or(last).assessment.clone());
    };
    // What an instrument is wrong by, it is wrong by each time: saying it twice makes it no surer. So the log
    // odds are averaged and not added.
    let odds = |p: f64| {
        let p = p.clamp(SUREST, 1.0 - SUREST);
        libm::log(p / (1.0 - p))
    };
    let passes: Vec<f64> = telling.iter().filter_map(|f| f.assessment.pass).collect();
    let mean = passes.iter().map(|p| odds(*p)).sum::<f64>() / passes.len() as f64;
    let pass = 1.0 / (1.0 + libm::exp(-mean));
    let (outcome, reason) = match decide(pass, measured.risk) {
        Decision::Passed => (Outcome::Passed, None),
        Decision::Failed => (Outcome::Failed, None),
        Decision::Undecided => (Outcome::Undecided, Some(disagree())),
    };
    Some(Assessment {
        pass: Some(pass),
        outcome,
        reason,
        ..last.assessment.clone()
    })
}

/// No finding is surer than this of what it found, when it is held against another.
const SUREST: f64 = 1e-6;
