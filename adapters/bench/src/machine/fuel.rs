//! The fuel supply: tank, suction line, lift pump, filter, the volume before
//! the pump inlet and the overflow valve. Two pressures are stored, one on
//! either side of the filter; the suction side follows at once.

use std::f64::consts::PI;

use super::random::Random;

/// Pressure lost in a round pipe in laminar flow, pascals (Hagen and
/// Poiseuille): `flow` m³/s, kinematic viscosity m²/s, density kg/m³, metres.
pub(crate) fn hagen_poiseuille(
    flow: f64,
    viscosity: f64,
    density: f64,
    length: f64,
    bore: f64,
) -> f64 {
    128.0 * viscosity * density * length * flow / (PI * bore.powi(4))
}

/// Density of the fuel, kg/m³.
const DENSITY: f64 = 830.0;
/// Below this gauge pressure dissolved air comes out of the fuel, pascals (from memory).
const GASSING: f64 = -40e3;
/// Free volume that takes up a pascal of pressure, m³/Pa, on each side of the filter.
const COMPLIANCE: f64 = 1.0e-10;

/// Kinematic viscosity in m²/s: about 3 mm²/s at 40 °C, thrice that at the
/// freezing point (from memory).
fn viscosity(kelvin: f64) -> f64 {
    3.0e-6 * (0.025 * (313.15 - kelvin)).exp()
}

/// The fuel supply's parts and their state.
#[derive(Clone, Debug)]
pub(crate) struct Fuel {
    /// Share of the tank that is filled.
    pub level: f64,
    /// Temperature below which this fuel sheds wax, kelvins.
    pub cloud_point: f64,
    /// Height of the lift pump above the fuel, metres.
    pub lift: f64,
    /// Bore of the suction line, metres.
    pub bore: f64,
    /// Extra resistance in the suction line, Pa s/m³.
    pub kink: f64,
    /// Conductance of a gap on the suction side for air, m³/(s Pa).
    pub gap: f64,
    /// Flow of the lift pump against nothing at 13 V, m³/s.
    pub free_flow: f64,
    /// Pressure of the lift pump against a closed line at 13 V, Pa.
    pub head: f64,
    /// Does the lift pump's motor turn when it is fed?
    pub turns: bool,
    /// Resistance of the stopped lift pump's bypass valve, Pa s/m³.
    pub bypass_valve: f64,
    /// Resistance of the filter at 4.5 mm²/s, Pa s/m³.
    pub filter: f64,
    /// Where the overflow valve opens, Pa, and its resistance above that.
    pub overflow_opens: f64,
    /// Resistance of the overflow valve above its opening, Pa s/m³.
    pub overflow: f64,
    /// Conductance of all seals together, m³/(s Pa).
    pub seepage: f64,
    /// Air left before the pump inlet by a night's standing, m³.
    pub void: f64,
    /// Share of air at the lift pump and at the pump inlet.
    pub air_line: f64,
    /// Share of air at the pump inlet.
    pub air_inlet: f64,
    gassing: f64,
    slug: f64,
    stroke: f64,
    /// Gauge pressure at the lift pump's inlet, Pa.
    pub suction: f64,
    before_filter: f64,
    at_inlet: f64,
    wobble: f64,
    /// Back through overflow valve and cooling passages, m³/s.
    pub returned: f64,
}

/// What the fuel supply is asked for in one step.
pub(crate) struct Draw {
    /// Volts at the lift pump.
    pub lift_volts: f64,
    /// Crankshaft speed, rad/s.
    pub omega: f64,
    /// Injected, m³/s.
    pub injected: f64,
    /// Fuel temperature, kelvins.
    pub kelvin: f64,
}

