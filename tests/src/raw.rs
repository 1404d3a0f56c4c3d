//! A small HTTP and WebSocket client (RFC 6455) that sends exactly what it is told, and reads only when it
//! is told to.

use std::io;
use std::net::SocketAddr;

use serde_json::Value;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

use crate::wait::within;

/// An HTTP answer.
#[derive(Debug)]
pub struct Answer {
    /// Its status.
    pub status: u16,
    /// Its status line and headers.
    pub head: String,
    /// Its body.
    pub body: String,
}

impl Answer {
    /// The body as JSON.
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|error| panic!("{error}: {self:?}"))
    }

    /// `error.data.kind` of the body, or nothing.
    pub fn kind(&self) -> Option<String> {
        let body: Value = serde_json::from_str(&self.body).ok()?;
        body["error"]["data"]["kind"].as_str().map(str::to_owned)
    }
}

/// Sends a request and reads the answer to its end.
pub async fn exchange(address: SocketAddr, request: &str) -> Answer {
    try_exchange(address, request).await.unwrap()
}

/// The same, where the connection may be cut before anything was answered.
///
/// # Errors
/// The connection is gone.
pub async fn try_exchange(address: SocketAddr, request: &str) -> io::Result<Answer> {
    let mut stream = TcpStream::connect(address).await?;
    // A request may be refused before it was sent to its end; the answer says so.
    let _ = stream.write_all(request.as_bytes()).await;
    let mut bytes = Vec::new();
    within("an HTTP answer", stream.read_to_end(&mut bytes)).await?;
    let text = String::from_utf8(bytes).unwrap();
    if text.is_empty() {
        return Err(io::ErrorKind::UnexpectedEof.into());
    }
    let (head, body) = text
        .split_once("\r\n\r\n")
        .unwrap_or_else(|| panic!("no head: {text}"));
    let status = head
        .split(' ')
        .nth(1)
        .and_then(|status| status.parse().ok());
    Ok(Answer {
        status: status.expect("a status"),
        head: head.to_owned(),
        body: body.to_owned(),
    })
}

/// A POST to `/rpc` with these header lines, each ended by CR LF.
fn posted(headers: &str, body: &str) -> String {
    let length = body.len();
    let head = "POST /rpc HTTP/1.1\r\ncontent-type: application/json\r\nconnection: close\r\n";
    format!("{head}{headers}content-length: {length}\r\n\r\n{body}")
}

/// POSTs a text to `/rpc` with these header lines, each ended by CR LF.
pub async fn post_with(address: SocketAddr, headers: &str, body: &str) -> Answer {
    exchange(address, &posted(headers, body)).await
}

/// POSTs a text to `/rpc`, where the connection may be cut before anything was answered.
///
/// # Errors
/// The connection is gone.
pub async fn try_post(address: SocketAddr, body: &str) -> io::Result<Answer> {
    try_exchange(address, &posted(&format!("host: {address}\r\n"), body)).await
}

/// POSTs a text to `/rpc`.
pub async fn post(address: SocketAddr, body: &str) -> Answer {
    post_with(address, &format!("host: {address}\r\n"), body).await
}

/// GETs a path with these header lines.
pub async fn get_with(address: SocketAddr, path: &str, headers: &str) -> Answer {
    exchange(
        address,
        &format!("GET {path} HTTP/1.1\r\nconnection: close\r\n{headers}\r\n"),
    )
    .await
}

/// What came over a WebSocket.
#[derive(Debug, PartialEq, Eq)]
pub enum Frame {
    /// A text.
    Text(String),
    /// The end, with its code.
    Close(Option<u16>),
    /// A ping or a pong.
    Control,
}

/// A WebSocket on `/rpc`.
pub struct WebSocket {
    /// The connection under it.
    pub stream: TcpStream,
}

const TEXT: u8 = 0x1;
const CLOSE: u8 = 0x8;

impl WebSocket {
    /// Opens one with these header lines; the answer's head where it was refused.
    ///
    /// # Errors
    /// The head of an answer that is not 101.
    pub async fn try_open(address: SocketAddr, headers: &str) -> Result<WebSocket, String> {
        let mut stream = TcpStream::connect(address).await.unwrap();
        let request = format!(
            "GET /rpc HTTP/1.1\r\nconnection: Upgrade\r\nupgrade: websocket\r\n\
             sec-websocket-version: 13\r\nsec-websocket-key: dGhlIHNhbXBsZSBub25jZQ==\r\n{headers}\r\n"
        );
        stream.write_all(request.as_bytes()).await.unwrap();
        let mut head = Vec::new();
        while !head.ends_with(b"\r\n\r\n") {
            head.push(within("the upgrade", stream.read_u8()).await.unwrap());
        }
        let head = String::from_utf8(head).unwrap();
        if !head.starts_with("HTTP/1.1 101") {
            return Err(head);
        }
        // The example key of RFC 6455, section 1.3, and what it is answered with.
        assert!(head.contains("s3pPLMBiTxaQ9kYGzzhZRbK+xOo="), "{head}");
        Ok(WebSocket { stream })
    }

    /// Opens one.
    pub async fn open(address: SocketAddr) -> WebSocket {
        WebSocket::try_open(address, &format!("host: {address}\r\n"))
            .await
            .unwrap()
    }

    /// Sends a text in one frame.
    ///
    /// # Errors
    /// The connection is gone.
    pub async fn send(&mut self, text: &str) -> io::Result<()> {
        self.stream.write_all(&masked(TEXT, text.as_bytes())).await
    }

    /// The next frame, whatever it is.
    ///
    /// # Errors
    /// The connection is gone.
    pub async fn frame(&mut self) -> io::Result<Frame> {
        let mut head = [0; 2];
        within("a frame", self.stream.read_exact(&mut head)).await?;
        let length = match head[1] {
            126 => u64::from(self.stream.read_u16().await?),
            127 => self.stream.read_u64().await?,
            short => u64::from(short),
        };
        let mut payload = vec![0; usize::try_from(length).unwrap()];
        within("a payload", self.stream.read_exact(&mut payload)).await?;
        Ok(match head[0] & 0x0F {
            TEXT => Frame::Text(String::from_utf8(payload).unwrap()),
            CLOSE => Frame::Close(payload.first_chunk().map(|code| u16::from_be_bytes(*code))),
            _ => Frame::Control,
        })
    }

    /// The next text, as JSON.
    pub async fn receive(&mut self) -> Value {
        loop {
            match self.frame().await.unwrap() {
                Frame::Text(text) => return serde_json::from_str(&text).unwrap(),
                Frame::Control => {}
                Frame::Close(code) => panic!("closed with {code:?}"),
            }
        }
    }

    /// Everything up to the end of the connection.
    pub async fn rest(&mut self) -> Vec<Frame> {
        let mut frames = Vec::new();
        while let Ok(frame) = self.frame().await {
            frames.push(frame);
        }
        frames
    }
}

/// A whole message of a client as bytes.
fn masked(kind: u8, payload: &[u8]) -> Vec<u8> {
    const MASK: [u8; 4] = [0x37, 0xFA, 0x21, 0x3D];
    let mut frame = vec![0x80 | kind];
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
