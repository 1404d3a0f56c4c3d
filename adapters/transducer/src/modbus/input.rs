//! One input: what is asked for it, and what the answer means.

use std::time::Duration;

use trisect_kit::BadFrame;
use trisect_measure::{Amount, Flags, Sample, Unit};

use super::bus::Patience;
use super::{NumberType, Request, WordOrder};
use crate::analog::{CurrentLoop, Meaning, Ratiometric};
use crate::shown::Shown;
use crate::speed::Speed;

/// An input, ready to be asked.
pub(crate) struct Input {
    pub title: String,
    pub shown: Shown,
    pub unit: Unit,
    pub request: Request,
    pub patience: Patience,
    pub period: Duration,
    /// Where the number begins among the registers read.
    pub at: usize,
    pub kind: NumberType,
    pub order: WordOrder,
    pub scaling: Scaling,
    pub how: How,
}

/// From a raw number to the unit, volts, milliamperes or hertz.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Scaling {
    pub scale: f64,
    pub offset: f64,
}

impl Scaling {
    fn of(self, raw: f64) -> f64 {
        raw * self.scale + self.offset
    }
}

/// Where a sensor's supply is found.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Supply {
    pub at: usize,
    pub scaling: Scaling,
}

/// What the scaled number is.
pub(crate) enum How {
    Value,
    Ratiometric(Ratiometric, Supply),
    Loop(CurrentLoop),
    Speed(Speed),
}

impl Input {
    /// What the registers that were read at `at` say; nothing yet while pulses
    /// are being counted.
    ///
    /// # Errors
    /// What they say is no number, or makes no sense.
    pub fn sample(&mut self, registers: &[u16], at: i64) -> Result<Option<Sample>, BadFrame> {
        let raw = self.number(registers, self.at)?;
        let scaled = self.scaling.of(raw);
        // An integer's last digit is one step of the converter behind it.
        let step = self.kind.is_integer().then_some(self.scaling.scale.abs());
        let meaning = match &mut self.how {
            How::Speed(speed) => {
                let number = if speed.is_counting() { raw } else { scaled };
                return speed.sample(&self.shown, number, step, at);
            }
            How::Value => Meaning {
                amount: Amount::Exactly(scaled),
                slope: 1.0,
                flags: Flags::empty(),
            },
            How::Loop(sensor) => sensor.read(scaled),
            How::Ratiometric(sensor, supply) => {
                let (sensor, supply) = (*sensor, *supply);
                let volts = supply.scaling.of(self.number(registers, supply.at)?);
                sensor.read(scaled, volts)?
            }
        };
        let digit = step.map(|step| step * meaning.slope);
        self.shown
            .sample(self.unit, meaning.amount, digit, meaning.flags)
            .map(Some)
    }

    fn number(&self, registers: &[u16], at: usize) -> Result<f64, BadFrame> {
        self.kind
            .read(self.order, registers.get(at..).unwrap_or_default())
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::modbus::TransducerSettings;
    use crate::modbus::resolve::inputs;

    fn input(json: &str) -> Input {
        let settings: TransducerSettings =
            serde_json::from_str(&format!(r#"{{"port": "p", {json}}}"#)).unwrap();
        inputs(&settings, false).unwrap().remove(0)
    }

    /// What registers mean, in the input's unit, with digit, range and flags.
    fn check(json: &str, registers: &[u16], expected: &str) {
        let mut input = input(json);
        let sample = input.sample(registers, 0).unwrap().unwrap();
        let shown = |si: f64| trisect_measure::significant(input.unit.span_from_si(si), 6);
        let value = trisect_measure::significant(input.unit.from_si(sample.amount.edge()), 9);
        let found = format!(
            "{value} digit {:?} span {:?} {}",
            sample.digit.map(shown),
            sample.span.map(shown),
            sample.flags.words().join(" ")
        );
        assert_eq!(found.trim_end(), expected);
    }

    #[test]
    fn numbers_are_scaled_and_know_their_digit() {
        let psi = r#""quantity": "pressure", "unit": "psi", "register": 4"#;
        check(
            &format!(r#"{psi}, "type": "i16", "scale": 0.1, "offset": -14.7, "full_scale": 60"#),
            &[0xFFFF],
            "-14.8 digit Some(0.1) span Some(60.0)",
        );
        check(psi, &[0x42F6, 0xE979], "123.456 digit None span None");
        check(
            r#""quantity": "temperature", "unit": "degC", "register": 4, "type": "u16", "scale": 0.5, "full_scale": 150"#,
            &[50],
            "25 digit Some(0.5) span Some(150.0)",
        );
    }

    #[test]
    fn a_current_loop_behind_a_module() {
        let module = r#""quantity": "pressure", "unit": "bar", "register": 0, "type": "u16",
            "scale": 0.001, "current_loop": {"at_4_ma": 0, "at_20_ma": 250}"#;
        check(
            module,
            &[12_000],
            "125 digit Some(0.015625) span Some(250.0)",
        );
        check(
            module,
            &[3_500],
            "-7.8125 digit Some(0.015625) span Some(250.0) broken",
        );
    }

    #[test]
    fn a_ratiometric_sensor_and_its_supply_are_read_at_once() {
        let json = r#""quantity": "pressure", "unit": "psi", "register": 7, "type": "u16", "scale": 0.001,
            "ratiometric": {"supply_register": 9, "supply_scale": 0.002, "at_low": 0, "at_high": 100}"#;
        let asked = input(json).request;
        assert_eq!((asked.register, asked.count), (7, 3));
        check(
            json,
            &[2_400, 9, 2_400],
            "50 digit Some(0.0260417) span Some(100.0)",
        );
        // The supply before the signal.
        let json = json.replace("\"supply_register\": 9", "\"supply_register\": 6");
        let asked = input(&json).request;
        assert_eq!((asked.register, asked.count), (6, 2));
        check(
            &json,
            &[2_500, 2_500],
            "50 digit Some(0.025) span Some(100.0)",
        );
    }

    #[test]
    fn pulses_become_engine_speed() {
        let rpm = r#""quantity": "rotational-speed", "unit": "rpm", "register": 0, "type": "u16""#;
        check(
            &format!(r#"{rpm}, "scale": 0.1, "tachometer": {{"pulses_per_turn": 2}}"#),
            &[267],
            "801 digit Some(3.0) span None",
        );
        let mut counter = input(&format!(
            r#"{rpm}, "tachometer": {{"pulses_per_turn": 60, "counts": "pulses"}}"#
        ));
        assert_eq!(counter.sample(&[65_500], 0), Ok(None));
        assert_eq!(counter.sample(&[65_520], 100_000_000), Ok(None));
        let sample = counter.sample(&[364], 500_000_000).unwrap().unwrap();
        assert_eq!(counter.unit.from_si(sample.amount.edge()), 800.0);
        assert_eq!(counter.unit.from_si(sample.digit.unwrap()), 2.0);
        assert!(counter.sample(&[300], 1_000_000_000).is_err());
    }
}
