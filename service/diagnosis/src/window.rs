//! What is taken of the readings of one window: O(1) a reading, whatever the
//! length of the job.

use trisect_measure::{Amount, combine};
use trisect_rules::{Measured, Take};

/// The readings of one stay in a check's phases, summed up.
#[derive(Clone, Debug)]
pub(crate) struct Window {
    pub(crate) opened: i64,
    pub(crate) newest: i64,
    pub(crate) count: u64,
    /// Some reading was entered by a person, who stands for the whole window.
    pub(crate) entered: bool,
    /// When the phase was left, or a probe moved: nothing more counts.
    closed: Option<i64>,
    last: (Amount, f64),
    lowest: Option<(f64, f64)>,
    highest: Option<(f64, f64)>,
    above: Option<f64>,
    below: Option<f64>,
    mean: f64,
    squares: f64,
    /// Sum of the squared uncertainties of the exact readings.
    variances: f64,
    exact: u64,
}

impl Window {
    pub(crate) const fn new(opened: i64) -> Self {
        Window {
            opened,
            newest: opened,
            count: 0,
            entered: false,
            closed: None,
            last: (Amount::Exactly(f64::NAN), 0.0),
            lowest: None,
            highest: None,
            above: None,
            below: None,
            mean: 0.0,
            squares: 0.0,
            variances: 0.0,
            exact: 0,
        }
    }

    /// Nothing after this time counts.
    pub(crate) fn close(&mut self, at: i64) {
        self.closed = self.closed.or(Some(at));
    }

    pub(crate) const fn is_open(&self) -> bool {
        self.closed.is_none()
    }

    /// Whether nothing can come that would change it: a person answers for all
    /// of it, its time is over, or the phase was left. An extreme of a phase left
    /// early is that of the phase; a mean over ten seconds takes ten seconds.
    pub(crate) fn full(&self, measured: &Measured, now: i64) -> bool {
        let Some(over) = measured.over else {
            return true;
        };
        let lasted = self.closed.unwrap_or(now).saturating_sub(self.opened);
        let extreme = matches!(measured.take, Take::Last | Take::Minimum | Take::Maximum);
        self.entered || lasted >= over || extreme && self.closed.is_some()
    }

    pub(crate) fn add(&mut self, at: i64, amount: Amount, u: f64, entered: bool) {
        self.count += 1;
        self.newest = at;
        self.entered |= entered;
        self.last = (amount, u);
        match amount {
            Amount::Exactly(x) => self.add_exact(x, u),
            Amount::Above(end) => self.above = Some(self.above.map_or(end, |e| e.max(end))),
            Amount::Below(end) => self.below = Some(self.below.map_or(end, |e| e.min(end))),
        }
    }

    fn add_exact(&mut self, x: f64, u: f64) {
        if self.lowest.is_none_or(|(low, _)| x < low) {
            self.lowest = Some((x, u));
        }
        if self.highest.is_none_or(|(high, _)| x > high) {
            self.highest = Some((x, u));
        }
        // Welford's recurrence: stable over a million readings.
        self.exact += 1;
        let away = x - self.mean;
        self.mean += away / self.exact as f64;
        self.squares += away * (x - self.mean);
        self.variances += u * u;
    }

    /// The feature and its standard uncertainty, in SI; `None` when the
    /// readings do not allow it (a mean over an overload).
    pub(crate) fn take(&self, take: Take) -> Option<(Amount, f64)> {
        let exactly = |(x, u): (f64, f64)| (Amount::Exactly(x), u);
        match take {
            Take::Last => Some(self.last),
            Take::Minimum => match (self.below, self.lowest) {
                (Some(end), _) => Some((Amount::Below(end), 0.0)),
                (None, Some(lowest)) => Some(exactly(lowest)),
                (None, None) => self.above.map(|end| (Amount::Above(end), 0.0)),
            },
            Take::Maximum => match (self.above, self.highest) {
                (Some(end), _) => Some((Amount::Above(end), 0.0)),
                (None, Some(highest)) => Some(exactly(highest)),
                (None, None) => self.below.map(|end| (Amount::Below(end), 0.0)),
            },
            Take::Mean if self.above.is_none() && self.below.is_none() => self.mean(),
            Take::PeakToPeak if self.above.is_none() && self.below.is_none() => {
                let ((low, u_low), (high, u_high)) = (self.lowest?, self.highest?);
                Some((Amount::Exactly(high - low), combine(&[u_low, u_high])))
            }
            _ => None,
        }
    }

    /// The mean. What an instrument is wrong by, it is wrong by in every
    /// reading, so averaging does not shrink it; only the scatter shrinks
    /// (GUM 4.2.3 and 5.1.2).
    fn mean(&self) -> Option<(Amount, f64)> {
        if self.exact == 0 {
            return None;
        }
        let n = self.exact as f64;
        let type_b = self.variances / n;
        let type_a = if self.exact > 1 {
            self.squares / (n - 1.0) / n
        } else {
            0.0
        };
        Some((Amount::Exactly(self.mean), (type_a + type_b).sqrt()))
    }
}

/// Whether the fold can take this of a window yet.
pub(crate) const fn can_take(take: Take) -> bool {
    !matches!(take, Take::Ripple | Take::RiseTime | Take::Decay)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn window(amounts: &[Amount], u: f64) -> Window {
        let mut window = Window::new(0);
        for (at, amount) in amounts.iter().enumerate() {
            window.add(at as i64, *amount, u, false);
        }
        window
    }

    /// Recomputed with the libraries `GTC` and `uncertainties`: the mean of
    /// 12.31 12.34 12.36 12.33 12.35 V, type B 0.064431206 V, is 12.338 V with
    /// a combined standard uncertainty of 0.065002925 V.
    #[test]
    fn a_mean_keeps_what_the_instrument_is_wrong_by() {
        let volts = [12.31, 12.34, 12.36, 12.33, 12.35].map(Amount::Exactly);
        let (mean, u) = window(&volts, 0.064_431_206).take(Take::Mean).unwrap();
        assert!((mean.edge() - 12.338).abs() < 1e-12);
        assert!((u - 0.065_002_925).abs() < 1e-9, "{u}");
    }

    #[test]
    fn extremes_and_last() {
        let w = window(&[3.0, 1.0, 2.0].map(Amount::Exactly), 0.1);
        assert_eq!(w.take(Take::Minimum), Some((Amount::Exactly(1.0), 0.1)));
        assert_eq!(w.take(Take::Maximum), Some((Amount::Exactly(3.0), 0.1)));
        assert_eq!(w.take(Take::Last), Some((Amount::Exactly(2.0), 0.1)));
        assert_eq!(
            w.take(Take::PeakToPeak).map(|(a, _)| a),
            Some(Amount::Exactly(2.0))
        );
    }

    #[test]
    fn an_overload_stays_one_sided() {
        let w = window(&[Amount::Exactly(1.0), Amount::Above(40e6)], 0.1);
        assert_eq!(w.take(Take::Maximum), Some((Amount::Above(40e6), 0.0)));
        assert_eq!(w.take(Take::Minimum), Some((Amount::Exactly(1.0), 0.1)));
        assert_eq!(w.take(Take::Mean), None);
    }
}
