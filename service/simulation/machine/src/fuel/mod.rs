//! The fuel supply: tank, suction line, lift pump, filter, the volume before
//! the pump inlet and the overflow valve.
//!
//! Two volumes are stored, one on either side of the filter; pressures follow
//! from them. Both are moved on together, implicitly, so that a stiff filter
//! asks for no short step. Every volume that moves is booked: see [`Fuel::held`].

mod air;
mod fluid;
mod lift_pump;
mod pipe;

pub use pipe::Pipe;

use self::fluid::{DENSITY, viscosity, wax};
use self::lift_pump::{Around, LiftPump};
use super::random::Random;
use air::Air;

/// Free volume that takes up a pascal of pressure, m³/Pa, on each side of the filter.
const COMPLIANCE: f64 = 1.0e-10;
/// Each share of air makes a volume so much softer (from memory).
const AIR_SOFTENS: f64 = 20.0;
/// Length of the suction line, m.
const LINE: f64 = 3.0;
/// Extra resistance of a suction line full of wax, Pa s/m³ (from memory).
const WAXED_LINE: f64 = 1.2e10;
/// A fully waxed filter resists so many times as much more (from memory).
const WAXED_FILTER: f64 = 150.0;
/// The viscosity at which a filter's resistance is given, m²/s.
const FILTER_RATED: f64 = 4.5e-6;
/// What the turning pump sucks with while its inlet is empty, Pa (from memory).
const VANES: f64 = -10e3;
/// No liquid stands below this, Pa gauge.
const CAVITY: f64 = -90e3;
/// By this share air shrinks when the lift pump presses it (from memory).
const SHRINKS: f64 = 0.5;
/// Below this share of a tank its pickup begins to draw air (from memory).
pub(crate) const UNCOVERS: f64 = 0.03;
/// What the tank holds, m³ (common practice, no source).
const TANK: f64 = 0.2;

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
    /// The lift pump.
    pub lift_pump: LiftPump,
    /// Resistance of the filter at 4.5 mm²/s, Pa s/m³.
    pub filter: f64,
    /// Where the overflow valve opens, Pa.
    pub overflow_opens: f64,
    /// Resistance of the overflow valve above its opening, Pa s/m³.
    pub overflow: f64,
    /// Conductance of all seals together, m³/(s Pa).
    pub seepage: f64,
    /// Air left before the pump inlet by a night's standing, m³.
    pub void: f64,
    /// Air on its way.
    pub air: Air,
    /// Gauge pressure at the lift pump's inlet, Pa.
    pub suction: f64,
    /// Volume pressed into the lines before and behind the filter, m³.
    stored: [f64; 2],
    lifted: f64,
    thick: Thick,
    /// Back through overflow valve and cooling passages, m³/s.
    pub returned: f64,
    /// Volumes that left and entered since the machine was made.
    pub booked: Booked,
}

/// Viscosity and wax at one temperature, kept: the temperature seldom changes.
#[derive(Clone, Copy, Debug, Default)]
struct Thick {
    kelvin: f64,
    cloud_point: f64,
    viscosity: f64,
    wax: f64,
}

