//! The file: its lock, its settings, its tables and their history.

use std::ffi::OsString;
use std::fs::{File, TryLockError};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use rusqlite::{Connection, OpenFlags};

use crate::JournalError;

/// Marks the file as ours (`PRAGMA application_id`): "TRIS".
const APPLICATION: i64 = 0x5452_4953;

/// What brings schema n to n + 1. A file's own schema is its `user_version`;
/// rows are only ever added here.
pub(crate) const MIGRATIONS: &[&str] = &[
    include_str!("v1.sql"),
    include_str!("v2.sql"),
    include_str!("v3.sql"),
    include_str!("v4.sql"),
    include_str!("v5.sql"),
    include_str!("v6.sql"),
    include_str!("v7.sql"),
];

/// The newest schema.
pub(crate) fn newest() -> i64 {
    i64::try_from(MIGRATIONS.len()).unwrap_or(i64::MAX)
}

/// How long a statement waits for another program that reads or backs up.
const PATIENCE: Duration = Duration::from_secs(5);

/// Takes the journal for this process alone, until the file is dropped. A file
/// beside the database is locked, as SQLite loses its own locks when somebody
/// else closes the database file in the same process.
pub(super) fn lock(path: &Path) -> Result<File, JournalError> {
    let mut name = OsString::from(path);
    name.push(".lock");
    let name = PathBuf::from(name);
    let locking = |source| JournalError::Lock {
        path: name.clone(),
        source: Arc::new(source),
    };
    let mut options = File::options();
    let file = options.write(true).create(true).truncate(false).open(&name);
    let file = file.map_err(locking)?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(JournalError::InUse {
            path: path.to_owned(),
        }),
        Err(TryLockError::Error(source)) => Err(locking(source)),
    }
}

/// Opens the database for writing and brings it up to date.
pub(super) fn open(path: &Path) -> Result<Connection, JournalError> {
    let opening = JournalError::storage("open the journal");
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE
        | OpenFlags::SQLITE_OPEN_CREATE
        | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let mut connection = Connection::open_with_flags(path, flags).map_err(&opening)?;
    configure(&connection).map_err(&opening)?;
    migrate(&mut connection, path)?;
    Ok(connection)
}

/// Opens the database for reading.
pub(super) fn open_reader(path: &Path) -> Result<Connection, JournalError> {
    let opening = JournalError::storage("open the journal for reading");
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = Connection::open_with_flags(path, flags).map_err(&opening)?;
    let configure = || {
        connection.busy_timeout(PATIENCE)?;
        // Kibibytes: readers go through the file once, they need little.
        connection.pragma_update(None, "cache_size", -512)
    };
    configure().map_err(&opening)?;
    Ok(connection)
}

fn configure(connection: &Connection) -> rusqlite::Result<()> {
    connection.busy_timeout(PATIENCE)?;
    connection.pragma_update(None, "journal_mode", "WAL")?;
    // With NORMAL, a write-ahead log may lose its newest commits when the power fails, and those
    // have been answered.
    connection.pragma_update(None, "synchronous", "FULL")?;
    connection.pragma_update(None, "foreign_keys", true)?;
    // A log that has once grown is cut back to this many bytes.
    connection.pragma_update(None, "journal_size_limit", 16 * 1024 * 1024)
}

fn migrate(connection: &mut Connection, path: &Path) -> Result<(), JournalError> {
    let migrating = JournalError::storage("bring the journal up to date");
    let path = path.to_owned();
    let known = newest();
    // All steps in one transaction: a service that dies in between finds the old file again.
    let transaction = connection.transaction().map_err(&migrating)?;
    let pragma = |name| transaction.pragma_query_value(None, name, |row| row.get::<_, i64>(0));
    let application = pragma("application_id").map_err(&migrating)?;
    let found = pragma("user_version").map_err(&migrating)?;
    let tables = "SELECT count(*) FROM sqlite_schema";
    let tables: i64 = transaction
        .query_row(tables, [], |row| row.get(0))
        .map_err(&migrating)?;
    // An empty file is nobody's. Any other without the mark is another program's, and left alone.
    if application != APPLICATION && (application, found, tables) != (0, 0, 0) {
        return Err(JournalError::Foreign { path });
    }
    let newer = || JournalError::Newer {
        path: path.clone(),
        found,
        known,
    };
    let done = usize::try_from(found).map_err(|_| newer())?;
    for migration in MIGRATIONS.get(done..).ok_or_else(newer)? {
        transaction.execute_batch(migration).map_err(&migrating)?;
    }
    if found < known {
        super::chain::adopt(&transaction)?;
    }
    transaction
        .pragma_update(None, "application_id", APPLICATION)
        .and_then(|()| transaction.pragma_update(None, "user_version", known))
        .and_then(|()| transaction.commit())
        .map_err(&migrating)
}

/// Looks at a file without changing it: whether [`open`] would take it, or could make one there.
pub(super) fn examine(path: &Path) -> Result<(), JournalError> {
    let looking = JournalError::storage("look at the journal");
    if !path.exists() {
        let folder = path
            .parent()
            .filter(|folder| !folder.as_os_str().is_empty());
        let folder = folder.unwrap_or(Path::new("."));
        let there = std::fs::metadata(folder).and_then(|meta| {
            if meta.is_dir() && !meta.permissions().readonly() {
                Ok(())
            } else {
                Err(std::io::ErrorKind::PermissionDenied.into())
            }
        });
        return there.map_err(|source| JournalError::Lock {
            path: folder.to_owned(),
            source: Arc::new(source),
        });
    }
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = Connection::open_with_flags(path, flags).map_err(&looking)?;
    connection.busy_timeout(PATIENCE).map_err(&looking)?;
    let pragma = |name| connection.pragma_query_value(None, name, |row| row.get::<_, i64>(0));
    let application = pragma("application_id").map_err(&looking)?;
    let found = pragma("user_version").map_err(&looking)?;
    let path = path.to_owned();
    let known = newest();
    if application != APPLICATION {
        return Err(JournalError::Foreign { path });
    }
    if found > known {
        return Err(JournalError::Newer { path, found, known });
    }
    Ok(())
}
