//! Copper wire: what a run or a cable has for resistance by its size, its
//! length and its temperature.

use std::f64::consts::PI;

/// Resistivity of annealed copper at 20 °C, Ω m (100 % IACS).
const RESISTIVITY: f64 = 1.724_1e-8;

/// Cross-section of an American wire gauge, m².
pub(crate) fn gauge(awg: i32) -> f64 {
    let diameter = 0.127e-3 * 92_f64.powf(f64::from(36 - awg) / 39.0);
    PI / 4.0 * diameter * diameter
}

/// Resistance at 20 °C, Ω, of `metres` of wire of this cross-section, m².
pub(crate) fn at_20(section: f64, metres: f64) -> f64 {
    RESISTIVITY * metres / section
}

/// The factor by which copper's resistance differs from that at 20 °C.
pub(crate) fn warmth(kelvin: f64) -> f64 {
    (234.5 + (kelvin - 273.15)) / 254.5
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The wire table: Ω/km at 20 °C.
    fn check_wire(awg: i32, ohms: f64) {
        let found = at_20(gauge(awg), 1000.0);
        assert!((found / ohms - 1.0).abs() < 1e-3, "AWG {awg}: {found}");
    }

    #[test]
    fn wire_table() {
        check_wire(10, 3.277);
        check_wire(12, 5.211);
        check_wire(14, 8.285);
        check_wire(16, 13.17);
        check_wire(18, 20.95);
        check_wire(20, 33.31);
    }

    #[test]
    fn copper_gains_resistance_with_warmth() {
        assert!((warmth(293.15) - 1.0).abs() < 1e-12);
        // R(T) = R20 (234.5 + T)/254.5: 80 °C is 1.2358, -20 °C 0.8428.
        assert!((warmth(353.15) - 1.235_8).abs() < 1e-4);
        assert!((warmth(253.15) - 0.842_8).abs() < 1e-4);
    }
}
