//! Pages: how much of a list goes into one reply.

use std::io;
use std::sync::atomic::Ordering;

use serde::Serialize;
use trisect_wire::{ErrorKind, WireError};

use crate::context::Context;
use crate::convert::internal;

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
    /// Whether one item fits into a reply.
    pub(super) fn has_room_for(&self, item: &impl Serialize) -> Result<bool, WireError> {
        let mut length = Length(0);
        serde_json::to_writer(&mut length, item).map_err(|error| internal(&error))?;
        Ok(length.0 <= self.room())
    }

    /// Bytes of a list in a reply: half, as the rest of a reply is a verdict's length at the most, and the list is
    /// more than that only where its texts are long.
    fn room(&self) -> usize {
        self.reply_bytes.load(Ordering::Relaxed) / 2
    }

    /// Cuts a page to what one reply has room for beside the rest of it; whether anything was left for the next. The
    /// first item stays whatever its length, so that every page gets on.
    pub(super) fn fit<T, S: Serialize>(
        &self,
        items: &mut Vec<T>,
        shown: impl Fn(&T) -> S,
    ) -> Result<bool, WireError> {
        let room = self.room();
        let mut length = Length(0);
        for (place, item) in items.iter().enumerate() {
            serde_json::to_writer(&mut length, &shown(item)).map_err(|error| internal(&error))?;
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
