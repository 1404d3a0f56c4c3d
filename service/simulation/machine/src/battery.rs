//! The battery, its cables, the starter and the alternator.

use super::copper::at_20;
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

/// The temperature at which the table holds, kelvins, and what a kelvin of
/// cold takes off it, volts: six cells at 0.2 mV (from memory).
const TABLE_AT: f64 = 298.15;
const PER_KELVIN: f64 = 1.2e-3;

/// Open-circuit voltage in volts at this charge (0 to 1) and temperature.
pub(crate) fn open_circuit(charge: f64, kelvin: f64) -> f64 {
    source(charge, kelvin).0
}

/// Open-circuit voltage, and by how many volts it grows with the charge.
fn source(charge: f64, kelvin: f64) -> (f64, f64) {
    let charge = charge.clamp(0.0, 1.0);
    let (at_table, slope) = OPEN_CIRCUIT
        .windows(2)
        .find(|pair| charge <= pair[1].0)
        .map_or((12.6, 0.0), |pair| {
            let ((low, v_low), (high, v_high)) = (pair[0], pair[1]);
            let slope = (v_high - v_low) / (high - low);
            (v_low + slope * (charge - low), slope)
        });
    (at_table + PER_KELVIN * (kelvin - TABLE_AT), slope)
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
    /// What the alternator takes from the crankshaft now, watts.
    pub alternator_takes: f64,
    /// A temperature, and the cold's factor on the resistance at it.
    cold: (f64, f64),
    /// Where the energy went.
    pub booked: Booked,
}

/// Energies since the machine was made, joules. Each is the product of what
/// acts there, so that their adding up is a test; but for the gas of a full
/// battery, which is the charge that it does not take.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Booked {
    /// Turned to heat inside the battery: by its resistance, and by gassing when it is full.
    pub battery_heat: f64,
    /// Turned to heat in cables and starter.
    pub cable_heat: f64,
    /// Turned to heat in the alternator.
    pub alternator_heat: f64,
    /// Taken by everything else.
    pub loads: f64,
}

/// The crankshaft as the starter feels it over one step.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Shaft {
    /// Speed at the beginning of the step, rad/s.
    pub omega: f64,
    /// What its mean speed over the step gains from each newton metre, rad/s.
    pub mobility: f64,
    /// Everything but the starter that turns it, N m.
    pub torque: f64,
}

/// Cross-section of the battery cables, m²: 70 mm² (common practice, no source).
const CABLE: f64 = 70e-6;
/// Ampere-seconds in a full battery: 100 Ah (common practice, no source).
const CAPACITY: f64 = 100.0 * 3600.0;
/// Most the alternator gives, amperes (common practice, no source).
const ALTERNATOR_AMPS: f64 = 90.0;
/// Share of what it takes from the crankshaft that it gives (common practice, no source).
const ALTERNATOR_EFFICIENCY: f64 = 0.6;
/// A battery's resistance grows as the last of its charge goes: twofold at a hundredth (from memory).
const LAST_OF_CHARGE: f64 = 0.01;
/// Where the others would take this share of the source inside the battery, it sags.
const SAGS: f64 = 0.3;
/// What the others draw is known from no less than this, volts.
const LEAST_VOLTS: f64 = 0.5;
/// A battery takes charge more stiffly than it gives it (from memory).
const CHARGING_STIFFNESS: f64 = 8.0;
/// And the fuller the more: twice as stiffly at this distance from [`FULL_AT`] (from memory).
const NEARLY_FULL: f64 = 0.02;
/// Just above a full charge, so that a full battery still takes an ampere or two.
const FULL_AT: f64 = 1.001;

/// Rounds until the starter's current agrees with a crankshaft that stops within the step.
const STOPPING: usize = 12;

/// The loop over one step.
struct Circuit {
    /// Mean open-circuit voltage, volts.
    source: f64,
    /// Into the battery, amperes.
    flow: f64,
    /// Of the battery, in this direction, ohms.
    resistance: f64,
    /// By the alternator, amperes.
    given: f64,
}

