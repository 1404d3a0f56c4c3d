#![allow(clippy::unwrap_used)]
use super::*;
use serde_json::{Value, json};
use trisect_measure::{Coupling, Unit, combine};

fn chain(settings: Value) -> Result<Chain, String> {
    let mut settings = settings.as_object().cloned().unwrap();
    settings.insert("port".to_owned(), json!("/dev/x"));
    let chain = Chain::take(&mut settings, Some(7)).map_err(|e| format!("{}: {}", e.field, e.why));
    assert!(
        chain.is_err() || settings.len() == 1,
        "the adapter sees {settings:?}"
    );
    chain
}

fn sample(function: Function, value: f64, digit: Option<f64>, span: Option<f64>) -> Sample {
    Sample {
        channel: 0,
        function,
        amount: Amount::Exactly(value),
        digit,
        span,
        coupling: Some(Coupling::Dc),
        flags: Flags::empty(),
    }
}

fn volts(value: f64) -> Sample {
    sample(Function::Voltage, value, Some(0.01), Some(40.0))
}

fn psi(value: f64) -> Sample {
    let si = Unit::PSI.to_si(value);
    sample(Function::Pressure, si, None, Some(Unit::PSI.to_si(60.0)))
}

fn measure(settings: Value, sample: &Sample, air: Option<Air>) -> Result<Measured, ChainError> {
    let shown = Shown {
        sample,
        given: None,
        reference: None,
        today: "2027-03-02".parse().unwrap(),
        air,
    };
    chain(settings)
        .unwrap()
        .channel(sample.channel)
        .measure(&shown)
}

fn near(found: f64, expected: f64) {
    assert!(
        (found - expected).abs() <= 1e-9 * expected.abs().max(1e-3),
        "{found} for {expected}"
    );
}

/// Recomputed with `GTC`: 12.34 V at 0.8 % of reading + 1 digit of 0.01 V,
/// half-digit resolution, 0.1 %/K over 2 K.
#[test]
fn accuracy_resolution_and_temperature_combine() {
    let settings = json!({
        "accuracy": {"voltage": "0.8 % rdg + 1 dgt"},
        "temperature_coefficient": "0.1 %/K over 2 K",
    });
    let measured = measure(settings, &volts(12.34), None).unwrap();
    assert!(
        (measured.uncertainty - 0.064_431_206).abs() < 5e-10,
        "{measured:?}"
    );
    assert_eq!((measured.calibration, measured.latency), (None, Some(7)));
    let bare = measure(json!({}), &volts(12.34), None).unwrap();
    assert!((bare.uncertainty - 0.002_886_751).abs() < 5e-10, "{bare:?}");
}

#[test]
fn accuracy_follows_the_range_and_the_coupling() {
    let settings = json!({"accuracy": {
        "voltage": {"4 V": "10 mV", "otherwise": "1 V"},
        "voltage AC": "2 V",
    }});
    let u = |sample: &Sample| measure(settings.clone(), sample, None).unwrap().uncertainty;
    let half = |sample: &Sample| (u(sample).powi(2) - 0.01f64.powi(2) / 12.0).sqrt() * 3f64.sqrt();
    near(
        half(&sample(Function::Voltage, 3.0, Some(0.01), Some(4.0))),
        0.01,
    );
    near(half(&volts(12.0)), 1.0);
    let alternating = Sample {
        coupling: Some(Coupling::Ac),
        ..volts(12.0)
    };
    near(half(&alternating), 2.0);
}

const LINE: &str = r#"{"kind": "line", "points": [["0 psi", "0.2 psi"], ["15 psi", "15.3 psi"], ["30 psi", "30.4 psi"]]}"#;

fn calibration(due: &str) -> Value {
    let mut value: Value = serde_json::from_str(LINE).unwrap();
    value["due"] = json!(due);
    value
}

#[test]
fn a_calibration_corrects_and_is_named() {
    let measured = measure(
        json!({"calibration": calibration("2027-03-02")}),
        &psi(15.3),
        None,
    )
    .unwrap();
    near(Unit::PSI.from_si(measured.amount.edge()), 15.0);
    assert_eq!(measured.flags, Flags::empty());
    assert!(measured.calibration.is_some());
    // A voltage is not corrected by what was found of pressures.
    let other = measure(
        json!({"calibration": calibration("2027-03-02")}),
        &volts(15.3),
        None,
    )
    .unwrap();
    assert_eq!(
        (other.amount, other.calibration),
        (Amount::Exactly(15.3), None)
    );
}

#[test]
fn an_overdue_calibration_is_flagged_and_widens() {
    let with = |due: &str, more: Value| {
        let mut settings = json!({"calibration": calibration(due), "accuracy": "0.25 % FS", "resolution": "0.1 psi"});
        settings
            .as_object_mut()
            .unwrap()
            .extend(more.as_object().cloned().unwrap());
        measure(settings, &psi(15.3), None).unwrap()
    };
    let step = Unit::PSI.span_to_si(0.1) / 12f64.sqrt();
    let fresh = with("2027-03-02", json!({}));
    let ages = (fresh.uncertainty.powi(2) - step * step).sqrt();
    let overdue = with("2027-03-01", json!({}));
    assert_eq!(overdue.flags, Flags::OUT_OF_CALIBRATION);
    near(overdue.uncertainty, combine(&[2.0 * ages, step]));
    near(overdue.amount.edge(), fresh.amount.edge());
    let more = with("2027-03-01", json!({"overdue_factor": 5}));
    near(more.uncertainty, combine(&[5.0 * ages, step]));
}

