//! What a test would tell: the expected fall of the entropy over groups of
//! hypotheses.

use trisect_rules::Side;

use crate::belief::{Belief, Piece};
use crate::columns::{Columns, Products};
use crate::hypotheses::{NOBODY, Set, members};
use crate::model::Model;

/// Hypotheses that need not be told apart share a number.
pub(crate) struct Groups {
    /// By hypothesis that was weighed.
    pub(crate) of: Vec<u32>,
    pub(crate) count: usize,
}

impl Groups {
    /// By which sides they touch or, once a side is isolated, by which of its
    /// suspects they hold.
    pub(crate) fn new(model: &Model, belief: &Belief, isolated: Option<Side>) -> Groups {
        let sets = belief.weighed.iter().map(|h| *h as usize);
        let Some(side) = isolated else {
            return Groups {
                of: sets.map(|h| u32::from(model.hypotheses.sides[h])).collect(),
                // Every set of the four sides has its place, so its bits are the number of the group.
                count: 16,
            };
        };
        let place = places_on(model, side);
        let base = place.iter().max().map_or(1, |most| most + 1);
        // A set has three suspects at most, so three digits to this base name it: a table needs no hashing.
        let mut numbers = vec![u32::MAX; base.pow(3)];
        let mut count = 0;
        let of = sets
            .map(|h| {
                let number = &mut numbers[key(&place, base, &model.hypotheses.sets[h])];
                if *number == u32::MAX {
                    *number = count;
                    count += 1;
                }
                *number
            })
            .collect();
        Groups {
            of,
            count: count as usize,
        }
    }
}

/// By suspect, its place among those of the side, from one; zero for the others.
fn places_on(model: &Model, side: Side) -> Vec<usize> {
    let mut here = 0;
    let suspects = model.rules.suspects.iter();
    suspects
        .map(|suspect| {
            here += usize::from(suspect.side == side);
            if suspect.side == side { here } else { 0 }
        })
        .collect()
}

fn key(place: &[usize], base: usize, set: &Set) -> usize {
    let here = members(set)
        .map(|suspect| place[suspect])
        .filter(|p| *p > 0);
    // Suspects ascend in a set, so the same ones on this side always give the same key.
    here.fold(0, |key, place| key * base + place)
}

/// The results of one test, as columns side by side.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Results {
    /// Where its first column is.
    first: usize,
    /// How many it has.
    count: usize,
}

impl Results {
    /// The probability of a result: of its column what that of the result before
    /// does not hold; the last result reaches `whole`.
    fn part(self, row: &[f64], whole: f64, result: usize) -> f64 {
        let upto = |result: usize| row[self.first + result];
        let reached = if result + 1 == self.count {
            whole
        } else {
            upto(result)
        };
        let below = if result == 0 { 0.0 } else { upto(result - 1) };
        (reached - below).max(0.0)
    }
}

/// Tests whose columns lie side by side.
pub(crate) struct Tests {
    columns: Columns,
    results: Vec<Results>,
}

impl Tests {
    pub(crate) fn new(model: &Model, checks: impl Iterator<Item = usize>) -> Tests {
        let mut wanted = Vec::new();
        let mut results = Vec::new();
        for check in checks {
            let (first, count) = model.places.checks[check];
            results.push(Results {
                first: wanted.len(),
                count,
            });
            // The worst result is reached under every hypothesis: it has no column, `whole` stands for it.
            wanted.extend((first..first + count - 1).map(|column| (Some(column), 1.0)));
        }
        Tests {
            columns: model.columns.select(&wanted),
            results,
        }
    }

    fn width(&self) -> usize {
        self.columns.width()
    }
}

