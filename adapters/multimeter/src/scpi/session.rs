//! A conversation over an open way: the only reads and writes.

use std::time::Duration;

use tokio::io::{AsyncRead, AsyncReadExt as _, AsyncWrite, AsyncWriteExt as _};
use tokio::time::{Instant, sleep_until, timeout};
use trisect_kit::ports::{Ending, Endpoint, Session, keep_open};
use trisect_kit::{Adapter, Context, Description, Running};

use super::conversation::{Conversation, Heard, Wanted};

/// The line counts as drained when nothing came for so long.
const QUIET: Duration = Duration::from_millis(50);
/// A line that is never quiet is not drained any longer than this.
const DRAINING: Duration = Duration::from_millis(500);
/// A meter that refuses is asked again after this.
const REFUSED: Duration = Duration::from_secs(1);
/// After so many questions without an answer in a row the way is opened anew: a
/// connection whose other end is gone says nothing.
const UNANSWERED: u32 = 3;
/// No answer is longer.
const LONGEST: usize = 4096;

/// What is wanted of the meter, and how long things take.
#[derive(Clone, Debug)]
pub(crate) struct Reading {
    pub wanted: Wanted,
    pub channel: u16,
    pub rest: Duration,
    pub patience: Duration,
    pub silent_after: Duration,
}

/// A meter behind an endpoint.
pub(crate) struct ScpiAdapter<E> {
    description: Description,
    place: E,
    reading: Reading,
}

impl<E> ScpiAdapter<E> {
    pub fn new(description: Description, place: E, reading: Reading) -> ScpiAdapter<E> {
        ScpiAdapter {
            description,
            place,
            reading,
        }
    }
}

impl<E: Endpoint + Send> Adapter for ScpiAdapter<E> {
    fn describe(&self) -> Description {
        self.description.clone()
    }

    fn run(&mut self, context: Context) -> Running<'_> {
        Box::pin(async move {
            keep_open(&self.place, &mut self.reading, &context).await;
            Ok(())
        })
    }
}

impl Session for Reading {
    async fn serve<S>(&mut self, stream: &mut S, context: &Context) -> Ending
    where
        S: AsyncRead + AsyncWrite + Unpin + Send,
    {
        let mut talk = Talk {
            reading: self,
            line: CommandLine {
                stream,
                buffer: Vec::new(),
                context,
            },
            conversation: Conversation::new(self.wanted.clone()),
            silence: Some(Instant::now() + self.silent_after),
            unanswered: 0,
        };
        loop {
            if let Err(ending) = talk.turn().await {
                return ending;
            }
        }
    }
}

struct Talk<'a, S> {
    reading: &'a Reading,
    line: CommandLine<'a, S>,
    conversation: Conversation,
    /// When the meter counts as silent.
    silence: Option<Instant>,
    /// Questions in a row.
    unanswered: u32,
}

impl<S: AsyncRead + AsyncWrite + Unpin + Send> Talk<'_, S> {
    /// One line said, and its answer heard.
    async fn turn(&mut self) -> Result<(), Ending> {
        self.note_silence(Instant::now());
        let say = self.conversation.say();
        self.line.discard().await?;
        self.line.write(&say.text, self.reading.patience).await?;
        if !say.asks {
            return Ok(());
        }
        match self.answer().await? {
            Some((line, at)) => {
                self.unanswered = 0;
                let heard = self.conversation.heard(&line);
                self.heard(heard, at).await
            }
            None => self.unanswered().await,
        }
    }

    async fn heard(&mut self, heard: Heard, at: i64) -> Result<(), Ending> {
        let context = self.line.context;
        match heard {
            Heard::Going => Ok(()),
            Heard::Identity(identity) => {
                tracing::info!(identity, "SCPI meter");
                Ok(())
            }
            Heard::Sample(mut sample) => {
                sample.channel = self.reading.channel;
                context
                    .emit(sample, at)
                    .await
                    .map_err(|_| Ending::Stopped)?;
                // From now, not from the reading: a full queue may have held us.
                self.silence = Some(Instant::now() + self.reading.silent_after);
                self.pause(self.reading.rest).await
            }
            Heard::Bad(why) => {
                context.health.bad(&why, at);
                self.pause(self.reading.rest).await
            }
            Heard::Astray(why) => {
                context.health.bad(&why, at);
                self.line.drain().await
            }
            Heard::Refused(why) => {
                self.silence = None;
                context.silent(&why);
                self.pause(REFUSED).await
            }
        }
    }

    async fn unanswered(&mut self) -> Result<(), Ending> {
        let question = self.conversation.unanswered();
        let why = format!(
            "no answer to `{question}` within {} ms: is the meter on, and does it speak SCPI here?",
            self.reading.patience.as_millis()
        );
        self.line.context.health.bad(&why, self.line.context.now());
        self.unanswered += 1;
        if self.unanswered >= UNANSWERED {
            return Err(Ending::Lost(why));
        }
        self.line.drain().await
    }

    /// The next line, with when it was read, or `None` if it does not come.
    async fn answer(&mut self) -> Result<Option<(String, i64)>, Ending> {
        let due = Instant::now() + self.reading.patience;
        loop {
            if let Some(line) = self.line.take() {
                return Ok(Some((line, self.line.context.now())));
            }
            let wake = self.silence.map_or(due, |silence| silence.min(due));
            if !self.line.read_until(wake).await? {
                let now = Instant::now();
                self.note_silence(now);
                if due <= now {
                    return Ok(None);
                }
            }
        }
    }

    async fn pause(&mut self, time: Duration) -> Result<(), Ending> {
        let paused = self.line.context.pause(time).await;
        self.note_silence(Instant::now());
        paused.map_err(|_| Ending::Stopped)
    }

    fn note_silence(&mut self, now: Instant) {
        if self.silence.is_some_and(|silence| silence <= now) {
            self.silence = None;
            self.line.context.silent(&format!(
                "no reading for {} ms: is the meter on, and does it speak SCPI here?",
                self.reading.silent_after.as_millis()
            ));
        }
    }
}

