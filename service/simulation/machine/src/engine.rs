//! The engine itself: it turns, compresses, fires and drags.

use super::battery::Shaft;
use super::random::Random;

/// Torque at full fuel, N m.
const FULL_TORQUE: f64 = 620.0;
/// Load at full, N m.
const FULL_LOAD: f64 = 450.0;
/// End-of-compression temperature at which half of the charges fire, kelvins.
const FIRES_AT: f64 = 645.0;
/// Exponent of compression: some heat is lost on the way (from memory).
const POLYTROPIC: f64 = 1.35;
/// Pressure of the air, Pa.
const ATMOSPHERE: f64 = 101_325.0;

/// The engine's condition and state.
#[derive(Clone, Debug)]
pub(crate) struct Engine {
    /// Moment of inertia with flywheel, kg m².
    pub inertia: f64,
    /// Factor on all friction.
    pub friction: f64,
    /// Factor on the compression ratio of 17.
    pub compression: f64,
    /// How bad the injectors are, 0 to 1.
    pub injectors: f64,
    /// How far the intake is blocked, 0 to 1.
    pub intake: f64,
    /// Temperature, kelvins.
    pub kelvin: f64,
    /// Is the air shut-off open?
    pub air_open: bool,
    /// Speed, rad/s.
    pub omega: f64,
    angle: f64,
    gas: f64,
    against: f64,
    /// Where the energy came from and went.
    pub booked: Booked,
    /// Revolutions with enough fuel to smoke since the engine last stood.
    pub smoked: f64,
}

/// Energies since the machine was made, joules: each the product of what acts
/// and the angle or the time, so that their adding up is a test; but for what
/// [`Engine::hold`] books.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Booked {
    /// Given by combustion and compression.
    pub gas: f64,
    /// Given by the starter.
    pub starter: f64,
    /// Taken by friction and load.
    pub friction: f64,
    /// Taken by the alternator.
    pub alternator: f64,
}

/// What acts on the engine in one step.
pub(crate) struct Acting {
    /// Share of full fuel delivered.
    pub delivered: f64,
    /// How far the timing is late, 0 to 1.
    pub late: f64,
    /// Drag of a worn pump, N m.
    pub drag: f64,
    /// Load, 0 to 1.
    pub load: f64,
    /// Ambient temperature, kelvins.
    pub ambient: f64,
    /// By how much the intake air is warmed, kelvins.
    pub warmed: f64,
}

impl Engine {
    /// A healthy engine, spread as parts are (common practice, no source).
    pub(crate) fn draw(random: &mut Random, ambient: f64) -> Self {
        Engine {
            inertia: 1.5 * random.about_one(0.03),
            friction: random.about_one(0.05),
            compression: random.about_one(0.01),
            injectors: 0.0,
            intake: 0.0,
            kelvin: ambient,
            air_open: true,
            omega: 0.0,
            angle: 0.0,
            gas: 0.0,
            against: 0.0,
            booked: Booked::default(),
            smoked: 0.0,
        }
    }

    /// Friction torque, N m: boundary friction when slow, oil when fast, more when cold.
    fn drag(&self) -> f64 {
        let oil = 1.0 + 0.012 * (293.15 - self.kelvin).max(0.0);
        // Breaking loose takes most: the film of oil builds up with speed, then costs in proportion to it.
        let mixed = 70.0 + 60.0 * (-self.omega / 25.0).exp() + 0.25 * self.omega;
        self.friction * oil * mixed
    }

    /// By how much a charge is compressed: less where it blows by, most when slow.
    fn ratio(&self) -> f64 {
        // The slower the stroke, the longer a charge has to escape past the rings. The floor keeps a
        // standing engine from a ratio below zero.
        let blow_by = 1.0 - 0.9 / self.omega.max(5.0);
        17.0 * self.compression * blow_by * (1.0 - 0.15 * self.intake)
    }

    /// Pressure at the end of compression without firing, Pa gauge.
    pub(crate) fn compressed(&self) -> f64 {
        ATMOSPHERE * (self.ratio().powf(POLYTROPIC) - 1.0)
    }

