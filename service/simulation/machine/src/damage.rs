//! What each fault does to the parts. This is the only place that knows
//! faults: everything else sees resistances, pressures and switches.
//!
//! Strengths are engineering judgement, from memory, chosen on the physics
//! alone; no number here comes from a rule set. Of where a fault sits nobody
//! has published shares: every place it can sit in is taken to be equally likely.

use super::controller::Accelerator;
use super::fault::{Fault, FaultKind};
use super::fuel::UNCOVERS;
use super::parts::Parts;
use super::random::Random;
use super::wiring::{CableRun, OPEN};

/// A dead unit needs so many volts more than a sound one: from 0.6 on more
/// than battery and alternator give, below that more than a cranking battery does.
const DEAD_NEEDS: f64 = 16.0;

/// Resistance of a connection that is bad by `degree`: open at the worst.
fn bad_contact(degree: f64) -> f64 {
    if degree > 0.99 {
        OPEN
    } else {
        40.0 * degree.powi(3)
    }
}

/// One of the places a fault can sit in.
fn one_of<T: Copy, const N: usize>(places: [T; N], random: &mut Random) -> T {
    places[(random.uniform() * N as f64) as usize % N]
}

/// Waxed fuel takes a frost: the temperature of the day, kelvins.
pub(crate) fn frost(fault: Fault, random: &mut Random) -> Option<f64> {
    let cold = 273.15 - 9.0 + 2.0 * random.normal().clamp(-2.0, 2.0);
    (fault.kind == FaultKind::FuelWaxed && fault.degree > 0.0).then_some(cold)
}

/// Puts a fault into the parts; `random` picks where it sits. At degree nought
/// everything stays as good as new.
pub(crate) fn apply(fault: Fault, parts: &mut Parts, random: &mut Random) {
    use FaultKind as K;
    if fault.degree <= 0.0 {
        return;
    }
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
        // How far the pickup draws air.
        FaultKind::TankEmpty => fuel.level = fuel.level.min(UNCOVERS * (1.0 - d)),
        FaultKind::SuctionRestricted => fuel.kink = 2.2e10 * d.powi(3),
        FaultKind::SuctionAirLeak => {
            fuel.gap = 1.6e-9 * d * random.between(0.6, 1.4);
            fuel.void *= 1.0 + 4.0 * d;
        }
        FaultKind::LiftPumpDead => fuel.lift_pump.brushes = bad_contact(d),
        FaultKind::LiftPumpWeak => {
            // It delivers nothing at worst, never less.
            let left = (1.0 - d * random.between(0.94, 1.02)).max(0.0);
            fuel.lift_pump.free_flow *= left;
            fuel.lift_pump.head *= left;
        }
        FaultKind::FilterPlugged => fuel.filter *= (130.0 * random.between(0.8, 1.3)).powf(d),
        FaultKind::FuelWaxed => fuel.cloud_point = parts.ambient + 6.0 * d,
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
            let (positive, ground) = one_of([(1.0, 0.0), (0.0, 1.0), (1.0, 1.0)], random);
            set.positive_cable += positive * ohms;
            set.ground_cable += ground * ohms;
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
            let own = one_of([true, false], random);
            let ground = if own {
                &mut parts.wiring.controller_ground
            } else {
                &mut parts.wiring.shared_ground
            };
            *ground += 6.0 * d;
        }
        FaultKind::ControllerDead => unit.needs += DEAD_NEEDS * d,
        FaultKind::ControllerCommandsFull => unit.least = d,
        FaultKind::AcceleratorSensorBad => {
            // A leak to its supply, or a worn track.
            unit.accelerator = one_of(
                [Accelerator::Raised(3.0 * d), Accelerator::DropsOut(0.6 * d)],
                random,
            );
        }
        FaultKind::LiftPumpNotSwitched => unit.lift_pump_contact = bad_contact(d),
        // The signal falls steeply with the gap before the sensor.
        FaultKind::SpeedSensorDead => unit.hears_above /= (1.0 - d).powi(3),
        _ => {}
    }
}

/// Every run between the plugs, for a fault in any of them.
const ANY_RUN: [CableRun; 5] = [
    CableRun::PumpFeed,
    CableRun::PumpGround,
    CableRun::BusHigh,
    CableRun::BusLow,
    CableRun::Sensor,
];

