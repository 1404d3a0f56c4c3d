//! From evidence to belief: exact enumeration over the hypotheses.

use trisect_rules::Side;

use crate::bound;
use crate::evidence::Evidence;
use crate::hypotheses::members;
use crate::model::Model;

/// One piece of evidence: its likelihood under a hypothesis is
/// α + β · upper column + γ · lower column.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Piece {
    /// `None`: the complaint.
    pub(crate) check: Option<u16>,
    pub(crate) alpha: f64,
    /// A column and β.
    pub(crate) upper: Option<(usize, f64)>,
    /// A column and γ, for an answer between the healthiest and the worst.
    pub(crate) lower: Option<(usize, f64)>,
}

impl Piece {
    /// A complaint that was made: 1 − P(it is not made).
    pub(crate) fn complaint(model: &Model, complaint: usize) -> Piece {
        Piece {
            check: None,
            alpha: 1.0,
            upper: Some((model.places.complaints[complaint], -1.0)),
            lower: None,
        }
    }

    /// A measured check that passes with probability `p`: a mixture of both
    /// results, p · q + (1 − p)(1 − q).
    pub(crate) fn passes(model: &Model, check: u16, p: f64) -> Piece {
        Piece {
            check: Some(check),
            alpha: 1.0 - p,
            upper: Some((model.places.checks[usize::from(check)].0, 2.0 * p - 1.0)),
            lower: None,
        }
    }

    /// An answer: P(this one or a healthier one) − P(a healthier one).
    pub(crate) fn answer(model: &Model, check: u16, answer: u16) -> Piece {
        let (first, answers) = model.places.checks[usize::from(check)];
        // The fold takes any index, so one beyond the last answer is read as the worst.
        let answer = usize::from(answer).min(answers - 1);
        let worst = answer + 1 == answers;
        Piece {
            check: Some(check),
            alpha: if worst { 1.0 } else { 0.0 },
            upper: (!worst).then(|| (first + answer, 1.0)),
            lower: (answer > 0).then(|| (first + answer - 1, -1.0)),
        }
    }

    /// Its probability before any evidence.
    pub(crate) fn marginal(&self, model: &Model) -> f64 {
        let part = |term: Option<(usize, f64)>| term.map_or(0.0, |(c, x)| x * model.means[c]);
        (self.alpha + part(self.upper) + part(self.lower)).max(0.0)
    }
}

/// What is believed, all evidence weighed.
#[derive(Clone, Debug)]
pub(crate) struct Belief {
    /// Indexes of the hypotheses that were weighed, ascending: all but those
    /// that `bound` proves to be too light to matter.
    pub(crate) weighed: Vec<u32>,
    /// Posterior probability of each of these.
    pub(crate) posterior: Vec<f64>,
    /// No more than this part of the belief was left out.
    pub(crate) left_out: f64,
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
    weigh_but(model, pieces, bound::LEFT_OUT)
}

/// The same, with another part of the weight below which a set of three is left
/// out; zero weighs every hypothesis.
pub(crate) fn weigh_but(model: &Model, pieces: &[Piece], light: f64) -> Belief {
    let evidence = Evidence::of(model, pieces);
    let joint = evidence.joint(light);
    // Summed in the order of the hypotheses, always: another order gives other last digits, and a
    // replayed job would no longer give the same bytes.
    let total: f64 = joint.weights.iter().sum();
    let possible = total > 0.0;
    let posterior: Vec<f64> = if possible {
        joint.weights.iter().map(|w| w / total).collect()
    } else {
        let priors = joint.weighed.iter();
        priors
            .map(|h| model.hypotheses.prior[*h as usize])
            .collect()
    };
    // The likelihoods were divided by their marginals, so `total` is P(e)/∏P(e_i) already.
    let conflict = if possible {
        -(libm::log(total) + f64::from(joint.exponent) * std::f64::consts::LN_2)
    } else {
        f64::INFINITY
    };
    // By set of sides: from these sixteen sums come the weights with and without any side.
    let mut touched = [0.0; 16];
    let mut suspects = vec![0.0; model.rules.suspects.len()];
    for (h, p) in joint.weighed.iter().zip(&posterior) {
        touched[usize::from(model.hypotheses.sides[*h as usize])] += p;
        for suspect in members(&model.hypotheses.sets[*h as usize]) {
            suspects[suspect] += p;
        }
    }
    Belief {
        decibans: if possible {
            evidence.decibans(&joint)
        } else {
            vec![[f64::NAN; 4]; pieces.len()]
        },
        // Sums of rounded parts may pass one in the last digit; a probability must not.
        sides: Side::ALL.map(|side| of_side(&touched, side, true).min(1.0)),
        suspects: suspects.into_iter().map(|p: f64| p.min(1.0)).collect(),
        conflict,
        explained: possible && joint.explained,
        left_out: if possible {
            joint.left_out / total
        } else {
            0.0
        },
        weighed: joint.weighed,
        posterior,
    }
}

/// The weight of the sets of sides that hold a side, or that do not.
pub(crate) fn of_side(touched: &[f64; 16], side: Side, with: bool) -> f64 {
    let bit = 1 << side.index();
    let chosen = (0..16).filter(|mask| (mask & bit != 0) == with);
    // Plus zero: the empty sum is -0.0.
    chosen.map(|mask: usize| touched[mask]).sum::<f64>() + 0.0
}

/// By side, the natural logarithm of the odds that it is touched.
pub(crate) fn log_odds(touched: &[f64; 16]) -> [f64; 4] {
    // The weight without a side is summed by itself: 1 − p has no digits left where p is near one.
    Side::ALL.map(|side| {
        libm::log(of_side(touched, side, true)) - libm::log(of_side(touched, side, false))
    })
}