impl Fuel {
    /// A healthy supply, spread as parts are (common practice, no source).
    pub(crate) fn draw(random: &mut Random) -> Self {
        Fuel {
            level: random.between(0.25, 0.95),
            cloud_point: 273.15 - 22.0,
            lift: random.between(0.2, 0.6),
            bore: 8.0e-3,
            kink: 0.0,
            gap: 0.0,
            free_flow: 39e-6 * random.about_one(0.05),
            head: 200e3 * random.about_one(0.05),
            turns: true,
            bypass_valve: 3.0e9 * random.about_one(0.15),
            filter: 3.6e8 * random.about_one(0.2),
            overflow_opens: 85e3 * random.about_one(0.04),
            overflow: 1.2e9 * random.about_one(0.08),
            seepage: 3.3e-13 * random.about_one(0.2),
            void: random.between(3e-6, 8e-6),
            air_line: 0.0,
            air_inlet: 0.0,
            gassing: 0.0,
            slug: 0.0,
            stroke: 0.0,
            suction: 0.0,
            before_filter: 0.0,
            at_inlet: 0.0,
            wobble: 0.0,
            returned: 0.0,
        }
    }

    /// Gauge pressure before the filter, Pa.
    pub(crate) fn filter_inlet(&self) -> f64 {
        self.before_filter * (1.0 + 0.7 * self.wobble)
    }

    /// Gauge pressure at the pump inlet, Pa.
    pub(crate) fn pump_inlet(&self) -> f64 {
        self.at_inlet * (1.0 + self.wobble)
    }

    /// Is air at the pump inlet in the way of filling the pump? 1 is none.
    pub(crate) fn solid(&self) -> f64 {
        (1.0 - self.void / 2e-6).clamp(0.0, 1.0) * (1.0 - self.air_inlet).powi(2)
    }

    fn uncovered(&self) -> f64 {
        (1.0 - self.level / 0.03).clamp(0.0, 1.0)
    }

    /// A tank run dry has drawn its lines full of air before anyone looked.
    pub(crate) fn settle_air(&mut self) {
        self.air_line = self.uncovered();
        self.air_inlet = self.air_line;
    }

    /// Flow through the lift pump, m³/s, and the suction it causes, Pa.
    fn lifted(&self, volts: f64, kelvin: f64, wax: f64) -> (f64, f64) {
        let still = -DENSITY * 9.81 * self.lift;
        let linear = hagen_poiseuille(1.0, viscosity(kelvin), DENSITY, 3.0, self.bore)
            + self.kink
            + 1.2e10 * wax;
        let screen = 4e12;
        let drop = self.before_filter - still;
        if volts < 3.0 || !self.turns {
            let flow = (-drop / (self.bypass_valve + linear)).max(0.0);
            return (flow, still - linear * flow);
        }
        let speed = volts / 13.0;
        let able = (1.0 - 0.85 * self.air_line) * (1.0 - 0.8 * self.gassing);
        let free = self.free_flow * speed * able;
        let slope = free / (self.head * speed * speed * able).max(1.0);
        let unhindered = free - slope * drop;
        if unhindered <= 0.0 {
            return (0.0, still);
        }
        // flow = unhindered − slope · (linear · flow + screen · flow²)
        let (a, b) = (slope * screen, 1.0 + slope * linear);
        let flow = 2.0 * unhindered / (b + (b * b + 4.0 * a * unhindered).sqrt());
        (flow, still - linear * flow - screen * flow * flow)
    }

    /// Moves pressures, air and void on by `dt` seconds.
    pub(crate) fn step(&mut self, draw: &Draw, random: &mut Random, dt: f64) {
        let wax = ((self.cloud_point - draw.kelvin) / 6.0).clamp(0.0, 1.0);
        let (flow, suction) = self.lifted(draw.lift_volts, draw.kelvin, wax);
        self.suction = suction.max(-95e3);
        self.mix_air(flow, dt);
        self.shake(flow, random, dt);

        let thick = viscosity(draw.kelvin) / 4.5e-6;
        let through =
            (self.before_filter - self.at_inlet) / (self.filter * thick * (1.0 + 150.0 * wax));
        let turning = (draw.omega / 15.0).min(1.0);
        let cooling = 1.67e-8 * self.at_inlet.max(0.0).sqrt() * turning;
        let over = (self.at_inlet - self.overflow_opens).max(0.0) / self.overflow;
        self.returned = cooling + over;

        let soft = COMPLIANCE * (1.0 + 20.0 * self.air_line);
        // A gap that lets air in while sucking lets the column fall back once the lift pump stops.
        let running = draw.lift_volts > 3.0 && self.turns;
        let back = if running {
            0.0
        } else {
            0.05 * self.gap * self.before_filter.max(0.0)
        };
        let arriving = flow * (1.0 - 0.5 * self.air_line);
        self.before_filter += (arriving - through - back) / soft * dt;
        self.before_filter = self.before_filter.max(-90e3);

        let seeping = self.seepage * self.at_inlet.max(0.0);
        let net = through - draw.injected - self.returned - seeping;
        if self.void > 0.0 {
            self.void -= (through.max(0.0) + 1.5e-6 * turning) * dt;
            self.at_inlet = 0.0;
        } else {
            self.void = 0.0;
            self.at_inlet += net / (COMPLIANCE * (1.0 + 20.0 * self.air_inlet)) * dt;
            self.at_inlet = self.at_inlet.max(-90e3);
        }
    }

