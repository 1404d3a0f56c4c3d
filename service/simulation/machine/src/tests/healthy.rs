//! Healthy machines keep within the trade's limits, and one seed is one course.
#![allow(clippy::unwrap_used, clippy::expect_used)]
use super::*;

/// The battery trade's published load-test table, as a line between its ends' points.
fn load_test_minimum(celsius: f64) -> f64 {
    let table = [
        (-18.0, 8.5),
        (-12.0, 8.7),
        (-7.0, 8.9),
        (-1.0, 9.1),
        (4.0, 9.3),
        (10.0, 9.4),
        (16.0, 9.5),
        (21.0, 9.6),
    ];
    let above = table
        .iter()
        .position(|row| row.0 >= celsius)
        .unwrap_or(table.len() - 1)
        .max(1);
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
        assert!(
            volts >= limit + 0.15,
            "seed {seed}: {volts} V, limit {limit} V"
        );
        let (_, speed, _) = over(&mut m, "engine-speed", 1.0);
        assert!(
            (130.0..350.0).contains(&(speed / RPM)),
            "seed {seed}: {} rpm",
            speed / RPM
        );
        let (pressure, _, _) = over(&mut m, "pump-inlet-pressure", 2.0);
        assert!(pressure >= 6.0 * PSI, "seed {seed}: {} psi", pressure / PSI);
        assert!(
            over(&mut m, "tank-suction", 1.0).0 >= -5.0 * INHG,
            "seed {seed}"
        );
    }
}

#[test]
fn healthy_runs_lose_little_even_at_the_inrush() {
    for seed in 0..20 {
        let mut m = machine(seed, "");
        m.with(|c| c.key = Key::On);
        m.advance(0.5);
        for (point, limit) in [
            ("pump-feed-drop", 0.5),
            ("pump-ground-drop", 0.1),
            ("controller-feed-drop", 0.5),
            ("controller-ground-drop", 0.1),
            ("lift-pump-feed-drop", 0.5),
        ] {
            let drop = at(&m, point);
            assert!(
                drop > 0.001 && drop < 0.8 * limit,
                "seed {seed}, {point}: {drop} V"
            );
        }
        m.with(|c| c.key = Key::Crank);
        let mut inrush = m.clone();
        assert!(
            over(&mut m, "positive-cable-drop", 0.5).2 < 0.5,
            "seed {seed}"
        );
        assert!(
            over(&mut inrush, "ground-cable-drop", 0.5).2 < 0.3,
            "seed {seed}"
        );
    }
}

#[test]
fn healthy_machines_start_in_about_a_second_idle_calmly_and_pull() {
    for seed in 0..20 {
        let mut m = machine(seed, "");
        let start = m.try_start(Drive::Harness, 15.0);
        assert!(
            start.started && !start.died && start.cranked < 1.6,
            "seed {seed}: {start:?}"
        );
        assert!(start.peak < 1200.0, "seed {seed}: {start:?}");
        let (_, idle, _) = over(&mut m, "pump-inlet-pressure", 10.0);
        assert!(
            (11.0..19.0).contains(&(idle / PSI)),
            "seed {seed}: {} psi",
            idle / PSI
        );
        let drop = at(&m, "filter-inlet-pressure") - at(&m, "pump-inlet-pressure");
        assert!(drop < 4.0 * PSI, "seed {seed}: {} psi", drop / PSI);
        assert!((13.5..14.6).contains(&at(&m, "battery")), "seed {seed}");
        let (low, mean, high) = over(&mut m, "pump-inlet-pressure", 2.0);
        assert!((high - low) / mean < 0.15, "seed {seed}");
        m.with(|c| (c.accelerator, c.load) = (1.0, 0.8));
        m.advance(5.0);
        assert!(
            over(&mut m, "pump-inlet-pressure", 5.0).0 > 6.0 * PSI,
            "seed {seed}"
        );
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
        assert!(
            (55.0..65.0).contains(&at(&m, "bus-termination")),
            "seed {seed}"
        );
        let mut on = m.clone();
        on.with(|c| c.key = Key::On);
        on.advance(0.1);
        assert!(
            (0.45..0.85).contains(&at(&on, "accelerator-signal")),
            "seed {seed}"
        );
        on.with(|c| c.drive = Drive::Bypass);
        on.advance(0.1);
        assert!(
            (1.0..6.0).contains(&at(&on, "bypass-current")),
            "seed {seed}"
        );
    }
}

#[test]
fn healthy_machines_give_every_healthy_answer() {
    let healthy = [
        ("fuel-seen", "seen"),
        ("lift-pump-runs", "runs"),
        ("air-seen", "clear"),
        ("connector-pins", "good"),
        ("controller-answers", "talks"),
        ("engine-speed-seen", "seen"),
        ("bypass-click", "heard"),
        ("bypass-start", "starts"),
        ("bypass-high-idle", "answers"),
        ("swap-back", "stays-well"),
        ("smoke-cranking", "smoke"),
        ("intake-clear", "clear"),
        ("timing-follows", "follows"),
        ("compression-good", "good"),
        ("injectors-spray", "spray"),
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
    assert!(matches!(
        m.observe("heat-dependence"),
        Err(ActError::NotPossible { .. })
    ));
    assert!(matches!(
        m.observe("tea-break"),
        Err(ActError::Unknown { .. })
    ));
}

#[test]
fn the_same_seed_takes_the_same_course_however_time_is_cut() {
    let trace = |seed: u64, slice: f64| {
        let mut m = machine(seed, "suction-air-leak+connector-pins-bad");
        m.with(|c| c.key = Key::Crank);
        for _ in 0..(5.0 / slice) as usize {
            m.advance(slice);
        }
        (
            m.rpm().to_bits(),
            at(&m, "pump-inlet-pressure").to_bits(),
            at(&m, "battery").to_bits(),
        )
    };
    assert_eq!(trace(9, 0.002), trace(9, 0.002));
    assert_eq!(trace(9, 0.002), trace(9, 0.1));
    assert_ne!(trace(9, 0.1), trace(10, 0.1));
}
