//! A transducer behind Modbus registers: pressure, engine speed, temperature.

use trisect_measure::{Quantity, Unit};

use super::PlaceError;
use super::modbus::{self, WordOrder};
use trisect_machine::Random;
use trisect_machine::{Machine, TestPoint};

/// Standard deviation of the noise on a quantity, SI (common practice, no source).
fn noise(quantity: Quantity) -> f64 {
    match quantity {
        Quantity::Pressure => 200.0,
        Quantity::RotationalSpeed => 0.05,
        Quantity::Temperature => 0.05,
        _ => 0.0,
    }
}

/// One count of the converter, SI (common practice, no source).
fn count(quantity: Quantity) -> f64 {
    match quantity {
        Quantity::Pressure => Unit::PSI.to_si(0.01),
        Quantity::RotationalSpeed => Unit::RPM.to_si(1.0),
        _ => 0.1,
    }
}

/// One input of a transducer: two registers from 2 × its number on.
#[derive(Clone, Debug)]
struct Input {
    unit: Unit,
    on: Option<TestPoint>,
    gain: f64,
    offset: f64,
}

/// A Modbus slave with one or more inputs.
#[derive(Clone, Debug)]
pub(crate) struct Transducer {
    address: u8,
    order: WordOrder,
    inputs: Vec<Input>,
    perfect: bool,
    random: Random,
}

impl Transducer {
    /// A slave at `address` showing these units; a `perfect` one neither errs nor wavers.
    pub(crate) fn new(
        address: u8,
        order: WordOrder,
        units: &[Unit],
        seed: u64,
        perfect: bool,
    ) -> Self {
        let mut random = Random::new(seed, 8);
        let share = if perfect { 0.0 } else { 1.0 };
        let inputs = units.iter().map(|&unit| Input {
            unit,
            on: None,
            gain: share * 0.001 * random.normal().clamp(-2.0, 2.0),
            offset: share * noise(unit.quantity()) * random.normal().clamp(-2.0, 2.0),
        });
        let inputs = inputs.collect();
        Transducer {
            address,
            order,
            inputs,
            perfect,
            random,
        }
    }

    /// Puts an input on a point of its quantity; `None` takes it off.
    pub(crate) fn place(&mut self, input: u16, point: Option<TestPoint>) -> Result<(), PlaceError> {
        let count = self.inputs.len();
        let Some(slot) = self.inputs.get_mut(usize::from(input)) else {
            return Err(PlaceError::NoInput { input, count });
        };
        if let Some(point) = point.filter(|point| point.quantity != slot.unit.quantity()) {
            return Err(PlaceError::NotMeasurable {
                point: point.id,
                quantity: point.quantity.word(),
                by: "this transducer",
            });
        }
        slot.on = point;
        Ok(())
    }

    /// What an input not put anywhere shows: no pressure, no speed, the air's temperature.
    fn idle(quantity: Quantity, machine: &Machine) -> f64 {
        match quantity {
            Quantity::Temperature => machine.measure("ambient-temperature").unwrap_or(0.0),
            _ => 0.0,
        }
    }

