//! Pressure lost in a round, smooth pipe: Hagen and Poiseuille while the flow
//! is laminar, Darcy and Weisbach with a friction factor where it is not.

use std::f64::consts::PI;

/// Laminar up to this Reynolds number, turbulent from [`TURBULENT`] on; between
/// them the friction factor is carried over in a straight line (common practice).
const LAMINAR: f64 = 2300.0;
/// See [`LAMINAR`].
const TURBULENT: f64 = 4000.0;

/// A round pipe and what flows in it.
#[derive(Clone, Copy, Debug)]
pub struct Pipe {
    /// Kinematic viscosity, m²/s.
    pub viscosity: f64,
    /// Density, kg/m³.
    pub density: f64,
    /// Length, m.
    pub length: f64,
    /// Bore, m.
    pub bore: f64,
}

/// Friction factor after Darcy of a smooth pipe: 64/Re laminar, Blasius
/// (0.3164 Re^-¼) turbulent.
pub fn friction_factor(reynolds: f64) -> f64 {
    let blasius = |reynolds: f64| 0.3164 / reynolds.sqrt().sqrt();
    if reynolds <= LAMINAR {
        64.0 / reynolds
    } else if reynolds >= TURBULENT {
        blasius(reynolds)
    } else {
        let share = (reynolds - LAMINAR) / (TURBULENT - LAMINAR);
        (1.0 - share) * 64.0 / LAMINAR + share * blasius(TURBULENT)
    }
}

impl Pipe {
    /// Resistance while the flow is laminar, Pa s/m³ (Hagen and Poiseuille).
    pub fn laminar(&self) -> f64 {
        128.0 * self.viscosity * self.density * self.length / (PI * self.bore.powi(4))
    }

    /// Reynolds number of `flow`, m³/s.
    pub fn reynolds(&self, flow: f64) -> f64 {
        4.0 * flow.abs() / (PI * self.bore * self.viscosity)
    }

    /// Pressure lost, Pa, by `flow`, m³/s (Darcy and Weisbach).
    pub fn loss(&self, flow: f64) -> f64 {
        let reynolds = self.reynolds(flow);
        if reynolds <= LAMINAR {
            return self.laminar() * flow;
        }
        let speed = 4.0 * flow / (PI * self.bore * self.bore);
        let dynamic = 0.5 * self.density * speed * speed.abs();
        friction_factor(reynolds) * self.length / self.bore * dynamic
    }

    /// Pressure lost for each m³/s at this flow, Pa s/m³.
    pub fn resistance(&self, flow: f64) -> f64 {
        if self.reynolds(flow) <= LAMINAR {
            self.laminar()
        } else {
            self.loss(flow) / flow
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LITRE_PER_HOUR: f64 = 1e-3 / 3600.0;

    fn check_loss(litres: f64, centistokes: f64, density: f64, bore_mm: f64, kilopascals: f64) {
        let pipe = Pipe {
            viscosity: centistokes * 1e-6,
            density,
            length: 3.0,
            bore: bore_mm * 1e-3,
        };
        let loss = pipe.loss(litres * LITRE_PER_HOUR);
        assert!((loss / 1e3 - kilopascals).abs() < 5e-4, "{loss} Pa");
    }

    #[test]
    fn line_losses() {
        // Hagen-Poiseuille over 3 m of line, recomputed against the Python library `fluids`.
        check_loss(60.0, 3.0, 830.0, 6.0, 3.914);
        check_loss(100.0, 3.0, 830.0, 6.0, 6.523);
        check_loss(100.0, 3.0, 830.0, 8.0, 2.064);
        check_loss(100.0, 10.0, 850.0, 8.0, 7.046);
    }

    #[test]
    fn friction_factors() {
        // Closed forms: 64/Re, and Blasius at Re = 10 000 (0.03164) and 100 000 (0.0178).
        assert!((friction_factor(1000.0) - 0.064).abs() < 1e-12);
        assert!((friction_factor(1e4) - 0.03164).abs() < 1e-9);
        assert!((friction_factor(1e5) - 0.017_792).abs() < 1e-5);
        // Carried over without a jump.
        for edge in [LAMINAR, TURBULENT] {
            let step = friction_factor(edge + 1e-6) - friction_factor(edge - 1e-6);
            assert!(step.abs() < 1e-8, "{edge}: {step}");
        }
    }

    #[test]
    fn darcy_and_hagen_poiseuille_agree_while_laminar() {
        let pipe = Pipe {
            viscosity: 4e-6,
            density: 830.0,
            length: 3.0,
            bore: 8e-3,
        };
        let flow = 2e-5;
        let speed = 4.0 * flow / (PI * pipe.bore.powi(2));
        let reynolds = speed * pipe.bore / pipe.viscosity;
        let darcy = friction_factor(reynolds) * pipe.length / pipe.bore
            * 0.5
            * pipe.density
            * speed.powi(2);
        assert!((pipe.loss(flow) / darcy - 1.0).abs() < 1e-12);
    }
}
