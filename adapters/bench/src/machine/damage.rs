//! What each fault does to the parts. This is the only place that knows
//! faults: everything else sees resistances, pressures and switches.
//!
//! Strengths are engineering judgement, from memory, chosen on the physics
//! alone; no number here comes from a rule set.

use super::controller::Accelerator;
use super::fault::{Fault, FaultKind};
use super::parts::Parts;
use super::random::Random;
use super::wiring::{OPEN, Run};

/// Resistance of a connection that is bad by `degree`: open at the worst.
fn bad_contact(degree: f64) -> f64 {
    if degree > 0.99 {
        OPEN
    } else {
        40.0 * degree.powi(3)
    }
}

/// Puts a fault into the parts; `random` picks where it sits.
pub(crate) fn apply(fault: Fault, parts: &mut Parts, random: &mut Random) {
    use FaultKind as K;
    match fault.kind {
        K::TankEmpty
        | K::SuctionRestricted
        | K::SuctionAirLeak
        | K::LiftPumpDead
        | K::LiftPumpWeak
        | K::FilterPlugged
        | K::FuelWaxed
        | K::OverflowValveOpen => supply(fault, parts, random),
        K::BatteryWeak | K::CableResistance | K::StarterSlow => cranking(fault, parts, random),
        K::ControllerNoFeed
        | K::ControllerGroundBad
        | K::ControllerDead
        | K::ControllerCommandsFull
        | K::AcceleratorSensorBad
        | K::LiftPumpNotSwitched
        | K::SpeedSensorDead => controller(fault, parts, random),
        K::PumpRelayOrFuse
        | K::HarnessOpen
        | K::HarnessShort
        | K::ConnectorPinsBad
        | K::DataBusFault => {
            wiring(fault, parts, random);
        }
        K::PumpControlUnitDead
        | K::PumpControlUnitHot
        | K::MeteringStuckShut
        | K::MeteringStuckOpen
        | K::TimingStuck
        | K::PumpRotorWorn => pump(fault, parts, random),
        K::LowCompression => parts.engine.compression *= 1.0 - 0.5 * fault.degree,
        K::InjectorsBad => parts.engine.injectors = fault.degree,
        K::AirIntakeBlocked => parts.engine.intake = fault.degree,
    }
}

fn supply(fault: Fault, parts: &mut Parts, random: &mut Random) {
    let (d, fuel) = (fault.degree, &mut parts.fuel);
    match fault.kind {
        FaultKind::TankEmpty => fuel.level *= 1.0 - d,
        FaultKind::SuctionRestricted => fuel.kink = 2.2e10 * d.powi(3),
        FaultKind::SuctionAirLeak => {
            fuel.gap = 1.6e-9 * d * random.between(0.6, 1.4);
            fuel.void *= 1.0 + 4.0 * d;
        }
        FaultKind::LiftPumpDead => fuel.lift_pump.turns = d < 0.5,
        FaultKind::LiftPumpWeak => {
            // It delivers nothing at worst, never less.
            let left = (1.0 - d * random.between(0.94, 1.02)).max(0.0);
            fuel.lift_pump.free_flow *= left;
            fuel.lift_pump.head *= left;
        }
        FaultKind::FilterPlugged => fuel.filter *= 130_f64.powf(d) * random.between(0.8, 1.3),
        FaultKind::FuelWaxed => {
            parts.ambient = 273.15 - 9.0 + 2.0 * random.normal().clamp(-2.0, 2.0);
            fuel.cloud_point = parts.ambient + 6.0 * d;
        }
        FaultKind::OverflowValveOpen => {
            fuel.overflow_opens *= 1.0 - d;
            fuel.seepage += 4e-11 * d;
        }
        _ => {}
    }
}

