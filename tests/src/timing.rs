//! What benches are held against.

use std::time::{Duration, Instant};

/// The value below which a part of them, 0 to 1, lies.
pub fn quantile(sorted: &[Duration], part: f64) -> Duration {
    sorted[((sorted.len() - 1) as f64 * part) as usize]
}

/// How long durable commits of one row take: bare SQLite, WAL, `synchronous=FULL`, in the order they were made.
pub fn durable_commits() -> Vec<Duration> {
    let folder = tempfile::tempdir().unwrap();
    let connection = rusqlite::Connection::open(folder.path().join("bare.db")).unwrap();
    let set = |name, value| connection.pragma_update(None, name, value).unwrap();
    set("journal_mode", "WAL");
    set("synchronous", "FULL");
    connection
        .execute_batch("CREATE TABLE event (seq INTEGER PRIMARY KEY, value REAL) STRICT")
        .unwrap();
    let commit = |number| {
        let begun = Instant::now();
        connection
            .execute("INSERT INTO event (value) VALUES (?1)", [f64::from(number)])
            .unwrap();
        begun.elapsed()
    };
    (0..2000).map(commit).collect()
}
