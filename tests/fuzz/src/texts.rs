//! What people and programs write.

use trisect_measure::{
    Accuracy, Quantity, Unit, parse_duration, parse_entry, parse_span, parse_value, senml,
};
use trisect_rules::Severity;

fn text(data: &[u8]) -> Option<&str> {
    std::str::from_utf8(data).ok()
}

pub fn unit_and_entry(data: &[u8]) {
    let Some(text) = text(data) else { return };
    if let Ok(unit) = Unit::parse(text) {
        assert_eq!(Unit::parse(unit.symbol()), Ok(unit));
    }
    let _ = parse_entry(text);
    for quantity in Quantity::ALL {
        if let Ok(value) = parse_value(text, quantity) {
            assert!(value.is_finite(), "{value} of {text}");
        }
        if let Ok(span) = parse_span(text, quantity) {
            assert!(span >= 0.0, "{span} of {text}");
        }
        if let Ok(entry) = parse_entry(text)
            && let Ok((amount, step)) = entry.to_si(text, quantity, Some(60.0))
        {
            assert!(amount.edge().is_finite(), "{amount:?} of {text}");
            assert!(step.is_none_or(|step| step >= 0.0), "{step:?} of {text}");
        }
    }
    if let Ok(nanos) = parse_duration(text) {
        assert!(nanos >= 0, "{nanos} of {text}");
    }
}

pub fn accuracy(data: &[u8]) {
    let Some(text) = text(data) else { return };
    if let Ok(accuracy) = Accuracy::parse(text)
        && let Ok(width) = accuracy.half_width(12.0, Some(0.01), Some(40.0))
    {
        assert!(width >= 0.0, "{width} of {text}");
    }
}

pub fn senml(data: &[u8]) {
    let Some(text) = text(data) else { return };
    let now = 1.7e9;
    if let Ok(records) = senml::resolve(text, now) {
        for record in records {
            assert!(record.time.is_finite(), "{record:?}");
            if let Some((number, _)) = record.number() {
                assert!(number.is_finite(), "{record:?}");
            }
        }
    }
}

/// A rule set loads, or there is a defect that says where.
pub fn rule_set(data: &[u8]) {
    let Some(text) = text(data) else { return };
    let examination = trisect_rules::examine(text);
    let errors = examination
        .defects
        .iter()
        .filter(|defect| defect.severity == Severity::Error);
    assert_eq!(examination.rule_set.is_none(), errors.count() > 0);
    for defect in &examination.defects {
        assert!(defect.line >= 1 && defect.column >= 1, "{defect:?}");
        assert!(
            !defect.message.is_empty() && !defect.hint.is_empty(),
            "{defect:?}"
        );
    }
}

pub fn case(data: &[u8]) {
    let Some(text) = text(data) else { return };
    if let Err(defects) = trisect_rules::case::parse(text) {
        assert!(!defects.is_empty());
    }
}
