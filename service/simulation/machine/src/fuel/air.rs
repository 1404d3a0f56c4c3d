//! Air in the fuel: how it gets in, travels, gasses out and shakes the pressure.

use super::super::random::Random;

/// Below this gauge pressure dissolved air comes out of the fuel, pascals (from memory).
const GASSING: f64 = -40e3;
/// Strokes of the lift pump a second (from memory).
const STROKES: f64 = 17.0;
/// Time constant of a slug of air, seconds (from memory).
const SLUG: f64 = 0.15;

/// Shares of air along the way, and what they do to the pressure.
#[derive(Clone, Debug, Default)]
pub(crate) struct Air {
    /// Share of air at the lift pump.
    pub line: f64,
    /// Share of air at the pump inlet.
    pub inlet: f64,
    /// Relative deviation of the pressure now.
    pub wobble: f64,
    gassing: f64,
    slug: f64,
    stroke: f64,
}

impl Air {
    /// Fills the whole way with this share of air.
    pub(crate) fn fill(&mut self, share: f64) {
        self.line = share;
        self.inlet = share;
    }

    /// What air and gas leave of the lift pump's ability, 0 to 1.
    pub(crate) fn able(&self) -> f64 {
        (1.0 - 0.85 * self.line) * (1.0 - 0.8 * self.gassing)
    }

    /// Mixes in what a gap and an uncovered pickup let in, and carries it on;
    /// the share of air in what is drawn now.
    pub(crate) fn mix(
        &mut self,
        flow: f64,
        suction: f64,
        gap: f64,
        uncovered: f64,
        dt: f64,
    ) -> f64 {
        let gassed = ((GASSING - suction) / 25e3).clamp(0.0, 1.0);
        self.gassing += (gassed - self.gassing) * (dt / 0.3).min(1.0);
        if flow < 2e-7 {
            return uncovered;
        }
        let leaked = gap * (-suction).max(0.0);
        // A gap lets in as much as the suction drives, whatever fuel flows beside it.
        let share = (leaked / (leaked + flow)).max(uncovered);
        self.line += (share - self.line) * (dt / 0.6).min(1.0);
        self.inlet += (self.line - self.inlet) * (dt / 2.5).min(1.0);
        share
    }

    /// Strokes of the lift pump, and slugs of air passing.
    pub(crate) fn shake(&mut self, flow: f64, random: &mut Random, dt: f64) {
        let moving = (flow / 1e-6).min(1.0);
        if moving < 1e-3 {
            self.wobble = 0.0;
            return;
        }
        let slugs = 0.9 * self.inlet + 0.25 * self.gassing;
        if slugs > 1e-4 {
            // A noise that remembers itself for a slug's length and has the same spread at any step length.
            let keep = (-dt / SLUG).exp();
            self.slug = self.slug * keep + (1.0 - keep * keep).sqrt() * random.normal();
        }
        self.stroke = (self.stroke + STROKES * dt).fract();
        let strokes = 0.012 * wave(self.stroke);
        self.wobble = moving * (slugs * self.slug.clamp(-1.5, 1.5) + strokes);
    }
}

/// One period of a wave between −1 and 1: two parabolas, within 6 % of the sine.
fn wave(phase: f64) -> f64 {
    let x = 2.0 * phase - 1.0;
    -4.0 * x * (1.0 - x.abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn air_travels_from_the_line_to_the_inlet() {
        let mut air = Air::default();
        for _ in 0..100 {
            air.mix(2e-5, -20e3, 1e-9, 0.0, 0.01);
        }
        // 1e-9 · 20e3 = 2e-5 m³/s of air beside as much fuel.
        assert!(air.line > 0.35 && air.line < 0.5, "{}", air.line);
        assert!(air.inlet < air.line && air.inlet > 0.05);
        assert!(air.able() < 0.75);
    }

    #[test]
    fn the_wave_is_nearly_a_sine() {
        for step in 0..100 {
            let phase = f64::from(step) / 100.0;
            let sine = (std::f64::consts::TAU * phase).sin();
            assert!((wave(phase) - sine).abs() < 0.06, "{phase}");
        }
    }
}
