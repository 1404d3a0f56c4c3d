//! Conformity with a limit under uncertainty: JCGM 106:2012.

use crate::Amount;

/// What a check of a value against its limits says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decision {
    /// The true value conforms, but for the accepted risk.
    Passed,
    /// The true value does not conform, but for the accepted risk.
    Failed,
    /// The reading is too uncertain, so near its limit, to say.
    Undecided,
}

/// The probability that the true value lies within the limits.
///
/// `u` is the standard uncertainty in the same unit as the amount; the state
/// of knowledge about the value is normal (JCGM 106, 7.2). An overload settles
/// every limit that lies within the range and leaves the others open: `None`.
/// So do values that are not numbers.
pub fn conformance(
    amount: Amount,
    u: f64,
    at_least: Option<f64>,
    at_most: Option<f64>,
) -> Option<f64> {
    match amount {
        Amount::Exactly(x) if !(x.is_finite() && u >= 0.0) => None,
        Amount::Exactly(x) => {
            let below = at_least.map_or(0.0, |limit| tail(x - limit, u));
            let above = at_most.map_or(0.0, |limit| tail(limit - x, u));
            Some((1.0 - below - above).max(0.0))
        }
        Amount::Above(end) => match (at_least, at_most) {
            (_, Some(limit)) if limit <= end => Some(0.0),
            (Some(limit), None) if limit <= end => Some(1.0),
            (None, None) => Some(1.0),
            _ => None,
        },
        Amount::Below(end) => match (at_least, at_most) {
            (Some(limit), _) if limit >= end => Some(0.0),
            (None, Some(limit)) if limit >= end => Some(1.0),
            (None, None) => Some(1.0),
            _ => None,
        },
    }
}

/// P(true margin < 0) where the margin was found to be `margin` with standard
/// uncertainty `u`. By `erfc`, so that small tails keep their digits.
fn tail(margin: f64, u: f64) -> f64 {
    if u == 0.0 {
        return if margin < 0.0 { 1.0 } else { 0.0 };
    }
    0.5 * libm::erfc(margin / (u * std::f64::consts::SQRT_2))
}

/// Passed above `1 - risk`, failed below `risk`, undecided between.
pub fn decide(conformance: f64, risk: f64) -> Decision {
    if conformance > 1.0 - risk {
        Decision::Passed
    } else if conformance < risk {
        Decision::Failed
    } else {
        Decision::Undecided
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(x: f64, u: f64, low: Option<f64>, high: Option<f64>, p: f64) {
        let got = conformance(Amount::Exactly(x), u, low, high);
        assert!(
            matches!(got, Some(q) if (q - p).abs() < 5e-5),
            "{got:?} for {p}"
        );
    }

    /// JCGM 106:2012, 7.3.3 examples 1 and 2 and 7.4 (values from memory,
    /// recomputed; printed 0.92, 0.99, 0.66).
    #[test]
    fn examples_of_jcgm_106() {
        check(-5.47, 0.05, None, Some(-5.40), 0.9192);
        check(509.7, 8.6, Some(490.0), None, 0.9890);
        check(13.6, 1.8, Some(12.5), Some(16.3), 0.6626);
    }

    /// JCGM 106:2012, table 1.
    #[test]
    fn table_1_of_jcgm_106() {
        for (p, z) in [
            (0.80, 0.84),
            (0.90, 1.28),
            (0.95, 1.64),
            (0.99, 2.33),
            (0.999, 3.09),
        ] {
            let got = conformance(Amount::Exactly(z), 1.0, Some(0.0), None).unwrap_or(0.0);
            assert!((got - p).abs() < 2e-3, "{got} for {p}");
        }
    }

    /// A guard band of r times U = 2u leaves this risk of wrong acceptance at
    /// the limit (JCGM 106, 8.3.2; recomputed); ILAC-G8: r = 1, under 2.5 %.
    #[test]
    fn guard_bands() {
        for (r, risk) in [
            (0.0, 0.5),
            (0.5, 0.158_655),
            (1.0, 0.022_750),
            (0.8224, 0.05),
        ] {
            let accepted_at = 2.0 * r;
            let conforms = conformance(Amount::Exactly(accepted_at), 1.0, Some(0.0), None);
            let wrong = 1.0 - conforms.unwrap_or(0.0);
            assert!((wrong - risk).abs() < 1e-5, "{wrong} for {risk}");
        }
    }

    #[test]
    fn an_overload_settles_limits_within_the_range_only() {
        let open = Amount::Above(40e6);
        assert_eq!(conformance(open, 0.0, None, Some(5.0)), Some(0.0));
        assert_eq!(conformance(open, 0.0, Some(100e3), None), Some(1.0));
        assert_eq!(conformance(open, 0.0, Some(100e6), None), None);
        assert_eq!(
            conformance(Amount::Below(-10.0), 0.0, Some(-6.0), None),
            Some(0.0)
        );
        assert_eq!(conformance(open, 0.0, Some(1.0), Some(1e9)), None);
    }

    #[test]
    fn without_uncertainty_the_limit_itself_conforms() {
        assert_eq!(
            conformance(Amount::Exactly(5.0), 0.0, Some(5.0), None),
            Some(1.0)
        );
        assert_eq!(
            conformance(Amount::Exactly(4.9), 0.0, Some(5.0), None),
            Some(0.0)
        );
        assert_eq!(
            conformance(Amount::Exactly(f64::NAN), 0.1, Some(5.0), None),
            None
        );
    }

    #[test]
    fn decisions() {
        assert_eq!(decide(0.96, 0.05), Decision::Passed);
        assert_eq!(decide(0.04, 0.05), Decision::Failed);
        assert_eq!(decide(0.95, 0.05), Decision::Undecided);
    }
}
