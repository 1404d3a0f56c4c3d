//! News on its way out, in the file.

use std::sync::Arc;

use rusqlite::{Connection, OptionalExtension, Row, params, params_from_iter};
use tokio::sync::Notify;

use super::SqliteJournal;
use super::query::Reader;
use super::readable::readable;
use super::store::{Done, Write};
use crate::{Content, Counts, Delivery, Fate, JournalError, Outbox, Pending, Tried};

/// Deliveries given up that are kept for each webhook: the oldest go first.
const DEAD_KEPT: i64 = 10_000;

const DELIVERY: &str = "SELECT delivery.webhook, news.seq, news.id, news.noun, news.verb, news.lane, \
     news.posted, delivery.attempts, delivery.due, delivery.why, delivery.dead \
     FROM delivery JOIN news ON news.seq = delivery.news ";

/// What can be written about the outbox.
#[derive(Debug)]
pub(super) enum Mail {
    Address(Vec<(String, Vec<String>)>),
    Post {
        verb: &'static str,
        lane: String,
        body: String,
    },
    Settle(Vec<Tried>),
    Revive {
        webhook: String,
        seqs: Option<Vec<i64>>,
    },
}

impl Mail {
    /// Carries it out; how many deliveries it was about.
    pub(super) fn carry_out(&self, connection: &Connection) -> Result<u64, JournalError> {
        let done = match self {
            Mail::Address(webhooks) => address(connection, webhooks),
            Mail::Post { verb, lane, body } => post(connection, verb, lane, body),
            Mail::Settle(tried) => tried
                .iter()
                .try_for_each(|one| settle(connection, one))
                .map(|()| 0),
            Mail::Revive { webhook, seqs } => revive(connection, webhook, seqs.as_deref()),
        };
        done.map_err(JournalError::storage("write to the outbox"))
    }
}

fn address(connection: &Connection, webhooks: &[(String, Vec<String>)]) -> rusqlite::Result<u64> {
    connection.execute("DELETE FROM webhook", [])?;
    for (name, nouns) in webhooks {
        for noun in nouns {
            let put = "INSERT OR IGNORE INTO webhook (name, noun) VALUES (?1, ?2)";
            connection.execute(put, params![name, noun])?;
        }
    }
    Ok(0)
}

fn post(connection: &Connection, verb: &str, lane: &str, body: &str) -> rusqlite::Result<u64> {
    // To nobody: it is not even noted.
    let put = "INSERT INTO news (noun, verb, lane, body) SELECT 'instrument', ?1, ?2, ?3
               WHERE EXISTS (SELECT 1 FROM webhook WHERE noun = 'instrument')";
    let count = connection.execute(put, params![verb, lane, body])?;
    Ok(count as u64)
}

fn settle(connection: &Connection, tried: &Tried) -> rusqlite::Result<()> {
    let (webhook, seq) = (&tried.webhook, tried.seq);
    match &tried.fate {
        Fate::Delivered => {
            let forget = "DELETE FROM delivery WHERE webhook = ?1 AND news = ?2";
            connection.execute(forget, params![webhook, seq])?;
            forget_news(connection, seq)
        }
        Fate::Later { due, why } => {
            let later = "UPDATE delivery SET attempts = attempts + 1, due = ?3, why = ?4
                         WHERE webhook = ?1 AND news = ?2";
            connection
                .execute(later, params![webhook, seq, due, why])
                .map(|_| ())
        }
        Fate::Dead { why } => {
            let dead = "UPDATE delivery SET attempts = attempts + 1, dead = 1, why = ?3
                        WHERE webhook = ?1 AND news = ?2";
            connection.execute(dead, params![webhook, seq, why])?;
            // Deliveries are given up one by one, so there is never more than one beyond those kept.
            let oldest = "SELECT news FROM delivery WHERE webhook = ?1 AND dead = 1 ORDER BY news DESC LIMIT 1 OFFSET ?2";
            let find = connection.query_row(oldest, params![webhook, DEAD_KEPT], |row| row.get(0));
            let Some(oldest): Option<i64> = find.optional()? else {
                return Ok(());
            };
            let forget = "DELETE FROM delivery WHERE webhook = ?1 AND news = ?2";
            connection.execute(forget, params![webhook, oldest])?;
            forget_news(connection, oldest)
        }
    }
}

fn forget_news(connection: &Connection, seq: i64) -> rusqlite::Result<()> {
    // Other webhooks may still wait for the same news.
    let forget =
        "DELETE FROM news WHERE seq = ?1 AND NOT EXISTS (SELECT 1 FROM delivery WHERE news = ?1)";
    connection.execute(forget, params![seq]).map(|_| ())
}

fn revive(connection: &Connection, webhook: &str, seqs: Option<&[i64]>) -> rusqlite::Result<u64> {
    let all = "UPDATE delivery SET dead = 0, attempts = 0, due = 0 WHERE dead = 1 AND webhook = ?1";
    let Some(seqs) = seqs else {
        return connection
            .execute(all, params![webhook])
            .map(|count| count as u64);
    };
    let one = format!("{all} AND news = ?2");
    let mut count = 0;
    for seq in seqs {
        count += connection.execute(&one, params![webhook, seq])?;
    }
    Ok(count as u64)
}

fn delivery(row: &Row<'_>) -> rusqlite::Result<Delivery> {
    Ok(Delivery {
        webhook: row.get(0)?,
        seq: row.get(1)?,
        id: row.get(2)?,
        noun: row.get(3)?,
        verb: row.get(4)?,
        lane: row.get(5)?,
        posted: row.get(6)?,
        attempts: row.get(7)?,
        due: row.get(8)?,
        why: row.get(9)?,
        dead: row.get(10)?,
    })
}

