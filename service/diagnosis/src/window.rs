//! What is taken of the readings of one window: O(1) a reading, whatever the
//! length of the job.

use trisect_measure::{Amount, combine};
use trisect_rules::{Measured, Take};

use crate::decay::Decay;
use crate::phase::DWELL;
use crate::rhythm::Rhythm;
use crate::ripple::{BEYOND, Ripple, SpectralLine, peaks_u};
use crate::rise::Rise;

/// The stay in a check's phases that a window belongs to.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Stay {
    /// When it began.
    pub(crate) from: i64,
    /// Told by readings and not by a person: too short a stay is no phase then.
    pub(crate) detected: bool,
}

/// The readings of one stay in a check's phases, summed up.
#[derive(Clone, Debug)]
pub(crate) struct Window {
    stay: Stay,
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
    rhythm: Rhythm,
    feature: Feature,
}

/// What takes more than sums.
#[derive(Clone, Debug)]
enum Feature {
    Sums,
    Ripple(Box<Ripple>),
    Decay(Decay),
    Rise(Box<Rise>),
}

/// A feature and its standard uncertainty, in SI; or why the readings do not
/// allow it (a mean over an overload).
pub(crate) type Taken = Result<(Amount, f64), &'static str>;

const NO_STREAM: &str = "it takes a stream of readings: what a person enters has no rate";

impl Window {
    pub(crate) fn new(opened: i64, stay: Stay, measured: &Measured) -> Self {
        let feature = match (measured.take, measured.over) {
            (Take::Ripple, Some(over)) => Feature::Ripple(Box::new(Ripple::new(over))),
            (Take::Decay, _) => Feature::Decay(Decay::default()),
            (Take::RiseTime, _) => Feature::Rise(Box::default()),
            _ => Feature::Sums,
        };
        Window {
            stay,
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
            rhythm: Rhythm::default(),
            feature,
        }
    }

    /// Nothing after this time counts.
    pub(crate) fn close(&mut self, at: i64) {
        // The first end counts: a probe that is moved after the phase was left must not lengthen the window.
        self.closed = self.closed.or(Some(at));
    }

    pub(crate) const fn is_open(&self) -> bool {
        self.closed.is_none()
    }

    /// Another of its phases has begun: windows that slide do not mix them, and
    /// begin again at this time.
    pub(crate) fn restart(&mut self, from: i64) {
        if let Feature::Ripple(ripple) = &mut self.feature {
            ripple.restart(from);
        }
    }

    /// The phase was told by readings and has lasted less than the shortest stay.
    pub(crate) fn passing(&self, now: i64) -> bool {
        let lasted = self.closed.unwrap_or(now).saturating_sub(self.stay.from);
        self.stay.detected && lasted < DWELL
    }

    /// Whether a reading at this time still belongs to it.
    pub(crate) fn takes(&self, measured: &Measured, at: i64) -> bool {
        let within = match &self.feature {
            Feature::Ripple(_) => true,
            // The first reading past the end shows where the end was.
            Feature::Decay(decay) => !decay.ended(),
            Feature::Sums | Feature::Rise(_) => {
                measured.over.is_none_or(|over| at - self.opened <= over)
            }
        };
        self.is_open() && at >= self.opened && within
    }

