//! Copies: a backup while the service runs, and putting one in the journal's place.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use rusqlite::backup::{Backup, StepResult};
use rusqlite::{Connection, OpenFlags};

use super::schema;
use crate::JournalError;

/// Copies a journal, as it stands at one moment, into a new file; the service may be writing it.
///
/// # Errors
/// When there is no journal, the copy exists already or cannot be written, or it does not pass its
/// integrity check: then there is no copy.
pub fn backup(journal: &Path, copy: &Path) -> Result<u64, JournalError> {
    if copy.exists() {
        return Err(JournalError::CopyExists {
            path: copy.to_owned(),
        });
    }
    schema::examine(journal)?;
    // Under another name until it is checked: a file with the copy's name is always a whole one.
    let partial = beside(copy, ".partial");
    let done = copy_into(journal, &partial).and_then(|()| sound(&partial));
    if let Err(error) = done {
        // What is left of it is of no use to anybody.
        let _ = std::fs::remove_file(&partial);
        return Err(error);
    }
    put_in_place(&partial, copy)?;
    std::fs::metadata(copy)
        .map(|meta| meta.len())
        .map_err(|source| file_error("look at the copy", copy, source))
}

/// Puts a copy in a journal's place; what was there is kept under another name, which is given.
/// The service must not be running on it.
///
/// # Errors
/// When the journal is in use, the copy is none or does not pass its integrity check, or files
/// cannot be written: then the journal is as it was.
pub fn restore(copy: &Path, journal: &Path) -> Result<Option<PathBuf>, JournalError> {
    // Held to the end: a service that starts meanwhile must not open the file that is put away.
    let _lock = schema::lock(journal)?;
    if !copy.is_file() {
        let source = std::io::ErrorKind::NotFound.into();
        return Err(file_error("read the copy", copy, source));
    }
    schema::examine(copy)?;
    sound(copy)?;
    // Beside the journal, so on the same file system: putting it in place is a rename, never half done.
    let new = beside(journal, ".restoring");
    let _ = std::fs::remove_file(&new);
    copy_into(copy, &new).and_then(|()| sound(&new))?;
    let before = if journal.exists() {
        // What its log still holds belongs to it, not to what takes its place.
        let old = open(journal, OpenFlags::SQLITE_OPEN_READ_WRITE)?;
        let folding = JournalError::storage("fold the journal's log into it");
        old.pragma_update(None, "journal_mode", "DELETE")
            .map_err(folding)?;
        drop(old);
        let before = (1..)
            .map(|number| beside(journal, &format!(".before-restore-{number}")))
            .find(|name| !name.exists());
        let before = before.unwrap_or_else(|| beside(journal, ".before-restore"));
        put_in_place(journal, &before)?;
        Some(before)
    } else {
        None
    };
    put_in_place(&new, journal)?;
    Ok(before)
}

/// Copies by SQLite's online backup, all pages at one moment, and has them on disk.
fn copy_into(from: &Path, to: &Path) -> Result<(), JournalError> {
    let copying = JournalError::storage("copy the journal");
    let _ = std::fs::remove_file(to);
    let from = open(from, OpenFlags::SQLITE_OPEN_READ_WRITE)?;
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE;
    let mut target = open(to, flags)?;
    {
        let backup = Backup::new(&from, &mut target).map_err(&copying)?;
        loop {
            // All pages in one step: in smaller ones, each write of the service in between would begin the
            // copy anew.
            match backup.step(-1).map_err(&copying)? {
                StepResult::Done => break,
                // Somebody writes at this very moment; SQLite waits by itself, a little each time.
                _ => continue,
            }
        }
    }
    // One file, without a log beside it.
    target
        .pragma_update(None, "journal_mode", "DELETE")
        .map_err(&copying)?;
    drop(target);
    let synced = File::open(to).and_then(|file| file.sync_all());
    synced.map_err(|source| file_error("have the copy on disk", to, source))
}

/// Holds a file against SQLite's own checks.
fn sound(path: &Path) -> Result<(), JournalError> {
    let checking = JournalError::storage("check the copy");
    let connection = open(path, OpenFlags::SQLITE_OPEN_READ_WRITE)?;
    let first: String = connection
        .query_row("PRAGMA integrity_check(1)", [], |row| row.get(0))
        .map_err(checking)?;
    if first == "ok" {
        Ok(())
    } else {
        Err(JournalError::Damaged {
            path: path.to_owned(),
            finding: first,
        })
    }
}

fn open(path: &Path, flags: OpenFlags) -> Result<Connection, JournalError> {
    let opening = JournalError::storage("open a journal to copy");
    let flags = flags | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = Connection::open_with_flags(path, flags).map_err(&opening)?;
    connection
        .busy_timeout(Duration::from_secs(5))
        .map_err(&opening)?;
    Ok(connection)
}

/// Renames, and has the new name on disk.
fn put_in_place(from: &Path, to: &Path) -> Result<(), JournalError> {
    let moving = |source| file_error("put the file in its place", to, source);
    std::fs::rename(from, to).map_err(moving)?;
    let folder = to.parent().filter(|folder| !folder.as_os_str().is_empty());
    let folder = folder.unwrap_or(Path::new("."));
    // A rename survives a power cut only once the folder is on disk.
    File::open(folder)
        .and_then(|folder| folder.sync_all())
        .map_err(moving)
}

fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    PathBuf::from(name)
}

fn file_error(doing: &'static str, path: &Path, source: std::io::Error) -> JournalError {
    JournalError::File {
        doing,
        path: path.to_owned(),
        source: Arc::new(source),
    }
}
