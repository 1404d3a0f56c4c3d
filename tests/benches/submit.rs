//! `reading.submit` of a thousand readings a call, durable, over the WebSocket.
//!
//! Goal: at least half of what bare SQLite takes of the same rows: same columns, one prepared statement, WAL,
//! `synchronous=FULL`, a commit every thousand.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a bench fails by panicking"
)]

use std::path::Path;
use std::time::Instant;

use rusqlite::{Connection, params};
use trisect_tests::service::{Served, open_job, readings, submit};

const READINGS_A_CALL: usize = 1000;
const CALLS: usize = 200;

fn values(call: usize) -> Vec<f64> {
    (0..READINGS_A_CALL)
        .map(|index| 12.0 + ((call + index) % 500) as f64 / 1000.0)
        .collect()
}

/// Rows a second of bare inserts.
fn bare(folder: &Path) -> f64 {
    let mut connection = Connection::open(folder.join("bare.db")).unwrap();
    connection
        .pragma_update(None, "journal_mode", "WAL")
        .unwrap();
    connection
        .pragma_update(None, "synchronous", "FULL")
        .unwrap();
    let table = "CREATE TABLE event (seq INTEGER PRIMARY KEY, at INTEGER NOT NULL, wall INTEGER NOT NULL,
        kind INTEGER NOT NULL, subject INTEGER NOT NULL, object INTEGER, bound INTEGER, value ANY,
        uncertainty ANY, flags INTEGER, entered INTEGER, instrument INTEGER, channel INTEGER, by INTEGER) STRICT";
    connection.execute_batch(table).unwrap();
    let begun = Instant::now();
    let mut at = 0_i64;
    for call in 0..CALLS {
        let transaction = connection.transaction().unwrap();
        {
            let insert = "INSERT INTO event (at, wall, kind, subject, object, bound, value, uncertainty, flags,
                entered, instrument, channel, by) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)";
            let mut insert = transaction.prepare_cached(insert).unwrap();
            for value in values(call) {
                at += 1_000_000;
                let none = None::<i64>;
                insert
                    .execute(params![
                        at,
                        at / 1000,
                        0,
                        1,
                        none,
                        0,
                        value,
                        0.01,
                        0,
                        0,
                        none,
                        none,
                        none
                    ])
                    .unwrap();
            }
        }
        transaction.commit().unwrap();
    }
    (CALLS * READINGS_A_CALL) as f64 / begun.elapsed().as_secs_f64()
}

/// Rows a second through the service, from so many clients at once.
async fn served(clients: usize) -> f64 {
    let served = Served::start().await;
    let first = served.client().await;
    open_job(&first, None).await;
    let mut connected = vec![first];
    while connected.len() < clients {
        connected.push(served.client().await);
    }
    let begun = Instant::now();
    let mut running = Vec::new();
    for (number, client) in connected.into_iter().enumerate() {
        running.push(tokio::spawn(async move {
            for call in (number..CALLS).step_by(clients) {
                submit(&client, readings("battery", "V", &values(call))).await;
            }
        }));
    }
    for running in running {
        running.await.unwrap();
    }
    let rate = (CALLS * READINGS_A_CALL) as f64 / begun.elapsed().as_secs_f64();
    served.stop().await;
    rate
}

fn main() {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .unwrap();
    let folder = tempfile::tempdir().unwrap();
    let bare = bare(folder.path());
    println!("bare SQLite          {bare:>10.0} rows/s");
    for clients in [1, 4] {
        let rate = runtime.block_on(served(clients));
        println!(
            "reading.submit, {clients} at once {rate:>7.0} rows/s, ratio {:.2}",
            rate / bare
        );
    }
}
