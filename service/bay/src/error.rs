//! Why a bay refuses what it is asked: a kind, a sentence, the field at fault and the way out.
//!
//! It is the bay's own: whoever serves a bay over a network says it in the words of that network, in one
//! place.

/// What is wrong, for a program to tell apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ErrorKind {
    /// What was asked does not have the shape it should.
    InvalidRequest,
    /// The bay has no instrument of this name.
    UnknownInstrument,
    /// The instrument has no channel of this name.
    UnknownChannel,
    /// The rule set has no test point of this id.
    UnknownPoint,
    /// The rule set has no check of this id, or not one that is asked.
    UnknownCheck,
    /// The check has no such answer.
    UnknownAnswer,
    /// There is no job of this id.
    UnknownJob,
    /// There is no rule set of this id.
    UnknownRuleSet,
    /// The rule set has no complaint of this id.
    UnknownComplaint,
    /// The rule set has no suspect of this id.
    UnknownSuspect,
    /// The unit is none that is known.
    UnknownUnit,
    /// There is no adapter of this name.
    UnknownAdapter,
    /// The value cannot be read as a number with a unit, or is out of its range.
    InvalidValue,
    /// The unit is of another quantity than the test point.
    WrongQuantity,
    /// The value lies outside what is plausible at the test point.
    ImplausibleValue,
    /// The time is none, or not within the job.
    InvalidTime,
    /// The adapter refuses its settings.
    InvalidSettings,
    /// The bay has no open job.
    NoOpenJob,
    /// The bay already has an open job, or the name is taken.
    Busy,
    /// The job is closed.
    JobClosed,
    /// An absolute pressure needs the barometric pressure to become a gauge pressure.
    NoBarometer,
    /// The plugin cannot be started, or breaks its contract.
    PluginFailed,
    /// The bay ends, and takes nothing more.
    Stopping,
    /// The journal could not store or read; nothing was acknowledged.
    Storage,
    /// The program is wrong.
    Internal,
}

impl ErrorKind {
    /// A refusal of this kind with its message: what was wrong, in lower case.
    pub fn because(self, message: impl Into<String>) -> BayError {
        BayError {
            kind: self,
            message: message.into(),
            field: None,
            hint: None,
        }
    }
}

/// What to do about a refusal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Hint {
    /// In words.
    Text(String),
    /// A name that is not known was given, and these are. Which of them was meant is guessed by whoever
    /// shows it.
    OneOf {
        /// What was given.
        given: String,
        /// What is known.
        known: Vec<String>,
    },
}

/// Why a bay refuses what it is asked.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{message}")]
pub struct BayError {
    /// What is wrong, for a program.
    pub kind: ErrorKind,
    /// What is wrong, for people.
    pub message: String,
    /// The part of the request at fault, as a path such as `readings[3].unit`.
    pub field: Option<String>,
    /// What to do about it.
    pub hint: Option<Hint>,
}

impl BayError {
    /// Names the part of the request at fault.
    #[must_use]
    pub fn at(mut self, field: impl Into<String>) -> BayError {
        self.field = Some(field.into());
        self
    }

    /// Says what to do about it.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> BayError {
        self.hint = Some(Hint::Text(hint.into()));
        self
    }

    /// Says which names are known.
    #[must_use]
    pub fn hint_nearest<'a>(
        mut self,
        given: &str,
        known: impl IntoIterator<Item = &'a str>,
    ) -> BayError {
        self.hint = Some(Hint::OneOf {
            given: given.to_owned(),
            known: known.into_iter().map(str::to_owned).collect(),
        });
        self
    }
}
