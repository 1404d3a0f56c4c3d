//! What a pressure counts from: the air outside, or nothing at all.

use crate::{Quantity, Unit, UnitError};

/// The zero of a pressure. Test points count gauge pressure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reference {
    /// Above the air outside: below zero is suction.
    Gauge,
    /// Above no pressure at all.
    Absolute,
}

/// How people write it behind a unit of pressure, beside a bare `g` or `a`.
const SPELLINGS: [(&str, Reference); 10] = [
    ("(g)", Reference::Gauge),
    ("(gauge)", Reference::Gauge),
    (" gauge", Reference::Gauge),
    (" g", Reference::Gauge),
    ("g", Reference::Gauge),
    ("(a)", Reference::Absolute),
    ("(abs)", Reference::Absolute),
    (" absolute", Reference::Absolute),
    (" abs", Reference::Absolute),
    ("a", Reference::Absolute),
];

impl Unit {
    /// Reads a unit that may say what a pressure counts from: `psig`, `psia`,
    /// `barg`, `bar(a)`, `kPa abs`. Without a word it says nothing of it.
    ///
    /// # Errors
    /// As [`Unit::parse`].
    pub fn parse_referenced(text: &str) -> Result<(Unit, Option<Reference>), UnitError> {
        let text = text.trim();
        let plain = match Unit::parse(text) {
            Ok(unit) => return Ok((unit, None)),
            Err(error) => error,
        };
        SPELLINGS
            .iter()
            .filter_map(|(ending, reference)| Some((text.strip_suffix(ending)?, *reference)))
            .filter_map(|(front, reference)| Some((Unit::parse(front).ok()?, reference)))
            .find(|(unit, _)| unit.quantity() == Quantity::Pressure)
            .map(|(unit, reference)| (unit, Some(reference)))
            .ok_or(plain)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pressures_say_what_they_count_from() {
        let check = |text: &str, unit: Unit, reference| {
            assert_eq!(
                Unit::parse_referenced(text),
                Ok((unit, reference)),
                "{text}"
            );
        };
        check("psi", Unit::PSI, None);
        check("psig", Unit::PSI, Some(Reference::Gauge));
        check("psia", Unit::PSI, Some(Reference::Absolute));
        check("barg", Unit::BAR, Some(Reference::Gauge));
        check("bar(a)", Unit::BAR, Some(Reference::Absolute));
        check("bar (abs)", Unit::BAR, Some(Reference::Absolute));
        check("kPa abs", Unit::KILOPASCAL, Some(Reference::Absolute));
        check("mbar a", Unit::MILLIBAR, Some(Reference::Absolute));
        check("inHg gauge", Unit::INCH_OF_MERCURY, Some(Reference::Gauge));
        // Units that end in these letters stay what they are.
        check("Pa", Unit::PASCAL, None);
        check("Paa", Unit::PASCAL, Some(Reference::Absolute));
        check("V", Unit::VOLT, None);
    }

    #[test]
    fn only_pressures_have_one() {
        for text in ["Va", "degCg", "a", "g", "ohm abs", "psigg", ""] {
            assert!(Unit::parse_referenced(text).is_err(), "{text}");
        }
    }
}
