//! Cranking and running, read off the battery alone.

use std::collections::VecDeque;

use trisect_measure::NANOS_PER_SECOND;
use trisect_rules::Phase;

/// A change of more than this within [`QUICK`] is the starter taking its current,
/// or letting go of it: "more than about 1 V in a quarter of a second" (common
/// practice, no source).
const STEP: f64 = 1.0;
const QUICK: i64 = NANOS_PER_SECOND / 4;
/// Between two readings of a slow meter this much time may pass.
const SLOW_METER: i64 = NANOS_PER_SECOND;
/// The starter's first rush of current dips deeper than cranking does.
const INRUSH: i64 = NANOS_PER_SECOND / 2;
/// This near to its resting voltage a battery is not cranking.
const RESTED: f64 = 0.5;
/// An alternator holds the battery above its resting voltage by more than this,
/// and for as long.
const CHARGED: f64 = 0.5;
const CHARGES: i64 = NANOS_PER_SECOND;
/// An engine that stands does not hold it up any more: below this above rest, for
/// as long.
const UNCHARGED: f64 = 0.2;
const UNCHARGES: i64 = 3 * NANOS_PER_SECOND;
/// Readings kept of the last quarter of a second.
const KEPT: usize = 64;

/// What the battery tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Turn {
    /// It sags: the starter turns.
    Cranks,
    /// The starter has let go.
    Recovers,
    /// The alternator lifts it: the engine runs.
    Runs,
    /// It is not lifted any more.
    Stops,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum State {
    Rests,
    Cranks { from: i64 },
    Recovered,
    Runs,
}

/// Follows the battery voltage; memory is bounded.
#[derive(Clone, Debug)]
pub(crate) struct Battery {
    state: State,
    /// The voltage before the newest cranking.
    rest: Option<f64>,
    /// Since when what would end the state has held.
    since: Option<i64>,
    /// The newest readings, no older than [`QUICK`], and the one before them.
    recent: VecDeque<(i64, f64)>,
}

impl Battery {
    pub(crate) const fn new() -> Battery {
        Battery {
            state: State::Rests,
            rest: None,
            since: None,
            recent: VecDeque::new(),
        }
    }

    /// A person says the phase.
    pub(crate) fn say(&mut self, phase: Phase) {
        self.since = None;
        self.state = match phase {
            Phase::Off | Phase::KeyOn | Phase::Stopping => State::Rests,
            // The sag itself may still be to come, or be past.
            Phase::Cranking => self.state,
            Phase::Idle | Phase::HighIdle | Phase::Loaded => State::Runs,
        };
    }

    pub(crate) fn add(&mut self, at: i64, volts: f64) -> Option<Turn> {
        // Before this reading is one of them. With none at all these are no numbers, and every comparison
        // below is false: a job's first voltage is no sag.
        let (lowest, highest) = self.around(at);
        self.remember(at, volts);
        let sags = highest - volts > STEP;
        match self.state {
            State::Rests | State::Recovered if sags => {
                self.rest = Some(highest);
                self.turn(State::Cranks { from: at }, Turn::Cranks)
            }
            State::Cranks { from } => {
                // A tired battery does not come back near its rest in time: a jump upwards ends it as well.
                let rested = self.rest.is_some_and(|rest| volts >= rest - RESTED);
                let released = at.saturating_sub(from) > INRUSH && volts - lowest > STEP;
                let recovers = rested || released;
                recovers.then(|| self.turn(State::Recovered, Turn::Recovers))?
            }
            State::Recovered => {
                let lifted = self.rest.is_some_and(|rest| volts > rest + CHARGED);
                let runs = self.held(lifted, at, CHARGES);
                runs.then(|| self.turn(State::Runs, Turn::Runs))?
            }
            State::Runs => {
                let sunk = self.rest.is_some_and(|rest| volts < rest + UNCHARGED);
                let stops = self.held(sunk, at, UNCHARGES);
                stops.then(|| self.turn(State::Rests, Turn::Stops))?
            }
            State::Rests => None,
        }
    }

    fn turn(&mut self, state: State, turn: Turn) -> Option<Turn> {
        self.state = state;
        self.since = None;
        Some(turn)
    }

    /// Whether something holds, and has for long enough.
    fn held(&mut self, holds: bool, at: i64, long: i64) -> bool {
        if !holds {
            self.since = None;
            return false;
        }
        let since = *self.since.get_or_insert(at);
        at.saturating_sub(since) >= long
    }

    /// The lowest and highest of the readings just before this time; not a number
    /// if there are none.
    fn around(&self, at: i64) -> (f64, f64) {
        let quick = |t: i64| at.saturating_sub(t) <= QUICK;
        let near = |t: i64| at.saturating_sub(t) <= SLOW_METER;
        let last = self.recent.back().filter(|(t, _)| near(*t));
        // A slow meter has no reading within the quarter second: its last one is compared with.
        let some = self.recent.iter().filter(|(t, _)| quick(*t)).chain(last);
        some.fold((f64::NAN, f64::NAN), |(low, high), (_, v)| {
            (v.min(low), v.max(high))
        })
    }

    fn remember(&mut self, at: i64, volts: f64) {
        while self
            .recent
            .front()
            .is_some_and(|(t, _)| at.saturating_sub(*t) > QUICK)
        {
            self.recent.pop_front();
        }
        // A fast stream is cut to the newest: memory of a job must not go by an instrument's rate.
        if self.recent.len() == KEPT {
            self.recent.pop_front();
        }
        self.recent.push_back((at, volts));
    }
}

#[cfg(test)]
mod tests {
    use super::{Battery, Turn};
    use Turn::{Cranks, Recovers, Runs, Stops};

    /// Voltages, each held for so many tenths of a second.
    fn check(held: &[(f64, i64)], turns: &[Turn]) {
        let mut battery = Battery::new();
        let mut found = Vec::new();
        let mut at = 0;
        for (volts, tenths) in held {
            for tick in 0..*tenths {
                // Compressions make it wobble.
                let wobble = if tick % 2 == 0 { 0.1 } else { -0.1 };
                found.extend(battery.add(at, volts + wobble));
                at += 100_000_000;
            }
        }
        assert_eq!(found, turns, "{held:?}");
    }

    #[test]
    fn cranks_in_vain_and_again() {
        let crank = [(12.6, 20), (10.2, 30), (12.4, 30)];
        check(&crank, &[Cranks, Recovers]);
        check(
            &[crank, crank].concat(),
            &[Cranks, Recovers, Cranks, Recovers],
        );
    }

    #[test]
    fn starts_and_stops() {
        let start = [(12.6, 20), (7.5, 2), (10.0, 10), (12.5, 10), (13.9, 30)];
        check(&start, &[Cranks, Recovers, Runs]);
        let stop = [(12.7, 40)];
        check(
            &[&start[..], &stop].concat(),
            &[Cranks, Recovers, Runs, Stops],
        );
    }

    #[test]
    fn a_tired_battery_recovers_too() {
        check(&[(12.2, 10), (8.0, 30), (11.2, 20)], &[Cranks, Recovers]);
    }

    #[test]
    fn a_load_that_is_no_starter() {
        check(&[(12.6, 20), (12.0, 50), (12.6, 20)], &[]);
        // A sag that takes its time.
        let slow: Vec<(f64, i64)> = (0..40).map(|i| (12.6 - 0.05 * f64::from(i), 3)).collect();
        check(&slow, &[]);
    }
}
