//! Every fault is a matter of degree, and several are the same machine in any order.
#![allow(clippy::unwrap_used, clippy::expect_used)]
use super::*;

const DEGREES: [f64; 7] = [0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0];

fn mean(mut machine: Machine, point: &str, seconds: f64) -> f64 {
    over(&mut machine, point, seconds).1
}

fn key_on(seed: u64, faults: &str) -> Machine {
    let mut m = machine(seed, faults);
    m.with(|c| c.key = Key::On);
    m.advance(3.0);
    m
}

/// Cranked on the bypass drive with the air shut, fuel shut off or not.
fn delivered(seed: u64, faults: &str, bypass: BypassCommand) -> f64 {
    let mut m = key_on(seed, faults);
    m.with(|c| {
        (c.drive, c.bypass, c.key) = (Drive::Bypass, bypass, Key::Crank);
        c.air_open = false;
    });
    m.advance(6.0);
    m.parts.pump.delivered
}

/// Speed after ten seconds of work, rad/s; nothing if it does not run.
fn pulls(seed: u64, faults: &str) -> f64 {
    let mut m = machine(seed, faults);
    m.try_start_twice(Drive::Harness, 10.0);
    m.with(|c| c.accelerator = 1.0);
    m.advance(5.0);
    m.with(|c| c.load = 0.9);
    m.advance(10.0);
    at(&m, "engine-speed")
}

/// What grows as this fault gets worse: what an instrument shows or, where
/// nothing shows until a unit gives up, how much it takes for that.
fn effect(kind: FaultKind, seed: u64, faults: &str) -> f64 {
    use FaultKind as K;
    let cranked = |point| mean(cranking(seed, faults), point, 2.0);
    let fed = |point| mean(key_on(seed, faults), point, 1.0);
    let still = machine(seed, faults);
    match kind {
        K::TankEmpty | K::LiftPumpDead | K::LiftPumpWeak | K::FuelWaxed | K::OverflowValveOpen => {
            -cranked("pump-inlet-pressure")
        }
        K::SuctionRestricted => -cranked("tank-suction"),
        K::SuctionAirLeak => cranking(seed, faults).parts.fuel.air.line,
        K::FilterPlugged => cranked("filter-inlet-pressure") - cranked("pump-inlet-pressure"),
        K::BatteryWeak => -cranked("battery"),
        K::CableResistance => cranked("positive-cable-drop") + cranked("ground-cable-drop"),
        K::StarterSlow => -cranked("engine-speed"),
        K::ControllerNoFeed => fed("controller-feed-drop"),
        K::ControllerGroundBad => fed("controller-ground-drop"),
        K::ControllerDead => still.parts.controller.needs,
        K::ControllerCommandsFull => still.parts.controller.least,
        K::AcceleratorSensorBad => {
            let rest = at(&key_on(seed, ""), "accelerator-signal");
            (mean(key_on(seed, faults), "accelerator-signal", 60.0) - rest).abs()
        }
        K::LiftPumpNotSwitched => fed("lift-pump-feed-drop"),
        K::SpeedSensorDead => still.parts.controller.hears_above.min(400.0),
        K::PumpRelayOrFuse => fed("pump-feed-drop"),
        K::HarnessOpen | K::ConnectorPinsBad => still.parts.wiring.continuity().min(1e3),
        K::HarnessShort => -at(&still, "harness-isolation").log10(),
        K::DataBusFault => {
            let wiring = &still.parts.wiring;
            (wiring.termination() - 60.0).abs() + 1e3 / wiring.bus_leak
        }
        K::PumpControlUnitDead => still.parts.pump.logic_needs,
        K::PumpControlUnitHot => -still.parts.pump.hot_limit,
        K::MeteringStuckShut | K::PumpRotorWorn => -delivered(seed, faults, BypassCommand::LowIdle),
        K::MeteringStuckOpen => delivered(seed, faults, BypassCommand::ShutOff),
        K::TimingStuck | K::InjectorsBad | K::AirIntakeBlocked => -pulls(seed, faults),
        K::LowCompression => -cranking(seed, faults).parts.engine.compressed(),
    }
}

#[test]
fn the_worse_a_fault_the_more_it_shows() {
    for kind in FaultKind::all() {
        for seed in 0..3 {
            let name = kind.word();
            let shown = DEGREES.map(|degree| effect(kind, seed, &format!("{name}:{degree}")));
            let most = shown[DEGREES.len() - 1] - shown[0];
            assert!(most > 1e-9, "{name}, seed {seed}: {shown:?}");
            for pair in shown.windows(2) {
                // Chance and a governor in between take a little of it back.
                assert!(
                    pair[1] - pair[0] > -0.02 * most,
                    "{name}, seed {seed}: {shown:?}"
                );
            }
            // No switch: between the least and the most there is something.
            let between = |value: &&f64| (0.002..0.998).contains(&((**value - shown[0]) / most));
            assert!(
                shown.iter().filter(between).count() >= 1,
                "{name}, seed {seed}: {shown:?}"
            );
        }
    }
}

#[test]
fn at_degree_nought_a_machine_is_as_good_as_new() {
    for kind in FaultKind::all() {
        let none = Machine::new(4, &[Fault { kind, degree: 0.0 }]);
        assert_eq!(
            format!("{none:?}"),
            format!("{:?}", machine(4, "")),
            "{}",
            kind.word()
        );
    }
}

#[test]
fn faults_are_the_same_machine_in_any_order() {
    for (first, second) in [
        ("pump-control-unit-hot", "fuel-waxed"),
        ("harness-open", "connector-pins-bad"),
        ("tank-empty:0.8", "suction-air-leak"),
        ("controller-ground-bad", "pump-relay-or-fuse:0.5"),
        ("harness-short:0.9", "data-bus-fault:0.35"),
    ] {
        let one = machine(6, &format!("{first}+{second}"));
        let other = machine(6, &format!("{second}+{first}"));
        assert_eq!(
            format!("{one:?}"),
            format!("{other:?}"),
            "{first}, {second}"
        );
    }
}

/// A second fault on the same wire does not cure the first.
#[test]
fn a_mild_bus_fault_leaves_a_short_as_it_is() {
    for seed in 0..40 {
        let held = |faults| machine(seed, faults).parts.wiring.bus_held();
        assert!(
            held("harness-short:0.9+data-bus-fault:0.35") >= held("harness-short:0.9"),
            "seed {seed}"
        );
    }
}

/// A frost is the weather of the whole machine.
#[test]
fn a_frost_is_cold_for_every_part() {
    let m = machine(2, "fuel-waxed");
    let parts = &m.parts;
    assert!(parts.ambient < 273.15 && machine(2, "").parts.ambient > 273.15);
    assert_eq!(parts.pump.kelvin, parts.ambient);
    assert!((parts.engine.kelvin - parts.ambient).abs() < 0.01);
    let runs = |m: &Machine| m.parts.wiring.continuity();
    assert!(runs(&m) < runs(&machine(2, "")), "cold copper resists less");
}
