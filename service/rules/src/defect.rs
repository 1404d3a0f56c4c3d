//! What is wrong with a text, where, and how to mend it.

use std::fmt;

/// One thing wrong with a rule set or a case.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Defect {
    /// What kind of thing: a stable word.
    pub kind: DefectKind,
    /// Whether the text can be used all the same.
    pub severity: Severity,
    /// The line, from 1.
    pub line: usize,
    /// The column in characters, from 1.
    pub column: usize,
    /// What is wrong, naming the table and the key.
    pub message: String,
    /// How to mend it.
    pub hint: String,
}

/// How bad a defect is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// The text cannot be used.
    Error,
    /// The text can be used, but something in it has no effect.
    Warning,
}

macro_rules! kinds {
    ($($(#[$doc:meta])* $variant:ident = $word:literal),* $(,)?) => {
        /// The kinds of defect. The words are stable: programs may match on them.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
        #[serde(rename_all = "kebab-case")]
        #[non_exhaustive]
        pub enum DefectKind {
            $($(#[$doc])* #[serde(rename = $word)] $variant,)*
        }

        impl DefectKind {
            /// Every kind.
            pub const ALL: &'static [DefectKind] = &[$(DefectKind::$variant),*];

            /// The word used on screen and wire.
            pub const fn word(self) -> &'static str {
                match self {
                    $(DefectKind::$variant => $word,)*
                }
            }
        }
    };
}

kinds! {
    /// Text that is not TOML.
    Syntax = "syntax",
    /// The same key, or table, twice.
    DuplicateKey = "duplicate-key",
    /// A `format` that is not understood.
    WrongFormat = "wrong-format",
    /// A table that must be there is not.
    MissingTable = "missing-table",
    /// A key that must be there is not.
    MissingKey = "missing-key",
    /// A key that means nothing here.
    UnknownKey = "unknown-key",
    /// A value of another type than is wanted.
    WrongType = "wrong-type",
    /// A table that is two things at once, or none.
    MixedTable = "mixed-table",
    /// An id that is not spelt like one.
    BadId = "bad-id",
    /// An id that is given twice.
    DuplicateId = "duplicate-id",
    /// An id that nothing has.
    UnresolvedId = "unresolved-id",
    /// The same thing twice in one list.
    RepeatedEntry = "repeated-entry",
    /// A word that is not in its closed list.
    UnknownWord = "unknown-word",
    /// A unit that is not known.
    UnknownUnit = "unknown-unit",
    /// A value without its unit.
    MissingUnit = "missing-unit",
    /// A unit of another quantity than is wanted.
    QuantityMismatch = "quantity-mismatch",
    /// A value, duration or accuracy that cannot be read.
    BadValue = "bad-value",
    /// A number outside what makes sense.
    OutOfRange = "out-of-range",
    /// A number that is no probability.
    NotAProbability = "not-a-probability",
    /// P(fails) or P(complaint) of a suspect below that of none.
    BelowOtherwise = "below-otherwise",
    /// A row that has not one number for each answer.
    RowLength = "row-length",
    /// A row that does not sum to one.
    RowSum = "row-sum",
    /// A row that is healthier than with no fault present.
    RowAboveOtherwise = "row-above-otherwise",
    /// Rows that combine to a probability below zero.
    RowCombination = "row-combination",
    /// Answers that are not listed from healthy to worst.
    AnswersOutOfOrder = "answers-out-of-order",
    /// An answer that nothing ever gives.
    AnswerUnreachable = "answer-unreachable",
    /// Checks that wait for one another.
    Cycle = "cycle",
    /// No limit to hold a reading against.
    LimitMissing = "limit-missing",
    /// A lower end above its upper end.
    LimitReversed = "limit-reversed",
    /// Rows of a table that go up and down.
    TableNotOrdered = "table-not-ordered",
    /// A proof that asks for nothing.
    ProofEmpty = "proof-empty",
    /// A proof that can never be complete.
    ProofContradiction = "proof-contradiction",
    /// A proof that no fault of what it is for can bring about.
    ProofOutOfReach = "proof-out-of-reach",
    /// A complaint that no suspect leads to.
    ComplaintUnreachable = "complaint-unreachable",
    /// A complaint that leaves out what the proofs of a side it fits ask for.
    ComplaintUnprovable = "complaint-unprovable",
    /// A check that is asked where one that is measured is wanted.
    NotMeasured = "not-measured",
    /// Something related to itself.
    SelfReference = "self-reference",
    /// A suspect that no check and no complaint speaks of.
    SuspectUnseen = "suspect-unseen",
    /// A check that says the same whatever is at fault.
    DecidesNothing = "decides-nothing",
    /// A side with suspects that nothing can prove.
    SideWithoutProof = "side-without-proof",
    /// A caution that no check calls for.
    UnusedCaution = "unused-caution",
}

impl fmt::Display for DefectKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

impl fmt::Display for Severity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Severity::Error => "error",
            Severity::Warning => "warning",
        })
    }
}

impl fmt::Display for Defect {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Defect {
            kind,
            severity,
            line,
            column,
            message,
            hint,
        } = self;
        write!(f, "{line}:{column}: {severity}: {kind}: {message}; {hint}")
    }
}

impl std::error::Error for Defect {}
