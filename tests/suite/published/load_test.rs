//! The battery trade's published load-test table for a 12 V battery (several copies agree), through the
//! shipped rule set: each of its rows, a little above and a little below.

use super::{evidence, verdict};

/// Temperature in °C and the least voltage in V, as published.
const TABLE: [(f64, f64); 8] = [
    (21.0, 9.6),
    (16.0, 9.5),
    (10.0, 9.4),
    (4.0, 9.3),
    (-1.0, 9.1),
    (-7.0, 8.9),
    (-12.0, 8.7),
    (-18.0, 8.5),
];

fn outcome(celsius: f64, volts: f64) -> String {
    let events = format!(
        r#"
        [[event]]
        at = "0 s"
        point = "ambient-temperature"
        value = "{celsius} degC"
        uncertainty = "0.01 degC"
        [[event]]
        at = "1 s"
        phase = "cranking"
        [[event]]
        at = "2 s"
        point = "battery"
        value = "{volts:.3} V"
        uncertainty = "0.005 V"
        "#
    );
    let verdict = verdict("distributor-pump-12v", &events);
    evidence(&verdict, "battery-cranking")["outcome"]
        .as_str()
        .unwrap()
        .to_owned()
}

#[test]
fn every_row_passes_a_little_above_and_fails_a_little_below() {
    for (celsius, volts) in TABLE {
        assert_eq!(outcome(celsius, volts + 0.02), "passed", "{celsius} °C");
        assert_eq!(outcome(celsius, volts), "undecided", "{celsius} °C");
        assert_eq!(outcome(celsius, volts - 0.02), "failed", "{celsius} °C");
    }
}

/// Outside the table its last rows hold: nothing is extrapolated.
#[test]
fn beyond_the_table_its_ends_hold() {
    assert_eq!(outcome(35.0, 9.62), "passed");
    assert_eq!(outcome(35.0, 9.58), "failed");
    assert_eq!(outcome(-30.0, 8.52), "passed");
    assert_eq!(outcome(-30.0, 8.48), "failed");
}
