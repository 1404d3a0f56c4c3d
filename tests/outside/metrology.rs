//! What the measurement chain comes to, as JSON, for `metrology.py` to hold against
//! reference libraries: every unit with values converted, and the uncertainties of
//! instrument settings by name. The settings themselves are written once more there.

use serde_json::{Value, json};
use trisect_measure::{
    Accuracy, AsFound, Budget, Calibration, CalibrationKind, Quantity, Ratiometric, Specification,
    TemperatureCoefficient, Unit, combine,
};

type Failure = Box<dyn std::error::Error>;

fn main() -> Result<(), Failure> {
    let units: Vec<Value> = Unit::ALL.iter().map(|unit| converted(*unit)).collect();
    let budgets = budgets()?;
    let uncertainties: serde_json::Map<String, Value> = budgets
        .into_iter()
        .map(|(name, u)| (name.to_owned(), json!(u)))
        .collect();
    let all =
        json!({"units": units, "uncertainties": uncertainties, "calibrations": calibrations()?});
    println!("{all}");
    Ok(())
}

fn converted(unit: Unit) -> Value {
    let values = [-40.0, 0.0, 0.1, 1.0, 12.4, 1000.0];
    json!({
        "symbol": unit.symbol(),
        "quantity": unit.quantity().word(),
        "values": values.map(|x| [x, unit.to_si(x)]),
        "spans": values.map(|x| [x, unit.span_to_si(x)]),
    })
}

/// A data sheet, kept for the whole run: a specification borrows it.
fn meter(accuracy: &str, temperature: Option<&str>) -> Result<Specification<'static>, Failure> {
    let accuracy = Box::leak(Box::new(Accuracy::parse(accuracy)?));
    let temperature = temperature.map(TemperatureCoefficient::parse);
    let temperature = temperature.transpose()?;
    Ok(Specification {
        accuracy: Some(accuracy),
        temperature: temperature.map(|one| &*Box::leak(Box::new(one))),
        ..Specification::default()
    })
}

/// Each in the unit that the reading is in.
fn budgets() -> Result<Vec<(&'static str, f64)>, Failure> {
    let volts = |m: Specification<'_>, x, digit, span| m.budget(Quantity::Voltage, x, digit, span);
    let (psi, kelvin) = (Unit::PSI, Unit::CELSIUS);
    let bar = |m: Specification<'_>, x: f64, end: f64| {
        m.budget(
            Quantity::Pressure,
            Unit::BAR.to_si(x),
            None,
            Some(Unit::BAR.to_si(end)),
        )
    };
    let in_psi = |budget: Budget| psi.span_from_si(budget.combined());
    let gauge = Specification {
        resolution: Some(psi.span_to_si(0.1)),
        ..meter("0.25 % FS", Some("0.02 % FS/K over 10 K"))?
    };
    let ratiometric = Specification {
        supply: Some(Ratiometric::new(
            (0.0, psi.to_si(100.0)),
            (0.1, 0.9),
            0.002,
        )?),
        ..meter("1 psi", None)?
    };
    let loop_meter =
        meter("0.05 % rdg + 3 uA", None)?.budget(Quantity::Current, 0.012, None, None)?;
    let loop_sensor = bar(meter("0.5 % FS", None)?, 125.0, 250.0)?;
    let absolute = Budget {
        barometer: 200.0,
        ..meter("0.1 % rdg", None)?.budget(Quantity::Pressure, psi.to_si(19.7), None, None)?
    };
    let fresh = Budget {
        calibration: 0.02,
        ..volts(meter("0.5 % rdg + 3 dgt", None)?, 12.6, Some(0.01), None)?
    };
    let thermometer = meter("1 % rdg + 1 degC", None)?;
    let thermometer =
        thermometer.budget(Quantity::Temperature, kelvin.to_si(85.0), Some(0.1), None)?;
    let ohms = |text, x, digit| {
        meter(text, None)?
            .budget(Quantity::Resistance, x, Some(digit), None)
            .map_err(Failure::from)
    };
    Ok(vec![
        (
            "voltmeter of the GUM",
            volts(
                meter("14 ppm rdg + 2 ppm range", None)?,
                0.928571,
                None,
                Some(1.0),
            )?
            .combined(),
        ),
        (
            "hand-held, worked",
            volts(
                meter("0.8 % rdg + 1 dgt", Some("0.1 %/K over 2 K"))?,
                12.34,
                Some(0.01),
                None,
            )?
            .combined(),
        ),
        (
            "hand-held, part of its accuracy a kelvin",
            volts(
                meter("0.5 % rdg + 3 dgt", Some("0.1 x accuracy/K over 12 K"))?,
                -24.6,
                Some(0.01),
                None,
            )?
            .combined(),
        ),
        (
            "current loop, worked",
            combine(&[
                loop_sensor.combined() / 1e5,
                loop_meter.combined() * 250.0 / 0.016,
            ]),
        ),
        (
            "fixed half-width",
            volts(meter("± 0.05 V", None)?, 9.0, None, None)?.combined(),
        ),
        (
            "pressure of full scale, warm",
            in_psi(gauge.budget(
                Quantity::Pressure,
                psi.to_si(12.4),
                None,
                Some(psi.to_si(60.0)),
            )?),
        ),
        (
            "ratiometric with its supply",
            in_psi(ratiometric.budget(Quantity::Pressure, psi.to_si(40.0), None, None)?),
        ),
        ("absolute less the air", absolute.combined()),
        ("calibrated", fresh.combined()),
        ("calibration overdue", fresh.widened(2.0).combined()),
        ("thermometer", thermometer.combined()),
        ("ohmmeter", ohms("1 % rdg + 5 dgt", 118.3, 0.1)?.combined()),
        (
            "entered by eye",
            in_psi(Specification::default().budget(
                Quantity::Pressure,
                psi.to_si(12.4),
                Some(psi.span_to_si(0.1)),
                None,
            )?),
        ),
    ])
}

fn fitted(
    kind: CalibrationKind,
    points: &[(f64, f64)],
    u: Option<f64>,
    at: f64,
) -> Result<Value, Failure> {
    let points: Vec<AsFound> = points
        .iter()
        .map(|&(reference, shown)| AsFound { reference, shown })
        .collect();
    let calibration = Calibration::fit(kind, &points, u)?;
    let correction = calibration.correction(at);
    Ok(json!({"value": correction.value, "u": correction.u, "residual": calibration.residual().0}))
}

/// The points are those of `metrology.py`.
fn calibrations() -> Result<Value, Failure> {
    let points = [
        (0.0, 0.21),
        (10.0, 10.28),
        (20.0, 20.31),
        (30.0, 30.42),
        (40.0, 40.44),
    ];
    Ok(json!({
        "line": fitted(CalibrationKind::Line, &points, None, 25.0)?,
        "line, beyond": fitted(CalibrationKind::Line, &points, None, 60.0)?,
        "offset": fitted(CalibrationKind::Offset, &points, Some(0.03), 25.0)?,
    }))
}
