//! The machine model of a simulated bay: pure, stepped at a fixed rate, with a seeded
//! random source of its own.
//!
//! Invariants, each an absence:
//! - no clock, file, socket or environment is read here: time comes in by [`Machine::advance`];
//! - no fault is known outside `damage.rs`: what is measured and observed
//!   comes from the parts' state;
//! - no number comes from a rule set.

mod battery;
mod controller;
mod copper;
mod damage;
mod engine;
mod fault;
mod fuel;
mod governor;
mod heater;
mod observe;
mod operator;
mod parts;
mod points;
mod pump;
pub(crate) mod random;
mod shift;
mod trial;
mod wiring;

use battery::Shaft;
pub use fault::{Fault, FaultError, FaultKind};
pub use fuel::Pipe;
pub use observe::{ActError, CHECKS};
use parts::Parts;
pub use points::{POINTS, TestPoint};
pub use pump::BypassCommand;
pub use random::Random;
use wiring::{Branch, CableRun, OPEN, branch};

/// Where the key stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Key {
    /// Off.
    #[default]
    Off,
    /// On, starter at rest.
    On,
    /// On, starter turning.
    Crank,
}

/// What is plugged onto the pump.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Drive {
    /// The machine's own harness.
    #[default]
    Harness,
    /// The bypass drive, powered from the battery by itself.
    Bypass,
}

/// What the people around the machine do to it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Controls {
    /// The key.
    pub key: Key,
    /// What is plugged onto the pump.
    pub drive: Drive,
    /// The bypass drive's buttons; of no effect on the machine's own harness.
    pub bypass: BypassCommand,
    /// Accelerator pedal, 0 to 1.
    pub accelerator: f64,
    /// Load on the engine, 0 to 1.
    pub load: f64,
    /// Is the air shut-off open? Shutting it stops a racing engine.
    pub air_open: bool,
}

impl Default for Controls {
    fn default() -> Self {
        Controls {
            key: Key::Off,
            drive: Drive::Harness,
            bypass: BypassCommand::ShutOff,
            accelerator: 0.0,
            load: 0.0,
            air_open: true,
        }
    }
}

/// Currents and drops of the three fed units in the last step.
#[derive(Clone, Copy, Debug, Default)]
struct Feeds {
    controller: Branch,
    lift_pump: Branch,
    pump: Branch,
}

/// The bypass drive's lead, ohms.
const BYPASS_LEAD: f64 = 0.05;
/// What else is on with the key: lamps, relays, the like, amperes.
const KEY_AMPS: f64 = 4.0;

/// One machine.
#[derive(Clone, Debug)]
pub struct Machine {
    parts: Parts,
    /// The battery's charge after the night, 0 to 1.
    charged: f64,
    controls: Controls,
    feeds: Feeds,
    random: Random,
    steps: u64,
    owed: f64,
}

impl Machine {
    /// Length of a step, seconds: the model runs at 100 Hz. What is stiffer
    /// (the filter between two volumes) is solved implicitly.
    pub const STEP: f64 = 0.01;
    /// Length of a step while a machine just stands, seconds.
    const STANDING: f64 = 0.25;

    /// The machine of this seed with these faults, as it stands after a night
    /// with the key off. The same arguments give the same machine and course.
    pub fn new(seed: u64, faults: &[Fault]) -> Self {
        let parts = Parts::draw(seed, faults);
        let mut machine = Machine {
            charged: parts.electrics.charge,
            parts,
            controls: Controls::default(),
            feeds: Feeds::default(),
            random: Random::new(seed, 2),
            steps: 0,
            owed: 0.0,
        };
        // Currents and drops exist once the loop has been solved.
        machine.step(Self::STEP);
        machine.steps = 0;
        machine
    }

    /// What the people around it do now.
    pub fn controls(&self) -> Controls {
        self.controls
    }

    /// Takes over new controls; shares outside 0 to 1 are brought inside.
    pub fn set_controls(&mut self, controls: Controls) {
        let share = |value: f64| {
            if value.is_finite() {
                value.clamp(0.0, 1.0)
            } else {
                0.0
            }
        };
        self.controls = Controls {
            accelerator: share(controls.accelerator),
            load: share(controls.load),
            ..controls
        };
    }

    /// Seconds since the machine was made.
    pub fn time(&self) -> f64 {
        self.steps as f64 * Self::STEP
    }

    /// Brings the battery back to the charge it had after the night, as a charger
    /// in the bay does; a bad one stays as bad as it was.
    pub fn charge_battery(&mut self) {
        self.parts.electrics.charge = self.charged;
    }

    /// Engine speed in revolutions a minute.
    pub fn rpm(&self) -> f64 {
        self.parts.engine.rpm()
    }

    /// Lets `seconds` pass in whole steps; what is left over is kept for the
    /// next call, so that the course does not depend on how time is cut.
    pub fn advance(&mut self, seconds: f64) {
        self.owed += seconds.clamp(0.0, 86_400.0);
        // A hair of tolerance, so that ten tenths make a whole.
        while self.owed >= Self::STEP * (1.0 - 1e-9) {
            self.owed -= Self::STEP;
            self.step(Self::STEP);
        }
    }