/// By test, the expected fall of the entropy, in bits.
///
/// A piece of evidence that a test has already given, undecided, would be
/// replaced, so it is taken out first.
pub(crate) fn gains(
    model: &Model,
    belief: &Belief,
    groups: &Groups,
    checks: &[usize],
    pieces: &[Piece],
) -> Vec<f64> {
    let own = |check: usize| pieces.iter().find(|p| p.check == Some(check as u16));
    let (mut gains, mut fresh) = (vec![0.0; checks.len()], Vec::new());
    for (place, check) in checks.iter().enumerate() {
        match own(*check) {
            Some(piece) => {
                // Counted as well, its old result would make a test look as if it told little more.
                let rest = without(model, belief, piece);
                let tests = Tests::new(model, std::iter::once(*check));
                gains[place] = weighed(model, belief, &rest, groups, &tests)[0];
            }
            None => fresh.push(place),
        }
    }
    let tests = Tests::new(model, fresh.iter().map(|place| checks[*place]));
    let found = weighed(model, belief, &belief.posterior, groups, &tests);
    for (place, gain) in fresh.into_iter().zip(found) {
        gains[place] = gain;
    }
    gains
}

fn weighed(
    model: &Model,
    belief: &Belief,
    weights: &[f64],
    groups: &Groups,
    tests: &Tests,
) -> Vec<f64> {
    let mut masses = Masses::new(groups.count, tests.width());
    let mut products = Products::new(&tests.columns);
    let mut run = AlikeHypotheses::new(tests.width());
    for ((h, weight), group) in belief.weighed.iter().zip(weights).zip(&groups.of) {
        let set = &model.hypotheses.sets[*h as usize];
        let (begins, last) = split(set);
        // Sums before products: hypotheses that differ in their last suspect alone are adjacent.
        if run.group != *group || run.begins != begins {
            run.end(&mut masses, &mut products);
            (run.group, run.begins) = (*group, begins);
        }
        run.add(*weight, last.map(|suspect| tests.columns.factors(suspect)));
    }
    run.end(&mut masses, &mut products);
    let before = masses.entropy();
    let gain = |results: &Results| masses.gain(&before, *results);
    tests.results.iter().map(gain).collect()
}

/// Hypotheses one after another that begin alike and are in one group: what they
/// begin with is multiplied in once, when their sum is complete.
struct AlikeHypotheses {
    group: u32,
    begins: Set,
    whole: f64,
    /// By column, the sum of the weights times the factors of the last suspects.
    times: Vec<f64>,
}

impl AlikeHypotheses {
    fn new(width: usize) -> AlikeHypotheses {
        AlikeHypotheses {
            group: 0,
            begins: [NOBODY; 3],
            whole: 0.0,
            times: vec![0.0; width],
        }
    }

    fn add(&mut self, weight: f64, factors: Option<&[f64]>) {
        self.whole += weight;
        match factors {
            Some(factors) => {
                for (sum, factor) in self.times.iter_mut().zip(factors) {
                    *sum += weight * factor;
                }
            }
            None => self.times.iter_mut().for_each(|sum| *sum += weight),
        }
    }

    fn end(&mut self, masses: &mut Masses, products: &mut Products<'_>) {
        if self.whole > 0.0 {
            let begins = products.of(&self.begins);
            masses.whole[self.group as usize] += self.whole;
            let into = masses.row_mut(self.group as usize);
            for ((mass, sum), product) in into.iter_mut().zip(&self.times).zip(begins) {
                *mass += sum * product;
            }
        }
        self.whole = 0.0;
        self.times.fill(0.0);
    }
}

/// What a hypothesis begins with, and its last suspect.
fn split(set: &Set) -> (Set, Option<usize>) {
    let mut begins = *set;
    let last = members(set).count().checked_sub(1);
    let last = last.map(|place| usize::from(std::mem::replace(&mut begins[place], NOBODY)));
    (begins, last)
}

