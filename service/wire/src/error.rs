//! Why a request was refused: stable words, their JSON-RPC codes, and what travels in `data`.

use crate::escape::{cut, escape};
use crate::types::Defect;
use jsonrpsee_types::ErrorObjectOwned;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Declares [`ErrorKind`] as one table: variant, wire word, JSON-RPC code, what it means.
macro_rules! error_kinds {
    ($($kind:ident = $code:literal $word:literal $meaning:literal)+) => {
        /// Why a request was refused. The word on the wire is stable; so is the code.
        ///
        /// Codes below −32000 are those of JSON-RPC 2.0; the others are this service's own
        /// and lie outside the range the specification reserves.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
        pub enum ErrorKind {
            $(#[doc = $meaning] #[serde(rename = $word)] $kind,)+
        }

        impl ErrorKind {
            /// Every kind, in the order of the table.
            pub const ALL: &'static [Self] = &[$(Self::$kind),+];

            /// The stable kebab-case word.
            pub const fn word(self) -> &'static str {
                match self { $(Self::$kind => $word),+ }
            }

            /// The JSON-RPC error code; each kind has its own.
            pub const fn code(self) -> i32 {
                match self { $(Self::$kind => $code),+ }
            }

            /// One sentence on what the kind means.
            pub const fn meaning(self) -> &'static str {
                match self { $(Self::$kind => $meaning),+ }
            }
        }
    };
}

error_kinds! {
    BrokenJson        = -32700 "broken-json"         "The message is not JSON."
    InvalidRequest    = -32600 "invalid-request"     "The message is JSON but not a JSON-RPC 2.0 request."
    UnknownMethod     = -32601 "unknown-method"      "There is no method of this name."
    InvalidParams     = -32602 "invalid-params"      "The parameters do not have the shape the method asks for."
    Internal          = -32603 "internal"            "The service failed; the request may be right."
    UnknownBay        = 1001   "unknown-bay"         "There is no bay of this name."
    UnknownInstrument = 1002   "unknown-instrument"  "The bay has no instrument of this name."
    UnknownChannel    = 1003   "unknown-channel"     "The instrument has no channel of this name."
    UnknownPoint      = 1004   "unknown-point"       "The rule set has no test point of this id."
    UnknownCheck      = 1005   "unknown-check"       "The rule set has no check of this id, or not one that is asked."
    UnknownAnswer     = 1006   "unknown-answer"      "The check has no such answer."
    UnknownJob        = 1007   "unknown-job"         "There is no job of this id."
    UnknownRuleset    = 1008   "unknown-ruleset"     "There is no rule set of this id."
    UnknownComplaint  = 1009   "unknown-complaint"   "The rule set has no complaint of this id."
    UnknownSuspect    = 1010   "unknown-suspect"     "The rule set has no suspect of this id."
    UnknownUnit       = 1011   "unknown-unit"        "The unit is not one the service knows."
    UnknownAdapter    = 1012   "unknown-adapter"     "The service has no adapter of this name."
    UnknownCalibration = 1013  "unknown-calibration" "The journal has no calibration of this id."
    InvalidValue      = 1101   "invalid-value"       "The value cannot be read as a number with a unit, or is out of its range."
    WrongQuantity     = 1102   "wrong-quantity"      "The unit is of another quantity than the test point."
    ImplausibleValue  = 1103   "implausible-value"   "The value lies outside what is plausible at the test point."
    InvalidTime       = 1104   "invalid-time"        "The time is not RFC 3339, or not within the job."
    InvalidSettings   = 1105   "invalid-settings"    "The adapter refuses its settings."
    PortRefused       = 1106   "port-refused"        "The port cannot be opened, or an instrument of the service has it."
    DefectiveRuleset  = 1107   "defective-ruleset"   "The rule set's text has errors; `defects` lists every defect."
    DefectiveCase     = 1108   "defective-case"      "A case has errors, or does not fit its rule set; `defects` lists them."
    NoOpenJob         = 1201   "no-open-job"         "The bay has no open job."
    BayBusy           = 1202   "bay-busy"            "The bay already has an open job, or the name is taken."
    JobClosed         = 1203   "job-closed"          "The job is closed."
    NoBarometer       = 1204   "no-barometer"        "An absolute pressure needs the barometric pressure to become a gauge pressure."
    TooLarge          = 1301   "too-large"           "The request asks for or carries more than the service takes at once."
    TooBusy           = 1302   "too-busy"            "The service has no room right now; try again later."
    Storage           = 1303   "storage"             "The journal could not store or read; nothing was acknowledged."
    Ended             = 1304   "ended"               "The service has ended the subscription; subscribe again."
    NotPermitted      = 1401   "not-permitted"       "The caller's role does not reach this method."
    HostRefused       = 1402   "host-refused"        "The Host header names a host this service does not answer for."
    OriginRefused     = 1403   "origin-refused"      "The Origin header names a site this service does not trust."
    PluginFailed      = 1411   "plugin-failed"       "The plugin cannot be started, or breaks its contract."
    UnknownWebhook    = 1412   "unknown-webhook"     "There is no webhook of this name."
    TokenMissing      = 1501   "token-missing"       "The service does not know who calls: send a token."
    TokenRefused      = 1502   "token-refused"       "The token is not valid here, or not any more."
    RateLimited       = 1503   "rate-limited"        "The token's calls come faster than it may make them."
}

