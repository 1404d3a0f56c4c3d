//! What could be changed in a rule set without a case noticing: limits that no case holds in place;
//! needs, proofs and parts of proofs that no case is decided by; rows that no case tells apart from none.

mod noticing;

use serde::Serialize;
use trisect_rules::{Bound, How, RuleSet};

use super::Recording;
use super::coverage::proof_names;
use noticing::{Touches, Trial};

/// How far limits are moved, in parts of themselves, from little to much.
const STEPS: [f64; 3] = [0.1, 0.25, 0.5];

/// One thing that no case notices.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Slack {
    /// `limit` with its check and end, `need` with its check, `proof` with its name, `row` with where it
    /// is and whose it is.
    #[serde(flatten)]
    pub of: Change,
    /// What can be done to it, in words: `lowered by 25 %`, `dropped`, `fuel-seen left out of passed`.
    pub change: String,
}

/// What was changed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Change {
    /// An end of a check's limit was moved.
    Limit {
        /// The check.
        check: String,
        /// `at_least` or `at_most`.
        end: &'static str,
    },
    /// A check that has to pass before was dropped.
    Need {
        /// The check that needs it.
        check: String,
    },
    /// A suspect's row was made that of no fault.
    Row {
        /// The check or the complaint.
        of: String,
        /// The suspect.
        suspect: String,
    },
    /// A proof, or a part of one, was left out.
    Proof {
        /// Its name, as in the coverage.
        proof: String,
    },
}

/// Changes to a rule set that leave all differences of all these cases as they are.
///
/// Each limit is lowered and raised by 10, 25 and 50 % (the most that goes unnoticed is told); each need is
/// dropped; each proof, and each check in its lists, is left out; each suspect's row of a check and of a
/// complaint is flattened to that of no fault. Nothing else is changed at the same time.
/// It is asked again and again whether to go on; told not to, what was found by then is given.
pub fn sensitivity(
    rules: &RuleSet,
    recordings: &[&Recording],
    go_on: &dyn Fn() -> bool,
) -> Vec<Slack> {
    let trial = Trial::new(rules, recordings);
    let mut slack = Vec::new();
    for check in (0..rules.checks.len()).take_while(|_| go_on()) {
        for end in [End::AtLeast, End::AtMost] {
            slack.extend(moved(&trial, rules, check, end, -1.0, "lowered"));
            slack.extend(moved(&trial, rules, check, end, 1.0, "raised"));
        }
        slack.extend(needs(&trial, rules, check));
        slack.extend(rows(&trial, rules, check));
    }
    for complaint in (0..rules.complaints.len()).take_while(|_| go_on()) {
        slack.extend(givens(&trial, rules, complaint));
    }
    for (proof, name) in proof_names(rules).iter().enumerate() {
        if !go_on() {
            break;
        }
        slack.extend(self::proof(&trial, rules, proof, name));
    }
    slack
}

#[derive(Clone, Copy)]
enum End {
    AtLeast,
    AtMost,
}

impl End {
    fn word(self) -> &'static str {
        match self {
            End::AtLeast => "at_least",
            End::AtMost => "at_most",
        }
    }

    fn of(self, rules: &mut RuleSet, check: usize) -> Option<&mut Bound> {
        match (&mut rules.checks.get_mut(check)?.how, self) {
            (How::Measured(measured), End::AtLeast) => measured.at_least.as_mut(),
            (How::Measured(measured), End::AtMost) => measured.at_most.as_mut(),
            (How::Asked(_), _) => None,
        }
    }
}

/// The furthest step one way that no case notices.
fn moved(
    trial: &Trial<'_>,
    rules: &RuleSet,
    check: usize,
    end: End,
    way: f64,
    word: &str,
) -> Option<Slack> {
    let mut furthest = None;
    for step in STEPS {
        let mut changed = rules.clone();
        let moved = shift(end.of(&mut changed, check)?, way * step);
        if !moved || !trial.unnoticed(changed, Touches::Check(check)) {
            break;
        }
        furthest = Some(step);
    }
    let of = Change::Limit {
        check: rules.checks.get(check)?.id.clone(),
        end: end.word(),
    };
    furthest.map(|step| Slack {
        of,
        change: format!("{word} by {:.0} %", step * 100.0),
    })
}

