//! The harness: runs, pins and the data bus, as resistances. A voltmeter
//! across a run shows what the current through it loses there.

use super::copper;
use super::random::Random;

/// What an open circuit is, ohms: high enough to pass nothing, and finite so
/// that dividers need no special case.
pub(crate) const OPEN: f64 = 1e12;

/// Above this a test point shows the circuit as open, ohms.
const SHOWN_AS_OPEN: f64 = 1e11;

/// Less than this between a bus wire and ground holds the bus, ohms (from memory).
const HOLDS_BUS: f64 = 100.0;

/// What an ohmmeter sees: infinite where the circuit is open.
pub(crate) fn seen(ohms: f64) -> f64 {
    if ohms >= SHOWN_AS_OPEN {
        f64::INFINITY
    } else {
        ohms
    }
}

/// A consumer at the end of a feed and a ground run.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Branch {
    /// Current, amperes.
    pub amps: f64,
    /// Lost in the feed run, volts.
    pub feed_drop: f64,
    /// Lost in the ground run, volts.
    pub ground_drop: f64,
    /// Left for the consumer, volts.
    pub volts: f64,
}

/// The currents and voltages of a consumer of `load` ohms at `volts`.
pub(crate) fn branch(volts: f64, feed: f64, load: f64, ground: f64) -> Branch {
    let amps = volts / (feed + load + ground);
    Branch {
        amps,
        feed_drop: amps * feed,
        ground_drop: amps * ground,
        volts: amps * load,
    }
}

/// A run between two plugs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum CableRun {
    /// Supply of the pump control unit.
    PumpFeed,
    /// Ground of the pump control unit.
    PumpGround,
    /// One wire of the data bus.
    BusHigh,
    /// The other wire of the data bus.
    BusLow,
    /// The speed sensor's signal.
    Sensor,
}

/// The runs between the engine controller's plug and the pump's: wire gauge,
/// metres, and ohms of all contacts on the way (common practice, no source).
const RUNS: [(CableRun, i32, f64, f64); 5] = [
    (CableRun::PumpFeed, 12, 5.0, 0.019),
    (CableRun::PumpGround, 10, 1.2, 0.002),
    (CableRun::BusHigh, 20, 6.0, 0.1),
    (CableRun::BusLow, 20, 6.0, 0.1),
    (CableRun::Sensor, 20, 8.0, 0.13),
];

/// A contact that opens now and then while the engine shakes it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Loose {
    /// The run it is in.
    pub run: CableRun,
    /// Openings a second while the engine runs.
    pub rate: f64,
    /// Seconds left until it closes again.
    open_for: f64,
}

/// The harness, its pins, and what hangs on the data bus.
#[derive(Clone, Debug)]
pub(crate) struct Wiring {
    runs: [f64; 5],
    /// Relay and fuse before the pump's feed run, ohms.
    pub pump_relay: f64,
    /// Fuse, relay and wire to the engine controller, ohms.
    pub controller_feed: f64,
    /// The engine controller's ground, ohms.
    pub controller_ground: f64,
    /// What the stud on which both units are grounded loses, ohms.
    pub shared_ground: f64,
    /// Relay contact and wire to the lift pump, ohms.
    pub lift_pump_feed: f64,
    /// Smallest resistance between runs that should not touch, ohms.
    pub isolation: f64,
    /// Terminators in the engine controller and in the pump control unit, ohms.
    pub terminators: [f64; 2],
    /// Between the two bus wires besides the terminators, ohms.
    pub bus_bridge: f64,
    /// From a bus wire to supply or ground, ohms.
    pub bus_leak: f64,
    /// Does the speed sensor's wire touch ground?
    pub sensor_held: bool,
    /// Does the code reader share the data bus?
    pub reader_on_bus: bool,
    /// Are pins bent, loose, wet or green to look at?
    pub pins_look_bad: bool,
    /// A contact that comes and goes.
    pub loose: Option<Loose>,
}

impl Wiring {
    /// A healthy harness, spread as parts are (common practice, no source).
    pub(crate) fn draw(random: &mut Random, kelvin: f64) -> Self {
        Wiring {
            runs: RUNS.map(|(_, awg, metres, contacts)| {
                let wire = copper::at_20(copper::gauge(awg), metres) * copper::warmth(kelvin);
                (wire + contacts) * random.about_one(0.15)
            }),
            pump_relay: 0.02 * random.about_one(0.2),
            controller_feed: 0.06 * random.about_one(0.2),
            controller_ground: 0.012 * random.about_one(0.2),
            shared_ground: 0.0,
            lift_pump_feed: 0.045 * random.about_one(0.15),
            isolation: random.between(5e6, 35e6),
            terminators: [(); 2].map(|()| 120.0 * random.about_one(0.008)),
            bus_bridge: OPEN,
            bus_leak: OPEN,
            sensor_held: false,
            // A plug of its own or the bus: one is as good as the other.
            reader_on_bus: random.chance(0.5),
            pins_look_bad: false,
            loose: None,
        }
    }

