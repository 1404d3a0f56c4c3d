//! RFC 6455: what a client may not send, and what it may though few do.

use serde_json::json;

use super::client::{Frame, WebSocket, masked};
use super::{Running, within};
use crate::TransportSettings;

const CALL: &str = r#"{"jsonrpc":"2.0","method":"get_data","id":1}"#;

/// First bytes of frames: the last of a message, and one that others follow.
const TEXT: u8 = 0x81;
const TEXT_BEGUN: u8 = 0x01;
const CONTINUED: u8 = 0x00;
const CONTINUED_LAST: u8 = 0x80;
const CLOSE: u8 = 0x88;
const PING: u8 = 0x89;

/// A frame as a server would send it.
fn unmasked(first: u8, payload: &[u8]) -> Vec<u8> {
    let mut frame = vec![first, u8::try_from(payload.len()).unwrap()];
    frame.extend(payload);
    frame
}

/// A close frame's payload.
fn reason(code: u16, text: &[u8]) -> Vec<u8> {
    [&code.to_be_bytes(), text].concat()
}

/// What comes back for bytes after which the connection has to end.
async fn ended_by(bytes: &[u8]) -> Vec<Frame> {
    let running = Running::start(Default::default()).await;
    let mut socket = WebSocket::open(running.address).await;
    use tokio::io::AsyncWriteExt;
    socket.stream.write_all(bytes).await.unwrap();
    within(socket.rest()).await
}

async fn check(what: &str, frames: &[Vec<u8>], code: Option<u16>) {
    let answer = ended_by(&frames.concat()).await;
    assert_eq!(answer, [Frame::Close(code)], "{what}");
}

/// Section 5.1: a client masks its frames; the payload is not so much as looked at.
#[tokio::test]
async fn a_frame_without_a_mask_closes_the_connection() {
    let call = CALL.as_bytes();
    check("a call", &[unmasked(TEXT, call)], Some(1002)).await;
    check("a ping", &[unmasked(PING, b"")], Some(1002)).await;
    check("a close", &[unmasked(CLOSE, b"")], Some(1002)).await;
    let begun = [masked(TEXT_BEGUN, b"{"), unmasked(CONTINUED_LAST, b"}")];
    check("a continuation", &begun, Some(1002)).await;
}

/// Sections 5.2, 5.4, 5.5.
#[tokio::test]
async fn frames_that_break_the_protocol_close_it() {
    let whole = |first: u8| vec![masked(first, b"x")];
    check("reserved bit 1", &whole(0xC1), Some(1002)).await;
    check("reserved bit 3", &whole(0x91), Some(1002)).await;
    check("reserved opcode", &whole(0x83), Some(1002)).await;
    check("reserved control opcode", &whole(0x8B), Some(1002)).await;
    check("a ping in fragments", &whole(0x09), Some(1002)).await;
    check("nothing to continue", &whole(CONTINUED), Some(1002)).await;
    check("nothing to end", &whole(CONTINUED_LAST), Some(1002)).await;
    check("a long ping", &[masked(PING, &[0; 126])], Some(1002)).await;
    let in_between = [masked(TEXT_BEGUN, b"{"), masked(TEXT, b"{}")];
    check("a text in a text", &in_between, Some(1002)).await;
}

/// Section 8.1.
#[tokio::test]
async fn a_text_that_is_not_utf_8_closes_it() {
    check("not UTF-8", &[masked(TEXT, b"\"\xFF\"")], Some(1007)).await;
    check("cut short", &[masked(TEXT, b"\"\xC3")], Some(1007)).await;
    check("a surrogate", &[masked(TEXT, b"\xED\xA0\x80")], Some(1007)).await;
    // Told as soon as it is seen: the rest of the message never comes.
    let begun = [masked(TEXT_BEGUN, b"\"\xC3"), masked(CONTINUED, b"x")];
    check("not what was begun", &begun, Some(1007)).await;
}

