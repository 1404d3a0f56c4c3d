//! Decay: the part of the first reading that is lost by the end of the window.

use trisect_measure::combine;

#[derive(Clone, Copy, Debug)]
struct Reading {
    at: i64,
    x: f64,
    u: f64,
}

/// The first reading of a window and the newest, or the value at its very end.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Decay {
    first: Option<Reading>,
    newest: Option<Reading>,
    /// At the end of the window, between the readings around it.
    end: Option<Reading>,
}

/// A first reading nearer to zero than so many standard uncertainties has
/// nothing to lose.
const CLEAR: f64 = 3.0;
const ALONE: &str = "one reading cannot show what is lost: read again at the end of the window";
const EMPTY: &str = "it was too near zero to begin with: there was nothing to lose";

impl Decay {
    pub(crate) fn add(&mut self, at: i64, x: f64, u: f64, over: Option<i64>) {
        let own = Reading { at, x, u };
        let first = *self.first.get_or_insert(own);
        let until = over.map(|over| first.at.saturating_add(over));
        if let Some(until) = until.filter(|until| at >= *until && self.end.is_none()) {
            // A person may enter the two readings by hand, and hardly on the second.
            self.end = Some(between(self.newest.unwrap_or(own), own, until));
        }
        self.newest = Some(own);
    }

    /// The end of the window has been read: nothing later counts.
    pub(crate) const fn ended(&self) -> bool {
        self.end.is_some()
    }

    /// The part lost; below zero if it rose.
    pub(crate) fn take(&self) -> Result<(f64, f64), &'static str> {
        let first = self.first.ok_or(ALONE)?;
        // The same moment twice says nothing of a loss, however the values differ.
        let last = self.end.or(self.newest).filter(|last| last.at > first.at);
        let last = last.ok_or(ALONE)?;
        if first.x <= CLEAR * first.u || first.x <= 0.0 {
            return Err(EMPTY);
        }
        let kept = last.x / first.x;
        let u = combine(&[last.u / first.x, kept * first.u / first.x]);
        Ok((1.0 - kept, u))
    }
}

/// On the straight line between two readings.
fn between(before: Reading, after: Reading, at: i64) -> Reading {
    let span = (after.at - before.at) as f64;
    if span <= 0.0 {
        return after;
    }
    let part = (at - before.at) as f64 / span;
    Reading {
        at,
        x: before.x + part * (after.x - before.x),
        // One instrument: what it is wrong by does not average out.
        u: before.u + part * (after.u - before.u),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::Decay;

    fn check(readings: &[(i64, f64)], over: Option<i64>, lost: f64) {
        let mut decay = Decay::default();
        for (at, x) in readings {
            decay.add(*at, *x, 0.0, over);
        }
        assert!(
            (decay.take().unwrap().0 - lost).abs() < 1e-12,
            "{readings:?}"
        );
    }

    #[test]
    fn the_part_lost_at_the_end_of_the_window() {
        check(&[(0, 10.0), (30, 9.0), (60, 8.0)], Some(60), 0.2);
        check(&[(0, 10.0), (50, 9.0), (70, 7.0)], Some(60), 0.2);
        check(&[(0, 10.0), (60, 8.0), (61, 1.0)], Some(60), 0.2);
        check(&[(0, 10.0), (30, 5.0)], None, 0.5);
        check(&[(0, 10.0), (30, 12.0)], None, -0.2);
    }

    /// By hand: 1 − 8/10, u² = (0.1/10)² + (0.8 · 0.2/10)².
    #[test]
    fn uncertainty_of_a_ratio() {
        let mut decay = Decay::default();
        decay.add(0, 10.0, 0.2, None);
        decay.add(1, 8.0, 0.1, None);
        let u = decay.take().unwrap().1;
        assert!((u - (0.01f64.powi(2) + 0.016f64.powi(2)).sqrt()).abs() < 1e-15);
    }

    #[test]
    fn one_reading_or_nothing_to_lose_is_said() {
        let mut decay = Decay::default();
        decay.add(0, 0.1, 0.1, None);
        assert!(decay.take().unwrap_err().contains("one reading"));
        decay.add(1, 0.0, 0.1, None);
        assert!(decay.take().unwrap_err().contains("near zero"));
    }
}