fn wiring(fault: Fault, parts: &mut Parts, random: &mut Random) {
    let (d, harness) = (fault.degree, &mut parts.wiring);
    match fault.kind {
        FaultKind::PumpRelayOrFuse => harness.pump_relay += bad_contact(d),
        FaultKind::HarnessOpen => harness.add(one_of(ANY_RUN, random), bad_contact(d)),
        FaultKind::HarnessShort => {
            let leak = 1e7_f64.powf(1.0 - d) * random.between(5.0, 800.0);
            harness.isolation = 1.0 / (1.0 / harness.isolation + 1.0 / leak);
            // Below this it has chafed and is not yet through.
            if d >= 0.5 {
                touch_ground(one_of(CHAFED, random), parts);
            }
        }
        FaultKind::ConnectorPinsBad => {
            harness.pins_look_bad = d > 0.1;
            let run = one_of(ANY_RUN, random);
            harness.add(run, 30.0 * d * random.uniform().powi(2));
            harness.loosen(run, 0.12 * d);
        }
        FaultKind::DataBusFault => {
            use BusFault as B;
            match one_of([B::NearEnd, B::FarEnd, B::Bridge, B::High, B::Low], random) {
                B::NearEnd => harness.terminators[0] *= lost(d),
                B::FarEnd => harness.terminators[1] *= lost(d),
                B::Bridge => harness.bus_bridge = 3.0 * 3e3_f64.powf(1.0 - d),
                B::High | B::Low => {
                    let leak = 3.0 * 1e4_f64.powf(1.0 - d);
                    harness.bus_leak = harness.bus_leak.min(leak);
                }
            }
        }
        _ => {}
    }
}

/// Where a data bus fails: either terminator, a bridge between its wires, or
/// one of them held to supply or ground.
#[derive(Clone, Copy)]
enum BusFault {
    NearEnd,
    FarEnd,
    Bridge,
    High,
    Low,
}

/// By how much a terminator grows that is lost by `degree`.
fn lost(degree: f64) -> f64 {
    if degree > 0.99 {
        OPEN
    } else {
        1e3_f64.powf(degree)
    }
}

/// Wires that do harm when they touch ground.
#[derive(Clone, Copy)]
enum Chafed {
    ControllerFeed,
    PumpFeed,
    BusWire,
    Sensor,
}

/// Every such wire; the bus has two.
const CHAFED: [Chafed; 5] = [
    Chafed::ControllerFeed,
    Chafed::PumpFeed,
    Chafed::BusWire,
    Chafed::BusWire,
    Chafed::Sensor,
];

fn touch_ground(wire: Chafed, parts: &mut Parts) {
    let harness = &mut parts.wiring;
    match wire {
        // Their fuses blow.
        Chafed::ControllerFeed => harness.controller_feed += OPEN,
        Chafed::PumpFeed => harness.pump_relay += OPEN,
        Chafed::BusWire => harness.bus_leak = 0.0,
        Chafed::Sensor => harness.sensor_held = true,
    }
}

fn pump(fault: Fault, parts: &mut Parts, random: &mut Random) {
    let (d, pump) = (fault.degree, &mut parts.pump);
    match fault.kind {
        FaultKind::PumpControlUnitDead => {
            pump.logic_needs += DEAD_NEEDS * d;
            // Where its supply or its driver has died nothing clicks; where its logic has, the driver still does.
            if one_of([true, true, false], random) {
                pump.driver_needs += DEAD_NEEDS * d;
            }
        }
        FaultKind::PumpControlUnitHot => {
            // It comes in on a day that is hot enough for it.
            let worst = parts.ambient + 34.0 - 12.0 * d + 4.0 * random.uniform();
            let weakened = 1.0 - (1.0 - d).powi(3);
            pump.hot_limit += (worst - pump.hot_limit) * weakened;
        }
        FaultKind::MeteringStuckShut => pump.opening = 1.0 - d,
        FaultKind::MeteringStuckOpen => pump.stuck = Some(d),
        FaultKind::TimingStuck => pump.late = d,
        FaultKind::PumpRotorWorn => pump.wear = d,
        _ => {}
    }
}
