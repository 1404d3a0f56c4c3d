//! What a job's chain of hashes is made over: opening, events and closing as bytes. It must not change: a link that was
//! kept is held against what it gives today.

use sha2::{Digest, Sha256};
use trisect_measure::Amount;

use crate::{Closing, EventRow, Happened, NewJob, Probe};

pub(super) type Hash = [u8; 32];

/// Bytes that stand for one thing alone: every text with its length, everything that may be
/// missing with whether it is there.
#[derive(Default)]
struct Bytes(Vec<u8>);

impl Bytes {
    fn number(&mut self, number: i64) -> &mut Self {
        self.0.extend(number.to_le_bytes());
        self
    }

    fn real(&mut self, real: f64) -> &mut Self {
        // The bits: how a number is written out may change with a library, and the hash must not.
        self.0.extend(real.to_bits().to_le_bytes());
        self
    }

    fn bytes(&mut self, bytes: &[u8]) -> &mut Self {
        self.0.extend((bytes.len() as u64).to_le_bytes());
        self.0.extend(bytes);
        self
    }

    fn text(&mut self, text: &str) -> &mut Self {
        self.bytes(text.as_bytes())
    }

    fn maybe<T>(
        &mut self,
        value: Option<T>,
        put: impl FnOnce(&mut Self, T) -> &mut Self,
    ) -> &mut Self {
        self.0.push(u8::from(value.is_some()));
        match value {
            Some(value) => put(self, value),
            None => self,
        }
    }
}

pub(super) fn opening(job: &NewJob) -> Hash {
    let mut bytes = Bytes::default();
    bytes
        // Names the encoding, so that a later one cannot give the same bytes for another content.
        .text("trisect job 1")
        .text(&job.id)
        .text(&job.bay)
        .text(&job.machine);
    bytes.maybe(job.complaint.as_deref(), Bytes::text);
    bytes.text(&job.rule_set).text(&job.opened_at);
    bytes.maybe(job.opened_by.as_deref(), Bytes::text);
    Sha256::digest(bytes.0).into()
}

pub(super) fn sealed(before: &Hash, closing: &Closing) -> Hash {
    let mut bytes = Bytes::default();
    bytes
        .text("closed")
        .text(&closing.closed_at)
        .number(closing.confirmed.len() as i64);
    for suspect in &closing.confirmed {
        bytes.text(suspect);
    }
    bytes
        .maybe(closing.note.as_deref(), Bytes::text)
        .bytes(&closing.verdict);
    let hash = Sha256::new().chain_update(before).chain_update(bytes.0);
    hash.finalize().into()
}

pub(super) fn written(seq: i64, row: &EventRow) -> Vec<u8> {
    let mut bytes = Bytes(Vec::with_capacity(160));
    bytes.number(seq).number(row.at).number(row.wall);
    bytes.maybe(row.by.as_deref(), Bytes::text);
    match &row.what {
        Happened::Reading(reading) => {
            let bound = match reading.amount {
                Amount::Exactly(_) => 0,
                Amount::Above(_) => 1,
                Amount::Below(_) => 2,
            };
            bytes.text("reading").text(&reading.point).number(bound);
            bytes.real(reading.amount.edge()).real(reading.uncertainty);
            bytes
                .number(i64::from(reading.flags.bits()))
                .number(i64::from(reading.entered));
            bytes.maybe(reading.instrument.as_deref(), Bytes::text);
            bytes.maybe(reading.channel.map(i64::from), Bytes::number);
            bytes.maybe(reading.calibration.as_deref(), Bytes::text);
            bytes.maybe(reading.latency, Bytes::number);
            bytes.maybe(reading.barometer, Bytes::real);
        }
        Happened::Phase(phase) => {
            bytes.text("phase").text(phase.word());
        }
        Happened::Drive(drive) => {
            bytes.text("drive").text(drive.word());
        }
        Happened::Answer { check, answer } => {
            bytes.text("answer").text(check).text(answer);
        }
        Happened::Outcome { check, outcome } => {
            bytes.text("outcome").text(check).text(outcome.word());
        }
        Happened::Window(probe) => {
            placed(&mut bytes, "window", probe);
        }
        Happened::Lifted(probe) => {
            placed(&mut bytes, "lifted", probe);
        }
    }
    bytes.0
}

fn placed(bytes: &mut Bytes, word: &str, probe: &Probe) {
    bytes.text(word).text(&probe.point);
    bytes.maybe(probe.instrument.as_deref(), Bytes::text);
    bytes.maybe(probe.channel.map(i64::from), Bytes::number);
}

pub(super) fn hex(hash: &Hash) -> String {
    hash.iter().map(|byte| format!("{byte:02x}")).collect()
}
