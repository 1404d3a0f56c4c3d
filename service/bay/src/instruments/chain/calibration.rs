//! Calibrations in an instrument's settings, and as they are kept.

use std::sync::Arc;

use serde::Deserialize;
use serde_json::Value;
use sha2::{Digest, Sha256};
use trisect_journal::CalibrationText;
use trisect_measure::{
    AsFound, Calibration, CalibrationKind, Date, Function, Quantity, Unit, parse_entry, parse_span,
    parse_value,
};

use super::CalibrationRecord;

/// A calibration with what names it and when it ends.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Calibrated {
    /// The record's id, shared by all readings that name it.
    pub(crate) id: Arc<str>,
    pub(crate) calibration: Calibration,
    pub(crate) quantity: Quantity,
    pub(crate) due: Option<Date>,
    /// As it is shown, and kept with the readings.
    pub(crate) record: CalibrationRecord,
}

/// How a calibration is written in settings.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    kind: String,
    points: Vec<[String; 2]>,
    uncertainty: Option<String>,
    due: Option<String>,
    by: Option<String>,
    certificate: Option<String>,
}

/// Whether a value in settings is one calibration rather than one a function.
pub(crate) fn is_one(value: &Value) -> bool {
    value.get("points").is_some() || value.get("kind").is_some()
}

impl Calibrated {
    /// Reads `{kind, points = [[reference, shown], …], uncertainty?, due?, by?,
    /// certificate?}`; the points' units say the quantity.
    pub(crate) fn read(value: &Value, function: Option<Function>) -> Result<Calibrated, String> {
        let written: Written = serde_json::from_value(value.clone()).map_err(|error| {
            format!(
                "{error}: write {{ kind = \"line\", points = [[\"0 psi\", \"0.2 psi\"], …], due = \"2027-03-01\" }}, each point reference first"
            )
        })?;
        let unit = unit_of(&written)?;
        let quantity = unit.quantity();
        if let Some(function) = function.filter(|f| f.quantity() != quantity) {
            return Err(format!(
                "the points are in {unit}, but {} is a {}",
                function.word(),
                function.quantity()
            ));
        }
        let points = written.points.iter().map(|[reference, shown]| {
            Ok(AsFound {
                reference: value_of(reference, quantity)?,
                shown: value_of(shown, quantity)?,
            })
        });
        let points = points.collect::<Result<Vec<_>, String>>()?;
        let uncertainty = written.uncertainty.as_deref();
        let uncertainty = uncertainty.map(|text| parse_span(text, quantity));
        let uncertainty = uncertainty.transpose().map_err(|e| e.to_string())?;
        let kind: CalibrationKind = written.kind.parse().map_err(said)?;
        let due = written.due.as_deref().map(str::parse).transpose();
        let calibration = Calibration::fit(kind, &points, uncertainty).map_err(said)?;
        let mut record = record(&written, &calibration, unit, &points, uncertainty);
        record.calibration = id(&record)?;
        Ok(Calibrated {
            id: Arc::from(record.calibration.as_str()),
            record,
            calibration,
            quantity,
            due: due.map_err(|error: trisect_measure::DateError| error.to_string())?,
        })
    }

    /// Whether its day has passed.
    pub(crate) fn overdue(&self, today: Date) -> bool {
        self.due.is_some_and(|due| due < today)
    }

    /// As the journal keeps it.
    pub(crate) fn kept(&self) -> CalibrationText {
        CalibrationText {
            id: self.record.calibration.clone(),
            // A record of plain texts and numbers: writing it cannot fail.
            record: serde_json::to_string(&self.record).unwrap_or_default(),
        }
    }
}

fn said(error: impl ToString) -> String {
    error.to_string()
}

fn value_of(text: &str, quantity: Quantity) -> Result<f64, String> {
    parse_value(text, quantity).map_err(said)
}

/// The unit of the first point, in which the record is shown.
fn unit_of(written: &Written) -> Result<Unit, String> {
    let first = written.points.first();
    let [reference, _] = first.ok_or("there are no points: give [reference, shown] pairs")?;
    let unit = parse_entry(reference).map_err(said)?.unit;
    unit.ok_or_else(|| format!("`{reference}` has no unit: write one, such as `{reference} psi`"))
}