fn cranking(fault: Fault, parts: &mut Parts, random: &mut Random) {
    let (d, set) = (fault.degree, &mut parts.electrics);
    match fault.kind {
        FaultKind::BatteryWeak => {
            // Flat, worn, or both.
            let flat = random.between(0.5, 0.95);
            set.charge *= 1.0 - d * flat;
            set.resistance *= 1.0 + 1.9 * d * (1.7 - flat);
        }
        FaultKind::CableResistance => {
            let ohms = 4.5e-3 * d;
            let where_ = random.uniform();
            if where_ < 0.7 {
                set.positive_cable += ohms;
            }
            if where_ > 0.35 {
                set.ground_cable += ohms;
            }
        }
        FaultKind::StarterSlow => set.armature *= 1.0 + 1.15 * d,
        _ => {}
    }
}

fn controller(fault: Fault, parts: &mut Parts, random: &mut Random) {
    let (d, unit) = (fault.degree, &mut parts.controller);
    match fault.kind {
        FaultKind::ControllerNoFeed => parts.wiring.controller_feed += bad_contact(d),
        FaultKind::ControllerGroundBad => {
            parts.wiring.controller_ground += 6.0 * d;
            if random.chance(0.4) {
                // They share a ground stud.
                parts.wiring.add(Run::PumpGround, 0.3 * d);
            }
        }
        FaultKind::ControllerDead => unit.alive = d < 0.5,
        FaultKind::ControllerCommandsFull => unit.commands_full = d >= 0.5,
        FaultKind::AcceleratorSensorBad => {
            unit.accelerator = if random.chance(0.8) {
                Accelerator::Raised(3.0 * d)
            } else {
                Accelerator::DropsOut(0.6 * d)
            };
        }
        FaultKind::LiftPumpNotSwitched => unit.switches_lift_pump = d < 0.5,
        FaultKind::SpeedSensorDead => unit.speed_sensor = d < 0.5,
        _ => {}
    }
}

/// One of the runs whose loss stops the pump control unit.
fn any_run(random: &mut Random) -> Run {
    let runs = [Run::PumpFeed, Run::PumpGround, Run::BusHigh, Run::BusLow];
    runs[(random.uniform() * 4.0) as usize % 4]
}

fn wiring(fault: Fault, parts: &mut Parts, random: &mut Random) {
    let (d, harness) = (fault.degree, &mut parts.wiring);
    match fault.kind {
        FaultKind::PumpRelayOrFuse => harness.pump_relay += bad_contact(d),
        FaultKind::HarnessOpen => harness.add(any_run(random), bad_contact(d)),
        FaultKind::HarnessShort => {
            harness.isolation = 1e7_f64.powf(1.0 - d) * random.between(5.0, 800.0);
            let on_bus = random.chance(0.65);
            if d < 0.5 {
                // Chafed, not yet through.
            } else if on_bus {
                harness.bus_held = true;
            } else {
                // The chafed wire is the controller's feed: its fuse has blown.
                harness.controller_feed += bad_contact(1.0);
            }
        }
        FaultKind::ConnectorPinsBad => {
            harness.pins_look_bad = d > 0.1;
            let run = any_run(random);
            harness.add(run, 30.0 * d * random.uniform().powi(2));
            harness.loosen(run, 0.12 * d);
        }
        FaultKind::DataBusFault if d < 0.5 => {}
        FaultKind::DataBusFault => match random.uniform() {
            share if share < 0.45 => harness.terminators[0] = OPEN,
            share if share < 0.8 => harness.bus_bridge = 3.0 + 60.0 * (1.0 - d),
            _ => harness.bus_held = true,
        },
        _ => {}
    }
}

fn pump(fault: Fault, parts: &mut Parts, random: &mut Random) {
    let (d, pump) = (fault.degree, &mut parts.pump);
    match fault.kind {
        FaultKind::PumpControlUnitDead => {
            pump.logic = d < 0.5;
            // Sometimes the driver stage outlives the logic and still clicks.
            pump.driver = d < 0.5 || random.chance(0.2);
        }
        FaultKind::PumpControlUnitHot => {
            pump.hot_limit = parts.ambient + 34.0 - 12.0 * d + 4.0 * random.uniform();
        }
        FaultKind::MeteringStuckShut => pump.opening = 1.0 - d,
        FaultKind::MeteringStuckOpen => pump.stuck = Some(d),
        FaultKind::TimingStuck => pump.late = d,
        FaultKind::PumpRotorWorn => pump.wear = d,
        _ => {}
    }
}
