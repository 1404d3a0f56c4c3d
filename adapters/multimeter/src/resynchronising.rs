//! Damage on the line: every codec finds its way back and counts what it lost.

#![allow(clippy::unwrap_used)]

use proptest::prelude::*;
use trisect_kit::{Codec, Decoded};
use trisect_measure::Amount;

use crate::{codec, codecs};

/// A good frame of each protocol, with a value that damage would change.
fn good(codec: &Codec) -> (Vec<u8>, f64) {
    let lit = |nibbles: &[u8]| {
        nibbles
            .iter()
            .zip(1_u8..)
            .map(|(n, at)| at << 4 | n)
            .collect()
    };
    match codec.name {
        "fs9721" => (lit(&[7, 8, 5, 5, 0xB, 9, 0xF, 2, 7, 0, 0, 0, 4, 8]), -12.34),
        "dtm0660" => (
            lit(&[0xE, 1, 0xA, 0xA, 0xD, 9, 0xF, 4, 0xE, 0, 0, 0, 2, 0, 0]),
            -12.34,
        ),
        "es51962" => (b"21234;00:\r\n".to_vec(), 12.34),
        "es51986" => (b"11234;80:\r\n".to_vec(), 12.34),
        "ascii14" => (b"DC -01.52   V\r".to_vec(), -1.52),
        "fs9922" => (b"+1234 2\x31\x00\x00\x80\x0C\r\n".to_vec(), 12.34),
        "es51922" => (b"112345;000:0\r\n".to_vec(), 12.345),
        other => panic!("no good frame of {other}"),
    }
}

/// Values read, bad frames and skipped bytes.
fn read(codec: &Codec, bytes: &[u8]) -> (Vec<f64>, usize, usize) {
    let mut decoder = codec.decoder();
    let (mut values, mut bad, mut skipped) = (Vec::new(), 0, 0);
    // In small pieces, as a port gives them.
    for piece in bytes.chunks(5) {
        decoder.push(piece);
        while let Some(decoded) = decoder.next() {
            match decoded {
                Decoded::Sample(sample) => values.push(sample.amount.edge()),
                Decoded::Bad { .. } => bad += 1,
                Decoded::Skipped { bytes, .. } => skipped += bytes,
            }
        }
    }
    if let Some(Decoded::Skipped { bytes, .. }) = decoder.gap() {
        skipped += bytes;
    }
    (values, bad, skipped)
}

/// Between two good frames, `damaged` costs nothing but itself.
fn check_damage(codec: &Codec, damaged: &[u8]) {
    let (frame, value) = good(codec);
    let stream = [&frame, damaged, &frame, &frame].concat();
    let (values, bad, skipped) = read(codec, &stream);
    assert_eq!(values.first(), Some(&value), "{damaged:02X?}");
    assert_eq!(values.last(), Some(&value), "{damaged:02X?}");
    assert!(
        values.iter().all(|v| *v == value),
        "{damaged:02X?}: {values:?}"
    );
    assert!(values.len() >= 3 || bad + skipped > 0, "{damaged:02X?}");
    let whole = damaged == frame;
    assert!(whole || bad + skipped > 0, "{damaged:02X?} was not counted");
}

#[test]
fn a_frame_cut_anywhere_is_counted_and_costs_nothing_else() {
    for codec in codecs() {
        let (frame, _) = good(codec);
        for length in 1..frame.len() {
            check_damage(codec, &frame[..length]);
            check_damage(codec, &frame[length..]);
        }
    }
}

#[test]
fn a_byte_lost_or_doubled_is_never_guessed_over() {
    for codec in codecs() {
        let (frame, value) = good(codec);
        for at in 0..frame.len() {
            let lost = [&frame[..at], &frame[at + 1..]].concat();
            check_damage(codec, &lost);
            let doubled = [&frame[..=at], &frame[at..]].concat();
            // A last byte doubled leaves the frame whole: it is read, and one byte skipped.
            let (values, _, skipped) = read(codec, &[&frame[..], &doubled, &frame].concat());
            assert!(
                values.iter().all(|v| *v == value),
                "{doubled:02X?}: {values:?}"
            );
            assert!(
                values.len() >= 2 && skipped > 0,
                "{doubled:02X?}: {values:?}"
            );
        }
    }
}