    /// Share of the charges that fire.
    fn firing(&self, acting: &Acting) -> f64 {
        let intake = acting.ambient + 0.35 * (self.kelvin - acting.ambient) + acting.warmed;
        // What the walls take from the charge goes with the time that a stroke lasts: a slow crank in the
        // cold does not fire.
        let end = intake * self.ratio().powf(POLYTROPIC - 1.0) - 1500.0 / self.omega.max(5.0);
        let needed = FIRES_AT + 60.0 * self.injectors + 30.0 * acting.late;
        // Cylinders differ: around the limit some of them fire, which is how a hard start sounds.
        1.0 / (1.0 + ((needed - end) / 12.0).exp())
    }

    /// Mean torque of combustion, N m.
    fn combustion(&self, acting: &Acting) -> f64 {
        if !self.air_open || acting.delivered <= 0.0 {
            return 0.0;
        }
        let burnt = acting.delivered.min(1.0 - 0.88 * self.intake);
        let timing = 1.0 - acting.late * (0.25 + 0.55 * (self.omega / 188.0).min(1.0));
        let spray = 1.0 - 0.55 * self.injectors;
        FULL_TORQUE * burnt * timing * spray * self.firing(acting)
    }

    /// What turns the crankshaft but for the starter, and how it yields, over
    /// a step of `dt` seconds. Friction at rest is the most it can hold.
    pub(crate) fn shaft(&mut self, acting: &Acting, dt: f64) -> Shaft {
        let load = if self.omega > 60.0 {
            FULL_LOAD * acting.load
        } else {
            0.0
        };
        self.against = self.drag() + acting.drag + load;
        // The single compressions are felt in a crank; above that they average out within a step.
        let turning = (1.0..60.0).contains(&self.omega);
        self.gas = self.combustion(acting)
            + if turning {
                28.0 * self.compression * (3.0 * self.angle).sin()
            } else {
                0.0
            };
        Shaft {
            omega: self.omega,
            mobility: dt / (2.0 * self.inertia),
            torque: self.gas - self.against,
        }
    }

    /// Moves the engine on by `dt` seconds, after [`Engine::shaft`], with this
    /// torque of the starter and this power going into the alternator.
    pub(crate) fn step(&mut self, starter: f64, alternator: f64, acting: &Acting, dt: f64) {
        let torque = starter + self.gas - self.against;
        let before = self.omega;
        // Exact for a step at constant torque.
        let turned = if before <= 0.0 && torque <= 0.0 {
            0.0
        } else {
            let after = before + torque / self.inertia * dt;
            self.omega = after.max(0.0);
            if after >= 0.0 {
                (before + after) / 2.0 * dt
            } else {
                // It comes to rest within the step.
                before * before * self.inertia / (-2.0 * torque)
            }
        };
        self.booked.starter += starter * turned;
        self.booked.gas += self.gas * turned;
        self.booked.friction += self.against * turned;
        // The alternator turns with the engine and takes its power out of the turning parts.
        // Taken off the kinetic energy and not as a torque: power over a speed near zero would have no bound.
        let taken = alternator * dt;
        self.booked.alternator += taken;
        let left = self.omega * self.omega - 2.0 * taken / self.inertia;
        self.omega = left.max(0.0).sqrt();
        self.angle = (self.angle + self.omega * dt) % std::f64::consts::TAU;
        if self.omega <= 0.0 {
            self.smoked = 0.0;
        } else if acting.delivered > 0.1 {
            self.smoked += self.omega * dt / std::f64::consts::TAU;
        }
        self.warm(acting.ambient, dt);
    }

    fn warm(&mut self, ambient: f64, dt: f64) {
        let (settles_at, lag) = if self.omega > 50.0 {
            (358.0, 400.0)
        } else {
            (ambient, 3000.0)
        };
        self.kelvin += (settles_at - self.kelvin) * dt / lag;
    }

    /// Holds its speed for `seconds`: what it takes is given, by the governor.
    /// That its steps come to the same is a test of its own.
    pub(crate) fn hold(&mut self, alternator: f64, ambient: f64, seconds: f64) {
        let friction = self.against * self.omega * seconds;
        let taken = alternator * seconds;
        self.booked.friction += friction;
        self.booked.alternator += taken;
        self.booked.gas += friction + taken;
        self.warm(ambient, seconds);
    }

    /// Energy in the turning parts, joules.
    #[cfg(test)]
    pub(crate) fn kinetic(&self) -> f64 {
        0.5 * self.inertia * self.omega * self.omega
    }

    /// Speed in revolutions a minute.
    pub(crate) fn rpm(&self) -> f64 {
        self.omega * 60.0 / std::f64::consts::TAU
    }
}
