//! An instrument's accuracy as its data sheet writes it, and the standard
//! uncertainty it stands for (GUM, JCGM 100).

use crate::Unit;

/// Half-widths that add up: `0.5 % rdg + 3 dgt`, `0.25 % FS`, `± 0.05 V`.
#[derive(Clone, Debug, PartialEq)]
pub struct Accuracy {
    terms: Vec<Term>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Term {
    /// A fraction of the reading.
    Reading(f64),
    /// So many counts of the last digit.
    Digits(f64),
    /// A fraction of the range or span.
    Span(f64),
    /// A fixed half-width in SI.
    Fixed(f64),
}

/// An accuracy that cannot be read, or cannot be applied to a reading.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum AccuracyError {
    /// A term that is not understood.
    #[error(
        "cannot read `{0}` as an accuracy: write it as on the data sheet, such as `0.5 % rdg + 3 dgt`, `0.25 % FS` or `± 0.05 V`"
    )]
    Term(String),
    /// Digits are given but the size of one is not known.
    #[error(
        "the accuracy counts digits, but the size of one digit is not known: give the resolution"
    )]
    NoDigit,
    /// A part of the span is given but the span is not known.
    #[error("the accuracy is a part of the span, but the span is not known: give the range")]
    NoSpan,
}

impl Accuracy {
    /// Reads an accuracy: terms joined by `+`, each `N % rdg`, `N dgt`, `N % FS`
    /// (also `ppm`, and `reading`, `digits`, `counts`, `range`, `span`), or a
    /// value with its unit. A leading `±` is understood.
    ///
    /// # Errors
    /// [`AccuracyError::Term`] names the term that is not understood.
    pub fn parse(text: &str) -> Result<Accuracy, AccuracyError> {
        let body = text
            .trim()
            .trim_start_matches("±")
            .trim_start_matches("+/-");
        let body = body.trim().trim_start_matches('(').trim_end_matches(')');
        let terms = body.split('+').map(term).collect::<Result<Vec<_>, _>>()?;
        Ok(Accuracy { terms })
    }

    /// The half-width at a reading, in SI. `digit` is one count of the display,
    /// `span` the end of the range, both in SI.
    ///
    /// # Errors
    /// When a term needs a digit or span that is not given.
    pub fn half_width(
        &self,
        reading: f64,
        digit: Option<f64>,
        span: Option<f64>,
    ) -> Result<f64, AccuracyError> {
        self.terms.iter().try_fold(0.0, |sum, term| {
            Ok(sum
                + match *term {
                    Term::Reading(part) => part * reading.abs(),
                    Term::Digits(count) => count * digit.ok_or(AccuracyError::NoDigit)?,
                    Term::Span(part) => part * span.ok_or(AccuracyError::NoSpan)?.abs(),
                    Term::Fixed(width) => width,
                })
        })
    }

    /// The type-B standard uncertainty: the half-width of a rectangular
    /// distribution over √3 (GUM 4.3.7).
    ///
    /// # Errors
    /// As [`Accuracy::half_width`].
    pub fn standard_uncertainty(
        &self,
        reading: f64,
        digit: Option<f64>,
        span: Option<f64>,
    ) -> Result<f64, AccuracyError> {
        Ok(self.half_width(reading, digit, span)? / 3f64.sqrt())
    }
}

/// The uncertainty that a display's step leaves: rectangular over half a step
/// each way, so 0.29 of the step (GUM F.2.2.1).
pub fn resolution_uncertainty(step: f64) -> f64 {
    step.abs() / 12f64.sqrt()
}

/// Independent standard uncertainties combined: the root of their squares (GUM 5.1.2).
pub fn combine(parts: &[f64]) -> f64 {
    parts.iter().map(|u| u * u).sum::<f64>().sqrt()
}