    /// Why nothing can come of it, if nothing can.
    pub(crate) fn unusable(&self) -> Option<&'static str> {
        let streamed = matches!(self.feature, Feature::Ripple(_) | Feature::Rise(_));
        (streamed && self.entered && self.rhythm.mean().is_none()).then_some(NO_STREAM)
    }

    /// Whether nothing can come that would change it: a person answers for all
    /// of it, its time is over, or the phase was left. An extreme of a phase left
    /// early is that of the phase; a mean over ten seconds takes ten seconds.
    ///
    /// # Errors
    /// Why it is not, or not a window at all: a gap in it may hide anything.
    pub(crate) fn full(&self, measured: &Measured, now: i64) -> Result<(), &'static str> {
        if self.passing(now) {
            return Err("the phase has only just begun");
        }
        let early = if self.is_open() { NOT_YET } else { LEFT_EARLY };
        // A ripple tells of each sliding window by itself, and says why while none of them is full.
        if matches!(self.feature, Feature::Ripple(_)) {
            return Ok(());
        }
        let Some(over) = measured.over else {
            let rising = matches!(self.feature, Feature::Rise(_)) && self.is_open();
            return if rising { Err(NOT_YET) } else { Ok(()) };
        };
        let end = self.opened.saturating_add(over);
        // By the job's newest event, not by its own newest reading: a stream that stopped has a gap.
        let lasted = self.closed.unwrap_or(now) >= end;
        match &self.feature {
            Feature::Decay(decay) if self.entered => {
                return if decay.ended() { Ok(()) } else { Err(early) };
            }
            _ if self.entered => return Ok(()),
            _ => {}
        }
        let extreme = matches!(measured.take, Take::Last | Take::Minimum | Take::Maximum);
        match self.closed {
            _ if lasted => self.unbroken(end),
            Some(closed) if extreme => self.unbroken(closed),
            _ => Err(early),
        }
    }

    fn unbroken(&self, end: i64) -> Result<(), &'static str> {
        if self.rhythm.broken(end) {
            return Err(GAP);
        }
        Ok(())
    }

    /// The line that stands out of the ripple's spectrum.
    pub(crate) fn line(&self) -> Option<SpectralLine> {
        match &self.feature {
            Feature::Ripple(ripple) => ripple.line(),
            _ => None,
        }
    }

    pub(crate) fn add(
        &mut self,
        at: i64,
        amount: Amount,
        u: f64,
        entered: bool,
        over: Option<i64>,
    ) {
        self.count += 1;
        self.newest = at;
        self.entered |= entered;
        self.last = (amount, u);
        // Minutes may lie between two entries of a person: they are no stream and make no gap.
        if !entered {
            self.rhythm.add(at);
        }
        match amount {
            Amount::Exactly(x) => {
                self.add_exact(x, u);
                self.add_feature(at, x, u, entered, over);
            }
            Amount::Above(end) => self.above = Some(self.above.map_or(end, |e| e.max(end))),
            Amount::Below(end) => self.below = Some(self.below.map_or(end, |e| e.min(end))),
        }
        // The true value is unknown, so the readings before and after it must not join into one window.
        if let (Feature::Ripple(ripple), None) = (&mut self.feature, amount.exact()) {
            ripple.beyond();
        }
    }

    fn add_feature(&mut self, at: i64, x: f64, u: f64, entered: bool, over: Option<i64>) {
        match &mut self.feature {
            Feature::Ripple(ripple) if !entered => ripple.add(at, x, u),
            Feature::Rise(rise) if !entered => rise.add(at, x, u),
            Feature::Decay(decay) => decay.add(at, x, u, over),
            Feature::Sums | Feature::Ripple(_) | Feature::Rise(_) => {}
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

    /// The feature of the readings so far.
    pub(crate) fn take(&self, take: Take) -> Taken {
        let exactly = |(x, u): (f64, f64)| (Amount::Exactly(x), u);
        let ratio = |taken: Result<(f64, f64), &'static str>| taken.map(exactly);
        let within = self.above.is_none() && self.below.is_none();
        let taken = match (take, &self.feature) {
            (_, Feature::Ripple(ripple)) => return ratio(ripple.take()),
            (Take::Last, _) => Some(self.last),
            // A reading below the range is lower than every exact one. Where all were above the range, so
            // was the lowest: the result stays one-sided instead of being lost.
            (Take::Minimum, _) => match (self.below, self.lowest) {
                (Some(end), _) => Some((Amount::Below(end), 0.0)),
                (None, Some(lowest)) => Some(exactly(lowest)),
                (None, None) => self.above.map(|end| (Amount::Above(end), 0.0)),
            },
            (Take::Maximum, _) => match (self.above, self.highest) {
                (Some(end), _) => Some((Amount::Above(end), 0.0)),
                (None, Some(highest)) => Some(exactly(highest)),
                (None, None) => self.below.map(|end| (Amount::Below(end), 0.0)),
            },
            _ if !within => None,
            (_, Feature::Decay(decay)) => return ratio(decay.take()),
            (_, Feature::Rise(rise)) => {
                return ratio(rise.take(self.rhythm.mean().unwrap_or(0.0)));
            }
            (Take::Mean, _) => self.mean(),
            (Take::PeakToPeak, _) => self.peaks().map(exactly),
            (Take::Ripple, _) => return self.ripple_of_all().map(exactly),
            (Take::RiseTime | Take::Decay, Feature::Sums) => None,
        };
        taken.ok_or(BEYOND)
    }

    fn peaks(&self) -> Option<(f64, f64)> {
        let ((low, u_low), (high, u_high)) = (self.lowest?, self.highest?);
        Some((high - low, peaks_u(u_low, u_high, self.count)))
    }

    /// The ripple of a window without a length: that of the whole stay.
    fn ripple_of_all(&self) -> Result<(f64, f64), &'static str> {
        let peaks = self.peaks().zip(self.mean()).ok_or(BEYOND)?;
        let ((peaks, u_peaks), (_, u_mean)) = peaks;
        let mean = self.mean;
        if mean <= 3.0 * u_mean {
            return Err("the mean is too near zero for a ratio");
        }
        let ratio = peaks / mean;
        Ok((ratio, combine(&[u_peaks / mean, ratio * u_mean / mean])))
    }

    /// The mean. What an instrument is wrong by, it is wrong by in every
    /// reading, so averaging does not shrink it; only the scatter shrinks
    /// (GUM 4.2.3 and 5.1.2).
    fn mean(&self) -> Option<(Amount, f64)> {
        if self.exact == 0 {
            return None;
        }
        let n = self.exact as f64;
        // Not divided by n once more: readings of one instrument share its error.
        let type_b = self.variances / n;
        let type_a = if self.exact > 1 {
            self.squares / (n - 1.0) / n
        } else {
            0.0
        };
        Some((Amount::Exactly(self.mean), (type_a + type_b).sqrt()))
    }
}

