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
}
