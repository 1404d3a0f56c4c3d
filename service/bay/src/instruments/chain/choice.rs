//! Settings that hold for everything an instrument measures, or for one function.

use std::fmt;

use serde_json::{Map, Value};
use trisect_measure::{Coupling, Function};

/// A function, and of voltage or current which part: `voltage`, `voltage AC`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Selector {
    pub(crate) function: Function,
    pub(crate) coupling: Option<Coupling>,
}

const COUPLINGS: [(Coupling, &str); 3] = [
    (Coupling::Dc, "DC"),
    (Coupling::Ac, "AC"),
    (Coupling::AcDc, "AC+DC"),
];

impl fmt::Display for Selector {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.function.word())?;
        match COUPLINGS.iter().find(|(c, _)| Some(*c) == self.coupling) {
            Some((_, word)) => write!(f, " {word}"),
            None => Ok(()),
        }
    }
}

impl Selector {
    fn parse(text: &str) -> Option<Selector> {
        let (word, part) = match text.split_once(' ') {
            Some((word, part)) => (word, Some(part)),
            None => (text, None),
        };
        let function = Function::ALL.into_iter().find(|f| f.word() == word)?;
        let coupling = match part {
            Some(part) => Some(COUPLINGS.iter().find(|(_, word)| *word == part)?.0),
            None => None,
        };
        Some(Selector { function, coupling })
    }
}

/// One setting for everything, one for each function, both, or none.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Choice<T> {
    all: Option<T>,
    /// A few: they are looked through for every sample.
    by_function: Vec<(Selector, T)>,
}

impl<T> Default for Choice<T> {
    fn default() -> Choice<T> {
        Choice {
            all: None,
            by_function: Vec::new(),
        }
    }
}

impl<T> Choice<T> {
    /// Reads the member `name` of settings: a value that `is_one` is for
    /// everything, any other object is one for each function.
    pub(crate) fn read(
        settings: &Map<String, Value>,
        name: &str,
        is_one: fn(&Value) -> bool,
        read: impl Fn(&Value, Option<Function>) -> Result<T, String>,
    ) -> Result<Choice<T>, String> {
        let mut choice = Choice::default();
        match settings.get(name) {
            None => {}
            Some(Value::Object(by_function)) if !is_one(&Value::Object(by_function.clone())) => {
                for (text, value) in by_function {
                    let selector = Selector::parse(text).ok_or_else(|| unknown(text))?;
                    let one = read(value, Some(selector.function))?;
                    choice.by_function.push((selector, one));
                }
            }
            Some(value) => choice.all = Some(read(value, None)?),
        }
        Ok(choice)
    }

    /// The one for a sample: of its function and coupling, of its function, or
    /// for everything. What does not say its coupling is direct.
    pub(crate) fn of(&self, function: Function, coupling: Option<Coupling>) -> Option<&T> {
        let find = |coupling| {
            let wanted = Selector { function, coupling };
            let mut chosen = self.by_function.iter();
            chosen.find(|(selector, _)| *selector == wanted)
        };
        find(coupling.or(Some(Coupling::Dc)))
            .or_else(|| find(None))
            .map(|(_, one)| one)
            .or(self.all.as_ref())
    }

    /// All of them, each with its function; the one for everything has none.
    pub(crate) fn each(&self) -> impl Iterator<Item = (Option<Selector>, &T)> {
        let by_function = self.by_function.iter();
        let all = self.all.iter().map(|one| (None, one));
        all.chain(by_function.map(|(selector, one)| (Some(*selector), one)))
    }
}

fn unknown(text: &str) -> String {
    let words: Vec<&str> = Function::ALL.iter().map(|f| f.word()).collect();
    format!(
        "`{text}` is no function: use one of {}, of voltage and current with DC, AC or AC+DC behind it",
        words.join(", ")
    )
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use serde_json::json;

    fn choice(settings: Value) -> Result<Choice<String>, String> {
        let settings = settings.as_object().cloned().unwrap();
        Choice::read(
            &settings,
            "it",
            |_| false,
            |value, _| {
                value
                    .as_str()
                    .map(str::to_owned)
                    .ok_or("no text".to_owned())
            },
        )
    }

    #[test]
    fn the_nearest_one_is_taken() {
        let choice =
            choice(json!({"it": {"voltage": "any", "voltage AC": "ac", "current DC": "dc"}}))
                .unwrap();
        let check = |function, coupling, expected: Option<&str>| {
            assert_eq!(choice.of(function, coupling).map(String::as_str), expected);
        };
        check(Function::Voltage, Some(Coupling::Ac), Some("ac"));
        check(Function::Voltage, Some(Coupling::Dc), Some("any"));
        check(Function::Voltage, None, Some("any"));
        check(Function::Current, None, Some("dc"));
        check(Function::Current, Some(Coupling::Ac), None);
        check(Function::Pressure, None, None);
    }

    #[test]
    fn one_for_everything_is_for_everything() {
        let everything = choice(json!({"it": "all"})).unwrap();
        assert_eq!(everything.of(Function::Duty, None).unwrap(), "all");
        assert_eq!(choice(json!({})).unwrap().of(Function::Duty, None), None);
        let error = choice(json!({"it": {"volts": "x"}})).unwrap_err();
        assert!(error.contains("voltage, current"), "{error}");
        assert!(choice(json!({"it": {"voltage XC": "x"}})).is_err());
    }
}
