//! Nothing is made and nothing is lost: energy and volume balances over any run.
#![allow(clippy::unwrap_used, clippy::expect_used)]
use super::*;

/// A run with everything in it: a start, work, a stop, cranking in vain, the
/// bypass drive, and a night's rest.
fn day(seed: u64, faults: &str) -> Vec<Machine> {
    let mut m = machine(seed, faults);
    let mut seen = vec![m.clone()];
    m.try_start(Drive::Harness, 20.0);
    seen.push(m.clone());
    m.with(|c| (c.accelerator, c.load) = (1.0, 0.7));
    m.advance(30.0);
    seen.push(m.clone());
    m.bring_to_rest();
    m.with(|c| (c.key, c.air_open) = (Key::Crank, false));
    m.advance(8.0);
    seen.push(m.clone());
    m.with(|c| c.air_open = true);
    m.try_start(Drive::Bypass, 20.0);
    m.bring_to_rest();
    m.with(|c| c.drive = Drive::Harness);
    m.try_start(Drive::Harness, 20.0);
    m.work_until(600.0, |m| m.rpm() < 100.0);
    m.bring_to_rest();
    m.stand(3600.0);
    seen.push(m);
    seen
}

/// What a balance comes to, and what has moved in it.
type Balance = fn(&Machine) -> (f64, f64);

/// Electrical energy, joules: what the battery holds, what has become of the
/// rest, and what the engine's side books as taken by the alternator and
/// given by the starter.
fn electric(m: &Machine) -> (f64, f64) {
    let (set, kelvin) = (&m.parts.electrics, m.parts.ambient);
    let (b, engine) = (&set.booked, &m.parts.engine.booked);
    let gone = b.battery_heat + b.cable_heat + b.alternator_heat + b.loads + engine.starter;
    (set.stored(kelvin) - engine.alternator + gone, gone)
}

/// Mechanical energy, joules.
fn mechanic(m: &Machine) -> (f64, f64) {
    let engine = &m.parts.engine;
    let b = &engine.booked;
    let gone = b.friction + b.alternator;
    (engine.kinetic() + gone - b.gas - b.starter, gone)
}

/// Both together: what combustion gives and the battery loses is all there is.
fn energy(m: &Machine) -> (f64, f64) {
    let (set, engine) = (&m.parts.electrics, &m.parts.engine);
    let (b, e) = (&set.booked, &engine.booked);
    let gone = b.battery_heat + b.cable_heat + b.alternator_heat + b.loads + e.friction;
    let held = set.stored(m.parts.ambient) + engine.kinetic();
    (held + gone - e.gas, gone)
}

/// Volume, m³.
fn volume(m: &Machine) -> (f64, f64) {
    let b = &m.parts.fuel.booked;
    let gone = b.injected + b.seeped + b.vented;
    (m.parts.fuel.held() + gone + b.shrunk - b.breathed, gone)
}

/// Every balance, and what the rounding of the numbers it is counted in comes
/// to over a day: joules of four million in a battery, m³ of a fifth in a tank.
const BALANCES: [(&str, Balance, f64); 4] = [
    ("electrical energy", electric, 1e-3),
    ("mechanical energy", mechanic, 1e-3),
    ("energy", energy, 1e-3),
    ("volume", volume, 1e-11),
];

/// What is held and what has gone add up to what there was, to a millionth of what has moved.
fn check(began: &Machine, now: &Machine, what: &str) {
    for (name, balance, rounding) in BALANCES {
        let ((began, _), (now, moved)) = (balance(began), balance(now));
        assert!(
            (now - began).abs() <= 1e-6 * moved + rounding,
            "{what}, {name}: {now} instead of {began}, {moved} moved"
        );
    }
    // Diesel fuel: 830 kg/m³ and 42.6 MJ/kg (from memory); no such engine turns
    // half of it into work. A cylinder in compression gives back what it took.
    let burnt = now.parts.fuel.booked.injected * 830.0 * 42.6e6;
    let work = now.parts.engine.booked.gas;
    assert!(
        work <= 0.45 * burnt + 200.0,
        "{what}: {work} J of work out of {burnt} J of fuel"
    );
    // Heat only ever grows.
    let heat = |m: &Machine| {
        let b = &m.parts.electrics.booked;
        [b.battery_heat, b.cable_heat, b.alternator_heat, b.loads]
    };
    for (began, now) in heat(began).into_iter().zip(heat(now)) {
        assert!(now >= began, "{what}: heat fell from {began} to {now} J");
    }
}

#[test]
fn energy_and_volume_balance_over_any_run() {
    for (seed, faults) in [
        (1, ""),
        (2, "battery-weak"),
        (3, "suction-air-leak+lift-pump-weak"),
        (4, "tank-empty"),
        (5, "overflow-valve-open+starter-slow"),
        (6, "metering-stuck-open"),
        (7, "fuel-waxed+low-compression"),
        (8, "lift-pump-dead"),
    ] {
        let seen = day(seed, faults);
        for (leg, m) in seen.iter().enumerate().skip(1) {
            check(&seen[0], m, &format!("seed {seed}, {faults}, leg {leg}"));
        }
    }
}

