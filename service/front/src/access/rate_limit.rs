//! How many calls a second: a bucket that fills at a rate and holds two seconds' worth.

use std::sync::{Mutex, PoisonError};
use std::time::Instant;

/// A bucket of calls.
#[derive(Debug)]
pub(super) struct RateLimit {
    per_second: f64,
    level: Mutex<(f64, Instant)>,
}

impl RateLimit {
    /// A full bucket.
    pub(super) fn new(per_second: f64) -> RateLimit {
        RateLimit {
            per_second,
            level: Mutex::new((RateLimit::holds(per_second), Instant::now())),
        }
    }

    pub(super) fn per_second(&self) -> f64 {
        self.per_second
    }

    fn holds(per_second: f64) -> f64 {
        // At least one call, however slow the rate, or there would never be one.
        (2.0 * per_second).max(1.0)
    }

    /// Takes one call out, if there is one.
    pub(super) fn take(&self) -> bool {
        self.take_at(Instant::now())
    }

    fn take_at(&self, now: Instant) -> bool {
        // Nothing in here panics.
        let mut level = self.level.lock().unwrap_or_else(PoisonError::into_inner);
        // Callers take the time before the lock, and may get it in another order: time never runs backwards here.
        let since = now.saturating_duration_since(level.1).as_secs_f64();
        let filled = (level.0 + since * self.per_second).min(RateLimit::holds(self.per_second));
        // Who is refused takes nothing out: calling on in vain does not make the wait longer.
        let there = filled >= 1.0;
        *level = (if there { filled - 1.0 } else { filled }, now.max(level.1));
        there
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    #[test]
    fn two_seconds_worth_at_once_then_the_rate() {
        let rate = RateLimit::new(10.0);
        let start = Instant::now();
        let taken = |at: Duration| (0..100).filter(|_| rate.take_at(start + at)).count();
        assert_eq!(taken(Duration::ZERO), 20);
        assert_eq!(taken(Duration::from_millis(500)), 5);
        assert_eq!(taken(Duration::from_secs(3600)), 20);
    }

    #[test]
    fn less_than_one_a_second_is_a_rate_too() {
        let rate = RateLimit::new(0.1);
        let start = Instant::now();
        assert!(rate.take_at(start));
        assert!(!rate.take_at(start + Duration::from_secs(5)));
        assert!(rate.take_at(start + Duration::from_secs(11)));
    }
}
