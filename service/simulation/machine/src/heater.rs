//! The grid in the intake that warms the air of a cold engine. The engine
//! controller switches it, the battery pays for it before and after cranking,
//! and what it has stored warms the air meanwhile.

/// Below this air temperature the grid is used, kelvins (from memory).
const COLD: f64 = 278.15;
/// Resistance of the grid, ohms: about a kilowatt from 12 V (from memory).
const OHMS: f64 = 0.13;
/// Seconds for which it is on once the key is, and again once the starter has
/// been let go (from memory).
const STAYS: f64 = 15.0;
/// Heat that a tenth of a kilogram of steel takes, J/K.
const CAPACITY: f64 = 46.0;
/// Heat it gives to still air and to moving air, W/K (from memory).
const GIVES: (f64, f64) = (0.5, 2.3);
/// Swept volume of the engine, m³: six cylinders of a litre (from memory).
const SWEPT: f64 = 6e-3;
/// Density of air at 273 K, kg/m³, and its heat capacity, J/(kg K).
const AIR: (f64, f64) = (1.29, 1005.0);
/// Below this speed the air hardly moves, rad/s.
const SLOWEST: f64 = 8.0;
/// A grid that is hotter than the air by less than this does nothing, kelvins.
const COLD_AGAIN: f64 = 5.0;

/// The grid's state.
#[derive(Clone, Debug, Default)]
pub(crate) struct Heater {
    /// Seconds for which it may still be on.
    left: f64,
    amps: f64,
    /// By how much it is hotter than the air, kelvins.
    hotter: f64,
}

fn gives(omega: f64) -> f64 {
    if omega > SLOWEST { GIVES.1 } else { GIVES.0 }
}

impl Heater {
    /// Lets `dt` seconds pass; what it draws from now on at `volts`, amperes.
    pub(crate) fn step(
        &mut self,
        controller_runs: bool,
        cranking: bool,
        ambient: f64,
        volts: f64,
        dt: f64,
    ) -> f64 {
        self.left = if !controller_runs || cranking {
            STAYS
        } else {
            (self.left - dt).max(0.0)
        };
        let on = controller_runs && !cranking && ambient < COLD && self.left > 0.0;
        self.amps = if on { volts / OHMS } else { 0.0 };
        self.amps
    }

    /// Warms by what it is fed at these volts, and cools by what passes it at `omega` rad/s.
    pub(crate) fn warm(&mut self, volts: f64, omega: f64, dt: f64) {
        if self.never_used() {
            return;
        }
        let fed = volts * self.amps;
        let gives = gives(omega);
        // Implicit, so that a long step does not overshoot.
        self.hotter = (self.hotter + fed * dt / CAPACITY) / (1.0 + gives * dt / CAPACITY);
    }

    /// Most machines never use it, and step a hundred times a second.
    fn never_used(&self) -> bool {
        self.amps <= 0.0 && self.hotter <= 0.0
    }

    /// Does the lamp tell to wait with cranking?
    pub(crate) fn lamp(&self) -> bool {
        self.amps > 0.0
    }

    /// Is nothing going on in it?
    pub(crate) fn at_rest(&self) -> bool {
        self.amps <= 0.0 && self.hotter < COLD_AGAIN
    }

    /// By how much it warms what the engine breathes at `omega` rad/s, kelvins.
    pub(crate) fn rise(&self, omega: f64) -> f64 {
        if self.never_used() {
            return 0.0;
        }
        let (density, capacity) = AIR;
        let breathed = density * SWEPT * omega.max(SLOWEST) / (2.0 * std::f64::consts::TAU);
        gives(omega) * self.hotter / (breathed * capacity)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FROST: f64 = 268.15;

    fn warmed(heater: &mut Heater, seconds: f64) -> f64 {
        let mut joules = 0.0;
        for _ in 0..(seconds / 0.01) as usize {
            let amps = heater.step(true, false, FROST, 12.0, 0.01);
            heater.warm(12.0, 0.0, 0.01);
            joules += 12.0 * amps * 0.01;
        }
        joules
    }

    #[test]
    fn what_it_gives_to_the_air_it_has_been_fed() {
        let mut heater = Heater::default();
        heater.step(false, false, FROST, 12.0, 0.01);
        let fed = warmed(&mut heater, 10.0);
        assert!(
            (fed / (12.0 * 12.0 / 0.13 * 10.0) - 1.0).abs() < 0.01,
            "{fed} J"
        );
        let mut given = heater.hotter * CAPACITY;
        assert!(given < fed && given > 0.9 * fed, "{given} of {fed} J kept");
        // Two revolutions breathe six litres: at 3.3 Hz 12.9 g/s, 13 W/K.
        let omega = 21.0;
        assert_eq!(heater.step(true, true, FROST, 10.0, 0.01), 0.0, "cranking");
        let first = heater.rise(omega);
        assert!((30.0..60.0).contains(&first), "{first} K");
        for _ in 0..20_000 {
            heater.step(true, true, FROST, 10.0, 0.01);
            given -= heater.rise(omega) * 1.29 * 6e-3 * omega / (4.0 * std::f64::consts::PI)
                * 1005.0
                * 0.01;
            heater.warm(10.0, omega, 0.01);
        }
        assert!(
            given.abs() < 0.01 * fed && heater.at_rest(),
            "{given} J left"
        );
    }

    #[test]
    fn it_is_on_for_a_while_in_the_cold_alone() {
        let mut heater = Heater::default();
        heater.step(false, false, FROST, 12.0, 0.01);
        assert!(warmed(&mut heater, 14.9) > 0.0 && heater.lamp());
        warmed(&mut heater, 0.2);
        assert!(!heater.lamp());
        heater.step(true, true, FROST, 12.0, 0.01);
        assert!(
            heater.step(true, false, FROST, 12.0, 0.01) > 0.0,
            "after the start"
        );
        assert_eq!(heater.step(true, false, 288.15, 12.0, 0.01), 0.0, "warm");
        assert_eq!(heater.step(false, false, FROST, 12.0, 0.01), 0.0, "unfed");
    }
}