    /// Adds resistance to a run.
    pub(crate) fn add(&mut self, run: CableRun, ohms: f64) {
        for (known, value) in RUNS.iter().zip(&mut self.runs) {
            if known.0 == run {
                *value = (*value + ohms).min(OPEN);
            }
        }
    }

    /// Resistance of a run with the harness at rest, ohms.
    fn at_rest(&self, run: CableRun) -> f64 {
        RUNS.iter()
            .zip(&self.runs)
            .find(|(known, _)| known.0 == run)
            .map_or(OPEN, |(_, &ohms)| ohms)
    }

    /// Resistance of a run right now, ohms.
    pub(crate) fn ohms(&self, run: CableRun) -> f64 {
        match self.loose {
            Some(loose) if loose.run == run && loose.open_for > 0.0 => OPEN,
            _ => self.at_rest(run),
        }
    }

    /// A contact works loose the first time and then keeps coming and going.
    pub(crate) fn loosen(&mut self, run: CableRun, rate: f64) {
        self.loose = Some(Loose {
            run,
            rate,
            open_for: 0.0,
        });
    }

    /// Lets the engine's shaking work on a loose contact.
    pub(crate) fn step(&mut self, omega: f64, random: &mut Random, dt: f64) {
        let Some(loose) = &mut self.loose else { return };
        loose.open_for = (loose.open_for - dt).max(0.0);
        // A loose contact is shaken open by the running engine; at rest it is mostly found closed, which is
        // why such a fault is so hard to catch.
        let shaking = if omega > 40.0 { 1.0 } else { 0.05 };
        if random.chance(loose.rate * shaking * dt) {
            loose.open_for = random.between(0.2, 2.5);
        }
    }

    /// Largest of the runs, both ends unplugged, ohms.
    pub(crate) fn continuity(&self) -> f64 {
        self.runs.iter().copied().fold(0.0, f64::max)
    }

    /// Across the two bus wires at the engine controller, key off, ohms.
    pub(crate) fn termination(&self) -> f64 {
        // Seen from the controller's end the far terminator is behind both wires: an open wire leaves 120 ohms.
        let far = self.terminators[1] + self.ohms(CableRun::BusHigh) + self.ohms(CableRun::BusLow);
        1.0 / (1.0 / self.terminators[0] + 1.0 / far + 1.0 / self.bus_bridge)
    }

    /// Is a bus wire held to supply or ground, so that nothing can be said on it?
    pub(crate) fn bus_held(&self) -> bool {
        self.bus_leak < HOLDS_BUS
    }

    /// Does the speed sensor's signal reach the controller?
    pub(crate) fn sensor_heard(&self) -> bool {
        !self.sensor_held && self.ohms(CableRun::Sensor) < 1e5
    }

    /// Do messages get from the engine controller to the pump control unit?
    pub(crate) fn bus_works(&self) -> bool {
        let wires = self
            .ohms(CableRun::BusHigh)
            .max(self.ohms(CableRun::BusLow));
        !self.bus_held() && wires < 60.0 && (40.0..100.0).contains(&self.termination())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn healthy() -> Wiring {
        Wiring::draw(&mut Random::new(5, 5), 293.15)
    }

    #[test]
    fn two_terminators_make_sixty_ohms() {
        // ISO 11898-2: two 120 Ω terminators in parallel.
        let mut wiring = healthy();
        wiring.terminators = [120.0, 120.0];
        wiring.runs = [0.0; 5];
        assert!((wiring.termination() - 60.0).abs() < 1e-6);
        assert!(wiring.bus_works());
        wiring.terminators[1] = OPEN;
        assert!((wiring.termination() - 120.0).abs() < 1e-6);
        assert!(!wiring.bus_works());
    }

    #[test]
    fn an_open_run_reads_infinite_and_takes_the_whole_voltage() {
        let mut wiring = healthy();
        wiring.add(CableRun::PumpFeed, OPEN);
        assert_eq!(seen(wiring.continuity()), f64::INFINITY);
        let pump = branch(12.5, wiring.ohms(CableRun::PumpFeed), 4.0, 0.006);
        assert!((pump.feed_drop - 12.5).abs() < 1e-6 && pump.volts < 1e-6);
    }

    #[test]
    fn a_loose_contact_opens_only_now_and_then() {
        let mut wiring = healthy();
        wiring.loosen(CableRun::BusHigh, 0.2);
        let mut random = Random::new(1, 1);
        let mut open = 0;
        for _ in 0..30_000 {
            wiring.step(84.0, &mut random, 0.002);
            open += usize::from(wiring.ohms(CableRun::BusHigh) == OPEN);
        }
        assert!(open > 300 && open < 20_000, "{open}");
    }
}
