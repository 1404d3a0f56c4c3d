//! Rise-time: from 10 % to 90 % of the way from the first reading of a window to
//! its highest (the transition duration of IEEE 181, from memory).

use trisect_measure::combine;

/// So many steps are kept before the finest are joined.
const STEPS: usize = 2048;
/// Steps smaller than this part of the whole rise may be joined.
const FINEST: f64 = 1.0 / 512.0;
/// A rise smaller than so many standard uncertainties is none.
const CLEAR: f64 = 3.0;
const NONE: &str = "nothing has risen";

/// The first reading, and every reading higher than all before it: memory is
/// bounded, since steps too fine to matter are joined.
#[derive(Clone, Debug, Default)]
pub(crate) struct Rise {
    first: Option<(f64, f64)>,
    /// Times and values, both rising (a value may repeat: how long it was held).
    steps: Vec<(i64, f64)>,
    newest: i64,
    /// Uncertainty of the highest.
    u: f64,
}

impl Rise {
    pub(crate) fn add(&mut self, at: i64, x: f64, u: f64) {
        match self.steps.last().copied() {
            None => {
                self.first = Some((x, u));
                self.u = u;
                self.steps.push((at, x));
            }
            Some((since, highest)) if x > highest => {
                // The end of a held level is kept: the ramp begins there, not where it was reached.
                if self.newest > since {
                    self.steps.push((self.newest, highest));
                }
                self.steps.push((at, x));
                self.u = u;
            }
            Some(_) => {}
        }
        self.newest = at;
        if self.steps.len() > STEPS {
            self.join();
        }
    }

    fn join(&mut self) {
        let (Some((low, _)), Some((_, high))) = (self.first, self.steps.last().copied()) else {
            return;
        };
        let finest = (high - low) * FINEST;
        let mut kept: Vec<(i64, f64)> = Vec::with_capacity(STEPS);
        for (place, step) in self.steps.iter().enumerate() {
            let last = kept.last().map_or(f64::NEG_INFINITY, |(_, x)| *x);
            // The last step is the highest, which both levels are parts of: it is never joined.
            if step.1 - last >= finest || place + 1 == self.steps.len() {
                kept.push(*step);
            }
        }
        self.steps = kept;
    }

    /// Seconds, and their uncertainty: each crossing is uncertain by the reading's
    /// uncertainty over the slope, and by where between two readings it lies.
    pub(crate) fn take(&self, interval: f64) -> Result<(f64, f64), &'static str> {
        let ((low, u_low), (_, high)) = self.first.zip(self.steps.last().copied()).ok_or(NONE)?;
        let rise = high - low;
        if rise <= CLEAR * combine(&[u_low, self.u]) || rise <= 0.0 {
            return Err(NONE);
        }
        let crossing = |part: f64| self.crossing(low + part * rise);
        let ((from, slow), (until, fast)) = crossing(0.1).zip(crossing(0.9)).ok_or(NONE)?;
        // A crossing may be anywhere between two readings: a rectangle as wide as the interval (GUM 4.3.7).
        let between = interval / 1e9 / 12f64.sqrt();
        let u = combine(&[u_low * slow, self.u * fast, between, between]);
        Ok(((until - from) / 1e9, u))
    }

    /// When a level is reached, in nanoseconds, and how slowly: seconds a unit.
    fn crossing(&self, level: f64) -> Option<(f64, f64)> {
        // Values never fall from step to step, which a search by halves relies on.
        let after = self.steps.partition_point(|(_, x)| *x < level);
        let (before, after) = (
            self.steps.get(after.checked_sub(1)?)?,
            self.steps.get(after)?,
        );
        let slow = (after.0 - before.0) as f64 / (after.1 - before.1);
        Some((before.0 as f64 + (level - before.1) * slow, slow / 1e9))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::{Rise, STEPS};

    fn rise(readings: impl Iterator<Item = (i64, f64)>) -> Rise {
        let mut rise = Rise::default();
        readings.for_each(|(at, x)| rise.add(at, x, 0.0));
        rise
    }

    #[test]
    fn a_ramp_rises_in_eight_tenths_of_its_time() {
        let ramp = rise((0..=100).map(|i| (i * 10_000_000, f64::from(i as i32))));
        assert!((ramp.take(0.0).unwrap().0 - 0.8).abs() < 1e-12);
    }

    #[test]
    fn held_before_it_rises() {
        let held = rise([(0, 0.0), (5_000_000_000, 0.0), (6_000_000_000, 10.0)].into_iter());
        assert!((held.take(0.0).unwrap().0 - 0.8).abs() < 1e-12);
    }

    #[test]
    fn memory_is_bounded_and_little_is_lost() {
        let long = rise((0..1_000_000).map(|i| (i * 1000, (i as f64).sqrt())));
        assert!(long.steps.len() <= STEPS);
        // 0.81 − 0.01 of a second.
        assert!((long.take(0.0).unwrap().0 - 0.8).abs() < 0.005);
    }

    #[test]
    fn what_falls_does_not_rise() {
        assert!(rise([(0, 3.0), (1, 2.0)].into_iter()).take(0.0).is_err());
    }
}
