//! Belief against truth, in ten bins of equal width.

use serde::Serialize;
use trisect_diagnosis::Verdict;
use trisect_rules::Side;

/// How many bins.
pub const BINS: usize = 10;

/// Beliefs that fell into one bin.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Bin {
    /// How many.
    pub count: u64,
    /// Their sum.
    pub belief: f64,
    /// How many of them were true.
    pub true_count: u64,
}

/// The ten bins, from belief 0 to belief 1.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Bins(pub [Bin; BINS]);

impl Bins {
    /// Adds one belief and whether it was true.
    pub fn add(&mut self, belief: f64, truth: bool) {
        let place = ((belief * BINS as f64) as usize).min(BINS - 1);
        let bin = &mut self.0[place];
        bin.count += 1;
        bin.belief += belief;
        bin.true_count += u64::from(truth);
    }

    /// Adds the belief in each of the four sides.
    pub fn sides(&mut self, verdict: &Verdict, truth: &[Side]) {
        for side in Side::ALL {
            self.add(verdict.sides.of(side), truth.contains(&side));
        }
    }

    /// Adds all of another.
    pub fn merge(&mut self, other: &Bins) {
        for (bin, more) in self.0.iter_mut().zip(&other.0) {
            bin.count += more.count;
            bin.belief += more.belief;
            bin.true_count += more.true_count;
        }
    }

    /// How many beliefs there are.
    pub fn count(&self) -> u64 {
        self.0.iter().map(|bin| bin.count).sum()
    }

    /// Expected calibration error: the mean distance of belief from frequency,
    /// weighted by how many beliefs fell into each bin.
    pub fn expected_error(&self) -> f64 {
        let apart: f64 = self
            .0
            .iter()
            .map(|bin| (bin.belief - bin.true_count as f64).abs())
            .sum();
        apart / self.count().max(1) as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn expected_calibration_error_by_hand() {
        let mut bins = Bins::default();
        // Ten beliefs of 0.95, nine true; ten of 0.25, four true.
        for i in 0..10 {
            bins.add(0.95, i < 9);
            bins.add(0.25, i < 4);
        }
        // (10 · |0.95 − 0.9| + 10 · |0.25 − 0.4|) / 20 = 0.1.
        assert!((bins.expected_error() - 0.1).abs() < 1e-12);
        assert_eq!(bins.0[9].count, 10);
        bins.add(1.0, true);
        assert_eq!(bins.0[9].count, 11);
    }
}
