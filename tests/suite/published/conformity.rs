//! JCGM 106:2012, *The role of measurement uncertainty in conformity assessment*: its worked examples
//! (values from memory, all recomputed), from a reading in a case to the evidence in a verdict.

use super::{near, one_reading};

/// Half a unit of the last digit that is given.
const PRINTED: f64 = 5e-5;

#[test]
fn worked_examples() {
    // 7.3.3, example 1: breakdown voltage of a Zener diode, at most −5.40 V; printed 0.92.
    let zener = one_reading(
        "voltage",
        "V",
        r#"{ at_most = "-5.40 V" }"#,
        "-5.47 V",
        r#"uncertainty = "0.05 V""#,
    );
    near(&zener["conformance"], 0.9192, PRINTED, "Zener");
    assert_eq!(zener["outcome"], "undecided");
    // 7.3.3, example 2: burst pressure of a container, at least 490 kPa; printed 0.99.
    let burst = one_reading(
        "pressure",
        "kPa",
        r#"{ at_least = "490 kPa" }"#,
        "509.7 kPa",
        r#"uncertainty = "8.6 kPa""#,
    );
    near(&burst["conformance"], 0.989, 5e-4, "burst pressure");
    assert_eq!(burst["outcome"], "passed");
    // 7.4: SAE 40 oil, 12.5 to 16.3 mm²/s. The rule sets have no viscosity, so the numbers stand alone;
    // printed 0.66.
    let oil = one_reading(
        "ratio",
        "1",
        "{ at_least = 12.5, at_most = 16.3 }",
        "13.6",
        r#"uncertainty = "1.8""#,
    );
    near(&oil["conformance"], 0.6626, PRINTED, "oil");
    assert_eq!(oil["outcome"], "undecided");
}

/// Table 1: the probability of conformance and the distance from the limit in standard uncertainties.
#[test]
fn table_1() {
    let check = |z: f64, p: f64| {
        let value = format!("{} V", 10.0 + z * 0.1);
        let found = one_reading(
            "voltage",
            "V",
            r#"{ at_least = "10 V" }"#,
            &value,
            r#"uncertainty = "0.1 V""#,
        );
        // Two digits of z leave this much of p open.
        near(&found["conformance"], p, 1e-3, &format!("z = {z}"));
    };
    check(0.84, 0.80);
    check(1.28, 0.90);
    check(1.64, 0.95);
    check(2.33, 0.99);
    check(3.09, 0.999);
}

/// A one-sided decision with a guard band of r · 2u accepts wrongly, at the limit itself, with these
/// probabilities (recomputed with scipy): a reading that far inside passes at exactly that risk.
#[test]
fn guard_bands() {
    let check = |r: f64, wrong: f64| {
        let value = format!("{} V", 10.0 + r * 2.0 * 0.1);
        let found = one_reading(
            "voltage",
            "V",
            r#"{ at_least = "10 V" }"#,
            &value,
            r#"uncertainty = "0.1 V""#,
        );
        near(
            &found["conformance"],
            1.0 - wrong,
            5e-7,
            &format!("r = {r}"),
        );
    };
    check(0.0, 0.5);
    check(0.5, 0.158_655);
    check(1.0, 0.022_750);
    // 5 % at r = 0.8224.
    let at_risk = |value: &str| {
        one_reading(
            "voltage",
            "V",
            r#"{ at_least = "10 V" }"#,
            value,
            r#"uncertainty = "0.1 V""#,
        )["outcome"]
            .clone()
    };
    assert_eq!(at_risk("10.1643 V"), "undecided");
    assert_eq!(at_risk("10.1646 V"), "passed");
}

/// ISO 11898-2: two terminators of 120 Ω in parallel. One missing, a third one, and an open bus each show.
#[test]
fn bus_termination() {
    let check = |value: &str, outcome: &str| {
        let event = format!(
            "[[event]]\nat = \"0 s\"\npoint = \"bus-termination\"\nvalue = \"{value}\"\nuncertainty = \"0.3 Ohm\"\n"
        );
        let verdict = super::verdict("distributor-pump-12v", &event);
        assert_eq!(
            super::evidence(&verdict, "bus-termination")["outcome"],
            outcome,
            "{value}"
        );
    };
    check("60 Ohm", "passed");
    check("120 Ohm", "failed");
    check("40 Ohm", "failed");
    check("OL", "failed");
}
