//! Ripple: peak-to-peak over mean in sliding windows, the highest of a stay.
//!
//! O(1) a reading, amortised: the extremes of the window are kept in queues that
//! only hold what can still become one. Memory is bounded by [`RING`] readings; a
//! stream too fast for it has no ripple here, and that is said.

use std::collections::VecDeque;

use rustfft::FftPlanner;
use rustfft::num_complex::Complex;
use trisect_measure::{combine, significant};

use crate::rhythm::{GAP, LEAST};

/// So many readings of a window are kept: two seconds at four thousand a second.
pub(crate) const RING: usize = 8192;
/// A mean nearer to zero than so many standard uncertainties divides nothing.
const CLEAR: f64 = 3.0;

#[derive(Clone, Copy, Debug)]
struct Reading {
    at: i64,
    x: f64,
    u: f64,
}

/// The sliding window, and the highest ripple of all full ones.
#[derive(Clone, Debug)]
pub(crate) struct Ripple {
    over: i64,
    /// Readings before this time do not count: the phase is settling.
    from: i64,
    ring: VecDeque<Reading>,
    /// The number of the oldest reading in the ring, counted from the stay's first.
    oldest: u64,
    /// The number of the first reading of this stretch.
    first: u64,
    /// Numbers of readings; the values fall, or rise, from front to back.
    lows: VecDeque<u64>,
    highs: VecDeque<u64>,
    /// Numbers of readings with the interval before each, falling.
    intervals: VecDeque<(u64, i64)>,
    sum: Sum,
    /// The highest ripple, and its uncertainty.
    worst: Option<(f64, f64)>,
    /// Why the newest window was none.
    why: &'static str,
}

/// The standard uncertainty of a peak-to-peak value of so many readings.
///
/// What scatters from reading to reading makes the extremes of a steady signal
/// stand apart: by no more than 2√(2 ln n) of its standard deviations on average.
/// How much of the uncertainty does scatter is not known, so that this may be any
/// part of it: a rectangle.
pub(crate) fn peaks_u(low: f64, high: f64, count: u64) -> f64 {
    let apart = 2.0 * (2.0 * libm::log(count.max(1) as f64)).sqrt() * low.max(high);
    combine(&[low, high, apart / 3.0f64.sqrt()])
}

/// The line that stands out of a spectrum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct SpectralLine {
    /// In hertz; as fine as one over the length of the window.
    pub(crate) frequency: f64,
    /// Half of its peak-to-peak, in SI.
    pub(crate) amplitude: f64,
}

const FEW: &str = "fewer than nine readings in a window tell no ripple: read faster";
const SHORT: &str = "the window is not full yet";
const BROKEN: &str = "there is a gap in the readings, and a window with a gap is not a window";
const DENSE: &str = "more readings in a window than can be kept: read slower";
const NEAR_ZERO: &str = "the mean is too near zero for a ratio";
pub(crate) const BEYOND: &str = "a reading beyond the range is among them: choose a wider range";

impl Ripple {
    pub(crate) fn new(over: i64) -> Ripple {
        Ripple {
            over,
            from: i64::MIN,
            ring: VecDeque::new(),
            oldest: 0,
            first: 0,
            lows: VecDeque::new(),
            highs: VecDeque::new(),
            intervals: VecDeque::new(),
            sum: Sum::default(),
            worst: None,
            why: FEW,
        }
    }

    /// Windows begin anew at this time: those of two phases do not mix.
    pub(crate) fn restart(&mut self, from: i64) {
        self.from = from;
        self.clear(SHORT);
    }

    /// A reading beyond the range belongs to no window.
    pub(crate) fn beyond(&mut self) {
        self.clear(BEYOND);
    }

    fn clear(&mut self, why: &'static str) {
        self.oldest += self.ring.len() as u64;
        self.first = self.oldest;
        self.ring.clear();
        self.lows.clear();
        self.highs.clear();
        self.intervals.clear();
        self.sum = Sum::default();
        self.why = why;
    }

    pub(crate) fn add(&mut self, at: i64, x: f64, u: f64) {
        if at < self.from {
            return;
        }
        // Before anything is dropped: a gap longer than the window empties it, and must still be seen.
        let interval = self
            .ring
            .back()
            .map_or(0, |last| at.saturating_sub(last.at));
        while self
            .ring
            .front()
            .is_some_and(|r| at.saturating_sub(r.at) >= self.over)
        {
            self.drop_oldest();
        }
        // Dropping the oldest instead would shorten the window unseen, and a ripple come out too low.
        if self.ring.len() == RING {
            self.clear(DENSE);
            return;
        }
        let number = self.oldest + self.ring.len() as u64;
        // Emptied by a gap, it is no new stretch: the gap counts until it has left the window.
        if self.ring.is_empty() && interval == 0 {
            self.first = number;
        }
        self.ring.push_back(Reading { at, x, u });
        self.sum.add(x, u);
        if self.sum.stale(self.ring.len()) {
            self.sum = Sum::default();
            self.ring.iter().for_each(|r| self.sum.add(r.x, r.u));
            self.sum.moved = 0;
        }
        self.remember(number, x, interval);
        match self.ratio() {
            Ok((ratio, u)) => {
                if self.worst.is_none_or(|(worst, _)| ratio > worst) {
                    self.worst = Some((ratio, u));
                }
            }
            Err(why) => self.why = why,
        }
    }

