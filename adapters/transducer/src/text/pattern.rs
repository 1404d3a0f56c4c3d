//! Patterns: read once, when the settings are.

use trisect_measure::{Quantity, Unit};

/// What a field of a pattern is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// A number of this quantity.
    Quantity(Quantity),
    /// A count of pulses so far.
    Pulses,
    /// The device's own clock.
    Clock,
}

/// A field of a pattern.
#[derive(Clone, Debug, PartialEq)]
pub struct Field {
    /// What it is.
    pub what: What,
    /// Its name; the word of what it is, where it was given none.
    pub name: String,
    /// Its unit, where the lines do not say it.
    pub unit: Option<Unit>,
}

#[derive(Clone, Debug, PartialEq)]
pub(super) enum Piece {
    Text(Vec<u8>),
    Blanks,
    Field(Field),
    Skip,
}

/// A line as it is printed, with fields.
#[derive(Clone, Debug, PartialEq)]
pub struct Pattern {
    pub(super) pieces: Vec<Piece>,
}

/// Why a text is no pattern.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{pattern}`: {why}")]
pub struct PatternError {
    pattern: String,
    why: String,
}

impl Pattern {
    /// Reads a pattern; the module's documentation has the language.
    ///
    /// # Errors
    /// What is wrong with it, and how to write it.
    pub fn parse(text: &str) -> Result<Pattern, PatternError> {
        let pieces = pieces(text)
            .and_then(|mut pieces| {
                check_skips(&pieces)?;
                units_from_text(&mut pieces);
                check_names(&pieces)?;
                Ok(pieces)
            })
            .map_err(|why| PatternError {
                pattern: text.to_owned(),
                why,
            })?;
        Ok(Pattern { pieces })
    }

    /// Its fields, in order.
    pub fn fields(&self) -> impl Iterator<Item = &Field> {
        self.pieces.iter().filter_map(|piece| match piece {
            Piece::Field(field) => Some(field),
            _ => None,
        })
    }

    pub(super) fn fields_mut(&mut self) -> impl Iterator<Item = &mut Field> {
        self.pieces.iter_mut().filter_map(|piece| match piece {
            Piece::Field(field) => Some(field),
            _ => None,
        })
    }
}

fn pieces(text: &str) -> Result<Vec<Piece>, String> {
    let mut pieces = Vec::new();
    let mut rest = text.trim();
    while let Some(first) = rest.chars().next() {
        let after = rest.strip_prefix(first).unwrap_or_default();
        match first {
            '{' if !after.starts_with('{') => {
                let (inside, behind) = after
                    .split_once('}')
                    .ok_or("a field is not closed: write `}` behind it, and `{{` for a brace")?;
                pieces.push(field(inside)?);
                rest = behind;
            }
            '{' | '}' => {
                rest = after
                    .strip_prefix(first)
                    .ok_or("a `}` closes no field: write `}}` for a brace")?;
                literal(&mut pieces, first);
            }
            ' ' | '\t' => {
                if pieces.last() != Some(&Piece::Blanks) {
                    pieces.push(Piece::Blanks);
                }
                rest = after;
            }
            '\r' | '\n' => return Err("a pattern is one line".to_owned()),
            _ => {
                literal(&mut pieces, first);
                rest = after;
            }
        }
    }
    if pieces.is_empty() {
        return Err("a pattern cannot be empty".to_owned());
    }
    Ok(pieces)
}

fn literal(pieces: &mut Vec<Piece>, character: char) {
    let mut bytes = [0; 4];
    let bytes = character.encode_utf8(&mut bytes).as_bytes();
    match pieces.last_mut() {
        Some(Piece::Text(text)) => text.extend_from_slice(bytes),
        _ => pieces.push(Piece::Text(bytes.to_vec())),
    }
}

fn field(inside: &str) -> Result<Piece, String> {
    let (head, unit) = match inside.split_once('|') {
        Some((head, unit)) => (head, Some(unit)),
        None => (inside, None),
    };
    let (word, name) = match head.split_once(':') {
        Some((word, name)) => (word.trim(), Some(name.trim())),
        None => (head.trim(), None),
    };
    if word == "skip" {
        return match (name, unit) {
            (None, None) => Ok(Piece::Skip),
            _ => Err("`{skip}` has no name and no unit".to_owned()),
        };
    }
    let (what, quantity) = match word {
        "pulses" => (What::Pulses, None),
        "clock" => (What::Clock, Some(Quantity::Time)),
        _ => {
            let quantity: Quantity = word.parse().map_err(|_| unknown(word))?;
            (What::Quantity(quantity), Some(quantity))
        }
    };
    let unit = match (unit, quantity) {
        (None, _) => None,
        (Some(_), None) => return Err("pulses have no unit".to_owned()),
        (Some(unit), Some(quantity)) => Some(crate::shown::unit_of(unit, quantity)?),
    };
    if name == Some("") {
        return Err(format!("`{{{inside}}}` has an empty name"));
    }
    Ok(Piece::Field(Field {
        what,
        name: name.unwrap_or(word).to_owned(),
        unit,
    }))
}

fn unknown(word: &str) -> String {
    format!(
        "there is no field `{{{word}}}`; write a quantity such as pressure, temperature, voltage, current, frequency or rotational-speed, or pulses, clock or skip"
    )
}

