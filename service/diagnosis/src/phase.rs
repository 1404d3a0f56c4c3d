//! The phase of the engine: said by a person, read off its speed or, while
//! nobody reads that, off the battery.

use trisect_measure::NANOS_PER_SECOND;
use trisect_rules::Phase;

use crate::battery::{Battery, Turn};

/// The shortest stay: what is told by readings and lasts less was passed through,
/// as idle is in a race. Common practice, no source.
pub(crate) const DWELL: i64 = NANOS_PER_SECOND / 2;
/// An engine speed this old no longer tells the phase.
pub(crate) const SPEED_LASTS: i64 = 10 * NANOS_PER_SECOND;

/// The limits between phases, as common practice has them (no source): cranking
/// is 60 to 350 rpm, above 500 rpm the engine runs. The second number of each
/// pair is the one that ends the phase again, so that a speed on a limit does
/// not make the phase flicker.
const CRANKS: (f64, f64) = (rpm(60.0), rpm(40.0));
const RUNS: (f64, f64) = (rpm(500.0), rpm(400.0));
const HIGH_IDLE: (f64, f64) = (rpm(1300.0), rpm(1100.0));

/// Revolutions per minute in radians per second.
const fn rpm(rpm: f64) -> f64 {
    rpm * std::f64::consts::TAU / 60.0
}

/// Whether a speed, in radians per second, cannot be that of an engine in this phase. Wider than what
/// tells the phase: a starter that turns the engine slowly still cranks it.
pub(crate) fn contradicts(phase: Phase, speed: f64) -> bool {
    let within = match phase {
        Phase::Off | Phase::KeyOn => 0.0..CRANKS.0,
        Phase::Cranking => rpm(20.0)..RUNS.0,
        Phase::Idle => RUNS.1..HIGH_IDLE.0,
        Phase::HighIdle => HIGH_IDLE.1..f64::INFINITY,
        Phase::Loaded => RUNS.1..f64::INFINITY,
        Phase::Stopping => 0.0..f64::INFINITY,
    };
    !within.contains(&speed.max(0.0))
}

/// What the speed alone tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Turning {
    Still,
    Cranking,
    Idle,
    HighIdle,
    Stopping,
}

/// Follows the phase. What a person says stands until the speed changes from
/// one kind of turning to another; `loaded` and `key-on` cannot be told from
/// the speed and stand as long as the engine runs or stands still.
#[derive(Clone, Debug)]
pub(crate) struct PhaseTracker {
    phase: Phase,
    battery: Battery,
    /// When the speed was read last.
    speed_at: Option<i64>,
    turning: Option<Turning>,
    /// The phase to come back to when cranking ends without a start.
    rest: Phase,
}

impl PhaseTracker {
    pub(crate) const fn new() -> Self {
        PhaseTracker {
            phase: Phase::Off,
            battery: Battery::new(),
            speed_at: None,
            turning: None,
            rest: Phase::Off,
        }
    }

    pub(crate) const fn phase(&self) -> Phase {
        self.phase
    }

    pub(crate) fn say(&mut self, phase: Phase) {
        self.phase = phase;
        self.battery.say(phase);
        // The speed cannot tell these two apart, so what was said is remembered for when cranking ends without a start.
        if matches!(phase, Phase::Off | Phase::KeyOn) {
            self.rest = phase;
        }
    }

    /// Takes a speed in radians per second; true when the phase changed.
    pub(crate) fn speed(&mut self, at: i64, speed: f64) -> bool {
        self.speed_at = Some(at);
        let turning = turn(self.turning, speed);
        let before = self.turning.replace(turning);
        let before_phase = self.phase;
        match before {
            // The first speed of a job does not overrule what a person said.
            None if self.phase != Phase::Off => {}
            Some(same) if same == turning => {}
            _ => self.phase = self.follow(turning),
        }
        self.phase != before_phase
    }

