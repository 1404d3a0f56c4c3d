//! The distributor pump and its control unit.

use super::controller::{RUNS_ABOVE, START_FUEL, STARTED};
use super::governor::Governor;
use super::random::Random;

/// What the bypass drive commands the pump control unit to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum BypassCommand {
    /// No fuel.
    #[default]
    ShutOff,
    /// Hold low idle.
    LowIdle,
    /// Hold high idle, about 1800 rpm.
    HighIdle,
}

impl BypassCommand {
    /// Speed at high idle on the bypass drive, rad/s (about 1800 rpm).
    pub(crate) const HIGH_IDLE: f64 = 188.0;

    fn target(self, idle: f64) -> Option<f64> {
        match self {
            BypassCommand::ShutOff => None,
            BypassCommand::LowIdle => Some(idle),
            BypassCommand::HighIdle => Some(Self::HIGH_IDLE),
        }
    }
}

/// Injected at full fuel for each radian of the crankshaft, m³.
const FULL_FUEL: f64 = 4.4e-8;
/// Most fuel the bypass drive asks for once the engine runs: no more than an
/// unloaded engine needs.
const BYPASS_LIMIT: f64 = 0.35;
/// Speed above which the pump no longer fills, rad/s (about 3100 rpm).
const TOP_SPEED: f64 = 325.0;

/// Temperature above which a sound control unit drops out, kelvins (from memory).
const HOT_LIMIT: f64 = 273.15 + 122.0;
/// Neither battery nor alternator gives more, volts.
const MOST_VOLTS: f64 = 14.5;

/// The pump's condition and state.
#[derive(Clone, Debug)]
pub(crate) struct Pump {
    /// Least voltage at which the control unit's logic runs, volts: more than
    /// any battery gives when it is dead.
    pub logic_needs: f64,
    /// Least voltage at which its driver stage pulls the valve in (the click), volts.
    pub driver_needs: f64,
    /// What a live control unit draws as, ohms.
    pub load: f64,
    /// What a dead one draws as, ohms.
    pub dead_load: f64,
    /// Temperature above which the control unit drops out, kelvins.
    pub hot_limit: f64,
    /// Temperature of the control unit, kelvins.
    pub kelvin: f64,
    /// Share of full fuel at which the metering is stuck, if it is.
    pub stuck: Option<f64>,
    /// How much of full delivery the metering can give.
    pub opening: f64,
    /// How far the timing is stuck late, 0 to 1.
    pub late: f64,
    /// Wear of the rotor, 0 to 1: it leaks most when it turns slowly.
    pub wear: f64,
    /// Inlet pressure at which the pump fills by half, Pa.
    pub half_filled_at: f64,
    /// Idle the control unit holds on the bypass drive, rad/s.
    pub idle: f64,
    gallery: f64,
    governor: Governor,
    started: bool,
    tripped: bool,
    /// Share of full fuel delivered now.
    pub delivered: f64,
}

/// What the pump sees in one step.
pub(crate) struct Feed {
    /// Volts left for the control unit.
    pub volts: f64,
    /// Command over the data bus, share of full fuel.
    pub bus: Option<f64>,
    /// Command of the bypass drive while it is plugged on.
    pub bypass: Option<BypassCommand>,
    /// Crankshaft speed, rad/s.
    pub omega: f64,
    /// Inlet pressure, Pa.
    pub inlet: f64,
    /// Share of the inlet that is fuel and not air.
    pub solid: f64,
    /// Fuel temperature, kelvins.
    pub fuel_kelvin: f64,
    /// Fuel returned, which cools the control unit, m³/s.
    pub returned: f64,
}

impl Pump {
    /// A healthy pump, spread as parts are. How much inlet pressure a pump
    /// needs varies most: some start on what they can suck through a stopped
    /// lift pump, some do not (engineering judgement, from memory).
    pub(crate) fn draw(random: &mut Random, kelvin: f64) -> Self {
        Pump {
            logic_needs: RUNS_ABOVE,
            driver_needs: RUNS_ABOVE,
            load: 4.0 * random.about_one(0.06),
            dead_load: random.between(100.0, 900.0),
            hot_limit: HOT_LIMIT,
            kelvin,
            stuck: None,
            opening: 1.0,
            late: 0.0,
            wear: 0.0,
            half_filled_at: 13e3 + 14e3 * random.normal().clamp(-2.0, 2.0),
            idle: 84.0 * random.about_one(0.02),
            gallery: 0.0,
            governor: Governor::default(),
            started: false,
            tripped: false,
            delivered: 0.0,
        }
    }

