//! What a rule set says: model, loader, defects, cases; the shipped rule sets.
//!
//! A rule set is TOML text. [`examine`] reads it and reports every defect of it
//! at once, each with its place and the way to mend it; only a text without
//! errors becomes a [`RuleSet`]. [`case`] does the same for recorded jobs.
//!
//! Invariants, each an absence:
//! - this crate opens no file and no socket, and reads no clock, environment or
//!   random source: text comes in, findings go out;
//! - no text makes it panic, and none makes it stop at the first defect;
//! - no [`RuleSet`] exists with an id that does not resolve, a unit that does
//!   not fit its point, or a row that is no probability, alone or combined;
//! - no amount in the model is in anything but SI.
//!
//! Every defect has its line, its column and the way to mend it:
//!
//! ```
//! let shipped = trisect_rules::shipped()[0].1;
//! assert!(trisect_rules::examine(shipped).rule_set.is_some());
//!
//! let misspelt = shipped.replacen("phase = ", "phrase = ", 1);
//! let examination = trisect_rules::examine(&misspelt);
//! assert!(examination.rule_set.is_none());
//! let defect = &examination.defects[0];
//! assert!(defect.line > 1 && defect.column == 1);
//! assert!(defect.hint.contains("phase"), "{defect:?}");
//! ```

pub mod case;
mod defect;
mod load;
mod model;
pub mod proving;
mod read;
pub mod schema;
mod shipped;
pub mod testability;
mod words;

pub use defect::{Defect, DefectKind, Severity};
pub use load::{Examination, examine};
pub use model::{
    Asked, Bound, CANNOT_TELL, Caution, Check, Complaint, Condition, Derived, Format, How, Link,
    Measured, Presumption, Proof, ProofTarget, RuleSet, Suspect, TestPoint,
};
pub use shipped::{shipped, shipped_rule_set};
pub use trisect_measure::NANOS_PER_SECOND;
pub use words::{Drive, Outcome, Phase, Side, Standing, Take};