impl Reader {
    fn deliveries_of(
        &self,
        rest: &str,
        values: &[&dyn rusqlite::ToSql],
    ) -> Result<Vec<Delivery>, JournalError> {
        let reading = JournalError::storage("read the outbox");
        let mut find = self
            .connection()
            .prepare_cached(&format!("{DELIVERY}{rest}"))
            .map_err(&reading)?;
        let found = find.query(params_from_iter(values)).map_err(&reading)?;
        readable(found, "a delivery", delivery).map_err(&reading)
    }

    fn content(&self, seq: i64) -> Result<Option<Content>, JournalError> {
        let reading = JournalError::storage("read a delivery");
        let find = "SELECT noun, body, (SELECT id FROM job WHERE key = news.job), verdict FROM news WHERE seq = ?1";
        let found = self.connection().query_row(find, params![seq], |row| {
            Ok((
                row.get::<_, String>(0)?,
                row.get::<_, Option<String>>(1)?,
                row.get::<_, Option<String>>(2)?,
                row.get::<_, Option<i64>>(3)?,
            ))
        });
        match found.optional().map_err(&reading)? {
            Some((_, Some(body), _, _)) => Ok(Some(Content::Instrument(body))),
            Some((noun, None, Some(job), _)) if noun == "job" => self.job_content(&job),
            Some((_, None, Some(job), Some(verdict))) => self.verdict_content(&job, verdict),
            _ => Ok(None),
        }
    }

    fn job_content(&self, id: &str) -> Result<Option<Content>, JournalError> {
        let Some(job) = self.job(id)? else {
            return Ok(None);
        };
        let rules = self.rule_set(&job.opened.rule_set)?;
        Ok(rules.map(|rules| Content::Job {
            job: Box::new(job),
            rule_set: (rules.id, rules.version),
        }))
    }

    fn verdict_content(&self, id: &str, seq: i64) -> Result<Option<Content>, JournalError> {
        let reading = JournalError::storage("read a verdict that is to go out");
        let find = "SELECT job.bay, verdict.bytes, (SELECT wall FROM event WHERE event.seq = verdict.seq)
                    FROM verdict JOIN job ON job.key = verdict.job WHERE job.id = ?1 AND verdict.seq = ?2";
        let found = self.connection().query_row(find, params![id, seq], |row| {
            Ok(Content::Verdict {
                job: id.to_owned(),
                bay: row.get(0)?,
                seq,
                bytes: row.get(1)?,
                wall: row.get(2)?,
            })
        });
        found.optional().map_err(reading)
    }

    fn counts(&self, webhook: &str) -> Result<Counts, JournalError> {
        let count = "SELECT coalesce(sum(dead = 0), 0), coalesce(sum(dead = 1), 0) FROM delivery WHERE webhook = ?1";
        let counted = self.connection().query_row(count, params![webhook], |row| {
            Ok(Counts {
                waiting: row.get::<_, i64>(0)?.unsigned_abs(),
                dead: row.get::<_, i64>(1)?.unsigned_abs(),
            })
        });
        counted.map_err(JournalError::storage("count the outbox"))
    }
}

impl Outbox for SqliteJournal {
    fn address_to(&self, webhooks: Vec<(String, Vec<String>)>) -> Pending<()> {
        self.plain(Write::Mail(Mail::Address(webhooks)))
    }

    fn post(&self, verb: &'static str, lane: String, body: String) -> Pending<()> {
        self.plain(Write::Mail(Mail::Post { verb, lane, body }))
    }

    fn heads(&self, webhook: &str, limit: usize) -> Pending<Vec<Delivery>> {
        let webhook = webhook.to_owned();
        self.readers().ask(move |reader| {
            // Only the oldest of each lane is due: nothing overtakes what it follows, and a lane that is
            // refused holds up no other.
            let rest = "WHERE delivery.webhook = ?1 AND delivery.news IN (SELECT min(news) FROM delivery
                        WHERE webhook = ?1 AND dead = 0 GROUP BY lane) ORDER BY delivery.due, news.seq LIMIT ?2";
            reader.deliveries_of(rest, &[&webhook, &page(limit)])
        })
    }

    fn content(&self, seq: i64) -> Pending<Option<Content>> {
        self.readers().ask(move |reader| reader.content(seq))
    }

    fn settle(&self, tried: Vec<Tried>) -> Pending<()> {
        self.plain(Write::Mail(Mail::Settle(tried)))
    }

    fn deliveries(
        &self,
        webhook: Option<&str>,
        dead: bool,
        after: i64,
        limit: usize,
    ) -> Pending<Vec<Delivery>> {
        let webhook = webhook.map(str::to_owned);
        self.readers().ask(move |reader| {
            let rest = "WHERE (?1 IS NULL OR delivery.webhook = ?1) AND delivery.dead = ?2 AND news.seq > ?3
                        ORDER BY news.seq LIMIT ?4";
            reader.deliveries_of(rest, &[&webhook, &dead, &after, &page(limit)])
        })
    }

    fn revive(&self, webhook: &str, seqs: Option<Vec<i64>>) -> Pending<u64> {
        let webhook = webhook.to_owned();
        let mail = Mail::Revive { webhook, seqs };
        self.write(Write::Mail(mail), |done| match done {
            Done::Counted(count) => Some(count),
            _ => None,
        })
    }

    fn counts(&self, webhook: &str) -> Pending<Counts> {
        let webhook = webhook.to_owned();
        self.readers().ask(move |reader| reader.counts(&webhook))
    }

    fn posted(&self) -> Arc<Notify> {
        self.news()
    }
}

fn page(limit: usize) -> i64 {
    i64::try_from(limit.min(10_000)).unwrap_or(10_000)
}