    /// Answers a whole request with the machine as it is now.
    pub(crate) fn reply(&mut self, machine: &Machine, request: &[u8]) -> Option<Vec<u8>> {
        let Transducer {
            inputs,
            random,
            perfect,
            ..
        } = self;
        let values: Vec<f32> = inputs
            .iter()
            .map(|input| {
                let quantity = input.unit.quantity();
                let true_value = match input.on {
                    Some(point) => machine.measure(point.id).unwrap_or(0.0),
                    None => Self::idle(quantity, machine),
                };
                // A kelvin scale has no gain error worth the name; its offset stands for both.
                let gain = if quantity == Quantity::Temperature {
                    0.0
                } else {
                    input.gain
                };
                let waver = if *perfect {
                    0.0
                } else {
                    noise(quantity) * random.normal()
                };
                let erring = true_value * (1.0 + gain) + input.offset + waver;
                let count = count(quantity);
                let converted = if *perfect {
                    erring
                } else {
                    (erring / count).round() * count
                };
                input.unit.from_si(converted) as f32
            })
            .collect();
        modbus::reply(self.address, self.order, &values, request)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;
    use crate::instruments::mean_and_spread;

    /// The float that input 0 answers with, in its unit.
    fn shown(unit: Unit, point: Option<&str>) -> f32 {
        let mut transducer = Transducer::new(1, WordOrder::Big, &[unit], 1, true);
        transducer
            .place(0, point.and_then(TestPoint::find))
            .unwrap();
        asked(&mut transducer)
    }

    fn asked(transducer: &mut Transducer) -> f32 {
        asked_on(transducer, &Machine::new(3, &[]))
    }

    fn asked_on(transducer: &mut Transducer, machine: &Machine) -> f32 {
        // `01 04 00 00 00 02` and its checksum, recomputed bit by bit.
        let reply = transducer
            .reply(machine, &[1, 4, 0, 0, 0, 2, 0x71, 0xCB])
            .unwrap();
        f32::from_be_bytes(reply[3..7].try_into().unwrap())
    }

    #[test]
    fn shows_its_unit() {
        let machine = Machine::new(3, &[]);
        let celsius = machine.measure("fuel-temperature").unwrap() - 273.15;
        assert!((f64::from(shown(Unit::CELSIUS, Some("fuel-temperature"))) - celsius).abs() < 1e-3);
        assert!((f64::from(shown(Unit::CELSIUS, None)) - celsius).abs() < 1e-3);
        assert_eq!(shown(Unit::PSI, None), 0.0);
        assert!(shown(Unit::PSI, Some("tank-suction")) < 0.0);
    }

    #[test]
    fn a_real_one_has_gain_offset_noise_and_counts() {
        let at_rest = |seed| {
            let mut transducer = Transducer::new(1, WordOrder::Big, &[Unit::PSI], seed, false);
            let shown: Vec<f64> = (0..400)
                .map(|_| f64::from(asked(&mut transducer)))
                .collect();
            for psi in &shown {
                let counts = psi / 0.01;
                assert!(
                    (counts - counts.round()).abs() < 1e-3,
                    "{psi} psi is no whole count"
                );
            }
            mean_and_spread(&shown)
        };
        let seeds = (0..10).map(at_rest).collect::<Vec<_>>();
        // 200 Pa are 0.029 psi.
        assert!(
            seeds
                .iter()
                .all(|(_, spread)| (0.02..0.04).contains(spread)),
            "{seeds:?}"
        );
        assert!(
            seeds.iter().any(|(mean, _)| mean.abs() > 0.015),
            "{seeds:?}"
        );
    }

    #[test]
    fn gain_grows_with_what_is_measured() {
        // Racing, an engine turns at 3000 rpm: a gain of 0.1 % is 3 rpm there.
        let racing = trisect_machine::Fault::parse_list("metering-stuck-open").unwrap();
        let mut machine = Machine::new(3, &racing);
        machine.with(|c| c.key = trisect_machine::Key::Crank);
        machine.wait_until(12.0, |m| m.rpm() > 500.0);
        machine.with(|c| c.key = trisect_machine::Key::On);
        machine.advance(10.0);
        let rpm = machine.rpm();
        assert!(rpm > 2500.0);
        let off = |seed| {
            let mut tachometer = Transducer::new(1, WordOrder::Big, &[Unit::RPM], seed, false);
            tachometer
                .place(0, TestPoint::find("engine-speed"))
                .unwrap();
            let sum: f64 = (0..100)
                .map(|_| f64::from(asked_on(&mut tachometer, &machine)))
                .sum();
            (sum / 100.0 - rpm).abs()
        };
        let off: Vec<f64> = (0..10).map(off).collect();
        assert!(
            off.iter().any(|off| *off > 1.5) && off.iter().all(|off| *off < 8.0),
            "{off:?}"
        );
    }

    #[test]
    fn an_input_takes_only_its_own_quantity() {
        let mut transducer = Transducer::new(1, WordOrder::Big, &[Unit::PSI], 1, true);
        assert!(transducer.place(0, TestPoint::find("battery")).is_err());
        assert!(
            transducer
                .place(1, TestPoint::find("tank-suction"))
                .is_err()
        );
    }
}
