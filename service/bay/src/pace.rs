//! When streamed readings are taken, and how often they are judged.
//!
//! They are taken on a beat that all bays share, so that what comes at about the same time goes to disk
//! in one commit and wakes everyone once. A verdict on each would cost a core as soon as some bays stream at
//! once, and nobody reads a thousand verdicts a second: the bays book their verdicts one after another, so
//! that all of them together take a bounded part of a core, and a bay alone hardly waits.

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use tokio::time::Instant;

/// From one beat to the next.
const BEAT: Duration = Duration::from_millis(3);
/// A bay that streams alone: its verdicts take this part of a core, an eighth.
const ALONE: u32 = 8;
/// All bays together, when several stream: a fortieth.
const TOGETHER: u32 = 40;
/// The longest that a bay waits for its verdict, however many bays there are.
const LONGEST: Duration = Duration::from_millis(250);

/// Timers end on ticks of a millisecond, wherever those lie: a beat just after one would be late by almost a
/// whole one each time. So the least lateness of the first beats is learnt, and the beats are moved by it.
#[derive(Debug, Default)]
struct Ticks {
    /// How many were looked at, and the least lateness of them.
    seen: Mutex<(u32, Option<Duration>)>,
    /// In nanoseconds.
    shift: AtomicU64,
}

impl Ticks {
    /// So many beats are learnt from.
    const LEARNT_FROM: u32 = 100;
    /// A beat is put so long before its tick, lest it come after.
    const BEFORE: Duration = Duration::from_micros(150);

    fn shift(&self) -> Duration {
        Duration::from_nanos(self.shift.load(Ordering::Relaxed))
    }

    fn learn(&self, late: Duration) {
        let mut seen = self.seen.lock().unwrap_or_else(PoisonError::into_inner);
        if seen.0 >= Self::LEARNT_FROM {
            return;
        }
        // The least, not the mean: what is later than that was load, not where the ticks lie.
        let least = seen.1.map_or(late, |least| least.min(late));
        *seen = (seen.0 + 1, Some(least));
        if seen.0 == Self::LEARNT_FROM {
            let shift = least.saturating_sub(Self::BEFORE).min(BEAT / 2);
            // Half a beat fits.
            let shift = u64::try_from(shift.as_nanos()).unwrap_or(0);
            self.shift.store(shift, Ordering::Relaxed);
        }
    }
}

/// The moments at which streamed readings are taken and judged, the same for all bays.
#[derive(Debug)]
pub struct Pace {
    begun: Instant,
    ticks: Ticks,
    turns: Mutex<Turns>,
}

#[derive(Debug)]
struct Turns {
    /// When the next verdict may begin.
    free: Instant,
    /// The bay that booked last.
    last: String,
}

impl Pace {
    /// Beats that begin now.
    pub fn start() -> Pace {
        let begun = Instant::now();
        Pace {
            begun,
            ticks: Ticks::default(),
            turns: Mutex::new(Turns {
                free: begun,
                last: String::new(),
            }),
        }
    }

    /// The next beat.
    pub(crate) fn beat(&self) -> Instant {
        self.beat_after(Instant::now())
    }

    fn beat_after(&self, now: Instant) -> Instant {
        // What was learnt moves the beats forward by less than one.
        let since = now.duration_since(self.begun) + BEAT - self.ticks.shift();
        // Less than a beat, which fits.
        let into = u64::try_from(since.as_nanos() % BEAT.as_nanos()).unwrap_or(0);
        now + (BEAT - Duration::from_nanos(into))
    }

    /// A beat was waited for, and is over just now.
    pub(crate) fn woke(&self, beat: Instant) {
        self.ticks.learn(Instant::now().duration_since(beat));
    }

    /// When a verdict of a bay that takes about so long is due. Everyone who books is served in turn.
    pub(crate) fn book(&self, bay: &str, cost: Duration) -> Instant {
        self.book_at(Instant::now(), bay, cost)
    }

    fn book_at(&self, now: Instant, bay: &str, cost: Duration) -> Instant {
        let mut turns = self.turns.lock().unwrap_or_else(PoisonError::into_inner);
        // Time that nobody booked is not saved up; and with many bays the share gives way, not the wait.
        let due = turns.free.clamp(now, now + LONGEST);
        // Nobody else has booked in between: it streams alone, and may have more.
        if turns.last == bay {
            turns.free = due + cost * ALONE;
        } else {
            turns.free = due + cost * TOGETHER;
            bay.clone_into(&mut turns.last);
        }
        due
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const COST: Duration = Duration::from_micros(250);

    fn micros(count: u64) -> Duration {
        Duration::from_micros(count)
    }

    #[test]
    fn one_alone_hardly_waits() {
        let pace = Pace::start();
        let now = pace.begun;
        let free = now + COST * TOGETHER;
        assert_eq!(pace.book_at(now, "bay-1", COST), now);
        assert_eq!(pace.book_at(now, "bay-1", COST), free);
        assert_eq!(pace.book_at(now, "bay-1", COST), free + COST * ALONE);
    }

    #[test]
    fn several_are_served_in_turn() {
        let pace = Pace::start();
        let now = pace.begun;
        for turn in 0..6_u32 {
            let bay = if turn % 2 == 0 { "bay-1" } else { "bay-2" };
            let due = now + COST * TOGETHER * turn;
            assert_eq!(pace.book_at(now, bay, COST), due);
        }
    }

    #[test]
    fn what_was_not_used_is_not_saved_up() {
        let pace = Pace::start();
        pace.book_at(pace.begun, "bay-1", COST);
        let now = pace.begun + Duration::from_secs(1);
        assert_eq!(pace.book_at(now, "bay-2", COST), now);
        assert_eq!(pace.book_at(now, "bay-1", COST), now + COST * TOGETHER);
    }

    #[test]
    fn nobody_waits_for_ever() {
        let pace = Pace::start();
        let now = pace.begun;
        for turn in 0..1000 {
            let bay = if turn % 2 == 0 { "bay-1" } else { "bay-2" };
            assert!(pace.book_at(now, bay, COST) <= now + LONGEST);
        }
    }

    #[test]
    fn all_meet_on_the_beat() {
        let pace = Pace::start();
        let beat = pace.begun + BEAT;
        for early in [1, 300, 2999] {
            assert_eq!(pace.beat_after(beat - micros(early)), beat);
        }
        assert_eq!(pace.beat_after(beat), beat + BEAT);
    }

    #[test]
    fn beats_move_to_just_before_the_ticks() {
        let ticks = Ticks::default();
        for turn in 1..=u64::from(Ticks::LEARNT_FROM) {
            assert_eq!(ticks.shift(), Duration::ZERO);
            ticks.learn(micros(700 + 1000 * (turn % 7)));
        }
        assert_eq!(ticks.shift(), micros(550));
        // Once learnt, it stays.
        ticks.learn(Duration::ZERO);
        assert_eq!(ticks.shift(), micros(550));

        let pace = Pace::start();
        pace.ticks.shift.store(550_000, Ordering::Relaxed);
        let moved = pace.begun + micros(550);
        assert_eq!(pace.beat_after(pace.begun), moved);
        assert_eq!(pace.beat_after(moved), moved + BEAT);
    }
}
