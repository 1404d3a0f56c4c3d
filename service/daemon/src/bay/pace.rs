//! When streamed readings are taken, and how often they are judged.
//!
//! They are taken on a beat that all bays share, so that what comes at about the same time goes to disk
//! in one commit and wakes everyone once. A verdict on each would cost a core as soon as some bays stream at
//! once, and nobody reads a thousand verdicts a second: the bays book their verdicts one after another, so
//! that all of them together take a bounded part of a core, and a bay alone hardly waits.

use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use tokio::time::Instant;

/// From one beat to the next.
const BEAT: Duration = Duration::from_millis(2);
/// A verdict's time is this part of the time until the next one may be booked: a thirty-second part of a
/// core.
const SHARE: u32 = 32;
/// The longest that a bay waits for its verdict, however many bays there are.
const LONGEST: Duration = Duration::from_millis(100);

/// The moments at which streamed readings are taken and judged, the same for all bays.
#[derive(Debug)]
pub(crate) struct Pace {
    begun: Instant,
    free: Mutex<Instant>,
}

impl Pace {
    pub(crate) fn new() -> Pace {
        let begun = Instant::now();
        Pace {
            begun,
            free: Mutex::new(begun),
        }
    }

    /// The next beat.
    pub(crate) fn beat(&self) -> Instant {
        let now = Instant::now();
        let into = now.duration_since(self.begun).as_nanos() % BEAT.as_nanos();
        // Less than a beat, which fits.
        let into = Duration::from_nanos(u64::try_from(into).unwrap_or(0));
        now + (BEAT - into)
    }

    /// When a verdict that takes about so long is due. Everyone who books is served in turn.
    pub(crate) fn book(&self, cost: Duration) -> Instant {
        let now = Instant::now();
        let mut free = self.free.lock().unwrap_or_else(PoisonError::into_inner);
        let due = (*free).clamp(now, now + LONGEST);
        *free = due + cost * SHARE;
        due
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const COST: Duration = Duration::from_micros(250);

    #[tokio::test(start_paused = true)]
    async fn one_alone_is_served_at_once_and_then_in_turn() {
        let (pace, now) = (Pace::new(), Instant::now());
        assert_eq!(pace.book(COST), now);
        assert_eq!(pace.book(COST), now + COST * SHARE);
        assert_eq!(pace.book(COST), now + COST * SHARE * 2);
    }

    #[tokio::test(start_paused = true)]
    async fn what_was_not_used_is_not_saved_up() {
        let pace = Pace::new();
        pace.book(COST);
        tokio::time::advance(Duration::from_secs(1)).await;
        let now = Instant::now();
        assert_eq!(pace.book(COST), now);
        assert_eq!(pace.book(COST), now + COST * SHARE);
    }

    #[tokio::test(start_paused = true)]
    async fn all_meet_on_the_beat() {
        let pace = Pace::new();
        tokio::time::advance(Duration::from_micros(300)).await;
        let beat = pace.beat();
        assert_eq!(beat, pace.begun + BEAT);
        tokio::time::advance(Duration::from_micros(1699)).await;
        assert_eq!(pace.beat(), beat);
        tokio::time::advance(Duration::from_micros(1)).await;
        assert_eq!(pace.beat(), beat + BEAT);
    }

    #[tokio::test(start_paused = true)]
    async fn nobody_waits_for_ever() {
        let (pace, now) = (Pace::new(), Instant::now());
        for _ in 0..1000 {
            assert!(pace.book(COST) <= now + LONGEST);
        }
    }
}
