//! How an instrument's accuracy depends on how warm it is.

use crate::{Accuracy, AccuracyError, Quantity, parse_span};

/// A temperature coefficient with how far from its reference temperature the
/// instrument may be: `0.1 % rdg/K over 2 K`.
#[derive(Clone, Debug, PartialEq)]
pub struct TemperatureCoefficient {
    per: Per,
    /// Kelvins between the reference temperature and the bay's.
    over: f64,
}

#[derive(Clone, Debug, PartialEq)]
enum Per {
    /// Half-widths that add up, for each kelvin.
    Kelvin(Accuracy),
    /// A part of the accuracy itself, for each kelvin, as hand-held meters have it.
    OfAccuracy(f64),
}

/// A temperature coefficient that cannot be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "cannot read `{0}` as a temperature coefficient: write it for a kelvin and for how many, such as `0.1 % rdg/K over 2 K` or `0.1 x accuracy/K over 5 K`"
)]
pub struct TemperatureCoefficientError(pub String);

impl TemperatureCoefficient {
    /// Reads a coefficient: terms as in [`Accuracy::parse`] or `N x accuracy`,
    /// then `/K` (or `/degC`, `/degF`), then `over` and a difference of
    /// temperature. A bare percent is of the reading, as data sheets mean it.
    ///
    /// # Errors
    /// What cannot be read, with how to write it.
    pub fn parse(text: &str) -> Result<TemperatureCoefficient, TemperatureCoefficientError> {
        let wrong = || TemperatureCoefficientError(text.trim().to_owned());
        let (coefficient, over) = text.split_once(" over ").ok_or_else(wrong)?;
        let over = parse_span(over, Quantity::Temperature).map_err(|_| wrong())?;
        let (body, degree) = coefficient.trim().rsplit_once('/').ok_or_else(wrong)?;
        // How many of these degrees a kelvin has.
        let degrees = match degree.trim() {
            "K" | "degC" | "°C" | "Cel" => 1.0,
            "degF" | "°F" => 1.8,
            _ => return Err(wrong()),
        };
        Ok(TemperatureCoefficient {
            per: per(body.trim()).ok_or_else(wrong)?,
            over: over * degrees,
        })
    }

    /// The half-width that it adds at a reading, in SI; `accuracy` is the
    /// half-width of the instrument's accuracy there.
    ///
    /// # Errors
    /// When a term needs a digit or span that is not given.
    pub fn half_width(
        &self,
        reading: f64,
        digit: Option<f64>,
        span: Option<f64>,
        accuracy: f64,
    ) -> Result<f64, AccuracyError> {
        let per_kelvin = match &self.per {
            Per::Kelvin(terms) => terms.half_width(reading, digit, span)?,
            Per::OfAccuracy(part) => part * accuracy,
        };
        Ok(per_kelvin * self.over)
    }
}

fn per(body: &str) -> Option<Per> {
    if let Some(part) = body.strip_suffix("accuracy") {
        let part = part.trim().trim_end_matches(['x', '×', '*']);
        let part = part.trim().parse::<f64>().ok();
        return part
            .filter(|p| p.is_finite() && *p >= 0.0)
            .map(Per::OfAccuracy);
    }
    let bare = body
        .strip_suffix('%')
        .map(|number| format!("{number}% rdg"));
    let terms = Accuracy::parse(bare.as_deref().unwrap_or(body)).ok()?;
    Some(Per::Kelvin(terms))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str, reading: f64, accuracy: f64, half: f64) {
        let got = TemperatureCoefficient::parse(text)
            .map(|c| c.half_width(reading, Some(0.01), Some(40.0), accuracy));
        assert!(
            matches!(got, Ok(Ok(x)) if (x - half).abs() <= 1e-12 * half),
            "{text}: {got:?} for {half}"
        );
    }

    #[test]
    fn data_sheet_spellings() {
        // 12.34 V, 0.1 %/K over 2 K, whose standard uncertainty is 0.014249005 V.
        check("0.1 %/K over 2 K", 12.34, 0.0, 0.024_68);
        check("0.1 % rdg/K over 2 K", 12.34, 0.0, 0.024_68);
        check("0.01 % FS/degC over 10 degC", 1.0, 0.0, 0.04);
        check("0.05 % rdg + 1 dgt/K over 3 K", 10.0, 0.0, 3.0 * 0.015);
        check("0.1 x accuracy/K over 5 K", 1.0, 0.08, 0.04);
        check("0.1 × accuracy/°C over 9 degF", 1.0, 0.08, 0.04);
        check("1 mV/degF over 9 degF", 1.0, 0.0, 0.009);
    }

    #[test]
    fn what_cannot_be_read_says_how_to_write_it() {
        for text in [
            "",
            "0.1 %",
            "0.1 %/K",
            "0.1 % over 2 K",
            "0.1 %/s over 2 K",
            "0.1 %/K over 2 V",
            "-0.1 %/K over 2 K",
            "0.1 %/K over -2 K",
            "x accuracy/K over 1 K",
            "nan x accuracy/K over 1 K",
        ] {
            let error = TemperatureCoefficient::parse(text).map_err(|e| e.to_string());
            assert!(
                matches!(&error, Err(m) if m.contains("over 2 K")),
                "{text}: {error:?}"
            );
        }
    }
}
