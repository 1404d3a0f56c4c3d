//! An instrument whose readings are handed over directly, without a wire: with the errors that those
//! on pseudo-terminals have, for surveys of many machines.

use trisect_measure::{Amount, Quantity, Unit, combine, resolution_uncertainty};

use trisect_machine::Random;

/// What kind of instrument reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
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
pub(crate) type Shown = (Amount, f64);

/// An instrument with errors of its own.
#[derive(Clone, Debug)]
pub(crate) struct SimulatedInstrument {
    kind: Kind,
    gain: f64,
    /// Standing error in units of [`SimulatedInstrument::step`].
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

impl SimulatedInstrument {
    /// An instrument of this kind. Its errors stay within its data sheet.
    pub(crate) fn new(kind: Kind, random: &mut Random) -> SimulatedInstrument {
        let spread = match kind {
            Kind::Multimeter | Kind::Transducer => 0.001,
            Kind::Dial => 0.004,
            Kind::Tachometer => 0.0003,
        };
        SimulatedInstrument {
            kind,
            gain: spread * random.normal().clamp(-2.0, 2.0),
            offset: random.normal().clamp(-1.5, 1.5),
            latency: match kind {
                Kind::Multimeter => random.between(0.05, 0.3),
                Kind::Dial => 0.0,
                Kind::Transducer | Kind::Tachometer => random.between(0.0, 0.06),
            },
        }
    }

    /// What kind it is.
    pub(crate) fn kind(&self) -> Kind {
        self.kind
    }

    /// Seconds by which what it shows comes late.
    pub(crate) fn latency(&self) -> f64 {
        self.latency
    }

    /// Seconds from reading to reading.
    pub(crate) fn period(&self) -> f64 {
        match self.kind {
            Kind::Multimeter => 0.2,
            _ => 0.1,
        }
    }

    /// The smallest difference it shows at this value, and the end of the range.
    fn step(&self, quantity: Quantity, value: f64) -> (f64, f64) {
        let ranges: &[f64] = match (self.kind, quantity) {
            (Kind::Transducer, _) => return (Unit::PSI.to_si(0.01), f64::INFINITY),
            (Kind::Dial, _) => return (Unit::PSI.to_si(0.5), f64::INFINITY),
            (Kind::Tachometer, _) => return (Unit::RPM.to_si(1.0), f64::INFINITY),
            (Kind::Multimeter, Quantity::Current) => &AMPERES,
            (Kind::Multimeter, Quantity::Resistance) => &OHMS,
            (Kind::Multimeter, _) => &VOLTS,
        };
        let last = ranges.last().copied().unwrap_or(f64::INFINITY);
        let end = ranges.iter().copied().find(|end| value.abs() < *end);
        (end.unwrap_or(last) / COUNTS, last)
    }

    /// What the data sheet allows at `value`, a half-width in SI.
    fn allowed(&self, quantity: Quantity, value: f64, step: f64) -> f64 {
        match (self.kind, quantity) {
            (Kind::Transducer, _) => Unit::PSI.to_si(60.0) * 0.0025,
            (Kind::Dial, _) => Unit::PSI.to_si(60.0) * 0.016,
            (Kind::Tachometer, _) => Unit::RPM.to_si(5.0),
            (_, Quantity::Voltage) => 0.005 * value.abs() + 3.0 * step,
            (_, Quantity::Current) => 0.015 * value.abs() + 5.0 * step,
            _ => 0.01 * value.abs() + 5.0 * step,
        }
    }

    /// Standard deviation of the noise, SI.
    fn noise(&self, step: f64) -> f64 {
        match self.kind {
            Kind::Transducer => 200.0,
            Kind::Dial => 0.3 * step,
            Kind::Multimeter => 0.4 * step,
            Kind::Tachometer => 0.05,
        }
    }

