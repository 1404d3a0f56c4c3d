//! Reading a line by a pattern.

use trisect_measure::Unit;

use super::number::number_at;
use super::pattern::{Piece, unit_at};
use super::{Field, Number, Pattern};

/// What stands in a field of a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Found {
    /// The number, or what stands for it.
    pub number: Number,
    /// Its unit. None for a count of pulses, and where no number stands and the
    /// pattern does not say the unit.
    pub unit: Option<Unit>,
}

impl Pattern {
    /// What stands in the fields of a line, in their order; `None` if the line
    /// does not fit as a whole.
    pub fn read(&self, line: &[u8]) -> Option<Vec<Found>> {
        let mut found = Vec::new();
        let mut rest = line.trim_ascii();
        let mut pieces = self.pieces.as_slice();
        while let Some((piece, behind)) = pieces.split_first() {
            rest = match piece {
                Piece::Text(_) | Piece::Blanks => after(piece, rest)?,
                Piece::Skip => skip(behind, rest)?,
                Piece::Field(field) => {
                    let (value, rest) = value(field, rest)?;
                    found.push(value);
                    rest
                }
            };
            pieces = behind;
        }
        rest.is_empty().then_some(found)
    }
}

/// What is left behind a text or blanks.
fn after<'a>(piece: &Piece, rest: &'a [u8]) -> Option<&'a [u8]> {
    match piece {
        Piece::Text(text) => rest.strip_prefix(text.as_slice()),
        _ => Some(without_blanks(rest)),
    }
}

fn without_blanks(bytes: &[u8]) -> &[u8] {
    let blanks = bytes.iter().take_while(|byte| matches!(byte, b' ' | b'\t'));
    bytes.get(blanks.count()..).unwrap_or_default()
}

/// What is left from the first place on where the text behind stands.
fn skip<'a>(behind: &[Piece], rest: &'a [u8]) -> Option<&'a [u8]> {
    let text = behind.iter().find_map(|piece| match piece {
        Piece::Text(text) => Some(text.as_slice()),
        _ => None,
    });
    let Some(text) = text else { return Some(&[]) };
    let at = rest.windows(text.len()).position(|window| window == text)?;
    rest.get(at..)
}

fn value<'a>(field: &Field, rest: &'a [u8]) -> Option<(Found, &'a [u8])> {
    let rest = without_blanks(rest);
    let (number, length) = number_at(rest)?;
    let rest = rest.get(length..)?;
    let (None, Some(quantity)) = (field.unit, field.quantity()) else {
        let unit = field.unit;
        return Some((Found { number, unit }, rest));
    };
    let behind = without_blanks(rest);
    match unit_at(behind, quantity) {
        Some((unit, length)) => {
            let unit = Some(unit);
            Some((Found { number, unit }, behind.get(length..)?))
        }
        // Without a number a device may leave out the unit too.
        None if !matches!(number, Number::Value { .. }) => {
            Some((Found { number, unit: None }, rest))
        }
        None => None,
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use proptest::prelude::*;

    fn check(pattern: &str, line: &str, expected: Option<&str>) {
        let found = Pattern::parse(pattern).unwrap().read(line.as_bytes());
        let shown = found.map(|found| {
            let one = |found: &Found| match found.number {
                Number::Value { value, .. } => {
                    format!("{value} {}", found.unit.map_or("-", Unit::symbol))
                }
                other => format!("{other:?}"),
            };
            found.iter().map(one).collect::<Vec<_>>().join(", ")
        });
        assert_eq!(shown.as_deref(), expected, "{pattern} on {line}");
    }

    #[test]
    fn a_line_is_read_by_its_pattern() {
        let both = "P1={pressure:inlet} psi;T={temperature}";
        check(both, "P1=12.4 psi;T=21.5 degC", Some("12.4 psi, 21.5 degC"));
        check(both, " P1= 12.4psi;T=70 °F\r", Some("12.4 psi, 70 degF"));
        check(both, "P1=12.4 psi;T=nan", Some("12.4 psi, Missing"));
        check(both, "P1=OL psi;T=-inf degC", Some("Above, Below"));
        check(both, "P1=12.4 kPa;T=21.5 degC", None);
        check(both, "P1=12.4 psi;T=21.5", None);
        check(both, "P1=12.4 psi;T=21.5 degC;", None);
        check(both, "xP1=12.4 psi;T=21.5 degC", None);
        check(both, "", None);
    }

    #[test]
    fn what_is_skipped_ends_where_the_text_behind_stands() {
        let csv = "{skip},{pressure|bar},{skip},{voltage|V}{skip}";
        check(csv, "17:02:11,3.5,ok,12.6", Some("3.5 bar, 12.6 V"));
        check(csv, ",3.5,,12.6,more", Some("3.5 bar, 12.6 V"));
        check(csv, "17:02:11,3.5,12.6", None);
        check(
            "{skip} rpm={rotational-speed|rpm}",
            "t=5 rpm=800",
            Some("800 rpm"),
        );
        check("#{skip}", "# booted", Some(""));
        check("{skip}", "anything", Some(""));
        check(
            "{{{pulses:n}}} {clock|ms}",
            "{17} 2500",
            Some("17 -, 2500 ms"),
        );
        check("a  b{voltage|V}", "ab1", Some("1 V"));
    }

    proptest! {
        #[test]
        fn no_pattern_and_no_line_make_it_panic(text in "\\PC{0,40}", line in prop::collection::vec(any::<u8>(), 0..200)) {
            if let Ok(pattern) = Pattern::parse(&text) {
                let _ = pattern.read(&line);
                let _ = pattern.read(text.as_bytes());
            }
        }

        #[test]
        fn any_line_meets_a_pattern_without_panic(line in prop::collection::vec(any::<u8>(), 0..200)) {
            for text in ["P1={pressure:inlet} psi;T={temperature}", "{skip},{voltage}{skip}", "{pulses}"] {
                let _ = Pattern::parse(text).unwrap().read(&line);
            }
        }

        #[test]
        fn what_is_printed_is_read(psi in -1e4f64..1e4, places in 0usize..6) {
            let printed = format!("{psi:.places$}");
            let pattern = Pattern::parse("P1={pressure} psi").unwrap();
            let found = pattern.read(format!("P1={printed} psi").as_bytes()).unwrap();
            let value: f64 = printed.parse().unwrap();
            let step: f64 = format!("1e-{places}").parse().unwrap();
            prop_assert_eq!(found[0].number, Number::Value { value, step });
        }
    }
}
