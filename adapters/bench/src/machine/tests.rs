//! The whole machine: healthy within the trade's limits, each fault showing
//! what it should, and the same course from the same seed.
#![allow(clippy::unwrap_used, clippy::expect_used)]
use super::*;

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

/// The battery trade's published load-test table, as a line between its ends' points.
fn load_test_minimum(celsius: f64) -> f64 {
    let table = [
        (-18.0, 8.5), (-12.0, 8.7), (-7.0, 8.9), (-1.0, 9.1), (4.0, 9.3), (10.0, 9.4), (16.0, 9.5), (21.0, 9.6),
    ];
    let above = table.iter().position(|row| row.0 >= celsius).unwrap_or(table.len() - 1).max(1);
    let ((t0, v0), (t1, v1)) = (table[above - 1], table[above]);
    v0 + (v1 - v0) * ((celsius - t0) / (t1 - t0)).clamp(0.0, 1.0)
}

/// The limits are common practice with no source, except the load-test table.
#[test]
fn healthy_machines_crank_within_the_limits() {
    for seed in 0..20 {
        let still = machine(seed, "");
        assert!(at(&still, "battery") >= 12.5, "seed {seed}");
        let mut m = cranking(seed, "");
        let (volts, _, _) = over(&mut m, "battery", 2.0);
        let limit = load_test_minimum(at(&m, "ambient-temperature") - 273.15);
        assert!(volts >= limit + 0.15, "seed {seed}: {volts} V, limit {limit} V");
        let (_, speed, _) = over(&mut m, "engine-speed", 1.0);
        assert!((130.0..350.0).contains(&(speed / RPM)), "seed {seed}: {} rpm", speed / RPM);
        let (pressure, _, _) = over(&mut m, "pump-inlet-pressure", 2.0);
        assert!(pressure >= 6.0 * PSI, "seed {seed}: {} psi", pressure / PSI);
        assert!(over(&mut m, "tank-suction", 1.0).0 >= -5.0 * INHG, "seed {seed}");
    }
}

#[test]
fn healthy_runs_lose_little_even_at_the_inrush() {
    for seed in 0..20 {
        let mut m = machine(seed, "");
        m.with(|c| c.key = Key::On);
        m.advance(0.5);
        for (point, limit) in [
            ("pump-feed-drop", 0.5), ("pump-ground-drop", 0.1), ("controller-feed-drop", 0.5),
            ("controller-ground-drop", 0.1), ("lift-pump-feed-drop", 0.5),
        ] {
            let drop = at(&m, point);
            assert!(drop > 0.001 && drop < 0.8 * limit, "seed {seed}, {point}: {drop} V");
        }
        m.with(|c| c.key = Key::Crank);
        let mut inrush = m.clone();
        assert!(over(&mut m, "positive-cable-drop", 0.5).2 < 0.5, "seed {seed}");
        assert!(over(&mut inrush, "ground-cable-drop", 0.5).2 < 0.3, "seed {seed}");
    }
}

#[test]
fn healthy_machines_start_in_about_a_second_idle_calmly_and_pull() {
    for seed in 0..20 {
        let mut m = machine(seed, "");
        let start = m.try_start(Drive::Harness, 15.0);
        assert!(start.started && !start.died && start.cranked < 1.6, "seed {seed}: {start:?}");
        assert!(start.peak < 1200.0, "seed {seed}: {start:?}");
        let (_, idle, _) = over(&mut m, "pump-inlet-pressure", 10.0);
        assert!((11.0..19.0).contains(&(idle / PSI)), "seed {seed}: {} psi", idle / PSI);
        let drop = at(&m, "filter-inlet-pressure") - at(&m, "pump-inlet-pressure");
        assert!(drop < 4.0 * PSI, "seed {seed}: {} psi", drop / PSI);
        assert!((13.5..14.6).contains(&at(&m, "battery")), "seed {seed}");
        let (low, mean, high) = over(&mut m, "pump-inlet-pressure", 2.0);
        assert!((high - low) / mean < 0.15, "seed {seed}");
        m.with(|c| (c.accelerator, c.load) = (1.0, 0.8));
        m.advance(5.0);
        assert!(over(&mut m, "pump-inlet-pressure", 5.0).0 > 6.0 * PSI, "seed {seed}");
        m.bring_to_rest();
        let before = at(&m, "pump-inlet-pressure");
        m.advance(60.0);
        assert!(at(&m, "pump-inlet-pressure") > 0.6 * before, "seed {seed}");
    }
}

#[test]
fn healthy_harnesses_read_whole() {
    for seed in 0..20 {
        let m = machine(seed, "");
        assert!(at(&m, "harness-continuity") < 1.0);
        assert!(at(&m, "harness-isolation") > 1e6);
        assert!((55.0..65.0).contains(&at(&m, "bus-termination")), "seed {seed}");
        let mut on = m.clone();
        on.with(|c| c.key = Key::On);
        on.advance(0.1);
        assert!((0.45..0.85).contains(&at(&on, "accelerator-signal")), "seed {seed}");
        on.with(|c| c.drive = Drive::Bypass);
        on.advance(0.1);
        assert!((1.0..6.0).contains(&at(&on, "bypass-current")), "seed {seed}");
    }
}

