//! `GET /metrics` in the Prometheus text format, in base units: seconds, bytes.
//!
//! Counted where things happen, with an atomic or a short lock; what can be asked for
//! (instruments, files, memory) is asked for when somebody looks.

mod scrape;
mod text;

pub(crate) use scrape::route;

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::atomic::{AtomicI64, AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use jiff::{SignedDuration, Timestamp};
use trisect_bay::ReadingsFate;
use trisect_wire::ErrorKind;

/// Upper ends of the classes of how long calls took, in seconds.
const BOUNDS: [f64; 12] = [
    0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 1.0, 2.5, 10.0,
];

/// How long calls took.
#[derive(Clone, Debug, Default)]
struct Histogram {
    counts: [u64; BOUNDS.len()],
    count: u64,
    sum: f64,
}

impl Histogram {
    fn take(&mut self, seconds: f64) {
        self.count += 1;
        self.sum += seconds;
        if let Some(class) = BOUNDS.iter().position(|bound| seconds <= *bound) {
            self.counts[class] += 1;
        }
    }
}

/// Counts by words; the words come from the program, so there are few.
type Counts<K> = Mutex<BTreeMap<K, u64>>;

/// Everything that is counted.
#[derive(Debug)]
pub(crate) struct Metrics {
    journal: PathBuf,
    started: f64,
    calls: Counts<(&'static str, &'static str)>,
    took: Mutex<BTreeMap<&'static str, Histogram>>,
    refused_request: Counts<&'static str>,
    opened: Counts<&'static str>,
    closed: Counts<&'static str>,
    readings: Counts<(String, &'static str)>,
    clock_steps: AtomicU64,
    clock_stepped: AtomicI64,
}

fn add<K: Ord>(counts: &Counts<K>, key: K, count: u64) {
    // Nothing in here panics half way.
    let mut counts = counts.lock().unwrap_or_else(PoisonError::into_inner);
    *counts.entry(key).or_default() += count;
}

impl Metrics {
    /// Nothing counted yet; the journal's file is looked at when somebody looks.
    pub(crate) fn new(journal: PathBuf) -> Metrics {
        Metrics {
            journal,
            started: Timestamp::now().as_millisecond() as f64 / 1e3,
            calls: Mutex::default(),
            took: Mutex::default(),
            refused_request: Mutex::default(),
            opened: Mutex::default(),
            closed: Mutex::default(),
            readings: Mutex::default(),
            clock_steps: AtomicU64::new(0),
            clock_stepped: AtomicI64::new(0),
        }
    }

    /// A call was answered.
    pub(crate) fn called(&self, method: &'static str, outcome: &'static str, took: Duration) {
        add(&self.calls, (method, outcome), 1);
        let mut histograms = self.took.lock().unwrap_or_else(PoisonError::into_inner);
        histograms
            .entry(method)
            .or_default()
            .take(took.as_secs_f64());
    }

    /// A request was refused before any method.
    pub(crate) fn refused_request(&self, kind: ErrorKind) {
        add(&self.refused_request, kind.word(), 1);
    }

    /// A connection was opened.
    pub(crate) fn opened(&self, listener: &'static str) {
        add(&self.opened, listener, 1);
    }

    /// A connection was closed.
    pub(crate) fn closed(&self, listener: &'static str) {
        add(&self.closed, listener, 1);
    }

    /// Readings were stored, or were not.
    pub(crate) fn readings(&self, bay: &str, fate: ReadingsFate, count: usize) {
        add(&self.readings, (bay.to_owned(), word(fate)), count as u64);
    }

    /// The wall clock was set.
    pub(crate) fn clock_stepped(&self, step: SignedDuration) {
        self.clock_steps.fetch_add(1, Ordering::Relaxed);
        let millis = i64::try_from(step.as_millis()).unwrap_or(i64::MAX);
        self.clock_stepped.fetch_add(millis, Ordering::Relaxed);
    }
}

/// The word of what became of readings.
fn word(fate: ReadingsFate) -> &'static str {
    match fate {
        ReadingsFate::OfJob => "of-job",
        ReadingsFate::OutsideJobs => "outside-jobs",
        ReadingsFate::Lost => "lost",
    }
}

#[cfg(test)]
mod tests;