    /// What the control unit draws as right now, ohms.
    pub(crate) fn load(&self) -> f64 {
        if self.logic_needs < MOST_VOLTS {
            self.load
        } else {
            self.dead_load
        }
    }

    /// Is there a click when the control unit gets `volts`?
    pub(crate) fn clicks(&self, volts: f64) -> bool {
        volts > self.driver_needs
    }

    /// Injected now, m³/s.
    pub(crate) fn injected(&self, omega: f64) -> f64 {
        FULL_FUEL * omega * self.delivered
    }

    /// Drag on the crankshaft beyond a healthy pump's, N m.
    pub(crate) fn drag(&self) -> f64 {
        35.0 * self.wear
    }

    fn command(&mut self, feed: &Feed, dt: f64) -> f64 {
        let Some(bypass) = feed.bypass else {
            self.started = false;
            return feed.bus.unwrap_or(0.0);
        };
        let Some(target) = bypass.target(self.idle) else {
            self.started = false;
            return 0.0;
        };
        self.started = feed.omega > STARTED || (self.started && feed.omega > 30.0);
        if self.started {
            self.governor.step(target, feed.omega, BYPASS_LIMIT, dt)
        } else {
            self.governor.reset();
            if feed.omega > 3.0 { START_FUEL } else { 0.0 }
        }
    }

    /// Runs on for `seconds` as it does: only its temperature moves.
    pub(crate) fn keep_warm(&mut self, omega: f64, fuel_kelvin: f64, returned: f64, seconds: f64) {
        let running = self.delivered > 0.0 && omega > 40.0;
        self.warm(fuel_kelvin, returned, running, seconds);
    }

    fn warm(&mut self, fuel_kelvin: f64, returned: f64, running: bool, dt: f64) {
        let flow = (returned / 20e-6).min(1.5);
        let rise = if running {
            35.0 / (0.4 + 0.6 * flow)
        } else {
            0.0
        };
        let settles_at = fuel_kelvin + rise;
        self.kelvin += (settles_at - self.kelvin) * (dt / 300.0).min(1.0);
        self.tripped =
            self.kelvin > self.hot_limit || (self.tripped && self.kelvin > self.hot_limit - 8.0);
    }

    /// The pump's gallery fills by inlet pressure: fast when there is plenty, slowly when there is little.
    fn fill(&mut self, feed: &Feed, dt: f64) {
        let share = 1.0 / (1.0 + ((self.half_filled_at - feed.inlet) / 12e3).exp());
        let full = share * feed.solid;
        // Between strokes there is little time: at low pressure filling takes many of them, not a few more.
        let lag = 0.25 / full.max(0.2).powi(3);
        self.gallery += (full - self.gallery) * (dt / lag).min(1.0);
    }

    /// Moves the pump on by `dt` seconds.
    pub(crate) fn step(&mut self, feed: &Feed, dt: f64) {
        let running = !self.tripped && feed.volts > self.logic_needs;
        let command = self.command(feed, dt);
        let hot = running && feed.omega > 40.0;
        self.warm(feed.fuel_kelvin, feed.returned, hot, dt);
        self.fill(feed, dt);
        let wanted = if running {
            command.min(self.opening)
        } else {
            0.0
        };
        // Metering stuck open meters nothing: no command and no loss of power closes it.
        let metered = self.stuck.map_or(wanted, |stuck| wanted.max(stuck));
        // What a worn rotor leaks goes with time, what it delivers with strokes: at idle it is made up for.
        let leak = self.wear * (26.0 / feed.omega.max(1.0)).min(1.0);
        // The last guard is in the pump itself, so that even one stuck open races to a speed and not beyond.
        let top = ((TOP_SPEED - feed.omega) / (0.1 * TOP_SPEED)).clamp(0.0, 1.0);
        self.delivered = if feed.omega > 3.0 {
            metered * self.gallery * (1.0 - leak) * top
        } else {
            0.0
        };
    }
}