    fn mix_air(&mut self, flow: f64, dt: f64) {
        let gassed = ((GASSING - self.suction) / 25e3).clamp(0.0, 1.0);
        self.gassing += (gassed - self.gassing) * (dt / 0.3).min(1.0);
        if flow < 2e-7 {
            return;
        }
        let leaked = self.gap * (-self.suction).max(0.0);
        let share = (leaked / (leaked + flow)).max(self.uncovered());
        self.air_line += (share - self.air_line) * (dt / 0.6).min(1.0);
        self.air_inlet += (self.air_line - self.air_inlet) * (dt / 2.5).min(1.0);
    }

    /// Strokes of the lift pump, and slugs of air passing.
    fn shake(&mut self, flow: f64, random: &mut Random, dt: f64) {
        let keep = (-dt / 0.15_f64).exp();
        self.slug = self.slug * keep + (1.0 - keep * keep).sqrt() * random.normal();
        self.stroke = (self.stroke + 17.0 * dt).fract();
        let moving = (flow / 1e-6).min(1.0);
        let slugs = 0.9 * self.air_inlet + 0.25 * self.gassing;
        let strokes = 0.012 * (self.stroke * std::f64::consts::TAU).sin();
        self.wobble = moving * (slugs * self.slug.clamp(-1.5, 1.5) + strokes);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LITRE_PER_HOUR: f64 = 1e-3 / 3600.0;

    fn check_loss(litres: f64, centistokes: f64, density: f64, bore_mm: f64, kilopascals: f64) {
        let loss = hagen_poiseuille(
            litres * LITRE_PER_HOUR,
            centistokes * 1e-6,
            density,
            3.0,
            bore_mm * 1e-3,
        );
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

    fn run(fuel: &mut Fuel, volts: f64, seconds: f64) {
        let mut random = Random::new(3, 3);
        let draw = Draw {
            lift_volts: volts,
            omega: 0.0,
            injected: 0.0,
            kelvin: 293.15,
        };
        for _ in 0..(seconds / 0.002) as usize {
            fuel.step(&draw, &mut random, 0.002);
        }
    }

    #[test]
    fn one_metre_of_lift() {
        // 8.14 kPa a metre at 830 kg/m³.
        let mut fuel = Fuel::draw(&mut Random::new(1, 1));
        fuel.lift = 1.0;
        run(&mut fuel, 0.0, 0.1);
        assert!((fuel.suction + 8.14e3).abs() < 5.0, "{} Pa", fuel.suction);
    }

    #[test]
    fn pressure_leaks_down_as_a_first_order_lag() {
        let mut fuel = Fuel::draw(&mut Random::new(1, 1));
        run(&mut fuel, 12.5, 5.0);
        run(&mut fuel, 0.0, 5.0);
        let start = fuel.pump_inlet();
        run(&mut fuel, 0.0, 60.0);
        // Both volumes empty through the seals: p = p0 exp(−t · seepage / (2 · compliance)).
        let closed_form = start * (-60.0 * fuel.seepage / (2.0 * COMPLIANCE)).exp();
        assert!(
            (fuel.pump_inlet() / closed_form - 1.0).abs() < 1e-3,
            "{} {closed_form}",
            fuel.pump_inlet()
        );
    }

    #[test]
    fn an_empty_tank_gives_no_pressure() {
        let mut fuel = Fuel::draw(&mut Random::new(1, 1));
        fuel.level = 0.0;
        fuel.settle_air();
        run(&mut fuel, 12.5, 10.0);
        assert_eq!(fuel.solid(), 0.0);
    }
}
