//! A rule set made ready for reasoning: the hypotheses with their weights, and
//! what each check's outcomes are worth under each of them.
//!
//! Shared by all jobs on one rule set; nothing in it changes after it is made.

use std::collections::HashMap;
use std::sync::Arc;

use trisect_rules::{Asked, Check, How, Measured, RuleSet, Side};

/// A set of faults that could be the state of the machine.
#[derive(Clone, Debug)]
pub(crate) struct Hypothesis {
    /// Indexes of the suspects, ascending.
    pub(crate) suspects: Vec<u16>,
    /// Natural logarithm of the prior probability.
    pub(crate) log_prior: f64,
    /// Bit `1 << side` for every side that a suspect is on.
    pub(crate) sides: u8,
}

/// A rule set with everything that can be computed before the first reading.
#[derive(Debug)]
pub struct Model {
    pub(crate) rules: Arc<RuleSet>,
    pub(crate) hypotheses: Vec<Hypothesis>,
    /// `[check][result][hypothesis]`: the probability of the result. A measured
    /// check has the results passes and fails, an asked one its answers.
    pub(crate) results: Vec<Vec<Vec<f64>>>,
    /// `[complaint][hypothesis]`.
    pub(crate) complaints: Vec<Vec<f64>>,
    /// `[side][hypothesis]`: hypotheses with the same suspects on this side
    /// share a number; the second value is how many numbers there are.
    pub(crate) side_groups: Vec<(Vec<u32>, usize)>,
    /// `[point]`: the measured checks that look at it.
    pub(crate) by_point: Vec<Vec<u16>>,
    /// Checks, every one after those it needs.
    pub(crate) order: Vec<u16>,
    pub(crate) engine_speed: Option<usize>,
}

impl Model {
    /// Enumerates the hypotheses of a rule set and tabulates its checks.
    pub fn new(rules: Arc<RuleSet>) -> Model {
        let hypotheses = hypotheses(&rules);
        let results = rules
            .checks
            .iter()
            .map(|check| results(check, &hypotheses))
            .collect();
        let complaints = rules
            .complaints
            .iter()
            .map(|c| {
                hypotheses
                    .iter()
                    .map(|h| 1.0 - none_of(c.otherwise, &c.given, h))
                    .collect()
            })
            .collect();
        let side_groups = Side::ALL
            .map(|side| side_groups(&rules, &hypotheses, side))
            .to_vec();
        let mut by_point = vec![Vec::new(); rules.test_points.len() + rules.derived.len()];
        for (index, check) in rules.checks.iter().enumerate() {
            if let How::Measured(measured) = &check.how {
                by_point[measured.point].push(index as u16);
            }
        }
        let order = order(&rules);
        let engine_speed = rules.point_index("engine-speed");
        Model {
            rules,
            hypotheses,
            results,
            complaints,
            side_groups,
            by_point,
            order,
            engine_speed,
        }
    }

    /// The rule set this was made from.
    pub fn rules(&self) -> &Arc<RuleSet> {
        &self.rules
    }

    pub(crate) fn measured(&self, check: usize) -> Option<&Measured> {
        match &self.rules.checks[check].how {
            How::Measured(measured) => Some(measured),
            How::Asked(_) => None,
        }
    }
}

/// Every set of up to `faults_at_once` suspects with its prior:
/// weight(∅) = none; otherwise coincidence^(|H|−1) · ∏ shares · ∏ links.
fn hypotheses(rules: &RuleSet) -> Vec<Hypothesis> {
    let total: f64 = rules.suspects.iter().map(|s| s.share).sum();
    let shares: Vec<f64> = rules
        .suspects
        .iter()
        .map(|s| libm::log(s.share / total))
        .collect();
    let mut links = HashMap::new();
    for link in &rules.links {
        let pair = (
            link.first.min(link.second) as u16,
            link.first.max(link.second) as u16,
        );
        links.insert(pair, libm::log(link.times));
    }
    let mut found = vec![Hypothesis {
        suspects: Vec::new(),
        log_prior: libm::log(rules.none),
        sides: 0,
    }];
    // Grows every set by the suspects after its last one: each set once.
    let mut from = 0;
    for size in 1..=rules.faults_at_once {
        let until = found.len();
        for parent in from..until {
            let first = found[parent].suspects.last().map_or(0, |last| last + 1);
            for suspect in first..rules.suspects.len() as u16 {
                let grown = grow(&found[parent], suspect, size, rules, &shares, &links);
                found.push(grown);
            }
        }
        from = until;
    }
    normalise(&mut found);
    found
}

