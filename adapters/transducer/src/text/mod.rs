//! Lines of text, as microcontrollers print them, read by patterns.
//!
//! A pattern is the line as it is printed, with a field in braces where a
//! number stands:
//!
//! ```text
//! P1={pressure:inlet} psi;T={temperature|degC}
//! ```
//!
//! | in the pattern | stands for |
//! |---|---|
//! | `{QUANTITY}`, such as `{pressure}` | a number; blanks before it are passed over |
//! | `{QUANTITY:NAME}` | the same under a name of its own, for settings and people |
//! | `{QUANTITY\|UNIT}` | a number in that unit, which the line does not say |
//! | `{pulses:NAME}` | a count of pulses so far; its tachometer is in the settings |
//! | `{clock\|ms}` | the device's own clock, by which its pulses are timed |
//! | `{skip}` | anything, up to the first place where the text behind it stands; at the end of the pattern, the rest of the line |
//! | a blank | any number of blanks and tabs, also none |
//! | `{{` and `}}` | a brace |
//! | anything else | itself |
//!
//! A field's unit is the one after the bar; or the one that the text behind the
//! field begins with, as ` psi` above; or that of the field's settings; or, if
//! none of these says one, the one that each line has behind the number. There
//! is no other way back: a field takes the longest number, `{skip}` the shortest
//! run, and what then does not fit makes the line fit no pattern. A line fits as
//! a whole or not at all; it is counted, never read in part.

mod adapter;
mod lines;
mod matching;
mod number;
mod pattern;
mod reader;
mod resolve;
mod settings;

#[cfg(test)]
mod tests;

pub use lines::Lines;
pub use matching::Found;
pub use number::Number;
pub use pattern::{Field, Pattern, PatternError, What};
pub use settings::{FieldSettings, TextSettings};
