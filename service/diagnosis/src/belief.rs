//! From evidence to belief: exact enumeration over the hypotheses, in log space.

use trisect_rules::Side;

use crate::model::{Model, log_sum};

/// One piece of evidence: its likelihood under every hypothesis.
#[derive(Clone, Debug)]
pub(crate) struct Piece {
    /// `None`: the complaint.
    pub(crate) check: Option<u16>,
    /// Natural logarithm of the likelihood, by hypothesis.
    pub(crate) log_likelihood: Vec<f64>,
    /// Natural logarithm of its probability before any evidence.
    pub(crate) log_marginal: f64,
}

impl Piece {
    pub(crate) fn new(model: &Model, check: Option<u16>, likelihood: &[f64]) -> Piece {
        let log_likelihood: Vec<f64> = likelihood.iter().map(|p| libm::log(*p)).collect();
        let joint = model.hypotheses.iter().zip(&log_likelihood);
        let log_marginal = log_sum(joint.map(|(h, l)| h.log_prior + l));
        Piece {
            check,
            log_likelihood,
            log_marginal,
        }
    }
}

/// What is believed, all evidence weighed.
#[derive(Clone, Debug)]
pub(crate) struct Belief {
    /// Posterior probability of each hypothesis.
    pub(crate) posterior: Vec<f64>,
    /// By side, the probability that at least one of its suspects is present.
    pub(crate) sides: [f64; 4],
    /// By suspect.
    pub(crate) suspects: Vec<f64>,
    /// Jensen's conflict measure, log ∏P(e_i)/P(e), natural logarithm.
    pub(crate) conflict: f64,
    /// Some hypothesis makes the evidence at least as probable as its pieces
    /// are on their own, and so explains a conflict away.
    pub(crate) explained: bool,
    /// By piece and side: the weight of the piece in decibans, 10 log10 of
    /// (odds with it / odds without it); infinite where it alone decides.
    pub(crate) decibans: Vec<[f64; 4]>,
}

/// Weighs the pieces. Evidence that no hypothesis allows leaves the prior, with
/// `conflict` infinite and nothing explained.
pub(crate) fn weigh(model: &Model, pieces: &[Piece]) -> Belief {
    let prior: Vec<f64> = model.hypotheses.iter().map(|h| h.log_prior).collect();
    let total = Total::of(pieces, prior.len());
    let joint: Vec<f64> = (0..prior.len()).map(|h| prior[h] + total.log(h)).collect();
    let log_evidence = log_sum(joint.iter().copied());
    let apart: f64 = pieces.iter().map(|p| p.log_marginal).sum();
    let possible = log_evidence > f64::NEG_INFINITY;
    let (weights, scale) = if possible {
        (&joint, log_evidence)
    } else {
        (&prior, 0.0)
    };
    let posterior: Vec<f64> = weights.iter().map(|w| libm::exp(w - scale)).collect();
    let odds = log_odds(model, &joint);
    let explained = possible && (0..prior.len()).any(|h| total.log(h) >= apart);
    Belief {
        sides: Side::ALL.map(|side| belief_in(model, &posterior, side)),
        suspects: suspects(model, &posterior),
        conflict: if possible {
            apart - log_evidence
        } else {
            f64::INFINITY
        },
        explained,
        decibans: pieces
            .iter()
            .map(|piece| decibans(model, odds, &total, &prior, piece))
            .collect(),
        posterior,
    }
}

/// The sum of the pieces' log likelihoods, zero likelihoods counted apart, so
/// that one piece can be taken out again.
struct Total {
    finite: Vec<f64>,
    impossible: Vec<u32>,
}

impl Total {
    fn of(pieces: &[Piece], hypotheses: usize) -> Total {
        let mut total = Total {
            finite: vec![0.0; hypotheses],
            impossible: vec![0; hypotheses],
        };
        for piece in pieces {
            for (h, l) in piece.log_likelihood.iter().enumerate() {
                if l.is_finite() {
                    total.finite[h] += l;
                } else {
                    total.impossible[h] += 1;
                }
            }
        }
        total
    }

    fn log(&self, h: usize) -> f64 {
        if self.impossible[h] > 0 {
            f64::NEG_INFINITY
        } else {
            self.finite[h]
        }
    }

    fn without(&self, h: usize, piece: &Piece) -> f64 {
        let l = piece.log_likelihood[h];
        let (own, others) = if l.is_finite() {
            (l, self.impossible[h])
        } else {
            (0.0, self.impossible[h] - 1)
        };
        if others > 0 {
            f64::NEG_INFINITY
        } else {
            self.finite[h] - own
        }
    }
}

fn belief_in(model: &Model, posterior: &[f64], side: Side) -> f64 {
    let bit = 1 << side.index();
    let with = model
        .hypotheses
        .iter()
        .zip(posterior)
        .filter(|(h, _)| h.sides & bit != 0);
    // Plus zero: the empty sum is -0.0.
    with.map(|(_, p)| p).sum::<f64>().min(1.0) + 0.0
}

fn suspects(model: &Model, posterior: &[f64]) -> Vec<f64> {
    let mut sums = vec![0.0; model.rules.suspects.len()];
    for (hypothesis, p) in model.hypotheses.iter().zip(posterior) {
        for suspect in &hypothesis.suspects {
            sums[usize::from(*suspect)] += p;
        }
    }
    sums.into_iter().map(|p: f64| p.min(1.0)).collect()
}

/// The weight of one piece for each side: the change of the log odds it makes.
fn decibans(
    model: &Model,
    with: [f64; 4],
    total: &Total,
    prior: &[f64],
    piece: &Piece,
) -> [f64; 4] {
    let rest: Vec<f64> = (0..prior.len())
        .map(|h| prior[h] + total.without(h, piece))
        .collect();
    let without = log_odds(model, &rest);
    Side::ALL.map(|side| {
        let weight = with[side.index()] - without[side.index()];
        10.0 * weight / std::f64::consts::LN_10
    })
}

/// By side, the natural logarithm of the odds that it is touched.
fn log_odds(model: &Model, weights: &[f64]) -> [f64; 4] {
    let top = weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    // Summed by which sides a hypothesis touches: one exponential each.
    let mut touched = [0.0; 16];
    for (hypothesis, weight) in model.hypotheses.iter().zip(weights) {
        touched[usize::from(hypothesis.sides)] += libm::exp(weight - top);
    }
    Side::ALL.map(|side| {
        let bit = 1 << side.index();
        let of = |with: bool| -> f64 {
            let chosen = (0..16).filter(|mask| (mask & bit != 0) == with);
            chosen.map(|mask| touched[mask]).sum()
        };
        libm::log(of(true)) - libm::log(of(false))
    })
}