#[test]
fn healthy_machines_give_every_healthy_answer() {
    let healthy = [
        ("fuel-seen", "seen"), ("lift-pump-runs", "runs"), ("air-seen", "clear"), ("connector-pins", "good"),
        ("controller-answers", "talks"), ("engine-speed-seen", "seen"), ("bypass-click", "heard"),
        ("bypass-start", "starts"), ("bypass-high-idle", "answers"), ("swap-back", "stays-well"),
        ("smoke-cranking", "smoke"),
    ];
    for seed in 0..6 {
        let m = machine(seed, "");
        for (check, answer) in healthy {
            assert_eq!(m.observe(check), Ok(answer), "seed {seed}, {check}");
        }
    }
    let m = machine(2, "");
    assert_eq!(m.complaint(), None);
    assert_eq!(m.observe("bypass-runs-hot"), Ok("keeps-running"));
    assert!(matches!(m.observe("heat-dependence"), Err(ActError::NotPossible { .. })));
    assert!(matches!(m.observe("tea-break"), Err(ActError::Unknown { .. })));
}

/// What one act shows on machines of several seeds with these faults.
fn check_answers(faults: &str, answers: &[(&str, &str)]) {
    for seed in 0..6 {
        let m = machine(seed, faults);
        for (check, answer) in answers {
            assert_eq!(m.observe(check), Ok(*answer), "seed {seed}, {faults}, {check}");
        }
    }
}

fn check_complaint(faults: &str, possible: &[Option<&str>]) {
    for seed in 0..6 {
        let complaint = machine(seed, faults).complaint();
        assert!(possible.contains(&complaint), "seed {seed}, {faults}: {complaint:?}");
    }
}

/// Lowest inlet pressure in two seconds of cranking, psi, over several seeds.
fn cranking_pressure(faults: &str) -> (f64, f64) {
    let all = (0..10).map(|seed| over(&mut cranking(seed, faults), "pump-inlet-pressure", 2.0).0 / PSI);
    all.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), p| (low.min(p), high.max(p)))
}

const NO_START: Option<&str> = Some("cranks-no-start");

#[test]
fn a_weak_lift_pump_starves_the_pump_with_the_battery_good() {
    let (low, high) = cranking_pressure("lift-pump-weak");
    assert!(low > -1.0 && high < 4.0, "{low} … {high} psi");
    check_answers("lift-pump-weak", &[("lift-pump-runs", "runs"), ("fuel-seen", "seen"), ("bypass-click", "heard")]);
    check_complaint("lift-pump-weak", &[NO_START, Some("low-power"), Some("hard-start")]);
}

#[test]
fn a_dead_lift_pump_is_silent_and_sometimes_the_engine_starts_all_the_same() {
    let (_, high) = cranking_pressure("lift-pump-dead");
    assert!(high < 1.0, "{high} psi");
    check_answers("lift-pump-dead", &[("lift-pump-runs", "silent"), ("controller-answers", "talks")]);
    let started = (0..40)
        .filter(|&seed| machine(seed, "lift-pump-dead").try_start_twice(Drive::Harness, 10.0).started)
        .count();
    assert!((1..20).contains(&started), "{started} of 40");
}

#[test]
fn a_plugged_filter_shows_across_it_and_costs_power() {
    for seed in 0..6 {
        let mut m = machine(seed, "filter-plugged");
        m.try_start_twice(Drive::Harness, 10.0);
        let drop = at(&m, "filter-inlet-pressure") - at(&m, "pump-inlet-pressure");
        assert!(drop > 8.0 * PSI, "seed {seed}: {} psi", drop / PSI);
    }
    check_complaint("filter-plugged", &[NO_START, Some("low-power")]);
}

#[test]
fn a_weak_battery_cranks_low_and_slow() {
    for seed in 0..10 {
        let mut m = cranking(seed, "battery-weak");
        assert!(over(&mut m, "battery", 2.0).0 < 8.5, "seed {seed}");
    }
    check_answers("battery-weak", &[("lift-pump-runs", "runs"), ("connector-pins", "good")]);
}

#[test]
fn a_controller_without_feed_is_silent_and_takes_the_lift_pump_with_it() {
    let mut m = machine(3, "controller-no-feed");
    m.with(|c| c.key = Key::On);
    m.advance(1.0);
    assert!(at(&m, "controller-feed-drop") > 10.0 && at(&m, "controller-ground-drop") < 0.1);
    assert!(at(&m, "pump-feed-drop") < 0.5);
    check_answers("controller-no-feed", &[("controller-answers", "silent"), ("lift-pump-runs", "silent")]);
    check_complaint("controller-no-feed", &[NO_START]);
}

#[test]
fn an_open_harness_stops_its_own_drive_alone() {
    for seed in 0..6 {
        assert_eq!(at(&machine(seed, "harness-open"), "harness-continuity"), f64::INFINITY, "seed {seed}");
    }
    check_answers("harness-open", &[("bypass-start", "starts"), ("swap-back", "complaint-returns")]);
    check_complaint("harness-open", &[NO_START]);
}

