//! The battery, its cables, the starter and the alternator.

use super::random::Random;

/// Open-circuit voltage of a 12 V battery by charge
/// (TM 5-3805-262-20: 12.6 V full, 12.4 at 75 %, 12.2 at 50 %, 12.0 at 25 %, 11.7 empty).
const OPEN_CIRCUIT: [(f64, f64); 5] = [
    (0.0, 11.7),
    (0.25, 12.0),
    (0.5, 12.2),
    (0.75, 12.4),
    (1.0, 12.6),
];

/// Open-circuit voltage in volts at this charge (0 to 1).
pub(crate) fn open_circuit(charge: f64) -> f64 {
    let charge = charge.clamp(0.0, 1.0);
    for pair in OPEN_CIRCUIT.windows(2) {
        let ((low, v_low), (high, v_high)) = (pair[0], pair[1]);
        if charge <= high {
            return v_low + (v_high - v_low) * (charge - low) / (high - low);
        }
    }
    12.6
}

/// Internal resistance, in ohms, of a battery that has `at_25` ohms at 25 °C:
/// it grows by about 1.2 % a kelvin of cold (from memory).
pub(crate) fn internal_resistance(at_25: f64, kelvin: f64) -> f64 {
    at_25 * (0.012 * (298.15 - kelvin)).exp()
}

/// Everything on the heavy cables.
#[derive(Clone, Debug)]
pub(crate) struct Electrics {
    /// State of charge, 0 to 1.
    pub charge: f64,
    /// Internal resistance at 25 °C, ohms.
    pub resistance: f64,
    /// Battery post to starter, ohms.
    pub positive_cable: f64,
    /// Engine block to battery post, ohms.
    pub ground_cable: f64,
    /// Armature and brushes, ohms.
    pub armature: f64,
    /// Volts a radian per second of the crankshaft, and newton metres an ampere.
    pub starter_constant: f64,
    /// What the alternator holds, volts.
    pub regulated: f64,
    /// Voltage at the posts, volts.
    pub volts: f64,
    /// Current through the starter, amperes.
    pub starter_amps: f64,
}

/// Ampere-seconds in a full battery: 100 Ah (common practice, no source).
const CAPACITY: f64 = 100.0 * 3600.0;
/// Most the alternator gives, amperes (common practice, no source).
const ALTERNATOR_AMPS: f64 = 90.0;
/// A battery takes charge more stiffly than it gives it (from memory).
const CHARGING_STIFFNESS: f64 = 8.0;

impl Electrics {
    /// A healthy set, spread as parts are (common practice, no source).
    pub(crate) fn draw(random: &mut Random) -> Self {
        let charge = random.between(0.94, 1.0);
        Electrics {
            charge,
            resistance: 5.0e-3 * random.about_one(0.08),
            positive_cable: 0.36e-3 * random.about_one(0.08),
            ground_cable: 0.20e-3 * random.about_one(0.08),
            armature: 8.5e-3 * random.about_one(0.04),
            starter_constant: 0.317 * random.about_one(0.03),
            regulated: 14.1 + 0.1 * random.normal().clamp(-2.0, 2.0),
            volts: open_circuit(charge),
            starter_amps: 0.0,
        }
    }

    /// Torque of the starter on the crankshaft, newton metres.
    pub(crate) fn starter_torque(&self) -> f64 {
        self.starter_constant * self.starter_amps
    }

    /// Solves the loop of battery, cables and starter for this instant and
    /// moves the charge on. `others` is what everything else draws, amperes.
    pub(crate) fn step(&mut self, cranking: bool, omega: f64, others: f64, kelvin: f64, dt: f64) {
        let source = open_circuit(self.charge);
        let inner = internal_resistance(self.resistance, kelvin);
        self.starter_amps = if cranking {
            let cables = self.positive_cable + self.ground_cable;
            let drive = source - inner * others - self.starter_constant * omega;
            (drive / (inner + cables + self.armature)).max(0.0)
        } else {
            0.0
        };
        let load = self.starter_amps + others;
        let available = ALTERNATOR_AMPS * ((omega - 45.0) / 60.0).clamp(0.0, 1.0);
        let charging = (available - load).max(0.0);
        self.volts = if charging > 0.0 {
            (source + CHARGING_STIFFNESS * inner * charging).min(self.regulated)
        } else {
            source - inner * (load - available)
        };
        let flow = if charging > 0.0 {
            (self.volts - source).max(0.0) / (CHARGING_STIFFNESS * inner)
        } else {
            available - load
        };
        self.charge = (self.charge + flow * dt / CAPACITY).clamp(0.0, 1.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check_open_circuit(charge: f64, volts: f64) {
        assert!((open_circuit(charge) - volts).abs() < 1e-12, "{charge}");
    }

    #[test]
    fn open_circuit_table() {
        // TM 5-3805-262-20.
        for (charge, volts) in [
            (1.0, 12.6),
            (0.75, 12.4),
            (0.5, 12.2),
            (0.25, 12.0),
            (0.0, 11.7),
        ] {
            check_open_circuit(charge, volts);
        }
    }

    /// A healthy battery under half its cold-cranking current stays above the
    /// battery trade's published load-test table at every temperature of it.
    #[test]
    fn load_test_table() {
        let table = [
            (21.0, 9.6),
            (16.0, 9.5),
            (10.0, 9.4),
            (4.0, 9.3),
            (-1.0, 9.1),
            (-7.0, 8.9),
            (-12.0, 8.7),
            (-18.0, 8.5),
        ];
        for seed in 0..20 {
            let good = Electrics::draw(&mut Random::new(seed, 1));
            for (celsius, least) in table {
                let inner = internal_resistance(good.resistance, celsius + 273.15);
                let loaded = open_circuit(good.charge) - 375.0 * inner;
                assert!(loaded > least, "seed {seed}, {celsius} °C: {loaded} V");
            }
        }
    }

    #[test]
    fn charge_goes_out_while_cranking_and_in_while_running() {
        let mut set = Electrics::draw(&mut Random::new(1, 1));
        let full = set.charge;
        set.step(true, 20.0, 10.0, 293.0, 10.0);
        assert!(set.charge < full && set.volts < 11.5);
        let low = set.charge;
        set.step(false, 84.0, 10.0, 293.0, 10.0);
        assert!(set.charge > low && set.volts > 13.0);
    }
}