    /// Takes a battery voltage; true when the phase changed.
    pub(crate) fn voltage(&mut self, at: i64, volts: f64) -> bool {
        // Followed even while the speed tells the phase: its state must be right once the speed is lost.
        let turn = self.battery.add(at, volts);
        let fresh = |seen: i64| at.saturating_sub(seen) < SPEED_LASTS;
        let Some(turn) = turn.filter(|_| !self.speed_at.is_some_and(fresh)) else {
            return false;
        };
        let before = self.phase;
        self.phase = match (turn, before) {
            (Turn::Cranks, _) => Phase::Cranking,
            // The key is on after cranking; off would make this a battery at rest.
            (Turn::Recovers, Phase::Cranking) => Phase::KeyOn,
            (Turn::Runs, Phase::HighIdle | Phase::Loaded) => before,
            (Turn::Runs, _) => Phase::Idle,
            (Turn::Stops, Phase::Idle | Phase::HighIdle | Phase::Loaded) => Phase::Off,
            (Turn::Recovers | Turn::Stops, _) => before,
        };
        self.phase != before
    }

    const fn follow(&self, turning: Turning) -> Phase {
        match turning {
            Turning::Still if matches!(self.phase, Phase::Cranking) => self.rest,
            Turning::Still if matches!(self.phase, Phase::KeyOn) => Phase::KeyOn,
            Turning::Still => Phase::Off,
            Turning::Cranking => Phase::Cranking,
            Turning::Idle | Turning::HighIdle if matches!(self.phase, Phase::Loaded) => {
                Phase::Loaded
            }
            Turning::Idle => Phase::Idle,
            Turning::HighIdle => Phase::HighIdle,
            Turning::Stopping => Phase::Stopping,
        }
    }
}

fn turn(before: Option<Turning>, speed: f64) -> Turning {
    let above =
        |limits: (f64, f64), already: bool| speed >= if already { limits.1 } else { limits.0 };
    let ran = matches!(before, Some(Turning::Idle | Turning::HighIdle));
    if above(RUNS, ran) {
        let high = above(HIGH_IDLE, before == Some(Turning::HighIdle));
        return if high {
            Turning::HighIdle
        } else {
            Turning::Idle
        };
    }
    let turned = matches!(before, Some(Turning::Cranking | Turning::Stopping)) || ran;
    if !above(CRANKS, turned) {
        return Turning::Still;
    }
    // An engine that ran and slows down is stopping, not being cranked.
    if ran || before == Some(Turning::Stopping) {
        Turning::Stopping
    } else {
        Turning::Cranking
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use Phase::{Cranking, HighIdle, Idle, KeyOn, Loaded, Off, Stopping};

    fn check(said: Option<Phase>, speeds: &[f64], phases: &[Phase]) {
        let mut tracker = PhaseTracker::new();
        if let Some(phase) = said {
            tracker.say(phase);
        }
        let mut got = Vec::new();
        for &speed in speeds {
            tracker.speed(0, rpm(speed));
            got.push(tracker.phase());
        }
        assert_eq!(got, phases);
    }

    #[test]
    fn a_start_and_a_stop() {
        check(
            None,
            &[
                0.0, 70.0, 150.0, 620.0, 800.0, 2000.0, 750.0, 300.0, 100.0, 10.0,
            ],
            &[
                Off, Cranking, Cranking, Idle, Idle, HighIdle, Idle, Stopping, Stopping, Off,
            ],
        );
    }

    #[test]
    fn cranking_in_vain_comes_back_to_the_key() {
        check(
            Some(KeyOn),
            &[0.0, 140.0, 20.0, 140.0],
            &[KeyOn, Cranking, KeyOn, Cranking],
        );
    }

    #[test]
    fn a_speed_on_a_limit_does_not_flicker() {
        check(None, &[61.0, 55.0, 59.0, 61.0], &[Cranking; 4]);
        check(None, &[510.0, 450.0, 499.0, 510.0], &[Idle; 4]);
    }

    #[test]
    fn what_is_said_stands_until_the_speed_changes_kind() {
        check(
            Some(Cranking),
            &[30.0, 30.0, 600.0],
            &[Cranking, Cranking, Idle],
        );
        check(
            Some(Loaded),
            &[1800.0, 1000.0, 1800.0, 200.0],
            &[Loaded, Loaded, Loaded, Stopping],
        );
    }
}
