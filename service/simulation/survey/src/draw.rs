//! Which machine comes into the shop: faults by the rule set's shares, doubles
//! by its coincidence and links, some with nothing wrong; degrees by chance.

use trisect_machine::{Fault, FaultKind, Machine, Random};
use trisect_rules::RuleSet;

use crate::SurveyError;

/// Spread of a fault's degree about the usual one (engineering judgement, from memory).
const SPREAD: f64 = 0.12;
/// A fault milder than this does not bring a machine into the shop.
const MILDEST: f64 = 0.35;
/// A drawn machine without a complaint stays at work; so often others are drawn.
const TRIES: usize = 6;
/// Of all operators so many word their complaint as another one.
const MISWORDED: f64 = 0.02;
/// What is complained of when nothing in particular is wrong.
const VAGUE: [&str; 3] = ["hard-start", "low-power", "stalls"];

/// What can be drawn, with the sum of weights up to and with each.
pub(crate) struct Population {
    sets: Vec<(Vec<usize>, f64)>,
    kinds: Vec<FaultKind>,
    complaints: Vec<usize>,
}

/// A machine in the shop.
pub(crate) struct DrawnMachine {
    /// The machine, key off, after a night.
    pub machine: Machine,
    /// The suspects present, indexes into the rule set.
    pub faults: Vec<usize>,
    /// The faults with their degrees, for people.
    pub words: String,
    /// The complaint, an index into the rule set.
    pub complaint: Option<usize>,
    /// The operator complains although the machine shows nothing.
    pub vague: bool,
}

impl Population {
    /// Everything that can be wrong by this rule set.
    pub(crate) fn new(rules: &RuleSet) -> Result<Population, SurveyError> {
        let kind = |id: &str| FaultKind::all().find(|kind| kind.word() == id);
        let mut kinds = Vec::new();
        let mut unknown = Vec::new();
        for suspect in &rules.suspects {
            match kind(&suspect.id) {
                Some(kind) => kinds.push(kind),
                None => unknown.push(suspect.id.clone()),
            }
        }
        if !unknown.is_empty() {
            return Err(SurveyError::UnknownSuspects {
                unknown: unknown.join(", "),
            });
        }
        let vague = VAGUE.iter().filter_map(|id| rules.complaint_index(id));
        Ok(Population {
            sets: sets(rules),
            kinds,
            complaints: vague.collect(),
        })
    }

    fn faults(&self, random: &mut Random) -> Vec<usize> {
        let total = self.sets.last().map_or(0.0, |(_, sum)| *sum);
        let at = total * random.uniform();
        let found = self.sets.partition_point(|(_, sum)| *sum <= at);
        let found = found.min(self.sets.len().saturating_sub(1));
        self.sets
            .get(found)
            .map_or_else(Vec::new, |(set, _)| set.clone())
    }

    /// The machine of this stream of chance.
    pub(crate) fn machine(&self, rules: &RuleSet, random: &mut Random) -> DrawnMachine {
        let suspects = self.faults(random);
        self.with(rules, &suspects, random)
    }

    /// A machine with these suspects, brought in with its complaint.
    pub(crate) fn with(
        &self,
        rules: &RuleSet,
        suspects: &[usize],
        random: &mut Random,
    ) -> DrawnMachine {
        let mut drawn = self.once(rules, suspects, random);
        for _ in 1..TRIES {
            if drawn.complaint.is_some() || suspects.is_empty() {
                break;
            }
            drawn = self.once(rules, suspects, random);
        }
        if drawn.complaint.is_none() || random.chance(MISWORDED) {
            drawn.vague |= drawn.complaint.is_none();
            drawn.complaint = pick(&self.complaints, random);
        }
        drawn
    }

    fn once(&self, rules: &RuleSet, suspects: &[usize], random: &mut Random) -> DrawnMachine {
        let faults: Vec<Fault> = suspects
            .iter()
            .map(|suspect| {
                let kind = self.kinds[*suspect];
                let degree = kind.usual_degree() + SPREAD * random.normal();
                Fault {
                    kind,
                    degree: (degree.clamp(MILDEST, 1.0) * 100.0).round() / 100.0,
                }
            })
            .collect();
        let machine = Machine::new(random.whole(), &faults);
        let complaint = machine.complaint();
        let words: Vec<String> = faults.iter().map(Fault::to_string).collect();
        DrawnMachine {
            machine,
            faults: suspects.to_vec(),
            words: words.join("+"),
            complaint: complaint.and_then(|id| rules.complaint_index(id)),
            vague: false,
        }
    }
}

fn pick(of: &[usize], random: &mut Random) -> Option<usize> {
    let place = (random.uniform() * of.len() as f64) as usize;
    of.get(place).copied()
}

/// Every set of up to `faults_at_once` suspects, with the running sum of its weight:
/// nothing wrong, shares, and coincidence and links for several at once.
fn sets(rules: &RuleSet) -> Vec<(Vec<usize>, f64)> {
    let total: f64 = rules.suspects.iter().map(|s| s.share).sum();
    let times = |a: usize, b: usize| {
        let joins = |l: &&trisect_rules::Link| {
            (l.first, l.second) == (a, b) || (l.first, l.second) == (b, a)
        };
        rules
            .links
            .iter()
            .find(joins)
            .map_or(1.0, |link| link.times)
    };
    let mut found: Vec<(Vec<usize>, f64)> = vec![(Vec::new(), rules.none)];
    let mut last = vec![(Vec::new(), 1.0)];
    for size in 1..=rules.faults_at_once {
        let mut next = Vec::new();
        for (set, weight) in &last {
            let from = set.last().map_or(0, |top: &usize| top + 1);
            for suspect in from..rules.suspects.len() {
                let links: f64 = set.iter().map(|other| times(*other, suspect)).product();
                let rarer = if size > 1 { rules.coincidence } else { 1.0 };
                let weight = weight * rules.suspects[suspect].share / total * links * rarer;
                let mut set = set.clone();
                set.push(suspect);
                next.push((set, weight));
            }
        }
        found.extend(next.iter().cloned());
        last = next;
    }
    let mut sum = 0.0;
    for (_, weight) in &mut found {
        sum += *weight;
        *weight = sum;
    }
    found
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn faults_are_drawn_by_their_shares() {
        let rules = trisect_rules::shipped_rule_set("distributor-pump-12v").unwrap();
        let population = Population::new(&rules).unwrap();
        let mut random = Random::new(1, 1);
        let (mut none, mut double, mut dead) = (0, 0, 0);
        let lift_pump_dead = rules.suspect_index("lift-pump-dead").unwrap();
        for _ in 0..20_000 {
            let faults = population.faults(&mut random);
            none += usize::from(faults.is_empty());
            double += usize::from(faults.len() == 2);
            dead += usize::from(faults == [lift_pump_dead]);
        }
        let whole: f64 = population.sets.last().unwrap().1;
        assert!(
            (none as f64 / 2e4 - rules.none / whole).abs() < 0.005,
            "{none}"
        );
        assert!(
            (dead as f64 / 2e4 - 100.0 / 1510.0 / whole).abs() < 0.02,
            "{dead}"
        );
        assert!((500..3000).contains(&double), "{double}");
    }
}