impl ErrorKind {
    /// Kinds every method may answer with, whatever its own list says.
    pub const COMMON: &'static [Self] = &[
        Self::InvalidParams,
        Self::TooLarge,
        Self::NotPermitted,
        Self::RateLimited,
        Self::TooBusy,
        Self::Internal,
    ];

    /// A refusal of this kind with its message: what was wrong, in lower case.
    pub fn because(self, message: impl Into<String>) -> WireError {
        WireError {
            kind: self,
            message: shown(&message.into()),
            field: None,
            hint: None,
            defects: Vec::new(),
        }
    }
}

impl std::fmt::Display for ErrorKind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.word())
    }
}

/// A refusal as it travels: the `data` member of a JSON-RPC error object.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema, thiserror::Error)]
#[error("{message} ({kind}){}", hint.as_deref().map(|h| format!("; {h}")).unwrap_or_default())]
pub struct WireError {
    /// The stable word for programs.
    pub kind: ErrorKind,
    /// What was wrong, for people.
    pub message: String,
    /// The parameter at fault, as a path such as `readings[3].unit`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub field: Option<String>,
    /// What to do about it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hint: Option<String>,
    /// Every defect of a text that was refused.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub defects: Vec<Defect>,
}

impl WireError {
    /// Names the parameter at fault.
    #[must_use]
    pub fn at(mut self, field: impl Into<String>) -> Self {
        self.field = Some(shown(&field.into()));
        self
    }

    /// Says what to do about it.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(shown(&hint.into()));
        self
    }

    /// Lists the defects of the text that was refused.
    #[must_use]
    pub fn listing(mut self, defects: Vec<Defect>) -> Self {
        self.defects = defects;
        self
    }

    /// Hints at the known names: the nearest one if there is one near, else all of them.
    #[must_use]
    pub fn hint_nearest<'a>(self, given: &str, known: impl IntoIterator<Item = &'a str>) -> Self {
        match crate::nearest::advice(given, known) {
            Some(advice) => self.hint(advice),
            None => self,
        }
    }

    /// Reads a refusal back from a JSON-RPC error; `None` if its `data` is not one of ours.
    pub fn from_error_object(error: &ErrorObjectOwned) -> Option<Self> {
        serde_json::from_str(error.data()?.get()).ok()
    }
}

/// Characters of a message: what it quotes may be as long as a request.
const LONGEST: usize = 2000;

/// A text as people are shown it, whatever of a request it quotes.
fn shown(text: &str) -> String {
    cut(escape(text).into_owned(), LONGEST)
}

impl From<WireError> for ErrorObjectOwned {
    fn from(error: WireError) -> Self {
        Self::owned(error.kind.code(), error.message.clone(), Some(error))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn words_and_codes_are_unique_and_outside_the_reserved_range() {
        let words: BTreeSet<_> = ErrorKind::ALL.iter().map(|k| k.word()).collect();
        let codes: BTreeSet<_> = ErrorKind::ALL.iter().map(|k| k.code()).collect();
        assert_eq!(words.len(), ErrorKind::ALL.len());
        assert_eq!(codes.len(), ErrorKind::ALL.len());
        // JSON-RPC 2.0, section 5.1: −32768 … −32000 is reserved; five codes in it are defined.
        let reserved = codes.iter().filter(|c| (-32768..=-32000).contains(*c));
        assert_eq!(reserved.count(), 5);
    }

    #[test]
    fn a_refusal_survives_the_wire() {
        let error = ErrorKind::UnknownUnit
            .because("unit `psy` is not known")
            .at("readings[0].unit")
            .hint("write psi");
        let object = ErrorObjectOwned::from(error.clone());
        assert_eq!(object.code(), 1011);
        assert_eq!(WireError::from_error_object(&object), Some(error));
    }

    #[test]
    fn data_holds_only_what_is_known() {
        let text =
            serde_json::to_string(&ErrorKind::NoOpenJob.because("bay 1 has no open job")).unwrap();
        assert_eq!(
            text,
            r#"{"kind":"no-open-job","message":"bay 1 has no open job"}"#
        );
    }

    #[test]
    fn it_reads_as_a_sentence() {
        let error = ErrorKind::UnknownBay
            .because("there is no bay `b9`")
            .hint("known: b1, b2");
        assert_eq!(
            error.to_string(),
            "there is no bay `b9` (unknown-bay); known: b1, b2"
        );
    }
}