/// Volumes since the machine was made, m³.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Booked {
    /// Injected into the cylinders.
    pub injected: f64,
    /// Lost through seals.
    pub seeped: f64,
    /// Drawn as air through an uncovered pickup or a gap, as much as it is before the lift pump.
    pub breathed: f64,
    /// By so much air has shrunk in the lift pump.
    pub shrunk: f64,
    /// Returned as air, which leaves the tank by its vent.
    pub vented: f64,
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
            lift_pump: LiftPump::draw(random),
            filter: 3.6e8 * random.about_one(0.2),
            overflow_opens: 85e3 * random.about_one(0.04),
            overflow: 1.2e9 * random.about_one(0.08),
            seepage: 3.3e-13 * random.about_one(0.2),
            void: random.between(3e-6, 8e-6),
            air: Air::default(),
            suction: 0.0,
            stored: [0.0; 2],
            lifted: 0.0,
            thick: Thick::default(),
            returned: 0.0,
            booked: Booked::default(),
        }
    }

    /// Gauge pressure before the filter, Pa.
    pub(crate) fn filter_inlet(&self) -> f64 {
        self.before_filter() * (1.0 + 0.7 * self.air.wobble)
    }

    /// Gauge pressure at the pump inlet, Pa.
    pub(crate) fn pump_inlet(&self) -> f64 {
        self.at_inlet() * (1.0 + self.air.wobble)
    }

    fn before_filter(&self) -> f64 {
        self.stored[0] / self.softness().0
    }

    fn at_inlet(&self) -> f64 {
        self.stored[1] / self.softness().1
    }

    fn softness(&self) -> (f64, f64) {
        let soft = |air: f64| COMPLIANCE * (1.0 + AIR_SOFTENS * air);
        (soft(self.air.line), soft(self.air.inlet))
    }

    /// Is air at the pump inlet in the way of filling the pump? 1 is none.
    pub(crate) fn solid(&self) -> f64 {
        (1.0 - self.void / 2e-6).clamp(0.0, 1.0) * (1.0 - self.air.inlet).powi(2)
    }

    fn uncovered(&self) -> f64 {
        (1.0 - self.level / UNCOVERS).clamp(0.0, 1.0)
    }

    /// A tank run dry has drawn its lines full of air before anyone looked.
    pub(crate) fn settle_air(&mut self) {
        self.air.fill(self.uncovered());
    }

    /// Everything held, m³: tank, lines, less what is still empty. It changes
    /// only by what is [`Booked`].
    #[cfg(test)]
    pub(crate) fn held(&self) -> f64 {
        self.level * TANK + self.stored[0] + self.stored[1] - self.void
    }

    fn thickness(&mut self, kelvin: f64) -> Thick {
        if self.thick.kelvin != kelvin || self.thick.cloud_point != self.cloud_point {
            self.thick = Thick {
                kelvin,
                cloud_point: self.cloud_point,
                viscosity: viscosity(kelvin),
                wax: wax(kelvin, self.cloud_point),
            };
        }
        self.thick
    }

    /// Flow through the lift pump, m³/s; the suction it causes is kept.
    fn lift(&mut self, volts: f64, thick: Thick) -> f64 {
        let line = Pipe {
            viscosity: thick.viscosity,
            density: DENSITY,
            length: LINE,
            bore: self.bore,
        };
        let around = Around {
            volts,
            behind: self.before_filter(),
            still: -fluid::column(self.lift),
            line: line.resistance(self.lifted) + self.kink + WAXED_LINE * thick.wax,
            able: self.air.able(),
        };
        let (flow, suction) = self.lift_pump.flow(&around);
        self.suction = suction.max(-95e3);
        self.lifted = flow;
        flow
    }

    /// Moves volumes, air and void on by `dt` seconds.
    pub(crate) fn step(&mut self, draw: &Draw, random: &mut Random, dt: f64) {
        let thick = self.thickness(draw.kelvin);
        let flow = self.lift(draw.lift_volts, thick);
        let air = self
            .air
            .mix(flow, self.suction, self.gap, self.uncovered(), dt);
        self.air.shake(flow, random, dt);

        // A gap that lets air in while sucking lets the column fall back once the lift pump stops.
        let running = self.lift_pump.running(draw.lift_volts);
        let back = if running {
            0.0
        } else {
            0.05 * self.gap * self.before_filter().max(0.0)
        };
        let arriving = flow * (1.0 - SHRINKS * self.air.line);
        let turning = (draw.omega / 15.0).min(1.0);
        // Flow through a filter's pores is laminar, so its resistance goes with the viscosity.
        let filter =
            self.filter * thick.viscosity / FILTER_RATED * (1.0 + WAXED_FILTER * thick.wax);
        if self.void > 0.0 {
            self.fill(arriving - back, filter, VANES * turning, draw.injected, dt);
        } else {
            let cooling = 1.67e-8 * self.at_inlet().max(0.0).sqrt() * turning;
            self.press(arriving - back, filter, cooling, draw.injected, dt);
        }
        self.booked.injected += draw.injected * dt;
        // Air comes back as air, not as fuel.
        let air_back = SHRINKS * self.air.inlet / (1.0 - SHRINKS * self.air.inlet);
        let vented = self.returned * air_back;
        let drawn = flow * (1.0 - air);
        self.booked.breathed += flow * air * dt;
        self.booked.shrunk += flow * SHRINKS * self.air.line * dt;
        self.booked.vented += vented * dt;
        self.level -= (drawn - back - (self.returned - vented)) * dt / TANK;
    }

    /// Steady running for `seconds`: what is injected and what seeps away comes
    /// out of the tank, and the rest goes round.
    pub(crate) fn use_up(&mut self, injected: f64, seconds: f64) {
        let seeping = self.seepage * self.at_inlet().max(0.0);
        self.booked.injected += injected * seconds;
        self.booked.seeped += seeping * seconds;
        self.level -= (injected + seeping) * seconds / TANK;
    }

    /// The inlet is empty: what comes through the filter fills the void.
    fn fill(&mut self, net: f64, filter: f64, sucked: f64, injected: f64, dt: f64) {
        let (soft, _) = self.softness();
        let a = dt / soft;
        // Implicit in the pressure before the filter: with a fresh filter that volume empties faster than a step.
        let before = (self.before_filter() + a * (net + sucked / filter)) / (1.0 + a / filter);
        let through = ((before - sucked) / filter).max(0.0);
        self.stored[0] += (net - through) * dt;
        self.returned = 0.0;
        self.void -= (through - injected) * dt;
        if self.void <= 0.0 {
            self.stored[1] = -self.void;
            self.void = 0.0;
        }
    }

    /// Both volumes under pressure, moved on together.
    fn press(&mut self, net: f64, filter: f64, cooling: f64, injected: f64, dt: f64) {
        let (soft_1, soft_2) = self.softness();
        let (p1, p2) = (self.before_filter(), self.at_inlet());
        // Two linear equations for the pressures at the end of the step, solved in closed form: the filter
        // joins the volumes so stiffly that explicit steps of this length would swing apart.
        let (a, b, y) = (dt / soft_1, dt / soft_2, 1.0 / filter);
        // Whether valve and seals pass is decided by the pressure at the beginning, so that the equations
        // stay linear; a step later is soon enough for either.
        let open = if p2 > self.overflow_opens {
            1.0 / self.overflow
        } else {
            0.0
        };
        let leaks = open + if p2 > 0.0 { self.seepage } else { 0.0 };
        let r1 = p1 + a * net;
        let r2 = p2 + b * (open * self.overflow_opens - injected - cooling);
        let (m1, m2) = (1.0 + a * y, 1.0 + b * (y + leaks));
        let inlet = (r2 * m1 + b * y * r1) / (m1 * m2 - a * b * y * y);
        let before = (r1 + a * y * inlet) / m1;
        // No more can be drawn out of the first volume than leaves a cavity there.
        // Fuel does not hold tension: below this it parts, and the filter gets what is left.
        let most = (p1 - CAVITY) / a + net;
        let through = ((before - inlet) * y).min(most);
        let over = open * (inlet - self.overflow_opens);
        let seeping = (leaks - open) * inlet;
        self.returned = cooling + over;
        self.stored[0] += (net - through) * dt;
        self.stored[1] += (through - injected - cooling - over - seeping) * dt;
        self.booked.seeped += seeping * dt;
        if self.at_inlet() < CAVITY {
            // What is missing is kept as a void, not as a negative pressure: it has to be filled before the
            // pump sees pressure again, which is why an emptied pump starts late.
            self.void = -self.stored[1];
            self.stored[1] = 0.0;
        }
    }
}

#[cfg(test)]
mod tests;
