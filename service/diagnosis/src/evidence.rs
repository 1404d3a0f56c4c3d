//! The pieces of evidence in the form that is computed with.
//!
//! Every likelihood is divided by the probability that its piece has before any
//! evidence, so that products stay near one and their mean over the priors is
//! P(e)/∏P(e_i). Pieces lie four abreast, padded with such as say nothing.

use trisect_rules::Side;

use crate::belief::{Piece, log_odds};
use crate::bound;
use crate::columns::{Columns, Products};
use crate::model::Model;
use crate::scaled::{AT_ONCE, Scaled};

/// Pieces abreast.
const LANES: usize = 4;
/// A ratio this near to 1 is 1 but for rounding.
const AS_PROBABLE: f64 = 1.0 - 1e-12;

/// The pieces, those with a lower column first.
pub(crate) struct Evidence<'a> {
    model: &'a Model,
    pieces: Vec<Piece>,
    /// Where each of the pieces was among those given.
    order: Vec<usize>,
    alpha: Vec<f64>,
    /// The upper columns of all pieces, then the lower ones of those that have one.
    columns: Columns,
}

/// The joint weights of the hypotheses.
pub(crate) struct Joint {
    /// Indexes of those that are not too light to matter, ascending.
    pub(crate) weighed: Vec<u32>,
    /// Times two to the power of `exponent`.
    pub(crate) weights: Vec<f64>,
    pub(crate) exponent: i32,
    /// Some hypothesis makes the evidence as probable as its pieces are alone.
    pub(crate) explained: bool,
    /// No more than this was left out, on the scale of `weights`.
    pub(crate) left_out: f64,
}

