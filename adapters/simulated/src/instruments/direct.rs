//! Instruments whose readings are handed over directly, without a wire: the
//! same errors, for surveys of many machines.

use trisect_measure::{Amount, Quantity, Unit, combine, resolution_uncertainty};

use trisect_machine::Random;

/// What kind of instrument reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Make {
    /// A hand-held multimeter of 4 000 counts, a clamp for currents.
    Multimeter,
    /// A pressure transducer of 60 psi.
    Transducer,
    /// A dial of 60 psi, divided by 1 psi, read by a person.
    Dial,
    /// A tachometer.
    Tachometer,
}

/// A reading: what was shown, and its standard uncertainty by the data sheet, SI.
pub type Shown = (Amount, f64);

/// An instrument with errors of its own.
#[derive(Clone, Debug)]
pub struct Direct {
    make: Make,
    gain: f64,
    /// Standing error in units of [`Direct::step`].
    offset: f64,
    /// Seconds between what is shown and when it was.
    latency: f64,
}

/// Of all readings so many do not arrive (engineering judgement, from memory).
const DROPPED: f64 = 0.01;
/// The end of the ranges a multimeter has in turn: volts, amperes, ohms.
const VOLTS: [f64; 3] = [4.0, 40.0, 400.0];
const AMPERES: [f64; 2] = [4.0, 40.0];
const OHMS: [f64; 6] = [400.0, 4e3, 40e3, 400e3, 4e6, 40e6];
/// Counts of a multimeter.
const COUNTS: f64 = 4000.0;

impl Direct {
    /// An instrument of this make. Its errors stay within its data sheet.
    pub fn new(make: Make, random: &mut Random) -> Direct {
        let spread = match make {
            Make::Multimeter | Make::Transducer => 0.001,
            Make::Dial => 0.004,
            Make::Tachometer => 0.0003,
        };
        Direct {
            make,
            gain: spread * random.normal().clamp(-2.0, 2.0),
            offset: random.normal().clamp(-1.5, 1.5),
            latency: match make {
                Make::Multimeter => random.between(0.05, 0.3),
                Make::Dial => 0.0,
                Make::Transducer | Make::Tachometer => random.between(0.0, 0.06),
            },
        }
    }

    /// Its make.
    pub fn make(&self) -> Make {
        self.make
    }

    /// Seconds by which what it shows comes late.
    pub fn latency(&self) -> f64 {
        self.latency
    }

    /// Seconds from reading to reading.
    pub fn period(&self) -> f64 {
        match self.make {
            Make::Multimeter => 0.2,
            _ => 0.1,
        }
    }

    /// The smallest difference it shows at this value, and the end of the range.
    fn step(&self, quantity: Quantity, value: f64) -> (f64, f64) {
        let ranges: &[f64] = match (self.make, quantity) {
            (Make::Transducer, _) => return (Unit::PSI.to_si(0.01), f64::INFINITY),
            (Make::Dial, _) => return (Unit::PSI.to_si(0.5), f64::INFINITY),
            (Make::Tachometer, _) => return (Unit::RPM.to_si(1.0), f64::INFINITY),
            (Make::Multimeter, Quantity::Current) => &AMPERES,
            (Make::Multimeter, Quantity::Resistance) => &OHMS,
            (Make::Multimeter, _) => &VOLTS,
        };
        let last = ranges.last().copied().unwrap_or(f64::INFINITY);
        let end = ranges.iter().copied().find(|end| value.abs() < *end);
        (end.unwrap_or(last) / COUNTS, last)
    }

    /// What the data sheet allows at `value`, a half-width in SI.
    fn allowed(&self, quantity: Quantity, value: f64, step: f64) -> f64 {
        match (self.make, quantity) {
            (Make::Transducer, _) => Unit::PSI.to_si(60.0) * 0.0025,
            (Make::Dial, _) => Unit::PSI.to_si(60.0) * 0.016,
            (Make::Tachometer, _) => Unit::RPM.to_si(5.0),
            (_, Quantity::Voltage) => 0.005 * value.abs() + 3.0 * step,
            (_, Quantity::Current) => 0.015 * value.abs() + 5.0 * step,
            _ => 0.01 * value.abs() + 5.0 * step,
        }
    }

    /// Standard deviation of the noise, SI.
    fn noise(&self, step: f64) -> f64 {
        match self.make {
            Make::Transducer => 200.0,
            Make::Dial => 0.3 * step,
            Make::Multimeter => 0.4 * step,
            Make::Tachometer => 0.05,
        }
    }

