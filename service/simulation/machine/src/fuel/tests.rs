#![allow(clippy::unwrap_used, clippy::expect_used)]
use super::*;

const STEP: f64 = 0.01;

fn run(fuel: &mut Fuel, volts: f64, omega: f64, seconds: f64) {
    let mut random = Random::new(3, 3);
    let draw = Draw {
        lift_volts: volts,
        omega,
        injected: 0.0,
        kelvin: 293.15,
    };
    for _ in 0..(seconds / STEP) as usize {
        fuel.step(&draw, &mut random, STEP);
    }
}

fn healthy() -> Fuel {
    Fuel::draw(&mut Random::new(1, 1))
}

#[test]
fn at_rest_the_suction_is_the_lift() {
    let mut fuel = healthy();
    fuel.lift = 1.0;
    run(&mut fuel, 0.0, 0.0, 0.1);
    assert!((fuel.suction + 8.14e3).abs() < 5.0, "{} Pa", fuel.suction);
}

#[test]
fn pressure_leaks_down_as_a_first_order_lag() {
    let mut fuel = healthy();
    run(&mut fuel, 12.5, 0.0, 8.0);
    run(&mut fuel, 0.0, 0.0, 5.0);
    let start = fuel.pump_inlet();
    run(&mut fuel, 0.0, 0.0, 60.0);
    // Both volumes empty through the seals: p = p0 exp(−t · seepage / (2 · compliance)).
    let closed_form = start * (-60.0 * fuel.seepage / (2.0 * COMPLIANCE)).exp();
    assert!(
        start > 50e3 && (fuel.pump_inlet() / closed_form - 1.0).abs() < 1e-3,
        "{start} {} {closed_form}",
        fuel.pump_inlet()
    );
}

#[test]
fn an_empty_tank_gives_no_pressure() {
    let mut fuel = healthy();
    fuel.level = 0.0;
    fuel.settle_air();
    run(&mut fuel, 12.5, 0.0, 10.0);
    assert_eq!(fuel.solid(), 0.0);
}

#[test]
fn the_overflow_valve_holds_the_pressure() {
    let mut fuel = healthy();
    run(&mut fuel, 13.0, 80.0, 20.0);
    let p = fuel.pump_inlet();
    assert!((80e3..120e3).contains(&p), "{p}");
    assert!(fuel.returned > 5e-6);
    fuel.overflow_opens *= 0.2;
    run(&mut fuel, 13.0, 80.0, 20.0);
    assert!(fuel.pump_inlet() < 0.7 * p);
}

#[test]
fn a_shorter_step_comes_to_the_same() {
    let course = |dt: f64| {
        let mut fuel = healthy();
        let mut random = Random::new(3, 3);
        let draw = Draw {
            lift_volts: 12.0,
            omega: 20.0,
            injected: 2e-7,
            kelvin: 283.15,
        };
        for _ in 0..(6.0 / dt) as usize {
            fuel.step(&draw, &mut random, dt);
        }
        fuel.at_inlet()
    };
    let (coarse, fine) = (course(0.01), course(0.0005));
    assert!((coarse / fine - 1.0).abs() < 0.01, "{coarse} {fine}");
}
