//! The engine controller: it runs on its feed and ground, switches the lift
//! pump, watches engine speed and the accelerator, and commands fuel.

use super::governor::Governor;
use super::random::Random;

/// Least voltage at which either control unit runs, volts: both are made to
/// live through a crank (from memory).
pub(crate) const RUNS_ABOVE: f64 = 6.0;
/// Share of full fuel while cranking.
pub(crate) const START_FUEL: f64 = 0.45;
/// Speed at which a start is done, rad/s (about 600 rpm).
pub(crate) const STARTED: f64 = 62.0;
/// Crankshaft speed from which a sound speed sensor is heard, rad/s (from memory).
pub(crate) const HEARS_ABOVE: f64 = 3.0;
/// Seconds of turning until teeth and cylinders are matched.
const SYNCHRONISING: f64 = 0.6;

/// How the accelerator sensor is wrong, if it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Accelerator {
    /// Follows the pedal.
    Sound,
    /// Reads this much above the truth, volts.
    Raised(f64),
    /// Drops out this often a second.
    DropsOut(f64),
}

/// The engine controller's condition and state.
#[derive(Clone, Debug)]
pub(crate) struct Controller {
    /// Least voltage at which it runs, volts: more than any battery gives when it is dead.
    pub needs: f64,
    /// What it draws as, ohms.
    pub load: f64,
    /// What the lift pump's relay, which it closes, adds to that run, ohms.
    pub lift_pump_contact: f64,
    /// Crankshaft speed above which the speed sensor's signal is strong enough, rad/s.
    pub hears_above: f64,
    /// Least share of full fuel that it commands once the engine runs.
    pub least: f64,
    /// The accelerator sensor.
    pub accelerator: Accelerator,
    /// Accelerator signal at rest, volts.
    pub rest_volts: f64,
    /// Idle, rad/s.
    pub idle: f64,
    /// Accelerator signal now, volts.
    pub accelerator_volts: f64,
    governor: Governor,
    turning_for: f64,
    started: bool,
    dropped_for: f64,
    /// Does it run right now? As long as it does it closes the lift pump's relay.
    pub running: bool,
    /// Does it see engine speed right now?
    pub sees_speed: bool,
}

/// What reaches the controller.
pub(crate) struct Inputs {
    /// Volts left for it.
    pub volts: f64,
    /// Crankshaft speed, rad/s.
    pub omega: f64,
    /// Pedal, 0 to 1.
    pub pedal: f64,
    /// Is the speed sensor's wire whole?
    pub sensor_wire: bool,
    /// Is the key on (the accelerator sensor's own supply)?
    pub key_on: bool,
}

impl Controller {
    /// A healthy controller, spread as parts are (common practice, no source).
    pub(crate) fn draw(random: &mut Random) -> Self {
        Controller {
            needs: RUNS_ABOVE,
            load: 5.0 * random.about_one(0.06),
            lift_pump_contact: 0.0,
            hears_above: HEARS_ABOVE,
            least: 0.0,
            accelerator: Accelerator::Sound,
            rest_volts: 0.65 + 0.06 * random.normal().clamp(-2.0, 2.0),
            idle: 84.0 * random.about_one(0.02),
            accelerator_volts: 0.0,
            governor: Governor::default(),
            turning_for: 0.0,
            started: false,
            dropped_for: 0.0,
            running: false,
            sees_speed: false,
        }
    }

    /// Speed asked for at full pedal, rad/s (about 2300 rpm).
    pub(crate) const HIGH_IDLE: f64 = 240.0;

    fn read_accelerator(&mut self, inputs: &Inputs, random: &mut Random, dt: f64) {
        let true_volts = self.rest_volts + 3.4 * inputs.pedal;
        self.dropped_for = (self.dropped_for - dt).max(0.0);
        let signal = match self.accelerator {
            Accelerator::Sound => true_volts,
            Accelerator::Raised(by) => (true_volts + by).min(4.8),
            Accelerator::DropsOut(rate) => {
                if random.chance(rate * dt) {
                    self.dropped_for = random.between(0.3, 1.5);
                }
                if self.dropped_for > 0.0 {
                    0.02
                } else {
                    true_volts
                }
            }
        };
        self.accelerator_volts = if inputs.key_on { signal } else { 0.0 };
    }

    /// The fuel commanded, as a share of full; nothing when it does not run.
    pub(crate) fn step(&mut self, inputs: &Inputs, random: &mut Random, dt: f64) -> Option<f64> {
        self.read_accelerator(inputs, random, dt);
        self.running = inputs.key_on && inputs.volts > self.needs;
        let turning = inputs.omega > self.hears_above;
        self.sees_speed = self.running && inputs.sensor_wire && turning;
        if !self.sees_speed {
            self.turning_for = 0.0;
            self.started = false;
            self.governor.reset();
            return self.running.then_some(0.0);
        }
        self.turning_for += dt;
        self.started = inputs.omega > STARTED || (self.started && inputs.omega > 30.0);
        if !self.started {
            self.governor.reset();
            return Some(if self.turning_for > SYNCHRONISING {
                START_FUEL
            } else {
                0.0
            });
        }
        // A tenth of a volt above rest still counts as rest, as does anything below it.
        let pedal = ((self.accelerator_volts - self.rest_volts - 0.1) / 3.2).clamp(0.0, 1.0);
        let target = self.idle + pedal * (Self::HIGH_IDLE - self.idle);
        let asked = self.governor.step(target, inputs.omega, 1.0, dt);
        Some(asked.max(self.least))
    }

    /// Does something about it come and go by chance?
    pub(crate) fn falters(&self) -> bool {
        matches!(self.accelerator, Accelerator::DropsOut(_))
    }
}