const NOT_YET: &str = "the window is not full yet";
const LEFT_EARLY: &str = "the phase was left before the window was full: stay in it for longer";
const GAP: &str = "there is a gap in the readings, and a window with a gap is not a window: \
                   see to the instrument and read again";

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn window(amounts: &[Amount], u: f64) -> Window {
        let stay = Stay {
            from: 0,
            detected: false,
        };
        let measured = Measured {
            point: 0,
            phases: vec![],
            drive: None,
            take: Take::Mean,
            after: 0,
            over: None,
            within: None,
            conditions: vec![],
            keep: None,
            passive: false,
            at_least: None,
            at_most: None,
            risk: 0.05,
            otherwise: 0.0,
            fails: vec![],
        };
        let mut window = Window::new(0, stay, &measured);
        for (at, amount) in amounts.iter().enumerate() {
            window.add(at as i64, *amount, u, false, None);
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
        assert_eq!(w.take(Take::Minimum), Ok((Amount::Exactly(1.0), 0.1)));
        assert_eq!(w.take(Take::Maximum), Ok((Amount::Exactly(3.0), 0.1)));
        assert_eq!(w.take(Take::Last), Ok((Amount::Exactly(2.0), 0.1)));
        assert_eq!(
            w.take(Take::PeakToPeak).map(|(a, _)| a),
            Ok(Amount::Exactly(2.0))
        );
    }

    #[test]
    fn an_overload_stays_one_sided() {
        let w = window(&[Amount::Exactly(1.0), Amount::Above(40e6)], 0.1);
        assert_eq!(w.take(Take::Maximum), Ok((Amount::Above(40e6), 0.0)));
        assert_eq!(w.take(Take::Minimum), Ok((Amount::Exactly(1.0), 0.1)));
        assert_eq!(w.take(Take::Mean), Err(BEYOND));
    }
}