impl Electrics {
    /// A healthy set, spread as parts are (common practice, no source).
    pub(crate) fn draw(random: &mut Random) -> Self {
        let charge = random.between(0.94, 1.0);
        let cable = |metres: f64, ends: f64| at_20(CABLE, metres) + ends;
        Electrics {
            charge,
            resistance: 5.0e-3 * random.about_one(0.08),
            positive_cable: cable(1.3, 0.04e-3) * random.about_one(0.08),
            ground_cable: cable(0.65, 0.04e-3) * random.about_one(0.08),
            armature: 8.5e-3 * random.about_one(0.04),
            starter_constant: 0.317 * random.about_one(0.03),
            regulated: 14.1 + 0.1 * random.normal().clamp(-2.0, 2.0),
            volts: open_circuit(charge, TABLE_AT),
            starter_amps: 0.0,
            alternator_takes: 0.0,
            cold: (TABLE_AT, 1.0),
            booked: Booked::default(),
        }
    }

    /// Torque of the starter on the crankshaft, newton metres.
    pub(crate) fn starter_torque(&self) -> f64 {
        self.starter_constant * self.starter_amps
    }

    /// Starter current, amperes. The back-electromotive force is that of the
    /// mean speed over the step, so that what the starter takes and what the
    /// crankshaft gets are the same energy.
    fn starter(&self, source: f64, inner: f64, others: f64, shaft: &Shaft) -> f64 {
        let k = self.starter_constant;
        let ohms = inner + self.positive_cable + self.ground_cable + self.armature;
        let drive = source - inner * others;
        // At rest it has to break loose first.
        let loose = shaft.omega > 0.0 || k * drive / ohms + shaft.torque > 0.0;
        let mobility = if loose { shaft.mobility } else { 0.0 };
        let back = k * (shaft.omega + mobility * shaft.torque);
        // Current sets torque, torque the mean speed, and that speed the voltage against the current: solved
        // for the current at once. Taken from the speed of the step before, it would swing at each inrush.
        let mut amps = ((drive - back) / (ohms + k * k * mobility)).max(0.0);
        // Only a shaft that would turn backwards within the step needs rounds: then the mean speed depends on
        // when it stops, and that on the current.
        for _ in 0..STOPPING {
            let change = 2.0 * mobility * (k * amps + shaft.torque);
            if shaft.omega + change >= 0.0 {
                break;
            }
            // It comes to rest within the step, and stands for the rest of it.
            let mean = shaft.omega / 2.0 * (shaft.omega / -change);
            amps = ((drive - k * mean) / ohms).max(0.0);
        }
        amps
    }

    /// Solves the loop of battery, cables and starter for this instant and
    /// moves the charge on. `others` is what everything else draws, amperes.
    pub(crate) fn step(
        &mut self,
        cranking: bool,
        shaft: &Shaft,
        others: f64,
        kelvin: f64,
        dt: f64,
    ) {
        // The alternator is not excited while the starter is engaged.
        let available = if cranking {
            0.0
        } else {
            ALTERNATOR_AMPS * ((shaft.omega - 45.0) / 60.0).clamp(0.0, 1.0)
        };
        let inner = self.inner(kelvin);
        // Over a step the source is its mean: it moves with the charge, as behind a small resistance.
        let (begins, slope) = source(self.charge, kelvin);
        let others = self.sagging(others, begins, inner);
        // The mean source, less what it is at the beginning, is proportional to the flow: it acts as ohms in
        // series, so the loop stays linear and the energy of the step adds up.
        let moves = slope * dt / (2.0 * CAPACITY);
        self.starter_amps = if cranking {
            self.starter(begins, inner + moves, others, shaft)
        } else {
            0.0
        };
        let load = self.starter_amps + others;
        // Into the battery, amperes; out of it, below zero.
        let (flow, resistance) = if available > load && available > 0.0 {
            let full = FULL_AT - self.charge;
            let stiff = CHARGING_STIFFNESS * inner * (1.0 + NEARLY_FULL / full);
            // The regulator gives what holds its voltage, and no more than is left over.
            let room = ((self.regulated - begins) / (stiff + moves)).max(0.0);
            ((available - load).min(room), stiff)
        } else {
            (available - load, inner)
        };
        let before = self.charge;
        self.charge = (before + flow * dt / CAPACITY).clamp(0.0, 1.0);
        let circuit = Circuit {
            source: begins + moves * flow,
            flow,
            resistance,
            given: flow + load,
        };
        self.volts = circuit.source + resistance * flow;
        self.alternator_takes = self.volts * circuit.given / ALTERNATOR_EFFICIENCY;
        self.book(&circuit, others, self.charge - before, dt);
    }

