//! Texts that rows refer to by number.

use std::collections::HashMap;
use std::sync::Arc;

use rusqlite::{Connection, OptionalExtension, params};

/// The numbers of texts, as far as the writer has met them.
#[derive(Debug, Default)]
pub(super) struct Words {
    numbers: HashMap<Arc<str>, i64>,
}

impl Words {
    /// The number of a text; a new text gets one.
    pub(super) fn number(&mut self, connection: &Connection, text: &str) -> rusqlite::Result<i64> {
        if let Some(number) = self.numbers.get(text) {
            return Ok(*number);
        }
        let number = match find(connection, text)? {
            Some(number) => number,
            None => {
                let mut add = connection.prepare_cached("INSERT INTO word (text) VALUES (?1)")?;
                add.insert(params![text])?
            }
        };
        self.numbers.insert(Arc::from(text), number);
        Ok(number)
    }

    /// Forgets what was learnt: after a roll-back numbers may mean nothing.
    pub(super) fn forget(&mut self) {
        self.numbers.clear();
    }
}

/// The number of a text, if it has one.
pub(super) fn find(connection: &Connection, text: &str) -> rusqlite::Result<Option<i64>> {
    let mut find = connection.prepare_cached("SELECT id FROM word WHERE text = ?1")?;
    find.query_row(params![text], |row| row.get(0)).optional()
}

/// The texts of numbers, as far as a reader has met them. A number once
/// committed keeps its text for good.
#[derive(Debug, Default)]
pub(super) struct Texts {
    texts: HashMap<i64, Arc<str>>,
}

impl Texts {
    /// The text of a number, if it has one.
    pub(super) fn text(
        &mut self,
        connection: &Connection,
        number: i64,
    ) -> rusqlite::Result<Option<Arc<str>>> {
        if let Some(text) = self.texts.get(&number) {
            return Ok(Some(text.clone()));
        }
        let mut find = connection.prepare_cached("SELECT text FROM word WHERE id = ?1")?;
        let found = find.query_row(params![number], |row| row.get::<_, Arc<str>>(0));
        let found = found.optional()?;
        if let Some(text) = &found {
            self.texts.insert(number, text.clone());
        }
        Ok(found)
    }
}
