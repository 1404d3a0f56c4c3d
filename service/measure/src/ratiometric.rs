//! Sensors whose output is a fraction of their supply.

/// A ratiometric sensor: at `zero` it puts out the fraction `from` of its
/// supply, at `full` the fraction `to`. How well the supply is known decides
/// how well the reading is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ratiometric {
    zero: f64,
    full: f64,
    from: f64,
    to: f64,
    supply_u: f64,
}

/// A ratiometric sensor that cannot be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "a ratiometric sensor has two different ends, both as a value and as a fraction of its supply, and a supply above zero"
)]
pub struct RatiometricError;

impl Ratiometric {
    /// A sensor from `zero` to `full` (SI) whose output goes from the fraction
    /// `from` to `to` of a supply of relative standard uncertainty `supply_u`.
    ///
    /// # Errors
    /// Ends that are the same, or values that are no numbers.
    pub fn new(
        (zero, full): (f64, f64),
        (from, to): (f64, f64),
        supply_u: f64,
    ) -> Result<Ratiometric, RatiometricError> {
        let finite = [zero, full, from, to, supply_u]
            .iter()
            .all(|x| x.is_finite());
        if !finite || zero == full || from == to || supply_u < 0.0 {
            return Err(RatiometricError);
        }
        Ok(Ratiometric {
            zero,
            full,
            from,
            to,
            supply_u,
        })
    }

    /// The standard uncertainty that the supply leaves in a reading, in SI.
    ///
    /// The output is V = S (from + (to − from)(x − zero)/(full − zero)), so at a
    /// given output ∂x/∂S = −(x − zero + from (full − zero)/(to − from))/S.
    pub fn standard_uncertainty(&self, reading: f64) -> f64 {
        let live = (self.full - self.zero) / (self.to - self.from);
        (reading - self.zero + self.from * live).abs() * self.supply_u
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 0.5 to 4.5 V of 5 V for 0 to 100 psi: at 50 psi the output is 2.5 V. With
    /// the supply off by 1 % it is taken for (2.525 − 0.5)/4 · 100 psi = 50.625 psi.
    #[test]
    fn a_supply_off_by_one_percent() {
        let sensor = Ratiometric::new((0.0, 100.0), (0.1, 0.9), 0.01);
        let u = |reading: f64| sensor.map(|s| s.standard_uncertainty(reading));
        assert!(
            matches!(u(50.0), Ok(x) if (x - 0.625).abs() < 1e-12),
            "{:?}",
            u(50.0)
        );
        // At the lower end a tenth of the supply still counts.
        assert!(
            matches!(u(0.0), Ok(x) if (x - 0.125).abs() < 1e-12),
            "{:?}",
            u(0.0)
        );
    }

    #[test]
    fn what_cannot_be_is_refused() {
        for (ends, fractions, u) in [
            ((1.0, 1.0), (0.1, 0.9), 0.1),
            ((0.0, 1.0), (0.1, 0.1), 0.1),
            ((0.0, 1.0), (0.1, 0.9), -0.1),
            ((0.0, f64::NAN), (0.1, 0.9), 0.1),
        ] {
            assert_eq!(Ratiometric::new(ends, fractions, u), Err(RatiometricError));
        }
    }
}
