//! What can be wrong between an instrument and whoever listens to it.

use std::collections::VecDeque;

use crate::instruments::Corruption;
use crate::machine::random::Random;

/// The troubles of one line.
#[derive(Clone, Debug)]
pub(crate) struct Trouble {
    /// Says nothing at all.
    pub silent: bool,
    /// Simulated seconds by which everything comes late.
    pub delay: f64,
    corrupt: Option<(Corruption, u32)>,
    waiting: VecDeque<(f64, Vec<u8>)>,
    random: Random,
}

impl Trouble {
    pub(crate) fn none(seed: u64) -> Self {
        Trouble {
            silent: false,
            delay: 0.0,
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
    pub(crate) fn pass(&mut self, frame: Vec<u8>) -> Option<Vec<u8>> {
        if self.silent {
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
    pub(crate) fn hold(&mut self, now: f64, frame: Option<Vec<u8>>) -> Vec<u8> {
        if let Some(frame) = frame.and_then(|frame| self.pass(frame)) {
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
    fn frames_come_late_spoilt_or_not_at_all() {
        let mut trouble = Trouble::none(1);
        assert_eq!(trouble.hold(0.0, Some(vec![1, 2])), [1, 2]);
        trouble.delay = 0.5;
        assert!(trouble.hold(1.0, Some(vec![3])).is_empty());
        assert_eq!(trouble.hold(1.6, None), [3]);
        trouble.delay = 0.0;
        trouble.corrupt(Corruption::Doubled, 1);
        assert_eq!(trouble.hold(2.0, Some(vec![4])), [4, 4]);
        assert_eq!(trouble.hold(2.0, Some(vec![5])), [5]);
        trouble.silent = true;
        assert!(trouble.hold(3.0, Some(vec![6])).is_empty());
    }
}
