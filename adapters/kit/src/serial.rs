//! An instrument on a serial port that talks by itself, or when it is asked with
//! the same bytes every time: a codec over a port.

use std::path::PathBuf;
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncReadExt as _, AsyncWrite, AsyncWriteExt as _};
use tokio::time::{Instant, sleep_until, timeout};

use crate::ports::{Ending, Port, Session, keep_open};
use crate::{Adapter, Codec, Context, Decoded, Decoder, Description, Poll, Running, Stopped};

/// Runs a [`Codec`] over a serial port.
pub struct SerialAdapter {
    description: Description,
    port: Port,
    listening: Listening,
}

struct Listening {
    codec: Codec,
    channel: u16,
    silent_after: Duration,
}

impl SerialAdapter {
    /// An adapter for the instrument on `path` that speaks `codec`, with the
    /// codec's own line settings, on channel 0, silent after a second.
    pub fn new(description: Description, path: PathBuf, codec: Codec) -> SerialAdapter {
        SerialAdapter {
            description,
            port: Port {
                path,
                line: codec.line,
                optical: codec.optical,
            },
            listening: Listening {
                codec,
                channel: 0,
                silent_after: Duration::from_secs(1),
            },
        }
    }

    /// Sets the line otherwise than the codec does.
    pub fn line(mut self, line: crate::LineSettings) -> SerialAdapter {
        self.port.line = line;
        self
    }

    /// Puts the samples on another channel.
    pub fn channel(mut self, channel: u16) -> SerialAdapter {
        self.listening.channel = channel;
        self
    }

    /// How long without a valid frame is silence.
    pub fn silent_after(mut self, time: Duration) -> SerialAdapter {
        self.listening.silent_after = time;
        self
    }
}

impl Adapter for SerialAdapter {
    fn describe(&self) -> Description {
        self.description.clone()
    }

    fn run(&mut self, context: Context) -> Running<'_> {
        Box::pin(async move {
            keep_open(&self.port, &mut self.listening, &context).await;
            Ok(())
        })
    }
}

/// When something is due even if no byte comes.
struct Deadlines {
    /// What is half there is a cut frame.
    gap: Option<Instant>,
    /// The instrument counts as silent.
    silence: Option<Instant>,
    /// It is asked for the next message.
    request: Option<Instant>,
}

impl Deadlines {
    fn next(&self) -> Option<Instant> {
        [self.gap, self.silence, self.request]
            .into_iter()
            .flatten()
            .min()
    }
}

impl Session for Listening {
    async fn serve<S>(&mut self, stream: &mut S, context: &Context) -> Ending
    where
        S: AsyncRead + AsyncWrite + Unpin + Send,
    {
        let mut decoder = self.codec.decoder();
        let mut chunk = [0; 1024];
        let mut due = Deadlines {
            gap: None,
            silence: Some(Instant::now() + self.silent_after),
            request: self.codec.poll.map(|_| Instant::now()),
        };
        loop {
            if let Some(poll) = self.codec.poll
                && due.request.is_some_and(|request| request <= Instant::now())
            {
                if let Err(ending) = ask(poll, stream, context).await {
                    return ending;
                }
                due.request = Some(Instant::now() + poll.patience);
            }
            let wake = due.next();
            let listened = tokio::select! {
                biased;
                () = context.stop.cancelled() => return Ending::Stopped,
                read = stream.read(&mut chunk) => match read {
                    Ok(0) => return Ending::Lost("it was unplugged".to_owned()),
                    Ok(count) => {
                        let at = context.now();
                        decoder.push(chunk.get(..count).unwrap_or_default());
                        self.heard(&mut decoder, at, &mut due, context).await
                    }
                    Err(error) => return Ending::Lost(error.to_string()),
                },
                () = sleep_until(wake.unwrap_or_else(Instant::now)), if wake.is_some() => {
                    self.quiet(&mut decoder, &mut due, context).await
                }
            };
            if listened.is_err() {
                return Ending::Stopped;
            }
        }
    }
}

/// Writes a request. A line that takes no bytes counts as one that does not
/// answer: it is asked again.
async fn ask<S>(poll: Poll, stream: &mut S, context: &Context) -> Result<(), Ending>
where
    S: AsyncWrite + Unpin + Send,
{
    let writing = timeout(poll.patience, stream.write_all(poll.request));
    tokio::select! {
        biased;
        () = context.stop.cancelled() => Err(Ending::Stopped),
        written = writing => match written {
            Ok(Err(error)) => Err(Ending::Lost(error.to_string())),
            Ok(Ok(())) | Err(_) => Ok(()),
        },
    }
}

impl Listening {
    /// Bytes came in, read at `at`.
    async fn heard(
        &self,
        decoder: &mut Decoder,
        at: i64,
        due: &mut Deadlines,
        context: &Context,
    ) -> Result<(), Stopped> {
        let (mut good, mut answered) = (false, false);
        while let Some(decoded) = decoder.next() {
            good |= matches!(decoded, Decoded::Sample(_));
            answered |= !matches!(decoded, Decoded::Skipped { .. });
            self.note(decoded, at, context).await?;
        }
        // Counted from now, not from the reading: a full queue may have held us.
        let now = Instant::now();
        if good {
            due.silence = Some(now + self.silent_after);
        }
        if let Some(poll) = self.codec.poll.filter(|_| answered) {
            due.request = Some(now + poll.pause);
        }
        due.gap = decoder.is_waiting().then(|| now + self.codec.gap);
        Ok(())
    }

    /// A deadline passed without a byte.
    async fn quiet(
        &self,
        decoder: &mut Decoder,
        due: &mut Deadlines,
        context: &Context,
    ) -> Result<(), Stopped> {
        let now = Instant::now();
        if due.gap.is_some_and(|gap| gap <= now) {
            due.gap = None;
            if let Some(decoded) = decoder.gap() {
                self.note(decoded, context.now(), context).await?;
            }
        }
        if due.silence.is_some_and(|silence| silence <= now) {
            due.silence = None;
            context.silent(&format!(
                "no valid frame for {} ms: is the instrument on, its data output on, and does it speak {} at {}?",
                self.silent_after.as_millis(),
                self.codec.name,
                self.codec.line,
            ));
        }
        Ok(())
    }

    async fn note(&self, decoded: Decoded, at: i64, context: &Context) -> Result<(), Stopped> {
        match decoded {
            Decoded::Sample(mut sample) => {
                sample.channel = self.channel;
                context.emit(sample, at).await?;
            }
            Decoded::Bad { error, .. } => context.health.bad(&error.to_string(), at),
            Decoded::Skipped { bytes, why } => context.health.skipped(bytes, why, at),
        }
        Ok(())
    }
}
