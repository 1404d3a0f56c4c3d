//! The whole machine: what is healthy, and what each fault shows.
#![allow(clippy::unwrap_used, clippy::expect_used)]
use super::*;

mod balances;
mod degrees;
mod faulty;
mod healthy;
mod sources;

const PSI: f64 = 6894.757;
const INHG: f64 = 3386.389;
const RPM: f64 = std::f64::consts::TAU / 60.0;

fn machine(seed: u64, faults: &str) -> Machine {
    Machine::new(seed, &Fault::parse_list(faults).unwrap())
}

fn at(machine: &Machine, point: &str) -> f64 {
    machine.measure(point).unwrap()
}

/// Smallest, mean and largest value of a point over `seconds`.
fn over(machine: &mut Machine, point: &str, seconds: f64) -> (f64, f64, f64) {
    let (mut low, mut sum, mut high, mut count) = (f64::INFINITY, 0.0, f64::NEG_INFINITY, 0.0);
    let end = machine.time() + seconds;
    while machine.time() < end {
        machine.advance(0.01);
        let value = at(machine, point);
        (low, sum, high, count) = (low.min(value), sum + value, high.max(value), count + 1.0);
    }
    (low, sum / count, high)
}

/// Cranking for a while with the air shut off, so that it does not start, after three seconds of key-on.
fn cranking(seed: u64, faults: &str) -> Machine {
    let mut machine = machine(seed, faults);
    machine.with(|c| c.key = Key::On);
    machine.advance(3.0);
    machine.with(|c| {
        c.key = Key::Crank;
        c.air_open = false;
    });
    machine.advance(1.0);
    machine
}
