//! Everything one machine is made of.

use super::battery::Electrics;
use super::controller::Controller;
use super::damage;
use super::engine::Engine;
use super::fault::Fault;
use super::fuel::Fuel;
use super::heater::Heater;
use super::pump::Pump;
use super::random::Random;
use super::wiring::Wiring;

/// One machine's parts, as they are on this day.
#[derive(Clone, Debug)]
pub(crate) struct Parts {
    /// Ambient temperature, kelvins.
    pub ambient: f64,
    /// Battery, cables, starter, alternator.
    pub electrics: Electrics,
    /// Fuel supply.
    pub fuel: Fuel,
    /// Harness and data bus.
    pub wiring: Wiring,
    /// Engine controller.
    pub controller: Controller,
    /// Distributor pump with its control unit.
    pub pump: Pump,
    /// Engine.
    pub engine: Engine,
    /// The grid in its intake.
    pub heater: Heater,
}

impl Parts {
    /// Draws the machine of this seed and puts the faults into it. The same
    /// seed is the same machine whatever is wrong with it.
    pub(crate) fn draw(seed: u64, faults: &[Fault]) -> Self {
        let mut random = Random::new(seed, 1);
        let mild = 273.15 + (9.0 + 5.0 * random.normal()).clamp(0.0, 24.0);
        let mut faults = faults.to_vec();
        // What comes of several faults does not depend on who names which first.
        faults.sort_by_key(|fault| fault.kind as usize);
        // Each kind has a stream of its own, so that faults do not shift one another.
        let place = |fault: &Fault| Random::new(seed, 100 + fault.kind as u64);
        let frost = faults
            .iter()
            .find_map(|fault| damage::frost(*fault, &mut place(fault)));
        let ambient = frost.unwrap_or(mild);
        let mut parts = Parts {
            ambient,
            electrics: Electrics::draw(&mut random),
            fuel: Fuel::draw(&mut random),
            wiring: Wiring::draw(&mut random, ambient),
            controller: Controller::draw(&mut random),
            pump: Pump::draw(&mut random, ambient),
            engine: Engine::draw(&mut random, ambient),
            heater: Heater::default(),
        };
        for fault in &faults {
            damage::apply(*fault, &mut parts, &mut place(fault));
        }
        parts.electrics.volts = super::battery::open_circuit(parts.electrics.charge, parts.ambient);
        parts.fuel.settle_air();
        parts
    }
}