#[tokio::test]
async fn a_character_may_be_split_over_fragments() {
    let running = Running::start(Default::default()).await;
    let mut socket = WebSocket::open(running.address).await;
    let text = r#"{"jsonrpc":"2.0","method":"echo","params":["ü€"],"id":1}"#.as_bytes();
    let (last, rest) = text.split_last().unwrap();
    socket.send_frame(TEXT_BEGUN, b"").await.unwrap();
    for byte in rest {
        socket.send_frame(CONTINUED, &[*byte]).await.unwrap();
    }
    socket.send_frame(CONTINUED_LAST, &[*last]).await.unwrap();
    assert_eq!(socket.receive().await["result"], json!(["ü€"]));
}

#[tokio::test]
async fn a_ping_is_answered_with_what_it_carried() {
    let running = Running::start(Default::default()).await;
    let mut socket = WebSocket::open(running.address).await;
    for payload in [&b""[..], b"alive?", &[0xFE; 125]] {
        socket.send_frame(PING, payload).await.unwrap();
        let answer = socket.frame().await.unwrap();
        assert_eq!(answer, Frame::Pong(payload.to_vec()));
    }
}

/// Sections 5.5.1, 7.4: the code is said back where it is one that may be sent.
#[tokio::test]
async fn a_close_is_answered_with_its_code() {
    check("no code", &[masked(CLOSE, b"")], None).await;
    for code in [1000, 1001, 1003, 1007, 1011, 3000, 4999] {
        let frames = [masked(CLOSE, &reason(code, b"done"))];
        check(&format!("{code}"), &frames, Some(code)).await;
    }
    for code in [0, 999, 1004, 1005, 1006, 1015, 1016, 2999, 5000, 65535] {
        let frames = [masked(CLOSE, &reason(code, b""))];
        check(&format!("{code}"), &frames, Some(1002)).await;
    }
    check("half a code", &[masked(CLOSE, b"\x03")], Some(1002)).await;
    let words = [masked(CLOSE, &reason(1000, b"\xFF"))];
    check("a reason that is no text", &words, Some(1007)).await;
    // What comes after a close is not answered.
    let after = [masked(CLOSE, b""), masked(TEXT, CALL.as_bytes())];
    check("a call after it", &after, None).await;
}

#[tokio::test]
async fn an_oversized_message_in_fragments_is_refused_and_the_next_is_answered() {
    let settings = TransportSettings {
        request_bytes: 1_000,
        ..Default::default()
    };
    let running = Running::start(settings).await;
    let mut socket = WebSocket::open(running.address).await;
    let part = [b' '; 600];
    socket.send_frame(TEXT_BEGUN, &part).await.unwrap();
    socket.send_frame(CONTINUED, &part).await.unwrap();
    socket.send_frame(PING, b"still here").await.unwrap();
    socket.send_frame(CONTINUED_LAST, &part).await.unwrap();
    // Pongs and replies come in no order against each other.
    let (mut pongs, mut replies) = (0, Vec::new());
    while pongs + replies.len() < 2 {
        match socket.frame().await.unwrap() {
            Frame::Text(text) => replies.push(text),
            Frame::Pong(carried) => pongs += usize::from(carried == b"still here"),
            other => panic!("{other:?}"),
        }
    }
    assert_eq!((pongs, replies.len()), (1, 1), "{replies:?}");
    assert!(replies.concat().contains("too-large"), "{replies:?}");
    socket.send(CALL).await;
    assert_eq!(socket.receive().await["id"], 1);
    // Read past, but not without an end.
    socket.send_frame(TEXT_BEGUN, &part).await.unwrap();
    for _ in 0..15 {
        // The last of them may come too late.
        let _ = socket.send_frame(CONTINUED, &part).await;
    }
    assert_eq!(socket.rest().await, [Frame::Close(Some(1009))]);
}

/// A frame that says it is longer than anything that is read past is not waited for.
#[tokio::test]
async fn a_frame_longer_than_any_closes_it() {
    for length in [u64::MAX, 1 << 63, 1 << 40] {
        let mut head = vec![TEXT, 0x80 | 127];
        head.extend(length.to_be_bytes());
        head.extend([0; 4]);
        check("a long frame", &[head], Some(1009)).await;
    }
}