impl<'a> Evidence<'a> {
    pub(crate) fn of(model: &'a Model, given: &[Piece]) -> Evidence<'a> {
        let mut order: Vec<usize> = (0..given.len()).collect();
        // So the lower columns lie beside the first pieces, and the inner loop needs no index to pair them.
        order.sort_by_key(|piece| given[*piece].lower.is_none());
        let pieces: Vec<Piece> = order.iter().map(|piece| given[*piece]).collect();
        let scales: Vec<f64> = pieces
            .iter()
            .map(|piece| piece.marginal(model))
            .map(|marginal| if marginal > 0.0 { 1.0 / marginal } else { 1.0 })
            .collect();
        let scaled = |(term, scale): (Option<(usize, f64)>, &f64)| {
            let (column, factor) = term.map_or((None, 0.0), |(c, x)| (Some(c), x));
            (column, factor * scale)
        };
        let upper = pieces.iter().map(|p| p.upper).zip(&scales).map(scaled);
        let with_lower = pieces.iter().filter(|p| p.lower.is_some());
        let lower = with_lower.map(|p| p.lower).zip(&scales).map(scaled);
        let wanted = padded(upper, (None, 0.0)).chain(padded(lower, (None, 0.0)));
        let alpha = pieces.iter().zip(&scales).map(|(p, scale)| p.alpha * scale);
        // A padding piece is 1 + 0 · q: times one under every hypothesis.
        let alpha = padded(alpha, 1.0).collect();
        let columns = model.columns.select(&wanted.collect::<Vec<_>>());
        Evidence {
            model,
            pieces,
            order,
            alpha,
            columns,
        }
    }

    /// The likelihoods of the pieces under a hypothesis, its columns in two parts.
    fn likelihoods(&self, (row, factors): (&[f64], &[f64]), into: &mut [f64]) {
        let (upper, lower) = row.split_at(self.alpha.len());
        let (upper_factors, lower_factors) = factors.split_at(self.alpha.len());
        let terms = self.alpha.iter().zip(upper).zip(upper_factors);
        for (likelihood, ((alpha, upper), factor)) in into.iter_mut().zip(terms) {
            *likelihood = alpha + upper * factor;
        }
        for (likelihood, (lower, factor)) in into.iter_mut().zip(lower.iter().zip(lower_factors)) {
            *likelihood += lower * factor;
        }
        // x − y may round to just below zero, and two such signs would make a weight out of nothing.
        for likelihood in into.iter_mut() {
            *likelihood = if *likelihood > 0.0 { *likelihood } else { 0.0 };
        }
    }

    /// Weighs every hypothesis that is not too light: a set of three that weighs
    /// less than the part `light` of all smaller ones is left out.
    pub(crate) fn joint(&self, light: f64) -> Joint {
        let hypotheses = &self.model.hypotheses;
        let mut products = Products::new(&self.columns);
        let mut likelihoods = vec![0.0; self.alpha.len()];
        let mut likelihood = |h: usize| {
            self.likelihoods(products.in_parts(&hypotheses.sets[h]), &mut likelihoods);
            product(&likelihoods)
        };
        let mut found: Vec<Scaled> = (0..hypotheses.threes).map(&mut likelihood).collect();
        let mut weighed: Vec<u32> = (0..hypotheses.threes as u32).collect();
        let reference = top(&found);
        let weight = |h: usize, found: Scaled, exponent| hypotheses.prior[h] * found.over(exponent);
        let smaller: f64 = found
            .iter()
            .enumerate()
            .map(|(h, s)| weight(h, *s, reference))
            .sum();
        // The smaller sets are weighed first and in full: what is light is told by what they weigh.
        let limit = light * bound::rarest(self.model, &self.pieces) * smaller;
        let growth = if limit > 0.0 && hypotheses.threes < hypotheses.sets.len() {
            bound::growth(self.model, &self.pieces)
        } else {
            vec![f64::INFINITY; self.model.rules.suspects.len()]
        };
        let one = Scaled::one_over(reference);
        let mut left_out = 0.0;
        let mut pair = hypotheses.pairs;
        for h in hypotheses.threes..hypotheses.sets.len() {
            let set = &hypotheses.sets[h];
            // Pairs are in the same order as the threes that begin with them.
            while hypotheses.sets[pair][..2] != set[..2] {
                pair += 1;
            }
            // Sets that the evidence excludes (zero) are kept all the same: a piece that alone excludes them
            // takes its decibans from what they would weigh without it.
            let below = found[pair].over(reference);
            let most = below * growth[usize::from(set[2])];
            // A set that could explain a conflict is weighed however light it is.
            let light = |ratio: f64| ratio < one && hypotheses.prior[h] * ratio < limit;
            if below > 0.0 && light(most) {
                left_out += hypotheses.prior[h] * most;
                continue;
            }
            let exactly = likelihood(h);
            let ratio = exactly.over(reference);
            if ratio > 0.0 && light(ratio) {
                left_out += hypotheses.prior[h] * ratio;
                continue;
            }
            weighed.push(h as u32);
            found.push(exactly);
        }
        let exponent = top(&found);
        let pairs = weighed.iter().zip(&found);
        Joint {
            weights: pairs
                .map(|(h, s)| weight(*h as usize, *s, exponent))
                .collect(),
            weighed,
            exponent,
            explained: found.iter().any(|s| s.at_least(AS_PROBABLE)),
            left_out: left_out * Scaled::power(reference.saturating_sub(exponent)),
        }
    }

    /// The weight of each piece given, for each side, in decibans: the change of
    /// the log odds that it makes.
    pub(crate) fn decibans(&self, joint: &Joint) -> Vec<[f64; 4]> {
        let hypotheses = &self.model.hypotheses;
        let width = self.alpha.len();
        let mut products = Products::new(&self.columns);
        let mut likelihoods = vec![0.0; width];
        let mut with = [0.0; 16];
        // `[which sides are touched][piece]`: the weight without the piece.
        let mut without = vec![0.0; 16 * width];
        for (h, weight) in joint.weighed.iter().zip(&joint.weights) {
            let h = *h as usize;
            let mask = usize::from(hypotheses.sides[h]);
            with[mask] += weight;
            let row = &mut without[mask * width..(mask + 1) * width];
            self.likelihoods(products.in_parts(&hypotheses.sets[h]), &mut likelihoods);
            // Divided out again rather than weighed anew without it: one pass serves every piece.
            if *weight > 0.0 {
                for (rest, likelihood) in row.iter_mut().zip(&likelihoods) {
                    *rest += weight / likelihood;
                }
            } else if let Some(piece) = only_zero(&likelihoods) {
                // What this piece alone excludes weighs all the rest without it.
                likelihoods[piece] = 1.0;
                row[piece] += hypotheses.prior[h] * product(&likelihoods).over(joint.exponent);
            }
        }
        let with = log_odds(&with);
        let mut decibans = vec![[0.0; 4]; self.pieces.len()];
        for (piece, given) in self.order.iter().enumerate() {
            let mut touched = [0.0; 16];
            for (mask, sum) in touched.iter_mut().enumerate() {
                *sum = without[mask * width + piece];
            }
            let without = log_odds(&touched);
            decibans[*given] = Side::ALL.map(|side| {
                let change = with[side.index()] - without[side.index()];
                10.0 * change / std::f64::consts::LN_10
            });
        }
        decibans
    }
}

fn top(found: &[Scaled]) -> i32 {
    found.iter().map(|s| s.exponent).max().unwrap_or(0)
}

/// The product of likelihoods, four abreast.
fn product(likelihoods: &[f64]) -> Scaled {
    let mut product = Scaled::ONE;
    for some in likelihoods.chunks(AT_ONCE) {
        // Four products that do not wait for each other, joined in one fixed order: vector instructions
        // may be used and the last digit is still the same on every machine.
        let mut lanes = [1.0; LANES];
        for abreast in some.chunks_exact(LANES) {
            for (lane, likelihood) in lanes.iter_mut().zip(abreast) {
                *lane *= likelihood;
            }
        }
        product.multiply((lanes[0] * lanes[1]) * (lanes[2] * lanes[3]));
    }
    product
}

/// Filled up to a multiple of the lanes.
fn padded<T: Copy>(some: impl Iterator<Item = T>, with: T) -> impl Iterator<Item = T> {
    let some: Vec<T> = some.collect();
    let missing = some.len().next_multiple_of(LANES) - some.len();
    some.into_iter().chain(std::iter::repeat_n(with, missing))
}

fn only_zero(likelihoods: &[f64]) -> Option<usize> {
    let mut zeros = likelihoods.iter().enumerate().filter(|(_, l)| **l == 0.0);
    let first = zeros.next().map(|(piece, _)| piece);
    first.filter(|_| zeros.next().is_none())
}
