//! JCGM 100:2008 (GUM) and worked uncertainties, from what a data sheet says to what a verdict shows.

use super::{near, one_reading};

/// The standard uncertainty that a verdict shows of a reading in volts.
fn volts(value: &str, doubt: &str, expected: f64, within: f64) {
    let found = one_reading("voltage", "V", r#"{ at_least = "0 V" }"#, value, doubt);
    near(&found["uncertainty"], expected, within, value);
}

/// GUM 4.3.7, example 2: a voltmeter of 14e-6 of the reading + 2e-6 of its range of 1 V, reading
/// 0.928571 V: a = 15.0 µV, u = 8.7 µV (from memory, recomputed).
#[test]
fn the_voltmeter() {
    volts(
        "0.928571 V",
        r#"accuracy = "0.0014 % rdg + 2 uV""#,
        8.7e-6,
        0.05e-6,
    );
}

/// GUM F.2.2.1: the resolution δ of an indication gives 0.29 δ.
#[test]
fn a_resolution_gives_0_29_of_itself() {
    volts("12.3 V", "", 0.29 * 0.1, 0.005 * 0.1);
    volts("12.345 V", "", 0.29 * 0.001, 0.005 * 0.001);
}

/// 12.34 V, 0.8 % of reading + 1 digit of 0.01 V, half-digit resolution: parts 0.062769521 and
/// 0.002886751 (`GTC`, `uncertainties` and by hand).
#[test]
fn accuracy_and_resolution_combine() {
    let combined = f64::hypot(0.062_769_521, 0.002_886_751);
    volts(
        "12.34 V",
        r#"accuracy = "0.8 % rdg + 1 dgt""#,
        combined,
        5e-10,
    );
}

/// With the part of temperature, 0.014249005, given as a standard uncertainty: 0.064431206.
#[test]
fn a_standard_uncertainty_is_taken_as_it_is() {
    volts(
        "12.34 V",
        r#"uncertainty = "0.064431206 V""#,
        0.064_431_206,
        1e-12,
    );
}
