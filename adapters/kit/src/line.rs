//! How a serial line is set: speed and character format.

use std::fmt;
use std::str::FromStr;

/// Parity of a serial line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Parity {
    /// No parity bit.
    None,
    /// An odd number of ones.
    Odd,
    /// An even number of ones.
    Even,
}

/// Speed and character format, written as `19200 7O1`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct LineSettings {
    /// Bits per second.
    pub baud: u32,
    /// Data bits in a character, 5 to 8.
    pub data_bits: u8,
    /// The parity bit.
    pub parity: Parity,
    /// Stop bits, 1 or 2.
    pub stop_bits: u8,
}

/// Why a text is no line setting.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "`{text}` is no line setting: {why}; write speed and format, such as `19200 7O1` or `9600 8N1`"
)]
pub struct LineError {
    text: String,
    why: &'static str,
}

/// Speeds beyond these are typing errors: no instrument of a bay uses them.
const SPEEDS: std::ops::RangeInclusive<u32> = 50..=4_000_000;

impl LineSettings {
    /// A line of this speed and format, unchecked: see [`LineSettings::check`].
    pub const fn new(baud: u32, data_bits: u8, parity: Parity, stop_bits: u8) -> LineSettings {
        LineSettings {
            baud,
            data_bits,
            parity,
            stop_bits,
        }
    }

    /// Checks that a port can be set so at all.
    ///
    /// # Errors
    /// A speed, a number of data bits or of stop bits that no port has.
    pub fn check(&self) -> Result<(), LineError> {
        let why = if !SPEEDS.contains(&self.baud) {
            "the speed must be 50 to 4000000 baud"
        } else if !(5..=8).contains(&self.data_bits) {
            "there are 5 to 8 data bits"
        } else if !(1..=2).contains(&self.stop_bits) {
            "there are 1 or 2 stop bits"
        } else {
            return Ok(());
        };
        Err(LineError {
            text: self.to_string(),
            why,
        })
    }

    /// Bits of one character on the wire, with start, parity and stop bits.
    pub fn bits_per_character(&self) -> u32 {
        let parity = u32::from(self.parity != Parity::None);
        1 + u32::from(self.data_bits) + parity + u32::from(self.stop_bits)
    }
}

impl fmt::Display for LineSettings {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let parity = match self.parity {
            Parity::None => 'N',
            Parity::Odd => 'O',
            Parity::Even => 'E',
        };
        write!(
            f,
            "{} {}{parity}{}",
            self.baud, self.data_bits, self.stop_bits
        )
    }
}

impl FromStr for LineSettings {
    type Err = LineError;

    fn from_str(text: &str) -> Result<Self, LineError> {
        let wrong = |why| LineError {
            text: text.to_owned(),
            why,
        };
        let (speed, format) = text
            .trim()
            .split_once(' ')
            .ok_or_else(|| wrong("there is no space between speed and format"))?;
        let baud = speed.parse().map_err(|_| wrong("the speed is no number"))?;
        let mut characters = format.trim().chars();
        let (Some(data), Some(parity), Some(stop), None) = (
            characters.next(),
            characters.next(),
            characters.next(),
            characters.next(),
        ) else {
            return Err(wrong("the format has three characters"));
        };
        let parity = match parity.to_ascii_uppercase() {
            'N' => Parity::None,
            'O' => Parity::Odd,
            'E' => Parity::Even,
            _ => return Err(wrong("the parity is N, O or E")),
        };
        let digit = |c: char| c.to_digit(10).and_then(|d| u8::try_from(d).ok());
        let (Some(data_bits), Some(stop_bits)) = (digit(data), digit(stop)) else {
            return Err(wrong("data and stop bits are digits"));
        };
        let line = LineSettings::new(baud, data_bits, parity, stop_bits);
        line.check().map_err(|error| wrong(error.why))?;
        Ok(line)
    }
}

impl TryFrom<String> for LineSettings {
    type Error = LineError;

    fn try_from(text: String) -> Result<Self, LineError> {
        text.parse()
    }
}

impl From<LineSettings> for String {
    fn from(line: LineSettings) -> String {
        line.to_string()
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn reads_and_writes_line_settings() {
        for text in ["19200 7O1", "2400 8N1", "600 7N2", "9600 8E1"] {
            assert_eq!(text.parse::<LineSettings>().unwrap().to_string(), text);
        }
        let eight_none_one = "9600 8N1".parse::<LineSettings>().unwrap();
        assert_eq!(eight_none_one.bits_per_character(), 10);
    }

    #[test]
    fn says_what_is_wrong() {
        fn check(text: &str, expected: &str) {
            let error = text.parse::<LineSettings>().unwrap_err().to_string();
            assert!(error.contains(expected), "{error}");
        }
        check("19200", "no space");
        check("fast 8N1", "no number");
        check("0 8N1", "50 to 4000000");
        check("9600 9N1", "5 to 8");
        check("9600 8X1", "N, O or E");
        check("9600 8N3", "1 or 2");
        check("9600 8N", "three characters");
    }
}
