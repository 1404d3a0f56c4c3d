//! What somebody sees who looks.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::atomic::Ordering;
use std::sync::{Arc, PoisonError};
use std::time::Duration;

use axum::Router;
use axum::response::IntoResponse;
use axum::routing::get;
use http::header;
use tokio::time::timeout;
use trisect_bay::instruments::InstrumentStatus;
use trisect_kit::State;

use super::text::{Exposition, Kind};
use super::{BOUNDS, Counts, Histogram, Metrics};
use crate::context::Context;

/// A bay that does not answer in this time is left out.
const ANSWER: Duration = Duration::from_secs(2);

/// `GET /metrics`.
pub(crate) fn route(metrics: Arc<Metrics>, context: Arc<Context>) -> Router {
    let answer = move || {
        let (metrics, context) = (Arc::clone(&metrics), Arc::clone(&context));
        async move {
            let text = scrape(&metrics, &context).await;
            let version = "text/plain; version=0.0.4; charset=utf-8";
            ([(header::CONTENT_TYPE, version)], text).into_response()
        }
    };
    Router::new().route("/metrics", get(answer))
}

async fn scrape(metrics: &Metrics, context: &Context) -> String {
    let mut out = Exposition::default();
    metrics.write(&mut out);
    process(&mut out);
    let (mut jobs, mut instruments) = (Vec::new(), Vec::new());
    for bay in context.bays() {
        let asked = bay.ask(|bay| {
            Box::pin(async move { Ok((bay.status().job.is_some(), bay.instruments_status())) })
        });
        let Ok(Ok((job, shown))) = timeout(ANSWER, asked).await else {
            continue;
        };
        jobs.push((bay.name().to_owned(), job));
        instruments.extend(shown);
    }
    out.family(
        "trisect_job_open",
        Kind::Gauge,
        "Whether the bay has an open job.",
    );
    for (bay, open) in &jobs {
        out.sample(
            "trisect_job_open",
            &[("bay", bay)],
            f64::from(u8::from(*open)),
        );
    }
    instruments_of(&mut out, &instruments);
    out.finish()
}

impl Metrics {
    pub(super) fn write(&self, out: &mut Exposition) {
        let version = [("version", env!("CARGO_PKG_VERSION"))];
        out.family("trisect_build_info", Kind::Gauge, "The version that runs.");
        out.sample("trisect_build_info", &version, 1.0);
        self.write_calls(out);
        let name = "trisect_refused_requests_total";
        out.family(
            name,
            Kind::Counter,
            "Requests refused before any method, by kind.",
        );
        for (kind, count) in copied(&self.refused_request) {
            out.sample(name, &[("kind", kind)], count as f64);
        }
        let (opened, closed) = (copied(&self.opened), copied(&self.closed));
        let name = "trisect_connections_total";
        out.family(
            name,
            Kind::Counter,
            "Connections that were taken in, by listener.",
        );
        for (listener, count) in &opened {
            out.sample(name, &[("listener", listener)], *count as f64);
        }
        let name = "trisect_connections_open";
        out.family(name, Kind::Gauge, "Connections that are open, by listener.");
        for (listener, count) in &opened {
            let gone = closed.get(listener).copied().unwrap_or(0);
            out.sample(
                name,
                &[("listener", listener)],
                count.saturating_sub(gone) as f64,
            );
        }
        let name = "trisect_readings_total";
        out.family(
            name,
            Kind::Counter,
            "Readings, by bay and what became of them.",
        );
        for ((bay, fate), count) in copied(&self.readings) {
            out.sample(name, &[("bay", &bay), ("fate", fate)], count as f64);
        }
        let steps = self.clock_steps.load(Ordering::Relaxed) as f64;
        let help = "How often the wall clock was set while the service ran.";
        out.one("trisect_clock_steps_total", Kind::Counter, help, steps);
        let stepped = self.clock_stepped.load(Ordering::Relaxed) as f64 / 1e3;
        let help = "By how much the wall clock was set since the start.";
        out.one("trisect_clock_stepped_seconds", Kind::Gauge, help, stepped);
        let help = "Size of the journal's file.";
        out.one(
            "trisect_journal_bytes",
            Kind::Gauge,
            help,
            size(&self.journal),
        );
        let mut log = self.journal.as_os_str().to_owned();
        log.push("-wal");
        let help = "Size of the log beside it.";
        out.one(
            "trisect_journal_log_bytes",
            Kind::Gauge,
            help,
            size(Path::new(&log)),
        );
        let help = "When the service started, in seconds since 1970.";
        out.one(
            "trisect_start_time_seconds",
            Kind::Gauge,
            help,
            self.started,
        );
    }

