//! How regularly readings come: a window with a gap is not a window.
//!
//! A gap goes by the stream's own rate: an interval longer than five mean
//! intervals of the same window. What a person writes down is no stream and has
//! no rate.

/// An interval longer than so many mean ones is a gap.
pub(crate) const GAP: i64 = 5;
/// Fewer intervals than this tell no rate.
pub(crate) const LEAST: i64 = 8;

/// The intervals of one window, summed up.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Rhythm {
    first: Option<i64>,
    newest: i64,
    intervals: i64,
    longest: i64,
}

impl Rhythm {
    pub(crate) fn add(&mut self, at: i64) {
        if self.first.is_some() {
            self.longest = self.longest.max(at.saturating_sub(self.newest));
            self.intervals += 1;
        }
        self.first = self.first.or(Some(at));
        self.newest = at;
    }

    /// Whether there is a gap until `end`, the last stretch without readings included.
    pub(crate) fn broken(&self, end: i64) -> bool {
        let Some(first) = self.first.filter(|_| self.intervals >= LEAST) else {
            return false;
        };
        // The open stretch counts too: else a cable pulled halfway would leave a whole window.
        let longest = self.longest.max(end.saturating_sub(self.newest));
        let span = self.newest.max(end).saturating_sub(first);
        longest > GAP * (span / self.intervals)
    }

    /// The mean interval, in nanoseconds; `None` of fewer than two readings.
    pub(crate) fn mean(&self) -> Option<f64> {
        let span = self.newest - self.first?;
        (self.intervals > 0).then(|| span as f64 / self.intervals as f64)
    }
}

#[cfg(test)]
mod tests {
    use super::Rhythm;

    fn check(times: &[i64], end: i64, broken: bool) {
        let mut rhythm = Rhythm::default();
        times.iter().for_each(|at| rhythm.add(*at));
        assert_eq!(rhythm.broken(end), broken, "{times:?} until {end}");
    }

    #[test]
    fn a_gap_goes_by_the_rate_of_the_stream() {
        let steady: Vec<i64> = (0..20).map(|i| i * 10).collect();
        check(&steady, 200, false);
        check(&steady, 400, true);
        let mut late = steady.clone();
        late.iter_mut().skip(10).for_each(|at| *at += 150);
        check(&late, 345, true);
        // Too few to tell a rate.
        check(&[0, 10, 20, 500], 500, false);
    }
}