    /// What the other consumers draw of this source, amperes. They are given as they were a
    /// step ago, which is near enough while the battery holds; one that is
    /// nearly flat sags under them, and they draw less at once.
    fn sagging(&self, others: f64, source: f64, inner: f64) -> f64 {
        if inner * others < SAGS * source {
            return others;
        }
        let conductance = others / self.volts.max(LEAST_VOLTS);
        source * conductance / (1.0 + inner * conductance)
    }

    fn inner(&mut self, kelvin: f64) -> f64 {
        if self.cold.0 != kelvin {
            self.cold = (kelvin, internal_resistance(1.0, kelvin));
        }
        // A charge of nothing at all would divide by zero; this resistance lets no current pass.
        self.resistance * self.cold.1 * (1.0 + LAST_OF_CHARGE / self.charge.max(1e-15))
    }

    fn book(&mut self, circuit: &Circuit, others: f64, charged: f64, dt: f64) {
        let &Circuit {
            source,
            flow,
            resistance,
            given,
        } = circuit;
        let amps = self.starter_amps;
        let ohms = self.positive_cable + self.ground_cable + self.armature;
        // A full battery takes no more: the rest gases away.
        let gassed = if self.charge >= 1.0 {
            (flow * dt - charged * CAPACITY).max(0.0) * source
        } else {
            0.0
        };
        self.booked.battery_heat += flow * flow * resistance * dt + gassed;
        self.booked.cable_heat += amps * amps * ohms * dt;
        self.booked.alternator_heat +=
            (1.0 / ALTERNATOR_EFFICIENCY - 1.0) * self.volts * given * dt;
        self.booked.loads += self.volts * others * dt;
    }

    /// Energy in the battery at this temperature above an empty one, joules:
    /// the integral of the open-circuit table over the charge.
    #[cfg(test)]
    pub(crate) fn stored(&self, kelvin: f64) -> f64 {
        let mut sum = 0.0;
        for pair in OPEN_CIRCUIT.windows(2) {
            let ((low, _), (high, _)) = (pair[0], pair[1]);
            let to = self.charge.clamp(low, high);
            sum += (to - low) * (open_circuit(low, kelvin) + open_circuit(to, kelvin)) / 2.0;
        }
        sum * CAPACITY
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check_open_circuit(charge: f64, volts: f64) {
        assert!(
            (open_circuit(charge, TABLE_AT) - volts).abs() < 1e-12,
            "{charge}"
        );
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

    fn turning(omega: f64) -> Shaft {
        Shaft {
            omega,
            ..Shaft::default()
        }
    }

    /// A healthy battery under half its cold-cranking current stays above the
    /// battery trade's published load-test table at every temperature of it, by
    /// no more than a battery does that has any resistance; a worn one falls below.
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
                let loaded = open_circuit(good.charge, celsius + 273.15) - 375.0 * inner;
                assert!(loaded > least, "seed {seed}, {celsius} °C: {loaded} V");
                assert!(
                    loaded < least + 1.5,
                    "seed {seed}, {celsius} °C: {loaded} V"
                );
                let worn = open_circuit(0.5, celsius + 273.15) - 375.0 * 2.0 * inner;
                assert!(worn < least, "seed {seed}, {celsius} °C: {worn} V, worn");
            }
        }
    }

    #[test]
    fn charge_goes_out_while_cranking_and_in_while_running() {
        let mut set = Electrics::draw(&mut Random::new(1, 1));
        let full = set.charge;
        set.step(true, &turning(20.0), 10.0, 293.0, 10.0);
        assert!(set.charge < full && set.volts < 11.5);
        let low = set.charge;
        set.step(false, &turning(84.0), 10.0, 293.0, 10.0);
        assert!(set.charge > low && set.volts > 13.0);
    }
}