    fn write_calls(&self, out: &mut Exposition) {
        let name = "trisect_calls_total";
        out.family(name, Kind::Counter, "Calls, by method and outcome.");
        for ((method, outcome), count) in copied(&self.calls) {
            out.sample(
                name,
                &[("method", method), ("outcome", outcome)],
                count as f64,
            );
        }
        let took: BTreeMap<&str, Histogram> = {
            let took = self.took.lock().unwrap_or_else(PoisonError::into_inner);
            took.iter()
                .map(|(method, one)| (*method, one.clone()))
                .collect()
        };
        let help = "How long calls took, by method.";
        out.family("trisect_call_duration_seconds", Kind::Histogram, help);
        for (method, one) in took {
            let bucket = "trisect_call_duration_seconds_bucket";
            let mut below = 0;
            for (bound, count) in BOUNDS.iter().zip(one.counts) {
                below += count;
                let bound = bound.to_string();
                out.sample(bucket, &[("method", method), ("le", &bound)], below as f64);
            }
            out.sample(
                bucket,
                &[("method", method), ("le", "+Inf")],
                one.count as f64,
            );
            let method = [("method", method)];
            out.sample("trisect_call_duration_seconds_sum", &method, one.sum);
            out.sample(
                "trisect_call_duration_seconds_count",
                &method,
                one.count as f64,
            );
        }
    }
}

fn copied<K: Ord + Clone>(counts: &Counts<K>) -> BTreeMap<K, u64> {
    counts
        .lock()
        .unwrap_or_else(PoisonError::into_inner)
        .clone()
}

fn size(path: &Path) -> f64 {
    std::fs::metadata(path).map_or(0.0, |meta| meta.len() as f64)
}

/// A number of an instrument.
type Number = fn(&InstrumentStatus) -> f64;

fn instruments_of(out: &mut Exposition, instruments: &[InstrumentStatus]) {
    let families: [(&'static str, Kind, &str, Number); 6] = [
        (
            "trisect_instrument_up",
            Kind::Gauge,
            "Whether the instrument is heard.",
            |one| f64::from(u8::from(one.state == State::Live)),
        ),
        (
            "trisect_instrument_samples_total",
            Kind::Counter,
            "Samples it gave.",
            |one| one.samples as f64,
        ),
        (
            "trisect_instrument_bad_frames_total",
            Kind::Counter,
            "Frames that could not be read.",
            |one| one.bad_frames as f64,
        ),
        (
            "trisect_instrument_skipped_bytes_total",
            Kind::Counter,
            "Bytes between frames.",
            |one| one.skipped_bytes as f64,
        ),
        (
            "trisect_instrument_refused_samples_total",
            Kind::Counter,
            "Samples that could not become readings.",
            |one| one.refused_samples as f64,
        ),
        (
            "trisect_instrument_age_seconds",
            Kind::Gauge,
            "How long ago its last sample was.",
            |one| one.age.unwrap_or(f64::NAN),
        ),
    ];
    for (name, kind, help, number) in families {
        out.family(name, kind, help);
        for one in instruments {
            let labels = [
                ("bay", one.bay.as_str()),
                ("instrument", one.instrument.as_str()),
            ];
            out.sample(name, &labels, number(one));
        }
    }
}

/// What every process has, under the names every process has it (Prometheus, client guidelines).
fn process(out: &mut Exposition) {
    let read = |path| std::fs::read_to_string(path).unwrap_or_default();
    let page = rustix::param::page_size() as f64;
    let resident = read("/proc/self/statm");
    let resident = resident
        .split_whitespace()
        .nth(1)
        .and_then(|pages| pages.parse::<f64>().ok());
    let help = "Resident memory size in bytes.";
    out.one(
        "process_resident_memory_bytes",
        Kind::Gauge,
        help,
        resident.unwrap_or(0.0) * page,
    );
    // The name, in parentheses, may hold anything; user and system time are the 12th and 13th after it.
    let stat = read("/proc/self/stat");
    let after = stat.rsplit_once(')').map_or("", |(_, after)| after);
    let ticks: f64 = after
        .split_whitespace()
        .skip(11)
        .take(2)
        .filter_map(|n| n.parse::<f64>().ok())
        .sum();
    let seconds = ticks / rustix::param::clock_ticks_per_second() as f64;
    let help = "Total user and system CPU time spent in seconds.";
    out.one("process_cpu_seconds_total", Kind::Counter, help, seconds);
    let open = std::fs::read_dir("/proc/self/fd").map_or(0, Iterator::count);
    out.one(
        "process_open_fds",
        Kind::Gauge,
        "Number of open file descriptors.",
        open as f64,
    );
}
