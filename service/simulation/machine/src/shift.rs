//! Long stretches of steady running, in two rates: what is quick is stepped for
//! a second, and if it has come to rest, what is slow (temperatures, charge,
//! tank) is moved on by itself for a while.

use super::{Key, Machine};

/// Seconds stepped in full between two leaps.
const LOOK: f64 = 1.0;
/// Seconds of a leap.
const LEAP: f64 = 9.0;
/// A speed that changes by less than this share in [`LOOK`] is steady.
const STEADY: f64 = 0.003;

impl Machine {
    /// Lets the engine run as it is set for at most `limit` seconds, or until
    /// `done`; says whether that came.
    pub(crate) fn work_until(
        &mut self,
        limit: f64,
        mut done: impl FnMut(&Machine) -> bool,
    ) -> bool {
        let end = self.time() + limit;
        while self.time() < end {
            let before = self.parts.engine.omega;
            if self.wait_until(LOOK.min(end - self.time()), &mut done) {
                return true;
            }
            let now = self.parts.engine.omega;
            let steady = (now - before).abs() < STEADY * before;
            // A leap over something that comes by chance would lose its chance; a speed that still moves is not
            // the one that the slow things would settle at.
            if steady && self.undisturbed() && self.time() + LEAP < end {
                self.leap();
            }
        }
        done(self)
    }

    /// Nothing comes and goes by chance.
    fn undisturbed(&self) -> bool {
        self.controls.key == Key::On
            && self.parts.wiring.loose.is_none()
            && !self.parts.controller.falters()
            && self.parts.fuel.void <= 0.0
            && self.parts.heater.at_rest()
    }

    fn leap(&mut self) {
        let acting = self.acting();
        let injected = self.parts.pump.injected(self.parts.engine.omega);
        let shaft = self.parts.engine.shaft(&acting, Self::STEP);
        // Each part moves its own slow state by the whole leap, with what it took in the last step.
        self.power(true, &shaft, LEAP);
        self.parts.fuel.use_up(injected, LEAP);
        let alternator = self.parts.electrics.alternator_takes;
        self.parts.engine.hold(alternator, acting.ambient, LEAP);
        let (omega, returned) = (self.parts.engine.omega, self.parts.fuel.returned);
        let ambient = self.parts.ambient;
        self.parts.pump.keep_warm(omega, ambient, returned, LEAP);
        self.steps += (LEAP / Self::STEP).round() as u64;
    }
}
