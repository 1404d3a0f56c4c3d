//! Engine speed from pulses: what the settings of an input say of it.

use trisect_kit::{BadFrame, PulseCounter, PulsesPerTurn};
use trisect_measure::{Amount, Flags, Sample, Unit};

use crate::shown::Shown;

/// What a number of pulses is.
#[derive(
    Clone,
    Copy,
    Debug,
    Default,
    PartialEq,
    Eq,
    serde::Serialize,
    serde::Deserialize,
    schemars::JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Counts {
    /// Pulses a second: a frequency in hertz.
    #[default]
    Frequency,
    /// Pulses so far, from a counter that goes back to 0 at its end.
    Pulses,
}

/// Pulses of a wheel or an alternator as engine speed.
#[derive(
    Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize, schemars::JsonSchema,
)]
#[serde(deny_unknown_fields)]
pub struct TachometerSettings {
    /// Pulses for one turn of the engine; a fraction where the sensor sits on
    /// another shaft.
    pub pulses_per_turn: f64,
    /// Whether the input gives pulses a second or pulses so far.
    #[serde(default)]
    pub counts: Counts,
    /// Pulses are counted over at least this time: one pulse more or less is
    /// the digit of the speed.
    #[serde(default = "half_a_second")]
    pub gate_ms: u64,
    /// The fastest that the engine can turn, in rpm: a counter that went faster
    /// was set back (common practice, no source).
    #[serde(default = "ten_thousand")]
    pub fastest_rpm: f64,
}

fn half_a_second() -> u64 {
    500
}
fn ten_thousand() -> f64 {
    10_000.0
}

impl TachometerSettings {
    /// Pulses a turn of an input that gives a frequency, all else by default.
    pub fn new(pulses_per_turn: f64) -> TachometerSettings {
        TachometerSettings {
            pulses_per_turn,
            counts: Counts::default(),
            gate_ms: half_a_second(),
            fastest_rpm: ten_thousand(),
        }
    }

    /// The tachometer of an input whose counter goes back to 0 at `modulus`,
    /// and that is read every `period_ms`.
    pub(crate) fn tachometer(
        &self,
        modulus: Option<u64>,
        period_ms: u64,
    ) -> Result<Speed, &'static str> {
        let pulses = PulsesPerTurn::new(self.pulses_per_turn)
            .map_err(|_| "pulses_per_turn must be a number more than 0")?;
        if self.counts == Counts::Frequency {
            return Ok(Speed {
                pulses,
                counter: None,
            });
        }
        if !(1..=60_000).contains(&self.gate_ms) {
            return Err("gate_ms must be 1 to 60000");
        }
        if !self.fastest_rpm.is_finite() || self.fastest_rpm <= 0.0 {
            return Err("fastest_rpm must be a number more than 0");
        }
        let modulus = modulus.ok_or("a counter needs a type that wraps around: u16 or u32")?;
        let fastest = pulses.frequency(Unit::RPM.to_si(self.fastest_rpm));
        let gate = i64::try_from(self.gate_ms).unwrap_or(i64::MAX);
        let counter = PulseCounter::new(modulus, gate.saturating_mul(1_000_000), fastest);
        // Twice, for a reading may fail in between.
        let longest_wait = 2.0 * (self.gate_ms + period_ms) as f64 / 1000.0;
        if longest_wait > counter.longest() {
            return Err(
                "the counter could go round more than once between two readings: read it more often, shorten gate_ms, or lower fastest_rpm",
            );
        }
        Ok(Speed {
            pulses,
            counter: Some(counter),
        })
    }
}

/// Speed from what an input gives.
#[derive(Clone, Debug)]
pub(crate) struct Speed {
    pulses: PulsesPerTurn,
    /// None where the input gives a frequency.
    counter: Option<PulseCounter>,
}

impl Speed {
    /// Whether it takes a count of pulses, as it is, and not a frequency.
    pub fn is_counting(&self) -> bool {
        self.counter.is_some()
    }

    /// A sample from a frequency in hertz or a count read at `at`; none while
    /// the gate time runs.
    pub fn sample(
        &mut self,
        shown: &Shown,
        number: f64,
        digit: Option<f64>,
        at: i64,
    ) -> Result<Option<Sample>, BadFrame> {
        let (hertz, digit) = match &mut self.counter {
            None => (number, digit),
            Some(counter) => {
                if number < 0.0 || number.fract() != 0.0 || number > u64::MAX as f64 {
                    return Err(BadFrame::new("a count of pulses is a whole number"));
                }
                match counter.push(number as u64, at)? {
                    None => return Ok(None),
                    Some(rate) => (rate.hertz, Some(rate.digit)),
                }
            }
        };
        let radians = Unit::RADIAN_PER_SECOND;
        let speed = Amount::Exactly(self.pulses.speed(hertz));
        let digit = digit.map(|step| self.pulses.speed(step));
        shown
            .sample(radians, speed, digit, Flags::empty())
            .map(Some)
    }
}