/// A machine that stands takes the same course in long steps as in short ones.
#[test]
fn standing_in_long_steps_comes_to_the_same() {
    for faults in ["", "suction-air-leak", "overflow-valve-open"] {
        let mut m = machine(4, faults);
        m.with(|c| c.key = Key::On);
        m.advance(8.0);
        m.with(|c| c.key = Key::Off);
        let mut short = m.clone();
        m.stand(60.0);
        short.advance(60.0);
        let (long, short) = (
            at(&m, "pump-inlet-pressure"),
            at(&short, "pump-inlet-pressure"),
        );
        assert!(
            (long - short).abs() < 0.02 * short.max(5e3),
            "{faults}: {long} {short}"
        );
    }
}

/// A shift in leaps comes to what one in steps does, by what has changed since it began.
#[test]
fn a_shift_in_leaps_comes_to_the_same() {
    let mut m = machine(2, "");
    m.try_start(Drive::Harness, 20.0);
    let began = m.clone();
    let mut stepped = m.clone();
    assert!(!m.work_until(900.0, |m| m.rpm() < 100.0));
    stepped.advance(m.time() - stepped.time());
    let state = |m: &Machine| {
        let parts = &m.parts;
        [
            parts.pump.kelvin,
            parts.engine.kelvin,
            parts.electrics.charge,
            parts.fuel.level,
            parts.engine.booked.gas,
            parts.engine.booked.alternator,
            parts.electrics.booked.loads,
        ]
    };
    let changed = state(&began)
        .into_iter()
        .zip(state(&m))
        .zip(state(&stepped));
    for (number, ((began, leapt), stepped)) in changed.enumerate() {
        let (leapt, stepped) = (leapt - began, stepped - began);
        assert!(
            (leapt / stepped - 1.0).abs() < 0.03,
            "{number}: {leapt} {stepped}"
        );
    }
    assert!((m.rpm() / stepped.rpm() - 1.0).abs() < 0.01);
}

/// A battery that nobody charges goes flat and stays at that.
#[test]
fn a_flat_battery_gives_nothing_and_turns_nothing() {
    for faults in [
        "battery-weak:1",
        "lift-pump-dead",
        "battery-weak:0.9+controller-no-feed",
    ] {
        let mut m = machine(3, faults);
        let began = m.clone();
        m.with(|c| (c.key, c.air_open) = (Key::Crank, false));
        m.advance(600.0);
        m.with(|c| c.key = Key::On);
        m.advance(3_600.0);
        let mut last = m.parts.electrics.volts;
        for _ in 0..(2 * 3_600 * 100) {
            m.advance(Machine::STEP);
            let volts = m.parts.electrics.volts;
            assert!((-1e-9..13.0).contains(&volts), "{faults}: {volts} V");
            assert!(
                (volts - last).abs() < 0.2,
                "{faults}: from {last} to {volts} V in a step"
            );
            last = volts;
        }
        assert_eq!(m.parts.engine.omega, 0.0, "{faults}");
        check(&began, &m, faults);
        m.charge_battery();
        assert_eq!(
            m.parts.electrics.charge, began.parts.electrics.charge,
            "{faults}"
        );
    }
}

/// Runs that nobody chose: any faults, and controls thrown about by chance.
#[test]
fn energy_and_volume_balance_whatever_is_done() {
    let kinds: Vec<FaultKind> = FaultKind::all().collect();
    for seed in 0..24 {
        let mut random = Random::new(seed, 7);
        let mut faults = Vec::new();
        for _ in 0..seed % 3 {
            let kind = kinds[(random.uniform() * kinds.len() as f64) as usize];
            let degree = random.uniform();
            faults.push(Fault { kind, degree });
        }
        let mut m = Machine::new(seed, &faults);
        let began = m.clone();
        for _ in 0..30 {
            m.set_controls(Controls {
                key: [Key::Off, Key::On, Key::On, Key::Crank][(random.uniform() * 4.0) as usize],
                drive: if random.chance(0.7) {
                    Drive::Harness
                } else {
                    Drive::Bypass
                },
                bypass: [
                    BypassCommand::ShutOff,
                    BypassCommand::LowIdle,
                    BypassCommand::HighIdle,
                ][(random.uniform() * 3.0) as usize],
                accelerator: random.uniform(),
                load: random.uniform(),
                air_open: random.chance(0.9),
            });
            m.advance(random.between(0.0, 20.0));
        }
        check(&began, &m, &format!("seed {seed}, {faults:?}"));
    }
}

/// Air that is drawn in comes back as air: a leak never fills the tank.
#[test]
fn air_does_not_become_fuel() {
    for faults in ["", "suction-air-leak:0.5"] {
        let mut m = machine(3, faults);
        let began = m.parts.fuel.level;
        assert!(m.try_start_twice(Drive::Harness, 5.0).started, "{faults}");
        m.advance(1200.0);
        let fuel = &m.parts.fuel;
        let used = began - fuel.level - fuel.booked.injected / 0.2;
        // A tenth of a litre of 200 may stand in the lines, or have been injected as air.
        assert!(used.abs() < 5e-4, "{faults}: {used}");
        let vented = fuel.booked.vented;
        assert_eq!(vented > 1e-4, !faults.is_empty(), "{faults}: {vented} m³");
    }
}
