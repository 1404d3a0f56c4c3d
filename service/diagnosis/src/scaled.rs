//! Products of many likelihoods that neither underflow nor need a logarithm each.

/// A number times two to the power of `exponent`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Scaled {
    mantissa: f64,
    /// A multiple of [`STEP`].
    pub(crate) exponent: i32,
}

const STEP: i32 = 256;
/// Two to the power of −[`STEP`], and of [`STEP`].
const RANGE: (f64, f64) = (1.0 / TWO_256, TWO_256);
const TWO_256: f64 = (1u128 << 127) as f64 * (1u128 << 127) as f64 * 4.0;
/// So many factors are multiplied before the exponent is looked at; each of
/// them may be as small as 1e-14.
pub(crate) const AT_ONCE: usize = 16;

impl Scaled {
    pub(crate) const ONE: Scaled = Scaled {
        mantissa: 1.0,
        exponent: 0,
    };

    /// Multiplies by the product of up to [`AT_ONCE`] factors that are not negative.
    pub(crate) fn multiply(&mut self, factor: f64) {
        self.mantissa *= factor;
        self.normalise();
    }

    fn normalise(&mut self) {
        if self.mantissa == 0.0 {
            // So low that zero never sets the common exponent; half, so that differences stay in range.
            self.exponent = i32::MIN / 2;
            return;
        }
        while self.mantissa < RANGE.0 {
            self.mantissa *= RANGE.1;
            self.exponent -= STEP;
        }
        while self.mantissa > RANGE.1 {
            self.mantissa *= RANGE.0;
            self.exponent += STEP;
        }
    }

    /// Itself over two to the power of `exponent`.
    pub(crate) fn over(self, exponent: i32) -> f64 {
        // Nearly always: no power is needed.
        if self.exponent == exponent {
            return self.mantissa;
        }
        self.mantissa * Scaled::power(self.exponent.saturating_sub(exponent))
    }

    /// One, over two to the power of `exponent`.
    pub(crate) fn one_over(exponent: i32) -> f64 {
        Scaled::power(exponent.saturating_neg())
    }

    /// Whether it is at least as large as a number near one.
    pub(crate) fn at_least(self, number: f64) -> bool {
        self.over(0) >= number
    }

    /// Two to this power; zero or infinite beyond the range.
    pub(crate) fn power(exponent: i32) -> f64 {
        libm::ldexp(1.0, exponent)
    }
}

#[cfg(test)]
mod tests {
    use super::Scaled;

    fn product(factors: &[f64]) -> Scaled {
        let mut product = Scaled::ONE;
        factors.iter().for_each(|factor| product.multiply(*factor));
        product
    }

    #[test]
    fn a_thousand_small_factors_do_not_vanish() {
        let product = product(&[1e-3; 1000]);
        let log = libm::log2(product.over(product.exponent)) + f64::from(product.exponent);
        assert!((log - 1000.0 * libm::log2(1e-3)).abs() < 1e-9);
        assert!(!product.at_least(1e-300));
    }

    #[test]
    fn nothing_and_zero() {
        assert_eq!(product(&[]).over(0), 1.0);
        assert_eq!(product(&[0.0, 2.0]).over(0), 0.0);
        assert!(product(&[2.0, 3.0]).at_least(6.0));
    }
}
