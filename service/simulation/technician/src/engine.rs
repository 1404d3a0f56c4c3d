//! What is done with the engine alone, with no test in mind: the practice bay's key.

use crate::Step;
use crate::sequence::{START_WITHIN, key_on, press, prime, release, rest, start};

/// The longest crank, seconds: at most 30 at a time is the published practice (TM 10-3930-671-24).
const LONGEST_CRANK: f64 = 30.0;
/// Seconds of each part of a round.
const AT_REST: f64 = 6.0;
const AT_IDLE: f64 = 15.0;
const AT_HIGH_IDLE: f64 = 6.0;

/// Key off.
pub fn off() -> Vec<Step> {
    rest()
}

/// Key on, engine still.
pub fn on() -> Vec<Step> {
    [rest(), key_on()].concat()
}

/// Cranked for as long as it does not start, 30 s at most.
pub fn crank() -> Vec<Step> {
    [rest(), prime(), start(LONGEST_CRANK)].concat()
}

/// Started unless it runs, and left at idle.
pub fn idle(runs: bool) -> Vec<Step> {
    let mut steps = started(runs);
    steps.extend(release());
    steps
}

/// Started unless it runs, and the pedal pressed.
pub fn high_idle(runs: bool) -> Vec<Step> {
    let mut steps = started(runs);
    steps.extend(press());
    steps
}

fn started(runs: bool) -> Vec<Step> {
    if runs {
        return Vec::new();
    }
    [rest(), prime(), start(START_WITHIN)].concat()
}

/// Off, on, cranked, idle, high idle, idle. The battery is charged first: a machine that never
/// starts would be flat within the hour.
pub fn round() -> Vec<Step> {
    let mut steps = rest();
    steps.extend([Step::ChargeBattery, Step::Wait(AT_REST)]);
    steps.extend(prime());
    steps.extend(start(START_WITHIN));
    steps.push(Step::Wait(AT_IDLE));
    steps.extend(press());
    steps.push(Step::Wait(AT_HIGH_IDLE));
    steps.extend(release());
    steps.push(Step::Wait(AT_REST));
    steps
}

#[cfg(test)]
mod tests {
    use trisect_machine::{BypassCommand, Key};

    use super::*;
    use crate::{Control, Phase};

    #[test]
    fn an_engine_that_runs_is_not_started_again() {
        let released = [
            Step::Operate(Control::Pedal(0.0)),
            Step::Operate(Control::Bypass(BypassCommand::LowIdle)),
        ];
        assert_eq!(idle(true), released);
        assert!(idle(false).contains(&Step::Start { within: 12.0 }));
        assert!(!high_idle(true).contains(&Step::Start { within: 12.0 }));
        assert!(high_idle(true).contains(&Step::Operate(Control::Pedal(0.6))));
    }

    #[test]
    fn a_round_begins_and_is_begun_anew_at_rest() {
        let steps = round();
        assert!(steps.starts_with(&off()));
        assert_eq!(steps[off().len()], Step::ChargeBattery);
        let said: Vec<Phase> = steps
            .iter()
            .filter_map(|step| match step {
                Step::SayPhase(phase) => Some(*phase),
                _ => None,
            })
            .collect();
        // Cranking, idle and high idle are told by the speed.
        assert_eq!(said, [Phase::Off, Phase::KeyOn]);
    }

    #[test]
    fn who_asks_for_a_crank_gets_the_longest_and_the_key_stays_on() {
        assert_eq!(crank().last(), Some(&Step::Start { within: 30.0 }));
        let key = |key| Step::Operate(Control::Key(key));
        assert!(on().contains(&key(Key::On)) && !on().contains(&key(Key::Crank)));
    }
}
