//! The bay's clock: nanoseconds that never go back, and the wall time beside them.

use std::time::Instant;

use jiff::{SignedDuration, Timestamp};

/// A monotonic clock with a wall-clock reading at its start. All times of a bay
/// come from one of these; a practice bay's may run faster than the world.
#[derive(Clone, Copy, Debug)]
pub struct BayClock {
    origin: Instant,
    wall: Timestamp,
    speed: f64,
}

impl BayClock {
    /// A clock that starts now and runs `speed` times as fast as the world.
    pub fn start(speed: f64) -> BayClock {
        BayClock {
            origin: Instant::now(),
            wall: Timestamp::now(),
            speed,
        }
    }

    /// Nanoseconds since the clock started.
    pub fn now(&self) -> i64 {
        let real = self.origin.elapsed().as_nanos();
        // 2^53 ns are 104 days: beyond them a scaled clock loses nanoseconds, a
        // real one (speed 1) nothing.
        if self.speed == 1.0 {
            real as i64
        } else {
            (real as f64 * self.speed) as i64
        }
    }

    /// The wall time of a moment on this clock.
    pub fn wall(&self, at: i64) -> Timestamp {
        // Out of range only 7000 years from now.
        self.wall
            .checked_add(SignedDuration::from_nanos(at))
            .unwrap_or(Timestamp::MAX)
    }

    /// The day on which a moment on this clock lies, in UTC.
    pub fn date(&self, at: i64) -> trisect_measure::Date {
        trisect_measure::Date::of_unix_seconds(self.wall(at).as_second())
    }

    /// A wall time as a moment on this clock; before its start below zero.
    pub fn at(&self, wall: Timestamp) -> i64 {
        let since = wall.duration_since(self.wall).as_nanos();
        i64::try_from(since).unwrap_or(if since < 0 { i64::MIN } else { i64::MAX })
    }

    /// How many times as fast as the world it runs.
    pub fn speed(&self) -> f64 {
        self.speed
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wall_and_bay_time_convert_into_each_other() {
        let clock = BayClock::start(1.0);
        for at in [0, 1, 1_500_000_000, -2_000_000_000] {
            assert_eq!(clock.at(clock.wall(at)), at);
        }
    }

    #[test]
    fn a_fast_clock_outruns_a_slow_one() {
        let slow = BayClock::start(1.0);
        let fast = BayClock {
            speed: 1000.0,
            ..slow
        };
        let before = slow.now();
        assert!(fast.now() >= before * 1000);
    }
}