/// Bytes in and lines out.
struct CommandLine<'a, S> {
    stream: &'a mut S,
    buffer: Vec<u8>,
    context: &'a Context,
}

impl<S: AsyncRead + AsyncWrite + Unpin + Send> CommandLine<'_, S> {
    /// Reads once, unless `wake` comes first. Whether something came.
    async fn read_until(&mut self, wake: Instant) -> Result<bool, Ending> {
        let mut chunk = [0; 1024];
        let read = tokio::select! {
            biased;
            () = self.context.stop.cancelled() => return Err(Ending::Stopped),
            read = self.stream.read(&mut chunk) => read,
            () = sleep_until(wake) => return Ok(false),
        };
        match read {
            Ok(0) => Err(Ending::Lost("the other end has gone".to_owned())),
            Ok(count) => {
                let chunk = chunk.get(..count).unwrap_or_default();
                self.buffer.extend_from_slice(chunk);
                if self.buffer.len() > LONGEST && !self.buffer.contains(&b'\n') {
                    self.skip("an answer without an end");
                }
                Ok(true)
            }
            Err(error) => Err(Ending::Lost(error.to_string())),
        }
    }

    /// The first whole line that is not blank.
    fn take(&mut self) -> Option<String> {
        loop {
            let end = self.buffer.iter().position(|byte| *byte == b'\n')?;
            let bytes: Vec<u8> = self.buffer.drain(..=end).collect();
            let line = String::from_utf8_lossy(&bytes).trim().to_owned();
            if !line.is_empty() {
                return Some(line);
            }
        }
    }

    async fn write(&mut self, text: &str, patience: Duration) -> Result<(), Ending> {
        let bytes = format!("{text}\n").into_bytes();
        let writing = timeout(patience, self.stream.write_all(&bytes));
        tokio::select! {
            biased;
            () = self.context.stop.cancelled() => Err(Ending::Stopped),
            written = writing => match written {
                Ok(Ok(())) => Ok(()),
                Ok(Err(error)) => Err(Ending::Lost(error.to_string())),
                Err(_) => Err(Ending::Lost("the line takes no bytes".to_owned())),
            },
        }
    }

    /// Throws away what was there before a question.
    async fn discard(&mut self) -> Result<(), Ending> {
        // A flood has no end: so much, then the question is asked nevertheless.
        for _ in 0..16 {
            if !self.read_until(Instant::now()).await? {
                break;
            }
        }
        self.skip("an answer to no question");
        Ok(())
    }

    /// Waits until late answers have come, and throws them away.
    async fn drain(&mut self) -> Result<(), Ending> {
        let end = Instant::now() + DRAINING;
        while Instant::now() < end && self.read_until(Instant::now() + QUIET).await? {
            self.skip("a late answer, or noise");
        }
        self.skip("a late answer, or noise");
        Ok(())
    }

    fn skip(&mut self, why: &str) {
        if !self.buffer.is_empty() {
            let context = self.context;
            context
                .health
                .skipped(self.buffer.len(), why, context.now());
            self.buffer.clear();
        }
    }
}
