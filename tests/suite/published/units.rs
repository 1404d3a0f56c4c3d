//! NIST SP 811, appendix B (from memory, agreeing with what was recomputed), and UCUM 2.2: factors to SI,
//! as a reading in the unit comes out in pascals.

use super::{near, one_reading};

#[test]
fn factors_of_pressure() {
    let check = |unit: &str, pascals: f64, within: f64| {
        let reading = one_reading(
            "pressure",
            "Pa",
            r#"{ at_least = "0 Pa" }"#,
            &format!("1 {unit}"),
            "",
        );
        near(&reading["value"], pascals, within * pascals, unit);
    };
    check("psi", 6894.757, 1e-7);
    // UCUM derives it from m[Hg] = 133322 Pa: 3 ppm from SP 811's conventional inch.
    check("inHg", 3386.389, 4e-6);
    check("bar", 1e5, 1e-12);
    check("kPa", 1e3, 1e-12);
    // UCUM's own spelling; its value has more digits than SP 811 prints.
    check("[psi]", 6_894.757_293, 1e-7);
}

#[test]
fn temperatures_have_an_offset_and_their_spans_none() {
    let check = |value: &str, celsius: f64| {
        let reading = one_reading(
            "temperature",
            "degC",
            r#"{ at_least = "-40 degC" }"#,
            value,
            r#"uncertainty = "1.8 degF""#,
        );
        near(&reading["value"], celsius, 1e-9, value);
        near(&reading["uncertainty"], 1.0, 1e-9, value);
    };
    // SP 811 B.8: t/°C = (t/°F − 32)/1.8, T/K = t/°C + 273.15.
    check("212 degF", 100.0);
    check("-40 degF", -40.0);
    check("273.15 K", 0.0);
}
