//! How long to wait before opening a lost port again.

use std::time::Duration;

const FIRST_MILLIS: u64 = 50;
const LONGEST_MILLIS: u64 = 1_000;

/// The wait before attempt `attempt` (from 0): doubling from 50 ms to 1 s, less
/// up to a half by a jitter that depends on `seed` and `attempt` alone, so that
/// instruments that fell off one hub do not come back in step.
pub fn back_off(attempt: u32, seed: u64) -> Duration {
    let (first, longest) = (FIRST_MILLIS, LONGEST_MILLIS);
    back_off_between(
        attempt,
        seed,
        Duration::from_millis(first),
        Duration::from_millis(longest),
    )
}

/// The same, doubling from `first` to `longest`.
pub fn back_off_between(attempt: u32, seed: u64, first: Duration, longest: Duration) -> Duration {
    let millis = |time: Duration| u64::try_from(time.as_millis()).unwrap_or(u64::MAX);
    let doubled = millis(first).saturating_mul(1 << attempt.min(32));
    let whole = doubled.min(millis(longest));
    let jitter = mix(seed ^ (u64::from(attempt) << 32)) % (whole / 2 + 1);
    Duration::from_millis(whole - jitter)
}

/// A well-mixing hash of a counter (the finaliser of SplitMix64, from memory).
fn mix(x: u64) -> u64 {
    let x = x.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let x = (x ^ (x >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    let x = (x ^ (x >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    x ^ (x >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn grows_to_a_second_and_is_spread() {
        for (attempt, longest) in [(0, 50), (1, 100), (4, 800), (5, 1000), (u32::MAX, 1000)] {
            for seed in 0..100 {
                let wait = back_off(attempt, seed).as_millis();
                assert!(wait <= longest && wait >= longest / 2, "{attempt}: {wait}");
            }
        }
        let first: std::collections::BTreeSet<_> = (0..100).map(|seed| back_off(5, seed)).collect();
        assert!(first.len() > 50, "only {} different waits", first.len());
    }
}