fn needs(trial: &Trial<'_>, rules: &RuleSet, check: usize) -> Vec<Slack> {
    let mut found = Vec::new();
    for place in 0..rules.checks[check].needs.len() {
        let mut without = rules.clone();
        let need = without.checks[check].needs.remove(place);
        if trial.unnoticed(without, Touches::Check(check)) {
            let of = Change::Need {
                check: rules.checks[check].id.clone(),
            };
            let change = format!("{} dropped", rules.checks[need].id);
            found.push(Slack { of, change });
        }
    }
    found
}

/// The rows of a check.
fn rows(trial: &Trial<'_>, rules: &RuleSet, check: usize) -> Vec<Slack> {
    let suspects: Vec<usize> = match &rules.checks[check].how {
        How::Measured(measured) => measured.fails.iter().map(|(suspect, _)| *suspect).collect(),
        How::Asked(asked) => asked.expect.iter().map(|(suspect, _)| *suspect).collect(),
    };
    let flat = |suspect: &usize| {
        let mut flat = rules.clone();
        match &mut flat.checks[check].how {
            How::Measured(measured) => measured.fails.retain(|(other, _)| other != suspect),
            How::Asked(asked) => asked.expect.retain(|(other, _)| other != suspect),
        }
        trial.unnoticed(flat, Touches::Check(check))
    };
    let unnoticed = suspects.into_iter().filter(flat);
    unnoticed
        .map(|suspect| row(rules, &rules.checks[check].id, suspect))
        .collect()
}

/// The rows of a complaint.
fn givens(trial: &Trial<'_>, rules: &RuleSet, complaint: usize) -> Vec<Slack> {
    let flat = |suspect: &usize| {
        let mut flat = rules.clone();
        let given = &mut flat.complaints[complaint].given;
        given.retain(|(other, _)| other != suspect);
        trial.unnoticed(flat, Touches::Complaint(complaint))
    };
    let given = rules.complaints[complaint].given.iter();
    let unnoticed = given.map(|(suspect, _)| *suspect).filter(flat);
    unnoticed
        .map(|suspect| row(rules, &rules.complaints[complaint].id, suspect))
        .collect()
}

fn row(rules: &RuleSet, of: &str, suspect: usize) -> Slack {
    Slack {
        of: Change::Row {
            of: of.to_owned(),
            suspect: rules.suspects[suspect].id.clone(),
        },
        change: "flattened".to_owned(),
    }
}

/// A proof as a whole; if it is needed, each check in its lists.
fn proof(trial: &Trial<'_>, rules: &RuleSet, proof: usize, name: &str) -> Vec<Slack> {
    let slack = |change| Slack {
        of: Change::Proof {
            proof: name.to_owned(),
        },
        change,
    };
    let mut without = rules.clone();
    without.proofs.remove(proof);
    if trial.unnoticed(without, Touches::Everything) {
        return vec![slack("dropped".to_owned())];
    }
    let mut found = Vec::new();
    for list in LISTS {
        for place in 0..(list.of)(&rules.proofs[proof]).len() {
            let mut without = rules.clone();
            let check = (list.of_mut)(&mut without.proofs[proof]).remove(place);
            if trial.unnoticed(without, Touches::Everything) {
                let check = &rules.checks[check].id;
                found.push(slack(format!("{check} left out of {}", list.word)));
            }
        }
    }
    found
}

/// A list of checks in a proof.
struct List {
    word: &'static str,
    of: fn(&trisect_rules::Proof) -> &Vec<usize>,
    of_mut: fn(&mut trisect_rules::Proof) -> &mut Vec<usize>,
}

const LISTS: [List; 5] = [
    List {
        word: "passed",
        of: |p| &p.passed,
        of_mut: |p| &mut p.passed,
    },
    List {
        word: "any_passed",
        of: |p| &p.any_passed,
        of_mut: |p| &mut p.any_passed,
    },
    List {
        word: "failed",
        of: |p| &p.failed,
        of_mut: |p| &mut p.failed,
    },
    List {
        word: "any_failed",
        of: |p| &p.any_failed,
        of_mut: |p| &mut p.any_failed,
    },
    List {
        word: "measured_failed",
        of: |p| &p.measured_failed,
        of_mut: |p| &mut p.measured_failed,
    },
];

/// Moves a limit by a part of itself; says whether that moved it, which it does not do with zero.
fn shift(bound: &mut Bound, part: f64) -> bool {
    let by = |limit: &mut f64| {
        let step = part * limit.abs();
        *limit += step;
        step != 0.0
    };
    match bound {
        Bound::Fixed(limit) => by(limit),
        Bound::Table { rows, .. } => rows
            .iter_mut()
            .fold(false, |moved, (_, limit)| by(limit) || moved),
    }
}
