//! A seeded source of chance: xoshiro256++ fed by SplitMix64.
//!
//! Both generators are in the public domain (Blackman and Vigna); they are
//! written out here so that a seed means the same machine for ever.

/// A stream of pseudo-random numbers; the same seed gives the same stream.
#[derive(Clone, Debug)]
pub struct Random {
    state: [u64; 4],
}

/// One step of SplitMix64: spreads a seed over all bits.
fn split_mix(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let mut z = *state;
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

impl Random {
    /// A stream of its own for each pair of seed and purpose, so that drawing
    /// more for one purpose does not shift another.
    pub fn new(seed: u64, purpose: u64) -> Self {
        let mut mixed = seed ^ purpose.rotate_left(32).wrapping_mul(0xA24B_AED4_963E_E407);
        Random {
            state: std::array::from_fn(|_| split_mix(&mut mixed)),
        }
    }

    fn next(&mut self) -> u64 {
        let s = &mut self.state;
        let result = s[0].wrapping_add(s[3]).rotate_left(23).wrapping_add(s[0]);
        let t = s[1] << 17;
        s[2] ^= s[0];
        s[3] ^= s[1];
        s[1] ^= s[2];
        s[0] ^= s[3];
        s[2] ^= t;
        s[3] = s[3].rotate_left(45);
        result
    }

    /// Any whole number: a seed for something else.
    pub fn whole(&mut self) -> u64 {
        self.next()
    }

    /// Evenly spread over [0, 1).
    pub fn uniform(&mut self) -> f64 {
        (self.next() >> 11) as f64 * (1.0 / (1u64 << 53) as f64)
    }

    /// Evenly spread over [low, high).
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    /// Normally distributed, mean 0 and standard deviation 1 (Box and Muller).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.uniform()).cos()
    }

    /// A factor around 1 with this relative spread, never beyond 2.5 spreads:
    /// parts that stray further do not leave the factory.
    pub fn about_one(&mut self, spread: f64) -> f64 {
        1.0 + spread * self.normal().clamp(-2.5, 2.5)
    }

    /// True with this probability.
    pub fn chance(&mut self, probability: f64) -> bool {
        self.uniform() < probability
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn split_mix_gives_the_published_stream() {
        // SplitMix64 seeded with 1234567: the first outputs given with the
        // public-domain reference code (from memory).
        let mut state = 1_234_567;
        assert_eq!(split_mix(&mut state), 6_457_827_717_110_365_317);
        assert_eq!(split_mix(&mut state), 3_203_168_211_198_807_973);
    }

    #[test]
    fn moments_are_those_of_the_normal_distribution() {
        let mut random = Random::new(1, 2);
        let draws: Vec<f64> = (0..40_000).map(|_| random.normal()).collect();
        let mean = draws.iter().sum::<f64>() / draws.len() as f64;
        let variance = draws.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / draws.len() as f64;
        assert!(mean.abs() < 0.02, "mean {mean}");
        assert!((variance - 1.0).abs() < 0.03, "variance {variance}");
    }

    #[test]
    fn purposes_do_not_share_a_stream() {
        assert_ne!(Random::new(7, 1).next(), Random::new(7, 2).next());
        assert_eq!(Random::new(7, 1).next(), Random::new(7, 1).next());
    }
}
