//! A proportional and integral governor of engine speed, as both the engine
//! controller and the pump control unit have one.

/// Share of full fuel for each rad/s short of the target.
const PROPORTIONAL: f64 = 0.012;
/// The same for each rad/s and second.
const INTEGRAL: f64 = 0.015;

/// The governor's memory.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Governor {
    sum: Option<f64>,
}

impl Governor {
    /// Forgets everything: the next step begins near idle fuel.
    pub(crate) fn reset(&mut self) {
        self.sum = None;
    }

    /// Share of full fuel, at most `limit`, to reach `target` from `omega`, rad/s.
    pub(crate) fn step(&mut self, target: f64, omega: f64, limit: f64, dt: f64) -> f64 {
        let short = target - omega;
        let sum = self.sum.get_or_insert(0.18);
        let fuel = PROPORTIONAL * short + *sum;
        // The sum stops while the output is at its end, so that it does not wind up.
        if (0.0..=limit).contains(&fuel) || (fuel > limit) == (short < 0.0) {
            *sum = (*sum + INTEGRAL * short * dt).clamp(0.0, limit);
        }
        fuel.clamp(0.0, limit)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn holds_a_flywheel_at_its_target() {
        let mut governor = Governor::default();
        let mut omega = 60.0;
        for _ in 0..5_000 {
            let fuel = governor.step(84.0, omega, 1.0, 0.002);
            omega += (620.0 * fuel - 100.0) / 1.5 * 0.002;
        }
        assert!((omega - 84.0).abs() < 0.5, "{omega}");
    }

    #[test]
    fn never_asks_for_more_than_the_limit() {
        let mut governor = Governor::default();
        for _ in 0..5_000 {
            assert!(governor.step(300.0, 10.0, 0.35, 0.002) <= 0.35);
        }
    }
}
