//! What a rule set's checks and complaints are worth, suspect by suspect.
//!
//! Everything that noisy-OR and noisy-MAX need is a product over the suspects of
//! a hypothesis: P(passes), P(no such complaint), P(this answer or a healthier
//! one). Each of these is a *column*: a base, and one factor for each suspect.
//! So the memory grows with suspects × checks, never with the hypotheses.

use trisect_rules::{How, RuleSet};

use crate::hypotheses::{NOBODY, Set};

/// Columns side by side: bases, and the factors of each suspect.
#[derive(Clone, Debug, Default)]
pub(crate) struct Columns {
    pub(crate) base: Vec<f64>,
    /// `[suspect][column]`, in one piece.
    factors: Vec<f64>,
    suspects: usize,
}

/// Where the columns of checks and complaints are.
#[derive(Clone, Debug, Default)]
pub(crate) struct ColumnPositions {
    /// `[check]`: its first column, and how many results it has. A measured check
    /// has one column (passes), an asked one all but its worst answer, which
    /// every machine reaches.
    pub(crate) checks: Vec<(usize, usize)>,
    /// `[complaint]`: the column of its absence.
    pub(crate) complaints: Vec<usize>,
}

impl Columns {
    /// The columns of a rule set, checks first.
    pub(crate) fn of(rules: &RuleSet) -> (Columns, ColumnPositions) {
        let mut base = Vec::new();
        let mut unlike_one = Vec::new();
        let mut places = ColumnPositions::default();
        for check in &rules.checks {
            let first = base.len();
            let results = match &check.how {
                How::Measured(measured) => {
                    silence(
                        measured.otherwise,
                        &measured.fails,
                        &mut base,
                        &mut unlike_one,
                    );
                    2
                }
                How::Asked(asked) => {
                    let healthy = cumulative(&asked.otherwise);
                    for (suspect, row) in &asked.expect {
                        let reached = healthy.iter().zip(cumulative(row));
                        for (answer, (of_none, own)) in reached.enumerate() {
                            // A base of 0 stays 0 whatever the factor; the quotient would be infinite.
                            let factor = if *of_none == 0.0 { 0.0 } else { own / of_none };
                            unlike_one.push((*suspect, first + answer, factor));
                        }
                    }
                    base.extend(&healthy);
                    asked.answers.len()
                }
            };
            places.checks.push((first, results));
        }
        for complaint in &rules.complaints {
            places.complaints.push(base.len());
            silence(
                complaint.otherwise,
                &complaint.given,
                &mut base,
                &mut unlike_one,
            );
        }
        let width = base.len();
        let suspects = rules.suspects.len();
        // A suspect that a check does not speak of leaves it as on a sound machine: times one.
        let mut factors = vec![1.0; suspects * width];
        for (suspect, column, factor) in unlike_one {
            factors[suspect * width + column] = factor;
        }
        let columns = Columns {
            base,
            factors,
            suspects,
        };
        (columns, places)
    }

    pub(crate) fn width(&self) -> usize {
        self.base.len()
    }

    pub(crate) fn factors(&self, suspect: usize) -> &[f64] {
        let width = self.width();
        &self.factors[suspect * width..(suspect + 1) * width]
    }

    /// The factors of one column, by suspect.
    pub(crate) fn column(&self, column: usize) -> impl Iterator<Item = f64> + '_ {
        (0..self.suspects).map(move |suspect| self.factors(suspect)[column])
    }

    /// Some of the columns, each scaled; no column means a constant.
    pub(crate) fn select(&self, wanted: &[(Option<usize>, f64)]) -> Columns {
        let base = wanted
            .iter()
            .map(|(column, scale)| column.map_or(1.0, |c| self.base[c]) * scale)
            .collect();
        let mut factors = Vec::with_capacity(self.suspects * wanted.len());
        for suspect in 0..self.suspects {
            let own = self.factors(suspect);
            factors.extend(
                wanted
                    .iter()
                    .map(|(column, _)| column.map_or(1.0, |c| own[c])),
            );
        }
        Columns {
            base,
            factors,
            suspects: self.suspects,
        }
    }
}

/// Noisy-OR: the probability that nothing shows is (1 − o) ∏ (1 − f_i)/(1 − o).
fn silence(
    otherwise: f64,
    given: &[(usize, f64)],
    base: &mut Vec<f64>,
    unlike_one: &mut Vec<(usize, usize, f64)>,
) {
    let silent = 1.0 - otherwise;
    for (suspect, shows) in given {
        let factor = if silent == 0.0 {
            0.0
        } else {
            (1.0 - shows) / silent
        };
        unlike_one.push((*suspect, base.len(), factor));
    }
    base.push(silent);
}

/// Probabilities of each answer or a healthier one, the worst left out: it is 1.
fn cumulative(row: &[f64]) -> Vec<f64> {
    let mut sum = 0.0;
    let but_worst = &row[..row.len().saturating_sub(1)];
    but_worst
        .iter()
        .map(|p| {
            sum += p;
            sum
        })
        .collect()
}

/// The products of some columns over one hypothesis after another. What the next
/// has in common with the last is not multiplied again.
pub(crate) struct Products<'a> {
    columns: &'a Columns,
    at: Set,
    /// By how many suspects are multiplied in.
    rows: [Vec<f64>; 4],
    ones: Vec<f64>,
}

impl<'a> Products<'a> {
    pub(crate) fn new(columns: &'a Columns) -> Products<'a> {
        Products {
            columns,
            at: [NOBODY; 3],
            rows: [(); 4].map(|()| columns.base.clone()),
            ones: vec![1.0; columns.width()],
        }
    }

    /// The columns under a hypothesis.
    pub(crate) fn of(&mut self, set: &Set) -> &[f64] {
        let depth = size(set);
        self.multiply(set, depth);
        &self.rows[depth]
    }

    /// The columns under a hypothesis in two parts, still to be multiplied: those
    /// without its last suspect, and that one's factors.
    pub(crate) fn in_parts(&mut self, set: &Set) -> (&[f64], &[f64]) {
        // The last suspect changes with nearly every hypothesis: writing its product to a row that the
        // next call overwrites would be one pass more for each of up to 100 000.
        match size(set).checked_sub(1) {
            Some(depth) => {
                self.multiply(set, depth);
                let factors = self.columns.factors(usize::from(set[depth]));
                (&self.rows[depth], factors)
            }
            None => (&self.rows[0], &self.ones),
        }
    }

    /// Brings the rows of the first `depth` suspects up to date.
    fn multiply(&mut self, set: &Set, depth: usize) {
        let mut fresh = false;
        for (place, &suspect) in set.iter().take(depth).enumerate() {
            // A row holds the product of all rows above it: once one is stale, all deeper ones are.
            fresh |= self.at[place] != suspect;
            if !fresh {
                continue;
            }
            let (done, open) = self.rows.split_at_mut(place + 1);
            let factors = self.columns.factors(usize::from(suspect));
            let from = done[place].iter().zip(factors);
            for (product, (above, factor)) in open[0].iter_mut().zip(from) {
                *product = above * factor;
            }
            self.at[place] = suspect;
            // What lay deeper was another hypothesis' product.
            self.at[place + 1..].fill(NOBODY);
        }
    }
}

fn size(set: &Set) -> usize {
    set.iter().take_while(|suspect| **suspect != NOBODY).count()
}
