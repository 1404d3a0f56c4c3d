//! The grid in the intake that warms the air of a cold engine. The engine
//! controller switches it; it is paid for by the battery.

/// Below this air temperature the grid is used, kelvins (from memory).
const COLD: f64 = 278.15;
/// Resistance of the grid, ohms: about a kilowatt from 12 V (from memory).
const OHMS: f64 = 0.13;
/// Seconds for which it stays on after the key has been turned on, and after
/// the starter has been let go (from memory).
const STAYS: f64 = 20.0;
/// Swept volume of the engine, m³: six cylinders of a litre (from memory).
const SWEPT: f64 = 6e-3;
/// Density of air at 273 K, kg/m³, and its heat capacity, J/(kg K).
const AIR: (f64, f64) = (1.29, 1005.0);
/// Below this speed the air hardly moves, rad/s.
const SLOWEST: f64 = 8.0;

/// The grid's state.
#[derive(Clone, Debug, Default)]
pub(crate) struct Heater {
    /// Seconds for which it may still be on.
    left: f64,
    amps: f64,
    watts: f64,
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
        let on = controller_runs && ambient < COLD && self.left > 0.0;
        self.amps = if on { volts / OHMS } else { 0.0 };
        self.amps
    }

    /// Books the power it takes at these volts.
    pub(crate) fn fed(&mut self, volts: f64) {
        self.watts = volts * self.amps;
    }

    /// Is it cold?
    pub(crate) fn off(&self) -> bool {
        self.amps <= 0.0
    }

    /// By how much it warms what the engine breathes at `omega` rad/s, kelvins.
    pub(crate) fn rise(&self, omega: f64) -> f64 {
        let (density, capacity) = AIR;
        let breathed = density * SWEPT * omega.max(SLOWEST) / (2.0 * std::f64::consts::TAU);
        self.watts / (breathed * capacity)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_warms_the_air_by_the_power_it_takes_and_only_for_a_while() {
        let mut heater = Heater::default();
        let amps = heater.step(true, true, 268.15, 10.0, 0.01);
        heater.fed(10.0);
        assert!((amps - 10.0 / 0.13).abs() < 1e-9);
        // Two revolutions breathe six litres: at 2 Hz 7.74 g/s, which 769 W warm by 98.9 K.
        let at_2_hz = heater.rise(2.0 * std::f64::consts::TAU);
        assert!((at_2_hz - 98.9).abs() < 0.1, "{at_2_hz}");
        for _ in 0..1_999 {
            assert!(heater.step(true, false, 268.15, 12.0, 0.01) > 0.0);
        }
        assert_eq!(heater.step(true, false, 268.15, 12.0, 0.02), 0.0);
        assert_eq!(heater.step(true, true, 288.15, 12.0, 0.01), 0.0, "warm");
        assert_eq!(heater.step(false, true, 268.15, 12.0, 0.01), 0.0, "unfed");
        heater.fed(12.0);
        assert!(heater.off() && heater.rise(20.0) == 0.0);
    }
}
