//! Shares with their confidence, and quantiles.

use serde::Serialize;

/// Two-sided 95 % quantile of the normal distribution.
const Z: f64 = 1.959_963_984_540_054;

/// So many of so many, with the Wilson score interval at 95 %.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Share {
    /// How many.
    pub count: u64,
    /// Of how many.
    pub of: u64,
    /// Their share; 0 of none.
    pub share: f64,
    /// Lower end of the interval.
    pub low: f64,
    /// Upper end of the interval.
    pub high: f64,
}

impl Share {
    /// The share and its interval (Wilson 1927).
    pub fn new(count: u64, of: u64) -> Share {
        if of == 0 {
            return Share {
                high: 1.0,
                ..Share::default()
            };
        }
        let (n, p) = (of as f64, count as f64 / of as f64);
        let centre = p + Z * Z / (2.0 * n);
        let spread = Z * (p * (1.0 - p) / n + Z * Z / (4.0 * n * n)).sqrt();
        let scale = 1.0 + Z * Z / n;
        Share {
            count,
            of,
            share: p,
            low: ((centre - spread) / scale).max(0.0),
            high: ((centre + spread) / scale).min(1.0),
        }
    }
}

/// The quantile `q` of values that are sorted here; infinite ones count as
/// such. `None` of nothing, and where it is infinite.
pub fn quantile(values: &mut [f64], q: f64) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let last = values.len().checked_sub(1)?;
    let place = (q * last as f64).round() as usize;
    values.get(place).copied().filter(|v| v.is_finite())
}

/// The ranks, counted from 1, of the two of `n` sorted values between which the
/// median they were drawn from lies with at least 95 %, whatever its distribution:
/// the number of values below it is binomial, one in two. `None` of fewer than 6.
pub fn median_ranks(n: u64) -> Option<(u64, u64)> {
    // The largest number k that at most so many values, or fewer, lie below the
    // median with no more than 2.5 %; in logarithms, as 2^-n is 0 beyond n = 1074.
    let (mut chance, mut below) = (0.0, 0);
    let mut log_of = -(n as f64) * std::f64::consts::LN_2;
    while below < n {
        chance += log_of.exp();
        if chance > 0.025 {
            break;
        }
        log_of += ((n - below) as f64 / (below + 1) as f64).ln();
        below += 1;
    }
    (below > 0).then(|| (below, n + 1 - below))
}

/// The values at [`median_ranks`]; they are sorted here. An infinite one is `None`.
pub fn median_interval(values: &mut [f64]) -> Option<[Option<f64>; 2]> {
    values.sort_by(f64::total_cmp);
    let (low, high) = median_ranks(values.len() as u64)?;
    let at = |rank: u64| {
        let value = values.get(rank as usize - 1).copied();
        value.filter(|value| value.is_finite())
    };
    Some([at(low), at(high)])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wilson_by_hand() {
        // 0 of 10: upper end z²/(n + z²) = 3.8415/13.8415 = 0.2775.
        let none = Share::new(0, 10);
        assert!(none.low == 0.0 && (none.high - 0.277_5).abs() < 1e-4);
        // 8 of 10, z² = 3.8415: (0.8 + 0.19207 ± 1.96 √(0.016 + 0.0096036)) / 1.38415.
        let most = Share::new(8, 10);
        assert!((most.low - 0.490_2).abs() < 1e-4, "{}", most.low);
        assert!((most.high - 0.943_3).abs() < 1e-4, "{}", most.high);
        assert_eq!(Share::new(0, 0).high, 1.0);
    }

    #[test]
    fn quantiles_with_what_never_came() {
        assert_eq!(quantile(&mut [3.0, 1.0, 2.0], 0.5), Some(2.0));
        assert_eq!(
            quantile(&mut [f64::INFINITY, f64::INFINITY, 1.0], 0.5),
            None
        );
        assert_eq!(quantile(&mut [], 0.5), None);
    }

    /// The narrowest of at least 95 % in a textbook's Table A.7, "Confidence Intervals for
    /// the Population Median" (its p. 656): 96.9, 98.4, 99.2, 96.1, 97.9, 98.8, 96.1, 97.8,
    /// 98.7, 96.5, 97.9, 95.1, 96.9, 98.1 and 95.9 %.
    #[test]
    fn median_ranks_as_tabulated() {
        let tabulated = [1, 1, 1, 2, 2, 2, 3, 3, 3, 4, 4, 5, 5, 5, 6];
        for (n, low) in (6..).zip(tabulated) {
            assert_eq!(median_ranks(n), Some((low, n + 1 - low)), "{n}");
        }
        // By hand, n = 10: at most 1 of 10 below in 11/1024, twice that is 2.1 %; at most 2
        // in 56/1024, twice that is 10.9 %.
        assert_eq!(median_ranks(10), Some((2, 9)));
        for few in 0..6 {
            assert_eq!(median_ranks(few), None, "{few}");
        }
        // Large: n/2 ∓ 1.96 √n/2, to the rank.
        let (low, high) = median_ranks(20_000).unwrap_or_default();
        let expected = 10_000.0 - Z * 20_000f64.sqrt() / 2.0;
        assert!((low as f64 - expected).abs() < 1.5, "{low} {expected}");
        assert_eq!(low + high, 20_001);
    }

    #[test]
    fn the_interval_of_a_median_with_what_never_came() {
        let mut ten: Vec<f64> = (1..=10).rev().map(f64::from).collect();
        assert_eq!(median_interval(&mut ten), Some([Some(2.0), Some(9.0)]));
        ten[9] = f64::INFINITY;
        assert_eq!(median_interval(&mut ten), Some([Some(2.0), Some(9.0)]));
        ten[8] = f64::INFINITY;
        assert_eq!(median_interval(&mut ten), Some([Some(2.0), None]));
        assert_eq!(median_interval(&mut [1.0; 5]), None);
    }
}
