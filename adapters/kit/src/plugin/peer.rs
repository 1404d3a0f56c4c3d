//! A conversation with one process: its lines, one at a time, and questions
//! that wait for their answers.

use std::os::unix::process::ExitStatusExt as _;
use std::process::ExitStatus;
use std::time::Duration;

use bytes::Bytes;
use serde_json::Value;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::time::{Instant, timeout, timeout_at};

use super::lines::{Lines, ReceivedLine};
use super::message::{self, Heard, Refusal};
use super::process::{Process, Program};
use super::{LONGEST_LINE, PluginError};

/// How long what a dead plugin left in its pipe may keep coming.
const REST: Duration = Duration::from_millis(10);

/// A plugin that is running.
#[derive(Debug)]
pub(super) struct Peer {
    pub process: Process,
    lines: Lines,
    asked: u64,
    /// How it ended, once it has.
    ended: Option<ExitStatus>,
    closed: bool,
}

impl Peer {
    pub(super) fn start(program: &Program) -> Result<Peer, PluginError> {
        let process = Process::start(program).map_err(|source| PluginError::Start {
            command: program.command.join(" "),
            source,
        })?;
        Ok(Peer {
            process,
            lines: Lines::new(LONGEST_LINE),
            asked: 0,
            ended: None,
            closed: false,
        })
    }

    /// The next line; an error says how it ended. May be given up and called
    /// again: nothing is lost.
    pub(super) async fn line(&mut self) -> Result<ReceivedLine, String> {
        loop {
            if let Some(line) = self.lines.next() {
                return Ok(line);
            }
            if self.closed {
                return Err(self.end().await);
            }
            let Process { child, stdout, .. } = &mut self.process;
            if self.ended.is_some() {
                // Whoever is left of its group may hold the pipe open.
                let rest = timeout(REST, stdout.read_buf(self.lines.buffer())).await;
                self.closed = !matches!(rest, Ok(Ok(1..)));
                continue;
            }
            tokio::select! {
                read = stdout.read_buf(self.lines.buffer()) => {
                    self.closed = !matches!(read, Ok(1..));
                }
                status = child.wait() => {
                    self.ended = Some(status.unwrap_or_else(|_| ExitStatus::from_raw(0)));
                    self.process.kill();
                }
            }
        }
    }

    /// How it ended, in words. Who closed its output and goes on has ended, too.
    async fn end(&mut self) -> String {
        let cut = match self.lines.rest() {
            0 => String::new(),
            rest => format!(", in the middle of a line ({rest} bytes)"),
        };
        if let Some(status) = self.ended {
            return format!("it ended by itself: {}{cut}", in_words(status));
        }
        match timeout(Duration::from_millis(500), self.process.child.wait()).await {
            Ok(Ok(status)) => {
                self.ended = Some(status);
                self.process.kill();
                format!("it ended by itself: {}{cut}", in_words(status))
            }
            _ => {
                self.process.kill();
                format!("it closed its standard output and went on{cut}")
            }
        }
    }

    /// Writes a question; gives its id.
    pub(super) async fn put(
        &mut self,
        method: &str,
        params: &Value,
        patience: Duration,
    ) -> Result<u64, String> {
        self.asked += 1;
        let request = message::request(self.asked, method, params);
        if request.len() > LONGEST_LINE {
            return Err(format!(
                "the parameters of `{method}` are longer than a line may be"
            ));
        }
        self.write(&request, patience).await?;
        Ok(self.asked)
    }

    /// Writes a line.
    pub(super) async fn write(&mut self, line: &[u8], patience: Duration) -> Result<(), String> {
        let Some(stdin) = &mut self.process.stdin else {
            return Err("its standard input is closed".to_owned());
        };
        let writing = async {
            stdin.write_all(line).await?;
            stdin.flush().await
        };
        match timeout(patience, writing).await {
            Ok(Ok(())) => Ok(()),
            // It has ended: its end says more.
            Ok(Err(_)) => Err(self.end().await),
            Err(_) => Err("it does not read its standard input".to_owned()),
        }
    }

    /// Answers a question of the plugin's: there is nothing it may ask.
    pub(super) async fn decline(
        &mut self,
        id: &serde_json::value::RawValue,
        method: &str,
        patience: Duration,
    ) -> Result<(), String> {
        let refusal = Refusal {
            code: -32601,
            message: format!("the service answers no `{method}`"),
        };
        self.write(&message::reply(&id, Err(refusal)), patience)
            .await
    }

    /// Asks, and waits for the answer; whatever else comes is put to `aside`.
    pub(super) async fn ask(
        &mut self,
        method: &'static str,
        params: &Value,
        patience: Duration,
        mut aside: impl FnMut(&str),
    ) -> Result<Value, PluginError> {
        let until = Instant::now() + patience;
        let broken = |why| PluginError::Broken { method, why };
        let asked = self.put(method, params, patience).await.map_err(broken)?;
        loop {
            let line = match timeout_at(until, self.line()).await {
                Err(_) => return Err(PluginError::NoAnswer { method, patience }),
                Ok(line) => line.map_err(broken)?,
            };
            match answer_in(&line, asked) {
                Ok(Some(Ok(result))) => return Ok(result),
                Ok(Some(Err(Refusal { code, message }))) => {
                    return Err(PluginError::Refused {
                        method,
                        code,
                        message,
                    });
                }
                Ok(None) => aside("a message came before the answer"),
                Err(why) => aside(&why),
            }
        }
    }

    /// Says `stop` and waits for its end; kills it when the grace is over. Whether it ended by itself.
    pub(super) async fn stop(&mut self, grace: Duration) -> bool {
        let until = Instant::now() + grace;
        let ended = timeout_at(until, async {
            if self
                .put("stop", &serde_json::json!({}), grace)
                .await
                .is_ok()
            {
                // What it still says keeps its pipe from filling; nobody wants it.
                while self.line().await.is_ok() {}
            }
        });
        let timely = ended.await.is_ok() && self.ended.is_some();
        self.process.kill();
        // It was killed: this is short.
        let _ = timeout(Duration::from_millis(200), self.process.child.wait()).await;
        timely
    }

    /// How it ended, if it has.
    pub(super) fn status(&self) -> Option<ExitStatus> {
        self.ended
    }

    /// The bytes of a line, or why it is none.
    pub(super) fn whole(line: ReceivedLine) -> Result<Bytes, String> {
        match line {
            ReceivedLine::Whole(line) => Ok(line),
            ReceivedLine::TooLong(bytes) => Err(format!(
                "a line of {bytes} bytes: at most {LONGEST_LINE} are taken"
            )),
        }
    }
}

type Answered = Option<Result<Value, Refusal>>;

/// The answer to a question in a line, `None` in any other message.
fn answer_in(line: &ReceivedLine, asked: u64) -> Result<Answered, String> {
    let line = Peer::whole(line.clone())?;
    match message::read(&line)? {
        Heard::Answer { id, outcome } if id == asked => Ok(Some(outcome)),
        Heard::Answer { id, .. } => Err(format!("an answer to {id}, which was not asked")),
        _ => Ok(None),
    }
}

/// How a process ended, in words.
fn in_words(status: ExitStatus) -> String {
    match (status.code(), status.signal()) {
        (Some(127), _) => "exit code 127, as if its command was not found".to_owned(),
        (Some(code), _) => format!("exit code {code}"),
        (None, Some(signal)) if signal == rustix::process::Signal::XCPU.as_raw() => {
            "it used up its processor time".to_owned()
        }
        (None, Some(signal)) => format!("signal {signal}"),
        (None, None) => status.to_string(),
    }
}