    fn drop_oldest(&mut self) {
        let Some(gone) = self.ring.pop_front() else {
            return;
        };
        self.sum.remove(gone.x, gone.u);
        for queue in [&mut self.lows, &mut self.highs] {
            if queue.front() == Some(&self.oldest) {
                queue.pop_front();
            }
        }
        if self
            .intervals
            .front()
            .is_some_and(|(n, _)| *n == self.oldest)
        {
            self.intervals.pop_front();
        }
        self.oldest += 1;
    }

    fn remember(&mut self, number: u64, x: f64, interval: i64) {
        let (ring, oldest) = (&self.ring, self.oldest);
        let value = |n: &u64| ring[(*n - oldest) as usize].x;
        // An older reading that is no lower leaves the window first, so it can never be the lowest again.
        while self.lows.back().is_some_and(|n| value(n) >= x) {
            self.lows.pop_back();
        }
        while self.highs.back().is_some_and(|n| value(n) <= x) {
            self.highs.pop_back();
        }
        // The same for the longest interval: looking through the ring at each reading would be O(n).
        while self.intervals.back().is_some_and(|(_, i)| *i <= interval) {
            self.intervals.pop_back();
        }
        self.lows.push_back(number);
        self.highs.push_back(number);
        self.intervals.push_back((number, interval));
    }

    /// The ripple of the newest window, if it is one.
    fn ratio(&self) -> Result<(f64, f64), &'static str> {
        let (Some(old), Some(new)) = (self.ring.front(), self.ring.back()) else {
            return Err(FEW);
        };
        let intervals = self.ring.len() as i64 - 1;
        let span = new.at.saturating_sub(old.at);
        if intervals < LEAST || span <= 0 {
            let first = self.oldest == self.first && span < self.over / 2;
            return Err(if first { SHORT } else { FEW });
        }
        let mean_interval = span / intervals;
        // The first reading stands for the interval that follows it.
        if self.oldest == self.first && span + mean_interval < self.over - self.over / 1000 {
            return Err(SHORT);
        }
        // The interval before the oldest reading reaches into the window.
        let longest = self.intervals.front().map_or(0, |(_, i)| *i);
        if longest > GAP * mean_interval {
            return Err(BROKEN);
        }
        let at = |queue: &VecDeque<u64>| {
            let number = queue.front().copied().unwrap_or(self.oldest);
            self.ring[(number - self.oldest) as usize]
        };
        let (low, high) = (at(&self.lows), at(&self.highs));
        let (mean, u_mean) = self.sum.mean();
        if mean <= CLEAR * u_mean || mean <= 0.0 {
            return Err(NEAR_ZERO);
        }
        let ratio = (high.x - low.x) / mean;
        let peaks = peaks_u(low.u, high.u, self.ring.len() as u64) / mean;
        Ok((ratio, combine(&[peaks, ratio * u_mean / mean])))
    }

    /// The highest ripple of the stay, or why there is none yet.
    pub(crate) fn take(&self) -> Result<(f64, f64), &'static str> {
        self.worst.ok_or(self.why)
    }

    /// The line that stands out of the newest window, if that is one. Its readings
    /// are taken as evenly spaced.
    pub(crate) fn line(&self) -> Option<SpectralLine> {
        self.ratio().ok()?;
        let (old, new) = (self.ring.front()?, self.ring.back()?);
        let count = self.ring.len();
        let mean = self.sum.mean().0;
        let mut bins: Vec<Complex<f64>> = self
            .ring
            .iter()
            .map(|r| Complex::new(r.x - mean, 0.0))
            .collect();
        FftPlanner::new().plan_fft_forward(count).process(&mut bins);
        let powers = bins.iter().map(|bin| bin.norm_sqr()).enumerate();
        // Bin 0 is what is left of the mean; past the half, the spectrum of real readings repeats.
        let half = powers.skip(1).take(count / 2);
        let (bin, power) = half.fold(
            (0, 0.0),
            |best, own| if own.1 > best.1 { own } else { best },
        );
        // n readings span n − 1 intervals; over n of them a line would come out too high in frequency.
        let interval = (new.at - old.at) as f64 / 1e9 / (count - 1) as f64;
        // Rounded: sines differ in the last digits from platform to platform.
        (bin > 0).then(|| SpectralLine {
            frequency: significant(bin as f64 / (count as f64 * interval), 6),
            amplitude: significant(2.0 * power.sqrt() / count as f64, 6),
        })
    }
}

/// Sums over the window, relative to one of its readings so that little is lost.
#[derive(Clone, Copy, Debug, Default)]
struct Sum {
    anchor: f64,
    count: f64,
    away: f64,
    variances: f64,
    /// Readings added since it was summed anew.
    moved: usize,
}

impl Sum {
    fn add(&mut self, x: f64, u: f64) {
        if self.count == 0.0 {
            *self = Sum {
                anchor: x,
                moved: self.moved,
                ..Sum::default()
            };
        }
        self.count += 1.0;
        self.away += x - self.anchor;
        self.variances += u * u;
        self.moved += 1;
    }

    fn remove(&mut self, x: f64, u: f64) {
        self.count -= 1.0;
        self.away -= x - self.anchor;
        self.variances -= u * u;
    }

    /// Rounding adds up: once a window has passed through, it is summed anew.
    fn stale(&self, length: usize) -> bool {
        self.moved > 2 * length.max(64)
    }

    /// What the instrument is wrong by, it is wrong by in every reading.
    fn mean(&self) -> (f64, f64) {
        let mean = self.anchor + self.away / self.count;
        (mean, (self.variances.max(0.0) / self.count).sqrt())
    }
}
