//! Each fault shows where it sits and leaves the rest alone.
#![allow(clippy::unwrap_used, clippy::expect_used)]
use super::*;

/// What one act shows on machines of several seeds with these faults.
fn check_answers(faults: &str, answers: &[(&str, &str)]) {
    for seed in 0..6 {
        let m = machine(seed, faults);
        for (check, answer) in answers {
            assert_eq!(
                m.observe(check),
                Ok(*answer),
                "seed {seed}, {faults}, {check}"
            );
        }
    }
}

fn check_complaint(faults: &str, possible: &[Option<&str>]) {
    for seed in 0..6 {
        let complaint = machine(seed, faults).complaint();
        assert!(
            possible.contains(&complaint),
            "seed {seed}, {faults}: {complaint:?}"
        );
    }
}

/// Lowest inlet pressure in two seconds of cranking, psi, over several seeds.
fn cranking_pressure(faults: &str) -> (f64, f64) {
    let all =
        (0..10).map(|seed| over(&mut cranking(seed, faults), "pump-inlet-pressure", 2.0).0 / PSI);
    all.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), p| {
        (low.min(p), high.max(p))
    })
}

const NO_START: Option<&str> = Some("cranks-no-start");

#[test]
fn a_weak_lift_pump_starves_the_pump_with_the_battery_good() {
    for seed in 0..6 {
        let mut m = cranking(seed, "lift-pump-weak");
        assert!(over(&mut m, "battery", 1.0).0 > 9.6, "seed {seed}");
    }
    let (low, high) = cranking_pressure("lift-pump-weak");
    assert!(low > -1.0 && high < 4.0, "{low} … {high} psi");
    check_answers(
        "lift-pump-weak",
        &[
            ("lift-pump-runs", "runs"),
            ("fuel-seen", "seen"),
            ("bypass-click", "heard"),
        ],
    );
    check_complaint(
        "lift-pump-weak",
        &[NO_START, Some("low-power"), Some("hard-start")],
    );
}

#[test]
fn a_dead_lift_pump_is_silent_and_sometimes_the_engine_starts_all_the_same() {
    let (_, high) = cranking_pressure("lift-pump-dead");
    assert!(high < 1.0, "{high} psi");
    check_answers(
        "lift-pump-dead",
        &[
            ("lift-pump-runs", "silent"),
            ("controller-answers", "talks"),
        ],
    );
    let started = (0..40)
        .filter(|&seed| {
            machine(seed, "lift-pump-dead")
                .try_start_twice(Drive::Harness, 10.0)
                .started
        })
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
    check_answers(
        "battery-weak",
        &[("lift-pump-runs", "runs"), ("connector-pins", "good")],
    );
}

#[test]
fn a_controller_without_feed_is_silent_and_takes_the_lift_pump_with_it() {
    let mut m = machine(3, "controller-no-feed");
    m.with(|c| c.key = Key::On);
    m.advance(1.0);
    assert!(at(&m, "controller-feed-drop") > 10.0 && at(&m, "controller-ground-drop") < 0.1);
    assert!(at(&m, "pump-feed-drop") < 0.5);
    check_answers(
        "controller-no-feed",
        &[
            ("controller-answers", "silent"),
            ("lift-pump-runs", "silent"),
        ],
    );
    check_complaint("controller-no-feed", &[NO_START]);
}

#[test]
fn an_open_harness_stops_its_own_drive_alone() {
    for seed in 0..6 {
        assert_eq!(
            at(&machine(seed, "harness-open"), "harness-continuity"),
            f64::INFINITY,
            "seed {seed}"
        );
    }
    check_answers(
        "harness-open",
        &[
            ("bypass-start", "starts"),
            ("swap-back", "complaint-returns"),
        ],
    );
    check_complaint("harness-open", &[NO_START]);
}

#[test]
fn a_full_command_races_on_the_harness_and_is_calm_on_the_bypass_drive() {
    for seed in 0..6 {
        let mut m = machine(seed, "controller-commands-full");
        assert!(
            m.try_start(Drive::Harness, 10.0).peak > 2500.0,
            "seed {seed}"
        );
        assert!(
            m.try_start(Drive::Bypass, 10.0).peak < 1300.0,
            "seed {seed}"
        );
    }
    check_complaint("controller-commands-full", &[Some("races-after-start")]);
}

