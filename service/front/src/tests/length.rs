//! How long a request is, said in one way (RFC 9112, section 6.3).

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

use super::client::exchange;
use super::{Running, within};

const CALL: &str = r#"{"jsonrpc":"2.0","method":"get_data","id":1}"#;

fn head(running: &Running, lengths: &str) -> String {
    format!(
        "POST /rpc HTTP/1.1\r\nhost: {}\r\ncontent-type: application/json\r\n{lengths}\r\n",
        running.address
    )
}

fn chunked() -> String {
    format!("{:x}\r\n{CALL}\r\n0\r\n\r\n", CALL.len())
}

/// A request whose length is a matter of who looks: what follows it may be taken for a request of its own.
#[tokio::test]
async fn a_request_with_two_lengths_is_refused() {
    let running = Running::start(Default::default()).await;
    let (ours, theirs) = ("content-length: 5\r\n", "transfer-encoding: chunked\r\n");
    for lengths in [[ours, theirs], [theirs, ours]] {
        let request = head(&running, &lengths.concat()) + &chunked();
        let answer = exchange(running.address, request.as_bytes()).await;
        assert_eq!(answer.status, 400, "{answer:?}");
        assert_eq!(answer.kind(), "invalid-request");
        let head = answer.head.to_lowercase();
        assert!(head.contains("connection: close"), "{head}");
    }
}

/// Also behind a request that is right, in the same packet, and a byte at a time.
#[tokio::test]
async fn it_is_refused_wherever_it_stands() {
    let running = Running::start(Default::default()).await;
    let right = head(&running, &format!("content-length: {}\r\n", CALL.len())) + CALL;
    let both = "Transfer-Encoding: chunked\r\nX-Other: 1\r\nContent-Length: 0\r\n";
    // An empty line before a request line is passed over (RFC 9112, section 2.2).
    let requests = format!("{right}\r\n{right}{}{}", head(&running, both), chunked());
    for at_once in [requests.len(), 1] {
        let mut stream = TcpStream::connect(running.address).await.unwrap();
        for part in requests.as_bytes().chunks(at_once) {
            // Refused before it was sent to the end.
            let _ = stream.write_all(part).await;
        }
        let mut bytes = Vec::new();
        within(stream.read_to_end(&mut bytes)).await.unwrap();
        let text = String::from_utf8(bytes).unwrap();
        let answers: Vec<_> = text.matches("HTTP/1.1 200").collect();
        assert_eq!(answers.len(), 2, "{text}");
        assert_eq!(text.matches("HTTP/1.1 400").count(), 1, "{text}");
    }
}

/// Who sends chunks is answered, and the connection ends there: no other length has a say in where a next request
/// would begin.
#[tokio::test]
async fn a_request_in_chunks_is_the_last_of_its_connection() {
    let running = Running::start(Default::default()).await;
    let request = head(&running, "transfer-encoding: chunked\r\n") + &chunked();
    let answer = exchange(running.address, request.as_bytes()).await;
    assert_eq!(answer.status, 200, "{answer:?}");
    let head = answer.head.to_lowercase();
    assert!(head.contains("connection: close"), "{head}");
}
