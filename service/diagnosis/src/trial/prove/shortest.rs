//! The shortest set of tests that names a side or a suspect.

use std::cmp::Reverse;
use std::collections::{BTreeSet, BinaryHeap};
use std::sync::Arc;

use trisect_rules::proving::{Way, can_fail, ways};
use trisect_rules::{Asked, Outcome, RuleSet, Standing};

use super::{GoOn, Shortest, Stated, Target, diagnosed, unadvised};
use crate::Model;
use crate::What;

/// Sets of tests that are tried in the order of their minutes.
const IN_ORDER: u64 = 1500;
/// Sets of tests that are kept at once: each is a few hundred bytes.
const MOST_SETS: usize = 50_000;
/// Ways of a side and of a suspect that are put together.
const MOST_STARTS: usize = 1000;
/// Proofs from which tests are added one by one.
const STARTS: usize = 3;

/// What the search came to.
pub(super) struct Tried {
    pub(super) shortest: Option<Shortest>,
    pub(super) tried: u64,
    pub(super) highest: f64,
}

/// A set of tests, the cheapest first: minutes in thousandths, tests, the set.
type Node = Reverse<(u64, usize, Way)>;

/// Tries sets of tests in the order of their minutes, beginning with those that
/// complete the proofs, until one names the target; and how many were tried.
/// What is asked is answered with the healthiest answer or the worst; what is
/// measured is far from its limit; nothing else is known, no complaint either. Where
/// that takes too many, the set found by taking the best test each time is told,
/// which need not be the shortest.
pub(super) fn search(rules: &RuleSet, target: Target, go_on: GoOn<'_>) -> Tried {
    let mut trial = Trial {
        rules,
        target,
        model: Arc::new(Model::new(Arc::new(unadvised(rules)))),
        tried: 0,
        highest: 0.0,
        go_on,
    };
    let found = match trial.in_order() {
        Some(way) => Some((way, true)),
        None => trial.step_by_step().map(|way| (way, false)),
    };
    let shortest = found.map(|(way, exact)| {
        let found: Vec<(usize, Outcome)> = outcomes(&way).collect();
        let (belief, _) = trial.weigh(&way);
        Shortest {
            tests: found.iter().map(|found| told(rules, *found)).collect(),
            minutes: way.minutes(rules),
            belief,
            exact,
        }
    });
    Tried {
        shortest,
        tried: trial.tried,
        highest: trial.highest,
    }
}

struct Trial<'a> {
    rules: &'a RuleSet,
    target: Target,
    model: Arc<Model>,
    tried: u64,
    highest: f64,
    go_on: GoOn<'a>,
}

impl Trial<'_> {
    /// The belief in the target, and whether it is named.
    fn weigh(&mut self, way: &Way) -> (f64, bool) {
        self.tried += 1;
        let found: Vec<(usize, Outcome)> = outcomes(way).collect();
        let verdict = diagnosed(&self.model, &found, answered);
        let side = self.target.side;
        let isolated = verdict.standing == Standing::Isolated && verdict.side == Some(side);
        let id = self.target.suspect.map(|s| &self.rules.suspects[s].id);
        let (belief, named) = match id {
            None => (verdict.sides.of(side), isolated),
            Some(id) => {
                let own = verdict.suspects.iter().find(|s| s.id == *id);
                let named = isolated && verdict.named.as_ref() == Some(id);
                (own.map_or(0.0, |s| s.probability), named)
            }
        };
        self.highest = self.highest.max(belief);
        (belief, named)
    }

    fn in_order(&mut self) -> Option<Way> {
        let mut seen: BTreeSet<Way> = BTreeSet::new();
        let mut ahead: BinaryHeap<Node> = BinaryHeap::new();
        for way in starts(self.rules, self.target) {
            if seen.insert(way.clone()) {
                ahead.push(node(self.rules, way));
            }
        }
        while let Some(Reverse((_, _, way))) = ahead.pop() {
            // Every set in the queue holds memory: where there are too many, the way is taken step by step.
            if self.tried == IN_ORDER || seen.len() > MOST_SETS || !(self.go_on)() {
                return None;
            }
            if self.weigh(&way).1 {
                return Some(way);
            }
            for more in longer(self.rules, &way, self.target) {
                if seen.insert(more.clone()) {
                    ahead.push(node(self.rules, more));
                }
            }
        }
        None
    }

    /// From each of the quickest proofs, the test that raises the belief most a
    /// minute, again and again; the quickest that comes of it, needless tests taken out.
    fn step_by_step(&mut self) -> Option<Way> {
        let mut starts = starts(self.rules, self.target);
        starts.sort_by(|a, b| a.minutes(self.rules).total_cmp(&b.minutes(self.rules)));
        starts.truncate(STARTS);
        let found = starts.into_iter().filter_map(|start| self.from(&start));
        let all: Vec<Way> = found.collect();
        let minutes = |way: &Way| way.minutes(self.rules);
        all.into_iter()
            .min_by(|a, b| minutes(a).total_cmp(&minutes(b)))
    }

    fn from(&mut self, start: &Way) -> Option<Way> {
        let mut way = start.clone();
        let (mut belief, mut named) = self.weigh(&way);
        while !named {
            if !(self.go_on)() {
                return None;
            }
            let mut best: Option<(f64, Way, f64, bool)> = None;
            for more in longer(self.rules, &way, self.target) {
                let (then, names) = self.weigh(&more);
                // In odds: between 0.98 and 0.99 lies more than between 0.50 and 0.51.
                let gain = log_odds(then) - log_odds(belief);
                let rate = gain / (more.minutes(self.rules) - way.minutes(self.rules));
                if rate > 0.0 && best.as_ref().is_none_or(|(best, ..)| rate > *best) {
                    best = Some((rate, more, then, names));
                }
            }
            let (_, more, then, names) = best?;
            (way, belief, named) = (more, then, names);
        }
        Some(self.without_needless(way))
    }

    fn without_needless(&mut self, mut way: Way) -> Way {
        for (check, _) in outcomes(&way.clone()) {
            if !(self.go_on)() {
                break;
            }
            let mut less = way.clone();
            less.passed.remove(&check);
            less.failed.remove(&check);
            if self.weigh(&less).1 {
                way = less;
            }
        }
        way
    }
}

