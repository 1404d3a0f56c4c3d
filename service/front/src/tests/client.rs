//! A small HTTP and WebSocket client (RFC 6455) that sends exactly what it is told.

use std::io;
use std::net::SocketAddr;

use serde_json::Value;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

use super::within;

/// An HTTP answer: status, head, body.
#[derive(Debug)]
pub(super) struct Answer {
    pub status: u16,
    pub head: String,
    pub body: String,
}

impl Answer {
    /// The body as JSON.
    pub(super) fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|_| panic!("not JSON: {self:?}"))
    }

    /// `error.data.kind` of the body.
    pub(super) fn kind(&self) -> String {
        let body = self.json();
        body["error"]["data"]["kind"]
            .as_str()
            .unwrap_or("none")
            .to_owned()
    }
}

/// Sends raw bytes and reads the answer to its end.
pub(super) async fn exchange(address: SocketAddr, request: &[u8]) -> Answer {
    let mut stream = TcpStream::connect(address).await.unwrap();
    // Refused before it was sent to the end; the answer says so.
    let _ = stream.write_all(request).await;
    let mut bytes = Vec::new();
    within(stream.read_to_end(&mut bytes)).await.unwrap();
    let text = String::from_utf8(bytes).unwrap();
    let (head, body) = text.split_once("\r\n\r\n").expect("an answer has a head");
    let status = head.split(' ').nth(1).unwrap().parse().unwrap();
    Answer {
        status,
        head: head.to_owned(),
        body: body.to_owned(),
    }
}

/// POSTs a JSON text to `/rpc`, with more header lines.
pub(super) async fn post_with(address: SocketAddr, headers: &str, body: &str) -> Answer {
    let request = format!(
        "POST /rpc HTTP/1.1\r\ncontent-type: application/json\r\nconnection: close\r\n\
         {headers}content-length: {}\r\n\r\n{body}",
        body.len()
    );
    exchange(address, request.as_bytes()).await
}

/// POSTs a JSON text to `/rpc`.
pub(super) async fn post(address: SocketAddr, body: &str) -> Answer {
    post_with(address, &format!("host: {address}\r\n"), body).await
}

/// What came over a WebSocket.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Frame {
    Text(String),
    Close(Option<u16>),
    Ping,
    Pong(Vec<u8>),
}

/// A WebSocket on `/rpc`.
pub(super) struct WebSocket {
    pub stream: TcpStream,
}

const TEXT: u8 = 0x1;
const CLOSE: u8 = 0x8;

impl WebSocket {
    /// Opens one, with more header lines; the answer where it was refused.
    pub(super) async fn try_open(address: SocketAddr, headers: &str) -> Result<Self, String> {
        let mut stream = TcpStream::connect(address).await.unwrap();
        let request = format!(
            "GET /rpc HTTP/1.1\r\nconnection: Upgrade\r\nupgrade: websocket\r\n\
             sec-websocket-version: 13\r\nsec-websocket-key: dGhlIHNhbXBsZSBub25jZQ==\r\n\
             {headers}\r\n"
        );
        stream.write_all(request.as_bytes()).await.unwrap();
        let mut head = Vec::new();
        while !head.ends_with(b"\r\n\r\n") {
            head.push(within(stream.read_u8()).await.unwrap());
        }
        let head = String::from_utf8(head).unwrap();
        if head.starts_with("HTTP/1.1 101") {
            // The example key of RFC 6455, section 1.3, and what it is answered with.
            assert!(head.contains("s3pPLMBiTxaQ9kYGzzhZRbK+xOo="), "{head}");
            return Ok(Self { stream });
        }
        Err(head)
    }

    /// Opens one.
    pub(super) async fn open(address: SocketAddr) -> Self {
        let opened = Self::try_open(address, &format!("host: {address}\r\n")).await;
        opened.expect("the upgrade is accepted")
    }

    /// Sends a text in one frame.
    pub(super) async fn send(&mut self, text: &str) {
        self.send_frame(0x80 | TEXT, text.as_bytes()).await.unwrap();
    }

    /// Sends one masked frame with the given first byte.
    pub(super) async fn send_frame(&mut self, first: u8, payload: &[u8]) -> io::Result<()> {
        self.stream.write_all(&masked(first, payload)).await
    }

    /// The next frame, whatever it is.
    pub(super) async fn frame(&mut self) -> io::Result<Frame> {
        let mut head = [0; 2];
        within(self.stream.read_exact(&mut head)).await?;
        let length = match head[1] {
            126 => usize::from(self.stream.read_u16().await?),
            127 => usize::try_from(self.stream.read_u64().await?).unwrap(),
            short => usize::from(short),
        };
        let mut payload = vec![0; length];
        within(self.stream.read_exact(&mut payload)).await?;
        Ok(match head[0] & 0x0F {
            TEXT => Frame::Text(String::from_utf8(payload).unwrap()),
            CLOSE => Frame::Close(payload.first_chunk().map(|code| u16::from_be_bytes(*code))),
            0x9 => Frame::Ping,
            0xA => Frame::Pong(payload),
            other => panic!("a frame of kind {other}"),
        })
    }

    /// The next text, as JSON.
    pub(super) async fn receive(&mut self) -> Value {
        loop {
            match self.frame().await.unwrap() {
                Frame::Text(text) => return serde_json::from_str(&text).unwrap(),
                Frame::Ping | Frame::Pong(_) => {}
                Frame::Close(code) => panic!("closed with {code:?}"),
            }
        }
    }

    /// Closes from this side; everything that still came, up to the end.
    pub(super) async fn close(mut self) -> Vec<Frame> {
        self.send_frame(0x80 | CLOSE, &1000_u16.to_be_bytes())
            .await
            .unwrap();
        self.rest().await
    }

    /// Everything up to the end of the connection.
    pub(super) async fn rest(&mut self) -> Vec<Frame> {
        let mut frames = Vec::new();
        while let Ok(frame) = self.frame().await {
            frames.push(frame);
        }
        frames
    }
}

/// A client's frame as bytes.
pub(super) fn masked(first: u8, payload: &[u8]) -> Vec<u8> {
    const MASK: [u8; 4] = [0x37, 0xFA, 0x21, 0x3D];
    let mut frame = vec![first];
    match payload.len() {
        length @ 0..126 => frame.push(0x80 | u8::try_from(length).unwrap()),
        length @ 126..65536 => {
            frame.push(0x80 | 126);
            frame.extend(u16::try_from(length).unwrap().to_be_bytes());
        }
        length => {
            frame.push(0x80 | 127);
            frame.extend((length as u64).to_be_bytes());
        }
    }
    frame.extend(MASK);
    frame.extend(
        payload
            .iter()
            .zip(MASK.iter().cycle())
            .map(|(byte, mask)| byte ^ mask),
    );
    frame
}