    /// Shows a true value; `None` when the reading did not arrive.
    pub(crate) fn show(
        &self,
        quantity: Quantity,
        value: f64,
        random: &mut Random,
    ) -> Option<Shown> {
        if random.chance(DROPPED) && self.kind != Kind::Dial {
            return None;
        }
        let (step, end) = self.step(quantity, value);
        if value.abs() >= end {
            return Some((Amount::Above(end), end * 0.01));
        }
        let offset = match self.kind {
            // A third of what 0.25 % of full scale allows.
            Kind::Transducer => 0.3 * self.offset * self.allowed(quantity, value, step),
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

    /// Mean and standard deviation.
    fn mean_and_spread(values: &[f64]) -> (f64, f64) {
        let count = values.len() as f64;
        let mean = values.iter().sum::<f64>() / count;
        let square: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
        (mean, (square / count).sqrt())
    }

    /// Errors stay within what the stated uncertainty covers.
    fn check(kind: Kind, quantity: Quantity, value: f64) {
        for seed in 0..200 {
            let mut random = Random::new(seed, 1);
            let instrument = SimulatedInstrument::new(kind, &mut random);
            let Some((amount, u)) = instrument.show(quantity, value, &mut random) else {
                continue;
            };
            let shown = amount.exact().unwrap();
            assert!(
                (shown - value).abs() < 3.0 * u,
                "{kind:?} {value} shown as {shown}, u {u}"
            );
        }
    }

    #[test]
    fn errors_are_covered_by_the_uncertainty() {
        check(Kind::Multimeter, Quantity::Voltage, 12.4);
        check(Kind::Multimeter, Quantity::Voltage, 0.08);
        check(Kind::Multimeter, Quantity::Current, 3.0);
        check(Kind::Multimeter, Quantity::Resistance, 60.0);
        check(Kind::Transducer, Quantity::Pressure, 34e3);
        check(Kind::Dial, Quantity::Pressure, 34e3);
        check(Kind::Tachometer, Quantity::RotationalSpeed, 15.0);
    }

    /// What many instruments of a kind show of one value: each mean and spread.
    fn shown(kind: Kind, quantity: Quantity, value: f64) -> Vec<(f64, f64)> {
        let of = |seed| {
            let mut random = Random::new(seed, 1);
            let instrument = SimulatedInstrument::new(kind, &mut random);
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
        for (kind, quantity, value, gain) in [
            (Kind::Multimeter, Voltage, 39.0, 0.001),
            (Kind::Transducer, Pressure, 40e6, 0.001),
            (Kind::Dial, Pressure, 40e6, 0.004),
            (Kind::Tachometer, RotationalSpeed, 40e3, 0.0003),
        ] {
            let shares = shown(kind, quantity, value).into_iter();
            let shares: Vec<f64> = shares.map(|(mean, _)| mean / value).collect();
            let (_, found) = mean_and_spread(&shares);
            assert!(
                (0.6 * gain..1.3 * gain).contains(&found),
                "{kind:?}: gain {found}"
            );
        }
        // Offset is what stays at nothing, noise what wavers about it.
        for (kind, quantity) in [
            (Kind::Multimeter, Voltage),
            (Kind::Transducer, Pressure),
            (Kind::Dial, Pressure),
            (Kind::Tachometer, RotationalSpeed),
        ] {
            let at_nothing = shown(kind, quantity, 0.0);
            let instrument = SimulatedInstrument::new(kind, &mut Random::new(0, 1));
            let (step, _) = instrument.step(quantity, 0.0);
            let means: Vec<f64> = at_nothing.iter().map(|(mean, _)| *mean).collect();
            let (_, offsets) = mean_and_spread(&means);
            assert!(
                offsets > 0.3 * step,
                "{kind:?}: offset {offsets}, step {step}"
            );
            let noisy = at_nothing
                .iter()
                .filter(|(_, spread)| *spread > 0.0)
                .count();
            assert!(noisy > 10, "{kind:?}: {noisy} of 40 waver");
        }
    }

    #[test]
    fn readings_are_late_by_the_kind_and_one_in_a_hundred_is_lost() {
        let mut random = Random::new(3, 1);
        for _ in 0..50 {
            let late = |kind, random: &mut Random| SimulatedInstrument::new(kind, random).latency();
            assert!((0.05..0.3).contains(&late(Kind::Multimeter, &mut random)));
            assert!((0.0..0.06).contains(&late(Kind::Transducer, &mut random)));
            assert_eq!(late(Kind::Dial, &mut random), 0.0);
        }
        let mut lost = |kind| {
            let gauge = SimulatedInstrument::new(kind, &mut random);
            let mut show = || gauge.show(Quantity::Pressure, 1e3, &mut random);
            (0..20_000).filter(|_| show().is_none()).count()
        };
        // 200, give or take four standard deviations; a dial is always there to be read.
        assert!((143..=257).contains(&lost(Kind::Transducer)));
        assert_eq!(lost(Kind::Dial), 0);
    }

    #[test]
    fn what_is_shown_is_whole_steps() {
        for (kind, quantity, value, step) in [
            (Kind::Multimeter, Quantity::Voltage, 12.4567, 0.01),
            (Kind::Multimeter, Quantity::Voltage, 1.23456, 0.001),
            (
                Kind::Tachometer,
                Quantity::RotationalSpeed,
                20.0,
                Unit::RPM.to_si(1.0),
            ),
            (Kind::Dial, Quantity::Pressure, 33e3, Unit::PSI.to_si(0.5)),
        ] {
            let mut random = Random::new(5, 1);
            let instrument = SimulatedInstrument::new(kind, &mut random);
            let all = (0..50).filter_map(|_| instrument.show(quantity, value, &mut random));
            for (amount, _) in all {
                let steps = amount.exact().unwrap() / step;
                assert!((steps - steps.round()).abs() < 1e-6, "{kind:?}: {steps}");
            }
        }
    }

    #[test]
    fn an_open_circuit_is_beyond_the_range() {
        let mut random = Random::new(1, 1);
        let meter = SimulatedInstrument::new(Kind::Multimeter, &mut random);
        let (amount, _) = meter
            .show(Quantity::Resistance, f64::INFINITY, &mut random)
            .unwrap();
        assert_eq!(amount, Amount::Above(40e6));
    }
}