fn log_odds(p: f64) -> f64 {
    let p = p.clamp(1e-12, 1.0 - 1e-12);
    libm::log(p / (1.0 - p))
}

/// An outcome as it would come about: by the healthiest answer or the worst.
fn answered(model: &Model, check: usize, outcome: Outcome) -> What {
    let place = u16::try_from(check).unwrap_or(u16::MAX);
    match model.rules().checks[check].asked() {
        Some(asked) => What::Answer {
            check: place,
            answer: worst(asked, outcome) as u16,
        },
        None => What::Outcome {
            check: place,
            outcome,
        },
    }
}

fn worst(asked: &Asked, outcome: Outcome) -> usize {
    match outcome {
        Outcome::Failed => asked.answers.len() - 1,
        _ => 0,
    }
}

fn told(rules: &RuleSet, (check, outcome): (usize, Outcome)) -> Stated {
    let check = &rules.checks[check];
    let answer = check
        .asked()
        .map(|asked| asked.answers[worst(asked, outcome)].clone());
    Stated {
        check: check.id.clone(),
        outcome,
        answer,
    }
}

fn node(rules: &RuleSet, way: Way) -> Node {
    let minutes = (way.minutes(rules) * 1000.0).round() as u64;
    Reverse((minutes, way.passed.len() + way.failed.len(), way))
}

fn outcomes(way: &Way) -> impl Iterator<Item = (usize, Outcome)> {
    let passed = way.passed.iter().map(|check| (*check, Outcome::Passed));
    passed.chain(way.failed.iter().map(|check| (*check, Outcome::Failed)))
}

/// The ways to complete a proof of the side, and one of the suspect.
fn starts(rules: &RuleSet, target: Target) -> Vec<Way> {
    let of_side = target
        .side_proofs(rules)
        .flat_map(|proof| ways(rules, proof, &[]));
    let of_side: Vec<Way> = of_side.take(MOST_STARTS).collect();
    if target.suspect.is_none() {
        return of_side;
    }
    let own: Vec<Way> = target
        .own_proofs(rules)
        .flat_map(|proof| ways(rules, proof, &[]))
        .take(MOST_STARTS)
        .collect();
    let both = of_side
        .iter()
        .flat_map(|side| own.iter().map(move |own| side.union(own)));
    both.flatten().take(MOST_STARTS).collect()
}

/// The set with one test more that speaks for the target: one that a suspect of
/// it makes fail, failed; one that others make fail, passed.
fn longer(rules: &RuleSet, way: &Way, target: Target) -> Vec<Way> {
    let is_of = |suspect: &usize| match target.suspect {
        Some(own) => own == *suspect,
        None => rules.suspects[*suspect].side == target.side,
    };
    let (own, others): (Vec<usize>, Vec<usize>) = (0..rules.suspects.len()).partition(is_of);
    let mut found = Vec::new();
    for (place, check) in rules.checks.iter().enumerate() {
        if way.passed.contains(&place) || way.failed.contains(&place) {
            continue;
        }
        let by = |suspects: &[usize]| suspects.iter().any(|s| can_fail(check, *s));
        if by(&own) {
            found.extend(way.with(rules, place, Outcome::Failed));
        }
        if by(&others) {
            found.extend(way.with(rules, place, Outcome::Passed));
        }
    }
    found
}
