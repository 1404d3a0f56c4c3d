//! Who says what next, without I/O and without a clock.

use trisect_measure::{Amount, Flags, Function, Sample, Unit};

use super::ScpiFunction;
use super::answer::{self, Configured, Reading};
use super::function::Words;

/// The error queue is asked after so many readings.
const READINGS_BETWEEN: u32 = 16;
/// A queue that is longer does not end.
const LONGEST_QUEUE: usize = 64;

/// What the meter is to do.
#[derive(Clone, Debug, PartialEq)]
pub struct Wanted {
    /// What is measured.
    pub function: ScpiFunction,
    /// The end of a fixed range, in the unit that the meter speaks.
    pub range: Option<f64>,
    /// What its identity has to contain.
    pub identity: Option<String>,
    /// Whether it has to be told that it is no longer used by hand.
    pub remote: bool,
}

/// A line to write.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Say {
    /// The line, without its end.
    pub text: String,
    /// Whether an answer comes.
    pub asks: bool,
}

/// What an answer came to.
#[derive(Clone, Debug, PartialEq)]
pub enum Heard {
    /// The conversation goes on.
    Going,
    /// The identity, as it was told.
    Identity(String),
    /// A reading.
    Sample(Sample),
    /// No reading, and why; the conversation goes on.
    Bad(String),
    /// Question and answer do not belong together: drain the line first.
    Astray(String),
    /// The meter cannot do what is wanted: wait before asking again.
    Refused(String),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    Remote,
    Clear,
    Identify,
    Unit,
    Configure,
    /// The queue, after configuring or between readings.
    Errors {
        configured: bool,
    },
    Configuration,
    Read,
}

/// One conversation, from the identity on.
#[derive(Debug)]
pub struct Conversation {
    wanted: Wanted,
    stage: Stage,
    readings: u32,
    queue: Vec<String>,
    configuration: Option<Configured>,
    /// Whether `CONF?` is understood, once that is known.
    tells_configuration: Option<bool>,
}

impl Conversation {
    /// Before anything was said.
    pub fn new(wanted: Wanted) -> Conversation {
        let mut conversation = Conversation {
            wanted,
            stage: Stage::Clear,
            readings: 0,
            queue: Vec::new(),
            configuration: None,
            tells_configuration: None,
        };
        conversation.restart();
        conversation
    }

    /// The next line. A line that asks is answered by [`Conversation::heard`] or
    /// [`Conversation::unanswered`] before the next is asked for.
    pub fn say(&mut self) -> Say {
        let words = self.words();
        let (text, then) = match self.stage {
            Stage::Remote => ("SYST:REM".to_owned(), Some(Stage::Clear)),
            Stage::Clear => ("*CLS".to_owned(), Some(Stage::Identify)),
            Stage::Identify => ("*IDN?".to_owned(), None),
            Stage::Unit => ("UNIT:TEMP C".to_owned(), Some(Stage::Configure)),
            Stage::Configure => (
                self.configure(&words),
                Some(Stage::Errors { configured: false }),
            ),
            Stage::Errors { .. } => ("SYST:ERR?".to_owned(), None),
            Stage::Configuration => ("CONF?".to_owned(), None),
            Stage::Read => ("READ?".to_owned(), None),
        };
        if let Some(then) = then {
            self.stage = then;
        }
        Say {
            text,
            asks: then.is_none(),
        }
    }

    /// An answer came.
    pub fn heard(&mut self, line: &str) -> Heard {
        match self.stage {
            Stage::Identify => self.identity(line),
            Stage::Errors { configured } => self.error(line, configured),
            Stage::Configuration => self.configured(line),
            Stage::Read => self.reading(line),
            // Nothing was asked.
            _ => self.astray(line, "an answer to no question"),
        }
    }

    /// No answer came in time. Says to what.
    pub fn unanswered(&mut self) -> String {
        let question = match self.stage {
            Stage::Identify => "*IDN?",
            Stage::Errors { .. } => "SYST:ERR?",
            Stage::Configuration => {
                // Some meters do not know the question; those that answered it do.
                self.tells_configuration.get_or_insert(false);
                "CONF?"
            }
            _ => "READ?",
        };
        self.restart();
        question.to_owned()
    }

    fn words(&self) -> Words {
        self.wanted.function.words()
    }

    fn restart(&mut self) {
        self.stage = if self.wanted.remote {
            Stage::Remote
        } else {
            Stage::Clear
        };
        self.queue.clear();
        self.configuration = None;
        self.readings = 0;
    }

    fn astray(&mut self, line: &str, what: &str) -> Heard {
        self.restart();
        Heard::Astray(format!("{what}: `{}`", shortened(line)))
    }

    fn configure(&self, words: &Words) -> String {
        match self.wanted.range {
            Some(range) => format!("CONF:{} {range}", words.configure),
            None => format!("CONF:{}", words.configure),
        }
    }

