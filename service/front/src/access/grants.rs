//! The tokens that are valid now: the file's, followed while the service runs.

use std::collections::HashMap;
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};
use std::sync::{Arc, PoisonError, RwLock};

use tokio_util::sync::CancellationToken;
use trisect_wire::Role;

use super::rate_limit::RateLimit;
use super::token::{Hash, Token};
use super::token_file::{self, Entry, TokenFileError};

/// What a token gives.
#[derive(Debug)]
pub(super) struct Grant {
    pub(super) who: Arc<str>,
    pub(super) role: Role,
    pub(super) rate: RateLimit,
    /// Ends what goes on with it.
    pub(super) revoked: CancellationToken,
}

/// The valid tokens by their hashes.
#[derive(Debug)]
pub struct Grants {
    file: Option<PathBuf>,
    calls_per_second: f64,
    state: RwLock<State>,
}

#[derive(Debug, Default)]
struct State {
    stamp: Option<Stamp>,
    by_hash: HashMap<Hash, Arc<Grant>>,
}

/// What of a file changes when its content does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Stamp {
    inode: u64,
    length: u64,
    modified: (i64, i64),
}

impl Stamp {
    /// The stamp of a file, if it is there.
    pub(crate) fn of(path: &Path) -> Option<Stamp> {
        let meta = std::fs::metadata(path).ok()?;
        Some(Stamp {
            inode: meta.ino(),
            length: meta.len(),
            modified: (meta.mtime(), meta.mtime_nsec()),
        })
    }
}

impl Grants {
    /// No tokens at all.
    pub(super) fn none() -> Grants {
        Grants {
            file: None,
            calls_per_second: f64::INFINITY,
            state: RwLock::default(),
        }
    }

    /// The tokens of a file; none where there is no file.
    pub(super) fn new(
        file: Option<PathBuf>,
        calls_per_second: f64,
    ) -> Result<Grants, TokenFileError> {
        let grants = Grants {
            file,
            calls_per_second,
            ..Grants::none()
        };
        grants.reload()?;
        Ok(grants)
    }

    /// What a token gives, if it is valid.
    pub(super) fn find(&self, token: &Token) -> Option<Arc<Grant>> {
        // By hash: how long the look-up takes tells of the hash, from which the token cannot be found.
        let state = self.state.read().unwrap_or_else(PoisonError::into_inner);
        state.by_hash.get(&token.hash()).cloned()
    }

    /// How many there are.
    pub fn count(&self) -> usize {
        let state = self.state.read().unwrap_or_else(PoisonError::into_inner);
        state.by_hash.len()
    }

    /// Reads the file again if it has changed; whether it had.
    ///
    /// # Errors
    /// A file that cannot be used; what was valid stays so.
    pub fn follow(&self) -> Result<bool, TokenFileError> {
        let Some(path) = &self.file else {
            return Ok(false);
        };
        let stamp = Stamp::of(path);
        let known = self
            .state
            .read()
            .unwrap_or_else(PoisonError::into_inner)
            .stamp;
        if stamp == known {
            return Ok(false);
        }
        self.reload().map(|()| true)
    }

    fn reload(&self) -> Result<(), TokenFileError> {
        let Some(path) = &self.file else {
            return Ok(());
        };
        // Taken before reading: what is written in between is read the next time.
        let stamp = Stamp::of(path);
        let entries = token_file::read(path)?;
        let mut state = self.state.write().unwrap_or_else(PoisonError::into_inner);
        // What is left of it when the file is through is what was revoked.
        let mut before = std::mem::take(&mut state.by_hash);
        for entry in entries {
            let Some(hash) = token_file::hash_of(&entry) else {
                continue;
            };
            let grant = self.grant(entry, before.remove(&hash));
            state.by_hash.insert(hash, grant);
        }
        state.stamp = stamp;
        for revoked in before.into_values() {
            revoked.revoked.cancel();
        }
        Ok(())
    }

    /// The grant there was, if nothing about it changed; what goes on with another is ended.
    fn grant(&self, entry: Entry, before: Option<Arc<Grant>>) -> Arc<Grant> {
        let per_second = entry.calls_per_second.unwrap_or(self.calls_per_second);
        let who = format!("token:{}", entry.name);
        if let Some(before) = before {
            // The same grant rather than one like it: its bucket stays as empty as it is, so that a changed file gives
            // nobody new calls, and the WebSockets that hold it are not closed.
            let same = before.role == entry.role && *before.who == *who;
            if same && before.rate.per_second() == per_second {
                return before;
            }
            before.revoked.cancel();
        }
        Arc::new(Grant {
            who: Arc::from(who),
            role: entry.role,
            rate: RateLimit::new(per_second),
            revoked: CancellationToken::new(),
        })
    }
}