fn term(text: &str) -> Result<Term, AccuracyError> {
    let text = text.trim().trim_start_matches("±").trim();
    let wrong = || AccuracyError::Term(text.to_owned());
    let end = text
        .find(|c: char| !(c.is_ascii_digit() || c == '.' || c == 'e' || c == '-'))
        .unwrap_or(text.len());
    // "1e" of "1 e…" cannot occur: a space ends the number first.
    let number: f64 = text[..end].parse().map_err(|_| wrong())?;
    if !(number.is_finite() && number >= 0.0) {
        return Err(wrong());
    }
    let rest = text[end..].trim();
    let part = rest
        .strip_prefix('%')
        .map(|word| (word, 1e-2))
        .or_else(|| rest.strip_prefix("ppm").map(|word| (word, 1e-6)));
    if let Some((word, scale)) = part {
        let word = word.trim();
        return match word.strip_prefix("of ").unwrap_or(word).trim() {
            "rdg" | "rd" | "reading" => Ok(Term::Reading(number * scale)),
            "FS" | "fs" | "full scale" | "range" | "span" => Ok(Term::Span(number * scale)),
            _ => Err(wrong()),
        };
    }
    match rest {
        "dgt" | "dgts" | "d" | "digit" | "digits" | "count" | "counts" => Ok(Term::Digits(number)),
        unit => Unit::parse(unit)
            .map(|u| Term::Fixed(u.span_to_si(number)))
            .map_err(|_| wrong()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str, reading: f64, digit: Option<f64>, span: Option<f64>, u: f64) {
        let got = Accuracy::parse(text).and_then(|a| a.standard_uncertainty(reading, digit, span));
        assert!(
            matches!(got, Ok(x) if (x / u - 1.0).abs() < 1e-8),
            "{text}: {got:?} for {u}"
        );
    }

    /// GUM (JCGM 100:2008) 4.3.7 example 2 and 5.1.5 (from memory, recomputed):
    /// 14e-6 of reading and 2e-6 of a 1 V range at 0.928571 V are 15.0 µV half
    /// wide, 8.7 µV standard; with 12 µV from repetition, 15 µV together.
    #[test]
    fn voltmeter_of_the_gum() {
        let meter = Accuracy::parse("14 ppm rdg + 2 ppm range");
        let half = meter
            .clone()
            .and_then(|a| a.half_width(0.928571, None, Some(1.0)));
        assert!(
            matches!(half, Ok(a) if (a - 15.0e-6).abs() < 0.05e-6),
            "{half:?}"
        );
        let u = meter.and_then(|a| a.standard_uncertainty(0.928571, None, Some(1.0)));
        assert!(matches!(u, Ok(u) if (u - 8.7e-6).abs() < 0.05e-6), "{u:?}");
        assert!((combine(&[12e-6, 8.66e-6]) - 15e-6).abs() < 0.5e-6);
    }

    /// Recomputed with the libraries `GTC` and `uncertainties` and by hand.
    #[test]
    fn worked_meter() {
        check("0.8 % rdg + 1 dgt", 12.34, Some(0.01), None, 0.062_769_521);
        assert!((resolution_uncertainty(0.01) - 0.002_886_751).abs() < 1e-9);
        let all = combine(&[0.062_769_521, 0.002_886_751, 0.014_249_005]);
        assert!((all - 0.064_431_206).abs() < 1e-9);
        assert!((combine(&[all, 0.008_602_325]) - 0.065_002_925).abs() < 1e-9);
    }

    #[test]
    fn data_sheet_spellings() {
        check("± 0.05 V", 9.0, None, None, 0.05 / 3f64.sqrt());
        check(
            "±(0.5% of reading + 3 digits)",
            10.0,
            Some(0.01),
            None,
            0.08 / 3f64.sqrt(),
        );
        check("0.25 % FS", 1.0, None, Some(400e3), 1000.0 / 3f64.sqrt());
        check("1 degF", 300.0, None, None, 5.0 / 9.0 / 3f64.sqrt());
        check("50 mV + 1 % rdg", -10.0, None, None, 0.15 / 3f64.sqrt());
    }

    #[test]
    fn what_is_missing_or_senseless_is_said() {
        assert_eq!(
            Accuracy::parse("3 dgt").and_then(|a| a.half_width(1.0, None, None)),
            Err(AccuracyError::NoDigit)
        );
        for text in [
            "",
            "about right",
            "-1 % rdg",
            "5 %",
            "1 % rdg +",
            "nan V",
            "1e999 V",
            "é",
        ] {
            assert!(
                matches!(Accuracy::parse(text), Err(AccuracyError::Term(_))),
                "{text}"
            );
        }
    }
}