/// The weights of the hypotheses without one piece of evidence, but for scale.
fn without(model: &Model, belief: &Belief, piece: &Piece) -> Vec<f64> {
    let terms = [piece.upper, piece.lower];
    let wanted = terms.map(|term| term.map_or((None, 0.0), |(c, x)| (Some(c), x)));
    let columns = model.columns.select(&wanted);
    let mut products = Products::new(&columns);
    let weighed = belief.weighed.iter().zip(&belief.posterior);
    weighed
        .map(|(h, p)| {
            let row = products.of(&model.hypotheses.sets[*h as usize]);
            let likelihood = piece.alpha + row[0] + row[1];
            if likelihood > 0.0 {
                p / likelihood
            } else {
                0.0
            }
        })
        .collect()
}

/// Weights summed by group: alone, and times each column.
pub(crate) struct Masses {
    whole: Vec<f64>,
    /// `[group][column]`.
    times: Vec<f64>,
    width: usize,
}

impl Masses {
    fn new(groups: usize, width: usize) -> Masses {
        Masses {
            whole: vec![0.0; groups],
            times: vec![0.0; groups * width],
            width,
        }
    }

    fn add(&mut self, group: usize, weight: f64, row: &[f64]) {
        self.whole[group] += weight;
        for (mass, product) in self.row_mut(group).iter_mut().zip(row) {
            *mass += weight * product;
        }
    }

    fn row_mut(&mut self, group: usize) -> &mut [f64] {
        &mut self.times[group * self.width..(group + 1) * self.width]
    }

    fn row(&self, group: usize) -> &[f64] {
        &self.times[group * self.width..(group + 1) * self.width]
    }

    fn entropy(&self) -> Entropy {
        Entropy::of(self.whole.iter().copied())
    }

    /// By how much a test lets the entropy fall that was before it.
    fn gain(&self, before: &Entropy, results: Results) -> f64 {
        let after: f64 = (0..results.count)
            .map(|result| {
                let groups = self.whole.iter().enumerate();
                let part = groups.map(|(g, whole)| results.part(self.row(g), *whole, result));
                let after = Entropy::of(part);
                after.mass * after.bits
            })
            .sum();
        if before.mass > 0.0 {
            // No test raises the entropy on average; what lies below zero is rounding.
            (before.bits - after / before.mass).max(0.0)
        } else {
            0.0
        }
    }
}

/// What a test and the best one after it would tell.
pub(crate) struct Ahead {
    pub(crate) bits: f64,
    pub(crate) minutes: f64,
}

/// A hypothesis less probable than this is left out of looking ahead, which only
/// compares tests: of the 100 000 that there may be, all together a tenth of what
/// looking ahead has to promise.
const UNLIKELY: f64 = 5e-8;
/// A second test that tells less is not done, bits.
const NOTHING: f64 = 1e-9;

/// For each of the `first` tests (with its own gain and minutes): what it tells
/// together with the `second` test that is best after its result.
pub(crate) fn ahead(
    model: &Model,
    belief: &Belief,
    groups: &Groups,
    first: &[(usize, f64, f64)],
    second: &[(usize, f64)],
) -> Vec<Ahead> {
    let firsts = Tests::new(model, first.iter().map(|(check, ..)| *check));
    let seconds = Tests::new(model, second.iter().map(|(check, _)| *check));
    let cases: Vec<(usize, usize)> = firsts
        .results
        .iter()
        .enumerate()
        .flat_map(|(test, results)| (0..results.count).map(move |result| (test, result)))
        .collect();
    let mut masses: Vec<Masses> = cases
        .iter()
        .map(|_| Masses::new(groups.count, seconds.width()))
        .collect();
    let mut products = Products::new(&firsts.columns);
    let mut others = Products::new(&seconds.columns);
    for ((h, p), group) in belief.weighed.iter().zip(&belief.posterior).zip(&groups.of) {
        if *p < UNLIKELY {
            continue;
        }
        let set = &model.hypotheses.sets[*h as usize];
        let (row, other) = (products.of(set), others.of(set));
        for ((test, result), masses) in cases.iter().zip(&mut masses) {
            let part = firsts.results[*test].part(row, 1.0, *result);
            masses.add(*group as usize, p * part, other);
        }
    }
    let mut options: Vec<Vec<Vec<(f64, f64)>>> = vec![Vec::new(); first.len()];
    for ((test, _), masses) in cases.iter().zip(&masses) {
        let mass: f64 = masses.whole.iter().sum();
        let others = second.iter().zip(&seconds.results);
        let others = others.filter(|((check, _), _)| *check != first[*test].0);
        let before = masses.entropy();
        let told = others.map(|((_, min), results)| (masses.gain(&before, *results), *min));
        let told = told.filter(|(bits, _)| *bits > NOTHING);
        options[*test].push(told.map(|(bits, min)| (mass * bits, mass * min)).collect());
    }
    let firsts = first.iter().zip(&options);
    firsts
        .map(|((_, bits, minutes), options)| best_rate(*bits, *minutes, options))
        .collect()
}

