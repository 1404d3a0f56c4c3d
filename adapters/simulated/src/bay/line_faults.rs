//! What goes wrong on an instrument's line, injected: silence, delay, lost and corrupted frames.

use std::collections::VecDeque;

use crate::instruments::Corruption;
use trisect_machine::Random;

/// The faults of one line.
#[derive(Clone, Debug)]
pub(crate) struct LineFaults {
    /// Says nothing at all.
    pub silent: bool,
    /// Simulated seconds by which everything comes late.
    pub delay: f64,
    /// Of all frames so many are lost.
    dropped: f64,
    corrupt: Option<(Corruption, u32)>,
    waiting: VecDeque<(f64, Vec<u8>)>,
    random: Random,
}

impl LineFaults {
    /// A line of which every frame arrives at once.
    #[cfg(test)]
    pub(crate) fn none(seed: u64) -> Self {
        Self::usual(seed, 0.0, 0.0)
    }

    /// A line as lines are: late by up to `latest` seconds, always the same, and
    /// of all frames the share `dropped` is lost.
    pub(crate) fn usual(seed: u64, latest: f64, dropped: f64) -> Self {
        LineFaults {
            silent: false,
            delay: Random::new(seed, 12).between(0.0, latest),
            dropped,
            corrupt: None,
            waiting: VecDeque::new(),
            random: Random::new(seed, 11),
        }
    }

    /// Spoils the next `frames` frames.
    pub(crate) fn corrupt(&mut self, how: Corruption, frames: u32) {
        self.corrupt = Some((how, frames));
    }

    /// What becomes of a frame on its way.
    pub(crate) fn transmitted(&mut self, frame: Vec<u8>) -> Option<Vec<u8>> {
        if self.silent || self.random.chance(self.dropped) {
            return None;
        }
        match &mut self.corrupt {
            Some((how, left)) if *left > 0 => {
                *left -= 1;
                Some(how.apply(frame, &mut self.random))
            }
            _ => Some(frame),
        }
    }

    /// Takes a frame at simulated time `now`, and gives those whose time has come.
    pub(crate) fn delayed(&mut self, now: f64, frame: Option<Vec<u8>>) -> Vec<u8> {
        if let Some(frame) = frame.and_then(|frame| self.transmitted(frame)) {
            self.waiting.push_back((now + self.delay, frame));
        }
        let mut out = Vec::new();
        while let Some((_, frame)) = self.waiting.pop_front_if(|(due, _)| *due <= now) {
            out.extend(frame);
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_usual_line_is_late_by_its_own_time_and_loses_its_share() {
        let mut arrived = 0;
        for seed in 0..20 {
            let mut line_faults = LineFaults::usual(seed, 0.15, 0.01);
            assert!((0.0..0.15).contains(&line_faults.delay));
            arrived += (0..1_000)
                .filter(|_| line_faults.transmitted(vec![1]).is_some())
                .count();
        }
        // 200 lost of 20 000, give or take four standard deviations.
        assert!((19_740..=19_860).contains(&arrived), "{arrived}");
        let delays: Vec<f64> = (0..20)
            .map(|seed| LineFaults::usual(seed, 0.15, 0.0).delay)
            .collect();
        assert!(
            delays.iter().any(|delay| *delay > 0.1) && delays.iter().any(|delay| *delay < 0.05)
        );
    }

    #[test]
    fn frames_come_late_spoilt_or_not_at_all() {
        let mut line_faults = LineFaults::none(1);
        assert_eq!(line_faults.delayed(0.0, Some(vec![1, 2])), [1, 2]);
        line_faults.delay = 0.5;
        assert!(line_faults.delayed(1.0, Some(vec![3])).is_empty());
        assert_eq!(line_faults.delayed(1.6, None), [3]);
        line_faults.delay = 0.0;
        line_faults.corrupt(Corruption::Doubled, 1);
        assert_eq!(line_faults.delayed(2.0, Some(vec![4])), [4, 4]);
        assert_eq!(line_faults.delayed(2.0, Some(vec![5])), [5]);
        line_faults.silent = true;
        assert!(line_faults.delayed(3.0, Some(vec![6])).is_empty());
    }
}