/// Behind `{skip}` there is text by which its end is known, or the end.
fn check_skips(pieces: &[Piece]) -> Result<(), String> {
    for (index, piece) in pieces.iter().enumerate() {
        let behind: Vec<&Piece> = pieces.iter().skip(index + 1).take(2).collect();
        let ends = matches!(
            behind[..],
            [] | [Piece::Blanks] | [Piece::Text(_), ..] | [Piece::Blanks, Piece::Text(_)]
        );
        if *piece == Piece::Skip && !ends {
            return Err("`{skip}` needs text behind it, to tell where it ends".to_owned());
        }
    }
    Ok(())
}

/// Gives a field without a unit the one that the text behind it begins with.
fn units_from_text(pieces: &mut [Piece]) {
    for index in 0..pieces.len() {
        let (front, behind) = pieces.split_at_mut(index + 1);
        let Some(Piece::Field(field)) = front.last_mut() else {
            continue;
        };
        let text = match behind {
            [Piece::Text(text), ..] | [Piece::Blanks, Piece::Text(text), ..] => text,
            _ => continue,
        };
        if let (None, Some(quantity)) = (field.unit, field.quantity()) {
            field.unit = unit_at(text, quantity).map(|(unit, _)| unit);
        }
    }
}

fn check_names(pieces: &[Piece]) -> Result<(), String> {
    let mut seen = std::collections::BTreeSet::new();
    for piece in pieces {
        if let Piece::Field(field) = piece
            && !seen.insert(&field.name)
        {
            return Err(format!(
                "two fields are called `{name}`: name them apart, such as `{{pressure:{name}-2}}`",
                name = field.name
            ));
        }
    }
    Ok(())
}

impl Field {
    /// What its number is a quantity of; a count of pulses is none.
    pub fn quantity(&self) -> Option<Quantity> {
        match self.what {
            What::Quantity(quantity) => Some(quantity),
            What::Clock => Some(Quantity::Time),
            What::Pulses => None,
        }
    }
}

/// The longest spelling of a unit has so many bytes.
const LONGEST_UNIT: usize = 12;

/// The longest unit of a quantity at the front of some bytes, not followed by a
/// letter or a digit, and its length.
pub(super) fn unit_at(bytes: &[u8], quantity: Quantity) -> Option<(Unit, usize)> {
    let ends = |byte: &u8| matches!(byte, b' ' | b'\t' | b';' | b',' | b'|' | b'\r' | b'\n');
    let most = bytes.iter().position(ends).unwrap_or(bytes.len());
    (1..=most.min(LONGEST_UNIT)).rev().find_map(|length| {
        let word_goes_on = bytes.get(length).is_some_and(u8::is_ascii_alphanumeric);
        if word_goes_on {
            return None;
        }
        let text = std::str::from_utf8(bytes.get(..length)?).ok()?;
        let unit = Unit::parse(text).ok()?;
        (unit.quantity() == quantity).then_some((unit, length))
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn check(text: &str, expected: &str) {
        let said = match Pattern::parse(text) {
            Ok(pattern) => {
                let field =
                    |field: &Field| format!("{} {:?}", field.name, field.unit.map(Unit::symbol));
                pattern.fields().map(field).collect::<Vec<_>>().join(", ")
            }
            Err(error) => error.to_string(),
        };
        assert!(said.contains(expected), "{text}: {said}");
    }

    #[test]
    fn a_fields_unit_is_given_or_stands_behind_it_or_in_the_line() {
        check("P={pressure|kPa}", "pressure Some(\"kPa\")");
        check(
            "P1={pressure:inlet} psi;T={temperature}",
            "inlet Some(\"psi\"), temperature None",
        );
        check("{voltage:a}V {voltage:b}v2", "a Some(\"V\"), b None");
        check("{temperature}°C", "temperature Some(\"degC\")");
        check("{pulses:n};{clock|ms}", "n None, clock Some(\"ms\")");
        check("{{{pressure}}}", "pressure None");
    }

    #[test]
    fn mistakes_say_what_to_write() {
        check("", "cannot be empty");
        check("P={pressure", "not closed");
        check("P=}", "write `}}`");
        check("P={speed}", "there is no field `{speed}`");
        check("P={pressure|V}", "`V` is a unit of voltage");
        check("P={pressure:}", "empty name");
        check("{pressure} {pressure}", "two fields are called `pressure`");
        check("{skip}{pressure}", "needs text behind it");
        check("{skip} {pressure}", "needs text behind it");
        check("{skip:rest}", "no name and no unit");
        check("{pulses|Hz}", "pulses have no unit");
        check("a\nb", "one line");
    }

    #[test]
    fn the_longest_unit_is_taken_and_no_part_of_a_word() {
        let check = |text: &str, quantity, expected: Option<(&str, usize)>| {
            let found = unit_at(text.as_bytes(), quantity);
            assert_eq!(
                found.map(|(unit, length)| (unit.symbol(), length)),
                expected,
                "{text}"
            );
        };
        check("psi;T", Quantity::Pressure, Some(("psi", 3)));
        check("Pa", Quantity::Pressure, Some(("Pa", 2)));
        check("inH2O", Quantity::Pressure, Some(("inH2O", 5)));
        check("Pascal", Quantity::Pressure, None);
        check("psi", Quantity::Voltage, None);
        check("°C*", Quantity::Temperature, Some(("degC", 3)));
        check("1/min", Quantity::RotationalSpeed, Some(("rpm", 5)));
        check("", Quantity::Pressure, None);
    }
}