#[test]
fn metering_stuck_open_races_on_both_drives_until_the_air_is_cut() {
    for seed in 0..6 {
        let mut m = machine(seed, "metering-stuck-open");
        assert!(
            m.try_start(Drive::Harness, 10.0).peak > 2500.0,
            "seed {seed}"
        );
        assert!(
            m.try_start(Drive::Bypass, 10.0).peak > 2500.0,
            "seed {seed}"
        );
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
        check_answers(
            faults,
            &[
                ("bypass-start", "does-not-start"),
                ("smoke-cranking", "none"),
            ],
        );
        check_complaint(faults, &[NO_START]);
    }
}

#[test]
fn other_faults_show_where_they_sit() {
    check_answers(
        "tank-empty",
        &[
            ("fuel-seen", "not-seen"),
            ("air-seen", "bubbles"),
            ("bypass-start", "does-not-start"),
        ],
    );
    check_answers(
        "suction-air-leak",
        &[("air-seen", "bubbles"), ("fuel-seen", "seen")],
    );
    check_answers(
        "lift-pump-not-switched",
        &[
            ("lift-pump-runs", "silent"),
            ("controller-answers", "talks"),
        ],
    );
    check_answers("controller-dead", &[("controller-answers", "silent")]);
    check_answers(
        "speed-sensor-dead",
        &[
            ("engine-speed-seen", "not-seen"),
            ("bypass-start", "starts"),
        ],
    );
    check_answers("connector-pins-bad", &[("connector-pins", "bad")]);
    check_answers(
        "metering-stuck-shut",
        &[
            ("smoke-cranking", "none"),
            ("bypass-start", "does-not-start"),
        ],
    );
    check_answers(
        "low-compression",
        &[("compression-good", "low"), ("injectors-spray", "spray")],
    );
    check_answers(
        "injectors-bad",
        &[("compression-good", "good"), ("injectors-spray", "dribble")],
    );
    check_answers(
        "air-intake-blocked",
        &[("compression-good", "good"), ("intake-clear", "blocked")],
    );
    check_answers("timing-stuck:0.6", &[("timing-follows", "stuck")]);
    check_answers("battery-weak+starter-slow", &[("compression-good", "good")]);
    let hot = machine(1, "pump-control-unit-hot");
    assert_eq!(hot.complaint(), Some("stalls"));
    assert_eq!(hot.observe("bypass-runs-hot"), Ok("stalls"));
    assert_eq!(hot.observe("heat-dependence"), Ok("restarts-when-cooled"));
    for seed in 0..6 {
        assert!(
            at(&machine(seed, "harness-short"), "harness-isolation") < 20e3,
            "seed {seed}"
        );
        let mut restricted = cranking(seed, "suction-restricted");
        assert!(
            over(&mut restricted, "tank-suction", 1.0).0 < -8.0 * INHG,
            "seed {seed}"
        );
        let mut valve = machine(seed, "overflow-valve-open");
        valve.try_start(Drive::Harness, 10.0);
        assert!(
            over(&mut valve, "pump-inlet-pressure", 2.0).1 < 9.0 * PSI,
            "seed {seed}"
        );
    }
}

#[test]
fn waxed_fuel_starves_the_pump() {
    let (_, high) = cranking_pressure("fuel-waxed");
    assert!(high < 4.0, "{high} psi");
    check_complaint(
        "fuel-waxed",
        &[
            NO_START,
            Some("low-power"),
            Some("stalls"),
            Some("hard-start"),
        ],
    );
}