#[test]
fn an_absolute_pressure_becomes_a_gauge_pressure_with_the_air_taken_off() {
    let settings = json!({"reference": "absolute", "accuracy": "0.1 psi"});
    let absolute = psi(19.7);
    let refused = measure(settings.clone(), &absolute, None);
    assert_eq!(refused, Err(ChainError::NoBarometer));
    let air = Air {
        pressure: 100_000.0,
        u: 200.0,
    };
    let measured = measure(settings.clone(), &absolute, Some(air)).unwrap();
    near(measured.amount.edge(), Unit::PSI.to_si(19.7) - 1e5);
    near(
        measured.uncertainty,
        combine(&[Unit::PSI.span_to_si(0.1) / 3f64.sqrt(), 200.0]),
    );
    assert_eq!(measured.barometer, Some(1e5));
    // Other quantities have no zero to argue about.
    assert!(measure(settings, &volts(1.0), None).is_ok());
}

/// What is written with the value counts before what the settings say.
#[test]
fn a_written_reference_decides() {
    let air = Some(Air {
        pressure: 1e5,
        u: 0.0,
    });
    let gauge = psi(5.0);
    let barometer = |settings: Value, reference| {
        let shown = Shown {
            sample: &gauge,
            given: Some(10.0),
            reference,
            today: "2027-03-02".parse().unwrap(),
            air,
        };
        let measured = chain(settings).unwrap().channel(0).measure(&shown).unwrap();
        assert_eq!(measured.uncertainty, 10.0);
        measured.barometer
    };
    let absolute = json!({"reference": "absolute"});
    assert_eq!(barometer(absolute.clone(), Some(Reference::Gauge)), None);
    assert_eq!(barometer(absolute, None), Some(1e5));
    assert_eq!(barometer(json!({}), Some(Reference::Absolute)), Some(1e5));
    assert_eq!(barometer(json!({}), None), None);
}

#[test]
fn an_overload_stays_one_sided() {
    let mut overload = psi(60.0);
    overload.amount = Amount::Above(4e5);
    let settings = json!({"calibration": calibration("2020-01-01"), "accuracy": "0.25 % FS"});
    let measured = measure(settings, &overload, None).unwrap();
    assert_eq!(
        (measured.amount, measured.uncertainty),
        (Amount::Above(4e5), 0.0)
    );
    assert_eq!(measured.flags, Flags::OUT_OF_CALIBRATION);
}

#[test]
fn a_ratiometric_sensor_is_as_sure_as_its_supply() {
    let settings = json!({"ratiometric_supply": {
        "supply": "5 V", "uncertainty": "50 mV", "output": ["0.5 V", "4.5 V"], "range": ["0 psi", "100 psi"],
    }});
    let measured = measure(settings, &psi(50.0), None).unwrap();
    near(Unit::PSI.span_from_si(measured.uncertainty), 0.625);
}

#[test]
fn a_channel_has_what_is_said_of_it() {
    let chain = chain(json!({
        "accuracy": "1 psi", "latency": "20 ms",
        "by_channel": {"1": {"reference": "absolute", "accuracy": "2 psi"}},
    }))
    .unwrap();
    assert_eq!(chain.channel(0).reference, PressureReference::Gauge);
    assert_eq!(chain.channel(1).reference, PressureReference::Absolute);
    assert_eq!(chain.channel(1).latency, Some(20_000_000));
    assert_ne!(chain.channel(0).accuracies, chain.channel(1).accuracies);
}

#[test]
fn mistakes_name_the_member_and_the_way_out() {
    let check = |settings: Value, part: &str| {
        let error = chain(settings).unwrap_err();
        assert!(error.contains(part), "{error}");
    };
    check(json!({"accuracy": 3}), "accuracy: 3 is no accuracy");
    check(json!({"accuracy": {"volts": "1 V"}}), "voltage, current");
    check(
        json!({"resolution": "0.1"}),
        "resolution: `0.1` has no unit",
    );
    check(json!({"temperature_coefficient": "0.1 %"}), "over 2 K");
    check(json!({"overdue_factor": 0.5}), "from 1 to 100");
    check(json!({"reference": "sealed"}), "`absolute`");
    check(json!({"latency": 3}), "latency: 3 is no text");
    check(json!({"calibration": {"kind": "line"}}), "calibration:");
    check(
        json!({"ratiometric_supply": {"supply": "5 V"}}),
        "ratiometric_supply:",
    );
    check(json!({"by_channel": {"one": {}}}), "channel numbers");
    check(
        json!({"by_channel": {"1": {"port": "x"}}}),
        "by_channel.1.port",
    );
    check(
        json!({"by_channel": {"1": {"accuracy": 3}}}),
        "by_channel.1.accuracy",
    );
}
