//! What instruments say, and what their settings may be.

use bytes::BytesMut;
use trisect_kit::{Codec, Decoded, Framed, Framing as _};
use trisect_measure::Sample;
use trisect_multimeter::scpi::{Conversation, Heard, ScpiFunction, Wanted};
use trisect_transducer::text::{Lines, Pattern};
use trisect_transducer::{
    Exchange, Messages, NumberType, Request, Table, TextSettings, TransducerSettings, WordOrder,
};

/// Bytes in pieces of a length that they choose themselves.
fn pieces(data: &[u8]) -> impl Iterator<Item = &[u8]> {
    let length = 1 + usize::from(data.first().copied().unwrap_or(0) % 32);
    data.chunks(length)
}

fn check(sample: &Sample) {
    assert!(sample.amount.edge().is_finite(), "{sample:?}");
    assert!(
        sample
            .digit
            .is_none_or(|digit| digit.is_finite() && digit >= 0.0),
        "{sample:?}"
    );
    assert!(sample.span.is_none_or(f64::is_finite), "{sample:?}");
}

/// Whatever comes, in whatever pieces: the samples are numbers, and no byte is given up twice.
pub fn codec(codec: &Codec, data: &[u8]) {
    let mut decoder = codec.decoder();
    let mut skipped = 0;
    let mut note = |decoded: &Decoded| match decoded {
        Decoded::Sample(sample) => check(sample),
        Decoded::Bad { .. } => {}
        Decoded::Skipped { bytes, .. } => {
            assert!(*bytes > 0, "nothing is not skipped");
            skipped += bytes;
        }
    };
    for piece in pieces(data) {
        decoder.push(piece);
        while let Some(decoded) = decoder.next() {
            note(&decoded);
        }
    }
    while let Some(decoded) = decoder.gap() {
        note(&decoded);
        while let Some(decoded) = decoder.next() {
            note(&decoded);
        }
    }
    assert!(skipped <= data.len(), "{skipped} of {}", data.len());
    assert!(!decoder.is_waiting(), "held back after the end");
}

/// A whole conversation: the first two bytes say what is wanted, each line is an answer, and an empty one
/// none in time.
pub fn scpi(data: &[u8]) {
    let Some(([function, ranged], answers)) = data.split_first_chunk::<2>() else {
        return;
    };
    let functions = ScpiFunction::ALL;
    let mut conversation = Conversation::new(Wanted {
        function: functions[usize::from(*function) % functions.len()],
        range: (ranged & 1 == 1).then_some(10.0),
        identity: None,
        remote: ranged & 2 == 2,
    });
    for answer in answers.split(|byte| *byte == b'\n') {
        // From wherever it is, a question comes within a few lines.
        let asked = (0..8).any(|_| conversation.say().asks);
        assert!(asked, "it asks nothing any more");
        if answer.is_empty() {
            assert!(conversation.unanswered().ends_with('?'));
        } else if let Heard::Sample(sample) = conversation.heard(&String::from_utf8_lossy(answer)) {
            check(&sample);
        }
    }
}

/// A request made of the first bytes, and what is to answer it.
fn request(data: &[u8]) -> Option<(Request, &[u8])> {
    let ([device, table, high, low, count], rest) = data.split_first_chunk::<5>()?;
    let request = Request {
        device: *device,
        table: if table & 1 == 0 {
            Table::Holding
        } else {
            Table::Input
        },
        register: u16::from_be_bytes([*high, *low]),
        count: 1 + count % 125,
    };
    Some((request, rest))
}

fn numbers(registers: &[u16]) {
    for kind in NumberType::ALL {
        for order in WordOrder::ALL {
            if let Ok(number) = kind.read(order, registers) {
                assert!(number.is_finite(), "{number}");
            }
        }
    }
}

pub fn modbus_rtu(data: &[u8]) {
    let Some((request, rest)) = request(data) else {
        return;
    };
    let mut exchange = Exchange::new(request);
    for piece in pieces(rest) {
        exchange.receive(piece);
    }
    if let Ok(registers) = exchange.finish() {
        assert_eq!(registers.len(), usize::from(request.count));
        numbers(&registers);
    }
}

pub fn modbus_tcp(data: &[u8]) {
    let Some((request, rest)) = request(data) else {
        return;
    };
    let mut messages = Messages::default();
    for piece in pieces(rest) {
        messages.push(piece);
        while let Ok(Some(message)) = messages.take() {
            if let Ok(registers) = message.registers(request) {
                assert_eq!(registers.len(), usize::from(request.count));
                numbers(&registers);
            }
        }
    }
}

/// Any bytes as lines, read by fixed patterns.
pub fn text_line(data: &[u8]) {
    let patterns = [
        "P1={pressure:inlet} psi;T={temperature}",
        "{skip},{voltage|V},{current}{skip}",
        "{clock|ms} {pulses:engine}",
        "#{skip}",
    ]
    .map(|text| Pattern::parse(text).expect("a fixed pattern"));
    let mut lines = Lines::joined(64);
    let mut buffer = BytesMut::new();
    for piece in pieces(data) {
        buffer.extend_from_slice(piece);
        while let Some(framed) = lines.next(&mut buffer) {
            let Framed::Frame(line) = framed else {
                continue;
            };
            assert!(line.len() <= 64);
            for pattern in &patterns {
                let found = pattern.read(&line);
                assert!(found.is_none_or(|found| found.len() == pattern.fields().count()));
            }
        }
        assert!(buffer.len() <= 64);
    }
}

/// The first line is a pattern, the rest is read by it.
pub fn text_pattern(data: &[u8]) {
    let end = data.iter().position(|byte| *byte == b'\n');
    let (text, line) = data.split_at(end.unwrap_or(data.len()));
    let Ok(text) = std::str::from_utf8(text) else {
        return;
    };
    if let Ok(pattern) = Pattern::parse(text) {
        for line in [line, text.as_bytes()] {
            let found = pattern.read(line);
            assert!(found.is_none_or(|found| found.len() == pattern.fields().count()));
        }
    }
}

/// Settings as JSON: an adapter comes of them, or an error that names a field.
pub fn settings(data: &[u8]) {
    if let Ok(settings) = serde_json::from_slice::<TransducerSettings>(data)
        && let Err(error) = settings.adapter()
    {
        assert!(!error.field.is_empty() && !error.why.is_empty());
    }
    if let Ok(settings) = serde_json::from_slice::<TextSettings>(data)
        && let Err(error) = settings.adapter()
    {
        assert!(!error.field.is_empty() && !error.why.is_empty());
    }
}