#[test]
fn bad_cables_and_a_slow_starter_crank_slowly_on_a_good_battery() {
    for seed in 0..10 {
        let healthy = over(&mut cranking(seed, ""), "engine-speed", 2.0).1;
        for fault in ["", "cable-resistance", "starter-slow"] {
            let rest = at(&machine(seed, fault), "battery");
            assert!(rest > 12.4, "seed {seed}, {fault}: {rest} V at rest");
        }
        for (fault, slower) in [("cable-resistance", 0.97), ("starter-slow", 0.85)] {
            let speed = over(&mut cranking(seed, fault), "engine-speed", 2.0).1;
            assert!(
                speed < slower * healthy,
                "seed {seed}, {fault}: {speed} of {healthy}"
            );
        }
        let mut m = cranking(seed, "cable-resistance");
        let positive = over(&mut m, "positive-cable-drop", 1.0).1;
        let drop = positive.max(over(&mut m, "ground-cable-drop", 1.0).1);
        assert!(drop > 0.5, "seed {seed}: {drop} V");
    }
}

#[test]
fn a_bad_controller_ground_lifts_it_and_sometimes_the_pump_unit_with_it() {
    let mut shared = 0;
    for seed in 0..40 {
        let mut m = machine(seed, "controller-ground-bad");
        m.with(|c| c.key = Key::On);
        m.advance(1.0);
        assert!(at(&m, "controller-ground-drop") > 3.0, "seed {seed}");
        shared += usize::from(at(&m, "pump-ground-drop") > 1.0);
    }
    assert!((8..32).contains(&shared), "{shared} of 40 share a stud");
}

#[test]
fn a_bad_accelerator_sensor_races_on_the_harness_or_drops_out() {
    let mut raced = 0;
    for seed in 0..40 {
        let mut m = machine(seed, "accelerator-sensor-bad");
        let peak = m.try_start(Drive::Harness, 10.0).peak;
        raced += usize::from(peak > 1500.0);
        let (low, _, high) = over(&mut m, "accelerator-signal", 10.0);
        assert!(low < 0.3 || high > 1.5, "seed {seed}: {low} … {high} V");
        assert!(
            m.try_start(Drive::Bypass, 10.0).peak < 1300.0,
            "seed {seed}"
        );
    }
    assert!((8..32).contains(&raced), "{raced} of 40 race");
}

#[test]
fn a_pump_without_relay_runs_on_the_bypass_drive() {
    for seed in 0..6 {
        let mut m = machine(seed, "pump-relay-or-fuse");
        m.with(|c| c.key = Key::On);
        m.advance(1.0);
        assert!(at(&m, "pump-feed-drop") > 10.0, "seed {seed}");
    }
    check_answers(
        "pump-relay-or-fuse",
        &[("bypass-start", "starts"), ("controller-answers", "talks")],
    );
    check_complaint("pump-relay-or-fuse", &[NO_START]);
}

#[test]
fn a_data_bus_fault_stops_the_pump_and_most_show_across_the_wires() {
    let mut shown = 0;
    for seed in 0..40 {
        let m = machine(seed, "data-bus-fault");
        assert_eq!(m.complaint(), NO_START, "seed {seed}");
        // ISO 11898-2: 60 Ω between the wires of a sound bus.
        shown += usize::from(!(50.0..70.0).contains(&at(&m, "bus-termination")));
    }
    // A terminator or a bridge shows, a wire held to ground does not: three places of five.
    assert!((16..32).contains(&shown), "{shown} of 40");
    check_answers("data-bus-fault", &[("bypass-start", "starts")]);
}

#[test]
fn a_worn_rotor_leaks_when_slow_and_delivers_when_fast() {
    for seed in 0..6 {
        let slow = |faults| {
            let mut m = cranking(seed, faults);
            m.advance(3.0);
            m.parts.pump.delivered
        };
        assert!(slow("pump-rotor-worn") < 0.4 * slow(""), "seed {seed}");
        // Brought up to high idle, it delivers what keeps it there, as a sound one does.
        let mut m = machine(seed, "pump-rotor-worn:0.4");
        assert!(
            m.try_start_twice(Drive::Bypass, 10.0).started,
            "seed {seed}"
        );
        m.with(|c| c.bypass = BypassCommand::HighIdle);
        m.advance(8.0);
        assert!(m.rpm() > 1600.0, "seed {seed}: {} rpm", m.rpm());
    }
    check_complaint(
        "pump-rotor-worn",
        &[
            NO_START,
            Some("hard-start"),
            Some("low-power"),
            Some("stalls"),
        ],
    );
}
