//! Refusals: what a bay or the journal refuses, in the words of the wire.

use trisect_bay::{BayError, Hint};
use trisect_journal::JournalError;
use trisect_wire::{ErrorKind, WireError};

/// What a bay refuses.
pub(crate) fn refused(error: BayError) -> WireError {
    let mut refusal = kind(error.kind).because(error.message);
    refusal.field = error.field;
    match error.hint {
        None => refusal,
        Some(Hint::Text(text)) => refusal.hint(text),
        Some(Hint::OneOf { given, known }) => {
            refusal.hint_nearest(&given, known.iter().map(String::as_str))
        }
    }
}

/// What the journal refuses.
pub(crate) fn refusal(error: &JournalError) -> WireError {
    refused(trisect_bay::refusal(error))
}

/// Something that cannot happen unless the program is wrong.
pub(crate) fn internal(error: &(dyn std::error::Error + 'static)) -> WireError {
    refused(trisect_bay::internal(error))
}

fn kind(kind: trisect_bay::ErrorKind) -> ErrorKind {
    use trisect_bay::ErrorKind as Bay;
    match kind {
        Bay::InvalidRequest => ErrorKind::InvalidParams,
        Bay::UnknownInstrument => ErrorKind::UnknownInstrument,
        Bay::UnknownChannel => ErrorKind::UnknownChannel,
        Bay::UnknownPoint => ErrorKind::UnknownPoint,
        Bay::UnknownCheck => ErrorKind::UnknownCheck,
        Bay::UnknownAnswer => ErrorKind::UnknownAnswer,
        Bay::UnknownJob => ErrorKind::UnknownJob,
        Bay::UnknownRuleSet => ErrorKind::UnknownRuleset,
        Bay::UnknownComplaint => ErrorKind::UnknownComplaint,
        Bay::UnknownSuspect => ErrorKind::UnknownSuspect,
        Bay::UnknownUnit => ErrorKind::UnknownUnit,
        Bay::UnknownAdapter => ErrorKind::UnknownAdapter,
        Bay::InvalidValue => ErrorKind::InvalidValue,
        Bay::WrongQuantity => ErrorKind::WrongQuantity,
        Bay::ImplausibleValue => ErrorKind::ImplausibleValue,
        Bay::InvalidTime => ErrorKind::InvalidTime,
        Bay::InvalidSettings => ErrorKind::InvalidSettings,
        Bay::NoOpenJob => ErrorKind::NoOpenJob,
        Bay::Busy => ErrorKind::BayBusy,
        Bay::JobClosed => ErrorKind::JobClosed,
        Bay::NoBarometer => ErrorKind::NoBarometer,
        Bay::PluginFailed => ErrorKind::PluginFailed,
        Bay::Stopping => ErrorKind::TooBusy,
        Bay::Storage => ErrorKind::Storage,
        Bay::Internal => ErrorKind::Internal,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_refusal_keeps_its_field_and_guesses_the_name_that_was_meant() {
        let error = trisect_bay::ErrorKind::UnknownPoint
            .because("there is no test point `batery`")
            .at("point")
            .hint_nearest("batery", ["battery", "engine-speed"]);
        let said = refused(error);
        assert_eq!(said.kind, ErrorKind::UnknownPoint);
        assert_eq!(said.field.as_deref(), Some("point"));
        assert_eq!(said.hint.as_deref(), Some("did you mean `battery`?"));
    }
}