    fn identity(&mut self, line: &str) -> Heard {
        if !answer::is_identity(line) {
            return self.astray(line, "no identity");
        }
        if let Some(wanted) = self.wanted.identity.clone()
            && !line.contains(&wanted)
        {
            self.restart();
            return Heard::Refused(format!(
                "another meter is there: `{}` does not contain `{wanted}`",
                shortened(line)
            ));
        }
        self.stage = if self.wanted.function == ScpiFunction::Temperature {
            Stage::Unit
        } else {
            Stage::Configure
        };
        Heard::Identity(line.to_owned())
    }

    fn error(&mut self, line: &str, configured: bool) -> Heard {
        let Some(error) = answer::error(line) else {
            return self.astray(line, "no entry of the error queue");
        };
        if error.code != 0 {
            self.queue.push(format!("{}, {}", error.code, error.text));
            if self.queue.len() < LONGEST_QUEUE {
                return Heard::Going;
            }
        }
        let errors = std::mem::take(&mut self.queue).join("; ");
        if !errors.is_empty() && !configured {
            let asked = self.configure(&self.words());
            self.restart();
            return Heard::Refused(format!(
                "the meter refuses `{asked}`: {}; does it measure that, in that range?",
                shortened(&errors)
            ));
        }
        self.stage = self.before_reading();
        if errors.is_empty() {
            Heard::Going
        } else {
            Heard::Bad(format!("the meter reports {}", shortened(&errors)))
        }
    }

    fn before_reading(&self) -> Stage {
        if self.tells_configuration == Some(false) {
            Stage::Read
        } else {
            Stage::Configuration
        }
    }

    fn configured(&mut self, line: &str) -> Heard {
        let Some(configured) = answer::configured(line) else {
            return self.astray(line, "no configuration");
        };
        self.tells_configuration = Some(true);
        let known = self.words().configured;
        if !known.contains(&configured.function.as_str()) {
            self.stage = Stage::Clear;
            self.configuration = None;
            return Heard::Bad(format!(
                "the meter was set to `{}` by hand; it is set back",
                shortened(&configured.function)
            ));
        }
        self.configuration = Some(configured);
        self.stage = Stage::Read;
        Heard::Going
    }

    fn reading(&mut self, line: &str) -> Heard {
        let Some(reading) = answer::reading(line) else {
            return self.astray(line, "no reading");
        };
        self.readings += 1;
        self.stage = if self.readings.is_multiple_of(READINGS_BETWEEN) {
            Stage::Errors { configured: true }
        } else {
            self.before_reading()
        };
        match self.amount(reading) {
            Ok(amount) => Heard::Sample(self.sample(amount)),
            Err(why) => {
                self.stage = Stage::Errors { configured: true };
                Heard::Bad(why.to_owned())
            }
        }
    }

    fn amount(&self, reading: Reading) -> Result<Amount, &'static str> {
        let words = self.words();
        let end = self.end().unwrap_or(words.least_end);
        let signed = matches!(
            words.function,
            Function::Voltage | Function::Current | Function::Diode
        );
        match reading {
            Reading::Exactly(value) => Ok(Amount::Exactly(self.si(value))),
            Reading::Overload { negative: false } => Ok(Amount::Above(end)),
            Reading::Overload { negative: true } if signed => Ok(Amount::Below(-end)),
            Reading::Overload { negative: true } => {
                Err("a negative overload of what cannot be negative")
            }
            Reading::NotANumber => Err("no number (9.91E37): the meter could not measure"),
        }
    }

    /// The end of the range, in SI, where it is told. With an automatic range it
    /// is the present one, and the highest is not lower.
    fn end(&self) -> Option<f64> {
        let ranged = self.words().function != Function::Temperature;
        let told = self.configuration.as_ref().and_then(|c| c.range);
        told.or(self.wanted.range).filter(|_| ranged)
    }

    fn si(&self, value: f64) -> f64 {
        match self.words().function {
            Function::Temperature => Unit::CELSIUS.to_si(value),
            _ => value,
        }
    }

    fn sample(&self, amount: Amount) -> Sample {
        let words = self.words();
        Sample {
            channel: 0,
            function: words.function,
            amount,
            // A kelvin is as large as a degree Celsius.
            digit: self.configuration.as_ref().and_then(|c| c.resolution),
            span: self.end(),
            coupling: words.coupling,
            flags: if self.wanted.range.is_some() {
                Flags::MANUAL_RANGE
            } else {
                Flags::AUTO
            },
        }
    }
}

/// Foreign text in our messages, no longer than a line.
fn shortened(text: &str) -> String {
    const LONGEST: usize = 120;
    let mut short: String = text.chars().take(LONGEST).collect();
    if short.len() < text.len() {
        short.push('…');
    }
    short.escape_debug().to_string().replace("\\\"", "\"")
}