    /// Lets a machine stand for `seconds`: with the key off, on its own harness
    /// and at rest nothing is quick, and long steps do; else as
    /// [`advance`](Self::advance).
    pub fn stand(&mut self, seconds: f64) {
        let seconds = seconds.clamp(0.0, 86_400.0);
        let still = self.controls.key == Key::Off && self.controls.drive == Drive::Harness;
        if !still || self.parts.engine.omega > 0.0 {
            return self.advance(seconds);
        }
        // Quick things come to rest first.
        let settling = seconds.min(2.0);
        self.advance(settling);
        let long = ((seconds - settling) / Self::STANDING).floor();
        for _ in 0..long as u64 {
            self.step(Self::STANDING);
        }
        self.advance(seconds - settling - long * Self::STANDING);
    }

    fn bypass(&self) -> Option<BypassCommand> {
        (self.controls.drive == Drive::Bypass).then_some(self.controls.bypass)
    }

    /// One step of everything, each part seeing the others as they last were.
    fn step(&mut self, dt: f64) {
        let key_on = self.controls.key != Key::Off;
        let omega = self.parts.engine.omega;
        self.parts.wiring.step(omega, &mut self.random, dt);
        let acting = self.acting();
        let shaft = self.parts.engine.shaft(&acting, dt);
        self.power(key_on, &shaft, dt);
        let command = self.control(key_on, dt);
        self.deliver(command, dt);
        let starter = self.parts.electrics.starter_torque();
        let alternator = self.parts.electrics.alternator_takes;
        self.parts.engine.step(starter, alternator, &acting, dt);
        self.steps += (dt / Self::STEP).round() as u64;
    }

    /// Battery, and what it leaves for the three fed units.
    fn power(&mut self, key_on: bool, shaft: &Shaft, dt: f64) {
        let Parts {
            electrics,
            wiring,
            controller,
            pump,
            fuel,
            heater,
            ambient,
            ..
        } = &mut self.parts;
        let feeds = &self.feeds;
        let units = feeds.controller.amps + feeds.lift_pump.amps + feeds.pump.amps;
        let cranking = self.controls.key == Key::Crank;
        let lamps = if key_on { KEY_AMPS } else { 0.0 };
        let grid = heater.step(controller.running, cranking, *ambient, electrics.volts, dt);
        let others = units + lamps + grid;
        electrics.step(cranking, shaft, others, *ambient, dt);
        heater.warm(electrics.volts, shaft.omega, dt);

        let switched = if key_on { electrics.volts } else { 0.0 };
        let ground = wiring.controller_ground + wiring.shared_ground;
        self.feeds.controller = branch(switched, wiring.controller_feed, controller.load, ground);
        // A relay not closed is more open than a motor's brushes: where both
        // are open, the run keeps the voltage.
        let contact = if controller.running {
            wiring.lift_pump_feed + controller.lift_pump_contact
        } else {
            1e3 * OPEN
        };
        self.feeds.lift_pump = branch(switched, contact, fuel.lift_pump.ohms(), 0.0);
        self.feeds.pump = match self.controls.drive {
            Drive::Bypass => branch(electrics.volts, BYPASS_LEAD, pump.load(), 0.0),
            Drive::Harness => {
                let feed = wiring.pump_relay + wiring.ohms(CableRun::PumpFeed);
                let ground = wiring.ohms(CableRun::PumpGround) + wiring.shared_ground;
                branch(switched, feed, pump.load(), ground)
            }
        };
    }

    /// The engine controller's command, as far as the bus carries it.
    fn control(&mut self, key_on: bool, dt: f64) -> Option<f64> {
        let inputs = controller::Inputs {
            volts: self.feeds.controller.volts,
            omega: self.parts.engine.omega,
            pedal: self.controls.accelerator,
            sensor_wire: self.parts.wiring.sensor_heard(),
            key_on,
        };
        let command = self.parts.controller.step(&inputs, &mut self.random, dt);
        command.filter(|_| self.parts.wiring.bus_works())
    }

    /// Fuel to the pump, and from the pump into the cylinders.
    fn deliver(&mut self, command: Option<f64>, dt: f64) {
        let bypass = self.bypass();
        let Parts {
            fuel,
            pump,
            engine,
            ambient,
            ..
        } = &mut self.parts;
        let draw = fuel::Draw {
            lift_volts: self.feeds.lift_pump.volts,
            omega: engine.omega,
            injected: pump.injected(engine.omega),
            kelvin: *ambient,
        };
        fuel.step(&draw, &mut self.random, dt);
        let feed = pump::Feed {
            volts: self.feeds.pump.volts,
            bus: command,
            bypass,
            omega: engine.omega,
            inlet: fuel.pump_inlet(),
            solid: fuel.solid(),
            fuel_kelvin: *ambient,
            returned: fuel.returned,
        };
        pump.step(&feed, dt);
    }

    fn acting(&mut self) -> engine::Acting {
        let parts = &mut self.parts;
        parts.engine.air_open = self.controls.air_open;
        engine::Acting {
            delivered: parts.pump.delivered,
            late: parts.pump.late,
            drag: parts.pump.drag(),
            load: self.controls.load,
            ambient: parts.ambient,
            warmed: parts.heater.rise(parts.engine.omega),
        }
    }
}

#[cfg(test)]
mod tests;
