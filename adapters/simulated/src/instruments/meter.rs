//! A hand-held multimeter: what its leads are on, how it errs, what it sends.

use super::PlaceError;
use super::function::Function;
use super::{es51922, fs9922};
use trisect_machine::Random;
use trisect_machine::{Machine, TestPoint};

/// The chip in a multimeter, and with it the protocol.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Chip {
    /// FS9922 family: 4 000 counts, 2400 baud 8N1.
    Fs9922,
    /// ES51922: 22 000 counts, 19 200 baud 7O1.
    Es51922,
}

impl Chip {
    /// The protocol's word, as multimeter codecs are named.
    pub fn word(self) -> &'static str {
        match self {
            Chip::Fs9922 => "fs9922",
            Chip::Es51922 => "es51922",
        }
    }

    /// Seconds from reading to reading (common practice, no source).
    fn period(self) -> f64 {
        match self {
            Chip::Fs9922 => 0.2,
            Chip::Es51922 => 0.25,
        }
    }
}

/// A multimeter.
#[derive(Clone, Debug)]
pub(crate) struct Meter {
    chip: Chip,
    on: Option<(TestPoint, Function)>,
    /// Relative error of the reference.
    gain: f64,
    /// Standing error, in counts.
    offset: f64,
    /// Standard deviation of the last digit, in counts.
    noise: f64,
    random: Random,
    sum: f64,
    taken: f64,
    due: f64,
}

impl Meter {
    /// A meter of this seed; a `perfect` one has neither error nor noise.
    /// Errors stay well within 0.5 % of reading and 3 counts.
    pub(crate) fn new(chip: Chip, seed: u64, perfect: bool) -> Self {
        let mut random = Random::new(seed, 7);
        let share = if perfect { 0.0 } else { 1.0 };
        Meter {
            chip,
            on: None,
            gain: share * 0.001 * random.normal().clamp(-2.0, 2.0),
            offset: share * random.normal().clamp(-1.5, 1.5),
            noise: share * 0.4,
            due: chip.period() * random.uniform(),
            random,
            sum: 0.0,
            taken: 0.0,
        }
    }

    /// Puts the leads on a point and the switch on its quantity; `None` takes them off.
    pub(crate) fn place(&mut self, point: Option<TestPoint>) -> Result<(), PlaceError> {
        self.on = match point {
            None => None,
            Some(point) => {
                let function = Function::of(point.quantity).ok_or(PlaceError::NotMeasurable {
                    point: point.id,
                    quantity: point.quantity.word(),
                    by: "a multimeter",
                })?;
                Some((point, function))
            }
        };
        (self.sum, self.taken) = (0.0, 0.0);
        Ok(())
    }

    /// Takes in the machine as it is now: the meter shows the mean since its last reading.
    pub(crate) fn watch(&mut self, machine: &Machine) {
        let value = self
            .on
            .and_then(|(point, _)| machine.measure(point.id))
            .unwrap_or(0.0);
        self.sum += value;
        self.taken += 1.0;
    }

    /// The next frame, once its time has come.
    pub(crate) fn frame(&mut self, now: f64) -> Option<Vec<u8>> {
        if now < self.due || self.taken == 0.0 {
            return None;
        }
        self.due = (self.due + self.chip.period()).max(now);
        let mean = self.sum / self.taken;
        (self.sum, self.taken) = (0.0, 0.0);
        let value = mean * (1.0 + self.gain);
        let jitter = self.offset + self.noise * self.random.normal();
        let function = self.on.map_or(Function::Voltage, |(_, function)| function);
        match self.chip {
            Chip::Fs9922 => fs9922::frame(function, value, jitter).map(Vec::from),
            Chip::Es51922 => es51922::frame(function, value, jitter).map(Vec::from),
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;
    use crate::instruments::hex;

    fn first_frame(chip: Chip, point: &str) -> String {
        let machine = Machine::new(
            3,
            &trisect_machine::Fault::parse_list("harness-open").unwrap(),
        );
        let mut meter = Meter::new(chip, 1, true);
        meter.place(TestPoint::find(point)).unwrap();
        meter.watch(&machine);
        hex(&meter.frame(1.0).unwrap())
    }

    #[test]
    fn the_function_follows_the_point() {
        // 12.58 V at rest, and an open harness.
        assert!(
            first_frame(Chip::Fs9922, "battery").starts_with("2B 31 32 35 38 20 32 31 00 00 80")
        );
        assert!(first_frame(Chip::Es51922, "battery").starts_with("31 31 32 35"));
        assert!(first_frame(Chip::Fs9922, "harness-continuity").starts_with("2B 3F 30 3A 3F"));
        assert!(
            first_frame(Chip::Es51922, "harness-continuity").ends_with("33 31 30 30 32 30 0D 0A")
        );
    }

    #[test]
    fn a_multimeter_reads_no_pressure() {
        let mut meter = Meter::new(Chip::Fs9922, 1, true);
        let error = meter
            .place(TestPoint::find("pump-inlet-pressure"))
            .unwrap_err()
            .to_string();
        assert!(
            error.contains("pump-inlet-pressure") && error.contains("pressure"),
            "{error}"
        );
    }

    #[test]
    fn readings_come_at_the_chip_s_own_rate() {
        let machine = Machine::new(3, &[]);
        let mut meter = Meter::new(Chip::Es51922, 1, false);
        let frames = (0..1000).filter(|tick| {
            meter.watch(&machine);
            meter.frame(f64::from(*tick) * 0.01).is_some()
        });
        assert!((37..=41).contains(&frames.count()));
    }
}