#[test]
fn a_doubled_frame_is_two_readings() {
    for codec in codecs() {
        let (frame, value) = good(codec);
        assert_eq!(read(codec, &frame.repeat(2)), (vec![value; 2], 0, 0));
    }
}

#[test]
fn the_eighth_bit_does_not_matter_where_characters_have_seven() {
    let seven = codecs().iter().filter(|codec| codec.line.data_bits == 7);
    for codec in seven {
        let (frame, value) = good(codec);
        let with_parity: Vec<u8> = frame
            .iter()
            .map(|byte| byte | u8::from(byte.count_ones() % 2 == 0) << 7)
            .collect();
        assert_eq!(read(codec, &with_parity), (vec![value], 0, 0));
    }
}

/// Lines of bytes that look all the same, believed by their length alone: see
/// [`crate::line_framing`] for the one byte that costs the frame after it.
fn has_lines(codec: &Codec) -> bool {
    codec.name.starts_with("es519")
}

proptest! {
    /// The guarantee: whatever came before, of two frames the second is found,
    /// and the first too unless the garbage ran into it.
    #[test]
    fn frames_are_found_after_any_garbage(garbage in prop::collection::vec(any::<u8>(), 0..80)) {
        for codec in codecs() {
            let (frame, value) = good(codec);
            let (values, _, _) = read(codec, &[&garbage[..], &frame, &frame].concat());
            prop_assert_eq!(values.last(), Some(&value));
            let ends_apart = garbage.last().is_none_or(|byte| !(b'0'..=b'?').contains(&(byte & 0x7F)));
            if !has_lines(codec) || ends_apart {
                prop_assert!(values.len() >= 2);
            }
        }
    }

    /// No byte is lost uncounted, and none makes a panic.
    #[test]
    fn every_byte_is_accounted_for(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        for codec in codecs() {
            let (values, bad, skipped) = read(codec, &bytes);
            let length = good(codec).0.len();
            prop_assert_eq!((values.len() + bad) * length + skipped, bytes.len());
        }
    }

    /// The decodings stand any bytes of any length, alone.
    #[test]
    fn no_bytes_make_a_decoding_panic(frame in prop::collection::vec(any::<u8>(), 0..20)) {
        for codec in codecs() {
            let _ = (codec.decoding)().decode(&frame);
        }
    }

    /// A flipped bit is refused, counted, or makes a reading that says so itself:
    /// without a checksum a flipped digit cannot be told. It never costs the next.
    #[test]
    fn a_flipped_bit_costs_no_other_frame(at in 0usize..15, bit in 0u8..8) {
        for codec in codecs() {
            let (frame, value) = good(codec);
            let mut flipped = frame.clone();
            flipped[at % frame.len()] ^= 1 << bit;
            let (values, bad, skipped) = read(codec, &[&frame[..], &flipped, &frame].concat());
            prop_assert_eq!(values.first(), Some(&value));
            prop_assert_eq!(values.last(), Some(&value));
            prop_assert!(values.len() == 3 || bad + skipped > 0);
        }
    }
}

#[test]
fn an_overload_is_never_a_number() {
    let mut seen = 0;
    for generated in crate::tests::generated::all()
        .iter()
        .filter(|g| g.value.is_none())
    {
        let mut decoder = codec(generated.protocol).unwrap().decoder();
        decoder.push(&generated.frame);
        let Some(Decoded::Sample(sample)) = decoder.next() else {
            panic!("{}: no sample", generated.protocol);
        };
        assert!(matches!(sample.amount, Amount::Above(_) | Amount::Below(_)));
        seen += 1;
    }
    assert!(seen > codecs().len(), "only {seen} overloads");
}
