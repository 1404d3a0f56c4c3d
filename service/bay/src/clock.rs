//! The bay's clock: nanoseconds that never go back, and the wall time beside them.

use std::sync::atomic::{AtomicI64, Ordering};
use std::time::Instant;

use jiff::{SignedDuration, Timestamp};

/// A monotonic clock with a wall-clock reading at its start. All times of a bay
/// come from one of these; a practice bay's may run faster than the world.
#[derive(Clone, Copy, Debug)]
pub struct BayClock {
    origin: Instant,
    wall: Timestamp,
    /// Nanoseconds by which the wall clock was set since the start. Shared by all copies of the
    /// clock, for good: there is one clock a service.
    stepped: &'static AtomicI64,
    read_wall: fn() -> Timestamp,
    speed: f64,
}

/// A wall clock that was set by no more than this was not set: it drifts, or is slewed.
const STEP: SignedDuration = SignedDuration::from_millis(500);

impl BayClock {
    /// A clock that starts now and runs `speed` times as fast as the world.
    pub fn start(speed: f64) -> BayClock {
        BayClock::start_by(speed, Timestamp::now)
    }

    /// The same, by another wall clock than the system's: for tests of what happens when it is
    /// set.
    pub fn start_by(speed: f64, read_wall: fn() -> Timestamp) -> BayClock {
        BayClock {
            origin: Instant::now(),
            wall: read_wall(),
            stepped: Box::leak(Box::new(AtomicI64::new(0))),
            read_wall,
            speed,
        }
    }

    /// Holds the clock's wall time against the wall clock, and follows it where it was set; by
    /// how much it was. A clock that runs faster than the world follows none.
    pub fn follow_wall(&self) -> Option<SignedDuration> {
        if self.speed != 1.0 {
            return None;
        }
        let step = (self.read_wall)().duration_since(self.wall(self.now()));
        if step.abs() < STEP {
            return None;
        }
        let nanos = i64::try_from(step.as_nanos()).ok()?;
        self.stepped.fetch_add(nanos, Ordering::Relaxed);
        Some(step)
    }

    /// The wall time at which the clock started, as it is known now.
    fn start_wall(&self) -> Timestamp {
        let stepped = SignedDuration::from_nanos(self.stepped.load(Ordering::Relaxed));
        self.wall.checked_add(stepped).unwrap_or(self.wall)
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
        self.start_wall()
            .checked_add(SignedDuration::from_nanos(at))
            .unwrap_or(Timestamp::MAX)
    }

    /// The day on which a moment on this clock lies, in UTC.
    pub fn date(&self, at: i64) -> trisect_measure::Date {
        trisect_measure::Date::of_unix_seconds(self.wall(at).as_second())
    }

    /// A wall time as a moment on this clock; before its start below zero.
    pub fn at(&self, wall: Timestamp) -> i64 {
        let since = wall.duration_since(self.start_wall()).as_nanos();
        i64::try_from(since).unwrap_or(if since < 0 { i64::MIN } else { i64::MAX })
    }

    /// How many times as fast as the world it runs.
    pub fn speed(&self) -> f64 {
        self.speed
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn wall_and_bay_time_convert_into_each_other() {
        let clock = BayClock::start(1.0);
        for at in [0, 1, 1_500_000_000, -2_000_000_000] {
            assert_eq!(clock.at(clock.wall(at)), at);
        }
    }

    #[test]
    fn a_wall_clock_that_is_set_is_followed_and_the_bays_time_goes_on() {
        static SET: AtomicI64 = AtomicI64::new(0);
        fn wall() -> Timestamp {
            let set = SignedDuration::from_secs(SET.load(Ordering::Relaxed));
            Timestamp::now().checked_add(set).unwrap()
        }
        let clock = BayClock::start_by(1.0, wall);
        assert_eq!(clock.follow_wall(), None);
        for (set, step) in [(3600, 3600), (-3600, -7200)] {
            let before = clock.now();
            SET.store(set, Ordering::Relaxed);
            let followed = clock.follow_wall().unwrap();
            assert!(
                (followed.as_secs_f64() - f64::from(step)).abs() < 1.0,
                "{followed:?}"
            );
            assert_eq!(clock.follow_wall(), None);
            assert!(clock.now() >= before);
            let off = wall().duration_since(clock.wall(clock.now()));
            assert!(off.abs() < STEP, "{off:?}");
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