    /// Shows a true value; `None` when the reading did not arrive.
    pub fn show(&self, quantity: Quantity, value: f64, random: &mut Random) -> Option<Shown> {
        if random.chance(DROPPED) && self.make != Make::Dial {
            return None;
        }
        let (step, end) = self.step(quantity, value);
        if value.abs() >= end {
            return Some((Amount::Above(end), end * 0.01));
        }
        let offset = match self.make {
            // A third of what 0.25 % of full scale allows.
            Make::Transducer => 0.3 * self.offset * self.allowed(quantity, value, step),
            _ => self.offset * step,
        };
        let erring = value * (1.0 + self.gain) + offset + self.noise(step) * random.normal();
        let shown = (erring / step).round() * step;
        let allowed = self.allowed(quantity, shown, step) / 3_f64.sqrt();
        Some((
            Amount::Exactly(shown),
            combine(&[allowed, resolution_uncertainty(step)]),
        ))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::instruments::mean_and_spread;

    /// Errors stay within what the stated uncertainty covers.
    fn check(make: Make, quantity: Quantity, value: f64) {
        for seed in 0..200 {
            let mut random = Random::new(seed, 1);
            let instrument = Direct::new(make, &mut random);
            let Some((amount, u)) = instrument.show(quantity, value, &mut random) else {
                continue;
            };
            let shown = amount.exact().unwrap();
            assert!(
                (shown - value).abs() < 3.0 * u,
                "{make:?} {value} shown as {shown}, u {u}"
            );
        }
    }

    #[test]
    fn errors_are_covered_by_the_uncertainty() {
        check(Make::Multimeter, Quantity::Voltage, 12.4);
        check(Make::Multimeter, Quantity::Voltage, 0.08);
        check(Make::Multimeter, Quantity::Current, 3.0);
        check(Make::Multimeter, Quantity::Resistance, 60.0);
        check(Make::Transducer, Quantity::Pressure, 34e3);
        check(Make::Dial, Quantity::Pressure, 34e3);
        check(Make::Tachometer, Quantity::RotationalSpeed, 15.0);
    }

    /// What many instruments of a make show of one value: each mean and spread.
    fn shown(make: Make, quantity: Quantity, value: f64) -> Vec<(f64, f64)> {
        let of = |seed| {
            let mut random = Random::new(seed, 1);
            let instrument = Direct::new(make, &mut random);
            let all: Vec<f64> = (0..500)
                .filter_map(|_| instrument.show(quantity, value, &mut random))
                .map(|(amount, _)| amount.exact().unwrap())
                .collect();
            mean_and_spread(&all)
        };
        (0..40).map(of).collect()
    }

    #[test]
    fn every_kind_of_error_is_there() {
        use Quantity::{Pressure, RotationalSpeed, Voltage};
        // Gain is what grows with the value: as a share of it, with the offset of little weight.
        for (make, quantity, value, gain) in [
            (Make::Multimeter, Voltage, 39.0, 0.001),
            (Make::Transducer, Pressure, 40e6, 0.001),
            (Make::Dial, Pressure, 40e6, 0.004),
            (Make::Tachometer, RotationalSpeed, 40e3, 0.0003),
        ] {
            let shares = shown(make, quantity, value).into_iter();
            let shares: Vec<f64> = shares.map(|(mean, _)| mean / value).collect();
            let (_, found) = mean_and_spread(&shares);
            assert!(
                (0.6 * gain..1.3 * gain).contains(&found),
                "{make:?}: gain {found}"
            );
        }
        // Offset is what stays at nothing, noise what wavers about it.
        for (make, quantity) in [
            (Make::Multimeter, Voltage),
            (Make::Transducer, Pressure),
            (Make::Dial, Pressure),
            (Make::Tachometer, RotationalSpeed),
        ] {
            let at_nothing = shown(make, quantity, 0.0);
            let instrument = Direct::new(make, &mut Random::new(0, 1));
            let (step, _) = instrument.step(quantity, 0.0);
            let means: Vec<f64> = at_nothing.iter().map(|(mean, _)| *mean).collect();
            let (_, offsets) = mean_and_spread(&means);
            assert!(
                offsets > 0.3 * step,
                "{make:?}: offset {offsets}, step {step}"
            );
            let noisy = at_nothing
                .iter()
                .filter(|(_, spread)| *spread > 0.0)
                .count();
            assert!(noisy > 10, "{make:?}: {noisy} of 40 waver");
        }
    }

    #[test]
    fn readings_are_late_by_the_make_and_one_in_a_hundred_is_lost() {
        let mut random = Random::new(3, 1);
        for _ in 0..50 {
            let late = |make, random: &mut Random| Direct::new(make, random).latency();
            assert!((0.05..0.3).contains(&late(Make::Multimeter, &mut random)));
            assert!((0.0..0.06).contains(&late(Make::Transducer, &mut random)));
            assert_eq!(late(Make::Dial, &mut random), 0.0);
        }
        let mut lost = |make| {
            let gauge = Direct::new(make, &mut random);
            let mut show = || gauge.show(Quantity::Pressure, 1e3, &mut random);
            (0..20_000).filter(|_| show().is_none()).count()
        };
        // 200, give or take four standard deviations; a dial is always there to be read.
        assert!((143..=257).contains(&lost(Make::Transducer)));
        assert_eq!(lost(Make::Dial), 0);
    }

    #[test]
    fn what_is_shown_is_whole_steps() {
        for (make, quantity, value, step) in [
            (Make::Multimeter, Quantity::Voltage, 12.4567, 0.01),
            (Make::Multimeter, Quantity::Voltage, 1.23456, 0.001),
            (
                Make::Tachometer,
                Quantity::RotationalSpeed,
                20.0,
                Unit::RPM.to_si(1.0),
            ),
            (Make::Dial, Quantity::Pressure, 33e3, Unit::PSI.to_si(0.5)),
        ] {
            let mut random = Random::new(5, 1);
            let instrument = Direct::new(make, &mut random);
            let all = (0..50).filter_map(|_| instrument.show(quantity, value, &mut random));
            for (amount, _) in all {
                let steps = amount.exact().unwrap() / step;
                assert!((steps - steps.round()).abs() < 1e-6, "{make:?}: {steps}");
            }
        }
    }

    #[test]
    fn an_open_circuit_is_beyond_the_range() {
        let mut random = Random::new(1, 1);
        let meter = Direct::new(Make::Multimeter, &mut random);
        let (amount, _) = meter
            .show(Quantity::Resistance, f64::INFINITY, &mut random)
            .unwrap();
        assert_eq!(amount, Amount::Above(40e6));
    }
}