fn grow(
    parent: &Hypothesis,
    suspect: u16,
    size: usize,
    rules: &RuleSet,
    shares: &[f64],
    links: &HashMap<(u16, u16), f64>,
) -> Hypothesis {
    let before = if size == 1 {
        0.0
    } else {
        parent.log_prior + libm::log(rules.coincidence)
    };
    let linked: f64 = parent
        .suspects
        .iter()
        .filter_map(|s| links.get(&(*s, suspect)))
        .sum();
    let mut suspects = parent.suspects.clone();
    suspects.push(suspect);
    Hypothesis {
        suspects,
        log_prior: before + shares[usize::from(suspect)] + linked,
        sides: parent.sides | 1 << rules.suspects[usize::from(suspect)].side.index(),
    }
}

fn normalise(hypotheses: &mut [Hypothesis]) {
    let total = log_sum(hypotheses.iter().map(|h| h.log_prior));
    for hypothesis in hypotheses {
        hypothesis.log_prior -= total;
    }
}

/// ln Σ exp(x), without overflow; −∞ of nothing.
pub(crate) fn log_sum(terms: impl Iterator<Item = f64> + Clone) -> f64 {
    let top = terms.clone().fold(f64::NEG_INFINITY, f64::max);
    if top == f64::NEG_INFINITY {
        return top;
    }
    top + libm::log(terms.map(|x| libm::exp(x - top)).sum())
}

/// Noisy-OR: the probability that nothing shows, (1 − o) ∏ (1 − f_i)/(1 − o).
fn none_of(otherwise: f64, given: &[(usize, f64)], hypothesis: &Hypothesis) -> f64 {
    let silent = 1.0 - otherwise;
    given
        .iter()
        .filter(|(suspect, _)| hypothesis.has(*suspect))
        .fold(silent, |product, (_, f)| {
            if silent == 0.0 {
                0.0
            } else {
                product * ((1.0 - f) / silent)
            }
        })
}

fn results(check: &Check, hypotheses: &[Hypothesis]) -> Vec<Vec<f64>> {
    match &check.how {
        How::Measured(measured) => {
            let passes: Vec<f64> = hypotheses
                .iter()
                .map(|h| none_of(measured.otherwise, &measured.fails, h))
                .collect();
            let fails = passes.iter().map(|p| 1.0 - p).collect();
            vec![passes, fails]
        }
        How::Asked(asked) => answers(asked, hypotheses),
    }
}

/// Noisy-MAX: C(a | H) = C_o(a) ∏ C_i(a)/C_o(a) on cumulative probabilities,
/// answers from healthy to worst.
fn answers(asked: &Asked, hypotheses: &[Hypothesis]) -> Vec<Vec<f64>> {
    let base = cumulative(&asked.otherwise);
    let rows: Vec<(usize, Vec<f64>)> = asked
        .expect
        .iter()
        .map(|(suspect, row)| (*suspect, cumulative(row)))
        .collect();
    let mut table = vec![Vec::with_capacity(hypotheses.len()); asked.answers.len()];
    for hypothesis in hypotheses {
        let mut below = 0.0;
        for (answer, column) in table.iter_mut().enumerate() {
            let mut reached = base[answer];
            for (_, row) in rows.iter().filter(|(suspect, _)| hypothesis.has(*suspect)) {
                let ratio = if base[answer] == 0.0 {
                    0.0
                } else {
                    row[answer] / base[answer]
                };
                reached *= ratio;
            }
            // The loader refuses rows that would fall here by more than rounding.
            column.push((reached - below).max(0.0));
            below = reached;
        }
    }
    table
}

fn cumulative(row: &[f64]) -> Vec<f64> {
    let mut sum = 0.0;
    let mut column: Vec<f64> = row
        .iter()
        .map(|p| {
            sum += p;
            sum
        })
        .collect();
    // The loader accepts rows that add up to 1 but for rounding.
    if let Some(last) = column.last_mut() {
        *last = 1.0;
    }
    column
}

fn side_groups(rules: &RuleSet, hypotheses: &[Hypothesis], side: Side) -> (Vec<u32>, usize) {
    let mut numbers = HashMap::new();
    let groups = hypotheses
        .iter()
        .map(|h| {
            let here: Vec<u16> = h
                .suspects
                .iter()
                .copied()
                .filter(|s| rules.suspects[usize::from(*s)].side == side)
                .collect();
            let next = numbers.len() as u32;
            *numbers.entry(here).or_insert(next)
        })
        .collect();
    (groups, numbers.len())
}

fn order(rules: &RuleSet) -> Vec<u16> {
    let mut order = Vec::with_capacity(rules.checks.len());
    let mut placed = vec![false; rules.checks.len()];
    // `needs` has no cycle (the loader sees to it), so every round places one.
    while order.len() < rules.checks.len() {
        let before = order.len();
        for (index, check) in rules.checks.iter().enumerate() {
            if !placed[index] && check.needs.iter().all(|need| placed[*need]) {
                placed[index] = true;
                order.push(index as u16);
            }
        }
        if order.len() == before {
            break;
        }
    }
    order
}

impl Hypothesis {
    pub(crate) fn has(&self, suspect: usize) -> bool {
        self.suspects.iter().any(|s| usize::from(*s) == suspect)
    }
}
