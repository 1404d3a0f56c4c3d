//! From a line to samples. No I/O and no clock.

use trisect_kit::BadFrame;
use trisect_measure::{Amount, Flags, NANOS_PER_SECOND, Sample, Unit};

use super::{Found, Number, Pattern};
use crate::shown::Shown;
use crate::speed::Speed;

/// How much of a line is shown in an error.
const SHOWN: usize = 60;

/// The patterns of a device, and what their fields mean.
pub(super) struct Reader {
    pub forms: Vec<Form>,
    pub channels: Vec<Channel>,
}

/// A pattern, and what each of its fields is.
pub(super) struct Form {
    pub pattern: Pattern,
    pub targets: Vec<Target>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Target {
    /// The channel at this place in the list.
    Channel(usize),
    Clock,
}

/// A field as an input of the instrument.
pub(super) struct Channel {
    pub name: String,
    pub shown: Shown,
    pub scale: f64,
    pub offset: f64,
    /// The end of the range in SI, for what is printed as beyond it.
    pub end: Option<f64>,
    pub speed: Option<Speed>,
}

/// What a line gave.
#[derive(Debug, Default, PartialEq)]
pub(super) struct ReadLine {
    pub samples: Vec<Sample>,
    /// What was in it and cannot be used.
    pub errors: Vec<BadFrame>,
}

impl Reader {
    /// Reads a line that came at `at`, by the first pattern that it fits.
    ///
    /// # Errors
    /// It fits none.
    pub fn read(&mut self, line: &[u8], at: i64) -> Result<ReadLine, BadFrame> {
        for form in &self.forms {
            if let Some(found) = form.pattern.read(line) {
                let mut read = ReadLine::default();
                let pairs = || form.targets.iter().zip(&found);
                let now = pairs().find_map(|(target, found)| clock(*target, found));
                for (target, found) in pairs() {
                    let Target::Channel(index) = *target else {
                        continue;
                    };
                    let Some(channel) = self.channels.get_mut(index) else {
                        continue;
                    };
                    match channel.sample(found, now.unwrap_or(at)) {
                        Ok(sample) => read.samples.extend(sample),
                        Err(error) => {
                            let why = format!("{}: {}", channel.name, error.why);
                            read.errors.push(BadFrame::new(why));
                        }
                    }
                }
                return Ok(read);
            }
        }
        let front = line.get(..SHOWN).unwrap_or(line);
        Err(BadFrame::new(format!(
            "the line `{}` fits no pattern",
            front.escape_ascii()
        )))
    }
}

/// The device's own clock, in nanoseconds.
fn clock(target: Target, found: &Found) -> Option<i64> {
    let (Target::Clock, Number::Value { value, .. }, Some(unit)) =
        (target, found.number, found.unit)
    else {
        return None;
    };
    let nanos = unit.to_si(value) * NANOS_PER_SECOND as f64;
    // Casting saturates: what is beyond 292 years is no clock.
    Some(nanos as i64)
}

impl Channel {
    fn sample(&mut self, found: &Found, at: i64) -> Result<Option<Sample>, BadFrame> {
        let (value, step) = match found.number {
            Number::Value { value, step } => (value, step),
            Number::Missing => {
                return Err(BadFrame::new(
                    "there is no number: the sensor may be broken or not connected",
                ));
            }
            Number::Above => return self.above().map(Some),
            // A range that ends at full_scale may begin anywhere.
            Number::Below => {
                return Err(BadFrame::new(
                    "it is below the range, whose end is not known",
                ));
            }
        };
        let Some(speed) = &mut self.speed else {
            let unit = found.unit.unwrap_or(Unit::RATIO);
            let value = value * self.scale + self.offset;
            let step = Some(step * self.scale);
            let amount = Amount::Exactly(value);
            let sample = self.shown.sample(unit, amount, step, Flags::empty());
            return sample.map(Some);
        };
        if speed.is_counting() {
            return speed.sample(&self.shown, value, None, at);
        }
        let unit = found.unit.unwrap_or(Unit::HERTZ);
        let hertz = unit.to_si(value * self.scale + self.offset);
        let step = unit.span_to_si(step * self.scale).abs();
        speed.sample(&self.shown, hertz, Some(step), at)
    }

    /// A reading above the range, whose end has to be known.
    fn above(&self) -> Result<Sample, BadFrame> {
        let end = self.end.ok_or_else(|| {
            BadFrame::new("it is above the range, whose end is not known: set full_scale")
        })?;
        // The end is in SI already, where every quantity has a unit of factor one.
        let unit = self.shown.function.quantity().si_unit();
        self.shown
            .sample(unit, Amount::Above(end), None, Flags::empty())
    }
}
