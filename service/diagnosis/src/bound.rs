//! How much evidence can speak for a hypothesis at most: what lets sets of three
//! suspects be left out before they are weighed, without changing the verdict.
//!
//! Adding suspect k to a hypothesis H multiplies its likelihood by the product,
//! over the pieces of evidence, of L(H ∪ k)/L(H). Each of these ratios has an
//! upper bound over all H, from the least and the greatest value that its column
//! can take ([`growth`]). So joint(pair) · prior ratio · growth(k) bounds what the
//! set of three can weigh; those below [`LEFT_OUT`] of what the smaller sets weigh
//! together are left out.

use crate::belief::Piece;
use crate::model::Model;

/// The part of the weight of all smaller hypotheses below which a set of three is
/// left out. With the 100 000 hypotheses that a rule set may have, what is left
/// out holds less than 1e-12 of the belief.
pub(crate) const LEFT_OUT: f64 = 1e-17;

/// Evidence that some hypothesis allows less often than this leaves nothing out:
/// its weight in decibans asks for the hypotheses that it nearly excludes.
const RAREST: f64 = 1e-9;

/// Room for the rounding of the bounds themselves.
const ROUNDING: f64 = 1.0 + 1e-9;

/// By suspect: adding it to any hypothesis multiplies the likelihood of the
/// evidence by no more than this. Infinite where there is no bound.
pub(crate) fn growth(model: &Model, pieces: &[Piece]) -> Vec<f64> {
    let mut growth = vec![1.0; model.rules.suspects.len()];
    for piece in pieces {
        let ratios = ratios(model, piece);
        for (growth, ratio) in growth.iter_mut().zip(ratios) {
            // A product that rounds down would no longer be a bound, and a set that matters could be dropped.
            *growth *= ratio * ROUNDING;
        }
    }
    growth
}

/// The least likelihood that any piece can have, as the part of a weight below
/// which nothing is left out; zero to leave out nothing at all.
pub(crate) fn rarest(model: &Model, pieces: &[Piece]) -> f64 {
    let least = pieces.iter().map(|piece| least(model, piece));
    let rarest = least.fold(1.0, f64::min);
    if rarest < RAREST { 0.0 } else { rarest }
}

fn ratios(model: &Model, piece: &Piece) -> Vec<f64> {
    let suspects = model.rules.suspects.len();
    let factors = |column: Option<usize>| -> Vec<f64> {
        column.map_or(vec![1.0; suspects], |c| model.columns.column(c).collect())
    };
    match (piece.upper, piece.lower) {
        // α + β q: q falls with every suspect, so the ratio is greatest at one end.
        (Some((column, beta)), None) => {
            let at = if beta < 0.0 {
                model.columns.base[column]
            } else {
                bottom(model, column)
            };
            let before = piece.alpha + beta * at;
            let ratio = |factor: f64| {
                // Without α the ratio is the factor, also where q is 0 and the quotient would be 0/0.
                if piece.alpha == 0.0 {
                    factor
                } else if before > 0.0 {
                    (piece.alpha + beta * at * factor) / before
                } else {
                    f64::INFINITY
                }
            };
            factors(Some(column)).into_iter().map(ratio).collect()
        }
        // x − y on cumulative columns: (x ρ − y σ)/(x − y) = ρ + (ρ − σ) y/(x − y).
        (upper, Some((column, _))) => {
            let above = upper.map(|(c, _)| c);
            let widest = closeness(model, above, column);
            let pairs = factors(above).into_iter().zip(factors(Some(column)));
            pairs
                .map(|(rho, sigma)| {
                    // y/(x − y) counts only where it adds: else its least value, zero, is the worst case.
                    if rho > sigma {
                        rho + (rho - sigma) * widest
                    } else {
                        rho
                    }
                })
                .collect()
        }
        (None, None) => vec![1.0; suspects],
    }
}

/// The greatest y/(x − y) over all hypotheses.
fn closeness(model: &Model, above: Option<usize>, below: usize) -> f64 {
    let x = above.map_or(1.0, |c| model.columns.base[c]);
    let y = model.columns.base[below];
    if y == 0.0 {
        return 0.0;
    }
    let mut shrink: Vec<f64> = (0..model.rules.suspects.len())
        .map(|suspect| {
            let factors = model.columns.factors(suspect);
            let rho = above.map_or(1.0, |c| factors[c]);
            // With no y left there is nothing to be close to.
            if factors[below] == 0.0 {
                1.0
            } else {
                rho / factors[below]
            }
        })
        .collect();
    // A set has three suspects at most, so the three smallest ratios bring y nearest to x.
    let nearest = x / y * smallest_three(&mut shrink);
    if nearest > 1.0 {
        1.0 / (nearest - 1.0)
    } else {
        f64::INFINITY
    }
}

fn least(model: &Model, piece: &Piece) -> f64 {
    match (piece.upper, piece.lower) {
        (Some((column, beta)), None) => {
            let ends = [model.columns.base[column], bottom(model, column)];
            let at = |q: f64| piece.alpha + beta * q;
            at(ends[0]).min(at(ends[1]))
        }
        (upper, Some((column, _))) => {
            // x − y = x (1 − y/x), and each part has its least value.
            let above = upper.map(|(c, _)| c);
            let x = above.map_or(1.0, |c| bottom(model, c));
            let widest = closeness(model, above, column);
            x / (1.0 + widest)
        }
        (None, None) => 1.0,
    }
}

/// The least value of a column: its base and its three smallest factors.
fn bottom(model: &Model, column: usize) -> f64 {
    let mut factors: Vec<f64> = model.columns.column(column).collect();
    model.columns.base[column] * smallest_three(&mut factors)
}

fn smallest_three(factors: &mut [f64]) -> f64 {
    factors.sort_by(f64::total_cmp);
    // A set may be smaller than three, so no factor above 1 has to be taken in.
    factors.iter().take(3).map(|f| f.min(1.0)).product()
}
