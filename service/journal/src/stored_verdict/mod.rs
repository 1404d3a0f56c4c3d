//! A verdict as the journal stores it, apart from what the diagnosis computes and from what travels on the wire:
//! those change with the program, while a file has to stay readable.
//!
//! Every format that was ever written keeps reading; `examples` holds one frozen verdict of each. A new format is a
//! new number here, a new example there, and a reader that brings the old ones into the new shape.

mod content;
mod from_diagnosis;
#[cfg(test)]
mod tests;

pub use content::{
    StoredBySide, StoredComplaint, StoredCrank, StoredEvidence, StoredMissing, StoredNextTest,
    StoredRuleSet, StoredSpectralLine, StoredSuspect, StoredVerdict,
};

/// The format that is written now. Format 0 is what was written before formats had numbers: the same fields, and
/// no number.
pub const VERDICT_FORMAT: u32 = 1;

/// A stored verdict that cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum StoredVerdictError {
    /// It was written by a newer program.
    #[error(
        "a verdict is stored in format {found}; this program knows 0 to {VERDICT_FORMAT}: use the newer program that wrote it"
    )]
    Newer {
        /// Its format.
        found: u32,
    },
    /// It is no verdict, which means that the journal is damaged.
    #[error("a stored verdict cannot be read; `job verify` tells what else of the job was altered")]
    Damaged(#[from] serde_json::Error),
}

impl StoredVerdict {
    /// Reads what was stored, in whatever format.
    ///
    /// # Errors
    /// A format that is newer than this program, or bytes that are no verdict.
    pub fn from_bytes(bytes: &[u8]) -> Result<StoredVerdict, StoredVerdictError> {
        // The number alone comes first: a newer format may lack what this one asks for.
        #[derive(serde::Deserialize)]
        struct Format {
            #[serde(default)]
            format: u32,
        }
        let Format { format } = serde_json::from_slice(bytes)?;
        if format > VERDICT_FORMAT {
            return Err(StoredVerdictError::Newer { found: format });
        }
        Ok(serde_json::from_slice(bytes)?)
    }

    /// The bytes that are stored and compared: JSON without spaces.
    pub fn to_bytes(&self) -> Vec<u8> {
        // Plain structs of texts and numbers: there is nothing that could fail.
        serde_json::to_vec(self).unwrap_or_default()
    }

    /// The same verdict as an older program would have stored it, to compare it with what one did store.
    #[must_use]
    pub fn in_format(self, format: u32) -> StoredVerdict {
        StoredVerdict { format, ..self }
    }
}
