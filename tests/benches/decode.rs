//! How fast each protocol is decoded, bytes to samples, on one core.
//!
//! Goal: 100 MB/s, or what the limit is. Baseline in the same run: a loop that adds up the same bytes, one after
//! another. A message is a dozen bytes and ends in a sample, so what limits is what a sample costs, not a byte: the time
//! for one is told beside, with the bytes that it comes in, and how many of the fastest lines (921 600 baud, ten bits a
//! byte) a core could decode.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a bench fails by panicking"
)]

use std::hint::black_box;
use std::time::{Duration, Instant};

use bytes::BytesMut;
use trisect_kit::{Decoded, Framed, Framing as _};
use trisect_multimeter::codec;
use trisect_transducer::text::{Lines, Pattern};
use trisect_transducer::{Exchange, Messages, NumberType, Request, Table, WordOrder};

/// In MB/s.
const GOAL: f64 = 100.0;
/// What 921 600 baud bring, in MB/s.
const FASTEST_LINE: f64 = 0.092_16;

/// Bytes decoded in one go.
const SIZE: usize = 4_000_000;
/// What a port hands over at once.
const PIECE: usize = 4096;

/// Messages of each chip: volts, and another function, as its display shows them.
const METERS: &[(&str, &[&[u8]])] = &[
    (
        "fs9721",
        &[
            b"\x17\x28\x35\x45\x5B\x69\x7F\x82\x97\xA0\xB0\xC0\xD4\xE8",
            b"\x13\x20\x35\x4D\x5B\x61\x7F\x82\x97\xA2\xB0\xC4\xD0\xE8",
        ],
    ),
    (
        "fs9922",
        &[
            b"+1234 21\x00\x00\x80\x0C\r\n",
            b"-5000 1\x13\x00\x00\x80\x94\r\n",
        ],
    ),
    ("es51922", &[b"112345;000:0\r\n", b"115000300020\r\n"]),
    ("es51962", &[b"012343;00\r\n"]),
    ("es51986", &[b"012343;00\r\n"]),
    (
        "dtm0660",
        &[b"\x1E\x20\x3A\x4A\x5D\x69\x7F\x84\x9E\xA0\xB0\xC0\xD2\xE0\xF0"],
    ),
    ("ascii14", &[b"DC -01.52   V\r", b"OH  0.951KOhm\r"]),
];

/// The shortest of several runs, as one core has it to itself only sometimes.
fn best(mut run: impl FnMut() -> usize, expected: usize) -> Duration {
    let time = |run: &mut dyn FnMut() -> usize| {
        let begun = Instant::now();
        assert_eq!(run(), expected, "not every message became a sample");
        begun.elapsed()
    };
    (0..5).map(|_| time(&mut run)).min().unwrap()
}

/// Messages one after another, about `SIZE` bytes, and how many they are.
fn stream(messages: &[&[u8]]) -> (Vec<u8>, usize) {
    let length: usize = messages.iter().map(|message| message.len()).sum();
    let rounds = SIZE / length;
    (messages.concat().repeat(rounds), rounds * messages.len())
}

fn meter(name: &str, bytes: &[u8]) -> usize {
    let mut decoder = codec(name).unwrap().decoder();
    let mut samples = 0;
    for piece in bytes.chunks(PIECE) {
        decoder.push(piece);
        while let Some(decoded) = decoder.next() {
            let Decoded::Sample(sample) = decoded else {
                panic!("{name}: {decoded:?}");
            };
            black_box(sample);
            samples += 1;
        }
    }
    samples
}

const ASKED: Request = Request {
    device: 1,
    table: Table::Holding,
    register: 0,
    count: 2,
};

fn number(registers: &[u16]) -> f64 {
    NumberType::F32.read(WordOrder::ALL[0], registers).unwrap()
}

fn rtu(bytes: &[u8]) -> usize {
    let replies = bytes.chunks_exact(ASKED.reply_length());
    let count = replies.len();
    for reply in replies {
        let mut exchange = Exchange::new(ASKED);
        exchange.receive(reply);
        black_box(number(&exchange.finish().unwrap()));
    }
    count
}

fn tcp(bytes: &[u8]) -> usize {
    let mut messages = Messages::default();
    let mut count = 0;
    for piece in bytes.chunks(PIECE) {
        messages.push(piece);
        while let Some(message) = messages.take().unwrap() {
            black_box(number(&message.registers(ASKED).unwrap()));
            count += 1;
        }
    }
    count
}

fn text(bytes: &[u8]) -> usize {
    let pattern = Pattern::parse("P1={pressure:inlet} psi;T={temperature}").unwrap();
    let mut lines = Lines::from_start(128);
    let mut buffer = BytesMut::new();
    let mut count = 0;
    for piece in bytes.chunks(PIECE) {
        buffer.extend_from_slice(piece);
        while let Some(framed) = lines.next(&mut buffer) {
            let Framed::Frame(line) = framed else {
                panic!("{framed:?}");
            };
            // The second half of a line's end.
            if line.is_empty() {
                continue;
            }
            black_box(pattern.read(&line).unwrap());
            count += 1;
        }
    }
    count
}

/// A reply of two registers: 12.5 as a float.
fn reply() -> Vec<u8> {
    let body = [1, 3, 4, 0x41, 0x48, 0, 0];
    [&body[..], &trisect_transducer::checksum(&body)].concat()
}

fn show(name: &str, bytes: &[u8], count: usize, decode: impl Fn(&[u8]) -> usize) {
    let decoded = best(|| decode(black_box(bytes)), count);
    let looked = best(
        || {
            black_box(
                black_box(bytes)
                    .iter()
                    .fold(0u64, |sum, byte| black_box(sum + u64::from(*byte))),
            );
            count
        },
        count,
    );
    let rate = |time: Duration| bytes.len() as f64 / time.as_secs_f64() / 1e6;
    let a_sample = decoded.as_nanos() as f64 / count as f64;
    println!(
        "{name:<12}  {:>8.0}  {:>8.0}  {:>6.2}  {a_sample:>9.0}  {:>8.0}",
        rate(decoded),
        rate(looked),
        rate(decoded) / rate(looked),
        rate(decoded) / FASTEST_LINE
    );
    if rate(decoded) < GOAL {
        println!(
            "{:<12}  limit: {a_sample:.0} ns for each sample, which comes in {} bytes",
            "",
            bytes.len() / count
        );
    }
}

fn main() {
    println!(
        "{:<12}  {:>8}  {:>8}  {:>6}  {:>9}  {:>8}",
        "protocol", "MB/s", "added up", "ratio", "ns/sample", "lines"
    );
    for (name, messages) in METERS {
        let (bytes, count) = stream(messages);
        show(name, &bytes, count, |bytes| meter(name, bytes));
    }
    let (bytes, count) = stream(&[&reply()]);
    show("modbus-rtu", &bytes, count, rtu);
    let (bytes, count) = stream(&[b"\x00\x01\x00\x00\x00\x07\x01\x03\x04\x41\x48\x00\x00"]);
    show("modbus-tcp", &bytes, count, tcp);
    let (bytes, count) = stream(&[b"P1=12.5 psi;T=21.5 degC\r\n"]);
    show("text", &bytes, count, text);
}
