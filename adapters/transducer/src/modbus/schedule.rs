//! Whose turn it is on a line that several devices share. No I/O and no clock:
//! times are durations since some start.
//!
//! Each input has its own period, and the most overdue comes first. A device
//! that has failed twice running is left out for a while, growing to
//! [`LONGEST`], so that the time it costs is a small share of the line's. With
//! a device alone on its line there is nobody to starve, and no such wait.

use std::time::Duration;

/// A device that came back is noticed within this.
const LONGEST: Duration = Duration::from_secs(5);
/// The wait after a second failure, in terms of the time that the failure took:
/// a dead device has at most a fifth of the line.
const SHARE: u32 = 4;

/// When each input is due.
#[derive(Clone, Debug)]
pub(crate) struct Schedule {
    turns: Vec<Turn>,
    devices: Vec<Device>,
}

#[derive(Clone, Debug)]
struct Turn {
    device: usize,
    period: Duration,
    due: Duration,
}

#[derive(Clone, Debug)]
struct Device {
    address: u8,
    /// Failures since the last answer.
    failures: u32,
    /// It is left out until then.
    rests_until: Duration,
}

impl Schedule {
    /// A schedule of inputs, each by its device's address and its period, all
    /// due at once.
    pub fn new(inputs: impl IntoIterator<Item = (u8, Duration)>) -> Schedule {
        let (mut turns, mut devices) = (Vec::new(), Vec::<Device>::new());
        for (address, period) in inputs {
            let known = devices.iter().position(|d| d.address == address);
            let device = known.unwrap_or(devices.len());
            if known.is_none() {
                devices.push(Device {
                    address,
                    failures: 0,
                    rests_until: Duration::ZERO,
                });
            }
            turns.push(Turn {
                device,
                period,
                due: Duration::ZERO,
            });
        }
        Schedule { turns, devices }
    }

    /// The next input and when it is due; `None` if there are no inputs.
    pub fn next(&self) -> Option<(usize, Duration)> {
        let due = |turn: &Turn| {
            let rests_until = self.devices.get(turn.device).map(|d| d.rests_until);
            turn.due.max(rests_until.unwrap_or_default())
        };
        let all = self.turns.iter().map(due).enumerate();
        all.min_by_key(|(_, due)| *due)
    }

    /// The input is being asked at `at`: it is due again a period later.
    pub fn asked(&mut self, input: usize, at: Duration) {
        if let Some(turn) = self.turns.get_mut(input) {
            // From when it is asked, not from when it was due: a line that fell behind would be asked in bursts.
            turn.due = at + turn.period;
        }
    }

    /// The input's device answered.
    pub fn answered(&mut self, input: usize) {
        if let Some(device) = self.device(input) {
            device.failures = 0;
        }
    }

    /// The input's device did not answer, which took the line from `since` to `at`.
    pub fn failed(&mut self, input: usize, since: Duration, at: Duration) {
        let alone = self.devices.len() < 2;
        let Some(device) = self.device(input) else {
            return;
        };
        device.failures = device.failures.saturating_add(1);
        // One failure may be a disturbance, and costs the device no turn.
        if alone || device.failures < 2 {
            return;
        }
        let doublings = (device.failures - 2).min(16);
        let cost = at.saturating_sub(since);
        let wait = cost.saturating_mul(SHARE << doublings);
        device.rests_until = at + wait.min(LONGEST);
    }

    fn device(&mut self, input: usize) -> Option<&mut Device> {
        let device = self.turns.get(input)?.device;
        self.devices.get_mut(device)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    const ANSWER: Duration = Duration::from_millis(5);
    const TIMEOUT: Duration = Duration::from_millis(200);

    const fn ms(millis: u64) -> Duration {
        Duration::from_millis(millis)
    }

    /// Plays a line for `seconds` on which the `dead` devices never answer;
    /// gives the instants at which each input was asked.
    fn play(inputs: &[(u8, Duration)], dead: &[u8], seconds: u64) -> Vec<Vec<Duration>> {
        let mut schedule = Schedule::new(inputs.iter().copied());
        let mut asked = vec![Vec::new(); inputs.len()];
        let mut now = Duration::ZERO;
        loop {
            let (input, due) = schedule.next().unwrap();
            now = now.max(due);
            if now >= Duration::from_secs(seconds) {
                return asked;
            }
            asked[input].push(now);
            schedule.asked(input, now);
            let since = now;
            if dead.contains(&inputs[input].0) {
                now += TIMEOUT;
                schedule.failed(input, since, now);
            } else {
                now += ANSWER;
                schedule.answered(input);
            }
        }
    }

    #[test]
    fn every_input_has_its_own_period() {
        let asked = play(&[(1, ms(100)), (1, ms(500)), (2, ms(1000))], &[], 10);
        let turns: Vec<usize> = asked.iter().map(Vec::len).collect();
        assert_eq!(turns, [100, 20, 10]);
    }

    #[test]
    fn a_crowded_line_is_shared_evenly() {
        let asked = play(&[(1, ms(1)), (2, ms(1)), (3, ms(1))], &[], 10);
        let turns: Vec<usize> = asked.iter().map(Vec::len).collect();
        assert!(
            turns.iter().all(|turns| turns.abs_diff(667) <= 1),
            "{turns:?}"
        );
    }

    #[test]
    fn a_dead_device_does_not_starve_the_others() {
        let asked = play(
            &[(1, ms(50)), (2, ms(50)), (3, ms(50)), (3, ms(50))],
            &[3],
            60,
        );
        // Of 1200 turns without it.
        assert!(asked[0].len() > 1100, "{}", asked[0].len());
        assert!(asked[1].len() > 1100, "{}", asked[1].len());
        let longest = asked[0].windows(2).map(|pair| pair[1] - pair[0]).max();
        // Once, before it is known to be dead, both its inputs are asked in a row.
        assert!(longest.unwrap() <= 2 * TIMEOUT + ms(60), "{longest:?}");
        // And it is asked often enough to be noticed when it comes back.
        let mut all: Vec<Duration> = asked[2].iter().chain(&asked[3]).copied().collect();
        all.sort();
        let longest = all.windows(2).map(|pair| pair[1] - pair[0]).max();
        assert!(
            longest.unwrap() <= LONGEST + TIMEOUT + ms(60),
            "{longest:?}"
        );
    }

    #[test]
    fn a_device_alone_on_its_line_is_asked_on_and_on() {
        let asked = play(&[(1, ms(50))], &[1], 10);
        assert_eq!(asked[0].len(), 50);
    }

    #[test]
    fn one_failure_costs_no_turn_and_an_answer_ends_the_rest() {
        let mut schedule = Schedule::new([(1, ms(100)), (2, ms(100))]);
        schedule.asked(0, ms(0));
        schedule.failed(0, ms(0), ms(200));
        schedule.asked(1, ms(200));
        assert_eq!(schedule.next(), Some((0, ms(100))));
        schedule.failed(0, ms(200), ms(400));
        assert_eq!(schedule.next(), Some((1, ms(300))));
        schedule.asked(1, ms(400));
        schedule.answered(1);
        schedule.asked(1, ms(2000));
        assert_eq!(schedule.next(), Some((0, ms(1200))));
        schedule.answered(0);
        schedule.asked(0, ms(1200));
        schedule.failed(0, ms(1200), ms(1400));
        assert_eq!(schedule.next(), Some((0, ms(1300))));
    }
}