/// Of a first test, and for each of its results what further tests would tell in
/// how many minutes: the choice among these that tells most a minute altogether.
/// After a result that leaves nothing to ask, nothing is done.
///
/// Since each first test is given its best seconds, a pair that tells the same in
/// either order does not change the choice; what can are results that make the
/// second test needless, or another one better.
fn best_rate(bits: f64, minutes: f64, options: &[Vec<(f64, f64)>]) -> Ahead {
    let mut best = Ahead { bits, minutes };
    // Dinkelbach's method for a ratio: the rate only rises, and soon stands still.
    for round in 0..8 {
        let rate = best.bits / best.minutes;
        let mut found = Ahead { bits, minutes };
        for options in options {
            let worth = |(bits, minutes): &(f64, f64)| bits - rate * minutes;
            let most = options.iter().max_by(|a, b| worth(a).total_cmp(&worth(b)));
            let (more, longer) = most.copied().unwrap_or_default();
            found.bits += more;
            found.minutes += longer;
        }
        let rises = found.bits / found.minutes > rate;
        // The first round starts from the first test alone, which may be the better rate.
        if round > 0 && !rises {
            break;
        }
        best = found;
    }
    best
}

/// Of masses that need not add up to one.
struct Entropy {
    mass: f64,
    bits: f64,
}

impl Entropy {
    /// H = log Σm − Σ m log m / Σm.
    fn of(masses: impl Iterator<Item = f64>) -> Entropy {
        let (mut mass, mut sum) = (0.0, 0.0);
        for m in masses {
            if m > 0.0 {
                mass += m;
                sum += m * libm::log2(m);
            }
        }
        let bits = if mass > 0.0 {
            (libm::log2(mass) - sum / mass).max(0.0)
        } else {
            0.0
        };
        Entropy { mass, bits }
    }
}

#[cfg(test)]
mod tests {
    use super::Entropy;

    #[test]
    fn the_second_test_is_chosen_for_the_pair() {
        let check = |options: &[Vec<(f64, f64)>], bits: f64, minutes: f64| {
            let best = super::best_rate(0.5, 1.0, options);
            assert_eq!((best.bits, best.minutes), (bits, minutes));
        };
        // 3.7 bits in 9 minutes are more a minute than 0.8 in 2, whatever the second alone.
        check(&[vec![(0.3, 1.0), (3.2, 8.0)]], 3.7, 9.0);
        // A result that settles everything costs no second test.
        check(&[vec![], vec![(0.25, 0.5)]], 0.75, 1.5);
        check(&[vec![(0.1, 2.0), (0.2, 2.0)]], 0.7, 3.0);
    }

    #[test]
    fn entropy_in_bits() {
        let check = |masses: &[f64], bits: f64| {
            assert!((Entropy::of(masses.iter().copied()).bits - bits).abs() < 1e-15);
        };
        check(&[0.5, 0.5], 1.0);
        check(&[3.0, 0.0], 0.0);
        check(&[1.0, 1.0, 1.0, 1.0], 2.0);
        check(&[], 0.0);
    }
}
