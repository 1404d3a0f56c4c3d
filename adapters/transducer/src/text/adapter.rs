//! The adapter: listens, and hands over what the lines say. It never writes.

use std::time::Duration;

use bytes::BytesMut;
use tokio::io::{AsyncRead, AsyncReadExt as _, AsyncWrite};
use tokio::time::{Instant, sleep_until};
use trisect_kit::ports::{Ending, Port, Session, TcpPort, keep_open};
use trisect_kit::{Adapter, Context, Description, Framed, Framing as _, Running, Stopped};

use super::Lines;
use super::reader::Reader;

/// A line that stands still for so long is cut: a device prints it in one go.
const GAP: Duration = Duration::from_secs(1);

pub(super) struct TextAdapter {
    pub description: Description,
    pub place: Place,
    pub listening: Listening,
}

/// Where the device is.
pub(super) enum Place {
    Serial(Port),
    Tcp(TcpPort),
}

pub(super) struct Listening {
    pub reader: Reader,
    pub longest: usize,
    /// Whether the port may be joined in the middle of a line.
    pub joined: bool,
    pub silent_after: Duration,
}

impl Adapter for TextAdapter {
    fn describe(&self) -> Description {
        self.description.clone()
    }

    fn run(&mut self, context: Context) -> Running<'_> {
        Box::pin(async move {
            match &self.place {
                Place::Serial(port) => keep_open(port, &mut self.listening, &context).await,
                Place::Tcp(address) => keep_open(address, &mut self.listening, &context).await,
            }
            Ok(())
        })
    }
}

impl Session for Listening {
    async fn serve<S>(&mut self, stream: &mut S, context: &Context) -> Ending
    where
        S: AsyncRead + AsyncWrite + Unpin + Send,
    {
        let mut chunk = [0; 1024];
        let mut buffer = BytesMut::new();
        let mut lines = if self.joined {
            Lines::joined(self.longest)
        } else {
            Lines::from_start(self.longest)
        };
        let mut silence = Some(Instant::now() + self.silent_after);
        let mut gap = None;
        loop {
            let wake = silence.into_iter().chain(gap).min();
            tokio::select! {
                biased;
                () = context.stop.cancelled() => return Ending::Stopped,
                read = stream.read(&mut chunk) => match read {
                    Ok(0) => return Ending::Lost(
                        "it was unplugged, or the other end closed".to_owned(),
                    ),
                    Ok(count) => {
                        let at = context.now();
                        buffer.extend_from_slice(chunk.get(..count).unwrap_or_default());
                        match self.heard(&mut lines, &mut buffer, at, context).await {
                            Ok(true) => silence = Some(Instant::now() + self.silent_after),
                            Ok(false) => {}
                            Err(Stopped) => return Ending::Stopped,
                        }
                        gap = (!buffer.is_empty()).then(|| Instant::now() + GAP);
                    }
                    Err(error) => return Ending::Lost(error.to_string()),
                },
                () = sleep_until(wake.unwrap_or_else(Instant::now)), if wake.is_some() => {
                    let now = Instant::now();
                    if gap.is_some_and(|gap| gap <= now) {
                        gap = None;
                        if let Some(Framed::Skipped { bytes, why }) = lines.gap(&mut buffer) {
                            context.health.skipped(bytes, why, context.now());
                        }
                    }
                    if silence.is_some_and(|silence| silence <= now) {
                        silence = None;
                        self.silent(context);
                    }
                }
            }
        }
    }
}

impl Listening {
    /// Reads the lines that are there; whether any gave a sample or could have.
    async fn heard(
        &mut self,
        lines: &mut Lines,
        buffer: &mut BytesMut,
        at: i64,
        context: &Context,
    ) -> Result<bool, Stopped> {
        let mut good = false;
        while let Some(framed) = lines.next(buffer) {
            match framed {
                Framed::Skipped { bytes, why } => context.health.skipped(bytes, why, at),
                Framed::Frame(line) if line.trim_ascii().is_empty() => {}
                Framed::Frame(line) => match self.reader.read(&line, at) {
                    Err(error) => context.health.bad(&error.to_string(), at),
                    Ok(read) => {
                        good |= !read.samples.is_empty();
                        for sample in read.samples {
                            context.emit(sample, at).await?;
                        }
                        for error in read.errors {
                            context.health.bad(&error.to_string(), at);
                        }
                    }
                },
            }
        }
        Ok(good)
    }

    fn silent(&self, context: &Context) {
        let vitals = context.health.vitals();
        let seen = if vitals.frames_bad > 0 {
            vitals.last_error.unwrap_or_default()
        } else {
            "is the device on, and are line and patterns set as it prints?".to_owned()
        };
        context.silent(&format!(
            "no line that can be used for {} ms: {seen}",
            self.silent_after.as_millis()
        ));
    }
}