#[test]
fn a_full_command_races_on_the_harness_and_is_calm_on_the_bypass_drive() {
    for seed in 0..6 {
        let mut m = machine(seed, "controller-commands-full");
        assert!(m.try_start(Drive::Harness, 10.0).peak > 2500.0, "seed {seed}");
        assert!(m.try_start(Drive::Bypass, 10.0).peak < 1300.0, "seed {seed}");
    }
    check_complaint("controller-commands-full", &[Some("races-after-start")]);
}

#[test]
fn metering_stuck_open_races_on_both_drives_until_the_air_is_cut() {
    for seed in 0..6 {
        let mut m = machine(seed, "metering-stuck-open");
        assert!(m.try_start(Drive::Harness, 10.0).peak > 2500.0, "seed {seed}");
        assert!(m.try_start(Drive::Bypass, 10.0).peak > 2500.0, "seed {seed}");
        m.with(|c| (c.key, c.bypass) = (Key::Off, BypassCommand::ShutOff));
        m.advance(5.0);
        assert!(m.rpm() > 2000.0, "seed {seed}: stopped by itself");
        m.bring_to_rest();
        assert!(m.rpm() < 1.0, "seed {seed}");
    }
    check_complaint("metering-stuck-open", &[Some("races-after-start")]);
}

#[test]
fn a_dead_pump_control_unit_draws_next_to_nothing_and_supply_stays_good() {
    for seed in 0..6 {
        let mut m = machine(seed, "pump-control-unit-dead");
        m.with(|c| c.drive = Drive::Bypass);
        m.advance(0.2);
        assert!(at(&m, "bypass-current") < 0.2, "seed {seed}");
    }
    assert!(cranking_pressure("pump-control-unit-dead").0 > 6.0);
    let both = "lift-pump-weak+pump-control-unit-dead";
    assert!(cranking_pressure(both).1 < 4.0);
    for faults in ["pump-control-unit-dead", both] {
        check_answers(faults, &[("bypass-start", "does-not-start"), ("smoke-cranking", "none")]);
        check_complaint(faults, &[NO_START]);
    }
}

#[test]
fn other_faults_show_where_they_sit() {
    check_answers("tank-empty", &[("fuel-seen", "not-seen"), ("air-seen", "bubbles"), ("bypass-start", "does-not-start")]);
    check_answers("suction-air-leak", &[("air-seen", "bubbles"), ("fuel-seen", "seen")]);
    check_answers("lift-pump-not-switched", &[("lift-pump-runs", "silent"), ("controller-answers", "talks")]);
    check_answers("controller-dead", &[("controller-answers", "silent")]);
    check_answers("speed-sensor-dead", &[("engine-speed-seen", "not-seen"), ("bypass-start", "starts")]);
    check_answers("connector-pins-bad", &[("connector-pins", "bad")]);
    check_answers("metering-stuck-shut", &[("smoke-cranking", "none"), ("bypass-start", "does-not-start")]);
    let hot = machine(1, "pump-control-unit-hot");
    assert_eq!(hot.complaint(), Some("stalls"));
    assert_eq!(hot.observe("bypass-runs-hot"), Ok("stalls"));
    assert_eq!(hot.observe("heat-dependence"), Ok("restarts-when-cooled"));
    for seed in 0..6 {
        assert!(at(&machine(seed, "harness-short"), "harness-isolation") < 20e3, "seed {seed}");
        let mut restricted = cranking(seed, "suction-restricted");
        assert!(over(&mut restricted, "tank-suction", 1.0).0 < -8.0 * INHG, "seed {seed}");
        let mut valve = machine(seed, "overflow-valve-open");
        valve.try_start(Drive::Harness, 10.0);
        assert!(over(&mut valve, "pump-inlet-pressure", 2.0).1 < 9.0 * PSI, "seed {seed}");
    }
}

#[test]
fn every_fault_changes_something_and_at_degree_nought_the_engine_starts() {
    for kind in FaultKind::all() {
        let worst = Machine::new(4, &[Fault { kind, degree: 1.0 }]);
        assert_ne!(format!("{:?}", worst.parts), format!("{:?}", machine(4, "").parts), "{}", kind.word());
        let mut none = Machine::new(4, &[Fault { kind, degree: 0.0 }]);
        assert!(none.try_start_twice(Drive::Harness, 5.0).started, "{}", kind.word());
    }
}

#[test]
fn the_same_seed_takes_the_same_course_however_time_is_cut() {
    let trace = |seed: u64, slice: f64| {
        let mut m = machine(seed, "suction-air-leak+connector-pins-bad");
        m.with(|c| c.key = Key::Crank);
        for _ in 0..(5.0 / slice) as usize {
            m.advance(slice);
        }
        (m.rpm().to_bits(), at(&m, "pump-inlet-pressure").to_bits(), at(&m, "battery").to_bits())
    };
    assert_eq!(trace(9, 0.002), trace(9, 0.002));
    assert_eq!(trace(9, 0.002), trace(9, 0.1));
    assert_ne!(trace(9, 0.1), trace(10, 0.1));
}