fn record(
    written: &Written,
    calibration: &Calibration,
    unit: Unit,
    points: &[AsFound],
    uncertainty: Option<f64>,
) -> CalibrationRecord {
    let (residual, freedom) = calibration.residual();
    CalibrationRecord {
        calibration: String::new(),
        kind: calibration.kind(),
        quantity: unit.quantity().word().to_owned(),
        unit: unit.symbol().to_owned(),
        points: points
            .iter()
            .map(|p| [unit.from_si(p.reference), unit.from_si(p.shown)])
            .collect(),
        uncertainty: uncertainty.map(|u| unit.span_from_si(u)),
        residual: unit.span_from_si(residual),
        degrees_of_freedom: freedom as u64,
        due: written.due.clone(),
        by: written.by.clone(),
        certificate: written.certificate.clone(),
    }
}

/// Whether a record that was kept is the one that its id was given to.
pub fn is_of(id: &str, record: &str) -> bool {
    let read = serde_json::from_str::<CalibrationRecord>(record);
    read.is_ok_and(|record| {
        let bare = CalibrationRecord {
            calibration: String::new(),
            ..record.clone()
        };
        record.calibration == id && self::id(&bare).as_deref() == Ok(id)
    })
}

/// An id of the record's content: two that differ have two ids.
fn id(record: &CalibrationRecord) -> Result<String, String> {
    let digest = Sha256::digest(serde_json::to_vec(record).map_err(said)?);
    let head: String = digest.iter().take(6).map(|b| format!("{b:02x}")).collect();
    Ok(format!("cal-{head}"))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use serde_json::json;

    #[test]
    fn a_calibration_is_read_and_named_by_what_it_says() {
        let written = json!({
            "kind": "line",
            "points": [["0 psi", "0.2 psi"], ["15 psi", "15.3 psi"], ["30 psi", "30.4 psi"]],
            "uncertainty": "0.05 psi",
            "due": "2027-03-01",
            "by": "Northmoor instrument room",
            "certificate": "NIR 112",
        });
        let read = Calibrated::read(&written, Some(Function::Pressure)).unwrap();
        assert_eq!(read.quantity, Quantity::Pressure);
        assert_eq!(read.record.points[1], [15.0, 15.3]);
        assert_eq!(read.record.degrees_of_freedom, 1);
        assert!(
            read.record.calibration.starts_with("cal-"),
            "{:?}",
            read.record
        );
        assert!(!read.overdue("2027-03-01".parse().unwrap()));
        assert!(read.overdue("2027-03-02".parse().unwrap()));
        let again = Calibrated::read(&written, None).unwrap();
        assert_eq!(again.record.calibration, read.record.calibration);
        let mut other = written.clone();
        other["due"] = json!("2028-03-01");
        let other = Calibrated::read(&other, None).unwrap();
        assert_ne!(other.record.calibration, read.record.calibration);
        let kept: CalibrationRecord = serde_json::from_str(&read.kept().record).unwrap();
        assert_eq!(kept, read.record);
        let (id, record) = (&read.record.calibration, read.kept().record);
        assert!(is_of(id, &record));
        assert!(!is_of(id, &record.replacen("15.3", "15.8", 1)));
        assert!(!is_of(id, &other.kept().record) && !is_of(id, "{}"));
    }

    #[test]
    fn mistakes_say_what_to_write() {
        let check = |value: Value, part: &str| {
            let error = Calibrated::read(&value, Some(Function::Pressure)).unwrap_err();
            assert!(error.contains(part), "{error}");
        };
        check(json!({"kind": "line"}), "points");
        check(json!({"kind": "line", "points": []}), "no points");
        check(
            json!({"kind": "line", "points": [["0", "0.2 psi"]]}),
            "no unit",
        );
        check(
            json!({"kind": "line", "points": [["0 V", "0.2 V"]]}),
            "pressure",
        );
        check(
            json!({"kind": "curve", "points": [["0 psi", "0 psi"]]}),
            "`offset`, `line`",
        );
        check(
            json!({"kind": "offset", "points": [["0 psi", "0.2 psi"]]}),
            "`uncertainty`",
        );
        check(
            json!({"kind": "offset", "points": [["0 psi", "0.2 psi"]], "uncertainty": "0.1 psi", "due": "soon"}),
            "`2027-03-01`",
        );
        check(
            json!({"kind": "offset", "points": [["0 psi", "0.2 psi"]], "valid": 1}),
            "unknown field",
        );
    }
}
