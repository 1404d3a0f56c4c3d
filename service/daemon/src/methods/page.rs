//! Pages: how much of a list goes into one reply.

use std::io;
use std::sync::atomic::Ordering;

use serde::Serialize;
use trisect_wire::{ErrorKind, WireError};

use crate::context::Context;

/// How many items a page of a list has.
pub(super) struct Paging {
    /// Unless the caller wants fewer or more.
    pub(super) usual: u32,
    /// At the most.
    pub(super) most: u32,
    /// What they are called.
    pub(super) items: &'static str,
    /// How to ask for those that a page has no room for.
    pub(super) hint: &'static str,
}

impl Paging {
    /// How many a caller gets.
    pub(super) fn limit(&self, asked: Option<u32>) -> Result<usize, WireError> {
        let Paging { most, items, .. } = self;
        match asked.unwrap_or(self.usual) {
            limit if (1..=*most).contains(&limit) => Ok(limit as usize),
            _ => Err(ErrorKind::TooLarge
                .because(format!("a page has 1 to {most} {items}"))
                .at("limit")
                .hint(self.hint)),
        }
    }
}

impl Context {
    /// Cuts a page to what one reply has room for beside the rest of it; whether anything was left for the next. The
    /// first item stays whatever its length, so that every page gets on.
    pub(super) fn fit<T, S: Serialize>(
        &self,
        items: &mut Vec<T>,
        shown: impl Fn(&T) -> S,
    ) -> Result<bool, WireError> {
        // Half: the rest of a reply is an error's or a verdict's length, and the list is more than that only where
        // its texts are long.
        let room = self.reply_bytes.load(Ordering::Relaxed) / 2;
        let mut length = Length(0);
        for (place, item) in items.iter().enumerate() {
            serde_json::to_writer(&mut length, &shown(item))
                .map_err(|error| crate::convert::internal(&error))?;
            if length.0 > room && place > 0 {
                items.truncate(place);
                return Ok(true);
            }
        }
        Ok(false)
    }
}

/// Counts what is written to it.
struct Length(usize);

impl io::Write for Length {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0 = self.0.saturating_add(bytes.len());
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
