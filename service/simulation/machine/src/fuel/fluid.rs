//! Diesel fuel: how heavy, how thick, and how waxed it is.

/// Density of the fuel, kg/m³.
pub(crate) const DENSITY: f64 = 830.0;

/// Kinematic viscosity in m²/s: about 3 mm²/s at 40 °C, thrice that at the
/// freezing point (from memory).
pub(crate) fn viscosity(kelvin: f64) -> f64 {
    3.0e-6 * (0.025 * (313.15 - kelvin)).exp()
}

/// How far the fuel has waxed, 0 to 1, six kelvins below its cloud point being
/// as far as it goes (engineering judgement, from memory).
pub(crate) fn wax(kelvin: f64, cloud_point: f64) -> f64 {
    ((cloud_point - kelvin) / 6.0).clamp(0.0, 1.0)
}

/// Pressure of a column of fuel, Pa.
pub(crate) fn column(metres: f64) -> f64 {
    DENSITY * 9.81 * metres
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_metre_of_lift() {
        // 8.14 kPa a metre at 830 kg/m³.
        assert!((column(1.0) / 1e3 - 8.14).abs() < 5e-3);
    }

    #[test]
    fn thicker_in_the_cold_and_waxed_below_the_cloud_point() {
        assert!((viscosity(313.15) - 3.0e-6).abs() < 1e-12);
        assert!(viscosity(273.15) > 2.5 * viscosity(313.15));
        assert_eq!(wax(280.0, 270.0), 0.0);
        assert_eq!(wax(267.0, 270.0), 0.5);
        assert_eq!(wax(200.0, 270.0), 1.0);
    }
}
