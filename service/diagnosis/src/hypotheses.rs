//! What could be the state of the machine: every set of up to `faults_at_once`
//! suspects, with its prior probability.

use trisect_rules::RuleSet;

/// Stands where a set has no further suspect.
pub(crate) const NOBODY: u16 = u16::MAX;

/// Suspects, ascending, then [`NOBODY`]. The loader allows three at once.
pub(crate) type Set = [u16; 3];

/// All hypotheses: the empty set first, then single faults, pairs, threes, each
/// in ascending order. What follows goes through them in this order, so that
/// sums are the same to the last bit whatever else was left out.
#[derive(Clone, Debug, Default)]
pub(crate) struct Hypotheses {
    pub(crate) sets: Vec<Set>,
    /// Prior probabilities; their sum is 1.
    pub(crate) prior: Vec<f64>,
    /// Bit `1 << side` for every side that a suspect is on.
    pub(crate) sides: Vec<u8>,
    /// Where the sets of three begin, and those of two.
    pub(crate) threes: usize,
    pub(crate) pairs: usize,
}

impl Hypotheses {
    /// weight(∅) = none; otherwise coincidence^(|H|−1) · ∏ shares · ∏ links;
    /// renormalised. In logarithms until then: shares may be far apart.
    pub(crate) fn of(rules: &RuleSet) -> Hypotheses {
        let total: f64 = rules.suspects.iter().map(|s| s.share).sum();
        let shares: Vec<f64> = rules
            .suspects
            .iter()
            .map(|s| libm::log(s.share / total))
            .collect();
        let links = Links::of(rules);
        let coincidence = libm::log(rules.coincidence);
        let mut found = Hypotheses {
            sets: vec![[NOBODY; 3]],
            prior: vec![libm::log(rules.none)],
            sides: vec![0],
            threes: usize::MAX,
            pairs: usize::MAX,
        };
        let mut from = 0;
        for size in 0..rules.faults_at_once.min(3) {
            let until = found.sets.len();
            for parent in from..until {
                let set = found.sets[parent];
                // Only suspects after the last one: each set has one parent, and none is found twice.
                let first = if size == 0 { 0 } else { set[size - 1] + 1 };
                for suspect in first..shares.len() as u16 {
                    let linked: f64 = set[..size].iter().map(|s| links.log(*s, suspect)).sum();
                    // The exponent of coincidence is |H| − 1: the first fault costs none.
                    let before = match size {
                        0 => 0.0,
                        _ => found.prior[parent] + coincidence,
                    };
                    let mut grown = set;
                    grown[size] = suspect;
                    let suspect = usize::from(suspect);
                    found.sets.push(grown);
                    found.prior.push(before + shares[suspect] + linked);
                    let side = 1 << rules.suspects[suspect].side.index();
                    found.sides.push(found.sides[parent] | side);
                }
            }
            from = until;
            match size {
                1 => found.pairs = until,
                2 => found.threes = until,
                _ => {}
            }
        }
        // Where the rule set allows fewer faults at once, there are no such sets: they begin at the end.
        found.pairs = found.pairs.min(found.sets.len());
        found.threes = found.threes.min(found.sets.len());
        found.normalise();
        found
    }

    fn normalise(&mut self) {
        // Relative to the greatest, which becomes 1: no sum of priors can vanish or overflow then.
        let top = self.prior.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let mut total = 0.0;
        for prior in &mut self.prior {
            *prior = libm::exp(*prior - top);
            total += *prior;
        }
        for prior in &mut self.prior {
            *prior /= total;
        }
    }
}

/// The suspects of a set.
pub(crate) fn members(set: &Set) -> impl Iterator<Item = usize> + '_ {
    let known = set.iter().take_while(|suspect| **suspect != NOBODY);
    known.map(|suspect| usize::from(*suspect))
}

/// How much likelier two suspects are together than chance would have it.
struct Links {
    logs: Vec<f64>,
    suspects: usize,
}

impl Links {
    fn of(rules: &RuleSet) -> Links {
        let suspects = rules.suspects.len();
        let mut logs = vec![0.0; suspects * suspects];
        for link in &rules.links {
            let times = libm::log(link.times);
            logs[link.first * suspects + link.second] = times;
            logs[link.second * suspects + link.first] = times;
        }
        Links { logs, suspects }
    }

    fn log(&self, first: u16, second: u16) -> f64 {
        self.logs[usize::from(first) * self.suspects + usize::from(second)]
    }
}
